"""Slips of the file's syntax: the line itself, and the plain remedy for what is commonly written there."""

from __future__ import annotations

import re
from collections.abc import Collection

_CURLY = "“”„‟‘’‚‛«»"
_UNIT = r"""(?:mm|cm|in|inch|inches|["″'′])"""
_SLIPS = (
    (rf"[{_CURLY}]", "write straight quotes, \" and not curly ones"),
    (r"[^\S\t\r\n ]|[\u200b\ufeff]", "write plain spaces: one here is a non-breaking or other one"),
    (r"[−–—]\s*\d", "write - before a negative number, the sign on every keyboard"),
    (r"=\s*[-+]?\d+,\d+\s*(?:[},#].*)?$",
     "write a decimal point, not a comma, and nothing between thousands: 5.5, 1500"),
    (r"(?:=|\[|,)\s*[\d ]*\d+\s*/\s*\d+", 'put quotes round a fraction, with its unit: "1/4 in"'),
    (rf"(?:=|\[|,)\s*[-+]?[\d.]+\s*{_UNIT}(?=\s*(?:[\],}}#]|$))", 'put quotes round a length with its unit: "6 mm"'),
    (r"(?:=|\[|,)\s*[-+]?0\d", "write a number without 0 before it: 6, not 06"),
    (r"(?:=|\[|,)\s*[-+]?\.\d", "write a digit before the decimal point: 0.5"),
    (r"\d\.\d+\.\d|\d·\d", "write one decimal point in a number: 5.5"),
    (r"(?:=|\[|,)\s*[-+]?\d+\.(?!\d)", "write a digit after the decimal point: 5.0"),
    (r"=\s*(?:True|TRUE|False|FALSE|yes|no|on|off)\b", "write true or false"),
    (r"=\s*(?:none|None|null|nil)\b", "leave the key out to have its default"),
    (r"=\s*#[0-9a-fA-F]{3,6}\b", 'put quotes round a colour: "#2f6f4f"'),
    (r'=\s*"[^"]*\\', "write / between folders, not \\"),
    (r"^\s*(?://|;|--)", "begin a comment with #"),
    (r"\[[^\]]*\d\s*;\s*[-+.\d]", "put a comma between the values of a list, not ;"),
    (r"(?://|;)\s*\S.*$", "begin a comment with #"),
    (r"^\s*[\w-]+\s*=[^\[\]{},;]*[,;]\s*$", "take away what stands after the value, and end the line there"),
    (r",\s*\}", "take away the comma before }"),
    (r"==", "write one ="),
    (r"(?:^|[{,])\s*[\w-]+\s*:\s*[^\s:]", "write = between key and value, not :"),
    (r"(?:=|[\[,])\s*\(|\{\s*[-+.\d]+\s*[,\]}]", "write [ ] round a list and { } round a table, not ( )"),
    (r"^\s*(?:\[[^\[\]]*|\[\[[^\[\]]*\]?|\[[^\[\]]*\]\])\s*$",
     "close the name of a table with as many brackets as it opens with"),
    (r"^\s*(?:[\w-]+\s*[\]:]|\(\s*[\w-]+\s*\))\s*$", "write the name of a table in brackets: [board]"),
    (r"^\s*\[+\s*[\w.-]+\s*\]+\s*[^\s#]", "write the name of a table on a line of its own, and its keys under it"),
    (r"=\s*(?:#.*)?$", "write a value after ="),
    (r"""=\s*"[^"]*"[^\s,\]}#]""", "write \\\" for a quote within a text, or ' round the whole text"),
    (r"""=\s*"[^"]*(?:#.*)?$|=\s*'[^']*$""", "end the text with the quote that it begins with"),
    (r"^\s*[\w-]+\s*$", "write key = value"),
    (r"""(?:^|[{,])\s*[\w-]+\s+[-+.\d"'\[{]""", "write = between key and value"),
    (r"""\{[^{}]*=\s*(?:"[^"]*"|[-+.\w]+|\[[^\[\]]*\])\s+[\w-]+\s*=""",
     "put a comma between the keys of a table in { }"),
    (r"""^\s*[\w-]+\s*=\s*(?:"[^"]*"|[-+.\w]+|\[[^\[\]]*\])\s+[\w-]+\s*=""", "write each key on a line of its own"),
    (r"=\s*[-+]?\d+\s+\d[\d\s]*(?:[,}]|$)", "write a number without spaces: 1500"),
    (r"""\[[^\[\]]*["\d]\s*[-\s]\s*["\d]""", "put a comma between the values of a list: [4, 5]"),
    (r"=\s*[-+.\d]+\s*,\s*[-+.\d]+\s*[},]", "write a list in [ ]: [4, 5]"),
    (r"=\s*[-+]?[\d.]+\s+[A-Za-z]", "begin a comment with #, and put quotes round words"),
    (r"=\s*[-+]?[\d.]+[A-Za-z%]", "write a number with digits alone, or a length with its unit in quotes: \"6 mm\""),
    (r"=\s*(?!true\b|false\b|inf\b|nan\b)[A-Za-z]", 'write a number in digits, and put quotes round words: 4, "resin"'),
    (r"^\s*[\w-]+(?:\s+[\w-]+)+\s*=", "write the key as one word, with _ for each space"),
)
"""What a line holds, and what to do; the first that fits is told."""
_WIDE = 80  # characters of a line that are shown, round the place where it is no TOML


def slip_words(text: str, wrong: str, repeated: Collection[str]) -> tuple[str, str, str]:
    """(where, problem, remedy) for a text that is not TOML, from the parser's own words; of tables written ``[[name]]``
    `repeated` has the names.

    A list or table left open is found out only at a later line, or at the end: then the line that opens it is told.
    """
    lines = text.split("\n")
    place = re.search(r"at line (\d+), column (\d+)", wrong)
    at, column = (min(int(place[1]), len(lines)), int(place[2])) if place else (len(lines), 1)
    if re.match(r"Cannot (?:declare|overwrite|mutate)", wrong):
        return _said(lines, at, column, _there_already(lines, at, repeated))
    for number in [*([at] if place else _opens(lines)), *([at - 1] if place and at > 1 else [])]:
        remedy = _remedy(lines[number - 1])
        if remedy:
            return _said(lines, number, column if number == at else 1, remedy)
    if place and at > 1 and re.match(r"""\s*["{\[\d]""", lines[at - 1]) and _opens(lines[: at - 1]) \
            and re.search(r"""["}\]\d]\s*(?:#.*)?$""", lines[at - 2]):
        return _said(lines, at - 1, len(lines[at - 2]), "put a comma after what stands there: more of the list follows")
    unclosed = _opens(lines[:at]) or ([at] if wrong.startswith("Unclosed") else [])
    if unclosed:
        return _said(lines, unclosed[0], column if unclosed[0] == at else 1,
                     "close what is opened there, [ with ] and { with }, a table in { } on the same line")
    plainly = re.sub(r"\s*\(at [^)]*\)", "", wrong)
    return _said(lines, at, column, f"mend that line ({plainly})")


_NAME = re.compile(r"""\s*(?P<head>\[{0,2})\s*["']?(?P<name>[\w.-]+)["']?\s*(?:\]|=\s*(?P<value>[\[{]?))""")
"""A line that begins a table, or holds a key."""


def _there_already(lines: list[str], at: int, repeated: Collection[str]) -> str:
    """Where what line `at` begins stands already, and how to write more of it there."""
    here = _NAME.match(lines[at - 1])
    found: tuple[int, re.Match[str]] | None = None
    table = ""  # the one that the line looked at stands in
    tables = [table := one["name"] if (one := _NAME.match(line)) and one["head"] else table for line in lines[:at]]
    for number, line in enumerate(lines[: at - 1], 1):
        one = _NAME.match(line)
        if here and one and one["name"] == here["name"] \
                and (one["head"] or tables[number - 1] == ("" if here["head"] else tables[-1])):
            found = number, one
    if here is None or found is None:
        return "it is there already: write it once"
    number, there = found
    name, several = here["name"], f"[[{here['name']}]]"
    if not here["head"]:
        return f"line {number} has it already: write it once"
    if there["value"] == "[":
        return f"line {number} has it as {name} = [ .. ]: write one more {{ .. }} in that list, or all as {several}"
    if there["value"] == "{":
        return f"line {number} has it as {name} = {{ .. }}: write these keys there, or take that line away"
    if there["head"] != here["head"]:
        written = several if there["head"] == "[[" else f"[{name}]"
        return f"line {number} has it as {written}: write both the same way, as {several} where a job may have several"
    if name in repeated:
        return f"line {number} has it already: write {several}, one for each, there too"
    return f"line {number} has it already: put these keys under it"


def _remedy(line: str) -> str | None:
    """What to do about the first common slip in a line, if there is one."""
    bare = _without_texts(line)
    return next((remedy for pattern, remedy in _SLIPS
                 if re.search(pattern, line if "#" in pattern or '"[^"]*' in pattern else bare)), None)


def _said(lines: list[str], number: int, column: int, remedy: str) -> tuple[str, str, str]:
    return f"line {number}", f"not TOML: {_shown(lines[number - 1], column)}", remedy


def _shown(line: str, column: int) -> str:
    """A line, or what of a long one stands round a column."""
    words = line.strip()
    if len(words) <= _WIDE:
        return words
    first = max(0, min(column - 1 - (len(line) - len(line.lstrip())) - _WIDE // 2, len(words) - _WIDE))
    return ("..." if first else "") + words[first : first + _WIDE] + ("..." if first + _WIDE < len(words) else "")


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
