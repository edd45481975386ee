"""The properties of styles that concern a drawing: how each is written, and what it is where nothing is said."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from pathgen.artwork.values import Colour, Length, parse_colour, parse_length, parse_number

Style = dict[str, Any]
"""Computed values by property name."""

_REFERENCE = re.compile(r"""url\(\s*(['"]?)\s*#?(?P<id>[^'")]*?)\s*\1\s*\)\s*(?P<rest>.*)""", re.DOTALL)


@dataclass(frozen=True)
class Reference:
    """A value that names another element: ``url(#id)``, with the colour to fall back on (paints only)."""

    id: str
    fallback: Any = None


@dataclass(frozen=True)
class Slip:
    """A fill or stroke that is no colour: what is written, the element it stands on, and the paint it leaves there."""

    text: str
    where: str
    stands: Any


def _paint(text: str) -> Any:
    """"none", "currentcolor", "context-fill", "context-stroke", a Colour or a Reference."""
    word = text.lower()
    if word in ("none", "context-fill", "context-stroke"):
        return word
    if word.startswith("url("):
        match = _REFERENCE.fullmatch(text)
        if not match:
            raise ValueError(text)
        rest = match["rest"]
        return Reference(match["id"], _paint(rest) if rest else None)
    return _colour(text)


def _colour(text: str) -> Colour | str:
    colour = parse_colour(text)
    if colour is None:
        raise ValueError(f"{text!r} is not a colour")
    return colour


def _words(*words: str) -> Callable[[str], str]:
    def parse(text: str) -> str:
        word = text.lower()
        if word not in words:
            raise ValueError(f"{text!r} is none of {', '.join(words)}")
        return word

    return parse


def _share(text: str) -> float:
    """An opacity, as a number or in per cent."""
    return parse_number(text[:-1]) / 100.0 if text.endswith("%") else parse_number(text)


def _not_negative(text: str) -> Length:
    length = parse_length(text)
    if length.value < 0:
        raise ValueError(f"{text!r} is negative")
    return length


def _dashes(text: str) -> tuple[Length, ...]:
    if text.lower() == "none":
        return ()
    return tuple(_not_negative(part) for part in re.split(r"\s*,\s*|\s+", text))


def _reference(text: str) -> Any:
    if not text:
        raise ValueError("nothing is named")
    if text.lower() == "none":
        return None
    match = _REFERENCE.fullmatch(text)
    return Reference(match["id"]) if match and not match["rest"] else text


def _paint_order(text: str) -> bool:
    """True when the stroke is painted before the fill."""
    words = text.lower().split()
    if not set(words) <= {"normal", "fill", "stroke", "markers"} or len(set(words)) < len(words):
        raise ValueError(f"{text!r} is not a painting order")
    order = [word for word in words if word in ("fill", "stroke")]
    return bool(order) and order[0] == "stroke"


_FONT_SIZES = {
    "xx-small": 9.0, "x-small": 10.0, "small": 13.0, "medium": 16.0, "large": 18.0, "x-large": 24.0, "xx-large": 32.0,
}


def _font_size(text: str) -> Length:
    word = text.lower()
    if word in _FONT_SIZES:
        return Length(_FONT_SIZES[word])
    if word in ("larger", "smaller"):
        return Length(120.0 if word == "larger" else 100.0 / 1.2, "%")
    return _not_negative(text)


def _not_moved(text: str) -> str:
    """"none" for what moves, turns and scales nothing."""
    word = text.lower()
    return "none" if re.fullmatch(r"(0+(px|deg|%)?|1|100%)(\s+(0+(px|%)?|1|100%))*", word) else word


def _geometry(text: str) -> str:
    """A length of a style sheet, or "auto"; only 0 may lack its unit there (CSS Values 3, Distance Units)."""
    if text.lower() != "auto":
        length = parse_length(text)
        if not length.unit and length.value != 0:
            raise ValueError(f"{text!r} has no unit")
    return text


_BLENDS = (
    "normal", "multiply", "screen", "overlay", "darken", "lighten", "color-dodge", "color-burn", "hard-light",
    "soft-light", "difference", "exclusion", "hue", "saturation", "color", "luminosity", "plus-darker", "plus-lighter",
)
"""Compositing and Blending 1, section 5, and level 2."""

BLACK = Colour("#000000")

INHERITED: dict[str, tuple[Callable[[str], Any], Any]] = {
    "fill": (_paint, BLACK),
    "fill-rule": (_words("nonzero", "evenodd"), "nonzero"),
    "fill-opacity": (_share, 1.0),
    "stroke": (_paint, "none"),
    "stroke-width": (_not_negative, Length(1.0)),
    "stroke-linecap": (_words("butt", "round", "square"), "butt"),
    "stroke-linejoin": (_words("miter", "miter-clip", "arcs", "round", "bevel"), "miter"),
    "stroke-miterlimit": (lambda text: max(parse_number(text), 1.0), 4.0),  # renderers take less as 1
    "stroke-dasharray": (_dashes, ()),
    "stroke-dashoffset": (parse_length, Length(0.0)),
    "stroke-opacity": (_share, 1.0),
    "color": (_colour, BLACK),
    "clip-rule": (_words("nonzero", "evenodd"), "nonzero"),
    "visibility": (_words("visible", "hidden", "collapse"), "visible"),
    "paint-order": (_paint_order, False),
    "font-size": (_font_size, 16.0),
    "marker-start": (_reference, None),
    "marker-mid": (_reference, None),
    "marker-end": (_reference, None),
}
"""Properties that children take over: how each is parsed, and its initial value."""

OWN: dict[str, tuple[Callable[[str], Any], Any]] = {
    "display": (str.lower, "inline"),
    "opacity": (_share, 1.0),
    "clip-path": (_reference, None),
    "mask": (_reference, None),
    "filter": (_reference, None),
    "mix-blend-mode": (_words(*_BLENDS), "normal"),
    "backdrop-filter": (str.lower, "none"),
    "clip": (str.lower, "auto"),
    "overflow": (_words("visible", "hidden", "scroll", "auto", "clip"), None),
    "transform": (str, None),
    "transform-origin": (str, None),
    "transform-box": (str.lower, "view-box"),
    "vector-effect": (str.lower, "none"),
    "stop-color": (_colour, BLACK),
    "stop-opacity": (_share, 1.0),
}
"""Properties of the element alone."""

GEOMETRY = ("x", "y", "width", "height", "cx", "cy", "r", "rx", "ry")
"""Properties of style sheets that go before the attributes of the same names (SVG 2, chapter 7); None where not set."""

GEOMETRY_OF = {"rect": ("x", "y", "width", "height", "rx", "ry"), "circle": ("cx", "cy", "r"),
               "ellipse": ("cx", "cy", "rx", "ry")}
STROKE = tuple(name for name in INHERITED if name.startswith("stroke-"))

SHEET_ONLY = (*GEOMETRY, "all", "d", "translate", "rotate", "scale", "offset-path")
"""No presentation attributes: attributes of these names are read for what they are, or mean something else."""

ALIASES = {"mask-image": "mask", "-webkit-mask-image": "mask", "-webkit-mask": "mask", "-webkit-filter": "filter",
           "-webkit-clip-path": "clip-path", "-webkit-transform": "transform",
           "-webkit-transform-origin": "transform-origin"}
"""Other names of style sheets for the same (Compatibility Standard, section 3; CSS Masking 1, section 7)."""

OWN |= dict.fromkeys(GEOMETRY, (_geometry, None))
OWN |= {"all": (str, "none"), "d": (str, "none"), "offset-path": (str.lower, "none")}
OWN |= dict.fromkeys(("translate", "rotate", "scale"), (_not_moved, "none"))
PROPERTIES = {**INHERITED, **OWN}
NOT_READ = "not read"
"""Key under which a style keeps the values that are passed over, by property: where each stands, and what it says."""
INITIAL: Style = {name: initial for name, (_, initial) in PROPERTIES.items()} | {NOT_READ: {}}


def shown_colour(paint: Any, style: Style) -> Colour | None:
    """The colour that a paint shows, None for none; a Reference is for the caller to resolve first."""
    if paint == "currentcolor":
        paint = style["color"]
    return paint if isinstance(paint, Colour) and paint.alpha > 0 else None
