"""Where a path takes too much at once: the stretches that go at the eased feed, and no others.

What stands is kept as heights on a grid. The front of the cutter is sampled along the path, in its order: points on
half circles and on the line across its axis, each falling into a cell; and all that is under it along a ramp. What
lowers a cell belongs to the place on the path that comes to it first, so that a full slot, a corner and the other side
of a groove are all seen as what they are. Volumes over a stretch as long as the cutter's radius are compared with a
straight cut at its stepover and stepdown.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString

from pathgen.base.arrays import Bools, Floats, Ints, Singles, numbers_from, stable_order, stretches
from pathgen.base.cutters import TOO_MUCH, Cutter
from pathgen.base.surface import Surface
from pathgen.base.toolpath import Move, Toolpath, steps

Places = NDArray[np.complex64]
Complexes = NDArray[np.complex128]
Points = tuple[Places, Singles]
"""(turns, m) places beside the tip in cells, seen along the way, and how high each stands above the tip: the stations
take the rows by turns."""

EASE_FROM = 1.1
"""Times the straight-line cut from which a stretch is eased: under the factor of 1.5 by what a coarse grid may miss."""
_PEAK = 1.3  # the same over little more than a cell, for the turn of a hairpin and the rim of a hole: few cells tell
_TIP = 0.8
"""The same where the way turns by more than _TURN, radians, within two cells: cells cannot tell the tip of a corner."""
_TURN = 0.8
_STEEP = 0.9  # of the steepest ramp: a cut that drops by less is a way along a curve
_MUCH = 0.2  # times the straight-line cut: what ridges may add to it and not be counted
_FEW = 1.25  # cells of the way over which so much counts by itself
_ACROSS = 10.0  # cells across the narrowest cutter
_ASIDE_ACROSS = 3.0
"""And across the least that is cut beside an earlier cut: a finer stepover takes finer cells to tell from twice it."""
_ALIGNED = 1e-6  # of a cell: what is so near to a whole number of them is one
_MOST_ACROSS = 40.0  # and across the widest, at most
_MOST_CELLS = 4e6
_SPACING = 0.7  # of a cell, between samples
_ALONG = 0.75  # of a cell, between stations
_ASIDE = 0.866
"""Of a cell, between samples beside each other, which lie between those of the station before: none is further from one
than half a cell."""
_WITHIN = 0.2  # of a cell, from the rim of a flat end to its samples: a cell counts as cut of which a part is
_ROUND = 1.4  # of a cell, between samples of the front at its sides, where they are closer beside each other
_ON_RIM = 0.7, 1.0
"""Both of the rim of a flat end: what it missed, up to a row of cells, would be counted as taken by the next way."""
_ARCS = 0.25, 0.75
"""Of the stepdown above the tip: where the front of a round or pointed end is sampled before its axis comes."""
_SLOPE, _RAMP = 0.05, 0.01
"""Drop over run from which what sinks under the cutter is looked at; and on a ramp, which is planned as one."""
_MIDDLE = 0.6  # of the radius, before and behind the axis: what of the way lies under the middle of a flat end
_NONE = np.empty((1, 0), np.complex64), np.empty((1, 0), np.float32)
_AT_ONCE = 1 << 15
"""Samples worked out at once: few enough to stay in the cache, and what was cut before need not be put in order."""


@dataclass(eq=False)
class Standing:
    """Heights of what stands, `top`, on a grid with rows along y: changed as paths are run through it. Its corner lies
    at x `left` and y `low`, and its cells are `cell` wide, all mm."""

    left: float
    low: float
    cell: float
    top: Singles

    @classmethod
    def over(
        cls, bounds: Sequence[float], cutters: Sequence[Cutter], surface: Surface | None, level: float = 0.0, *,
        in_rows: bool = False,
    ) -> Standing:
        """What stands over (x_min, y_min, x_max, y_max): as high as `level`, over a surface where there is one.

        With `in_rows`, along x or y and no further apart than the stepover, whole cells make up that: no row counts one
        more than it takes.
        """
        widths = [2.0 * float(c.half_width(c.stepdown)) for c in cutters]
        asides = [c.stepover * c.diameter for c in cutters]
        cell = max(min(min(widths) / _ACROSS, min(asides) / _ASIDE_ACROSS), max(widths) / _MOST_ACROSS)
        out = max(c.radius for c in cutters)
        x0, y0, x1, y1 = np.nan_to_num(bounds) + [-out, -out, out, out]
        if in_rows and min(asides) > cell:
            cell = min(asides) / math.ceil(min(asides) / cell - _ALIGNED)
        cell = max(cell, math.sqrt((x1 - x0) * (y1 - y0) / _MOST_CELLS))
        x0, y0, x1, y1 = x0 - 2 * cell, y0 - 2 * cell, x1 + 2 * cell, y1 + 2 * cell
        xs, ys = np.arange(x0, x1, cell) + cell / 2, np.arange(y0, y1, cell) + cell / 2
        top = np.full((len(ys), len(xs)), level, np.float32)
        if surface is not None:
            top += surface.height(xs, ys[:, None])
        return cls(x0, y0, cell, top)

    def copy(self) -> Standing:
        """The same, to be changed by itself."""
        return replace(self, top=self.top.copy())

    def cells_along(self, line: LineString, reach: float, *, every: float) -> tuple[Ints, Ints, Floats]:
        """(n,) the cells about a line, all that lie within `reach` mm of it; (n,) which of (m, 2) places each is at,
        squares of at most `every` mm and at least a cell being one, and these."""
        rows, columns = self.top.shape
        on = (shapely.get_coordinates(shapely.segmentize(line, self.cell)) - [self.left, self.low]) / self.cell
        on = np.unique(on.astype(np.intp), axis=0)
        beside = _disc(math.ceil(reach / self.cell + 0.75))
        near = np.zeros((rows, columns), bool)
        near[(on[:, 1, None] + beside[1]).clip(0, rows - 1), (on[:, 0, None] + beside[0]).clip(0, columns - 1)] = True
        cells, side = np.flatnonzero(near), max(1, int(every / self.cell))
        squares, of = np.unique((cells // columns // side) * columns + cells % columns // side, return_inverse=True)
        middles = np.column_stack([squares % columns, squares // columns]) + 0.5
        return cells, of, middles * side * self.cell + [self.left, self.low]

    def highest_round(self, at: Floats, radius: float) -> Floats:
        """(n,) the most that stands within a radius, or a cell further out, of (n, 2) places in the grid."""
        (rows, columns), beside = self.top.shape, _disc(radius / self.cell + 0.75)
        x, y = ((at - [self.left, self.low]) / self.cell).astype(np.intp).T
        y, x = ((v[:, None] + k).clip(0, most - 1) for v, k, most in ((y, beside[0], rows), (x, beside[1], columns)))
        return np.asarray(self.top[y, x].max(axis=1), float)

    def highest(self, at: Floats, radius: float) -> float:
        """The most that stands within a radius of (x, y, ..)."""
        (x, y), wide = (at[:2] - [self.left, self.low]) / self.cell, radius / self.cell
        rows, columns = (slice(max(int(v - wide), 0), int(v + wide) + 1) for v in (y, x))
        window = self.top[rows, columns]
        j, i = np.ogrid[rows.start : rows.start + window.shape[0], columns.start : columns.start + window.shape[1]]
        return float(window[np.hypot(i + 0.5 - x, j + 0.5 - y) <= wide].max(initial=-math.inf))

    def in_cells(self, tip: Floats, radius: float) -> Places:
        """(n,) places of (n, 3) tips in cells from the grid's corner, no nearer to its edges than a radius."""
        rows, columns = self.top.shape
        out = radius / self.cell + 0.5
        x = ((tip[:, 0] - self.left) / self.cell).clip(out, columns - out)
        y = ((tip[:, 1] - self.low) / self.cell).clip(out, rows - out)
        return np.asarray(x + 1j * y, np.complex64)

    def lowered(self, cells: Ints, heights: Singles) -> Singles:
        """How far each touch lowers its cell, mm, in the order given: (n,) cells and heights."""
        drop = np.zeros(len(cells), np.float32)
        some = np.flatnonzero(heights < self.top.ravel()[cells])
        if not len(some):
            return drop
        some = some[stable_order(cells[some])]
        cell, height = cells[some], heights[some]
        begins = np.append(True, cell[1:] != cell[:-1])
        first = np.flatnonzero(begins)
        before = np.empty_like(height)
        # a running minimum within each cell, by one over all with the cells set apart from each other
        stands = self.top.ravel()[cell]
        apart = np.float64(100.0 + float(height.max()) - float(height.min()) + float(stands.max() - stands.min()))
        group = np.cumsum(begins) * apart
        lowest = height - group
        np.minimum.accumulate(lowest, out=lowest)
        lowest += group
        before[1:] = lowest[:-1]
        before[first] = stands[first]
        last = np.append(first[1:], len(cell)) - 1
        self.top.ravel()[cell[last]] = lowest[last]
        drop[some] = np.maximum(before - height, 0.0)
        return drop


def _disc(cells: float) -> Ints:
    """(2, n) steps in rows and columns to all cells so far off at most."""
    out = math.ceil(cells)
    steps = np.mgrid[-out : out + 1, -out : out + 1].reshape(2, -1)
    return np.asarray(steps[:, np.hypot(*steps) <= cells])


def may_overload(cutter: Cutter) -> bool:
    """Whether its fullest cut is that much more than its straight-line one; that of a v is not."""
    return cutter.full_cut > EASE_FROM * cutter.straight_cut


def ridges_ease(ridges: float, cutter: Cutter) -> bool:
    """Whether ridges on the surface add so much over a cutter's width that they count in where it is eased."""
    over_width = 2.0 * float(cutter.half_width(cutter.stepdown)) * ridges
    return may_overload(cutter) and over_width > _MUCH * cutter.straight_cut


def eased(path: Toolpath, cutter: Cutter, standing: Standing | None) -> Toolpath:
    """The same way, at the eased feed where it takes more than EASE_FROM times a straight-line cut, nowhere else.

    A steep ramp may take too much even so, where the stepdown is small beside the cutter: all of it is gone down at the
    plunge feed. What goes at that feed stays as it is. `standing` is lowered by all that the path takes; None where no
    cutter can take too much.
    """
    if not len(path) or standing is None:
        return path
    feeding = path.kinds != Move.RAPID
    along = np.cumsum(path.lengths)
    stations, move = _stations(along, feeding, _ALONG * standing.cell)
    if not len(stations):
        return path
    taken, _ = _taken(path, cutter, standing, stations, move, along)
    cuts = (path.kinds[move] == Move.CUT) | (path.kinds[move] == Move.EASED)
    # what is too much over a stretch counts, and what is too much just before a place, as a corner is at its end
    most = np.maximum(*(_smooth(taken, stations, window) for window in (cutter.radius, cutter.diameter)))
    few = _smooth(taken, stations, _FEW * standing.cell, ahead=0.0)
    least = np.where(_turning(path, along, stations, 2.0 * standing.cell), _TIP, _PEAK)
    peak = np.maximum(most, few * EASE_FROM / least)
    high = np.concatenate([[False], peak > EASE_FROM * cutter.straight_cut, [False]])
    slow = _closed(high[:-2] | high[1:-1] | high[2:], stations, cutter.diameter) & cuts
    sinks = _sinks(path, cutter)[move]
    too_much = most * cutter.eased_feed > TOO_MUCH * cutter.straight_cut * cutter.feed
    slower = slow & sinks & too_much & (cutter.plunge < cutter.eased_feed)
    ramp = np.cumsum(np.diff(sinks & cuts, prepend=False))
    slowest = sinks & cuts & np.isin(ramp, ramp[slower])
    wanted = np.where(slowest, Move.PLUNGE, np.where(slow, Move.EASED, Move.CUT)).astype(np.int8)
    return _with_kinds(path, along, stations, wanted, move)


def sunk_in_the_middle(path: Toolpath, cutter: Cutter, standing: Standing) -> Floats:
    """(n,) what share of what the middle of a flat end sinks by, on the way to each point, it sinks into what stands;
    lowers that."""
    share, along = np.zeros(len(path)), np.cumsum(path.lengths)
    stations, move = _stations(along, path.kinds != Move.RAPID, _ALONG * standing.cell)
    if len(path) < 2 or not len(stations):
        return share
    reach = _MIDDLE * cutter.radius
    places = np.arange(-reach, reach, _SPACING * standing.cell, dtype=np.complex128)
    middle = _known(cutter, places[None], standing.cell)
    _, inner = _taken(path, cutter, standing, stations, move, along, middle=middle)
    np.add.at(share, move, inner)
    drop = -np.diff(path.points[:, 2], prepend=path.points[0, 2])
    return np.divide(share, 2.0 * reach / standing.cell * drop, out=np.zeros(len(path)), where=drop > 0.0)


def _sinks(path: Toolpath, cutter: Cutter) -> Bools:
    """(n,) moves along ramps: what is under the cutter is taken there as well as what is before it."""
    step = steps(path.points)
    run = np.hypot(step[:, 0], step[:, 1])
    least = np.where(path.kinds == Move.CUT, max(_SLOPE, _STEEP * cutter.ramp_slope), _RAMP)
    return np.asarray((-step[:, 2] > least * run) & (run > 1e-9))


def _stations(along: Floats, feeding: Bools, spacing: float) -> tuple[Floats, Ints]:
    """Places along the path, `spacing` apart over each run of feed moves, and the point that each leads to."""
    starts, stops = along[np.maximum(stretches(feeding) - [1, 1], 0)].T
    count = np.maximum(np.ceil((stops - starts) / spacing).astype(np.intp), 1)
    run, nth = numbers_from(np.ones_like(count), count + 1)
    stations = starts[run] + nth / count[run] * (stops - starts)[run]
    return stations, np.searchsorted(along, stations - 1e-9, side="left").clip(1, len(along) - 1)


def _turning(path: Toolpath, along: Floats, stations: Floats, near: float) -> Bools:
    """(n,) stations within `near` mm of a sharp turn."""
    step = np.diff(path.points[:, :2], axis=0)
    heading = np.arctan2(step[:, 1], step[:, 0])
    turn = np.abs((np.diff(heading) + math.pi) % (2 * math.pi) - math.pi)
    sharp = along[1:-1][(turn > _TURN) & (np.hypot(*step.T) > 1e-9)[1:]]
    before = np.searchsorted(sharp, stations)
    ends = np.concatenate([[-math.inf], sharp, [math.inf]])
    return np.asarray(np.minimum(stations - ends[before], ends[before + 1] - stations) < near)


def _taken(
    path: Toolpath, cutter: Cutter, standing: Standing, stations: Floats, move: Ints, along: Floats, *,
    middle: Points = _NONE,
) -> tuple[Floats, Floats]:
    """(n,) volume taken in coming to each station, mm3; and (n,) sums of how far points in the `middle` lower it, mm:
    then all that sinks counts as a ramp."""
    step = steps(path.points)
    run = np.hypot(step[:, 0], step[:, 1])
    down = run < 1e-9
    way = np.where(down, 1.0, (step[:, 0] + 1j * step[:, 1]) / np.where(down, 1.0, run)).astype(np.complex64)
    length = np.maximum(np.diff(along, prepend=0.0), 1e-12)
    tip = path.points[move] - ((along[move] - stations) / length[move])[:, None] * step[move]
    at, z, way, down = standing.in_cells(tip, cutter.radius), tip[:, 2].astype(np.float32), way[move], down[move]
    sinks = _sinks(path, cutter)[move] & cutter.is_flat
    front, under, hole = (points(cutter, standing.cell) for points in (_front, _under, _hole))
    if middle[0].size:
        sinks = (step[:, 2] < -_RAMP * run)[move]
    taken, inner = np.empty((2, len(stations)))
    every = max(1, _AT_ONCE // front[0].size) * len(front[0])
    for first in range(0, len(stations), every):
        part = slice(first, first + every)
        taken[part], inner[part] = _lowered_at(
            standing, front, at[part], z[part], way[part], sinks=sinks[part], under=under, middle=middle)
        deep = np.flatnonzero(down[part]) + first
        if len(deep):
            # there is no front: all round is lowered as well
            _lowered_at(standing, hole, at[deep], z[deep], way[deep])
    return taken * standing.cell**2, inner


def _lowered_at(
    standing: Standing, front: Points, tip: Places, z: Singles, way: Places, *,
    sinks: Bools | None = None, under: Points = _NONE, middle: Points = _NONE,
) -> tuple[Floats, Floats]:
    """(n,) sums of how far cells are lowered by the cutter's points at (n,) tips, in cells, in their order; and of that
    those in the `middle`, which come after the front."""
    chosen = np.flatnonzero(sinks) if sinks is not None else np.empty(0, np.intp)
    cells, heights, station = [], [], []
    for (offsets, rise), at in ((front, np.arange(len(tip))), (middle, chosen), (under, chosen)):
        turn = np.arange(len(at)) % len(offsets)
        place = offsets[turn] * way[at, None] + tip[at, None]
        cells.append((place.imag.astype(np.intp) * standing.top.shape[1] + place.real.astype(np.intp)).ravel())
        heights.append((rise[turn] + z[at, None]).ravel())
        station.append(np.repeat(at, offsets.shape[1]))
    cell, height, of = (np.concatenate(parts) for parts in (cells, heights, station))
    order = np.argsort(of, kind="stable") if len(chosen) else np.s_[:]
    drop = np.empty(len(of), np.float32)
    drop[order] = standing.lowered(cell[order], height[order])
    inner = np.s_[len(station[0]) : len(station[0]) + len(station[1])]
    return (np.asarray(np.bincount(of, drop, len(tip)), float),
            np.asarray(np.bincount(of[inner], drop[inner], len(tip)), float))


def _front(cutter: Cutter, cell: float) -> Points:
    """Points of the cutter's front half, as it goes along +x, by turns of the stations.

    The rim of a flat end takes all that there is to take. Of a round or pointed one all is taken when its axis is
    beside: a line across is enough, and arcs before it, each at its height, tell how much of it is taken before.
    """
    if cutter.is_flat:
        return _known(cutter, _arc(cutter.radius - _WITHIN * cell, cell, *_ON_RIM), cell)
    arcs = [_arc(radius, cell) for radius in cutter.half_width(np.array(_ARCS) * cutter.stepdown).tolist()]
    return _known(cutter, np.hstack([*arcs, 1j * _row(_wide(cutter), cell)]), cell)


def _arc(radius: float, cell: float, aside: float = _ASIDE, round_it: float = _ROUND) -> Complexes:
    """(2, m) points of a half circle, the second row between those of the first."""
    angle = np.linspace(-math.pi / 2, math.pi / 2, 181)
    close = radius * np.maximum(np.cos(angle) / aside, 1.0 / round_it) / cell
    along = np.concatenate([[0.0], np.cumsum((close[1:] + close[:-1]) / 2 * np.diff(angle))])
    return np.asarray(radius * np.exp(1j * np.interp(_apart(along[-1]) * along[-1], along, angle)))


def _row(wide: float, cell: float) -> Floats:
    """(2, m) places from -wide to wide, the second row between those of the first."""
    return wide * (2.0 * _apart(2.0 * wide / (_ASIDE * cell)) - 1.0)


def _apart(length: float) -> Floats:
    """(2, m) shares of a length, both ends among them, less than 1 of it apart."""
    count = math.ceil(length)
    return np.asarray((np.arange(count + 2) - [[0.0], [0.5]]).clip(0.0, count) / count)


def _under(cutter: Cutter, cell: float) -> Points:
    """Points all over a flat end: as it goes on they come to other cells, so they need not be close. Of a round or
    pointed one the line across tells."""
    apart = max(1.5 * cell, cutter.radius / 6.0)
    return _known(cutter, _rings(_wide(cutter), apart), cell) if cutter.is_flat else _NONE


def _hole(cutter: Cutter, cell: float) -> Points:
    """Points of what goes straight down: of a flat end, its rim."""
    wide, step = _wide(cutter), _SPACING * cell
    return _known(cutter, _rings(wide, wide if cutter.is_flat else step, step), cell)


def _wide(cutter: Cutter) -> float:
    """How far from the axis a cutter meets what stands, mm."""
    return float(cutter.half_width(min(1.5 * cutter.stepdown, cutter.shape_height or math.inf)))


def _rings(wide: float, apart: float, step: float | None = None) -> Complexes:
    """(1, m) points on circles `apart` from each other, and the centre, `step` apart on each, or as far."""
    radii = np.append(np.arange(wide, 0.0, -apart), 0.0).tolist()
    counts = [max(1, math.ceil(2 * math.pi * radius / (step or apart))) for radius in radii]
    points = [radius * np.exp(2j * math.pi * (np.arange(n) + 0.5) / n) for radius, n in zip(radii, counts, strict=True)]
    return np.concatenate(points)[None]


def _known(cutter: Cutter, points: Complexes, cell: float) -> Points:
    """Points in cells, and the cutter's height at each; a rim is a rim, whatever its last digits."""
    rise = cutter.profile(np.minimum(np.abs(points), cutter.radius))
    return (points / cell).astype(np.complex64), rise.astype(np.float32)


def _smooth(taken: Floats, stations: Floats, window: float, *, ahead: float = 0.5) -> Floats:
    """(n,) volume for each mm of the way, over `window` round each station, that share of it `ahead`: mm2."""
    total = np.concatenate([[0.0], np.cumsum(taken)])
    low = np.searchsorted(stations, stations - (1.0 - ahead) * window, side="right")
    high = np.searchsorted(stations, stations + ahead * window, side="right")
    before = np.where(low > 0, stations[low - 1], stations[0])
    return (total[high] - total[low]) / np.maximum(stations[high - 1] - before, window / 2)


def _closed(high: Bools, stations: Floats, least: float) -> Bools:
    """The same with gaps shorter than `least` closed, so that the feed does not flutter."""
    at = np.flatnonzero(high)
    short = np.diff(stations[at]) < least
    marks = np.zeros(len(high) + 1, np.intp)
    np.add.at(marks, at[:-1][short], 1)
    np.add.at(marks, at[1:][short], -1)
    return np.asarray(high | (np.cumsum(marks[:-1]) > 0))


def _with_kinds(path: Toolpath, along: Floats, stations: Floats, wanted: NDArray[np.int8], move: Ints) -> Toolpath:
    """Cuts of the kind `wanted` at each station, with points added where that changes within a move."""
    edges = np.flatnonzero(np.diff(wanted))
    at = stations[edges]
    inner = (move[edges] == move[edges + 1]) & (along[move[edges]] - at > 1e-6)
    k, at = move[edges][inner], at[inner]
    share = ((along[k] - at) / (along[k] - along[k - 1]))[:, None]
    points = np.insert(path.points, k, path.points[k] - share * (path.points[k] - path.points[k - 1]), axis=0)
    kinds = np.insert(path.kinds, k, path.kinds[k])
    where = np.insert(along, k, at)
    middle = (where + np.concatenate([where[:1], where[:-1]])) / 2
    nearest = np.searchsorted(stations, middle).clip(0, len(stations) - 1)
    cut = (kinds == Move.CUT) | (kinds == Move.EASED)
    kinds = np.where(cut, wanted[nearest], kinds)
    return Toolpath(points, kinds.astype(np.int8))
