"""What is wrong with finished programs, said so that a maker can act on it; and how much is allowed."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, get_args

from pathgen.base import given
from pathgen.base.markup import as_table
from pathgen.base.plain import one_line
from pathgen.base.units import place_words
from pathgen.removal.motion import Motion
from pathgen.work.fill import SMEAR
from pathgen.work.thin_wood import BESIDE_PRESSED

AGAIN = "make the programs again from the job"
"""The remedy for programs that were edited. A build that has just planned them says what else can be done."""

Severity = Literal["forbid", "warn", "note"]

TOO_LONG = "too-long"
"""Code of a program that takes too much work to simulate: nothing is known to be wrong with it."""

EXCHANGED, OTHER_JOB, EDITED = "exchanged", "other-job", "edited"
"""Codes of what is told first, as the rest may come of it: programs under each other's names or of another job, lines
that were changed."""
MISSING = "program-missing"

_ORDER = (EXCHANGED, OTHER_JOB, EDITED, "forbid", "warn", "note")


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One fault: `forbid` means do not cut, `warn` cut with open eyes, `note` is for knowing; as text a sentence.

    >>> import pathgen
    >>> text = "G21 G90\\nG0 Z20\\nM3 S9000\\nG0 X5 Y0\\nG1 Z7 F500\\nX35\\nM5\\nM30\\n"
    >>> flat = pathgen.Cutter(name="flat", shape="flat-end", diameter=3, speed=9000, feed=900, plunge=500, stepdown=2)
    >>> found = pathgen.check_program(text, cutter=flat, top=pathgen.flat(8.0), resolution=0.5,
    ...                               blank=pathgen.Blank(x=(0, 40), y=(-10, 10), thickness=8.0)).findings
    >>> [(finding.code, finding.severity) for finding in found if finding.severity == "forbid"]
    [('ends-in-the-work', 'forbid')]
    """

    code: str
    """Which fault it is, in words that stay the same: ``rapid-through-material``."""
    severity: Severity = "forbid"
    where: str
    """Program, line and place on the board, as far as each is known."""
    got: str
    """What was found there."""
    allowed: str
    """What is."""
    remedy: str = AGAIN
    """What to do."""

    def __post_init__(self) -> None:
        given.word("finding severity", self.severity, get_args(Severity))
        for name in ("code", "where", "got", "allowed", "remedy"):
            words = given.value(f"finding {name}", getattr(self, name), str)
            object.__setattr__(self, name, one_line(words))

    def __str__(self) -> str:
        return f"{self.where}: {self.got} (allowed: {self.allowed}): {self.remedy}"

    def _repr_html_(self) -> str:
        """A table, for notebooks."""
        return as_table([(self.severity, str(self))])


@dataclass(frozen=True, kw_only=True)
class Tolerances:
    """How far a program may stray before it is a finding. Lengths in mm."""

    surface_low: float = 0.002
    """Below the finished surface."""
    surface_high: float = 0.0007
    """Above the scallop height allowed: rounding of programs to four decimals, and of the simulation."""
    ridge: float = 0.0007
    """Ridge height above the limit."""
    wood: float = 0.0005
    """Wood that a re-surface with skim 0 may take: below what a cutter's own wear changes."""
    pocket_plan: float = 0.02
    """Pocket walls outside the drawing."""
    pocket_deep: float = 0.004
    """Pocket floor below its depth."""
    pocket_shallow: float = 0.02
    """Pocket floor above its depth, beyond the stair that the cutter's own shape leaves."""
    floor_ridge: float = 0.1
    """Ridges that ball ends and v cutters may leave on the floor of a pocket."""
    slot_line: float = 0.002
    """Slot walls off their place in plan."""
    slot_depth: float = 0.004
    slot_end: float = 0.02
    """Ends of slots that stop short."""
    bevel: float = 0.01
    """Bevels along slots wider or narrower than asked, or to one side."""
    hole: float = 0.02
    """Holes wider, narrower, deeper or shallower than asked."""
    engraving: float = 0.01
    """Engraved strokes off their lines and depth."""
    sliver: float = BESIDE_PRESSED
    """Wood between an inlay and a slot thinner than this may break out."""
    outline: float = 0.004
    """Outline off its line."""
    tab: float = 0.02
    """Tabs thinner than asked."""
    tab_width: float = 0.3
    """Tabs narrower than asked, beyond a cell of the simulation on each side."""
    stepdown: float = 0.05
    """Cut deeper than the stepdown: ridges and stairs that the pass before left. Of a stepdown no more than a share."""
    stepdown_share: float = 0.25
    rapid: float = 0.002
    """Rapids into what stands there."""
    below_bed: float = 0.02
    """Below the deepest that any program should go."""
    kept: float = 0.02
    """Below the top where marks stand and Z 0 is tried."""
    feed: float = 0.002
    """Share by which a feed may be above that of the cutter."""
    rounding: float = 2e-4
    """Rounding of positions in the text."""
    smear: float = SMEAR
    """How far around a pocket the fill may lie, as high as over it."""
    overrun: float = 5.0
    """How far past the edge of the stock a cutter may pass, edge to edge."""
    chord: float = 1e-4
    """Arcs as chords, for the simulation."""

    def over(self, stepdown: float) -> float:
        """How much deeper than a stepdown one cut may be, with a job or without, mm."""
        return min(self.stepdown, self.stepdown_share * stepdown)


def at(program: str, line: int | None = None, x: float | None = None, y: float | None = None) -> str:
    """Program, line and place, as far as they are known."""
    words = [program]
    if line:
        words.append(f"line {line}")
    if x is not None and y is not None and math.isfinite(x) and math.isfinite(y):
        words.append(place_words(x, y))
    return ", ".join(words)


def at_end(program: str, motion: Motion, move: int) -> str:
    """Program, line and place of where a move ends."""
    return at(program, int(motion.line[move]), *motion.end[move, :2])


def rank(code: str, severity: str) -> int:
    """Where a finding stands among others: what the rest may come of first, then the grave."""
    return _ORDER.index(code if code in _ORDER else severity)


def forbids(findings: Iterable[Finding]) -> bool:
    """Whether any of them means: do not cut."""
    return any(finding.severity == "forbid" for finding in findings)
