"""Heights as a picture: lit from the upper left, encoded as a PNG file that prints at true size."""

from __future__ import annotations

import io

import numpy as np
from numpy.typing import NDArray
from PIL import Image

Pixels = NDArray[np.uint8]
Floats = NDArray[np.float32]

_LIGHT = np.array([-0.45, 0.5, 0.74], np.float32)  # from the nut and treble side, above


def as_png(pixels: Pixels, spacing: float) -> bytes:
    """A PNG file of pixels `spacing` mm apart, which prints at true size (pHYs)."""
    return encoded(pixels, "PNG", dpi=(25.4 / spacing, 25.4 / spacing), optimize=False)


def encoded(pixels: Pixels, kind: str, **options: object) -> bytes:
    out = io.BytesIO()
    Image.fromarray(np.ascontiguousarray(pixels)).save(out, kind, **options)
    return out.getvalue()


def light_on(heights: Floats, spacing: float) -> Floats:
    """Share of light on each point: 1 on level ground; Lambert's law, with something left in the shade."""
    along_y, along_x = np.gradient(heights, np.float32(spacing))
    toward = _LIGHT / np.linalg.norm(_LIGHT)
    facing = (-along_x * toward[0] - along_y * toward[1] + toward[2]) / np.sqrt(along_x**2 + along_y**2 + 1)
    return np.asarray(0.35 + 0.65 * np.clip(facing / toward[2], 0, 1.25), np.float32)
