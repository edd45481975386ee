"""The path of each operation: one function for each kind, in a table by type."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.arrays import Bools, Floats
from pathgen.base.cutters import Cutter
from pathgen.base.errors import CutterError, JobError
from pathgen.base.memory import Memory, memory_in_use, remembering
from pathgen.base.surface import Surface
from pathgen.base.toolpath import AIR, APPROACH, Rapids, Toolpath
from pathgen.strategies.cutting_out import Tabs, check_tabs_hold, cutting_line, outlining, tab_points
from pathgen.strategies.drilling import drilling
from pathgen.strategies.engraving import engraving
from pathgen.strategies.facing import cutting_again, cutting_again_over, finishing, roughing
from pathgen.strategies.marks import drill_marks, hover_over_marks
from pathgen.strategies.matching import round_pieces
from pathgen.strategies.pocketing import PocketCut, PocketOptions, pocket
from pathgen.strategies.slotting import Stands, bevelling, slotting
from pathgen.strategies.surfacing import (
    OVERRUN,
    RESURFACE_RIDGE,
    RIDGE_CLEAR,
    Passes,
    Waste,
    finishing_passes,
    rough_reach,
    rough_ridge,
    rough_stairs,
    roughed,
)
from pathgen.work.clamping import Clamping, Step
from pathgen.work.features import Inlay, OutlineCut
from pathgen.work.fill import lies_over
from pathgen.work.operations import (
    RUN_OUT,
    Bevel,
    Channel,
    CutAgain,
    CutOut,
    CutPieces,
    DowelHoles,
    Engrave,
    Hover,
    NutSlot,
    Operation,
    Outline,
    Pocket,
    RoundHoles,
    SideDots,
    Slot,
    SurfaceFinish,
    SurfaceRough,
    WitnessMarks,
)


@dataclass(frozen=True, eq=False, kw_only=True)
class Around:
    """What the path of a step is made from, beside its operation and its cutter."""

    clamping: Clamping
    pockets: tuple[tuple[PocketCut, ...], ...] = ()
    """What each cutter of each inlay cuts, for the steps that open them."""
    memory: Memory = field(default_factory=Memory)
    """What was planned of it already, or of the clamping that this one is changed from."""

    @cached_property
    def finish(self) -> Passes | None:
        """The finishing passes, for the steps that follow them; None where the surface is left as it is."""
        surfacing = self.clamping.surfacing
        return self._passes(self.clamping.surface, surfacing.scallop) if surfacing is not None else None

    @cached_property
    def first(self) -> Passes | None:
        """The passes of the first cut: those of the last, or coarser ones that leave something to it."""
        surfacing = self.clamping.surfacing
        if surfacing is None or not surfacing.leave:
            return self.finish
        return self._passes(self.clamping.first_surface, surfacing.leave_scallop)

    def _passes(self, surface: Surface, scallop: float) -> Passes | None:
        cutter, surfacing = self.clamping.cutter(SurfaceFinish), self.clamping.surfacing
        if cutter is None or surfacing is None:
            return None
        rougher = self.clamping.cutter(SurfaceRough)
        return finishing_passes(self.surfaced, surface, cutter, scallop=scallop, stepover=surfacing.stepover,
                                entry=surfacing.entry + (rough_ridge(rougher) if rougher else 0.0))

    @cached_property
    def surfaced(self) -> Polygon:
        """What the surface is cut over: the part, any bay that a slot crosses, a hollow end that a nut's shelf runs out
        over, and what lies beside a drawing near the edge, as far as the flank of a wide cutter reaches: they meet no
        raw stock there."""
        part, bars = self.clamping.board.outline, list(self._beside_drawings())
        for slots in filter(None, map(self.clamping.feature, (Slot, NutSlot))):
            lines = shapely.linestrings(slots.lines)
            outside, of = shapely.get_parts(overlay.difference(lines, part), return_index=True)
            ends = shapely.multipoints(slots.lines)[of]
            crossed = outside[(shapely.length(outside) > 0) & (shapely.distance(outside, ends) > _AT_END)]
            bars += [*overlay.buffer(crossed, slots.width / 2 + RUN_OUT)]
        if nut := self.clamping.feature(NutSlot):
            across = overlay.buffer(shapely.linestrings(nut.lines[0]), nut.width / 2, cap_style="flat")
            shelf = overlay.intersection(across, shapely.convex_hull(part))
            bars += [shelf] if overlay.difference(shelf, part).area > _AT_END else []
        return Polygon(overlay.union_all([part, *bars]).exterior) if bars else part

    def _beside_drawings(self) -> Iterator[Polygon]:
        """What a pointed or round cutter, which opens no more than the drawing, may reach over higher up, as high as
        the stock: where the passes over the part alone leave something there."""
        clamping, finish = self.clamping, self.clamping.cutter(SurfaceFinish)
        if finish is None:
            return
        lowest = float(np.nanmin(clamping.surface.height(*shapely.get_coordinates(clamping.board.outline).T)))
        high = np.linspace(0.0, max(self.top - lowest, 0.0), _HEIGHTS)
        cleared = OVERRUN if finish.is_flat else finish.half_width(high)  # a flat end stays within the long edges
        for step in clamping.steps:
            inlay, cutter = step.operation.opens, step.cutter
            if inlay is None or cutter.is_flat:
                continue
            deep = inlay.depth if cutter.shape == "ball-end" else 0.0  # a v rises to the very edge in corners
            over = cutter.half_width(high + deep) - float(cutter.half_width(deep)) - cleared
            if over.max() > 0.0:
                near = shapely.get_parts(overlay.buffer(inlay.area, float(over.max()) + _BESIDE))
                yield from near[~shapely.covers(clamping.board.outline, near)]

    @property
    def past(self) -> float:
        """How far past what is surfaced the finishing passes go, mm."""
        return max((passes.past for passes in (self.first, self.finish) if passes is not None), default=0.0)

    @property
    def rapids(self) -> Rapids:
        clamping = self.clamping
        filled = [i.overfill for i in clamping.inlays if i.fill != "none"]
        air = max(clamping.stock.thickness, clamping.first_surface.thickness + max(filled, default=0.0)) + AIR
        return Rapids(clamping.safe_z, air)

    @property
    def top(self) -> float:
        """The top of the raw stock."""
        return self.clamping.stock.thickness


_HOP = 1.0  # mm that ways across go over the height that rapids come down to, which is above all wood and fill
_HOP_BESIDE = 0.5  # mm more than the cutter needs on each side

_BESIDE, _HEIGHTS = 0.3, 17
"""How much more than the flank of a cutter beside a drawing is cleared there, mm; at how many heights it is looked at.
"""

_OFF_CLAMPS = 3.0
"""Kept from clamps on low ways across, mm: they stay where they are when the work is moved a little."""

_RINGS, _ROUND, _CLOSE = 32, 16, 0.1
"""Under which a cutter that is not flat is looked at for what stands, and the places on each where more than so many mm
may stand over its tip.
"""

_OUTLINE_EVERY = 0.25
"""Between places of the outline's way at which it is asked how high wood stands, mm."""

_AT_END = 1e-6
"""Nearer to the end of a slot than this, what lies outside the part is where it runs out, mm."""

Maker = Callable[[Any, Cutter, Around], Toolpath]


def path_of(step: Step, around: Around) -> Toolpath:
    """The path that a step takes. Raises JobError where it has nothing to cut, PathgenError as its strategy does."""
    with remembering(memory_in_use() or around.memory):
        path = PATHS[type(step.operation)](step.operation, step.cutter, around)
    if not len(path):
        raise JobError(step.title, f'"{step.cutter.name}" has nothing to cut', remedy="leave that cutter out")
    return path


def _rough(operation: SurfaceRough, cutter: Cutter, around: Around) -> Toolpath:
    clamping = around.clamping
    return roughing(
        around.surfaced, clamping.first_surface, cutter, finish=clamping.cutter(SurfaceFinish), stock_top=around.top,
        allowance=operation.feature.allowance, past=around.past, blank=clamping.stock.bounds, rapids=around.rapids,
    )


def _finish(operation: SurfaceFinish, cutter: Cutter, around: Around) -> Toolpath:
    return finishing(
        _first(around), allowance=_left_by_roughing(around), stock_top=around.top,
        later=_last(around) if operation.feature.leave else None, rapids=around.rapids,
    )


def _left_by_roughing(around: Around) -> float | None:
    """The most that roughing leaves over the surface where passes go, mm; None where nothing is roughed."""
    rough, rougher = around.clamping.feature(SurfaceRough), around.clamping.cutter(SurfaceRough)
    if rough is None or rougher is None:
        return None
    return rough.allowance + rough_stairs(_first(around), rougher, stock_top=around.top, past=around.past,
                                          blank=around.clamping.stock.bounds)


def _again(operation: CutAgain, cutter: Cutter, around: Around) -> Toolpath:
    inlay, surfacing = operation.feature, operation.surfacing
    stepdown, left = operation.at_once(cutter), _left_by_roughing(around)
    waste: Waste = "wall" if left is None or left > cutter.stepdown else "cleared"
    if surfacing.resurface_area == "inlay" or surfacing.leave:
        wide = overlay.union_all([overlay.buffer(inlay.area, surfacing.blend), lies_over(inlay)])
        path = cutting_again_over(
            wide, _first(around), proud=inlay.overfill, stepdown=stepdown,
            beneath=surfacing.leave if operation.takes_all else None, waste=waste, rapids=around.rapids,
        )
    else:
        path = cutting_again(_last(around), proud=inlay.overfill, stepdown=stepdown, skim=surfacing.skim, waste=waste,
                             rapids=around.rapids)
    if not operation.takes_all:
        return path
    # the wood stands as high as its ridges, the fill as high as those of the wide passes through it, just above them
    proud = surfacing.leave + surfacing.leave_scallop + RIDGE_CLEAR + RESURFACE_RIDGE * stepdown
    last = cutting_again(_last(around), proud=proud, stepdown=stepdown + surfacing.leave_scallop, waste=waste,
                         rapids=around.rapids)
    return Toolpath.joined([path, last])


def _first(around: Around) -> Passes:
    assert around.first is not None
    return around.first


def _last(around: Around) -> Passes:
    assert around.finish is not None
    return around.finish


def _pocket(operation: Pocket, cutter: Cutter, around: Around) -> Toolpath:
    return around.pockets[operation.feature.index][operation.nth].toolpath


def _along_lines(cutting: Callable[..., Toolpath]) -> Maker:
    """Slots or bevels, as `cutting` makes them of their feature."""
    def path(operation: Slot | Bevel, cutter: Cutter, around: Around) -> Toolpath:
        made = cutting(operation.feature, surface=around.clamping.finished_surface, cutter=cutter,
                       stands=_standing(cutter, around), rapids=around.rapids)
        return _hopping(made, cutter, around)

    return path


def _standing(cutter: Cutter, around: Around) -> Stands | None:
    """How high a cutter is over what the finishing passes leave; beside them stands the stock, or fill. None where no
    program finishes it.

    Round a place most stands where a circle goes furthest from the passes: one so much wider that the chords between
    the places looked at on it go as far tells it.
    """
    surface, last, rapids = around.clamping.finished_surface, around.finish, around.rapids
    if last is None:
        return None
    rings, wider = np.linspace(0.0, cutter.radius, 2 if cutter.is_flat else _RINGS + 1), math.cos(math.pi / _ROUND)
    reach, lift = rings[1:, None], cutter.profile(rings[:-1, None])
    at = np.exp(2j * math.pi * np.arange(_ROUND) / _ROUND) * rings[1:, None] / wider
    places_round = np.stack([at.real, at.imag], axis=-1).reshape(-1, 2)
    most = np.array([rapids.air_z - AIR, rapids.air_z - APPROACH])[:, None, None]

    def tips(places: Floats) -> tuple[Floats, Floats]:
        found = last.stands(places, surface, reach=reach)
        for k in np.flatnonzero((found - lift).max(axis=0) > last.stands(places, surface, reach=0.0) + _CLOSE):
            found[:, k] = last.stands(places[k] + places_round, surface, reach=0.0).reshape(-1, _ROUND).max(axis=1)
        over, air = (np.minimum(found, most) - lift).max(axis=1)
        return over, air + APPROACH

    return tips


def near_clamps(clamping: Clamping, radius: float) -> BaseGeometry:
    """Where the axis of a cutter of a radius, mm, stays high: clamps may stand on a board that is not surfaced."""
    return overlay.buffer(overlay.union_all([thing.shape for thing in clamping.setup.keep_out]), radius + _OFF_CLAMPS)


def _hopping(path: Toolpath, cutter: Cutter, around: Around) -> Toolpath:
    """The same path, lower from cut to cut where no clamp stands: off all that are given, or where the finishing cutter
    has been.

    Of work that has moved since it is not known where that was.
    """
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


def _holes(operation: DowelHoles | RoundHoles | SideDots, cutter: Cutter, around: Around) -> Toolpath:
    try:
        return drilling(operation.feature, cutter=cutter, top=around.top, rapids=around.rapids)
    except CutterError as wrong:
        raise CutterError(f"{operation.table} {wrong.where}", wrong.problem, allowed=wrong.allowed,
                          remedy=wrong.remedy) from None


def _cut_out(operation: CutOut, cutter: Cutter, around: Around) -> Toolpath:
    cut, clamping = operation.feature, around.clamping
    ridges = clamping.surfacing.scallop if clamping.surfacing else 0.0
    (made,) = pocket(cut.shapes, surface=clamping.finished_surface, cutters=[cutter], depth=cut.depth,
                     safe_z=clamping.safe_z, where=cut.what, options=PocketOptions(all_of_it=True, ridges=ridges))
    return made.toolpath


def _marks(operation: WitnessMarks, cutter: Cutter, around: Around) -> Toolpath:
    return drill_marks(operation.feature, cutter=cutter, top=around.top, rapids=around.rapids)


def _hover(operation: Hover, cutter: Cutter, around: Around) -> Toolpath:
    return hover_over_marks(operation.feature, top=operation.feature.top(around.top), safe_z=around.clamping.safe_z)


def _engrave(operation: Engrave, cutter: Cutter, around: Around) -> Toolpath:
    return engraving(operation.feature, cutter=cutter, top=around.clamping.surface.thickness, rapids=around.rapids)


def _outline(operation: Outline, cutter: Cutter, around: Around) -> Toolpath:
    clamping, cut = around.clamping, operation.feature
    part, tabs = clamping.board.outline, Tabs(tabs_of(clamping), cut.tab_height, cut.tab_width)
    if len(tabs.at) and cut.tab_height >= clamping.stock.thickness:
        raise JobError(f"{cut.where} tab_height", f"{cut.tab_height:g} mm reaches the top of what is cut out",
                       allowed=f"less than {clamping.stock.thickness:.2f} mm", remedy="make the tabs lower")
    check_tabs_hold(tabs, part, blank=clamping.stock.bounds, cutter=cutter, where=f"{cut.where} tabs")
    fills = [clamping.first_surface.thickness + inlay.overfill for inlay in _filled_beside(cut, cutter, clamping)]
    return outlining(part, cutter=cutter, top=max([around.top, *fills]), bottom=cut.bottom, tabs=tabs,
                     finish=cut.finish, rapids=around.rapids, stands=_in_the_way(cut, cutter, around))


def _filled_beside(cut: OutlineCut, cutter: Cutter, clamping: Clamping) -> list[Inlay]:
    """Those whose fill may lie in the outline's way."""
    way, reach = cutting_line(clamping.board.outline, cutter), cutter.radius + cut.finish
    return [inlay for inlay in clamping.inlays
            if inlay.fill != "none" and shapely.dwithin(lies_over(inlay), way, reach)]


def _in_the_way(cut: OutlineCut, cutter: Cutter, around: Around) -> float:
    """The most that stands in the outline's way where the surface has been cut, mm; infinite where that is not known:
    without passes over it, or with fill beside the part, which is scraped off at best."""
    clamping, passes, reach = around.clamping, around.finish, cutter.radius + cut.finish
    way = shapely.segmentize(cutting_line(clamping.board.outline, cutter), _OUTLINE_EVERY)
    if passes is None or _filled_beside(cut, cutter, clamping):
        return np.inf
    near = reach + _OUTLINE_EVERY / 2.0
    stands = float(passes.stands(shapely.get_coordinates(way), clamping.finished_surface, reach=near).max())
    rough, rougher = clamping.feature(SurfaceRough), clamping.cutter(SurfaceRough)
    if rough is None or rougher is None:
        return stands
    over = rough_reach(around.surfaced, clamping.first_surface, rougher, finish=passes.cutter, stock_top=around.top,
                       past=around.past, blank=clamping.stock.bounds)
    groove = overlay.intersection(overlay.buffer(way, reach), shapely.box(*clamping.stock.bounds))
    if not shapely.covers(roughed(over, rougher), groove):
        return stands
    return min(stands, clamping.first_surface.thickness + rough.allowance + rough_ridge(rougher))


def _pieces(operation: CutPieces, cutter: Cutter, around: Around) -> Toolpath:
    cut = operation.feature
    return round_pieces(cut.shapes, cutter=cutter, thickness=around.top, through=cut.through,
                        safe_z=around.clamping.safe_z)


@lru_cache(maxsize=2)
def tabs_of(clamping: Clamping) -> Floats:
    """(n, 2) middles of the tabs, on the outline, not to be written to; none where the outline is not cut."""
    cutter, cut = clamping.cutter(Outline), clamping.feature(Outline)
    if cutter is None or cut is None:
        return np.empty((0, 2))
    slots = [s.lines.reshape(-1, 2) for s in (clamping.feature(Slot), clamping.feature(NutSlot)) if s is not None]
    return tab_points(
        clamping.board.outline, cut.tabs, avoid=np.concatenate([np.empty((0, 2)), *slots]),
        width=cut.tab_width, cutter=cutter, where=f"{cut.where} tabs", rise=cut.tab_height - cut.bottom,
        inlays=overlay.union_all([i.area for i in clamping.inlays]),
        all_round_in=clamping.stock.bounds if cut.all_round else None,
    )


PATHS: Mapping[type[Operation[Any]], Maker] = {
    SurfaceRough: _rough,
    SurfaceFinish: _finish,
    CutAgain: _again,
    Pocket: _pocket,
    Slot: _along_lines(slotting),
    NutSlot: _along_lines(slotting),
    Bevel: _along_lines(bevelling),
    DowelHoles: _holes,
    RoundHoles: _holes,
    CutOut: _cut_out,
    Channel: _cut_out,
    SideDots: _holes,
    WitnessMarks: _marks,
    Hover: _hover,
    Engrave: _engrave,
    Outline: _outline,
    CutPieces: _pieces,
}
