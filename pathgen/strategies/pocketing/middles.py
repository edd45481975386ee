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
    walls = segments(shapely.get_parts(region.boundary))
    walls = walls[shapely.dwithin(near, walls, 2.0 * reach + 1.0)]
    points = shapely.get_coordinates(shapely.segmentize(walls, SAMPLE))
    points = np.unique(np.round(points, 7).view(complex)).view(float).reshape(-1, 2)
    if len(points) < 3:
        return np.empty(0, object)
    ways = shapely.linestrings(_voronoi_edges(points))
    ways = ways[shapely.dwithin(near, ways, reach)]
    inside = shapely.contains_properly(region, ways)
    # where no third wall stands near, a way goes on, past walls further off that are not looked at
    long = shapely.get_parts(overlay.intersection(
        ways[~inside & (shapely.length(ways) > reach)], overlay.buffer(near, reach)))
    ways = np.concatenate([ways[inside], long[shapely.contains_properly(region, long)]])
    return _led_into_corners(_merged(ways[_between_walls(ways, points, region)]), region)


def _voronoi_edges(points: Floats) -> Floats:
    """(m, 2, 2) the bounded edges of the Voronoi diagram of (n, 2) points.

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
    return np.asarray(ends[real])


def _centres(corners: Floats) -> Floats:
    """(n, 2) centres of the circles through three corners each, (n, 3, 2); rounded, so that points on one circle share
    theirs."""
    a, ab, ac = corners[:, 0], corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    d, e = (ab**2).sum(axis=1), (ac**2).sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        half = 0.5 / (ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0])
        out = np.stack([(ac[:, 1] * d - ab[:, 1] * e) * half, (ab[:, 0] * e - ac[:, 0] * d) * half], axis=1)
    return np.asarray(np.round(a + out, 8))


def segments(lines: Shapes) -> Shapes:
    """Every straight piece of the lines on its own; points that stand twice make none."""
    xy, index = shapely.get_coordinates(lines, return_index=True)
    same = (index[1:] == index[:-1]) & (xy[1:] != xy[:-1]).any(axis=1)
    return np.asarray(shapely.linestrings(np.stack([xy[:-1][same], xy[1:][same]], axis=1)))


def _between_walls(ways: Shapes, points: Floats, region: BaseGeometry) -> NDArray[np.bool_]:
    """Edges whose two nearest wall points are seen from the edge at more than a corner's least turn.

    The edge lies on the bisector of its two points, so its direction and its distance from one gives both.
    """
    if not len(ways):
        return np.zeros(0, bool)
    ends = shapely.get_coordinates(ways).reshape(-1, 2, 2)
    middle = ends.mean(axis=1)
    nearest = points[shapely.STRtree(shapely.points(points)).nearest(shapely.points(middle))]
    along = ends[:, 1] - ends[:, 0]
    along = along / np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-15)[:, None]
    to_wall = nearest - middle
    away = np.hypot(to_wall[:, 0], to_wall[:, 1])
    across = np.abs(along[:, 0] * to_wall[:, 1] - along[:, 1] * to_wall[:, 0])
    turn = 2.0 * np.arcsin(np.clip(across / np.maximum(away, 1e-15), 0.0, 1.0))
    true_distance = shapely.distance(shapely.boundary(region), shapely.points(middle))
    return np.asarray((turn > _LEAST_TURN) & (2.0 * across > 1.2 * SAMPLE) & (away < true_distance + SAMPLE))


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
    fits = (width[end] < 3.0 * SAMPLE) & (away < 1.5 * width[end] / np.sin(half[corner]) + SAMPLE)
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
