"""The work as it looks: the heights that the verification left, lit from the upper left, fills in their colours.

From above with X to the right and the treble side (+ Y) up, as in the drawn pictures; or at an angle, so that the
radius and the depth are seen.
"""

from __future__ import annotations

import base64
from dataclasses import dataclass
from typing import Literal

import numpy as np
from shapely.geometry.base import BaseGeometry

from pathgen.base.arrays import Bools, Pixels, Singles
from pathgen.base.contrast import contrast_ratio
from pathgen.base.markup import Child, Element, element, number
from pathgen.base.picture import INK, PALE
from pathgen.base.shading import at_an_angle, encoded, light_on
from pathgen.removal.grid import Grid
from pathgen.report.pictures.sections import rise_of
from pathgen.report.reaching import opened_alone
from pathgen.verify.stages import Stage
from pathgen.work.clamping import Clamping
from pathgen.work.touching import Regions

PLAIN_WOOD = "#8a6a4c"
"""For jobs that do not state `wood_colour`."""
BED = (232, 235, 231)
"""What is seen where nothing stands."""
_DEEPEST = 2.0  # mm under the surface at which wood is darkest
_DARK = 0.62  # share of light that is lost there: slots and pockets read as holes
_GONE = 0.05  # mm above the bed: lower than this nothing stands
_SAME = 0.02  # mm: heights closer than this are the same
_PALER = 0.6  # share of white over what a program left as it was
_SIDE = np.float32(0.55)  # share of light on what stands upright and faces the eye
_UNDER = 1.0  # mm of wood left under the deepest place of a closeup
_QUALITY = 76
_ALTERNATIVE = 50  # words in place of a picture are so much smaller than it is wide


def shaded_board(
    clamping: Clamping, stage: Stage, wood: str | None, *, cut_free: bool = False,
    dam: BaseGeometry | None = None, before: Stage | Literal["blank"] | None = None,
) -> Pixels:
    """(rows, columns, 3) colours of the work after a stage, a pixel for each point; the first row is the greatest Y.

    `wood` is the colour of the wood where it is known. With `cut_free` only what lies inside the board's outline is
    shown. The edge of `dam` is drawn. What is the same as `before` (the blank, or a stage) is paler.
    """
    look = _look(clamping, stage, wood, cut_free=cut_free)
    lit = look.lit
    if before is not None:
        changed = _changed(clamping, stage, before)
        lit[changed & ~look.there] = _rgb(PALE)
        same = look.there & ~changed
        lit = np.where(same[..., None], lit * (1 - _PALER) + 255 * _PALER, lit)
    if dam is not None:
        # whichever is told from the wood more easily
        clear = max("#ffffff", INK, key=lambda colour: contrast_ratio(colour, wood or PLAIN_WOOD))
        lit[_edge(stage.grid.covered(dam))] = _rgb(clear)
    return look.pixels(lit)[::-1]


def seen_at_an_angle(clamping: Clamping, stage: Stage, wood: str | None, *, cut_free: bool = False) -> Pixels:
    """The work from the bass side and the nut, its heights `rise_of` times as high; a closeup as a piece sawn out."""
    look = _look(clamping, stage, wood, cut_free=cut_free)
    heights = np.where(look.there, stage.heights, np.float32(0))[look.window]
    if not cut_free:
        heights = np.maximum(heights - (heights.min() - np.float32(_UNDER)), np.float32(0))
    steps = np.asarray(heights / stage.spacing, np.float32)
    return at_an_angle(steps, look.pixels(look.lit), look.pixels(look.plain * _SIDE), BED,
                       rise=rise_of(clamping))


def contrast_seen(clamping: Clamping, stage: Stage, wood: str) -> dict[str, float]:
    """Contrast of each fill with the wood, by the middle colours of both in the lit picture (WCAG 2.2)."""
    look = _look(clamping, stage, wood, cut_free=True)
    bare = _middle(look.lit[look.there & (stage.fill == 0)])
    found = {}
    for code, inlay in enumerate(stage.inlays, 1):
        for colour, shape in inlay.regions:
            here = look.there & (stage.fill == code) & stage.grid.covered(shape)
            if here.any():
                found[colour] = contrast_ratio(_middle(look.lit[here]), bare)
    return found


def _middle(colours: Singles) -> str:
    return "#" + "".join(f"{round(v):02x}" for v in np.clip(np.median(colours, axis=0), 0, 255).tolist())


@dataclass(frozen=True, eq=False, kw_only=True)
class _Look:
    """Colours of each point, as lit and without light; where anything stands; what part is shown."""

    lit: Singles
    plain: Singles
    there: Bools
    window: tuple[slice, slice]

    def pixels(self, colours: Singles) -> Pixels:
        return np.clip(colours[self.window], 0, 255).astype(np.uint8)


def _look(clamping: Clamping, stage: Stage, wood: str | None, *, cut_free: bool) -> _Look:
    heights, grid = stage.heights, stage.grid
    there = heights > _GONE
    window = (slice(None), slice(None))
    if cut_free:
        there &= grid.covered(clamping.board.outline)
        window = grid.window(clamping.board.outline.bounds)
    light = light_on(np.where(there, heights, np.float32(0)), stage.spacing) * _hollow(clamping, stage)
    plain = _colours(clamping, stage, wood or PLAIN_WOOD)
    lit = plain * light[..., None]
    lit[~there] = BED
    return _Look(lit=lit, plain=plain, there=there, window=window)


def changed_share(clamping: Clamping, stage: Stage, before: Stage | Literal["blank"]) -> float:
    """How much of a picture of a stage is not as it was before."""
    return float(_changed(clamping, stage, before).mean())


def _changed(clamping: Clamping, stage: Stage, before: Stage | Literal["blank"]) -> Bools:
    """Where a program, or the pour after it, left other heights than stood there before."""
    with np.errstate(invalid="ignore"):
        if before == "blank":
            return np.asarray(stage.heights < blank_heights(clamping, stage.grid) - np.float32(_SAME))
        return np.asarray(np.abs(stage.heights - before.heights) > np.float32(_SAME))


def blank_heights(clamping: Clamping, grid: Grid) -> Singles:
    """(rows, columns) heights of the blank before any program: a job that cuts no surface has one with it."""
    blank = np.full(grid.shape, clamping.stock.thickness, np.float32)
    if clamping.surfacing is None:
        np.fmin(blank, clamping.board.surface.height(grid.xs, grid.ys[:, None]), out=blank, casting="same_kind")
    return blank


def _edge(shape: Bools) -> Bools:
    """The points of a shape that border on others: a line two points wide."""
    inner = shape.copy()
    for _ in range(2):
        padded = np.pad(inner, 1)
        inner = inner & padded[2:, 1:-1] & padded[:-2, 1:-1] & padded[1:-1, 2:] & padded[1:-1, :-2]
    return shape & ~inner


def as_image(pixels: Pixels, words: str) -> Element:
    """An img element that holds its picture; `words` are for those who cannot see it."""
    rows, columns = pixels.shape[:2]
    return element("img", src=_data(pixels), alt=words, width=str(columns), height=str(rows))


def in_parts(pixels: Pixels, words: str, name: str, count: int) -> tuple[Element, list[Element]]:
    """A picture whole, and in so many equal parts from left to right that show the same data again; `name` is the id by
    which they find it."""
    rows, columns = pixels.shape[:2]
    wide = columns / count
    whole = element("image", href=_data(pixels), width=str(columns), height=str(rows), id=name)
    parts = [_window(element("use", href=f"#{name}"), f"{words} Part {k + 1} of {count}, from the left.",
                     k * wide, wide, rows) for k in range(count)]
    size = columns / _ALTERNATIVE
    # what is read in place of a picture that is not loaded: else it lies over it
    instead = element("text", words.partition(":")[0], x=size, y=2 * size, font_size=size, fill=INK,
                      font_family="system-ui, sans-serif")
    return _window([instead, whole], words, 0, columns, rows), parts


def _window(content: Child, words: str, left: float, wide: float, high: float) -> Element:
    return element("svg", element("title", words), content, role="img", aria_label=words,
                   viewBox=f"{number(left)} 0 {number(wide)} {number(high)}")


def _data(pixels: Pixels) -> str:
    return "data:image/jpeg;base64," + base64.b64encode(encoded(pixels, "JPEG", quality=_QUALITY)).decode()


def _hollow(clamping: Clamping, stage: Stage) -> Singles:
    """Share of light that deep places get."""
    with np.errstate(invalid="ignore"):
        surface = clamping.finished_surface.height(stage.grid.xs, stage.grid.ys[:, None])
        deep = np.fmin(np.fmax((surface - stage.heights) / _DEEPEST, 0), 1)  # 0 where there is no surface
    return np.asarray(1 - _DARK * deep, np.float32)


def _colours(clamping: Clamping, stage: Stage, wood: str) -> Singles:
    colours = np.empty((*stage.heights.shape, 3), np.float32)
    colours[:] = _rgb(wood)
    for code, inlay in enumerate(stage.inlays, 1):
        here = stage.fill == code
        many = len(inlay.regions) > 1
        nearest = _spread(opened_alone(clamping, inlay), stage.grid, here) if many else here.astype(np.uint8)
        for which, (colour, _) in enumerate(inlay.regions, 1):
            colours[nearest == which] = _rgb(colour)
    return colours


def _spread(regions: Regions, grid: Grid, within: Bools) -> Pixels:
    """Numbers of pockets, carried on to all points `within`: what runs over has the colour of its own pocket."""
    numbers = np.zeros(within.shape, np.uint8)
    for which, (_, shape) in enumerate(regions, 1):
        numbers[within & grid.covered(shape)] = which
    while (bare := within & (numbers == 0)).any():
        padded = np.pad(numbers, 1)
        around = np.maximum.reduce([padded[2:, 1:-1], padded[:-2, 1:-1], padded[1:-1, 2:], padded[1:-1, :-2]])
        reached = bare & (around > 0)
        if not reached.any():  # a spot that no pocket reaches has the first colour
            return np.where(bare, np.uint8(1), numbers)
        numbers = np.where(reached, around, numbers)
    return numbers


def _rgb(colour: str) -> tuple[int, int, int]:
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)
