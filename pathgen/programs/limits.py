"""Does a path stay within the machine's travel and clear of what stands in the way?"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from pathgen.base.errors import JobError
from pathgen.base.toolpath import Toolpath
from pathgen.base.units import place_words
from pathgen.work.clamping import Clamping, KeepOut, Step

Floats = NDArray[np.float64]


def check_limits(toolpath: Toolpath, clamping: Clamping, step: Step) -> None:
    """Raise JobError for a path that is longer than the machine's travel or meets a keep-out."""
    where = step.title
    _check_travel(toolpath, clamping, step, where)
    for number, box in enumerate(clamping.setup.keep_out, 1):
        _check_keep_out(clamping.on_bed(toolpath.points, step), box, step, f"{where}, keep_out {number}")


def _check_travel(toolpath: Toolpath, clamping: Clamping, step: Step, where: str) -> None:
    if clamping.machine.travel is None:
        return
    span = np.ptp(clamping.to_machine(toolpath.points, step), axis=0)
    for axis, needed, travel in zip("XYZ", span.tolist(), clamping.machine.travel, strict=True):
        if needed > travel:
            raise JobError(
                where, f"moves {needed:.1f} mm in {axis}", allowed=f"[machine] travel {travel:g} mm",
                remedy="turn the board with [setup] along, lower clearance, or take a larger machine",
            )


def _check_keep_out(points: Floats, box: KeepOut, step: Step, where: str) -> None:
    """The cutter is taken as an upright cylinder of its full diameter: what is above its tip is at least as wide."""
    lowest, highest = np.minimum(points[:-1], points[1:]), np.maximum(points[:-1], points[1:])
    corners = np.array([box.x, box.y])
    near = (highest[:, :2] > corners[:, 0] - step.cutter.radius) & (lowest[:, :2] < corners[:, 1] + step.cutter.radius)
    low = (lowest[:, 2] < box.height) & near.all(axis=1)
    if not low.any():
        return
    moves = shapely.linestrings(np.stack([points[:-1][low, :2], points[1:][low, :2]], axis=1))
    gap = shapely.distance(moves, shapely.box(box.x[0], box.y[0], box.x[1], box.y[1])) - step.cutter.radius
    worst = int(np.argmin(gap))
    if gap[worst] < 0:
        x, y, z = points[1:][low][worst]
        raise JobError(
            where,
            f"the cutter comes {-gap[worst]:.2f} mm into it near {place_words(x, y)}, {z:.1f} mm above the bed",
            allowed=f"nothing below its height, {box.height:g} mm",
            remedy="move the clamp, let the blank stand out further there, or take a smaller cutter",
        )
