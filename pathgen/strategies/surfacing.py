"""Passes over a surface that leave ridges no higher than asked.

They run parallel to the centre-line, back and forth. On a cylinder each is one straight move; on a cone a
pass follows a flat curve in a few straight moves. A pass is spaced from the next so that the ridge between
them is the limit at its worst place and a little less elsewhere.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon, STRtree
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.arrays import Bools, Floats
from pathgen.base.cutters import Cutter
from pathgen.base.errors import CutterError
from pathgen.base.lowered import Lowered
from pathgen.base.memory import remembered
from pathgen.base.scallop import scallop_height, stepover_for
from pathgen.base.surface import Surface
from pathgen.base.toolpath import simplified
from pathgen.strategies.entering import ramped_in

Lines = NDArray[np.object_]

OVERRUN = 0.2
"""How far passes run on past the ends of the board, mm, so that the ridges end in waste."""
EDGE_MARGIN = 0.02
"""How far the finished strip reaches past the long edges, mm."""
ROUNDING = 1e-4
"""Kept back from the ridge height allowed, mm: coordinates are written rounded."""
_EVERY = 5.0  # longest straight move along the ends of passes, mm
CHORD = 2e-4
"""How far straight moves of passes may cut below the surface, mm."""
_FURTHER = 3.0
"""Times as far out passes are looked for again, where none is near a place."""
_STRIPS = 400  # across the board, that the area of its surface is summed from


@dataclass(frozen=True, eq=False, kw_only=True)
class Passes:
    """Lengthwise passes of a cutter over a surface: the pattern that finishing and re-surfacing share."""

    outline: Polygon
    surface: Surface
    cutter: Cutter
    """What is cut, in plan, to what, and with what."""
    run: Floats
    """(n, 3): tip positions of all passes in turn, with the links between them: one continuous run."""
    y: Floats
    """(p,): where each pass lies across the board (axis of the cutter), mm."""
    stepover: float
    """Widest distance between passes along the surface, mm."""
    scallop: float
    """Highest ridge they leave by the exact formula, mm."""

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
        """All the way round, through the ends of all passes, in pieces so short that moves follow the surface."""
        return shapely.segmentize(LineString([*self.rim, self.rim[0]]), _EVERY)

    @cached_property
    def past(self) -> float:
        """How far past the outline they go, mm, the ways from pass to pass too: at a step in the outline a long one."""
        places = shapely.get_coordinates(shapely.segmentize(self.rim_line, OVERRUN))
        return float(shapely.distance(shapely.points(places), self.outline).max())

    @cached_property
    def moves(self) -> STRtree:
        """Its moves in plan, to look for those near a place."""
        return STRtree(shapely.linestrings(np.stack([self.run[:-1, :2], self.run[1:, :2]], axis=1)))

    def stands(self, places: Floats, surface: Surface, *, reach: float | Floats) -> Floats:
        """(n,) the most that may stand within `reach` mm of (n, 2) places once these passes are gone over `surface`, or
        (k, n) within each of (k, 1) reaches: what the cutter leaves where it came nearest; infinite further out."""
        tip, off = _nearest(self, places)
        return np.asarray(tip + surface.thickness - self.surface.thickness + self.cutter.profile(off + reach))


@remembered
def _nearest(passes: Passes, places: Floats) -> tuple[Floats, Floats]:
    """(n,) how high the tip is where passes come nearest to (n, 2) places, the lowest where there are several, and how
    far off that is; infinite further out than the cutter's radius."""
    points, tree = shapely.points(places), passes.moves
    off, left, found = np.full(len(places), np.inf), np.arange(len(places)), []
    # most places lie between passes: it takes far less time to look at all that are near enough, further out if none is
    within = float(np.diff(passes.y).max(initial=0.0)) / 2.0 or passes.cutter.radius
    while len(left):
        at, move = tree.query(points[left], predicate="dwithin", distance=min(within, passes.cutter.radius))
        at = left[at]
        away = shapely.distance(points[at], tree.geometries[move])
        np.minimum.at(off, at, away)
        nearest = away == off[at]
        found.append((at[nearest], move[nearest]))
        left = left[np.isinf(off[left])] if within < passes.cutter.radius else left[:0]
        within *= _FURTHER
    at, move = (np.concatenate(parts) for parts in zip(*found, strict=True)) if found else np.empty((2, 0), np.intp)
    share = np.nan_to_num(shapely.line_locate_point(tree.geometries[move], points[at], normalized=True))
    low, high = passes.run[move, 2], passes.run[move + 1, 2]
    tip = np.full(len(places), np.inf)
    np.minimum.at(tip, at, low + share * (high - low))
    return tip, off


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
        raise CutterError(f"cutter {cutter.name!r}", f"a {cutter.shape} cutter cannot finish a radius",
                          allowed="ball-end; flat-end where all of the top is level",
                          remedy="take a ball-end cutter")
    if not ROUNDING < scallop < cutter.radius:
        raise CutterError("[surface] scallop", f"{scallop:g} mm with {cutter.name!r}",
                          allowed=f"between {ROUNDING:g} mm and the ball's radius, {cutter.radius:g} mm")
    r = cutter.radius
    xs = np.linspace(outline.bounds[0], outline.bounds[2], 65)
    region = overlay.buffer(seen_by_axis(outline, surface, r, every=2.0), EDGE_MARGIN, join_style="mitre")
    y_edge = max(abs(region.bounds[1]), abs(region.bounds[3]))
    y_grid = np.linspace(0.0, y_edge, 1001)
    asked, across = scallop - ROUNDING, _across(region, xs)
    while True:
        y, spans = _lines(region, y_grid, _allowed_spacing(surface, across, xs, y_grid, r, asked, upright))
        stepover, ridge = _widest(surface, across, xs, y, r)
        if ridge <= scallop:
            break
        asked *= (scallop - ROUNDING) / ridge  # on a tight cone the spacing changes between one pass and the next
    run = zigzag(spans + [-OVERRUN, OVERRUN], y, surface, cutter, CHORD)
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
    run = ramped_in(zigzag(spans, y, surface, cutter, 1.0), surface.thickness + entry, cutter)
    return Passes(outline=outline, surface=surface, cutter=cutter, run=run, y=y, stepover=apart, scallop=0.0)


def surface_area(outline: Polygon, surface: Surface) -> float:
    """Area of the curved surface within `outline`, mm2: arcs across the board, summed along it.
    Over the stepover that is the length of the shortest finishing path there could be."""
    x0, _, x1, _ = outline.bounds
    edges = np.linspace(x0, x1, _STRIPS + 1)
    middle = (edges[1:] + edges[:-1]) / 2
    bounds = shapely.bounds(_across(outline, middle))
    if surface.is_flat:
        return float(outline.area)
    radius = surface.radius(middle)
    arcs = radius * (np.arcsin(bounds[:, 3] / radius) - np.arcsin(bounds[:, 1] / radius))
    return float(np.nansum(arcs) * (x1 - x0) / _STRIPS)


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
    surface: Surface, across: Lines, xs: Floats, y: Floats, r: float, scallop: float, upright: bool
) -> Floats:
    """Spacing of passes in y, at each y, that leaves `scallop` where along the board it leaves most; the board lies
    `across` each x."""
    radius = surface.radius(xs)[:, None]
    if surface.is_flat:
        return np.broadcast_to(stepover_for(scallop, r, radius).min(), y.shape)
    cos = np.sqrt(1.0 - np.minimum((y / (radius + r)) ** 2, 0.999))
    spacing = stepover_for(scallop * cos if upright else scallop, r, radius) * cos * (radius + r) / radius
    narrowest: Floats = np.where(_on_board(across, y), spacing, np.inf).min(axis=0)
    return np.where(np.isfinite(narrowest), narrowest, spacing.min(axis=0))


def _on_board(across: Lines, y: Floats) -> Bools:
    """(len(across), len(y)): where the board is that wide on either side; passes do not run past it."""
    parts, of = shapely.get_parts(across, return_index=True)
    _, low, _, high = shapely.bounds(parts).T[:, :, None]
    inside = np.zeros((len(across), len(y)), bool)
    np.logical_or.at(inside, of, ((y >= low) & (y <= high)) | ((-y >= low) & (-y <= high)))
    return inside


def _across(region: BaseGeometry, at: Floats, *, axis: int = 0) -> Lines:
    """(n,) the lines through a region at each x; with `axis` 1, at each y."""
    low, high = region.bounds[1 - axis] - 1.0, region.bounds[3 - axis] + 1.0
    ends = np.stack([np.column_stack([at, np.full_like(at, far)][:: 1 - 2 * axis]) for far in (low, high)], axis=1)
    return np.asarray(overlay.intersection(shapely.linestrings(ends), region))


def spans_inside(region: BaseGeometry, y: Floats) -> Floats:
    """(p, 2) x range of each pass inside a region; NaN where it lies off it."""
    return np.asarray(shapely.bounds(_across(region, y, axis=1))[:, [0, 2]])


def _widest(surface: Surface, across: Lines, xs: Floats, y: Floats, r: float) -> tuple[float, float]:
    """Widest stepover along the surface, and the highest ridge, between neighbouring passes on the board."""
    if len(y) < 2:
        return 0.0, 0.0
    radius = surface.radius(xs)[:, None]
    if surface.is_flat:
        stepover = np.broadcast_to(np.diff(y), (len(xs), len(y) - 1))
    else:
        angles = np.arcsin(np.minimum(np.abs(y) / (radius + r), 1.0)) * np.sign(y)
        stepover = radius * np.diff(angles, axis=1)
    on_board = _on_board(across, (y[1:] + y[:-1]) / 2)
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
    return np.asarray(shapely.bounds(overlay.intersection(strips, region))[:, [0, 2]])


def zigzag(spans: Floats, y: Floats, surface: Surface, cutter: Cutter, chord_tolerance: float) -> Floats:
    """Tip positions of passes over (x0, x1) spans, every second one backwards, joined along the surface."""
    return followed(np.concatenate(ends_of(spans, y)), surface, cutter, chord_tolerance)


def ends_of(spans: Floats, y: Floats) -> list[Floats]:
    """(2, 2) start and end of each pass, every second one backwards."""
    return [np.column_stack([span[:: 1 - k % 2 * 2], [y_k, y_k]]) for k, (y_k, span) in enumerate(
        zip(y, spans, strict=True))]


def followed(corners: Floats, surface: Surface, cutter: Cutter, chord_tolerance: float) -> Floats:
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
_BESIDE = np.array([-1e-6, 1e-6])  # where slopes are taken before a bend and after it, mm
