"""Whole passes along the board: taken at once, since their envelope at a row is their own height and a constant.

What that does not hold for (the ends of a slanting pass, and passes that bend) is left to be cut as moves.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from functools import cached_property
from typing import assert_never

import numpy as np

from pathgen.base.arrays import Bools, Floats, Ints
from pathgen.base.cutters import Cutter
from pathgen.removal.grid import Heights
from pathgen.removal.motion import Motion
from pathgen.removal.moves import Moves, joined, moves_of

_SHORTEST, _RADII = 10.0, 4.0  # mm, and radii: shorter ones are sooner cut with the moves beside them
_EXACT = 1e-5  # mm: what a whole pass may differ from its moves taken one by one, ten nanometres
_DROP = 0.01  # mm: a move that goes down further than this from the end of a pass cuts more than a stop there would
_WANDER = 0.003  # mm: what rounding in a program makes of a straight pass, once that is turned back with its work
_MOST_NEAR = 32  # moves that a round end may meet the work in, over one place, for them to be cut as a pass

MEAN_AHEAD = {"flat-end": 1.0, "ball-end": 2.0 / 3.0, "v": 1.0 / 2.0}
"""How far ahead of its axis a cutter takes what is before it, on average, of how far ahead it first meets it: a flank
takes it bit by bit until it is over it (derived; of a ball as of the parabola that it is near its tip)."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Pass:
    """A pass at constant y: (n,) rising `x` and tip heights `z`; cut at once but for its ends."""

    cutter: Cutter
    y: float
    x: Floats
    z: Floats
    row: int
    back: bool
    """Whether it runs toward falling x."""
    front: bool = False
    """Whether what its front cuts is told of the place that it has come to, at its ends too."""

    def moves_at(self, x: Floats) -> Ints:
        """(n,) moves of the program over places along it."""
        k = self._over(x)
        return self.row + (len(self.x) - 2 - k if self.back else k)

    def by_front(
        self, values: Heights | Bools, along: Floats, across: Floats, wet: float, *, share: float = 1.0
    ) -> tuple[slice, Floats]:
        """Some moves, and (len(across), moves) sums of `values`, (len(across), len(along)): of each, what it takes.

        That are the places that its front comes to first; `wet` is the radius of what cuts, mm. With a `share` it has
        them ahead by only so much of that.
        """
        ahead = share * np.sqrt(np.maximum(wet**2 - across**2, 0.0))[:, None] * (1.0 if self.back else -1.0)
        first, last = self._over(np.array([along[0] + ahead.min(), along[-1] + ahead.max()])).tolist()
        ends = np.full((len(across), last - first + 2), len(along))
        ends[:, 0], ends[:, 1:-1] = 0, np.searchsorted(along, self.x[first + 1 : last + 1] - ahead)
        total = np.zeros((len(across), len(along) + 1))
        np.cumsum(values, axis=1, out=total[:, 1:])
        sums = np.diff(np.take_along_axis(total, ends, axis=1), axis=1)
        if not self.back:
            return slice(self.row + first, self.row + last + 1), sums
        end = self.row + len(self.slope)
        return slice(end - last - 1, end - first), sums[:, ::-1]

    @cached_property
    def slope(self) -> Floats:
        """(n - 1,) rise over run."""
        return np.diff(self.z) / np.diff(self.x)

    @cached_property
    def steepest(self) -> float:
        return float(np.abs(self.slope).max())

    @cached_property
    def bent(self) -> Floats:
        """(n - 1,) how much its slope has changed in all by each move."""
        return np.concatenate([[0.0], np.cumsum(np.abs(np.diff(self.slope)))])

    @property
    def is_level(self) -> bool:
        """Whether its slope makes no difference to what it leaves beside it."""
        slight = self.cutter.radius * self.steepest**2 < _EXACT
        return {"ball-end": slight, "flat-end": False, "v": True}[self.cutter.shape]

    @cached_property
    def inset(self) -> float:
        """Length of each end that is to be cut as moves, mm: where the cutter touches what lies beyond it.

        0 where the front does not matter and the slope is so slight that it makes no difference: there the cutter only
        has to stop at the end.
        """
        r = self.cutter.radius
        if self.front or (self.cutter.is_flat and self.steepest):
            return r
        return r * self.steepest if not self.cutter.is_flat and r * self.steepest**2 > 2 * _EXACT else 0.0

    @property
    def is_gentle(self) -> bool:
        """Whether its envelope is known over each place: from the move over it, of a round end from those near it."""
        match self.cutter.shape:
            case "flat-end":
                rises = np.sign(self.slope[self.slope != 0])
                return not np.any((rises[:-1] < 0) & (rises[1:] > 0))
            case "v":  # beside a slope its rim, not its flank, would touch
                return self.cutter.radius * self.steepest**2 <= _EXACT * min(1.0, self.cutter.wall_slope)
            case "ball-end":
                return int(self.bends.max(initial=0)) <= _MOST_NEAR
            case unlisted:
                assert_never(unlisted)

    def envelope(self, across: Floats, at: Floats, base: Floats) -> Heights:
        """(len(across), len(at)) heights that the pass leaves, at distances `across` from it; `base` its own there."""
        r = self.cutter.radius
        if self.is_level:
            return np.add.outer(self.cutter.profile(across).astype(np.float32), base.astype(np.float32))
        if self.cutter.is_flat:
            if not self.slope.any():
                return np.broadcast_to(base.astype(np.float32), (len(across), len(at)))
            # the lower end of what the disc covers; the other end too where the pass rises and falls
            reach = np.sqrt(r * r - across**2)[:, None]
            ends = [np.interp(at + s * reach, self.x, self.z) for s in (-1.0, 1.0) if (s * self.slope < 0).any()]
            return np.minimum(ends[0], ends[-1]).astype(np.float32)
        lift = _lift(across, r, self.slope[self._over(at)])
        if self.bends.any():
            first, last = self._met(at, 1)
            near = self._bend(first, last) > _EXACT
            lift[:, near] = self._lift_at_bends(across, at[near], base[near], first[near], last[near])
        return (base + lift).astype(np.float32)

    def _over(self, at: Floats) -> Ints:
        """The move over each place."""
        return np.clip(np.searchsorted(self.x, at, side="right") - 1, 0, len(self.slope) - 1)

    def _met(self, at: Floats, widths: float) -> tuple[Ints, Ints]:
        """The first and the last move near each place: within one width a round end can be lowest over it."""
        reach = widths * self.cutter.radius * self.steepest / math.sqrt(1.0 + self.steepest**2)
        return self._over(at - reach), self._over(at + reach)

    def _bend(self, first: Ints, last: Ints) -> Floats:
        """How far at most a round end is from where the move over it alone has it, between moves that bend, mm."""
        return self.cutter.radius * self.steepest * (self.bent[last] - self.bent[first])

    @cached_property
    def bends(self) -> Ints:
        """How many moves stand near one another at each place where a bend makes a difference to a round end."""
        first, last = self._met(self.x, 2)
        return (last - first + 1)[self._bend(first, last) > _EXACT]

    def worked(self, at: Floats) -> int:
        """Places of which a height is worked out for each row: each by as many moves as may be lowest there."""
        if not self.bends.any():
            return len(at)
        first, last = self._met(at, 1)
        return int((last - first + 1).sum())

    def _lift_at_bends(self, across: Floats, at: Floats, base: Floats, first: Ints, last: Ints) -> Floats:
        """How high over its own height a round end leaves places near bends: the lowest that any move near leaves."""
        lift = np.full((len(across), len(at)), np.inf)
        r = self.cutter.radius
        rho = np.sqrt(np.maximum(r * r - across**2, 0.0))[:, None]
        for step in range(int((last - first).max(initial=0)) + 1):
            k = np.minimum(first + step, last)
            slope, begin, end = self.slope[k], self.x[k] - at, self.x[k + 1] - at
            u = np.clip(-rho * (slope / np.sqrt(1.0 + slope**2)), begin, end)
            aside = across[:, None] ** 2 + u**2
            round_end = aside / (r + np.sqrt(np.maximum(r * r - aside, 0.0)))
            here = self.z[k] - slope * begin - base + slope * u + round_end
            np.minimum(lift, here, out=lift, where=np.abs(u) <= rho)
        return lift


def _lift(across: Floats, radius: float, slope: Floats) -> Floats:
    """(len(across), len(slope)) how high beside a straight pass a round end leaves the work over its tip."""
    rho = np.sqrt(radius**2 - across**2)
    return (across**2 / (radius + rho))[:, None] - np.multiply.outer(rho, slope**2 / (1.0 + np.sqrt(1.0 + slope**2)))


def passes_along(motion: Motion, cutter: Cutter) -> list[tuple[int, int]]:
    """Runs [first, stop) of moves at a feed along one line of constant y, one way, a few radii or longer.

    A flank is as exact within a few thousandths of that line; the rim of a flat end would meet other points.
    """
    run, wander = motion.end - motion.start, 0.0 if cutter.is_flat else _WANDER
    along = motion.cutting & (np.abs(run[:, 1]) <= wander) & (np.abs(run[:, 2]) < np.abs(run[:, 0]))
    way = np.where(along, np.sign(run[:, 0]), 0).astype(np.int8)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], way, [0]])))
    spans, shortest = [], max(_SHORTEST, _RADII * cutter.radius)
    for first, stop in itertools.pairwise(edges):
        y = motion.end[first:stop, 1]
        if (way[first] and abs(motion.end[stop - 1, 0] - motion.start[first, 0]) >= shortest
                and np.ptp(y) <= wander):
            spans.append((int(first), int(stop)))
    return spans


def as_pass(
    motion: Motion, first: int, stop: int, cutter: Cutter, single: Bools, highest: float, *, ends: bool
) -> tuple[Pass | None, Moves]:
    """Moves [first, stop) as a pass, and what is left to be cut of it as moves: its ends, or all of it.

    `single` tells which moves of the program are of no pass; `highest` is how high anything stands. With `ends` what
    the front cuts at the ends of a pass is told of the pieces of it that do.
    """
    knots = np.concatenate([motion.start[first : first + 1], motion.end[first:stop]])
    back = bool(knots[-1, 0] < knots[0, 0])
    x, z = (knots[::-1] if back else knots)[:, [0, 2]].T
    y = float(knots[:, 1].min() + knots[:, 1].max()) / 2.0
    whole = Pass(cutter=cutter, y=y, x=x, z=z, row=first, back=back, front=ends)
    end = 2 * whole.inset
    in_flutes = highest - float(z.min()) <= cutter.flute_length
    if not (in_flutes and whole.is_gentle and x[-1] - x[0] >= 4 * end):
        return None, moves_of(motion, first, stop)
    if end:
        return whole, _ends_of(knots, end, np.arange(first, stop))
    stops = [(knots[0], first)] if _meets_nothing(motion, first - 1, first, single) else []
    stops += [(knots[-1], stop - 1)] if _meets_nothing(motion, stop, stop - 1, single) else []
    points = np.array([point for point, _ in stops]).reshape(-1, 3)
    return whole, Moves(points, points, np.array([row for _, row in stops], np.intp), np.zeros(len(stops), bool))


def _ends_of(knots: Floats, length: float, rows: Ints) -> Moves:
    """The first and the last `length` of a pass as moves."""
    along = np.abs(knots[:, 0] - knots[0, 0])
    parts = []
    for low, high in ((0.0, length), (along[-1] - length, along[-1])):
        cuts = np.concatenate([[low], along[(along > low) & (along < high)], [high]])
        points = np.column_stack([np.interp(cuts, along, knots[:, axis]) for axis in range(3)])
        move = np.clip(np.searchsorted(along, (cuts[1:] + cuts[:-1]) / 2) - 1, 0, len(rows) - 1)
        parts.append(Moves(points[:-1], points[1:], rows[move], np.arange(len(move)) > 0))
    return joined(parts)


def _meets_nothing(motion: Motion, beside: int, own: int, single: Bools) -> bool:
    """Whether the stop at the end of a pass is not also cut, at that height, by the move beside it."""
    if not 0 <= beside < len(motion) or not motion.cutting[beside] or not single[beside]:
        return True
    return bool(motion.end[beside, 2] < motion.end[own, 2] - _DROP)
