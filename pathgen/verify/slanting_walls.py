"""The slanting walls of a pocket that a v cutter ends: how deep they come at every point.

The flank of a v goes from each wall down by its rise over run, as far as the floor: a point that lies r inside the
nearest wall lies min(depth, r times that) below the surface there, wherever the tip may go. On a slope the surface
itself falls or rises along r. What flat ends open before it is at least as deep, but for their downhill side.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely

from pathgen.base import overlay
from pathgen.removal.grid import ring_edges
from pathgen.verify.findings import Finding, Tolerances, at
from pathgen.verify.pocket_openings import TIGHT
from pathgen.verify.reached_walls import risen_into
from pathgen.verify.simulate import Simulation
from pathgen.verify.stages import Poured
from pathgen.work.clamping import Clamping, Step

_LEAST_PART = 0.02  # mm2: dots of less may be left out, and are then told of
_LEAST_LEFT = 0.5  # mm2: at forks of the middle line tips of a tenth of it may stay
_MOST_POINTS = 50_000


def wall_findings(
    poured: Poured, steps: Sequence[Step], sim: Simulation, clamping: Clamping, tolerances: Tolerances
) -> Iterator[Finding]:
    """Where a pocket that v cutters open, alone or after flat ends, is less deep than the flank goes beside the walls.

    Nothing of others: a v that does not come last sharpens no corners, and a ball end, or a blunter v, leaves the feet
    of walls.
    """
    last = max(steps, key=lambda step: step.order, default=None)
    if last is None or last.cutter.shape != "v" or not all(one.cutter.is_flat for one in steps if one is not last):
        return
    inlay, part, surface = poured.inlay, sim.grid.part(poured.window), clamping.board.surface
    pieces = shapely.get_parts(inlay.area)
    pieces = pieces[shapely.area(pieces) > _LEAST_PART]
    depth = sim.surface[poured.window] - poured.floor
    gone = tolerances.floor_ridge + tolerances.pocket_shallow
    area = shapely.multipolygons(pieces)
    entered = area
    if not last.cutter.plunges:
        entered = overlay.buffer(risen_into(last.cutter, area, TIGHT, inlay.depth), TIGHT)
    inside = part.covered(overlay.buffer(entered, -1.5 * tolerances.pocket_plan))
    rows, columns = np.nonzero(inside & (depth < inlay.depth - clamping.skimmed(inlay) - gone))
    every = len(rows) // _MOST_POINTS + 1
    rows, columns = rows[::every], columns[::every]
    if not len(rows):
        return
    x, y = part.xs[columns], part.ys[rows]
    slope = surface.slope(x, y)
    steep = np.maximum(last.cutter.wall_slope - slope, 1e-9)
    hangs = slope * max((step.cutter.diameter for step in steps if step.cutter.is_flat), default=0.0)
    there, walls = depth[rows, columns] + clamping.skimmed(inlay) + hangs, shapely.boundary(area)
    shapely.prepare(walls)  # that a wall is near enough is far quicker told than how near it is
    far = np.flatnonzero(~shapely.dwithin(walls, shapely.points(x, y), (there + gone) / steep))
    if not len(far):
        return
    x, y = x[far], y[far]
    edges = shapely.STRtree(shapely.linestrings(ring_edges(area).reshape(-1, 2, 2)))
    (point, _), away = edges.query_nearest(shapely.points(x, y), return_distance=True, all_matches=False)
    short = np.minimum(inlay.depth, steep[far[point]] * away) - there[far[point]]
    left = float((short > gone).sum()) * every * sim.grid.cell_area
    if left > _LEAST_LEFT:
        worst = int(point[np.argmax(short)])
        yield Finding(
            code="pocket-too-shallow",
            where=at(f"inlay {inlay.index + 1}, {last.file_name}", None, float(x[worst]), float(y[worst])),
            got=f"{left:.2f} mm2 beside the walls stand up to {float(short.max()):.2f} mm above what the v cutter "
                "opens there", allowed=f"{gone:.2f} mm, for steps and ridges",
        )
