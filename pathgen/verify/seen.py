"""What there is to compare once the programs are read and simulated."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from pathgen.removal.motion import Motion
from pathgen.verify.culprit import Culprit
from pathgen.verify.findings import Tolerances
from pathgen.verify.program import ReadProgram
from pathgen.verify.ridges import Ridges
from pathgen.verify.simulate import Simulation
from pathgen.verify.surfaces import Deviation
from pathgen.work.clamping import Clamping


@dataclass(frozen=True, eq=False, kw_only=True)
class Seen:
    """The moves of each step by its order, and what stood in the end."""

    clamping: Clamping
    programs: Mapping[str, ReadProgram]
    motions: Mapping[int, Motion]
    tolerances: Tolerances
    sim: Simulation
    ridges: Ridges | None
    deviation: Deviation | None
    whole: bool
    """Whether no program is missing, so that the end is known."""

    @cached_property
    def culprit(self) -> Culprit:
        """Who cut deepest at a place."""
        return Culprit(self.clamping, self.motions)
