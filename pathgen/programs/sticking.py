"""Why a blank must be stuck down over its whole face: what else holds part and waste in the end is too little."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import shapely

from pathgen.base import overlay
from pathgen.base.plain import in_runs, joined
from pathgen.base.units import SUMS
from pathgen.programs.paths import tabs_of
from pathgen.strategies.tabs import LEAST_WASTE, stands_out
from pathgen.work.clamping import Clamping, Step
from pathgen.work.features import OutlineCut
from pathgen.work.operations import CutOut, Outline, RoundHoles
from pathgen.work.thin_wood import THIN, wood_under

LEAST_SKIN = 0.2
"""A thinner skin is gone where blank or bed are not true, mm (common practice, no source)."""
LEAST_TABS = 3.0
"""Tabs of less wood in all, width times height, tear when a cutter goes by, mm2 (common practice, no source)."""
_CRUMB = 5.0  # mm2: smaller pieces that come loose are chips (no source)


def whole_face(*parts: Clamping) -> list[str]:
    """Why tape or vacuum must hold a blank over its whole face, or that of several parts for any of them; nothing where
    it need not."""
    each = [_of_one(one) for one in parts]
    return [why.format(_whose([one for one, own in zip(parts, each, strict=True) if why in own]))
            for why in dict.fromkeys(why for own in each for why in own)]


def _whose(parts: Sequence[Clamping]) -> str:
    """``the plate``; of a common blank ``part 2``, or ``parts 1 and 3, each``."""
    numbers = [one.shared.number for one in parts if one.shared]
    if not numbers:
        return f"the {parts[0].board.names.part}"
    return f"parts {joined(in_runs(numbers))}, each" if numbers[1:] else f"part {numbers[0]}"


def _of_one(clamping: Clamping) -> list[str]:
    """The same of one part, with brackets where it is named."""
    last, why = clamping.step(Outline), []
    if any(inlay.fill == "resin" and not clamping.levelled_before(inlay) for inlay in clamping.inlays):
        why.append("held by its ends alone it bows while the fill cures")
    if last is not None and (held := _weak(last.operation.feature)):
        why.append(f"{held} holds {{}} once its outline is cut, and the cutter would throw it; clamps hold the "
                   "waste alone")
    if last is not None and (last.operation.feature.tabs or last.operation.feature.skin) and _in_strips(clamping, last):
        why.append("the outline's cutter parts the waste into strips, which must be stuck down too")
    if len(loose_wood(clamping)):
        why.append("wood comes loose where it is cut round, and must be stuck down too")
    return why


def _weak(cut: OutlineCut) -> str:
    """What alone holds the part in the end, where that is too little."""
    if cut.skin:
        return "a very thin skin alone" if cut.skin < LEAST_SKIN else ""
    if cut.tabs < 2:
        return "one tab alone" if cut.tabs else "nothing else"
    return "so little wood in its tabs alone" if cut.tabs * cut.tab_width * cut.tab_height < LEAST_TABS else ""


def _in_strips(clamping: Clamping, last: Step) -> bool:
    """Whether the outline's groove leaves less waste beyond it, at a side of the blank, than holds."""
    out = stands_out(clamping.board.outline, clamping.blank)
    return bool(out.min() < last.cutter.diameter + LEAST_WASTE - SUMS)


def loose_wood(clamping: Clamping) -> Any:
    """(n,) pieces that hang on to neither the part, a tab nor the blank once all round them is cut through, or as
    good as."""
    last, bores = clamping.step(Outline), [step.operation for step in clamping.steps
                                           if isinstance(step.operation, CutOut | RoundHoles)]
    cut = [one.area for one in clamping.inlays
           if wood_under(clamping.board.surface, one.area, one.depth)[1].max() < THIN]
    cut += [one.leaves_open(0.0) for one in bores if one.bottom <= 0]
    tabs = last.operation.feature.tabs if last is not None and not last.operation.feature.skin else 0
    if last is not None and tabs:
        part, beside = clamping.board.outline, last.cutter.diameter + LEAST_WASTE / 2  # thinner waste holds nothing
        cut.append(overlay.difference(overlay.buffer(part, beside), part))
    blank = shapely.box(*clamping.stock.bounds)
    pieces = shapely.get_parts(overlay.difference(blank, overlay.union_all(cut)))
    within = shapely.area(pieces) * shapely.contains(clamping.board.outline, shapely.point_on_surface(pieces))
    loose = pieces[(shapely.area(pieces) > _CRUMB) & (within < within.max())
                   & (shapely.distance(pieces, blank.exterior) > 0)]
    if last is not None and tabs and len(loose):
        near = shapely.distance(loose[:, None], shapely.points(tabs_of(clamping)))
        loose = loose[near.min(axis=1) > last.cutter.diameter + LEAST_WASTE]
    return loose
