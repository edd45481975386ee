"""Blanks for nut and saddle from the board's own numbers: flat plates with its curve on top, strings marked."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from pathgen.base.arrays import Floats
from pathgen.base.errors import JobError, Mistakes
from pathgen.base.lettering import lettering, lettering_length
from pathgen.base.units import coarse_length, format_length, left_words, rounded_up, sawn
from pathgen.job.board_tables import TOOL_TAB, NutAndSaddleTable
from pathgen.job.job import Job
from pathgen.job.part import board_of, nut_behind, nut_of
from pathgen.parts import tools
from pathgen.parts.fingerboard.nut import CrossLine, nut_curve, nut_top, saddle_curve
from pathgen.parts.fingerboard.part import Fingerboard
from pathgen.work.clamping import Clamping, Step, Stock, numbered
from pathgen.work.features import Engraving, OutlineCut, tab_height
from pathgen.work.operations import Engrave, Outline

NUT, SADDLE = "nut blank", "saddle blank"
"""What their programs state to be."""

_AROUND = 6.0  # stock left outside the groove round a plate, mm
_TAB, _LEAST_TAB, _BESIDE_TAB = 3.0, 1.0, 1.0
"""Width of the tabs on the ends, where they are filed off; less where an end is low, and what is left beside it, mm."""
_LEAST_MARK, _SADDLE_MARK = 0.5, 1.0
_LETTERS, _TO_B = 3.0, 1.5  # highest letters of a label, mm; from the bass end to the middle of its B, in letters


def nut_and_saddle_clampings(job: Job) -> tuple[Clamping, ...]:
    """One clamping for the nut's blank and one for the saddle's, those of the two that the job asks for.

    Each lies on its face, the one toward the bridge up, its top toward + X; so seen the bass side is at + Y, or at - Y
    on a left-handed board. The engraver marks each string's place: at the nut down to its slot's bottom where that is
    known. Raises JobError for a job without either table, and for a height that is missing or too small.
    """
    board = board_of(job)
    if job.nut_blank is None and job.saddle_blank is None:
        raise JobError(job.path.name, "[nut_blank] and [saddle_blank] are missing",
                       remedy="add one or both, with the cutter, and thickness and height of the plate")
    made, mistakes = [], Mistakes()
    with mistakes.caught():
        if job.nut_blank is not None:
            line = nut_curve(board, job.strings, past=job.nut_blank.overhang, behind=nut_behind(job),
                             thick=plate_thickness(job, job.nut_blank))
            height, mark = _nut_height(job, board, job.nut_blank)
            made.append(_clamping(job, job.nut_blank, NUT, line, height, mark, board))
    with mistakes.caught():
        if job.saddle_blank is not None:
            if job.saddle_blank.height is None:
                raise JobError("[saddle_blank] height", "missing",
                               remedy="give it, from the bottom of the bridge's slot to the top in the middle")
            line = saddle_curve(board, job.strings, past=job.saddle_blank.overhang)
            made.append(_clamping(job, job.saddle_blank, SADDLE, line, job.saddle_blank.height, _SADDLE_MARK, board))
    mistakes.refuse()
    return tuple(made)


def _nut_height(job: Job, board: Fingerboard, table: NutAndSaddleTable) -> tuple[float, float]:
    """Height of the nut's blank in the middle, and how far down the strings' marks go."""
    slot, strings, wire = nut_of(job, board), job.strings, job.frets
    first = int(board.frets.number[0])
    top, bottom = nut_top(strings, wire.wire_of(first).crown.height) if strings and wire else (0.0, 0.0)
    if table.height is not None and not (slot and top):
        return table.height, max(top - bottom, _LEAST_MARK)
    if not (slot and top):
        missing = [f"[{name}]" for name, there in (("nut", slot), ("strings", strings), ("frets", wire)) if not there]
        raise JobError("[nut_blank] height", f"missing, and not known without {', '.join(missing)}",
                       remedy="give height, or those tables")
    # a flat bottom stands on a curved floor at its crest
    below = slot.depth if slot.bottom == "curve" else board.surface.thickness - float(slot.floors(board.surface)[0])
    height = below + top if table.height is None else table.height
    if height < below + bottom:
        raise JobError("[nut_blank] height", f"{height:g} mm, and its slots' bottoms lie {below + bottom:.2f} mm over "
                       "the floor it stands on", allowed=f"{rounded_up(below + bottom):.2f} mm or more",
                       remedy="make it higher, or leave it out")
    return height, max(height - below - bottom, _LEAST_MARK)


def _clamping(
    job: Job, table: NutAndSaddleTable, name: str, line: CrossLine, height: float, mark: float,
    board: Fingerboard,
) -> Clamping:
    key = f"[{name.replace(' ', '_')}]"
    cutter = job.cutter(table.cutter, f"{key} cutter")
    # seen from the bridge the bass side of a right-handed board is on the left, and left is + Y with + X up
    turned = np.array([1.0, board.bass_side])
    top = (line.curve[:, ::-1] + [height, 0.0]) * turned
    lowest = float(top[:, 0].min())
    if lowest < _LEAST_HEIGHT:
        raise JobError(f"{key} height", f"{height:g} mm, and the curve {left_words(lowest)} at the ends",
                       allowed=f"{rounded_up(height - lowest + _LEAST_HEIGHT):.2f} mm or more", remedy="make it higher")
    radius = "flat" if math.isinf(line.radius) else \
        f"R {format_length(line.radius, job.units, decimals={'mm': 1, 'in': 2}[job.units])}"
    tab = min(_TAB, max(lowest - cutter.diameter - _BESIDE_TAB, _LEAST_TAB))
    around, thick = 2 * cutter.diameter + _AROUND, plate_thickness(job, table)
    marks, label = _marks(line, height, mark, turned), _label(radius, line, lowest, mark, turned)
    high = tab_height(table.tab_height, thick, usual=TOOL_TAB)
    cut = OutlineCut(tabs=table.tabs, tab_height=high, tab_width=tab, where=key)
    run = np.diff(board.layout.bridge, axis=0)[0]
    aside = coarse_length(thick * abs(run[0] / run[1]), job.units) if name == SADDLE and board.layout.fanned else ""
    then = (_face(name, marked=bool(table.engraver), labelled=bool(label), aside=aside),
            *_filed(job, name, table.overhang, exact=not (board.layout.fanned or board.drawn)))
    steps = [Step(operation=Outline(cut, then=then), cutter=cutter)]
    if table.engraver:
        strokes = (*marks, *label)
        steps.insert(0, Step(operation=Engrave(Engraving(strokes=strokes, depth=table.engrave_depth)),
                             cutter=job.cutter(table.engraver, f"{key} engraver")))
    carried = "" if name == NUT or math.isinf(line.radius) else ", the board's radius carried on to the bridge"
    return Clamping(
        title=f"{job.title}: {name}, {radius}{carried}", kind=name, units=job.units,
        board=tools.nut_or_saddle(tools.NUT if name == NUT else tools.SADDLE, top, thickness=thick),
        setup=job.setup.elsewhere,
        stock=Stock(length=sawn(height + 2 * around, job.units), thickness=thick, margin_nut=around,
                    width=sawn(float(np.ptp(top[:, 1])) + 2 * around, job.units)),
        machine=job.machine,
        steps=tuple(replace(step, file_name=f"{name.replace(' ', '-')}-{step.file_name}") for step in numbered(steps)),
    )


def _face(name: str, *, marked: bool, labelled: bool, aside: str) -> str:
    """Which way the face that lies up is set in, and what is marked on it: of a slanted saddle on that face alone."""
    face = f"The face that lay up looks {'toward the bridge' if name == NUT else 'away from the nut'}"
    marks = ": the strokes on it are the strings' places" if marked else ""
    if marked and aside:
        marks += f" if it stands on the saddle's line (set by its other face, they lie {aside} aside)"
    return f"{face}{marks}{', B at its bass end' if marked and labelled else ''}."


def _filed(job: Job, name: str, overhang: float, *, exact: bool) -> list[str]:
    """What is filed off at its ends."""
    if not overhang:
        return []
    past = format_length(overhang, job.units) + " or more" * (name == NUT and not exact)
    stands = "in place" if job.nut is None else "in its slot" if job.nut.width else "on its shelf"
    return [f"It reaches {past} past the board's edge at each end: file that off when it is {stands}." if name == NUT
            else f"It reaches {past} past the outer strings at each end: file it to fit the bridge's slot."]


def plate_thickness(job: Job, table: NutAndSaddleTable) -> float:
    """Of the plate that a blank is cut from, mm: a nut is as thick as its slot is wide, or its shelf where that is no
    wider than nuts are thick, where the job does not say."""
    if table.thickness:
        return table.thickness
    slot = nut_of(job, board_of(job))
    shelf = slot and slot.on_part
    return job.nut.width if job.nut and job.nut.width else min(shelf or _USUAL_NUT, _USUAL_NUT)


_USUAL_NUT = 6.0  # thickness of a nut where no slot says it, mm (common practice, no source)
_LEAST_HEIGHT = 2.0  # lowest that a plate may be at its ends, mm


def _marks(line: CrossLine, height: float, mark: float, turned: Floats) -> list[Floats]:
    """A stroke for each string, from the top down."""
    tops = (line.strings[:, ::-1] + [height, 0.0]) * turned
    return [np.array([top, top - [mark, 0.0]]) for top in tops]


def _label(radius: str, line: CrossLine, lowest: float, mark: float, turned: Floats) -> list[Floats]:
    """The radius in the middle and a B at the bass end, under the marks, where there is room for them."""
    room, half = lowest - mark, float(np.ptp(line.curve[:, 0])) / 2
    size = min(_LETTERS, room / 2, half / (_TO_B + (0.5 if radius == "flat" else 1.0 + lettering_length(radius) / 2)))
    if size < 1.0:
        return []
    bass = line.curve[0, 0] + _TO_B * size
    words = [("B", bass)] if radius == "flat" else [("B", bass), (radius, 0.0)]
    return [stroke[:, ::-1] * [1.0, -1.0] + np.array([room / 2, along]) * turned
            for text, along in words for stroke in lettering(text, height=size)]
