"""Numbers, lengths and colours as they are written in drawings (SVG 1.1, CSS Values 3, CSS Color 4)."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import lru_cache
from itertools import islice

from tinycss2.color4 import parse_color

PX_PER = {
    "": 1.0,
    "px": 1.0,
    "in": 96.0,
    "cm": 96.0 / 2.54,
    "mm": 96.0 / 25.4,
    "q": 96.0 / 101.6,
    "pt": 96.0 / 72.0,
    "pc": 16.0,
}
"""Pixels in each absolute unit (CSS Values 3, Distance Units)."""

MM_PER_PX = 25.4 / 96.0

NUMBER = r"[+-]?(?:[0-9]++(?:\.[0-9]*+)?|\.[0-9]++)(?:[eE][+-]?[0-9]++)?"
"""As in path data and lists of points (SVG 1.1, section 8.3.9): the digits may end with a point."""

_VALUE = NUMBER.replace(r"\.[0-9]*+", r"\.[0-9]++")
"""As attributes and styles have it (SVG 1.1, section 4.2; CSS Values 3): digits follow a point."""

_LENGTH = re.compile(rf"\s*({_VALUE})\s*([a-zA-Z]*|%)\s*", re.ASCII)
_NUMBERS = re.compile(rf"\s*(?:{NUMBER}(?:\s*,\s*|\s+|(?=[+-.]))?)*+\s*", re.ASCII)
_ONE_NUMBER = re.compile(NUMBER)


@dataclass(frozen=True)
class Length:
    """A number with its unit, not yet resolved: per cent and em depend on where it is used."""

    value: float
    unit: str = ""

    def px(self, *, whole: float, font_size: float) -> float:
        """The length in px (user units), with `whole` px as 100 %.

        NaN where a percentage has nothing to be a part of.
        """
        if self.unit == "%":
            return self.value / 100.0 * whole
        if self.unit in ("em", "rem"):
            return self.value * font_size
        return self.value * PX_PER[self.unit]


RELATIVE_UNITS = ("%", "em", "rem")


@lru_cache(maxsize=4096)
def parse_length(text: str) -> Length:
    """A length such as ``12``, ``3.5mm`` or ``50%``; ValueError for anything else."""
    match = _LENGTH.fullmatch(text)
    if not match:
        raise ValueError(f"{text!r} is not a length")
    unit = match[2].lower()
    if unit in ("ex", "ch"):  # CSS Values 3, Font-relative Lengths: half an em only where the font is not known
        raise ValueError(f"{text!r} is measured by the letters of a font: write it in mm")
    if unit not in PX_PER and unit not in RELATIVE_UNITS:
        raise ValueError(f"{text!r} has an unknown unit")
    return Length(_finite(match[1]), unit)


@lru_cache(maxsize=4096)
def parse_number(text: str) -> float:
    """A plain number; ValueError for anything else."""
    if not re.fullmatch(_VALUE, text.strip()):
        raise ValueError(f"{text!r} is not a number")
    return _finite(text)


def parse_numbers(text: str, *, most: int | None = None) -> list[float]:
    """A list of numbers separated by blanks or commas, or of more than `most` the first of them and one more.

    Raises ValueError that gives the place of anything else.
    """
    match = _NUMBERS.match(text)
    end = match.end() if match else 0
    if end != len(text):
        raise ValueError(f"{text[end:end + 12]!r} at character {end + 1} is not a number")
    return [_finite(number[0]) for number in islice(_ONE_NUMBER.finditer(text), most and most + 1)]


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(f"{text.strip()!r} is too large a number")
    return value


@dataclass(frozen=True)
class Colour:
    """A colour on the screen: ``#rrggbb``, and how much of it shows, 0 to 1."""

    hex: str
    alpha: float = 1.0


@lru_cache(maxsize=4096)
def parse_colour(text: str) -> Colour | str | None:
    """A colour, the word ``"currentcolor"``, or None for what is not a colour.

    Named, hex, rgb(), hsl() and the other forms of CSS Color 4. A colour profile written after an SVG 1.1 colour
    (``#cd853f icc-color(...)``) is left aside, as the standard provides for.
    """
    text = re.sub(r"\s+icc-color\([^)]*\)\s*$", "", text.strip())
    colour = parse_color(text)
    if colour is None:
        return None
    if colour == "currentcolor":
        return "currentcolor"
    try:
        colour = colour.to("srgb")
    except (NotImplementedError, ValueError):  # of a space that is not known
        return None
    parts = [round(255 * min(max(part or 0.0, 0.0), 1.0)) for part in colour.coordinates]
    return Colour("#{:02x}{:02x}{:02x}".format(*parts), colour.alpha or 0.0)
