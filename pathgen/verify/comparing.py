"""What is checked of each operation: one row for each kind, in a table by type."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from pathgen.removal.motion import Motion
from pathgen.verify.cutouts import cutout_findings, cutout_floor_findings
from pathgen.verify.engraved import engraving_findings
from pathgen.verify.findings import Finding, Tolerances
from pathgen.verify.holes import hole_findings, hover_findings, mark_findings
from pathgen.verify.outlines import outline_findings
from pathgen.verify.pieces import piece_findings
from pathgen.verify.pockets import pocket_findings
from pathgen.verify.repeats import part_repeat_findings, repeat_findings
from pathgen.verify.seen import Seen
from pathgen.verify.slots import bevel_findings, slot_findings
from pathgen.verify.surfaces import surface_findings
from pathgen.work import operations
from pathgen.work.clamping import Clamping, Step


@dataclass(frozen=True, kw_only=True)
class Checks:
    """What is checked of a kind of operation."""

    moves: Callable[[Motion, Step, Clamping, Tolerances], Iterator[Finding]] | None = None
    """Of the moves of each step, whatever the other programs do."""
    step: Callable[[Step, Seen], Iterator[Finding]] | None = None
    """Of each step, beside the others or by what stood in the end."""
    work: Callable[[Seen], Iterator[Finding]] | None = None
    """Of all such steps together, by what stood in the end."""


def compared(seen: Seen) -> Iterator[Finding]:
    """What the checks of every step find."""
    kinds = [CHECKS[type(step.operation)] for step in seen.clamping.steps]
    for work in dict.fromkeys(checks.work for checks in kinds):
        if work is not None and seen.whole:
            yield from work(seen)
    for step, checks in zip(seen.clamping.steps, kinds, strict=True):
        if checks.moves is not None and step.order in seen.motions:
            yield from checks.moves(seen.motions[step.order], step, seen.clamping, seen.tolerances)
        if checks.step is not None and step.order in seen.motions:
            yield from checks.step(step, seen)


def _surface(seen: Seen) -> Iterator[Finding]:
    if seen.ridges is not None and seen.deviation is not None:
        yield from surface_findings(seen.deviation, seen.ridges, seen.clamping, seen.tolerances, seen.culprit)


def _outline(step: Step, seen: Seen) -> Iterator[Finding]:
    if seen.whole:
        yield from outline_findings(seen.motions[step.order], step, seen.clamping, seen.sim, seen.tolerances)


def _cut_out(step: Step, seen: Seen) -> Iterator[Finding]:
    if seen.whole:
        yield from cutout_floor_findings(step, seen.sim, seen.tolerances)


def _hover(step: Step, seen: Seen) -> Iterator[Finding]:
    pauses = seen.programs[step.file_name].pauses
    return hover_findings(seen.motions[step.order], pauses, step, seen.clamping, seen.tolerances)


def _repeats(step: Step, seen: Seen) -> Iterator[Finding]:
    """With skim 0 the second cut goes where the first went."""
    clamping = seen.clamping
    assert isinstance(step.operation, operations.CutAgain)
    surfacing = step.operation.surfacing
    if step.operation.takes_all:
        return
    finish = clamping.step(operations.SurfaceFinish)
    if surfacing.skim > 0 or finish is None or finish.order not in seen.motions:
        return
    # in a moved frame the same places are written rounded anew, in inches by up to 0.13 um each time; and in the very
    # same one other places of the same line
    found, moved = (part_repeat_findings if step.operation.goes_round else repeat_findings), clamping.moved_at(step)
    same = moved is clamping.moved_at(finish) and (moved is None or not step.operation.goes_round)
    within = 1e-9 if same else 2 * seen.tolerances.rounding
    yield from found(seen.motions[finish.order], seen.motions[step.order], step, within=within)


CHECKS: Mapping[type[operations.Operation[Any]], Checks] = {
    operations.SurfaceRough: Checks(work=_surface),  # what it takes too deep is missing from the surface
    operations.SurfaceFinish: Checks(work=_surface),
    operations.CutAgain: Checks(work=_surface, step=_repeats),
    operations.Pocket: Checks(work=pocket_findings),
    operations.Slot: Checks(moves=slot_findings),
    operations.NutSlot: Checks(moves=slot_findings),
    operations.Bevel: Checks(moves=bevel_findings),
    operations.DowelHoles: Checks(moves=hole_findings),
    operations.RoundHoles: Checks(moves=hole_findings),
    operations.CutOut: Checks(moves=cutout_findings, step=_cut_out),
    operations.Channel: Checks(moves=cutout_findings, step=_cut_out),
    operations.SideDots: Checks(moves=hole_findings),
    operations.WitnessMarks: Checks(moves=mark_findings),
    operations.Hover: Checks(step=_hover),
    operations.Engrave: Checks(moves=engraving_findings),
    operations.Outline: Checks(step=_outline),
    operations.CutPieces: Checks(moves=piece_findings),
}
