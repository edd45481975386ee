"""What to do when a program has ended, and when the last one has."""

from __future__ import annotations

import math

import numpy as np
import shapely

from pathgen.base.lowered import Lowered
from pathgen.base.units import coarse_length, fine_length, format_length
from pathgen.work.clamping import Clamping, Step
from pathgen.work.operations import Outline, Slot

_NARROWER = 1e-6  # mm: a board cut narrower than this is cut for a binding
_ROUND = np.linspace(0.0, 1.0, 400)  # shares of the way round the outline
_SAG = 0.02  # mm: how far a top may curve along the board under what it is sanded with (no source)
_HOW = "the sheet of the whole blank says how."


def afterwards(clamping: Clamping, step: Step) -> list[str]:
    """What to do when a program has ended: on a blank of several parts fills wait for all pockets, and what frees
    a part for the last program of all. Of one that was run before the work moved, what may still be left to do: who
    filled its pockets already, only the maker knows.
    """
    own, turn = step.operation.afterwards(clamping), step.turn
    if freed := freed_later(clamping, step):
        stay = "Leave the part where it is, and the blank as it lies: programs of other parts follow."
        return [*([] if clamping.done(step) else [stay]), *(f"{after_the_last(clamping)}: {line}" for line in freed)]
    go_on = clamping.shared.go_on if clamping.shared else 0
    to_come = turn is not None and turn.fill_after is not None and turn.fill_after >= go_on  # the fill of all parts
    if clamping.done(step) and not to_come:
        inlay = step.operation.opens
        if inlay is None or not own or clamping.levelled_before(inlay):
            return []
        if clamping.moved_number is None:
            return [f"Where {inlay.name} was not filled before the work moved, fill it now:", *own]
        return [f"Where {inlay.name} was filled before the work moved, go on with program {clamping.moved_number}. "
                f"Where it was not, fill it before {f'program {go_on}' if go_on else 'that'}:", *own]
    if turn is None or turn.fill_after is None:
        return own
    after = f"after program {turn.fill_after}: {_HOW}"
    wait, now = "Do not fill yet: the fills of all parts are poured together", "Fill now too: {}"
    if step.operation.opens is not None and step.operation.opens.fill == "piece":
        wait = "Do not glue the pieces in yet: the pockets of all parts are filled together"
        now = "The pockets of {} are filled now too"
    if turn.fill_after > turn.number:
        return [f"{wait}, {after}"]
    return [*own, *([f"{now.format(', '.join(turn.fill_too))}: {_HOW}"] if turn.fill_too else [])]


def freed_later(clamping: Clamping, step: Step) -> list[str]:
    """How a part is freed that a step has cut round, where programs of other parts follow: when the last has ended."""
    if isinstance(step.operation, Outline) and step.turn is not None and step.turn.number < step.turn.count:
        return step.operation.afterwards(clamping)
    return []


def after_the_last(clamping: Clamping) -> str:
    """When a part is taken up: where others share its blank, after the last program of them all."""
    turn = clamping.steps[-1].turn if clamping.steps else None
    return f"After program {turn.count}, the last of all parts" if turn else "After the last program"


def off_the_machine(clamping: Clamping) -> list[str]:
    """What is left to do by hand when the last program has ended (common practice), of a part that is finished then."""
    surfacing, slots, units = clamping.surfacing, clamping.feature(Slot), clamping.units
    if clamping.kind:
        return []
    part = clamping.board.names.part
    along, block, only = _sanded(clamping)
    dots = ["Glue the dots into their pockets, let the glue set fully, and level them with the wood "
            f"{along} with a hard {block}{only}; wear a mask, the dust of shell and bone is harmful."] \
        if any(inlay.dots is not None and inlay.fill == "none" for inlay in clamping.inlays) else []
    if surfacing is None:
        return dots
    filled = [inlay for inlay in clamping.inlays if inlay.fill != "none"]
    resin = any(inlay.fill == "resin" for inlay in filled)
    lines = []
    edge = shapely.line_interpolate_point(clamping.board.outline.exterior, _ROUND, normalized=True)
    beside = float(shapely.distance(clamping.board.finished.exterior, edge).max())  # what is glued on is as thick
    if beside > _NARROWER:
        lines.append(f"Glue the binding onto the long edges: the {part} is {fine_length(beside, units)} narrower on "
                     "each side for it. Side dots go into it.")
    lines += dots
    if surfacing.scallop:
        high = format_length(surfacing.scallop, units, decimals={"mm": 4, "in": 5}[units])
        what = "the fill" if resin else "shell and bone"
        dust = f", the dust of {what} is harmful too" if filled else ""
        lines.append(f"Sand the ridges away, {high} high at most, {along} with a hard {block}, finer and finer"
                     f"{only}; wear a mask{dust}.")
    if resin:
        lines.append("Look for pinholes in the fill: drop resin into them, let it cure, and sand them level.")
    if slots is not None:
        lines.append(f"Clear the dust out of the {slots.words} and try a piece of the wire in one. Then the wire goes "
                     f"in, before or after the {part} is glued on, as you are used to.")
    same = f" with {'the same fill' if resin else 'a piece let in'}" if filled else ""
    return [*lines, f"Try the finish on an offcut{same} before it goes onto the {part}."]


def _sanded(clamping: Clamping) -> tuple[str, str, str]:
    """Which way a top is sanded, with what, and why with nothing longer: of one radius along the part, of more along
    the straight lines of its cone, near which strings run (common practice)."""
    surface, names = clamping.board.surface, clamping.board.names
    cone = surface.radius_nut != surface.radius_end
    along = "along the lines of the strings" if cone else f"along the {names.part}"
    block = "flat block" if surface.is_flat else "narrow straight bar" if cone else "block of its radius"
    if not isinstance(surface, Lowered):
        return along, block, ""
    spans = [math.sqrt(8 * _SAG / surface.curving)] if surface.curving else []
    spans += [surface.fall_away.end - surface.fall_away.start] if surface.fall_away else []
    longest = coarse_length(max(5.0 * (min(spans) // 5), 5.0), clamping.units)
    lowered = " and ".join(["relief"] * bool(surface.relief) + ["fall-away"] * bool(surface.fall_away))
    return f"in short strokes {along}", f"{block} {longest} long at most", f": a longer one takes out the {lowered}"
