"""The one way out for texts and numbers: nothing that a terminal, a page, a program or JSON would trip over."""

from __future__ import annotations

import json
import math
import re
import shlex
import unicodedata
from collections.abc import Iterable, Sequence
from pathlib import Path

KEPT = "\t\n\N{NO-BREAK SPACE}"
_BEFORE_STOPS = re.compile(r" (?=[.,](?!\.)(?:\s|$))")
_TABLE = re.compile(r"\[+(\w+)\]+")  # of a job
_ASIDE = re.compile(r"(?<=[\w.\"'])\s+\((\w[^()]*)\)(,?\s+(?=\w))?")  # in brackets after a word; does more follow
_LETTERS = str.maketrans({
    "Ä": "Ae", "Ö": "Oe", "Ü": "Ue", "ä": "ae", "ö": "oe", "ü": "ue", "ß": "ss", "ẞ": "SS", "Æ": "Ae", "æ": "ae",
    "Œ": "Oe", "œ": "oe", "Ø": "Oe", "ø": "oe", "Å": "Aa", "å": "aa", "Ð": "D", "ð": "d", "Đ": "D", "đ": "d",
    "Þ": "Th", "þ": "th", "Ł": "L", "ł": "l", "ı": "i", "Ħ": "H", "ħ": "h", "Ŧ": "T", "ŧ": "t",
    "×": "x", "−": "-", "–": "-", "—": "-", "‘": "'", "’": "'", "“": '"', "”": '"', "„": '"'})
"""Letters as travel documents write them in A to Z (ICAO Doc 9303, part 3, section 6; from memory); signs."""
_FRACTION = re.compile(r"(?<=[0-9])(?=[¼-¾⅐-⅞])")  # between a whole number and the fraction after it
_DIAMETER = re.compile(r"[Øø⌀] ?(?=[0-9])")
_ENDLESS = re.compile(r"\S{300,}")
_SHELL = re.compile(r"[\"$`!\\]")  # what a shell obeys within double quotes
_OUTSIDE_ASCII = re.compile(r"[^\x00-\x7e]")


def plain(text: str) -> str:
    """Text without control characters, separators of lines, marks that turn its direction, and halves of characters."""
    if text.isprintable():
        return text
    return "".join(c for c in text if c in KEPT or c.isprintable())


def counted(count: int, what: str) -> str:
    """How many there are of something: ``"1 place"``, ``"2 places"``."""
    return f"{count} {what}{'' if count == 1 else 's'}"


def joined(words: Sequence[str], last: str = "and") -> str:
    """``"1"``, ``"1 and 2"``, ``"1, 2 and 3"``."""
    return f" {last} ".join(filter(None, [", ".join(words[:-1]), words[-1]]))


def in_runs(numbers: Sequence[int]) -> list[str]:
    """Rising numbers, three neighbours or more together: ``["1 to 3", "6", "7"]``."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return [word for run in runs for word in (
        [f"{run[0]} to {run[-1]}"] if len(run) > 2 else [str(one) for one in run])]


def one_line(text: str) -> str:
    """The same in one line: what would end it or move on becomes a space."""
    if text.isprintable():
        return text
    return plain("".join(" " if c.isspace() and c != "\N{NO-BREAK SPACE}" else c for c in text))


def typed(path: str | Path) -> str:
    """A file's name as it is typed in a command, in quotes where a shell would take it for several words.

    >>> typed("my board.toml"), typed("board.toml")
    ('"my board.toml"', 'board.toml')
    """
    word = one_line(str(path))
    quoted = shlex.quote(word)
    return f'"{word}"' if quoted != word and not _SHELL.search(word) else quoted  # every shell knows the double ones


def brief(text: str) -> str:
    """Text whose words of hundreds of characters, as numbers without end, are shown by their ends.

    >>> brief("9" * 999 + " mm")[145:210]
    '99999 .. 99999999999999999999999999999999999999999999999999 mm'
    """
    return _ENDLESS.sub(lambda word: f"{word[0][:150]} .. {word[0][-50:]}", text)


def figure(value: float) -> str:
    """A number as people write it: no exponents for large ones, and of those past reading how long they are.

    >>> figure(0.25), figure(999_999.9), figure(1e9), figure(5e154)
    ('0.25', '1000000', '1000000000', 'a number of 155 digits')
    """
    if not math.isfinite(value):
        return "a number past counting"
    if abs(value) < 999_999.5:
        return f"{value:g}"
    return f"{value:.0f}" if abs(value) < 1e15 else f"a number of {len(f'{abs(value):.0f}')} digits"


def time_words(minutes: float) -> str:
    """A time: ``14 min``, ``2.4 min``, ``38 s``; rounded from hundredths of a minute, as the report has them."""
    minutes = round(minutes, 2)
    return f"{minutes:.0f} min" if minutes >= 10 else f"{minutes:.1f} min" if minutes >= 1 else f"{minutes * 60:.0f} s"


def in_ascii(text: str) -> str:
    """Text in printable ASCII without brackets, percent signs, back strokes and semicolons; it reads as before.

    >>> in_ascii("Fern (M30)\\n9 % é; as [stock] thickness")
    'Fern - M30 - 9 percent e - as "stock" thickness'
    """
    reduced = _TABLE.sub(r'"\1"', _ASIDE.sub(_between_strokes, base_letters(text)))
    reduced = reduced.replace(";", " -").replace("%", " percent")
    kept = "".join(c if c.isprintable() and c not in "()[]{}\\" else " " for c in reduced)
    return _BEFORE_STOPS.sub("", " ".join(kept.split()))


def base_letters(text: str) -> str:
    """Text in ASCII: other Latin letters by those that stand for them, what has none left out.

    >>> base_letters("Jörg Müßiggänger, Gaëlle Ståhl, Ø6 and 3½ mm")
    'Joerg Muessiggaenger, Gaelle Staahl, 6 and 3 1/2 mm'
    """
    whole = _DIAMETER.sub("", _FRACTION.sub(" ", unicodedata.normalize("NFC", text))).translate(_LETTERS)
    reduced = unicodedata.normalize("NFKD", whole).replace("\N{FRACTION SLASH}", "/")
    return reduced.encode("ascii", "ignore").decode()


def _between_strokes(aside: re.Match[str]) -> str:
    """What stood in brackets as an aside still, without them."""
    return f" - {aside[1].replace(';', ',')}{' - ' if aside[2] else ''}"


def in_json(text: str) -> str:
    """JSON text with what does not print written by its number."""
    return _OUTSIDE_ASCII.sub(lambda c: c[0] if c[0].isprintable() else json.dumps(c[0])[1:-1], text)


def json_in_ascii(text: str) -> str:
    """JSON text with all that is not ASCII written by its number."""
    return _OUTSIDE_ASCII.sub(lambda c: json.dumps(c[0])[1:-1], text)


def rounded(value: float | None, places: int = 5) -> float | None:
    """A rounded number, or None for one that is not finite, or not there."""
    return round(float(value), places) + 0.0 if value is not None and math.isfinite(value) else None


def rounded_point(point: Iterable[float]) -> list[float]:
    """A rounded point."""
    return [round(float(v), 5) + 0.0 for v in point]


def capital(words: str) -> str:
    """Words as a sentence begins."""
    return words[:1].upper() + words[1:]
