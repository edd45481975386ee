"""Which program, and which line of it, cut deepest at a place."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from typing import Any

import numpy as np
import shapely

from pathgen.base.arrays import Floats, Ints
from pathgen.base.cutters import Cutter
from pathgen.removal.motion import Motion
from pathgen.removal.sweep import swept_heights
from pathgen.work.clamping import Clamping, Step
from pathgen.work.operations import Operation

_AS_DEEP = 1e-3  # a fault is the same where it is less by no more, mm: half of what a surface may be too low
_INSIDE = 0.01
"""What is cut nearer to the outline may be its own wall, mm."""
Wanted = Callable[[float, float], Any]
"""How high what is finished should stand at a place, mm."""


class Culprit:
    """Which program and line cut deepest at a place: worked out only for what is reported."""

    def __init__(self, clamping: Clamping, motions: Mapping[int, Motion]) -> None:
        self.clamping, self.motions = clamping, motions

    def __call__(self, x: float, y: float, by: Callable[[Operation[Any]], bool] | None) -> tuple[str, int]:
        step, _, move = self._deepest(x, y, by)
        return (step.file_name, int(self.motions[step.order].line[move])) if step else ("", 0)

    def first(
        self, x: float, y: float, by: Callable[[Operation[Any]], bool] | None, wanted: Wanted
    ) -> tuple[str, int, float, float]:
        """The same where a cut is too deep, and the place: of moves that follow on one another as much too deep, the
        first. A depth that is written once holds for all lines after it.
        """
        step, height, move = self._deepest(x, y, by)
        if step is None:
            return "", 0, x, y
        motion, fault, part = self.motions[step.order], float(wanted(x, y)) - height, self.clamping.board.outline
        while (before := _before(motion, move)).size:
            as_deep = (
                (one, there) for one in before.tolist() for there in _at_end(motion, one, move, x, y)
                if part.contains(point := shapely.Point(there)) and part.boundary.distance(point) > _INSIDE
                and wanted(*there) - left_by(motion, np.array([one]), step.cutter, *there)[0] >= fault - _AS_DEEP)
            if (found := next(as_deep, None)) is None:
                break
            move, (x, y) = found
        return step.file_name, int(motion.line[move]), x, y

    def _deepest(
        self, x: float, y: float, by: Callable[[Operation[Any]], bool] | None
    ) -> tuple[Step | None, float, int]:
        """The step and its move that leave the lowest height at a place, and that."""
        best: tuple[Step | None, float, int] = (None, math.inf, 0)
        for step in self.clamping.steps:
            if step.order in self.motions and (by is None or by(step.operation)):
                height, move = _deepest_at(self.motions[step.order], step, x, y)
                if height < best[1] - 1e-7:
                    best = (step, height, move)
        return best


def _deepest_at(motion: Motion, step: Step, x: float, y: float) -> tuple[float, int]:
    """Lowest height that a program leaves at a point, and the first move that does it."""
    r, cut = step.cutter.radius, np.flatnonzero(np.isfinite(motion.end).all(axis=1))
    end = motion.end[cut]
    start = np.where(np.isfinite(motion.start[cut]), motion.start[cut], end)
    low, high = np.minimum(start, end)[:, :2], np.maximum(start, end)[:, :2]
    near = cut[(low <= [x + r, y + r]).all(axis=1) & (high >= [x - r, y - r]).all(axis=1)]
    if not len(near):
        return math.inf, 0
    height = left_by(motion, near, step.cutter, x, y)
    lowest = int(np.argmax(height <= height.min() + 1e-7))
    return float(height[lowest]), int(near[lowest])


def left_by(motion: Motion, moves: Ints, cutter: Cutter, x: float, y: float) -> Floats:
    """(n,) how high each of some moves leaves a point; infinite where it does not come there."""
    end = motion.end[moves]
    start = np.where(np.isfinite(motion.start[moves]), motion.start[moves], end)
    run = end - start
    length = np.hypot(run[:, 0], run[:, 1])
    along, aside = np.divide(run[:, :2].T, length, where=length > 0, out=np.tile([[1.0], [0.0]], len(run)))
    dx, dy = x - start[:, 0], y - start[:, 1]
    swept = swept_heights(cutter, along * dx + aside * dy, along * dy - aside * dx, length, run[:, 2])
    return np.asarray(start[:, 2] + swept)


def _before(motion: Motion, move: int) -> Ints:
    """The moves of the line that leads to a move, the last first; none where a rapid does, or nothing."""
    before = move - 1
    if move == 0 or not motion.cutting[before] or (motion.end[before] != motion.start[move]).any():
        return np.zeros(0, np.intp)
    first = int(np.searchsorted(motion.motion, motion.motion[before]))
    return np.arange(before, first - 1, -1)


def _at_end(motion: Motion, before: int, move: int, x: float, y: float) -> Iterator[tuple[float, float]]:
    """Places at the end of a move before another, as far aside of it as (x, y) lies of that: on the same side, on the
    other, where that goes back, and on it."""
    both = [before, move]
    run = (motion.end[both] - motion.start[both])[:, :2]
    start, length = motion.start[move, :2], np.maximum(np.hypot(*run.T), 1e-12)
    (along, aside), (on_x, on_y) = run / length[:, None]
    off = float(on_x * (y - start[1]) - on_y * (x - start[0]))
    for out in (off, -off, 0.0):
        yield float(motion.end[before, 0] - aside * out), float(motion.end[before, 1] + along * out)
