"""Pockets: a region of the surface cleared to a depth below it by one cutter after another."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from pathgen.cutters import Cutter
from pathgen.errors import CutterError
from pathgen.pocketing.clearing import Nest, Pieces, nest, pieces
from pathgen.pocketing.linking import legs_inside_out, stays_inside, tour, turned_to, way_in
from pathgen.pocketing.openings import Opening, Shapes, cleaned, opening, polygons, whole
from pathgen.pocketing.tracing import Trace
from pathgen.surface import Surface
from pathgen.toolpath import Toolpath

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


@dataclass(frozen=True, kw_only=True)
class Tolerances:
    """How exact a pocket is, mm."""

    arc: float = 0.0005
    """Chords of the axis' path lie within this of the arcs that they stand for, in plan."""
    inner: float = 0.005
    """The same for the loops away from the wall, which touch nothing that stays."""
    chord: float = 0.0005
    """A straight move between two points over the curve cuts at most this much deeper than asked."""


@dataclass(frozen=True, kw_only=True)
class PocketOptions:
    """What else a maker may choose, mm and mm2."""

    allowance: float = 0.0
    """What clearing leaves on the walls for the finishing pass; 0 for no finishing pass."""
    smallest: float = 0.05
    """Area of the smallest piece worth cutting once a larger cutter has been there."""
    overlap: float = 0.1
    """How far a later cutter goes into what the earlier ones opened."""
    approach: float = 0.5
    """Height above the surface at which a rapid down ends."""
    local_clear: float | None = 2.0
    """How far above the surface short hops go; None to lift to `safe_z` always."""
    steepest_ramp: float = 0.1
    """Rise over run of a ramp at most; common practice, no source."""


@dataclass(frozen=True, eq=False, kw_only=True)
class PocketCut:
    """What one cutter does of a pocket.

    Attributes
    ----------
    cutter : Cutter
    toolpath : Toolpath
        In the board's frame; starts and ends at the safe height. Empty when there is nothing to do.
    opened : shapely geometry
        The region opened at the surface by this cutter and those before it.
    left : shapely geometry
        What is still not opened.
    skipped : float
        Area of the pieces that this cutter could have cut but that are below the smallest, mm2.
    warnings : tuple of str
    """

    cutter: Cutter
    toolpath: Toolpath
    opened: Polygon | MultiPolygon
    left: Polygon | MultiPolygon
    skipped: float = 0.0
    warnings: tuple[str, ...] = ()


def pocket(
    region: BaseGeometry,
    *,
    surface: Surface,
    cutters: Sequence[Cutter],
    depth: float,
    safe_z: float,
    tolerance: Tolerances | None = None,
    allowance: float = 0.0,
    smallest: float = 0.05,
    overlap: float = 0.1,
    local_clear: float | None = 2.0,
    keep_out: BaseGeometry | None = None,
    where: str = "pocket",
) -> tuple[PocketCut, ...]:
    """Clear `region` of the surface to `depth` straight below it.

    Parameters
    ----------
    region : shapely Polygon or MultiPolygon
        In the board's frame, mm. Overlaps and self-touching rings are cleaned up first.
    surface : Surface
        The finished surface; wood stands at it and nothing above it.
    cutters : sequence of Cutter
        Each later one cuts only what those before it could not reach.
    depth : float
        Of the floor below the surface at each point, mm: never deeper.
    safe_z : float
        Height of rapids across the work, mm.
    allowance : float
        What clearing leaves on the walls for a finishing pass, mm; 0 for none.
    smallest : float
        Pieces of less area (mm2) that a later cutter could still open are skipped.
    overlap : float
        How far a later cutter goes into what the earlier ones opened, mm.
    local_clear : float or None
        Hops between neighbouring places go this far above the surface, mm; None: always to `safe_z`.
    keep_out : shapely geometry
        What stands on the work, in plan, already widened as far as the cutter must stay away: hops that would
        cross it go to `safe_z`.

    Returns
    -------
    tuple of PocketCut, one for each cutter in the order given

    Raises
    ------
    CutterError
        When the depth is beyond a cutter's flute, or no cutter goes in anywhere.
    """
    tolerance = tolerance or Tolerances()
    options = PocketOptions(allowance=allowance, smallest=smallest, overlap=overlap, local_clear=local_clear)
    region = cleaned(region)
    openings = [opening(cutter, surface, depth, tolerance.arc) for cutter in cutters]
    opened: BaseGeometry = Polygon()
    cuts = []
    for one in openings:
        axis = one.axis_region(region)
        reachable = one.opened(axis)
        rest, skipped = _worth_cutting(shapely.difference(reachable, opened), opened, options)
        warnings = []
        if not len(axis):
            warnings.append(f"{where}: cutter {one.cutter.name!r} goes in nowhere")
        elif rest.is_empty:
            warnings.append(f"{where}: cutter {one.cutter.name!r} finds nothing left to cut")
        needed = None if opened.is_empty else shapely.buffer(rest, one.half_width + overlap, quad_segs=8)
        path = Toolpath.empty()
        if not rest.is_empty:
            path = _cleared(one, axis, needed, options, tolerance, safe_z, keep_out)
            opened = whole(polygons(shapely.union_all(np.array([opened, rest], dtype=object))))
        cuts.append(PocketCut(
            cutter=one.cutter, toolpath=path, opened=opened, left=whole(polygons(shapely.difference(region, opened))),
            skipped=skipped, warnings=tuple(warnings),
        ))
    if not region.is_empty and not any(len(cut.toolpath) for cut in cuts):
        _nothing_fits(region, cutters, where)
    return tuple(cuts)


def _nothing_fits(region: BaseGeometry, cutters: Sequence[Cutter], where: str) -> None:
    widest = 2.0 * max(float(shapely.length(shapely.maximum_inscribed_circle(p, 0.005))) for p in polygons(region))
    raise CutterError(
        where, "no cutter goes in anywhere: " + ", ".join(f"{c.name!r} ({c.diameter:g} mm)" for c in cutters),
        allowed=f"a cutter that opens {widest:.2f} mm or less", remedy="add a smaller cutter, or make the drawing larger",
    )


def _worth_cutting(rest: BaseGeometry, opened: BaseGeometry, options: PocketOptions) -> tuple[BaseGeometry, float]:
    """The pieces of what is left that are not too small to matter, and the area of those that are."""
    parts = polygons(rest)
    if opened.is_empty:
        return whole(parts), 0.0
    area = shapely.area(parts)
    large = area >= options.smallest
    return whole(parts[large]), float(area[~large].sum())


def layer_depths(cutter: Cutter, depth: float) -> Floats:
    """Depths of the layers, equal and none thicker than the cutter's stepdown, mm."""
    layers = max(1, math.ceil(depth / cutter.stepdown - 1e-9))
    return depth * np.arange(1, layers + 1) / layers


def spacing(one: Opening) -> float:
    """Distance between loops: the cutter's stepover of what it opens, and never more than leaves nothing uncut.

    Every place inside a loop is within one spacing of it or inside the next loop, so a spacing up to the
    half-width clears every corner.
    """
    return min(2.0 * one.cutter.stepover, 0.97) * one.half_width


def _cleared(
    one: Opening,
    axis: Shapes,
    needed: BaseGeometry | None,
    options: PocketOptions,
    tolerance: Tolerances,
    safe_z: float,
    keep_out: BaseGeometry | None,
) -> Toolpath:
    """The path of one cutter over all its places."""
    step = spacing(one)
    nested = nest(axis, first=options.allowance or step, spacing=step, tolerance=tolerance.inner)
    cut = pieces(nested, needed)
    if not len(cut.line):
        return Toolpath.empty()
    place = _places(nested, cut, axis, needed)
    starts = np.array([line[0] for line in cut.line])
    names, first = np.unique(place, return_index=True)
    middle = np.array([starts[place == name].mean(axis=0) for name in names]) if len(names) < 2000 else starts[first]
    trace = Trace(one, safe_z=safe_z, options=options, tolerance=tolerance, keep_out=keep_out)
    members = np.split(np.argsort(place, kind="stable"), np.flatnonzero(np.diff(np.sort(place))) + 1)
    here = np.zeros(2)
    layers = layer_depths(one.cutter, one.depth)
    for k in tour(middle, here):
        here = _place_cut(trace, nested, cut, members[k], layers, here)
    return trace.toolpath()


def _places(nested: Nest, cut: Pieces, axis: Shapes, needed: BaseGeometry | None) -> Ints:
    """The place, a connected area of the axis, that each piece is in."""
    if needed is None:
        root = np.arange(len(nested))
        for _ in range(int(nested.level.max(initial=0))):
            root = np.where(nested.parent[root] >= 0, nested.parent[root], root)
        return root[cut.node]
    areas = polygons(shapely.intersection(whole(axis), needed))
    tree = shapely.STRtree(areas)
    points = shapely.points(np.array([line[len(line) // 2] for line in cut.line]))
    return np.asarray(tree.nearest(points))


def _place_cut(trace: Trace, nested: Nest, cut: Pieces, chosen: Ints, layers: Floats, here: Floats) -> Floats:
    """One place, all its layers; returns where the axis ends."""
    order = legs_inside_out(nested, cut, chosen, here)
    lines: list[Floats] = []
    for piece in order:
        line = cut.line[piece]
        lines.append(turned_to(line, here) if cut.closed[piece] else line)
        here = lines[-1][-1]
    node = cut.node[order]
    closed = cut.closed[order]
    starts, ends = np.array([line[0] for line in lines]), np.array([line[-1] for line in lines])
    linked = np.concatenate([[False], stays_inside(nested.area[node[1:]], ends[:-1], starts[1:])])
    above, one_width = 0.0, trace.room
    for layer, depth in enumerate(layers):
        for i, line in enumerate(lines):
            if linked[i]:
                trace.follow(line, depth)
                continue
            roomy = closed[i] and shapely.length(shapely.linestrings(line)) > one_width
            ramp = way_in(line, (depth - above) / trace.ramp) if roomy else line[:1]
            if i == 0 and layer and stays_inside(nested.area[node[-1:]], ends[-1:], ramp[:1])[0]:
                trace.follow(ramp[:1], above)
            else:
                trace.hop(ramp[0], above)
            trace.descend(ramp, above, depth)
            trace.follow(line, depth)
        above = float(depth)
    return ends[-1]
