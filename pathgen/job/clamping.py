"""What a job comes to: its part, its steps in order, and what it asks for beside them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from typing import Any

from pathgen.base.errors import JobError, Mistakes
from pathgen.base.limits import MOST_PROGRAMS
from pathgen.base.scallop import scallop_height
from pathgen.job.back import with_back
from pathgen.job.cutters import part_cutters
from pathgen.job.doubts import doubts_of
from pathgen.job.drawings import inlays_of
from pathgen.job.filling import check_fit, cut_away, let_ins, resin_of
from pathgen.job.flat import boring_of
from pathgen.job.form import form_kind
from pathgen.job.job import Job
from pathgen.job.marks import marks_of
from pathgen.job.measured import move_of
from pathgen.job.outlines import outlines_left_out
from pathgen.job.part import holes_of, nut_of, outline_of, part_of, slots_of
from pathgen.job.tables import RING_COLOUR, USUAL_SCALLOP
from pathgen.parts.fingerboard.part import Fingerboard
from pathgen.parts.flat.part import FlatPart
from pathgen.programs.around import Around
from pathgen.programs.holding import with_tabs_that_stand
from pathgen.programs.plan import Asked, Plan, Pockets, both_sides, plan, pockets_of, without_idle
from pathgen.programs.shanks import too_high_beside_slots
from pathgen.strategies.roughing import roughing_runs
from pathgen.work import operations
from pathgen.work.clamping import Clamping, Shared, Step, numbered
from pathgen.work.features import Inlay, Marks, Surfacing
from pathgen.work.fill import LEAST_LEFT, Resin, left_by_edge


def clamping_of(job: Job, shared: Shared | None = None) -> Clamping:
    """The part, the set-up and the steps that a job asks for, idle cutters' too; reads the drawings.

    `shared` is what it has in common with other parts of one blank, whose set-up the job then says. Raises JobError or
    ArtworkError for drawings that cannot be read or do not lie on the board.
    """
    clamping = placing_of(job, mistakes := Mistakes(), shared)
    mistakes.refuse()
    return clamping


def placing_of(job: Job, mistakes: Mistakes, shared: Shared | None = None) -> Clamping:
    """The clamping of a job, as far as it goes; `mistakes` gathers what is wrong with it. Drawings that do not lie on
    the board are placed all the same, those that cannot be read are left out.

    A zero that the part does not have is taken where it is by default.

    Raises JobError where the part or a step makes no sense.
    """
    board = part_of(job)
    inlays, left_out, doubts = inlays_of(job, board, mistakes)
    kind = form_kind(job)
    clamping = Clamping(title=f"{job.title}: {kind}" if kind else job.title, kind=kind,
                        units=job.units, board=board, stock=job.stock, setup=job.setup,
                        machine=job.machine, left_out=(*left_out, *outlines_left_out(job)), doubts=doubts,
                        steps=_numbered(job, _steps(job, board, inlays, None)), shared=shared)
    try:
        clamping.zero_place  # noqa: B018
    except JobError as wrong:
        with mistakes.caught():
            raise wrong
        clamping = replace(clamping, setup=replace(clamping.setup, zero=None))
    if len(clamping.steps) > MOST_PROGRAMS:
        raise JobError("[[inlay]]", f"{len(clamping.steps)} programs in all", allowed=f"{MOST_PROGRAMS} or fewer",
                       remedy="cut what has one depth and one fill as one inlay")
    if not mistakes:  # else more would only follow from them
        with mistakes.caught():
            clamping = _set_up(job, board, clamping)
    return clamping


def _set_up(job: Job, board: Fingerboard | FlatPart, clamping: Clamping) -> Clamping:
    """The same with its other side, its witness marks, and the move of the work."""
    clamping = with_back(job, clamping)
    around = Around(clamping=clamping)
    marks = marks_of(job, around)
    if marks is not None:  # they lie in the waste that all the other steps leave
        clamping = replace(clamping, steps=_numbered(job, _steps(job, board, clamping.inlays, marks)))
    if job.outline and job.outline.tab_height is None:
        clamping = with_tabs_that_stand(clamping)
    asked, known = job.moved and job.moved.before, clamping
    if asked and asked > len(clamping.steps):  # refused with the number of programs that there will be
        known = without_idle(clamping, pockets_of(clamping))[0]
    moved, moved_from = move_of(job, known)
    clamping = replace(clamping, moved=moved, moved_from=moved_from)
    return replace(clamping, under=replace(clamping.under, turned_over=clamping.begun) if clamping.under else None)


def slots_borne(job: Job, depth: float) -> float:
    """How deep slots may be, `depth` or less, for their cutter's shank to pass what is left beside them, mm."""
    shallower = replace(job, slots=job.slots and replace(job.slots, depth=depth))
    board = part_of(shallower)
    clamping = Clamping(title=job.title, units=job.units, board=board, stock=job.stock, setup=job.setup,
                        machine=job.machine, steps=numbered(_steps(shallower, board, (), None)))
    return depth - max(too_high_beside_slots(Around(clamping=clamping)), 0.0)


def _roughs(job: Job, board: Fingerboard | FlatPart, surfacing: Surfacing) -> bool:
    """Whether roughing finds something that stands higher than it leaves: its step is left out where it does not."""
    assert job.surface is not None
    first = replace(board.surface, thickness=board.surface.thickness + surfacing.leave)
    if job.stock.thickness > first.thickness + surfacing.allowance:
        return True
    cutter, finish = (job.cutter(name or "", "[surface]") for name in (job.surface.rough, job.surface.finish))
    return bool(roughing_runs(board.outline, first, cutter, finish=finish, stock_top=job.stock.thickness,
                              allowance=surfacing.allowance, blank=job.stock.bounds))


def _numbered(job: Job, steps: Iterator[Step]) -> tuple[Step, ...]:
    """The steps with their files, named for the half of a form that they cut."""
    half = form_kind(job).split(" ")[0]
    return tuple(replace(one, file_name=f"{half}-{one.file_name}") if half else one for one in numbered(steps))


def asked_of(job: Job, clamping: Clamping) -> Asked:
    """What a job asks for beside its steps: fills, pieces, the colour of the wood."""
    pieces = clamping.feature(operations.CutPieces)
    made = tuple(() if clamping.kind else let_ins(job, inlay.index, inlay) for inlay in clamping.inlays)
    away = [doubt for inlay, own in zip(clamping.inlays, made, strict=True) for colour, one in own
            for doubt in cut_away(job, inlay.index, colour, one)]
    return Asked(
        resins=tuple(
            resin_of(job, inlay.index if inlay.like is None else inlay.like) if inlay.fill == "resin" else Resin()
            for inlay in clamping.inlays),
        let_ins=made,
        wood=(pieces.colour if pieces else None, None) if pieces or not clamping.board.names.wooden else
        (job.body.wood_colour, job.body.wood_colour_finished),  # what is not of the part's wood has its own, or none
        unchosen=tuple(ring.colour for ring in job.rings if ring.colour == RING_COLOUR),
        doubts=(*doubts_of(job, clamping), *away), cutters=tuple(job.complete_cutters),
        ridges=tuple(key for key in ("scallop", "stepover", "leave_scallop")
                     if job.surface and getattr(job.surface, key) is not None),
        not_cut=tuple(_not_cut(job, clamping)),
    )


def _not_cut(job: Job, clamping: Clamping) -> Iterator[str]:
    """What such a part mostly has cut, and the job does not ask for; of a test piece the cutters that it does not try.
    """
    if not clamping.kind and job.board and not job.slots:
        yield "the fret slots (no [slots])"
    if not clamping.kind and not job.outline:
        yield "the outline (no [outline])"
    told = {step.cutter.name for step in clamping.steps}
    for key, name in part_cutters(job) if clamping.kind == "coupon" else ():
        if name not in told:
            told.add(name)
            yield f'a trial of "{name}" ({key})'


def planned_of(job: Job, clamping: Clamping | None = None) -> Plan:
    """Every path of a job, or of another clamping of it; cutters of inlays that find nothing to do have no step.

    Raises PathgenError for what cannot be cut as asked.
    """
    if clamping is None:
        clamping, pockets = without_idle_of(job, clamping_of(job))
    else:
        pockets = pockets_of(clamping)
    planned = plan(clamping, asked_of(job, clamping), pockets=pockets)
    for index, made in enumerate(planned.asked.let_ins):
        check_fit(job, clamping, index, made, planned.pockets[index])
    return planned


def plans_of(job: Job, clamping: Clamping | None = None) -> tuple[Plan, Plan | None]:
    """The plan of `planned_of`, and that of the blank's other side, where that is cut first."""
    planned = planned_of(job, clamping)
    if planned.clamping.under is None:
        return planned, None
    return both_sides(planned, planned_of(job, planned.clamping.under))


def without_idle_of(job: Job, clamping: Clamping) -> tuple[Clamping, Pockets]:
    """The clamping of `clamping_of` without the steps of cutters that find nothing to do, as it is planned; and its
    pockets, whose paths alone tell that."""
    clamping, pockets = without_idle(clamping, pockets_of(clamping))
    moved, moved_from = move_of(job, clamping)
    return replace(clamping, moved=moved, moved_from=moved_from), pockets


def surfacing_of(job: Job) -> Surfacing | None:
    """How fine a job wants its surface: the ridge height, given or as its stepover leaves it."""
    if job.surface is None:
        return None
    scallop, finish, again = job.surface.scallop, job.cutter(job.surface.finish, "[surface] finish"), job.resurface
    level = finish.shape == "flat-end"
    if level:
        scallop = 0.0
    elif job.surface.stepover is not None:
        surface = part_of(job).surface
        scallop = float(scallop_height(job.surface.stepover, finish.radius,
                                       min(surface.radius_nut, surface.radius_end)))
    return Surfacing(scallop=USUAL_SCALLOP if scallop is None else scallop, allowance=job.surface.allowance,
                     stepover=job.surface.stepover if level else None, skim=job.skim, what=_top_of(job),
                     resurface_stepdown=again.stepdown if again else Surfacing.resurface_stepdown,
                     resurface_area=again.area if again else "board", blend=again.blend if again else Surfacing.blend,
                     leave=job.surface.leave, leave_scallop=0.0 if level else job.surface.leave_ridges,
                     part="board" if job.board else "plate")


def _top_of(job: Job) -> str:
    """What the surface of a job's part is called in its words."""
    if not job.board:
        return "face"
    surface = part_of(job).surface
    return "radius" if not surface.is_flat else "flat top" if surface.is_level else "top"


def step_of(job: Job, operation: operations.Operation[Any], name: str) -> Step:
    """An operation with the job's cutter of a name, not yet numbered."""
    return Step(operation=operation, cutter=job.cutter(name, operation.name))


def _steps(job: Job, board: Fingerboard | FlatPart, inlays: tuple[Inlay, ...], marks: Marks | None) -> Iterator[Step]:
    """The steps in order, not yet numbered."""
    step = partial(step_of, job)
    surfacing, holes, outline = surfacing_of(job), holes_of(job), outline_of(job, board)
    if job.marks and marks:  # before all else: a blank that moves while anything is cut is seen by them
        yield step(operations.WitnessMarks(marks), job.marks.cutter)
    if job.holes and holes and not job.channel:
        yield step(operations.DowelHoles(holes), job.holes.cutter)
    for part in job.order:
        if part == "surface" and job.surface and surfacing:
            if job.surface.rough and _roughs(job, board, surfacing):
                yield step(operations.SurfaceRough(surfacing), job.surface.rough)
            yield step(operations.SurfaceFinish(surfacing), job.surface.finish)
        elif part == "inlays":
            for inlay in inlays:
                table = job.inlays[inlay.index]
                for nth, name in enumerate(table.cutters):
                    yield step(operations.Pocket(inlay, nth, len(table.cutters)), name)
                if inlay.fill != "none" and job.surface and surfacing:
                    if job.marks and marks:
                        yield step(operations.Hover(marks, inlay), job.marks.cutter)
                    final = all(later.fill == "none" for later in job.inlays[inlay.index + 1 :])
                    first = all(earlier.fill == "none" for earlier in job.inlays[: inlay.index])
                    passing = surfacing.resurface_area == "board" and not (
                        final or (first and surfacing.skim) or surfacing.leave) \
                        and left_by_edge(inlay, board.outline).area < LEAST_LEFT  # else it would be scraped off
                    yield step(operations.CutAgain(inlay, surfacing, final, first, passing), job.surface.finish)
        elif part == "slots" and isinstance(board, FlatPart):
            for operation, cutter in boring_of(job, board):
                yield step(operation, cutter)
        elif part == "slots" and isinstance(board, Fingerboard):
            nut, slots = nut_of(job, board), slots_of(job, board)
            if job.nut and nut:
                yield step(operations.NutSlot(nut), job.nut.cutter)
            if job.slots and slots:
                yield step(operations.Slot(slots), job.slots.cutter)
                if job.slots.bevel_cutter:
                    yield step(operations.Bevel(slots), job.slots.bevel_cutter)
        elif part == "outline" and job.outline and outline:
            yield step(operations.Outline(outline), job.outline.cutter)
