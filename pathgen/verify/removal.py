"""Material removed by moves: a field of heights, and what each move takes from it.

Heights are kept in float32: at 10 mm that is half a nanometre. Long moves along the board are cut a whole pass at a
time, since their envelope at a row is the pass's own height plus a constant of the row; everything else is
cut move by move, in its own window.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from pathgen.cutters import Cutter
from pathgen.verify.grid import Grid
from pathgen.verify.motion import Motion
from pathgen.verify.sweep import swept_heights

Floats = NDArray[np.float64]
Heights = NDArray[np.float32]

_EXACT = 1e-6  # mm: what a whole pass may differ from its moves taken one by one, a nanometre
_SHORTEST_PASS = 4.0  # radii
_TOGETHER = 512  # moves whose envelopes are kept at once
_BATCH_CELLS = 1 << 16  # few enough to stay in the cache
_NOTHING = np.empty((0, 0), np.float32)
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
        spare: Heights | None = None,
    ) -> Taken:
        """Take away what the moves sweep; note cuts deeper than `note_deeper` and rapids deeper than `note_rapid`.

        `spare` is how much deeper than that a cut may be, point by point.
        """
        return _Cutting(self, motion, cutter, note_deeper, note_rapid, spare).run()


def passes_along(motion: Motion, shortest: float) -> list[tuple[int, int]]:
    """Runs [first, stop) of moves at a feed along one line of constant y, one way, `shortest` mm or longer."""
    run = motion.end - motion.start
    along = motion.cutting & (run[:, 1] == 0) & (run[:, 0] != 0) & (np.abs(run[:, 2]) < np.abs(run[:, 0]))
    way = np.where(along, np.sign(run[:, 0]), 0).astype(np.int8)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], way, [0]])))
    spans = []
    for first, stop in zip(edges[:-1], edges[1:], strict=True):
        if way[first] and abs(motion.end[stop - 1, 0] - motion.start[first, 0]) >= shortest:
            spans.append((int(first), int(stop)))
    return spans


class _Cutting:
    """One program over one material."""

    def __init__(
        self, material: Material, motion: Motion, cutter: Cutter, note_deeper: float, note_rapid: float,
        spare: Heights | None,
    ) -> None:
        self.xs, self.ys, self.top = material.grid.xs, material.grid.ys, material.top
        self.motion, self.cutter = motion, cutter
        self.note_deeper, self.note_rapid, self.spare = note_deeper, note_rapid, spare
        self.shank = replace(cutter, shape="flat-end", angle=None, diameter=cutter.diameter + 2 * _RUB)
        self.highest = float(self.top.max(initial=-math.inf))
        self.taken = Taken()

    def run(self) -> Taken:
        done = 0
        for first, stop in passes_along(self.motion, _SHORTEST_PASS * self.cutter.radius):
            self._moves(done, first)
            if not self._whole_pass(first, stop):
                self._moves(first, stop)
            done = stop
        self._moves(done, len(self.motion))
        return self.taken

    # -- whole passes ------------------------------------------------------------------------------------------------

    def _whole_pass(self, first: int, stop: int) -> bool:
        """Cut a pass along x at once; False where its shape needs it move by move."""
        knots = np.concatenate([self.motion.start[first : first + 1], self.motion.end[first:stop]])
        y, order = knots[0, 1], slice(None, None, 1 if knots[-1, 0] > knots[0, 0] else -1)
        x, z = knots[order, 0], knots[order, 2]
        slope = np.diff(z) / np.diff(x)
        if not self._is_gentle(slope) or self.highest - float(z.min()) > self.cutter.flute_length:
            return False
        i0, i1 = np.searchsorted(self.xs, [x[0], x[-1]])
        low = float(z.min())
        j0, j1 = self._rows_within(y, low, int(i0), int(i1))
        if i1 > i0 and j1 > j0:
            envelope = self._envelope(x, z, slope, np.abs(self.ys[j0:j1] - y), self.xs[i0:i1])
            self._take(envelope, j0, int(i0), int(self.motion.line[first]), low)
        self._round_ends(first, stop)
        return True

    def _rows_within(self, y: float, low: float, i0: int, i1: int) -> tuple[int, int]:
        """Rows that a pass may cut: first by the highest of all, then by the highest of what stands near."""
        highest, j0, j1 = self.highest, 0, len(self.ys)
        for _ in range(2):
            half = float(self.cutter.half_width(highest - low))
            j0, j1 = (int(j) for j in np.searchsorted(self.ys, [y - half, y + half]))
            if half <= 0.0 or j1 <= j0 or i1 <= i0 or self.cutter.shape == "flat-end":
                break
            highest = float(self.top[j0:j1, i0:i1].max())
        return j0, j1

    def _is_gentle(self, slope: Floats) -> bool:
        """Whether the envelope over each point may be taken from the move over it alone."""
        steepest, bend = float(np.abs(slope).max()), float(np.abs(np.diff(slope)).max(initial=0.0))
        if self.cutter.shape == "flat-end":
            rises = np.sign(slope)
            return not np.any((rises[:-1] < 0) & (rises[1:] > 0))
        if self.cutter.shape == "v":
            steepest /= math.sqrt(max(self.cutter.wall_slope**2 - steepest**2, 1e-12))
        return self.cutter.radius * steepest * bend <= _EXACT

    def _envelope(self, x: Floats, z: Floats, slope: Floats, across: Floats, at: Floats) -> Heights:
        r = self.cutter.radius
        base = np.interp(at, x, z)
        if self.cutter.shape == "flat-end":
            reach = np.sqrt(r * r - across**2)
            if not slope.any():
                return np.broadcast_to(base.astype(np.float32), (len(reach), len(at)))
            # the lower end of what the disc covers; the other end too where the pass falls and rises
            ends = [s * reach for s in (-1.0, 1.0) if (s * slope < 0).any()]
            return np.array(
                [np.min([np.interp(at + w, x, z) for w in both], axis=0) for both in zip(*ends, strict=True)], np.float32
            )
        own = slope[np.clip(np.searchsorted(x, at, side="right") - 1, 0, len(slope) - 1)]
        if self.cutter.shape == "v":
            lift = np.multiply.outer(across, np.sqrt(self.cutter.wall_slope**2 - own**2))
        else:
            rho = np.sqrt(r * r - across**2)
            sag = across**2 / (r + rho)
            if r * float(np.abs(own).max()) ** 2 < _EXACT:
                return np.add.outer(sag.astype(np.float32), base.astype(np.float32))
            lift = sag[:, None] - np.multiply.outer(rho, own**2 / (1.0 + np.sqrt(1.0 + own**2)))
        return (base + lift).astype(np.float32)

    def _round_ends(self, first: int, stop: int) -> None:
        """What the cutter leaves around the ends of a pass, where no other feed move starts or ends there."""
        m = self.motion
        if first == 0 or not m.cutting[first - 1]:
            self._pieces(m.start[first : first + 1], m.start[first : first + 1], np.array([first]))
        if stop == len(m) or not m.cutting[stop]:
            self._pieces(m.end[stop - 1 : stop], m.end[stop - 1 : stop], np.array([stop - 1]))

    # -- move by move ------------------------------------------------------------------------------------------------

    def _moves(self, first: int, stop: int) -> None:
        """Moves [first, stop): their envelopes in batches of like size, taken away in their order."""
        m = self.motion
        z = np.fmin(m.start[first:stop, 2], m.end[first:stop, 2])
        with np.errstate(invalid="ignore"):
            rows = np.flatnonzero((z < self.highest) & np.isfinite(m.end[first:stop]).all(axis=1)) + first
        if len(rows):
            start = np.where(np.isfinite(m.start[rows]), m.start[rows], m.end[rows])
            self._pieces(*_in_pieces(start, m.end[rows], rows, max(4 * self.cutter.diameter, 8.0)))

    def _pieces(self, start: Floats, end: Floats, rows: NDArray[np.intp]) -> None:
        low = np.minimum(start[:, 2], end[:, 2])
        half = self.cutter.half_width(self.highest - low)
        windows = self._windows(start, end, half)
        some = (windows[:, 1] > windows[:, 0]) & (windows[:, 3] > windows[:, 2]) & (half > 0)
        start, end, rows, low, windows = start[some], end[some], rows[some], low[some], windows[some]
        rapid, line = self.motion.rapid[rows], self.motion.line[rows]
        for a in range(0, len(rows), _TOGETHER):
            part = slice(a, a + _TOGETHER)
            envelopes = self._envelopes(start[part], end[part], windows[part])
            for k, envelope in enumerate(envelopes, a):
                if self.highest - low[k] > self.cutter.flute_length:
                    self._rub(start[k], end[k], int(line[k]))
                take = self._touch if rapid[k] else self._take
                take(envelope, int(windows[k, 2]), int(windows[k, 0]), int(line[k]), float(low[k]))

    def _windows(self, start: Floats, end: Floats, half: Floats) -> NDArray[np.intp]:
        """(n, 4): first and past-the-last column, first and past-the-last row that each move can reach."""
        least, most = np.minimum(start, end), np.maximum(start, end)
        return np.stack([
            np.searchsorted(self.xs, least[:, 0] - half), np.searchsorted(self.xs, most[:, 0] + half, side="right"),
            np.searchsorted(self.ys, least[:, 1] - half), np.searchsorted(self.ys, most[:, 1] + half, side="right"),
        ], axis=1)

    def _envelopes(self, start: Floats, end: Floats, windows: NDArray[np.intp]) -> list[Heights]:
        """What each move leaves, over its window: computed for all moves with windows of about the same size at once."""
        out: list[Heights] = [_NOTHING] * len(start)
        size = np.stack([windows[:, 3] - windows[:, 2], windows[:, 1] - windows[:, 0]], axis=1)
        padded = -(-size // 8) * 8
        kinds, kind = np.unique(padded[:, 0] * (1 << 32) + padded[:, 1], return_inverse=True)
        for k in range(len(kinds)):
            all_members = np.flatnonzero(kind == k)
            per_batch = max(1, _BATCH_CELLS // int(padded[all_members[0]].prod()))
            for a in range(0, len(all_members), per_batch):
                members = all_members[a : a + per_batch]
                rows, columns = size[members].max(axis=0)
                heights = self._batch(start[members], end[members], windows[members], int(rows), int(columns))
                for place, member in enumerate(members.tolist()):
                    out[member] = heights[place, : size[member, 0], : size[member, 1]]
        return out

    def _batch(self, start: Floats, end: Floats, windows: NDArray[np.intp], rows: int, columns: int) -> Heights:
        """(n, rows, columns) heights."""
        i = np.minimum(windows[:, 0, None] + np.arange(columns), len(self.xs) - 1)
        j = np.minimum(windows[:, 2, None] + np.arange(rows), len(self.ys) - 1)
        dx = (self.xs[i] - start[:, 0, None]).astype(np.float32)[:, None, :]
        dy = (self.ys[j] - start[:, 1, None]).astype(np.float32)[:, :, None]
        run = end - start
        length = np.hypot(run[:, 0], run[:, 1])
        unit = np.divide(run[:, :2], length[:, None], where=length[:, None] > 0, out=np.tile([1.0, 0.0], (len(run), 1)))
        c, s, far, rise, base = (
            column.astype(np.float32)[:, None, None] for column in (unit[:, 0], unit[:, 1], length, run[:, 2], start[:, 2])
        )
        return swept_heights(self.cutter, c * dx + s * dy, c * dy - s * dx, far, rise) + base

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

    def _take(self, envelope: Heights, j: int, i: int, line: int, low: float) -> None:
        there = self.top[j : j + envelope.shape[0], i : i + envelope.shape[1]]
        if self.highest - low > self.note_deeper:
            deep = there - envelope
            if self.spare is not None:
                deep -= self.spare[j : j + envelope.shape[0], i : i + envelope.shape[1]]
            self.taken.cut = self._deeper(self.taken.cut, deep, j, i, line, self.note_deeper)
        np.minimum(there, envelope, out=there)

    def _touch(self, envelope: Heights, j: int, i: int, line: int, low: float) -> None:
        there = self.top[j : j + envelope.shape[0], i : i + envelope.shape[1]]
        self.taken.rapid = self._deeper(self.taken.rapid, there - envelope, j, i, line, self.note_rapid)
        np.minimum(there, envelope, out=there)

    def _deeper(self, so_far: Worst, into: Heights, j: int, i: int, line: int, least: float) -> Worst:
        depth = float(into.max())
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
