"""One cutter over all its places: what it does in each, layer by layer, and from one to the next."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from functools import partial

import numpy as np
import shapely
from shapely import Polygon
from shapely.ops import substring

from pathgen.base import overlay
from pathgen.base.arrays import Bools, Floats, Ints
from pathgen.base.cutters import Cutter
from pathgen.strategies.entering import SHORTEST, span, to_and_fro
from pathgen.strategies.pocketing.clearing import Nest, Pieces, clipped, nest, pieces
from pathgen.strategies.pocketing.linking import (
    FreeWays,
    begun_on_a_straight,
    inside_out,
    leads,
    tour,
    turned_to,
    way_in,
)
from pathgen.strategies.pocketing.openings import Opening, spacing, unfinished
from pathgen.strategies.pocketing.settings import PocketOptions
from pathgen.strategies.pocketing.shapes import Shapes, polygons
from pathgen.strategies.pocketing.tracing import Trace

_OVERLAP = 0.1  # how far a later cutter goes into what the earlier ones opened, mm
_INNER = 0.005  # how exact the loops away from the wall are, which touch nothing that stays, mm
_HOP_SECONDS = 1.0  # what a short hop costs: a lift, a way across, a plunge through air
_ON = 1e-6  # how far (mm) a place may lie off a line that it is on
_BIT = 16  # moves of a path that are looked at together, where what was cut near a way is looked for
_BESIDE = 0.05  # how far a rapid down stays clear of walls, mm
_AT_ONCE = 4
"""Layers whose wall is finished in one pass: round the ends of narrow places it takes a fifth of the diameter for each
mm of travel, so that it is loaded no harder than a full cut one layer deep."""
_SKIN = 1e-3  # less than this over a floor is none, mm
_SLIVER = 0.005  # how far (mm) a pass along a wall may begin into what the loops inside it have left there
_WAYS, _LENGTHS = 32, 5  # directions and lengths that are tried for a ramp beside a place without room for one on it
GRAZE = 0.03
"""What a cutter may graze of a wall on its way straight down, mm, and still be said to go through air."""
_THINNEST = 0.01  # of what a first layer takes of the surface, mm: less is no cut of its own
_HIGH, _HIGHEST = 0.1, 0.04
"""Of a stepdown, and mm: ridges of the first cut that are higher than either are wood that layers begin on."""


def low_ridge(cutter: Cutter) -> float:
    """How much deeper than its stepdown a cutter may cut where ridges stand, mm: that high they are no wood to it."""
    return min(_HIGH * cutter.stepdown, _HIGHEST)


def are_high(ridges: float, cutter: Cutter) -> bool:
    """Whether ridges on the surface are wood to a cutter."""
    return ridges > low_ridge(cutter)


def layer_depths(cutter: Cutter, depth: float, ridges: float = 0.0) -> Floats:
    """Depths of the layers below the surface, none thicker than the cutter's stepdown, mm; they are equal.

    High `ridges` on the surface are taken in the same layers, from their tops down. Where they are higher than a layer,
    a flat end takes them over the surface, at depths less than nothing; a pointed or round one leaves those out.
    """
    ridges = ridges if are_high(ridges, cutter) else 0.0
    count = max(math.ceil((depth + ridges) / cutter.stepdown - 1e-9), 1)
    layers = (depth + ridges) * np.arange(1, count + 1) / count - ridges
    if cutter.is_flat or layers[0] > _THINNEST:
        return layers
    first = cutter.stepdown * (1.0 + math.floor(ridges / cutter.stepdown)) - ridges
    first = min(max(first, _THINNEST), depth)
    below = math.ceil((depth - first) / cutter.stepdown - 1e-9)
    return first + (depth - first) * np.arange(below + 1) / max(below, 1)


def allowance_for(one: Opening, options: PocketOptions) -> float:
    """What is left on the walls for a finishing pass, mm: a shaving for the cutter, a twentieth of it at most."""
    return min(options.allowance, one.cutter.diameter / 20.0)


@dataclass(frozen=True, eq=False, kw_only=True)
class Plan:
    """All pieces of a cutter in the order to cut."""

    line: list[Floats]
    """(n, 2) each, with leads."""
    node: Ints
    """(m,): the region of the nest that each lies in."""
    place: Ints
    """(m,): the place that it belongs to, in order."""
    round: Bools
    """(m,): closed loops without leads: a ramp can go round them."""
    open: Bools
    """(m,): pieces of loops: a ramp can go to and fro on them."""
    finishing: Bools
    """(m,): finishing passes that are cut once for some layers, at full depth the last."""
    bored: Bools
    """(m,): finishing passes that begin where the loops inside them have been in every layer."""

    @property
    def starts(self) -> Floats:
        """(m, 2) first points."""
        return np.array([line[0] for line in self.line]).reshape(-1, 2)

    @property
    def ends(self) -> Floats:
        """(m, 2) last points."""
        return np.array([line[-1] for line in self.line]).reshape(-1, 2)


def cleared(
    one: Opening, axis: Shapes, rest: Shapes, deep: Shapes | None, trace: Trace, *, finished: float, opened: float,
) -> None:
    """Add to `trace` the way of one cutter that opens `rest`, its axis staying over `axis` (one of each per part).

    `deep` is what earlier cutters have opened down to the floor, at least `opened` deep; None for the first. One pass
    brings the floor to depth as far as `finished` on both sides.
    """
    options, step, needed = trace.options, spacing(one, finished), None
    floor = unfinished(one, axis, rest)
    areas, part = shapely.get_parts(axis, return_index=True)
    allowance = min(allowance_for(one, options) or step, step)
    first = np.full(len(areas), allowance)
    if deep is not None:
        needed = overlay.buffer(rest, one.half_width + _OVERLAP, quad_segs=8)
        keep = shapely.intersects(needed[part], areas)
        areas, part = areas[keep], part[keep]
        # where others have been no allowance is left: a place that is whole is cleared as if by the first cutter
        first = np.where(shapely.covers(needed[part], areas), allowance, step)
    floor_only = floor[part] if needed is not None and not one.cutter.is_flat else None
    nested = nest(areas, first=first, spacing=step, half_width=finished, tolerance=_INNER, only=floor_only)
    part = part[nested.root]
    cut = pieces(nested, half_width=finished, spacing=step, only=floor_only)
    longest = one.cutter.feed / 60.0 * _HOP_SECONDS
    graze = 0.0 if one.cutter.is_flat else step
    ways = FreeWays(nested=nested, longest=longest, step=graze)
    if needed is not None and deep is not None:
        cut = _of_use(cut, nested, one, needed[part], rest[part], floor[part], finished)
        through_air = overlay.buffer(deep, -(one.half_width + 0.02), quad_segs=8)
        along_walls = overlay.buffer(deep, GRAZE - one.half_width, quad_segs=8)
        ways = FreeWays(
            nested=nested, near=needed[part], open=through_air[part], grazing_open=along_walls[part], longest=longest,
            deep=deep[part], bore=one.half_width - GRAZE, opened=opened, step=graze,
        )
    if len(cut):
        place = nested.root[cut.node] if needed is None else _places(areas, needed[part[: len(areas)]], cut)
        plan = _planned(cut, place, one, options, ways)
        _trace_plan(trace, plan, ways, layer_depths(one.cutter, one.depth, options.ridges))


def _of_use(
    cut: Pieces, nested: Nest, one: Opening, needed: Shapes, rest: Shapes, floor: Shapes, finished: float
) -> Pieces:
    """What later cutters need of the pieces: along walls what opens something, inside what brings floor to depth."""
    if one.cutter.is_flat:
        return clipped(cut, needed, rest, np.full(len(nested), one.half_width))
    wall = nested.level == 0
    return clipped(
        cut, np.where(wall, needed, overlay.buffer(floor, finished, quad_segs=8)), np.where(wall, rest, floor),
        np.where(wall, one.half_width, finished),
    )


def _places(areas: Shapes, needed: Shapes, cut: Pieces) -> Ints:
    """The place, a connected area of the axis where there is something to cut, that each piece is in."""
    tree = shapely.STRtree(polygons(overlay.intersection(areas, needed)))
    return np.asarray(tree.nearest(shapely.points(np.array([line[len(line) // 2] for line in cut.line]))))


def _planned(cut: Pieces, place: Ints, one: Opening, options: PocketOptions, ways: FreeWays) -> Plan:
    """Pieces in order: places by a short tour, inside each place from the inside out."""
    nested = ways.nested
    by_place = np.argsort(place, kind="stable")
    members = np.split(by_place, np.flatnonzero(np.diff(place[by_place])) + 1)
    middles = np.array([np.mean([cut.line[k][0] for k in group], axis=0) for group in members])
    has_inner = np.zeros(len(nested), bool)
    has_inner[nested.parent[nested.parent >= 0]] = True
    wall = (nested.level[cut.node] == 0) & has_inner[cut.node] & cut.closed & cut.outline
    here = np.array([float(middles[:, 0].min()), float(middles[:, 1].min())])
    order: list[int] = []
    lines: list[Floats] = []
    places: list[int] = []
    for number, group in enumerate(tour(middles, here)):
        inner_order, inner_lines = inside_out(nested, cut, members[group], here)
        order += inner_order
        lines += inner_lines
        places += [number] * len(inner_order)
        here = inner_lines[-1][-1]
    taken = np.array(order, dtype=np.intp)
    lines, led = _with_leads(lines, wall[taken], cut.node[taken], ways, min(one.half_width / 2.0, 1.0))
    finishing = (wall & _thin_walled(nested, one, options)[cut.node])[taken]
    bored = np.zeros(len(lines), bool)
    begun = np.flatnonzero(finishing & led)
    bored[begun] = _bored(lines, np.array(places), np.flatnonzero(~finishing), begun, one.half_width)
    return Plan(
        line=lines, node=cut.node[taken], place=np.array(places), round=cut.closed[taken] & ~led,
        open=~cut.closed[taken], finishing=finishing, bored=bored,
    )


def _bored(lines: list[Floats], place: Ints, each: Ints, begun: Ints, bore: float) -> Bools:
    """Whether the pieces `each`, cut in every layer, have been where `begun` begin: those in the same place."""
    found = np.zeros(len(begun), bool)
    if not len(begun):
        return found
    tree = shapely.STRtree([shapely.linestrings(lines[k]) if len(lines[k]) > 1 else shapely.Point(lines[k][0])
                            for k in each])
    for i, k in enumerate(begun):
        start = shapely.Point(lines[k][0])
        near = tree.query(start, predicate="dwithin", distance=2.0 * bore)
        swept = overlay.union_all(overlay.buffer(tree.geometries[near[place[each[near]] == place[k]]], bore))
        found[i] = shapely.covers(swept, overlay.buffer(start, bore - _SLIVER, quad_segs=6))
    return found


def _thin_walled(nested: Nest, one: Opening, options: PocketOptions) -> Bools:
    """Regions all of whose wall has been cleared to the allowance, so that it can be finished in one pass."""
    thin = np.zeros(len(nested), bool)
    inner = nested.parent[nested.level == 1]
    allowance = allowance_for(one, options)
    if not allowance or not len(inner):
        return thin
    # thicker than a shaving anywhere, sharp corners too, and every layer cuts its own wall. So it does in a place so
    # small that the cutter, hardly moving, is in wood all round
    wide = overlay.buffer(nested.area[nested.level == 1], 2.0 * allowance, quad_segs=8)
    owners, start = np.unique(inner, return_index=True)
    covered = np.array([overlay.union_all(group) for group in np.split(wide, start[1:])], dtype=object)
    thin[owners] = shapely.area(overlay.difference(nested.area[owners], covered)) < 1e-6
    thin[owners] &= shapely.length(shapely.get_exterior_ring(nested.area[owners])) > 2.0 * one.cutter.diameter
    return thin


def _with_leads(
    lines: list[Floats], wall: Bools, node: Ints, ways: FreeWays, radius: float
) -> tuple[list[Floats], Bools]:
    """Loops along walls begun on a straight and entered and left on quarter circles, where there is room."""
    lines = list(lines)
    chosen = np.flatnonzero(wall)
    led = np.zeros(len(lines), bool)
    if not len(chosen):
        return lines, led
    for k in chosen:
        lines[k] = begun_on_a_straight(lines[k], lines[k - 1][-1] if k else lines[k][0], 2.0 * radius)
    arcs = np.array([leads(lines[k], radius) for k in chosen])
    both = shapely.linestrings(arcs.reshape(len(chosen), -1, 2))
    room = shapely.covers(ways.nested.area[node[chosen]], both)
    if ways.near is not None:
        room &= shapely.covers(ways.near[node[chosen]], both)
    for k, (onto, off) in zip(chosen[room], arcs[room], strict=True):
        lines[k] = np.vstack([onto, lines[k], off])
    led[chosen[room]] = True
    return lines, led


def _trace_plan(trace: Trace, plan: Plan, ways: FreeWays, layers: Floats) -> None:
    """Each place through all its layers before the next."""
    rounds = np.flatnonzero(~plan.finishing), np.arange(len(plan.line))
    finishes = [int((len(layers) - 1 - layer) % _AT_ONCE == 0) for layer in range(len(layers))]
    linked = [_links(plan, chosen, ways) for chosen in rounds]
    grazed = [_grazes(plan, chosen, links, ways) for chosen, links in zip(rounds, linked, strict=True)]
    entered = np.union1d(rounds[0][~linked[0]], rounds[1][~linked[1]])
    node, starts = plan.node[entered], plan.starts[entered]
    air, room = ways.free_to_plunge(node, starts), GRAZE + _BESIDE
    wide = air & ways.free_to_plunge(node, starts, beside=room)
    # off the walls; and where one that ramps meets the floor of a wider one, it goes down it on the way there
    aside = np.flatnonzero(air & ~wide if layers[-1] - ways.opened < _SKIN or not trace.ramps else air)
    starts[aside], found = ways.beside(node[aside], starts[aside], room=room)
    wide[aside] |= found
    around = ways.nested.area[ways.nested.root]
    ramps = {
        k: start[None] if free else _way_in(plan, k, trace, layers[0] + trace.uphill, around[plan.node[k]])
        for k, start, free in zip(entered, starts, air, strict=True)
    }
    in_air = set(entered[wide].tolist())
    slices = [np.searchsorted(plan.place[chosen], np.arange(plan.place[-1] + 2)) for chosen in rounds]
    straight = [links & ~np.isin(chosen, list(grazes))
                for chosen, links, grazes in zip(rounds, linked, grazed, strict=True)]
    back = {
        (a, b): _returns(plan, np.split(rounds[a], slices[a][1:-1]), np.split(straight[a], slices[a][1:-1]),
                         [(ramps[k][0], k in in_air) for k in rounds[b][slices[b][:-1]]], ways)
        for a, b in set(itertools.pairwise(finishes))
    }
    for place in range(int(plan.place[-1]) + 1):
        above = 0.0
        for layer, (kind, depth) in enumerate(zip(finishes, layers, strict=True)):
            here = slice(slices[kind][place], slices[kind][place + 1])
            way = back[finishes[layer - 1], kind][place] if layer else None
            through = way is not None
            if way is not None and len(way):
                trace.follow(way, above)
            for k, link in zip(rounds[kind][here], linked[kind][here], strict=True):
                if not link:
                    # the layer before has been where this one begins, unless that is in what a finishing pass takes
                    on_wall = plan.finishing[k] and not plan.bored[k]
                    opened = max(0.0 if on_wall else above, ways.opened if k in in_air else 0.0)
                    ramp = ramps[k]
                    if k in in_air and trace.ramps and depth - opened > _SKIN:
                        if through:  # the ramp may begin at its other end: the way to this one is known to be free
                            trace.follow(ramp, above)
                        ramp = trace.ramp_on(partial(_off, plan.line[k][0], ramp), depth - opened)
                    trace.enter(ramp, above, depth, opened=opened, through_cleared=through)
                trace.follow(np.vstack([*grazed[kind].get(k, ()), plan.line[k]]), depth)
                through = False
            above = depth


def _off(start: Floats, beside: Floats, length: float) -> Floats:
    """A ramp of `length` mm or more from the place where the cutter came down, (1, 2), to its line's start.

    It begins at that place itself, where there is air all round: nearer the start a bore may graze a wall. What is
    missing then it goes to and fro. Where both are one, that place.
    """
    apart = float(np.hypot(*(beside[0] - start)))
    if not apart:
        return beside
    turns = math.ceil(max(length - apart, 0.0) / (2.0 * apart) - 1e-9)
    out = start + (beside[0] - start) * (length - apart) / (2.0 * max(turns, 1) * apart)
    return np.vstack([beside, start, *[out, start] * turns])


def _way_in(plan: Plan, k: int, trace: Trace, height: float, around: Polygon) -> Floats:
    """A ramp on a piece that is long enough for one, a helix where that is a small loop; else its first point.

    What has leads begins where the loops inside it have been, or there is no room. A cutter that does not plunge then
    goes to and fro beside it, in the region `around` that its axis may be in.
    """
    line = plan.line[k]
    if (plan.round[k] or plan.open[k]) and len(line) > 1 and trace.ramps_on(line):
        return trace.ramp_on(partial(way_in if plan.round[k] else to_and_fro, line), height)
    return line[:1] if trace.plunges else _way_in_beside(line[:1], around, trace, height)


def _way_in_beside(start: Floats, around: Polygon, trace: Trace, height: float) -> Floats:
    """A ramp that ends at a start, (1, 2), and stays in a region: to and fro on the longest straight way of some, or
    round the region's outline as a helix; the start alone where there is room for neither."""
    turn = np.arange(_WAYS) * (2.0 * np.pi / _WAYS)
    for length in trace.width * np.geomspace(2.0, 1.01 * SHORTEST, _LENGTHS):
        ends = start + length * np.column_stack([np.cos(turn), np.sin(turn)])
        ways = np.stack([np.broadcast_to(start, ends.shape), ends], axis=1)
        inside = shapely.covers(around, shapely.linestrings(ways))
        if inside.any():
            return trace.ramp_on(partial(to_and_fro, ways[np.argmax(inside)]), height)
    outline = turned_to(shapely.get_coordinates(around.exterior), start[0])
    seen = shapely.covers(around, shapely.linestrings([outline[0], start[0]]))
    if not seen or span(around) <= SHORTEST * trace.width:
        return start
    return trace.ramp_on(lambda length: np.vstack([way_in(outline, length), start]), height)


def _returns(
    plan: Plan, places: list[Ints], linked: list[Bools], starts: list[tuple[Floats, bool]], ways: FreeWays
) -> list[Floats | None]:
    """For each place, the way in the cleared layer from its last piece to the next layer's start.

    Straight, which has no points, or back over all that was cut where that is quicker than a hop; None for neither.
    A start is where a piece is entered, or with True beside where it begins, through air.
    """
    last = [place[-1] for place in places]
    ends, to = np.array([plan.line[k][-1] for k in last]), np.array([start for start, _ in starts])
    held, out = ways.hold(ways.nested.root[plan.node[last]], ends, to), []
    for place, links, (start, beside), free in zip(places, linked, starts, held, strict=True):
        cut = np.vstack([plan.line[k] for k in place])[::-1]
        start = cut[-1] if beside else start
        out.append(cut[:0] if free else _back_over(cut, start, ways.longest / 2.0) if links[1:].all() else None)
    return out


def _back_over(cut: Floats, start: Floats, longest: float) -> Floats | None:
    """The way from the beginning of a line to a place on it; None for one off it, and for one that is longer."""
    if len(cut) < 2:
        return None
    line, to = shapely.linestrings(cut), shapely.Point(start)
    along = shapely.line_locate_point(line, to)
    if along > longest or shapely.distance(line, to) > _ON:
        return None
    return shapely.get_coordinates(substring(line, 0.0, along))


def _links(plan: Plan, chosen: Ints, ways: FreeWays) -> Bools:
    """Which pieces are reached from the one before at depth."""
    starts, ends, place = plan.starts[chosen], plan.ends[chosen], plan.place[chosen]
    linked = np.zeros(len(chosen), bool)
    same = np.flatnonzero(place[1:] == place[:-1]) + 1
    linked[same] = ways.hold(plan.node[chosen[same]], ends[same - 1], starts[same])
    return linked


def _grazes(plan: Plan, chosen: Ints, linked: Bools, ways: FreeWays) -> dict[int, Floats]:
    """Ways at depth, (m, 2), to pieces that no free way leads to, past what was cut of their place; marks as linked."""
    place, found = plan.place[chosen], {}
    apart = np.flatnonzero(~linked & (np.diff(place, prepend=-1) == 0)) if ways.step else chosen[:0]
    ends = np.stack([plan.ends[chosen[apart - 1]], plan.starts[chosen[apart]]], axis=1)
    length = np.hypot(*(ends[:, 1] - ends[:, 0]).T)
    near = length <= ways.longest / 2.0
    apart, ends, length = apart[near], ends[near], length[near]
    if not len(apart):
        return {}
    bits = [(i, line[k : k + _BIT + 1]) for i, line in enumerate(plan.line[piece] for piece in chosen)
            for k in range(0, len(line) - 1, _BIT)]
    of, lines = np.array([i for i, _ in bits]), np.array([shapely.linestrings(bit) for _, bit in bits], dtype=object)
    which, bit = shapely.STRtree(lines).query(
        shapely.linestrings(ends), predicate="dwithin", distance=length / 2.0 + ways.step)
    before = (of[bit] < apart[which]) & (place[of[bit]] == place[apart[which]])
    which, bit = which[before], bit[before]
    each, start = np.unique(which, return_index=True)
    for k, cut in zip(each, np.split(lines[bit], start[1:]), strict=True):
        piece = int(chosen[apart[k]])
        way = ways.grazing(int(ways.nested.root[plan.node[piece]]), ends[k, 0], ends[k, 1], cut)
        if way is not None:
            linked[apart[k]], found[piece] = True, way
    return found
