"""Random jobs drawn from the tables of keys by which jobs are read: ``python -m tests.random_jobs --keys``.

Each key of every table appears with a chance, words are those that its reader takes, numbers go about its default, now
and then to its limits; a step's cutter has any shape that is not refused for it. Nothing is left out because nobody
thought of it: a key without values here fails a test.

A table is kept where the job can still be read with it, so that most jobs can be built. The job of a seed holds the key
whose turn it is, if it can: so many seeds as there are keys try each at least once.

With ``--grown`` a sensible small board or a plate, of drawings where they are given, gets some keys and tables more.
"""

from __future__ import annotations

import math
import re
import tempfile
import tomllib
from collections.abc import Callable, Iterator
from contextlib import suppress
from copy import deepcopy
from dataclasses import MISSING, Field, fields
from pathlib import Path
from typing import Any

import numpy as np

import pathgen
from pathgen.base.errors import PathgenError
from pathgen.job.blank import ALLOWED as OF_BLANKS
from pathgen.job.blank import NOT_SHARED
from pathgen.job.clamping import clamping_of
from pathgen.job.flat import OF_BOARDS
from pathgen.job.form import ALLOWED as OF_FORMS
from pathgen.job.job import ORDER, REPEATED, TABLES, head_of
from pathgen.job.part import part_of
from pathgen.job.tables import CutterTable
from pathgen.parts.fingerboard.part import ZEROS
from pathgen.parts.flat.part import PLACES
from pathgen.parts.keys import keys_within
from pathgen.work.operations import WitnessMarks
from tests.random_jobs import (
    Chance,
    RandomJob,
    _drawing,
    _drawn_outline,
    _svg,
    _toml,
    _two_colours,
    clampings_beside,
    random_job,
)
from tests.random_plates import random_plate

Own = dict[str, Any]
Rule = Callable[["Making", Own], Any]

ROWS: tuple[tuple[str, Field[Any]], ...] = tuple(
    row for name, table in TABLES.items() for row in keys_within(head_of(name), table))
"""Each key with the head of its table."""
ROOTS = ("board", "plate", "form", "part")
OF_PLATES = ("hole", "ring")
COLOURS = ("#225577", "#aa4422")
"""Of the drawings here."""
LIKELY = {"inlay": 0.7, "slots": 0.5, "outline": 0.5, "resurface": 0.5, "hole": 0.5, "ring": 0.4, "setup": 0.8,
          "machine": 0.8, "dots": 0.25}
"""How often a table stands in a job that may do without, where that is not `RARE`."""
RARE, OPTIONAL = 0.12, 0.3
OFTEN = {"place": 0.85, "rough": 0.6, "frets": 1.0, "flute_length": 0.5, "mirror": 0.15, "gap": 0.5, "zero": 0.6,
         "shape": 1.0, "diameter": 1.0, "angle": 1.0, "speed": 1.0, "feed": 1.0, "plunge": 1.0,
         "[[cutter]] stepdown": 1.0, "fret": 1.0, "to": 1.0,
         "[outline] tabs": 0.8, "tabs": 0.6, "[plate] width": 1.0, "[plate] artwork": 1.0,
         "[saddle_blank] height": 1.0, "[nut_blank] height": 0.8,
         "bevel_cutter": 1.0, "length": 0.5, "width": 0.6, "along": 0.6, "across": 1.0, "at": 1.0, "between": 1.0,
         "at_frets": 1.0, "plunges": 0.15, "pitch": 1.0, "height": 0.5, "thickness": 0.7, "piece": 0.7, "nut_end": 0.1,
         "end": 0.15, "partial_frets": 0.1, "ratios": 0.1, "divisions": 0.1, "left_handed": 0.2, "relief": 0.15,
         "fall_away": 0.15, "skin": 0.7, "follow": 1.0, "also": 0.1, "keep_out": 0.15}
"""How often an optional key appears where that is not `OPTIONAL`; those at 1 whenever their values make sense."""
PLACED = {"setup", "marks", "measured", "moved", "channel", "inlay", "dots"}
"""Tables of which reading the job alone does not tell whether they can be."""
WITH = {"channel": ("holes",), "moved": ("measured",), "measured": ("moved",)}
"""Tables that another is not read without."""
BESIDE = {"block", "gauges", "side_dots", "nut_blank", "saddle_blank", "coupon"}
"""Tables of what is cut beside the part."""
SLOW = {"scallop", "leave_scallop", "stepover", "stepdown", "speed", "feed", "plunge", "count"}
"""Keys whose least values only cost time."""


class Making:
    """A job as it grows, and the last of it that could be read."""

    def __init__(self, chance: Chance, wanted: str, folder: Path, *, thick: float = 0.0, names: str = "") -> None:
        self.chance, self.wanted, self.thick, self.names = chance, wanted, thick, names
        self.tables: dict[str, Any] = {"cutter": []}
        self.files: dict[str, str] = {}
        self.inches = chance.now_and_then(0.25)
        self.root = _root(chance, wanted)
        self.top: Own = {}
        self.folder = folder
        self.job: Any = None
        self.open = False
        self.box = (0.0, 0.0, 60.0, 30.0)
        self.frets, self.high, self.size = 1, 5.0, (10.0, 10.0)
        self.asked: tuple[float, float, str] = (1.0, 3.0, "flat-end")

    @property
    def long(self) -> float:
        return self.box[2] - self.box[0]

    @property
    def wide(self) -> float:
        return self.box[3] - self.box[1]

    def written(self) -> RandomJob:
        return RandomJob(_toml(self.tables, inches=self.inches, top=self.top), self.files)

    def readable(self, added: str = "") -> bool:
        """Whether the job can be read, with a table just added; what it comes to is what later keys go by."""
        try:
            job = pathgen.load_job(self.written().write(self.folder))
            if job.parts:
                return True
            if added in PLACED:
                clamping_of(job)
            part = part_of(job)
            if added in BESIDE:
                list(clampings_beside(job))
        except PathgenError as refused:
            self.refused = str(refused)
            return False
        self.job, self.box, self.high = job, part.outline.bounds, job.body.thickness
        self.frets = job.board.frets or len(job.board.ratios) if job.board else 0
        return True

    def trying(self, change: Callable[[], object], times: int = 3, *, added: str = "") -> bool:
        """A change, drawn again where the job cannot be read with it; undone where no draw will do."""
        for _ in range(times):
            kept = deepcopy((self.tables, self.files, self.top))
            with suppress(PathgenError):  # as where a zero is asked for that the part has not
                change()
                if self.readable(added):
                    return True
            self.tables, self.files, self.top = kept
        return False

    def add(self, name: str) -> None:
        """A table, or a few of one that is repeated."""
        counts = {"measured": (3, 4), "inlay": (1, 1, 1, 2), "hole": (1, 2), "ring": (1, 2)}
        many = range(self.chance.one(*counts.get(name, (1,))))
        made = _measured(self) if name == "measured" else [self.table(TABLES[name], head_of(name)) for _ in many]
        self.tables[name] = made if name in REPEATED else made[0]

    def table(self, kind: type, head: str) -> Own:
        """A table with what it requires, and each of its other keys by chance."""
        own: Own = {}
        for field in (one for one in fields(kind) if "doc" in one.metadata):
            required = field.default is MISSING and field.default_factory is MISSING
            row = f"{head} {field.name}"
            wanted = self.wanted == row or self.wanted.startswith(f"{row} ")
            if required or wanted or self.chance.now_and_then(
                    OFTEN.get(row, OFTEN.get(field.name, OPTIONAL))):
                value = self.value(head, field, own)
                if value is not None:
                    own[field.name] = value
        return own

    def value(self, head: str, field: Field[Any], own: Own) -> Any:
        """A value that a key may have, None where it makes no sense beside what `own` has already."""
        row, words, inner = f"{head} {field.name}", (reader := field.metadata["reader"]).words, reader.inner
        rule = rule_of(head, field)
        as_table = inner is not None and (rule is None or self.wanted.startswith(f"{row} ") or (
            not words.startswith(("table", "list")) and self.chance.now_and_then()))
        if inner is not None and as_table:
            made = self.table(inner, row)
            return [made] if words.startswith("list") else made
        return rule(self, own) if rule else _usual(self.chance, field)

    def cutter(self, low: float, high: float, shapes: tuple[str, ...]) -> str:
        """The name of a cutter of such a diameter, one that there is or a new one; of a shape that fits, now and then
        of any: the reader says whether it does."""
        shape = self.chance.one(*(SHAPES["any"] if self.chance.now_and_then(0.06) else shapes))
        there = [one["name"] for one in self.tables["cutter"] if one["shape"] == shape
                 and low <= one["diameter"] <= high]
        if there and self.chance.now_and_then(0.4):
            return str(self.chance.one(*there))
        self.asked = low, high, shape
        own = self.table(CutterTable, "[[cutter]]")
        own["name"] = f"{self.names}{len(self.tables['cutter']) + 1} {shape} {own['diameter']:g}"
        self.tables["cutter"].append(own)
        return str(own["name"])

    def of(self, name: str) -> Own:
        """The table of a cutter."""
        return next(one for one in self.tables["cutter"] if one["name"] == name)

def key_job(seed: int) -> RandomJob:
    """The job of a seed; of a seed that is no number of a key, counted on from the first again."""
    head, field = ROWS[seed % len(ROWS)]
    with tempfile.TemporaryDirectory() as scratch:
        return made(Chance(seed + 50_000_000), f"{head} {field.name}", Path(scratch)).written()


def made(chance: Chance, wanted: str, folder: Path, **given: Any) -> Making:
    """A job with a key that is wanted, if it can have it; it is read in a folder, now and then while it is made."""
    job = Making(chance, wanted, folder, **given)
    if job.root == "part":
        assert job.trying(lambda: _blank(job), 30), job.refused
        return job
    if not job.trying(lambda: _begin(job), 20):  # with that key there is no such part
        return made(chance, "", folder, **given)
    job.trying(lambda: _stock(job))
    first = _name(wanted)
    for name in TABLES:
        likely = 1.0 if name == first else LIKELY.get(name, RARE)
        if name not in job.tables and _may_stand(name, job.root, bool(job.names)) and chance.now_and_then(likely):
            job.trying(lambda name=name: job.add(name), 12 if name == first else 3, added=name)
    for _ in range(3):
        row = chance.one(*(row for row in ROWS if " " not in row[0] and job.tables.get(_name(row[0]))))
        job.trying(lambda row=row: _one_more(job, *row), 1, added=_name(row[0]))
    if wanted in _FIELDS and not _has(job.tables, wanted):
        row = next(row for row in ROWS if f"{row[0]} {row[1].name}" == wanted)
        job.trying(lambda: _one_more(job, *row), 12, added=_name(row[0]))
    if chance.now_and_then(0.5):
        job.trying(lambda: _bend(job), 2)
    job.trying(lambda: _order(job), 2)
    return job


def grown_job(seed: int, drawings: list[Path] | None = None) -> RandomJob:
    """The small board of a seed, or one time in four a plate, with the key whose turn it is and some keys and tables
    more."""
    chance = Chance(seed + 60_000_000)
    head, wanted = ROWS[seed % len(ROWS)]
    plate = _name(head) in OF_PLATES or (_name(head) not in OF_BOARDS and chance.now_and_then(0.25))
    sensible = next(job for job in (random_plate(n) if plate else random_job(n, small=True, drawings=drawings)
                                    for n in range(seed, seed + 10_000_000, 1_000_000))
                    if job.toml.startswith('units = "mm"') and "[form]" not in job.toml)
    with tempfile.TemporaryDirectory() as scratch:
        job = Making(chance, f"{head} {wanted.name}", Path(scratch))
        job.tables, job.files = tomllib.loads(sensible.toml), dict(sensible.drawings)
        job.root, job.inches = "plate" if plate else "board", chance.now_and_then(0.15)
        del job.tables["units"]
        if not job.readable():
            return sensible
        free = [name for name in TABLES if name not in job.tables and _may_stand(name, job.root, False)]
        asked = {_name(head), *chance.rng.permutation(free)[: chance.whole(0, 3)].tolist()}
        if "nut" in asked & set(free):
            job.tables["board"].setdefault("behind_nut", chance.length(6, 14))
        for name in (name for name in free if name in asked):
            first = [one for one in WITH.get(name, ()) if one in free]
            job.trying(lambda names=(*first, name): [job.add(one) for one in names], 12, added=name)
        for row in [(head, wanted), *(ROWS[n] for n in chance.rng.integers(0, len(ROWS), 40))]:
            if job.tables.get(_name(row[0])):
                job.trying(lambda row=row: _one_more(job, *row), 1, added=_name(row[0]))
        return job.written()


def rule_of(head: str, field: Field[Any]) -> Rule | None:
    """What gives the values of a key, where its reader does not say them all; KeyError for a key that has none."""
    inner = head.rpartition("] ")[2].rpartition(" ")[2]
    for name in (f"{head} {field.name}", f"{inner} {field.name}", field.name):
        if name in VALUES:
            return VALUES[name]
    words, table = (reader := field.metadata["reader"]).words, reader.inner
    if table is None and not (_words(words) or words in ("true or false", "colour", "list: colour")
                              or _number(field.default)):
        raise KeyError(f"tests/key_jobs.py has no values for {head} {field.name}")
    return None


def _root(chance: Chance, wanted: str) -> str:
    name = _name(wanted)
    if name in ROOTS:
        return name
    if name in OF_BOARDS or name == "channel" or wanted.startswith(("[outline] place", "[outline] artwork")):
        return "board"
    if name in OF_PLATES:
        return "plate"
    return str(chance.one("board", "board", "board", "plate", "plate", *(["form"] if name in OF_FORMS else []),
                          *(["part"] if name in OF_BLANKS else [])))


def _may_stand(name: str, root: str, shared: bool) -> bool:
    if name in (*ROOTS, "cutter") or (shared and name in (*NOT_SHARED, "setup", "machine")):
        return False
    return name not in OF_PLATES if root == "board" else name in OF_FORMS if root == "form" else name not in OF_BOARDS


def _begin(job: Making) -> None:
    """What no job does without, on a blank that holds any part."""
    job.tables = {"cutter": []}
    job.add(job.root)
    body = job.tables[job.root]
    if job.thick:
        body["thickness"] = round(job.thick - job.chance.length(0.3, 1.5), 2)
    proud = job.chance.length(0.2, 3.0) if body.get("face", True) and job.root != "form" else 0.0
    thick = job.thick or round(body.get("thickness", job.chance.length(3.0, 12.0)) + proud, 2)
    job.tables["stock"] = {"length": 600.0, "width": 400.0, "thickness": thick, "margin_nut": 100.0}
    job.high = body.get("thickness", thick)
    job.add("surface" if proud else "outline")


def _stock(job: Making) -> None:
    """A blank as large as is needed, and a little more."""
    chance, stock = job.chance, job.tables["stock"]
    beside = chance.length(10.0, 16.0)
    x0, y0, x1, y1 = job.box
    stock |= {"margin_nut": round(beside + max(0.0, -x0), 1), "width": round(2 * max(-y0, y1) + 2 * beside, 1)}
    stock["length"] = round(max(50.0, x1 + stock["margin_nut"] + chance.length(10.0, 16.0)), 1)


def _blank(job: Making) -> None:
    """Two small parts beside each other on one blank, each with a job of its own."""
    chance = job.chance
    thick, x, shares, wide = chance.length(3.0, 7.0), 5.0, [], 0.0
    for nth in (1, 2):
        wanted = "" if nth == 1 else f"[{chance.one('plate', 'board')}]"
        part = made(Chance(chance.whole(0, 10**9)), wanted or "[plate]", job.folder / f"{nth}", thick=thick,
                    names=f"{nth}-")
        own, turn = part.tables["stock"], chance.one(0, 90, 180, 270)
        long, across = (own["length"], own["width"]) if turn % 180 == 0 else (own["width"], own["length"])
        job.files |= {f"{nth}-{name}": text for name, text in part.files.items()}
        text = part.written().toml
        for name in part.files:
            text = text.replace(f'"{name}"', f'"{nth}-{name}"')
        job.files[f"part{nth}.toml"] = text
        shares.append({"job": f"part{nth}.toml", "at": [round(x + long / 2, 2), 0.0],
                       **({"turn": turn} if turn else {})})
        x, wide = x + long + 2.0, max(wide, across)
    job.tables = {"part": shares, "stock": {"length": round(x + 5.0, 1), "width": round(wide + 4.0, 1),
                                            "thickness": thick, "margin_nut": 0.0}}
    if chance.now_and_then():
        job.add("machine")
    if chance.now_and_then():
        job.tables["setup"] = {"zero": chance.one(*(one for one in PLACES if one.startswith("blank"))),
                               "along": chance.one("x", "y")}
    job.tables["cutter"] = []


def _one_more(job: Making, head: str, field: Field[Any]) -> None:
    """A key that a table of the job has not; of a key in a table within, that table anew."""
    own = job.tables.get(_name(head))
    own = job.chance.one(*own) if isinstance(own, list) and own else own
    if " " in head:
        outer, key = head.split(" ")[:2]
        head, field = next(row for row in ROWS if row[0] == outer and row[1].name == key)
    elif isinstance(own, dict) and field.name in own:
        return
    value = job.value(head, field, own) if isinstance(own, dict) else None
    if value is not None:
        own[field.name] = value


def _name(head: str) -> str:
    """Of the table that stands in a job file."""
    return head.strip("[").partition("]")[0]


def _has(tables: dict[str, Any], wanted: str) -> bool:
    head, _, keys = wanted.partition("] ")
    within = [tables.get(head.strip("[]"))]
    for key in keys.split():
        within = [one for each in within for one in (each if isinstance(each, list) else [each])]
        within = [one[key] for one in within if isinstance(one, dict) and key in one]
    return bool(within)


def numbers_in(tables: dict[str, Any]) -> Iterator[tuple[Own, Field[Any]]]:
    """Each table of a job, or table within one, with each key of it that holds one number."""
    def within(head: str, value: Any) -> Iterator[tuple[Own, Field[Any]]]:
        for own in value if isinstance(value, list) else [value]:
            if isinstance(own, dict):
                for key, one in own.items():
                    field = _FIELDS.get(f"{head} {key}")
                    if field is not None and isinstance(one, int | float) and not isinstance(one, bool):
                        yield own, field
                    yield from within(f"{head} {key}", one)

    for name, value in tables.items():
        yield from within(head_of(name) if name in TABLES else name, value)


_FIELDS = {f"{head} {field.name}": field for head, field in ROWS}


def _bend(job: Making) -> None:
    """A number somewhere in the job at one of its limits, or some way from what it was."""
    chance, numbers = job.chance, list(numbers_in(job.tables))
    own, field = chance.one(*numbers)
    old, (low, high) = own[field.name], _limits(field)
    options = [high] if field.name in SLOW else [low, low, high]
    new = chance.one(*options) if chance.now_and_then(0.4) else old * math.exp(chance.rng.normal(0.0, 0.6))
    new = min(max(new, 0.3 * old if field.name in SLOW else low), high)
    own[field.name] = round(new) if isinstance(old, int) else float(f"{new:.3g}")


def _order(job: Making) -> None:
    """Now and then another order that can be cut, and a title."""
    chance = job.chance
    if chance.now_and_then(0.1):
        job.top["title"] = chance.one("A", "Board (2), 50 % \"x\"".replace('"', "'"), "Brett für Öhrchen")
    if chance.now_and_then(0.1):
        job.top["order"] = chance.one(["surface", "slots", "inlays", "outline"], list(ORDER))


def _limits(field: Field[Any]) -> tuple[float, float]:
    """From what to what a number of a key may be."""
    found = re.match(r"(-?[\d.e+-]+) to (-?[\d.e+-]+)", field.metadata["reader"].limits)
    return (float(found[1]), float(found[2])) if found else (-math.inf, math.inf)


def _words(words: str) -> list[str]:
    return re.findall(r'"([^"]*)"', words)


def _number(default: Any) -> bool:
    return isinstance(default, int | float) and not isinstance(default, bool) and 0 < default < math.inf


def _usual(chance: Chance, field: Field[Any]) -> Any:
    """One of the words that a key takes, or a number about its default."""
    words = field.metadata["reader"].words
    if words == "true or false":
        return chance.one(True, False)
    if "colour" in words:
        colour = chance.one(*COLOURS, "#fff", "#102030")
        return [colour] if words.startswith("list") else colour
    if _words(words):
        return chance.one(*_words(words))
    low, high = _limits(field)
    drawn = min(max(field.default * chance.length(0.5, 2.0, 2), low), high)
    return round(drawn) if isinstance(field.default, int) else float(f"{drawn:.3g}")


def length(low: float, high: float, digits: int = 1) -> Rule:
    return lambda job, own: job.chance.length(low, high, digits)


def whole(low: int, high: int) -> Rule:
    return lambda job, own: job.chance.whole(low, high)


def one(*options: Any) -> Rule:
    return lambda job, own: job.chance.one(*options)


def never(job: Making, own: Own) -> None:
    """For a key that stands only beside what `Making` itself gives it, or that is an older name."""


SHAPES = {"ball": ("ball-end",), "flat": ("flat-end",), "v": ("v",), "rough": ("flat-end", "ball-end"),
          "any": tuple(_words(_FIELDS["[[cutter]] shape"].metadata["reader"].words))}
"""The shapes that steps are mostly drawn with."""


def cutter(low: float, high: float, shapes: str = "any") -> Rule:
    return lambda job, own: job.cutter(low, high, SHAPES[shapes])


def cutters(low: float, high: float) -> Rule:
    """One to three, the largest first and a v last."""
    def rule(job: Making, own: Own) -> list[str]:
        most = min(high, own["outer"] - own["inner"]) if "outer" in own else min(high, own.get("diameter", high))
        names = {job.cutter(min(low, most), most, SHAPES["any"]) for _ in range(job.chance.one(0, 1, 1, 2))}
        names |= {job.cutter(min(low, most), min(2 * low, most), SHAPES["any"])}
        return sorted(names, key=lambda name: (job.of(name)["shape"] == "v", -job.of(name)["diameter"]))

    return rule


def _finish(job: Making, own: Own) -> str:
    flat = job.tables.get("board", {"radius": "flat"})["radius"] == "flat"
    return job.cutter(3.0, 12.7, SHAPES["rough"] if flat else SHAPES["ball"])


def _artwork(job: Making, own: Own) -> str:
    """A drawing that fits the part."""
    chance, name = job.chance, f"a{len(job.files)}.svg"
    wide, high = max(6.0, min(0.6 * job.long, 30.0)), max(5.0, min(0.6 * job.wide, 16.0))
    if chance.now_and_then(0.4):
        job.files[name], job.size = _two_colours(chance, round(high, 1), round(wide, 1)), (wide, high)
    else:
        job.files[name], job.size = _drawing(chance, (0.0, wide, high / 2))
    return name


def _layers(job: Making, own: Own) -> list[str]:
    """The drawing in a layer, and one beside it that is not cut, with words."""
    name, others = own["artwork"], '<g id="guides"><text x="1" y="3">5</text><path d="M0 1H9" stroke="#ff0000"/></g>'
    head, rest = job.files[name].split(">", 1)
    job.files[name] = f'{head}>{others}<g id="motif">{rest.removesuffix("</svg>")}</g></svg>'
    return ["motif"]


def _way(way: str, value: Rule) -> Rule:
    """One of the ways to say where a drawing goes."""
    def rule(job: Making, own: Own) -> Any:
        if {"at", "between", "at_frets"} & set(own):
            return None
        if job.root != "board" or job.wanted.endswith((" at", " between", " at_frets")):
            return value(job, own) if (way == "at" and job.root != "board") or job.wanted.endswith(f" {way}") else None
        return value(job, own) if way == "at_frets" or job.chance.now_and_then(0.7) else None

    return rule


def _at(job: Making, own: Own) -> list[float]:
    x0, y0, x1, y1 = job.box
    off, aside = job.chance.one(0.0, 0.0, 0.1, -0.15), job.chance.one(0.0, 0.0, 0.1)
    return [round((x0 + x1) / 2 + off * job.long, 1), round((y0 + y1) / 2 + aside * job.wide, 1)]


def _some_frets(job: Making, own: Own) -> list[int]:
    return sorted({job.chance.whole(1, max(1, job.frets)) for _ in range(2)})


def _two_frets(job: Making, own: Own) -> list[int] | None:
    first = job.chance.whole(0, max(0, job.frets - 1))
    return [first, job.chance.whole(first + 1, job.frets)] if job.frets > first else None


def _steps(job: Making, own: Own) -> list[list[float]]:
    return [[job.chance.length(-5, 5), job.chance.length(-3, 4)]]


def _keep_out(axis: str) -> Rule:
    """At one end of the blank, or along one of its sides."""
    def rule(job: Making, own: Own) -> list[float] | None:
        if ("x" in own and axis == "along") or ("y" in own and axis == "across"):
            return None
        older = {"along": "x", "across": "y"}
        if axis in older.values() and {"x": "along", "y": "across"}[axis] in own:
            return None
        if job.wanted.endswith(f"keep_out {older.get(axis)}"):  # the other name is to stand there
            return None
        stock, half = job.tables["stock"], job.tables["stock"]["width"] / 2
        if axis in ("along", "x"):
            return [round(-stock["margin_nut"] - 5.0, 1), round(-stock["margin_nut"] + job.chance.length(1, 4), 1)]
        return [round(-half, 1), round(job.chance.one(0.0, half), 1)]

    return rule


def _outline_art(job: Making, own: Own) -> str | None:
    if job.root != "board":
        return None
    job.files["outline.svg"] = _drawn_outline(job.chance, round(job.long, 1), round(job.wide, 1))
    own["place"] = {"at": [round((job.box[0] + job.box[2]) / 2, 2), 0.0], **job.chance.one(
        {}, {"rotate": 180}, {"mirror": True}, {"centre": "drawing"}, {"width": round(job.long, 1)})}
    return "outline.svg"


def _plate_art(job: Making, own: Own) -> str | None:
    """A drawn plate, with openings in another colour and a layer of its own; or a form's line."""
    if "length" in own:
        return None
    chance = job.chance
    long, wide, r = chance.length(40, 90, 0), chance.length(30, 60, 0), chance.length(2, 5)
    bay, hole = chance.length(0, 4), f'<circle cx="{0.75 * long}" cy="{wide / 2}" r="{r}" fill="{COLOURS[0]}"/>'
    body = (f'<g id="body"><path d="M0 {bay}Q{long / 2} {-bay} {long} {bay}V{wide - bay}Q{long / 2} {wide + bay} 0 '
            f'{wide - bay}Z" fill="{COLOURS[1]}"/></g><g id="cut">{hole}</g>')
    job.files["plate.svg"], job.size = _svg(long, wide, body), (long, wide)
    own["place"] = {"at": [round(long / 2, 2), 0.0]}
    return "plate.svg"


def _form_art(job: Making, own: Own) -> str:
    long, wide, chance = job.chance.length(60, 120, 0), job.chance.length(60, 100, 0), job.chance
    rise = chance.length(0, 0.15, 2) * wide
    closed = f'<ellipse cx="{long / 2}" cy="{wide / 2}" rx="{0.25 * long}" ry="{0.25 * wide}"/>'
    open_ = f'<path d="M-5 {wide / 2}H0Q{long / 2} {wide / 2 - rise} {long} {wide / 2}H{long + 5}V{wide + 5}H-5Z"/>'
    job.size, job.open = (long, wide), chance.now_and_then()
    job.files["line.svg"] = _svg(long, wide, f'<g id="line">{open_ if job.open else closed}</g>')
    own["place"] = {"at": [round(long / 2, 2), 0.0]}
    return "line.svg"


def _page(side: int) -> Rule:
    """As long or wide as the page: where a form's line runs out through its edge it must be."""
    return lambda job, own: job.size[side] if job.open or "length" in own else None


def _gap(job: Making, own: Own) -> float | None:
    return job.chance.length(1, 4) if own.get("cut") == "halves" or job.chance.now_and_then(0.2) else None


def _as_wide(job: Making, own: Own) -> float:
    """As the cutter that it is cut with, or wider."""
    return float(round(job.of(own["cutter"])["diameter"] * job.chance.one(1.0, 1 + job.chance.length(0, 0.9, 2)), 2))


def _holes_at(job: Making, own: Own) -> list[list[float]]:
    """On the centre-line, one at each end, where a channel finds its dowels too."""
    (x0, _, x1, _), stock = job.box, job.tables["stock"]
    end = stock["length"] - stock["margin_nut"]
    return [[round((x0 - stock["margin_nut"]) / 2, 1), 0.0], [round((x1 + end) / 2, 1), 0.0]]


def _hole_at(job: Making, own: Own) -> list[float]:
    x0, y0, x1, y1 = job.box
    return [round(x0 + job.chance.length(0.15, 0.85, 2) * (x1 - x0), 1),
            round(y0 + job.chance.length(0.15, 0.85, 2) * (y1 - y0), 1)]


def _marks_at(job: Making, own: Own) -> list[list[float]] | None:
    marks = clamping_of(job.job).feature(WitnessMarks)
    return None if marks is None else np.round(marks.places, 2).tolist()


def _marks_drilled(job: Making, own: Own) -> list[list[float]] | None:
    clamping = clamping_of(job.job)
    marks = clamping.feature(WitnessMarks)
    if marks is None or "at" in own:
        return None
    tops = job.job.stock.thickness + job.chance.rng.normal(0, 0.03, len(marks.places))
    return np.round(clamping.to_machine(np.column_stack([marks.places, tops])), 2).tolist()


def _places_measured(job: Making) -> Any:
    """Places of the work in the machine's own numbers: marks that there are, or corners of the blank."""
    clamping = clamping_of(job.job)
    marks = clamping.feature(WitnessMarks)
    x0, y0, x1, y1 = job.job.stock.bounds
    places = np.array([(x0, y0), (x1, y1), (x0, y1), (x1, y0)]) * 0.9 if marks is None else marks.places
    return marks, clamping.to_machine(np.column_stack([places, np.full(len(places), job.job.stock.thickness)]))


def _measured(job: Making) -> list[Own]:
    """Marks found after the work was clamped again, a little turned and moved."""
    chance = job.chance
    marks, places = _places_measured(job)
    turn, by = math.radians(chance.length(-0.3, 0.3, 2)), [chance.length(-2, 2, 2), chance.length(-2, 2, 2), 0.01]
    rotated = places @ np.array([[math.cos(turn), math.sin(turn), 0], [-math.sin(turn), math.cos(turn), 0], [0, 0, 1]])
    named = marks is None or chance.now_and_then()
    return [
        {**({"at": np.round(place, 3).tolist()} if named else {}), "found": np.round(found + by, 3).tolist()}
        for place, found in zip(places, rotated, strict=True)]


def _each_string(low: float, high: float, digits: int = 2) -> Rule:
    return lambda job, own: [job.chance.length(low, high, digits) for _ in own["gauges"]]


def _physics(job: Making, own: Own) -> None:
    """All four lists, or none."""
    for name, (low, high) in {"pitches": (60, 400), "mass": (0.3, 6), "core": (0.1, 0.2), "modulus": (2, 210)}.items():
        own[name] = _each_string(low, high)(job, own)


def _bevel(job: Making, own: Own) -> float | None:
    """With a v whose tip stays above the slot's bottom."""
    bevel, name = job.chance.length(0.05, 0.4, 2), job.cutter(2.0, 6.0, SHAPES["v"])
    half = own.get("width", job.of(own["cutter"])["diameter"]) / 2 + bevel
    if half > own["depth"] * math.tan(math.radians(job.of(name).get("angle", 0.0) / 2)):
        return None
    own["bevel_cutter"] = name
    return bevel


def _piece(job: Making, own: Own) -> Own | None:
    if job.wanted.startswith("[[inlay]] piece"):
        own["fill"] = "piece"
    if own.get("fill") != "piece":
        return None
    made = job.table(_FIELDS["[[inlay]] piece"].metadata["reader"].inner or object, "[[inlay]] piece")
    return made | {"thickness": round(own["depth"] + job.chance.length(0.1, 0.9) * own.get("overfill", 1.0), 2)}


def _frets_of(table: str) -> Rule:
    """Frets that the board has."""
    def rule(job: Making, own: Own) -> list[int]:
        low = 0 if table == "gauges" else 1
        return sorted({job.chance.whole(low, max(1, job.frets)) for _ in range(3)})

    return rule


def _count(job: Making, own: Own) -> int:
    own["pitch"] = round(own["diameter"] + job.chance.length(1, 8), 1)
    return job.chance.whole(2, 3)


VALUES: dict[str, Rule] = {
    "[board] scale_length": length(140, 260, 0), "[board] frets": whole(1, 5), "scale_length bass": length(230, 260, 0),
    "scale_length treble": length(220, 235, 0), "scale_length straight_fret": whole(0, 5),
    "[board] divisions": one(5, 17, 19, 24, 31), "edge_to_string": length(1.5, 4), "[board] nut_width": length(18, 34),
    "[board] ratios": lambda job, own: ["9/8", 1.25, "4/3", "3/2", "5/3", "15/8", 2][: job.chance.one(own["frets"], 7)],
    "[board] nut_offset": length(0.05, 0.6, 2), "[board] behind_nut": length(0, 14), "[board] strings": whole(1, 9),
    "[board] end_width": lambda job, own: round(own["nut_width"] + job.chance.length(-2, 8), 1),
    "[board] past_last_fret": length(2, 14), "end steps": _steps, "end rise": length(-3, 4),
    "end corner_radius": length(0.3, 4), "nut_end steps": _steps, "nut_end rise": length(-3, 4),
    "nut_end corner_radius": length(0.3, 4), "[board] thickness": length(3, 9), "[board] radius": lambda job, own: (
        job.chance.one("flat", job.chance.length(70, 400, 0))), "radius nut": length(70, 300, 0),
    "radius end": lambda job, own: job.chance.length(90, 500, 0),
    "radius bridge": lambda job, own: None if "end" in own else job.chance.length(150, 600, 0),
    "radius follow": lambda job, own: None if {"end", "bridge"} & set(own) else "strings",
    "partial_frets fret": whole(0, 4), "partial_frets across": lambda job, own: [-30.0, job.chance.length(-6, 6)],
    "relief depth": length(0.05, 0.4, 2), "relief fret": whole(1, 3),
    "relief to": lambda job, own: own["fret"] + job.chance.whole(1, 2),
    "fall_away drop": length(0.05, 0.5, 2), "fall_away fret": whole(1, 4), "[board] binding": length(0.5, 2),
    "[board] bound": lambda job, own: job.chance.one(True, False) if "binding" in own else None,
    "[board] side_dots": _frets_of("board"), "min_web": length(0.2, 1.2),
    "[plate] thickness": length(1.5, 8), "[plate] length": length(35, 90, 0),
    "[plate] width": lambda job, own: job.chance.length(25, 60, 0) if "length" in own else None,
    "[plate] corner_radius": lambda job, own: job.chance.length(0.5, 12) if "width" in own else None,
    "[plate] artwork": _plate_art, "[plate] artwork_layers": lambda job, own: (
        ["body", "cut"] if "artwork" in own else None), "[plate] place": never, "openings colours": one([COLOURS[0]]),
    "openings layers": one(["cut"]), "openings cutter": cutter(1, 3, "flat"), "through": length(0, 1.0, 2),
    "[form] artwork": _form_art, "[form] artwork_layers": one(["line"]), "[form] place": never, "[form] gap": _gap,
    "[form] colours": one(["#225577"]), "[form] length": _page(0), "[form] width": _page(1),
    "[form] wall": length(3, 12), "[form] layers": whole(1, 4), "[[part]] job": never, "[[part]] at": never,
    "[[part]] turn": never, "[[part]] drilled": never,
    "[stock] length": never, "[stock] width": never, "[stock] thickness": never,
    "[setup] zero": lambda job, own: job.chance.one(*(ZEROS if job.root == "board" else PLACES)),
    "keep_out along": _keep_out("along"), "keep_out across": _keep_out("across"), "keep_out x": _keep_out("x"),
    "keep_out y": _keep_out("y"), "keep_out height": lambda job, own: round(
        job.tables["stock"]["thickness"] + job.chance.length(-1, 12), 1),
    "[machine] rapid": length(2500, 9000, 0), "[machine] travel": one([600.0, 400.0, 80.0], [1200.0, 800.0, 120.0]),
    "[machine] spindle": one([0, 30000], [5000, 24000]),
    "[[cutter]] name": one(""), "[[cutter]] shape": lambda job, own: job.asked[2],
    "[[cutter]] diameter": lambda job, own: job.chance.length(3, 10) if job.asked[2] == "v" else job.chance.length(
        job.asked[0], job.asked[1], job.chance.one(1, 2)) or job.asked[1],
    "[[cutter]] angle": lambda job, own: job.chance.one(20, 30, 60, 90, 120, 140, 165) if own["shape"] == "v" else None,
    "[[cutter]] flute_length": lambda job, own: job.chance.length(12, 40) if own["diameter"] >= 1.5 else round(
        job.chance.length(3, 8) * own["diameter"] + 2.0, 1),
    "[[cutter]] speed": one(6000, 10000, 16000, 24000),
    "[[cutter]] feed": lambda job, own: round(min(2400.0, own["diameter"] * job.chance.length(150, 420))),
    "[[cutter]] plunge": lambda job, own: round(own["feed"] * job.chance.length(0.1, 1, 2)),
    "[[cutter]] stepdown": lambda job, own: round(min(4.0, own["diameter"] * job.chance.length(0.15, 0.7, 2)), 2),
    "[[cutter]] stepover": length(0.1, 0.9, 2), "[[cutter]] ramp": one(0.5, 2, 10, 20, 45),
    "[surface] finish": _finish, "[surface] rough": cutter(1.5, 8, "rough"), "[surface] scallop": length(0.02, 0.12, 3),
    "[surface] stepover": lambda job, own: None if "scallop" in own else job.chance.length(0.4, 1.6),
    "[surface] allowance": length(0, 0.6, 2), "[surface] leave": length(0.05, 0.3, 2),
    "[surface] leave_scallop": lambda job, own: round(own["leave"] * job.chance.length(0.2, 1, 2), 3) if (
        "leave" in own) else None,
    "artwork": _artwork, "[[inlay]] layers": _layers, "also layers": _layers,
    "[[inlay]] colours": one([COLOURS[0]], list(COLOURS)), "[[inlay]] depth": length(0.2, 2.2),
    "[[inlay]] cutters": cutters(0.5, 4), "[[inlay]] piece": _piece, "[[inlay]] wall": length(0.2, 1, 2),
    "[[inlay]] lap": length(0.1, 0.6, 2), "[[inlay]] background": one([COLOURS[1]], ["#ffffff"]),
    "place at": _way("at", _at), "place between": _way("between", _two_frets), "place along": lambda job, own: (
        job.chance.one("centre", "bass", "treble") if job.root == "board" else "centre"),
    "place at_frets": _way("at_frets", _some_frets), "place rotate": one(0, 90, 180, -33.0, 12.5),
    "place margin": lambda job, own: None if "at" in own else job.chance.length(0.2, 2),
    "place centre": lambda job, own: job.chance.one("page", "drawing") if "at" in own else "drawing",
    "place width": lambda job, own: None if {"between", "margin"} <= set(own) else (
        round(job.size[0] * job.chance.length(0.5, 1, 2), 1)),
    "place height": lambda job, own: None if "width" in own or {"between", "margin"} <= set(own) else (
        round(job.size[1] * job.chance.length(0.5, 1, 2), 1)),
    "resin mix": one([2, 1], [100, 45.5], {"resin": 2, "hardener": 1}, {"A": 100, "B": 30, "C": 2}),
    "resin density": length(0.9, 1.4, 2), "resin mix_by": one("volume", "mass"), "resin pour_depth": length(2, 10),
    "resin waste": length(0, 0.5, 2), "resin waste_least": length(0, 3), "resin least": length(1, 10),
    "resin measure": one(0.05, 0.1, 0.5, 1), "resin dam": length(0.5, 5),
    **{f"[resin] {name}": lambda job, own, name=name: VALUES[f"resin {name}"](job, own) for name in (
        "mix", "density", "mix_by", "pour_depth", "waste", "waste_least", "least", "measure", "dam")},
    "piece cutter": cutter(0.5, 2, "flat"), "piece thickness": one(1.0), "gap": length(0.02, 0.12, 2),
    "[dots] diameter": length(1.2, 6), "[dots] depth": length(0.3, 1.5), "[dots] cutters": cutters(0.5, 4),
    "[dots] frets": _frets_of("dots"), "[dots] apart": length(5, 12), "[dots] inset": length(3, 8),
    "[[ring]] at": _at, "[[ring]] inner": length(0, 5),
    "[[ring]] outer": lambda job, own: round(own["inner"] + job.chance.length(0.6, 3), 1),
    "[[ring]] depth": length(0.2, 2), "[[ring]] cutters": cutters(0.5, 3), "[[ring]] lap": length(0.1, 0.6, 2),
    "[resurface] skim": length(0, 0.2, 2), "[holes] cutter": cutter(2, 5, "flat"), "[holes] at": _holes_at,
    "[holes] diameter": lambda job, own: round(job.of(own["cutter"])["diameter"] * job.chance.length(1, 1.9, 2), 2),
    "[holes] depth": lambda job, own: None if "channel" in job.wanted else job.chance.length(1, 5),
    "[holes] through": length(0.5, 8), "[channel] cutter": cutter(1.5, 5, "flat"), "[channel] depth": length(0.5, 3),
    "[channel] along": lambda job, own: [round(job.box[0] + job.chance.length(2, 8), 1),
                                         round(job.box[2] - job.chance.length(2, 8), 1)],
    "[channel] across": length(-3, 3), "[channel] width": _as_wide,
    "[[hole]] cutter": cutter(0.8, 4, "flat"), "[[hole]] at": _hole_at, "[[hole]] diameter": lambda job, own: round(
        job.of(own["cutter"])["diameter"] * job.chance.one(1.0, job.chance.length(1, 3, 2)), 2),
    "[[hole]] length": lambda job, own: round(own["diameter"] + job.chance.length(0, 6), 1),
    "[[hole]] turn": lambda job, own: job.chance.length(-180, 180, 0) if "length" in own else None,
    "[[hole]] depth": length(0.3, 4), "[[hole]] pitch": never,
    "counterbore diameter": length(2, 9), "counterbore depth": length(0.3, 1.5), "[[hole]] count": _count,
    "[[hole]] angle": length(-180, 180, 0),
    "[nut] cutter": cutter(1, 3, "flat"), "[nut] width": lambda job, own: round(
        job.of(own["cutter"])["diameter"] + job.chance.length(0, 3, 2), 2), "[nut] depth": length(0.4, 3),
    "[nut] behind": length(0, 6), "[slots] cutter": cutter(0.3, 0.8, "flat"), "[slots] width": _as_wide,
    "[slots] depth": length(0.4, 3), "[slots] ends": lambda job, own: job.chance.one(
        "through", "binding", job.chance.length(0.3, 5)), "[slots] bevel": _bevel, "[slots] bevel_cutter": never,
    "[outline] cutter": cutter(0.8, 6, "flat"), "[outline] tabs": one(0, 1, 2, 2, 3, 4),
    "tabs": one(0, 2, 2), "[outline] tab_height": length(0.3, 2), "tab_height": length(0.2, 1.2),
    "[outline] skin": lambda job, own: None if own.get("tabs") else job.chance.length(0.1, 0.6, 2),
    "[outline] artwork": _outline_art, "[outline] artwork_layers": lambda job, own: (
        _layers(job, own) if "artwork" in own else None), "[outline] place": never,
    "[block] cutter": cutter(3, 12, "ball"), "[block] frets": _two_frets, "[block] width": length(20, 50),
    "[block] outline": cutter(2, 6, "flat"), "[block] scallop": length(0.03, 0.1, 2),
    "[gauges] cutter": cutter(1, 4, "flat"), "[gauges] frets": _frets_of("gauges"), "engraver": cutter(3, 6, "v"),
    "[side_dots] cutter": cutter(1, 2.5, "flat"), "[side_dots] diameter": _as_wide,
    "[coupon] thickness": length(3, 15), "[coupon] cutters": lambda job, own: [job.cutter(0.5, 6, SHAPES["flat"])],
    "[nut_blank] cutter": cutter(1, 3, "flat"), "[saddle_blank] cutter": cutter(1, 3, "flat"),
    "[nut_blank] thickness": length(2, 7), "[nut_blank] height": length(5, 12), "[saddle_blank] height": length(5, 12),
    "sizes frets": _two_frets, "[strings] gauges": lambda job, own: [
        job.chance.length(0.2, 1.2, 2) for _ in range(job.job.board.strings or 6)],
    "[strings] course": lambda job, own: {"strings": 2, "gap": job.chance.length(0.5, 2, 1)} if (
        len(own["gauges"]) in (4, 6, 8)) else None,
    "course strings": whole(2, 2), "course gap": length(0.5, 2, 1),
    "[strings] pitches": _physics, "[strings] mass": _physics, "[strings] core": _physics,
    "[strings] modulus": _physics,
    "[strings] clear": length(-0.5, 0.6, 2), "[strings] nut_height": length(1.5, 5),
    "[strings] nut_compensation": _each_string(0, 0.8), "[strings] saddle_compensation": _each_string(0.5, 4),
    "[neck] angle": length(-2, 6), "[neck] joint_fret": lambda job, own: job.chance.whole(1, max(1, job.frets)),
    "[neck] fret_height": length(0.5, 1.5), "[neck] action_12": length(1.5, 4), "[neck] action_nut": length(0, 1),
    "[neck] joint_height": length(-3, 3), "[neck] body_at_bridge": length(-3, 3), "[neck] saddle": length(5, 20),
    "[neck] saddle_range": one([6.0, 14.0], [0.0, 60.0]), "[neck] head_angle": length(0, 17),
    "[neck] tenon": length(0, 60), "[neck] blank": length(600, 900, 0),
    "[marks] cutter": cutter(1, 6), "[marks] at": _marks_at, "[marks] drilled": _marks_drilled,
    "[marks] depth": lambda job, own: min(job.chance.length(0.2, 1.5), job.of(own["cutter"])["stepdown"]),
    "[[measured]] at": never, "[[measured]] found": never,
    "[moved] limit": length(0.05, 0.5, 2), "[moved] accuracy": length(0.005, 0.05, 3),
    "[moved] board_limit": length(0.2, 2), "[moved] before": whole(1, 9),
}
"""What gives the values of a key, by its table and name, by the table within that it is of, or by its name alone."""
