"""Material removed by moves: a field of heights, and what each move takes from it.

Heights are kept in float32: at 10 mm that is half a nanometre. Long moves along the board are cut a whole pass at a
time, since their envelope at a row is the pass's own height plus a constant of the row; everything else is
cut move by move, in its own window.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

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


@dataclass
class Material:
    """What stands on the bed: `top` (rows, columns) float32 heights over a grid, mm. Changed in place by `cut`."""

    grid: Grid
    top: Heights

    def cut(self, motion: Motion, cutter: Cutter, *, note_deeper: float = math.inf, note_rapid: float = 1e-3) -> Taken:
        """Take away what the moves sweep; note cuts deeper than `note_deeper` and rapids deeper than `note_rapid`."""
        return _Cutting(self, motion, cutter, note_deeper, note_rapid).run()


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

    def __init__(self, material: Material, motion: Motion, cutter: Cutter, note_deeper: float, note_rapid: float) -> None:
        self.xs, self.ys, self.top = material.grid.xs, material.grid.ys, material.top
        self.motion, self.cutter = motion, cutter
        self.note_deeper, self.note_rapid = note_deeper, note_rapid
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
        if not self._is_gentle(slope):
            return False
        i0, i1 = np.searchsorted(self.xs, [x[0], x[-1]])
        half = float(self.cutter.half_width(self.highest - float(z.min())))
        j0, j1 = np.searchsorted(self.ys, [y - half, y + half])
        if i1 > i0 and j1 > j0:
            envelope = self._envelope(x, z, slope, np.abs(self.ys[j0:j1] - y), self.xs[i0:i1])
            self._take(envelope, j0, i0, self.motion.line[first], depth_bound=self.highest - float(z.min()))
        self._round_ends(first, stop)
        return True

    def _is_gentle(self, slope: Floats) -> bool:
        """Whether the envelope over each point may be taken from the move over it alone."""
        steepest, bend = float(np.abs(slope).max()), float(np.abs(np.diff(slope)).max(initial=0.0))
        if self.cutter.shape == "flat-end":
            rises = np.sign(slope)
            return not np.any((rises[:-1] < 0) & (rises[1:] > 0)) and bend * 0.25 * self._spacing <= 10 * _EXACT
        if self.cutter.shape == "v":
            steepest /= math.sqrt(max(self.cutter.wall_slope**2 - steepest**2, 1e-12))
        return self.cutter.radius * steepest * bend <= _EXACT

    @property
    def _spacing(self) -> float:
        return float(self.xs[1] - self.xs[0]) if len(self.xs) > 1 else 0.0

    def _envelope(self, x: Floats, z: Floats, slope: Floats, across: Floats, at: Floats) -> Heights:
        r = self.cutter.radius
        base = np.interp(at, x, z)
        if self.cutter.shape == "flat-end":
            rows = [
                np.minimum(np.interp(at - w, x, z), np.interp(at + w, x, z)) if slope.any() else base
                for w in np.sqrt(r * r - across**2)
            ]
            return np.array(rows, dtype=np.float32)
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
        """What the cutter leaves around the ends of a pass, where no other move of this program starts or ends there."""
        m = self.motion
        if first == 0 or m.rapid[first - 1] or not m.cutting[first - 1]:
            self._window(first, m.start[first], m.start[first])
        if stop == len(m) or m.rapid[stop]:
            self._window(stop - 1, m.end[stop - 1], m.end[stop - 1])

    # -- move by move ------------------------------------------------------------------------------------------------

    def _moves(self, first: int, stop: int) -> None:
        m = self.motion
        if first >= stop:
            return
        known = np.isfinite(m.start[first:stop, 2]) & np.isfinite(m.end[first:stop]).all(axis=1)
        low = np.minimum(m.start[first:stop, 2], m.end[first:stop, 2])
        for i in np.flatnonzero(known & (low < self.highest)) + first:
            start = np.where(np.isfinite(m.start[i]), m.start[i], m.end[i])
            self._split(int(i), start, m.end[i])

    def _split(self, i: int, start: Floats, end: Floats) -> None:
        """Long moves in pieces, so that a slanting one does not have a window as large as the board."""
        length = math.hypot(end[0] - start[0], end[1] - start[1])
        slanting = min(abs(end[0] - start[0]), abs(end[1] - start[1])) > 0
        pieces = math.ceil(length / max(4 * self.cutter.diameter, 8.0)) if slanting else 1
        knots = start + (end - start) * np.linspace(0.0, 1.0, max(pieces, 1) + 1)[:, None]
        for a, b in zip(knots[:-1], knots[1:], strict=True):
            self._window(i, a, b)

    def _window(self, i: int, start: Floats, end: Floats) -> None:
        (x0, y0, z0), (x1, y1, z1) = start.tolist(), end.tolist()
        low = min(z0, z1)
        half = float(self.cutter.half_width(self.highest - low))
        if half <= 0.0:
            return
        i0, i1 = np.searchsorted(self.xs, (min(x0, x1) - half, max(x0, x1) + half))
        j0, j1 = np.searchsorted(self.ys, (min(y0, y1) - half, max(y0, y1) + half))
        if i1 <= i0 or j1 <= j0:
            return
        dx, dy = (self.xs[i0:i1] - x0).astype(np.float32), (self.ys[j0:j1] - y0).astype(np.float32)[:, None]
        length = math.hypot(x1 - x0, y1 - y0)
        if length < 1e-9:
            u, v, length = np.broadcast_to(dx, (len(dy), len(dx))), dy, 0.0
        else:
            c, s = np.float32((x1 - x0) / length), np.float32((y1 - y0) / length)
            u, v = c * dx + s * dy, c * dy - s * dx
        envelope = swept_heights(self.cutter, u, v, length, z1 - z0)
        envelope = envelope + np.float32(z0)
        if self.motion.rapid[i]:
            self._touch(envelope, int(j0), int(i0), int(self.motion.line[i]))
        else:
            self._take(envelope, int(j0), int(i0), int(self.motion.line[i]), depth_bound=self.highest - low)

    def _take(self, envelope: Heights, j: int, i: int, line: int, *, depth_bound: float) -> None:
        there = self.top[j : j + envelope.shape[0], i : i + envelope.shape[1]]
        if depth_bound > self.note_deeper:
            self.taken.cut = self._deeper(self.taken.cut, there - envelope, j, i, line, self.note_deeper)
        np.minimum(there, envelope, out=there)

    def _touch(self, envelope: Heights, j: int, i: int, line: int) -> None:
        there = self.top[j : j + envelope.shape[0], i : i + envelope.shape[1]]
        self.taken.rapid = self._deeper(self.taken.rapid, there - envelope, j, i, line, self.note_rapid)
        np.minimum(there, envelope, out=there)

    def _deeper(self, so_far: Worst, into: Heights, j: int, i: int, line: int, least: float) -> Worst:
        at = int(np.argmax(into))
        depth = float(into.flat[at])
        if depth <= max(so_far.depth, least):
            return so_far
        row, column = divmod(at, into.shape[1])
        return Worst(depth=depth, x=float(self.xs[i + column]), y=float(self.ys[j + row]), line=int(line))
