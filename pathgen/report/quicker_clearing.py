"""Would pockets be cleared sooner by a wider flat end first, or they and the outline by a layer less: by how much.
What is likely by rule of thumb is planned, so that what is told is what it saves."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from shapely.geometry.base import BaseGeometry

from pathgen.base.arrays import Floats
from pathgen.base.bending import usual_layer
from pathgen.base.cutters import Cutter, within
from pathgen.base.errors import PathgenError
from pathgen.base.feeds import ROUND_UP, usual_feed
from pathgen.base.plain import counted
from pathgen.base.units import INCH, MM_PER, as_written, format_length, rounded_down, rounded_up
from pathgen.programs.around import Around
from pathgen.programs.paths import path_of, ridges_at_last
from pathgen.programs.plan import Plan, pockets_with, proud_by
from pathgen.programs.standing import in_the_way, layers_way, outline_top
from pathgen.programs.timing import times
from pathgen.report.programs import Program
from pathgen.report.reckoning import CHANGE, cleared_in, likely_opened, simplified
from pathgen.strategies.cutting_out import most_round
from pathgen.strategies.pocketing.places import are_high, layer_depths
from pathgen.work.clamping import Clamping, Step
from pathgen.work.features import OutlineCut
from pathgen.work.operations import CutOut, Outline, Pocket

_LAYER_LESS = 1.0
"""Minutes by the number of layers alone, from which it is planned."""
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


def fewer_layers(planned: Plan, programs: Sequence[Program], *, outline: bool) -> Iterator[dict[str, Any]]:
    """For each cutter of pockets, of holes and openings, and of the `outline`, the stepdown that saves a layer where it
    takes longest: what, minutes, its cost."""
    clamping = planned.clamping
    kinds = (Pocket, CutOut, Outline) if outline else (Pocket, CutOut)
    layered = [program for program in programs if isinstance(program.step.operation, kinds)]
    for name, kind in dict.fromkeys((one.step.cutter.name, type(one.step.operation)) for one in layered):
        longest = max((one for one in layered if one.step.cutter.name == name and type(one.step.operation) is kind),
                      key=lambda one: one.minutes).step
        cutter = longest.cutter
        now = _thicknesses(longest, planned.around)
        deeper = replace(cutter, stepdown=within("stepdown", rounded_up(
            float(now.sum()) / max(len(now) - 1, 1), clamping.units)))
        then = _thicknesses(replace(longest, cutter=deeper), planned.around)
        own = [program for program in programs if program.step.cutter.name == name]
        minutes = next(program.minutes for program in own if program.step is longest)
        if (cutter.shape == "v" or any(clamping.done(program.step) for program in own)
                or minutes * (1.0 - len(then) / len(now)) < _LAYER_LESS
                or deeper.stepdown > min(usual_layer(cutter) * (1.0 + ROUND_UP), cutter.flute_length)):
            continue
        try:
            saved = sum(program.minutes for program in own) - _minutes(deeper, planned, own)
        except PathgenError:
            continue
        was, is_ = (format_length(float(layers.max()), clamping.units) for layers in (now, then))
        less = f"{counted(len(then), 'layer')} of {is_} instead of {len(now)} of {was}"
        yield {"change": f'[[cutter]] "{name}" stepdown = {as_written(deeper.stepdown, clamping.units)}',
               "minutes_saved": round(saved, 1), "cost": f"{less}: more load on the cutter"}


def _thicknesses(step: Step, around: Around) -> Floats:
    """How thick the layers of an inlay's pocket or a hole, ridges counted, or of the outline are, mm."""
    cutter, inlay, cut = step.cutter, step.operation.opens, step.operation.feature
    if isinstance(cut, OutlineCut):
        with around.remembering():
            top, stands = outline_top(cut, cutter, around), in_the_way(cut, cutter, around)
        if stands is not None:
            top = min(top, float(most_round(layers_way(cut, cutter, around), stands, cutter).max()))
        high = top - cut.bottom
        count = math.ceil(high / cutter.stepdown - 1e-9)
        return np.full(count, high / count)
    proud, ridges = proud_by(around.clamping, inlay) if inlay else (0.0, ridges_at_last(around.clamping))
    above = ridges if are_high(ridges, cutter) else 0.0
    return np.diff(layer_depths(cutter, cut.depth + proud, ridges), prepend=-above)


def _minutes(cutter: Cutter, planned: Plan, programs: Sequence[Program]) -> float:
    """How long some programs run with another cutter in place of theirs."""
    total, clamping = 0.0, planned.clamping
    for program in programs:
        step, operation = replace(program.step, cutter=cutter), program.step.operation
        if isinstance(operation, Pocket):
            cutters = [cutter if one.name == cutter.name else one for one in clamping.cutters_of(operation.feature)]
            path = pockets_with(clamping, operation.feature, cutters)[operation.nth].toolpath
        else:
            path = path_of(step, planned.around)
        total += times(path, cutter, clamping.machine).total
    return total


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
        own_ends = flat_ends(planned)
        area, worth = simplified(inlay.area), max(_WORTH * minutes, _PLANNED)
        tried = [(saved, cutter) for cutter in (*own_ends, *usual_sizes(cutters[0], clamping))
                 if (saved := _reckoned(cutter, cutters[0], own[0].minutes, area, inlay.depth)) > worth]
        if not tried:
            continue
        known = {one.name for one in own_ends}
        cutter = max(tried, key=lambda one: one[0] * (1.0 if one[1].name in known else _AT_HAND))[1]
        had = cutter.name in known
        try:
            cuts = pockets_with(clamping, inlay, [cutter, *cutters])
        except PathgenError:
            continue
        saved = minutes - sum(times(cut.toolpath, cut.cutter, clamping.machine).total for cut in cuts)
        if saved < _LEAST:
            continue
        after = ", ".join(f'"{one.name}"' for one in cutters)
        yield {"change": f"{inlay.name} cutters = [{named_cutter(cutter, had)}, {after}]",
               "minutes_saved": round(saved, 1), "cost": told_cost(cutter, cutters[0], clamping.units, had)}


def flat_ends(planned: Plan) -> list[Cutter]:
    """All that the job has, of steps or not."""
    had = (*(step.cutter for step in planned.clamping.steps), *planned.asked.cutters)
    return list({cutter.name: cutter for cutter in had if cutter.is_flat}.values())


def usual_sizes(first: Cutter, clamping: Clamping) -> list[Cutter]:
    """Flat ends of usual sizes, that take layers and feeds as the first cutter does for its size if it is one too.
    After a v they take half their diameter, at half the most feed that is usual."""
    out, units, unit = [], clamping.units, MM_PER[clamping.units]
    for diameter in (size for size in _SIZES[units] if not first.is_flat or size >= _WIDER * first.diameter):
        wider = diameter / first.diameter
        cutter = replace(first, name=format_length(diameter, units), shape="flat-end", angle=None, diameter=diameter,
                         stepdown=within("stepdown", rounded_down(
                             first.stepdown * wider if first.is_flat else diameter / 2.0)),
                         stepover=Cutter.stepover, flute_length=math.inf)
        most = usual_feed(cutter)[1]
        feed = min(first.feed * wider, max(most, first.feed)) if first.is_flat else most / 2.0
        feed = float(f"{min(feed, _SLOWER * clamping.machine.rapid) / unit:.2g}") * unit
        plunge = float(f"{feed / unit * min(first.plunge / first.feed, _PLUNGE):.2g}") * unit
        out.append(replace(cutter, feed=within("feed", feed), plunge=within("plunge", plunge)))
    return out


def _reckoned(cutter: Cutter, first: Cutter, minutes: float, area: BaseGeometry, depth: float) -> float:
    """About how many minutes a cutter before the first one saves of those that this takes."""
    if cutter.flute_length < depth or (first.is_flat and cutter.diameter < _WIDER * first.diameter):
        return 0.0
    opened = likely_opened(cutter, area)
    return minutes * opened / area.area - cleared_in(cutter, opened, depth)


def named_cutter(cutter: Cutter, known: bool) -> str:
    """A cutter of the job by its name, any other by its size."""
    return f'"{cutter.name}"' if known else f"a flat end of {cutter.name}"


def told_cost(cutter: Cutter, first: Cutter, units: str, known: bool) -> str:
    walls = "" if first.is_flat else ", and upright walls where it goes"
    if known:
        return f"another change of cutter{walls}"
    numbers = ", ".join(f"{key} = {as_written(getattr(cutter, key), units)}" for key in ("feed", "plunge", "stepdown"))
    return f"another cutter{walls}; reckoned with {numbers}: its maker's chart decides"
