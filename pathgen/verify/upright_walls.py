"""The upright walls of a pocket that flat ends alone open: does the cutter come to them all along?

On a grid a wall is known to a cell. In plan it is exact: each place of a wall that a flat end can reach lies within its
radius of some move at full depth.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from pathgen.base import overlay
from pathgen.base.arrays import Floats
from pathgen.base.surface import Surface
from pathgen.removal.motion import Motion
from pathgen.verify.findings import AGAIN, Finding, Tolerances, at
from pathgen.work.clamping import Step
from pathgen.work.features import Inlay

_EVERY = 0.2
"""Spacing of the places on a wall, mm."""
_HAIR = 0.01
"""Where an axis has less room than this to both sides, mm, nothing is asked for."""
_FULL = 0.05
"""As much less deep than asked, mm, a move counts as at full depth, beside what a slope makes of it."""


def upright_wall_findings(
    inlay: Inlay, cuts: Sequence[tuple[Step, shapely.Geometry, Motion]], surface: Surface, tolerances: Tolerances
) -> Iterator[Finding]:
    """Of the steps that open an inlay, where the axis of each is asked to go, and its moves."""
    if not cuts or not all(step.cutter.is_flat for step, _, _ in cuts):
        return
    reach = overlay.union_all([overlay.buffer(overlay.buffer(axis, -_HAIR), step.cutter.radius + _HAIR, quad_segs=32)
                               for step, axis, _ in cuts])
    walls = shapely.get_rings(reach)
    if not len(walls):
        return
    places = np.concatenate([
        shapely.line_interpolate_point(wall, np.arange(0.0, wall.length, _EVERY)) for wall in walls])
    left = np.min([_away(places, motion, step, inlay, surface) for step, _, motion in cuts], axis=0)
    worst = int(np.argmax(left))
    if left[worst] > 1.5 * tolerances.pocket_plan:
        got = f"{left[worst]:.3f} mm" if np.isfinite(left[worst]) else "all"
        yield Finding(
            code="pocket-uncut", where=at(f"inlay {inlay.index + 1}", None, places[worst].x, places[worst].y),
            got=f"{got} left before a wall that the cutters can reach", allowed=f"{1.5 * tolerances.pocket_plan:g} mm",
            remedy=AGAIN,
        )


def _away(
    places: NDArray[np.object_], motion: Motion, step: Step, inlay: Inlay, surface: Surface
) -> Floats:
    """(n,) how far from what a cutter opens at full depth each place lies, mm."""
    high, middle = np.maximum(motion.start[:, 2], motion.end[:, 2]), (motion.start + motion.end)[:, :2] / 2
    low = motion.cutting & (high < surface.thickness)
    low[low] = surface.height(*middle[low].T) - high[low] > inlay.depth - _FULL - (
        step.cutter.diameter * surface.slope(*middle[low].T))
    if not low.any():
        return np.full(len(places), np.inf)
    lines = shapely.linestrings(np.stack([motion.start[low, :2], motion.end[low, :2]], axis=1))
    return np.asarray(shapely.distance(places, lines[shapely.STRtree(lines).nearest(places)])) - step.cutter.radius
