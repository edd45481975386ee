"""Outlines from drawings: what a file shows, placed, by colour."""

from __future__ import annotations

import os
from functools import lru_cache
from pathlib import Path

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from pathgen.artwork import Artwork, Placement, placed, read_artwork
from pathgen.base import overlay
from pathgen.base.errors import ArtworkError, JobError
from pathgen.base.files import similar
from pathgen.base.plain import counted, one_line
from pathgen.base.units import place_as_written, place_words
from pathgen.job.inlay_tables import PlaceTable
from pathgen.job.job import Job
from pathgen.job.tables import FormTable, OutlineTable, PlateTable
from pathgen.strategies.cutting_line import what_enters

_LINE = 0.6  # of a shape that its one hole takes at least to be a line round it
_HAIR = 0.002  # half the width of a gap that is none, mm
_INNER = 1e-3  # corners that point inward are made so much rounder than the outline's cutter, as a share of its radius

_REACHED, _EVERY = 1e-3, 0.05
"""A wall counts as reached by the cutter that lies no further off its way, mm; looked at so often along it."""

_LITTLE = 1e-3  # what is filled is more than next to nothing from this area on however far the wall lies off, mm2

SEEN = 0.05
"""Area that an inward corner keeps from which it is told, mm2."""

Drawn = OutlineTable | PlateTable | FormTable
Regions = tuple[tuple[str, Polygon | MultiPolygon], ...]


def drawing_path(job: Job, artwork: str, where: str) -> Path:
    """Where a drawing lies: relative to the job file. Raises JobError for one that is not there."""
    path = job.path.parent / artwork
    if not os.path.lexists(path):
        found = similar(path, ".svg")
        near = one_line(str(Path(artwork).with_name(found))) if found else ""
        raise JobError(f"{where} artwork", f"{artwork} is not there",
                       remedy=f"did you mean {near}?" if near else "check the name: paths are relative to the job file")
    return path


def drawn_outline(job: Job, table: Drawn, where: str, *, holed: bool = False) -> Polygon:
    """The one area that a table's drawing shows; with its holes where it may be `holed`.

    Raises JobError for a drawing that is not there or shows anything else.
    """
    shape = overlay.union_all([polygon for _, polygon in _regions(job, table, where)])
    name = Path(table.artwork or "").name
    if not _is_whole(shape):
        shape = _without_hairs(shape)
    if not (_is_whole(shape) or (holed and shape.geom_type == "Polygon")):
        parts = shapely.get_parts(shape)
        holes = int(shapely.get_num_interior_rings(parts).sum())
        if len(parts) == holes == 1 and Polygon(parts[0].interiors[0]).area > _LINE * Polygon(parts[0].exterior).area:
            raise JobError(f"{where} artwork", f"the outline in {name} is drawn as a line",
                           allowed="one filled shape without holes", remedy="fill it, and give it no stroke")
        raise JobError(f"{where} artwork", f"{name} shows {counted(len(parts), 'shape')} with {counted(holes, 'hole')}",
                       allowed="one shape without holes",
                       remedy="keep the outline alone in that drawing, or name its artwork_layers"
                              if len(parts) != 1 else
                              "draw what lies inside over the whole shape" + (
                                  '; where the holes are cut through, write openings = { cutter = ".." } for them'
                                  if where == "[plate]" else ""))
    return shapely.orient_polygons(shape)


def closed_by_cutter(job: Job, asked: Polygon) -> Polygon | MultiPolygon:
    """An outline, filled where it turns inward tighter than its cutter; the same one where that is next to nothing."""
    if job.outline is None:
        return asked
    way, r = _way_round(job, asked, job.outline.cutter)
    closed = overlay.buffer(way, -r, quad_segs=64)
    filled = overlay.difference(closed, asked)
    if filled.area > _LITTLE:
        return closed
    walls = shapely.points(shapely.get_coordinates(shapely.segmentize(filled.boundary, _EVERY)))
    wall = closed.boundary
    shapely.prepare(wall)
    return asked if shapely.dwithin(wall, walls, _REACHED).all() else closed


def as_cut(job: Job, asked: Polygon, closed: BaseGeometry, where: str) -> Polygon:
    """The outline as its cutter can leave it: rounded in corners that point inward; `closed` as `closed_by_cutter`.

    Raises JobError for a bay that it does not go into.
    """
    if job.outline is None:
        return asked
    way, r = _way_round(job, asked, job.outline.cutter)
    if not _is_whole(way):  # a bay may be shut off by lips so thin that nothing is filled between them
        rings = shapely.get_rings(way)
        x, y = shapely.get_coordinates(shapely.shortest_line(rings[0], rings[1]).centroid)[0]
        raise JobError(where, f'"{job.outline.cutter}" does not go into the outline near {place_words(x, y)}',
                       allowed=what_enters(asked, r), remedy="take a smaller cutter for the outline, or "
                       f"draw that bay {'wider' if job.board else 'as an opening'}")
    return asked if closed is asked else shapely.orient_polygons(overlay.union(asked, closed))


def _way_round(job: Job, asked: Polygon, cutter: str) -> tuple[Polygon, float]:
    """What the outline's cutter goes round an outline on, in corners that point inward as rounded as it goes for sure;
    and how far off it goes, mm."""
    r = job.cutter(cutter, "[outline] cutter").radius * (1 + _INNER)
    return overlay.buffer(asked, r, quad_segs=64), r


def inner_corners(cut: Polygon, asked: Polygon) -> BaseGeometry:
    """What the outline's cutter leaves standing in corners that point inward, in plan; empty where it is little."""
    left = overlay.difference(cut, asked)
    return left if left.area > SEEN else Polygon()


def _is_whole(shape: Polygon | MultiPolygon) -> bool:
    return shape.geom_type == "Polygon" and not shape.interiors


def _without_hairs(shape: BaseGeometry) -> BaseGeometry:
    """A shape without the hairs that colours which touch may leave where the engine cut one by the other."""
    return overlay.buffer(overlay.buffer(shape, _HAIR, join_style="mitre"), -_HAIR, join_style="mitre")


def drawn_area(
    job: Job, table: Drawn, where: str, *, colours: tuple[str, ...] | None, layers: tuple[str, ...] = ()
) -> Polygon | MultiPolygon:
    """What a table's drawing shows in some colours and layers, or in all. Raises JobError for one that it has not."""
    regions = dict(_regions(job, table, where, layers))
    for colour in colours or ():
        if colour not in regions:
            raise JobError(f"{where} colours", f"{colour} is not in {table.artwork}", allowed=", ".join(regions),
                           remedy="name a colour of the drawing")
    wanted = (*(colours or ()), *layers) or tuple(regions)
    area = overlay.union_all([shape for name, shape in regions.items() if name in wanted])
    closed = _without_hairs(area)
    return area if len(shapely.get_rings(closed)) == len(shapely.get_rings(area)) else closed


def page_of(job: Job, form: FormTable) -> Polygon | None:
    """The page of a form's drawing, where it lies; None where its place is not that of the page."""
    path = drawing_path(job, form.artwork, "[form]")
    art = _read(path, path.stat().st_mtime_ns, None, (), form.artwork_layers)
    wide, high = art.page
    if form.place is None:
        return shapely.box(0.0, -high / 2, wide, high / 2)
    lies = stated(form.place)
    if lies is None or lies.centre == "drawing":
        return None
    half = lies.scale(art) / 2 * np.array([wide, high])
    page = shapely.box(*(lies.at - half), *(lies.at + half))
    return shapely.affinity.rotate(page, lies.rotate, origin=lies.at)


def stated(place: PlaceTable | None) -> Placement | None:
    """Where a place's own `at` puts a drawing; None where it has none."""
    if place is None or place.at is None:
        return None
    return Placement(at=place.at, rotate=place.rotate, width=place.width, height=place.height, mirror=place.mirror,
                     centre=place.centre or "page")


def _regions(job: Job, table: Drawn, where: str, layers: tuple[str, ...] = ()) -> Regions:
    """What a drawing shows by colour, where it lies on the part; what is in one of `layers` by that layer's name."""
    place = table.place
    if place is not None and (place.at is None or place.along):
        raise JobError(f"{where} place", "along given" if place.at else "at is missing",
                       remedy="an outline has one place: give at = [along, across], and rotate where it is turned")
    if place is not None:
        place.check(where)
    return tuple((region.colour, region.polygon) for region in _drawing(job, table, where, layers).regions)


def middled(job: Job, table: OutlineTable, lies: Polygon) -> str:
    """The place, as a job states it, that brings a drawing's middle to the centre-line from where it lies."""
    lay = table.place.at if table.place and table.place.at else np.array(_drawing(job, table, "[outline]").page) / 2
    at = place_as_written((lay[0], lay[1] - (lies.bounds[1] + lies.bounds[3]) / 2), job.units)
    return f"at = {at}" if table.place else f"place = {{ at = {at} }}"


def outlines_left_out(job: Job) -> tuple[str, ...]:
    """What the drawings of a job's outlines hold that is not cut, in words."""
    words: dict[str, None] = {}
    for where, table in (("[outline]", job.outline), ("[plate]", job.plate), ("[form]", job.form)):
        if table is not None and table.artwork is not None:
            words |= dict.fromkeys(left_out_words(_drawing(job, table, where)))
    return tuple(words)


def left_out_words(art: Artwork) -> tuple[str, ...]:
    """What a drawing holds that is not cut."""
    name = art.name
    return tuple(f"{name}: {one.name} {one.id.removeprefix(f'{name} ')} ({one.reason}): {one.remedy}"
                 for one in art.left_out)


def _drawing(job: Job, table: Drawn, where: str, layers: tuple[str, ...] = ()) -> Artwork:
    """As if layers that are not to be seen were hidden."""
    path, seen = drawing_path(job, table.artwork or "", where), table.artwork_layers
    art = _read(path, path.stat().st_mtime_ns, table.place, layers, seen and (*seen, *layers))
    return as_a_plate_lies(art) if table.place is None and (job.plate or job.form) else art


def as_a_plate_lies(art: Artwork) -> Artwork:
    """A drawing where none of its job's places says: its page begins at X 0, its middle on the centre-line."""
    return placed(art, at=(art.page[0] / 2, 0.0)) if art.physical else art


@lru_cache(maxsize=4)
def _read(
    path: Path, changed: int, place: PlaceTable | None, layers: tuple[str, ...], seen: tuple[str, ...]
) -> Artwork:
    """Read once for each version of the file."""
    try:
        art = read_artwork(path, layers=seen).by_layer(layers)
    except ArtworkError as wrong:
        bare = wrong.advising(', or leave these out with missing="report"', "")
        raise bare.advising("name the layers to cut in layers", "or name the layers to cut in artwork_layers") from None
    lies = stated(place)
    return art if lies is None else lies.of(art)
