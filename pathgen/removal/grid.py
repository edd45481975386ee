"""Where heights are known: a rectilinear grid, and which of its points a shape covers."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely

from pathgen.base.arrays import Bools, Floats, Ints, Singles, numbers_from

Heights = Singles
"""(rows, columns) of what stands at the points of a grid, mm."""

_EVEN = 1e-9  # mm: columns that lie nearer to even than this do


@dataclass(frozen=True, eq=False)
class Grid:
    """Points (x, y) with x from `xs` and y from `ys`, both rising, mm; fields on it have shape (len(ys), len(xs)).

    The spacing need not be even: a fine `ys` with a few `xs` makes cross sections.
    """

    xs: Floats
    ys: Floats

    @classmethod
    def over(cls, bounds: tuple[float, float, float, float], spacing: float) -> Grid:
        """Evenly spaced points: the centres of the cells of a raster over (x_min, y_min, x_max, y_max)."""
        x0, y0, x1, y1 = bounds
        nx, ny = (max(1, round((b - a) / spacing)) for a, b in ((x0, x1), (y0, y1)))
        return cls(x0 + (np.arange(nx) + 0.5) * (x1 - x0) / nx, y0 + (np.arange(ny) + 0.5) * (y1 - y0) / ny)

    @property
    def shape(self) -> tuple[int, int]:
        return len(self.ys), len(self.xs)

    @property
    def cell_area(self) -> float:
        """Area that each point stands for, mm2, where the spacing is even."""
        return float((self.xs[-1] - self.xs[0]) / max(len(self.xs) - 1, 1) * (self.ys[-1] - self.ys[0])
                     / max(len(self.ys) - 1, 1))

    @cached_property
    def _spacing(self) -> float:
        """Between columns, 0 where it is not even."""
        apart = np.diff(self.xs)
        return float(apart.mean()) if len(apart) and np.ptp(apart) < _EVEN else 0.0

    def columns_before(self, x: Floats) -> Ints:
        """(n,) how many columns lie to the left of each x."""
        if not self._spacing:
            return np.searchsorted(self.xs, x)
        return np.clip(np.ceil((x - self.xs[0]) / self._spacing), 0, len(self.xs)).astype(np.intp)

    def window(self, bounds: tuple[float, float, float, float]) -> tuple[slice, slice]:
        """(rows, columns) of the points within (x_min, y_min, x_max, y_max)."""
        x0, y0, x1, y1 = bounds
        return (
            slice(int(np.searchsorted(self.ys, y0)), int(np.searchsorted(self.ys, y1, side="right"))),
            slice(int(np.searchsorted(self.xs, x0)), int(np.searchsorted(self.xs, x1, side="right"))),
        )

    def part(self, window: tuple[slice, slice]) -> Grid:
        """The grid of a window."""
        return Grid(self.xs[window[1]], self.ys[window[0]])

    def covered(self, shape: shapely.Geometry) -> Bools:
        """Points inside a shapely area: even-odd over all its rings, a scan line for each row."""
        edges = ring_edges(shape)
        inside = np.zeros(self.shape, dtype=np.uint8)
        if len(edges):
            rows, columns = self.window((edges[:, [0, 2]].min(), edges[:, [1, 3]].min(), edges[:, [0, 2]].max(),
                                         edges[:, [1, 3]].max()))
            row, x = _crossings(edges, self.ys)
            column = np.searchsorted(self.xs, x)
            seen = column < columns.stop
            np.bitwise_xor.at(inside, (row[seen], column[seen]), 1)
            part = inside[rows, columns]
            np.bitwise_xor.accumulate(part, axis=1, out=part)
        return inside.view(bool)


def ring_edges(shape: shapely.Geometry) -> Floats:
    """(n, 4) edges x0 y0 x1 y1 of all rings of an area."""
    lines = shapely.get_parts(shapely.get_parts(shapely.boundary(shapely.get_parts(shape))))
    if not len(lines):
        return np.empty((0, 4))
    points, ring = shapely.get_coordinates(lines, return_index=True)
    same = ring[1:] == ring[:-1]
    return np.concatenate([points[:-1], points[1:]], axis=1)[same]


def _crossings(edges: Floats, ys: Floats) -> tuple[Ints, Floats]:
    """Rows and x where edges cross the lines y = ys; an end that lies on a line counts for the edge above it."""
    x0, y0, x1, y1 = edges.T
    low, high = np.minimum(y0, y1), np.maximum(y0, y1)
    first, stop = np.searchsorted(ys, low), np.searchsorted(ys, high)
    edge, rows = numbers_from(first, stop)
    share = (ys[rows] - y0[edge]) / (y1[edge] - y0[edge])
    return rows, x0[edge] + share * (x1[edge] - x0[edge])
