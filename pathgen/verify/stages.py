"""What stands on the bed when each program has ended, and at each inlay: its pockets and fill; and small fields of
heights, for pictures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pathgen.base.arrays import Bools
from pathgen.removal.grid import Grid, Heights
from pathgen.work.features import Inlay
from pathgen.work.operations import Operation

SPACING = 0.3
"""How far apart the heights of a stage are kept at most, mm: half a narrow slot, and a ninth of what the simulation
holds."""
ALONG = 900
"""Points along a small part: closer than they need be for a picture."""
CLOSE = 1100
"""Points along an inlay seen from near, at most."""
_STANDS = 1e-3  # mm: fill lower than this over its floor is cut away


@dataclass(frozen=True, eq=False, kw_only=True)
class Poured:
    """One inlay's pockets and fill, on the part of the grid around them: heights in mm.

    Attributes
    ----------
    window : (slice, slice)
        Rows and columns of the grid.
    removed : (rows, columns) float32
        What its pocket programs took away, straight down.
    floor : (rows, columns) float32
        Heights of the wood when the fill was poured: the pockets' floors and the surface around.
    fill : (rows, columns) bool
        Where fill stands when its surface has been cut again.
    lost, lost_at : float, (x, y)
        Most wood that cutting it again took below `floor`, and where; 0 where that program is missing.
    """

    inlay: Inlay
    window: tuple[slice, slice]
    removed: Heights
    floor: Heights
    fill: Bools
    lost: float = 0.0
    lost_at: tuple[float, float] = (0.0, 0.0)

    def by(self, operation: Operation[Any]) -> bool:
        """Whether an operation cut these pockets."""
        return operation.opens is self.inlay


@dataclass(frozen=True, eq=False, kw_only=True)
class Stage:
    """The work after one program, and after the pour that follows it.

    Attributes
    ----------
    order : int
        The program's order.
    grid : Grid
        Where heights are known.
    heights : (rows, columns) float32
        Mm above the bed; -inf where there is no blank.
    fill : (rows, columns) uint8
        1 + the index in `inlays` of the one whose fill is seen there; 0 for wood.
    inlays : tuple of Inlay
        Those poured so far.
    """

    order: int
    grid: Grid
    heights: Heights
    fill: NDArray[np.uint8]
    inlays: tuple[Inlay, ...]

    @property
    def spacing(self) -> float:
        """From one point to the next, mm."""
        return float(self.grid.cell_area**0.5)

    def coarser(self) -> Stage:
        """Half as many rows and columns, each point the mean of four: no slot is lost, and all look as wide."""
        rows, columns = (n // 2 * 2 for n in self.heights.shape)
        if not rows or not columns:
            return self
        quarters = [self.heights[i:rows:2, j:columns:2] for i in (0, 1) for j in (0, 1)]
        xs, ys = self.grid.xs[:columns], self.grid.ys[:rows]
        return replace(self, heights=np.mean(quarters, axis=0), fill=self.fill[0:rows:2, 0:columns:2],
                       grid=Grid((xs[::2] + xs[1::2]) / 2, (ys[::2] + ys[1::2]) / 2))


@dataclass(frozen=True, eq=False, kw_only=True)
class Closeup:
    """One inlay and the wood around it from near: its pocket open, filled, and in the end."""

    inlay: Inlay
    opened: Stage
    filled: Stage
    finished: Stage


def stage_after(
    order: int, grid: Grid, top: Heights, poured: Sequence[Poured], *, near: tuple[slice, slice] | None = None
) -> Stage:
    """A small copy of what stands there now: every so many points of the simulation's grid, or closer in a window."""
    spacing = grid.cell_area**0.5 or SPACING
    if near is None:
        step = max(1, min(round(SPACING / spacing), -(-grid.shape[1] // ALONG)))
        window = slice(None, None, step), slice(None, None, step)
    else:
        step = max(1, -(-(near[1].stop - near[1].start) // CLOSE))
        window = slice(near[0].start, near[0].stop, step), slice(near[1].start, near[1].stop, step)
    fill = np.zeros(grid.shape, np.uint8)
    for number, one in enumerate(poured, 1):
        stands = one.fill & (top[one.window] > one.floor + np.float32(_STANDS))
        fill[one.window][stands] = number
    return Stage(
        order=order, grid=Grid(grid.xs[window[1]], grid.ys[window[0]]), heights=top[window].copy(),
        fill=fill[window].copy(), inlays=tuple(one.inlay for one in poured),
    )
