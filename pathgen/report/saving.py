"""The same board in fewer minutes: what a change to the job would save, and what it costs."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice, pairwise
from typing import Any

import shapely

from pathgen.base import overlay
from pathgen.base.bending import usual_layer
from pathgen.base.cutters import LOAD_FACTOR, Cutter, within
from pathgen.base.errors import PathgenError
from pathgen.base.feeds import ROUND_UP
from pathgen.base.plain import counted
from pathgen.base.toolpath import Toolpath
from pathgen.base.units import MM_PER, as_written, format_length, rounded_down, rounded_up
from pathgen.programs.around import Around
from pathgen.programs.holding import check_holds
from pathgen.programs.limits import check_keep_outs, check_limits
from pathgen.programs.paths import path_of, ridges_at_last
from pathgen.programs.plan import Plan
from pathgen.programs.shanks import check_shanks
from pathgen.programs.timing import times
from pathgen.programs.waste import MARK_GAP, left_standing
from pathgen.report.programs import Program
from pathgen.report.quicker_clearing import fewer_layers, flat_ends, named_cutter, told_cost, usual_sizes, wider_first
from pathgen.report.reckoning import CHANGE, likely_opened
from pathgen.strategies.pocketing.places import layer_depths
from pathgen.strategies.resurfacing import heights_above
from pathgen.strategies.slotting import begun_over
from pathgen.strategies.tabs import LEAST_WASTE, stands_out
from pathgen.work.clamping import Clamping, Step
from pathgen.work.features import MOST_ALLOWANCE, Cutouts, OutlineCut, Slots, Surfacing
from pathgen.work.operations import (
    CutAgain,
    CutOut,
    DowelHoles,
    NutSlot,
    Operation,
    Outline,
    Pocket,
    Slot,
    SurfaceFinish,
    SurfaceRough,
    WitnessMarks,
)

MOST = 5
LEAST_MINUTES = 0.5
MUCH = 30.0
"""Minutes that are worth a word beside the time of the whole."""
MUCH_OF_IT, LEAST_SAID = 0.1, 3.0
"""And so large a share of it, where that is so many minutes: a word about the best change alone."""
ALWAYS_SAID = 10.0
"""So many minutes are worth that word however long it all takes."""
_HAIR = 0.05
"""So little wider than their cutter (mm) slots may have been made without a thought: that takes two passes for each."""
_TRIED = 2  # of the cutters that seem quickest round the outline, how many are planned with
_SEEN = 0.1  # so little of inner corners and bays is none, mm2
_LEAST_HOLE = 1.0  # minutes that holes of one key take, from which another cutter is tried
_LEAVE = {"mm": 0.2, "in": 0.2032}  # what the advice would leave to a last cut, by units, mm


@dataclass(frozen=True, eq=False, kw_only=True)
class Change:
    """A change to the job: what to write, the clamping that it gives, the operations it touches, what it costs."""

    clamping: Clamping
    operations: tuple[type[Operation[Any]], ...]
    words: str = ""
    cost: str = ""
    pocket_layers: Callable[[Step], float] | None = None
    """By how much the change makes a pocket step longer, where it does, as a share."""


def fewer_minutes(planned: Plan, programs: Sequence[Program]) -> list[dict[str, Any]]:
    """At most five changes, the largest saving first: what to write, minutes saved, and what it costs."""
    found = changes(planned, programs, least=LEAST_MINUTES)
    return [row for row in found if row["minutes_saved"] >= LEAST_MINUTES][:MOST]


def changes(planned: Plan, programs: Sequence[Program], *, least: float = -math.inf) -> list[dict[str, Any]]:
    """The same of every change that is tried and can be cut, also those that take longer; of less than the `least`
    minutes it may be left out."""
    rows: list[dict[str, Any]] = []
    clamping, cutters = planned.clamping, flat_ends(planned)
    for change in (*_slots(clamping), *_second_cuts(clamping), *_fill_layers(clamping), *_ridges(planned),
                   *_roughing(clamping), *_level(planned, cutters)):
        saved = _saved(change, planned, programs, least=least)
        if math.isfinite(saved):
            # pockets that get other layers have other eased feeds, not known without a plan of them
            about = "; about so much, as pockets are reckoned by their layers" if change.pocket_layers and any(
                change.pocket_layers(step) != 1.0 for step in change.clamping.steps
                if isinstance(step.operation, Pocket)) else ""
            rows.append({"change": change.words, "minutes_saved": round(saved, 1), "cost": change.cost + about})
    outside = list(_round_the_outside(planned, programs, cutters))
    rows += [*outside, *_wide_holes(planned, programs, cutters), *wider_first(planned, programs),
             *fewer_layers(planned, programs, outline=not outside)]
    best: dict[str, dict[str, Any]] = {}  # one answer for a key
    for row in sorted(rows, key=lambda row: -row["minutes_saved"]):
        best.setdefault(row["change"].split(" = ")[0], row)
    return list(best.values())


def saved_by_leave(planned: Plan, programs: Sequence[Program]) -> float | None:
    """Minutes that `leave` saves beside repeating the first finish; None where the job has none."""
    clamping = planned.clamping
    if clamping.surfacing is None or not clamping.surfacing.leave:
        return None
    without = _surfaced(clamping, replace(clamping.surfacing, leave=0.0, leave_scallop=0.0))
    longer = _saved(Change(clamping=without, operations=(SurfaceFinish, CutAgain),
                           pocket_layers=_layers((clamping.surfacing.leave, clamping.surfacing.leave_scallop),
                                                   (0.0, clamping.surfacing.scallop))), planned, programs)
    return round(-longer, 1) if math.isfinite(longer) else None


def _saved(change: Change, planned: Plan, programs: Sequence[Program], *, least: float = -math.inf) -> float:
    """Minutes less than now; minus infinity where it cannot be cut so, what it changes is cut already, or rounded they
    are less than the `least` that is asked for."""
    saved, around = 0.0, replace(planned.around, clamping=change.clamping)  # most of the passes are the same
    paths: list[Toolpath] = []
    steps = {step.order: step for step in change.clamping.steps}
    try:
        if _over_marks(around):
            return -math.inf
        for program in programs:
            step, path = steps.get(program.order), program.toolpath
            if step is None:
                saved += program.minutes
                continue
            if type(step.operation) in change.operations:
                if change.clamping.done(step):
                    return -math.inf
                path = path_of(step, around)
                check_limits(path, change.clamping, step)
                saved += program.minutes - times(path, step.cutter, change.clamping.machine).total
            paths.append(path)
            if isinstance(step.operation, Pocket) and change.pocket_layers:
                saved -= program.times.cutting * (change.pocket_layers(step) - 1.0)  # rapids stay about the same
        if round(saved, 1) < least:  # it takes longer to see that it can be cut
            return -math.inf
        check_keep_outs(paths, change.clamping)
        check_holds(paths, change.clamping)
        check_shanks(paths, around)
    except PathgenError:  # of a step that has nothing left to cut, or comes off its limits
        return -math.inf
    return saved


def _over_marks(around: Around) -> bool:
    """Whether a mark that is in the wood already would be cut away."""
    marks, cutter = around.clamping.feature(WitnessMarks), around.clamping.cutter(WitnessMarks)
    if marks is None or marks.tops is None or cutter is None:
        return False
    free = left_standing(around, reach=float(cutter.half_width(marks.depth)) + MARK_GAP)
    return bool((shapely.distance(free, shapely.points(marks.places)) > MARK_GAP).any())


def _surfaced(clamping: Clamping, surfacing: Surfacing) -> Clamping:
    steps = (replace(step, operation=step.operation.surfaced_as(surfacing)) for step in clamping.steps)
    return replace(clamping, steps=tuple(steps))


def _roughing(clamping: Clamping) -> Iterator[Change]:
    """Finishing alone, where its cutter may take raw wood: one with a small rougher can be the quicker."""
    rough, finish = clamping.step(SurfaceRough), clamping.step(SurfaceFinish)
    if rough is None or finish is None or clamping.done(rough):
        return
    alone = replace(clamping, steps=tuple(step for step in clamping.steps if step is not rough))
    if finish.cutter.is_flat:
        if _at_once(clamping, finish.cutter):
            yield Change(words=f"[surface] allowance = {_stands(clamping)}", operations=(SurfaceFinish, Outline),
                         clamping=_surfaced(alone, replace(finish.operation.feature, allowance=_over(clamping))),
                         cost=f'no roughing: "{finish.cutter.name}" takes all that stands in one layer as it finishes')
        return
    yield Change(words='[surface] without its line "rough"', clamping=alone,
                 operations=(SurfaceFinish, CutAgain, Slot, NutSlot, Outline),
                 cost=f'"{finish.cutter.name}" takes the raw wood too, in layers of its stepdown, the first row of '
                      "each over its whole width at its full feed: it works hard, and wears sooner")


def _level(planned: Plan, cutters: Sequence[Cutter]) -> Iterator[Change]:
    """A level surface finished with the flat end of the job that is quickest on it, instead of a ball."""
    clamping = planned.clamping
    finish, surfacing = clamping.step(SurfaceFinish), clamping.surfacing
    rough = clamping.step(SurfaceRough)
    may = [one for one in cutters if rough or _at_once(clamping, one)]
    # of a common blank other parts may need the ball all the same, and one cutter more is fitted
    if finish is None or surfacing is None or clamping.shared or finish.cutter.is_flat or not may \
            or surfacing.table != Surfacing.table or not clamping.surface.is_level:
        return
    flat = max(may, key=lambda one: one.diameter * one.stepover * one.feed)
    level = replace(surfacing, scallop=0.0, leave_scallop=0.0, stepover=None,
                    allowance=surfacing.allowance if rough else _over(clamping))
    steps = tuple(replace(step, cutter=flat if step.operation.finishes else step.cutter) for step in clamping.steps)
    keys = "" if rough else f', rough = "{flat.name}", allowance = {_stands(clamping)}'
    gone = "".join(f", no {key}" for key in planned.asked.ridges)
    yield Change(words=f'[surface] finish = "{flat.name}"{keys}{gone}',
                 clamping=_surfaced(replace(clamping, steps=steps), level),
                 operations=(SurfaceRough, SurfaceFinish, CutAgain, Slot, NutSlot, Outline),
                 cost="no ridges on a flat top, at most faint lines where passes meet",
                 pocket_layers=_layers((surfacing.leave, surfacing.leave_scallop or surfacing.scallop),
                                       (surfacing.leave, 0.0)))


def _over(clamping: Clamping) -> float:
    """How far the blank stands over the surface as first cut, mm."""
    return clamping.stock.thickness - clamping.first_surface.thickness


def _stands(clamping: Clamping) -> str:
    """The same as an allowance that leaves nothing to a rougher."""
    return as_written(rounded_up(_over(clamping), clamping.units), clamping.units)


def _at_once(clamping: Clamping, cutter: Cutter) -> bool:
    """Whether a cutter takes that in one layer."""
    return 0.0 < _over(clamping) <= min(cutter.stepdown, MOST_ALLOWANCE)


def _round_the_outside(planned: Plan, programs: Sequence[Program], cutters: Sequence[Cutter]
                       ) -> Iterator[dict[str, Any]]:
    """The outline with the flat end that is quickest round it: of the job, or else of a usual size."""
    clamping, step = planned.clamping, planned.clamping.step(Outline)
    if step is None or clamping.shared or step.operation.feature.where != OutlineCut.where:  # of a tool of the bench
        return
    high, now = clamping.stock.thickness - step.operation.bottom, step.cutter

    def reckoned(cutter: Cutter) -> float:  # by layers and feeds alone
        return math.ceil(high / cutter.stepdown - 1e-9) / cutter.eased_feed

    for known, some in ((True, cutters), (False, usual_sizes(now, clamping))):
        wider = [one for one in some if one.diameter > now.diameter]
        for cutter in sorted((one for one in wider if reckoned(one) < reckoned(now)), key=reckoned)[:_TRIED]:
            if not _has_room(clamping, cutter):
                continue
            change = Change(clamping=_with(clamping, step, cutter=cutter), operations=(Outline,))
            more = _changes(change.clamping) > _changes(clamping)
            saved = _saved(change, planned, programs)
            if saved >= LEAST_MINUTES + CHANGE * more:
                extra = "another change of cutter; " if known and more else ""
                by = "" if known else f"; {told_cost(cutter, now, clamping.units, known)}"
                yield {"change": f"{OutlineCut.where} cutter = {named_cutter(cutter, known)}",
                       "minutes_saved": round(saved, 1),
                       "cost": f"{extra}a wider groove round the {clamping.board.names.part}{by}"}
                return


def _wide_holes(planned: Plan, programs: Sequence[Program], cutters: Sequence[Cutter]) -> Iterator[dict[str, Any]]:
    """The same of what is cleared of holes, openings and the channel, for each key that names their cutter."""
    holes = [program for program in programs if isinstance(program.step.operation, CutOut)]
    for key in dict.fromkeys(program.step.operation.feature.key for program in holes):
        own = [program for program in holes if program.step.operation.feature.key == key]
        now, minutes = own[0].step.cutter, sum(program.minutes for program in own)
        if key and now.is_flat and minutes > _LEAST_HOLE:
            yield from islice(_quicker(key, own, planned, programs, cutters), 1)


def _quicker(key: str, own: Sequence[Program], planned: Plan, programs: Sequence[Program], cutters: Sequence[Cutter]
             ) -> Iterator[dict[str, Any]]:
    clamping, now = planned.clamping, own[0].step.cutter
    cuts: list[Cutouts] = [program.step.operation.feature for program in own]
    shapes = overlay.union_all([cut.shapes for cut in cuts])
    # of a key it is asked to reach through the raw blank
    deepest = max(cut.depth for cut in cuts) + max(clamping.stock.thickness - clamping.finished_surface.thickness, 0.0)
    narrowest = min(math.sqrt(one.area / math.pi) for one in shapely.get_parts(shapes))  # half of a round hole's width

    def reckoned(cutter: Cutter) -> float:  # by rows, layers and feeds alone
        layers = (math.ceil(cut.depth / cutter.stepdown - 1e-9) * cut.shapes.area for cut in cuts)
        return sum(layers) / (cutter.diameter * cutter.stepover * cutter.feed)

    def fits(cutter: Cutter) -> bool:  # a round one is not drilled, and none keeps more of its corners
        return now.diameter < cutter.diameter <= narrowest and deepest <= cutter.flute_length and \
            likely_opened(now, shapes) - likely_opened(cutter, shapes) < _SEEN and reckoned(cutter) < reckoned(now)

    for known, some in ((True, cutters), (False, usual_sizes(now, clamping))):
        for cutter in sorted(filter(fits, some), key=reckoned)[:_TRIED]:
            steps = tuple(replace(step, cutter=cutter) if any(step is one.step for one in own) else step
                          for step in clamping.steps)
            changed = replace(clamping, steps=steps)
            more = bool(clamping.shared) or _changes(changed) > _changes(clamping)
            kinds = tuple({type(program.step.operation) for program in own})
            saved = _saved(Change(clamping=changed, operations=kinds), planned, programs)
            if saved >= LEAST_MINUTES + CHANGE * more:
                cost = told_cost(cutter, now, clamping.units, known) if more or not known else \
                    "no more changes of cutter"
                yield {"change": f"{key} = {named_cutter(cutter, known)}", "minutes_saved": round(saved, 1),
                       "cost": cost}


def _has_room(clamping: Clamping, cutter: Cutter) -> bool:
    """Whether there is wood round the part for a cutter's groove and waste: no inner corner, narrow bay or dowel."""
    part, wide = clamping.board.outline, cutter.diameter + LEAST_WASTE
    dowels = clamping.feature(DowelHoles)
    near = dowels is not None and bool((shapely.distance(part, shapely.points(dowels.at))
                                        < wide + dowels.diameter / 2.0).any())
    closed = overlay.buffer(overlay.buffer(part, wide), -wide)
    return not near and bool(closed.area - part.area < _SEEN and stands_out(part, clamping.blank).min() >= wide)


def _with(clamping: Clamping, step: Step, **new: Any) -> Clamping:
    """The same but for some values of one step."""
    return replace(clamping, steps=tuple(replace(one, **new) if one is step else one for one in clamping.steps))


def _changes(clamping: Clamping) -> int:
    """How often a cutter is changed."""
    return sum(one.cutter.name != two.cutter.name for one, two in pairwise(clamping.steps))


def _slots(clamping: Clamping) -> Iterator[Change]:
    step = clamping.step(Slot)
    if step is None:
        return
    slots: Slots = step.operation.feature
    through, unit = bool(slots.through.all()), clamping.units

    def change(words: str, cost: str, **new: Any) -> Change:
        return Change(words=words, clamping=_with(clamping, step, **new), operations=(Slot,), cost=cost)

    if (slots.entry or ("peck" if through else "ramp")) == "ramp":
        cost = "straight down by pecks " + ("in the waste beside the board" if through else "into wood at the ends")
        yield change('[slots] entry = "peck"', cost, operation=Slot(replace(slots, entry="peck")))
    else:
        yield change('[slots] entry = "ramp"', "for a cutter that never goes straight down",
                     operation=Slot(replace(slots, entry="ramp")))
    wider = slots.width - step.cutter.diameter
    if 0.0 < wider <= _HAIR + 1e-9:
        yield change(f"[slots] width = {_exactly(step.cutter.diameter, unit)}",
                     f"slots as wide as the cutter, {format_length(wider, unit)} narrower: see that the wire still "
                     "goes in", operation=Slot(replace(slots, width=step.cutter.diameter)))
    if any(other.cutter.name == step.cutter.name for other in clamping.steps if isinstance(other.operation, Pocket)):
        return  # `fewer_layers` tells what its stepdown saves in both
    deepest = begun_over(slots, surface=clamping.finished_surface, cutter=step.cutter, ridges=ridges_at_last(clamping))
    layers = math.ceil(deepest / step.cutter.stepdown - 1e-9)
    deeper = within("stepdown", rounded_up(deepest / max(layers - 1, 1), unit))
    if layers > 1 and deeper <= usual_layer(step.cutter) * (1 + ROUND_UP):
        cutter = replace(step.cutter, stepdown=deeper)
        own = {one.order: replace(one, cutter=cutter) for one in clamping.steps if one.cutter.name == cutter.name}
        steps = tuple(own.get(one.order, one) for one in clamping.steps)
        yield Change(words=f'[[cutter]] "{cutter.name}" stepdown = {as_written(deeper, unit)}',
                     clamping=replace(clamping, steps=steps),
                     operations=tuple({type(one.operation) for one in own.values()}),
                     cost=f"layers of {format_length(deepest / (layers - 1), unit)} instead of "
                          f"{format_length(deepest / layers, unit)}: more load on a thin cutter")


def _exactly(mm: float, unit: str) -> str:
    """A length as a job in some unit holds it; in the other one where it would be rounded."""
    number = as_written(mm, unit)
    return number if math.isclose(float(number) * MM_PER[unit], mm, abs_tol=1e-9) else f'"{mm:g} mm"'


def _second_cuts(clamping: Clamping) -> Iterator[Change]:
    surfacing = clamping.surfacing
    if surfacing is None or clamping.cutter(CutAgain) is None or surfacing.leave or surfacing.skim:
        return
    flat = all(s.cutter.is_flat for s in clamping.steps if isinstance(s.operation, Pocket))
    leave = _LEAVE[clamping.units]
    if flat and clamping.stock.thickness - clamping.board.surface.thickness >= leave:
        left = replace(surfacing, leave=leave, leave_scallop=leave / 2, resurface_area="board")
        yield Change(words=f"[surface] leave = {as_written(leave, clamping.units)}",
                     clamping=_surfaced(clamping, left), operations=(SurfaceFinish, CutAgain),
                     cost="nothing is at its final height before the last cut; it ends on fresh wood and fill",
                     pocket_layers=_layers((0.0, surfacing.scallop), (leave, leave / 2)))
    if surfacing.resurface_area == "board":
        yield Change(words='[resurface] area = "inlay"',
                     clamping=_surfaced(clamping, replace(surfacing, resurface_area="inlay")),
                     operations=(CutAgain,),
                     cost="edges of the second cut may show")


def _fill_layers(clamping: Clamping) -> Iterator[Change]:
    """Thicker layers through what fills the inlays: over the cutter's whole width no more than `LOAD_FACTOR` lets a
    tooth take, and half of its stepdown at most, as fill is harder and more brittle than wood."""
    surfacing, step = clamping.surfacing, clamping.step(CutAgain)
    if surfacing is None or step is None:
        return
    cutter = step.cutter
    high = max(one.operation.inlay.overfill for one in clamping.steps if isinstance(one.operation, CutAgain))
    deep = min(rounded_down(min(LOAD_FACTOR * cutter.stepover, 0.5) * cutter.stepdown, clamping.units),
               rounded_up(high + surfacing.skim, clamping.units))
    now, then = (len(heights_above(high, of, surfacing.skim, ridge=surfacing.scallop))
                 for of in (step.operation.at_once(cutter), deep))
    if now - then < 1 or deep <= surfacing.resurface_stepdown:
        return
    yield Change(words=f"[resurface] stepdown = {as_written(deep, clamping.units)}",
                 clamping=_surfaced(clamping, replace(surfacing, resurface_stepdown=deep)), operations=(CutAgain,),
                 cost=f"{counted(then + 1, 'layer')} through the fill instead of {now + 1}: more load, and what is "
                      "brittle may chip")


def _layers(now: tuple[float, float], then: tuple[float, float]) -> Callable[[Step], float]:
    """How many times as many layers pockets have with (proud, ridges) `then` as `now`."""
    def share(step: Step) -> float:
        depth = step.operation.depth or 0.0
        was, is_ = (len(layer_depths(step.cutter, depth + proud, ridges)) for proud, ridges in (now, then))
        return is_ / was

    return share


def _ridges(planned: Plan) -> Iterator[Change]:
    clamping, surfacing = planned.clamping, planned.clamping.surfacing
    if surfacing is None or not surfacing.scallop:
        return
    wider = 2.0 * surfacing.scallop
    gone = ", no stepover" * (surfacing.table == Surfacing.table and "stepover" in planned.asked.ridges)
    yield Change(words=f"{surfacing.table} scallop = {as_written(wider, clamping.units)}{gone}",
                 clamping=_surfaced(clamping, replace(surfacing, scallop=wider)),
                 # ramps into slots and the outline begin on top of the ridges
                 operations=(SurfaceFinish, CutAgain, Slot, NutSlot, Outline), cost="ridges twice as high to sand away",
                 pocket_layers=None if surfacing.leave else _layers((0.0, surfacing.scallop), (0.0, wider)))
