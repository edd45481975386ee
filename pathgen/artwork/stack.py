"""Many shapes on one another: what shows of each colour, in time that grows with the shapes and not with their pairs.

Shapes go into blocks, and blocks into larger ones, so that each is compared with a few blocks and not with every
shape above it; what a block hides wholly is left out of the blocks below it at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely

from pathgen.artwork.areas import Geometries, too_crossed
from pathgen.artwork.unions import areal, united
from pathgen.base import overlay
from pathgen.base.arrays import Bools, Ints

_BLOCK = 6
"""Blocks in a larger one."""

_LEAST_EFFORT, _EFFORT = 5e6, 8.0
"""Corners that may be worked through: so many, and so many for each corner given. Shapes of 1.2 million corners, each
on all the others, took 3 for each; 400 scribbles of 20 curves took 1.7 million."""

_PAIR = 20.0
"""What two shapes that meet cost beyond their corners, in corners."""

_COLOURS = 20.0
"""What it costs to lay one colour on another, in corners, wherever they lie."""

_PREPARING = 5.0
"""What it costs to prepare a corner of a polygon, in comparisons of one."""


@dataclass
class _Effort:
    """Corners that may still be worked through, so that a drawing that would take minutes is refused in seconds."""

    left: float

    def spend(self, *areas: Geometries) -> None:
        self.left -= sum(int(shapely.get_num_coordinates(some).sum()) for some in areas)
        if self.left < 0:
            raise too_crossed("the shapes of the drawing")


@dataclass(eq=False)
class Layer:
    """A run of shapes, as sets of separate parts: what shows of each colour, and all that each was painted over."""

    visible: dict[str, Geometries] = field(default_factory=dict)
    whole: dict[str, Geometries] = field(default_factory=dict)


def stacked(colours: Sequence[str], areas: Geometries) -> Layer:
    """Shapes laid over one another, the lowest first.

    Raises ArtworkError when they cross one another so often that it would take minutes.
    """
    corners = int(shapely.get_num_coordinates(areas).sum())
    return _stacked(colours, areas, _Effort(_LEAST_EFFORT + _EFFORT * corners))


def _stacked(colours: Sequence[str], areas: Geometries, effort: _Effort) -> Layer:
    if len(areas) == 0:
        return Layer()
    if len(set(colours)) == 1:
        parts = shapely.get_parts(united(areas))
        return Layer({colours[0]: parts}, {colours[0]: parts})
    blocks = np.array_split(np.arange(len(areas)), min(_BLOCK, len(areas)))
    layer = Layer()
    for block in reversed(blocks):
        block = block[~_is_hidden(areas[block], layer)]
        if len(block):
            layer = _over(_stacked([colours[i] for i in block], areas[block], effort), layer, effort)
    return layer


def _is_hidden(areas: Geometries, above: Layer) -> Bools:
    """Which areas lie wholly under one part of a layer; those that have no point there are not asked for long."""
    hidden = np.zeros(len(areas), dtype=bool)
    points = shapely.get_point(shapely.get_exterior_ring(shapely.get_geometry(areas, 0)), 0)
    for parts in above.whole.values():
        part, area = shapely.STRtree(points).query(parts, predicate="contains")
        wanted = ~hidden[area]
        part, area = part[wanted], area[wanted]
        shapely.prepare(parts[part])
        hidden[area] |= shapely.covers(parts[part], areas[area])
    return hidden


def _over(below: Layer, above: Layer, effort: _Effort) -> Layer:
    """One layer on another. What shows may run on under its own colour: there it merges."""
    visible, whole = dict(above.visible), dict(above.whole)
    near = _near(below.visible, above.whole)
    effort.left -= _COLOURS * len(below.visible) * len(above.whole)
    for colour, parts in below.visible.items():
        for other in near[colour]:
            if other != colour and len(parts):
                parts = _uncovered(parts, above.whole[other], effort)
        if colour in visible:
            parts = _beside(parts, above.whole[colour], visible[colour], effort)
        if len(parts):  # else shapes of other colours hide it wholly, though none of them alone does
            visible[colour] = parts
    for colour, parts in below.whole.items():
        whole[colour] = _merged(parts, whole[colour], effort) if colour in whole else parts
    return Layer(visible, whole)


def _near(below: dict[str, Geometries], above: dict[str, Geometries]) -> dict[str, list[str]]:
    """Of each colour the others, in their order, that have a part which meets one of its own: of many colours most
    pairs have none, and asked all at once that takes little."""
    if not below or not above:
        return {colour: [] for colour in below}
    pairs = _meeting(*(np.concatenate(list(some.values())) for some in (below, above)))
    mine, theirs = (np.repeat(np.arange(len(some)), [len(parts) for parts in some.values()])
                    for some in (below, above))
    others = list(above)
    met = np.zeros((len(below), len(above)), dtype=bool)
    met[mine[pairs[0]], theirs[pairs[1]]] = True
    return {colour: [others[k] for k in np.flatnonzero(row)] for colour, row in zip(below, met, strict=True)}


def _meeting(first: Geometries, second: Geometries) -> tuple[Ints, Ints]:
    """Pairs of parts of two sets that meet: the set that is cheaper to prepare is prepared."""
    if not len(first) or not len(second):
        return np.zeros(0, dtype=np.intp), np.zeros(0, dtype=np.intp)
    i, j = shapely.STRtree(second).query(first)
    if not len(i):
        return i, j
    sizes, others = shapely.get_num_coordinates(first), shapely.get_num_coordinates(second)
    here = _PREPARING * sizes[np.unique(i)].sum() + others[j].sum()
    there = _PREPARING * others[np.unique(j)].sum() + sizes[i].sum()
    if here <= there:
        shapely.prepare(first[i])
        meet = shapely.intersects(first[i], second[j])
    else:
        shapely.prepare(second[j])
        meet = shapely.intersects(second[j], first[i])
    return i[meet], j[meet]


def _uncovered(parts: Geometries, cover: Geometries, effort: _Effort) -> Geometries:
    """What is left of parts outside a cover of separate parts."""
    hit, by = _meeting(parts, cover)
    if not len(hit):
        return parts
    effort.left -= _PAIR * len(hit)
    which, group = np.unique(hit, return_inverse=True)
    order = np.argsort(group, kind="stable")
    covers = shapely.multipolygons(cover[by[order]], indices=group[order])
    effort.spend(parts[which], covers)
    rest = shapely.get_parts(areal(overlay.difference(parts[which], covers)))
    effort.spend(rest)
    return np.concatenate([np.delete(parts, which), rest[~shapely.is_empty(rest)]])


def _beside(parts: Geometries, cover: Geometries, visible: Geometries, effort: _Effort) -> Geometries:
    """Parts added to what shows of their colour above: none that misses all that was painted there can meet it."""
    near = np.unique(_meeting(parts, cover)[0])
    return np.concatenate([np.delete(parts, near), _merged(parts[near], visible, effort)])


def _merged(first: Geometries, second: Geometries, effort: _Effort) -> Geometries:
    """Two sets of separate parts as one; only those that meet the other set are united."""
    mine, theirs = (np.unique(some) for some in _meeting(first, second))
    rest = [np.delete(first, mine), np.delete(second, theirs)]
    if not len(mine):
        return np.concatenate(rest)
    effort.spend(first[mine], second[theirs])
    union = overlay.union(*(shapely.multipolygons(list(some)) for some in (first[mine], second[theirs])))
    return np.concatenate([*rest, shapely.get_parts(areal(union))])
