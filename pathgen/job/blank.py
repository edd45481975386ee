"""Several parts on one blank in one clamping: each from its own job file, on its own share of the blank."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace
from functools import partial

import numpy as np
import shapely
from shapely import Polygon
from shapely.affinity import affine_transform

from pathgen.artwork.transforms import rotation
from pathgen.base import overlay
from pathgen.base.arrays import Bounds, Floats
from pathgen.base.errors import JobError, Mistakes, PathgenError, all_of
from pathgen.base.plain import joined
from pathgen.base.toolpath import Toolpath
from pathgen.base.units import format_length, place_words, written_alike
from pathgen.job.clamping import clamping_of, placing_of, planned_of, without_idle_of
from pathgen.job.job import Job, head_of
from pathgen.job.marks import errors_at, moved_table
from pathgen.job.measured import check_measured, first_moved, measured_move
from pathgen.job.tables import PartTable, SetupTable
from pathgen.job.turns import turns_of
from pathgen.parts.flat.part import PLACES, FlatPart
from pathgen.programs.plan import Plan, check_spans
from pathgen.work.clamping import Along, Clamping, KeepOut, Shared, slug, turned
from pathgen.work.operations import WitnessMarks
from pathgen.work.part import Place

ALLOWED = ("stock", "setup", "machine", "part", "measured", "moved")
"""The tables that a job of several parts may have."""

NOT_SHARED = {
    "channel": ("a part cut from one side in place", "cut that part alone"),
    "form": ("a board or a plate: halves and layers of a form have sheets of their own",
             "cut it alone, or write a template as a [plate] with that artwork and face = false"),
}
"""What a part may not have that shares its blank, and what is allowed and to be done instead."""

_OF_ALL = ("measured", "moved")  # what is said of the common blank, not of one of its parts
_ALIKE = 0.01  # a measured mark is one that was drilled where they were as near to each other, mm

_ALONG: tuple[Along, ...] = ("x", "y", "-x", "-y")
_SIDES = ("near end", "lower side", "far end", "upper side")
_TOUCHING = 1e-6


def parts_on_blank(job: Job) -> tuple[tuple[str, Job], ...]:
    """(name, job) of each part: its file's name, counted where a file is named twice."""
    names = [slug(one.path.stem, "part") for one in job.part_jobs]
    counted = [f"{name}-{names[: k + 1].count(name)}" if names.count(name) > 1 else name
               for k, name in enumerate(names)]
    return tuple(zip(counted, job.part_jobs, strict=True))


def share_of(part: Job, table: PartTable) -> Polygon:
    """A part's share of the blank: its own blank, where it lies, in the frame of the common one."""
    return affine_transform(shapely.box(*part.stock.bounds), _matrix(part, table))


def _matrix(part: Job, table: PartTable) -> list[float]:
    """[a, b, d, e, x, y] of the quarter turn and the shift from a part's frame to the common blank's."""
    cos, sin = rotation(table.turn)[:2]
    x0, y0, x1, y1 = part.stock.bounds
    mx, my = (x0 + x1) / 2, (y0 + y1) / 2
    return [cos, -sin, sin, cos, table.at[0] - cos * mx + sin * my, table.at[1] - sin * mx - cos * my]


def _into_part(part: Job, table: PartTable, places: Floats) -> Floats:
    """(n, 2) places of the common blank in a part's frame."""
    a, b, d, e, x, y = _matrix(part, table)
    return np.asarray((places - [x, y]) @ np.array([[a, b], [d, e]]) + 0.0)


def _box(part: Job, table: PartTable, bounds: Bounds) -> Bounds:
    """A box of the common blank in a part's frame: quarter turns leave it one."""
    x0, y0, x1, y1 = bounds
    corners = _into_part(part, table, np.array([[x0, y0], [x1, y1]]))
    (x0, y0), (x1, y1) = corners.min(axis=0).tolist(), corners.max(axis=0).tolist()
    return x0, y0, x1, y1


def check_blank(job: Job) -> None:
    """Raise JobError for what keeps the parts from being cut out of one blank."""
    all_of(partial(_check_tables, job), partial(_zero_of, job), partial(check_measured, job),
           *(partial(_check_part, job, number) for number in range(1, len(job.parts) + 1)),
           partial(_cutters_alike, job), partial(_shares, job))


def _check_tables(job: Job) -> None:
    for name in job.tables:
        if name not in ALLOWED:
            raise JobError(head_of(name), "the job is of several parts, each with a job file of its own",
                           allowed="[[part]], [stock], [setup], [machine], [[measured]], [moved]",
                           remedy="write it in the job of its part")


def _cutters_alike(job: Job) -> None:
    cutters: dict[str, tuple[str, object]] = {}
    for number, (table, part) in enumerate(zip(job.parts, job.part_jobs, strict=True), 1):
        for cutter in part.cutters:
            known = cutters.setdefault(cutter.name, (table.job, cutter))
            if known[1] != cutter:
                raise JobError(f'[[part]] {number}, [[cutter]] "{cutter.name}"', f"{table.job} says other things of it "
                               f"than {known[0]}", allowed="one cutter of that name",
                               remedy="write both alike, or give one another name")


def _check_part(job: Job, number: int) -> None:
    """Raise JobError for what the job of one part has and may not, or says otherwise than that of the blank."""
    table, part = job.parts[number - 1], job.part_jobs[number - 1]
    where, unit = f"[[part]] {number}", job.units
    for name in part.tables:
        if name in NOT_SHARED:
            allowed, remedy = NOT_SHARED[name]
            raise JobError(f"{where} job", f"{table.job} has {head_of(name)}", allowed=allowed, remedy=remedy)
        if name in _OF_ALL:
            raise JobError(f"{where} job", f"{table.job} has {head_of(name)}", allowed="what moves is the whole "
                           "blank", remedy=f"write {head_of(name)} into {job.path.name}, each with at as the "
                           "part's page has it" if name == "measured" else f"write it into {job.path.name}")
    if part.marks and part.marks.drilled is not None:
        raise JobError(f"{where} job", f"{table.job} has [marks] drilled, counted from its own zero",
                       allowed=f"{where} drilled, counted from the zero of the common blank",
                       remedy=f"write drilled, as the part's page has it, under {where} of {job.path.name}")
    if table.drilled is not None and part.marks is None:
        raise JobError(f"{where} drilled", f"{table.job} has no [marks]", allowed="the marks that it drills",
                       remedy="add [marks] there, or leave drilled out")
    if not written_alike(part.stock.thickness, job.stock.thickness):
        raise JobError(f"{where} job", f"{table.job} is for a blank of "
                       f"{format_length(part.stock.thickness, unit)}", remedy="write the same thickness in both",
                       allowed=f"[stock] thickness {format_length(job.stock.thickness, unit)}, that of the blank")


def _shares(job: Job) -> None:
    """Every share lies on the blank, and no two meet."""
    blank, mistakes = shapely.box(*job.stock.bounds), Mistakes()
    shares = [share_of(part, table) for table, part in zip(job.parts, job.part_jobs, strict=True)]
    for number, (table, share) in enumerate(zip(job.parts, shares, strict=True), 1):
        bounds = zip(share.bounds, blank.bounds, (-1, -1, 1, 1), _SIDES, strict=True)
        past = [f"{out:.2f} mm past the {side}" for s, b, way, side in bounds if (out := (s - b) * way) > _TOUCHING]
        with mistakes.caught():
            if not past:
                continue
            raise JobError(f"[[part]] {number} at", f"the blank of {table.job} lies {' and '.join(past)} of the common "
                           "one", allowed="within [stock]", remedy="move it, or take a larger blank")
    for (i, one), (k, other) in itertools.combinations(enumerate(shares, 1), 2):
        both = overlay.intersection(one, other)
        with mistakes.caught():
            if both.area <= _TOUCHING:
                continue
            x0, y0, x1, y1 = both.bounds
            place = place_words((x0 + x1) / 2, (y0 + y1) / 2, job.units)
            raise JobError(
                f"[[part]] {k} at", f"its own blank overlaps that of part {i} by "
                f"{format_length(x1 - x0, job.units)} along and {format_length(y1 - y0, job.units)} across, round "
                f"{place}", allowed="blanks side by side: each part's cutters stay on its own",
                remedy="move one of them, or make [stock] of its job smaller")
    mistakes.refuse()


def _places_of(job: Job) -> dict[str, Place]:
    """Where X 0, Y 0 may be, in the frame of the common blank."""
    body = FlatPart(outline=shapely.box(*job.stock.bounds), thickness=job.stock.thickness, min_web=0.0)
    return {name: place for name, place in body.places(job.stock).items() if name.startswith("blank-")}


def _zero_of(job: Job) -> Place:
    """Where X 0, Y 0 is, in the frame of the common blank."""
    places = _places_of(job)
    zero = "blank-near-lower" if job.setup.zero is None else job.setup.zero
    if zero not in places:
        raise JobError("[setup] zero", f'"{zero}"', allowed=", ".join(name for name in PLACES if name in places),
                       remedy="name a place on the common blank")
    return places[zero]


def origin_of(job: Job) -> tuple[float, float]:
    """Where along 0, across 0 of the common blank lies as the machine counts: X, Y, mm."""
    x, y = _zero_of(job).at
    x, y = turned(-x, -y, job.setup.along)
    return x + 0.0, y + 0.0


def blank_clampings(job: Job, mistakes: Mistakes | None = None) -> tuple[Clamping, ...]:
    """One clamping for each part, on its share, all with the zero, the clamps and the machine of the common blank.

    Their files are numbered in the order in which all are run: so that each cutter is fitted as few times as the order
    of every part's own steps allows, and the fills of all parts are poured together. Raises JobError as the parts' own
    jobs do; with `mistakes` they are gathered as `placing_of` does, and every part goes as far as it does there.
    """
    numbers = range(1, len(job.parts) + 1)
    alone = [_alone(job, k) if mistakes is None else _as_far(job, k, mistakes) for k in numbers]
    tops = [job.stock.thickness, *(k.height for k in job.setup.keep_out)]
    tops += [one.first_surface.thickness + i.overfill for one in alone for i in one.inlays if i.fill != "none"]
    turns = turns_of(alone, [name for name, _ in parts_on_blank(job)])
    drills = [turn.number for one, own in zip(alone, turns, strict=True)
              for step, turn in zip(one.steps, own, strict=True) if isinstance(step.operation, WitnessMarks)]
    marks = _marks_of_all(job, alone)
    made = []
    for k, (clamping, (name, part), table) in enumerate(zip(alone, parts_on_blank(job), job.parts, strict=True)):
        steps = tuple(replace(step, turn=turn, file_name=f"{turn.number:02d}-{name}-{step.file_name.split('-', 1)[1]}")
                      for step, turn in zip(clamping.steps, turns[k], strict=True))
        assert clamping.shared is not None
        there = np.insert(_into_part(part, table, marks), 2, job.stock.thickness, axis=1)
        made.append(replace(
            clamping, title=f"{job.title}: part {k + 1}, {part.title}", units=job.units, steps=steps,
            shared=replace(clamping.shared, highest=max(tops), marked=min(drills, default=None),
                           errors=errors_at(job, clamping, there) if len(marks) else None,
                           limit=moved_table(job).board_limit),
        ))
    if mistakes is None:
        return _moved(job, made)
    with mistakes.caught():
        made = [*_moved(job, made)]
    return tuple(made)


def _marks_of_all(job: Job, clampings: Sequence[Clamping]) -> Floats:
    """(n, 2) the marks of all parts in the frame of the common blank."""
    every = np.empty((0, 2))
    for one, table, part in zip(clampings, job.parts, job.part_jobs, strict=True):
        marks = one.feature(WitnessMarks)
        if marks is not None:
            lie = affine_transform(shapely.multipoints(marks.places), _matrix(part, table))
            every = np.concatenate([every, shapely.get_coordinates(lie)])
    return every


def _moved(job: Job, clampings: Sequence[Clamping]) -> tuple[Clamping, ...]:
    """The clampings with the move of the whole blank, each in its own frame. Raises JobError as `move_of` does."""
    if not job.measured:
        return tuple(clampings)
    before = _first_moved(job, clampings)
    outlines = [affine_transform(one.board.outline, _matrix(part, table))
                for one, table, part in zip(clampings, job.parts, job.part_jobs, strict=True)]
    hull = FlatPart(outline=overlay.union_all(outlines).convex_hull, thickness=job.stock.thickness, min_web=0.0)
    whole = replace(clampings[0], board=hull, stock=job.stock, setup=job.setup, steps=(),
                    shared=Shared(number=0, zero=_zero_of(job), places=_places_of(job), highest=0.0,
                                  blank=job.stock.bounds))
    moved = measured_move(job, whole, guessed=_guessed(job, whole), unmeasured=_unmeasured(job, clampings, before),
                          names=_mark_names(job, clampings))
    made = []
    for clamping, table, part in zip(clampings, job.parts, job.part_jobs, strict=True):
        assert clamping.shared is not None
        a, b, d, e, x, y = _matrix(part, table)
        own = moved.seen_in([[a, d, 0.0], [b, e, 0.0], [0.0, 0.0, 1.0]], [x, y, 0.0])
        steps = tuple(replace(step, turn=step.turn and replace(
            step.turn, stays=step.turn.stays and step.number != before)) for step in clamping.steps)
        first = next((step.order for step in steps if step.number >= before), len(steps) + 1)
        made.append(replace(clamping, steps=steps, moved_from=first, shared=replace(clamping.shared, go_on=before),
                            moved=replace(own, errors=errors_at(job, clamping, own.places))))
    return tuple(made)


def _guessed(job: Job, whole: Clamping) -> bool:
    """Whether a mark was measured that nobody says to have drilled where it was to be, on top of the raw stock."""
    drilled = np.array([place for table in job.parts for place in table.drilled or ()]).reshape(-1, 3)
    at = np.array([one.at for one in job.measured])
    known = (np.abs(at[:, None] - drilled).max(axis=2) <= _ALIKE).any(axis=1)
    return bool((~known & (at[:, 2] == whole.stock.thickness - whole.z_zero)).any())


def _unmeasured(job: Job, clampings: Sequence[Clamping], before: int) -> str:
    """The marks that are in the wood once programs `before` one were run and were not all measured, by their parts."""
    at, parts = np.array([one.at for one in job.measured])[:, :2], []
    for number, (one, table) in enumerate(zip(clampings, job.parts, strict=True), 1):
        step = one.step(WitnessMarks)
        if step is None or (table.drilled is None and step.number >= before):
            continue
        marks = one.display(step.operation.feature.places)
        if (np.abs(marks[:, None] - at).max(axis=2).min(axis=1) > _ALIKE).any():
            parts.append(str(number))
    return f"the marks of part{'s' * (len(parts) > 1)} {joined(parts)}" if parts else ""


def _mark_names(job: Job, clampings: Sequence[Clamping]) -> tuple[str, ...]:
    """What was measured, as the pages of the parts have it: by part and mark; what none of them has, by its table."""
    at, names = np.array([one.at for one in job.measured])[:, :2], [f"[[measured]] {k + 1}"
                                                                   for k in range(len(job.measured))]
    for number, one in enumerate(clampings, 1):
        marks = one.feature(WitnessMarks)
        off = np.abs(one.display(marks.places)[:, None] - at).max(axis=2) if marks else np.empty((0, 0))
        for mark, k in np.argwhere(off <= _ALIKE).tolist():
            names[k] = f"mark {mark + 1} of part {number}"
    return tuple(names)


def _first_moved(job: Job, clampings: Sequence[Clamping]) -> int:
    """The number of the first program of all parts that is written for the blank as it lies now."""
    steps = [step for one in clampings for step in one.steps]
    drills = max((step.number for one, table in zip(clampings, job.parts, strict=True) if table.drilled is not None
                  for step in one.steps if isinstance(step.operation, WitnessMarks)), default=0)
    fills = [step.turn.fill_after for step in steps if step.turn and step.turn.fill_after]
    stop = min(fills, default=len(steps))
    return first_moved(job, drills=drills, last=len(steps), after_fill=stop + 1 if stop < len(steps) else None)


def blank_plans(job: Job) -> tuple[Plan, ...]:
    """The plan of each part, with those of all beside it.

    Raises JobError as the parts' own jobs do, for a cutter that comes off its part's share, and for a machine that
    cannot span all parts.
    """
    alone = []
    for number, (clamping, table, part) in enumerate(
            zip(blank_clampings(job), job.parts, job.part_jobs, strict=True), 1):
        try:
            alone.append(planned_of(part, clamping))
        except PathgenError as wrong:
            raise of_part(wrong, number, job) from None
        check_share(number, table, clamping, alone[-1].paths)
    plans = tuple(replace(one, beside=tuple(alone)) for one in alone)
    check_spans(*plans)
    return plans


def _as_far(job: Job, number: int, mistakes: Mistakes) -> Clamping:
    """The clamping of one part as far as it goes, for a picture; what is wrong with it is gathered as of that part."""
    own, (part, shared) = Mistakes(), _on_blank(job, number)
    clamping = placing_of(part, own, shared)
    for wrong in own:
        with mistakes.caught():
            raise of_part(wrong, number, job)
    return clamping


def _alone(job: Job, number: int) -> Clamping:
    """The clamping of one part as if there were no others, without cutters that find nothing to do."""
    try:
        part, shared = _on_blank(job, number)
        clamping = clamping_of(part, shared)
        idle = any(len(inlay.cutters) > 1 for inlay in part.inlays)
        return without_idle_of(part, clamping)[0] if idle else clamping
    except PathgenError as wrong:
        raise of_part(wrong, number, job) from None


def _on_blank(job: Job, number: int) -> tuple[Job, Shared]:
    """The job of one part where it lies on the common blank, and what it has in common with the others."""
    table, part = job.parts[number - 1], job.part_jobs[number - 1]
    marks = part.marks and replace(part.marks, drilled=table.drilled,
                                   at=part.marks.at if table.drilled is None else None)
    highest = max([job.stock.thickness, *(one.height for one in job.setup.keep_out)])
    return replace(part, setup=_setup(job, part, table), machine=job.machine, marks=marks,
                   moved=job.moved and replace(job.moved, before=None)), \
        Shared(number=number, zero=_in_part(_zero_of(job), part, table), highest=highest,
               places={name: _in_part(place, part, table) for name, place in _places_of(job).items()},
               blank=_box(part, table, job.stock.bounds))


def _in_part(place: Place, part: Job, table: PartTable) -> Place:
    """A place of the common blank in the frame of a part on it."""
    x, y = _into_part(part, table, np.array([place.at]))[0].tolist()
    words = place.words.replace("the blank", "the common blank").replace("picture", "picture of the whole blank")
    return Place(at=(x, y), words=words)


def _setup(job: Job, part: Job, table: PartTable) -> SetupTable:
    """The common set-up as a part sees it that lies turned."""
    quarters = (round(table.turn / 90) + _ALONG.index(job.setup.along)) % 4
    clamps = []
    for one in job.setup.keep_out:
        x0, y0, x1, y1 = _box(part, table, (one.x[0], one.y[0], one.x[1], one.y[1]))
        clamps.append(KeepOut(x=(x0, x1), y=(y0, y1), height=one.height))
    return SetupTable(z_zero=job.setup.z_zero, along=_ALONG[quarters], keep_out=type(job.setup.keep_out)(clamps),
                      feeler=job.setup.feeler)


def of_part(wrong: PathgenError, number: int, job: Job) -> JobError:
    """What is wrong with one part of a blank, said of that part; for a clamp, in the frame of the common blank."""
    table, remedy = job.parts[number - 1], wrong.remedy
    if "keep_out" in wrong.where:
        share, blank = (_span(bounds, job.units) for bounds in (
            share_of(job.part_jobs[number - 1], table).bounds, job.stock.bounds))
        remedy = f"move that clamp out of the part's way: its share of the common blank is {share}, the blank {blank}"
    where = f"[[part]] {number}, {table.job}, {wrong.where}"
    if wrong.where.startswith("[marks] drilled"):
        where = wrong.where.replace("[marks]", f"[[part]] {number}")
    return JobError(where, f"{wrong.problem} (places of its own job)", allowed=wrong.allowed, remedy=remedy)


def _span(bounds: Bounds, units: str) -> str:
    x0, y0, x1, y1 = (format_length(v, units) for v in bounds)
    return f"{x0} to {x1} along, {y0} to {y1} across"


def check_share(number: int, table: PartTable, clamping: Clamping, paths: Sequence[Toolpath]) -> None:
    """Raise JobError where a part's cutters come off its share, below the highest thing that stands on the blank."""
    assert clamping.shared is not None
    low, high = np.reshape(clamping.stock.bounds, (2, 2))
    worst, words = 1e-6, ""
    for step, path in zip(clamping.steps, paths, strict=True):
        under = np.minimum(path.points[:-1, 2], path.points[1:, 2]) < clamping.shared.highest
        points = np.concatenate([path.points[:-1][under], path.points[1:][under]])[:, :2]
        out = np.maximum(low - points, points - high).max(axis=1, initial=-np.inf) + step.cutter.radius
        if len(out) and out.max() > worst:
            worst, (x, y) = float(out.max()), points[int(np.argmax(out))].tolist()
            words = f'{step.operation.name} with "{step.cutter.name}" comes {worst:.2f} mm off its own blank, at ' \
                    f"{place_words(x, y, clamping.units)} there"
    if words:
        raise JobError(f"[[part]] {number}, {table.job}", words, allowed="cutters that stay on the part's own blank",
                       remedy=f"make its [stock] {2 * worst:.1f} mm larger; then the common blank must hold that too: "
                              "make its [stock] larger where it is full, and move the at of each part that it would "
                              "meet")
