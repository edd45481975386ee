"""How near programs come to the things in the way, clamps mostly: beside them and above."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

import numpy as np
import shapely

from pathgen.base.arrays import Floats, Ints
from pathgen.removal.motion import Motion
from pathgen.verify.findings import Finding, at
from pathgen.verify.in_plan import lines_of, nearest_at
from pathgen.work.clamping import CLOSE, Clamping, KeepOut, Step

_WRITTEN = 0.005
"""Programs are rounded: what is this much nearer than it may be, mm, is as far off."""


def keep_out_findings(motion: Motion, step: Step, clamping: Clamping) -> Iterator[Finding]:
    """A cutter that passes through a thing in the way, or comes as near as the machine may touch it."""
    if clamping.done(step):  # clamps may have stood elsewhere then
        return
    touch, above = clamping.machine.touch, clamping.machine.touch_above
    for number, thing in enumerate(clamping.setup.keep_out, 1):
        rows, gap, _, bottom = _beside(motion, step, thing, clamping, over=touch)
        into = (gap < step.cutter.radius - 1e-6) & (bottom < thing.height)
        # what the machine may touch, as it comes back no better; all but what rounding has brought nearer
        hit = into | ((gap < step.cutter.radius + touch - _WRITTEN) & (bottom < thing.height + above - _WRITTEN))
        if hit.any():
            i = int(rows[np.argmax(into if into.any() else hit)])
            yield Finding(code="hits-a-keep-out", where=_nearest(motion, step, thing, clamping, i),
                          got=f"the cutter {'passes through' if into.any() else 'all but touches'} keep_out {number}",
                          allowed=f"above {thing.height:g} mm, or clear of it" if into.any() else
                                  f"{touch:g} mm or more between them: the machine comes back no better",
                          remedy="move the clamp, or change the path")


def near_findings(motions: Mapping[int, Motion], clamping: Clamping) -> Iterator[Finding]:
    """Of each thing in the way the step that comes nearest to it, beside it and above, where that is a hair's breadth.

    Above it a job that states less clearance has what it states.
    """
    over = min(CLOSE, clamping.machine.clearance)
    for number, thing in enumerate(clamping.setup.keep_out, 1):
        passed = [one for step in clamping.steps if step.order in motions and not clamping.done(step)
                  for one in _passes(motions[step.order], step, thing, clamping, over)]
        for above, least, how, remedy in (
            (False, CLOSE, "{0} at {1:.2f} mm", "let the clamp end {:.2f} mm further away"),
            (True, over, "{1:.2f} mm above {0}", "take a clamp lower by {:.2f} mm, or lift that move"),
        ):
            room, where = min(((room, where) for over_it, room, where in passed if over_it is above),
                              key=lambda one: one[0], default=(math.inf, ""))
            touch = clamping.machine.touch_above if above else clamping.machine.touch
            if touch - _WRITTEN <= room < least - _WRITTEN:
                more = remedy.format(math.ceil((least - room) * 100.0 - 1e-6) / 100.0)
                yield Finding(
                    code="near-a-keep-out", severity="warn", where=where,
                    got=f"the cutter passes {how.format(f'keep_out {number}', room)}",
                    allowed=f"{least:g} mm or more: a clamp is measured, and stands, no better",
                    remedy=f"{more}, or measure it once more and turn the cutter past it by hand",
                )


def _passes(
    motion: Motion, step: Step, thing: KeepOut, clamping: Clamping, over: float
) -> Iterator[tuple[bool, float, str]]:
    """How near a program comes to a thing beside it, and above: whether above, how far off, and where."""
    rows, gap, low, bottom = _beside(motion, step, thing, clamping, over=over)
    above = (gap < step.cutter.radius) & (bottom >= thing.height)
    for over_it, these, room in ((False, ~above & ~(low >= thing.height), gap - step.cutter.radius),
                                 (True, above, bottom - thing.height)):
        if these.any():
            nearest = int(np.argmin(np.where(these, room, np.inf)))
            yield over_it, float(room[nearest]), _nearest(motion, step, thing, clamping, int(rows[nearest]))


def _nearest(motion: Motion, step: Step, thing: KeepOut, clamping: Clamping, move: int) -> str:
    """Program, line and place of where a move is nearest to a thing in the way."""
    start, end = motion.start[move], motion.end[move]
    on_bed = clamping.on_bed(np.stack([start, end]), step)
    return at(step.file_name, int(motion.line[move]), *nearest_at(start, end, thing.shape, on_bed))


def _beside(
    motion: Motion, step: Step, thing: KeepOut, clamping: Clamping, *, over: float
) -> tuple[Ints, Floats, Floats, Floats]:
    """Moves that pass lower than so far `over` the top of a thing, and near it: which, how far from it in plan, their
    lowest, and how low the cutter's underside comes beside or over it."""
    r = step.cutter.radius + CLOSE
    # it stays where it is when the work moves
    end = clamping.on_bed(motion.end, step)
    start = clamping.on_bed(np.where(np.isfinite(motion.start), motion.start, motion.end), step)
    low = np.minimum(start[:, 2], end[:, 2])
    near = (low < thing.height + over) | ~np.isfinite(low)
    for axis, (a, b) in enumerate((sorted(thing.x), sorted(thing.y))):
        near &= (np.minimum(start[:, axis], end[:, axis]) < b + r)
        near &= (np.maximum(start[:, axis], end[:, axis]) > a - r)
    rows = np.flatnonzero(near)
    gap = np.asarray(shapely.distance(lines_of(start[rows], end[rows]), thing.shape))
    return rows, gap, low[rows], low[rows] + step.cutter.profile(np.minimum(gap, step.cutter.radius))
