"""Contour-parallel clearing: the nest of loops, wall first, that the axis follows."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.arrays import Bools, Floats, Ints
from pathgen.strategies.pocketing.shapes import Shapes, eroded, films, polygons, quad_segments, whole

_MISSED = 1e-4
"""Area (mm2) of a missed place that is worth a path of its own; less for fine ends, a tenth of their reach squared."""
_ROUND = 0.0005  # how far (mm) chords may lie inside what a loop sweeps


@dataclass(frozen=True, eq=False, kw_only=True)
class Nest:
    """Regions of the axis one inside the other, `spacing` apart; their outlines are the loops to cut."""

    area: Shapes
    """(n,) polygons."""
    level: Ints
    """(n,): 0 along the wall."""
    parent: Ints
    """(n,): the region one level out that holds this one; -1 at level 0."""

    def __len__(self) -> int:
        return len(self.area)

    @cached_property
    def root(self) -> Ints:
        """The region at level 0 that each lies in."""
        root = np.arange(len(self))
        for _ in range(int(self.level.max(initial=0))):
            root = np.where(self.parent[root] >= 0, self.parent[root], root)
        return root


def nest(
    axis_region: Shapes, *, first: float | Floats, spacing: float, half_width: float, tolerance: float,
    only: Shapes | None = None,
) -> Nest:
    """Regions inside `axis_region` (polygons): the first `first` inside its outline, the rest `spacing` apart.

    `first` is one distance or one for each polygon, mm; `half_width` is what a loop leaves finished on each side. With
    `only`, one shape for each polygon, regions inside it that do not meet its shape are left out.
    """
    areas, levels, parents = [axis_region], [np.zeros(len(axis_region), np.intp)], [np.full(len(axis_region), -1)]
    current, start, root = axis_region, 0, np.arange(len(axis_region))
    inset = np.broadcast_to(first, len(axis_region))
    while len(current):
        parts, owner = _inside(current, inset, half_width, tolerance)
        real = (shapely.get_type_id(parts) == 3) & ~shapely.is_empty(parts)
        if only is not None:
            real &= shapely.intersects(only[root[owner]], parts)
        root = root[owner[real]]
        current, owner = parts[real], owner[real] + start
        start += len(areas[-1])
        areas.append(current)
        parents.append(owner)
        levels.append(np.full(len(current), len(areas) - 1))
        inset = np.full(len(current), spacing)
    return Nest(area=np.concatenate(areas), level=np.concatenate(levels), parent=np.concatenate(parents))


def _inside(areas: Shapes, inset: Floats, half_width: float, tolerance: float) -> tuple[Shapes, Ints]:
    """Regions `inset` inside each of `areas`, and which of these each is in.

    Where two loops meet in the middle their rounding leaves films in many pieces. What the loops round it finish
    anyway is none: all of it, as a film may run into a corner or a knob that they do not. Elsewhere the middle is made
    wide enough to be one.
    """
    inner = overlay.simpler(eroded(areas, inset, tolerance), tolerance)
    parts, owner = shapely.get_parts(inner, return_index=True)
    film = films(parts, 2.0 * tolerance)
    if not film.any():
        return parts, owner
    finished = inset + 3.0 * tolerance <= half_width  # a film's half, and twice what chords and fewer corners are off
    wider = np.unique(owner[film & ~finished[owner]])
    inner[wider] = overlay.simpler(
        eroded(areas[wider], np.maximum(inset[wider] - 2.0 * tolerance, inset[wider] / 2.0), tolerance), tolerance)
    parts, owner = shapely.get_parts(inner, return_index=True)
    thin = np.flatnonzero(films(parts, 2.0 * tolerance) & finished[owner])
    left = eroded(parts[thin], half_width - 3.0 * tolerance - inset[owner[thin]], tolerance)
    none = thin[shapely.is_empty(left)]
    return np.delete(parts, none), np.delete(owner, none)


@dataclass(frozen=True, eq=False, kw_only=True)
class Pieces:
    """Paths of the axis in plan, each cut in one go."""

    line: list[Floats]
    """(n, 2) each: closed loops end where they start. What is to be left is on the right: climb cutting."""
    closed: Bools
    node: Ints
    """(m,): the region of the nest that each belongs to."""
    outline: Bools
    """(m,): outlines of that region, and parts of them; False for paths through what loops miss."""
    island: Bools
    """(m,): round wood that stands inside the region, and parts of such loops."""

    def __len__(self) -> int:
        return len(self.line)


def pieces(nested: Nest, *, half_width: float, spacing: float, only: Shapes | None = None) -> Pieces:
    """Outlines of the nest's regions.

    Outlines run counter-clockwise and holes clockwise, so that a spindle turning clockwise climb-cuts. Every
    place in a region lies within one spacing of its outline or in the next region. So loops up to a half-width
    apart leave nothing uncut, or no floor unfinished when `half_width` is what one leaves finished; what wider ones
    miss, in sharp corners and narrow middles, gets loops of its own: all of it, or what lies in `only`.
    """
    areas = shapely.orient_polygons(nested.area)
    rings, node = shapely.get_rings(areas, return_index=True)
    outline, island = np.ones(len(rings), bool), ~shapely.is_ccw(rings)
    if spacing > half_width and len(rings):
        # one place may be given for many regions
        once = {id(place): place for place in (only if only is not None else ())}
        wanted = whole(nested.area[nested.level == 0]) if only is None else overlay.union_all(list(once.values()))
        extra, extra_node = _missed(nested, rings, half_width, wanted)
        rings, node = np.concatenate([rings, extra]), np.concatenate([node, extra_node])
        outline, island = (np.concatenate([of, np.zeros(len(extra), bool)]) for of in (outline, island))
    corners, ring = shapely.get_coordinates(rings, return_index=True)
    lines: Shapes = shapely.linestrings(corners, indices=ring) if len(rings) else np.empty(0, object)
    return _as_pieces(lines, node, outline, island)


def clipped(cut: Pieces, needed: Shapes, rest: Shapes, half_width: Floats) -> Pieces:
    """The parts of pieces inside `needed` that cut something of `rest`: one of each for each region of the nest."""
    lines = np.array([shapely.linestrings(line) for line in cut.line], dtype=object)
    node = cut.node
    shapely.prepare(needed)
    inside = shapely.covers(needed[node], lines)
    crossing = ~inside & shapely.intersects(needed[node], lines)
    parts, owner = shapely.get_parts(
        shapely.line_merge(overlay.intersection(lines[crossing], needed[node[crossing]]), directed=True),
        return_index=True,
    )
    real = (shapely.get_type_id(parts) == 1) & (shapely.length(parts) > 0)
    lines = np.concatenate([lines[inside], parts[real]])
    node, outline, island = (
        np.concatenate([of[inside], of[crossing][owner[real]]]) for of in (node, cut.outline, cut.island)
    )
    shapely.prepare(rest)
    reaches = shapely.dwithin(rest[node], lines, half_width[node] - 0.002)
    return _as_pieces(lines[reaches], node[reaches], outline[reaches], island[reaches])


def _as_pieces(lines: Shapes, node: Ints, outline: Bools, island: Bools) -> Pieces:
    coordinates, index = shapely.get_coordinates(lines, return_index=True)
    split = np.split(coordinates, np.flatnonzero(np.diff(index)) + 1) if len(lines) else []
    return Pieces(line=split, closed=shapely.is_closed(lines), node=node, outline=outline, island=island)


def _missed(nested: Nest, rings: Shapes, half_width: float, wanted: BaseGeometry) -> tuple[Shapes, Ints]:
    """Outlines of what loops leave uncut of `wanted`, and the innermost region that each lies in."""
    segments = quad_segments(half_width, _ROUND)
    swept = overlay.union_all(overlay.buffer(rings, half_width - 0.001, quad_segs=segments))
    parts = polygons(overlay.difference(wanted, swept))
    parts = parts[shapely.area(parts) > min(_MISSED, (half_width / 10.0) ** 2)]
    if not len(parts):
        return np.empty(0, object), np.empty(0, np.intp)
    tree = shapely.STRtree(nested.area)
    part, node = tree.query(shapely.point_on_surface(parts), predicate="within")
    deepest = np.zeros(len(parts), np.intp)
    np.maximum.at(deepest, part, nested.level[node])
    innermost = np.zeros(len(parts), np.intp)
    at = nested.level[node] == deepest[part]
    innermost[part[at]] = node[at]
    found, owner = shapely.get_rings(shapely.orient_polygons(parts), return_index=True)
    return found, innermost[owner]
