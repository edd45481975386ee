"""What each cutter can reach of a drawing, what it cannot, and which set of cutters opens how much in what time."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial, reduce
from typing import TypeAlias

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.arrays import Floats
from pathgen.base.cutters import Cutter
from pathgen.base.errors import CutterError
from pathgen.base.memory import remembered
from pathgen.base.surface import Surface
from pathgen.base.units import falls_short, rounded_down
from pathgen.strategies.matching import pockets_for
from pathgen.strategies.pocketing import PocketCut
from pathgen.strategies.pocketing.openings import largest_that_opens, opening, steepest, widest_flat_end
from pathgen.strategies.pocketing.shapes import Shapes, cleaned, of_each, polygons, whole, without_films
from pathgen.work.features import in_one
from pathgen.work.walls import Wall, narrowest_wall

Cut = Sequence[tuple[PocketCut, float]]
"""What cutters cut, one after the other, and in how many minutes."""
Cuts = Callable[[Sequence[Cutter]], Cut]
_Tried: TypeAlias = "tuple[Sequence[Cutter], SetReach, BaseGeometry | None]"

_BISECTIONS = 7  # of a cutter's diameter, to find the largest that would do: to under a hundredth of it
_FILM = 1e-4  # share of a colour that openings drawn as polygons may seem to gain
_THIN = 0.008
"""What is closed and thinner than this is such a film, mm: twice what openings are exact to, on both sides."""
_CORNER = 1.1  # widths that differ by more are not one line's, as they are found
_MIDDLE = 0.005  # how near the middle of a widest place is found, mm
_WHOLE = 0.999  # share of a shape that is closed all over
SMALLEST = 0.05
"""Area of the smallest place that is told by itself, mm2."""
LEFT_NOTED = 0.02
"""Share of a colour above which what is cut otherwise than drawn is a warning."""
MISSED = 2.0
"""Area of a closed place from which it is warned of however small its share, mm2: more than a cutter of 6 mm leaves
in a right-angled corner; common practice, no source."""


@dataclass(frozen=True, kw_only=True)
class Detail:
    """A part of the drawing that a cutter cannot open: mm, mm2."""

    at: tuple[float, float]
    """The middle of its widest place."""
    area: float
    width: float
    """Of the widest circle round that middle in the drawing, its diameter: of a line how wide it is."""
    largest: float
    """The largest diameter that would open nine tenths of it: what the cutter must open at the surface."""
    length: float
    """Of what stays closed there, from end to end."""

    @property
    def is_corner(self) -> bool:
        """Whether it lies in a corner, which a cutter opens that is wider than what stays closed there."""
        return self.largest > _CORNER * self.width


@dataclass(frozen=True, kw_only=True)
class CutterReach:
    """What one cutter alone can open of one colour, where all colours are opened together: areas in mm2."""

    colour: str
    cutter: str
    area: float
    reachable_area: float
    details: tuple[Detail, ...]
    """The largest first; those under `SMALLEST` are left out."""
    shapes: tuple[int, int] = (0, 0)
    """How many shapes of the colour it leaves closed wholly, and how many there are; those under `SMALLEST` aside."""
    sloping: bool = False
    """It leaves walls that slope, so that the floor is smaller than what is open at the surface."""

    @property
    def share(self) -> float:
        """Reachable area over area."""
        return self.reachable_area / self.area if self.area else 0.0


@dataclass(frozen=True, kw_only=True)
class SetReach:
    """What share of the whole drawing a set of cutters opens, one after the other, and in how many minutes."""

    cutters: tuple[str, ...]
    share: float
    minutes: float
    narrowest_wall: Wall | None = None
    """As `Reach` has it, between what this set opens."""
    idle: tuple[str, ...] = ()
    """Those of its cutters that find nothing to do: they have no program, and need not be fitted."""

    @property
    def busy(self) -> tuple[str, ...]:
        """The others; all where none finds anything."""
        return tuple(name for name in self.cutters if name not in self.idle) or self.cutters


@dataclass(frozen=True, kw_only=True)
class Reach:
    """The table for choosing cutters."""

    cutters: tuple[CutterReach, ...]
    sets: tuple[SetReach, ...]
    narrowest_wall: Wall | None
    """Between what the first set opens, or all the cutters where none is tried; None where no two edges face each other
    across wood."""
    together: tuple[CutterReach, ...] = ()
    """For each colour, what all the cutters open between them; `cutter` names them all."""
    opened: tuple[tuple[str, BaseGeometry], ...] = ()
    """What that is, of each colour that is opened anywhere; what is cut later is part of it."""
    open: BaseGeometry = shapely.Polygon()
    """All that the first set opens, or all the cutters where none is tried: walls stand between it."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Others:
    """What else is pocketed on the part, mm."""

    pocketed: BaseGeometry | None = None
    """All of it: in it stands no wood."""
    later: BaseGeometry | None = None
    """What is cut afterwards of the same drawing, such as where a colour runs on under another: no area counts there,
    open or closed, though the cutters go in."""
    least_round: float | None = None
    """How round wood between the pockets is left, mm, where they are made to match pieces: each cutter, or set of them,
    opens its own. None where the drawing itself is opened."""


@remembered
def reach(
    regions: Sequence[tuple[str, BaseGeometry]], cutters: Sequence[Cutter], *, depth: float,
    surface: Surface, sets: Sequence[Sequence[Cutter]] = (), cuts: Cuts | None = None, most_details: int = 100,
    opened: BaseGeometry | None = None, others: Others = Others(),
) -> Reach:
    """What each cutter can reach of each colour, `depth` mm below the surface, and what sets of them would open in how
    long.

    `regions` are (colour, shape) in the board's frame, mm. A cutter whose flute is too short for the depth reaches
    nothing. A v cutter that comes last in one of the `sets`, after flat ends or none, opens in its own row, too, what
    its path opens by rising; one that does not, what its cone opens at full depth. `cuts` says what each cutter of a
    set cuts; left out, no set is tried. Of details `most_details` are listed for a colour and a cutter, the largest
    first; none smaller than `SMALLEST`. What the programs of all the cutters open between them, where that is known, is
    `opened`: walls stand between it, and a v cutter that comes last opens corners too by rising in them; left out, it
    is what they open at full depth.
    """
    later = others.later
    everything = cleaned(in_one(tuple(shape for _, shape in regions)))
    drawn = [(colour, cleaned(shape) if regions[1:] else everything) for colour, shape in regions]
    colours = [(colour, None if later is None and not regions[1:] else seen(shape, later)) for colour, shape in drawn]
    tried = [(group, *_set_reach(everything, group, cuts, others)) for group in sets] if cuts else []
    tried = [*tried[:1], *_without_idle(tried[:1], tried[1:])]
    # a v cutter opens more than its cone does at full depth: what its own path opens is what is said of it everywhere
    rising = {group[-1].name: cut for group, _, cut in sorted(tried, key=lambda one: -len(one[0]))
              if group[-1].shape == "v" and cut is not None and all(one.is_flat for one in group[:-1])}
    parts = polygons(everything)
    pockets = None if others.least_round is None else partial(_for_pieces, regions, others.least_round)
    closed = _closed_by_each(parts, cutters, surface, depth, rising, pockets)
    last = _closed_by_all(cutters, closed, opened if cutters[-1].shape == "v" else None, parts) if closed else None
    rows: list[CutterReach] = []
    together: list[CutterReach] = []
    names = " and ".join(dict.fromkeys(c.name for c in cutters))
    for colour, shape in colours:
        area = float(shapely.area(parts).sum() if shape is None else shape.area)
        row = partial(_row, colour, area, parts, parts if shape is None else polygons(shape), most=most_details)
        own = [_inside(left, shape) for left, _ in closed]
        rows += [replace(row(cutter.name, left, width), sloping=cutter.shape != "flat-end")
                 for cutter, left, (_, width) in zip(cutters, own, closed, strict=True)]
        if last is not None:
            left = next((inside for (one, _), inside in zip(closed, own, strict=True) if one is last[0]), None)
            left = _inside(last[0], shape) if left is None else left  # mostly what the smallest flat end leaves
            gained = float(shapely.area(own[-1]).sum() - shapely.area(left).sum())
            together.append(row(names, left, last[1]) if gained > _FILM * area else replace(rows[-1], cutter=names))
    lost = shapely.Polygon() if last is None else whole(polygons(last[0]))
    if opened is None:
        opened = (tried[0][2] or shapely.Polygon()) if tried else opened_by(everything, cutters, surface, depth)
    open_of = [(colour, overlay.difference(shape, lost)) for colour, shape in drawn]
    return Reach(cutters=tuple(rows), sets=alike([one for _, one, _ in tried], rows),
                 narrowest_wall=narrowest_wall(opened, others.pocketed), together=tuple(together), open=opened,
                 opened=tuple((colour, shape) for colour, shape in open_of if not shape.is_empty))


def seen(shape: BaseGeometry, later: BaseGeometry | None) -> BaseGeometry:
    """A shape without what is cut later."""
    return shape if later is None else overlay.difference(shape, later)


def opened_by(region: BaseGeometry, cutters: Sequence[Cutter], surface: Surface, depth: float) -> BaseGeometry:
    """What some cutters open of a region between them at full depth; a v cutter no more than its cone there."""
    parts = polygons(cleaned(region))
    return whole(polygons(reduce(overlay.union, [_opened(parts, one, surface, depth)[0] for one in cutters],
                                 np.full(len(parts), shapely.Polygon(), dtype=object))))


def usual_sets(cutters: Sequence[Cutter]) -> list[tuple[Cutter, ...]]:
    """Each cutter alone, and one or two wider flat ends before a flat end or a v: largest first, v cutters last."""
    ordered = sorted(cutters, key=lambda c: (c.shape == "v", -c.diameter))
    flat = [c for c in ordered if c.is_flat]
    chains: list[tuple[Cutter, ...]] = []
    for last in (c for c in ordered if c.is_flat or c.shape == "v"):
        wider = [c for c in flat if not last.is_flat or c.diameter > last.diameter]
        chains += [(*before, last) for count in (1, 2) for before in itertools.combinations(wider, count)]
    return [*((c,) for c in ordered), *sorted(chains, key=len)]


def alike(sets: Sequence[SetReach], rows: Sequence[CutterReach]) -> tuple[SetReach, ...]:
    """Sets of one cutter with the share of its row: two ways to measure one opening differ by a little."""
    alone = {row.cutter: row.share for row in rows} if len({row.colour for row in rows}) == 1 else {}
    return tuple(replace(one, share=alone.get(one.cutters[0], one.share)) if len(one.cutters) == 1 and one.share
                 else one for one in sets)


def _set_reach(
    region: BaseGeometry, group: Sequence[Cutter], cuts: Cuts, others: Others
) -> tuple[SetReach, BaseGeometry | None]:
    """A set's row, and what it opens; None where it opens nothing."""
    try:
        made = cuts(group)
    except CutterError:  # none of the set goes in, or a flute is too short: that is what the table is there to say
        made = ()
    opened = made[-1][0].opened if made else None
    wider = others.least_round is not None
    share = share_of(opened, region, others.later, wider=wider) if opened is not None else 0.0
    return SetReach(cutters=tuple(c.name for c in group), share=share, minutes=sum(spent for _, spent in made),
                    idle=tuple(cut.cutter.name for cut, _ in made if cut.idle),
                    narrowest_wall=None if opened is None else narrowest_wall(opened, others.pocketed)), opened


def share_of(opened: BaseGeometry, region: BaseGeometry, later: BaseGeometry | None, *, wider: bool = False) -> float:
    """How much of a region is opened, of what is not cut later; `wider` where more than the region may be."""
    area, opened = seen(region, later).area, overlay.intersection(opened, region) if wider else opened
    return float(min(seen(opened, later).area / area, 1.0)) if area else 1.0


def _closed_by_each(
    parts: Shapes, cutters: Sequence[Cutter], surface: Surface, depth: float, rising: Mapping[str, BaseGeometry],
    pockets: Callable[[Cutter], Shapes] | None,
) -> list[tuple[Shapes, float]]:
    """For each cutter what it leaves closed of each part, and the widest that its opening is; of what its own `pockets`
    are, where they are made to match pieces."""
    found = []
    for cutter in cutters:
        if pockets:
            own = pockets(cutter)
            into, width = _opened(own if len(own) else parts, cutter, surface, depth)
            found.append((_left_of(parts, whole(polygons(into))) if len(own) else parts, width))
            continue
        opens, width = _opened(parts, cutter, surface, depth)
        if cutter.name in rising:
            opens = overlay.difference(parts, _left_of(parts, rising[cutter.name]))
        found.append((overlay.difference(parts, opens), width))
    return found


def _for_pieces(regions: Sequence[tuple[str, BaseGeometry]], least_round: float, cutter: Cutter) -> Shapes:
    """What a cutter alone would pocket of a drawing for pieces; nothing where it leaves no upright wall."""
    own = pockets_for(regions, [cutter], least_round) if cutter.is_flat else []
    return polygons(in_one(tuple(shape for _, shape in own)))


def _without_idle(own: Sequence[_Tried], others: Sequence[_Tried]) -> Iterator[_Tried]:
    """Sets that were tried beside the `own`, each without cutters that find nothing to do, and once."""
    told = {one.cutters for _, one, _ in own}
    for group, one, opened in others:
        if one.busy not in told:
            told.add(one.busy)
            yield group, replace(one, cutters=one.busy, idle=()), opened


def _closed_by_all(
    cutters: Sequence[Cutter], closed: Sequence[tuple[Shapes, float]], known: BaseGeometry | None, parts: Shapes
) -> tuple[Shapes, float]:
    """The same for all cutters one after the other, or for what is `known` to be opened."""
    each = [(one.is_flat, left, width) for one, (left, width) in zip(cutters, closed, strict=True)]
    smallest = min((width for flat, _, width in each if flat and width), default=0.0)
    # a larger flat end opens nothing that a smaller one does not
    lefts = [left for flat, left, width in each if not flat or width == smallest]
    left = reduce(overlay.intersection, lefts) if known is None else _left_of(parts, known)
    return left, min((width for _, width in closed if width), default=0.0)


def _left_of(parts: Shapes, opened: BaseGeometry) -> Shapes:
    """What an opening of the whole drawing leaves closed of each part."""
    pieces = polygons(overlay.difference(whole(parts), opened))
    owner = shapely.STRtree(parts).nearest(shapely.point_on_surface(pieces)) if len(pieces) else np.empty(0, np.intp)
    order = np.argsort(owner, kind="stable")
    return of_each(pieces[order], owner[order], len(parts))


def _opened(parts: Shapes, cutter: Cutter, surface: Surface, depth: float) -> tuple[Shapes, float]:
    """What a cutter opens of each part, and the widest that its opening is; nothing where its flute is too short."""
    if falls_short(cutter.flute_length, depth):
        return np.full(len(parts), shapely.Polygon(), dtype=object), 0.0
    one = opening(cutter, surface, depth, whole(parts), 0.002)
    widest = 2.0 * one.half_width
    if one.gentle is not None:
        widest = min(widest, widest_flat_end(one, steepest(surface, whole(parts))))
    return one.opened(one.axis_region(parts)), widest


def _inside(left: Shapes, shape: BaseGeometry | None) -> Shapes:
    return left if shape is None else np.asarray(overlay.intersection(left, shape))


def _row(
    colour: str, area: float, parts: Shapes, shapes: Shapes, name: str, left: Shapes, width: float, *, most: int
) -> CutterReach:
    """What is left closed of each part, as a row; details are those that something up to `width` wide might open.
    `shapes` are those of the colour."""
    # films between corners that nearly meet make no one place of them
    missed, part = shapely.get_parts(without_films(left, _THIN), return_index=True)
    big = np.flatnonzero((shapely.get_type_id(missed) == 3) & (shapely.area(missed) >= SMALLEST))
    big = big[np.argsort(-shapely.area(missed[big]), kind="stable")[:most]]
    details = _details(missed[big], parts[part[big]], width) if width else []
    return CutterReach(
        colour=colour, cutter=name, area=area, reachable_area=max(area - float(shapely.area(left).sum()), 0.0),
        details=tuple(details), shapes=_wholly(missed, shapes),
    )


def _wholly(missed: Shapes, shapes: Shapes) -> tuple[int, int]:
    """How many of some shapes are missed wholly, and how many there are, without those that nobody would see."""
    shapes = shapes[shapely.area(shapes) >= SMALLEST]
    one, by = shapely.STRtree(missed).query(shapely.point_on_surface(shapes), predicate="within")
    return int((shapely.area(missed[by]) >= _WHOLE * shapely.area(shapes[one])).sum()), len(shapes)


def _details(missed: Shapes, region: Shapes, width: float) -> list[Detail]:
    """Where each missed place is, how wide the drawing is there, and what would open it."""
    if not len(missed):
        return []
    middles = shapely.get_coordinates([shapely.maximum_inscribed_circle(m, _MIDDLE) for m in missed])[::2]
    there = 2.0 * shapely.distance(shapely.boundary(region), shapely.points(middles))
    largest = largest_that_opens(missed, region, width, halvings=_BISECTIONS)
    # of a line no wider than the line is: that much is lost in the middle of its widest place
    largest = np.where(largest > _CORNER * there, largest, np.minimum(largest, there))
    return [
        Detail(at=(float(x), float(y)), area=float(a), width=float(w), largest=rounded_down(d), length=float(long))
        for (x, y), a, w, d, long in zip(middles, shapely.area(missed), there, largest, lengths(missed), strict=True)
    ]


def lengths(areas: Shapes) -> Floats:
    """(n,) from end to end of each of n areas, mm, without the films that openings drawn as polygons leave on edges."""
    pieces, owner = shapely.get_parts(without_films(areas, _THIN), return_index=True)
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(pieces)).reshape(-1, 5, 2)
    long = np.zeros(len(areas))
    np.maximum.at(long, owner, np.linalg.norm(np.diff(corners, axis=1), axis=2).max(axis=1))
    return long
