"""What a machine must reach for all that is cut, set and tried on one blank; and whether its travel spans that."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pathgen.base.arrays import Floats
from pathgen.base.errors import JobError
from pathgen.base.toolpath import Toolpath
from pathgen.base.units import SUMS, format_length, rounded_down, told_apart
from pathgen.programs.zero_check import ZeroCheck
from pathgen.work.clamping import LEAST_CLEARANCE, Clamping
from pathgen.work.operations import Hover, WitnessMarks


@dataclass(frozen=True, eq=False, kw_only=True)
class Reach:
    """The lowest and the highest place that one thing asked of the machine has on its display: (3,) each, mm."""

    what: str
    low: Floats
    high: Floats
    at_marks: bool = False
    """Whether it goes to witness marks."""


def reaches_of(clamping: Clamping, paths: Sequence[Toolpath]) -> tuple[Reach, ...]:
    """That of each program."""
    runs = [clamping.to_machine(path.points, step) for step, path in zip(clamping.steps, paths, strict=True)]
    return tuple(Reach(what=step.title, low=run.min(axis=0), high=run.max(axis=0),
                       at_marks=isinstance(step.operation, (WitnessMarks, Hover)))
                 for step, run in zip(clamping.steps, runs, strict=True))


def zero_reach(clamping: Clamping) -> Reach:
    """Where the machine is sent to see that its zero is right: X 0 and Y 0 of work that moved stay, unasked."""
    at = np.append(clamping.display(np.array([clamping.zero]))[0], 0.0)
    return Reach(what="X 0, Y 0 and Z 0 as they are set", low=at, high=at)


def span_of(asked: Iterable[Reach]) -> Floats:
    """(2, 3) the lowest and the highest of all."""
    low, high = zip(*((one.low, one.high) for one in asked), strict=True)
    return np.array([np.min(low, axis=0), np.max(high, axis=0)])


def check_travel(parts: Sequence[tuple[Clamping, Sequence[Reach], Mapping[int, ZeroCheck]]]) -> None:
    """Raise JobError for a machine that cannot span all that it is asked to: every program of all parts of a blank, the
    zero as it is set, and each place at which it is tried."""
    clamping = parts[0][0]
    travel, units = clamping.machine.travel, clamping.units
    if travel is None:
        return
    zero, runs = zero_reach(clamping), [one for _, own, _ in parts for one in own]
    asked = [*runs, zero, *(
        Reach(what=f"the zero check before {one.steps[order - 1].title}", low=(at := np.array(check.display)), high=at)
        for one, _, zeros in parts for order, check in zeros.items())]
    spans = np.ptp(span_of(asked), axis=0)
    short = [k for k in range(3) if spans[k] > travel[k] + SUMS]
    if not short:
        return
    over = {k: told_apart(float(spans[k]), travel[k], unit=units) for k in short}
    ends = {k: (min(asked, key=lambda one: float(one.low[k])), max(asked, key=lambda one: float(one.high[k])))
            for k in short}
    words = [f"{over[k][0]} in {'XYZ'[k]}, from {format_length(float(first.low[k]), units)} ({first.what}) to "
             f"{format_length(float(last.high[k]), units)} ({last.what})" for k, (first, last) in ends.items()]
    lifted, lower = _lifted(clamping, float(spans[2]) - travel[2]) if 2 in short else ("", "")
    alone = [np.ptp(span_of([*own, zero]), axis=0) for _, own, _ in parts]
    nearer = "write [[part]] at so that the parts lie nearer to each other, or " if clamping.shared and all(
        one[k] <= travel[k] for one in alone for k in short) else ""
    slips = [f"{format_length(10 * travel[k], units)} in {'XYZ'[k]}" for k in short
             if 2 * travel[k] < spans[k] <= 10 * travel[k]]
    meant = f"measure travel (is {' and '.join(slips)} meant?), or " if slips else ""
    raise JobError("[machine] travel", f"all that is cut, set and tried spans {'; and '.join(words)}{lifted}",
                   allowed="travel " + " and ".join(f"{over[k][1]} in {'XYZ'[k]}" for k in short),
                   remedy=f"{_shorter(clamping, spans, runs, short)}{nearer}{lower}{meant}take a larger machine")


def _shorter(clamping: Clamping, spans: Floats, runs: Sequence[Reach], short: Sequence[int]) -> str:
    """What makes the work span less along the axes that are short, each followed by "or"; `runs` are the programs'."""
    travel, marks = clamping.machine.travel, clamping.feature(WitnessMarks)
    assert travel is not None
    cut, bare = (np.ptp(span_of(some), axis=0) for some in (runs, [one for one in runs if not one.at_marks]))
    along, across, up = travel
    what = "blank" if clamping.shared else clamping.board.names.part
    ways, flat = [], any(k < 2 for k in short)
    if flat and spans[0] <= across and spans[1] <= along:
        ways.append(f"turn the {what} with [setup] along")
    begun = clamping.begun  # zero is set, and all that was measured counts from it
    if flat and not begun and all(cut[k] <= travel[k] for k in short if k < 2):
        ways.append("name a [setup] zero that lies nearer to the middle of what is cut")
    if flat and marks is not None and marks.tops is None and all(bare[k] <= travel[k] + SUMS for k in short if k < 2):
        ways.append("write [marks] at, with marks nearer to each other")
    if 2 in short and not begun and cut[2] <= up and clamping.setup.z_zero == "bed":
        ways.append('write [setup] z_zero = "stock-top"')
    return "".join(f"{way}, or " for way in ways)


def _lifted(clamping: Clamping, over: float) -> tuple[str, str]:
    """What has the cutter lifted so much more than the machine can, and what helps: a lower clamp, less clearance."""
    boxes, units = sorted(enumerate(clamping.setup.keep_out, 1), key=lambda one: -one[1].height), clamping.units
    others = [clamping.stock.thickness, *(box.height for _, box in boxes[1:])]
    least = max(LEAST_CLEARANCE, clamping.setup.feeler)
    most = rounded_down(clamping.machine.clearance - over)
    clear = f"make clearance {most:g} mm or less, or " if most > least else ""
    if boxes and (box := boxes[0][1]).height - max(others) >= over:
        lower = format_length(rounded_down(box.height - over), units)
        tenth = box.height / 10
        slip = f" (is {format_length(tenth, units)} meant?)" if tenth >= clamping.stock.thickness else ""
        return (f", lifted over keep_out {boxes[0][0]}, {format_length(box.height, units)} high",
                f"{clear}measure that clamp's height from the bed{slip}, or use one {lower} high or lower, or ")
    return "", clear
