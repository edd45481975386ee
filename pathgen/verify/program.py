"""What a program does, as it was read: each motion, and what was in force. Section numbers are of NISTIR 6556."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from pathgen.base.arrays import Floats, Ints
from pathgen.base.brief import Brief
from pathgen.base.markup import as_svg
from pathgen.base.picture import path_in_plan

PLANES = {17: (0, 1, 2), 18: (2, 0, 1), 19: (1, 2, 0)}
"""(first, second, normal) axis of each plane; counter-clockwise turns the first toward the second (4.3.6.1)."""
_AXES = np.array([PLANES[plane] for plane in (17, 18, 19)])


class ReadMove(IntEnum):
    """How a program that was read goes to a place. Rapids are 0; the others are no `Move`, which tells feeds apart.

    >>> import pathgen
    >>> program = pathgen.read_program("G21 G90\\nG0 X0 Y0 Z5\\nG3 X2 I1 F300\\nM30\\n")
    >>> [pathgen.ReadMove(kind).name for kind in program.kind]
    ['RAPID', 'COUNTER_CLOCKWISE']
    """

    RAPID = 0
    """G0: as fast as the machine can."""
    FEED = 11
    """G1: straight, at the feed."""
    CLOCKWISE = 12
    """G2: an arc at the feed, clockwise as seen from the end of its plane's normal."""
    COUNTER_CLOCKWISE = 13
    """G3: an arc at the feed, the other way."""


@dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class ReadProgram(Brief):
    """What a program does, in mm and in the frame it is written in; shows itself from above in a notebook.

    Attributes
    ----------
    start, end : (n, 3) float array
        Where each motion begins and ends; NaN for an axis that no word has set yet.
    kind : (n,) int array
        `ReadMove` of each motion: RAPID 0, FEED 11, CLOCKWISE 12, COUNTER_CLOCKWISE 13.
    centre : (n, 3) float array
        Centre of each arc, at the height of its start; NaN for straight motion.
    plane : (n,) int array
        17, 18 or 19: the plane selected at each motion.
    turns : (n,) float array
        Signed angle turned through by each arc in its plane, radians, counter-clockwise positive; 0 if straight.
    feed : (n,) float array
        mm per minute in force, 0 where none was given yet.
    speed : (n,) float array
        Revolutions per minute asked for by S, 0 where none was yet.
    spindle : (n,) int array
        1 turning clockwise (M3), -1 counter-clockwise (M4), 0 not turning.
    line : (n,) int array
        Line number in the text, from 1.
    offset : (n,) int array
        Work offset in force, 54 to 59, or 0 where none was selected.
    name, lines : str, int
        What it is called, and how many lines its text has.
    units : frozenset of str
        ``"mm"``, ``"in"``: what was in force at any motion; ``"unset"`` when neither was asked for.
    unit_lines : tuple of (int, str)
        The lines of G20 and G21, ``"in"`` or ``"mm"`` each.
    comments : tuple of (int, str)
        Line and text of each comment.
    ended : bool
        Whether M2, M30 or a closing % was reached.
    spindle_left_on : bool
        Whether it turns when the text ends without M2 or M30.
    coolant, speed_line : int
        The line that first turns coolant on, and that of the first S; 0 where there is none.
    pauses : tuple of int
        The lines of M0, where the machine waits for its user.
    spun : tuple of int
        The lines of M0, and of G4 that takes time, at which the spindle turns.
    waits : tuple of (int, float)
        The lines of G4, and how long each waits, seconds.
    waited : float
        Seconds of G4 between the spindle's start and the first feed move after it, of several starts the least.
    blends : tuple of (int, float)
        The lines of G64, and how far the machine may then round corners, mm: its P, infinite without.
    assumed : frozenset of str
        ``"distance"``, ``"feed mode"``, ``"plane"``: what a move depended on before any word had asked for it.
    job_fingerprint, program_fingerprint : str or None
        Of the job and of the program's lines, 16 hex digits each, as the header states them.
    own_fingerprint : str
        Of the lines as they are.
    chords : float
        Straight pieces that its arcs take at the finest, as counted against the limit of what is read.

    Examples
    --------
    >>> import pathgen
    >>> program = pathgen.read_program("G21 G90 G17 G94\\nG0 Z20\\nM3 S18000\\nG0 X10 Y0\\nG1 Z6 F300\\nM5\\nM30\\n")
    >>> program.end[-1].tolist(), program.feed.tolist(), program.line.tolist(), program.ended
    ([10.0, 0.0, 6.0], [0.0, 0.0, 300.0], [2, 4, 5], True)
    """

    name: str
    lines: int
    start: Floats
    end: Floats
    kind: NDArray[np.int8]
    centre: Floats
    plane: NDArray[np.int8]
    turns: Floats
    feed: Floats
    speed: Floats
    spindle: NDArray[np.int8]
    line: NDArray[np.int64]
    offset: NDArray[np.int8]
    units: frozenset[str]
    unit_lines: tuple[tuple[int, str], ...]
    comments: tuple[tuple[int, str], ...]
    ended: bool
    spindle_left_on: bool
    coolant: int
    pauses: tuple[int, ...]
    spun: tuple[int, ...]
    speed_line: int
    blends: tuple[tuple[int, float], ...]
    waits: tuple[tuple[int, float], ...]
    waited: float
    assumed: frozenset[str]
    job_fingerprint: str | None
    program_fingerprint: str | None
    own_fingerprint: str
    chords: float

    def __len__(self) -> int:
        return len(self.kind)

    def _repr_svg_(self) -> str:
        """The program from above, arcs as chords, rapids pale."""
        start, end, motion = self.straight(0.05)
        known = np.isfinite(start).all(axis=1) & np.isfinite(end).all(axis=1)
        points = np.concatenate([start[known][:1], end[known]])
        rapid = np.concatenate([[True], self.kind[motion][known] == ReadMove.RAPID])
        name = f"{self.name}: {len(self)} moves" if known.any() else "a program without known moves"
        return as_svg(path_in_plan(name, points, rapid))

    def straight(self, tolerance: float = 1e-3) -> tuple[Floats, Floats, Ints]:
        """(starts, ends, motion): all motion as straight moves, arcs as chords within `tolerance` mm of them.

        `motion` is the index of the motion each move belongs to.
        """
        arcs = self.kind >= ReadMove.CLOCKWISE
        if not arcs.any():
            return self.start, self.end, np.arange(len(self))
        arm = np.where(arcs[:, None], self.start - self.centre, 0.0)
        arm[np.arange(len(self)), _AXES[self.plane - 17, 2]] = 0.0
        radius = np.linalg.norm(arm, axis=1)
        with np.errstate(divide="ignore", invalid="ignore"):
            step = 2.0 * np.arccos(np.clip(1.0 - tolerance / radius, 0.0, 1.0))
            pieces = np.where(arcs, np.maximum(np.ceil(np.abs(self.turns) / step), 1), 1).astype(int)
        motion = np.repeat(np.arange(len(self)), pieces)
        first = np.cumsum(pieces) - pieces
        share = (np.arange(len(motion)) - first[motion] + 1) / pieces[motion]
        ends = self.end[motion].copy()
        inner = np.flatnonzero(arcs[motion] & (share < 1.0))
        ends[inner] = self._along_arc(motion[inner], share[inner])
        starts = np.where((share * pieces[motion] <= 1.0)[:, None], self.start[motion], np.roll(ends, 1, axis=0))
        return starts, ends, motion

    def _along_arc(self, motion: Ints, share: Floats) -> Floats:
        (first, second, _), row = _AXES[self.plane[motion] - 17].T, np.arange(len(motion))
        arm = self.start[motion] - self.centre[motion]
        a, b = arm[row, first], arm[row, second]
        angle = self.turns[motion] * share
        # a spiral between the start's radius and the end's, which may differ by what rounding allows
        last = self.end[motion] - self.centre[motion]
        r0, r1 = np.hypot(a, b), np.hypot(last[row, first], last[row, second])
        scale = 1.0 + (r1 / r0 - 1.0) * share
        point = self.start[motion] + (self.end[motion] - self.start[motion]) * share[:, None]
        point[row, first] = self.centre[motion, first] + scale * (a * np.cos(angle) - b * np.sin(angle))
        point[row, second] = self.centre[motion, second] + scale * (a * np.sin(angle) + b * np.cos(angle))
        return point
