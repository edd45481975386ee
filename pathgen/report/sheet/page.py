"""The setup sheet: one page, whole in itself, that a maker can stand at the machine with."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from shapely.geometry.base import BaseGeometry

from pathgen.base.hollow import Hollow
from pathgen.base.lowered import Lowered
from pathgen.base.markup import Child, Element, as_page, element
from pathgen.base.units import coarse_length, fine_length
from pathgen.programs.paths import tabs_of
from pathgen.programs.plan import Plan
from pathgen.programs.zero_words import zero_words
from pathgen.report.flat_text import form_lines, own_sheet_lines
from pathgen.report.pictures.above import board_from_above, closed_words, shows_zero
from pathgen.report.pictures.ridges import ridge_picture
from pathgen.report.pictures.sections import section_picture, sections_of
from pathgen.report.placed import placed_words
from pathgen.report.programs import Program
from pathgen.report.sheet.material import if_it_moves, to_have_ready, what_can_be_off
from pathgen.report.sheet.parts import chapter, facts, figure, machine_time
from pathgen.report.sheet.programs import air_cut, common_cautions, in_order, program_path
from pathgen.report.sheet.results import both_sides, findings, of_the_part, ridges, sections, warnings
from pathgen.report.sheet.seen import after_programs, finished, inlays_from_near
from pathgen.report.sheet.style import STYLE
from pathgen.report.text import before_next, go_on_lines, minutes_words, not_cut_lines, verdict
from pathgen.report.wood_left import thin_wood_words
from pathgen.report.wording import each_said
from pathgen.verify import Verification
from pathgen.work.clamping import Clamping
from pathgen.work.operations import DowelHoles, Outline, SideDots, WitnessMarks

e = element


def setup_sheet(
    planned: Plan, programs: Sequence[Program], checked: Verification, report: dict[str, Any], *, shaded: bool
) -> str:
    """The page as HTML: nothing in it is fetched from elsewhere, and all text is escaped. Without `shaded` the pictures
    of the wood itself are left out. `report` is what `pathgen.report.data.report_data` gives for the same build."""
    clamping = planned.clamping
    content = e(
        "main",
        _head(clamping, report),
        finished(planned, checked, report, board_words(clamping)) if shaded else None,
        _from_above(planned, report),
        chapter("cautions", "Before anything else", e("ul", (e("li", c) for c in common_cautions(clamping))),
                class_="cautions"),
        warnings(report),
        both_sides(clamping, report),
        *([] if all(map(clamping.done, clamping.steps)) else [to_have_ready(clamping, programs, report),
                                                              air_cut(clamping, programs)]),
        in_order(clamping, programs, after_programs(planned, programs, checked) if shaded else {}),
        inlays_from_near(planned, checked, report) if shaded else None,
        sections(planned, checked),
        ridges(clamping, checked, report),
        what_can_be_off(report, clamping.units),
        if_it_moves(clamping, report),
        findings(report),
        of_the_part(report),
        footer(report))
    return as_page(f"{clamping.title}: setup sheet", content, style=STYLE)


def footer(report: dict[str, Any]) -> Element:
    """By which a sheet and its programs are known to belong together."""
    return e("footer", f"Job fingerprint {report['job_fingerprint']}: the programs of this sheet state the same.")


def pictures(planned: Plan, programs: Sequence[Program], checked: Verification) -> dict[str, Element]:
    """The pictures of the page by name, for those who want them as files."""
    clamping = planned.clamping
    found = {"board": board_from_above(clamping, opened=planned.opened, paths=planned.paths, tabs=tabs_of(clamping))}
    for number, section in enumerate(sections_of(clamping), 1):
        found[f"section-{number}"] = section_picture(clamping, section)
    if checked.ridges is not None and clamping.surfacing is not None:
        found["ridges"] = ridge_picture(clamping, checked.ridges)
    for program in programs:
        found[program.file_name.removesuffix(".nc")] = program_path(clamping, program)
    return found


def page_head(report: dict[str, Any], pairs: Sequence[tuple[str, Child]], more: Sequence[str] = ()) -> Element:
    """What a sheet begins with: its title, the verdict, where to go on, the main facts, what `more` is to be known."""
    return e("header", e("p", "Setup sheet", class_="kicker"), e("h1", report["title"]), *verdict_words(report),
             *(e("p", e("b", line)) for line in go_on_lines(report)), facts(pairs), *(e("p", line) for line in more))


def _head(clamping: Clamping, report: dict[str, Any]) -> Element:
    return page_head(report, [
        ("Programs", f"{len(clamping.steps)}, in one clamping" + (
            f"; {len(clamping.under.steps)} for the back {'are done' if clamping.begun else 'come before'}"
            if clamping.under else "")),
        ("Machine time", machine_time(report, _hours)),
        (clamping.board.names.part.capitalize(), board_words(clamping)),
        ("Share of the blank" if clamping.shared else "Blank", _blank_words(clamping)),
        *([] if clamping.turned_over else [("Zero", zero_words(clamping))]),
    ], [*not_cut_lines(report), *form_lines(report, clamping.units),
        *([] if report.get("holes") else own_sheet_lines(report.get("form"), clamping.units))])


def _hours(minutes: float) -> str:
    hours, rest = divmod(round(minutes), 60)
    return f"about {hours} h {rest:02d} min" if hours else minutes_words(minutes)


def verdict_words(report: dict[str, Any]) -> list[Element]:
    """Whether to cut, and how much was found."""
    found = report["checks"]["findings"]
    kind, words = verdict(report["checks"], report["job_units"])
    graves = [f for f in found if f["severity"] != "note"]
    notes = [f for f in found if f["severity"] == "note"]
    return [e("p", words,
              [" ", e("a", _counted(graves), href="#warnings"), f" to read {before_next(report)}."]
              if graves else None,
              [" ", e("a", _counted(notes), href="#findings"), " at the end."] if notes else None,
              class_=f"verdict {kind}")]


def _counted(found: Sequence[dict[str, Any]]) -> str:
    """Findings, counted by how grave they are: ``2 warnings, 1 note``."""
    words = {"forbid": "fault", "warn": "warning", "note": "note"}
    counts = {word: sum(f["severity"] == severity for f in found) for severity, word in words.items()}
    return ", ".join(f"{count} {word}{'s' if count > 1 else ''}" for word, count in counts.items() if count)


def board_words(clamping: Clamping) -> str:
    """Length, what it holds, thickness and radius of the board; both thicknesses where the second cut goes deeper."""
    board, units = clamping.board, clamping.units
    surface = board.surface
    radius = "flat" if surface.is_flat else fine_length(surface.radius_nut, units) + " radius"
    if surface.taper:
        radius = f"{fine_length(surface.radius_nut, units)} radius at the {board.names.near}, " \
                 f"{fine_length(surface.radius_end, units)} at the {board.names.far}"
    holds = f"{board.names.holds}, " if board.names.holds else ""
    thick = "thick under the hollow" if isinstance(surface, Hollow) else board.names.thick
    left = clamping.finished_surface.thickness
    if left < surface.thickness:
        thick += f" as first cut, {fine_length(left, units)} when finished"
    if isinstance(surface, Lowered):
        radius += f", relief {fine_length(surface.relief.depth, units)} deep" if surface.relief else ""
        radius += f", falling away {fine_length(surface.fall_away.drop, units)}" if surface.fall_away else ""
    length = board.length if board.names.extent is None else board.names.extent
    behind, on_centre = board.names.behind, board.names.on_centre
    behind_words = f" ({fine_length(behind, units)} of it behind {board.names.start})" if behind > 0.005 else ""
    centre_words = f" over all, {fine_length(on_centre, units)} on the centre-line" if on_centre else ""
    return (f"{fine_length(length, units)} {board.names.long}{centre_words}{behind_words}, {holds}"
            f"{fine_length(surface.thickness, units)} {thick}, {radius}")


def _blank_words(clamping: Clamping) -> str:
    stock, units = clamping.stock, clamping.units
    size = " by ".join(fine_length(v, units) for v in (stock.length, stock.width, stock.thickness))
    out, start = clamping.board.start - stock.bounds[0], clamping.board.names.start
    if out > 0:
        return f"{size}, standing out {fine_length(out, units)} before {start}"
    return f"{size}, from {start} on" if stock.length > clamping.board.length + 1e-6 else size


def _from_above(planned: Plan, report: dict[str, Any]) -> Element:
    clamping = planned.clamping
    with planned.around.remembering():
        picture = board_from_above(clamping, opened=planned.opened, paths=planned.paths, tabs=tabs_of(clamping))
        legend = legend_above(clamping, planned.opened)
    heading = f"The {clamping.board.names.part} on the machine"
    return chapter("board", heading, figure(picture, legend, wide=True),
                   *(e("p", line) for line in size_lines(report, clamping.units)))


def size_lines(report: dict[str, Any], units: str) -> list[str]:
    """How large each drawing became; those that became the same in one line."""
    said = ((inlay["name"], placed_words(inlay["placed"], units)) for inlay in report["inlays"])
    return each_said((name, f"{words}.") for name, words in said if words)


def legend_above(clamping: Clamping, opened: Sequence[BaseGeometry]) -> str:
    """What stands in the picture from above, what is `opened` of each inlay, and what is not known of clamps."""
    high = coarse_length(clamping.safe_z, clamping.units)
    outline = clamping.feature(Outline) if clamping.cutter(Outline) else None
    return " ".join(filter(None, [
        "Seen from above." if clamping.moved is None else
        "Seen from above, as it lies now that it has moved: clamps and the target stand where they stood.",
        "Hatched: clamps." if clamping.setup.keep_out else
        "" if clamping.setup.no_clamps else
        f"No clamps given: rapids across the work pass {high} above the bed; keep clamps lower than that and clear of "
        "every cut.",
        "Long dashes: the edge of the blank.",
        "Grey: what the outline cutter takes away." if clamping.cutter(Outline) else "",
        "Dotted: how far the finishing cutter reaches." if clamping.surfacing else "",
        "Triangles: tabs that hold the part." if outline and outline.tabs else "",
        "Crosses in rings: witness marks, small holes by which work that moved is found again, each with its name."
        if clamping.feature(WitnessMarks) else "",
        closed_words(clamping, opened),
        thin_wood_words(clamping, opened),
        "Black discs: holes." if clamping.feature(DowelHoles) or clamping.feature(SideDots) else "",
        "Numbers in holes: those of the table of holes." if clamping.board.rows(clamping).get("holes") else "",
        "Black discs: dowels. Dashed in the part: the channel under it." if clamping.under else "",
        "The target: X 0, Y 0. The arrows: the machine's axes." if shows_zero(clamping) else
        "X 0, Y 0 lies off this part's share of the blank: the sheet of the whole blank shows it.",
    ]))
