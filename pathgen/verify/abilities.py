"""What a cutter cannot do, whoever asks it to: go down where it does not cut, work above its flutes, run faster.

Straight down it may be asked in one move, or bit by bit at one place. What goes down at one place counts together,
lifted in between or not, less the way that is cut sideways there: where that is as long, all of it is no steeper than
the steepest ramp.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import shapely

from pathgen.base.arrays import Bools, Floats, Ints, first_of_most
from pathgen.base.cutters import Cutter
from pathgen.removal.bites import Bites
from pathgen.removal.material import Worst
from pathgen.removal.motion import Motion
from pathgen.verify.findings import AGAIN, Finding, Tolerances, at, at_end
from pathgen.verify.in_plan import lines_of

_HAIR = 0.02
"""Feeds are written to hundredths, mm per minute."""
_TRACE = 1e-3  # mm, and mm3: less is rounding
_FASTER = 1.01
"""Times its speed that a cutter is run at without a word."""
GRAZED = 0.1
"""Share of a cutter's area that may meet wood when it goes straight down at a wall, as the grid and ridges show it."""
SUNK, PLUNGED = 0.1, 0.25
"""Shares of its diameter that a cutter which cannot cut at its centre may sink without a word, no more than 0.2 mm, and
where nobody has a job for its program with a warning: its hollow there is deeper (common practice, from memory)."""
_ONE_PLACE = 0.25
"""Of the diameter: what goes down so near to each other does so at one place."""
_MOST_PLACES = 1000
"""That are looked at: those where it goes down most."""


def too_fast(feed: Floats, most: float, tolerances: Tolerances) -> Bools:
    """(n,) which feeds are above `most`, mm per minute."""
    return np.asarray(feed > most * (1.0 + tolerances.feed) + _HAIR)


def sinking(run: Floats, feed: Floats, tolerances: Tolerances) -> Floats:
    """(n,) how fast moves of (n, 3) run go down at a feed, mm per minute."""
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(feed * np.maximum(-run[:, 2] - tolerances.rounding, 0.0) / np.linalg.norm(run, axis=1))


def plunge_findings(
    bites: Bites, motion: Motion, cutter: Cutter, name: str, *, remedy: str = AGAIN, borne: float = 0.0
) -> Iterator[Finding]:
    """Straight down into wood, of a cutter that does not cut at its centre; of a flat end `borne` of its diameter is
    only warned of."""
    if (down := plunged(bites, motion, cutter)) is not None:
        (move, sunk), borne = down, borne * cutter.diameter if cutter.is_flat else 0.0
        yield Finding(
            code="plunge-into-wood", where=at_end(name, motion, move), severity="forbid" if sunk > borne else "warn",
            got=f'{sunk:.2f} mm straight down with "{cutter.name}", which cannot cut at its centre (plunges = false)',
            allowed="a ramp, a helix, or down in air", remedy=remedy,
        )


def shank_findings(shank: Worst, cutter: Cutter, name: str) -> Iterator[Finding]:
    """What stands beside a cutter higher than its flutes are long."""
    if shank.depth:
        yield Finding(code="shank-rubs", where=at(name, shank.line, shank.x, shank.y),
                      got=f"what stands beside the cutter reaches {shank.depth:.2f} mm above its flutes",
                      allowed=f'{cutter.flute_length:g} mm of flute on cutter "{cutter.name}"',
                      remedy="take a longer cutter, or cut shallower")


def faster_findings(motion: Motion, bites: Bites, speed: Floats, cutter: Cutter, name: str) -> Iterator[Finding]:
    """Moves that take wood faster than a cutter's own feeds, or at more than its own speed: warnings, as they are only
    what somebody said of it. `speed` is that of each move, turns per minute."""
    cuts, slack = ~motion.rapid & (bites.volume > _TRACE), Tolerances()
    down = sinking(motion.end - motion.start, motion.feed, slack)
    for code, rate, wrong, got, own in (
        ("feed-too-fast", motion.feed, too_fast(motion.feed, cutter.feed, slack), "a feed of {:.0f} mm per minute",
         f"{cutter.feed:g} mm per minute, the feed"),
        ("plunge-too-fast", down, too_fast(down, cutter.plunge, slack), "down at {:.0f} mm per minute",
         f"{cutter.plunge:g} mm per minute, the plunge feed"),
        ("spindle-speed", speed, speed > _FASTER * cutter.speed, "S{:.0f}", f"S{cutter.speed:.0f}, the speed"),
    ):
        if (wrong & cuts).any():
            worst = first_of_most(np.where(wrong & cuts, rate, 0.0), 0.5)
            yield Finding(code=code, severity="warn", where=at_end(name, motion, worst), got=got.format(rate[worst]),
                          allowed=f'{own} of cutter "{cutter.name}"', remedy="slow down, or give the cutter's own")


def plunged(bites: Bites, motion: Motion, cutter: Cutter) -> tuple[int, float] | None:
    """The move that ends the deepest way into wood, more down than along, of a cutter that must go no such way, and how
    deep that is, mm; a rim that grazes goes none."""
    if cutter.plunges:
        return None
    run = motion.end - motion.start
    along = _steepest(cutter) * np.hypot(run[:, 0], run[:, 1])
    down = motion.cutting & (along < -run[:, 2])
    sunk = np.where(down, np.minimum(bites.drop, -run[:, 2]), 0.0)
    least = min(SUNK * cutter.diameter, 0.2)
    ways = motion.cutting & ~down & (bites.volume > _TRACE)
    place, move = _at_places(motion, sunk, ways, least=least, far=_ONE_PLACE * cutter.diameter, reach=cutter.radius)
    if not len(move):
        return None
    depth, since = _risen(np.where(down, sunk, -along)[move], place)
    taken = (bites.volume * sunk / np.maximum(bites.drop, _TRACE))[move]  # without what stands beside it, higher
    volume = np.cumsum(taken) - (np.cumsum(taken) - taken)[since]
    met = down[move] & (depth > least) & (volume > GRAZED * math.pi * cutter.half_width(depth) ** 2 * depth)
    worst = first_of_most(np.where(met, depth, 0.0))
    return (int(move[worst]), float(depth[worst])) if met[worst] else None


def _steepest(cutter: Cutter) -> float:
    """Rise over run from which a way goes more down than along.

    A v that follows a corner sinks no steeper than its flank, which is clear of the wood behind it; the steepest ramps
    that may be asked for, 45 degrees, go down the work's own slope as well; over work that tilted a flat end leans.
    """
    if cutter.is_flat:
        return 1.0
    flank = cutter.wall_slope if cutter.shape == "v" else 0.0
    return max(1.0, 1.25 * math.tan(math.radians(cutter.ramp)), flank)


def _at_places(
    motion: Motion, sunk: Floats, ways: Bools, *, least: float, far: float, reach: float
) -> tuple[Ints, Ints]:
    """(k,) places at which more than `least` is `sunk` in all, rising, and the moves there in their order: those that
    sink within `far` of one, and sideways `ways` that the cutter, which reaches so far, cuts over it."""
    sinks, wide = np.flatnonzero(sunk > _TRACE), np.flatnonzero(ways)
    ends = motion.end[sinks, :2]
    places = shapely.points(np.unique(np.round(ends / far * 4.0), axis=0) * far / 4.0)
    at, sink = shapely.STRtree(shapely.points(ends)).query(places, predicate="dwithin", distance=far)
    total = np.bincount(at, sunk[sinks[sink]], len(places))
    deep = np.argsort(-total, kind="stable")[: min(_MOST_PLACES, int(np.count_nonzero(total > least)))]
    lines = lines_of(motion.start[wide], motion.end[wide])
    beside, way = shapely.STRtree(lines).query(places[deep], predicate="dwithin", distance=reach)
    there = np.isin(at, deep)
    place, move = np.concatenate([at[there], deep[beside]]), np.concatenate([sinks[sink[there]], wide[way]])
    order = np.lexsort([move, place])
    return place[order], move[order]


def _risen(change: Floats, of: Ints) -> tuple[Floats, Ints]:
    """(n,) how far sums of changes stand above the lowest that they came from, and since which change; each `of`,
    rising, by itself."""
    after = np.cumsum(change)
    before = after - change
    apart = before - np.cumsum(np.diff(of, prepend=of[0]) > 0) * (np.ptp(before) + 1.0)
    lowest = apart <= np.minimum.accumulate(apart)
    since = np.maximum.accumulate(np.where(lowest, np.arange(len(of)), 0))
    return after - before[since], since
