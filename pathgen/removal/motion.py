"""The moves of one program as they happen over the board."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pathgen.base.arrays import Bools, Floats, Ints, numbers_from


@dataclass(frozen=True, eq=False, kw_only=True)
class Motion:
    """Straight moves of a program in the board's frame, arcs as chords."""

    start: Floats
    end: Floats
    """(n, 3) each: tip positions, mm; NaN where the program has not said yet."""
    rapid: Bools
    """(n,)."""
    feed: Floats
    """(n,): mm per minute."""
    line: NDArray[np.int64]
    """(n,)."""
    motion: Ints
    """(n,): index of the program's motion that each move is, or is a chord of."""

    def __len__(self) -> int:
        return len(self.line)

    @cached_property
    def cutting(self) -> Bools:
        """Moves at a feed whose start and end are known."""
        return ~self.rapid & np.isfinite(self.start).all(1) & np.isfinite(self.end).all(1)

    def pieces(self, longest: float) -> Ints:
        """(n,) in how many pieces no longer than `longest` (mm) in plan each move goes: 1 of a rapid."""
        with np.errstate(invalid="ignore"):
            run = np.nan_to_num(np.hypot(*(self.end - self.start)[:, :2].T))
        return np.where(self.cutting, np.maximum(np.ceil(run / longest - 1e-9), 1.0), 1.0).astype(np.intp)

    def in_pieces(self, count: Ints) -> Motion:
        """The same moves, each in so many pieces, `count` (n,)."""
        start, end, of, _ = in_pieces(self.start, self.end, count)
        return Motion(start=start, end=end, rapid=self.rapid[of], feed=self.feed[of], line=self.line[of],
                      motion=self.motion[of])


def in_pieces(start: Floats, end: Floats, count: Ints) -> tuple[Floats, Floats, Ints, Ints]:
    """Moves from (n, 3) to (n, 3), each in `count` (n,) equal pieces, none where that is 0.

    Starts and ends of the pieces, (m, 3); the move that each is of, and which of its pieces it is, (m,).
    """
    of, nth = numbers_from(np.zeros_like(count), count)
    cuts = start[of] + (nth / count[of])[:, None] * (end[of] - start[of])
    first = np.where((nth == 0)[:, None], start[of], cuts)
    return first, np.where((nth + 1 == count[of])[:, None], end[of], np.roll(cuts, -1, axis=0)), of, nth
