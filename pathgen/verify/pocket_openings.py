"""What the cutters of an inlay can open without leaving the drawing, and so must: each its floor, all of them together.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely

from pathgen.base import overlay
from pathgen.base.cutters import Cutter
from pathgen.base.memory import remembered
from pathgen.base.surface import Surface
from pathgen.verify.reached_walls import risen_into
from pathgen.verify.simulate import OPENED
from pathgen.work.clamping import Step
from pathgen.work.features import Inlay

_TOUCHING = 0.01  # mm
_HANGS, _STATIONS = 0.49, 129
"""How much of a pocket's depth the downhill side of a flat end may be high, for it to be asked to go there, just less
than half; and at how many places along and across it is looked where that is."""
HELD_OFF = 0.015
"""As high as a blunt flank may lie, mm, where the cutter was held off the wall by a hair's width."""
TIGHT = 0.2
"""Radius of the sharpest corners, mm, and half the width of the narrowest places, that a v cutter is asked to open."""
_RAMP = 0.5
"""Of half the width that it opens: a cutter's axis is asked to go where all round is longer, as a ramp needs room."""


@dataclass(frozen=True, eq=False)
class Openings:
    """What the pocket steps of an inlay can open without leaving the drawing, and the floor that is each one's own.

    That is all that a flat end opens, and not the foot of the others' walls; less what an earlier step opened.
    Of each floor `alone` has the parts that touch nothing of what an earlier step opened, `beside` the others; `axes`
    is where the axis of each may go, and `asked` where it is asked to have been.
    """

    steps: list[Step]
    alone: list[shapely.Geometry]
    beside: list[shapely.Geometry]
    axes: list[shapely.Geometry]
    asked: list[shapely.Geometry]
    reach: shapely.Geometry

    def by_width(self) -> dict[tuple[float, bool], shapely.Geometry]:
        """The floors by the diameter of the widest flat end that may stand on them, uphill, and whether they are flat.
        """
        parts: dict[tuple[float, bool], list[shapely.Geometry]] = {}
        for k, step in enumerate(self.steps):
            parts.setdefault((widest([step]), step.cutter.is_flat), []).append(self.alone[k])
            parts.setdefault((widest(self.steps[: k + 1]), step.cutter.is_flat), []).append(self.beside[k])
        return {key: overlay.union_all(shapes) for key, shapes in parts.items()}

    def brought_to_depth(self, depth: float, spare: float) -> Iterator[tuple[Step, shapely.Geometry, float]]:
        """Floors that a step brings to depth somewhere, and how far down the slope from where: whole ones, and of flat
        ends what no later cutter can have touched, where that is wide enough."""
        for k, (step, alone, beside) in enumerate(zip(self.steps, self.alone, self.beside, strict=True)):
            yield step, alone, 0.0
            # a later flat end may rest on what an earlier one has opened, uphill of its own part
            yield step, beside, widest([step])
            if step.cutter.is_flat and k + 1 < len(self.steps):
                later = [overlay.buffer(overlay.union(self.alone[j], self.beside[j]), 2 * float(
                    self.steps[j].cutter.half_width(depth)) + spare) for j in range(k + 1, len(self.steps))]
                own = overlay.difference(alone, overlay.union_all(later))
                # the rim may pass so far away, where it turns twice
                half = step.cutter.stepover * step.cutter.diameter / 2
                parts = shapely.get_parts(overlay.buffer(overlay.buffer(own, -half - spare), half + spare))
                rims = _uphill_of(self.axes[k], step.cutter.radius)  # which rest on the floor
                holds = shapely.intersects(overlay.buffer(parts, -spare), rims)
                yield step, shapely.multipolygons(parts[holds]), 2 * half
                # of what lies below the last rim, beside a wall, it is as far up as the cutter is wide
                yield step, shapely.multipolygons(parts[~holds]), 2 * half + step.cutter.diameter


@remembered
def openings_of(shape: Inlay, steps: list[Step], gone: float, beyond: float, surface: Surface) -> Openings:
    """`gone` is what a second cut took off the surface before: sloping walls open less there.

    A cutter may go `beyond` the walls, mm. So a line just as wide as a cutter may be opened by it all along, though its
    middle fits in places only: what it may have opened so is no floor of the next cutter. One that cannot go straight
    down may leave closed what has no room for a ramp. And what a round or pointed end opens to the drawing's edge is
    not asked of the next one, though a second cut has made it narrower. What is in reach keeps off the walls of each
    part by half as much again, and by what a blunt flank takes to be so deep, downhill, that it counts as open though
    it was held off the wall by little: between two that all but touch nothing is asked for.
    """
    alone, beside, axes, asked = [], [], [], []
    reach, most, opened = shapely.Polygon(), shapely.Polygon(), shapely.Polygon()
    slope = float(surface.slope(*shapely.get_coordinates(shape.area).T).max())
    steps = sorted(steps, key=lambda s: s.order)
    for step in steps:
        half, wide = (_uphill(step.cutter, depth, slope) for depth in (shape.depth, shape.depth - gone))
        axis = overlay.buffer(shape.area, -half, quad_segs=32)
        if step.cutter.is_flat and slope * step.cutter.diameter > _HANGS * shape.depth and not axis.is_empty:
            axis = overlay.difference(axis, _steep_sides(surface, axis, _HANGS * shape.depth, step.cutter.radius))
        axes.append(axis)
        shapely.prepare(most)
        into = _gone_into(step.cutter, axis, shape.depth)
        asked.append(into)
        own = overlay.buffer(into, wide, quad_segs=32) if step.cutter.is_flat else axis
        floor = shapely.get_parts(overlay.difference(own, most))
        touching = shapely.dwithin(most, floor, _TOUCHING) if len(floor) else np.zeros(0, bool)
        alone.append(shapely.multipolygons(floor[~touching & (shapely.get_type_id(floor) == 3)]))
        beside.append(shapely.multipolygons(floor[touching & (shapely.get_type_id(floor) == 3)]))
        steep = _steep(step.cutter, shape.depth)
        flank = max(steep - slope, 0.2 * steep)
        off = 1.5 * beyond + (OPENED + HELD_OFF) / flank
        if step.cutter.shape == "v" and step is steps[-1]:  # it rises in corners
            tight = min(TIGHT, half)
            into, wide = risen_into(step.cutter, shape.area, tight, shape.depth), tight - gone / flank
        sure = overlay.buffer(into, wide - off, quad_segs=32)
        reach = overlay.union(reach, overlay.difference(sure, opened))
        if step is steps[-1]:
            break
        level = float(step.cutter.half_width(shape.depth))  # however it slopes, what a v opens is made of such circles
        wider = overlay.buffer(shape.area, min(beyond, level / 2) - level, quad_segs=32)
        may_open = overlay.buffer(wider, level, quad_segs=32)
        most = overlay.union(most, may_open)
        if not step.cutter.is_flat:
            opened = overlay.union(opened, may_open)
    return Openings(steps, alone, beside, axes, asked, reach)


def _uphill_of(area: shapely.Geometry, by: float) -> shapely.Geometry:
    """An area moved toward the crest, from both sides."""
    if area.is_empty:
        return area
    x0, y0, x1, y1 = area.bounds
    above, below = (overlay.intersection(area, shapely.box(x0, low, x1, high))
                    for low, high in ((0.0, max(y1, 0.0)), (min(y0, 0.0), 0.0)))
    return overlay.union(shapely.transform(above, lambda xy: xy - [0.0, by]),
                         shapely.transform(below, lambda xy: xy + [0.0, by]))


def _steep_sides(surface: Surface, near: shapely.Geometry, most: float, radius: float) -> shapely.Geometry:
    """Where the surface falls by more than `most` under a flat end, from its uphill side or the crest to its downhill
    side, as it does further out on either side, as far as `near` comes."""
    x0, y0, x1, y1 = near.bounds
    out = max(abs(y0), abs(y1))
    x, y = np.linspace(x0, x1, _STATIONS), np.linspace(0.0, out, _STATIONS)
    uphill, downhill = np.maximum(y - radius, 0.0)[:, None], y[:, None] + radius
    gentle = (surface.height(x, uphill) - surface.height(x, downhill) <= most).sum(axis=0)  # of the places out from it
    edge = np.column_stack([x, y[np.maximum(gentle - 1, 0)]])
    far = np.array([[x1, out + 1.0], [x0, out + 1.0]])
    return shapely.multipolygons([shapely.Polygon(np.concatenate([edge, far]) * [1.0, side]) for side in (1.0, -1.0)])


def _uphill(cutter: Cutter, depth: float, slope: float) -> float:
    """How far uphill a cutter opens a surface of that slope: a cone further than on level ground, a blunt one by much.
    """
    level = float(cutter.half_width(depth))
    return level if cutter.shape != "v" else min(cutter.radius, depth / max(cutter.wall_slope - slope, 1e-9))


def _gone_into(cutter: Cutter, axis: shapely.Geometry, depth: float) -> shapely.Geometry:
    """Where a cutter's axis is asked to have been, of where it may be: a ramp needs room."""
    if cutter.plunges:
        return axis
    parts = shapely.get_parts(axis)
    long = shapely.length(shapely.get_exterior_ring(parts)) > _RAMP * cutter.half_width(depth)
    return shapely.multipolygons(parts[long])


def _steep(cutter: Cutter, depth: float) -> float:
    """Rise over run of a cutter's flank where its opening ends."""
    return {"v": cutter.wall_slope, "flat-end": math.inf,
            "ball-end": float(cutter.half_width(depth)) / max(cutter.radius - depth, 1e-9)}[cutter.shape]


def widest(steps: list[Step]) -> float:
    return max((s.cutter.diameter for s in steps if s.cutter.is_flat), default=0.0)
