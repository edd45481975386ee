"""The drilling template for side dots: the bass edge at true size, in rows that fit on paper."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from pathgen.base.markup import Element
from pathgen.base.picture import INK, View, lines, words
from pathgen.base.units import INCH, fine_length
from pathgen.parts.fingerboard.dots import template_rows

SIZE = 3.0
"""Of the words, mm."""
_DIGIT = 0.64  # width of a digit as a share of its size (from memory)
ROW = {"mm": 170.0, "in": 6.5 * INCH}
"""Length of a row, mm, by the job's unit: a sheet of paper is wider."""


def side_template(report: dict[str, Any]) -> Element | None:
    """Crosses at half the board's edge height, counted along the bass edge from the nut face; None without dots."""
    dots = [(d["fret"], one["along_edge"]) for d in report["side_dots"] for one in d["each"]]
    if not dots:
        return None
    long = ROW[report["job_units"]]
    high = max(3.0, report["frets"][0]["wood"]["edge"] or report["board"]["thickness"])
    rows = template_rows([at for _, at in dots], long)
    step = high + 12.0
    view = View(left=-6.0, right=long + 6.0, bottom=-step * len(rows) - 6.0, top=2.0)
    drawn: list[Element] = []
    for i, (start, places) in enumerate(rows):
        low = -step * (i + 1)
        drawn += [lines(view, [[[0, low], [long, low], [long, low + high], [0, low + high], [0, low]]],  # type: ignore[list-item]
                        stroke=INK, stroke_width=0.2),
                  words(view, (0.0, low - 4.0), f"{fine_length(start, report['job_units'])} from the nut face",
                        size=SIZE, text_anchor="start")]
        middle, frets = low + high / 2, {}  # type: float, dict[int, list[float]]
        for at in places:
            fret = next(f for f, along in dots if abs(along - start - at) < 1e-9)
            frets.setdefault(fret, []).append(at)
            cross = [[[at - 1.5, middle], [at + 1.5, middle]], [[at, middle - 1.5], [at, middle + 1.5]]]
            drawn.append(lines(view, cross, stroke=INK, stroke_width=0.15))  # type: ignore[arg-type]
        drawn += _numbers(view, {fret: sum(of) / len(of) for fret, of in frets.items()}, low + high + 1.0)
    return view.picture(f"Drilling template for {len(dots)} side dots at true size", *drawn)


def _numbers(view: View, places: dict[int, float], level: float) -> Iterator[Element]:
    """Each number over its dot, above the one before where they would meet."""
    right, up = -math.inf, 0
    for number, x in sorted(places.items(), key=lambda one: one[1]):
        half = _DIGIT * SIZE * len(str(number)) / 2
        up = 1 - up if x - half < right else 0
        right = x + half + 0.1 * SIZE
        yield words(view, (x, level + up * 1.05 * SIZE), str(number), size=SIZE)
