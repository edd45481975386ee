"""Programs of earlier builds in a folder: whether they may be replaced, and what this build has otherwise."""

from __future__ import annotations

import json
import sys
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, TextIO

from pathgen.app.earlier_marks import MALFORMED, marks_to_keep
from pathgen.app.folders import read_folder, refuse_foreign, was_of, write_folder
from pathgen.app.same_cut import cut_alike
from pathgen.app.terminal import say
from pathgen.base.errors import PathgenError
from pathgen.base.files import read_text
from pathgen.base.limits import BUILT
from pathgen.base.plain import capital, in_runs, joined, one_line
from pathgen.job.job import Job
from pathgen.job.kinds import header_states, kind_of
from pathgen.programs.write import comment, wrapped
from pathgen.report.programs import number_in
from pathgen.verify.findings import Finding
from pathgen.verify.read import code_lines
from pathgen.work.clamping import Clamping, Step
from pathgen.work.moved import Moved


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
    kept = None if report is None else marks_to_keep(folder, job, report)
    return write_folder(folder, files, job=job.path, keep=kept)


def write_and_tell(
    folder: str, write: Callable[[], Sequence[Path]], *, shown: TextIO, let_in: Mapping[str, str]
) -> None:
    """Write a build by `write`, and tell how many files, and what its programs have otherwise than those before.

    `let_in` is as for `pieces_for_others`.
    """
    path = Path(folder)
    before = programs_of(path)
    count = len(write())
    now = programs_of(path)
    for line in [f"{count} files written to {one_line(folder)}", *compared(before, now)]:
        say(line, shown)
    for line in [*replaced(before, now, path), *pieces_for_others(before, now, let_in)]:
        say(f"warning: {line}", sys.stderr)


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
    except (PathgenError, OSError, ValueError, *MALFORMED):
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
