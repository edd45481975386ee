"""The page of a blank with several parts: where they lie, and all programs in order, cutter by cutter."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import accumulate, groupby, zip_longest
from typing import Any

from shapely.geometry.base import BaseGeometry

from pathgen.base.markup import Child, Element, as_page, element
from pathgen.base.plain import capital, in_runs, joined, time_words
from pathgen.base.units import fine_length
from pathgen.programs.instructions import stuck_words
from pathgen.programs.sticking import whole_face
from pathgen.programs.zero_words import z_zero_words, zero_place_words
from pathgen.report.blank import AT_STOPS, fill_rows, fittings_words, marks_lines, origin_words
from pathgen.report.pictures.above import closed_words
from pathgen.report.pictures.blank import blank_from_above
from pathgen.report.programs import Program
from pathgen.report.sheet.material import to_have_ready_for_all
from pathgen.report.sheet.page import footer, page_head
from pathgen.report.sheet.parts import chapter, figure, machine_time, table
from pathgen.report.sheet.programs import common_cautions
from pathgen.report.sheet.results import findings, warnings
from pathgen.report.sheet.style import STYLE
from pathgen.report.text import minutes_words
from pathgen.work.clamping import Clamping

e = element


def blank_sheet(report: dict[str, Any], clampings: Sequence[Clamping], pages: Sequence[str], *, along: str,
                opened: Sequence[Sequence[BaseGeometry]], programs: Sequence[Sequence[Program]]) -> str:
    """The page as HTML; `pages` are the names of the parts' own sheets, `along` is the blank's own on the machine,
    `opened` what is opened of each part's inlays; `programs` are those of each part."""
    names = [part["name"] for part in report["parts"]]
    picture = blank_from_above(report["title"], clampings, names, along=along, opened=opened)
    stuck = [] if all(row["done"] for row in report["programs"]) else whole_face(*clampings)
    held = [f"Hold the blank {stuck_words(stuck)}."] if stuck else []
    lines, marked = [*held, *common_cautions(clampings[0])], marks_lines(report)
    clamps = "Hatched: clamps." if clampings[0].setup.keep_out else "" if clampings[0].setup.no_clamps else \
        "No clamps given: keep them off the parts' shares."
    closed = next(filter(None, map(closed_words, clampings, opened)), "")
    crosses = "Crosses in rings: witness marks, with their numbers." if marked else ""
    legend = " ".join(filter(None, ["Seen from above. Dashed: the share of each part, which its cutters keep to.",
                                    clamps, closed, crosses, "The ring: X 0, Y 0. The arrows: the machine's axes."]))
    content = e(
        "main",
        _head(report, clampings[0]),
        chapter("board", "The blank on the machine", figure(picture, legend, wide=True),
                e("p", origin_words(report)), _parts(report, clampings, pages)),
        chapter("cautions", "Before anything else", e("ul", (e("li", line) for line in lines)), class_="cautions"),
        warnings(report),
        None if all(row["done"] for row in report["programs"]) else to_have_ready_for_all(clampings, programs, report),
        chapter("programs", "All programs, in order", e("p", (
            "Cutter by cutter. Each program does one step of one part; its sheet says what to check before it, and how "
            "to try it in the air first.")), *_groups(report, clampings, pages), e("p", (
            "No part is taken up before the last program has ended: what is then done by hand, the sheet of each "
            "says."))),
        chapter("moved", "If the blank moves", *(e("p", line) for line in marked)) if marked else None,
        findings(report | {"left_out": [words for part in report["parts"] for words in part["report"]["left_out"]]}),
        footer(report))
    return as_page(f"{report['title']}: setup sheet", content, style=STYLE)


def _head(report: dict[str, Any], first: Clamping) -> Element:
    assert first.shared is not None
    x0, y0, x1, y1 = first.shared.blank
    thick, *size = (fine_length(v, first.units) for v in (first.stock.thickness, x1 - x0, y1 - y0))
    wide, high = size if first.setup.along.endswith("x") else size[::-1]
    left = sum(not row["done"] for row in report["programs"])
    count = f"{left} left, of {len(report['programs'])}" if "minutes_left" in report else str(left)
    return page_head(report, [
        ("Parts", f"{len(report['parts'])}, from one blank in one clamping"),
        ("Programs", f"{count}; {fittings_words(report)}"),
        ("Machine time", machine_time(report, minutes_words)),
        ("Blank", f"{wide} along X by {high} along Y, {thick} thick"),
        ("Zero", f"{zero_place_words(first)}. {z_zero_words(first)}."),
    ])


def _parts(report: dict[str, Any], clampings: Sequence[Clamping], pages: Sequence[str]) -> Element:
    rows: list[list[Child]] = [
        [str(number), part["name"], e("a", page, href=page),
         " by ".join(fine_length(v, one.units) for v in (one.stock.length, one.stock.width)),
         f"{part['turn']:g} degrees" if part["turn"] else "as drawn"]
        for number, (part, one, page) in enumerate(zip(report["parts"], clampings, pages, strict=True), 1)
    ]
    return table(["", "Part", "Its sheet", "Its share", "Turned"], rows)


def _groups(report: dict[str, Any], clampings: Sequence[Clamping], pages: Sequence[str]) -> Iterator[Element]:
    """A card for each time a cutter is fitted, a stop after each pour; what was run before a move is told as done."""
    fitted = accumulate(int(row["fit"]) for row in report["programs"])
    for _, group in groupby(zip(fitted, report["programs"], strict=True), key=lambda one: one[0]):
        rows = [row for _, row in group]
        name = rows[0]["cutter"]["name"]
        shown: list[Element] = []
        part_rows: list[dict[str, Any]] = []
        for row in rows:
            part_rows.append(row)
            if "stop" in row:
                shown += [_table(part_rows, clampings, pages), _stop(report, row, clampings)]
                part_rows = []
        shown += [_table(part_rows, clampings, pages)] if part_rows else []
        were, them = ("These programs count", "them") if len(rows) > 1 else ("This program counts", "it")
        done = [e("p", f"{were} as run before the blank moved: do not run {them} again.")] if rows[0]["done"] else []
        numbers = f"program{'s' * (len(rows) > 1)} {joined(in_runs([row['number'] for row in rows]))}"
        yield e("article", e("h3", f"{'Done with' if done else 'Fit'} {name}: {numbers}"), *done, *shown)


def _table(rows: Sequence[dict[str, Any]], clampings: Sequence[Clamping], pages: Sequence[str]) -> Element:
    cells: list[list[Child]] = []
    for row in rows:
        step = next(s for s in clampings[row["part"] - 1].steps if s.file_name == row["file"])
        page = f"{pages[row['part'] - 1]}#program-{row['order']}"
        does = e("div", f"{row['part']} {row['name']}: ", e("a", step.operation.purpose, href=page))
        time = "done" if row["done"] else time_words(row["minutes"])
        cells.append([str(row["number"]), e("div", does, e("code", row["file"])), time])
    return table(["", "Program", "Time"], cells)


def _stop(report: dict[str, Any], row: dict[str, Any], clampings: Sequence[Clamping]) -> Element:
    """What to pour now, and then what to let in, as the parts' own steps say; what may still be left of that where the
    blank has moved since: what was filled already, only the maker knows."""
    names = [f"{number} {part['name']}" for number, part in enumerate(report["parts"], 1)]
    head, rows, notes = fill_rows(report, row["number"])
    mixed = [table([word.capitalize() for word in head], rows), *(e("p", line) for line in notes)] if rows else []
    whose = {fill: f"{what}{' of' * ('pieces' in what)} {', '.join(names[k - 1] for k in row['stop_each'][what])}"
             for fill, what in AT_STOPS.items() if what in row["stop_each"]}
    where = f"Stop after program {row['number']}"
    done = f"Where this was done before the blank moved, go on with program {report['go_on_with']}. Where it was " \
        "not, do it before that:" if row["done"] else None
    waits = ["the fill has cured fully, which can take days"] * bool(rows) + \
        ["the glue has set fully"] * ("piece" in whose)
    told: list[Element] = []
    for fill, what in whose.items():
        told += [e("p", e("b", f"{capital(what)}:"))] if len(whose) > 1 else []
        parts = [(names[k - 1], clampings[k - 1]) for k in row["stop_each"][AT_STOPS[fill]]]
        told += [*_told(parts, row["number"], fill), *(mixed if fill == "resin" else ())]
    return e(
        "div", e("h4", f"{where}{', if it was not done' * row['done']}: {', and '.join(whose.values())}"),
        e("p", done) if done else None, *told,
        e("p", f"Wait until {' and '.join(waits)}, and do what the sheets of these parts say before their next "
               "programs.") if waits else None,
        class_="stop")


def _told(parts: Sequence[tuple[str, Clamping]], after: int, fill: str) -> Iterator[Element]:
    """What the parts say that take one kind of fill at a stop: what all say once, else after the names of those that
    do."""
    waiting = [(name, step.operation.afterwards(one)) for name, one in parts for step in one.steps
               if step.turn and step.turn.fill_after == after
               and step.operation.opens is not None and step.operation.opens.fill == fill]
    for line, of in told_once([said for _, said in waiting]):
        own = ", ".join(dict.fromkeys(waiting[k][0] for k in of))
        yield e("p", e("b", f"{own}: "), line) if len(of) < len(waiting) else e("p", line)


def told_once(lists: Sequence[Sequence[str]]) -> list[tuple[str, list[int]]]:
    """All lines, whole and each once, in their order, with the indices of the lists that hold them: what some hold
    stands together between what all do."""
    rests, told = [list(one) for one in lists], list[tuple[str, list[int]]]()
    for line in lists[0]:
        if not all(line in rest for rest in rests):
            continue
        told += _by_holders([rest[:rest.index(line)] for rest in rests])
        told.append((line, list(range(len(lists)))))
        rests = [rest[rest.index(line) + 1:] for rest in rests]
    return told + _by_holders(rests)


def _by_holders(lists: Sequence[Sequence[str]]) -> list[tuple[str, list[int]]]:
    abreast = dict.fromkeys(line for row in zip_longest(*lists) for line in row if line)
    return [(line, [k for k, one in enumerate(lists) if line in one]) for line in abreast]
