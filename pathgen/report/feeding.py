"""Which feeds of a job are unusual for their cutters: starting points, not rules."""

from __future__ import annotations

from pathgen.clamping import HOVER, RESURFACE, SURFACE_FINISH, Clamping, Step
from pathgen.feeds import chip_load, usual_feed
from pathgen.units import MM_PER
from pathgen.verify.findings import Finding

ROUNDED = 0.05
"""Share by which a feed may lie outside the usual range unremarked: feeds are round numbers."""


def feed_findings(clamping: Clamping) -> list[Finding]:
    """A note for each cutter whose feed lies outside the usual range for its size, in the first step where it does."""
    found = {}
    for step in clamping.steps:
        if step.operation == HOVER or step.cutter.name in found:
            continue
        low, high = usual_feed(step.cutter, _depth(clamping, step))
        if not low * (1 - ROUNDED) <= step.cutter.feed <= high * (1 + ROUNDED):
            found[step.cutter.name] = _note(clamping, step, low, high)
    return list(found.values())


def _note(clamping: Clamping, step: Step, low: float, high: float) -> Finding:
    cutter, per = step.cutter, MM_PER[clamping.units]
    load = float(chip_load(cutter.feed, cutter.speed, cutter.flutes))
    word = "low: it may rub and burn" if cutter.feed < low else "high: small cutters break"
    return Finding(
        code="feed-unusual", severity="note", where=f'cutter "{cutter.name}"',
        got=f"feed {cutter.feed / per:.4g} {clamping.units} per minute at {cutter.speed:.0f} rpm is "
            f"{load / per:.2g} {clamping.units} a tooth, {word}",
        allowed=f"{low / per:.0f} to {high / per:.0f} {clamping.units} per minute is usual in hardwood",
        remedy="a starting point only: the cutter maker's chart, your wood and your ears decide",
    )


def _depth(clamping: Clamping, step: Step) -> float | None:
    """How deep a ball end finishes, which decides the diameter that it cuts at; None for the cutter's own."""
    if step.operation not in (SURFACE_FINISH, RESURFACE) or clamping.surfacing is None:
        return None
    if step.operation == RESURFACE:
        return clamping.surfacing.resurface_stepdown
    return clamping.surfacing.allowance or None
