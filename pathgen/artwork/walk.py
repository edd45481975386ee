"""Walking the tree of a drawing: groups, uses, nested windows, styles and clips become a flat list of paints."""

from __future__ import annotations

import dataclasses
import math
import re
from collections.abc import Sequence
from xml.etree.ElementTree import Element

import numpy as np

from pathgen.artwork import transforms
from pathgen.artwork.clips import Clips
from pathgen.artwork.document import SVG, Document, href, local_name, names_of, svg_children
from pathgen.artwork.elements import NOT_SHOWN, UNCUTTABLE, is_for_us, is_wanted
from pathgen.artwork.paint import box_round
from pathgen.artwork.painting import State
from pathgen.artwork.properties import GEOMETRY_OF, INITIAL, STROKE, Style
from pathgen.artwork.scene import Clip, LeftOut, Paint, Scene
from pathgen.artwork.shapes import OUTLINES, length_of
from pathgen.artwork.spaces import rectangle_clip
from pathgen.artwork.transforms import Matrix, is_singular, multiply, translation
from pathgen.artwork.values import MM_PER_PX
from pathgen.artwork.viewport import Viewport
from pathgen.base.errors import ArtworkError, Mistakes
from pathgen.base.plain import figure

_NAMED = 20
"""Layers that are named where one is not there."""


class Walker(Clips):
    """Collects the paints of one document; with `layers` only of what lies in groups of these names."""

    def __init__(self, document: Document, layers: Sequence[str] = ()) -> None:
        super().__init__(document)
        self.paints: list[Paint] = []
        self.layers = frozenset(layers)
        self.leads_there: set[Element] = set()
        more = [one for one in document.lines if self.layers & set(names_of(one))] if layers else []
        while more:
            self.leads_there |= {outer for element in more for outer in document.around(element)}
            more = [one for one in document.lines if local_name(one) == "use" and one not in self.leads_there
                    and document.by_id.get(href(one)[1:]) in self.leads_there]

    def scene(self) -> Scene:
        """The whole drawing as a Scene.

        Raises ArtworkError for whatever is wrong in the file; what cannot be cut is listed in `left_out`.
        """
        root = self.document.root
        for element, what in self.cascade.trouble:
            self._leave_out(element, f"style sheet {what}", "its conditions or files are not read",
                            "put the rules into the style sheet itself")
        for line in self.document.outside:
            self.left_out.setdefault(LeftOut(
                "xml-stylesheet", f"line {line}", "style sheets in other files are not read",
                "put the style sheet into the drawing",
            ))
        clips = {inner for clip in root.iter(f"{SVG}clipPath") for inner in clip.iter()}
        for element in self.animated.keys() & {root, *clips}:  # the others where they are drawn
            self._leave_out_animated(element, element)
        page, physical, state = self._page(root)
        style = state.style
        if style["display"] != "none" and style["opacity"] > 0 and not is_singular(state.matrix):
            inside = self._effects(root, state)
            if inside is not None:
                self._walk(root, inside)
        if self.layers:
            self._check_layers()
            if page is None:
                raise ArtworkError(self.document.where(root), "a page without a size, which would be that of its "
                                   "layers", remedy="give the drawing a viewBox, or a width and a height")
        if page is None:
            return self._sized_by_content()
        return self._scene(tuple(self.paints), page, physical)

    def _check_layers(self) -> None:
        """Raise ArtworkError for a layer that is not there, or in which nothing is seen."""
        there = {name for element in self.document.lines for name in names_of(element)}
        seen = {name for paint in self.paints for name in paint.layers}
        wrong = Mistakes()
        for name in sorted(self.layers - there):
            groups = (element for element in self.document.lines if local_name(element) == "g")
            known = list(dict.fromkeys(name for element in groups for name in names_of(element)))
            more = f" and {len(known) - _NAMED} more" if len(known) > _NAMED else ""
            with wrong.caught():
                raise ArtworkError(self.document.name, f'no layer "{name}"',
                                   allowed=", ".join(known[:_NAMED]) + more or "no layer has a name",
                                   remedy="name a group's id or label, as the drawing program shows it")
        for name in sorted((self.layers & there) - seen) if not self.left_out else ():
            with wrong.caught():
                raise ArtworkError(self.document.name, f'nothing is seen in its layer "{name}"',
                                   remedy="show it in the drawing, fill or stroke its shapes with plain colours, or "
                                          "leave it out")
        wrong.refuse()

    def _is_hidden(self, element: Element, around: State) -> bool:
        """Whether it lies in no layer that is asked for, and in none of what it holds or uses."""
        return bool(self.layers) and element not in self.leads_there and not self.layers & set(around.layers)

    def _scene(self, paints: tuple[Paint, ...], page: tuple[float, float], physical: bool) -> Scene:
        sides = [side for name in ("width", "height") if (side := self.document.root.get(name))]
        pixels = bool(sides) and all(re.fullmatch(r"[-+.\deE\s]+(px)?\s*", side) for side in sides)
        return Scene(paints, page, physical, tuple(self.left_out), tuple(self.no_colours), pixels,
                     tuple(self.no_targets), tuple(self.not_read))

    def _page(self, root: Element) -> tuple[tuple[float, float] | None, bool, State]:
        """Page size in mm (None when nothing gives one), whether it is physical, and the state inside the page."""
        where = self.document.where(root)
        box = self._view_box(root)
        style = self.cascade.style(root, dict(INITIAL))
        width, height = (self._page_length(root, name, style) for name in ("width", "height"))
        physical = width is not None or height is not None
        if box is not None:
            if (width is None) != (height is None):
                self._check_share(root, "width" if width is None else "height", style)
            if width is None and height is None:
                width, height = box.width, box.height
            elif width is None:
                width = height * box.width / box.height  # type: ignore[operator]
            elif height is None:
                height = width * box.height / box.width
        mm = transforms.scaling(MM_PER_PX, -MM_PER_PX)
        if width is None or height is None:
            nan = math.nan
            return None, False, State(mm, style, Viewport(width or nan, height or nan), opacity=style["opacity"])
        if not (0 < width <= 1e6 and 0 < height <= 1e6):
            raise ArtworkError(where, f"a page of {figure(width)} x {figure(height)} px",
                               allowed="above 0, up to 1000000 px",
                               remedy="give width, height or viewBox of the drawing a size")
        page = (width * MM_PER_PX, height * MM_PER_PX)
        up = multiply(translation(0.0, page[1]), mm)
        clip = rectangle_clip(width, height, up, None)
        viewport = Viewport(width, height)
        inside = multiply(up, self._transform(root, style, State(up, style, viewport)))
        if box is not None:
            inside = multiply(inside, self._fit(root, box, width, height))
            viewport = Viewport(box.width, box.height)
        return page, physical, State(inside, style, viewport, clip, opacity=style["opacity"])

    def _page_length(self, root: Element, name: str, style: Style) -> float | None:
        """Width or height of the page in px; None when left out or relative."""
        text = style[name] or root.get(name)
        if text is None or text.strip() in ("", "auto"):
            return None
        length = length_of(name, text, self.document.where(root))
        if length.unit == "%":
            return None
        return length.px(whole=math.nan, font_size=style["font-size"])

    def _check_share(self, root: Element, name: str, style: Style) -> None:
        """One side in per cent of a window that nobody knows, beside one in real units, gives no page."""
        text = (style[name] or root.get(name, "")).strip()
        if text.endswith("%") and text != "100%":
            raise ArtworkError(self.document.where(root), f"{name} is {text}, of a page that has no size",
                               remedy="give both width and height a size, or only one of them")

    def _sized_by_content(self) -> Scene:
        """A drawing without any page: its page reaches from the origin over all that it paints."""
        low = high = np.zeros(2)
        for paint in self.paints:
            least, most = box_round(paint)
            low, high = np.minimum(low, least), np.maximum(high, most)
        move = translation(-low[0], -low[1])
        paints = tuple(_moved(paint, move) for paint in self.paints)
        return self._scene(paints, (float(high[0] - low[0]), float(high[1] - low[1])), False)

    def _walk(self, root: Element, state: State) -> None:
        """Visit the drawing in document order, with a list in place of recursion so that no depth can overflow."""
        todo = [(child, state) for child in reversed(svg_children(root))]
        while todo:
            todo += reversed(self._enter(*todo.pop()))

    def _enter(self, element: Element, around: State) -> list[tuple[Element, State]]:
        """Paint a shape, or return the children of a group with the state inside it."""
        self._count_visit(element)
        name = local_name(element)
        if self._is_hidden(element, around):
            return []
        if name in NOT_SHOWN and not (name == "symbol" and around.size != (None, None)):
            return []
        if element in self.animated:
            self._leave_out_animated(element, element)
            return []
        style = self.cascade.style(element, around.style)
        if (style["display"] == "none" and name != "symbol") or style["opacity"] <= 0 or not is_for_us(element):
            return []
        self._not_read(style, "display", "opacity", "transform", "clip-path", "mask", "filter", "mix-blend-mode")
        matrix = multiply(around.matrix, self._transform(element, style, around))
        if is_singular(matrix):
            return []
        state = around._replace(matrix=matrix, style=style, layers=around.layers + names_of(element),
                                opacity=around.opacity * style["opacity"])
        if name == "symbol" and state.matrix != around.matrix:
            self._leave_out(element, "transform", "it is on a symbol, where renderers disagree about it",
                            "put the transform on the use or on a group in the symbol")
            return []
        moved = self._places_itself(element, style) if name == "symbol" else ""
        if moved:
            self._leave_out(element, moved, "they move or size the symbol, and not all renderers read them",
                            "leave them out, and move or size the use instead")
            return []
        if name == "use":
            state = self._use_moved(element, state)
        if name in OUTLINES:
            self._shape(element, state)
            return []
        if name in UNCUTTABLE:
            self._uncuttable(element, name, style)
            return []
        if name not in ("g", "a", "switch", "use", "svg", "symbol"):
            self._leave_out(element, name, "it is not an element of the standard that can be cut", "draw it as paths")
            return []
        inside = self._effects(element, state)
        if inside is None:
            return []
        if name == "use":
            return self._use(element, inside)
        if name in ("svg", "symbol"):
            return self._window(element, inside)
        children = svg_children(element)
        if name == "switch":
            children = next(([child] for child in children if is_wanted(child)), [])
        return [(child, inside) for child in children]

    def _places_itself(self, symbol: Element, style: Style) -> str:
        """What lays another place of a symbol than its origin where it is used (SVG 2, section 5.5), or sizes it by a
        style; nothing where nothing does."""
        box, places = self._view_box(symbol), [symbol.get(name) for name in ("refX", "refY")]
        off = box is not None and (box.x, box.y) != (0.0, 0.0)
        if any(place is not None and (off or place.strip() != "0") for place in places):
            return "refX, refY"
        if any((symbol.get(name) or "0").strip() != "0" for name in ("x", "y")):
            return "x, y"
        return ", ".join(name for name in ("x", "y", "width", "height") if style[name])

    def _shape(self, element: Element, state: State) -> None:
        style, kind = state.style, local_name(element)
        self._not_read(style, "visibility", *GEOMETRY_OF.get(kind, ()))
        if style["visibility"] != "visible":
            return
        curves = self._outline(element, state)
        if not len(curves):
            return
        self._markers(element, style)
        fill = self._colour(element, state, "fill") if kind != "line" else None
        stroke = self._colour(element, state, "stroke")
        line = self._stroke(element, style, state.viewport) if stroke else None
        if fill is None and line is None:
            return
        inside = self._effects(element, state)
        if inside is None:
            return
        where = self.document.where(element)
        paints = []
        if fill:
            self._not_read(style, "fill-rule", "fill-opacity")
            paints.append(Paint(curves, inside.matrix, fill.hex, style["fill-rule"], None, inside.clip, where,
                                state.layers, state.opacity * style["fill-opacity"] * fill.alpha))
        if stroke and line:
            self._not_read(style, *STROKE, *(["paint-order"] if fill else []))
            if style["vector-effect"] == "non-scaling-stroke":
                self._leave_out(element, "vector-effect", "its stroke has a width on the screen, not in the drawing",
                                "convert the stroke to a path")
            elif line.join in ("miter-clip", "arcs") and kind != "line":
                self._leave_out(element, "stroke-linejoin", f"its corners are {line.join}, which browsers do not draw",
                                "write miter or bevel, or convert the stroke to a path")
            else:
                paints.append(Paint(curves, inside.matrix, stroke.hex, "nonzero", line, inside.clip, where,
                                    state.layers, state.opacity * style["stroke-opacity"] * stroke.alpha))
        self.paints += reversed(paints) if style["paint-order"] else paints


def _moved(paint: Paint, move: Matrix) -> Paint:
    return dataclasses.replace(paint, matrix=multiply(move, paint.matrix), clip=_moved_clip(paint.clip, move))


def _moved_clip(clip: Clip | None, move: Matrix) -> Clip | None:
    if clip is None:
        return None
    shapes = tuple(_moved(shape, move) for shape in clip.shapes)
    return Clip(shapes, _moved_clip(clip.inner, move), _moved_clip(clip.outer, move))
