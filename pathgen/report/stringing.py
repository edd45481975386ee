"""Nut and saddle in words: places and depths of the strings, compensation in cents."""

from __future__ import annotations

from typing import Any

from pathgen.base.units import format_length
from pathgen.report.board_text import length_number
from pathgen.report.wording import table

Table = tuple[list[str], list[list[str]]]


def stringing_lines(data: dict[str, Any], units: str) -> list[str]:
    """The strings as text."""
    words, tables, how = stringing_parts(data, units)
    shown = [line for head, rows in tables for line in ("", *table(head, rows, right=range(len(head))))]
    return [*words, *shown, *(("", how) if how else ())]


def stringing_parts(data: dict[str, Any], units: str) -> tuple[list[str], list[Table], str]:
    """What is said of the strings, their tables (head, rows), and how the cents were worked out where they were."""
    rows = data["strings"]

    def n(value: float | None) -> str:
        return length_number(value, units)

    places = [
        [str(r["string"]), n(r["gauge"]), n(r["from_edge"]), n(r["gap"]), n(r["clear_of_edge"]), n(r["slot_bottom"]),
         n(r["slot_depth"]), n(r["at_saddle"])] for r in rows
    ]
    head = ["string", f"gauge ({units})", "centre from bass edge", "gap to next", "clear of edge",
            "slot's bottom over board", "slot depth", "at saddle, from string 1"]
    radii = [data.get(f"radius_at_{place}") for place in ("nut", "saddle")]
    curve = [] if None in radii else [
        f"The board's radius is {n(radii[0])} under the nut and, carried on past the board's end in the same straight "
        f"line, {n(radii[1])} under the saddle ({units})."
        + (" Both are along their slanted lines: larger than square across." if data.get("aslant") else "")
    ]
    under = [
        "The strings lie on the zero fret, the nut behind it only guides them: its slots end "
        + (f"{n(data['under_zero_fret'])} {units} under the fret's top." if data["under_zero_fret"] else
           "as high as the fret's top.")
    ] if "under_zero_fret" in data else []
    course, equal = data.get("course"), "centres" if data["spacing"] == "centres" else "clear gaps"
    lines = [f"Equal {equal} at nut and saddle." if course is None else
             f"Courses of {course['strings']} strings, {format_length(course['gap'], units)} clear within them; equal "
             f"{equal} from course to course, at nut and saddle.", *curve, *under]
    tables = [(head, places)]
    if "cents" not in rows[0]:
        return lines, tables, ""
    frets = list(rows[0]["cents"])
    stretched = "tension" in rows[0]
    head = ["string", "nut forward", "saddle back",
            *(["tension, N", f"saddle back for a true fret {rows[0]['true_at']}"] if stretched else []),
            *(f"cents at {f}" for f in frets)]
    tuned = [[str(r["string"]), n(r["nut"]), n(r["saddle"]),
              *([f"{r['tension']:.1f}", n(r["saddle_wanted"])] if stretched else []),
              *(f"{round(r['cents'][f], 1) + 0.0:+.1f}" for f in frets)] for r in rows]
    how = "By the stretch of the string when pressed down (Hooke, Mersenne); stiffness in bending is left out." \
        if stretched else "By how nut and saddle are set alone: what the string's stretch adds is not known without " \
        "pitches, mass, core and modulus."
    return lines, [*tables, (head, tuned)], how
