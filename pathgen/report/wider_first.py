"""Would a wider flat end before the cutters of an inlay clear it sooner: which, and by how much.

Of a cutter that opens a share of the drawing it is reckoned that it saves that share of the time and takes what it
needs in straight cuts. The best by that is planned, so that what is told is what it saves.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

from shapely.geometry.base import BaseGeometry

from pathgen.base.cutters import Cutter
from pathgen.base.errors import PathgenError
from pathgen.base.feeds import usual_feed
from pathgen.base.units import INCH, MM_PER, as_written, format_length, rounded_down
from pathgen.programs.plan import Plan, pockets_with
from pathgen.programs.timing import times
from pathgen.report.programs import Program
from pathgen.report.reckoning import CHANGE, cleared_in, likely_opened, simplified
from pathgen.work.clamping import Clamping

_LEAST = CHANGE + 1.0
"""Minutes that a cutter must save to be worth its change and its zero."""
_PLANNED, _WORTH = 5.0, 0.1
"""Minutes by reckoning, which in fine drawings is more than comes of it, and their share, from which it is planned."""
_WIDER = 1.4
"""Times the diameter of the cutter after it."""
_PLUNGE = 1.0 / 3.0
"""Of its feed at most, for a cutter that the job does not have."""
_SLOWER = 0.9
"""Of the machine's rapids: as fast as it goes at most, rounded."""
_AT_HAND = 0.8
"""Of what it saves, for a cutter that the job does not have: one that is at hand is rather taken."""
_SIZES = {"mm": (0.6, 0.8, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0), "in": tuple(INCH / n for n in (32, 16, 8, 4))}


def wider_first(planned: Plan, programs: Sequence[Program]) -> Iterator[dict[str, Any]]:
    """For each inlay that takes long, the change of its cutters that saves most: what, minutes, what it costs."""
    clamping = planned.clamping
    for inlay in clamping.inlays:
        own = [program for program in programs if program.step.operation.opens is inlay]
        minutes = sum(program.minutes for program in own)
        cutters = [program.step.cutter for program in own]
        # of a v the walls, and of a round end the floor, are as they were chosen, but for what is poured
        begun = any(clamping.done(program.step) for program in own)
        may = cutters[0].is_flat or (cutters[0].shape == "v" and inlay.fill == "resin")
        if begun or minutes < _PLANNED or not may:
            continue
        had = (*(step.cutter for step in clamping.steps), *planned.asked.cutters)
        known = {cutter.name: cutter for cutter in had if cutter.is_flat}
        area, worth = simplified(inlay.area), max(_WORTH * minutes, _PLANNED)
        tried = [(saved, cutter) for cutter in (*known.values(), *_usual(cutters[0], clamping))
                 if (saved := _reckoned(cutter, cutters[0], own[0].minutes, area, inlay.depth)) > worth]
        if not tried:
            continue
        cutter = max(tried, key=lambda one: one[0] * (1.0 if one[1].name in known else _AT_HAND))[1]
        try:
            cuts = pockets_with(clamping, inlay, [cutter, *cutters])
        except PathgenError:
            continue
        saved = minutes - sum(times(cut.toolpath, cut.cutter, clamping.machine).total for cut in cuts)
        if saved < _LEAST:
            continue
        named = f'"{cutter.name}"' if cutter.name in known else f"a flat end of {cutter.name}"
        after = ", ".join(f'"{one.name}"' for one in cutters)
        yield {"change": f"{inlay.name} cutters = [{named}, {after}]", "minutes_saved": round(saved, 1),
               "cost": _cost(cutter, cutters[0], clamping.units, cutter.name in known)}


def _usual(first: Cutter, clamping: Clamping) -> list[Cutter]:
    """Flat ends of usual sizes, that take layers and feeds as the first cutter does for its size if it is one too.

    After a v they take half their diameter, at half the most feed that is usual.
    """
    out, units, unit = [], clamping.units, MM_PER[clamping.units]
    for diameter in (size for size in _SIZES[units] if not first.is_flat or size >= _WIDER * first.diameter):
        wider = diameter / first.diameter
        cutter = replace(first, name=format_length(diameter, units), shape="flat-end", angle=None, diameter=diameter,
                         stepdown=rounded_down(first.stepdown * wider if first.is_flat else diameter / 2.0),
                         stepover=Cutter.stepover, flute_length=math.inf)
        most = usual_feed(cutter)[1]
        feed = min(first.feed * wider, max(most, first.feed)) if first.is_flat else most / 2.0
        feed = float(f"{min(feed, _SLOWER * clamping.machine.rapid) / unit:.2g}") * unit
        plunge = float(f"{feed / unit * min(first.plunge / first.feed, _PLUNGE):.2g}") * unit
        out.append(replace(cutter, feed=feed, plunge=plunge))
    return out


def _reckoned(cutter: Cutter, first: Cutter, minutes: float, area: BaseGeometry, depth: float) -> float:
    """About how many minutes a cutter before the first one saves of those that this takes."""
    if cutter.flute_length < depth or (first.is_flat and cutter.diameter < _WIDER * first.diameter):
        return 0.0
    opened = likely_opened(cutter, area)
    return minutes * opened / area.area - cleared_in(cutter, opened, depth)


def _cost(cutter: Cutter, first: Cutter, units: str, known: bool) -> str:
    walls = "" if first.is_flat else ", and upright walls where it goes"
    if known:
        return f"another change of cutter{walls}"
    numbers = ", ".join(f"{key} = {as_written(getattr(cutter, key), units)}" for key in ("feed", "plunge", "stepdown"))
    return f"another cutter{walls}; reckoned with {numbers}: its maker's chart decides"
