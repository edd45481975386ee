"""Job files by chance: good jobs with values changed, dropped, moved or of another kind, and with any key there is."""

import re
from functools import cache
from itertools import groupby
from random import Random

from pathgen.job.describe import KeyRow, key_rows

VALUES = (
    "0", "-1", "1", "1e400", "nan", "-inf", "0xFFFFFFFFFFFFFFFFFF", "9" * 5000, "1" * 18, "0.1", "3.7", "12", "true",
    '""', '"1/4 in"', '"1/0 in"', '"' + "9" * 500 + '/2 in"', '"a\\u2028b"', '"\\u001b[31m"', '"MSG, x"',
    '"\\uFDFA"', "[]", "{}",
    "[1, 2]", "[[1]]", "[" * 30 + "]" * 30, "{ a = 1 }", "2026-01-01", '"flat"', '"through"', '"bed"', '"../x"', '"."',
    '"\\u0000"', "1e-300", "1e300", '"' + "x" * 150 + '"', '["3/2", "2"]', '"5 mm"', '"1e5 mm"', "50", "200.0",
    "[" + "1, " * 200 + "]", '["' + "9" * 5000 + '/2"]',
)
CUTTERS = tuple(f'"{name}"' for name in ("flat", "flat", "ball", "slot", "flat 3", "flat 3", "ball 12", "v 60"))
LIKELY = 0.85
"""Share of new keys whose value is of the kind that the key holds."""


def job(text: str, chance: Random) -> bytes:
    """A good job's text with one to four changes."""
    lines = text.splitlines()
    for _ in range(chance.choice((1, 1, 1, 2, 4))):
        at = chance.randrange(len(lines))
        key, equals, value = lines[at].partition("=")
        draw = chance.random()
        if draw < 0.15 and equals:
            lines[at] = f"{key}= {chance.choice(VALUES)}"
        elif draw < 0.4 and equals:
            lines[at] = f"{key}= {_other_numbers(value, chance)}"
        elif draw < 0.44:
            del lines[at]
        elif draw < 0.97:
            _add(lines, chance.choice(key_rows()), chance)
        else:
            lines.insert(at, chance.choice((chance.choice(lines), "[", "a", "[[x]]", "\u2028", "[a.b.c]")))
        lines = lines or ["a = 1"]
    data = bytearray("\n".join(lines).encode("utf-8", "surrogatepass"))
    if chance.random() < 0.02:
        data[chance.randrange(len(data))] = chance.randrange(256)
    return bytes(data)


def _add(lines: list[str], row: KeyRow, chance: Random) -> None:
    """One key where it may stand: in its table, which is made with all that it requires where there is none."""
    head, *within = row.table.split(" ")
    name, value = row.key, _value(row, chance)
    # a key of a table within a table is given with the rest of what that requires, as a value of the outer one
    while within:
        value = "{ " + ", ".join([*_others(" ".join([head, *within]), name, chance), f"{name} = {value}"]) + " }"
        name = within.pop()
        if chance.random() < 0.5:
            value = f"[{value}]"
    at = next((k for k, line in enumerate(lines) if line.split("#")[0].strip() == head), None)
    if not head:
        lines.insert(0, f"{name} = {value}")
    elif at is None or (head.startswith("[[") and chance.random() < 0.3):
        lines += [head, *_others(head, name, chance), f"{name} = {value}"]
    else:
        end = next((k for k in range(at + 1, len(lines)) if lines[k].startswith("[")), len(lines))
        lines[at + 1 : end] = [line for line in lines[at + 1 : end] if line.partition("=")[0].strip() != name]
        lines.insert(at + 1, f"{name} = {value}")


def _others(head: str, name: str, chance: Random) -> list[str]:
    """The other keys that a table requires."""
    return [f"{r.key} = {_value(r, chance)}" for r in _tables()[head] if _required(r) and r.key != name]


@cache
def _tables() -> dict[str, list[KeyRow]]:
    return {head: list(rows) for head, rows in groupby(key_rows(), key=lambda row: row.table)}


def _required(row: KeyRow) -> bool:
    return row.default.startswith("required")


def _value(row: KeyRow, chance: Random) -> str:
    """A value of the kind that the key holds, or at times of any kind."""
    if chance.random() > (LIKELY if not _required(row) else 0.95):
        return chance.choice(VALUES)
    holds, usual = row.holds, re.match(r"[\d.]+", row.default)
    if usual and chance.random() < 0.7:
        return _other_numbers(usual[0], chance)
    words = re.findall(r'"[^"]+"', holds)
    if words and chance.random() < 0.9:
        return chance.choice(words)
    if holds.startswith("list"):
        one = holds.partition(": ")[2]
        count = 2 if "two" in one else chance.randint(0, 8)
        return "[" + ", ".join(_one(one.removeprefix("list: "), chance) for _ in range(count)) + "]"
    return _one(holds, chance)


def _one(holds: str, chance: Random) -> str:
    if holds == "text":
        return chance.choice(CUTTERS)
    if holds == "true or false":
        return chance.choice(("true", "false"))
    if holds == "colour":
        return chance.choice(('"#225577"', '"#cc8833"', '"#000000"'))
    if "whole" in holds:
        return str(chance.choice((0, 1, 2, 3, 4, 5, 7, 12, 24, 400)))
    if holds == "ratio":
        return chance.choice(('"3/2"', '"2"', '"9/8"', '"4/3"'))
    if "table" in holds and chance.random() < 0.5:
        return "{ }"
    size = 10 ** chance.uniform(-1.5, 2.5)
    return chance.choice((f"{size:.3g}", f"{size:.1f}", f'"{size:.2f} mm"', f"{-size / 20:.2f}"))


def _other_numbers(value: str, chance: Random) -> str:
    def other(found: re.Match[str]) -> str:
        if chance.random() < 0.3:
            return found[0]
        wide = chance.choice((1.0, 0.1))
        return f"{float(found[0]) * 10 ** chance.uniform(-wide, wide):.6g}"

    return re.sub(r"(?<![\w#.\"])\d+(\.\d+)?(?![\w.])", other, value)
