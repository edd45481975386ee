"""The clamping that drills the side dots: the finished board stands upright, its bass edge up and level."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import shapely

from pathgen.base.arrays import Floats
from pathgen.base.errors import JobError
from pathgen.base.units import falls_short, rounded_down
from pathgen.job.job import Job
from pathgen.job.part import board_of, slots_of
from pathgen.parts.fingerboard.fretting import finished_ends, past_binding
from pathgen.parts.fingerboard.part import Fingerboard
from pathgen.parts.fingerboard.rows import dot_rows
from pathgen.parts.tools import Edge, StandingBoard
from pathgen.work.clamping import Clamping, Step, slug
from pathgen.work.features import Holes, Slots
from pathgen.work.operations import SideDots

KIND = "side dots"
"""What its program states to be."""

_BOW = 0.2
"""How far an edge may bow and still be drilled along a straight line, mm."""

_WALL = 0.5
"""Least wood between a hole and the faces of the board, mm; its own value, from memory."""


def side_dot_clamping(job: Job) -> Clamping:
    """X along the bass edge from the nut line, Y 0 at the underside, Z 0 on the edge.

    Raises JobError for a job without ``[side_dots]`` or without dots, and for holes that come too near to a face of
    the board or to a fret slot.
    """
    board = board_of(job)
    table = job.side_dots
    if table is None:
        raise JobError(job.path.name, "[side_dots] is missing", remedy="add a [side_dots] table with its cutter")
    cutter = job.cutter(table.cutter, "[side_dots] cutter")
    diameter = cutter.diameter if table.diameter is None else table.diameter
    rows = dot_rows(board, board.fittings.side_dots)
    dots = [(row["fret"], one) for row in rows for one in row["each"]]
    if not dots:
        raise JobError("[board] side_dots", "no fret of the board has one", remedy="list the frets, like [3, 5, 7]")
    at = np.array([one["at"] for _, one in dots])
    high = board.surface.height(at[:, 0], at[:, 1])
    _check_straight(at, board)
    _check_room([fret for fret, _ in dots], at, high, diameter, board, slots_of(job, board))
    # with the bass edge up and X to the right, the top of a right-handed board looks away, toward + Y
    top_side = -board.bass_side
    places = np.column_stack([[one["along_edge"] for _, one in dots], top_side * high / 2])
    edges = board.layout.edges
    along, longer = np.linspace(-board.behind_nut, board.length, 101), math.hypot(1.0, edges.slope)
    half = np.asarray(edges.half_width(along))
    (nut, end), treble = np.swapaxes(past_binding(board, np.stack([board.nut_line, board.end_line])), 0, 1)
    square = np.array([nut[1] - end[1], end[0] - nut[0]]) / math.dist(nut, end)
    under = np.abs((treble - nut) @ square)
    stands = float(np.abs((shapely.get_coordinates(board.finished) - nut) @ square).max())
    before = board.behind_nut * longer
    stock = StandingBoard(length=before + math.dist(nut, end), width=float(board.surface.height(along, half).max()),
                          thickness=stands, margin_nut=before, top_side=top_side)
    setup = replace(job.setup.elsewhere, z_zero="stock-top")
    drill = SideDots(Holes(at=places, diameter=diameter, bottom=stands - table.depth), toward=top_side,
                     along=setup.along, under=(float(under[0]), float(under[1])))
    step = Step(order=1, operation=drill, cutter=cutter, file_name=f"side-dots-{slug(cutter.name, 'cutter')}.nc")
    return Clamping(
        title=f"{job.title}: side dots in the bass edge", kind=KIND, units=job.units, board=Edge.all_of(stock),
        stock=stock, setup=setup, machine=job.machine, steps=(step,),
    )


def _check_straight(at: Floats, board: Fingerboard) -> None:
    """A drawn edge may curve: then its dots lie on no straight line."""
    start = past_binding(board, board.nut_line[None])[0, 0]
    unit = (at[-1] - start) / np.linalg.norm(at[-1] - start)
    off = float(np.abs((at - start) @ np.array([-unit[1], unit[0]])).max())
    if off > _BOW:
        raise JobError("[side_dots]", f"the bass edge bows {off:.2f} mm", allowed=f"{_BOW:g} mm or less",
                       remedy="drill by the template on the setup sheet: a bowed edge does not stand level")


def _check_room(
    frets: list[int], at: Floats, high: Floats, diameter: float, board: Fingerboard, slots: Slots | None
) -> None:
    thin = int(np.argmin(high))
    if falls_short(float(high[thin]) - diameter, 2 * _WALL):
        raise JobError("[side_dots] diameter", f"{diameter:g} mm at fret {frets[thin]}, where the edge is "
                       f"{high[thin]:.2f} mm high",
                       allowed=f"{rounded_down(max(high[thin] - 2 * _WALL, 0.0)):.2f} mm or less",
                       remedy="take smaller dots, or leave that fret out")
    if slots is None:
        return
    away = shapely.distance(shapely.linestrings(finished_ends(board))[:, None], shapely.points(at)).min(axis=0)
    near = int(np.argmin(away))
    if falls_short(float(away[near]), (diameter + slots.width) / 2):
        raise JobError("[side_dots] diameter", f"{diameter:g} mm at fret {frets[near]}, {away[near]:.2f} mm from the "
                       "middle of a slot", allowed=f"{rounded_down(2 * away[near] - slots.width):.2f} mm or less",
                       remedy="take smaller dots, or leave that fret out")
