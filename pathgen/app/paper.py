"""What is worked out for the bench without cutting: the fretting sheet, the strings, the neck."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pathgen.app.folders import write_new
from pathgen.base.errors import JobError
from pathgen.base.markup import Element, as_svg
from pathgen.job.job import Job
from pathgen.job.sense import part_of, slots_of
from pathgen.parts.fingerboard.layout import centre_crossings
from pathgen.parts.fingerboard.neck import neck_table
from pathgen.parts.fingerboard.rows import fretting_data
from pathgen.parts.fingerboard.stringing import stringing_data
from pathgen.report.fretting import fretting_lines, strip_picture
from pathgen.report.neck import neck_data, neck_findings, neck_lines, side_picture
from pathgen.report.stringing import stringing_lines


@dataclass(frozen=True, eq=False, kw_only=True)
class Paper:
    """Data, words and a picture at true size."""

    data: Any
    lines: list[str]
    picture: Element | None = None
    passed: bool = True

    def save_picture(self, path: Path) -> None:
        """Write the picture into a new file. Raises PathgenError where that cannot be done."""
        write_new(path, as_svg(self.picture))  # type: ignore[arg-type]


def _fretting(job: Job) -> Paper:
    if job.frets is None:
        raise _missing(job, "frets", "with the wire's sizes; every key has a default")
    board = part_of(job)
    data = fretting_data(board, slots_of(job, board), job.frets)
    return Paper(data=data, lines=fretting_lines(data, job.units), picture=strip_picture(data))


def _strings(job: Job) -> Paper:
    if job.strings is None:
        raise _missing(job, "strings", "with the strings' gauges, bass first")
    data = stringing_data(part_of(job).layout, job.strings,
                          crown=job.frets.wire_of(1).crown.height if job.frets else None)
    return Paper(data=data, lines=stringing_lines(data, job.units))


def _neck(job: Job) -> Paper:
    if job.neck is None:
        raise _missing(job, "neck", "with kind, angle, joint_fret, fret_height and action_12")
    board, neck = part_of(job), job.neck
    places = dict(zip(board.frets.number.tolist(), board.frets.distance.tolist(), strict=True))
    if neck.joint_fret not in places:
        raise JobError("[neck] joint_fret", f"there is no fret {neck.joint_fret}", allowed=f"1 to {max(places)}",
                       remedy="correct it")
    length = float(centre_crossings(board.layout.bridge[None])[0])
    found = neck_table(neck, scale_length=length, joint=float(places[neck.joint_fret]),
                       thickness=board.surface.thickness)
    wrong = neck_findings(neck, found)
    data = neck_data(neck, found, wrong)
    return Paper(
        data=data, lines=neck_lines(data, job.units), passed=all(f.severity != "forbid" for f in wrong),
        picture=side_picture(neck, found, thickness=board.surface.thickness, length=board.length),
    )


def _missing(job: Job, name: str, words: str) -> JobError:
    return JobError(job.path.name, f"[{name}] is missing", remedy=f"add a [{name}] table {words}")


PAPERS: Mapping[str, Callable[[Job], Paper]] = {"fretting": _fretting, "strings": _strings, "neck": _neck}
