"""What each move of a program takes, in the program's own order: how deep, how wide, how much.

Every point of the grid that a run of moves touches is listed, move by move, and the list is sorted by point, keeping
the order of the moves. The running minimum at a point is then what stood there before each touch, and the drop at a
touch belongs to its move. A move touches only what its cutter may be immersed in: nothing is swept above the material.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pathgen.base.cutters import Cutter
from pathgen.removal.grid import Grid
from pathgen.removal.motion import Motion
from pathgen.removal.sweep import swept_heights

Floats = NDArray[np.float64]
Whole = NDArray[np.intp]

_LEAST = 1e-5  # mm: a drop less than this is no cut but rounding
_TOUCHES = 1_000_000  # listed at once, some 300 MB
_EDGE = 90  # places round the leading half of the cutter's edge, two degrees apart
_AHEAD = 0.75  # of the spacing: the point nearest to a place so far outside the edge is not under the cutter


@dataclass(frozen=True, eq=False, kw_only=True)
class Bites:
    """What each move takes; one entry for each move of the program, 0 where it takes nothing.

    Attributes
    ----------
    depth : (n,) float array
        Highest material met over the cutter's tip as it passes, mm, among the points that the move lowers.
    volume : (n,) float array
        mm3.
    engaged_deg : (n,) float array
        Angle of the cutter's edge that is in material at the middle of the move: 180 for a full slot,
        arccos(1 - s / r) for a straight cut at stepover s with radius r, 360 for a plunge. A ball or v counts
        with its radius where it leaves the material, at `depth`.
    line : (n,) int array
        Of the program's text.
    """

    depth: Floats
    volume: Floats
    engaged_deg: Floats
    line: NDArray[np.int64]

    def __len__(self) -> int:
        return len(self.line)


def take_bites(top: NDArray[np.floating], grid: Grid, motion: Motion, cutter: Cutter) -> Bites:
    """What each move at a feed takes from heights `top`, which are lowered in place.

    Parameters
    ----------
    top : (len(grid.ys), len(grid.xs)) float array
        Heights of the material over an evenly spaced grid, mm. Contiguous.
    motion : Motion
        The moves; rapids and moves from or to an unknown place take nothing.
    """
    n = len(motion)
    depth, volume, engaged = np.zeros(n), np.zeros(n), np.zeros(n)
    rows = np.flatnonzero(motion.cutting)
    windows = _windows(grid, motion, rows, cutter, float(top.max(initial=-math.inf)))
    size = np.maximum(windows[:, [1, 3]] - windows[:, [0, 2]], 0).prod(axis=1)
    part = np.cumsum(size) // _TOUCHES
    for number in np.unique(part):
        own = np.flatnonzero((part == number) & (size > 0))
        if len(own):
            took = _together(top, grid, motion, rows[own], windows[own], size[own], cutter)
            depth[rows[own]], volume[rows[own]], engaged[rows[own]] = took
    return Bites(depth=depth, volume=volume, engaged_deg=engaged, line=motion.line)


def _windows(grid: Grid, motion: Motion, rows: Whole, cutter: Cutter, highest: float) -> Whole:
    """(n, 4) first and past-the-last column and row that each move can be immersed in."""
    least = np.minimum(motion.start[rows], motion.end[rows])
    most = np.maximum(motion.start[rows], motion.end[rows])
    below = np.maximum(highest - least[:, 2], 0.0)
    half = np.where(below > 0, cutter.half_width(below), -np.inf)
    return np.stack([
        np.searchsorted(grid.xs, least[:, 0] - half), np.searchsorted(grid.xs, most[:, 0] + half, side="right"),
        np.searchsorted(grid.ys, least[:, 1] - half), np.searchsorted(grid.ys, most[:, 1] + half, side="right"),
    ], axis=1)


def _together(
    top: NDArray[np.floating], grid: Grid, motion: Motion, rows: Whole, windows: Whole, size: Whole, cutter: Cutter
) -> tuple[Floats, Floats, Floats]:
    """Depth, volume and engaged angle of some moves that follow on one another."""
    start, run = motion.start[rows], motion.end[rows] - motion.start[rows]
    length = np.hypot(run[:, 0], run[:, 1])
    along = np.where(length > 0, run[:, 0], 1.0) / np.where(length > 0, length, 1.0)
    aside = np.where(length > 0, run[:, 1], 0.0) / np.where(length > 0, length, 1.0)
    move = np.repeat(np.arange(len(rows)), size)
    place = np.arange(len(move)) - np.repeat(np.cumsum(size) - size, size)
    row, column = np.divmod(place, (windows[:, 1] - windows[:, 0])[move])
    row, column = row + windows[move, 2], column + windows[move, 0]
    dx, dy = grid.xs[column] - start[move, 0], grid.ys[row] - start[move, 1]
    u, v = along[move] * dx + aside[move] * dy, along[move] * dy - aside[move] * dx
    left = swept_heights(cutter, u, v, length[move], run[move, 2]) + start[move, 2]
    cell = row * len(grid.xs) + column
    wet = np.flatnonzero(left < top.ravel()[cell] - _LEAST)
    wet = wet[np.argsort(cell[wet], kind="stable")]
    move, cell, left, u = move[wet], cell[wet], left[wet], u[wet]
    before, after = _in_order(top, cell, left)
    drop = before - after
    took = drop > _LEAST
    share = np.divide(np.clip(u, 0, length[move]), length[move], where=length[move] > 0, out=np.ones(len(u)))
    # a plunge has its lower end as its tip
    rise = np.where(length > 0, run[:, 2], np.minimum(run[:, 2], 0.0))
    tip = start[move, 2] + share * rise[move]
    depth = np.zeros(len(rows))
    np.maximum.at(depth, move[took], (before - tip)[took])
    volume = np.bincount(move[took], drop[took], len(rows)) * grid.cell_area
    engaged = np.where((length == 0) & (depth > 0), 360.0, 0.0)
    some = np.flatnonzero((length > 0) & (depth > 0))
    radius = np.minimum(cutter.half_width(depth[some]), cutter.radius)
    middle = start[some] + run[some] / 2
    theta = (np.arange(_EDGE) + 0.5) * math.pi / _EDGE - math.pi / 2
    off = radius[:, None] * np.sin(theta)
    clear = radius[:, None] + _AHEAD * float(grid.xs[1] - grid.xs[0])
    far = np.sqrt(clear**2 - off**2)  # straight ahead of the edge, so that a wall beside the cutter is not met
    x = middle[:, :1] + along[some, None] * far - aside[some, None] * off
    y = middle[:, 1:2] + aside[some, None] * far + along[some, None] * off
    there = _standing(top, grid, x, y, np.broadcast_to(some[:, None], x.shape), (cell, move, after), len(rows))
    engaged[some] = (there > middle[:, 2:] + _LEAST).mean(axis=1) * 180.0
    np.minimum.at(top.reshape(-1), cell, after.astype(top.dtype))
    return depth, np.asarray(volume, dtype=float), np.asarray(engaged, dtype=float)


def _in_order(top: NDArray[np.floating], cell: Whole, left: Floats) -> tuple[Floats, Floats]:
    """Heights before and after each touch; touches sorted by cell, in order within each."""
    first = np.diff(cell, prepend=-1) != 0
    stood = top.ravel()[cell].astype(float)
    span = float(stood.max(initial=0.0) - left.min(initial=0.0)) + 1.0
    step = np.cumsum(first) * span  # each cell's heights lie below all of the cells before it
    after = np.minimum.accumulate(np.minimum(left, stood) - step) + step
    before = np.where(first, stood, np.concatenate([after[:1], after[:-1]]))
    return before, np.minimum(after, before)


def _standing(
    top: NDArray[np.floating], grid: Grid, x: Floats, y: Floats, move: Whole, touches: tuple[Whole, Whole, Floats],
    moves: int,
) -> Floats:
    """Heights at places just before their moves; outside the grid nothing stands."""
    cell, by, after = touches
    column = np.rint((x - grid.xs[0]) / (grid.xs[1] - grid.xs[0])).astype(np.intp)
    row = np.rint((y - grid.ys[0]) / (grid.ys[1] - grid.ys[0])).astype(np.intp)
    inside = (column >= 0) & (column < len(grid.xs)) & (row >= 0) & (row < len(grid.ys))
    asked = np.where(inside, row * len(grid.xs) + column, 0)
    last = np.searchsorted(cell * moves + by, asked * moves + move) - 1
    touched = (last >= 0) & (cell[last] == asked)
    return np.where(inside, np.where(touched, after[last], top.ravel()[asked]), -np.inf)
