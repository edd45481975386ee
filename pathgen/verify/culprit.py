"""Which program, and which line of it, cut deepest at a place."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from pathgen.removal.grid import Grid
from pathgen.removal.material import Material
from pathgen.removal.motion import Motion
from pathgen.work.clamping import Clamping, Step
from pathgen.work.operations import Operation


class Culprit:
    """Which program and line cut deepest at a place: worked out only for what is reported."""

    def __init__(self, clamping: Clamping, motions: Mapping[int, Motion]) -> None:
        self.clamping, self.motions = clamping, motions

    def __call__(self, x: float, y: float, by: Callable[[Operation[Any]], bool] | None) -> tuple[str, int]:
        best = (math.inf, "", 0)
        for step in self.clamping.steps:
            if step.order in self.motions and (by is None or by(step.operation)):
                height, line = _deepest_at(self.motions[step.order], step, x, y)
                if height < best[0] - 1e-7:
                    best = (height, step.file_name, line)
        return best[1], best[2]


def _deepest_at(motion: Motion, step: Step, x: float, y: float) -> tuple[float, int]:
    """Lowest height that a program leaves at a point, and the line that does it."""
    r = step.cutter.radius
    low, high = np.minimum(motion.start, motion.end), np.maximum(motion.start, motion.end)
    with np.errstate(invalid="ignore"):
        near = (low[:, :2] <= [x + r, y + r]).all(axis=1) & (high[:, :2] >= [x - r, y - r]).all(axis=1)
    best, line = math.inf, 0
    for i in np.flatnonzero(near):
        one = Material(Grid(np.array([x]), np.array([y])), np.full((1, 1), 1e6, np.float32))
        one.cut(_only(motion, int(i)), step.cutter)
        if one.top[0, 0] < best:
            best, line = float(one.top[0, 0]), int(motion.line[i])
    return best, line


def _only(motion: Motion, i: int) -> Motion:
    part = slice(i, i + 1)
    return Motion(start=motion.start[part], end=motion.end[part], rapid=motion.rapid[part], feed=motion.feed[part],
                  line=motion.line[part], motion=motion.motion[part])
