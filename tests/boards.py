"""Boards from numbers in one row, for tests that change one of them at a time."""

from typing import Any

from pathgen.parts.fingerboard import board
from pathgen.parts.fingerboard.numbers import BoardNumbers, FannedScale, TwoRadii
from pathgen.parts.fingerboard.part import Fingerboard


def fingerboard(
    *, scale_lengths: tuple[float, float], radius: tuple[float, float] | TwoRadii, straight_fret: float = 0,
    outline: Any = None, inner_radius: float = 0.0, **numbers: Any,
) -> Fingerboard:
    """The board of (bass, treble) scale lengths and of (nut, end) radii, mm."""
    scale = FannedScale(bass=scale_lengths[0], treble=scale_lengths[1], straight_fret=straight_fret)
    radii = radius if isinstance(radius, TwoRadii) else TwoRadii(nut=radius[0], end=radius[1])
    return board.fingerboard(BoardNumbers(scale_length=scale, radius=radii, **numbers), outline=outline,
                             inner_radius=inner_radius)
