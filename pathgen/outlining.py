"""Cutting the board free: round its outline in layers, leaving tabs to hold it."""

from __future__ import annotations

import math

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LinearRing, Polygon

from pathgen.cutters import Cutter
from pathgen.errors import CutterError
from pathgen.toolpath import Toolpath

Floats = NDArray[np.float64]


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
    grown = outline.buffer(cutter.radius, join_style="mitre", mitre_limit=2.0, quad_segs=64)
    return LinearRing(shapely.get_coordinates(shapely.orient_polygons(grown, exterior_cw=True).exterior))


def tab_points(outline: Polygon, count: int, *, avoid: Floats, width: float) -> Floats:
    """(count, 2) points on the long edges for tabs: spread evenly, moved clear of the points `avoid`, (m, 2).

    Half of the tabs stand on each edge. A tab that would fall where a fret's slot opens moves to the middle
    between two.
    """
    x0, _, x1, _ = outline.bounds
    points = []
    for side, number in ((-1, count // 2), (1, count - count // 2)):
        blocked = np.sort(avoid[np.sign(avoid[:, 1]) == side, 0]) if len(avoid) else np.empty(0)
        for k in range(number):
            x = _clear_of(x0 + (x1 - x0) * (k + 0.5) / number, blocked, width, (x0, x1))
            points.append(_edge_point(outline, x, side))
    return np.array(points).reshape(-1, 2)


def _clear_of(x: float, blocked: Floats, width: float, limits: tuple[float, float]) -> float:
    """The nearest place to x that is half of `width` from all of `blocked`, or the middle of the widest gap near."""
    walls = np.concatenate([[limits[0]], blocked, [limits[1]]])
    low, high = walls[:-1] + width / 2, walls[1:] - width / 2
    roomy = low <= high
    if not roomy.any():
        widest = int(np.argmax(high - low))
        return float(walls[widest] + walls[widest + 1]) / 2
    nearest = np.clip(x, low[roomy], high[roomy])
    return float(nearest[np.argmin(np.abs(nearest - x))])


def _edge_point(outline: Polygon, x: float, side: int) -> Floats:
    far = max(abs(outline.bounds[1]), abs(outline.bounds[3])) + 1.0
    across = shapely.intersection(shapely.LineString([(x, 0.0), (x, side * far)]), outline)
    coordinates = shapely.get_coordinates(across)
    return np.asarray(coordinates[np.argmax(np.abs(coordinates[:, 1]))])


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
