"""The middle line of a region: where a v cutter goes to sharpen corners and thin tips."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.arrays import Bools, Floats, Ints
from pathgen.strategies.pocketing.shapes import Shapes

SAMPLE = 0.05
"""Distance between the points along the walls that the middle line is found from, mm."""
_LEAST_TURN = np.radians(25.0)
"""Walls that meet at less than this from straight are a curve drawn in short lines, not a corner."""
_NEIGHBOURS = 1.2 * SAMPLE  # points along the walls that are no further apart (mm) are neighbours on one wall
_BESIDE = 1e-4  # how much further (mm) a way may lie from one of the two points that it is between than from the other
_LONGEST_EDGE = 0.5  # longer edges (mm) of the middle line are looked at in pieces
_LONGEST_TIP = 10.0
"""How far (mm) a line may end from the tip that it is led on to: in the thinnest the points along the walls are too
far apart for it."""


def middle_lines(regions: Shapes, near: Shapes, reach: float) -> tuple[Shapes, Ints]:
    """Lines of the medial axis of each region within `reach` of what is `near` there, merged from corner to fork, and
    which region each is of.

    Every edge of the Voronoi diagram of points along the boundary lies in the middle of two of them. Those
    between neighbours on one wall are left out; the rest are the middle line (Brandt and Algazi, 1992, show that
    it converges to the medial axis as the points close up). Lines that end in a tip are led on to its corner.
    """
    walls = shapely.boundary(regions)
    for shapes in (regions, near, walls):
        shapely.prepare(shapes)
    points, of = _along_walls(walls, near, reach)
    # points far away all round: an edge between two walls that nothing stands opposite has no end without them
    x0, y0, x1, y1 = (shapely.bounds(near) + (4.0 * reach + 2.0) * np.array([-1.0, -1.0, 1.0, 1.0])).T
    far = np.stack([x0, y0, x1, y0, x1, y1, x0, y1], axis=1).reshape(-1, 2)
    edges, between, of = _voronoi_edges(
        np.concatenate([points, far]), np.concatenate([of, np.repeat(np.arange(len(near)), 4)]))
    apart = np.hypot(*(between[:, 0] - between[:, 1]).T) > _NEIGHBOURS
    ways, between, of = shapely.linestrings(edges[apart]), between[apart], of[apart]
    # through a mouth a way goes on as one long edge, past walls further off: looked at piece by piece, as far as near
    long = shapely.length(ways) > _LONGEST_EDGE
    pieces = overlay.intersection(ways[long], overlay.buffer(near, reach)[of[long]])
    pieces, edge = segments(shapely.segmentize(pieces, _LONGEST_EDGE))
    ways, between, of = (np.concatenate([each[~long], more]) for each, more in (
        (ways, pieces), (between, between[long][edge]), (of, of[long][edge])))
    seen = np.flatnonzero(shapely.contains_properly(regions[of], ways))  # the quickest first
    seen = seen[_between_walls(ways[seen], between[seen], walls[of[seen]])]
    seen = seen[shapely.dwithin(near[of[seen]], ways[seen], reach)]
    seen = seen[np.argsort(of[seen], kind="stable")]
    lines, of = _merged(ways[seen], of[seen])
    for k in np.unique(of):
        lines[of == k] = _led_into_corners(lines[of == k], regions[k])
    return lines, of


def _along_walls(walls: Shapes, near: Shapes, reach: float) -> tuple[Floats, Ints]:
    """(n, 2) points along walls, none twice, as far as what is `near` asks for, and the wall that each is of."""
    lines, of = shapely.get_parts(walls, return_index=True)
    pieces, line = segments(lines)
    of = of[line]
    close = shapely.dwithin(near[of], pieces, 2.0 * reach + 1.0)
    points, piece = shapely.get_coordinates(shapely.segmentize(pieces[close], SAMPLE), return_index=True)
    points, of = np.round(points, 7), of[close][piece]
    order = np.lexsort((points[:, 1], points[:, 0], of))
    points, of = points[order], of[order]
    first = np.insert((points[1:] != points[:-1]).any(axis=1) | (of[1:] != of[:-1]), 0, True)[: len(of)]
    return points[first], of[first]


def _voronoi_edges(points: Floats, of: Ints) -> tuple[Floats, Floats, Ints]:
    """(m, 2, 2) the bounded edges of the Voronoi diagrams of (n, 2) points, (m, 2, 2) the points each is between, and
    the diagram that each is of, as the points are.

    Each joins the centres of the circles round two neighbours of the Delaunay triangulation, its dual: a tenth of the
    time that the engine takes to build the cells.
    """
    order = np.argsort(of, kind="stable")
    triangles = shapely.delaunay_triangles(shapely.multipoints(points[order], indices=of[order]))
    corners = shapely.get_coordinates(triangles).reshape(-1, 4, 2)[:, :3]
    of = np.repeat(np.arange(len(triangles)), shapely.get_num_geometries(triangles))
    # whole numbers for places and for sides, in the order of what they stand for: they are put in order faster
    x, y = (np.unique(corners[..., k], return_inverse=True)[1].reshape(-1, 3) for k in (0, 1))
    name = np.unique(x * len(points) + y, return_inverse=True)[1].reshape(-1, 3) + len(points) * of[:, None]
    sides = np.sort(np.stack([name, np.roll(name, -1, axis=1)], axis=2).reshape(-1, 2), axis=1)
    side = sides[:, 1] * (1 + name.max(initial=0)) + sides[:, 0]
    order = np.argsort(side, kind="stable")
    shared = np.flatnonzero(side[order[1:]] == side[order[:-1]])
    centre = _centres(corners)
    ends = np.stack([centre[order[shared] // 3], centre[order[shared + 1] // 3]], axis=1)
    real = np.isfinite(ends).all(axis=(1, 2)) & (ends[:, 0] != ends[:, 1]).any(axis=1)
    side = order[shared]
    between = np.stack([corners.reshape(-1, 2)[side], np.roll(corners, -1, axis=1).reshape(-1, 2)[side]], axis=1)
    return np.asarray(ends[real]), np.asarray(between[real]), of[side // 3][real]


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


def _between_walls(ways: Shapes, between: Floats, walls: Shapes) -> Bools:
    """Which (n,) straight ways see the two points that each is between, (n, 2, 2), at more than a corner's least turn.

    Where three points lie nearly in line the triangulation is not exact: a way that is not as far from both its points
    as from the nearest of its walls is none.
    """
    middle = shapely.get_coordinates(ways).reshape(-1, 2, 2).mean(axis=1)
    away = np.hypot(*np.moveaxis(between - middle[:, None], 2, 0))
    half = np.hypot(*(between[:, 0] - between[:, 1]).T) / 2.0
    seen = (half > np.sin(_LEAST_TURN / 2.0) * away[:, 0]) & (np.abs(away[:, 0] - away[:, 1]) < _BESIDE)
    seen[seen] = ~shapely.dwithin(walls[seen], shapely.points(middle[seen]), away[seen, 0] - SAMPLE)
    return np.asarray(seen)


def _merged(ways: Shapes, of: Ints) -> tuple[Shapes, Ints]:
    """Ways joined where two meet, those of each region by themselves, and which region each line is of."""
    regions, group = np.unique(of, return_inverse=True)
    lines, group = shapely.get_parts(
        shapely.line_merge(shapely.multilinestrings(ways, indices=group)), return_index=True)
    lengthy = shapely.length(lines) > 2.0 * SAMPLE
    return lines[lengthy], regions[group[lengthy]]


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
