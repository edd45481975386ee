"""Runs of straight moves that lie on circular arcs, for controllers that take G2 and G3."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pathgen.base.arrays import Bools, Floats, Ints
from pathgen.base.toolpath import Move

LEAST_MOVES = 4
"""Straight moves that one arc must replace to be worth writing."""
LARGEST_RADIUS = 1000.0
"""mm; flatter arcs stay straight moves: their centres are too far to be written exactly."""
_MOST_MOVES = 4096
_AT_ONCE = 4096
_STRAIGHT = 1e-12  # mm2: points that turn by less lie on a line


@dataclass(frozen=True, kw_only=True)
class Arc:
    """An arc in the XY plane round `centre` (mm), rising or falling evenly, from the point before `first` to `last`."""

    first: int
    """Row of the first move that it replaces."""
    last: int
    """Row of the last one: where the arc ends."""
    centre: tuple[float, float]
    clockwise: bool


def fitted_arcs(points: Floats, kinds: NDArray[np.int8], *, tolerance: float, between: float) -> dict[int, Arc]:
    """Arcs that stand for runs of moves of one kind, by the row of the first move.

    `points`, (n, 3), are in the machine's frame, mm; `kinds`, (n,), the `Move` by which each is reached: rapids and
    plunges stay as they are. The points may lie `tolerance` mm from the arc, and the moves between them `between` mm.
    Arcs turn less than half a circle, so that start, end and centre leave no doubt which way round they go.
    """
    arcs: dict[int, Arc] = {}
    starts = np.flatnonzero(_starts(points, kinds, tolerance, between))
    changes = np.append(np.flatnonzero(np.diff(kinds)), len(kinds) - 1)
    stops = np.minimum(changes[np.searchsorted(changes, starts + 1)], starts + _MOST_MOVES)
    parts = [slice(first, first + _AT_ONCE) for first in range(0, len(starts), _AT_ONCE)]  # whose runs fit in memory
    lasts = [_furthest(points, starts[part], stops[part], tolerance, between) for part in parts]
    row = 0
    for start, last in zip(starts.tolist(), np.concatenate([*lasts, starts[:0]]).tolist(), strict=True):
        if start < row:
            continue
        row = last
        centre, turn = _circles(points[None, start : row + 1, :2])
        arcs[start + 1] = Arc(first=start + 1, last=row, centre=(float(centre[0, 0]), float(centre[0, 1])),
                              clockwise=bool(turn[0] < 0))
    return arcs


def _starts(points: Floats, kinds: NDArray[np.int8], tolerance: float, between: float) -> Bools:
    """Rows from which the next LEAST_MOVES moves lie on one arc: all at once."""
    n = len(points) - LEAST_MOVES
    free = np.zeros(len(points), dtype=bool)
    if n <= 0:
        return free
    step = np.diff(points[:, :2], axis=0)
    turn = step[:-1, 0] * step[1:, 1] - step[:-1, 1] * step[1:, 0]
    cutting = np.isin(kinds, (Move.CUT, Move.EASED))
    good = np.ones(n, dtype=bool)
    for k in range(1, LEAST_MOVES + 1):
        good &= cutting[k : n + k] & (kinds[k : n + k] == kinds[1 : n + 1])
    for k in range(1, LEAST_MOVES - 1):
        good &= (turn[k : n + k] * turn[:n] > 0)
    free[:n] = good
    starts = np.flatnonzero(free)
    free[starts] = _are_arcs(points[starts[:, None] + np.arange(LEAST_MOVES + 1)], tolerance, between)
    return free


def _are_arcs(runs: Floats, tolerance: float, between: float) -> Bools:
    """Of runs of the same length, (n, points, 3): do the points, and the moves between them, lie on one even arc?

    It rises or falls evenly and turns by less than half a circle.
    """
    centre, turn = _circles(runs[..., :2])
    with np.errstate(divide="ignore", invalid="ignore"):
        out = runs[..., :2] - centre[:, None]
        distance = np.hypot(out[..., 0], out[..., 1])
        radius = distance[:, [0, -1]].mean(axis=1)
        good = (np.abs(turn) >= _STRAIGHT) & (radius <= LARGEST_RADIUS)
        good &= np.abs(distance - radius[:, None]).max(axis=1) <= tolerance
    # the others are looked at no further: most runs end here
    good[good] = _turn_evenly(runs[good], out[good], radius[good], np.sign(turn[good]), tolerance, between)
    return np.asarray(good)


def _turn_evenly(runs: Floats, out: Floats, radius: Floats, way: Floats, tolerance: float, between: float) -> Bools:
    """Of runs with their points on circles, `out` from the centre: do they go round and up evenly, `way` about?"""
    cross = out[:, :-1, 0] * out[:, 1:, 1] - out[:, :-1, 1] * out[:, 1:, 0]
    sweep = way[:, None] * np.arctan2(cross, (out[:, :-1] * out[:, 1:]).sum(axis=-1))
    angle = np.cumsum(sweep, axis=1)
    good = (sweep > 0).all(axis=1) & (angle[:, -1] <= 0.95 * math.pi)
    good &= radius * (1.0 - np.cos(np.abs(sweep).max(axis=1) / 2.0)) <= between
    rise = (runs[:, -1, 2] - runs[:, 0, 2])[:, None] * angle / np.where(angle[:, -1:] == 0, 1.0, angle[:, -1:])
    return np.asarray(good & (np.abs(runs[:, 1:, 2] - runs[:, :1, 2] - rise).max(axis=1) <= tolerance))


def _circles(plan: Floats) -> tuple[Floats, Floats]:
    """(n, 2) centres of circles through the first, the middle and the last point of runs, and (n,) how they turn."""
    a, b, c = plan[:, 0], plan[:, plan.shape[1] // 2], plan[:, -1]
    ab, ac = b - a, c - a
    turn = ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0]
    d, e = (ab**2).sum(axis=1), (ac**2).sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        x = (ac[:, 1] * d - ab[:, 1] * e) / (2.0 * turn)
        y = (ab[:, 0] * e - ac[:, 0] * d) / (2.0 * turn)
    return a + np.stack([x, y], axis=1), turn


def _furthest(points: Floats, starts: Ints, stops: Ints, tolerance: float, between: float) -> Ints:
    """(n,) the furthest row up to `stops` that one arc from each of `starts` can end at; each holds LEAST_MOVES. The
    reach doubles while arcs hold and is then halved in, for all starts with the same bounds at once."""
    last = starts + LEAST_MOVES
    waiting = [(np.arange(len(starts)), LEAST_MOVES, 2 * LEAST_MOVES, True)]
    while waiting:
        which, low, high, growing = waiting.pop()
        reach = high if growing else (low + high) // 2
        if not len(which) or reach == low:
            continue
        arc = starts[which] + reach <= stops[which]
        arc[arc] = _are_arcs(points[starts[which[arc], None] + np.arange(reach + 1)], tolerance, between)
        last[which[arc]] = starts[which[arc]] + reach
        waiting.append((which[arc], reach, 2 * high if growing else high, growing))
        waiting.append((which[~arc], low, reach, False))
    return last
