"""Where the words of a picture stand: over nothing that is to be seen, and not over one another."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from itertools import chain, count, islice

import shapely
from shapely.geometry.base import BaseGeometry

from pathgen.base.arrays import Floats
from pathgen.base.markup import Element
from pathgen.base.picture import INK, View, lines, words

_LETTER = 0.64
"""Width of a letter as a share of its size: digits of common sans-serif faces are 0.55 to 0.64 wide (from memory)."""
_LOWER, _UPPER = -0.2, 0.78  # how far words reach below and above the line they stand on, in sizes
_ROW = 1.15  # from row to row, in sizes
_NEAR = 1.6  # words further than that from what they name, in sizes, have a line that leads there
_BESIDE = 0.15  # kept between words and lines, in sizes, where that can be helped
_AT_ONCE = 3  # rows that are looked through together
_TRIED = 120  # free spots that are tried for a line that leads through no other words
_START = {"start": 0.0, "middle": -0.5, "end": -1.0}
Spot = tuple[float, float, str]
"""Where words stand: x, y of their line, and which end of them that is (`text_anchor`)."""


class Labels:
    """Words in mm of a part's frame, each put where none of `taken`, nor an earlier one, lies under it; nor any of
    `lines`, where that can be helped."""

    def __init__(self, taken: Sequence[BaseGeometry], lines: Sequence[BaseGeometry] = ()) -> None:
        self._lines = list(lines)
        self._taken = [one for one in taken if not one.is_empty]
        self._frame = shapely.box(*shapely.total_bounds([*self._taken, *self._lines]))
        self._put: list[tuple[str, Spot, float, dict[str, str], Floats | None]] = []

    def put(
        self, text: str, spots: Iterable[Spot], *, size: float, named: BaseGeometry | None = None, **style: str
    ) -> None:
        """Put words at the first of `spots` that is free; else in the first free row above or below everything. Far
        from what is `named`, a line leads there: through no other words, where one of the next spots is so."""
        spots = list(spots)
        clear = (one for one in spots if not shapely.dwithin(_box(text, one, size), self._lines, _BESIDE * size).any())
        free = (one for one in chain(clear, spots, self._rows(text, spots[0], size, named))
                if not shapely.intersects(_box(text, one, size), self._taken).any())
        first = next(free)
        spot = next((one for one in chain([first], islice(free, _TRIED))
                     if not self._crosses(_lead(text, one, size, named))), first)
        lead = _lead(text, spot, size, named)
        self._taken.append(_box(text, spot, size))
        self._put.append((text, spot, size, style, None if lead is None else shapely.get_coordinates(lead)))

    def within(self, box: tuple[float, float, float, float]) -> tuple[float, float, float, float]:
        """A box grown to hold all words whole."""
        boxes = [_box(text, spot, 1.15 * size) for text, spot, size, *_ in self._put]
        x0, y0, x1, y1 = shapely.total_bounds([shapely.box(*box), *boxes]).tolist()
        return x0, y0, x1, y1

    def drawn(self, view: View) -> Iterator[Element]:
        """All of them, in a view that holds them."""
        for text, (x, y, anchor), size, style, lead in self._put:
            if lead is not None:
                yield lines(view, [lead], stroke=style.get("fill", INK), stroke_width=size / 16, class_="lead")
            yield words(view, (x, y), text, size=size, text_anchor=anchor, **style)

    def _crosses(self, lead: BaseGeometry | None) -> bool:
        """Whether a line runs through words that are there already."""
        return lead is not None and any(lead.intersects(_box(text, spot, size)) for text, spot, size, *_ in self._put)

    def _rows(self, text: str, spot: Spot, size: float, named: BaseGeometry | None) -> Iterator[Spot]:
        """Rows outside everything, on the side that a spot is on, a few at a time: from the spot sideways, or first
        where it is nearest to what is `named`."""
        x, y, _ = spot
        x0, y0, x1, y1 = self._frame.bounds
        up = y > (y0 + y1) / 2
        sideways = [x + way * aside * size
                    for aside in range(int((x1 - x0) / size) + 2) for way in (1, -1)[: 1 + aside]]
        for first in count(0, _AT_ONCE):
            levels = [y1 + (0.4 + row * _ROW) * size if up else y0 - (1.0 + row * _ROW) * size
                      for row in range(first, first + _AT_ONCE)]
            some = [(at, level, "start" if at - x0 < x1 - x else "end")
                    for level in levels for at in sideways if x0 <= at <= x1]
            yield from some if named is None else sorted(some, key=lambda one: _box(text, one, size).distance(named))


def _lead(text: str, spot: Spot, size: float, named: BaseGeometry | None) -> BaseGeometry | None:
    """The line from words to what they name; None where they stand beside it."""
    box = _box(text, spot, size)
    return None if named is None or box.distance(named) <= _NEAR * size else shapely.shortest_line(box, named)


def around(shape: BaseGeometry, size: float) -> Iterator[Spot]:
    """Spots beside a shape: below it, above it, right and left of it."""
    x0, y0, x1, y1 = shape.bounds
    middle = (y0 + y1) / 2 - 0.3 * size
    for y in (y0 - size, y1 + 0.4 * size):
        yield from (((x0 + x1) / 2, y, "middle"), (x0, y, "start"), (x1, y, "end"))
    yield from ((x1 + 0.4 * size, middle, "start"), (x0 - 0.4 * size, middle, "end"))
    for y in (y0 - size, y1 + 0.4 * size):
        yield from ((x1 + 0.2 * size, y, "start"), (x0 - 0.2 * size, y, "end"))


def wide(text: str, size: float) -> float:
    """How much room words take at most, from side to side."""
    return _LETTER * size * len(text)


def fitting(text: str, wide: float) -> float:
    """The largest size at which words fit into a circle so wide."""
    return 0.99 * wide / math.hypot(_LETTER * len(text), _UPPER - _LOWER)


def _box(text: str, spot: Spot, size: float) -> BaseGeometry:
    x, y, anchor = spot
    left = x + _START[anchor] * wide(text, size)
    return shapely.box(left, y + _LOWER * size, left + wide(text, size), y + _UPPER * size)
