"""What the pockets of each inlay came to: areas, volumes and depths, from the simulation."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pathgen.base import overlay
from pathgen.base.arrays import Bools
from pathgen.verify.simulate import OPENED, Simulation
from pathgen.work.clamping import Clamping


@dataclass(frozen=True, kw_only=True)
class PocketMeasure:
    """What an inlay's pockets came to: mm2, mm3."""

    inlay: int
    area: float
    volume: float
    fill_volume: float
    """Up to `overfill` above the surface as it stands when it is filled, over the pockets only."""
    by_colour: Mapping[str, tuple[float, float]]
    """(pocket volume, fill volume) of each colour; together those of the inlay."""
    area_by_colour: Mapping[str, float]
    depth_by_colour: Mapping[str, tuple[float, float]]
    """Least and greatest depth of each colour's pocket below the first surface; (0, 0) for one not opened."""

    @property
    def deepest(self) -> float:
        """Greatest depth of all colours below the first surface, mm."""
        return max((most for _, most in self.depth_by_colour.values()), default=0.0)


def pocket_measures(sim: Simulation, clamping: Clamping) -> tuple[PocketMeasure, ...]:
    """Volumes from the simulation."""
    out = []
    for poured in sim.poured:
        inlay, cell = poured.inlay, sim.grid.cell_area
        opened = poured.removed > OPENED
        removed = np.where(opened, poured.removed, np.float32(0.0))
        filled = np.zeros_like(removed)
        if inlay.fill != "none":
            above = np.float32(inlay.overfill + clamping.ground(inlay))
            np.subtract(sim.surface[poured.window] + above, poured.floor, where=opened, out=filled)
        part = sim.grid.part(poured.window)
        shares, areas, depths = {}, {}, {}
        free = opened.copy()
        for colour, shape in inlay.regions:
            own = free & part.covered(overlay.buffer(shape, 0.05))
            free &= ~own
            shares[colour] = (_sum(removed[own]) * cell, _sum(filled[own]) * cell)
            areas[colour] = float(own.sum()) * cell
            deep = sim.surface[poured.window] - poured.floor
            # a cell at the rim may have been met by one layer and just missed by the next
            away = own & _amid(opened)
            least = deep[away if away.any() else own]
            depths[colour] = (float(least.min()), float(deep[own].max())) if len(least) else (0.0, 0.0)
        out.append(PocketMeasure(
            inlay=poured.inlay.index, area=float(opened.sum()) * cell, volume=_sum(removed) * cell,
            fill_volume=_sum(filled) * cell, by_colour=shares, area_by_colour=areas, depth_by_colour=depths,
        ))
    return tuple(out)


def _amid(opened: Bools) -> Bools:
    """Opened cells beside which all are open."""
    wide = np.pad(opened, 1)
    return np.asarray(wide[:-2, 1:-1] & wide[2:, 1:-1] & wide[1:-1, :-2] & wide[1:-1, 2:] & opened)


def _sum(values: NDArray[np.floating]) -> float:
    return float(np.sum(values, dtype=float))
