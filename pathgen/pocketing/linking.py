"""The order in which a cutter's pieces are cut, and how it gets into the wood and from one piece to the next."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from pathgen.pocketing.clearing import Nest, Pieces
from pathgen.pocketing.openings import Shapes

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, eq=False, kw_only=True)
class Leg:
    """One piece as it is cut: the way in (empty when it is reached at depth) and the line, (n, 2) each."""

    piece: int
    way_in: Floats
    line: Floats

    @property
    def start(self) -> Floats:
        """Where the cutter must be to begin."""
        return self.way_in[0] if len(self.way_in) else self.line[0]


def tour(points: Floats, start: Floats, *, sweeps: int = 8) -> Ints:
    """An order of (n, 2) points: nearest next from `start`, then improved by reversing stretches (2-opt)."""
    n = len(points)
    order = np.empty(n, np.intp)
    x, y = points[:, 0].copy(), points[:, 1].copy()
    here_x, here_y = start
    for i in range(n):
        k = int(np.argmin((x - here_x) ** 2 + (y - here_y) ** 2))
        order[i] = k
        here_x, here_y = points[k]
        x[k] = np.inf
    return _untangled(points, order, start, sweeps)


def _untangled(points: Floats, order: Ints, start: Floats, sweeps: int) -> Ints:
    path = np.vstack([start, points[order]])
    order = np.concatenate([[-1], order])
    for _ in range(sweeps):
        changed = False
        for i in range(len(path) - 2):
            # replace edges (i, i+1) and (j, j+1) by (i, j) and (i+1, j+1); the last edge may stay open
            a, b, c = path[i], path[i + 1], path[i + 2 :]
            after = np.vstack([path[i + 3 :], path[-1:]])
            old = np.hypot(*(b - a)) + np.hypot(*(after - c).T)
            new = np.hypot(*(c - a).T) + np.where(np.arange(len(c)) < len(c) - 1, np.hypot(*(after - b).T), 0.0)
            gain = old - new
            j = int(np.argmax(gain))
            if gain[j] > 1e-9:
                path[i + 1 : i + 3 + j] = path[i + 1 : i + 3 + j][::-1].copy()
                order[i + 1 : i + 3 + j] = order[i + 1 : i + 3 + j][::-1].copy()
                changed = True
        if not changed:
            break
    return order[1:]


def legs_inside_out(nested: Nest, pieces: Pieces, chosen: Ints, start: Floats) -> list[int]:
    """Pieces of one place in the order to cut: each region of the nest after all those inside it, nearest next."""
    by_node: dict[int, list[int]] = {}
    for piece in chosen:
        by_node.setdefault(int(pieces.node[piece]), []).append(int(piece))
    children: dict[int, list[int]] = {}
    roots: list[int] = []
    seen: set[int] = set()
    for node in by_node:
        while node not in seen:
            seen.add(node)
            above = int(nested.parent[node])
            if above < 0:
                roots.append(node)
                break
            children.setdefault(above, []).append(node)
            node = above
    first_point = {node: pieces.line[members[0]][0] for node, members in by_node.items()}
    order: list[int] = []
    here = start
    stack: list[tuple[int, list[int]]] = [(-1, roots)]
    while stack:
        node, waiting = stack[-1]
        if waiting:
            near = min(waiting, key=lambda n: _squared(first_point[n] - here) if n in first_point else 0.0)
            waiting.remove(near)
            stack.append((near, children.get(near, [])))
            continue
        stack.pop()
        left = by_node.get(node, [])
        while left:
            near = min(left, key=lambda p: _squared(_nearest(pieces, p, here) - here))
            left.remove(near)
            order.append(near)
            here = _nearest(pieces, near, here) if pieces.closed[near] else pieces.line[near][-1]
    return order


def _squared(v: Floats) -> float:
    return float(v[0] * v[0] + v[1] * v[1])


def _nearest(pieces: Pieces, piece: int, here: Floats) -> Floats:
    line = pieces.line[piece]
    if not pieces.closed[piece]:
        return line[0]
    return line[int(np.argmin(((line - here) ** 2).sum(1)))]


def turned_to(line: Floats, here: Floats) -> Floats:
    """A closed line begun at its corner nearest `here`."""
    k = int(np.argmin(((line[:-1] - here) ** 2).sum(1)))
    return np.vstack([line[k:-1], line[: k + 1]])


def way_in(line: Floats, length: float) -> Floats:
    """The last `length` mm of a closed line before its start, going round as often as it takes."""
    once = np.hypot(*np.diff(line, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(once)])
    turns, rest = divmod(length, along[-1])
    cut = along[-1] - rest
    k = int(np.searchsorted(along, cut, side="right"))
    k = min(k, len(line) - 1)
    step = along[k] - along[k - 1]
    t = (cut - along[k - 1]) / step if step else 0.0
    first = line[k - 1] + t * (line[k] - line[k - 1])
    return np.vstack([first[None], line[k:], *[line[1:]] * int(turns)])


def stays_inside(areas: Shapes, a: Floats, b: Floats) -> Bools:
    """Whether the straight ways from `a` to `b`, (n, 2) each, lie inside areas[i], up to rounding."""
    if not len(a):
        return np.zeros(0, bool)
    ways = shapely.linestrings(np.stack([a, b], axis=1))
    shapely.prepare(areas)
    return np.asarray(shapely.length(shapely.difference(ways, areas)) < 1e-3)
