"""How each program is tried by hand above the work, before it cuts."""

from __future__ import annotations

import math

import numpy as np
import shapely

from pathgen.base.plain import joined
from pathgen.base.units import INCH, SUMS, format_length, told_apart
from pathgen.programs.instructions import COLLET_CLEAR
from pathgen.programs.zero_words import zero_now
from pathgen.work.clamping import Clamping

_ON_EDGE = 0.005  # nearer to an edge of the blank a place lies on it, mm


def check_by_hand(clamping: Clamping, lowest: float, *, tried: bool = False) -> list[str]:
    """How to try a program above the work once all is done that comes before its start; `lowest` is its lowest tip
    height, mm; `tried` whether each zero is tried with a feeler before it."""
    beside, later = (", not over the blank", "") if clamping.setup.z_zero == "bed" else \
        (" while that is there", "; later by the Z noted on the bed")
    felt = "with the feeler, as under Check Z 0 of the program that its cutter was fitted for" if tried else \
        f"over the place it was set from{beside}, lower the cutter to Z 0 by hand, and feel for that place with a " \
        f"slip of paper{later}"
    lift, lacks = format_length(air_cut_lift(clamping, lowest), clamping.units, decimals=1), _no_room(clamping, lowest)
    off = "The program starts the spindle (M3): switch the power of the spindle off"
    if lacks:
        over = format_length(COLLET_CLEAR, clamping.units)
        raised = (f"Leave the zero of Z as it is: to raise it by {lift}, for an air cut, {lacks}. Take the cutter out "
                  "of the collet and run the program so: if it stood out of it as the program says when Z 0 was set, "
                  f"the empty collet passes {over} or more over blank and clamps. {off}.")
        shown, back = "The collet", "Fit the cutter again, set its Z 0 again"
    else:
        raised = (f"Raise the zero of Z by {lift}: now everything in the program runs that much higher, through air. "
                  f"{off}, or where that cannot be done take the cutter out and watch the empty collet.")
        shown = ("It counts from the raised zero, so it shows the same Z as in the cut, while the cutter is "
                 f"{lift} higher. The cutter")
        back = "Put the zero of Z back"
    return [
        "Open the program in a text editor: its first lines name the job, the step, the cutter and the zero, the same "
        f"as this sheet{_in_plain_letters(clamping)}. Its cutter is fitted and its zero set, as its list under "
        "Before you start says.",
        "Raise the cutter clear, and move by hand to "
        f"{'X 0, Y 0' if clamping.moved is None else zero_now(clamping)}: the tip must stand over "
        f"{clamping.zero_place.words}{_inside(clamping)}{_nearly(clamping)}{_clamped(clamping)}.",
        raised,
        "Run the program with a hand on the stop. The first cut must begin where the table says, and the display must "
        f"stay within it. {shown} must keep clear of every clamp.",
        f"{back}, and check it: {felt}. Now the program may cut.",
    ]


def _in_plain_letters(clamping: Clamping) -> str:
    """That names are not letter by letter what the sheet has, where a program cannot hold their letters."""
    names = clamping.title, *(step.cutter.name for step in clamping.steps)
    return "" if all(map(str.isascii, names)) else ", in the letters a to z (oe for ö; what has none left out)"


def _inside(clamping: Clamping) -> str:
    """How far inside the blank's edges the place of zero lies: nothing is to be seen there while the blank is raw. Not
    where its edges can be seen, nor of a share of it, of work that has moved, or of a finished board."""
    stock = clamping.stock
    if clamping.moved is not None or clamping.shared is not None or not clamping.board.names.measured:
        return ""
    edges = clamping.display(np.reshape(stock.bounds, (2, 2)))
    aside = []
    for axis, low, high in zip("XY", edges.min(axis=0).tolist(), edges.max(axis=0).tolist(), strict=True):
        way, far = ("-", -low) if -low <= high else ("+", high)
        if min(-low, high) > _ON_EDGE:
            aside.append(f"{format_length(far, clamping.units)} from its edge toward {way} {axis}")
    return f", on the raw blank {joined(aside)}" if aside else ""


def _nearly(clamping: Clamping) -> str:
    """How nearly the tip stands over the place of zero, set before the work moved, or was turned over."""
    if clamping.moved is not None:
        return ", which has moved there"
    beside = clamping.under is not None and clamping.zero[1]
    return ", as nearly as the blank is as wide as the job says" if beside else ""


def _clamped(clamping: Clamping) -> str:
    """That the place of zero is under a clamp, where it is: a cutter can be over it, and not come to it."""
    place = shapely.points(clamping.zero_place.at)
    tall = max((box.height for box in clamping.setup.keep_out if box.shape.intersects(place)), default=None)
    if tall is None or clamping.moved is not None:
        return ""
    return f", where a clamp stands {format_length(tall, clamping.units)} above the bed: keep the tip above that, " \
        "and look from above"


def _no_room(clamping: Clamping, lowest: float) -> str:
    """What a machine lacks to raise Z 0 for the air cut, in words; empty where it can, or its travel is not known."""
    highest = max((clamping.safe_at(step) for step in clamping.steps if not clamping.done(step)),
                  default=clamping.safe_z)
    needed = highest + air_cut_lift(clamping, lowest) - min(lowest, clamping.z_zero)
    travel = clamping.machine.travel
    if travel is None or needed <= travel[2] + SUMS:
        return ""
    needs, has = told_apart(needed, travel[2], unit=clamping.units)
    return f"the machine would need {needs} of travel in Z, and [machine] travel says {has}"


def air_cut_lift(clamping: Clamping, lowest: float) -> float:
    """How far to raise Z so that a path whose lowest tip is at `lowest` passes 5 mm or more over the blank. In mm,
    rounded up to whole millimetres, or to tenths of an inch."""
    step = INCH / 10 if clamping.units == "in" else 1.0
    return math.ceil((clamping.stock.thickness - lowest + 5.0) / step) * step
