"""Round holes: by pecks with a cutter of their size, or along a helix with a smaller one; witness marks, by one plunge.

Marks are looked at with the spindle off before the surface is cut again.
"""

from __future__ import annotations

import math

import numpy as np

from pathgen.base.arrays import Floats
from pathgen.base.cutters import Cutter
from pathgen.base.errors import CutterError
from pathgen.base.toolpath import Move, Rapids, Toolpath
from pathgen.base.units import falls_short, rounded_up
from pathgen.strategies.easing import EASE_FROM
from pathgen.strategies.entering import SHORTEST
from pathgen.work.features import AS_WIDE, Holes, Marks

CHORD = 2e-3
"""Straight moves round a hole lie within this of its circle, mm."""
_SLOWLY = 2.0  # how far from where it stops the cutter comes slowly, so that a hand on the stop is in time, mm


def drilling(holes: Holes, *, cutter: Cutter, top: float, rapids: Rapids, wood: float | None = None) -> Toolpath:
    """Moves that cut every hole from `top` down to its bottom, with `wood` standing so high there, if lower. Raises
    CutterError for a cutter that is not flat, wider than the holes, so thin that a core would be left, or with too
    short a flute."""
    check_holes(holes, cutter, (top if wood is None else wood) - holes.bottom)
    if holes.drilled_by(cutter):
        one, kind = _pecks(cutter, top, holes.bottom, rapids.air_z), Move.CUT
    else:
        one, kind = _helix(cutter, (holes.diameter - cutter.diameter) / 2, top, holes.bottom)
    path = rapids.between([one + [x, y, 0.0] for x, y in holes.at])
    return Toolpath(path.points, np.where(path.kinds == Move.CUT, kind, path.kinds)).quick_in_own_holes()


def check_holes(holes: Holes, cutter: Cutter, depth: float) -> None:
    """Raise CutterError for a cutter that cannot cut holes so wide and so deep."""
    where = f"cutter {cutter.name!r}"
    if cutter.shape != "flat-end":
        raise CutterError(where, f"a {cutter.shape} cutter leaves no flat hole", allowed="flat-end")
    if not cutter.diameter <= holes.diameter + 1e-9 < 2 * cutter.diameter:
        raise CutterError(where, f"{cutter.diameter:g} mm for holes of {holes.diameter:g} mm",
                          allowed=f"more than {holes.diameter / 2:g} mm and at most {holes.diameter:g} mm",
                          remedy="take another cutter")
    least = cutter.diameter + max(AS_WIDE, SHORTEST * cutter.radius)
    if not cutter.plunges and holes.diameter < least:
        raise CutterError(
            where, f"cannot cut at its centre (plunges = false), and hardly moves aside "
            f"in holes of {holes.diameter:g} mm: a core would be left", allowed=f"holes of {least:g} mm or more, or a "
            "cutter that plunges", remedy="take one, or a smaller cutter that goes round")
    if falls_short(cutter.flute_length, depth):
        raise CutterError(where, f"its flute is {cutter.flute_length:g} mm long and the holes are {depth:.2f} mm deep",
                          allowed=f"{rounded_up(depth):.2f} mm or more", remedy="take a longer cutter")


def _pecks(cutter: Cutter, top: float, bottom: float, air_z: float) -> Floats:
    """Down by half a stepdown at a time, out of the hole after each."""
    count = max(1, math.ceil((top - bottom) / (cutter.stepdown / 2) - 1e-9))
    heights = np.stack([np.linspace(top, bottom, count + 1)[1:], np.full(count, air_z)], axis=1).ravel()[:-1]
    return np.column_stack([np.zeros((len(heights), 2)), heights])


def _helix(cutter: Cutter, ring: float, top: float, bottom: float) -> tuple[Floats, Move]:
    """Round and down, with a level turn at the bottom, climb cutting; and at which feed.

    It sinks no steeper than the cutter's ramp and its plunge feed allow, and takes no more than a full-width cut does:
    of each turn the hole's area times the pitch, all along.
    """
    each = max(12, math.ceil(math.pi / math.acos(max(1 - CHORD / ring, -1.0))))
    way, area = 2 * ring * each * math.sin(math.pi / each), math.pi * (ring + cutter.radius) ** 2
    steepest = min(cutter.steepest_ramp, 0.9 * cutter.plunge / cutter.eased_feed)
    pitch = way * min(steepest, cutter.full_cut / area)  # so no deeper than the stepdown
    kind = Move.EASED if area * pitch > EASE_FROM * cutter.straight_cut * way else Move.CUT
    turns = max(1, math.ceil((top - bottom) / pitch - 1e-9))
    turn = np.arange((turns + 1) * each + 1) / each
    height = np.maximum(top - turn * (top - bottom) / turns, bottom)
    angle = 2 * math.pi * turn
    return np.column_stack([ring * np.cos(angle), ring * np.sin(angle), height]), kind


def drill_marks(marks: Marks, *, cutter: Cutter, top: float, rapids: Rapids) -> Toolpath:
    """One plunge for each mark, `marks.depth` below `top`. Raises CutterError for a depth over the cutter's stepdown,
    or a cutter that does not plunge: a mark is one plunge."""
    if marks.depth > cutter.stepdown + 1e-9:
        raise CutterError("[marks] depth", f"{marks.depth:g} mm in one plunge of {cutter.name!r}",
                          allowed=f"its stepdown, {cutter.stepdown:g} mm", remedy="make depth smaller")
    if not cutter.plunges:
        raise CutterError(f"cutter {cutter.name!r}", "cannot cut at its centre (plunges = false): a mark is one plunge",
                          allowed="a cutter that plunges", remedy="name another one in [marks] cutter")
    return rapids.between(_points(marks, top - marks.depth))


def hover_over_marks(marks: Marks, *, top: float, safe_z: float) -> Toolpath:
    """Down to `marks.hover` above each mark in turn, the last 2 mm at the plunge feed, and up again."""
    low = top + marks.hover
    return Rapids(safe_z, low + _SLOWLY).between(_points(marks, low))


def _points(marks: Marks, z: float) -> list[Floats]:
    return [np.array([[x, y, z]]) for x, y in marks.places]
