"""The setup sheet: one page, whole in itself, that a maker can stand at the machine with."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from pathgen.clamping import NUT_SLOT, POCKET, SLOTS, Clamping
from pathgen.instructions import afterwards, before_start, cautions, check_by_hand, cutter_words, purpose, zero_words
from pathgen.markup import Child, Element, as_html, element
from pathgen.plan import Plan, tabs_of
from pathgen.report.pictures import board_from_above, path_picture, ridge_picture, section_picture, sections_of
from pathgen.report.pictures.sections import RISE, least_under
from pathgen.report.programs import Program
from pathgen.report.sheet_style import STYLE
from pathgen.units import format_length
from pathgen.verify import Verification

e = element


def setup_sheet(
    planned: Plan, programs: Sequence[Program], checked: Verification, report: dict[str, Any]
) -> str:
    """The page as HTML: nothing in it is fetched from elsewhere, and all text is escaped.

    `report` is what `pathgen.report.data.report_data` gives for the same build.
    """
    clamping = planned.clamping
    page = e(
        "html",
        e("head", e("meta", charset="utf-8"),
          e("meta", name="viewport", content="width=device-width, initial-scale=1"),
          e("title", f"{clamping.title}: setup sheet"), e("style", STYLE)),
        e("body", e(
            "main",
            _head(clamping, report),
            _from_above(planned),
            _cautions(clamping),
            _to_have_ready(clamping, report, checked),
            _first_check(clamping, programs),
            _programs(clamping, programs),
            _sections(clamping),
            _ridges(clamping, checked, report),
            _frets(clamping, report),
            _findings(report),
            e("footer", f"Job fingerprint {report['job_fingerprint']}: the programs of this sheet state the same."),
        )),
        lang="en",
    )
    return "<!DOCTYPE html>\n" + as_html(page) + "\n"


def pictures(planned: Plan, programs: Sequence[Program], checked: Verification) -> dict[str, Element]:
    """The pictures of the page by name, for those who want them as files."""
    clamping = planned.clamping
    found = {"board": board_from_above(clamping, paths=planned.paths, tabs=tabs_of(clamping))}
    for number, section in enumerate(sections_of(clamping), 1):
        found[f"section-{number}"] = section_picture(clamping, section)
    if checked.ridges is not None and clamping.surfacing is not None:
        found["ridges"] = ridge_picture(clamping, checked.ridges)
    for program in programs:
        found[program.file_name.removesuffix(".nc")] = _path(clamping, program)
    return found


def _head(clamping: Clamping, report: dict[str, Any]) -> Element:
    passed, hours = report["checks"]["passed"], divmod(round(report["minutes"]), 60)
    time = f"{hours[0]} h {hours[1]:02d} min" if hours[0] else f"{hours[1]} min"
    findings = len(report["checks"]["findings"])
    also = f" {findings} to read below." if findings else ""
    verdict = "Verified: read back and simulated, these programs cut the part as asked." if passed else \
        "Do not cut: verification found faults."
    return e(
        "header",
        e("p", "Setup sheet", class_="kicker"),
        e("h1", clamping.title),
        e("p", verdict, e("a", also, href="#findings") if also else None,
          class_="verdict good" if passed else "verdict bad"),
        _facts([
            ("Programs", f"{len(clamping.steps)}, in one clamping"),
            ("Machine time", f"about {time}, without changing cutters and without curing"),
            ("Board", _board_words(clamping)),
            ("Blank", _blank_words(clamping)),
            ("Zero", zero_words(clamping)),
        ]),
    )


def _board_words(clamping: Clamping) -> str:
    board, units = clamping.board, clamping.units
    surface = board.surface
    radius = "flat" if surface.is_flat else format_length(surface.radius_nut, units, decimals=2) + " radius"
    if surface.taper:
        radius = f"{format_length(surface.radius_nut, units, decimals=2)} radius at the nut, " \
                 f"{format_length(surface.radius_end, units, decimals=2)} at the end"
    return (f"{format_length(board.length, units, decimals=2)} long, {len(board.frets)} frets, "
            f"{format_length(surface.thickness, units, decimals=2)} thick, {radius}")


def _blank_words(clamping: Clamping) -> str:
    stock, units = clamping.stock, clamping.units
    size = " by ".join(format_length(v, units, decimals=2) for v in (stock.length, stock.width, stock.thickness))
    return f"{size}, standing out {format_length(stock.margin_nut, units, decimals=2)} before the nut"


def _from_above(planned: Plan) -> Element:
    clamping = planned.clamping
    words = ("Seen from above. Hatched: clamps. Grey: what the last cutter takes away around the board. Dotted: how "
             "far the finishing cutter reaches. Triangles: tabs that hold the board.")
    picture = board_from_above(clamping, paths=planned.paths, tabs=tabs_of(clamping))
    return _chapter("board", "The board on the machine", _figure(picture, words, wide=True))


def _cautions(clamping: Clamping) -> Element:
    return _chapter("cautions", "Before anything else", e("ul", (e("li", c) for c in _common_cautions(clamping))),
                    class_="cautions")


def _common_cautions(clamping: Clamping) -> list[str]:
    """What every step says."""
    each = [cautions(clamping, step) for step in clamping.steps]
    return [line for line in each[0] if all(line in lines for lines in each)]


def _to_have_ready(clamping: Clamping, report: dict[str, Any], checked: Verification) -> Element:
    used: dict[str, list[int]] = {}
    cutters = {step.cutter.name: step.cutter for step in clamping.steps}
    for step in clamping.steps:
        used.setdefault(step.cutter.name, []).append(step.order)
    rows = [[cutter_words(cutter, clamping.units), _orders(used[name])] for name, cutter in cutters.items()]
    fills = fill_rows(clamping, checked)
    return _chapter(
        "ready", "To have ready",
        _table(["Cutter", "Programs"], rows),
        e("h3", "Fill") if fills else None,
        _table(["Colour", "For", "Pockets hold", "Standing proud, in all"],
               [[e("span", _swatch(colour), colour), name, f"{pocket / 1000:.2f} ml", f"{fill / 1000:.2f} ml"]
                for colour, name, pocket, fill in fills]) if fills else None,
        e("p", "Mix a little more than that: some stays in the cup and on the brush. The mix ratio is on its maker's "
               "sheet.") if fills else None,
    )


def fill_rows(clamping: Clamping, checked: Verification) -> list[tuple[str, str, float, float]]:
    """(colour, inlay, pocket volume, fill volume) of every colour that is poured, mm3, from the simulation."""
    return [
        (colour, clamping.inlays[pocket.inlay].name, *pocket.by_colour[colour])
        for pocket in checked.pockets if clamping.inlays[pocket.inlay].fill == "resin"
        for colour in pocket.by_colour
    ]


def _swatch(colour: str) -> Element:
    return e("span", class_="swatch", style=f"background:{colour}")


def _first_check(clamping: Clamping, programs: Sequence[Program]) -> Element:
    lowest = min(float(p.toolpath.points[:, 2].min()) for p in programs)
    units = clamping.units
    rows = [[str(p.order), *display_range(clamping, p)] for p in programs]
    return _chapter(
        "by-hand", "Check by hand before the first cut",
        e("ol", (e("li", line) for line in check_by_hand(clamping, lowest)), class_="tick"),
        e("div", _table(["", f"First cut at X, Y ({units})", "X from, to", "Y from, to", "Lowest Z"], rows),
          class_="scroll", tabindex="0", role="region", aria_label="What the display should show"),
    )


def display_range(clamping: Clamping, program: Program) -> list[str]:
    """What the machine's display shows in a program, in words: first cut, X, Y, lowest Z, in the job's units."""
    path = program.toolpath
    points = clamping.to_machine(path.points)
    cuts = points[path.kinds != 0]
    low, high = points.min(axis=0), points.max(axis=0)

    def show(value: float) -> str:
        return format_length(float(value), clamping.units, decimals=2).split()[0]

    return [
        f"{show(cuts[0, 0])}, {show(cuts[0, 1])}", f"{show(low[0])} to {show(high[0])}",
        f"{show(low[1])} to {show(high[1])}", show(low[2]),
    ]


def _programs(clamping: Clamping, programs: Sequence[Program]) -> Element:
    contents = e("ol", (
        e("li", e("a", purpose(clamping, p.step), href=f"#program-{p.order}"),
          f", {p.cutter.name}, {_minutes(p.minutes)}")
        for p in programs
    ), class_="contents")
    return _chapter("programs", "The programs, in order", contents, *(_program(clamping, p) for p in programs))


def _program(clamping: Clamping, program: Program) -> Element:
    step, units = program.step, clamping.units
    common = _common_cautions(clamping)
    own = [line for line in cautions(clamping, step) if line not in common]
    words = purpose(clamping, step)
    after = afterwards(clamping, step)
    return e(
        "article",
        e("h3", e("span", str(step.order), class_="order"), f"{words[:1].upper()}{words[1:]}"),
        e("p", e("code", program.file_name), class_="file"),
        e("h4", "Before you start"),
        e("ol", (e("li", line) for line in before_start(clamping, step)), class_="tick"),
        e("ul", (e("li", line) for line in own), class_="own") if own else None,
        _facts([
            ("Cutter", f"{step.cutter.name}: {step.cutter.shape}, {format_length(step.cutter.diameter, units)}"),
            ("Speed", f"{step.cutter.speed:.0f} rpm"),
            ("Feed", f"{_feed(step.cutter.feed, units)}, plunging {_feed(step.cutter.plunge, units)}"),
            ("Depth", _depth(clamping, program)),
            ("Time", f"{_minutes(program.minutes)}: {_minutes(program.times.cutting)} cutting, "
                     f"{_minutes(program.times.rapid)} in rapids"),
            ("Length", f"{program.toolpath.cut_length / 1000:.1f} m of cutting"),
        ]),
        _figure(_path(clamping, program), "Lines: cutting. Dots: rapids. Ring: the first cut."),
        e("div", e("h4", "When it has ended"), (e("p", line) for line in after), class_="stop") if after else None,
        id=f"program-{step.order}",
    )


def _path(clamping: Clamping, program: Program) -> Element:
    return path_picture(f"Path of program {program.order}, {program.file_name}", program.toolpath, clamping)


def _depth(clamping: Clamping, program: Program) -> str:
    step, units = program.step, clamping.units
    z = format_length(float(program.toolpath.points[:, 2].min()) - clamping.z_zero, units, decimals=2)
    depths = {
        POCKET: clamping.inlays[step.inlay].depth if step.inlay is not None else None,
        SLOTS: clamping.slots.depth if clamping.slots else None,
        NUT_SLOT: clamping.nut_slot.depth if clamping.nut_slot else None,
    }
    depth = depths.get(step.operation)
    below = f"{format_length(depth, units)} below the surface, " if depth is not None else ""
    return f"{below}lowest Z {z}"


def _sections(clamping: Clamping) -> Element:
    words = (f"Seen from the board's end. Widths are true to each other; heights are drawn "
             f"{RISE:g} times as high. Dashed: the raw blank, and fill standing proud before it is cut. Dotted: the "
             "bottom of the fret slots.")
    figures = []
    for section in sections_of(clamping):
        at = format_length(section.x, clamping.units, decimals=1)
        left = format_length(least_under(clamping, section), clamping.units, decimals=2)
        figures.append(_figure(section_picture(clamping, section),
                               f"At {section.name}, X {at}: least wood under pockets {left}."
                               if section.name.startswith("inlay") else f"At {section.name}, X {at}."))
    return _chapter("sections", "Across the board", e("p", words), e("div", figures, class_="pair"))


def _ridges(clamping: Clamping, checked: Verification, report: dict[str, Any]) -> Element | None:
    surface, ridges = report["surface"], checked.ridges
    if surface is None or ridges is None:
        return None
    x, y = ridges.highest_at
    units = clamping.units
    place = f"X {format_length(x, units, decimals=1)}, Y {format_length(y, units, decimals=1)}"
    words = (
        f"{surface['passes']} passes, {format_length(surface['stepover'], units)} apart. In the simulation the highest "
        f"ridge between them stands {ridges.highest * 1000:.1f} µm (thousandths of a millimetre) at {place}, marked "
        f"with a cross; {surface['scallop_limit'] * 1000:.4g} µm is allowed. They run along the board and are sanded "
        "away."
    )
    return _chapter("ridges", "Ridges left by the finishing passes", e("p", words),
                    _figure(ridge_picture(clamping, ridges), "Darker: higher ridges.", wide=True))


def _frets(clamping: Clamping, report: dict[str, Any]) -> Element:
    rows = [
        [str(f["fret"]), *(format_length(f["distance"], u).split()[0] for u in ("mm", "in")),
         *(", ".join(format_length(v, clamping.units).split()[0] for v in f[side]) for side in ("bass", "treble"))]
        for f in report["frets"]
    ]
    head = ["Fret", "From nut, mm", "From nut, in", f"Bass edge X, Y ({clamping.units})",
            f"Treble edge X, Y ({clamping.units})"]
    return _chapter("frets", "Frets", e("div", _table(head, rows, numbers=True), class_="scroll", tabindex="0",
                                        role="region", aria_label="Fret table"))


def _findings(report: dict[str, Any]) -> Element:
    words = {"forbid": "Do not cut", "warn": "Warning", "note": "Note"}
    findings = report["checks"]["findings"]
    items = [
        e("li", e("b", f"{words[f['severity']]}: {f['where']}: "), f"{f['got']}. ",
          f"Allowed: {f['allowed']}. " if f["allowed"] else None, f["remedy"], class_=f["severity"])
        for f in findings
    ]
    left_out = [e("li", f"Left out of the drawing: {words}") for words in report["left_out"]]
    none = e("p", "Nothing: no fault was found in the programs.") if not items + left_out else None
    return _chapter("findings", "What verification found", none, e("ul", items, left_out) if items + left_out else None)


def _chapter(name: str, heading: str, *content: Child, class_: str | None = None) -> Element:
    return e("section", e("h2", heading, id=f"{name}-heading"), content, id=name, class_=class_,
             aria_labelledby=f"{name}-heading")


def _figure(picture: Element, caption: str, *, wide: bool = False) -> Element:
    holder = e("div", picture, class_="scroll" if wide else None, tabindex="0" if wide else None,
               role="region" if wide else None, aria_label=caption if wide else None)
    return e("figure", holder, e("figcaption", caption), class_="wide" if wide else None)


def _facts(pairs: Sequence[tuple[str, Child]]) -> Element:
    return e("dl", ((e("dt", name), e("dd", words)) for name, words in pairs))


def _table(head: Sequence[str], rows: Sequence[Sequence[Child]], *, numbers: bool = False) -> Element:
    return e(
        "table", e("thead", e("tr", (e("th", word, scope="col") for word in head))),
        e("tbody", (e("tr", (e("td", cell) for cell in row)) for row in rows)), class_="numbers" if numbers else None,
    )


def _orders(orders: Sequence[int]) -> Iterator[Child]:
    for place, order in enumerate(orders):
        yield ", " if place else None
        yield e("a", str(order), href=f"#program-{order}")


def _minutes(minutes: float) -> str:
    return f"{minutes:.0f} min" if minutes >= 10 else f"{minutes:.1f} min" if minutes >= 1 else f"{minutes * 60:.0f} s"


def _feed(feed: float, units: str) -> str:
    return f"{format_length(feed, units, decimals=1 if units == 'in' else 0)}/min"
