"""Block, gauges and side dots from the board's own numbers: a hollow block of its radius, flat gauges of its radii, and
holes drilled into the finished board, which stands upright, its bass edge up and level.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import shapely

from pathgen.base.arrays import Floats
from pathgen.base.errors import JobError
from pathgen.base.lettering import lettering, lettering_length
from pathgen.base.units import coarse_length, falls_short, rounded_down, sawn
from pathgen.job.board_tables import TOOL_TAB, GaugesTable
from pathgen.job.job import Job
from pathgen.job.part import board_of, slots_of
from pathgen.parts.fingerboard.fretting import finished_ends, past_binding
from pathgen.parts.fingerboard.part import Fingerboard
from pathgen.parts.fingerboard.rows import dot_rows
from pathgen.parts.tools import (
    FIRST_GAUGE,
    GAUGE,
    NEXT_GAUGE,
    StandingBoard,
    arc_edge,
    hollow_block,
    lengthwise_edge,
    radius_gauge,
    standing_edge,
)
from pathgen.work.clamping import Clamping, Step, Stock, numbered, slug
from pathgen.work.features import Engraving, Holes, OutlineCut, Slots, Surfacing, tab_height
from pathgen.work.operations import Engrave, Outline, SideDots, SurfaceFinish

_ROOM_FOR_TWO = 2.5  # how long a block's edge must be for two tabs on it, in tabs, each with the cutter beside it
_BLOCK_OVERHANG = 5.0  # how far a block reaches past the board on each side where its width is left out, mm
_PAST_FRET = 3.0  # how far a block reaches past its first and last fret, mm: over half of any crown
_GAUGE_APART = 6.0  # sheet left between the grooves of two gauges, and round them, mm


def block_clamping(job: Job, frets: tuple[int, int] | None) -> Clamping:
    """The clamping that cuts a block with the hollow of the board's radius over one fret to another; 0 is the nut.

    It covers both from edge to edge, aslant or not. The block lies on the machine with its hollow up, X 0 at its end
    nearest the nut. Turned over about its length it fits the board. Raises JobError for a job
    without ``[block]``, a range that is none, or a blank that is too thin.
    """
    board = board_of(job)
    table = job.block
    if table is None:
        raise JobError(job.path.name, "[block] is missing", remedy="add a [block] table with the cutter for it")
    first, last = frets or table.frets or (0, max(board.distances))
    if first not in board.distances or last not in board.distances or first >= last:
        raise JobError("[block] frets", f"{first} to {last}", remedy="correct the range",
                       allowed=f"two of 0 (the nut) to {max(board.distances)}, rising")
    start, end = _reach(board, first, last)
    half = max(float(board.edges.half_width(x)) for x in (start, end)) + board.binding
    if board.drawn:
        half = float(np.abs(board.finished.bounds[1::2]).max())
    width = table.width or 2 * (half + _BLOCK_OVERHANG)
    part = hollow_block(board, start, end, width=width, thickness=table.thickness, least=table.least)
    hollow = SurfaceFinish(Surfacing(scallop=table.scallop, what="hollow", part="block", table="[block]"))
    steps = [Step(operation=hollow, cutter=job.cutter(table.cutter, "[block] cutter"))]
    if table.outline:
        cutter = job.cutter(table.outline, "[block] outline")
        tab = OutlineCut.tab_width + cutter.diameter
        cut = OutlineCut(tabs=4 if end - start > _ROOM_FOR_TWO * tab else 2, where="[block] outline")
        steps.append(Step(operation=Outline(cut), cutter=cutter))
    of = f"fret {first}" if first else "the nut"
    before = board.distances[first] - start
    where = f"{coarse_length(before, job.units)} before {of}{' on the centre-line' * board.layout.fanned}"
    return Clamping(
        title=f"{job.title}: hollow block, {of} to fret {last}{f', begins {where}' if before > 0.05 else ''}",
        kind=f"block, frets {first} to {last}", units=job.units, board=part,
        stock=Stock(length=sawn(end - start + 2 * table.margin, job.units), margin_nut=table.margin,
                    width=sawn(width + 2 * table.margin, job.units), thickness=table.thickness),
        setup=job.setup.elsewhere, machine=job.machine, steps=numbered(steps),
    )


def gauge_clampings(job: Job) -> tuple[Clamping, ...]:
    """One clamping for each flat gauge, all side by side in one sheet with the same zero.

    Each gauge has the board's radius at a fret as a hollow edge, to be held against the board; its label is engraved
    where ``[gauges]`` names an engraver. With ``along`` one more fits the centre-line, from the nut to the end. Raises
    JobError for a job without ``[gauges]``, and without ``along`` for a flat board.
    """
    board = board_of(job)
    table = job.gauges
    if table is None:
        raise JobError(job.path.name, "[gauges] is missing", remedy="add a [gauges] table with the cutter for them")
    if board.surface.is_flat and not table.along:
        raise JobError("[gauges]", "the board is flat", remedy="a straight edge is its gauge")
    radii = [] if board.surface.is_flat else _radii(board, table.frets)
    width = float(np.ptp(board.finished.bounds[1::2]))
    labels = [f"R {coarse_length(radius, job.units)}" for radius in radii]
    apart = table.height + 2 * job.cutter(table.cutter, "[gauges] cutter").diameter + _GAUGE_APART
    arcs = [arc_edge(radius, width) for radius in radii]
    if table.along:
        arcs.append(lengthwise_edge(board.surface, 0.0, board.length))
        labels.append("")
        width = max(width, board.length)
    deepest = max(float(arc[:, 0].max()) for arc in arcs)
    around, thick = apart - table.height, table.thickness
    stock = Stock(length=sawn(around + len(arcs) * (apart + deepest), job.units), margin_nut=around,
                  width=sawn(width + 2 * around, job.units), thickness=thick)
    return tuple(_gauge(job, table, label, arc, (k, len(arcs)), k * (apart + deepest), stock)
                 for k, (label, arc) in enumerate(zip(labels, arcs, strict=True)))


def _radii(board: Fingerboard, frets: tuple[int, ...] | None) -> list[float]:
    """The radius at each fret asked for, no value twice."""
    places = board.distances
    last = max(places)
    for fret in frets or ():
        if fret not in places:
            raise JobError("[gauges] frets", f"there is no fret {fret}", allowed=f"0 to {last}", remedy="correct it")
    asked = frets if frets is not None else sorted({0, min(12, last), last})
    return list(dict.fromkeys(round(float(board.surface.radius(places[fret])), 6) for fret in asked))


def _gauge(
    job: Job, table: GaugesTable, label: str, arc: Floats, nth: tuple[int, int], x: float, stock: Stock
) -> Clamping:
    """The gauge of that index among so many."""
    index, count = nth
    high = tab_height(table.tab_height, table.thickness, usual=TOOL_TAB)
    cut = OutlineCut(tabs=table.tabs, tab_height=high, tab_width=_GAUGE_TAB, where="[gauges]")
    outline = Outline(cut)
    if index + 1 < count:
        outline = Outline(cut, saw=f"Leave its tabs, the sheet, X 0 and Y 0 as they are: gauge {index + 2} is next.")
    elif index:
        outline = Outline(cut, saw="Cut the tabs of all gauges with a fine saw and trim them flush.")
    names = GAUGE if count == 1 else NEXT_GAUGE if index else FIRST_GAUGE
    steps = [Step(operation=outline, cutter=job.cutter(table.cutter, "[gauges] cutter"))]
    if table.engraver and label:
        # along the gauge, its top toward the hollow edge
        room = float(np.ptp(arc[:, 1])) - 2 * _BESIDE_LABEL
        high = min(6.0, table.height / 3, room / lettering_length(label))
        if high < _LEAST_LETTERS:
            raise JobError("[gauges] engraver", f"{label} on a gauge {np.ptp(arc[:, 1]):.2f} mm wide would be "
                           f"{high:.2f} mm high", allowed=f"letters of {_LEAST_LETTERS:g} mm or more",
                           remedy="leave engraver out")
        strokes = tuple(s[:, ::-1] * [1.0, -1.0] + [x + table.height / 2, 0.0] for s in lettering(label, height=high))
        engrave = Engrave(Engraving(strokes=strokes, depth=table.engrave_depth))
        steps.insert(0, Step(operation=engrave, cutter=job.cutter(table.engraver, "[gauges] engraver")))
    # the sheet's longer side lies along the axis that the board lies along, where the machine has the room
    setup = job.setup.elsewhere
    setup = setup if stock.length >= stock.width else replace(setup, along="y" if setup.along == "x" else "x")
    named = [replace(step, file_name=f"gauge-{index + 1}-{step.file_name}") for step in numbered(steps)]
    return Clamping(
        title=f"{job.title}: gauge {index + 1}, {label or 'along the board'}", kind="gauge", units=job.units,
        board=radius_gauge(names, arc, x=x, height=table.height, thickness=table.thickness), stock=stock,
        setup=setup, machine=job.machine, steps=tuple(named),
    )


_BESIDE_LABEL, _LEAST_LETTERS = 2.0, 1.0
"""What is left of a gauge at each end of its label, and the lowest letters that can be read, mm."""
_GAUGE_TAB = 4.0  # width of a gauge's tabs, mm


def _reach(board: Fingerboard, first: int, last: int) -> tuple[float, float]:
    """X from which and to which a block covers all of two frets, from edge to edge; of a nut not what is behind it."""
    layout = board.layout
    lines = board.crossings if board.drawn else layout.edges.across(layout.lines, board.bass_side)
    behind = _PAST_FRET if first in board.frets.number else 0.0
    return float(lines[first, :, 0].min()) - behind, float(lines[last, :, 0].max()) + _PAST_FRET


SIDE_DOTS = "side dots"
"""What its program states to be."""

_BOW = 0.2  # how far an edge may bow and still be drilled along a straight line, mm
_WALL = 0.5  # least wood between a hole and the faces of the board, mm; its own value, from memory


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
        title=f"{job.title}: side dots in the bass edge", kind=SIDE_DOTS, units=job.units, board=standing_edge(stock),
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
