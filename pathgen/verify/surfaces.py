"""Whether the finished surface is where it should be: low places, high places, ridges, resin left proud."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely

from pathgen.base import overlay
from pathgen.base.units import beside_limit
from pathgen.verify.culprit import Culprit
from pathgen.verify.findings import AGAIN, Finding, Tolerances, at
from pathgen.verify.in_plan import place_of
from pathgen.verify.ridges import Ridges
from pathgen.verify.simulate import Simulation
from pathgen.work.clamping import Clamping

Where = tuple[float, float]
_NOWHERE = (math.nan, math.nan)


@dataclass(frozen=True, kw_only=True)
class Deviation:
    """Lowest and highest of the finished surface, from where it should be, mm, and where."""

    low: float
    high: float
    low_at: Where
    high_at: Where
    high_in_fill: bool


def finished_area(clamping: Clamping, clear: float) -> shapely.Geometry:
    """Where the finished surface must be right: the part, without what its operations leave open."""
    opened = [there for step in clamping.steps if (there := step.operation.leaves_open(clear)) is not None]
    area = overlay.buffer(clamping.board.outline, -clear, join_style="mitre")
    return overlay.difference(area, overlay.union_all(opened))


def measure_surface(sim: Simulation, clamping: Clamping, area: shapely.Geometry) -> Deviation:
    """The finished surface on the grid of the simulation, within an area."""
    skim = clamping.board.surface.thickness - clamping.finished_surface.thickness
    window = sim.grid.window(area.bounds)
    part = sim.grid.part(window)
    off = sim.top[window] - sim.surface[window]
    off[~part.covered(area)] = np.nan
    off += np.float32(skim)
    if not off.size or np.isnan(off).all():
        return Deviation(low=math.nan, high=math.nan, low_at=_NOWHERE, high_at=_NOWHERE, high_in_fill=False)
    low, high = int(np.nanargmin(off)), int(np.nanargmax(off))
    high_at = place_of(part, high)
    return Deviation(low=float(off.flat[low]), high=float(off.flat[high]), low_at=place_of(part, low), high_at=high_at,
                     high_in_fill=_in_fill(sim, high_at))


def extremes(deviation: Deviation, ridges: Ridges) -> tuple[tuple[float, Where], tuple[float, Where]]:
    """Lowest and highest of the finished surface, on the grid and on sections, mm, and where."""
    return (min((deviation.low, deviation.low_at), (ridges.below, ridges.below_at)),
            max((deviation.high, deviation.high_at), (ridges.above, ridges.above_at)))


def surface_findings(
    deviation: Deviation, ridges: Ridges, clamping: Clamping, tolerances: Tolerances, culprit: Culprit
) -> Iterator[Finding]:
    """Too low, too high, ridges over the limit."""
    if clamping.surfacing is None:
        return
    limit = clamping.surfacing.scallop
    (low, low_at), (high, high_at) = extremes(deviation, ridges)
    if not low >= -tolerances.surface_low:
        program, line, *there = culprit.first(*low_at, None, clamping.finished_surface.height)
        size = beside_limit(-low, tolerances.surface_low, decimals=4)
        astray = any(step.file_name == program and not step.operation.makes_surface for step in clamping.steps)
        yield Finding(code="surface-too-low", where=at(program, line, *there),
                      got=f"it cuts into what is to stay: the surface is {size} lower there" if astray else
                      f"{size} too low",
                      allowed=f"{tolerances.surface_low:g} mm", remedy=f"do not cut: {AGAIN}")
    slope = float(np.max(clamping.board.surface.slope(*high_at), initial=0.0))
    if not high <= limit * math.hypot(1.0, slope) + tolerances.surface_high:
        program, line = culprit(*high_at, lambda operation: operation.finishes)
        proud = deviation.high_in_fill and high == deviation.high
        yield Finding(code="fill-proud" if proud else "surface-too-high", where=at(program, line, *high_at),
                      got=f"{high:.4f} mm too high", allowed=f"ridges of {limit:g} mm",
                      remedy=f"the surface is not cut everywhere: {AGAIN}")
    if ridges.highest > limit + tolerances.ridge:
        program, line = culprit(*ridges.highest_at, lambda operation: operation.finishes)
        yield Finding(code="ridges-too-high", where=at(program, line, *ridges.highest_at),
                      got=f"a ridge of {ridges.highest:.4f} mm", allowed=f"{limit:g} mm",
                      remedy="bring the passes closer together")


def _in_fill(sim: Simulation, place: Where) -> bool:
    row, column = int(np.searchsorted(sim.grid.ys, place[1])), int(np.searchsorted(sim.grid.xs, place[0]))
    return any(
        rows.start <= row < rows.stop and columns.start <= column < columns.stop
        and fill.fill[row - rows.start, column - columns.start]
        for fill in sim.poured for rows, columns in [fill.window]
    )
