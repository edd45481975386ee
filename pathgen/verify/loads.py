"""How much each tooth takes beside what it takes in a straight-line cut: from what moves take, in their order."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from pathgen.base.arrays import Bools, Floats
from pathgen.base.cutters import LOAD_FACTOR, Cutter
from pathgen.removal.bites import Bites
from pathgen.removal.motion import Motion
from pathgen.verify.findings import Finding, at
from pathgen.verify.simulate import Simulation
from pathgen.work.clamping import Clamping, Step
from pathgen.work.operations import SurfaceFinish

_MOSTLY = 0.25
"""Where one row of the grid is this share of what is cut, or more, too much is told of in the table alone."""
FEWEST_ACROSS = 8.0
"""Points of the grid across a cutter from which its load is measured at all."""


@dataclass(frozen=True, kw_only=True)
class Load:
    """Volume per tooth in one program, as a share of a straight-line cut at stepover, stepdown and full feed, as deep.

    It is told over as much way as the cutter is wide: in a sharp turn, where wood stands before it and beside it, a
    tooth takes more for a few turns of the cutter (measured over 0.5 mm at a corner of a raw blank 2.97, here 1.87).

    `median` and `high` (95 in 100) go by the length of the way; `largest` is most of all. `angles` are the same three
    of the engaged angle, degrees. Moves straight down are not in it. What is `judged` is at `line`, (x, y), where most
    is left of it without `coarse`, the share that one row of the grid is of what is cut: a lap may be so much thinner.
    Where that is nowhere too much, it is the largest.
    """

    median: float
    high: float
    largest: float
    angles: tuple[float, float, float]
    judged: float
    line: int
    x: float
    y: float
    coarse: float

    @property
    def sure(self) -> float:
        """What is judged, a row of the grid less."""
        return self.judged * (1.0 - self.coarse)


def loads_of(clamping: Clamping, sim: Simulation, motions: Mapping[int, Motion]) -> dict[int, Load]:
    """The load of each program that clears wood, by its order, where the grid is fine enough to tell."""
    spacing = float(sim.grid.xs[1] - sim.grid.xs[0]) if len(sim.grid.xs) > 1 else np.inf
    found: dict[int, Load] = {}
    for step in clamping.steps:
        taken = sim.taken.get(step.order)
        if clamping.clears_wood(step) and taken is not None and taken.bites is not None:
            load = load_of(taken.bites, motions[step.order], step.cutter, spacing)
            found |= {step.order: load} if load is not None else {}
    return found


def load_of(bites: Bites, motion: Motion, cutter: Cutter, spacing: float) -> Load | None:
    """The load of one program from what its moves take, on a grid of that spacing (mm); None where it is too coarse."""
    run = motion.end - motion.start
    with np.errstate(invalid="ignore"):
        moves = np.flatnonzero(motion.cutting & (motion.feed > 0) & (np.hypot(run[:, 0], run[:, 1]) > 1e-6))
    if cutter.diameter < FEWEST_ACROSS * spacing or not len(moves):
        return None
    stretches = Stretches(bites.travel[moves], np.diff(moves, prepend=moves[0]) > 1, cutter.diameter)
    cuts = bites.volume[moves] / cutter.straight_cuts(bites.depth[moves])
    share = stretches.rate(cuts, motion.feed[moves]) / cutter.feed
    # going sideways no more than the front half can be in wood: on a ramp its floor is counted now and then
    angle = np.degrees(stretches.rate(bites.edge[moves], np.ones(len(moves))).clip(0.0, np.pi))
    median, high, largest = stretches.spread(share)
    taken, tall = (stretches.rate(values[moves], np.ones(len(moves)))
                   for values in (bites.volume, bites.travel * bites.depth))
    wide = np.divide(taken, tall, where=tall > 0, out=np.full(len(moves), cutter.diameter))
    coarse = spacing / np.clip(wide, spacing, cutter.diameter)
    sure = share * (1.0 - coarse)
    most = int(np.argmax(sure if sure.max() > LOAD_FACTOR else share))
    x, y = motion.end[moves[most], :2].tolist()
    return Load(median=median, high=high, largest=largest, angles=stretches.spread(angle), x=x, y=y,
                line=int(motion.line[moves[most]]), judged=float(share[most]), coarse=float(coarse[most]))


def load_findings(steps: tuple[Step, ...], loads: Mapping[int, Load]) -> Iterator[Finding]:
    """A warning for each program in which a tooth takes more than it should, as a finish may that goes through raw wood
    by its own layers, whose feed nothing eases; a note, where the grid may be wrong by so much."""
    for step in steps:
        load = loads.get(step.order)
        if load is not None and load.judged > LOAD_FACTOR and (load.sure > LOAD_FACTOR or load.coarse < _MOSTLY):
            most, sure = math.floor(100 * LOAD_FACTOR / load.judged), load.sure > LOAD_FACTOR
            doubt = "" if sure else f", of which one row of the grid may be {load.judged - load.sure:.2f}"
            raw = isinstance(step.operation, SurfaceFinish)
            first = "take a smaller stepdown, or rough first, by programs whose feed is eased there; or " * raw
            yield Finding(
                code="load-high", severity="warn" if sure else "note",
                where=at(step.file_name, load.line, load.x, load.y),
                got=f"{load.judged:.2f} times what a tooth takes in a straight-line cut, over as much way as the "
                    f"cutter is wide{doubt}",
                allowed=f"{LOAD_FACTOR:g} times",
                remedy=f"{'' if sure else 'build with a smaller --resolution, which tells; or '}{first}go slower "
                       f"there: at no more than {most} % of the feed in the program, by its F words or by turning the "
                       "feed down at the machine",
            )


@dataclass(frozen=True, eq=False)
class Stretches:
    """A way cut into moves: `length` (n,) mm, whether each begins `apart` from the one before, and how long a stretch.

    What a long move takes at its ends may be counted with its neighbours: so what is taken and the time for it are
    looked at over the same `stretch` mm round the middle of each move; lifts end a stretch.
    """

    length: Floats
    apart: Bools
    stretch: float

    def rate(self, values: Floats, feed: Floats) -> Floats:
        """(n,) sum of `values` for each minute, at feeds in mm per minute."""
        ends = np.cumsum(self.length + self.apart * self.stretch)
        begins = ends - self.length
        at = np.ravel([begins, ends], order="F")  # nothing is taken from the end of a move to the next one's begin
        taken, spent = (np.ravel([total - of, total], order="F")
                        for of in (values, self.length / feed) for total in [np.cumsum(of)])
        middle = (begins + ends) / 2
        low, high = middle - self.stretch / 2, middle + self.stretch / 2
        minutes = np.interp(high, at, spent) - np.interp(low, at, spent)
        return np.asarray((np.interp(high, at, taken) - np.interp(low, at, taken))
                          / np.maximum(minutes, self.stretch / 2 / feed))

    def spread(self, values: Floats) -> tuple[float, float, float]:
        """Half of the way has no more than the first, 95 in 100 no more than the second, all no more than the third."""
        order = np.argsort(values)
        gone = np.cumsum(self.length[order]) / self.length.sum()
        median, high = (float(values[order][np.searchsorted(gone, part).clip(0, len(order) - 1)])
                        for part in (0.5, 0.95))
        return median, high, float(values.max())
