"""A blank for a nut or a saddle: a small plate, cut lying on its face, with a straight bottom and a curved top."""

from __future__ import annotations

from typing import ClassVar

import numpy as np
import shapely

from pathgen.base.arrays import Floats
from pathgen.base.tops import level
from pathgen.parts.tool import Tool
from pathgen.work.part import Names

_HELD = ("Stick the plate down over its whole face with double-sided tape, on a spare board that may be cut into: it "
         "is too small for clamps.",
         "The dust of bone and shell is harmful: extract it at the cutter, and wear a mask that fits.")
_HOLD = "Clamp the spare board, not the plate"


class Nut(Tool):
    """A nut as it comes from the machine. Its straight bottom is square to X, at X 0; its top is the far edge."""

    names: ClassVar[Names] = Names(
        part="nut", start="the nut", laid=_HELD, hold=_HOLD, wooden=False, long="high",
        thickness="[nut_blank] thickness", measured=False, again="run pathgen nut again",
    )


class Saddle(Tool):
    """A saddle; it lies as a nut does."""

    names: ClassVar[Names] = Names(
        part="saddle", start="the saddle", laid=_HELD, hold=_HOLD, wooden=False, long="high",
        thickness="[saddle_blank] thickness", measured=False, again="run pathgen nut again",
    )


def blank(kind: type[Tool], top: Floats, *, thickness: float) -> Tool:
    """A blank of a kind from the bottom at x 0 to a `top`, (n, 2) points in the order of falling or rising y, mm."""
    ends = [[0.0, top[-1, 1]], [0.0, top[0, 1]]]
    outline = shapely.orient_polygons(shapely.Polygon(np.concatenate([top, ends])))
    flat = level(thickness, float(top[:, 0].max()))
    return kind(surface=flat, outline=outline)
