"""Inlays and slots that come too near each other: not faults of a program but of the part, cut with open eyes."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely

from pathgen.verify.findings import Finding, Tolerances, at
from pathgen.work.clamping import Clamping


def neighbour_findings(clamping: Clamping, tolerances: Tolerances) -> Iterator[Finding]:
    """A warning for each inlay that crosses slots, and for each that leaves a sliver of wood beside some."""
    slots = clamping.slots
    if slots is None:
        return
    half = slots.width / 2 + slots.bevel
    lines = shapely.linestrings(slots.lines)
    for number, inlay in enumerate(clamping.inlays, 1):
        gap = shapely.distance(lines, inlay.area) - half
        crossed, near = np.flatnonzero(gap <= 0), np.flatnonzero((gap > 0) & (gap < tolerances.sliver))
        if len(crossed):
            yield _warning(
                "inlay-crosses-slot", clamping, number, crossed,
                f"crosses the slots of frets {_frets(clamping, crossed)}",
                "inlays between the slots", "see that the fill holds there, or move the drawing",
            )
        if len(near):
            i = near[np.argmin(gap[near])]
            yield _warning(
                "sliver", clamping, number, np.array([i]),
                f"leaves {gap[i]:.2f} mm of wood beside the slots of frets {_frets(clamping, near)}",
                f"{tolerances.sliver:g} mm, or none", "move the drawing, or let it cross the slot",
            )


def _frets(clamping: Clamping, which: np.ndarray) -> str:
    assert clamping.slots is not None
    return ", ".join(str(int(n)) for n in clamping.slots.number[which])


def _warning(
    code: str, clamping: Clamping, inlay: int, which: np.ndarray, got: str, allowed: str, remedy: str
) -> Finding:
    assert clamping.slots is not None
    line = shapely.linestrings(clamping.slots.lines[which[0]])
    x, y = shapely.get_coordinates(shapely.shortest_line(line, clamping.inlays[inlay - 1].area))[0]
    return Finding(code=code, severity="warn", where=at(f"inlay {inlay}", None, x, y), got=got, allowed=allowed,
                   remedy=remedy)
