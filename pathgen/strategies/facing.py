"""The path of each cut over a whole top: roughed, finished, cut again over a fill.

A job's steps and the functions for one step alone (`cuts`) both come here, so that there is one way.
"""

from __future__ import annotations

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from pathgen.base import overlay
from pathgen.base.arrays import Bounds, Floats
from pathgen.base.cutters import Cutter
from pathgen.base.memory import remembered
from pathgen.base.surface import Surface
from pathgen.base.toolpath import Rapids, Toolpath
from pathgen.strategies.cut_again import resurfacing_runs_over
from pathgen.strategies.easing import Standing, eased
from pathgen.strategies.entering import ramped_in
from pathgen.strategies.resurfacing import Waste, resurfacing_runs
from pathgen.strategies.roughing import roughing_runs
from pathgen.strategies.surfacing import Passes

_EVERY = 1.0  # how near to each other the lowest place is looked for, mm


@remembered
def roughing(
    outline: Polygon, surface: Surface, cutter: Cutter, *, finish: Cutter | None, stock_top: float, allowance: float,
    past: float = 0.0, blank: Bounds | None = None, rapids: Rapids,
) -> Toolpath:
    """Layers down to `allowance` above the surface, eased where the cutter is in wood over its whole width."""
    runs = roughing_runs(outline, surface, cutter, finish=finish, stock_top=stock_top, allowance=allowance,
                         past=past, blank=blank)
    path = _path(runs, cutter, rapids)
    if not len(path):
        return path
    bounds = [*path.points[:, :2].min(axis=0), *path.points[:, :2].max(axis=0)]
    return eased(path, cutter, Standing.over(bounds, [cutter], None, level=stock_top, in_rows=True))


@remembered
def finishing(
    passes: Passes, *, allowance: float | None, stock_top: float, later: Passes | None = None, rapids: Rapids,
) -> Toolpath:
    """Down through what stands, then `passes`: through the `allowance` that roughing left, or, with None, raw stock. As
    far out as the `later` passes that will cut it once more go, if there are any."""
    proud = stock_top - _lowest(passes) if allowance is None else allowance
    # roughing leaves the allowance past the edges too, where the layers through it do not reach without a rim
    runs = resurfacing_runs(passes, proud=proud, stepdown=passes.cutter.stepdown, waste="raw", later=later)
    # down a steep radius the stock stands so high over the surface that over the crest layers are far up in the air
    return _path([_no_higher(run, rapids.air_z) for run in runs], passes.cutter, rapids)


@remembered
def cutting_again(
    passes: Passes, *, proud: float, stepdown: float, skim: float = 0.0, waste: Waste = "cleared", rapids: Rapids,
) -> Toolpath:
    """Down through what stands `proud` of the whole surface, then `passes` again, or `skim` lower."""
    runs = resurfacing_runs(passes, proud=proud, stepdown=stepdown, skim=skim, waste=waste)
    return _path(runs, passes.cutter, rapids)


@remembered
def cutting_again_over(
    area: Polygon | MultiPolygon, passes: Passes, *, proud: float, stepdown: float, beneath: float | None = None,
    stays: bool = True, waste: Waste = "cleared", rapids: Rapids,
) -> Toolpath:
    """Down through what stands `proud` over an area alone, then `passes` over it again.

    With `beneath`, `passes` are left to what comes after, which takes so many mm below the surface too. Their ridges
    are kept where all that they left `stays`.
    """
    runs = resurfacing_runs_over(area, passes, proud=proud, stepdown=stepdown, beneath=beneath, stays=stays,
                                 waste=waste)
    return _path(runs, passes.cutter, rapids)


def _path(runs: list[Floats], cutter: Cutter, rapids: Rapids) -> Toolpath:
    if not cutter.plunges:  # whole passes of a flat end, which lie level, begin with ramps of their own
        runs = [run if cutter.is_flat and run[0, 2] > run[-1, 2] else ramped_in(run, rapids.air_z, cutter)
                for run in runs]
    return rapids.between(runs)


def _no_higher(run: Floats, top: float) -> Floats:
    """The run, level at `top` where it would go above that."""
    over = run[:, 2] - top
    if over.max() <= 0.0:
        return run
    leaves = np.flatnonzero(over[1:] * over[:-1] < 0.0)
    share = (over[leaves] / (over[leaves] - over[leaves + 1]))[:, None]
    run = np.insert(run, leaves + 1, run[leaves] + share * (run[leaves + 1] - run[leaves]), axis=0)
    return np.column_stack([run[:, :2], np.minimum(run[:, 2], top)])


def _lowest(passes: Passes) -> float:
    """The lowest that the surface lies under a finishing cutter, mm: passes reach past the long edges, relief dips."""
    under = overlay.buffer(passes.outline, passes.cutter.radius, join_style="mitre")
    points = shapely.get_coordinates(shapely.segmentize(under, _EVERY))
    on_line = np.where([[True], [False]], points[:, 1], 0.0)  # a hollow is lowest on its centre-line
    with np.errstate(invalid="ignore"):
        return float(np.nanmin(passes.surface.height(points[:, 0], on_line)))
