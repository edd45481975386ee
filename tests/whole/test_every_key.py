"""Every key of the job file, given odd values of every sort: what it takes and what it says is held."""

import math
import zlib
from dataclasses import MISSING

import pytest

from pathgen import JobError
from pathgen.job.job import TABLES
from pathgen.parts.keys import Place, keys_within
from tests.as_made import hold_rows

SIZES = (1e-9, 0.01, 0.3, 1, 1.5, 2, 7, 60, 99.5, 400, 2500, 30_000, 1e9)
GIVEN = [
    *SIZES, *(-size for size in SIZES), 0, math.nan, math.inf, True, False, "", "x", "1 in", "3 mm", "1/4 in", "-2 mm",
    "#2f6f4f", "#2f6", "board", [], [1.0], [1.0, 2.0], [2.0, 1.0], [1.0, 2.0, 3.0], ["a", "b"], ["#2f6f4f"],
    [[1.0, 2.0], [3.0, 4.0]], {}, {"nut": 254.0},
]


def answer(reader, value, units):
    try:
        return repr(reader(value, Place("here", units)))
    except JobError as error:
        return str(error)


def longest(reader):
    """The longest text that a key takes, in letters; 0 where it takes none of one letter or of 5000."""
    low, high = 0, 5000
    while high - low > 1:
        middle = (low + high) // 2
        taken = answer(reader, "x" * middle, "mm") == repr("x" * middle)
        low, high = (middle, high) if taken else (low, middle)
    return low


@pytest.mark.parametrize("table", TABLES)
def test_what_it_takes_and_what_it_says(table):
    rows = []
    for head, field in keys_within(table, TABLES[table]):
        reader = field.metadata["reader"]
        said = [answer(reader, value, units) for units in ("mm", "in") for value in GIVEN]
        default = None if field.default is MISSING or callable(field.default) else field.default
        words = f"{longest(reader)} {default} {field.metadata['inch']} {field.metadata['doc']}"
        rows.append(f"{head} {field.name}: {zlib.crc32(chr(10).join([words, *said]).encode())}")
    hold_rows(f"keys of {table}", rows)
