"""What each cutter must be: how far it stands out of its collet at least, and how long its flutes are."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from pathgen.base.cutters import Cutter
from pathgen.base.plain import joined, rounded
from pathgen.base.units import format_length, ruled
from pathgen.programs.instructions import least_out, nut_clears, stand_out
from pathgen.programs.plan import Plan
from pathgen.work.clamping import Clamping

LENGTHS = ("Stands out", "Flutes")
"""What stands over the columns of `length_cells`."""


def cutter_lengths(planned: Plan) -> list[dict[str, Any]]:
    """How long each cutter must be for all programs still to be run, of all parts of the blank and both its sides: it
    is then bought once, and fitted alike each time. `flute_length` is what the job says, None where it says nothing."""
    found: dict[str, dict[str, Any]] = {}
    for one in planned.beside or (planned,):
        for step, low, flutes in zip(one.clamping.steps, one.lowest, one.flutes, strict=True):
            if one.clamping.done(step):
                continue
            given = step.cutter.flute_length
            row = found.setdefault(step.cutter.name, {
                "name": step.cutter.name, "stand_out": 0.0, "flutes_needed": 0.0,
                "flute_length": given if math.isfinite(given) else None})
            row["stand_out"] = rounded(max(row["stand_out"], stand_out(one.clamping, low)))
            row["flutes_needed"] = rounded(max(row["flutes_needed"], flutes))
    return list(found.values())


def length_cells(cutter: Cutter, lengths: Sequence[dict[str, Any]], units: str) -> list[str]:
    """How far a cutter must stand out, and how long its flutes must be; nothing of one that only hovers."""
    row = _row(cutter, lengths)
    out, flutes = (row["stand_out"], row["flutes_needed"]) if row else (0.0, 0.0)
    return [least_out(out, units) if out > 0 else "",
            format_length(ruled(flutes, units), units) if flutes > 0 else ""]


def lengths_words(cutters: Sequence[Cutter], lengths: Sequence[dict[str, Any]], clamping: Clamping) -> str:
    """What these columns say, and of which cutters the flutes were not checked."""
    rows = [row for cutter in cutters if (row := _row(cutter, lengths)) and row["flutes_needed"] > 0]
    unknown = [row["name"] for row in rows if row["flute_length"] is None]
    whose = "any" if len(unknown) == len(rows) else joined(unknown or [""])
    return (f"Each cutter must stand out of the collet so far at least: {nut_clears(clamping)}. Its flutes must be so "
            "long at least, or its shank rubs and burns" + (
                f"; measure them: flute_length is not given for {whose}, so that it was not checked" * bool(unknown))
            + ".")


def _row(cutter: Cutter, lengths: Sequence[dict[str, Any]]) -> dict[str, Any] | None:
    return next((row for row in lengths if row["name"] == cutter.name), None)
