"""An exact little removal for the tests of pockets: what discs swept along straight moves take, on a grid."""

import numpy as np

from pathgen.base.surface import Surface
from pathgen.base.toolpath import Move, Toolpath


class Block:
    """Wood under a surface, as heights at the middles of square cells."""

    def __init__(self, surface: Surface, bounds: tuple[float, float, float, float], cell: float) -> None:
        x0, y0, x1, y1 = bounds
        self.x, self.y = np.arange(x0 + cell / 2, x1, cell), np.arange(y0 + cell / 2, y1, cell)
        self.cell = cell
        grid_x, grid_y = np.meshgrid(self.x, self.y, indexing="ij")
        self.top = surface.height(grid_x, grid_y)
        self.z = self.top.copy()
        self.rapid_in_wood = 0.0

    @property
    def depth(self) -> np.ndarray:
        """How far below the surface each cell is cut."""
        return self.top - self.z

    def cut(self, path: Toolpath, radius: float) -> None:
        """Sweep a flat end along the moves, rounded to four decimals as programs are; notes rapids through wood."""
        points = np.round(path.points, 4)
        for a, b, kind in zip(points[:-1], points[1:], path.kinds[1:], strict=True):
            window, low = self._lowest(a, b, radius)
            if window is None:
                continue
            if kind == Move.RAPID:
                self.rapid_in_wood = max(self.rapid_in_wood, float((self.z[window] - low).max(initial=0.0)))
            self.z[window] = np.minimum(self.z[window], low)

    def _lowest(self, a: np.ndarray, b: np.ndarray, r: float) -> tuple[tuple[slice, slice] | None, np.ndarray]:
        """Height of the lowest that a disc of radius r is over each cell on the way from a to b: exact.

        A cell lies under the disc while the axis is within r of it: an interval of the way, at whose lower end the
        disc is lowest.
        """
        lo, hi = np.minimum(a, b), np.maximum(a, b)
        i = slice(*np.searchsorted(self.x, [lo[0] - r, hi[0] + r]))
        j = slice(*np.searchsorted(self.y, [lo[1] - r, hi[1] + r]))
        if i.start == i.stop or j.start == j.stop:
            return None, np.empty(0)
        dx, dy = self.x[i][:, None] - a[0], self.y[j][None, :] - a[1]
        run = b - a
        length2 = run[0] ** 2 + run[1] ** 2
        if length2 == 0.0:
            return (i, j), np.where(dx**2 + dy**2 <= r * r, lo[2], np.inf)
        along = (dx * run[0] + dy * run[1]) / length2
        off2 = dx**2 + dy**2 - along**2 * length2
        half = np.sqrt(np.maximum(r * r - off2, 0.0) / length2)
        first, last = np.maximum(along - half, 0.0), np.minimum(along + half, 1.0)
        inside = (off2 <= r * r) & (first <= last)
        z = a[2] + np.where(run[2] < 0, last, first) * run[2]
        return (i, j), np.where(inside, z, np.inf)
