"""The narrowest wood left standing: between two pockets, between a hole and a rim, between the arms of one pocket."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.arrays import Bools, Floats, Ints
from pathgen.base.memory import remembered
from pathgen.work.touching import TOUCHING

Outlines = tuple[Floats, Floats, Floats, Ints]

_REACHES = (0.3, 1.0, 3.0, 8.0)
"""How far walls are looked for, one after the other, mm: most drawings have a narrow one."""
_FINE = 0.005
"""How far from the drawing the outlines that are searched may lie, mm; what is found is measured on the drawing."""
_TOGETHER = 100  # ways across that are tried at once
_PAST = 0.75  # of a wall's width: another pocket so near to its middle stands at its side
_PARALLEL = 0.03
"""Two edges that come nearer to each other by less than this share of the way along them stand side by side."""


@dataclass(frozen=True, kw_only=True)
class Wall:
    """The narrowest wood left between edges of pockets, mm."""

    width: float
    at: tuple[float, float]
    """Its middle."""


@remembered
def narrowest_wall(region: BaseGeometry, taken: BaseGeometry | None = None) -> Wall | None:
    """The narrowest wood between edges of the pockets that face each other.

    `region` is a valid polygon or several, mm; in what others have `taken`, or filled, stands no wood. Between separate
    pockets it is found however wide; within one, up to 8 mm. The wood is a wall where the way across is shortest: from
    its ends the edges lead away from each other, or side by side. So a tip of wood that ends in a point is none. None
    where there is no such place.
    """
    if region.is_empty:
        return None
    searched = _searched(region)
    for reach in _REACHES:
        found = _first_through_wood(region, taken, *_ways(*searched, reach))
        if found is not None:
            return found
    return _between_parts(shapely.get_parts(region), taken)


@remembered
def thin_walls(region: BaseGeometry, *, below: float, touching: float) -> tuple[Wall, ...]:
    """Walls less than `below` mm wide, as `narrowest_wall` has them, the narrowest first: of each piece of wood that is
    no wider, between each two pockets, the narrowest place, but none where they come as near as `touching` mm."""
    start, way, width = _ways(*_searched(region), below)
    clear = ~shapely.intersects(region, _inner(start, way))
    start, way, width = start[clear], way[clear], width[clear]
    if not len(width):
        return ()
    filled = overlay.buffer(overlay.buffer(region, below / 2 + _FINE), -below / 2 - _FINE)
    one, other = (_nearest(region, ends) for ends in (start, start + way))
    wood = overlay.difference(filled, region)  # none where two tips face each other
    piece = np.zeros(len(width), np.intp) if wood.is_empty else _nearest(wood, start + way / 2)
    between = np.column_stack([piece, np.minimum(one, other), np.maximum(one, other)])
    order = np.argsort(width, kind="stable")
    _, first = np.unique(between[order], axis=0, return_index=True)
    found = [_measured(region, start[k], start[k] + way[k]) for k in order[first].tolist()]
    parts = shapely.STRtree(shapely.get_parts(region))
    kept = [wall for k, wall in zip(order[first].tolist(), found, strict=True) if touching < wall.width < below
            # no way across where walls meet, past the corner of another pocket
            and not set(parts.query(shapely.Point(wall.at), predicate="dwithin", distance=_PAST * wall.width).tolist())
            - set(between[k, 1:].tolist())]
    return tuple(sorted(kept, key=lambda wall: wall.width))


def _nearest(shapes: BaseGeometry, places: Floats) -> Ints:
    """(n,) which part of some shapes is nearest to each place."""
    tree = shapely.STRtree(shapely.get_parts(shapes))
    return np.asarray(tree.query_nearest(shapely.points(places), all_matches=False)[1])


def _between_parts(parts: NDArray[np.object_], taken: BaseGeometry | None) -> Wall | None:
    if len(parts) < 2:
        return None
    pairs, gap = shapely.STRtree(parts).query_nearest(parts, exclusive=True, return_distance=True, all_matches=False)
    ways = shapely.shortest_line(parts[pairs[0]], parts[pairs[1]])
    wood = np.flatnonzero(_all_wood(ways, taken))
    if not len(wood):
        return None
    k = wood[np.argmin(gap[wood])]
    x, y = shapely.get_coordinates(ways[k]).mean(axis=0)
    return Wall(width=float(gap[k]), at=(float(x), float(y)))


def _all_wood(ways: NDArray[np.object_], taken: BaseGeometry | None) -> Bools:
    """Which ways across touch nothing that others have taken."""
    return np.ones(len(ways), bool) if taken is None else ~shapely.dwithin(taken, ways, TOUCHING)


def _searched(region: BaseGeometry) -> tuple[Outlines, shapely.STRtree]:
    """The outlines in which walls are looked for, in few points, and a tree of their edges."""
    outlines = _corners(overlay.simpler(region, _FINE))
    corner, _, after, _ = outlines
    return outlines, shapely.STRtree(shapely.linestrings(np.stack([corner, corner + after], axis=1)))


def _ways(outlines: Outlines, edges: shapely.STRtree, reach: float) -> tuple[Floats, Floats, Floats]:
    """(n, 2) starts of ways across from edge to edge, up to `reach` long, (n, 2) the ways, (n,) how long they are: two
    edges are nearest to each other at a corner of one of them."""
    corner, before, after, follows = outlines
    # from a tip of wood one edge or the other always leads nearer to what is across the wood
    faces = np.flatnonzero(_cross(before, after) > -_PARALLEL * np.hypot(*before.T) * np.hypot(*after.T))
    k, edge = edges.query(shapely.points(corner[faces]), predicate="dwithin", distance=reach)
    k = faces[k]
    run = after[edge]
    t = np.clip(((corner[k] - corner[edge]) * run).sum(axis=1) / (run**2).sum(axis=1), 0.0, 1.0)
    way = corner[edge] + t[:, None] * run - corner[k]
    width = np.hypot(way[:, 0], way[:, 1])
    # out of the pocket: right of both edges, or at a sharp tip of it of either
    wood = (width > _FINE) & ((_cross(before[k], way) <= 0.0) | (_cross(after[k], way) <= 0.0))
    k, edge, t, way, width = (each[wood] for each in (k, edge, t, way, width))
    real = _leads_away(after[k], way) & _leads_away(-before[k], way)
    real &= (t > 0.0) | _leads_away(-before[edge], -way)
    real &= (t < 1.0) | _leads_away(after[follows[edge]], -way)
    return corner[k[real]], way[real], width[real]


def _corners(region: BaseGeometry) -> Outlines:
    """(n, 2) corners of all rings, pocket on the left; the edges that come to each and leave it; the next corner."""
    rings = shapely.get_rings(shapely.orient_polygons(shapely.get_parts(region)))
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    last = np.append(ring[1:] != ring[:-1], True)  # each ring ends where it starts
    corner, ring = xy[~last], ring[~last]
    start = np.flatnonzero(np.concatenate([[True], ring[1:] != ring[:-1]]))
    follows = np.arange(1, len(corner) + 1)
    follows[np.append(start[1:], len(corner)) - 1] = start
    after = corner[follows] - corner
    before = np.empty_like(after)
    before[follows] = after
    return corner, before, after, follows


def _cross(a: Floats, b: Floats) -> Floats:
    return np.asarray(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])


def _leads_away(edge: Floats, way: Floats) -> Bools:
    """Whether who leaves along `edge` does not come nearer to the other end of `way`, or hardly."""
    nearer = (edge * way).sum(axis=1)
    return np.asarray(nearer <= _PARALLEL * np.hypot(*edge.T) * np.hypot(*way.T))


def _first_through_wood(
    region: BaseGeometry, taken: BaseGeometry | None, start: Floats, way: Floats, width: Floats
) -> Wall | None:
    """The shortest of the ways that crosses nothing of the pockets, nor of what others have taken."""
    shapely.prepare([region, taken])
    order = np.argsort(width, kind="stable")
    for some in np.split(order, range(_TOGETHER, len(order), _TOGETHER)):
        ways = _inner(start[some], way[some])
        clear = some[~shapely.intersects(region, ways) & _all_wood(ways, taken)]
        if len(clear):
            return _measured(region, start[clear[0]], start[clear[0]] + way[clear[0]])
    return None


def _inner(start: Floats, way: Floats) -> NDArray[np.object_]:
    """Ways across without their ends, which lie on the edges."""
    return np.asarray(shapely.linestrings(start[:, None] + way[:, None] * np.array([0.1, 0.9])[:, None]))


def _measured(region: BaseGeometry, a: Floats, b: Floats) -> Wall:
    """A wall from about `a` to about `b`, on the outlines as they are drawn."""
    far = 0.3 * float(np.hypot(*(b - a)))
    ends = [shapely.clip_by_rect(region.boundary, x - far, y - far, x + far, y + far) for x, y in (a, b)]
    across = shapely.get_coordinates(shapely.shortest_line(*ends))
    if not len(across):  # they were found on outlines in fewer points, further than that from the drawn ones
        across = np.stack([a, b])
    x, y = across.mean(axis=0)
    return Wall(width=float(np.hypot(*(across[1] - across[0]))), at=(float(x), float(y)))
