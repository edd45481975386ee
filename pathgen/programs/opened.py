"""What the cutters of an inlay open in plan, before any path is planned."""

from __future__ import annotations

from dataclasses import replace

from shapely.geometry.base import BaseGeometry

from pathgen.base.cutters import Cutter
from pathgen.strategies.reach import opened_by
from pathgen.work.clamping import Clamping
from pathgen.work.features import Inlay


def own_cutters(clamping: Clamping, inlay: Inlay) -> list[Cutter]:
    """Those that cut an inlay's pockets, in their order."""
    return [step.cutter for step in clamping.steps if step.operation.opens is inlay]


def opened_in_plan(clamping: Clamping, inlay: Inlay) -> BaseGeometry | None:
    """What an inlay's cutters open; None where the last is a v cutter, of which only its path tells.

    Raises CutterError as `opened_by` does.
    """
    cutters, proud, surface = own_cutters(clamping, inlay), clamping.proud(inlay), clamping.board.surface
    if cutters[-1].shape == "v":
        return None
    return opened_by(inlay.area, cutters, replace(surface, thickness=surface.thickness + proud), inlay.depth + proud)
