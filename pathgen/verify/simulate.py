"""The whole clamping on one grid: blank, surface, pockets, fill, surface again, slots, outline."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from pathgen.base import overlay
from pathgen.base.hollow import Hollow
from pathgen.removal.grid import Grid, Mask
from pathgen.removal.material import Heights, Material, Taken, TooLongError
from pathgen.removal.motion import Motion
from pathgen.verify.crest import crest_heights
from pathgen.verify.findings import Tolerances
from pathgen.verify.stages import Closeup, Stage, stage_after
from pathgen.work.clamping import Clamping, Step
from pathgen.work.features import Inlay
from pathgen.work.operations import Operation

OPENED = 0.02
"""Depth from which a point counts as opened by a pocket, mm: more than the ridges of any surface."""
_ROWS = 32


@dataclass(frozen=True, eq=False, kw_only=True)
class Poured:
    """One inlay's pockets and fill, on the part of the grid around them: heights in mm.

    Attributes
    ----------
    window : (slice, slice)
        Rows and columns of the grid.
    removed : (rows, columns) float32
        What its pocket programs took away, straight down.
    floor : (rows, columns) float32
        Heights of the wood when the fill was poured: the pockets' floors and the surface around.
    fill : (rows, columns) bool
        Where fill stands when its surface has been cut again.
    lost, lost_at : float, (x, y)
        Most wood that cutting it again took below `floor`, and where; 0 where that program is missing.
    """

    inlay: Inlay
    window: tuple[slice, slice]
    removed: Heights
    floor: Heights
    fill: Mask
    lost: float = 0.0
    lost_at: tuple[float, float] = (0.0, 0.0)

    def by(self, operation: Operation[Any]) -> bool:
        """Whether an operation cut these pockets."""
        return operation.opens is self.inlay


@dataclass(frozen=True, eq=False, kw_only=True)
class Simulation:
    """What stood on the bed in the end.

    Attributes
    ----------
    top, surface : (rows, columns) float32
        Heights of what stands there, and of the first surface, for comparison.
    poured : tuple of Poured
    taken : dict of order to Taken
        What each program cut too deep or hit.
    stages : tuple of Stage
        Small copies of what stood there after each program, for pictures; none without `pictured`.
    closeups : tuple of Closeup
        The inlays from near, in the order they were poured; none without `pictured`.
    worked : dict of order to float
        Heights worked out for each program, or what takes as long.
    given_up : (Step, int) or None
        The step and the line at which all took too much work; nothing of it is cut, nor of those after it.
    """

    grid: Grid
    top: Heights
    surface: Heights
    poured: tuple[Poured, ...]
    taken: dict[int, Taken]
    stages: tuple[Stage, ...] = ()
    closeups: tuple[Closeup, ...] = ()
    worked: Mapping[int, float] = field(default_factory=dict)
    given_up: tuple[Step, int] | None = None


def simulate(
    clamping: Clamping, motions: Mapping[int, Motion], grid: Grid, tolerances: Tolerances, *, note: bool = True,
    pictured: bool = False, gone: Mask | None = None, most: float = math.inf,
) -> Simulation:
    """Run the programs, by the order of their steps, over the blank; programs that are missing are left out.

    Without `note`, nothing is kept of cuts that are too deep and of rapids; without `pictured`, no copies of what
    stands there at each stage, which pictures are made from. `gone`, (rows, columns), is where nothing is left of the
    blank before. `most` is how many points may be worked out in all.
    """
    x0, y0, x1, y1 = clamping.stock.bounds
    top = np.full(grid.shape, -np.inf, np.float32)
    top[grid.window((x0, y0, x1, y1))] = clamping.stock.thickness
    surface = _heights_of_surface(clamping, grid)
    if clamping.surfacing is None:
        # a job that does not cut the surface has a blank that already has it
        np.minimum(top, surface, out=top, where=~np.isnan(surface))
    if gone is not None:
        top[gone] = -np.inf
    material = Material(grid, top, most=most)
    given_up: tuple[Step, int] | None = None
    worked: dict[int, float] = {}
    taken: dict[int, Taken] = {}
    stages: list[Stage] = []
    poured: list[Poured] = []
    opened: list[tuple[Stage, Stage]] = []
    before: Heights | None = None
    waste = _waste(clamping, grid) if note else None
    steps = sorted(clamping.steps, key=lambda step: step.order)
    for place, step in enumerate(steps):
        inlay, following = step.operation.opens, steps[place + 1 : place + 2]
        if inlay is not None and before is None:
            before = top[_around(inlay, grid, tolerances)].copy()
        if step.order in motions and given_up is None:
            stood = top.copy()
            try:
                taken[step.order] = material.cut(
                    motions[step.order], step.cutter, waste=waste,
                    spare=step.operation.deeper_outside(step.cutter),
                    surface=surface if step.operation.makes_surface else None,
                    deeper=deepest_cut(clamping, step, tolerances), note=note,
                    angle=note and step.operation.works_hard,
                )
            except TooLongError as error:
                top[:] = stood
                given_up = step, error.line
            worked[step.order] = material.worked - sum(worked.values())
        if inlay is not None and before is not None and not any(s.operation.opens is inlay for s in following):
            near = _around(inlay, grid, tolerances)
            open_now = stage_after(step.order, grid, top, poured, near=near) if pictured else None
            poured.append(_poured(clamping, inlay, material, surface, before, tolerances))
            before = None
            if open_now is not None:
                opened.append((open_now, stage_after(step.order, grid, top, poured, near=near)))
        if step.operation.levels is not None:
            poured = [_levelled(fill, clamping, material) if fill.inlay is step.operation.levels else fill
                      for fill in poured]
        if pictured:
            stages.append(stage_after(step.order, grid, top, poured))
    closeups = tuple(
        Closeup(inlay=one.inlay, opened=pair[0], filled=pair[1],
                finished=stage_after(steps[-1].order, grid, top, poured, near=one.window))
        for pair, one in zip(opened, poured, strict=False)
    )
    return Simulation(grid=grid, top=top, surface=surface, poured=tuple(poured), taken=taken, stages=tuple(stages),
                      closeups=closeups, worked=worked, given_up=given_up)


def deepest_cut(clamping: Clamping, step: Step, tolerances: Tolerances) -> float:
    """How deep a cut of this step may be below what stands there, mm."""
    ridge = max(clamping.surfacing.scallop, clamping.surfacing.leave_scallop) if clamping.surfacing else 0.0
    return step.operation.at_once(step.cutter) + ridge + tolerances.stepdown


def _waste(clamping: Clamping, grid: Grid) -> Mask:
    """Off the board: the blank there is cut only where passes and slots run out into it."""
    return np.logical_not(grid.covered(overlay.buffer(clamping.board.outline, 0.05, join_style="mitre")))


def _heights_of_surface(clamping: Clamping, grid: Grid) -> Heights:
    """The first surface in float32; z = thickness - y^2 / (R + sqrt(R^2 - y^2)), a few rows at a time."""
    surface, out = clamping.board.surface, np.empty(grid.shape, np.float32)
    if isinstance(surface, Hollow):
        out[:] = surface.height(grid.xs, grid.ys[:, None])
        return out
    if surface.is_flat:
        out[:] = crest_heights(surface, grid.xs)
        return out
    radius, crest = surface.radius(grid.xs), crest_heights(surface, grid.xs)
    for first in range(0, grid.shape[0], _ROWS):
        y2 = grid.ys[first : first + _ROWS, None] ** 2
        with np.errstate(invalid="ignore"):
            fall = np.sqrt(radius**2 - y2)
        fall += radius
        np.divide(y2, fall, out=fall)
        np.subtract(crest, fall, out=out[first : first + _ROWS], casting="same_kind")
    return out


def _around(inlay: Inlay, grid: Grid, tolerances: Tolerances) -> tuple[slice, slice]:
    x0, y0, x1, y1 = inlay.area.bounds
    out = 1.5 * tolerances.smear
    return grid.window((x0 - out, y0 - out, x1 + out, y1 + out))


def _poured(
    clamping: Clamping, inlay: Inlay, material: Material, surface: Heights, before: Heights, tolerances: Tolerances
) -> Poured:
    """Fill stands `overfill` above the first surface over what was opened, and a little around."""
    window = _around(inlay, material.grid, tolerances)
    there = material.top[window]
    floor = there.copy()
    removed = np.subtract(before, floor, where=np.isfinite(floor), out=np.zeros_like(floor))
    wet = np.zeros(floor.shape, bool)
    if inlay.fill != "none":
        wet = removed > OPENED
        wet |= material.grid.part(window).covered(overlay.buffer(inlay.area, _smear(clamping, tolerances)))
        wet &= np.isfinite(there)
        proud = np.float32(inlay.overfill + clamping.proud(inlay))
        np.maximum(there, surface[window] + proud, where=wet, out=there)
    return Poured(inlay=inlay, window=window, removed=removed, floor=floor, fill=wet)


def _smear(clamping: Clamping, tolerances: Tolerances) -> float:
    """How far round its pockets the fill lies; no further than a second cut over the inlays alone is told to go."""
    surfacing = clamping.surfacing
    limited = surfacing is not None and (surfacing.resurface_area == "inlay" or surfacing.leave > 0)
    return min(tolerances.smear, clamping.surfacing.blend) if limited and clamping.surfacing else tolerances.smear


def _levelled(poured: Poured, clamping: Clamping, material: Material) -> Poured:
    """What is left when the fill has been cut level; what is lost of the blank round the board is no loss."""
    there, part = material.top[poured.window], material.grid.part(poured.window)
    if not there.size:  # a small inlay between the columns of a grid of sections
        return poured
    with np.errstate(invalid="ignore"):
        lower = poured.floor - there
        fill = poured.fill & (lower < -1e-4)
    lost = np.where(part.covered(clamping.board.outline), lower, np.float32(-np.inf))
    worst = int(np.nanargmax(lost))
    row, column = divmod(worst, lost.shape[1])
    return replace(
        poured, fill=fill, lost=max(float(lost.flat[worst]), 0.0),
        lost_at=(float(part.xs[column]), float(part.ys[row])),
    )
