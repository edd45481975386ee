"""How high anything stands over a window of a height field: upper bounds, from the highest of each tile."""

from __future__ import annotations

import math

import numpy as np

from pathgen.base.arrays import Floats, Ints
from pathgen.removal.grid import Heights

_TILE = 32  # points along each side


class Ceiling:
    """Upper bounds of what stands over windows of a field, from the highest of each tile of it."""

    def __init__(self, top: Heights) -> None:
        by_rows = [top[first : first + _TILE].max(axis=0) for first in range(0, len(top), _TILE)]
        self.levels = [np.maximum.reduceat(np.array(by_rows), np.arange(0, top.shape[1], _TILE), axis=1)]
        self.highest = float(self.levels[0].max(initial=-math.inf))

    def over(self, windows: Ints) -> Floats:
        """(n,) bounds over (n, 4) windows: first and past-the-last column, first and past-the-last row."""
        i0, i1, j0, j1 = ((windows - [0, 1, 0, 1]) // _TILE).T
        i, j = (i0 + i1) // 2, (j0 + j1) // 2
        # level n has, for each tile, the highest of the tiles up to 2 ** n - 1 away
        level = np.ceil(np.log2(1 + np.maximum(i1 - i, j1 - j))).astype(int)
        while len(self.levels) <= level.max(initial=0):
            self._widen()
        out = np.empty(len(windows))
        for n in np.unique(level):
            own = level == n
            out[own] = self.levels[n][j[own], i[own]]
        return out

    def _widen(self) -> None:
        wide, reach = self.levels[-1], 1 << (len(self.levels) - 1)
        for axis in (0, 1):
            near = np.moveaxis(wide, axis, 0)
            far = near.copy("K")  # laid out as it is
            if len(near) > reach:
                far[reach:] = np.maximum(near[reach:], near[:-reach])
                far[:-reach] = np.maximum(far[:-reach], near[reach:])
            else:
                far[:] = near.max(axis=0)
            wide = np.moveaxis(far, 0, axis)
        self.levels.append(wide)
