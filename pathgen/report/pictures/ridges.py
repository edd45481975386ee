"""A map of the ridges between passes: how high the simulation found them, and where they are highest."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely
from numpy.typing import NDArray

from pathgen.base import overlay
from pathgen.base.arrays import Floats, Ints
from pathgen.base.markup import Element, element
from pathgen.base.picture import INK, View, area, lines, words
from pathgen.base.units import tiny_length
from pathgen.verify.ridges import Ridges
from pathgen.work.clamping import Clamping

SHADES = ("#fafbf9", "#eaf1ea", "#d8e6dc", "#c3d9cd", "#abcabd", "#92baae", "#78a89e", "#5f968f")
"""From the lowest patch to the limit, light to dark."""
OVER = "#a3341c"
"""Above the limit."""
ROUNDING = 7e-4
"""How far over the limit rounding may bring a ridge, mm: what verification allows."""
_FROM = 0.5
"""Share of the limit that the shades reach down to at least: ridges all as high as one another are of one shade."""
_ROWS = 24  # patches across the board


def ridge_picture(clamping: Clamping, ridges: Ridges) -> Element:
    """Patches of the board shaded by the highest ridge measured in each, with the worst place marked."""
    assert clamping.surfacing is not None
    outline, limit = clamping.board.outline, clamping.surfacing.scallop
    x0, y0, x1, y1 = outline.bounds
    size = (x1 - x0) / 54
    view = View.around((x0, y0 - 4 * size, x1, y1), 2 * size)
    boxes, highest = patches(ridges, outline)
    low = lightest(highest, limit)
    return view.picture(
        f"{clamping.title}: ridges between passes",
        *_patches(view, boxes, shade(highest, low, limit), outline),
        area(view, outline, stroke=INK, stroke_width=0.4),
        *_worst(view, ridges, clamping.units, size),
        *_scale(view, low, limit, clamping.units, np.array([x0, y0 - 3.2 * size]), size))


def patches(ridges: Ridges, outline: shapely.Polygon) -> tuple[NDArray[np.object_], Floats]:
    """Boxes half-way round each section, in strips across, and the highest ridge in each, mm; empty ones left out."""
    x0, y0, x1, y1 = outline.bounds
    if not len(ridges.x):
        return np.empty(0, dtype=object), np.empty(0)
    xs, column = np.unique(ridges.x, return_inverse=True)
    row = np.clip(((ridges.y - y0) / (y1 - y0) * _ROWS).astype(int), 0, _ROWS - 1)
    highest = np.full((_ROWS, len(xs)), np.nan)
    np.fmax.at(highest, (row, column), ridges.height)
    edges = np.concatenate([[x0], (xs[1:] + xs[:-1]) / 2, [x1]])
    steps = np.linspace(y0, y1, _ROWS + 1)
    boxes = shapely.box(edges[:-1][None], steps[:-1][:, None], edges[1:][None], steps[1:][:, None])
    there = np.isfinite(highest)
    return np.asarray(overlay.intersection(boxes[there], outline)), highest[there]


def lightest(highest: Floats, limit: float) -> float:
    """The height from which shades begin, mm."""
    return float(np.floor(highest.min(initial=_FROM * limit) * 1e4) / 1e4)


def shade(height: Floats, low: float, limit: float) -> Ints:
    """Index into `SHADES` of each height; ``len(SHADES)`` where it is over the limit by more than rounding."""
    share = (np.asarray(height) - low) / max(limit - low, 1e-9)
    level = np.clip((share * len(SHADES)).astype(int), 0, len(SHADES) - 1)
    return np.where(height > limit + ROUNDING, len(SHADES), level)


def _patches(view: View, boxes: NDArray[np.object_], levels: Ints, outline: shapely.Polygon) -> Iterator[Element]:
    for level in np.unique(levels).tolist():
        colour = (*SHADES, OVER)[level]
        # a hair wider, so that no seam shows between neighbours
        shape = overlay.buffer(overlay.union_all(boxes[levels == level]), 0.05, join_style="mitre")
        yield area(view, overlay.intersection(shape, outline), decimals=1, fill=colour)


def _worst(view: View, ridges: Ridges, units: str, size: float) -> Iterator[Element]:
    x, y = ridges.highest_at
    if not np.isfinite(x):
        return
    arm = 0.8 * size
    for colour, width in (("#ffffff", size / 3), (INK, size / 8)):
        yield lines(view, [np.array([[x - arm, y - arm], [x + arm, y + arm]]),
                           np.array([[x - arm, y + arm], [x + arm, y - arm]])],
                    stroke=colour, stroke_width=width, class_="worst")
    side = "end" if x > (view.left + view.right) / 2 else "start"
    aside = np.array([-1.2 if side == "end" else 1.2, -0.35]) * size
    yield words(view, np.array([x, y]) + aside, tiny_length(ridges.highest, units, sign="µm"), size=size,
                text_anchor=side,
                font_weight="bold", paint_order="stroke", stroke="#ffffff", stroke_width=size / 3)


def _scale(view: View, low: float, limit: float, units: str, at: Floats, size: float) -> Iterator[Element]:
    wide = 3.2 * size
    for i, colour in enumerate(SHADES):
        x = at[0] + i * wide
        yield area(view, shapely.box(x, at[1], x + wide, at[1] + size), fill=colour, stroke=INK, stroke_width=0.15)
    end = at[0] + len(SHADES) * wide
    yield element("g",
                  words(view, at + [0.0, -1.1 * size], tiny_length(low, units, figures=4, sign="µm"), size=size,
                        text_anchor="start"),
                  words(view, [end, at[1] - 1.1 * size],
                        tiny_length(limit, units, figures=4, sign="µm") + ", the limit", size=size, text_anchor="end"))
