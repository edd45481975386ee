"""The round holes of a flat part: where each lies, how it is cut, and whether wood stands round it."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from shapely import MultiPolygon

from pathgen.base.cutters import Cutter
from pathgen.base.errors import JobError, Mistakes
from pathgen.base.plain import in_runs, joined
from pathgen.base.units import SUMS, falls_short, left_words, place_words, rounded_down, rounded_up
from pathgen.job.form import form_piece, is_own
from pathgen.job.job import Job
from pathgen.job.tables import LEAST_DEPTH, HoleTable
from pathgen.parts.flat.part import Bore, FlatPart, numbered
from pathgen.work.features import Cutouts, Holes, Named
from pathgen.work.operations import CutOut, Operation, RoundHoles
from pathgen.work.part import inside
from pathgen.work.thin_wood import least_wood, or_less

_PITCHES = 3000  # so many are tried at most


@dataclass(frozen=True, kw_only=True)
class Bored:
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


def bores_of(job: Job) -> list[Bored]:
    """Every hole and counterbore of a job's tables, in their order."""
    return [one for number, table in enumerate(job.bores, 1) for one in _bores_of(job, table, f"[[hole]] {number}")]


def boring(job: Job, part: FlatPart, top: float) -> Iterator[tuple[Operation[Any], str]]:
    """(operation, name of its cutter) of every table of holes, a counterbore before its holes; from `top` mm down."""
    numbers = numbered(part.bores)
    for number, table in enumerate(job.bores, 1):
        bores, cutter = _bores_of(job, table, f"[[hole]] {number}"), job.cutter(table.cutter, "[[hole]] cutter")
        key = "" if any(_is_drilled(one.bore, cutter) for one in bores) else f"[[hole]] {number} cutter"
        for some in ([one for one in bores if one.counterbore], [one for one in bores if not one.counterbore]):
            if some:
                first = some[0].bore
                bottom = -table.through if first.depth is None else top - first.depth
                yield _boring(some, cutter, numbers, bottom, top, key), table.cutter


def check_bores(job: Job, part: FlatPart, bores: list[Bored]) -> None:
    """Raise JobError for holes that their cutters cannot cut, or without wood round them and under them; what reaches
    off the part is not held to the others."""
    mistakes, within = Mistakes(), bores
    for number, table in enumerate(job.bores, 1):
        where = f"[[hole]] {number}"
        with mistakes.caught():
            _check_hole(job, part, table, where)
        if off := _off(part, bores, where):
            within = [one for one in within if one.where != where]
            with mistakes.caught():
                raise off
    with mistakes.caught():
        _apart(part, within)
    mistakes.refuse()


def _is_drilled(bore: Bore, cutter: Cutter) -> bool:
    """Round holes hardly wider than their cutter are; what is wider, or long, is cleared."""
    return bore.length <= bore.diameter and bore.diameter + 1e-9 < 2 * cutter.diameter


def _boring(some: list[Bored], cutter: Cutter, numbers: Mapping[tuple[float, float], int], bottom: float, top: float,
            key: str) -> Operation[Any]:
    bores = [one.bore for one in some]
    one, called = bores[0], tuple(numbers[bore.at] for bore in bores)
    drilled = _is_drilled(one, cutter)
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
                          what=what, named=named, in_files=files, key=key))


def _bores_of(job: Job, table: HoleTable, where: str) -> list[Bored]:
    """Every hole of a table, then every counterbore; of a form those of its own half, where that lies on its sheet."""
    made = _placed_bores(table, where)
    if job.form is None:
        return made
    shift = form_piece(job)[1]
    return [replace(one, written=one.bore.at, bore=replace(one.bore, at=tuple((shift + one.bore.at).tolist())))
            for one in made if is_own(job, one.bore.at)]


def _placed_bores(table: HoleTable, where: str) -> list[Bored]:
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
        Bored(where=where, row=row, away=(dx, side * dy), share=nth / max(table.count - 1, 1),
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


def _check_hole(job: Job, part: FlatPart, table: HoleTable, where: str) -> None:
    cutter = job.cutter(table.cutter, f"{where} cutter")
    if cutter.diameter > table.diameter + 1e-9:
        raise JobError(f"{where} cutter", f'"{cutter.name}" is {cutter.diameter:g} mm, wider than the hole',
                       allowed=f"{table.diameter:g} mm or less", remedy="name a smaller cutter")
    deep = table.depth if table.depth is not None else part.thickness - job.skim + table.through  # as boring_of cuts
    if falls_short(cutter.flute_length, deep):
        raise JobError(f"{where} cutter", f'the flute of "{cutter.name}" is {cutter.flute_length:g} mm long',
                       allowed=f"{rounded_up(deep):.2f} mm or more", remedy="name a longer cutter")
    if table.depth is not None:
        _web(part, table.depth, f"{where} depth")
    if (wide := table.counterbore) is None:
        return
    if wide.diameter <= table.diameter:
        raise JobError(f"{where} counterbore diameter", f"{wide.diameter:g} mm round a hole of {table.diameter:g} mm",
                       allowed=f"more than {table.diameter:g} mm", remedy="make it wider, or leave it out")
    if table.depth is not None and wide.depth >= table.depth:
        raise JobError(f"{where} counterbore depth", f"{wide.depth:g} mm round a hole {table.depth:g} mm deep",
                       allowed=f"less than {table.depth:g} mm", remedy="make it shallower")
    _web(part, wide.depth, f"{where} counterbore depth")


def _web(part: FlatPart, depth: float, where: str) -> None:
    left, most = part.thickness - depth, rounded_down(part.thickness - part.min_web)
    if falls_short(left, part.min_web):
        raise JobError(where, f"{depth:g} mm leaves {left:.2f} mm of {part.thickness:g} mm under it" if left > -0.005
                       else f"{depth:g} mm {left_words(left)} {part.thickness:g} mm",
                       allowed=f"min_web {part.min_web:g} mm or more",
                       remedy=f"make it {most:.2f} mm or less{or_less(part.min_web)}" if most >= LEAST_DEPTH else
                       "make min_web smaller, or the plate thicker: no depth leaves so much")


def _off(part: FlatPart, bores: list[Bored], where: str) -> JobError | None:
    """Every hole of a table lies within the outline, and takes no bite out of its edge: else what is wrong with the one
    that is the furthest out."""
    shapely.prepare(part.outline)
    row = [one for one in bores if one.where == where]
    outs = [float(_out(part, one.bore.diameter, one.bore.axis)) for one in row]
    if max(outs, default=-1.0) < 0:
        return None
    out, one = max(outs), row[int(np.argmax(outs))]
    too_long = one.pitch > 0 and _longest(part, row) < _holes_in(row)
    pitch, further = _pitch(part, bores, one, way=-1) if one.share else None, rounded_up(out + _wood(part, one))
    in_row = one.share or too_long
    narrower = f"make pitch {pitch:.2f} mm or less, or " if pitch else ""
    return JobError(
        f"{one.where} {'pitch' if in_row else 'at'}", f"{one.place} leaves the {part.names.part}: its edge lies "
        f"{out:.2f} mm outside", allowed="holes within the outline",
        remedy=f"{narrower}{_count(part, bores, one)}" if in_row else
        f"move it {further:.2f} mm further in, or make it smaller")


def _count(part: FlatPart, bores: list[Bored], of: Bored) -> str:
    """What of a row's count to change: so many of its holes, from the first, have wood round them; none where the first
    has not, then so many as there is room for."""
    row = [one for one in bores if one.where == of.where]
    first_out = min((one.share for one in row
                     if _out(part, one.bore.diameter, one.bore.axis) + _wood(part, one) > 0), default=1.0)
    if count := len({one.share for one in row if one.share < first_out - SUMS}):
        return f"make count {count} or less" if count > 1 else "leave count and pitch out: one hole fits"
    return "move the row" if (most := _longest(part, row)) >= _holes_in(row) else f"make count {most} or less, and " \
        "move the row"


def _holes_in(row: list[Bored]) -> int:
    return len({one.share for one in row})


def _longest(part: FlatPart, row: list[Bored]) -> int:
    """How many holes of a row the part has room for, wherever it lies."""
    x0, y0, x1, y1 = part.outline.bounds
    last = max(row, key=lambda one: one.share)
    rooms = [side - last.bore.length - 2 * _wood(part, last) for side in (x1 - x0, y1 - y0)]
    fits = min(room / abs(run) for room, run in zip(rooms, last.away, strict=True) if abs(run) > SUMS)
    return math.floor(max(fits, 0.0) * (_holes_in(row) - 1) + SUMS) + 1


def _out(part: FlatPart, wide: Any, axis: Any) -> Any:
    """How far the edge of each hole lies outside the outline with its middle line there; < 0 inside: mm."""
    return wide / 2 - inside(part.outline, axis)


def _wood(part: FlatPart, one: Bored) -> float:
    """The least that stands beside a hole, mm."""
    return float(least_wood(part.thickness if one.bore.depth is None else one.bore.depth))


def _pitch(part: FlatPart, bores: list[Bored], of: Bored, *, way: int) -> float | None:
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


def _stands(part: FlatPart, row: list[Bored], there: Any, others: list[Bored]) -> bool:
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


def _apart(part: FlatPart, bores: list[Bored]) -> None:
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
