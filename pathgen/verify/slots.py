"""Whether each fret slot is on its line, at its depth, as wide and as long as asked: measured from the text."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from pathgen.clamping import Clamping, Step
from pathgen.cutters import Cutter
from pathgen.fingerboard import Slots
from pathgen.verify.findings import Finding, Tolerances, at
from pathgen.verify.motion import Motion
from pathgen.verify.sweep import swept_heights

Floats = NDArray[np.float64]

_NEAR = 1.0  # mm: a move nearer than this to a slot's line is meant for it
_EVERY = 0.5  # mm between places where the depth is measured


def slot_findings(motion: Motion, step: Step, clamping: Clamping, tolerances: Tolerances) -> Iterator[Finding]:
    """Every slot of the job against the moves of the slots program."""
    slots = clamping.slots
    if slots is None:
        return
    with np.errstate(invalid="ignore"):
        low = np.minimum(motion.start[:, 2], motion.end[:, 2])
        nearest_y = np.where(np.abs(motion.start[:, 1]) < np.abs(motion.end[:, 1]), motion.start[:, 1], motion.end[:, 1])
        top = clamping.finished_surface.height(motion.end[:, 0], nearest_y)
        rows = np.flatnonzero(motion.cutting & ~(low > top))
    start, end = motion.start[rows], motion.end[rows]
    owner = _nearest_slot(start, end, slots)
    if (owner < 0).any():
        i = int(np.argmax(owner < 0))
        yield Finding(
            code="slot-stray", severity="forbid",
            where=at(step.file_name, int(motion.line[rows[i]]), *end[i, :2]), got="a cut that is on no fret slot",
            allowed=f"within {_NEAR:g} mm of a slot's line", remedy="make the programs again from the job",
        )
    for number in range(len(slots.lines)):
        own = owner == number
        name = f"slot {int(slots.number[number])}"
        if not own.any():
            yield Finding(
                code="slot-missing", severity="forbid", where=f"{name}, {step.file_name}", got="no cut",
                allowed="one slot for each fret", remedy="make the programs again from the job",
            )
            continue
        yield from _one_slot(
            name, number, start[own], end[own], motion.line[rows[own]], step, clamping, slots, tolerances
        )


def _nearest_slot(start: Floats, end: Floats, slots: Slots) -> NDArray[np.intp]:
    """Index of the slot each move is meant for, -1 for none."""
    origin, unit, _ = _lines(slots)
    middle = (start[:, None, :2] + end[:, None, :2]) / 2 - origin
    off = np.abs(middle[..., 1] * unit[:, 0] - middle[..., 0] * unit[:, 1])
    nearest = np.argmin(off, axis=1) if len(off) else np.empty(0, int)
    return np.where(off[np.arange(len(off)), nearest] < _NEAR, nearest, -1)


def _lines(slots: Slots) -> tuple[Floats, Floats, Floats]:
    run = slots.lines[:, 1] - slots.lines[:, 0]
    length = np.linalg.norm(run, axis=1)
    return slots.lines[:, 0], run / length[:, None], length


def _one_slot(
    name: str, number: int, start: Floats, end: Floats, lines: NDArray[np.int64], step: Step, clamping: Clamping,
    slots: Slots, tolerances: Tolerances,
) -> Iterator[Finding]:
    origin, unit, length = (part[number] for part in _lines(slots))
    along = np.stack([(p[:, :2] - origin) @ unit for p in (start, end)], axis=1)
    aside = np.stack([(p[:, 1] - origin[1]) * unit[0] - (p[:, 0] - origin[0]) * unit[1] for p in (start, end)], axis=1)
    half = float(step.cutter.half_width(slots.depth))

    def found(code: str, i: int, got: str, allowed: str) -> Finding:
        return Finding(
            code=code, severity="forbid", where=at(f"{name}, {step.file_name}", int(lines[i]), *end[i, :2]), got=got,
            allowed=allowed, remedy="make the programs again from the job",
        )

    for side in (-1, 1):
        wall = (aside * side).max() + half - slots.width / 2
        if abs(wall) > tolerances.slot_line:
            i = int(np.argmax((aside * side).max(axis=1)))
            yield found("slot-off-line", i, f"a wall {wall:+.4f} mm from its place", f"{tolerances.slot_line:g} mm")
    yield from _ends(along, half, float(length), slots, tolerances, found)
    yield from _depth(along, aside, start, end, half, step.cutter, number, clamping, slots, tolerances, found)


def _ends(along: Floats, half: float, length: float, slots: Slots, tolerances: Tolerances, found) -> Iterator[Finding]:  # type: ignore[no-untyped-def]
    for side, reach in ((-1, -along.min()), (1, along.max() - length)):
        i = int(np.argmax((along * side).max(axis=1)))
        if slots.short is None and reach < -tolerances.slot_end:
            yield found("slot-too-short", i, f"stops {-reach:.3f} mm inside the edge", "cut through the edge")
        elif slots.short is not None and abs(reach + half) > tolerances.slot_end:
            yield found("slot-end", i, f"ends {reach + half:+.3f} mm from its place", f"{tolerances.slot_end:g} mm")


def _depth(  # type: ignore[no-untyped-def]
    along: Floats, aside: Floats, start: Floats, end: Floats, half: float, cutter: Cutter, number: int,
    clamping: Clamping, slots: Slots, tolerances: Tolerances, found,
) -> Iterator[Finding]:
    origin, unit, length = (part[number] for part in _lines(slots))
    s = np.linspace(0.0, float(length), max(3, round(float(length) / _EVERY)))
    back = along[:, 1] < along[:, 0]
    from_, to = np.where(back, along[:, 1], along[:, 0]), np.where(back, along[:, 0], along[:, 1])
    z0, z1 = np.where(back, end[:, 2], start[:, 2]), np.where(back, start[:, 2], end[:, 2])
    cut = swept_heights(cutter, s - from_[:, None], np.zeros((len(along), 1)), (to - from_)[:, None], (z1 - z0)[:, None])
    cut += z0[:, None]
    by = np.argmin(cut, axis=0)
    floor = cut[by, np.arange(len(s))]
    place = origin + s[:, None] * unit
    top = clamping.finished_surface.height(place[:, 0], place[:, 1])
    depth = top - floor
    at_ends = np.minimum(s, length - s) < 4 * half
    slope = clamping.finished_surface.slope(place[:, 0], place[:, 1])
    shallow = slots.depth - depth - np.where(at_ends, 4 * half * slope, 0.0)
    if slots.short is not None:
        shallow = np.where(np.minimum(s, length - s) < half + 2 * tolerances.slot_end, -np.inf, shallow)
    deepest, shallowest = int(np.argmax(depth)), int(np.argmax(shallow))
    allowed = f"{slots.depth:g} mm within {tolerances.slot_depth:g}"
    if depth[deepest] > slots.depth + tolerances.slot_depth:
        yield found("slot-too-deep", int(by[deepest]), f"{depth[deepest]:.4f} mm deep", allowed)
    if shallow[shallowest] > tolerances.slot_depth:
        yield found("slot-too-shallow", int(by[shallowest]), f"{depth[shallowest]:.4f} mm deep", allowed)
