"""What to have ready: cutters, fill, pieces; and what a shift of the work would cost."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pathgen.base.markup import Child, Element, element
from pathgen.base.plain import in_runs
from pathgen.base.units import format_length, tiny_length, tiny_unit_words, volume_words
from pathgen.programs.instructions import cutter_words
from pathgen.report.budget import adding_words, budget_cells, cents_words
from pathgen.report.filltext import (
    ONE_BATCH,
    ONE_BATCH_WORDS,
    above_words,
    batch_cells,
    display_lines,
    is_dammed,
    measured_with,
    measuring_lines,
    mix_words,
    thicken_words,
    to_buy,
)
from pathgen.report.fitting import LENGTHS, length_cells, lengths_words
from pathgen.report.letting_in import piece_line, stock_words
from pathgen.report.moving import moved_lines, seen_lines
from pathgen.report.pictures.measuring import measuring_picture
from pathgen.report.programs import Program
from pathgen.report.sheet.by_hand import said, things_in
from pathgen.report.sheet.parts import chapter, listed, scrolling, table
from pathgen.work.clamping import Clamping

e = element


def to_have_ready(clamping: Clamping, programs: Sequence[Program], report: dict[str, Any]) -> Element:
    """Cutters with their programs, what is needed by hand, and fill by colour, of what is still to be run."""
    steps = [step for step in clamping.steps if not clamping.done(step)]
    cutters = {step.cutter.name: step.cutter for step in steps}
    rows = [[cutter_words(cutter, clamping.units),
             listed([e("a", str(s.number), href=f"#program-{s.order}") for s in steps if s.cutter.name == name]),
             *length_cells(cutter, report["cutters"], clamping.units)] for name, cutter in cutters.items()]
    inlays = [row for inlay, row in zip(clamping.inlays, report["inlays"], strict=True)
              if not clamping.levelled_before(inlay)]
    asked = "; ".join([*things_in(_said(clamping, programs, report)),
                       *measured_with([inlay["coat"] for inlay in inlays if inlay["coat"]])])
    return chapter("ready", "To have ready", _cutters(rows),
                   e("p", lengths_words(list(cutters.values()), report["cutters"], clamping)),
                   e("p", f"By hand: {asked}.") if asked else None,
                   _fill(inlays), _pieces(inlays, clamping.units))


def to_have_ready_for_all(
    clampings: Sequence[Clamping], programs: Sequence[Sequence[Program]], report: dict[str, Any]
) -> Element:
    """Cutters and what is needed by hand for all parts of a blank; of fill and pieces, where it stands."""
    cutters = {p.step.cutter.name: p.step.cutter for own in programs for p in own}
    left = [row for row in report["programs"] if not row["done"]]
    lengths = report["parts"][0]["report"]["cutters"]  # over all parts, in each of theirs
    rows = [[cutter_words(cutter, clampings[0].units),
             ", ".join(in_runs([row["number"] for row in left if row["cutter"]["name"] == name])),
             *length_cells(cutter, lengths, clampings[0].units)] for name, cutter in cutters.items()]
    rows = [row for row in rows if row[1]]
    stops = [line for one in clampings for step in one.steps for inlay in [step.operation.opens]
             if inlay is not None and not one.levelled_before(inlay) for line in step.operation.afterwards(one)]
    level = {row["number"] for row in report["programs"] if "stop" in row}
    fills = [fill for fill in report["fills"] if fill["after"] in level]
    asked = "; ".join([*things_in(*(_said(one, own, part["report"]) for one, own, part in zip(
        clampings, programs, report["parts"], strict=True)), "\n".join(stops)),
        *measured_with([fill["coat"] for fill in fills])])
    dammed = any(is_dammed(inlay) for part in report["parts"] for inlay in part["report"]["inlays"])
    pours = " ".join(filter(None, [
        "What to mix for each fill stands at its stop.", _dam(dammed),
        to_buy([(fill["colours"], fill["batch"], fill["coat"]) for fill in fills])])) if fills else ""
    sheets = "Pieces and dots to let in, and how thick they are, stand on the sheets of their parts." if any(
        inlay["piece_thickness"] is not None for part in report["parts"] for inlay in part["report"]["inlays"]) else ""
    return chapter("ready", "To have ready", _cutters(rows),
                   e("p", lengths_words(list(cutters.values()), lengths, clampings[0])),
                   e("p", f"By hand: {asked}.") if asked else None,
                   e("p", " ".join(filter(None, (pours, sheets)))) if pours or sheets else None)


def _cutters(rows: Sequence[Sequence[Child]]) -> Element:
    return scrolling(table(["Cutter", "Programs", *LENGTHS], rows), "Cutters")


def _said(clamping: Clamping, programs: Sequence[Program], report: dict[str, Any]) -> str:
    """All that a part's own sheet says that may ask for a thing."""
    return said(clamping, programs, measuring_lines(report["marks"], clamping.units) if report["marks"] else ())


def _fill(inlays: Sequence[dict[str, Any]]) -> list[Element | None]:
    """How much resin of each colour, as the simulated pockets hold it; nothing where none is poured."""
    rows = []
    for inlay in inlays:
        if inlay["batch"]:
            rows.append([ONE_BATCH, inlay["name"], "", volume_words(inlay["batch"]["needed_volume"]),
                         *batch_cells(inlay["batch"])])
        rows += [[e("span", e("span", class_="swatch", style=f"background:{one['colour']}"), one["colour"]),
                  inlay["name"], *(volume_words(one[key]) for key in ("pocket_volume", "needed_volume")),
                  *batch_cells(one)] for one in inlay["amounts"]]
    if not rows:
        return []
    head = ["Colour", "For", "Pockets hold", "Needed", "Mix", "Weighs", "Parts"]
    keep = [k for k in range(len(head)) if k < 5 or any(row[k] for row in rows)]
    shared = any(inlay["batch"] for inlay in inlays)
    thick = "".join(f"For {inlay['name']} {thicken_words(inlay)}. " for inlay in inlays if inlay["thickened"])
    return [
        e("h3", "Fill"),
        e("p", ONE_BATCH_WORDS) if shared else None,
        scrolling(table([head[k] for k in keep], [[row[k] for k in keep] for row in rows]), "Fill by colour"),
        e("p", f"Needed is {above_words(inlays)}, with what the pockets hold and what is lost in the cup. Mix is "
               f"{mix_words(inlays)}."),
        e("p", told) if (told := f"{_dam(any(is_dammed(inlay) for inlay in inlays))} {thick}".strip()) else None,
        e("p", to_buy([(inlay["amounts"], inlay["batch"], inlay["coat"]) for inlay in inlays if inlay["amounts"]])),
    ]


def _dam(dammed: bool) -> str:
    return "For the dam have tape, wax or clay ready." * dammed


def _pieces(inlays: Sequence[dict[str, Any]], units: str) -> list[Element]:
    return [e("p", piece_line(inlay, units)) if inlay.get("piece") else
            e("p", f"{_what(inlay, units)} {stock_words(inlay, units)}.")
            for inlay in inlays if inlay["piece_thickness"] is not None]


def _what(inlay: dict[str, Any], units: str) -> str:
    """What is let in: pieces, or dots with their number and width, before how thick they are."""
    whose, dots = f"{inlay['name']} ({', '.join(inlay['colours'])}):", inlay.get("dots")
    if dots is None:
        return f"Pieces for {whose}"
    return f"Dots for {whose} {dots['count']} of {format_length(dots['diameter'], units)} diameter,"


def what_can_be_off(report: dict[str, Any], units: str) -> Element | None:
    """The error budget."""
    budget = report["budget"]
    if not budget["results"]:
        return None
    return chapter("budget", "What can be off, and what it does",
                   scrolling(table(*budget_cells(budget, units)), "What can be off"),
                   *(e("p", words) for words in adding_words(budget)),
                   e("p", cents, class_="screen") if (cents := cents_words(budget)) else None)


def if_it_moves(clamping: Clamping, report: dict[str, Any]) -> Element | None:
    """What a small shift of the work before a second cut would cost; where the marks are, and how the work lies now."""
    marks, units = report["marks"], clamping.units
    words = ["Witness marks are drilled in the waste.", *display_lines(marks, units),
             *seen_lines(marks, units)] if marks else []
    said = " ".join(words)  # the errors of measuring once, where they are the same
    words += [line for line in moved_lines(report["moved"], units) if line[1:] not in said]
    cost = _shift_cost(clamping, report)
    if not cost and not words:
        return None
    if not words:
        return chapter("moved", "Why the work must not move", *cost, class_="screen")
    return chapter("moved", "If the work moves",
                   e("div", *cost, class_="screen") if cost else None,
                   *(e("p", line) for line in words), *(_measuring(marks, units) if marks else []))


def _shift_cost(clamping: Clamping, report: dict[str, Any]) -> list[Element]:
    """What a small shift of the work costs a second cut; nothing where there is none."""
    shift, units = report["shift_errors"], clamping.units
    if shift is None or not any(inlay["second_cut"] for inlay in report["inlays"]):
        return []
    rows = [[row["direction"],
             *(tiny_length(row[side], units, signed=True, sign="µm") for side in ("low", "high"))]
            for row in shift["rows"]]
    again = [f"The second cut of {inlay['name']} ends with the finishing passes of program {cut['first_program']} "
             "again, coordinate for coordinate: where that was run as it is here, and neither the work nor a zero has "
             "moved since, it takes nothing off the wood."
             for inlay in report["inlays"] if (cut := inlay["second_cut"]) and cut["repeats_first_pass"]]
    return [
        *(e("p", line) for line in again),
        e("p", f"If the work lies {format_length(shift['shift'], units)} off at the second cut, the surface "
               f"at the {clamping.board.names.part}'s edge comes out wrong by as much as this"
               f"{tiny_unit_words(units, 'µm')}:"),
        table(["Moved", "Lowest", "Highest"], rows),
    ]


def _measuring(marks: dict[str, Any], units: str) -> list[Element]:
    """How to measure the marks, in words and a picture, and what to copy into the job file."""
    words, *blocks = measuring_lines(marks, units)
    return [e("h3", "How to measure the marks"), e("figure", measuring_picture(), class_="small"), e("p", words),
            e("pre", "\n".join(blocks), class_="copy")]
