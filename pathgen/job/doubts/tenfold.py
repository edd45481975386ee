"""Lengths so small that a point is likely one place off."""

from __future__ import annotations

from collections.abc import Iterator

from pathgen.base.errors import Doubt
from pathgen.base.units import coarse_length, falls_short, format_length


def too_small(where: str, length: float, usual: tuple[float, float], units: str, *, why: str,
              remedy: str) -> Iterator[Doubt]:
    """A length below the least that is `usual`, mm; whether ten times it is meant is asked where that is usual."""
    least, most = usual
    if falls_short(length, least):
        small, tenfold = (format_length(v, units) for v in (length, 10 * length))
        allowed = coarse_length(least, units)
        asked = f"; is {tenfold} meant?" if least <= 10 * length <= most else ""
        yield Doubt(where=where, problem=f"{small}{why}", allowed=f"{allowed} or more (common practice)",
                    remedy=f"{remedy}{asked}")
