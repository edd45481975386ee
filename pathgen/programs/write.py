"""Programs as text: the plain subset of RS274/NGC (NISTIR 6556), with nothing that a controller might read two ways."""

from __future__ import annotations

import hashlib
import re
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pathgen.base import given
from pathgen.base.arrays import Floats
from pathgen.base.cutters import Cutter
from pathgen.base.errors import CutterError, ProgramError
from pathgen.base.memory import remembered
from pathgen.base.plain import in_ascii
from pathgen.base.toolpath import Move, Toolpath
from pathgen.base.units import MM_PER, SUMS, trimmed
from pathgen.programs.arcs import Arc, fitted_arcs
from pathgen.strategies import drilling
from pathgen.strategies.one_cut import Cut, joined
from pathgen.strategies.pocketing import settings
from pathgen.work.clamping import Clamping, Machine, Step

DECIMALS = {"mm": 4, "in": 5}
"""Places after the point: 0.05 um and 0.13 um of rounding. Enough for arcs to agree with themselves (3.5.3.2)."""
COMMENT_WIDTH = 76
"""Comment lines are wrapped here; the standard allows lines of 256 characters (3.3)."""
MOST_TITLE = 200
"""Characters of a title, as of a job's."""
ARC_TOLERANCE = 5e-4
"""How far the ends of moves may lie from the arc that stands for them, mm."""
ARC_BETWEEN = max(settings.ARC + settings.FEWER, drilling.CHORD)
"""How far a move may between its ends: as far as those of pockets and holes are from their curves."""
ARC_RADII = 1e-3
"""How far an arc's radius at its start and at its end may differ as written, mm: half of what 3.5.3.2 allows."""
_RUNS = "Toolpath.from_runs(.., safe_z=..) makes such paths"
WORK_OFFSET = "G54"
_MEASURE = re.compile(r"(?<=\d) (?=(?:mm|in|s|min|rpm|degrees)\b)|(?<=\b[XYZ]) (?=-?\d)")
_JOINT = "\x7f"  # no text holds it
_HARMLESS = re.compile(
    r"(?:job|program|part|step|operation|cutter|stock|zero|about|before|afterwards|cautions|cut)\b|-|\.\.|$")


def program_text(toolpath: Toolpath, *, clamping: Clamping, step: Step, header: Iterable[str], job: str) -> str:
    """One program: header comments, the state it needs, the moves, and a safe end.

    `toolpath` is in the board's frame, and written in the machine's frame and units as the clamping's set-up says; the
    lines of the `header` are written as comments, reduced to harmless characters; `job` is the job's fingerprint, 16
    hex digits. Raises ProgramError for a path that does not begin and end at a safe height, or cuts before any rapid.
    """
    _check_ends(toolpath, clamping.safe_z, f"program {step.number}")
    top = clamping.to_machine(np.array([[0.0, 0.0, clamping.safe_z]]), step)[0, 2]
    machine = clamping.machine
    if step.operation.finishes:  # passes that are repeated are the same moves, however the work lies by then
        machine = replace(machine, arcs=False)
    how = _How(cutter=step.cutter, units=clamping.units, machine=machine, spins=step.operation.spins)
    there = clamping.to_machine(toolpath.points, step)
    return _text([*header, f"job fingerprint: {job}"], float(top), there, toolpath.kinds, how)


def program(
    toolpath: Toolpath | Sequence[Toolpath], *, cutter: Cutter | None = None, machine: Machine | None = None,
    zero: tuple[float, float, float] = (0, 0, 0), units: Literal["mm", "in"] = "mm", title: str = "a path",
) -> str:
    """One path, or several in turn, as a program, without a job: for paths that are made piece by piece.

    Nothing is known of clamps and of what lies in the way: see to that with `clear` of each path, and read the program
    back with `check_program` before it runs. Check it in the air first, with a hand on the stop.

    Parameters
    ----------
    toolpath : Toolpath or several
        Several are joined as `join` does.
    cutter : Cutter
        Its speed and feeds are written. Left out: the one that the path was made for.
    machine : Machine
        Whether it takes arcs; left out: it does not. Given, the path and its cutter are held to it: feeds no faster
        than its rapids, its spindle's speeds, its travel.
    zero : (x, y, z)
        The place of the path's frame where X 0, Y 0, Z 0 of the program is, mm.
    units : "mm" or "in"
        What the program's numbers are.
    title : str
        Written in the program's first comment, 1 to 200 characters; what ASCII has no letters for is left out.

    Returns
    -------
    str, the text in the plain subset of RS274/NGC (NISTIR 6556)

    Raises
    ------
    ProgramError
        For no moves, for a path that does not begin and end at its own highest place, and for one whose first point
        is not reached by a rapid.
        For one that spans more, with X 0, Y 0 and Z 0 of the program, than the machine travels.
    CutterError
        For another cutter than the path was made for, or none, or one whose feeds or speed the machine does not have.

    Examples
    --------
    >>> import pathgen
    >>> flat_3 = pathgen.Cutter(name="flat 3", shape="flat-end", diameter=3.0, speed=18000, feed=1200.0, plunge=300.0,
    ...                         stepdown=1.5)
    >>> path = pathgen.Toolpath.from_runs([[[0, 0, 5], [40, 0, 5]]], safe_z=16.0)
    >>> text = pathgen.program(path, cutter=flat_3, title="a groove")
    >>> text.splitlines()[5:]     # after the comments and the units
    ['G0 Z16', 'M3 S18000', 'G4 P3', 'G0 X0 Y0', 'G1 Z5 F300', 'X40 F1200', 'G0 Z16', 'M5', 'M30']
    """
    if not in_ascii(given.title("program title", title, longest=MOST_TITLE)):
        raise ProgramError("program title", f"{title!r}, of which a program can hold nothing",
                           allowed="letters and digits of ASCII among others", remedy="spell it with those")
    path = toolpath if isinstance(toolpath, Toolpath) else joined(
        "program toolpath", toolpath, words="a pathgen.Toolpath, or several in a list", remedy="give one, or a list")
    if not len(path):
        raise ProgramError(title, "a path without moves", remedy="leave it out: this cutter has nothing to cut")
    cutter = _cutter_of(path, cutter, title)
    shift = given.points("program zero", [zero], shape=(3,), words="(x, y, z) in mm")[0]
    units = given.word("program units", units, ("mm", "in"))
    safe_z = float(path.points[:, 2].max())
    _check_ends(path, safe_z, title)
    if machine is not None:
        _within_machine(given.value("program machine", machine, Machine), path.points - shift, cutter, title)
    machine = machine or Machine()
    how = _How(cutter=cutter, units=units, machine=machine)
    header = [f"job: {title}", f"cutter {cutter.name}", "zero: set by who made the path"]
    return _text(header, safe_z - shift[2], path.points - shift, path.kinds, how)


def _cutter_of(path: Toolpath, cutter: Cutter | None, title: str) -> Cutter:
    """The cutter of a path, stated or its own; never two different ones."""
    own = path.cutter if isinstance(path, Cut) else None
    if cutter is not None:
        given.value("program cutter", cutter, Cutter)
    if cutter is None and own is None:
        raise CutterError(title, "a path that does not know its cutter", remedy="give it: program(path, cutter=..)")
    if cutter is not None and own is not None and cutter != own:
        raise CutterError(f"cutter {cutter.name!r}", f"the path was made for {own.name!r}", allowed="that one",
                          remedy="leave cutter out, or make the path again with this cutter")
    found = cutter or own
    assert found is not None
    return found


def _within_machine(machine: Machine, points: Floats, cutter: Cutter, title: str) -> None:
    """Refuse what a machine cannot do: feeds above its rapids, another speed than its spindle's, a longer way."""
    where = f"cutter {cutter.name!r}"
    for name, feed in (("feed", cutter.feed), ("plunge", cutter.plunge)):
        if feed > machine.rapid * (1 + 1e-9):
            raise CutterError(where, f"{name} {feed:g} mm per minute is above the machine's rapids",
                              allowed=f"{machine.rapid:g} mm per minute or less",
                              remedy=f"no move is faster than a rapid: make {name} smaller, or give Machine(rapid=..)")
    if machine.spindle and not machine.spindle[0] <= cutter.speed <= machine.spindle[1]:
        raise CutterError(where, f"speed {cutter.speed:g} rpm is not one of the machine's spindle",
                          allowed=f"{machine.spindle[0]:g} to {machine.spindle[1]:g} rpm",
                          remedy="take a speed of the spindle's, and the feed for it")
    asked = np.vstack([points, np.zeros(3)])
    low, high = asked.min(axis=0), asked.max(axis=0)
    for k, far in enumerate(machine.travel or ()):
        if high[k] - low[k] > far + SUMS:
            raise ProgramError(
                title, f"spans {high[k] - low[k]:.2f} mm in {'XYZ'[k]}, from {low[k]:.2f} to {high[k]:.2f} mm, the "
                "zero with it", allowed=f"{far:g} mm, the machine's travel",
                remedy="put the zero nearer to what is cut, with zero=.., cut less at once, or take a larger machine")


@dataclass(frozen=True, kw_only=True)
class _How:
    """What the moves of a program are written with."""

    cutter: Cutter
    units: Literal["mm", "in"]
    machine: Machine
    spins: bool = True


def _text(header: Iterable[str], safe_z: float, points: Floats, kinds: NDArray[np.int8], how: _How) -> str:
    """A program from positions in the machine's frame, mm."""
    head = [comment(text) for text in wrapped(header)]
    lines = [*head, *_opening(safe_z, how), *_moves(points, kinds, how), "M5", "M30"]
    lines.insert(len(head), f"(program fingerprint: {fingerprint(lines)})")
    return "\n".join(lines) + "\n"


def fingerprint(lines: Iterable[str]) -> str:
    """16 hex digits of SHA-256 over lines of text, trailing spaces left out."""
    text = "\n".join(map(str.rstrip, lines))
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def comment(text: str) -> str:
    """A comment that is only a comment: printable ASCII without parentheses, semicolons or percent signs.

    Controllers obey comments that begin with some word (MSG of RS274/NGC, 3.3.4; some know more). So a
    comment begins with one of our own words, known to be harmless, or with two points.

    >>> comment("job: Fern (M30)\\nG0 Z-5; é"), comment("MSG, hello")
    ('(job: Fern - M30 - G0 Z-5 - e)', '(.. MSG, hello)')
    """
    plain = in_ascii(text)
    return f"({plain})" if _HARMLESS.match(plain) else f"(.. {plain})"


def wrapped(texts: Iterable[str]) -> Iterator[str]:
    """Long texts in several lines, which go on after two points; no number is parted from its unit or axis."""
    for text in texts:
        whole = _MEASURE.sub(_JOINT, in_ascii(text))
        yield from (line.replace(_JOINT, " ") for line in
                    textwrap.wrap(whole, COMMENT_WIDTH, subsequent_indent=".. ") or [""])


def _check_ends(toolpath: Toolpath, safe_z: float, where: str) -> None:
    ends = toolpath.points[[0, -1], 2] if len(toolpath) else np.array([-np.inf])
    if np.any(ends < safe_z - 1e-9):
        raise ProgramError(where, f"the path begins or ends at {ends.min():.3f} mm",
                           allowed=f"{safe_z:.3f} mm, above everything in the way",
                           remedy=f"let its first point and its last lie there; {_RUNS}")
    if toolpath.kinds[0] != Move.RAPID:
        raise ProgramError(where, f"the path's first point is reached by Move.{Move(toolpath.kinds[0]).name}",
                           allowed="Move.RAPID", remedy=f"make kinds[0] Move.RAPID; {_RUNS}")


def _opening(safe_z: float, how: _How) -> list[str]:
    number = _shown(_rounded(np.array([safe_z]), how.units), how.units)[0]
    units = "G20" if how.units == "in" else "G21"
    opening = [f"{units} G90 G94 G17 {WORK_OFFSET}", f"G0 Z{number}"]
    if not how.spins:
        return opening
    wait = how.machine.spin_up
    # P counts seconds (NISTIR 6556, 3.5.4)
    return [*opening, f"M3 S{how.cutter.speed:.0f}", *([f"G4 P{trimmed(f'{wait:.3f}')}"] if wait else [])]


@remembered
def _moves(points: Floats, move: NDArray[np.int8], how: _How) -> tuple[str, ...]:
    """Moves, a line each; axis words, G words and F are written only when they change. The opening has already lifted
    to the safe height, where every path begins."""
    there, words = _rounded(points, how.units), np.where(move == Move.RAPID, " G0", " G1").astype(object)
    around, left = np.full(len(move), "", dtype=object), np.ones(len(move), dtype=bool)
    arcs = fitted_arcs(points, move, tolerance=ARC_TOLERANCE, between=ARC_BETWEEN) if how.machine.arcs else {}
    for row, arc in arcs.items():
        around[arc.last] = _arc_words(there, arc, how.units)
        if around[arc.last]:
            left[row : arc.last], words[arc.last] = False, " G2" if arc.clockwise else " G3"
    # of the places as they are written: what is rounded is steeper, or less steep
    feeds = Toolpath(there * MM_PER[how.units], move).feeds(how.cutter, rapid=how.machine.rapid)
    for arc in arcs.values():
        feeds[arc.last] = feeds[arc.first : arc.last + 1].min()
    rows = np.flatnonzero(left)
    new = np.concatenate([[[True, True, False]], np.diff(there[rows], axis=0) != 0.0])
    new[around[rows] != "", :2] = True
    rows, new = rows[new.any(axis=1)], new[new.any(axis=1)]
    axes = np.full((3, len(rows)), "", dtype=object)
    for axis, name in enumerate([" X", " Y", " Z"]):
        some = new[:, axis]
        axes[axis, some] = _shown(there[rows[some], axis], how.units, name)
    at_feed, fed = move[rows] != Move.RAPID, np.full(len(rows), "", dtype=object)
    fed[at_feed] = _where_new(_feed_words(feeds[rows[at_feed]], how))
    columns = _where_new(words[rows]), *axes, around[rows], fed
    lines = [line[1:] for line in map("".join, zip(*(column.tolist() for column in columns), strict=True))]
    if not how.spins:  # over a mark: the machine waits until the maker has looked
        lines = [each for line, kind in zip(lines, move[rows], strict=True)
                 for each in ([line, "M0"] if kind == Move.PLUNGE else [line])]
    return tuple(lines)


def _where_new(words: NDArray[np.object_]) -> NDArray[np.object_]:
    """Words, and nothing for one that is the same as that before it."""
    return np.where(np.append(True, words[1:] != words[:-1])[: len(words)], words, "")


def _arc_words(there: Floats, arc: Arc, units: str) -> str:
    """I and J of an arc; nothing where rounding would make its two radii disagree (3.5.3.2), or at a point."""
    start, end, per = there[arc.first - 1, :2], there[arc.last, :2], MM_PER[units]
    middle = _rounded(np.array(arc.centre) - start * per, units)
    differ = abs(np.hypot(*(start + middle - end)) - np.hypot(*middle)) * per
    if differ > ARC_RADII or np.array_equal(end, start):
        return ""
    i, j = _shown(middle, units)
    return f" I{i} J{j}"


def _feed_words(feeds: Floats, how: _How) -> NDArray[np.object_]:
    each, which = np.unique(feeds / MM_PER[how.units], return_inverse=True)
    words = [" F" + trimmed(f"{feed:.{DECIMALS[how.units] - 2}f}") for feed in each.tolist()]
    return np.array(words, dtype=object)[which]


def _rounded(mm: Floats, units: str) -> Floats:
    """Numbers in the program's units, as they are written there; no negative zero."""
    return np.asarray(np.round(mm / MM_PER[units], DECIMALS[units]) + 0.0)


def _shown(rounded: Floats, units: str, name: str = "") -> NDArray[np.object_]:
    """Rounded numbers behind a word's name: digits and at most one point, no exponent (3.3.2.1). A text for each whole
    number between the least and the largest, and one for each fraction, are put together."""
    places = DECIMALS[units]
    whole, fraction = np.divmod(np.rint(np.abs(rounded) * 10**places).astype(np.int64), 10**places)
    whole = np.where(rounded < 0.0, ~whole, whole)  # so that -0.5 differs from 0.5
    least = int(whole.min(initial=0))
    wholes = [f"{name}{number}" if number >= 0 else f"{name}-{~number}"
              for number in range(least, int(whole.max(initial=0)) + 1)]
    return np.asarray(np.array(wholes, dtype=object)[whole - least] + _fractions(places)[fraction])


@cache
def _fractions(places: int) -> NDArray[np.object_]:
    return np.array([trimmed(f".{number:0{places}d}") for number in range(10**places)], dtype=object)
