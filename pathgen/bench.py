"""Tools of the bench from the board's own numbers: a hollow block of its radius, flat gauges of its radii."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely

from pathgen.clamping import OUTLINE, SURFACE_FINISH, Clamping, OutlineCut, Setup, Step, Stock, Surfacing
from pathgen.errors import JobError
from pathgen.fingerboard import Fingerboard, Frets
from pathgen.hollow import Hollow
from pathgen.job.load import Job
from pathgen.job.sense import part_of
from pathgen.job.tables import BlockTable
from pathgen.layout import Edges
from pathgen.plan import numbered
from pathgen.surface import Surface

BLOCK_OVERHANG = 5.0
"""How far a block reaches past the board on each side where its width is left out, mm."""


def block_clamping(job: Job, frets: tuple[int, int] | None = None) -> Clamping:
    """The clamping that cuts a block with the hollow of the board's radius from one fret to another; 0 is the nut.

    The block lies on the machine with its hollow up, X 0 at its end nearest the nut. Turned over about its length it
    fits the board. Raises JobError for a job without ``[block]``, a range that is none, or a blank that is too thin.
    """
    table = job.block
    if table is None:
        raise JobError(job.path.name, "[block] is missing", remedy="add a [block] table with the cutter for it")
    board = part_of(job)
    start, end, names = _range(board, frets or table.frets)
    width = table.width or 2 * float(max(board.layout.edges.half_width(x) for x in (start, end))) + 2 * BLOCK_OVERHANG
    surface = _hollow(board, start, end, width, table)
    part = _plate(surface, shapely.box(0.0, -width / 2, end - start, width / 2), board.min_web)
    steps = [Step(order=0, operation=SURFACE_FINISH, cutter=job.cutter(table.cutter, "[block] cutter"))]
    if table.outline:
        steps.append(Step(order=0, operation=OUTLINE, cutter=job.cutter(table.outline, "[block] outline")))
    return Clamping(
        title=f"{job.title}: hollow block, {names}", units=job.units, board=part,  # type: ignore[arg-type]
        stock=Stock(length=end - start + 2 * table.margin, width=width + 2 * table.margin, thickness=table.thickness,
                    margin_nut=table.margin),
        setup=Setup(z_zero=job.setup.z_zero, along=job.setup.along, zero="blank-nut-centre"),
        machine=job.machine, surfacing=Surfacing(scallop=table.scallop),
        outline=OutlineCut() if table.outline else None, steps=tuple(numbered(steps)),
    )


def _range(board: Fingerboard, frets: tuple[int, int] | None) -> tuple[float, float, str]:
    """X of both ends of a range of frets, and the range in words."""
    places = dict(zip(board.frets.number.tolist(), board.frets.distance.tolist(), strict=True)) | {0: 0.0}
    first, last = frets or (0, max(places))
    if first not in places or last not in places or first >= last:
        raise JobError("[block] frets", f"{first} to {last}", allowed=f"two of 0 (the nut) to {max(places)}, rising",
                       remedy="correct the range")
    nut = "the nut" if first == 0 else f"fret {first}"
    return places[first], places[last], f"{nut} to fret {last}"


def _hollow(board: Fingerboard, start: float, end: float, width: float, table: BlockTable) -> Hollow:
    radius_start, radius_end = (float(board.surface.radius(x)) for x in (start, end))
    if width / 2 >= min(radius_start, radius_end):
        raise JobError("[block] width", f"{width:g} mm over a radius of {min(radius_start, radius_end):g} mm",
                       allowed="less than twice the radius", remedy="make it narrower")
    drop = board.surface.thickness - float(np.min(board.surface.height(np.array([start, end]), width / 2)))
    lowest = table.thickness - drop
    if lowest < table.least:
        raise JobError("[block] thickness", f"{table.thickness:g} mm leaves {lowest:.2f} mm under the hollow",
                       allowed=f"{drop + table.least:.2f} mm or more", remedy="take a thicker blank")
    return Hollow(thickness=lowest, radius_nut=radius_start, radius_end=radius_end, length=end - start)


def _plate(surface: Surface, outline: shapely.Polygon, min_web: float) -> Fingerboard:
    """A part without frets."""
    none = np.empty((0, 2))
    x0, y0, x1, y1 = outline.bounds
    return Fingerboard(
        surface=surface, outline=outline, finished=outline, edges=Edges(at_nut=(y1 - y0) / 2, slope=0.0),
        frets=Frets(number=np.empty(0, dtype=np.int64), distance=np.empty(0), bass=none, treble=none),
        nut_line=np.array([[x0, y0], [x0, y1]]), length=x1, min_web=min_web,
    )


