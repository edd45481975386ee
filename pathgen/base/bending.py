"""Would a cutter break, by a simple estimate; and how deep a layer is usual for its size.

The cutter is a cantilever with a round core, clamped at the collet's end of its flutes, loaded sideways in the middle
of the layer that it cuts: stress = F L / W with W = pi d^3 / 32 (any handbook of strength of materials). The force is
the cutting pressure times the section of one tooth's chip in a full-width cut.
"""

from __future__ import annotations

import math

from pathgen.base.cutters import Cutter
from pathgen.base.halving import halved

PRESSURE = 40.0
"""Cutting force for each mm2 of chip in hardwood, N: the top of some 15 to 40 (handbooks, from memory)."""

CORE = 0.65
"""Of the diameter: what the flutes leave (from memory)."""

STRENGTH = 1500.0
"""Bending stress that a carbide cutter stands in use, N/mm2: half of its rupture strength of 2500 to 3500 (memory)."""

GULLET = (1.0 - CORE) / 2.0
"""How deep the flutes are, in diameters: with more to take, a tooth has the core run into the wood (from `CORE`)."""

USUAL_LAYER = {1: 1.0, 2: 1.0, 3: 0.75}
"""Deepest layer usual in hardwood, in diameters, by flutes: more flutes, less room for chips (common practice)."""

LONG_FLUTES = 20.0
"""Flutes longer than this, in diameters, are likely a slip: those of long cutters are some 10 (common practice)."""

MANY_FLUTES = 0.5
"""The same for more flutes."""


def bending_stress(cutter: Cutter, layer: float) -> float:
    """Stress at the root of the flutes, N/mm2, in a full-width cut `layer` deep (mm) at the cutter's feed.

    The lever is the flutes' length where that is given, or the layer.
    """
    chip = cutter.feed / (cutter.speed * cutter.flutes)
    length = max(cutter.flute_length if math.isfinite(cutter.flute_length) else layer, layer)
    force = PRESSURE * layer * chip
    return force * (length - layer / 2.0) / (math.pi * (CORE * cutter.diameter) ** 3 / 32.0)


def deepest_layer(cutter: Cutter) -> float:
    """The deepest layer (mm) that bends a cutter to STRENGTH and no more, by halving: the stress rises with it."""
    return halved(lambda layer: bending_stress(cutter, layer) <= STRENGTH, 0.0, 1000.0, within=1e-12)[0]


def has_long_flutes(cutter: Cutter) -> bool:
    """Whether the length of its flutes is given and likely a slip."""
    return LONG_FLUTES * cutter.diameter < cutter.flute_length < math.inf


def usual_layer(cutter: Cutter) -> float:
    """The deepest layer (mm) usual in hardwood for a cutter of its diameter and flutes."""
    return USUAL_LAYER.get(cutter.flutes, MANY_FLUTES) * cutter.diameter
