"""Cutting the board free: round its outline in layers, leaving tabs to hold it."""

from __future__ import annotations

import math

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LinearRing, Polygon

from pathgen.base import overlay
from pathgen.base.cutters import Cutter
from pathgen.base.errors import CutterError, JobError
from pathgen.base.toolpath import Toolpath
from pathgen.base.units import place_words

Floats = NDArray[np.float64]

_EVERY = 1.0
"""Spacing of the places tried for a tab, mm."""

LEAST_WASTE = 2.0
"""Wood that must stand outside the groove for a tab to hold on to, mm (common practice, no source)."""


def outlining(
    outline: Polygon,
    *,
    cutter: Cutter,
    top: float,
    bottom: float,
    tabs: Floats,
    tab_height: float,
    tab_width: float,
    safe_z: float,
    air_z: float,
) -> Toolpath:
    """Moves round the outside of `outline`, climb cutting, from `top` down to `bottom` by the cutter's stepdown.

    `tabs` are (n, 2) points on the outline; round each, `tab_width` of wood is left standing up to `tab_height`.
    Each layer is entered along a ramp no steeper than the cutter's plunge feed allows. Raises CutterError for a
    cutter that is not flat, or whose flute is too short.
    """
    _check(cutter, top - bottom)
    ring = cutting_line(outline, cutter)
    stations, z = _descent(ring, cutter, top, bottom)
    if len(tabs):
        at_tabs = shapely.line_locate_point(ring, shapely.points(tabs))
        stations, z = _over_tabs(stations, z, ring.length, at_tabs, tab_height, tab_width / 2 + cutter.radius)
    plan = shapely.get_coordinates(shapely.line_interpolate_point(ring, stations % ring.length))
    path = Toolpath.from_runs([np.column_stack([plan, z])], safe_z=safe_z, air_z=air_z)
    return path.slowed_where_steep(feed=cutter.feed, plunge=cutter.plunge)


def cutting_line(outline: Polygon, cutter: Cutter) -> LinearRing:
    """Where the cutter's axis runs: clockwise, the wood on its right, so that a clockwise spindle climb-cuts."""
    grown = overlay.buffer(outline, cutter.radius, join_style="mitre", mitre_limit=2.0, quad_segs=64)
    return LinearRing(shapely.get_coordinates(shapely.orient_polygons(grown, exterior_cw=True).exterior))


def tab_points(
    outline: Polygon, count: int, *, avoid: Floats, width: float, inlays: shapely.Geometry | None = None
) -> Floats:
    """(count, 2) points on the long edges for tabs: spread evenly, moved clear of the points `avoid`, (m, 2).

    Half of the tabs stand on each edge, where a saw can reach them: not on the ends, not in corners, not where a
    fret's slot opens, not beside an inlay. `width` is what each takes along the edge. Where no place is clear, the
    clearest is taken.
    """
    chosen: list[Floats] = []
    for side, number in ((-1, count // 2), (1, count - count // 2)):
        places = _long_edge(outline, side, width)
        clear = _clearance(places, avoid, inlays)
        for k in range(number):
            aim = places[0, 0] + (places[-1, 0] - places[0, 0]) * (k + 0.5) / number
            apart = _distance(places, np.array(chosen).reshape(-1, 2)) - width
            room = np.minimum(clear - width / 2, apart)
            good = room >= 0
            wanted = np.where(good, -np.abs(places[:, 0] - aim), -np.inf) if good.any() else room
            chosen.append(places[int(np.argmax(wanted))])
    return np.array(chosen).reshape(-1, 2)


def check_tabs_hold(
    tabs: Floats, outline: Polygon, *, blank: tuple[float, float, float, float], cutter: Cutter, tab_width: float
) -> None:
    """Raise JobError where a tab would reach across the groove into air, or into waste too thin to hold it.

    `tabs` are (n, 2) points on the long edges of `outline`; `blank` is (x_min, y_min, x_max, y_max), mm.
    """
    needed = cutter.diameter + LEAST_WASTE
    discs = overlay.buffer(shapely.points(tabs), tab_width / 2)
    held = shapely.bounds(overlay.intersection(outline.exterior, discs))
    waste = np.where(tabs[:, 1] > 0, blank[3] - held[:, 3], held[:, 1] - blank[1])
    if not np.any(waste < needed - 1e-9):
        return
    worst = int(np.argmin(waste))
    raise JobError(
        "[outline] tabs",
        f"the blank stands out {max(waste[worst], 0.0):.2f} mm beside the tab at {place_words(*tabs[worst].tolist())}, "
        f"and a cutter of {cutter.diameter:g} mm leaves the tab nothing to hold on to",
        allowed=f"{needed:g} mm or more of blank beside every tab: the cutter and {LEAST_WASTE:g} mm",
        remedy=f"take a blank {2 * (needed - waste[worst]):.2f} mm wider or more (a block: more margin), or a smaller "
        "cutter; or stick the blank down over its whole face and write tabs = 0",
    )


def _long_edge(outline: Polygon, side: int, width: float) -> Floats:
    """(n, 2) places for the middle of a tab on one long edge, nut side first, `width` / 2 or more from its ends."""
    x0, _, x1, _ = outline.bounds
    x = np.arange(x0 + width / 2, x1 - width / 2, _EVERY)
    far = max(abs(outline.bounds[1]), abs(outline.bounds[3])) + 1.0
    rays = shapely.linestrings(np.stack([np.stack([x, np.zeros_like(x)], 1), np.stack([x, 0 * x + side * far], 1)], 1))
    bounds = shapely.bounds(overlay.intersection(rays, outline))
    y = bounds[:, 3 if side > 0 else 1]
    # Ends and corners are where the outline turns across the board.
    steep = np.abs(np.gradient(y, x)) > 0.5
    clear = _distance(np.column_stack([x, y]), np.column_stack([x, y])[steep]) >= width / 2
    return np.column_stack([x, y])[clear] if clear.any() else np.column_stack([x, y])


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


def _check(cutter: Cutter, depth: float) -> None:
    where = f"cutter {cutter.name!r}"
    if cutter.shape != "flat-end":
        raise CutterError(where, f"a {cutter.shape} cutter cannot cut an upright edge", allowed="flat-end")
    if cutter.flute_length < depth:
        raise CutterError(
            where, f"its flute is {cutter.flute_length:g} mm long and the outline is {depth:g} mm deep",
            allowed=f"a flute of {depth:.2f} mm or more", remedy="take a longer cutter",
        )


def _descent(ring: LinearRing, cutter: Cutter, top: float, bottom: float) -> tuple[Floats, Floats]:
    """Stations along the ring, counted on from lap to lap, and heights: a ramp down and a level lap for each layer.

    Each lap sinks over its first stretch to the next layer; the last stretch is gone over again at the bottom.
    """
    count = math.ceil((top - bottom) / cutter.stepdown - 1e-9)
    levels = np.linspace(top, bottom, count + 1)
    ramp = min((levels[0] - levels[1]) / (0.9 * min(cutter.plunge / cutter.feed, 0.5)), ring.length / 2)
    corners = shapely.line_locate_point(ring, shapely.points(shapely.get_coordinates(ring)[:-1]))
    laps = ring.length * np.arange(count)
    knots = np.concatenate([[0.0], np.ravel(laps[:, None] + [ramp, ring.length]), [count * ring.length + ramp]])
    heights = np.concatenate([[top], np.repeat(levels[1:], 2), [bottom]])
    every_corner = np.ravel(laps[:, None] + corners)
    overlap = count * ring.length + corners[corners < ramp]
    stations = np.unique(np.round(np.concatenate([knots, every_corner, overlap]), 9))
    return stations, np.interp(stations, knots, heights)


def _over_tabs(
    stations: Floats, z: Floats, lap: float, tabs: Floats, height: float, half: float
) -> tuple[Floats, Floats]:
    """The descent held at `height` or above within `half` of each tab: square up, across, square down."""
    laps = np.arange(math.ceil(stations[-1] / lap) + 1)
    middles = np.ravel(laps[:, None] * lap + tabs)
    edges = np.concatenate([middles - half, middles + half])
    edges = edges[(edges > stations[0]) & (edges < stations[-1])]
    all_stations = np.concatenate([stations, edges, edges])
    low = np.interp(all_stations, stations, z)
    inside = (np.abs(all_stations[:, None] - middles) < half - 1e-9).any(axis=1)
    # Each tab edge stands twice: once on the path's own height, once raised; the order makes it go up, then down.
    raised = np.concatenate([np.zeros(len(stations) + len(edges)), np.ones(len(edges))]).astype(bool)
    height_there = np.where(inside | raised, np.maximum(low, height), low)
    leaving = (np.abs(all_stations[:, None] - (middles + half)) < 1e-9).any(axis=1)
    order = np.lexsort((np.where(leaving, ~raised, raised), all_stations))
    return all_stations[order], height_there[order]
