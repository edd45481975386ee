"""What is worked out for the bench without cutting: the fretting sheet, the strings, the neck."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from pathgen.base.errors import JobError
from pathgen.base.markup import Element
from pathgen.job.doubts.board import of_strings
from pathgen.job.job import Job
from pathgen.job.part import board_of, slots_of
from pathgen.parts.fingerboard.neck import neck_rows
from pathgen.parts.fingerboard.rows import fretting_data, strung_data
from pathgen.report.board_text import stringing_lines
from pathgen.report.fretting import fretting_lines, strip_picture
from pathgen.report.neck import neck_data, neck_faults, neck_findings, neck_lines, side_picture
from pathgen.report.wording import doubt_line


@dataclass(frozen=True, eq=False, kw_only=True)
class Paper:
    """Data, words and a picture at true size."""

    data: Any
    lines: list[str]
    picture: Element | None = None


def _fretting(job: Job) -> Paper:
    board, wires = board_of(job), _asked(job, "frets", "with the wire's sizes; every key has a default")
    data = fretting_data(board, slots_of(job, board), wires)
    return Paper(data=data, lines=fretting_lines(data, job.units), picture=strip_picture(data, job.units))


def _strings(job: Job) -> Paper:
    board, strings = board_of(job), _asked(job, "strings", "with the strings' gauges, bass first")
    data = strung_data(board, strings, job.frets)
    told = [doubt_line(doubt, job.units) for doubt in of_strings(job)]
    return Paper(data=data, lines=[*stringing_lines(data, job.units), *told])


def _neck(job: Job) -> Paper:
    board, neck = board_of(job), _asked(job, "neck", "with kind, angle, joint_fret, fret_height and action_12")
    data = neck_rows(neck, board)
    wrong = neck_findings(data, job.units)
    return Paper(data=neck_data(data, wrong), lines=[*neck_lines(data, job.units), *neck_faults(wrong, job.units)],
                 picture=side_picture(data, job.units))


def _asked(job: Job, name: str, words: str) -> Any:
    """A table of the job; JobError where it is missing."""
    if (table := getattr(job, name)) is None:
        raise JobError(job.path.name, f"[{name}] is missing", remedy=f"add a [{name}] table {words}")
    return table


PAPERS: Mapping[str, Callable[[Job], Paper]] = {"fretting": _fretting, "strings": _strings, "neck": _neck}
