"""Down through what stands over a surface, layer by layer, to the finishing passes."""

from __future__ import annotations

from itertools import pairwise
from typing import Literal

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

from pathgen.base import overlay
from pathgen.base.arrays import Floats
from pathgen.base.toolpath import simplified
from pathgen.strategies.surfacing import CHORD, Passes, ends_of, finishing_passes, followed, spans_inside

Waste = Literal["cleared", "raw", "wall"]
"""What stands past a part's edges: no more than is cut, a blank that nothing has cut, or a wall of it round the cut."""

RIDGE_CLEAR = 0.01
"""How far a lifted pass stays above the ridges of the surface under it, mm."""
_ROUNDED = 1e-4  # how far (mm) what ends on an edge may lie outside it by rounding
MOST_LAYERS = 40
"""Through what stands over a surface: several times what is usual. What takes more is given up when it is simulated."""
RESURFACE_RIDGE = 0.2
"""Ridge left between the passes through what stands proud, as a share of their stepdown."""


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
