"""Whether what later programs count on still stands: witness marks, and the places that Z 0 is tried on, as the heads
name them. What is cut there leaves the part as it is, and has the maker set zero wrongly."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from pathgen.base.arrays import Floats
from pathgen.base.cutters import Cutter
from pathgen.base.units import INCH
from pathgen.removal.motion import Motion
from pathgen.verify.culprit import left_by
from pathgen.verify.findings import Finding, Tolerances, at
from pathgen.verify.program import ReadProgram
from pathgen.work.clamping import Clamping, Step
from pathgen.work.operations import WitnessMarks

_TRIED = re.compile(
    r"Check Z 0\b.*? X (-?[\d.]+) (?:mm|in), Y (-?[\d.]+) (?:mm|in),.*? over the bare (?:raw top|face)\b")
_RIM = 0.25
"""Round a mark that stands too, mm: without its rim a cutter is not seen to enter it."""
_EVERY = 0.2
"""Between the places that are looked at, mm: nearer to each other than the narrowest cutter is wide."""
_MOST = 20
"""Places across what is looked at, of a wide cutter's foot."""

Cut = tuple[Clamping, Mapping[str, ReadProgram], Mapping[int, Motion]]
"""A clamping, its programs by their names, and their moves by their order."""


def mark_kept_findings(
    clamping: Clamping, motions: Mapping[int, Motion], tolerances: Tolerances
) -> Iterator[Finding]:
    """Programs that cut over a witness mark: drilled deeper, or with its rim gone, it is not found where it was."""
    drilled = clamping.step(WitnessMarks)
    if drilled is None:
        return
    marks, top = drilled.operation.feature, clamping.stock.thickness
    radius = float(drilled.cutter.half_width(marks.depth))
    around = _disc(radius + _RIM)
    stands = np.where(np.hypot(*around.T) <= radius, top - marks.depth, top)
    for step in clamping.steps:
        if step is drilled or step.order not in motions:
            continue
        for number, (x, y) in enumerate(marks.places.tolist(), 1):
            if (cut := _lowered(motions[step.order], step.cutter, around + [x, y], stands)) is None:
                continue
            depth, line = cut
            if depth > tolerances.kept:
                yield Finding(
                    code="mark-cut", where=at(step.file_name, line, x, y),
                    got=f"it cuts {depth:.3f} mm into mark {number} or its rim, by which the work is found again",
                    allowed="marks that stand as they were drilled", remedy="leave that place as it is: take those "
                    "moves out, or make the programs again from the job")


def zero_kept_findings(cut: Sequence[Cut], tolerances: Tolerances) -> Iterator[Finding]:
    """Programs that cut where a later one has Z 0 tried over the top as it came: of each place, each once."""
    every = sorted(((step, *one) for one in cut for step in one[0].steps), key=lambda row: row[0].number)
    told: set[tuple[str, float, float]] = set()
    for place, (step, clamping, programs, _) in enumerate(every):
        if (tried := _tried(programs.get(step.file_name), clamping, step)) is None:
            continue
        for before, other, _, motions in every[:place]:
            x, y = tried[1] if other is clamping else other.to_board(tried[0])[0, :2].tolist()
            key = before.file_name, round(x, 1), round(y, 1)
            if before.order not in motions or key in told:
                continue
            around = _disc(step.cutter.radius if step.cutter.is_flat else 0.0) + [x, y]
            top = np.full(len(around), other.stock.thickness)
            if other.surfacing is None:
                top = np.fmin(top, other.first_surface.height(*around.T))
            found = _lowered(motions[before.order], before.cutter, around, top)
            if found is not None and found[0] > tolerances.kept:
                told.add(key)
                yield Finding(
                    code="zero-place-cut", where=at(before.file_name, found[1], x, y),
                    got=f"it cuts {found[0]:.3f} mm into the place where Z 0 is tried before program {step.number}",
                    allowed="the top there as it is: over a lower one Z 0 would be set too low",
                    remedy="leave that place as it is: take those moves out, or make the programs again from the job")


def _tried(
    program: ReadProgram | None, clamping: Clamping, step: Step
) -> tuple[Floats, tuple[float, float]] | None:
    """Where a program's head has Z 0 tried on what nothing cuts: (1, 3) on the display, and in the part's frame."""
    words = " ".join(text.strip().removeprefix(".. ") for _, text in program.comments) if program is not None else ""
    if (found := _TRIED.search(words)) is None:
        return None
    unit = INCH if clamping.units == "in" else 1.0
    shown = np.array([[float(found[1]) * unit, float(found[2]) * unit, 0.0]])
    x, y, _ = clamping.to_board(shown, step)[0].tolist()
    return shown, (x, y)


def _disc(radius: float) -> Floats:
    """(n, 2) places all over a disc, its middle and its rim among them."""
    count = max(min(math.ceil(2 * radius / _EVERY), _MOST), 2)
    line = np.linspace(-radius, radius, count + 1)
    angle = np.linspace(0.0, 2.0 * np.pi, 4 * count, endpoint=False)
    disc = np.stack(np.meshgrid(line, line), axis=-1).reshape(-1, 2)
    rim = radius * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    return np.concatenate([[[0.0, 0.0]], disc[np.hypot(*disc.T) < radius], rim])


def _lowered(motion: Motion, cutter: Cutter, places: Floats, stands: Floats) -> tuple[float, int] | None:
    """How far some moves cut below what stands at (n, 2) places, at most, and in which line; None where none do."""
    end = np.where(np.isfinite(motion.end), motion.end, motion.start)
    start = np.where(np.isfinite(motion.start), motion.start, end)
    low, high = np.minimum(start, end), np.maximum(start, end)
    near = ((low[:, :2] <= places.max(axis=0) + cutter.radius) & (high[:, :2] >= places.min(axis=0) - cutter.radius))
    moves = np.flatnonzero(near.all(axis=1) & (low[:, 2] < stands.max()) & np.isfinite(start).all(axis=1))
    if not len(moves):
        return None
    deep = np.stack([top - left_by(motion, moves, cutter, x, y)
                     for (x, y), top in zip(places.tolist(), stands.tolist(), strict=True)]).max(axis=0)
    worst = int(np.argmax(deep))
    return float(deep[worst]), int(motion.line[moves[worst]])
