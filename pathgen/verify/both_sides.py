"""Both sides in one field of heights: what the back's programs took from below, under what the top's left."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from pathgen.base import overlay
from pathgen.base.arrays import Bools
from pathgen.base.units import beside_limit
from pathgen.removal.grid import Grid, Heights
from pathgen.verify.findings import Finding, Tolerances, at
from pathgen.verify.in_plan import place_of
from pathgen.verify.simulate import Simulation
from pathgen.work.clamping import Clamping
from pathgen.work.operations import Channel
from pathgen.work.part import wood_in_plan

_OPEN = 0.02
"""Depth from which the back counts as opened, mm."""
_OFF = 0.5
"""Area of a dowel's hole that may lie off its mate, mm2: points at its rim."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Below:
    """What the programs of the back leave, on the grid of the top and in its frame: mm.

    Attributes
    ----------
    bottom : (rows, columns) float32
        Height of the wood's underside above the bed; infinity where the blank was cut through.
    """

    grid: Grid
    bottom: Heights

    @property
    def through(self) -> Bools:
        """(rows, columns) where nothing is left of the blank."""
        return np.isinf(self.bottom)


@dataclass(frozen=True, kw_only=True)
class WoodBetween:
    """The least wood between what was cut from below and from above, mm, and where; what was taken below, mm3."""

    least: float
    at: tuple[float, float]
    volume: float
    """Of the channel, within the part."""


def below_of(back: Simulation, blank: float) -> Below:
    """What the back's programs left of a blank of that thickness, turned over about its centre-line.

    The grid of both sides is the same: rows change places, since the blank lies evenly on both sides of the line.
    """
    depth = np.float32(blank) - back.top[::-1]
    return Below(grid=Grid(back.grid.xs, -back.grid.ys[::-1]),
                 bottom=np.where(back.top[::-1] <= 0.0, np.float32(np.inf), depth).astype(np.float32))


def wood_between(sim: Simulation, below: Below, clamping: Clamping, tolerances: Tolerances) -> WoodBetween | None:
    """The least wood over what the back's programs opened in the part; None where they opened nothing.

    Points on the part's edges, or nearer to them than those may be off, are no wood: the cutter has passed there.
    """
    part = wood_in_plan(clamping.board)
    opened = sim.grid.covered(part) & (below.bottom > _OPEN)
    edge = max(tolerances.outline, tolerances.hole, tolerances.pocket_plan) + tolerances.rounding
    wood = opened & sim.grid.covered(overlay.buffer(part, -edge, join_style="mitre"))
    if not wood.any():
        return None
    # fill that stands in a pocket is no wood
    left = np.where(wood, sim.top - below.bottom, np.float32(np.inf))
    for fill in sim.poured:
        window = left[fill.window]
        np.minimum(window, fill.floor - below.bottom[fill.window], out=window, where=wood[fill.window])
    least = int(np.argmin(left))
    volume = float(np.where(below.through, np.float32(0.0), below.bottom)[opened].sum(dtype=np.float64))
    return WoodBetween(least=float(left.flat[least]), volume=volume * sim.grid.cell_area, at=place_of(sim.grid, least))


def both_sides_findings(
    between: WoodBetween | None, below: Below, clamping: Clamping, tolerances: Tolerances
) -> Iterator[Finding]:
    """Too little wood between both sides, or dowel holes that do not lie under themselves once turned over."""
    steps = clamping.under.steps if clamping.under else ()
    channels, holes = (", ".join(step.file_name for step in steps if isinstance(step.operation, Channel) is channel)
                       for channel in (True, False))
    least = clamping.board.min_web
    if between is not None and not between.least >= least - tolerances.pocket_deep:
        yield Finding(
            code="thin-between-sides", where=at(channels, None, *between.at),
            got=f"{beside_limit(between.least, least, decimals=3)} of wood between what was cut from the back "
                "and from the top"
            if between.least > 0 else f"the back is cut {-between.least:.3f} mm into what was cut from the top",
            allowed=f"min_web {least:g} mm or more",
        )
    off = below.through & ~below.through[::-1]
    if off.sum() * below.grid.cell_area > _OFF:
        yield Finding(
            code="dowels-off", where=at(holes, None, *place_of(below.grid, np.argmax(off))),
            got="a hole through the blank that has no mate across the centre-line: the bed has none under it once the "
            "blank is turned over", allowed="holes that lie under themselves",
        )
