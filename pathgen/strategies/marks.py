"""Witness marks: small holes in the waste, and a look at them with the spindle off before the surface is cut again."""

from __future__ import annotations

import numpy as np

from pathgen.base.arrays import Floats
from pathgen.base.cutters import Cutter
from pathgen.base.errors import CutterError
from pathgen.base.toolpath import Rapids, Toolpath
from pathgen.work.features import Marks

_SLOWLY = 2.0
"""How far from where it stops the cutter comes slowly, so that a hand on the stop is in time, mm."""


def drill_marks(marks: Marks, *, cutter: Cutter, top: float, rapids: Rapids) -> Toolpath:
    """One plunge for each mark, `marks.depth` below `top`.

    Raises CutterError for a depth over the cutter's stepdown, or a cutter that does not plunge: a mark is one plunge.
    """
    if marks.depth > cutter.stepdown + 1e-9:
        raise CutterError(
            "[marks] depth", f"{marks.depth:g} mm in one plunge of {cutter.name!r}",
            allowed=f"its stepdown, {cutter.stepdown:g} mm", remedy="make depth smaller",
        )
    if not cutter.plunges:
        raise CutterError(f"cutter {cutter.name!r}", "cannot cut at its centre (plunges = false): a mark is one plunge",
                          allowed="a cutter that plunges", remedy="name another one in [marks] cutter")
    return rapids.between(_points(marks, top - marks.depth))


def hover_over_marks(marks: Marks, *, top: float, safe_z: float) -> Toolpath:
    """Down to `marks.hover` above each mark in turn, the last 2 mm at the plunge feed, and up again."""
    low = top + marks.hover
    return Rapids(safe_z, low + _SLOWLY).between(_points(marks, low))


def _points(marks: Marks, z: float) -> list[Floats]:
    return [np.array([[x, y, z]]) for x, y in marks.places]
