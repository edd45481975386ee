"""Plain letters of single strokes for a pointed cutter: digits and the few letters that a gauge's label needs."""

from __future__ import annotations

import numpy as np

from pathgen.base.arrays import Floats
from pathgen.base.errors import PathgenError

_WIDE, _HIGH, _NEXT = 4.0, 6.0, 5.5
"""Cell of a letter and the distance to the next, in the units of the strokes below."""

_STROKES: dict[str, tuple[str, ...]] = {
    # each stroke is a row of points, two digits for each: across, up
    "0": ("01 10 30 41 45 36 16 05 01",),
    "1": ("15 26 20", "10 30"),
    "2": ("05 16 36 45 44 00 40",),
    "3": ("05 16 36 45 44 33 23", "33 42 41 30 10 01"),
    "4": ("30 36 02 42",),
    "5": ("46 06 03 33 42 41 30 00",),
    "6": ("45 36 16 05 01 10 30 41 42 33 03",),
    "7": ("06 46 10",),
    "8": ("13 04 05 16 36 45 44 33 13 02 01 10 30 41 42 33",),
    "9": ("01 10 30 41 45 36 16 05 04 13 43",),
    "B": ("00 06 36 45 44 33 03", "33 42 41 30 00"),
    "R": ("00 06 36 45 44 33 03", "23 40"),
    ".": ("10 20",),
    "m": ("00 04", "03 14 23 20", "23 34 43 40"),
    "i": ("20 24", "25 26"),
    "n": ("00 04", "03 14 34 43 40"),
    " ": (),
}


def lettering_length(text: str) -> float:
    """How long a text is in its own height."""
    return ((len(text) - 1) * _NEXT + _WIDE) / _HIGH


def lettering(text: str, *, height: float) -> tuple[Floats, ...]:
    """Strokes, (n, 2) each, of a text centred on (0, 0), its letters `height` high. Raises PathgenError for a letter
    that is not among the few there are."""
    unknown = sorted(set(text) - set(_STROKES))
    if unknown:
        raise PathgenError("label", f"no strokes for {', '.join(unknown)}", allowed="".join(_STROKES))
    size = height / _HIGH
    middle = np.array([lettering_length(text), 1.0]) * _HIGH / 2
    strokes = []
    for place, letter in enumerate(text):
        for stroke in _STROKES[letter]:
            points = np.array([[float(p[0]) + place * _NEXT, float(p[1])] for p in stroke.split()])
            strokes.append((points - middle) * size)
    return tuple(strokes)
