"""Sensible random jobs with a few keys put to odd values, for `tests.random_jobs`: ``... --odd``.

Any key of any table that such a job has, or may have, at any number near or far from the usual: most of them are still
built, some are refused; none may be refused by its own check, be cut too deep, crash or hang.
"""

import math
import re
import tomllib
from typing import Any

from pathgen.job.describe import key_rows
from tests.random_jobs import Chance, RandomJob, _toml, random_job

LEFT = {"name", "artwork", "cutter", "cutters", "finish", "rough", "bevel_cutter", "speed", "spindle",
        "frets", "x", "y"}
"""Names of other things, and keys whose numbers only cost time."""


def odd_job(seed: int, *, plates: bool = False) -> RandomJob:
    """The small job of a seed, with one to four keys put to odd values."""
    from tests.random_plates import random_plate

    chance = Chance(seed + 9_000_000)
    job = random_plate(seed) if plates else random_job(seed, small=True)
    tables = tomllib.loads(job.toml)
    units = tables.pop("units")
    rows = [row for row in key_rows() if row.key not in LEFT and row.table.strip("[]").split("]")[0] in tables]
    for _ in range(chance.whole(1, 4)):
        row = chance.one(*rows)
        name, _, within = row.table.replace("[", "").partition("]")
        entry = tables[name]
        entry = chance.one(*entry) if isinstance(entry, list) else entry
        if within.strip():
            entry = entry.get(within.strip(), {})
            entry = chance.one(*entry) if isinstance(entry, list) else entry
            if not isinstance(entry, dict) or not entry:
                continue
        value = _odd(chance, row.holds, entry.get(row.key), row.default)
        if value is not None:
            entry[row.key] = value
    text = _toml(tables, inches=False).replace('units = "mm"', f'units = "{units}"', 1)
    return RandomJob(text, job.drawings)


def _odd(chance: Chance, holds: str, value: Any, default: str) -> Any:
    """Another value of that kind: one of its words, or a number some way from what it is or usually is."""
    words = re.findall(r'"([^"]*)"', holds)
    numeric = re.search(r"length|number|degrees|seconds|ml|g/cm3", holds)
    if holds == "true or false":
        return not value if isinstance(value, bool) else chance.one(True, False)
    if words and not (numeric and chance.now_and_then(0.5)):
        return chance.one(*words)
    if holds.startswith("list: two lengths") or not numeric or holds.startswith(("list", "table")):
        return [_odd(chance, "length", each, "") for each in value] if isinstance(value, list) and all(
            isinstance(each, (int, float)) for each in value) else None
    given = re.match(r"[\d.]+", default)
    base = value if isinstance(value, (int, float)) else float(given[0]) if given else 0.0
    if chance.now_and_then(0.1):
        return 0 if "whole" in holds else 0.0
    base = base or chance.one(0.1, 1.0, 5.0)
    spread = chance.one(0.2, 0.2, 0.6, 1.2)
    odd = base * math.exp(chance.rng.normal(0.0, spread))
    return max(0, round(odd)) if "whole" in holds else float(f"{odd:.3g}")
