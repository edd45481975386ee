"""Walking the tree of a drawing: groups, uses, nested windows, styles and clips become a flat list of paints."""

from __future__ import annotations

import dataclasses
import math
import re
from typing import Any, NamedTuple
from xml.etree.ElementTree import Element

import numpy as np

from pathgen.artwork import transforms
from pathgen.artwork.curves import Curves, Pen
from pathgen.artwork.document import Document, href, is_svg, local_name
from pathgen.artwork.flatten import bounds
from pathgen.artwork.pathdata import MAX_PIECES, too_many
from pathgen.artwork.scene import Clip, LeftOut, Paint, Scene, Stroke
from pathgen.artwork.shapes import OUTLINES, Geometry
from pathgen.artwork.style import INITIAL, Cascade, Reference, Style, shown_colour
from pathgen.artwork.transforms import IDENTITY, Matrix, is_singular, multiply, translation
from pathgen.artwork.values import MM_PER_PX, Length, parse_length
from pathgen.artwork.viewport import ViewBox, Viewport, fit, parse_view_box
from pathgen.errors import ArtworkError

_FEATURE = re.compile(r"http://www\.w3\.org/(TR/SVG11/feature#|Graphics/SVG/feature/)|org\.w3c\.")
MAX_VISITS = 40_000
"""Elements met on the walk; one met again through another use counts again, so that uses of uses cannot explode."""

MAX_CHAIN = 64

_REMEDIES = {
    "text": "convert text to paths",
    "image": "trace the picture to paths",
    "foreignObject": "draw it as paths",
    "linearGradient": "give it one plain colour",
    "radialGradient": "give it one plain colour",
    "pattern": "draw the pattern as shapes of plain colours",
    "mask": "cut the shape itself, or use a clip path",
    "filter": "take the filter off, or draw its effect as shapes",
    "marker": "convert markers to paths",
}
_TEXT = {"text", "flowRoot", "flowDiv"}
_UNCUTTABLE = {"text", "image", "foreignObject", "flowRoot", "mesh", "video", "audio", "canvas", "iframe"}
_NOT_SHOWN = {
    "title", "desc", "metadata", "defs", "symbol", "clipPath", "mask", "marker", "linearGradient", "radialGradient",
    "meshgradient", "hatch", "pattern", "filter", "style", "script", "view", "cursor", "font", "font-face",
    "color-profile", "solidColor", "solidcolor", "stop", "animate", "animateTransform", "animateMotion",
    "animateColor", "set", "mpath", "discard", "glyph", "missing-glyph", "hkern", "vkern", "namedview", "tspan",
    "textPath", "tref", "altGlyph", "altGlyphDef", "handler", "listener", "prefetch",
}


class _State(NamedTuple):
    """What an element takes over from those around it."""

    matrix: Matrix
    style: Style
    viewport: Viewport
    clip: Clip | None = None
    chain: tuple[str, ...] = ()
    size: tuple[str | None, str | None] = (None, None)
    context: _State | None = None


class Walker:
    """Collects the paints of one document."""

    def __init__(self, document: Document) -> None:
        self.document = document
        self.cascade = Cascade(document)
        self.paints: list[Paint] = []
        self.left_out: list[LeftOut] = []
        self._room = MAX_PIECES
        self._visits = MAX_VISITS
        self._outlines: dict[tuple[Element, Viewport, float], Curves] = {}

    def scene(self) -> Scene:
        """The whole drawing as a Scene.

        Raises ArtworkError for whatever is wrong in the file; what cannot be cut is listed in `left_out`.
        """
        root = self.document.root
        for element, what in self.cascade.trouble:
            self._leave_out(element, f"style sheet {what}", "its conditions or files are not read",
                            "put the rules into the style sheet itself")
        for line in self.document.outside:
            self.left_out.append(LeftOut(
                "xml-stylesheet", f"line {line}", "style sheets in other files are not read",
                "put the style sheet into the drawing",
            ))
        page, physical, state = self._page(root)
        style = state.style
        if style["display"] != "none" and style["opacity"] > 0 and not is_singular(state.matrix):
            inside = self._effects(root, state)
            if inside is not None:
                self._walk(root, inside)
        if page is None:
            return self._sized_by_content(state.matrix, physical)
        return Scene(tuple(self.paints), page, physical, tuple(self.left_out))

    def _page(self, root: Element) -> tuple[tuple[float, float] | None, bool, _State]:
        """Page size in mm (None when nothing gives one), whether it is physical, and the state inside the page."""
        where = self.document.where(root)
        box = self._view_box(root)
        style = self.cascade.style(root, dict(INITIAL))
        width, height = (self._page_length(root, name, style) for name in ("width", "height"))
        physical = width is not None or height is not None
        if box is not None and (width is None) != (height is None):
            self._check_share(root, "width" if width is None else "height", style)
        if box is not None:
            if width is None and height is None:
                width, height = box.width, box.height
            elif width is None:
                width = height * box.width / box.height  # type: ignore[operator]
            elif height is None:
                height = width * box.height / box.width
        if width is None or height is None:
            nan = math.nan
            mm = transforms.scaling(MM_PER_PX, -MM_PER_PX)
            return None, False, _State(mm, style, Viewport(width or nan, height or nan))
        if not (0 < width <= 1e6 and 0 < height <= 1e6):
            raise ArtworkError(
                where, f"a page of {width:g} x {height:g} px", allowed="above 0, up to 1e6 px",
                remedy="give width, height or viewBox of the drawing a size",
            )
        page = (width * MM_PER_PX, height * MM_PER_PX)
        up = multiply(translation(0.0, page[1]), transforms.scaling(MM_PER_PX, -MM_PER_PX))
        clip = _rectangle_clip(0.0, 0.0, width, height, up, None)
        viewport = Viewport(width, height)
        inside = multiply(up, self._transform(root, style, _State(up, style, viewport)))
        if box is not None:
            inside = multiply(inside, fit(box, width, height, root.get("preserveAspectRatio")))
            viewport = Viewport(box.width, box.height)
        return page, physical, _State(inside, style, viewport, clip)

    def _page_length(self, root: Element, name: str, style: Style) -> float | None:
        """Width or height of the page in px; None when left out or relative."""
        text = style[name] or root.get(name)
        if text is None or text.strip() in ("", "auto"):
            return None
        try:
            length = parse_length(text)
        except ValueError as error:
            raise ArtworkError(
                self.document.where(root), f"{name}: {error}", allowed="a number with or without a unit",
                remedy="correct the attribute",
            ) from None
        if length.unit == "%":
            return None
        return length.px(whole=math.nan, font_size=style["font-size"])

    def _check_share(self, root: Element, name: str, style: Style) -> None:
        """One side in per cent of a window that nobody knows, beside one in real units, gives no page."""
        text = (style[name] or root.get(name, "")).strip()
        if text.endswith("%") and text != "100%":
            raise ArtworkError(self.document.where(root), f"{name} is {text}, of a page that has no size",
                               remedy="give both width and height a size, or only one of them")

    def _view_box(self, element: Element) -> ViewBox | None:
        try:
            box = parse_view_box(element.get("viewBox"))
        except ValueError as error:
            raise ArtworkError(
                self.document.where(element), str(error), remedy="correct the viewBox"
            ) from None
        if box is not None and not (0 < box.width <= 1e9 and 0 < box.height <= 1e9):
            raise ArtworkError(
                self.document.where(element), f"a viewBox of {box.width:g} x {box.height:g}", allowed="above 0",
                remedy="give the viewBox a size",
            )
        return box

    def _sized_by_content(self, matrix: Matrix, physical: bool) -> Scene:
        """A drawing without any page: its page reaches from the origin over all that it paints."""
        low = high = np.zeros(2)
        for paint in self.paints:
            box, grow = bounds(paint.curves, paint.matrix), _half_width(paint)
            low, high = np.minimum(low, box[0] - grow), np.maximum(high, box[1] + grow)
        move = translation(-low[0], -low[1])
        paints = tuple(_moved(paint, move) for paint in self.paints)
        return Scene(paints, (float(high[0] - low[0]), float(high[1] - low[1])), False, tuple(self.left_out))

    # --- the walk

    def _walk(self, root: Element, state: _State) -> None:
        """Visit the drawing in document order, with a list in place of recursion so that no depth can overflow."""
        todo: list[tuple[Element, _State]] = []
        todo.extend((child, state) for child in reversed(self._children(root, state)))
        while todo:
            element, around = todo.pop()
            inside = self._enter(element, around)
            if inside is not None:
                todo.extend((child, s) for child, s in reversed(inside))

    def _count_visit(self, element: Element, cost: int = 1) -> None:
        self._visits -= cost
        if self._visits < 0:
            raise ArtworkError(
                self.document.where(element), "too many elements, counting each use of them",
                allowed=f"{MAX_VISITS}", remedy="simplify the drawing",
            )

    def _children(self, element: Element, state: _State) -> list[Element]:
        return [child for child in element if is_svg(child)]

    def _enter(self, element: Element, around: _State) -> list[tuple[Element, _State]] | None:
        """Paint a shape, or return the children of a group with the state inside it."""
        self._count_visit(element)
        name = local_name(element)
        if name in _NOT_SHOWN and not (name == "symbol" and around.size != (None, None)):
            return None
        style = self.cascade.style(element, around.style)
        if (style["display"] == "none" and name != "symbol") or style["opacity"] <= 0 or not _is_for_us(element):
            return None
        matrix = multiply(around.matrix, self._transform(element, style, around))
        if is_singular(matrix):
            return None
        state = around._replace(matrix=matrix, style=style)
        if name == "symbol" and state.matrix != around.matrix:
            self._leave_out(element, "transform", "it is on a symbol, where renderers disagree about it",
                            "put the transform on the use or on a group in the symbol")
            return None
        if name == "use":
            state = self._use_moved(element, state)
        if name in OUTLINES:
            self._shape(element, state)
            return None
        if name in _UNCUTTABLE:
            self._uncuttable(element, name, style)
            return None
        if name not in ("g", "a", "switch", "use", "svg", "symbol"):
            self._leave_out(element, name, "it is not an element of the standard that can be cut", "draw it as paths")
            return None
        inside = self._effects(element, state)
        if inside is None:
            return None
        if name == "use":
            return self._use(element, inside)
        if name in ("svg", "symbol"):
            return self._window(element, inside)
        children = self._children(element, state)
        if name == "switch":
            children = next(([child] for child in children if _is_wanted(child)), [])
        return [(child, inside) for child in children]

    def _transform(self, element: Element, style: Style, around: _State) -> Matrix:
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
        return multiply(translation(x, y), multiply(matrix, translation(-x, -y)))

    def _origin(self, text: str, element: Element, style: Style, around: _State, where: str) -> tuple[float, float]:
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

    def _effects(self, element: Element, state: _State) -> _State | None:
        """The state with clip-path applied; None when a mask, filter or clip leaves nothing that can be cut."""
        style = state.style
        for name in ("mask", "filter"):
            value = style[name]
            if value is None or (name == "mask" and self._is_missing(value)):
                continue
            self._leave_out(element, name, f"it is drawn through a {name}", _REMEDIES[name])
            return None
        value = style["clip-path"]
        if value is None or self._is_missing(value):
            return state
        if not isinstance(value, Reference):
            self._leave_out(element, f"clip-path {value}", "only clipPath elements are read", "use a clipPath element")
            return None
        target = self.document.by_id[value.id]
        if local_name(target) != "clipPath":
            self._leave_out(element, "clip-path", f"it refers to {local_name(target)} {value.id!r}", "use a clipPath")
            return None
        clip = self._clip(target, element, state, state.clip, ())
        return state._replace(clip=clip)

    def _is_missing(self, value: Any) -> bool:
        return isinstance(value, Reference) and value.id not in self.document.by_id

    def _use(self, element: Element, state: _State) -> list[tuple[Element, _State]] | None:
        where = self.document.where(element)
        reference = href(element)
        if not reference:
            return None
        if not reference.startswith("#"):
            self._leave_out(element, "use", f"it refers to another file ({reference[:40]})", "copy the part in")
            return None
        target = self.document.by_id.get(reference[1:])
        if target is None:
            return None
        if reference in state.chain or self._contains(target, element):
            raise ArtworkError(
                where, f"a loop: it uses {reference!r}, which leads back to itself", remedy="take this use out"
            )
        if len(state.chain) > MAX_CHAIN:
            raise ArtworkError(where, "uses within uses too deep", allowed=f"{MAX_CHAIN}", remedy="ungroup them")
        sized = local_name(target) in ("svg", "symbol")
        size = (element.get("width") or "", element.get("height") or "") if sized else (None, None)
        return [(target, state._replace(chain=(*state.chain, reference), size=size, context=state))]

    def _use_moved(self, element: Element, state: _State) -> _State:
        """The x and y of a use are one more transform, of its clip as well (SVG 1.1, section 5.6)."""
        g = Geometry(element, state.viewport, state.style["font-size"], self.document.where(element))
        return state._replace(matrix=multiply(state.matrix, translation(g.length("x", "x"), g.length("y", "y"))))

    def _contains(self, outer: Element, element: Element) -> bool:
        parents = self.document.parents
        while element in parents:
            element = parents[element]
            if element is outer:
                return True
        return False

    def _window(self, element: Element, state: _State) -> list[tuple[Element, _State]] | None:
        """A nested svg or a symbol: its own window onto its own coordinates."""
        where = self.document.where(element)
        g = Geometry(element, state.viewport, state.style["font-size"], where, state.style)
        symbol = local_name(element) == "symbol"
        width, height = (
            self._window_length(element, g, name, axis, given)
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
            clip = _rectangle_clip(0.0, 0.0, width, height, matrix, clip)
        viewport = Viewport(width, height)
        if box is not None:
            matrix = multiply(matrix, fit(box, width, height, element.get("preserveAspectRatio")))
            viewport = Viewport(box.width, box.height)
        inside = state._replace(matrix=matrix, clip=clip, viewport=viewport, size=(None, None))
        return [(child, inside) for child in self._children(element, state)]

    def _window_length(self, element: Element, g: Geometry, name: str, axis: str, given: str | None) -> float:
        """Width or height of a window: the use's if it gives one, else that of a nested svg, else the whole."""
        whole = g.viewport.whole(axis)
        if given and given.strip() != "auto":
            return Geometry(Element("use", {name: given}), g.viewport, g.font_size, g.where).length(name, axis, whole)
        return whole if local_name(element) == "symbol" else g.length(name, axis, whole)

    # --- shapes

    def _outline(self, element: Element, state: _State) -> Curves:
        key = (element, state.viewport, state.style["font-size"])
        if key not in self._outlines:
            g = Geometry(element, *key[1:], self.document.where(element), state.style)
            self._outlines[key] = OUTLINES[local_name(element)](g)
        curves = self._outlines[key]
        self._room -= len(curves)
        if self._room < 0:
            raise too_many(self.document.where(element), MAX_PIECES)
        return curves

    def _shape(self, element: Element, state: _State) -> None:
        style = state.style
        if style["visibility"] != "visible":
            return
        curves = self._outline(element, state)
        if not len(curves):
            return
        self._markers(element, style)
        fill = self._colour(element, state, "fill")
        stroke = self._colour(element, state, "stroke")
        line = self._stroke(style, state.viewport) if stroke else None
        if fill is None and line is None:
            return
        inside = self._effects(element, state)
        if inside is None:
            return
        where = self.document.where(element)
        paints = []
        if fill and local_name(element) != "line":
            paints.append(Paint(curves, inside.matrix, fill, style["fill-rule"], None, inside.clip, where))
        if stroke and line:
            if style["vector-effect"] == "non-scaling-stroke":
                self._leave_out(element, "vector-effect", "its stroke has a width on the screen, not on the board",
                                "convert the stroke to a path")
            else:
                paints.append(Paint(curves, inside.matrix, stroke, "nonzero", line, inside.clip, where))
        self.paints += reversed(paints) if style["paint-order"] else paints

    def _colour(self, element: Element, state: _State, name: str) -> str | None:
        """The plain colour of "fill" or "stroke", None for none; what is no plain colour is left out and listed."""
        style = state.style
        if style[f"{name}-opacity"] <= 0:
            return None
        paint, around = style[name], state
        while paint in ("context-fill", "context-stroke"):
            if around.context is None:
                return None
            around = around.context
            paint = around.style[paint[8:]]
        if isinstance(paint, Reference):
            target = self.document.by_id.get(paint.id)
            kind = local_name(target) if target is not None else ""
            if kind in ("linearGradient", "radialGradient"):
                colours = self._stop_colours(target)
                if len(colours) > 1:
                    self._leave_out(element, kind, f"its {name} is {kind} {paint.id!r}", _REMEDIES[kind])
                return next(iter(colours)) if len(colours) == 1 else None
            if kind in ("pattern", "meshgradient", "hatch"):
                self._leave_out(element, kind, f"its {name} is {kind} {paint.id!r}",
                                _REMEDIES.get(kind, "give it one plain colour"))
                return None
            paint = paint.fallback
        colour = shown_colour(paint, around.style)
        return colour.hex if colour else None

    def _stop_colours(self, gradient: Element | None) -> set[str | None]:
        """The colours of a gradient's stops, its own or those it refers to; one is a plain colour, none is none."""
        seen: list[Element] = []
        while gradient is not None and gradient not in seen:
            stops = [child for child in gradient if is_svg(child) and local_name(child) == "stop"]
            if stops:
                return {self.cascade.stop_colour(stop) for stop in stops}
            seen.append(gradient)
            gradient = self.document.by_id.get(href(gradient)[1:])
        return set()

    def _stroke(self, style: Style, viewport: Viewport) -> Stroke | None:
        whole, size = viewport.whole("both"), style["font-size"]

        def px(length: Length) -> float:
            return length.px(whole=whole, font_size=size)

        width = px(style["stroke-width"])
        if math.isnan(width):
            raise ArtworkError("stroke-width", "a part of a page that has no size", remedy="give the drawing a viewBox")
        if not width > 0:
            return None
        dashes = tuple(px(length) for length in style["stroke-dasharray"])
        if len(dashes) % 2:
            dashes += dashes
        if not sum(dashes) > 0:
            dashes = ()
        join = style["stroke-linejoin"]
        return Stroke(width, style["stroke-linecap"], "miter" if join == "arcs" else join,
                      style["stroke-miterlimit"], dashes, px(style["stroke-dashoffset"]))

    def _markers(self, element: Element, style: Style) -> None:
        if local_name(element) not in ("path", "line", "polyline", "polygon"):
            return
        for name in ("marker-start", "marker-mid", "marker-end"):
            value = style[name]
            if isinstance(value, Reference):
                target = self.document.by_id.get(value.id)
                if target is not None and local_name(target) == "marker" and len(target):
                    self._leave_out(element, "marker", f"its {name} is {value.id!r}", _REMEDIES["marker"])

    # --- what cannot be cut

    def _uncuttable(self, element: Element, name: str, style: Style) -> None:
        if name == "image" and not href(element):
            return
        if name in _TEXT and not "".join(element.itertext()).strip():
            return
        if style["visibility"] != "visible" and not len(element):
            return
        reason = {"text": "letters depend on fonts", "image": "a picture has no outlines"}.get(
            name, "it has no outlines to cut"
        )
        self._leave_out(element, name, reason, _REMEDIES.get(name, "draw it as paths"))

    def _leave_out(self, element: Element, name: str, reason: str, remedy: str) -> None:
        identity = element.get("id") or f"line {self.document.lines.get(element, 0)}"
        item = LeftOut(name, identity, reason, remedy)
        if item not in self.left_out:
            self.left_out.append(item)

    # --- clips

    def _clip(
        self, clip_path: Element, element: Element, state: _State, outer: Clip | None, chain: tuple[Element, ...]
    ) -> Clip | None:
        """The area of a clipPath, applied to an element."""
        if local_name(clip_path) != "clipPath":
            return outer
        self._count_visit(clip_path)
        if len(chain) > MAX_CHAIN:
            raise ArtworkError(
                self.document.where(clip_path), "clip paths within clip paths too deep", allowed=f"{MAX_CHAIN}",
                remedy="cut the shape itself",
            )
        if clip_path in chain:
            raise ArtworkError(
                self.document.where(clip_path), "a loop of clip paths",
                remedy="take one of its clip-path attributes out",
            )
        style = self.cascade.style_in_place(clip_path)
        matrix = multiply(state.matrix, self._transform(clip_path, style, state))
        viewport = state.viewport
        if clip_path.get("clipPathUnits") == "objectBoundingBox":
            box = self._bounds_of(element, state._replace(matrix=IDENTITY))
            if box is None or box[2] == 0 or box[3] == 0:
                return Clip((), None, outer)
            matrix = multiply(matrix, (box[2], 0.0, 0.0, box[3], box[0], box[1]))
            viewport = Viewport(1.0, 1.0)
        inner = self._next_clip(style, element, state, None, (*chain, clip_path))
        if is_singular(matrix):
            return Clip((), inner, outer)
        inside = state._replace(matrix=matrix, style=style, viewport=viewport, clip=None)
        shapes: list[Paint] = []
        for child in self._children(clip_path, state):
            shapes += self._clip_shapes(child, inside, (*chain, clip_path))
        return Clip(tuple(shapes), inner, outer)

    def _next_clip(
        self, style: Style, element: Element, state: _State, outer: Clip | None, chain: tuple[Element, ...]
    ) -> Clip | None:
        value = style["clip-path"]
        if not isinstance(value, Reference) or self._is_missing(value):
            return outer
        return self._clip(self.document.by_id[value.id], element, state, outer, chain)

    def _clip_shapes(self, child: Element, around: _State, chain: tuple[Element, ...]) -> list[Paint]:
        """A shape in a clipPath, or a use of one (SVG 1.1, section 14.3.5: nothing else counts)."""
        self._count_visit(child, 3)
        name = local_name(child)
        if name not in OUTLINES and name not in ("use", "text"):
            return []
        style = self.cascade.style(child, around.style)
        if style["display"] == "none":
            return []
        matrix = multiply(around.matrix, self._transform(child, style, around))
        if is_singular(matrix):
            return []
        state = around._replace(matrix=matrix, style=style)
        if name == "text":
            self._uncuttable(child, name, style)
            return []
        own = self._next_clip(style, child, state, around.clip, chain)
        state = state._replace(clip=own)
        if name == "use":
            target = self.document.by_id.get(href(child)[1:])
            if target is None or local_name(target) not in OUTLINES:
                return []
            g = Geometry(child, state.viewport, style["font-size"], self.document.where(child))
            moved = multiply(matrix, translation(g.length("x", "x"), g.length("y", "y")))
            return self._clip_shapes(target, state._replace(matrix=moved), chain)
        if style["visibility"] != "visible":
            return []
        curves = self._outline(child, state)
        if not len(curves):
            return []
        return [Paint(curves, matrix, "#000000", style["clip-rule"], None, own, self.document.where(child))]

    # --- bounding boxes

    def _bounds_of(self, element: Element, state: _State) -> tuple[float, float, float, float] | None:
        """x, y, width and height of an element's shapes without their strokes; None when there are none."""
        walker = _Outliner(self, element)
        boxes = walker.boxes(element, state)
        if not boxes:
            return None
        low, high = np.min([b[0] for b in boxes], axis=0), np.max([b[1] for b in boxes], axis=0)
        return float(low[0]), float(low[1]), float(high[0] - low[0]), float(high[1] - low[1])


class _Outliner:
    """Finds the outlines within an element, painted or not."""

    def __init__(self, walker: Walker, element: Element) -> None:
        self.walker = walker

    def boxes(self, element: Element, state: _State) -> list[tuple[Any, Any]]:
        found: list[tuple[Any, Any]] = []
        # the x and y of a use have moved its own space already
        todo = (self.walker._use(element, state) or []) if local_name(element) == "use" else (
            self._inside(element, state, found)
        )
        while todo:
            child, around = todo.pop()
            self.walker._count_visit(child)
            style = self.walker.cascade.style(child, around.style)
            if style["display"] == "none" or local_name(child) in _NOT_SHOWN:
                continue
            matrix = multiply(around.matrix, self.walker._transform(child, style, around))
            todo += self._inside(child, around._replace(matrix=matrix, style=style), found)
        return found

    def _inside(self, element: Element, state: _State, found: list[tuple[Any, Any]]) -> list[tuple[Element, _State]]:
        name = local_name(element)
        if name in OUTLINES:
            curves = self.walker._outline(element, state)
            self.walker._count_visit(element, 8)
            if len(curves):
                found.append(bounds(curves, state.matrix))
            return []
        if name == "use":
            return self.walker._use(element, self.walker._use_moved(element, state)) or []
        if name in ("svg", "symbol"):
            return self.walker._window(element, state) or []
        return [(child, state) for child in self.walker._children(element, state)]


def _is_wanted(element: Element) -> bool:
    """Whether a child of switch passes its tests: no extensions, and a language that is ours or none."""
    if local_name(element) not in OUTLINES and local_name(element) not in (
        "g", "a", "switch", "use", "svg", "text", "image", "foreignObject"
    ):
        return False
    return _is_for_us(element)


def _is_for_us(element: Element) -> bool:
    """The conditions of an element (SVG 1.1, section 5.8): no extensions, features of the standard, English."""
    get = element.attrib.get
    if "requiredExtensions" in element.attrib:
        return False
    features = get("requiredFeatures")
    if features is not None and not all(_FEATURE.match(word) for word in features.split() or [""]):
        return False
    languages = get("systemLanguage")
    return languages is None or any(tag.strip().lower().split("-")[0] == "en" for tag in languages.split(","))


def _rectangle_clip(x: float, y: float, width: float, height: float, matrix: Matrix, outer: Clip | None) -> Clip:
    pen = Pen()
    pen.polyline([(x, y), (x + width, y), (x + width, y + height), (x, y + height)], closed=True)
    return Clip((Paint(pen.curves(), matrix, "#000000"),), None, outer)


def _half_width(paint: Paint) -> float:
    return paint.stroke.width / 2 * transforms.largest_scale(paint.matrix) if paint.stroke else 0.0


def _moved(paint: Paint, move: Matrix) -> Paint:
    clip = _moved_clip(paint.clip, move)
    return dataclasses.replace(paint, matrix=multiply(move, paint.matrix), clip=clip)


def _moved_clip(clip: Clip | None, move: Matrix) -> Clip | None:
    if clip is None:
        return None
    shapes = tuple(_moved(shape, move) for shape in clip.shapes)
    return Clip(shapes, _moved_clip(clip.inner, move), _moved_clip(clip.outer, move))
