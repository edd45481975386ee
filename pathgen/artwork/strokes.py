"""Strokes as regions."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from pathgen.artwork.areas import EMPTY, Geometries
from pathgen.artwork.flatten import flatten
from pathgen.artwork.scene import Paint
from pathgen.artwork.transforms import IDENTITY, largest_scale


def stroked(paints: Sequence[Paint], tolerance: float) -> Geometries:
    areas = np.full(len(paints), EMPTY, dtype=object)
    for i, paint in enumerate(paints):
        s = paint.stroke
        lines = flatten([paint.curves], [IDENTITY], tolerance / largest_scale(paint.matrix))
        parts = []
        for a, b in zip(lines.start, lines.start[1:]):
            line = shapely.LinearRing(lines.points[a:b]) if lines.closed[len(parts)] and b - a > 2 else shapely.LineString(lines.points[a:b])
            parts.append(line.buffer(s.width / 2, cap_style={"butt": "flat"}.get(s.cap, s.cap), join_style={"miter": "mitre"}.get(s.join, s.join), mitre_limit=s.mitre_limit, quad_segs=32))
        a, b, c, d, e, f = paint.matrix
        areas[i] = shapely.affinity.affine_transform(shapely.union_all(parts), (a, c, b, d, e, f))
    return areas
