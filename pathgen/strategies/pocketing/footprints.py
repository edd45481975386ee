"""Openings of a ball end or a v cutter on a slope, and the plane in which all of them are discs.

On level ground they open discs round their axis. On a slope they open an ellipse that lies uphill of the axis: a
plane cuts a ball in a circle, seen from above as an ellipse, and a cone in an ellipse with the axis through one
focus. `Footprints` maps regions and axes to a plane in which every opening is a disc, so that offsets there are
exact on the board.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import ArrayLike
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.arrays import Floats, Ints
from pathgen.base.cutters import Cutter, reshaped
from pathgen.base.surface import Surface
from pathgen.strategies.pocketing.shapes import FIT, Shapes, eroded, mended, quad_segments

_HAIR = 3e-4  # how much less far (mm) regions are let out: chords over the curve cut deeper, and so wider, by a little
_SHARPEST = 1e-3
"""1 + cos of the turn at the sharpest corner (5 degrees wide) that is let out as far as both of its edges."""
_TIP = 1.5  # corners that go out by more times the way of their edges are looked at where they come to
_FLANK = 4.0
"""How many times as wide as the cutter the flank of a cone is taken to go on, where its rim is below the surface."""
_EGG = 0.005
"""How far (mm) an opening may reach out of its disc: on a curve it is no ellipse, a blunt v's by hundredths of a mm."""
_ROUND = 13  # in how many directions, from uphill to downhill, an opening is looked at
_COARSE = 16
"""Of the places in the table, one in so many is looked at where openings are at more than one place along the board."""
_EDGE = 2.0  # longest edge that is mapped by its ends alone, mm
_HALVINGS = 34  # of the cutter's radius, to find the rim of a footprint: to 1e-9 mm


@dataclass(frozen=True, eq=False, kw_only=True)
class Footprints:
    """Openings of a ball end or a v cutter over a slope, and the plane in which they are discs.

    The opening about an axis is an ellipse: `along` the slope, `across` it, its centre moved uphill. The plane
    stretches y by across / along, or by along / across where the slope is along the board, so that there it is a disc
    as wide as it is along the board; both change slowly with y.
    """

    cutter: Cutter
    surface: Surface
    depth: float
    position: Floats
    """y over the radius there, for the table."""
    stretched: Floats
    """The plane's y over the radius there."""
    across: Floats
    sunk: bool = False
    """Whether a cone's rim lies below the surface somewhere, uphill first: these are openings of a flank that goes on
    past it, and where the cutter opens less it is the disc of its rim that it does not come out of."""

    @classmethod
    def over(cls, cutter: Cutter, surface: Surface, depth: float, region: BaseGeometry) -> Footprints | None:
        """For the places where `region` lies; None where the cutter is sunk to its full width: a cone all round."""
        x0, y0, x1, y1 = region.bounds
        x, reach, full = (x0 + x1) / 2.0, 2.0 * cutter.radius, cutter.radius * (1.0 - 1e-9)
        is_cone = cutter.shape == "v"
        radius = float(_scale(surface, x))
        # the table is of y over the radius, which changes along the board: it must hold the whole region at both ends
        share = radius / _scale(surface, np.array([x0, x1]))
        low, high = (y0 - reach) * share, (y1 + reach) * share
        y = np.linspace(low.min(), high.max(), 257)
        y = y[np.abs(y) < 0.99 * surface.radius(x)]
        if is_cone:
            cutter = reshaped(cutter, diameter=_FLANK * cutter.diameter)
        at = np.full_like(y, x)
        offset, along = _lengthwise(cutter, surface, depth, at, y)
        if np.all(along - offset >= full) if is_cone else np.any(along >= full):
            return None
        axis, up = np.column_stack([at, y]), _uphill(surface, at, y)
        side = np.column_stack([-up[:, 1], up[:, 0]])
        across = _rim(cutter, surface, depth, axis, axis + offset[:, None] * up, side)
        lengthwise = np.abs(up[:, 0]) > math.sqrt(0.5)  # as where a flat falls along the board
        wide, high = np.where(lengthwise, [along, across], [across, along])
        rate = wide / high
        # begun at y itself, so that scaling by the radius, which changes along the board, hardly shears the plane
        plane = y[0] + np.concatenate([[0.0], np.cumsum((rate[1:] + rate[:-1]) / 2.0 * np.diff(y))])
        position, stretched = y / radius, plane / radius
        xs = _sections(surface, x0, x1, float(along.max()))
        some = position[:: _COARSE if len(xs) > 1 else 1]
        reach = _furthest(cutter, surface, depth, *np.meshgrid(xs, some), position, stretched).max(axis=1)
        return cls(
            cutter=cutter, surface=surface, depth=depth, position=position, stretched=stretched,
            across=np.maximum(wide, np.interp(position, some, reach) - _EGG),
            sunk=bool(np.any(along + offset >= full)),
        )

    def axis_region(self, parts: Shapes, tolerance: float) -> Shapes:
        """For each of `parts`, where the axis may go so that nothing outside it is opened; empty where nowhere."""
        plane = self.in_plane(parts)
        reach = self._reach(plane)
        inner = overlay.simpler(eroded(plane, reach - FIT, tolerance), tolerance / 2.0)
        inner = mended(inner, plane, reach - FIT, tolerance)
        return self._mapped(self._let_out(inner, reach, plane), self._to_axis)

    def opened(self, axis: Shapes, tolerance: float) -> Shapes:
        """What is opened when the axis goes everywhere in each of `axis`."""
        plane = self._mapped(axis, self._axis_to_plane)
        reach = self._reach(plane)
        wide = overlay.buffer(plane, reach - FIT, quad_segs=quad_segments(float(reach.max(initial=1.0)), tolerance))
        return self._mapped(self._taken_in(wide, plane, reach), self.out_of_plane)

    def in_plane(self, shapes: Shapes) -> Shapes:
        """Shapes in the plane in which openings are discs."""
        return self._mapped(shapes, self._to_plane)

    def _let_out(self, inner: Shapes, reach: Floats, plane: Shapes) -> Shapes:
        """Regions of the middles, eroded by the largest radius over each part, let out to the radius in each place. A
        sharp tip goes out a long way between its walls: not where the plane's parts end or narrow before that."""
        if self._spare(inner, reach) is None:
            return inner
        fine = shapely.segmentize(inner, _EDGE)
        corners, outward, of_vertex = _outward(fine)
        out = np.maximum(reach[of_vertex] - self._radius_at(corners) - _HAIR, 0.0)
        moved = corners + out[:, None] * outward
        tips = np.flatnonzero(np.hypot(*outward.T) > _TIP)
        away = shapely.distance(shapely.boundary(plane)[of_vertex[tips]], shapely.points(moved[tips]))
        short = tips[away < self._radius_at(moved[tips]) - FIT]
        moved[short] = corners[short]
        return _valid_or(_with_corners(fine, moved), inner)

    def _taken_in(self, wide: Shapes, plane: Shapes, reach: Floats) -> Shapes:
        """What is opened with the largest radius over each part, taken in to the radius that opens each place."""
        spare = self._spare(plane, reach)
        if spare is None:
            return wide
        fine = shapely.segmentize(wide, _EDGE)
        corners, outward, of_vertex = _outward(fine)
        length = np.maximum(np.hypot(*outward.T), 1.0)[:, None]
        middles = corners - reach[of_vertex, None] * outward / length
        taken = np.maximum(reach[of_vertex] - self._radius_at(middles), 0.0)
        least = overlay.buffer(plane, reach - spare - FIT)
        return _valid_or(_with_corners(fine, corners - taken[:, None] * outward), least)

    def _spare(self, parts: Shapes, reach: Floats) -> Floats | None:
        """By how much less than the largest the radius is somewhere over each part; None where it does not matter."""
        spare = reach - self._reach(parts, np.min)
        return spare if spare.max(initial=0.0) > FIT else None

    def _radius_at(self, plane: Floats) -> Floats:
        """Radius of the opening about each (n, 2) place in the plane."""
        return np.asarray(np.interp(plane[:, 1] / _scale(self.surface, plane[:, 0]), self.stretched, self.across))

    def _reach(self, parts: Shapes, extreme: Callable[..., Floats] = np.max) -> Floats:
        """The largest radius of an opening in the plane over each part, or another extreme."""
        bounds = np.nan_to_num(shapely.bounds(parts).reshape(-1, 4))  # empty ones have none
        radius = _scale(self.surface, (bounds[:, 0] + bounds[:, 2]) / 2.0)
        y = bounds[:, 1] + np.linspace(0.0, 1.0, 9)[:, None] * (bounds[:, 3] - bounds[:, 1])
        return np.asarray(extreme(np.interp(y / radius, self.stretched, self.across), axis=0))

    def _mapped(self, shapes: Shapes, rule: Callable[[Floats], Floats]) -> Shapes:
        if not len(shapes):
            return shapes
        return overlay.sound(np.asarray(shapely.transform(shapely.segmentize(shapes, _EDGE), rule)))

    def _to_plane(self, xy: Floats) -> Floats:
        radius = _scale(self.surface, xy[:, 0])
        return np.column_stack([xy[:, 0], radius * np.interp(xy[:, 1] / radius, self.position, self.stretched)])

    def out_of_plane(self, xy: Floats) -> Floats:
        """Places, (n, 2), of the plane on the board."""
        radius = _scale(self.surface, xy[:, 0])
        return np.column_stack([xy[:, 0], radius * np.interp(xy[:, 1] / radius, self.stretched, self.position)])

    def _axis_to_plane(self, xy: Floats) -> Floats:
        return self._to_plane(xy + self.shift(xy))

    def _to_axis(self, xy: Floats) -> Floats:
        centre = self.out_of_plane(xy)
        axis = centre
        for _ in range(4):  # the shift changes by under a hundredth of the step, so each round gives two digits
            axis = centre - self.shift(axis)
        return axis

    def shift(self, axis: Floats) -> Floats:
        """From the axis to the middle of its opening: (n, 2), uphill."""
        x, y = axis.T
        offset, _ = _lengthwise(self.cutter, self.surface, self.depth, x, y)
        return offset[:, None] * _uphill(self.surface, x, y)


def _scale(surface: Surface, x: ArrayLike) -> Floats:
    """What y is counted in across the board at `x`: the radius there; mm on a flat, which may fall along the board."""
    return np.ones(np.shape(x)) if surface.is_flat else surface.radius(x)


def _outward(shapes: Shapes) -> tuple[Floats, Floats, Ints]:
    """Corners of polygons, (n, 2) ways out of them that move both edges there by 1, and the shape that each is of."""
    oriented = shapely.orient_polygons(shapes)
    shapes[:] = oriented
    corners, owner = shapely.get_coordinates(oriented, return_index=True)
    rings = shapely.get_rings(shapely.get_parts(oriented))
    ends = np.cumsum(shapely.get_num_coordinates(rings)).astype(np.intp)
    starts = np.concatenate([[0], ends[:-1]]).astype(np.intp)[: len(ends)]
    after, before = np.arange(1, len(corners) + 1), np.arange(-1, len(corners) - 1)
    after[ends - 1], before[starts] = starts + 1, ends - 2  # a ring's last corner is its first
    a, b = (_right_of(corners, i, j) for i, j in ((before, np.arange(len(corners))), (np.arange(len(corners)), after)))
    both = 1.0 + np.maximum((a * b).sum(axis=1), _SHARPEST - 1.0)
    return corners, (a + b) / both[:, None], owner


def _right_of(corners: Floats, start: Ints, end: Ints) -> Floats:
    way = corners[end] - corners[start]
    length = np.maximum(np.hypot(way[:, 0], way[:, 1]), 1e-15)
    return np.column_stack([way[:, 1], -way[:, 0]]) / length[:, None]


def _with_corners(shapes: Shapes, corners: Floats) -> Shapes:
    return np.asarray(shapely.set_coordinates(shapes.copy(), corners))


def _valid_or(shapes: Shapes, others: Shapes) -> Shapes:
    """The shapes, and others in place of those that are not valid."""
    return np.where(shapely.is_valid(shapes), shapes, others)


def _uphill(surface: Surface, x: Floats, y: Floats) -> Floats:
    """(n, 2) unit vectors; along -y at the crest, where there is no slope."""
    flat = -surface.normal(x, y)[:, :2]
    length = np.hypot(flat[:, 0], flat[:, 1])
    return np.where(length[:, None] > 1e-12, flat / np.maximum(length, 1e-12)[:, None], [0.0, -1.0])


def _lengthwise(cutter: Cutter, surface: Surface, depth: float, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """How far uphill the middle of each opening lies, and half its length along the slope."""
    up = _uphill(surface, x, y)
    axis = np.column_stack([x, y])
    far = _rim(cutter, surface, depth, axis, axis, up)
    near = _rim(cutter, surface, depth, axis, axis, -up)
    return (far - near) / 2.0, (far + near) / 2.0


def _sections(surface: Surface, x0: float, x1: float, wide: float) -> Floats:
    """Where along the board openings are looked at: in the middle, and where it curves along the board, or bends, at
    both ends too, and round each bend as far as those there are `wide`."""
    near = surface.bends[(surface.bends > x0 - wide) & (surface.bends < x1 + wide)]
    if not len(near) and not surface.curving:
        return np.array([(x0 + x1) / 2.0])
    return np.unique([x0, *(near[:, None] + wide * np.linspace(-1.0, 1.0, _ROUND)).ravel().clip(x0, x1), x1])


def _furthest(
    cutter: Cutter, surface: Surface, depth: float, x: Floats, share: Floats, position: Floats, stretched: Floats
) -> Floats:
    """How far each opening about x and a `share` of the radius there reaches from its middle at most, in the plane
    whose y for rising `position` is given, shares too: about as far in all directions, since there it is all but a
    disc. `x` and `share` are of one shape, which the answer has."""
    at, scale = x.ravel(), _scale(surface, x.ravel())
    y = share.ravel() * scale
    up, (offset, _) = _uphill(surface, at, y), _lengthwise(cutter, surface, depth, at, y)
    axis, side = np.column_stack([at, y]), np.column_stack([-up[:, 1], up[:, 0]])
    middle = axis + offset[:, None] * up
    most, begin = np.zeros(len(y)), np.interp(middle[:, 1] / scale, position, stretched)
    for turn in np.linspace(0.0, np.pi, _ROUND):
        way = np.cos(turn) * up + np.sin(turn) * side
        rim = middle + _rim(cutter, surface, depth, axis, middle, way)[:, None] * way
        across = scale * (np.interp(rim[:, 1] / scale, position, stretched) - begin)
        np.maximum(most, np.hypot(rim[:, 0] - middle[:, 0], across), out=most)
    return most.reshape(x.shape)


def _rim(cutter: Cutter, surface: Surface, depth: float, axis: Floats, start: Floats, way: Floats) -> Floats:
    """How far from `start` along `way` (unit vectors) the cutter at `axis` meets the surface.

    The surface's height is concave and the cutter's underside convex, so there is one such place; the full
    radius where the cutter is sunk deeper than that.
    """
    tip = surface.tip_height(cutter, axis[:, 0], axis[:, 1]) - depth
    low, high = np.zeros(len(axis)), np.full(len(axis), cutter.radius)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        at = start + middle[:, None] * way
        out = np.hypot(*(at - axis).T)
        cut = surface.height(at[:, 0], at[:, 1]) > tip + cutter.profile(out)
        low, high = np.where(cut, middle, low), np.where(cut, high, middle)
    return (low + high) / 2.0
