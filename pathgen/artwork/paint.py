"""From paints to regions: clips applied, what is on top hiding what is below, one region for each colour."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely

from pathgen.artwork.areas import EMPTY, Geometries, filled
from pathgen.artwork.flatten import bounds, flatten
from pathgen.artwork.scene import Clip, Paint
from pathgen.artwork.stack import stacked
from pathgen.artwork.strokes import stroked
from pathgen.artwork.transforms import largest_scale
from pathgen.artwork.unions import areal, united, without_slivers
from pathgen.base import overlay
from pathgen.base.arrays import Floats
from pathgen.base.errors import ArtworkError
from pathgen.base.limits import LARGEST_NUMBER
from pathgen.base.plain import figure

_PAIRS = 10
"""Overlaps for each shape, above which shapes are laid over one another in layers and not pair by pair."""

_CHECKED = 200
"""Parts of one area above which comparing them all costs more than it is worth."""

_SLIVER = 1e-3
"""Mean width, as a share of the tolerance, below which a part is rounding and not drawing."""


def painted(paints: Sequence[Paint], tolerance: float) -> dict[str, Any]:
    """The visible area of each colour, in the order in which colours first appear; areas do not overlap.

    The lowest paint is the first; `tolerance` is the furthest a straight piece may lie from its curve, mm.
    """
    areas = _clipped(paints, paint_areas(paints, tolerance), tolerance, {})
    colours = [paint.colour for paint in paints]
    visible = _shown(colours, areas)
    result = {}
    for colour in dict.fromkeys(colours):
        area = without_slivers(united(np.array(visible.get(colour, []), dtype=object)), tolerance * _SLIVER)
        if not area.is_empty:
            result[colour] = area
    return result


def paint_areas(paints: Sequence[Paint], tolerance: float) -> Geometries:
    """The area of each paint before clipping and hiding: (n,) array of polygons."""
    for paint in paints:
        _check_reach(paint)
    areas = np.full(len(paints), EMPTY, dtype=object)
    fills = [i for i, paint in enumerate(paints) if paint.stroke is None]
    if fills:
        chosen = [paints[i] for i in fills]
        lines = flatten([paint.curves for paint in chosen], [paint.matrix for paint in chosen], tolerance)
        areas[fills] = filled(lines, [paint.rule for paint in chosen], [paint.where for paint in chosen])
    strokes = [i for i, paint in enumerate(paints) if paint.stroke is not None]
    if strokes:
        areas[strokes] = stroked([paints[i] for i in strokes], tolerance)
    return areas


def box_round(paint: Paint) -> tuple[Floats, Floats]:
    """(2,) lowest and highest corner of a box that all of a paint lies in, its line too."""
    low, high = bounds(paint.curves, paint.matrix)
    grow = paint.stroke.width / 2 * largest_scale(paint.matrix) if paint.stroke else 0.0
    return low - grow, high + grow


def _check_reach(paint: Paint) -> None:
    """Raise ArtworkError for an outline that points or transforms take further than numbers can tell."""
    line = paint.stroke.width / 2 if paint.stroke else 0.0
    reach = largest_scale(paint.matrix) * (float(np.abs(paint.curves.points).max(initial=0.0)) + line)
    reach += max(abs(paint.matrix[4]), abs(paint.matrix[5]))
    if not reach <= LARGEST_NUMBER:
        raise ArtworkError(paint.where, f"reaches out of all bounds: {figure(reach)}, in mm",
                           allowed=f"up to {figure(LARGEST_NUMBER)} mm",
                           remedy="correct its numbers or its transforms")


# --- clips


def _clipped(paints: Sequence[Paint], areas: Geometries, tolerance: float, known: dict[Clip, Any]) -> Geometries:
    """The areas within their clips; each distinct clip is worked out once, and is `known` then."""
    members: dict[Clip, list[int]] = {}
    for i, paint in enumerate(paints):
        if paint.clip is not None:
            members.setdefault(paint.clip, []).append(i)
    for clip, indices in members.items():
        areas[indices] = _within(_clip_area(clip, tolerance, known), areas[indices])
    return areas


def _clip_area(clip: Clip, tolerance: float, known: dict[Clip, Any]) -> Any:
    if clip not in known:
        area = united(_clipped(clip.shapes, paint_areas(clip.shapes, tolerance), tolerance, known))
        for limit in (clip.inner, clip.outer):
            if limit is not None:
                area = _within(_clip_area(limit, tolerance, known), np.array([area], dtype=object))[0]
        known[clip] = area
    return known[clip]


def _within(limit: Any, areas: Geometries) -> Geometries:
    """Areas intersected with a limit; those that lie wholly inside it are passed through untouched."""
    if limit.is_empty:
        return np.full(len(areas), EMPTY, dtype=object)
    low_x, low_y, high_x, high_y = shapely.bounds(limit)
    boxes = shapely.bounds(areas)
    in_box = (boxes[:, 0] >= low_x) & (boxes[:, 1] >= low_y) & (boxes[:, 2] <= high_x) & (boxes[:, 3] <= high_y)
    is_box = shapely.area(limit) >= (high_x - low_x) * (high_y - low_y) * (1 - 1e-12)
    shapely.prepare(limit)
    inside = in_box if is_box else in_box & shapely.covers(limit, areas)
    inside |= shapely.is_empty(areas)
    areas = areas.copy()
    areas[~inside] = areal(overlay.intersection(areas[~inside], limit))
    return areas


# --- hiding


def _joined(parts: Geometries) -> list[Any]:
    """Separate parts as one area, unless rounding has left them touching (checked while that is cheap)."""
    whole = shapely.multipolygons(list(parts))
    return [whole] if len(parts) > _CHECKED or shapely.is_valid(whole) else list(parts)


def _shown(colours: Sequence[str], areas: Geometries) -> dict[str, list[Any]]:
    """What shows of each shape, by colour: shapes that nothing of another colour lies on are passed through."""
    kinds = np.unique(colours, return_inverse=True)[1]
    solid = np.flatnonzero(~shapely.is_empty(areas))
    shown = areas.copy()
    pairs = _covers(kinds[solid], areas[solid])
    if pairs is None:
        layer = stacked([colours[int(i)] for i in solid], areas[solid])
        return {colour: _joined(parts) for colour, parts in layer.visible.items()}
    below, above = solid[pairs[0]], solid[pairs[1]]
    hidden, begin = np.unique(below, return_index=True)
    for i, some in zip(hidden, np.split(above, begin[1:]), strict=True) if len(hidden) else ():
        shown[i] = _minus(areas[i], areas[some])
    result: dict[str, list[Any]] = {}
    for i in solid:
        result.setdefault(colours[int(i)], []).append(shown[i])
    return result


def _covers(kinds: Any, areas: Geometries) -> Any:
    """Pairs (below, above) of shapes of different colours that meet, or None when there are very many."""
    found = [np.zeros((2, 0), dtype=np.int64)]
    if len(np.unique(kinds)) < 2:
        return found[0]
    tree, total = shapely.STRtree(areas), 0
    for begin in range(0, len(areas), 50):
        below, above = tree.query(areas[begin: begin + 50])
        below = below + begin
        wanted = (above > below) & (kinds[above] != kinds[below])
        below, above = below[wanted], above[wanted]
        total += len(below)
        if total > max(200, _PAIRS * len(areas)):
            return None
        meet = shapely.intersects(areas[below], areas[above])
        order = np.argsort(below[meet], kind="stable")
        found.append(np.array([below[meet][order], above[meet][order]]))
    return np.concatenate(found, axis=1)


def _minus(area: Any, above: Geometries) -> Any:
    """An area without those above it, taken off one by one while they are few."""
    if len(above) > 8:
        above = shapely.get_parts(united(above))
        above = above[shapely.STRtree(above).query(area, predicate="intersects")]
    for other in above:
        area = overlay.difference(area, other)
    return areal(area)
