"""How high the crest line of the board should be at each place along it, by the verifier's own reckoning."""

from __future__ import annotations

import numpy as np

from pathgen.base.arrays import Floats
from pathgen.base.lowered import Lowered
from pathgen.base.surface import Surface


def crest_heights(surface: Surface, x: Floats) -> Floats:
    """Height of the crest above the underside, mm, from what the job says of relief and fall-away."""
    crest = np.full(np.shape(x), surface.thickness)
    if not isinstance(surface, Lowered):
        return crest
    dip, fall = surface.relief, surface.fall_away
    if dip is not None:
        # how far from the deepest place, as a share of the way to where the dip ends on that side
        share = np.interp(x, [dip.start, dip.deepest, dip.end], [-1.0, 0.0, 1.0])
        crest -= dip.depth * (1.0 - share) * (1.0 + share)
    if fall is not None:
        share = np.maximum((x - fall.start) / (fall.end - fall.start), 0.0)
        crest -= fall.drop * (np.where(share < 1.0, share * share, 2.0 * share - 1.0) if fall.curved else share)
    return crest
