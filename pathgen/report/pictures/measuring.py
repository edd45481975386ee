"""How a witness mark is measured, drawn: the tip over its middle from above, and on a feeler beside it."""

from __future__ import annotations

import numpy as np
import shapely

from pathgen.base import overlay
from pathgen.base.markup import Element
from pathgen.base.picture import BLANK, INK, PALE, WOOD, View, area, lines, words

_SIZE = 3.6
_STEEL = "#cfd6d3"


def measuring_picture() -> Element:
    """Left X and Y, from above; right Z, from the side. Not to scale."""
    view = View(left=0.0, right=130.0, bottom=-8.0, top=46.0)
    return view.picture("How to measure a mark: the tip over the middle of it, then on a feeler beside it",
                        *_from_above(view), *_from_the_side(view))


def _from_above(view: View) -> list[Element]:
    mark, reach = np.array([26.0, 18.0]), 13.0
    cross = [mark + reach * np.array([[-1.0, 0.0], [1.0, 0.0]]), mark + reach * np.array([[0.0, -1.0], [0.0, 1.0]])]
    return [
        area(view, shapely.box(2.0, 2.0, 50.0, 34.0), fill=WOOD, stroke=PALE, stroke_width=0.3),
        area(view, overlay.buffer(shapely.Point(mark), 6.0), fill=BLANK, stroke=INK, stroke_width=0.5),
        lines(view, cross, stroke=INK, stroke_width=0.25, stroke_dasharray="1.2 0.8"),
        area(view, overlay.buffer(shapely.Point(mark), 1.0), fill=INK),
        words(view, (26.0, 39.0), "X and Y, from above", size=_SIZE),
        words(view, (26.0, -4.5), "tip over its middle", size=_SIZE),
    ]


def _from_the_side(view: View) -> list[Element]:
    top, tip = 16.0, np.array([84.0, 17.2])
    wood = overlay.difference(shapely.box(62.0, 2.0, 126.0, top), shapely.box(98.0, 10.0, 106.0, top))
    point = shapely.Polygon([tip, tip + [-3.0, 6.0], tip + [-3.0, 14.0], tip + [3.0, 14.0], tip + [3.0, 6.0]])
    return [
        area(view, wood, fill=WOOD, stroke=PALE, stroke_width=0.3),
        area(view, shapely.box(70.0, top, 90.0, tip[1]), fill=INK),
        area(view, point, fill=_STEEL, stroke=INK, stroke_width=0.4),
        words(view, (94.0, 39.0), "Z, from the side", size=_SIZE),
        words(view, (69.0, 18.0), "feeler", size=_SIZE, text_anchor="end"),
        words(view, (102.0, 18.5), "mark", size=_SIZE),
        words(view, (94.0, -4.5), "down until a feeler drags", size=_SIZE),
    ]
