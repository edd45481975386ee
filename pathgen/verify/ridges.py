"""Ridges between passes, measured on cross sections: the swept shapes themselves, sampled finely across the board.

On a grid for removal a ridge is missed by up to half a cell. A section has points every hundredth of a millimetre
across the board, and the top of each ridge is where the two flanks beside it meet.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from pathgen.base.arrays import Bools, Floats, Ints
from pathgen.removal.grid import Grid

_STEP = 3.0
"""Times as steep as the flank on the other side: that is no flank, but a step, as where a fill ends beside a ridge."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Ridges:
    """Ridges on some sections.

    Attributes
    ----------
    x, y : (n,) float array
        Where the top of each ridge is, mm.
    height : (n,) float array
        Above the deeper of the two hollows beside it, square to the surface, mm.
    above, below : float
        Highest and lowest deviation from the surface on all the sections, straight up, mm.
    above_at, below_at : (x, y)
    """

    x: Floats
    y: Floats
    height: Floats
    above: float
    below: float
    above_at: tuple[float, float]
    below_at: tuple[float, float]

    @property
    def highest(self) -> float:
        """Height of the highest ridge, 0 where there is none."""
        return float(self.height.max(initial=0.0))

    @property
    def highest_at(self) -> tuple[float, float]:
        """Where it is; NaN where there is none."""
        if not len(self.height):
            return math.nan, math.nan
        worst = int(np.argmax(self.height))
        return float(self.x[worst]), float(self.y[worst])

    def moved(self, place: Callable[[Floats, Floats], tuple[Floats, Floats]]) -> Ridges:
        """The same with all places in another frame."""
        x, y = place(self.x, self.y)
        xs, ys = (v.tolist() for v in place(*np.transpose([self.above_at, self.below_at])))
        return replace(self, x=x, y=y, above_at=(xs[0], ys[0]), below_at=(xs[1], ys[1]))

    def joined(self, other: Ridges) -> Ridges:
        """Those of other sections too."""
        above = max([self, other], key=lambda r: -math.inf if math.isnan(r.above) else r.above)
        below = min([self, other], key=lambda r: math.inf if math.isnan(r.below) else r.below)
        x, y, height = (np.concatenate(pair) for pair in ((self.x, other.x), (self.y, other.y),
                                                          (self.height, other.height)))
        return Ridges(x=x, y=y, height=height, above=above.above, below=below.below, above_at=above.above_at,
                      below_at=below.below_at)

    def map(self, *, along: int = 48, across: int = 24) -> Floats:
        """(across, along) array of the highest ridge in each patch of the sections; NaN where none was found."""
        out = np.full((across, along), np.nan)
        if not len(self.x):
            return out
        np.fmax.at(out, (_bins(self.y, across), _bins(self.x, along)), self.height)
        return out


class Top(Protocol):
    """What a field is held against: a `Surface`, or one in a turned frame."""

    def height(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """Height above the underside, mm."""

    def normal(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """Unit normals, (..., 3); only how upright they are is asked for."""


def measure_ridges(top: NDArray[np.floating], grid: Grid, surface: Top, within: shapely.Geometry) -> Ridges:
    """Ridges on a field whose columns are sections: the parts of them that lie `within` an area."""
    inside = grid.covered(within)
    found: list[tuple[Floats, Floats, Floats]] = []
    above, below = (-math.inf, (math.nan, math.nan)), (math.inf, (math.nan, math.nan))
    for column, rows in _stretches(inside):
        x, y = float(grid.xs[column]), grid.ys[rows]
        off = top[rows, column].astype(float) - surface.height(x, y)
        high, low = int(np.argmax(off)), int(np.argmin(off))
        above = max(above, (float(off[high]), (x, float(y[high]))))
        below = min(below, (float(off[low]), (x, float(y[low]))))
        where, height, tips = _tops(y, off, surface.normal(x, y)[:, 2])
        above = max([above, *((float(t), (x, float(w))) for t, w in zip(tips, where, strict=True))])
        found.append((np.full(len(where), x), where, height))
    if not found:
        return Ridges(x=np.empty(0), y=np.empty(0), height=np.empty(0), above=math.nan, below=math.nan,
                      above_at=(math.nan, math.nan), below_at=(math.nan, math.nan))
    x_all, y_all, h_all = (np.concatenate(part) for part in zip(*found, strict=True))
    return Ridges(x=x_all, y=y_all, height=h_all, above=above[0], below=below[0], above_at=above[1], below_at=below[1])


def _stretches(inside: Bools) -> Iterator[tuple[int, Ints]]:
    """Column and rows of every unbroken stretch of 5 points or more: a slanting slot or a pocket parts a section."""
    for column in range(inside.shape[1]):
        rows = np.flatnonzero(inside[:, column])
        for part in np.split(rows, np.flatnonzero(np.diff(rows) > 1) + 1):
            if len(part) >= 5:
                yield column, part


def _tops(y: Floats, off: Floats, upright: Floats) -> tuple[Floats, Floats, Floats]:
    """(y, height, top) of the ridges of one section: heights square to the surface, tops straight up."""
    rise = np.diff(off)
    at = np.flatnonzero((rise[1:-2] > 0) & (rise[2:-1] <= 0)) + 2  # two points on both sides
    if not len(at):
        return np.empty(0), np.empty(0), np.empty(0)
    # flanks as straight lines through the two points before the top and the two after it
    left = (off[at - 1] - off[at - 2]) / (y[at - 1] - y[at - 2])
    right = (off[at + 2] - off[at + 1]) / (y[at + 2] - y[at + 1])
    least = np.minimum(np.abs(left), np.abs(right))
    left, right = (np.where(np.abs(flank) > _STEP * least, np.sign(flank) * least, flank) for flank in (left, right))
    with np.errstate(divide="ignore", invalid="ignore"):
        run = (off[at + 1] - off[at - 1] + left * y[at - 1] - right * y[at + 1]) / (left - right)
    run = np.clip(np.where(np.isfinite(run), run, y[at]), y[at - 1], y[at + 1])
    flanks = off[at - 1] + left * (run - y[at - 1]), off[at + 1] + right * (run - y[at + 1])
    tip = np.maximum(off[at], np.minimum(*flanks))
    hollows = np.minimum.reduceat(off, np.concatenate([[0], at]))
    height = (tip - np.minimum(hollows[:-1], hollows[1:])) * upright[at]
    return run, height, tip


def _bins(values: Floats, count: int) -> Ints:
    low, high = float(values.min()), float(values.max())
    share = (values - low) / (high - low) if high > low else np.zeros_like(values)
    return np.minimum((share * count).astype(int), count - 1)


def stations(within: shapely.Geometry, slots: Floats | None, *, spacing: float, clear: float) -> Floats:
    """X of sections through an area: at both ends and every `spacing` mm, `clear` mm beside slots square to x."""
    x0, _, x1, _ = within.bounds
    inset = min(0.1, (x1 - x0) / 4)
    xs = np.linspace(x0 + inset, x1 - inset, max(2, round((x1 - x0) / spacing) + 1))
    if slots is not None and len(slots):
        centre = slots[:, :, 0].mean(axis=1)
        nearest = centre[np.argmin(np.abs(xs[:, None] - centre), axis=1)]
        close = np.abs(xs - nearest) < clear
        xs = np.where(close, nearest + np.where(xs >= nearest, clear, -clear), xs)
        xs = np.unique(np.clip(xs, x0 + inset, x1 - inset))
    return xs
