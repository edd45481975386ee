"""Chip load, effective diameter and the feeds usual for a cutter's size: starting points, never more than that."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pathgen.base.arrays import Floats
from pathgen.base.cutters import Cutter
from pathgen.base.errors import CutterError
from pathgen.base.units import INCH, MM_PER

USUAL_CHIP_LOAD = (
    (0.125 * INCH, 0.002 * INCH, 0.004 * INCH),
    (0.25 * INCH, 0.005 * INCH, 0.007 * INCH),
)
"""Diameter, least and most chip load per tooth for hardwood, mm: common practice, the smallest sizes of a cutter
maker's published table (the test beside names it)."""

SMALL_ROUTER = 1 / 3
"""Share of that least which small routers take, whose frame and spindle are weaker than those of the machines that such
tables are made for: common practice, no source."""

ROUTERS = (5_000.0, 60_000.0)
"""Turns a minute of routers' spindles, from the slowest to the quickest: common practice, no source."""

ROUND_UP = 0.05
"""Share by which a feed may lie outside the usual range before it is worth a word."""

ABOUT = 2.0
"""Times the usual that a number in another unit may come to, to be what was meant."""


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

    The table's, and down to SMALL_ROUTER of its least: in a straight line between its two sizes, no more above the
    larger, which is all that a small router bears, and in proportion to the diameter under the smaller (common
    practice, no source).
    """
    sizes, least, most = np.array(USUAL_CHIP_LOAD).T
    small = min(diameter / sizes[0], 1.0)
    return (SMALL_ROUTER * small * float(np.interp(diameter, sizes, least)),
            small * float(np.interp(diameter, sizes, most)))


def usual_feed(cutter: Cutter, depths: Sequence[float | None] = (None,)) -> tuple[float, float]:
    """The least and most feed (mm/min) usual in hardwood for this cutter at its speed: a starting point.

    At `depths` (mm) a ball end or a v cutter is judged by its effective diameters there, and by its own at None: one
    feed has to do for all, from the least at the shallowest to the most at the deepest.
    """
    wide = [cutter.diameter if depth is None else float(effective_diameter(cutter, depth)) for depth in depths]
    (low, _), (_, high) = usual_chip_load(min(wide)), usual_chip_load(max(wide))
    least, most = feed_for([low, high], cutter.speed, cutter.flutes).tolist()
    return least, most


def likely_meant(cutter: Cutter, unit: str) -> str:
    """What to write where a cutter's speed and feed are usual once they are changed over, or the speed is read in
    another unit; empty where none of that is so."""
    found, (least, most) = [], usual_chip_load(cutter.diameter)
    for words, speed, feed in (
        ("speed and feed are changed over", cutter.feed / MM_PER[unit], cutter.speed * MM_PER[unit]),
        ("turns per second (Hz) are meant", 60.0 * cutter.speed, cutter.feed),
        ("thousands of turns are meant", 1000.0 * cutter.speed, cutter.feed),
    ):
        if ROUTERS[0] <= speed <= ROUTERS[1] and least <= chip_load(feed, speed, cutter.flutes) <= most:
            more = f" and feed = {feed / MM_PER[unit]:g}" if feed != cutter.feed else ""
            found.append(f"if {words}, write speed = {speed:.0f}{more}")
    return "; ".join(found)


def usual_speed(cutter: Cutter, depths: Sequence[float | None] = (None,)) -> tuple[float, float]:
    """The least and most speed (rpm) at which the cutter's feed is usual in hardwood: a starting point."""
    low, high = usual_feed(cutter, depths)
    return cutter.speed * cutter.feed / high, cutter.speed * cutter.feed / low


@dataclass(frozen=True, kw_only=True)
class UnusualFeed:
    """A feed outside the usual range: the range (mm/min), and what each tooth takes (mm)."""

    low: float
    high: float
    load: float


def unusual_feed(cutter: Cutter, depths: Sequence[float | None] = (None,)) -> UnusualFeed | None:
    """How a cutter's feed lies outside the usual range by more than ROUND_UP; None when it does not."""
    low, high = usual_feed(cutter, depths)
    if low * (1.0 - ROUND_UP) <= cutter.feed <= high * (1.0 + ROUND_UP):
        return None
    return UnusualFeed(low=low, high=high, load=float(chip_load(cutter.feed, cutter.speed, cutter.flutes)))
