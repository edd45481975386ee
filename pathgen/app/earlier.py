"""What the build before left in a folder, and what this one has otherwise: programs, and marks that are drilled."""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from pathgen.app.folders import read_folder, refuse_foreign, was_of, write_folder
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

_WORD = r"([XYZ])(-?[\d.]+)"
_ROUNDING = 3e-3  # mm or less, of places written in either unit

SAME = 0.2
"""Marks nearer than this are where they were, mm: written down as measured they lie a little off."""

MEASURED = 1.0
"""A mark written down further than this from where it was to be is likely a slip of the pen, mm."""


def marks_moved(folder: Path, job: Job, report: dict[str, Any]) -> list[str]:
    """That the marks lie elsewhere than in the build before in `folder`, and what pins them; nothing where they do not.

    A line for each part of a blank whose marks do, on the machine and in the wood, of the same job by its title, of a
    part as long or of a blank of the same size; where the title is another, the maker knows whether it was the same
    wood. Marks that the job says are drilled are where it says, but for a slip of the pen. `folder` is read as it is
    before this build is written there.
    """
    try:
        before = json.loads(read_text(folder / "report.json", BUILT))
        retitled = before["title"] != job.title
        if retitled and before["board"]["length"] != report["board"]["length"] and not _on_one_blank(before, report):
            return []  # another part's
        old = {name: marks for name, marks in _marks(before) if marks}
        lines = {name: drilled_line(marks, job.units) for name, marks in old.items()}
        places, in_wood = ({name: np.array(marks.get(key, marks["machine"]), dtype=float).reshape(-1, 2)
                            for name, marks in old.items()} for key in ("machine", "places"))
    except (PathgenError, OSError, ValueError, TypeError, KeyError, AttributeError, RecursionError):
        return []
    jobs = dict(parts_on_blank(job)) if job.parts else {"": job}
    build = f"the build before this one in {one_line(str(folder))}"
    theirs = "its marks are drilled already"
    if retitled:
        build += f' (of "{one_line(str(before["title"]))}")'
        theirs = f"that was this very blank and {theirs}"
    found = []
    for name, marks in _marks(report):
        table, whose = jobs[name].marks, f"{name}, " if name else ""
        if name not in old:
            continue
        now = np.array(marks["machine"]) if marks else np.empty((0, 2))
        same = now.shape == places[name].shape
        off = min(_furthest(now, places[name]), _furthest(np.array(marks.get("places", now)), in_wood[name])) \
            if same else np.inf
        if table is not None and table.drilled is not None:
            found += [f"{whose}[marks] drilled: {line}: see that it is what was measured"
                      for line in _drilled_elsewhere(now, places[name], build, job.units)]
        elif off > SAME:
            how = f"up to {format_length(off, job.units, decimals=2)} from where {build} had them" if same else \
                f"not those of {build}"
            found.append(f"{whose}[marks]: they are {how}. If {theirs}, write into [marks], with the Z that you "
                         f"measured, and build again: {lines[name]}")
    return found


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


def _on_one_blank(before: dict[str, Any], report: dict[str, Any]) -> bool:
    """Whether the blanks of two reports with marks are of one size."""
    was, now = ([marks["blank"] for _, marks in _marks(one) if marks] for one in (before, report))
    return bool(was) and was == now


def programs_of(folder: Path) -> dict[str, str]:
    """The texts of the programs in a folder by name; none where they cannot be read."""
    try:
        return read_folder(folder)
    except (PathgenError, OSError):
        return {}


def write_build(folder: Path, files: Mapping[str, str | bytes], job: Job) -> list[Path]:
    """Write the files of a build as `write_folder` does. Raises PathgenError where `refuse_others` does."""
    made = next((str(text) for name, text in files.items() if name.endswith(".nc")), "")
    refuse_others(folder, job, _job_and_kind(made)[1])
    return write_folder(folder, files, job=job.path)


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
    """Which programs of a folder are `now` not as they were `before` it was written to, by their numbers, in a line.

    Nothing where it held none of the same job. What stands in brackets, such as the time a program takes, is no
    difference.
    """
    if not before or set(map(_head, before.values())) != set(map(_head, now.values())):
        return []
    old, new = ({_number(name): _codes(text) for name, text in texts.items()} for texts in (before, now))
    same = [number for number in new if new[number] == old.get(number)]
    other = [number for number in new if number in old and number not in same]
    added, gone = [number for number in new if number not in old], len(old.keys() - new.keys())
    lines = [f"{_named(other)} {'differ' if other[1:] else 'differs'} from the build before"] if other else []
    if same:
        than = "" if other else " as in the build before"
        lines.append(f"{_named(same)} {'are' if same[1:] else 'is'} the same{than}")
    lines += [f"{_named(added)} {'are' if added[1:] else 'is'} new"] if added else []
    lines += [f"{gone} of before {'are' if gone > 1 else 'is'} gone"] if gone else []
    return [f"{capital('; '.join(lines))}."]


def cut_otherwise(
    before: Mapping[str, str], now: Mapping[str, str], let_in: Mapping[str, str], done: Sequence[str]
) -> list[str]:
    """That programs which have been run already, or that open pockets for pieces, cut otherwise than those `before`.

    `let_in` holds the name of the inlay for each program that opens pockets for pieces, `done` the programs that count
    as run. Feeds are no difference, nor where it is that all of a program is cut: with another zero it shifts.
    """
    if set(map(_head, before.values())) != set(map(_head, now.values())):
        return []
    old = {_number(file): text for file, text in before.items()}

    def changed(file: str) -> bool:
        return _number(file) in old and not _same_shape(old[_number(file)], now[file])

    cut = [_number(file) for file in done if changed(file)]
    if cut:
        which, were = _named(cut), ("count", "have") if cut[1:] else ("counts", "has")
        return [f"{which} {were[0]} as done and {were[1]} changed: what is in the wood is not what this build takes "
                "it for, nor do its later programs and pieces fit it. Put back what the job said when it was cut "
                "(drawings placed between slots grow when these become narrower: [slots] width holds them), or begin a "
                "new blank"]
    changed_pockets = dict.fromkeys(inlay for file, inlay in let_in.items() if changed(file))
    return [f"{inlay}: its pockets are cut otherwise than in the build before: pieces cut already may not go in; cut "
            "them again with pathgen pieces" for inlay in changed_pockets]


def _same_shape(old: str, new: str) -> bool:
    """Whether two programs cut the same but for a shift of all of it, and for feeds."""
    was, now = (_codes(text, r"[FS][\d.]+") for text in (old, new))
    if was == now:
        return True
    if [re.sub(_WORD, r"\1", line) for line in was] != [re.sub(_WORD, r"\1", line) for line in now]:
        return False
    for axis in "XYZ":
        first, second = (np.array([float(v) for a, v in re.findall(_WORD, "\n".join(lines)) if a == axis])
                         for lines in (was, now))
        if np.ptp(first - second) > _ROUNDING if len(first) else False:
            return False
    return True


def _number(file: str) -> str:
    """What a program is known by: its number, and the whole name of one that has none of its own."""
    number = file.split("-")[0]
    return str(int(number)) if number.isdigit() and int(number) else file


def _codes(text: str, but: str = r"$^") -> list[str]:
    """The lines of a program without what stands in brackets and without words like `but`."""
    return [line for line in re.sub(rf"\([^()\n]*\)|{but}", "", text).splitlines() if line.strip()]


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
