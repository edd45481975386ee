"""Where a program's cutter goes, from above."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely
from numpy.typing import NDArray

from pathgen.clamping import Clamping
from pathgen.fingerboard import Fingerboard
from pathgen.markup import Element, element
from pathgen.picture import INK, PALE, WOOD, View, area, lines
from pathgen.toolpath import Move, Toolpath

Floats = NDArray[np.float64]

TOLERANCE = 0.1
"""How far drawn lines may stray from the path, mm."""


def path_picture(name: str, path: Toolpath, clamping: Clamping) -> Element:
    """The cutter's path over the board: cuts as lines, rapids dotted, the first cut marked with a ring."""
    x0, y0, x1, y1 = clamping.stock.bounds
    low, high = path.points.min(axis=0), path.points.max(axis=0)
    bounds = (min(x0, low[0]), min(y0, low[1]), max(x1, high[0]), max(y1, high[1]))
    view = View.around(bounds, 2.0)
    size = view.width / 60
    return view.picture(
        name, *_board(view, clamping.board), *_moves(view, path, size), *_first_cut(view, path, size),
    )


def runs(path: Toolpath, *, rapids: bool) -> list[Floats]:
    """The path in plan, split where it changes between cuts and rapids; a run cut again at another depth once only."""
    kind = path.kinds == Move.RAPID
    breaks = np.flatnonzero(np.diff(kind[1:])) + 2
    pieces = np.split(np.arange(1, len(path)), breaks - 1)
    plans: dict[bytes, Floats] = {}
    for piece in pieces:
        if len(piece) and kind[piece[0]] == rapids:
            run = shapely.LineString(path.points[np.r_[piece[0] - 1, piece], :2])
            if run.length > TOLERANCE:
                plan = np.round(shapely.get_coordinates(run.simplify(TOLERANCE)), 1)
                plans.setdefault(plan.tobytes(), plan)
    return list(plans.values())


def _board(view: View, board: Fingerboard) -> Iterator[Element]:
    yield area(view, board.outline, fill=WOOD, stroke=PALE, stroke_width=0.4)


def _moves(view: View, path: Toolpath, size: float) -> Iterator[Element]:
    yield lines(view, runs(path, rapids=True), decimals=1, stroke=PALE, stroke_width=size / 30,
                stroke_dasharray=f"0 {size / 8:.2f}")
    yield lines(view, runs(path, rapids=False), decimals=1, stroke=INK, stroke_width=size / 40)


def _first_cut(view: View, path: Toolpath, size: float) -> Iterator[Element]:
    cuts = np.flatnonzero(path.kinds != Move.RAPID)
    if len(cuts):
        x, y = view(path.points[cuts[0], :2])[0]
        yield element("circle", cx=x, cy=y, r=size / 2, stroke=INK, stroke_width=size / 8, class_="first-cut")
