"""Material removed by moves: a field of heights, and what each move takes from it.

Heights are kept in float32: at 10 mm that is half a nanometre. Long moves along the board are cut a whole pass at a
time; everything else is cut move by move, in its own window. All is done in the order of the program: what is left in
the end does not depend on it, but what is noted of a cut depends on what stood there before.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pathgen.base.cutters import Cutter
from pathgen.removal.ceiling import Ceiling
from pathgen.removal.grid import Grid
from pathgen.removal.lengthwise import Moves, Pass, as_pass, passes_along
from pathgen.removal.motion import Motion
from pathgen.removal.sweep import swept_heights
from pathgen.work.clamping import Step

Floats = NDArray[np.float64]
Heights = NDArray[np.float32]
Mask = NDArray[np.bool_]

_SHORTEST_PASS = 4.0  # radii
_STRETCH = 1024  # columns of a pass at a time: few enough rows and columns to stay in the cache
_TOGETHER = 1 << 20  # points of envelopes that are kept at once
_MOST_TOGETHER = 512  # moves whose envelopes are
_BLOCK = 20_000  # moves made ready at once
_LOOK_AGAIN = 4  # times as many points worked out as there are, before what still stands is looked at again
_MOST_OVER = 300  # times that a program may be over each point on average before it is given up: usual are 1 to 5
_ALWAYS_WORKED_OUT = 1_000_000_000  # points: a quarter of a minute or so
_BATCH_CELLS = 1 << 16  # few enough to stay in the cache
_NOTHING = np.empty((0, 0), np.float32)
_SHAVING = 0.3  # mm: thickest that a finishing pass takes off a wall, of large cutters
_SHAVING_SHARE = 0.15  # of the diameter: the same for small ones
_ENGAGED = 0.02  # mm: what a pass takes less of than this is the last one's ridges
_RUB = 0.05  # mm: a wall nearer than this to the shank counts as touched


class TooLongError(Exception):
    """A program that would take minutes or hours to simulate: how far it came, and its step where that is known."""

    def __init__(self, line: int, step: Step | None = None) -> None:
        super().__init__(line, step)
        self.line, self.step = line, step


@dataclass(frozen=True, kw_only=True)
class Worst:
    """The deepest of something: how deep (mm), where, at which line; `depth` 0 for nothing."""

    depth: float = 0.0
    x: float = math.nan
    y: float = math.nan
    line: int = 0


@dataclass
class Taken:
    """What was noted while a program ran."""

    cut: Worst = field(default_factory=Worst)
    """Deepest cut at a feed below what stood there, where above the limit asked about."""
    rapid: Worst = field(default_factory=Worst)
    """Deepest that a rapid went into what stood there."""
    shank: Worst = field(default_factory=Worst)
    """Highest that something stood beside the cutter above its flutes."""


@dataclass
class Material:
    """What stands on the bed: `top` (rows, columns) float32 heights over a grid, mm. Changed in place by `cut`."""

    grid: Grid
    top: Heights

    def cut(
        self, motion: Motion, cutter: Cutter, *, note_deeper: float = math.inf, note_rapid: float = 1e-3,
        waste: Mask | None = None, spare: float = 0.0, surface: Heights | None = None,
    ) -> Taken:
        """Take away what the moves sweep; note cuts deeper than `note_deeper` and rapids deeper than `note_rapid`.

        Nothing is noted of rapids where `note_rapid` is infinite. In `waste` cuts may be
        deeper by `spare`. `surface` (rows, columns) is what passes along the board follow, if they do.
        """
        return _Cutting(self, motion, cutter, note_deeper, note_rapid, waste, spare, surface).run()


class _Cutting:
    """One program over one material."""

    def __init__(
        self, material: Material, motion: Motion, cutter: Cutter, note_deeper: float, note_rapid: float,
        waste: Mask | None, spare: float, surface: Heights | None,
    ) -> None:
        self.xs, self.ys, self.top = material.grid.xs, material.grid.ys, material.top
        self.motion, self.cutter = motion, cutter
        self.note_deeper, self.note_rapid, self.waste, self.spare = note_deeper, note_rapid, waste, spare
        self.surface = surface
        self.shank = replace(cutter, shape="flat-end", angle=None, diameter=cutter.diameter + 2 * _RUB)
        self.ceiling = Ceiling(self.top)
        self.highest = self.ceiling.highest
        self.taken = Taken()
        self.since_ceiling = self.worked_out = 0
        # points to each side that a cut spans and a shaving does not, never more than half the cutter
        thickest = min(_SHAVING, _SHAVING_SHARE * cutter.diameter)
        spacing = float(self.xs[1] - self.xs[0]) if len(self.xs) > 1 else thickest
        near = min(math.ceil(thickest / 2 / spacing - 1e-9), (int(cutter.diameter / spacing) - 1) // 2)
        self._shaving = 0 if cutter.shape == "v" else max(near, 0)  # a v leaves no upright walls to take shavings off

    def run(self) -> Taken:
        passes: list[tuple[int, Pass]] = []
        left, before = [], 0
        for part in self._parts():
            if isinstance(part, Pass):
                passes.append((before, part))
            else:
                left.append(part)
                before += len(part)
        moves = _joined(left)
        passes.reverse()
        for first in range(0, max(before, 1), _BLOCK):
            last = first + _BLOCK
            now = []
            while passes and (passes[-1][0] < last or last >= before):
                now.append((passes[-1][0] - first, passes.pop()[1]))
            some, begins = self._wanted(moves.of(slice(first, last)))
            self._take_all(some, [(int(begins[turn]), whole) for turn, whole in now])
        return self.taken

    def _parts(self) -> Iterator[Pass | Moves]:
        """The program as whole passes and the moves between them."""
        m, done = self.motion, 0
        spans = passes_along(m, _SHORTEST_PASS * self.cutter.radius)
        single = np.ones(len(m), bool)
        for first, stop in spans:
            single[first:stop] = False
        for first, stop in spans:
            yield Moves(m.start[done:first], m.end[done:first], np.arange(done, first))
            whole, left = as_pass(m, first, stop, self.cutter, single, self.highest)
            if whole is not None:
                yield whole
            yield left
            done = stop
        yield Moves(m.start[done:], m.end[done:], np.arange(done, len(m)))

    @cached_property
    def _straight_up(self) -> NDArray[np.bool_]:
        """Rapids straight up, which meet nothing: the cutter already was at their lower end."""
        m = self.motion
        with np.errstate(invalid="ignore"):
            return m.rapid & (m.start[:, :2] == m.end[:, :2]).all(axis=1) & (m.end[:, 2] >= m.start[:, 2])

    def _wanted(self, moves: Moves) -> tuple[Moves, NDArray[np.intp]]:
        """Moves that are low enough, and cut or are to be noted, in pieces; and (n + 1,) where each move now begins."""
        start, end = moves.start, moves.end
        with np.errstate(invalid="ignore"):
            wanted = (np.fmin(start[:, 2], end[:, 2]) < self.highest) & np.isfinite(end).all(axis=1)
        wanted &= ~(self.motion.rapid if math.isinf(self.note_rapid) else self._straight_up)[moves.row]
        start = np.where(np.isfinite(start), start, end)
        pieces = np.zeros(len(moves), np.intp)
        pieces[wanted] = _pieces((end - start)[wanted], max(4 * self.cutter.diameter, 8.0))
        return _in_pieces(Moves(start, end, moves.row), pieces), np.concatenate([[0], np.cumsum(pieces)])

    # -- whole passes ------------------------------------------------------------------------------------------------

    def _sweep_pass(self, whole: Pass) -> None:
        """In stretches of columns, each only over the rows where something stands high enough to be met."""
        x, z, y, lowest = whole.x, whole.z, whole.y, float(whole.z.min())
        # how far a point may be cut below the tip over it, by the neighbouring parts of a slope
        slack = self.cutter.radius * whole.steepest
        half = float(self.cutter.half_width(self.highest - lowest))
        j0, j1 = (int(j) for j in np.searchsorted(self.ys, [y - half, y + half]))
        i0, i1 = (int(i) for i in np.searchsorted(self.xs, [x[0] + whole.inset, x[-1] - whole.inset]))
        base = np.interp(self.xs[i0:i1], x, z)
        across = np.abs(self.ys[j0:j1] - y)
        profile = self.cutter.profile(across).astype(np.float32)
        line = int(self.motion.line[whole.row])
        for i in range(i0, i1 if j1 > j0 and half > 0 else i0, _STRETCH):
            columns = slice(i, min(i + _STRETCH, i1))
            own = base[i - i0 : columns.stop - i0]
            low = max(float(own.min()) - slack, lowest)
            tops = np.maximum.reduce(self.top[j0:j1, columns], axis=1)
            met = np.flatnonzero(profile + low < tops)
            if not len(met):
                continue
            near = slice(int(met[0]), int(met[-1]) + 1)
            envelope = whole.envelope(across[near], self.xs[columns], own)
            there = self.top[j0 + near.start : j0 + near.stop, columns]
            if float(tops.max()) - low > self.note_deeper:
                deep = self._depth_of_pass(there, envelope, j0 + near.start, i)
                self._note(deep, j0 + near.start, i, line, rapid=False)
            np.minimum(there, envelope, out=there)

    def _depth_of_pass(self, there: Heights, envelope: Heights, j: int, i: int) -> Heights:
        """How deep a pass cuts into what stands there, straight down.

        Beside the pass before it a round end takes little at each point, however deep it stands: where the surface
        that it follows is known, the depth is what stands above that surface, lifted as the pass is.
        """
        deep = there - envelope
        if self.surface is None:
            return deep
        above = self.surface[j : j + deep.shape[0], i : i + deep.shape[1]]
        lift = np.fmin.reduce(envelope - above, axis=0)
        standing = np.fmax(there - above - lift, deep)
        if self.waste is not None:  # round the board the blank stands higher than the passes go down step by step
            standing = np.where(self.waste[j : j + deep.shape[0], i : i + deep.shape[1]], deep, standing)
        return np.where(deep > _ENGAGED, standing, np.float32(-np.inf))

    # -- move by move ------------------------------------------------------------------------------------------------

    def _take_all(self, moves: Moves, passes: list[tuple[int, Pass]]) -> None:
        """Take away moves in their order, and passes, each with the number of moves before it."""
        waiting = list(reversed(passes))
        stretches = _stretches(moves, self.motion.rapid[moves.row], self.cutter.radius)
        of = np.repeat(np.arange(len(stretches) - 1), np.diff(stretches))
        for part in _parts_of(_sizes(self._reach(moves)[0]).prod(axis=1), stretches):
            self._take(moves.of(part), of[part] - of[part.start], part.start, waiting)
        while waiting:
            self._sweep_pass(waiting.pop()[1])

    def _take(
        self, moves: Moves, stretch: NDArray[np.intp], first: int, waiting: list[tuple[int, Pass]]
    ) -> None:
        """Take away some moves, `first` and on; look closely only at stretches that may be too deep, or are rapids."""
        windows, depth = self._reach(moves)
        met = np.flatnonzero(windows.any(axis=1))
        moves, windows, depth, stretch = moves.of(met), windows[met], depth[met], stretch[met]
        if not len(met):
            return
        rapid, line, corners = self.motion.rapid[moves.row], self.motion.line[moves.row].tolist(), windows.tolist()
        self._count(int(_sizes(windows).prod(axis=1).sum()), line[0])
        least = np.where(rapid, self.note_rapid, self.note_deeper)
        envelopes, close = self._envelopes(moves, windows, depth > least, least)
        look = np.bincount(stretch, close)[stretch] > 0
        begins, ends = (np.diff(stretch, prepend=-1) != 0).tolist(), (np.diff(stretch, append=-1) != 0).tolist()
        rubs, turn = (depth > self.cutter.flute_length).tolist(), (met + first).tolist()
        for k, (looked, (i0, i1, j0, j1)) in enumerate(zip(look.tolist(), corners, strict=True)):
            while waiting and waiting[-1][0] <= turn[k]:
                self._sweep_pass(waiting.pop()[1])
            if rubs[k]:
                self._rub(moves.start[k], moves.end[k], line[k])
            there = self.top[j0:j1, i0:i1]
            alone = begins[k] and ends[k]
            if looked and alone:
                self._note(there - envelopes[k], j0, i0, line[k], rapid=bool(rapid[k]))
            elif looked and begins[k]:
                over = _hull(corners, k, ends)
                before = self.top[over].copy()
            np.minimum(there, envelopes[k], out=there)
            if looked and ends[k] and not alone:
                after = self.top[over]
                deep = np.subtract(before, after, where=after < before, out=np.zeros_like(before))
                self._note(deep, over[0].start, over[1].start, line[k], rapid=bool(rapid[k]))

    def _count(self, points: int, line: int) -> None:
        """Count what is worked out; now and then see how high things still stand."""
        self.since_ceiling += points
        self.worked_out += points
        if self.worked_out > max(_MOST_OVER * self.top.size, _ALWAYS_WORKED_OUT):
            raise TooLongError(line)
        if self.since_ceiling > _LOOK_AGAIN * self.top.size:
            self.ceiling, self.since_ceiling = Ceiling(self.top), 0

    def _reach(self, moves: Moves) -> tuple[NDArray[np.intp], Floats]:
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

    def _windows(self, start: Floats, end: Floats, half: Floats) -> NDArray[np.intp]:
        """(n, 4): first and past-the-last column, first and past-the-last row that each move can reach."""
        least, most = np.minimum(start, end), np.maximum(start, end)
        return np.stack([
            np.searchsorted(self.xs, least[:, 0] - half), np.searchsorted(self.xs, most[:, 0] + half, side="right"),
            np.searchsorted(self.ys, least[:, 1] - half), np.searchsorted(self.ys, most[:, 1] + half, side="right"),
        ], axis=1)

    def _envelopes(
        self, moves: Moves, windows: NDArray[np.intp], noted: Mask, least: Floats
    ) -> tuple[list[Heights], Mask]:
        """What each move leaves, over its window: moves with windows of about the same size at once.

        Also which of the `noted` moves go deeper than their `least` into what stands there before any of them cuts.
        """
        out: list[Heights] = [_NOTHING] * len(moves)
        close = np.zeros(len(moves), bool)
        size = _sizes(windows)
        padded = -(-size // 8) * 8
        kinds, kind = np.unique(padded[:, 0] * (1 << 32) + padded[:, 1], return_inverse=True)
        for k in range(int(kinds[0] == 0) if len(kinds) else 0, len(kinds)):
            all_members = np.flatnonzero(kind == k)
            per_batch = max(1, _BATCH_CELLS // int(padded[all_members[0]].prod()))
            for a in range(0, len(all_members), per_batch):
                members = all_members[a : a + per_batch]
                rows, columns = size[members].max(axis=0)
                i = np.minimum(windows[members, 0, None] + np.arange(columns), len(self.xs) - 1)
                j = np.minimum(windows[members, 2, None] + np.arange(rows), len(self.ys) - 1)
                heights = self._batch(moves.start[members], moves.end[members], i, j)
                if noted[members].any():
                    there = self.top.ravel().take(j[:, :, None] * self.top.shape[1] + i[:, None, :])
                    deepest = np.maximum.reduce(there - heights, axis=(1, 2))
                    close[members] = noted[members] & (deepest > least[members])
                for member, heights_there, (r, c) in zip(
                    members.tolist(), heights, size[members].tolist(), strict=True
                ):
                    out[member] = heights_there[:r, :c]
        return out, close

    def _batch(self, start: Floats, end: Floats, i: NDArray[np.intp], j: NDArray[np.intp]) -> Heights:
        """(n, rows, columns) heights at grid columns i (n, columns) and rows j (n, rows)."""
        dx = (self.xs[i] - start[:, 0, None]).astype(np.float32)[:, None, :]
        dy = (self.ys[j] - start[:, 1, None]).astype(np.float32)[:, :, None]
        run = end - start
        length = np.hypot(run[:, 0], run[:, 1])
        still = length == 0
        along = np.where(still, 1.0, run[:, 0]) / np.where(still, 1.0, length)
        aside = np.where(still, 0.0, run[:, 1]) / np.where(still, 1.0, length)
        c, s, far, rise, base = (
            column.astype(np.float32)[:, None, None] for column in (along, aside, length, run[:, 2], start[:, 2])
        )
        heights = swept_heights(self.cutter, c * dx + s * dy, c * dy - s * dx, far, rise)
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
        above = (there - shank - (start[2] + flutes)).astype(np.float32)
        self.taken.shank = self._deeper(self.taken.shank, above, int(j0), int(i0), line, _RUB)

    def _note(self, deep: Heights, j: int, i: int, line: int, *, rapid: bool) -> None:
        least = self.note_rapid if rapid else max(self.note_deeper, self.taken.cut.depth)
        if float(np.maximum.reduce(deep, axis=None)) <= least:
            return
        if rapid:
            self.taken.rapid = self._deeper(self.taken.rapid, deep, j, i, line, self.note_rapid)
            return
        if self.waste is not None:
            deep -= self.waste[j : j + deep.shape[0], i : i + deep.shape[1]] * np.float32(self.spare)
        near = self._shaving
        if min(deep.shape) > 2 * near:
            # A shaving off a wall may be as high as the wall: only what is wider than one is a cut.
            rows, columns = (slice(near, n - near) for n in deep.shape)
            core = np.minimum.reduce([
                deep[rows, columns], deep[: rows.stop - near, columns], deep[2 * near :, columns],
                deep[rows, : columns.stop - near], deep[rows, 2 * near :],
            ])
            self.taken.cut = self._deeper(self.taken.cut, core, j + near, i + near, line, self.note_deeper)

    def _deeper(self, so_far: Worst, into: Heights, j: int, i: int, line: int, least: float) -> Worst:
        depth = float(np.maximum.reduce(into, axis=None))
        if depth <= max(so_far.depth, least):
            return so_far
        at = int(np.argmax(into))
        row, column = divmod(at, into.shape[1])
        return Worst(depth=depth, x=float(self.xs[i + column]), y=float(self.ys[j + row]), line=int(line))


def _joined(parts: list[Moves]) -> Moves:
    return Moves(*(np.concatenate(part) for part in zip(*((p.start, p.end, p.row) for p in parts), strict=True)))


def _stretches(moves: Moves, rapid: Mask, length: float) -> NDArray[np.intp]:
    """Where runs of moves begin that follow on one another, about `length` mm long each; and the number of moves.

    What short moves take is judged together: one by one each takes but a shaving.
    """
    if not len(moves):
        return np.zeros(1, np.intp)
    far = np.linalg.norm(moves.end - moves.start, axis=1)
    joined = (moves.start[1:] == moves.end[:-1]).all(axis=1) & ~rapid[1:] & ~rapid[:-1]
    joined &= (far[1:] > 0) & (far[:-1] > 0)  # stops at the ends of passes belong to them
    run = np.concatenate([[0], np.cumsum(~joined)])
    gone = np.cumsum(far) - far
    gone -= gone[np.searchsorted(run, run)]
    begins = (np.diff(run, prepend=-1) != 0) | (np.diff(np.floor(gone / length), prepend=-1) != 0)
    return np.append(np.flatnonzero(begins), len(moves))


def _hull(corners: list[list[int]], first: int, ends: list[bool]) -> tuple[slice, slice]:
    """Rows and columns of the windows from the first of a stretch to its end."""
    last = ends.index(True, first)
    i0, i1, j0, j1 = zip(*corners[first : last + 1], strict=True)
    return slice(min(j0), max(j1)), slice(min(i0), max(i1))


def _sizes(windows: NDArray[np.intp]) -> NDArray[np.intp]:
    """(n, 2) rows and columns, 0 for none."""
    return np.maximum(windows[:, [3, 1]] - windows[:, [2, 0]], 0)


def _parts_of(cells: NDArray[np.intp], stretches: NDArray[np.intp]) -> Iterator[slice]:
    """Whole stretches of moves, few enough for their envelopes to be kept at once."""
    if len(cells):
        part = np.cumsum(np.add.reduceat(cells + _TOGETHER // _MOST_TOGETHER, stretches[:-1])) // _TOGETHER
        edges = stretches[np.flatnonzero(np.diff(part, prepend=-1, append=-1))]
        for first, stop in itertools.pairwise(edges.tolist()):
            yield slice(first, stop)


def _pieces(run: Floats, longest: float) -> NDArray[np.intp]:
    """How many pieces to take moves in: slanting ones in several, for windows less large than the board."""
    slanting = (run[:, :2] != 0).all(axis=1)
    return np.where(slanting, np.ceil(np.hypot(run[:, 0], run[:, 1]) / longest), 1).astype(np.intp)


def _in_pieces(moves: Moves, pieces: NDArray[np.intp]) -> Moves:
    """Moves in as many pieces, none where that is 0."""
    if pieces.max(initial=1) == 1:
        return moves.of(pieces == 1)
    move = np.repeat(np.arange(len(moves)), pieces)
    place = np.arange(len(move)) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    first, last = (place / pieces[move])[:, None], ((place + 1) / pieces[move])[:, None]
    start, run = moves.start[move], (moves.end - moves.start)[move]
    return Moves(start + first * run, start + last * run, moves.row[move])
