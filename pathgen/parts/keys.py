"""What a key of the job file may hold: readers that turn a TOML value into a checked one, or say what is wrong.

A table of the job file is a frozen dataclass; each field is made by one of the functions here and carries its
reader, its words for the maker and the values allowed. `read_table` does the rest, so a new key costs a line.
"""

from __future__ import annotations

import dataclasses
import difflib
import itertools
import math
import re
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import MISSING, dataclass
from functools import partial
from typing import Any, TypeVar

from pathgen.base.cutters import LONGEST_NAME
from pathgen.base.errors import JobError, Mistakes
from pathgen.base.units import LENGTH_PLACES, MM_PER, format_length, in_mm, parse_length

MEANT = "are meant, write"
"""In the remedy for a length that would be in order in the other unit."""
ALONG_ACROSS, XYZ = ("along", "across"), ("X", "Y", "Z")
"""The names of values that there is one of for each axis."""
_THIN = 5.0  # mm: sizes that are no larger, gauges of strings among them, are told in thousandths of an inch too
_FINE = 1.0  # mm: sizes that are no larger are often told in thousandths
_FINEST = 0.001  # mm: nobody measures less at a bench
_LONG = 1000.0  # mm: what is larger may be given in metres
_JUST_OVER = 1.5  # times the limit: too much by so little is no slip of a unit
_ALL_BUT_THE_SAME = 0.9  # likeness of two names of which one is the other's plural
PER_METRE = 1000
"""By which a feed in metres per minute is too small."""

Table = TypeVar("Table")


@dataclass(frozen=True)
class Place:
    """Where a value stands in the job file, the file's unit of length, and in which tables each key is known."""

    where: str
    units: str
    homes: Mapping[str, Sequence[str]] = dataclasses.field(default_factory=dict)
    tables: Collection[str] = ()
    """Those that the file has."""

    def inside(self, key: str) -> Place:
        """The place of a key within this one."""
        return self.at(f"{self.where} {key}")

    def at(self, where: str) -> Place:
        """Another place of the same file."""
        return dataclasses.replace(self, where=where)

    def refuse(self, problem: str, *, allowed: str = "", remedy: str = "") -> JobError:
        """The error for a value that stands here."""
        return JobError(self.where, problem, allowed=allowed, remedy=remedy)


@dataclass(frozen=True, eq=False)
class Reader:
    """Turns a value of the file that stands at a place into a checked one, or raises JobError."""

    read: Callable[[Any, Place], Any]
    words: str
    """What its key holds."""
    inner: type[Any] | None = None
    """The table that may stand there."""
    limits: str = ""
    """From what to what the values may be, in a few words; empty where there are none."""

    def __call__(self, value: Any, place: Place) -> Any:
        return self.read(value, place)


def holding(words: str, inner: type[Any] | None = None, *, limits: str = "") -> Callable[[Callable[..., Any]], Reader]:
    """The reader whose key holds that, from a function of value and place."""
    return partial(Reader, words=words, inner=inner, limits=limits)


def key(reader: Reader, doc: str, default: Any = MISSING, *, inch: float | None = None, shown: str = "") -> Any:
    """A field of a table: its reader, one line of words for the maker, and the default when it has one.

    `inch` is the default of a job in inches, in inches, where the same in mm would be an odd size. `shown` is how the
    default is written in the list of keys, where its own text would not say enough.
    """
    words = {"reader": reader, "doc": doc, "shown": shown, "inch": inch}
    if default is MISSING:
        return dataclasses.field(metadata=words)
    if callable(default):
        return dataclasses.field(metadata=words, default_factory=default)
    return dataclasses.field(metadata=words, default=default)


def keys_within(head: str, table: type[Any]) -> Iterator[tuple[str, dataclasses.Field[Any]]]:
    """Each key of a table with the table's name, then those of the tables that may stand in it."""
    known = [field for field in dataclasses.fields(table) if "doc" in field.metadata]
    yield from ((head, field) for field in known)
    for field in known:
        if (inner := field.metadata["reader"].inner) is not None:
            yield from keys_within(f"{head} {field.name}", inner)


def read_table(table: type[Table], data: Any, place: Place) -> Table:
    """The table's dataclass from a TOML table; unknown, missing and bad keys raise JobError, all at once."""
    if not isinstance(data, Mapping):
        once = "write it once, its name in single brackets" if isinstance(data, list) else _as_table(table, data)
        raise place.refuse(f"{shown(data)} given", allowed="a table of keys and values", remedy=once)
    fields = {f.name: f for f in dataclasses.fields(table) if f.init}  # type: ignore[arg-type]
    unknown = [name for name in data if name not in fields]
    meant = [near for name in unknown if name not in place.homes for near in nearest(name, list(fields))]
    within = {name: data[name] for name in unknown if isinstance(data[name], Mapping) and {*data[name]} & {*fields}}
    meant += [one for inner in within.values() for one in inner]
    values, mistakes = {}, Mistakes()
    for name in unknown:
        with mistakes.caught():
            if name in (instead := getattr(table, "INSTEAD", {})):
                raise place.refuse(f"unknown key {shown(name)}", remedy=instead[name])
            if name in within:
                raise place.refuse(f"unknown table {shown(name)} in it", remedy=f"write its keys, "
                                   f"{', '.join(within[name])}, in {place.where} itself")
            raise unknown_key(name, list(fields), place)
    for name, field in fields.items():
        with mistakes.caught():
            if name in data:
                values[name] = field.metadata["reader"](data[name], place.inside(name))
            elif field.default is MISSING and field.default_factory is MISSING and name not in meant:
                raise place.refuse(f"{name} is missing", remedy=f"add {name}: {field.metadata['doc']}")
            elif place.units == "in" and field.metadata["inch"] is not None:
                values[name] = in_mm(field.metadata["inch"], "in")
    mistakes.refuse()
    return table(**values)


def _as_table(table: type[Table], value: Any) -> str:
    """How a length alone is written where a table must stand whose first key is one."""
    first, *others = dataclasses.fields(table)  # type: ignore[arg-type]
    if not _is_number(value) or first.metadata["reader"].words != "length":
        return ""
    more = [one.name for one in others if one.default is MISSING and one.default_factory is MISSING]
    return f"write {{ {first.name} = {value:g}{''.join(f', {name} = ..' for name in more)} }}"


def unknown_key(name: str, known: Sequence[str], place: Place) -> JobError:
    """The error for a key that is not known here: the tables where it is, or the nearest one that is known here."""
    near, homes = nearest(name, known), place.homes.get(name)
    remedy = f"did you mean {near[0]}?" if near else f"known here: {', '.join(known)}"
    if homes and not (near and difflib.SequenceMatcher(None, name, near[0]).ratio() > _ALL_BUT_THE_SAME):
        own = [home for home in homes if home.startswith(f"in {place.where.split()[0]} ")]
        remedy = f"{name} belongs {', or '.join(own[:1] or homes)}"
    return place.refuse(f"unknown key {shown(name)}", remedy=remedy)


def nearest(name: str, known: Sequence[str]) -> list[str]:
    """The one that is likely meant; empty where none is like it."""
    return difflib.get_close_matches(name, known, n=1, cutoff=0.5)


def number(low: float, high: float, *, whole: bool = False, unit: str = "") -> Reader:
    """A finite number from `low` to `high`."""

    limits = f"{low:g} to {high:g}{unit and ' ' + unit}"

    @holding("whole number" if whole else unit or "number", limits=limits)
    def read(value: Any, place: Place) -> float | int:
        allowed = f"{'a whole number' if whole else 'a number'} from {limits}"
        if not _is_number(value) or (whole and value != int(value)) or not low <= value <= high:
            text = re.fullmatch(r"([-+]?\d+(?:\.\d+)?)\s*(\w*)", value.strip()) if isinstance(value, str) else None
            bare = f"take the quotes away: {text[1]}" if text and unit.startswith(text[2]) else ""
            if unit == "rpm" and _is_number(value) and low <= 1000 * value <= high and value < low:
                bare = f"if thousands of turns per minute are meant, write {1000 * value:g}"
            if unit == "g/cm3" and _is_number(value) and low <= value / 1000 <= high:
                bare = f"if kg/m3 are meant, write {value / 1000:g}"
            raise place.refuse(f"{shown(value)} given", allowed=allowed, remedy=bare)
        return int(value) if whole else float(value)

    return read


def size(low: float, high: float, *, usual: tuple[float, float] | None = None, per: str = "") -> Reader:
    """A length in the job's units, or a text with its own unit; `low`, `high` and what is `usual` in mm, all of them
    `per` something. Gives mm."""

    @holding("length", limits=f"{low:g} to {high:g} mm")
    def read(value: Any, place: Place) -> float:
        mm = _length_mm(value, place)
        nearest = min(max(mm, low), high)
        if mm > 0.9 * nearest and abs(nearest - mm) <= 0.5 * MM_PER[place.units] * 10.0 ** -LENGTH_PLACES[place.units]:
            mm = nearest  # a limit may be given as it is shown, rounded
        if not low <= mm <= high:
            limits = " to ".join(_limit(one, place.units) for one in (low, high)) + per
            if low >= 0 and low <= -mm <= high:
                right = f": {-value:g}" if _is_number(value) else ""
                raise place.refuse(f"{shown(value)} given", allowed=limits,
                                   remedy=f"sizes and depths are written without a sign{right}")
            other = _if_meant(value, place.units, *(usual or (low, high)), per=per) if _is_number(value) else ""
            often = f"{_limit(usual[0], place.units)} to {_limit(usual[1], place.units)}{per} is usual" if usual else ""
            raise place.refuse(f"{shown(value)} given", allowed=limits, remedy="; ".join(filter(None, [other, often])))
        return mm

    return read


def _if_meant(value: float, units: str, low: float, high: float, *, per: str) -> str:
    """What to write where a number would be in order in another unit, or a small size in thousandths of its own."""
    others = [unit for unit, per in MM_PER.items() if unit != units and low <= value * per <= high]
    remedies = [f'if {unit}{per} {MEANT} "{value:g} {unit}"'
                f"{f', {format_length(value * MM_PER[unit], units)}' if len(others) > 1 else ''}" for unit in others]
    if units == "mm" and high >= _LONG and low <= value * 1000.0 <= high:
        remedies.insert(0, f"if m{per} {MEANT} {value * 1000.0:g}")
    if value * MM_PER[units] <= _JUST_OVER * high:
        return "; ".join(remedies)
    if high <= _FINE and max(low, _FINEST) <= value * MM_PER[units] / 1000.0 <= high:
        remedies.append(f"if thousandths of {'an inch' if units == 'in' else 'a mm'} {MEANT} {value / 1000.0:g}")
    mils = value / 1000.0 * MM_PER["in"]
    if not remedies and high <= _THIN and value >= 1.0 and low <= mils <= high:
        remedies.append(f'if thousandths of an inch {MEANT} "{value / 1000.0:g} in", {format_length(mils, units)}')
    return "; ".join(remedies)


def _limit(mm: float, units: str) -> str:
    """A limit in words, with as many places as show that it is not 0."""
    there = abs(mm) / MM_PER[units]
    places = LENGTH_PLACES[units]
    return format_length(mm, units, decimals=max(places, 1 - math.floor(math.log10(there))) if 0 < there < 0.1 ** places
                         else places)


def rate(low: float, high: float) -> Reader:
    """A feed in the job's units of length per minute, or a text like "800 mm/min"; gives mm per minute."""

    @holding("length per minute", limits=f"{low:g} to {high:g} mm")
    def read(value: Any, place: Place) -> float:
        per = MM_PER[place.units]
        length = re.sub(r"\s*(/ ?|per )min(ute)?$", "", value.strip()) if isinstance(value, str) else value
        try:
            mm = _length_mm(length, place)
        except JobError:
            if isinstance(value, str) and "," not in value:
                raise _no_feed(value, place) from None
            raise
        if not low <= mm <= high:
            allowed = f"{low / per:.4g} to {high / per:.6g} {place.units} per minute"
            meant = place.units == "in" and is_length(value) and not isinstance(value, str) and low <= value <= high
            metres = place.units == "mm" and 0 < mm < low <= mm * PER_METRE <= high
            remedy = (f'if mm {MEANT} "{value:g} mm/min"' if meant else
                      f'if metres per minute {MEANT} "{mm * PER_METRE:g} mm/min"' if metres else "")
            raise place.refuse(f"{shown(value)} given", allowed=allowed, remedy=remedy)
        return mm

    return read


_OTHER_FEED = re.compile(r"\s*(\d+(?:\.\d+)?)\s*(?:(mm|cm|in)\s*(?:/|per)\s*s(?:ec(?:ond)?)?|(m/min)|(ipm))\s*")
"""Ways of writing a feed that are not read."""


def _no_feed(words: str, place: Place) -> JobError:
    """The error for a text that is no feed: what it comes to per minute, where that can be told."""
    match, remedy = _OTHER_FEED.fullmatch(words), "write a number, or a text with its unit"
    if match:
        times, unit = (60.0, match[2]) if match[2] else (1000.0, "mm") if match[3] else (1.0, "in")
        remedy = f'write "{float(match[1]) * times:g} {unit}/min"'
    return place.refuse(f"{shown(words)} is no feed", remedy=remedy,
                        allowed=f'a number in {place.units} per minute, or a text like "1500 mm/min" or "60 in/min"')


def choice(*allowed: str) -> Reader:
    """One of a few words; one that is named twice is one."""
    allowed = tuple(dict.fromkeys(allowed))

    def quoted(words: Sequence[str]) -> str:
        return " or ".join(f'"{word}"' for word in words)

    @holding(quoted(allowed))
    def read(value: Any, place: Place) -> str:
        if value not in allowed:
            begun = [a for a in allowed if a.startswith(f"{value}-")]
            alike = partial(difflib.get_close_matches, str(value), allowed, n=1)
            head = f"{value}".rpartition("-")[0]  # of what is misspelt only after it, any may be meant
            sides = [a for a in allowed if head and a.rpartition("-")[0] == head]
            near = begun or alike(cutoff=0.8) or sides or alike(cutoff=0.5)
            raise place.refuse(f"{shown(value)} given", allowed=quoted(allowed),
                               remedy=f"did you mean {quoted(near)}?" if near else "")
        return str(value)

    return read


def text(longest: int = 200) -> Reader:
    """Words, not empty."""

    limits = f"1 to {longest} characters"

    @holding("text", limits=limits)
    def read(value: Any, place: Place) -> str:
        if not isinstance(value, str) or not value.strip() or len(value) > longest:
            raise place.refuse(f"{shown(value)} given", allowed=f"text of {limits} in quotes")
        return value

    return read


_BOOLS = dict.fromkeys(("true", "yes", "on"), "true") | dict.fromkeys(("false", "no", "off"), "false")


@holding("true or false")
def yes_or_no(value: Any, place: Place) -> bool:
    """true or false."""
    if not isinstance(value, bool):
        meant = _BOOLS.get(value.strip().lower(), "") if isinstance(value, str) else ""
        raise place.refuse(f"{shown(value)} given", allowed="true or false",
                           remedy=meant and f"write {meant}, without quotes")
    return value


def list_of(reader: Reader, *, least: int = 0, most: int = 1000, names: Sequence[str] = ()) -> Reader:
    """Several values of one kind, as a tuple; with `names` one for each of these."""
    least, most = (len(names), len(names)) if names else (least, most)
    many = f"{least}" if least == most else f"{least} to {most}"
    wanted = f"[{', '.join(names)}]" if names else f"a list of {many} values in [ ]"

    @holding(f"list: {reader.words}", reader.inner,
             limits=", each ".join(filter(None, (f"{many} values", reader.limits))))
    def read(value: Any, place: Place) -> tuple[Any, ...]:
        if not isinstance(value, list) or not least <= len(value) <= most:
            # a comma for a point leaves whole numbers on both its sides
            comma = isinstance(value, list) and len(value) > most and all(_is_number(v) and v == int(v) for v in value)
            raise place.refuse(f"{shown(value)} given", allowed=wanted,
                               remedy="write a decimal point where a comma stands for one" if comma else
                               "" if isinstance(value, list) or least > 1 else
                               "write []" if value in ("none", 0, False) and not least else "put [ ] round it")
        inside = names or map(str, itertools.count(1))
        found, mistakes = [], Mistakes()
        for item, name in zip(value, inside, strict=False):
            with mistakes.caught():
                found.append(reader(item, place.inside(name)))
        mistakes.refuse()
        return tuple(found)

    return read


def span(low: float, high: float, *, unit: str = "") -> Reader:
    """Two lengths, or numbers in a unit, the smaller first."""
    each = number(low, high, unit=unit) if unit else size(low, high)

    @holding(f"list: two {'numbers' if unit else 'lengths'}", limits=each.limits)
    def read(value: Any, place: Place) -> tuple[float, float]:
        pair = list_of(each, names=("from", "to"))(value, place)
        if pair[0] >= pair[1]:
            raise place.refuse(f"{shown(value)} given", allowed="[from, to] with from less than to")
        return pair[0], pair[1]

    return read


def table_of(kind: type[Any]) -> Reader:
    """A table within a table."""
    return holding("table", kind)(lambda value, place: read_table(kind, value, place))


def one_of(*readers: tuple[Callable[[Any], bool], Reader], allowed: str) -> Reader:
    """The first reader whose test the value passes: for keys that may be written in several ways."""

    @holding(" or ".join(reader.words for _, reader in readers),
             next((reader.inner for _, reader in readers if reader.inner), None),
             limits="".join(reader.limits for _, reader in readers))
    def read(value: Any, place: Place) -> Any:
        for fits, reader in readers:
            if fits(value):
                return reader(value, place)
        raise place.refuse(f"{shown(value)} given", allowed=allowed)

    return read


def is_length(value: Any) -> bool:
    """True for what `size` could read: a number, or a text with one in it."""
    if isinstance(value, str):
        return any(map(str.isdigit, value))
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _length_mm(value: Any, place: Place) -> float:
    if isinstance(value, str):
        try:
            return parse_length(value)
        except ValueError as wrong:
            remedy = "write a decimal point, not a comma" if "," in value else "write a number, or a text with its unit"
            raise place.refuse(str(wrong), remedy=remedy) from None
    if not _is_number(value):
        raise place.refuse(f"{shown(value)} given", allowed=f'a length in {place.units}, or a text like "1/4 in"')
    return in_mm(float(value), place.units)


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)


LEAST_POCKET = 0.05
"""Of inlays, mm."""
CUTTER, FILE = text(LONGEST_NAME), text(1000)
"""The name of a cutter, and of a drawing or job."""
CUTTERS = list_of(CUTTER, least=1, most=10)


def shown(value: Any) -> str:
    """A value as the maker wrote it, shortened."""
    words = _written(value)
    return words if len(words) <= 60 else words[:57] + "..."


def _written(value: Any) -> str:
    """A value of TOML as it stands in a file."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return f"[{', '.join(map(_written, value))}]"
    if isinstance(value, Mapping):
        return f"{{ {', '.join(f'{key} = {_written(one)}' for key, one in value.items())} }}"
    return f'"{value}"' if isinstance(value, str) else str(value)  # of a date or time: as TOML writes it, nearly
