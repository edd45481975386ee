"""Moves as arrays: where the cutter's tip goes, and how."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from pathgen.base import given
from pathgen.base.arrays import Bools, Floats, Ints
from pathgen.base.brief import Brief
from pathgen.base.cutters import Cutter
from pathgen.base.errors import PathgenError
from pathgen.base.markup import as_svg
from pathgen.base.picture import path_in_plan

APPROACH = 0.3
"""Height above what is known to stand at which a rapid down ends, mm."""

AIR = 1.0
"""How far above the highest wood or fill a rapid may come down, mm."""

_BACK_OFF = 0.25
"""How far above where it has been a rapid between pecks ends, mm. RS274/NGC's pecking cycle backs off "a bit" there
too; common practice is a quarter of a millimetre or more, above what a small machine misses its heights by."""

_FEEDS = 20
"""Steps of feeds between nothing and the cutter's, so that few F words are written."""

_EQUAL = 1.0001
"""Rates of sinking that differ by less than this are the same."""

_ARRAYS = "(n, 3) points in mm and (n,) kinds of Move"
_BY_RUNS = "make it with Toolpath.from_runs"


class Move(IntEnum):
    """How the cutter gets to a point of a `Toolpath`: RAPID 0, CUT 1, PLUNGE 2, EASED 3.

    Feeds are those of the path's cutter, mm per minute. What was read of a program has `ReadMove` instead.

    >>> import pathgen
    >>> path = pathgen.Toolpath.from_runs([[[0, 0, 5], [9, 0, 5]]], safe_z=15.0)
    >>> [pathgen.Move(kind).name for kind in path.kinds]
    ['RAPID', 'PLUNGE', 'CUT', 'RAPID']
    """

    RAPID = 0
    """As fast as the machine can, through air."""
    CUT = 1
    """At the cutter's feed; like EASED, where that would sink it faster than its plunge feed, at less."""
    PLUNGE = 2
    """At the cutter's plunge feed."""
    EASED = 3
    """At the cutter's eased feed, where the load is high: full-width cuts and tight inner corners."""


@dataclass(frozen=True, eq=False, repr=False)
class Toolpath(Brief):
    """A path of the cutter's tip in the board's frame.

    Attributes
    ----------
    points : (n, 3) float array
        Tip positions in mm: x from the nut, y across, z above the underside. The first point is where the
        path begins and is reached by a rapid from above.
    kinds : (n,) int array
        `Move` by which each point is reached: RAPID 0, CUT 1, PLUNGE 2, EASED 3. The first must be RAPID in what
        `program` is to write; a part of a path may begin otherwise.

    Shows itself from above in a notebook.

    >>> import pathgen
    >>> path = pathgen.Toolpath.from_runs([[[0, 0, 5], [9, 0, 5]]], safe_z=15.0)
    >>> path.points[:, 2].tolist(), path.cut_length, path.rapid_length
    ([15.0, 5.0, 5.0, 15.0], 19.0, 10.0)
    """

    points: Floats
    kinds: NDArray[np.int8]

    def __post_init__(self) -> None:
        try:
            points = _points(self.points)
            kinds = np.array(self.kinds, dtype=float).reshape(-1)
        except (TypeError, ValueError, OverflowError):
            raise PathgenError("toolpath", "no arrays of numbers", allowed=_ARRAYS, remedy=_BY_RUNS) from None
        if len(points) != len(kinds):
            raise PathgenError("toolpath", f"{len(points)} points and {len(kinds)} kinds", allowed=_ARRAYS,
                               remedy=_BY_RUNS)
        if not np.isfinite(points).all():
            raise PathgenError("toolpath", "a point is not finite", allowed=_ARRAYS, remedy="look for nan in it")
        if not np.isin(kinds, list(Move)).all():
            raise PathgenError("toolpath", "a kind that is no Move", allowed=_ARRAYS, remedy=_BY_RUNS)
        object.__setattr__(self, "points", points)
        object.__setattr__(self, "kinds", kinds.astype(np.int8))
        super().__post_init__()

    def __len__(self) -> int:
        return len(self.points)

    @classmethod
    def empty(cls) -> Toolpath:
        """A path with no moves."""
        return Toolpath(np.empty((0, 3)), np.empty(0, dtype=np.int8))

    @classmethod
    def joined(cls, paths: Iterable[Toolpath]) -> Toolpath:
        """One path after another, as they stand."""
        parts = [p for p in paths if len(p)]
        if not parts:
            return cls.empty()
        return Toolpath(np.concatenate([p.points for p in parts]), np.concatenate([p.kinds for p in parts]))

    @classmethod
    def from_runs(cls, runs: Sequence[ArrayLike], *, safe_z: float, air_z: ArrayLike | None = None) -> Toolpath:
        """Cut each run in turn, lifting to `safe_z` between them.

        Each run is an (n, 3) array of tip positions: a rapid to above its first point, on down to `air_z`
        where that is given (a height with nothing but air above it, for all or for each), a plunge to the point, cuts
        along the run, plunges where it goes straight down. Raises PathgenError for what is no such list.
        """
        try:
            parts = [_points(run) for run in runs]
        except (TypeError, ValueError, OverflowError):
            raise PathgenError("toolpath runs", "no arrays of three columns", allowed="(n, 3) arrays in a list, mm",
                               remedy="give x, y and z of every point, and a list of runs") from None
        safe_z = given.length("toolpath safe_z", safe_z)
        try:
            airs = np.broadcast_to(np.asarray(math.inf if air_z is None else air_z, dtype=float), len(parts)).tolist()
        except (TypeError, ValueError, OverflowError):
            raise PathgenError("toolpath air_z", "no height for each run", allowed="a number, or one for each run, mm",
                               remedy="leave it out, or give as many as there are runs") from None
        return cls.joined(cls._one_run(run, safe_z, air) for run, air in zip(parts, airs, strict=True) if len(run))

    @classmethod
    def _one_run(cls, run: Floats, safe_z: float, air_z: float) -> Toolpath:
        heights = [safe_z, air_z] if run[0, 2] < air_z < safe_z else [safe_z]
        above = np.column_stack([np.tile(run[0, :2], (len(heights), 1)), heights])
        away = np.array([[*run[-1, :2], safe_z]])
        step = np.diff(run, axis=0)
        along = np.where((step[:, 2] < 0.0) & ~step[:, :2].any(axis=1), Move.PLUNGE, Move.CUT)
        kinds = np.concatenate([[Move.RAPID] * len(heights), [Move.PLUNGE], along, [Move.RAPID]])
        return Toolpath(np.concatenate([above, run, away]), kinds.astype(np.int8))

    def feeds(self, cutter: Cutter, *, rapid: float) -> Floats:
        """(n,) feed of the move that reaches each point, mm per minute, with rapids at `rapid`.

        It is that of the move's kind, or where that would sink the cutter faster than its plunge feed, the largest of
        20 even steps to its feed that does not, and never less than the plunge feed.
        """
        table = np.empty(len(Move))
        table[[Move.RAPID, Move.CUT, Move.PLUNGE, Move.EASED]] = rapid, cutter.feed, cutter.plunge, cutter.eased_feed
        feed, drop = table[self.kinds], -np.diff(self.points[:, 2], prepend=self.points[:1, 2])
        sinks = (self.kinds != Move.RAPID) & (drop * feed > cutter.plunge * self.lengths * _EQUAL)
        step = cutter.feed / _FEEDS
        most = np.floor(cutter.plunge * self.lengths[sinks] / drop[sinks] / step) * step
        feed[sinks] = np.maximum(most, cutter.plunge)
        return feed

    def hopping(self, low: float, *, safe_z: float, free: Callable[[NDArray[np.object_]], Bools]) -> Toolpath:
        """The same path with ways across at `low` in place of `safe_z`, where `free` says so of their lines.

        `low` is above all that is cut. The way to the first cut and from the last stays.
        """
        high = (self.kinds == Move.RAPID) & (self.points[:, 2] >= safe_z - 1e-9)
        a = np.flatnonzero(high[1:-2] & high[2:-1]) + 1
        may = a[free(shapely.linestrings(self.points[np.column_stack([a, a + 1]), :2]))]
        points = self.points.copy()
        points[may, 2] = points[may + 1, 2] = low
        return Toolpath(points, self.kinds)

    def quick_in_own_holes(self) -> Toolpath:
        """The same path with rapids up, and down again to just above where it has been, between pecks."""
        if not len(self):
            return self
        x, y, z = self.points.T
        upright = np.concatenate([[False], (np.diff(x) == 0) & (np.diff(y) == 0)])
        stay = np.cumsum(~upright)  # a number for each stretch of moves up and down at one place
        # a running minimum within each stretch, by one over all with the stretches set apart
        apart = stay * (float(np.ptp(z)) + 1.0)
        lowest = np.minimum.accumulate(z - apart) + apart
        down = np.flatnonzero(upright & (self.kinds == Move.PLUNGE) & (np.diff(z, prepend=z[:1]) < 0))
        before = lowest[down - 1] + _BACK_OFF
        down, before = down[before < z[down - 1]], before[before < z[down - 1]]
        middle = self.points[down].copy()
        middle[:, 2] = np.maximum(before, z[down])
        kinds = np.where(upright & (self.kinds != Move.RAPID) & (np.diff(z, prepend=z[:1]) > 0), Move.RAPID, self.kinds)
        return Toolpath(np.insert(self.points, down, middle, axis=0), np.insert(kinds, down, Move.RAPID))

    @property
    def lengths(self) -> Floats:
        """(n,) length of the move that reaches each point; 0 for the first."""
        return np.linalg.norm(steps(self.points), axis=1)

    @property
    def cut_length(self) -> float:
        """Length of all moves at a feed, mm."""
        return float(self.lengths[self.kinds != Move.RAPID].sum())

    @property
    def rapid_length(self) -> float:
        """Length of all rapids, mm."""
        return float(self.lengths[self.kinds == Move.RAPID].sum())

    def _repr_svg_(self) -> str:
        """The path from above, for notebooks: cuts as lines, rapids pale."""
        name = f"Path of {len(self)} points, {self.cut_length:.0f} mm of cutting" if len(self) else "an empty path"
        return as_svg(path_in_plan(name, self.points, self.kinds == Move.RAPID))


def _points(values: ArrayLike) -> Floats:
    """An (n, 3) array of its own; ValueError or TypeError for what is none, as points without z are."""
    points = np.array(given.numbers(values), order="C")
    if points.size and (points.ndim != 2 or points.shape[1] != 3):
        raise ValueError(points.shape)
    return points.reshape(-1, 3)


@dataclass(frozen=True)
class Rapids:
    """Heights that rapids go at, mm: `safe_z` across the work, and down to `air_z`, above all wood and fill."""

    safe_z: float
    air_z: float

    def between(self, runs: Sequence[ArrayLike]) -> Toolpath:
        """Cut each run in turn: `Toolpath.from_runs`."""
        return Toolpath.from_runs(runs, safe_z=self.safe_z, air_z=self.air_z)


def steps(points: Floats) -> Floats:
    """(n, 3) from the point before to each of (n, 3) points; nothing to the first."""
    return np.diff(points, axis=0, prepend=points[:1])


def along_in_plan(line: Floats) -> Floats:
    """(n,) distance of each point from the first, along a line of (n, 2) or (n, 3) points as seen from above, mm."""
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line[:, :2], axis=0).T))])


def simplified(points: ArrayLike, tolerance: float, first: ArrayLike = 0, last: ArrayLike | None = None) -> Ints:
    """Indices of the points to keep so that straight moves stay within `tolerance` of all of them.

    Douglas and Peucker's method (1973) in three dimensions, all stretches at once; `points` is (n, 3), of one line
    or of several that begin at `first` and end at `last`, or else just before the next. The first and last of each
    stay.
    """
    p, a = np.asarray(points, dtype=float), np.atleast_1d(first)
    b = np.append(a[1:], len(p)) - 1 if last is None else np.atleast_1d(last)
    keep = np.zeros(len(p), dtype=bool)
    keep[a] = keep[b] = True
    while True:
        a, b = a[b - a > 1], b[b - a > 1]
        if not len(a):
            return np.flatnonzero(keep)
        starts = np.concatenate([[0], np.cumsum(b - a - 1)])
        stretch = np.repeat(np.arange(len(a)), b - a - 1)
        inner = np.arange(starts[-1]) + (a + 1 - starts[:-1])[stretch]
        chord, way = (p[b] - p[a])[stretch], p[inner] - p[a[stretch]]
        along = np.clip((way * chord).sum(axis=1) / np.maximum((chord**2).sum(axis=1), 1e-300), 0.0, 1.0)
        off = np.linalg.norm(way - along[:, None] * chord, axis=1)
        most = np.maximum.reduceat(off, starts[:-1])
        far = most > tolerance
        at = np.flatnonzero((off == most[stretch]) & far[stretch])
        middle = inner[at[np.unique(stretch[at], return_index=True)[1]]]
        keep[middle] = True
        a, b = np.concatenate([a[far], middle]), np.concatenate([middle, b[far]])
