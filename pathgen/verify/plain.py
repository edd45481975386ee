"""Runs of lines that hold nothing but G0 or G1, X, Y, Z and F in the usual order, read all at once."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from pathgen.base.arrays import Bools, Floats

_UNSIGNED = r"(?:\d++\.?\d*+|\.\d++)"
NUMBER = rf"[+-]?{_UNSIGNED}"
"""Section E.2 of NISTIR 6556: no exponent."""
_LINE = rf"(?!\n)(?:G0?[01])?+ ?+(?:X{NUMBER})?+ ?+(?:Y{NUMBER})?+ ?+(?:Z{NUMBER})?+ ?+(?:F{_UNSIGNED})?+\n"
_MOST_LINES = 50_000
_RUN = re.compile(rf"(?:{_LINE}){{1,{_MOST_LINES}}}+", re.ASCII)
_APART = str.maketrans("GXYZF\n", "      ")


@dataclass(frozen=True, eq=False, kw_only=True)
class PlainRun:
    """The words of some lines.

    Attributes
    ----------
    stop : int
        Where in the text the next line begins.
    longest : int
        Characters of the longest line.
    given, value : dict of letter to (n,) array
        Which lines give the word, and its number there, 0 elsewhere.
    """

    stop: int
    longest: int
    given: dict[str, Bools]
    value: dict[str, Floats]

    def __len__(self) -> int:
        return len(self.given["G"])

    def in_force(self, letter: str, before: float, unit: float) -> Floats:
        """(n + 1,) numbers in force, in mm for a `unit` in mm: `before` first, then after each line."""
        value = np.concatenate([[before], self.value[letter] * unit])
        last = np.maximum.accumulate(np.concatenate([[True], self.given[letter]]) * np.arange(len(value)))
        return value[last]


def plain_run(text: str, start: int, *, fewest: int) -> PlainRun | None:
    """The run of plain lines that begins at `start`, in part if it is very long; None for fewer than `fewest` lines."""
    match = _RUN.match(text, start)
    if match is None or text.count("\n", start, match.end()) < fewest:
        return None
    characters = np.frombuffer(match[0].encode("ascii"), np.uint8)
    ends = np.flatnonzero(characters == ord("\n"))
    words = np.flatnonzero(characters >= ord("A"))
    letter, line = characters[words], np.searchsorted(ends, words)
    number = np.fromstring(match[0].translate(_APART), sep=" ")
    given, value = {}, {}
    for name in "GXYZF":
        own = letter == ord(name)
        given[name], value[name] = np.zeros(len(ends), bool), np.zeros(len(ends))
        given[name][line[own]], value[name][line[own]] = True, number[own]
    return PlainRun(
        stop=match.end(), longest=int(np.diff(ends, prepend=-1).max()) - 1, given=given, value=value
    )
