"""What of the blank no program cuts: the waste round the board, where witness marks and a raw top last to the end."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pathgen.clamping import KeepOut, Stock
from pathgen.cutters import Cutter
from pathgen.errors import JobError
from pathgen.fingerboard import Fingerboard

MARGIN = 1.5
"""Surfacing opens so much more round the board than its finishing cutter's half-width at the top of the blank, mm."""

OUTLINE_MARGIN = 0.5
"""Kept from the outline's own cut, mm."""


def cleared_around(
    board: Fingerboard, stock_top: float, *, rough: Cutter | None, finish: Cutter | None, outline: Cutter | None
) -> float:
    """How far round the board any program cuts into the blank, mm."""
    x, y = shapely.get_coordinates(board.outline).T
    proud = stock_top - float(np.min(board.surface.height(x, y)))
    widths = [0.0]
    if finish is not None:
        widths.append(float(finish.half_width(max(proud, 0.0))) + MARGIN)
    if rough is not None:
        widths.append(rough.radius)
    if outline is not None:
        widths.append(outline.diameter + OUTLINE_MARGIN)
    return max(widths)


def left_standing(
    board: Fingerboard, stock: Stock, keep_outs: tuple[KeepOut, ...], *, cleared: float, reach: float
) -> BaseGeometry:
    """Where a tool `reach` mm round its axis may come down on the raw top of the blank, away from all else."""
    free = shapely.box(*stock.bounds).buffer(-reach).difference(board.outline.buffer(cleared + reach))
    for thing in keep_outs:
        free = free.difference(shapely.box(thing.x[0], thing.y[0], thing.x[1], thing.y[1]).buffer(reach))
    return free


def spread_places(free: BaseGeometry, *, where: str, least: float = 8.0) -> np.ndarray:
    """Three places in `free` as far from each other, and off one line, as can be: (3, 2), mm.

    Raises JobError where there is no room for three, or they would all lie within `least` of one line.
    """
    points = shapely.get_coordinates(shapely.segmentize(free, 5.0))
    if len(points) < 3:
        raise JobError(where, "no waste is left round the board for marks", remedy="take a larger blank, or move clamps")
    hull = shapely.get_coordinates(shapely.convex_hull(shapely.multipoints(points)))
    far = np.linalg.norm(hull[:, None] - hull, axis=2)
    a, b = np.unravel_index(int(np.argmax(far)), far.shape)
    along = (hull[b] - hull[a]) / far[a, b]
    off = np.abs((points - hull[a]) @ [-along[1], along[0]])
    c = int(np.argmax(off))
    if off[c] < least:
        raise JobError(
            where, f"the waste has room only for marks within {off[c]:.1f} mm of one line",
            allowed=f"{least:g} mm or more off it", remedy="take a larger blank, or move clamps",
        )
    places = np.array([hull[a], hull[b], points[c]])
    return _rounded_inside(places[np.argsort(places[:, 0], kind="stable")], free)


def _rounded_inside(places: np.ndarray, free: BaseGeometry) -> np.ndarray:
    """Places a little inside `free`, on half millimetres where that keeps them in it."""
    inner = free.buffer(-0.5)
    target = inner if not inner.is_empty else free
    near = [shapely.get_coordinates(shapely.shortest_line(target, shapely.Point(p)))[0] for p in places]
    half = np.round(np.array(near) * 2) / 2
    inside = shapely.intersects_xy(free, half[:, 0], half[:, 1])
    return np.where(inside[:, None], half, near)
