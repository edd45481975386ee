"""What each move takes, in the order of the program: how much, how deep, how wide.

A move lowers some of the points of the grid; each point stood at some height just before. From these alone follow the
volume that the move takes, how high the highest material that it lowers stands over the cutter's tip, and over how
much of its edge the cutter is engaged. The edge: of the points that a straight move of length L lowers, those at v
aside of it, in a strip dv, are L dv / cell of them when all of the strip is cut; the arc of the cutter that cuts them
is dv / sqrt(r^2 - v^2). The sum of cell / (L sqrt(r^2 - v^2)) over the points is therefore the engaged angle:
arccos(1 - s / r) for a straight cut of width s, pi for a full slot (plane geometry). For a round or pointed end r is
the radius at the top of what it cuts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pathgen.base.arrays import Floats, Ints, Singles, stable_order

LEAST = 1e-4
"""What is lowered by less than this is not taken for cut, mm: heights are rounded to a nanometre, places to a tenth of
a micrometre."""
_MOST_LEFT = 0.7  # of a round's touches: sorting them takes about as long as three rounds


@dataclass(frozen=True, eq=False, kw_only=True)
class Bites:
    """What each of n moves takes. Lengths in mm."""

    travel: Floats
    """(n,): length of the move."""
    volume: Floats
    """(n,): material taken, mm3."""
    depth: Floats
    """(n,): highest material that the move lowers, over the tip beside it; for passes over a surface that is known,
    over that surface."""
    drop: Floats
    """(n,): most that any point is lowered, straight down; not those that a rapid grazes, nor, where that is asked,
    those at a flat end's rim."""
    deep: Floats
    """(n,): volume taken from beyond a limit that was asked about, mm3."""
    over: Floats
    """(n,): how much further than that limit any point is lowered while the cutter passes over it once."""
    edge: Floats
    """(n,): engaged angle times travel, rad mm; for plunges, 2 pi times the share of the cutter's area that is cut. NaN
    where it was not asked for."""
    at: Floats
    """(n, 2): where the material stood that `depth` tells of, for rapids and where it is over the limit; else NaN."""

    @classmethod
    def none(cls, travel: Floats) -> Bites:
        """Of moves that take nothing so far."""
        n = len(travel)
        return cls(travel=travel, volume=np.zeros(n), depth=np.zeros(n), drop=np.zeros(n), deep=np.zeros(n),
                   over=np.zeros(n), edge=np.zeros(n), at=np.full((n, 2), math.nan))

    def __len__(self) -> int:
        return len(self.travel)

    def together(self, count: Ints) -> Bites:
        """Those of moves of which each went in so many pieces, `count` (m,), one after another."""
        of = np.repeat(np.arange(len(count)), count)
        whole = Bites.none(np.bincount(of, self.travel, len(count)).astype(np.float64))
        whole.add(self, of)
        return whole

    def add(self, pieces: Bites, of: Ints) -> None:
        """Add, in place, what pieces of moves take to what their moves, `of`, have taken; not their travel."""
        for name in ("volume", "deep", "edge"):
            np.add.at(getattr(self, name), of, getattr(pieces, name))
        for name in ("drop", "over", "depth"):
            np.maximum.at(getattr(self, name), of, getattr(pieces, name))
        self.keep_place(of, pieces.depth, *pieces.at.T)

    def keep_place(self, of: Ints, depth: NDArray[Any], x: Floats, y: Floats) -> None:
        """Keep, in place, where the deepest of each move is, of some (n,) that may be; not where x is NaN."""
        new = np.flatnonzero((depth >= self.depth[of]) & np.isfinite(x))
        self.at[of[new]] = np.column_stack([x[new], y[new]])

    def around(self, values: Floats, window: float, run: Ints) -> Floats:
        """(n,) sums of `values` over about `window` mm of travel around each move, within its run.

        Short moves one by one take shavings: what they take is judged over some travel. `run` (n,) numbers stretches
        that follow on one another; the sums end where a stretch ends.
        """
        total = np.concatenate([[0.0], np.cumsum(values)])
        first, stop = self._window(window, run)
        return total[stop] - total[first]

    def _window(self, window: float, run: Ints) -> tuple[Ints, Ints]:
        """(n,) first and past-the-last move within half a window of each, in its run."""
        gone = np.cumsum(self.travel) - self.travel / 2
        apart = run * (gone[-1] + 2 * window if len(gone) else 0.0)  # runs lie further apart than any window is long
        return (np.searchsorted(gone + apart, gone + apart - window / 2, side="left"),
                np.searchsorted(gone + apart, gone + apart + window / 2, side="right"))

    def section(self, window: float, run: Ints) -> Floats:
        """(n,) volume per mm of travel, mm2, over a window; 0 for moves straight down."""
        travel = self.around(self.travel, window, run)
        return np.divide(self.around(self.volume, window, run), travel, where=travel > 0, out=np.zeros(len(self)))


@dataclass(frozen=True, eq=False)
class Touches:
    """Points lowered by moves."""

    cell: Ints
    move: Ints
    """(n,) each: the point, as an index into the flat grid, and the move that touches it."""
    before: Singles
    after: Singles
    """(n,) each: its height just before and just after."""

    def __len__(self) -> int:
        return len(self.cell)


class Passages:
    """How far points have been lowered since the cutter came over them, for ends that lower a point bit by bit.

    A flat end lowers what it comes over at once. The flank of a round or pointed one lowers a point in as many steps as
    it makes moves: what it takes there at once is what it takes in one passage. A passage ends when the cutter has gone
    on by its diameter, was lifted or plunged, or has sunk by `sinking` since (a helix passes again and again).
    """

    def __init__(self, top: Singles, *, longest: float, sinking: float) -> None:
        self.longest, self.sinking = longest, sinking
        self.stood = top.reshape(-1).copy()
        self.level = np.full(top.size, np.inf, np.float32)
        self.gone = np.full(top.size, -np.inf)

    def falls(self, touches: Touches, gone: Floats, level: Singles) -> Singles:
        """(n,) how far each touch has its point below where it stood as the cutter came, after `gone` mm of travel.

        The touches are sorted by the point and, within one, in the order of the moves.
        """
        cell = touches.cell
        first = np.diff(cell, prepend=-1) != 0
        before = np.where(first, self.gone[cell], np.concatenate([[0.0], gone[:-1]]))
        start = first | (gone - before > self.longest)
        fresh = gone - before > self.longest
        # sunk since the passage before began: looked at against the first of it in this lot
        at = np.maximum.accumulate(np.where(start, np.arange(len(cell)), 0))
        known = np.where(fresh[at], level[at], self.level[cell])
        sunk = np.floor(np.maximum(known - level, 0.0) / np.float32(self.sinking))
        start |= np.diff(sunk, prepend=0.0) > 0
        fresh |= (sunk > 0) & start
        at = np.maximum.accumulate(np.where(start, np.arange(len(cell)), 0))
        stood = np.where(fresh[at], touches.before[at], self.stood[cell])
        self.stood[cell], self.gone[cell] = stood, gone
        self.level[cell] = np.where(fresh[at], level[at], self.level[cell])
        return stood - touches.after


def arc_over_travel(aside: NDArray[Any], radius: Singles | float, cell: float) -> Singles:
    """(n,) what points of a `cell` of area at distances `aside` of a move add to its engaged angle times travel.

    Nearer to the rim than a point's own width, where the arc grows without bound, its mean over that width.
    """
    wide = np.float32(math.sqrt(cell))
    v = np.asarray(aside, np.float32)
    r = np.broadcast_to(np.maximum(np.asarray(radius, np.float32), wide), v.shape)
    arc = 1 / np.sqrt(np.maximum(r * r - v * v, np.float32(1e-12)))
    near = np.flatnonzero(v > r - wide)
    arc[near] = np.arccos(1 - wide / r[near]) / wide
    arc *= np.float32(cell)
    return arc


def in_rounds(cell: Ints, move: Ints, height: Singles, top: Singles, first: NDArray[np.uint16]) -> Touches:
    """Lower points of a flat field `top` to `height` by moves in their order; what lowered them, unsorted.

    In each round every point is touched by the first move that still lowers it: few rounds where moves go down in
    steps, many where each takes a little of the same points: once a round leaves most of them they are sorted.
    `first` is room for a number of each point, larger than that of any move.
    """
    rounds, before = [], math.inf
    while len(cell) and len(cell) < _MOST_LEFT * before:
        before, number = len(cell), move.astype(first.dtype)
        first[cell] = np.iinfo(first.dtype).max
        np.minimum.at(first, cell, number)
        now = first[cell] == number
        point, after = cell[now], height[now]
        rounds.append(Touches(point, move[now], top[point], after))
        top[point] = after
        left = np.flatnonzero(height < top[cell])
        cell, move, height = cell[left], move[left], height[left]
    rounds.append(in_order(cell, move, height, top))
    return Touches(*(np.concatenate([getattr(touches, f.name) for touches in rounds]) for f in fields(Touches)))


def in_order(cell: Ints, move: Ints, height: Singles, top: Singles) -> Touches:
    """The same by sorting, where each point may be touched by very many moves; the touches are sorted."""
    if not len(cell):
        return Touches(cell=cell, move=move, before=height, after=height)
    order = stable_order(cell * (int(move.max()) + 1) + move)  # by point, then move
    cell, move, height = cell[order], move[order], height[order]
    begins = np.flatnonzero(np.diff(cell, prepend=-1))
    points = cell[begins]
    stood = top[points]
    top[points] = np.minimum(np.minimum.reduceat(height, begins), stood)
    # a running minimum within each point's touches: each point's heights are put below those of the point before
    turn = np.repeat(np.arange(len(begins)), np.diff(np.append(begins, len(cell))))
    apart = turn * (float(max(stood.max(), height.max()) - min(stood.min(), height.min())) + 1.0)
    found = np.empty(len(cell))
    found[1:] = height[:-1] - apart[1:]
    found[begins] = stood - apart[begins]
    np.minimum.accumulate(found, out=found)
    before = (found + apart).astype(np.float32)
    lowers = height < before
    return Touches(cell=cell[lowers], move=move[lowers], before=before[lowers], after=height[lowers])
