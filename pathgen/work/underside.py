"""How much wood is left over what was cut into the back, under all that is cut into the top."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.arrays import Floats
from pathgen.work.clamping import Clamping
from pathgen.work.operations import Channel, CutOut, Pocket, RoundHoles, Slot

Area = TypeVar("Area", bound=BaseGeometry)

_EVERY = 0.25  # spacing of the places where the wood is measured, mm


@dataclass(frozen=True, eq=False, kw_only=True)
class Sunk:
    """What is open in the underside, in the frame of the top, and how deep: mm."""

    name: str
    shape: BaseGeometry
    depth: float


@dataclass(frozen=True, kw_only=True)
class WoodOver:
    """The least wood over the back's channel under one thing that the top has, mm."""

    under: str
    least: float
    at: tuple[float, float]


def turned_over(shape: Area) -> Area:
    """A shape of one side as it lies on the other: Y changes its sign."""
    return shapely.orient_polygons(shapely.transform(shape, lambda points: points * [1.0, -1.0]))


def sunk_of(clamping: Clamping) -> tuple[Sunk, ...]:
    """What the back's programs leave open in the part's underside."""
    if clamping.under is None:
        return ()
    cut = [step.operation.feature for step in clamping.under.steps if isinstance(step.operation, Channel)]
    return tuple(Sunk(name=one.what, shape=turned_over(one.shapes), depth=one.depth)
                 for one in cut)


def wood_over(clamping: Clamping) -> list[WoodOver]:
    """The least wood over the back's channel, under the finished surface and under each cut that crosses it."""
    return [over for sunk in sunk_of(clamping) for over in _over(clamping, sunk)]


def _over(clamping: Clamping, sunk: Sunk) -> Iterator[WoodOver]:
    shape, part = sunk.shape, clamping.board.outline
    if not shapely.covers(part, shape):  # it runs out through an end
        shape = overlay.intersection(shape, part)
    for name, area, floor in _floors(clamping):
        both = overlay.intersection(shape, area)
        if both.area <= 0:
            continue
        points = _places(both)
        left = floor(points[:, 0], points[:, 1]) - sunk.depth
        worst = int(np.argmin(left))
        x, y = points[worst].tolist()
        yield WoodOver(under=name, least=float(left[worst]), at=(x, y))


Floor = Callable[[Floats, Floats], Floats]


def _floors(clamping: Clamping) -> Iterator[tuple[str, BaseGeometry, Floor]]:
    """(name, where, height over the bed) of the surface and of the floor of all that is cut into it."""
    first, finished = clamping.surface, clamping.finished_surface
    yield "the surface", clamping.board.outline, finished.height
    for step in clamping.steps:
        operation = step.operation
        if isinstance(operation, Pocket) and not operation.nth:
            yield operation.feature.name, operation.feature.area, _lower(first.height, operation.feature.depth)
        elif isinstance(operation, RoundHoles | CutOut):
            opened = operation.leaves_open(0.0)
            if opened is not None:
                yield operation.purpose.split(" ", 1)[1], opened, _level(operation.bottom)
        elif isinstance(operation, Slot):
            cut = operation.feature
            floors = cut.floors(finished)
            for nth, (line, level) in enumerate(zip(cut.lines, floors.tolist(), strict=True)):
                where = overlay.buffer(shapely.linestrings(line), cut.width / 2, cap_style="square")
                floor = _level(level) if cut.bottom == "flat" else _lower(finished.height, cut.depth)
                yield cut.called(np.array([nth])), where, floor


def _lower(height: Floor, depth: float) -> Floor:
    return lambda x, y: height(x, y) - depth


def _level(height: float) -> Floor:
    return lambda x, y: np.full(np.shape(x), height)


def _places(shape: BaseGeometry) -> Floats:
    """(n, 2) places all over a shape and along its edge."""
    x0, y0, x1, y1 = shape.bounds
    across, along = (np.linspace(a, b, max(2, math.ceil((b - a) / _EVERY))) for a, b in ((y0, y1), (x0, x1)))
    x, y = (v.ravel() for v in np.meshgrid(along, across))
    inside = shapely.contains_xy(shape, x, y)
    edge = shapely.get_coordinates(shapely.segmentize(shape, _EVERY))
    return np.concatenate([np.column_stack([x[inside], y[inside]]), edge])
