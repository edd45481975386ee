"""Which elements are drawn, which cannot be cut, and which are for others than us (SVG 1.1, section 5.8)."""

from __future__ import annotations

import re
from xml.etree.ElementTree import Element

from pathgen.artwork.document import local_name
from pathgen.artwork.shapes import OUTLINES

_EVENT = re.compile(r"indefinite|(?!\S*\.(begin|end)\b)([\w-]+\.)?[a-zA-Z]\w*(\(.*\))?(\s*[+-].*)?")
"""Begins that wait for a click, a key or a script."""
_FEATURE = re.compile(r"http://www\.w3\.org/(TR/SVG11/feature#|Graphics/SVG/feature/)|org\.w3c\.")

REMEDIES = {
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
_MOVED = "it is moved, turned or scaled by a style that drawing programs do not read", "write it as a transform"
UNREAD = {
    "mix-blend-mode": ("its colour is mixed with what lies below it", "give it the colour that is seen"),
    "backdrop-filter": ("what lies below it is drawn through a filter", "take it off, or draw its effect as shapes"),
    "translate": _MOVED, "rotate": _MOVED, "scale": _MOVED, "offset-path": _MOVED,
    "all": ("a style resets its attributes, which drawing programs do not read", "write the properties themselves"),
    "d": ("its path is that of a style", "write that path into its attribute d"),
    "clip": ("it is cut off by a style", "use a clipPath element"),
}
"""Properties that change what is seen and are not read: why what has them cannot be cut, and what to do."""
UNREAD_ON = {"d": {"path"}, "clip": {"svg", "symbol"}}
"""The only elements on which some of these do anything (SVG 2, section 9.3.1; SVG 1.1, section 14.3.4)."""
ANIMATIONS = {"animate", "animateTransform", "animateMotion", "animateColor", "set", "discard"}
TEXT = {"text", "flowRoot", "flowDiv"}
UNCUTTABLE = {"text", "image", "foreignObject", "flowRoot", "mesh", "video", "audio", "canvas", "iframe"}
NOT_SHOWN = {
    "title", "desc", "metadata", "defs", "symbol", "clipPath", "mask", "marker", "linearGradient", "radialGradient",
    "meshgradient", "hatch", "pattern", "filter", "style", "script", "view", "cursor", "font", "font-face",
    "color-profile", "solidColor", "solidcolor", "stop", "animate", "animateTransform", "animateMotion",
    "animateColor", "set", "mpath", "discard", "glyph", "missing-glyph", "hkern", "vkern", "namedview", "tspan",
    "textPath", "tref", "altGlyph", "altGlyphDef", "handler", "listener", "prefetch",
}
_SWITCHED = OUTLINES.keys() | {"g", "a", "switch", "use", "svg", "text", "image", "foreignObject"}
"""Which children of a switch it may show."""


def is_wanted(element: Element) -> bool:
    """Whether a child of switch passes its tests: no extensions, and a language that is ours or none."""
    return local_name(element) in _SWITCHED and is_for_us(element)


def begins(animation: Element) -> bool:
    """Whether an animation may begin by itself: at once where nothing is said, or at a time (SVG Animations 2)."""
    return any(not _EVENT.fullmatch(when.strip()) for when in animation.get("begin", "0").split(";"))


def is_for_us(element: Element) -> bool:
    """The conditions of an element (SVG 1.1, section 5.8): no extensions, features of the standard, English."""
    if "requiredExtensions" in element.attrib:
        return False
    features = element.get("requiredFeatures")
    if features is not None and not all(_FEATURE.match(word) for word in features.split() or [""]):
        return False
    languages = element.get("systemLanguage")
    return languages is None or any(tag.strip().lower().split("-")[0] == "en" for tag in languages.split(","))
