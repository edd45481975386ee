"""Whether the witness marks are where they should be and as deep, and a look at them touches nothing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from pathgen.base.units import beside_limit
from pathgen.removal.motion import Motion
from pathgen.verify.findings import Finding, Tolerances, at, at_end
from pathgen.work.clamping import Clamping, Step


def mark_findings(motion: Motion, step: Step, clamping: Clamping, tolerances: Tolerances) -> Iterator[Finding]:
    """Every mark of the job against the moves of the program that drills them."""
    marks, top = step.operation.feature, clamping.stock.thickness
    with np.errstate(invalid="ignore"):
        low = np.fmin(motion.start[:, 2], motion.end[:, 2])
        rows = np.flatnonzero(motion.cutting & (low < top - tolerances.hole))
    away = np.hypot(*np.moveaxis(motion.end[rows, None, :2] - marks.places, 2, 0))
    for own, (x, y) in zip((away <= tolerances.hole).T, marks.places.tolist(), strict=True):
        off = abs(float(low[rows[own]].min(initial=np.inf)) - (top - marks.depth))
        if not off <= tolerances.hole:
            yield Finding(code="mark-wrong", where=at(step.file_name, None, x, y),
                          got=f"{beside_limit(off, tolerances.hole, decimals=3)} from its bottom" if own.any()
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
