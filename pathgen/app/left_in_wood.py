"""Whether programs that were run left of the wood what those that stand for them now would have left."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from pathgen.base.errors import PathgenError
from pathgen.removal.grid import Grid, Heights
from pathgen.removal.material import most_work
from pathgen.verify.cutting import in_pieces
from pathgen.verify.findings import Tolerances
from pathgen.verify.over_board import motion_over_board
from pathgen.verify.read import read_program
from pathgen.verify.simulate import simulate
from pathgen.work.clamping import Clamping, Step
from pathgen.work.moved import Moved

_APART = 0.2  # mm between the points that are looked at, where these are no more than
_POINTS = 1_000_000
_OFF = 0.01  # heights that lie nearer are the same, mm


@dataclass(frozen=True, eq=False, kw_only=True)
class Ran:
    """A program as it was run, for work that lay so, and what stands for it now."""

    text: str
    moved: Moved | None
    now: str
    alike: bool
    """Whether both are known to cut the same."""


def left_alike(clamping: Clamping, ran: Mapping[Step, Ran]) -> bool:
    """Whether the wood of a clamping stands, after steps that were run, as it would had they been run as they are now:
    what later programs find. By simulation, filled in between; without one that could be made it does not. Walls are
    looked at to a fifth of a millimetre, which no later program asks for more closely.
    """
    if not all(one.alike or _cutter(one.text) == _cutter(one.now) is not None for one in ran.values()):
        return False
    whole = replace(clamping, steps=tuple(sorted(ran, key=lambda step: step.order)))
    try:
        then, now = (_left(whole, ran, as_run) for as_run in (lambda one: True, lambda one: one.alike))
    except PathgenError:  # a folder holds what was put there
        return False
    return bool(then) and bool(now) and all(
        (np.abs(np.maximum(a, 0) - np.maximum(b, 0)) <= _OFF).all() for a, b in zip(then, now, strict=True))


def _cutter(text: str) -> str | None:
    """Name, shape and diameter of a program's cutter, as its header states them."""
    found = re.search(r"^\((cutter [^:()\n]+: [^,()\n]+, [^,()\n]+),", text, re.MULTILINE)
    return found and found[1]


def _left(clamping: Clamping, ran: Mapping[Step, Ran], as_run: Callable[[Ran], bool]) -> list[Heights]:
    """What stands there after programs as they were run, or as they are now, and the floors under each fill; nothing
    where there is too much to work out."""
    x0, y0, x1, y1 = clamping.stock.bounds
    spacing = max(_APART, math.sqrt((x1 - x0) * (y1 - y0) / _POINTS))
    grid, tolerances, motions, lines = Grid.over(clamping.stock.bounds, spacing), Tolerances(), {}, 0
    for step, one in ran.items():
        program = read_program(one.text if as_run(one) else one.now)
        lay = replace(clamping, moved=one.moved, moved_from=0) if as_run(one) else clamping
        moves = motion_over_board(program, lay, chord_tolerance=tolerances.chord, step=step)
        motions[step.order] = in_pieces(moves, step, spacing)
        lines += len(program) + math.ceil(program.chords)
    found = simulate(clamping, motions, grid, tolerances, note=False, most=most_work(grid, len(ran), lines))
    return [] if found.given_up else [found.top, *(fill.floor for fill in found.poured)]
