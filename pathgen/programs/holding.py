"""Does what was cut before the outline leave so much wood beside the part as its tabs, or the skin, are high?"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely

from pathgen.base.arrays import Floats
from pathgen.base.cutters import Cutter
from pathgen.base.errors import JobError
from pathgen.base.toolpath import Move, Toolpath
from pathgen.base.units import place_words, rounded_down
from pathgen.programs.paths import tabs_of
from pathgen.strategies.cutting_out import cutting_line
from pathgen.work.clamping import Clamping
from pathgen.work.features import OutlineCut
from pathgen.work.operations import DowelHoles, Outline

_HOLDS_ON = 0.5
"""So much of the waste beyond the groove a tab must reach, mm."""

_ALONG, _ACROSS = 0.2, 0.1
"""Between places along the groove, and across it, at which it is asked what is left there, mm."""

_LESS = 0.005
"""What may be left less than asked for, mm: a refusal tells hundredths."""

_LEAST = 0.1
"""The least height of tabs and skin worth naming, mm."""


def check_holds(paths: Sequence[Toolpath], clamping: Clamping) -> None:
    """Raise JobError where an earlier path leaves less in the outline's groove than its tabs or its skin are high.

    Beside the edges of a tight radius the surface goes on down, and a round cutter leaves a hollow.
    """
    cut, cutter, last = clamping.feature(Outline), clamping.cutter(Outline), clamping.step(Outline)
    if cut is None or cutter is None or last is None:
        return
    high = cut.skin or (cut.tab_height if cut.tabs else 0.0)
    before = [(path, step.cutter) for path, step in zip(paths, clamping.steps, strict=True) if step.order < last.order
              and path.points[:, 2].min() < high and not (cut.skin and isinstance(step.operation, DowelHoles))]
    if not high or not before:
        return
    places = _in_groove(clamping, cut, cutter)
    left = np.min([left_at(places, path, by, high) for path, by in before], axis=0)
    worst = int(np.argmin(left))
    if left[worst] >= high - _LESS:
        return
    key, most = "skin" if cut.skin else "tab_height", rounded_down(float(left[worst]))
    x, y = places[worst].tolist()
    raise JobError(
        f"{cut.where} {key}", f"{high:g} mm, and what is cut before leaves {max(most, 0.0):.2f} mm in its groove at "
        f"{place_words(x, y, clamping.units)}",
        allowed=f"{most:.2f} mm or less" if most >= _LEAST else "no more than stands there",
        remedy=(f"make {key} {most:.2f} mm or less, or " if most >= _LEAST else "")
        + f"make the {clamping.board.names.part} thicker"
        + ("" if cut.skin else ", or write tabs = 0 and stick the work down"),
    )


def _in_groove(clamping: Clamping, cut: OutlineCut, cutter: Cutter) -> Floats:
    """(n, 2) places all over the groove where a skin is left, or those of the tabs and of what they hold on to."""
    ring, wide = cutting_line(clamping.board.outline, cutter), cutter.diameter
    if cut.skin:
        at = np.arange(0.0, ring.length, _ALONG)
    else:
        tabs = shapely.line_locate_point(ring, shapely.points(tabs_of(clamping)))
        at = np.ravel(tabs[:, None] + np.linspace(-0.5, 0.5, math.ceil(cut.tab_width / _ALONG) + 1) * cut.tab_width)
        wide += _HOLDS_ON
    middle = shapely.points(shapely.get_coordinates(shapely.line_interpolate_point(ring, at % ring.length)))
    ways = shapely.get_coordinates(shapely.shortest_line(clamping.board.outline, middle)).reshape(-1, 2, 2)
    share = np.arange(0.0, wide, _ACROSS)[:, None, None] / cutter.radius
    places: Floats = (ways[:, 0] + share * (ways[:, 1] - ways[:, 0])).reshape(-1, 2)
    return places


def left_at(places: Floats, path: Toolpath, cutter: Cutter, high: float = math.inf) -> Floats:
    """(n,) what a path leaves at (n, 2) places, mm; infinite where it goes no lower than `high`."""
    low = (np.minimum(path.points[:-1, 2], path.points[1:, 2]) < high) & (path.kinds[1:] != Move.RAPID)
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
