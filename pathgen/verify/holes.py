"""Whether the holes are where they should be, as wide and as deep: measured from the text."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from pathgen.clamping import Clamping, Step
from pathgen.verify.findings import Finding, Tolerances, at
from pathgen.verify.motion import Motion


def hole_findings(motion: Motion, step: Step, clamping: Clamping, tolerances: Tolerances) -> Iterator[Finding]:
    """Every hole of the job against the moves of the holes program."""
    holes = clamping.holes
    if holes is None:
        return
    rows = np.flatnonzero(motion.cutting & (motion.end[:, 2] < clamping.stock.thickness - tolerances.hole))
    ends = motion.end[rows]
    away = np.linalg.norm(ends[:, None, :2] - holes.at, axis=2)
    owner, reach = np.argmin(away, axis=1), away.min(axis=1, initial=np.inf) + step.cutter.radius
    for number, (x, y) in enumerate(holes.at.tolist()):
        own = np.flatnonzero(owner == number)
        if not len(own):
            yield Finding(code="hole-missing", severity="forbid", where=at(step.file_name, None, x, y), got="no cut",
                          allowed=f"{len(holes.at)} holes", remedy="make the programs again from the job")
            continue
        wide, deep = own[np.argmax(reach[own])], own[np.argmin(ends[own, 2])]
        for row, off, what in (
            (wide, 2 * reach[wide] - holes.diameter, "wider"), (deep, holes.bottom - ends[deep, 2], "deeper"),
        ):
            if abs(off) > tolerances.hole:
                yield Finding(
                    code="hole-wrong", severity="forbid",
                    where=at(step.file_name, int(motion.line[rows[row]]), *ends[row, :2]),
                    got=f"{off:+.3f} mm {what} than asked", allowed=f"{tolerances.hole:g} mm",
                    remedy="make the programs again from the job",
                )
