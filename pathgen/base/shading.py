"""Heights as a picture: lit from the upper left, seen from above or at an angle, encoded as a file."""

from __future__ import annotations

import io

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from pathgen.base.arrays import Bools, Pixels, Singles
from pathgen.base.memory import remembered

TURN, TILT = np.radians(16.0), np.radians(32.0)
"""From where a view at an angle is taken: how far turned toward the low end of x, and how high above the bed."""
_WITHIN = np.float32(0.78)  # share of light on the walls of pockets and slots
_LIGHT = np.array([-0.45, 0.5, 0.74], np.float32)  # from the nut and treble side, above


def as_png(pixels: Pixels, spacing: float | None) -> bytes:
    """A PNG file of pixels `spacing` mm apart, which prints at true size (pHYs); None for a picture without a scale."""
    scale = {} if not spacing else {"dpi": (25.4 / spacing, 25.4 / spacing)}
    return encoded(pixels, "PNG", optimize=False, **scale)


@remembered
def encoded(pixels: Pixels, kind: str, **options: object) -> bytes:
    out = io.BytesIO()
    Image.fromarray(np.ascontiguousarray(pixels)).save(out, kind, **options)
    return out.getvalue()


@remembered
def light_on(heights: Singles, spacing: float) -> Singles:
    """Share of light on each point: 1 on level ground; Lambert's law, with something left in the shade."""
    along_y, along_x = np.gradient(heights, np.float32(spacing))
    toward = _LIGHT / np.linalg.norm(_LIGHT)
    facing = (-along_x * toward[0] - along_y * toward[1] + toward[2]) / np.sqrt(along_x**2 + along_y**2 + 1)
    return np.asarray(0.35 + 0.65 * np.clip(facing / toward[2], 0, 1.25), np.float32)


@remembered
def at_an_angle(
    heights: Singles, colours: Pixels, sides: Pixels, ground: tuple[int, int, int], *, rise: float
) -> Pixels:
    """Ground with heights on it as seen from the side of low y, a little from that of low x, without perspective.

    `heights` (rows, columns) are over the bed, in steps of the grid; y rises with the row. `colours` (rows, columns, 3)
    are of each point, `sides` of what stands upright under it, darker where that is a wall behind something lower that
    stands too, `ground` is what is seen beside it. Heights are drawn `rise` times as high. Gives (high, wide, 3), the
    highest row first; a step of the grid is a pixel along a line that faces the eye.
    """
    place, base, there = _rays(heights.shape)
    tall = heights.ravel()[place] * np.float32(rise * np.cos(TILT))
    level = np.where(there, base + tall, np.float32(-np.inf))
    deep, wide = level.shape
    low, high = int(np.floor(base[0].min())), int(np.ceil(level.max(initial=0))) + 1
    # painter's order, each column from its foot: a point is seen as far as it rises over all that stand before it
    seen = np.maximum(np.maximum.accumulate(level, axis=0), base[0])
    tops = np.ceil(np.concatenate([np.full((1, wide), low), base[:1], seen, np.full((1, wide), high)])).astype(np.int32)
    which = np.repeat(np.tile(np.arange(-1, deep + 1, dtype=np.int32), wide), np.diff(tops, axis=0).T.ravel())
    empty = (which < 0) | (which == deep)
    source = np.clip(which, 0, deep - 1) * wide + np.repeat(np.arange(wide, dtype=np.int32), high - low)
    upright = np.tile(np.arange(low, high, dtype=np.float32), wide) < level.ravel()[source] - np.float32(1.5)
    within = upright & (which > 0) & (tall.ravel()[source - wide * (which > 0)] > 0)
    points = heights.size
    index = np.where(empty, 3 * points, place.ravel()[source] + (upright + within.astype(np.int32)) * np.int32(points))
    flat = sides.reshape(-1, 3)
    palette = np.concatenate([colours.reshape(-1, 3), flat, (flat * _WITHIN).astype(np.uint8),
                              np.array([ground], np.uint8)])
    return np.ascontiguousarray(palette[index.reshape(wide, high - low).T[::-1]])


def _rays(shape: tuple[int, int]) -> tuple[NDArray[np.int32], Singles, Bools]:
    """The points that lie behind one another in each column of a view at an angle, nearest first: their places in the
    field laid flat, how high up in the picture the bed is there, and which of them there are; each (deep, wide)."""
    rows, columns = shape
    sine, cosine = np.float32(np.sin(TURN)), np.float32(np.cos(TURN))
    aside = np.arange(int(columns * cosine + rows * sine), dtype=np.float32) - rows * sine
    first = np.maximum(-aside * cosine / sine, aside * sine / cosine)
    away = first + np.arange(int(np.hypot(1, sine / cosine) * rows) + 2, dtype=np.float32)[:, None]
    column = (aside * cosine + away * sine + np.float32(0.5)).astype(np.int32)
    row = (away * cosine - aside * sine + np.float32(0.5)).astype(np.int32)
    there = (row >= 0) & (row < rows) & (column >= 0) & (column < columns)
    base = np.asarray(away * np.float32(np.sin(TILT)), np.float32)
    return np.where(there, row * np.int32(columns) + column, 0), base, there
