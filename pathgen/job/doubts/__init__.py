"""What a job says that may be meant, and is likely a slip: told, not refused."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from pathgen.base.errors import Doubt
from pathgen.job.back import KIND as BACK
from pathgen.job.doubts import blank, board, inlays, outline
from pathgen.job.form import FORMS
from pathgen.job.job import Job
from pathgen.job.nut_and_saddle import NUT
from pathgen.job.on_wood import drawn_gaps, holes_in_groove
from pathgen.job.staged import apart_doubts, cut_apart
from pathgen.work.clamping import Clamping


def doubts_of(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """Every doubt about a job's numbers, in the order of its tables; of what is cut beside its part, those of it."""
    if clamping.kind == NUT:
        yield from board.nut_plate(job, clamping)
        yield from board.drawn_otherwise(job, clamping)
        yield from board.of_strings(job)
    if clamping.kind == BACK and not (job.marks and job.marks.drilled):  # zero is set on this side, for both
        for number, box in enumerate(clamping.setup.keep_out, 1):
            yield from blank.zero_under(clamping, f"[setup] keep_out {number}", box, job.units)
    if clamping.kind not in ("", *FORMS):
        yield from clamping.doubts
        return
    if not job.units_stated:
        yield Doubt(where="units", allowed='"mm" or "in"',
                    problem=f"not given: every length without a unit of its own was taken as {job.units}",
                    remedy='write units = "mm", or "in", at the top of the job', grave=False)
    yield from clamping.doubts
    for doubts in _OF_PART:
        yield from doubts(job, clamping)


_OF_PART: tuple[Callable[[Job, Clamping], Iterator[Doubt]], ...] = (
    inlays.colours, inlays.sizes, inlays.shallow, apart_doubts, cut_apart, board.radius, board.lengths,
    board.widths, blank.faced, blank.much_longer, blank.near_the_work, blank.no_roughing, blank.dowels, blank.drilled,
    holes_in_groove, blank.wide_marks, outline.inner_corners, outline.tenths, outline.mostly_tabs,
    outline.no_waste_beyond, blank.over_all, inlays.nothing_beside, board.drawn_otherwise, drawn_gaps, board.nut_face,
    board.whole_partial_frets, board.crowns_over, board.strings_off, inlays.mixes, board.said_twice, board.of_strings,
    outline.line_on_page, blank.one_dowel, blank.clamps, outline.thin_floors, outline.loose, inlays.v_before_others,
    inlays.wide_gaps, inlays.sloping_for_pieces, inlays.sloping_walls, inlays.flutes,
)
"""Told in this order."""
