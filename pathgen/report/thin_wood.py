"""Wood so thin that it breaks out or soaks through: between pockets, and between a pocket and a slot or the edge."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely

from pathgen.base import overlay
from pathgen.base.units import fine_length, format_length, place_words
from pathgen.verify.findings import Finding
from pathgen.work.clamping import Clamping
from pathgen.work.operations import Outline, Slot
from pathgen.work.touching import TOUCHING
from pathgen.work.walls import narrowest_wall

THIN = 0.4
"""Wood thinner than this between two cuts does not stand, mm; common practice, no source."""


@dataclass(frozen=True, kw_only=True)
class ThinWood:
    """The thinnest wood of a kind, where it is under `THIN`: mm."""

    between: str
    width: float
    at: tuple[float, float]


BESIDE_SLOT = "a pocket and a slot"


def wall_words(width: float, at: tuple[float, float], units: str) -> str:
    """The narrowest wall of wood in words: whether it stands, and what is no wall."""
    stands = f": thinner than {format_length(THIN, units)}, it breaks out" if width < THIN else ""
    place = place_words(*at, units)
    return f"{fine_length(width, units)}, at {place}{stands}. Tips of wood in acute corners are not counted."


def thin_wood_findings(clamping: Clamping) -> list[Finding]:
    """A warning with its place for the thinnest wood of each kind under `THIN`; beside slots the verifier looks."""
    return [
        Finding(
            code="thin-wood", severity="warn", where=place_words(*thin.at), allowed=f"{THIN:g} mm",
            got=f"{thin.width:.2f} mm of wood is left standing between {thin.between}",
            remedy="draw them further apart, let them meet, or expect it to break out and to let resin through",
        )
        for thin in thin_wood(clamping) if thin.between != BESIDE_SLOT
    ]


def thin_wood(clamping: Clamping) -> list[ThinWood]:
    """The thinnest wood of each kind under `THIN`: what touches or crosses is no wood."""
    return [thin for thin in _thinnest(clamping) if TOUCHING < thin.width < THIN]


def thin_wood_words(clamping: Clamping) -> str:
    """What the rings of a picture show; nothing where there is no thin wood."""
    units = clamping.units
    found = [f"{format_length(thin.width, units)} between {thin.between}, {place_words(*thin.at, units)}"
             for thin in thin_wood(clamping)]
    return f"Red rings: wood thinner than {format_length(THIN, units)}, {'; '.join(found)}." if found else ""


def _thinnest(clamping: Clamping) -> Iterator[ThinWood]:
    pockets = overlay.union_all([inlay.area for inlay in clamping.inlays])
    if pockets.is_empty:
        return
    wall = narrowest_wall(pockets)
    if wall is not None:
        yield ThinWood(between="pockets", width=wall.width, at=wall.at)
    slots = clamping.feature(Slot)
    if slots is not None and len(slots.lines):
        lines = shapely.linestrings(slots.lines)
        gaps = shapely.distance(lines, pockets) - slots.width / 2 - slots.bevel
        real = np.where(gaps > TOUCHING, gaps, np.inf)  # a slot that the drawing crosses has no wood beside it
        nearest = int(np.argmin(real))
        yield ThinWood(between=BESIDE_SLOT, width=float(real[nearest]), at=_between(lines[nearest], pockets))
    if clamping.cutter(Outline) is not None:
        edge = shapely.boundary(clamping.board.outline)
        yield ThinWood(between="a pocket and the edge", width=float(shapely.distance(edge, pockets)),
                       at=_between(edge, pockets))


def _between(one: shapely.Geometry, other: shapely.Geometry) -> tuple[float, float]:
    x, y = np.mean(shapely.get_coordinates(shapely.shortest_line(one, other)), axis=0).tolist()
    return x, y
