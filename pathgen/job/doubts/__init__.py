"""What a job says that may be meant, and is likely a slip: told, not refused."""

from __future__ import annotations

from collections.abc import Iterator

from pathgen.base.errors import Doubt
from pathgen.job.back import KIND as BACK
from pathgen.job.doubts import blank, board, inlays, outline
from pathgen.job.form import FORMS
from pathgen.job.job import Job
from pathgen.job.nut_and_saddle import NUT
from pathgen.job.part import board_of
from pathgen.job.staged import apart_doubts, poured_apart
from pathgen.work.clamping import Clamping


def doubts_of(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """Every doubt about a job's numbers, in the order of its tables; of what is cut beside its part, those of it."""
    if clamping.kind == NUT:
        yield from board.nut_plate(job)
        yield from board.drawn_otherwise(job, board_of(job))
        yield from board.of_strings(job)
    if clamping.kind == BACK and not (job.marks and job.marks.drilled):  # zero is set on this side, for both
        for number, box in enumerate(clamping.setup.keep_out, 1):
            yield from blank.zero_under(clamping, f"[setup] keep_out {number}", box, job.units)
    if clamping.kind not in ("", *FORMS):
        return
    if not job.units_stated:
        yield Doubt(where="units", allowed='"mm" or "in"',
                    problem=f"not given: every length without a unit of its own was taken as {job.units}",
                    remedy='write units = "mm", or "in", at the top of the job', grave=False)
    yield from clamping.doubts
    yield from inlays.colours(clamping)
    yield from inlays.sizes(clamping)
    yield from apart_doubts(job)
    yield from poured_apart(job, clamping.inlays)
    yield from board.radius(job)
    yield from board.lengths(job)
    yield from board.widths(job, clamping)
    yield from blank.faced(job, clamping)
    yield from blank.no_roughing(job, clamping)
    yield from blank.dowels(job, clamping)
    yield from blank.drilled(job, clamping)
    yield from outline.inner_corners(job, clamping)
    yield from outline.mostly_tabs(job, clamping)
    yield from outline.no_waste_beyond(job, clamping)
    yield from blank.over_all(job)
    yield from inlays.nothing_beside(job, clamping)
    yield from board.drawn_otherwise(job, clamping.board)
    yield from board.strings_off(job, clamping)
    yield from inlays.mixes(job)
    yield from board.said_twice(job)
    yield from board.of_strings(job)
    yield from outline.line_on_page(job)
    yield from blank.one_dowel(job, clamping)
    yield from blank.clamps(job, clamping)
    yield from outline.thin_floors(job, clamping)
    yield from outline.loose(job, clamping)
    yield from inlays.v_before_others(job)
    yield from inlays.wide_gaps(job)
    yield from inlays.sloping_for_pieces(job)
    yield from inlays.sloping_walls(job, clamping)
    yield from inlays.flutes(clamping)
