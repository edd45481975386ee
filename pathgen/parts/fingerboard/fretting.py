"""The fretting sheet: what each fret is cut to, nipped to and bent to, how much wire, and whether the slots hold it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pathgen.base.arrays import Floats
from pathgen.base.errors import JobError
from pathgen.base.surface import Surface
from pathgen.parts.fingerboard.numbers import FRET_OR_NUT
from pathgen.parts.fingerboard.top import radius_under
from pathgen.parts.keys import key, list_of, number, size, table_of
from pathgen.work.features import Slots

if TYPE_CHECKING:
    from pathgen.parts.fingerboard.part import Fingerboard


SPLIT, LOOSE = 0.02, 0.05
"""mm: a slot this much narrower than the tang splits the board, one that leaves the studs less than this does not
hold (from memory; woods differ)."""
_USUAL_STUDS = 0.2  # how much wider than its tang wire is over its studs, mm, from memory
_UNDER_TANG = 0.1  # room wanted under the tang, mm, from memory
_SAME = 0.01  # a slot that ends this near to the fret's end runs out through the edge, mm


@dataclass(frozen=True, kw_only=True)
class TangTable:
    """The tang of the fret wire."""

    width: float = key(size(0.2, 2.0), "of the tang", 0.5)
    depth: float = key(size(0.2, 5.0), "how far it goes down under the crown", 1.6)
    studs: float = key(size(0.2, 2.5), "width over its studs", 0.7)


@dataclass(frozen=True, kw_only=True)
class CrownTable:
    """The crown of the fret wire."""

    width: float = key(size(0.5, 5.0), "across", 2.4)
    height: float = key(size(0.2, 3.0), "over the board", 1.2)


@dataclass(frozen=True, kw_only=True)
class WireSizeTable:
    """Wire of another size for some of the frets."""

    frets: tuple[int, int] = key(list_of(FRET_OR_NUT, names=("first", "last")), "[first, last] that it is for")
    tang: TangTable | None = key(table_of(TangTable), "{ width, depth, studs }", None, shown="that of [frets]")
    crown: CrownTable | None = key(table_of(CrownTable), "{ width, height }", None, shown="that of [frets]")


@dataclass(frozen=True, kw_only=True)
class FretWire:
    """``[frets]``: the wire, for the fretting sheet."""

    tang: TangTable = key(table_of(TangTable), "{ width, depth, studs }", TangTable, shown="a usual one")
    crown: CrownTable = key(table_of(CrownTable), "{ width, height }", CrownTable, shown="a usual one")
    sizes: tuple[WireSizeTable, ...] = key(
        list_of(table_of(WireSizeTable), least=1, most=12), "other wire for some frets: { frets, tang, crown }", (),
        shown="one wire for all")
    overhang: float = key(size(0.0, 20.0), "past each finished edge, filed off later", 2.0, inch=0.08)
    bend: float = key(number(0.0, 0.5), "share by which a fret is bent to a smaller radius than the board's", 0.15)
    tang_gap: float = key(size(0.0, 3.0), "left between a nipped tang and each end of its slot", 0.5)
    waste: float = key(number(0.0, 1.0), "share added to the wire to buy", 0.1)

    def size_of(self, fret: int) -> int:
        """Which of the wires a fret is made of: 0 for the one that is not limited, then those of `sizes`."""
        return next((i for i, one in enumerate(self.sizes, 1) if one.frets[0] <= fret <= one.frets[1]), 0)

    def wire_of(self, fret: int) -> FretWire:
        """The wire of a fret, as the only one."""
        return self.wires[self.size_of(fret)]

    @property
    def wires(self) -> tuple[FretWire, ...]:
        """Each wire, as the only one: the one that is not limited, then those of `sizes`."""
        one = replace(self, sizes=())
        return (one, *(replace(one, tang=s.tang or self.tang, crown=s.crown or self.crown) for s in self.sizes))


def checked_wire(wire: FretWire, first: int, last: int) -> None:
    """Raise JobError for sizes whose frets are not on a board that has `first` to `last`, or that meet."""
    taken: dict[int, int] = {}
    for i, tang in enumerate([wire.tang, *(one.tang for one in wire.sizes)]):
        if tang is not None and tang.studs < tang.width:
            raise JobError(f"[frets] sizes {i} tang" if i else "[frets] tang",
                           f"{tang.studs:g} mm over its studs, and {tang.width:g} mm wide",
                           allowed="studs as wide as the tang, or wider",
                           remedy="measure over the barbs that stand out on both sides of the tang")
    for i, one in enumerate(wire.sizes, 1):
        where, (low, high) = f"[frets] sizes {i} frets", one.frets
        if not first <= low <= high <= last:
            raise JobError(where, f"{low} to {high}", allowed=f"two of {first} to {last}, rising", remedy="correct it")
        for fret in range(low, high + 1):
            if fret in taken:
                raise JobError(where, f"fret {fret} is in size {taken[fret]} too", allowed="each fret in one",
                               remedy="correct one of them")
            taken[fret] = i


@dataclass(frozen=True, eq=False, kw_only=True)
class Fretting:
    """A row for each fret, along its own curve, mm."""

    number: NDArray[np.int64]
    length: Floats
    """(n,) to cut: from edge to edge of the finished board, and the overhang on each side."""
    tang: Floats
    """(n,) left of the tang, on the middle of the length; as long as it where nothing is nipped."""
    nipped: Floats
    """(n, 2) what is nipped off the tang at the bass and at the treble end."""
    radius: Floats
    bend: Floats
    """Both: (n,) of the board under the fret, and of the fret as bent; infinite where flat."""
    size: NDArray[np.int64]
    """(n,) which of the wires each is made of, as `FretWire.size_of`."""
    totals: Floats
    """(w,) all wire of each size, with the waste."""


def fretting(board: Fingerboard, slots: Slots | None, wire: FretWire) -> Fretting:
    """The sheet of a board.

    A tang is nipped where its slot stops short of the finished edge: at a binding or at a blind end.
    """
    surface, frets = board.surface, board.frets
    ends = finished_ends(board)
    length = arc_lengths(surface, ends) + 2 * wire.overhang
    # a slot through the edge holds up to there: on a drawn board it runs on past it
    held = ends if slots is None else np.where(slots.through[..., None], frets.ends, slots.lines)
    # the tang's end against the fret's: along the curve from the fret's end to the slot's end, and the gap
    short = np.stack([arc_lengths(surface, np.stack([ends[:, i], held[:, i]], axis=1)) for i in (0, 1)], axis=1)
    nipped = np.where(short > _SAME, short + wire.overhang + wire.tang_gap, 0.0)
    radius = radius_under(ends, surface)
    size = np.array([wire.size_of(fret) for fret in frets.number.tolist()], dtype=np.int64)
    used = np.bincount(size, weights=length, minlength=len(wire.wires))
    return Fretting(number=frets.number, length=length, tang=length - nipped.sum(axis=1), nipped=nipped, radius=radius,
                    bend=radius * (1.0 - wire.bend), size=size, totals=np.asarray(used * (1.0 + wire.waste), float))


def finished_ends(board: Fingerboard) -> Floats:
    """(n, 2, 2) where each fret ends on the finished board: out to the binding's outer face, or where it stops."""
    return np.where(board.frets.full[..., None], past_binding(board, board.frets.ends), board.frets.ends)


def past_binding(board: Fingerboard, lines: Floats) -> Floats:
    """Lines from edge to edge of the cut board, (n, 2, 2), run on to the binding's outer faces."""
    if board.drawn:
        met = board.across(lines, inset=-board.binding)
        return np.where(np.isnan(met), lines, met)
    slope, run = board.edges.slope, lines[:, 1] - lines[:, 0]
    unit = run / np.linalg.norm(run, axis=1)[:, None]
    out = lines.copy()
    for i, way in ((0, -1.0), (1, 1.0)):
        # the binding is as thick as it is square to the edge, and longer along a line that slants against it
        longer = board.binding * np.hypot(1.0, slope) / (np.abs(unit[:, 1]) - way * slope * unit[:, 0])
        out[:, i] += (way * longer)[:, None] * unit
    return out


def arc_lengths(surface: Surface, lines: Floats) -> Floats:
    """Length of each straight line in plan, (n, 2, 2), along the surface over it: (n,) mm."""
    share = np.linspace(0.0, 1.0, 257)[:, None]
    points = lines[:, :1] + share * (lines[:, 1:] - lines[:, :1])
    rise = np.diff(surface.height(points[..., 0], points[..., 1]), axis=1)
    step = np.linalg.norm(np.diff(points, axis=1), axis=2)
    return np.asarray(np.hypot(step, rise).sum(axis=1))


def wire_faults(wire: FretWire, slots: Slots | None) -> Iterator[tuple[str, str, str, str]]:
    """(where, got, allowed, remedy) for slots that the wire does not suit, by what is usual (from memory)."""
    if slots is None:
        return
    used = {wire.size_of(fret) for fret in slots.number.tolist()}
    for i, one in enumerate(wire.wires):
        if i in used:
            yield from _faults(one, slots, f"[frets] sizes {i} tang" if i else "[frets] tang")


def _faults(wire: FretWire, slots: Slots, where: str) -> Iterator[tuple[str, str, str, str]]:
    tang, width = wire.tang, slots.width
    low, high = tang.width - SPLIT, tang.studs - LOOSE
    if high < low - 1e-9:
        studs = tang.width + _USUAL_STUDS
        yield (f"{where} studs", f"{tang.studs:g} mm over a tang {tang.width:g} mm wide: no slot holds it and does not "
               "split the board", f"{low + LOOSE:.2f} mm or more", "measure over the barbs that stand out on both "
               f"sides of the tang, usually about {studs:g} mm here")
        high = studs - LOOSE
    if not low - 1e-9 <= width <= high + 1e-9:
        why = "splits the board" if width < low else "does not hold the studs"
        yield (where, f"a slot of {width:g} mm {why}: tang {tang.width:g} mm, {tang.studs:g} mm over its studs",
               f"a slot {low:.2f} to {high:.2f} mm wide, as is usual", "take another slot cutter or other wire")
    if slots.depth < tang.depth + _UNDER_TANG - 1e-9:
        yield (where, f"a slot {slots.depth:g} mm deep for a tang of {tang.depth:g} mm: the fret does not go down",
               f"{tang.depth + _UNDER_TANG:.2f} mm deep or more", "make [slots] depth larger, or file the tang")
