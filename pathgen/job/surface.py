"""Can the surface be cut as asked, and cut again over the fill; is its radius one that a board can have?"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import shapely

from pathgen.base.arrays import Floats
from pathgen.base.cutters import Cutter
from pathgen.base.errors import JobError
from pathgen.base.halving import halved
from pathgen.base.scallop import ridge_limits, stepover_for
from pathgen.base.slopes import OVER_HALF, STEEPEST, STEEPEST_ACROSS, steepest_along
from pathgen.base.surface import Surface
from pathgen.base.units import falls_short, format_length, rounded_down, rounded_up, told_apart
from pathgen.job.cutters import finishers
from pathgen.job.job import Job
from pathgen.job.part import slots_of
from pathgen.parts.fingerboard.part import Fingerboard
from pathgen.parts.fingerboard.top import taken
from pathgen.parts.flat.part import FlatPart
from pathgen.strategies.resurfacing import MOST_LAYERS, least_stepdown
from pathgen.work.features import Slots
from pathgen.work.part import lowest_edge
from pathgen.work.thin_wood import or_less


def check_surface(job: Job, part: Fingerboard | FlatPart) -> None:
    """Raise JobError for cutters, ridges and layers of the surface, and a second cut, that do not go together."""
    table = job.surface
    if table is None:
        return
    if table.scallop is not None and table.stepover is not None:
        raise JobError("[surface]", "scallop and stepover are both given", remedy="keep one of them")
    finish = job.cutter(table.finish, "[surface] finish")
    level = finish.shape == "flat-end" and part.surface.is_level
    if finish.shape != "ball-end" and not level:  # a v cutter is refused before
        raise JobError("[surface] finish", f'"{finish.name}" is a {finish.shape} cutter', allowed=finishers(job),
                       remedy="it leaves a stair on a curve: name a ball-end cutter")
    given = "scallop" if table.scallop is not None else "leave_scallop" if table.leave_scallop is not None else None
    if level and given:
        raise JobError(f"[surface] {given}", f'given, and the flat end "{finish.name}" leaves no ridges',
                       allowed="stepover, or nothing: its passes lie as far apart as its own stepover says",
                       remedy="leave it out")
    if level and not table.rough:
        raise JobError("[surface] rough", f'is missing, and the flat end "{finish.name}" finishes',
                       allowed="a cutter that roughs: it goes into the raw blank along a ramp, in layers",
                       remedy=f'add rough = "{finish.name}": it may be the same cutter')
    if table.stepover is not None and level and table.stepover >= finish.diameter:
        raise JobError("[surface] stepover", f"{table.stepover:g} mm with a {finish.diameter:g} mm cutter",
                       allowed="less than the cutter's diameter", remedy="make it smaller")
    if table.scallop is not None:
        check_ridge("[surface] scallop", table.scallop, finish)
    if table.stepover is not None and not level:
        _ridges(table.stepover, finish, min(part.surface.radius_nut, part.surface.radius_end))
    _leave(job, finish)
    _few_layers(job, part, finish)
    if job.resurface and job.inlays:
        shallowest = min(inlay.depth for inlay in job.inlays)
        if job.resurface.skim >= shallowest:
            raise JobError("[resurface] skim",
                           f"the second cut, {job.resurface.skim:g} mm lower than the first, breaks through an inlay",
                           allowed=f"less than its depth, {shallowest:g} mm", remedy="make it smaller")


def _few_layers(job: Job, part: Fingerboard | FlatPart, finish: Cutter) -> None:
    """Raises JobError for a stepdown so small that the whole surface would be gone over for hours, layer by layer."""
    filled = [inlay.overfill for inlay in job.inlays if inlay.fill != "none"]
    over = [(f'[[cutter]] "{finish.name}" stepdown', "what stands over the surface",
             job.stock.thickness - lowest_edge(part), finish.stepdown)] * (not (job.surface and job.surface.rough))
    over += [("[resurface] stepdown", "a fill", max(filled) + job.skim, job.resurface.stepdown)] \
        if job.resurface and filled else []
    over += [("[resurface] stepdown", "what the first cut leaves", job.surface.leave + job.surface.leave_ridges,
              job.resurface.stepdown)] if job.resurface and job.surface and job.surface.leave else []
    for where, what, high, stepdown in over:
        layers = MOST_LAYERS * least_stepdown(high) / stepdown
        if falls_short(MOST_LAYERS, layers):
            raise JobError(where, f"{stepdown:g} mm: {layers:.0f} layers of "
                           f"{high / layers:.2g} mm, as ridges count in it, through {what}, {high:.3g} mm",
                           allowed=f"{MOST_LAYERS} layers or fewer",
                           remedy=f"make it {rounded_up(least_stepdown(high)):.2f} mm or more")


def _ridges(stepover: float, ball: Cutter, radius: float) -> None:
    """Raises JobError for passes so far apart that they leave ridges lower or higher than may be asked for."""
    low, high = ridge_limits(ball.radius)
    least, most = stepover_for([low, high], ball.radius, radius).tolist()
    if falls_short(stepover, least) or falls_short(most, stepover):
        raise JobError(
            "[surface] stepover", f"{stepover:g} mm with a {ball.diameter:g} mm cutter leaves ridges of "
            f"{'less' if stepover < least else 'more'} than {low if stepover < least else high:g} mm",
            allowed=f"{rounded_up(least):.2f} to {rounded_down(most):.2f} mm", remedy="make it as allowed")


def check_ridge(where: str, ridge: float, ball: Cutter, *, remedy: str = "give one of these") -> None:
    """Raises JobError for ridges lower or higher than a ball may be asked to leave."""
    low, high = ridge_limits(ball.radius)
    if falls_short(ridge, low) or falls_short(high, ridge):
        raise JobError(where, f"ridges of {ridge:g} mm with a {ball.diameter:g} mm ball end",
                       allowed=f"{low:g} to {high:g} mm", remedy=remedy)


def _leave(job: Job, finish: Cutter) -> None:
    """What the first cut leaves must be in the blank, and must be taken off by a later one."""
    table, unit = job.surface, job.units
    if table is None or not (table.leave or table.leave_scallop):
        return
    where = "[surface] leave"
    room = job.stock.thickness - job.body.thickness
    if table.leave > room + 1e-9:
        raise JobError(where, f"{format_length(table.leave, unit)} over a {job.body_name[1:-1]} of "
                       f"{format_length(job.body.thickness, unit)}, from a blank of "
                       f"{format_length(job.stock.thickness, unit)}",
                       allowed=f"{format_length(room, unit)} or less" if room > 1e-9 else
                       "a blank that is thicker by what is left",
                       remedy="leave less, or take a thicker blank" if room > 1e-9 else
                       "take leave out, or take a thicker blank")
    if table.leave_scallop is not None and table.leave_scallop > table.leave:
        raise JobError("[surface] leave_scallop", f"{table.leave_scallop:g} mm with leave {table.leave:g} mm",
                       allowed="no more than leave", remedy="make it smaller: deeper ridges would stay")
    if finish.shape == "ball-end":
        check_ridge("[surface] leave_scallop", table.leave_ridges, finish,
                    remedy="give one of these; left out it is half of leave")
    if not job.resurface:
        raise JobError(where, f"{table.leave:g} mm, and no cut over a fill that takes it off",
                       remedy="take the line \"leave\" out: without a filled inlay the first cut is the only one")
    if job.resurface.skim:
        raise JobError(where, "skim is given too",
                       remedy=f"keep one of them: leave ends at the {job.body_name[1:-1]}'s own thickness")
    for i, inlay in enumerate(job.inlays, 1):
        for name in inlay.cutters:
            if job.cutter(name, "").shape != "flat-end":
                raise JobError(where, f'inlay {i} is cut with "{name}", which opens wider the higher the wood stands',
                               allowed="flat-end cutters for every inlay", remedy="leave it out, or take flat ends")


def check_radius(job: Job, board: Fingerboard) -> None:
    """Raise JobError where the arc across is none, too steep, or leaves too little wood at the edges."""
    points = shapely.get_coordinates(board.finished)
    radius = np.asarray(board.surface.radius(points[:, 0]))
    short = radius - np.abs(points[:, 1])
    if np.any(short <= 0):
        worst = int(np.argmin(short))
        small, half = told_apart(float(radius[worst]), abs(float(points[worst, 1])), unit=job.units)
        raise JobError(
            "[board] radius",
            f"{small} is less than half the width, {half}, {format_length(float(points[worst, 0]), job.units)} along",
            remedy=f"make the radius {_least_radius(job, board) or 'larger'}, or the board narrower")
    _no_steeper_across(job, board, points)
    _no_steeper_along(job, board, points)
    wood, along = board.surface.height(points[:, 0], points[:, 1]), points[:, 0]
    edge = float(np.min(wood))
    if falls_short(edge, board.min_web):
        (takes, _), slotted = taken(board.surface, wood, along, board.min_web), ""
        if cut := slots_of(job, board):
            wood = np.concatenate([wood, web_under(job, board, cut).ravel()])
            along = np.concatenate([along, cut.lines[..., 0].ravel()])
            if falls_short(float(np.min(wood)), edge):
                slotted = f", to leave as much under the slots, {cut.depth:g} mm deep"
        thick = rounded_up(board.surface.thickness + board.min_web - float(np.min(wood)))
        raise JobError(
            "[board] thickness", f"the curve leaves {edge:.2f} mm at the edges{takes}" if edge > 0 else
            f"the curve falls {-edge:.2f} mm below the underside at the edges{takes}",
            allowed=f"min_web {board.min_web:g} mm or more",
            remedy=f"make thickness {thick:.2f} mm or more{slotted}, or the radius "
                   f"{_least_radius(job, board) or 'larger'}{taken(board.surface, wood, along, board.min_web)[1]}"
                   + or_less(board.min_web))


def _no_steeper_across(job: Job, board: Fingerboard, points: Floats) -> None:
    """Raise JobError for a radius that goes down to its edges more steeply than any board's."""
    radius, half = board.surface.radius(points[:, 0]), np.abs(points[:, 1])
    room = radius - half * OVER_HALF
    worst = int(np.argmin(room))
    if not falls_short(float(room[worst]), 0.0):
        return
    small, wide, x = float(radius[worst]), float(half[worst]), float(points[worst, 0])
    least = _least_radius(job, board) or f"there {rounded_up(wide * OVER_HALF):.2f} mm or more"
    raise JobError(
        "[board] radius", f"{format_length(small, job.units)} goes down at {math.degrees(math.asin(wide / small)):.1f} "
        f"degrees to an edge {format_length(wide, job.units)} from the centre-line, "
        f"{format_length(x, job.units)} along",
        allowed=f"{math.degrees(math.atan(STEEPEST_ACROSS)):g} degrees across the board",
        remedy=f"make the radius {least}, or the board narrower")


def _no_steeper_along(job: Job, board: Fingerboard, points: Floats) -> None:
    """Raise JobError for a radius that changes so fast that its edges go along the board more steeply than any board's.
    """
    surface, on, y = board.surface, points[:, 0], np.abs(points[:, 1])
    names = (job.surface.finish, job.surface.rough) if job.surface else ()
    past = max((job.cutter(name, "").diameter for name in names if name), default=0.0)
    x = on + past * np.sign(on - (on.min() + on.max()) / 2)  # cutters of the surface run on past the ends
    if not surface.taper or not falls_short(STEEPEST, steepest_along(surface, x, y)):
        return

    def borne(share: float) -> bool:
        return not falls_short(STEEPEST, steepest_along(_other_radii(job, board, share)[0], x, y))

    low, _ = halved(borne, 0.0, 1.0, within=1e-12)
    nut, end = (format_length(one, job.units) for one in (surface.radius_nut, surface.radius_end))
    here = falls_short(STEEPEST, steepest_along(surface, on, y))
    steepest = steepest_along(surface, on if here else x, y)
    goes = f"go 1 in {1.0 / steepest:.2g}" if math.isfinite(steepest) else "have no radius"
    where = "" if here else f" {format_length(past, job.units)} past its ends, where cutters run on"
    raise JobError(
        "[board] radius", f"{nut} at the nut and {end} at the end: the edges {goes} along the board{where}, at "
        "their steepest", allowed=f"1 in {1.0 / STEEPEST:g} along the board",
        remedy=f"make {_other_radii(job, board, low)[1]}, or the board narrower")


def _other_radii(job: Job, board: Fingerboard, share: float) -> tuple[Surface, str]:
    """The surface with the larger of its radii nearer to the other, by a share of what they are apart, or with larger
    ones where it follows the strings; and the key to change with its value, in words."""
    assert job.board is not None
    asked, surface = job.board.radius, board.surface
    if asked.follow:
        nut = asked.nut / max(share, 1e-6)
        return replace(surface, radius_nut=nut, radius_end=surface.radius_end * nut / asked.nut), \
            f"nut {rounded_up(nut):.2f} mm or more"
    far = asked.end if asked.end is not None else asked.bridge
    assert far is not None
    of_end = (surface.radius_end - asked.nut) / (far - asked.nut)
    less = rounded_down(min(asked.nut, far) + share * abs(far - asked.nut))
    name = "nut" if asked.nut > far else "bridge" if asked.end is None else "end"
    nut, far = (less, far) if name == "nut" else (asked.nut, less)
    return replace(surface, radius_nut=nut, radius_end=nut + of_end * (far - nut)), \
        f"{name} {max(nut, far):.2f} mm or less"


def _least_radius(job: Job, board: Fingerboard) -> str:
    """The least radius that leaves `min_web` at the edges and under the slots' ends, by the height of an arc over its
    chord; nothing where the surface is more than one radius."""
    surface, half = board.surface, _farthest(shapely.get_coordinates(board.finished))
    spans = [(half, surface.thickness - board.min_web)]
    if cut := slots_of(job, board):
        spans.append((_farthest(cut.lines), spans[0][1] - job.skim - cut.depth))
    if surface.bends.size or surface.radius_nut != surface.radius_end or min(deep for _, deep in spans) <= 0:
        return ""
    webs = [(far**2 + deep**2) / (2 * deep) if deep < far else far for far, deep in spans]
    return f"{rounded_up(max(*webs, half * OVER_HALF)):.2f} mm or more"


def _farthest(points: Floats) -> float:
    """How far the farthest of some points lies from the centre-line, mm."""
    return float(np.abs(points[..., 1]).max())


def web_under(job: Job, board: Fingerboard, cut: Slots) -> Floats:
    """(n, 2) wood under both ends of each slot: the surface is lowest there, and a level bottom is measured from there.
    """
    return np.asarray(board.surface.height(cut.lines[..., 0], cut.lines[..., 1]) - job.skim - cut.depth)
