"""Pockets: a region of the surface cleared to a depth below it by one cutter after another."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.cutters import FINEST, Cutter
from pathgen.base.errors import CutterError
from pathgen.base.memory import remembered
from pathgen.base.surface import Surface
from pathgen.base.toolpath import Toolpath
from pathgen.base.units import rounded_down
from pathgen.strategies.easing import Standing, may_overload, ridges_ease
from pathgen.strategies.entering import NO_WAY_DOWN, no_way_down
from pathgen.strategies.pocketing.corners import sharpened
from pathgen.strategies.pocketing.openings import (
    Opening,
    finished_half_width,
    largest_that_opens,
    opening,
    overhang,
    ridge_left,
    steepest,
    unfinished,
    widest_flat_end,
)
from pathgen.strategies.pocketing.places import are_high, cleared
from pathgen.strategies.pocketing.settings import ARC, PocketOptions
from pathgen.strategies.pocketing.shapes import Shapes, cleaned, of_each, polygons, whole
from pathgen.strategies.pocketing.tracing import Trace
from pathgen.strategies.uphill import steepest_down

_LEFT = 0.05  # area (mm2) from which a place is worth refusing a job for
_HALVINGS = 8  # to find the cutter that opens most of a drawing: to under a hundredth
_WIDTH = 0.005  # how exactly the widest place is told, mm
_ROUND = 0.4  # so wide (mm) is what a v cutter opens anywhere, if it can go in
_FILM = 0.002  # what lies thinner than this (mm) between two cutters' openings is rounding, not wood


@dataclass(frozen=True, eq=False, kw_only=True)
class PocketCut:
    """What one cutter does of a pocket."""

    cutter: Cutter
    toolpath: Toolpath
    """In the board's frame; starts and ends at the safe height. Empty when there is nothing to do."""
    parts: Shapes
    opened_parts: Shapes
    """(n,) each: the polygons of the region, and what is opened of them by this cutter and those before it."""
    ridge: float = 0.0
    """How far the floor that this cutter leaves stands at most above the depth asked for, mm: ridges between the loops
    of a ball end or a v cutter; for a flat end the height that its downhill side hangs over a slope."""
    warnings: tuple[str, ...] = ()
    idle: tuple[str, ...] = ()
    """Why it finds nothing to do, and what would give it work; empty where it does something."""

    @cached_property
    def opened(self) -> Polygon | MultiPolygon:
        """The region opened at the surface by this cutter and those before it."""
        return whole(polygons(self.opened_parts))

    @cached_property
    def left(self) -> Polygon | MultiPolygon:
        """What is still not opened. Worked out when first asked for: it takes a good part of a pocket's time."""
        return whole(polygons(overlay.difference(self.parts, self.opened_parts)))


@remembered
def pocket(
    region: BaseGeometry, *, surface: Surface, cutters: Sequence[Cutter], depth: float, safe_z: float,
    options: PocketOptions | None = None, keep_out: BaseGeometry | None = None, where: str = "pocket",
) -> tuple[PocketCut, ...]:
    """Clear `region` of the surface to `depth` straight below it: one cut for each cutter, in the order given.

    `region` is in the board's frame, mm; overlaps and self-touching rings are cleaned up first. `surface` is the
    finished one: wood stands at it and nothing above it; the floor is nowhere deeper than `depth` mm below it. Each
    later one of the `cutters` cuts only what those before it could not reach. A v cutter that comes last, or after
    which none finds anything to do, also sharpens corners and thin tips along the middle line of what is left. Rapids
    across the work are at `safe_z`, mm. Where hops would cross `keep_out`, which stands on the work, widened as far as
    the cutter must stay away, they go up there too. `where` is how errors and warnings name this pocket.

    Raises CutterError when the depth is beyond a cutter's flute, or no cutter goes in anywhere, or a flat end is the
    only one for a slope on which its downhill side would hang over half the depth; with `options.all_of_it` also where
    one that cannot plunge has no room for a ramp or a helix.
    """
    options = options or PocketOptions()
    region = cleaned(region)
    parts = polygons(region)
    slope = steepest(surface, region)
    on_edge = float(surface.slope(*shapely.get_coordinates(region).T).max(initial=0.0))  # the box's corners lie outside
    openings = [opening(cutter, surface, depth, region, ARC, all_of_it=options.all_of_it) for cutter in cutters]
    opened = np.full(len(parts), Polygon(), dtype=object)
    deep = opened  # what is opened all the way down: the same until a cutter leaves the foot of a wall
    cuts: list[PocketCut] = []
    stands = options.ridges if any(_tells(options.ridges, cutter) for cutter in cutters) else 0.0
    standing = Standing.over(region.bounds, cutters, surface, stands) if any(map(_asks, cutters)) else None
    for number, one in enumerate(openings, start=1):
        trace = Trace(one.cutter, surface, width=one.half_width, slope=slope, safe_z=safe_z, options=options,
                      keep_out=keep_out)
        if not one.cutter.is_flat and deep is opened:
            deep = opened.copy()
        axis = one.axis_region(parts)
        _cut_by(
            one, axis, trace, parts, opened, deep, last=number == len(openings),
            finished=finished_half_width(one, slope, options.floor_ridge),
            left=max((ridge_left(b, slope, options.floor_ridge) for b in openings[: number - 1]), default=0.0),
        )
        path = trace.toolpath(standing)
        cuts.append(PocketCut(
            cutter=one.cutter, toolpath=path, parts=parts, opened_parts=opened.copy(),
            ridge=0.0 if not len(path) else overhang(one, surface, axis) if one.cutter.is_flat else
            ridge_left(one, on_edge, options.floor_ridge),
            warnings=_warnings(one, slope, where) if len(path) else (), idle=_idle(one, axis, parts, path, slope),
        ))
    for one in openings:
        if one.gentle is not None:
            _refuse_overhang(one, parts, opened, slope, options, where)
    if not region.is_empty and not any(len(cut.toolpath) for cut in cuts):
        _no_way_down(openings, parts)
        _nothing_fits(region, cutters, where)
    busy = max((number for number, cut in enumerate(cuts, start=1) if len(cut.toolpath)), default=len(cuts))
    if busy < len(cuts) and cutters[busy - 1].shape == "v":  # so it is the last: those after it do nothing
        first = pocket(region, surface=surface, cutters=cutters[:busy], depth=depth, safe_z=safe_z, options=options,
                       keep_out=keep_out, where=where)
        return (*first, *(replace(cut, opened_parts=first[-1].opened_parts) for cut in cuts[busy:]))
    return tuple(cuts)


def _asks(cutter: Cutter) -> bool:
    """Whether its path depends on what stands in its way."""
    return may_overload(cutter) or math.isfinite(steepest_down(cutter))


def _tells(ridges: float, cutter: Cutter) -> bool:
    """Whether ridges on the surface are to be counted in what stands in a cutter's way: as wood that it sinks into, or
    where it is eased."""
    return are_high(ridges, cutter) or math.isfinite(steepest_down(cutter)) or ridges_ease(ridges, cutter)


def _cut_by(
    one: Opening, axis: Shapes, trace: Trace, parts: Shapes, opened: Shapes, deep: Shapes, *, last: bool,
    finished: float, left: float,
) -> None:
    """Trace one cutter's share, and add to `opened` (one shape for each of `parts`) what it opens.

    Its axis may go all over `axis`. `deep` is what has been opened down to the floor, or `left` above it, without the
    feet of walls. One pass brings the floor to depth as far as `finished` on both sides. A v that comes `last` sharpens
    corners.
    """
    reached, corners = one.opened(axis), last and one.cutter.shape == "v"
    before, swept = deep.copy(), np.full(len(parts), Polygon(), dtype=object)  # for the corners
    if shapely.is_empty(opened).all():
        rest = reached
    else:
        rest = _worth_cutting(overlay.difference(reached, _wider(opened, _FILM)), trace.options.smallest)
    if not shapely.is_empty(rest).all():
        cleared(one, axis, rest, None if shapely.is_empty(opened).all() else deep, trace,
                finished=finished, opened=max(one.depth - left, 0.0))
        some = ~shapely.is_empty(rest)
        wide = _wider(rest[some], 5 * _FILM)
        if deep is not opened:
            deep[some] = overlay.union(deep[some], unfinished(one, axis[some], wide))
        opened[some] = overlay.union(opened[some], overlay.intersection(reached[some], wide))
        if corners:  # the tip has been on the floor, and along walls wherever it opens something of the rest
            near = overlay.buffer(rest[some], one.half_width, quad_segs=8)
            swept[some] = overlay.union(overlay.intersection(shapely.boundary(axis[some]), near),
                                        unfinished(one, axis[some], rest[some]))
    if corners:
        opened[:] = sharpened(one, parts, opened, before, axis, swept, trace)


def _wider(shapes: Shapes, film: float) -> Shapes:
    """Shapes grown by `film`, so that outlines which nearly coincide leave nothing between them."""
    return np.asarray(overlay.buffer(overlay.simpler(shapes, film / 4.0), film, quad_segs=1, join_style="mitre"))


def _worth_cutting(rest: Shapes, smallest: float) -> Shapes:
    """What is left without the pieces too small to matter."""
    pieces, owner = shapely.get_parts(rest, return_index=True)
    large = (shapely.area(pieces) >= smallest) & (shapely.get_type_id(pieces) == 3)
    return of_each(pieces[large], owner[large], len(rest))


def _idle(one: Opening, axis: Shapes, parts: Shapes, path: Toolpath, slope: float) -> tuple[str, ...]:
    """Why a cutter has no path, and what would give it work, where anything would; empty where it has one."""
    if len(path):
        return ()
    if not shapely.is_empty(axis).all():
        return "finds nothing left to cut: those before it open all that it could", ""
    if one.gentle is not None and not shapely.is_empty(replace(one, gentle=None).axis_region(parts)).all():
        return (f"goes in nowhere: on a slope of {slope:.3f} it would leave more than half of {one.depth:g} mm",
                f"take a flat end of {rounded_down(widest_flat_end(one, slope)):.2f} mm or less, or a ball end")
    if one.least_way and not shapely.is_empty(replace(one, least_way=0.0).axis_region(parts)).all():
        return NO_WAY_DOWN, "take one that plunges, or a smaller one"
    return ("goes in nowhere",
            f"take one that is {_wide_at_most(_widest(parts))}, or make the drawing larger")


def _warnings(one: Opening, slope: float, where: str) -> tuple[str, ...]:
    """A flat end that keeps off the steeper slope."""
    if one.gentle is None:
        return ()
    return (
        f"{where}: cutter {one.cutter.name!r} is too wide for {one.depth:g} mm on a slope of {slope:.3f}: where its"
        " downhill side would leave more than half of that it keeps off, and smaller cutters do all of it",
    )


def _refuse_overhang(
    one: Opening, parts: Shapes, opened: Shapes, slope: float, options: PocketOptions, where: str
) -> None:
    """A flat end must not be the only one for places where its downhill side would hang over half the depth."""
    fitting = replace(one, gentle=None)
    left = overlay.difference(fitting.opened(fitting.axis_region(parts)), _wider(opened, _FILM))
    pieces = shapely.get_parts(left)
    large = pieces[shapely.area(pieces) > max(options.smallest, _LEFT)]
    if not len(large):
        return
    worst = large[np.argmax(shapely.area(large))].representative_point()
    raise CutterError(
        f"{where}: cutter {one.cutter.name!r}",
        f"on a slope of {slope:.3f} the downhill side of {one.cutter.diameter:g} mm leaves the floor up to"
        f" {one.cutter.diameter * slope:.2f} mm high in a pocket {one.depth:g} mm deep, near"
        f" {worst.x:.0f} mm along, {worst.y:.0f} mm across",
        allowed=f"half the depth, so a flat end of {rounded_down(widest_flat_end(one, slope)):.2f} mm or less",
        remedy="add a smaller flat end or a ball end after it, or make the pocket deeper",
    )


def _no_way_down(openings: Sequence[Opening], parts: Shapes) -> None:
    """Cutters that fit, and cannot go in."""
    for one in openings:
        if not one.least_way:
            continue
        places = polygons(replace(one, least_way=0.0).axis_region(parts))
        if not len(places) and one.cutter.shape == "v" and _widest(parts) > _ROUND:  # it rises into what is narrow
            places = parts
        if len(places):
            at = places[np.argmax(shapely.area(places))].representative_point()
            raise no_way_down(one.cutter, one.depth, at.x, at.y, way=one.least_way)


def _nothing_fits(region: BaseGeometry, cutters: Sequence[Cutter], where: str) -> None:
    widest, every = _widest(polygons(region)), np.array([region])
    most = rounded_down(float(largest_that_opens(every, every, widest, halvings=_HALVINGS)[0]))
    finer = f"one of {most:.2f} mm, which opens nine tenths of the drawing" if most >= FINEST else (
        "a smaller or a v cutter, as more than a tenth of the drawing is thinner than any other")
    raise CutterError(
        where, "no cutter goes in anywhere: " + ", ".join(f"{c.name!r} ({c.diameter:g} mm)" for c in cutters),
        allowed=f"a cutter {_wide_at_most(widest)}, to go in at all" if widest >= FINEST else
        "lines as wide as a cutter",
        remedy=f"add {finer}, or make the drawing larger" if widest >= FINEST else
               "placed so small its lines are thinner than any cutter: give it more room (a smaller margin, a larger "
               "width), or draw them wider",
    )


def _wide_at_most(widest: float) -> str:
    return f"{rounded_down(widest):.2f} mm wide or less at the pocket's depth"


def _widest(parts: Shapes) -> float:
    """Diameter of the largest circle in any of the parts, mm."""
    widest, roomy = 0.0, parts[np.argsort(-shapely.area(parts) / np.maximum(shapely.length(parts), 1e-12))[:200]]
    while len(roomy):  # looking for one takes long: most parts have no room for a larger one by far
        widest = max(widest, float(shapely.length(shapely.maximum_inscribed_circle(roomy[0], _WIDTH))))
        roomy = roomy[1:][~shapely.is_empty(overlay.buffer(roomy[1:], -widest - _WIDTH))]
    return 2.0 * widest
