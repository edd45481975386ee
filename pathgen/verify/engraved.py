"""Whether what is engraved is the strokes asked for, at their depth: measured from the text."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely

from pathgen.base import overlay
from pathgen.base.units import beside_limit
from pathgen.removal.motion import Motion
from pathgen.verify.findings import Finding, Tolerances, at
from pathgen.verify.in_plan import lines_of
from pathgen.work.clamping import Clamping, Step


def engraving_findings(motion: Motion, step: Step, clamping: Clamping, tolerances: Tolerances) -> Iterator[Finding]:
    """The strokes of the job against the moves of the engraving program."""
    work = step.operation.feature
    top = clamping.board.surface.thickness
    low = np.fmin(motion.start[:, 2], motion.end[:, 2])
    rows = np.flatnonzero(motion.cutting & (low < top))
    start, end = motion.start[rows], motion.end[rows]
    wanted = shapely.multilinestrings([shapely.linestrings(stroke) for stroke in work.strokes])
    deep = np.fmax(start[:, 2], end[:, 2]) <= top - work.depth + tolerances.engraving
    cut = lines_of(start[deep], end[deep])
    along = start + np.linspace(0.0, 1.0, 9)[:, None, None] * (end - start)
    beside = shapely.distance(shapely.points(along[..., :2]), clamping.board.outline).max(axis=0)
    too_high = low[rows] - (top - work.depth)  # one that cannot cut at its centre comes down ramps along the strokes
    for code, got, off in (
        ("engraving-stray", "off the strokes", shapely.distance(shapely.points(along[..., :2]), wanted).max(axis=0)),
        ("engraving-off", "off the part", beside),
        ("engraving-depth", "off its depth", np.abs(too_high if step.cutter.plunges else np.minimum(too_high, 0.0))),
    ):
        worst = int(np.argmax(off)) if len(off) else 0
        if len(off) and not off[worst] <= tolerances.engraving:
            yield Finding(code=code, where=at(step.file_name, int(motion.line[rows[worst]]), *end[worst, :2]),
                          got=f"{beside_limit(off[worst], tolerances.engraving, decimals=3)} {got}",
                          allowed=f"{tolerances.engraving:g} mm")
    missing = overlay.difference(wanted, overlay.buffer(overlay.union_all(cut), tolerances.engraving))
    if missing.length > tolerances.engraving:
        yield Finding(code="engraving-missing", where=step.file_name,
                      got=f"{missing.length:.2f} mm not cut to the depth", allowed="every stroke")
