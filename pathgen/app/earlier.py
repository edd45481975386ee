"""Programs of earlier builds in a folder: whether they may be replaced, and what this build has otherwise."""

from __future__ import annotations

import itertools
import json
import re
import sys
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from types import MappingProxyType
from typing import Any, TextIO

from pathgen.app.earlier_marks import MALFORMED, marks_to_keep
from pathgen.app.folders import read_folder, refuse_foreign, was_of, was_of_another, write_folder, written_in
from pathgen.app.terminal import say
from pathgen.app.two_builds import cut_alike, named, number_of, paired, renumbered
from pathgen.base.errors import PathgenError
from pathgen.base.files import read_text
from pathgen.base.limits import BUILT
from pathgen.base.plain import capital, joined, one_line
from pathgen.job.job import Job
from pathgen.job.kinds import header_states, kind_of
from pathgen.job.load import load_job, title_of
from pathgen.programs.write import comment, wrapped
from pathgen.verify.given_programs import acted_on
from pathgen.verify.read import code_lines


def programs_of(folder: Path) -> dict[str, str]:
    """The texts of the programs in a folder by name; none where they cannot be read."""
    try:
        return read_folder(folder)
    except (PathgenError, OSError):
        return {}


def write_build(
    folder: Path, files: Mapping[str, str | bytes], job: Job, report: dict[str, Any] | None = None, *,
    done: dict[str, Any] | None = None,
) -> list[Path]:
    """As `write_folder`; kept are the marks of its `report` and what was `done`. Raises as `refuse_others` does."""
    made = next((str(text) for name, text in files.items() if name.endswith(".nc")), "")
    refuse_others(folder, job, _job_and_kind(made)[1])
    kept = None if report is None else marks_to_keep(folder, job, report) | {"done": done}
    return write_folder(folder, files, job=job.path, keep=kept)


def write_and_tell(
    folder: str, write: Callable[[], Sequence[Path]], *, shown: TextIO,
    let_in: Mapping[str, str] = MappingProxyType({}), done: Mapping[str, Any] | None = None,
) -> None:
    """Write a build by `write`, and tell how many files, and what its programs have otherwise than those before.
    `let_in` is as for `pieces_for_others`, `done` as for `compared`."""
    path = Path(folder)
    before, title = programs_of(path), title_in(path)
    count = len(write())
    now = programs_of(path)
    for line in [f"{count} files written to {one_line(folder)}", *compared(before, now, done=done, title=title)]:
        say(line, shown)
    for line in pieces_for_others(before, now, let_in):
        say(f"warning: {line}", sys.stderr)


def refuse_others(folder: Path, job: Job, command: str) -> None:
    """Raise PathgenError for a folder that what a command makes of a job may not replace. It holds what no build wrote,
    or programs of another job, by its title and its file, or of another kind."""
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


def holds_job(folder: Path, job: Job, now: Mapping[str, str]) -> bool:
    """Whether a folder holds programs of a job, by its title or its file, of the kind that it has `now`."""
    kinds = {_job_and_kind(text)[1] for text in programs_of(folder).values()}
    return bool(kinds & {_job_and_kind(text)[1] for text in now.values()}) and (
        is_titled(folder, job.title) or was_of(folder, job.path))


def is_titled(folder: Path, title: str) -> bool:
    """Whether a folder holds programs of a job with that title, however letters and brackets of it stood in heads."""
    if title and title_in(folder) == title:
        return True
    return _in_header(title).split(": ")[0] in {_job_and_kind(text)[0] for text in programs_of(folder).values()}


def not_of_this_job(folder: Path, path: Path) -> Iterator[str]:
    """A line where the programs that a build wrote into a folder are not those of a job file as it is now. Changed by
    hand they still are, and what somebody else put there is no business of this."""
    written = written_in(folder)
    texts = [text for file, text in programs_of(folder).items() if file in written]
    if not texts:
        return
    try:
        mark = f"(job fingerprint: {load_job(path).fingerprint})"
        if all(mark in text for text in texts):
            return
    except PathgenError:
        pass
    another = was_of_another(folder, path) and not is_titled(folder, title_of(path))
    whose = "another job: do not cut them for this one" if another else \
        "an earlier build of this job: do not cut them for the job as it is now"
    yield f"The programs in {one_line(str(folder))} are of {whose}."


def _in_header(title: str) -> str:
    """A job's title as the header of its programs states it."""
    return header_states("\n".join(map(comment, wrapped([f"job: {title}"]))), "job")


def _job_and_kind(text: str) -> tuple[str, str]:
    """What a program's header names: its job's title, and the command that makes such programs."""
    return header_states(text, "job").split(": ")[0], kind_of(header_states(text, "part"))


def title_in(folder: Path) -> str:
    """The title of the job that a folder was built from, as it was written; nothing where that cannot be read."""
    try:
        return str(json.loads(read_text(folder / "report.json", BUILT))["title"])
    except (PathgenError, ValueError, *MALFORMED):
        return ""


def compared(
    before: Mapping[str, str], now: Mapping[str, str], *, done: Mapping[str, Any] | None = None, title: str = ""
) -> list[str]:
    """Which programs of a folder are `now` not as they were `before` it was written to, by their numbers, in a line;
    and which of these cut the same all the same, which have another number, and whose heads have the maker do
    otherwise. `done` is what the folder keeps of programs that count as run, by ``programs`` and ``as_cut``, `title` is
    that of the job before, if it is known better than by the heads of programs.

    Nothing where it held none and none is done. What stands in brackets, such as the time a program takes, is no
    difference.
    """
    if not before:
        return [] if done is None else [
            "No build was there before: only the folder that was cut from knows whether what is done is as it was cut, "
            "and where the marks were."]
    ran, as_cut = (done["programs"], done["as_cut"]) if done else ((), ())
    pairs, own = paired(before, now), {file: number_of(file) for file in now}
    same = [file for file, was in pairs.items()
            if now[file] == before[was] or code_lines(now[file]) == code_lines(before[was])]
    other, again, unlike = ([file for file in pairs if file not in same and which(file)] for which in (
        lambda file: file not in ran, lambda file: file in as_cut, lambda file: file in ran and file not in as_cut))
    alike = [file for file in other if cut_alike(before[pairs[file]], now[file])]
    added, gone = [file for file in now if file not in pairs], len(before) - len(pairs)
    titles = [dict.fromkeys(_job_and_kind(text)[0] for text in texts.values()) for texts in (before, now)]
    the = "the build before" + (
        f' (of "{one_line(title) or joined([*titles[0]])}")' if titles[0] != titles[1] else "")

    def of(files: Iterable[str]) -> str:
        return named([own[file] for file in files])

    lines = [f"{of(other)} {'differ' if other[1:] else 'differs'} from {the}"] if other else []
    if alike:  # what was run by the old one need not be run again
        lines[0] += f", {'but' if alike == other else of(alike)} only in feeds, lifts or how moves are divided"
    if same:
        lines.append(f"{of(same)} {'are' if same[1:] else 'is'} the same{'' if other else f' as in {the}'}")
    lines += [f"{of(again)}, done, {'are as they were' if again[1:] else 'is as it was'} cut"] if again else []
    lines += [f"{of(unlike)}, done, {'are' if unlike[1:] else 'is'} written otherwise than before"] if unlike else []
    lines += [f"{of(added)} {'are' if added[1:] else 'is'} new"] if added else []
    lines += [f"{gone} of before {'are' if gone > 1 else 'is'} gone"] if gone else []
    moved = {own[file]: number_of(pairs[file])
             for file in now if file in pairs and own[file] != number_of(pairs[file])}
    lines += [renumbered(moved)] if moved else []
    heads = _heads(before, now, {file: was for file, was in pairs.items()
                                 if file in (*same, *alike) and file not in ran})
    return [f"{capital('; '.join(lines))}.{heads}"] if lines else []


def _heads(before: Mapping[str, str], now: Mapping[str, str], pairs: Mapping[str, str]) -> str:
    """A sentence of those `pairs` of programs whose heads do not have the maker do the same."""
    changed = {number_of(file): keys for file, was in pairs.items() if (keys := [
        key for key, words in _to_do(now[file]).items() if words != _to_do(before[was])[key]])}
    keys = [*dict.fromkeys(itertools.chain(*changed.values()))]
    return (f" Read the head{'s' if len(changed) > 1 else ''} of {named([*changed])} again: {joined(keys)} "
            f"{'have' if keys[1:] else 'has'} changed.") if changed else ""


def _to_do(text: str) -> dict[str, str]:
    """What a program's head has the maker do, by what it is of; without the numbers of programs."""
    said = acted_on([line[1:-1] for line in text.split("\nG", 1)[0].splitlines() if line.startswith("(")])
    return {key: re.sub(r"(programs?) \d+", r"\1", words) for key, words in said.items()}


def pieces_for_others(before: Mapping[str, str], now: Mapping[str, str], let_in: Mapping[str, str]) -> list[str]:
    """A line for each inlay whose pockets are cut otherwise than those that a folder held `before`: feeds are no
    difference, nor where they are cut, as with another zero. `let_in` holds its name for each program that opens
    pockets for pieces."""
    pairs = paired(before, now) if let_in else {}
    changed = dict.fromkeys(inlay for file, inlay in let_in.items() if file in pairs
                            and not cut_alike(before[pairs[file]], now[file], shifted=True))
    return [f"{inlay}: its pockets are cut otherwise than in the build before: pieces cut already may not go in; cut "
            "them again with pathgen pieces" for inlay in changed]


def _head(text: str) -> str:
    """The job that a program's header names, and its part where it states one; without what follows a job's title."""
    job, part = header_states(text, "job"), header_states(text, "part")
    return f"{job.split(': ')[0] if part else job}{f', {part}' if part else ''}" or "another maker"
