"""Which program, and which line of it, cut deepest at a place."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
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
        while move and motion.cutting[move - 1] and (motion.end[move - 1] == motion.start[move]).all():
            beside = _at_start(motion, move, x, y)
            there = float(left_by(motion, np.array([move]), step.cutter, *beside)[0])
            if float(wanted(*beside)) - there < fault - _AS_DEEP or not part.intersects(shapely.Point(beside)):
                break
            move, (x, y) = move - 1, beside
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


def _at_start(motion: Motion, move: int, x: float, y: float) -> tuple[float, float]:
    """The place at the start of a move that lies as far aside of it as another."""
    start, run = motion.start[move, :2], (motion.end - motion.start)[move, :2]
    length = float(np.hypot(*run))
    along, aside = (run / length).tolist() if length else (1.0, 0.0)
    off = along * (y - start[1]) - aside * (x - start[0])
    return float(start[0] - aside * off), float(start[1] + along * off)
