"""The floor of a pocket: how near each other the loops must lie, and what they still leave standing on it."""

from __future__ import annotations

import numpy as np
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.surface import Surface
from pathgen.strategies.pocketing.openings import MOST_OVERHANG, Opening
from pathgen.strategies.pocketing.shapes import Shapes

_CLOSE = 1.8
"""Half-widths from loop to loop at most: straight ones overlap by a tenth, and few corners need paths of their own."""


def steepest(surface: Surface, region: BaseGeometry) -> float:
    """The steepest slope of the surface over the region's bounding box."""
    if region.is_empty:
        return 0.0
    x0, y0, x1, y1 = region.bounds
    return float(surface.slope([x0, x0, x1, x1], [y0, y1, y0, y1]).max())


def finished_half_width(one: Opening, slope: float, limit: float) -> float:
    """Half the width of floor that one loop leaves no more than `limit` above the depth asked for, mm.

    A flat end: its radius. A ball end of radius r: sqrt(2 r limit - limit^2). A v cutter of flank slope w:
    limit / (w + slope), as on a slope the floor falls away from its tip on one side. Never more than it opens.
    """
    if one.cutter.shape == "v":
        wall = one.cutter.wall_slope
        limit *= wall / (wall + slope)
    return min(float(one.cutter.half_width(limit)), one.half_width)


def spacing(one: Opening, finished: float) -> float:
    """Distance between loops that each finish a half-width `finished` of the floor, mm. The cutter's stepover of the
    width that it opens, at most 95 % of it; and no more than leaves the floor finished."""
    step = min(one.cutter.stepover, 0.95) * 2.0 * one.half_width
    return step if one.cutter.is_flat else min(step, _CLOSE * finished)


def ridge_left(one: Opening, slope: float, limit: float) -> float:
    """How far the floor stands at most above the depth asked for, mm.

    Between the loops of a ball end or a v cutter stand ridges, at most `limit` high. A flat end rests on its uphill
    side: along a wall that faces uphill its downhill side hangs higher than asked, by its diameter times the slope.
    It does not go where that would be more than half the depth.
    """
    if one.cutter.is_flat:
        return min(one.cutter.diameter * slope, MOST_OVERHANG * one.depth)
    finished = finished_half_width(one, slope, limit)
    furthest = min(spacing(one, finished), finished)  # no place lies further than this from every path
    return float(one.cutter.profile(furthest)) + (slope * furthest if one.cutter.shape == "v" else 0.0)


def widest_flat_end(one: Opening, slope: float) -> float:
    """Diameter of the largest flat end whose downhill side leaves no more than half the depth on a slope, mm."""
    return MOST_OVERHANG * one.depth / slope if slope else np.inf


def unfinished(one: Opening, axis: Shapes, rest: Shapes) -> Shapes:
    """For each part the floor in `rest`, what there is to open, that a cutter has to bring to depth. What a ball end or
    a v cutter opens past the region of its axis stays the foot of the wall; a flat end's floor is all that it opens."""
    return rest if one.cutter.is_flat else np.asarray(overlay.intersection(axis, rest))
