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
from pathgen.removal.grid import Grid
from pathgen.removal.motion import Motion
from pathgen.verify.check import header_findings, read_programs
from pathgen.verify.cutting import cutting_findings
from pathgen.verify.findings import Finding, Tolerances, at
from pathgen.verify.handling import program_findings, travel_findings
from pathgen.verify.over_board import motion_over_board
from pathgen.verify.simulate import simulate
from pathgen.work.clamping import Clamping, Step

Floats = NDArray[np.float64]

AGAIN = "make the programs again from the job"


def verify_pieces(
    clamping: Clamping, text: str, pieces: BaseGeometry, *, resolution: float = 0.1, uncut: float = 0.01,
    job_fingerprint: str | None = None, tolerances: Tolerances | None = None,
) -> tuple[Finding, ...]:
    """Read the one program of a clamping and compare what it cuts with the pieces; what was found, worst first.

    Parameters
    ----------
    clamping : Clamping
        The flat stock, and one outline step without tabs, with an upright cutter.
    pieces : shapely geometry
        The pieces where they lie in the stock, mm.
    resolution : float
        Grid of the simulation that finds cuts too deep at once and rapids through the stock, mm.
    uncut : float
        How far beyond the cutter's radius a point of the outline may lie from the path and still count as cut, mm.
    """
    tolerances, (step,) = tolerances or Tolerances(), clamping.steps
    found: list[Finding] = []
    programs = read_programs(clamping, {step.file_name: text}, found)
    found += header_findings(programs, job_fingerprint)
    found += travel_findings(programs, clamping)
    for program in programs.values():
        motion = motion_over_board(program, clamping, chord_tolerance=tolerances.chord, step=step)
        found += program_findings(program, motion, step, clamping, tolerances)
        found += _too_deep(motion, step, clamping, tolerances)
        simulated = simulate(clamping, {step.order: motion}, Grid.over(clamping.stock.bounds, resolution), tolerances)
        found += cutting_findings(clamping, simulated, {step.order: motion}, tolerances)
        found += _past_the_stock(motion, step, clamping, tolerances)
        found += _into_pieces(motion, step, clamping, pieces, tolerances)
        found += _still_attached(motion, step, clamping, pieces, uncut, tolerances)
    return tuple(sorted(found, key=lambda f: ("forbid", "warn", "note").index(f.severity)))


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


def _in_plan(start: Floats, end: Floats) -> NDArray[np.object_]:
    return np.asarray(shapely.linestrings(np.stack([start[:, :2], end[:, :2]], axis=1)))


def _into_pieces(
    motion: Motion, step: Step, clamping: Clamping, pieces: BaseGeometry, tolerances: Tolerances
) -> Iterator[Finding]:
    start, end, line = _below(motion, clamping.stock.thickness)
    within = shapely.get_parts(pieces)
    reach = step.cutter.radius - tolerances.outline
    hits = np.unique(shapely.STRtree(within).query(_in_plan(start, end), predicate="dwithin", distance=reach)[0])
    if not len(hits):
        return
    gap = shapely.distance(_in_plan(start[hits], end[hits]), overlay.union_all(within))
    worst = hits[int(np.argmin(gap))]
    yield Finding(
        code="piece-cut-into", severity="forbid", where=at(step.file_name, int(line[worst]), *end[worst, :2].tolist()),
        got=f"the cutter goes {step.cutter.radius - gap.min():.3f} mm into a piece",
        allowed=f"{tolerances.outline:g} mm", remedy=AGAIN,
    )


def _still_attached(
    motion: Motion, step: Step, clamping: Clamping, pieces: BaseGeometry, uncut: float, tolerances: Tolerances
) -> Iterator[Finding]:
    bottom = _bottom(clamping) + tolerances.below_bed
    known = motion.cutting & (np.maximum(motion.start[:, 2], motion.end[:, 2]) <= bottom)
    lines = shapely.line_merge(shapely.multilinestrings(_in_plan(motion.start[known], motion.end[known])))
    kerf = overlay.union_all(overlay.buffer(shapely.get_parts(lines), step.cutter.radius + uncut, quad_segs=64))
    left = shapely.get_parts(overlay.difference(shapely.boundary(pieces), kerf))
    left = left[shapely.length(left) > 0.0]
    if not len(left):
        return
    longest = left[int(np.argmax(shapely.length(left)))]
    x, y = shapely.get_coordinates(shapely.line_interpolate_point(longest, 0.5, normalized=True))[0].tolist()
    yield Finding(
        code="piece-not-cut-free", severity="forbid", where=at(step.file_name, None, x, y),
        got=f"{shapely.length(left).sum():.3f} mm of outline not cut through", allowed="every piece cut all round",
        remedy=AGAIN,
    )


def _too_deep(motion: Motion, step: Step, clamping: Clamping, tolerances: Tolerances) -> Iterator[Finding]:
    """Deeper than the cut below the stock that the header tells the maker of."""
    z = np.where(np.isfinite(motion.end[:, 2]), motion.end[:, 2], np.inf)
    deepest = int(np.argmin(z)) if len(z) else 0
    if len(z) and z[deepest] < _bottom(clamping) - tolerances.outline:
        yield Finding(
            code="too-deep-below-the-stock", severity="forbid",
            where=at(step.file_name, int(motion.line[deepest]), *motion.end[deepest, :2].tolist()),
            got=f"{-z[deepest]:.3f} mm below the stock", allowed=f"{-_bottom(clamping):g} mm", remedy=AGAIN,
        )


def _past_the_stock(motion: Motion, step: Step, clamping: Clamping, tolerances: Tolerances) -> Iterator[Finding]:
    start, end, line = _below(motion, clamping.stock.thickness)
    x0, y0, x1, y1 = clamping.stock.bounds
    r = step.cutter.radius - tolerances.outline
    ends = np.concatenate([start, end])[:, :2]
    out = ((ends < [x0 + r, y0 + r]) | (ends > [x1 - r, y1 - r])).any(axis=1)
    if out.any():
        worst = int(np.argmax(out))
        yield Finding(
            code="past-the-stock", severity="forbid",
            where=at(step.file_name, int(line[worst % len(line)]), *ends[worst].tolist()),
            got="the cutter passes the edge of the stock", allowed="cuts inside the stock", remedy=AGAIN,
        )


def _bottom(clamping: Clamping) -> float:
    return clamping.outline.bottom if clamping.outline else 0.0
