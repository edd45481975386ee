"""About how long cutters take in a pocket, and to be changed, reckoned without a plan: to choose what is worth one."""

from __future__ import annotations

from collections.abc import Sequence

from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.cutters import Cutter
from pathgen.strategies.pocketing.settings import PocketOptions

CHANGE = 2.0
"""Minutes to fit another cutter and set its Z: common practice, no source."""
_ROUGHLY = 0.02  # how far (mm) outlines are simplified to reckon with
_STRAIGHT = 0.7  # of what straight cuts take in a minute is taken in pockets (seen on two dozen boards: 0.6 to 0.95)


def simplified(area: BaseGeometry) -> BaseGeometry:
    """A drawing as it is good enough to reckon with."""
    return overlay.simpler(area, _ROUGHLY)


def likely_opened(cutter: Cutter, area: BaseGeometry) -> float:
    """About what a flat end opens of a simplified drawing, mm2."""
    inside = overlay.buffer(area, -cutter.radius, quad_segs=4)
    return float(overlay.buffer(inside, cutter.radius, quad_segs=4).area)


def cleared_in(cutter: Cutter, opened: float, depth: float) -> float:
    """About how many minutes a cutter clears so many mm2 in, that deep (mm)."""
    flat = cutter.diameter * cutter.stepover
    apart = flat if cutter.is_flat else min(2.0 * float(cutter.half_width(PocketOptions.floor_ridge)), flat)
    in_a_minute = apart * min(cutter.stepdown, depth) * cutter.feed
    return opened * depth / (_STRAIGHT * in_a_minute)


def cleared_by(cutters: Sequence[Cutter], opened: Sequence[float], depth: float) -> float:
    """About how many minutes cutters take one after the other, their changes counted; each alone opens so many mm2."""
    total, done = CHANGE * len(cutters), 0.0
    for cutter, area in zip(cutters, opened, strict=True):
        total += cleared_in(cutter, max(area - done, 0.0), depth)
        done = max(done, area)
    return total
