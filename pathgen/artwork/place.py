"""A drawing put onto the board: scaled, mirrored, turned, moved; flattened again when it grows."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Literal

import shapely
from shapely.affinity import affine_transform

from pathgen.artwork.reader import Artwork
from pathgen.errors import ArtworkError

PROPORTIONS = 0.002
"""How far a width and a height given together may stand from the drawing's own proportions, as a share."""


def placed(
    artwork: Artwork,
    *,
    at: tuple[float, float],
    rotate: float = 0.0,
    width: float | None = None,
    height: float | None = None,
    mirror: bool = False,
    centre: Literal["page", "drawing"] = "page",
) -> Artwork:
    """The artwork with its centre at a point of the board; lengths in mm, `rotate` in degrees counter-clockwise.

    Parameters
    ----------
    at : (float, float)
        Where the centre goes, in the board's frame.
    width, height : float, optional
        Size before turning; one gives the other, both must keep the drawing's proportions.
    mirror : bool
        Left to right, before turning.
    centre : "page" or "drawing"
        Whether centre, width and height are those of the page or of what is drawn on it.

    Raises
    ------
    ArtworkError
        For a drawing with no physical size and neither width nor height, or with both against its proportions.
    """
    middle, size = _extent(artwork, centre)
    scale = _scale(artwork, size, width, height)
    if scale > 1.0:
        # the tolerance of the curves holds in final size
        artwork = replace(artwork.finer(artwork.tolerance / scale), tolerance=artwork.tolerance)
    turn = math.radians(rotate)
    cos, sin = scale * math.cos(turn), scale * math.sin(turn)
    flip = -1.0 if mirror else 1.0
    a, b, d, e = flip * cos, -sin, flip * sin, cos
    matrix = [a, b, d, e, at[0] - a * middle[0] - b * middle[1], at[1] - d * middle[0] - e * middle[1]]
    regions = tuple(replace(r, polygon=affine_transform(r.polygon, matrix)) for r in artwork.regions)
    return replace(artwork, regions=regions, page=(artwork.page[0] * scale, artwork.page[1] * scale), physical=True)


def _extent(artwork: Artwork, centre: str) -> tuple[tuple[float, float], tuple[float, float]]:
    """Centre and size of the page, or of what is drawn."""
    if centre == "page":
        return (artwork.page[0] / 2, artwork.page[1] / 2), artwork.page
    if not artwork.regions:
        raise ArtworkError(artwork.name, "shows nothing that could be cut")
    x0, y0, x1, y1 = shapely.total_bounds([r.polygon for r in artwork.regions])
    return ((x0 + x1) / 2, (y0 + y1) / 2), (x1 - x0, y1 - y0)


def _scale(artwork: Artwork, size: tuple[float, float], width: float | None, height: float | None) -> float:
    if width is None and height is None:
        if artwork.physical:
            return 1.0
        raise ArtworkError(
            artwork.name, "the drawing has no physical size",
            remedy="give place a width or a height, or write one with its unit into the svg element, as 200mm",
        )
    scales = [wanted / own for wanted, own in ((width, size[0]), (height, size[1])) if wanted is not None]
    if abs(scales[0] - scales[-1]) > PROPORTIONS * scales[0]:
        raise ArtworkError(
            artwork.name, f"width {width:g} and height {height:g} mm stretch the drawing",
            allowed=f"the proportions of {size[0]:.2f} by {size[1]:.2f}", remedy="give one of the two",
        )
    return scales[0]
