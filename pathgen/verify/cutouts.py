"""Whether openings are cut to their edge and to their floor, and nowhere past them."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.units import beside_limit
from pathgen.removal.motion import Motion
from pathgen.verify.findings import Finding, Tolerances, at, at_end
from pathgen.verify.in_plan import away_from, lines_of, nearest_at, place_of
from pathgen.verify.simulate import Simulation
from pathgen.work.clamping import Clamping, Step

_EVERY = 0.1
"""Spacing of the places on an edge that the cutter must reach, mm."""
_LEFT = 0.05
"""Area that may stand above the floor, mm2: less than a point of any grid in use shows for certain."""


def cutout_findings(motion: Motion, step: Step, clamping: Clamping, tolerances: Tolerances) -> Iterator[Finding]:
    """The walls and the depth of every opening, from the text."""
    cut, r = step.operation.feature, step.cutter.radius
    low = np.minimum(motion.start[:, 2], motion.end[:, 2])
    rows = np.flatnonzero(motion.cutting & ~(low > cut.bottom + cut.depth - tolerances.hole))
    lines = lines_of(motion.start[rows], motion.end[rows])
    allowed = overlay.buffer(cut.shapes, tolerances.pocket_plan - r, quad_segs=32)
    shapely.prepare(allowed)
    outside = ~shapely.covers(allowed, lines)
    if outside.any():
        i = int(rows[np.argmax(outside)])
        place = nearest_at(motion.start[i], motion.end[i], shapely.boundary(allowed))
        yield Finding(code="opening-overcut", where=at(step.file_name, int(motion.line[i]), *place),
                      got=f"the cutter passes the edge of an opening ({int(outside.sum())} moves)",
                      allowed=f"{tolerances.pocket_plan:g} mm")
    if len(rows) and low[rows].min() < cut.bottom - tolerances.hole:
        i = int(rows[np.argmin(low[rows])])
        yield Finding(code="opening-too-deep", where=at_end(step.file_name, motion, i),
                      got=f"{beside_limit(cut.bottom - low[i], tolerances.hole, decimals=3)} below its floor",
                      allowed=f"{tolerances.hole:g} mm")
    level = np.maximum(motion.start[rows, 2], motion.end[rows, 2]) <= cut.bottom + tolerances.hole
    yield from _edge(lines[level], step, tolerances)


def _edge(lines: NDArray[np.object_], step: Step, tolerances: Tolerances) -> Iterator[Finding]:
    """All round what the cutter can open, some move along the floor must come as near as its radius."""
    r = step.cutter.radius
    for part in shapely.get_parts(step.operation.feature.shapes):
        for ring in shapely.get_rings(_within_reach(part, r)):
            places = shapely.line_interpolate_point(ring, np.arange(0.0, ring.length, _EVERY))
            away = away_from(lines, places)
            worst = int(np.argmax(away))
            if not away[worst] <= r + tolerances.pocket_plan:
                left = "all of it" if np.isinf(away[worst]) else f"{away[worst] - r:.3f} mm at its edge"
                yield Finding(code="opening-narrow", where=at(step.file_name, None, places[worst].x, places[worst].y),
                              got=f"{left} left", allowed=f"{tolerances.pocket_plan:g} mm")
                break


def cutout_floor_findings(step: Step, sim: Simulation, tolerances: Tolerances) -> Iterator[Finding]:
    """What stands above the floor of an opening in the end."""
    cut = step.operation.feature
    shape = overlay.buffer(_within_reach(cut.shapes, step.cutter.radius), -1.5 * tolerances.pocket_plan)
    if shape.is_empty:
        return
    window = sim.grid.window(shape.bounds)
    part = sim.grid.part(window)
    over = np.where(part.covered(shape), sim.top[window] - cut.bottom, -np.inf)
    left = over > tolerances.hole
    if left.sum() * sim.grid.cell_area > _LEFT:
        yield Finding(code="opening-uncut", where=at(step.file_name, None, *place_of(part, np.argmax(over))),
                      got=f"{left.sum() * sim.grid.cell_area:.2f} mm2 stands up to {over.max():.3f} mm above its floor",
                      allowed=f"{_LEFT:g} mm2")


def _within_reach(shape: BaseGeometry, radius: float) -> BaseGeometry:
    """What a round cutter can open of a shape."""
    return overlay.buffer(overlay.buffer(shape, -radius, quad_segs=64), radius, quad_segs=64)
