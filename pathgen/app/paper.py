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
from pathgen.report.fretting import fretting_lines, strip_picture
from pathgen.report.neck import neck_data, neck_faults, neck_findings, neck_lines, side_picture
from pathgen.report.stringing import stringing_lines
from pathgen.report.wording import doubt_line


@dataclass(frozen=True, eq=False, kw_only=True)
class Paper:
    """Data, words and a picture at true size."""

    data: Any
    lines: list[str]
    picture: Element | None = None


def _fretting(job: Job) -> Paper:
    board = board_of(job)
    if job.frets is None:
        raise _missing(job, "frets", "with the wire's sizes; every key has a default")
    data = fretting_data(board, slots_of(job, board), job.frets)
    return Paper(data=data, lines=fretting_lines(data, job.units), picture=strip_picture(data, job.units))


def _strings(job: Job) -> Paper:
    board = board_of(job)
    if job.strings is None:
        raise _missing(job, "strings", "with the strings' gauges, bass first")
    data = strung_data(board, job.strings, job.frets)
    told = [doubt_line(doubt, job.units) for doubt in of_strings(job)]
    return Paper(data=data, lines=[*stringing_lines(data, job.units), *told])


def _neck(job: Job) -> Paper:
    board = board_of(job)
    if job.neck is None:
        raise _missing(job, "neck", "with kind, angle, joint_fret, fret_height and action_12")
    data = neck_rows(job.neck, board)
    wrong = neck_findings(data, job.units)
    return Paper(data=neck_data(data, wrong), lines=[*neck_lines(data, job.units), *neck_faults(wrong, job.units)],
                 picture=side_picture(data, job.units))


def _missing(job: Job, name: str, words: str) -> JobError:
    return JobError(job.path.name, f"[{name}] is missing", remedy=f"add a [{name}] table {words}")


PAPERS: Mapping[str, Callable[[Job], Paper]] = {"fretting": _fretting, "strings": _strings, "neck": _neck}
