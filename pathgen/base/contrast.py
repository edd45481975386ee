"""Will the colours be told apart? Contrast ratio and colour difference of two colours written as ``"#rrggbb"``.

Colours are sRGB (IEC 61966-2-1), white is D65. They are what a screen shows: cured resin and oiled wood are
judged by eye, on a sample, before a board is cut.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from pathgen.base.arrays import Floats

JUST_SEEN = 1.0
"""Difference by CIEDE2000 that can just be seen; common practice."""

AT_A_GLANCE = 10.0
"""Difference by CIEDE2000 from which two colours are told apart at a glance; common practice, from memory."""

LEAST_CONTRAST = 3.0
"""Contrast ratio that WCAG 2.2, success criterion 1.4.11, asks of graphics."""

_XYZ_OF_SRGB = np.array([
    [0.4124564, 0.3575761, 0.1804375],
    [0.2126729, 0.7151522, 0.0721750],
    [0.0193339, 0.1191920, 0.9503041],
])
"""Linear sRGB to XYZ, white D65 (IEC 61966-2-1)."""


def relative_luminance(colour: str) -> float:
    """Relative luminance of a colour, 0 for black to 1 for white (WCAG 2.2, "relative luminance")."""
    return float(np.dot([0.2126, 0.7152, 0.0722], _linear(colour)))


def contrast_ratio(one: str, other: str) -> float:
    """Contrast ratio of two colours, 1 to 21 (WCAG 2.2, "contrast ratio").

    >>> round(contrast_ratio("#ffffff", "#000000"), 6)
    21.0
    """
    low, high = sorted((relative_luminance(one), relative_luminance(other)))
    return (high + 0.05) / (low + 0.05)


@lru_cache(maxsize=1024)
def lab(colour: str) -> tuple[float, float, float]:
    """L*, a*, b* of a colour (CIE 1976, white D65)."""
    xyz = _XYZ_OF_SRGB @ _linear(colour)
    share = xyz / _XYZ_OF_SRGB.sum(axis=1)
    f = np.where(share > (6 / 29) ** 3, np.cbrt(share), share / (3 * (6 / 29) ** 2) + 4 / 29)
    return float(116 * f[1] - 16), float(500 * (f[0] - f[1])), float(200 * (f[1] - f[2]))


def colour_difference(one: str, other: str) -> float:
    """CIEDE2000 difference of two colours: about 1 can just be seen side by side, 10 at a glance."""
    return ciede2000(lab(one), lab(other))


def ciede2000(one: tuple[float, float, float], other: tuple[float, float, float]) -> float:
    """CIEDE2000 difference of two (L*, a*, b*) with unit weights.

    Source: Sharma, Wu & Dalal, "The CIEDE2000 color-difference formula: implementation notes, supplementary test
    data, and mathematical observations", Color Research & Application 30 (2005), equations 2 to 22.
    """
    (l1, a1, b1), (l2, a2, b2) = one, other
    mean_chroma = (math.hypot(a1, b1) + math.hypot(a2, b2)) / 2
    stretch = 1.5 - 0.5 * _seventh(mean_chroma)
    c1, h1 = _polar(a1 * stretch, b1)
    c2, h2 = _polar(a2 * stretch, b2)
    turn, mean_hue = _hues(c1, h1, c2, h2)
    lightness, chroma, mean_c = (l1 + l2) / 2, c2 - c1, (c1 + c2) / 2
    hue = 2 * math.sqrt(c1 * c2) * math.sin(math.radians(turn / 2))
    t = (
        1 - 0.17 * _cos(mean_hue - 30) + 0.24 * _cos(2 * mean_hue) + 0.32 * _cos(3 * mean_hue + 6)
        - 0.20 * _cos(4 * mean_hue - 63)
    )
    off = (lightness - 50) ** 2
    x = (l2 - l1) / (1 + 0.015 * off / math.sqrt(20 + off))
    y = chroma / (1 + 0.045 * mean_c)
    z = hue / (1 + 0.015 * mean_c * t)
    blue = 30 * math.exp(-(((mean_hue - 275) / 25) ** 2))
    rotation = -2 * _seventh(mean_c) * math.sin(math.radians(2 * blue))
    return math.sqrt(max(x * x + y * y + z * z + rotation * y * z, 0.0))


def _linear(colour: str) -> Floats:
    """Linear red, green and blue, 0 to 1."""
    share = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)


def _seventh(chroma: float) -> float:
    return math.sqrt(chroma**7 / (chroma**7 + 25.0**7))


def _polar(a: float, b: float) -> tuple[float, float]:
    """Chroma, and hue in degrees from 0 to 360 (0 for a grey)."""
    return math.hypot(a, b), math.degrees(math.atan2(b, a)) % 360.0


def _hues(c1: float, h1: float, c2: float, h2: float) -> tuple[float, float]:
    """Difference of two hues the short way round, and their mean; a grey has no hue of its own."""
    if c1 * c2 == 0:
        return 0.0, h1 + h2
    turn = h2 - h1
    if abs(turn) <= 180:
        return turn, (h1 + h2) / 2
    mean = (h1 + h2 + 360) / 2 if h1 + h2 < 360 else (h1 + h2 - 360) / 2
    return turn - math.copysign(360.0, turn), mean


def _cos(degrees: float) -> float:
    return math.cos(math.radians(degrees))
