"""A cutter that cannot cut at its centre, where its way falls more steeply than its ramp: it cuts that from below.

Going down, a flat end sinks into what lies under it, with its centre too where that is in wood, as it is not beside an
earlier cut. There it lifts and comes down where the way has fallen. From there it goes to and fro, sinking no faster
than its ramp, and along the way itself only up, or down where it has been.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from pathgen.base.arrays import Bools, Floats, Ints
from pathgen.base.cutters import Cutter
from pathgen.base.toolpath import APPROACH, Move, Toolpath, along_in_plan, steps
from pathgen.strategies.easing import Standing, sunk_in_the_middle

_MORE = 1.1  # times its ramp from which a way is too steep
_IN_WOOD = 0.4  # share of what it sinks by, from which its middle is in wood
_HARDLY, _AT_MOST = 0.1, 0.2
"""Of the diameter, and mm: what it may fall by more than down its ramp, as its end is hollow."""
_LEFT = 0.01  # what may be gone straight down at the end of such a way, mm


def steepest_down(cutter: Cutter) -> float:
    """Rise over run of the steepest way down for one that cannot cut at its centre; infinite for others."""
    return cutter.steepest_ramp if cutter.is_flat and not cutter.plunges else math.inf


def too_steep(cutter: Cutter) -> float:
    """Rise over run from which a way down is more than such a cutter may sink; infinite for others."""
    return _MORE * steepest_down(cutter)


def from_below(
    path: Toolpath, cutter: Cutter, standing: Standing, *, ramp: float, kind: Move, across: Callable[[Floats], float]
) -> Toolpath:
    """The same way, but for stretches that fall too steeply with wood under the centre: these are cut from below.

    `ramp` is the rise over run that it sinks at there, by moves of a `kind`; `across` says how high the way over
    (2, 2) places is. `standing` is what stands, and stays.
    """
    limit = too_steep(cutter)
    if not math.isfinite(limit):
        return path
    step = steps(path.points)
    run = np.hypot(step[:, 0], step[:, 1])
    falls = (path.kinds != Move.RAPID) & (path.kinds != Move.PLUNGE) & (-step[:, 2] > limit * run) & (run > 1e-9)
    if not falls.any():
        return path
    share = sunk_in_the_middle(path, cutter, standing.copy())
    starts, stops = _stretches(falls, share > _IN_WOOD, along_in_plan(path.points), cutter.diameter)
    found, left, last = [], standing.copy(), 0
    drop, along = path.points[starts, 2] - path.points[stops, 2], along_in_plan(path.points)
    deep = drop - steepest_down(cutter) * (along[stops] - along[starts]) > min(_HARDLY * cutter.diameter, _AT_MOST)
    for a, b in zip(starts[deep].tolist(), stops[deep].tolist(), strict=True):
        sunk_in_the_middle(_part(path, last, a + 1), cutter, left)
        way = path.points[a : b + 1]
        high = left.highest(way[-1], cutter.radius + left.cell)  # what is thinner than a cell along a wall, too
        found += [_part(path, last, a + 1), _from_end(way, high, across(way[[0, -1], :2]), ramp, kind)]
        sunk_in_the_middle(_part(path, a, b + 1), cutter, left)
        last = b + 1
    return Toolpath.joined([*found, _part(path, last, len(path))])


def _part(path: Toolpath, first: int, stop: int) -> Toolpath:
    return Toolpath(path.points[first:stop], path.kinds[first:stop])


def _stretches(falls: Bools, much: Bools, along: Floats, near: float) -> tuple[Ints, Ints]:
    """The points at which stretches of falling moves begin and end, so far as they are near some in too `much`."""
    at = along[np.flatnonzero(falls & much)]
    if not len(at):
        return np.empty(0, np.intp), np.empty(0, np.intp)
    k = np.searchsorted(at, along).clip(1, max(len(at) - 1, 1))
    away = np.minimum(np.abs(along - at[k - 1]), np.abs(along - at[np.minimum(k, len(at) - 1)]))
    chosen = np.concatenate([[0], (falls & (away <= near)).astype(np.int8), [0]])
    edges = np.diff(chosen)
    return np.flatnonzero(edges == 1) - 1, np.flatnonzero(edges == -1) - 1


def _from_end(way: Floats, high: float, across: float, ramp: float, kind: Move) -> Toolpath:
    """What follows on the first of (n, 3) points that fall, to the last, where wood stands as high as `high`."""
    u, z, rows = along_in_plan(way), way[:, 2], list[Floats]()
    length, low = float(u[-1]), float(z[-1])

    def go(a: float, b: float, by: Move, high: float | None = None) -> float:
        """Along the way, or sinking from a height over it; the height at b."""
        inner = u[(u > min(a, b)) & (u < max(a, b))]
        of = np.append(inner if a < b else inner[::-1], b)
        heights = np.interp(of, u, z) if high is None else high - ramp * np.abs(of - a)
        rows.append(np.column_stack([np.interp(of, u, way[:, 0]), np.interp(of, u, way[:, 1]), heights,
                                     np.full(len(of), by)]))
        return float(heights[-1])

    begin = max(high, low + _LEFT)
    down = [z for z in (across, min(high + APPROACH, across)) if z > begin]
    rows.append(np.array([[*way[0, :2], across, Move.RAPID], *([*way[-1, :2], z, Move.RAPID] for z in down),
                          [*way[-1, :2], begin, Move.PLUNGE]]))
    meets, cleared = z + ramp * (length - u), 0.0  # how high over the end a way back begins that comes to each
    while begin > low + _LEFT:
        back = float(np.interp(begin, meets[::-1], u[::-1]))
        end = go(length, back, kind, begin)
        if back > 0.0:
            go(back, cleared, Move.CUT)
            end = go(cleared, back, Move.CUT)
            cleared = back
        begin = go(back, length, kind, end)
    rows.append(np.array([[*way[-1], Move.PLUNGE]]))
    found = np.concatenate(rows)
    return Toolpath(found[:, :3], found[:, 3].astype(np.int8))
