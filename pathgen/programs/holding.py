"""Does what was cut before the outline leave so much wood beside the part as its tabs, or the skin, are high?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely

from pathgen.base import overlay
from pathgen.base.arrays import Bools, Floats
from pathgen.base.cutters import Cutter
from pathgen.base.errors import JobError
from pathgen.base.toolpath import Move, Toolpath
from pathgen.base.units import place_words, rounded_down
from pathgen.programs.around import Around
from pathgen.programs.paths import path_of, tabs_of
from pathgen.strategies.cutting_line import cutting_line, places_on
from pathgen.work.clamping import Clamping, Step
from pathgen.work.features import LEAST_TAB, OutlineCut
from pathgen.work.operations import DowelHoles, Outline

_HOLDS_ON = 0.5  # so much of the waste beyond the groove a tab must reach, mm
_ALONG, _ACROSS = 0.2, 0.1
"""Between places along the groove, and across it, at which it is asked what is left there, mm."""
_LESS = 0.005  # what may be left less than asked for, mm: a refusal tells hundredths


def check_holds(paths: Sequence[Toolpath], clamping: Clamping) -> None:
    """Raise JobError where an earlier path leaves less in the outline's groove than its tabs or its skin are high.
    Beside the edges of a tight radius the surface goes on down, and a round cutter leaves a hollow."""
    cut, cutter, last = clamping.feature(Outline), clamping.cutter(Outline), clamping.step(Outline)
    if cut is None or cutter is None or last is None:
        return
    high = cut.skin or (cut.tab_height if cut.tabs else 0.0)
    before = [(path, step.cutter) for path, step in zip(paths, clamping.steps, strict=True) if step.order < last.order
              and path.points[:, 2].min() < high and not (cut.skin and isinstance(step.operation, DowelHoles))]
    if not high or not (before or clamping.surfacing is None):
        return
    places = _in_groove(clamping, cut, cutter)
    left = np.min([_blank_at(places, clamping), *(left_at(places, path, by, high) for path, by in before)], axis=0)
    worst = int(np.argmin(left))
    if left[worst] >= high - _LESS:
        return
    key, most = "skin" if cut.skin else "tab_height", rounded_down(float(left[worst]))
    x, y = places[worst].tolist()
    what = "what is cut before leaves" if before else "the blank, which has its surface already, has"
    raise JobError(f"{cut.where} {key}", f"{high:g} mm, and {what} {max(most, 0.0):.2f} mm in its groove at "
                   f"{place_words(x, y, clamping.units)}",
                   allowed=f"{most:.2f} mm or less" if most >= LEAST_TAB else "no more than stands there",
                   remedy=(f"make {key} {most:.2f} mm or less, or " if most >= LEAST_TAB else "")
                   + f"make the {clamping.board.names.part} thicker"
                   + ("" if cut.skin else ", or write tabs = 0 and stick the work down"))


def with_tabs_that_stand(clamping: Clamping) -> Clamping:
    """The same with tabs no higher than what cutting the surface leaves beside the part, where that is a tab at all."""
    last, around = clamping.step(Outline), Around(clamping=clamping)
    if last is None or not (cut := last.operation.feature).tabs:
        return clamping
    beside = overlay.buffer(clamping.board.outline, last.cutter.diameter + _HOLDS_ON, join_style="mitre").exterior
    if clamping.finished_surface.height(*shapely.get_coordinates(beside).T).min() >= cut.tab_height:
        return clamping  # nothing goes lower than the surface, which is lowest furthest out
    left = _left_by([s for s in clamping.steps if s.operation.makes_surface], last, around)
    high = rounded_down(min(cut.tab_height, left))
    lower = replace(last, operation=replace(last.operation, feature=replace(cut, tab_height=high)))
    return clamping if high < LEAST_TAB else replace(
        clamping, steps=tuple(lower if step is last else step for step in clamping.steps))


def stands_in_groove(clamping: Clamping) -> float:
    """How high the wood stands at least where tabs or a skin are left, once all is cut before them: mm."""
    last = clamping.step(Outline)
    assert last is not None
    return _left_by(clamping.steps[: last.order - 1], last, Around(clamping=clamping))


def _left_by(before: Sequence[Step], last: Step, around: Around) -> float:
    """The same of some of the steps `before` the outline's."""
    places = _in_groove(around.clamping, last.operation.feature, last.cutter)
    return float(np.min([_blank_at(places, around.clamping),
                         *(left_at(places, path_of(step, around), step.cutter) for step in before)]))


def _in_groove(clamping: Clamping, cut: OutlineCut, cutter: Cutter) -> Floats:
    """(n, 2) places all over the groove where a skin is left, or those of the tabs and of what they hold on to."""
    ring, wide = cutting_line(clamping.board.outline, cutter), cutter.diameter
    if cut.skin:
        at = np.arange(0.0, ring.length, _ALONG)
    else:
        tabs = shapely.line_locate_point(ring, shapely.points(tabs_of(clamping)))
        at = np.ravel(tabs[:, None] + np.linspace(-0.5, 0.5, math.ceil(cut.tab_width / _ALONG) + 1) * cut.tab_width)
        wide += _HOLDS_ON
    middle = shapely.points(places_on(ring, at))
    ways = shapely.get_coordinates(shapely.shortest_line(clamping.board.outline, middle)).reshape(-1, 2, 2)
    share = np.arange(0.0, wide, _ACROSS)[:, None, None] / cutter.radius
    places: Floats = (ways[:, 0] + share * (ways[:, 1] - ways[:, 0])).reshape(-1, 2)
    return places


def _blank_at(places: Floats, clamping: Clamping) -> Floats:
    """(n,) how high the blank stands at (n, 2) places: one that has its surface already falls beside the part too."""
    if clamping.surfacing is not None:
        return np.full(len(places), np.inf)
    return np.nan_to_num(clamping.board.surface.height(*places.T), nan=0.0)


def left_at(
    places: Floats, path: Toolpath, cutter: Cutter, high: float = math.inf, *, moves: Bools | None = None
) -> Floats:
    """(n,) what a path, or some of its `moves`, leaves at (n, 2) places, mm; infinite where it goes no lower than
    `high`."""
    low = (np.minimum(path.points[:-1, 2], path.points[1:, 2]) < high) & (path.kinds[1:] != Move.RAPID)
    low &= True if moves is None else moves
    start, end = path.points[:-1][low], path.points[1:][low]
    tree = shapely.STRtree(shapely.linestrings(np.stack([start[:, :2], end[:, :2]], axis=1)))
    at, move = tree.query(shapely.points(places), predicate="dwithin", distance=cutter.radius)
    way, off = end[move] - start[move], places[at] - start[move][:, :2]
    long = np.maximum((way[:, :2] ** 2).sum(axis=1), 1e-12)
    share = np.clip((way[:, :2] * off).sum(axis=1) / long, 0.0, 1.0)
    away = np.linalg.norm(off - share[:, None] * way[:, :2], axis=1)
    left = np.full(len(places), np.inf)
    np.minimum.at(left, at, start[move][:, 2] + share * way[:, 2] + cutter.profile(np.minimum(away, cutter.radius)))
    return left
