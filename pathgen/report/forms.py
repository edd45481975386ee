"""A template or a half of a form in words: which it is, how many layers, how thick its wall."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pathgen.base.units import coarse_length, even_length, format_length


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
