"""Tabs that hold what is cut out: where they stand whole, and whether what they hold on to stays."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
import shapely
from shapely import LinearRing, Polygon

from pathgen.base import overlay
from pathgen.base.arrays import Bools, Bounds, Floats, Ints
from pathgen.base.cutters import Cutter
from pathgen.base.errors import PathgenError
from pathgen.base.memory import remembered
from pathgen.base.units import place_words, rounded_up
from pathgen.strategies.cutting_line import cutting_line, places_on

_EVERY = 1.0  # spacing of the places tried for a tab, mm
_FINER = 5  # as many times as fine, for a notch as narrow as the cutter
_SPACINGS = 30  # tried from tab to tab where they stand close, the widest first
TAB_SLOPE = 0.5
"""Rise over run of a tab's ends (common practice: a slope that the cutter climbs, no source)."""
_UPRIGHT = 100.0  # rise over run of ends that have no room to slope
SAWN = 1 / 3  # of an outline: more tabs hold no better, and are much to saw (common practice, no source)
BETWEEN = 2.0
"""What is cut through between the ends of two tabs, mm."""
LEAST_WASTE = 2.0
"""Wood that must stand outside the groove for a tab to hold on to, mm (common practice, no source)."""
_SLACK, _OFF, _ENDS = 0.02, 0.05, 0.15
"""What another wall's way may take of a tab; how far places may lie off; what each end may be narrower, mm."""
_STRAIGHT = 0.9
"""Of the way along a tab and the cutter beside it, how far apart its ends lie at least: no tab stands on a corner."""
_BESIDE, _LEDGE = 0.5, 1.5
"""Places tried along the ends of a tab, mm; in the cutter's radii, as far from where it stands as its foot may be."""
_SECTIONS, _TAIL = 200, 2.0
"""Sections across a part to see how wide it is; a part so many times as wide as elsewhere has a tail."""
_ROUND = 40  # spacings tried from tab to tab all round, the widest first


@dataclass(frozen=True, eq=False)
class Tabs:
    """Wood left standing beside an outline: `at`, (n, 2) points on it; how high and how wide each is, mm.

    So wide it is at its narrowest, in the middle of the groove, where a round cutter comes nearest from both sides; at
    the wall it is wider by the cutter's diameter.
    """

    at: Floats
    height: float
    width: float


def tab_slope(at: Floats, around: float, height: float, half: float) -> float:
    """Rise over run of the ends of tabs (n,) so far along an outline: steeper where they stand so near that their ends
    would meet. They rise by `height` and are level within `half` of their middles."""
    free = float(np.diff(at, append=at[0] + around).min()) - 2 * half - BETWEEN
    return min(max(TAB_SLOPE, 2 * height / free), _UPRIGHT) if free > 0 else _UPRIGHT


def left_to_the_saw(tabs: Tabs, outline: Polygon, cutter: Cutter, through: float) -> float:
    """How long each of some tabs is in the middle of the groove, with its ends, mm; the cutter goes `through` the
    underside by so much."""
    ring = cutting_line(outline, cutter)
    at = np.sort(shapely.line_locate_point(ring, shapely.points(tabs.at)))
    return tabs.width + 2 * tabs.height / tab_slope(
        at, ring.length, tabs.height + through, tabs.width / 2 + cutter.radius)


@remembered
def tab_points(
    outline: Polygon, count: int, *, avoid: Floats, width: float, cutter: Cutter, where: str, rise: float = 0.0,
    inlays: shapely.Geometry | None = None, all_round_in: Bounds | None = None,
) -> Floats:
    """(count, 2) points on the long edges for tabs: spread evenly, by area on a part with a tail, clear of (m, 2)
    points `avoid`.

    Half of the tabs stand on each edge, where a saw can reach them: not on the ends, not in corners, not where a
    slot opens, not beside an inlay. `width` is that of a tab, and `rise` its height above where the cutter goes beside
    it. Where no place is clear, the clearest is taken. Where the cutter's way round another wall would take one away
    again, they stand anywhere along the outline; and where the long edges have no room for all, if a blank's bounds
    `all_round_in` are given, wherever it holds them. Raises PathgenError for more tabs than there is room for.
    """
    if not count:
        return np.empty((0, 2))
    takes = width + cutter.diameter
    edges = _long_edges(outline, takes, cutter.radius)
    room = _on_both(edges, takes + BETWEEN) >= count
    if not room and all_round_in is None:
        _refuse_too_many(outline, edges, count, takes, where, cutter.diameter)
    ring = cutting_line(outline, cutter)
    holds = partial(holding, outline=outline, ring=ring, width=width, radius=cutter.radius, slopes=rise / TAB_SLOPE)
    chosen = _spread(edges, outline, count, takes, avoid, inlays) if room else np.empty((0, 2))
    if room and (good := holds(chosen)).all():
        return chosen
    edges = [places[holds(places)] for places in edges]
    most = _on_both(edges, takes + BETWEEN)
    if most >= count:
        return _spread(edges, outline, count, takes, avoid, inlays)
    places, stations = _all_round(outline, ring, takes)
    kept = holds(places)
    if all_round_in is not None:
        kept &= _waste(places, outline, all_round_in, width)[0] >= cutter.diameter + LEAST_WASTE
    places, stations = places[kept], stations[kept]
    clear = _clearance(places, avoid, inlays) >= takes / 2
    for among in (clear, np.ones_like(clear)):
        found = round_a_ring(stations[among], count, around=ring.length, least=takes + BETWEEN)
        if len(found) == count:
            return np.asarray(places[among][found])
    most = max(most, len(found))
    why = (f"the cutter, on its way round a wall near by, takes away again a tab at "
           f"{place_words(*chosen[int(np.argmin(good))].tolist())}, or what it holds on to, and too few places along "
           "the outline hold one") if room else (
           f"each takes {takes:.2f} mm of the outline (the tab, and the cutter beside it) where that hardly turns, "
           f"with {BETWEEN:g} mm between two, and clear of the cutter's way round other walls")
    raise PathgenError(
        where, f"{count} tabs do not fit: {why}", allowed=f"{f'{most} tabs or fewer' if most else 'no tabs'}, each "
        f"{width:g} mm wide, with a cutter of {cutter.diameter:g} mm",
        remedy=", or ".join(["make tabs fewer"] * (most > 0) + ["make tab_width smaller"] * (where == _STATED)
                           + ["take a smaller cutter"])
        + _without_tabs(where, "; or write tabs = 0 and stick the work down"),
    )


def _on_both(edges: Sequence[Floats], spacing: float) -> int:
    """How many tabs at most fit on two edges, half of them on each, and one more on the second."""
    first, second = (len(_apart(places, spacing)) for places in edges)
    return min(2 * first + 1, 2 * second)


def _spread(
    edges: Sequence[Floats], outline: Polygon, count: int, takes: float, avoid: Floats,
    inlays: shapely.Geometry | None,
) -> Floats:
    """(count, 2) of the places along each edge half, spread over it, as clear as may be."""
    chosen = np.empty((0, 2))
    for places, number in zip(edges, (count // 2, count - count // 2), strict=True):
        if not number:
            continue
        clear = _clearance(places, avoid, inlays)
        own = np.empty((0, 2))
        for aim in _aims(places, outline, number):
            apart = np.minimum(_distance(places, chosen), _distance(places[:, :1], own[:, :1]) - BETWEEN) - takes
            room = np.minimum(clear - takes / 2, apart)
            good = room >= 0
            wanted = np.where(good, -np.abs(places[:, 0] - aim), -np.inf) if good.any() else room
            own = np.vstack([own, places[int(np.argmax(wanted))]])
        if number > 1 and np.diff(np.sort(own[:, 0])).min() < takes + BETWEEN:  # what was clear left no room for all
            spacings = np.linspace(float(np.ptp(places[:, 0])) / (number - 1), takes + BETWEEN, _SPACINGS)
            own = next(found for one in spacings if len(found := _apart(places, one)) >= number)[:number]
        chosen = np.vstack([chosen, own])
    return chosen


def _aims(places: Floats, outline: Polygon, number: int) -> Floats:
    """(number,) where along an edge tabs are wanted: evenly; over a part with a thin tail by its area, for tabs to hold
    the body."""
    x, share = np.linspace(places[0, 0], places[-1, 0], _SECTIONS), (np.arange(number) + 0.5) / number
    _, low, _, high = outline.bounds
    lines = shapely.linestrings(np.stack([np.column_stack([x, np.full_like(x, y)]) for y in (low, high)], axis=1))
    wide = shapely.length(overlay.intersection(lines, outline))
    if wide.max() <= _TAIL * wide.min():
        return np.asarray(x[0] + share * (x[-1] - x[0]))
    area = np.cumsum(wide)
    return np.interp(share * area[-1], area, x)


def _apart(places: Floats, spacing: float) -> Floats:
    """As many of places along an edge, from the first, as stand `spacing` apart or more along the board."""
    chosen, following = [], 0
    while following < len(places):
        chosen.append(following)
        following = int(np.searchsorted(places[:, 0], places[following, 0] + spacing - 1e-9))
    return places[chosen]


_STATED, _NARROWER = "[outline] tabs", ", or make tab_width smaller"  # the one outline whose tabs' width a job states
_ALWAYS_TABS = ("[block]", "[gauges]")  # tables whose outlines cannot go without tabs


def _without_tabs(where: str, words: str) -> str:
    """The last of some remedies, where the outline that a job's table asks for can go without tabs."""
    return "" if where.startswith(_ALWAYS_TABS) else words


def _refuse_too_many(
    outline: Polygon, edges: Sequence[Floats], count: int, width: float, where: str, diameter: float
) -> None:
    """Raise PathgenError: the long edges have no room for so many tabs, or one; of `width` with the cutter beside."""
    most, edge = _on_both(edges, width + BETWEEN), float(np.ptp(outline.bounds[::2]))
    narrower = _NARROWER if where == _STATED else ""
    if most:
        raise PathgenError(
            where, f"{count} tabs do not fit: each takes {width:.2f} mm of the edge that it stands on (the "
            f"tab, and the cutter beside it), and {BETWEEN:g} mm between two", allowed=f"{most} tabs or fewer",
            remedy=f"make tabs fewer{narrower}",
        )
    less = rounded_up(width - edge + 0.1)
    raise PathgenError(
        where, f"each takes {width:.2f} mm of the edge that it stands on (the tab, and the cutter beside "
        f"it), and that edge is {edge:.2f} mm long", allowed=f"less than {edge:.2f} mm for each",
        remedy=(f"take a cutter {less:.2f} mm narrower or more" if less < diameter else
                f"make what is cut out {less:.2f} mm longer or more: no cutter is narrow enough") + narrower
        + _without_tabs(where, "; or write tabs = 0 and stick the work down"),
    )


def stands_out(part: Polygon, blank: Bounds) -> Floats:
    """(4,) how far a blank, (x_min, y_min, x_max, y_max), stands out beyond a part at each of its sides, in that order,
    mm."""
    return np.asarray((np.array(part.bounds) - blank) * [1.0, 1.0, -1.0, -1.0])


def check_tabs_hold(tabs: Tabs, outline: Polygon, *, blank: Bounds, cutter: Cutter, where: str) -> None:
    """Raise PathgenError where a tab would reach across the groove into air, or into waste too thin to hold it.

    `blank` is (x_min, y_min, x_max, y_max), mm. What stands out beside each tab is measured straight to the side of the
    blank that the outline faces there.
    """
    if not len(tabs.at):
        return
    needed = cutter.diameter + LEAST_WASTE
    waste, facing = _waste(tabs.at, outline, blank, tabs.width)
    if not np.any(waste < needed - 1e-9):
        return
    worst = int(np.argmin(waste))
    place = place_words(*tabs.at[worst].tolist())
    larger = "wider" if facing[worst] % 2 else "longer"
    # all along that side, not beside the tab alone: where it ends nearer the groove parts the waste tabs hold on to
    room = min(waste[worst], stands_out(outline, blank)[facing[worst]])
    more, enough = (rounded_up(2 * (needed - out)) for out in (room, waste[worst]))
    why = f", so that the waste stays whole along that side ({enough:g} mm is enough for the tabs)" * (enough < more)
    raise PathgenError(where,
                       f"the blank stands out {max(waste[worst], 0.0):.2f} mm beside the tab at {place}, and a "
                       f"cutter of {cutter.diameter:g} mm leaves the tab nothing to hold on to",
                       allowed=f"{needed:g} mm or more of blank beside every tab: the cutter and {LEAST_WASTE:g} mm",
                       remedy=f"take a blank {more:g} mm {larger} or more (a block: more margin){why}, or a smaller "
                       "cutter"
                       + _without_tabs(where, "; or stick the blank down over its whole face and write tabs = 0"))


def check_tabs_stand(tabs: Tabs, outline: Polygon, *, cutter: Cutter, rise: float, where: str) -> None:
    """Raise PathgenError for a place where the cutter's own way would not leave a tab whole. `rise` is the height of
    the tabs above where the cutter goes beside them, mm."""
    ring = cutting_line(outline, cutter)
    holds = partial(
        holding, outline=outline, ring=ring, width=tabs.width, radius=cutter.radius, slopes=rise / TAB_SLOPE)
    good = holds(tabs.at)
    if good.all():
        return
    worst = tabs.at[int(np.argmin(good))]
    places, _ = _all_round(outline, ring, tabs.width + cutter.diameter)
    places = places[holds(places)]
    remedy = "make tabs narrower, or take a smaller cutter"
    if len(places):
        nearest = places[np.argmin(np.linalg.norm(places - worst, axis=1))]
        remedy = f"move it to {place_words(*nearest.tolist())}, the nearest such place"
    raise PathgenError(
        where, f"at {place_words(*worst.tolist())} a cutter of {cutter.diameter:g} mm leaves no whole tab: it stands "
        "round a corner, or in the way round another wall near by",
        allowed=f"places where a tab {tabs.width:g} mm wide stands whole",
        remedy=remedy,
    )


def _waste(tabs: Floats, outline: Polygon, blank: Bounds, width: float) -> tuple[Floats, Ints]:
    """(n,) what the blank stands out beside each tab, mm, and toward which of its sides."""
    near = overlay.buffer(shapely.points(tabs), width / 2)
    held = shapely.bounds(overlay.intersection(outline.exterior, near))
    beside = (held - blank) * [1.0, 1.0, -1.0, -1.0]
    facing = _facing(tabs, outline)
    return beside[np.arange(len(tabs)), facing], facing


def _facing(tabs: Floats, outline: Polygon) -> Ints:
    """(n,) which side of the blank the outline faces at each tab: 0 x_min, 1 y_min, 2 x_max, 3 y_max."""
    ring = shapely.orient_polygons(outline).exterior  # counter-clockwise: outside is on the right of the way
    at = shapely.line_locate_point(ring, shapely.points(tabs))
    dx, dy = (places_on(ring, at + _EVERY / 10) - places_on(ring, at - _EVERY / 10)).T
    return np.where(np.abs(dx) >= np.abs(dy), np.where(dx > 0, 1, 3), np.where(dy > 0, 2, 0))


def _long_edges(outline: Polygon, width: float, rim: float) -> list[Floats]:
    """(n, 2) places for the middle of a tab on each long edge, nut side first, `width` / 2 or more from its ends, and
    `rim` more from a wall of a notch: a cutter beside it reaches so much further. None where these are too short."""
    x0, y0, x1, y1 = outline.bounds
    x = np.arange(x0 + width / 2, x1 - width / 2, _EVERY)
    if not len(x):
        return [np.empty((0, 2))] * 2
    past = int(_FINER * width / 2 / _EVERY - 1e-6)  # to the part's ends: an edge may turn before the other does
    fine = x[0] + _EVERY / _FINER * np.arange(-past, _FINER * (len(x) - 1) + past + 1)
    across = shapely.linestrings(np.stack([np.stack([fine, np.full_like(fine, y)], 1) for y in (y0 - 1, y1 + 1)], 1))
    bounds = shapely.bounds(overlay.intersection(across, outline))
    found = []
    for edge, out in ((np.column_stack([fine, bounds[:, 1]]), -1.0), (np.column_stack([fine, bounds[:, 3]]), 1.0)):
        # Ends and corners are where the outline turns across the board.
        turn = np.gradient(edge[:, 1], fine)
        steep, turn = edge[np.abs(turn) > 0.5], turn[np.abs(turn) > 0.5]
        places = edge[past : len(edge) - past : _FINER]
        clear = _distance(places, steep) >= width / 2
        dx, dy = steep[:, 0] - places[:, 0, None], out * (steep[:, 1] - places[:, 1, None])
        wall = (dy > 0) & (out * turn * dx > 0)  # outward, and on from there
        clear &= ~(wall & (np.abs(dx) < width / 2 + rim)).any(axis=1)
        found.append(places[clear] if clear.any() else places)
    return found


def _clearance(places: Floats, points: Floats, inlays: shapely.Geometry | None) -> Floats:
    clear = _distance(places, points)
    if inlays is None or inlays.is_empty:
        return clear
    return np.asarray(np.minimum(clear, shapely.distance(shapely.points(places), inlays)))


def _distance(places: Floats, points: Floats) -> Floats:
    """(n,) distance from each place to the nearest of `points`; infinite when there are none."""
    if not len(points):
        return np.full(len(places), np.inf)
    return np.asarray(np.linalg.norm(places[:, None] - points, axis=2).min(axis=1))


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
    way = shapely.points(shapely.get_coordinates(shapely.segmentize(_along(ring, at - ends, at + ends), _BESIDE)))
    low = shapely.clip_by_rect(_along(ring, at + ends, at - ends + ring.length), *near)
    shapely.prepare(low)
    stands = ~shapely.dwithin(low, way, radius - _SLACK)
    beside = _LEDGE * radius + _BESIDE
    return bool(np.count_nonzero(np.diff(stands.astype(int)) > 0) == 1
                and np.all(shapely.dwithin(way, shapely.multipoints(way[stands]), beside)))


def _all_round(outline: Polygon, ring: LinearRing, takes: float) -> tuple[Floats, Floats]:
    """(n, 2) places along the whole outline but for its corners, and (n,) how far along the ring."""
    wall = outline.exterior
    along = np.arange(0.0, wall.length, _EVERY)
    places, before, after = (places_on(wall, along + aside) for aside in (0.0, -takes / 2, takes / 2))
    places = places[np.linalg.norm(after - before, axis=1) > _STRAIGHT * takes]
    return places, shapely.line_locate_point(ring, shapely.points(places))


def round_a_ring(stations: Floats, count: int, *, around: float, least: float) -> Ints:
    """Which of some stations, `count` of them, spread as far as may be; as many as fit where there is not room for all.
    They stand `least` apart or more, the last from the first too."""
    order, most = np.argsort(stations), np.empty(0, np.int64)
    sorted_ = stations[order]
    for spacing in np.linspace(max(around / count, least), least, _ROUND):
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
