"""What a drawing really shows, by resvg, a renderer that shares nothing with this package."""

from io import BytesIO
from pathlib import Path

import numpy as np
import resvg_py
import shapely
from numpy.typing import NDArray
from PIL import Image

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
    alpha = np.asarray(Image.open(BytesIO(png)).convert("RGBA"))[..., 3]
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
