"""What a job says that may be meant, and is likely a slip: told, not refused."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.arrays import Floats
from pathgen.base.bending import LONG_FLUTES, has_long_flutes
from pathgen.base.contrast import JUST_SEEN, colour_difference
from pathgen.base.errors import Doubt
from pathgen.base.plain import joined
from pathgen.base.units import (
    SUMS,
    as_written,
    coarse_length,
    falls_short,
    fine_length,
    format_length,
    place_words,
    told_apart,
)
from pathgen.job.back import KIND as BACK
from pathgen.job.flat import opening_corners, openings_cutter, plate_corners
from pathgen.job.form import FORMS, closed_by_page, to_the_page
from pathgen.job.job import Job
from pathgen.job.larger_blank import larger_blank
from pathgen.job.nut_and_saddle import NUT
from pathgen.job.part import board_of, drawn_corners
from pathgen.job.staged import apart_doubts, poured_apart
from pathgen.job.tables import FannedScale
from pathgen.parts.back.part import Back
from pathgen.parts.fingerboard.ends import chord_across
from pathgen.parts.fingerboard.layout import centre_crossings
from pathgen.parts.fingerboard.part import Fingerboard
from pathgen.parts.fingerboard.stringing import BEHIND_ZERO_FRET, Strings
from pathgen.parts.flat.part import FlatPart
from pathgen.programs.paths import tabs_of
from pathgen.strategies.cutting_out import TAB_SLOPE
from pathgen.strategies.reach import lengths
from pathgen.strategies.tab_places import LEAST_WASTE
from pathgen.work.clamping import Clamping, KeepOut
from pathgen.work.features import Inlay, OutlineCut
from pathgen.work.mark_errors import THICKER, THINNER
from pathgen.work.operations import CutOut, Outline, RoundHoles, Slot, SurfaceRough, WitnessMarks
from pathgen.work.part import Part
from pathgen.work.thin_wood import THIN

_NOTHING_TO_CUT = 0.05  # mm of blank over the board: less than a blank lies flat to

_FLATTEST = 1016.0  # mm: flatter is a slip, or meant to be flat (common practice, no source)
_WIDE_SLOT = 1.0  # mm: tangs of fret wire are 0.5 to 0.6 wide (common practice)
_SHALLOW_SLOT = 1.0  # mm: tangs are 1.2 to 2 high (common practice)
_DEEP_RELIEF = 0.5  # mm: 0.1 to 0.3 is usual (common practice, from memory)
_HIGH_RIDGE = 0.1  # mm: more than is sanded away (common practice)
_SAME = 0.01  # mm
_THINNEST = 100.0  # parts of resin to one of catalyst: polyester takes 1 to 2 % (common practice)
_LOOSE = 0.05  # mm: a nut that much off its slot rattles, or does not go in (common practice, no source)
_FILLED = 0.99  # share of area
_WIDTHS_ALIKE = 0.3  # mm: half of it at each edge (common practice, no source)
_STRAIGHT_BY = 3  # frets at least, by which a drawn edge is taken as straight
_STRING_IN = 1.0  # mm: nearer to its edge a string is pulled off the board (common practice)
_APART = 0.5  # of the length: dowels nearer than that (common practice, no source)
_PLAY = 0.05  # mm: of a dowel in its hole (common practice, no source)
_SAWN = 1 / 3  # of the outline: more tabs hold no better, and are much to saw (common practice, no source)
_TALL = 80.0  # mm: toggle clamps with their handles up are as high (common practice, no source)
_SCALED = 20.0  # times its drawn size: further is likelier a unit left out (no source)
_CRUMB = 5.0  # mm2: smaller pieces that come loose are chips (no source)
_SEEN = 0.1  # mm: what an edge may lie off before it is seen


def doubts_of(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """Every doubt about a job's numbers, in the order of its tables; of what is cut beside its part, those of it."""
    if clamping.kind == NUT:
        yield from _nut_plate(job)
        yield from _drawn_otherwise(job, board_of(job))
        yield from of_strings(job)
    if clamping.kind == BACK and not (job.marks and job.marks.drilled):  # zero is set on this side, for both
        for number, box in enumerate(clamping.setup.keep_out, 1):
            yield from _zero_under(clamping, f"[setup] keep_out {number}", box, job.units)
    if clamping.kind not in ("", *FORMS):
        return
    if not job.units_stated:
        yield Doubt(where="units", allowed='"mm" or "in"',
                    problem=f"not given: every length without a unit of its own was taken as {job.units}",
                    remedy='write units = "mm", or "in", at the top of the job', grave=False)
    yield from clamping.doubts
    yield from _colours(clamping)
    yield from _sizes(clamping)
    yield from apart_doubts(job)
    yield from poured_apart(job, clamping.inlays)
    yield from _radius(job)
    yield from _lengths(job)
    yield from _widths(job, clamping)
    yield from _blank(job, clamping)
    yield from _no_roughing(job, clamping)
    yield from _dowels(job, clamping)
    yield from _drilled(job, clamping)
    yield from _inner_corners(job, clamping)
    yield from _mostly_tabs(job, clamping)
    yield from _no_waste_beyond(job, clamping)
    yield from _over_all(job)
    yield from _nothing_beside(job, clamping)
    yield from _drawn_otherwise(job, clamping.board)
    yield from _strings_off(job, clamping)
    yield from _mixes(job)
    yield from _said_twice(job)
    yield from of_strings(job)
    yield from _line_on_page(job)
    yield from _one_dowel(job, clamping)
    yield from _clamps(job, clamping)
    yield from _thin_floors(job, clamping)
    yield from _loose(job, clamping)
    yield from _v_before_others(job)
    yield from _sloping_for_pieces(job)
    yield from _sloping_walls(job, clamping)
    yield from _flutes(clamping)


def _radius(job: Job) -> Iterator[Doubt]:
    if job.board is None:
        return
    radius, units = job.board.radius, job.units
    if radius.nut > _FLATTEST and not math.isinf(radius.nut):
        written = radius.written or format_length(radius.nut, units)
        number = re.sub(r"[^\d.]*$", "", written)  # the same, in mm, is what slips of the unit mean
        yield Doubt(
            where="[board] radius", problem=f"{written} is nearly flat",
            allowed=f"up to {coarse_length(_FLATTEST, units)} (common practice)",
            remedy=(f'if mm are meant, write "{number} mm"' if not written.endswith("mm") else
                    "see that the number is right") + '; for a board without a curve write "flat"',
        )
    key, far = ("end", radius.end) if radius.end is not None else ("bridge", radius.bridge)
    if far is not None and far < radius.nut:
        yield Doubt(
            where="[board] radius",
            problem=f"rounder at the body ({format_length(far, units)}) than at the nut "
                    f"({format_length(radius.nut, units)})",
            allowed="a compound radius is usually flatter towards the body (common practice)",
            remedy=f"if that is not meant, change nut and {key} over",
        )


def _lengths(job: Job) -> Iterator[Doubt]:
    """A fan that is the wrong way round, and relief deeper than any string needs."""
    board, units = job.board, job.units
    if board is not None and isinstance(scale := board.scale_length, FannedScale) and scale.bass < scale.treble:
        yield Doubt(
            where="[board] scale_length",
            problem=f"bass, {format_length(scale.bass, units)}, is shorter than treble, "
                    f"{format_length(scale.treble, units)}",
            allowed="the lowest string is usually the longest (common practice)",
            remedy="if that is not meant, change bass and treble over",
        )
    if board is not None and board.relief is not None and board.relief.depth > _DEEP_RELIEF:
        yield Doubt(
            where="[board] relief depth", problem=f"{format_length(board.relief.depth, units)}, deep for a relief",
            allowed=f"{format_length(_DEEP_RELIEF, units)} or less is usual (common practice)",
            remedy="if that is not meant, make depth smaller",
        )


def _widths(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """A board narrower at its end, strings over its binding, slots that no wire holds in, ridges that nobody sands."""
    board, units, slots = job.board, job.units, clamping.feature(Slot)
    if board is not None and board.end_width < board.nut_width:
        yield Doubt(
            where="[board] end_width", problem=f"{format_length(board.end_width, units)}, less than at the nut, "
                                               f"{format_length(board.nut_width, units)}",
            allowed="a board is usually wider at its end (common practice)",
            remedy="if that is not meant, change nut_width and end_width over",
        )
    if board is not None and board.binding > board.to_outer_strings + SUMS:
        wide, inside = told_apart(board.binding, board.to_outer_strings, unit=units)
        yield Doubt(
            where="[board] binding", problem=f"{wide} wide, and the outer strings lie {inside} inside the edges: they "
            "run over the binding", allowed="a binding narrower than edge_to_string",
            remedy="if that is not meant, make binding less, or edge_to_string more: both count from the finished edge",
        )
    if board is not None and slots is not None and slots.width > _WIDE_SLOT:
        yield Doubt(
            where="[slots] width", problem=f"{format_length(slots.width, units)}, wide for a fret's tang",
            allowed=f"{format_length(_WIDE_SLOT, units)} or less is usual (common practice)",
            remedy="if that is not meant, name a thinner cutter, or correct its diameter",
        )
    if board is not None and slots is not None and slots.depth < _SHALLOW_SLOT:
        yield Doubt(
            where="[slots] depth", problem=f"{format_length(slots.depth, units)}, shallow for a fret's tang",
            allowed=f"{format_length(_SHALLOW_SLOT, units)} or more is usual (common practice)",
            remedy="if that is not meant, write the tang's height and a little more",
        )
    if clamping.surfacing is not None and clamping.surfacing.scallop > _HIGH_RIDGE:
        spaced = job.surface is not None and job.surface.stepover is not None
        high = as_written(clamping.surfacing.scallop, units)
        other = f'if mm are meant, write "{high} mm"; else, ' if units == "in" else ""
        yield Doubt(
            where="[surface] stepover" if spaced else "[surface] scallop",
            problem=f"ridges {format_length(clamping.surfacing.scallop, units)} high",
            allowed=f"{format_length(0.01, units)} to {format_length(0.02, units)}, quickly sanded away (common "
                    "practice)",
            remedy="if that is not meant, make stepover smaller: it is a length from pass to pass, not a share"
                   if spaced else f"{other}if that is not meant, make scallop smaller",
        )


def _blank(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    over, what = job.stock.thickness - job.body.thickness, clamping.board.names.part
    if job.surface is not None and -SUMS <= over < _NOTHING_TO_CUT:  # a thinner one is refused
        yield Doubt(
            where="[stock] thickness",
            problem=f"the blank, {format_length(job.stock.thickness, job.units)}, is as thick as the finished {what}",
            allowed=f"a blank thicker than the {what}: the top {'of the curve ' if job.board else ''}is else the raw "
                    "face",
            remedy=f"measure the blank as it lies, or make {job.body_name} thickness less",
        )
    if job.board is not None and job.surface is None:
        top = "flat top" if clamping.board.surface.is_flat else "radius"
        yield Doubt(
            where="[surface]", problem=f"not given: no program cuts the {top}, the blank must have it already",
            allowed="", remedy="see that it has; else add [surface], and write [stock] thickness as the raw blank is",
            grave=False,
        )


def _no_roughing(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    if job.surface and job.surface.rough and clamping.cutter(SurfaceRough) is None:
        over = max(job.stock.thickness - clamping.first_surface.thickness, 0.0)
        thick, leaves = told_apart(over, job.surface.allowance, unit=job.units)
        needed = job.cutter(job.surface.finish, "").shape == "flat-end"
        ways = ["leave rough out"] * (not needed) + ["make allowance smaller"] * (over > SUMS)
        yield Doubt(
            where="[surface] rough", grave=False,
            problem=f'"{job.surface.rough}" finds nothing to cut, and its program is left out: the blank stands '
                    f"{thick} over the surface, and roughing leaves {leaves}",
            allowed="a blank that stands higher", remedy=", or ".join(ways) or "take a thicker blank",
        )


def _drilled(job: Job, clamping: Clamping) -> Iterator[Doubt]:
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
            yield Doubt(
                where="[marks] drilled",
                problem=f"mark {worst + 1} is {format_length(float(over[worst]), job.units, decimals=2)} {way} [stock] "
                        f"thickness, {format_length(thickness, job.units)}{too}",
                allowed=f"up to {format_length(most, job.units)} {way} it (common practice)",
                remedy=f"write {top} there, or measure again" if way == "above" else
                       "measure again, Z 0 set anew first; if it is so, the blank is thinner there than the job says",
            )


def _dowels(job: Job, clamping: Clamping) -> Iterator[Doubt]:
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
            allowed=f"{_APART:.0%} of its length or more", remedy="put one at each end of the blank",
        )


def _mixes(job: Job) -> Iterator[Doubt]:
    """A part so small that no resin is mixed so."""
    tables = [("[resin]", job.resin), *((f"inlay {i} resin", inlay.resin) for i, inlay in enumerate(job.inlays, 1))]
    for where, table in tables:
        if table is not None and table.mix and max(table.mix.values()) > _THINNEST * min(table.mix.values()):
            yield Doubt(
                where=f"{where} mix", problem=" to ".join(f"{part:g} of {name}" for name, part in table.mix.items()),
                allowed=f"1:1 to {_THINNEST:g}:1, the least part a catalyst (common practice)",
                remedy="copy the ratio from the resin maker's sheet: it does not cure with too little",
            )


def _said_twice(job: Job) -> Iterator[Doubt]:
    """What [neck] says of the strings and the frets, and their own tables say otherwise."""
    neck, strings, wire = job.neck, job.strings, job.frets
    said = []
    if neck and strings:
        said.append(("action_12", neck.action_12, "[strings] action_12", strings.action_12, type(strings).action_12))
        said.append(("action_nut", neck.action_nut, "[strings] clear", strings.clear, Strings.clear))
    if neck and wire:
        said.append(("fret_height", neck.fret_height, "[frets] crown height", wire.crown.height,
                     type(wire.crown).height))
    for key, here, other, there, default in said:
        if abs(here - max(there, 0.0)) > _SAME:  # a zero fret carries the strings over slots that end under it
            one, two = told_apart(here, there, unit=job.units)
            yield Doubt(
                where=f"[neck] {key}", problem=f"{one}, and {other} is {two}"
                        + (", as it is where it is not written" if abs(there - default) < 1e-9 else ""),
                allowed="the same in both: the saddle is reckoned from the one, the nut from the other",
                remedy="write the same in both",
            )


def of_strings(job: Job) -> Iterator[Doubt]:
    """Strings held over the zero fret that should carry them, or written treble first."""
    gauges = job.strings.gauges if job.strings else ()
    rising = all(one <= other for one, other in itertools.pairwise(gauges))
    if len(set(gauges)) > 2 and rising:
        yield Doubt(
            where="[strings] gauges", allowed="bass first, the thickest on the bass side",
            problem=f"from {format_length(gauges[0], job.units)} on the bass side, none thinner than the one before",
            remedy="turn the list round, and those beside it, unless it is strung so; a left-handed board has "
                   "left_handed = true, and its list is bass first too",
        )
    if job.strings and job.board and job.board.zero_fret and job.strings.clear > 0:
        yield Doubt(
            where="[strings] clear", allowed="0 or less: with a zero fret the nut only guides",
            problem=f"{format_length(job.strings.clear, job.units)}: the strings lie that far above the zero fret, and "
                    "never touch it",
            remedy=f"leave it out for {format_length(BEHIND_ZERO_FRET, job.units)}: the slots then end under the top "
                   "of the fret, and the strings are pressed on it",
        )


def _line_on_page(job: Job) -> Iterator[Doubt]:
    """A form's line that is the page's edge, where it was likely to end at it."""
    closed = closed_by_page(job) if job.form else None
    if closed is None or job.form is None:
        return
    on_edge, page = closed
    yield Doubt(
        where="[form] artwork",
        problem=f"what is filled reaches the page's edge along {coarse_length(on_edge, job.units)}, and the form goes "
                "further: there the page's edge is cut as part of the line",
        allowed="a line that is drawn, or runs out through the form's edge", remedy=to_the_page(job, page),
    )


def _one_dowel(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """Layers of a form on one dowel, on which they turn."""
    if job.form is None or job.form.layers == 1 or not isinstance(clamping.board, FlatPart):
        return
    if sum(bore.depth is None for bore in clamping.board.bores) == 1:
        yield Doubt(
            where="[[hole]]",
            problem=f"one hole through each of the {job.form.layers} layers of the {clamping.kind or 'form'}: they "
                    "turn on its dowel",
            allowed="two holes or more in each piece", remedy="add a [[hole]] that lies in it, far from the other",
        )


def _inner_corners(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """What stays in corners that point inward, of the outline and of openings, which a round cutter does not reach."""
    if job.outline is not None and (job.board or job.plate):
        where = "[outline]" if job.board else job.body_name
        left = drawn_corners(job) if job.board else plate_corners(job)
        yield from _closed(f"{where} artwork", "the outline's", left, job, "[outline] cutter", job.outline.cutter)
    if isinstance(clamping.board, FlatPart) and clamping.board.drawn:
        key, cutter = openings_cutter(job)
        yield from _closed(f"{job.body_name} {'artwork' if job.form else 'openings'}", "the openings'",
                           opening_corners(job, clamping.board), job, key, cutter.name)


def _closed(where: str, whose: str, left: BaseGeometry, job: Job, key: str, name: str) -> Iterator[Doubt]:
    if left.is_empty:
        return
    cutter = job.cutter(name, key)
    largest = max(shapely.get_parts(left), key=lambda part: float(part.area))
    x, y = shapely.get_coordinates(largest.representative_point())[0]
    long = float(lengths(np.array([largest]))[0])
    if long > cutter.diameter and _is_bay(largest):
        yield Doubt(
            where=where,
            problem=f"{whose} cutter leaves {left.area:.2f} mm2 closed, the most in a bay narrower than it, "
                    f"{coarse_length(long, job.units)} of it, near {place_words(x, y)}",
            allowed=f"bays wider than the cutter, {format_length(cutter.diameter, job.units)}",
            remedy=f"draw it wider, name a smaller {key}, or cut it out by hand",
        )
        return
    yield Doubt(
        where=where,
        problem=f"{whose} cutter leaves {left.area:.2f} mm2 in corners that point inward, the most near "
                f"{place_words(x, y)}",
        allowed="corners as round as the cutter", remedy="cut them out by hand, or take a smaller cutter",
        grave=False,
    )


_BAY = 0.6
"""Share of the box round it that a bay fills at least; a corner, being a triangle less a round, fills under half."""


def _is_bay(left: BaseGeometry) -> bool:
    """Whether what a cutter leaves is about as wide at its end as where it opens, and does not end in a point."""
    return float(left.area) > _BAY * float(shapely.minimum_rotated_rectangle(left).area)


def _mostly_tabs(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """Tabs so many or so wide that much of the outline is left to the saw."""
    cut, units = clamping.feature(Outline), job.units
    if job.outline is None or cut is None or not cut.tabs:
        return
    each, round_it = cut.tab_width + 2 * cut.tab_height / TAB_SLOPE, float(clamping.board.outline.length)
    most = int(_SAWN * round_it / each)
    if cut.tabs > most:
        yield Doubt(
            where="[outline] tabs", problem=f"{cut.tabs}, each about {coarse_length(each, units)} long with the slopes "
            f"at its ends: {coarse_length(cut.tabs * each, units)} of {coarse_length(round_it, units)} round the "
            f"{clamping.board.names.part} would be left to the saw",
            allowed=f"a third of it at most; usual are {OutlineCut.tabs}, {format_length(OutlineCut.tab_width, units)} "
                    "wide each (common practice)",
            remedy=f"write tabs = {most}" if most > 1 else "make tab_width smaller", grave=False,
        )


def _no_waste_beyond(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """A blank that ends so near the part that its outline's groove parts the waste that tabs or a skin hold on to."""
    cut, cutter, units = clamping.feature(Outline), clamping.cutter(Outline), job.units
    if job.outline is None or cut is None or cutter is None or not (cut.tabs or cut.skin):
        return
    blank = clamping.shared.blank if clamping.shared else clamping.stock.bounds
    out = (np.array(clamping.board.outline.bounds) - blank) * [1, 1, -1, -1]
    short = np.flatnonzero(out < cutter.diameter + LEAST_WASTE - SUMS)
    if not len(short) or out.min() < -SUMS:  # that is refused
        return
    names, what = clamping.board.names, "a skin holds" if cut.skin else "tabs hold"
    there = " and ".join(f"{format_length(max(float(out[k]), 0.0), units)} {names.around[k]}" for k in short)
    yield Doubt(
        where="[stock]",
        problem=f"the blank stands out {there}: the outline's cutter parts the waste there, and {what} the "
                f"{names.part} to {'loose strips alone' if len(short) > 1 else 'strips that bend'}"
                + ("; its edge there is the blank's, as it comes" if out.min() < _SEEN else ""),
        allowed=f"{format_length(cutter.diameter + LEAST_WASTE, units)} or more all round: the cutter and "
                f"{format_length(LEAST_WASTE, units)}",
        remedy=f"{larger_blank(job, clamping.board)}; or stick the blank down over its whole face, waste too",
    )


def _over_all(job: Job) -> Iterator[Doubt]:
    """A second cut asked for over the inlays alone, where what was left proud has it go over the whole."""
    if job.surface and job.surface.leave and job.resurface and job.resurface.area == "inlay":
        yield Doubt(
            where="[resurface] area", problem='"inlay", and [surface] leave has the last cut go over the whole '
                                              f"{job.body_name[1:-1]} all the same: area changes nothing",
            allowed='area = "inlay" without leave', remedy="leave one of them out: area, or leave", grave=False,
        )


def _nothing_beside(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """A wall in an inlay of one colour, or a lap under inlays that do not come: what stands beside it is not moved."""
    for inlay in clamping.inlays:
        table = job.inlays[inlay.index]
        if table.wall and len(inlay.regions) == 1:
            yield Doubt(
                where=f"{inlay.name} wall", problem="given, and one colour is cut: wall stands between colours of one "
                "inlay, and changes nothing", allowed="wall with more colours than one",
                remedy="leave it out; where wood is to stand between stages, draw it", grave=False)
        if table.lap and inlay is clamping.inlays[-1]:
            yield Doubt(
                where=f"{inlay.name} lap", problem="given, and no inlay comes later: lap goes under those, and changes "
                "nothing", allowed="lap in an inlay before others", grave=False,
                remedy="leave it out, or write it in an earlier one")


def _drawn_otherwise(job: Job, board: Part) -> Iterator[Doubt]:
    """A drawn board of other widths than are written, from which its strings, dots, nut and saddle are counted.

    A width is as written where it is so at the nut or at the last fret, or where edges as straight as may be through
    all frets come to it: edges may be curved, and ends round or stepped.
    """
    units = job.units
    if not isinstance(board, Fingerboard) or not board.drawn or job.board is None:
        return
    x = centre_crossings(board.layout.lines)
    across = np.stack([np.column_stack([x, np.full_like(x, side)]) for side in (-1.0, 1.0)], axis=1)
    wide = np.abs(np.diff(chord_across(board.finished, across)[:, :, 1], axis=1))[:, 0]
    there = np.flatnonzero(np.isfinite(wide))
    if len(there) < _STRAIGHT_BY:
        return
    one, other = there[np.array(np.triu_indices(len(there), 1))]
    slope = np.median((wide[other] - wide[one]) / (x[other] - x[one]))
    straight = np.median((wide - slope * x)[there]) + slope * np.array([0.0, board.length])
    said = {"nut_width": job.board.nut_width, "end_width": job.board.end_width}
    written = np.array(list(said.values()))
    here = (wide - 2 * board.layout.edges.half_width(x))[[0, -1]]
    far = np.fmin(np.abs(here), np.abs(straight - written)) > _WIDTHS_ALIKE
    drawn = np.where([np.isfinite(here[0]), False], written + here, straight).tolist()
    off = {key: (v, said[key]) for key, v, is_off in zip(said, drawn, far, strict=True) if is_off}
    if off:
        yield Doubt(
            where=f"[board] {' and '.join(off)}",
            problem="; ".join("{}, and the outline is drawn {} wide there".format(
                *told_apart(there, round(v, 2), unit=units)) for v, there in off.values()),
            allowed=f"the drawing's widths within {format_length(_WIDTHS_ALIKE, units)}: strings, dots, nut and saddle "
                    "count from what is written",
            remedy=f"write {' and '.join(f'{key} = {as_written(round(v, 2), units)}' for key, (v, _) in off.items())}; "
                   "or correct the drawing, its size or its place",
        )


def _strings_off(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """An outer string over the edge of a drawn board, or nearly, at a fret: its drawing and its widths disagree."""
    board = clamping.board
    if not isinstance(board, Fingerboard) or not board.drawn:
        return
    layout, lines = board.layout, board.layout.lines[1:]
    strings = np.stack([layout.strings.crossings(lines, side) for side in (board.bass_side, -board.bass_side)], axis=1)
    run = strings[:, 1] - strings[:, 0]
    inward = np.stack([run, -run], axis=1) / np.linalg.norm(run, axis=1)[:, None, None]
    room = np.einsum("nsi,nsi->ns", strings - chord_across(board.finished, lines), inward)
    off = shapely.distance(board.finished, shapely.points(strings))
    room = np.where(off > 0, -off, room)
    fret, side = np.unravel_index(np.argmin(room), room.shape) if len(room) else (0, 0)
    if not len(room) or (least := float(room[fret, side])) >= _STRING_IN:
        return
    by, (x, y) = format_length(abs(least), job.units, decimals={"mm": 2}.get(job.units)), strings[fret, side].tolist()
    yield Doubt(
        where="[outline] artwork",
        problem=f"the outer string on the {('bass', 'treble')[side]} side lies {by} "
                f"{'outside' if least < 0 else 'inside'} the drawn outline at fret {fret + 1}, near "
                f"{place_words(x, y, job.units)}",
        allowed=f"{format_length(_STRING_IN, job.units)} inside or more at every fret; strings lie by nut_width, "
                "end_width and edge_to_string in [board]",
        remedy="correct the drawing, its size or its place, or write the widths that it has",
    )


def _colours(clamping: Clamping) -> Iterator[Doubt]:
    """Colours that nobody tells apart, and a sheet of paper that is drawn behind the rest: each is a pocket."""
    colours = sorted({colour for inlay in clamping.inlays for colour, _ in inlay.regions if colour.startswith("#")})
    for one, other in itertools.combinations(colours, 2):
        if (apart := colour_difference(one, other)) < JUST_SEEN:
            yield Doubt(
                where=f"{one} and {other}", problem=f"look alike, a difference of {apart:.1f} by CIEDE2000",
                allowed=f"{JUST_SEEN:g} can just be seen; each colour is a pocket and a batch of its own",
                remedy="if one colour is meant, draw both in it", grave=False,
            )
    for inlay in clamping.inlays:
        for colour, shape in inlay.regions:
            if _behind_the_rest(shape, [other for name, other in inlay.regions if name != colour]):
                yield Doubt(
                    where=f"{inlay.name}, {colour}", problem="a rectangle behind all the rest is cut as a pocket",
                    allowed="what is meant to be cut", grave=False,
                    remedy=f'if it is the paper of the drawing, write background = ["{colour}"] for that inlay',
                )


def _sizes(clamping: Clamping) -> Iterator[Doubt]:
    """Drawings that became so much larger or smaller than drawn that their own size cannot have been meant."""
    for inlay in clamping.inlays:
        far = [(one, one.share) for one in inlay.placed
               if one.share is not None and not 1 / _SCALED <= one.share <= _SCALED]
        for one, share in far[:1]:
            wide, high = (format_length(v, clamping.units) for v in (one.width, one.height))
            times = f"{share:.0f} times" if share > 1 else f"{100 * share:.2g} % of"
            yield Doubt(
                where=f"{inlay.name} artwork", problem=f"placed {wide} by {high}, {times} its drawn size",
                allowed=f"a twentieth to {_SCALED:g} times",
                remedy="write the unit in width and height of the drawing, as 50mm or 2in: a number alone counts px, "
                       "96 to the inch; if the size that it has now is meant, leave it",
            )


def _behind_the_rest(shape: BaseGeometry, others: Sequence[BaseGeometry]) -> bool:
    """Whether an area and the others, which all lie within it, fill a rectangle."""
    whole = shape.convex_hull
    filled = overlay.union_all([shape, *others])
    return bool(others) and min(whole.area / shapely.minimum_rotated_rectangle(whole).area,
                                overlay.intersection(filled, whole).area / overlay.union(filled, whole).area) > _FILLED


def _nut_plate(job: Job) -> Iterator[Doubt]:
    plate, slot = job.nut_blank and job.nut_blank.thickness, job.nut and job.nut.width
    if plate and slot and abs(plate - slot) > _LOOSE:
        yield Doubt(
            where="[nut_blank] thickness",
            problem=f"{format_length(plate, job.units)}, and the slot for the nut is {format_length(slot, job.units)} "
                    "wide",
            allowed="as thick as the slot is wide", remedy="leave thickness out, or write the same as [nut] width",
        )


def _thin_floors(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """Wood under pockets and slots so thin that a Z a little low goes through it: a small min_web allows that."""
    cut, table = clamping.feature(Slot), "board" if job.board else "plate"
    left = [(f"{one.name} depth", one.fill != "none", *_under(clamping, one)) for one in clamping.inlays]
    if cut is not None and len(cut.lines):
        left.append(("[slots] depth", False, cut.lines.mean(axis=1), cut.floors(clamping.finished_surface)))
    for where, filled, at, web in left:
        worst = int(np.argmin(web))
        x, y = at[worst].tolist()
        if web[worst] < THIN and not falls_short(float(web[worst]), clamping.board.min_web):  # less is refused
            yield Doubt(
                where=where, problem=f"{fine_length(float(web[worst]), job.units)} of wood stays under it near "
                f"{place_words(x, y, job.units)}, as [{table}] min_web lets it",
                allowed=f"{fine_length(THIN, job.units)} or more", remedy="make depth less: with Z set a little low "
                f"the cutter goes through{', and what is filled in sticks to the bed' if filled else ''}",
            )


def _under(clamping: Clamping, inlay: Inlay) -> tuple[Floats, Floats]:
    """Places along the edges of an inlay, and the wood that stays under it there."""
    at = shapely.get_coordinates(inlay.area)
    return at, clamping.board.surface.height(*at.T) - inlay.depth


def _loose(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """Wood that hangs on to neither the part, a tab nor the blank once all round it is cut through, or as good as."""
    last, bores = clamping.step(Outline), [step.operation for step in clamping.steps
                                           if isinstance(step.operation, CutOut | RoundHoles)]
    cut = [inlay.area for inlay in clamping.inlays if _under(clamping, inlay)[1].max() < THIN]
    cut += [one.leaves_open(0.0) for one in bores if one.bottom <= 0]
    tabs = last.operation.feature.tabs if last is not None and not last.operation.feature.skin else 0
    if last is not None and tabs:
        part, beside = clamping.board.outline, last.cutter.diameter + LEAST_WASTE / 2  # thinner waste holds nothing
        cut.append(overlay.difference(overlay.buffer(part, beside), part))
    blank = shapely.box(*clamping.stock.bounds)
    pieces = shapely.get_parts(overlay.difference(blank, overlay.union_all(cut)))
    within = shapely.area(pieces) * shapely.contains(clamping.board.outline, shapely.point_on_surface(pieces))
    loose = pieces[(shapely.area(pieces) > _CRUMB) & (within < within.max())
                   & (shapely.distance(pieces, blank.exterior) > 0)]
    if last is not None and tabs and len(loose):
        near = shapely.distance(loose[:, None], shapely.points(tabs_of(clamping)))
        loose = loose[near.min(axis=1) > last.cutter.diameter + LEAST_WASTE]
    if len(loose):
        largest, more = loose[np.argmax(shapely.area(loose))], len(loose) - 1
        x, y = shapely.get_coordinates(largest.representative_point())[0]
        allowed, remedy = "wood that something holds", "make depth less"
        if last is not None and not clamping.board.outline.covers(largest):
            largest = overlay.buffer(largest, LEAST_WASTE / 2)
            wide = format_length(2 * last.cutter.diameter + LEAST_WASTE, job.units)
            allowed = f"bays that open {wide} wide or more: two cutters, and waste between"
            remedy = "draw the bay wider, take a smaller cutter"
        yield Doubt(
            where=job.body_name, allowed=allowed,
            remedy=f"{remedy}, or stick the blank down over its whole face, waste too",
            problem=f"{largest.area:.0f} mm2 of wood near {place_words(x, y, job.units)} comes loose under the cutter: "
                    f"all round it is cut through, or nearly{f'; so do {more} more' if more else ''}",
        )


def _clamps(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    if not clamping.setup.keep_out and clamping.shared and job.setup.keep_out:
        yield Doubt(
            where="[setup] keep_out",
            problem=f"what {job.path.name} says of clamps is for that part alone: on the common blank it is not used, "
                    "and nothing was checked against them",
            allowed="the clamps that hold the blank, in the job of the blank",
            remedy="write them into [setup] keep_out there: along and across count from margin_nut inside the common "
                   "blank's near end and the middle of its width",
        )
    elif not clamping.setup.keep_out:
        yield Doubt(
            where="[setup] keep_out", problem="no clamps are given, so nothing was checked against them",
            allowed="a box for each thing that stands on or beside the blank: { along, across, height }",
            remedy="if clamps or screws hold it, add them; with tape or vacuum leave it so", grave=False,
        )
    blank = shapely.box(*(clamping.shared.blank if clamping.shared else clamping.stock.bounds))
    for number, box in enumerate(clamping.setup.keep_out, 1):
        where = f"[setup] keep_out {number}"
        off = float(shapely.distance(box.shape, blank))
        if off > 0:
            yield Doubt(
                where=where, problem=f"stands {format_length(off, job.units, decimals=1)} off the blank",
                allowed="a clamp stands on the blank, or touches it; other things in the way may stand off",
                remedy="if it is a clamp, correct along and across: they count from " + (
                    "margin_nut inside the common blank's near end and the middle of its width" if clamping.shared else
                    f"{'the nut face' if job.board else 'X 0'} and the centre-line"),
            )
        elif overlay.intersection(box.shape, blank).area > 0 and box.height < clamping.stock.thickness:
            end, top = told_apart(box.height, clamping.stock.thickness, unit=job.units)
            yield Doubt(
                where=where, problem=f"ends {end} above the bed, lower than the blank",
                allowed=f"above the blank, {top}, where it lies over it",
                remedy="height counts from the bed, not from the blank: measure it from there",
            )
        if box.height > _TALL:
            tenth = format_length(box.height / 10, job.units)
            yield Doubt(
                where=where,
                problem=f"{format_length(box.height, job.units)} high: all rapids across the work are lifted over it",
                allowed=f"up to {coarse_length(_TALL, job.units)} is usual (common practice)",
                remedy=f"measure it from the bed; is {tenth} meant? else a lower clamp saves lifts",
            )
        yield from _zero_under(clamping, where, box, job.units)
        if box.older_names:
            yield Doubt(
                where=where, problem="x and y are older names", allowed="along and across",
                remedy="write along for x and across for y; nothing else changes", grave=False,
            )


def _v_before_others(job: Job) -> Iterator[Doubt]:
    """A v cutter with others after it, which does not rise into corners."""
    for number, inlay in enumerate(job.inlays, 1):
        vees = [name for name in inlay.cutters if job.cutter(name, "").shape == "v"]
        others = [name for name in inlay.cutters if name not in vees]
        if vees and others and inlay.cutters.index(vees[0]) < inlay.cutters.index(others[-1]):
            better = ", ".join(f'"{name}"' for name in (*others, vees[-1]))
            yield Doubt(
                where=f"{inlay.written(number)} cutters",
                problem=f'"{vees[0]}", a v cutter, stands before "{others[-1]}": its walls slope, and only one that '
                        "comes last rises into corners",
                allowed="a v last, for the corners that the others leave", remedy=f"write cutters = [{better}]",
            )


def _sloping_for_pieces(job: Job) -> Iterator[Doubt]:
    """Pockets with sloping walls for pieces that the job does not make, and whose sides nobody slopes."""
    for number, inlay in enumerate(job.inlays, 1):
        sloping = [name for name in inlay.cutters if not job.cutter(name, "").is_flat]
        if inlay.fill == "piece" and inlay.piece is None and sloping:
            yield Doubt(
                where=f"{inlay.written(number)} cutters",
                problem=f'fill = "piece", and "{sloping[0]}" leaves walls that slope: a piece with upright sides does '
                        "not go in",
                allowed="flat ends where pieces are let in", remedy="take flat ends" +
                ("; with a piece table pathgen then makes both to match" if inlay.artwork else "") +
                "; or slope each piece's sides to fit",
            )


def _zero_under(clamping: Clamping, where: str, box: KeepOut, units: str) -> Iterator[Doubt]:
    """A clamp that stands on the place that zero is set from."""
    part = clamping.board.front if isinstance(clamping.board, Back) else clamping.board
    zero, places = clamping.zero_place, {} if clamping.shared else part.places(clamping.stock)
    if clamping.begun or shapely.distance(box.shape, shapely.points(zero.at)) > 0:
        return  # zero is set, and found again by marks
    free = [name for name, place in places.items()
            if all(shapely.distance(one.shape, shapely.points(place.at)) > 0 for one in clamping.setup.keep_out)]
    alike = [name for name in free if name.startswith("blank") == ((clamping.setup.zero or "").startswith("blank"))]
    other = f'write zero = "{(alike or free)[0]}", which no clamp covers, or ' if free else ""
    # each part of a common blank says the same, once for all, in no part's own places
    near = "" if clamping.shared else f", near {place_words(*zero.at, units)}"
    other = "name another place of the common blank as zero, or " if clamping.shared else other
    yield Doubt(
        where=where, problem=f"stands on the place of X 0 Y 0, {zero.words}{near}: no cutter or edge finder comes to "
                             "it",
        allowed="[setup] zero where no clamp stands", remedy=f"{other}move the clamp clear of it",
    )


def _sloping_walls(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """A surface cut lower than the first one meets the walls of v cutters and ball ends further in."""
    skim = clamping.skim
    for step in clamping.steps if skim > 0 else ():
        inlay, cutter = step.operation.opens, step.cutter
        if inlay is None or cutter.is_flat:
            continue
        narrower = float(cutter.half_width(inlay.depth) - cutter.half_width(inlay.depth - skim))
        if narrower > 0:
            yield Doubt(
                where=f"[[inlay]] {inlay.index + 1}",
                problem=f'the walls that "{cutter.name}" leaves slope, and the second cut, '
                        f"{format_length(skim, job.units)} lower (skim), meets them "
                        f"{format_length(narrower, job.units)} further in",
                allowed="the drawing's own width, with skim = 0 or flat ends",
                remedy="write [resurface] skim = 0, or see on scrap that so much less is not missed",
                grave=narrower > _SEEN,
            )


def _flutes(clamping: Clamping) -> Iterator[Doubt]:
    """Flutes much longer than cutters so thin have them: a slip lets them reach too deep."""
    for cutter in {step.cutter.name: step.cutter for step in clamping.steps}.values():
        if has_long_flutes(cutter):
            long, tenth = (format_length(v, clamping.units) for v in (cutter.flute_length, cutter.flute_length / 10))
            yield Doubt(
                where=f'[[cutter]] "{cutter.name}" flute_length',
                problem=f"{long}, {cutter.flute_length / cutter.diameter:.0f} times its diameter",
                allowed=f"up to {LONG_FLUTES:.0f} times it (common practice)",
                remedy=f"measure how long its flutes are; is {tenth} meant?",
            )
