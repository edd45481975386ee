"""The holes of a plate in words: its number in the pictures, where each is, how wide and how deep."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pathgen.report.board_text import length_number
from pathgen.report.tables import table


def hole_table(holes: Sequence[dict[str, Any]], units: str) -> tuple[list[str], list[list[str]]]:
    """Head, and a row for each hole, in the job's units; a round one has no length, one that goes through no depth.

    X and Y of the machine's display are given where these are not along and across.
    """
    shown = ["at", "display"] if any(hole["display"] != hole["at"] for hole in holes) else ["at"]
    places = ("along", "across", "X", "Y")[: 2 * len(shown)]
    return ["hole", *places, "wide", "long", "deep"], [
        [str(hole["number"]), *(length_number(v, units) for key in shown for v in hole[key]),
         length_number(hole["diameter"], units),
         length_number(hole["length"], units) if hole["length"] > hole["diameter"] else "round",
         "through" if hole["depth"] is None else length_number(hole["depth"], units)]
        for hole in holes
    ]


def hole_lines(holes: Sequence[dict[str, Any]], units: str) -> list[str]:
    """The table as plain text; nothing where there are no holes."""
    if not holes:
        return []
    head, rows = hole_table(holes, units)
    display = "; X and Y are what the display shows" if "X" in head else ""
    return ["", f"Holes ({units}, places of their centres{display})", "", *table(head, rows, right=range(len(head)))]
