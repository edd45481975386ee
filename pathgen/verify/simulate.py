"""The whole clamping on one grid: blank, surface, pockets, fill, surface again, slots, outline."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pathgen.clamping import OUTLINE, POCKET, RESURFACE, SLOTS, SURFACE_FINISH, SURFACE_ROUGH, Clamping, Step
from pathgen.verify.findings import Tolerances
from pathgen.verify.grid import Grid
from pathgen.verify.motion import Motion
from pathgen.verify.removal import Heights, Material, Taken

SURFACING = (SURFACE_ROUGH, SURFACE_FINISH, RESURFACE)


@dataclass(frozen=True, eq=False, kw_only=True)
class Poured:
    """One fill, on the part of the grid around its pockets: all heights in mm.

    Attributes
    ----------
    window : (slice, slice)
        Rows and columns of the grid.
    before : heights before the pockets were cut
    floor : heights of the wood when the fill was poured: the pockets' floors and the surface around
    after : heights when the surface had been cut again; equal to `floor` where that program is missing
    """

    inlay: int
    window: tuple[slice, slice]
    before: Heights
    floor: Heights
    after: Heights


@dataclass(frozen=True, eq=False, kw_only=True)
class Simulation:
    """What stood on the bed.

    Attributes
    ----------
    top : (rows, columns) float32
        In the end.
    surfaced : (rows, columns) float32
        After the last surfacing program.
    poured : tuple of Poured
    taken : dict of order to Taken
        What each program cut too deep or hit.
    """

    grid: Grid
    top: Heights
    surfaced: Heights
    surface: Heights
    """The first surface, for comparison."""
    poured: tuple[Poured, ...]
    taken: dict[int, Taken]


def simulate(clamping: Clamping, motions: Mapping[int, Motion], grid: Grid, tolerances: Tolerances) -> Simulation:
    """Run the programs, by the order of their steps, over the blank; programs that are missing are left out."""
    x0, y0, x1, y1 = clamping.stock.bounds
    inside = np.outer((grid.ys >= y0) & (grid.ys <= y1), (grid.xs >= x0) & (grid.xs <= x1))
    material = Material(grid, np.where(inside, np.float32(clamping.stock.thickness), np.float32(-np.inf)))
    surface = _heights_of_surface(clamping, grid)
    surfaced, taken, poured = material.top, {}, []
    open_window: tuple[slice, slice] | None = None
    before = floor = material.top[:0]
    steps = sorted(clamping.steps, key=lambda step: step.order)
    for place, step in enumerate(steps):
        if step.operation == POCKET and open_window is None:
            open_window = _window_of_inlay(clamping, step, grid, tolerances)
            before = material.top[open_window].copy()
        if step.order in motions:
            taken[step.order] = material.cut(
                motions[step.order], step.cutter, note_deeper=deepest_cut(clamping, step, tolerances),
                note_rapid=tolerances.rapid, spare=_spare(clamping, step, grid),
            )
        if step.operation == POCKET and not _same_pocket(step, steps[place + 1 : place + 2]):
            assert open_window is not None
            floor = material.top[open_window].copy()
            poured.append(Poured(inlay=step.inlay or 0, window=open_window, before=before, floor=floor, after=floor))
            _pour(clamping, step, material, surface, poured[-1], tolerances)
            open_window = None
        if step.operation == RESURFACE:
            poured = [_levelled(fill, material) if fill.inlay == step.inlay else fill for fill in poured]
        if step.operation in SURFACING:
            surfaced = material.top.copy()
    return Simulation(grid=grid, top=material.top, surfaced=surfaced, surface=surface, poured=tuple(poured), taken=taken)


def deepest_cut(clamping: Clamping, step: Step, tolerances: Tolerances) -> float:
    """How deep a cut of this step may be below what stands there, mm."""
    limit = step.cutter.stepdown
    if step.operation == RESURFACE and clamping.surfacing:
        limit = min(limit, clamping.surfacing.resurface_stepdown)
    ridge = clamping.surfacing.scallop if clamping.surfacing else 0.0
    return limit + ridge + tolerances.stepdown + (1e9 if step.operation == OUTLINE and limit <= 0 else 0.0)


def _spare(clamping: Clamping, step: Step, grid: Grid) -> Heights | None:
    """Slots run out into the waste, where the blank still stands higher than the board: twice as deep is let pass."""
    if step.operation != SLOTS:
        return None
    board = grid.covered(clamping.board.outline.buffer(0.05, join_style="mitre"))
    return np.where(board, np.float32(0.0), np.float32(step.cutter.stepdown))


def _heights_of_surface(clamping: Clamping, grid: Grid) -> Heights:
    out = np.empty(grid.shape, np.float32)
    for rows in range(0, grid.shape[0], 64):  # in strips that stay in the cache
        out[rows : rows + 64] = clamping.board.surface.height(grid.xs, grid.ys[rows : rows + 64, None])
    return out


def _window_of_inlay(clamping: Clamping, step: Step, grid: Grid, tolerances: Tolerances) -> tuple[slice, slice]:
    x0, y0, x1, y1 = clamping.inlays[step.inlay or 0].area.bounds
    out = 2 * tolerances.smear
    return grid.window((x0 - out, y0 - out, x1 + out, y1 + out))


def _same_pocket(step: Step, following: list[Step]) -> bool:
    return bool(following) and following[0].operation == POCKET and following[0].inlay == step.inlay


def _pour(
    clamping: Clamping, step: Step, material: Material, surface: Heights, poured: Poured, tolerances: Tolerances
) -> None:
    """Fill stands `overfill` above the first surface over what was opened, and a little around."""
    inlay = clamping.inlays[step.inlay or 0]
    if inlay.fill == "none":
        return
    there, part = material.top[poured.window], material.grid.part(poured.window)
    wet = (poured.before - poured.floor > 0.01) | part.covered(inlay.area.buffer(tolerances.smear))
    level = surface[poured.window] + np.float32(inlay.overfill)
    np.copyto(there, np.maximum(there, level), where=wet & np.isfinite(there))


def _levelled(fill: Poured, material: Material) -> Poured:
    return Poured(inlay=fill.inlay, window=fill.window, before=fill.before, floor=fill.floor,
                  after=material.top[fill.window].copy())


Mask = NDArray[np.bool_]
