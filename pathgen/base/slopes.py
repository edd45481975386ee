"""How steep a radiused top may be: across, down to its edges, and along, where its radius changes."""

from __future__ import annotations

import math

import numpy as np

from pathgen.base.arrays import Floats
from pathgen.base.surface import Surface

STEEPEST = 0.05
"""Rise over run along a board at the most, 1 in 20: more than any has, and what the cutters' paths are made for."""

STEEPEST_ACROSS = 1.0
"""The same across it: 45 degrees. Those of viols and basses, the roundest, are 30 to 40 (from memory)."""

OVER_HALF = math.hypot(1.0, 1.0 / STEEPEST_ACROSS)
"""So many times half the width the radius is at the least."""


def steepest_along(surface: Surface, x: Floats, y: Floats) -> float:
    """How steeply a radius that changes has places, x and y (n,), go up or down along the board, at the most."""
    radius = surface.radius(x)
    if np.any(radius <= np.abs(y)):
        return math.inf
    lean = 1.0 if surface.is_flat else radius / np.sqrt(radius**2 - y**2)
    return float(np.max(np.abs(surface.taper) * (lean - 1.0)))
