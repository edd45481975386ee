"""Whether the holes are where they should be, as wide and as deep: measured from the text."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely

from pathgen.removal.motion import Motion
from pathgen.verify.findings import Finding, Tolerances, at
from pathgen.work.clamping import Clamping, Step


def hole_findings(motion: Motion, step: Step, clamping: Clamping, tolerances: Tolerances) -> Iterator[Finding]:
    """Every hole of the job against the moves of the holes program."""
    holes = clamping.holes
    if holes is None:
        return
    rows = np.flatnonzero(motion.cutting & (motion.end[:, 2] < clamping.stock.thickness - tolerances.hole))
    start, end = motion.start[rows], motion.end[rows]
    owner = np.argmin(np.linalg.norm(end[:, None, :2] - holes.at, axis=2), axis=1)
    for number, (x, y) in enumerate(holes.at.tolist()):
        own = np.flatnonzero(owner == number)
        if not len(own):
            yield Finding(code="hole-missing", severity="forbid", where=at(step.file_name, None, x, y), got="no cut",
                          allowed=f"{len(holes.at)} holes", remedy="make the programs again from the job")
            continue
        lowest = own[np.argmin(end[own, 2])]
        off_edge = _off_edge(start[own], end[own], step.cutter.radius, (x, y), holes.diameter / 2)
        off_depth = abs(float(end[lowest, 2]) - holes.bottom)
        for off, what in ((off_edge, "from its edge"), (off_depth, "from its bottom")):
            if not off <= tolerances.hole:
                yield Finding(
                    code="hole-wrong", severity="forbid",
                    where=at(step.file_name, int(motion.line[rows[lowest]]), x, y), got=f"{off:.3f} mm {what}",
                    allowed=f"{tolerances.hole:g} mm", remedy="make the programs again from the job",
                )


def _off_edge(
    start: np.ndarray, end: np.ndarray, cutter_radius: float, centre: tuple[float, float], radius: float
) -> float:
    """How far the edge of what the cutter opens lies from the hole's, at most."""
    ways = shapely.linestrings(np.stack([start[:, :2], end[:, :2]], axis=1))
    opened = shapely.union_all([*ways, *shapely.points(end[:, :2])]).buffer(cutter_radius, quad_segs=64)
    wanted = shapely.Point(centre).buffer(radius, quad_segs=64)
    return float(shapely.hausdorff_distance(opened.boundary, wanted.exterior))
