"""The programs in order: what each needs, what it does, what to do before and after."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from pathgen.base.markup import Element, element
from pathgen.base.plain import capital, time_words
from pathgen.base.toolpath import Move
from pathgen.base.units import fine_length, format_length, way_length
from pathgen.programs.afterwards import after_the_last, afterwards, freed_later, off_the_machine
from pathgen.programs.by_hand import check_by_hand
from pathgen.programs.instructions import before_start, cautions
from pathgen.report.board_text import crown_words
from pathgen.report.pictures.paths import path_picture
from pathgen.report.programs import Program
from pathgen.report.sheet.parts import chapter, facts, feed, fixed, scrolling, table
from pathgen.work.clamping import Clamping, Step

e = element
TRIED = "Each program in the air first"
"""The chapter that every program's list sends the maker to."""
_ASIDE = 0.4  # width by length of a blank from which its two pictures stand side by side


def air_cut(clamping: Clamping, programs: Sequence[Program]) -> Element:
    """How to try the programs above the work, and what the machine's display should show."""
    lowest = min((float(p.toolpath.points[:, 2].min()) for p in programs if not clamping.done(p.step)), default=0.0)
    tried = all(p.start.zero for p in programs
                if p.start and p.start.refit and p.step.operation.spins and not clamping.done(p.step))
    units = clamping.units
    rows = [[str(p.step.number), *(["done", "", "", ""] if clamping.done(p.step) else display_range(clamping, p))]
            for p in programs]
    return chapter(
        "by-hand", TRIED,
        e("p", "When all is done that a program's list under Before you start asks for, and before it cuts:"),
        e("ol", (e("li", line) for line in check_by_hand(clamping, lowest, tried=tried)), class_="tick"),
        scrolling(table(["", *(f"{what} ({units})" for what in ("First cut at X, Y", "X from, to", "Y from, to",
                                                                "Lowest Z"))], rows),
                  "What the display should show"))


def display_range(clamping: Clamping, program: Program) -> list[str]:
    """What the machine's display shows in a program, in words: first cut, X, Y, lowest Z, in the job's units."""
    path = program.toolpath
    points = clamping.to_machine(path.points, program.step)
    cuts = points[path.kinds != Move.RAPID]
    low, high = points.min(axis=0), points.max(axis=0)

    def show(value: float) -> str:
        return fixed(float(value), clamping.units)

    return [f"{show(cuts[0, 0])}, {show(cuts[0, 1])}", f"{show(low[0])} to {show(high[0])}",
            f"{show(low[1])} to {show(high[1])}", show(low[2])]


def common_cautions(clamping: Clamping) -> list[str]:
    """What every step says that turns the spindle; not what it says of itself, where all are of one kind."""
    spinning = [step for step in clamping.steps if step.operation.spins]
    each, alike = [cautions(step) for step in spinning], len({type(step.operation) for step in spinning}) == 1
    own = spinning[0].operation.cautions() if alike else ()
    return [line for line in each[0] if all(line in lines for lines in each) and line not in own]


def in_order(clamping: Clamping, programs: Sequence[Program], after: Mapping[int, Element]) -> Element:
    """A list of the programs, and a card for each; `after`, by their order, shows what each leaves on the machine."""
    contents = e("ol", (e("li", e("a", p.step.operation.purpose, href=f"#program-{p.order}"),
                          ": done" if clamping.done(p.step) else f", {p.cutter.name}, {time_words(p.minutes)}",
                          value=str(p.step.number))
                        for p in programs), class_="contents")
    legend = ("In the pictures lines are cuts, discs holes and marks, dots rapids (moves at full speed, not cutting), "
              "and a ring marks the first cut.")
    if after:
        legend += " The picture of the work shows what lies there when the program has ended; pale is what it left " \
                  "as it was."
    if any(p.step.operation.levels for p in programs):
        legend += " The cut over what was let in or poured is the second cut."
    by_hand = [*(line for p in programs for line in freed_later(clamping, p.step)), *off_the_machine(clamping)]
    return chapter("programs", "The programs, in order", contents, e("p", legend),
                   *(_program(clamping, p, after.get(p.order)) for p in programs),
                   *((e("h3", after_the_last(clamping)), e("ol", (e("li", line) for line in by_hand), class_="tick"))
                     if by_hand else ()))


def _program(clamping: Clamping, program: Program, left: Element | None) -> Element:
    step, common = program.step, common_cautions(clamping)
    after = afterwards(clamping, step)
    after = after[:len(after) - len(freed_later(clamping, step))]  # they stand under all programs
    own = [line for line in cautions(step) if line not in common]
    words = step.operation.purpose
    ended = e("div", e("h4", "When it has ended"), (e("p", line) for line in after), class_="stop") if after else None
    if clamping.done(step):
        return e("article", e("h3", e("span", str(step.number), class_="order"), f"Done: {words}"),
                 e("p", e("code", program.file_name), class_="file"),
                 (e("p", line) for line in before_start(clamping, step)), ended, id=f"program-{step.order}")
    before = before_start(clamping, step, program.start)
    wide, high = np.subtract(clamping.stock.bounds[2:], clamping.stock.bounds[:2])
    return e(
        "article",
        e("h3", e("span", str(step.number), class_="order"), capital(words)),
        e("p", e("code", program.file_name), class_="file"),
        e("h4", "Before you start"),
        e("ol", (e("li", line) for line in before), _in_the_air(step), class_="tick"),
        e("ul", (e("li", line) for line in own), class_="own") if own else None,
        _figures(clamping, program),
        e("div", _path_figure(clamping, program, wide=high <= _ASIDE * wide), left,
          class_="pair" if high > _ASIDE * wide else "shown"),
        ended,
        id=f"program-{step.order}")


def _path_figure(clamping: Clamping, program: Program, *, wide: bool) -> Element:
    """Where its cutter goes; a `wide` picture keeps its size on a telephone, and scrolls."""
    picture = program_path(clamping, program)
    if not wide:
        return e("figure", picture)
    return e("figure", scrolling(picture, picture.get("aria-label") or ""), class_="wide")


def _in_the_air(step: Step) -> Element | None:
    """To try it before it cuts; what only hovers is no more than that."""
    if not step.operation.spins:
        return None
    return e("li", "Run it in the air, as under ", e("a", TRIED, href="#by-hand"), ".")


def _figures(clamping: Clamping, program: Program) -> Element:
    cutter, units, spent = program.cutter, clamping.units, program.times
    still = not program.step.operation.spins
    return facts([
        ("Cutter", f"{cutter.name}: {cutter.shape}, {format_length(cutter.diameter, units)}"),
        ("Speed", "spindle off" if still else f"{cutter.speed:.0f} rpm"),
        ("Feed", f"{feed(cutter.plunge, units)} down to each mark" if still else
         f"{_running(program, units)}, plunging {feed(cutter.plunge, units)}"),
        ("Depth", _depth(clamping, program)),
        ("Time", f"{time_words(spent.total)}, and as long as you look" if still else
         f"{time_words(spent.total)}: {time_words(spent.cutting)} cutting, {time_words(spent.rapid)} in rapids"),
        ("Length", "nothing is cut" if still else f"{way_length(program.toolpath.cut_length, units)} of cutting"),
    ])


def _running(program: Program, units: str) -> str:
    """The feed; and where it is eased, in full-width cuts and tight corners, to what, and for how much of the way."""
    path, full = program.toolpath, feed(program.cutter.feed, units)
    share = float(path.lengths[path.kinds == Move.EASED].sum()) / max(path.cut_length, 1e-9)
    slow = feed(program.cutter.eased_feed, units)
    if share == 0 or slow == full:
        return full
    return f"{full.split(' ')[0]}, {slow} in full width ({max(100 * share, 1):.0f} %)"


def program_path(clamping: Clamping, program: Program) -> Element:
    """The picture of where a program's cutter goes."""
    name = f"Path of program {program.step.number} from above: {program.step.operation.purpose}, with " \
           f"{program.cutter.name}, {program.file_name}"
    return path_picture(name, program.toolpath, clamping, program.step.operation.named)


def _depth(clamping: Clamping, program: Program) -> str:
    step, units = program.step, clamping.units
    now, inlay = step.operation.depth, step.operation.opens
    in_the_end = ""
    if now is not None and inlay is not None:
        last, now = now - clamping.skim, clamping.opened(inlay)
        in_the_end = f" ({format_length(last, units)} in the end)" if abs(last - now) > 1e-9 else ""
    below = f"{format_length(now, units)} deep{in_the_end}, " if now is not None else ""
    deepest = step.operation.deepest(clamping.finished_surface)
    if now is not None and inlay is None and deepest is not None:
        below = f"{format_length(now, units)} deep{crown_words(now, deepest, units)}, "
    lowest = clamping.to_machine(program.toolpath.points, step)[:, 2].min()
    return f"{below}lowest Z {fine_length(float(lowest), units)}"
