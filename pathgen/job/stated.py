"""Which clampings of a job a folder of programs is for, by what the programs' headers state."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping

from pathgen.base.errors import PathgenError
from pathgen.job.back import KIND as BACK
from pathgen.job.bench import block_clamping, gauge_clampings
from pathgen.job.blank import blank_clampings
from pathgen.job.clamping import clamping_of, clampings_of, without_idle_of
from pathgen.job.coupon import coupon_clamping
from pathgen.job.form import FORMS
from pathgen.job.job import Job
from pathgen.job.pieces import piece_sheets
from pathgen.job.plates import NUT, SADDLE, plate_clampings
from pathgen.job.side_dots import KIND, side_dot_clamping
from pathgen.work.clamping import Clamping

_KIND = re.compile(r"^\(part: ([^()\n]*)\)[ \r]*$", re.MULTILINE)
_BLOCK = re.compile(r"block, frets (\d{1,3}) to (\d{1,3})")
_HEAD = 4000
"""Characters of a program in which its kind may stand."""


def stated_clampings(job: Job, texts: Mapping[str, str]) -> tuple[Clamping, ...]:
    """The clampings that the programs of a folder say they cut; those that state nothing are the part's own.

    Raises PathgenError for a kind that nothing makes, or that the job does not have.
    """
    if job.parts:
        return blank_clampings(job)
    kind = _kind(texts)
    if kind in ("", BACK):
        return (_of_part(job, texts),)
    if kind == "gauge":
        return gauge_clampings(job)
    if kind in FORMS:
        return clampings_of(job)
    if kind == KIND:
        return (side_dot_clamping(job),)
    if kind in (NUT, SADDLE):
        return plate_clampings(job)
    if kind == "coupon":
        return (coupon_clamping(job),)
    if kind == "piece":
        return tuple(sheet.clamping for sheet in piece_sheets(job))
    if block := _BLOCK.fullmatch(kind):
        return (block_clamping(job, (int(block[1]), int(block[2]))),)
    raise PathgenError("the programs' headers", f"part: {kind}",
                       allowed=f"block, frets .. to ..; gauge; {NUT}; {SADDLE}; {KIND}; coupon; piece; "
                               f"{'; '.join(FORMS)}",
                       remedy="make the programs again from the job")


def _kind(texts: Mapping[str, str]) -> str:
    """What most programs state; where as many state nothing, what is stated."""
    found = Counter(match[1] if (match := _KIND.search(text[:_HEAD])) else "" for text in texts.values())
    return max(found, key=lambda kind: (found[kind], bool(kind)), default="")


def _of_part(job: Job, texts: Mapping[str, str]) -> Clamping:
    clamping = clamping_of(job)
    if set(texts) != clamping.files:
        # a program may be missing, or its cutter idle: which, only the paths of the pockets tell
        clamping = without_idle_of(job, clamping)
    return clamping
