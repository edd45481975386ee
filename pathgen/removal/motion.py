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

    def pieces(self, longest: float) -> NDArray[np.intp]:
        """(n,) in how many pieces no longer than `longest` (mm) in plan each move goes: 1 of a rapid."""
        with np.errstate(invalid="ignore"):
            run = np.nan_to_num(np.hypot(*(self.end - self.start)[:, :2].T))
        return np.where(self.cutting, np.maximum(np.ceil(run / longest - 1e-9), 1.0), 1.0).astype(np.intp)

    def in_pieces(self, count: NDArray[np.intp]) -> Motion:
        """The same moves, each in so many pieces, `count` (n,)."""
        of = np.repeat(np.arange(len(self)), count)
        nth = np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count)
        step = self.end[of] - self.start[of]
        cuts = self.start[of] + (nth / count[of])[:, None] * step
        start = np.where((nth == 0)[:, None], self.start[of], cuts)
        end = np.where((nth + 1 == count[of])[:, None], self.end[of], np.roll(cuts, -1, axis=0))
        return Motion(start=start, end=end, rapid=self.rapid[of], feed=self.feed[of], line=self.line[of],
                      motion=self.motion[of])
