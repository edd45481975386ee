"""Where everything lies on the blank, before any path is planned."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache
from pathlib import Path

from shapely.geometry.base import BaseGeometry

from pathgen.app.folders import write_over
from pathgen.base import overlay
from pathgen.base.markup import Element, as_svg
from pathgen.base.plain import capital
from pathgen.base.units import fine_length, place_words
from pathgen.job.blank import parts_on_blank
from pathgen.job.doubts import doubts_of
from pathgen.job.job import Job
from pathgen.programs.plan import opened_in_plan
from pathgen.report.pictures.above import board_from_above
from pathgen.report.pictures.blank import blank_from_above
from pathgen.report.placed import placed_sizes, placed_words
from pathgen.report.wording import doubt_line, finding_line, left_out_lines
from pathgen.work.clamping import Clamping
from pathgen.work.operations import Outline
from pathgen.work.thin_wood import by_kind, more_places, what_to_do

PICTURE_OF = "pathgen show"
"""What a picture of ours is known by, so that the next may take its place."""


def placing(clamping: Clamping) -> Element:
    """The picture: blank, clamps, zero, drawings, slots and edges; whole in a browser's window however long it is."""
    picture = board_from_above(clamping, opened=_opened(clamping))
    picture.set("data-made-by", PICTURE_OF)
    picture.set("style", "max-width:100%;height:auto")
    return picture


def blank_placing(job: Job, clampings: Sequence[Clamping]) -> Element:
    """The picture of a blank with several parts, a clamping each."""
    picture = blank_from_above(job.title, clampings, [name for name, _ in parts_on_blank(job)], along=job.setup.along,
                               opened=[_opened(one) for one in clampings])
    picture.set("data-made-by", PICTURE_OF)
    return picture


def blank_lines(job: Job, clampings: Sequence[Clamping]) -> Iterator[str]:
    """What the drawings of each part on a blank hold that is likely a slip, or is not cut."""
    for (name, part), clamping in zip(parts_on_blank(job), clampings, strict=True):
        lines = [*(doubt_line(doubt, part.units) for doubt in clamping.doubts),
                 *left_out_lines(clamping.left_out, part.units)]
        yield from (f"{capital(name)}: {line}" for line in lines)


def save_placing(picture: Element, path: Path) -> None:
    """Write a picture, over an earlier one. Raises PathgenError for any other file, or one that cannot be written."""
    write_over(path, as_svg(picture), ours=f'data-made-by="{PICTURE_OF}"')


def placing_lines(job: Job, clamping: Clamping) -> Iterator[str]:
    """Where each drawing lies, how large it became, what is likely a slip, and what is not cut."""
    for inlay in clamping.inlays:
        yield (f"{capital(inlay.name)}, {', '.join(inlay.colours)}: {_extent(inlay.area, job.units)}"
               f"{placed_words(placed_sizes(inlay), job.units)}.")
    # for certain: the whole part where its surface or outline is cut, else the drawings
    whole = [clamping.board.outline] if clamping.surfacing or clamping.feature(Outline) else []
    cut = overlay.union_all([*whole, *(inlay.area for inlay in clamping.inlays)])
    for number, box in enumerate(clamping.setup.keep_out, 1):
        under = overlay.intersection(box.shape, cut)
        if under.area > 0:
            yield finding_line("warn", f"[setup] keep_out {number}",
                               f"lies over what is cut, {_extent(under, job.units)}", "beside it",
                               "move it off; the build says how far the cutter needs", units=job.units)
    for thin, *more in by_kind(clamping, _opened(clamping)):
        rings = f"red ring{'s' if more else ''} in the picture"
        yield finding_line("warn", place_words(*thin.at), f"{fine_length(thin.width)} of wood ({rings}) between "
                           f"{thin.between}{more_places(more)}",
                           fine_length(thin.needed), what_to_do([thin, *more]), units=job.units)
    for doubt in doubts_of(job, clamping):
        yield doubt_line(doubt, job.units)
    yield from left_out_lines(clamping.left_out, job.units)


@lru_cache(maxsize=2)
def _opened(clamping: Clamping) -> tuple[BaseGeometry, ...]:
    """What the cutters open of each inlay; of a v all that is drawn."""
    return tuple(opened_in_plan(clamping, inlay, of_v=lambda _, inlay: inlay.area) for inlay in clamping.inlays)


def _extent(shape: BaseGeometry, units: str) -> str:
    x0, y0, x1, y1 = (fine_length(v, units) for v in shape.bounds)
    return f"{x0} to {x1} along, {y0} to {y1} across"
