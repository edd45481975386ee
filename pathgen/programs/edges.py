"""From which edges of the blank X 0 and Y 0 can be set: not from those under clamps, nor past the machine's travel."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from pathgen.base import overlay
from pathgen.base.arrays import Floats
from pathgen.base.cutters import Cutter
from pathgen.base.units import SUMS
from pathgen.work.clamping import Clamping

CLEAR = 1.0
"""Kept between a tool that touches an edge and a clamp, mm."""


@dataclass(frozen=True, kw_only=True)
class Edges:
    """The two edges of the blank that the zero of one machine axis is set from, the lower on its display first."""

    axis: str
    """X or Y."""
    at: tuple[float, float]
    """What the display shows over them, mm."""
    clamped: tuple[bool, bool]
    """Whether clamps keep the tool off them."""
    past: tuple[bool, bool]
    """Whether they lie past the machine's travel; of two that it does not both reach, one that it reaches does not."""
    needs: float
    """What the machine must span to come beside the nearer of them, and to all that is cut and set, mm."""
    reach: tuple[float, float]
    """From where to where on the display all that lies, with those edges that are not past its travel, mm."""

    @property
    def barred(self) -> tuple[bool, ...]:
        """Whether they cannot be touched once the work is clamped."""
        return tuple(clamped or past for clamped, past in zip(self.clamped, self.past, strict=True))

    @property
    def best(self) -> int | None:
        """Which of them, 0 or 1, to set zero from, where both are barred before its clamp is put on; None where both
        lie past the travel."""
        return min((side for side in (0, 1) if not self.past[side]), key=lambda side: self.clamped[side], default=None)


def touching_radius(clamping: Clamping, cutter: Cutter) -> float:
    """Half the width of what touches an edge: the cutter, or where that is not as wide beside the blank a thin pin."""
    return cutter.radius if cutter.shape_height < clamping.stock.thickness else 0.0


def edges_of(clamping: Clamping, cutter: Cutter, span: Floats | None = None) -> tuple[Edges, Edges]:
    """Those across X and across Y, touched with the cutter of the first program. `span` is (2, 3), the lowest and the
    highest that the display shows of all that is cut and set; None where that is not known, and no edge is past it."""
    out = touching_radius(clamping, cutter)
    blank = _shown(clamping, clamping.blank)
    things = overlay.union_all([overlay.buffer(shapely.box(*_shown(clamping, one.shape.bounds).ravel()), out + CLEAR)
                                for one in clamping.setup.keep_out])
    beside = blank + [[-out], [out]]
    asked = blank if span is None else span
    travel = (np.inf, np.inf) if span is None or clamping.machine.travel is None else clamping.machine.travel

    def of(k: int) -> Edges:
        lines = [shapely.LineString(np.insert(blank[:, 1 - k][:, None], k, at, axis=1)) for at in beside[:, k]]
        clamped = tuple(bool(overlay.difference(line, things).is_empty) for line in lines)
        to_each = [np.append(asked[:, k], at) for at in beside[:, k]]
        within = [side for side in (0, 1) if np.ptp(to_each[side]) <= travel[k] + SUMS]
        if np.ptp(to_each) > travel[k] + SUMS:  # not both
            within = sorted(within, key=lambda side: (clamped[side], float(np.ptp(to_each[side]))))[:1]
        reach = np.concatenate([asked[:, k], *(to_each[side] for side in within)])
        return Edges(axis="XY"[k], at=(float(blank[0, k]), float(blank[1, k])), clamped=(clamped[0], clamped[1]),
                     past=(0 not in within, 1 not in within), needs=float(min(map(np.ptp, to_each))),
                     reach=(float(reach.min()), float(reach.max())))

    return of(0), of(1)


def _shown(clamping: Clamping, bounds: tuple[float, float, float, float]) -> Floats:
    """(2, 2) the lowest and the highest X, Y that the display shows over a box of the part's frame."""
    x0, y0, x1, y1 = bounds
    corners = clamping.to_machine(np.array([[x0, y0, 0.0], [x1, y1, 0.0]]))[:, :2]
    return np.array([corners.min(axis=0), corners.max(axis=0)])
