"""The order in which a cutter's pieces are cut, and how it gets into the wood and from one piece to the next."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from pathgen.base import overlay
from pathgen.base.arrays import Bools, Floats, Ints
from pathgen.base.toolpath import along_in_plan
from pathgen.strategies.pocketing.clearing import Nest, Pieces
from pathgen.strategies.pocketing.shapes import Shapes

_SWEEPS = 30  # rounds of improvement for a short tour; fewer for one so long that they would take seconds
_SHARES = np.linspace(0.0, 1.0, 13)[1:-1]  # of a way, where it is looked at first
_BY_WAY_OF, _EVERY = 8, 8
"""Places where the cutter has been that a way is tried over: so many, each so many further from the straight way."""
_TOUCH = 1e-6  # how far (mm) from their ends ways between pieces are tested, as the ends lie on outlines


def tour(points: Floats, start: Floats) -> Ints:
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
    for _ in range(min(_SWEEPS, 1 + 20_000_000 // max(n * n, 1))):
        if not _untangle(points, order, start):
            break
    return order


def _untangle(points: Floats, order: Ints, start: Floats) -> bool:
    """One round of 2-opt in place: the best reversal after each point; True when it found one."""
    path = np.vstack([start, points[order]])
    x, y = path[:, 0], path[:, 1]
    leg = np.append(np.hypot(np.diff(x), np.diff(y)), 0.0)  # the way ends at the last point: nothing after it
    changed = False
    for i in range(len(path) - 2):
        # reversing i+1 .. j swaps the legs i -> i+1 and j -> j+1 for i -> j and i+1 -> j+1
        to_j = np.hypot(x[i + 2 :] - x[i], y[i + 2 :] - y[i])
        after = np.append(np.hypot(x[i + 3 :] - x[i + 1], y[i + 3 :] - y[i + 1]), 0.0)
        gain = leg[i] + leg[i + 2 :] - to_j - after
        best = int(np.argmax(gain))
        if gain[best] > 1e-9:
            end = i + 3 + best
            path[i + 1 : end] = path[i + 1 : end][::-1].copy()
            order[i : end - 1] = order[i : end - 1][::-1].copy()
            leg[i:end] = np.append(np.hypot(np.diff(x[i : end + 1]), np.diff(y[i : end + 1])), 0.0)[: end - i]
            changed = True
    return changed


def inside_out(nested: Nest, pieces: Pieces, chosen: Ints, here: Floats) -> tuple[list[int], list[Floats]]:
    """Pieces of one place in the order to cut, and each begun where the cutter comes to it.

    Each region of the nest comes after all those inside it, the nearest next; along the wall, wood that stands
    inside comes last, when nothing round it is left to push on it.
    """
    by_node: dict[int, list[int]] = {}
    for piece in chosen:
        by_node.setdefault(int(pieces.node[piece]), []).append(int(piece))
    children, roots = _family(nested, by_node)
    first = {node: pieces.line[members[0]][:1] for node, members in by_node.items()}
    order: list[int] = []
    lines: list[Floats] = []
    stack: list[tuple[int, list[int]]] = [(-1, roots)]
    while stack:
        node, waiting = stack[-1]
        if waiting:
            nearest = min(waiting, key=lambda n: _off(first[n], here) if n in first else 0.0)
            waiting.remove(nearest)
            stack.append((nearest, children.get(nearest, [])))
            continue
        stack.pop()
        left, wall = by_node.get(node, []), node >= 0 and nested.level[node] == 0
        while left:
            piece = left[0] if len(left) == 1 else min(left, key=lambda p: (
                wall and bool(pieces.island[p]), _off(pieces.line[p][: None if pieces.closed[p] else 1], here)))
            left.remove(piece)
            line = pieces.line[piece]
            order.append(piece)
            lines.append(turned_to(line, here) if pieces.closed[piece] else line)
            here = lines[-1][-1]
    return order, lines


def _family(nested: Nest, nodes: dict[int, list[int]]) -> tuple[dict[int, list[int]], list[int]]:
    """The regions directly inside each, and the outermost, of all that hold the given ones."""
    children: dict[int, list[int]] = {}
    roots: list[int] = []
    seen: set[int] = set()
    for start in nodes:
        node = start
        while node not in seen:
            seen.add(node)
            above = int(nested.parent[node])
            if above < 0:
                roots.append(node)
                break
            children.setdefault(above, []).append(node)
            node = above
    return children, roots


def _off(places: Floats, here: Floats) -> float:
    """How far the nearest of some places is, squared."""
    return float(((places - here) ** 2).sum(axis=1).min())


def turned_to(line: Floats, here: Floats) -> Floats:
    """A closed line begun at its corner nearest `here`."""
    k = int(np.argmin(((line[:-1] - here) ** 2).sum(1)))
    return np.vstack([line[k:-1], line[: k + 1]])


def begun_on_a_straight(line: Floats, here: Floats, least: float) -> Floats:
    """A closed line begun in the middle of an edge near `here` that is `least` long, or lies where it hardly turns."""
    edge = np.diff(line, axis=0)
    length = np.hypot(edge[:, 0], edge[:, 1])
    heading = np.arctan2(edge[:, 1], edge[:, 0])
    turn = np.abs((heading - np.roll(heading, 1) + np.pi) % (2.0 * np.pi) - np.pi)
    smooth = np.maximum(turn, np.roll(turn, -1)) < np.pi / 9.0
    good = smooth | (length >= least)
    if not good.any():
        return line
    middle = (line[:-1] + line[1:]) / 2.0
    away = np.where(good, ((middle - here) ** 2).sum(1), np.inf)
    k = int(np.argmin(away))
    return np.vstack([middle[k], line[k + 1 : -1], line[: k + 1], middle[k]])


def way_in(line: Floats, length: float) -> Floats:
    """The last `length` mm of a closed line before its start, going round as often as it takes."""
    along = along_in_plan(line)
    turns, rest = divmod(length, along[-1])
    cut = along[-1] - rest
    k = min(max(int(np.searchsorted(along, cut, side="right")), 1), len(line) - 1)
    step = along[k] - along[k - 1]
    t = (cut - along[k - 1]) / step if step else 0.0
    first = line[k - 1] + t * (line[k] - line[k - 1])
    return np.vstack([first[None], line[k:], *[line[1:]] * int(turns)])


def leads(line: Floats, radius: float) -> tuple[Floats, Floats]:
    """Quarter circles onto and off a closed line at its start, (5, 2) each, on its left: the cleared side."""
    ahead = line[1] - line[0]
    ahead = ahead / np.hypot(*ahead)
    left = np.array([-ahead[1], ahead[0]])
    angle = np.linspace(np.pi / 2.0, np.pi / 10.0, 5)[:, None]
    off, back = radius * (1.0 - np.cos(angle)) * left, radius * np.sin(angle) * ahead
    return line[0] + off - back, (line[0] + off + back)[::-1]


@dataclass(frozen=True, eq=False, kw_only=True)
class FreeWays:
    """Where the cutter may go at depth without lifting."""

    nested: Nest
    """The regions, one in another: a way inside the one being cut crosses only what those within have cleared."""
    near: Shapes | None = None
    """(n,): what the way must stay inside as well: a later cutter's places."""
    open: Shapes | None = None
    """(n,): where the axis goes through air, as earlier cutters have been there."""
    grazing_open: Shapes | None = None
    """The same where it may graze walls of what is open, for a way that stays in the outermost region of each."""
    longest: float = 0.0
    """The longest way through air that is quicker than a hop, mm."""
    deep: Shapes | None = None
    """(n,): what earlier cutters have opened down to the floor."""
    bore: float = 0.0
    """Radius of what a cutter that goes straight down must find open, mm."""
    opened: float = 0.0
    """How deep that is open at least, mm: earlier flat ends hang over on a slope."""
    step: float = 0.0
    """How far from where it has been a round or pointed cutter takes no more than a loop does, mm; 0 for a flat end."""

    def free_to_plunge(self, node: Ints, points: Floats, *, beside: float = 0.0) -> Bools:
        """Whether the cutter goes down through air at (n, 2) points of regions `node`: earlier ones have been there.
        `beside` is how much wider than the bore that must be open, mm."""
        if self.deep is None:
            return np.zeros(len(points), bool)
        shapely.prepare(self.deep[node])
        bores = overlay.buffer(shapely.points(points), self.bore + beside, quad_segs=6)
        return np.asarray(shapely.covers(self.deep[node], bores))

    def beside(self, node: Ints, points: Floats, *, room: float) -> tuple[Floats, Bools]:
        """Places beside (n, 2) points of regions `node` with `room` mm of air round the bore; which points have one.

        The way from there to the point is through air too, in the outermost region, and shorter than the bore is wide.
        Others stay.
        """
        there, found = points.copy(), np.zeros(len(points), bool)
        if self.open is None or self.deep is None or not len(points):
            return there, found
        ways = shapely.shortest_line(shapely.points(points), self.open[node])
        near, out = ~shapely.is_missing(ways), np.zeros_like(points)
        out[near] = shapely.get_coordinates(ways[near]).reshape(-1, 2, 2)[:, 1] - points[near]
        length = np.hypot(*out.T)[:, None]
        away = np.where((length > 1e-9) & (length < self.bore), out * (1.0 + room / np.maximum(length, 1e-9)), 0.0)
        turn = np.arange(8) * np.pi / 4
        for step in (away, *np.column_stack([np.cos(turn), np.sin(turn)]) * self.bore):
            left = np.flatnonzero(~found)
            there[left] = points[left] + np.broadcast_to(step, points.shape)[left]
            off = points[left] + _TOUCH * (there[left] - points[left])
            ways = shapely.linestrings(np.stack([off, there[left]], axis=1))
            good = shapely.covers(self.nested.area[self.nested.root[node[left]]], ways)
            ways = shapely.linestrings(np.stack([points[left], there[left]], axis=1))
            ways = overlay.buffer(ways, self.bore, quad_segs=6)
            good &= shapely.covers(self.deep[node[left]], ways) & np.any(there[left] != points[left], axis=1)
            found[left] = good & self.free_to_plunge(node[left], there[left], beside=room)
        there[~found] = points[~found]
        return there, found

    def hold(self, node: Ints, a: Floats, b: Floats) -> Bools:
        """Whether the straight ways from `a` to `b`, (n, 2) each, that lead to regions `node` stay inside."""
        run = b - a
        length = np.hypot(run[:, 0], run[:, 1])
        inset = np.minimum(_TOUCH, length / 4.0)[:, None] * run / np.maximum(length, 1e-12)[:, None]
        ways = shapely.linestrings(np.stack([a + inset, b - inset], axis=1))
        shapely.prepare(self.nested.area[node])
        held = shapely.covers(self.nested.area[node], ways)
        if self.near is not None:
            held &= shapely.covers(self.near[node], ways)
        if self.open is not None:
            short = ~held & (length <= self.longest)
            shapely.prepare(self.open[node[short]])
            held[short] = shapely.covers(self.open[node[short]], ways[short])
            if self.grazing_open is not None:
                shapely.prepare(self.grazing_open[node[short]])
                held[short] |= shapely.covers(self.grazing_open[node[short]], ways[short]) & shapely.covers(
                    self.nested.area[self.nested.root[node[short]]], ways[short])
        return np.asarray(held | (length < 1e-9))

    def grazing(self, root: int, a: Floats, b: Floats, cut: Shapes) -> Floats | None:
        """A way from `a` to `b` within a step of the lines `cut` before: straight, or by way of a place on them. In the
        outermost region `root`, and quicker than a hop. (m, 2), without `b`; None where there is none."""
        been = shapely.get_coordinates(cut)
        over = np.hypot(*(been - a).T) + np.hypot(*(been - b).T)
        nearest = np.argsort(over, kind="stable")[:_BY_WAY_OF * _EVERY : _EVERY]
        by_way_of = np.concatenate([a[None], been[nearest[over[nearest] <= self.longest / 2.0]]])
        lines = shapely.linestrings([[a, place, b] for place in by_way_of])
        inside = shapely.covers(self.nested.area[root], lines)
        if self.near is not None:
            inside &= shapely.covers(self.near[root], lines)
        lines, every, around = lines[inside], self.step / 4.0, shapely.multilinestrings(cut)
        shapely.prepare(around)
        here_and_there = shapely.line_interpolate_point(lines[:, None], _SHARES, normalized=True)
        lines = lines[shapely.dwithin(around, here_and_there, self.step).all(axis=1)]  # few are left to be looked at
        for line in lines:
            points = shapely.points(shapely.get_coordinates(shapely.segmentize(line, every)))
            if shapely.dwithin(around, points, self.step - every / 2.0).all():
                return shapely.get_coordinates(line)[:-1]
        return None
