"""The basic shapes as outlines, with the standard's rules for radii, percentages and errors."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any
from xml.etree.ElementTree import Element

import numpy as np

from pathgen.artwork.curves import Curves, Pen
from pathgen.artwork.document import local_name
from pathgen.artwork.pathdata import has_more_pieces, read_path, too_many
from pathgen.artwork.values import Length, parse_length, parse_numbers
from pathgen.artwork.viewport import Viewport
from pathgen.base.errors import ArtworkError
from pathgen.base.limits import LARGEST_NUMBER
from pathgen.base.plain import figure


class Geometry:
    """The geometry of one element, in user units: its attributes, and before them what `style` has of them."""

    def __init__(
        self, element: Element, viewport: Viewport, font_size: float, where: str, style: Mapping[str, Any] | None = None
    ) -> None:
        self.element, self.viewport, self.font_size, self.where = element, viewport, font_size, where
        self.style = style or {}

    def length(self, name: str, axis: str, default: float = 0.0) -> float:
        """A length in user units; `axis` ("x", "y" or "both") is what percentages are a part of.

        Raises ArtworkError for what is not a length.
        """
        text = self.style.get(name) or self.element.get(name)
        if text is None or text.strip() in ("", "auto"):
            return default
        value = length_of(name, text, self.where).px(whole=self.viewport.whole(axis), font_size=self.font_size)
        if math.isnan(value):
            raise ArtworkError(self.where, f"{name} is {text}, of a page that has no size",
                               remedy="give the drawing a viewBox")
        if abs(value) > LARGEST_NUMBER:
            raise _too_large(self.where, f"{name} is {text}")
        return value


def length_of(name: str, text: str, where: str) -> Length:
    """The length that an attribute or style says. Raises ArtworkError for what is none."""
    try:
        return parse_length(text)
    except ValueError as error:
        raise ArtworkError(where, f"{name}: {error}", allowed="a number with or without a unit",
                           remedy="correct the attribute") from None


def _too_large(where: str, what: str) -> ArtworkError:
    return ArtworkError(where, what, allowed=f"up to {figure(LARGEST_NUMBER)}", remedy="correct the attribute")


def _rect(g: Geometry) -> Curves:
    pen = Pen()
    x, y = g.length("x", "x"), g.length("y", "y")
    w, h = g.length("width", "x"), g.length("height", "y")
    if w <= 0 or h <= 0:
        return pen.curves()
    rx, ry = _radii(g)
    rx, ry = min(max(rx, 0.0), w / 2), min(max(ry, 0.0), h / 2)
    if rx == 0 or ry == 0:
        pen.polyline([(x, y), (x + w, y), (x + w, y + h), (x, y + h)], closed=True)
        return pen.curves()
    pen.begin()
    ends = [
        (x + rx, y), (x + w - rx, y), (x + w, y + ry), (x + w, y + h - ry),
        (x + w - rx, y + h), (x + rx, y + h), (x, y + h - ry), (x, y + ry), (x + rx, y),
    ]
    points = [complex(*end) for end in ends]
    for side in range(0, 8, 2):
        p, q, r = points[side: side + 3]
        if p != q:
            pen.line(p, q)
        pen.arc(q, r, rx=rx, ry=ry, turn=0.0, large=False, sweep=True)
    pen.close(points[0], points[0])
    return pen.curves()


def _radii(g: Geometry) -> tuple[float, float]:
    """As written; one stands for the other (SVG 1.1, section 9.2)."""
    rx, ry = g.length("rx", "x", -1.0), g.length("ry", "y", -1.0)
    return (ry if rx < 0 else rx), (rx if ry < 0 else ry)


def _oval(x: float, y: float, rx: float, ry: float) -> Curves:
    pen = Pen()
    if rx <= 0 or ry <= 0:
        return pen.curves()
    pen.begin()
    right, left = complex(x + rx, y), complex(x - rx, y)
    pen.arc(right, left, rx=rx, ry=ry, turn=0.0, large=False, sweep=True)
    pen.arc(left, right, rx=rx, ry=ry, turn=0.0, large=False, sweep=True)
    pen.close(right, right)
    return pen.curves()


def _circle(g: Geometry) -> Curves:
    r = g.length("r", "both")
    return _oval(g.length("cx", "x"), g.length("cy", "y"), r, r)


def _ellipse(g: Geometry) -> Curves:
    return _oval(g.length("cx", "x"), g.length("cy", "y"), *_radii(g))


def _line(g: Geometry) -> Curves:
    pen = Pen()
    ends = [(g.length("x1", "x"), g.length("y1", "y")), (g.length("x2", "x"), g.length("y2", "y"))]
    pen.polyline(ends, closed=False)
    return pen.curves()


def _poly(g: Geometry) -> Curves:
    text = g.element.get("points", "")
    if has_more_pieces(text):
        raise too_many(g.where)
    try:
        numbers = parse_numbers(text)
    except ValueError as error:
        raise ArtworkError(f"{g.where}: points", str(error), remedy="correct the points or draw it again") from None
    if len(numbers) % 2:
        raise ArtworkError(f"{g.where}: points", f"{len(numbers)} numbers", allowed="pairs of x and y",
                           remedy="add the missing number")
    if (large := next((n for n in numbers if abs(n) > LARGEST_NUMBER), None)) is not None:
        raise _too_large(f"{g.where}: points", figure(large))
    pen = Pen()
    if len(numbers) >= 4:
        pen.polyline(np.reshape(numbers, (-1, 2)), closed=local_name(g.element) == "polygon")
    return pen.curves()


OUTLINES: dict[str, Callable[[Geometry], Curves]] = {
    "rect": _rect,
    "circle": _circle,
    "ellipse": _ellipse,
    "line": _line,
    "polyline": _poly,
    "polygon": _poly,
    "path": lambda g: read_path(g.element.get("d", ""), where=g.where),
}
"""How each shape element becomes an outline."""
