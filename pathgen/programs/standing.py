"""What still stands where a step cuts: over a place, in the outline's way, over what was roughed; clamps near it."""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely import LinearRing
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.arrays import Floats
from pathgen.base.cutters import Cutter
from pathgen.base.toolpath import AIR, APPROACH
from pathgen.programs.around import Around
from pathgen.strategies.cutting_line import cutting_line
from pathgen.strategies.cutting_out import last_lap_takes
from pathgen.strategies.easing import Standing
from pathgen.strategies.roughing import rough_reach, rough_ridge, rough_stairs, roughed
from pathgen.strategies.slotting import Stands
from pathgen.work.clamping import Clamping
from pathgen.work.features import Inlay, OutlineCut
from pathgen.work.fill import lies_over
from pathgen.work.operations import SurfaceRough

_OFF_CLAMPS = 3.0
"""Kept from clamps on low ways across, mm: they stay where they are when the work is moved a little."""
_RINGS, _ROUND, _CLOSE = 32, 16, 0.1
"""Under which a cutter that is not flat is looked at for what stands, and the places on each where more than so many mm
may stand over its tip.
"""
_EVERY = 0.25
"""Between places along the outline's way at which it is asked how high wood stands, mm, where cells are smaller."""


def left_by_roughing(around: Around) -> float | None:
    """The most that roughing leaves over the surface where passes go, mm; None where nothing is roughed."""
    rough, rougher = around.clamping.feature(SurfaceRough), around.clamping.cutter(SurfaceRough)
    if rough is None or rougher is None:
        return None
    return rough.allowance + rough_stairs(around.first_passes, rougher, stock_top=around.top, past=around.past,
                                          blank=around.clamping.stock.bounds)


def standing(cutter: Cutter, around: Around, *, opened: float = 0.0) -> Stands | None:
    """How high a cutter is over what the finishing passes leave; beside them stands the stock, or fill. None where no
    program finishes it. Where its axis goes down nothing stands within `opened` mm; its rapids end as if it did.

    Round a place most stands where a circle goes furthest from the passes: one so much wider that the chords between
    the places looked at on it go as far tells it.
    """
    surface, last, rapids = around.clamping.finished_surface, around.finish, around.rapids
    if last is None:
        return None
    rings, wider = np.linspace(0.0, cutter.radius, 2 if cutter.is_flat else _RINGS + 1), math.cos(math.pi / _ROUND)
    reach, lift = rings[1:, None], cutter.profile(rings[:-1, None])
    in_open = cutter.profile(np.maximum(rings[:-1, None], opened))
    at = np.exp(2j * math.pi * np.arange(_ROUND) / _ROUND) * rings[1:, None] / wider
    places_round = np.stack([at.real, at.imag], axis=-1).reshape(-1, 2)
    most = np.array([rapids.air_z - AIR, rapids.air_z - APPROACH])[:, None, None]

    def tips(places: Floats) -> tuple[Floats, Floats]:
        found = last.stands(places, surface, reach=reach)
        for k in np.flatnonzero((found - lift).max(axis=0) > last.stands(places, surface, reach=0.0) + _CLOSE):
            found[:, k] = last.stands(places[k] + places_round, surface, reach=0.0).reshape(-1, _ROUND).max(axis=1)
        over, air = np.minimum(found, most)
        return (over - in_open).max(axis=0), (air - lift).max(axis=0) + APPROACH

    return tips


def filled_beside(cut: OutlineCut, cutter: Cutter, clamping: Clamping) -> list[Inlay]:
    """Those whose fill may lie in the outline's way."""
    way, reach = cutting_line(clamping.board.outline, cutter), cutter.radius + cut.finish
    return [inlay for inlay in clamping.inlays
            if inlay.fill != "none" and shapely.dwithin(lies_over(inlay), way, reach)]


def outline_top(cut: OutlineCut, cutter: Cutter, around: Around) -> float:
    """What the outline begins on where it is not known what stands: the raw stock, or fill beside the part."""
    above = around.clamping.first_surface.thickness
    return max([around.top, *(above + inlay.overfill for inlay in filled_beside(cut, cutter, around.clamping))])


def layers_way(cut: OutlineCut, cutter: Cutter, around: Around) -> LinearRing:
    """Where the cutter's axis runs round the outline but for its last lap."""
    part, deep = around.clamping.board.outline, outline_top(cut, cutter, around) - cut.bottom
    return cutting_line(part, cutter, aside=last_lap_takes(part, cutter, deep, cut.finish))


def in_the_way(cut: OutlineCut, cutter: Cutter, around: Around) -> Standing | None:
    """The most that stands in the outline's way where the surface has been cut; None where that is not known: without
    passes over it, or with fill beside the part, which is scraped off at best. Work that moved has one height for all
    of it.
    """
    clamping, passes, surface = around.clamping, around.finish, around.clamping.first_surface
    if passes is None or filled_beside(cut, cutter, clamping):
        return None
    way = layers_way(cut, cutter, around)
    standing = Standing.over(way.bounds, [cutter], None, level=around.top)
    cells, of, places = standing.cells_along(way, cutter.radius + cut.finish + standing.cell, every=_EVERY)
    beside = max(_EVERY, standing.cell) / math.sqrt(2.0)
    heights = np.minimum(passes.stands(places, clamping.finished_surface, reach=beside), around.top)
    rough, rougher = clamping.feature(SurfaceRough), clamping.cutter(SurfaceRough)
    if rough is not None and rougher is not None:
        over = rough_reach(around.surfaced, surface, rougher, finish=passes.cutter, stock_top=around.top,
                           past=around.past, blank=clamping.stock.bounds)
        cleared, left = roughed(over, rougher), surface.thickness + rough.allowance + rough_ridge(rougher)
        groove = overlay.intersection(overlay.buffer(way, cutter.radius), shapely.box(*clamping.stock.bounds))
        there = np.full(len(places), True) if shapely.covers(cleared, groove) else \
            shapely.contains_xy(overlay.buffer(cleared, -beside), *places.T)
        heights[there] = np.minimum(heights[there], left)
    if clamping.moved is not None:  # it may lie a little aside of where it was cut
        heights[:] = heights.max()
    standing.top.ravel()[cells] = heights[of]
    return standing


def near_clamps(clamping: Clamping, radius: float) -> BaseGeometry:
    """Where the axis of a cutter of a radius, mm, stays high: clamps may stand on a board that is not surfaced."""
    return overlay.buffer(overlay.union_all([thing.shape for thing in clamping.setup.keep_out]), radius + _OFF_CLAMPS)
