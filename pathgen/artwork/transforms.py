"""Affine maps as six numbers (a, b, c, d, e, f), written as in SVG: x' = a x + c y + e, y' = b x + d y + f."""

from __future__ import annotations

import math
import re
from collections.abc import Callable

from pathgen.artwork.values import NUMBER, parse_numbers

Matrix = tuple[float, float, float, float, float, float]

IDENTITY: Matrix = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0)

_UNIT = re.compile(rf"({NUMBER})\s*(px|deg|rad|turn|grad)(?=[\s,]|$)", re.ASCII)
_IN_UNITS = {"px": 1.0, "deg": 1.0, "rad": 180.0 / math.pi, "turn": 360.0, "grad": 0.9}


def multiply(m: Matrix, n: Matrix) -> Matrix:
    """The map that does `n` first and then `m`."""
    a, b, c, d, e, f = m
    p, q, r, s, t, u = n
    return (a * p + c * q, b * p + d * q, a * r + c * s, b * r + d * s, a * t + c * u + e, b * t + d * u + f)


def translation(x: float, y: float) -> Matrix:
    """The map that moves by (x, y)."""
    return (1.0, 0.0, 0.0, 1.0, x, y)


def scaling(x: float, y: float) -> Matrix:
    """The map that stretches by x and y about the origin."""
    return (x, 0.0, 0.0, y, 0.0, 0.0)


def rotation(degrees: float) -> Matrix:
    """The map that turns the x axis towards the y axis."""
    quarter, rest = divmod(degrees, 90.0)
    if rest == 0.0:  # quarter turns exactly: no 6e-17 where a 0 belongs
        cos, sin = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[int(quarter % 4)]
    else:
        cos, sin = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return (cos, sin, -sin, cos, 0.0, 0.0)


def largest_scale(m: Matrix) -> float:
    """How much longer the map can make a length: its larger singular value."""
    a, b, c, d = m[:4]
    return (math.hypot(a + d, b - c) + math.hypot(a - d, b + c)) / 2.0


def is_singular(m: Matrix) -> bool:
    """True when the map squeezes everything onto a line or a point."""
    size = largest_scale(m)
    if size == 0:
        return True
    a, b, c, d = (value / size for value in m[:4])
    return abs(a * d - b * c) <= 1e-14


def parse_transform(text: str, *, units: bool) -> Matrix:
    """The map of a ``transform`` list; ValueError that names what is wrong in it.

    `units` allows px, deg, rad, grad and turn, as style sheets write them and attributes may not.
    """
    result, position = IDENTITY, 0
    if text.strip() in ("", "none"):
        return result
    while position < len(text):
        match = _TRANSFORM.match(text, position)
        if not match:
            raise ValueError(f"{text[position:position + 16]!r} at character {position + 1} is not a transform")
        inside = _UNIT.sub(lambda m: repr(float(m[1]) * _IN_UNITS[m[2]]), match[2]) if units else match[2]
        numbers = parse_numbers(inside, most=6)
        allowed, written = _WRITTEN[match[1]]
        if len(numbers) not in allowed:
            given = "more" if numbers[6:] else len(numbers)
            raise ValueError(f"{match[1]} with {given} numbers, allowed {' or '.join(map(str, allowed))}")
        result = multiply(result, written(*numbers))
        position = match.end()
    return result


def about(m: Matrix, x: float, y: float) -> Matrix:
    """The map with (x, y) as the origin that it leaves alone."""
    return multiply(translation(x, y), multiply(m, translation(-x, -y)))


_WRITTEN: dict[str, tuple[tuple[int, ...], Callable[..., Matrix]]] = {
    "matrix": ((6,), lambda *numbers: numbers),
    "translate": ((1, 2), lambda x, y=0.0: translation(x, y or 0.0)),
    "scale": ((1, 2), lambda x, y=None: scaling(x, x if y is None else y)),
    "rotate": ((1, 3), lambda turn, *at: about(rotation(turn), *at) if at else rotation(turn)),
    "skewX": ((1,), lambda angle: (1.0, 0.0, math.tan(math.radians(angle)), 1.0, 0.0, 0.0)),
    "skewY": ((1,), lambda angle: (1.0, math.tan(math.radians(angle)), 0.0, 1.0, 0.0, 0.0)),
    "translateX": ((1,), lambda x: translation(x, 0.0)),
    "translateY": ((1,), lambda y: translation(0.0, y)),
    "scaleX": ((1,), lambda x: scaling(x, 1.0)),
    "scaleY": ((1,), lambda y: scaling(1.0, y)),
}
"""How many numbers each transform takes, and its map."""
_TRANSFORM = re.compile(rf"\s*,?\s*({'|'.join(_WRITTEN)})\s*\(([^()]*)\)\s*,?\s*", re.ASCII)
