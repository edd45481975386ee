"""What the commands for a blank of its own do: build, show, write."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

from pathgen.app.building import Build, build
from pathgen.app.earlier import refuse_others, write_and_tell, write_build
from pathgen.app.terminal import say, say_json
from pathgen.base.plain import joined, one_line
from pathgen.base.units import format_length
from pathgen.job.clamping import clamping_of
from pathgen.job.form import parts_of
from pathgen.job.job import Job
from pathgen.job.kinds import KINDS
from pathgen.parts.tools import Coupon
from pathgen.report.sheet.coupon import coupon_page
from pathgen.report.text import finding_lines, summary_lines


def cut(command: str, job: Job, folder: str, *, frets: tuple[int, int] | None = None, resolution: float) -> bool:
    """Build what a command of `KINDS` cuts and write it into one folder; True when verification let it."""
    kind = next(kind for kind in KINDS if kind.command == command)
    clampings = kind.clampings(job, frets)
    refuse_others(Path(folder), job, command)
    made = [build(job, clamping=one, resolution=resolution) for one in clampings]
    good = _written(made, job, folder)
    for line in _pockets_cut(job) if good and command == "pieces" and job.measured else ():
        say(f"warning: {line}", sys.stderr)
    return good


def _pockets_cut(job: Job) -> Iterator[str]:
    """A line of the inlays for pieces whose pockets were cut before the work moved, as the job says."""
    clamping = clamping_of(job)
    cut = [inlay.name for inlay in clamping.inlays if inlay.fill == "piece" and clamping.cut_before(inlay)]
    if cut:
        yield (f"{joined(cut)}: the pockets count as cut already: these pieces go in where the job says of them what "
               "it said when they were cut, which a build into the folder that they were cut from tells")


def cut_halves(
    job: Job, folder: str, *, resolution: float, shaded: bool, pictures: bool, data: bool
) -> bool:
    """Build both halves of a form into one folder; True when verification let them. `data`: both reports as JSON."""
    made = [build(one, resolution=resolution, pictures=shaded) for one in parts_of(job)]
    return _written(made, job, folder, shaded=shaded, pictures=pictures, data=data)


def _files(made: Sequence[Build], *, shaded: bool, pictures: bool) -> dict[str, str | bytes]:
    """The files of one build, or of several for one folder: what is not a program begins with the kind, and where that
    says no more, with the name of the build's only program, or is numbered where one of them has more.

    A test piece has the page that says how to read it.
    """
    words = [_kind(one) for one in made]
    alone = all(len(one.programs) == 1 for one in made)
    files: dict[str, str | bytes] = {}
    for number, (word, one) in enumerate(zip(words, made, strict=True), 1):
        programs = {program.file_name for program in one.programs}
        of_many = f"{min(programs).removesuffix('.nc')}-" if alone else f"{word}-{number}-"
        before = "" if len(made) == 1 else f"{word}-" if words.count(word) == 1 else of_many
        files |= {name if name in programs or name.startswith(before) else before + name: text
                  for name, text in one.every_file(shaded=shaded, pictures=pictures).items()}
        if isinstance(part := one.plan.clamping.board, Coupon):
            files["coupon.html"] = coupon_page(one.plan, part, one.report)
    return files


def _kind(made: Build) -> str:
    return made.plan.clamping.kind.split(" ")[0]


def _written(
    made: Sequence[Build], job: Job, folder: str, *, shaded: bool = True, pictures: bool = False, data: bool = False
) -> bool:
    if data:
        say_json({_kind(one): one.report for one in made})
    for one in () if data else made:
        found = finding_lines(one.report["checks"], job.units)
        stock = one.plan.clamping.stock
        length, width, thick = (format_length(v, job.units) for v in (stock.length, stock.width, stock.thickness))
        lines = [one.plan.clamping.title, f"from {one.plan.clamping.board.names.blank} {length} by {width} by {thick}",
                 *summary_lines(one.report, job.units), *found, ""]
        say("\n".join(one_line(line) for line in lines))
    if not all(one.passed for one in made):
        say("Nothing was written.", sys.stderr)
        return False
    files = _files(made, shaded=shaded, pictures=pictures)
    write_and_tell(folder, lambda: write_build(Path(folder), files, job), shown=sys.stderr if data else sys.stdout)
    return True
