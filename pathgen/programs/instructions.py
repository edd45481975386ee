"""What to tell the maker before each program: what it does, the cutter, the zero, what to do first, cautions."""

from __future__ import annotations

import math
from collections.abc import Sequence

from pathgen.base.cutters import Cutter
from pathgen.base.plain import joined, time_words
from pathgen.base.units import INCH, format_length
from pathgen.programs.afterwards import afterwards
from pathgen.programs.around import Around
from pathgen.programs.edges import Edges, touching_radius
from pathgen.programs.starting import Start, starts_of
from pathgen.programs.turning import turning
from pathgen.programs.zero_check import ZeroCheck, check_words
from pathgen.programs.zero_words import as_it_comes, comes_curved, taped, top_words, zero_words
from pathgen.programs.zeroing import refits, surfaced_before
from pathgen.work.clamping import Clamping, Step
from pathgen.work.features import Named
from pathgen.work.fill_words import STAY
from pathgen.work.mark_errors import zero_again

INTO_BED = 1e-6
"""Cut into the spoilboard that counts, mm."""
MISREAD = "a mark was likely misread: stop, measure the marks again, write them down, and build again"
"""What it means where a zero does not come right over work that moved, and did before."""
COLLET_CLEAR = 2.0
"""Kept between the collet nut and the highest thing in the way, mm."""


def cutter_words(cutter: Cutter, units: str) -> str:
    """A cutter in one line: name, shape, size, speed."""
    angle = f", {cutter.angle:g} degrees" if cutter.angle is not None else ""
    return (
        f"{cutter.name}: {cutter.shape}, {format_length(cutter.diameter, units)}{angle}, "
        f"{cutter.flutes} flutes, {cutter.speed:.0f} rpm"
    )


def point_words(cutter: Cutter, units: str) -> list[str]:
    """What a v cutter is taken for, and what to do where it comes to no point; nothing of others."""
    if cutter.shape != "v":
        return []
    flat, deep = _FLAT[units], min(_TRIED[units], cutter.stepdown, cutter.shape_height)
    low, wide = flat / 2 * cutter.wall_slope, 2 * deep / cutter.wall_slope
    return [
        f"{cutter.name} is taken to come to a sharp point. Try it on scrap: {format_length(deep, units)} deep it must "
        f"cut {format_length(wide, units)} wide. If its tip is flat or worn, all that it cuts is wider by that flat: "
        "set Z, with the tip where it would show 0, to minus half the flat's width, divided by the tangent of "
        f"half the angle: -{format_length(low, units)} for a flat of {format_length(flat, units)}. "
        "Wherever Z is checked with this cutter it then shows as much less."]


def _point(clamping: Clamping, step: Step, *, refit: bool) -> list[str]:
    """The trial of a v cutter whose tip decides how wide it cuts; where it was tried before an earlier program, that
    its Z is set as much lower again."""
    def tried(one: Step) -> bool:
        return one.operation.as_wide_as_deep and one.cutter.name == step.cutter.name and not clamping.done(one)

    if not tried(step):
        return []
    first = next(one for one in clamping.steps if tried(one))
    if first is step or step.cutter.shape != "v":
        return point_words(step.cutter, clamping.units)
    return [f"If its trial before program {first.number} asked for it, set Z as much lower again: where Z is "
            "checked, it then shows as much less than is said."] if refit else []


_FLAT, _TRIED = {"mm": 0.2, "in": 0.008 * INCH}, {"mm": 0.5, "in": 0.02 * INCH}
"""Of a v cutter's tip, for example, and how deep a trial cut is."""


def before_start(clamping: Clamping, step: Step, start: Start | None = None) -> list[str]:
    """What to do before pressing start, in order; `start` is what the program starts from, with what paths tell, where
    they are known."""
    if clamping.done(step):
        return [f"This program counts as run before {clamping.done_before}: do not run it again."]
    if start is None:
        start = starts_of(Around(clamping=clamping))[step.order - 1]
    lines, moved = [], clamping.moved_at(step) is not None
    if moved:
        lines += [
            "This program is written for the work as it lies now, moved: by how much, the setup sheet says under If "
            "the work moves. Keep the old zero: do not set X and Y again from the moved work.",
            *_spoilboard(clamping, start),
        ] if step.order == clamping.moved_from else [
            f"Keep the old zero, as before program {clamping.moved_number}: this one is for the work as it lies now "
            "too."]
    first = step.number == 1 and not moved
    lines += [*clamping.board.names.laid, *turning(clamping)] if first else []
    if start.stuck and not first:
        lines.append(f"See that the blank is still held {stuck_words(start.stuck)}.")
    lines += _before(clamping, step)
    lines += _laid(clamping, step, start) if first else []
    edges = [*home_words(lost_axes(clamping, start)), _edges(clamping, step.cutter, start)] \
        if first and _edges_are_found(clamping) else []
    fitted = [_fitted(clamping, step, start)]
    low = start.lowest if start.fitted is None else start.fitted
    if low is not None and stand_out(clamping, low) > 0:  # hovering high over the work needs none
        fitted.append(_stand_out_words(clamping, stand_out(clamping, low)))
    # edges are found with the cutter, or with a pin before that is fitted
    lines += [*fitted, *edges] if touching_radius(clamping, step.cutter) else [*edges, *fitted]
    lines += _joints(clamping) if edges else []
    lower = _point(clamping, step, refit=start.refit)  # tried before Z is: nothing is set once that is checked
    lines += lower
    if start.zero is not None:
        lines += check_words(start.zero, step, clamping.units)
        if start.zero.like is None and (start.zero.if_so or start.zero.within):
            lines.append(_still_off(clamping, start.zero))
    if start.notes_bed:
        as_much = ", plus what its Z was set lower for a flat tip" if lower else ""
        lines.append("Once Z 0 is right, touch off on the bed beside the work too, or on a setter (a block of known "
                     f"height) there, and note the Z shown{as_much}: once that top is cut or has moved, each cutter is "
                     "set to show the same there.")
    lines += step.operation.at_start(clamping)
    bottom = step.operation.bottom if start.lowest is None else start.lowest
    if bottom < -INTO_BED:
        lines.append(f"This program cuts {format_length(-bottom, clamping.units)} into the spoilboard, the spare board "
                     f"under the work{_or_tape(clamping)}: see that there is one.")
    return lines


def _thickness_keys(clamping: Clamping) -> str:
    """The keys of the job file that say how thick the blank is."""
    names = clamping.board.names
    return f"{names.thickness} and {names.too}" if as_it_comes(clamping) else names.thickness


def _comes_with(clamping: Clamping) -> str:
    """What no program cuts of the top, and the blank must have before the first one."""
    surface, units = clamping.board.surface, clamping.units
    if surface.is_flat:
        return "No program faces the blank: its top must be flat already."
    nut, end = (format_length(radius, units) for radius in (surface.radius_nut, surface.radius_end))
    how = nut if nut == end else f"{nut} at X 0 and {end} at the end"
    return f"No program cuts the radius: the blank must have it already, {how}, with its crest on the centre-line."


def _measuring(clamping: Clamping) -> str:
    """Where the blank's thickness is measured, and what follows."""
    where = "along the centre-line, where it is thickest, at both ends and half-way" if comes_curved(clamping) else \
        "both edges and the middle, at both ends and half-way"
    return (f"Measure the blank: the job says {format_length(clamping.stock.thickness, clamping.units)} thick. Measure "
            f"{where}; where it is not so, write the thickest as {_thickness_keys(clamping)}, and "
            f"{clamping.board.names.again}.")


def _still_off(clamping: Clamping, zero: ZeroCheck) -> str:
    """What it means where the first zero that is tried over a raw top, which nothing cuts, does not come right; or over
    work that moved."""
    if zero.within or zero.by_marks:
        again = "the bed felt for again" if clamping.setup.z_zero == "bed" else \
            f"Z 0 set again {zero_again(clamping.setup.z_zero)}"
        before = "" if zero.mark or zero.by_marks else ", and was not off by as much before the work moved"
        return f"If it stays off with {again}{before}, {MISREAD}."
    says, again = f"write {_thickness_keys(clamping)} as measured", clamping.board.names.again
    step = clamping.steps[zero.order - 1]  # once another part may be cut, nothing of the plan can change
    late = surfaced_before(clamping, step) or (step.turn is not None and step.number > 1)
    on_top = clamping.setup.z_zero == "stock-top"
    if not on_top or zero.on == "bed":
        felt = "Z 0 set again" if on_top else "the bed felt for again"
        return (f"If it stays off with {felt}, the blank is so much thicker or thinner: note it, and "
                f"leave Z 0.{'' if late else f' If thicker, {says}, {again}.'}")
    higher = f" If higher, set Z 0 here, {says} here, {again}." if clamping.surfacing is not None and not late else ""
    return ("If it stays off with Z 0 set again where it was, the top is so much higher or lower here: note it, and "
            f"leave Z 0.{higher}")


def _before(clamping: Clamping, step: Step) -> list[str]:
    """What to do before the cutter is fitted."""
    lines = [line for line in step.operation.before(clamping) if step.number > 1 or line != STAY]
    last = clamping.steps[step.order - 2] if step.order > 1 else step
    if last is step or last.operation.spins or clamping.done(last):
        return lines
    said = last.operation.before(clamping)  # it cut nothing: all that was to be done then is done
    rest = [line for line in lines if line not in said]
    return [f"What is said before program {last.number} must be done: see there if you left it out.", *rest] \
        if rest != lines else lines


def _laid(clamping: Clamping, step: Step, start: Start) -> list[str]:
    """How the work is laid down, measured and held, before the first program."""
    if clamping.board.names.lies:
        return []
    units, stock = clamping.units, clamping.stock
    how = clamping.board.names.hold or step.operation.hold
    if start.stuck and not clamping.board.names.hold:
        how += f", {stuck_words(start.stuck)}"
    held = [f"{how}." if clamping.setup.no_clamps else f"{how}; keep clamps out of the cutter's way."] if how else []
    if _edges_are_found(clamping):
        held += [f"Leave the clamp at the edge at {_at(one, one.best, units)} off until {one.axis} 0 is set."
                 for one in start.edges if one.best is not None and one.clamped[one.best]]
    if clamping.setup.keep_out:
        high = max(clamping.setup.keep_out, key=lambda one: one.height).height
        over = high - stock.thickness
        held.append(f"By the job the highest clamp ends {format_length(high, units)} above the bed, "
                    f"{format_length(abs(over), units)} {'above' if over >= 0 else 'below'} the top of the blank: if "
                    f"it does not, correct its height, and {clamping.board.names.again}.")
    lines = _spoilboard(clamping, start)
    if clamping.under:
        return [*lines, *held, "Keep X 0 and Y 0 as they are."]
    if clamping.surfacing is not None:
        lines.append("Lay the blank down without clamps: it must not rock. Make its underside flat, or pack hollows "
                     "under it with paper: over a hollow the wood comes out thinner, and what is pressed flat springs "
                     "back later.")
    if as_it_comes(clamping):
        lines.append(_comes_with(clamping))
    if clamping.board.names.measured:
        lines.append(_measuring(clamping))
    return [*lines, *held]


def stuck_words(why: Sequence[str]) -> str:
    """How a blank is held that clamps alone would not hold, and why."""
    return f"over its whole face, by double-sided tape or vacuum: {'; and '.join(why)}"


def _edges_are_found(clamping: Clamping) -> bool:
    """Whether X 0 and Y 0 are set from the edges of the blank: not where they are set already."""
    return not clamping.board.names.lies and clamping.under is None


def _edges(clamping: Clamping, cutter: Cutter, start: Start) -> str:
    """Where X 0 and Y 0 are set, and what the display shows at the edges of the blank that can be touched."""
    units, radius = clamping.units, touching_radius(clamping, cutter)
    spans = [f"{one.axis} {' to '.join(format_length(at, units) for at in one.at)}" for one in start.edges]
    if radius:
        side, deep = "the side of the cutter", format_length(cutter.shape_height, units)
        low = f", its tip {deep} or more below the blank's top (higher up it is narrower)" if not cutter.is_flat else ""
        half = f"half the cutter, {format_length(radius, units)},"
    else:  # its full width does not come beside the blank
        side, low, half = "a straight pin in the spindle, not the cutter,", "", "half the pin"
    return (f"Set X 0 and Y 0 at {clamping.zero_place.words}. The blank then reaches from {' and from '.join(spans)}: "
            f"where {side} just touches one of its edges{low}, the display shows {half} beyond that."
            f"{''.join(_barred_words(clamping, one) for one in start.edges)}")


def _joints(clamping: Clamping) -> list[str]:
    """Where binding that is on the blank already must lie, by the zero that has just been set."""
    joints = clamping.board.names.joints
    if not joints:
        return []
    return ["The binding is on the blank, and slots and outline are cut to it. Look, spindle off, with the tip over "
            f"the joints of wood and binding: {clamping.where([Named(*one) for one in joints])}. Where all lie off "
            "alike, set zero over by as much; where the ends differ, turn the blank; where the sides do, correct "
            f"[board] binding, or nut_width and end_width, and {clamping.board.names.again}."]


def lost_axes(clamping: Clamping, start: Start) -> list[str]:
    """The axes that neither an edge nor a mark gives again once the work is held."""
    marked = clamping.marks or clamping.under or (clamping.shared and clamping.shared.marked)
    return [one.axis for one in start.edges if all(one.barred) and not marked]


def home_words(axes: Sequence[str]) -> list[str]:
    """What to do before these axes are set, that they can be found again; nothing for none."""
    if not axes:
        return []
    lost, are = joined(axes), "are" if axes[1:] else "is"
    return [f"No edge gives {lost} again: home the machine before {lost} 0 {are} set, and note what its own "
            "coordinates show there."]


def _barred_words(clamping: Clamping, edges: Edges) -> str:
    """From which of two edges an axis is found, where not both can be touched."""
    axis, best = edges.axis, edges.best
    if best is None:
        return f" Neither edge in {axis} lies within the machine's travel: {line_words(clamping, axis)}."
    if not any(edges.barred):
        return ""
    unclamped = ", then put its clamp on without moving the work" if edges.clamped[best] else ""
    why = "past the machine's travel" if edges.past[1 - best] else f"under a clamp{' too' if unclamped else ''}"
    return f" Find {axis} from the edge at {_at(edges, best, clamping.units)}{unclamped}: the other lies {why}."


def _at(edges: Edges, side: int, units: str) -> str:
    return f"{edges.axis} {format_length(edges.at[side], units)}"


def line_words(clamping: Clamping, axis: str) -> str:
    """How an axis is set whose edges cannot be touched."""
    return (f"draw a line on the blank for {axis} 0, through {clamping.zero_place.words}, and set it with the tip over "
            "that")


def _spoilboard(clamping: Clamping, start: Start) -> list[str]:
    """That a spare board must lie under the work, and how deep it is cut in the end; nothing where it is not."""
    deepest = start.deepest
    if deepest is None:
        deepest = min((one.operation.bottom for one in clamping.steps if not clamping.done(one)), default=0.0)
    if deepest >= -INTO_BED:
        return []
    deep = f"{format_length(-deepest, clamping.units)} into it{_or_tape(clamping)}"
    return ["See that the work still lies on its spoilboard, the spare board under it: in the end a cutter comes "
            f"{deep}."] if clamping.moved is not None else [
        "Let the work lie on a spoilboard, a spare flat board fixed to the machine: in the end a cutter "
        f"comes {deep}. Its top is the bed that is spoken of here."]


def _or_tape(clamping: Clamping) -> str:
    """What a cutter meets first below the work, where tape may hold it and Z 0 is on that."""
    return ", or into the tape that holds it" if taped(clamping) else ""


def _fitted(clamping: Clamping, step: Step, start: Start) -> str:
    """The cutter to fit, or the one that is in the spindle still, and where its Z 0 is set."""
    named = f"{step.cutter.name} ({step.cutter.shape}, {format_length(step.cutter.diameter, clamping.units)})"
    place = _z_place(clamping, step, start)
    if not start.refit:
        return (f"{named} stays in the spindle, and its Z 0 as it is. If the machine was off since, set it again: "
                f"{place}.")
    return f"Fit {named} and set Z 0{' again' if step.number > 1 else ''} for it: {place}."


def cautions(step: Step) -> list[str]:
    """Cautions for a step. Local codes and the makers' sheets come first."""
    own = step.operation.cautions()
    if not step.operation.spins:
        return own
    return [
        "Wear eye and ear protection; keep hands, hair and sleeves away until the cutter stands still.",
        "Extract the dust at the cutter and wear a mask that fits; some woods are worse than others.",
        *own,
        "Local codes and the sheets of the machine's, cutter's and resin's makers come before this text.",
    ]


def header(clamping: Clamping, step: Step, *, minutes: float, start: Start) -> list[str]:
    """The header of a program, a line each; `start` as in `before_start`."""
    total = len(clamping.steps)
    part = clamping.board.names.part
    own = f" for {'the' if ' of the ' in part else 'this'} {part}" if clamping.board.names.laid else ""
    own += f" for all parts, {step.order} of {total} for this one" if step.turn else ""
    return [
        f"job: {clamping.title}",
        *([f"part: {clamping.kind}"] if clamping.kind else []),
        f"program {step.number} of {step.turn.count if step.turn else total}{own}: {step.operation.purpose}",
        f"operation: {step.operation.name}",
        f"cutter {cutter_words(step.cutter, clamping.units)}",
        *([] if clamping.done(step) else [f"zero: {zero_words(clamping)}"]),
        f"about {time_words(minutes)}",
        "before pressing start:",
        *(f"- {line}" for line in before_start(clamping, step, start)),
        *(f"afterwards: {line}" for line in afterwards(clamping, step)),
        "cautions:",
        *(f"- {line}" for line in cautions(step)),
    ]


def stand_out(clamping: Clamping, lowest: float) -> float:
    """How far a cutter must stand out of its collet for its nut to pass over blank, fill and clamps, mm. `lowest` is
    the lowest place of its tip above the bed. 2 mm are added (common practice, no source)."""
    return clamping.highest - lowest + COLLET_CLEAR


def _stand_out_words(clamping: Clamping, out: float) -> str:
    return f"The cutter must stand out {least_out(out, clamping.units)} or more from the collet: " \
           f"{nut_clears(clamping)}."


def least_out(out: float, units: str) -> str:
    """How far a cutter must stand out, in words: the next half millimetre, or twentieth of an inch."""
    step = {"mm": 0.5, "in": INCH / 20}[units]
    return format_length(math.ceil(out / step - 1e-9) * step, units)


def nut_clears(clamping: Clamping) -> str:
    """What the collet nut must pass over, as far as it is known."""
    unsaid = "" if clamping.setup.no_clamps else " (no clamps are given: add what yours need)"
    return f"the collet nut must clear {'clamps and blank' if clamping.setup.keep_out else f'the blank{unsaid}'}"


def _z_place(clamping: Clamping, step: Step, start: Start) -> str:
    """Where to set Z 0."""
    if start.z_by == "bed":
        first = next((one for one in clamping.steps if refits(clamping, one) and not clamping.done(one)), step)
        if step.number > first.number:
            tape = ", a setter or the strip of tape" if taped(clamping) else " or a setter"
            return f"on the bed{tape} beside the work, as before program {first.number}"
        return "touch off beside the work on the bed it lies on, or on a setter (a block of known height) standing " \
               "there" + (
            "; where tape holds the work, on a strip of the same tape stuck to the bed, or all is cut lower by its "
            "thickness" if taped(clamping) else "")
    if start.z_by == "top":
        return f"touch off on {top_words(clamping)}"
    if clamping.moved_at(step) is not None:
        why, other = "not on the top, which has moved", "so that the check of Z 0 below comes right"
    else:
        why, other = "the raw top is gone where it was surfaced", "on stock left standing outside the cut"
    either = start.z_by == "noted or top" or (clamping.moved_at(step) is not None and start.zero is not None)
    return f"{why}: {zero_again(clamping.setup.z_zero)}{f', or {other}' if either else ''}"
