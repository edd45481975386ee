"""What earlier builds left in a folder, and what this one has otherwise: programs, and marks that are drilled."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from pathgen.app.folders import kept_in, read_folder, refuse_foreign, was_of, write_folder
from pathgen.app.same_cut import cut_alike
from pathgen.base.arrays import Floats
from pathgen.base.errors import PathgenError
from pathgen.base.files import read_text
from pathgen.base.limits import BUILT
from pathgen.base.plain import capital, in_runs, joined, one_line
from pathgen.base.units import format_length
from pathgen.job.blank import parts_on_blank
from pathgen.job.job import Job
from pathgen.job.kinds import header_states, kind_of
from pathgen.programs.write import comment, wrapped
from pathgen.report.filltext import drilled_line
from pathgen.report.programs import number_in
from pathgen.verify.findings import Finding
from pathgen.verify.read import code_lines
from pathgen.work.clamping import Clamping, Step
from pathgen.work.moved import Moved

SAME = 0.2
"""Marks nearer than this are where they were, mm: written down as measured they lie a little off."""

MEASURED = 1.0
"""A mark written down further than this from where it was to be is likely a slip of the pen, mm."""


MARKS_ELSEWHERE = "marks-elsewhere"

_WHICH = "Of both lines the right one is that whose X and Y the display shows over the marks in the wood"

_KEPT = ("machine", "places", "z", "machine_top", "blank", "part")
_MALFORMED = (TypeError, LookupError, AttributeError, RecursionError)  # of what nobody here wrote


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
    off = min(_furthest(now, then), _furthest(there, in_wood)) if same else np.inf
    if off > SAME:
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
    except (PathgenError, OSError, ValueError, *_MALFORMED):
        return {}


def _sound(where: Any) -> dict[str, Any]:
    """What a folder keeps, where it is as it was written; nothing where it is not."""
    try:
        for own in where["marks"].values():
            drilled_line(own, "mm")
            for key in ("machine", "places"):
                _places(own.get(key, []))
        return {key: where[key] for key in ("title", "length", "marks")}
    except (ValueError, *_MALFORMED):
        return {}


def _to_keep(folder: Path, job: Job, report: dict[str, Any]) -> dict[str, Any]:
    """Where the marks were first put in a wood, until the job says where they are drilled."""
    now, first, drilled = _where(report), _sound(kept_in(folder)) or _before(folder), _drilled(job)
    kept = {name: own for name, own in first["marks"].items() if name not in drilled} \
        if _of_this_wood(first, job, report) else {}
    return {**(first if kept else now), "marks": now["marks"] | kept}


def _places(rows: Any) -> Floats:
    return np.array(rows, dtype=float).reshape(-1, 2)


def _furthest(now: Floats, was: Floats) -> float:
    return float(np.abs(now - was).max(initial=0.0))


def _drilled_elsewhere(now: Floats, was: Floats, build: str, units: str) -> Iterator[str]:
    """What of (n, 2) places written down as drilled is not so in the build before, a line each.

    Nothing where most lie elsewhere, each its own way: then an earlier one drilled them.
    """
    if now.shape != was.shape:
        yield f"{len(now)} marks, and {len(was)} in {build}"
        return
    shift = now - was
    turned = (np.abs(np.abs(now) - np.abs(was)) < MEASURED) & (np.abs(shift) > MEASURED)
    off = np.where(turned.any(axis=1), 0.0, np.linalg.norm(shift, axis=1))
    for mark, axis in np.argwhere(turned).tolist():
        yield f"{'XY'[axis]} of mark {mark + 1} has not the sign that it has in {build}"
    far = np.flatnonzero(off > MEASURED).tolist()
    if 2 * len(far) <= len(off):
        yield from (f"mark {k + 1} lies {format_length(float(off[k]), units, decimals=2)} from where {build} had it"
                    for k in far)
    elif np.ptp(shift, axis=0).max() < MEASURED:
        alike = format_length(float(off.mean()), units, decimals=2)
        yield f"all marks lie {alike} the same way from where {build} had them, as where X 0 or Y 0 was another"


def programs_of(folder: Path) -> dict[str, str]:
    """The texts of the programs in a folder by name; none where they cannot be read."""
    try:
        return read_folder(folder)
    except (PathgenError, OSError):
        return {}


def write_build(
    folder: Path, files: Mapping[str, str | bytes], job: Job, report: dict[str, Any] | None = None
) -> list[Path]:
    """Write the files of a build as `write_folder` does; by its `report` it is kept where the marks are.

    Raises PathgenError where `refuse_others` does.
    """
    made = next((str(text) for name, text in files.items() if name.endswith(".nc")), "")
    refuse_others(folder, job, _job_and_kind(made)[1])
    return write_folder(folder, files, job=job.path, keep=None if report is None else _to_keep(folder, job, report))


def refuse_others(folder: Path, job: Job, command: str) -> None:
    """Raise PathgenError for a folder that what a command makes of a job may not replace.

    It holds what no build wrote, or programs of another job, by its title and its file, or of another kind.
    """
    refuse_foreign(folder)
    texts = programs_of(folder).values()
    if not texts:
        return
    title, kinds = _in_header(job.title), {_job_and_kind(text)[1] for text in texts}
    if command not in kinds or not (is_titled(folder, job.title) or was_of(folder, job.path)):
        head, count = Counter(map(_head, texts)).most_common(1)[0]
        raise PathgenError(
            one_line(str(folder)), f"holds {f'{count} programs' if count > 1 else 'the program'} of {head}",
            allowed=f"an empty folder, or an earlier build of {title}{'' if command == 'build' else f', {command}'}",
            remedy="name another folder with --out, or empty this one if those are of no use any more")


def is_titled(folder: Path, title: str) -> bool:
    """Whether a folder holds programs of a job with that title."""
    return _in_header(title).split(": ")[0] in {_job_and_kind(text)[0] for text in programs_of(folder).values()}


def _in_header(title: str) -> str:
    """A job's title as the header of its programs states it."""
    return header_states("\n".join(map(comment, wrapped([f"job: {title}"]))), "job")


def _job_and_kind(text: str) -> tuple[str, str]:
    """What a program's header names: its job's title, and the command that makes such programs."""
    return header_states(text, "job").split(": ")[0], kind_of(header_states(text, "part"))


def replaced(before: Mapping[str, str], now: Mapping[str, str], folder: Path) -> list[str]:
    """A line for each other job, or other part of it, that `folder` held programs of `before` it was written to."""
    still = set(map(_head, now.values()))
    return [f"replaced the {f'{count} programs' if count > 1 else 'program'} of {head} that stood in "
            f"{one_line(str(folder))}" for head, count in Counter(map(_head, before.values())).items()
            if head not in still]


def compared(before: Mapping[str, str], now: Mapping[str, str]) -> list[str]:
    """Which programs of a folder are `now` not as they were `before` it was written to, by their numbers, in a line;
    and which of these cut the same all the same.

    Nothing where it held none of the same job. What stands in brackets, such as the time a program takes, is no
    difference.
    """
    if not before or set(map(_head, before.values())) != set(map(_head, now.values())):
        return []
    old, new = ({_number(name): text for name, text in texts.items()} for texts in (before, now))
    same = [number for number in new if number in old and code_lines(new[number]) == code_lines(old[number])]
    other = [number for number in new if number in old and number not in same]
    alike = [number for number in other if cut_alike(old[number], new[number])]
    added, gone = [number for number in new if number not in old], len(old.keys() - new.keys())
    lines = [f"{_named(other)} {'differ' if other[1:] else 'differs'} from the build before"] if other else []
    if alike:  # what was run by the old one need not be run again
        lines[0] += f", {'but' if alike == other else _named(alike)} only in feeds, lifts or how moves are divided"
    if same:
        than = "" if other else " as in the build before"
        lines.append(f"{_named(same)} {'are' if same[1:] else 'is'} the same{than}")
    lines += [f"{_named(added)} {'are' if added[1:] else 'is'} new"] if added else []
    lines += [f"{gone} of before {'are' if gone > 1 else 'is'} gone"] if gone else []
    return [f"{capital('; '.join(lines))}."]


def pieces_for_others(before: Mapping[str, str], now: Mapping[str, str], let_in: Mapping[str, str]) -> list[str]:
    """A line for each inlay whose pockets are cut otherwise than those that a folder held `before`: feeds are no
    difference, nor where they are cut, as with another zero. `let_in` holds its name for each program that opens
    pockets for pieces."""
    if set(map(_head, before.values())) != set(map(_head, now.values())):
        return []
    old = {_number(file): text for file, text in before.items()}
    changed = dict.fromkeys(inlay for file, inlay in let_in.items() if _number(file) in old
                            and not cut_alike(old[_number(file)], now[file], shifted=True))
    return [f"{inlay}: its pockets are cut otherwise than in the build before: pieces cut already may not go in; cut "
            "them again with pathgen pieces" for inlay in changed]


def done_otherwise(
    folder: Path, now: Mapping[str, str], done: Mapping[str, tuple[Clamping, Step]]
) -> list[Finding]:
    """A warning of programs that count as `done` and cut something else in the wood `now` than those in `folder`."""
    before = programs_of(folder) if done else {}
    if not {_head(text) for text in now.values()} <= {_head(text) for text in before.values()}:
        return []
    old, moves = {_number(file): text for file, text in before.items()}, _moves_in(folder)
    cut = [number for file, (clamping, step) in done.items()
           if (number := _number(file)) in old and not _run_as_now(old[number], now[file], clamping, step,
                                                                   moves.get(number))]
    return [Finding(
        code="done-otherwise", severity="warn", where=_named(cut), allowed="",
        got=f"{'they count' if cut[1:] else 'it counts'} as done and {'have' if cut[1:] else 'has'} changed: what is "
            "in the wood is not what this build takes it for, nor do its later programs and pieces fit it",
        remedy="put back what the job said when it was cut (drawings placed between slots grow when these become "
               "narrower: [slots] width holds them), or begin a new blank")] if cut else []


def _moves_in(folder: Path) -> dict[str, Moved]:
    """How the work lay that programs of the build before in a folder were written for, where it had moved, by their
    numbers; nothing where that cannot be read."""
    try:
        whole = json.loads(read_text(folder / "report.json", BUILT))
        reports = [whole, *(part["report"] for part in whole.get("parts", ()))]
        return {_number(row["file"]): Moved(rotation=one["moved"]["rotation"], shift=one["moved"]["shift"],
                                            centre=one["moved"]["about"])
                for one in reports if one.get("moved") and one["moved"]["first_program"] is not None
                for row in one["programs"] if number_in(row) >= one["moved"]["first_program"]}
    except (PathgenError, OSError, ValueError, *_MALFORMED):
        return {}


def _run_as_now(old: str, new: str, clamping: Clamping, step: Step, moved: Moved | None) -> bool:
    """Whether a program of before cut in the wood what it now counts as having cut; it was written for work `moved`."""
    if moved is None and code_lines(old) == code_lines(new):
        return True
    then = replace(clamping, moved=moved, moved_from=0)
    return cut_alike(old, new, old_in_wood=lambda tips: then.to_board(tips, step), new_in_wood=clamping.to_board)


def _number(file: str) -> str:
    """What a program is known by: its number, and the whole name of one that has none of its own."""
    number = file.split("-")[0]
    return str(int(number)) if number.isdigit() and int(number) else file


def _named(programs: Sequence[str]) -> str:
    """Programs by their numbers, neighbours together: ``programs 1 to 3, 6 and 7``."""
    words = in_runs(sorted(int(one) for one in programs if one.isdigit()))
    words += [one for one in programs if not one.isdigit()]
    return f"program{'s' if programs[1:] else ''} {joined(words)}"


def _head(text: str) -> str:
    """The job that a program's header names, and its part where it states one; without what follows a job's title."""
    job, part = header_states(text, "job"), header_states(text, "part")
    return f"{job.split(': ')[0] if part else job}{f', {part}' if part else ''}" or "another maker"


def _marks(report: dict[str, Any]) -> Iterator[tuple[str, Any]]:
    """(part, the report's key ``marks``) of each part of a blank; of a job of one part with no name."""
    if "parts" not in report:
        yield "", report["marks"]
    for part in report.get("parts", ()):
        yield part["name"], part["report"]["marks"]
