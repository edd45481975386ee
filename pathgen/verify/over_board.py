"""A program that was read, as moves over the board."""

from __future__ import annotations

from pathgen.removal.motion import Motion
from pathgen.verify.read import RAPID, ReadProgram
from pathgen.work.clamping import Clamping, Step


def motion_over_board(
    program: ReadProgram, clamping: Clamping, *, chord_tolerance: float, step: Step | None = None
) -> Motion:
    """The program's moves, turned back into the board's frame; where the work has moved before `step`, as it lies."""
    start, end, motion = program.straight(chord_tolerance)
    return Motion(
        start=clamping.to_board(start, step), end=clamping.to_board(end, step), rapid=program.kind[motion] == RAPID,
        feed=program.feed[motion], line=program.line[motion], motion=motion,
    )
