"""Unions, differences, intersections and offsets that do not fail: done again on a fine grid where rounding spoils one.

The engine (GEOS) may raise on valid shapes whose outlines nearly coincide. Then that one is done again with its corners
snapped to a grid far below what a machine can follow, and on a coarser one. What fails on all of them is said with its
place. Everything in the package that puts areas together does it here; a test of the house holds it to that.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable
from functools import partial
from typing import Any

import numpy as np
import shapely
from shapely.errors import GEOSException

from pathgen.base.arrays import numbers_from
from pathgen.base.errors import ArtworkError

GRIDS = (1e-9, 1e-7, 1e-6, 1e-5)
"""Tried in turn, mm: the coarsest moves an outline by a hundredth of a micrometre at most."""

CRACK = 0.002
"""Wood thinner than this is none, mm: as far as the curves of two shapes that meet may be flattened apart."""
_CRACKED = 0.1  # mm of outline that goes where cracks are closed: less is what the tips of acute corners lose
_LOST = 1e-3  # mm2 that the engine may leave out of an area that is let out and taken in again
_MITRE = 50.0  # as long as the tips of acute corners may become meanwhile, in distances

_TRACE = 1e-8  # share by which offsets out are less: far more than rounding moves a corner, far less than a grid of use
_FALSE = 0.02  # share of the distance that corners may be nearer: the engine leaves out shallow ones within 0.01
_FEW = 16  # parts: so many are let out all at once

_NUMBER = r"(-?\d+(?:\.\d+)?(?:e[+-]?\d+)?)"
_PLACE = re.compile(rf"at (?:or near point )?{_NUMBER},? {_NUMBER}")
_AREAS, _MIXED = (3, 6), 7


def union(a: Any, b: Any) -> Any:
    """What lies in either of two shapes, or of each two of two arrays."""
    return _each(shapely.union, a, b)


def difference(a: Any, b: Any) -> Any:
    """What lies in the first of two shapes alone, or of each two of two arrays; of areas only areas, as below."""
    return _areas_alone(_each(shapely.difference, a, b), a)


def intersection(a: Any, b: Any) -> Any:
    """What lies in both of two shapes, or of each two of two arrays; of two areas that share any only areas, of two
    that only touch the lines or points where they do."""
    return _areas_alone(_each(shapely.intersection, a, b), a, b)


def _areas_alone(out: Any, *given: Any) -> Any:
    """Shapes without the lines that the engine leaves with the areas in them, where areas were given."""
    mixed = np.atleast_1d(shapely.get_type_id(out) == _MIXED)
    for one in given if mixed.any() else ():
        mixed = mixed & np.isin(shapely.get_type_id(one), _AREAS)
    if not mixed.any():
        return out
    each = np.atleast_1d(out)
    each[mixed] = [_areas_of(one) for one in each[mixed]]
    return each if np.ndim(out) else each[0]


def buffer(shapes: Any, distance: Any, **options: Any) -> Any:
    """A shape, or each of an array, let out by a distance or taken in by one below 0; options as shapely names them.

    Many parts are done one by one and put together, which is the same: all at once would take twice as long, and a
    hundred times where they grow into each other.

    Four mistakes of the engine (GEOS 3.14) are mended. It leaves out a piece where some outlines cross themselves by
    rounding: those are done again by a trace less. It fills some holes of what is let out by just as much as it was
    taken in before: where holes go, a trace less is tried, and taken if they stay. It leaves chips beside the rim
    of some that are let out: what does not meet the shape is removed. And it turns some that are smaller than the
    distance inside out, as a regular octagon, instead of removing them, and holes as small: what is taken in and
    still nearer to the outline than that, or outside it, is removed, and holes nearer to what is let out with round
    ends are filled.
    """
    if np.ndim(shapes) == 0 and np.ndim(distance) == 0 and distance and shapely.get_num_geometries(shapes) > _FEW:
        each = buffer(shapely.get_parts(shapes), distance, **options)
        return union_all(each, apart=True) if distance > 0 else shapely.multipolygons(
            shapely.get_parts(each[~shapely.is_empty(each)]))
    rule = partial(_each, partial(shapely.buffer, **options))
    out, given, by = map(np.array, np.broadcast_arrays(np.atleast_1d(rule(shapes, distance)), shapes, distance))
    crossed = np.flatnonzero(~shapely.is_valid(out))
    if len(crossed):
        out[crossed] = sound(rule(given[crossed], (1.0 - _TRACE) * by[crossed]))
    grown = np.flatnonzero(by > 0.0)
    filled = grown[_holes(out[grown]) < _holes(given[grown])]
    if len(filled):
        less = rule(given[filled], (1.0 - _TRACE) * by[filled])
        out[filled] = np.where(_holes(less) > _holes(out[filled]), less, out[filled])
    if np.any((by < 0.0) | (shapely.get_num_geometries(out) > shapely.get_num_geometries(given))):
        _remove_false(out, given, by, nearest=_nearest(**options))
    hollow = grown[_holes(out[grown]) > 0]
    if len(hollow) and options.get("cap_style", "round") == "round":
        _fill_false(out, given, by, hollow, nearest=_nearest(**options))
    return out if np.ndim(shapes) or np.ndim(distance) else out[0]


def _holes(shapes: Any) -> Any:
    """How many each of an array has."""
    parts, owner = shapely.get_parts(shapes, return_index=True)
    return np.bincount(owner, shapely.get_num_interior_rings(parts), len(shapes))


def _nearest(*, quad_segs: int = 16, join_style: str = "round", **_: Any) -> float:
    """Share of the distance that true corners keep at least: chords of arcs span up to one and a half segments."""
    return {"round": math.cos(1.5 * math.pi / 4 / quad_segs), "mitre": 1.0}.get(join_style, 0.0) - _FALSE


def _remove_false(out: Any, given: Any, by: Any, *, nearest: float) -> None:
    """Leave parts of offsets out that are none: they do not meet the shape; or taken in, they are too near its edge."""
    parts, owner = shapely.get_parts(out, return_index=True)
    rims = shapely.boundary(given)
    shapely.prepare(rims)
    ring, least = shapely.get_exterior_ring(parts), np.maximum(-nearest * by[owner], 0.0)
    near = shapely.dwithin(rims[owner], shapely.get_point(ring, 0), least)
    for k in np.flatnonzero(near & (by[owner] < 0.0)):  # of a true part one corner may be, never all
        near[k] = shapely.dwithin(rims[owner[k]], shapely.points(shapely.get_coordinates(ring[k])), least[k]).all()
    false = ~shapely.intersects(given[owner], parts) | (near & (by[owner] < 0.0))
    if not false.any():
        return
    spoilt = np.unique(owner[false])
    left = np.isin(owner, spoilt) & ~false
    out[spoilt] = shapely.MultiPolygon()
    shapely.multipolygons(parts[left], indices=owner[left], out=out)


def _fill_false(out: Any, given: Any, by: Any, hollow: Any, *, nearest: float) -> None:
    """Fill holes of what was let out, the `hollow` ones of all, that are too near to the shape."""
    parts, owner = shapely.get_parts(out[hollow], return_index=True)
    count = shapely.get_num_interior_rings(parts)
    part, hole = numbers_from(np.zeros_like(count), count)
    holes = shapely.get_interior_ring(parts[part], hole)
    of = hollow[owner[part]]
    shapely.prepare(given[hollow])
    false = shapely.dwithin(given[of], shapely.get_point(holes, 0), np.maximum(nearest * by[of], 0.0))
    if not false.any():
        return
    for k in np.unique(part[false]):
        parts[k] = shapely.polygons(shapely.get_exterior_ring(parts[k]), holes[(part == k) & ~false])
    for k in np.unique(owner[part[false]]):
        own = parts[owner == k]
        out[hollow[k]] = own[0] if len(own) == 1 else shapely.multipolygons(own)


def sound(shapes: Any) -> Any:
    """A shape, or an array of them, taken apart where edges that all but touched cross since they were moved a little.

    Of two ways the one whose area is nearer to what the outlines go round: by its structure the engine (GEOS 3.14) may
    lose a whole shape for a crossing at a corner, by its lines what lies twice within them, or a hole at the edge.
    """
    each = np.array(np.atleast_1d(shapes), dtype=object)
    crossed = np.flatnonzero(~shapely.is_valid(each))
    if not len(crossed):
        return shapes
    by_structure = shapely.make_valid(each[crossed], method="structure", keep_collapsed=False)
    by_lines = np.array([_areas_of(one) for one in shapely.make_valid(each[crossed])], dtype=object)
    area = shapely.area(each[crossed])
    nearer = np.abs(shapely.area(by_lines) - area) < np.abs(shapely.area(by_structure) - area)
    each[crossed] = np.where(nearer, by_lines, by_structure)
    return each if np.ndim(shapes) else each[0]


def simpler(shapes: Any, tolerance: float) -> Any:
    """An area, or each of an array, with fewer corners, within `tolerance` of the given one, and none of them invalid.

    Most are so without being looked after, which takes a tenth of the time.
    """
    each = np.atleast_1d(shapes)
    quick = np.asarray(shapely.simplify(each, tolerance, preserve_topology=False))
    fewer = shapely.get_num_geometries(quick) < shapely.get_num_geometries(each)
    spoilt = ~shapely.is_valid(quick) | fewer | (shapely.is_empty(quick) & ~shapely.is_empty(each))
    if spoilt.any():  # a part as thin as the tolerance, where a cutter just goes in, must not be lost
        quick[spoilt] = shapely.simplify(each[spoilt], tolerance)
    return quick if np.ndim(shapes) else quick[0]


def _areas_of(shape: Any) -> Any:
    """What of a shape is area, without lines and points."""
    parts = shapely.get_parts(shapely.get_parts(shape))
    parts = parts[shapely.get_type_id(parts) == _AREAS[0]]
    return parts[0] if len(parts) == 1 else shapely.multipolygons(parts)


def union_all(shapes: Iterable[Any], *, apart: bool = False, grid: float | None = None) -> Any:
    """The union of shapes; with `apart` by connected groups, quicker where most lie apart; `grid` snaps crossings."""
    rule = shapely.disjoint_subset_union_all if apart else partial(shapely.union_all, grid_size=grid)
    every = np.asarray(list(shapes) if not isinstance(shapes, np.ndarray) else shapes, dtype=object)
    if not len(every):
        return shapely.MultiPolygon()
    try:
        return rule(every)
    except GEOSException as error:
        return _again(shapely.union_all, (every,), error)


def without_cracks(area: Any) -> Any:
    """An area without what is thinner than `CRACK` in it: no wood is, and no cutter need keep off it.

    Shapes that meet share no corners where their edges were rounded apart, so that their union has cracks between them,
    and holes. Where it has none it stays as it is.
    """
    half = CRACK / 2.0
    grown = buffer(area, half, quad_segs=1, join_style="mitre", mitre_limit=_MITRE)
    closed = buffer(grown, -half, quad_segs=1, join_style="mitre", mitre_limit=_MITRE)
    cracked = area.length - closed.length > _CRACKED or len(shapely.get_rings(area)) != len(shapely.get_rings(closed))
    return closed if cracked and closed.area > area.area - _LOST else area


def coverage_union_all(faces: Any) -> Any:
    """The union of areas that meet along edges only; an ordinary union where rounding lets them overlap."""
    try:
        return shapely.coverage_union_all(faces)
    except GEOSException:
        return union_all(faces)


def _each(rule: Callable[..., Any], a: Any, b: Any) -> Any:
    """All at once, which is quick; where that fails one by one.

    The engine divides by zero where it meets two edges in one line, and goes on: that is no warning to anybody.
    """
    try:
        with np.errstate(divide="ignore", invalid="ignore"):
            return rule(a, b)
    except GEOSException as error:
        if np.ndim(a) == 0 and np.ndim(b) == 0:
            return _again(rule, (a, b), error)
        firsts, seconds = np.broadcast_arrays(np.asarray(a, dtype=object), np.asarray(b, dtype=object))
        out = np.empty(firsts.shape, dtype=object)
        for k in np.ndindex(out.shape):
            out[k] = _each(rule, firsts[k], seconds[k])
        return out


def _again(rule: Callable[..., Any], given: tuple[Any, ...], error: GEOSException) -> Any:
    """One that failed, with its shapes snapped to each grid in turn."""
    for grid in GRIDS:
        try:
            return rule(*(_snapped(one, grid) for one in given))
        except GEOSException as again:
            error = again
    raise ArtworkError(_place(error, given), "the geometry library cannot put the outlines there together",
                       allowed="outlines that do not nearly coincide",
                       remedy="move or simplify the drawing a little there") from error


def _snapped(one: Any, grid: float) -> Any:
    """Shapes on a grid, their areas made valid; numbers as they are."""
    if not np.all(shapely.is_geometry(one)):
        return one
    snapped = np.atleast_1d(np.asarray(shapely.set_precision(one, grid, mode="pointwise"), dtype=object)).copy()
    areas = np.isin(shapely.get_type_id(snapped), _AREAS)
    snapped[areas] = sound(snapped[areas])
    return snapped if np.ndim(one) else snapped[0]


def _place(error: GEOSException, given: tuple[Any, ...]) -> str:
    found = _PLACE.search(str(error))
    if found:
        x, y = float(found[1]), float(found[2])
    else:
        bounds = shapely.total_bounds([s for one in given for s in np.atleast_1d(one) if shapely.is_geometry(s)])
        x, y = float(bounds[[0, 2]].mean()), float(bounds[[1, 3]].mean())
    return f"the drawing near {x:.2f} mm along, {y:.2f} mm across"
