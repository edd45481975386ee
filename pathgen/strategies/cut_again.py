"""The second cut over an inlay: the stretches of the passes, and of the layers above, that lie over it and round it."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.arrays import Floats
from pathgen.base.cutters import Cutter
from pathgen.base.surface import Surface
from pathgen.strategies.resurfacing import RIDGE_CLEAR, Waste, coarse_passes, heights_above, way_inside, within
from pathgen.strategies.surfacing import Passes, seen_by_axis, spans_inside, strip_spans
from pathgen.work.fill import PAST

LINK = 2.0
"""Longest straight move from the end of one pass to the start of the next, mm."""


def resurfacing_runs_over(
    area: BaseGeometry, last: Passes, *, proud: float, stepdown: float, beneath: float | None, stays: bool = True,
    waste: Waste = "cleared",
) -> list[Floats]:
    """Runs through what stands `proud` over `area`, then the passes of `last` over it, on their own lines.

    With `beneath` the passes of `last` are left to what comes after, which takes so many mm below their surface too.
    The layers keep clear of the ridges that they left, where all between them `stays`; else they go down through them.
    Where a wall of `waste` stands where they ended, no run goes further out, and each layer goes along it.

    Like `resurfacing.resurfacing_runs` over a part of the board. The fill must not lie further out than `area`; a flat
    end comes down beside it.
    """
    on_board = overlay.buffer(last.outline, PAST, join_style="mitre")
    under = beneath or 0.0
    if not stays and proud > stepdown:
        proud = max(proud, last.scallop)
    ridge = last.scallop + under if stays else 0.0
    heights = [h - under for h in heights_above(proud + under, stepdown, ridge=ridge)]
    runs: list[Floats] = []
    if heights:
        inside = last.over if waste == "wall" else None
        clear = overlay.buffer(area, last.cutter.radius) if last.cutter.is_flat else area
        within = overlay.intersection(clear, on_board)
        coarse = runs_over(coarse_passes(last, stepdown), within, inside=inside)
        coarse += _rims_over(last, within) if inside is not None else []
        runs += [run + [0.0, 0.0, h] for h in heights for run in coarse]
    if beneath is not None:
        return runs
    return runs + runs_over(last, overlay.intersection(area, on_board), ridge=last.scallop)


def runs_over(
    passes: Passes, area: BaseGeometry, *, ridge: float = 0.0, inside: BaseGeometry | None = None,
) -> list[Floats]:
    """Tip positions, a run for each separate part of `area`, along the lines of `passes`, `inside`, and nowhere else.

    The cutter touches the surface all over `area`; from one pass to the next it goes a little above it,
    clear of the ridges, `ridge` mm high, that the first cut left there. Passes that are cut short end on their
    own line, so that the second cut takes no more than the first.
    """
    lines, surface, cutter = _lines(passes), passes.surface, passes.cutter
    if inside is not None:
        spans = spans_inside(inside, passes.y)
        lines = [_between(line, x0, x1) for line, (x0, x1) in zip(lines, spans, strict=True)]
        inside = within(inside)
    merged = shapely.get_parts(_all_seen_by_axis(area, passes))
    clear = _clear_of(ridge, cutter.radius) if ridge else 0.0
    return [run for part in merged if len(run := _run_over(part, passes.y, lines, surface, cutter, clear, inside))]


def _rims_over(passes: Passes, area: BaseGeometry) -> list[Floats]:
    """Tip positions along the ends of all passes, as far as the cutter touches the surface over `area` there."""
    met = overlay.intersection(passes.rim_line, _all_seen_by_axis(area, passes))
    pieces = shapely.get_parts(shapely.line_merge(met))
    ways = [shapely.get_coordinates(one) for one in pieces if shapely.length(one) > 0.0]
    return [np.column_stack([way, passes.surface.tip_height(passes.cutter, *way.T)]) for way in ways]


def _all_seen_by_axis(area: BaseGeometry, passes: Passes) -> BaseGeometry:
    """Where the cutter's axis is while it touches the surface over an area."""
    return overlay.union_all([seen_by_axis(part, passes.surface, passes.cutter.radius, every=1.0)
                              for part in shapely.get_parts(area)])


def _run_over(
    region: Polygon, y: Floats, lines: list[Floats], surface: Surface, cutter: Cutter, clear: float,
    inside: BaseGeometry | None,
) -> Floats:
    """Back and forth over one part; from pass to pass straight on, or along the edge of `inside` to stay in it."""
    cut = [_between(line, x0, x1) for line, (x0, x1) in zip(lines, strip_spans(region, y), strict=True)]
    pieces = [piece[:: 1 - k % 2 * 2] for k, piece in enumerate(filter(len, cut))]
    joined = pieces[:1]
    for before, piece in pairwise(pieces):
        ends = before[-1, :2], piece[0, :2]
        way = ends if inside is None else way_inside(*ends, inside)
        joined += [*(_link(a, b, surface, cutter, clear) for a, b in pairwise(way)), piece]
    return np.concatenate(joined) if joined else np.empty((0, 3))


def _lines(passes: Passes) -> list[Floats]:
    """The knots of each pass, x rising, without those of the ramp that a flat end comes down on."""
    lines = []
    run = passes.run[passes.run[:, 2] <= passes.surface.tip_height(passes.cutter, *passes.run[:, :2].T) + 1e-9]
    for y in passes.y:
        line = run[run[:, 1] == y]
        lines.append(line[np.argsort(line[:, 0], kind="stable")])
    return lines


def _between(line: Floats, x0: float, x1: float) -> Floats:
    """The stretch of a pass from x0 to x1: its own knots, and ends on the straight lines between them. Nothing where x0
    and x1 are NaN."""
    x0, x1 = (max(x0, line[0, 0]), min(x1, line[-1, 0])) if len(line) else (0.0, 0.0)
    if not x0 < x1:
        return np.empty((0, 3))
    inner = line[(line[:, 0] > x0) & (line[:, 0] < x1), 0]
    x = np.concatenate([[x0], inner, [x1]])
    return np.column_stack([x, np.full_like(x, line[0, 1]), np.interp(x, line[:, 0], line[:, 2])])


def _clear_of(ridge: float, radius: float) -> float:
    """How high over the surface a ball is to begin to sink from over a ridge to the pass beside it.

    Twice as high as the ridge and a little; or, of high ones, so that its way down is as steep as the ridge's own flank
    at its crest: u / (r - h) for a ridge h high and u wide to either side (plane geometry: u^2 = 2 r h - h^2).
    """
    return max(2.0 * ridge + RIDGE_CLEAR, ridge * (2.0 * radius - ridge) / max(radius - ridge, radius / 50.0))


def _link(start: Floats, end: Floats, surface: Surface, cutter: Cutter, clear: float) -> Floats:
    """Points from the end of one pass to the start of the next: up by `clear`, along the surface, and sinking again.

    It sinks over the second half, from high enough to stay above the ridge there all the way. Where the surface bends
    along the board a straight way would go through its crest: a point stands there.
    """
    way = end[:2] - start[:2]
    count = 2 * max(1, int(np.ceil(np.hypot(*way) / (2 * LINK))))
    bends = surface.bends[(surface.bends > min(start[0], end[0])) & (surface.bends < max(start[0], end[0]))]
    share = np.union1d(np.arange(count) / count, (bends - start[0]) / (way[0] or 1.0))[:, None]
    plan = start[:2] + share * way
    lift = clear * np.minimum(1.0, 2.0 * (1.0 - share[:, 0]))
    return np.column_stack([plan, surface.tip_height(cutter, plan[:, 0], plan[:, 1]) + lift])
