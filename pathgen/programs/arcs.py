"""Runs of straight moves that lie on circular arcs, for controllers that take G2 and G3."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pathgen.base.toolpath import Move

Floats = NDArray[np.float64]

LEAST_MOVES = 4
"""Straight moves that one arc must replace to be worth writing."""

LARGEST_RADIUS = 1000.0
"""mm; flatter arcs stay straight moves: their centres are too far to be written exactly."""


@dataclass(frozen=True, kw_only=True)
class Arc:
    """An arc in the XY plane, rising or falling evenly, from the point before `first` to `last`."""

    first: int
    """Row of the first move that it replaces."""
    last: int
    """Row of the last one: where the arc ends."""
    centre: tuple[float, float]
    clockwise: bool


def fitted_arcs(points: Floats, kinds: NDArray[np.int8], *, tolerance: float) -> dict[int, Arc]:
    """Arcs that stand for runs of moves of one kind, by the row of the first move.

    Parameters
    ----------
    points : (n, 3) float array
        Positions in the machine's frame, mm.
    kinds : (n,) int array
        `Move` by which each is reached; rapids and plunges stay as they are.
    tolerance : float
        How far the points, and the moves between them, may lie from the arc, mm.

    Notes
    -----
    Arcs turn less than half a circle, so that start, end and centre leave no doubt which way round they go.
    """
    arcs: dict[int, Arc] = {}
    row, free = 0, _starts(points, kinds, tolerance)
    for start in np.flatnonzero(free).tolist():
        if start < row:
            continue
        last = _longest(points, kinds, start, tolerance)
        if last - start >= LEAST_MOVES:
            centre, turn = _circle(points[start : last + 1, :2])
            arcs[start + 1] = Arc(first=start + 1, last=last, centre=centre, clockwise=turn < 0)
            row = last
    return arcs


def _starts(points: Floats, kinds: NDArray[np.int8], tolerance: float) -> NDArray[np.bool_]:
    """Rows from which the next LEAST_MOVES moves may well lie on one arc: a sieve for all at once."""
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
    free[starts] = _are_arcs(points[starts[:, None] + np.arange(LEAST_MOVES + 1)], tolerance)
    return free


def _are_arcs(runs: Floats, tolerance: float) -> NDArray[np.bool_]:
    """Whether runs of the same length, (n, points, 3), have their points on a circle: the first that `_is_arc` asks."""
    a, b, c = runs[:, 0, :2], runs[:, runs.shape[1] // 2, :2], runs[:, -1, :2]
    ab, ac = b - a, c - a
    turn = ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0]
    d, e = (ab**2).sum(axis=1), (ac**2).sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        x = (ac[:, 1] * d - ab[:, 1] * e) / (2.0 * turn)
        y = (ab[:, 0] * e - ac[:, 0] * d) / (2.0 * turn)
        out = runs[..., :2] - (a + np.stack([x, y], axis=1))[:, None]
        distance = np.hypot(out[..., 0], out[..., 1])
        radius = distance[:, [0, -1]].mean(axis=1)
        round_ = (np.abs(turn) >= 1e-12) & (radius <= LARGEST_RADIUS)
        round_ &= np.abs(distance - radius[:, None]).max(axis=1) <= tolerance
    return np.asarray(round_)


def _longest(points: Floats, kinds: NDArray[np.int8], start: int, tolerance: float) -> int:
    """The furthest row that one arc from `start` can end at; `start` itself when there is none."""
    stop = start + 1
    while stop + 1 < len(kinds) and kinds[stop + 1] == kinds[start + 1]:
        stop += 1
        if stop - start > 4096:
            break
    good, reach = start, LEAST_MOVES
    while start + reach <= stop and _is_arc(points[start : start + reach + 1], tolerance):
        good, reach = start + reach, 2 * reach
    low, high = good, min(start + reach, stop + 1)
    while good > start and high - low > 1:
        middle = (low + high) // 2
        if _is_arc(points[start : middle + 1], tolerance):
            low = middle
        else:
            high = middle
    return low


def _is_arc(run: Floats, tolerance: float) -> bool:
    """Do the points, and the straight moves between them, lie on one evenly rising arc of less than half a turn?"""
    (x, y), turn = _circle(run[:, :2])
    if not math.isfinite(turn) or turn == 0:
        return False
    out = run[:, :2] - (x, y)
    distance = np.hypot(out[:, 0], out[:, 1])
    radius = float(distance[[0, -1]].mean())
    if radius > LARGEST_RADIUS or np.abs(distance - radius).max() > tolerance:
        return False
    angle = np.unwrap(np.arctan2(out[:, 1], out[:, 0]))
    sweep = np.diff(angle)
    if np.any(sweep * np.sign(turn) <= 0) or abs(angle[-1] - angle[0]) > 0.95 * math.pi:
        return False
    sagitta = radius * (1.0 - math.cos(float(np.abs(sweep).max()) / 2.0))
    even = np.interp(angle * np.sign(turn), (angle * np.sign(turn))[[0, -1]], run[[0, -1], 2])
    return sagitta <= 2.0 * tolerance and float(np.abs(run[:, 2] - even).max()) <= tolerance


def _circle(plan: Floats) -> tuple[tuple[float, float], float]:
    """Centre of the circle through the first, the middle and the last point, and which way they turn (0: straight)."""
    a, b, c = plan[0], plan[len(plan) // 2], plan[-1]
    ab, ac = b - a, c - a
    turn = float(ab[0] * ac[1] - ab[1] * ac[0])
    if abs(turn) < 1e-12:
        return (math.nan, math.nan), 0.0
    d, e = float(ab @ ab), float(ac @ ac)
    x = (ac[1] * d - ab[1] * e) / (2.0 * turn)
    y = (ab[0] * e - ac[0] * d) / (2.0 * turn)
    return (float(a[0] + x), float(a[1] + y)), turn
