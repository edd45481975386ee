"""What an element is painted with: colours, strokes, and what of it cannot be cut."""

from __future__ import annotations

import math
from contextlib import suppress
from typing import Any, NamedTuple
from xml.etree.ElementTree import Element

from pathgen.artwork.document import Document, href, is_svg, local_name, svg_children
from pathgen.artwork.elements import ANIMATIONS, REMEDIES, TEXT, begins
from pathgen.artwork.properties import NOT_READ, Reference, Slip, Style, shown_colour
from pathgen.artwork.scene import Clip, LeftOut, Stroke
from pathgen.artwork.style import Cascade
from pathgen.artwork.transforms import Matrix
from pathgen.artwork.values import Colour, Length, parse_number
from pathgen.artwork.viewport import Viewport
from pathgen.base.errors import ArtworkError


class State(NamedTuple):
    """What an element takes over from those around it."""

    matrix: Matrix
    style: Style
    viewport: Viewport
    clip: Clip | None = None
    chain: tuple[str, ...] = ()
    size: tuple[str | None, str | None] = (None, None)
    context: State | None = None
    layers: tuple[str, ...] = ()
    """Names of the groups around it, and its own."""
    opacity: float = 1.0


class Painting:
    """The styles of one document, what in it cannot be cut, and what is no colour and is drawn in one all the same."""

    def __init__(self, document: Document) -> None:
        self.document = document
        self.cascade = Cascade(document)
        self.left_out: dict[LeftOut, None] = {}
        self.no_colours: dict[tuple[str, str, str], None] = {}
        self.no_targets: dict[tuple[str, str], None] = {}
        self.not_read: dict[tuple[str, str], None] = {}
        animations = (e for e in document.lines if local_name(e) in ANIMATIONS and is_svg(e) and begins(e))
        found = ((self._target(animation), local_name(animation)) for animation in animations)
        self.animated = {element: name for element, name in found if element is not None}

    def _target(self, animation: Element) -> Element | None:
        """What an animation changes: what it refers to, or the element that it is in."""
        named = href(animation)
        return self.document.by_id.get(named[1:]) if named else self.document.parents.get(animation)

    def _leave_out_animated(self, element: Element, animated: Element, what: str = "it is animated") -> None:
        self._leave_out(element, self.animated[animated], f"{what}: what is seen changes by itself",
                        "take the animation out, or draw what it comes to")

    def _colour(self, element: Element, state: State, name: str) -> Colour | None:
        """The plain colour of "fill" or "stroke", None for none; what is no plain colour is left out and listed."""
        if state.style[f"{name}-opacity"] <= 0:
            return None
        slips: list[Slip] = []
        colour = self._paint_colour(element, state, name, slips)
        for slip in slips[:1]:
            if colour is None:
                there = "" if slip.where == self.document.where(element) else f", on {slip.where},"
                self._leave_out(element, name, f"{slip.text}{there} is no colour, so that nothing is drawn",
                                "write the colour that is meant, or none")
            else:
                self.no_colours.setdefault((slip.where, slip.text, colour.hex))
        return colour

    def _paint_colour(self, element: Element, state: State, name: str, slips: list[Slip]) -> Colour | None:
        """As `_colour`, for what shows at all; `slips` gathers what is no colour on the way."""
        paint, around = state.style[name], state
        while isinstance(paint, Slip) or paint in ("context-fill", "context-stroke"):
            if isinstance(paint, Slip):
                slips.append(paint)
                paint = paint.stands
                continue
            if around.context is None:
                return None
            around = around.context
            paint = around.style[paint[8:]]
        if isinstance(paint, Reference):
            target = self.document.by_id.get(paint.id)
            kind = local_name(target) if target is not None else ""
            if kind in ("linearGradient", "radialGradient"):
                return self._gradient_colour(element, target, name, kind, f"its {name} is {kind} {paint.id!r}")
            if kind in ("pattern", "meshgradient", "hatch"):
                self._leave_out(element, kind, f"its {name} is {kind} {paint.id!r}",
                                REMEDIES.get(kind, "give it one plain colour"))
                return None
            if paint.fallback is None:
                named = "is not in the drawing" if target is None else f"is a {kind}, no colour"
                self._leave_out(element, name, f"its {name} is url(#{paint.id}), which {named}, so that nothing is "
                                "drawn", "write the colour that is meant, or none")
            paint = paint.fallback
        if paint == "currentcolor":
            self._not_read(around.style, "color")
        return shown_colour(paint, around.style)

    def _gradient_colour(
        self, element: Element, gradient: Element | None, name: str, kind: str, what: str
    ) -> Colour | None:
        """The one colour of a gradient's stops; None where it is none or animated, and where there are more."""
        stops = self._stops(gradient)
        colours = {self.cascade.stop_colour(stop) for stop in stops}
        animated = next((stop for stop in stops if stop in self.animated), None)
        if len(colours) > 1:
            self._leave_out(element, kind, what, REMEDIES[kind])
        elif animated is not None:
            self._leave_out_animated(element, animated, f"{what}, a stop of which is animated")
        elif not stops:
            self._leave_out(element, name, f"{what}, which has no colours, so that nothing is drawn", REMEDIES[kind])
        elif plain := colours.pop():
            return Colour(plain)
        return None

    def _not_read(self, style: Style, *names: str) -> None:
        """Note values of these properties that are passed over, where what is drawn shows it."""
        for name in names:
            if name in style[NOT_READ]:
                self.not_read.setdefault(style[NOT_READ][name])

    def _stops(self, gradient: Element | None) -> list[Element]:
        """A gradient's stops, its own or those it refers to; where all have one colour it is a plain one."""
        seen: list[Element] = []
        while gradient is not None and gradient not in seen:
            stops = [child for child in svg_children(gradient) if local_name(child) == "stop"]
            if stops:
                return stops
            seen.append(gradient)
            gradient = self.document.by_id.get(href(gradient)[1:])
        return []

    def _stroke(self, element: Element, style: Style, viewport: Viewport) -> Stroke | None:
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
        return Stroke(width, style["stroke-linecap"], style["stroke-linejoin"], style["stroke-miterlimit"], dashes,
                      px(style["stroke-dashoffset"]), self._path_length(element) if dashes else 0.0)

    def _path_length(self, element: Element) -> float:
        """What an element says that its whole path is long, by which its dashes count; 0 where it does not."""
        text, long = element.get("pathLength", ""), 0.0
        with suppress(ValueError):  # passed over (SVG 2, section 3.3)
            long = max(parse_number(text), 0.0)
        if text.strip() and not long:
            self.not_read.setdefault((self.document.where(element), f"pathLength = {text!r}"))
        return long

    def _markers(self, element: Element, style: Style) -> None:
        if local_name(element) not in ("path", "line", "polyline", "polygon"):
            return
        for name in ("marker-start", "marker-mid", "marker-end"):
            value = style[name]
            if isinstance(value, Reference) and not self._is_missing(value, element, name):
                target = self.document.by_id.get(value.id)
                if target is not None and local_name(target) == "marker" and len(target):
                    self._leave_out(element, "marker", f"its {name} is {value.id!r}", REMEDIES["marker"])

    def _is_missing(self, value: Any, element: Element, name: str) -> bool:
        """Whether it names nothing that is there, which is noted: it is drawn as if nothing were named."""
        missing = isinstance(value, Reference) and value.id not in self.document.by_id
        if missing:
            self.no_targets.setdefault((self.document.where(element), f"{name} = 'url(#{value.id})'"))
        return missing

    def _uncuttable(self, element: Element, name: str, style: Style) -> None:
        if name == "image" and not href(element):
            return
        if name in TEXT and not "".join(element.itertext()).strip():
            return
        if style["visibility"] != "visible" and not len(element):
            return
        reason = {"text": "letters depend on fonts", "image": "a picture has no outlines"}.get(
            name, "it has no outlines to cut"
        )
        self._leave_out(element, name, reason, REMEDIES.get(name, "draw it as paths"))

    def _leave_out(self, element: Element, name: str, reason: str, remedy: str) -> None:
        identity = element.get("id") or f"line {self.document.lines.get(element, 0)}"
        item = LeftOut(name, identity, reason, remedy)
        self.left_out.setdefault(item)
