"""Areas united, and put in order afterwards."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from pathgen.artwork.areas import EMPTY, Geometries, too_crossed
from pathgen.base import overlay
from pathgen.base.arrays import Bools

_CROWD = 60
"""Neighbours of an area above which looking for connected groups costs more than it saves."""

_AREAS = (3, 6)  # the library's numbers of Polygon and MultiPolygon
_GROUP = 8
_GROWTH, _LEAST_CORNERS = 4, 120_000
"""A union may have so many corners for each that went in, or so many in all; crossing lines have many times more."""


def united(areas: Geometries) -> Any:
    """The union of areas: by connected groups where they lie apart, at once where most lie on one another."""
    if len(areas) == 0:
        return EMPTY
    if len(areas) == 1:
        return areas[0]
    if len(areas) <= 4:
        return areal(overlay.union_all(areas))
    sample = areas[:: -(-len(areas) // 50)]
    crowd = shapely.STRtree(areas).query(sample, predicate="intersects").shape[1] / len(sample)
    return areal(_crowded_union(areas) if crowd > _CROWD else overlay.union_all(areas, apart=True))


def _crowded_union(areas: Geometries) -> Any:
    """The union of areas most of which meet, in groups of neighbours and groups of those; too many crossings raise."""
    limit = max(_LEAST_CORNERS, _GROWTH * int(shapely.get_num_coordinates(areas).sum()))
    while len(areas) > 1:
        centres = shapely.get_coordinates(shapely.centroid(shapely.envelope(areas)))
        rows = np.ceil(np.sqrt(len(areas) / _GROUP))
        band = np.floor(np.argsort(np.argsort(centres[:, 0])) / len(areas) * rows)
        areas = areas[np.lexsort((centres[:, 1], band))]
        groups = [areas[k: k + _GROUP] for k in range(0, len(areas), _GROUP)]
        if len(groups) > 20:  # a few tell what all will come to
            some = np.array([overlay.union_all(group) for group in groups[:: len(groups) // 5]])
            if shapely.get_num_coordinates(some).mean() * len(groups) > limit:
                raise too_crossed(f"{len(areas)} shapes of one colour")
        found = [overlay.union_all(group) for group in groups]
        if shapely.get_num_coordinates(found).sum() > limit:
            raise too_crossed(f"{len(areas)} shapes of one colour")
        areas = np.array(found, dtype=object)
    return areas[0]


def areal(geometries: Any) -> Any:
    """One, or an array in place: Polygons and MultiPolygons as they are; of anything else, its polygons."""
    each = np.atleast_1d(geometries)
    for i in np.flatnonzero(~np.isin(shapely.get_type_id(each), _AREAS)):
        parts = shapely.get_parts(each[i])
        each[i] = overlay.union_all(shapely.get_parts(parts[np.isin(shapely.get_type_id(parts), _AREAS)]))
    return each if np.ndim(geometries) else each[0]


def without_slivers(area: Any, width: float) -> Any:
    """An area without the parts and holes of less mean `width` that rounding leaves where edges coincide."""
    parts = shapely.get_parts(area)
    if not len(parts):
        return EMPTY
    kept = []
    for part in parts[_wide(parts, width)]:
        holes = np.array(part.interiors, dtype=object)
        if len(holes):
            wide = _wide(shapely.polygons(holes), width)
            part = part if wide.all() else shapely.Polygon(part.exterior, holes[wide])
        kept.append(part)
    return kept[0] if len(kept) == 1 else shapely.MultiPolygon(kept)


def _wide(polygons: Geometries, width: float) -> Bools:
    """(n,) which are of more mean width, twice the area by the length."""
    return np.asarray(2 * shapely.area(polygons) > width * shapely.length(polygons))
