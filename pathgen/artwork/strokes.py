"""The area that a stroke covers: its width, caps, joins, mitre limit and dashes.

A line is cut where it bends by more than the tolerance allows. Each run between cuts becomes one polygon, its two
sides offset by half the width; each cut gets the wedge that its join asks for, each end its cap. All of it is worked
out in the element's own coordinates, where the pen is round, then mapped to the page and united.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from pathgen.artwork.areas import EMPTY, Geometries, check_tangle
from pathgen.artwork.dashes import dashed
from pathgen.artwork.flatten import MAX_TURN, Polylines, flatten, transformed
from pathgen.artwork.scene import Paint, Stroke
from pathgen.artwork.transforms import IDENTITY, largest_scale
from pathgen.artwork.unions import united
from pathgen.base.arrays import Bools, Floats, Ints

_FINEST = 5e-5
"""The tolerance is never finer than this share of a line's width: 5 um for a line 100 mm wide."""


def stroked(paints: Sequence[Paint], tolerance: float) -> Geometries:
    """(n,) the area of the stroke of each of n paints, in mm on the page.

    `tolerance` is the furthest that a straight piece may lie from its curve on the page, mm.
    """
    strokes = [paint.stroke or Stroke(0.0) for paint in paints]
    near = np.array([
        max(tolerance / largest_scale(paint.matrix), _FINEST * stroke.width)
        for paint, stroke in zip(paints, strokes, strict=True)
    ])
    lines = flatten([paint.curves for paint in paints], [IDENTITY] * len(paints), near, tangents=True)
    lines = _cleaned(dashed(lines, strokes, [paint.where for paint in paints]), near)
    pen = _Pen(lines, strokes, near, np.array([paint.matrix for paint in paints], dtype=float))
    rings = [pen.loops(), *pen.bodies(), *pen.joins(), *pen.caps(), *pen.dots()]
    return _united(rings, [paint.where for paint in paints])


Rings = tuple[Geometries, Ints]
"""Polygons, and the paint that each belongs to."""


def _united(rings: Sequence[Rings], where: Sequence[str]) -> Geometries:
    polygons = np.concatenate([some for some, _ in rings])
    owner = np.concatenate([some for _, some in rings])
    order = np.argsort(owner, kind="stable")
    polygons, owner = polygons[order], owner[order]
    usable = shapely.is_valid(polygons) & (shapely.area(polygons) > 0)
    polygons, owner = polygons[usable], owner[usable]
    areas = np.full(len(where), EMPTY, dtype=object)
    which, begin, count = np.unique(owner, return_index=True, return_counts=True)
    areas[which] = polygons[begin]
    for i, first, size in zip(which[count > 1], begin[count > 1], count[count > 1], strict=True):
        some = polygons[first: first + size]
        check_tangle(some, where[i])
        areas[i] = united(some)
    return areas


def _cleaned(lines: Polylines, near: Floats) -> Polylines:
    """The lines without repeated points; a closed one does not end where it begins."""
    count = len(lines.closed)
    line = np.repeat(np.arange(count), np.diff(lines.start))
    least = near[lines.owner[line]] * 1e-3
    first = np.zeros(len(line), dtype=bool)
    first[lines.start[:-1]] = True
    step = np.hypot(*np.diff(lines.points, axis=0, prepend=lines.points[:1]).T)
    keep = first | (step > least)
    back = np.hypot(*(lines.points - lines.points[lines.start[:-1]][line]).T) <= least
    away = np.maximum.reduceat(np.where(back, -1, np.arange(len(line))), lines.start[:-1])
    again = lines.closed[line] & ~first & (np.arange(len(line)) > away[line])  # back where a closed line begins
    kept_before = np.maximum.accumulate(np.where(keep, np.arange(len(keep)), -1))
    corner = lines.corner.copy()
    corner[kept_before[~keep & lines.corner & ~again]] = True
    keep &= ~again
    start = np.append(0, np.cumsum(np.bincount(line[keep], minlength=count)))
    return Polylines(lines.points[keep], start, corner[keep], lines.closed, lines.owner)


class _Pen:
    """The polygons of many strokes at once. Vertex arrays are (n, ...), in the order of the lines."""

    def __init__(self, lines: Polylines, strokes: Sequence[Stroke], near: Floats, matrices: Floats) -> None:
        sizes = np.diff(lines.start)
        self.lines, self.matrices = lines, matrices
        self.points = lines.points
        self.line = np.repeat(np.arange(len(sizes)), sizes)
        self.owner = lines.owner[self.line]
        self.half = np.array([stroke.width / 2 for stroke in strokes])[self.owner]
        self.near = near[self.owner]
        self.single = (sizes == 1)[self.line]
        self.first, self.last = lines.start[:-1], lines.start[1:] - 1
        self.next = np.arange(1, len(self.line) + 1)
        self.next[self.last] = self.first
        self.has_edge = ~self.single
        self.has_edge[self.last[~lines.closed]] = False
        self.joins_as = np.array([stroke.join for stroke in strokes])[self.owner]
        self.ends_as = np.array([stroke.cap for stroke in strokes])[self.owner]
        self.limit = np.array([stroke.mitre_limit for stroke in strokes])[self.owner]
        self._turn()

    def _turn(self) -> None:
        """What happens at each vertex: unit directions in and out, the signed turn, how many times as far as the sides
        its mitre reaches, and whether the line is cut there: not where a mitre is right, or strays less than the
        tolerance, and fits."""
        step = self.points[self.next] - self.points
        length = np.hypot(step[:, 0], step[:, 1])
        self.after = after = np.divide(step, length[:, None], out=np.zeros_like(step), where=length[:, None] > 0)
        self.before = before = np.zeros_like(after)
        before[self.next] = after
        self.inner = self.has_edge.copy()
        self.inner[self.first[~self.lines.closed]] = False
        cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
        self.angle = np.arctan2(cross, np.sum(before * after, axis=1))
        with np.errstate(divide="ignore"):
            self.ratio = 1.0 / np.cos(self.angle / 2)
        pointed = self.lines.corner & (self.joins_as == "miter") & (self.ratio <= np.minimum(self.limit, 10.0))
        gentle = self.inner & (pointed | (self.half * (self.ratio - 1.0) <= self.near))
        shift = np.where(gentle, self.half * np.tan(np.abs(self.angle) / 2), 0.0)
        tight = self.has_edge & (shift + shift[self.next] > length * 0.999)
        gentle[tight] = False
        gentle[self.next[tight]] = False
        self.cut = self.inner & ~gentle

    # --- lines that close

    def loops(self) -> Rings:
        """Each closed line that is nowhere cut as one polygon with a hole; the others are cut in two places."""
        sizes = np.diff(self.lines.start)
        sharp = np.bincount(self.line[self.cut], minlength=len(sizes)) > 0
        whole = np.flatnonzero(self.lines.closed & (sizes > 2) & ~sharp)
        vertex = np.flatnonzero(np.isin(self.line, whole))
        offset, ring = self._mitre_offset(vertex), np.repeat(np.arange(len(whole)), sizes[whole])
        sides = [self._rings(self.points[vertex] + sign * offset, ring, self.owner[vertex]) for sign in (1.0, -1.0)]
        first_is_out = np.greater_equal(*(shapely.area(shapely.polygons(side)) for side in sides))
        out, inside = np.where(first_is_out, sides, sides[::-1]) if len(whole) else sides
        polygons = shapely.polygons(out, holes=inside[:, None])
        good = shapely.is_valid(polygons)
        done = np.isin(self.line, whole[good])
        self.has_edge &= ~done
        again = self.lines.closed & (sizes > 1)
        again[whole[good]] = False
        self.cut[self.first[again]] = True
        self.cut[(self.first + sizes // 2)[again]] = True
        return polygons[good], self.lines.owner[whole[good]]

    # --- runs

    def bodies(self) -> list[Rings]:
        """A polygon for each run; one that runs into itself is cut in halves until none does."""
        edges = np.flatnonzero(self.has_edge)
        begins = self.cut[edges]
        begins[np.isin(edges, self.first)] = True
        found: list[Rings] = []
        while len(edges):
            polygons, run, size = self._run_polygons(edges, begins)
            good = shapely.is_valid(polygons) | (size == 1)
            found.append((polygons[good], self.owner[edges[begins]][good]))
            again = ~good[run]
            position = np.arange(len(edges)) - np.flatnonzero(begins)[run]
            begins |= position == size[run] // 2
            edges, begins = edges[again], begins[again]
            self.cut[edges[begins]] |= self.inner[edges[begins]]
        return found

    def _run_polygons(self, edges: Ints, begins: Bools) -> tuple[Geometries, Ints, Ints]:
        """Polygons of runs of edges (named by the vertex they start at), the run of each edge, edges in each run."""
        run = np.cumsum(begins) - 1
        size = np.bincount(run)
        flat = _left(self.after[edges]) * self.half[edges, None]
        offset = np.where(begins[:, None], flat, self._mitre_offset(edges))
        ends = np.append(np.flatnonzero(begins)[1:] - 1, len(edges) - 1)
        begin = np.concatenate([[0], np.cumsum(2 * size + 4)])  # each side has size + 1 points, and two middles
        place = begin[run] + np.arange(len(edges)) - np.flatnonzero(begins)[run]
        back = begin[run + 1] - 2 - (place - begin[run])
        ring = np.zeros((begin[-1], 2))
        here, there = self.points[edges], self.points[self.next[edges[ends]]]
        ring[place], ring[back] = here + offset, here - offset
        middle = begin[:-1] + size
        ring[middle], ring[middle + 1], ring[middle + 2] = there + flat[ends], there, there - flat[ends]
        ring[begin[1:] - 1] = self.points[edges[begins]]
        return self._polygons(ring, np.repeat(np.arange(len(size)), 2 * size + 4), self.owner[edges[begins]]), run, size

    def _mitre_offset(self, vertex: Ints) -> Floats:
        """From a vertex to the crossing of the two left sides."""
        before, after = self.before[vertex], self.after[vertex]
        cos = np.sum(before * after, axis=1)
        scale = np.divide(self.half[vertex], 1.0 + cos, out=np.zeros(len(vertex)), where=cos > -0.999999)
        return (_left(before) + _left(after)) * scale[:, None]

    # --- joins

    def joins(self) -> list[Rings]:
        """The wedge on the outer side of each cut."""
        vertex = np.flatnonzero(self.cut & (self.angle != 0))
        kinds = self._join_kinds(vertex)
        side = np.where(self.angle[vertex] > 0, -1.0, 1.0)[:, None] * self.half[vertex, None]
        a = self.points[vertex] + side * _left(self.before[vertex])
        b = self.points[vertex] + side * _left(self.after[vertex])
        tip = self.points[vertex] + side / self.half[vertex, None] * self._mitre_offset(vertex)
        round_, bevel, mitre = (kinds == kind for kind in ("round", "bevel", "miter"))
        return [
            self._corners(vertex[bevel], [self.points[vertex[bevel]], a[bevel], b[bevel]]),
            self._corners(vertex[mitre], [self.points[vertex[mitre]], a[mitre], tip[mitre], b[mitre]]),
            self._sectors(vertex[round_], a[round_], b[round_], self.angle[vertex[round_]]),
        ]

    def _join_kinds(self, vertex: Ints) -> NDArray[Any]:
        """Points within a curve are rounded, or pointed where that strays less than the tolerance."""
        kinds, ratio = self.joins_as[vertex], self.ratio[vertex]
        kinds[(kinds == "miter") & ((ratio > self.limit[vertex]) | (ratio > 1e6))] = "bevel"
        kinds[~self.lines.corner[vertex]] = "round"
        kinds[self.half[vertex] * (ratio - 1.0) <= self.near[vertex]] = "miter"
        return kinds

    # --- ends

    def caps(self) -> list[Rings]:
        """What is added at the ends of open lines."""
        opened = ~self.lines.closed & (np.diff(self.lines.start) > 1)
        vertex = np.concatenate([self.first[opened], self.last[opened]])
        out = np.concatenate([-self.after[self.first[opened]], self.before[self.last[opened]]])
        here, reach = self.points[vertex], self.half[vertex, None]
        a, b, ahead = here - _left(out) * reach, here + _left(out) * reach, out * reach
        round_, square = (self.ends_as[vertex] == cap for cap in ("round", "square"))
        return [
            self._sectors(vertex[round_], a[round_], b[round_], np.full(round_.sum(), np.pi)),
            self._corners(vertex[square], [some[square] for some in (here, a, a + ahead, b + ahead, b)]),
        ]

    def dots(self) -> list[Rings]:
        """Lines of no length: a disc under round caps, a square under square ones (SVG 2, section 13.5.4)."""
        disc, square = (np.flatnonzero(self.single & (self.ends_as == cap)) for cap in ("round", "square"))
        up, down = self._reach(disc, 0.0, 1.0), self._reach(disc, 0.0, -1.0)
        corners = [self._reach(square, x, y) for x, y in ((1, 1), (-1, 1), (-1, -1), (1, -1))]
        turn = np.full(len(disc), np.pi)
        return [self._sectors(disc, up, down, turn), self._sectors(disc, down, up, turn),
                self._corners(square, corners)]

    def _reach(self, vertex: Ints, x: float, y: float) -> Floats:
        return self.points[vertex] + self.half[vertex, None] * np.array([x, y])

    # --- polygons

    def _sectors(self, vertex: Ints, a: Floats, b: Floats, sweep: Floats) -> Rings:
        """Slices of a disc round each vertex, from a through the signed angle `sweep` to b."""
        flat = np.minimum(self.near[vertex] / self.half[vertex], 1.0 - np.cos(MAX_TURN / 2))
        count = np.ceil(np.abs(sweep) / (2 * np.arccos(1.0 - flat)) - 1e-9).astype(np.int64)
        count = np.clip(count, 1, 4000)
        which = np.repeat(np.arange(len(vertex)), count + 2)
        begin = np.cumsum(count + 2) - (count + 2)
        k = np.arange(len(which)) - begin[which]
        turn = sweep[which] * k / count[which]
        arm = (a - self.points[vertex])[which]
        cos, sin = np.cos(turn), np.sin(turn)
        ring = self.points[vertex][which] + np.stack(
            [cos * arm[:, 0] - sin * arm[:, 1], sin * arm[:, 0] + cos * arm[:, 1]], axis=1
        )
        ring[begin], ring[begin + count] = a, b
        ring[begin + count + 1] = self.points[vertex]
        return self._polygons(ring, which, self.owner[vertex]), self.owner[vertex]

    def _corners(self, vertex: Ints, corners: Sequence[Floats]) -> Rings:
        """Polygons of a few corners each, given corner by corner."""
        ring = np.stack(corners, axis=1).reshape(-1, 2)
        which = np.repeat(np.arange(len(vertex)), len(corners))
        return self._polygons(ring, which, self.owner[vertex]), self.owner[vertex]

    def _polygons(self, ring: Floats, which: Ints, owner: Ints) -> Geometries:
        """Rings in the element's coordinates as polygons on the page."""
        polygons: Geometries = shapely.polygons(self._rings(ring, which, owner[which]))
        return polygons

    def _rings(self, points: Floats, which: Ints, owner: Ints) -> Geometries:
        """Rings on the page, `which` and `owner` given for each of their points."""
        if not len(points):
            return np.array([], dtype=object)
        page = transformed(points[:, None], self.matrices[owner])[:, 0]
        rings: Geometries = shapely.linearrings(page, indices=which)
        return rings


def _left(direction: Floats) -> Floats:
    """Directions (n, 2) turned a quarter towards +y from +x."""
    return np.stack([-direction[:, 1], direction[:, 0]], axis=1)
