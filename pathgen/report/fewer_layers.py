"""Would the pockets of a cutter be done sooner in a layer less, that is not deeper than is usual for it: by how much.

That layer is planned, so that what is told is what it saves.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from pathgen.base.arrays import Floats
from pathgen.base.bending import usual_layer
from pathgen.base.cutters import Cutter
from pathgen.base.errors import PathgenError
from pathgen.base.feeds import ROUND_UP
from pathgen.base.plain import counted
from pathgen.base.units import as_written, format_length, rounded_up
from pathgen.programs.paths import path_of
from pathgen.programs.plan import Plan, pockets_with, proud_by
from pathgen.programs.timing import times
from pathgen.report.programs import Program
from pathgen.strategies.pocketing.places import are_high, layer_depths
from pathgen.work.clamping import Clamping
from pathgen.work.features import Inlay
from pathgen.work.operations import Pocket

_WORTH = 1.0
"""Minutes by the number of layers alone, from which it is planned."""


def fewer_layers(planned: Plan, programs: Sequence[Program]) -> Iterator[dict[str, Any]]:
    """For each cutter of pockets, the stepdown that saves a layer where it takes longest: what, minutes, its cost."""
    clamping = planned.clamping
    pockets = [program for program in programs if isinstance(program.step.operation, Pocket)]
    for name in dict.fromkeys(program.step.cutter.name for program in pockets):
        longest = max((one for one in pockets if one.step.cutter.name == name), key=lambda one: one.minutes)
        cutter, inlay = longest.step.cutter, longest.step.operation.opens
        assert inlay is not None
        deeper = replace(cutter, stepdown=_a_layer_less(cutter, clamping, inlay))
        now, then = (_layers(one, clamping, inlay) for one in (cutter, deeper))
        own = [program for program in programs if program.step.cutter.name == name]
        if (cutter.shape == "v" or any(clamping.done(program.step) for program in own)
                or longest.minutes * (1.0 - len(then) / len(now)) < _WORTH
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


def _layers(cutter: Cutter, clamping: Clamping, inlay: Inlay) -> Floats:
    """How thick the layers of an inlay's pocket are, ridges counted, mm."""
    proud, ridges = proud_by(clamping, inlay)
    above = ridges if are_high(ridges, cutter) else 0.0
    return np.diff(layer_depths(cutter, inlay.depth + proud, ridges), prepend=-above)


def _a_layer_less(cutter: Cutter, clamping: Clamping, inlay: Inlay) -> float:
    """The stepdown (mm) with which a pocket has a layer less, if it has more than one."""
    layers = _layers(cutter, clamping, inlay)
    return rounded_up(float(layers.sum()) / max(len(layers) - 1, 1), clamping.units)


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
