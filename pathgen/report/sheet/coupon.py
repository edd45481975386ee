"""The page of a test piece: what each place on it should measure, and which key to change where it does not."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import shapely

from pathgen.base.markup import Child, Element, as_page, element
from pathgen.base.picture import BLANK, INK, PALE, WOOD, View, area, lines, words
from pathgen.base.plain import time_words
from pathgen.base.units import MM_PER, fine_length, format_length, tiny_length, tiny_unit_words
from pathgen.parts.tools import Coupon, Trial
from pathgen.programs.plan import Plan
from pathgen.report.pictures.above import closed_words, inlay_areas
from pathgen.report.sheet.parts import chapter, facts, figure, table
from pathgen.report.sheet.style import STYLE
from pathgen.report.text import not_cut_lines
from pathgen.work.clamping import Clamping
from pathgen.work.operations import Slot

e = element
_READ = 0.04  # by how much a square is off in the example that is worked out, mm
Trials = dict[str, Trial]
_LETTER = 4.5  # mm: size of the letters on the picture
_BLANK = "__________"


def coupon_page(planned: Plan, part: Coupon, report: dict[str, Any]) -> str:
    """The page as HTML, whole in itself; `report` is that of the same build."""
    clamping = planned.clamping
    content = e(
        "main",
        e("header", e("p", "How to read it", class_="kicker"), e("h1", clamping.title),
          _what_it_is(clamping, part, report)),
        figure(coupon_picture(planned, part), "Seen from above, to scale. The letters are those of the tables. "
               + closed_words(clamping, planned.opened)),
        _rim(clamping, part, report),
        *(chapter_of(clamping, part, found) for chapter_of, kind in (
            (_squares, "square"), (_detail, "detail"), (_pour, "pour")) if (found := _of(part, kind))),
        _let_in(clamping, part), _slots(clamping, slots) if (slots := _of(part, "slot")) else None, _feeds(),
        e("footer", f"Job fingerprint {report['job_fingerprint']}. After a change build the test piece again: what "
                    "was measured holds for the numbers it was cut with."))
    return as_page(f"{clamping.title}: how to read it", content, style=STYLE)


def coupon_picture(planned: Plan, part: Coupon) -> Element:
    """The test piece from above, every place with its letter."""
    clamping = planned.clamping
    blank = shapely.box(*clamping.stock.bounds)
    view = View.around(blank.bounds, 2.0)
    slots = [s.operation.feature for s in clamping.steps if type(s.operation) is Slot]
    return view.picture(
        f"{clamping.title} from above: {', '.join(f'{k} {_NAMES[t.kind]}' for k, t in part.lettered.items())}",
        area(view, blank, fill=BLANK, stroke=PALE, stroke_width=0.3, stroke_dasharray="2 1.5"),
        area(view, part.outline, fill=WOOD, stroke=INK, stroke_width=0.3),
        *inlay_areas(view, clamping, planned.opened),
        *(lines(view, slot.lines, decimals=4, stroke=INK, stroke_width=slot.width, stroke_linecap="butt")
          for slot in slots),
        *_letters(view, part))


def _letters(view: View, part: Coupon) -> Iterator[Element]:
    """Above what they name, and before the near end for the rim."""
    for letter, trial in part.lettered.items():
        x, y = trial.at
        place = (x - 0.5 * _LETTER, y) if trial.kind == "rim" else (x, y + 0.25 * _LETTER)
        yield words(view, place, letter, size=_LETTER, font_weight="bold",
                    text_anchor="end" if trial.kind == "rim" else "middle")


_NAMES = {"slot": "a slot", "square": "a square", "detail": "the drawing's narrowest place", "pour": "a place to pour",
          "rim": "the step at the rim"}


def _read_with(part: Coupon) -> list[str]:
    """What the places on it are measured with."""
    kinds = {trial.kind for trial in part.lettered.values()}
    tools = (({"square"}, "a caliper"), ({"rim", "slot"}, "a depth gauge"), ({"detail"}, "a loupe"),
             ({"slot"}, "feelers, pieces of your fret wire, a light hammer"))
    return [tool for of, tool in tools if of & kinds]


def _what_it_is(clamping: Clamping, part: Coupon, report: dict[str, Any]) -> list[Child]:
    size = " by ".join(fine_length(v, clamping.units) for v in
                       (clamping.stock.length, clamping.stock.width, clamping.stock.thickness))
    return [
        e("p", "Cut it from scrap of the same wood, with the cutters in the collets that will cut the part. It is cut "
               "with the feeds, layers and depths of the job. Then measure, write down what you read, and change one "
               "number of the job at a time."),
        facts([("Scrap", size), ("To read it", "; ".join(_read_with(part))),
               ("Programs", f"{len(clamping.steps)}, in order on setup.html, with the cautions"),
               ("Machine time", time_words(report["minutes"]))]),
        *(e("p", line) for line in not_cut_lines(report)),
    ]


def _of(part: Coupon, kind: str) -> Trials:
    """The places of a kind, by their letters."""
    return {letter: trial for letter, trial in part.lettered.items() if trial.kind == kind}


def _rim(clamping: Clamping, part: Coupon, report: dict[str, Any]) -> Element | None:
    """The step down from the raw top, and the ridges that passes side by side leave."""
    surface, units = report["surface"], clamping.units
    if surface is None:
        return None
    rows: list[list[Child]] = [[letter, f"step down from the raw top: {fine_length(t.size, units)}", _BLANK]
                               for letter, t in _of(part, "rim").items()]
    apart, high = fine_length(surface["stepover"], units), tiny_length(surface["scallop_predicted"], units, sign="µm")
    ridged = surface["scallop_predicted"] > 0  # a flat end leaves none on a level top
    rows.append(["", f"ridges {apart} apart, {high} high{tiny_unit_words(units, 'µm')}" if ridged else
                 f"passes {apart} apart, level from one to the next", _BLANK])
    return chapter(
        "rim", "The finishing passes", _table(rows),
        _list("Measure the step with a depth gauge, at both ends and both sides of the piece.",
              ["Everywhere too high or too low by the same: ",
               *(["the scrap is not as thick as ", _key("[coupon] thickness"), " or ", _key("[stock] thickness"),
                  " says, or Z 0 was not set well. Measure the scrap, set Z again."]
                 if clamping.setup.z_zero == "bed" else ["Z 0 was not set well on its raw top. Set Z again."])],
              "Higher at one end: the bed is not level, or there is dust under the work.",
              ["Draw a fingernail across two passes. If you can feel the ridges more than you want to sand, make ",
               _key("[surface] scallop"), " smaller. One side of every ridge steeper: the spindle leans."]
              if ridged else "Draw a fingernail across two passes. A step from each to the next: the spindle leans, "
                             "which no key mends."))


def _squares(clamping: Clamping, part: Coupon, found: Trials) -> Element:
    units = clamping.units
    rows: list[list[Child]] = [
        [letter, f"\"{t.cutter}\": {fine_length(t.size, units)} wide both ways, {fine_length(t.depth, units)} deep",
         _BLANK] for letter, t in found.items()]
    letter, one = next(iter(found.items()))
    diameter = next(step.cutter.diameter for step in clamping.steps if step.cutter.name == one.cutter)
    return chapter(
        "squares", "The true diameter of each cutter", _table(rows),
        _list("Measure with the inside jaws of a caliper, along X and along Y, near the top.",
              ["Wider than it should be both ways: the cutter is larger than its ", _key("[[cutter]] diameter"),
               f" says, or runs out, by as much. Here: if {letter} reads {fine_length(one.size + _READ, units)}, "
               "write ",
               _key(f"diameter = {round((diameter + _READ) / MM_PER[units], 4):g}"),
               f" for \"{one.cutter}\". Narrower: smaller by as much."],
              "Wider one way only: the machine has play along that axis, or its steps are not set right. No key "
              "mends that.",
              ["Deeper or less deep: Z 0 with that cutter.",
               *((" The same with every cutter: ", _key(f"{part.filled} depth"), ".") if part.filled else ())]))


def _detail(clamping: Clamping, part: Coupon, found: Trials) -> Element:
    units = clamping.units
    cutters = {step.cutter.name: step.cutter for step in clamping.steps}
    rows: list[list[Child]] = [
        [letter, f"{format_length(t.size, units)} wide at its narrowest (corners and points aside) as drawn, "
         # a v rises where it is narrower than the v is at its full depth
         f"{fine_length(min(t.depth, t.size / 2 * cutters[t.cutter].wall_slope), units)} deep there; "
         f"last cutter \"{t.cutter}\"", _BLANK]
        for letter, t in found.items()]
    return chapter(
        "detail", "The drawing's narrowest place", _table(rows),
        _list(f"Look with a loupe{' before anything is poured' if _of(part, 'pour') else ''}.",
              ["What stays closed is narrower than the last cutter: name a smaller one in ",
               _key(f"{part.filled} cutters"), ", or draw that place wider. ", e("code", "pathgen reach"),
               " lists what would do."],
              ["Edges broken out: a sharper cutter, or less at once (", _key("[[cutter]] stepdown"), "). Wood between "
               "two edges gone: draw them further apart."]))


def _pour(clamping: Clamping, part: Coupon, found: Trials) -> Element:
    units = clamping.units
    inlay = next(i for i in clamping.inlays if i.fill == "resin")
    proud = format_length(inlay.overfill, units)
    rows: list[list[Child]] = [[letter, f"cured resin no more than {proud} above the wood", _BLANK] for letter in found]
    rows += [["", "after the second cut: resin and wood level", _BLANK],
             ["", "no step where the second cut ends, round the pour", _BLANK]]
    return chapter(
        "pour", "The pour and the second cut", _table(rows),
        _list("Dam, pour and cure it as you will in the job itself; measure how high the cured resin stands.",
              ["Higher than it should be: set ", _key(f"{part.filled} overfill"), " to what you read."],
              f"A fingernail feels a step of {format_length(0.01, units)}. Where the second cut ends, wood of the "
              "first cut stands beside it: the step there is how far Z came out different after the change of cutter. "
              "Set Z again the same way and with the same feeler until it is gone.",
              ["Colour in the wood beside the edge: seal the walls first. Pits: bubbles. Soft or sticky: it was mixed "
               "wrongly, or not cured; see ", _key("[resin] mix"), "."]))


def _let_in(clamping: Clamping, part: Coupon) -> Element | None:
    """How a piece is tried in a pocket: no pocket of the test piece takes one."""
    if part.trying is None:
        return None
    thick = format_length(part.trying, clamping.units)
    return chapter(
        "let-in", "Pieces let in",
        e("p", "No piece goes into this test piece. Cut one set of pieces first (", e("code", "pathgen pieces"),
          f"), then run the pocket programs of the job itself over scrap {thick} thick, as the finished part is, in "
          "the place and with the zero of its blank; and try them dry."),
        _list(["Too tight or too loose: first the ", _key("[[cutter]] diameter"), " of both cutters, by the squares; "
               "then ", _key("[[inlay]] piece gap"), ". Build and cut both again."]))


def _slots(clamping: Clamping, found: Trials) -> Element:
    units = clamping.units
    rows: list[list[Child]] = [
        [letter, f"{fine_length(t.size, units)} wide, {fine_length(t.depth, units)} deep"
         + (", as the job has it" if t.wanted else ""), _BLANK]
        for letter, t in found.items()]
    cutter = next(iter(found.values())).cutter
    return chapter(
        "slots", "Slots for your fret wire", _table(rows),
        _list("Measure the width with feelers, the depth with a depth gauge at the end of the slot; then press a piece "
              "of your wire into each.",
              ["Take the slot in which the wire goes down with light blows and stays: its width is ",
               _key("[slots] width"), ", and the one it seats in without touching bottom has your ",
               _key("[slots] depth"), "."],
              ["All wider by the same: the cutter is larger or runs out by as much: ", _key("[[cutter]] diameter"),
               f" of \"{cutter}\". All deeper or less deep by the same: Z 0 of that program."]))


def _feeds() -> Element:
    return chapter(
        "feeds", "Feeds, by look and sound",
        _list(["Walls burnt or shining: it rubs. A faster ", _key("[[cutter]] feed"), " or a slower ",
               _key("[[cutter]] speed"), "."],
              ["Torn or furry edges, a whine, or a slot wider at its end than at its start: less at once (",
               _key("[[cutter]] stepdown"), "), or a slower ", _key("[[cutter]] feed"), "; is the cutter sharp?"],
              ["Marks where it went down: a slower ", _key("[[cutter]] plunge"), ", or a flatter ",
               _key("[[cutter]] ramp"), "."],
              "These are common practice; the cutter maker's chart comes first."))


def _table(rows: list[list[Child]]) -> Element:
    return table(["", "Should be", "You read"], rows)


def _list(*items: Child) -> Element:
    return e("ul", (e("li", item) for item in items))


def _key(name: str) -> Element:
    return e("code", name)
