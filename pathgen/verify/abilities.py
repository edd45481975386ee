"""What a cutter cannot do, whoever asks it to: go down where it does not cut, work above its flutes, run faster."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from pathgen.base.arrays import Bools, Floats, first_of_most
from pathgen.base.cutters import Cutter
from pathgen.removal.bites import Bites
from pathgen.removal.material import Worst
from pathgen.removal.motion import Motion
from pathgen.verify.findings import AGAIN, Finding, Tolerances, at, at_end
from pathgen.verify.plunging import PLUNGED, plunged

_HAIR = 0.02
"""Feeds are written to hundredths, mm per minute."""
_TRACE = 1e-3
"""Wood that is none, mm3."""
_FASTER = 1.01
"""Times its speed that a cutter is run at without a word."""


def too_fast(feed: Floats, most: float, tolerances: Tolerances) -> Bools:
    """(n,) which feeds are above `most`, mm per minute."""
    return np.asarray(feed > most * (1.0 + tolerances.feed) + _HAIR)


def sinking(run: Floats, feed: Floats, tolerances: Tolerances) -> Floats:
    """(n,) how fast moves of (n, 3) run go down at a feed, mm per minute."""
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(feed * np.maximum(-run[:, 2] - tolerances.rounding, 0.0) / np.linalg.norm(run, axis=1))


def plunge_findings(
    bites: Bites, motion: Motion, cutter: Cutter, name: str, *, remedy: str = AGAIN
) -> Iterator[Finding]:
    """Straight down into wood, of a cutter that does not cut at its centre."""
    if (down := plunged(bites, motion, cutter)) is not None:
        (move, sunk), borne = down, PLUNGED * cutter.diameter if cutter.is_flat else 0.0
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
