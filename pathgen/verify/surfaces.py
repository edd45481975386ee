"""Whether the finished surface is where it should be: low places, high places, ridges, resin left proud."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import shapely

from pathgen.clamping import RESURFACE, SURFACE_FINISH, Clamping
from pathgen.verify.findings import Finding, Tolerances, at
from pathgen.verify.ridges import Ridges
from pathgen.verify.simulate import Simulation

Where = tuple[float, float]
Culprit = Callable[[float, float, tuple[str, ...] | None], tuple[str, int]]
"""Name of the program and line that cut deepest at a place."""


@dataclass(frozen=True, kw_only=True)
class Deviation:
    """Lowest and highest of the finished surface, from where it should be, mm, and where."""

    low: float
    high: float
    low_at: Where
    high_at: Where
    high_in_fill: bool


def finished_area(clamping: Clamping, clear: float) -> shapely.Geometry:
    """Where the finished surface must be right: the board, without slots and without pockets that stay open."""
    area = clamping.board.outline.buffer(-clear, join_style="mitre")
    if clamping.slots is not None:
        lines = shapely.linestrings(clamping.slots.lines)
        area = area.difference(shapely.union_all(shapely.buffer(lines, clamping.slots.width / 2 + clear, cap_style="square")))
    pocketed = {step.inlay for step in clamping.steps if step.inlay is not None}
    bare = [inlay.area.buffer(clear) for i, inlay in enumerate(clamping.inlays) if inlay.fill == "none" and i in pocketed]
    return area.difference(shapely.union_all(bare)) if bare else area


def measure_surface(sim: Simulation, clamping: Clamping, clear: float = 0.03) -> Deviation:
    """The finished surface on the grid of the simulation."""
    skim = clamping.board.surface.thickness - clamping.finished_surface.thickness
    inside = sim.grid.covered(finished_area(clamping, clear))
    off = np.where(inside, sim.top - sim.surface, np.nan) + np.float32(skim)
    if not inside.any():
        return Deviation(low=math.nan, high=math.nan, low_at=(math.nan,) * 2, high_at=(math.nan,) * 2, high_in_fill=False)
    low, high = int(np.nanargmin(off)), int(np.nanargmax(off))
    return Deviation(
        low=float(off.flat[low]), high=float(off.flat[high]), low_at=_place(sim, low), high_at=_place(sim, high),
        high_in_fill=_in_fill(sim, high),
    )


def surface_findings(
    deviation: Deviation, ridges: Ridges, clamping: Clamping, tolerances: Tolerances, culprit: Culprit
) -> Iterator[Finding]:
    """Too low, too high, ridges over the limit."""
    if clamping.surfacing is None or not any(s.operation in (SURFACE_FINISH, RESURFACE) for s in clamping.steps):
        return
    limit = clamping.surfacing.scallop
    low, low_at = min((deviation.low, deviation.low_at), (ridges.below, ridges.below_at))
    high, high_at = max((deviation.high, deviation.high_at), (ridges.above, ridges.above_at))
    if not low >= -tolerances.surface_low:
        program, line = culprit(*low_at, None)
        yield Finding(
            code="surface-too-low", severity="forbid", where=at(program, line, *low_at), got=f"{-low:.4f} mm too low",
            allowed=f"{tolerances.surface_low:g} mm", remedy="do not cut: make the programs again from the job",
        )
    slope = float(np.max(clamping.board.surface.slope(*high_at), initial=0.0))
    if not high <= limit * math.hypot(1.0, slope) + tolerances.surface_high:
        program, line = culprit(*high_at, (SURFACE_FINISH, RESURFACE))
        proud = deviation.high_in_fill and high == deviation.high
        yield Finding(
            code="fill-proud" if proud else "surface-too-high", severity="forbid", where=at(program, line, *high_at),
            got=f"{high:.4f} mm too high", allowed=f"ridges of {limit:g} mm",
            remedy="the surface is not cut everywhere: make the programs again from the job",
        )
    if ridges.highest > limit + tolerances.ridge:
        program, line = culprit(*ridges.highest_at, (SURFACE_FINISH, RESURFACE))
        yield Finding(
            code="ridges-too-high", severity="forbid", where=at(program, line, *ridges.highest_at),
            got=f"a ridge of {ridges.highest:.4f} mm", allowed=f"{limit:g} mm", remedy="bring the passes closer together",
        )


def _place(sim: Simulation, flat: int) -> Where:
    row, column = divmod(flat, sim.grid.shape[1])
    return float(sim.grid.xs[column]), float(sim.grid.ys[row])


def _in_fill(sim: Simulation, flat: int) -> bool:
    row, column = divmod(flat, sim.grid.shape[1])
    for fill in sim.poured:
        rows, columns = fill.window
        if rows.start <= row < rows.stop and columns.start <= column < columns.stop:
            i, j = row - rows.start, column - columns.start
            if fill.after[i, j] > fill.floor[i, j] + 1e-4:
                return True
    return False
