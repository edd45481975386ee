"""The passes of a program that nobody described: which way they run, where each lies, which of them shape the surface.

All is worked out in a frame turned so that the passes run along its x, whichever way they run over the work.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass
from operator import itemgetter

import numpy as np
import shapely

from pathgen.base import overlay
from pathgen.base.arrays import Bools, Floats, Singles
from pathgen.base.cutters import Cutter
from pathgen.base.errors import PathgenError
from pathgen.base.scallop import scallop_height
from pathgen.removal.grid import Grid
from pathgen.removal.motion import Motion
from pathgen.verify.turned import Turned

_ASIDE = math.radians(8.0)
"""How far passes may run from their common way: those that follow a cone's own lines fan out."""
_SHARE = 0.4
"""Of all cutting that must go one way for it to be the way of the passes."""
_SQUARE = math.radians(0.5)
"""Passes so nearly along or across are taken to run so."""
_OWN = 2e-3
"""What a pass may stand above what is left where it touches, to be one that shaped it, mm."""
_INSET = 0.02  # mm
_MOST_LINES = 3000
_WITHIN = 0.1  # mm
_MOST_CHANGES = 100
"""Of each kind, that are looked at."""
_LEAD = 0.02
"""How steeply against the surface, as a slope, a way down to a pass or up from it goes at least."""
_ASTRAY = 0.05
"""How far beside the line of another a pass may begin to be its other half, mm."""
_FEW = 3
"""Passes beside each other of which all count, wherever they end; of more the outermost are left out."""


@dataclass(frozen=True, eq=False)
class Line:
    """One pass in the turned frame: (n,) rising x, y across, z of the tip, mm."""

    x: Floats
    y: Floats
    z: Floats

    @property
    def middle(self) -> float:
        """Where it lies half-way."""
        return self.y_at((self.x[0] + self.x[-1]) / 2)

    def y_at(self, x: float) -> float:
        """Where across it lies."""
        return float(np.interp(x, self.x, self.y))

    def runs_at(self, xs: Floats) -> Bools:
        """(n,) whether it runs at each x."""
        return (xs >= self.x[0]) & (xs <= self.x[-1])

    def at(self, xs: Floats) -> Floats:
        """(n, 3) tips at each x."""
        return np.column_stack([xs, np.interp(xs, self.x, self.y), np.interp(xs, self.x, self.z)])


def way_of(motion: Motion) -> float | None:
    """The angle at which most of the cutting goes, to and fro, in radians from x towards y; None where none does."""
    run = (motion.end - motion.start)[motion.cutting, :2]
    length = np.hypot(*run.T)
    run, length = run[length > 0], length[length > 0]
    if not len(run):
        return None
    angle = np.arctan2(run[:, 1], run[:, 0]) % math.pi
    weights, edges = np.histogram(angle, bins=180, range=(0.0, math.pi), weights=length)
    near = sum(np.roll(weights, k) for k in range(-4, 5))
    peak = float(edges[int(np.argmax(near))] + math.pi / 360)
    off = (angle - peak + math.pi / 2) % math.pi - math.pi / 2
    close = np.abs(off) <= _ASIDE
    if length[close].sum() < _SHARE * length.sum():
        return None
    way = (peak + float(np.average(off[close], weights=length[close]))) % math.pi
    square = round(way / (math.pi / 2)) * math.pi / 2
    return square % math.pi if abs(way - square) < _SQUARE else way


def lines_of(motion: Motion, shortest: float) -> list[Line]:
    """Passes of a program in the frame turned to their way: runs of cutting one way, `shortest` mm or longer, and
    shorter ones on which one of these goes on."""
    run = motion.end - motion.start
    level = np.abs(run[:, 2]) < np.abs(run[:, 0])
    along = motion.cutting & level & (np.abs(run[:, 1]) <= math.tan(1.5 * _ASIDE) * np.abs(run[:, 0]))
    way = np.where(along & (run[:, 0] != 0), np.sign(run[:, 0]), 0).astype(np.int8)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], way, [0]])))
    lines: list[Line] = []
    short: list[Line] = []
    for first, stop in itertools.pairwise(edges):
        if way[first] and abs(motion.end[stop - 1, 0] - motion.start[first, 0]) > _INSET:
            knots = np.concatenate([motion.start[first : first + 1], motion.end[first:stop]])[:: int(way[first])]
            line = Line(*knots.T)
            (lines if line.x[-1] - line.x[0] >= shortest else short).append(line)
    return lines + _go_on_from(short, lines)


def _go_on_from(short: list[Line], lines: list[Line]) -> list[Line]:
    """Those that lie where one of some passes would be beyond one of its ends."""
    first, last = (np.array([[line.x[k], line.y[k]] for line in short]).reshape(-1, 2) for k in (0, -1))
    does = np.zeros(len(short), bool)
    for line in lines:
        slope = (line.y[-1] - line.y[0]) / (line.x[-1] - line.x[0])
        off = [np.abs(end[:, 1] - line.y[0] - slope * (end[:, 0] - line.x[0])) for end in (first, last)]
        does |= ((first[:, 0] >= line.x[-1]) | (last[:, 0] <= line.x[0])) & (np.maximum(*off) < _ASTRAY)
    return [short[k] for k in np.flatnonzero(does)]


def without_leads(lines: list[Line], surface: Turned, cutter: Cutter) -> list[Line]:
    """Passes without the ways down to them and up from them that most have, or that lie beyond where most begin or end.
    """
    if not lines:
        return []
    longest = max(4 * cutter.radius, max(line.x[-1] - line.x[0] for line in lines) / 4)
    level = np.array([_level_part(line, surface, cutter, longest) for line in lines])
    whole = np.array([[0, len(line.x) - 1] for line in lines])
    lasting = level[:, 0] < level[:, 1]
    for side, beyond in ((0, 1.0), (1, -1.0)):
        leads = lasting & (level[:, side] != whole[:, side])
        if leads.sum() <= lasting.sum() / 2:
            x = np.array([line.x[i] for line, i in zip(lines, level[:, side], strict=True)])
            late = leads & (beyond * (x - np.median(x[lasting])) > _INSET)
            level[late, side] = whole[late, side]
    return [Line(line.x[i : j + 1], line.y[i : j + 1], line.z[i : j + 1])
            for line, (i, j) in zip(lines, level.tolist(), strict=True) if i < j]


def _level_part(line: Line, surface: Turned, cutter: Cutter, longest: float) -> tuple[int, int]:
    """The first and the last knot of a pass that follows the surface between ways down to it and up; one for none.

    What is longer than `longest` and does not follow the surface is no way down.
    """
    try:
        over = line.z - surface.surface.tip_height(cutter, *surface.back(line.x, line.y))
    except PathgenError:  # it goes out to where nothing of the surface is
        return 0, len(line.x) - 1
    along = np.flatnonzero(np.abs(np.diff(over)) <= _LEAD * np.diff(line.x))
    i, j = (int(along[0]), int(along[-1]) + 1) if len(along) else (0, 0)
    return (i if line.x[i] - line.x[0] <= longest else 0,
            j if line.x[-1] - line.x[j] <= longest else len(line.x) - 1)


def shaping(lines: list[Line], top: Singles, grid: Grid, surface: Turned, cutter: Cutter) -> list[Line]:
    """Those that left what stands at half the sections or more that they cross: none lifted over it, no repeats."""
    found: dict[bytes, Line] = {}
    for line in lines:
        columns = np.flatnonzero(line.runs_at(grid.xs))
        tips = line.at(grid.xs[columns])
        y = surface.contact(tips[:, :2], cutter)[:, 1]
        rows = np.clip(np.searchsorted(grid.ys, y), 0, len(grid.ys) - 1)
        aside = np.minimum(np.abs(grid.ys[rows] - tips[:, 1]), cutter.radius)
        steep = (np.diff(line.z) / np.diff(line.x))[np.clip(np.searchsorted(line.x, tips[:, 0]) - 1, 0, None)]
        # what a ball leaves on a section square to a slanting pass is an ellipse, higher than it is wide
        left = tips[:, 2] + cutter.radius - np.sqrt((cutter.radius**2 - aside**2) * (1.0 + steep**2))
        above = left - top[rows, columns]
        if len(columns) and np.mean(above < _OWN) >= 0.5:
            found.setdefault(np.round(tips[:, :2], 2).tobytes(), line)
    return list(found.values())


def bounds_of(lines: list[Line], surface: Turned, cutter: Cutter) -> shapely.Geometry:
    """A box round where passes touch the surface."""
    return shapely.box(*shapely.total_bounds([
        shapely.LineString(surface.contact(line.at(np.linspace(line.x[0], line.x[-1], 9))[:, :2], cutter))
        for line in lines
    ]))


def spanned(lines: list[Line], surface: Turned, cutter: Cutter) -> shapely.Geometry:
    """What lies between where each pass and the next touch the surface, where both run; empty for one pass alone.

    The strip beside the outermost pass is left out where they end unevenly: along an edge that widens they begin one
    after another, and what lies between the last that has begun and the edge is no ridge between two passes.
    """
    strips, lines = [], sorted(lines, key=lambda line: line.middle)
    goes_on = _goes_on(lines)
    evenly = _end_evenly(lines, goes_on, cutter.radius)
    for low, high, x0, x1 in _neighbours(lines, goes_on, evenly, cutter.radius):
        xs = np.linspace(x0, x1, max(2, math.ceil((x1 - x0) / 5.0)))
        edge = [surface.contact(line.at(xs)[:, :2], cutter) for line in (low, high)]
        strips.append(shapely.Polygon(np.concatenate([edge[0], edge[1][::-1]])))
    whole = overlay.union_all([strip for strip in strips if strip.is_valid])
    inner = whole if evenly else overlay.intersection(whole, _inner(lines, surface, cutter))
    return overlay.buffer(inner, -_INSET)


def changes(lines: list[Line]) -> Floats:
    """(n,) x where ridges may be others than elsewhere: where passes are left out for a while, where they bend, and
    just within where most of them begin and end."""
    if not lines:
        return np.empty(0)
    lines = list({tuple(np.round([*line.x[[0, -1]], *line.y[[0, -1]]], 2)): line for line in lines}.values())  # layers
    bends = []
    for line in lines:
        share = (line.x[1:-1] - line.x[:-2]) / (line.x[2:] - line.x[:-2])
        off = np.hypot(*(k[1:-1] - k[:-2] - share * (k[2:] - k[:-2]) for k in (line.y, line.z)))
        bends += [(-one, x) for one, x in zip(off.tolist(), line.x[1:-1].tolist(), strict=True) if one > _OWN]
    ends = [float(np.median([line.x[k] for line in lines])) + within for k, within in ((0, _WITHIN), (-1, -_WITHIN))]
    return np.array([*ends, *(x for _, x in sorted(bends)[:_MOST_CHANGES]),
                     *((x0 + x1) / 2 for x0, x1, _ in _left_out(lines, _goes_on(lines)))])


def _goes_on(lines: list[Line]) -> Bools:
    """(n, n) which passes, by rows, are left out for a while and which, by columns, is where they go on; of very many
    none, which are no passes over one surface."""
    if len(lines) > _MOST_LINES:
        return np.zeros((len(lines), len(lines)), bool)
    first, last = (np.array([[line.x[k], line.y[k]] for line in lines]) for k in (0, -1))
    slope = np.divide(*(last - first).T[::-1])
    ahead, aside = first[:, None, :].T - last.T[:, :, None]
    return np.asarray((ahead >= 0) & (np.abs(aside - slope * ahead) < _ASTRAY))


def _left_out(lines: list[Line], goes_on: Bools) -> list[tuple[float, float, float]]:
    """From where to where passes are left out for a while, and where across that is; the shortest of many."""
    ends = {(float(lines[i].x[-1]), float(lines[j].x[0]), float(lines[j].y[0])) for i, j in np.argwhere(goes_on)}
    return sorted(ends, key=lambda one: one[1] - one[0])[:_MOST_CHANGES]


def _end_evenly(lines: list[Line], goes_on: Bools, radius: float) -> bool:
    """Whether all passes begin, and end, within a cutter's diameter of each other; those left out for a while go on."""
    begins = [lines[i].x[0] for i in np.flatnonzero(~goes_on.any(axis=0))]
    ends = [lines[i].x[-1] for i in np.flatnonzero(~goes_on.any(axis=1))]
    return bool(max(np.ptp(begins), np.ptp(ends)) <= 2 * radius)


def _inner(lines: list[Line], surface: Turned, cutter: Cutter) -> shapely.Geometry:
    """What lies between where the outermost passes but one touch, from end to end of them all."""
    ends = np.sort([end for line in lines for end in (line.x[0], line.x[-1])])
    xs = np.unique(np.concatenate([np.arange(ends[0], ends[-1], 1.0), ends, ends - 1e-6, ends + 1e-6]))
    touch = np.full((len(lines), len(xs)), np.nan)
    for k, line in enumerate(lines):
        runs = line.runs_at(xs)
        touch[k, runs] = surface.contact(line.at(xs[runs])[:, :2], cutter)[:, 1]
    places = []
    for x, across in zip(xs.tolist(), np.sort(touch, axis=0).T, strict=True):  # NaN last
        across = across[_apart_from_last(across) & ~np.isnan(across)]
        across = across[1:-1] if len(across) > _FEW else across
        if len(across) > 1:
            places.append((x, float(across[0]), float(across[-1])))
    low, high = ([(x, place[side]) for x, *place in places] for side in (0, 1))
    return shapely.make_valid(shapely.Polygon([*low, *high[::-1]])) if len(places) > 1 else shapely.Polygon()


def _apart_from_last(across: Floats) -> Bools:
    """(n,) which of rising places are not the one before them again."""
    return np.concatenate([[True], np.diff(across) > 1e-6])[: len(across)]


def _neighbours(
    lines: list[Line], goes_on: Bools, evenly: bool, wide: float
) -> Iterator[tuple[Line, Line, float, float]]:
    """Of passes in order across, each and the next one across that runs beside it, and from where to where both run.

    Those less than `wide` apart between which one is left out for a while are neighbours there; where all end evenly
    also those between which one begins later or ends sooner.
    """
    again = np.asarray(goes_on.any(axis=0)).tolist()
    for k, line in enumerate(lines):
        after = next((other for other in itertools.islice(lines, k + 1, None) if _apart(line, other) > 1e-6), None)
        before = next((other for other in lines[:k][::-1] if _apart(other, line) > 1e-6), None) if again[k] else None
        for low, high in ((line, after), (before, line)):
            if low is not None and high is not None:
                yield low, high, max(low.x[0], high.x[0]), min(low.x[-1], high.x[-1])
    for x0, x1, y in _left_out(lines, goes_on):
        yield from ((low, high, x0, x1) for low, high in _beside(lines, x0, x1, y, wide))
    for line in lines if evenly else []:
        for low, high in _beside(lines, line.x[0], line.x[0], line.y[0], wide):
            yield low, high, max(low.x[0], high.x[0]), line.x[0]
        for low, high in _beside(lines, line.x[-1], line.x[-1], line.y[-1], wide):
            yield low, high, line.x[-1], min(low.x[-1], high.x[-1])


def _beside(lines: list[Line], x0: float, x1: float, y: float, wide: float) -> Iterator[tuple[Line, Line]]:
    """The two passes next to a stretch of the work, where they are less than `wide` apart."""
    beside = [(line.y_at(x0), line) for line in lines if line.x[0] <= x0 and x1 <= line.x[-1]]
    below, low = max((one for one in beside if one[0] < y - 1e-6), key=itemgetter(0), default=(-math.inf, None))
    above, high = min((one for one in beside if one[0] > y + 1e-6), key=itemgetter(0), default=(math.inf, None))
    if low is not None and high is not None and above - below < wide:
        yield low, high


def _apart(low: Line, high: Line) -> float:
    """How far a pass lies beside another in the middle of where both run, mm; 0 where they do not."""
    x0, x1 = max(low.x[0], high.x[0]), min(low.x[-1], high.x[-1])
    middle = (x0 + x1) / 2
    return high.y_at(middle) - low.y_at(middle) if x1 > x0 else 0.0


def predicted(
    lines: list[Line], xs: Floats, surface: Turned, cutter: Cutter, within: shapely.Geometry
) -> float:
    """The exact formula at every section, for each pair of neighbouring passes that both reach it and whose middle lies
    `within` what is measured; NaN for no pair.

    The outermost pairs are left out as in `spanned`. Along a cylinder the step is the arc between where the passes
    touch; across it the surface is straight. Between the two it bends by Euler's rule, the square of the cosine (any
    text on the geometry of surfaces).
    """
    tops = [line.at(xs[line.runs_at(xs)]) for line in lines]
    every = np.concatenate(tops) if tops else np.empty((0, 3))
    worst, even = math.nan, not lines or _end_evenly(lines, _goes_on(lines), cutter.radius)
    for x in xs:
        axis = every[every[:, 0] == x, :2]
        axis = axis[np.argsort(axis[:, 1])]
        axis = axis[_apart_from_last(axis[:, 1])]
        if len(axis) < 2:
            continue
        step, radius = _steps(surface.contact(axis, cutter), surface)
        close = (step < 2 * cutter.radius) & shapely.contains_xy(within, (axis[1:] + axis[:-1]) / 2)
        if len(axis) > _FEW and not even:
            close[[0, -1]] = False
        if close.any():
            worst = float(np.fmax(worst, scallop_height(step[close], cutter.radius, radius[close]).max()))
    return worst


def _steps(touch: Floats, surface: Turned) -> tuple[Floats, Floats]:
    """(n - 1,) steps along the surface, square to the passes, between (n, 2) places; and its radius that way."""
    x, y = surface.back(touch[:, 0], touch[:, 1])
    points = np.column_stack([x, y, surface.surface.height(x, y)])
    chord, middle = np.diff(points, axis=0), (points[1:] + points[:-1]) / 2
    normal = surface.surface.normal(middle[:, 0], middle[:, 1])
    way = np.array([math.cos(surface.angle), math.sin(surface.angle)])
    run = np.column_stack([np.tile(way, (len(middle), 1)), -normal[:, :2] @ way / normal[:, 2]])  # along the passes
    run /= np.linalg.norm(run, axis=1)[:, None]
    square = chord - np.sum(chord * run, axis=1)[:, None] * run
    length = np.linalg.norm(square, axis=1)
    across = np.cross(normal, [1.0, 0.0, 0.0])  # round the surface, square to its straight lines
    share = np.sum(square * across, axis=1) / (length * np.linalg.norm(across, axis=1))
    with np.errstate(divide="ignore", invalid="ignore"):
        radius = surface.surface.radius(middle[:, 0]) / share**2
        bent = 2 * np.abs(radius) * np.arcsin(np.clip(length / (2 * np.abs(radius)), -1.0, 1.0))
    gentle = np.abs(radius) > 1e6
    return np.where(gentle, length, bent), np.where(gentle, np.inf, radius)
