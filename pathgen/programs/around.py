"""What the path of a step is made from, beside its operation and its cutter: passes, heights of rapids, the raw top."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import shapely
from shapely import Polygon

from pathgen.base import overlay
from pathgen.base.memory import Memory, memory_in_use, remembering
from pathgen.base.surface import Surface
from pathgen.base.toolpath import AIR, Rapids
from pathgen.strategies.pocketing import PocketCut
from pathgen.strategies.roughing import rough_ridge
from pathgen.strategies.surfacing import OVERRUN, Passes, finishing_passes
from pathgen.work.clamping import Clamping
from pathgen.work.operations import RUN_OUT, NutSlot, Slot, SurfaceFinish, SurfaceRough
from pathgen.work.part import lowest_edge

_BESIDE, _HEIGHTS = 0.3, 17
"""How much more than the flank of a cutter beside a drawing is cleared there, mm; at how many heights it is seen."""
_AT_END = 1e-6
"""Nearer to the end of a slot than this, what lies outside the part is where it runs out, mm."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Around:
    """What the path of a step is made from, beside its operation and its cutter."""

    clamping: Clamping
    pockets: tuple[tuple[PocketCut, ...], ...] = ()
    """What each cutter of each inlay cuts, for the steps that open them."""
    memory: Memory = field(default_factory=Memory)
    """What was planned of it already, or of the clamping that this one is changed from."""

    def remembering(self) -> AbstractContextManager[None]:
        """Within it answers are kept in its memory, or in that of a watch, and taken from there."""
        return remembering(memory_in_use() or self.memory)

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
        high = np.linspace(0.0, max(self.top - lowest_edge(clamping.board), 0.0), _HEIGHTS)
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
    def first_passes(self) -> Passes:
        """Those of the first cut, for a step that there is only with them."""
        assert self.first is not None
        return self.first

    @property
    def last_passes(self) -> Passes:
        """Those of the last cut, likewise."""
        assert self.finish is not None
        return self.finish

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
