"""Work that moved, by marks that were measured again: its move, and the first program written for it as it lies now."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from pathgen.base.arrays import Floats
from pathgen.base.errors import JobError
from pathgen.base.plain import joined
from pathgen.base.units import MM_PER, format_length, place_as_written, place_words
from pathgen.job.job import Job
from pathgen.job.marks import errors_at, moved_table, too_near
from pathgen.work.clamping import Clamping
from pathgen.work.mark_errors import named, odd_heights, odd_words, unchecked, zero_again
from pathgen.work.moved import LARGEST_SHIFT, Moved, fit_move
from pathgen.work.operations import WitnessMarks

UNEVEN = 0.5
"""How far a blank whose marks were measured before may come to lie lower: the bed is uneven, tape under it gives, mm;
common practice, no source."""


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


def measured_move(
    job: Job, clamping: Clamping, *, guessed: bool, unmeasured: str, names: tuple[str, ...] = ()
) -> Moved:
    """The move that the measured marks explain; `guessed` where a height before is that of [stock] thickness,
    `unmeasured` names marks that are in the wood and were not measured, `names` are of those that were, where they are
    not known by their numbers alone.

    Raises JobError as `move_of` does.
    """
    found = clamping.to_board(np.array([m.found for m in job.measured]))
    asked = moved_table(job)
    places = _expected(job, clamping)
    _refuse_other_units(job, clamping, places, names)
    moved = fit_move(places, found, limit=asked.limit, accuracy=asked.accuracy, names=names)
    _refuse_sunk(job, moved, asked.limit, guessed=guessed)
    if not guessed:
        _refuse_misread(moved, asked.accuracy, clamping.units)
    errors = errors_at(job, clamping, places)
    if errors.worst > asked.board_limit:
        measure = f"measure {unmeasured} too" if unmeasured else \
            "measure marks further apart, along the work and across it"
        raise too_near(job, clamping, errors, "[[measured]]", f"{measure}{errors.more_exactly(asked.board_limit)}")
    return replace(moved, errors=errors, guessed=guessed)


def _refuse_other_units(job: Job, clamping: Clamping, places: Floats, names: Sequence[str]) -> None:
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
    meant = [f"{named([k], names)}: found = {place_as_written(given[k] * factors[unit], job.units)}"
             for k in marks.tolist()]
    raise JobError("[[measured]]", f"{named(marks.tolist(), names)} would lie up to "
                   f"{format_length(float(asked[marks].max()), job.units, decimals=1)} from where they were",
                   allowed=format_length(LARGEST_SHIFT, job.units),
                   remedy=f"as numbers in {unit} they fit: if {unit} are meant, write {'; '.join(meant)}")


def _refuse_misread(moved: Moved, accuracy: float, units: str) -> None:
    """Raise JobError where a height that others check is unlike theirs: most of it would be taken for a tilt."""
    odd, off = odd_heights(moved.places, moved.rises, accuracy)
    if not odd or unchecked(moved.places):
        return
    got, again = odd_words(odd, format_length(off, units), moved.names)
    raise JobError(
        "[[measured]]", got,
        allowed=f"about {format_length(accuracy, units)} where marks are read so exactly ([moved] accuracy)",
        remedy=again + "has warped there: let it rest, or clamp it flat; if marks are read less exactly, write how "
                       "exactly as [moved] accuracy")


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
            f"X and Y as the page has them, and for Z what a caliper says of the blank's thickness beside each{less}")
    raise JobError(
        "[[measured]]", f"the marks put the blank {sunk} into the bed it lay on when they were first measured, {place}",
        allowed=f"{format_length(most, job.units)}, for a bed that is uneven and tape that gives", remedy="work cannot "
        f"sink into the bed: set Z 0 of the pointed cutter {zero_again(job.setup.z_zero)}, take the feeler's thickness "
        "off, and measure all again; compare what was written down first, too. If something that lay under the work is "
        "gone, put it back")


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
    drilled, marks = (job.marks and job.marks.drilled) or (), clamping.feature(WitnessMarks)
    places = []
    for number, measured in enumerate(job.measured, 1):
        if measured.at is not None or number <= len(drilled):
            places.append(clamping.to_board(np.array(measured.at or drilled[number - 1]))[0])
            continue
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
        raise JobError("[moved]", "before is missing, and nothing is filled", allowed=allowed, remedy=remedy)
    if asked is not None and asked <= drills:
        raise JobError("[moved] before", f"program {drills} drills the marks, which were measured: they are in the "
                       "wood", allowed=allowed, remedy=f"write {drills + 1}")
    if asked is not None and asked > last:
        raise JobError("[moved] before", f"program {asked}", allowed=allowed, remedy=remedy)
    return max(after_fill or 0, drills + 1) if asked is None else asked
