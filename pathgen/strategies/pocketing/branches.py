"""Lines of a v cutter that rise and sink: the order they are cut in, and at which end the cutter goes into each.

A line is entered where its tip is still in air: where another line or an earlier cutter has been as deep, or at an
end where the walls close in and its depth is nothing. From there it sinks along the line. Only a line with wood at
both ends, and nothing cut beside it, is ramped into to and fro, if it is long enough for that.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely

from pathgen.base.arrays import Bools, Floats, Ints
from pathgen.base.toolpath import along_in_plan
from pathgen.strategies.entering import to_and_fro
from pathgen.strategies.pocketing.linking import tour
from pathgen.strategies.pocketing.shapes import Shapes
from pathgen.strategies.pocketing.tracing import Trace

_MET = 0.15
"""Ends of lines nearer to each other than this (mm) are one fork, if one of them opened all that lies between."""
_SHALLOW = 0.05  # a tip that goes straight down into no more wood than this (mm) is as good as in air


@dataclass(frozen=True, eq=False, kw_only=True)
class Branch:
    """A stretch of the middle line."""

    line: Floats
    """(n, 3): axis in plan and depth of the tip below the surface, mm."""
    open: Bools
    """(2,): whether earlier cuts have opened as much at its first and its last point: the cutter goes down in air."""


def between(line: Floats, above: float, depth: float) -> Floats:
    """A line's stretch from where it first is deeper than `above` to where it last is, and no deeper than `depth`. With
    a point wherever it passes either depth; empty where it is nowhere deeper."""
    fine = line
    for level in (above, depth):
        a, b = fine[:-1], fine[1:]
        crosses = (a[:, 2] - level) * (b[:, 2] - level) < 0.0
        if not crosses.any():
            continue
        t = (level - a[crosses, 2]) / (b[crosses, 2] - a[crosses, 2])
        at = a[crosses] + t[:, None] * (b[crosses] - a[crosses])
        at[:, 2] = level
        fine = np.insert(fine, np.flatnonzero(crosses) + 1, at, axis=0)
    deeper = np.flatnonzero(fine[:, 2] > above + 1e-9)
    if not len(deeper):
        return fine[:0]
    cut = fine[max(deeper[0] - 1, 0) : deeper[-1] + 2].copy()
    cut[:, 2] = np.minimum(cut[:, 2], depth)
    return cut


def trace_branches(branches: list[Branch], layers: Floats, trace: Trace, wall_slope: float) -> None:
    """Each group of branches that meet in turn, the nearest next, through all its layers. `wall_slope` is the rise over
    run of the cutter's flank."""
    if not branches:
        return
    groups = _that_meet(branches)
    starts = np.array([branches[group[0]].line[0, :2] for group in groups])
    for g in tour(starts, starts[0]):
        for above, cuts, _ in _by_layer(branches, groups[g], layers):
            for turn in _turns(cuts, above, trace, wall_slope):
                _enter(turn, above, trace)
                trace.follow(turn.line[:, :2], turn.line[:, 2])


def with_ways_in(branches: list[Branch], layers: Floats, trace: Trace, wall_slope: float) -> list[int]:
    """Which branches a cutter that cannot cut at its centre gets into in every layer: through air, from others that it
    gets into, or down a ramp."""
    kept = list(range(len(branches)))
    while True:
        some = [branches[k] for k in kept]
        blind = {
            int(of[turn.number])
            for group in (_that_meet(some) if some else [])
            for above, cuts, of in _by_layer(some, group, layers)
            for turn in _turns(cuts, above, trace, wall_slope) if turn.blind
        }
        if not blind:
            return kept
        kept = [k for number, k in enumerate(kept) if number not in blind]


def _by_layer(
    branches: list[Branch], group: Ints, layers: Floats
) -> Iterator[tuple[float, list[tuple[Floats, Bools]], Ints]]:
    """For each layer how deep the one before was, the stretches of a group's lines in it with their ends that are open,
    and the branch that each is of."""
    above = 0.0
    for depth in layers:
        lines = [between(branches[k].line, above, float(depth)) for k in group]
        some = [i for i, line in enumerate(lines) if len(line) > 1]
        yield above, [(lines[i], branches[group[i]].open) for i in some], group[some]
        above = float(depth)


def _that_meet(branches: list[Branch]) -> list[Ints]:
    """Groups of branches whose lines come within `_MET` of each other."""
    lines: Shapes = np.array([shapely.linestrings(branch.line[:, :2]) for branch in branches], dtype=object)
    a, b = shapely.STRtree(lines).query(lines, predicate="dwithin", distance=_MET)
    group = np.arange(len(lines))
    while True:
        lowest = group.copy()
        np.minimum.at(lowest, a, group[b])
        if np.array_equal(lowest, group):
            break
        group = lowest
    return [np.flatnonzero(group == number) for number in np.unique(group)]


def _meet(ends: Floats, at: Floats, wall_slope: float) -> Bools:
    """Which (n, 2, 3) ends of lines lie in what was opened at a point, or open it, and no deeper than that."""
    away = np.hypot(ends[..., 0] - at[0], ends[..., 1] - at[1])
    opened = np.maximum(ends[..., 2], at[2]) / wall_slope
    return np.asarray((away <= np.minimum(_MET, opened)) & (ends[..., 2] <= at[2] + _SHALLOW))


@dataclass(frozen=True, eq=False)
class _Turn:
    """Which line of a layer is cut next, from its first point; whether that is in air; whether the cutter is there
    already; whether it has no way in, and is not cut."""

    number: int
    line: Floats
    air: bool
    linked: bool
    blind: bool


def _turns(cuts: list[tuple[Floats, Bools]], above: float, trace: Trace, wall_slope: float) -> Iterator[_Turn]:
    """The lines of one group in one layer in the order to cut; `above` is how deep the layer before was."""
    if not cuts:
        return
    short = np.array([not (trace.plunges or trace.ramps_on(line)) for line, _ in cuts])
    ends = np.array([[line[0], line[-1]] for line, _ in cuts])
    air = np.array([is_open for _, is_open in cuts]) | (ends[..., 2] <= above + _SHALLOW)
    waiting = np.ones(len(cuts), bool)
    here: Floats | None = None
    while waiting.any():
        k, last, linked = _next(ends, air, waiting, here, wall_slope, short)
        line = cuts[k][0][::-1] if last else cuts[k][0]
        waiting[k], blind = False, bool(short[k] and not air[k, last] and not linked)
        yield _Turn(k, line, bool(air[k, last]), linked, blind)
        if blind:
            continue
        here = line[-1]
        for end in (line[0], line[-1]):  # what others find there has been cut, as deep as this one went
            air |= _meet(ends, end, wall_slope)


def _next(
    ends: Floats, air: Bools, waiting: Bools, here: Floats | None, wall_slope: float, short: Bools
) -> tuple[int, int, bool]:
    """Which line to cut next, whether from its last point, and whether the cutter is there already.

    Rather from where the cutter is; then rather where it goes down in air, the nearest; else at the shallower end,
    those too `short` for a ramp last.
    """
    start = ends[0, 0] if here is None else here
    away = np.hypot(ends[..., 0] - start[0], ends[..., 1] - start[1])
    linked = _meet(ends, here, wall_slope) if here is not None else np.zeros_like(air)
    cost = np.where(linked, away, np.where(air, 1e3 + away, 1e6 + away + 1e3 * ends[..., 2] + 1e9 * short[:, None]))
    k, last = np.unravel_index(int(np.argmin(np.where(waiting[:, None], cost, np.inf))), cost.shape)
    return int(k), int(last), bool(linked[k, last])


def _enter(turn: _Turn, above: float, trace: Trace) -> None:
    """To a line's first point: along from where the cutter is, by a ramp to and fro on the line, or straight down: in
    air, and where the line is too short for a ramp."""
    line = turn.line
    if turn.linked:
        return
    if turn.air or not trace.ramps_on(line):
        trace.hop(line[0, :2], float(line[0, 2]))
        return
    way = to_and_fro(line, (line[0, 2] - above) / trace.ramp)
    along = along_in_plan(way)
    depth = np.minimum(way[:, 2], above + (line[0, 2] - above) * along / along[-1])
    trace.hop(way[0, :2], float(depth[0]))
    trace.follow(way[:, :2], depth)
