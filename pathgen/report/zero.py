"""The checks of zero in the report: as data, in words, and where there is no place for one."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from pathgen.base.units import SUMS, even_length, told_apart
from pathgen.programs.instructions import MISREAD
from pathgen.programs.plan import Plan
from pathgen.programs.zero_check import check_words
from pathgen.programs.zeroing import refits
from pathgen.report.programs import Program, number_in
from pathgen.report.tables import table
from pathgen.verify.findings import Finding


def zero_rows(programs: Sequence[Program], units: str) -> list[dict[str, Any]]:
    """A row for each check: place on the part, tip height and feeler, what the display must show, all in mm; words."""
    return [
        {
            **p.step.numbers, "cutter": p.cutter.name, "on": check.on,
            "at": [round(check.x, 3), round(check.y, 3)], "height": round(check.height, 5), "feeler": check.feeler,
            "ridge": check.ridge, "like": check.like, "within": round(check.within, 4), "off": check.off,
            "display": [round(v, 5) + 0.0 for v in check.display], "words": check_words(check, p.step, units),
        }
        for p in programs if (check := p.zero) is not None
    ]


def zero_lines(rows: Sequence[dict[str, Any]], units: str) -> list[str]:
    """The checks as a table, and what each means where it does not hold."""
    if not rows:
        return []
    cells = [[str(number_in(r)), r["cutter"], r["on"], *(even_length(v, units) for v in (*r["display"], r["feeler"]))]
             for r in rows]
    return [
        "", "Zero, checked on the work before each program that a cutter is fitted for", "",
        *table(["program", "cutter", "over", "X", "Y", "Z shown", "feeler"], cells, right=(0, 3, 4, 5, 6)),
        *(f"Program {cell[0]}: {r['words'][1]}" for cell, r in zip(cells, rows, strict=True)),
        *(f"Shown over the {on} the same amount wrong each time Z 0 is set: {off}, and Z 0 is right."
          for on, off in dict.fromkeys((row["on"], row["off"]) for row in rows if row["off"] and not row["within"])),
        *([f"Still further off with Z 0 set again: {MISREAD}."] if any(r["within"] for r in rows) else []),
    ]


def zero_findings(planned: Plan) -> list[Finding]:
    """Programs whose zero cannot be tried, as no bare place is left within reach; and edges that X 0 and Y 0 cannot be
    set from."""
    clamping = planned.clamping
    untried = [step for step in clamping.steps if refits(clamping, step)
               and step.order not in planned.zero_checks and not clamping.done(step)]
    return [*(Finding(
        code="no-zero-check", severity="warn", where=step.title, allowed="raw top, finished surface or bed, bare "
        f"over {step.cutter.diameter:g} mm and clear of clamps",
        got="no bare place of known height is left within reach to check Z 0 at",
        remedy="let the blank stand out further, or move a clamp",
    ) for step in untried), *_edges_past_travel(planned)]


def _edges_past_travel(planned: Plan) -> Iterator[Finding]:
    """Where a machine that spans all that is planned cannot go beside the blank's edges too, on either side."""
    clamping, first = planned.clamping, planned.clamping.steps[0]
    travel = clamping.machine.travel
    if travel is None or not planned.paths or clamping.moved or clamping.under or clamping.board.names.lies:
        return
    x0, y0, x1, y1 = clamping.shared.blank if clamping.shared else clamping.stock.bounds
    edges = clamping.to_machine(np.array([[x0, y0, 0.0], [x1, y1, 0.0]]))
    out = first.cutter.radius if first.cutter.shape_height < clamping.stock.thickness else 0.0  # or a pin, of any width
    cut = np.concatenate([clamping.to_machine(path.points, step)
                          for step, path in zip(clamping.steps, planned.paths, strict=True)])
    low, high = cut.min(axis=0), cut.max(axis=0)
    before, behind = np.minimum(low, edges.min(axis=0) - out), np.maximum(high, edges.max(axis=0) + out)
    beside = np.minimum(high - before, behind - low)
    for k, axis in enumerate("XY"):
        if beside[k] > travel[k] + SUMS:
            needs, has = told_apart(float(beside[k]), travel[k])
            yield Finding(
                code="edges-past-travel", severity="warn", where="[machine] travel",
                got=f"{axis} 0 cannot be set from the blank's edges: all that is cut, and the cutter beside the nearer "
                    f"of them, span {needs} in {axis}", allowed=f"travel {has} in {axis}",
                remedy=f"draw a line on the blank for {axis} 0, through {clamping.zero_place.words}, and set it with "
                       "the tip over that",
            )
