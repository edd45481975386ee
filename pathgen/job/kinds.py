"""What else a job has cut on a blank of its own: by command, by what its programs' headers state, by its clampings."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from pathgen.base.errors import PathgenError
from pathgen.job.back import KIND as BACK
from pathgen.job.bench import SIDE_DOTS, block_clamping, gauge_clampings, side_dot_clamping
from pathgen.job.blank import blank_clampings
from pathgen.job.clamping import clamping_of, without_idle_of
from pathgen.job.coupon import coupon_clamping
from pathgen.job.form import FORMS, parts_of
from pathgen.job.job import Job
from pathgen.job.nut_and_saddle import NUT, SADDLE, nut_and_saddle_clampings
from pathgen.job.pieces import piece_sheets
from pathgen.work.clamping import Clamping

Frets = tuple[int, int] | None


@dataclass(frozen=True, kw_only=True)
class Kind:
    """Clampings that are cut by one command into one folder."""

    command: str
    """What follows ``pathgen`` on a command line."""
    states: str
    """A pattern of what the headers of its programs state; its groups are the frets that it reaches over."""
    clampings: Callable[[Job, Frets], tuple[Clamping, ...]]
    """Of a job, and of the frets where it reaches over some. Raises PathgenError for a job that has nothing of it."""


KINDS = (
    Kind(command="block", states=r"block, frets (\d{1,3}) to (\d{1,3})",
         clampings=lambda job, frets: (block_clamping(job, frets),)),
    Kind(command="gauges", states="gauge", clampings=lambda job, _: gauge_clampings(job)),
    Kind(command="nut", states=f"{NUT}|{SADDLE}", clampings=lambda job, _: nut_and_saddle_clampings(job)),
    Kind(command="side-dots", states=SIDE_DOTS, clampings=lambda job, _: (side_dot_clamping(job),)),
    Kind(command="coupon", states="coupon", clampings=lambda job, _: (coupon_clamping(job),)),
    Kind(command="pieces", states="piece", clampings=lambda job, _: tuple(s.clamping for s in piece_sheets(job))),
    Kind(command="build", states="|".join(FORMS), clampings=lambda job, _: tuple(map(clamping_of, parts_of(job)))),
)

_HEAD = 4000  # characters of a program in which its header stands


def header_states(text: str, key: str) -> str:
    """What a program's header says after a key, such as ``part``; empty where it does not."""
    found = re.search(rf"^\({key}: ([^()\n]*)\)[ \r]*$", text[:_HEAD], re.MULTILINE)
    return found[1] if found else ""


def kind_of(stated: str) -> str:
    """The command that makes a program, by what its header states it to be of: ``build`` what none other does."""
    return next((kind.command for kind in KINDS if re.fullmatch(kind.states, stated)), "build")


def stated_clampings(job: Job, texts: Mapping[str, str]) -> tuple[Clamping, ...]:
    """The clampings that the programs of a folder say they cut; those that state nothing are the part's own.

    Raises PathgenError for a kind that nothing makes, or that the job does not have.
    """
    if job.parts:
        return blank_clampings(job)
    found = Counter(header_states(text, "part") for text in texts.values())
    # what most programs state; where as many state nothing, what is stated
    stated = max(found, key=lambda kind: (found[kind], bool(kind)), default="")
    if stated in ("", BACK):
        clamping = clamping_of(job)
        # a program may be missing, or its cutter idle: which, only the paths of the pockets tell
        return (clamping if set(texts) == clamping.files else without_idle_of(job, clamping)[0],)
    for kind in KINDS:
        if match := re.fullmatch(kind.states, stated):
            frets = [int(number) for number in match.groups()]
            return kind.clampings(job, (frets[0], frets[-1]) if frets else None)
    raise PathgenError("the programs' headers", f"part: {stated}",
                       allowed="; ".join(re.sub(r"\(.*?\)", "..", kind.states).replace("|", "; ") for kind in KINDS),
                       remedy="make the programs again from the job")
