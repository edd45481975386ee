"""What flat parts state of themselves in words: their holes; which template or half of a form it is, its layers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from pathgen.base.units import coarse_length, even_length, format_length
from pathgen.report.board_text import length_number
from pathgen.report.wording import table


def hole_table(holes: Sequence[dict[str, Any]], units: str) -> tuple[list[str], list[list[str]]]:
    """Head, and a row for each hole, in the job's units, its counterbore after it; a round one has no length, one that
    goes through no depth. X and Y of the machine's display are given where these are not along and across."""
    shown = ["at", "display"] if any(hole["display"] != hole["at"] for hole in holes) else ["at"]
    places = ("along", "across", "X", "Y")[: 2 * len(shown)]
    rows = [(hole, any(hole["number"] == one["number"] for one in holes[:k])) for k, hole in enumerate(holes)]
    return ["hole", *places, "wide", "long", "deep"], [
        [f"{hole['number']}{', counterbore' * sunk}", *(length_number(v, units) for key in shown for v in hole[key]),
         length_number(hole["diameter"], units),
         length_number(hole["length"], units) if hole["length"] > hole["diameter"] else "round",
         "through" if hole["depth"] is None else length_number(hole["depth"], units)]
        for hole, sunk in sorted(rows, key=lambda row: row[0]["number"])
    ]


def hole_part(report: Mapping[str, Any], units: str) -> tuple[str, list[str]]:
    """The table as plain text under its head; no lines where there are no holes."""
    if not report.get("holes"):
        return "", []
    head, rows = hole_table(report["holes"], units)
    display = "; X and Y are what the display shows" if "X" in head else ""
    return f"Holes ({units}, places of their centres{display})", [
        *table(head, rows, right=range(len(head))), *own_sheet_lines(report.get("form"), units)]


def _moved(mm: float, units: str) -> str:
    return ("+" if mm > 0 else "") + even_length(mm, units)


def form_lines(report: Mapping[str, Any], units: str) -> list[str]:
    """A sentence or two for each thing to know; nothing for other parts."""
    if (form := report.get("form")) is None:
        return []
    gap, height = (format_length(form[key], units) for key in ("gap", "height"))
    lines = [f"The {form['half']} half of a form, {gap} from the other half all along the line." if form["gap"] else
             f"A template: what lies {form['half']} the line is kept."]
    if form["layers"] > 1:
        dowelled = any(hole["depth"] is None for hole in report["holes"])
        lines.append(f"{form['layers']} layers, {height} high when stacked: run all its programs once for each, every "
                     "time on a new sheet laid against the same stops"
                     + (", so that the holes come to lie over each other." if dowelled else
                        ". No hole goes through them: line them up by their edges when you stack them."))
    if form["wall"] is not None:
        wall = coarse_length(form["wall"], units)
        lines.append(f"The least wall between the line and the edge is {wall}, measured square to the line.")
    return lines


def own_sheet_lines(form: Mapping[str, Any] | None, units: str) -> list[str]:
    """Where the places of a half are from those of the job: of its holes beside their table, if it has any."""
    along, across = form["moved"] if form else (0.0, 0.0)
    if not (round(along, 3) or round(across, 3)):
        return []
    return [f"It lies in the middle of its own sheet: its places here are {_moved(along, units)} along and "
            f"{_moved(across, units)} across from where the job and the drawing have them."]
