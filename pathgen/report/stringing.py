"""Nut and saddle in figures and words: places and depths of the strings, compensation in cents."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from pathgen.base.errors import JobError
from pathgen.parts.fingerboard.layout import Layout
from pathgen.parts.fingerboard.part import Fingerboard
from pathgen.parts.fingerboard.stringing import (
    Strings,
    cents_sharp,
    checked_strings,
    saddle_for,
    stretch,
    string_places,
    tension,
)
from pathgen.report.board import plain
from pathgen.report.board_text import length_number
from pathgen.report.tables import table

SHOWN_FRETS = (1, 3, 5, 7, 12)
"""Frets whose cents are shown."""


def stringing_data(board: Fingerboard, strings: Strings, *, crown: float | None) -> dict[str, Any]:
    """A row for each string, bass first, mm, N and cents; `crown` is the frets' height, None where not known."""
    count = len(strings.gauges)
    checked_strings(strings, count)
    if board.layout is None:
        raise JobError("[strings]", "this part has no strings", remedy="leave [strings] out")
    layout, gauges = board.layout, np.array(strings.gauges)
    outer = _on_outer_strings(layout)
    spreads = [float(np.linalg.norm(outer[k, 1] - outer[k, 0])) for k in (0, -1)]
    at_nut, at_saddle = (string_places(gauges, spread, strings.spacing) for spread in spreads)
    inset = (_edge_width(layout) - spreads[0]) / 2
    bottom = None if crown is None else crown + strings.clear
    pitch = _compensation(board, strings) if strings.pitches else [{}] * count
    return {
        "spacing": strings.spacing, "spread_at_nut": plain(spreads[0]), "spread_at_saddle": plain(spreads[1]),
        "strings": [
            {
                "string": i + 1, "gauge": gauges[i], "from_edge": plain(at_nut[i] + inset),
                "gap": plain(at_nut[i + 1] - at_nut[i] - (gauges[i] + gauges[i + 1]) / 2) if i + 1 < count else None,
                "clear_of_edge": plain(min(at_nut[i] + inset, spreads[0] - at_nut[i] + inset) - gauges[i] / 2),
                "at_saddle": plain(at_saddle[i]), **_depth(bottom, strings, i), **pitch[i],
            }
            for i in range(count)
        ],
    }


def _on_outer_strings(layout: Layout) -> np.ndarray:
    """(n + 2, 2, 2) where nut, frets and bridge meet the outer strings, bass and treble."""
    every = np.concatenate([layout.lines, layout.bridge[None]])
    sides = (layout.bass_side, -layout.bass_side)
    return np.stack([layout.strings.crossings(every, side) for side in sides], axis=1)


def _edge_width(layout: Layout) -> float:
    a, b = (layout.edges.crossings(layout.lines[:1], s)[0] for s in (-1, 1))
    return float(np.linalg.norm(a - b))


def _depth(bottom: float | None, strings: Strings, i: int) -> dict[str, Any]:
    """How high over the board the slot's bottom lies, and how deep the slot is."""
    if bottom is None:
        return {"slot_bottom": None, "slot_depth": None}
    top = bottom + strings.gauges[i] / 2 if strings.nut_height is None else strings.nut_height
    if top < bottom:
        raise JobError("[strings] nut_height", f"{top:g} mm, and the slot of string {i + 1} ends {bottom:.2f} mm over "
                       "the board", allowed=f"{bottom:.2f} mm or more",
                       remedy="make the nut higher, or the frets lower")
    return {"slot_bottom": plain(bottom), "slot_depth": plain(top - bottom)}


def _compensation(board: Fingerboard, strings: Strings) -> list[dict[str, Any]]:
    """Tension, the saddle that makes the 12th fret true, and the cents at some frets as things are set."""
    assert board.layout is not None
    outer, rows = _on_outer_strings(board.layout), []
    for i in range(len(strings.gauges)):
        share = i / max(len(strings.gauges) - 1, 1)
        along = outer[:, 0] + share * (outer[:, 1] - outer[:, 0])
        ideal = np.linalg.norm(along[:-1] - along[0], axis=1)
        length = float(np.linalg.norm(along[-1] - along[0]))
        nut = strings.nut_compensation[i] if strings.nut_compensation else 0.0
        saddle = strings.saddle_compensation[i] if strings.saddle_compensation else 0.0
        known = {
            "tension_n": float(tension(strings.mass[i], length, strings.pitches[i])),
            "stiffness_n": strings.modulus[i] * 1e3 * math.pi / 4 * strings.core[i] ** 2,
        }
        longer = stretch(ideal, length, strings.clear, 2 * strings.action_12 - strings.clear)
        frets = [f for f in SHOWN_FRETS if f < len(ideal)]
        cents = cents_sharp(ideal[frets], scale_length=length, nut=nut, saddle=saddle, stretched=longer[frets], **known)
        last = 12 if len(ideal) > 12 else len(ideal) - 1
        rows.append({
            "tension": plain(known["tension_n"], 2), "nut": nut, "saddle": saddle, "true_at": last,
            "saddle_wanted": plain(saddle_for(float(ideal[last]), scale_length=length, nut=nut,
                                              stretched=float(longer[last]), **known), 3),
            "cents": {str(f): plain(c, 2) for f, c in zip(frets, cents, strict=True)},
        })
    return rows


def stringing_lines(data: dict[str, Any], units: str) -> list[str]:
    """The strings as text."""
    rows = data["strings"]

    def n(value: float | None) -> str:
        return length_number(value, units)

    places = [
        [str(r["string"]), n(r["gauge"]), n(r["from_edge"]), n(r["gap"]), n(r["clear_of_edge"]), n(r["slot_bottom"]),
         n(r["slot_depth"]), n(r["at_saddle"])] for r in rows
    ]
    head = ["string", f"gauge ({units})", "centre from bass edge", "gap to next", "clear of edge",
            "slot's bottom over board", "slot depth", "at saddle, from string 1"]
    lines = [f"Equal {'centres' if data['spacing'] == 'centres' else 'clear gaps'} at nut and saddle.", "",
             *table(head, places, right=range(len(head)))]
    if "cents" not in rows[0]:
        return lines
    frets = list(rows[0]["cents"])
    head = ["string", "tension, N", "nut forward", "saddle back", f"saddle back for a true fret {rows[0]['true_at']}",
            *(f"cents at {f}" for f in frets)]
    tuned = [[str(r["string"]), f"{r['tension']:.1f}", n(r["nut"]), n(r["saddle"]), n(r["saddle_wanted"]),
              *(f"{r['cents'][f]:+.1f}" for f in frets)] for r in rows]
    return [*lines, "", *table(head, tuned, right=range(len(head))), "",
            "By the stretch of the string when pressed down (Hooke, Mersenne); stiffness in bending is left out."]
