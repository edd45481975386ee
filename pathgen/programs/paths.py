"""The path of each operation: one function for each kind, in a table by type."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.arrays import Bools, Floats
from pathgen.base.cutters import Cutter
from pathgen.base.errors import JobError, asked_by
from pathgen.base.memory import remembered
from pathgen.base.toolpath import Toolpath
from pathgen.programs.around import Around
from pathgen.programs.standing import in_the_way, left_by_roughing, near_clamps, outline_top, standing
from pathgen.strategies.cutting_out import outlining
from pathgen.strategies.drilling import drill_marks, drilling, hover_over_marks
from pathgen.strategies.matching import round_pieces
from pathgen.strategies.pocketing import PocketOptions, pocket
from pathgen.strategies.resurfacing import (
    RESURFACE_RIDGE,
    RIDGE_CLEAR,
    Waste,
    cutting_again,
    cutting_again_over,
    finishing,
)
from pathgen.strategies.roughing import roughing
from pathgen.strategies.slotting import bevelling, engraving, open_where_bevels_begin, slotting
from pathgen.strategies.tabs import Tabs, check_tabs_hold, tab_points
from pathgen.work import operations
from pathgen.work.clamping import Clamping, Step
from pathgen.work.features import Holes, Inlay
from pathgen.work.fill import lies_over
from pathgen.work.underside import sunk_of

_HOP = 1.0  # mm that ways across go over the height that rapids come down to, which is above all wood and fill
_HOP_BESIDE = 0.5  # mm more than the cutter needs on each side

Maker = Callable[[Any, Cutter, Around], Toolpath]


def path_of(step: Step, around: Around) -> Toolpath:
    """The path that a step takes. Raises JobError where it has nothing to cut, PathgenError as its strategy does."""
    with around.remembering(), asked_by(step.operation.table):
        path = PATHS[type(step.operation)](step.operation, step.cutter, around)
    if not len(path):
        raise JobError(step.title, f'"{step.cutter.name}" has nothing to cut', remedy="leave that cutter out")
    return path


def _rough(operation: operations.SurfaceRough, cutter: Cutter, around: Around) -> Toolpath:
    clamping = around.clamping
    return roughing(
        around.surfaced, clamping.first_surface, cutter, finish=clamping.cutter(operations.SurfaceFinish),
        stock_top=around.top, allowance=operation.feature.allowance, past=around.past, blank=clamping.stock.bounds,
        rapids=around.rapids,
    )


def _finish(operation: operations.SurfaceFinish, cutter: Cutter, around: Around) -> Toolpath:
    return finishing(
        around.first_passes, allowance=left_by_roughing(around), stock_top=around.top,
        later=around.last_passes if operation.feature.leave else None, rapids=around.rapids,
    )


def _again(operation: operations.CutAgain, cutter: Cutter, around: Around) -> Toolpath:
    inlay, surfacing, passes = operation.feature, operation.surfacing, around.first_passes
    stepdown, left = operation.at_once(cutter), left_by_roughing(around)
    waste: Waste = "wall" if left is None or left > cutter.stepdown else "cleared"
    if down := around.clamping.skimmed(inlay):  # what was filled after a skim stands above the lower surface
        passes = replace(passes, run=passes.run - [0.0, 0.0, down], surface=around.clamping.finished_surface)
    path = cutting_again_over(
        _round_fill(inlay, operation.near), passes, proud=inlay.overfill, stepdown=stepdown,
        beneath=None if operation.goes_round else operation.lowers,
        stays=not (operation.goes_round and surfacing.leave), waste=waste, rapids=around.rapids,
    )
    if operation.goes_round:
        return path
    proud = -surfacing.skim  # nothing but what the last passes take stands over the board
    if operation.lowers:
        # the wood stands as high as its ridges, the fill as those of the wide passes through it, just above them
        proud += operation.lowers + passes.scallop + RIDGE_CLEAR + RESURFACE_RIDGE * stepdown
        waste = "wall" if waste == "wall" else "raw"
    return Toolpath.joined([path, cutting_again(around.last_passes, proud=proud, stepdown=stepdown, skim=surfacing.skim,
                                                waste=waste, rapids=around.rapids)])


@remembered
def _round_fill(inlay: Inlay, near: float) -> BaseGeometry:
    """What lies within `near` mm of an inlay, or under its fill."""
    return overlay.union_all([overlay.buffer(inlay.area, near), lies_over(inlay)])


def _pocket(operation: operations.Pocket, cutter: Cutter, around: Around) -> Toolpath:
    return around.pockets[operation.feature.index][operation.nth].toolpath


def ridges_at_last(clamping: Clamping) -> float:
    """How high those stand on the surface once all inlays are cut, mm."""
    return clamping.surfacing.scallop if clamping.surfacing else 0.0


def _slots(operation: operations.Slot, cutter: Cutter, around: Around) -> Toolpath:
    path = slotting(operation.feature, surface=around.clamping.finished_surface, cutter=cutter, rapids=around.rapids,
                    stands=standing(cutter, around), ridges=ridges_at_last(around.clamping),
                    eases=operation.works_hard(cutter))
    return _hopping(path, cutter, around)


def _bevels(operation: operations.Bevel, cutter: Cutter, around: Around) -> Toolpath:
    slots, surface, clamping = operation.feature, around.clamping.finished_surface, around.clamping
    slotter = clamping.cutter(operations.Slot)
    opened = open_where_bevels_begin(slots, surface=surface, cutter=cutter, slotter=slotter) if slotter else 0.0
    path = bevelling(slots, surface=surface, cutter=cutter, rapids=around.rapids,
                     stands=standing(cutter, around, opened=opened))
    return _hopping(path, cutter, around)


def _hopping(path: Toolpath, cutter: Cutter, around: Around) -> Toolpath:
    """The same path, lower from cut to cut where no clamp stands: off all that are given, or where the finishing cutter
    has been. Of work that has moved since it is not known where that was."""
    finish, rapids, clamping = around.finish, around.rapids, around.clamping
    low = max(rapids.air_z, clamping.shared.highest if clamping.shared else 0.0) + _HOP
    if clamping.moved is not None or low >= rapids.safe_z:
        return path
    been = Polygon()
    if finish is not None:
        wide = float(finish.cutter.half_width(low - finish.surface.thickness))
        been = overlay.buffer(finish.over, wide - cutter.radius - _HOP_BESIDE)
    near = near_clamps(clamping, cutter.radius)

    def free(ways: NDArray[np.object_]) -> Bools:
        off = ~shapely.intersects(near, ways) if clamping.setup.keep_out else np.zeros(len(ways), bool)
        return np.asarray(off | shapely.covers(been, ways))

    return path.hopping(low, safe_z=rapids.safe_z, free=free)


def _holes(operation: operations.Operation[Holes], cutter: Cutter, around: Around) -> Toolpath:
    return drilling(operation.feature, cutter=cutter, top=around.top, rapids=around.rapids)


def _round_holes(operation: operations.Operation[Holes], cutter: Cutter, around: Around) -> Toolpath:
    return drilling(operation.feature, cutter=cutter, top=around.top, rapids=around.rapids,
                    wood=min(around.clamping.finished_surface.thickness, around.top))


def _cut_out(operation: operations.CutOut, cutter: Cutter, around: Around) -> Toolpath:
    cut, clamping = operation.feature, around.clamping
    (made,) = pocket(cut.shapes, surface=clamping.finished_surface, cutters=[cutter], depth=cut.depth,
                     safe_z=clamping.safe_z, where=cut.what,
                     options=PocketOptions(all_of_it=True, ridges=ridges_at_last(clamping)))
    return made.toolpath


def _marks(operation: operations.WitnessMarks, cutter: Cutter, around: Around) -> Toolpath:
    return drill_marks(operation.feature, cutter=cutter, top=around.top, rapids=around.rapids)


def _hover(operation: operations.Hover, cutter: Cutter, around: Around) -> Toolpath:
    return hover_over_marks(operation.feature, top=operation.feature.top(around.top), safe_z=around.clamping.safe_z)


def _engrave(operation: operations.Engrave, cutter: Cutter, around: Around) -> Toolpath:
    return engraving(operation.feature, cutter=cutter, top=around.clamping.surface.thickness, rapids=around.rapids)


def _outline(operation: operations.Outline, cutter: Cutter, around: Around) -> Toolpath:
    clamping, cut = around.clamping, operation.feature
    part, tabs = clamping.board.outline, Tabs(tabs_of(clamping), cut.tab_height, cut.tab_width)
    if len(tabs.at) and cut.tab_height >= clamping.stock.thickness:
        raise JobError(f"{cut.where} tab_height", f"{cut.tab_height:g} mm reaches the top of what is cut out",
                       allowed=f"less than {clamping.stock.thickness:.2f} mm", remedy="make the tabs lower")
    check_tabs_hold(tabs, part, blank=clamping.stock.bounds, cutter=cutter, where=f"{cut.where} tabs")
    return outlining(part, cutter=cutter, top=outline_top(cut, cutter, around), bottom=cut.bottom, tabs=tabs,
                     finish=cut.finish, rapids=around.rapids, stands=in_the_way(cut, cutter, around),
                     where=f"{cut.where} cutter")


def _pieces(operation: operations.CutPieces, cutter: Cutter, around: Around) -> Toolpath:
    cut = operation.feature
    return round_pieces(cut.shapes, cutter=cutter, thickness=around.top, through=cut.through,
                        safe_z=around.clamping.safe_z)


@lru_cache(maxsize=2)
def tabs_of(clamping: Clamping) -> Floats:
    """(n, 2) middles of the tabs, on the outline, not to be written to; none where the outline is not cut."""
    cutter, cut = clamping.cutter(operations.Outline), clamping.feature(operations.Outline)
    if cutter is None or cut is None:
        return np.empty((0, 2))
    slots = filter(None, map(clamping.feature, (operations.Slot, operations.NutSlot)))
    avoid = [each.lines.reshape(-1, 2) for each in slots]
    # what runs out of the part below: no tab stands over it
    mouths = [overlay.difference(sunk.shape, clamping.board.outline) for sunk in sunk_of(clamping)]
    return tab_points(
        clamping.board.outline, cut.tabs, avoid=np.concatenate([np.empty((0, 2)), *avoid]),
        width=cut.tab_width, cutter=cutter, where=f"{cut.where} tabs", rise=cut.tab_height - cut.bottom,
        inlays=overlay.union_all([*(inlay.area for inlay in clamping.inlays), *mouths]),
        all_round_in=clamping.stock.bounds if cut.all_round else None,
    )


PATHS: Mapping[type[operations.Operation[Any]], Maker] = {
    operations.SurfaceRough: _rough,
    operations.SurfaceFinish: _finish,
    operations.CutAgain: _again,
    operations.Pocket: _pocket,
    operations.Slot: _slots,
    operations.NutSlot: _slots,
    operations.Bevel: _bevels,
    operations.DowelHoles: _holes,
    operations.RoundHoles: _round_holes,
    operations.CutOut: _cut_out,
    operations.Channel: _cut_out,
    operations.SideDots: _holes,
    operations.WitnessMarks: _marks,
    operations.Hover: _hover,
    operations.Engrave: _engrave,
    operations.Outline: _outline,
    operations.CutPieces: _pieces,
}
