"""What a cutter opens and reaches: regions of the surface, where its axis may go to open them, and the floor it leaves.

A flat end opens a disc round its axis. On level ground so do a ball end and a v cutter, smaller than themselves
when they are not sunk to their full width; on a slope see `Footprints`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.arrays import Floats
from pathgen.base.cutters import Cutter
from pathgen.base.errors import CutterError
from pathgen.base.surface import Surface
from pathgen.base.units import falls_short
from pathgen.strategies.entering import SHORTEST
from pathgen.strategies.pocketing.footprints import Footprints
from pathgen.strategies.pocketing.shapes import FIT, Shapes, cleaned, eroded, mended, quad_segments, with_room

_JUST = (3e-4, 0.003)
"""How much smaller still (mm) where a cutter only just fits: thinner regions of the axis get lost in rounding, and
round ones in the chords that their curves come in, which may lie 0.005 mm inside."""
MOST_OVERHANG = 0.5
"""Share of a pocket's depth by which the downhill side of a flat end may leave its floor higher."""
_STEEPEST = 400
"""Places of a cutter's axis where what its downhill side leaves is worked out: those on the steepest slope."""
_ROUGH = 0.01  # how far (mm) outlines are simplified to ask whether a cutter might just fit
_HALVINGS = 34  # of the way out, to find where a flat end hangs over too far: to 1e-8 mm
_NEAR = 1.05
"""How far round a place its region is looked at, in widths: a disc that comes into it reaches one width outside."""
_CLOSE = 1.8
"""Half-widths from loop to loop at most: straight ones overlap by a tenth, and few corners need paths of their own."""
_MOSTLY = 0.9  # share of a place's area that a cutter must open to be said to reach it


def largest_that_opens(missed: Shapes, region: Shapes, width: float, *, halvings: int) -> Floats:
    """The largest diameter whose opening of the region covers nine tenths of each missed place, by halvings."""
    x0, y0, x1, y1 = shapely.bounds(missed).T
    near = _NEAR * width
    window = overlay.intersection(region, shapely.box(x0 - near, y0 - near, x1 + near, y1 + near))
    enough = np.asarray(_MOSTLY * shapely.area(missed))
    beside = shapely.area(window) - shapely.area(missed)
    low, high = np.zeros(len(missed)), np.full(len(missed), width)
    for _ in range(halvings):
        middle = (low + high) / 2.0
        opened = overlay.buffer(overlay.buffer(window, -middle / 2.0, quad_segs=16), middle / 2.0, quad_segs=16)
        area = shapely.area(opened)
        covers = np.asarray(area >= enough + beside)
        unsure = np.flatnonzero(~covers & (area >= enough))  # of the others the area alone tells
        covers[unsure] = shapely.area(overlay.intersection(opened[unsure], missed[unsure])) >= enough[unsure]
        low, high = np.where(covers, middle, low), np.where(covers, high, middle)
    return low


@dataclass(frozen=True, eq=False, kw_only=True)
class Opening:
    """How a cutter, its tip `depth` below the surface, opens it."""

    cutter: Cutter
    surface: Surface
    depth: float
    half_width: float
    """Half the width of the opening on level ground, mm."""
    tolerance: float
    """How far chords may lie from the arcs that they stand for, mm."""
    slanted: Footprints | None
    """Given where the opening is not a disc round the axis."""
    gentle: BaseGeometry | None
    """Where the axis of a flat end may go on a slope: given when it is not everywhere. Elsewhere its downhill side
    would hang over more than half the depth."""
    least_way: float = 0.0
    """Regions of the axis that are no wider are too small for a ramp or a helix, mm: 0 for a cutter that
    needs none."""

    def axis_region(self, parts: Shapes) -> Shapes:
        """For each of `parts`, where the axis may go so that nothing outside it is opened; empty where nowhere."""
        found = self._axis_region(parts)
        return with_room(found, self.least_way) if self.least_way else found

    def _axis_region(self, parts: Shapes) -> Shapes:
        if self.slanted is None:
            return self._round_axis_region(parts, self.half_width - FIT)
        flank = self.slanted.axis_region(parts, self.tolerance)
        if not self.slanted.sunk:
            return flank
        return np.asarray(overlay.union(flank, self._round_axis_region(parts, self.cutter.radius - FIT)))

    def _round_axis_region(self, parts: Shapes, reach: float) -> Shapes:
        """The same where the opening is a disc round the axis, or lies in one."""
        inner = eroded(parts, reach, self.tolerance)
        if self.gentle is None:
            for less in _JUST:
                inner = _or_just_fitting(inner, parts, reach - less)
        inner = mended(overlay.simpler(inner, self.tolerance / 2.0), parts, np.full(len(parts), reach), self.tolerance)
        return inner if self.gentle is None else np.asarray(overlay.intersection(inner, self.gentle))

    def opened(self, axis: Shapes) -> Shapes:
        """What is opened when the axis goes everywhere in each of `axis`."""
        if self.slanted is None:
            return self._round_opened(axis, self.half_width - FIT)
        flank = self.slanted.opened(axis, self.tolerance)
        if not self.slanted.sunk:
            return flank
        return np.asarray(overlay.intersection(flank, self._round_opened(axis, self.cutter.radius - FIT)))

    def _round_opened(self, axis: Shapes, reach: float) -> Shapes:
        """The same where the opening is a disc round the axis, or lies in one."""
        return np.asarray(overlay.buffer(axis, reach, quad_segs=quad_segments(reach, self.tolerance)))

    def in_plane(self, shapes: Shapes) -> Shapes:
        """Shapes in the plane in which every opening is a disc: as they are where there is no other."""
        return shapes if self.slanted is None else self.slanted.in_plane(shapes)

    def out_of_plane(self, xy: Floats) -> Floats:
        """Places, (n, 2), of that plane on the board."""
        return xy if self.slanted is None else self.slanted.out_of_plane(xy)


def _or_just_fitting(inner: Shapes, parts: Shapes, reach: float) -> Shapes:
    """Regions of the axis, and for parts that have none those for a cutter smaller by a hair."""
    none = np.flatnonzero(shapely.is_empty(inner))
    rough = overlay.simpler(parts[none], _ROUGH)  # most have no room by far, which fewer corners tell
    near = none[~shapely.is_empty(overlay.buffer(rough, 2.0 * _ROUGH - reach, quad_segs=2))] if len(none) else none
    inner[near] = eroded(parts[near], reach, 0.01)
    return inner


def opening(
    cutter: Cutter, surface: Surface, depth: float, region: BaseGeometry, tolerance: float, *, all_of_it: bool = False
) -> Opening:
    """How `cutter` opens `surface` over `region` at `depth` (mm), with `all_of_it` also where it finds no way down.
    Raises CutterError for a depth beyond its flute."""
    if not depth > 0.0:
        raise CutterError(f"cutter {cutter.name!r}", f"a pocket {depth:g} mm deep", allowed="a depth above 0")
    if falls_short(cutter.flute_length, depth):
        raise CutterError(
            f"cutter {cutter.name!r}", f"a pocket {depth:g} mm deep, its flute is {cutter.flute_length:g} mm",
            allowed=f"a depth up to {cutter.flute_length:g} mm", remedy="take a longer cutter, or pocket less deep",
        )
    half_width = float(cutter.half_width(depth))
    slanted = gentle = None
    if not surface.is_level and not region.is_empty:
        if cutter.is_flat and not surface.is_flat:
            gentle = _gentle_enough(cutter, surface, MOST_OVERHANG * depth, region)
        elif not cutter.is_flat:
            slanted = Footprints.over(cutter, surface, depth, region)
    return Opening(
        cutter=cutter, surface=surface, depth=depth, half_width=half_width, tolerance=tolerance, slanted=slanted,
        gentle=gentle, least_way=0.0 if cutter.plunges or all_of_it else SHORTEST * half_width,
    )


def _gentle_enough(cutter: Cutter, surface: Surface, most: float, region: BaseGeometry) -> BaseGeometry | None:
    """Where a flat end's downhill side hangs no more than `most` over the surface under it; None for all of `region`.
    It rests on its uphill side. The steeper the further out, and on a cone less steep where it is wider."""
    x0, y0, x1, y1 = region.bounds
    furthest = max(abs(y0), abs(y1)) - cutter.radius
    x = np.linspace(x0, x1, 33)
    low, high = np.zeros_like(x), np.full_like(x, furthest)
    if furthest <= 0.0 or (_overhang(cutter, surface, x, high) <= most).all():
        return None
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        gentle = _overhang(cutter, surface, x, middle) <= most
        low, high = np.where(gentle, middle, low), np.where(gentle, high, middle)
    edge = np.column_stack([x, low])
    edge[[0, -1], 0] += -1.0, 1.0
    return cleaned(Polygon(np.concatenate([edge, edge[::-1] * [1.0, -1.0]])))  # where it is but a line it is nowhere


def _overhang(cutter: Cutter, surface: Surface, x: Floats, y: Floats) -> Floats:
    """How far the downhill side of a flat end that touches the surface over (x, y), y 0 or more, is above it."""
    return np.asarray(surface.tip_height(cutter, x, y) - surface.height(x, y + cutter.radius))


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


def overhang(one: Opening, surface: Surface, axis: Shapes) -> float:
    """How far a flat end's floor stands at most above the depth asked for, mm, where its axis may go: as far as the
    surface falls under it. `ridge_left` is what that is no more than, anywhere in the region."""
    at = shapely.get_coordinates(shapely.segmentize(shapely.boundary(axis), one.cutter.radius))
    at = at[np.argsort(-surface.slope(*at.T), kind="stable")[:_STEEPEST]]
    turn = np.arange(0.0, 2 * np.pi, np.pi / 32)
    ring = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    disc = one.cutter.radius * (np.array([0.0, 0.5, 1.0])[:, None, None] * ring).reshape(-1, 2)
    under = at[:, None] + disc
    falls = np.ptp(surface.height(under[..., 0], under[..., 1]), axis=1)
    return min(float(falls.max(initial=0.0)), MOST_OVERHANG * one.depth)


def widest_flat_end(one: Opening, slope: float) -> float:
    """Diameter of the largest flat end whose downhill side leaves no more than half the depth on a slope, mm."""
    return MOST_OVERHANG * one.depth / slope if slope else np.inf


def unfinished(one: Opening, axis: Shapes, rest: Shapes) -> Shapes:
    """For each part the floor in `rest`, what there is to open, that a cutter has to bring to depth. What a ball end or
    a v cutter opens past the region of its axis stays the foot of the wall; a flat end's floor is all that it opens."""
    return rest if one.cutter.is_flat else np.asarray(overlay.intersection(axis, rest))
