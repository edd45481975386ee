"""The flat part of a job: its outline, its openings, its rings, and whether they go together."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.cutters import Cutter
from pathgen.base.errors import JobError, Mistakes
from pathgen.base.tops import level
from pathgen.base.units import format_length, place_words, rounded_down, rounded_up, written_alike
from pathgen.job.bores import Bored, bores_of, boring, check_bores
from pathgen.job.form import check_form, form_facts, form_piece, refuse_tight
from pathgen.job.job import Job
from pathgen.job.outlines import SEEN, as_cut, closed_by_cutter, drawn_area, drawn_outline, inner_corners
from pathgen.job.tables import NARROWEST_GROOVE, PlateTable, RingTable
from pathgen.parts.flat.part import FlatPart, rounded
from pathgen.strategies.pocketing.openings import opening
from pathgen.strategies.pocketing.settings import ARC
from pathgen.strategies.pocketing.shapes import films, polygons
from pathgen.work.features import Cutouts
from pathgen.work.operations import CutOut, Operation
from pathgen.work.part import inside

OF_BOARDS = ("slots", "nut", "dots", "block", "gauges", "side_dots", "nut_blank", "saddle_blank", "frets", "strings",
             "neck")
"""Tables that a flat part has no use for."""

_MOSTLY = 0.5  # share of an opening that its cutter must open

_FILM = 0.05
"""What an opening just as wide as its cutter keeps along its walls is thinner, mm: drawn curves come in chords."""

_MEETS = 1e-3  # what lies no further from a piece meets it, mm
_AS_WRITTEN = 0.002  # by how much half of a length may be missed by writing it to four places of an inch, mm


def flat_part_of(job: Job) -> FlatPart:
    """The plate that a job describes. Raises JobError for an outline, holes or openings that make no sense."""
    table = _plate(job)
    return FlatPart(
        outline=_cut_outline(job), thickness=table.thickness, min_web=table.min_web,
        bores=tuple(one.bore for one in bores_of(job)), drawn=tuple(shapely.get_parts(_drawn_openings(job))),
        form=form_facts(job) if job.form else None,
    )


def plate_corners(job: Job) -> BaseGeometry:
    """What the outline's cutter leaves standing in corners that point inward, in plan; empty where it is little."""
    return inner_corners(_cut_outline(job), _asked_outline(job))


def boring_of(job: Job, part: FlatPart) -> Iterator[tuple[Operation[Any], str]]:
    """(operation, name of its cutter) of holes and openings, as written: a counterbore before its holes."""
    top = part.thickness - job.skim  # as they find it
    yield from boring(job, part, top)
    drawn, openings = _plate(job).openings, MultiPolygon(list(part.drawn))
    if drawn is not None and part.drawn:
        what = f"{len(part.drawn)} drawn openings" if len(part.drawn) > 1 else "the drawn opening"
        yield CutOut(Cutouts(shapes=openings, bottom=-drawn.through, depth=top + drawn.through, what=what,
                             key="" if job.form else openings_cutter(job)[0])), drawn.cutter


def check_flat(job: Job, part: FlatPart) -> None:
    """Raise JobError for what does not go together of a flat part; rings are held to holes that are in order."""
    mistakes = Mistakes()
    for name in OF_BOARDS:
        with mistakes.caught():
            if getattr(job, name) is not None:
                raise JobError(f"[{name}]", f"the job is of a {job.body_name}, which has no frets and no strings",
                               allowed="[[inlay]], [[ring]], [[hole]], [surface], [outline]",
                               remedy=f"leave [{name}] out")
    with mistakes.caught():
        if job.form is not None:
            check_form(job)
    with mistakes.caught():
        if job.outline and (job.outline.artwork or job.outline.place or job.outline.artwork_layers):
            raise JobError("[outline] artwork", f"the outline is said in {job.body_name}",
                           remedy="write artwork, artwork_layers and place there")
    with mistakes.caught():
        _face(job)
    bores = bores_of(job)
    try:
        check_bores(job, part, bores)
    except JobError as wrong:
        bores = []
        with mistakes.caught():
            raise wrong
    with mistakes.caught():
        _openings(job, part)
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
        return Polygon(_drawn_with_holes(job, table).exterior)
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


def _drawn_with_holes(job: Job, table: PlateTable) -> Polygon:
    """The drawn outline, with the holes in it where openings name nothing else."""
    holed = table.openings is not None and not (table.openings.colours or table.openings.layers)
    return drawn_outline(job, table, "[plate]", holed=holed)


def _drawn_openings(job: Job) -> BaseGeometry:
    table = _plate(job)
    if job.form is not None:
        return MultiPolygon([Polygon(ring) for ring in form_piece(job)[0].interiors])
    if table.openings is None or table.artwork is None:
        return MultiPolygon()
    if not (table.openings.colours or table.openings.layers):
        if holes := _drawn_with_holes(job, table).interiors:
            return MultiPolygon([Polygon(hole) for hole in holes])
        raise JobError("[plate] openings", "neither colours nor layers, and the drawing has no hole in it",
                       remedy="name the colours, or the layers, of the drawing that are cut through")
    return drawn_area(job, table, "[plate] openings", colours=table.openings.colours, layers=table.openings.layers)


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
    one = opening(cutter, level(1.0), cutter.flute_length, shape, ARC, all_of_it=True)
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
    if smallest.shape == "flat-end" and smallest.diameter > wide and not written_alike(smallest.diameter, wide):
        raise JobError(f"{where} cutters", f'the smallest, "{smallest.name}", is {smallest.diameter:g} mm, and the '
                       f"ring {wide:.3f} mm wide", allowed=f"{wide:.3f} mm or less",
                       remedy="name a smaller cutter, or make the ring wider")
    room = float(inside(part.outline, shapely.Point(ring.at)))
    if room <= ring.outer:
        raise JobError(f"{where} outer", f"{ring.outer:g} mm, and the ring round {place_words(*ring.at)} reaches "
                       f"{ring.outer - room:.2f} mm past the edge of the plate",
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
            remedy="change inner or outer, or move the ring or the opening")


def _clear_of(bores: list[Bored], ring: RingTable, where: str) -> None:
    """No hole, nor its counterbore, meets the ring: that which takes most of it is told."""
    def taken(ring: RingTable) -> list[float]:
        area = ring_area(ring)
        return [overlay.intersection(one.bore.shape, area).area for one in bores]

    shares = taken(ring)
    if max(shares, default=0.0) <= 1e-6:
        return
    worst, more = shares.index(max(shares)), sum(share > 1e-6 for share in shares) - 1
    one, half = bores[worst], replace(ring, inner=ring.inner / 2, outer=ring.outer / 2)
    asked = "" if max(taken(half)) > 1e-6 else \
        f"if diameters are meant, inner and outer are radii: write inner = {half.inner:g} and " \
        f"outer = {half.outer:g}; else "
    raise JobError(f"{where} and {one.where} at", f"{one.place} takes {shares[worst]:.1f} mm2 of the ring round "
                   f"{place_words(*ring.at)}" + (f", and {more} more do{'es' * (more == 1)} too" if more else ""),
                   allowed="holes beside a ring, or within its inner circle",
                   remedy=f"{asked}move one of them, or make it smaller")
