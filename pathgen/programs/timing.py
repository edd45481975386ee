"""How long a path takes: cutting and rapids, with the machine's acceleration and its slowing in corners.

The model. Along each move the machine speeds up and slows down at its acceleration `a`, never above the move's own
feed. A path is begun and ended at rest. Where two moves meet at an angle the machine cannot turn on the spot: it is
taken to round the corner on an arc that leaves the corner by no more than `corner` (mm), at a speed whose
centripetal acceleration is `a`. For a turn of angle t between the directions, the arc that touches both moves and
passes `corner` from their meeting point has the radius ``corner * cos(t / 2) / (1 - cos(t / 2))``; it may use no more
than half of the shorter of the two moves, which leaves ``half / tan(t / 2)``. With R the smaller of the two,

    v**2 = a * R

which is no limit for a straight joint, 0 for a move straight back, and the circle's own radius for a circle written
as many short moves. No move can be entered faster than the moves after it can brake from, nor left faster than the
moves before it can reach: with u = v**2, u changes by at most ``2 * a * length`` along a move, in both directions.
Sources: plane geometry and uniformly accelerated motion. What the spindle's start and changing the cutter take is
not in it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pathgen.base.arrays import Floats, Ints
from pathgen.base.cutters import Cutter
from pathgen.base.toolpath import Move, Toolpath
from pathgen.work.clamping import Machine

CORNER = 0.01
"""How far from a corner the machine may pass while rounding it, mm: common for small routers, no source."""


@dataclass(frozen=True, kw_only=True)
class Times:
    """Minutes of a path: at a feed and in rapids, apart."""

    cutting: float = 0.0
    rapid: float = 0.0

    @property
    def total(self) -> float:
        """All of it, minutes."""
        return self.cutting + self.rapid


def times(toolpath: Toolpath, cutter: Cutter, machine: Machine, *, corner: float = CORNER) -> Times:
    """Minutes that a path takes, cutting and rapids apart; see the module's text for the model. `corner` is how far
    from a corner the machine may pass while rounding it, mm: 0 stops at every corner."""
    lengths, moving = toolpath.lengths, np.flatnonzero(toolpath.lengths > 0)
    if not len(moving):
        return Times()
    speed = toolpath.feeds(cutter, rapid=machine.rapid)[moving] / 60.0
    joints = joint_speeds(toolpath.points, moving, speed, machine.acceleration, corner=corner)
    minutes = trapezoid(lengths[moving], speed, joints[:-1], joints[1:], machine.acceleration) / 60.0
    rapid = toolpath.kinds[moving] == Move.RAPID
    return Times(cutting=float(minutes[~rapid].sum()), rapid=float(minutes[rapid].sum()))


def joint_speeds(points: Floats, moving: Ints, speed: Floats, acceleration: float, *, corner: float) -> Floats:
    """Speeds, mm per second, at the start of each move and at the end of the last: (moves + 1,). `moving` are the
    indices of the points that a move of some length reaches, `speed` (moves,) their feeds."""
    steps = points[moving] - points[moving - 1]
    lengths = np.linalg.norm(steps, axis=1)
    limit = np.zeros(len(moving) + 1)
    limit[1:-1] = np.minimum(
        np.minimum(speed[:-1], speed[1:]) ** 2, acceleration * corner_radius(steps / lengths[:, None], lengths, corner)
    )
    # u[i + 1] <= u[i] + 2 a length[i] is a running least of u - s, with s the sum of 2 a length so far.
    s = np.concatenate([[0.0], np.cumsum(2.0 * acceleration * lengths)])
    forward = s + np.minimum.accumulate(limit - s)
    both = np.minimum.accumulate((forward + s)[::-1])[::-1] - s
    return np.sqrt(np.maximum(both, 0.0))


def trapezoid(lengths: Floats, speed: Floats, enter: Floats, leave: Floats, acceleration: float) -> Floats:
    """Seconds for moves that speed up from `enter`, run at `speed` and slow to `leave`, or peak lower if short."""
    peak = np.minimum(speed, np.sqrt(acceleration * lengths + (enter**2 + leave**2) / 2))
    ramps = (2 * peak**2 - enter**2 - leave**2) / (2 * acceleration)
    cruise = np.maximum(lengths - ramps, 0.0)
    seconds: Floats = (2 * peak - enter - leave) / acceleration + cruise / peak
    return seconds


def corner_radius(unit: Floats, lengths: Floats, corner: float) -> Floats:
    """Radius, mm, of the arc that rounds each meeting of two moves, (moves - 1,): infinite where they are in line.
    `unit` (moves, 3) are the directions of the moves and `lengths` (moves,) how long they are."""
    cosine = np.clip((unit[:-1] * unit[1:]).sum(axis=1), -1.0, 1.0)
    half_cosine = np.sqrt((1.0 + cosine) / 2.0)
    shorter = np.minimum(lengths[:-1], lengths[1:])
    with np.errstate(divide="ignore", invalid="ignore"):
        # 1 - cos(t / 2) = sin(t / 2)**2 / (1 + cos(t / 2)), without cancellation
        by_corner = corner * half_cosine * (1.0 + half_cosine) / ((1.0 - cosine) / 2.0)
        by_length = shorter / 2.0 * np.sqrt((1.0 + cosine) / (1.0 - cosine))
        radius = np.minimum(by_corner, by_length)
    return np.where(cosine >= 1.0, np.inf, radius)
