"""What the moves met: cuts deeper than the stepdown, rapids through material, shanks that rub.

The stepdown is how deep a cutter may stand in full wood. Wood may stand higher beside it all the same: a layer follows
the wall of the layer above only as nearly as both are written, and a wall is often cut clean at full height. What is
taken there is thin. A cut deeper than the stepdown is a shaving, and no fault, when

- what it takes from over the stepdown is no wider than SHAVING of what the cutter opens a stepdown deep (of a flat end
  its diameter; that is half a usual stepover), so that only the cutter's side is at work, and
- all that it takes for each mm of travel is no more than what it takes in full wood, a stepdown deep: it is loaded no
  harder than the stepdown allows, however tall the wall.

How deep a cut is tells how far a point is lowered while the cutter passes over it once.
Widths are volume by travel and by height, over a short travel: the same for long moves and for short ones, and for
every shape of cutter. Where a cut is several stepdowns deep the travel is shorter still: thin cutters break within
tenths of a millimetre (common practice, no source). Passes over a surface lie side by side and have no walls: there
only what is thinner than any stepover is left out.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import replace

import numpy as np

from pathgen.base.arrays import Bools, Floats, Ints, first_of_most
from pathgen.base.cutters import Cutter
from pathgen.removal.bites import Bites
from pathgen.removal.motion import Motion
from pathgen.verify.abilities import plunge_findings, shank_findings
from pathgen.verify.findings import AGAIN, Finding, Tolerances, at
from pathgen.verify.simulate import Simulation, deepest_cut
from pathgen.work.clamping import Clamping, Step

SHAVING = 0.25
"""Widest shaving along a wall, as a share of what the cutter opens: the tip of a v, or of a ball end that is sunk by
less than its radius, is narrower than the diameter, and a groove by it in fresh wood is no shaving."""
RIDGES = 0.02
"""The same for passes over a surface, as a share of the diameter: their stepover is 0.025 of it or more."""
_TRAVEL = 0.75
"""Over how much travel a width is measured, mm, or over the cutter's diameter: the end of a narrow place counts with
the way there and back, and enough points of the grid are counted (a quarter of a 0.5 mm cutter's is ten at 0.1 mm)."""
TALL = 2.0
"""A cut that is over its limit by more than so many limits is several stepdowns deep, and judged over less travel."""
_CORNER = 0.4
"""Of the diameter: as wide a cut over so little travel is no finishing pass that turns into a corner, where its shaving
stands all along a quarter of the cutter."""
_BITE, _BITE_OF, _POINTS = 0.5, 1 / 6, 5.0
"""Over how much travel the width of such a cut is measured, mm and of the diameter, whichever is more; and no less than
so many points of the grid."""
ALIKE = 0.002
"""Depths that differ by no more are one on a grid, whose points lie beside the place where two moves meet, mm."""
_MISSED = "was something taken out that lowers the wood there first? else "
_TURNED = "does that arc go the right way round (G2 clockwise, G3 the other way)? else "
_STRAIGHT = 1e-6
"""By how much the heads of pieces of one straight move may seem to differ."""
_VOLUME = 1e-4  # mm3: less than this is rounding


def widest_shaving(cutter: Cutter, depth: float | Floats) -> Floats:
    """How wide a shaving along a wall may be, mm, of a cutter that may stand so deep in full wood."""
    return 2.0 * SHAVING * cutter.half_width(depth)


def in_pieces(motion: Motion, step: Step, cell: float) -> Motion:
    """A step's moves as they are judged on a grid of `cell` mm: what a long one takes is told from place to place."""
    cutter = step.cutter
    longest = max(_TRAVEL, cutter.diameter) if step.operation.makes_surface else longest_piece(cutter, cell)
    return motion.in_pieces(motion.pieces(longest))


def longest_piece(cutter: Cutter, cell: float) -> float:
    """How long a piece of a move may be that is judged by itself on a grid of `cell` mm."""
    return max(_bite(cutter), _POINTS * cell)


def cutting_findings(
    clamping: Clamping, sim: Simulation, motions: Mapping[int, Motion], tolerances: Tolerances
) -> Iterator[Finding]:
    """What each program of a simulation took too deep, hit or rubbed against."""
    for step in clamping.steps:
        taken = sim.taken.get(step.order)
        if taken is None or taken.bites is None:
            continue
        motion, bites = motions[step.order], taken.bites
        # a wall along a row of the grid takes all of that row or none
        grain = 0.0 if step.operation.makes_surface else math.sqrt(sim.grid.cell_area) / 2.0
        limit = deepest_cut(clamping, step)
        shaving = RIDGES * step.cutter.diameter if step.operation.makes_surface else float(
            widest_shaving(step.cutter, limit))
        for deep in deep_findings(
                step.file_name, motion, bites, step.cutter, tolerances, stepdown=step.operation.at_once(step.cutter),
                limit=limit, shaving=shaving + grain, grain=2.0 * grain):
            yield replace(deep, remedy=f"{_MISSED}{deep.remedy}, or {AGAIN}")
        yield from rapid_findings(step.file_name, motion, bites, motion.rapid & (bites.drop > tolerances.rapid))
        yield from plunge_findings(bites, motion, step.cutter, step.file_name)
        yield from shank_findings(taken.shank, step.cutter, step.file_name)


def rapid_findings(name: str, motion: Motion, bites: Bites, hit: Bools) -> Iterator[Finding]:
    """The first rapid of those that `hit` the work: after it all may be rapids that were not meant to be; and the
    deepest of them."""
    if not hit.any():
        return
    first, deepest = int(np.argmax(hit)), first_of_most(np.where(hit, bites.drop, 0.0), ALIKE)
    line, worst = int(motion.line[first]), int(motion.line[deepest])
    more = "" if line == worst else f", the first of {len(np.unique(motion.motion[hit]))} in this program; the " \
        f"deepest, in line {worst}, {bites.drop[deepest]:.3f} mm"
    yield Finding(code="rapid-through-material", where=at(name, line, *bites.at[first]),
                  got=f"a rapid {bites.drop[first]:.3f} mm into the work{more}", allowed="rapids through air only",
                  remedy="if it is to cut there write G1, as the G0 of that line or one before it holds; else lift the "
                  "cutter first")


def deep_findings(
    name: str, motion: Motion, bites: Bites, cutter: Cutter, tolerances: Tolerances, *, stepdown: float, limit: float,
    shaving: float, grain: float = 0.0,
) -> Iterator[Finding]:
    """The first of the deepest cuts over a limit, and what is allowed with it; that is the stepdown, and what ridges
    add to it."""
    allowed = tolerances.over(stepdown)
    found = too_deep(bites, motion, cutter, limit=limit, shaving=shaving, grain=grain) & (bites.over > allowed)
    if found.any():
        i = first_of_most(np.where(found, bites.over, 0.0), ALIKE)
        yield Finding(
            code="cut-too-deep", where=at(name, int(motion.line[i]), *bites.at[i]),
            got=f"{limit + bites.over[i]:.3f} mm at once",
            remedy=_TURNED * _is_arc(motion, i) + "go down in smaller steps",
            allowed=f"a stepdown of {stepdown:g} mm, and {limit + allowed - stepdown:.3g} mm for ridges and stairs "
            "that stand there")


def _is_arc(motion: Motion, move: int) -> bool:
    """Whether a move is a chord of an arc: others of the same motion head elsewhere."""
    run = (motion.end - motion.start)[motion.motion == motion.motion[move], :2]
    heads = run / np.maximum(np.hypot(*run.T), 1e-12)[:, None]
    return bool(np.ptp(heads, axis=0).max() > _STRAIGHT)


def too_deep(
    bites: Bites, motion: Motion, cutter: Cutter, *, limit: float, shaving: float, grain: float = 0.0
) -> Bools:
    """(n,) moves at a feed that take more than a shaving, `shaving` mm wide, from over the `limit` asked about.

    `grain` is how much wider than it is a cut may seem on the grid, mm.
    """
    window, run = max(_TRAVEL, cutter.diameter), runs(motion)
    wide = width_over(bites, motion, window) > shaving
    tall = bites.over > TALL * limit
    if tall.any():
        short = max(_bite(cutter), _POINTS * grain)
        wide |= tall & (width_over(bites, motion, short) > max(shaving, _CORNER * cutter.diameter))
    # a short move at the end of a long one is not judged by its own travel alone
    travel = np.maximum(bites.around(bites.travel, window, run), window)
    loaded = bites.around(bites.volume, window, run) > (cutter.diameter * limit + grain * bites.drop) * travel
    return ~motion.rapid & (bites.deep > _VOLUME) & (wide | loaded)


def is_shaving(bites: Bites, motion: Motion, cutter: Cutter) -> Bools:
    """(n,) moves that take no more than a shaving along a wall, however tall."""
    whole = replace(bites, deep=bites.volume, over=bites.drop)
    return np.asarray(width_over(whole, motion, max(_TRAVEL, cutter.diameter)) <= widest_shaving(cutter, bites.drop))


def _bite(cutter: Cutter) -> float:
    return max(_BITE, _BITE_OF * cutter.diameter)


def width_over(bites: Bites, motion: Motion, window: float) -> Floats:
    """(n,) mean width of what is taken from over the limit in `window` mm of travel, mm: volume by travel and height.

    Of a plunge, which has no travel in plan, the width of a square of what it takes.
    """
    flat = np.nan_to_num(np.hypot(*(motion.end - motion.start)[:, :2].T))
    run = runs(motion)
    volume = bites.around(bites.deep, window, run)
    over = np.divide(bites.around(bites.deep * bites.over, window, run), volume, where=volume > 0,
                     out=np.full(len(bites), np.inf))
    over[over <= 0.0] = np.inf  # sums that were subtracted left a trace of a volume
    width = volume / np.maximum(bites.around(flat, window, run), window) / over
    plunge = (flat < 1e-6) & (bites.over > 0)
    width[plunge] = np.sqrt(bites.deep[plunge] / bites.over[plunge])
    return width


def runs(motion: Motion) -> Ints:
    """(n,) number of the stretch of moves at a feed, from one rapid or plunge to the next, that each belongs to."""
    apart = motion.rapid | ~(motion.start[:, :2] != motion.end[:, :2]).any(axis=1)
    return np.cumsum(apart | np.concatenate([[True], apart[:-1]])) if len(apart) else np.zeros(0, np.intp)
