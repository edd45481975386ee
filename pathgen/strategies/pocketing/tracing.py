"""From lines in plan with depths below the surface to moves of the cutter's tip."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pathgen.base.arrays import Bools, Floats, numbers_from
from pathgen.base.cutters import LEAST_RAMP, Cutter
from pathgen.base.surface import Surface
from pathgen.base.toolpath import APPROACH, Move, Toolpath, along_in_plan, simplified
from pathgen.strategies.easing import Standing, eased
from pathgen.strategies.entering import PECKS, SHORTEST, no_way_down, span
from pathgen.strategies.pocketing.settings import FEWER, PocketOptions
from pathgen.strategies.uphill import from_below

_CHORD = 0.0005  # how much deeper than asked a straight move between two points over the curve cuts at most, mm
_LOCAL_CLEAR = 2.0  # how far above the surface short hops go, mm
_OVER = np.nan  # depth of a point on the way across, whose height is found once all are known
_OVER_RIDGES = 0.1
"""How far (mm) above ridges of the first cut a rapid down ends, where they are higher than it ends elsewhere."""
_RATHER_DOWN = 1.0
"""Of a cutter's half-width: the least length of a piece that a ramp goes to and fro on, or round on as a helix, for one
that plunges: on less it would go down all but straight, in very many moves."""
_TURNS = 17  # points across the width of a cutter, where it passes a bend of the surface
_SLOWER = 0.98  # of the plunge feed, for ramps: places are rounded as they are written
_EVERY = 1.0  # longest move of a ramp over a curve, mm: its slope changes by no more than a fraction of a degree
_TRIES = 40  # times that a ramp is made longer, for one that goes downhill as it sinks
_DEPTHS = 4.0  # times more exactly than places in plan are depths kept, where points are left out


class Trace:
    """Collects the way of one cutter, in plan with depths below the surface, and turns it into a Toolpath."""

    def __init__(
        self, cutter: Cutter, surface: Surface, *, width: float, slope: float, safe_z: float, options: PocketOptions,
        keep_out: BaseGeometry | None = None,
    ) -> None:
        self._cutter, self._surface, self.width, self._safe_z = cutter, surface, width, safe_z
        self.options, self._keep_out = options, keep_out
        self._curved = not surface.is_flat or bool(surface.curving)
        self._rows: list[Floats] = []
        self._descents: dict[bytes, tuple[Floats, Floats]] = {}
        self._last: Floats | None = None
        # a ramp is a full-width cut, so it goes at the eased feed, unless that would sink faster than a plunge
        room = _SLOWER * cutter.plunge / cutter.eased_feed
        self._ramp_kind = Move.EASED if room >= LEAST_RAMP else Move.PLUNGE
        self.ramp = min(cutter.bearable_ramp, room) if room >= LEAST_RAMP else cutter.bearable_ramp
        self.plunges = cutter.plunges
        # one that is round or pointed goes straight down into wood, if it may
        self.ramps = cutter.is_flat or not cutter.plunges
        self._shortest_ramp = width * (_RATHER_DOWN if self.plunges else SHORTEST)
        # a flat end over its depth of nothing is in the wood with its uphill side, and in what ridges stand there
        self.uphill = (cutter.radius * slope if cutter.is_flat else 0.0) + options.ridges if self.ramps else 0.0
        self._clear = max(APPROACH, options.ridges + _OVER_RIDGES)

    def ramps_on(self, line: Floats) -> bool:
        """Whether a ramp may go on a piece, (n, 2) or (n, 3): by its length; of a cutter that does not plunge by how
        wide it is."""
        return (float(along_in_plan(line)[-1]) if self.plunges else float(span(shapely.linestrings(line[:, :2])))
                ) > self._shortest_ramp

    def _add(self, xy: Floats, depth: Floats | float, kind: Move) -> None:
        rows = np.empty((len(xy), 4))
        rows[:, :2], rows[:, 2], rows[:, 3] = xy, depth, kind
        self._rows.append(rows)
        self._last = xy[-1]

    def hop(self, to: Floats, depth: float, *, opened: float = 0.0) -> None:
        """Lift, go across to `to`, down to just above what stands, then at the plunge feed to `depth`. What stands is
        the surface, or the floor of what has been opened there to the depth `opened`."""
        if self._last is not None:
            self._add(self._last[None], _OVER, Move.RAPID)
        self._add(to[None], _OVER, Move.RAPID)
        self._add(to[None], min(opened, depth) - self._clear, Move.RAPID)
        self._add(to[None], depth, Move.PLUNGE)

    def enter(
        self, ramp: Floats, above: float, depth: float, *, opened: float = 0.0, through_cleared: bool = False
    ) -> None:
        """To the beginning of a ramp, hopping or at feed through the cleared layer `above`, and down it. `opened` is
        how deep it is open where the ramp begins: straight down below that goes by pecks."""
        start = max(above, min(opened, depth)) if depth > 0.0 else min(above, depth)
        if len(ramp) > 1 and start <= 0.0:
            start = min(-self.uphill, start)
        if not through_cleared:
            self.hop(ramp[0], start, opened=opened)
        else:
            self.follow(ramp[:1], above)
            if start - APPROACH > above:
                self._add(ramp[:1], start - APPROACH, Move.RAPID)
            if start > above:  # open there: the ramp begins below
                self._add(ramp[:1], start, Move.PLUNGE)
        self._descend(ramp, start, depth)

    def _descend(self, line: Floats, start: float, depth: float) -> None:
        """Along `line` evenly from one depth to the other; at a point straight down, in wood by pecks."""
        if len(line) < 2:
            wood = depth - start if self.ramps else 0.0
            if wood > 1e-9 and not self._cutter.plunges:
                raise no_way_down(self._cutter, wood, *line[0].tolist(), way=SHORTEST * self.width)
            count = max(1, int(np.ceil(PECKS * wood / self._cutter.stepdown - 1e-9)))
            for peck in range(1, count + 1):
                self._add(line, start + (depth - start) * peck / count, Move.PLUNGE)
                if peck < count:
                    self._add(line, start, Move.CUT)
            return
        ramp = line.tobytes()  # the same in every layer
        if ramp not in self._descents:
            if self._curved:
                line = np.asarray(shapely.get_coordinates(shapely.segmentize(shapely.linestrings(line), _EVERY)))
            self._descents[ramp] = line[1:], np.cumsum(self._sunk(line))
        line, gone = self._descents[ramp]
        self._add(line, start + (depth - start) * gone / gone[-1], self._ramp_kind)

    def ramp_on(self, way: Callable[[float], Floats], height: float) -> Floats:
        """The shortest of the ways of some length in plan, ever longer, that a ramp can sink `height` mm along."""
        length = height / self.ramp
        for _ in range(_TRIES):
            line = way(length)
            missing = height - float(self._sunk(line).sum())
            if missing <= 1e-9 or len(line) < 2:
                break
            length += missing / self.ramp
        return line

    def _sunk(self, line: Floats) -> Floats:
        """How much deeper below the surface a ramp is at the end of each move: its slope is that of the tip itself.
        Uphill it sinks by more below the surface, downhill by less, and there no less than nothing."""
        even = self.ramp * np.diff(along_in_plan(line))
        if not self._curved:
            return even
        return np.maximum(even + np.diff(self._surface.tip_height(self._cutter, line[:, 0], line[:, 1])), 0.0)

    def follow(self, line: Floats, depth: Floats | float) -> None:
        """Along `line` at one depth or one for each point, beginning with a straight move to its first point."""
        self._add(line, depth, Move.CUT)

    def toolpath(self, standing: Standing | None) -> Toolpath:
        """All that was collected, with the way back up to the safe height; eased by what stands there, and takes it."""
        if self._last is None:
            return Toolpath.empty()
        self._add(self._last[None], _OVER, Move.RAPID)
        rows = np.concatenate(self._rows)
        stays = np.all(np.abs(np.diff(rows[:, :3], axis=0)) < 1e-9, axis=1)  # ways across are NaN
        rows = _with_fewer_moves(rows[np.append(True, ~stays)], FEWER, ramps=self.plunges)
        rows = _fine_enough(_at_bends(rows, self._surface, self._cutter.radius), self._surface, _CHORD)
        tip = self._surface.tip_height(self._cutter, rows[:, 0], rows[:, 1])
        z = tip - rows[:, 2]
        over = np.isnan(z)
        z[over] = self._heights_across(rows[over, :2])
        path = Toolpath(np.column_stack([rows[:, :2], z]), rows[:, 3].astype(np.int8))
        if standing is not None and self._curved:
            path = from_below(path, self._cutter, standing, ramp=self.ramp, kind=self._ramp_kind,
                              across=lambda ends: float(self._heights_across(np.repeat(ends, 2, axis=0))[1]))
        return eased(path.quick_in_own_holes(), self._cutter, standing)

    def _heights_across(self, xy: Floats) -> Floats:
        """Height of each way across; ways come as pairs of points, but for the first and the last point."""
        heights = np.full(len(xy), self._safe_z)
        if len(xy) < 4:
            return heights
        a, b = xy[1:-1:2], xy[2:-1:2]
        between = a + np.linspace(0.0, 1.0, 17)[:, None, None] * (b - a)
        top = self._surface.tip_height(self._cutter, between[..., 0], between[..., 1]).max(axis=0)
        height = np.minimum(top + max(_LOCAL_CLEAR, self._clear), self._safe_z)
        if self._keep_out is not None and not self._keep_out.is_empty:
            ways = shapely.linestrings(np.stack([a, b], axis=1))
            height = np.where(shapely.intersects(self._keep_out, ways), self._safe_z, height)
        heights[1:-1] = np.repeat(height, 2)
        return heights


def _with_fewer_moves(rows: Floats, tolerance: float, *, ramps: bool) -> Floats:
    """Without points that lie within `tolerance` of straight moves past them, in plan, and a quarter of it in depth.

    Runs of cuts of one kind stay within themselves; all ways across and all plunges stay as they are. So do ramps but
    with `ramps`: round a loop that is small beside the tolerance they would be shorter, and so steeper.
    """
    cut = _working(rows) & ((rows[1:, 3] == Move.CUT) | ((rows[1:, 3] == Move.EASED) & ramps))
    # a point between two cuts of one kind may go
    inner = np.concatenate([[False], cut[:-1] & cut[1:] & (rows[1:-1, 3] == rows[2:, 3]), [False]])
    ends = np.flatnonzero(~inner)
    points = np.nan_to_num(rows[:, :3] * [1.0, 1.0, _DEPTHS])
    return rows[simplified(points, tolerance, ends[:-1], ends[1:])]


def _working(rows: Floats) -> Bools:
    """Which moves to the next of the rows follow the surface."""
    return np.asarray((rows[1:, 3] != Move.RAPID) & ~np.isnan(rows[:-1, 2]) & ~np.isnan(rows[1:, 2]))


def _at_bends(rows: Floats, surface: Surface, radius: float) -> Floats:
    """With points added where moves pass the places at which the surface changes its way along the board. A flat end
    stands on what lies uphill of it, so that its path turns up to its radius away from there."""
    places = (surface.bends[:, None] + radius * np.linspace(-1.0, 1.0, _TURNS)).ravel()
    if not len(places):
        return rows
    low, high = np.sort([rows[:-1, 0], rows[1:, 0]], axis=0)
    ordered = np.sort(places)
    passing = np.searchsorted(ordered, low, side="right") < np.searchsorted(ordered, high)
    passes = np.flatnonzero(passing & _working(rows))  # few moves of many
    a, run = rows[passes], rows[passes + 1] - rows[passes]
    share = (places - a[:, :1]) / run[:, :1]
    move, place = np.nonzero((share > 0.0) & (share < 1.0))
    t = share[move, place]
    added = a[move] + t[:, None] * run[move]
    added[:, 3] = rows[passes[move] + 1, 3]
    order = np.argsort(np.concatenate([np.arange(len(rows)), passes[move] + t]), kind="stable")
    return np.concatenate([rows, added])[order]


def _fine_enough(rows: Floats, surface: Surface, chord: float) -> Floats:
    """With points added so that straight moves between them stay within `chord` of the curve.

    Along a line on which the surface curves by k, a chord of length s lies k s^2 / 8 below it. The surface is
    developable: it curves only across its straight lines.
    """
    if surface.is_flat and not surface.curving:
        return rows
    a, b = rows[:-1], rows[1:]
    work = _working(rows)
    radius = surface.radius(rows[:, 0])
    sin = rows[:, 1] / radius
    bend = 1.0 / (radius * (1.0 - sin**2) ** 1.5)  # 0 on a flat, whose radius is infinite
    lean = np.abs(sin) * abs(surface.taper)
    across = np.abs(b[:, 1] - a[:, 1]) + _larger(lean) * np.abs(b[:, 0] - a[:, 0])
    along = np.abs(b[:, 0] - a[:, 0])
    count = np.where(work, np.ceil(np.hypot(across * np.sqrt(_larger(bend) / (8.0 * chord)),
                                            along * math.sqrt(surface.curving / (8.0 * chord)))), 1.0)
    count = np.maximum(count, 1.0).astype(np.intp)
    owner, nth = numbers_from(np.ones_like(count), count + 1)
    t = (nth / count[owner])[:, None]
    inner = a[owner] + t * (b[owner] - a[owner])
    last = t[:, 0] == 1.0
    inner[last] = b[owner[last]]
    inner[:, 3] = b[owner, 3]
    return np.concatenate([rows[:1], inner])


def _larger(values: Floats) -> Floats:
    """The larger of each two neighbours."""
    return np.maximum(values[:-1], values[1:])
