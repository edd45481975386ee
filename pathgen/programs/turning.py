"""How a blank whose back was cut is turned over and laid on its dowels."""

from __future__ import annotations

import math

import numpy as np
import shapely

from pathgen.base import overlay
from pathgen.base.units import coarse_length
from pathgen.work.clamping import Clamping
from pathgen.work.features import Holes
from pathgen.work.operations import DowelHoles

DOWEL_CLEAR = 0.5
"""How far dowels must end below all that passes over them, mm."""


def turning(clamping: Clamping) -> list[str]:
    """How a blank whose back was cut is turned over and laid on its dowels; nothing where it is not, or lies so."""
    dowels = clamping.under.feature(DowelHoles) if clamping.under else None
    if dowels is None or clamping.begun:
        return []
    across, near = {"x": "Y", "y": "X"}[clamping.setup.along], clamping.board.names.near.removesuffix(" end")
    wide, long = (coarse_length(v, clamping.units) for v in (dowels.diameter, dowel_length(clamping, dowels)))
    return [
        f"The programs of the back come first. Then turn the blank over about its length, as a page is turned: its "
        f"{near} end stays at its end, and the edge that looked toward + {across} comes to look toward - {across}. "
        "Turned end for end it may fit the dowels too, and is spoilt: look at your marks.",
        f"Sweep the bed. Put wooden dowels {wide} thick and at most {long} long into the holes in the spoilboard, so "
        "that they end below all that is cut over them, and press the blank down on them until it lies flat. "
        "X 0 and Y 0 stay as they are; Z 0 is set anew.",
    ]


def dowel_length(clamping: Clamping, dowels: Holes) -> float:
    """The longest that dowels may be, mm, rounded down to halves: below the blank's top, and the surface over them."""
    around = overlay.buffer(shapely.multipoints(dowels.at * [1.0, -1.0]), dowels.diameter / 2)
    x, y = shapely.get_coordinates(around).T
    low = clamping.stock.thickness
    if clamping.surfacing is not None:
        low = min(low, float(np.nanmin(clamping.finished_surface.height(x, y), initial=low)))
    return math.floor((low - dowels.bottom - DOWEL_CLEAR) * 2) / 2
