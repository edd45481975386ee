"""What stands on the bed when each program has ended: small fields of heights, for pictures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pathgen.removal.grid import Grid
from pathgen.removal.material import Heights
from pathgen.work.features import Inlay

if TYPE_CHECKING:
    from pathgen.verify.simulate import Poured

SPACING = 0.3
"""How far apart the heights of a stage are kept, mm: half a fret slot, and a ninth of what the simulation holds."""
_STANDS = 1e-3  # mm: fill lower than this over its floor is cut away


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


def stage_after(order: int, grid: Grid, top: Heights, poured: Sequence[Poured]) -> Stage:
    """A small copy of what stands there now: every so many points of the simulation's grid."""
    step = max(1, round(SPACING / (grid.cell_area**0.5 or SPACING)))
    fill = np.zeros(grid.shape, np.uint8)
    for number, one in enumerate(poured, 1):
        stands = one.fill & (top[one.window] > one.floor + np.float32(_STANDS))
        fill[one.window][stands] = number
    return Stage(
        order=order, grid=Grid(grid.xs[::step], grid.ys[::step]), heights=top[::step, ::step].copy(),
        fill=fill[::step, ::step].copy(),
        inlays=tuple(one.inlay for one in poured),
    )
