"""Witness marks as earlier builds in a folder had them: what is kept of them, and what lies elsewhere now."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from pathgen.app.folders import kept_in
from pathgen.base.arrays import Floats
from pathgen.base.errors import PathgenError
from pathgen.base.files import read_text
from pathgen.base.limits import BUILT
from pathgen.base.plain import one_line
from pathgen.base.units import format_length
from pathgen.job.blank import parts_on_blank
from pathgen.job.job import Job
from pathgen.report.filltext import drilled_line
from pathgen.verify.findings import Finding

_SAME = 0.2  # marks nearer than this are where they were, mm: written down as measured they lie a little off
_MEASURED = 1.0  # a mark written down further than this from where it was to be is likely a slip of the pen, mm
MARKS_ELSEWHERE = "marks-elsewhere"
_WHICH = "Of both lines the right one is that whose X and Y the display shows over the marks in the wood"
_KEPT = ("machine", "places", "z", "machine_top", "blank", "part")
MALFORMED = (TypeError, LookupError, AttributeError, RecursionError)
"""What is raised of a file that nobody here wrote."""


@dataclass(frozen=True, kw_only=True)
class _Earlier:
    """Where an earlier build in a folder had the marks of each part, by its name, and how it is called."""

    marks: dict[str, dict[str, Any]]
    build: str
    theirs: str
    """What must hold of it for the wood to be that one."""
    unless: str
    """How to hear no more of it."""


def marks_moved(folder: Path, job: Job, report: dict[str, Any]) -> list[Finding]:
    """Warnings that the marks lie elsewhere than earlier builds in `folder` had them, and what pins them.

    Those are the build before, and the first since the job last said where marks are drilled: what is told once is
    overlooked. One for each part of a blank whose marks do, on the machine and in the wood, of the same job by its
    title, of a part as long or of a blank of the same size; where the title is another, the maker knows whether it was
    the same wood. Marks that the job says are drilled are where it says, but for a slip of the pen. `folder` is read as
    it is before this build is written there.
    """
    earlier, drilled, found = _earlier(folder, job, report), _drilled(job), []
    for name, marks in _marks(report):
        said = [list(_elsewhere(name, marks, was, drilled=name in drilled, units=job.units))
                for was in earlier if name in was.marks]
        if all(said) if name in drilled else any(said[:1]):  # as the first had them, they are where they may be drilled
            found += [one for each in said for one in each]
            if name not in drilled and all(said[1:]) and said[1:]:
                found[-1] = replace(found[-1], remedy=f"{found[-1].remedy}. {_WHICH}")
    return found


def _drilled(job: Job) -> set[str]:
    """The parts whose marks are drilled, as the job says, by their names."""
    if job.parts:
        return {name for (name, _), table in zip(parts_on_blank(job), job.parts, strict=True) if table.drilled}
    return {""} if job.marks is not None and job.marks.drilled is not None else set()


def _elsewhere(
    name: str, marks: dict[str, Any] | None, was: _Earlier, *, drilled: bool, units: str
) -> Iterator[Finding]:
    """How the marks of a part lie otherwise than an earlier build had them."""
    whose, old = f"{name}, " if name else "", was.marks[name]
    then, in_wood = (_places(old.get(key, old["machine"])) for key in ("machine", "places"))
    now = _places(marks["machine"] if marks else [])
    if drilled:
        for line in _drilled_elsewhere(now, then, was.build, units):
            yield Finding(code=MARKS_ELSEWHERE, severity="warn", where=f"{whose}{_home(marks)} drilled", got=line,
                          allowed="", remedy="see that it is what was measured")
        return
    there = np.array(marks.get("places", now)) if marks else now
    same = now.shape == then.shape
    off = min(np.abs(a - b).max(initial=0.0) for a, b in ((now, then), (there, in_wood))) if same else np.inf
    if off > _SAME:
        how = f"up to {format_length(off, units, decimals=2)} from where {was.build} had them" if same else \
            f"not those of {was.build}"
        yield Finding(code=MARKS_ELSEWHERE, severity="warn", where=f"{whose}[marks]", got=f"they are {how}", allowed="",
                      remedy=f"if {was.theirs}, write {drilled_line(old, units)} into {_home(marks or old)}, with "
                             f"the Z that you measured, and build again{was.unless}")


def _home(marks: dict[str, Any] | None) -> str:
    """The table that says where marks are drilled, by the report's key ``marks``."""
    return f"[[part]] {marks['part']}" if marks and "part" in marks else "[marks]"


def _earlier(folder: Path, job: Job, report: dict[str, Any]) -> list[_Earlier]:
    """The first build of this wood whose marks a folder keeps, if that is not the one before; and the one before."""
    first, before = _sound(kept_in(folder)), _before(folder)
    where = one_line(str(folder))
    again = f"; if none of them is, remove {where}, and this is not said again"
    named = [("build before this one", before, "")]
    named[:0] = [("first build", first, again)] if first and first["marks"] != before.get("marks") else []
    found = []
    for which, was, unless in named:
        if not _of_this_wood(was, job, report):
            continue
        build, theirs = f"the {which} in {where}", "its marks are drilled already"
        if was["title"] != job.title:
            build += f' (of "{one_line(str(was["title"]))}")'
            theirs = f"that was this very blank and {theirs}"
        found.append(_Earlier(marks=was["marks"], build=build, theirs=theirs, unless=unless))
    return found


def _of_this_wood(was: dict[str, Any], job: Job, report: dict[str, Any]) -> bool:
    """Whether what is known of an earlier build may be of the wood that a report is of: not of another part's."""
    if not was or was["title"] == job.title:
        return bool(was)
    now = _where(report)
    blanks, same = ([own.get("blank") for own in one["marks"].values()] for one in (was, now))
    return was["length"] == now["length"] is not None or (bool(blanks) and blanks == same)


def _where(report: dict[str, Any]) -> dict[str, Any]:
    """Of a report where the marks are, and by what its wood is known."""
    marks = {name: {key: own[key] for key in _KEPT if key in own} for name, own in _marks(report) if own}
    return {"title": report.get("title"), "length": report.get("board", {}).get("length"), "marks": marks}


def _before(folder: Path) -> dict[str, Any]:
    """`_where` of the build before in a folder; nothing where it cannot be read."""
    try:
        return _sound(_where(json.loads(read_text(folder / "report.json", BUILT))))
    except (PathgenError, OSError, ValueError, *MALFORMED):
        return {}


def _sound(where: Any) -> dict[str, Any]:
    """What a folder keeps, where it is as it was written; nothing where it is not."""
    try:
        for own in where["marks"].values():
            drilled_line(own, "mm")
            for key in ("machine", "places"):
                _places(own.get(key, []))
        return {key: where[key] for key in ("title", "length", "marks")}
    except (ValueError, *MALFORMED):
        return {}


def marks_to_keep(folder: Path, job: Job, report: dict[str, Any]) -> dict[str, Any]:
    """Where the marks were first put in a wood, until the job says where they are drilled."""
    now, first, drilled = _where(report), _sound(kept_in(folder)) or _before(folder), _drilled(job)
    kept = {name: own for name, own in first["marks"].items() if name not in drilled} \
        if _of_this_wood(first, job, report) else {}
    return {**(first if kept else now), "marks": now["marks"] | kept}


def _places(rows: Any) -> Floats:
    return np.array(rows, dtype=float).reshape(-1, 2)


def _drilled_elsewhere(now: Floats, was: Floats, build: str, units: str) -> Iterator[str]:
    """What of (n, 2) places written down as drilled is not so in the build before, a line each. Nothing where most lie
    elsewhere, each its own way: then an earlier one drilled them."""
    if now.shape != was.shape:
        yield f"{len(now)} marks, and {len(was)} in {build}"
        return
    shift = now - was
    turned = (np.abs(np.abs(now) - np.abs(was)) < _MEASURED) & (np.abs(shift) > _MEASURED)
    off = np.where(turned.any(axis=1), 0.0, np.linalg.norm(shift, axis=1))
    for mark, axis in np.argwhere(turned).tolist():
        yield f"{'XY'[axis]} of mark {mark + 1} has not the sign that it has in {build}"
    far = np.flatnonzero(off > _MEASURED).tolist()
    if 2 * len(far) <= len(off):
        yield from (f"mark {k + 1} lies {format_length(float(off[k]), units, decimals=2)} from where {build} had it"
                    for k in far)
    elif np.ptp(shift, axis=0).max() < _MEASURED:
        alike = format_length(float(off.mean()), units, decimals=2)
        yield f"all marks lie {alike} the same way from where {build} had them, as where X 0 or Y 0 was another"


def _marks(report: dict[str, Any]) -> Iterator[tuple[str, Any]]:
    """(part, the report's key ``marks``) of each part of a blank; of a job of one part with no name."""
    if "parts" not in report:
        yield "", report["marks"]
    for part in report.get("parts", ()):
        yield part["name"], part["report"]["marks"]
