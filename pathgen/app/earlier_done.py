"""Programs that were run before the work moved, as earlier builds in a folder had them, beside what a build makes of
them: which of them would now be others, and whether ``[moved] before`` still names the program that it did."""

from __future__ import annotations

import base64
import json
import zlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from pathgen.app.earlier import holds_job, programs_of
from pathgen.app.earlier_marks import MALFORMED
from pathgen.app.folders import kept_in
from pathgen.app.left_in_wood import Ran, left_alike
from pathgen.app.two_builds import cut_alike, cuts, named, number_of, paired
from pathgen.base.errors import JobError, PathgenError
from pathgen.base.files import read_text
from pathgen.base.limits import BUILT, PROGRAM
from pathgen.base.plain import joined
from pathgen.job.job import Job
from pathgen.report.programs import number_in
from pathgen.verify.findings import Finding
from pathgen.verify.read import code_lines
from pathgen.work.clamping import Clamping, Step
from pathgen.work.moved import Moved
from pathgen.work.operations import WitnessMarks

_IN_WOOD = "what is in the wood is not what this build takes it for, nor do its later programs and pieces fit it"


@dataclass(frozen=True, eq=False, kw_only=True)
class Run:
    """A program of a build, and whether the job says that it was run before the work moved."""

    text: str
    clamping: Clamping
    step: Step
    done: bool

    @property
    def leaves_its_mark(self) -> bool:
        """Whether what it cuts is compared: not of what cuts nothing, nor of marks, which `marks_moved` compares."""
        return self.step.operation.spins and not isinstance(self.step.operation, WitnessMarks)


@dataclass(frozen=True, kw_only=True)
class _Cut:
    """A program as it was run, for work that lay so."""

    text: str
    """Empty: no build before had it."""
    moved: Moved | None = None


@dataclass(frozen=True, kw_only=True)
class _Then:
    """What stood in a folder, and what of it was run by then."""

    texts: dict[str, str]
    """Its programs, and those run that the job had no more."""
    before: int | None
    """What the job said as ``[moved] before``."""
    numbers: dict[str, int]
    """What `_otherwise_numbered` gave."""
    done: dict[str, _Cut]
    """Those that counted as run, as they were run."""
    left: dict[str, _Cut]
    """Those that did not, as they would have been."""
    since: dict[str, Moved]
    """Of those that counted as run how the work lay that they were written for once it had moved."""


_NOTHING = _Then(texts={}, before=None, numbers={}, done={}, left={}, since={})


def done_before(folder: Path, job: Job, runs: Mapping[str, Run]) -> tuple[list[Finding], dict[str, Any] | None]:
    """Warnings of programs that count as run and are not as they were run, and what a folder is to keep of that.

    What was run is as the build had it by which it first counted as run, until the job says that it was not, or that no
    work has moved. Raises JobError where ``[moved] before`` is the number that it was, and now that of another program.
    """
    if not any(run.done for run in runs.values()):
        return [], None
    texts = {file: run.text for file, run in runs.items()}
    then = _then(folder) if holds_job(folder, job, texts) else _NOTHING
    pairs, asked = paired(then.texts, texts), job.moved.before if job.moved else None
    numbers = {file: run.step.number for file, run in runs.items() if number_of(file).isdecimal()}
    if then.done and then.before == asked:
        _refuse_renumbered(then, pairs, numbers, {file for file, run in runs.items() if run.done})
    cut = {file: then.done.get(was) or then.left.get(was) or _Cut(text="") for file, run in runs.items()
           if run.done and run.leaves_its_mark for was in [pairs.get(file, "")]} if then.texts else {}
    changed = [file for file, was in cut.items() if was.text and not _run_as_now(was, runs[file])]
    otherwise = [] if _left_alike(changed, cut, runs) else changed
    never = [file for file, was in cut.items() if not was.text]
    gone = {file: was for file, was in then.done.items()
            if file not in pairs.values() and was.text and cuts(code_lines(was.text))}
    kept: dict[str, Any] = {file: None for file, run in runs.items() if run.done}
    kept |= {file: _packed(cut[file]) for file in changed + never}
    old, since = _otherwise_numbered(then, pairs, numbers, asked), _written_since(then, pairs, runs)
    return [*_findings(otherwise, never, [*gone]), *_renumbered(old, numbers, asked), *_raised(since, numbers)], {
        "before": asked, "programs": kept, "gone": {file: _packed(was) for file, was in gone.items()}, "numbers": old,
        "since": {file: _lies(moved) for file, moved in since.items()},
        "as_cut": [file for file in cut if file not in changed + never]}


def _written_since(then: _Then, pairs: Mapping[str, str], runs: Mapping[str, Run]) -> dict[str, Moved]:
    """How the work lay that programs were written for which count as run before it moved, where it still lies so."""
    moves = {was: cut.moved for was, cut in then.left.items() if cut.moved} | then.since
    return {file: moves[pairs[file]] for file, run in runs.items() if run.done and pairs.get(file) in moves
            and _lies_alike(moves[pairs[file]], run.clamping.moved)}


def _lies_alike(one: Moved, other: Moved | None) -> bool:
    """Whether two moves are one, as a report rounds it."""
    return other is not None and all(np.abs(getattr(one, key) - getattr(other, key)).max() <= off for key, off in (
        ("rotation", 1e-7), ("shift", 1e-3), ("centre", 2e-3)))


def _raised(since: Mapping[str, Moved], numbers: Mapping[str, int]) -> Iterator[Finding]:
    files = [file for file in since if file in numbers]
    if files:
        they, it, s = ("they were", "them", "") if files[1:] else ("it was", "it", "s")
        yield Finding(
            code="before-raised", severity="warn", where="[moved] before", allowed="",
            got=f"{named([number_of(file) for file in files])} count{s} as run before the work moved, and an earlier "
                f"build wrote {it} for the work as it lies now",
            remedy=f"if {they} run since it moved, write before = {min(numbers[file] for file in files)} and build "
                   "again: of programs run since nothing is to be written; if before that, build once without "
                   "[[measured]] and [moved], then with them, and this is not said again")


def _otherwise_numbered(
    then: _Then, pairs: Mapping[str, str], numbers: Mapping[str, int], asked: int | None
) -> dict[str, int]:
    """The numbers that programs had in the build before the work moved, where ``before``, if it was read off that,
    divides them otherwise now; nothing once ``before`` is another."""
    if asked is None or (then.done and then.before != asked):
        return {}
    had = then.numbers if then.done else {was: int(number_of(was)) for was in then.left if number_of(was).isdecimal()}
    return {file: had[was] for file, number in numbers.items()
            if (was := pairs.get(file)) in had and (number < asked) != (had[was] < asked)}


def _findings(changed: Sequence[str], never: Sequence[str], gone: Sequence[str]) -> Iterator[Finding]:
    def finding(files: Sequence[str], where: str, got: str, remedy: str) -> Finding:
        back = not all(number_of(file).isdecimal() for file in files)
        without = "[[measured]], [moved] and drilled" if back else "[[measured]] and [moved]"
        it = "they were" if files[1:] else "it was"
        return Finding(code="done-otherwise", severity="warn", where=where, allowed="", got=f"{got}: {_IN_WOOD}",
                       remedy=f"{remedy}, or begin a new blank; if {it} cut as the job says now, or the blank is "
                              f"another one, build once without {without}, then with them")

    if changed:
        they, have = ("they count", "have") if changed[1:] else ("it counts", "has")
        yield finding(changed, named([*map(number_of, changed)]), f"{they} as done and {have} changed",
                      "put back what the job said when it was cut (a cutter that is another since gets a table of its "
                      "own; drawings placed between slots grow when these become narrower: [slots] width holds them)")
    if never:
        they, it = ("they count", "them") if never[1:] else ("it counts", "it")
        yield finding(never, named([*map(number_of, never)]), f"{they} as done, and no build before had {it}",
                      f"take out of the job what brought {it} in")
    if gone:
        were, it = ("they were", "them") if gone[1:] else ("it was", "it")
        yield finding(gone, joined(gone), f"{were} done, and the job has {it} no more",
                      "put back what the job said when it was cut")


def _refuse_renumbered(then: _Then, pairs: Mapping[str, str], numbers: Mapping[str, int], done: set[str]) -> None:
    """Refuse a job whose ``[moved] before`` divides its programs otherwise than when it was written."""
    ran = {file: number for file, number in numbers.items() if pairs.get(file) in then.done}
    left = {file: number for file, number in numbers.items() if pairs.get(file) in then.left}
    wrong = [file for file in left if file in done], [file for file in ran if file not in done]
    if not any(wrong):
        return
    last, right = max(ran.values(), default=0), max(ran.values(), default=min(left.values(), default=1) - 1) + 1
    told = [f"{pairs[file]}, which was still to be run, is now {file} and would count as done" for file in wrong[0]]
    told += [f"{pairs[file]}, which was run, is now {file} and would be run again" for file in wrong[1]]
    more = f", and {len(told) - 2} more" if told[2:] else ""
    first = min(left.values(), default=last + 1)
    if last < first:
        remedy = f"write before = {right}"
    else:
        again = named([number_of(file) for file, number in ran.items() if number > first])
        remedy = (f"put what the job says of the order ([[part]], [[inlay]], their cutters) back as it was; or write "
                  f"before = {first}, and do not run {again}")
    raise JobError("[moved] before", f"the programs have other numbers than when it was written: {'; '.join(told[:2])}"
                   f"{more}", remedy=remedy)


def _renumbered(old: Mapping[str, int], numbers: Mapping[str, int], asked: int | None) -> Iterator[Finding]:
    if old:
        lines = [f"program {number} of that is now {numbers[file]}" for file, number in old.items()]
        yield Finding(code="before-renumbered", severity="warn", where="[moved] before", allowed="",
                      got=f"programs have other numbers than in the build before the work moved: {joined(lines)}",
                      remedy=f"see that {asked} is the number that the first still to be run has now")


def _then(folder: Path) -> _Then:
    """What a folder holds; nothing of what cannot be read."""
    texts, moves = programs_of(folder), _moves_in(folder)
    try:
        kept = kept_in(folder)["done"]
        own = {file: _Cut(text=texts[file], moved=moves.get(number_of(file))) if one is None else _unpacked(one)
               for file, one in kept["programs"].items() if file in texts}
        gone = {file: _unpacked(one) for file, one in kept["gone"].items() if file not in texts}
        before, numbers = kept["before"], {file: int(number) for file, number in kept["numbers"].items()}
        since = {file: _moved(one, "centre") for file, one in kept.get("since", {}).items()}
    except (ValueError, zlib.error, *MALFORMED):
        own, gone, before, numbers, since = {}, {}, None, {}, {}
    left = {file: _Cut(text=text, moved=moves.get(number_of(file))) for file, text in texts.items() if file not in own}
    return _Then(texts=texts | {file: one.text for file, one in gone.items()}, before=before, numbers=numbers,
                 done=own | gone, left=left, since=since)


def _packed(cut: _Cut) -> dict[str, Any]:
    text = base64.b64encode(zlib.compress(cut.text.encode())).decode()
    return {"text": text, "moved": cut.moved and _lies(cut.moved)}


def _lies(moved: Moved) -> dict[str, Any]:
    return {key: getattr(moved, key).tolist() for key in ("rotation", "shift", "centre")}


def _unpacked(one: Any) -> _Cut:
    data = zlib.decompressobj().decompress(base64.b64decode(one["text"]), PROGRAM.most)
    return _Cut(text=data.decode(), moved=one["moved"] and _moved(one["moved"], "centre"))


def _moved(one: Any, centre: str) -> Moved:
    """How work lay, as it is written down. Raises ValueError or one of `MALFORMED` where it is not."""
    moved = Moved(rotation=one["rotation"], shift=one["shift"], centre=one[centre])
    if (moved.rotation.shape, moved.shift.shape, moved.centre.shape) != ((3, 3), (3,), (3,)):
        raise ValueError("not as it was written")
    return moved


def _moves_in(folder: Path) -> dict[str, Moved]:
    """How the work lay that programs of the build before in a folder were written for, where it had moved, by their
    numbers; nothing where that cannot be read."""
    try:
        whole = json.loads(read_text(folder / "report.json", BUILT))
        reports = [whole, *(part["report"] for part in whole.get("parts", ()))]
        return {number_of(row["file"]): _moved(one["moved"], "about")
                for one in reports if one.get("moved") and one["moved"]["first_program"] is not None
                for row in one["programs"] if number_in(row) >= one["moved"]["first_program"]}
    except (PathgenError, OSError, ValueError, *MALFORMED):
        return {}


def _run_as_now(was: _Cut, run: Run) -> bool:
    """Whether a program cut in the wood, when it was run, what it now counts as having cut."""
    if was.moved is None and code_lines(was.text) == code_lines(run.text):
        return True
    then = replace(run.clamping, moved=was.moved, moved_from=0)
    return cut_alike(was.text, run.text, old_in_wood=lambda tips: then.to_board(tips, run.step),
                     new_in_wood=run.clamping.to_board)


def _left_alike(changed: Sequence[str], cut: Mapping[str, _Cut], runs: Mapping[str, Run]) -> bool:
    """Whether all that is still to be cut finds the wood as if those `changed` had been run as they are now; never of
    pockets that pieces are fitted into, whose walls count to less than the points looked at lie apart."""
    if any((inlay := runs[file].step.operation.opens) is not None and inlay.fill == "piece" for file in changed):
        return False
    clampings = dict.fromkeys(runs[file].clamping for file in changed)
    return all(left_alike(clamping, {
        runs[file].step: Ran(text=was.text or runs[file].text, moved=was.moved, now=runs[file].text,
                             alike=file not in changed)
        for file, was in cut.items() if runs[file].clamping is clamping}) for clamping in clampings)
