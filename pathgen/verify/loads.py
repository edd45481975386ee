"""How much each tooth takes beside what it takes in a straight-line cut: from what moves take, in their order."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pathgen.base.cutters import LOAD_FACTOR, Cutter
from pathgen.removal.bites import Bites
from pathgen.removal.motion import Motion
from pathgen.verify.findings import Finding, at
from pathgen.verify.simulate import Simulation
from pathgen.work.clamping import Step

Floats = NDArray[np.float64]

FEWEST_ACROSS = 8.0
"""Points of the grid across a cutter from which its load is measured at all."""


@dataclass(frozen=True, kw_only=True)
class Load:
    """Volume per tooth in one program, as a share of a straight-line cut at stepover, stepdown and full feed.

    `median` and `high` (95 in 100) go by the length of the way; `largest` is at `line`, (x, y). Moves straight down
    are not in it. `coarse` is the share by which the grid may be wrong.
    """

    median: float
    high: float
    largest: float
    line: int
    x: float
    y: float
    coarse: float


def loads_of(steps: tuple[Step, ...], sim: Simulation, motions: Mapping[int, Motion]) -> dict[int, Load]:
    """The load of each program that clears wood, by its order, where the grid is fine enough to tell."""
    spacing = float(sim.grid.xs[1] - sim.grid.xs[0]) if len(sim.grid.xs) > 1 else np.inf
    found: dict[int, Load] = {}
    for step in steps:
        taken = sim.taken.get(step.order)
        if step.operation.works_hard and taken is not None and taken.bites is not None:
            load = _load(taken.bites, motions[step.order], step.cutter, spacing)
            found |= {step.order: load} if load is not None else {}
    return found


def _load(bites: Bites, motion: Motion, cutter: Cutter, spacing: float) -> Load | None:
    run = motion.end - motion.start
    with np.errstate(invalid="ignore"):
        moves = np.flatnonzero(motion.cutting & (np.hypot(run[:, 0], run[:, 1]) > 1e-6))
    if cutter.diameter < FEWEST_ACROSS * spacing or not len(moves):
        return None
    length = bites.travel[moves]
    apart = np.diff(moves, prepend=moves[0]) > 1
    rate = _rate(bites.volume[moves], length, motion.feed[moves], apart, cutter.diameter)
    share = rate / (cutter.straight_cut * cutter.feed)
    order = np.argsort(share)
    gone = np.cumsum(length[order]) / length.sum()
    median, high = (float(share[order][np.searchsorted(gone, part).clip(0, len(order) - 1)]) for part in (0.5, 0.95))
    worst = int(moves[np.argmax(share)])
    x, y = motion.end[worst, :2].tolist()
    return Load(median=median, high=high, largest=float(share.max()), line=int(motion.line[worst]), x=x, y=y,
                coarse=spacing / cutter.diameter)


def load_findings(steps: tuple[Step, ...], loads: Mapping[int, Load]) -> Iterator[Finding]:
    """A warning for each program in which a tooth takes more than it should, by more than the grid may be wrong."""
    for step in steps:
        load = loads.get(step.order)
        if load is not None and load.largest > LOAD_FACTOR * (1.0 + load.coarse):
            yield Finding(
                code="load-high", severity="warn", where=at(step.file_name, load.line, load.x, load.y),
                got=f"{load.largest:.1f} times what a tooth takes in a straight-line cut",
                allowed=f"{LOAD_FACTOR:g} times", remedy="make the feed lower there, or the stepdown smaller",
            )


def _rate(volume: Floats, length: Floats, feed: Floats, apart: NDArray[np.bool_], stretch: float) -> Floats:
    """(n,) volume per minute, mm3, over `stretch` mm round the middle of each move; lifts end a stretch.

    What a long move takes at its ends may be counted with its neighbours: so volume and time are taken over the same
    stretch.
    """
    gone = np.concatenate([[0.0], np.cumsum(length + apart * stretch)])
    taken = np.concatenate([[0.0], np.cumsum(volume)])
    spent = np.concatenate([[0.0], np.cumsum((length + apart * stretch) / feed)])
    middle = gone[1:] - length / 2
    low, high = np.maximum(middle - stretch / 2, 0.0), np.minimum(middle + stretch / 2, gone[-1])
    minutes = np.interp(high, gone, spent) - np.interp(low, gone, spent)
    return np.asarray((np.interp(high, gone, taken) - np.interp(low, gone, taken))
                      / np.maximum(minutes, stretch / 2 / feed))
