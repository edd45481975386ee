"""Would a wider flat end before the cutters of an inlay clear it sooner: which, and by how much.

A cutter that opens a share of the drawing clears it about as much faster as what it takes in a minute is more: its
diameter times its layer times its feed. The best by that is planned, so that what is told is what it saves.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

from pathgen.base import overlay
from pathgen.base.cutters import Cutter
from pathgen.base.errors import PathgenError
from pathgen.base.feeds import usual_feed
from pathgen.base.units import INCH, as_written, format_length, rounded_down
from pathgen.programs.plan import Plan, pockets_with
from pathgen.programs.timing import times
from pathgen.report.programs import Program
from pathgen.work.features import Inlay

_LONG = 20.0
"""Minutes from which the pockets of an inlay are worth another cutter, and a look for one."""
_WIDER = 1.4
"""Times the diameter of the cutter after it."""
_AT_HAND = 0.8
"""Of what it saves, for a cutter that the job does not have: one that is at hand is rather taken."""
_SIZES = {"mm": (0.6, 0.8, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0), "in": tuple(INCH / n for n in (32, 16, 8, 4))}


def wider_first(planned: Plan, programs: Sequence[Program]) -> Iterator[dict[str, Any]]:
    """For each inlay that takes long, the change of its cutters that saves most: what, minutes, what it costs."""
    clamping = planned.clamping
    for inlay in clamping.inlays:
        own = [program for program in programs if program.step.operation.opens is inlay]
        minutes = sum(program.minutes for program in own)
        if minutes < _LONG or not own[0].step.cutter.is_flat:
            continue
        cutters = [program.step.cutter for program in own]
        known = {step.cutter.name: step.cutter for step in clamping.steps if step.cutter.is_flat}
        tried = [(saved, cutter) for cutter in (*known.values(), *_in_proportion(cutters[0], clamping.units))
                 if (saved := _reckoned(cutter, cutters[0], own[0].minutes, inlay)) > 0.0]
        if not tried:
            continue
        cutter = max(tried, key=lambda one: one[0] * (1.0 if one[1].name in known else _AT_HAND))[1]
        try:
            cuts = pockets_with(clamping, inlay, [cutter, *cutters])
        except PathgenError:
            continue
        saved = minutes - sum(times(cut.toolpath, cut.cutter, clamping.machine).total for cut in cuts)
        yield {"change": _words(cutter, cutters, inlay, clamping.units, cutter.name in known),
               "minutes_saved": round(saved, 1), "cost": _cost(cutter, clamping.units, cutter.name in known)}


def _in_proportion(first: Cutter, units: str) -> list[Cutter]:
    """Flat ends of usual sizes, that take layers and feeds as the first cutter does for its size, or as is usual."""
    out, unit = [], INCH if units == "in" else 1.0
    for diameter in _SIZES[units]:
        times_wider = diameter / first.diameter
        cutter = replace(first, name=format_length(diameter, units), diameter=diameter,
                         stepdown=rounded_down(first.stepdown * times_wider), flute_length=math.inf)
        feed = min(first.feed * times_wider, max(usual_feed(cutter)[1], first.feed))
        feed = float(f"{feed / unit:.2g}") * unit
        out.append(replace(cutter, feed=feed, plunge=first.plunge * feed / first.feed))
    return out


def _reckoned(cutter: Cutter, first: Cutter, minutes: float, inlay: Inlay) -> float:
    """About how many minutes a cutter before the first one saves of those that this takes."""
    if cutter.diameter < _WIDER * first.diameter or cutter.flute_length < inlay.depth:
        return 0.0
    opened = overlay.buffer(overlay.buffer(inlay.area, -cutter.radius, quad_segs=4), cutter.radius, quad_segs=4)
    share = opened.area / inlay.area.area
    rates = [one.diameter * one.stepover * min(one.stepdown, inlay.depth) * one.feed for one in (first, cutter)]
    return float(minutes * share * (1.0 - rates[0] / rates[1]))


def _words(cutter: Cutter, cutters: Sequence[Cutter], inlay: Inlay, units: str, known: bool) -> str:
    after = ", ".join(f'"{one.name}"' for one in cutters)
    named = f'"{cutter.name}"' if known else f"a flat end of {format_length(cutter.diameter, units)}"
    return f"{inlay.name} cutters = [{named}, {after}]"


def _cost(cutter: Cutter, units: str, known: bool) -> str:
    if known:
        return "another change of cutter"
    return (f"another cutter, reckoned with feed = {as_written(cutter.feed, units)}, stepdown = "
            f"{as_written(cutter.stepdown, units)}: its maker's chart decides")
