"""What each program starts from: what is fitted, what Z 0 is set by and tried at, what X and Y are found again from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from pathgen.programs.around import Around
from pathgen.programs.edges import Edges, edges_of
from pathgen.programs.sticking import whole_face
from pathgen.programs.waste import left_standing
from pathgen.programs.zero_check import ZeroCheck
from pathgen.programs.zeroing import covered, fitted_lowest, refits, surfaced_before
from pathgen.work.clamping import Clamping, Step
from pathgen.work.operations import WitnessMarks

SETTER = 3.0
"""Radius of the foot of a setter, or of a cutter touched off by hand, mm; common practice, no source."""

SetBy = Literal["bed", "top", "noted", "noted or top"]
"""The bed; the raw top; the Z that was noted on the bed; that, or raw top that is left standing outside the cut."""


@dataclass(frozen=True, kw_only=True)
class Start:
    """What the program of one step starts from; cards, heads and reports tell it in their own words."""

    refit: bool
    """Whether its cutter is fitted before it, so that Z 0 is set again."""
    z_by: SetBy
    """What that is set by."""
    notes_bed: bool
    """Whether the Z of the bed is noted then, for cutters to come."""
    gone: tuple[str, ...]
    """What can no longer be set from."""
    marked: bool
    """Whether the work can be found again by witness marks."""
    edges: tuple[Edges, Edges]
    """Those of the blank, from which X 0 and Y 0 are set."""
    stuck: tuple[str, ...] = ()
    """Why the blank must be stuck down over its whole face: for any part before the first of all, for its own part
    before the first of that, and of that since the work moved."""
    zero: ZeroCheck | None = None
    """Where to try the zero of its cutter, where that is fitted."""
    lowest: float | None = None
    """Its lowest tip above the bed, mm; None where paths are not known."""
    fitted: float | None = None
    """That of all programs that its cutter stays in the spindle for, mm: it cannot be drawn out between them."""
    deepest: float | None = None
    """That of all programs that are still to be run, mm."""


def starts_of(
    around: Around, *, lowest: Sequence[float] = (), zeros: Mapping[int, ZeroCheck] | None = None,
    edges: tuple[Edges, Edges] | None = None, beside: Sequence[Around] = (),
) -> tuple[Start, ...]:
    """One for each step. `lowest` are their lowest tips above the bed, mm; `zeros` as `zero_checks` has them; `edges`
    are those of the blank, where it is known what lies past the machine's travel; `beside` are all parts of a common
    blank."""
    clamping, tried = around.clamping, zeros or {}
    steps = clamping.steps
    top_left = clamping.setup.z_zero != "bed" and not left_standing(around, reach=SETTER).is_empty
    fitted = fitted_lowest(clamping, lowest) if lowest else []
    deepest = min((low for low, step in zip(lowest, steps, strict=False) if not clamping.done(step)), default=0.0)
    edges = edges or edges_of(clamping, steps[0].cutter)
    return tuple(Start(
        refit=refits(clamping, step), z_by=_set_by(clamping, step, top_left), notes_bed=_notes_bed(clamping, step),
        gone=tuple(_gone(clamping, step)), edges=edges, zero=tried.get(step.order),
        marked=_marked(clamping, step), stuck=_stuck(clamping, step, beside),
        **({"lowest": lowest[k], "fitted": fitted[k], "deepest": deepest} if lowest else {}),
    ) for k, step in enumerate(steps))


def _stuck(clamping: Clamping, step: Step, beside: Sequence[Around]) -> tuple[str, ...]:
    if step.order not in (1, clamping.moved_from if clamping.moved is not None else 1):
        return ()
    return tuple(whole_face(*([one.clamping for one in beside] if beside and step.number == 1 else [clamping])))


def _marked(clamping: Clamping, step: Step) -> bool:
    """Whether marks are drilled before a step, be it by another part's program."""
    first = clamping.step(WitnessMarks)
    drilled = clamping.shared.marked if clamping.shared else first.number if first else None
    return drilled is not None and step.number > drilled


def _set_by(clamping: Clamping, step: Step, top_left: bool) -> SetBy:
    if clamping.setup.z_zero == "bed":
        return "bed"
    if clamping.moved_at(step) is not None:
        return "noted"
    if not surfaced_before(clamping, step):
        return "top"
    return "noted or top" if top_left else "noted"


def _notes_bed(clamping: Clamping, step: Step) -> bool:
    """Before the first of several programs: later ones may find the top that Z 0 is set from cut, or moved."""
    several = step.turn is not None or len(clamping.steps) > 1
    return several and step.number == 1 and _set_by(clamping, step, False) == "top"


def _gone(clamping: Clamping, step: Step) -> list[str]:
    gone = [f"the raw top over the {clamping.board.names.part}"] if surfaced_before(clamping, step) else []
    return gone + (["the cut surface, under fill"] if covered(clamping, step) else [])
