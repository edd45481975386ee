"""Engraving strokes into a level surface with a v cutter."""

from __future__ import annotations

import numpy as np

from pathgen.base.cutters import Cutter
from pathgen.base.errors import CutterError
from pathgen.base.toolpath import Rapids, Toolpath
from pathgen.strategies.entering import ramped_in
from pathgen.work.features import Engraving


def engraving(work: Engraving, *, cutter: Cutter, top: float, rapids: Rapids) -> Toolpath:
    """Moves along each stroke at its depth below `top`. Raises CutterError for another cutter than a v."""
    if cutter.shape != "v":
        raise CutterError(f"cutter {cutter.name!r}", f"a {cutter.shape} cutter does not engrave", allowed="a v cutter")
    if work.depth > cutter.stepdown:
        raise CutterError(f"cutter {cutter.name!r}", f"engraves {work.depth:g} mm deep at once",
                          allowed=f"its stepdown, {cutter.stepdown:g} mm", remedy="make engrave_depth less")
    runs = [np.column_stack([stroke, np.full(len(stroke), top - work.depth)]) for stroke in work.strokes]
    if not cutter.plunges:
        runs = [ramped_in(run, top, cutter) for run in runs]
    return rapids.between(runs)
