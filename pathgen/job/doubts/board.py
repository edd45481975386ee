"""Likely slips of a board's own numbers: its radius and widths, frets, strings, neck and nut; its drawn outline."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterator

import numpy as np
import shapely

from pathgen.base.errors import Doubt
from pathgen.base.units import SUMS, as_written, coarse_length, format_length, place_words, told_apart
from pathgen.job.job import Job
from pathgen.job.on_wood import bare_lengths, moved_square
from pathgen.job.part import board_of, crown_width, nut_of
from pathgen.parts.fingerboard.ends import chord_across
from pathgen.parts.fingerboard.fretting import CrownTable
from pathgen.parts.fingerboard.layout import centre_crossings
from pathgen.parts.fingerboard.numbers import WIDTHS
from pathgen.parts.fingerboard.part import Fingerboard
from pathgen.parts.fingerboard.stringing import BEHIND_ZERO_FRET, USUAL_CLEAR
from pathgen.work.clamping import Clamping
from pathgen.work.operations import Slot

_FLATTEST = 1016.0  # mm: flatter is a slip, or meant to be flat (common practice, no source)
_WIDE_SLOT = 1.0  # mm: tangs of fret wire are 0.5 to 0.6 wide (common practice)
_NARROW_SLOT = 0.4  # mm: the thinnest tangs are about 0.5, less what they bite (from memory)
_SHALLOW_SLOT = 1.0  # mm: tangs are 1.2 to 2 high (common practice)
_DEEP_RELIEF = 0.5  # mm: 0.1 to 0.3 is usual (common practice, from memory)
_HIGH_RIDGE = 0.1  # mm: more than is sanded away (common practice)
_NARROW_NUT, _LONG_SCALE = 25.0, 450.0  # mm: three strings want as much; mandolins are shorter (common practice)
_SAME = 0.01  # mm
_LOOSE = 0.05  # mm: a nut that much off its slot rattles, or does not go in (common practice, no source)
_WIDTHS_ALIKE = 0.3  # mm: half of it at each edge (common practice, no source)
_STRAIGHT_BY = 3  # frets at least, by which a drawn edge is taken as straight
_FACE_OFF = 0.3  # mm: a drawn nut end that far past the nut face is seen, and frets come out wrong by it (no source)
_STRING_IN = 1.0  # mm: nearer to its edge a string is pulled off the board (common practice)


def radius(job: Job, _: Clamping) -> Iterator[Doubt]:
    """A radius that is nearly flat, or rounder towards the body."""
    if job.board is None:
        return
    radius, units = job.board.radius, job.units
    if radius.nut > _FLATTEST and not math.isinf(radius.nut):
        written = radius.written or format_length(radius.nut, units)
        number = re.sub(r"[^\d.]*$", "", written)  # the same, in mm, is what slips of the unit mean
        yield Doubt(where="[board] radius", problem=f"{written} is nearly flat",
                    allowed=f"up to {coarse_length(_FLATTEST, units)} (common practice)",
                    remedy=(f'if mm are meant, write "{number} mm"' if not written.endswith("mm") else
                            "see that the number is right") + '; for a board without a curve write "flat"')
    key, far = ("end", radius.end) if radius.end is not None else ("bridge", radius.bridge)
    if far is not None and far < radius.nut:
        yield Doubt(where="[board] radius",
                    problem=f"rounder at the body ({format_length(far, units)}) than at the nut "
                            f"({format_length(radius.nut, units)})",
                    allowed="a compound radius is usually flatter towards the body (common practice)",
                    remedy=f"if that is not meant, change nut and {key} over")


def lengths(job: Job, _: Clamping) -> Iterator[Doubt]:
    """A fan that is the wrong way round, and relief deeper than any string needs."""
    board, units = job.board, job.units
    if board is not None and (scale := board.scale_length).bass < scale.treble:
        yield Doubt(where="[board] scale_length",
                    problem=f"bass, {format_length(scale.bass, units)}, is shorter than treble, "
                            f"{format_length(scale.treble, units)}",
                    allowed="the lowest string is usually the longest (common practice)",
                    remedy="if that is not meant, change bass and treble over")
    if board is not None and board.relief is not None and board.relief.depth > _DEEP_RELIEF:
        yield Doubt(
            where="[board] relief depth", problem=f"{format_length(board.relief.depth, units)}, deep for a relief",
            allowed=f"{format_length(_DEEP_RELIEF, units)} or less is usual (common practice)",
            remedy="if that is not meant, make depth smaller")


def widths(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """A board narrower at its end, strings over its binding, slots that no wire holds in, ridges that nobody sands."""
    board, units, slots = job.board, job.units, clamping.feature(Slot)
    if board is not None and board.end_width < board.nut_width:
        yield Doubt(
            where="[board] end_width", problem=f"{format_length(board.end_width, units)}, less than at the nut, "
                                               f"{format_length(board.nut_width, units)}",
            allowed="a board is usually wider at its end (common practice)",
            remedy="if that is not meant, change nut_width and end_width over")
    if board is not None and board.nut_width < _NARROW_NUT and board.scale_length.treble > _LONG_SCALE:
        wide, end, least = (format_length(one, units) for one in (
            2 * board.nut_width, 2 * board.end_width, _NARROW_NUT))
        yield Doubt(
            where="[board] nut_width", problem=f"{format_length(board.nut_width, units)}, narrow for so long a scale",
            allowed=f"{least} or more with a scale above {format_length(_LONG_SCALE, units)} (common practice)",
            remedy=f"if half widths are written, write nut_width = \"{wide}\" and end_width = \"{end}\"", grave=False)
    if board is not None and board.binding > board.to_outer_strings + SUMS:
        wide, inside = told_apart(board.binding, board.to_outer_strings, unit=units)
        yield Doubt(
            where="[board] binding", problem=f"{wide} wide, and the outer strings lie {inside} inside the edges: they "
            "run over the binding", allowed="a binding narrower than edge_to_string",
            remedy="if that is not meant, make binding less, or edge_to_string more: both count from the finished edge")
    if board is not None and slots is not None and slots.width > _WIDE_SLOT:
        yield Doubt(where="[slots] width", problem=f"{format_length(slots.width, units)}, wide for a fret's tang",
                    allowed=f"{format_length(_WIDE_SLOT, units)} or less is usual (common practice)",
                    remedy="if that is not meant, name a thinner cutter, or correct its diameter")
    if board is not None and slots is not None and slots.width < min(
            _NARROW_SLOT, job.frets.tang.width if job.frets else math.inf):
        yield Doubt(where="[slots] width",
                    problem=f"{format_length(slots.width, units)}, narrow for a fret's tang: few go in",
                    allowed=f"{format_length(_NARROW_SLOT, units)} or more; tangs are 0.5 to 0.6 mm wide (from memory)",
                    remedy="measure the tang, and correct the cutter's diameter, or write width; or leave it so for "
                           "lines of veneer")
    if board is not None and slots is not None and slots.depth < _SHALLOW_SLOT:
        yield Doubt(where="[slots] depth", problem=f"{format_length(slots.depth, units)}, shallow for a fret's tang",
                    allowed=f"{format_length(_SHALLOW_SLOT, units)} or more is usual (common practice)",
                    remedy="if that is not meant, write the tang's height and a little more")
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
                   if spaced else f"{other}if that is not meant, make scallop smaller")


def said_twice(job: Job, _: Clamping) -> Iterator[Doubt]:
    """What [neck] says of the strings and the frets, and their own tables say otherwise."""
    neck, strings, wire = job.neck, job.strings, job.frets
    said = []
    if neck and strings:
        said.append(("action_12", neck.action_12, "[strings] action_12", strings.action_12, type(strings).action_12))
        said.append(("action_nut", neck.action_nut, "[strings] clear", strings.clear, USUAL_CLEAR))
    if neck and wire:
        said.append(("fret_height", neck.fret_height, "[frets] crown height", wire.crown.height,
                     type(wire.crown).height))
    for key, here, other, there, default in said:
        if abs(here - max(there, 0.0)) > _SAME:  # a zero fret carries the strings over slots that end under it
            one, two = told_apart(here, there, unit=job.units)
            yield Doubt(where=f"[neck] {key}", problem=f"{one}, and {other} is {two}"
                                + (", as it is where it is not written" if abs(there - default) < 1e-9 else ""),
                        allowed="the same in both: the saddle is reckoned from the one, the nut from the other",
                        remedy="write the same in both")


def of_strings(job: Job, _: Clamping | None = None) -> Iterator[Doubt]:
    """Strings held over the zero fret that should carry them, or written treble first."""
    gauges = job.strings.gauges if job.strings else ()
    rising = all(one <= other for one, other in itertools.pairwise(gauges))
    if len(set(gauges)) > 2 and rising:
        yield Doubt(
            where="[strings] gauges", allowed="bass first, the thickest on the bass side",
            problem=f"from {format_length(gauges[0], job.units)} on the bass side, none thinner than the one before",
            remedy="turn the list round, and those beside it, unless it is strung so; a left-handed board has "
                   "left_handed = true, and its list is bass first too")
    if job.strings and job.board and job.board.zero_fret and job.strings.clear > 0:
        yield Doubt(
            where="[strings] clear", allowed="0 or less: with a zero fret the nut only guides",
            problem=f"{format_length(job.strings.clear, job.units)}: the strings lie that far above the zero fret, and "
                    "never touch it",
            remedy=f"leave it out for {format_length(BEHIND_ZERO_FRET, job.units)}: the slots then end under the top "
                   "of the fret, and the strings are pressed on it")


def drawn_otherwise(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """A drawn board of other widths than are written, from which its strings, dots, nut and saddle are counted.

    A width is as written where it is so at the nut or at the last fret, or where edges as straight as may be through
    all frets come to it: edges may be curved, and ends round or stepped.
    """
    if job.board is None or job.outline is None or not job.outline.artwork:
        return
    units, board = job.units, clamping.board if isinstance(clamping.board, Fingerboard) else board_of(job)
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
    writable = all(WIDTHS[0] <= v <= WIDTHS[1] for v, _ in off.values())
    widths = " and ".join(f"{key} = {as_written(round(v, 2), units)}" for key, (v, _) in off.items())
    if off:
        yield Doubt(
            where=f"[board] {' and '.join(off)}",
            problem="; ".join("{}, and the outline is drawn {} wide there".format(
                *told_apart(there, max(round(v, 2), 0.0), unit=units)) for v, there in off.values()),
            allowed=f"the drawing's widths within {format_length(_WIDTHS_ALIKE, units)}: strings, dots, nut and saddle "
                    "count from what is written",
            remedy=f"write {widths}; or " * writable + "correct the drawing, its size or its place")


def nut_face(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """A hollow end that takes the wood from the nut face, where no fret and no slot or shelf for the nut is cut."""
    board, table = clamping.board, job.board
    if not isinstance(board, Fingerboard) or table is None or table.zero_fret or job.nut:
        return
    face = moved_square(board.nut_line[None], _FACE_OFF)
    if bare := float(bare_lengths(board.outline, face, np.ones((1, 2), dtype=bool))[0]):
        whole = float(np.linalg.norm(np.diff(board.nut_line, axis=0)))
        where, remedy = "[outline] artwork", "draw the outline to X 0, or correct its place"
        if not board.drawn:
            shape = "rise" if table.nut_end.rise < 0 else "steps" if table.nut_end.steps else "corner_radius"
            where = f"[board] nut_end {shape}"
            remedy = "make behind_nut as much as the end goes in, or leave its shape out"
        yield Doubt(
            where=where, problem=f"{coarse_length(bare, job.units)} of the nut face, {coarse_length(whole, job.units)} "
            "wide, has no wood: the nut finds no edge there to stand against",
            allowed="wood along the whole nut face, from which frets are measured",
            remedy=f"{remedy}; or see that the nut stands on its line all the same")


def whole_partial_frets(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """A partial fret that reaches past both edges, which makes it a whole one: likely a slip of a sign."""
    board = clamping.board
    if not isinstance(board, Fingerboard) or job.board is None:
        return
    for number, entry in enumerate(job.board.partial_frets, 1):
        i = int(np.flatnonzero(board.frets.number == entry.fret)[0])
        if board.frets.full[i].all():
            low, high = (coarse_length(board.bass_side * -float(end[i, 1]), job.units)
                         for end in (board.frets.bass, board.frets.treble))
            yield Doubt(
                where=f"[board] partial_frets {number} across", problem=f"fret {entry.fret} reaches past both edges, "
                f"{low} and {high}: it is a whole fret", allowed="a fret that stops within the board",
                remedy="correct the range, perhaps the sign of one end; or leave it out")


def crowns_over(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """Frets so near an end of the board that their crowns stand out over it."""
    board = clamping.board
    cut = clamping.feature(Slot) is not None
    if not isinstance(board, Fingerboard) or job.board is None or not (cut or job.frets):
        return
    wide = crown_width(job) or CrownTable.width
    lines = np.concatenate([moved_square(board.frets.ends, by) for by in (-wide / 2, wide / 2)])
    bare = bare_lengths(board.outline, lines, np.concatenate([board.frets.full] * 2)).reshape(2, -1)
    i = int(np.argmax(bare.max(axis=0)))
    if not bare.any() or bare_lengths(board.outline, board.frets.ends[[i]], board.frets.full[[i]]).any():
        return  # where there is no wood under the fret itself, that is told
    at_nut, called = bool(bare[0, i] > bare[1, i]), int(board.frets.number[i])
    key = "[outline] artwork" if board.drawn else f"[board] {'behind_nut' if at_nut else 'past_last_fret'}"
    yield Doubt(
        where=key, problem=f"{f'fret {called}' if called else 'the zero fret'} lies so near the board's end that its "
        f"crown, {format_length(wide, job.units)} wide{'' if job.frets else ' as is usual'}, stands out over it along "
        f"{coarse_length(float(bare[:, i].max()), job.units)}",
        allowed=f"more than {format_length(wide / 2, job.units)} of wood beside the middle of a fret",
        remedy=("draw the board longer there" if board.drawn else "make it more, or the end less hollow")
        + ("" if job.frets else "; or write [frets] crown, as wide as your wire is"), grave=job.frets is not None)


def strings_off(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """An outer string over the edge of a drawn board, or nearly, at a fret: its drawing and its widths disagree."""
    board = clamping.board
    if not isinstance(board, Fingerboard) or not board.drawn:
        return
    layout, lines = board.layout, board.layout.lines[1:]
    strings = layout.strings.across(lines, board.bass_side)
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
        remedy="correct the drawing, its size or its place, or write the widths that it has")


def nut_plate(job: Job, _: Clamping) -> Iterator[Doubt]:
    """A plate for the nut that is not as thick as its slot is wide, or thicker than its shelf."""
    plate, units = job.nut_blank and job.nut_blank.thickness, job.units
    slot = nut_of(job, board_of(job)) if plate else None
    if slot is None or not plate:
        return
    wide, what = (slot.width, "slot") if slot.on_part is None else (slot.on_part, "shelf")
    if plate - wide > _LOOSE or (what == "slot" and wide - plate > _LOOSE):
        out = "" if what == "slot" else f": it stands {format_length(plate - wide, units)} out past the board's end"
        yield Doubt(
            where="[nut_blank] thickness",
            problem=f"{format_length(plate, units)}, and the {what} for the nut is {format_length(wide, units)} wide"
                    f"{out}",
            allowed=f"as thick as the {what} is wide{' at most' * bool(out)}",
            remedy="leave thickness out, or " + (f"write {as_written(wide, units, down=True)} or less" if out else
                                                 "write the same as [nut] width"))
