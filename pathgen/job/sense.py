"""Do the numbers of a job go together? Checked before a drawing is read or a move planned."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely import Polygon

from pathgen.errors import JobError
from pathgen.fingerboard import Fingerboard, Slots, fingerboard, slots
from pathgen.job.filling import check_filling
from pathgen.job.tables import FannedScale
from pathgen.units import format_length

if TYPE_CHECKING:
    from pathgen.job.load import Job


def check_sense(job: Job) -> None:
    """Raise JobError for the first thing that does not go together."""
    _cutter_names(job)
    _needed_tables(job)
    _order(job)
    board = part_of(job)
    _radius_and_width(job, board)
    _stock_holds_board(job, board)
    _surface_settings(job)
    _inlays(job, board)
    check_filling(job)
    _slots(job, board)
    _outline(job, board)


def part_of(job: Job) -> Fingerboard:
    """The board that a job describes."""
    table = job.board
    scale: FannedScale = table.scale_length
    return fingerboard(
        scale_lengths=(scale.bass, scale.treble),
        straight_fret=scale.straight_fret,
        edge_to_string=table.edge_to_string if scale.edge_to_string is None else scale.edge_to_string,
        frets=table.frets,
        divisions=table.divisions,
        nut_width=table.nut_width,
        end_width=table.end_width,
        past_last_fret=table.past_last_fret,
        thickness=table.thickness,
        radius=(table.radius.nut, table.radius.end),
        binding=table.binding,
        min_web=table.min_web,
    )


def slots_of(job: Job, board: Fingerboard) -> Slots | None:
    """The fret slots that a job asks for."""
    if job.slots is None:
        return None
    width = job.slots.width or job.cutter(job.slots.cutter, "[slots] cutter").diameter
    return slots(board, width=width, depth=job.slots.depth, short=job.slots.ends)


def _cutter_names(job: Job) -> None:
    names = [c.name for c in job.cutters]
    for name in names:
        if names.count(name) > 1:
            raise JobError("[[cutter]]", f'two cutters are called "{name}"', remedy="give each its own name")
    for where, name in _named_cutters(job):
        job.cutter(name, where)


def _named_cutters(job: Job) -> list[tuple[str, str]]:
    """(key, name) of every cutter that a step uses."""
    named = []
    if job.surface:
        named += [("[surface] finish", job.surface.finish)]
        named += [("[surface] rough", job.surface.rough)] if job.surface.rough else []
    for i, inlay in enumerate(job.inlays, 1):
        named += [(f"inlay {i} cutters", name) for name in inlay.cutters]
    named += [("[slots] cutter", job.slots.cutter)] if job.slots else []
    named += [("[outline] cutter", job.outline.cutter)] if job.outline else []
    named += [("[marks] cutter", job.marks.cutter)] if job.marks else []
    return named


def _needed_tables(job: Job) -> None:
    if not (job.surface or job.inlays or job.slots or job.outline):
        raise JobError(job.path.name, "nothing to cut", remedy="add [surface], [[inlay]], [slots] or [outline]")
    if job.resurface and not job.surface:
        raise JobError(
            "[resurface]", "there is no first surface to repeat",
            remedy='add [surface], or write fill = "none" in the inlays',
        )
    if job.resurface and not any(inlay.fill != "none" for inlay in job.inlays):
        raise JobError("[resurface]", "no inlay has a fill to cut over", remedy="leave [resurface] out")


def _order(job: Job) -> None:
    present = {"surface": job.surface, "inlays": job.inlays, "slots": job.slots, "outline": job.outline}
    wanted = [name for name, table in present.items() if table]
    at = {name: job.order.index(name) for name in job.order}
    if len(at) < len(job.order) or any(name not in at for name in wanted):
        raise JobError("order", ", ".join(job.order), allowed=f"each of {', '.join(wanted)} once")
    filled = any(inlay.fill != "none" for inlay in job.inlays)
    if job.slots and filled and at["slots"] < at["inlays"]:
        raise JobError("order", "slots before the last fill", allowed="slots after the inlays",
                       remedy="resin would run into the slots, and the second cut would round their edges")
    if job.surface and any(at["surface"] > at[name] for name in wanted):
        raise JobError("order", "something before the surface", allowed="surface first",
                       remedy="pockets and slots are measured from the finished surface")
    if job.outline and any(at["outline"] < at[name] for name in wanted):
        raise JobError("order", "something after the outline", allowed="outline last",
                       remedy="the board is loose once its outline is cut")


def _radius_and_width(job: Job, board: Fingerboard) -> None:
    points = shapely.get_coordinates(board.finished)
    radius = np.asarray(board.surface.radius(points[:, 0]))
    short = radius - np.abs(points[:, 1])
    if np.any(short <= 0):
        worst = int(np.argmin(short))
        unit = job.units
        raise JobError(
            "[board] radius",
            f"{format_length(float(radius[worst]), unit)} is less than half the width, "
            f"{format_length(abs(float(points[worst, 1])), unit)}, at X {format_length(float(points[worst, 0]), unit)}",
            remedy="make the radius larger or the board narrower",
        )
    edge = float(np.min(board.surface.height(points[:, 0], points[:, 1])))
    if edge < board.min_web:
        raise JobError(
            "[board] thickness", f"the curve leaves {edge:.2f} mm at the edges",
            allowed=f"min_web {board.min_web:g} mm or more", remedy="make the board thicker or the radius larger",
        )


def _stock_holds_board(job: Job, board: Fingerboard) -> None:
    stock, unit = job.stock, job.units
    if stock.thickness < job.board.thickness:
        raise JobError(
            "[stock] thickness", f"{format_length(stock.thickness, unit)} is less than the finished board",
            allowed=f"{format_length(job.board.thickness, unit)} or more", remedy="take a thicker blank",
        )
    blank = shapely.box(*stock.bounds)
    if not blank.covers(board.outline):
        raise JobError("[stock]", f"the board does not lie within the blank: {_overhang(board.outline, blank)}",
                       remedy="take a larger blank, or change margin_nut")


def _overhang(part: Polygon, blank: Polygon) -> str:
    names = ("before the nut", "on the bass side", "past the end", "on the treble side")
    out = [b - p if i < 2 else p - b for i, (p, b) in enumerate(zip(part.bounds, blank.bounds, strict=True))]
    return ", ".join(f"{by:.2f} mm out {name}" for by, name in zip(out, names, strict=True) if by > 0)


def _surface_settings(job: Job) -> None:
    table = job.surface
    if table is None:
        return
    if table.scallop is not None and table.stepover is not None:
        raise JobError("[surface]", "scallop and stepover are both given", remedy="keep one of them")
    finish = job.cutter(table.finish, "[surface] finish")
    if finish.shape != "ball-end":
        raise JobError("[surface] finish", f'"{finish.name}" is a {finish.shape} cutter', allowed="a ball-end cutter",
                       remedy="a flat end leaves a stair on a curve: name a ball-end cutter")
    if table.stepover is not None and table.stepover >= finish.diameter:
        raise JobError("[surface] stepover", f"{table.stepover:g} mm with a {finish.diameter:g} mm ball",
                       allowed="less than the ball's diameter", remedy="make it smaller")
    if job.resurface and job.inlays:
        shallowest = min(inlay.depth for inlay in job.inlays)
        if job.resurface.skim >= shallowest:
            raise JobError("[resurface] skim", f"{job.resurface.skim:g} mm breaks through an inlay",
                           allowed=f"less than its depth, {shallowest:g} mm", remedy="make it smaller")


def _inlays(job: Job, board: Fingerboard) -> None:
    for i, inlay in enumerate(job.inlays, 1):
        path = job.artwork_path(i - 1)
        if not path.is_file():
            raise JobError(f"inlay {i} artwork", f"{inlay.artwork} is not there", remedy="check the name: paths are "
                           "relative to the job file")
        left = job.board.thickness - inlay.depth
        if left < board.min_web:
            raise JobError(
                f"inlay {i} depth", f"{inlay.depth:g} mm leaves {left:.2f} mm under it at the centre-line",
                allowed=f"min_web {board.min_web:g} mm or more",
                remedy=f"make depth {max(job.board.thickness - board.min_web, 0):.2f} or less",
            )
        diameters = [job.cutter(name, f"inlay {i} cutters").diameter for name in inlay.cutters]
        if diameters != sorted(diameters, reverse=True) and job.cutter(inlay.cutters[-1], "").shape != "v":
            raise JobError(f"inlay {i} cutters", "not in order of size", allowed="largest first",
                           remedy="each later cutter cuts only what the earlier could not reach")


def _slots(job: Job, board: Fingerboard) -> None:
    cut = slots_of(job, board)
    if cut is None or job.slots is None:
        return
    cutter = job.cutter(job.slots.cutter, "[slots] cutter")
    if cutter.diameter > cut.width + 1e-9:
        raise JobError("[slots] cutter", f'"{cutter.name}" is {cutter.diameter:g} mm, wider than the slots',
                       allowed=f"{cut.width:g} mm or less", remedy="name a thinner cutter or make width larger")
    if cutter.flute_length < cut.depth:
        raise JobError("[slots] depth", f'{cut.depth:g} mm is deeper than the flute of "{cutter.name}"',
                       allowed=f"{cutter.flute_length:g} mm or less", remedy="name a longer cutter")
    skim = job.resurface.skim if job.resurface else 0.0
    web = board.surface.height(cut.lines[..., 0], cut.lines[..., 1]) - skim - cut.depth
    if float(np.min(web)) < board.min_web:
        fret = int(cut.number[int(np.argmin(web.min(axis=1)))])
        least = float(np.min(web))
        raise JobError(
            "[slots] depth", f"{cut.depth:g} mm leaves {least:.2f} mm under fret {fret} at the edge",
            allowed=f"min_web {board.min_web:g} mm or more",
            remedy=f"make depth {math.floor((cut.depth - board.min_web + least) * 100) / 100:.2f} or less",
        )


def _outline(job: Job, board: Fingerboard) -> None:
    table = job.outline
    if table is None:
        return
    cutter = job.cutter(table.cutter, "[outline] cutter")
    edge = float(np.min(board.surface.height(*shapely.get_coordinates(board.outline).T)))
    if table.tabs and table.tab_height >= edge:
        raise JobError("[outline] tab_height", f"{table.tab_height:g} mm reaches the top of the edge",
                       allowed=f"less than {edge:.2f} mm", remedy="make the tabs lower")
    deep = job.stock.thickness + table.through
    if cutter.flute_length < deep:
        raise JobError("[outline] cutter", f'the flute of "{cutter.name}" is {cutter.flute_length:g} mm long',
                       allowed=f"{deep:.2f} mm or more: the blank and {table.through:g} mm below it",
                       remedy="name a longer cutter")



