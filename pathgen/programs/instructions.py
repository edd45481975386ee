"""What to tell the maker before each program: what it does, the cutter, the zero, what to do first, cautions."""

from __future__ import annotations

import math

import numpy as np

from pathgen.base.cutters import Cutter
from pathgen.base.units import INCH, format_length
from pathgen.parts.fingerboard.board import Inlay
from pathgen.work.clamping import (
    BEVEL,
    ENGRAVE,
    HOLES,
    HOVER,
    NUT_SLOT,
    OUTLINE,
    POCKET,
    RESURFACE,
    SLOTS,
    SURFACE_FINISH,
    SURFACE_ROUGH,
    WITNESS_MARKS,
    Clamping,
    Step,
)
from pathgen.work.fill import fall_under

LEAST_FALL = 0.05
"""A surface that falls less under a drawing is called level, mm."""

COLLET_CLEAR = 2.0
"""Kept between the collet's nut and the highest thing in the way, mm."""


def purpose(clamping: Clamping, step: Step) -> str:
    """What a step does, in one line."""
    name = clamping.inlays[step.inlay].name if step.inlay is not None else ""
    return {
        SURFACE_ROUGH: "rough the radius",
        SURFACE_FINISH: "finish the radius",
        POCKET: f"pocket {name}",
        RESURFACE: _resurface_words(clamping, name),
        WITNESS_MARKS: "drill witness marks in the waste",
        HOVER: f"look over the witness marks, spindle off, before the second cut of {name}",
        HOLES: "cut the holes outside the board",
        NUT_SLOT: "cut the slot for the nut",
        SLOTS: "cut the fret slots",
        BEVEL: "bevel the edges of the fret slots",
        ENGRAVE: "engrave the label",
        OUTLINE: f"cut the outline, {_left_by(clamping)}",
    }[step.operation]


def cutter_words(cutter: Cutter, units: str) -> str:
    """A cutter in one line: name, shape, size, speed."""
    angle = f", {cutter.angle:g} degrees" if cutter.angle is not None else ""
    return (
        f"{cutter.name}: {cutter.shape}, {format_length(cutter.diameter, units)}{angle}, "
        f"{cutter.flutes} flutes, {cutter.speed:.0f} rpm"
    )


def zero_words(clamping: Clamping) -> str:
    """Where the programs' zero is."""
    along = "X" if clamping.setup.along == "x" else "Y"
    z = {
        "bed": "Z 0 is the underside of the work: the bed it lies on",
        "stock-top": "Z 0 is the top of the raw stock",
    }[clamping.setup.z_zero]
    what = "length of the blank runs" if clamping.board.is_tool else "strings run"
    return f"X 0 Y 0 is {zero_place(clamping)}; the {what} along {along}. {z}."


def zero_place(clamping: Clamping) -> str:
    """A place of zero in words."""
    zero = clamping.setup.zero
    if clamping.board.is_tool and zero == "blank-nut-centre":
        return "the middle of the blank's near end, the left one in the picture from above"
    *on_blank, end, side = zero.split("-")
    if not on_blank and end == "blank":
        return "the centre of the blank"
    if on_blank:
        what = {"nut": "nut end", "end": "far end"}[end]
        return f"the middle of the blank's {what}" if side == "centre" else f"the blank's corner, {what}, {side} side"
    what = {"nut": "the nut face", "end": "the board's end"}[end]
    return f"{what} on the centre-line" if side == "centre" else f"where {what} meets the {side} edge of the cut board"


def before_start(clamping: Clamping, step: Step, *, lowest: float | None = None) -> list[str]:
    """What to do before pressing start, in order; `lowest` is the program's lowest tip above the bed, mm."""
    lines = []
    if step.order == 1:
        lines.append("Hold the blank flat and firmly; clear the cutter's way of clamps. Set the work offset.")
    if clamping.moved_at(step) is not None:
        lines.append(
            "This program is written for the work as it lies now, moved: see the report for the shift, turn and tilt. "
            "Keep the old work offset: do not set X and Y again from the moved work."
        )
    if step.operation in (RESURFACE, HOVER):
        lines += _wait_words(clamping, step)
    elif step.operation == POCKET and _first_of_inlay(clamping, step):
        lines.append("Do not move the work.")
    again = " again" if step.order > 1 else ""
    size = format_length(step.cutter.diameter, clamping.units)
    lines.append(f"Fit {step.cutter.name} ({step.cutter.shape}, {size}) and set Z 0{again} for it: "
                 f"{_z_place(clamping, step)}.")
    if lowest is not None and stand_out(clamping, lowest) > 0:  # hovering high over the work needs none
        lines.append(_stand_out_words(clamping, stand_out(clamping, lowest)))
    if step.operation == HOVER:
        hover = format_length(clamping.marks.hover if clamping.marks else 0.0, clamping.units)
        lines.append(
            f"Leave the spindle off. The program stops {hover} above each mark; look, then press start to go on. Stop "
            "if the point is not over the mark: write where they are into the job, as measured marks."
        )
    lowest = _below_work(clamping, step)
    if lowest > 0:
        depth = format_length(lowest, clamping.units)
        lines.append(f"This program cuts {depth} into the board under the work: see that there is one to spare.")
    return lines


def afterwards(clamping: Clamping, step: Step) -> list[str]:
    """What to do when the program has ended."""
    if step.operation == POCKET and _last_of_inlay(clamping, step):
        inlay = clamping.inlays[step.inlay or 0]
        if inlay.fill == "none":
            return []
        stands = format_length(inlay.overfill, clamping.units)
        if inlay.fill == "piece":
            return [
                "Stop here for the fill. Leave the work clamped. Brush and vacuum the pockets clean, then glue the "
                f"pieces in, pressed down to the floor, so that they stand up to {stands} above the surface. Wipe off "
                "the glue that is squeezed out. Keep the zero place clean."
            ]
        return [
            "Stop here for the fill. Leave the work clamped. Brush and vacuum the pockets clean.",
            f"{levelling_words(clamping, inlay)} Fill until it stands above the surface at the pocket's highest place, "
            f"and nowhere more than {stands} above the surface beside it. Keep the zero place clean.",
        ]
    if step.operation == WITNESS_MARKS:
        places = "; ".join(_place_words(clamping, x, y) for x, y in clamping.marks.places) if clamping.marks else ""
        return [f"Note where the marks are: {places}."]
    if step.operation == OUTLINE and clamping.outline is not None and clamping.outline.skin:
        return ["Take the work up, cut through the skin with a knife or a fine saw, and trim the edge."]
    if step.operation == OUTLINE and clamping.outline is not None and not clamping.outline.tabs:
        return ["The board is free: only what the blank is stuck down with holds it. Ease it up without bending it."]
    if step.operation == OUTLINE:
        return ["Cut the tabs with a fine saw and trim them flush."]
    return []


def cautions(clamping: Clamping, step: Step) -> list[str]:
    """Cautions for a step. Local codes and the makers' sheets come first."""
    if step.operation == HOVER:
        return ["The cutter is sharp even when it stands still; keep a hand on the stop."]
    lines = ["Wear eye and ear protection; keep hands, hair and sleeves away until the cutter stands still."]
    lines.append("Extract the dust at the cutter and wear a mask that fits; some woods are worse than others.")
    if step.operation == RESURFACE and clamping.inlays[step.inlay or 0].fill == "resin":
        lines.append("Dust of fill that is not fully cured can sensitise skin and lungs.")
    if step.operation == OUTLINE:
        lines.append(f"The part comes free in this program: {_held_by(clamping)} must keep it still.")
    lines.append("Local codes and the sheets of the machine's, cutter's and resin's makers come before this text.")
    return lines


def header(clamping: Clamping, step: Step, *, minutes: float, lowest: float | None = None) -> list[str]:
    """The header of a program, a line each; `lowest` as in `before_start`."""
    total = len(clamping.steps)
    return [
        f"job: {clamping.title}",
        f"step {step.order} of {total}: {purpose(clamping, step)}",
        f"operation: {step.operation}",
        f"cutter {cutter_words(step.cutter, clamping.units)}",
        f"zero: {zero_words(clamping)}",
        f"about {max(1, round(minutes))} min",
        "before pressing start:",
        *(f"- {line}" for line in before_start(clamping, step, lowest=lowest)),
        *(f"afterwards: {line}" for line in afterwards(clamping, step)),
        "cautions:",
        *(f"- {line}" for line in cautions(clamping, step)),
    ]


def stand_out(clamping: Clamping, lowest: float) -> float:
    """How far a cutter must stand out of its collet for the nut to pass over blank, fill and clamps, mm.

    `lowest` is the lowest place of its tip above the bed. 2 mm are added (common practice, no source).
    """
    tops = [clamping.stock.thickness, *(k.height for k in clamping.setup.keep_out)]
    tops += [clamping.board.surface.thickness + i.overfill for i in clamping.inlays if i.fill != "none"]
    return max(tops) - lowest + COLLET_CLEAR


def _stand_out_words(clamping: Clamping, out: float) -> str:
    step = {"mm": 0.5, "in": INCH / 20}[clamping.units]
    least = format_length(math.ceil(out / step - 1e-9) * step, clamping.units)
    known = "clamps and blank" if clamping.setup.keep_out else "the blank (no clamps are given: add what yours need)"
    return f"The cutter must stand out at least {least} from the collet, so that collet and nut clear {known}."


def _left_by(clamping: Clamping) -> str:
    """What the outline's cut leaves standing, in words."""
    cut = clamping.outline
    if cut is None or cut.skin:
        return "leaving a skin"
    return {0: "right through, without tabs", 1: "leaving one tab"}.get(cut.tabs, "leaving tabs")


def _held_by(clamping: Clamping) -> str:
    cut = clamping.outline
    if cut is not None and cut.skin:
        return "skin and hold-down"
    if cut is not None and cut.tabs < 2:
        return f"{'one tab and ' if cut.tabs else ''}what sticks the blank down over its whole face"
    return "tabs and hold-down"


def _resurface_words(clamping: Clamping, name: str) -> str:
    limited = clamping.surfacing is not None and clamping.surfacing.resurface_area == "inlay"
    over = f"over {name} alone" if limited else f"over the board, level with the fill of {name}"
    return f"cut the radius again {over}"


def _wait_words(clamping: Clamping, step: Step) -> list[str]:
    """Cure, place and zero, before anything goes near the fill."""
    if clamping.inlays[step.inlay or 0].fill == "piece":
        wait = "Wait until the glue has set fully by its maker's sheet: a piece that lifts under the cutter is lost."
    else:
        wait = (
            "Wait until the fill has cured fully by its maker's sheet, which can take days: soft fill smears over the "
            "wood and clogs the cutter, the heat of cutting softens it again, and its dust is harmful."
        )
    lines = [wait, "Do not move the work. Clean fill and dust off the place that Z is set from."]
    return lines + [_height_words(clamping, step)] if step.operation == RESURFACE else lines


def _height_words(clamping: Clamping, step: Step) -> str:
    """The second cut starts from the job's overfill: what stands higher meets the first pass too deep."""
    inlay = clamping.inlays[step.inlay or 0]
    stands, what = format_length(inlay.overfill, clamping.units), "pieces" if inlay.fill == "piece" else "cured fill"
    return (
        f"Measure the highest point of the {what} above the surface beside it: it must be no higher than {stands}, "
        "the job's overfill. If it is higher, set overfill to what you measured and build again: the first pass would "
        "go too deep."
    )


def levelling_words(clamping: Clamping, inlay: Inlay) -> str:
    """How liquid resin behaves on a board, and what to do so that it covers the pocket's high side."""
    fall, units = fall_under(inlay.area, clamping.board.surface), clamping.units
    here = ""
    if fall >= LEAST_FALL:
        down = format_length(fall, units, decimals={"mm": 1, "in": 3}[units])
        here = (f" The surface falls by {down} under this drawing: level resin that covers the highest place stands "
                "that much higher above the lowest.")
    return (
        "Liquid resin levels itself and runs off a curved board, so that the pocket's high side is left short: dam "
        "round the drawing with tape, wax or clay, or use a resin thickened as its maker's sheet allows." + here
    )


def _place_words(clamping: Clamping, x: float, y: float) -> str:
    there = clamping.to_machine(np.array([[x, y, 0.0]]))[0]
    return ", ".join(f"{axis} {format_length(v, clamping.units)}" for axis, v in zip("XY", there[:2], strict=True))


def _below_work(clamping: Clamping, step: Step) -> float:
    """How far a step cuts below the underside of the work, mm."""
    if step.operation == OUTLINE and clamping.outline is not None:
        return -clamping.outline.bottom
    return -clamping.holes.bottom if step.operation == HOLES and clamping.holes is not None else 0.0


def _z_place(clamping: Clamping, step: Step) -> str:
    if clamping.setup.z_zero == "bed":
        return "touch off on the bed beside the work, or on a setter standing on it"
    if step.order == 1:
        return "touch off on top of the raw stock"
    return (
        "the raw top is gone where it was surfaced; use stock left standing outside the cut, or a reference "
        "height noted when the first cutter was set"
    )


def _first_of_inlay(clamping: Clamping, step: Step) -> bool:
    return step.order == min(_pocket_orders(clamping, step))


def _last_of_inlay(clamping: Clamping, step: Step) -> bool:
    return step.order == max(_pocket_orders(clamping, step))


def _pocket_orders(clamping: Clamping, step: Step) -> list[int]:
    return [s.order for s in clamping.steps if s.operation == POCKET and s.inlay == step.inlay]


def check_by_hand(clamping: Clamping, lowest: float) -> list[str]:
    """How to try a program above the work before the first cut; `lowest` is its lowest tip height, mm."""
    lift = format_length(air_cut_lift(clamping, lowest), clamping.units, decimals=1)
    return [
        "Open the program in a text editor. Its first lines name the job, the step, the cutter and the zero, the same "
        "as this sheet.",
        "Fit the cutter and set the zero as the sheet says. Move by hand to X 0, Y 0: the tip must stand over "
        f"{zero_place(clamping)}.",
        f"Raise the zero of Z by {lift}: now everything in the program runs that much higher, through air. The program "
        "starts the spindle (M3): switch the power of the spindle off, or where that cannot be done take the cutter "
        "out and watch the empty collet.",
        "Run the program with a hand on the stop. The first cut must begin where the table says, and the display must "
        "stay within it. It counts from the raised zero, so it shows the same Z as in the cut, while the cutter is "
        f"{lift} higher. The cutter must keep clear of every clamp.",
        "Put the zero of Z back, and check it: move to Z 0 by hand, and feel for the place it was set from with a slip "
        "of paper.",
    ]


def air_cut_lift(clamping: Clamping, lowest: float) -> float:
    """How far to raise Z so that a path whose lowest tip is at `lowest` passes 5 mm or more over the blank.

    In mm, rounded up to whole millimetres, or to tenths of an inch.
    """
    step = INCH / 10 if clamping.units == "in" else 1.0
    return math.ceil((clamping.stock.thickness - lowest + 5.0) / step) * step
