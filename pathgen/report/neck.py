"""The neck against the body: findings, words, and a side view in true proportion."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Any

import numpy as np
import shapely

from pathgen.base.markup import Element
from pathgen.base.picture import INK, PALE, WOOD, View, area, lines, words
from pathgen.base.units import fine_length
from pathgen.report.wording import finding_line
from pathgen.verify.findings import Finding

_BODY = 40.0  # how far the body is drawn past the bridge, mm
_LETTERS = 55  # words are so much smaller than the picture is wide: some 8 pt on paper


def neck_findings(data: dict[str, Any] | None, units: str = "mm") -> list[Finding]:
    """A saddle out of its range, a blank too short: no reason not to cut the board."""
    if not data:
        return []
    wrong, (low, high), fine = [], data["wanted"], partial(fine_length, units=units)
    if data["too_high"]:
        own, usual = data["range_is_own"], low <= data["saddle_for"] <= high
        guitars = (f"; that is of guitars: of a smaller instrument{'' if usual else ', or for such a saddle,'} measure "
                   f"its bridge, and give saddle_range")
        wrong.append(Finding(
            code="saddle-height", severity="warn", where="[neck] angle",
            got=f"the saddle stands {fine(data['saddle'])} over the body, {fine(abs(data['too_high']))} too "
                f"{'high' if data['too_high'] > 0 else 'low'}",
            allowed=f"{fine(low)} to {fine(high)}" + ("" if own else ", as is usual (from memory)"),
            remedy=f"make angle {data['angle_for']:.2f} degrees for {fine(data['saddle_for'])}, "
                   "or change joint_height" + ("" if own else guitars)))
    if data["blank_short"]:
        wrong.append(Finding(
            code="neck-blank", severity="warn", where="[neck] blank",
            got=f"{fine(data['blank'])} long, {fine(data['blank_short'])} too short",
            allowed=f"{fine(data['least_blank'])} or more", remedy="take a longer blank, or join the head on"))
    return wrong


def neck_data(data: dict[str, Any], wrong: Sequence[Finding]) -> dict[str, Any]:
    """Plain values, mm and degrees, with what is wrong."""
    return data | {"findings": [{key: v for key, v in vars(f).items() if key != "where"} for f in wrong]}


def neck_faults(wrong: Sequence[Finding], units: str = "mm") -> list[str]:
    """What is wrong, a line each."""
    return [finding_line(f.severity, "", f.got, f.allowed, f.remedy, units=units) for f in wrong]


def neck_pairs(data: dict[str, Any], units: str) -> list[tuple[str, str]]:
    """The neck as names and values."""
    def mm(name: str) -> str:
        return fine_length(data[name], units)

    low, high = (fine_length(v, units) for v in data["wanted"])
    return [
        ("scale length", mm("string_length")), (f"nut to joint at fret {data['joint_fret']}", mm("joint")),
        ("neck angle", f"{data['angle']:g} degrees"),
        ("frets' plane over the body at the bridge", mm("plane_at_bridge")),
        ("top of the saddle over the body", f"{mm('saddle')} (range {low} to {high})"),
        ("height of the bridge itself", mm("bridge")), ("saddle, for a tenth of a degree more", "+" + mm("per_tenth")),
        ("angle for a saddle of " + mm("saddle_for"), f"{data['angle_for']:.3f} degrees"),
        ("least length of the neck blank", mm("least_blank")),
        ("its least depth, with the head in one piece", mm("least_blank_depth")),
    ]


def neck_lines(data: dict[str, Any], units: str) -> list[str]:
    """The neck as text."""
    pairs = neck_pairs(data, units)
    wide = max(len(name) for name, _ in pairs)
    return [f"{name.ljust(wide)}  {value}" for name, value in pairs]


def side_picture(data: dict[str, Any], units: str) -> Element:
    """Board, body surface, saddle and string from the side, heights and lengths true to each other."""
    side = data["side"]
    board, string, body = shapely.Polygon(side["board"]), np.array(side["string"]), np.array(side["body"])
    (x, low), up = body[1], float(string[1, 1])
    height = fine_length(data["saddle"], units)
    left = min(board.bounds[0], string[0, 0])
    size = (x + _BODY - left) / _LETTERS
    view = View.around((left, min(board.bounds[1], low, 0.0) - 5, x + max(_BODY, 0.64 * size * len(height)),
                        max(up + size, board.bounds[3], string[0, 1])), 12.0)
    return view.picture(
        f"Neck at {data['angle']:g} degrees from the side: the saddle stands {height} over the body",
        lines(view, [np.vstack([body, [x + _BODY, low]])], stroke=INK, stroke_width=0.6),
        area(view, board, fill=WOOD, stroke=INK, stroke_width=0.3),
        lines(view, [string], stroke=PALE, stroke_width=0.4),
        lines(view, [np.array([[x, low], [x, up]])], stroke=INK, stroke_width=1.0),
        words(view, (x + 3, up), height, size=size, text_anchor="start"))
