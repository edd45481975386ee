"""Material removed by moves: a field of heights, and what each move takes from it.

Heights are kept in float32: at 10 mm that is half a nanometre. Long moves along the board are cut a whole pass at a
time, since their envelope at a row is the pass's own height plus a constant of the row; everything else is
cut move by move, in its own window.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pathgen.cutters import Cutter
from pathgen.verify.grid import Grid
from pathgen.verify.motion import Motion
from pathgen.verify.sweep import swept_heights

Floats = NDArray[np.float64]
Heights = NDArray[np.float32]
Pieces = tuple[Floats, Floats, NDArray[np.intp]]
"""Starts, ends, and the moves they are pieces of."""

_EXACT = 1e-6  # mm: what a whole pass may differ from its moves taken one by one, a nanometre
_SHORTEST_PASS = 4.0  # radii
_DROP = 0.01  # mm: a move that goes down further than this from the end of a pass cuts more than a stop there would
_STRETCH = 1024  # columns of a pass at a time: few enough rows and columns to stay in the cache
_TILE = 32  # points along each side
_TOGETHER = 512  # moves whose envelopes are kept at once
_BATCH_CELLS = 1 << 16  # few enough to stay in the cache
_NOTHING = np.empty((0, 0), np.float32)
_SHAVING = 0.3  # mm: thickest that a finishing pass takes off a wall
_RUB = 0.05  # mm: a wall nearer than this to the shank counts as touched


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
        waste: NDArray[np.bool_] | None = None, spare: float = 0.0,
    ) -> Taken:
        """Take away what the moves sweep; note cuts deeper than `note_deeper` and rapids deeper than `note_rapid`.

        Nothing is noted of rapids where `note_rapid` is infinite. In `waste` cuts may be
        deeper by `spare`.
        """
        return _Cutting(self, motion, cutter, note_deeper, note_rapid, waste if spare else None, spare).run()


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


class _Ceiling:
    """Upper bounds of what stands over windows of a field, from the highest of each tile of it."""

    def __init__(self, top: Heights) -> None:
        rows, columns = (np.arange(0, n, _TILE) for n in top.shape)
        by_rows = np.maximum.reduceat(top, rows, axis=0)
        self.levels = [np.maximum.reduceat(by_rows, columns, axis=1)]
        self.highest = float(self.levels[0].max(initial=-math.inf))

    def over(self, windows: NDArray[np.intp]) -> Floats:
        """(n,) bounds over (n, 4) windows: first and past-the-last column, first and past-the-last row."""
        i0, i1, j0, j1 = ((windows - [0, 1, 0, 1]) // _TILE).T
        i, j = (i0 + i1) // 2, (j0 + j1) // 2
        # level n has, for each tile, the highest of the tiles up to 2 ** n - 1 away
        level = np.ceil(np.log2(1 + np.maximum(i1 - i, j1 - j))).astype(int)
        while len(self.levels) <= level.max(initial=0):
            self._widen()
        out = np.empty(len(windows))
        for n in np.unique(level):
            own = level == n
            out[own] = self.levels[n][j[own], i[own]]
        return out

    def _widen(self) -> None:
        wide, reach = self.levels[-1], 1 << (len(self.levels) - 1)
        for axis in (0, 1):
            before, after = wide.copy(), wide.copy()
            if wide.shape[axis] > reach:
                low = [slice(None), slice(None)]
                high = [slice(None), slice(None)]
                low[axis], high[axis] = slice(None, -reach), slice(reach, None)
                before[tuple(high)] = np.maximum(wide[tuple(high)], wide[tuple(low)])
                after[tuple(low)] = np.maximum(wide[tuple(low)], wide[tuple(high)])
            else:
                before = after = np.broadcast_to(wide.max(axis=axis, keepdims=True), wide.shape).copy()
            wide = np.maximum(before, after)
        self.levels.append(wide)


class _Cutting:
    """One program over one material."""

    def __init__(
        self, material: Material, motion: Motion, cutter: Cutter, note_deeper: float, note_rapid: float,
        waste: NDArray[np.bool_] | None, spare: float,
    ) -> None:
        self.xs, self.ys, self.top = material.grid.xs, material.grid.ys, material.top
        self.motion, self.cutter = motion, cutter
        self.note_deeper, self.note_rapid, self.waste, self.spare = note_deeper, note_rapid, waste, spare
        self.shank = replace(cutter, shape="flat-end", angle=None, diameter=cutter.diameter + 2 * _RUB)
        self.ceiling = _Ceiling(self.top)
        self.highest = self.ceiling.highest
        self.taken = Taken()
        # points to each side that a cut spans and a shaving does not, never more than half the cutter
        spacing = float(self.xs[1] - self.xs[0]) if len(self.xs) > 1 else _SHAVING
        self._shaving = max(1, min(math.ceil(_SHAVING / 2 / spacing - 1e-9), int(cutter.radius / spacing) - 1))

    def run(self) -> Taken:
        passes = passes_along(self.motion, _SHORTEST_PASS * self.cutter.radius)
        single = np.ones(len(self.motion), bool)
        for first, stop in passes:
            single[first:stop] = False
        if self._order_matters():
            done = 0
            for first, stop in passes:
                self._moves(np.arange(done, first))
                self._cut(*self._pass(first, stop, single))
                done = stop
            self._moves(np.arange(done, len(self.motion)))
        else:
            left = [self._pass(first, stop, single) for first, stop in passes]
            self._moves(np.flatnonzero(single))
            if left:
                self._cut(*(np.concatenate(part) for part in zip(*left, strict=True)))
        return self.taken

    def _order_matters(self) -> bool:
        """What is left in the end does not depend on the order of the moves; what is noted of them does."""
        m = self.motion
        with np.errstate(invalid="ignore"):
            low = np.fmin(m.start[:, 2], m.end[:, 2])
            too_deep = self.highest - low[~m.rapid] > self.note_deeper
            noted = m.rapid & ~self._straight_up if math.isfinite(self.note_rapid) else np.zeros(len(m), bool)
            return bool(too_deep.any() or (low[noted] < self.highest).any())

    @cached_property
    def _straight_up(self) -> NDArray[np.bool_]:
        """Rapids straight up, which meet nothing: the cutter already was at their lower end."""
        m = self.motion
        with np.errstate(invalid="ignore"):
            return m.rapid & (m.start[:, :2] == m.end[:, :2]).all(axis=1) & (m.end[:, 2] >= m.start[:, 2])

    # -- whole passes ------------------------------------------------------------------------------------------------

    def _pass(self, first: int, stop: int, single: NDArray[np.bool_]) -> Pieces:
        """Cut a pass along x at once; gives back what is left to be cut of it in pieces: its ends, or all of it."""
        m = self.motion
        knots = np.concatenate([m.start[first : first + 1], m.end[first:stop]])
        back = bool(knots[-1, 0] < knots[0, 0])
        x, z = (knots[::-1] if back else knots)[:, [0, 2]].T
        slope = np.diff(z) / np.diff(x)
        end = self._end_length(slope)
        in_flutes = self.highest - float(z.min()) <= self.cutter.flute_length
        if not (in_flutes and self._is_gentle(slope) and x[-1] - x[0] >= 4 * end):
            return m.start[first:stop], m.end[first:stop], np.arange(first, stop)
        self._sweep_pass(float(knots[0, 1]), x, z, int(m.line[first]), inset=end / 2)
        if end:
            return self._ends_of(knots, end, np.arange(first, stop))
        stops = [(knots[0], first)] if self._meets_nothing(first - 1, first, single) else []
        stops += [(knots[-1], stop - 1)] if self._meets_nothing(stop, stop - 1, single) else []
        points = np.array([point for point, _ in stops]).reshape(-1, 3)
        return points, points, np.array([row for _, row in stops], dtype=np.intp)

    def _end_length(self, slope: Floats) -> float:
        """Length of each end of a pass that is to be cut as moves, mm: where the cutter touches what lies beyond it.

        0 where the slope is so slight that it makes no difference: there the cutter only has to stop at the end.
        """
        steepest = float(np.abs(slope).max())
        if self.cutter.shape == "flat-end":
            return 2 * self.cutter.radius if steepest else 0.0
        return 2 * self.cutter.radius * steepest if self.cutter.radius * steepest**2 > 2 * _EXACT else 0.0

    @staticmethod
    def _ends_of(knots: Floats, length: float, rows: NDArray[np.intp]) -> Pieces:
        """The first and the last `length` of a pass as moves."""
        along = np.abs(knots[:, 0] - knots[0, 0])
        parts = []
        for low, high in ((0.0, length), (along[-1] - length, along[-1])):
            cuts = np.concatenate([[low], along[(along > low) & (along < high)], [high]])
            points = np.column_stack([np.interp(cuts, along, knots[:, axis]) for axis in range(3)])
            move = np.clip(np.searchsorted(along, (cuts[1:] + cuts[:-1]) / 2) - 1, 0, len(rows) - 1)
            parts.append((points[:-1], points[1:], rows[move]))
        start, end, row = (np.concatenate(part) for part in zip(*parts, strict=True))
        return start, end, row

    def _meets_nothing(self, beside: int, own: int, single: NDArray[np.bool_]) -> bool:
        """Whether the stop at the end of a pass is not also cut, at that height, by the move beside it."""
        m = self.motion
        if not 0 <= beside < len(m) or not m.cutting[beside] or not single[beside]:
            return True
        return bool(m.end[beside, 2] < m.end[own, 2] - _DROP)

    def _is_gentle(self, slope: Floats) -> bool:
        """Whether the envelope over each point may be taken from the move over it alone."""
        steepest, bend = float(np.abs(slope).max()), float(np.abs(np.diff(slope)).max(initial=0.0))
        if self.cutter.shape == "flat-end":
            rises = np.sign(slope)
            return not np.any((rises[:-1] < 0) & (rises[1:] > 0))
        if self.cutter.shape == "v":  # beside a slope its rim, not its flank, would touch
            return self.cutter.radius * steepest**2 <= _EXACT * min(1.0, self.cutter.wall_slope)
        return self.cutter.radius * steepest * bend <= _EXACT

    def _sweep_pass(self, y: float, x: Floats, z: Floats, line: int, *, inset: float) -> None:
        """In stretches of columns, each only over the rows where something stands high enough to be met."""
        slope = np.diff(z) / np.diff(x)
        steepest, lowest = float(np.abs(slope).max()), float(z.min())
        # how far a point may be cut below the tip over it, by the neighbouring parts of a slope
        slack = self.cutter.radius * steepest
        half = float(self.cutter.half_width(self.highest - lowest))
        j0, j1 = (int(j) for j in np.searchsorted(self.ys, [y - half, y + half]))
        i0, i1 = (int(i) for i in np.searchsorted(self.xs, [x[0] + inset, x[-1] - inset]))
        base = np.interp(self.xs[i0:i1], x, z).astype(np.float32)
        across = np.abs(self.ys[j0:j1] - y)
        profile = self.cutter.profile(across).astype(np.float32)
        level = self.cutter.shape == "v" or (
            self.cutter.shape == "ball-end" and self.cutter.radius * steepest**2 < _EXACT
        )
        for i in range(i0, i1 if j1 > j0 and half > 0 else i0, _STRETCH):
            columns = slice(i, min(i + _STRETCH, i1))
            own = base[i - i0 : columns.stop - i0]
            low = max(float(own.min()) - slack, lowest)
            tops = np.maximum.reduce(self.top[j0:j1, columns], axis=1)
            met = np.flatnonzero(profile + low < tops)
            if not len(met):
                continue
            near = slice(int(met[0]), int(met[-1]) + 1)
            if level:
                envelope = np.add.outer(profile[near], own)
            else:
                envelope = self._envelope(x, z, slope, across[near], self.xs[columns])
            there = self.top[j0 + near.start : j0 + near.stop, columns]
            if float(tops.max()) - low > self.note_deeper:
                self._note(there, envelope, j0 + near.start, i, line, rapid=False)
            np.minimum(there, envelope, out=there)

    def _envelope(self, x: Floats, z: Floats, slope: Floats, across: Floats, at: Floats) -> Heights:
        """(len(across), len(at)) heights that the pass leaves, at distances `across` from it."""
        r = self.cutter.radius
        base = np.interp(at, x, z)
        if self.cutter.shape == "flat-end":
            if not slope.any():
                return np.broadcast_to(base.astype(np.float32), (len(across), len(at)))
            # the lower end of what the disc covers; the other end too where the pass rises and falls
            reach = np.sqrt(r * r - across**2)[:, None]
            ends = [np.interp(at + s * reach, x, z) for s in (-1.0, 1.0) if (s * slope < 0).any()]
            return np.minimum(ends[0], ends[-1]).astype(np.float32)
        own = slope[np.clip(np.searchsorted(x, at, side="right") - 1, 0, len(slope) - 1)]
        rho = np.sqrt(r * r - across**2)
        lift = (across**2 / (r + rho))[:, None] - np.multiply.outer(rho, own**2 / (1.0 + np.sqrt(1.0 + own**2)))
        return (base + lift).astype(np.float32)

    # -- move by move ------------------------------------------------------------------------------------------------

    def _moves(self, rows: NDArray[np.intp]) -> None:
        """Moves taken away in the order given."""
        self._cut(self.motion.start[rows], self.motion.end[rows], rows)

    def _cut(self, start: Floats, end: Floats, rows: NDArray[np.intp]) -> None:
        """Pieces of moves `rows`, taken away in their order: those that are low enough, and cut or are to be noted."""
        if not len(rows):
            return
        with np.errstate(invalid="ignore"):
            wanted = (np.fmin(start[:, 2], end[:, 2]) < self.highest) & np.isfinite(end).all(axis=1)
        wanted &= ~self.motion.rapid[rows] if math.isinf(self.note_rapid) else ~self._straight_up[rows]
        if wanted.any():
            start, end, rows = start[wanted], end[wanted], rows[wanted]
            start = np.where(np.isfinite(start), start, end)
            self._pieces(*_in_pieces(start, end, rows, max(4 * self.cutter.diameter, 8.0)))

    def _pieces(self, start: Floats, end: Floats, rows: NDArray[np.intp]) -> None:
        low = np.minimum(start[:, 2], end[:, 2])
        half = self.cutter.half_width(self.highest - low)
        windows = self._windows(start, end, half)
        some = (windows[:, 1] > windows[:, 0]) & (windows[:, 3] > windows[:, 2]) & (half > 0)
        if not some.any():
            return
        start, end, rows, low, windows = start[some], end[some], rows[some], low[some], windows[some]
        ceiling = self.ceiling.over(windows)
        half = self.cutter.half_width(ceiling - low)
        windows = self._windows(start, end, half)
        some = (windows[:, 1] > windows[:, 0]) & (windows[:, 3] > windows[:, 2]) & (half > 0)
        start, end, rows, low, windows = start[some], end[some], rows[some], low[some], windows[some]
        self._note_shank(start, end, self.motion.line[rows], low, ceiling[some])
        for a in range(0, len(rows), _TOGETHER):
            part = slice(a, a + _TOGETHER)
            self._take_all(start[part], end[part], rows[part], windows[part], (ceiling[some] - low)[part])

    def _take_all(
        self, start: Floats, end: Floats, rows: NDArray[np.intp], windows: NDArray[np.intp], depth: Floats
    ) -> None:
        """Take away moves in their order; look closely only at those that may be too deep, or are rapids."""
        least = np.where(self.motion.rapid[rows], self.note_rapid, self.note_deeper)
        envelopes, close = self._envelopes(start, end, windows, depth > least, least)
        line = self.motion.line[rows].tolist()
        for k, ((i0, i1, j0, j1), envelope, look) in enumerate(
            zip(windows.tolist(), envelopes, close.tolist(), strict=True)
        ):
            there = self.top[j0:j1, i0:i1]
            if look:
                self._note(there, envelope, j0, i0, line[k], rapid=bool(self.motion.rapid[rows[k]]))
            np.minimum(there, envelope, out=there)

    def _windows(self, start: Floats, end: Floats, half: Floats) -> NDArray[np.intp]:
        """(n, 4): first and past-the-last column, first and past-the-last row that each move can reach."""
        least, most = np.minimum(start, end), np.maximum(start, end)
        return np.stack([
            np.searchsorted(self.xs, least[:, 0] - half), np.searchsorted(self.xs, most[:, 0] + half, side="right"),
            np.searchsorted(self.ys, least[:, 1] - half), np.searchsorted(self.ys, most[:, 1] + half, side="right"),
        ], axis=1)

    def _envelopes(
        self, start: Floats, end: Floats, windows: NDArray[np.intp], noted: NDArray[np.bool_], least: Floats
    ) -> tuple[list[Heights], NDArray[np.bool_]]:
        """What each move leaves, over its window: moves with windows of about the same size at once.

        Also which of the `noted` moves go deeper than their `least` into what stands there before any of them cuts.
        """
        out: list[Heights] = [_NOTHING] * len(start)
        close = np.zeros(len(start), bool)
        size = np.stack([windows[:, 3] - windows[:, 2], windows[:, 1] - windows[:, 0]], axis=1)
        padded = -(-size // 8) * 8
        kinds, kind = np.unique(padded[:, 0] * (1 << 32) + padded[:, 1], return_inverse=True)
        for k in range(len(kinds)):
            all_members = np.flatnonzero(kind == k)
            per_batch = max(1, _BATCH_CELLS // int(padded[all_members[0]].prod()))
            for a in range(0, len(all_members), per_batch):
                members = all_members[a : a + per_batch]
                rows, columns = size[members].max(axis=0)
                i = np.minimum(windows[members, 0, None] + np.arange(columns), len(self.xs) - 1)
                j = np.minimum(windows[members, 2, None] + np.arange(rows), len(self.ys) - 1)
                heights = self._batch(start[members], end[members], i, j)
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

    def _note_shank(self, start: Floats, end: Floats, line: NDArray[np.int64], low: Floats, ceiling: Floats) -> None:
        deep = np.flatnonzero(ceiling - low > self.cutter.flute_length)
        for k in deep.tolist():
            self._rub(start[k], end[k], int(line[k]))

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

    def _note(self, there: Heights, envelope: Heights, j: int, i: int, line: int, *, rapid: bool) -> None:
        deep = there - envelope
        if rapid:
            self.taken.rapid = self._deeper(self.taken.rapid, deep, j, i, line, self.note_rapid)
            return
        if self.waste is not None:
            deep -= self.waste[j : j + deep.shape[0], i : i + deep.shape[1]] * np.float32(self.spare)
        near = self._shaving
        if min(deep.shape) > 2 * near:
            # A shaving off a wall may be as high as the wall: only what is wider than one is a cut.
            inner = slice(near, -near)
            core = np.minimum.reduce([
                deep[inner, inner], deep[: -2 * near, inner], deep[2 * near :, inner],
                deep[inner, : -2 * near], deep[inner, 2 * near :],
            ])
            self.taken.cut = self._deeper(self.taken.cut, core, j + near, i + near, line, self.note_deeper)

    def _deeper(self, so_far: Worst, into: Heights, j: int, i: int, line: int, least: float) -> Worst:
        depth = float(np.maximum.reduce(into, axis=None))
        if depth <= max(so_far.depth, least):
            return so_far
        at = int(np.argmax(into))
        row, column = divmod(at, into.shape[1])
        return Worst(depth=depth, x=float(self.xs[i + column]), y=float(self.ys[j + row]), line=int(line))


def _in_pieces(
    start: Floats, end: Floats, rows: NDArray[np.intp], longest: float
) -> tuple[Floats, Floats, NDArray[np.intp]]:
    """Slanting moves in pieces, so that a long one does not have a window as large as the board."""
    run = end - start
    slanting = (run[:, :2] != 0).all(axis=1)
    pieces = np.where(slanting, np.ceil(np.hypot(run[:, 0], run[:, 1]) / longest), 1).astype(int)
    if pieces.max(initial=1) == 1:
        return start, end, rows
    move = np.repeat(np.arange(len(rows)), pieces)
    place = np.arange(len(move)) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    first, last = (place / pieces[move])[:, None], ((place + 1) / pieces[move])[:, None]
    return start[move] + first * run[move], start[move] + last * run[move], rows[move]
