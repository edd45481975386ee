"""Reading a program strictly: what the machine would do, move by move, or the line that is not understood.

The subset of RS274/NGC that is accepted, with its rules, is that of Kramer, Proctor and Messina, *The NIST
RS274NGC Interpreter, Version 3* (NISTIR 6556, 2000); section numbers below are theirs. What would make the
result depend on the machine's memory (tool tables, parameters, offsets set in the program, cutter
compensation) is refused, and so is everything unknown: a word that is not understood is never skipped. Words for what
is in force anyway (G69, G91.1, G97 ..) change nothing.
"""

from __future__ import annotations

import hashlib
import math
import re
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from pathgen.base import given
from pathgen.base.errors import ProgramError
from pathgen.base.files import read_text
from pathgen.base.limits import FURTHEST, MOST_CHORDS, MOST_LINES, PROGRAM
from pathgen.base.plain import figure
from pathgen.base.units import INCH
from pathgen.verify.arcs import centre_and_turn
from pathgen.verify.not_followed import no_word, not_followed, odd_character
from pathgen.verify.plain import NUMBER, PlainRun, plain_run
from pathgen.verify.program import PLANES, ReadMove, ReadProgram

_LONGEST_LINE = 256  # section 3.3
_MODAL_GROUP = {
    "G4": "dwell", "G17": "plane", "G18": "plane", "G19": "plane", "G20": "units", "G21": "units",
    "G40": "compensation", "G49": "length", "G80": "motion", "G90": "distance", "G91": "distance",
    "G94": "feed mode", "G61": "path", "G61.1": "path", "G64": "path",
    # what is in force anyway where nothing that is not followed was asked for
    "G15": "polar", "G69": "rotation", "G91.1": "centres", "G97": "speed mode", "G98": "return", "G99": "return",
    "M48": "dials",
    **{f"G{n}": "motion" for n in range(4)}, **{f"G{n}": "offset" for n in range(54, 60)},
    "M0": "stopping", "M1": "stopping", "M2": "stopping", "M30": "stopping",
    "M3": "spindle", "M4": "spindle", "M5": "spindle", "M7": "coolant", "M8": "coolant", "M9": "coolant",
}  # section 3.4
_FILE_NAME = re.compile(r".+\.(nc|ngc|tap|gcode|gc|cnc|txt)\s*", re.IGNORECASE)  # in one line
_TEXT = "text, or a pathlib.Path"
_WORD = re.compile(rf"([A-Z])({NUMBER})", re.ASCII)
_COMMENT = re.compile(r"\([^()]*\)")
_FEWEST_AT_ONCE = 24
_ARC = 2
"""The first number of G for an arc, clockwise; 3 goes the other way."""
_KINDS = np.array([ReadMove.RAPID, ReadMove.FEED, ReadMove.CLOCKWISE, ReadMove.COUNTER_CLOCKWISE], np.int8)
"""Of G0 to G3."""
_MOVE = np.dtype([
    ("start", float, 3), ("end", float, 3), ("centre", float, 3), ("kind", np.int8), ("plane", np.int8),
    ("turns", float), ("feed", float), ("speed", float), ("spindle", np.int8), ("line", np.int64), ("offset", np.int8)])
"""What is kept of each move, by the names of `ReadProgram`."""
_FINEST_CHORD = 1e-4
"""The least distance of a chord from its arc that any caller asks for, mm."""
_JOB_MARK = re.compile(r"^job fingerprint: ([0-9a-f]{16})$")
_OWN_MARK = re.compile(r"^program fingerprint: ([0-9a-f]{16})$")
_OWN_LINE = re.compile(r"^\(program fingerprint: [0-9a-f]{16}\)$")


def read_program(text: str | Path, *, name: str = "program") -> ReadProgram:
    """What the machine would do with a program: its text, or the file at a Path, which goes by the file's name.

    Raises
    ------
    ProgramError
        With the line and the reason, for anything outside the plain subset: nothing is skipped or guessed.
        PathgenError for a file that cannot be read.

    Examples
    --------
    >>> import pathgen
    >>> text = "G21 G90 G17 G94\\nG0 Z5\\nM3 S9000\\nG0 X1 Y2\\nG1 Z-1.5 F200\\nG0 Z5\\nM5\\nM30\\n"
    >>> program = pathgen.read_program(text)
    >>> program.end[-2].tolist(), program.line[-2].item(), program.ended
    ([1.0, 2.0, -1.5], 5, True)
    """
    given.value("read_program name", name, str)
    if isinstance(text, Path):
        name, text = text.name, read_text(text, PROGRAM)
    elif isinstance(text, str) and _FILE_NAME.fullmatch(text):
        raise ProgramError(name, f"{text!r}, the name of a file", allowed=_TEXT, remedy=f"give Path({text!r})")
    if not isinstance(text, str):
        raise ProgramError(name, given.kind_of(text), allowed=_TEXT,
                           remedy="give the program's text, or Path(..) of its file")
    return read_within(text, name=name, most_lines=MOST_LINES, most_chords=MOST_CHORDS)


def read_within(text: str, *, name: str, most_lines: int, most_chords: float) -> ReadProgram:
    """The same for one of several programs, which together have so much room."""
    reader = _Reader(name=name, most_chords=most_chords)
    whole = text.replace("\r\n", "\n")
    lines = whole.count("\n")
    if lines > most_lines:
        raise ProgramError(name, f"{lines} lines", allowed=f"{MOST_LINES} or fewer in all programs",
                           remedy="see whether it is a program")
    place, number, last = 0, 1, len(whole)
    while place <= last:
        run = plain_run(whole, place, fewest=_FEWEST_AT_ONCE) if reader.takes_plain else None
        if run is not None and reader.read_plain(run, number):
            number, place = number + len(run), run.stop
            continue
        # one line; or a run with a fault in it line by line, for the same words about it
        through = place if run is None else run.stop - 1
        while place <= through:
            end = whole.find("\n", place) if place < last else -1
            end = last if end < 0 else end
            reader.read_line(whole[place:end], number)
            number, place = number + 1, end + 1
    return reader.finished(text, number - 1)


def fingerprint(text: str) -> str:
    """First 16 hex digits of SHA-256 over the lines, without trailing white space and the line that states it."""
    kept = [line for line in map(str.rstrip, text.splitlines()) if line[:1] != "(" or not _OWN_LINE.match(line)]
    return hashlib.sha256("\n".join(kept).encode("utf-8", "surrogatepass")).hexdigest()[:16]


def code_lines(text: str) -> list[str]:
    """What a program does, apart from its words for people: its lines without comments, which stand in brackets
    (RS274/NGC, 3.3.4), and without blanks."""
    lines = ("".join(_COMMENT.sub("", line).split()).upper() for line in text.splitlines())
    return [line for line in lines if line]


@dataclass
class _Reader:
    """The interpreter's state; the only mutable thing here, and it does not leave this module."""

    name: str
    most_chords: float
    """Straight pieces that its arcs may take."""
    position: list[float] = field(default_factory=lambda: [math.nan] * 3)
    motion: int | None = None
    unit: float = 1.0
    unit_set: str = "unset"
    absolute: bool = True
    plane: int = 17
    feed: float = 0.0
    speed: float = 0.0
    spindle: int = 0
    offset: int = 0
    ended: bool = False
    percent: int = 0
    """Lines with %: none, opened, closed."""
    coolant: int = 0
    waits: list[tuple[int, float]] = field(default_factory=list)
    waited: float = math.inf
    waiting: float | None = None
    """Seconds waited since the spindle started, None when it does not turn or a feed move has followed."""
    stated: set[str] = field(default_factory=set)
    assumed: set[str] = field(default_factory=set)
    """Modal groups that a word was given of; those that moves depended on without."""
    pauses: list[int] = field(default_factory=list)
    spun: list[int] = field(default_factory=list)
    speed_line: int = 0
    blends: list[tuple[int, float]] = field(default_factory=list)
    chords: float = 0.0
    """Straight pieces that the arcs so far take at the finest."""
    seen_code: bool = False
    units: set[str] = field(default_factory=set)
    unit_lines: list[tuple[int, str]] = field(default_factory=list)
    comments: list[tuple[int, str]] = field(default_factory=list)
    blocks: list[np.ndarray] = field(default_factory=list)
    rows: list[tuple[Any, ...]] = field(default_factory=list)

    @property
    def takes_plain(self) -> bool:
        """Whether a run of plain lines can be read at once: absolute, and nothing ended."""
        return self.absolute and not self.ended and self.percent < 2

    def fail(self, line: int, problem: str, *, allowed: str = "", remedy: str) -> ProgramError:
        return ProgramError(f"{self.name}, line {line}", problem, allowed=allowed, remedy=remedy)

    def read_plain(self, run: PlainRun, first: int) -> bool:
        """A run of plain lines from line `first` on; False, and nothing read, where one of them is at fault."""
        position = np.stack([
            run.in_force(axis, before, self.unit) for axis, before in zip("XYZ", self.position, strict=True)
        ], axis=1)
        has_axis = run.given["X"] | run.given["Y"] | run.given["Z"]
        motion = run.in_force("G", -1.0 if self.motion is None else float(self.motion), 1.0)
        feed = run.in_force("F", self.feed, self.unit)[1:]
        bad = (run.given["G"] & ~has_axis) | (has_axis & ((motion[1:] < 0) | (motion[1:] > 1)))
        far = np.max([np.abs(run.value[axis]) for axis in "XYZ"], axis=0) > FURTHEST / self.unit
        bad |= far | (run.given["F"] & (feed <= 0))
        if bad.any() or run.longest > _LONGEST_LINE:
            return False
        self._flush_rows()
        moved = np.flatnonzero(has_axis)
        block = np.zeros(len(moved), _MOVE)
        block["start"], block["end"], block["centre"] = position[moved], position[moved + 1], np.nan
        block["kind"], block["plane"], block["feed"] = _KINDS[motion[moved + 1].astype(int)], self.plane, feed[moved]
        block["speed"], block["spindle"], block["offset"] = self.speed, self.spindle, self.offset
        block["line"] = moved + first
        self.blocks.append(block)
        if len(moved):
            self._note_move(int(motion[moved + 1].max()))
        self.position = position[-1].tolist()
        self.feed = float(feed[-1])
        self.motion = int(motion[-1]) if motion[-1] >= 0 else None
        self.seen_code = True
        return True

    def read_line(self, raw: str, line: int) -> None:
        """One line, by the rules of section 3.3."""
        code = self._code(raw, line)
        if not code:
            return
        if code == "%":
            self._percent(line)
            return
        if self.ended or self.percent == 2:
            raise self.fail(line, f"{code!r} stands after the end of the program",
                            allowed="nothing but comments after M2, M30 or the second %",
                            remedy="remove it, or the end before it")
        self.seen_code = True
        self._execute(self._words(code, line), line)

    def _code(self, raw: str, line: int) -> str:
        """The line without comments and white space, in capitals."""
        if len(raw) > _LONGEST_LINE:
            raise self.fail(line, f"{len(raw)} characters", allowed=f"at most {_LONGEST_LINE} (NISTIR 6556, 3.3)",
                            remedy="write it on several lines: is it a program?")
        if not (raw.isascii() and raw.replace("\t", " ").isprintable()):
            odd = next(c for c in raw if not (c.isascii() and (c.isprintable() or c == "\t")))
            raise self.fail(line, odd_character(odd), allowed="plain ASCII, in comments too: machines choke on others",
                            remedy="take it out, of comments too, and save it as plain text: is it a program?")
        if ";" in raw.partition("(")[0]:
            raise self._by_semicolon(raw, line)
        if "(" in raw or ")" in raw:
            raw = self._without_comments(raw, line)
            if ";" in raw:
                raise self._by_semicolon(raw, line)
        return "".join(raw.split()).upper()

    def _without_comments(self, raw: str, line: int) -> str:
        rest, code = raw, ""
        while "(" in rest or ")" in rest:
            before, _, after = rest.partition("(")
            inside, closed, rest = after.partition(")")
            if ")" in before or "(" in inside or not closed:
                raise self.fail(line, "a comment that is nested or not closed", allowed="( ... ) on one line",
                                remedy="close it on its line, and take parentheses inside it out")
            code += before
            self.comments.append((line, inside))
        return code + rest

    def _by_semicolon(self, raw: str, line: int) -> ProgramError:
        words = raw.partition(";")[2].strip()
        bare = " ".join(re.sub(r"[()]", " ", words).split())
        return self.fail(line, f"a comment that begins with a semicolon: {words[:20]!r}",
                         allowed="comments in (parentheses), which all machines know",
                         remedy=f"write it as ({bare[:20]}{'..' * (len(bare) > 20)})" if bare else "take it out")

    def _percent(self, line: int) -> None:
        problem = "a third %" if self.percent == 2 else "" if self.percent else (
            "% at the end but none at the start" if self.ended else
            "% after the program began without one" if self.seen_code else "")
        if problem:
            raise self.fail(line, problem, allowed="% on the first and the last line", remedy="take it out")
        self.percent += 1

    def _words(self, code: str, line: int) -> list[tuple[str, str]]:
        words, at = [], 0
        while at < len(code):
            match = _WORD.match(code, at)
            if not match:
                problem, remedy = no_word(code[at:])
                raise self.fail(line, problem, allowed="a letter with a plain number", remedy=remedy)
            words.append((match[1], match[2]))
            at = match.end()
        return words

    def _execute(self, words: list[tuple[str, str]], line: int) -> None:
        """In the order of section 3.8: feed, speed, spindle, dwell, plane, units, offset, distance, motion, stop."""
        values, codes = self._sorted_words(words, line)
        if "units" in codes:
            unit, word = (INCH, "in") if codes["units"] == "G20" else (1.0, "mm")
            if unit != self.unit and self.seen_motion and "F" in values:
                raise self.fail(line, "F on the line that changes the units", allowed="G20 or G21 without F",
                                remedy="give them on two lines")
            self.unit, self.unit_set = unit, word
            self.unit_lines.append((line, word))
        if "F" in values:
            if values["F"] <= 0:
                raise self.fail(line, f"a feed of {values['F']:g}", allowed="more than 0",
                                remedy="write the feed per minute")
            self.feed = values["F"] * self.unit
        if "S" in values:
            if values["S"] < 0:
                raise self.fail(line, f"a spindle speed of {values['S']:g}", allowed="0 or more",
                                remedy="write turns per minute; M4 turns it the other way")
            self.speed = values["S"]
            self.speed_line = self.speed_line or line
        before, self.spindle = self.spindle, {"M3": 1, "M4": -1, "M5": 0}.get(codes.get("spindle", ""), self.spindle)
        if self.spindle != before:
            self.waiting = 0.0 if self.spindle else None
        self.stated |= codes.keys()
        if codes.get("coolant") in ("M7", "M8"):
            self.coolant = self.coolant or line
        self.plane = int(codes.get("plane", f"G{self.plane}")[1:])
        self.offset = int(codes.get("offset", f"G{self.offset}")[1:])
        self.absolute = codes.get("distance", "G90" if self.absolute else "G91") == "G90"
        self._move(values, codes, line)
        if codes.get("stopping") == "M0":
            self.pauses.append(line)
            self.spun += [line] if self.spindle else []
        if codes.get("stopping") in ("M2", "M30"):
            self.ended = True

    def _sorted_words(self, words: list[tuple[str, str]], line: int) -> tuple[dict[str, float], dict[str, str]]:
        values: dict[str, float] = {}
        codes: dict[str, str] = {}
        m_words = 0
        if unknown := [letter + number for place, (letter, number) in enumerate(words)
                       if not _is_followed(letter, number, first=place == 0)]:
            problem, remedy = not_followed(unknown, moved=self.seen_motion)
            raise self.fail(line, problem, remedy=remedy)
        for place, (letter, number) in enumerate(words):
            if letter in "GM":
                code = f"{letter}{float(number):g}"
                group = _MODAL_GROUP[code]
                if group in codes:
                    raise self.fail(line, f"{codes[group]} and {code} on one line", allowed="one word of a modal group",
                                    remedy="keep the one that is meant, or write them on two lines")
                codes[group] = code
                m_words += letter == "M"
            elif letter == "N" and place == 0:
                continue
            elif letter in values:
                raise self.fail(line, f"{letter} twice on one line", allowed="once",
                                remedy="keep the one that is meant")
            else:
                values[letter] = float(number)
        if m_words > 4:
            raise self.fail(line, f"{m_words} M words", allowed="at most 4", remedy="write them on several lines")
        return values, codes

    @property
    def seen_motion(self) -> bool:
        return bool(self.rows or self.blocks)

    def _endless(self, words: str, line: int) -> ProgramError:
        """Of a line that says how an arc turns and not where it ends."""
        first, second = ("XYZ"[axis] for axis in PLANES[self.plane][:2])
        same = "the same as those of its start" if self.absolute else f"{first}0 {second}0"
        return self.fail(
            line, f"{words} without the place where the arc ends", allowed="arcs by G2 or G3 with their end, whole "
            "circles too: without it some machines turn a whole circle, others stop or do nothing",
            remedy=f"write {first} and {second} of the arc's end on this line: of a whole circle {same}")

    def _move(self, values: dict[str, float], codes: dict[str, str], line: int) -> None:
        axes = [values.get(letter) for letter in "XYZ"]
        moved = any(value is not None for value in axes)
        given = codes.get("motion")
        arc_words = [letter for letter in "IJKR" if letter in values]
        if given == "G80":
            if moved:
                raise self.fail(line, "axis words with G80", allowed="none",
                                remedy="write G80 on a line of its own, and G0 or G1 with the axes")
            self.motion = None
            return
        if given is not None:
            self.motion = int(given[1:])
            if not moved:
                if arc_words:
                    raise self._endless(f"{given} with {arc_words[0]}", line)
                raise self.fail(line, f"{given} without X, Y or Z", allowed="at least one of them",
                                remedy=f"write {given} on the line of the next X, Y or Z")
        if "dwell" in codes:
            if moved or values.get("P", -1.0) < 0:
                raise self.fail(line, "G4 needs a P of 0 or more, and no axis words", allowed="G4 P, in seconds",
                                remedy="write the wait as P, and a move on a line of its own")
            if codes.get("path") == "G64":
                raise self.fail(line, "G4 and G64 on one line", allowed="one word that P can belong to",
                                remedy="write them on two lines")
            self.waits.append((line, values["P"]))
            if self.waiting is not None:
                self.waiting += values["P"]
            self.spun += [line] if self.spindle and values["P"] > 0 else []
        elif codes.get("path") == "G64":
            self.blends.append((line, values.get("P", math.inf) * self.unit))
        elif "P" in values:
            raise self.fail(line, "P without G4", allowed="P with G4 or G64 only",
                            remedy="write G4 before it if a wait is meant, else take it out")
        if not moved:
            if arc_words:
                raise self._endless(arc_words[0], line)
            return
        if self.motion is None:
            raise self.fail(line, "axis words before any of G0 G1 G2 G3", allowed="one of them first",
                            remedy="say which motion is meant")
        if arc_words and self.motion < _ARC:
            raise self.fail(line, f"{arc_words[0]} in straight motion", allowed="with G2 or G3 only",
                            remedy="write G2 or G3 on its line if an arc is meant")
        self._add(self._target(axes, line), values, line)

    def _target(self, axes: list[float | None], line: int) -> list[float]:
        target = list(self.position)
        for axis, value in enumerate(axes):
            if value is None:
                continue
            if self.absolute:
                target[axis] = value * self.unit
            elif math.isnan(target[axis]):
                raise self.fail(line, f"an incremental move in {'XYZ'[axis]} from a place that is not known",
                                allowed="G91 once it is", remedy="give an absolute position first")
            else:
                target[axis] += value * self.unit
            if not abs(target[axis]) <= FURTHEST:
                raise self.fail(line, f"{'XYZ'[axis]} at {figure(target[axis])} mm", allowed=f"within {FURTHEST:g} mm",
                                remedy="is a decimal point missing, or are its units others (G20, G21)?")
        return target

    def _add(self, target: list[float], values: dict[str, float], line: int) -> None:
        centre, turns = [math.nan] * 3, 0.0
        assert self.motion is not None
        if self.motion >= _ARC:
            centre, turns = centre_and_turn(
                self.position, target, values, plane=self.plane, unit=self.unit, clockwise=self.motion == _ARC,
                fail=partial(self.fail, line))
            self.chords += abs(turns) * math.sqrt(math.dist(self.position, centre) / (8.0 * _FINEST_CHORD))
            if self.chords > self.most_chords:
                raise self.fail(line, "too many or too large arcs to follow", allowed="arcs no longer than the work is",
                                remedy="make the program again from the job")
        self._note_move(self.motion)
        self.rows.append((self.position, target, centre, _KINDS[self.motion], self.plane, turns, self.feed, self.speed,
                          self.spindle, line, self.offset))
        self.position = target

    def _note_move(self, motion: int) -> None:
        """What is to be known of moves of a kind, or of several of which it is the highest."""
        self.units.add(self.unit_set)
        needed = ("distance", "feed mode", "plane")[: 1 + min(motion, _ARC)]
        self.assumed |= set(needed) - self.stated
        if motion > 0 and self.waiting is not None:
            self.waited, self.waiting = min(self.waited, self.waiting), None

    def _flush_rows(self) -> None:
        if self.rows:
            self.blocks.append(np.array(self.rows, _MOVE))
            self.rows = []

    def finished(self, text: str, lines: int) -> ReadProgram:
        """The program as arrays."""
        self._flush_rows()
        if not self.seen_code:
            raise ProgramError(self.name, "no words at all", allowed="a program", remedy="is the file empty?")
        table = np.concatenate([np.empty(0, _MOVE), *self.blocks])
        columns: dict[str, Any] = {name: table[name].copy() for name in _MOVE.names or ()}
        for column in columns.values():
            column.setflags(write=False)
        return ReadProgram(
            name=self.name, lines=lines, units=frozenset(self.units),
            unit_lines=tuple(self.unit_lines), comments=tuple(self.comments),
            ended=self.ended or self.percent == 2,
            spindle_left_on=self.spindle != 0 and not self.ended, coolant=self.coolant,
            waits=tuple(self.waits), waited=self.waited if self.waited < math.inf else self.waiting or 0.0,
            assumed=frozenset(self.assumed),
            pauses=tuple(self.pauses), spun=tuple(self.spun), speed_line=self.speed_line, blends=tuple(self.blends),
            job_fingerprint=_marked(self.comments, _JOB_MARK), program_fingerprint=_marked(self.comments, _OWN_MARK),
            own_fingerprint=fingerprint(text), chords=self.chords, **columns,
        )


def _is_followed(letter: str, number: str, *, first: bool) -> bool:
    """Whether a word is one of those that are read: N as the first of a line alone."""
    if letter in "GM":
        return f"{letter}{float(number):g}" in _MODAL_GROUP
    return letter in "XYZIJKRFSP" or (letter == "N" and first)


def _marked(comments: list[tuple[int, str]], pattern: re.Pattern[str]) -> str | None:
    return next((m[1] for _, text in comments if (m := pattern.match(text.strip()))), None)
