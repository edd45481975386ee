"""Seen from above: moves as lines, how far places lie from the nearest of them, and where points of a grid lie."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from pathgen.base.arrays import Floats, Ints
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


def further_than(distance: float, lines: Lines, places: NDArray[np.object_]) -> tuple[Ints, Floats]:
    """Which of some points lie further from the nearest line than a distance, and how far: mostly none do."""
    far = np.ones(len(places), bool)
    far[shapely.STRtree(lines).query(places, predicate="dwithin", distance=distance)[0]] = False
    away = away_from(lines, places[far])
    return np.flatnonzero(far)[away > distance], away[away > distance]


def nearest_at(
    start: Floats, end: Floats, shape: shapely.Geometry, seen_as: Floats | None = None
) -> tuple[float, float]:
    """(x, y) where a straight move comes nearest to a shape, of all its way: on its edge or in it, if it goes there.

    `seen_as` (2, 3) is where it goes in the frame of the shape, where that is another. A move from where nobody knows
    is at its end.
    """
    if not np.isfinite([start, end]).all():
        return float(end[0]), float(end[1])
    a, b = (start, end) if seen_as is None else seen_as
    way = shapely.LineString([a[:2], b[:2]])
    share = 1.0 if way.length == 0.0 else shapely.line_locate_point(
        way, shapely.get_point(shapely.shortest_line(way, shape), 0), normalized=True)
    x, y = (start + share * (end - start))[:2].tolist()
    return x, y


def place_of(grid: Grid, number: int | np.integer) -> tuple[float, float]:
    """(x, y) of a point of a grid, by its number row by row, mm."""
    row, column = divmod(int(number), grid.shape[1])
    return float(grid.xs[column]), float(grid.ys[row])
