"""Whether each slot is on its line, at its depth, as wide and as long as asked, and both its edges bevelled by as much
as asked: measured from the text."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pathgen.base.arrays import Bools, Floats, Ints
from pathgen.base.cutters import Cutter
from pathgen.base.surface import Surface
from pathgen.removal.motion import Motion
from pathgen.removal.sweep import swept_heights
from pathgen.verify.findings import Finding, Tolerances, at, at_end
from pathgen.work.clamping import Clamping, Step
from pathgen.work.features import Slots

_NEAR = 1.0  # mm: a move nearer than this to a slot's line is meant for it
_EVERY = 0.5  # mm between places where the depth is measured
_AT_END = 1e-3  # mm: so much further in than it may stop short it is measured at a slot's end
_LINES = 4.0  # in a slot wider than two cutters the depth is measured on so many lines to a cutter's diameter


def slot_findings(motion: Motion, step: Step, clamping: Clamping, tolerances: Tolerances) -> Iterator[Finding]:
    """Every slot of the job against the moves of its program."""
    slots = step.operation.feature
    with np.errstate(invalid="ignore"):
        low = np.minimum(motion.start[:, 2], motion.end[:, 2])
        y0, y1 = motion.start[:, 1], motion.end[:, 1]
        nearest_y = np.where(np.abs(y0) < np.abs(y1), y0, y1)
        top = clamping.finished_surface.height(motion.end[:, 0], nearest_y)
        rows = np.flatnonzero(motion.cutting & ~(low > top))
    start, end = motion.start[rows], motion.end[rows]
    owner = _nearest_slot(start, end, slots)
    if (owner < 0).any():
        i = int(np.argmax(owner < 0))
        yield Finding(code="slot-stray", where=at(step.file_name, int(motion.line[rows[i]]), *end[i, :2]),
                      got="a cut that is on no slot", allowed=f"within {_NEAR:g} mm of a slot's line")
    missing = np.setdiff1d(np.arange(len(slots.lines)), owner)
    if len(missing):
        where = _name(slots, int(missing[0])) if len(missing) == 1 else slots.called(missing)
        yield Finding(code="slot-missing", where=f"{where}, {step.file_name}", got="no cut",
                      allowed=f"one slot for each {slots.counted or 'line'}")
    for number in np.setdiff1d(np.arange(len(slots.lines)), missing).tolist():
        own = owner == number
        one = _OneSlot(slots, number, step, start[own], end[own], motion.line[rows[own]])
        aside = [*one.walls(tolerances), *one.ends(tolerances)]
        yield from aside
        # beside a wall or an end that is off its place nothing more is said of what it leaves there
        yield from one.depth(clamping.finished_surface, tolerances, to_walls=not aside)


def _nearest_slot(start: Floats, end: Floats, slots: Slots) -> Ints:
    """Index of the slot each move is meant for, -1 for none."""
    origin, unit, _ = _slot_lines(slots)
    middle = (start[:, None, :2] + end[:, None, :2]) / 2 - origin
    off = np.abs(middle[..., 1] * unit[:, 0] - middle[..., 0] * unit[:, 1])
    nearest = np.argmin(off, axis=1) if len(off) else np.empty(0, int)
    return np.where(off[np.arange(len(off)), nearest] < max(_NEAR, slots.width / 2), nearest, -1)


def _slot_lines(slots: Slots) -> tuple[Floats, Floats, Floats]:
    """(n, 2) bass ends, (n, 2) directions from there, and (n,) lengths."""
    run = slots.lines[:, 1] - slots.lines[:, 0]
    length = np.linalg.norm(run, axis=1)
    return slots.lines[:, 0], run / length[:, None], length


def _name(slots: Slots, number: int) -> str:
    return slots.name or f"slot {int(slots.number[number])}"


def _along_and_aside(start: Floats, end: Floats, origin: Floats, unit: Floats) -> tuple[Floats, Floats]:
    """(n, 2) distances of each move's start and end along a slot's line, and to its left."""
    along = np.stack([(p[:, :2] - origin) @ unit for p in (start, end)], axis=1)
    aside = np.stack([(p[:, 1] - origin[1]) * unit[0] - (p[:, 0] - origin[0]) * unit[1] for p in (start, end)], axis=1)
    return along, aside


@dataclass(frozen=True, eq=False)
class _OneSlot:
    """A slot, by its number, and the moves that are meant for it: where (n, 3) they start and end, at which lines."""

    slots: Slots
    number: int
    step: Step
    start: Floats
    end: Floats
    lines: NDArray[np.int64]

    @cached_property
    def line(self) -> tuple[Floats, Floats, float]:
        """Its bass end, its direction from there, its length."""
        origin, unit, length = _slot_lines(self.slots)
        return origin[self.number], unit[self.number], float(length[self.number])

    @cached_property
    def places(self) -> tuple[Floats, Floats]:
        """Along the slot and beside it, each (n, 2)."""
        return _along_and_aside(self.start, self.end, *self.line[:2])

    @cached_property
    def half(self) -> float:
        return float(self.step.cutter.half_width(self.slots.depth))

    def _from_ends(self, s: Floats) -> Floats:
        """(n, 2) how far places on its line are from both its ends."""
        return np.stack([s, self.line[2] - s], axis=1)

    def _past_the_end(self, s: Floats) -> Floats:
        """(n,) how far past the ends of its way a flat end would have to go to stand as low as it may at each place.

        On a slope its uphill rim holds it up, until its axis is its radius further down. Where the slot ends short of
        the edge the path need not come to the very end.
        """
        along, far = self.places[0], self._from_ends(s)
        out = np.array([-along.min(), along.max() - self.line[2]])
        short = np.where(far < 4 * self.half, 4 * self.half, 0.0)
        through = np.maximum(self.half - out - far, 0.0)
        return np.where(self.slots.through[self.number], through, short).max(axis=1)

    def _found(self, code: str, i: int, got: str, allowed: str) -> Finding:
        where = at(f"{_name(self.slots, self.number)}, {self.step.file_name}", int(self.lines[i]), *self.end[i, :2])
        return Finding(code=code, where=where, got=got, allowed=allowed)

    def walls(self, tolerances: Tolerances) -> Iterator[Finding]:
        """On its line, as wide as asked."""
        _, aside = self.places
        off = {side: float((aside * side).max()) + self.half - self.slots.width / 2 for side in (-1, 1)}
        wrong = [side for side, wall in off.items() if abs(wall) > tolerances.slot_line]
        as_one = len(wrong) == 2 and off[-1] * off[1] < 0
        for side in wrong[:1] if as_one else wrong:
            i = int(np.argmax((aside * side).max(axis=1)))
            got = f"the slot lies {(abs(off[-1]) + abs(off[1])) / 2:.4f} mm aside of its place" if as_one else \
                f"a wall {abs(off[side]):.4f} mm {'outside' if off[side] > 0 else 'inside'} its place"
            yield self._found("slot-off-line", i, got, f"{tolerances.slot_line:g} mm")

    def ends(self, tolerances: Tolerances) -> Iterator[Finding]:
        """Through the edges, or as far short of them as asked."""
        along, _ = self.places
        reaches = (-along.min(), along.max() - self.line[2])
        for side, out, reach in zip((-1, 1), self.slots.through[self.number], reaches, strict=True):
            i = int(np.argmax((along * side).max(axis=1)))
            if out and reach < -tolerances.slot_end:
                yield self._found("slot-too-short", i, f"stops {-reach:.3f} mm inside the edge", "cut through the edge")
            elif not out and abs(reach + self.half) > tolerances.slot_end:
                yield self._found("slot-end", i, f"ends {reach + self.half:+.3f} mm from its place",
                                  f"{tolerances.slot_end:g} mm")

    def depth(self, surface: Surface, tolerances: Tolerances, *, to_walls: bool = True) -> Iterator[Finding]:
        """As deep as asked, on its line, along both its walls, and between them; or `to_walls` but for a tenth."""
        slots, half, (origin, unit, length), (along, aside) = self.slots, self.half, self.line, self.places
        inside = 2 * tolerances.slot_end
        s = np.linspace(0.0, length, max(3, round(length / min(_EVERY, 1.8 * half))))  # no dip falls between two
        s = np.concatenate([s, [inside + _AT_END, length - inside - _AT_END]])
        place = origin + s[:, None] * unit
        top, slope = surface.height(place[:, 0], place[:, 1]), surface.slope(place[:, 0], place[:, 1])
        if slots.bottom == "flat":
            wanted, slack = np.full(len(s), slots.floors(surface)[self.number]), np.zeros(len(s))
            allowed = f"level, {wanted[0]:.3f} mm above the underside within {tolerances.slot_depth:g} mm"
        else:
            wanted, slack = top - slots.depth, self._past_the_end(s) * slope
            allowed = f"{slots.depth:g} mm within {tolerances.slot_depth:g} mm"
        short_of_edge = np.where(slots.through[self.number], np.inf, self._from_ends(s)).min(axis=1)
        edge = slots.width / 2 - tolerances.slot_line if to_walls else 0.45 * slots.width
        wide = slots.width > 2.0 * self.step.cutter.diameter
        lines = math.ceil(edge * _LINES / self.step.cutter.diameter) if wide else 1
        # on a slope a pass goes deeper on its own line than half-way to the next, where its rim reaches less far:
        # passes of one height come no nearer to one depth than half of that, and two along the walls leave all of it
        apart = min(self.step.cutter.stepover, 1.0)
        apart = apart if wide else min(max(slots.width / (2 * half) - 1.0, 0.0), apart)
        left = half * (1.0 - math.sqrt(1.0 - apart**2)) if slots.bottom == "curve" else 0.0
        uneven, between = (left / 2, 0.0) if wide else (0.0, left)
        for line in sorted(range(-lines, lines + 1), key=abs):
            beside = line * edge / lines
            floor, by = _floor(along, aside - beside, self.start, self.end, s, self.step.cutter)
            deep = wanted - floor - uneven * slope
            # Near its side a round cutter reaches less far down a slope.
            beside_slack = half if beside and slots.bottom == "curve" else between
            # within a round end a place beside the line, or any that is not cut flat, lies outside what it reaches
            round_end = half if beside or not self.step.cutter.is_flat else 0.0
            measured = short_of_edge > round_end + inside
            shallow = np.where(measured, floor - wanted - slack - max(beside_slack, uneven) * slope, -np.inf)
            for code, off in (("slot-too-deep", deep), ("slot-too-shallow", shallow)):
                i = int(np.argmax(off))
                if off[i] > tolerances.slot_depth:
                    depth = (top - floor)[i]
                    got = f"{depth:.4f} mm deep" if np.isfinite(depth) else "not cut on a part of its line"
                    yield self._found(code, int(by[i]), got, allowed)
                    return


def _floor(
    along: Floats, aside: Floats, start: Floats, end: Floats, s: Floats, cutter: Cutter
) -> tuple[Floats, Ints]:
    """Lowest height that the moves leave at places s on a line, and which move leaves it."""
    # A move to the side is taken as the places where it begins, crosses the line and ends.
    slanting = np.abs(aside[:, 1] - aside[:, 0]) > 1e-3
    rows, side = np.flatnonzero(~slanting), np.flatnonzero(slanting)
    ends = np.stack([along, aside, np.stack([start[:, 2], end[:, 2]], axis=1)])
    crosses = np.clip(aside[side, 0] / (aside[side, 0] - aside[side, 1]), 0.0, 1.0)
    places = [ends[:, side, 0] + share * (ends[:, side, 1] - ends[:, side, 0]) for share in (0.0, crosses, 1.0)]
    along, aside, heights = np.concatenate([ends[:, rows], *(np.stack([at, at], axis=2) for at in places)], axis=1)
    rows = np.concatenate([rows, side, side, side])
    order = np.argsort(along, axis=1, kind="stable")
    along, heights = np.take_along_axis(along, order, axis=1), np.take_along_axis(heights, order, axis=1)
    from_, length, rise = along[:, :1], along[:, 1:] - along[:, :1], heights[:, 1:] - heights[:, :1]
    cut = swept_heights(cutter, s - from_, np.broadcast_to(aside[:, :1], (len(along), len(s))), length, rise)
    cut = cut + heights[:, :1]
    by = np.argmin(cut, axis=0)
    return cut[by, np.arange(len(s))], rows[by]


def bevel_findings(motion: Motion, step: Step, clamping: Clamping, tolerances: Tolerances) -> Iterator[Finding]:
    """Every slot's bevel against the moves of the bevel program."""
    slots, surface = step.operation.feature, clamping.finished_surface
    rows = np.flatnonzero(motion.cutting & np.isfinite(motion.start).all(axis=1))
    start, end = motion.start[rows], motion.end[rows]
    with np.errstate(invalid="ignore"):
        below = np.stack([p[:, 2] < surface.height(p[:, 0], p[:, 1]) for p in (start, end)]).any(axis=0)
    rows, start, end = rows[below], start[below], end[below]
    owner = _nearest_slot(start, end, slots)
    if (owner < 0).any():
        i = int(np.argmax(owner < 0))
        yield Finding(code="bevel-stray", where=at_end(step.file_name, motion, int(rows[i])),
                      got="a cut that is on no slot", allowed="on the slots' lines")
    for number in range(len(slots.lines)):
        own = np.flatnonzero(owner == number)
        name = f"slot {int(slots.number[number])}"
        if not _goes_along(start[own], end[own]).any():
            yield Finding(code="bevel-missing", where=f"{name}, {step.file_name}", got="no cut",
                          allowed="a bevel along each slot")
            continue
        for i, got in _one_bevel(start[own], end[own], number, slots, step, clamping, tolerances):
            yield Finding(code="bevel-wrong", where=at_end(step.file_name, motion, int(rows[own[i]])),
                          got=f"{name}: {got}",
                          allowed=f"{slots.bevel:g} mm on both edges within {tolerances.bevel:g}")


def _one_bevel(
    start: Floats, end: Floats, number: int, slots: Slots, step: Step, clamping: Clamping, tolerances: Tolerances
) -> Iterator[tuple[int, str]]:
    """(move, words) for what is wrong with one bevel: its place, its width, its ends."""
    origin, unit, length = (part[number] for part in _slot_lines(slots))
    along, aside = _along_and_aside(start, end, origin, unit)
    surface = clamping.finished_surface
    share = np.linspace(0.0, 1.0, 5)[:, None, None]
    points, left = start + share * (end - start), np.array([-unit[1], unit[0]])
    off_line = aside[:, 0] + share[..., 0] * (aside[:, 1] - aside[:, 0])
    widths = []
    for side in (1.0, -1.0):
        half = slots.width / 2 + slots.bevel
        edge = points[..., :2] + (side * half - off_line)[..., None] * left
        normal = surface.normal(edge[..., 0], edge[..., 1])
        steep, falls = (normal[..., :2] @ way / normal[..., 2] for way in (unit, side * left))
        # Along a slope m the swept cone's flank is as steep as sqrt(k^2 - m^2), k being its own steepness; what it lies
        # over the surface where the bevel's edge should be, the bevel lacks in width.
        flank = np.sqrt(step.cutter.wall_slope**2 - steep**2)
        over = points[..., 2] + flank * (half - side * off_line) - surface.height(edge[..., 0], edge[..., 1])
        widths.append(slots.bevel - over / (flank + falls))
    bevel = np.concatenate(widths)
    off, moves = bevel - slots.bevel, _goes_along(start, end)
    # plunges, and ways down into waste, open no more than the bevel; it is the lowest way along a place that leaves it
    short = (off < -tolerances.bevel).any(axis=0)
    low, high = np.sort(along[moves & ~short], axis=1).T
    places = (along[:, 0] + share[..., 0] * (along[:, 1] - along[:, 0]))[..., None]
    again = ((low <= places + tolerances.slot_end) & (places - tolerances.slot_end <= high)).any(axis=2).all(axis=0)
    leaves = moves & ~(short & again)
    off = np.where(leaves, off, np.maximum(off, 0.0))
    worst = np.unravel_index(int(np.argmax(np.abs(off))), off.shape)
    if abs(off[worst]) > tolerances.bevel:
        yield int(worst[1]), f"a bevel of {bevel[worst]:.4f} mm"
    goes = np.flatnonzero(leaves)  # those left out lie within the others
    along = along[goes]
    for side, out, reach in zip((-1, 1), slots.through[number], (-along.min(), along.max() - length), strict=True):
        if reach < (0.0 if out else -slots.width / 2) - tolerances.slot_end:
            yield int(goes[np.argmax((along * side).max(axis=1))]), f"stops {-reach:.3f} mm before the slot's end"
    order = np.argsort(along.min(axis=1))
    gap = along.min(axis=1)[order[1:]] - np.maximum.accumulate(along.max(axis=1)[order])[:-1]
    if gap.max(initial=0.0) > tolerances.slot_end:
        yield int(goes[order[1:][np.argmax(gap)]]), f"{gap.max():.3f} mm of its length not bevelled"


def _goes_along(start: Floats, end: Floats) -> Bools:
    return np.asarray(np.linalg.norm(end[:, :2] - start[:, :2], axis=1) > 1e-6)
