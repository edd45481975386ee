"""Inlays and slots that come too near each other: not faults of a program but of the part, cut with open eyes."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely

from pathgen.base.arrays import Ints
from pathgen.base.plain import joined
from pathgen.base.units import beside_limit, rounded_down
from pathgen.verify.findings import Finding, Severity, Tolerances, at
from pathgen.work.clamping import Clamping
from pathgen.work.features import Inlay, Slots
from pathgen.work.operations import Slot

_CROSSED = {
    "resin": "the slots are cut through the cured fill there: its edges chip, and what is pressed into a slot grips "
             "in wood, hardly in fill. Let it cure hard, and glue what is pressed in there; try it on scrap",
    "piece": "the slots are cut through the pieces there: brittle ones chip, and what is pressed into a slot grips in "
             "wood, hardly in a piece. Let their glue set, and glue what is pressed in there; try it on scrap",
    "none": "what is pressed into a slot has no wood to grip there, and short bridges of wood beside it break out",
}
"""What it means where an inlay crosses slots, and what can be done."""
_HAIR = 0.005  # mm: less than is told, and than a curve's straight pieces lie from it


def neighbour_findings(clamping: Clamping, tolerances: Tolerances) -> Iterator[Finding]:
    """What inlays that cross slots ask for, once for all of a kind: a note, but a warning where they stay open; and a
    warning for each that leaves a sliver of wood beside some."""
    slots = clamping.feature(Slot)
    if slots is None:
        return
    half = slots.width / 2 + slots.bevel
    lines = shapely.linestrings(slots.lines)
    gaps = [shapely.distance(lines, inlay.area) - half for inlay in clamping.inlays]
    for fill, words in _CROSSED.items():
        over = [(inlay, gap <= 0) for inlay, gap in zip(clamping.inlays, gaps, strict=True)
                if inlay.fill == fill and (gap <= 0).any()]
        if over:
            every = np.flatnonzero(np.any([crossed for _, crossed in over], axis=0))
            first, others = over[0][0], joined([f"inlay {inlay.index + 1}" for inlay, _ in over[1:]] or [""])
            yield _finding("inlay-crosses-slot", slots, first, np.flatnonzero(over[0][1]),
                           f"crosses {slots.called(every)}{f' (with {others})' if others else ''}", "",
                           f"{words}; or move the drawing between the slots", "warn" if fill == "none" else "note")
    for inlay, gap in zip(clamping.inlays, gaps, strict=True):
        near = np.flatnonzero((gap > 0) & (gap < tolerances.sliver - _HAIR))
        if len(near):
            i = near[np.argmin(gap[near])]
            yield _finding(
                "sliver", slots, inlay, np.array([i]),
                f"leaves {beside_limit(gap[i], tolerances.sliver)} of wood beside {slots.called(near)}",
                f"{tolerances.sliver:g} mm, or none: beside a slot twice what stands elsewhere, as what is pressed in "
                "spreads it",
                "move the drawing, make it smaller, or let it cross the slot"
                if inlay.dots is None else "make the dots' diameter "
                f"{rounded_down(inlay.dots - 2 * (tolerances.sliver - gap[i])):.2f} mm or less",
            )


def _finding(
    code: str, slots: Slots, inlay: Inlay, which: Ints, got: str, allowed: str, remedy: str, severity: Severity = "warn"
) -> Finding:
    line = shapely.linestrings(slots.lines[which[0]])
    x, y = shapely.get_coordinates(shapely.shortest_line(line, inlay.area))[0]
    return Finding(code=code, severity=severity, where=at(f"inlay {inlay.index + 1}", None, x, y), got=got,
                   allowed=allowed, remedy=remedy)
