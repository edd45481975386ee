"""Wood so thin that it breaks out or soaks through: between pockets, slots, holes and the edge, each two of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations, permutations, product
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

from pathgen.base import overlay
from pathgen.base.arrays import Floats
from pathgen.base.plain import counted
from pathgen.base.surface import Surface
from pathgen.base.units import beside_limit, falls_short, place_words, rounded_up
from pathgen.work.clamping import Clamping
from pathgen.work.features import longer
from pathgen.work.operations import Channel, CutOut, NutSlot, Outline, RoundHoles, Slot
from pathgen.work.walls import thin_walls

THIN = 0.4
"""Wood thinner than this between two cuts does not stand, mm; common practice, no source."""
BESIDE_PRESSED = 0.8
"""Wood between a pocket and a slot thinner than this does not stand: twice as much, as what is pressed into the slot
spreads it; mm, common practice, no source."""
MEET = 0.015
"""With less than this between them two cuts meet, mm: as far as the chords of curves that touch may lie apart."""
_TALL = 10.0
"""Wood beside a hole is at most so many times as high as it is thick, or it breaks out; common practice, no source."""
_TOLD = 3  # how many places of a kind are named, the thinnest
BETWEEN_POCKETS = "pockets"
BESIDE_SLOT = "a pocket and a slot"
_TO_EDGE = "a slot and the edge"
_TWO_EDGES = "two edges"
_AROUND = 1.0  # of what lies outside a part, that is looked at, mm


@dataclass(frozen=True, kw_only=True)
class ThinWood:
    """A place of thin wood, mm: the thinnest that there is between two things."""

    between: str
    width: float
    at: tuple[float, float]
    least: float = MEET
    """With less than this there is no wood; holes that touch something are refused."""
    needed: float = THIN
    """What is thinner does not stand."""
    drawn: bool = True
    """Whether both are drawn, or lie where a drawing was placed."""
    leaks: bool = False
    """Whether resin is poured on one side of it while the other is open."""

    @property
    def wide(self) -> str:
        """Its width in words, which never reads as wide as is needed."""
        return beside_limit(self.width, rounded_up(self.needed))


def least_wood(height: Any) -> Any:
    """The thinnest that stands beside a hole or opening, for each of the heights that it has there, mm."""
    return np.maximum(THIN, height / _TALL)


@lru_cache(maxsize=2)
def thin_wood(clamping: Clamping, opened: tuple[BaseGeometry, ...]) -> tuple[ThinWood, ...]:
    """All wood that does not stand, of each kind the thinnest first: what touches or crosses is no wood.

    `opened` is what the cutters open of each inlay, by its index: a corner that they round off leaves more wood than is
    drawn, and a narrow place that they do not go into leaves some where none is.
    """
    return tuple(thin for thin in _between_any(clamping, opened)
                 if thin.width > thin.least and falls_short(thin.width, thin.needed))


def wood_under(surface: Surface, area: BaseGeometry, depth: float) -> tuple[Floats, Floats]:
    """Places along the edges of what is pocketed, and the wood that stays under it there, mm."""
    at = shapely.get_coordinates(area)
    return at, surface.height(*at.T) - depth


def what_to_do(places: Sequence[ThinWood]) -> str:
    """What to do about wood that does not stand, in places of one kind."""
    through = " and to let resin through" if any(thin.leaks for thin in places) else ""
    between, drawn = places[0].between, places[0].drawn
    apart = {_TWO_EDGES: "draw it wider", _TO_EDGE: "leave more of the part there, or let the slots run out"}.get(
        between, "draw them further apart, let them meet" if drawn else "move them further apart")
    return f"{apart}, or expect it to break out{through}"


def by_kind(clamping: Clamping, opened: Sequence[BaseGeometry]) -> list[list[ThinWood]]:
    """All places of each kind, the thinnest first; `opened` as `thin_wood` asks for it."""
    kinds: dict[str, list[ThinWood]] = {}
    for thin in thin_wood(clamping, tuple(opened)):
        kinds.setdefault(thin.between, []).append(thin)
    return list(kinds.values())


def more_places(more: list[ThinWood]) -> str:
    """How many places there are besides the thinnest, and the thinnest of them."""
    if not more:
        return ""
    named = "; ".join(f"{thin.wide} at {place_words(*thin.at)}" for thin in more[: _TOLD - 1])
    return f", and in {counted(len(more), 'more place')}: {named}{'; ..' if len(more) >= _TOLD else ''}"


def _between_any(clamping: Clamping, opened: Sequence[BaseGeometry]) -> Iterator[ThinWood]:
    pockets = overlay.union_all(list(opened))
    yield from _beside_bores(clamping, opened)
    yield from _beside_slots(clamping)
    yield from _of_outline(clamping)
    if pockets.is_empty:
        return
    for wall in thin_walls(pockets, below=THIN, touching=MEET):
        yield ThinWood(between=BETWEEN_POCKETS, width=wall.width, at=wall.at,
                       leaks=_leaks(clamping, opened, wall.at, wall.width / 2 + MEET))
    slots = clamping.feature(Slot)
    if slots is not None and len(slots.lines):
        lines = shapely.linestrings(slots.lines)
        # a slot that the drawing crosses has no wood beside it
        yield from _nearest_first(BESIDE_SLOT, lines, pockets, slots.width / 2 + slots.bevel, needed=BESIDE_PRESSED)
    if clamping.cutter(Outline) is not None:
        edge = shapely.boundary(clamping.board.outline)
        yield from _nearest_first("a pocket and the edge", shapely.get_parts(pockets), edge, 0.0)


def _leaks(clamping: Clamping, opened: Sequence[BaseGeometry], at: tuple[float, float], near: float) -> bool:
    """Whether resin is poured into one of the pockets so near to a place while another is open, or another part of it.

    It is poured after the last program of its pocket; what was cut before is full of its own fill by then. Slots, holes
    and outline come later.
    """
    beside = [inlay for inlay, area in zip(clamping.inlays, opened, strict=True)
              if shapely.dwithin(area, shapely.Point(at), near)]
    if len(beside) == 1:
        return beside[0].fill == "resin"
    cut = [[step.order for step in clamping.steps if step.operation.opens is inlay] or [0] for inlay in beside]
    pairs = permutations(zip(beside, cut, strict=True), 2)
    return any(one.fill == "resin" and min(its) < max(own) and (other.fill == "none" or max(its) > max(own))
               for (one, own), (other, its) in pairs)


def _nearest_first(
    between: str, shapes: Any, other: shapely.Geometry, less: float, *, needed: float = THIN, drawn: bool = True
) -> Iterator[ThinWood]:
    """The wood between each of some shapes and another, less what is taken of it, where it is thin; thinnest first."""
    wide = shapely.distance(shapes := np.atleast_1d(shapes), other) - less
    for k in np.argsort(wide, kind="stable")[: int((wide < needed).sum())].tolist():
        yield ThinWood(between=between, width=float(wide[k]), at=_between(shapes[k], other), needed=needed,
                       drawn=drawn)


def _beside_bores(clamping: Clamping, opened: Sequence[BaseGeometry]) -> Iterator[ThinWood]:
    """Between the holes and openings of a part, through it or not, and from them to its edge and to pockets."""
    top, cut = clamping.finished_surface.thickness, [step.operation for step in clamping.steps]
    bores = [(shape, top - max(one.bottom, 0.0),
              "a hole" if isinstance(one, RoundHoles) or one.feature.named else "an opening")
             for one in cut if isinstance(one, CutOut | RoundHoles) and not isinstance(one, Channel)
             for shape in shapely.get_parts(one.leaves_open(0.0))]
    edge = [(shapely.boundary(clamping.board.outline), top, "the edge")]
    pockets = [(area, inlay.depth, "a pocket") for inlay, area in zip(clamping.inlays, opened, strict=True)
               if not area.is_empty]
    for pairs, least in ((list(combinations(bores, 2)), 0.0), (list(product(bores, edge)), 0.0),
                         (list(product(pockets, bores)), MEET)):
        if not pairs:
            continue
        some, deep = (np.array([[each[k] for each in both] for both in pairs]) for k in (0, 1))
        wide, needed = shapely.distance(*some.T), least_wood(deep.min(axis=1))
        for worst in np.argsort(wide / needed, kind="stable")[: int((wide < needed).sum())].tolist():
            one, other = (each[2] for each in pairs[worst])
            between = f"{one} and {other}" if one != other else f"two {one.split()[1]}s"
            yield ThinWood(between=between, width=float(wide[worst]), at=_between(*some[worst]), least=least,
                           drawn=False, needed=float(needed[worst]))


def _beside_slots(clamping: Clamping) -> list[ThinWood]:
    """Between two slots, and from slots to the edge: past ends that stop short of it, and where it runs along them."""
    cut = [slots for slots in (clamping.feature(Slot), clamping.feature(NutSlot)) if slots and len(slots.lines)]
    lines = np.array([shapely.LineString(line) for slots in cut for line in slots.lines], object)
    half = np.array([slots.width / 2 + slots.bevel for slots in cut for _ in slots.lines])
    pairs = shapely.STRtree(lines).query(lines, "dwithin", 2 * half.max(initial=0.0) + THIN).T.tolist()
    found = [_nearest_first("two slots", lines[i], lines[j], half[i] + half[j], drawn=False)
             for i, j in pairs if i < j]
    if clamping.cutter(Outline) is not None:
        edge = shapely.boundary(clamping.board.outline)
        found += [_nearest_first(_TO_EDGE, _middle_of(line, out + THIN), beside, out, drawn=False)
                  for line, out in zip(lines, half, strict=True) for beside in _along(edge, line, out + THIN)]
        found += [_nearest_first(_TO_EDGE, shapely.points(longer(slots.lines, np.full(2, -slots.width / 2)))
                                 [~slots.through], edge, slots.width / 2 + slots.bevel, drawn=False) for slots in cut]
    return sorted((thin for some in found for thin in some), key=lambda thin: thin.width)


def _of_outline(clamping: Clamping) -> Iterator[ThinWood]:
    """Necks and teeth of the part itself."""
    if clamping.cutter(Outline) is None:
        return
    part = clamping.board.outline
    outside = overlay.difference(overlay.buffer(shapely.box(*part.bounds), _AROUND), part)
    needed = float(least_wood(clamping.finished_surface.thickness))
    for wall in thin_walls(outside, below=needed, touching=MEET):
        yield ThinWood(between=_TWO_EDGES, width=wall.width, at=wall.at, needed=needed, drawn=False)


def _middle_of(line: shapely.LineString, near: float) -> BaseGeometry:
    """A slot without its ends, where it runs out past the tip of a wedge of wood, which is no wall."""
    end = min(2.0 * near, line.length / 2.0)
    return substring(line, end, line.length - end)


def _along(edge: BaseGeometry, line: shapely.LineString, near: float) -> list[BaseGeometry]:
    """The runs of an edge so near to a line that go along it; not those that go across, where it runs out."""
    rings = [shapely.get_coordinates(ring) for ring in shapely.get_parts(edge)]
    sides = np.concatenate([np.stack([ring[:-1], ring[1:]], axis=1) for ring in rings])
    (x, y), way = np.diff(shapely.get_coordinates(line), axis=0)[0], sides[:, 1] - sides[:, 0]
    sides = sides[np.abs(way @ [x, y]) > np.abs(way @ [-y, x])]
    along = shapely.linestrings(sides)
    beside = along[shapely.dwithin(along, line, near)]
    return shapely.get_parts(shapely.line_merge(shapely.multilinestrings(beside))).tolist()


def _between(one: shapely.Geometry, other: shapely.Geometry) -> tuple[float, float]:
    x, y = np.mean(shapely.get_coordinates(shapely.shortest_line(one, other)), axis=0).tolist()
    return x, y


def or_less(min_web: float) -> str:
    """What else a remedy offers where more wood is asked for than is usual; empty where it is not."""
    return f"; or make min_web smaller: {_USUAL_WEB:g} mm is usual" if min_web > _MUCH * _USUAL_WEB else ""


_USUAL_WEB, _MUCH = 1.0, 2.0
"""Least wood under pockets and slots, mm (common practice, no source), and the times it that is far above it."""
