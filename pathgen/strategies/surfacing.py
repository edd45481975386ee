"""Cutting the radius: roughing, finishing to a ridge height, and cutting it again over a cured fill.

Passes run parallel to the centre-line, back and forth. On a cylinder each is one straight move; on a cone a
pass follows a flat curve in a few straight moves. A pass is spaced from the next so that the ridge between
them is the limit at its worst place and a little less elsewhere.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon, STRtree
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

from pathgen.base import overlay
from pathgen.base.arrays import Bools, Bounds, Floats
from pathgen.base.cutters import Cutter
from pathgen.base.errors import CutterError
from pathgen.base.lowered import Lowered
from pathgen.base.memory import remembered
from pathgen.base.scallop import scallop_height, stepover_for
from pathgen.base.surface import Surface
from pathgen.base.toolpath import simplified
from pathgen.strategies.entering import ramped_in

Waste = Literal["cleared", "raw", "wall"]
"""What stands past a part's edges: no more than is cut, a blank that nothing has cut, or a wall of it round the cut."""

OVERRUN = 0.2
"""How far passes run on past the ends of the board, mm, so that the ridges end in waste."""

EDGE_MARGIN = 0.02
"""How far the finished strip reaches past the long edges, mm."""

ROUNDING = 1e-4
"""Kept back from the ridge height allowed, mm: coordinates are written rounded."""

ROUGH_MARGIN = 1.0
"""How far roughing clears past what the finishing cutter needs, mm."""

RIDGE_CLEAR = 0.01
"""How far a lifted pass stays above the ridges of the surface under it, mm."""

_CLEAR = 0.2
"""How far beyond what the finishing cutter opens roughing clears at the least, mm."""

_EVERY = 5.0
"""Longest straight move along the ends of passes, mm."""

_ROUNDED = 1e-4
"""How far (mm) what ends on an edge may lie outside it by rounding."""

_CRESTS = 0.1
"""How near to each other (mm) it is looked how high roughing leaves ridges."""

_CHORD = 2e-4
"""How far straight moves of passes may cut below the surface, mm."""

_ROUGH_CHORD = 5e-3
"""The same for roughing, mm, where it leaves as much."""

_AS_GOOD_AS_FLAT = 0.05
"""What lies no further above a cutter's tip (mm) is taken to be cleared by it at the edge of what it roughs."""

_STRIPS = 400
"""Across the board, that the area of its surface is summed from."""

MOST_LAYERS = 40
"""Through what stands over a surface: several times what is usual. What takes more is given up when it is simulated."""

RESURFACE_RIDGE = 0.2
"""Ridge left between the passes through what stands proud, as a share of their stepdown."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Passes:
    """Lengthwise passes of a cutter over a surface: the pattern that finishing and re-surfacing share.

    Attributes
    ----------
    outline, surface, cutter : Polygon, Surface, Cutter
        What is cut, in plan, to what, and with what.
    run : (n, 3) float array
        Tip positions of all passes in turn, with the links between them: one continuous run.
    y : (p,) float array
        Where each pass lies across the board (axis of the cutter), mm.
    stepover : float
        Widest distance between passes along the surface, mm.
    scallop : float
        Highest ridge they leave by the exact formula, mm.
    """

    outline: Polygon
    surface: Surface
    cutter: Cutter
    run: Floats
    y: Floats
    stepover: float
    scallop: float

    @cached_property
    def rim(self) -> Floats:
        """(2 p, 2) the ends of all passes, all the way round."""
        x, y = self.run[:, :2].T
        of = np.searchsorted(self.y, y).clip(0, len(self.y) - 1)
        on = self.y[of] == y  # links are between passes
        low, high = np.full(len(self.y), np.inf), np.full(len(self.y), -np.inf)
        np.minimum.at(low, of[on], x[on])
        np.maximum.at(high, of[on], x[on])
        return np.concatenate([np.column_stack([low, self.y]), np.column_stack([high, self.y])[::-1]])

    @cached_property
    def over(self) -> Polygon | LineString:
        """What lies between the ends of all passes."""
        return Polygon(self.rim) if len(self.rim) > 2 else LineString(self.rim)

    @cached_property
    def rim_line(self) -> LineString:
        """All the way round, through the ends of all passes, in pieces so short that moves along it follow the surface.
        """
        return shapely.segmentize(LineString([*self.rim, self.rim[0]]), _EVERY)

    @property
    def past(self) -> float:
        """How far past the outline they go, mm."""
        return float(shapely.distance(shapely.points(self.rim), self.outline).max())

    @cached_property
    def _moves(self) -> STRtree:
        return STRtree(shapely.linestrings(np.stack([self.run[:-1, :2], self.run[1:, :2]], axis=1)))

    def stands(self, places: Floats, surface: Surface, *, reach: float | Floats) -> Floats:
        """(n,) the most that may stand within `reach` mm of (n, 2) places once these passes are gone over `surface`, or
        (k, n) within each of (k, 1) reaches: what the cutter leaves where it came nearest; infinite further out."""
        points = shapely.points(places)
        (at, move), away = self._moves.query_nearest(points, return_distance=True)
        share = np.nan_to_num(shapely.line_locate_point(self._moves.geometries[move], points[at], normalized=True))
        low, high = self.run[move, 2], self.run[move + 1, 2]
        tip, off = np.full(len(places), np.inf), np.zeros(len(places))
        np.minimum.at(tip, at, low + share * (high - low))
        off[at] = away
        return np.asarray(tip + surface.thickness - self.surface.thickness + self.cutter.profile(off + reach))


@remembered
def finishing_passes(
    outline: Polygon, surface: Surface, cutter: Cutter, *, scallop: float, stepover: float | None = None,
    entry: float = 0.0, upright: bool = False,
) -> Passes:
    """Passes of a ball-end cutter that leave ridges no higher than `scallop` all over `outline`: square to the surface,
    or `upright`, as cuts are measured, straight up, where those of a steep flank stand higher.

    A flat end finishes a level surface, and leaves no ridges: its passes are `stepover` mm apart, or by its own share
    of its diameter, entered along a ramp from `entry` mm above. Raises CutterError for a cutter that cannot finish the
    surface, or for ridges as high as its radius.
    """
    if cutter.is_flat and surface.is_level:
        return _level_passes(outline, surface, cutter, stepover or cutter.stepover * cutter.diameter, entry)
    if cutter.shape != "ball-end":
        raise CutterError(
            f"cutter {cutter.name!r}", f"a {cutter.shape} cutter cannot finish a radius",
            allowed="ball-end; flat-end where all of the top is level",
            remedy="take a ball-end cutter",
        )
    if not ROUNDING < scallop < cutter.radius:
        raise CutterError(
            "[surface] scallop", f"{scallop:g} mm with {cutter.name!r}",
            allowed=f"between {ROUNDING:g} mm and the ball's radius, {cutter.radius:g} mm",
        )
    r = cutter.radius
    xs = np.linspace(outline.bounds[0], outline.bounds[2], 65)
    region = overlay.buffer(seen_by_axis(outline, surface, r, every=2.0), EDGE_MARGIN, join_style="mitre")
    y_edge = max(abs(region.bounds[1]), abs(region.bounds[3]))
    y_grid = np.linspace(0.0, y_edge, 1001)
    asked = scallop - ROUNDING
    while True:
        y, spans = _lines(region, y_grid, _allowed_spacing(surface, region, xs, y_grid, r, asked, upright))
        stepover, ridge = _widest(surface, region, xs, y, r)
        if ridge <= scallop:
            break
        asked *= (scallop - ROUNDING) / ridge  # on a tight cone the spacing changes between one pass and the next
    run = _zigzag(spans + [-OVERRUN, OVERRUN], y, surface, cutter, _CHORD)
    return Passes(outline=outline, surface=surface, cutter=cutter, run=run, y=y, stepover=stepover, scallop=ridge)


def _lines(region: Polygon, grid: Floats, allowed: Floats) -> tuple[Floats, Floats]:
    """(p,) where passes lie that are as far apart as `allowed` at each y of a grid, one on the centre-line, and (p, 2)
    their x ranges."""
    # t counts passes from the one on the centre-line: its slope is one over the spacing allowed at each y.
    t = np.concatenate([[0.0], np.cumsum(np.diff(grid) * (1 / allowed[1:] + 1 / allowed[:-1]) / 2)])
    y = np.interp(np.arange(math.ceil(t[-1] - 0.5) + 1), t, grid, right=grid[-1])
    y = np.concatenate([-y[:0:-1], y])
    spans = strip_spans(region, y)
    # a fanned board reaches further to one side: the other side's outermost pass may have nothing to finish
    needed = np.isfinite(spans[:, 0])
    return y[needed], spans[needed]


def _level_passes(outline: Polygon, surface: Surface, cutter: Cutter, stepover: float, entry: float) -> Passes:
    """Passes of a flat end, evenly spaced and no further apart than asked, over all of a level surface."""
    region = overlay.buffer(outline, EDGE_MARGIN, join_style="mitre")
    # the outermost reach the long edges with their rims, and a little over; one does where the cutter is wider
    low, high = region.bounds[1] + cutter.radius - OVERRUN, region.bounds[3] - cutter.radius + OVERRUN
    low, high = min(low, (low + high) / 2), max(high, (low + high) / 2)
    y = np.linspace(low, high, math.ceil((high - low) / stepover - 1e-9) + 1)
    spans = strip_spans(region, y) + [-OVERRUN, OVERRUN]
    apart = float(y[1] - y[0]) if len(y) > 1 else stepover
    run = ramped_in(_zigzag(spans, y, surface, cutter, 1.0), surface.thickness + entry, cutter)
    return Passes(outline=outline, surface=surface, cutter=cutter, run=run, y=y, stepover=apart, scallop=0.0)


def roughing_runs(
    outline: Polygon,
    surface: Surface,
    cutter: Cutter,
    *,
    finish: Cutter | None,
    stock_top: float,
    allowance: float,
    past: float = 0.0,
    blank: Bounds | None = None,
) -> list[Floats]:
    """Runs that take the stock down to `allowance` above the surface, in layers of the cutter's stepdown.

    Each is entered along a ramp. They clear the board, and as much around it as the `finish` cutter opens, so that
    the finishing passes, which go `past` the outline by so many mm, meet no standing wall; beside the `blank` there is
    none. No run goes nearer to the surface than `allowance`.
    """
    reach = rough_reach(outline, surface, cutter, finish=finish, stock_top=stock_top, past=past, blank=blank)
    if reach.is_empty:
        raise CutterError(f"cutter {cutter.name!r}", f"{cutter.diameter:g} mm is too large to rough so small a shape",
                          allowed="a cutter smaller than the shape", remedy="take a smaller cutter")
    y = _rough_lines(reach, cutter)
    chord = min(_ROUGH_CHORD, max(allowance, _CHORD))  # where nothing is left, straight moves cut no deeper either
    floor = _zigzag(strip_spans(reach, y, reach=1.0), y, surface, cutter, chord) + [0.0, 0.0, allowance]
    floor[:, 2] = np.maximum(floor[:, 2], 0.0)  # beside a round board the surface goes on down, below the underside
    return _layers(floor, stock_top, cutter, ridge=float(cutter.profile(_half_apart(cutter))))


def rough_reach(
    outline: Polygon, surface: Surface, cutter: Cutter, *, finish: Cutter | None, stock_top: float, past: float,
    blank: Bounds | None,
) -> Polygon:
    """Where the axis of a roughing cutter goes: see `roughing_runs`."""
    out = _rough_out(outline, surface, cutter, finish=finish, stock_top=stock_top, past=past)
    reach = overlay.buffer(outline, out, join_style="mitre")
    if blank is None:
        return reach
    return overlay.intersection(reach, overlay.buffer(shapely.box(*blank), cutter.radius, join_style="mitre"))


def _rough_out(
    outline: Polygon, surface: Surface, cutter: Cutter, *, finish: Cutter | None, stock_top: float, past: float,
) -> float:
    """How far past the outline the axis of a roughing cutter goes, mm; less than 0 where its rim is enough."""
    lowest = float(np.nanmin(surface.height(*_grid(outline))))
    around = float(finish.half_width(stock_top - lowest)) if finish is not None else 0.0
    beside = _cleared_beside(cutter)
    return max(around + max(ROUGH_MARGIN, past + _CLEAR) - beside, around + OVERRUN - _past_ends(cutter), -0.4 * beside)


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
    if later is not None and shapely.distance(shapely.points(later.rim), last.over).max() > _CHORD:
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
    """Heights above the surface of the passes through what stands `proud`, all but the last one, from the top.

    With no skim the lowest stays clear of ridges of `ridge` that are there already: they are wood to be kept.
    """
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


def least_length(outline: Polygon, surface: Surface, stepover: float) -> float:
    """The shortest finishing path there could be: area along the surface over `stepover`, mm."""
    return surface_area(outline, surface) / stepover


def surface_area(outline: Polygon, surface: Surface) -> float:
    """Area of the curved surface within `outline`, mm2: arcs across the board, summed along it."""
    x0, _, x1, _ = outline.bounds
    edges = np.linspace(x0, x1, _STRIPS + 1)
    middle = (edges[1:] + edges[:-1]) / 2
    bounds = shapely.bounds(_across(outline, middle))
    if surface.is_flat:
        return float(outline.area)
    radius = surface.radius(middle)
    arcs = radius * (np.arcsin(bounds[:, 3] / radius) - np.arcsin(bounds[:, 1] / radius))
    return float(np.nansum(arcs) * (x1 - x0) / _STRIPS)


def _grid(outline: Polygon) -> tuple[Floats, Floats]:
    coordinates = shapely.get_coordinates(outline.exterior.segmentize(5.0))
    return coordinates[:, 0], coordinates[:, 1]


def seen_by_axis(part: Polygon, surface: Surface, r: float, *, every: float) -> Polygon:
    """Where the ball's axis is while its contact is over a part: further out by (R + r) / R, at points `every` so far,
    and further along where a fall-away or relief falls along it.
    """
    points = shapely.get_coordinates(part.exterior.segmentize(every))
    if isinstance(surface, Lowered):
        falling = surface.falling(points[:, 0])
        points[:, 0] += r * falling / np.hypot(1.0, falling)
    points[:, 1] *= 1.0 + r / surface.radius(points[:, 0])
    return Polygon(points)


def _allowed_spacing(
    surface: Surface, region: Polygon, xs: Floats, y: Floats, r: float, scallop: float, upright: bool
) -> Floats:
    """Spacing of passes in y, at each y, that leaves `scallop` where along the board it leaves most."""
    radius = surface.radius(xs)[:, None]
    if surface.is_flat:
        return np.broadcast_to(stepover_for(scallop, r, radius).min(), y.shape)
    cos = np.sqrt(1.0 - np.minimum((y / (radius + r)) ** 2, 0.999))
    spacing = stepover_for(scallop * cos if upright else scallop, r, radius) * cos * (radius + r) / radius
    narrowest: Floats = np.where(_on_board(region, xs, y), spacing, np.inf).min(axis=0)
    return np.where(np.isfinite(narrowest), narrowest, spacing.min(axis=0))


def _on_board(region: Polygon, xs: Floats, y: Floats) -> Bools:
    """(len(xs), len(y)): where the board is that wide on either side; passes do not run past it."""
    parts, of = shapely.get_parts(_across(region, xs), return_index=True)
    _, low, _, high = shapely.bounds(parts).T[:, :, None]
    inside = np.zeros((len(xs), len(y)), bool)
    np.logical_or.at(inside, of, ((y >= low) & (y <= high)) | ((-y >= low) & (-y <= high)))
    return inside


def _across(region: BaseGeometry, at: Floats, *, axis: int = 0) -> NDArray[np.object_]:
    """(n,) the lines through a region at each x; with `axis` 1, at each y."""
    low, high = region.bounds[1 - axis] - 1.0, region.bounds[3 - axis] + 1.0
    ends = np.stack([np.column_stack([at, np.full_like(at, far)][:: 1 - 2 * axis]) for far in (low, high)], axis=1)
    lines: NDArray[np.object_] = overlay.intersection(shapely.linestrings(ends), region)
    return lines


def spans_inside(region: BaseGeometry, y: Floats) -> Floats:
    """(p, 2) x range of each pass inside a region; NaN where it lies off it."""
    spans: Floats = shapely.bounds(_across(region, y, axis=1))[:, [0, 2]]
    return spans


def _widest(surface: Surface, region: Polygon, xs: Floats, y: Floats, r: float) -> tuple[float, float]:
    """Widest stepover along the surface, and the highest ridge, between neighbouring passes on the board."""
    if len(y) < 2:
        return 0.0, 0.0
    radius = surface.radius(xs)[:, None]
    if surface.is_flat:
        stepover = np.broadcast_to(np.diff(y), (len(xs), len(y) - 1))
    else:
        angles = np.arcsin(np.minimum(np.abs(y) / (radius + r), 1.0)) * np.sign(y)
        stepover = radius * np.diff(angles, axis=1)
    on_board = _on_board(region, xs, (y[1:] + y[:-1]) / 2)
    stepover = np.where(on_board, stepover, stepover[on_board].min())
    return float(stepover.max()), float(scallop_height(stepover, r, radius).max())


def strip_spans(region: Polygon, y: Floats, *, reach: float = 0.5) -> Floats:
    """(p, 2) x range of each pass: as far as the strip around it, `reach` of the way to its neighbours, meets
    the region. Half of the way covers the region with the passes' own strips; all of it, with the passes."""
    gaps = np.diff(y)
    gaps = np.concatenate([gaps[:1], gaps, gaps[-1:]]) if len(gaps) else np.zeros(2)
    low, high = y - reach * gaps[:-1], y + reach * gaps[1:]
    low[0], high[-1] = min(low[0], region.bounds[1] - 1), max(high[-1], region.bounds[3] + 1)
    strips = shapely.box(region.bounds[0] - 1, low, region.bounds[2] + 1, high)
    spans: Floats = shapely.bounds(overlay.intersection(strips, region))[:, [0, 2]]
    return spans


def _kept_within(passes: Passes, first: Passes) -> Floats:
    """The passes, and the ways between them, as far as those of `first` went before, within the line round their ends.
    """
    if len(first.y) < 2:
        return first.run
    spans = spans_inside(first.over, passes.y)
    met = spans[:, 1] > spans[:, 0]
    if not met.any():
        return first.run
    ends = _ends(spans[met], passes.y[met])
    inside = within(first.over)
    links = [way_inside(a[-1], b[0], inside) for a, b in pairwise(ends)]
    corners = np.concatenate([way for pair in zip(ends, [*links, np.empty((0, 2))], strict=True) for way in pair])
    return _followed(corners[simplified(corners, _CHORD)], first.surface, first.cutter, _CHORD)


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


def _zigzag(spans: Floats, y: Floats, surface: Surface, cutter: Cutter, chord_tolerance: float) -> Floats:
    """Tip positions of passes over (x0, x1) spans, every second one backwards, joined along the surface."""
    return _followed(np.concatenate(_ends(spans, y)), surface, cutter, chord_tolerance)


def _ends(spans: Floats, y: Floats) -> list[Floats]:
    """(2, 2) start and end of each pass, every second one backwards."""
    return [np.column_stack([span[:: 1 - k % 2 * 2], [y_k, y_k]]) for k, (y_k, span) in enumerate(
        zip(y, spans, strict=True))]


def _followed(corners: Floats, surface: Surface, cutter: Cutter, chord_tolerance: float) -> Floats:
    """Tip positions along the surface from each (n, 2) corner to the next. Raises PathgenError where there is none."""
    surface.tip_height(cutter, corners[:, 0], corners[:, 1])  # far beside a round surface the cutter does not meet it
    pieces = [_along(a, b, surface, cutter.radius, chord_tolerance) for a, b in pairwise(corners)]
    plan = np.concatenate([*pieces, corners[-1:]])
    tips = np.column_stack([plan, surface.tip_height(cutter, plan[:, 0], plan[:, 1])])
    turns = np.cumsum([0] + [len(piece) for piece in pieces])
    return tips[simplified(tips, _NOTHING, turns[:-1], turns[1:])]


def _along(start: Floats, end: Floats, surface: Surface, r: float, tolerance: float) -> Floats:
    """Points from `start` up to `end`, without it, so near that straight moves between them follow the surface.

    The second derivative of the surface's height along a way (dx, dy) is the perfect square
    ``-(taper * y * dx - R * dy)**2 / (R**2 - y**2)**1.5``; a chord sags by an eighth of that. The radius is taken
    smaller by the ball's, which is what its path bends to in a hollow; beside a board hardly wider than it is round
    that would be nothing, and over it the path bends less, to its radius and the ball's.
    """
    (x0, y0), (dx, dy) = start, end - start
    sag = surface.curving * dx**2 / 8.0
    if not surface.is_flat:
        signed = surface.radius(np.array([x0, x0 + dx]))
        radius = np.abs(signed) - r
        across = np.abs([y0, y0 + dy])
        bend = max(float(across.max()) * abs(surface.taper * dx) + float(radius.max()) * abs(dy), 0.0) ** 2
        over = float((signed.min() + r) ** 2 - across.max() ** 2) / 8.0 if signed.min() > 0 else 0.0
        sag += bend / max(float(radius.min() ** 2 - across.max() ** 2), over, 1e-9) ** 1.5 / 8.0
    count = max(1, math.ceil(math.sqrt(sag / tolerance)))
    share = np.arange(count) / count
    if dx and len(surface.bends):
        # a ball turns round a bend within its radius times the change of slope, 0.2 mm or less of a usual board
        normal = surface.normal(surface.bends + _BESIDE[:, None], 0.0)
        times = max(1, math.ceil(float(np.abs(normal[..., 0] / normal[..., 2]).max()) / _ROUND))
        rounds = (surface.bends[:, None] + r * times * np.linspace(-_ROUND, _ROUND, 16 * times + 1)).ravel()
        at = (rounds - x0) / dx
        share = np.unique(np.concatenate([share, at[(at > 0) & (at < 1)]]))
    return np.asarray(start + share[:, None] * (end - start))


_NOTHING = 1e-5
"""Points nearer than this (mm) to straight moves past them make no difference: most of those round a slight bend."""

_ROUND = 0.04
"""Slopes up to this are followed round a bend of any board: 40 um to the mm, more than a usual fall-away has."""

_BESIDE = np.array([-1e-6, 1e-6])
"""Where slopes are taken before a bend and after it, mm."""


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
        runs += [ramped_in(part, level + (top - lowest) / count, cutter) for part in parts] if cutter.is_flat else parts
    return runs


def _stretches(run: Floats, wanted: Bools) -> Sequence[Floats]:
    """The parts of a run where there is something to cut, each with a point before and after."""
    near = wanted.copy()
    near[1:] |= wanted[:-1]
    near[:-1] |= wanted[1:]
    edges = np.flatnonzero(np.diff(np.concatenate([[0], near.astype(int), [0]])))
    return [run[a:b] for a, b in zip(edges[::2], edges[1::2], strict=True)]
