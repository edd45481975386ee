"""With skim 0, the last pass of a re-surface must be the first finishing pass, coordinate for coordinate."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from pathgen.base.arrays import Floats, Ints
from pathgen.base.units import place_words
from pathgen.removal.motion import Motion
from pathgen.verify.findings import Finding, at
from pathgen.work.clamping import Step

ROUNDED = 3e-4
"""A point between two knots of a pass is written rounded, and so are they: so far off the line between them, mm."""


def repeat_findings(finish: Motion, again: Motion, step: Step, *, within: float = 1e-9) -> Iterator[Finding]:
    """The last run of the finish, which no rapid interrupts, against the last feed moves of the re-surface."""
    first, last = _going(finish, _last_run(finish)), _going(again, np.flatnonzero(again.cutting))
    asked, made, count = finish.end[first], again.end[last], len(first)  # long moves in pieces, as they are judged
    whole = len(last) >= count
    off = np.abs(asked - made[len(last) - count :]).max(axis=1) > within if whole else np.ones(count, bool)
    if not off.any():
        return
    begin, same = _where_it_begins(asked, made, within)
    missing = count - (len(last) - begin)
    if not same and not whole:
        yield Finding(code="resurface-differs", where=step.file_name, got=f"{len(last)} feed moves",
                      allowed=f"the {count} of the first finish's last run, after any that go through the fill")
        return
    if not same or not missing:  # as many moves as there should be: some are others
        begin, same, missing = len(last) - count, int(np.argmax(off)), 0
    row, ended = last[min(begin + same, len(last) - 1)], begin + same == len(last)
    number = _whole(finish, first) - _whole(again, last[begin:]) if missing else _whole(again, last[begin:][off])
    what = "missing" if missing > 0 else "too many" if missing else "another" if number == 1 else "others"
    (x, y, z), (asked_x, asked_y, asked_z) = _end(again, row), _end(finish, first[min(same, count - 1)])
    yield Finding(
        code="resurface-differs", where=at(step.file_name, int(again.line[row]), x, y),
        got=f"{'no move' if ended else f'a move to {z:.4f} mm above the bed'} "
        f"({abs(number)} {'move is' if abs(number) == 1 else 'moves are'} {what})",
        allowed="the first finishing pass again: " + (
            f"{place_words(asked_x, asked_y, decimals=4)}, {asked_z:.4f} mm above the bed" if same < count
            else "and no more"),
    )


def _whole(motion: Motion, rows: Ints) -> int:
    """How many moves of the text some pieces are of."""
    return len(np.unique(motion.motion[rows]))


def _end(motion: Motion, row: int) -> list[float]:
    """Where the move of the text ends that a piece is of."""
    end: list[float] = motion.end[np.flatnonzero(motion.motion == motion.motion[row])[-1]].tolist()
    return end


def _where_it_begins(asked: Floats, made: Floats, within: float) -> tuple[int, int]:
    """From which of the (m, 3) points made the (n, 3) that were asked for follow on one another, and how many do; of
    several such places where most do, and the last of these."""
    best = (0, 0)
    for begin in np.flatnonzero(np.abs(made - asked[0]).max(axis=1) <= within).tolist():
        there = min(len(asked), len(made) - begin)
        off = np.abs(asked[:there] - made[begin : begin + there]).max(axis=1) > within
        same = int(np.argmax(off)) if off.any() else there
        best = max(best, (same, begin))
    return best[1], best[0]


def part_repeat_findings(finish: Motion, again: Motion, step: Step, *, within: float = 1e-9) -> Iterator[Finding]:
    """A re-surface over a part of the board: no move along a first pass lies below it, some lie on it.

    A link that crosses the line of a pass goes where that pass may not have gone, and is held to nothing here.
    """
    first = _last_run(finish)
    starts, ends = finish.start[first], finish.end[first]
    moves = np.flatnonzero(again.cutting)
    along = np.abs(again.end[moves, 1] - again.start[moves, 1]) <= within
    along &= np.abs(again.end[moves, 0] - again.start[moves, 0]) > within
    moves = np.concatenate([moves[along], moves[along]])
    points = np.concatenate([half[moves[: along.sum()]] for half in (again.start, again.end)])
    line, on_line = again.line[moves], np.full(len(points), np.inf)
    across = np.unique(ends[:, 1])
    for y in across[np.diff(across, prepend=-np.inf) > within]:  # in a moved frame a pass may lie rounded to and fro
        own = np.abs(points[:, 1] - y) <= within
        there = (np.abs([starts[:, 1] - y, ends[:, 1] - y]) <= within).all(axis=0)
        there &= np.abs(ends - starts)[:, 0] > within
        if own.any() and there.any():
            on_line[own] = points[own, 2] - _lowest(points[own, 0], starts[there], ends[there])
    slack = within + ROUNDED
    if np.any(on_line < -slack):
        i = int(np.argmin(on_line))
        yield Finding(code="resurface-differs", where=at(step.file_name, int(line[i]), *points[i, :2]),
                      got=f"{-on_line[i]:.4f} mm below the first finishing pass",
                      allowed="the first finishing passes again")
    if not np.any(np.abs(on_line) <= slack):
        yield Finding(code="resurface-differs", where=step.file_name, got="no move along a first finishing pass",
                      allowed="the first finishing passes again, over the inlay")


def _lowest(x: Floats, starts: Floats, ends: Floats) -> Floats:
    """(n,) how low moves along one line come at each x, or nearest to it: a pass lies under the ramp into it."""
    low, high = np.minimum(starts, ends)[:, 0], np.maximum(starts, ends)[:, 0]
    at = np.clip(x[:, None], low, high)
    z = starts[:, 2] + (at - starts[:, 0]) / (ends - starts)[:, 0] * (ends - starts)[:, 2]
    away = np.abs(at - x[:, None])
    lowest: Floats = np.where(away <= away.min(axis=1, keepdims=True), z, np.inf).min(axis=1)
    return lowest


def _going(motion: Motion, rows: Ints) -> Ints:
    """Those of some moves that go anywhere: a line written twice changes nothing."""
    return rows[(motion.start[rows] != motion.end[rows]).any(axis=1)]


def _last_run(motion: Motion) -> Ints:
    """Indices of the last feed moves that no rapid interrupts."""
    cutting = np.flatnonzero(motion.cutting)
    breaks = np.flatnonzero(np.diff(cutting) > 1)
    return cutting[breaks[-1] + 1 :] if len(breaks) else cutting
