"""What a drawing really shows, by resvg, a renderer that shares nothing with this package."""

from __future__ import annotations

import struct
import zlib
from pathlib import Path

import numpy as np
import resvg_py
import shapely
from numpy.typing import NDArray

from pathgen.artwork import Artwork

Shown = NDArray[np.bool_]
CORNERS = 4  # sub-pixel samples each way


def shown(path: Path, *, width: int) -> tuple[Shown, Shown]:
    """Pixels that a drawing certainly covers, and pixels that it at least touches: two (h, w) bool arrays."""
    png = bytes(
        resvg_py.svg_to_bytes(
            svg_path=str(path), width=width, skip_system_fonts=True, dpi=96.0, languages=["en"]
        )
    )
    alpha = _pixels(png)[..., 3]
    return alpha > 0.9 * alpha.max(initial=1), alpha > 0


def covered(art: Artwork, shape: tuple[int, int]) -> NDArray[np.float64]:
    """Share of each pixel that the regions cover: (h, w) array, by point samples."""
    height, width = shape
    area = shapely.union_all([region.polygon for region in art.regions])
    shapely.prepare(area)
    x = (np.arange(width * CORNERS) + 0.5) / (width * CORNERS) * art.page[0]
    y = (1 - (np.arange(height * CORNERS) + 0.5) / (height * CORNERS)) * art.page[1]
    inside = shapely.contains_xy(area, *np.meshgrid(x, y))
    return inside.reshape(height, CORNERS, width, CORNERS).mean(axis=(1, 3))


def disagreement(art: Artwork, path: Path, *, width: int = 160) -> float:
    """Pixels wholly covered in one and untouched in the other, as a share of the pixels drawn."""
    full, touched = shown(path, width=width)
    share = covered(art, full.shape)
    wrong = ((share == 1) & ~touched) | ((share == 0) & full)
    return float(wrong.sum() / max(1, touched.sum(), (share > 0).sum()))


def _pixels(png: bytes) -> NDArray[np.uint8]:
    """(h, w, 4) RGBA of an 8-bit PNG (ISO/IEC 15948: chunks, then the five line filters)."""
    at, packed, width, height = 8, b"", 0, 0
    while at < len(png):
        length, kind = struct.unpack(">I4s", png[at : at + 8])
        body = png[at + 8 : at + 8 + length]
        at += 12 + length
        if kind == b"IHDR":
            width, height, depth, colour = struct.unpack(">IIBB", body[:10])
            assert (depth, colour) == (8, 6)
        elif kind == b"IDAT":
            packed += body
    raw = np.frombuffer(zlib.decompress(packed), dtype=np.uint8).reshape(height, 1 + width * 4)
    lines = np.zeros((height + 1, width * 4), dtype=np.int64)
    for y in range(height):
        lines[y + 1] = _unfiltered(int(raw[y, 0]), raw[y, 1:].astype(np.int64), lines[y])
    return lines[1:].reshape(height, width, 4).astype(np.uint8)


def _unfiltered(kind: int, line: NDArray[np.int64], above: NDArray[np.int64]) -> NDArray[np.int64]:
    if kind == 0:
        return line
    if kind == 2:
        return (line + above) & 255
    if kind == 1:
        return np.cumsum(line.reshape(-1, 4), axis=0).ravel() & 255
    out = [0, 0, 0, 0]
    up = [0, 0, 0, 0, *above.tolist()]
    for i, value in enumerate(line.tolist()):
        left, over, corner = out[i], up[i + 4], up[i]
        guess = (left + over) // 2
        if kind == 4:
            near = [abs(over - corner), abs(left - corner), abs(left + over - 2 * corner)]
            guess = (left, over, corner)[near.index(min(near))]
        out.append((value + guess) & 255)
    return np.array(out[4:])
