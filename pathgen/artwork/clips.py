"""Clip paths, and what else is done to an element as a whole (SVG 1.1, chapter 14)."""

from __future__ import annotations

from xml.etree.ElementTree import Element

from pathgen.artwork.document import href, local_name, svg_children
from pathgen.artwork.elements import REMEDIES, UNREAD, UNREAD_ON
from pathgen.artwork.painting import State
from pathgen.artwork.properties import INITIAL, Reference, Style
from pathgen.artwork.scene import Clip, Paint
from pathgen.artwork.shapes import OUTLINES, Geometry
from pathgen.artwork.spaces import Spaces
from pathgen.artwork.transforms import IDENTITY, is_singular, multiply, translation
from pathgen.artwork.viewport import Viewport
from pathgen.base.errors import ArtworkError
from pathgen.base.limits import MOST_CHAINED


class Clips(Spaces):
    """The clip paths of one document."""

    def _effects(self, element: Element, state: State) -> State | None:
        """The state with clip-path applied; None when a mask, filter, blend or clip leaves nothing that can be cut."""
        style, kind = state.style, local_name(element)
        for name, (reason, remedy) in UNREAD.items():
            if style[name] != INITIAL[name] and kind in UNREAD_ON.get(name, {kind}):
                self._leave_out(element, name, reason, remedy)
                return None
        for name in ("mask", "filter"):
            value = style[name]
            if value is None or (name == "mask" and self._is_missing(value, element, name)):
                continue
            self._leave_out(element, name, f"it is drawn through a {name}", REMEDIES[name])
            return None
        value = style["clip-path"]
        if value is None or self._is_missing(value, element, "clip-path"):
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

    def _clip(
        self, clip_path: Element, element: Element, state: State, outer: Clip | None, chain: tuple[Element, ...]
    ) -> Clip | None:
        """The area of a clipPath, applied to an element."""
        if local_name(clip_path) != "clipPath":
            return outer
        self._count_visit(clip_path)
        if len(chain) > MOST_CHAINED:
            raise ArtworkError(
                self.document.where(clip_path), "clip paths within clip paths too deep", allowed=f"{MOST_CHAINED}",
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
        for child in svg_children(clip_path):
            shapes += self._clip_shapes(child, inside, (*chain, clip_path))
        return Clip(tuple(shapes), inner, outer)

    def _next_clip(
        self, style: Style, element: Element, state: State, outer: Clip | None, chain: tuple[Element, ...]
    ) -> Clip | None:
        value = style["clip-path"]
        if not isinstance(value, Reference) or self._is_missing(value, element, "clip-path"):
            return outer
        return self._clip(self.document.by_id[value.id], element, state, outer, chain)

    def _clip_shapes(self, child: Element, around: State, chain: tuple[Element, ...]) -> list[Paint]:
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
