"""Drawings, cutters and boards for the tests of pockets."""

import math

import numpy as np
import shapely
from shapely import MultiPolygon, Point, Polygon, box

from pathgen.base.cutters import Cutter
from pathgen.base.surface import Surface

BOARD = Surface(thickness=6.5, radius_nut=254.0, radius_end=355.6, length=480.0)
LEVEL = Surface(thickness=6.5, radius_nut=math.inf, radius_end=math.inf, length=480.0)


def flat_end(diameter: float, **changed: float) -> Cutter:
    """A flat end with usual feeds for its size."""
    data = {"speed": 18000.0, "feed": 300.0 * diameter, "plunge": 100.0 * diameter, "stepdown": max(0.8, diameter / 3),
            "flute_length": 12.0} | changed
    return Cutter(name=f"flat {diameter:g}", shape="flat-end", diameter=diameter, **data)  # type: ignore[arg-type]


def ball_end(diameter: float) -> Cutter:
    """A ball end."""
    return Cutter(
        name=f"ball {diameter:g}", shape="ball-end", diameter=diameter, speed=18000, feed=900, plunge=300, stepdown=1.0
    )


def v_cutter(angle: float) -> Cutter:
    """A v cutter of 6 mm."""
    return Cutter(
        name=f"v {angle:g}", shape="v", diameter=6.0, angle=angle, speed=18000, feed=900, plunge=300, stepdown=2.0
    )


def star(x: float, y: float, outer: float, inner: float, points: int = 5) -> Polygon:
    """A pointed star."""
    angle = np.arange(2 * points) * math.pi / points
    radius = np.where(np.arange(2 * points) % 2, inner, outer)
    return Polygon(np.column_stack([x + radius * np.cos(angle), y + radius * np.sin(angle)]))


def ring(x: float, y: float, outer: float, inner: float) -> Polygon:
    """A ring."""
    return Point(x, y).buffer(outer, quad_segs=64).difference(Point(x, y).buffer(inner, quad_segs=64))


def comb(x: float, y: float) -> Polygon:
    """A comb with teeth 1.6 mm wide."""
    teeth = [box(x + 3.2 * i, y - 1.0, x + 3.2 * i + 1.6, y + 10.0) for i in range(8)]
    return shapely.union_all([box(x, y - 6.0, x + 24.0, y), *teeth])


def needle(x: float, y: float) -> Polygon:
    """A long thin tip."""
    return Polygon([(x, y), (x + 40.0, y + 1.2), (x + 40.0, y - 1.2)])


def mixed(dy: float = 0.0) -> MultiPolygon:
    """Star, ring, comb and needle, `dy` from the centre-line."""
    return MultiPolygon([star(100, dy, 12, 5), ring(130, dy, 10, 5), comb(150, dy - 3), needle(185, dy)])
