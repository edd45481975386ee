"""The checks of zero in the report: as data, in words, and where there is no place for one."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from pathgen.base.units import INCH, SUMS, axes_words, even_length, format_length, told_apart
from pathgen.programs.around import Around
from pathgen.programs.edges import Edges
from pathgen.programs.instructions import MISREAD, line_words, lost_axes
from pathgen.programs.plan import Plan
from pathgen.programs.starting import SetBy, Start
from pathgen.programs.zero_check import SAME, check_words, has_place
from pathgen.programs.zeroing import tries_zero
from pathgen.report.programs import Program, number_in
from pathgen.report.wording import table
from pathgen.verify.findings import Finding
from pathgen.work.clamping import Clamping, Step
from pathgen.work.operations import DowelHoles


def zero_rows(programs: Sequence[Program], units: str) -> list[dict[str, Any]]:
    """A row for each check: place on the part, tip height and feeler, what the display must show, all in mm; words."""
    return [{
                **p.step.numbers, "cutter": p.cutter.name, "on": check.on,
                "at": [round(check.x, 3), round(check.y, 3)], "height": round(check.height, 5), "feeler": check.feeler,
                "ridge": check.ridge, "like": check.like, "within": round(check.within, 4), "off": check.off,
                "display": [round(v, 5) + 0.0 for v in check.display], "words": check_words(check, p.step, units),
            }
            for p in programs if (check := p.zero) is not None]


def zero_lines(rows: Sequence[dict[str, Any]], units: str) -> list[str]:
    """The checks as a table, and what each means where it does not hold."""
    cells = [[str(number_in(r)), r["cutter"], r["on"], *(even_length(v, units) for v in (*r["display"], r["feeler"]))]
             for r in rows]
    return [] if not rows else [
        *table(["program", "cutter", "over", "X", "Y", "Z shown", "feeler"], cells, right=(0, 3, 4, 5, 6)),
        *(f"Program {cell[0]}: {r['words'][1]}" for cell, r in zip(cells, rows, strict=True)),
        *(f"Shown over the {on} the same amount wrong each time Z 0 is set: {off}, and Z 0 is right."
          for on, off in dict.fromkeys((row["on"], row["off"]) for row in rows if row["off"] and not row["within"])),
        *([f"Still further off with Z 0 set again: {MISREAD}."] if any(r["within"] for r in rows) else []),
    ]


def zero_findings(planned: Plan) -> list[Finding]:
    """Programs whose zero cannot be tried, no bare place being near; edges that X 0 and Y 0 cannot be set from."""
    clamping = planned.clamping
    untried = [step for step, start in zip(clamping.steps, planned.starts, strict=True)
               if tries_zero(clamping, step) and start.zero is None and not clamping.done(step)]
    clear = " and clear of clamps" if clamping.setup.keep_out else ""
    return [*(Finding(
        code="no-zero-check", severity="warn", where=step.title, allowed="raw top, finished surface or bed, bare "
        f"over {step.cutter.diameter:g} mm{clear}",
        got="no bare place of known height is left within reach to check Z 0 at",
        remedy=_for_a_place(planned, step)) for step in untried), *_edges_past_travel(planned)]


_OUT = {"mm": (5.0, 60.0), "in": (INCH / 4, 2.5 * INCH)}
"""In what steps, and how far, a blank is tried longer at each end, by units, mm."""


def _for_a_place(planned: Plan, step: Step) -> str:
    """What gives the zero of a step a place to be tried at, each tried here: a clamp out of the way, a longer blank."""
    clamping, ways = planned.clamping, []
    setup, stock, units = clamping.setup, clamping.stock, clamping.units

    def works(other: Clamping) -> bool:
        return has_place(Around(clamping=other, pockets=planned.pockets), step)

    for number, clamp in enumerate(setup.keep_out, 1):
        if works(replace(clamping, setup=replace(setup, keep_out=tuple(k for k in setup.keep_out if k is not clamp)))):
            ways.append(f"move clamp {number} of keep_out away, and correct its box there")
            break
    if clamping.shared is None and clamping.moved is None and clamping.under is None:
        out, most = _OUT[units]
        for more in np.arange(out, most + SUMS, out).tolist():
            longer = replace(stock, length=stock.length + 2 * more, margin_nut=stock.margin_nut + more)
            if works(replace(clamping, stock=longer)):
                length, margin = (format_length(v, units) for v in (longer.length, longer.margin_nut))
                ways.append(f"take a longer blank: write [stock] length {length} and margin_nut {margin}")
                break
    return ", or ".join(ways) or "set Z 0 of its cutter twice, and start only where both agree within " \
        f"{format_length(SAME[units], units)}"


def _edges_past_travel(planned: Plan) -> Iterator[Finding]:
    """Where a machine that spans all that is cut cannot go beside an edge of the blank too, on either side."""
    clamping = planned.clamping
    travel = clamping.machine.travel
    if travel is None or clamping.moved or clamping.under or clamping.board.names.lies:
        return
    for edges, most in zip(planned.edges, travel, strict=False):
        if edges.best is None:
            needs, has = told_apart(edges.needs, most)
            yield Finding(
                code="edges-past-travel", severity="warn", where="[machine] travel",
                got=f"{edges.axis} 0 cannot be set from the blank's edges: all that is cut, and the cutter beside the "
                    f"nearer of them, span {needs} in {edges.axis}", allowed=f"travel {has} in {edges.axis}",
                remedy=line_words(clamping, edges.axis))


def reference_rows(planned: Plan) -> list[dict[str, Any]]:
    """What Z, X and Y can be set from before each program still to be run; axes lost; what is gone, and turned over."""
    clamping, rows = planned.clamping, []
    for step, start in zip(clamping.steps, planned.starts, strict=True):
        if clamping.done(step):
            continue
        found, lost = _again(clamping, step, start)
        rows.append({**step.numbers, "z": [_SET_BY[start.z_by]], "xy": found, "lost": lost, "gone": list(start.gone),
                     "set_again": start.refit, **({"turned": _turned(clamping, start)}
                                                if clamping.under and clamping.moved_at(step) is None else {})})
    return rows


_SET_BY: dict[SetBy, str] = {
    "bed": "the bed, or a setter on it",
    "top": "the raw top of the blank",
    "noted": "the bed, by the Z noted there",
    "noted or top": "the raw top of the blank, outside the cut, or the bed, by the Z noted there",
}


def _again(clamping: Clamping, step: Step, start: Start) -> tuple[list[str], list[str]]:
    """What X and Y are found again from, the surest first: marks, and the edges of the blank, an end that X 0 was set
    from, as far as they can be touched; and the axes that no mark will ever give either."""
    if clamping.moved_at(step) is not None:
        return [f"{'the witness marks' if start.marked else 'the places that were measured'}, as they lie now"], []
    marks = ["the witness marks"] if start.marked else []
    ends, sides = start.edges if clamping.setup.along.endswith("x") else start.edges[::-1]
    side = "the sides"
    if clamping.under:  # a blank is not quite as wide as the job says, and its sides have changed places
        marks, side = [*marks, "the dowel holes"], f"the side that {sides.axis} 0 was set from for the back"
    free = [(one, "the edges" if clamping.shared else words)
            for one, words in ((sides, side), (ends, _end(clamping, ends))) if not all(one.barred)]
    lost = lost_axes(clamping, start)
    blank = "the common blank" if clamping.shared else "the blank"
    if len(free) == 1:
        (one, words), other = free[0], ends if free[0][0] is sides else sides
        why = "are under clamps" if all(other.clamped) else "cannot be touched"
        return [*marks, f"{one.axis} alone from {words} of {blank}, as its other edges {why}"], lost
    words = " and ".join(dict.fromkeys(words for _, words in free))
    return [*marks, *([f"{words} of {blank}"] if free else [])], lost


def _turned(clamping: Clamping, start: Start) -> str:
    """Where the sides of a blank that was turned over lie now, and its dowel holes."""
    sides = start.edges[1 if clamping.setup.along.endswith("x") else 0]
    (low, high), axis, units = sides.at, sides.axis, clamping.units
    assert clamping.under is not None
    dowels = clamping.under.feature(DowelHoles)
    holes = np.empty((0, 2)) if dowels is None else dowels.at * [1.0, -1.0]
    places = "; ".join(axes_words(x, y, units) for x, y, _ in clamping.to_machine(np.insert(holes, 2, 0.0, axis=1)))
    return (f"The side that lay at {axis} {format_length(low, units)} when the back was cut now lies at {axis} "
            f"{format_length(high, units)}, the other at {axis} {format_length(low, units)}: exactly so only the one "
            f"that {axis} 0 was set from, however wide the blank is. The dowel holes are at {places}.")


def _end(clamping: Clamping, ends: Edges) -> str:
    """The end of the blank that X 0 is set from, where it can be touched, else the other."""
    x0, _, x1, _ = clamping.stock.bounds
    near, far = ends.barred
    beyond = clamping.zero[0] > (x0 + x1) / 2 and not far
    return "the far end" if near or beyond else f"the {clamping.board.names.near.removesuffix(' end')} end"
