"""How one program is run that nobody has a job for: units, spindle, start and end, the bed, waits in the wood."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from pathgen.verify.findings import Finding, Tolerances, at, at_end
from pathgen.verify.handling import long_waits, rounded_corners
from pathgen.verify.heights import MUCH_BESIDE, HeightField, Took, beside_words
from pathgen.verify.program import ReadProgram

_BESIDE = 0.05
"""Wood that stands nearer than this to a cutter holds it, mm, and is touched."""


def as_run(program: ReadProgram, field: HeightField) -> Iterator[Finding]:
    """All that can be said of it beside what it cuts; `field` is what it left."""
    yield from _unsaid(program)
    yield from _spindle(program, field)
    yield from rounded_corners(program)
    yield from long_waits(program)
    yield from _start(field)
    yield from _below(field)
    yield from _stays(program, field)
    yield from _end(program, field)
    yield from _place(field)


def _unsaid(program: ReadProgram) -> Iterator[Finding]:
    """Moves before G20 or G21, or G90: a machine takes them as the program before left it."""
    if "unset" in program.units:
        yield Finding(code="units-unsaid", severity="warn", where=program.name, got="moves before any G20 or G21, read "
                      "as mm", allowed="G21 or G20 before the first move",
                      remedy="write G21 into its first line if mm are meant, else G20")
    if "distance" in program.assumed:
        yield Finding(code="mode-not-stated", severity="warn", where=program.name, got="moves before any G90 or G91, "
                      "read as places", allowed="G90 or G91 before the first move",
                      remedy="write G90 into its first line if places are meant, else G91")


def _spindle(program: ReadProgram, field: HeightField) -> Iterator[Finding]:
    """What takes wood must turn, clockwise; and it must stop at the end, which must be there."""
    took = field.took[-1]
    turns, speed = program.spindle[took.motion.motion], program.speed[took.motion.motion]
    cuts, still = ~took.rapid & (took.bites.volume > 0), (turns != 0) & (speed <= 0)
    said = (took.line >= program.speed_line) & (program.speed_line > 0)
    for code, wrong, got in (("spindle-off", cuts & (turns == 0), "a cut with the spindle off"),
                             ("spindle-off", cuts & still & said, "a cut at S0, with the spindle standing still"),
                             ("spindle-backwards", cuts & (turns < 0), "the spindle turning counter-clockwise (M4)")):
        if wrong.any():
            yield Finding(code=code, where=at(took.name, int(took.line[np.argmax(wrong)])), got=got,
                          allowed="M3 with S before the first cut", remedy="start the spindle first, with M3 and S")
    if (unsaid := cuts & still & ~said).any():
        yield Finding(code="speed-unsaid", severity="warn", where=at(took.name, int(took.line[np.argmax(unsaid)])),
                      got="a cut before any S: the spindle turns as it was left, or not at all", allowed="S with M3",
                      remedy="write S, or see that the speed is set by hand")
    if program.spindle_left_on:
        yield Finding(code="spindle-left-on", where=took.name, got="the spindle turning at the end",
                      allowed="M5 before the end", remedy="stop it with M5")


def _start(field: HeightField) -> Iterator[Finding]:
    """The first move must be a lift."""
    took = field.took[-1]
    if not took.moves:
        return
    sideways, high = np.isfinite(took.end[0, :2]).any(), np.isfinite(took.end[0, 2])
    if not high:
        yield Finding(code="height-unknown", where=at(took.name, int(took.line[0])),
                      got="its first move goes aside at the height where the cutter was left, maybe on the work",
                      allowed="Z first",
                      remedy="lift to a safe height in the first move")
    elif sideways:
        yield Finding(code="height-unknown", severity="warn", where=at(took.name, int(took.line[0])),
                      got="its first move goes aside as it rises or sinks, from a height that is not known",
                      allowed="Z alone first", remedy="lift to a safe height in a line of its own first")


def _below(field: HeightField) -> Iterator[Finding]:
    """What goes below the underside goes into the bed: an outline does so, by a little."""
    took = field.took[-1]
    z = np.where(np.isfinite(took.end[:, 2]), took.end[:, 2], 0.0)
    for rapid, got in ((True, "a rapid to {:.3f} mm below the underside of the work, where the bed is"),
                       (False, "it cuts to {:.3f} mm below the underside of the work, into what lies under it")):
        low = np.where(took.rapid == rapid, z, 0.0)
        if low.min(initial=0.0) < -Tolerances().below_bed:
            worst = int(np.argmin(low))
            yield Finding(code="below-the-bed", severity="forbid" if rapid else "warn",
                          where=at_end(took.name, took.motion, worst), got=got.format(-low[worst]),
                          allowed="rapids above it" if rapid else "a little, where it cuts through, with something to "
                          "cut into under the work", remedy="are its zero (zero=..) and the blank's thickness right?")


def _stays(program: ReadProgram, field: HeightField) -> Iterator[Finding]:
    """A cutter that turns on one spot in the wood burns; one that stops or starts there is held fast and breaks."""
    took = field.took[-1]
    lines = [(line, "it waits (G4, M0) in the wood, and the spindle turns", "lift before it") for line in program.spun]
    changes = np.flatnonzero(np.diff(np.sign(program.spindle)) != 0)
    last_of = np.searchsorted(took.motion.motion, changes, side="right") - 1
    stops = [(int(k), "after this move the spindle stops or starts, and the cutter stands in the wood",
              "lift first, then M5 or M3") for k in last_of]
    waits = [(int(np.searchsorted(took.line, line, side="right")) - 1, got, remedy) for line, got, remedy in lines]
    for moves, code in ((waits, "waits-in-the-cut"), (stops, "stops-in-the-cut")):
        for move, got, remedy in moves:
            if move >= 0 and not took.rapid[move] and _wood_at(field, move, field.before) > took.end[move, 2]:
                yield Finding(code=code, severity="warn", where=at_end(took.name, took.motion, move), got=got,
                              allowed="above the work", remedy=remedy)
                break


def _end(program: ReadProgram, field: HeightField) -> Iterator[Finding]:
    """It ends above all that stands there, and by M30 or its like."""
    took = field.took[-1]
    if took.moves and np.isfinite(took.end[-1, 2]):
        z, stands = float(took.end[-1, 2]), float(np.max(field.top, initial=-np.inf))
        if z <= stands + Tolerances().rapid and np.isfinite(_wood_at(field, -1, field.before)):
            yield Finding(code="ends-in-the-work", where=at_end(took.name, took.motion, -1),
                          got=f"it ends {z:.3f} mm above the underside, over the blank, where wood stands up to "
                          f"{stands:.3f} mm", allowed="an end above the work", remedy="lift at the end, before M5")
    if not program.ended:
        yield Finding(code="no-end", severity="warn", where=took.name,
                      got="no M30, M2 or closing %: the file may be cut short", allowed="a program with its end",
                      remedy="see that its last line is there")


def _wood_at(field: HeightField, move: int, stood: np.ndarray) -> float:
    """How high wood stood within a cutter's width of the end of a move; minus infinity where none did, or it is not
    known."""
    took = field.took[-1]
    x, y = took.end[move, :2]
    near = took.cutter.radius + _BESIDE
    if not (np.isfinite(x) and np.isfinite(y)):
        return -np.inf
    columns, rows = np.flatnonzero(np.abs(field.x - x) <= near), np.flatnonzero(np.abs(field.y - y) <= near)
    if not len(columns) or not len(rows):
        return -np.inf
    inside = np.hypot(field.x[columns] - x, field.y[rows, None] - y) <= near
    return float(np.max(stood[np.ix_(rows, columns)], where=inside, initial=-np.inf))


def _place(field: HeightField) -> Iterator[Finding]:
    """Much of what is cut lies over no blank, or nothing of it is met."""
    took, share = field.took[-1], field.beside
    if share > MUCH_BESIDE:
        yield Finding(code="beside-blank", severity="warn", where=took.name, got=beside_words(share),
                      allowed="over the blank", remedy="are the blank's corner and the program's zero right?")
    elif not took.volume:
        got, remedy = _of_nothing(took, float(np.max(field.before, initial=0.0)))
        yield Finding(code="cuts-nothing", severity="warn", where=took.name, got=got, allowed="a program that cuts",
                      remedy=remedy)


def _of_nothing(took: Took, stands: float) -> tuple[str, str]:
    """Why a program that takes nothing takes nothing, and what to do."""
    known = np.isfinite(np.hstack([took.start, took.end])).all(axis=1)
    if took.rapid.all():
        return "no move at a feed", "is it all there?"
    if not (known & ~took.rapid).any():
        return "nothing is cut that could be followed: of no move at a feed is it known from where to where it goes", \
            "write Z, then X and Y, before the first"
    low = float(np.min(took.end[known & ~took.rapid, 2]))
    return (f"nothing is cut: its lowest move at a feed is {abs(low):.3f} mm {'above' if low >= 0 else 'below'} the "
            f"underside, the wood stands {stands:.3f} mm high"), "are its zero (zero=..) and the blank right?"
