"""Coordinates: transforms, uses, windows and bounding boxes, and the outlines drawn in them."""

from __future__ import annotations

import math
from typing import Any
from xml.etree.ElementTree import Element

import numpy as np

from pathgen.artwork import transforms
from pathgen.artwork.curves import Curves, Pen
from pathgen.artwork.document import Document, href, local_name, svg_children
from pathgen.artwork.elements import NOT_SHOWN
from pathgen.artwork.flatten import bounds
from pathgen.artwork.painting import Painting, State
from pathgen.artwork.pathdata import too_many
from pathgen.artwork.properties import Style
from pathgen.artwork.scene import Clip, Paint
from pathgen.artwork.shapes import OUTLINES, Geometry
from pathgen.artwork.transforms import IDENTITY, Matrix, multiply, translation
from pathgen.artwork.values import parse_length
from pathgen.artwork.viewport import ViewBox, Viewport, fit, is_aspect, parse_view_box
from pathgen.base.errors import ArtworkError
from pathgen.base.limits import LARGEST_NUMBER, MOST_CHAINED, MOST_ELEMENTS, MOST_PIECES
from pathgen.base.plain import figure


class Spaces(Painting):
    """The coordinates of one document, with a count of what is met in it."""

    def __init__(self, document: Document) -> None:
        super().__init__(document)
        self._room = MOST_PIECES
        self._visits = MOST_ELEMENTS
        self._outlines: dict[tuple[Element, Viewport, float], Curves] = {}

    def _count_visit(self, element: Element, cost: int = 1) -> None:
        self._visits -= cost
        if self._visits < 0:
            raise ArtworkError(self.document.where(element), "too many elements, counting each use of them",
                               allowed=f"{MOST_ELEMENTS}", remedy="simplify the drawing")

    def _outline(self, element: Element, state: State) -> Curves:
        key = (element, state.viewport, state.style["font-size"])
        if key not in self._outlines:
            g = Geometry(element, *key[1:], self.document.where(element), state.style)
            self._outlines[key] = OUTLINES[local_name(element)](g)
        curves = self._outlines[key]
        self._room -= len(curves)
        if self._room < 0:
            raise too_many(self.document.where(element))
        return curves

    def _transform(self, element: Element, style: Style, around: State) -> Matrix:
        text = style["transform"]
        if not text:
            return IDENTITY
        where = self.document.where(element)
        try:
            matrix = transforms.parse_transform(text, units=text != element.get("transform"))
        except ValueError as error:
            raise ArtworkError(f"{where}: transform", str(error), remedy="correct the transform") from None
        origin = style["transform-origin"]
        if not origin or matrix == IDENTITY:
            return matrix
        x, y = self._origin(origin, element, style, around, where)
        return transforms.about(matrix, x, y)

    def _origin(self, text: str, element: Element, style: Style, around: State, where: str) -> tuple[float, float]:
        """The point of transform-origin (CSS Transforms 1, section 6), in the coordinates around the element."""
        low, size = (0.0, 0.0), (around.viewport.width, around.viewport.height)
        if style["transform-box"] in ("fill-box", "stroke-box", "border-box", "content-box"):
            box = self._bounds_of(element, around._replace(matrix=IDENTITY, style=style))
            if box is None:
                return 0.0, 0.0
            low, size = (box[0], box[1]), (box[2], box[3])
        words = {"left": "0%", "right": "100%", "top": "0%", "bottom": "100%", "center": "50%"}
        parts = text.lower().split()
        if (parts and parts[0] in ("top", "bottom")) or (len(parts) > 1 and parts[1] in ("left", "right")):
            parts[:2] = [parts[1] if len(parts) > 1 else "center", parts[0]]
        parts = [*parts, "center"][:2]
        try:
            lengths = [parse_length(words.get(part, part)) for part in parts]
        except ValueError as error:
            raise ArtworkError(f"{where}: transform-origin", str(error), remedy="correct it") from None
        x, y = (
            start + length.px(whole=whole, font_size=style["font-size"])
            for start, length, whole in zip(low, lengths, size, strict=True)
        )
        return x, y

    def _use(self, element: Element, state: State) -> list[tuple[Element, State]]:
        """What a use copies, with the state in it; nothing where it copies nothing that can be, which is listed."""
        where = self.document.where(element)
        reference = href(element)
        if not reference:
            return []
        if not reference.startswith("#"):
            self._leave_out(element, "use", f"it refers to another file ({reference[:40]})", "copy the part in")
            return []
        target = self.document.by_id.get(reference[1:])
        if target is None:
            self.no_targets.setdefault((where, f'a copy of "{reference[:40]}"'))
            return []
        if not self.cascade.is_alike_alone(target):
            self._leave_out(element, "use", f"rules of the style sheet count on where {reference[:40]!r} lies, and "
                            "renderers disagree whether they count in a copy of it",
                            "name it in the rules by its own class or id, or write its style there")
            return []
        if reference in state.chain or (target is not element and target in self.document.around(element)):
            raise ArtworkError(where, f"a loop: it uses {reference!r}, which leads back to itself",
                               remedy="take this use out")
        if len(state.chain) > MOST_CHAINED:
            raise ArtworkError(where, "uses within uses too deep", allowed=f"{MOST_CHAINED}", remedy="ungroup them")
        sized = local_name(target) in ("svg", "symbol")
        size = (element.get("width") or "", element.get("height") or "") if sized else (None, None)
        return [(target, state._replace(chain=(*state.chain, reference), size=size, context=state))]

    def _use_moved(self, element: Element, state: State) -> State:
        """The x and y of a use are one more transform, of its clip as well (SVG 1.1, section 5.6)."""
        g = Geometry(element, state.viewport, state.style["font-size"], self.document.where(element))
        return state._replace(matrix=multiply(state.matrix, translation(g.length("x", "x"), g.length("y", "y"))))

    def _window(self, element: Element, state: State) -> list[tuple[Element, State]]:
        """A nested svg or a symbol: its own window onto its own coordinates."""
        where = self.document.where(element)
        g = Geometry(element, state.viewport, state.style["font-size"], where, state.style)
        symbol = local_name(element) == "symbol"
        width, height = (
            self._window_length(g, name, axis, given)
            for name, axis, given in (("width", "x", state.size[0]), ("height", "y", state.size[1]))
        )
        x, y = (0.0, 0.0) if symbol else (g.length("x", "x"), g.length("y", "y"))
        if math.isnan(width) or math.isnan(height):
            raise ArtworkError(g.where, "fills a page that has no size", remedy="give the drawing a viewBox")
        box = self._view_box(element)
        if width <= 0 or height <= 0:
            raise ArtworkError(where, f"a window of {width:g} x {height:g}", allowed="above 0",
                               remedy="give its width and height a size, or take it out")
        matrix, clip = multiply(state.matrix, translation(x, y)), state.clip
        if state.style["overflow"] not in ("visible", "auto"):
            clip = rectangle_clip(width, height, matrix, clip)
        viewport = Viewport(width, height)
        if box is not None:
            matrix = multiply(matrix, self._fit(element, box, width, height))
            viewport = Viewport(box.width, box.height)
        inside = state._replace(matrix=matrix, clip=clip, viewport=viewport, size=(None, None))
        return [(child, inside) for child in svg_children(element)]

    def _window_length(self, g: Geometry, name: str, axis: str, given: str | None) -> float:
        """Width or height of a window: the use's if it gives one, else its own, else the whole.

        A symbol's own counts as that of a nested svg (P: SVG 2, sections 5.5 and 5.6; SVG 1.1 took the whole).
        """
        whole = g.viewport.whole(axis)
        if given and given.strip() != "auto":
            return Geometry(Element("use", {name: given}), g.viewport, g.font_size, g.where).length(name, axis, whole)
        return g.length(name, axis, whole)

    def _fit(self, element: Element, box: ViewBox, width: float, height: float) -> Matrix:
        """The map from what a window shows into it; what does not say how, where that makes a difference, is noted."""
        aspect = element.get("preserveAspectRatio", "")
        if not is_aspect(aspect) and not math.isclose(width * box.height, height * box.width, rel_tol=1e-6):
            self.not_read.setdefault((self.document.where(element), f"preserveAspectRatio = {aspect!r}"))
        return fit(box, width, height, aspect)

    def _view_box(self, element: Element) -> ViewBox | None:
        try:
            box = parse_view_box(element.get("viewBox"))
        except ValueError as error:
            raise ArtworkError(self.document.where(element), str(error), remedy="correct the viewBox") from None
        if box is not None and not (0 < box.width <= LARGEST_NUMBER and 0 < box.height <= LARGEST_NUMBER):
            raise ArtworkError(self.document.where(element), f"a viewBox of {figure(box.width)} x {figure(box.height)}",
                               allowed=f"above 0, up to {figure(LARGEST_NUMBER)}", remedy="give the viewBox a size")
        return box

    def _bounds_of(self, element: Element, state: State) -> tuple[float, float, float, float] | None:
        """x, y, width and height of an element's shapes without their strokes; None when there are none."""
        boxes = self._boxes(element, state)
        if not boxes:
            return None
        low, high = np.min([b[0] for b in boxes], axis=0), np.max([b[1] for b in boxes], axis=0)
        return float(low[0]), float(low[1]), float(high[0] - low[0]), float(high[1] - low[1])

    def _boxes(self, element: Element, state: State) -> list[tuple[Any, Any]]:
        """The lowest and highest corners of the outlines within an element, painted or not."""
        found: list[tuple[Any, Any]] = []
        # the x and y of a use have moved its own space already
        todo = self._use(element, state) if local_name(element) == "use" else self._inside(element, state, found)
        while todo:
            child, around = todo.pop()
            self._count_visit(child)
            style = self.cascade.style(child, around.style)
            if style["display"] == "none" or local_name(child) in NOT_SHOWN:
                continue
            matrix = multiply(around.matrix, self._transform(child, style, around))
            todo += self._inside(child, around._replace(matrix=matrix, style=style), found)
        return found

    def _inside(self, element: Element, state: State, found: list[tuple[Any, Any]]) -> list[tuple[Element, State]]:
        name = local_name(element)
        if name in OUTLINES:
            curves = self._outline(element, state)
            self._count_visit(element, 8)
            if len(curves):
                found.append(bounds(curves, state.matrix))
            return []
        if name == "use":
            return self._use(element, self._use_moved(element, state))
        if name in ("svg", "symbol"):
            return self._window(element, state)
        return [(child, state) for child in svg_children(element)]


def rectangle_clip(width: float, height: float, matrix: Matrix, outer: Clip | None) -> Clip:
    """All of a window from its origin on, mapped by `matrix`, within an outer clip."""
    pen = Pen()
    pen.polyline([(0.0, 0.0), (width, 0.0), (width, height), (0.0, height)], closed=True)
    return Clip((Paint(pen.curves(), matrix, "#000000"),), None, outer)
