"""Path data: checked strictly against the grammar first, then read.

Runs with quadratic or smooth commands (Q, T, S), once known to be valid, are read by svgpathtools. Lines and plain
cubics, the bulk of any drawing, are read here directly, in a quarter of its time. So are subpaths and arcs: its paths
lose where a subpath was closed, and its arcs lose accuracy near half circles.
"""

from __future__ import annotations

import re

import numpy as np

from pathgen.artwork.curves import Curves, Pen
from pathgen.artwork.values import NUMBER
from pathgen.base.arrays import Floats
from pathgen.base.errors import ArtworkError
from pathgen.base.limits import LARGEST_NUMBER, MOST_PIECES

_W = r"[ \t\r\n\f]*+"
_SEP = rf"(?:{_W},?+{_W})"
_N, _FLAG = f"(?>{NUMBER})", "[01]"  # a number is never cut in two to make up a missing one


def _arguments(*one: str) -> str:
    group = _SEP.join(one)
    return rf"{_W}{group}(?:{_SEP}{group})*+"


_COUNTS = {"m": 2, "l": 2, "t": 2, "h": 1, "v": 1, "c": 6, "s": 4, "q": 4, "a": 7, "z": 0}
"""How many numbers each command takes at a time."""
_ARGUMENTS = {1: "hv", 2: "mlt", 4: "sq", 6: "c"}
_COMMANDS = "|".join([*(f"[{k}{k.upper()}]{_arguments(*[_N] * count)}" for count, k in _ARGUMENTS.items()),
                      f"[aA]{_arguments(_N, _N, _N, _FLAG, _FLAG, _N, _N)}", "[zZ]"])
_VALID = re.compile(rf"{_W}(?:(?=[mM])(?:(?:{_COMMANDS}){_W})*+)?+")
_RUN = re.compile(r"[mM][^mMzZaA]*|[zZ]|[aA][^a-zA-Z]*(?:[eE][^a-zA-Z]*)*|[^mMzZaA]+")
_PAIR = re.compile(rf"{_W}({_N}){_SEP}({_N})")
_ARC = re.compile(_SEP.join([f"({_N})"] * 3 + [f"({_FLAG})"] * 2 + [f"({_N})"] * 2))
_IN_NUMBERS = {
    kind: np.isin(np.arange(256), [ord(c) for c in characters])
    for kind, characters in {"any": "0123456789.eE+-", "sign": "+-", "end": "0123456789."}.items()
}
"""By byte: what numbers are made of, what begins another, what one may end with."""


def read_path(d: str, *, where: str) -> Curves:
    """The outline that the data of a ``d`` attribute draws (SVG 1.1, section 8.3.9).

    Raises ArtworkError with the place in the data, for anything that the grammar does not allow, for numbers too
    large, and for more than MOST_PIECES pieces; `where` is the element, for messages.
    """
    if d.strip() in ("", "none"):
        return Pen().curves()
    if len(d) > 2 * MOST_PIECES and has_more_pieces(d):
        raise too_many(where)
    check_path(d, where=where)
    if _HAS_ARC.search(d):
        _refuse_large(d, where)
    pen, here, start = Pen(), 0j, 0j
    for run in _RUN.findall(d.strip()):
        letter = run[0]
        if letter in "zZ":
            pen.close(here, start)
            here = start
            pen.begin()
        elif letter in "aA":
            here = _arcs(pen, run, here)
        elif letter in "mM":
            pair = _PAIR.match(run, 1)
            assert pair is not None
            here = start = complex(float(pair[1]), float(pair[2])) + (here if letter == "m" else 0)
            pen.begin()
            rest = run[pair.end():].lstrip(_BLANKS)
            if rest:
                here = _run(pen, rest if rest[0].isalpha() else ("l" if letter == "m" else "L") + rest, here)
        else:
            here = _run(pen, run, here)
        if len(pen) > MOST_PIECES:
            raise too_many(where)
    curves = pen.curves()
    _check_size(curves, d, where)
    return curves


def has_more_pieces(d: str) -> bool:
    """Whether more than MOST_PIECES pieces are surely in path data, or more points in a list of them: the numbers in
    it, by the most that a piece can take. Looks no further than it must."""
    numbers, points, letters = 0, 0, {"m"}
    for begin in range(0, len(d), 2_000_000):
        part = d[begin: begin + 2_000_000]
        data = np.frombuffer(part.encode("ascii", "replace"), dtype=np.uint8)
        inside, sign, ended = (_IN_NUMBERS[kind][data] for kind in ("any", "sign", "end"))
        numbers += int(np.count_nonzero(inside[1:] & ~inside[:-1]) + np.count_nonzero(sign[1:] & ended[:-1]))
        points += int(np.count_nonzero(data == ord(".")))  # a number has one at most
        letters |= set(part.lower())
        if max(numbers, points) > MOST_PIECES * max(count for letter, count in _COUNTS.items() if letter in letters):
            return True
    return False


def too_many(where: str) -> ArtworkError:
    """The error for a drawing with more pieces than can be cut in reasonable time."""
    return ArtworkError(where, "too many line and curve pieces in the drawing", allowed=f"{MOST_PIECES}",
                        remedy="simplify its paths")


def _run(pen: Pen, run: str, here: complex) -> complex:
    """Lines and Bezier pieces of one subpath, from `here`; returns where they end."""
    if _CURVED.search(run):
        return _curved(pen, run, here)
    letters = set(run.translate(_LETTERS_ALONE))
    if len(letters) == 1 and letters <= _PAIRS:
        (letter,) = letters
        return pen.pairs(here, _numbers_in(run), cubic=letter in "cC", relative=letter.islower())
    x, y = here.real, here.imag
    for letter, text in _COMMAND.findall(run):
        numbers = [float(number) for number in _NUMBER.findall(text)]
        if letter in "cC":
            x, y = pen.cubics(x, y, numbers, relative=letter == "c")
        else:
            x, y = pen.lines(x, y, _line_ends(letter, numbers, x, y))
    return complex(x, y)


def _numbers_in(run: str) -> Floats:
    """The numbers of valid path data without arcs, in their order."""
    if _GLUED.search(run):
        return np.array([float(number) for number in _NUMBER.findall(run)])
    numbers: Floats = np.fromstring(run.translate(_SPACED).replace("e -", "e-").replace("e +", "e+"), sep=" ")
    return numbers


def _line_ends(letter: str, numbers: list[float], x: float, y: float) -> list[float]:
    """Absolute points x1, y1, x2, y2... of an ``L``, ``H`` or ``V`` command."""
    if letter == "L":
        return numbers
    if letter in "HV":
        return [c for number in numbers for c in ((number, y) if letter == "H" else (x, number))]
    ends = []
    for k in range(0, len(numbers), 2 if letter == "l" else 1):
        x += numbers[k] if letter in "lh" else 0.0
        y += numbers[k + 1] if letter == "l" else numbers[k] if letter == "v" else 0.0
        ends += [x, y]
    return ends


def _curved(pen: Pen, run: str, here: complex) -> complex:
    """Lines and Bezier pieces as svgpathtools reads them."""
    from svgpathtools import parse_path  # here, since it takes half a second to import and few commands read drawings

    end = here
    for piece in parse_path(_NUMBER.sub(_as_parsed, run), current_pos=here):
        points = piece.bpoints()
        if len(points) == 2:
            pen.line(*points)
        elif len(points) == 3:
            pen.quadratic(*points)
        else:
            pen.cubic(*points)
        end = points[-1]
    return end


def _as_parsed(number: re.Match[str]) -> str:
    """A number in a form that svgpathtools reads: it takes ``5.`` or ``1.5.5`` for other numbers than they are."""
    return f" {min(max(float(number[0]), -_LARGE), _LARGE)!r} "


def _arcs(pen: Pen, run: str, here: complex) -> complex:
    for rx, ry, turn, large, sweep, x, y in _ARC.findall(run):
        end = complex(float(x), float(y)) + (here if run[0] == "a" else 0)
        pen.arc(here, end, rx=float(rx), ry=float(ry), turn=float(turn), large=large == "1", sweep=sweep == "1")
        here = end
    return here


def check_path(d: str, *, where: str) -> None:
    """Raise ArtworkError, giving the place in the data, unless `d` is valid path data with finite numbers."""
    end = _past(_VALID, d, 0)
    if end != len(d):
        raise _bad_data(d, where, *_first_fault(d, end))


def _check_size(curves: Curves, d: str, where: str) -> None:
    """Numbers so large that nothing sensible is left of them: found in what was read, then named in the data."""
    if not len(curves) or np.abs(curves.points).max() <= LARGEST_NUMBER:
        return
    _refuse_large(d, where)
    raise _bad_data(d, where, 0, "numbers too large")


def _refuse_large(d: str, where: str) -> None:
    """Raise ArtworkError at the first number of valid data that is too large."""
    number = next((n for n in _NUMBER.finditer(d) if not abs(float(n[0])) <= LARGEST_NUMBER), None)
    if number:
        raise _bad_data(d, where, number.start(), "numbers too large")


def _first_fault(d: str, end: int) -> tuple[int, str]:
    """Where and why data goes wrong: `end` is where its last whole command ends."""
    at = _past(_W, d, end)
    if at >= len(d):
        return at, "nothing"
    letter = d[at].lower()
    if end == 0 and letter != "m":
        return at, "path data begins with m or M"
    if letter not in _COUNTS:
        return at, "numbers left over" if _NUMBER.match(d, at) else "a command letter expected"
    return _first_bad_argument(d, at + 1, letter)


def _first_bad_argument(d: str, at: int, letter: str) -> tuple[int, str]:
    taken, count = 0, _COUNTS[letter]
    number, flag = re.compile(f"{_W}(?:{NUMBER})"), re.compile(f"{_W}[01]")
    while match := (flag if letter == "a" and taken % 7 in (3, 4) else number).match(
            d, _past(f"{_W},?", d, at) if taken else at):
        at, taken = match.end(), taken + 1
    at = _past(_W, d, at)
    if (count and taken % count) or not taken:
        return at, f"{letter.upper()} takes {count} numbers at a time, {taken} found"
    return at, "not a number or a command"


def _past(skipped: str | re.Pattern[str], d: str, at: int) -> int:
    """Past what matches there, which may be nothing."""
    match = re.compile(skipped).match(d, at)
    return match.end() if match else at


def _bad_data(d: str, where: str, at: int, reason: str) -> ArtworkError:
    found = repr(d[at:at + 12]) if at < len(d) else "the end"
    if d[at:at + 1] == "\u2212":
        reason = "a typographic minus sign (U+2212), write a plain hyphen-minus"
    return ArtworkError(f"{where}: path data, character {at + 1}", f"{found}: {reason}",
                        remedy="correct the path or draw it again")


_LARGE = 1e100
"""Stands for all that is larger, until it is refused by name."""

_NUMBER = re.compile(NUMBER)
_HAS_ARC = re.compile("[aA]")
_CURVED = re.compile(r"[sSqQtT]")
_COMMAND = re.compile(r"([lLhHvVcC])([^lLhHvVcC]*)")
_BLANKS = " \t\r\n\f,"
_PAIRS = set("cClL")
_LETTERS_ALONE = str.maketrans("", "", "0123456789.eE+-" + _BLANKS)
_GLUED = re.compile(r"\.[0-9]*\.")
_SPACED = str.maketrans(dict.fromkeys("mMlLhHvVcCsSqQtTzZ" + _BLANKS, " ") | {"-": " -", "+": " +", "E": "e"})
