"""A job as read: its tables, with every length in mm."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, is_dataclass
from pathlib import Path
from typing import Any, Literal, get_args, get_type_hints

from pathgen.base.cutters import Cutter
from pathgen.base.errors import JobError
from pathgen.base.feeds import ABOUT, usual_feed
from pathgen.base.markup import as_table
from pathgen.base.units import MM_PER
from pathgen.job import board_tables, inlay_tables
from pathgen.job import tables as common_tables
from pathgen.parts.fingerboard.dots import Dots
from pathgen.parts.fingerboard.fretting import FretWire
from pathgen.parts.fingerboard.neck import Neck
from pathgen.parts.fingerboard.stringing import Strings
from pathgen.parts.keys import PER_METRE

ORDER = ("surface", "inlays", "slots", "outline")
"""Operations in the order they are cut, unless the job says otherwise with `order`."""


def _each(table: str) -> Any:
    """The field of a table that is written ``[[table]]``, once for each."""
    return field(default=(), metadata={"table": table})


@dataclass(frozen=True, kw_only=True)
class Job:
    """A job file, read and checked; every length in mm. A table left out is None (or an empty tuple).

    A field of a dataclass is a table of the file, in the order in which they are read and listed.

    >>> import pathgen
    >>> job = pathgen.load_job("board.toml")         # what `pathgen new board` writes
    >>> job.board.thickness, job.slots.depth, [cutter.name for cutter in job.cutters]
    (6.5, 2.5, ['ball', 'flat', 'wide', 'slot'])
    """

    title: str
    units: Literal["mm", "in"]
    """Of the file; here all is in mm."""
    path: Path
    """The file; drawings are relative to it."""
    board: board_tables.BoardTable | None = None
    plate: common_tables.PlateTable | None = None
    form: common_tables.FormTable | None = None
    parts: tuple[common_tables.PartTable, ...] = _each("part")
    part_jobs: tuple[Job, ...] = field(default=(), repr=False)
    """Their own jobs, as read."""
    stock: common_tables.StockTable
    setup: common_tables.SetupTable
    machine: common_tables.MachineTable
    cutters: tuple[common_tables.CutterTable, ...] = _each("cutter")
    surface: common_tables.SurfaceTable | None = None
    inlays: tuple[inlay_tables.InlayTable, ...] = _each("inlay")
    dots: Dots | None = None
    rings: tuple[common_tables.RingTable, ...] = _each("ring")
    resurface: inlay_tables.ResurfaceTable | None = None
    holes: common_tables.HolesTable | None = None
    channel: common_tables.ChannelTable | None = None
    bores: tuple[common_tables.HoleTable, ...] = _each("hole")
    nut: common_tables.NutTable | None = None
    slots: common_tables.SlotsTable | None = None
    outline: common_tables.OutlineTable | None = None
    block: board_tables.BlockTable | None = None
    gauges: board_tables.GaugesTable | None = None
    side_dots: board_tables.SideDotsTable | None = None
    coupon: board_tables.CouponTable | None = None
    nut_blank: board_tables.NutBlankTable | None = None
    saddle_blank: board_tables.NutAndSaddleTable | None = None
    frets: FretWire | None = None
    strings: Strings | None = None
    neck: Neck | None = None
    resin: inlay_tables.ResinTable | None = None
    marks: common_tables.MarksTable | None = None
    measured: tuple[common_tables.MeasuredTable, ...] = _each("measured")
    moved: common_tables.MovedTable | None = None
    order: tuple[str, ...] = ORDER
    """The operations in the order they are cut."""
    units_stated: bool = field(default=True, repr=False)
    """Whether the file says its units, or has the default."""
    fingerprint: str = field(default="", repr=False)
    """16 hex digits that change with anything in the job or its drawings."""

    def __hash__(self) -> int:
        return hash(self.fingerprint)

    def _repr_html_(self) -> str:
        """Its tables, for notebooks: what each says, in mm."""
        said = [(f.name, value) for f in fields(self) if f.name not in ("title", "path", "fingerprint", "order")
                if is_dataclass(value := getattr(self, f.name)) or isinstance(value, tuple)]
        tables = [(name, one) for name, value in said for one in (value if isinstance(value, tuple) else (value,))]
        return as_table([("title", self.title), *((name, _words(one)) for name, one in tables)])

    @property
    def tables(self) -> tuple[str, ...]:
        """The names of the tables that it has, in the order of the list of keys."""
        return tuple(name for name in TABLES if getattr(self, REPEATED.get(name, name)))

    @property
    def body(self) -> board_tables.BoardTable | common_tables.PlateTable:
        """``[board]``, or what stands instead: ``[plate]``, ``[form]`` as a plate."""
        body = self.board or self.plate
        assert body is not None  # `load_job` refuses a job without
        return body

    @property
    def skim(self) -> float:
        """How far below the first surface the second cut goes, mm; 0 where there is none."""
        return self.resurface.skim if self.resurface else 0.0

    @property
    def body_name(self) -> str:
        """``[board]``, ``[plate]`` or ``[form]``."""
        return "[board]" if self.board is not None else "[form]" if self.form is not None else "[plate]"

    def cutter(self, name: str, where: str) -> Cutter:
        """The cutter of that name, complete; `where` is the key that names it. Raises JobError."""
        known = {c.name: c for c in self.cutters}
        if name not in known:
            near = difflib.get_close_matches(name, list(known), n=1, cutoff=0.6)
            there = f", or name one of {', '.join(quoted)}" if (quoted := [f'"{one}"' for one in known]) else ""
            raise JobError(where, f'no [[cutter]] is called "{name}"', remedy=f'did you mean "{near[0]}"?' if near else
                           f"add a [[cutter]] table with that name{there}")
        return _complete(known[name], self.units, self.machine.rapid)

    @property
    def complete_cutters(self) -> list[Cutter]:
        """Every cutter that has all its keys, in order. Raises JobError for one that makes no sense."""
        return [self.cutter(table.name, "") for table in self.cutters if not table.missing]


def _tables() -> dict[str, type]:
    """The class of each table, by the table's name."""
    hints = get_type_hints(Job)
    return {one.metadata.get("table", one.name): kind for one in fields(Job)
            for kind in (hints[one.name], *get_args(hints[one.name]))
            if isinstance(kind, type) and is_dataclass(kind) and kind is not Job}


TABLES: Mapping[str, type] = _tables()
"""What reads each table of a job file, by its name there, in the order of the list of keys."""

REPEATED: Mapping[str, str] = {one.metadata["table"]: one.name for one in fields(Job) if "table" in one.metadata}
"""Tables written ``[[name]]``, once for each, and what the job calls them all."""


def head_of(name: str) -> str:
    """How a table's name is written at its head."""
    return f"[[{name}]]" if name in REPEATED else f"[{name}]"


def _words(table: Any) -> str:
    """What a table says beyond its defaults."""
    values = {f.name: (getattr(table, f.name), f.default) for f in fields(table)}
    return ", ".join(f"{name} = {value}" for name, (value, default) in values.items() if value != default)


def _complete(table: common_tables.CutterTable, units: str, rapid: float) -> Cutter:
    where = f'[[cutter]] "{table.name}"'
    if table.missing:
        raise JobError(where, f"{table.missing[0]} is missing",
                       remedy=f"add {', '.join(table.missing)}: a step of the job uses this cutter")
    if (table.shape == "v") != (table.angle is not None):
        problem = "a v cutter without angle" if table.shape == "v" else f"angle given for a {table.shape} cutter"
        raise JobError(where, problem, remedy="give angle (included, in degrees) for v cutters and for no others")
    cutter = Cutter(**{f.name: getattr(table, f.name) for f in fields(common_tables.CutterTable)})
    if cutter.plunge > cutter.feed:
        (low, high), given = usual_feed(cutter), cutter.feed / MM_PER[units]
        slower = f"{cutter.feed:g} mm per minute, slower than plunge, {cutter.plunge:g} mm per minute"
        usual = f"{low:.0f} to {high:.0f} mm per minute is usual in hardwood"
        meant = [(given * 60.0, f"{units} per second")]
        meant = [(given * PER_METRE, "metres per minute"), *meant] if units == "mm" else meant
        for feed, unit in meant:
            if max(low / ABOUT, cutter.plunge) <= feed * MM_PER[units] <= min(high * ABOUT, rapid):
                raise JobError(f"{where} feed", slower, allowed=usual,
                               remedy=f"if {unit} are meant, write feed = {feed:g}")
        swap = "" if not low <= cutter.plunge <= min(high, rapid) else "if feed and plunge are changed over, write " \
            f"feed = {cutter.plunge / MM_PER[units]:g} and plunge = {given:g}; else "
        raise JobError(f"{where} feed", slower, allowed=f"plunge no faster than feed; {usual}",
                       remedy=f"{swap}make feed larger, or plunge smaller")
    return cutter
