"""Reading a drawing: from a file to coloured regions in mm."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Literal

from pathgen.artwork.document import read_document
from pathgen.artwork.off_page import cut_off_by_page
from pathgen.artwork.paint import painted
from pathgen.artwork.scene import LeftOut, Paint, Scene
from pathgen.artwork.values import Colour, parse_colour
from pathgen.artwork.walk import Walker
from pathgen.base import given
from pathgen.base.errors import ArtworkError

TOLERANCE = 0.005
"""The default for how far a straight piece may lie from its curve, mm."""


@dataclass(frozen=True, eq=False)
class Region:
    """The whole area of one colour.

    Attributes
    ----------
    polygon : shapely Polygon or MultiPolygon
        Valid; mm, x right, y up.
    colour : str
        ``#rrggbb``.

    >>> import pathgen
    >>> region = pathgen.read_artwork("board.svg").regions[0]      # what `pathgen new board` writes
    >>> region.colour, round(region.polygon.area, 1)
    ('#2f6f4f', 56.6)
    """

    polygon: Any
    colour: str

    def _repr_svg_(self) -> str:
        """It alone, for notebooks."""
        left, low, right, high = self.polygon.bounds
        return _picture([self], (left, low), (right - left, high - low))


@dataclass(frozen=True, eq=False)
class Artwork:
    """A drawing as regions, one for each colour, none overlapping.

    Attributes
    ----------
    regions : tuple of Region
        In the order in which their colours first appear in the file; each with ``colour``, ``"#rrggbb"``, and
        ``polygon``, a shapely Polygon or MultiPolygon in mm, x right, y up.
    page : (float, float)
        Width and height of the page in mm; the origin of the regions is its lower left corner.
    left_out : tuple of LeftOut
        What cannot be cut and was left out.
    physical : bool
        False when the file gives no size in real units (mm, in, px...). Sizes then count 96 px to the inch, and
        mean nothing until a placement gives the drawing a width or height.
    tolerance : float
        The furthest that a straight piece may lie from its curve, mm.
    name : str
        The file's name.
    corner : (float, float)
        Lower left corner of the page: (0, 0) as read, elsewhere once placed.
    scene, background
        What the regions were made from, kept so that they can be made again more finely.

    Examples
    --------
    >>> import pathgen
    >>> art = pathgen.read_artwork("board.svg")      # what `pathgen new board` writes
    >>> [(region.colour, round(region.polygon.area, 1)) for region in art.regions]
    [('#2f6f4f', 56.6), ('#a33a2a', 20.3)]
    """

    regions: tuple[Region, ...]
    page: tuple[float, float]
    left_out: tuple[LeftOut, ...]
    physical: bool
    tolerance: float
    name: str
    scene: Scene | None = field(repr=False)
    background: tuple[str, ...]
    corner: tuple[float, float] = (0.0, 0.0)

    def finer(self, tolerance: float) -> Artwork:
        """The drawing as it was read, flattened again from its curves to another tolerance, mm."""
        if self.scene is None:
            raise ArtworkError(self.name, "its curves are not known", remedy="read it from its file")
        regions = _regions(self.name, self.scene.paints, tolerance, self.background)
        return replace(self, regions=regions, tolerance=tolerance)

    def by_layer(self, layers: Sequence[str]) -> Artwork:
        """The drawing with what shows of each of some layers as a region of its own, its name in place of a colour.

        A layer is a group, known by its id or by the label that drawing programs show. Raises ArtworkError for one
        that the drawing does not have.
        """
        if not layers:
            return self
        paints = self.scene.paints if self.scene is not None else ()
        known = dict.fromkeys(name for paint in paints for name in paint.layers)
        for name in layers:
            if name not in known:
                raise ArtworkError(self.name, f'shows nothing in a layer "{name}"',
                                   allowed=", ".join(known) or "no layer has a name",
                                   remedy="name a group's id or label, as the drawing program shows it")
        named = tuple(replace(paint, colour=next((name for name in layers if name in paint.layers), paint.colour))
                      for paint in paints)
        scene = replace(self.scene, paints=named) if self.scene is not None else None
        return replace(self, scene=scene, regions=_regions(self.name, named, self.tolerance, self.background))

    def _repr_svg_(self) -> str:
        """The drawing as it will be cut, for notebooks."""
        return _picture(self.regions, self.corner, self.page)


def _picture(regions: Sequence[Region], corner: tuple[float, float], size: tuple[float, float]) -> str:
    """Regions at true size, from their lower left corner on, mm."""
    (width, height), (left, low) = size, corner
    paths = "".join(f'<path fill="{region.colour}" fill-rule="evenodd" d="{_path_data(region.polygon)}"/>'
                    for region in regions)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}mm" height="{height:g}mm" '
        f'viewBox="{left:g} 0 {width:g} {height:g}"><g transform="matrix(1 0 0 -1 0 {low + height:g})">{paths}</g>'
        "</svg>"
    )


def read_artwork(
    path: str | Path,
    *,
    tolerance: float = TOLERANCE,
    background: Sequence[str] = (),
    white_is_background: bool = False,
    missing: Literal["refuse", "report"] = "refuse",
    layers: Sequence[str] = (),
) -> Artwork:
    """The regions of an SVG drawing.

    Parameters
    ----------
    path : str or Path
        An SVG file, plain or gzip-compressed.
    tolerance : float
        The furthest that a straight piece may lie from its curve, mm. Placing at a larger size flattens again, so
        that the tolerance holds in final size. It is never taken finer than a millionth of a curve piece or
        1/20,000 of the width of a line: beyond 5 m and 100 mm at the default.
    background : sequence of str
        Colours that cut their shape out of what lies below them and are no region themselves.
    white_is_background : bool
        Count white among them.
    missing : "refuse" or "report"
        What to do about text, pictures, gradients and whatever else cannot be cut: raise, or leave it out and list
        it in `left_out`. What hangs over the page's edge is cut off there and listed in any case.
    layers : sequence of str
        Groups, by their ids or the labels that drawing programs show: all else is passed over, as if it were hidden.
        None for the whole drawing.

    Raises
    ------
    ArtworkError
        When the file cannot be read or is wrong, saying where, or holds what cannot be cut and `missing` is
        "refuse". PathgenError naming any other argument.

    Examples
    --------
    >>> import pathgen
    >>> art = pathgen.read_artwork("board.svg")      # what `pathgen new board` writes
    >>> [round(side) for side in art.page], art.regions[0].polygon.is_valid
    ([24, 14], True)

    Notes
    -----
    Read, by SVG 1.1 and what of SVG 2 is in common use: basic shapes and paths; groups, `use`, `symbol`, nested `svg`,
    `switch`; transforms; presentation attributes, style attributes and style sheets, with the geometry properties (x,
    y, width, height, cx, cy, r, rx, ry) and ``@media all`` and ``screen``; strokes with their caps, joins and dashes;
    `clipPath`. A gradient of one colour is that colour. Any opacity above 0 is opaque (`scene` holds it).

    Cannot be cut, and so refused or listed: text, images, gradients, patterns, masks, filters, markers, blend modes;
    clip-path shapes, paths and moves (`d`, `translate`, `rotate`, `scale`, `offset-path`) of style sheets; strokes of a
    width on the screen, or with corners miter-clip or arcs; a transform, refX, refY, x or y on a `symbol`, or its size
    by a style, where renderers disagree; copies of what rules of a style sheet reach by where it lies, and uses of uses
    in a clipPath, so too; `all` of style sheets; what is animated from the start; rules within rules,
    other `@media` conditions and style sheets in other files.

    Refused in any case: mistakes in path data, numbers and maps; var(), calc(), color-mix() and other values that a
    browser works out, but for a colour of a wider screen, such as oklch(), with a plain one beside it, which is taken;
    windows and viewBoxes of no size; loops; more than 32 MB, 40,000 elements, 250,000 pieces or
    10,000 selectors; shapes that cross themselves or one another so often (about 100,000 times) that no cutter could
    follow them.
    """
    path = given.path("read_artwork path", path)
    tolerance = given.length("read_artwork tolerance", tolerance, above=0.0)
    given.word("read_artwork missing", missing, ("refuse", "report"))
    colours = given.several("read_artwork background", background, words="colours in a list")
    hidden = tuple(_background(colour) for colour in colours) + (("#ffffff",) if white_is_background else ())
    shown = given.several("read_artwork layers", layers, words="names of groups in a list")
    document = read_document(path)
    scene = Walker(document, [str(name) for name in shown]).scene()
    if scene.left_out and missing == "refuse":
        raise _refusal(document.name, scene, asked=bool(shown),
                       more=any(paint.colour not in hidden for paint in scene.paints))
    regions = _regions(document.name, scene.paints, tolerance, hidden)
    left_out = (*scene.left_out, *cut_off_by_page(scene, hidden))
    return Artwork(regions, scene.page, left_out, scene.physical, tolerance, document.name, scene, hidden)


def _background(text: object) -> str:
    colour = parse_colour(str(text))
    if not isinstance(colour, Colour):
        raise ArtworkError("background", f"{text!r} is not a colour", allowed='"#rrggbb" or a colour name')
    return colour.hex


def _regions(name: str, paints: Sequence[Paint], tolerance: float, background: Sequence[str]) -> tuple[Region, ...]:
    try:
        areas = painted(paints, tolerance)
    except ArtworkError as wrong:  # of several drawings, that of all shapes together says in which
        if wrong.where.startswith(name):
            raise
        raise ArtworkError(f"{name}, {wrong.where}", wrong.problem, allowed=wrong.allowed,
                           remedy=wrong.remedy) from None
    return tuple(Region(area, colour) for colour, area in areas.items() if colour not in background)


def _refusal(name: str, scene: Scene, *, asked: bool, more: bool) -> ArtworkError:
    """With other layers as a way out where there are any and none were asked for; to leave things out is one where it
    shows `more`."""
    left_out = scene.left_out
    layered = not asked and any(paint.layers for paint in scene.paints)
    shown = "; ".join(f"{item.words}: {item.remedy}" for item in left_out[:6])
    layers, leave = ["name the layers to cut in layers"] * layered, ['leave these out with missing="report"'] * more
    others = f"; and {len(left_out) - 6} more" if len(left_out) > 6 else ""
    alone = "" if more else "; besides that it shows nothing to cut"
    return ArtworkError(name, f"holds what cannot be cut: {shown}{others}{alone}",
                        remedy=", or ".join(filter(None, [", ".join(["change the drawing", *layers]), *leave])))


def _path_data(area: Any) -> str:
    parts = getattr(area, "geoms", [area])
    rings = [ring for part in parts for ring in (part.exterior, *part.interiors)]
    return "".join("M" + " ".join(f"{x:.4f},{y:.4f}" for x, y in ring.coords[:-1]) + "z" for ring in rings)
