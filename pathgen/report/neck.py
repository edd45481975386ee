"""The neck against the body: data, words, and a side view in true proportion."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

import numpy as np

from pathgen.base.markup import Element
from pathgen.base.picture import INK, PALE, WOOD, View, area, lines, words
from pathgen.base.units import fine_length
from pathgen.parts.fingerboard.neck import Neck, NeckTable
from pathgen.verify.findings import Finding


def neck_findings(neck: Neck, found: NeckTable) -> list[Finding]:
    """A saddle out of its range, a blank too short: forbidden where the maker stated the limit."""
    wrong, (low, high) = [], found.wanted
    if found.too_high:
        own = neck.saddle_range is not None
        wrong.append(Finding(
            code="saddle-height", severity="forbid" if own else "warn", where="[neck] angle",
            got=f"the saddle stands {found.saddle:.2f} mm over the body, {abs(found.too_high):.2f} mm too "
                f"{'high' if found.too_high > 0 else 'low'}",
            allowed=f"{low:g} to {high:g} mm" + ("" if own else ", as is usual (from memory)"),
            remedy=f"make angle {found.angle_for:.2f} degrees for {found.saddle_for:.2f} mm, or change joint_height",
        ))
    if found.blank_short:
        wrong.append(Finding(
            code="neck-blank", severity="forbid", where="[neck] blank", got=f"{neck.blank:g} mm long, "
            f"{found.blank_short:.1f} mm too short", allowed=f"{found.least_blank:.1f} mm or more",
            remedy="take a longer blank, or join the head on",
        ))
    return wrong


def neck_data(neck: Neck, found: NeckTable, wrong: Sequence[Finding]) -> dict[str, Any]:
    """Plain values, mm and degrees."""
    rounded = {name: [round(v, 4) for v in value] if isinstance(value, tuple) else round(value, 4)
               for name, value in asdict(found).items()}
    return {"angle": neck.angle, "joint_fret": neck.joint_fret, **rounded,
            "findings": [{"code": f.code, "severity": f.severity, "got": f.got, "allowed": f.allowed,
                          "remedy": f.remedy} for f in wrong]}


def neck_lines(data: dict[str, Any], units: str) -> list[str]:
    """The neck as text."""
    def mm(name: str) -> str:
        return fine_length(data[name], units)

    low, high = (fine_length(v, units) for v in data["wanted"])
    pairs = [
        ("scale length", mm("string_length")), (f"nut to joint at fret {data['joint_fret']}", mm("joint")),
        ("neck angle", f"{data['angle']:g} degrees"),
        ("frets' plane over the body at the bridge", mm("plane_at_bridge")),
        ("top of the saddle over the body", f"{mm('saddle')} (range {low} to {high})"),
        ("height of the bridge itself", mm("bridge")), ("saddle, for a tenth of a degree more", "+" + mm("per_tenth")),
        ("angle for a saddle of " + mm("saddle_for"), f"{data['angle_for']:.3f} degrees"),
        ("least length of the neck blank", mm("least_blank")),
        ("its least depth, with the head in one piece", mm("least_blank_depth")),
    ]
    wide = max(len(name) for name, _ in pairs)
    said = {"forbid": "DO NOT CUT", "warn": "warning"}
    return [*(f"{name.ljust(wide)}  {value}" for name, value in pairs),
            *(f"{said[f['severity']]}: {f['got']} (allowed: {f['allowed']}). {f['remedy'].capitalize()}."
              for f in data["findings"])]


def side_picture(neck: Neck, found: NeckTable, *, thickness: float, length: float) -> Element:
    """Board, body surface, saddle and string from the side, heights and lengths true to each other."""
    import shapely

    angle = math.radians(neck.angle)
    turn = np.array([[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]])

    def there(points: Sequence[tuple[float, float]]) -> np.ndarray:
        """From along the board from the nut and up from its underside to along from the joint and up from the body."""
        return (np.array(points) - [found.joint, 0.0]) @ turn + [0.0, neck.joint_height]

    board = shapely.Polygon(there([(0, 0), (length, 0), (length, thickness), (0, thickness)]))
    nut = there([(0.0, thickness + neck.fret_height + neck.action_nut)])[0]
    (x, up), low = found.saddle_at, neck.body_at_bridge
    view = View.around((min(board.bounds[0], nut[0]), min(board.bounds[1], low, 0.0) - 5, x + 40,
                        max(up, board.bounds[3], nut[1])), 12.0)
    return view.picture(
        f"Neck at {neck.angle:g} degrees from the side: the saddle stands {found.saddle:.2f} mm over the body",
        lines(view, [np.array([[0.0, 0.0], [x, low], [x + 40, low]])], stroke=INK, stroke_width=0.6),
        area(view, board, fill=WOOD, stroke=INK, stroke_width=0.3),
        lines(view, [np.array([nut, [x, up]])], stroke=PALE, stroke_width=0.4),
        lines(view, [np.array([[x, low], [x, up]])], stroke=INK, stroke_width=1.0),
        words(view, (x + 3, up), f"{found.saddle:.2f} mm", size=5.0, text_anchor="start"),
    )
