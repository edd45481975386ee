"""Cutting the board free: round its outline in layers, leaving tabs to hold it."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LinearRing, Polygon

from pathgen.base import overlay
from pathgen.base.arrays import Bools, Bounds, Floats, Ints
from pathgen.base.cutters import Cutter
from pathgen.base.errors import CutterError, PathgenError
from pathgen.base.memory import remembered
from pathgen.base.toolpath import APPROACH, Move, Rapids, Toolpath
from pathgen.base.units import falls_short, place_words, rounded_up
from pathgen.strategies.easing import EASE_FROM, Standing, eased
from pathgen.strategies.tab_places import LEAST_WASTE, all_round, holding, round_a_ring

_EVERY = 1.0
"""Spacing of the places tried for a tab, mm."""
_FINER = 5
"""As many times as fine, for a notch as narrow as the cutter."""

_SPACINGS = 30
"""Tried from tab to tab where they stand close, the widest first."""

FINISH_SHARE = 0.1
"""Of the cutter's diameter: the most that the last lap takes off the walls."""

_LAST_LOAD = 0.9
"""Of what the cutter takes in full wood, a stepdown deep: the most that the last lap takes, for each mm of its way."""

_NO_LAP = 1e-4
"""A last lap that takes less takes nothing, mm: programs are written no finer."""

_USUAL = 0.2
"""What the last lap takes off the walls where nothing else is asked for, mm: less is no more to it in a corner."""

_AT_CORNERS = 1.5
"""Times what the last lap takes off the walls: the most that it may meet at an inner corner."""

_HEAD_ON = 1.016
"""Of what the last lap takes off the walls: what more it meets anywhere is an inner corner, which turns 20 degrees."""

INNER_SHARES = (0.4, 0.28, 0.2, 0.14, 0.1, 0.05)
"""Of that: what it may take where the outline has inner corners, square ones first, then sharper and narrower ones."""

TAB_SLOPE = 0.5
"""Rise over run of a tab's ends (common practice: a slope that the cutter climbs, no source)."""

_SHORTEST = 1.0
"""Shortest way that the cutter goes to and fro on behind a tab, mm."""

_BETWEEN = 2.0
"""What is cut through between the ends of two tabs, mm."""

_UPRIGHT = 100.0
"""Rise over run of ends that have no room to slope."""

_ROUNDED = 1e-6
"""A foot of such an end lies as deep as what goes on from it but for this, mm: places are rounded along the way."""

_AHEAD, _HALVINGS, _SHORT_OF_IT = np.array([1.0, 2.0]), 5, 0.01
"""Leads in and out of the last lap; how often they are made shorter; how far these ways may graze the wall, mm."""

_SHORT_EDGE, _LEFT = 0.02, 0.003
"""Beside an edge shorter than this a mitred line may leave the walls by more than that, mm, where a round one does not:
a tiny corner that points outward, in one that points inward."""

MOST_LAP = 0.3
"""The most that a last lap may be asked to take off the walls, mm."""

_WIDER, _LITTLE = 1e-3, 1e-3
"""How much wider than the cutter its way is taken to be, as a share of its radius, against rounding; what it leaves is
next to nothing under this area, mm2."""

_NO_EDGE = 1e-3
"""Beside an edge as short as this, mm, a line set off from an outline leaves it by a hundred times as much."""


@dataclass(frozen=True, eq=False)
class Tabs:
    """Wood left standing beside an outline: `at`, (n, 2) points on it; how high and how wide each is, mm."""

    at: Floats
    height: float
    width: float


@remembered
def outlining(
    outline: Polygon, *, cutter: Cutter, top: float, bottom: float, tabs: Tabs, finish: float, rapids: Rapids,
    stands: float = math.inf, where: str = "cutter",
) -> Toolpath:
    """Moves round the outside of `outline`, climb cutting, from `top` down to `bottom` by the cutter's stepdown.

    They begin lower where nothing `stands` so high in their way any more.

    Round each of the `tabs` wood is left standing, with ends that slope. Each layer is entered along a ramp, and so is
    the wood behind each tab. The layers stay `finish` away from the outline, which a last lap at full depth takes off,
    a tenth of the cutter's diameter at most, no more than loads it like a layer does, and less the sharper the outline
    turns inward; with 0 there is none.
    Full-width cuts go at the eased feed, and the last lap all round where it takes so much. Raises CutterError for a
    cutter that is not flat, or whose flute is too short, saying `where` it is named.
    """
    _check(cutter, top - bottom, where)
    half = tabs.width / 2 + cutter.radius
    finish = last_lap_takes(outline, cutter, top - bottom, finish)
    top = min(top, stands)
    ring = cutting_line(outline, cutter, aside=finish)
    stations, z = _descent(ring, cutter, top, bottom)
    stations, z = _over_tabs(stations, z, ring, tabs, half)
    run = _along_ring(ring, *_sinking_gently(stations, z, cutter.ramp_slope, ring.length))
    layers = len(run)
    if finish:
        last = cutting_line(outline, cutter)
        beside = float(shapely.line_locate_point(last, shapely.Point(run[-1, :2])))
        stations, z = _last_lap(last, beside, _lead(last, beside, run[-1, :2], finish), bottom)
        stations, z = _over_tabs(stations, z, last, tabs, half)
        lap = _along_ring(last, stations, z)
        ways = []  # in to the wall and out again, no lower over a tab than any other move
        for far, there in ((stations[0], lap[0]), (stations[-1] - last.length, lap[-1])):
            between = np.array([beside, far]) + last.length
            along, z = _over_tabs(between, np.full(2, bottom), last, tabs, half)
            share = ((along - between[0]) / (far - beside))[:, None]
            ways.append(np.column_stack([run[-1, :2] + share * (there - run[-1])[:2], z]))
        run = np.vstack([run[:-1], ways[0], lap[1:], ways[1][::-1][1:]])
    path = Toolpath.from_runs([run], safe_z=rapids.safe_z, air_z=min(rapids.air_z, stands + APPROACH))
    begun = len(path) - 1 - (len(run) - layers)
    first = eased(Toolpath(path.points[:begun], path.kinds[:begun]), cutter,
                  Standing.over(ring.bounds, [cutter], None, level=top))
    last_lap = path.kinds[begun:].copy()
    if _AT_CORNERS * finish * (top - bottom) > EASE_FROM * cutter.straight_cut:
        last_lap[last_lap == Move.CUT] = Move.EASED
    return Toolpath(np.vstack([first.points, path.points[begun:]]), np.concatenate([first.kinds, last_lap]))


def last_lap_takes(outline: Polygon, cutter: Cutter, deep: float, finish: float) -> float:
    """What the last lap, `deep` mm high, takes off the walls where `finish` is asked for, mm; 0 where there is none."""
    most = min(FINISH_SHARE * cutter.diameter, _LAST_LOAD * cutter.diameter * cutter.stepdown / deep)
    takes = _eased_off(outline, cutter, min(finish, most), min(max(finish, _USUAL), most))
    return takes if takes >= _NO_LAP else 0.0


def _eased_off(outline: Polygon, cutter: Cutter, finish: float, usual: float) -> float:
    """What the last lap may take off the walls: less where it would meet its whole height head on in inner corners.

    There it goes further from the layers' way than the walls do, by 1 / sin(half the angle), or has them not enter.
    It may meet there what a share of the `usual`, or of a larger `finish`, meets in a square corner: so one that is
    asked to take no more than it may takes that.
    """
    corners = shapely.points(cutting_line(outline, cutter).coords)

    def met(aside: float) -> float:
        return float(shapely.distance(corners, cutting_line(outline, cutter, aside=aside)).max())

    cornered = INNER_SHARES[0] * math.sqrt(2.0) * _HEAD_ON * usual
    if not finish or met(finish) <= max(_HEAD_ON * finish, _HEAD_ON * cornered):
        return finish
    return next((share * usual for share in INNER_SHARES if share * usual <= finish and met(share * usual) <= cornered),
                0.0)


def _along_ring(ring: LinearRing, stations: Floats, z: Floats) -> Floats:
    plan = shapely.get_coordinates(shapely.line_interpolate_point(ring, stations % ring.length))
    return np.column_stack([plan, z])


def _lead(ring: LinearRing, beside: float, start: Floats, finish: float) -> float:
    """How far along the ring the last lap is begun, mm: less round a small part, for the straight way to meet no wall.

    From its place beside the `start` as far on it begins, and twice as far its way out does.
    """
    inside = Polygon(ring)
    for lead in 4.0 * finish * 0.5 ** np.arange(_HALVINGS):
        ends = shapely.get_coordinates(shapely.line_interpolate_point(ring, (beside + lead * _AHEAD) % ring.length))
        ways = shapely.linestrings(np.stack([np.broadcast_to(start, ends.shape), ends], axis=1))
        if shapely.length(overlay.intersection(ways, inside)).max() < _SHORT_OF_IT:
            break
    return float(lead)


def _last_lap(ring: LinearRing, beside: float, lead: float, bottom: float) -> tuple[Floats, Floats]:
    """Once round, begun `lead` mm past the station `beside` and ended as far past where it began."""
    begin = beside + lead
    corners = shapely.line_locate_point(ring, shapely.points(shapely.get_coordinates(ring)[:-1]))
    corners = np.concatenate([corners, corners + ring.length, corners + 2 * ring.length])
    ends = [begin, begin + ring.length + lead]
    stations = np.unique(np.concatenate([ends, corners[(corners > ends[0]) & (corners < ends[1])]]))
    return stations, np.full(len(stations), bottom)


def cutting_line(outline: Polygon, cutter: Cutter, *, aside: float = 0.0) -> LinearRing:
    """Where the cutter's axis runs: clockwise, the wood on its right, so that a clockwise spindle climb-cuts.

    `aside` is what stays on the walls, mm.
    """
    away = cutter.radius + aside
    # past sharp points it is cut off: no further out than `aside` either
    limit = (2.0 * cutter.radius + aside) / away
    outline = shapely.remove_repeated_points(outline, _NO_EDGE)
    grown = overlay.buffer(outline, away, join_style="mitre", mitre_limit=limit, quad_segs=64)
    if np.linalg.norm(np.diff(shapely.get_coordinates(outline.exterior), axis=0), axis=1).min() < _SHORT_EDGE:
        rounded = overlay.buffer(outline, away, quad_segs=64)
        walls = shapely.points(shapely.get_coordinates(shapely.segmentize(outline.exterior, _EVERY / 10)))
        left = walls[~_near(grown, walls, away + _LEFT)]
        if _near(rounded, left, away + _LEFT).any():
            grown = rounded
    corners = shapely.get_coordinates(shapely.orient_polygons(grown, exterior_cw=True).exterior)[:-1]
    # begun on the longest straight: what goes in and out there meets no corner
    longest = int(np.argmax(np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)))
    return LinearRing(np.roll(corners, -longest, axis=0))


def not_entered(outline: shapely.Polygon, cutter: Cutter) -> shapely.Polygon | shapely.MultiPolygon:
    """What stays beside an outline where its cutter does not go in: in narrow bays, in corners that point inward.

    Raises CutterError for a bay that is wider behind its mouth: there the cutter would not come at all.
    """
    reach = cutter.radius * (1.0 + _WIDER)
    way = overlay.buffer(outline, reach, quad_segs=64)
    rings = shapely.get_rings(way)
    if len(rings) > 1:
        x, y = shapely.get_coordinates(shapely.shortest_line(rings[0], rings[1]).centroid)[0]
        raise CutterError(f"outline cutter {cutter.name!r}", f"does not go into the outline near {place_words(x, y)}",
                          allowed=f"bays with mouths {rounded_up(2 * reach):.2f} mm wide or more",
                          remedy="take a smaller cutter, or make that bay's mouth wider")
    line = cutting_line(outline, cutter)
    pieces = shapely.get_parts(overlay.difference(
        overlay.difference(shapely.Polygon(line), overlay.buffer(line, reach, quad_segs=64)), outline))
    pieces = pieces[(shapely.get_type_id(pieces) == 3) & (shapely.area(pieces) > _LITTLE)]
    return pieces[0] if len(pieces) == 1 else shapely.multipolygons(pieces)


def _near(area: Polygon, places: NDArray[np.object_], within: float) -> Bools:
    """(n,) which of some points lie so near to an area's rim."""
    rim = area.exterior
    shapely.prepare(rim)
    return np.asarray(shapely.dwithin(rim, places, within))


@remembered
def tab_points(
    outline: Polygon, count: int, *, avoid: Floats, width: float, cutter: Cutter, where: str, rise: float = 0.0,
    inlays: shapely.Geometry | None = None, all_round_in: Bounds | None = None,
) -> Floats:
    """(count, 2) points on the long edges for tabs: spread evenly, moved clear of the points `avoid`, (m, 2).

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
    room = _on_both(edges, takes + _BETWEEN) >= count
    if not room and all_round_in is None:
        _refuse_too_many(outline, edges, count, takes, where, cutter.diameter)
    ring = cutting_line(outline, cutter)
    holds = _holding(outline, ring, cutter, width=width, rise=rise)
    chosen = _spread(edges, count, takes, avoid, inlays) if room else np.empty((0, 2))
    if room and (good := holds(chosen)).all():
        return chosen
    edges = [places[holds(places)] for places in edges]
    most = _on_both(edges, takes + _BETWEEN)
    if most >= count:
        return _spread(edges, count, takes, avoid, inlays)
    places, stations = all_round(outline, ring, every=_EVERY, takes=takes)
    kept = holds(places)
    if all_round_in is not None:
        kept &= _waste(places, outline, all_round_in, width)[0] >= cutter.diameter + LEAST_WASTE
    places, stations = places[kept], stations[kept]
    clear = _clearance(places, avoid, inlays) >= takes / 2
    for among in (clear, np.ones_like(clear)):
        found = round_a_ring(stations[among], count, around=ring.length, least=takes + _BETWEEN)
        if len(found) == count:
            return np.asarray(places[among][found])
    most = max(most, len(found))
    why = (f"the cutter, on its way round a wall near by, takes away again a tab at "
           f"{place_words(*chosen[int(np.argmin(good))].tolist())}, or what it holds on to, and too few places along "
           "the outline hold one") if room else (
           f"each takes {takes:.2f} mm of the outline (the tab, and the cutter beside it) where that hardly turns, "
           f"with {_BETWEEN:g} mm between two, and clear of the cutter's way round other walls")
    raise PathgenError(
        where, f"{count} tabs do not fit: {why}", allowed=f"{f'{most} tabs or fewer' if most else 'no tabs'}, each "
        f"{width:g} mm wide, with a cutter of {cutter.diameter:g} mm",
        remedy=f"make tabs fewer{_NARROWER if where == _STATED else ''}, or take a smaller cutter"
        + _without_tabs(where, "; or write tabs = 0 and stick the work down"),
    )


def _holding(
    outline: Polygon, ring: LinearRing, cutter: Cutter, *, width: float, rise: float
) -> Callable[[Floats], Bools]:
    """Which of some places hold a tab so wide, that rises so high above where the cutter goes beside it: `holding`."""
    return partial(holding, outline=outline, ring=ring, width=width, radius=cutter.radius, slopes=rise / TAB_SLOPE)


def _on_both(edges: Sequence[Floats], spacing: float) -> int:
    """How many tabs at most fit on two edges, half of them on each, and one more on the second."""
    first, second = (len(_apart(places, spacing)) for places in edges)
    return min(2 * first + 1, 2 * second)


def _spread(
    edges: Sequence[Floats], count: int, takes: float, avoid: Floats, inlays: shapely.Geometry | None
) -> Floats:
    """(count, 2) of the places along each edge half, spread evenly, as clear as may be."""
    chosen = np.empty((0, 2))
    for places, number in zip(edges, (count // 2, count - count // 2), strict=True):
        if not number:
            continue
        clear = _clearance(places, avoid, inlays)
        own = np.empty((0, 2))
        for k in range(number):
            aim = places[0, 0] + (places[-1, 0] - places[0, 0]) * (k + 0.5) / number
            apart = np.minimum(_distance(places, chosen), _distance(places[:, :1], own[:, :1]) - _BETWEEN) - takes
            room = np.minimum(clear - takes / 2, apart)
            good = room >= 0
            wanted = np.where(good, -np.abs(places[:, 0] - aim), -np.inf) if good.any() else room
            own = np.vstack([own, places[int(np.argmax(wanted))]])
        if number > 1 and np.diff(np.sort(own[:, 0])).min() < takes + _BETWEEN:  # what was clear left no room for all
            spacings = np.linspace(float(np.ptp(places[:, 0])) / (number - 1), takes + _BETWEEN, _SPACINGS)
            own = next(found for one in spacings if len(found := _apart(places, one)) >= number)[:number]
        chosen = np.vstack([chosen, own])
    return chosen


def _apart(places: Floats, spacing: float) -> Floats:
    """As many of places along an edge, from the first, as stand `spacing` apart or more along the board."""
    chosen, following = [], 0
    while following < len(places):
        chosen.append(following)
        following = int(np.searchsorted(places[:, 0], places[following, 0] + spacing - 1e-9))
    return places[chosen]


_STATED, _NARROWER = "[outline] tabs", ", or make tab_width smaller"
"""The one outline whose tabs' width a job states."""

_ALWAYS_TABS = ("[block]", "[gauges]")
"""Tables whose outlines cannot go without tabs."""


def _without_tabs(where: str, words: str) -> str:
    """The last of some remedies, where the outline that a job's table asks for can go without tabs."""
    return "" if where.startswith(_ALWAYS_TABS) else words


def _refuse_too_many(
    outline: Polygon, edges: Sequence[Floats], count: int, width: float, where: str, diameter: float
) -> None:
    """Raise PathgenError: the long edges have no room for so many tabs, or for one; of `width` with the cutter beside.
    """
    most, edge = _on_both(edges, width + _BETWEEN), float(np.ptp(outline.bounds[::2]))
    narrower = _NARROWER if where == _STATED else ""
    if most:
        raise PathgenError(
            where, f"{count} tabs do not fit: each takes {width:.2f} mm of the edge that it stands on (the "
            f"tab, and the cutter beside it), and {_BETWEEN:g} mm between two", allowed=f"{most} tabs or fewer",
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


def check_tabs_hold(
    tabs: Tabs, outline: Polygon, *, blank: Bounds, cutter: Cutter, where: str
) -> None:
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
    room = min(waste[worst], ((np.array(outline.bounds) - blank) * [1, 1, -1, -1])[facing[worst]])
    raise PathgenError(
        where,
        f"the blank stands out {max(waste[worst], 0.0):.2f} mm beside the tab at {place}, and a "
        f"cutter of {cutter.diameter:g} mm leaves the tab nothing to hold on to",
        allowed=f"{needed:g} mm or more of blank beside every tab: the cutter and {LEAST_WASTE:g} mm",
        remedy=f"take a blank {rounded_up(2 * (needed - room)):.2f} mm {larger} or more (a block: more "
        "margin), or a smaller cutter"
        + _without_tabs(where, "; or stick the blank down over its whole face and write tabs = 0"),
    )


def check_tabs_stand(tabs: Tabs, outline: Polygon, *, cutter: Cutter, rise: float, where: str) -> None:
    """Raise PathgenError for a place where the cutter's own way would not leave a tab whole.

    `rise` is the height of the tabs above where the cutter goes beside them, mm.
    """
    ring = cutting_line(outline, cutter)
    holds = _holding(outline, ring, cutter, width=tabs.width, rise=rise)
    good = holds(tabs.at)
    if good.all():
        return
    worst = tabs.at[int(np.argmin(good))]
    places, _ = all_round(outline, ring, every=_EVERY, takes=tabs.width + cutter.diameter)
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
    before, after = (shapely.get_coordinates(shapely.line_interpolate_point(ring, (at + step) % ring.length))
                     for step in (-_EVERY / 10, _EVERY / 10))
    dx, dy = (after - before).T
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


def _check(cutter: Cutter, depth: float, where: str) -> None:
    where = f"{where} {cutter.name!r}"
    if cutter.shape != "flat-end":
        raise CutterError(where, f"a {cutter.shape} cutter cannot cut an upright edge", allowed="flat-end")
    if falls_short(cutter.flute_length, depth):
        raise CutterError(
            where, f"its flute is {cutter.flute_length:g} mm long and the outline is {depth:g} mm deep",
            allowed=f"a flute of {rounded_up(depth):.2f} mm or more", remedy="take a longer cutter",
        )


def _descent(ring: LinearRing, cutter: Cutter, top: float, bottom: float) -> tuple[Floats, Floats]:
    """Stations along the ring, counted on from lap to lap, and heights: a ramp down and a level lap for each layer.

    Each lap sinks over its first stretch to the next layer; the last stretch is gone over again at the bottom.
    """
    count = math.ceil((top - bottom) / cutter.stepdown - 1e-9)
    levels = np.linspace(top, bottom, count + 1)
    ramp = min((levels[0] - levels[1]) / cutter.ramp_slope, ring.length / 2)
    corners = shapely.line_locate_point(ring, shapely.points(shapely.get_coordinates(ring)[:-1]))
    laps = ring.length * np.arange(count)
    knots = np.concatenate([[0.0], np.ravel(laps[:, None] + [ramp, ring.length]), [count * ring.length + ramp]])
    heights = np.concatenate([[top], np.repeat(levels[1:], 2), [bottom]])
    every_corner = np.ravel(laps[:, None] + corners)
    overlap = count * ring.length + corners[corners < ramp]
    stations = np.unique(np.round(np.concatenate([knots, every_corner, overlap]), 9))
    return stations, np.interp(stations, knots, heights)


def _tab_slope(at: Floats, around: float, height: float, half: float) -> float:
    """Rise over run of the tabs' ends: steeper where tabs stand so near that their ends would meet."""
    free = float(np.diff(at, append=at[0] + around).min()) - 2 * half - _BETWEEN
    return min(max(TAB_SLOPE, 2 * height / free), _UPRIGHT) if free > 0 else _UPRIGHT


def _over_tabs(
    stations: Floats, z: Floats, ring: LinearRing, tabs: Tabs, half: float
) -> tuple[Floats, Floats]:
    """The way held as high as the tabs or above within `half` of each, and up to it and down from it on slopes."""
    if not len(tabs.at):
        return stations, z
    at, height = shapely.line_locate_point(ring, shapely.points(tabs.at)), tabs.height
    laps = np.arange(-1, math.ceil(stations[-1] / ring.length) + 1)
    middles = np.ravel(laps[:, None] * ring.length + at)
    below = np.unique(z[z < height])
    slope = _tab_slope(np.sort(at), ring.length, height - float(z.min()), half)
    reach = half + np.concatenate([[0.0], (height - below) / slope])
    edges = np.ravel(middles[:, None] + np.concatenate([-reach, reach]))
    edges = edges[(edges > stations[0]) & (edges < stations[-1])]
    every = np.unique(np.round(np.concatenate([stations, edges]), 9))
    away = np.abs(every[:, None] - middles).min(axis=1)
    low = np.interp(every, stations, z)
    return every, np.maximum(low, np.where(low < height, height - slope * np.maximum(away - half, 0.0), low))


def _sinking_gently(stations: Floats, z: Floats, slope: float, around: float) -> tuple[Floats, Floats]:
    """The same way, but down the far end of a tab into wood along ramps of at most `slope`.

    A ramp goes on past the foot of the end, and comes back level; up the end and down again, which is open by then.
    With little room before the next tab there are several, each lower. Stations are counted on from lap to lap of
    `around`.
    """
    before = np.interp(stations - around, stations, z, left=np.inf)  # how deep it is open there
    steep = -np.diff(z) > np.maximum(slope * 1.01 * np.diff(stations), 1e-9)
    into = steep & (z[1:] < before[1:] - 1e-6)
    pieces, done = [], 0
    for k in np.flatnonzero(into & ~np.concatenate([[False], into[:-1]])).tolist():
        foot = k + 1 + int(np.argmin(np.append(into[k + 1 :], False)))
        on = foot + int(np.argmax(np.append(z[foot:] > z[foot] + _ROUNDED, True)))
        room = float(stations[on - 1] - stations[foot])
        if room < _SHORTEST:
            continue
        count = math.ceil(float(z[k] - z[foot]) / (slope * room))
        share = np.arange(count + 1) / count
        level = z[k] + share * (z[foot] - z[k])
        end = stations[k] + share * (stations[foot] - stations[k])
        pieces.append(np.column_stack([stations[done : k + 1], z[done : k + 1]]))
        for (a, b), (high, low) in zip(itertools.pairwise(end), itertools.pairwise(level), strict=True):
            far = a + (high - low) / slope
            knots = stations[(stations > a) & (stations < far)]
            down = np.append(knots, far)
            back = knots[knots > b][::-1]
            end_of_tab = np.concatenate([[b], knots[knots < b][::-1], [a], knots[knots < b], [b]])
            pieces += [np.column_stack([down, high - slope * (down - a)]), np.column_stack([back, 0 * back + low]),
                       np.column_stack([end_of_tab, np.interp(end_of_tab, [a, b], [high, low])])]
        done = foot + 1
    pieces.append(np.column_stack([stations[done:], z[done:]]))
    way = np.concatenate(pieces)
    way = way[np.concatenate([[True], np.any(np.abs(np.diff(way, axis=0)) > 1e-9, axis=1)])]
    return way[:, 0], way[:, 1]
