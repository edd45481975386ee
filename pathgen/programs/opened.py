"""What the cutters of an inlay open in plan, before any path is planned."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from shapely.geometry.base import BaseGeometry

from pathgen.base.cutters import Cutter
from pathgen.base.errors import PathgenError
from pathgen.strategies.reach import opened_by
from pathgen.work.clamping import Clamping
from pathgen.work.features import Inlay


def opened_in_plan(
    clamping: Clamping, inlay: Inlay, *, of_v: Callable[[Clamping, Inlay], BaseGeometry]
) -> BaseGeometry:
    """What an inlay's cutters open; where the last is a v cutter, of which only its path tells, what `of_v` says.

    All that is drawn where they cannot go in, which is told elsewhere.
    """
    try:
        if clamping.cutters_of(inlay)[-1].shape == "v":
            return of_v(clamping, inlay)
        return opened_of_shape(clamping, inlay, inlay.area, clamping.cutters_of(inlay))
    except PathgenError:
        return inlay.area


def opened_of_shape(
    clamping: Clamping, inlay: Inlay, shape: BaseGeometry, cutters: Sequence[Cutter]
) -> BaseGeometry:
    """What some cutters would open of a shape, deep as an inlay and there. Raises CutterError as `opened_by` does."""
    proud, surface = clamping.proud(inlay), clamping.board.surface
    return opened_by(shape, cutters, replace(surface, thickness=surface.thickness + proud),
                     inlay.depth + proud)
