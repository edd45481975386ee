"""The order of the programs in one clamping, and the path that each takes."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from pathgen.base import overlay
from pathgen.base.cutters import Cutter
from pathgen.base.errors import JobError
from pathgen.base.scallop import scallop_height
from pathgen.base.toolpath import Toolpath
from pathgen.job.drawings import inlays_of
from pathgen.job.filling import marks_of, move_of, resin_of
from pathgen.job.let_in import LetIns, check_fit, let_ins
from pathgen.job.load import Job
from pathgen.job.sense import holes_of, nut_of, outline_of, part_of, slots_of
from pathgen.parts.fingerboard.board import Fingerboard
from pathgen.programs.limits import check_limits
from pathgen.programs.zeroing import check_references
from pathgen.strategies.cut_again import resurfacing_runs_over
from pathgen.strategies.cutting_out import check_tabs_hold, outlining, tab_points
from pathgen.strategies.drilling import drilling
from pathgen.strategies.engraving import engraving
from pathgen.strategies.marks import drill_marks, hover_over_marks
from pathgen.strategies.pocketing import PocketCut, pocket
from pathgen.strategies.slotting import bevelling, slotting
from pathgen.strategies.surfacing import Passes, finishing_passes, resurfacing_runs, roughing_runs
from pathgen.work.clamping import (
    BEVEL,
    ENGRAVE,
    HOLES,
    HOVER,
    NUT_SLOT,
    OUTLINE,
    POCKET,
    RESURFACE,
    SLOTS,
    SURFACE_FINISH,
    SURFACE_ROUGH,
    WITNESS_MARKS,
    Clamping,
    Idle,
    OutlineCut,
    Step,
    Surfacing,
)
from pathgen.work.fill import Resin

Floats = NDArray[np.float64]

DEFAULT_SCALLOP = 0.01
SMALLEST_PIECE = 0.005
"""Pieces of a pocket left out as too small to see, mm2: an edge stays within about 0.03 mm of where it is drawn."""
AIR = 1.0
"""How far above the highest wood or fill a rapid may come down, mm."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Plan:
    """All that is to be cut, step by step.

    `paths` holds one Toolpath for each step of `clamping`; `pockets` one tuple of PocketCut for each inlay.
    """

    clamping: Clamping
    paths: tuple[Toolpath, ...]
    finish: Passes | None
    pockets: tuple[tuple[PocketCut, ...], ...]
    resins: tuple[Resin, ...] = ()
    """What each inlay is filled with, by its index."""
    let_ins: tuple[LetIns, ...] = ()
    """The pieces let into each inlay, by its index; empty where the job says nothing of them."""
    wood: tuple[str | None, str | None] = (None, None)
    """Colour of the wood, bare and under its finish."""


def clamping_of(job: Job) -> Clamping:
    """The part, the set-up and the steps that a job asks for, idle cutters' too; reads the drawings.

    Raises JobError or ArtworkError for drawings that cannot be read or do not lie on the board.
    """
    board = part_of(job)
    inlays, left_out = inlays_of(job, board)
    clamping = Clamping(
        title=job.title, units=job.units, board=board, stock=job.stock, setup=job.setup,  # type: ignore[arg-type]
        machine=job.machine, surfacing=surfacing_of(job), inlays=inlays, slots=slots_of(job, board),
        left_out=left_out, outline=outline_of(job), nut_slot=nut_of(job, board), holes=holes_of(job),
        steps=tuple(numbered(_steps(job))),
    )
    return _set_up(job, clamping)


def _set_up(job: Job, clamping: Clamping) -> Clamping:
    """With what depends on which steps there are, and on their order."""
    check_references(clamping)
    clamping = replace(clamping, marks=marks_of(job, clamping))
    moved, moved_from = move_of(job, clamping)
    return replace(clamping, moved=moved, moved_from=moved_from)


def without_idle(job: Job, clamping: Clamping) -> Clamping:
    """The clamping of `clamping_of` without the steps of cutters that find nothing to do: as `plan` makes it.

    Works the pockets out, as only their paths tell.
    """
    return _without_idle(job, clamping, [_pockets(job, clamping, index) for index in range(len(clamping.inlays))])


def _without_idle(job: Job, clamping: Clamping, pockets: Sequence[tuple[PocketCut, ...]]) -> Clamping:
    idle = tuple(
        Idle(inlay=index, place=place, cutter=cut.cutter.name, why=cut.idle[0], remedy=cut.idle[1])
        for index, cuts in enumerate(pockets) for place, cut in enumerate(cuts) if cut.idle
    )
    if not idle:
        return clamping
    steps = tuple(numbered(_steps(job, {(one.inlay, one.place) for one in idle})))
    return _set_up(job, replace(clamping, steps=steps, idle=idle))


def plan(job: Job, clamping: Clamping | None = None) -> Plan:
    """Every path of a job; cutters of inlays that find nothing to do have no step.

    Raises PathgenError for what cannot be cut as asked, before anything is written.
    """
    boards = clamping is None
    clamping = clamping or clamping_of(job)
    finish = _finish(clamping)
    pockets = tuple(_pockets(job, clamping, index) for index in range(len(clamping.inlays)))
    if boards:
        clamping = _without_idle(job, clamping, pockets)
        pockets = tuple(tuple(cut for cut in cuts if not cut.idle) for cuts in pockets)
    let_in = tuple(let_ins(job, index, inlay) for index, inlay in enumerate(clamping.inlays))
    for index, made in enumerate(let_in):
        check_fit(job, clamping, index, made, pockets[index])
    paths = []
    for step in clamping.steps:
        path = _path(clamping, step, finish, pockets)
        if not len(path):
            raise JobError(f"step {step.order}, {step.operation}", f'"{step.cutter.name}" has nothing to cut',
                           remedy="leave that cutter out")
        check_limits(path, clamping, step)
        paths.append(path)
    return replace(
        without_paths(job, clamping), paths=tuple(paths), finish=finish, pockets=pockets, let_ins=let_in,
    )


def without_paths(job: Job, clamping: Clamping) -> Plan:
    """A plan before any path is made: what is cut, with what it is filled, in which wood."""
    return Plan(
        clamping=clamping, paths=(), finish=None, pockets=(),
        resins=tuple(resin_of(job, index) for index in range(len(clamping.inlays))),
        wood=(job.board.wood_colour, job.board.wood_colour_finished),
    )


def finishing_with(clamping: Clamping, cutter: Cutter, *, scallop: float) -> tuple[Passes, tuple[Toolpath, ...]]:
    """The finishing passes, and the paths of the finish and of every second cut, with another cutter or ridge height.

    Raises CutterError for a cutter that cannot finish a radius; `clamping` is one with a surface.
    """
    assert clamping.surfacing is not None
    finishing = (SURFACE_FINISH, RESURFACE)
    steps = tuple(replace(s, cutter=cutter) if s.operation in finishing else s for s in clamping.steps)
    other = replace(clamping, steps=steps, surfacing=replace(clamping.surfacing, scallop=scallop))
    finish = _finish(other)
    assert finish is not None
    return finish, tuple(_path(other, step, finish, ()) for step in steps if step.operation in finishing)


def surfacing_of(job: Job) -> Surfacing | None:
    """How fine a job wants its surface: the ridge height, given or as its stepover leaves it."""
    if job.surface is None:
        return None
    scallop = job.surface.scallop
    if job.surface.stepover is not None:
        ball = job.cutter(job.surface.finish, "[surface] finish").radius
        surface = part_of(job).surface
        scallop = float(scallop_height(job.surface.stepover, ball, min(surface.radius_nut, surface.radius_end)))
    return Surfacing(
        scallop=DEFAULT_SCALLOP if scallop is None else scallop,
        allowance=job.surface.allowance,
        skim=job.resurface.skim if job.resurface else 0.0,
        resurface_stepdown=job.resurface.stepdown if job.resurface else Surfacing.resurface_stepdown,
        resurface_area="inlay" if job.resurface and job.resurface.area == "inlay" else "board",
        blend=job.resurface.blend if job.resurface else Surfacing.blend,
    )


def _steps(job: Job, idle: Collection[tuple[int, int]] = ()) -> Iterator[Step]:
    """The steps in order, not yet numbered, without those of `idle` (inlay, place among its cutters)."""

    def step(operation: str, name: str, inlay: int | None = None) -> Step:
        return Step(order=0, operation=operation, cutter=job.cutter(name, operation), inlay=inlay)

    if job.holes:
        yield step(HOLES, job.holes.cutter)
    if job.marks:
        yield step(WITNESS_MARKS, job.marks.cutter)
    for part in job.order:
        if part == "surface" and job.surface:
            if job.surface.rough:
                yield step(SURFACE_ROUGH, job.surface.rough)
            yield step(SURFACE_FINISH, job.surface.finish)
        elif part == "inlays":
            for index, inlay in enumerate(job.inlays):
                for place, name in enumerate(inlay.cutters):
                    if (index, place) not in idle:
                        yield step(POCKET, name, index)
                if inlay.fill != "none" and job.surface:
                    if job.marks:
                        yield step(HOVER, job.marks.cutter, index)
                    yield step(RESURFACE, job.surface.finish, index)
        elif part == "slots":
            if job.nut:
                yield step(NUT_SLOT, job.nut.cutter)
            if job.slots:
                yield step(SLOTS, job.slots.cutter)
            if job.slots and job.slots.bevel_cutter:
                yield step(BEVEL, job.slots.bevel_cutter)
        elif part == "outline" and job.outline:
            yield step(OUTLINE, job.outline.cutter)


def numbered(steps: Iterable[Step]) -> Iterator[Step]:
    """The steps with their order and file names."""
    for order, step in enumerate(steps, 1):
        about = f"-{step.inlay + 1}" if step.inlay is not None else ""
        slug = re.sub(r"[^a-z0-9]+", "-", step.cutter.name.lower()).strip("-") or "cutter"
        yield replace(step, order=order, file_name=f"{order:02d}-{step.operation}{about}-{slug}.nc")


def _finish(clamping: Clamping) -> Passes | None:
    cutter = _cutter_for(clamping, SURFACE_FINISH)
    if cutter is None or clamping.surfacing is None:
        return None
    return finishing_passes(
        clamping.board.outline, clamping.board.surface, cutter, scallop=clamping.surfacing.scallop
    )


def _pockets(job: Job, clamping: Clamping, index: int) -> tuple[PocketCut, ...]:
    inlay = clamping.inlays[index]
    cutters = [job.cutter(name, f"inlay {index + 1} cutters") for name in job.inlays[index].cutters]
    return pocket(
        inlay.area, surface=clamping.board.surface, cutters=cutters, depth=inlay.depth, safe_z=clamping.safe_z,
        # the corners that a larger cutter leaves are small, and in the way of a piece
        smallest=0.0 if job.inlays[index].piece else SMALLEST_PIECE, where=inlay.name,
    )


def _cutter_for(clamping: Clamping, operation: str) -> Cutter | None:
    return next((step.cutter for step in clamping.steps if step.operation == operation), None)


def _path(
    clamping: Clamping, step: Step, finish: Passes | None, pockets: tuple[tuple[PocketCut, ...], ...]
) -> Toolpath:
    board, surfacing, safe_z = clamping.board, clamping.surfacing, clamping.safe_z
    top = clamping.stock.thickness
    if step.operation == POCKET:
        same = [s.order for s in clamping.steps if s.operation == POCKET and s.inlay == step.inlay]
        return pockets[step.inlay or 0][same.index(step.order)].toolpath
    if step.operation in (SLOTS, NUT_SLOT, BEVEL, HOLES, ENGRAVE):
        return _slots_or_holes(clamping, step)
    if step.operation == OUTLINE and clamping.outline is not None:
        return _outline_path(clamping, step, clamping.outline)
    if step.operation == WITNESS_MARKS and clamping.marks is not None:
        return drill_marks(clamping.marks, cutter=step.cutter, top=top, safe_z=safe_z, air_z=_air(clamping))
    if step.operation == HOVER and clamping.marks is not None:
        return hover_over_marks(clamping.marks, top=top, safe_z=safe_z)
    assert surfacing is not None
    assert finish is not None
    if step.operation == SURFACE_ROUGH:
        runs = roughing_runs(
            board.outline, board.surface, step.cutter, finish=_cutter_for(clamping, SURFACE_FINISH),
            stock_top=top, allowance=surfacing.allowance,
        )
    elif step.operation == SURFACE_FINISH:
        raw = _cutter_for(clamping, SURFACE_ROUGH) is None
        proud = top - _lowest(board, step.cutter) if raw else surfacing.allowance
        runs = resurfacing_runs(
            board.outline, board.surface, step.cutter, proud=proud, stepdown=step.cutter.stepdown, last=finish, raw=raw,
        )
    else:
        inlay = clamping.inlays[step.inlay or 0]
        if surfacing.resurface_area == "inlay":
            runs = resurfacing_runs_over(
                overlay.buffer(inlay.area, surfacing.blend), board.outline, board.surface, step.cutter,
                proud=inlay.overfill, stepdown=surfacing.resurface_stepdown, last=finish,
            )
        else:
            runs = resurfacing_runs(
                board.outline, board.surface, step.cutter, proud=inlay.overfill,
                stepdown=surfacing.resurface_stepdown, last=finish, skim=surfacing.skim,
            )
    path = Toolpath.from_runs(runs, safe_z=safe_z, air_z=_air(clamping))
    return path.slowed_where_steep(feed=step.cutter.feed, plunge=step.cutter.plunge)


def _slots_or_holes(clamping: Clamping, step: Step) -> Toolpath:
    slots = clamping.nut_slot if step.operation == NUT_SLOT else clamping.slots
    if step.operation == HOLES:
        assert clamping.holes is not None
        return drilling(clamping.holes, cutter=step.cutter, top=clamping.stock.thickness, safe_z=clamping.safe_z,
                        air_z=_air(clamping))
    if step.operation == ENGRAVE:
        assert clamping.engraving is not None
        return engraving(clamping.engraving, cutter=step.cutter, top=clamping.board.surface.thickness,
                         safe_z=clamping.safe_z, air_z=_air(clamping))
    assert slots is not None
    cut = bevelling if step.operation == BEVEL else slotting
    return cut(slots, surface=clamping.finished_surface, cutter=step.cutter, air_z=_air(clamping),
               safe_z=clamping.safe_z)


def tabs_of(clamping: Clamping) -> Floats:
    """(n, 2) middles of the tabs, on the outline; none where the outline is not cut."""
    cutter, cut = _cutter_for(clamping, OUTLINE), clamping.outline
    if cutter is None or cut is None:
        return np.empty((0, 2))
    cuts = [s.lines.reshape(-1, 2) for s in (clamping.slots, clamping.nut_slot) if s is not None]
    return tab_points(
        clamping.board.outline, cut.tabs, avoid=np.concatenate([np.empty((0, 2)), *cuts]),
        width=cut.tab_width + 2 * cutter.radius, inlays=overlay.union_all([i.area for i in clamping.inlays]),
    )


def _outline_path(clamping: Clamping, step: Step, cut: OutlineCut) -> Toolpath:
    board, tabs = clamping.board, tabs_of(clamping)
    check_tabs_hold(tabs, board.outline, blank=clamping.stock.bounds, cutter=step.cutter, tab_width=cut.tab_width)
    return outlining(
        board.outline, cutter=step.cutter, top=clamping.stock.thickness, bottom=cut.bottom, tabs=tabs,
        tab_height=cut.tab_height, tab_width=cut.tab_width, safe_z=clamping.safe_z, air_z=_air(clamping),
    )


def _air(clamping: Clamping) -> float:
    """A height over the blank with nothing but air above it."""
    filled = [i.overfill for i in clamping.inlays if i.fill != "none"]
    return max(clamping.stock.thickness, clamping.board.surface.thickness + max(filled, default=0.0)) + AIR


def _lowest(board: Fingerboard, cutter: Cutter) -> float:
    """The lowest that the surface lies under a finishing cutter, mm: passes reach past the long edges."""
    points = shapely.get_coordinates(overlay.buffer(board.outline, cutter.radius, join_style="mitre"))
    on_line = np.where([[True], [False]], points[:, 1], 0.0)  # a hollow is lowest on its centre-line
    with np.errstate(invalid="ignore"):
        return float(np.nanmin(board.surface.height(points[:, 0], on_line)))
