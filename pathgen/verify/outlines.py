"""Whether the board is cut out on its line, and held by its tabs until the end."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import shapely
from numpy.typing import NDArray

from pathgen.base import overlay
from pathgen.base.arrays import Bools, Floats, Ints, first_of_most, stretches
from pathgen.base.plain import counted
from pathgen.base.units import beside_limit
from pathgen.removal.motion import Motion
from pathgen.verify.findings import Finding, Tolerances, at
from pathgen.verify.in_plan import further_than, lines_of, nearest_at
from pathgen.verify.simulate import Simulation
from pathgen.work.clamping import Clamping, Step
from pathgen.work.operations import DowelHoles

_EVERY = 0.1
"""Spacing of the places along the middle of the groove, mm."""
_ON_WALL = 0.2
"""Spacing of the places on the outline, mm: what a 1 mm cutter may leave between two is 0.03 mm high."""
_HOLDS_ON = 0.5
"""So much of the waste beside the groove a tab must reach, mm."""
_RISES = 1.0
"""Beside a tab the cutter may rise so much earlier than a radius before it, mm."""


def outline_findings(
    motion: Motion, step: Step, clamping: Clamping, sim: Simulation, tolerances: Tolerances
) -> Iterator[Finding]:
    """The outline's line from the text; its groove and tabs from what stood in the end."""
    board, r = clamping.board.outline, step.cutter.radius
    low = np.minimum(motion.start[:, 2], motion.end[:, 2])
    rows = np.flatnonzero(motion.cutting & ~(low > clamping.stock.thickness))
    lines = lines_of(motion.start[rows], motion.end[rows])
    gap = shapely.distance(lines, board)
    inside = gap < r - tolerances.outline
    if inside.any():
        i = _first_of_two(motion.motion[rows], gap, inside)
        row = rows[i]
        place = nearest_at(motion.start[row], motion.end[row], board)
        yield Finding(code="outline-inside", where=at(step.file_name, int(motion.line[row]), *place),
                      got=f"the cutter goes {beside_limit(r - gap[i], tolerances.outline, decimals=3)} inside "
                          "the outline",
                      allowed=f"{tolerances.outline:g} mm")
    middle, height = _middle(step, clamping, sim)
    there = _off_holes(middle, step, clamping)
    uncut = [*_not_cut(lines, board, step, tolerances),
             *_groove(middle[there], height[there], board, step, sim, tolerances)]
    high = np.maximum(motion.start[rows, 2], motion.end[rows, 2])
    held = middle[height > tolerances.tab]
    yield from uncut or _ledges(lines, high, board, held, step, _step_of(sim), tolerances)


def _first_of_two(way: Ints, gap: Floats, inside: Bools) -> int:
    """Which of some pieces of moves is told of those `inside`: the one with the least gap; or where no more than two
    moves follow on one another there, that of the first: a wrong word spoils the move to its place and that from it.
    `way` is the move, by its number, of each piece."""
    deepest, ways = first_of_most(-gap), set(way[inside].tolist())
    last = int(way[deepest])
    if last - 1 not in ways or last - 2 in ways or last + 1 in ways:
        return deepest
    return first_of_most(np.where(way == last - 1, -gap, -np.inf))


def _not_cut(
    lines: NDArray[np.object_], board: shapely.Polygon, step: Step, tolerances: Tolerances
) -> Iterator[Finding]:
    """Along the whole outline some move must run at exactly the cutter's radius from it."""
    r = step.cutter.radius
    samples = _on_wall(board, r, tolerances)
    far, gap = further_than(r + tolerances.outline, lines, shapely.points(samples))
    if len(lines) and len(far):
        i = int(far[np.argmax(gap)])
        yield Finding(code="outline-outside", where=at(step.file_name, None, *samples[i]),
                      got=f"{beside_limit(gap.max() - r, tolerances.outline, decimals=3)} left outside the outline",
                      allowed=f"{tolerances.outline:g} mm")


def _on_wall(board: shapely.Polygon, radius: float, tolerances: Tolerances) -> Floats:
    """(n, 2) places on the outline."""
    # where the outline turns, two straight ways meet r / cos(half the turn) from it: far off at corners alone
    corner = 2.0 * math.acos(1.0 / (1.0 + tolerances.outline / (2.0 * radius)))
    return _along(board.exterior, _ON_WALL, skip=0.05, corner=corner)


def _ledges(
    lines: NDArray[np.object_], high: Floats, board: shapely.Polygon, held: Floats, step: Step, step_of_grid: float,
    tolerances: Tolerances,
) -> Iterator[Finding]:
    """Some move at full depth, and none higher than a tab where one stands, must run at the cutter's radius: else a
    ledge stays at the foot of the wall.

    A lap further out may have opened the middle of the groove there all the same. `high` is how high each move comes,
    and `held` are (n, 2) places in the middle of the groove where something stands.
    """
    cut, r = step.operation.feature, step.cutter.radius
    tabs = shapely.multipoints(held) if cut.tabs else shapely.MultiPoint()
    samples = _on_wall(board, r, tolerances)
    places = shapely.points(samples)
    for level, beside in ((cut.skin, 2.0 * (r + step_of_grid) + _RISES), (max(cut.skin, cut.tab_height), 0.0)):
        far, gap = further_than(r + tolerances.outline, lines[high <= level + tolerances.tab], places)
        gap[shapely.dwithin(tabs, places[far], beside)] = 0.0  # the cutter rises a radius before the tab does
        if gap.any():
            yield Finding(code="outline-uncut", where=at(step.file_name, None, *samples[far[np.argmax(gap)]]),
                          got="a ledge at the foot of the wall, where no move at full depth comes to it",
                          allowed=f"cut to full depth within {tolerances.outline:g} mm of the outline, but at tabs")
            return


def _groove(
    samples: Floats, height: Floats, board: shapely.Polygon, step: Step, sim: Simulation, tolerances: Tolerances
) -> Iterator[Finding]:
    """Tabs are what stands in the middle of the groove, and across it."""
    cut, every, step_of_grid = step.operation.feature, _EVERY, _step_of(sim)
    if cut.skin:
        ways = _across(samples, board, step, sim, 2.0 * step.cutter.radius - step_of_grid)
        yield from _skin(height, np.where(np.isfinite(ways), ways, np.inf).min(axis=0), samples, step, tolerances)
        return
    name, spans = step.file_name, _round_spans(_closed(height > tolerances.tab, round(2 * step_of_grid / every)))
    widest = float(2 * cut.tab_width + 2 * step.cutter.diameter + 5 * cut.tab_height)  # it may slope, one in two or so
    if len(spans) != cut.tabs and not any(len(span) * every > widest for span in spans):  # else that is told
        yield Finding(code="tabs-missing" if len(spans) < cut.tabs else "outline-uncut", where=name,
                      got=f"{counted(len(spans), 'place')} where it is held", allowed=counted(cut.tabs, "tab"))
    for span in spans:
        x, y = samples[span[len(span) // 2]]
        width = len(span) * every
        whole = (cut.tab_width - tolerances.tab_width) / 2 - step_of_grid
        half = max(int(min(whole, width / 4) / every), 0)
        # beside an inner corner one end is cut off and the other slopes on: its middle is where it stands full
        core = float(np.lib.stride_tricks.sliding_window_view(height[span], 2 * half + 1).min(axis=1).max())
        ways = _across(samples[span], board, step, sim, 2.0 * step.cutter.radius + _HOLDS_ON)
        core = min(core, float(np.sort(ways.min(axis=0))[-half - 1]))
        if core < cut.tab_height - tolerances.tab:
            yield Finding(code="tab-too-thin", where=at(name, None, x, y), got=f"a tab {max(core, 0.0):.3f} mm thick",
                          allowed=f"{cut.tab_height:g} mm, and over half its width as far as the waste")
        if width < cut.tab_width - tolerances.tab_width - 2 * step_of_grid:
            yield Finding(code="tab-too-narrow", where=at(name, None, x, y), got=f"a tab {width:.1f} mm wide",
                          allowed=f"{cut.tab_width:g} mm")
        if float(height[span].max()) > cut.tab_height + 0.5 or width > widest:
            low, high = (f"{float(end(height[span])):.2f}" for end in (np.min if width > widest else np.max, np.max))
            yield Finding(code="outline-uncut", where=at(name, None, x, y),
                          got=f"{low if low == high else f'{low} to {high}'} mm left over {width:.1f} mm",
                          allowed=f"tabs of {cut.tab_height:g} by {cut.tab_width:g} mm")


def _off_holes(middle: Floats, step: Step, clamping: Clamping) -> Bools:
    """(n,) places where the groove meets no dowel hole: there a skin is as deep as the hole. A tab counts all the same.
    """
    holes = clamping.feature(DowelHoles) if step.operation.feature.skin else None
    if holes is None:
        return np.ones(len(middle), bool)
    away = shapely.distance(shapely.points(middle), shapely.multipoints(holes.at))
    return np.asarray(away > holes.diameter / 2 + step.cutter.radius)


def _middle(step: Step, clamping: Clamping, sim: Simulation) -> tuple[Floats, Floats]:
    """(n, 2) places along the middle of the groove, and (n,) what stands there in the end."""
    middle = overlay.buffer(clamping.board.outline, step.cutter.radius, quad_segs=32).exterior
    samples = _along(middle, _EVERY)
    return samples, _standing(samples, sim)


def _across(middle: Floats, board: shapely.Polygon, step: Step, sim: Simulation, far: float) -> Floats:
    """(k, n) what stands at k places on each of (n, 2) ways across the groove, from the wall to `far` from it, mm.

    A lap further out may cut a tab off from the waste, and leave the middle as it is.
    """
    r, ring = step.cutter.radius, board.exterior
    wall = shapely.get_coordinates(ring.interpolate(ring.project(shapely.points(middle))))
    out = np.arange(_step_of(sim), far, _EVERY)[:, None, None] / r
    return _standing(wall + out * (middle - wall), sim)


def _standing(places: Floats, sim: Simulation) -> Floats:
    """(..) what stands in the end at (.., 2) places; minus infinity beside the blank."""
    column, row = np.searchsorted(sim.grid.xs, places[..., 0]), np.searchsorted(sim.grid.ys, places[..., 1])
    inside = (column > 0) & (column < len(sim.grid.xs)) & (row > 0) & (row < len(sim.grid.ys))
    rows, columns = sim.grid.shape
    height = sim.top[np.minimum(row, rows - 1), np.minimum(column, columns - 1)]
    return np.where(inside, height, -np.inf)


def _step_of(sim: Simulation) -> float:
    return max(_EVERY, float(np.diff(sim.grid.xs[:2])[0]), float(np.diff(sim.grid.ys[:2])[0]))


def _skin(height: Floats, lowest: Floats, samples: Floats, step: Step, tolerances: Tolerances) -> Iterator[Finding]:
    """The same thickness must be left all round, where there is blank, and no less beside the middle of the groove."""
    skin = step.operation.feature.skin
    left = np.where(lowest < skin - tolerances.tab, lowest, height)
    off = np.where(np.isfinite(left), np.abs(left - skin), 0.0)
    worst = int(np.argmax(off))
    if off[worst] > tolerances.tab:
        yield Finding(code="skin-wrong", where=at(step.file_name, None, *samples[worst]),
                      got=f"{left[worst]:.3f} mm left under the groove" if left[worst] > 0 else
                      f"cut through, {-left[worst]:.3f} mm below the underside of the work",
                      allowed=f"{skin:g} mm within {tolerances.tab:g} mm")


def _along(ring: shapely.LinearRing, every: float, skip: float = 0.0, corner: float = 0.0) -> Floats:
    """(n, 2) points along a ring, `skip` away from corners: where it turns by more than `corner`, radians."""
    distance = np.arange(0.0, ring.length, every)
    points = shapely.get_coordinates(shapely.line_interpolate_point(ring, distance))
    if skip:
        corners = shapely.get_coordinates(ring)[:-1]
        heading = np.arctan2(*(np.roll(corners, -1, axis=0) - corners).T[::-1])
        turn = np.abs((heading - np.roll(heading, 1) + np.pi) % (2.0 * np.pi) - np.pi)
        points = points[~shapely.dwithin(shapely.multipoints(corners[turn > corner]), shapely.points(points), skip)]
    return points


def _closed(flags: Bools, most: int) -> Bools:
    """The same ring of flags without gaps of up to `most`: the foot of a tab's slope is ragged on a coarse grid."""
    if not flags.any():
        return flags
    closed = flags.copy()
    for gap in _round_spans(~flags):
        closed[gap] = len(gap) <= most
    return closed


def _round_spans(flags: Bools) -> list[Ints]:
    """Indices of each run of True in a ring of flags."""
    if flags.all() or not flags.any():
        return [np.arange(len(flags))] if flags.all() and len(flags) else []
    first = int(np.argmin(flags))
    order = (np.arange(len(flags)) + first) % len(flags)
    return [order[first:stop] for first, stop in stretches(flags[order])]
