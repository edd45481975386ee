"""Cutting a part free: round its outline in layers, over the tabs that hold it."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator

import numpy as np
import shapely
from shapely import LinearRing, Polygon

from pathgen.base import overlay
from pathgen.base.arrays import Floats, stretches
from pathgen.base.cutters import Cutter
from pathgen.base.errors import CutterError
from pathgen.base.memory import remembered
from pathgen.base.toolpath import APPROACH, Move, Rapids, Toolpath
from pathgen.base.units import falls_short, rounded_up
from pathgen.strategies.cutting_line import corners_on, cutting_line, places_on
from pathgen.strategies.easing import Standing, eased
from pathgen.strategies.tabs import Tabs, tab_slope

FINISH_SHARE = 0.1
"""Of the cutter's diameter: the most that the last lap takes off the walls."""
_LAST_LOAD = 0.9
"""Of what the cutter takes in full wood, a stepdown deep: the most that the last lap takes, for each mm of its way."""
_EASE_LAP = 1.25
"""Times the straight-line cut from which the last lap is eased: no grid misses a part of what it is known to take."""
_NO_LAP = 1e-4  # a last lap that takes less takes nothing, mm: programs are written no finer
_USUAL = 0.2
"""What the last lap takes off the walls where nothing else is asked for, mm: less is no more to it in a corner."""
_AT_CORNERS = 1.5  # times what the last lap takes off the walls: the most that it may meet at an inner corner
_HEAD_ON = 1.016
"""Of what the last lap takes off the walls: what more it meets anywhere is an inner corner, which turns 20 degrees."""
INNER_SHARES = (0.4, 0.28, 0.2, 0.14, 0.1, 0.05)
"""Of that: what it may take where the outline has inner corners, square ones first, then sharper and narrower ones."""
_STRAIGHT_ON = 1e-6  # what rises by so much more, mm for each mm, goes straight on
_SHORTEST = 1.0  # shortest way that the cutter goes to and fro on behind a tab, mm
_ROUNDED = 1e-6
"""A foot of such an end lies as deep as what goes on from it but for this, mm: places are rounded along the way."""
_HOP = 2.0  # about what a hop takes, s: up, across and down again
_AHEAD, _HALVINGS, _SHORT_OF_IT = np.array([1.0, 2.0]), 5, 0.01
"""Leads in and out of the last lap; how often they are made shorter; how far these ways may graze the wall, mm."""
MOST_LAP = 0.3
"""The most that a last lap may be asked to take off the walls, mm."""


@remembered
def outlining(
    outline: Polygon, *, cutter: Cutter, top: float, bottom: float, tabs: Tabs, finish: float, rapids: Rapids,
    stands: Standing | None = None, where: str = "cutter",
) -> Toolpath:
    """Moves round the outside of `outline`, climb cutting, from `top` down to `bottom` by the cutter's stepdown.

    They begin lower where nothing `stands` so high in their way any more; long ways over all that does are left out.

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
    ring = cutting_line(outline, cutter, aside=finish)
    standing = stands.copy() if stands is not None else Standing.over(ring.bounds, [cutter], None, level=top)
    most = most_round(ring, standing, cutter) if stands is not None else np.full(1, top)
    top = min(top, float(most.max()))
    stations, z = _descent(ring, cutter, top, bottom)
    stations, z = _over_tabs(stations, z, ring, tabs, half)
    stations, z = _sinking_gently(stations, z, cutter.ramp_slope, ring.length)
    runs, airs = [], []
    for stretch in _in_wood(stations, z, most, ring.length, cutter):
        runs.append(np.column_stack([places_on(ring, stretch[0]), stretch[1]]))
        above = max(stretch[1][0], _most_at(stretch[0][:1], most, ring.length)[0]) + APPROACH
        airs.append(math.inf if stands is None else above)  # a rapid ends no lower over what is not known
    run = runs[-1]
    layers = len(run)
    if finish:
        last = cutting_line(outline, cutter)
        beside = float(shapely.line_locate_point(last, shapely.Point(run[-1, :2])))
        stations, z = _last_lap(last, beside, _lead(last, beside, run[-1, :2], finish), bottom)
        stations, z = _over_tabs(stations, z, last, tabs, half)
        lap = np.column_stack([places_on(last, stations), z])
        ways = []  # in to the wall and out again, no lower over a tab than any other move
        for far, there in ((stations[0], lap[0]), (stations[-1] - last.length, lap[-1])):
            between = np.array([beside, far]) + last.length
            along, z = _over_tabs(between, np.full(2, bottom), last, tabs, half)
            share = ((along - between[0]) / (far - beside))[:, None]
            ways.append(np.column_stack([run[-1, :2] + share * (there - run[-1])[:2], z]))
        run = np.vstack([run[:-1], ways[0], lap[1:], ways[1][::-1][1:]])
    path = Toolpath.from_runs([*runs[:-1], run], safe_z=rapids.safe_z, air_z=np.minimum(airs, rapids.air_z))
    begun = len(path) - 1 - (len(run) - layers)
    first = eased(Toolpath(path.points[:begun], path.kinds[:begun]), cutter, standing)
    last_lap = path.kinds[begun:].copy()
    if finish and _lap_meets(ring, last, finish) * (top - bottom) > _EASE_LAP * cutter.straight_cut:
        last_lap[last_lap == Move.CUT] = Move.EASED
    return Toolpath(np.vstack([first.points, path.points[begun:]]), np.concatenate([first.kinds, last_lap]))


def most_round(ring: LinearRing, standing: Standing, cutter: Cutter) -> Floats:
    """(n,) the most that stands under the cutter at places evenly round the ring, and halfway from each to the next."""
    count = max(1, math.ceil(ring.length / standing.cell))
    places = places_on(ring, np.arange(count) / count * ring.length)
    return standing.highest_round(places, cutter.radius + standing.cell / 2.0)


def _most_at(stations: Floats, most: Floats, around: float) -> Floats:
    return np.asarray(most[np.rint(stations / around * len(most)).astype(np.intp) % len(most)])


def _in_wood(
    stations: Floats, z: Floats, most: Floats, around: float, cutter: Cutter
) -> Iterator[tuple[Floats, Floats]]:
    """Stations and heights of the way in turn, but for stretches in air that take longer than a hop over them."""
    along = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(stations)))])
    dense = np.unique(np.concatenate([along, np.arange(0.0, along[-1], around / len(most))]))
    at, height = np.interp(dense, along, stations), np.interp(dense, along, z)
    low = np.minimum(height[1:], height[:-1])
    over = _most_at(at, most, around)
    wood = np.maximum(over[1:], over[:-1]) > low
    wood[-1] = True  # the last lap goes on from there
    begins, ends = dense[stretches(wood)].T
    apart = begins[1:] - ends[:-1] > cutter.feed / 60.0 * _HOP
    for begin, end in zip(begins[np.append(True, apart)], ends[np.append(apart, True)], strict=True):
        ways = np.unique(np.concatenate([[begin, end], along[(along > begin) & (along < end)]]))
        yield np.interp(ways, along, stations), np.interp(ways, along, z)


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


def _lap_meets(layers: LinearRing, last: LinearRing, finish: float) -> float:
    """How thick what the last lap takes is at the most, mm: in inner corners more than beside the walls."""
    cornered = shapely.distance(shapely.points(last.coords), layers).max() > _HEAD_ON * finish
    return finish * (_AT_CORNERS if cornered else 1.0)


def _lead(ring: LinearRing, beside: float, start: Floats, finish: float) -> float:
    """How far along the ring the last lap is begun, mm: less round a small part, for the straight way to meet no wall.
    From its place beside the `start` as far on it begins, and twice as far its way out does."""
    inside = Polygon(ring)
    for lead in 4.0 * finish * 0.5 ** np.arange(_HALVINGS):
        ends = places_on(ring, beside + lead * _AHEAD)
        ways = shapely.linestrings(np.stack([np.broadcast_to(start, ends.shape), ends], axis=1))
        if shapely.length(overlay.intersection(ways, inside)).max() < _SHORT_OF_IT:
            break
    return float(lead)


def _last_lap(ring: LinearRing, beside: float, lead: float, bottom: float) -> tuple[Floats, Floats]:
    """Once round, begun `lead` mm past the station `beside` and ended as far past where it began."""
    begin = beside + lead
    corners = corners_on(ring)
    corners = np.concatenate([corners, corners + ring.length, corners + 2 * ring.length])
    ends = [begin, begin + ring.length + lead]
    stations = np.unique(np.concatenate([ends, corners[(corners > ends[0]) & (corners < ends[1])]]))
    return stations, np.full(len(stations), bottom)


def _check(cutter: Cutter, depth: float, where: str) -> None:
    where = f"{where} {cutter.name!r}"
    if cutter.shape != "flat-end":
        raise CutterError(where, f"a {cutter.shape} cutter cannot cut an upright edge", allowed="flat-end")
    if falls_short(cutter.flute_length, depth):
        raise CutterError(where, f"its flute is {cutter.flute_length:g} mm long and the outline is {depth:g} mm deep",
                          allowed=f"a flute of {rounded_up(depth):.2f} mm or more", remedy="take a longer cutter")


def _descent(ring: LinearRing, cutter: Cutter, top: float, bottom: float) -> tuple[Floats, Floats]:
    """Stations along the ring, counted on from lap to lap, and heights: a ramp down and a level lap for each layer.
    Each lap sinks over its first stretch to the next layer; the last stretch is gone over again at the bottom."""
    count = math.ceil((top - bottom) / cutter.stepdown - 1e-9)
    levels = np.linspace(top, bottom, count + 1)
    ramp = min((levels[0] - levels[1]) / cutter.ramp_slope, ring.length / 2)
    corners = corners_on(ring)
    laps = ring.length * np.arange(count)
    knots = np.concatenate([[0.0], np.ravel(laps[:, None] + [ramp, ring.length]), [count * ring.length + ramp]])
    heights = np.concatenate([[top], np.repeat(levels[1:], 2), [bottom]])
    every_corner = np.ravel(laps[:, None] + corners)
    overlap = count * ring.length + corners[corners < ramp]
    stations = np.unique(np.round(np.concatenate([knots, every_corner, overlap]), 9))
    return stations, np.interp(stations, knots, heights)


def _over_tabs(stations: Floats, z: Floats, ring: LinearRing, tabs: Tabs, half: float) -> tuple[Floats, Floats]:
    """The way held as high as the tabs or above within `half` of each, and up to it and down from it on slopes."""
    if not len(tabs.at):
        return stations, z
    at, height = shapely.line_locate_point(ring, shapely.points(tabs.at)), tabs.height
    laps = np.arange(-1, math.ceil(stations[-1] / ring.length) + 1)
    middles = np.ravel(laps[:, None] * ring.length + at)
    below = np.unique(z[z < height])
    slope = tab_slope(np.sort(at), ring.length, height - float(z.min()), half)
    reach = half + np.concatenate([[0.0], (height - below) / slope])
    edges = np.ravel(middles[:, None] + np.concatenate([-reach, reach]))
    edges = edges[(edges > stations[0]) & (edges < stations[-1])]
    every = np.unique(np.round(np.concatenate([stations, edges]), 9))
    away = np.abs(every[:, None] - middles).min(axis=1)
    low = np.interp(every, stations, z)
    way = np.maximum(low, np.where(low < height, height - slope * np.maximum(away - half, 0.0), low))
    kept = np.isin(every, np.round(stations, 9))  # corners, in plan
    rises = np.diff(way) / np.diff(every)
    kept[1:-1] |= np.abs(np.diff(rises)) > _STRAIGHT_ON
    return every[kept], way[kept]


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
