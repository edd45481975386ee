"""The moves of one program as they happen over the board."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False, kw_only=True)
class Motion:
    """Straight moves of a program in the board's frame, arcs as chords.

    Attributes
    ----------
    start, end : (n, 3) float array
        Tip positions, mm; NaN where the program has not said yet.
    rapid : (n,) bool array
    feed : (n,) float array
        mm per minute.
    line : (n,) int array
    motion : (n,) int array
        Index of the program's motion that each move is, or is a chord of.
    """

    start: Floats
    end: Floats
    rapid: NDArray[np.bool_]
    feed: Floats
    line: NDArray[np.int64]
    motion: NDArray[np.intp]

    def __len__(self) -> int:
        return len(self.line)

    @cached_property
    def cutting(self) -> NDArray[np.bool_]:
        """Moves at a feed whose start and end are known."""
        return ~self.rapid & np.isfinite(self.start).all(1) & np.isfinite(self.end).all(1)
