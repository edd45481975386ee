"""Likely slips of the blank: its size and face, how it is held, what zero, marks and dowels stand on."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator

import numpy as np
import shapely

from pathgen.base import overlay
from pathgen.base.errors import Doubt
from pathgen.base.plain import joined
from pathgen.base.units import INCH, SUMS, as_written, coarse_length, format_length, place_words, told_apart
from pathgen.job.doubts.tenfold import too_small
from pathgen.job.job import Job
from pathgen.parts.back.part import Back
from pathgen.parts.fingerboard.part import Fingerboard
from pathgen.parts.flat.part import FlatPart
from pathgen.work.clamping import Clamping, KeepOut
from pathgen.work.mark_errors import THICKER, THINNER
from pathgen.work.operations import SurfaceRough, WitnessMarks

_NOTHING_TO_CUT = 0.05  # mm of blank over the board: less than a blank lies flat to
_APART = 0.5  # of the length: dowels nearer than that (common practice, no source)
_PLAY = 0.05  # mm: of a dowel in its hole (common practice, no source)
_SHORT = 1 / 3  # of the blank: a shorter board is likelier a slip than thrift (no source)
_CLEAR = 2.0, 15.0  # mm: nearer rapids hit chips, higher ones take time (common practice, no source)
_WIDE_MARK = 3.049  # mm, or 0.12 in (common practice, no source)
_TALL = 80.0  # mm: toggle clamps with their handles up are as high (common practice, no source)
_ON = 1e-6  # mm: a place that a clamp touches, in the turned frame of a part too
_AT_BOTTOM = 0.1  # so near to its depth a mark was measured at its bottom, mm


def faced(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """A blank no thicker than what is cut from it, or that no program faces."""
    over, what = job.stock.thickness - job.body.thickness, clamping.board.names.part
    if job.surface is not None and -SUMS <= over < _NOTHING_TO_CUT:  # a thinner one is refused
        yield Doubt(
            where="[stock] thickness",
            problem=f"the blank, {format_length(job.stock.thickness, job.units)}, is as thick as the finished {what}",
            allowed=f"a blank thicker than the {what}: the top {'of the curve ' if job.board else ''}is else the raw "
                    "face",
            remedy=f"measure the blank as it lies, or make {job.body_name} thickness less")
    if job.board is not None and job.surface is None:
        top = "flat top" if clamping.board.surface.is_flat else "radius"
        yield Doubt(
            where="[surface]", problem=f"not given: no program cuts the {top}, the blank must have it already",
            allowed="", remedy="see that it has; else add [surface], and write [stock] thickness as the raw blank is",
            grave=False)


def much_longer(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """A blank several times as long as its board, which has fewer frets than are meant."""
    (x0, _, x1, _), blank = clamping.board.outline.bounds, clamping.stock.length
    if isinstance(clamping.board, Fingerboard) and not clamping.shared and x1 - x0 < _SHORT * blank:
        yield Doubt(
            where="[board] frets",
            problem=f"the board is {coarse_length(x1 - x0, job.units)} long, and the blank "
                    f"{coarse_length(blank, job.units)}",
            allowed=f"{_SHORT:.0%} of the blank or more",
            remedy="its length comes from frets and past_last_fret: write as many as it is long, also for a board "
                   "without; or correct [stock] length")


def near_the_work(job: Job, _: Clamping) -> Iterator[Doubt]:
    """Rapids that pass so low over the work that a chip or a blank lying a little high is hit."""
    yield from too_small("[machine] clearance", job.machine.clearance, _CLEAR, job.units,
                         why=": a chip, or a blank that lies a little high, is hit by rapids",
                         remedy="leave it out, or write more")


def no_roughing(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """Roughing that finds nothing to cut."""
    if job.surface and job.surface.rough and clamping.cutter(SurfaceRough) is None:
        over = max(job.stock.thickness - clamping.first_surface.thickness, 0.0)
        thick, leaves = told_apart(over, job.surface.allowance, unit=job.units)
        finish = job.cutter(job.surface.finish, "")
        needed = finish.is_flat
        if needed and SUMS < over <= finish.stepdown:
            return  # it must be named, and the finish takes that in one layer
        ways = ["leave rough out"] * (not needed) + ["make allowance smaller"] * (over > SUMS)
        yield Doubt(
            where="[surface] rough", grave=False,
            problem=f'"{job.surface.rough}" finds nothing to cut, and its program is left out: the blank stands '
                    f"{thick} over the surface, and roughing leaves {leaves}",
            allowed="a blank that stands higher", remedy=", or ".join(ways) or "take a thicker blank")


def drilled(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """Marks measured much higher or lower than the blank is thick by the job."""
    marks, thickness = clamping.feature(WitnessMarks), clamping.stock.thickness
    if marks is None or marks.tops is None:
        return
    for over, way, most in ((marks.tops - thickness, "above", THICKER), (thickness - marks.tops, "below", THINNER)):
        if over.max() > most + 1e-9:
            worst = int(np.argmax(over))
            more = [str(k + 1) for k in range(len(over)) if over[k] > most + 1e-9 and k != worst]
            too = f", and mark{'s' if more[1:] else ''} {joined(more)} {'are' if more[1:] else 'is'} {way} it too" \
                if more else ""
            top = as_written(round(float(marks.tops[worst]), 4), job.units)
            bottom = "that is how deep the mark is drilled: take Z on the top beside it, not at its bottom; else " \
                if abs(over[worst] - marks.depth) < _AT_BOTTOM else ""
            yield Doubt(
                where=clamping.drilled_key,
                problem=f"mark {worst + 1} is {format_length(float(over[worst]), job.units, decimals=2)} {way} [stock] "
                        f"thickness, {format_length(thickness, job.units)}{too}",
                allowed=f"up to {format_length(most, job.units)} {way} it (common practice)",
                remedy=f"write [stock] thickness = {top}, or measure again" if way == "above" else
                       f"{bottom}measure again, Z 0 set anew first; if it is so, the blank is thinner there than the "
                       "job says")


def wide_marks(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """Marks of a wide ball: shallow hollows, whose middle nobody tells to a hair."""
    marks, cutter = clamping.feature(WitnessMarks), clamping.cutter(WitnessMarks)
    if marks is None or cutter is None or cutter.shape != "ball-end":
        return
    if (wide := 2.0 * float(cutter.half_width(marks.depth))) > _WIDE_MARK:
        yield Doubt(
            where="[marks] cutter", problem=f'"{cutter.name}" leaves hollows {format_length(wide, job.units)} wide, '
            f"{format_length(marks.depth, job.units)} deep, whose middle is hard to tell",
            allowed=f"up to {coarse_length(_WIDE_MARK, job.units)} wide (common practice)",
            remedy="name a small flat end or a v cutter")


def dowels(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """Dowels to turn the blank over on that stand near each other: the far end swings by their play."""
    if job.channel is None or job.holes is None:
        return
    at, (x0, _, x1, _) = np.array(job.holes.at), clamping.board.outline.bounds
    apart = max(math.dist(a, b) for a, b in itertools.combinations(at, 2))
    if apart < _APART * (x1 - x0):
        middle = float(at[:, 0].mean())
        off = 2 * _PLAY * max(x1 - middle, middle - x0) / apart
        yield Doubt(
            where="[holes] at",
            problem=f"the dowels stand {coarse_length(apart, job.units)} apart, for a {clamping.board.names.part} "
                    f"{coarse_length(x1 - x0, job.units)} long: play of {format_length(_PLAY, job.units)} at each lets "
                    f"its far end lie {format_length(off, job.units, decimals={'mm': 2}.get(job.units))} off",
            allowed=f"{_APART:.0%} of its length or more", remedy="put one at each end of the blank")


def one_dowel(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """Layers of a form on one dowel, on which they turn."""
    if job.form is None or job.form.layers == 1 or not isinstance(clamping.board, FlatPart):
        return
    if sum(bore.depth is None for bore in clamping.board.bores) == 1:
        yield Doubt(
            where="[[hole]]",
            problem=f"one hole through each of the {job.form.layers} layers of the {clamping.kind or 'form'}: they "
                    "turn on its dowel",
            allowed="two holes or more in each piece", remedy="add a [[hole]] that lies in it, far from the other")


def over_all(job: Job, _: Clamping) -> Iterator[Doubt]:
    """A second cut asked for over the inlays alone, where what was left proud has it go over the whole."""
    if job.surface and job.surface.leave and job.resurface and job.resurface.area == "inlay":
        yield Doubt(where="[resurface] area", problem='"inlay", and [surface] leave has the last cut go over the whole '
                                                      f"{job.body_name[1:-1]} all the same: area changes nothing",
                    allowed='area = "inlay" without leave', remedy="leave one of them out: area, or leave", grave=False)


def clamps(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """Clamps that are not given, stand off the blank, or end too low or too high."""
    if not clamping.setup.keep_out and clamping.shared and job.setup.keep_out:
        yield Doubt(
            where="[setup] keep_out",
            problem=f"what {job.path.name} says of clamps is for that part alone: on the common blank it is not used, "
                    "and nothing was checked against them",
            allowed="the clamps that hold the blank, in the job of the blank",
            remedy="write them into [setup] keep_out there: along and across count from margin_nut inside the common "
                   "blank's near end and the middle of its width")
    elif not clamping.setup.keep_out and not clamping.setup.no_clamps:
        yield Doubt(where="[setup] keep_out", problem="no clamps are given, so nothing was checked against them",
                    allowed="a box for each thing that stands on or beside the blank: { along, across, height }",
                    remedy="if clamps or screws hold it, add them; with tape or vacuum write keep_out = []",
                    grave=False)
    blank = shapely.box(*clamping.blank)
    for number, box in enumerate(clamping.setup.keep_out, 1):
        where = f"[setup] keep_out {number}"
        off = float(shapely.distance(box.shape, blank))
        if off > 0:
            yield Doubt(
                where=where, problem=f"stands {format_length(off, job.units, decimals=1)} off the blank",
                allowed="a clamp stands on the blank, or touches it; other things in the way may stand off",
                remedy="if it is a clamp, correct along and across: they count from " + (
                    "margin_nut inside the common blank's near end and the middle of its width" if clamping.shared else
                    f"{'the nut face' if job.board else 'X 0'} and the centre-line"))
        elif overlay.intersection(box.shape, blank).area > 0 and box.height < clamping.stock.thickness:
            end, top = told_apart(box.height, clamping.stock.thickness, unit=job.units)
            yield Doubt(where=where, problem=f"ends {end} above the bed, lower than the blank",
                        allowed=f"above the blank, {top}, where it lies over it",
                        remedy="height counts from the bed, not from the blank: measure it from there")
        if box.height > _TALL:
            in_mm = box.height / INCH if job.units == "in" else 0.0
            meant = f'"{in_mm:g} mm"' if in_mm >= clamping.stock.thickness else \
                format_length(box.height / 10, job.units)
            yield Doubt(
                where=where,
                problem=f"{format_length(box.height, job.units)} high: all rapids across the work are lifted over it",
                allowed=f"up to {coarse_length(_TALL, job.units)} is usual (common practice)",
                remedy=f"measure it from the bed; is {meant} meant? else a lower clamp saves lifts")
        yield from zero_under(clamping, where, box, job.units)
        if box.older_names:
            yield Doubt(where=where, problem="x and y are older names", allowed="along and across",
                        remedy="write along for x and across for y; nothing else changes", grave=False)


def zero_under(clamping: Clamping, where: str, box: KeepOut, units: str) -> Iterator[Doubt]:
    """A clamp that stands on the place that zero is set from."""
    part = clamping.board.front if isinstance(clamping.board, Back) else clamping.board
    zero, places = clamping.zero_place, clamping.shared.places if clamping.shared else part.places(clamping.stock)
    if clamping.begun or shapely.distance(box.shape, shapely.points(zero.at)) > _ON:
        return  # zero is set, and found again by marks
    free = [name for name, place in places.items()
            if all(shapely.distance(one.shape, shapely.points(place.at)) > _ON for one in clamping.setup.keep_out)]
    alike = [name for name in free if name.startswith("blank") == ((clamping.setup.zero or "").startswith("blank"))]
    other = f'write zero = "{(alike or free)[0]}", which no clamp covers, or ' if free else ""
    # each part of a common blank says the same, once for all, in no part's own places
    near = "" if clamping.shared else f", near {place_words(*zero.at, units)}"
    yield Doubt(
        where=where, problem=f"stands on the place of X 0 Y 0, {zero.words}{near}: over it the tip can be seen from "
                             "above alone",
        allowed="[setup] zero where no clamp stands, to bring the tip down to it",
        remedy=f"{other}move the clamp clear of it; or set both axes from edges, as the page says", grave=False)
