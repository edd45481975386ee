"""The walls of a pocket that flat ends open, alone or before a v cutter: do the cutters come to them all along?

On a grid a wall is known to a cell. In plan it is exact: each place of a wall that a flat end can reach lies within its
radius of some move at full depth, and each that a v can reach within what it opens at the surface from some move.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.arrays import Bools, Floats
from pathgen.base.cutters import Cutter
from pathgen.base.surface import Surface
from pathgen.removal.motion import Motion, in_pieces
from pathgen.verify.findings import Finding, Tolerances, at
from pathgen.verify.in_plan import away_from, lines_of
from pathgen.verify.opening import opened_discs
from pathgen.work.clamping import Step
from pathgen.work.features import Inlay

Cut = tuple[Step, shapely.Geometry, Motion]
"""A step, where its axis is asked to go, and its moves."""
_EVERY = 0.2
"""Spacing of the places on a wall, mm."""
_HAIR = 0.01
"""Where an axis has less room than this to both sides, mm, nothing is asked for."""
_FULL = 0.05
"""As much less deep than asked, mm, a move counts as at full depth, beside what a slope makes of it."""
_DISCS = 0.15
"""Widest spacing of the discs that a move of a v opens, mm: between two of 0.3 mm radius a hundredth is not covered.
Smaller ones lie as much nearer."""
_RAMP = 0.5
"""Of half the width that it opens: how much longer than wide a place must be, on either side, for a v to ramp in."""
_SAME = 0.02
"""Of discs whose middles lie as near to each other as this, mm, the largest one tells."""


def reached_wall_findings(
    inlay: Inlay, cuts: Sequence[Cut], surface: Surface, tolerances: Tolerances, *, tight: float, hangs: float
) -> Iterator[Finding]:
    """Of the steps that open an inlay, in order. Into corners a v comes as near as a disc of radius `tight` does, and
    it may stay `hangs` mm too high: beside a wall it was held off by a hair, or a second cut took as much before.

    Nothing of others: a v that does not come last sharpens no corners, and a ball end leaves the feet of walls.
    """
    if not cuts or not all(step.cutter.is_flat for step, _, _ in cuts[:-1]) or cuts[-1][0].cutter.shape == "ball-end":
        return
    reach, allowed = [], 1.5 * tolerances.pocket_plan
    for step, axis, _ in cuts:
        wide = step.cutter.radius
        if step.cutter.shape == "v":
            wide = min(tight, float(step.cutter.half_width(inlay.depth)))
            axis = risen_into(step.cutter, inlay.area, wide, inlay.depth)
            slope = float(surface.slope(*shapely.get_coordinates(inlay.area).T).max())
            allowed += _HAIR + hangs / max(step.cutter.wall_slope - slope, 0.2 * step.cutter.wall_slope)
        reach.append(overlay.buffer(overlay.buffer(axis, -_HAIR), wide + _HAIR, quad_segs=32))
    walls = shapely.get_rings(overlay.union_all(reach))
    if not len(walls):
        return
    places = np.concatenate([
        shapely.line_interpolate_point(wall, np.arange(0.0, wall.length, _EVERY)) for wall in walls])
    left = np.full(len(places), np.inf)
    for step, _, motion in cuts:
        far = np.flatnonzero(left > allowed)
        left[far] = np.minimum(left[far], _away(places[far], motion, step, inlay, surface))
    worst = int(np.argmax(left))
    if left[worst] > allowed:
        got = f"{left[worst]:.3f} mm" if np.isfinite(left[worst]) else "all"
        yield Finding(
            code="pocket-uncut", where=at(f"inlay {inlay.index + 1}", None, places[worst].x, places[worst].y),
            got=f"{got} left before a wall that the cutters can reach", allowed=f"{allowed:.2g} mm",
        )


def risen_into(cutter: Cutter, area: BaseGeometry, wide: float, depth: float) -> BaseGeometry:
    """Where a v is asked to have been that may go as near to walls as `wide`. One that cannot cut at its centre is not
    asked into what is all but round, and has no line in its middle to sink along."""
    axis = overlay.buffer(area, -wide, quad_segs=32)
    if cutter.plunges or axis.is_empty:
        return axis
    parts = shapely.get_parts(axis)
    circle = shapely.maximum_inscribed_circle(parts, tolerance=_HAIR)  # from its middle to the nearest edge
    disc = overlay.buffer(shapely.get_point(circle, 0), shapely.length(circle) + _RAMP * cutter.half_width(depth))
    return shapely.multipolygons(parts[~shapely.covers(disc, parts)])


def _away(places: NDArray[np.object_], motion: Motion, step: Step, inlay: Inlay, surface: Surface) -> Floats:
    """(n,) how far each place lies from what a cutter opens, a flat end at full depth, mm."""
    if step.cutter.is_flat:
        low = _at_full_depth(motion, step, inlay, surface)
        return away_from(lines_of(motion.start[low], motion.end[low]), places) - step.cutter.radius
    out = np.full(len(places), np.inf)
    wide = float(step.cutter.half_width(inlay.depth))
    apart = 2.0 * np.sqrt(_HAIR * max(2.0 * wide - _HAIR, _HAIR))
    middle, radius = _opened(motion, step, surface, min(apart, _DISCS))
    if len(radius):
        tree, most = shapely.STRtree(shapely.points(middle)), float(radius.max()) + _DISCS
        place, disc = tree.query(places, predicate="dwithin", distance=most)
        away = np.hypot(*(shapely.get_coordinates(places)[place] - middle[disc]).T) - radius[disc]
        np.minimum.at(out, place, away)
    return out


def _at_full_depth(motion: Motion, step: Step, inlay: Inlay, surface: Surface) -> Bools:
    high, middle = np.maximum(motion.start[:, 2], motion.end[:, 2]), (motion.start + motion.end)[:, :2] / 2
    low = motion.cutting & (high < surface.thickness)
    there = middle[low].T
    low[low] = surface.height(*there) - high[low] > inlay.depth - _FULL - step.cutter.diameter * surface.slope(*there)
    return np.asarray(low)


def _opened(motion: Motion, step: Step, surface: Surface, apart: float) -> tuple[Floats, Floats]:
    """(n, 2) middles and (n,) radii of discs that the moves of a v open, so far apart at most."""
    low = motion.cutting & (np.minimum(motion.start[:, 2], motion.end[:, 2]) < surface.thickness)
    start, end = motion.start[low], motion.end[low]
    count = np.maximum(np.ceil(np.hypot(*(end - start)[:, :2].T) / apart), 1.0).astype(np.intp)
    first, last, _, _ = in_pieces(start, end, count)
    ends = np.ones(len(last), bool)
    ends[:-1] = (first[1:] != last[:-1]).any(axis=1)
    middle, radius = opened_discs(np.concatenate([first, last[ends]]), step.cutter, surface)
    middle, radius = middle[radius > 0.0], radius[radius > 0.0]
    column, row = np.rint(middle / _SAME).astype(np.int64).T
    place = column * (1 << 32) + row
    order = np.lexsort((-radius, place))
    order = order[np.diff(place[order], prepend=np.iinfo(np.int64).min) != 0]  # of many layers
    return middle[order], radius[order]
