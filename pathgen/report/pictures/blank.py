"""A blank with several parts from above, as it lies on the machine."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.arrays import Floats
from pathgen.base.markup import Element, element
from pathgen.base.picture import BLANK, INK, PALE, WOOD, View, area
from pathgen.report.pictures.above import Standing, axes, clamp_from_above, crosses, inlay_areas, name_clamps
from pathgen.report.pictures.labels import Labels, around
from pathgen.work.clamping import Clamping
from pathgen.work.operations import WitnessMarks
from pathgen.work.part import wood_in_plan

_AXES = {"x": ((1.0, 0.0), (0.0, 1.0)), "y": ((0.0, -1.0), (1.0, 0.0))}
"""The machine's axes, X and Y, as they lie on the blank."""
_WORDS = 54  # words are so much smaller than the blank is wide


def blank_from_above(
    title: str, clampings: Sequence[Clamping], names: Sequence[str], *, along: str,
    opened: Sequence[Sequence[BaseGeometry]],
) -> Element:
    """The whole blank, its length, along the machine's axis `along`, to the right; each part on its share, numbered.

    `opened` is what is opened of each inlay, part by part."""
    first = clampings[0]
    assert first.shared is not None
    blank = _seen(first, along, shapely.box(*first.shared.blank))
    clamps = [(_seen(first, along, box.shape), box.height) for box in first.setup.keep_out]
    bounds = shapely.total_bounds([blank, shapely.Point(0.0, 0.0), *(shape for shape, _ in clamps)])
    size = float(np.ptp(bounds[::2])) / _WORDS
    base = View.around(tuple(bounds.tolist()), 3.2 * size)
    labels = _labels(first, clampings, names, along, clamps, base, size)
    view = View.around(labels.within((base.left, base.bottom, base.right, base.top)), 0.0)
    return view.picture(
        f"{title}: the blank from above",
        area(view, blank, fill=BLANK, stroke=INK, stroke_width=size / 10),
        *(drawn for one, cut in zip(clampings, opened, strict=True) for drawn in _part(view, one, along, size, cut)),
        *(clamp_from_above(view, shape, size) for shape, _ in clamps),
        *(drawn for one in clampings for drawn in crosses(view, _marks(one, along), size)),
        element("circle", cx=view([0.0, 0.0])[0, 0], cy=view([0.0, 0.0])[0, 1], r=0.5 * size, fill="#ffffff",
                stroke=INK, stroke_width=size / 6, class_="zero"),
        *axes(view, float(bounds[1]), np.array(_AXES[along]), size),
        *labels.drawn(view))


def _labels(first: Clamping, clampings: Sequence[Clamping], names: Sequence[str], along: str,
            clamps: Sequence[Standing], base: View, size: float) -> Labels:
    """The parts' names, each in its share beside the part where there is room, and those of clamps and marks."""
    assert first.shared is not None
    parts = [_seen(one, along, wood_in_plan(one.board)) for one in clampings]
    corner = shapely.box(base.left, base.bottom, base.left + 3.5 * size, base.bottom + 5 * size)
    zero = overlay.buffer(shapely.Point(0.0, 0.0), 0.7 * size)
    shares = [_seen(one, along, shapely.box(*one.stock.bounds)).exterior for one in clampings]
    shares.append(_seen(first, along, shapely.box(*first.shared.blank)).exterior)
    rings = [(number, overlay.buffer(shapely.Point(at), 0.4 * size)) for one in clampings
             for number, at in enumerate(_marks(one, along), 1)]
    labels = Labels([*parts, *(shape for shape, _ in clamps), *(ring for _, ring in rings), zero, corner], shares)
    for number, (one, name, part) in enumerate(zip(clampings, names, parts, strict=True), 1):
        x0, y0, x1, y1 = _seen(one, along, shapely.box(*one.stock.bounds)).bounds
        spots = [(x, y, way) for y in (y1 - 1.2 * size, y0 + 0.5 * size)
                 for x, way in ((x0 + 0.4 * size, "start"), (x1 - 0.4 * size, "end"), ((x0 + x1) / 2, "middle"))]
        labels.put(f"{number} {name}", spots, size=size, named=part, font_weight="bold")
    name_clamps(labels, clamps, first.units, size)
    for number, symbol in rings:
        labels.put(f"mark {number}", around(symbol, 0.8 * size), size=0.8 * size, named=symbol)
    return labels


def _marks(one: Clamping, along: str) -> Floats:
    """(n, 2) places of a part's witness marks on the blank."""
    marks = one.feature(WitnessMarks)
    return np.empty((0, 2)) if marks is None else shapely.get_coordinates(
        _seen(one, along, shapely.MultiPoint(marks.places)))


def _part(
    view: View, one: Clamping, along: str, size: float, opened: Sequence[BaseGeometry],
) -> Iterator[Element]:
    share = _seen(one, along, shapely.box(*one.stock.bounds))
    yield area(view, share, stroke=PALE, stroke_width=size / 12, stroke_dasharray=f"{size / 2} {size / 3}")
    yield area(view, _seen(one, along, wood_in_plan(one.board)), fill=WOOD, stroke=INK, stroke_width=0.5, class_="part")
    yield from inlay_areas(view, one, opened, lambda shape: _seen(one, along, shape))


def _seen(one: Clamping, along: str, shape: BaseGeometry) -> BaseGeometry:
    """A shape of a part's frame as it lies on the blank, X 0, Y 0 of the programs at 0, 0."""
    def there(points: Floats) -> Floats:
        x, y = one.to_machine(np.column_stack([points, np.zeros(len(points))]))[:, :2].T
        return np.column_stack([y, -x] if along == "y" else [x, y])

    return shapely.transform(shape, there)
