"""Regions of a pocket, many at once, as polygons: what is done with them before a cutter is thought of."""

from __future__ import annotations

import math

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.arrays import Bools, Floats, Ints
from pathgen.strategies.entering import span

Shapes = NDArray[np.object_]

FIT = 1e-5
"""How much (mm) a cutter's half-width is taken smaller, so that it goes into a slot exactly its own width."""
_TORN = 0.003
"""How much smaller (mm) where it fits in many pieces only: drawn curves are followed to 0.005 mm, on both sides."""
_THIN = 1e-3  # thinner regions of the axis (mm), where a part has several, are the pieces of one


def quad_segments(radius: float, tolerance: float) -> int:
    """Segments in a quarter circle of `radius` so that chords stay within `tolerance` of it (mm)."""
    if radius <= tolerance:
        return 2
    return max(2, math.ceil(math.pi / 4.0 / math.acos(1.0 - tolerance / radius)))


def polygons(shape: BaseGeometry | Shapes) -> Shapes:
    """The polygons that a geometry, or an array of them, is made of, without empty ones and lines."""
    parts = shapely.get_parts(shapely.get_parts(np.atleast_1d(np.asarray(shape, dtype=object))))
    return parts[(shapely.get_type_id(parts) == 3) & ~shapely.is_empty(parts)]


def whole(parts: Shapes) -> Polygon | MultiPolygon:
    """Polygons that do not overlap as one geometry."""
    return parts[0] if len(parts) == 1 else shapely.multipolygons(parts)


def eroded(shapes: Shapes, distance: float | Floats, tolerance: float) -> Shapes:
    """Shapes less all within `distance` (one, or one for each) of their outlines; arcs in chords within `tolerance`."""
    segments = quad_segments(float(np.max(distance, initial=0.0)), tolerance)
    return np.asarray(overlay.buffer(shapes, np.negative(distance), quad_segs=segments))


def without_films(shapes: Shapes, thickness: float) -> Shapes:
    """Shapes without what is thinner than `thickness`: the films between outlines that nearly coincide."""
    half = thickness / 2.0
    return np.asarray(overlay.buffer(
        overlay.buffer(shapes, -half, quad_segs=1, join_style="mitre"), half, quad_segs=1, join_style="mitre"
    ))


def films(shapes: Shapes, thickness: float) -> Bools:
    """Which polygons are thinner than `thickness` (mm) over most of their length: empty ones are not."""
    return np.asarray(2.0 * shapely.area(shapes) < thickness * shapely.length(shapes))


def with_room(axis: Shapes, least: float) -> Shapes:
    """Regions of the axis without those that are no wider than `least`, mm."""
    pieces, owner = shapely.get_parts(axis, return_index=True)
    roomy = span(pieces) > least
    return of_each(pieces[roomy], owner[roomy], len(axis))


def of_each(pieces: Shapes, owner: Ints, count: int) -> Shapes:
    """(count,) shapes of the polygons that each owns, in order; empty ones of none."""
    out = np.full(count, Polygon(), dtype=object)
    owners, start = np.unique(owner, return_index=True)
    for k, group in zip(owners, np.split(pieces, start[1:]), strict=False):
        out[k] = whole(group)
    return out


def cleaned(region: BaseGeometry) -> Polygon | MultiPolygon:
    """The region without self-touching rings, slivers of no area and parts that are not areas."""
    return whole(polygons(overlay.sound(region)))


def mended(inner: Shapes, parts: Shapes, reach: Floats, tolerance: float) -> Shapes:
    """Regions of the axis, and in parts as wide as the cutter those for one narrower by less than curves are exact to.
    Rounding would leave their middle in many pieces."""
    pieces, of = shapely.get_parts(inner, return_index=True)
    film = films(pieces, _THIN)
    torn = np.unique(of[film])
    wider = overlay.simpler(eroded(parts[torn], reach[torn] - _TORN, tolerance), tolerance / 2.0)
    mended, owner = shapely.get_parts(wider, return_index=True)
    piece, into = shapely.STRtree(mended).query(pieces, predicate="intersects")
    several = np.bincount(into, minlength=len(mended)) > 1
    several[several] = np.bincount(into[film[piece]], minlength=len(mended))[several] > 0
    for k in np.unique(owner[several]):
        left = np.setdiff1d(np.flatnonzero(of == torn[k]), piece[several[into]])
        inner[torn[k]] = whole(np.concatenate([mended[several & (owner == k)], pieces[left]]))
    return inner
