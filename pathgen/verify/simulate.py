"""The whole clamping on one grid: blank, surface, pockets, fill, surface again, slots, outline."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from pathgen.base import overlay
from pathgen.base.arrays import Bools, Floats
from pathgen.base.hollow import Hollow
from pathgen.base.lowered import Lowered
from pathgen.base.memory import content_key, memory_in_use
from pathgen.base.surface import Surface
from pathgen.removal.grid import Grid, Heights
from pathgen.removal.material import Material, Noting, Taken, TooLongError
from pathgen.removal.motion import Motion
from pathgen.verify.findings import Tolerances
from pathgen.verify.in_plan import place_of
from pathgen.verify.stages import Closeup, Poured, Stage, stage_after
from pathgen.work.clamping import Clamping, Step
from pathgen.work.features import Inlay
from pathgen.work.fill import lies_over

OPENED = 0.02
"""Depth from which a point counts as opened by a pocket, mm: more than the ridges of any surface."""
_ROWS = 32
_HERE_AND_THERE = np.s_[::7, ::7]
"""Heights by which others are told apart before all of them are compared."""


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
    worked: Mapping[int, float]
    given_up: tuple[Step, int] | None


@dataclass(frozen=True, eq=False, kw_only=True)
class _Left:
    """What a program left and took, and how many heights were worked out for it."""

    top: Heights
    taken: Taken
    worked: float
    met: Callable[[Heights], bool]
    """Whether such heights stood there before: compared, as a digest takes longer. Most are the very array that another
    answer left, and weigh nothing beside it in memory."""


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
    bed = _Bed(clamping, grid, tolerances, note=note, pictured=pictured, gone=gone, most=most)
    steps = sorted(clamping.steps, key=lambda step: step.order)
    for place, step in enumerate(steps):
        opens = step.operation.opens
        bed.run(step, motions.get(step.order),
                opens_last=not any(later.operation.opens is opens for later in steps[place + 1 :]))
    closeups = tuple(
        Closeup(inlay=one.inlay, opened=opened, filled=filled, finished=bed.stage(steps[-1], near=one.window))
        for (opened, filled), one in zip(bed.opened, bed.poured, strict=False)
    )
    return Simulation(grid=grid, top=bed.top, surface=bed.surface, poured=tuple(bed.poured), taken=bed.taken,
                      stages=tuple(bed.stages), closeups=closeups, worked=bed.worked, given_up=bed.given_up)


class _Bed:
    """What stands there between two steps, and what is known of those before. It changes with each step, and does not
    leave this module."""

    def __init__(
        self, clamping: Clamping, grid: Grid, tolerances: Tolerances, *, note: bool, pictured: bool, gone: Bools | None,
        most: float,
    ) -> None:
        board = clamping.board
        self.clamping, self.grid, self.note, self.pictured, self.most = clamping, grid, note, pictured, most
        self.surface, self.smear = _heights_of_surface(board.surface, grid), _smear(clamping, tolerances)
        self.around = 1.5 * tolerances.smear
        self.top = _blank(clamping, grid, self.surface, gone)
        # off the board the blank is cut only where passes and slots run out into it
        on_board = grid.covered(overlay.buffer(board.outline, 0.05, join_style="mitre")) if note else None
        self.waste = None if on_board is None else np.logical_not(on_board)
        # tells surface and waste from all others, where answers are remembered
        self.key = content_key(grid, board.surface, board.outline, note) if memory_in_use() is not None else b""
        self.before: dict[int, tuple[tuple[slice, slice], Heights]] = {}
        """Heights round each inlay that is being opened, by its index, without what its own programs took."""
        self.taken: dict[int, Taken] = {}
        self.worked: dict[int, float] = {}
        self.poured: list[Poured] = []
        self.stages: list[Stage] = []
        self.opened: list[tuple[Stage, Stage]] = []
        self.given_up: tuple[Step, int] | None = None

    def run(self, step: Step, motion: Motion | None, *, opens_last: bool) -> None:
        """A step, and the pour that follows the last that opens an inlay, levelled or not; nothing is cut without a
        motion."""
        inlay, stood = step.operation.opens, self.top
        if inlay is not None:
            x0, y0, x1, y1 = lies_over(inlay).bounds
            out = self.around
            near = self.grid.window((x0 - out, y0 - out, x1 + out, y1 + out))
            self.before.setdefault(inlay.index, (near, stood[near].copy()))
        if motion is not None and self.given_up is None:
            self._cut(step, motion)
        if inlay is not None and opens_last:
            self._pour(step, inlay)
        for index, (window, heights) in self.before.items():
            if inlay is None or index != inlay.index:
                others = np.subtract(self.top[window], stood[window], where=np.isfinite(self.top[window]),
                                     out=np.zeros_like(heights))
                self.before[index] = window, heights + others
        if step.operation.levels is not None:
            self.poured = [self._levelled(fill) if fill.inlay is step.operation.levels else fill
                           for fill in self.poured]
        if self.pictured:
            self.stages.append(self.stage(step))

    def stage(self, step: Step, near: tuple[slice, slice] | None = None) -> Stage:
        """A small copy of what stands there now."""
        return stage_after(step.order, self.grid, self.top, self.poured, near=near)

    def _cut(self, step: Step, motion: Motion) -> None:
        """What a program leaves of what stands there, and takes; or where it took too much work."""
        left = self.most - sum(self.worked.values())
        try:
            done = self._left_by(step, motion, left)
            self.top, self.taken[step.order], self.worked[step.order] = done.top, done.taken, done.worked
        except TooLongError as error:
            self.given_up, self.worked[step.order] = (step, error.line), left

    def _left_by(self, step: Step, motion: Motion, most: float) -> _Left:
        """What a program leaves of what stands there; remembered by both.

        Raises TooLongError where that takes more than `most` heights.
        """
        cutter, follows, memory = step.cutter, step.operation.makes_surface, memory_in_use()
        noting = Noting(deeper=deepest_cut(self.clamping, step), spare=step.operation.deeper_outside(cutter),
                        angle=self.note and self.clamping.clears_wood(step))
        asked = b""
        if memory is not None:
            asked = content_key("left by", self.key, motion, cutter, noting, follows, self.top[_HERE_AND_THERE])
            known: _Left | None = memory.get(asked) if asked in memory else None
            if known is not None and known.worked <= most and known.met(self.top):
                return known
        noting = replace(noting, waste=self.waste, surface=self.surface if follows else None)
        material = Material(self.grid, self.top.copy(), most=most)
        taken = material.cut(motion, cutter, noting if self.note else None)
        left = _Left(top=material.top, taken=taken, worked=material.worked, met=partial(_are_same, self.top))
        if memory is not None:
            self.top.flags.writeable = False
            memory.keep(asked, left)
        return left

    def _pour(self, step: Step, inlay: Inlay) -> None:
        """Fill stands `overfill` above the surface of that moment over what was opened, a little around, and inside its
        dams."""
        window, before = self.before.pop(inlay.index)
        open_now = self.stage(step, window) if self.pictured else None
        self.top = self.top.copy()
        there = self.top[window]
        floor = there.copy()
        removed = np.subtract(before, floor, where=np.isfinite(floor), out=np.zeros_like(floor))
        wet = np.zeros(floor.shape, bool)
        if inlay.fill != "none":
            wet = removed > OPENED
            wet |= self.grid.part(window).covered(overlay.union_all([overlay.buffer(inlay.area, self.smear),
                                                                     lies_over(inlay)]))
            wet &= np.isfinite(there)
            proud = np.float32(inlay.overfill + self.clamping.ground(inlay))
            np.maximum(there, self.surface[window] + proud, where=wet, out=there)
        self.poured.append(Poured(inlay=inlay, window=window, removed=removed, floor=floor, fill=wet))
        if open_now is not None:
            self.opened.append((open_now, self.stage(step, window)))

    def _levelled(self, poured: Poured) -> Poured:
        """What is left when the fill has been cut level; what is lost of the blank round the board is no loss."""
        there, part = self.top[poured.window], self.grid.part(poured.window)
        if not there.size:  # a small inlay between the columns of a grid of sections
            return poured
        with np.errstate(invalid="ignore"):
            lower = poured.floor - there
            fill = poured.fill & (lower < -1e-4)
        lost = np.where(part.covered(self.clamping.board.outline), lower, np.float32(-np.inf))
        worst = int(np.nanargmax(lost))
        return replace(poured, fill=fill, lost=max(float(lost.flat[worst]), 0.0), lost_at=place_of(part, worst))


def _are_same(top: Heights, other: Heights) -> bool:
    return top is other or np.array_equal(top, other)


def _blank(clamping: Clamping, grid: Grid, surface: Heights, gone: Bools | None) -> Heights:
    top = np.full(grid.shape, -np.inf, np.float32)
    top[grid.window(clamping.stock.bounds)] = clamping.stock.thickness
    if clamping.surfacing is None:
        # a job that does not cut the surface has a blank that already has it
        np.minimum(top, surface, out=top, where=~np.isnan(surface))
    if gone is not None:
        top[gone] = -np.inf
    return top


def deepest_cut(clamping: Clamping, step: Step) -> float:
    """How deep a cut of this step may be below what stands there, mm, before what `Tolerances.over` adds."""
    ridge = max(clamping.surfacing.scallop, clamping.surfacing.leave_scallop) if clamping.surfacing else 0.0
    cutter = step.cutter
    return step.operation.at_once(cutter) + step.operation.over_ridges(cutter, ridge)


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




def crest_heights(surface: Surface, x: Floats) -> Floats:
    """How high the crest should be at each place along it, mm, by the verifier's own reckoning of relief and fall-away.
    """
    crest = np.full(np.shape(x), surface.thickness)
    if not isinstance(surface, Lowered):
        return crest
    dip, fall = surface.relief, surface.fall_away
    if dip is not None:
        # how far from the deepest place, as a share of the way to where the dip ends on that side
        share = np.interp(x, [dip.start, dip.deepest, dip.end], [-1.0, 0.0, 1.0])
        crest -= dip.depth * (1.0 - share) * (1.0 + share)
    if fall is not None:
        share = np.maximum((x - fall.start) / (fall.end - fall.start), 0.0)
        crest -= fall.drop * (np.where(share < 1.0, share * share, 2.0 * share - 1.0) if fall.curved else share)
    return crest


def _smear(clamping: Clamping, tolerances: Tolerances) -> float:
    """How far round its pockets the fill lies; no further than a second cut over the inlays alone is told to go."""
    surfacing = clamping.surfacing
    if surfacing is not None and (surfacing.resurface_area == "inlay" or surfacing.leave > 0):
        return min(tolerances.smear, surfacing.blend)
    return tolerances.smear
