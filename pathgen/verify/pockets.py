"""Whether each pocket is the drawing, at its depth, as far as its cutters reach; and what its fill leaves."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from pathgen.base import overlay
from pathgen.base.arrays import Bools, Floats, Ints
from pathgen.base.cutters import Cutter
from pathgen.base.memory import remembered
from pathgen.base.surface import Surface
from pathgen.removal.grid import Grid, Heights
from pathgen.removal.motion import Motion
from pathgen.verify.findings import Finding, Tolerances, at, at_end
from pathgen.verify.in_plan import lines_of, place_of
from pathgen.verify.opening import opens_outside
from pathgen.verify.reached_walls import reached_wall_findings, risen_into
from pathgen.verify.seen import Seen
from pathgen.verify.simulate import OPENED, Poured, Simulation
from pathgen.verify.slanting_walls import wall_findings
from pathgen.work.clamping import Clamping, Step
from pathgen.work.features import Inlay

_TOUCHING = 0.01  # mm
_ENOUGH_CELLS = 40  # a piece of pocket smaller than this is not judged by its deepest point
_BESIDE_BEND = 1e-6  # mm
_FINE = 1e-3  # mm: with fewer corners, areas that narrow to next to nothing are taken in in a twentieth of the time
_LEAST_STRETCH = 1.0  # mm
_HANGS, _STATIONS = 0.49, 129
"""How much of a pocket's depth the downhill side of a flat end may be high, for it to be asked to go there, just less
than half; and at how many places along and across it is looked where that is."""
_HELD_OFF = 0.015  # mm: as high as a blunt flank may lie where the cutter was held off the wall by a hair's width
_TIGHT = 0.2
"""Radius of the sharpest corners, mm, and half the width of the narrowest places, that a v cutter is asked to open."""
_RAMP = 0.5
"""Of half the width that it opens: a cutter's axis is asked to go where all round is longer, as a ramp needs room."""


@dataclass(frozen=True, kw_only=True)
class PocketMeasure:
    """What an inlay's pockets came to: mm2, mm3."""

    inlay: int
    area: float
    volume: float
    fill_volume: float
    """Up to `overfill` above the surface as it stands when it is filled, over the pockets only."""
    by_colour: Mapping[str, tuple[float, float]]
    """(pocket volume, fill volume) of each colour; together those of the inlay."""
    area_by_colour: Mapping[str, float]
    depth_by_colour: Mapping[str, tuple[float, float]]
    """Least and greatest depth of each colour's pocket below the first surface; (0, 0) for one not opened."""

    @property
    def deepest(self) -> float:
        """Greatest depth of all colours below the first surface, mm."""
        return max((most for _, most in self.depth_by_colour.values()), default=0.0)


def pocket_measures(sim: Simulation, clamping: Clamping) -> tuple[PocketMeasure, ...]:
    """Volumes from the simulation."""
    out = []
    for poured in sim.poured:
        inlay, cell = poured.inlay, sim.grid.cell_area
        opened = poured.removed > OPENED
        removed = np.where(opened, poured.removed, np.float32(0.0))
        filled = np.zeros_like(removed)
        if inlay.fill != "none":
            above = np.float32(inlay.overfill + clamping.ground(inlay))
            np.subtract(sim.surface[poured.window] + above, poured.floor, where=opened, out=filled)
        part = sim.grid.part(poured.window)
        shares, areas, depths = {}, {}, {}
        free = opened.copy()
        for colour, shape in inlay.regions:
            own = free & part.covered(overlay.buffer(shape, 0.05))
            free &= ~own
            shares[colour] = (_sum(removed[own]) * cell, _sum(filled[own]) * cell)
            areas[colour] = float(own.sum()) * cell
            deep = sim.surface[poured.window] - poured.floor
            # a cell at the rim may have been met by one layer and just missed by the next
            away = own & _amid(opened)
            least = deep[away if away.any() else own]
            depths[colour] = (float(least.min()), float(deep[own].max())) if len(least) else (0.0, 0.0)
        out.append(PocketMeasure(
            inlay=poured.inlay.index, area=float(opened.sum()) * cell, volume=_sum(removed) * cell,
            fill_volume=_sum(filled) * cell, by_colour=shares, area_by_colour=areas, depth_by_colour=depths,
        ))
    return tuple(out)


def _amid(opened: Bools) -> Bools:
    """Opened cells beside which all are open."""
    wide = np.pad(opened, 1)
    return np.asarray(wide[:-2, 1:-1] & wide[2:, 1:-1] & wide[1:-1, :-2] & wide[1:-1, 2:] & opened)


@dataclass(frozen=True, eq=False)
class _Openings:
    """What the pocket steps of an inlay can open without leaving the drawing, and the floor that is each one's own.

    That is all that a flat end opens, and not the foot of the others' walls; less what an earlier step opened.
    Of each floor `alone` has the parts that touch nothing of what an earlier step opened, `beside` the others; `axes`
    is where the axis of each may go.
    """

    steps: list[Step]
    alone: list[shapely.Geometry]
    beside: list[shapely.Geometry]
    axes: list[shapely.Geometry]
    reach: shapely.Geometry

    def by_width(self) -> dict[tuple[float, bool], shapely.Geometry]:
        """The floors by the diameter of the widest flat end that may stand on them, uphill, and whether they are flat.
        """
        parts: dict[tuple[float, bool], list[shapely.Geometry]] = {}
        for k, step in enumerate(self.steps):
            parts.setdefault((_widest([step]), step.cutter.is_flat), []).append(self.alone[k])
            parts.setdefault((_widest(self.steps[: k + 1]), step.cutter.is_flat), []).append(self.beside[k])
        return {key: overlay.union_all(shapes) for key, shapes in parts.items()}


@dataclass(frozen=True, eq=False)
class _Floor:
    """The opened points of one inlay: where on the part of the grid, and how high above the depth asked for."""

    part: Grid
    cells: Ints
    off: Heights

    @classmethod
    def of(cls, poured: Poured, opened: Bools, seen: Seen) -> _Floor:
        cells, surface = np.flatnonzero(opened), seen.sim.surface[poured.window]
        off = poured.floor.ravel()[cells] - (surface.ravel()[cells] - np.float32(poured.inlay.depth))
        return cls(seen.sim.grid.part(poured.window), cells, off)

    def place(self, which: int) -> tuple[float, float]:
        return place_of(self.part, self.cells[which])

    def within(self, area: shapely.Geometry) -> Bools:
        return np.asarray(self.part.covered(area).ravel()[self.cells])


def pocket_findings(seen: Seen) -> Iterator[Finding]:
    """Every fault of every pocket, and of the fill that was cut level."""
    clamping, tolerances = seen.clamping, seen.tolerances
    for poured in seen.sim.poured:
        steps = [s for s in clamping.steps if s.operation.opens is poured.inlay]
        openings = _openings(poured.inlay, steps, clamping.skimmed(poured.inlay), tolerances.pocket_plan,
                             clamping.board.surface)
        opened = poured.removed > OPENED
        yield from _in_plan(poured, openings, opened, seen)
        yield from _too_deep(_Floor.of(poured, opened, seen), poured, seen)
        opened |= seen.sim.surface[poured.window] - poured.floor > OPENED  # or by an open pocket of an earlier inlay
        yield from _uncut(poured, openings, opened, seen)
        yield from _too_shallow(_Floor.of(poured, opened, seen), poured, openings, seen)
        yield from _nowhere_deep(poured, openings, seen)
        yield from wall_findings(poured, steps, seen.sim, clamping, tolerances)
        cuts = [(step, _gone_into(step.cutter, axis, poured.inlay.depth), seen.motions[step.order])
                for step, axis in zip(openings.steps, openings.axes, strict=True)]
        yield from reached_wall_findings(poured.inlay, cuts, clamping.board.surface, tolerances, tight=_TIGHT,
                                         hangs=_HELD_OFF + clamping.skimmed(poured.inlay))
        yield from _levelled(poured, seen)


@remembered
def _openings(shape: Inlay, steps: list[Step], gone: float, beyond: float, surface: Surface) -> _Openings:
    """`gone` is what a second cut took off the surface before: sloping walls open less there.

    A cutter may go `beyond` the walls, mm. So a line just as wide as a cutter may be opened by it all along, though its
    middle fits in places only: what it may have opened so is no floor of the next cutter. One that cannot go straight
    down may leave closed what has no room for a ramp. And what a round or pointed end opens to the drawing's edge is
    not asked of the next one, though a second cut has made it narrower. What is in reach keeps off the walls of each
    part by half as much again, and by what a blunt flank takes to be so deep, downhill, that it counts as open though
    it was held off the wall by little: between two that all but touch nothing is asked for.
    """
    alone, beside, axes = [], [], []
    reach, most, opened = shapely.Polygon(), shapely.Polygon(), shapely.Polygon()
    slope = float(surface.slope(*shapely.get_coordinates(shape.area).T).max())
    steps = sorted(steps, key=lambda s: s.order)
    for step in steps:
        half, wide = (_uphill(step.cutter, depth, slope) for depth in (shape.depth, shape.depth - gone))
        axis = overlay.buffer(shape.area, -half, quad_segs=32)
        if step.cutter.is_flat and slope * step.cutter.diameter > _HANGS * shape.depth and not axis.is_empty:
            axis = overlay.difference(axis, _steep_sides(surface, axis, _HANGS * shape.depth, step.cutter.radius))
        axes.append(axis)
        shapely.prepare(most)
        asked = _gone_into(step.cutter, axis, shape.depth)
        own = overlay.buffer(asked, wide, quad_segs=32) if step.cutter.is_flat else axis
        floor = shapely.get_parts(overlay.difference(own, most))
        touching = shapely.dwithin(most, floor, _TOUCHING) if len(floor) else np.zeros(0, bool)
        alone.append(shapely.multipolygons(floor[~touching & (shapely.get_type_id(floor) == 3)]))
        beside.append(shapely.multipolygons(floor[touching & (shapely.get_type_id(floor) == 3)]))
        steep = _steep(step.cutter, shape.depth)
        flank = max(steep - slope, 0.2 * steep)
        off = 1.5 * beyond + (OPENED + _HELD_OFF) / flank
        if step.cutter.shape == "v" and step is steps[-1]:  # it rises in corners
            tight = min(_TIGHT, half)
            asked, wide = risen_into(step.cutter, shape.area, tight, shape.depth), tight - gone / flank
        sure = overlay.buffer(asked, wide - off, quad_segs=32)
        reach = overlay.union(reach, overlay.difference(sure, opened))
        if step is steps[-1]:
            break
        level = float(step.cutter.half_width(shape.depth))  # however it slopes, what a v opens is made of such circles
        wider = overlay.buffer(shape.area, min(beyond, level / 2) - level, quad_segs=32)
        may_open = overlay.buffer(wider, level, quad_segs=32)
        most = overlay.union(most, may_open)
        if not step.cutter.is_flat:
            opened = overlay.union(opened, may_open)
    return _Openings(steps, alone, beside, axes, reach)


def _uphill_of(area: shapely.Geometry, by: float) -> shapely.Geometry:
    """An area moved toward the crest, from both sides."""
    if area.is_empty:
        return area
    x0, y0, x1, y1 = area.bounds
    above, below = (overlay.intersection(area, shapely.box(x0, low, x1, high))
                    for low, high in ((0.0, max(y1, 0.0)), (min(y0, 0.0), 0.0)))
    return overlay.union(shapely.transform(above, lambda xy: xy - [0.0, by]),
                         shapely.transform(below, lambda xy: xy + [0.0, by]))


def _steep_sides(surface: Surface, near: shapely.Geometry, most: float, radius: float) -> shapely.Geometry:
    """Where the surface falls by more than `most` under a flat end, from its uphill side or the crest to its downhill
    side, as it does further out on either side, as far as `near` comes."""
    x0, y0, x1, y1 = near.bounds
    out = max(abs(y0), abs(y1))
    x, y = np.linspace(x0, x1, _STATIONS), np.linspace(0.0, out, _STATIONS)
    uphill, downhill = np.maximum(y - radius, 0.0)[:, None], y[:, None] + radius
    gentle = (surface.height(x, uphill) - surface.height(x, downhill) <= most).sum(axis=0)  # of the places out from it
    edge = np.column_stack([x, y[np.maximum(gentle - 1, 0)]])
    far = np.array([[x1, out + 1.0], [x0, out + 1.0]])
    return shapely.multipolygons([shapely.Polygon(np.concatenate([edge, far]) * [1.0, side]) for side in (1.0, -1.0)])


def _uphill(cutter: Cutter, depth: float, slope: float) -> float:
    """How far uphill a cutter opens a surface of that slope: a cone further than on level ground, a blunt one by much.
    """
    level = float(cutter.half_width(depth))
    return level if cutter.shape != "v" else min(cutter.radius, depth / max(cutter.wall_slope - slope, 1e-9))


def _gone_into(cutter: Cutter, axis: shapely.Geometry, depth: float) -> shapely.Geometry:
    """Where a cutter's axis is asked to have been, of where it may be: a ramp needs room."""
    if cutter.plunges:
        return axis
    parts = shapely.get_parts(axis)
    long = shapely.length(shapely.get_exterior_ring(parts)) > _RAMP * cutter.half_width(depth)
    return shapely.multipolygons(parts[long])


def _in_plan(poured: Poured, openings: _Openings, opened: Bools, seen: Seen) -> Iterator[Finding]:
    inlay, grid = poured.inlay, seen.sim.grid
    part, ridges = grid.part(poured.window), _wider_on_ridges(openings.steps, seen.clamping, inlay.depth)
    allowed = seen.tolerances.pocket_plan + ridges
    outside = opened & ~part.covered(overlay.buffer(inlay.area, allowed))
    if outside.any():
        place = place_of(part, np.argmax(outside))
        yield Finding(code="pocket-outside-drawing", where=_deepest_at(place, poured, seen),
                      got=f"{outside.sum() * grid.cell_area:.2f} mm2 opened outside the drawing",
                      allowed=f"{allowed:.2g} mm outside its edge")
    for step in openings.steps:
        if step.order in seen.motions:
            yield from _axis_outside(seen.motions[step.order], step, seen.clamping.board.surface, seen.tolerances)


def _wider_on_ridges(steps: list[Step], clamping: Clamping, depth: float) -> float:
    """How much wider a ball end or a v cutter opens the ridges that finishing leaves than the surface under them.

    A v does so in corners, where it rises, however deep it is elsewhere.
    """
    ridge = clamping.surfacing.scallop if clamping.surfacing is not None else 0.0
    return max((ridge / s.cutter.wall_slope if s.cutter.shape == "v" else
                float(s.cutter.half_width(depth + ridge) - s.cutter.half_width(depth)) for s in steps), default=0.0)


@remembered
def _axis_outside(motion: Motion, step: Step, surface: Surface, tolerances: Tolerances) -> list[Finding]:
    """Exact in plan: no move may open anything outside the drawing."""
    inlay = step.operation.opens
    assert inlay is not None
    low = np.minimum(motion.start[:, 2], motion.end[:, 2])
    middle = (motion.start + motion.end) / 2
    with np.errstate(invalid="ignore"):
        below = surface.height(middle[:, 0], middle[:, 1]) - low
        rows = np.flatnonzero(motion.cutting & ~(below < 0.001))
    if not len(rows):
        return []
    if step.cutter.is_flat:
        allowed = overlay.buffer(inlay.area, tolerances.pocket_plan - step.cutter.radius, quad_segs=32)
        shapely.prepare(allowed)
        if shapely.covers(allowed, _ways(motion.start[rows, :2], motion.end[rows, :2])).all():
            return []  # whole ways are looked at in a tenth of the time
        inside = shapely.covers(allowed, lines_of(motion.start[rows], motion.end[rows]))
    else:
        allowed = overlay.buffer(inlay.area, tolerances.pocket_plan, quad_segs=32)
        inside = ~opens_outside(motion.start[rows], motion.end[rows], step.cutter, surface, allowed)
    if inside.all():
        return []
    i = int(rows[np.argmin(inside)])
    return [Finding(code="pocket-wall-overcut", where=at_end(f"inlay {inlay.index + 1}, {step.file_name}", motion, i),
                    got=f"the cutter passes the edge of the drawing ({int((~inside).sum())} moves)",
                    allowed=f"{tolerances.pocket_plan:g} mm")]


def _ways(start: Floats, end: Floats) -> NDArray[Any]:
    """Lines through moves, (n, 2) from and to, that go on from each other."""
    begins = np.concatenate([[True], (start[1:] != end[:-1]).any(axis=1)])
    way = np.cumsum(begins) - 1
    points, of = np.concatenate([start[begins], end]), np.concatenate([way[begins], way])
    order = np.argsort(of, kind="stable")
    return np.asarray(shapely.linestrings(points[order], indices=of[order]))


def _steep(cutter: Cutter, depth: float) -> float:
    """Rise over run of a cutter's flank where its opening ends."""
    return {"v": cutter.wall_slope, "flat-end": math.inf,
            "ball-end": float(cutter.half_width(depth)) / max(cutter.radius - depth, 1e-9)}[cutter.shape]


def _uncut(poured: Poured, openings: _Openings, opened: Bools, seen: Seen) -> Iterator[Finding]:
    part = seen.sim.grid.part(poured.window)
    left = part.covered(openings.reach) & ~opened
    area = float(left.sum()) * seen.sim.grid.cell_area
    if area > 0.05:
        place = place_of(part, np.argmax(left))
        yield Finding(code="pocket-uncut", where=at(f"inlay {poured.inlay.index + 1}", None, *place),
                      got=f"{area:.2f} mm2 that the cutters can reach is left", allowed="0.05 mm2")


def _too_deep(floor: _Floor, poured: Poured, seen: Seen) -> Iterator[Finding]:
    inlay, off = poured.inlay, floor.off
    if off.min(initial=np.inf) < -seen.tolerances.pocket_deep:
        yield Finding(code="pocket-too-deep", where=_deepest_at(floor.place(int(np.argmin(off))), poured, seen),
                      got=f"{inlay.depth - float(off.min()):.4f} mm deep", allowed=f"{inlay.depth:g} mm",
                      remedy="do not cut")


def _too_shallow(floor: _Floor, poured: Poured, openings: _Openings, seen: Seen) -> Iterator[Finding]:
    """Higher than the stair that flat ends leave on a slope, and the ridges that the others may leave."""
    if not len(floor.cells):
        return
    inlay, steps, tolerances = poured.inlay, openings.steps, seen.tolerances
    slopes, stretch = _steepest(seen.clamping, floor.part, _widest(steps))
    row, column = np.divmod(floor.cells, floor.part.shape[1])
    slope = slopes[row, stretch[column]]
    share = max((s.cutter.stepover for s in steps), default=0.0)
    # beside a wall the cutter cannot move further down the slope. Away from walls some path lies within one stepover
    # of the place whose uphill rim would just touch: it hangs over by no more than two
    inset = -1.5 * tolerances.pocket_plan
    floors = [(overlay.buffer(area, inset), *key, 1.0) for key, area in openings.by_width().items()]
    floors += [(overlay.buffer(overlay.simpler(area, _FINE), -width), width, flat, min(2.0 * share, 1.0))
               for area, width, flat, _ in floors]
    for judged, width, flat, most in floors:
        stair, ridge = most * width, 0.0 if flat else tolerances.floor_ridge
        allowed = slope * stair + ridge + tolerances.pocket_shallow
        over = np.where(floor.within(judged), floor.off - allowed, -np.inf)
        worst = int(np.argmax(over))
        if over[worst] > 0:
            yield Finding(code="pocket-too-shallow", where=_deepest_at(floor.place(worst), poured, seen),
                          got=f"{inlay.depth - float(floor.off[worst]):.3f} mm deep",
                          allowed=f"{inlay.depth:g} mm, less {float(allowed[worst]):.3f} mm for steps and ridges")
            return


def _nowhere_deep(poured: Poured, openings: _Openings, seen: Seen) -> Iterator[Finding]:
    """Each part of a pocket must touch its depth at its highest rim, whatever stairs are left elsewhere."""
    inlay, sim, tolerances = poured.inlay, seen.sim, seen.tolerances
    part, surface, inset = sim.grid.part(poured.window), sim.surface[poured.window], 1.5 * tolerances.pocket_plan
    cell = sim.grid.cell_area**0.5
    for step, floor, rests in _brought_to_depth(openings, inlay.depth, 2 * cell):
        for piece in shapely.get_parts(overlay.buffer(floor, -2 * inset)):
            if not openings.reach.intersects(piece):  # it is not asked for at all
                continue
            window = part.window(piece.bounds)
            inside = part.part(window).covered(piece)
            cells = poured.floor[window][inside] - (surface[window][inside] - np.float32(inlay.depth))
            slope = float(np.max(seen.clamping.board.surface.slope(*shapely.get_coordinates(piece).T), initial=0.0))
            least = tolerances.pocket_deep + slope * (inset + 1.5 * cell + rests)
            least += _beside(step.cutter, inset, cell, tolerances)
            if len(cells) >= _ENOUGH_CELLS and float(cells.min()) > least:
                yield Finding(
                    code="pocket-too-shallow",
                    where=at(f"inlay {inlay.index + 1}, {step.file_name}", None, *shapely.get_coordinates(piece)[0]),
                    got=f"{inlay.depth - float(cells.min()):.3f} mm at its deepest", allowed=f"{inlay.depth:g} mm",
                )
                return


def _brought_to_depth(
    openings: _Openings, depth: float, spare: float
) -> Iterator[tuple[Step, shapely.Geometry, float]]:
    """Floors that a step brings to depth somewhere, and how far down the slope from where: whole ones, and of flat ends
    what no later cutter can have touched, where that is wide enough."""
    for k, (step, alone, beside) in enumerate(zip(openings.steps, openings.alone, openings.beside, strict=True)):
        yield step, alone, 0.0
        # a later flat end may rest on what an earlier one has opened, uphill of its own part
        yield step, beside, _widest([step])
        if step.cutter.is_flat and k + 1 < len(openings.steps):
            later = [overlay.buffer(overlay.union(openings.alone[j], openings.beside[j]), 2 * float(
                openings.steps[j].cutter.half_width(depth)) + spare) for j in range(k + 1, len(openings.steps))]
            own = overlay.difference(alone, overlay.union_all(later))
            half = step.cutter.stepover * step.cutter.diameter / 2  # the rim may pass so far away, where it turns twice
            parts = shapely.get_parts(overlay.buffer(overlay.buffer(own, -half - spare), half + spare))
            rims = _uphill_of(openings.axes[k], step.cutter.radius)  # which rest on the floor
            holds = shapely.intersects(overlay.buffer(parts, -spare), rims)
            yield step, shapely.multipolygons(parts[holds]), 2 * half
            # of what lies below the last rim, beside a wall, it is as far up as the cutter is wide
            yield step, shapely.multipolygons(parts[~holds]), 2 * half + step.cutter.diameter


def _beside(cutter: Cutter, inset: float, cell: float, tolerances: Tolerances) -> float:
    """What the end of a cutter leaves at the middles of cells, all beside its path.

    A path along the grid may lie half a cell beside them; one along the rim of a floor, of which `inset` and as much
    again is not judged, lies that far outside: there no more than a ridge is left.
    """
    along_rim = float(cutter.profile(min(2 * inset + cell / math.sqrt(2), cutter.radius)))
    return max(float(cutter.profile(cell / 2)), min(along_rim, tolerances.floor_ridge))


def _widest(steps: list[Step]) -> float:
    return max((s.cutter.diameter for s in steps if s.cutter.is_flat), default=0.0)


def _steepest(clamping: Clamping, part: Grid, reach: float) -> tuple[Floats, Ints]:
    """(rows, stretches) the steepest slope of each row near a stretch along the board, and each column's stretch.

    A stretch is `reach` long, and near it is what lies no further off: a flat end so wide may rest there. A row is
    steepest at an end of what is looked at, or beside a bend of relief or fall-away.
    """
    surface, low, high = clamping.board.surface, float(part.xs[0]), float(part.xs[-1])
    reach = max(reach, _LEAST_STRETCH)
    stretch = ((part.xs - low) // reach).astype(np.intp)
    begins = low + reach * np.arange(stretch[-1] + 1)
    froms, tos = np.maximum(begins - reach, low), np.minimum(begins + 2 * reach, high)
    places = np.concatenate([froms, tos, *(surface.bends + side * _BESIDE_BEND for side in (-1, 1))])
    slopes = surface.slope(places, part.ys[:, None])
    near = (places >= froms[:, None]) & (places <= tos[:, None])
    return np.stack([slopes[:, here].max(axis=1) for here in near], axis=1), stretch


def _levelled(poured: Poured, seen: Seen) -> Iterator[Finding]:
    """With neither skim nor leave the second cut must leave the wood as the first left it."""
    surfacing = seen.clamping.surfacing
    if surfacing is None or surfacing.skim > 0 or surfacing.leave > 0:
        return
    if not any(s.operation.levels is poured.inlay for s in seen.clamping.steps):
        return
    if poured.lost > seen.tolerances.wood:
        program, line = seen.culprit(*poured.lost_at, lambda operation: operation.levels is not None)
        yield Finding(
            code="resurface-takes-wood", where=at(program, line, *poured.lost_at),
            got=f"{poured.lost:.4f} mm of wood", allowed="none: the second cut is to repeat the first",
            remedy="repeat the first finishing passes exactly",
        )


def _deepest_at(place: tuple[float, float], poured: Poured, seen: Seen) -> str:
    """An inlay, the program and line that cut it deepest at a place, and the place."""
    program, line = seen.culprit(*place, poured.by)
    return at(f"inlay {poured.inlay.index + 1}, {program}", line, *place)


def _sum(values: NDArray[np.floating]) -> float:
    return float(np.sum(values, dtype=float))
