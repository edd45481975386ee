"""In how many layers a step clears wood, and where these are much thinner than is usual."""

from __future__ import annotations

import math

from pathgen.base.bending import deepest_layer, usual_layer
from pathgen.base.units import as_written, format_length
from pathgen.work.clamping import Clamping, Step
from pathgen.work.part import lowest_edge

THIN = 0.05
"""Of the usual layer: a program of thinner ones takes some twenty times as long."""
MANY = 40
"""Several times as many layers as are usual: fewer take no long time, however thin."""


def layers(clamping: Clamping, step: Step) -> tuple[int, float]:
    """How many, and how deep each is, mm: none where a ball end only follows the surface."""
    deep = step.operation.clears_deep(clamping.stock.thickness, lowest_edge(clamping.board))
    count = math.ceil(deep / step.cutter.stepdown - 1e-9)
    return count, deep / count if count else 0.0


def thin_layers(clamping: Clamping, step: Step) -> tuple[str, str]:
    """How many thin ones a step is cut in, and what to write instead, in words; empty where they are none or few."""
    (count, deep), usual = layers(clamping, step), usual_layer(step.cutter)
    if count <= MANY or deep >= THIN * usual:
        return "", ""
    low, high = (as_written(share * min(usual, deepest_layer(step.cutter)), clamping.units, down=True)
                 for share in (0.5, 1.0))
    return f"{count} layers of {format_length(deep, clamping.units)}", \
        f'write stepdown = {low} to {high} for "{step.cutter.name}"'
