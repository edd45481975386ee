"""Whether holes and witness marks are where they should be, as wide and as deep, and a look at the marks touches
nothing: measured from the text."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely

from pathgen.base.arrays import Floats
from pathgen.base.units import beside_limit
from pathgen.removal.motion import Motion
from pathgen.verify.findings import Finding, Tolerances, at, at_end
from pathgen.work.clamping import Clamping, Step

_RIM = 180
"""Places on a hole's rim that the cutter must reach."""


def hole_findings(motion: Motion, step: Step, clamping: Clamping, tolerances: Tolerances) -> Iterator[Finding]:
    """Every hole of the job against the moves of the holes program."""
    holes = step.operation.feature
    low = np.minimum(motion.start[:, 2], motion.end[:, 2])
    rows = np.flatnonzero(motion.cutting & (low < clamping.stock.thickness - tolerances.hole))
    start, end = motion.start[rows], motion.end[rows]
    lower = np.where((start[:, 2] < end[:, 2])[:, None], start, end)
    owner = shapely.STRtree(shapely.points(holes.at)).nearest(shapely.points(lower[:, :2]))
    order = np.argsort(owner, kind="stable")
    of_each = np.split(order, np.searchsorted(owner[order], np.arange(1, len(holes.at))))
    for own, (x, y) in zip(of_each, holes.at.tolist(), strict=True):
        if not len(own):
            yield Finding(code="hole-missing", where=at(step.file_name, None, x, y), got="no cut",
                          allowed=f"{len(holes.at)} holes")
            continue
        x0, y0, x1, y1 = clamping.stock.bounds
        beyond = max(x0 - x, x - x1, y0 - y, y - y1) + holes.diameter / 2
        if beyond > tolerances.hole:
            yield Finding(code="hole-wrong", where=at(step.file_name, None, x, y),
                          got=f"{beyond:.2f} mm of it lies off the blank", allowed="holes in the wood")
        lowest = own[np.argmin(lower[own, 2])]
        off_edge = _off_edge(start[own], end[own], step.cutter.radius, np.array([x, y]), holes.diameter / 2,
                             tolerances.hole)
        high = float(lower[lowest, 2]) - holes.bottom
        for off, what in ((off_edge, "from its edge"), (abs(high), _from_bottom(high))):
            if not off <= tolerances.hole:
                yield Finding(code="hole-wrong", where=at(step.file_name, int(motion.line[rows[lowest]]), x, y),
                              got=f"{beside_limit(off, tolerances.hole, decimals=3)} {what}",
                              allowed=f"{tolerances.hole:g} mm")


def _off_edge(start: Floats, end: Floats, cutter_radius: float, centre: Floats, radius: float, flat: float) -> float:
    """How far the edge of what the cutter opens lies from the hole's, at most: outside it, or inside it at the bottom.

    The cutter is nowhere further out than at the end of a move. At the bottom, from the lowest point up by `flat`, it
    must come as near to the rim all round as its radius. A union of all turns would take hours: they nearly coincide.
    """
    furthest = np.hypot(*(np.concatenate([start, end])[:, :2] - centre).T).max()
    low = np.minimum(start[:, 2], end[:, 2]).min() + flat
    from_low, to_low = start[:, 2:] <= low, end[:, 2:] <= low
    deep = (from_low | to_low)[:, 0]
    a = np.where(from_low, start, end)[deep, :2]  # of a move down, its end
    run = np.where(to_low, end, start)[deep, :2] - a
    angle = np.linspace(0.0, 2.0 * np.pi, _RIM, endpoint=False)[:, None]
    rim = centre + radius * np.concatenate([np.cos(angle), np.sin(angle)], axis=1)
    to_rim = rim[:, None] - a
    along = np.clip((to_rim * run).sum(axis=2) / np.maximum((run**2).sum(axis=1), 1e-18), 0.0, 1.0)
    away = np.hypot(*np.moveaxis(to_rim - along[..., None] * run, 2, 0)).min(axis=1)
    return float(max(furthest + cutter_radius - radius, (away - cutter_radius).max()))


def mark_findings(motion: Motion, step: Step, clamping: Clamping, tolerances: Tolerances) -> Iterator[Finding]:
    """Every mark of the job against the moves of the program that drills them."""
    marks, top = step.operation.feature, clamping.stock.thickness
    low = np.fmin(motion.start[:, 2], motion.end[:, 2])
    rows = np.flatnonzero(motion.cutting & (low < top - tolerances.hole))
    away = np.hypot(*np.moveaxis(motion.end[rows, None, :2] - marks.places, 2, 0))
    for own, (x, y) in zip((away <= tolerances.hole).T, marks.places.tolist(), strict=True):
        high = float(low[rows[own]].min(initial=np.inf)) - (top - marks.depth)
        off = abs(high)
        if not off <= tolerances.hole:
            yield Finding(code="mark-wrong", where=at(step.file_name, None, x, y),
                          got=f"{beside_limit(off, tolerances.hole, decimals=3)} {_from_bottom(high)}" if own.any()
                          else "no mark",
                          allowed=f"{tolerances.hole:g} mm")
    stray = ~(away <= tolerances.hole).any(axis=1)
    if stray.any():
        row = rows[int(np.argmax(stray))]
        yield Finding(code="mark-stray", where=at_end(step.file_name, motion, row), got="a cut where no mark is",
                      allowed=f"{len(marks.places)} marks")


def hover_findings(
    motion: Motion, pauses: Sequence[int], step: Step, clamping: Clamping, tolerances: Tolerances
) -> Iterator[Finding]:
    """A look at the marks stays well above the work, and waits over each of them: `pauses` are lines."""
    last = np.searchsorted(motion.line, pauses, side="right") - 1
    stood = motion.end[last[last >= 0], :2]  # before its first move it stands over none
    marks = step.operation.feature
    for x, y in marks.places.tolist():
        if not (np.hypot(*(stood - [x, y]).T) <= tolerances.hole).any():
            yield Finding(code="hover-without-stop", where=at(step.file_name, None, x, y), got="no stop over this mark",
                          allowed="M0 over each mark")
    lowest = marks.top(clamping.stock.thickness) + marks.hover - tolerances.below_bed
    low = motion.end[:, 2] < lowest
    if low.any():
        i = int(np.argmax(low))
        yield Finding(code="hovers-too-low", where=at_end(step.file_name, motion, i),
                      got=f"{motion.end[i, 2]:.3f} mm above the bed", allowed=f"{lowest:.3f} mm or higher")


def _from_bottom(high: float) -> str:
    return "short of its bottom" if high > 0 else "too deep"
