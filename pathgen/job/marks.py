"""Witness marks of a job: where they lie in the waste, and whether the work can be found again by them."""

from __future__ import annotations

import math
from collections.abc import Callable
from contextlib import suppress
from functools import partial
from itertools import combinations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.arrays import Floats
from pathgen.base.errors import JobError, Mistakes
from pathgen.base.halving import halved
from pathgen.base.toolpath import AIR, APPROACH
from pathgen.base.units import as_written, format_length, place_as_written, place_words, rounded_down
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
from pathgen.work.mark_errors import MarkErrors, unchecked
from pathgen.work.moved import MISTAKEN

_MARK_DEPTH = 0.8  # of marks, where the job does not say and the cutter takes as much in one plunge, mm

EDGE = 3.0
"""From a mark's middle to the blank's edge, mm, where there is room: no edge lies quite where the job says."""

_EDGE_STEP = 0.5  # where there is not, it is kept from the edge by as many of these as there is room for, mm
_MOST_WIDER = 100  # by so many mm at most a blank is widened to find room for marks

CLAMP_GAP = 8.0
"""Kept from clamps: a mark there cannot be seen under the spindle, and a clamp holds the wood where it has moved
elsewhere, mm; common practice, no source."""

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
    depth = min(_MARK_DEPTH, cutter.stepdown) if job.marks.depth is None else job.marks.depth
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
    errors, limit = errors_at(job, clamping, on_top), moved_table(job).board_limit
    if job.marks.at is not None and errors.worst > limit:
        raise too_near(job, clamping, errors, "[marks] at",
                       _further_apart(job, around, free, errors, reach=half + MARK_GAP))
    marks = Marks(places=places, depth=depth, hover=job.marks.hover, tops=tops, errors_limit=limit, errors=errors)
    most = rounded_down(clamping.safe_z - marks.top(clamping.stock.thickness) - APPROACH)
    if marks.hover > most:
        raise JobError("[marks] hover", f"{marks.hover:g} mm over the highest mark reaches the height of rapids",
                       allowed=f"{most:.2f} mm or less",
                       remedy="make hover smaller, or [machine] clearance larger")
    return marks


def _wider(job: Job, around: Around, spread: Callable[[BaseGeometry], Floats], *, reach: float) -> str:
    """The least width of the blank, in whole mm, with which marks have room, by trying; nothing where none has."""
    clamping = around.clamping

    def has_room(width: int) -> bool:
        x0, _, x1, _ = clamping.stock.bounds
        free = left_standing(around, reach=reach, blank=shapely.box(x0, -width / 2, x1, width / 2))
        with suppress(JobError):
            return bool(len(spread(within_travel(_off_clamps(free, clamping), around))))
        return False

    low, high = math.ceil(clamping.stock.width), math.ceil(clamping.stock.width) + _MOST_WIDER
    if clamping.shared or not has_room(high):
        return ""
    _, high = halved(lambda width: not has_room(width), low, high, within=1)
    across = float(np.abs(shapely.get_coordinates(clamping.board.outline)[:, 1]).max())
    return f"{max(high, math.ceil(2 * (across + room_beside(job)))):g}"


def _spread(job: Job, around: Around, free: BaseGeometry, *, reach: float) -> Floats:
    """(n, 2) places of marks where the job gives none, within the machine's travel, each up to `EDGE` inside the
    blank's edge as there is room where it lies. Raises JobError where there is no room for them."""
    clamping, asked = around.clamping, moved_table(job)
    spread = partial(spread_places, board=clamping.board, where="[marks]", top=clamping.stock.thickness,
                     accuracy=asked.accuracy, limit=asked.board_limit,
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
                 for edge in np.arange(EDGE, 0.0, -_EDGE_STEP).tolist()]
        inside = spread(near, rooms=rooms, near=2 * EDGE)
        if len(inside) == len(anywhere) and len(unchecked(inside)) <= len(unchecked(anywhere)):
            return inside
    return anywhere


def moved_table(job: Job) -> MovedTable:
    """``[moved]``, or its defaults."""
    return job.moved or MovedTable()


def errors_at(job: Job, clamping: Clamping, marks: Floats) -> MarkErrors:
    """What measuring errors at (n, 3) marks in the part's frame do to it."""
    return board_errors(clamping.board, marks, accuracy=moved_table(job).accuracy)


def too_near(job: Job, clamping: Clamping, errors: MarkErrors, where: str, remedy: str) -> JobError:
    """The error for marks by which the work is not found again as exactly as the job asks."""
    part = clamping.board
    what = "parts that reach over" if clamping.shared and not clamping.steps else f"a {part.names.part}"
    long = f"{format_length(part.length)} long" if what.startswith("a ") else format_length(part.length)
    problem = f"the marks are too near each other for {what} {long}" if math.isfinite(errors.worst) else \
        "the marks lie on one line"
    return JobError(where, f"{problem}: {error_words(errors)}",
                    allowed=f"[moved] board_limit {moved_table(job).board_limit:g} mm", remedy=remedy)


def _further_apart(job: Job, around: Around, free: BaseGeometry, errors: MarkErrors, *, reach: float) -> str:
    """Where marks would do, in words."""
    cannot = "by them the work cannot be found again: "
    try:
        places = _spread(job, around, free, reach=reach).tolist()
    except JobError as no_room:
        return f"{cannot}there is no better place, {no_room.remedy}"
    there = ", ".join(place_as_written(place, job.units) for place in places)
    yours = "yours as far apart" if math.isfinite(errors.worst) else "one of yours well off that line"
    return f"{cannot}leave at out for [{there}], or put {yours}{errors.more_exactly(moved_table(job).board_limit)}"


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
                                      "were drilled" if as_other.all() else ""))
    high = int(np.argmax(off))
    if off[high] > AIR - APPROACH:
        raise JobError(
            f"[marks] drilled {high + 1}", f"it is {format_length(float(off[high]), job.units, decimals=2)} above "
            f"[stock] thickness, {format_length(clamping.stock.thickness, job.units)}: rapids would go into the wood",
            allowed=f"up to {format_length(AIR - APPROACH, job.units)} above it",
            remedy=f"write [stock] thickness = {as_written(round(float(tops[high]), 4), job.units)}, or measure again")


def _check_places(
    job: Job, free: BaseGeometry, places: Floats, *, slack: float, where: str, remedy: str,
    room: BaseGeometry | None = None,
) -> None:
    """Raise JobError for the marks more than `slack` mm off the free waste: for each, with its nearest place in `room`,
    or for the first where there is no room to move them."""
    mistakes = Mistakes()
    for number, (x, y) in enumerate(places, 1):
        off = float(shapely.distance(free, shapely.Point(x, y)))
        if off > slack:
            move = "" if room is None or room.is_empty else \
                f"move it to {place_as_written(nearest_inside(np.array([x, y]), room), job.units)}, or "
            with mistakes.caught():
                raise JobError(where, f"mark {number} at {place_words(x, y, job.units)} lies {off:.2f} mm off the free "
                               "waste", allowed="the whole mark clear of what is cut, of clamps and of the blank's "
                               "edges", remedy=f"{move}{remedy}")
            if room is None:
                break
    mistakes.refuse()


def _off_clamps(free: BaseGeometry, clamping: Clamping) -> BaseGeometry:
    clamps = [c.shape for c in clamping.setup.keep_out]
    return overlay.difference(free, overlay.buffer(overlay.union_all(clamps), CLAMP_GAP)) if clamps else free
