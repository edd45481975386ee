"""How each program is run: feeds, spindle, start and end, travel."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import replace

import numpy as np

from pathgen.base.arrays import Bools, first_of_most
from pathgen.base.plain import time_words
from pathgen.base.units import INCH, beside_limit, format_length
from pathgen.removal.motion import Motion
from pathgen.verify.abilities import sinking, too_fast
from pathgen.verify.findings import AGAIN, Finding, Tolerances, at, at_end
from pathgen.verify.keep_outs import keep_out_findings
from pathgen.verify.program import ReadMove, ReadProgram
from pathgen.work.clamping import Clamping, Step
from pathgen.work.operations import WitnessMarks

_ACTIVE = re.compile(r"\s*(?:m\s*s\s*g\s*,|[a-z]+\s*,|(?:log|print|probe)[a-z]*(?:open|close|start|stop)\b)", re.I)
"""How a comment begins that a controller may obey: MSG and a comma (RS274/NGC, 3.3.4); derived from it, any one word
and a comma, and a word that opens or closes a record."""
_AS_GOOD = {"mm": 0.005, "in": 0.0002}
"""Corners rounded by no more are as good as written, in the program's own unit: half of what slots may lie off."""
LONGEST_WAIT = 60.0
"""A longer G4 than this is told, s: none is asked for by a job, and P is likely to count thousandths."""
_STATED = {"distance": "G90", "feed mode": "G94", "plane": "G17"}
_UNITS = {"mm": "mm (G21)", "in": "inches (G20)", "unset": "no stated unit (no G20 or G21 before them)"}


def program_findings(
    program: ReadProgram, motion: Motion, step: Step, clamping: Clamping, tolerances: Tolerances
) -> Iterator[Finding]:
    """All that can be said of one program without cutting anything."""
    if not program.ended:
        yield Finding(code="no-end", where=at(program.name, program.lines),
                      got="no M30, M2 or closing %: the file may be cut short", allowed="a program with its end")
    if not motion.cutting.any():
        yield Finding(code="cuts-nothing", where=program.name, got="no feed moves", allowed="a program that cuts")
        return
    if program.coolant:
        yield Finding(
            code="coolant-on", severity="warn", where=at(program.name, program.coolant), got="M7 or M8: coolant on",
            allowed="no coolant word: wood and resin are cut dry",
            remedy="take it out, unless it switches your dust extraction",
        )
    yield from _active_comments(program)
    yield from rounded_corners(program)
    yield from long_waits(program)
    yield from _header(program, step, clamping)
    yield from _spindle(program, step, clamping) if step.operation.spins else _first(
        program, program.spindle != 0, "spindle-on", "the spindle turning over the marks", "no M3 in this program",
        AGAIN)
    yield from _feeds(program, motion, step, clamping, tolerances)
    yield from _start_and_end(program, motion, clamping, tolerances)
    yield from _waits(program, motion, clamping)
    yield from _bounds(program, motion, step, clamping, tolerances)
    yield from keep_out_findings(motion, step, clamping)


def travel_findings(
    programs: Mapping[str, ReadProgram], clamping: Clamping, back: Mapping[str, ReadProgram] | None = None
) -> Iterator[Finding]:
    """All programs together must fit in the machine's travel, and their zero with them, wherever that lies in it.

    So must those of the `back`, whose X 0 and Y 0 are the same; their Z 0 is not.
    """
    if clamping.machine.travel is None or not programs:
        return
    ends = np.concatenate([np.concatenate(program.straight(0.01)[:2]) for program in programs.values()])
    if not len(ends):
        return
    for program in (back or {}).values():
        places = np.concatenate(program.straight(0.01)[:2])
        places[:, 2] = np.nan
        ends = np.concatenate([ends, places])
    set_at = [0.0, 0.0, 0.0] if clamping.moved is None else [np.nan, np.nan, 0.0]  # of work that moved X and Y stay
    ends = np.concatenate([ends, [set_at]])
    with np.errstate(all="ignore"):
        span = np.nanmax(ends, axis=0) - np.nanmin(ends, axis=0)
    for axis, (got, limit) in enumerate(zip(span, clamping.machine.travel, strict=True)):
        if got > limit + 2 * Tolerances().rounding:
            yield Finding(code="beyond-travel", where=f"all programs, {'XYZ'[axis]}",
                          got=f"a span of {beside_limit(got, limit)}",
                          allowed=f"{limit:g} mm of travel", remedy="turn the work, or shorten it")


def rounded_corners(program: ReadProgram) -> Iterator[Finding]:
    """Corners that the machine may round are judged as they are written."""
    line, most = max(program.blends, key=lambda one: one[1], default=(0, 0.0))
    if most > _AS_GOOD["in"] * INCH * (1 + 1e-9):
        unit = "in" if program.units == {"in"} else "mm"
        yield Finding(
            code="corners-rounded", severity="warn", where=at(program.name, line), got="G64: corners may be rounded "
            + (f"by {most:g} mm" if math.isfinite(most) else "as far as the machine likes"), allowed="the path as it "
            "is written, which alone is judged here", remedy=f"take G61, or G64 P{_AS_GOOD[unit]:g}"
            + " (where G21 is in force)" * (len(program.units) > 1),
        )


def long_waits(program: ReadProgram) -> Iterator[Finding]:
    """The longest wait, where it is longer than any that is meant in seconds, as RS274/NGC counts them (3.5.4)."""
    line, seconds = max(program.waits, key=lambda one: one[1], default=(0, 0.0))
    if seconds > LONGEST_WAIT:
        yield Finding(
            code="long-wait", severity="note", where=at(program.name, line),
            got=f"G4 P{seconds:g} is read as seconds, a wait of {time_words(seconds / 60.0)}",
            allowed=f"up to {LONGEST_WAIT:g} s", remedy="does your machine count thousandths? then it waits "
            f"{seconds / 1000.0:g} s there, else have that written: P{seconds / 1000.0:g}",
        )


def _active_comments(program: ReadProgram) -> Iterator[Finding]:
    """The first comment that a controller may obey instead of skipping it."""
    for line, text in program.comments:
        if _ACTIVE.match(text):
            yield Finding(
                code="active-comment", severity="warn", where=at(program.name, line),
                got=f"a comment that begins with {text.strip()[:12]}, which some controllers obey",
                allowed="comments that only a reader heeds", remedy="put another word before it, or take it out",
            )
            return


def _stated(program: ReadProgram, key: str) -> tuple[str, int]:
    """What its comments say after a key, those that go on it with it, and in which line; empty where none does."""
    words = [text.strip() for _, text in program.comments]
    at_line = next((k for k, text in enumerate(words) if text.startswith(f"{key} ")), None)
    if at_line is None:
        return "", 0
    more = itertools.takewhile(lambda text: text.startswith(".. "), words[at_line + 1:])
    return " ".join([words[at_line].removeprefix(f"{key} "), *(text.removeprefix(".. ") for text in more)]), \
        program.comments[at_line][0]


def _header(program: ReadProgram, step: Step, clamping: Clamping) -> Iterator[Finding]:
    if program.units != {clamping.units}:
        yield Finding(
            code="other-units",
            where=at(program.name, next((line for line, unit in program.unit_lines if unit != clamping.units), None)),
            got=f"its numbers are read as {' and '.join(_UNITS.get(unit, unit) for unit in sorted(program.units))}",
            allowed=f"{_UNITS[clamping.units]}, as the job is",
        )
    cutter, (said, line) = step.cutter, _stated(program, "cutter")
    asked = f"{cutter.shape}, {format_length(cutter.diameter, clamping.units)}"
    asked += f", {cutter.angle:g} degrees" if cutter.angle is not None else ""
    if ": " in said and f": {asked}, " not in said:
        yield Finding(
            code="other-cutter", where=at(program.name, line), got=f"its head says: cutter {said}",
            allowed=f"{asked}, as the job has it: by its head the cutter is fitted",
        )
    if program.assumed:
        words = " ".join(_STATED[one] for one in _STATED if one in program.assumed)
        yield Finding(
            code="mode-not-stated", where=program.name, got=f"no {words}: what the machine was left in counts",
            allowed="G90 before the first move, G94 before the first at a feed, G17 before the first arc",
        )
    offsets = set(np.unique(program.offset).tolist())
    if offsets != {54}:
        line = int(program.line[np.flatnonzero(program.offset != 54)[0]])
        got = ", ".join(f"G{o}" if o else "none" for o in sorted(offsets))
        yield Finding(code="other-work-offset", where=at(program.name, line), got=f"work offset {got}",
                      allowed="G54 throughout")


def _spindle(program: ReadProgram, step: Step, clamping: Clamping) -> Iterator[Finding]:
    cutting = program.kind != ReadMove.RAPID
    yield from _first(
        program, cutting & (program.spindle == 0), "spindle-off", "a feed move with the spindle off",
        "M3 with S before any feed move", "start the spindle first",
    )
    yield from _first(
        program, cutting & (program.spindle != 0) & (program.speed <= 0), "spindle-off",
        "a feed move at no speed: the spindle is started, but S is 0 or missing", "M3 with S before any feed move",
        f"write S{step.cutter.speed:g} beside M3",
    )
    yield from _first(
        program, cutting & (program.spindle < 0), "spindle-backwards",
        "the spindle turning counter-clockwise (M4)", "M3", "use M3",
    )
    off = np.abs(program.speed - step.cutter.speed) > 0.01 * step.cutter.speed
    wrong = cutting & (program.spindle != 0) & (program.speed > 0) & off
    if wrong.any():
        speed = program.speed[np.argmax(wrong)]
        yield from _first(
            program, wrong, "spindle-speed", f"S{speed:g}", f'S{step.cutter.speed:g} for cutter "{step.cutter.name}"',
            AGAIN,
        )
    if program.waited < clamping.machine.spin_up - 1e-3:
        yield Finding(
            code="no-spin-up", severity="warn", where=program.name,
            got=f"a wait of {program.waited:g} s between M3 and the first cut",
            allowed=f"[machine] spin_up, {clamping.machine.spin_up:g} s, as G4 P",
            remedy="let the spindle come up to speed",
        )
    if program.spindle_left_on:
        yield Finding(code="spindle-left-on", where=program.name, got="the spindle turning at the end",
                      allowed="M5 before the end", remedy="stop it")


def _feeds(
    program: ReadProgram, motion: Motion, step: Step, clamping: Clamping, tolerances: Tolerances
) -> Iterator[Finding]:
    cutter, cutting = step.cutter, ~motion.rapid
    yield from _first(
        program, (program.kind != ReadMove.RAPID) & (program.feed <= 0), "no-feed", "a feed move before any F",
        "F before it (NISTIR 6556, 3.5.2)", "give a feed",
    )
    fast = cutting & too_fast(motion.feed, cutter.feed, tolerances)
    if fast.any():
        i = int(np.argmax(np.where(fast, motion.feed, 0)))
        yield Finding(code="feed-too-fast", where=at(program.name, int(motion.line[i])),
                      got=f"{motion.feed[i]:.1f} mm per minute",
                      allowed=f'{cutter.feed:g} mm per minute for cutter "{cutter.name}"', remedy="slow down")
    slow = cutting & (motion.feed > 0) & (motion.feed < 0.2 * min(cutter.plunge, cutter.eased_feed))
    if slow.any():
        i = int(np.argmax(slow))
        yield Finding(
            code="feed-too-slow", severity="warn", where=at(program.name, int(motion.line[i])),
            got=f"{motion.feed[i]:.1f} mm per minute",
            allowed=f"feeds near {cutter.feed:g} mm per minute and {cutter.plunge:g} mm per minute",
            remedy="a cutter that rubs burns the wood: check the feed",
        )
    run = clamping.to_machine(motion.end, step) - clamping.to_machine(motion.start, step)  # down is along the spindle
    rate = sinking(run, motion.feed, tolerances)
    plunging = cutting & too_fast(rate, cutter.plunge, tolerances)
    plunging &= ~(motion.end[:, 2] > max(_tops(clamping)))  # nothing stands so high
    if plunging.any():
        i = first_of_most(np.where(plunging, rate, 0.0), 0.5)
        yield Finding(code="plunge-too-fast", where=at_end(program.name, motion, i),
                      got=f"down at {rate[i]:.0f} mm per minute",
                      allowed=f'{cutter.plunge:g} mm per minute for cutter "{cutter.name}"',
                      remedy="go down at the plunge feed")


def _start_and_end(
    program: ReadProgram, motion: Motion, clamping: Clamping, tolerances: Tolerances
) -> Iterator[Finding]:
    lowest = _clear_of_all(clamping) - tolerances.rounding
    sideways = np.isfinite(motion.end[:, :2]).any(axis=1) & (motion.start[:, :2] != motion.end[:, :2]).any(axis=1)
    unknown, low = ~np.isfinite(motion.start).all(axis=1), f"Z {lowest - clamping.z_zero:.2f} mm or higher"
    blind = sideways & ~(motion.start[:, 2] >= lowest) & unknown
    drop = unknown & ~sideways & (motion.end[:, 2] < lowest)
    if (blind | drop).any():  # after the first of them all may be so
        i = int(np.argmax(blind | drop))
        lifted = (motion.end[:i, 2] >= lowest).any()
        yield Finding(code="no-retract-first", where=at(program.name, int(motion.line[i])),
                      got="a move down at a place that is not known: no X and Y stand before it" if drop[i] else
                      "a move in X or Y before the cutter has been lifted clear",
                      allowed=f"X and Y first, at {low}" if lifted else f"{low} first",
                      remedy="write the X and Y that it is to go down at before it: is a line missing there?" if lifted
                      else "lift before the first X or Y")
    if motion.end[-1, 2] < lowest:
        yield Finding(code="ends-in-the-work", where=at(program.name, int(motion.line[-1])),
                      got=f"the last position is Z {motion.end[-1, 2] - clamping.z_zero:.2f} mm",
                      allowed=f"Z {lowest - clamping.z_zero:.2f} mm or higher", remedy="lift at the end")


def _waits(program: ReadProgram, motion: Motion, clamping: Clamping) -> Iterator[Finding]:
    """A cutter that turns on one spot in the wood rubs, and burns it and itself."""
    last = np.searchsorted(motion.line, program.spun, side="right") - 1
    low = motion.cutting[last] & (motion.end[last, 2] < clamping.stock.thickness) & (last >= 0)
    for k in np.flatnonzero(low)[:1].tolist():
        x, y, _ = motion.end[last[k]].tolist()
        yield Finding(
            code="waits-in-the-cut", severity="warn", where=at(program.name, program.spun[k], x, y),
            got="it waits (G4, M0) where it last cut, and the spindle turns", allowed="waits above the work: a cutter "
            "that stays on one spot rubs and burns", remedy="lift before it",
        )


def _clear_of_all(clamping: Clamping) -> float:
    """The height from which a cutter counts as lifted clear, mm."""
    return min(clamping.safe_z, max(_tops(clamping)) + 0.5)


def _tops(clamping: Clamping) -> list[float]:
    fills = [clamping.first_surface.thickness + i.overfill for i in clamping.inlays if i.fill != "none"]
    marks = clamping.feature(WitnessMarks)
    marked = [marks.top(clamping.stock.thickness)] if marks else []
    return [clamping.stock.thickness, *marked, *(k.height for k in clamping.setup.keep_out), *fills]


def _bounds(
    program: ReadProgram, motion: Motion, step: Step, clamping: Clamping, tolerances: Tolerances
) -> Iterator[Finding]:
    x0, y0, x1, y1 = clamping.stock.bounds
    margin = step.cutter.diameter + tolerances.overrun
    x, y, z = motion.end.T
    off = (x < x0 - margin) | (x > x1 + margin) | (y < y0 - margin) | (y > y1 + margin)
    # to a place to park, or back: over all that stands there, on a machine whose travel is known and held to
    high = motion.rapid & (np.minimum(motion.start[:, 2], z) >= _clear_of_all(clamping) - tolerances.rounding)
    parked = off & high & (clamping.machine.travel is not None)
    if off.any():
        i = int(np.argmax(off & ~parked)) if (off & ~parked).any() else int(np.argmax(parked))
        found = Finding(code="off-the-stock", where=at(program.name, int(motion.line[i]), x[i], y[i]),
                        got="a move past the edge of the blank", allowed=f"no more than {margin:.1f} mm past it",
                        remedy="check the zero and the units")
        yield found if not parked[i] else replace(
            found, severity="warn", got="a rapid above everything, to past the edge of the blank",
            remedy="see that nothing stands there")
    floor = min(step.operation.bottom, 0.0) - tolerances.below_bed
    deepest = int(np.nanargmin(z))
    if z[deepest] < floor:
        yield Finding(code="below-the-bed", where=at(program.name, int(motion.line[deepest]), x[deepest], y[deepest]),
                      got=f"{-z[deepest]:.3f} mm below the underside of the work", allowed=f"{-floor:.3f} mm",
                      remedy="check the zero and the depth")


def _first(program: ReadProgram, wrong: Bools, code: str, got: str, allowed: str, remedy: str) -> Iterator[Finding]:
    """One finding, at the first motion that is wrong, saying how many there are."""
    if wrong.any():
        i, count = int(np.argmax(wrong)), int(wrong.sum())
        more = f" ({count} moves)" if count > 1 else ""
        yield Finding(code=code, where=at(program.name, int(program.line[i])), got=got + more, allowed=allowed,
                      remedy=remedy)
