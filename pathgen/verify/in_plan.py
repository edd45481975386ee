"""Seen from above: moves as lines, how far places lie from the nearest of them, and where points of a grid lie."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from pathgen.base.arrays import Floats
from pathgen.removal.grid import Grid

Lines = NDArray[np.object_]


def lines_of(start: Floats, end: Floats) -> Lines:
    """(n,) lines from (n, 3) starts to ends."""
    return np.asarray(shapely.linestrings(np.stack([start[:, :2], end[:, :2]], axis=1)))


def away_from(lines: Lines, places: NDArray[np.object_]) -> Floats:
    """(n,) how far each of some points is from the nearest line; infinite without lines."""
    if not len(lines):
        return np.full(len(places), np.inf)
    return np.asarray(shapely.distance(places, lines[shapely.STRtree(lines).nearest(places)]))


def place_of(grid: Grid, number: int | np.integer) -> tuple[float, float]:
    """(x, y) of a point of a grid, by its number row by row, mm."""
    row, column = divmod(int(number), grid.shape[1])
    return float(grid.xs[column]), float(grid.ys[row])
