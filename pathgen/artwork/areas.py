"""The area inside outlines, by the standard's two fill rules, as valid polygons."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from pathgen.artwork.flatten import Polylines
from pathgen.base import overlay
from pathgen.base.arrays import Bools, Floats, Ints
from pathgen.base.errors import ArtworkError
from pathgen.base.limits import MOST_CROSSINGS

Geometries = NDArray[Any]
"""Array of shapely geometries."""

EMPTY = shapely.MultiPolygon()
_CHUNK = 4_000_000

_GRID = 1e-12
"""Grid for crossings, as a share of the largest coordinate: half a picometre on a page of 500 mm."""

_FEW = 3000
"""Edges of an outline that are compared with one another directly."""


def filled(lines: Polylines, rules: Sequence[str], where: Sequence[str]) -> Geometries:
    """(n,) the area inside each outline, valid, empty where nothing is enclosed; open subpaths are closed (SVG 1.1,
    section 11.3).

    `rules` has "nonzero" or "evenodd" for each outline, `where` its element, for messages. Raises ArtworkError for an
    outline that crosses itself too often.
    """
    areas = np.full(len(rules), EMPTY, dtype=object)
    sizes = np.diff(lines.start)
    usable = sizes >= 3
    if not usable.any():
        return areas
    points = lines.points[np.repeat(usable, sizes)]
    rings = shapely.linearrings(points, indices=np.repeat(np.arange(usable.sum()), sizes[usable]))
    owner = lines.owner[usable]
    polygons = shapely.polygons(rings)
    valid = shapely.is_valid(polygons)
    first = np.flatnonzero(np.append(True, np.diff(owner) != 0))
    last = np.append(first[1:], len(owner))
    alone = (last - first == 1) & valid[first]
    areas[owner[first[alone]]] = polygons[first[alone]]
    tangled: list[tuple[int, int]] = []
    for begin, end in zip(first[~alone], last[~alone], strict=True):
        members, rule = rings[begin:end], rules[owner[begin]]
        _check_nesting(polygons[begin:end], where[owner[begin]])
        if valid[begin:end].all() and shapely.is_simple(shapely.multilinestrings(members)):
            areas[owner[begin]] = _nested(members, polygons[begin:end], rule)
        else:
            tangled.append((begin, end))
    _check_tangles([rings[begin:end] for begin, end in tangled])
    for begin, end in tangled:
        _check_edges(rings[begin:end], where[owner[begin]])
        areas[owner[begin]] = _crossing(rings[begin:end], rules[owner[begin]])
    return areas


def _is_inside(winding: Ints, rule: str) -> Bools:
    return winding % 2 != 0 if rule == "evenodd" else winding != 0


def _nested(rings: Geometries, polygons: Geometries, rule: str) -> Any:
    """The area of rings that neither cross nor touch: each lies wholly inside or outside each other."""
    points = shapely.get_point(rings, 0)
    outer, inner = shapely.STRtree(points).query(polygons, predicate="contains")  # the polygon is prepared, so fast
    inner, outer = inner[inner != outer], outer[inner != outer]
    turn = np.where(shapely.is_ccw(rings), 1, -1)
    around = np.bincount(inner, turn[outer], len(rings)).astype(np.int64)
    depth = np.bincount(inner, minlength=len(rings))
    inside, outside = _is_inside(around + turn, rule), _is_inside(around, rule)
    is_hole, is_shell = outside & ~inside, inside & ~outside
    holes_of: dict[int, list[Any]] = {int(shell): [] for shell in np.flatnonzero(is_shell)}
    pairs = is_hole[inner] & is_shell[outer]
    for hole, shell in _deepest(inner[pairs], outer[pairs], depth):
        holes_of[shell].append(rings[hole])
    found = [shapely.polygons(rings[shell], holes=holes or None) for shell, holes in holes_of.items()]
    return found[0] if len(found) == 1 else shapely.multipolygons(found) if found else EMPTY


def _deepest(inner: Ints, outer: Ints, depth: Ints) -> list[tuple[int, int]]:
    """For each inner ring, the closest of those around it."""
    closest: dict[int, int] = {}
    for hole, shell in zip(inner.tolist(), outer.tolist(), strict=True):
        if hole not in closest or depth[shell] > depth[closest[hole]]:
            closest[hole] = shell
    return list(closest.items())


def _crossing(rings: Geometries, rule: str) -> Any:
    """The area of any rings: cut the plane along them, and keep the faces that the rule counts as inside."""
    faces = _faces(rings)
    if not len(faces):
        return EMPTY
    points = shapely.get_coordinates(shapely.point_on_surface(faces))
    inside = _is_inside(_winding(points, rings), rule)
    return overlay.coverage_union_all(faces[inside]) if inside.any() else EMPTY


def _faces(rings: Geometries) -> Geometries:
    """The faces into which rings cut the plane.

    Where edges almost coincide, rounding can leave crossings a hair apart and a face open, and the whole of it is
    lost: then, as lines that bound no face show, it is done again with crossings snapped to a fine grid.
    """
    found, *rest = shapely.polygonize_full([overlay.union_all(rings)])
    if any(not some.is_empty for some in rest):
        grid = float(np.abs(shapely.total_bounds(rings)).max()) * _GRID
        found = shapely.polygonize([overlay.union_all(rings, grid=grid)])
    faces: Geometries = shapely.get_parts(found)
    return faces


def _edges(rings: Geometries) -> tuple[Floats, Floats]:
    """Where each edge begins and ends: two (n, 2) arrays."""
    coordinates, ring = shapely.get_coordinates(rings, return_index=True)
    same = ring[1:] == ring[:-1]
    return coordinates[:-1][same], coordinates[1:][same]


def _check_edges(rings: Geometries, where: str) -> None:
    """`check_tangle` for the edges of rings; few are compared directly, which needs no tree."""
    begin, end = _edges(rings)
    if len(begin) > _FEW:
        check_tangle(shapely.linestrings(np.stack([begin, end], axis=1)), where)
    elif len(begin) > 500:
        some = slice(None, None, -(-len(begin) // 100))
        p, q = (points[some, None] for points in (begin, end))
        apart = (_side(p, q, begin) * _side(p, q, end) < 0) & (_side(begin, end, p) * _side(begin, end, q) < 0)
        _refuse_tangle(apart.mean() * len(begin) ** 2 / 2, where)


def _side(p: Floats, q: Floats, point: Floats) -> Floats:
    """Twice the area of the triangles p, q, point: its sign says on which side the point lies."""
    result: Floats = (q[..., 0] - p[..., 0]) * (point[..., 1] - p[..., 1]) - (
        (q[..., 1] - p[..., 1]) * (point[..., 0] - p[..., 0])
    )
    return result


def _check_nesting(polygons: Geometries, where: str) -> None:
    """Raise ArtworkError for an outline of so many rings in one another that sorting them out would take minutes."""
    if len(polygons) < 300:
        return
    sample = polygons[:: len(polygons) // 100]
    pairs = shapely.STRtree(polygons).query(sample).shape[1] / len(sample) * len(polygons)
    if pairs > MOST_CROSSINGS * 2:
        raise ArtworkError(where, f"{len(polygons)} outlines in one path lie in one another", allowed="a few hundred",
                           remedy="break the path into separate shapes")


def check_tangle(parts: Geometries, where: str) -> None:
    """Raise ArtworkError when the parts of one outline meet one another too often, judged by a sample of them."""
    count = len(parts)
    if count < 400:
        return
    sample = parts[:: count // 200]
    meetings = shapely.STRtree(parts).query(sample, predicate="intersects").shape[1] / len(sample) * count / 2
    _refuse_tangle(meetings, where)


def _refuse_tangle(meetings: float, where: str) -> None:
    if meetings > MOST_CROSSINGS:
        raise ArtworkError(where, f"crosses itself about {float(f'{meetings:.1g}'):.0f} times",
                           allowed=f"{MOST_CROSSINGS} times", remedy="simplify it, or break it into separate shapes")


def _check_tangles(outlines: Sequence[Geometries]) -> None:
    """Raise ArtworkError when outlines that cross themselves do so too often in all, judged by a sample of them."""
    if len(outlines) < 100:
        return
    sample = outlines[:: -(-len(outlines) // 20)]
    for rings in sample:
        _check_edges(rings, f"one of {len(outlines)} shapes")
    faces = sum(len(_faces(rings)) for rings in sample) / len(sample) * len(outlines)
    if faces > MOST_CROSSINGS:
        raise too_crossed(f"{len(outlines)} shapes")


def too_crossed(what: str) -> ArtworkError:
    """The error for a drawing whose areas would take minutes to sort out."""
    return ArtworkError(what, "cross themselves or one another too often to be sorted out",
                        allowed=f"about {MOST_CROSSINGS} crossings",
                        remedy="simplify them, or unite the shapes of each colour in the drawing program")


def _winding(points: Floats, rings: Geometries) -> Ints:
    """How often the rings go round each point, counted along a ray towards +x. (n,) int array for (n, 2) points."""
    p, q = _edges(rings)
    winding = np.zeros(len(points), dtype=np.int64)
    order = np.argsort(points[:, 1])
    block = min(32, max(1, _CHUNK // max(len(p), 1)))  # few points at a time meet few edges in their band
    for k in range(0, len(points), block):
        some = order[k: k + block]
        y = points[some, 1]
        near = (np.minimum(p[:, 1], q[:, 1]) <= y[-1]) & (np.maximum(p[:, 1], q[:, 1]) >= y[0])
        winding[some] = _crossings(points[some, None], p[near], q[near])
    return winding


def _crossings(point: Floats, p: Floats, q: Floats) -> Ints:
    y, side = point[..., 1], _side(p, q, point)
    up, down = (p[:, 1] <= y) & (q[:, 1] > y), (p[:, 1] > y) & (q[:, 1] <= y)
    result: Ints = np.sum(up & (side > 0), axis=1) - np.sum(down & (side < 0), axis=1)
    return result
