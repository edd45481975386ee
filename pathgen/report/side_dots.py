"""The drilling template for side dots: the bass edge at true size, in rows that fit on paper."""

from __future__ import annotations

from typing import Any

from pathgen.base.markup import Element
from pathgen.base.picture import INK, View, lines, words
from pathgen.base.units import INCH, fine_length
from pathgen.parts.fingerboard.dots import template_rows

ROW = {"mm": 170.0, "in": 6.5 * INCH}
"""Length of a row, mm, by the job's unit: a sheet of paper is wider."""


def side_template(report: dict[str, Any]) -> Element | None:
    """Crosses at half the board's edge height, counted along the bass edge from the nut line; None without dots."""
    dots = [(d["fret"], one["along_edge"]) for d in report["side_dots"] for one in d["each"]]
    if not dots:
        return None
    long = ROW[report["job_units"]]
    high = max(3.0, report["frets"][0]["wood"]["edge"] or report["board"]["thickness"])
    rows = template_rows([at for _, at in dots], long)
    step = high + 12.0
    view = View(left=-6.0, right=long + 6.0, bottom=-step * len(rows) - 4.0, top=2.0)
    drawn: list[Element] = []
    for i, (start, places) in enumerate(rows):
        low = -step * (i + 1)
        drawn.append(lines(view, [[[0, low], [long, low], [long, low + high], [0, low + high], [0, low]]],  # type: ignore[list-item]
                           stroke=INK, stroke_width=0.2))
        drawn.append(words(view, (0.0, low - 4.0), f"{fine_length(start, report['job_units'])} from the nut line",
                           size=3.0, text_anchor="start"))
        middle, frets = low + high / 2, {}  # type: float, dict[int, list[float]]
        for at in places:
            fret = next(f for f, along in dots if abs(along - start - at) < 1e-9)
            frets.setdefault(fret, []).append(at)
            cross = [[[at - 1.5, middle], [at + 1.5, middle]], [[at, middle - 1.5], [at, middle + 1.5]]]
            drawn.append(lines(view, cross, stroke=INK, stroke_width=0.15))  # type: ignore[arg-type]
        drawn += [words(view, (sum(of) / len(of), low + high + 1.0), str(fret), size=3.0) for fret, of in frets.items()]
    return view.picture(f"Drilling template for {len(dots)} side dots at true size", *drawn)
