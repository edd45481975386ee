"""Several parts of one blank: each built and verified on its share, then the blank as a whole, into one folder."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from pathgen.app.building import Build, Made, build_planned
from pathgen.app.earlier_done import Run
from pathgen.base import given
from pathgen.base.errors import JobError, PathgenError
from pathgen.base.markup import as_svg
from pathgen.job.blank import blank_plans, of_part, origin_of, parts_on_blank
from pathgen.job.job import Job
from pathgen.report.blank import blank_data, blank_text
from pathgen.report.data import as_json
from pathgen.report.filling import poured_together
from pathgen.report.pictures.blank import blank_from_above
from pathgen.report.sheet.blank import blank_sheet
from pathgen.report.text import report_text
from pathgen.verify import together_findings


@dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class BlankBuild(Made):
    """The programs of all parts of one blank, verified, with their report.

    Attributes
    ----------
    builds : tuple of Build
        The parts, in the job's order.
    report : dict
        What ``report.json`` holds: all programs in the order they are run, and each part's own report.

    Shows the blank from above in a notebook.

    >>> import pathgen
    >>> hasattr(pathgen.BlankBuild, "write")         # `build_blank` makes one
    True
    """

    job: Job
    builds: tuple[Build, ...]
    report: dict[str, Any]

    @property
    def let_in(self) -> dict[str, str]:
        """The part and inlay for each program that opens pockets for pieces."""
        return {file: f"{name}, {inlay}" for (name, _), one in zip(parts_on_blank(self.job), self.builds, strict=True)
                for file, inlay in one.let_in.items()}

    @property
    def runs(self) -> dict[str, Run]:
        """The programs of all parts by name."""
        return {file: run for one in self.builds for file, run in one.runs.items()}

    def files(self, *, shaded: bool = True) -> dict[str, str]:
        """Every file by name: programs, the sheet of the blank and of each part, the reports."""
        pages = [f"{stem}.html" for stem in self._stems]
        texts = {name: text for one in self.builds for name, text in one.texts.items()}
        return {
            **{name: texts[name] for name in sorted(texts)},
            **{page: one.sheet(shaded=shaded) for page, one in zip(pages, self.builds, strict=True)},
            "report.json": as_json(self.report),
            "report.txt": blank_text(self.report, [report_text(one.report, self.job.units) for one in self.builds]),
            "setup.html": blank_sheet(self.report, [one.plan.clamping for one in self.builds], pages,
                                      along=self.job.setup.along, opened=[one.plan.opened for one in self.builds],
                                      programs=[one.programs for one in self.builds]),
        }

    def every_file(self, *, shaded: bool, pictures: bool) -> dict[str, str | bytes]:
        """Those, and the pictures of each part by themselves where they are asked for."""
        return {**self.files(shaded=shaded), **{
            f"{stem}-{name}": picture for stem, one in zip(self._stems, self.builds, strict=True) if pictures
            for name, picture in one.picture_files(shaded=shaded).items()}}

    def _repr_svg_(self) -> str:
        """The blank from above, with each part on its share, for a notebook."""
        return as_svg(blank_from_above(self.job.title, [one.plan.clamping for one in self.builds],
                                       [name for name, _ in parts_on_blank(self.job)], along=self.job.setup.along,
                                       opened=[one.plan.opened for one in self.builds]))

    @property
    def _stems(self) -> list[str]:
        """What the names of each part's own sheet and pictures begin with."""
        return [f"part-{number}-{name}" for number, (name, _) in enumerate(parts_on_blank(self.job), 1)]


def build_blank(
    job: Job, *, resolution: float = 0.1, tell: Callable[[str], None] = lambda words: None, pictures: bool = True
) -> BlankBuild:
    """Plan, write, read back and simulate every part of a job with ``[[part]]``; arguments as for `build`.

    Raises PathgenError for what cannot be cut as asked, a cutter that comes off its part's share too.

    >>> import pathgen
    >>> from pathlib import Path
    >>> plate = Path("plate.toml").write_text('''
    ... plate = { length = 60, width = 30, thickness = 3, face = false }
    ... stock = { length = 80, width = 50, thickness = 3, margin_nut = 10 }
    ... outline = { cutter = "flat 3" }
    ... [[cutter]]
    ... name = "flat 3"
    ... shape = "flat-end"
    ... diameter = 3
    ... flute_length = 12
    ... speed = 12000
    ... feed = 1200
    ... plunge = 300
    ... stepdown = 1
    ... ''')
    >>> both = Path("both.toml").write_text('''
    ... stock = { length = 170, width = 60, thickness = 3, margin_nut = 0 }
    ... part = [{ job = "plate.toml", at = [42, 0] }, { job = "plate.toml", at = [126, 0], turn = 180 }]
    ... ''')
    >>> made = pathgen.build_blank(pathgen.load_job("both.toml"), resolution=0.3)
    >>> made.passed, made.report["fittings"], [row["file"] for row in made.report["programs"]]
    (True, 1, ['01-plate-1-outline-flat-3.nc', '02-plate-2-outline-flat-3.nc'])
    """
    if not given.value("build_blank job", job, Job, remedy="read it: pathgen.load_job(..)").parts:
        raise JobError(job.path.name, "is the job of one part", allowed="a job with [[part]]", remedy="build it")
    builds, named = [], parts_on_blank(job)
    tell("planning the cuts of all parts")
    for number, (planned, (name, part)) in enumerate(zip(blank_plans(job), named, strict=True), 1):
        tell(f"part {number}, {name}")
        try:
            builds.append(build_planned(replace(part, fingerprint=job.fingerprint), planned, resolution=resolution,
                                        pictures=pictures))
        except PathgenError as wrong:
            raise of_part(wrong, number, job) from None
    together = together_findings([one.plan.clamping for one in builds], [one.verification for one in builds])
    parts = [{"name": name, "job": table.job, "at": list(table.at), "turn": table.turn, "report": one.report}
             for (name, _), table, one in zip(named, job.parts, builds, strict=True)]
    report = blank_data(job.title, job.units, job.fingerprint, parts, [one.programs for one in builds], together,
                        fills=poured_together([(one.plan, one.verification) for one in builds]), origin=origin_of(job),
                        done=[step.file_name for one in builds for step in one.plan.clamping.steps
                              if one.plan.clamping.done(step)])
    return BlankBuild(job=job, builds=tuple(builds), report=report)
