"""Wood so thin that it breaks out or soaks through: between pockets, and between a pocket and the edge.

Beside slots the verifier looks itself."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely

from pathgen.base import overlay
from pathgen.base.units import fine_length, format_length, place_words
from pathgen.verify.findings import Finding
from pathgen.work.clamping import Clamping
from pathgen.work.operations import Outline
from pathgen.work.touching import TOUCHING
from pathgen.work.walls import narrowest_wall

THIN = 0.4
"""Wood thinner than this between two cuts does not stand, mm; common practice, no source."""


def wall_words(width: float, at: tuple[float, float], units: str) -> str:
    """The narrowest wall of wood in words: whether it stands, and what is no wall."""
    stands = f": thinner than {format_length(THIN, units)}, it breaks out" if width < THIN else ""
    place = place_words(*at, units)
    return f"{fine_length(width, units)}, at {place}{stands}. Tips of wood in acute corners are not counted."


def thin_wood_findings(clamping: Clamping) -> list[Finding]:
    """A warning with its place for the thinnest wood of each kind under `THIN`: what touches or crosses is no wood."""
    return [
        Finding(
            code="thin-wood", severity="warn", where=place_words(x, y), allowed=f"{THIN:g} mm",
            got=f"{width:.2f} mm of wood is left standing between {what}",
            remedy="draw them further apart, let them meet, or expect it to break out and to let resin through",
        )
        for what, width, (x, y) in _thinnest(clamping) if TOUCHING < width < THIN
    ]


def _thinnest(clamping: Clamping) -> Iterator[tuple[str, float, tuple[float, float]]]:
    pockets = overlay.union_all([inlay.area for inlay in clamping.inlays])
    if pockets.is_empty:
        return
    wall = narrowest_wall(pockets)
    if wall is not None:
        yield "pockets", wall.width, wall.at
    if clamping.cutter(Outline) is not None:
        edge = shapely.boundary(clamping.board.outline)
        yield "a pocket and the edge", float(shapely.distance(edge, pockets)), _between(edge, pockets)


def _between(one: shapely.Geometry, other: shapely.Geometry) -> tuple[float, float]:
    x, y = np.mean(shapely.get_coordinates(shapely.shortest_line(one, other)), axis=0).tolist()
    return x, y
