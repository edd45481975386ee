"""A v cutter along the middle line: corners and thin tips sharpened, the tip rising as the walls close in.

The axis follows the middles of the largest openings that fit between two walls: the medial axis of the region,
moved downhill by as much as each opening lies uphill of its axis. The tip is at every point as deep as the walls
allow, and never deeper than the pocket.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.surface import Surface
from pathgen.base.toolpath import simplified
from pathgen.strategies.pocketing.branches import Branch, trace_branches
from pathgen.strategies.pocketing.middles import SAMPLE, middle_line, segments
from pathgen.strategies.pocketing.openings import Opening, Shapes, polygons, whole, without_films
from pathgen.strategies.pocketing.places import GRAZE, layer_depths
from pathgen.strategies.pocketing.tracing import Trace

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

_FILM = 0.01
"""Thickness under which nothing is worth sharpening, mm."""

_LINE = 0.001
"""How far the path may lie from the middle line's points, mm."""

_DOT = 0.01
"""Length of the line that opens a dot, mm."""

_TURN = 0.2
"""A line that turns by more (radians) opens the whole disc there: two chords of it would lie too far inside."""

_HAIR = 3e-4
"""How much narrower than the walls are apart the opening is on either side, mm: chords may lie deeper."""

_STANDS = 0.05
"""How high wood may stand in a neck over where the tip could go, mm: what a tip meets there is as good as air."""


def sharpened(
    one: Opening, parts: Shapes, opened: Shapes, before: Shapes, axis: Shapes, swept: Shapes, trace: Trace
) -> Shapes:
    """Trace the v cutter through what is not yet `opened` of `parts`; returns what is opened then, part by part.

    `before` is what earlier cutters have opened down to the floor, `axis` where the v cutter's own tip may go at full
    depth and `swept` where it has been: there it goes down in air. A neck that keeps the tip up is opened from both
    sides, though less deep than its walls allow: the middle line through it is traced too.
    """
    after = np.array(opened, dtype=object)
    # what is thinner than this was left by the chords along curved walls, not by a corner
    left = without_films(overlay.difference(parts, opened), _FILM)
    necks = ~shapely.is_empty(axis) & (_euler(axis) > _euler(parts))
    branches: list[Branch] = []
    for k in np.flatnonzero(necks | (shapely.area(left) >= trace.options.smallest / 4.0)):
        lines = _lines(one, parts[k], left[k], axis[k] if necks[k] else None)
        along = overlay.union_all(_opened_along(one, lines)) if lines else Polygon()
        dots = _dots(one, parts[k], left[k], along, trace.options.smallest)
        if lines or dots:
            after[k] = overlay.union_all([opened[k], along, *(_opened_along(one, dots) if dots else ())])
            after[k] = overlay.intersection(after[k], parts[k])
            for line in lines + dots:
                ends = line[[0, -1]]
                air = _in_air(one, ends, before[k], swept[k]) | (_stands(one, ends, swept[k]) < _STANDS)
                branches.append(Branch(line=line, open=air))
    trace_branches(branches, layer_depths(one.cutter, one.depth), trace, one.cutter.wall_slope)
    return after


def _euler(shapes: Shapes) -> Ints:
    """(n,) the parts of each less its holes: it grows where a shape comes apart, or a ring is cut."""
    parts, owner = shapely.get_parts(shapes, return_index=True)
    return np.bincount(owner, 1 - shapely.get_num_interior_rings(parts), len(shapes)).astype(np.intp)


def _stands(one: Opening, line: Floats, swept: BaseGeometry) -> Floats:
    """(n,) how high over tips at (n, 3) places and depths the flank leaves wood, once the tip was all over `swept`."""
    away = shapely.distance(swept, shapely.points(line[:, :2]))
    return np.asarray(line[:, 2] - one.depth + one.cutter.wall_slope * away)


def _in_air(one: Opening, ends: Floats, before: BaseGeometry, swept: BaseGeometry) -> NDArray[np.bool_]:
    """Whether the cutter goes down through air at (n, 3) places and depths."""
    places = shapely.points(ends[:, :2])
    bores = overlay.buffer(places, np.maximum(ends[:, 2] / one.cutter.wall_slope - GRAZE, 0.0), quad_segs=6)
    bored = shapely.covers(before, bores) & shapely.covers(before, places)
    return np.asarray(bored | shapely.dwithin(swept, places, GRAZE))


def _lines(one: Opening, region: BaseGeometry, left: BaseGeometry, axis: BaseGeometry | None) -> list[Floats]:
    """(n, 3) lines of axis and depth (x, y, depth) that open what is left of one part, deep end first.

    With the `axis` of a part that has necks also those that go through them.
    """
    reach = one.half_width + SAMPLE
    near = left if axis is None else overlay.union(left, overlay.difference(region, axis))
    plane_region, plane_near = one.in_plane(np.array([region, near], dtype=object))
    lines = middle_line(plane_region, plane_near, reach)
    return _cut_along(one, lines, region, plane_region, left, axis) if len(lines) else []


def _dots(
    one: Opening, region: BaseGeometry, left: BaseGeometry, along: BaseGeometry, smallest: float
) -> list[Floats]:
    """As `_lines`, of next to no length, for what those open nothing of (they open `along`): the middle of what is
    round is a point, and behind a narrow mouth, which is hardly seen from there, no line leads on to it. The film that
    chords leave all along a curved wall is none of it."""
    pieces = polygons(without_films(shapely.get_parts(overlay.difference(left, along)), _FILM))
    pieces = pieces[shapely.area(pieces) >= smallest / (4.0 if along.is_empty else 1.0)]
    if not len(pieces):
        return []
    rest = whole(pieces)
    around = one.in_plane(overlay.intersection(region, overlay.buffer(pieces, one.half_width)))
    plane_region = one.in_plane(np.array([region], dtype=object))[0]
    centre = shapely.get_coordinates(shapely.get_point(shapely.maximum_inscribed_circle(around, tolerance=_LINE), 0))
    dots = shapely.linestrings(np.stack([centre, centre + [_DOT, 0.0]], axis=1))
    return [dot for dot in _cut_along(one, dots, region, plane_region, rest, None)
            if shapely.area(overlay.intersection(rest, overlay.union_all(_opened_along(one, [dot])))) >= smallest / 4.0]


def _cut_along(
    one: Opening, lines: Shapes, region: BaseGeometry, plane_region: BaseGeometry, left: BaseGeometry,
    axis: BaseGeometry | None,
) -> list[Floats]:
    """The stretches of lines in the plane of openings, (n, 3) each, along which the cutter takes some of what is left.
    """
    points, owner = shapely.get_coordinates(shapely.segmentize(lines, SAMPLE), return_index=True)
    width = shapely.distance(shapely.boundary(plane_region), shapely.points(points))
    deep = _axis_and_depth(one, one.out_of_plane(points), width, region)
    shapely.prepare(left)
    cuts = shapely.dwithin(left, shapely.points(deep[:, :2]), deep[:, 2] / one.cutter.wall_slope + SAMPLE)
    if axis is not None:
        cuts |= _stands(one, deep, axis) > _STANDS
    cuts &= deep[:, 2] > 0.0
    return _useful(deep, cuts, owner)


def _useful(lines: Floats, cuts: NDArray[np.bool_], owner: Ints) -> list[Floats]:
    """The stretches of lines that cut something, a point more on each side, from the deep end, in fewer points.

    All points of all lines are given, in turn, and the line that `owner` says each is of.
    """
    apart = np.diff(owner, prepend=-1, append=-1) != 0  # before each point, and after the last
    grown = cuts | np.append(cuts[1:] & ~apart[1:-1], False) | np.insert(cuts[:-1] & ~apart[1:-1], 0, False)
    goes_on = np.concatenate([[False], grown[1:] & grown[:-1], [False]]) & ~apart
    begins, ends = np.flatnonzero(grown & ~goes_on[:-1]), np.flatnonzero(grown & ~goes_on[1:]) + 1
    longer = ends - begins >= 2
    pieces = [lines[a:b] if lines[a, 2] >= lines[b - 1, 2] else lines[a:b][::-1]
              for a, b in zip(begins[longer], ends[longer], strict=True)]
    if not pieces:
        return []
    first = np.cumsum([0] + [len(piece) for piece in pieces])
    points = np.concatenate(pieces)
    fewer = simplified(points, _LINE, first[:-1])
    return np.split(points[fewer], np.searchsorted(fewer, first[1:-1]))


def _axis_and_depth(one: Opening, middles: Floats, width: Floats, region: BaseGeometry) -> Floats:
    """(n, 3): the axis and the depth of the v cutter whose opening has its middle at each point and just fits.

    `width` is how far the walls are from each middle across the slope, and along it in the plane of openings.

    On a slope g the opening of a v with flank slope w is an ellipse with the axis in one focus: depth / w
    across the slope is its half parameter p, e = g / w its eccentricity, its middle p e / (1 - e^2) uphill and its
    half-width across p / sqrt(1 - e^2).
    """
    surface, slope = one.surface, one.cutter.wall_slope
    gradient = _gradient(surface, middles)
    e2 = (gradient**2).sum(axis=1) / slope**2
    depth = np.minimum(width * slope * np.sqrt(1.0 - e2), one.depth)
    axis = middles - gradient * (depth / slope**2 / (1.0 - e2))[:, None]
    return np.column_stack([axis, np.minimum(depth, _deepest(one, axis, region))])


def _gradient(surface: Surface, points: Floats) -> Floats:
    normal = surface.normal(points[:, 0], points[:, 1])
    return -normal[:, :2] / normal[:, 2:]


def _deepest(one: Opening, axis: Floats, region: BaseGeometry) -> Floats:
    """How deep the tip may go at each axis so that the flank meets the surface nowhere outside the region.

    The flank meets the surface at q when the tip is S(axis) - S(q) + w |q - axis| below it: the least of that over
    the wall, edge by edge. On an edge whose line passes h from the axis, on a plane of gradient g along it, the least
    is h g / sqrt(w^2 - g^2) past the foot of the perpendicular: where the derivative is 0.
    """
    surface, slope = one.surface, one.cutter.wall_slope
    edges, _ = segments(shapely.get_rings(shapely.get_parts(region)))
    ends = shapely.get_coordinates(edges).reshape(-1, 2, 2)
    nearest = shapely.distance(shapely.boundary(region), shapely.points(axis))
    k, q = shapely.STRtree(edges).query(shapely.points(axis), predicate="dwithin", distance=1.3 * nearest + SAMPLE)
    start, run = ends[q, 0], ends[q, 1] - ends[q, 0]
    length = np.maximum(np.hypot(*run.T), 1e-12)
    along = run / length[:, None]
    to_axis = axis[k] - start
    foot = (to_axis * along).sum(axis=1)
    away = np.abs(along[:, 0] * to_axis[:, 1] - along[:, 1] * to_axis[:, 0])
    climb = (_gradient(surface, start + np.clip(foot, 0.0, length)[:, None] * along) * along).sum(axis=1)
    place = np.clip(foot + away * climb / np.sqrt(slope**2 - climb**2), 0.0, length)
    at = start + place[:, None] * along
    drop = surface.height(*axis[k].T) - surface.height(*at.T)
    deepest = np.full(len(axis), np.inf)
    np.minimum.at(deepest, k, slope * (np.hypot(*(at - axis[k]).T) - _HAIR) + drop)
    return np.clip(deepest, 0.0, one.depth)


def _opened_along(one: Opening, lines: list[Floats]) -> Shapes:
    """What a v cutter opens along lines of axis and depth.

    That is the hulls of the discs at each two neighbours. Of a disc inside a line only those of its points are taken
    where the hulls on either side touch it: others lie within these, except where the line turns sharply.
    """
    line = np.concatenate(lines)
    first = np.cumsum([0] + [len(each) for each in lines])
    gradient = _gradient(one.surface, line[:, :2])
    e2 = (gradient**2).sum(axis=1) / one.cutter.wall_slope**2
    depth = line[:, 2:] / one.cutter.wall_slope
    middle = line[:, :2] + gradient * depth / one.cutter.wall_slope / (1.0 - e2)[:, None]
    radius = depth / np.sqrt(1.0 - e2)[:, None]
    a = np.delete(np.arange(len(line) - 1), first[1:-1] - 1)
    way = middle[a + 1] - middle[a]
    length = np.maximum(np.hypot(*way.T), 1e-12)[:, None]
    lean = np.clip((radius[a] - radius[a + 1]) / length, -1.0, 1.0)
    across = np.sqrt(1.0 - lean**2) * np.column_stack([-way[:, 1], way[:, 0]]) / length
    here = np.stack([lean * way / length + across, lean * way / length - across])  # out to where the hull touches
    following = np.append(np.where(np.diff(a) == 1, np.arange(1, len(a)), np.arange(len(a) - 1)), len(a) - 1)
    after = here[:, following]
    halfway = (here + after) / np.maximum(np.linalg.norm(here + after, axis=2, keepdims=True), 1e-12)
    corners = [middle[a] + radius[a] * here, *(middle[a + 1] + radius[a + 1] * out for out in (here, halfway, after))]
    hulls = shapely.convex_hull(shapely.multipoints(np.concatenate(corners).swapaxes(0, 1)))
    turns = a[(here * after).sum(axis=2).min(axis=0) < np.cos(_TURN)] + 1
    whole_discs = np.unique(np.concatenate([first[:-1], first[1:] - 1, turns]))
    discs = overlay.buffer(shapely.points(middle[whole_discs]), radius[whole_discs, 0], quad_segs=16)
    return polygons(np.concatenate([hulls, discs]))
