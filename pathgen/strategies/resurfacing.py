"""Down through what stands over a surface, layer by layer, to the finishing passes: all over, or over an inlay alone.

A job's steps and the functions for one step alone (`cuts`) both come here, so that there is one way.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Literal

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

from pathgen.base import overlay
from pathgen.base.arrays import Floats
from pathgen.base.cutters import Cutter
from pathgen.base.memory import remembered
from pathgen.base.surface import Surface
from pathgen.base.toolpath import Rapids, Toolpath, simplified
from pathgen.strategies.entering import path_in_turn
from pathgen.strategies.surfacing import (
    CHORD,
    Passes,
    ends_of,
    finishing_passes,
    followed,
    seen_by_axis,
    spans_inside,
    strip_spans,
)
from pathgen.work.fill import PAST

Waste = Literal["cleared", "raw", "wall"]
"""What stands past a part's edges: no more than is cut, a blank that nothing has cut, or a wall of it round the cut."""

RIDGE_CLEAR = 0.01
"""How far a lifted pass stays above the ridges of the surface under it, mm."""
_ROUNDED = 1e-4  # how far (mm) what ends on an edge may lie outside it by rounding
MOST_LAYERS = 40
"""Through what stands over a surface: several times what is usual. What takes more is given up when it is simulated."""
RESURFACE_RIDGE = 0.2
"""Ridge left between the passes through what stands proud, as a share of their stepdown."""
LINK = 2.0
"""Longest straight move from the end of one pass to the start of the next, mm."""
_EVERY = 1.0  # how near to each other the lowest place is looked for, mm


@remembered
def finishing(
    passes: Passes, *, allowance: float | None, stock_top: float, later: Passes | None = None, rapids: Rapids,
) -> Toolpath:
    """Down through what stands, then `passes`: through the `allowance` that roughing left, or, with None, raw stock. As
    far out as the `later` passes that will cut it once more go, if there are any."""
    proud = stock_top - _lowest(passes) if allowance is None else allowance
    # roughing leaves the allowance past the edges too, where the layers through it do not reach without a rim
    runs = resurfacing_runs(passes, proud=proud, stepdown=passes.cutter.stepdown, waste="raw", later=later)
    # down a steep radius the stock stands so high over the surface that over the crest layers are far up in the air
    return path_in_turn([_no_higher(run, rapids.air_z) for run in runs], passes.cutter, rapids)


@remembered
def cutting_again(
    passes: Passes, *, proud: float, stepdown: float, skim: float = 0.0, waste: Waste = "cleared", rapids: Rapids,
) -> Toolpath:
    """Down through what stands `proud` of the whole surface, then `passes` again, or `skim` lower."""
    runs = resurfacing_runs(passes, proud=proud, stepdown=stepdown, skim=skim, waste=waste)
    return path_in_turn(runs, passes.cutter, rapids)


@remembered
def cutting_again_over(
    area: Polygon | MultiPolygon, passes: Passes, *, proud: float, stepdown: float, beneath: float | None = None,
    stays: bool = True, waste: Waste = "cleared", rapids: Rapids,
) -> Toolpath:
    """Down through what stands `proud` over an area alone, then `passes` over it again, as `resurfacing_runs_over`."""
    runs = resurfacing_runs_over(area, passes, proud=proud, stepdown=stepdown, beneath=beneath, stays=stays,
                                 waste=waste)
    return path_in_turn(runs, passes.cutter, rapids)


def resurfacing_runs(
    last: Passes, *, proud: float, stepdown: float, skim: float = 0.0, waste: Waste = "cleared",
    later: Passes | None = None,
) -> list[Floats]:
    """Runs through what stands `proud` of the surface, then the passes of `last` as they are, or `skim` lower.

    Every run but the last is lifted, and spaced so wide that it leaves ridges of a fifth of `stepdown`. Over the
    board, where nothing stands higher than `proud`, no run takes more than `stepdown`, ridges counted in; past its
    edges, where raw waste may stand higher, a run takes all that it meets: where that `waste` is not "cleared", each
    layer goes round where the last passes end, which reach further out than the wide ones; where it is a "wall", at the
    ends of an earlier `last`, no run goes further out. Where passes that are to follow, `later`, go further out, it
    goes round their ends too. With no skim no lifted run touches the ridges of an earlier `last`.
    """
    heights = heights_above(proud, stepdown, skim, ridge=last.scallop)
    final = [last.run - [0.0, 0.0, skim] if skim else last.run]
    rims = [last]
    if later is not None and shapely.distance(shapely.points(later.rim), last.over).max() > CHORD:
        rims.append(later)
        final.insert(0, _rim(later, last))
    if not heights:
        return final
    wide = coarse_passes(last, stepdown)
    layer = [_kept_within(wide, last) if waste == "wall" else wide.run]
    if waste != "cleared":
        layer += [_rim(passes, last) for passes in rims]
    return [*(run + [0.0, 0.0, h] for h in heights for run in layer), *final]


def heights_above(proud: float, stepdown: float, skim: float = 0.0, *, ridge: float) -> list[float]:
    """Heights above the surface of the passes through what stands `proud`, all but the last one, from the top. With no
    skim the lowest stays clear of ridges of `ridge` that are there already: they are wood to be kept."""
    heights = []
    height = proud - stepdown
    while height > -skim + 1e-9:
        heights.append(height)
        height -= stepdown * (1.0 - RESURFACE_RIDGE)
    clear = ridge + RIDGE_CLEAR
    if heights and not skim and heights[-1] < clear:
        heights = [h for h in heights if h > clear] + ([clear] if clear < proud else [])
    return heights


def least_stepdown(high: float) -> float:
    """The stepdown that takes what stands `high` over a surface in no more than MOST_LAYERS layers, mm: none is thicker
    than its stepdown less the ridges of the one above."""
    return high / (1.0 - RESURFACE_RIDGE) / MOST_LAYERS


def coarse_passes(last: Passes, stepdown: float) -> Passes:
    """The wide passes that go through what stands proud of `last`."""
    ridge = min(RESURFACE_RIDGE * stepdown, 0.5 * last.cutter.radius)
    return finishing_passes(last.outline, last.surface, last.cutter, scallop=ridge, entry=stepdown, upright=True)


def _kept_within(passes: Passes, first: Passes) -> Floats:
    """The passes, and the ways between them, as far as those of `first` went, within the line round their ends."""
    if len(first.y) < 2:
        return first.run
    spans = spans_inside(first.over, passes.y)
    met = spans[:, 1] > spans[:, 0]
    if not met.any():
        return first.run
    ends = ends_of(spans[met], passes.y[met])
    inside = within(first.over)
    links = [way_inside(a[-1], b[0], inside) for a, b in pairwise(ends)]
    corners = np.concatenate([way for pair in zip(ends, [*links, np.empty((0, 2))], strict=True) for way in pair])
    return followed(corners[simplified(corners, CHORD)], first.surface, first.cutter, CHORD)


def within(region: BaseGeometry) -> Polygon:
    """A region for ways to keep inside, whose ends lie on its edge."""
    return overlay.buffer(region, _ROUNDED, join_style="mitre")


def way_inside(start: Floats, end: Floats, inside: BaseGeometry) -> Floats:
    """(n, 2) from one place to another: straight on, or along the edge of `inside` where that would leave it."""
    ends = np.array([start, end])
    if shapely.covers(inside, shapely.linestrings(ends)):
        return ends
    edges = shapely.get_rings(inside)
    edge = edges[np.argmin(shapely.distance(edges, shapely.points(start)))]
    at = shapely.line_locate_point(edge, shapely.points(ends))
    low, high, length = float(at.min()), float(at.max()), float(edge.length)
    if high - low <= length / 2:
        way = shapely.get_coordinates(substring(edge, low, high))
    else:
        way = shapely.get_coordinates([substring(edge, high, length), substring(edge, 0.0, low)])[::-1]
    return np.vstack([ends[:1], way if at[0] < at[1] else way[::-1], ends[1:]])


def _rim(passes: Passes, last: Passes) -> Floats:
    """(n, 3) tips all the way round, through the ends of all passes, on the surface of `last`."""
    plan = shapely.get_coordinates(passes.rim_line)
    return np.column_stack([plan, last.surface.tip_height(last.cutter, plan[:, 0], plan[:, 1])])


def _no_higher(run: Floats, top: float) -> Floats:
    """The run, level at `top` where it would go above that."""
    over = run[:, 2] - top
    if over.max() <= 0.0:
        return run
    leaves = np.flatnonzero(over[1:] * over[:-1] < 0.0)
    share = (over[leaves] / (over[leaves] - over[leaves + 1]))[:, None]
    run = np.insert(run, leaves + 1, run[leaves] + share * (run[leaves + 1] - run[leaves]), axis=0)
    return np.column_stack([run[:, :2], np.minimum(run[:, 2], top)])


def _lowest(passes: Passes) -> float:
    """The lowest that the surface lies under a finishing cutter, mm: passes reach past the long edges, relief dips."""
    under = overlay.buffer(passes.outline, passes.cutter.radius, join_style="mitre")
    points = shapely.get_coordinates(shapely.segmentize(under, _EVERY))
    on_line = np.where([[True], [False]], points[:, 1], 0.0)  # a hollow is lowest on its centre-line
    with np.errstate(invalid="ignore"):
        return float(np.nanmin(passes.surface.height(points[:, 0], on_line)))


def resurfacing_runs_over(
    area: BaseGeometry, last: Passes, *, proud: float, stepdown: float, beneath: float | None, stays: bool = True,
    waste: Waste = "cleared",
) -> list[Floats]:
    """Runs through what stands `proud` over `area`, then the passes of `last` over it, on their own lines.

    With `beneath` the passes of `last` are left to what comes after, which takes so many mm below their surface too.
    The layers keep clear of the ridges that they left, where all between them `stays`; else they go down through them.
    Where a wall of `waste` stands where they ended, no run goes further out, and each layer goes along it. What lies
    apart is cut along the part in one layer, and back in the next.

    Like `resurfacing_runs` over a part of the board. The fill must not lie further out than `area`; a flat
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
        filled = overlay.intersection(clear, on_board)
        coarse = _along(runs_over(coarse_passes(last, stepdown), filled, inside=inside))
        rims = _along(_rims_over(last, filled)) if inside is not None else []
        runs += [run + [0.0, 0.0, h] for nth, h in enumerate(heights)
                 for run in [*coarse[:: 1 - nth % 2 * 2], *rims[:: nth % 2 * 2 - 1]]]
    if beneath is not None:
        return runs
    final = _along(runs_over(last, overlay.intersection(area, on_board), ridge=last.scallop))
    return runs + final[:: 1 - len(heights) % 2 * 2]


def _along(runs: list[Floats]) -> list[Floats]:
    """From the near end of the part to its far end."""
    return sorted(runs, key=lambda run: float(run[:, 0].min() + run[:, 0].max()))


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
