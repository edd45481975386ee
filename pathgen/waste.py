"""What of the blank no program cuts: the waste round the board, where witness marks and a raw top last to the end."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from pathgen.clamping import NUT_SLOT, OUTLINE, RESURFACE, SLOTS, SURFACE_FINISH, SURFACE_ROUGH, Clamping, Step
from pathgen.errors import JobError
from pathgen.fingerboard import Slots
from pathgen.slotting import RUN_OUT

Floats = NDArray[np.float64]

MARGIN = 1.5
"""Surfacing opens so much more round the board than its finishing cutter's half-width at the top of the blank, mm."""


def left_standing(clamping: Clamping, *, reach: float) -> BaseGeometry:
    """Where a tool `reach` mm round its axis may come down on the raw top of the blank, clear of all that is cut.

    A safe side is taken of what each program opens. Clamps are kept clear of too.
    """
    free = shapely.box(*clamping.stock.bounds).buffer(-reach, join_style="mitre")
    free = free.difference(_cleared(clamping).buffer(reach, join_style="mitre"))
    for thing in clamping.setup.keep_out:
        free = free.difference(shapely.box(thing.x[0], thing.y[0], thing.x[1], thing.y[1]).buffer(reach))
    return free


def spread_places(free: BaseGeometry, *, where: str, least: float = 8.0) -> Floats:
    """Three places in `free` as far from each other, and off one line, as can be: (3, 2), mm.

    Raises JobError where there is no room for three, or they would all lie within `least` of one line.
    """
    points = shapely.get_coordinates(shapely.segmentize(free, 5.0))
    if len(points) < 3:
        raise JobError(where, "no waste is left round the board for marks",
                       remedy="take a larger blank, or move clamps")
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


def _cleared(clamping: Clamping) -> BaseGeometry:
    """Where any program may cut, in plan."""
    board = clamping.board
    x, y = shapely.get_coordinates(board.outline).T
    proud = max(clamping.stock.thickness - float(np.min(board.surface.height(x, y))), 0.0)
    parts = [board.outline]
    for step in clamping.steps:
        cutter = step.cutter
        if step.operation in (SURFACE_FINISH, RESURFACE):
            parts.append(board.outline.buffer(float(cutter.half_width(proud)) + MARGIN, join_style="mitre"))
        elif step.operation == OUTLINE:
            parts.append(board.outline.buffer(cutter.diameter + MARGIN, join_style="mitre"))
        elif step.operation in (SLOTS, NUT_SLOT) and (slots := _slots(clamping, step)) is not None:
            # through slots run out past the edges
            lines = shapely.linestrings(slots.lines)
            parts.append(shapely.union_all(shapely.buffer(lines, cutter.diameter + slots.width + RUN_OUT)))
    if clamping.holes is not None:
        parts.append(shapely.multipoints(clamping.holes.at).buffer(clamping.holes.diameter / 2))
    rough = next((s.cutter for s in clamping.steps if s.operation == SURFACE_ROUGH), None)
    if rough is not None:
        base = shapely.union_all(parts).buffer(max(0.0, rough.radius - MARGIN), join_style="mitre")
        # along a tapering edge each roughing pass runs on as far as its neighbour does
        wide = base.buffer(rough.stepover * rough.diameter, join_style="mitre")
        x0, _, x1, _ = base.bounds
        parts += [base, wide.intersection(shapely.box(x0, wide.bounds[1], x1, wide.bounds[3]))]
    return shapely.union_all(parts)


def _slots(clamping: Clamping, step: Step) -> Slots | None:
    return clamping.nut_slot if step.operation == NUT_SLOT else clamping.slots


def _rounded_inside(places: Floats, free: BaseGeometry) -> Floats:
    """Places a little inside `free`, on half millimetres where that keeps them in it."""
    inner = free.buffer(-0.5)
    target = inner if not inner.is_empty else free
    near = np.array([shapely.get_coordinates(shapely.shortest_line(target, shapely.Point(p)))[0] for p in places])
    half = np.round(near * 2) / 2
    inside = shapely.intersects_xy(free, half[:, 0], half[:, 1])
    return np.where(inside[:, None], half, near)
