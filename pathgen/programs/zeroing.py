"""What is still there to set zero from when each program is about to start."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import shapely

from pathgen.base import overlay
from pathgen.base.errors import JobError
from pathgen.programs.around import Around
from pathgen.programs.waste import left_standing
from pathgen.work.clamping import Clamping, Step
from pathgen.work.operations import WitnessMarks

SETTER = 3.0
"""Radius of the foot of a setter, or of a cutter touched off by hand, mm; common practice, no source."""


@dataclass(frozen=True, kw_only=True)
class Reference:
    """For one step: places that Z, and X and Y, can be set from; and what is gone."""

    order: int
    z: tuple[str, ...]
    xy: tuple[str, ...]
    gone: tuple[str, ...]
    refit: bool
    """Whether its cutter is fitted before it, so that Z must be set again."""


CLEAR = 1.0
"""Kept between a tool that touches an edge and a clamp, mm."""


def under_clamps(clamping: Clamping, radius: float) -> tuple[tuple[bool, bool], tuple[bool, bool]]:
    """Whether clamps keep a tool of that radius off the blank's near and far end, and off its lower and upper side."""
    x0, y0, x1, y1 = clamping.shared.blank if clamping.shared else clamping.stock.bounds
    things = overlay.union_all([overlay.buffer(one.shape, radius + CLEAR) for one in clamping.setup.keep_out])

    def kept_off(*ends: tuple[float, float]) -> bool:
        return bool(overlay.difference(shapely.LineString(ends), things).is_empty)

    near, far, low, high = x0 - radius, x1 + radius, y0 - radius, y1 + radius
    return ((kept_off((near, y0), (near, y1)), kept_off((far, y0), (far, y1))),
            (kept_off((x0, low), (x1, low)), kept_off((x0, high), (x1, high))))


def references(around: Around) -> tuple[Reference, ...]:
    """What can be set from at each step, the surest first."""
    clamping = around.clamping
    raw = clamping.setup.z_zero != "bed" and not left_standing(around, reach=SETTER).is_empty
    return tuple(_reference(clamping, step, raw) for step in clamping.steps)


def check_references(around: Around) -> None:
    """Raise JobError where a program's Z 0 would have to be set from a surface that is no longer there."""
    if around.clamping.setup.z_zero != "stock-top":
        return
    for needed in references(around):
        if needed.refit and not needed.z:
            step = around.clamping.steps[needed.order - 1]
            raise JobError(
                "[setup] z_zero",
                f"{step.title}, needs Z set from the raw top, and the steps before it leave no "
                f"place of {2 * SETTER:g} mm of that",
                allowed='"bed", or a blank with raw top left standing outside the cut and the clamps',
                remedy='write z_zero = "bed", or let the blank stand out further',
            )


def refits(clamping: Clamping, step: Step) -> bool:
    """Whether another cutter than a step's own stands in the spindle when it is to start, so that Z must be set again:
    that of the step before, or the pointed one that marks have just been measured with."""
    if step.turn:
        return not step.turn.stays
    before = clamping.steps[step.order - 2] if step.order > 1 else None
    return before is None or step.order == clamping.moved_from or not before.operation.keeps_cutter \
        or before.cutter.name != step.cutter.name


def surfaced_before(clamping: Clamping, step: Step) -> bool:
    """Whether the raw top over the part is gone when a step starts."""
    return any(s.operation.makes_surface for s in clamping.steps if s.order < step.order)


def fitted_lowest(clamping: Clamping, lowest: Sequence[float]) -> list[float]:
    """For each step the lowest of all that its cutter stays in the spindle for; `lowest` are the steps' own, mm.

    Of other parts of a common blank, whose turn comes between, `Turn` says it.
    """
    runs: list[list[int]] = []
    for k, step in enumerate(clamping.steps):
        if not runs or refits(clamping, step) or step.cutter.name != clamping.steps[k - 1].cutter.name:
            runs.append([])
        runs[-1].append(k)
    low = {k: min(lowest[i] for i in run) for run in runs for k in run}
    return [min(low[k], step.turn.lowest) if step.turn else low[k] for k, step in enumerate(clamping.steps)]


def covered(clamping: Clamping, step: Step) -> bool:
    """Whether fill stands over the surface when a step starts: poured after an inlay's pockets, gone with its second
    cut."""
    before = [s for s in clamping.steps if s.order < step.order]
    open_still = {id(s.operation.opens) for s in clamping.steps if s.operation.opens and s not in before}
    filled = {id(i) for s in before if (i := s.operation.opens) is not None and i.fill != "none"}
    return bool(filled - open_still - {id(s.operation.levels) for s in before})


def _edges(clamping: Clamping) -> list[str]:
    """The sides and an end of the blank, that X 0 was set from, as far as clamps leave them free."""
    (near, far), sides = under_clamps(clamping, SETTER)
    x0, _, x1, _ = clamping.stock.bounds
    beyond = clamping.shared is None and clamping.zero[0] > (x0 + x1) / 2 and not far
    end = "the far end" if near or beyond else f"the {clamping.board.names.near.removesuffix(' end')} end"
    if near and far:
        return [] if all(sides) else ["the sides of the blank, whose ends are under clamps"]
    return [f"{end} of the blank, whose sides are under clamps" if all(sides) else f"the sides and {end} of the blank"]


def _reference(clamping: Clamping, step: Step, raw_left: bool) -> Reference:
    before = [s for s in clamping.steps if s.order < step.order]
    done = {type(s.operation) for s in before}
    surfaced = surfaced_before(clamping, step)
    z, gone = [], []
    if clamping.setup.z_zero == "bed":
        z.append("the bed, or a setter on it")
    elif clamping.moved_at(step) is not None:
        z.append("the bed, by the Z noted there")
    elif not surfaced:
        z.append("the raw top of the blank")
    elif raw_left:
        z.append("the raw top of the blank, outside the cut, or the bed, by the Z noted there")
    if surfaced:
        gone.append(f"the raw top over the {clamping.board.names.part}")
    if covered(clamping, step):
        gone.append("the cut surface, under fill")
    marks = ["the witness marks"] if WitnessMarks in done else []
    xy = [*marks, *_edges(clamping)]
    if clamping.moved_at(step) is not None:
        xy = [f"{marks[0] if marks else 'the places that were measured'}, as they lie now"]
    return Reference(order=step.order, z=tuple(z), xy=tuple(xy), gone=tuple(gone), refit=refits(clamping, step))
