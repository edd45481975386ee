"""From a job to verified programs: plan, write, read back, simulate, report."""

from __future__ import annotations

import re
from abc import abstractmethod
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Self

from pathgen.app.earlier import write_build
from pathgen.app.earlier_done import Run, done_before
from pathgen.app.earlier_marks import marks_moved
from pathgen.app.folders import otherwise_named, read_folder
from pathgen.base import given
from pathgen.base.brief import Brief
from pathgen.base.errors import PathgenError
from pathgen.base.files import read_bytes
from pathgen.base.limits import COARSEST_GRID, FINEST_GRID, PROGRAM
from pathgen.base.markup import as_svg
from pathgen.job.blank import blank_plans, parts_on_blank
from pathgen.job.clamping import asked_of, plans_of
from pathgen.job.form import FORMS, parts_of
from pathgen.job.job import Job
from pathgen.job.kinds import stated_clampings
from pathgen.programs.around import Around
from pathgen.programs.instructions import header
from pathgen.programs.limits import check_lines
from pathgen.programs.plan import Plan
from pathgen.programs.timing import times
from pathgen.programs.write import program_text
from pathgen.report.blank import findings_of_parts
from pathgen.report.data import (
    Report,
    as_json,
    checks_data,
    finding_rows,
    of_all_parts,
    plan_findings,
    report_data,
    with_findings,
)
from pathgen.report.programs import Program
from pathgen.report.reaching import reach_of_cutters
from pathgen.report.sheet.page import pictures, setup_sheet
from pathgen.report.sheet.seen import finished_png, seen_files
from pathgen.report.text import report_text
from pathgen.verify import Verification, verify, verify_all
from pathgen.verify.findings import AGAIN, MISSING, Finding
from pathgen.verify.given_programs import head_findings
from pathgen.verify.read import fingerprint
from pathgen.work.clamping import Clamping, Step
from pathgen.work.operations import Operation

BACK = "00-back"
"""What the names of all files of the other side begin with, so that they come before all else in a folder."""
STAGES = 4
"""How often a build tells what it is doing."""


class Made(Brief):
    """What builds of one part and of a blank with several share."""

    job: Job
    report: dict[str, Any]

    @property
    @abstractmethod
    def runs(self) -> dict[str, Run]:
        """All programs by name."""

    @abstractmethod
    def every_file(self, *, shaded: bool, pictures: bool) -> dict[str, str | bytes]:
        """All files by name, with those of pictures alone where they are asked for."""

    def refuse_faults(self) -> None:
        """Raise PathgenError, with the first fault, where verification forbids cutting."""
        forbidden = [row for row in self.report["checks"]["findings"] if row["severity"] == "forbid"]
        for row in forbidden[:1]:
            raise PathgenError("verification", f"{row['where']}: {row['code']}: {row['got']}", allowed=row["allowed"],
                               remedy=f"{row['remedy']}; nothing was written")

    @property
    def passed(self) -> bool:
        """True when nothing was found that forbids cutting."""
        return bool(self.report["checks"]["passed"])

    def write(self, folder: str | Path, *, pictures: bool = False, shaded: bool = True) -> list[Path]:
        """Write programs, reports and setup sheets into a folder: all of them, or none.

        The folder is made, or replaced when every file in it was written by an earlier build and not changed
        since. `pictures` adds the setup sheet's pictures as SVG and PNG files; without `shaded` no
        picture of the wood itself is made. Returns the paths written.

        Raises
        ------
        PathgenError
            When verification forbids cutting, or the folder holds anything else.
        """
        self.refuse_faults()
        path = given.path("write folder", folder)
        found, done = self.earlier(path)
        files = self.saying(found).every_file(shaded=shaded, pictures=pictures)
        return write_build(path, files, self.job, self.report, done=done)

    def earlier(self, folder: Path) -> tuple[list[Finding], dict[str, Any] | None]:
        """Warnings of marks that lie elsewhere than earlier builds in a folder had them, and of programs that count as
        done and were others there; and what the folder is to keep of these. Raises JobError as `done_before` does."""
        found, done = done_before(folder, self.job, self.runs)
        return [*marks_moved(folder, self.job, self.report), *found], done

    def saying(self, found: Sequence[Finding]) -> Self:
        """The same with more that is to be said."""
        return replace(self, report=with_findings(self.report, found))  # type: ignore[type-var]


@dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class Build(Made):
    """The programs of a job, verified, with their report.

    Attributes
    ----------
    programs : tuple of Program
        In the order they are run; each with order, file_name, operation, cutter, text, toolpath, minutes.
    report : dict
        What ``report.json`` holds; lengths in mm, times in minutes, angles in degrees.
    verification : Verification
        What the simulation of the written texts found.
    back : Build or None
        The other side of the blank, which is cut first; its faults are among those of `verification`.

    Shows the finished board in a notebook; its report shows itself as a table.

    >>> import pathgen
    >>> result = pathgen.build(pathgen.load_job("board.toml"), resolution=0.2)
    >>> [program.operation for program in result.programs]
    ['surface-finish', 'pocket', 'resurface', 'slots', 'outline']
    >>> result.report["surface"]["passes"], result.programs[1].text.splitlines()[0]
    (59, '(job: board)')
    """

    job: Job
    plan: Plan
    programs: tuple[Program, ...]
    verification: Verification
    report: dict[str, Any]
    back: Build | None = None

    @property
    def let_in(self) -> dict[str, str]:
        """The name of the inlay for each program that opens pockets for pieces, where these are still to be cut and the
        work has not moved."""
        return {step.file_name: inlay.name for step in self.plan.clamping.steps
                if (inlay := step.operation.opens) is not None and inlay.drawn
                and self.plan.clamping.moved is None}

    @property
    def runs(self) -> dict[str, Run]:
        """Its programs by name, those of the other side too: these were all run once the top is begun."""
        clamping = self.plan.clamping
        below = self.back.runs if self.back else {}
        return {file: replace(run, done=clamping.begun) for file, run in below.items()} | {
            program.file_name: Run(text=program.text, clamping=clamping, step=program.step,
                                   done=clamping.done(program.step)) for program in self.programs}

    def files(self, *, shaded: bool = True) -> dict[str, str]:
        """Every file of the build by name: programs, report.json, report.txt, setup.html."""
        back = {} if self.back is None else {**self.back.texts, f"{BACK}-setup.html": self.back.sheet(shaded=shaded)}
        return {
            **back,
            **self.texts,
            "report.json": as_json(self.report),
            "report.txt": report_text(self.report, self.job.units),
            "setup.html": self.sheet(shaded=shaded),
        }

    def every_file(self, *, shaded: bool, pictures: bool) -> dict[str, str | bytes]:
        """Those, and the pictures by themselves where they are asked for."""
        return {**self.files(shaded=shaded), **(self.picture_files(shaded=shaded) if pictures else {})}

    @property
    def texts(self) -> dict[str, str]:
        """The programs of this side by name."""
        return {program.file_name: program.text for program in self.programs}

    def sheet(self, *, shaded: bool = True) -> str:
        """The setup sheet of this side, a page of HTML."""
        return setup_sheet(self.plan, self.programs, self.verification, self.report, shaded=shaded)

    def picture_files(self, *, shaded: bool = True) -> dict[str, str | bytes]:
        """The setup sheet's pictures as SVG and PNG files by name; without `shaded` none of the wood itself."""
        return {**self.pictures(), **(self.shaded_pictures() if shaded else {})}

    def shaded_pictures(self) -> dict[str, bytes]:
        """PNG files by name: the finished board, the work after each program, each inlay; from above at true size."""
        below = self.back.shaded_pictures() if self.back else {}
        return {_of_back(name): data for name, data in below.items()} | seen_files(self.plan, self.verification)

    def _repr_png_(self) -> bytes | None:
        """The finished board, for a notebook."""
        seen = self.verification.simulation.stages
        return finished_png(self.plan, self.verification, self.plan.asked.wood[0]) if seen else None

    def pictures(self) -> dict[str, str]:
        """The setup sheet's pictures as SVG files by name; each prints at true size."""
        drawn = pictures(self.plan, self.programs, self.verification)
        below = self.back.pictures() if self.back else {}
        return {**{_of_back(name): text for name, text in below.items()},
                **{f"{name}.svg": as_svg(picture) for name, picture in drawn.items()}}


def _of_back(name: str) -> str:
    """The name of a file of the other side: some have it in them already."""
    return name if name.startswith(BACK) else f"{BACK}-{name}"


def build(
    job: Job, *, clamping: Clamping | None = None, resolution: float = 0.1,
    tell: Callable[[str], None] = lambda words: None, pictures: bool = True,
) -> Build:
    """Plan every step of a job, write the programs, read them back and simulate the whole clamping.

    `resolution` is the distance of the simulation's points, 0.01 to 2 mm. `tell` is called four times with words for
    what is being done now. Without `pictures` nothing is kept for pictures of the wood. `clamping` is for pathgen's own
    commands, which cut something else for the bench: leave it out.

    Raises PathgenError for what cannot be cut as asked; faults found in the finished programs are in
    ``Build.verification``.

    >>> import pathgen
    >>> result = pathgen.build(pathgen.load_job("board.toml"), resolution=0.2)     # what `pathgen new board` writes
    >>> result.passed, len(result.programs)
    (True, 5)
    """
    given.value("build job", job, Job, remedy="read it: pathgen.load_job(..)")
    tell("planning the cuts")
    return build_planned(job, *plans_of(job, clamping), resolution=resolution, tell=tell, pictures=pictures)


def build_planned(
    job: Job, planned: Plan, other: Plan | None = None, *, resolution: float,
    tell: Callable[[str], None] = lambda words: None, pictures: bool,
) -> Build:
    """The same of a plan that is made already, with that of the other side where there is one."""
    tell("writing the programs")
    programs, below = _programs(job, planned), _programs(job, other) if other else ()
    tell("reading them back, cutting in simulation")
    checked = verify(planned.clamping, {p.file_name: p.text for p in (*below, *programs)}, resolution=resolution,
                     job_fingerprint=job.fingerprint, pictured=pictures)
    tell("verified, nothing forbids cutting; writing the report" if checked.passed else "writing what was found")
    back = _made(job, other, below, checked.under) if other and checked.under else None
    return _made(job, planned, programs, checked, back)


def _made(
    job: Job, planned: Plan, programs: tuple[Program, ...], checked: Verification, back: Build | None = None
) -> Build:
    clampings = [planned.clamping, *([planned.clamping.under] if planned.clamping.under else [])]
    steps = [step for clamping in clampings for step in clamping.steps]
    checked = replace(checked, findings=tuple(_of_fresh(finding, steps) for finding in checked.findings))
    report = report_data(planned, programs, checked, fingerprint=job.fingerprint)
    return Build(job=job, plan=planned, programs=programs, verification=checked, back=back,
                 report=Report(report | {"back": back.report}) if back else report)


def _of_fresh(finding: Finding, steps: Sequence[Step]) -> Finding:
    """What was found in programs that nobody can have edited: to make them again would change nothing."""
    if AGAIN not in finding.remedy:
        return finding
    instead = next((s.operation.instead for s in steps
                    if s.file_name in finding.where or (s.operation.opens and re.match(
                        rf"inlay {s.operation.opens.index + 1}\b", finding.where))),
                   Operation.instead)
    return replace(finding, remedy="pathgen planned this wrongly, the job is in order: please report it with the job "
                                   f"file. What may work meanwhile: {instead}")


def check(job: Job, folder: str | Path, *, resolution: float = 0.1) -> Verification:
    """Read the programs in a folder back, simulate them, and compare with what the job asks for.

    The programs may have been edited, and may be those of a block, of gauges or of pieces: what most of them state to
    be is what all are held against. Of several clampings the first one's measures are given, and the findings of all.
    `resolution` as for `build`. Raises PathgenError when there is no such folder, or when the job is wrong or has
    nothing of that kind.

    >>> import pathgen
    >>> job = pathgen.load_job("board.toml")
    >>> paths = pathgen.build(job, resolution=0.2).write("out")
    >>> found = pathgen.check(job, "out", resolution=0.2)
    >>> found.passed, found.findings
    (True, ())
    """
    given.value("check job", job, Job, remedy="read it: pathgen.load_job(..)")
    _, found, together = _checked(job, given.path("check folder", folder), resolution)
    every = (*(finding for one in found for finding in one.findings), *together)
    return replace(found[0], findings=every)


def check_data(job: Job, folder: Path, *, resolution: float = 0.1) -> dict[str, Any]:
    """What `check` finds and what is to be said of the plans, as in report.json; of each part of a blank by name."""
    clampings, found, together = _checked(job, folder, resolution)
    jobs = job.part_jobs or parts_of(job)
    each = []
    for k, (clamping, one) in enumerate(zip(clampings, found, strict=True)):
        asked = asked_of(jobs[min(k, len(jobs) - 1)], clamping)
        planned = Plan(around=Around(clamping=clamping), asked=asked)
        each.append(checks_data(one, plan_findings(planned, one, reach_of_cutters(clamping))))
    rows = [one["findings"] for one in each]
    said = findings_of_parts([name for name, _ in parts_on_blank(job)], rows) if job.parts else \
        [row for k, own in enumerate(rows) for row in own if not any(row in before for before in rows[:k])]
    said += finding_rows(together)
    return {"passed": not any(row["severity"] == "forbid" for row in said), **of_all_parts(each), "findings": said}


def _checked(
    job: Job, folder: Path, resolution: float
) -> tuple[tuple[Clamping, ...], tuple[Verification, ...], tuple[Finding, ...]]:
    """The clampings that the programs of a folder cut, what is found of each, and of all together."""
    # told before what is wrong with the folder
    given.length("resolution", resolution, least=FINEST_GRID, most=COARSEST_GRID)
    texts = read_folder(folder)
    clampings = stated_clampings(job, texts)
    mark = f"(job fingerprint: {job.fingerprint})"
    changed = {name for name, text in texts.items()
               if mark not in text or f"(program fingerprint: {fingerprint(text)})" not in text}
    now = _given_now(job, clampings) if changed else {}
    changed &= now.keys()
    same = {name: now[name] for name in changed
            if mark not in texts[name] and _unmarked(texts[name]) == _unmarked(now[name])}
    # those of another job are told of as such; one that states none may be this one's
    own = {name: now[name] for name in now
           if name in changed and (mark in texts[name] or "(job fingerprint: " not in texts[name])}
    found, together = verify_all(clampings, texts | same, resolution=resolution, job_fingerprint=job.fingerprint,
                                 written=own)
    told = {finding.where for one in found for finding in one.findings if finding.code == "other-cutter"}
    heads = [finding for one in found for side in (one, one.under) if side
             for name, program in side.programs.items() if name in own
             for finding in head_findings(
                 program, [line[1:-1] for line in own[name].splitlines() if line.startswith("(")])
             if finding.where not in told]
    found = tuple(replace(one, findings=tuple(_renamed(finding, folder, texts) for finding in one.findings))
                  for one in found)
    done = _done_otherwise(job, folder, clampings, texts)
    others = _not_looked_at(folder, texts, {f.where for one in found for f in one.findings if f.code == MISSING})
    return clampings, found, (*together, *heads, *done, *others, *_earlier_version(sorted(same), len(texts)))


def _done_otherwise(
    job: Job, folder: Path, clampings: Sequence[Clamping], texts: Mapping[str, str]
) -> list[Finding]:
    """What `done_before` tells of the programs in a folder."""
    sides = [side for one in clampings for side in (one.under, one) if side is not None and not one.kind]
    runs = {step.file_name: Run(text=texts[step.file_name], clamping=side, step=step, done=side.done(step))
            for side in sides for step in side.steps if step.file_name in texts}
    with suppress(PathgenError):  # other numbers than the job's are told of each
        return done_before(folder, job, runs)[0]
    return []


def _not_looked_at(folder: Path, texts: Mapping[str, str], missing: set[str]) -> Iterator[Finding]:
    """Programs under other endings, but for copies of those looked at, and for the `missing`, which are told of."""
    for path in otherwise_named(folder):
        own = path.with_suffix(".nc").name
        copied = own in texts and read_bytes(path, PROGRAM).splitlines() == texts[own].encode().splitlines()
        if not copied and own not in missing and path.name not in texts:
            yield Finding(code="program-unexpected", where=path.name, got="a program that was not looked at",
                          allowed="programs of the job, whose names end in .nc", remedy="take it out of the folder")


def _renamed(finding: Finding, folder: Path, texts: Mapping[str, str]) -> Finding:
    """Of a program that is missing, the file beside it that by its name, or by its header, is that program."""
    step = re.match(r"program \d+", finding.allowed) if finding.code == MISSING else None
    if step is None:
        return finding
    name, title = Path(finding.where), re.compile(rf"\((\.\. )?{step[0]} of ")
    found = [path.name for path in sorted(folder.glob(f"{name.stem}.*")) if path.suffix not in (".png", ".svg")]
    found += [one for one, text in texts.items() if title.search(text) and one[:2] != name.name[:2]]
    return replace(finding, remedy=f"if {found[0]} is it, give that the name {name}; else {finding.remedy}"
                   ) if found else finding


def _given_now(job: Job, clampings: Sequence[Clamping]) -> dict[str, str]:
    """The programs of clampings as the job gives them now, of those that it still gives."""
    made: list[tuple[Job, Plan]] = []
    if job.parts:
        with suppress(PathgenError):
            made += zip(job.part_jobs, blank_plans(job), strict=True)
    jobs = parts_of(job)
    for k, clamping in enumerate(() if job.parts else clampings):
        part, own = jobs[min(k, len(jobs) - 1)], clamping.kind in ("", *FORMS)
        with suppress(PathgenError):  # then they are held to the fingerprint alone
            made += [(part, one) for one in plans_of(part, None if own else clamping) if one]
    return {program.file_name: program.text for part, planned in made
            for program in _programs(replace(part, fingerprint=job.fingerprint), planned)}


def _unmarked(text: str) -> str:
    return re.sub(r"(?m)^\((job|program) fingerprint: [0-9a-f]{16}\)$", "", text)


def _earlier_version(names: Sequence[str], count: int) -> Iterator[Finding]:
    if names:
        yield Finding(
            code="earlier-version", severity="note",
            where=f"all {count} programs" if len(names) == count > 1 else ", ".join(names),
            got="built from another version of this job, which this version gives the same, line for line",
            allowed="programs of this job", remedy="cut them as they are")


def _programs(job: Job, planned: Plan) -> tuple[Program, ...]:
    clamping, programs = planned.clamping, []
    for step, path, start in zip(clamping.steps, planned.paths, planned.starts, strict=True):
        spent = times(path, step.cutter, clamping.machine)
        text = program_text(path, clamping=clamping, step=step, job=job.fingerprint,
                            header=header(clamping, step, minutes=spent.total, start=start))
        programs.append(Program(step=step, text=text, toolpath=path, times=spent, start=start))
    check_lines([program.text for program in programs], clamping)
    return tuple(programs)
