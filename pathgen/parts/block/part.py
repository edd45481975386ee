"""A block with the hollow of a fingerboard's radius: laid on the board upside down it fits."""

from __future__ import annotations

from typing import ClassVar

import numpy as np
import shapely

from pathgen.base.errors import JobError
from pathgen.base.hollow import Hollow
from pathgen.base.lowered import Lowered
from pathgen.parts.fingerboard.part import Fingerboard
from pathgen.parts.tool import Tool
from pathgen.work.part import Names

LEVEL = 0.005
"""What relief or fall-away may take over the length of a block, mm."""


class Block(Tool):
    """It lies with its hollow up, X 0 at its end nearest the nut."""

    names: ClassVar[Names] = Names(part="block", start="the block")


def hollow_block(
    board: Fingerboard, start: float, end: float, *, width: float, thickness: float, least: float
) -> Block:
    """The block for a board from one X to another, cut from a blank of a thickness; mm.

    Raises JobError for a board that is lowered there, a width that the radius does not span, or less than `least`
    under the hollow.
    """
    outline = shapely.box(0.0, -width / 2, end - start, width / 2)
    surface = _hollow(board, start, end, width, thickness, least)
    return Block(surface=surface, outline=outline, min_web=board.min_web)


def _hollow(board: Fingerboard, start: float, end: float, width: float, thickness: float, least: float) -> Hollow:
    if isinstance(board.surface, Lowered):
        low = board.surface.lowering(np.linspace(start, end, 501))
        if low.max() > LEVEL:
            raise JobError("[block] frets", f"relief or fall-away take up to {low.max():.2f} mm off the board there",
                           allowed=f"frets where that is {LEVEL:g} mm or less", remedy="take other frets: the hollow "
                           "of a block is straight along")
    radius_start, radius_end = (float(board.surface.radius(x)) for x in (start, end))
    if width / 2 >= min(radius_start, radius_end):
        raise JobError("[block] width", f"{width:g} mm over a radius of {min(radius_start, radius_end):g} mm",
                       allowed="less than twice the radius", remedy="make it narrower")
    drop = board.surface.thickness - float(np.min(board.surface.height(np.array([start, end]), width / 2)))
    lowest = thickness - drop
    if lowest < least:
        raise JobError("[block] thickness", f"{thickness:g} mm leaves {lowest:.2f} mm under the hollow",
                       allowed=f"{drop + least:.2f} mm or more", remedy="take a thicker blank")
    return Hollow(thickness=lowest, radius_nut=radius_start, radius_end=radius_end, length=end - start)
