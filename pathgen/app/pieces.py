"""Let-in pieces as programs: each inlay and colour from its own flat stock, verified from the text."""

from __future__ import annotations

from dataclasses import dataclass

from pathgen.app.building import Build, build
from pathgen.job.job import Job
from pathgen.job.pieces import piece_sheets
from pathgen.report.programs import Program
from pathgen.strategies.matching import LetIn
from pathgen.verify.findings import Finding
from pathgen.work.clamping import Clamping


@dataclass(frozen=True, eq=False, kw_only=True)
class PieceProgram:
    """The program for the pieces of one colour of one inlay, built and verified."""

    inlay: int
    colour: str
    let_in: LetIn
    made: Build

    @property
    def clamping(self) -> Clamping:
        """The flat stock on the machine."""
        return self.made.plan.clamping

    @property
    def program(self) -> Program:
        """The only one."""
        return self.made.programs[0]

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What was found in its text."""
        return self.made.verification.findings


def pieces(job: Job, *, resolution: float = 0.1) -> tuple[PieceProgram, ...]:
    """Every program for the let-in pieces of a job, read back and verified. Raises as `piece_sheets` does."""
    return tuple(
        PieceProgram(inlay=one.inlay, colour=one.colour, let_in=one.let_in,
                     made=build(job, clamping=one.clamping, resolution=resolution))
        for one in piece_sheets(job)
    )
