"""Where round an outline a tab would stand whole, and what it holds on to would stay."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import LinearRing, Polygon

from pathgen.base import overlay
from pathgen.base.arrays import Bools, Bounds, Floats, Ints
from pathgen.strategies.cutting_line import places_on

LEAST_WASTE = 2.0
"""Wood that must stand outside the groove for a tab to hold on to, mm (common practice, no source)."""
_SLACK, _OFF, _ENDS = 0.02, 0.05, 0.15
"""What another wall's way may take of a tab; how far places may lie off; what each end may be narrower, mm."""
_STRAIGHT = 0.9
"""Of the way along a tab and the cutter beside it, how far apart its ends lie at least: no tab stands on a corner."""
_EVERY, _LEDGE = 0.5, 1.5
"""Places tried along the ends of a tab, mm; in the cutter's radii, as far from where it stands as its foot may be."""
_SPACINGS = 40  # tried from tab to tab, the widest first


def holding(places: Floats, *, outline: Polygon, ring: LinearRing, width: float, radius: float, slopes: float) -> Bools:
    """(n,) whether a tab so wide at each of some places on the outline would be left by the cutter's way, its `ring`.

    The half of it must stand from the wall to waste that is as wide as must be, up to what lies round the part; its
    ends, `slopes` mm along, must hang together with it, and none may stand round a corner.
    """
    out, half = 2.0 * radius + LEAST_WASTE / 2.0, width / 2.0 + radius
    if ring.length < 2.0 * half:
        return np.zeros(len(places), bool)
    part = Polygon(outline.exterior)
    middle = overlay.buffer(part, radius, quad_segs=64).exterior  # of the groove: round corners that the way has
    open_to = overlay.buffer(part, out, quad_segs=64).exterior
    at = shapely.line_locate_point(ring, shapely.points(places))
    away = shapely.get_coordinates(shapely.line_interpolate_point(ring, at)) - places
    far = np.linalg.norm(away, axis=1, keepdims=True)
    outward = away / np.maximum(far, 1e-9)
    good = np.abs(far[:, 0] - radius) < _OFF
    good &= shapely.distance(shapely.points(places + out * outward), open_to) < _OFF
    inner, slopes = max(width / 2.0 - _ENDS, 0.0), min(slopes, ring.length / 2.0 - half)
    beside = half + slopes + out + radius  # what lies further off takes nothing of a tab
    for k in np.flatnonzero(good).tolist():
        aside = outward[k, ::-1] * [-1.0, 1.0] * width / 4.0
        ways = places[k] + np.array([[side * aside, side * aside + out * outward[k]] for side in (-1, 0, 1)])
        along = shapely.line_locate_point(middle, shapely.points(places[k])) + [-inner, inner]
        stands = shapely.GeometryCollection([*shapely.linestrings(ways), _along(middle, *along.tolist())])
        x, y = places[k].tolist()
        near = (x - beside, y - beside, x + beside, y + beside)
        low = shapely.clip_by_rect(_along(ring, at[k] + half, at[k] - half + ring.length), *near)
        good[k] = not shapely.dwithin(low, stands, radius - _SLACK) and _whole(ring, at[k], half + slopes, radius, near)
    return good


def _whole(ring: LinearRing, at: float, ends: float, radius: float, near: Bounds) -> bool:
    """Whether what stands in the groove beside a tab, whose ends come down so far off, is one piece with it. The cutter
    elsewhere on its way may take all of an end but a ledge at the foot of the wall."""
    way = shapely.points(shapely.get_coordinates(shapely.segmentize(_along(ring, at - ends, at + ends), _EVERY)))
    low = shapely.clip_by_rect(_along(ring, at + ends, at - ends + ring.length), *near)
    shapely.prepare(low)
    stands = ~shapely.dwithin(low, way, radius - _SLACK)
    beside = _LEDGE * radius + _EVERY
    return bool(np.count_nonzero(np.diff(stands.astype(int)) > 0) == 1
                and np.all(shapely.dwithin(way, shapely.multipoints(way[stands]), beside)))


def all_round(outline: Polygon, ring: LinearRing, *, every: float, takes: float) -> tuple[Floats, Floats]:
    """(n, 2) places along the whole outline but for its corners, and (n,) how far along the ring."""
    wall = outline.exterior
    along = np.arange(0.0, wall.length, every)
    places, before, after = (places_on(wall, along + aside) for aside in (0.0, -takes / 2, takes / 2))
    places = places[np.linalg.norm(after - before, axis=1) > _STRAIGHT * takes]
    return places, shapely.line_locate_point(ring, shapely.points(places))


def round_a_ring(stations: Floats, count: int, *, around: float, least: float) -> Ints:
    """Which of some stations, `count` of them, spread as far as may be; as many as fit where there is not room for all.
    They stand `least` apart or more, the last from the first too."""
    order, most = np.argsort(stations), np.empty(0, np.int64)
    sorted_ = stations[order]
    for spacing in np.linspace(max(around / count, least), least, _SPACINGS):
        for first in range(len(order)):
            found = [first]
            while (following := int(np.searchsorted(sorted_, sorted_[found[-1]] + spacing - 1e-9))) < len(order):
                if sorted_[following] > sorted_[first] + around - spacing + 1e-9 or len(found) == count:
                    break
                found.append(following)
            if len(found) > len(most):
                most = order[found]
        if len(most) == count:
            break
    return most


def _along(ring: LinearRing, start: float, end: float) -> shapely.LineString:
    """The part of a ring between two stations, which may lie past its ends."""
    corners = shapely.get_coordinates(ring)
    own = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(corners, axis=0), axis=1))])
    stations = np.concatenate([own[:-1] + lap * ring.length for lap in (-1, 0, 1)])
    inside = np.concatenate([[start], stations[(stations > start) & (stations < end)], [end]]) % ring.length
    return shapely.LineString(np.column_stack([np.interp(inside, own, axis) for axis in corners.T]))
