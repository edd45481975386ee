"""A table for choosing: what each finishing cutter and ridge height would cost in passes and minutes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pathgen.base import given
from pathgen.base.cutters import Cutter
from pathgen.base.errors import JobError
from pathgen.base.markup import as_table
from pathgen.base.scallop import ridge_limits
from pathgen.base.toolpath import Toolpath
from pathgen.base.units import INCH, format_length, tiny_length, way_length
from pathgen.job.clamping import clamping_of, planned_of, surfacing_of
from pathgen.job.job import Job
from pathgen.job.part import part_of
from pathgen.job.surface import check_ridge
from pathgen.programs.plan import finishing_with
from pathgen.programs.timing import times
from pathgen.report.programs import Program
from pathgen.report.saving import changes, saved_by_leave
from pathgen.report.text import saved_lines
from pathgen.report.wording import table
from pathgen.work.clamping import Clamping

_MOST = 5  # cutters, and ridge heights, in one table: more is no help in choosing
BALL = "ball "
"""What stands before the diameter in the name of a ball end that is not of the job."""
SIZES = {"mm": (6.0, 10.0, 12.0), "in": (INCH / 4, INCH * 3 / 8, INCH / 2)}
"""Ball ends found in most drawers, mm: common practice, no source."""


@dataclass(frozen=True, kw_only=True)
class Choice:
    """One finishing cutter at one ridge height. Lengths in mm.

    Attributes
    ----------
    cutter : Cutter
    limit, ridge : float
        The ridge height asked for, and the highest by the exact formula.
    stepover : float
        How far its passes lie apart along the surface.
    passes : int
    cut_length : float
        Of the last passes.
    minutes : float
        The last passes of one finishing, its lowest layer alone, with the links between them.
    minutes_all : float
        All the programs that finish the surface, with what they step down through first: stock, and the fills.
    finishings : int
        How often the job finishes the surface: once, and again over each fill.
    chosen : bool
        True for what the job file says now.

    >>> import pathgen
    >>> choice = pathgen.compare(pathgen.load_job("board.toml"), scallops=[0.02])[-1]
    >>> choice.cutter.name, choice.limit, choice.ridge <= 0.02
    ('ball 6 mm', 0.02, True)
    """

    cutter: Cutter
    limit: float
    stepover: float
    passes: int
    ridge: float
    cut_length: float
    minutes: float
    minutes_all: float
    finishings: int
    chosen: bool

    def _repr_html_(self) -> str:
        return Choices([self])._repr_html_()


class Choices(tuple[Choice, ...]):
    """What `compare` gives: a tuple of `Choice` that shows itself as a table in a notebook.

    >>> import pathgen
    >>> choices = pathgen.compare(pathgen.load_job("board.toml"), scallops=[0.01, 0.02])
    >>> min(choices, key=lambda choice: choice.minutes).limit
    0.02
    """

    def _repr_html_(self) -> str:
        head = ("", "cutter", "ridges allowed, mm", "apart, mm", "passes", "ridges, mm", "last passes, min",
                "all, min")
        return as_table([head, *(
            ("*" if c.chosen else "", c.cutter.name, f"{c.limit:g}", f"{c.stepover:.3f}", str(c.passes),
             f"{c.ridge:.4f}", f"{c.minutes:.1f}", f"{c.minutes_all:.1f}") for c in self
        )])


def compare(job: Job, *, cutters: Sequence[Cutter] | None = None, scallops: Sequence[float] | None = None) -> Choices:
    """Every one of one to five ball-end cutters at every one of one to five ridge heights (mm), largest cutter first.

    Left out, the cutters are the job's own ball ends, with common sizes added at the finishing cutter's feed where
    it has only one, and the heights half, once and twice what the job allows, as far as a job may ask for them.

    Returns
    -------
    Choices
        A `Choice` for each: cutter, stepover and ridges in mm, passes, minutes.

    Raises
    ------
    PathgenError
        Naming the argument. JobError for a job without [surface], for more than five or ridges that no job may ask
        for; CutterError for what cannot finish a radius.

    Examples
    --------

    >>> import pathgen
    >>> choices = pathgen.compare(pathgen.load_job("board.toml"), scallops=[0.01, 0.02])
    >>> [(c.cutter.name, c.limit, c.passes) for c in choices if c.cutter.name == "ball"]
    [('ball', 0.01, 83), ('ball', 0.02, 59)]
    """
    given.value("compare job", job, Job, remedy="read it: pathgen.load_job(..)")
    part_of(job)  # refuses a job of several
    finish, surfacing = _finish(job), surfacing_of(job)
    limit = surfacing.scallop if surfacing else 0.0
    cutters = _own_cutters(job, finish) if cutters is None else cutters
    tools = [given.value("compare cutters", one, Cutter)
             for one in given.several("compare cutters", cutters, words="pathgen.Cutter values in a list")]
    if scallops is None:
        least, most = ridge_limits(min((one.radius for one in tools), default=math.inf))
        scallops = [height for height in (limit / 2, limit, limit * 2) if least <= height <= most]
    heights = [given.length("compare ridge heights", one)
               for one in given.several("compare ridge heights", scallops, words="numbers in a list")]
    for what, count in (("cutters", len(tools)), ("ridge heights", len(heights))):
        if not 1 <= count <= _MOST:
            raise JobError("compare", f"{count} {what} given", allowed=f"1 to {_MOST}")
    ordered = sorted(tools, key=lambda c: -c.diameter)
    clamping = clamping_of(job)
    return Choices(_choice(job, clamping, c, s, chosen=c == finish and bool(np.isclose(s, limit)))
                   for c in ordered for s in sorted(heights))


def sized(job: Job, diameter: float) -> Cutter:
    """The job's finishing cutter with another diameter, mm, at the same feed and speed."""
    return replace(_finish(job), name=f"{BALL}{format_length(diameter, job.units)}", diameter=diameter)


def choice_lines(choices: Sequence[Choice], units: str) -> list[str]:
    """The table in words, in the job's units."""
    rows = [
        ["*" if c.chosen else "", c.cutter.name, format_length(c.cutter.diameter, units), tiny_length(c.limit, units),
         format_length(c.stepover, units), str(c.passes), tiny_length(c.ridge, units), way_length(c.cut_length, units),
         f"{c.minutes:.1f} min", f"{c.minutes_all:.1f} min"]
        for c in choices
    ]
    often = choices[0].finishings
    head = ["", "finishing cutter", "diameter", "ridges allowed", "apart", "passes", "ridges", "last passes",
            "their time", f"all {often}"]
    lines = table(head, rows, right=(2, 3, 4, 5, 6, 7, 8, 9))
    notes = ["* what the job file says now"] if any(c.chosen for c in choices) else []
    notes += ["Last passes: the lowest layer of one finishing alone.",
              "All: every finishing program, with what it steps down through first, stock or fill that stands proud."]
    thousandths = " in thousandths of a millimetre (um)" if units == "mm" else ""
    return [*lines, "", *notes, f"Ridges{thousandths}, by the exact formula; sanded away later."]


_LONGER_IN_ALL = " in all, as what is cut into the surface begins on top of the ridges, in more layers"


def change_lines(job: Job) -> list[str]:
    """What else would change the minutes, in words: the slots' entry, `leave`, second cuts over the inlays alone."""
    planned = planned_of(job)
    programs = [Program(step=step, text="", toolpath=path, times=times(path, step.cutter, job.machine))
                for step, path in zip(planned.clamping.steps, planned.paths, strict=True)]
    every = changes(planned, programs)
    rows, slower = ([row for row in every if sign * row["minutes_saved"] > 0] for sign in (1, -1))
    lines = saved_lines(rows, saved_by_leave(planned, programs) or 0.0)
    for row in slower:
        why = _LONGER_IN_ALL if "] scallop = " in row["change"] else ""
        lines.append(f"{row['change']} takes {-row['minutes_saved']:.1f} min longer{why}: {row['cost']}.")
    return ["", *lines] if lines else []


def choice_rows(choices: Sequence[Choice]) -> list[dict[str, object]]:
    """The table as plain values: mm, minutes."""
    return [{"cutter": c.cutter.name, "diameter": c.cutter.diameter, "scallop_limit": c.limit,
             "stepover": round(c.stepover, 6), "passes": c.passes, "scallop_predicted": round(c.ridge, 6),
             "cut_length": round(c.cut_length, 2), "minutes": round(c.minutes, 2),
             "minutes_all": round(c.minutes_all, 2), "finishings": c.finishings,
             "chosen": c.chosen}
            for c in choices]


def _choice(job: Job, clamping: Clamping, cutter: Cutter, scallop: float, *, chosen: bool) -> Choice:
    check_ridge("compare", scallop, cutter)
    passes, paths = finishing_with(clamping, cutter, scallop=scallop)
    path = Toolpath.from_runs([passes.run], safe_z=clamping.safe_z)
    return Choice(
        cutter=cutter, limit=scallop, stepover=passes.stepover, passes=len(passes.y), ridge=passes.scallop,
        cut_length=path.cut_length, minutes=times(path, cutter, job.machine).total,
        minutes_all=sum(times(p, cutter, job.machine).total for p in paths), finishings=len(paths), chosen=chosen)


def _finish(job: Job) -> Cutter:
    if job.surface is None:
        if job.plate and not job.plate.face:
            raise JobError("[plate] face", "false: nothing is surfaced, so there is nothing to compare",
                           remedy="pathgen reach compares the cutters of its drawings")
        raise JobError("[surface]", "is missing: there is no surface to finish", remedy="add a [surface] table")
    finish = job.cutter(job.surface.finish, "[surface] finish")
    if finish.shape == "flat-end":
        raise JobError("[surface] finish", f'"{finish.name}" is a flat end: it leaves no ridges to choose between',
                       allowed="a ball-end cutter", remedy="its path is as long as its stepover says: change that")
    return finish


def _own_cutters(job: Job, finish: Cutter) -> list[Cutter]:
    names = [table.name for table in job.cutters if table.shape == "ball-end"]
    own = [finish, *(job.cutter(name, "compare") for name in names if name != finish.name)][:_MOST]
    if len(own) > 1:
        return own
    common = [size for size in SIZES[job.units] if abs(size - finish.diameter) > 0.1 * finish.diameter]
    return [finish, *(sized(job, size) for size in common)]
