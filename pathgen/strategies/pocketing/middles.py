"""The middle line of a region: where a v cutter goes to sharpen corners and thin tips."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPoint
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.strategies.pocketing.openings import Shapes

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

SAMPLE = 0.05
"""Distance between the points along the walls that the middle line is found from, mm."""

_LEAST_TURN = np.radians(25.0)
"""Walls that meet at less than this from straight are a curve drawn in short lines, not a corner."""

_NEIGHBOURS = 1.2 * SAMPLE
"""Points along the walls that are no further apart (mm) are neighbours on one wall."""

_BESIDE = 1e-4
"""How much further (mm) a way may lie from one of the two points that it is between than from the other."""

_LONGEST_EDGE = 0.5
"""Longer edges (mm) of the middle line are looked at in pieces."""

_LONGEST_TIP = 10.0
"""How far (mm) a line may end from the tip that it is led on to: in the thinnest the points along the walls are too
far apart for it."""


def middle_line(region: BaseGeometry, near: BaseGeometry, reach: float) -> Shapes:
    """Lines of the region's medial axis within `reach` of `near`, merged from corner to fork.

    Every edge of the Voronoi diagram of points along the boundary lies in the middle of two of them. Those
    between neighbours on one wall are left out; the rest are the middle line (Brandt and Algazi, 1992, show that
    it converges to the medial axis as the points close up). Lines that end in a tip are led on to its corner.
    """
    shapely.prepare(region)
    shapely.prepare(near)
    walls, _ = segments(shapely.get_parts(region.boundary))
    walls = walls[shapely.dwithin(near, walls, 2.0 * reach + 1.0)]
    points = shapely.get_coordinates(shapely.segmentize(walls, SAMPLE))
    points = np.unique(np.round(points, 7).view(complex)).view(float).reshape(-1, 2)
    if len(points) < 3:
        return np.empty(0, object)
    # points far away all round: an edge between two walls that nothing stands opposite has no end without them
    far = shapely.get_coordinates(shapely.envelope(overlay.buffer(near, 4.0 * reach + 2.0)))[:4]
    edges, between = _voronoi_edges(np.vstack([points, far]))
    apart = np.hypot(*(between[:, 0] - between[:, 1]).T) > _NEIGHBOURS
    ways, between = shapely.linestrings(edges[apart]), between[apart]
    # through a mouth a way goes on as one long edge, past walls further off: looked at piece by piece, as far as near
    long = shapely.length(ways) > _LONGEST_EDGE
    pieces = overlay.intersection(ways[long], overlay.buffer(near, reach))
    pieces, edge = segments(shapely.segmentize(pieces, _LONGEST_EDGE))
    ways, between = np.concatenate([ways[~long], pieces]), np.concatenate([between[~long], between[long][edge]])
    ways = ways[_between_walls(ways, between, region)]
    ways = ways[shapely.dwithin(near, ways, reach)]
    ways = ways[shapely.contains_properly(region, ways)]
    return _led_into_corners(_merged(ways), region)


def _voronoi_edges(points: Floats) -> tuple[Floats, Floats]:
    """(m, 2, 2) the bounded edges of the Voronoi diagram of (n, 2) points, and (m, 2, 2) the points each is between.

    Each joins the centres of the circles round two neighbours of the Delaunay triangulation, its dual: a tenth of the
    time that the engine takes to build the cells.
    """
    triangles = shapely.get_parts(shapely.delaunay_triangles(MultiPoint(points)))
    corners = shapely.get_coordinates(triangles).reshape(-1, 4, 2)[:, :3]
    name = np.unique(np.ascontiguousarray(corners).view(complex), return_inverse=True)[1].reshape(-1, 3)
    sides = np.sort(np.stack([name, np.roll(name, -1, axis=1)], axis=2).reshape(-1, 2), axis=1)
    order = np.lexsort(sides.T)
    shared = np.flatnonzero((sides[order[1:]] == sides[order[:-1]]).all(axis=1))
    centre = _centres(corners)
    ends = np.stack([centre[order[shared] // 3], centre[order[shared + 1] // 3]], axis=1)
    real = np.isfinite(ends).all(axis=(1, 2)) & (ends[:, 0] != ends[:, 1]).any(axis=1)
    side = order[shared]
    between = np.stack([corners.reshape(-1, 2)[side], np.roll(corners, -1, axis=1).reshape(-1, 2)[side]], axis=1)
    return np.asarray(ends[real]), np.asarray(between[real])


def _centres(corners: Floats) -> Floats:
    """(n, 2) centres of the circles through three corners each, (n, 3, 2); rounded, so that points on one circle share
    theirs."""
    a, ab, ac = corners[:, 0], corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    d, e = (ab**2).sum(axis=1), (ac**2).sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        half = 0.5 / (ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0])
        out = np.stack([(ac[:, 1] * d - ab[:, 1] * e) * half, (ab[:, 0] * e - ac[:, 0] * d) * half], axis=1)
    return np.asarray(np.round(a + out, 8))


def segments(lines: Shapes) -> tuple[Shapes, Ints]:
    """Every straight piece of the lines on its own, and which line it is of; points that stand twice make none."""
    xy, index = shapely.get_coordinates(lines, return_index=True)
    same = np.flatnonzero((index[1:] == index[:-1]) & (xy[1:] != xy[:-1]).any(axis=1))
    return np.asarray(shapely.linestrings(np.stack([xy[same], xy[same + 1]], axis=1))), index[same]


def _between_walls(ways: Shapes, between: Floats, region: BaseGeometry) -> NDArray[np.bool_]:
    """Which (n,) straight ways see the two points that each is between, (n, 2, 2), at more than a corner's least turn.

    Where three points lie nearly in line the triangulation is not exact: a way that is not as far from both its points
    as from the nearest wall is none.
    """
    middle = shapely.get_coordinates(ways).reshape(-1, 2, 2).mean(axis=1)
    away = np.hypot(*np.moveaxis(between - middle[:, None], 2, 0))
    half = np.hypot(*(between[:, 0] - between[:, 1]).T) / 2.0
    seen = (half > np.sin(_LEAST_TURN / 2.0) * away[:, 0]) & (np.abs(away[:, 0] - away[:, 1]) < _BESIDE)
    seen[seen] = away[seen, 0] < shapely.distance(shapely.boundary(region), shapely.points(middle[seen])) + SAMPLE
    return np.asarray(seen)


def _merged(ways: Shapes) -> Shapes:
    if not len(ways):
        return ways
    merged = shapely.get_parts(shapely.line_merge(shapely.multilinestrings(ways)))
    return merged[shapely.length(merged) > 2.0 * SAMPLE]


def _led_into_corners(lines: Shapes, region: BaseGeometry) -> Shapes:
    """The lines, with the corner of the region added to those that end in its tip: one line for each corner."""
    corners, half = _tips(region)
    if not len(lines) or not len(corners):
        return lines
    xy = [shapely.get_coordinates(line) for line in lines]
    ends = np.array([end for line in xy for end in (line[0], line[-1])])
    width = shapely.distance(region.boundary, shapely.points(ends))
    corner, end = shapely.STRtree(shapely.points(ends)).query(
        shapely.points(corners), predicate="dwithin", distance=_LONGEST_TIP
    )
    away = np.hypot(*(ends[end] - corners[corner]).T)
    fits = (width[end] < 3.0 * SAMPLE) & ((away - SAMPLE) * np.sin(half[corner]) < 1.5 * width[end])
    corner, end, away = corner[fits], end[fits], away[fits]
    straight = shapely.linestrings(np.stack([ends[end], corners[corner]], axis=1))
    seen = shapely.covers(region, straight)
    taken: set[int] = set()
    for k in np.flatnonzero(seen)[np.argsort(away[seen])]:
        line, last = divmod(int(end[k]), 2)
        if int(end[k]) not in taken and -1 - int(corner[k]) not in taken:
            taken |= {int(end[k]), -1 - int(corner[k])}
            xy[line] = np.vstack([xy[line], corners[corner[k]]] if last else [corners[corner[k]], xy[line]])
    return np.array([shapely.linestrings(line) for line in xy], dtype=object)


def _tips(region: BaseGeometry) -> tuple[Floats, Floats]:
    """(n, 2) corners in which the region ends in a tip, and half the angle of each."""
    corners, half = [np.empty((0, 2))], [np.empty(0)]
    for ring in shapely.get_rings(shapely.orient_polygons(shapely.get_parts(region))):
        xy = shapely.get_coordinates(ring)[:-1]
        ahead, back = np.roll(xy, -1, axis=0) - xy, xy - np.roll(xy, 1, axis=0)
        turn = np.arctan2(back[:, 0] * ahead[:, 1] - back[:, 1] * ahead[:, 0], (back * ahead).sum(axis=1))
        sharp = turn > _LEAST_TURN
        corners.append(xy[sharp])
        half.append((np.pi - turn[sharp]) / 2.0)
    return np.concatenate(corners), np.concatenate(half)
