"""Whether the programs of each part of a common blank keep to its share: then what one takes is no other's business."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence

import numpy as np
import shapely

from pathgen.base import overlay
from pathgen.base.arrays import first_of_most
from pathgen.removal.motion import Motion
from pathgen.verify.findings import Finding, Tolerances, at
from pathgen.work.clamping import Clamping, Step

_TOUCHING = 1e-6


def share_findings(motion: Motion, step: Step, clamping: Clamping, tolerances: Tolerances) -> Iterator[Finding]:
    """A cutter that comes off its part's share below the highest thing that stands on the blank."""
    if clamping.shared is None:
        return
    x0, y0, x1, y1 = clamping.stock.bounds
    r, within = step.cutter.radius, tolerances.rounding
    start = np.where(np.isfinite(motion.start), motion.start, motion.end)
    low = np.fmin(start[:, 2], motion.end[:, 2]) < clamping.shared.highest
    ends = np.stack([start, motion.end], axis=1)[:, :, :2]
    each = np.maximum(np.array([x0, y0]) + r - ends, ends - np.array([x1, y1]) + r).max(axis=2)
    out = each.max(axis=1)
    off = low & (out > within)
    if off.any():
        i = first_of_most(np.where(off, out, -np.inf))
        yield Finding(
            code="off-its-share", where=at(step.file_name, int(motion.line[i]), *ends[i, int(np.argmax(each[i]))]),
            got=f"the cutter comes {out[i]:.3f} mm off the part's share of the blank ({int(off.sum())} moves)",
            allowed="below the highest thing on the blank, only over the part's own share",
        )


def overlap_findings(clampings: Sequence[Clamping]) -> Iterator[Finding]:
    """Two parts whose shares of the blank meet."""
    shares = [_share(one) for one in clampings if one.shared is not None]
    for (i, one), (k, other) in itertools.combinations(enumerate(shares, 1), 2):
        both = overlay.intersection(one, other)
        if both.area > _TOUCHING:
            x0, y0, x1, y1 = both.bounds
            yield Finding(
                code="shares-overlap", where=f"parts {i} and {k}",
                got=f"their shares of the blank overlap, X {x0:.2f} to {x1:.2f} mm, Y {y0:.2f} to {y1:.2f} mm",
                allowed="shares side by side",
            )


def _share(clamping: Clamping) -> shapely.Polygon:
    """In the programs' frame."""
    x0, y0, x1, y1 = clamping.stock.bounds
    corners = np.array([[x0, y0, 0.0], [x1, y0, 0.0], [x1, y1, 0.0], [x0, y1, 0.0]])
    return shapely.Polygon(clamping.to_machine(corners)[:, :2])
