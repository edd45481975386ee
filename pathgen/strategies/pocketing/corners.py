"""A v cutter along the middle line: corners and thin tips sharpened, the tip rising as the walls close in.

The axis follows the middles of the largest openings that fit between two walls: the medial axis of the region,
moved downhill by as much as each opening lies uphill of its axis. The tip is at every point as deep as the walls
allow, and never deeper than the pocket.
"""

from __future__ import annotations

import numpy as np
import shapely
from shapely import Polygon

from pathgen.base import overlay
from pathgen.base.arrays import Bools, Floats, Ints
from pathgen.base.surface import Surface
from pathgen.base.toolpath import simplified
from pathgen.strategies.pocketing.branches import Branch, trace_branches, with_ways_in
from pathgen.strategies.pocketing.middles import SAMPLE, middle_lines, segments
from pathgen.strategies.pocketing.openings import Opening
from pathgen.strategies.pocketing.places import GRAZE, layer_depths
from pathgen.strategies.pocketing.shapes import Shapes, polygons, whole, without_films
from pathgen.strategies.pocketing.tracing import Trace

_FILM = 0.01  # thickness under which nothing is worth sharpening, mm
_LINE = 0.001  # how far the path may lie from the middle line's points, mm
_TOGETHER = 1000.0  # how long the outlines are of parts that are looked at together, mm: more would need much memory
_DOT = 0.01  # length of the line that opens a dot, mm
_TURN = 0.2  # a line that turns by more (radians) opens the whole disc there: two chords of it would lie too far inside
_STEEPER = 0.05  # by how much a surface may be steeper somewhere under an opening than at its axis
_LEAST = 0.1  # of a flank's slope, what the surface is taken to be less steep by at least
_HAIR = 3e-4  # how much narrower than the walls are apart the opening is on either side, mm: chords may lie deeper
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
    owner: list[int] = []
    uncut = np.flatnonzero(necks | (~shapely.is_empty(left) & (shapely.area(left) >= trace.options.smallest / 4.0)))
    for some in np.split(uncut, np.flatnonzero(np.diff(np.cumsum(shapely.length(parts[uncut])) // _TOGETHER)) + 1):
        region, plane = parts[some], one.in_plane(parts[some])
        lines, of = _lines(one, region, plane, left[some], np.where(necks, axis, np.array(None))[some], before[some])
        along = _opened_along(one, lines, of, len(some))
        dots, dot_of = _dots(one, region, plane, left[some], along, trace.options.smallest)
        more = _opened_along(one, dots, dot_of, len(some))
        for k in np.union1d(of, dot_of):
            after[some[k]] = overlay.intersection(overlay.union_all([opened[some[k]], along[k], more[k]]), region[k])
        lines, of = lines + dots, np.concatenate([of, dot_of])
        air = _in_air(one, lines, before[some[of]], swept[some[of]])
        branches += [Branch(line=lines[k], open=air[k]) for k in np.argsort(of, kind="stable")]
        owner += some[np.sort(of)].tolist()
    layers, slope = layer_depths(one.cutter, one.depth, trace.options.ridges), one.cutter.wall_slope
    if not trace.plunges:
        kept = with_ways_in(branches, layers, trace, slope)
        along = _opened_along(one, [branches[k].line for k in kept], np.array(owner, np.intp)[kept], len(parts))
        for k in {owner[k] for k in set(range(len(branches))) - set(kept)}:
            after[k] = overlay.intersection(overlay.union(opened[k], along[k]), parts[k])
        branches = [branches[k] for k in kept]
    trace_branches(branches, layers, trace, slope)
    return after


def _euler(shapes: Shapes) -> Ints:
    """(n,) the parts of each less its holes: it grows where a shape comes apart, or a ring is cut."""
    parts, owner = shapely.get_parts(shapes, return_index=True)
    return np.bincount(owner, 1 - shapely.get_num_interior_rings(parts), len(shapes)).astype(np.intp)


def _stands(one: Opening, line: Floats, swept: Shapes) -> Floats:
    """(n,) how high over tips at (n, 3) places and depths the flank leaves wood, once the tip was all over `swept`."""
    away = shapely.distance(swept, shapely.points(line[:, :2]))
    return np.asarray(line[:, 2] - one.depth + one.cutter.wall_slope * away)


def _in_air(one: Opening, lines: list[Floats], before: Shapes, swept: Shapes) -> Bools:
    """(n, 2) whether the cutter goes down through air, or hardly any wood, at the ends of n lines."""
    ends = np.array([line[end] for line in lines for end in (0, -1)]).reshape(-1, 3)
    before, swept, places = np.repeat(before, 2), np.repeat(swept, 2), shapely.points(ends[:, :2])
    bored = _opened_already(one, ends, before)
    air = bored | shapely.dwithin(swept, places, GRAZE) | (_stands(one, ends, swept) < _STANDS)
    return np.asarray(air).reshape(-1, 2)


def _opened_already(one: Opening, tips: Floats, before: Shapes) -> Bools:
    """(n,) whether what the cutter opens with its tip at (n, 3) places and depths was opened down to the floor."""
    places = shapely.points(tips[:, :2])
    bores = overlay.buffer(places, np.maximum(tips[:, 2] / one.cutter.wall_slope - GRAZE, 0.0), quad_segs=6)
    return np.asarray(shapely.covers(before, bores) & shapely.covers(before, places))


def _lines(
    one: Opening, region: Shapes, plane: Shapes, left: Shapes, axis: Shapes, before: Shapes
) -> tuple[list[Floats], Ints]:
    """(n, 3) lines of axis and depth (x, y, depth) that open what is left of each region, deep end first, and which
    region each is of.

    `plane` is the regions in the plane of openings; where `axis` is given, of a region that has necks, also lines that
    go through them, but where earlier cutters have been down to the floor, `before`.
    """
    near, necks = left.copy(), shapely.is_geometry(axis)
    near[necks] = overlay.union(left[necks], overlay.difference(region[necks], axis[necks]))
    lines, of = middle_lines(plane, one.in_plane(near), one.half_width + SAMPLE)
    return _cut_along(one, lines, of, region, plane, left, axis, before)


def _dots(
    one: Opening, region: Shapes, plane: Shapes, left: Shapes, along: Shapes, smallest: float
) -> tuple[list[Floats], Ints]:
    """As `_lines`, of next to no length, for what those open nothing of (they open `along`): the middle of what is
    round is a point, and behind a narrow mouth, which is hardly seen from there, no line leads on to it. The film that
    chords leave all along a curved wall is none of it."""
    rest, of = shapely.get_parts(overlay.difference(left, along), return_index=True)
    rest, piece = shapely.get_parts(without_films(rest, _FILM), return_index=True)
    large = shapely.area(rest) >= smallest / np.where(shapely.is_empty(along), 4.0, 1.0)[of[piece]]
    rest, of = rest[large], of[piece[large]]
    if not len(rest):
        return [], of
    near = overlay.intersection(region[of], overlay.buffer(rest, one.half_width))
    # where the edge of a lobe only touches what is near, they share a line or a point as well
    around = one.in_plane(np.array([whole(polygons(shape)) for shape in near], dtype=object))
    centre = shapely.get_coordinates(shapely.get_point(shapely.maximum_inscribed_circle(around, tolerance=_LINE), 0))
    none = np.full(len(of), None)
    middles = shapely.linestrings(np.stack([centre, centre + [_DOT, 0.0]], axis=1))
    dots, which = _cut_along(one, middles, np.arange(len(of)), region[of], plane[of], rest, none, none)
    gained = shapely.area(overlay.intersection(rest, _opened_along(one, dots, which, len(of)))) >= smallest / 4.0
    return [dot for dot, k in zip(dots, which, strict=True) if gained[k]], of[which[gained[which]]]


def _cut_along(
    one: Opening, lines: Shapes, of: Ints, region: Shapes, plane: Shapes, left: Shapes, axis: Shapes, before: Shapes
) -> tuple[list[Floats], Ints]:
    """The stretches of lines in the plane of openings, (n, 3) each, along which the cutter takes some of what is left,
    and the region that each is of: as each of the lines is `of` one."""
    if not len(lines):
        return [], of
    points, line = shapely.get_coordinates(shapely.segmentize(lines, SAMPLE), return_index=True)
    owner = of[line]
    width = shapely.distance(shapely.boundary(plane)[owner], shapely.points(points))
    deep = _axis_and_depth(one, one.out_of_plane(points), width, region, owner)
    shapely.prepare(left)
    cuts = shapely.dwithin(left[owner], shapely.points(deep[:, :2]), deep[:, 2] / one.cutter.wall_slope + SAMPLE)
    neck = np.flatnonzero(shapely.is_geometry(axis)[owner] & ~cuts)
    stands = neck[_stands(one, deep[neck], axis[owner[neck]]) > _STANDS]
    cuts[stands[~_opened_already(one, deep[stands], before[owner[stands]])]] = True
    cuts &= deep[:, 2] > 0.0
    return _useful(deep, cuts, line, owner)


def _useful(lines: Floats, cuts: Bools, line: Ints, owner: Ints) -> tuple[list[Floats], Ints]:
    """The stretches of lines that cut something, a point more on each side, from the deep end, in fewer points; and
    the owner of each. All points of all lines are given in turn, the line of each and its owner."""
    apart = np.diff(line, prepend=-1, append=-1) != 0  # before each point, and after the last
    grown = cuts | np.append(cuts[1:] & ~apart[1:-1], False) | np.insert(cuts[:-1] & ~apart[1:-1], 0, False)
    goes_on = np.concatenate([[False], grown[1:] & grown[:-1], [False]]) & ~apart
    begins, ends = np.flatnonzero(grown & ~goes_on[:-1]), np.flatnonzero(grown & ~goes_on[1:]) + 1
    begins, ends = begins[ends - begins >= 2], ends[ends - begins >= 2]
    if not len(begins):
        return [], begins
    points = np.concatenate([lines[a:b] if lines[a, 2] >= lines[b - 1, 2] else lines[a:b][::-1]
                             for a, b in zip(begins, ends, strict=True)])
    first = np.cumsum(ends - begins)
    fewer = simplified(points, _LINE, np.append(0, first[:-1]))
    return np.split(points[fewer], np.searchsorted(fewer, first[:-1])), owner[begins]


def _axis_and_depth(one: Opening, middles: Floats, width: Floats, regions: Shapes, owner: Ints) -> Floats:
    """(n, 3): the axis and the depth of the v cutter whose opening has its middle at each point and just fits in the
    region that owns it.

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
    return np.column_stack([axis, np.minimum(depth, _deepest(one, axis, regions, owner))])


def _gradient(surface: Surface, points: Floats) -> Floats:
    normal = surface.normal(points[:, 0], points[:, 1])
    return -normal[:, :2] / normal[:, 2:]


def _deepest(one: Opening, axis: Floats, regions: Shapes, owner: Ints) -> Floats:
    """How deep the tip may go at each axis so that the flank meets the surface nowhere outside the region it is in.

    The flank meets the surface at q when the tip is S(axis) - S(q) + w |q - axis| below it: the least of that over
    the wall, edge by edge. On an edge whose line passes h from the axis, on a plane of gradient g along it, the least
    is h g / sqrt(w^2 - g^2) past the foot of the perpendicular: where the derivative is 0.
    """
    surface, slope = one.surface, one.cutter.wall_slope
    rings, ring_of = shapely.get_rings(regions, return_index=True)
    edges, ring = segments(rings)
    ends, places = shapely.get_coordinates(edges).reshape(-1, 2, 2), shapely.points(axis)
    nearest = shapely.distance(shapely.boundary(regions)[owner], places)
    # what is further off lies too far even where the surface falls away to there as steeply as it can
    steepest = np.hypot(*_gradient(surface, axis).T) + _STEEPER
    far = (slope + steepest) / np.maximum(slope - steepest, _LEAST * slope)
    k, q = shapely.STRtree(edges).query(places, predicate="dwithin", distance=far * nearest + _HAIR)
    own = ring_of[ring[q]] == owner[k]
    k, q = k[own], q[own]
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


def _opened_along(one: Opening, lines: list[Floats], of: Ints, count: int) -> Shapes:
    """(count,) what a v cutter opens along lines of axis and depth, put together by what each is `of`.

    That is the hulls of the discs at each two neighbours. Of a disc inside a line only those of its points are taken
    where the hulls on either side touch it: others lie within these, except where the line turns sharply.
    """
    out = np.full(count, Polygon(), dtype=object)
    if not lines:
        return out
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
    opened, owner = np.concatenate([hulls, discs]), np.repeat(of, np.diff(first))[np.concatenate([a, whole_discs])]
    for k in np.unique(of):
        out[k] = overlay.union_all(polygons(opened[owner == k]))
    return out
