"""Which feeds of a job are unusual for their cutters: starting points, not rules."""

from __future__ import annotations

from pathgen.base.feeds import UnusualFeed, unusual_feed
from pathgen.base.units import MM_PER
from pathgen.verify.findings import Finding
from pathgen.work.clamping import Clamping, Step


def feed_findings(clamping: Clamping) -> list[Finding]:
    """A note for each cutter whose feed lies outside the usual range for its size, in the first step where it does."""
    found = {}
    for step in clamping.steps:
        if not step.operation.spins or step.cutter.name in found:
            continue
        off = unusual_feed(step.cutter, _depth(step))
        if off is not None:
            found[step.cutter.name] = _note(clamping, step, off)
    return list(found.values())


def _note(clamping: Clamping, step: Step, off: UnusualFeed) -> Finding:
    cutter, per = step.cutter, MM_PER[clamping.units]
    high = "high: its tip may break" if cutter.shape == "v" else "high: small cutters break"
    word = "low: it may rub and burn" if cutter.feed < off.low else high
    return Finding(
        code="feed-unusual", severity="note", where=f'cutter "{cutter.name}"',
        got=f"feed {cutter.feed / per:.4g} {clamping.units} per minute at {cutter.speed:.0f} rpm is "
            f"{off.load / per:.2g} {clamping.units} a tooth, {word}",
        allowed=f"{off.low / per:.0f} to {off.high / per:.0f} {clamping.units} per minute is usual in hardwood",
        remedy="a starting point only: the cutter maker's chart, your wood and your ears decide",
    )


def _depth(step: Step) -> float | None:
    """How deep a ball end or a v cutter goes, which decides the diameter it cuts at; None for the cutter's own."""
    if step.cutter.shape == "flat-end":
        return None
    return step.operation.bite(step.cutter)
