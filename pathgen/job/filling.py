"""Fills of a job: their resin, and whether all that is poured, marked and measured goes together."""

from __future__ import annotations

from pathgen.base.errors import JobError
from pathgen.job.job import Job
from pathgen.job.marks import check_marks
from pathgen.job.measured import check_measured
from pathgen.work.fill import Resin


def check_filling(job: Job) -> None:
    """Raise JobError for fills, marks and measured moves that do not go together."""
    for index in range(1, len(job.inlays) + 1):
        resin = resin_of(job, index - 1)
        if resin.mix and resin.mix_by == "mass" and resin.density is None:
            raise JobError(
                f"inlay {index} resin", "parts by mass without a density", remedy="add density, in g/cm3, of the "
                'mixed resin, or write mix_by = "volume"')
        per_ml = (resin.density or 1.0) if resin.mix_by == "mass" else 1.0
        unit = "g" if resin.mix_by == "mass" else "ml"
        if resin.measure * max(len(resin.mix), 1) > resin.least * per_ml:
            raise JobError(
                f"inlay {index} resin least", f"a batch of {resin.least * per_ml:g} {unit} of {len(resin.mix) or 1} "
                f"{'parts' if len(resin.mix) > 1 else 'part'} that are measured by {resin.measure:g} {unit}",
                allowed=f"{resin.measure * max(len(resin.mix), 1) / per_ml:g} ml or more",
                remedy="make least larger, or measure finer and write that as measure")
    check_marks(job)
    if job.resurface and job.resurface.area == "inlay" and job.resurface.skim > 0:
        raise JobError(
            "[resurface] skim", f"{job.resurface.skim:g} mm over the inlays only leaves a step of as much round them",
            allowed='0 with area = "inlay"', remedy='write skim = 0.0, or area = "board"')
    check_measured(job)


def resin_of(job: Job, index: int) -> Resin:
    """The resin of an inlay: its own keys before those of ``[resin]``."""
    tables = [vars(table) for table in (job.resin, job.inlays[index].resin) if table is not None]
    return Resin(**{name: value for table in tables for name, value in table.items() if value is not None})
