"""What a cutter opens and reaches: regions of the surface, and where its axis may go to open them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from pathgen.cutters import Cutter
from pathgen.errors import CutterError
from pathgen.surface import Surface

Floats = NDArray[np.float64]
Shapes = NDArray[np.object_]

FIT = 1e-5
"""How much (mm) a cutter's half-width is taken smaller, so that it goes into a slot exactly its own width."""


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
    return parts[0] if len(parts) == 1 else MultiPolygon(list(parts))


def cleaned(region: BaseGeometry) -> Polygon | MultiPolygon:
    """The region without self-touching rings, slivers of no area and parts that are not areas."""
    if not region.is_valid:
        region = shapely.make_valid(region, method="structure", keep_collapsed=False)
    return whole(polygons(region))


@dataclass(frozen=True, kw_only=True)
class Opening:
    """How a cutter, its tip `depth` below the surface, opens it.

    Attributes
    ----------
    half_width : float
        Half the width of the opening, mm.
    tolerance : float
        How far chords may lie from the arcs that they stand for, mm.
    """

    cutter: Cutter
    surface: Surface
    depth: float
    half_width: float
    tolerance: float

    def axis_region(self, region: BaseGeometry, *, allowance: float = 0.0) -> Shapes:
        """Polygons over which the axis may go so that nothing outside `region` less `allowance` is opened."""
        reach = self.half_width + allowance - FIT
        return polygons(shapely.buffer(region, -reach, quad_segs=quad_segments(reach, self.tolerance)))

    def opened(self, axis_region: BaseGeometry | Shapes) -> Polygon | MultiPolygon:
        """What is opened when the axis goes everywhere in `axis_region`."""
        reach = self.half_width
        wide = shapely.buffer(axis_region, reach, quad_segs=quad_segments(reach, self.tolerance))
        return whole(polygons(shapely.union_all(wide)))


def opening(cutter: Cutter, surface: Surface, depth: float, tolerance: float) -> Opening:
    """How `cutter` opens `surface` at `depth` (mm). Raises CutterError for a depth beyond its flute."""
    if depth > cutter.flute_length:
        raise CutterError(
            f"cutter {cutter.name!r}", f"a pocket {depth:g} mm deep, its flute is {cutter.flute_length:g} mm",
            allowed=f"a depth up to {cutter.flute_length:g} mm", remedy="take a longer cutter, or pocket less deep",
        )
    return Opening(
        cutter=cutter, surface=surface, depth=depth, half_width=float(cutter.half_width(depth)), tolerance=tolerance
    )
