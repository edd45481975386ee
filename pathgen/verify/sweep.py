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

import math

import numpy as np
from numpy.typing import NDArray

from pathgen.cutters import Cutter

AnyFloats = NDArray[np.floating]


def swept_heights(
    cutter: Cutter, u: AnyFloats, v: AnyFloats, length: float, rise: float
) -> AnyFloats:
    """Heights above the tip's start that a straight move leaves at points (u, v); infinite where it does not reach.

    Parameters
    ----------
    u, v : arrays
        Distance along the move, in plan, from its start; and square to it. Of any float type, which is kept.
    length : float
        Of the move in plan, mm; 0 for a plunge.
    rise : float
        Height of its end above its start, mm.
    """
    r = cutter.radius
    base = min(rise, 0.0) if length == 0.0 else 0.0
    with np.errstate(invalid="ignore"):
        v2 = v * v
        reach = np.sqrt(r * r - v2)  # NaN past the radius, which no comparison lets through
        low, high = np.maximum(u - reach, 0.0), np.minimum(u + reach, length)
        if length == 0.0 or (rise == 0.0 and cutter.shape == "flat-end"):
            t, slope = np.clip(u, low, high), 0.0
        else:
            slope = rise / length
            t = np.clip(_free_minimum(cutter, u, v, reach, slope), low, high)
        height = _profile(cutter, v2 + (u - t) ** 2)
        if slope:
            height = height + slope * t
        if base:
            height = height + base
        return np.where(low <= high, height, np.inf).astype(u.dtype, copy=False)


def _free_minimum(cutter: Cutter, u: AnyFloats, v: AnyFloats, reach: AnyFloats, slope: float) -> AnyFloats:
    if cutter.shape == "ball-end":
        return u - reach * (slope / math.sqrt(1.0 + slope * slope))
    if cutter.shape == "v" and abs(slope) < cutter.wall_slope:
        return u - np.abs(v) * (slope / math.sqrt(cutter.wall_slope**2 - slope * slope))
    return np.full_like(u, -math.inf if slope > 0 else math.inf)


def _profile(cutter: Cutter, square: AnyFloats) -> AnyFloats:
    """Height of the underside above the tip at a squared distance from the axis, no further than the radius."""
    if cutter.shape == "ball-end":
        return square / (cutter.radius + np.sqrt(np.maximum(cutter.radius**2 - square, 0.0)))
    if cutter.shape == "flat-end":
        return np.zeros_like(square)
    return np.sqrt(square) * cutter.wall_slope
