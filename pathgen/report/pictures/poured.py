"""Fills as they stand before they are cut again: resin level inside its dam, pieces in their pockets, nowhere else. The
verification knows of neither: it takes the fill to lie a little way round each pocket, as high all over."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.programs.plan import Plan
from pathgen.report.pictures.shaded import blank_heights
from pathgen.verify.stages import Stage
from pathgen.work.features import Inlay

Levels = tuple[tuple[BaseGeometry, float], ...]


@dataclass(frozen=True, eq=False, kw_only=True)
class Pour:
    """The fill of one inlay: what is inside each dam, with the resin's height over the bed, mm; no dam round pieces,
    nor round thickened resin."""

    inlay: Inlay
    levels: Levels
    lower: float = 0.0
    """How far pieces lie below the overfill that the verification takes them to have, mm."""

    @property
    def dam(self) -> BaseGeometry | None:
        """What is inside any of the dams, where there are any."""
        return overlay.union_all([dam for dam, _ in self.levels]) if self.levels else None

    def code_in(self, stage: Stage) -> int:
        """What its fill has in `stage.fill`; 0 where it is not poured yet."""
        return next((code for code, one in enumerate(stage.inlays, 1) if one.index == self.inlay.index), 0)

    def over(self, heights: Stage, filled: Stage) -> Stage:
        """`filled`, with level resin, or pieces, on what lay under it: the `heights` before, and their fill."""
        code, fill, top = self.code_in(filled), filled.fill.copy(), filled.heights.copy()
        drawn = filled.grid.covered(self.inlay.area)
        dammed = filled.grid.covered(self.dam) if self.dam is not None else np.zeros_like(drawn)
        swollen = (fill == code) & (~drawn | dammed)
        fill[swollen], top[swollen] = heights.fill[swollen], heights.heights[swollen]
        top[(fill == code) & drawn] -= np.float32(self.lower)
        for dam, level in self.levels:
            wet = filled.grid.covered(dam) & np.isfinite(top) & (drawn | (top < np.float32(level)))
            fill[wet], top[wet] = code, np.float32(level)
        return replace(filled, fill=fill, heights=top)


def pours_of(planned: Plan) -> list[Pour]:
    """Of each inlay that is filled."""
    clamping, found = planned.clamping, []
    for inlay, dams in zip(clamping.inlays, planned.dams, strict=True):
        if inlay.fill != "none":
            stands = clamping.ground(inlay)
            found.append(Pour(inlay=inlay, levels=tuple((one.inside, one.level + stands) for one in dams),
                              lower=inlay.overfill - clamping.stands(inlay)))
    return found


def pour_of(inlay: Inlay, pours: Sequence[Pour]) -> Pour | None:
    """The one into an inlay, where there is one."""
    return next((one for one in pours if one.inlay.index == inlay.index), None)


def as_poured(planned: Plan, stages: Sequence[Stage], pours: Sequence[Pour]) -> list[Stage]:
    """The work after each program, resin level inside its dams and pieces in their pockets until they are cut again."""
    clamping, shown = planned.clamping, list(stages)
    levels = {step.order: step.operation.levels for step in clamping.steps}
    for pour in pours:
        first = next((place for place, stage in enumerate(stages) if pour.code_in(stage)), len(stages))
        for place in range(first, len(stages)):
            level = levels[stages[place].order]
            if level is not None and level.index == pour.inlay.index:
                break
            under = shown[first - 1] if first else replace(
                stages[0], heights=blank_heights(clamping, stages[0].grid), fill=np.zeros_like(stages[0].fill))
            shown[place] = pour.over(under, shown[place])
    return shown
