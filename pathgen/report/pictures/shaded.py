"""The work as it looks: the heights that the verification left, lit from the upper left, fills in their colours.

Seen from above with X to the right and the treble side (+ Y) up, as in the drawn pictures.
"""

from __future__ import annotations

import base64
import io

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from pathgen.base.markup import Element, element
from pathgen.verify.stages import Stage
from pathgen.work.clamping import Clamping

Pixels = NDArray[np.uint8]
Floats = NDArray[np.float32]

PLAIN_WOOD = "#8a6a4c"
"""For jobs that do not state `wood_colour`."""
BED = (232, 235, 231)
"""What is seen where nothing stands."""
_LIGHT = np.array([-0.45, 0.5, 0.74], np.float32)  # from the nut and treble side, above
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
    light = _light(np.where(there, heights, np.float32(0)), grid.cell_area ** 0.5)
    light *= _hollow(clamping, stage)
    colours = _colours(stage, wood or PLAIN_WOOD) * light[..., None]
    colours[~there] = BED
    return np.clip(colours[window], 0, 255).astype(np.uint8)[::-1]


def as_png(pixels: Pixels, spacing: float) -> bytes:
    """A PNG file of pixels `spacing` mm apart, which prints at true size (pHYs)."""
    return _encoded(pixels, "PNG", dpi=(25.4 / spacing, 25.4 / spacing), optimize=False)


def as_image(pixels: Pixels, words: str) -> Element:
    """An img element that holds its picture; `words` are for those who cannot see it."""
    data = base64.b64encode(_encoded(pixels, "JPEG", quality=_QUALITY)).decode()
    rows, columns = pixels.shape[:2]
    return element("img", src=f"data:image/jpeg;base64,{data}", alt=words, width=str(columns), height=str(rows))


def _encoded(pixels: Pixels, kind: str, **options: object) -> bytes:
    out = io.BytesIO()
    Image.fromarray(np.ascontiguousarray(pixels)).save(out, kind, **options)
    return out.getvalue()


def _light(heights: Floats, spacing: float) -> Floats:
    """Share of light on each point: 1 on level ground; Lambert's law, with something left in the shade."""
    along_y, along_x = np.gradient(heights, np.float32(spacing))
    toward = _LIGHT / np.linalg.norm(_LIGHT)
    facing = (-along_x * toward[0] - along_y * toward[1] + toward[2]) / np.sqrt(along_x**2 + along_y**2 + 1)
    return np.asarray(0.35 + 0.65 * np.clip(facing / toward[2], 0, 1.25), np.float32)


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
