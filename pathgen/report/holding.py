"""What holds the part at the end of the outline, when tabs or skin are too little: for a maker to stick it down."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from pathgen.base.errors import PathgenError
from pathgen.base.plain import joined
from pathgen.base.units import as_written, coarse_length, fine_length, format_length
from pathgen.programs.instructions import stand_out
from pathgen.programs.paths import tabs_of
from pathgen.programs.sticking import LEAST_SKIN, LEAST_TABS
from pathgen.strategies.cutting_out import last_lap_takes
from pathgen.strategies.tabs import SAWN, Tabs, check_tabs_hold, left_to_the_saw
from pathgen.verify.findings import Finding
from pathgen.verify.program import ReadProgram
from pathgen.work.clamping import Clamping, Step
from pathgen.work.features import OutlineCut
from pathgen.work.operations import Outline

LONGEST_OUT = 25.0
"""Small cutters are mostly 38 mm long, some 12 mm of it in the collet, mm (common practice, no source)."""
_OUT_BY_DIAMETER = 10.0  # how many diameters thicker cutters may stand out (common practice, no source)
_AS_GOOD = 0.9  # of what the last lap may take: so much of it is no less to a maker


def last_lap_findings(clamping: Clamping) -> list[Finding]:
    """A note where the last lap of the outline takes a good deal less off the walls than the job asks for, and why."""
    cut, cutter, units = clamping.feature(Outline), clamping.cutter(Outline), clamping.units
    if cut is None or cutter is None or cut.finish in (0.0, OutlineCut.finish):
        return []  # nobody asked: the default is the most that it takes
    deep = clamping.stock.thickness - cut.bottom
    takes = last_lap_takes(clamping.board.outline, cutter, deep, cut.finish)
    if takes > _AS_GOOD * cut.finish:
        return []
    written = as_written(takes, units, down=True)
    less = f"the last lap takes {written} {units}" if takes else "there is no last lap"
    return [Finding(code="last-lap-less", severity="note", where="[outline] finish",
                    got=f"{fine_length(cut.finish, units)}, and {less}: a tenth of the cutter's "
                        "diameter at most, no more than loads it like a layer does, and less in sharp inner corners",
                    allowed="", remedy="nothing to do if walls as the layers leave them serve; or "
                                      f"write finish = {written}, or take a thicker cutter")]


def standing_out_findings(clamping: Clamping, programs: Mapping[str, ReadProgram]) -> list[Finding]:
    """A warning of the thinnest of those cutters that must stand further out than cutters of their kind are long."""
    units = clamping.units
    found: dict[str, tuple[float, float, Step]] = {}
    for step in (one for one in clamping.steps if one.file_name in programs and len(programs[one.file_name])
                 and not clamping.done(one)):
        out = stand_out(clamping, float(np.nanmin(programs[step.file_name].end[:, 2])) + clamping.z_zero)
        limit = max(LONGEST_OUT, _OUT_BY_DIAMETER * step.cutter.diameter)
        if out > max(limit, found.get(step.cutter.name, (0.0, 0.0, step))[0]):
            found[step.cutter.name] = (out, limit, step)
    if not found:
        return []
    clamps, far = clamping.setup.keep_out, coarse_length
    what = "clamps and blank" if clamps else "the blank"
    less = "lower clamps, or hold the blank from below" if clamps else "a thicker cutter, or a thinner blank"
    worst = max(found, key=lambda name: found[name][0] / found[name][1])
    out, limit, step = found.pop(worst)
    others = joined([f'"{name}" {far(one, units)}' for name, (one, _, _) in found.items()] or [""])
    return [Finding(
        code="stands-far-out", severity="warn", where=f'cutter "{worst}", program {step.number}',
        got=f"it must stand {far(out, units)} out of its collet to clear {what}, with a diameter of "
            f"{format_length(step.cutter.diameter, units)}{others and f' (and {others})'}",
        allowed=f"{far(limit, units)} or less: few cutters so thin are long enough, and a long one bends (common "
                "practice)",
        remedy=f"take {less}; or measure that yours is so long and its shank stiff")]


def holding_findings(clamping: Clamping) -> list[Finding]:
    """A warning where one tab, too thin tabs or a very thin skin hold the part once its outline is cut; a note of what
    must be done where nothing does, as the job says."""
    cut, part = clamping.feature(Outline), clamping.board.names.part
    if cut is None:
        return []
    if cut.skin:
        if cut.skin >= LEAST_SKIN:
            return []
        got, what = f"a skin of {cut.skin:g} mm is all that holds the {part} at the end", "skin"
    elif cut.tabs > 1:
        return _thin_tabs(cut, part, clamping.units)
    else:
        got = f"{'one tab' if cut.tabs else 'nothing of the wood'} holds the {part} once its outline is cut"
        what = "tabs"
    of_job = cut.where == OutlineCut.where
    most, skin = (OutlineCut.tabs, f"a skin of {LEAST_SKIN:g} mm or more, ") if of_job else (2, "")
    tabs = next((f"; or write tabs = {number}" for number in range(most, 1, -1) if _fit(clamping, number)), "")
    if not cut.tabs and not cut.skin:  # asked for so: no warning that stays when all is done
        return [Finding(code="nothing-holds", severity="note", where=f"{cut.where} {what}", got=got, allowed="",
                        remedy=f"stick the blank down over its whole face before the first program, "
                               f"or the cutter throws the {part}{tabs}")]
    return [Finding(code="nothing-holds", severity="warn", where=f"{cut.where} {what}", got=got,
                    allowed=f"two tabs or more, {skin}or a blank stuck down over its whole face",
                    remedy=f"stick the blank down over its whole face, or the cutter throws the {part}{tabs}")]


def _thin_tabs(cut: OutlineCut, part: str, units: str) -> list[Finding]:
    """A warning where so little wood is left at the tabs that they tear."""
    wood = cut.tabs * cut.tab_width * cut.tab_height
    if wood >= LEAST_TABS:
        return []
    wide, high = (format_length(v, units) for v in (cut.tab_width, cut.tab_height))
    enough = as_written(1.1 * LEAST_TABS / (cut.tabs * cut.tab_height), units)
    return [Finding(
        code="nothing-holds", severity="warn", where=f"{cut.where} tabs",
        got=f"{cut.tabs} tabs {wide} wide and {high} high, {wood:.2g} mm2 of wood in all, hold the {part} once its "
            "outline is cut",
        allowed=f"{LEAST_TABS:g} mm2 or more, or a blank stuck down over its whole face",
        remedy=f"write tab_width = {enough} or more, or make them higher; or stick the blank down over its whole face")]


def _fit(clamping: Clamping, number: int) -> bool:
    """Whether so many tabs would stand on the outline and hold, and two or no more than are sensible to saw."""
    steps = [replace(s, operation=Outline(replace(s.operation.feature, tabs=number, skin=0.0)))
             if isinstance(s.operation, Outline) else s for s in clamping.steps]
    with_tabs = replace(clamping, steps=tuple(steps))
    cut, cutter = with_tabs.feature(Outline), with_tabs.cutter(Outline)
    assert cut is not None
    assert cutter is not None
    try:
        tabs = Tabs(tabs_of(with_tabs), cut.tab_height, cut.tab_width)
        check_tabs_hold(tabs, clamping.board.outline, blank=clamping.stock.bounds, cutter=cutter, where=cut.where)
    except PathgenError:
        return False
    outline = clamping.board.outline
    return number == 2 or number * left_to_the_saw(tabs, outline, cutter, cut.through) <= SAWN * outline.length
