"""Whether the v cutter bevels both edges of each slot by as much as asked: measured from the text."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from pathgen.base.arrays import Bools, Floats
from pathgen.removal.motion import Motion
from pathgen.verify.findings import Finding, Tolerances, at_end
from pathgen.verify.slots import along_and_aside, nearest_slot, slot_lines
from pathgen.work.clamping import Clamping, Step
from pathgen.work.features import Slots


def bevel_findings(motion: Motion, step: Step, clamping: Clamping, tolerances: Tolerances) -> Iterator[Finding]:
    """Every slot's bevel against the moves of the bevel program."""
    slots, surface = step.operation.feature, clamping.finished_surface
    rows = np.flatnonzero(motion.cutting & np.isfinite(motion.start).all(axis=1))
    start, end = motion.start[rows], motion.end[rows]
    with np.errstate(invalid="ignore"):
        below = np.stack([p[:, 2] < surface.height(p[:, 0], p[:, 1]) for p in (start, end)]).any(axis=0)
    rows, start, end = rows[below], start[below], end[below]
    owner = nearest_slot(start, end, slots)
    if (owner < 0).any():
        i = int(np.argmax(owner < 0))
        yield _finding("bevel-stray", step, motion, int(rows[i]), "a cut that is on no slot", "on the slots' lines")
    for number in range(len(slots.lines)):
        own = np.flatnonzero(owner == number)
        name = f"slot {int(slots.number[number])}"
        if not _goes_along(start[own], end[own]).any():
            yield Finding(code="bevel-missing", where=f"{name}, {step.file_name}", got="no cut",
                          allowed="a bevel along each slot")
            continue
        for i, got in _one(start[own], end[own], number, slots, step, clamping, tolerances):
            yield _finding("bevel-wrong", step, motion, int(rows[own[i]]), f"{name}: {got}",
                           f"{slots.bevel:g} mm on both edges within {tolerances.bevel:g}")


def _one(
    start: Floats, end: Floats, number: int, slots: Slots, step: Step, clamping: Clamping, tolerances: Tolerances
) -> Iterator[tuple[int, str]]:
    """(move, words) for what is wrong with one bevel: its place, its width, its ends."""
    origin, unit, length = (part[number] for part in slot_lines(slots))
    along, aside = along_and_aside(start, end, origin, unit)
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


def _finding(code: str, step: Step, motion: Motion, row: int, got: str, allowed: str) -> Finding:
    return Finding(code=code, where=at_end(step.file_name, motion, row), got=got, allowed=allowed)
