"""Slips of the file's syntax: the line itself, and the plain remedy for what is commonly written there."""

from __future__ import annotations

import re

_CURLY = "“”„‟‘’‚‛«»"
_SLIPS = (
    (rf"[{_CURLY}]", "write straight quotes, \" and not curly ones"),
    (r"=\s*[-+]?\d+,\d+\s*(?:#.*)?$", "write a decimal point, not a comma: 5.5"),
    (r"(?:=|\[|,)\s*[\d ]*\d+\s*/\s*\d+", 'put quotes round a fraction, with its unit: "1/4 in"'),
    (r"""(?:=|\[|,)\s*[-+]?[\d.]+\s*(?:mm|cm|in|inch|inches|["″'′])(?=\s*(?:[\],}#]|$))""",
     'put quotes round a length with its unit: "6 mm"'),
    (r"(?:=|\[|,)\s*[-+]?0\d", "write a number without 0 before it: 6, not 06"),
    (r"(?:=|\[|,)\s*[-+]?\.\d", "write a digit before the decimal point: 0.5"),
    (r"(?:=|\[|,)\s*[-+]?\d+\.(?!\d)", "write a digit after the decimal point: 5.0"),
    (r"=\s*(?:True|TRUE|False|FALSE|yes|no|on|off)\b", "write true or false"),
    (r"=\s*#[0-9a-fA-F]{3,6}\b", 'put quotes round a colour: "#2f6f4f"'),
    (r'=\s*"[^"]*\\', "write / between folders, not \\"),
    (r"^\s*(?://|;|--)", "begin a comment with #"),
    (r"(?://|;)\s*\S.*$", "begin a comment with #"),
    (r"^\s*[\w-]+\s*:\s*\S", "write = between key and value, not :"),
    (r"^\s*\[[^\[\]]*$|^\s*\[\[[^\[\]]*\]?$", "close the name of a table with as many brackets as it opens with"),
    (r"=\s*(?:#.*)?$", "write a value after ="),
    (r"""=\s*"[^"]*(?:#.*)?$|=\s*'[^']*$""", "end the text with the quote that it begins with"),
    (r"^\s*[\w-]+\s*$", "write key = value"),
    (r"=\s*(?!true\b|false\b|inf\b|nan\b)[A-Za-z]", 'put quotes round words: "resin"'),
    (r"^\s*[\w-]+(?:\s+[\w-]+)+\s*=", "write the key as one word, with _ for each space"),
)
"""What a line holds, and what to do; the first that fits is told."""


def slip_words(text: str, wrong: str) -> tuple[str, str, str]:
    """(where, problem, remedy) for a text that is not TOML, from the parser's own words.

    A list or table left open is found out only at a later line, or at the end: then the line that opens it is told.
    """
    lines = text.split("\n")
    place = re.search(r"at line (\d+), column (\d+)", wrong)
    at = min(int(place[1]), len(lines)) if place else len(lines)
    twice = re.match(r"Cannot (?:declare|overwrite|mutate)", wrong)
    nearest = [at] if place else _opens(lines)
    for number in [*nearest, *([at - 1] if place and at > 1 else [])]:
        for pattern, remedy in () if twice else _SLIPS:
            if re.search(pattern, _without_texts(lines[number - 1]) if "#" not in pattern else lines[number - 1]):
                return _where(number), _shown(lines[number - 1]), remedy
    number = nearest[0] if nearest else at
    what = "it is there already: write it once" if twice else \
        "close what is opened there, [ with ] and { with }" if not place else f"mend that line ({_plainly(wrong)})"
    return _where(number), _shown(lines[number - 1]), what


def _where(number: int) -> str:
    return f"line {number}"


def _shown(line: str) -> str:
    words = line.strip()
    return f"not TOML: {words if len(words) <= 80 else words[:77] + '...'}"


def _without_texts(line: str) -> str:
    """The line without what stands in quotes, and without its comment: nothing in them is a slip."""
    return re.sub(r'"[^"\\]*"|\'[^\']*\'', '""', line).partition("#")[0]


def _opens(lines: list[str]) -> list[int]:
    """The last line that opens a list or table which nothing closes."""
    opened: list[int] = []
    for number, line in enumerate(lines, 1):
        for sign in _without_texts(line):
            if sign in "[{":
                opened.append(number)
            elif sign in "]}" and opened:
                opened.pop()
    return opened[-1:]


def _plainly(wrong: str) -> str:
    return re.sub(r"\s*\(at [^)]*\)", "", wrong)
