"""The whole clamping on one grid: blank, surface, pockets, fill, surface again, slots, outline."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import shapely

from pathgen.base import overlay
from pathgen.base.arrays import Bools
from pathgen.base.cutters import Cutter
from pathgen.base.hollow import Hollow
from pathgen.base.memory import content_key, memory_in_use
from pathgen.base.surface import Surface
from pathgen.removal.grid import Grid, Heights
from pathgen.removal.material import Material, Noting, Taken, TooLongError
from pathgen.removal.motion import Motion
from pathgen.verify.crest import crest_heights
from pathgen.verify.findings import Tolerances
from pathgen.verify.in_plan import place_of
from pathgen.verify.stages import Closeup, Stage, stage_after
from pathgen.work.clamping import Clamping, Step
from pathgen.work.features import Inlay
from pathgen.work.fill import lies_over
from pathgen.work.operations import Operation

OPENED = 0.02
"""Depth from which a point counts as opened by a pocket, mm: more than the ridges of any surface."""
_ROWS = 32
_HERE_AND_THERE = np.s_[::7, ::7]
"""Heights by which others are told apart before all of them are compared."""


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
    fill: Bools
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
    stages: tuple[Stage, ...]
    closeups: tuple[Closeup, ...]
    worked: Mapping[int, float] = field(default_factory=dict)
    given_up: tuple[Step, int] | None


@dataclass(frozen=True, eq=False, kw_only=True)
class _Ground:
    """What all cuts of one simulation have in common; `surface` and `waste` follow from the rest."""

    grid: Grid
    surface: Heights
    waste: Bools | None
    outline: shapely.Polygon
    tolerances: Tolerances
    note: bool
    pictured: bool
    most: float
    key: bytes
    """Tells it from all others, where answers are remembered."""


@dataclass(frozen=True, eq=False, kw_only=True)
class _Program:
    """What one program takes depends on this, the ground, and what stands there."""

    motion: Motion
    cutter: Cutter
    deeper: float
    spare: float
    follows: bool
    angle: bool


class _Met:
    """Heights by which an answer is known again. They are not told by a digest, which takes longer than to compare.

    Most are the very array that another answer left, and weigh nothing beside it in memory.
    """

    def __init__(self, top: Heights) -> None:
        self._top = top

    def is_same(self, top: Heights) -> bool:
        return self._top is top or np.array_equal(self._top, top)


@dataclass(frozen=True, eq=False, kw_only=True)
class _Left:
    """What a program left and took; `worked` is how many heights were worked out, and `met` what stood there before."""

    top: Heights
    met: _Met
    taken: Taken
    worked: float


@dataclass(frozen=True, eq=False, kw_only=True)
class _Cut:
    """One step. Without a `program` it is left out, but for the fill that is poured and levelled."""

    order: int
    program: _Program | None
    opens: Inlay | None
    levels: Inlay | None
    pours: bool
    """Whether it is the last that opens its inlay, so that fill follows."""
    proud: float
    """How far the wood stands above the finished surface when its inlay is cut."""
    smear: float


@dataclass(frozen=True, eq=False, kw_only=True)
class _Standing:
    """What stands there between two cuts, and what is known of those before."""

    top: Heights
    before: Mapping[int, tuple[tuple[slice, slice], Heights]] = field(default_factory=dict)
    """Heights round each inlay that is being opened, by its index, without what its own programs took."""
    taken: Mapping[int, Taken] = field(default_factory=dict)
    poured: tuple[Poured, ...] = ()
    stages: tuple[Stage, ...] = ()
    opened: tuple[tuple[Stage, Stage], ...] = ()
    worked: Mapping[int, float] = field(default_factory=dict)
    given_up: tuple[int, int] | None = None
    """Order of the step, and line, at which all took too much work."""


def simulate(
    clamping: Clamping, motions: Mapping[int, Motion], grid: Grid, tolerances: Tolerances, *, note: bool = True,
    pictured: bool = False, gone: Bools | None = None, most: float = math.inf,
) -> Simulation:
    """Run the programs, by the order of their steps, over the blank; programs that are missing are left out.

    Without `note`, nothing is kept of cuts that are too deep and of rapids; without `pictured`, no copies of what
    stands there at each stage, which pictures are made from. `gone`, (rows, columns), is where nothing is left of the
    blank before. `most` is how many points may be worked out in all.

    While answers are remembered, a program that meets the same heights again is not cut again.
    """
    surface = _heights_of_surface(clamping.board.surface, grid)
    top, outline = _blank(clamping, grid, surface, gone), clamping.board.outline
    known = memory_in_use() is not None
    ground = _Ground(
        grid=grid, surface=surface, waste=_waste(outline, grid) if note else None, outline=outline,
        tolerances=tolerances, note=note, pictured=pictured, most=most,
        key=content_key(grid, clamping.board.surface, outline, note) if known else b"",
    )
    steps = sorted(clamping.steps, key=lambda step: step.order)
    standing = _Standing(top=top)
    for place, step in enumerate(steps):
        standing = _after(_cut_of(clamping, step, steps[place + 1 :], motions, tolerances, note), standing,
                          ground)
    closeups = tuple(
        Closeup(inlay=one.inlay, opened=pair[0], filled=pair[1],
                finished=stage_after(steps[-1].order, grid, standing.top, standing.poured, near=one.window))
        for pair, one in zip(standing.opened, standing.poured, strict=False)
    )
    given_up = standing.given_up and (next(s for s in steps if s.order == standing.given_up[0]), standing.given_up[1])
    return Simulation(grid=grid, top=standing.top, surface=surface, poured=standing.poured, taken=dict(standing.taken),
                      stages=standing.stages, closeups=closeups, worked=standing.worked, given_up=given_up)


def _cut_of(
    clamping: Clamping, step: Step, following: Sequence[Step], motions: Mapping[int, Motion], tolerances: Tolerances,
    note: bool,
) -> _Cut:
    operation, inlay = step.operation, step.operation.opens
    program = _Program(
        motion=motions[step.order], cutter=step.cutter, deeper=deepest_cut(clamping, step),
        spare=operation.deeper_outside(step.cutter), follows=operation.makes_surface,
        angle=note and clamping.clears_wood(step),
    ) if step.order in motions else None
    return _Cut(
        order=step.order, program=program, opens=inlay, levels=operation.levels,
        pours=inlay is not None and not any(s.operation.opens is inlay for s in following),
        proud=clamping.ground(inlay) if inlay is not None else 0.0, smear=_smear(clamping, tolerances),
    )


def _blank(clamping: Clamping, grid: Grid, surface: Heights, gone: Bools | None) -> Heights:
    top = np.full(grid.shape, -np.inf, np.float32)
    top[grid.window(clamping.stock.bounds)] = clamping.stock.thickness
    if clamping.surfacing is None:
        # a job that does not cut the surface has a blank that already has it
        np.minimum(top, surface, out=top, where=~np.isnan(surface))
    if gone is not None:
        top[gone] = -np.inf
    return top


def _after(cut: _Cut, standing: _Standing, ground: _Ground) -> _Standing:
    """What stands there after a cut, and the pour that follows it."""
    grid, inlay, top = ground.grid, cut.opens, standing.top
    poured, opened, given_up = standing.poured, standing.opened, standing.given_up
    before, taken, worked = dict(standing.before), dict(standing.taken), dict(standing.worked)
    near = _around(inlay, grid, ground.tolerances) if inlay is not None else None
    if near is not None and inlay is not None:
        before.setdefault(inlay.index, (near, top[near].copy()))
    if cut.program is not None and given_up is None:
        left = ground.most - sum(worked.values())
        try:
            done = _left_by(cut.program, top, ground, left)
            top, taken[cut.order], worked[cut.order] = done.top, done.taken, done.worked
        except TooLongError as error:
            given_up, worked[cut.order] = (cut.order, error.line), left
    if near is not None and inlay is not None and cut.pours:
        open_now = stage_after(cut.order, grid, top, poured, near=near) if ground.pictured else None
        fill, top = _poured(cut, near, top, ground, before.pop(inlay.index)[1])
        poured = (*poured, fill)
        if open_now is not None:
            opened = (*opened, (open_now, stage_after(cut.order, grid, top, poured, near=near)))
    for index, (window, heights) in before.items():
        if inlay is None or index != inlay.index:
            others = np.subtract(top[window], standing.top[window], where=np.isfinite(top[window]),
                                 out=np.zeros_like(heights))
            before[index] = window, heights + others
    if cut.levels is not None:
        poured = tuple(_levelled(fill, top, ground) if fill.inlay is cut.levels else fill for fill in poured)
    stages = (*standing.stages, stage_after(cut.order, grid, top, poured)) if ground.pictured else ()
    return _Standing(top=top, before=before, taken=taken, poured=poured, stages=stages, opened=opened,
                     worked=worked, given_up=given_up)


def _left_by(program: _Program, top: Heights, ground: _Ground, most: float) -> _Left:
    """What a program leaves of what stood there; remembered by both.

    Raises TooLongError where that takes more than `most` heights.
    """
    memory = memory_in_use()
    asked = content_key("left by", ground.key, program, top[_HERE_AND_THERE]) if memory is not None else b""
    if memory is not None and asked in memory:
        known: _Left = memory.get(asked)
        if known.worked <= most and known.met.is_same(top):
            return known
    noting = Noting(deeper=program.deeper, waste=ground.waste, spare=program.spare, angle=program.angle,
                    surface=ground.surface if program.follows else None)
    material = Material(ground.grid, top.copy(), most=most)
    taken = material.cut(program.motion, program.cutter, noting if ground.note else None)
    left = _Left(top=material.top, met=_Met(top), taken=taken, worked=material.worked)
    if memory is not None:
        top.flags.writeable = False
        memory.keep(asked, left)
    return left


def deepest_cut(clamping: Clamping, step: Step) -> float:
    """How deep a cut of this step may be below what stands there, mm, before what `Tolerances.over` adds."""
    ridge = max(clamping.surfacing.scallop, clamping.surfacing.leave_scallop) if clamping.surfacing else 0.0
    cutter = step.cutter
    return step.operation.at_once(cutter) + step.operation.over_ridges(cutter, ridge)


def _waste(outline: shapely.Polygon, grid: Grid) -> Bools:
    """Off the board: the blank there is cut only where passes and slots run out into it."""
    return np.logical_not(grid.covered(overlay.buffer(outline, 0.05, join_style="mitre")))


def _heights_of_surface(surface: Surface, grid: Grid) -> Heights:
    """The first surface in float32; z = thickness - y^2 / (R + sqrt(R^2 - y^2)), a few rows at a time."""
    out = np.empty(grid.shape, np.float32)
    if isinstance(surface, Hollow):
        out[:] = surface.height(grid.xs, grid.ys[:, None])
        return out
    if surface.is_flat:
        out[:] = crest_heights(surface, grid.xs)
        return out
    radius, crest = surface.radius(grid.xs), crest_heights(surface, grid.xs)
    radius = np.where(radius > 0.0, radius, np.nan)  # past a cone's apex there is none
    for first in range(0, grid.shape[0], _ROWS):
        y2 = grid.ys[first : first + _ROWS, None] ** 2
        with np.errstate(invalid="ignore"):
            fall = np.sqrt(radius**2 - y2)
        fall += radius
        np.divide(y2, fall, out=fall)
        np.subtract(crest, fall, out=out[first : first + _ROWS], casting="same_kind")
    return out


def _around(inlay: Inlay, grid: Grid, tolerances: Tolerances) -> tuple[slice, slice]:
    x0, y0, x1, y1 = lies_over(inlay).bounds
    out = 1.5 * tolerances.smear
    return grid.window((x0 - out, y0 - out, x1 + out, y1 + out))


def _poured(
    cut: _Cut, window: tuple[slice, slice], top: Heights, ground: _Ground, before: Heights
) -> tuple[Poured, Heights]:
    """Fill stands `overfill` above the surface of that moment over what was opened, a little around, and inside its
    dams; and all heights."""
    inlay = cut.opens
    assert inlay is not None
    top = top.copy()
    there = top[window]
    floor = there.copy()
    removed = np.subtract(before, floor, where=np.isfinite(floor), out=np.zeros_like(floor))
    wet = np.zeros(floor.shape, bool)
    if inlay.fill != "none":
        wet = removed > OPENED
        wet |= ground.grid.part(window).covered(overlay.union_all([overlay.buffer(inlay.area, cut.smear),
                                                                   lies_over(inlay)]))
        wet &= np.isfinite(there)
        proud = np.float32(inlay.overfill + cut.proud)
        np.maximum(there, ground.surface[window] + proud, where=wet, out=there)
    return Poured(inlay=inlay, window=window, removed=removed, floor=floor, fill=wet), top


def _smear(clamping: Clamping, tolerances: Tolerances) -> float:
    """How far round its pockets the fill lies; no further than a second cut over the inlays alone is told to go."""
    surfacing = clamping.surfacing
    limited = surfacing is not None and (surfacing.resurface_area == "inlay" or surfacing.leave > 0)
    return min(tolerances.smear, clamping.surfacing.blend) if limited and clamping.surfacing else tolerances.smear


def _levelled(poured: Poured, top: Heights, ground: _Ground) -> Poured:
    """What is left when the fill has been cut level; what is lost of the blank round the board is no loss."""
    there, part = top[poured.window], ground.grid.part(poured.window)
    if not there.size:  # a small inlay between the columns of a grid of sections
        return poured
    with np.errstate(invalid="ignore"):
        lower = poured.floor - there
        fill = poured.fill & (lower < -1e-4)
    lost = np.where(part.covered(ground.outline), lower, np.float32(-np.inf))
    worst = int(np.nanargmax(lost))
    return replace(poured, fill=fill, lost=max(float(lost.flat[worst]), 0.0), lost_at=place_of(part, worst))
