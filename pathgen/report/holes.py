"""The holes of a plate in words: its number in the pictures, where each is, how wide and how deep."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pathgen.report.board_text import length_number
from pathgen.report.tables import table

HEAD = ("hole", "along", "across", "wide", "long", "deep")


def hole_rows(holes: Sequence[dict[str, Any]], units: str) -> list[list[str]]:
    """A row for each hole, in the job's units; a round one has no length, one that goes through no depth."""
    return [
        [str(hole["number"]), *(length_number(v, units) for v in hole["at"]), length_number(hole["diameter"], units),
         length_number(hole["length"], units) if hole["length"] > hole["diameter"] else "round",
         "through" if hole["depth"] is None else length_number(hole["depth"], units)]
        for hole in holes
    ]


def hole_lines(holes: Sequence[dict[str, Any]], units: str) -> list[str]:
    """The table as plain text; nothing where there are no holes."""
    if not holes:
        return []
    return ["", f"Holes ({units}, places of their centres)", "",
            *table(list(HEAD), hole_rows(holes, units), right=range(len(HEAD)))]
