"""What comes out: sections, ridges, frets, findings."""

from __future__ import annotations

from typing import Any

import shapely

from pathgen.base.markup import Element, element
from pathgen.base.plain import capital, joined
from pathgen.base.units import fine_length, format_length, in_units, place_words, tiny_length, tiny_unit_words
from pathgen.programs.plan import Plan
from pathgen.programs.turning import turning
from pathgen.report.board_text import begins_at_fret_0, frame_lines, nut_words, partial_words, stringing_parts
from pathgen.report.flat_text import hole_table, own_sheet_lines
from pathgen.report.fretting import fretting_rows, fretting_words, side_template, strips
from pathgen.report.neck import neck_pairs, side_picture
from pathgen.report.pictures.ridges import patches, ridge_picture
from pathgen.report.pictures.sections import Section, least_under, rise_words, section_picture, sections_of
from pathgen.report.sheet.parts import chapter, facts, figure, fixed, listed, scrolling, table, true_figure
from pathgen.report.text import before_next, shown_findings
from pathgen.report.wood_left import between_words
from pathgen.report.wording import left_out_words, standard_words
from pathgen.verify import Verification
from pathgen.work.clamping import Clamping
from pathgen.work.operations import Slot

e = element
_BARE = 0.02  # share of the surface without a ridge measured from which the map says why it is white there


def sections(planned: Plan, checked: Verification) -> Element | None:
    """The board cut across, at the nut, at each inlay and at the end."""
    clamping = planned.clamping
    shown, part = sections_of(clamping), clamping.board.names.part
    if not shown:
        return None
    words = (f"Seen from the {part}'s far end. Widths are true to each other; heights are "
             f"{rise_words(clamping)}. Dashed: the raw blank")
    fills = [name for fill, name in (("resin", "fill"), ("piece", "pieces"))
             if any(one.fill == fill for one in clamping.inlays)]
    they = "it is" if fills == ["fill"] else "they are"
    words += f", and {joined(fills)} standing proud before {they} cut." if fills else "."
    words += " Dotted: the bottom of the fret slots." if clamping.feature(Slot) else ""
    figures = [figure(section_picture(clamping, s), _section_words(planned, checked, s)) for s in shown]
    return chapter("sections", f"Across the {part}", e("p", words), e("div", figures, class_="pair"))


def _section_words(planned: Plan, checked: Verification, section: Section) -> str:
    clamping = planned.clamping
    at = f"At {section.name}, {fine_length(section.x, clamping.units)} along"
    if section.inlay is None:
        return f"{at}."
    left = fine_length(least_under(planned, checked, clamping.inlays[section.inlay]), clamping.units)
    return f"{at}. Under its pockets, here or elsewhere, at least {left} of wood is left."


def both_sides(clamping: Clamping, report: dict[str, Any]) -> Element | None:
    """How the blank is turned over, which it is once its marks are drilled; the wood left between both sides."""
    sides, back = report["both_sides"], clamping.under
    if sides is None or back is None:
        return None
    names, left = listed([e("code", step.file_name) for step in back.steps]), e("p", between_words(
        sides, clamping.units))
    if clamping.begun:
        return chapter("both-sides", "The back is done",
                       e("p", "Its programs, ", *names, ", were run before the blank was turned over: do not run them "
                              "again, and leave the blank as it lies."), left)
    return chapter("both-sides", "The back first",
                   e("p", "Its programs, ", *names, " and its sheet, ", e("code", "00-back-setup.html"),
                     ", come before this sheet."),
                   e("ol", (e("li", line) for line in turning(clamping)), class_="tick"), left)


def ridges(clamping: Clamping, checked: Verification, report: dict[str, Any]) -> Element | None:
    """The map of ridges, their worst place, and what was allowed."""
    surface, found = report["surface"], checked.ridges
    if surface is None or found is None or not surface["scallop_limit"]:
        return None
    units = clamping.units
    place = place_words(*found.highest_at, units)
    words = (
        f"{surface['passes']} passes, {format_length(surface['stepover'], units)} apart. In the simulation the highest "
        f"ridge between them stands {tiny_length(found.highest, units, sign='µm')}"
        f"{tiny_unit_words(units, 'µm')} at {place}, marked with a cross; "
        f"{tiny_length(surface['scallop_limit'], units, figures=4, sign='µm')} is allowed. They run along the "
        f"{clamping.board.names.part} and are sanded away."
    )
    outline = clamping.board.outline
    bare = outline.area - float(shapely.area(patches(found, outline)[0]).sum()) > _BARE * outline.area
    caption = f"Darker: higher ridges.{' White: none was measured, beside holes and slots.' if bare else ''}"
    return chapter("ridges", "Ridges left by the finishing passes", e("p", words),
                   figure(ridge_picture(clamping, found), caption, wide=True), class_="screen")


def of_the_part(report: dict[str, Any]) -> list[Element | None]:
    """What the part states of itself, a chapter for each of its tables."""
    chapters = {"frets": _frets, "holes": _holes, "side_dots": _side_dots, "fretting": _fretting_sheet,
                "stringing": _nut_and_saddle, "neck": _neck}
    return [made(report) for key, made in chapters.items() if report.get(key)]


def _frets(report: dict[str, Any]) -> Element:
    """Where every fret is, from the nut and at both edges."""
    nut, per = report["board"]["nut"], report["job_units"]
    both = ("in", "mm") if per == "in" else ("mm", "in")
    first = [] if begins_at_fret_0(report["frets"]) else [nut | {"fret": "nut", "distance": 0.0}]
    rows = [[str(f["fret"]), *(fixed(f["distance"], unit, fine=True) for unit in both),
             *(", ".join(fixed(v, per, fine=True) for v in f[side]) for side in ("bass", "treble"))]
            for f in (*first, *report["frets"])]
    head = ["Fret", *(f"From nut, {unit}" for unit in both),
            *(f"{side} edge: along, across ({per})" for side in ("Bass", "Treble"))]
    return chapter("frets", "Frets", (e("p", line) for line in frame_lines(report["board"], per)),
                   scrolling(table(head, rows), "Fret table"),
                   *(e("p", line) for line in (*partial_words(report["frets"], per), *nut_words(nut, per))))


def _holes(report: dict[str, Any]) -> Element:
    """Where the holes of a plate are, how wide and how deep."""
    units = report["job_units"]
    (hole, *words), rows = hole_table(report["holes"], units)
    head = [capital(hole), *(f"{capital(word)}, {units}" for word in words)]
    return chapter("holes", "Holes", scrolling(table(head, rows), "Holes"),
                   *(e("p", line) for line in own_sheet_lines(report.get("form"), units)))


def _fretting_sheet(report: dict[str, Any]) -> Element:
    """What each fret is cut, nipped and bent to, and the strip."""
    data, units = report["fretting"], report["job_units"]
    head, rows = fretting_rows(data, units)
    shown = strips(data, units)
    return chapter(
        "fretting", "Fretting sheet", e("p", fretting_words(data, units)),
        scrolling(table(head, rows), "Fretting sheet"),
        true_figure(shown, f"Thin: the length to cut. Thick: the tang that is left. {_PRINTED}, cut the strip out and "
                    "lay the wire on it.") if shown else None)


_PRINTED = "Print it at 100 %, on A4 or Letter, measure the bar on it"


def _side_dots(report: dict[str, Any]) -> Element | None:
    """The drilling template for the dots in the edge."""
    picture = side_template(report)
    if picture is None:
        return None
    on = ", its binding on," if report["board"]["binding"] else ","
    return chapter("side-dots", "Side dots", true_figure(
        [picture], f"{_PRINTED}, cut the rows out and stick them to the board's bass edge{on} each row's left end "
        "at the distance written under it. Prick the crosses; drill with the board standing held on its edge."))


def _nut_and_saddle(report: dict[str, Any]) -> Element:
    """Places of the strings, depths of their slots, cents."""
    words, tables, how = stringing_parts(report["stringing"], report["job_units"])
    return chapter("stringing", "Nut and saddle", *(e("p", line) for line in words),
                   *(scrolling(table(*one), "Nut and saddle") for one in tables), e("p", how) if how else None)


def _neck(report: dict[str, Any]) -> Element:
    """The neck against the body, and how it looks from the side."""
    data, units = report["neck"], report["job_units"]
    pairs = [(name.capitalize(), value) for name, value in neck_pairs(data, units)]
    return chapter("neck", "Neck against the body", facts(pairs), figure(
        side_picture(data, units), "From the side, in true proportion: board, string, the body's surface and the "
        "saddle.", wide=True))


def warnings(report: dict[str, Any]) -> Element | None:
    """What forbids cutting, and warnings: to be read before the first program that is to be run."""
    items = _items(report, "forbid", "warn")
    return chapter("warnings", f"Read {before_next(report)}", e("ul", items), class_="cautions") if items else None


def findings(report: dict[str, Any]) -> Element:
    """What else verification and the plan found, and what the drawings hold that is not cut."""
    items = _items(report, "note")
    items += [e("li", f"Left out of the drawing: {in_units(what, report['job_units'])}")
              for what in left_out_words(report["left_out"])]
    above = e("p", "Its warnings stand before the programs, under ", e("a", f"Read {before_next(report)}",
              href="#warnings"), ".") if _items(report, "forbid", "warn") else None
    none = None if above is not None else e("p", "Nothing: no fault was found in the programs.")
    return chapter("findings", "What verification found", above, e("ul", items) if items else none)


def _items(report: dict[str, Any], *severities: str) -> list[Element]:
    """The findings so grave, the grave first."""
    words = {"forbid": "Do not cut", "warn": "Warning", "note": "Note"}
    return [e("li", e("b", f"{words[f['severity']]}: {f['where']}: "), f"{f['got']}. ",
              f"{capital(standard_words(f['severity'], f['allowed']))}. " if f["allowed"] else None,
              f"{capital(f['remedy'])}.",
              class_=f["severity"])
            for f in shown_findings(report["checks"], report["job_units"]) if f["severity"] in severities]
