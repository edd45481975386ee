"""Which colours touch, which therefore belong in different stages, and walls of wood between them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.arrays import Floats

Shape: TypeAlias = Polygon | MultiPolygon
Regions: TypeAlias = Sequence[tuple[str, Shape]]

TOUCHING = 0.05
"""Colours nearer than this count as touching, mm: no wood worth the name stands in so thin a wall."""
_SLACK = 1e-6  # of the boxes round them, mm
EXACT_UP_TO = 9
"""Up to so many colours the fewest stages are found by trying; above it one colour after another is placed."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Touch:
    """Where two colours meet."""

    colours: tuple[str, str]
    length: float
    """Length of edge that they share, mm; each stretch may be long by twice what counts as touching."""
    places: Floats
    """(n, 2): the middle of each stretch of shared edge, the longest first, mm."""
    lengths: Floats
    """(n,): length of each stretch, mm."""


def touches(regions: Regions) -> tuple[Touch, ...]:
    """Every pair of colours that touch, the longest shared edge first."""
    return _touches(tuple(regions))


@lru_cache(maxsize=8)
def _touches(regions: Regions) -> tuple[Touch, ...]:
    colours, shapes = [colour for colour, _ in regions], [shape for _, shape in regions]
    pairs = pairs_within(shapes, TOUCHING)
    reach = {j: overlay.buffer(shapes[j], TOUCHING, quad_segs=4, cap_style="flat") for j in {j for _, j in pairs}}
    found = [_touch((colours[i], colours[j]), shapely.boundary(shapes[i]), reach[j]) for i, j in pairs]
    return tuple(sorted((t for t in found if len(t.lengths)), key=lambda t: -t.length))


def pairs_within(shapes: Sequence[Shape], far: float) -> list[tuple[int, int]]:
    """Which of some shapes lie so near to each other, mm: numbers of pairs, in order."""
    if not shapes[1:]:
        return []
    every = np.asarray(shapes, dtype=object)
    boxes = shapely.box(*(shapely.bounds(every) + (far + _SLACK) * np.array([-1.0, -1.0, 1.0, 1.0])).T)
    found = shapely.STRtree(every).query(boxes)
    pairs = found[:, found[0] < found[1]].T
    pairs = pairs[np.lexsort(pairs.T[::-1])]
    # a pair takes as long as the smaller of the two is large: the larger one is made ready, once for all its pairs
    large, small = np.take_along_axis(pairs, np.argsort(-shapely.get_num_coordinates(every)[pairs], kind="stable"), 1).T
    shapely.prepare(every)
    near = pairs[shapely.dwithin(every[large], every[small], far)]
    shapely.destroy_prepared(every)
    return [(i, j) for i, j in near.tolist()]


def proposed_stages(
    colours: Sequence[str], touching: Iterable[Touch], areas: Mapping[str, float],
    near: Iterable[tuple[str, str]] = (),
) -> list[list[str]]:
    """Stages in which no two colours touch: as few as can be, the largest colours first.

    Of those that are as few, the ones with the fewest pairs in one stage of those that are too `near` to each other.

    A later stage cuts its edges into the earlier ones, so small colours with fine edges come last. Up to
    `EXACT_UP_TO` colours the number of stages is the least there is.
    """
    pairs, close = {frozenset(t.colours) for t in touching}, {frozenset(pair) for pair in near}
    order = sorted(colours, key=lambda c: (-areas[c], c))
    most = _placed_in_turn(order, pairs, close)
    if len(order) <= EXACT_UP_TO:
        most = min(_every_placing(order, pairs, len(most)), key=lambda found: (len(found), _within(found, close)))
    return sorted(most, key=lambda stage: -sum(areas[c] for c in stage))


def walled(regions: Regions, wall: float) -> list[tuple[str, Shape]]:
    """The regions shrunk where they come nearer to each other than `wall`, so that so much wood stands between. Where
    two share an edge each gives way by half of `wall`. A colour may be empty afterwards."""
    shapes = [shape for _, shape in regions]
    for i, j in pairs_within(shapes, wall):  # they only shrink
        if shapely.distance(shapes[i], shapes[j]) >= wall:
            continue
        first = shapes[i]
        shapes[i] = _polygonal(overlay.difference(first, _grown(shapes[j], wall / 2)))
        shapes[j] = _polygonal(overlay.difference(shapes[j], _grown(shapes[i], wall)))
    return [(colour, shape) for (colour, _), shape in zip(regions, shapes, strict=True)]


def lapped(regions: Regions, later: Iterable[Shape], lap: float, *, wall: float = 0.0) -> list[tuple[str, Shape]]:
    """The regions run on by `lap` under the colours of later stages that they touch.

    The later stage then cuts its edge through cured fill, and no sliver of wood is left along it. `wall` of wood stays
    between them there too, as where two run on under a narrow one from both sides.
    """
    after = overlay.union_all(list(later))
    grown = []
    for colour, shape in regions:
        others = overlay.union_all([_grown(s, wall) if wall else s for c, s in regions
                                    if c != colour and shapely.dwithin(s, shape, lap + 2 * wall)])
        under = overlay.difference(overlay.intersection(overlay.buffer(shape, lap, quad_segs=32), after), others)
        grown.append((colour, _polygonal(overlay.union(shape, under))))
    return walled(grown, wall)


def _touch(colours: tuple[str, str], edge: BaseGeometry, reach: BaseGeometry) -> Touch:
    """The edge of one colour within reach of another."""
    stretches = _stretches(overlay.intersection(edge, reach))
    # An edge that runs up to the other colour and ends there counts only from where it is within reach.
    lengths = shapely.length(stretches)
    keep = lengths > 4 * TOUCHING
    stretches, lengths = stretches[keep], lengths[keep]
    order = np.argsort(-lengths, kind="stable")
    middle = shapely.line_interpolate_point(stretches[order], 0.5, normalized=True)
    return Touch(
        colours=colours, length=float(lengths.sum()), places=shapely.get_coordinates(middle).reshape(-1, 2),
        lengths=lengths[order],
    )


def _stretches(lines: BaseGeometry) -> NDArray[np.object_]:
    parts = shapely.get_parts(lines)
    parts = parts[np.isin(shapely.get_type_id(parts), (1, 2))]
    if not len(parts):
        return parts
    return shapely.get_parts(shapely.line_merge(shapely.multilinestrings(parts)))


def _placed_in_turn(
    order: Sequence[str], pairs: set[frozenset[str]], close: set[frozenset[str]]
) -> list[list[str]]:
    """Each colour in the stage with the fewest that are close to it, the first of them, where it touches nothing."""
    stages: list[list[str]] = []
    for colour in order:
        free = [s for s in stages if not _of(colour, s, pairs)]
        if free:
            min(free, key=lambda s: _of(colour, s, close)).append(colour)
        else:
            stages.append([colour])
    return stages


def _every_placing(order: Sequence[str], pairs: set[frozenset[str]], most: int) -> Iterator[list[list[str]]]:
    """Every way to put the colours into up to `most` stages in which none touch."""
    if not order:
        yield []
        return
    *others, last = order
    for stages in _every_placing(others, pairs, most):
        for k, stage in enumerate(stages):
            if not _of(last, stage, pairs):
                yield [*stages[:k], [*stage, last], *stages[k + 1 :]]
        if len(stages) < most:
            yield [*stages, [last]]


def _of(colour: str, stage: Sequence[str], pairs: set[frozenset[str]]) -> int:
    """With how many colours of a stage another makes one of some pairs."""
    return sum(frozenset((colour, other)) in pairs for other in stage)


def _within(stages: Sequence[Sequence[str]], pairs: set[frozenset[str]]) -> int:
    """How many of some pairs lie in one stage."""
    return sum(any(pair <= set(stage) for stage in stages) for pair in pairs)


def _grown(shape: Shape, by: float) -> BaseGeometry:
    """A little more than `by`, so that rounded corners as chords, and what buffering simplifies, keep the distance."""
    segments = 32
    return overlay.buffer(shape, by * 1.0006 / math.cos(math.pi / 4 / segments), quad_segs=segments)


def _polygonal(shape: BaseGeometry) -> Shape:
    """Only the areas of a geometry."""
    parts = [p for p in shapely.get_parts(shape) if p.geom_type == "Polygon" and p.area > 1e-9]
    return parts[0] if len(parts) == 1 else MultiPolygon(parts)
