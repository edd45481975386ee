"""Every path of one clamping, and what comes of planning them; what cutters open in plan, before any path."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from shapely.geometry.base import BaseGeometry

from pathgen.base.arrays import Floats
from pathgen.base.cutters import Cutter
from pathgen.base.errors import Doubt, PathgenError, asked_by
from pathgen.base.toolpath import Toolpath
from pathgen.programs.around import Around
from pathgen.programs.edges import Edges, edges_of
from pathgen.programs.holding import check_holds
from pathgen.programs.limits import check_keep_outs, check_limits
from pathgen.programs.paths import path_of
from pathgen.programs.shanks import check_shanks, flutes_needed
from pathgen.programs.standing import near_clamps
from pathgen.programs.starting import Start, starts_of
from pathgen.programs.travel import Reach, check_travel, reaches_of, span_of, zero_reach
from pathgen.programs.zero_check import ZeroCheck, zero_checks
from pathgen.strategies.matching import LetIns
from pathgen.strategies.pocketing import PocketCut, PocketOptions, pocket
from pathgen.strategies.reach import opened_by
from pathgen.strategies.surfacing import Passes
from pathgen.work.clamping import Clamping, Idle, numbered
from pathgen.work.features import Inlay
from pathgen.work.fill import Dammed, Resin, dams_of
from pathgen.work.operations import Pocket

Pockets = tuple[tuple[PocketCut, ...], ...]

SMALLEST_PIECE = 0.005
"""Pieces of a pocket left out as too small to see, mm2: an edge stays within about 0.03 mm of where it is drawn."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Asked:
    """What a job asks for that no cut depends on."""

    resins: tuple[Resin, ...] = ()
    """What each inlay is filled with, by its index."""
    let_ins: tuple[LetIns, ...] = ()
    """The pieces let into each inlay, by its index; empty where the job says nothing of them."""
    wood: tuple[str | None, str | None] = (None, None)
    """Colour of the wood, bare and under its finish."""
    unchosen: tuple[str, ...] = ()
    """Colours of fills that nobody chose: pictures show them, and contrast is not judged by them."""
    doubts: tuple[Doubt, ...] = ()
    """What is likely a slip."""
    cutters: tuple[Cutter, ...] = ()
    """All that the job has, of steps or not."""
    ridges: tuple[str, ...] = ()
    """Keys of [surface] that it has for ridges a ball leaves."""
    not_cut: tuple[str, ...] = ()
    """What such a part mostly has cut, and the job does not ask for, in words."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Plan:
    """All that is to be cut, step by step. `paths` holds one Toolpath for each step of `clamping`; `pockets` one tuple
    of PocketCut for each inlay."""

    around: Around
    asked: Asked = Asked()
    paths: tuple[Toolpath, ...] = ()
    beside: tuple[Plan, ...] = ()
    """Those of all parts of a common blank, or of both sides of one that is turned over, the back's first."""

    @property
    def clamping(self) -> Clamping:
        """What it is the plan of."""
        return self.around.clamping

    @property
    def pockets(self) -> Pockets:
        """What each cutter of each inlay cuts."""
        return self.around.pockets

    @cached_property
    def opened(self) -> tuple[BaseGeometry, ...]:
        """What is opened of each inlay when all its cutters are done, by its index."""
        return tuple(cuts[-1].opened for cuts in self.pockets)

    @cached_property
    def reaches(self) -> tuple[Reach, ...]:
        """How far each step makes the machine go."""
        return reaches_of(self.clamping, self.paths) if self.paths else ()

    @cached_property
    def _span(self) -> Floats | None:
        """(2, 3) from where to where on the display lies all that is cut on the blank and set; None without paths."""
        every = [one for part in self.beside or (self,) for one in part.reaches]
        return span_of([*every, zero_reach(self.clamping)]) if every else None

    @cached_property
    def edges(self) -> tuple[Edges, Edges]:
        """From which edges of the blank X 0 and Y 0 can be set before the first program."""
        steps = [step for part in self.beside or (self,) for step in part.clamping.steps]
        return edges_of(self.clamping, min(steps, key=lambda step: step.number).cutter, self._span)

    @cached_property
    def zero_checks(self) -> dict[int, ZeroCheck]:
        """Where zero can be tried before each step, by its order."""
        known = self._span is not None and self.clamping.moved is None
        return zero_checks(self.around, np.transpose([one.reach for one in self.edges]) if known else None,
                           self._shares)

    @cached_property
    def starts(self) -> tuple[Start, ...]:
        """What the program of each step starts from."""
        lowest = self.lowest if self.paths else ()
        return starts_of(self.around, lowest=lowest, zeros=self.zero_checks, edges=self.edges,
                         beside=self._shares)

    @property
    def _shares(self) -> list[Around]:
        """All parts of a common blank."""
        return [one.around for one in self.beside] if self.clamping.shared else []

    @cached_property
    def lowest(self) -> tuple[float, ...]:
        """The lowest tip of each step above the bed, mm."""
        return tuple(float(self.clamping.on_bed(path.points, step)[:, 2].min())
                     for step, path in zip(self.clamping.steps, self.paths, strict=True))

    @cached_property
    def flutes(self) -> tuple[float, ...]:
        """How long the flutes of each step's cutter must be at least, mm."""
        return flutes_needed(self.paths, self.around)

    @cached_property
    def dams(self) -> tuple[tuple[Dammed, ...], ...]:
        """The dams of each inlay, by its index; none of one that no resin is poured into."""
        resins = self.asked.resins
        return tuple(
            tuple(dams_of(inlay, self.clamping.surface, resins[inlay.index].dam))
            if resins and inlay.fill == "resin" else () for inlay in self.clamping.inlays
        )


def plan(clamping: Clamping, asked: Asked | None, *, pockets: Pockets | None) -> Plan:
    """Every path of a clamping; `pockets` are those of `pockets_of`, where they are known already. Raises PathgenError
    for what cannot be cut as asked, before anything is written."""
    around = Around(clamping=clamping, pockets=pockets_of(clamping) if pockets is None else pockets)
    paths = []
    for step in clamping.steps:
        paths.append(path_of(step, around))
        check_limits(paths[-1], clamping, step)
    made = Plan(around=around, asked=asked or Asked(), paths=tuple(paths))
    if clamping.machine.travel is not None and clamping.shared is None:  # else of all its parts, when they are known
        check_spans(made)
    check_keep_outs(paths, clamping)
    check_holds(paths, clamping)
    check_shanks(paths, around)
    return made


def check_spans(*parts: Plan) -> None:
    """Raise JobError for a machine that cannot span all that some plans of one blank ask it to."""
    check_travel([(one.clamping, one.reaches, one.zero_checks) for one in parts])


def both_sides(top: Plan, back: Plan) -> tuple[Plan, Plan]:
    """The plans with each other beside them, of a blank that is turned over: its X 0 and Y 0 stay, its Z 0 does not.
    Raises JobError as `check_spans` does."""
    top, back = (replace(one, beside=(back, top)) for one in (top, back))
    flat = [replace(one, low=one.low * [1, 1, 0], high=one.high * [1, 1, 0]) for one in back.reaches]
    check_travel([(top.clamping, top.reaches, top.zero_checks), (back.clamping, flat, {})])
    return top, back


def finishing_with(clamping: Clamping, cutter: Cutter, *, scallop: float) -> tuple[Passes, tuple[Toolpath, ...]]:
    """The finishing passes, and the paths of the finish and of every second cut, with another cutter or ridge height.
    Raises CutterError for a cutter that cannot finish a radius; `clamping` is one with a surface."""
    assert clamping.surfacing is not None
    surfacing = replace(clamping.surfacing, scallop=scallop)
    steps = tuple(
        replace(step, cutter=cutter if step.operation.finishes else step.cutter,
                operation=step.operation.surfaced_as(surfacing))
        for step in clamping.steps
    )
    other = replace(clamping, steps=steps)
    around = Around(clamping=other)
    assert around.finish is not None
    return around.finish, tuple(path_of(step, around) for step in steps if step.operation.finishes)


def pockets_of(clamping: Clamping) -> Pockets:
    """What each cutter of each inlay cuts."""
    return tuple(pockets_with(clamping, inlay, clamping.cutters_of(inlay)) for inlay in clamping.inlays)


def without_idle(clamping: Clamping, pockets: Pockets) -> tuple[Clamping, Pockets]:
    """The clamping without the steps of cutters that find nothing to do, and the pockets of the others."""
    idle, steps = [], []
    for step in clamping.steps:
        operation = step.operation
        if isinstance(operation, Pocket):
            cuts = pockets[operation.feature.index]
            if reason := cuts[operation.nth].idle:
                idle.append(Idle(inlay=operation.feature.index, cutter=step.cutter, why=reason[0],
                                 remedy=reason[1]))
                continue
            before = [cut for cut in cuts[: operation.nth] if not cut.idle]
            busy = [cut for cut in cuts if not cut.idle]
            step = replace(step, operation=replace(operation, nth=len(before), count=len(busy)))
        steps.append(step)
    if not idle:
        return clamping, pockets
    left = tuple(tuple(cut for cut in cuts if not cut.idle) for cuts in pockets)
    return replace(clamping, steps=numbered(steps), idle=tuple(idle)), left


def proud_by(clamping: Clamping, inlay: Inlay) -> tuple[float, float]:
    """How far the surface that an inlay is cut into stands proud of the finished one, and its ridges' height, mm."""
    proud, surfacing = clamping.proud(inlay), clamping.surfacing
    return proud, 0.0 if surfacing is None else surfacing.leave_scallop if proud else surfacing.scallop


def pockets_with(clamping: Clamping, inlay: Inlay, cutters: Sequence[Cutter]) -> tuple[PocketCut, ...]:
    """What each of some cutters, one after another, cuts of an inlay. Raises PathgenError for what cannot be cut."""
    proud, ridges = proud_by(clamping, inlay)
    surface = replace(clamping.surface, thickness=clamping.surface.thickness + proud)
    # what second cuts leave of its depth: no ridge of its floor may come up through that
    left = inlay.depth + clamping.finished_surface.thickness - clamping.board.surface.thickness
    with asked_by(inlay.name):
        return pocket(
            inlay.area, surface=surface, depth=inlay.depth + proud, safe_z=clamping.safe_z, cutters=cutters,
            keep_out=near_clamps(clamping, max(cutter.radius for cutter in cutters)),
            # the corners that a larger cutter leaves are small, and in the way of a piece
            options=PocketOptions(smallest=0.0 if inlay.drawn else SMALLEST_PIECE, ridges=ridges,
                                  floor_ridge=min(PocketOptions.floor_ridge, left / 2)),
                where=", ".join([inlay.name, *[one.odd_words for one in inlay.placed if one.odd_words][:1]]),
        )


def opened_in_plan(
    clamping: Clamping, inlay: Inlay, *, of_v: Callable[[Clamping, Inlay], BaseGeometry]
) -> BaseGeometry:
    """What an inlay's cutters open; where the last is a v cutter, of which only its path tells, what `of_v` says. All
    that is drawn where they cannot go in, which is told elsewhere."""
    try:
        if clamping.cutters_of(inlay)[-1].shape == "v":
            return of_v(clamping, inlay)
        return opened_of_shape(clamping, inlay, inlay.area, clamping.cutters_of(inlay))
    except PathgenError:
        return inlay.area


def opened_of_shape(
    clamping: Clamping, inlay: Inlay, shape: BaseGeometry, cutters: Sequence[Cutter]
) -> BaseGeometry:
    """What some cutters would open of a shape, deep as an inlay and there. Raises CutterError as `opened_by` does."""
    proud, surface = clamping.proud(inlay), clamping.board.surface
    return opened_by(shape, cutters, replace(surface, thickness=surface.thickness + proud),
                     inlay.depth + proud)
