"""How long a path takes: cutting and rapids, with the machine's acceleration."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pathgen.clamping import Machine
from pathgen.cutters import Cutter
from pathgen.toolpath import EASED_SHARE, Move, Toolpath

Floats = NDArray[np.float64]


def minutes(toolpath: Toolpath, cutter: Cutter, machine: Machine) -> float:
    """Minutes for a path: each move at its feed, slowed where it starts and ends at a corner."""
    if len(toolpath) < 2:
        return 0.0
    lengths = toolpath.lengths[1:]
    speed = move_feeds(toolpath, cutter, machine)[1:] / 60.0
    enter, leave = _corner_speeds(toolpath, speed)
    seconds = _trapezoid(lengths, speed, enter, leave, machine.acceleration)
    return float(seconds.sum() / 60.0)


def move_feeds(toolpath: Toolpath, cutter: Cutter, machine: Machine) -> Floats:
    """(n,) feed in mm per minute of the move that reaches each point."""
    table = np.empty(len(Move))
    table[[Move.RAPID, Move.CUT, Move.PLUNGE, Move.EASED]] = (
        machine.rapid, cutter.feed, cutter.plunge, cutter.feed * EASED_SHARE,
    )
    return table[toolpath.kinds]


def _corner_speeds(toolpath: Toolpath, speed: Floats) -> tuple[Floats, Floats]:
    """Speeds at which each move begins and ends: what is left of the slower one in the turn, 0 past 90 degrees."""
    steps = np.diff(toolpath.points, axis=0)
    lengths = np.linalg.norm(steps, axis=1, keepdims=True)
    unit = np.divide(steps, lengths, out=np.zeros_like(steps), where=lengths > 0)
    straight = np.clip((unit[:-1] * unit[1:]).sum(axis=1), 0.0, 1.0)
    corner = np.minimum(speed[:-1], speed[1:]) * straight
    return np.concatenate([[0.0], corner]), np.concatenate([corner, [0.0]])


def _trapezoid(lengths: Floats, speed: Floats, enter: Floats, leave: Floats, acceleration: float) -> Floats:
    """Seconds for moves that speed up from `enter`, run at `speed` and slow to `leave`, or peak lower if short."""
    peak = np.minimum(speed, np.sqrt(acceleration * lengths + (enter**2 + leave**2) / 2))
    peak = np.maximum(peak, np.maximum(enter, leave))
    ramps = (2 * peak**2 - enter**2 - leave**2) / (2 * acceleration)
    cruise = np.maximum(lengths - ramps, 0.0)
    return (2 * peak - enter - leave) / acceleration + np.divide(cruise, peak, out=np.zeros_like(peak), where=peak > 0)
