"""Inlays and slots that come too near each other: not faults of a program but of the part, cut with open eyes."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely

from pathgen.base.arrays import Ints
from pathgen.base.units import rounded_down
from pathgen.verify.findings import Finding, Tolerances, at
from pathgen.work.clamping import Clamping
from pathgen.work.features import Inlay, Slots
from pathgen.work.operations import Slot

_HOLDS = {"resin": "see that the fill holds there", "piece": "see that the pieces hold there",
          "none": "see that what is pressed into the slots holds where the wood beside them is cut away"}

_HAIR = 0.005  # mm: less than is told, and than a curve's straight pieces lie from it


def neighbour_findings(clamping: Clamping, tolerances: Tolerances) -> Iterator[Finding]:
    """A warning for each inlay that crosses slots, and for each that leaves a sliver of wood beside some."""
    slots = clamping.feature(Slot)
    if slots is None:
        return
    half = slots.width / 2 + slots.bevel
    lines = shapely.linestrings(slots.lines)
    for inlay in clamping.inlays:
        gap = shapely.distance(lines, inlay.area) - half
        crossed, near = np.flatnonzero(gap <= 0), np.flatnonzero((gap > 0) & (gap < tolerances.sliver - _HAIR))
        if len(crossed):
            yield _warning(
                "inlay-crosses-slot", slots, inlay, crossed,
                f"crosses {slots.called(crossed)}",
                "inlays between the slots", f"{_HOLDS[inlay.fill]}, or move the drawing",
            )
        if len(near):
            i = near[np.argmin(gap[near])]
            yield _warning(
                "sliver", slots, inlay, np.array([i]),
                f"leaves {gap[i]:.2f} mm of wood beside {slots.called(near)}",
                f"{tolerances.sliver:g} mm, or none: beside a slot twice what stands elsewhere, as what is pressed in "
                "spreads it",
                "move the drawing, make it smaller, or let it cross the slot"
                if inlay.dots is None else "make the dots' diameter "
                f"{rounded_down(inlay.dots - 2 * (tolerances.sliver - gap[i])):.2f} mm or less",
            )


def _warning(
    code: str, slots: Slots, inlay: Inlay, which: Ints, got: str, allowed: str, remedy: str
) -> Finding:
    line = shapely.linestrings(slots.lines[which[0]])
    x, y = shapely.get_coordinates(shapely.shortest_line(line, inlay.area))[0]
    return Finding(code=code, severity="warn", where=at(f"inlay {inlay.index + 1}", None, x, y), got=got,
                   allowed=allowed, remedy=remedy)
