"""Whole passes along the board: taken at once, since their envelope at a row is their own height and a constant.

What that does not hold for (the ends of a slanting pass, and passes that bend) is left to be cut as moves.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import cached_property
from typing import assert_never

import numpy as np
from numpy.typing import NDArray

from pathgen.base.cutters import Cutter
from pathgen.removal.motion import Motion

Floats = NDArray[np.float64]
Heights = NDArray[np.float32]
Mask = NDArray[np.bool_]

_EXACT = 1e-5  # mm: what a whole pass may differ from its moves taken one by one, ten nanometres
_STOP = 0.001  # mm: how long the stop at the end of a pass is
_DROP = 0.01  # mm: a move that goes down further than this from the end of a pass cuts more than a stop there would


@dataclass(frozen=True, eq=False)
class Moves:
    """Straight moves or pieces of them, in order.

    Attributes
    ----------
    start, end : (n, 3) float array
    row : (n,) int array
        The move of the program that each is a piece of.
    onward : (n,) bool array
        Whether the one before it has cut at its start.
    """

    start: Floats
    end: Floats
    row: NDArray[np.intp]
    onward: Mask

    def __len__(self) -> int:
        return len(self.row)

    def of(self, which: slice | NDArray[np.intp] | Mask) -> Moves:
        """Some of them."""
        return Moves(self.start[which], self.end[which], self.row[which], self.onward[which])


@dataclass(frozen=True, eq=False, kw_only=True)
class Pass:
    """A pass at constant y: (n,) rising `x` and tip heights `z`; cut at once but for `inset` mm at both ends."""

    cutter: Cutter
    y: float
    x: Floats
    z: Floats
    row: int
    inset: float
    back: bool
    """Whether it runs toward falling x."""

    def moves_at(self, x: Floats) -> NDArray[np.intp]:
        """(n,) moves of the program over places along it."""
        k = np.clip(np.searchsorted(self.x, x, side="right") - 1, 0, len(self.x) - 2)
        return self.row + (len(self.x) - 2 - k if self.back else k)

    def met_by(self, x: Floats, across: Floats, wet: float) -> NDArray[np.intp]:
        """(len(across), len(x)) moves whose front comes to each place first: `wet` is the radius of what cuts, mm."""
        ahead = np.sqrt(np.maximum(wet**2 - across**2, 0.0))[:, None]
        return self.moves_at(x + (ahead if self.back else -ahead))

    @cached_property
    def slope(self) -> Floats:
        """(n - 1,) rise over run."""
        return np.diff(self.z) / np.diff(self.x)

    @cached_property
    def steepest(self) -> float:
        return float(np.abs(self.slope).max())

    @property
    def is_level(self) -> bool:
        """Whether its slope makes no difference to what it leaves beside it."""
        match self.cutter.shape:
            case "ball-end":
                return self.cutter.radius * self.steepest**2 < _EXACT
            case "flat-end":
                return False
            case "v":
                return True
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
        own = self.slope[np.clip(np.searchsorted(self.x, at, side="right") - 1, 0, len(self.slope) - 1)]
        rho = np.sqrt(r * r - across**2)
        lift = (across**2 / (r + rho))[:, None] - np.multiply.outer(rho, own**2 / (1.0 + np.sqrt(1.0 + own**2)))
        return (base + lift).astype(np.float32)


def moves_of(motion: Motion, first: int, stop: int) -> Moves:
    """Moves [first, stop) of a program, of which all cut."""
    row = np.arange(first, stop)
    return Moves(motion.start[first:stop], motion.end[first:stop], row, row > first)


def passes_along(motion: Motion, shortest: float) -> list[tuple[int, int]]:
    """Runs [first, stop) of moves at a feed along one line of constant y, one way, `shortest` mm or longer."""
    run = motion.end - motion.start
    along = motion.cutting & (run[:, 1] == 0) & (run[:, 0] != 0) & (np.abs(run[:, 2]) < np.abs(run[:, 0]))
    way = np.where(along, np.sign(run[:, 0]), 0).astype(np.int8)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], way, [0]])))
    spans = []
    for first, stop in itertools.pairwise(edges):
        if way[first] and abs(motion.end[stop - 1, 0] - motion.start[first, 0]) >= shortest:
            spans.append((int(first), int(stop)))
    return spans


def as_pass(
    motion: Motion, first: int, stop: int, cutter: Cutter, single: Mask, highest: float, *, ends: bool
) -> tuple[Pass | None, Moves]:
    """Moves [first, stop) as a pass, and what is left to be cut of it as moves: its ends, or all of it.

    `single` tells which moves of the program are of no pass; `highest` is how high anything stands. With
    `ends` what the front cuts where a pass ends is its own, not the next move's that would cut there too.
    """
    knots = np.concatenate([motion.start[first : first + 1], motion.end[first:stop]])
    back = bool(knots[-1, 0] < knots[0, 0])
    x, z = (knots[::-1] if back else knots)[:, [0, 2]].T
    slope = np.diff(z) / np.diff(x)
    end = _end_length(slope, cutter)
    in_flutes = highest - float(z.min()) <= cutter.flute_length
    if not (in_flutes and _is_gentle(slope, cutter) and x[-1] - x[0] >= 4 * end):
        return None, moves_of(motion, first, stop)
    whole = Pass(cutter=cutter, y=float(knots[0, 1]), x=x, z=z, row=first, inset=end / 2, back=back)
    if end:
        return whole, _ends_of(knots, end, np.arange(first, stop))
    stops = [(knots[0], first)] if _meets_nothing(motion, first - 1, first, single) else []
    stops += [(knots[-1], stop - 1)] if ends or _meets_nothing(motion, stop, stop - 1, single) else []
    points = np.array([point for point, _ in stops]).reshape(-1, 3)
    begun = points.copy()
    if ends:  # a front looks one way: a move, if a short one
        begun[-1, 0] += _STOP if back else -_STOP
    return whole, Moves(begun, points, np.array([row for _, row in stops], np.intp), np.zeros(len(stops), bool))


def _end_length(slope: Floats, cutter: Cutter) -> float:
    """Length of each end of a pass that is to be cut as moves, mm: where the cutter touches what lies beyond it.

    0 where the slope is so slight that it makes no difference: there the cutter only has to stop at the end.
    """
    steepest = float(np.abs(slope).max())
    if cutter.is_flat:
        return 2 * cutter.radius if steepest else 0.0
    return 2 * cutter.radius * steepest if cutter.radius * steepest**2 > 2 * _EXACT else 0.0


def _is_gentle(slope: Floats, cutter: Cutter) -> bool:
    """Whether the envelope over each point may be taken from the move over it alone."""
    steepest, bend = float(np.abs(slope).max()), float(np.abs(np.diff(slope)).max(initial=0.0))
    match cutter.shape:
        case "flat-end":
            rises = np.sign(slope[slope != 0])
            return not np.any((rises[:-1] < 0) & (rises[1:] > 0))
        case "v":  # beside a slope its rim, not its flank, would touch
            return cutter.radius * steepest**2 <= _EXACT * min(1.0, cutter.wall_slope)
        case "ball-end":
            return cutter.radius * steepest * bend <= _EXACT
        case unlisted:
            assert_never(unlisted)


def _ends_of(knots: Floats, length: float, rows: NDArray[np.intp]) -> Moves:
    """The first and the last `length` of a pass as moves."""
    along = np.abs(knots[:, 0] - knots[0, 0])
    parts = []
    for low, high in ((0.0, length), (along[-1] - length, along[-1])):
        cuts = np.concatenate([[low], along[(along > low) & (along < high)], [high]])
        points = np.column_stack([np.interp(cuts, along, knots[:, axis]) for axis in range(3)])
        move = np.clip(np.searchsorted(along, (cuts[1:] + cuts[:-1]) / 2) - 1, 0, len(rows) - 1)
        parts.append((points[:-1], points[1:], rows[move], np.arange(len(move)) > 0))
    return Moves(*(np.concatenate(part) for part in zip(*parts, strict=True)))


def _meets_nothing(motion: Motion, beside: int, own: int, single: Mask) -> bool:
    """Whether the stop at the end of a pass is not also cut, at that height, by the move beside it."""
    if not 0 <= beside < len(motion) or not motion.cutting[beside] or not single[beside]:
        return True
    return bool(motion.end[beside, 2] < motion.end[own, 2] - _DROP)
