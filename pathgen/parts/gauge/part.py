"""A flat gauge: one edge hollow, of the radius that a top has at one place, to be held against the board."""

from __future__ import annotations

from dataclasses import replace
from typing import ClassVar

import numpy as np
import shapely

from pathgen.base.arrays import Floats
from pathgen.base.surface import Surface
from pathgen.base.tops import level
from pathgen.parts.tool import Tool
from pathgen.work.part import Names

_SHEET = ("All gauges of the folder are cut from this one sheet with one zero, in the order of their numbers: leave "
          "the sheet where it lies between them, and saw their tabs when the last is cut.")
_NEXT = "The sheet lies as it did for the gauge before: leave it so, and X 0 and Y 0 as they are."

_SAG = 5e-4
"""How far the straight pieces of an arc may lie inside it, mm."""


class Gauge(Tool):
    """Its straight back is square to X, its hollow edge the far one."""

    names: ClassVar[Names] = Names(
        part="gauge", start="the gauge", long="high", thickness="[gauges] thickness", wooden=False,
        again="run pathgen gauges again",
    )


class FirstGauge(Gauge):
    """One that others are cut after, from the same sheet."""

    names: ClassVar[Names] = replace(Gauge.names, laid=(_SHEET,))


class NextGauge(Gauge):
    """One that is cut after others from the same sheet."""

    names: ClassVar[Names] = replace(Gauge.names, laid=(_NEXT,), lies=True)


def radius_gauge(kind: type[Gauge], arc: Floats, *, x: float, height: float, thickness: float) -> Gauge:
    """A gauge with its back at `x` and the lowest place of its edge, an `arc` of `arc_edge`, `height` further on."""
    y = float(arc[0, 1])
    outline = shapely.Polygon(np.concatenate([[[x, y], [x, -y]], arc[::-1] + [x + height, 0.0]]))
    surface = level(thickness, x + height)
    return kind(surface=surface, outline=outline)


def lengthwise_edge(surface: Surface, start: float, end: float) -> Floats:
    """(n, 2) points, as of `arc_edge`, on the edge that fits a top along its centre-line, its `start` at +y."""
    along = np.unique([*np.linspace(start, end, 401), *np.clip(surface.bends, start, end)])
    lower = surface.thickness - surface.height(along, 0.0)
    return np.column_stack([lower - lower.min(), (start + end) / 2 - along])


def arc_edge(radius: float, width: float) -> Floats:
    """(n, 2) points on the hollow edge from +y to -y: x above its lowest place."""
    half = np.arcsin(width / 2 / radius)
    count = 2 * int(np.ceil(half / np.sqrt(8 * _SAG / radius)))
    angle = np.linspace(half, -half, count + 1)
    return np.column_stack([2 * radius * np.sin(angle / 2) ** 2, radius * np.sin(angle)])
