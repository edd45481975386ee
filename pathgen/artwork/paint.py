"""From paints to regions: clips applied, what is on top hiding what is below, one region for each colour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from pathgen.artwork.areas import EMPTY, Geometries, areal, filled, united, without_slivers
from pathgen.artwork.flatten import flatten
from pathgen.artwork.scene import Clip, Paint
from pathgen.artwork.strokes import stroked

_PAIRS = 30
"""Overlaps for each shape, above which shapes are laid over one another in layers and not pair by pair."""

_SLIVER = 1e-3
"""Mean width, as a share of the tolerance, below which a part is rounding and not drawing."""


def painted(paints: Sequence[Paint], tolerance: float) -> dict[str, Any]:
    """The visible area of each colour.

    Parameters
    ----------
    paints : sequence of Paint
        The lowest first.
    tolerance : float
        The furthest a straight piece may lie from its curve, mm.

    Returns
    -------
    dict of colour to Polygon or MultiPolygon, in the order in which colours first appear; areas do not overlap
    """
    areas = _clipped(paints, paint_areas(paints, tolerance), tolerance)
    colours = [paint.colour for paint in paints]
    visible = _shown(colours, areas)
    order = dict.fromkeys(colours)
    result = {}
    for colour in order:
        area = without_slivers(united(_array(visible.get(colour, []))), tolerance * _SLIVER)
        if not area.is_empty:
            result[colour] = area
    return result


def paint_areas(paints: Sequence[Paint], tolerance: float) -> Geometries:
    """The area of each paint before clipping and hiding: (n,) array of polygons."""
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


# --- clips


def _clipped(paints: Sequence[Paint], areas: Geometries, tolerance: float) -> Geometries:
    """The areas within their clips; each distinct clip is worked out once."""
    members: dict[int, list[int]] = {}
    clips: dict[int, Clip] = {}
    for i, paint in enumerate(paints):
        if paint.clip is not None:
            members.setdefault(id(paint.clip), []).append(i)
            clips[id(paint.clip)] = paint.clip
    known: dict[int, Any] = {}
    for key, indices in members.items():
        areas[indices] = _within(_clip_area(clips[key], tolerance, known), areas[indices])
    return areas


def _clip_area(clip: Clip, tolerance: float, known: dict[int, Any]) -> Any:
    if id(clip) not in known:
        area = united(_clipped(clip.shapes, paint_areas(clip.shapes, tolerance), tolerance))
        for limit in (clip.inner, clip.outer):
            if limit is not None:
                area = _within(_clip_area(limit, tolerance, known), np.array([area], dtype=object))[0]
        known[id(clip)] = area
    return known[id(clip)]


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
    areas[~inside] = areal(shapely.intersection(areas[~inside], limit))
    return areas


# --- hiding


def _shown(colours: Sequence[str], areas: Geometries) -> dict[str, list[Any]]:
    """What shows of each shape, by colour: shapes that nothing of another colour lies on are passed through."""
    kinds = np.unique(colours, return_inverse=True)[1]
    solid = np.flatnonzero(~shapely.is_empty(areas))
    shown = areas.copy()
    pairs = _covers(kinds[solid], areas[solid])
    if pairs is None:
        layers = _stack([colours[i] for i in solid], areas[solid])
        return {colour: list(np.concatenate(some)) for colour, some in layers.visible.items()}
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
    tree = shapely.STRtree(areas)
    found: list[Any] = []
    total = 0
    for begin in range(0, len(areas), 500):
        below, above = tree.query(areas[begin: begin + 500])
        below = below + begin
        wanted = (above > below) & (kinds[above] != kinds[below])
        below, above = below[wanted], above[wanted]
        total += len(below)
        if total > max(2000, _PAIRS * len(areas)):
            return None
        meet = shapely.intersects(areas[below], areas[above])
        order = np.argsort(below[meet], kind="stable")
        found.append(np.array([below[meet][order], above[meet][order]]))
    return np.concatenate(found, axis=1) if found else np.zeros((2, 0), dtype=np.int64)


def _minus(area: Any, above: Geometries) -> Any:
    """An area without those above it, taken off one by one while they are few."""
    if len(above) > 8:
        above = shapely.get_parts(united(above))
        above = above[shapely.STRtree(above).query(area, predicate="intersects")]
    for other in above:
        area = shapely.difference(area, other)
    return areal(np.array([area], dtype=object))[0]


@dataclass(eq=False)
class _Layer:
    """A run of shapes, as sets of separate parts: what shows of each colour, and all that each was painted over."""

    visible: dict[str, list[Any]] = field(default_factory=dict)
    whole: dict[str, Geometries] = field(default_factory=dict)


def _array(areas: Sequence[Any]) -> Geometries:
    array = np.empty(len(areas), dtype=object)
    array[:] = areas
    return array


def _parts(area: Any) -> Geometries:
    parts: Geometries = shapely.get_parts(area)
    return parts


def _stack(colours: Sequence[str], areas: Geometries) -> _Layer:
    """Shapes laid over one another: halves, halves of halves and so on, so that depth costs its logarithm.

    The upper half goes first, so that whatever it hides wholly is left out of the lower half at once.
    """
    if len(areas) == 0:
        return _Layer()
    if len(set(colours)) == 1:
        return _Layer({colours[0]: [areas]}, {colours[0]: _parts(united(areas))})
    middle = len(areas) // 2
    above = _stack(colours[middle:], areas[middle:])
    seen = np.flatnonzero(~_is_hidden(areas[:middle], above))
    return _over(_stack([colours[i] for i in seen], areas[seen]), above)


def _is_hidden(areas: Geometries, above: _Layer) -> NDArray[np.bool_]:
    """Which areas lie wholly under one part of a layer; those that have no corner there are not asked for long."""
    hidden = np.zeros(len(areas), dtype=bool)
    corner = shapely.get_coordinates(shapely.point_on_surface(areas))
    for parts in above.whole.values():
        area, part = shapely.STRtree(parts).query(shapely.points(corner), predicate="within")
        wanted = ~hidden[area]
        shapely.prepare(parts[part[wanted]])
        hidden[area[wanted]] = shapely.covers(parts[part[wanted]], areas[area[wanted]])
    return hidden


def _over(below: _Layer, above: _Layer) -> _Layer:
    """One layer on another. What shows may run on under its own colour: that merges in the end."""
    visible = {colour: list(some) for colour, some in above.visible.items()}
    for colour, some in below.visible.items():
        parts = np.concatenate(some)
        for other, cover in above.whole.items():
            if other != colour:
                parts = _uncovered(parts, cover)
        visible.setdefault(colour, []).append(parts)
    whole = dict(below.whole)
    for colour, cover in above.whole.items():
        whole[colour] = _merged(whole[colour], cover) if colour in whole else cover
    return _Layer(visible, whole)


def _uncovered(parts: Geometries, cover: Geometries) -> Geometries:
    """What is left of parts outside a cover of separate parts."""
    by, hit = shapely.STRtree(parts).query(cover) if len(parts) < len(cover) else (
        shapely.STRtree(cover).query(parts)[::-1]
    )
    if not len(hit):
        return parts
    order = np.argsort(hit, kind="stable")
    which, group = np.unique(hit[order], return_inverse=True)
    covers = shapely.multipolygons(cover[by[order]], indices=group)
    shapely.prepare(parts[which])
    meet = shapely.intersects(parts[which], covers)
    left = np.ones(len(parts), dtype=bool)
    left[which[meet]] = False
    rest = _parts(areal(shapely.difference(parts[which[meet]], covers[meet])))
    return np.concatenate([parts[left], rest[~shapely.is_empty(rest)]])


def _merged(first: Geometries, second: Geometries) -> Geometries:
    """Two sets of separate parts as one; only those that meet the other set are united."""
    mine, theirs = shapely.STRtree(second).query(first, predicate="intersects")
    mine, theirs = np.unique(mine), np.unique(theirs)
    rest = [np.delete(first, mine), np.delete(second, theirs)]
    if not len(mine):
        return np.concatenate(rest)
    union = shapely.union(*(shapely.multipolygons(list(some)) for some in (first[mine], second[theirs])))
    return np.concatenate([*rest, _parts(areal(_array([union])))])
