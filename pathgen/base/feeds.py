"""Chip load, effective diameter and the feeds usual for a cutter's size: starting points, never more than that."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pathgen.base.arrays import Floats
from pathgen.base.cutters import Cutter
from pathgen.base.errors import CutterError
from pathgen.base.units import INCH

USUAL_CHIP_LOAD = (
    (0.125 * INCH, 0.002 * INCH, 0.004 * INCH),
    (0.25 * INCH, 0.005 * INCH, 0.007 * INCH),
)
"""Diameter, least and most chip load per tooth for hardwood, mm: common practice, the smallest sizes of a cutter
maker's published table (the test beside names it)."""

ROUND_UP = 0.05
"""Share by which a feed may lie outside the usual range before it is worth a word."""


def chip_load(feed: ArrayLike, speed_rpm: ArrayLike, flutes: ArrayLike) -> Floats:
    """Thickness of what each tooth takes, mm: feed (mm/min) over speed times flutes."""
    return np.asarray(feed, float) / (np.asarray(speed_rpm, float) * np.asarray(flutes, float))


def feed_for(chip_load: ArrayLike, speed_rpm: ArrayLike, flutes: ArrayLike) -> Floats:
    """The feed (mm/min) at which each tooth takes `chip_load` (mm): the inverse of `chip_load`."""
    return np.asarray(chip_load, float) * np.asarray(speed_rpm, float) * np.asarray(flutes, float)


def effective_diameter(cutter: Cutter, depth: ArrayLike) -> Floats:
    """Diameter (mm) at which the cutter cuts when it is `depth` (mm) deep.

    Ball: 2 sqrt(ap (D - ap)) up to the diameter (derived: the circle that the surface cuts from it); v: 2 ap
    tan(angle / 2), up to the diameter; a flat end cuts at its diameter. Raises CutterError for a depth that is not
    above 0.
    """
    d = np.asarray(depth, dtype=float)
    if not np.all(d > 0):
        raise CutterError(f"cutter {cutter.name!r}", f"a depth of {float(np.min(d)):g} mm", allowed="above 0")
    return 2.0 * cutter.half_width(d)


def usual_chip_load(diameter: float) -> tuple[float, float]:
    """The least and most chip load (mm) usual in hardwood for a cutter of `diameter` (mm): a starting point.

    In a straight line between and beyond the table's two sizes; in proportion to the diameter under the smaller
    (common practice, no source), where the line would soon reach nothing.
    """
    (d0, low0, high0), (d1, low1, high1) = USUAL_CHIP_LOAD
    if diameter <= d0:
        return low0 * diameter / d0, high0 * diameter / d0
    t = (diameter - d0) / (d1 - d0)
    return low0 + t * (low1 - low0), high0 + t * (high1 - high0)


def usual_feed(cutter: Cutter, depth: float | None = None) -> tuple[float, float]:
    """The least and most feed (mm/min) usual in hardwood for this cutter at its speed: a starting point.

    With `depth` (mm) a ball end or a v cutter is judged by its effective diameter there.
    """
    diameter = cutter.diameter if depth is None else float(effective_diameter(cutter, depth))
    low, high = usual_chip_load(diameter)
    return (
        float(feed_for(low, cutter.speed, cutter.flutes)),
        float(feed_for(high, cutter.speed, cutter.flutes)),
    )


def usual_speed(cutter: Cutter, depth: float | None = None) -> tuple[float, float]:
    """The least and most speed (rpm) at which the cutter's feed is usual in hardwood: a starting point."""
    low, high = usual_feed(cutter, depth)
    return cutter.speed * cutter.feed / high, cutter.speed * cutter.feed / low


@dataclass(frozen=True, kw_only=True)
class UnusualFeed:
    """A feed outside the usual range: the range (mm/min), and what each tooth takes (mm)."""

    low: float
    high: float
    load: float


def unusual_feed(cutter: Cutter, depth: float | None = None) -> UnusualFeed | None:
    """How a cutter's feed lies outside the usual range by more than ROUND_UP; None when it does not."""
    low, high = usual_feed(cutter, depth)
    if low * (1.0 - ROUND_UP) <= cutter.feed <= high * (1.0 + ROUND_UP):
        return None
    return UnusualFeed(low=low, high=high, load=float(chip_load(cutter.feed, cutter.speed, cutter.flutes)))
