"""Contour-parallel clearing: the nest of loops, wall first, that the axis follows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from pathgen.pocketing.openings import Shapes, quad_segments

Ints = NDArray[np.intp]


@dataclass(frozen=True, eq=False, kw_only=True)
class Nest:
    """Regions of the axis one inside the other, `spacing` apart; their outlines are the loops to cut.

    Attributes
    ----------
    area : (n,) array of Polygon
    level : (n,) int array
        0 along the wall.
    parent : (n,) int array
        The region one level out that holds this one; -1 at level 0.
    """

    area: Shapes
    level: Ints
    parent: Ints

    def __len__(self) -> int:
        return len(self.area)


def nest(axis_region: Shapes, *, first: float, spacing: float, tolerance: float) -> Nest:
    """Regions inside `axis_region` (polygons): the first `first` inside its outline, the rest `spacing` apart."""
    areas, levels, parents = [axis_region], [np.zeros(len(axis_region), np.intp)], [np.full(len(axis_region), -1)]
    current, start, inset = axis_region, 0, first
    while len(current):
        inner = shapely.buffer(current, -inset, quad_segs=quad_segments(inset, tolerance))
        parts, owner = shapely.get_parts(shapely.simplify(inner, tolerance), return_index=True)
        real = (shapely.get_type_id(parts) == 3) & ~shapely.is_empty(parts)
        current, owner = parts[real], owner[real] + start
        start += len(areas[-1])
        areas.append(current)
        parents.append(owner)
        levels.append(np.full(len(current), len(areas) - 1))
        inset = spacing
    return Nest(area=np.concatenate(areas), level=np.concatenate(levels), parent=np.concatenate(parents))


@dataclass(frozen=True, eq=False, kw_only=True)
class Pieces:
    """Paths of the axis in plan, each cut in one go.

    Attributes
    ----------
    line : list of (n, 2) float arrays
        Closed loops end where they start. The material to be left is on the right: climb cutting.
    closed : (m,) bool array
    node : (m,) int array
        The region of the nest that each belongs to.
    """

    line: list[NDArray[np.float64]]
    closed: NDArray[np.bool_]
    node: Ints


def pieces(nested: Nest, needed: BaseGeometry | None) -> Pieces:
    """Outlines of the nest's regions; with `needed`, only the parts of them inside it.

    Outlines run counter-clockwise and holes clockwise, so that a spindle turning clockwise climb-cuts.
    """
    areas = shapely.orient_polygons(nested.area)
    rings, node = shapely.get_rings(areas, return_index=True)
    corners, ring = shapely.get_coordinates(rings, return_index=True)
    lines: Shapes = shapely.linestrings(corners, indices=ring) if len(rings) else np.empty(0, object)
    if needed is not None and len(lines):
        shapely.prepare(needed)
        inside = shapely.covers(needed, lines)
        crossing = ~inside & shapely.intersects(needed, lines)
        cut, owner = shapely.get_parts(
            shapely.line_merge(shapely.intersection(lines[crossing], needed), directed=True), return_index=True
        )
        is_line = (shapely.get_type_id(cut) == 1) & (shapely.length(cut) > 0)
        node = np.concatenate([node[inside], node[crossing][owner[is_line]]])
        lines = np.concatenate([lines[inside], cut[is_line]])
    coordinates, index = shapely.get_coordinates(lines, return_index=True)
    split = np.split(coordinates, np.flatnonzero(np.diff(index)) + 1) if len(lines) else []
    return Pieces(line=split, closed=shapely.is_closed(lines), node=node)

