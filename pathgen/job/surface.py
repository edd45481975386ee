"""Can the surface be cut as asked, and cut again over the fill?"""

from __future__ import annotations

from pathgen.base.cutters import Cutter
from pathgen.base.errors import JobError
from pathgen.base.scallop import ridge_limits, stepover_for
from pathgen.base.units import falls_short, format_length, rounded_down, rounded_up
from pathgen.job.job import Job
from pathgen.parts.fingerboard.part import Fingerboard
from pathgen.parts.flat.part import FlatPart
from pathgen.strategies.resurfacing import MOST_LAYERS, least_stepdown
from pathgen.work.part import lowest_edge


def check_surface(job: Job, part: Fingerboard | FlatPart) -> None:
    """Raise JobError for cutters, ridges and layers of the surface, and a second cut, that do not go together."""
    table = job.surface
    if table is None:
        return
    if table.scallop is not None and table.stepover is not None:
        raise JobError("[surface]", "scallop and stepover are both given", remedy="keep one of them")
    finish = job.cutter(table.finish, "[surface] finish")
    level = finish.shape == "flat-end" and part.surface.is_level
    if finish.shape != "ball-end" and not level:
        leaves = "furrows" if finish.shape == "v" else "a stair on a curve"
        raise JobError("[surface] finish", f'"{finish.name}" is a {finish.shape} cutter',
                       allowed='a ball-end cutter; a flat end where radius = "flat", without relief or fall_away'
                       if job.board else "a ball-end cutter, or a flat end",
                       remedy=f"it leaves {leaves}: name a ball-end cutter"
                              f"{' or a flat end' if part.surface.is_level else ''}")
    given = "scallop" if table.scallop is not None else "leave_scallop" if table.leave_scallop is not None else None
    if level and given:
        raise JobError(f"[surface] {given}", f'given, and the flat end "{finish.name}" leaves no ridges',
                       allowed="stepover, or nothing: its passes lie as far apart as its own stepover says",
                       remedy="leave it out")
    if level and not table.rough:
        raise JobError("[surface] rough", f'is missing, and the flat end "{finish.name}" finishes',
                       allowed="a cutter that roughs: it goes into the raw blank along a ramp, in layers",
                       remedy=f'add rough = "{finish.name}": it may be the same cutter')
    if table.rough and job.cutter(table.rough, "[surface] rough").shape == "v":
        raise JobError("[surface] rough", f'"{table.rough}" is a v cutter: it leaves furrows',
                       allowed="a flat end, or a ball end", remedy="name another cutter")
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
                       remedy="leave it out: without a filled inlay the first cut is the only one")
    if job.resurface.skim:
        raise JobError(where, "skim is given too",
                       remedy=f"keep one of them: leave ends at the {job.body_name[1:-1]}'s own thickness")
    for i, inlay in enumerate(job.inlays, 1):
        for name in inlay.cutters:
            if job.cutter(name, "").shape != "flat-end":
                raise JobError(where, f'inlay {i} is cut with "{name}", which opens wider the higher the wood stands',
                               allowed="flat-end cutters for every inlay", remedy="leave it out, or take flat ends")
