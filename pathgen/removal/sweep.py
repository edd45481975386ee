"""The exact lower envelope of a cutter swept along straight moves.

In the vertical plane of a move, with u along it in plan, v square to it, tip z(t) = z0 + m t for t in [0, L], a
point (u, v) is cut down to

    min over t of  z(t) + profile(sqrt(v^2 + (u - t)^2)),   where  v^2 + (u - t)^2 <= R^2

The profile of each cutter is convex, so the minimum over t is the free minimum, where the slope of the move equals
that of the profile, held between the first and the last t at which the cutter is over the point:

    ball     t = u - rho m / sqrt(1 + m^2),  rho^2 = R^2 - v^2
    v        t = u - |v| m / sqrt(k^2 - m^2), k the rise over run of its flank; no free minimum for |m| >= k
    flat     the lower end
"""

from __future__ import annotations

from typing import Any, assert_never

import numpy as np
from numpy.typing import NDArray

from pathgen.base.arrays import Bools
from pathgen.base.cutters import Cutter

AnyFloats = NDArray[np.floating[Any]]

RIM = 1e-3  # mm: what lies nearer to the rim may have been left by rounding


def swept_heights(
    cutter: Cutter, u: AnyFloats, v: AnyFloats, length: AnyFloats, rise: AnyFloats,
    onward: Bools | np.bool_ = np.False_,
) -> AnyFloats:
    """Heights above a move's start that the move leaves at points (u, v); infinite where it does not reach.

    `u` is the distance along the move, in plan, from its start, `v` square to it; what else is given broadcasts with
    them: `length` of the move in plan, mm, 0 for a plunge; `rise` of its end above its start, mm; `onward` where the
    cutter has stood at the move's start before: what it cuts there is infinite too, since nothing of it is left. Not
    for plunges. Gives the broadcast shape and the type of the arguments.
    """
    level = np.minimum(rise, 0.0, where=length == 0, out=np.zeros_like(rise))  # plunges: the lower end is what counts
    slope = np.divide(rise, length, where=length > 0, out=np.zeros_like(rise))
    if cutter.is_flat and not slope.any():
        return _under_disc(cutter.radius, u, v, length, level, onward)
    with np.errstate(invalid="ignore"):
        square = v * v
        reach = np.sqrt(cutter.radius**2 - square)  # NaN past the radius, which no comparison lets through
        first, last = np.maximum(u - reach, 0), np.minimum(u + reach, length)
        t = _lowest(cutter, u, v, reach, slope, first, last)
        height = slope * t
        height += level
        if not cutter.is_flat:
            height += _profile(cutter, (t - u) ** 2 + square)
        gone = ~(first <= last)
        if np.any(onward):
            gone |= onward & (t <= 0) & (u * u + square < (cutter.radius - RIM) ** 2)
        height[gone] = np.inf
    return height


def _under_disc(
    radius: float, u: AnyFloats, v: AnyFloats, length: AnyFloats, level: AnyFloats, onward: Bools | np.bool_,
) -> AnyFloats:
    """Level moves of a flat end: everything within the radius of the move."""
    square = v * v
    off = np.clip(u, 0, length)
    off -= u
    off *= off
    off += square
    inside = off <= radius * radius
    if np.any(onward):
        inside &= ~onward | (u * u + square > (radius - RIM) ** 2)
    return np.where(inside, level, off.dtype.type(np.inf))


def _lowest(
    cutter: Cutter, u: AnyFloats, v: AnyFloats, reach: AnyFloats, slope: AnyFloats, first: AnyFloats, last: AnyFloats
) -> AnyFloats:
    """Where along the move the cutter is lowest over each point."""
    match cutter.shape:
        case "flat-end":
            return np.where(slope > 0, first, last)
        case "ball-end":
            t = u - reach * (slope / np.sqrt(1 + slope * slope))
        case "v":
            k = cutter.wall_slope
            gentle = np.abs(slope) < k
            slight = np.where(gentle, slope, slope.dtype.type(0))
            shift = slight / np.sqrt(k * k - slight * slight)
            t = np.where(gentle, u - np.abs(v) * shift, np.where(slope > 0, first, last))
        case unlisted:
            assert_never(unlisted)
    np.maximum(t, first, out=t)
    np.minimum(t, last, out=t)
    return t


def _profile(cutter: Cutter, square: AnyFloats) -> AnyFloats:
    """Height of the underside above the tip at a squared distance from the axis, no further than the radius."""
    match cutter.shape:
        case "ball-end":
            return square / (cutter.radius + np.sqrt(np.maximum(cutter.radius**2 - square, 0)))
        case "v":
            return np.sqrt(square) * cutter.wall_slope
        case other:
            raise ValueError(f"the underside of a {other} cutter is not known")
