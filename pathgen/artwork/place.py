"""Where a drawing goes on the board: its size, turn and position.

A drawing's x runs along the board and its y, up on the page, across it. A placed drawing is an Artwork again: its
regions are in the board's frame, its page is the box around them and `corner` says where that box is. When placing
makes it larger, it is flattened again from its curves, so that the tolerance holds in final size.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import shapely
import shapely.affinity

from pathgen.artwork.reader import Artwork, Region
from pathgen.artwork.transforms import rotation
from pathgen.base import given, overlay
from pathgen.base.arrays import Floats
from pathgen.base.errors import ArtworkError, PathgenError

_LEAST, _MOST = 0.01, 1e4
"""The narrowest and the widest that a page may become, mm: what is drawn on it may be a small part."""

_RATIO = 1e-6
"""How far width and height may disagree with the drawing's proportions, as a share."""


@dataclass(frozen=True, kw_only=True)
class Placement:
    """Where one copy of a drawing goes.

    Attributes
    ----------
    at : (float, float)
        Where the centre goes, mm.
    rotate : float
        Degrees, counter-clockwise.
    width, height : float or None
        Size before turning, mm. One given: proportions are kept. Neither: the size in the file.
    mirror : bool
        Swap left and right, before turning.
    centre : "page" or "drawing"
        What `at`, `width` and `height` speak of: the page, or the box around what is drawn on it.
    """

    at: tuple[float, float]
    rotate: float = 0.0
    width: float | None = None
    height: float | None = None
    mirror: bool = False
    centre: Literal["page", "drawing"] = "page"

    def scale(self, artwork: Artwork) -> float:
        """What it makes of a drawing's size: 1 as drawn. Raises ArtworkError as `placed`."""
        return _scales(artwork, _measured(artwork, self.centre), self.width, self.height, stretch=False)[0]

    def of(self, artwork: Artwork) -> Artwork:
        """A drawing where it goes: see `placed`."""
        return placed(artwork, **vars(self))


def placed(
    artwork: Artwork,
    *,
    at: tuple[float, float],
    rotate: float = 0.0,
    width: float | None = None,
    height: float | None = None,
    mirror: bool = False,
    stretch: bool = False,
    centre: Literal["page", "drawing"] = "page",
) -> Artwork:
    """The drawing on the board, with its regions in the board's frame.

    Place a drawing as it was read, not one that is placed already, which is refused: its curves are not kept for
    another time, and its page is the box around it.

    Parameters
    ----------
    at : (x, y)
        Where the centre goes, mm: x from the nut, y across.
    rotate : float
        Degrees, counter-clockwise.
    width, height : float, optional
        Size before turning, mm. One given: proportions are kept. Neither: the size in the file.
    mirror : bool
        Swap left and right, before turning.
    stretch : bool
        Allow a width and a height that change the drawing's proportions; without it they must agree with them.
    centre : "page" or "drawing"
        Whether centre and size are those of the page, which keeps drawings made on pages of one size in register, or
        of the box around what is drawn, for which blank paper does not count.

    Raises
    ------
    ArtworkError
        For a size that is not 0.01 to 10,000 mm, for a drawing with no physical size when neither width nor height is
        given, for width and height that would stretch it, and for a drawing with nothing in it. PathgenError naming any
        other argument.

    Examples
    --------
    >>> import pathgen
    >>> art = pathgen.placed(pathgen.read_artwork("board.svg"), at=(300.0, 0.0), width=48.0)
    >>> round(art.regions[0].polygon.area, 1)        # twice as wide, four times the area
    226.7
    """
    given.value("placed artwork", artwork, Artwork, remedy="read one: pathgen.read_artwork(..)")
    if artwork.scene is None:
        raise PathgenError("placed artwork", f"{artwork.name}, which is placed already",
                           allowed="a drawing as it was read",
                           remedy="read it once more: pathgen.read_artwork(..), and place it where it goes at once")
    x, y = given.place("placed at", at, count=2, words="(x, y) in mm").tolist()
    rotate = given.length("placed rotate", rotate, most=1e6, unit="degrees", error=ArtworkError)
    width, height = (
        size if size is None else given.length(
            f"placed {name}", size, least=_LEAST, most=_MOST, error=ArtworkError)
        for name, size in (("width", width), ("height", height)))
    mirror = given.value("placed mirror", mirror, bool, words="True or False")
    stretch = given.value("placed stretch", stretch, bool, words="True or False")
    drawing_box(artwork)  # refuses a drawing with nothing in it
    centre = given.word("placed centre", centre, ("page", "drawing"))
    box = _measured(artwork, centre)
    x_scale, y_scale = _scales(artwork, box, width, height, stretch=stretch)
    if max(x_scale, y_scale) > 1.0:
        artwork = artwork.finer(artwork.tolerance / max(x_scale, y_scale))
        box = _measured(artwork, centre)
    matrix = _matrix(box, (x, y), rotate, -x_scale if mirror else x_scale, y_scale)
    regions = tuple(
        Region(overlay.sound(shapely.affinity.affine_transform(region.polygon, matrix)), region.colour)
        for region in artwork.regions
    )
    low_x, low_y, high_x, high_y = shapely.total_bounds([region.polygon for region in regions]).tolist()
    return replace(
        artwork, regions=regions, page=(high_x - low_x, high_y - low_y), physical=True,
        tolerance=artwork.tolerance * max(x_scale, y_scale), corner=(low_x, low_y), scene=None,
    )


def drawing_box(artwork: Artwork) -> Floats:
    """Lowest x, lowest y, highest x, highest y of the regions: (4,) array, mm.

    Raises ArtworkError when the drawing has no region.
    """
    if not artwork.regions:
        raise ArtworkError(artwork.name, "nothing in it to cut", remedy="check its colours, and what was left out")
    box: Floats = shapely.total_bounds([region.polygon for region in artwork.regions])
    return box


def _measured(artwork: Artwork, centre: Literal["page", "drawing"]) -> Floats:
    """The box that sizes are those of and whose centre is placed, as `drawing_box`."""
    return drawing_box(artwork) if centre == "drawing" else np.array([0.0, 0.0, *artwork.page])


def _scales(
    artwork: Artwork, box: Floats, width: float | None, height: float | None, *, stretch: bool
) -> tuple[float, float]:
    wide, high = float(box[2] - box[0]), float(box[3] - box[1])
    if width is None and height is None:
        if not artwork.physical:
            raise ArtworkError(artwork.name, "the file gives no size, in mm, cm, in, pt or px",
                               remedy="give place a width or a height")
        return 1.0, 1.0
    x_scale = width / wide if width is not None else height / high  # type: ignore[operator]
    y_scale = height / high if height is not None else x_scale
    if not stretch and abs(x_scale - y_scale) > _RATIO * max(x_scale, y_scale):
        raise ArtworkError(
            artwork.name,
            f"width {width:g} mm and height {height:g} mm stretch a drawing of {wide:.6g} mm x {high:.6g} mm",
            remedy=f"give one of them, or height {x_scale * high:.6g} mm",
        )
    return x_scale, y_scale


def _matrix(box: Floats, at: tuple[float, float], rotate: float, x_scale: float, y_scale: float) -> list[float]:
    """Scale about the box's centre, turn, move: in the order that shapely's affine_transform takes."""
    cos, sin = rotation(rotate)[:2]
    a, b, d, e = cos * x_scale, -sin * y_scale, sin * x_scale, cos * y_scale
    x, y = (box[0] + box[2]) / 2, (box[1] + box[3]) / 2
    return [a, b, d, e, at[0] - a * x - b * y, at[1] - d * x - e * y]
