"""What the maker is told of fills: to pour resin or let pieces in, to wait, to measure before they are cut level."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pathgen.base.plain import capital, joined
from pathgen.base.units import format_length
from pathgen.work.features import Inlay
from pathgen.work.fill import fall_under, pours_of, stands_at_most, thickened

if TYPE_CHECKING:
    from pathgen.work.clamping import Clamping

STAY = "Do not move the work."
"""Said before a program that must find the work where an earlier one left it; nothing before the first."""
_LEAST_FALL = 0.05  # a surface that falls less under a drawing is called level, mm
LEVEL = 0.005
"""Pieces that stand so far above or below the wood are called level with it, mm."""
_SEAL = ("Brush a thin coat of the clear resin over floor and walls of the pockets and let it gel: end grain drinks, "
         "bleeds colour and gives off bubbles.")
_BUBBLES = ("Warm the parts as the sheet allows, stir slowly, draw bubbles with a vacuum or prick them with a pin "
            "while it is liquid.")
_CURE = ("Cure at the temperature of its sheet, as long as the sheet says for machining, not for touching. Do not let "
         "the air dry or wet the wood while it waits: cover it, no damp cloth (common practice).")
"""Common practice, no source: the sheets of the makers come first."""


def to_fill(inlay: Inlay, work: Clamping) -> list[str]:
    """What to do when the pockets of an inlay are cut: the machine stays on, pieces are let in or resin is poured. Each
    line stands by itself: at a stop of several parts those that all have are told once."""
    found = [f"X 0 and Y 0 can be found again by {work.where(work.marks[:1])} too: with the tip over it, set the "
             "display to that."] if work.marks else []
    stay_on = "Leave the machine switched on while {}: many forget X 0 and Y 0 when they are switched off. If it " \
              "must be off, home it and note what its own coordinates show at X 0, Y 0."
    before = _told_after(inlay, work)
    if inlay.fill == "piece":
        return [
            "Stop here to let the pieces in. Leave the work clamped. Brush and vacuum the pockets clean.",
            f"Then glue the pieces in, pressed down to the floor: {_pieces_stand(inlay, work)}.",
            "Wipe off the glue that is squeezed out. Keep the zero place clean.",
            *([stay_on.format("the glue sets"), *found] if before is None else
              [f"Leave the machine switched on, or note X 0, Y 0, as after program {before}."]),
        ]
    stands = format_length(inlay.overfill, work.units)
    too_high = stands_at_most(inlay, work.surface, work.board.outline) > inlay.overfill + 1e-6
    neither = " Level resin cannot do both here: thicken it so that it stays where it is put, or dam and fill " \
              "part by part." if too_high else ""
    pour = [_levelling(inlay, work), "Fill until it stands above the surface at the pocket's highest place, and "
            f"nowhere more than {stands} above the surface beside it.{neither} Keep the zero place clean."]
    if before is not None:
        return [f"Stop here for the fill, and do all as it is told after program {before}: the work stays "
                "clamped, the machine on or its X 0, Y 0 noted; clean the pockets, coat them thinly, draw the bubbles.",
                _pour_deep(inlay, work), *pour]
    return [
        "Stop here for the fill. Leave the work clamped, held over its whole face. Brush and vacuum the pockets "
        "clean.",
        stay_on.format("the fill cures"), *found,
        f"The resin maker's sheet comes first; the rest here is common practice. {_SEAL}",
        _pour_deep(inlay, work), _BUBBLES, *pour,
    ]


def _told_after(inlay: Inlay, work: Clamping) -> int | None:
    """The number of the program after which the first is filled with the same, if that is one before this inlay: what
    is done every time is told there in full."""
    first = _first_filled(inlay, work)
    numbers = [step.number for step in work.steps if step.operation.opens is first]
    return None if work.shared or first is inlay else max(numbers, default=None)


def _first_filled(inlay: Inlay, work: Clamping) -> Inlay:
    """The first inlay that is filled with the same and is still to be cut level."""
    return next((one for one in work.inlays if one.fill == inlay.fill and not work.levelled_before(one)), inlay)


def before_second_cut(inlay: Inlay, work: Clamping, near: float) -> list[str]:
    """What to do before a fill is cut level, `near` mm round it and inside its dams: all that may end in more resin
    while the dam stands; then to take that off, and to scrape off what lies further out."""
    lines = to_measure(inlay, work)
    if dammed(inlay):
        lines.append("Then take the dam off, tape, wax or clay, and what is left of it: the cutter runs over its "
                     "place.")
    if inlay.fill == "resin":
        lines.append(f"Scrape off what has run out{' of the dam' * dammed(inlay)} and lies more than "
                     f"{format_length(near, work.units)} from the drawing, level with the wood: layer by layer only "
                     "the rest is cut down.")
    return lines


def to_measure(inlay: Inlay, work: Clamping) -> list[str]:
    """To wait for the cure and to measure: what may end in another build, or in another pour and its days."""
    stands = format_length(inlay.overfill, work.units)
    what = "pieces" if inlay.fill == "piece" else "cured fill"
    # what stands higher than the job's overfill meets the first pass too deep
    return [*to_wait(inlay, work),
            f"Measure the highest point of the {what} above the surface beside that point: it must be no higher than "
            f"{stands}, the job's overfill. If it is higher, set overfill to what you measured and "
            f"{work.board.names.again}: the first pass would go too deep.", *_sunk(inlay, work)]


def to_wait(inlay: Inlay, work: Clamping) -> list[str]:
    """Cure, place and zero, before anything goes near the fill; of a later inlay, in short, as of the first."""
    what = "glue" if inlay.fill == "piece" else "fill"
    clean = f"{STAY} Clean {what} and dust off the place that Z is set from."
    before = _waited_before(inlay, work)
    if before is not None:
        wait = "the glue has set fully" if inlay.fill == "piece" else "the fill has cured fully"
        return [f"Wait again until {wait} by its maker's sheet, and do as it is told before program {before}.", clean]
    if inlay.fill == "piece":
        return ["Wait until the glue has set fully by its maker's sheet: a piece that lifts under the cutter is lost.",
                clean]
    return ["Wait until the fill has cured fully by its maker's sheet, which can take days: soft fill smears over the "
            "wood and clogs the cutter, the heat of cutting softens it again, and its dust can sensitise skin and "
            "lungs.", _CURE, clean]


def _waited_before(inlay: Inlay, work: Clamping) -> int | None:
    """The number of the program before which it is told in full how to wait, if that is for an earlier inlay."""
    first = _first_filled(inlay, work)
    numbers = [step.number for step in work.steps if step.operation.inlay is first and not work.done(step)
               and step.operation.opens is not first]
    return None if work.shared or first is inlay else min(numbers, default=None)


def _pour_deep(inlay: Inlay, work: Clamping) -> str:
    """How deep the resin is, and in what pours it goes in where that is more than its sheet allows."""
    deep, most = work.opened(inlay) + inlay.overfill, inlay.pour_depth
    said = f"The pour is {format_length(deep, work.units)} deep: "
    if most is not None and pours_of(deep, most) > 1:
        return f"{said}part it into pours of {format_length(most, work.units)} at most: more at once boils and shrinks."
    if most is not None:
        return f"{said}its sheet allows {format_length(most, work.units)} at once."
    return f"{said}look up in its sheet how much it allows at once. What is poured deeper than that boils and shrinks."


def _levelling(inlay: Inlay, work: Clamping) -> str:
    """How liquid resin behaves on a board, and what to do so that it covers the pocket's high side."""
    fall, here = fall_under(inlay.area, work.surface), ""
    if fall >= _LEAST_FALL:
        down = format_length(fall, work.units, decimals={"mm": 1, "in": 3}[work.units])
        here = (f" The surface falls by {down} under this drawing: level resin that covers the highest place stands "
                "that much higher above the lowest.")
    runs = "runs out over a flat face" if work.surface.is_flat else \
        "runs off a curved board, so that the pocket's high side is left short"
    near = too_near(inlay)
    rest = [colour for colour, _ in inlay.regions if colour not in near]
    of = f" of {joined(near)}" if near and rest else ""
    thick = f"thicken the resin{of} as its maker's sheet allows, so that it stays where it is put, and put each " \
            "colour into its own pockets with a syringe or spatula: they lie too near each other for a dam round each"
    if not rest:
        return f"Liquid resin levels itself and {runs}: {thick}. No dam is built here."
    whose = joined(rest) if near else "each colour" if inlay.regions[1:] else "the drawing"
    or_thick = "" if near else ", or use a resin thickened as its maker's sheet allows"
    return f"Liquid resin levels itself and {runs}: dam round {whose} with tape, wax or clay{or_thick}.{here}" + (
        f" {capital(thick)}." if near else "")


def _pieces_stand(inlay: Inlay, work: Clamping) -> str:
    """How high pieces that are let in stand in the surface of that moment, in words."""
    most, by = format_length(inlay.overfill, work.units), work.stands(inlay)
    if inlay.piece is None:
        return f"they must stand above the surface, by {most} at most"
    if abs(by) < LEVEL:
        return "they then lie level with the surface, and at the final height when it is cut there"
    if by < 0:
        return f"they then lie {format_length(-by, work.units)} below the surface, which is cut down to them later"
    edges = "" if work.surface.is_flat else ", more at edges that the floor falls away under"
    return f"they then stand {format_length(by, work.units)} above the surface{edges}, and nowhere more than {most}"


def _sunk(inlay: Inlay, work: Clamping) -> list[str]:
    """What to do about fill that is lower than the surface will be."""
    if inlay.fill != "resin":
        return []
    down = work.ground(inlay) + work.skim
    low, makes_up = "lower than the surface: where it has sunk", "No program makes up for it."
    if down > 0.0:
        by = format_length(down, work.units)
        low = f"more than {by} lower than the surface: where it has sunk further"
        makes_up = f"The surface comes down by {by}, no further."
    elif work.skim > 0.0:  # the wood is as low already; but where skim was written since, this cut comes down so far
        by = format_length(work.skim, work.units)
        low = f"lower than the surface as it is cut now, {by} below where it would be with no [resurface] skim: " \
              "where it has sunk further"
        makes_up = "No program cuts lower."
    return [f"Nowhere may it be {low}, roughen it, pour more of the same on it to the same height, and let that cure "
            f"too. {makes_up}"]


def dammed(inlay: Inlay) -> bool:
    """Whether any dam is told of: not where all colours lie too near each other for one round each."""
    return inlay.fill == "resin" and len(too_near(inlay)) < len(inlay.regions)


def too_near(inlay: Inlay) -> tuple[str, ...]:
    """The colours of poured resin that lie too near each other for a dam round each: it is thickened."""
    return () if inlay.dam is None else thickened(inlay, inlay.dam)
