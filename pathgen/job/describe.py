"""Every key of the job file in words, from the tables that read it."""

from __future__ import annotations

import textwrap
from dataclasses import MISSING, Field, dataclass, replace
from itertools import groupby
from typing import Any

from pathgen.job.job import TABLES, head_of
from pathgen.job.load import TOP_KEYS
from pathgen.parts.keys import keys_within

LENGTHS = ("length", "length per minute", "list: length", "list: two lengths")
"""What a key holds when its default is in millimetres whatever the job's units."""
TOP_HOLDS = {"title": "text", "units": '"mm" or "in"', "order": "list: text"}
_WIDE = 100  # characters of a line of the list of keys
LENGTH_WORDS = (
    'A length is a number in the unit of the job units, or a text with its own unit: "1/4 in", "6 mm"; a feed '
    'likewise: "800 mm/min".'
)


@dataclass(frozen=True, kw_only=True)
class KeyRow:
    """One key: the table it stands in, what it holds, its default, what it means."""

    table: str
    key: str
    holds: str
    limits: str
    default: str
    meaning: str


def key_rows() -> list[KeyRow]:
    """Every key of a job file in order, those of tables within a table after it."""
    rows = [KeyRow(table="", key=name, holds=TOP_HOLDS[name], limits="", default=default, meaning=words)
            for name, (default, words) in TOP_KEYS.items()]
    for name, table in TABLES.items():
        for within, field in keys_within(head_of(name), table):
            reader = field.metadata["reader"]
            rows.append(KeyRow(table=within, key=field.name, holds=reader.words, limits=reader.limits,
                               default=_default(field, reader.words), meaning=field.metadata["doc"]))
    return rows


def key_lines() -> list[str]:
    """The keys as plain text, a paragraph for each table."""
    lines: list[str] = []
    for head, rows in _tables():
        lines += ["", head or "at the top of the file"]
        for row in rows:
            default = row.default if row.default.startswith("required") else f"default {row.default}"
            about = ", ".join(filter(None, (row.holds, row.limits, default)))
            lines += textwrap.wrap(f"{row.key}: {row.meaning} ({about})", _WIDE, initial_indent="  ",
                                   subsequent_indent="      ")
    return [*lines[1:], "", LENGTH_WORDS]


def key_table() -> list[str]:
    """The keys as a table in Markdown."""
    rows = [
        f"| {head} | `{row.key}` | {', '.join(filter(None, (row.holds, row.limits)))} | {row.default} "
        f"| {row.meaning} |" for head, some in _tables() for row in some
    ]
    return ["| table | key | holds | default | meaning |", "|---|---|---|---|---|", *rows]


def _tables() -> list[tuple[str, tuple[KeyRow, ...]]]:
    """Each table's head and keys; what may stand in several tables, as `place` does, once and for all of them."""
    homes: dict[tuple[str, tuple[KeyRow, ...]], list[str]] = {}
    for head, rows in groupby(key_rows(), key=lambda row: row.table):
        name = head.rpartition(" ")[2]
        homes.setdefault((name, tuple(replace(row, table=name) for row in rows)), []).append(head)
    return [(heads[0] if len(heads) == 1 else f"{name}, in any table", rows)
            for (name, rows), heads in homes.items()]


def _default(field: Field[Any], words: str) -> str:
    if field.metadata["shown"]:
        return str(field.metadata["shown"])
    value = field.default
    if value is MISSING:
        return "required" if field.default_factory is MISSING else "none"
    if isinstance(value, bool):
        return "true" if value else "false"
    if value is None or value == ():
        return "none"
    if isinstance(value, str):
        return f'"{value}"'
    number = f"{value:g}" if isinstance(value, (int, float)) else str(list(value))
    inch = field.metadata["inch"]
    of_inches = f", or {inch:g} in of a job in inches" if inch is not None else ""
    return f"{number} mm{of_inches}" if words in LENGTHS else number
