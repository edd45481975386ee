"""Roughing: the raw stock taken down in layers, and what it leaves where it clears."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from shapely import LineString, Polygon

from pathgen.base import overlay
from pathgen.base.arrays import Bools, Bounds, Floats, stretches
from pathgen.base.cutters import Cutter
from pathgen.base.memory import remembered
from pathgen.base.surface import Surface
from pathgen.base.toolpath import Rapids, Toolpath, along_in_plan
from pathgen.strategies.easing import Standing, eased
from pathgen.strategies.entering import path_in_turn, ramped_in
from pathgen.strategies.resurfacing import coarse_passes
from pathgen.strategies.surfacing import CHORD, OVERRUN, Passes, strip_spans, zigzag
from pathgen.strategies.uphill import too_steep

_MARGIN = 1.0  # how far roughing clears past what the finishing cutter needs, mm
_CLEAR = 0.2  # how far beyond what the finishing cutter opens roughing clears at the least, mm
_CRESTS = 0.1  # how near to each other (mm) it is looked how high roughing leaves ridges
_ROUGH_CHORD = 5e-3  # how far straight moves may cut below the floor that roughing leaves, where it leaves as much, mm
_EVERY = 5.0  # between places of the outline at which it is asked how low the surface lies, mm
_LEVEL = 1e-6  # what falls less (mm) is level
_AS_GOOD_AS_FLAT = 0.05
"""What lies no further above a cutter's tip (mm) is taken to be cleared by it at the edge of what it roughs."""


@remembered
def roughing(
    outline: Polygon, surface: Surface, cutter: Cutter, *, finish: Cutter | None, stock_top: float, allowance: float,
    past: float = 0.0, blank: Bounds | None = None, rapids: Rapids,
) -> Toolpath:
    """Layers down to `allowance` above the surface, eased where the cutter is in wood over its whole width."""
    runs = roughing_runs(outline, surface, cutter, finish=finish, stock_top=stock_top, allowance=allowance,
                         past=past, blank=blank)
    path = path_in_turn(runs, cutter, rapids)
    if not len(path):
        return path
    bounds = [*path.points[:, :2].min(axis=0), *path.points[:, :2].max(axis=0)]
    return eased(path, cutter, Standing.over(bounds, [cutter], None, level=stock_top, in_rows=True))


def roughing_runs(
    outline: Polygon, surface: Surface, cutter: Cutter, *, finish: Cutter | None, stock_top: float, allowance: float,
    past: float = 0.0, blank: Bounds | None = None,
) -> list[Floats]:
    """Runs that take the stock down to `allowance` above the surface, in layers of the cutter's stepdown.

    Each is entered along a ramp. They clear the board, and as much around it as the `finish` cutter opens, so that
    the finishing passes, which go `past` the outline by so many mm, meet no standing wall; beside the `blank` there is
    none. No run goes nearer to the surface than `allowance`.
    """
    reach = rough_reach(outline, surface, cutter, finish=finish, stock_top=stock_top, past=past, blank=blank)
    y = _rough_lines(reach, cutter)
    chord = min(_ROUGH_CHORD, max(allowance, CHORD))  # where nothing is left, straight moves cut no deeper either
    floor = zigzag(strip_spans(reach, y, reach=1.0), y, surface, cutter, chord) + [0.0, 0.0, allowance]
    floor[:, 2] = np.maximum(floor[:, 2], 0.0)  # beside a round board the surface goes on down, below the underside
    return _layers(floor, stock_top, cutter, ridge=float(cutter.profile(_half_apart(cutter))))


def rough_reach(
    outline: Polygon, surface: Surface, cutter: Cutter, *, finish: Cutter | None, stock_top: float, past: float,
    blank: Bounds | None,
) -> Polygon:
    """Where the axis of a roughing cutter goes: see `roughing_runs`. Within the outline where its rim is enough."""
    lowest = float(np.nanmin(surface.height(*shapely.get_coordinates(outline.exterior.segmentize(_EVERY)).T)))
    around = float(finish.half_width(stock_top - lowest)) if finish is not None else 0.0
    beside = _cleared_beside(cutter)
    out = max(around + max(_MARGIN, past + _CLEAR) - beside, around + OVERRUN - _past_ends(cutter), -0.4 * beside)
    reach = overlay.buffer(outline, out, join_style="mitre")
    opened = around + past
    if out < 0 and not shapely.covers(roughed(reach, cutter), overlay.buffer(outline, opened)):  # points and tails
        reach = overlay.buffer(outline, max(opened - _past_ends(cutter), 0.0), join_style="mitre")
    if blank is None:
        return reach
    return overlay.intersection(reach, overlay.buffer(shapely.box(*blank), cutter.radius, join_style="mitre"))


@remembered
def rough_stairs(passes: Passes, cutter: Cutter, *, stock_top: float, past: float, blank: Bounds) -> float:
    """The most that roughing leaves over its allowance where finishing `passes` go, and wide ones before them, mm:
    ridges, higher where it is round, and the stairs of a flat end, which stands on the uphill side of its way."""
    if passes.surface.is_flat:
        return rough_ridge(cutter)
    surface, wide = passes.surface, coarse_passes(passes, passes.cutter.stepdown)
    # a line needs two points, and of one pass alone each side has but one
    ends = [np.repeat(side, 2, axis=0) for one in (passes, wide) for side in np.split(one.rim, 2)]
    places = shapely.get_coordinates(shapely.segmentize([LineString(side) for side in ends], _CRESTS))
    places = places[shapely.intersects_xy(shapely.box(*blank), *places.T)]
    x, across = places[:, :1], places[:, 1:]
    reach = rough_reach(passes.outline, surface, cutter, finish=passes.cutter, stock_top=stock_top, past=past,
                        blank=blank)
    lines = _rough_lines(reach, cutter)
    spans = strip_spans(reach, lines, reach=1.0)
    apart = lines[1] - lines[0]
    in_reach = math.ceil(cutter.radius / apart)
    near = np.floor((across - lines[0]) / apart).astype(np.intp) + np.arange(1 - in_reach, 1 + in_reach)
    near = np.clip(near, 0, len(lines) - 1)
    y, on_way = lines[near], np.clip(x, spans[near, 0], spans[near, 1])
    left = surface.tip_height(cutter, on_way, y) + cutter.profile(np.hypot(x - on_way, across - y))
    return float(np.nanmax(np.minimum(left.min(axis=1), stock_top) - surface.height(*places.T), initial=0.0))


def _rough_lines(reach: Polygon, cutter: Cutter) -> Floats:
    """Where across the board roughing passes lie."""
    _, y0, _, y1 = reach.bounds
    return np.linspace(y0, y1, max(2, math.ceil((y1 - y0) / (2 * _half_apart(cutter))) + 1))


def roughed(reach: Polygon, cutter: Cutter) -> Polygon:
    """What roughing passes over `reach` clear for sure: between the ends of two, less past it than at each end."""
    return overlay.buffer(reach, _past_ends(cutter))


def rough_ridge(cutter: Cutter) -> float:
    """The most that roughing leaves over its floor where it clears, mm: midway between the ends of two passes."""
    return 0.0 if cutter.is_flat else float(cutter.profile(math.hypot(_half_apart(cutter), _past_ends(cutter))))


def _past_ends(cutter: Cutter) -> float:
    return _cleared_beside(cutter) * math.sqrt(max(1.0 - cutter.stepover**2, 0.0))


def _half_apart(cutter: Cutter) -> float:
    """Half from pass to pass, at the most: a layer of a round end leaves ridges, which the next takes as well, no
    higher than half of its stepdown."""
    return min(cutter.stepover * cutter.diameter / 2, float(cutter.half_width(cutter.stepdown / 2)))


def _cleared_beside(cutter: Cutter) -> float:
    """How far from its axis a roughing cutter clears as good as all, mm: a flat end to its rim."""
    return float(cutter.half_width(_AS_GOOD_AS_FLAT))


def _layers(floor: Floats, top: float, cutter: Cutter, *, ridge: float) -> list[Floats]:
    """One run for each layer from `top` down: the floor, held up to the layer's level. All but the first also meet the
    ridges of the one before."""
    lowest = float(floor[:, 2].min())
    count = max(1, math.ceil((top - lowest) / cutter.stepdown - 1e-9))
    if count > 1:
        count = max(count, math.ceil((top - lowest) / (cutter.stepdown - ridge) - 1e-9))
    levels = top - np.arange(1, count + 1) * (top - lowest) / count
    runs: list[Floats] = []
    for level in levels:
        run = floor.copy()
        run[:, 2] = np.maximum(run[:, 2], level)
        above = np.concatenate([[True], floor[:, 2] < level + (top - lowest) / count])
        parts = _stretches(run, above[1:])
        # a round end goes straight down, if it may
        runs += [ramped_in(_down_ramps(part, cutter), level + (top - lowest) / count, cutter)
                 for part in parts] if cutter.is_flat else parts
    return runs


def _down_ramps(run: Floats, cutter: Cutter) -> Floats:
    """A flat end's run, which goes down to its next pass along that, there and back, where the way across to it falls
    more steeply than one that cannot cut at its centre may sink."""
    if cutter.plunges:
        return run
    step = np.diff(run, axis=0)
    falls = -step[:, 2] > too_steep(cutter) * np.hypot(step[:, 0], step[:, 1]) + _LEVEL
    for first, last in reversed(stretches(falls).tolist()):
        high, after = float(run[first, 2]), run[last:]
        if along_in_plan(after)[-1] > 0.0:
            across = np.column_stack([run[first + 1 : last, :2], np.full(last - first - 1, high)])
            run = np.vstack([run[: first + 1], across, ramped_in(after, high, cutter)])
    return run


def _stretches(run: Floats, wanted: Bools) -> Sequence[Floats]:
    """The parts of a run where there is something to cut, each with a point before and after."""
    near = wanted.copy()
    near[1:] |= wanted[:-1]
    near[:-1] |= wanted[1:]
    return [run[first:stop] for first, stop in stretches(near)]
