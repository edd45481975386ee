"""Windows onto the drawing: page size, viewBox and preserveAspectRatio (SVG 1.1, sections 7.7 and 7.8)."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from pathgen.artwork.transforms import Matrix, multiply, scaling, translation
from pathgen.artwork.values import parse_numbers


@dataclass(frozen=True)
class Viewport:
    """The size of the nearest window in user units; NaN where it is not known."""

    width: float
    height: float

    def whole(self, axis: str) -> float:
        """What 100 % is along "x", along "y", or for lengths in no direction ("both")."""
        if axis == "x":
            return self.width
        if axis == "y":
            return self.height
        return math.hypot(self.width, self.height) / math.sqrt(2.0)


@dataclass(frozen=True)
class ViewBox:
    """The rectangle of user space that a window shows."""

    x: float
    y: float
    width: float
    height: float


def parse_view_box(text: str | None) -> ViewBox | None:
    """The rectangle in a ``viewBox`` attribute; ValueError unless it is four numbers."""
    if text is None or not text.strip():
        return None
    numbers = parse_numbers(text, most=4)
    if len(numbers) != 4:
        raise ValueError(f"viewBox {text[:60]!r} has {'more' if numbers[4:] else len(numbers)} numbers, allowed 4")
    return ViewBox(*numbers)


_ALIGN = re.compile(r"\s*(?:defer\s+)?(?:(none)|x(Min|Mid|Max)Y(Min|Mid|Max))(?:\s+(meet|slice))?\s*")
_SHARE = {"Min": 0.0, "Mid": 0.5, "Max": 1.0}


def is_aspect(text: str) -> bool:
    """Whether a ``preserveAspectRatio`` attribute says something that the standard knows, or nothing."""
    return not text.strip() or _ALIGN.fullmatch(text) is not None


def fit(box: ViewBox, width: float, height: float, aspect: str) -> Matrix:
    """The map from a viewBox into a window of the given size at the origin.

    `aspect` is the ``preserveAspectRatio`` attribute; one that the standard does not know counts as left out.
    """
    sx, sy = width / box.width, height / box.height
    match = _ALIGN.fullmatch(aspect) or _ALIGN.fullmatch("xMidYMid meet")
    assert match is not None
    stretch, across, down, how = match.groups()
    if stretch:
        return multiply(scaling(sx, sy), translation(-box.x, -box.y))
    s = max(sx, sy) if how == "slice" else min(sx, sy)
    move = translation(_SHARE[across] * (width - s * box.width), _SHARE[down] * (height - s * box.height))
    return multiply(move, multiply(scaling(s, s), translation(-box.x, -box.y)))
