"""The fills in words: amounts, stages, the second cut, contrast, where zero comes from, work that moved."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pathgen.base.contrast import AT_A_GLANCE, JUST_SEEN, LEAST_CONTRAST
from pathgen.base.plain import joined
from pathgen.base.units import (
    MM_PER,
    area_words,
    axes_words,
    coarse_length,
    fine_length,
    format_length,
    place_words,
    tiny_length,
    volume_words,
)
from pathgen.programs.instructions import home_words
from pathgen.report.letting_in import piece_line, stock_words
from pathgen.report.moving import moved_lines, seen_lines
from pathgen.report.programs import number_in
from pathgen.report.wording import table
from pathgen.work.mark_errors import zero_again


def fill_words(inlays: Sequence[dict[str, Any]]) -> str:
    """How liquid resin behaves, and how high it must stand; of the inlays as report.json has them."""
    runs = "runs off a curved board" if any(inlay["surface_fall"] for inlay in inlays) else "runs out over a flat face"
    dams = any(is_dammed(inlay) for inlay in inlays)
    how = ["dam round each colour with tape, wax or clay, or thicken the resin"] * dams
    how += [f"of {inlay['name']} {thicken_words(inlay)}" for inlay in inlays if inlay["thickened"]]
    return (
        f"Liquid resin levels itself and {runs}: {'; '.join(how)}. It must stand above the surface at the pocket's "
        "highest place, and nowhere higher than the job's overfill: measure the cured fill, and if it is higher, set "
        f"overfill to it and build again.{' Take the dam off last, before the second cut.' * dams}"
    )


def is_dammed(inlay: dict[str, Any]) -> bool:
    """Whether a dam is built round any colour of an inlay, as report.json has it."""
    return bool(inlay["amounts"]) and len(inlay["thickened"]) < len(inlay["colours"])


def thicken_words(inlay: dict[str, Any]) -> str:
    """Whose resin must be thickened, and why; "" where none need be."""
    thick = inlay["thickened"]
    whose, they = (f" of {joined(thick)}", "they") if len(thick) < len(inlay["colours"]) else ("", "its colours")
    return thick and f"thicken the resin{whose}: {they} lie too near each other for a dam round each"


def fill_parts(report: dict[str, Any], units: str) -> list[tuple[str, list[str]]]:
    """Everything of a report that has to do with fills and the second cut, by heads; no lines for a job without any."""
    poured = any(inlay["amounts"] for inlay in report["inlays"])
    return [
        ("The fill" if poured else "The pieces", _amount_lines(report["inlays"], units)),
        ("Colours that touch", _touch_lines(report["inlays"], units)),
        ("The second cut", _second_cut_lines(report, units)),
        ("Colours before cutting", _contrast_lines(report["contrast"])),
        ("Where zero comes from", _reference_lines(report, units)),
        ("Work that moved", moved_lines(report["moved"], units)),
    ]


def _amount_lines(inlays: Sequence[dict[str, Any]], units: str) -> list[str]:
    rows, lines = [], []
    for inlay in inlays:
        if inlay["batch"]:
            rows.append([str(inlay["stage"]), ONE_BATCH, "", "", "", "", "",
                         volume_words(inlay["batch"]["needed_volume"]), *batch_cells(inlay["batch"])])
        for one in inlay["amounts"]:
            volumes = (volume_words(one[f"{what}_volume"]) for what in ("pocket", "overfill", "waste", "needed"))
            area = f"{one['area'] / 100:.1f} cm2" if units == "mm" else area_words(one["area"], units, decimals=0)
            rows.append([str(inlay["stage"]), one["colour"], area, _span(one["depth"], units),
                         *volumes, *batch_cells(one)])
        if inlay.get("piece"):
            lines.append(piece_line(inlay, units))
        elif inlay["piece_thickness"] is not None:
            lines.append(f"{inlay['name']}: pieces {stock_words(inlay, units)}, glued in.")
    if rows:
        head = ["inlay", "colour", "area", "depth", "pocket", "above", "lost", "needed", "mix", "weighs", "parts"]
        lines = table(head, rows, right=(0, *range(2, 10))) + lines
        poured = [(inlay["amounts"], inlay["batch"], inlay["coat"]) for inlay in inlays if inlay["amounts"]]
        lines += [batch_words(inlays), to_buy(poured),
                  *([ONE_BATCH_WORDS] if any(inlay["batch"] for inlay in inlays) else []),
                  fill_words(inlays), "Wait for full cure, by the resin maker's sheet, before the second cut."]
    return lines



def stages_head(name: str) -> str:
    """What stands over the stages of an inlay, which advice to write them names."""
    return f"stages of {name} in which no colours touch"



ONE_BATCH = "all in one batch"
"""What the row of one batch for all colours of a pour is called."""

ABOVE_DAMMED = "level resin inside the dam (a rim of tape, wax or clay round each colour)"
ABOVE_THICK = "thickened resin as high as overfill on its pockets and a little round them"


def above_words(inlays: Sequence[dict[str, Any]]) -> str:
    """What is counted above the surface."""
    thick = any(inlay["thickened"] for inlay in inlays)
    return " and ".join([ABOVE_DAMMED] * any(is_dammed(inlay) for inlay in inlays) + [ABOVE_THICK] * thick)


def mix_words(inlays: Sequence[dict[str, Any]]) -> str:
    """How what can be mixed was found: in what ratio only where the job gives one."""
    ratio = any(one["parts"] for inlay in inlays for one in inlay["amounts"])
    return "what can be measured, no less than what is needed" + (
        ", in parts that keep the ratio of the resin's sheet within 2 %" if ratio else "")


def batch_words(inlays: Sequence[dict[str, Any]]) -> str:
    """What the columns of the table of the fill hold."""
    return f"Above: {above_words(inlays)}. Lost: what stays in the cup and on the stick. Mix: {mix_words(inlays)}. " \
           "What is left in the cup cures there: do not mix less."


ONE_BATCH_WORDS = (
    f"Mix one batch for all colours of a pour, the row \"{ONE_BATCH}\", and share it out by the column of what is "
    "needed before it is tinted; or mix each by itself, as its own row says: more of it is left over."
)


def batch_cells(one: dict[str, Any]) -> tuple[str, str, str]:
    """Of a batch: what to mix, its weight, its parts in whole measures."""
    digits = next(d for d in range(10) if round(one["measure"], d) == one["measure"] or d == 9)
    parts = ", ".join(f"{name} {part:.{digits}f} {one['parts_unit']}" for name, part in one["parts"].items())
    if one["pours"] > 1:
        parts = f"{one['pours']} pours, each mixed by itself" + (f": {parts}" if parts else "")
    mass = "" if one["mass"] is None else f"{one['mass']:.2f} g"
    return volume_words(one["total_volume"]), mass, parts


def to_buy(fills: Sequence[tuple[Sequence[dict[str, Any]], dict[str, Any] | None, dict[str, Any]]]) -> str:
    """How much resin some fills take in all, first coats and what is lost counted in: of each its colours, the one
    batch of them all if there is one, and its first coat, as report.json has them."""
    mixed = [batch or own[0] for own, batch, _ in fills]
    coats = [coat for *_, coat in fills]
    total = sum(one["total_volume"] for one in (*mixed, *coats))
    apart = sum(one["total_volume"] for own, _, coat in fills for one in (*own, coat))
    parts: dict[tuple[str, str], float] = {}
    for one in (*mixed, *coats):
        for name, part in one["parts"].items():
            parts[name, one["parts_unit"]] = parts.get((name, one["parts_unit"]), 0.0) + part * one["pours"]
    measures = ", ".join(f"{name} {part:.10g} {unit}" for (name, unit), part in parts.items())
    colours = list(dict.fromkeys(one["colour"] for own, *_ in fills for one in own))
    whose = joined(colours) if len(colours) <= _TOLD else f"{len(colours)} colours"
    return (f"Resin to buy, in all fills with what is lost: {volume_words(total)} mixed"
            + f" ({measures})" * bool(measures)
            + f"; {volume_words(apart)} if each colour is mixed by itself" * (apart > total)
            + f". {volume_words(sum(one['total_volume'] for one in coats))} of it is clear, for the thin first coats, "
            f"as little as can be mixed for each. The rest is tinted: have tints for {whose}.")


_TOLD = 6
"""Colours that are told by name."""


def measured_with(batches: Sequence[dict[str, Any]]) -> list[str]:
    """What the parts of some batches are measured with."""
    found = []
    for one in batches:
        fine = f"{one['measure']:g} {one['parts_unit']}"
        found.append("scales or measures, as the resin's sheet mixes" if not one["parts"] else
                     f"scales that show {fine}" if one["parts_unit"] == "g" else
                     f"measuring cups or syringes that show {fine}")
    return list(dict.fromkeys(found))


def _touch_lines(inlays: Sequence[dict[str, Any]], units: str) -> list[str]:
    lines = []
    for inlay in inlays:
        for touch in inlay["touching"]:
            places = "; ".join(place_words(x, y, units) for x, y in touch["places"])
            more = touch["stretches"] - len(touch["places"])
            lines.append(
                f"{inlay['name']}: {' and '.join(touch['colours'])} share {coarse_length(touch['length'], units)} of "
                f"edge, at {places}{f' and {more} more' if more else ''}.")
        if inlay["touching"]:
            lines += [f"{stages_head(inlay['name'])}:".capitalize(), *(f"  stage {n}: {', '.join(stage)}"
                                      for n, stage in enumerate(inlay["proposed_stages"], 1))]
    return lines


def _second_cut_lines(report: dict[str, Any], units: str) -> list[str]:
    lines: list[str] = []
    part = report["part"]
    for inlay in report["inlays"]:
        cut = inlay["second_cut"]
        if cut is None:
            continue
        # how much pieces stand proud is theirs to say: the simulation lets them stand as high as it may be
        filled, what = (f"{volume_words(cut['fill_volume'])} of fill", "inlay") if inlay["piece_thickness"] is None \
            else ("what stands of the pieces", "the pieces")
        wood = f"{f'{volume_words(volume)} of' if (volume := cut['wood_volume']) >= 5.0 else 'no'} wood of the {part}"
        ran = f", where program {cut['first_program']} was run as it is here," if cut["repeats_first_pass"] else ""
        lines.append(
            f"{inlay['name']}, program {cut['program']}: {_where_cut(cut, part, units, dams=is_dammed(inlay))}; "
            f"{_how_cut(cut, units)}. It "
            f"takes {filled} and{ran} {wood}; {_span(cut['depth_left'], units)} of {what} remain.")
    errors = report["shift_errors"]
    if lines and errors:
        shift = format_length(errors["shift"], units)
        rows = [[row["direction"], *(tiny_length(row[side], units, signed=True) for side in ("low", "high"))]
                for row in errors["rows"]]
        lines += ["", f"If the work lies {shift} off, the surface at the edge of the {part} comes out wrong by:"]
        lines += table(["moved", "lowest", "highest"], rows, right=(1, 2))
    return lines


def _where_cut(cut: dict[str, Any], part: str, units: str, *, dams: bool = True) -> str:
    if cut["area"] == "board":
        return f"over the whole {part}"
    return f"over the inlay, {format_length(cut['blend'], units)} round it{' and all inside its dam' * dams}"


def _how_cut(cut: dict[str, Any], units: str) -> str:
    if cut["repeats_first_pass"]:
        return f"its last pass is that of program {cut['first_program']} again, coordinate for coordinate"
    if cut["leave"]:
        return f"from {format_length(cut['leave'], units)} proud to the final height, fresh all over"
    if cut["skim"]:
        return f"{format_length(cut['skim'], units)} below the first surface"
    return "its last pass follows the first finishing pass"


def _contrast_lines(rows: Sequence[dict[str, Any]]) -> list[str]:
    if not rows:
        return []
    cells = [[r["colour"], r["against"], f"{r['ratio']:.2f}:1", f"{r['difference']:.1f}"] for r in rows]
    return [
        *table(["fill", "against", "contrast", "difference"], cells, right=(2, 3)),
        f"Contrast is of lightness alone: from {LEAST_CONTRAST:g}:1 any eye tells them apart (WCAG 2.2, 1.4.11). "
        f"Difference is of the whole colour (CIEDE2000): {JUST_SEEN:g} can just be seen, {AT_A_GLANCE:g} at a glance.",
    ]


def _reference_lines(report: dict[str, Any], units: str) -> list[str]:
    if not report["marks"] and all(inlay["fill"] == "none" for inlay in report["inlays"]):
        return []
    rows: list[list[str]] = []
    for r in report["references"]:
        number = number_in(r)
        row = ["; ".join(r["z"]) or "nothing", "; ".join(r["xy"]) or "nothing", "; ".join(r["gone"])]
        if rows and rows[-1][1:] == row:
            rows[-1][0] = f"{rows[-1][0].split(' ')[0]} to {number}"
        else:
            rows.append([str(number), *row])
    lines = ["Every program has the same zero: do not set X and Y again.", ""]
    lines += table(["program", "Z can be set from", "X and Y can be found again from", "gone"], rows) if rows else []
    if any("setter" in row[1] for row in rows):
        lines.append("A setter is a block of known height that stands on the bed.")
    lines += dict.fromkeys(r["turned"] for r in report["references"] if "turned" in r)
    lines += home_words(sorted({axis for r in report["references"] for axis in r["lost"]}))
    if report["marks"]:
        marks = report["marks"]
        board = "; ".join(f"mark {n} at {place_words(x, y, units)}" for n, (x, y) in enumerate(marks["places"], 1))
        lines += ["", f"Witness marks (small holes to find the work again by), measured on the work: {board}.",
                  *display_lines(marks, units), *seen_lines(marks, units), "", *measuring_lines(marks, units)]
    return lines


def display_lines(marks: dict[str, Any], units: str) -> list[str]:
    """Where marks are on the machine's display, by the report's key ``marks``; of moved work, where they lie now."""
    def places(of: list[list[float]]) -> str:
        return "; ".join(f"mark {n} at {axes_words(x, y, units)}" for n, (x, y, *_) in enumerate(of, 1))

    if not marks["now"]:
        return [f"On the machine's display they are at: {places(marks['machine'])}."]
    return [f"On the machine's display they were drilled at: {places(marks['machine'])}.",
            f"Moved with the work, they now are at: {places(marks['now'])}, by all that was measured together: a "
            "little off what was found at each. If the machine forgets its zero, set the display to these: the "
            "programs go by them."]


def measuring_lines(marks: dict[str, Any], units: str) -> list[str]:
    """How to measure the marks, and the blocks for the job file, filled in with where they should be, or were found."""
    part = f"[[part]] {marks['part']}" if "part" in marks else ""
    home = f"the job of the common blank in place of these (drilled under its {part}" if part else \
        "the job in place of these (drilled into its [marks]"
    where = zero_again("bed" if marks["machine_top"] else "stock-top")
    words = ("Once they are drilled, and again if the work has moved: spindle off, a pointed cutter or a wiggler over "
             f"the middle of each mark by a loupe; read X and Y off the display. For Z set Z 0 for that cutter {where}"
             ", as for any other, then lower the tip to the blank's top beside the mark until a feeler (a strip of "
             "known thickness) just drags, and take its thickness off what Z shows. The zero of X and Y stays as it "
             "was. To a few hundredths of a millimetre: measure each mark twice, and again where the two differ by "
             f"more. Write what you read into {home}, right after drilling; the others only once the work has moved"
             f"{', of the marks of all parts' if part else ''}), and build again:")
    whose = f" of part {marks['part']}" if part else ""
    was, now = (_measured_places(marks, units, now=moved) for moved in (False, True))
    blocks = [f"# {part or '[marks]'}\n{drilled_line(marks, units)}\n",
              *(f"[[measured]]\n{f'at = {at}{chr(10)}' if part else ''}found = {place}  # mark {number}{whose}"
                for number, (at, place) in enumerate(zip(was, now, strict=True), 1))]
    return [words if units == "mm" else words.replace("a few hundredths of a millimetre", "0.002 in"),
            *"\n".join(blocks).split("\n")]


def drilled_line(marks: dict[str, Any], units: str) -> str:
    """``drilled = [[X, Y, Z], ..]`` for ``[marks]``, by the report's key ``marks``."""
    return f"drilled = [{', '.join(_measured_places(marks, units))}]"


def _measured_places(marks: dict[str, Any], units: str, *, now: bool = False) -> list[str]:
    """``[X, Y, Z]`` of each mark on the machine's display, as drilled or as found `now`, as a job file holds it."""
    per = MM_PER[units]
    tops = marks.get("z") or [marks["machine_top"]] * len(marks["machine"])  # of an older report
    places = (now and marks.get("found")) or [[*at, z] for at, z in zip(marks["machine"], tops, strict=True)]
    return [f"[{x / per:.4f}, {y / per:.4f}, {z / per:.4f}]" for x, y, z in places]


def _span(pair: Sequence[float], units: str) -> str:
    low, high = (fine_length(v, units) for v in pair)
    return high if low == high else f"{low.split()[0]} to {high}"
