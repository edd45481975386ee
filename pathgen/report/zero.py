"""The checks of zero in the report: as data, in words, and where there is no place for one."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pathgen.base.units import even_length
from pathgen.programs.instructions import MISREAD
from pathgen.programs.plan import Plan
from pathgen.programs.zero_check import check_words
from pathgen.programs.zeroing import refits
from pathgen.report.programs import Program
from pathgen.report.tables import table
from pathgen.verify.findings import Finding


def zero_rows(programs: Sequence[Program], units: str) -> list[dict[str, Any]]:
    """A row for each check: place on the part, tip height and feeler, what the display must show, all in mm; words."""
    return [
        {
            "order": p.order, "cutter": p.cutter.name, "on": check.on, "at": [round(check.x, 3), round(check.y, 3)],
            "height": round(check.height, 5), "feeler": check.feeler, "ridge": check.ridge, "like": check.like,
            "off": check.off,
            "display": [round(v, 5) + 0.0 for v in check.display], "words": check_words(check, p.step, units),
        }
        for p in programs if (check := p.zero) is not None
    ]


def zero_lines(rows: Sequence[dict[str, Any]], units: str, *, go_on_with: int) -> list[str]:
    """The checks as a table, of programs still to be run, and what each means where it does not hold."""
    rows = [row for row in rows if row["order"] >= go_on_with]
    if not rows:
        return []
    cells = [[str(r["order"]), r["cutter"], r["on"], *(even_length(v, units) for v in (*r["display"], r["feeler"]))]
             for r in rows]
    return [
        "", "Zero, checked on the work before each program that has another cutter", "",
        *table(["program", "cutter", "over", "X", "Y", "Z shown", "feeler"], cells, right=(0, 3, 4, 5, 6)),
        *(f"Program {r['order']}: {r['words'][1]}" for r in rows),
        *(f"Shown over the {on} the same amount wrong each time Z 0 is set: {off}, and Z 0 is right."
          for on, off in dict.fromkeys((row["on"], row["off"]) for row in rows if row["off"])),
        *([f"Wrong only since the work has moved: {MISREAD}."] if go_on_with > 1 else []),
    ]


def zero_findings(planned: Plan) -> list[Finding]:
    """Programs whose zero cannot be tried, as no bare place is left within reach."""
    return [
        Finding(
            code="no-zero-check", severity="warn", where=step.title, allowed="raw top, finished surface or bed, bare "
            f"over {step.cutter.diameter:g} mm and clear of clamps",
            got="no bare place of known height is left within reach to check Z 0 at",
            remedy="let the blank stand out further, or move a clamp",
        )
        for step in planned.clamping.steps
        if refits(planned.clamping, step) and step.order not in planned.zero_checks
    ]
