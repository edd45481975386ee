"""Which cutters are fitted anew, and what of the blank is gone, when each program is about to start."""

from __future__ import annotations

from collections.abc import Sequence

from pathgen.work.clamping import Clamping, Step


def refits(clamping: Clamping, step: Step) -> bool:
    """Whether another cutter than a step's own stands in the spindle when it is to start, so that Z must be set again:
    that of the step before, or the pointed one that marks have just been measured with."""
    if step.turn:
        return not step.turn.stays
    before = clamping.steps[step.order - 2] if step.order > 1 else None
    return before is None or step.order == clamping.moved_from or not before.operation.keeps_cutter \
        or before.cutter.name != step.cutter.name


def tries_zero(clamping: Clamping, step: Step) -> bool:
    """Whether Z 0 is tried before a step: a cutter has been fitted, and it is to cut. One that only hovers over the
    work, and is taken out again, need not be so exact."""
    if not refits(clamping, step) or step.turn or step.operation.spins:
        return refits(clamping, step)
    later = clamping.steps[step.order:]
    kept = next((k for k, one in enumerate(later) if refits(clamping, one)), len(later))
    return any(one.operation.spins for one in later[:kept])


def surfaced_before(clamping: Clamping, step: Step) -> bool:
    """Whether the raw top over the part is gone when a step starts."""
    return any(s.operation.makes_surface for s in clamping.steps if s.order < step.order)


def fitted_lowest(clamping: Clamping, lowest: Sequence[float]) -> list[float]:
    """For each step the lowest of all that its cutter stays in the spindle for; `lowest` are the steps' own, mm. Of
    other parts of a common blank, whose turn comes between, `Turn` says it."""
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
