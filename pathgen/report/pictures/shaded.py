"""The work as it looks: the heights that the verification left, lit from the upper left, fills in their colours.

Seen from above with X to the right and the treble side (+ Y) up, as in the drawn pictures.
"""

from __future__ import annotations

import base64

import numpy as np
from numpy.typing import NDArray

from pathgen.base.markup import Element, element
from pathgen.base.shading import encoded, light_on
from pathgen.verify.stages import Stage
from pathgen.work.clamping import Clamping

Pixels = NDArray[np.uint8]
Floats = NDArray[np.float32]

PLAIN_WOOD = "#8a6a4c"
"""For jobs that do not state `wood_colour`."""
BED = (232, 235, 231)
"""What is seen where nothing stands."""
_DEEPEST = 2.0  # mm under the surface at which wood is darkest
_DARK = 0.62  # share of light that is lost there: slots and pockets read as holes
_GONE = 0.05  # mm above the bed: lower than this nothing stands
_QUALITY = 82


def shaded_board(clamping: Clamping, stage: Stage, wood: str | None, *, cut_free: bool = False) -> Pixels:
    """(rows, columns, 3) colours of the work after a stage, a pixel for each point; the first row is the greatest Y.

    `wood` is the colour of the wood where it is known. With `cut_free` only what lies inside the board's
    outline is shown.
    """
    heights, grid = stage.heights, stage.grid
    there = heights > _GONE
    window = (slice(None), slice(None))
    if cut_free:
        there &= grid.covered(clamping.board.outline)
        window = grid.window(clamping.board.outline.bounds)
    light = light_on(np.where(there, heights, np.float32(0)), grid.cell_area ** 0.5)
    light *= _hollow(clamping, stage)
    colours = _colours(stage, wood or PLAIN_WOOD) * light[..., None]
    colours[~there] = BED
    return np.clip(colours[window], 0, 255).astype(np.uint8)[::-1]


def as_image(pixels: Pixels, words: str) -> Element:
    """An img element that holds its picture; `words` are for those who cannot see it."""
    data = base64.b64encode(encoded(pixels, "JPEG", quality=_QUALITY)).decode()
    rows, columns = pixels.shape[:2]
    return element("img", src=f"data:image/jpeg;base64,{data}", alt=words, width=str(columns), height=str(rows))


def _hollow(clamping: Clamping, stage: Stage) -> Floats:
    """Share of light that deep places get."""
    with np.errstate(invalid="ignore"):
        surface = clamping.finished_surface.height(stage.grid.xs, stage.grid.ys[:, None])
        deep = np.clip((surface - stage.heights) / _DEEPEST, 0, 1)
    return np.asarray(1 - _DARK * np.nan_to_num(deep), np.float32)


def _colours(stage: Stage, wood: str) -> Floats:
    colours = np.empty((*stage.heights.shape, 3), np.float32)
    colours[:] = _rgb(wood)
    for number in np.unique(stage.fill[stage.fill > 0]):
        inlay, here = stage.inlays[number - 1], stage.fill == number
        colours[here] = _rgb(inlay.colours[0])
        for colour, shape in inlay.regions[1:]:
            colours[here & stage.grid.covered(shape)] = _rgb(colour)
    return colours


def _rgb(colour: str) -> tuple[int, int, int]:
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)
