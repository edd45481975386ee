"""Block and gauges from the board's own numbers: a hollow block of its radius, flat gauges of its radii."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import shapely

from pathgen.base.errors import JobError
from pathgen.base.hollow import Hollow
from pathgen.base.lettering import lettering
from pathgen.base.lowered import Lowered
from pathgen.base.surface import Surface
from pathgen.base.units import format_length
from pathgen.job.job import Job
from pathgen.job.sense import part_of
from pathgen.job.tables import BlockTable, GaugesTable
from pathgen.parts.fingerboard.part import Fingerboard
from pathgen.parts.tool import Tool
from pathgen.programs.write import comment
from pathgen.work.clamping import Clamping, Setup, Step, Stock, numbered
from pathgen.work.features import Engraving, OutlineCut, Surfacing
from pathgen.work.operations import Engrave, Outline, SurfaceFinish

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
    half = max(float(board.edges.half_width(x)) for x in (start, end)) + board.binding
    width = table.width or 2 * (half + BLOCK_OVERHANG)
    surface = _hollow(board, start, end, width, table)
    part = Tool(surface=surface, outline=shapely.box(0.0, -width / 2, end - start, width / 2), min_web=board.min_web)
    hollow = SurfaceFinish(Surfacing(scallop=table.scallop))
    steps = [Step(operation=hollow, cutter=job.cutter(table.cutter, "[block] cutter"))]
    if table.outline:
        steps.append(Step(operation=Outline(OutlineCut()), cutter=job.cutter(table.outline, "[block] outline")))
    return Clamping(
        title=f"{job.title}: hollow block, {names}", units=job.units, board=part,  # type: ignore[arg-type]
        stock=Stock(length=end - start + 2 * table.margin, width=width + 2 * table.margin, thickness=table.thickness,
                    margin_nut=table.margin),
        setup=_setup(job),
        machine=job.machine, steps=numbered(steps),
    )


def gauge_clampings(job: Job) -> tuple[Clamping, ...]:
    """One clamping for each flat gauge, all side by side in one sheet with the same zero.

    Each gauge has the board's radius at a fret as a hollow edge, to be held against the board; its label is engraved
    where ``[gauges]`` names an engraver. Raises JobError for a job without ``[gauges]`` or a flat board.
    """
    table = job.gauges
    if table is None:
        raise JobError(job.path.name, "[gauges] is missing", remedy="add a [gauges] table with the cutter for them")
    board = part_of(job)
    if board.surface.is_flat:
        raise JobError("[gauges]", "the board is flat", remedy="a straight edge is its gauge")
    radii = _radii(board, table.frets)
    width = float(np.ptp(board.finished.bounds[1::2]))
    apart = table.height + 2 * job.cutter(table.cutter, "[gauges] cutter").diameter + _GAUGE_APART
    arcs = [_arc_edge(radius, width) for radius in radii]
    deepest = max(float(arc[0, 0]) for arc in arcs)
    stock = Stock(length=len(radii) * (apart + deepest) + 2 * apart - table.height, margin_nut=apart - table.height,
                  width=width + 2 * (apart - table.height), thickness=table.thickness)
    return tuple(
        _gauge(job, table, radius, arc, k, k * (apart + deepest), stock)
        for k, (radius, arc) in enumerate(zip(radii, arcs, strict=True))
    )


_GAUGE_APART = 6.0
"""Sheet left between the grooves of two gauges, and round them, mm."""


def _radii(board: Fingerboard, frets: tuple[int, ...] | None) -> list[float]:
    """The radius at each fret asked for, no value twice."""
    places = dict(zip(board.frets.number.tolist(), board.frets.distance.tolist(), strict=True)) | {0: 0.0}
    last = max(places)
    for fret in frets or ():
        if fret not in places:
            raise JobError("[gauges] frets", f"there is no fret {fret}", allowed=f"0 to {last}", remedy="correct it")
    asked = frets if frets is not None else sorted({0, min(12, last), last})
    return list(dict.fromkeys(round(float(board.surface.radius(places[fret])), 6) for fret in asked))


def _arc_edge(radius: float, width: float, sag: float = 5e-4) -> np.ndarray:
    """(n, 2) points on the gauge's hollow edge from +y to -y: x above its lowest place."""
    half = np.arcsin(width / 2 / radius)
    count = 2 * int(np.ceil(half / np.sqrt(8 * sag / radius)))
    angle = np.linspace(half, -half, count + 1)
    return np.column_stack([2 * radius * np.sin(angle / 2) ** 2, radius * np.sin(angle)])


def _gauge(
    job: Job, table: GaugesTable, radius: float, arc: np.ndarray, index: int, x: float, stock: Stock
) -> Clamping:
    y = float(arc[0, 1])
    outline = shapely.Polygon(np.concatenate([[[x, y], [x, -y]], arc[::-1] + [x + table.height, 0.0]]))
    surface = Surface(thickness=table.thickness, radius_nut=np.inf, radius_end=np.inf, length=x + table.height)
    label = f"R {format_length(radius, job.units, decimals={'mm': 1, 'in': 2}[job.units])}"
    cut = OutlineCut(tabs=table.tabs, tab_height=table.tab_height, tab_width=_GAUGE_TAB)
    steps = [Step(operation=Outline(cut), cutter=job.cutter(table.cutter, "[gauges] cutter"))]
    if table.engraver:
        # along the gauge, its top toward the hollow edge
        strokes = tuple(s[:, ::-1] * [1.0, -1.0] + [x + table.height / 2, 0.0]
                        for s in lettering(label, height=min(6.0, table.height / 3)))
        engrave = Engrave(Engraving(strokes=strokes, depth=table.engrave_depth))
        steps.insert(0, Step(operation=engrave, cutter=job.cutter(table.engraver, "[gauges] engraver")))
    named = [replace(step, file_name=f"gauge-{index + 1}-{step.file_name}") for step in numbered(steps)]
    return Clamping(
        title=f"{job.title}: gauge {index + 1}, {label}", units=job.units,  # type: ignore[arg-type]
        board=Tool(surface=surface, outline=outline), stock=stock, steps=tuple(named),
        setup=_setup(job), machine=job.machine,
    )


_GAUGE_TAB = 4.0
"""Width of a gauge's tabs, mm."""


def tool_of(program: str, job: Job) -> str | None:
    """The command that made a program of a tool from a job, by the title at its head; None for another program."""
    head = re.sub(r"[()\s]", "", program[:2000])  # a long title goes over several lines
    title = re.sub(r"[()\s]", "", comment(f"job: {job.title}:"))
    made = {"block": r"hollowblock,", "gauges": r"gauge\d+,", "pieces": r"inlay\d+,piecesof"}
    found = (command for command, words in made.items() if re.match(words, head[len(title) :]))
    return next(found, None) if head.startswith(title) else None


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
    if isinstance(board.surface, Lowered):
        low = board.surface.lowering(np.linspace(start, end, 501))
        if low.max() > _LEVEL:
            raise JobError("[block] frets", f"relief or fall-away take up to {low.max():.2f} mm off the board there",
                           allowed=f"frets where that is {_LEVEL:g} mm or less", remedy="take other frets: the hollow "
                           "of a block is straight along")
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


_LEVEL = 0.005
"""What relief or fall-away may take over the length of a block, mm."""


def _setup(job: Job) -> Setup:
    """The job's own, with zero at the blank's end and without clamps that stand round another blank."""
    return replace(job.setup, zero="blank-near-centre", keep_out=())
