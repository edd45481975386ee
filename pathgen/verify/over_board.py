"""A program that was read, as moves over the board."""

from __future__ import annotations

import numpy as np

from pathgen.base.arrays import Floats
from pathgen.removal.motion import Motion
from pathgen.verify.findings import Tolerances
from pathgen.verify.program import ReadMove, ReadProgram
from pathgen.work.clamping import Clamping, Step


def motion_over_board(
    program: ReadProgram, clamping: Clamping, *, chord_tolerance: float, step: Step | None = None
) -> Motion:
    """The program's moves, turned back into the board's frame; where the work has moved before `step`, as it lies."""
    start, end, motion = program.straight(chord_tolerance)
    start, end = clamping.to_board(start, step), clamping.to_board(end, step)
    if step is not None and clamping.moved_at(step) is not None and len(start):
        places = upright(np.concatenate([start[:1], end]), 2 * Tolerances().rounding)
        start, end = places[:-1], places[1:]
    return Motion(start=start, end=end, rapid=program.kind[motion] == ReadMove.RAPID, feed=program.feed[motion],
                  line=program.line[motion], motion=motion)


def upright(places: Floats, within: float) -> Floats:
    """(n, 3) places, one after another, where what goes up or down `within` mm of straight does so exactly.

    Over work that tilted such a move is written with its X and Y, which are rounded. The lowest place of each such way
    stays as it is read: a second cut is held against the first to the last digit.
    """
    run = np.abs(np.diff(places, axis=0))
    stands = (np.hypot(run[:, 0], run[:, 1]) <= within) & (run[:, 2] > within)
    way = np.concatenate([[0], np.cumsum(~stands)])
    by_height = np.lexsort((places[:, 2], way))
    foot = by_height[np.searchsorted(way[by_height], way)]
    away = np.hypot(*(places - places[foot])[:, :2].T)
    out = places.copy()
    out[:, :2] = np.where((away <= within)[:, None], places[foot, :2], places[:, :2])
    return out
