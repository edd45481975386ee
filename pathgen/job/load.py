"""From a job file (TOML) to a `Job`, or to one error that says what is wrong with it."""

from __future__ import annotations

import hashlib
import json
import re
import tomllib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import replace
from pathlib import Path
from typing import Any

from pathgen.base import given
from pathgen.base.errors import JobError, Mistakes, PathgenError
from pathgen.base.files import read_bytes, read_text
from pathgen.base.limits import DRAWING, JOB_FILE, MOST_NESTED, MOST_PARTS
from pathgen.job.blank import check_blank
from pathgen.job.board_tables import dots_inlay
from pathgen.job.form import plate_of
from pathgen.job.inlay_tables import ResurfaceTable
from pathgen.job.job import ORDER, REPEATED, TABLES, Job, head_of
from pathgen.job.sense import check_sense
from pathgen.job.slips import slip_words
from pathgen.job.tables import ring_inlay
from pathgen.parts.fingerboard.stringing import BEHIND_ZERO_FRET, USUAL_CLEAR
from pathgen.parts.keys import MEANT, Place, choice, keys_within, list_of, nearest, read_table, shown, text, unknown_key

TOP_KEYS = {
    "title": ("the file's name", "what the programs and the report are headed with"),
    "units": ("mm", '"mm" or "in": the unit of every length without one of its own'),
    "order": ("surface, inlays, slots, outline", "the operations in the order they are cut: surface first, outline "
              "last, slots after inlays that are filled; the holes of a plate go where slots do"),
}
"""Keys outside any table: default and meaning."""
REQUIRED = ("stock",)
WITH_DEFAULTS = ("setup", "machine")

_DOTTED = re.compile(rf"""(?:(?:(?<![\w-])[\w-]++|"[^"\n]*"|'[^'\n]*')[ \t]*\.[ \t]*){{{MOST_NESTED + 1}}}""")
"""A key of more parts than tables may lie in one another."""
MANY = 4
"""Lengths in the other unit that are one mistake, of the unit."""


def load_job(path: str | Path) -> Job:
    """Read a job file.

    Raises JobError on anything wrong: a file that cannot be read, bad TOML, unknown or missing keys, values out of
    range, numbers that do not go together; the first of them, whose `others` were found with it.

    >>> import pathgen
    >>> job = pathgen.load_job("board.toml")         # what `pathgen new board` writes
    >>> job.title, job.units, job.board.frets
    ('board', 'mm', 20)
    """
    job, mistakes = read_job(given.path("load_job path", path))
    mistakes.refuse()
    return job


def read_job(path: Path) -> tuple[Job, Mistakes]:
    """A job whose tables can be read, and what does not go together in it.

    Raises JobError as `load_job` does where a table cannot be read, in the job of a part too.
    """
    data = _toml(path)
    place = Place(path.name, str(data.get("units", "mm")), _homes(data), data.keys())
    units = choice("mm", "in")(data.get("units", "mm"), place.inside("units"))
    job = _with_defaults(Job(units=units, units_stated="units" in data, path=path, **_values(data, place)))
    mistakes = Mistakes()
    if job.parts:
        job = replace(job, part_jobs=_part_jobs(job, mistakes))
        with mistakes.caught():
            if not mistakes:
                check_blank(job)
    else:
        with mistakes.caught():
            check_sense(job)
    if not mistakes:
        job = replace(job, fingerprint=_fingerprint(data, job))
    return job, mistakes


@contextmanager
def as_it_stands(path: Path) -> Iterator[tuple[Job, Mistakes]]:
    """A job for a question that asks less than a build, with its mistakes, to which more may be added: they are raised
    after the answer, or instead where there can be none."""
    job, mistakes = read_job(path)
    try:
        yield job, mistakes
    except Exception:  # what did not go together may have led to anything
        mistakes.refuse()
        raise
    mistakes.refuse()


def _values(data: Mapping[str, Any], place: Place) -> dict[str, Any]:
    """What stands in the file, by the fields of `Job`; raises JobError with everything that cannot be read."""
    values: dict[str, Any] = {}
    mistakes = Mistakes()
    unknown = [name for name in data if name not in (*TOP_KEYS, *TABLES)]
    if not any(isinstance(data[name], dict | list) and name not in place.homes for name in unknown):
        with mistakes.caught():  # a table that is missing may be one of those that are not known
            _one_part(data, place)
    for name in unknown:
        with mistakes.caught():
            near = nearest(name, list(TABLES))
            if near and near[0] in data and isinstance(data[name], dict) and name not in place.homes:
                raise place.at(f"[{name}]").refuse(
                    "unknown table", remedy=f"{head_of(near[0])} is there already: write its keys under that")
            raise unknown_key(name, [*TOP_KEYS, *TABLES], place)
    with mistakes.caught():
        values["title"] = text()(data.get("title", Path(place.where).stem), place.inside("title"))
    with mistakes.caught():
        values["order"] = list_of(choice(*ORDER))(data.get("order", list(ORDER)), place.inside("order"))
    for name in TABLES:
        if name in data or name in WITH_DEFAULTS or (name in REQUIRED and not mistakes):
            with mistakes.caught():
                values[REPEATED.get(name, name)] = _read(name, data, place)
    _refuse_units(mistakes, place)
    mistakes.refuse()
    return values


def _refuse_units(mistakes: Mistakes, place: Place) -> None:
    """Raise JobError for the unit of the file where many lengths would be in order in the other one."""
    other, words = ("in", "inches") if place.units == "mm" else ("mm", "millimetres")
    of_units = [one for one in mistakes if f"if {other} {MEANT}" in one.remedy]
    if len(of_units) < MANY:
        return
    wrong = place.inside("units").refuse(
        f'"{place.units}": {len(of_units)} lengths are too {"small for mm" if other == "in" else "large for inches"}, '
        f"the first that of {of_units[0].where}",
        allowed=f'"{other}" for a job in {words}', remedy=f'if all lengths are in {words}, write units = "{other}"')
    wrong.others = tuple(one for one in mistakes if one not in of_units)
    raise wrong


def _part_jobs(job: Job, mistakes: Mistakes) -> tuple[Job, ...]:
    """The jobs of the parts of a blank; what does not go together in one is gathered, and says in which."""
    if len(job.parts) > MOST_PARTS:
        raise JobError("[[part]]", f"{len(job.parts)} parts", allowed=f"{MOST_PARTS} or fewer",
                       remedy="share them out among several blanks")
    made = []
    for number, table in enumerate(job.parts, 1):
        path = job.path.parent / table.job
        try:
            if "part" in _toml(path):
                raise JobError(table.job, "is itself a job of several parts", allowed="the job of one part",
                               remedy="name that part's own file")
            part, found = read_job(path)
        except JobError as wrong:
            raise _of_part(number, wrong) from None
        made.append(part)
        for one in found:
            with mistakes.caught():
                raise _of_part(number, one)
    return tuple(made)


def _of_part(number: int, wrong: PathgenError) -> JobError:
    """The same, with the part that it is about."""
    said = JobError(f"[[part]] {number}, {wrong.where}", wrong.problem, allowed=wrong.allowed, remedy=wrong.remedy)
    said.others = tuple(_of_part(number, one) for one in wrong.others)
    return said


def drawings_named(path: Path, *, of_parts: bool = True) -> list[Path]:
    """The drawings that a job file names, there or not, and the jobs of its parts; none where it cannot be read."""
    data = _if_readable(path)
    parts = data.get("part")
    if isinstance(parts, list):
        own = [path.parent / one["job"] for one in parts if isinstance(one, dict) and isinstance(one.get("job"), str)
               and "\0" not in one["job"]]
        return [each for one in own for each in (one, *drawings_named(one, of_parts=False))] if of_parts else []
    inlays = _tables(data.get("inlay"))
    tables = [data.get("plate"), data.get("form"), data.get("outline"), *inlays,
              *(also for inlay in inlays for also in _tables(inlay.get("also")))]
    names = [table.get("artwork") for table in tables if isinstance(table, dict)]
    return [path.parent / name for name in dict.fromkeys(names) if isinstance(name, str) and "\0" not in name]


def _tables(value: Any) -> list[dict[str, Any]]:
    """The tables in a list, whatever else is in it."""
    return [one for one in value if isinstance(one, dict)] if isinstance(value, list) else []


def units_of(path: str | Path) -> str:
    """The units that a job file states, whatever else is wrong with it; mm where none can be read."""
    return "in" if _if_readable(Path(path)).get("units") == "in" else "mm"


def title_of(path: Path) -> str:
    """The title that a job file states, whatever else is wrong with it, or the file's name."""
    return str(_if_readable(path).get("title", path.stem))


def _if_readable(path: Path) -> dict[str, Any]:
    with suppress(JobError):
        return _toml(path)
    return {}


def _toml(path: Path) -> dict[str, Any]:
    words = read_text(path, JOB_FILE).replace("\r\n", "\n")
    if words.lstrip("\ufeff \t\n").startswith("<"):
        drawn = "<svg" in words and "<html" not in words
        goes = f', in which artwork = "{path.name}" goes into [[inlay]]' if drawn else ""
        raise JobError(path.name, f"is {'a drawing (SVG)' if drawn else 'a web page or other XML'}, not a job file",
                       allowed="a file of numbers (TOML) that names its drawings",
                       remedy=f"give the job that cuts it; `pathgen new NAME` writes one to start from{goes}")
    if _DOTTED.search(words):  # the parser would take the longer for each
        raise _too_deep(path)
    try:
        data = tomllib.loads(words)
    except RecursionError:
        raise _too_deep(path) from None
    except tomllib.TOMLDecodeError as wrong:
        where, problem, remedy = slip_words(words, str(wrong), REPEATED)
        raise JobError(f"{path.name}, {where}", problem, remedy=remedy) from None
    except ValueError:  # of thousands of digits
        raise _too_large(path) from None
    _refuse_odd(data, path)
    return data


def _refuse_odd(data: Any, path: Path) -> None:
    """No tables within tables without end, which what reads, shows or hashes them would follow down; and no whole
    numbers of more than 64 bits (TOML 1.0, Integer)."""
    within, depth = [data], 0
    while within:
        values = [v for one in within for v in (one.values() if isinstance(one, dict) else one)]
        if any(isinstance(v, int) and v.bit_length() > 63 for v in values):
            raise _too_large(path)
        within = [v for v in values if isinstance(v, (dict, list))]
        depth += 1
        if depth > MOST_NESTED:
            raise _too_deep(path)


def _too_deep(path: Path) -> JobError:
    return JobError(path.name, "lists or tables nested too deep", allowed=f"{MOST_NESTED} levels",
                    remedy="is it a job file?")


def _too_large(path: Path) -> JobError:
    return JobError(path.name, "holds a whole number of more than 64 bits", remedy="write a smaller number")


def _read(name: str, data: Mapping[str, Any], place: Place) -> Any:
    table = TABLES[name]
    if name in REPEATED:
        entries = data[name]
        if not isinstance(entries, list):
            raise place.refuse(f"[{name}] written once", remedy=f"write [[{name}]], one for each")
        read: list[Any] = []
        mistakes = Mistakes()
        for i, entry in enumerate(entries):
            with mistakes.caught():
                read.append(read_table(table, entry, place.at(f"[[{name}]] {_called(entry, i)}")))
        mistakes.refuse()
        return tuple(read)
    value = data.get(name, {})
    homes = [one for one in place.homes.get(name, ()) if one.endswith("]") and "own" not in one]
    if homes and not isinstance(value, Mapping | list):
        raise place.refuse(f"{name} = {shown(value)} stands outside that table", remedy=f"{name} belongs "
                           f"{', or '.join(homes)}: write it under that; [{name}] is a table of its own")
    if name in REQUIRED and name not in data:
        raise place.refuse(f"[{name}] is missing", remedy=f"add a [{name}] table")
    return read_table(table, value, place.at(f"[{name}]"))


def _homes(data: Mapping[str, Any]) -> Mapping[str, list[str]]:
    """Where each key may stand, in words: in which of the tables that this file has, or else in any."""
    homes: dict[str, list[tuple[str, str]]] = {}
    for name, table in TABLES.items():
        for head, key in keys_within(head_of(name), table):
            homes.setdefault(key.name, []).append((name, f"in {head}"))
    for name in TABLES:
        homes.setdefault(name, []).append((name, f"in a table of its own, {head_of(name)}"))
    for name in TOP_KEYS:
        homes.setdefault(name, []).append((name, "at the top of the file, before any table"))
    return {key: [words for name, words in known if name in data] or [words for _, words in known]
            for key, known in homes.items()}


def _one_part(data: Mapping[str, Any], place: Place) -> None:
    given = [name for name in ("board", "plate", "form", "part") if name in data]
    if not given:
        raise place.refuse("[board] is missing", remedy="add a [board] table, or [plate] for a flat part, or [form]")
    if len(given) > 1:
        raise place.refuse(f"{' and '.join(f'[{name}]' for name in given)} are both given", allowed="one of them",
                           remedy="write a job for each part")


def _called(entry: Any, index: int) -> str:
    """How an entry of a repeated table is named in messages: by its name, or counted from 1."""
    name = entry.get("name") if isinstance(entry, Mapping) else None
    return f'"{name}"' if isinstance(name, str) else str(index + 1)


def _with_defaults(job: Job) -> Job:
    """Dots are one more inlay, and so is each ring; a form is a plate; a fill brings [resurface] with its defaults;
    where the nut's slots end goes by the zero fret, and how high the strings lie there by them."""
    if job.form is not None:
        job = replace(job, plate=plate_of(job.form, job))
    if job.strings is not None and job.strings.clear is None:
        clear = BEHIND_ZERO_FRET if job.board and job.board.zero_fret else USUAL_CLEAR
        job = replace(job, strings=replace(job.strings, clear=clear))
    if job.neck is not None and job.neck.action_nut is None:
        high = max(job.strings.clear, 0.0) if job.strings else 0.0
        job = replace(job, neck=replace(job.neck, action_nut=high))
    if job.board is not None and job.board.strings is None:
        count = len(job.strings.gauges) if job.strings else 6
        job = replace(job, board=replace(job.board, strings=count))
    dots = [dots_inlay(job.dots)] if job.dots is not None else []
    job = replace(job, inlays=(*job.inlays, *dots, *map(ring_inlay, job.rings)))
    if job.resurface is None and any(inlay.fill != "none" for inlay in job.inlays):
        job = replace(job, resurface=read_table(ResurfaceTable, {}, Place("[resurface]", job.units)))
    return job


def _fingerprint(data: Mapping[str, Any], job: Job) -> str:
    digest = hashlib.sha256(json.dumps(data, sort_keys=True, default=str).encode())
    for table in (*(one for inlay in job.inlays for one in inlay.drawings), job.outline, job.plate, job.form):
        if table is not None and table.artwork:
            digest.update(read_bytes(job.path.parent / table.artwork, DRAWING).replace(b"\r\n", b"\n"))
    for part in job.part_jobs:
        digest.update(part.fingerprint.encode())
    return digest.hexdigest()[:16]
