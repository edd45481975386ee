"""What builds come to, kept as a few numbers each: so that no change to the code changes what is cut unseen.

This says nothing of right or wrong, which the other tests do. Numbers that changed on purpose are kept anew by one
process, and looked through before they are committed:

    AS_MADE=keep pytest -n 0 --every-case tests/whole tests/parts tests/report/test_pictures.py \
        tests/verify/test_verify.py tests/job/test_doubts.py

Where the last digits of a sine or a sum differ (another processor, library or Python) some ties fall the other way, and
a build may come to something else by chance: there a test is skipped that would fail.

Of each program, key of the report and page with its pictures how many numbers it has and their sum, each weighed by its
place, so that two exchanged are seen; and a checksum of all between the numbers: words, markup, letters of addresses.
"""

import os
import re
import zlib
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely

KEPT = Path(__file__).with_suffix(".txt")
_NO_NUMBER = re.compile(r"<style.*?</style>|base64,[\w+/=]+|#\w+|\b(?=\w*[a-z])\w*\d\w*\b", re.S)
_NUMBER = re.compile(r"-?\d+\.?\d*(?:e-?\d+)?")


def hold(name: str, *builds: Any, pages: bool = False) -> None:
    """Holds builds to the numbers that are kept of them under a name; with `pages` their pages too."""
    got = [f"{nth} {row}" for nth, build in enumerate(builds) for row in _rows(build, pages)]
    hold_rows(name, got)


def hold_rows(name: str, got: list[str]) -> None:
    """Holds rows, of words and after them numbers, to those that are kept under a name."""
    kept = _kept()
    if os.environ.get("AS_MADE") == "keep":
        kept = {one: rows for one, rows in kept.items() if rows} | {_rounding(): [], name: got}
        KEPT.write_text("".join(f"[{one}]\n" + "".join(f"{row}\n" for row in kept[one]) for one in sorted(kept)))
    was, now = (dict(map(_apart, rows)) for rows in (kept.get(name, []), got))
    changed = [f"{label}: {numbers}, was {was.get(label)}" for label, numbers in now.items()
               if label not in was or numbers != pytest.approx(was[label], rel=1e-6, abs=1e-6)]
    changed += [f"{label}: gone" for label in was if label not in now]
    if changed and _rounding() not in kept:
        pytest.skip("numbers are rounded here as they were not where those of tests/as_made.txt were made")
    assert not changed, "\n".join([f"{name}: if that is meant, tests/as_made.py says how it is kept", *changed])


def _rounding() -> str:
    """How numbers are rounded here, to their last digits, as a name."""
    some = np.linspace(-3.0, 3.0, 999)
    last = b"".join(rule(some).tobytes() for rule in (np.sin, np.cos, np.tan, np.arctan, np.exp, np.sinh, np.cbrt))
    last += np.arctan2(some, 0.3).tobytes() + np.float64(sum([0.1] * 10)).tobytes()  # 1 from Python 3.12 on
    return f"rounding {zlib.crc32(last):08x}, {shapely.geos_version_string}"


def _kept() -> dict[str, list[str]]:
    sections: dict[str, list[str]] = {}
    name = ""
    for line in KEPT.read_text().splitlines():
        if line.startswith("["):
            name = line[1:-1]
            sections[name] = []
        else:
            sections[name].append(line)
    return sections


def _apart(row: str) -> tuple[str, list[float]]:
    label, _, numbers = row.partition(": ")
    return label, [float(one) for one in numbers.split()]


def _rows(build: Any, pages: bool) -> Iterator[str]:
    for program in build.programs:
        text = "".join(line for line in program.text.splitlines() if not line.startswith("("))
        yield f"{program.file_name}: {_weighed(list(_numbers(text)))} {_worded(program.text)}"
    for key, value in build.report.items():
        numbers = list(_numbers(value))
        words = _worded(" ".join(_strings(value)))
        if numbers or words:
            yield f"{key}: {_weighed(numbers)} {words}"
    for name, text in build.files(shaded=False).items() if pages else ():
        if not name.endswith((".nc", ".json")):
            yield f"{name}: {_summed(text)}"
    if build.back is not None:
        yield from (f"back {row}" for row in _rows(build.back, pages))


def found_row(findings: Iterable[Any]) -> str:
    """A row of what was found: severities and codes, then how many there are of each. In which lines of a program would
    move with every change to it."""
    counted = sorted(Counter(f"{one.severity} {one.code}" for one in findings).items())
    return f"{', '.join(found for found, _ in counted) or 'nothing'}: {' '.join(str(count) for _, count in counted)}"


def words_row(label: str, lines: Iterable[str]) -> str:
    """A row of lines of words and numbers."""
    return f"{label}: " + _summed("\n".join(lines))


def _summed(text: str) -> str:
    """How many numbers a text has, their sum, each weighed by its place, and a checksum of what stands between them."""
    return f"{_weighed(list(_numbers(text)))} {_worded(text)}"


def _worded(text: str) -> int:
    """A checksum of what stands between the numbers of a text."""
    return zlib.crc32(_NUMBER.sub("0", _NO_NUMBER.sub("", text)).encode())


def _weighed(numbers: list[float]) -> str:
    return f"{len(numbers)} {float(np.dot(numbers, 1.0 + np.arange(len(numbers)) % 97 / 97)):.9g}"


def _numbers(value: Any) -> Iterator[float]:
    """Every number of a value of the report, in order."""
    if isinstance(value, bool | int | float | np.number):
        yield float(value)
    elif isinstance(value, str):
        yield from map(float, _NUMBER.findall(_NO_NUMBER.sub("", value)))
    elif isinstance(value, Mapping):
        for one in value.values():
            yield from _numbers(one)
    elif isinstance(value, list | tuple | np.ndarray):
        for one in value:
            yield from _numbers(one)


def _strings(value: Any) -> Iterator[str]:
    """Every key and every text of a value of the report, in order."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, Mapping):
        for key, one in value.items():
            yield from (str(key), *_strings(one))
    elif isinstance(value, list | tuple):
        for one in value:
            yield from _strings(one)
