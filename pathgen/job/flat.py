"""The flat part of a job: its outline, its holes and openings, and whether they go together."""

from __future__ import annotations

import itertools
import math
from bisect import bisect_left
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.cutters import Cutter
from pathgen.base.errors import JobError, Mistakes
from pathgen.base.plain import in_runs, joined
from pathgen.base.tops import level
from pathgen.base.units import (
    SUMS,
    falls_short,
    format_length,
    left_words,
    place_words,
    rounded_down,
    rounded_up,
    written_alike,
)
from pathgen.job.flat_tables import HoleTable, PlateTable, RingTable
from pathgen.job.form import check_form, form_facts, form_piece, is_own, refuse_tight
from pathgen.job.job import Job
from pathgen.job.outlines import SEEN, as_cut, closed_by_cutter, drawn_area, drawn_outline, inner_corners
from pathgen.job.tables import LEAST_DEPTH, NARROWEST_GROOVE
from pathgen.parts.flat.part import Bore, FlatPart, numbered, rounded
from pathgen.strategies.pocketing.openings import opening
from pathgen.strategies.pocketing.settings import PocketOptions
from pathgen.strategies.pocketing.shapes import films, polygons
from pathgen.work.features import Cutouts, Holes, Named
from pathgen.work.operations import CutOut, Operation, RoundHoles
from pathgen.work.thin_wood import least_wood

OF_BOARDS = ("slots", "nut", "dots", "block", "gauges", "side_dots", "nut_blank", "saddle_blank", "frets", "strings",
             "neck")
"""Tables that a flat part has no use for."""

_MOSTLY = 0.5
"""Share of an opening that its cutter must open."""

_FILM = 0.05
"""What an opening just as wide as its cutter keeps along its walls is thinner, mm: drawn curves come in chords."""

_PITCHES = 3000
"""So many are tried at most."""

_MEETS = 1e-3
"""What lies no further from a piece meets it, mm."""

_AS_WRITTEN = 0.002
"""By how much half of a length may be missed by writing it to four places of an inch, mm."""


@dataclass(frozen=True, kw_only=True)
class _Bored:
    """A bore, and the table that it is from: ``[[hole]] 2``."""

    where: str
    bore: Bore
    counterbore: bool = False
    written: tuple[float, float] | None = None
    """Where the job has it, if it lies elsewhere on its sheet."""
    row: int = 0
    """Which row of its table it is in: 1 for the mirrored one."""
    away: tuple[float, float] = (0.0, 0.0)
    """From the first hole of its row."""
    share: float = 0.0
    """Of its row's length, up to it."""
    pitch: float = 0.0
    """Of its row; 0 where it stands alone."""

    @property
    def place(self) -> str:
        """Where it is, in words."""
        return f"the {'counterbore' if self.counterbore else 'hole'} at {place_words(*(self.written or self.bore.at))}"


def flat_part_of(job: Job) -> FlatPart:
    """The plate that a job describes. Raises JobError for an outline, holes or openings that make no sense."""
    table = _plate(job)
    return FlatPart(
        outline=_cut_outline(job), thickness=table.thickness, min_web=table.min_web,
        bores=tuple(one.bore for one in _bores(job)), drawn=tuple(shapely.get_parts(_drawn_openings(job))),
        form=form_facts(job) if job.form else None,
    )


def plate_corners(job: Job) -> BaseGeometry:
    """What the outline's cutter leaves standing in corners that point inward, in plan; empty where it is little."""
    return inner_corners(_cut_outline(job), _asked_outline(job))


def boring_of(job: Job, part: FlatPart) -> Iterator[tuple[Operation[Any], str]]:
    """(operation, name of its cutter) of holes and openings, as written: a counterbore before its holes."""
    skim = job.resurface.skim if job.resurface else 0.0
    top = part.thickness - skim  # as they find it
    numbers = numbered(part.bores)
    for number, table in enumerate(job.bores, 1):
        where = f"[[hole]] {number}"
        bores = _bores_of(job, table, where)
        own = [one for one in bores if one.counterbore], [one for one in bores if not one.counterbore]
        for some in own:
            if some:
                first = some[0].bore
                bottom = -table.through if first.depth is None else top - first.depth
                yield _boring(job, table, some, numbers, bottom, top), table.cutter
    drawn, openings = _plate(job).openings, MultiPolygon(list(part.drawn))
    if drawn is not None and part.drawn:
        what = f"{len(part.drawn)} drawn openings" if len(part.drawn) > 1 else "the drawn opening"
        yield CutOut(Cutouts(shapes=openings, bottom=-drawn.through, depth=top + drawn.through, what=what)), \
            drawn.cutter


def _boring(job: Job, table: HoleTable, some: list[_Bored], numbers: Mapping[tuple[float, float], int], bottom: float,
            top: float) -> Operation[Any]:
    """Round holes hardly wider than their cutter are drilled; what is wider, or long, is cleared."""
    bores = [one.bore for one in some]
    one, called = bores[0], tuple(numbers[bore.at] for bore in bores)
    cutter = job.cutter(table.cutter, "[[hole]] cutter")
    drilled = one.length <= one.diameter and one.diameter + 1e-9 < 2 * cutter.diameter
    kind = ("counterbore" if some[0].counterbore else "slot with round ends" if one.length > one.diameter else
            "round hole" if drilled else "hole")
    several = "slots with round ends" if "slot" in kind else f"{kind}s"
    what = f"{len(bores)} {several}" if len(bores) > 1 else f"a {kind}"
    files = "counterbores" if some[0].counterbore else "holes"
    if len(called) < len(numbers):  # there are others
        files += f"-{called[0]}" if len(called) == 1 else ""
        what += f", number{'s' * (len(called) > 1)} {joined(in_runs(called))}"
    if bottom > 0 and not some[0].counterbore:
        what += ", not through"
    if drilled:
        return RoundHoles(Holes(at=np.array([bore.at for bore in bores]), diameter=one.diameter, bottom=bottom,
                                numbers=called, what=what, in_files=files))
    named = tuple(Named(f"hole {number}", bore.at, bore.diameter) for number, bore in zip(called, bores, strict=True))
    return CutOut(Cutouts(shapes=MultiPolygon([bore.shape for bore in bores]), bottom=bottom, depth=top - bottom,
                          what=what, named=named, in_files=files))


def check_flat(job: Job, part: FlatPart) -> None:
    """Raise JobError for the first thing about a flat part that does not go together."""
    for name in OF_BOARDS:
        if getattr(job, name) is not None:
            raise JobError(f"[{name}]", f"the job is of a {job.body_name}, which has no frets and no strings",
                           allowed="[[inlay]], [[ring]], [[hole]], [surface], [outline]", remedy=f"leave [{name}] out")
    if job.form is not None:
        check_form(job)
    if job.outline and (job.outline.artwork or job.outline.place or job.outline.artwork_layers):
        raise JobError("[outline] artwork", f"the outline is said in {job.body_name}",
                       remedy="write artwork, artwork_layers and place there")
    _face(job)
    bores = _bores(job)
    for table, number in zip(job.bores, itertools.count(1), strict=False):
        _hole(job, table, f"[[hole]] {number}")
    _inside(part, bores)
    _apart(part, bores)
    _openings(job, part)
    mistakes = Mistakes()
    for number, ring in enumerate(job.rings, 1):
        with mistakes.caught():
            _ring(job, part, ring, f"[[ring]] {number}")
            _clear_of(bores, ring, f"[[ring]] {number}")
            _clear_of_openings(part, ring, f"[[ring]] {number}")
    mistakes.refuse()


def ring_area(ring: RingTable) -> Polygon:
    """What a ring opens, in plan."""
    outer = rounded(ring.at, 2 * ring.outer, length=2 * ring.outer)
    return overlay.difference(outer, rounded(ring.at, 2 * ring.inner, length=2 * ring.inner)) if ring.inner else outer


def _plate(job: Job) -> PlateTable:
    if job.plate is None:
        raise JobError(job.path.name, "[plate] is missing", remedy="add a [plate] table")
    return job.plate


def _cut_outline(job: Job) -> Polygon:
    """The outline as its cutter can leave it: rounded in corners that point inward."""
    asked = _asked_outline(job)
    closed = closed_by_cutter(job, asked)
    if closed is not asked and job.outline:
        diameter = job.cutter(job.outline.cutter, "[outline] cutter").diameter
        refuse_tight(job, overlay.difference(closed, asked), asked, diameter)
    return as_cut(job, asked, closed, f"{job.body_name} artwork")


def _asked_outline(job: Job) -> Polygon:
    table = _plate(job)
    if job.form is not None:
        return Polygon(form_piece(job)[0].exterior)
    if table.artwork is not None:
        if table.length is not None or table.width is not None or table.corner_radius:
            raise JobError("[plate]", "artwork is given, and length, width or corner_radius too",
                           remedy="keep the drawing, or the size")
        return drawn_outline(job, table.artwork, table.place, "[plate]", seen=table.artwork_layers)
    if table.length is None or table.width is None:
        raise JobError("[plate]", "there is no outline", allowed="length and width, or artwork",
                       remedy="give length and width, or artwork, a drawing of the outline")
    for name in ("place", "openings", "artwork_layers"):
        if getattr(table, name):
            raise JobError("[plate]", f"{name} without a drawing", remedy="give artwork, or write openings as [[hole]]")
    shortest = min(table.length, table.width)
    if table.corner_radius > shortest / 2 + _AS_WRITTEN:
        raise JobError("[plate] corner_radius", f"{format_length(table.corner_radius, job.units)}",
                       allowed=f"{format_length(shortest / 2, job.units)} or less: half of the plate",
                       remedy="make it smaller")
    box = shapely.box(0.0, -table.width / 2, table.length, table.width / 2)
    if not table.corner_radius:
        return box
    r = min(table.corner_radius, shortest / 2)
    core = shapely.box(r, r - table.width / 2, table.length - r, table.width / 2 - r)
    if core.area == 0:
        core = shapely.LineString([(r, 0.0), (table.length - r, 0.0)]) if table.length >= table.width else \
            shapely.LineString([(r, r - table.width / 2), (r, table.width / 2 - r)])
    return shapely.orient_polygons(overlay.buffer(core, r, quad_segs=max(16, math.ceil(12 * math.sqrt(r)))))


def _drawn_openings(job: Job) -> BaseGeometry:
    table = _plate(job)
    if job.form is not None:
        return MultiPolygon([Polygon(ring) for ring in form_piece(job)[0].interiors])
    if table.openings is None or table.artwork is None:
        return MultiPolygon()
    if not (table.openings.colours or table.openings.layers):
        raise JobError("[plate] openings", "neither colours nor layers", remedy="name the colours, or the layers, of "
                       "the drawing that are cut through")
    return drawn_area(job, table.artwork, table.place, "[plate] openings", colours=table.openings.colours,
                      layers=table.openings.layers,
                      seen=table.artwork_layers and (*table.artwork_layers, *table.openings.layers))


def _bores(job: Job) -> list[_Bored]:
    return [one for number, table in enumerate(job.bores, 1) for one in _bores_of(job, table, f"[[hole]] {number}")]


def _bores_of(job: Job, table: HoleTable, where: str) -> list[_Bored]:
    """Every hole of a table, then every counterbore; of a form those of its own half, where that lies on its sheet."""
    made = _placed_bores(table, where)
    if job.form is None:
        return made
    shift = form_piece(job)[1]
    return [replace(one, written=one.bore.at, bore=replace(one.bore, at=tuple((shift + one.bore.at).tolist())))
            for one in made if is_own(job, one.bore.at)]


def _placed_bores(table: HoleTable, where: str) -> list[_Bored]:
    if (table.count > 1) != (table.pitch is not None):
        raise JobError(f"{where} pitch", f"{'left out' if table.pitch is None else 'given'} with count {table.count}",
                       allowed="pitch with a count of 2 or more", remedy="give both, or neither")
    length = table.diameter if table.length is None else table.length
    if length < table.diameter:
        raise JobError(f"{where} length", f"{length:g} mm from end to end of a slot {table.diameter:g} mm wide",
                       allowed=f"{table.diameter:g} mm or more", remedy="make it longer, or leave it out for a round "
                       "hole")
    way = math.radians(table.angle)
    one = Bore(at=table.at, diameter=table.diameter, length=length, turn=table.turn, depth=table.depth)
    steps = np.arange(table.count)[:, None] * (table.pitch or 0.0) * np.array([math.cos(way), math.sin(way)])
    made = [
        _Bored(where=where, row=row, away=(dx, side * dy), share=nth / max(table.count - 1, 1),
               pitch=table.pitch or 0.0, bore=replace(
                   one, at=(table.at[0] + dx, side * (table.at[1] + dy)), turn=side * table.turn))
        for row, side in enumerate((1.0, -1.0) if table.mirror else (1.0,))
        for nth, (dx, dy) in enumerate(steps.tolist())
    ]
    if (wide := table.counterbore) is not None:
        more = wide.diameter - table.diameter
        made += [replace(one, counterbore=True, bore=replace(
            one.bore, diameter=wide.diameter, length=one.bore.length + more, depth=wide.depth)) for one in made]
    return made


def _face(job: Job) -> None:
    table, unit = _plate(job), job.units
    if table.face == (job.surface is not None):
        if not table.face and not written_alike(job.stock.thickness, table.thickness):
            raise JobError("[plate] thickness", f"{format_length(table.thickness, unit)} from a blank of "
                           f"{format_length(job.stock.thickness, unit)} whose face is left as it is",
                           allowed="the blank's own thickness with face = false",
                           remedy="measure the blank and write both alike, or leave face out and add [surface]")
        return
    if table.face:
        raise JobError("[surface]", "is missing: the plate is to be faced",
                       remedy="add [surface] with its finish, or write [plate] face = false to leave the face as it is")
    raise JobError("[plate] face", "false, and there is a [surface]", remedy="leave one of them out")


def _hole(job: Job, table: HoleTable, where: str) -> None:
    plate, cutter = _plate(job), job.cutter(table.cutter, f"{where} cutter")
    if cutter.diameter > table.diameter + 1e-9:
        raise JobError(f"{where} cutter", f'"{cutter.name}" is {cutter.diameter:g} mm, wider than the hole',
                       allowed=f"{table.diameter:g} mm or less", remedy="name a smaller cutter")
    deep = table.depth if table.depth is not None else job.stock.thickness + table.through
    if falls_short(cutter.flute_length, deep):
        raise JobError(f"{where} cutter", f'the flute of "{cutter.name}" is {cutter.flute_length:g} mm long',
                       allowed=f"{rounded_up(deep):.2f} mm or more", remedy="name a longer cutter")
    if table.depth is not None:
        _web(plate, table.depth, f"{where} depth")
    if (wide := table.counterbore) is None:
        return
    if wide.diameter <= table.diameter:
        raise JobError(f"{where} counterbore diameter", f"{wide.diameter:g} mm round a hole of {table.diameter:g} mm",
                       allowed=f"more than {table.diameter:g} mm", remedy="make it wider, or leave it out")
    if table.depth is not None and wide.depth >= table.depth:
        raise JobError(f"{where} counterbore depth", f"{wide.depth:g} mm round a hole {table.depth:g} mm deep",
                       allowed=f"less than {table.depth:g} mm", remedy="make it shallower")
    _web(plate, wide.depth, f"{where} counterbore depth")


def _web(plate: PlateTable, depth: float, where: str) -> None:
    left, most = plate.thickness - depth, rounded_down(plate.thickness - plate.min_web)
    if falls_short(left, plate.min_web):
        raise JobError(where, f"{depth:g} mm leaves {left:.2f} mm of {plate.thickness:g} mm under it" if left >= 0
                       else f"{depth:g} mm {left_words(left)} {plate.thickness:g} mm",
                       allowed=f"min_web {plate.min_web:g} mm or more",
                       remedy=f"make it {most:.2f} mm or less" if most >= LEAST_DEPTH else
                       "make min_web smaller, or the plate thicker: no depth leaves so much")


def _inside(part: FlatPart, bores: list[_Bored]) -> None:
    """Every hole lies within the outline, and takes no bite out of its edge: of those that do not, the furthest out."""
    shapely.prepare(part.outline)
    outs = [float(_out(part, one.bore.diameter, one.bore.axis)) for one in bores]
    if max(outs, default=-1.0) < 0:
        return
    out, one = max(outs), bores[int(np.argmax(outs))]
    row = [other for other in bores if other.where == one.where]
    too_long = one.pitch > 0 and _longest(part, row) < _holes_in(row)
    pitch, further = _pitch(part, bores, one, way=-1) if one.share else None, rounded_up(out + _wood(part, one))
    in_row = one.share or too_long
    narrower = f"make pitch {pitch:.2f} mm or less, or " if pitch else ""
    raise JobError(
        f"{one.where} {'pitch' if in_row else 'at'}", f"{one.place} leaves the {part.names.part}: its edge lies "
        f"{out:.2f} mm outside", allowed="holes within the outline",
        remedy=f"{narrower}{_count(part, bores, one)}" if in_row else
        f"move it {further:.2f} mm further in, or make it smaller",
    )


def _count(part: FlatPart, bores: list[_Bored], of: _Bored) -> str:
    """What of a row's count to change: so many of its holes, from the first, have wood round them; none where the first
    has not, then so many as there is room for."""
    row = [one for one in bores if one.where == of.where]
    first_out = min((one.share for one in row
                     if _out(part, one.bore.diameter, one.bore.axis) + _wood(part, one) > 0), default=1.0)
    if count := len({one.share for one in row if one.share < first_out - SUMS}):
        return f"make count {count} or less" if count > 1 else "leave count and pitch out: one hole fits"
    return "move the row" if (most := _longest(part, row)) >= _holes_in(row) else f"make count {most} or less, and " \
        "move the row"


def _holes_in(row: list[_Bored]) -> int:
    return len({one.share for one in row})


def _longest(part: FlatPart, row: list[_Bored]) -> int:
    """How many holes of a row the part has room for, wherever it lies."""
    x0, y0, x1, y1 = part.outline.bounds
    last = max(row, key=lambda one: one.share)
    rooms = [side - last.bore.length - 2 * _wood(part, last) for side in (x1 - x0, y1 - y0)]
    fits = min(room / abs(run) for room, run in zip(rooms, last.away, strict=True) if abs(run) > SUMS)
    return math.floor(max(fits, 0.0) * (_holes_in(row) - 1) + SUMS) + 1


def _out(part: FlatPart, wide: Any, axis: Any) -> Any:
    """How far the edge of each hole lies outside the outline with its middle line there; < 0 inside: mm."""
    inside = np.where(shapely.covers(part.outline, axis), 1.0, -1.0)
    return wide / 2 - shapely.distance(part.outline.exterior, axis) * inside


def _wood(part: FlatPart, one: _Bored) -> float:
    """The least that stands beside a hole, mm."""
    return float(least_wood(part.thickness if one.bore.depth is None else one.bore.depth))


def _pitch(part: FlatPart, bores: list[_Bored], of: _Bored, *, way: int) -> float | None:
    """The pitch nearest to its own, wider or narrower by its `way`, with which wood stands round all holes of a row:
    its counterbores and its image too, to the edge, to each other, to other holes and to openings. None without."""
    row, others = ([one for one in bores if (one.where == of.where) == own] for own in (True, False))
    first = (rounded_up if way > 0 else rounded_down)(of.pitch)
    last = of.pitch + 4 * max(one.bore.length for one in row) if way > 0 else 0.5
    pitches = np.arange(first, last, way * max(0.01, round(abs(last - first) / _PITCHES, 2))).round(2).tolist()
    axes = np.array([one.bore.axis for one in row])
    away = np.repeat([one.away for one in row], len(axes[0].coords), 0)
    moved = (shapely.transform(axes, lambda xy, by=pitch / of.pitch - 1.0: xy + by * away) for pitch in pitches)
    return next((pitch for pitch, there in zip(pitches, moved, strict=True) if _stands(part, row, there, others)), None)


def _stands(part: FlatPart, row: list[_Bored], there: Any, others: list[_Bored]) -> bool:
    """Whether enough wood stands round all holes of a row with their middle lines there."""
    wide, deep, hole = np.transpose(  # a hole and its own counterbore share the last of these
        [(one.bore.diameter, one.bore.depth or part.thickness, 2 * one.row + one.share) for one in row + others]
        + [(0.0, part.thickness, -1.0)] * len(part.drawn))
    if np.any(_out(part, wide[:len(row)], there) > SUMS - least_wood(deep[:len(row)])):
        return False
    every = np.array([*there, *(one.bore.axis for one in others), *part.drawn])
    near = wide[:len(row)] / 2 + wide.max() / 2 + least_wood(part.thickness)
    i, j = shapely.STRtree(every).query(there, predicate="dwithin", distance=near)
    i, j = np.array([i, j])[:, (j >= len(row)) | (hole[i] != hole[j])]
    clear = (wide[i] + wide[j]) / 2 + least_wood(np.minimum(deep[i], deep[j]))
    return bool(np.all(shapely.distance(every[i], every[j]) > clear - SUMS))


def _apart(part: FlatPart, bores: list[_Bored]) -> None:
    """No two holes meet, nor a hole and a drawn opening; a hole and its own counterbore do. Those furthest into each
    other are told."""
    pairs = [(one, other) for one, other in itertools.combinations(bores, 2) if one.where != other.where
             or one.bore.at != other.bore.at or one.counterbore == other.counterbore]
    nears = np.array([(one.bore.diameter + other.bore.diameter) / 2 for one, other in pairs])
    aways = np.array([shapely.distance(one.bore.axis, other.bore.axis) for one, other in pairs])
    if np.any(aways <= nears):
        k = int(np.argmax(nears - aways))
        (one, other), near, away = pairs[k], float(nears[k]), float(aways[k])
        both = one.where if one.where == other.where else f"{one.where} and {other.where}"
        in_row = one.where == other.where and one.row == other.row
        off = "leave mirror out, which puts one on each side of the centre-line, or move it " \
              f"{rounded_up(near / 2 + _wood(part, one)):.2f} mm or more off that"
        image = one.where == other.where and one.row != other.row
        pitch = _pitch(part, bores, one, way=1) if in_row else None
        wider = f"make {f'pitch {pitch:.2f} mm or more, or make ' if pitch else ''}them smaller"
        raise JobError(f"{both} {'pitch' if in_row else 'at'}",
                       f"{one.place} and {other.place} meet: {away:.2f} mm between their "
                       f"middle{' line' if max(one.bore.axis.length, other.bore.axis.length) > 0 else ''}s",
                       allowed=f"more than {near:.2f} mm",
                       remedy=wider if in_row else off if image else "move them apart, or make them smaller")
    for one, shape in itertools.product(bores, part.drawn):
        away = float(shapely.distance(one.bore.axis, shape))
        if away <= one.bore.diameter / 2:
            raise JobError(f"{one.where} at", f"{one.place} meets a drawn opening: {away:.2f} mm from its middle",
                           allowed=f"more than {one.bore.diameter / 2:.2f} mm", remedy="move one of them")


def _openings(job: Job, part: FlatPart) -> None:
    """Drawn openings lie within the outline, hold nothing that would come loose, and are whole as they are cut."""
    for shape in part.drawn:
        x, y = shapely.get_coordinates(shape.representative_point())[0]
        if shapely.distance(part.outline.exterior, shape) <= 0:
            raise JobError(f"{job.body_name} openings", f"the one near {place_words(x, y)} meets the edge",
                           allowed="openings within the outline", remedy="draw it as part of the outline")
        if shape.interiors:
            loose = max(map(Polygon, shape.interiors), key=shapely.area)
            x, y = shapely.get_coordinates(loose.representative_point())[0]
            raise JobError(f"{job.body_name} openings", f"a piece of {loose.area:.1f} mm2 near {place_words(x, y)} "
                           "stands in one, and would come loose under the cutter", allowed="openings without such a "
                           "piece", remedy="fill it in the drawing, and the opening is cleared whole; or leave bridges "
                           "in the drawing that hold it")
        _cut_whole(job, shape)


def openings_cutter(job: Job) -> tuple[str, Cutter]:
    """The key that names the cutter of drawn openings, and that cutter: those of a form are part of its line."""
    table, key = _plate(job).openings, "[outline] cutter" if job.form else "[plate] openings cutter"
    return key, job.cutter(table.cutter if table else "", key)


@lru_cache(maxsize=64)
def _opened(shape: Polygon, cutter: Cutter) -> BaseGeometry:
    """What a cutter opens of a drawn opening, which it is asked of to be refused, and once more to be told of."""
    one = opening(cutter, level(1.0), cutter.flute_length, shape, PocketOptions.arc, all_of_it=True)
    opened: BaseGeometry = one.opened(one.axis_region(np.array([shape])))[0]
    return opened


def _is_whole(shape: Polygon, opened: BaseGeometry) -> bool:
    return opened.geom_type == "Polygon" and opened.area > _MOSTLY * shape.area


def _cut_whole(job: Job, shape: Polygon) -> None:
    """Raise JobError for an opening that its cutter opens little of, or in pieces, or not as a half needs it."""
    key, cutter = openings_cutter(job)
    opened = _opened(shape, cutter)
    left = overlay.difference(shape, opened)
    if _is_whole(shape, opened):
        refuse_tight(job, left, shape, cutter.diameter)
        return
    pieces, closed = shapely.get_parts(opened), shapely.get_parts(left)
    necks = [one for one in closed if (shapely.distance(pieces, one) < _MEETS).sum() > 1]
    x, y = shapely.get_coordinates(max(necks or closed, key=shapely.area).representative_point())[0]
    does = f"cuts the opening in {len(pieces)} pieces and leaves it closed" if len(pieces) > 1 else \
        "goes into less than half of the opening, and not into it" if len(pieces) else "does not go into the opening"
    widths = (np.arange(NARROWEST_GROOVE, cutter.diameter, 0.01).round(2)).tolist()
    goes = bisect_left(widths, True, key=lambda wide: not _is_whole(
        shape, _opened(shape, replace(cutter, diameter=wide))))
    raise JobError(key, f'"{cutter.name}", {cutter.diameter:g} mm, {does} near {place_words(x, y)}',
                   allowed=f"{widths[goes - 1]:.2f} mm or less" if goes else "",
                   remedy=f"{'name a smaller cutter, or ' if goes else ''}draw it wider there")


def opening_corners(job: Job, part: FlatPart) -> BaseGeometry:
    """What the cutter of drawn openings leaves standing of them, in plan; empty where it is little."""
    opened = overlay.union_all([_opened(shape, openings_cutter(job)[1]) for shape in part.drawn])
    left = polygons(overlay.difference(MultiPolygon(list(part.drawn)), opened))
    left = left[~films(left, _FILM)]
    return MultiPolygon(left.tolist()) if shapely.area(left).sum() > SEEN else MultiPolygon()


def _ring(job: Job, part: FlatPart, ring: RingTable, where: str) -> None:
    if ring.inner >= ring.outer:
        raise JobError(f"{where} inner", f"{ring.inner:g} mm with outer {ring.outer:g} mm",
                       allowed=f"less than {ring.outer:g} mm", remedy="both are radii: correct them")
    smallest = min((job.cutter(name, f"{where} cutters") for name in ring.cutters), key=lambda c: c.diameter)
    wide = ring.outer - ring.inner
    if smallest.shape == "flat-end" and smallest.diameter > wide + 1e-9:
        raise JobError(f"{where} cutters", f'the smallest, "{smallest.name}", is {smallest.diameter:g} mm, and the '
                       f"ring {wide:.3f} mm wide", allowed=f"{wide:.3f} mm or less",
                       remedy="name a smaller cutter, or make the ring wider")
    centre = shapely.Point(ring.at)
    room = float(shapely.distance(part.outline.exterior, centre)) * (1 if part.outline.covers(centre) else -1)
    if room <= ring.outer:
        raise JobError(f"{where} outer", f"the ring round {place_words(*ring.at)} reaches {ring.outer - room:.2f} mm "
                       "past the edge of the plate",
                       allowed=f"less than {room:.2f} mm" if room >= 0.01 else "a ring whose middle lies on the plate",
                       remedy="make it smaller, or move it" if room >= 0.01 else
                       "write at, its middle: along from the near edge, across from the centre-line")


def _clear_of_openings(part: FlatPart, ring: RingTable, where: str) -> None:
    """Nor does an opening that is drawn."""
    area, centre = ring_area(ring), shapely.Point(ring.at)
    for shape in part.drawn:
        if (shared := overlay.intersection(shape, area)).area <= 1e-6:
            continue
        near = 0.0 if shape.covers(centre) else float(shapely.distance(shape.exterior, centre))
        far = float(np.linalg.norm(shapely.get_coordinates(shape) - ring.at, axis=1).max())
        ways = [f"outer {rounded_down(near):.2f} mm or less"] if near > ring.inner else []
        ways += [f"inner {rounded_up(far):.2f} mm or more"] if far < ring.outer else []
        raise JobError(
            f"{where} at", f"{shared.area:.1f} mm2 of the ring round {place_words(*ring.at)} lies over the drawn "
            f"opening near {place_words(*shapely.get_coordinates(shared.representative_point())[0])}",
            allowed=" or ".join(ways) or "a ring beside the openings, or round them",
            remedy="change inner or outer, or move the ring or the opening",
        )


def _clear_of(bores: list[_Bored], ring: RingTable, where: str) -> None:
    """No hole, nor its counterbore, meets the ring."""
    area, mistakes = ring_area(ring), Mistakes()
    for one in bores:
        shared = overlay.intersection(one.bore.shape, area).area
        if shared <= 1e-6:
            continue
        with mistakes.caught():
            raise JobError(f"{where} and {one.where} at", f"{one.place} takes {shared:.1f} mm2 of the ring round "
                           f"{place_words(*ring.at)}", allowed="holes beside a ring, or within its inner circle",
                           remedy="move one of them, or make it smaller")
    mistakes.refuse()
