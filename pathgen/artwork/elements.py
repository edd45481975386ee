"""Which elements are drawn, which cannot be cut, and which are for others than us (SVG 1.1, section 5.8)."""

from __future__ import annotations

import re
from xml.etree.ElementTree import Element

from pathgen.artwork.document import local_name
from pathgen.artwork.shapes import OUTLINES

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
TEXT = {"text", "flowRoot", "flowDiv"}
UNCUTTABLE = {"text", "image", "foreignObject", "flowRoot", "mesh", "video", "audio", "canvas", "iframe"}
NOT_SHOWN = {
    "title", "desc", "metadata", "defs", "symbol", "clipPath", "mask", "marker", "linearGradient", "radialGradient",
    "meshgradient", "hatch", "pattern", "filter", "style", "script", "view", "cursor", "font", "font-face",
    "color-profile", "solidColor", "solidcolor", "stop", "animate", "animateTransform", "animateMotion",
    "animateColor", "set", "mpath", "discard", "glyph", "missing-glyph", "hkern", "vkern", "namedview", "tspan",
    "textPath", "tref", "altGlyph", "altGlyphDef", "handler", "listener", "prefetch",
}


def is_wanted(element: Element) -> bool:
    """Whether a child of switch passes its tests: no extensions, and a language that is ours or none."""
    if local_name(element) not in OUTLINES and local_name(element) not in (
        "g", "a", "switch", "use", "svg", "text", "image", "foreignObject"
    ):
        return False
    return is_for_us(element)


def is_for_us(element: Element) -> bool:
    """The conditions of an element (SVG 1.1, section 5.8): no extensions, features of the standard, English."""
    get = element.attrib.get
    if "requiredExtensions" in element.attrib:
        return False
    features = get("requiredFeatures")
    if features is not None and not all(_FEATURE.match(word) for word in features.split() or [""]):
        return False
    languages = get("systemLanguage")
    return languages is None or any(tag.strip().lower().split("-")[0] == "en" for tag in languages.split(","))
