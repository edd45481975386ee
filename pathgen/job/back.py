"""The second side of a job: a channel in the back, and the dowel holes that the blank is turned over on."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from pathgen.base import overlay
from pathgen.base.cutters import Cutter
from pathgen.base.errors import JobError
from pathgen.base.units import INCH, falls_short, format_length, place_words, rounded_down
from pathgen.job.job import Job
from pathgen.job.part import LEAST_IN_BED, holes_of, into_bed
from pathgen.job.tables import LEAST_DEPTH, ChannelTable, HolesTable
from pathgen.parts.back.part import Back
from pathgen.parts.flat.part import rounded
from pathgen.work.clamping import Clamping, Step, numbered
from pathgen.work.features import Cutouts
from pathgen.work.operations import RUN_OUT, Channel, DowelHoles
from pathgen.work.part import Part, inside
from pathgen.work.underside import turned_over, wood_over

KIND = "back"
"""What the programs of the back state to be."""

_TOUCH, _SLANT = 1e-6, 2.0
"""What an edge may be nearer than it may, mm, by rounding; how far an end may run along, in the channel's width and the
web's beside it: a long edge runs on."""

_SAME = 0.01  # two holes nearer to each other's place than this are mates, mm


def with_back(job: Job, top: Clamping) -> Clamping:
    """The clamping of the top with that of the back, cut before it; as it is for a job without ``[channel]``.

    Raises JobError where the top leaves too little wood over the channel, or cuts into a dowel.
    """
    table, holes, dowels = job.channel, job.holes, holes_of(job)
    if table is None or holes is None or dowels is None:
        return top
    shape = turned_over(_shape(job, table))
    thick, takes = job.stock.thickness, "the truss rod" if job.board else ""  # what a plate's is for nobody said
    cut = Cutouts(shapes=MultiPolygon([shape]), bottom=thick - table.depth, depth=table.depth,
                  what=f"the channel for {takes}" if takes else "the channel", takes=takes,
                  key="[channel] cutter" if table.width and table.ends == "round" else "")
    steps = numbered((
        Step(operation=DowelHoles(replace(dowels, at=dowels.at * [1.0, -1.0])),
             cutter=job.cutter(holes.cutter, "[holes] cutter")),
        Step(operation=Channel(cut), cutter=job.cutter(table.cutter, "[channel] cutter")),
    ))
    back = replace(
        top, title=f"{top.title}: back", kind=KIND, left_out=(),
        board=Back(front=top.board, blank=thick, zero=top.zero_place, channel={
            "along": list(table.along), "across": table.across, "width": _width(job, table), "depth": table.depth,
            "ends": table.ends}),
        # the depth counts from the face that lies on the bed later
        setup=replace(top.setup, z_zero="stock-top", zero=None),
        steps=tuple(replace(step, run=KIND, file_name=f"00-{KIND}-{step.file_name}") for step in steps),
    )
    made = replace(top, under=back)
    _deep_enough(made, job.cutter(table.cutter, "[channel] cutter"), table.depth)
    return made


def check_channel(job: Job, part: Part) -> None:
    """Raise JobError for a channel that does not go together with its cutter, the part and the dowel holes."""
    table = job.channel
    if table is None:
        return
    if job.holes is None:
        raise JobError("[channel]", "there are no dowel holes to turn the blank over on",
                       allowed="[holes] with two or more, through the blank into the spoilboard",
                       remedy="add [holes], one at each end of the blank on the centre-line")
    _registers(job, job.holes)
    cutter, width, unit = job.cutter(table.cutter, "[channel] cutter"), _width(job, table), job.units
    if cutter.diameter > width + 1e-9:
        raise JobError("[channel] cutter", f'"{cutter.name}" is {cutter.diameter:g} mm, wider than the channel',
                       allowed=f"{width:g} mm or less", remedy="name a smaller cutter, or make the channel wider")
    if table.along[1] - table.along[0] < width:
        raise JobError("[channel] along", f"{format_length(table.along[1] - table.along[0], unit)} long",
                       allowed=f"{format_length(width, unit)}, its width, or more", remedy="correct its ends")
    _within(_shape(job, table), part, unit) if not any(_open(table, part)) else _runs_out(job, table, part)
    _clear_of_dowels(job, _shape(job, table), part.min_web)


def _open(table: ChannelTable, part: Part) -> list[bool]:
    """Whether it runs out of the part at its near and at its far end."""
    return [not shapely.covers(part.outline, shapely.Point(x, table.across)) for x in table.along]


def _runs_out(job: Job, table: ChannelTable, part: Part) -> None:
    """Through an end alone, at its full width, within the blank; and with the least web of wood beside it."""
    shape, unit, (first, last), opened = _shape(job, table), job.units, table.along, _open(table, part)
    low, high = _mouths(shape, table, part, unit, opened)
    out = RUN_OUT + (_width(job, table) / 2 if table.ends == "round" else
                     job.cutter(table.cutter, "[channel] cutter").radius)
    if opened[0] and (most := low - out) < first - _TOUCH:
        _too_short(first, most, f"{part.names.part}'s {part.names.near.removesuffix(' end')} end", unit, "less")
    if opened[1] and (least := high + out) > last + _TOUCH:
        _too_short(last, least, f"{part.names.part}'s {part.names.far}", unit, "more")
    if not shapely.covers(shapely.box(*job.stock.bounds), shape):
        ends = [format_length(v, unit) for v in job.stock.bounds[::2]]
        raise JobError("[channel] along", "it leaves the blank", allowed=f"within {ends[0]} to {ends[1]}",
                       remedy="let it end sooner, or take a longer blank")


def _mouths(
    shape: Polygon, table: ChannelTable, part: Part, unit: str, opened: Sequence[bool]
) -> tuple[float, float]:
    """From where to where along the part's ends go that it runs out through; JobError where an edge is met otherwise.
    """
    x0, y0, x1, y1 = overlay.buffer(shape, part.min_web - _TOUCH).bounds
    beside = shapely.box(table.along[0] if opened[0] else x0, y0, table.along[1] if opened[1] else x1, y1)
    met = shapely.get_parts(shapely.line_merge(overlay.intersection(part.outline.exterior, beside)))
    low, high = np.split(shapely.bounds(met), 2, axis=1)
    run, wide = high - low, y1 - y0
    across = (run[:, 1] > wide - _TOUCH) & (run[:, 0] < _SLANT * wide)
    if not across.all() or len(met) != sum(opened):
        near = met[~across] if not across.all() else [shapely.Point(table.along[not opened[0]], table.across)]
        x, y = shapely.get_coordinates(shapely.shortest_line(near[0], shape))[0].tolist()
        raise JobError("[channel] along", f"it runs out of the {part.names.part}, and not through its ends alone: see "
                       f"{place_words(x, y, unit)}",
                       allowed=f"out through an end, straight, with min_web {part.min_web:g} mm or more beside it",
                       remedy="move it, or make it narrower or shorter")
    return float(low[:, 0].min()), float(high[:, 0].max())


def _too_short(at: float, needed: float, end: str, unit: str, way: str) -> None:
    """Raise JobError: its own end, round or with round corners, would lie in the mouth."""
    step = {"mm": 0.01, "in": INCH / 1000}[unit]
    to = step * (math.ceil(needed / step - 1e-6) if way == "more" else math.floor(needed / step + 1e-6))
    raise JobError("[channel] along", f"{format_length(at, unit)} does not let it out at its whole width through the "
                   f"{end}", allowed=f"{format_length(to, unit)} or {way}, or closed within that end",
                   remedy="let it run out further, or end before")


def _clear_of_dowels(job: Job, shape: Polygon, web: float) -> None:
    """It runs into no hole of a dowel."""
    dowels = holes_of(job)
    assert dowels is not None
    away = shapely.distance(shapely.points(dowels.at), shape) - dowels.diameter / 2
    near = int(np.argmin(away))
    if falls_short(float(away[near]), web):
        x, y = dowels.at[near].tolist()
        raise JobError("[channel] along", f"it comes to {max(float(away[near]), 0.0):.2f} mm from the dowel's hole at "
                       f"{place_words(x, y, job.units)}", allowed=f"min_web {web:g} mm or more",
                       remedy="let it end sooner, or move the hole")


def _within(shape: Polygon, part: Part, unit: str) -> None:
    """With the least web of wood on all its sides."""
    points = shapely.points(shapely.get_coordinates(shape))
    room = inside(part.outline, points)
    worst = int(np.argmin(room))
    if falls_short(float(room[worst]), part.min_web):
        place = place_words(points[worst].x, points[worst].y, unit)
        beyond = f"{-room[worst]:.2f} mm beyond the {part.names.part}" if room[worst] < 0 else \
            f"{room[worst]:.2f} mm from the edge of the {part.names.part}"
        raise JobError("[channel] along", f"it comes {beyond}, at {place}",
                       allowed=f"min_web {part.min_web:g} mm or more within its edge",
                       remedy="make the channel shorter or narrower, or move it")


def _registers(job: Job, holes: HolesTable) -> None:
    """The turned blank finds the same holes in the bed only if each has a mate across the centre-line."""
    at = np.array(holes.at)
    if len(at) < 2:
        raise JobError("[holes] at", "one hole, and the blank turns round it", allowed="two or more with [channel]",
                       remedy="add one at the other end of the blank")
    away = np.linalg.norm(at[:, None] * [1.0, -1.0] - at[None], axis=2).min(axis=1)
    for i in np.flatnonzero(away > _SAME):
        x, y = at[i].tolist()
        raise JobError(
            f"[holes] at {i + 1}", f"once the blank is turned over, the hole at {place_words(x, y, job.units)} lies at "
            f"{place_words(x, -y, job.units)}, where the bed has none",
            allowed="holes on the centre-line, or in pairs the same distance across on both sides",
            remedy="move it to across 0, or add its mate")
    if holes.depth is not None:
        raise JobError("[holes] depth", f"{holes.depth:g} mm, and dowels go through the blank",
                       allowed="left out with [channel]", remedy="leave depth out, and say through")
    through = into_bed(job, holes)
    if through < LEAST_IN_BED:
        raise JobError("[holes] through", f"dowels would stand only {format_length(through, job.units)} in the "
                       "spoilboard", allowed=f"{LEAST_IN_BED:g} mm or more with [channel]", remedy="make it larger")


def _width(job: Job, table: ChannelTable) -> float:
    return table.width or job.cutter(table.cutter, "[channel] cutter").diameter


def _shape(job: Job, table: ChannelTable) -> Polygon:
    """The channel in plan, in the frame of the top."""
    (start, end), half = table.along, _width(job, table) / 2
    if table.ends == "square":
        return shapely.box(start, table.across - half, end, table.across + half)
    return rounded(((start + end) / 2, table.across), 2 * half, length=end - start)


def _deep_enough(made: Clamping, cutter: Cutter, depth: float) -> None:
    """All that the top cuts leaves the least web over the channel, and its cutter goes as deep."""
    least, over = made.board.min_web, min(wood_over(made), key=lambda one: one.least)
    if falls_short(over.least, least):
        what = f"{over.least:.2f} mm of wood is left under"
        if over.least <= 0:
            what = f"it breaks {-over.least:.2f} mm into"
        most = rounded_down(min(depth - least + over.least, cutter.flute_length))
        helps = most >= LEAST_DEPTH  # an opening right through is met at any depth
        raise JobError(f"[channel]{' depth' * helps}", f"{what} {over.under}, at {place_words(*over.at, made.units)}",
                       allowed=f"min_web {least:g} mm or more",
                       remedy=f"make depth {most:.2f} mm or less, or " * helps
                       + "move the channel from under there")
    if falls_short(cutter.flute_length, depth):
        raise JobError("[channel] depth", f'{depth:g} mm is deeper than the flute of "{cutter.name}"',
                       allowed=f"{cutter.flute_length:g} mm or less", remedy="name a longer cutter")
