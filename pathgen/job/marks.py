"""Witness marks of a job, and how work that moved is found again by them."""

from __future__ import annotations

import math
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from functools import partial
from itertools import combinations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.arrays import Floats
from pathgen.base.errors import JobError
from pathgen.base.plain import joined
from pathgen.base.toolpath import AIR, APPROACH
from pathgen.base.units import MM_PER, as_written, format_length, place_as_written, place_words, rounded_down
from pathgen.job.job import Job
from pathgen.job.larger_blank import room_beside
from pathgen.job.tables import MovedTable
from pathgen.programs.around import Around
from pathgen.programs.waste import (
    MARK_GAP,
    board_errors,
    error_words,
    left_standing,
    nearest_inside,
    spread_places,
    within_travel,
)
from pathgen.work.clamping import CLOSE, Clamping
from pathgen.work.features import Marks
from pathgen.work.mark_errors import MarkErrors, odd_heights, odd_words, unchecked, zero_again
from pathgen.work.moved import LARGEST_SHIFT, MISTAKEN, Moved, fit_move
from pathgen.work.operations import WitnessMarks

MARK_DEPTH = 0.8
"""Of marks, where the job does not say and the cutter takes as much in one plunge, mm."""

EDGE = 3.0
"""From a mark's middle to the blank's edge, mm, where there is room: no edge lies quite where the job says."""

EDGE_STEP = 0.5
"""Where there is not, it is kept from the edge by as many of these as there is room for, mm."""

MOST_WIDER = 100
"""By so many mm at most a blank is widened to find room for marks."""

CLAMP_GAP = 8.0
"""Kept from clamps: a mark there cannot be seen under the spindle, and a clamp holds the wood where it has moved
elsewhere, mm; common practice, no source."""

UNEVEN = 0.5
"""How far a blank whose marks were measured before may come to lie lower: the bed is uneven, tape under it gives, mm;
common practice, no source."""


def check_marks(job: Job) -> None:
    """Raise JobError for marks whose keys do not go together, or without a surface."""
    if job.marks and job.marks.at is not None and job.marks.drilled is not None:
        raise JobError("[marks] drilled", "at is given too", allowed="one of both",
                       remedy="leave at out: drilled says where the marks are")
    if job.marks and not job.surface:
        raise JobError("[marks]", "there is no surface to cut a second time",
                       remedy="leave [marks] out, or add [surface]")


def marks_of(job: Job, around: Around) -> Marks | None:
    """The witness marks of a job, in the waste that no program cuts. Raises JobError where there is none."""
    if job.marks is None:
        return None
    clamping, cutter = around.clamping, job.cutter(job.marks.cutter, "[marks] cutter")
    depth = min(MARK_DEPTH, cutter.stepdown) if job.marks.depth is None else job.marks.depth
    half = float(cutter.half_width(depth))
    free = left_standing(around, reach=half + MARK_GAP)
    tops = None
    if job.marks.drilled is not None:
        drilled = clamping.to_board(np.array(job.marks.drilled))
        places, tops = drilled[:, :2], drilled[:, 2]
        _check_drilled(job, clamping, places, tops, apart=2 * half)
        _check_places(job, free, places, slack=MARK_GAP, where="[marks] drilled",
                      remedy=f"{_fits_zero(clamping, free, places)}compare its numbers and their signs with what was "
                             "measured; where they are right, move what is cut or clamped there: the mark is in the "
                             "wood and cannot move")
    elif job.marks.at is None:
        places = _spread(job, around, free, reach=half + MARK_GAP)
    else:
        places = np.array(job.marks.at, dtype=float)
        clamps = [overlay.buffer(box.shape, half + CLOSE) for box in clamping.setup.keep_out]
        _check_places(job, free, places, slack=1e-9, where="[marks] at", remedy="leave at out",
                      room=overlay.difference(free, overlay.union_all(clamps)) if clamps else free)
    on_top = np.column_stack([places, np.full(len(places), clamping.stock.thickness)])
    errors = board_errors(clamping.board, on_top, accuracy=_moved(job).accuracy)
    if job.marks.at is not None and errors.worst > _moved(job).board_limit:
        raise JobError("[marks] at", _too_near(clamping, errors), allowed=_allowed(job),
                       remedy=_further_apart(job, around, free, errors, reach=half + MARK_GAP))
    marks = Marks(places=places, depth=depth, hover=job.marks.hover, tops=tops, errors_limit=_moved(job).board_limit,
                  errors=errors)
    most = rounded_down(clamping.safe_z - marks.top(clamping.stock.thickness) - APPROACH)
    if marks.hover > most:
        raise JobError("[marks] hover", f"{marks.hover:g} mm over the highest mark reaches the height of rapids",
                       allowed=f"{most:.2f} mm or less",
                       remedy="make hover smaller, or [machine] clearance larger")
    return marks


def _wider(job: Job, around: Around, spread: Callable[[BaseGeometry], Floats], *, reach: float) -> str:
    """The least width of the blank, in whole mm, with which marks have room, by trying; nothing where none has."""
    clamping = around.clamping

    def has_room(width: float) -> bool:
        x0, _, x1, _ = clamping.stock.bounds
        free = left_standing(around, reach=reach, blank=shapely.box(x0, -width / 2, x1, width / 2))
        with suppress(JobError):
            return bool(len(spread(within_travel(_off_clamps(free, clamping), around))))
        return False

    low, high = math.ceil(clamping.stock.width), math.ceil(clamping.stock.width) + MOST_WIDER
    if clamping.shared or not has_room(high):
        return ""
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if has_room(middle) else (middle, high)
    across = float(np.abs(shapely.get_coordinates(clamping.board.outline)[:, 1]).max())
    return f"{max(high, math.ceil(2 * (across + room_beside(job)))):g}"


def _spread(job: Job, around: Around, free: BaseGeometry, *, reach: float) -> Floats:
    """(n, 2) places of marks where the job gives none, within the machine's travel, each up to `EDGE` inside the
    blank's edge as there is room where it lies. Raises JobError where there is no room for them."""
    clamping = around.clamping
    spread = partial(spread_places, board=clamping.board, where="[marks]", top=clamping.stock.thickness,
                     accuracy=_moved(job).accuracy, limit=_moved(job).board_limit,
                     clamped=bool(clamping.setup.keep_out))
    free = _off_clamps(free, clamping)
    near = within_travel(free, around)
    try:
        anywhere = spread(near)
    except JobError:
        try:
            return spread(free)  # what the machine cannot do is told of their program
        except JobError as none:
            wide = _wider(job, around, spread, reach=reach)
            larger = f"take a blank {format_length(float(wide), job.units)} wide" if wide else "take a larger blank"
            raise none.advising("take a larger blank", larger) from None
    with suppress(JobError):
        blank = shapely.box(*clamping.stock.bounds)
        rooms = [overlay.intersection(near, overlay.buffer(blank, -edge, join_style="mitre"))
                 for edge in np.arange(EDGE, 0.0, -EDGE_STEP).tolist()]
        inside = spread(near, rooms=rooms, near=2 * EDGE)
        if len(inside) == len(anywhere) and len(unchecked(inside)) <= len(unchecked(anywhere)):
            return inside
    return anywhere


def _too_near(clamping: Clamping, errors: MarkErrors) -> str:
    part = clamping.board
    if not math.isfinite(errors.worst):
        return f"the marks lie on one line: {error_words(errors)}"
    long = format_length(part.length)
    what = "parts that reach over" if clamping.shared and not clamping.steps else f"a {part.names.part}"
    long = f"{long} long" if what.startswith("a ") else long
    return f"the marks are too near each other for {what} {long}: {error_words(errors)}"


def _allowed(job: Job) -> str:
    return f"[moved] board_limit {_moved(job).board_limit:g} mm"


def _further_apart(job: Job, around: Around, free: BaseGeometry, errors: MarkErrors, *, reach: float) -> str:
    """Where marks would do, in words."""
    cannot = "by them the work cannot be found again: "
    try:
        places = _spread(job, around, free, reach=reach).tolist()
    except JobError as no_room:
        return f"{cannot}there is no better place, {no_room.remedy}"
    there = ", ".join(place_as_written(place, job.units) for place in places)
    yours = "yours as far apart" if math.isfinite(errors.worst) else "one of yours well off that line"
    return f"{cannot}leave at out for [{there}], or put {yours}{errors.more_exactly(_moved(job).board_limit)}"


def _fits_zero(clamping: Clamping, free: BaseGeometry, places: Floats) -> str:
    """What to write where marks lie in the free waste if their numbers count from another zero; nothing elsewhere."""
    others = {} if clamping.shared else clamping.board.places(clamping.stock)
    fits = next((name for name, place in others.items() if (shapely.distance(
        free, shapely.points(places - clamping.zero + place.at)) <= MARK_GAP).all()), None)
    return "" if fits is None else (
        f'the numbers fit [setup] zero = "{fits}": if X 0 and Y 0 were set there when the marks were drilled, write '
        "that again; else ")


def _check_drilled(job: Job, clamping: Clamping, places: Floats, tops: Floats, *, apart: float) -> None:
    """Raise JobError for marks that cannot be where they were written down: two in one place, or far off the top."""
    for a, b in combinations(range(len(places)), 2):
        if np.linalg.norm(places[a] - places[b]) < apart:
            raise JobError(f"[marks] drilled {b + 1}", f"lies where mark {a + 1} does", allowed="a place of its own",
                           remedy="compare its numbers and their signs with what was measured")
    off = tops - clamping.stock.thickness
    worst = int(np.argmax(np.abs(off)))
    if abs(off[worst]) > min(MISTAKEN, clamping.stock.thickness / 2):
        bed, thick = job.setup.z_zero == "bed", clamping.stock.thickness
        other, there = ("stock-top", "the raw top") if bed else ("bed", "the bed")
        as_other = np.abs(off + (thick if bed else -thick)) <= min(MISTAKEN, thick / 2)
        raise JobError(
            f"[marks] drilled {worst + 1}", f"its Z is {format_length(abs(off[worst]), job.units, decimals=2)} "
            f"{'above' if off[worst] > 0 else 'below'} the top of the blank by [stock] thickness",
            allowed=f"about {format_length(clamping.stock.thickness - clamping.z_zero, job.units)}",
            remedy=f"Z counts from {'the bed' if bed else 'the raw top'}: set Z 0 of the pointed cutter there, and "
                   "measure again" + (f', or write [setup] z_zero = "{other}" again if Z 0 was {there} when the marks '
                                      "were drilled" if as_other.all() else ""),
        )
    high = int(np.argmax(off))
    if off[high] > AIR - APPROACH:
        raise JobError(
            f"[marks] drilled {high + 1}", f"it is {format_length(float(off[high]), job.units, decimals=2)} above "
            f"[stock] thickness, {format_length(clamping.stock.thickness, job.units)}: rapids would go into the wood",
            allowed=f"up to {format_length(AIR - APPROACH, job.units)} above it",
            remedy=f"write {as_written(round(float(tops[high]), 4), job.units)} there, or measure again",
        )


def _check_places(
    job: Job, free: BaseGeometry, places: Floats, *, slack: float, where: str, remedy: str,
    room: BaseGeometry | None = None,
) -> None:
    """Raise JobError for a mark more than `slack` mm off the free waste, with the nearest place in `room`, if given."""
    for number, (x, y) in enumerate(places, 1):
        off = float(shapely.distance(free, shapely.Point(x, y)))
        if off > slack:
            if room is not None and not room.is_empty:
                there = place_as_written(nearest_inside(np.array([x, y]), room), job.units)
                remedy = f"move it to {there}, or {remedy}"
            raise JobError(where, f"mark {number} at {place_words(x, y, job.units)} lies {off:.2f} mm off the free "
                           "waste", allowed="the whole mark clear of what is cut, of clamps and of the blank's edges",
                           remedy=remedy)


def _off_clamps(free: BaseGeometry, clamping: Clamping) -> BaseGeometry:
    clamps = [c.shape for c in clamping.setup.keep_out]
    return overlay.difference(free, overlay.buffer(overlay.union_all(clamps), CLAMP_GAP)) if clamps else free


def move_of(job: Job, clamping: Clamping) -> tuple[Moved | None, int]:
    """The move that the measured marks explain, and the number of the first program written in the moved frame.

    Raises JobError where measuring errors at the marks would move the board by more than the job allows.
    """
    if not job.measured:
        return None, 0
    guessed = any(m.at is None for m in job.measured) and not (job.marks and job.marks.drilled)
    marks = clamping.feature(WitnessMarks)
    more = [str(n + 1) for n in range(len(job.measured), len(marks.places) if marks else 0)]
    unmeasured = f"mark{'s' * (len(more) > 1)} {joined(more)}" if more and not any(m.at for m in job.measured) else ""
    return measured_move(job, clamping, guessed=guessed, unmeasured=unmeasured), _first_moved(job, clamping)


def measured_move(job: Job, clamping: Clamping, *, guessed: bool, unmeasured: str) -> Moved:
    """The move that the measured marks explain; `guessed` where a height before is that of [stock] thickness,
    `unmeasured` names marks that are in the wood and were not measured.

    Raises JobError as `move_of` does.
    """
    found = clamping.to_board(np.array([m.found for m in job.measured]))
    asked = _moved(job)
    places = _expected(job, clamping)
    _refuse_other_units(job, clamping, places)
    moved = fit_move(places, found, limit=asked.limit, accuracy=asked.accuracy)
    _refuse_sunk(job, moved, asked.limit, guessed=guessed)
    if not guessed:
        _refuse_misread(moved, asked.accuracy, clamping.units)
    errors = board_errors(clamping.board, places, accuracy=asked.accuracy)
    if errors.worst > asked.board_limit:
        measure = f"measure {unmeasured} too" if unmeasured else \
            "measure marks further apart, along the work and across it"
        raise JobError("[[measured]]", _too_near(clamping, errors), allowed=_allowed(job),
                       remedy=f"{measure}{errors.more_exactly(asked.board_limit)}")
    return replace(moved, errors=errors, guessed=guessed)


def _refuse_other_units(job: Job, clamping: Clamping, places: Floats) -> None:
    """Raise JobError for marks that lie where they should, about, if their numbers are of another unit of length."""
    given = np.array([m.found for m in job.measured])

    def off(factor: float) -> Floats:
        return np.asarray(np.linalg.norm(clamping.to_board(given * factor) - places, axis=1))

    asked = off(1.0)
    if (asked <= LARGEST_SHIFT).all():
        return
    factors = {unit: per / MM_PER[job.units] for unit, per in MM_PER.items()}
    unit = max(factors, key=lambda unit: int((off(factors[unit]) <= LARGEST_SHIFT).sum()))
    marks = np.flatnonzero(off(factors[unit]) < np.minimum(asked, LARGEST_SHIFT))
    if not (asked[marks] > LARGEST_SHIFT).any():
        return
    meant = [f"mark {k + 1}: found = {place_as_written(given[k] * factors[unit], job.units)}" for k in marks.tolist()]
    raise JobError(
        "[[measured]]", f"mark{'s' if len(marks) > 1 else ''} {joined([str(k + 1) for k in marks])} would lie up to "
        f"{format_length(float(asked[marks].max()), job.units, decimals=1)} from where they were",
        allowed=format_length(LARGEST_SHIFT, job.units),
        remedy=f"as numbers in {unit} they fit: if {unit} are meant, write {'; '.join(meant)}",
    )


def _refuse_misread(moved: Moved, accuracy: float, units: str) -> None:
    """Raise JobError where a height that others check is unlike theirs: most of it would be taken for a tilt."""
    odd, off = odd_heights(moved.places, moved.rises, accuracy)
    if not odd or unchecked(moved.places):
        return
    got, again = odd_words(odd, format_length(off, units))
    raise JobError(
        "[[measured]]", got,
        allowed=f"about {format_length(accuracy, units)} where marks are read so exactly ([moved] accuracy)",
        remedy=again + "has warped there: let it rest, or clamp it flat; if marks are read less exactly, write how "
                       "exactly as [moved] accuracy",
    )


def _refuse_sunk(job: Job, moved: Moved, limit: float, *, guessed: bool) -> None:
    """Raise JobError where the heights of the marks would put the blank into the bed.

    Heights that nobody measured before (`guessed`) are held against [stock] thickness.
    """
    low, at = moved.lowest(job.stock.bounds)
    most = limit if guessed and job.setup.z_zero == "bed" else UNEVEN
    if low >= -most:
        return
    place = place_words(*at, job.units)
    sunk = format_length(-low, job.units, decimals={"mm": 2, "in": 3}[job.units])
    if guessed:
        less = "" if job.setup.z_zero == "bed" else ", less the same where Z 0 was set"
        raise JobError(
            "[[measured]]", f"the marks put the blank {sunk} into the bed it lies on, {place}, if it is "
            f"{format_length(job.stock.thickness, job.units)} thick all over",
            allowed=f"{'[moved] limit ' if most == limit else ''}{format_length(most, job.units)}",
            remedy="work cannot sink into the bed: the blank is thinner there, not moved. "
            "Write [marks] drilled, X, Y and Z of each mark as measured once they were drilled; if they were not, "
            f"X and Y as the page has them, and for Z what a caliper says of the blank's thickness beside each{less}",
        )
    raise JobError(
        "[[measured]]", f"the marks put the blank {sunk} into the bed it lay on when they were first measured, {place}",
        allowed=f"{format_length(most, job.units)}, for a bed that is uneven and tape that gives", remedy="work cannot "
        f"sink into the bed: set Z 0 of the pointed cutter {zero_again(job.setup.z_zero)}, take the feeler's thickness "
        "off, and measure all again; compare what was written down first, too. If something that lay under the work is "
        "gone, put it back",
    )


def _moved(job: Job) -> MovedTable:
    """``[moved]``, or its defaults."""
    return job.moved or MovedTable()


def check_measured(job: Job) -> None:
    """Raise JobError for measured moves that lack what they need."""
    marked = any(one.marks for one in (job, *job.part_jobs))
    if job.moved and not job.measured and (not marked or job.moved.before is not None):
        raise JobError("[moved]", "no marks were measured", remedy="add three or more [[measured]] tables, or leave "
                       "[moved] out")
    for number, measured in enumerate(job.measured, 1):
        if measured.at is None and job.marks is None:
            where, what = f"[[measured]] {number}", "at = [X, Y, Z]: where that place was before the work moved"
            if marked:  # of several parts, each with marks of its own
                raise JobError(where, "at is missing", remedy=f"add {what}, as the page of its part has it")
            raise JobError(where, "at is missing, and there are no witness marks", remedy=f"add {what}")


def _expected(job: Job, clamping: Clamping) -> Floats:
    places = []
    for number, measured in enumerate(job.measured, 1):
        if measured.at is not None:
            places.append(clamping.to_board(np.array(measured.at))[0])
            continue
        if job.marks and job.marks.drilled is not None and number <= len(job.marks.drilled):
            places.append(clamping.to_board(np.array(job.marks.drilled[number - 1]))[0])
            continue
        marks = clamping.feature(WitnessMarks)
        if marks is None or number > len(marks.places):
            raise JobError(f"[[measured]] {number}", f"there are {len(marks.places) if marks else 0} witness marks",
                           remedy="add at = [X, Y, Z]: where that place was before the work moved")
        places.append(np.array([*marks.places[number - 1], clamping.stock.thickness]))
    return np.array(places)


def _first_moved(job: Job, clamping: Clamping) -> int:
    steps = clamping.steps
    measured = (job.marks and job.marks.drilled) or any(m.at is None for m in job.measured)
    drills = next((s.order for s in steps if measured and isinstance(s.operation, WitnessMarks)), 0)
    first = next((inlay for inlay in clamping.inlays if inlay.fill != "none"), None)
    pockets = [s.order for s in steps if first and s.operation.opens is first]
    later = [s.order for s in steps if first and s.operation.inlay is first and s.order > max(pockets)]
    return first_moved(job, drills=drills, last=len(steps), after_fill=min(later, default=None))


def first_moved(job: Job, *, drills: int, last: int, after_fill: int | None) -> int:
    """The number of the first program that is written for work as it lies now: as asked, or the first after a fill.

    Raises JobError for one that is not between that which `drills` marks which were measured, 0 where none does, and
    the `last`.
    """
    asked, allowed = job.moved.before if job.moved else None, f"{drills + 1} to {last}"
    remedy = "give the number of the first program to be run after the move"
    if asked is None and after_fill is None:
        raise JobError("[moved]", "before is missing, and no inlay is filled", allowed=allowed, remedy=remedy)
    if asked is not None and asked <= drills:
        raise JobError("[moved] before", f"program {drills} drills the marks, which were measured: they are in the "
                       "wood", allowed=allowed, remedy=f"write {drills + 1}")
    if asked is not None and asked > last:
        raise JobError("[moved] before", f"program {asked}", allowed=allowed, remedy=remedy)
    return max(after_fill or 0, drills + 1) if asked is None else asked
