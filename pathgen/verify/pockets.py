"""Whether each pocket is the drawing, at its depth, as far as its cutters reach; and the fill in it cut level."""

from __future__ import annotations

import math
from collections.abc import Iterator
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
from pathgen.verify.findings import AGAIN, Finding, Tolerances, at
from pathgen.verify.in_plan import lines_of, nearest_at, place_of
from pathgen.verify.opening import opens_outside
from pathgen.verify.pocket_openings import HELD_OFF, TIGHT, Openings, openings_of, widest
from pathgen.verify.reached_walls import reached_wall_findings
from pathgen.verify.seen import Seen
from pathgen.verify.simulate import OPENED
from pathgen.verify.slanting_walls import wall_findings
from pathgen.verify.stages import Poured
from pathgen.work.clamping import Clamping, Step

_ENOUGH_CELLS = 40  # a piece of pocket smaller than this is not judged by its deepest point
_BESIDE_BEND = 1e-6  # mm
_FINE = 1e-3  # mm: with fewer corners, areas that narrow to next to nothing are taken in in a twentieth of the time
_LEAST_STRETCH = 1.0  # mm


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
        openings = openings_of(poured.inlay, steps, clamping.skimmed(poured.inlay), tolerances.pocket_plan,
                             clamping.board.surface)
        opened = poured.removed > OPENED
        yield from _in_plan(poured, openings, opened, seen)
        yield from _too_deep(_Floor.of(poured, opened, seen), poured, seen)
        opened |= seen.sim.surface[poured.window] - poured.floor > OPENED  # or by an open pocket of an earlier inlay
        yield from _uncut(poured, openings, opened, seen)
        yield from _too_shallow(_Floor.of(poured, opened, seen), poured, openings, seen)
        yield from _nowhere_deep(poured, openings, seen)
        yield from wall_findings(poured, steps, seen.sim, clamping, tolerances)
        cuts = [(step, asked, seen.motions[step.order])
                for step, asked in zip(openings.steps, openings.asked, strict=True)]
        yield from reached_wall_findings(poured.inlay, cuts, clamping.board.surface, tolerances, tight=TIGHT,
                                         hangs=HELD_OFF + clamping.skimmed(poured.inlay))
        yield from _levelled(poured, seen)


def _in_plan(poured: Poured, openings: Openings, opened: Bools, seen: Seen) -> Iterator[Finding]:
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
    place = nearest_at(motion.start[i], motion.end[i], shapely.boundary(allowed))
    return [Finding(code="pocket-wall-overcut",
                    where=at(f"inlay {inlay.index + 1}, {step.file_name}", int(motion.line[i]), *place),
                    got=f"the cutter passes the edge of the drawing ({int((~inside).sum())} moves)",
                    allowed=f"{tolerances.pocket_plan:g} mm")]


def _ways(start: Floats, end: Floats) -> NDArray[Any]:
    """Lines through moves, (n, 2) from and to, that go on from each other."""
    begins = np.concatenate([[True], (start[1:] != end[:-1]).any(axis=1)])
    way = np.cumsum(begins) - 1
    points, of = np.concatenate([start[begins], end]), np.concatenate([way[begins], way])
    order = np.argsort(of, kind="stable")
    return np.asarray(shapely.linestrings(points[order], indices=of[order]))


def _uncut(poured: Poured, openings: Openings, opened: Bools, seen: Seen) -> Iterator[Finding]:
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
        surface, place = seen.clamping.board.surface, floor.place(int(np.argmin(off)))
        program, line, *place_there = seen.culprit.first(
            *place, poured.by, lambda x, y: surface.height(x, y) - inlay.depth)
        yield Finding(code="pocket-too-deep", where=at(f"inlay {inlay.index + 1}, {program}", line, *place_there),
                      got=f"{inlay.depth - float(off.min()):.4f} mm deep", allowed=f"{inlay.depth:g} mm",
                      remedy=f"do not cut: {AGAIN}")


def _too_shallow(floor: _Floor, poured: Poured, openings: Openings, seen: Seen) -> Iterator[Finding]:
    """Higher than the stair that flat ends leave on a slope, and the ridges that the others may leave."""
    if not len(floor.cells):
        return
    inlay, steps, tolerances = poured.inlay, openings.steps, seen.tolerances
    slopes, stretch = _steepest(seen.clamping, floor.part, widest(steps))
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


def _nowhere_deep(poured: Poured, openings: Openings, seen: Seen) -> Iterator[Finding]:
    """Each part of a pocket must touch its depth at its highest rim, whatever stairs are left elsewhere."""
    inlay, sim, tolerances = poured.inlay, seen.sim, seen.tolerances
    part, surface, inset = sim.grid.part(poured.window), sim.surface[poured.window], 1.5 * tolerances.pocket_plan
    cell = sim.grid.cell_area**0.5
    for step, floor, rests in openings.brought_to_depth(inlay.depth, 2 * cell):
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


def _beside(cutter: Cutter, inset: float, cell: float, tolerances: Tolerances) -> float:
    """What the end of a cutter leaves at the middles of cells, all beside its path.

    A path along the grid may lie half a cell beside them; one along the rim of a floor, of which `inset` and as much
    again is not judged, lies that far outside: there no more than a ridge is left.
    """
    along_rim = float(cutter.profile(min(2 * inset + cell / math.sqrt(2), cutter.radius)))
    return max(float(cutter.profile(cell / 2)), min(along_rim, tolerances.floor_ridge))


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
        program, line, *place = seen.culprit.first(
            *poured.lost_at, lambda operation: operation.levels is not None, seen.clamping.first_surface.height)
        yield Finding(
            code="resurface-takes-wood", where=at(program, line, *place),
            got=f"{poured.lost:.4f} mm of wood", allowed="none: the second cut is to repeat the first",
            remedy="repeat the first finishing passes exactly",
        )


def _deepest_at(place: tuple[float, float], poured: Poured, seen: Seen) -> str:
    """An inlay, the program and line that cut it deepest at a place, and the place."""
    program, line = seen.culprit(*place, poured.by)
    return at(f"inlay {poured.inlay.index + 1}, {program}", line, *place)
