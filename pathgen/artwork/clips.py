"""Clip paths, and what else is done to an element as a whole (SVG 1.1, chapter 14)."""

from __future__ import annotations

from xml.etree.ElementTree import Element

from pathgen.artwork.document import local_name, svg_children
from pathgen.artwork.elements import NOT_SHOWN, REMEDIES, UNCUTTABLE, UNREAD, UNREAD_ON, is_for_us
from pathgen.artwork.painting import State
from pathgen.artwork.properties import GEOMETRY_OF, INITIAL, Reference, Style
from pathgen.artwork.scene import Clip, Paint
from pathgen.artwork.shapes import OUTLINES
from pathgen.artwork.spaces import Spaces
from pathgen.artwork.transforms import IDENTITY, is_singular, multiply
from pathgen.artwork.viewport import Viewport
from pathgen.base.errors import ArtworkError
from pathgen.base.limits import MOST_CHAINED

_MOVES = ("translate", "rotate", "scale", "offset-path", "all", "d")
"""Of what is not read, what changes a clip."""
_HOLDERS = ("g", "a", "switch", "svg", "symbol")
_SHOWN = OUTLINES.keys() | UNCUTTABLE | {"use"}


class Clips(Spaces):
    """The clip paths of one document."""

    def _effects(self, element: Element, state: State) -> State | None:
        """The state with clip-path applied; None when a mask, filter, blend or clip leaves nothing that can be cut."""
        style = state.style
        if self._is_unread(element, style, *UNREAD):
            return None
        for name in ("mask", "filter"):
            value = style[name]
            if value is None or (name == "mask" and self._is_missing(value, element, name)):
                continue
            self._leave_out(element, name, f"it is drawn through a {name}", REMEDIES[name])
            return None
        if style["clip-path"] is None or self._is_missing(style["clip-path"], element, "clip-path"):
            return state
        target = self._clip_path_of(element, style)
        return None if target is None else state._replace(clip=self._clip(target, element, state, state.clip, ()))

    def _is_unread(self, element: Element, style: Style, *names: str) -> bool:
        """Whether a property among these that is not read changes what is seen of it, which is listed."""
        for name in names:
            reason, remedy = UNREAD[name]
            if style[name] != INITIAL[name] and local_name(element) in UNREAD_ON.get(name, {local_name(element)}):
                self._leave_out(element, name, reason, remedy)
                return True
        return False

    def _clip_path_of(self, element: Element, style: Style) -> Element | None:
        """The clipPath that it names; None where that is none, which is listed."""
        value = style["clip-path"]
        if not isinstance(value, Reference):
            self._leave_out(element, f"clip-path {value}", "only clipPath elements are read", "use a clipPath element")
            return None
        target = self.document.by_id[value.id]
        if local_name(target) != "clipPath":
            self._leave_out(element, "clip-path", f"it refers to {local_name(target)} {value.id!r}", "use a clipPath")
            return None
        return target

    def _clip(
        self, clip_path: Element, element: Element, state: State, outer: Clip | None, chain: tuple[Element, ...]
    ) -> Clip | None:
        """The area of a clipPath, applied to an element."""
        self._count_visit(clip_path)
        if len(chain) > MOST_CHAINED:
            raise ArtworkError(self.document.where(clip_path), "clip paths within clip paths too deep",
                               allowed=f"{MOST_CHAINED}", remedy="cut the shape itself")
        if clip_path in chain:
            raise ArtworkError(self.document.where(clip_path), "a loop of clip paths",
                               remedy="take one of its clip-path attributes out")
        style = self.cascade.style_in_place(clip_path)
        self._is_unread(clip_path, style, *_MOVES)
        self._not_read(style, "transform", "clip-path")
        matrix = multiply(state.matrix, self._transform(clip_path, style, state))
        viewport = state.viewport
        if clip_path.get("clipPathUnits") == "objectBoundingBox":
            box = self._bounds_of(element, state._replace(matrix=IDENTITY))
            if box is None or box[2] == 0 or box[3] == 0:
                return Clip((), None, outer)
            matrix = multiply(matrix, (box[2], 0.0, 0.0, box[3], box[0], box[1]))
            viewport = Viewport(1.0, 1.0)
        inner = self._next_clip(style, clip_path, element, state, None, (*chain, clip_path))
        if is_singular(matrix):
            return Clip((), inner, outer)
        inside = state._replace(matrix=matrix, style=style, viewport=viewport, clip=None)
        shapes = (shape for child in svg_children(clip_path)
                  for shape in self._clip_shapes(child, inside, (*chain, clip_path)))
        return Clip(tuple(shapes), inner, outer)

    def _next_clip(
        self, style: Style, named_by: Element, element: Element, state: State, outer: Clip | None,
        chain: tuple[Element, ...],
    ) -> Clip | None:
        """The clip that a clipPath or a shape in it names for itself, applied to an element."""
        if style["clip-path"] is None or self._is_missing(style["clip-path"], named_by, "clip-path"):
            return outer
        target = self._clip_path_of(named_by, style)
        return outer if target is None else self._clip(target, element, state, outer, chain)

    def _clip_shapes(self, child: Element, around: State, chain: tuple[Element, ...]) -> list[Paint]:
        """A shape in a clipPath, or a use of one (SVG 1.1, section 14.3.5: nothing else counts, and is noted)."""
        self._count_visit(child, 3)
        name = local_name(child)
        style = self.cascade.style(child, around.style)
        copied = name == "symbol" and around.size != (None, None)
        if (style["display"] == "none" or name in NOT_SHOWN or not is_for_us(child)) and not copied:
            return []
        if name not in OUTLINES and name != "use":
            self._not_in_clip(child, name, style)
            return []
        self._not_read(style, "display", "visibility", "transform", "clip-path", "clip-rule",
                       *GEOMETRY_OF.get(name, ()))
        matrix = multiply(around.matrix, self._transform(child, style, around))
        if self._is_unread(child, style, *_MOVES) or is_singular(matrix):
            return []
        state = around._replace(matrix=matrix, style=style)
        state = state._replace(clip=self._next_clip(style, child, child, state, around.clip, chain))
        if name == "use":
            return self._clip_use(child, self._use_moved(child, state), chain)
        if style["visibility"] != "visible":
            return []
        curves = self._outline(child, state)
        if not len(curves):
            return []
        return [Paint(curves, matrix, "#000000", style["clip-rule"], None, state.clip, self.document.where(child))]

    def _clip_use(self, use: Element, state: State, chain: tuple[Element, ...]) -> list[Paint]:
        """A use in a clipPath, of a shape itself: of another use it is an error (SVG 1.1, section 14.3.5)."""
        used = self._use(use, state._replace(chain=()))
        if used and local_name(used[0][0]) == "use":
            self._leave_out(use, "use", "it is in a clipPath and copies another use, where renderers disagree",
                            "let it copy the shape itself")
            return []
        return [shape for target, inside in used for shape in self._clip_shapes(target, inside, chain)]

    def _not_in_clip(self, element: Element, name: str, style: Style) -> None:
        """Note what is passed over in a clipPath and would show something elsewhere."""
        if name in UNCUTTABLE:
            self._uncuttable(element, name, style)
        elif name not in _HOLDERS or any(local_name(one) in _SHOWN for one in element.iter()):
            where = self.document.where(element)
            self.not_read.setdefault((where, f"{name} within a clipPath, where only shapes count"))
