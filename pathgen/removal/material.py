"""Material removed by moves: a field of heights, and what each move takes from it.

Heights are kept in float32: at 10 mm that is half a nanometre. Long moves along the board are cut a whole pass at a
time; everything else is cut move by move, each over the points that it is immersed at. All is done in the order of the
program: what is left in the end does not depend on it, but what each move takes depends on what stood there before.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pathgen.base.arrays import Bools, Floats, Ints
from pathgen.base.cutters import Cutter, reshaped
from pathgen.base.limits import MOST_WORK
from pathgen.removal.bites import LEAST, Bites, Passages, Touches, arc_over_travel, in_order, in_rounds
from pathgen.removal.ceiling import Ceiling
from pathgen.removal.discs import newly_under
from pathgen.removal.grid import Grid, Heights
from pathgen.removal.lengthwise import MEAN_AHEAD, Pass, as_pass, passes_along
from pathgen.removal.motion import Motion
from pathgen.removal.moves import Moves, joined, moves_of, split
from pathgen.removal.sweep import RIM, swept_heights

_STRETCH = 1024  # columns of a pass at a time: few enough rows and columns to stay in the cache
_TOGETHER = 1 << 18  # points of envelopes that are worked out together
_MOST_TOGETHER = 4096  # moves that are cut together
_BLOCK = 20_000  # moves made ready at once
_LOOK_AGAIN = 4  # times as many points worked out as there are, before what still stands is looked at again
# programs of a job, and points of a grid, from which more work is allowed: jobs take 7 to 32 a point
_MANY, _LARGE = 20, 8_000_000
# what takes as long as working out the height of a point does, some 25 ns
_OF_A_PIECE, _OF_A_TURN = 400, 12_000  # a piece of a move; what is cut at one time, a pass or a lot of pieces
_OF_A_LINE = 500  # a cutter of 0.4 or 0.5 mm takes 580 to 830 for each line of a large inlay, at a tenth
_OF_LAPS = 10  # for each point of an opening and each of its layers, over the stepover: 8 to 10 were seen
_MOST_OF_LAPS = 4e9  # a minute
_OF_A_ROW = 20  # that a level move of a flat end comes over, beside the points that are new there
_OF_A_TOUCH = 3  # to put in order and to note, for each point lowered
_PASS_POINTS = 2  # points of a pass that are worked out in the time of one
_LOOKED_AT = 64  # points of a pass that are only looked at in that time
_BATCH_CELLS = 1 << 16  # few enough to stay in the cache
_ENGAGED = 0.02  # mm: what a pass takes less of than this is the last one's ridges
_FLOOR = 0.1  # of the depth of a move: what a sinking flat end takes less of than this is its floor's, not its edge's
_ALONE = 8192  # points of a move from which it is cut by itself
_POINT = 1e-9  # mm: a move no longer than this in plan goes straight up or down
_LEVEL = 1e-6  # mm: a move that rises or sinks by less is level
_CHORDS = 5e-3  # mm: so far may a round wall stand within the circle of the cutter that left it, between points
_RUB = 0.05  # mm: a wall nearer than this to the shank counts as touched


def most_work(grid: Grid, programs: int, lines: int, laps: float = 0.0) -> float:
    """Points that may be worked out to run so many programs over a grid: more where either is more than usual.

    Each of their lines adds what a short move takes, which a program of long ones is soon done with. `laps` is the area
    that they are to clear whole, mm2, times its layers, over the stepover as a share of the cutter.
    """
    usual = MOST_WORK * max(1.0, programs / _MANY) * max(1.0, grid.shape[0] * grid.shape[1] / _LARGE)
    cleared = min(_OF_LAPS * laps / grid.cell_area, _MOST_OF_LAPS) if laps and grid.cell_area else 0.0
    return usual + _OF_A_LINE * lines + cleared


class TooLongError(Exception):
    """A program that takes more work to simulate than is allowed: the line that it came to."""

    def __init__(self, line: int) -> None:
        super().__init__(line)
        self.line = line


@dataclass(frozen=True, kw_only=True)
class Worst:
    """The deepest of something: how deep (mm), where, at which line; `depth` 0 for nothing."""

    depth: float = 0.0
    x: float = math.nan
    y: float = math.nan
    line: int = 0


@dataclass(frozen=True, eq=False, kw_only=True)
class Noting:
    """What to tell of each move, beside what it takes; on a grid with even spacing."""

    deeper: float = math.inf
    """The limit over which ``Bites.deep`` counts, mm."""
    waste: Bools | None = None
    """(rows, columns) where the limit is higher by `spare`."""
    spare: float = 0.0
    floor: float = -math.inf
    """The underside of what stands there, mm: what lies under it is not taken, as it is none of the work."""
    surface: Heights | None = None
    """(rows, columns) what passes along the board follow, if they do."""
    rims: bool = True
    """Whether ``Bites.drop`` counts points at a flat end's rim too, where rounding decides whether a wall is met."""
    angle: bool = False
    """Whether the angle over which the cutter is engaged is told; and what is taken where a pass along the board ends
    is then not left to the move after it."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Taken:
    """What a program took."""

    bites: Bites | None
    """What each of its moves took, where that was asked for."""
    shank: Worst
    """Highest that something stood beside the cutter above its flutes."""


@dataclass
class Material:
    """What stands on the bed: `top` (rows, columns) float32 heights over a grid, mm. Changed in place by `cut`.

    `most` is how many points may be worked out in all, or what takes as long; `worked` how many were.
    """

    grid: Grid
    top: Heights
    most: float = math.inf
    worked: float = 0.0

    @cached_property
    def room(self) -> NDArray[np.uint16]:
        """For the number of a move, of those cut together, at each point; it holds nothing of meaning."""
        return np.empty(self.top.size, np.uint16)

    def cut(self, motion: Motion, cutter: Cutter, noting: Noting | None = None) -> Taken:
        """Take away what the moves sweep; with `noting`, tell what each takes.

        Raises TooLongError before it does more work than is allowed; what is cut by then stays cut.
        """
        return _Cutting(self, motion, cutter, noting).run()


class _Cutting:
    """One program over one material."""

    def __init__(self, material: Material, motion: Motion, cutter: Cutter, noting: Noting | None) -> None:
        self.material = material
        self.xs, self.ys, self.top = material.grid.xs, material.grid.ys, material.top
        self.cell = material.grid.cell_area
        self.motion, self.cutter = motion, cutter
        self.note, how = noting is not None, noting or Noting()
        self.deeper, self.waste, self.spare, self.surface, self.angle = (
            how.deeper, how.waste, how.spare, how.surface, how.angle)
        self.floor = np.float32(how.floor)
        self.within = cutter.is_flat and not how.rims
        self.shank = reshaped(cutter, shape="flat-end", angle=None, diameter=cutter.diameter + 2 * _RUB)
        self.ceiling = Ceiling(self.top)
        self.highest = self.ceiling.highest
        self.bites = Bites.none(np.nan_to_num(np.linalg.norm(motion.end - motion.start, axis=1)))
        if not self.angle:
            self.bites.edge[:] = math.nan
        self.rubs = Worst()
        self.passages: Passages | None = None
        if self.note and not cutter.is_flat and self.surface is None and math.isfinite(self.deeper):
            self.passages = Passages(self.top, longest=cutter.diameter, sinking=self.deeper / 4)
            lifts = motion.rapid | ~(motion.start[:, :2] != motion.end[:, :2]).any(axis=1)
            self.gone = np.cumsum(self.bites.travel + 2 * cutter.diameter * lifts)
        self.since_ceiling = 0

    def run(self) -> Taken:
        passes: list[tuple[int, Pass]] = []
        left, before = [], 0
        for part in self._parts():
            if isinstance(part, Pass):
                passes.append((before, part))
            else:
                left.append(part)
                before += len(part)
        moves = joined(left)
        passes.reverse()
        for first in range(0, max(before, 1), _BLOCK):
            last = first + _BLOCK
            now = []
            while passes and (passes[-1][0] < last or last >= before):
                now.append((passes[-1][0] - first, passes.pop()[1]))
            some, begins = self._wanted(moves.of(slice(first, last)))
            self._take_all(some, [(int(begins[turn]), whole) for turn, whole in now])
        return Taken(bites=self.bites if self.note else None, shank=self.rubs)

    def _parts(self) -> Iterator[Pass | Moves]:
        """The program as whole passes and the moves between them."""
        m, done = self.motion, 0
        spans = passes_along(m, self.cutter)
        single = np.ones(len(m), bool)
        for first, stop in spans:
            single[first:stop] = False
        for first, stop in spans:
            yield self._between(done, first)
            whole, left = as_pass(m, first, stop, self.cutter, single, self.highest, ends=self.angle)
            if whole is not None:
                yield whole
            yield left
            done = stop
        yield self._between(done, len(m))

    def _between(self, first: int, stop: int) -> Moves:
        """Moves [first, stop), of no pass."""
        moves, m = moves_of(self.motion, first, stop), self.motion
        with np.errstate(invalid="ignore"):
            moves.onward[1:] = (m.start[first + 1 : stop] == m.end[first : max(stop - 1, first)]).all(axis=1)
        moves.onward[1:] &= np.isfinite(moves.start[:-1]).all(axis=1)
        if not self.note:  # rapids cut nothing then
            moves.onward[1:] &= ~m.rapid[first : max(stop - 1, first)]
        return moves

    @cached_property
    def _straight_up(self) -> Bools:
        """Rapids straight up, which meet nothing: the cutter already was at their lower end."""
        m = self.motion
        with np.errstate(invalid="ignore"):
            return m.rapid & (m.start[:, :2] == m.end[:, :2]).all(axis=1) & (m.end[:, 2] >= m.start[:, 2])

    def _wanted(self, moves: Moves) -> tuple[Moves, Ints]:
        """Moves that are low enough, and cut or are to be noted, in pieces; and (n + 1,) where each move now begins."""
        start, end = moves.start, moves.end
        with np.errstate(invalid="ignore"):
            wanted = (np.fmin(start[:, 2], end[:, 2]) < self.highest) & np.isfinite(end).all(axis=1)
        wanted &= ~(self._straight_up if self.note else self.motion.rapid)[moves.row]
        start = np.where(np.isfinite(start), start, end)
        pieces = np.zeros(len(moves), np.intp)
        pieces[wanted] = _pieces((end - start)[wanted], max(4 * self.cutter.diameter, 8.0))
        if len(moves):
            self._count(_OF_A_PIECE * int(pieces.sum()), int(moves.row[0]))
        return split(Moves(start, end, moves.row, moves.onward), pieces), np.concatenate([[0], np.cumsum(pieces)])

    # -- whole passes ------------------------------------------------------------------------------------------------

    def _sweep_pass(self, whole: Pass) -> None:
        """In stretches of columns, each only over the rows where something stands high enough to be met."""
        x, z, y, lowest = whole.x, whole.z, whole.y, float(whole.z.min())
        # how far a point may be cut below the tip over it, by the neighbouring parts of a slope
        slack = self.cutter.radius * whole.steepest
        half = float(self.cutter.half_width(self.highest - lowest))
        j0, j1 = (int(j) for j in np.searchsorted(self.ys, [y - half, y + half]))
        i0, i1 = (int(i) for i in np.searchsorted(self.xs, [x[0] + whole.inset, x[-1] - whole.inset]))
        self._count(_OF_A_TURN + max(j1 - j0, 0) * max(i1 - i0, 0) / _LOOKED_AT, whole.row)
        base = np.interp(self.xs[i0:i1], x, z)
        across = np.abs(self.ys[j0:j1] - y)
        profile = self.cutter.profile(across).astype(np.float32)
        for i in range(i0, i1 if j1 > j0 and half > 0 else i0, _STRETCH):
            columns = slice(i, min(i + _STRETCH, i1))
            own = base[i - i0 : columns.stop - i0]
            low = max(float(own.min()) - slack, lowest)
            tops = np.maximum.reduce(self.top[j0:j1, columns], axis=1)
            met = np.flatnonzero(profile + low < tops)
            if not len(met):
                continue
            near = slice(int(met[0]), int(met[-1]) + 1)
            self._count((near.stop - near.start) * whole.worked(self.xs[columns]) / _PASS_POINTS, whole.row)
            envelope = whole.envelope(across[near], self.xs[columns], own)
            there = self.top[j0 + near.start : j0 + near.stop, columns]
            if self.note:
                self._note_pass(whole, there, envelope, own, j0 + near.start, i)
            np.minimum(there, envelope, out=there)

    def _note_pass(self, whole: Pass, there: Heights, envelope: Heights, own: Floats, j: int, i: int) -> None:
        """What a stretch of a pass takes, by its moves."""
        if np.isfinite(self.floor):
            there, envelope, own = (np.maximum(heights, self.floor) for heights in (there, envelope, own))
        drop = there - envelope
        np.maximum(drop, 0.0, out=drop)
        cut = np.flatnonzero(drop.max(axis=0))
        if not len(cut):
            return
        some = slice(int(cut[0]), int(cut[-1]) + 1)
        there, envelope, drop, own, i = there[:, some], envelope[:, some], drop[:, some], own[some], i + some.start
        rows, columns = drop.shape
        depth = self._depth_of_pass(there, envelope, drop, own, j, i)
        move, b = whole.moves_at(self.xs[i : i + columns]), self.bites
        those, at = _stretch_of(move)
        n, deepest = len(b.volume[those]), float(depth.max())
        if not self.angle:
            b.volume[those] += np.bincount(at, drop.sum(axis=0) * self.cell, n)
        else:
            across = np.abs(self.ys[j : j + rows] - whole.y)
            wet = float(self.cutter.half_width(deepest))
            along, share = self.xs[i : i + columns], MEAN_AHEAD[self.cutter.shape]
            near, taken = whole.by_front(drop, along, across, wet, share=share)
            b.volume[near] += taken.sum(axis=0) * self.cell
            least = _engaged_from(drop.max(axis=0)) if self.cutter.is_flat else LEAST
            near, met = whole.by_front(drop > least, along, across, wet)
            b.edge[near] += arc_over_travel(across, wet, self.cell) @ met
        b.drop[those] = np.maximum(b.drop[those], _highest_of(drop.max(axis=0), at, n))
        b.depth[those] = np.maximum(b.depth[those], _highest_of(depth.max(axis=0), at, n))
        if deepest > self.deeper:
            # beside a layer before it, which a round or pointed end cut narrower, its flank lowers a point by less
            fall = depth if self.surface is not None or self.cutter.is_flat else drop
            over = np.maximum(fall - self._limit(np.s_[j : j + rows, i : i + columns]), 0.0)
            b.deep[those] += np.bincount(at, np.minimum(over, drop).sum(axis=0) * self.cell, n)
            b.over[those] = np.maximum(b.over[those], _highest_of(over.max(axis=0), at, n))
            row = depth.argmax(axis=0)
            b.keep_place(move, depth[row, np.arange(columns)], self.xs[i : i + columns], self.ys[j + row])

    def _depth_of_pass(self, there: Heights, envelope: Heights, drop: Heights, own: Floats, j: int, i: int) -> Heights:
        """How high what a pass lowers stands over its tip; or over the surface, where that is known and gives less.

        Where a pass follows a slope, what lies uphill of a round end stands higher than its tip, and is not cut deeper
        for that; a flat end, and a level pass, cuts all of it to one height.
        """
        least = LEAST if self.surface is None else _ENGAGED
        if self.surface is None or self.cutter.is_flat:
            standing = there - own.astype(np.float32)
        else:
            where = np.s_[j : j + drop.shape[0], i : i + drop.shape[1]]
            above = self.surface[where]
            standing = there - above
            standing -= np.fmin.reduce(envelope - above, axis=0)
            np.minimum(standing, there - own.astype(np.float32), out=standing)
            np.fmax(standing, drop, out=standing)
            if self.waste is not None:  # round the board the blank stands higher than the passes go down step by step
                np.copyto(standing, drop, where=self.waste[where])
        np.copyto(standing, 0.0, where=drop <= least)
        return standing

    def _limit(self, where: tuple[slice, slice] | Ints) -> Heights | np.float32:
        """How deep cuts may be at some points, mm."""
        if self.waste is None or not self.spare:
            return np.float32(self.deeper)
        waste = self.waste.ravel()[where] if isinstance(where, np.ndarray) else self.waste[where]
        return (self.deeper + self.spare * waste).astype(np.float32)

    # -- move by move ------------------------------------------------------------------------------------------------

    def _take_all(self, moves: Moves, passes: list[tuple[int, Pass]]) -> None:
        """Take away moves in their order, and passes, each with the number of moves before it."""
        (windows, depth), known = self._reach(moves), self.ceiling
        close = np.flatnonzero(depth > self.cutter.flute_length)  # each of these is looked at just before it cuts
        stops = np.unique([0, *(turn for turn, _ in passes), *close.tolist(), *(close + 1).tolist(), len(moves)])
        waiting = list(reversed(passes))
        if not self.note and not len(close):  # their order makes no difference to what is left
            while waiting:
                self._sweep_pass(waiting.pop()[1])
            stops = np.array([0, len(moves)])
        for first, stop in itertools.pairwise(stops.tolist()):
            while waiting and waiting[-1][0] <= first:
                self._sweep_pass(waiting.pop()[1])
            for part in _parts_of(_sizes(windows[first:stop]).prod(axis=1), first):
                if known is not self.ceiling:  # lower by now
                    windows, depth = self._reach(moves)
                    known = self.ceiling
                self._take(moves.of(part), windows[part], depth[part])
        while waiting:
            self._sweep_pass(waiting.pop()[1])

    def _take(self, moves: Moves, windows: Ints, depth: Floats) -> None:
        """Take away some moves."""
        met = np.flatnonzero(windows.any(axis=1))
        if not len(met):
            return
        moves, windows, depth = moves.of(met), windows[met], depth[met]
        points = int(_sizes(windows).prod(axis=1).sum())
        self._look_again(points)
        points = self._points(moves, windows)
        self._count(_OF_A_TURN + points, int(moves.row[0]))
        if len(moves) == 1 and depth[0] > self.cutter.flute_length:
            self._rub(moves.start[0], moves.end[0], int(self.motion.line[moves.row[0]]))
        if len(moves) == 1:
            touches = self._alone(moves, windows[0])
        elif not self.note:
            for cell, _, height in self._touched(moves, windows):
                np.minimum.at(self.top.reshape(-1), cell, height)
            return
        else:
            touched = list(self._touched(moves, windows))
            self._count(_OF_A_TOUCH * sum(len(part[0]) for part in touched), int(moves.row[0]))
            cell, move, height = (np.concatenate(part) for part in zip(*touched, strict=True))
            if self.passages is None:
                touches = in_rounds(cell, move, height, self.top.reshape(-1), self.material.room)
            else:
                touches = in_order(cell, move, height, self.top.reshape(-1))
        if self.note and len(touches):
            self._note_moves(moves, touches)

    def _points(self, moves: Moves, windows: Ints) -> int:
        """What takes as long as what some moves come to: level ones of a flat end are worked out row by row."""
        size = _sizes(windows)
        points = size.prod(axis=1)
        if len(moves) > 1 and self.cutter.is_flat and self.cell:
            swept = self.cutter.diameter * np.hypot(*(moves.end - moves.start)[:, :2].T)
            swept += np.where(moves.onward, 0.0, math.pi * self.cutter.radius**2)
            by_row = np.ceil(_OF_A_ROW * size[:, 0] + swept / self.cell).astype(np.intp)
            points = np.where(self._is_level(moves), np.minimum(by_row, points), points)
        return int(points.sum())

    def _alone(self, move: Moves, window: Ints) -> Touches:
        """Take away one move: nothing is to be put in order, and only rows and columns that are met are worked out."""
        i0, i1, j0, j1 = window.tolist()
        (x0, y0, z0), (x1, y1, z1) = move.start[0].tolist(), move.end[0].tolist()
        rows = self._above(self.top[j0:j1, i0:i1].max(axis=1), self.ys[j0:j1], min(y0, y1), max(y0, y1), min(z0, z1))
        j0, j1 = j0 + rows.start, j0 + rows.stop
        columns = self._above(
            self.top[j0:j1, i0:i1].max(axis=0, initial=-np.inf), self.xs[i0:i1], min(x0, x1), max(x0, x1), min(z0, z1)
        )
        i0, i1 = i0 + columns.start, i0 + columns.stop
        there = self.top[j0:j1, i0:i1]
        height = self._batch(move, np.arange(i0, i1)[None], np.arange(j0, j1)[None])[0]
        row, column = np.nonzero(height < there)
        before, after = there[row, column], height[row, column]
        there[row, column] = after
        return Touches(cell=(j0 + row) * len(self.xs) + i0 + column, move=np.zeros(len(row), np.intp),
                       before=before, after=after)

    def _above(self, tops: Heights, at: Floats, least: float, most: float, low: float) -> slice:
        """From the first to the last place, of `at`, that stands above a cutter at `low` from `least` to `most`."""
        aside = np.maximum(least - at, at - most).clip(0.0, self.cutter.radius)
        met = np.flatnonzero(tops > low + self.cutter.profile(aside) - LEAST)
        return slice(int(met[0]), int(met[-1]) + 1) if len(met) else slice(0, 0)

    def _note_moves(self, moves: Moves, touches: Touches) -> None:
        """What some moves take, from the points that they lower; `touches` numbers them as they stand here."""
        n, of, row = len(moves), touches.move, moves.row
        if np.isfinite(self.floor):
            touches = replace(touches, before=np.maximum(touches.before, self.floor),
                              after=np.maximum(touches.after, self.floor))
        run, low = moves.end - moves.start, np.minimum(moves.start[:, 2], moves.end[:, 2])
        length = np.hypot(run[:, 0], run[:, 1])
        j = touches.cell // len(self.xs)
        x, y = self.xs[touches.cell - j * len(self.xs)], self.ys[j]
        drop = touches.before - touches.after
        depth = drop if self.surface is not None else touches.before - low.astype(np.float32)[of]
        b, rapid = Bites.none(np.zeros(n)), self.motion.rapid[row]
        met, wary = drop, np.flatnonzero(rapid[of] | self.within) if self.within or rapid.any() else np.empty(0, int)
        if len(wary):  # a rapid may graze what is round
            rim = np.where(rapid, _CHORDS, RIM)[of[wary]]
            met = drop.copy()
            met[wary[~self._well_within(moves, of[wary], x[wary], y[wary], rim)]] = 0.0
        b.drop[:] = _highest_of(met, of, n)
        b.volume[:] = np.bincount(of, drop, n) * self.cell
        sloping = (np.abs(run[:, 2]) > _LEVEL) & (length > 0)
        if self.surface is None and sloping.any():
            some = np.flatnonzero(sloping[of])
            depth[some] -= _above_low(moves.start, run, low, of[some], x[some], y[some]).astype(np.float32)
        if np.isfinite(self.floor):
            depth = np.minimum(depth, touches.before - self.floor)
        depth[drop <= LEAST] = 0.0
        b.depth[:] = _highest_of(depth, of, n)
        fall = drop if self.passages is None else self.passages.falls(
            touches, self.gone[row][of], low.astype(np.float32)[of]
        )
        near = np.flatnonzero((fall > self.deeper) | rapid[of] if rapid.any() else fall > self.deeper)
        if self.cutter.is_flat and len(near):  # at its rim rounding decides whether a wall that stands there is met
            near = near[rapid[of[near]] | self._well_within(moves, of[near], x[near], y[near])]
        if len(near):
            b.keep_place(of[near], depth[near], x[near], y[near])
            over = np.maximum(fall[near] - self._limit(touches.cell[near]), 0.0)
            b.over[:] = _highest_of(over, of[near], n)
            b.deep[:] = np.bincount(of[near], np.minimum(over, drop[near]), n) * self.cell
        if self.angle:
            b.edge[:] = np.bincount(of, self._edge(moves, length, b.depth, of, x, y, drop), n)
        self.bites.add(b, row)

    def _well_within(self, moves: Moves, of: Ints, x: Floats, y: Floats, rim: float | Floats = RIM) -> Bools:
        """(n,) points further inside the way of their moves, `of`, than `rim` mm, as rounding may have moved that."""
        run = (moves.end - moves.start)[of, :2]
        off = np.stack([x, y], axis=1) - moves.start[of, :2]
        square = (run**2).sum(axis=1)
        share = np.divide((off * run).sum(axis=1), square, where=square > 0, out=np.zeros(len(of)))
        away = off - np.clip(share, 0.0, 1.0)[:, None] * run
        return np.asarray(np.hypot(*away.T) < self.cutter.radius - rim)

    def _edge(
        self, moves: Moves, length: Floats, depth: Floats, of: Ints, x: Floats, y: Floats, drop: Heights
    ) -> Heights:
        """What each point adds to the engaged angle times travel of its move.

        The flank of a round or pointed end lowers a point in several moves: each counts by its share.
        """
        run = moves.end - moves.start
        still = length <= 0
        c, s = run[:, 0] / np.where(still, 1.0, length), run[:, 1] / np.where(still, 1.0, length)
        off = c * moves.start[:, 1] - s * moves.start[:, 0]
        wet = self.cutter.half_width(depth).astype(np.float32)
        v = np.abs(c[of] * y - s[of] * x - off[of])
        arc = arc_over_travel(v, wet[of], self.cell)
        if still.any():  # of a plunge 2 pi times the share of the cutter's area
            arc[still[of]] = 2 * self.cell / max(self.cutter.radius**2, 1e-9)
        if self.cutter.is_flat:
            return arc * (drop > _engaged_from(depth.astype(np.float32))[of])
        whole = depth.astype(np.float32)[of] - self.cutter.profile(np.minimum(v, self.cutter.radius)).astype(np.float32)
        return arc * np.clip(drop / np.maximum(whole, np.float32(LEAST)), 0, 1)

    def _count(self, points: float, move: int) -> None:
        """Count what is about to be worked out, by a move of the program; give up where it is more than allowed."""
        if self.material.worked + points > self.material.most:
            raise TooLongError(int(self.motion.line[move]))
        self.material.worked += points

    def _look_again(self, points: int) -> None:
        """Now and then, by the points worked out, see how high things still stand."""
        self.since_ceiling += points
        if self.since_ceiling > _LOOK_AGAIN * self.top.size:
            self.ceiling, self.since_ceiling = Ceiling(self.top), 0

    def _reach(self, moves: Moves) -> tuple[Ints, Floats]:
        """(n, 4) windows that moves can cut in, empty where they meet nothing, and (n,) how deep they may cut."""
        low = np.minimum(moves.start[:, 2], moves.end[:, 2])
        depth = self.highest - low
        windows = self._windows(moves.start, moves.end, self.cutter.half_width(depth))
        some = _sizes(windows).all(axis=1)
        depth[some] = self.ceiling.over(windows[some]) - low[some]
        half = self.cutter.half_width(depth)
        windows = self._windows(moves.start, moves.end, half)
        windows[(half <= 0) | ~_sizes(windows).all(axis=1)] = 0
        return windows, depth

    def _windows(self, start: Floats, end: Floats, half: Floats) -> Ints:
        """(n, 4): first and past-the-last column, first and past-the-last row that each move can reach."""
        least, most = np.minimum(start, end), np.maximum(start, end)
        return np.stack([
            np.searchsorted(self.xs, least[:, 0] - half), np.searchsorted(self.xs, most[:, 0] + half, side="right"),
            np.searchsorted(self.ys, least[:, 1] - half), np.searchsorted(self.ys, most[:, 1] + half, side="right"),
        ], axis=1)

    def _touched(self, moves: Moves, windows: Ints) -> Iterator[tuple[Ints, Ints, Heights]]:
        """Points that stand higher than moves leave them, as indices, the moves and the heights that these leave.

        Moves with windows of about the same size are worked out at once; the points are told in no order.
        """
        if self.cutter.is_flat and len(level := np.flatnonzero(self._is_level(moves))):
            cell, of = newly_under(moves.of(level), windows[level, 2:], self.cutter.radius, self.material.grid)
            low = np.minimum(moves.start[level, 2], moves.end[level, 2]).astype(np.float32)[of]
            lowers = np.flatnonzero(low < self.top.take(cell))
            yield cell[lowers], level[of[lowers]], low[lowers]
            windows = windows.copy()
            windows[level] = 0
        size = _sizes(windows)
        padded = -(-size // 8) * 8
        kinds, kind = np.unique(padded[:, 0] * (1 << 32) + padded[:, 1], return_inverse=True)
        for k in np.flatnonzero(kinds):
            all_members = np.flatnonzero(kind == k)
            per_batch = max(1, _BATCH_CELLS // int(padded[all_members[0]].prod()))
            for a in range(0, len(all_members), per_batch):
                members = all_members[a : a + per_batch]
                rows, columns = size[members].max(axis=0)
                # narrower ones at the grid's edge begin further in: no point is worked out, and told, twice
                i = np.minimum(windows[members, 0, None], len(self.xs) - columns) + np.arange(columns)
                j = np.minimum(windows[members, 2, None], len(self.ys) - rows) + np.arange(rows)
                height = self._batch(moves.of(members), i, j)
                cell = j[:, :, None] * len(self.xs) + i[:, None, :]
                lowers = np.flatnonzero(height < self.top.take(cell))
                yield cell.reshape(-1)[lowers], members[lowers // (rows * columns)], height.reshape(-1)[lowers]

    def _is_level(self, moves: Moves) -> Bools:
        """(n,) moves of which a flat end leaves one height: level ones, and straight up or down."""
        run = moves.end - moves.start
        return (run[:, 2] == 0) | (np.hypot(run[:, 0], run[:, 1]) < _POINT)

    def _batch(self, moves: Moves, i: Ints, j: Ints) -> Heights:
        """(n, rows, columns) heights at grid columns i (n, columns) and rows j (n, rows)."""
        start, run = moves.start, moves.end - moves.start
        dx = (self.xs[i] - start[:, 0, None]).astype(np.float32)[:, None, :]
        dy = (self.ys[j] - start[:, 1, None]).astype(np.float32)[:, :, None]
        length = np.hypot(run[:, 0], run[:, 1])
        still = length < _POINT
        length[still] = 0.0
        along = np.where(still, 1.0, run[:, 0]) / np.where(still, 1.0, length)
        aside = np.where(still, 0.0, run[:, 1]) / np.where(still, 1.0, length)
        c, s, far, rise, base = (
            column.astype(np.float32)[:, None, None] for column in (along, aside, length, run[:, 2], start[:, 2])
        )
        onward = (moves.onward & ~still)[:, None, None]
        heights = swept_heights(self.cutter, c * dx + s * dy, c * dy - s * dx, far, rise, onward)
        heights += base
        return heights

    def _rub(self, start: Floats, end: Floats, line: int) -> None:
        """Note what stands beside the cutter higher than its flutes reach."""
        i0, i1, j0, j1 = self._windows(start[None], end[None], np.array([self.shank.radius]))[0]
        there, flutes = self.top[j0:j1, i0:i1], self.cutter.flute_length
        if not there.size or float(there.max()) <= min(start[2], end[2]) + flutes:
            return
        dx, dy = self.xs[i0:i1] - start[0], self.ys[j0:j1, None] - start[1]
        run = end - start
        length = math.hypot(run[0], run[1])
        c, s = (run[0] / length, run[1] / length) if length else (1.0, 0.0)
        shank = swept_heights(self.shank, c * dx + s * dy, c * dy - s * dx, np.array(length), np.array(run[2]))
        above = there - shank - (start[2] + flutes)
        highest = float(above.max())
        if highest > max(self.rubs.depth, _RUB):
            row, column = divmod(int(np.argmax(above)), above.shape[1])
            self.rubs = Worst(depth=highest, x=float(self.xs[i0 + column]), y=float(self.ys[j0 + row]), line=line)


def _stretch_of(moves: Ints) -> tuple[slice, Ints]:
    """From the first to the last of some moves, of which there is one at least, and where in that each is."""
    first = int(moves.min())
    return slice(first, int(moves.max()) + 1), moves - first


def _highest_of(values: Heights, of: Ints, n: int) -> Heights:
    """(n,) the highest of the values of each, 0 of none; all of one type, since mixed ones are many times slower."""
    out = np.zeros(n, np.float32)
    if n == 1:
        out[0] = values.max(initial=0.0)
    else:
        np.maximum.at(out, of, values.astype(np.float32, copy=False))
    return out


def _above_low(start: Floats, run: Floats, low: Floats, of: Ints, x: Floats, y: Floats) -> Floats:
    """How high over the lower end of its move the tip is where it passes beside each point."""
    square = (run[:, :2] ** 2).sum(axis=1)
    a, b = run[:, :2].T * np.divide(run[:, 2], square, where=square > 0, out=np.zeros(len(run)))
    at_origin = start[:, 2] - low - a * start[:, 0] - b * start[:, 1]
    return np.clip(at_origin[of] + a[of] * x + b[of] * y, 0.0, np.abs(run[:, 2])[of])


def _engaged_from(depth: Heights) -> Heights:
    """(n,) how far a flat end must lower a point for its edge to be cutting there: less is its floor's as it sinks."""
    return np.maximum(np.float32(_ENGAGED), np.float32(_FLOOR) * depth)


def _sizes(windows: Ints) -> Ints:
    """(n, 2) rows and columns, 0 for none."""
    return np.maximum(windows[:, [3, 1]] - windows[:, [2, 0]], 0)


def _parts_of(points: Ints, first: int) -> Iterator[slice]:
    """Moves, from `first` on, in parts with few enough points to be worked out together; large ones alone."""
    if len(points) == 1:
        yield slice(first, first + 1)
    elif len(points):
        alone = points > _ALONE
        apart = np.cumsum(alone | np.concatenate([[False], alone[:-1]]))
        part = np.cumsum(points + _TOGETHER // _MOST_TOGETHER) // _TOGETHER
        edges = (np.diff(part, prepend=-1, append=-1) != 0) | (np.diff(apart, prepend=-1, append=-1) != 0)
        for a, b in itertools.pairwise(np.flatnonzero(edges).tolist()):
            yield slice(first + a, first + b)


def _pieces(run: Floats, longest: float) -> Ints:
    """How many pieces to take moves in: slanting ones in several, for windows less large than the board."""
    slanting = (run[:, :2] != 0).all(axis=1)
    return np.where(slanting, np.ceil(np.hypot(run[:, 0], run[:, 1]) / longest), 1).astype(np.intp)
