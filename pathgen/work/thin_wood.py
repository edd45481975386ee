"""Wood so thin that it breaks out or soaks through: between pockets, and between a pocket and a slot or the edge."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely

from pathgen.base import overlay
from pathgen.work.clamping import Clamping
from pathgen.work.operations import Outline, Slot
from pathgen.work.walls import narrowest_wall

THIN = 0.4
"""Wood thinner than this between two cuts does not stand, mm; common practice, no source."""

MEET = 0.005
"""With less than this between them two cuts meet, mm: it would be told as 0."""

BETWEEN_POCKETS = "pockets"
BESIDE_SLOT = "a pocket and a slot"


@dataclass(frozen=True, kw_only=True)
class ThinWood:
    """The thinnest wood of a kind, where it is under `THIN`: mm."""

    between: str
    width: float
    at: tuple[float, float]
    least: float = MEET
    """With less than this there is no wood; holes that touch something are refused."""


@lru_cache(maxsize=2)
def thin_wood(clamping: Clamping) -> tuple[ThinWood, ...]:
    """The thinnest wood of each kind under `THIN`: what touches or crosses is no wood."""
    return tuple(thin for thin in _thinnest(clamping) if thin.least < thin.width < THIN)


def _thinnest(clamping: Clamping) -> Iterator[ThinWood]:
    pockets = overlay.union_all([inlay.area for inlay in clamping.inlays])
    yield from _beside_openings(clamping, pockets)
    if pockets.is_empty:
        return
    wall = narrowest_wall(pockets)
    if wall is not None:
        yield ThinWood(between=BETWEEN_POCKETS, width=wall.width, at=wall.at)
    slots = clamping.feature(Slot)
    if slots is not None and len(slots.lines):
        lines = shapely.linestrings(slots.lines)
        gaps = shapely.distance(lines, pockets) - slots.width / 2 - slots.bevel
        real = np.where(gaps > MEET, gaps, np.inf)  # a slot that the drawing crosses has no wood beside it
        nearest = int(np.argmin(real))
        yield ThinWood(between=BESIDE_SLOT, width=float(real[nearest]), at=_between(lines[nearest], pockets))
    if clamping.cutter(Outline) is not None:
        edge = shapely.boundary(clamping.board.outline)
        yield ThinWood(between="a pocket and the edge", width=float(shapely.distance(edge, pockets)),
                       at=_between(edge, pockets))


def _beside_openings(clamping: Clamping, pockets: shapely.Geometry) -> Iterator[ThinWood]:
    """Between the openings of a part, and from them to its edge and to pockets."""
    openings = np.array(clamping.board.openings, dtype=object)
    if not len(openings):
        return
    pairs = [(one, other) for k, one in enumerate(openings) for other in openings[k + 1 :]]
    around = [(one, shapely.boundary(clamping.board.outline)) for one in openings]
    beside = [(one, pockets) for one in openings] if not pockets.is_empty else []
    for between, some, least in (("two openings", pairs, 0.0), ("an opening and the edge", around, 0.0),
                                 ("a pocket and an opening", beside, MEET)):
        if some:
            one, other = min(some, key=lambda both: float(shapely.distance(*both)))
            yield ThinWood(between=between, width=float(shapely.distance(one, other)), at=_between(one, other),
                           least=least)


def _between(one: shapely.Geometry, other: shapely.Geometry) -> tuple[float, float]:
    x, y = np.mean(shapely.get_coordinates(shapely.shortest_line(one, other)), axis=0).tolist()
    return x, y
