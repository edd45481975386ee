"""Programs round let-in pieces: is every piece cut free, whole, and left as it should be?

An upright cutter of radius r with its end below the stock's top takes away all within r of its axis, whatever its
depth. So a piece is whole when no such move comes closer than r to it, and cut free when every point of its outline
lies within r of a move at full depth. Both are exact distances in plan between the moves of the text and the outline.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.arrays import Floats
from pathgen.removal.motion import Motion
from pathgen.verify.findings import Finding, Tolerances, at, at_end
from pathgen.verify.in_plan import lines_of, nearest_at
from pathgen.work.clamping import Clamping, Step

_UNCUT = 0.01
"""How far beyond the cutter's radius a point of an outline may lie from the path and still count as cut, mm."""


def piece_findings(motion: Motion, step: Step, clamping: Clamping, tolerances: Tolerances) -> Iterator[Finding]:
    """Every piece against the moves of the program that cuts it out of its sheet."""
    pieces = step.operation.feature.shapes
    yield from _too_deep(motion, step, tolerances)
    yield from _past_the_stock(motion, step, clamping, tolerances)
    yield from _into_pieces(motion, step, clamping, pieces, tolerances)
    yield from _still_attached(motion, step, pieces, tolerances)


def _below(motion: Motion, height: float) -> tuple[Floats, Floats, NDArray[np.int64]]:
    """(starts, ends, lines): the parts below a height of all moves whose ends are known."""
    known = np.isfinite(motion.start).all(1) & np.isfinite(motion.end).all(1)
    low = known & (np.minimum(motion.start[:, 2], motion.end[:, 2]) < height)
    a, b = motion.start[low], motion.end[low]
    rise = b[:, 2] - a[:, 2]
    share = np.divide(height - a[:, 2], rise, out=np.zeros(len(a)), where=rise != 0)[:, None]
    crossing = a + share * (b - a)
    start = np.where((a[:, 2] > height)[:, None], crossing, a)
    end = np.where((b[:, 2] > height)[:, None], crossing, b)
    return start, end, motion.line[low]


def _into_pieces(
    motion: Motion, step: Step, clamping: Clamping, pieces: BaseGeometry, tolerances: Tolerances
) -> Iterator[Finding]:
    start, end, line = _below(motion, clamping.stock.thickness)
    within = shapely.get_parts(pieces)
    reach = step.cutter.radius - tolerances.outline
    hits = np.unique(shapely.STRtree(within).query(lines_of(start, end), predicate="dwithin", distance=reach)[0])
    if not len(hits):
        return
    whole = overlay.union_all(within)
    gap = shapely.distance(lines_of(start[hits], end[hits]), whole)
    worst = hits[int(np.argmin(gap))]
    place = nearest_at(start[worst], end[worst], whole)
    yield Finding(code="piece-cut-into", where=at(step.file_name, int(line[worst]), *place),
                  got=f"the cutter goes {step.cutter.radius - gap.min():.3f} mm into a piece",
                  allowed=f"{tolerances.outline:g} mm")


def _still_attached(
    motion: Motion, step: Step, pieces: BaseGeometry, tolerances: Tolerances
) -> Iterator[Finding]:
    bottom = step.operation.bottom + tolerances.below_bed
    known = motion.cutting & (np.maximum(motion.start[:, 2], motion.end[:, 2]) <= bottom)
    lines = shapely.line_merge(shapely.multilinestrings(lines_of(motion.start[known], motion.end[known])))
    kerf = overlay.union_all(overlay.buffer(shapely.get_parts(lines), step.cutter.radius + _UNCUT, quad_segs=64))
    left = shapely.get_parts(overlay.difference(shapely.boundary(pieces), kerf))
    left = left[shapely.length(left) > 0.0]
    if not len(left):
        return
    longest = left[int(np.argmax(shapely.length(left)))]
    x, y = shapely.get_coordinates(shapely.line_interpolate_point(longest, 0.5, normalized=True))[0].tolist()
    yield Finding(code="piece-not-cut-free", where=at(step.file_name, None, x, y),
                  got=f"{shapely.length(left).sum():.3f} mm of outline not cut through",
                  allowed="every piece cut all round")


def _too_deep(motion: Motion, step: Step, tolerances: Tolerances) -> Iterator[Finding]:
    """Deeper than the cut below the stock that the header tells the maker of."""
    z = np.where(np.isfinite(motion.end[:, 2]), motion.end[:, 2], np.inf)
    deepest = int(np.argmin(z)) if len(z) else 0
    if len(z) and z[deepest] < step.operation.bottom - tolerances.outline:
        yield Finding(code="too-deep-below-the-stock", where=at_end(step.file_name, motion, deepest),
                      got=f"{-z[deepest]:.3f} mm below the stock", allowed=f"{-step.operation.bottom:g} mm")


def _past_the_stock(motion: Motion, step: Step, clamping: Clamping, tolerances: Tolerances) -> Iterator[Finding]:
    start, end, line = _below(motion, clamping.stock.thickness)
    x0, y0, x1, y1 = clamping.stock.bounds
    r = step.cutter.radius - tolerances.outline
    ends = np.concatenate([start, end])[:, :2]
    out = ((ends < [x0 + r, y0 + r]) | (ends > [x1 - r, y1 - r])).any(axis=1)
    if out.any():
        worst = int(np.argmax(out))
        yield Finding(code="past-the-stock",
                      where=at(step.file_name, int(line[worst % len(line)]), *ends[worst].tolist()),
                      got="the cutter passes the edge of its stock", allowed="cuts inside it")
