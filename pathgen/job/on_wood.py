"""Whether slots have wood under all of their length: where they cross a hollow end, or a notch of a drawn outline; and
holes in the waste all round them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Polygon

from pathgen.base import overlay
from pathgen.base.arrays import Bools, Floats
from pathgen.base.errors import Doubt, JobError
from pathgen.base.halving import halved
from pathgen.base.plain import joined
from pathgen.base.units import SUMS, coarse_length, falls_short, place_words, rounded_down, rounded_up
from pathgen.job.board_tables import BoardTable
from pathgen.job.job import Job
from pathgen.job.part import holes_of
from pathgen.parts.fingerboard.layout import nutward
from pathgen.parts.fingerboard.part import Fingerboard
from pathgen.work.clamping import Clamping
from pathgen.work.features import Slots, longer
from pathgen.work.operations import NutSlot, Slot
from pathgen.work.part import Part

_GRAZED = 0.05  # mm: so much of a line may miss the wood, as a drawing's edge is not finer
_AT_EDGE = 0.25  # of a line: so much may lie past a slanting or rounded edge, which it runs out through
_BESIDE = 1.0  # mm of wood between slot and hollow, of what is told to write
_FINE = 1e-3  # how exactly it is found how far a hollow reaches, mm
_UNDER_ALL = "wood under the whole slot"


def bare_lengths(outline: Polygon, lines: Floats, through: Bools) -> Floats:
    """(n,) how much of each of (n, 2, 2) lines has no wood, mm, but for a little at ends that are `through` an edge."""
    wood, drawn = overlay.buffer(outline, SUMS, join_style="mitre"), shapely.linestrings(lines)
    bare, whole = np.zeros(len(lines)), shapely.length(drawn)
    for i in np.flatnonzero(~shapely.covers(wood, drawn)):
        pieces = shapely.get_parts(overlay.difference(drawn[i], wood))
        length = shapely.length(pieces)
        at_end = shapely.distance(pieces[:, None], shapely.points(lines[i])) < SUMS
        bare[i] = length[~((at_end & through[i]).any(axis=1) & (length < _AT_EDGE * whole[i]))].sum()
    return np.where(bare > _GRAZED, bare, 0.0)


def moved_square(lines: Floats, by: float) -> Floats:
    """(n, 2, 2) lines moved `by` mm square to themselves, away from the nut."""
    return lines - by * np.array([nutward(line) for line in lines])[:, None]


@dataclass(frozen=True, eq=False, kw_only=True)
class _Bare:
    """Slots without wood under a part of their length."""

    board: Fingerboard
    cut: Slots
    lines: Floats
    """(n, 2, 2) the slots' lines, of ends that are round half the width shorter."""
    walls: tuple[float, ...]
    """How far from its line each place across a slot lies, mm, that is looked at."""
    missing: Floats
    """(n,) mm."""

    @property
    def over(self) -> list[int]:
        """Which they are, from the nut."""
        return np.flatnonzero(self.missing).tolist()

    @property
    def at_nut(self) -> bool:
        """Whether they lie in the nut's half of the board."""
        return float(self.lines[self.over[0], :, 0].mean()) < self._middle

    @property
    def worst(self) -> int:
        """The one nearest to the end of the board."""
        return self.over[0 if self.at_nut else -1]

    @property
    def _middle(self) -> float:
        return float(np.mean(self.board.outline.bounds[::2]))

    @property
    def further(self) -> float:
        """By how much the wood has to reach further, square to the slots, for all of them to lie on it, mm."""
        line, through = self.lines[[self.worst]], self.cut.through[[self.worst]]
        sign, wall = (1.0, min(self.walls)) if self.at_nut else (-1.0, max(self.walls))

        def bare(moved: float) -> bool:
            return bool(bare_lengths(self.board.outline, moved_square(line, wall + sign * moved), through).any())

        return halved(bare, 0.0, abs(float(line[0, :, 0].mean()) - self._middle), within=_FINE)[1]

    def problem(self, units: str) -> str:
        """What is wrong, in words."""
        worst, names = self.worst, [self._name(i) for i in self.over if i != self.worst]
        bare, whole = (coarse_length(v, units) for v in (
            self.missing[worst], float(np.linalg.norm(self.lines[worst, 1] - self.lines[worst, 0]))))
        what = self.cut.name or f"the slot of {self._name(worst)}"
        so_too = f"; so does that of {joined(names)}" if names else ""
        return f"{what} crosses a gap: {bare} of its {whole} has no wood{so_too}"

    def _name(self, i: int) -> str:
        return f"fret {self.cut.number[i]}" if self.cut.number[i] else "the zero fret"


def _bare(board: Fingerboard, cut: Slots) -> _Bare | None:
    half = cut.width / 2
    walls = (-half, 0.0, half) if cut.on_part is None else (half,)  # a shelf, cut past the end, has its front alone
    lines = longer(cut.lines, np.where(cut.through, 0.0, -half))
    missing = np.max([bare_lengths(board.outline, moved_square(lines, wall), cut.through) for wall in walls], axis=0)
    return _Bare(board=board, cut=cut, lines=lines, walls=walls, missing=missing) if missing.any() else None


def check_on_wood(job: Job, board: Fingerboard, cut: Slots) -> None:
    """Raise JobError for slots, or a nut's shelf at its front, that cross a gap in ends that are stated."""
    bare = None if board.drawn else _bare(board, cut)
    if bare is not None and job.board is not None:
        _refuse(bare, job.board, job.units)


def _refuse(bare: _Bare, table: BoardTable, units: str) -> None:
    end, key = (table.nut_end, "nut_end") if bare.at_nut else (table.end, "end")
    name, now = ("behind_nut", table.behind_nut) if bare.at_nut else ("past_last_fret", table.past_last_fret)
    further, slant = bare.further + _BESIDE, -float(nutward(bare.lines[bare.worst])[0])
    remedy = f"make {name} {rounded_up(now + further / slant):.2f} mm or more"
    where, most = f"[board] {name}", 0.0
    if end.rise < 0:
        where, most = f"[board] {key} rise", rounded_down(-end.rise - further)
        remedy += ", or the hollow shallower" if most > 0 else ", or leave rise out"
    elif end.steps:
        where, remedy = f"[board] {key} steps", f"{remedy}, or the steps smaller"
    if not bare.cut.name:
        remedy += ", or say in partial_frets where the fret stops"
    raise JobError(where, bare.problem(units), allowed=f"rise from -{most:g} mm up" if most > 0 else _UNDER_ALL,
                   remedy=remedy)


def drawn_gaps(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """Slots that cross a notch of a drawn outline, which may be meant: what is in the way of a rod's nut is cut so."""
    board = clamping.board
    if not isinstance(board, Fingerboard) or not board.drawn:
        return
    for cut in (clamping.feature(Slot), clamping.feature(NutSlot)):
        if cut is not None and (bare := _bare(board, cut)) is not None:
            yield Doubt(
                where="[outline] artwork", problem=bare.problem(job.units), allowed=_UNDER_ALL,
                remedy="if that is not meant, draw wood there, or correct the drawing's place" + (
                    "" if cut.name else "; else say in partial_frets where the fret stops, or make fewer frets"))


def in_groove(job: Job, part: Part) -> Doubt | None:
    """A hole for a dowel or a screw that the outline's cutter comes to; the nearest to the part."""
    holes = holes_of(job)
    if holes is None or job.outline is None:
        return None
    away = shapely.distance(part.outline, shapely.points(holes.at))
    near = int(np.argmin(away))
    needed = holes.diameter / 2 + job.cutter(job.outline.cutter, "[outline] cutter").diameter
    if not falls_short(float(away[near]), needed):
        return None
    what, (x, y) = "dowel" if job.channel else "hole, and into what stands in it,", holes.at[near].tolist()
    return Doubt(
        where=f"[holes] at {near + 1}", problem=f"the outline's cutter would cut into the {what} at "
        f"{place_words(x, y, job.units)}, {away[near]:.2f} mm from the {part.names.part}",
        allowed=f"{rounded_up(needed):.2f} mm or more", remedy="move it further out")


def holes_in_groove(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """The same, told where nothing is turned over on it: it may be empty by then."""
    if not job.channel and (doubt := in_groove(job, clamping.board)):
        yield doubt
