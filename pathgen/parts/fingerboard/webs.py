"""Wood left under slots, under pockets and at the edges, for each fret."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.arrays import Floats
from pathgen.base.surface import Surface
from pathgen.work.features import Inlay, Slots
from pathgen.work.underside import Sunk

if TYPE_CHECKING:
    from pathgen.parts.fingerboard.part import Fingerboard


_EVERY = 1.0
"""Spacing of the points along an inlay's edge where the wood under it is measured, mm."""


@dataclass(frozen=True, eq=False, kw_only=True)
class WoodLeft:
    """Least thickness of wood, mm, in the order of the board's frets."""

    edge: Floats
    """(n,) at the edges of the board, in line with each fret, where the curve has dropped most."""
    slot: Floats
    """(n,) under each fret's slot; NaN without slots."""
    pocket: Floats
    """(n + 1,) under the pockets between the fret before (or the nut) and each fret; past the last fret in the last
    place. NaN where there is none."""


def wood_left(
    board: Fingerboard, *, slots: Slots | None, inlays: Sequence[Inlay], finished: Surface | None, sunk: Sequence[Sunk]
) -> WoodLeft:
    """The least wood for each fret; slots are measured from the `finished` surface, pockets from the first.

    `sunk` is what is open in the underside.
    """
    surface = finished or board.surface
    frets = board.frets
    edge = np.min([surface.height(p[:, 0], p[:, 1]) for p in (frets.bass, frets.treble)], axis=0)
    # Both surfaces are lowest at the outer ends of a slot's line.
    slot = slots.floors(surface) if slots is not None else np.full(len(frets), np.nan)
    pocket = np.full(len(frets) + 1, np.nan)
    for k, space in enumerate(_spaces(board)):
        for inlay in inlays:
            pocket[k] = np.fmin(pocket[k], _under(inlay.area, space, board.surface) - inlay.depth)
            for below in sunk:
                both = overlay.intersection(inlay.area, below.shape)
                pocket[k] = np.fmin(pocket[k], _under(both, space, board.surface) - inlay.depth - below.depth)
    if slots is not None:
        for below in sunk:
            slot = np.fmin(slot, _over(slots, below, surface))
    return WoodLeft(edge=edge, slot=slot, pocket=pocket)


def _spaces(board: Fingerboard) -> list[shapely.Polygon]:
    """The spaces before, between and after the frets, far out to both sides."""
    lines = np.stack([board.frets.bass, board.frets.treble], axis=1)
    run = lines[:, 1] - lines[:, 0]
    lines = np.stack([lines[:, 0] - run, lines[:, 1] + run], axis=1)
    x0, _, x1, _ = board.outline.bounds
    out = x1 - x0
    first = np.array([[x0 - out, lines[0, 0, 1]], [x0 - out, lines[0, 1, 1]]])
    last = np.array([[x1 + out, lines[-1, 0, 1]], [x1 + out, lines[-1, 1, 1]]])
    every = np.concatenate([first[None], lines, last[None]])
    return [shapely.Polygon([a[0], b[0], b[1], a[1]]) for a, b in pairwise(every)]


def _under(area: BaseGeometry, space: shapely.Polygon, surface: Surface) -> float:
    """The lowest that the surface is over the part of an area in one space: somewhere on its edge."""
    part = overlay.intersection(area, space)
    points = shapely.get_coordinates(shapely.segmentize(part, _EVERY))
    return float(np.min(surface.height(points[:, 0], points[:, 1]))) if len(points) else float("nan")


def _over(slots: Slots, below: Sunk, surface: Surface) -> Floats:
    """(n,) least wood between each slot and what is open under it; NaN where nothing is."""
    out = np.full(len(slots.lines), np.nan)
    for k, (line, floor) in enumerate(zip(slots.lines, slots.floors(surface), strict=True)):
        points = shapely.get_coordinates(overlay.intersection(shapely.linestrings(line), below.shape))
        if len(points):
            bottom = surface.height(points[:, 0], points[:, 1]) - slots.depth if slots.bottom == "curve" else floor
            out[k] = np.min(bottom) - below.depth
    return out
