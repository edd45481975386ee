"""A block with the hollow of a fingerboard's radius: laid on the board upside down it fits."""

from __future__ import annotations

from typing import ClassVar

import numpy as np
import shapely

from pathgen.base.errors import JobError
from pathgen.base.hollow import Hollow
from pathgen.base.lowered import Lowered
from pathgen.base.units import left_words, rounded_up
from pathgen.parts.fingerboard.part import Fingerboard
from pathgen.parts.tool import Tool
from pathgen.work.part import Names


class Block(Tool):
    """It lies with its hollow up, X 0 at its end nearest the nut."""

    names: ClassVar[Names] = Names(
        part="block", near="end nearest the nut", far="end nearest the bridge", start="the block",
        thickness="[block] thickness", again="run pathgen block again",
    )


def hollow_block(
    board: Fingerboard, start: float, end: float, *, width: float, thickness: float, least: float
) -> Block:
    """The block for a board from one X to another, cut from a blank of a thickness; mm.

    The hollow follows the board's relief and fall-away; of a flat board they are all there is of it. Raises JobError
    for a width that the radius does not span, or less than `least` under the hollow.
    """
    outline = shapely.box(0.0, -width / 2, end - start, width / 2)
    surface = _hollow(board, start, end, width, thickness, least)
    return Block(surface=surface, outline=outline, min_web=board.min_web)


def _hollow(board: Fingerboard, start: float, end: float, width: float, thickness: float, least: float) -> Hollow:
    surface = board.surface
    radius_start, radius_end = (float(surface.radius(x)) for x in (start, end))
    if width / 2 >= min(radius_start, radius_end):
        raise JobError("[block] width", f"{width:g} mm over a radius of {min(radius_start, radius_end):g} mm",
                       allowed="less than twice the radius", remedy="make it narrower")
    along = np.unique(np.clip([*np.linspace(start, end, 501), *surface.bends], start, end))
    drop = surface.thickness - float(np.min(surface.height(along, width / 2)))
    lowest = thickness - drop
    if lowest < least:
        raise JobError("[block] thickness", f"{thickness:g} mm, and the hollow {left_words(lowest)}",
                       allowed=f"{rounded_up(drop + least):.2f} mm or more", remedy="take a thicker blank")
    dip, fall = (surface.relief, surface.fall_away) if isinstance(surface, Lowered) else (None, None)
    return Hollow(thickness=lowest, radius_nut=radius_start, radius_end=radius_end, length=end - start,
                  relief=dip and dip.seen_from(start), fall_away=fall and fall.seen_from(start))
