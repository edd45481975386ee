"""Which cutters a job's steps name, and whether they can do what is asked of them."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from typing import Any

from pathgen.base.cutters import LIMITS
from pathgen.base.errors import JobError, all_of
from pathgen.base.feeds import likely_meant
from pathgen.base.plain import joined
from pathgen.base.units import MM_PER, format_length
from pathgen.job.form import parts_of
from pathgen.job.job import Job
from pathgen.job.tables import CutterTable

_NO_TANG = 3.0  # no slot for a fret is wider, mm

_STANDS_IN: dict[str, Any] = {"shape": "flat-end", "diameter": 0.2, "speed": 10_000.0,
                              "feed": LIMITS["feed"][1], "plunge": LIMITS["plunge"][0], "stepdown": 1.0}


def check_cutters(job: Job) -> None:
    """Raise JobError for cutters that are named and not there, of one name, incomplete, or of the wrong shape."""
    names = [c.name for c in job.cutters]
    for name in names:
        if names.count(name) > 1:
            raise JobError("[[cutter]]", f'two cutters are called "{name}"', remedy="give each its own name")
    named = _named_cutters(job)
    used = {name for _, name in named}
    complete = [one for one in job.cutters if one.name in used and not one.missing]
    all_of(*(partial(_named_cutter, job, where, name) for where, name in named),
           partial(_feeds, job, complete), partial(_speeds, job, complete))


def _feeds(job: Job, cutters: Sequence[CutterTable]) -> None:
    """Raise JobError for feeds above the rapids: of several the rapids are likelier wrong."""
    per, unit, rapid = MM_PER[job.units], f"{job.units} per minute", job.machine.rapid
    fast = {one.name: one.feed for one in cutters if one.feed is not None and one.feed > rapid + 1e-6}
    if len(fast) == 1:
        (name, feed), = fast.items()
        raise JobError(f'[[cutter]] "{name}"', f"feed {feed / per:g} {unit} is above the rapids",
                       allowed=f"[machine] rapid {rapid / per:g} {unit} or less",
                       remedy="; ".join(filter(None, (
                           likely_meant(job.cutter(name, f'[[cutter]] "{name}"'), job.units),
                           "no move is faster than a rapid: make feed smaller, or correct rapid"))))
    if fast:
        most = max(fast.values())
        meant = f"if {job.units} per second are meant, write rapid = {60 * rapid / per:g}; else "
        raise JobError("[machine] rapid", f"{rapid / per:g} {unit}, and these feeds are above the rapids: "
                       + ", ".join(f'"{name}" {feed / per:g}' for name, feed in fast.items()),
                       allowed=f"{most / per:g} {unit} or more, as no move is faster than a rapid",
                       remedy=f"{meant if most <= 60 * rapid else ''}correct rapid, or make these feeds smaller")


def _speeds(job: Job, cutters: Sequence[CutterTable]) -> None:
    """Raise JobError for speeds that the spindle has not: of several the spindle's are likelier wrong."""
    low, high = job.machine.spindle or (0.0, math.inf)
    fast = [one.name for one in cutters if one.feed is not None and one.feed > job.machine.rapid + 1e-6]
    told = fast if len(fast) == 1 and likely_meant(job.cutter(fast[0], ""), job.units) else []  # what to write for both
    off = {one.name: one.speed for one in cutters
           if one.speed is not None and one.name not in told and not low <= one.speed <= high}
    if len(off) == 1:
        (name, speed), = off.items()
        raise JobError(f'[[cutter]] "{name}"', f"speed {speed:g} rpm is not one of the spindle's",
                       allowed=f"[machine] spindle: {low:g} to {high:g} rpm",
                       remedy=f"write speed = {min(max(speed, low), high):g}, and its feed for it; or correct spindle")
    if off:
        meant = f"if turns per second (Hz) are meant, write spindle = [{60 * low:g}, {60 * high:g}]; else "
        fits = all(60 * low <= speed <= 60 * high for speed in off.values())
        raise JobError("[machine] spindle", f"{low:g} to {high:g} rpm, and these speeds are not within it: "
                       + ", ".join(f'"{name}" {speed:g}' for name, speed in off.items()),
                       allowed=f"{min(off.values()):g} to {max(off.values()):g} rpm within it",
                       remedy=f"{meant if fits else ''}correct spindle, or take other speeds, and feeds for them")


def _named_cutter(job: Job, where: str, name: str) -> None:
    cutter = job.cutter(name, where)
    if cutter.shape != (shape := _SHAPES.get(re.sub(r" \d+", "", where), cutter.shape)):
        widest = job.slots.width or _NO_TANG if job.slots and where == "[slots] cutter" else math.inf
        fit = [f'"{one.name}"' for one in job.complete_cutters if one.shape == shape and one.diameter <= widest]
        raise JobError(where, f'"{name}" is a {cutter.shape} cutter', allowed=f"a {shape} cutter",
                       remedy=f"name {joined(fit, 'or')}, if it fits" if fit else "add a [[cutter]] of that shape")
    if cutter.shape == "v" and where in ("[surface] finish", "[surface] rough"):
        roughs = where.endswith("rough")
        flat_too = " or a flat end" if roughs or not job.board else ""
        raise JobError(where, f'"{name}" is a v cutter',
                       allowed="a ball-end cutter, or a flat end" if roughs else finishers(job),
                       remedy=f"it leaves furrows: name a ball-end cutter{flat_too}")
    for table, slots in (("[slots]", job.slots), ("[nut]", job.nut)):
        if where == f"{table} cutter" and slots and slots.entry == "peck" and not cutter.plunges:
            raise JobError(f"{table} entry", f'"peck" goes straight down, and "{name}" cannot cut at its centre '
                           "(plunges = false)", allowed='"ramp"', remedy="leave entry out, or name another cutter")
    if where == "[slots] cutter" and job.slots and job.slots.width is None and cutter.diameter > _NO_TANG:
        wide, most = (format_length(one, job.units) for one in (cutter.diameter, _NO_TANG))
        raise JobError(where, f'"{name}" is {wide}, and without width the slots are as wide',
                       allowed=f"{most} or less: tangs of fret wire are 0.5 to 0.6 mm wide (common practice)",
                       remedy="name a thinner cutter, or write width if slots so wide are meant")


def finishers(job: Job) -> str:
    """What may finish a surface, in words."""
    return 'a ball-end cutter; a flat end where radius = "flat", without relief or fall_away' if job.board else \
        "a ball-end cutter, or a flat end"


_SHAPES = {"[block] cutter": "ball-end", "[slots] bevel_cutter": "v"} | dict.fromkeys([
    *(f"[{table}] cutter" for table in ("slots", "nut", "holes", "channel", "outline", "gauges", "side_dots",
                                        "nut_blank", "saddle_blank")),
    "[[hole]] cutter", "[plate] openings cutter", "inlay piece cutter", "[block] outline",
], "flat-end") | dict.fromkeys((f"[{table}] engraver" for table in ("gauges", "nut_blank", "saddle_blank")), "v")
"""What no other shape cuts, by keys without their numbers."""


def _of(job: Job, *tables: str, keys: tuple[str, ...] = ("cutter",)) -> list[tuple[str, str]]:
    """(key, name) of the cutters that some tables name."""
    return [(f"[{name}] {key}", named) for name in tables if (table := getattr(job, name)) for key in keys
            if (named := getattr(table, key))]


def part_cutters(job: Job) -> list[tuple[str, str]]:
    """(key, name) of every cutter that cuts the part itself."""
    named = _of(job, "surface", keys=("finish", "rough"))
    named += [(f"{inlay.written(i)} cutters", name) for i, inlay in enumerate(job.inlays, 1) for name in inlay.cutters]
    named += _of(job, "holes", "channel", "nut") + _of(job, "slots", keys=("cutter", "bevel_cutter"))
    named += [(f"[[hole]] {i} cutter", hole.cutter) for i, hole in enumerate(job.bores, 1)]
    named += [("[plate] openings cutter", job.plate.openings.cutter)] \
        if job.plate and job.plate.openings and not job.form else []  # a form's are its outline's
    return named + _of(job, "outline")


def _named_cutters(job: Job) -> list[tuple[str, str]]:
    """(key, name) of every cutter that a step uses."""
    named = part_cutters(job)
    named += [(f"inlay {i} piece cutter", inlay.piece.cutter) for i, inlay in enumerate(job.inlays, 1) if inlay.piece]
    named += _of(job, "side_dots") + _of(job, "block", keys=("cutter", "outline"))
    named += _of(job, "gauges", "nut_blank", "saddle_blank", keys=("cutter", "engraver"))
    named += [("[coupon] cutters", name) for name in job.coupon.cutters or ()] if job.coupon else []
    return named + _of(job, "marks")


def standing_in(job: Job) -> Job:
    """The same with a thin flat end for every cutter that is named and missing, or what is missing of one, so that it
    can be seen where all lies; the jobs of parts too."""
    names = dict.fromkeys(name for one in parts_of(job) for _, name in _named_cutters(one))
    known = {cutter.name: cutter for cutter in job.cutters}
    cutters = {name: known.get(name, CutterTable(name=name)) for name in (*known, *names)}
    return replace(job, part_jobs=tuple(map(standing_in, job.part_jobs)), cutters=tuple(
        replace(one, **{key: _STANDS_IN[key] for key in one.missing}) for one in cutters.values()))
