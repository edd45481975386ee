"""Fret slots: along each fret's line, at a depth that follows the curve of the board."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from pathgen.cutters import Cutter
from pathgen.errors import CutterError
from pathgen.fingerboard import Slots
from pathgen.surface import Surface
from pathgen.toolpath import Toolpath

Floats = NDArray[np.float64]

RUN_OUT = 0.5
"""How far a through slot's cutter runs clear of the board's edge, mm."""


def slotting(
    slots: Slots, *, surface: Surface, cutter: Cutter, air_z: float, safe_z: float, chord_tolerance: float = 5e-4
) -> Toolpath:
    """Moves that cut every slot, in layers of the cutter's stepdown, back and forth.

    The bottom on the slot's line is `slots.depth` below `surface`, straight down; `air_z` is a height above all
    wood, to which the cutter may come down quickly. Raises CutterError for a cutter wider than the slots, of
    another shape than flat-end, or with too short a flute.
    """
    _check(slots, cutter)
    runs = []
    for line in slots.lines:
        layers = [_line(part, surface, cutter, chord_tolerance) for part in _side_by_side(line, slots, cutter)]
        runs.append(_back_and_forth(layers, slots.depth, cutter.stepdown))
    path = Toolpath.from_runs(runs, safe_z=safe_z, air_z=air_z)
    return path.slowed_where_steep(feed=cutter.feed, plunge=cutter.plunge)


def _check(slots: Slots, cutter: Cutter) -> None:
    where = f"cutter {cutter.name!r}"
    if cutter.shape != "flat-end":
        raise CutterError(where, f"a {cutter.shape} cutter cannot cut fret slots", allowed="flat-end")
    if cutter.diameter > slots.width + 1e-9:
        raise CutterError(
            where, f"{cutter.diameter:g} mm is wider than the slots", allowed=f"{slots.width:g} mm or less",
            remedy="take a thinner cutter or make [slots] width larger",
        )
    if cutter.flute_length < slots.depth:
        raise CutterError(
            where, f"its flute is {cutter.flute_length:g} mm long and the slots are {slots.depth:g} mm deep",
            allowed=f"a flute of {slots.depth:g} mm or more", remedy="take a longer cutter or cut shallower slots",
        )


def _side_by_side(line: Floats, slots: Slots, cutter: Cutter) -> Floats:
    """(k, 2, 2) lines of the cutter's axis that together open the slot's width, with the ends where they belong."""
    unit = (line[1] - line[0]) / np.linalg.norm(line[1] - line[0])
    # A through slot runs out over both edges; a short one ends where the cutter's round end reaches it.
    run_out = cutter.radius + slots.width + RUN_OUT if slots.short is None else -cutter.radius
    ends = line + np.array([-run_out, run_out])[:, None] * unit
    spare = slots.width - cutter.diameter
    count = 1 if spare < 1e-9 else 1 + math.ceil(spare / (cutter.stepover * cutter.diameter))
    offsets = np.linspace(-spare / 2, spare / 2, count) if count > 1 else np.zeros(1)
    square = np.array([-unit[1], unit[0]])
    return ends[None] + offsets[:, None, None] * square


def _line(ends: Floats, surface: Surface, cutter: Cutter, tolerance: float) -> Floats:
    """Tip positions along a line, just touching the surface."""
    length = float(np.linalg.norm(ends[1] - ends[0]))
    least = float(np.min(surface.radius(ends[:, 0])))
    longest = math.sqrt(8.0 * tolerance * least) if math.isfinite(least) else length
    share = np.linspace(0.0, 1.0, max(1, math.ceil(length / longest)) + 1)[:, None]
    plan = ends[0] + share * (ends[1] - ends[0])
    return np.column_stack([plan, surface.tip_height(cutter, plan[:, 0], plan[:, 1])])


def _back_and_forth(lines: list[Floats], depth: float, stepdown: float) -> Floats:
    """One run: every line at every depth, without lifting."""
    pieces: list[Floats] = []
    for level in depth * np.arange(1, math.ceil(depth / stepdown - 1e-9) + 1) / math.ceil(depth / stepdown - 1e-9):
        for line in lines:
            pieces.append((line - [0.0, 0.0, level])[:: -1 if len(pieces) % 2 else 1])
    return np.concatenate(pieces)
