"""Which program, and which line of it, cut deepest at a place."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from pathgen.removal.motion import Motion
from pathgen.removal.sweep import swept_heights
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
    r, cut = step.cutter.radius, np.flatnonzero(np.isfinite(motion.end).all(axis=1))
    end = motion.end[cut]
    start = np.where(np.isfinite(motion.start[cut]), motion.start[cut], end)
    low, high = np.minimum(start, end)[:, :2], np.maximum(start, end)[:, :2]
    near = (low <= [x + r, y + r]).all(axis=1) & (high >= [x - r, y - r]).all(axis=1)
    if not near.any():
        return math.inf, 0
    start, run = start[near], (end - start)[near]
    length = np.hypot(run[:, 0], run[:, 1])
    along, aside = np.divide(run[:, :2].T, length, where=length > 0, out=np.tile([[1.0], [0.0]], len(run)))
    dx, dy = x - start[:, 0], y - start[:, 1]
    swept = swept_heights(step.cutter, along * dx + aside * dy, along * dy - aside * dx, length, run[:, 2])
    height = start[:, 2] + swept
    lowest = int(np.argmin(height))
    return float(height[lowest]), int(motion.line[cut[near][lowest]]) if math.isfinite(height[lowest]) else 0
