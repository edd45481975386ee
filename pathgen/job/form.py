"""Templates, moulds and bending forms: what a line of a drawing leaves of a sheet, inside it and outside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely import Polygon
from shapely.affinity import translate
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.arrays import Bools, Floats
from pathgen.base.errors import JobError
from pathgen.base.units import (
    as_written,
    coarse_length,
    format_length,
    place_words,
    rounded_down,
    rounded_up,
    told_apart,
)
from pathgen.job.inlay_tables import PlaceTable
from pathgen.job.job import Job, head_of
from pathgen.job.outlines import drawn_area, page_of
from pathgen.job.tables import FormTable, OpeningsTable, PlateTable
from pathgen.parts.flat.part import FormFacts

HALVES = {"outside": "inside", "on": "inside", "inside": "outside"}
"""What a form cut on one side of its line, or on it, is called: the part that is left."""

FORMS = ("inside form", "outside form")
"""What the programs of a half state to be."""

ALLOWED = ("stock", "setup", "machine", "cutter", "form", "plate", "holes", "hole", "outline")
"""The tables that a job of a form may have."""

_EVERY = 1.0  # spacing of the places where the wall is measured, mm
_SEEN_ON_EDGE = 0.01  # how near to the page's edge what is filled reaches it, mm
_LOST = 1e-9  # what sums lose, mm
_ON_EDGE = 1e-6  # how near to the sheet's edge the drawing's own edge is the sheet's, mm
_LEAST = 1.0  # smaller pieces are crumbs where the drawing's edge and the form's fall together, mm2
_LEAD = 50.0  # how far along the line from where it runs out the form's corner reaches, mm: more of it is wall


def parts_of(job: Job) -> tuple[Job, ...]:
    """The job of each part that a job makes: one for each half of a form, or the job itself."""
    if job.form is None or job.form.cut != "halves":
        return (job,)
    if not job.form.gap:
        raise JobError("[form] gap", 'missing, or 0, with cut = "halves"', allowed="more than 0",
                       remedy="give it: the thickness of the wood that is bent between the halves")
    return tuple(replace(job, form=replace(job.form, cut=cut)) for cut in ("outside", "inside"))


def form_kind(job: Job) -> str:
    """What the programs of a half of a form state to be: ``inside form``; nothing for what is whole by itself."""
    return f"{HALVES[_form(job).cut]} form" if job.form and job.form.gap else ""


def plate_of(form: FormTable, job: Job) -> PlateTable:
    """What a form is as a flat part: of the sheet's thickness, its face left as it is."""
    if job.outline is None:
        raise JobError("[outline]", "is missing: it says which cutter cuts the form",
                       remedy="add [outline] with its cutter and tabs")
    return PlateTable(thickness=job.stock.thickness, face=False, min_web=form.min_web,
                      openings=OpeningsTable(cutter=job.outline.cutter, through=job.outline.through))


def form_piece(job: Job) -> tuple[Polygon, Floats]:
    """What is left of the sheet, openings and all, in the part's frame; and how far the drawing's was moved to it.

    The piece lies along X from 0, in the middle of its sheet. Raises JobError for a line that leaves nothing, or more
    than one piece.
    """
    piece = _piece(job)
    x0, y0, _, y1 = piece.bounds
    shift = np.array([-x0, -(y0 + y1) / 2])
    return translate(piece, *shift), shift


def form_facts(job: Job) -> FormFacts:
    """What a maker must know of a form beside its shape."""
    form, (_, shift) = _form(job), form_piece(job)
    wall = _least_wall(job)
    return FormFacts(half=HALVES[form.cut], gap=form.gap, layers=form.layers, moved=(float(shift[0]), float(shift[1])),
                     wall=None if wall is None else wall[0])


def is_own(job: Job, at: tuple[float, float]) -> bool:
    """Whether a hole at a place of the drawing's frame is nearer to this part of the form than to the other."""
    form = _form(job)
    if not form.gap:
        return True
    place = shapely.Point(at)
    own, others = (float(shapely.distance(place, _piece(one))) for one in _with_other_half(job))
    return own <= others if form.cut == "outside" else own < others


def _with_other_half(job: Job) -> tuple[Job, ...]:
    """A half and the other one; what has no other by itself."""
    form = _form(job)
    other = "inside" if form.cut == "outside" else "outside"
    return (job, replace(job, form=replace(form, cut=other))) if form.gap else (job,)


def check_tables(job: Job) -> None:
    """Raise JobError for a table that a form has no use for."""
    for name in job.tables:
        if name not in ALLOWED:
            raise JobError(head_of(name), "the job is of a [form], which is cut from sheet as it is",
                           allowed="[[hole]], [holes], [outline]", remedy="leave it out")


def check_form(job: Job) -> None:
    """Raise JobError for the first thing about a form that does not go together."""
    form, unit = _form(job), job.units
    check_tables(job)
    if form.gap and form.cut == "on":
        raise JobError("[form] gap", f'{format_length(form.gap, unit)} with cut = "on"',
                       allowed='gap with cut = "halves", "inside" or "outside"', remedy="leave one of them out")
    if (form.length is None) != (form.width is None):
        raise JobError("[form]", f"{'length' if form.width is None else 'width'} without the other",
                       allowed="both, or neither", remedy="give both, or leave both out: the wall all round the line")
    found = _least_wall(job)
    if found is not None and found[0] < form.wall - 1e-6:
        wall, place = found
        left, least = told_apart(wall, form.wall, unit=unit)
        raise JobError("[form] wall", f"{left} of the {HALVES[form.cut]} form is left between the line and "
                       f"its edge at {place_words(*place, unit)}",
                       allowed=f"{least} or more: a thin form bends under clamps",
                       remedy=_wider(job, form.wall - wall))


def _wider(job: Job, short: float) -> str:
    """What of size, place and wall gives a form the wall that it asks for, `short` mm more: what works, and no more."""
    form, unit, more = _form(job), job.units, rounded_up(short, job.units)
    ways = []
    if form.length is not None and form.width is not None:
        long, wide = rounded_up(form.length + short, unit), rounded_up(form.width + 2 * short, unit)
        ways = [(f"make length {format_length(long, unit)} or more", replace(form, length=long)),
                (f"make width {format_length(wide, unit)} or more", replace(form, width=wide))]
    page = _page(job)
    place = form.place or (PlaceTable(at=shapely.get_coordinates(page.centroid)[0].tolist()) if page else PlaceTable())
    ways += [(f"move the drawing {format_length(more, unit)} towards the {side} with place",
              replace(form, place=replace(place, at=(place.at[0] + x * more, place.at[1] + y * more))))
             for side, x, y in (("near end", -1, 0), ("far end", 1, 0), ("lower side", 0, -1), ("upper side", 0, 1))
             if place.at is not None]
    words = [words for words, one in ways if _has_its_wall(replace(job, form=one))]
    walls = [found[0] for found in map(_least_wall, _with_other_half(job)) if found]
    return ", or ".join([*words, f"write wall = {as_written(rounded_down(min(walls), unit), unit)}"])


def _has_its_wall(job: Job) -> bool:
    """Whether both halves have it all along a line that is none of the page's edge."""
    try:
        walls = [found[0] for found in map(_least_wall, _with_other_half(job)) if found]
        return min(walls, default=np.inf) >= _form(job).wall - 1e-6 and closed_by_page(job) is None
    except JobError:
        return False


def closed_by_page(job: Job) -> tuple[float, Polygon] | None:
    """How much of the line is the page's edge, and the page, mm; None where none is, or all of it is meant to be."""
    (area, frame), page = _area(job), _page(job)
    if page is None:
        return None
    line = overlay.intersection(area.boundary, overlay.buffer(frame, -_ON_EDGE))
    on_edge = float(overlay.intersection(line, overlay.buffer(page.exterior, _SEEN_ON_EDGE)).length)
    return (on_edge, page) if 1.0 < on_edge < line.length - 1.0 else None


def refuse_tight(job: Job, filled: BaseGeometry, piece: Polygon, diameter: float) -> None:
    """Raise JobError where the line turns tighter than the cutter, so that the halves would not be `gap` apart."""
    form = job.form
    if form is None or not form.gap or filled.is_empty:
        return
    corners = shapely.get_coordinates(filled)
    away = shapely.distance(shapely.points(corners), piece.exterior)
    worst = int(np.argmax(away))
    if away[worst] <= _STANDING:
        return
    x, y = (corners[worst] - form_piece(job)[1]).tolist()
    page = closed_by_page(job)
    raise JobError(
        "[form] artwork",
        f"the line turns tighter than the {diameter:g} mm cutter near {place_words(x, y, job.units)}, which would "
        f"leave {away[worst]:.3f} mm of the {HALVES[form.cut]} form standing in the gap",
        allowed=f"a radius of {diameter / 2:g} mm or more, and in the other half too",
        remedy="draw the line rounder there, or take a smaller cutter for the outline" + (
            f"; or, as the page's edge is cut as part of the line, {to_the_page(job, page[1])}" if page else ""))


def to_the_page(job: Job, page: Polygon) -> str:
    """What to write where a line that was likely to end at the page's edge goes on along it."""
    (x0, y0, x1, y1), unit = page.bounds, job.units
    size = f"length {coarse_length(x1 - x0, unit)} and width {coarse_length(y1 - y0, unit)}, or less" \
        if _form(job).place is None else "length and width so that it does"
    return f"if the line is to end at the page's edge, let the form end there too: write [form] {size}"


_STANDING = 0.005
"""What may be left in the gap where short straight pieces of a line meet, mm: curves are followed so closely."""


def _form(job: Job) -> FormTable:
    if job.form is None or job.form.cut == "halves":
        raise JobError("[form] cut", '"halves" makes two parts, each from its own sheet', allowed="one part",
                       remedy='pathgen build and check take both; for one alone write cut = "outside" or "inside"')
    return job.form


def _page(job: Job) -> Polygon | None:
    """The page of its drawing, where it lies; None where its place is not that of the page."""
    return page_of(job, _form(job))


def _area(job: Job) -> tuple[BaseGeometry, Polygon]:
    """What the line encloses, and the sheet's part that the form may take."""
    form = _form(job)
    area = drawn_area(job, form, "[form]", colours=form.colours)
    if form.length is not None and form.width is not None:
        asked = np.array([0.0, -form.width / 2, form.length, form.width / 2])
        page = _page(job)
        if page is not None:  # one as large but for a size that was rounded ends where the form does
            over = (page.bounds - asked) * [1.0, 1.0, -1.0, -1.0]
            asked = np.where((over > _LOST) & (over < _SEEN_ON_EDGE), page.bounds, asked)
        return area, shapely.box(*asked)
    by = form.wall + form.gap
    x0, y0, x1, y1 = area.bounds
    return area, shapely.box(x0 - by, y0 - by, x1 + by, y1 + by)


def _piece(job: Job) -> Polygon:
    form, (area, frame) = _form(job), _area(job)
    by = form.gap if form.line == form.cut else 0.0
    if form.cut == "on" and job.outline:
        by = job.cutter(job.outline.cutter, "[outline] cutter").radius
    kept = overlay.difference(frame, area) if form.cut == "inside" else overlay.intersection(frame, area)
    piece = overlay.difference(kept, _beside(area, frame, by))
    parts = [part for part in shapely.get_parts(piece) if part.area > _LEAST]
    if len(parts) != 1:
        inner = [part.representative_point() for part in parts[:3]]
        places = "; ".join(place_words(point.x, point.y, job.units) for point in inner)
        raise JobError("[form] artwork", f"leaves {len(parts)} pieces {HALVES[form.cut]} the line"
                       f"{f', near {places}' if parts else ''}", allowed="one piece on each side that is kept",
                       remedy="draw the inside as one area, and let it run past the form's edge where the line ends")
    return shapely.orient_polygons(parts[0])


def _beside(area: BaseGeometry, frame: Polygon, by: float) -> BaseGeometry:
    """What lies within `by` of the line, which is taken to run straight on where it ends at the frame's edge."""
    line = shapely.line_merge(overlay.intersection(area.boundary, overlay.buffer(frame, -_ON_EDGE)))
    runs = [_run_on(run, 10 * by) for run in shapely.get_parts(line)]
    return overlay.buffer(shapely.MultiLineString(runs), by, quad_segs=64)


def _run_on(run: shapely.LineString, by: float) -> shapely.LineString:
    if run.is_closed:
        return run
    points, near = shapely.get_coordinates(run), min(0.05, run.length / 2)
    inner = shapely.get_coordinates(shapely.line_interpolate_point(run, [near, run.length - near]))
    first, last = points[[0, -1]] + by / near * (points[[0, -1]] - inner)
    return shapely.LineString([first, *points, last])


def _least_wall(job: Job) -> tuple[float, tuple[float, float]] | None:
    """The least that is left between the line and the form's edge, square to the line, and where.

    Within `_LEAD` of a place where the line runs out through a side of the edge, that side is left out: there the form
    ends in a corner. None where no place of the line looks at an edge: what is kept inside a line all round has none.
    """
    if _form(job).length is None and _form(job).cut != "inside":
        return None
    piece, (_, frame) = _piece(job), _area(job)
    edge = frame.exterior
    inner = overlay.difference(piece.boundary, overlay.buffer(edge, _ON_EDGE))
    runs = shapely.get_parts(shapely.line_merge(inner))
    if not len(runs):
        return None
    corners = shapely.get_coordinates(edge)
    sides = shapely.linestrings(np.stack([corners[:-1], corners[1:]], axis=1))
    places, way, out = (np.concatenate(each) for each in zip(*(_along(run, sides) for run in runs), strict=True))
    into = way[:, ::-1] * [-1.0, 1.0]
    into[~shapely.contains_xy(piece, *(places + 1e-3 * into).T)] *= -1.0
    far = float(np.hypot(*np.ptp(corners, axis=0)))
    looks = shapely.linestrings(np.stack([places, places + far * into], axis=1))
    hits = overlay.intersection(looks[:, None], sides)
    walls = np.where(out, np.inf, np.nan_to_num(shapely.distance(shapely.points(places)[:, None], hits), nan=np.inf))
    walls = walls.min(axis=1)
    across = np.stack([places + 1e-3 * into, places + np.minimum(walls, far)[:, None] * into], axis=1)
    walls[shapely.intersects(shapely.linestrings(across), inner)] = np.inf  # the line itself comes first
    worst = int(np.argmin(walls))
    return None if np.isinf(walls[worst]) else (float(walls[worst]), (float(places[worst, 0]), float(places[worst, 1])))


def _along(run: shapely.LineString, sides: Sequence[BaseGeometry]) -> tuple[Floats, Floats, Bools]:
    """(n, 2) places along a run, its directions there, and (n, sides) at which of them it runs out nearby."""
    at = np.linspace(0.0, run.length, max(1, int(run.length / _EVERY)) + 1)
    places, before, after = (shapely.get_coordinates(shapely.line_interpolate_point(run, np.clip(a, 0.0, run.length)))
                             for a in (at, at - 0.05, at + 0.05))
    way, ends = after - before, [] if run.is_closed else [at, run.length - at]
    out = np.zeros((len(at), len(sides)), dtype=bool)
    for end, away in zip(shapely.points(shapely.get_coordinates(run)[[0, -1]]), ends, strict=False):
        out |= (shapely.distance(sides, end) < 2 * _ON_EDGE) & (away < min(_LEAD, run.length / 2))[:, None]
    return places, way / np.linalg.norm(way, axis=1, keepdims=True), out
