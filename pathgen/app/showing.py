"""Where everything lies on the blank, before any path is planned."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from pathgen.app.folders import write_over
from pathgen.base.markup import Element, as_svg
from pathgen.base.units import fine_length, format_length
from pathgen.job.blank import blank_clampings, parts_on_blank
from pathgen.job.doubts import doubts_of
from pathgen.job.job import Job
from pathgen.report.finding_words import finding_line
from pathgen.report.pictures.above import board_from_above
from pathgen.report.pictures.blank import blank_from_above
from pathgen.work.clamping import Clamping

PICTURE_OF = "pathgen show"
"""What a picture of ours is known by, so that the next may take its place."""


def placing(clamping: Clamping) -> Element:
    """The picture: blank, clamps, zero, drawings, slots and edges."""
    picture = board_from_above(clamping)
    picture.set("data-made-by", PICTURE_OF)
    return picture


def save_placing(clamping: Clamping, path: Path) -> None:
    """Write the picture, over an earlier one. Raises PathgenError for any other file, or one that cannot be written."""
    write_over(path, as_svg(placing(clamping)), ours=f'data-made-by="{PICTURE_OF}"')


def save_blank(job: Job, path: Path) -> None:
    """Write the picture of a blank with several parts; as `save_placing` does."""
    picture = blank_from_above(job.title, blank_clampings(job), [name for name, _ in parts_on_blank(job)],
                               along=job.setup.along)
    picture.set("data-made-by", PICTURE_OF)
    write_over(path, as_svg(picture), ours=f'data-made-by="{PICTURE_OF}"')


def placing_lines(job: Job, clamping: Clamping) -> Iterator[str]:
    """Where each drawing lies, how large it became, and what is likely a slip."""
    for number, inlay in enumerate(clamping.inlays, 1):
        x0, y0, x1, y1 = (format_length(v, job.units, decimals=1 if job.units == "mm" else 2)
                          for v in inlay.area.bounds)
        sizes = inlay.placed[:1]
        size = f"; the drawing is placed {fine_length(sizes[0].width, job.units)} by " \
               f"{fine_length(sizes[0].height, job.units)}" if sizes else ""
        copies = f", {len(inlay.placed)} copies" if len(inlay.placed) > 1 else ""
        yield f"Inlay {number}, {', '.join(inlay.colours)}: {x0} to {x1} along, {y0} to {y1} across{size}{copies}."
    for doubt in doubts_of(job, clamping):
        yield finding_line("warn" if doubt.grave else "note", doubt.where, doubt.problem, doubt.allowed, doubt.remedy,
                           units=job.units)
