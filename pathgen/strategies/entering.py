"""How a cutter gets down into wood: by a ramp on its own way, or straight down by pecks."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import ArrayLike

from pathgen.base.arrays import Floats
from pathgen.base.cutters import Cutter
from pathgen.base.errors import CutterError
from pathgen.base.toolpath import Rapids, Toolpath, along_in_plan
from pathgen.base.units import place_words

PECKS = 4
"""Pecks for each stepdown where a flat end goes straight down into wood."""
SHORTEST = 0.3
"""Of a cutter's half-width: how wide must be what the axis of one that cannot cut at its centre goes to and fro on, or
round on as a helix, while it sinks. Its core, which does not cut, may be half as wide as its half-width is: in the
middle of that way it comes away."""
NO_WAY_DOWN = "cannot cut at its centre (plunges = false), and there is no room for a ramp or a helix down"


def span(ways: ArrayLike) -> Floats:
    """How wide shapely geometries are, mm: the circle round each, in whose middle an axis on it stays longest."""
    return np.asarray(2.0 * shapely.minimum_bounding_radius(ways))


def ramped_in(run: Floats, above: float, cutter: Cutter) -> Floats:
    """An (n, 3) run, begun by sinking from the height `above` its start: on the run's own beginning, there and back.
    Nowhere is that lower than the run, nor steeper than the cutter's ramp and the run itself."""
    height = above - float(run[0, 2]) if len(run) else 0.0
    if height <= 0.0:
        return run
    length = height / cutter.ramp_slope
    if not along_in_plan(run)[-1]:
        raise no_way_down(cutter, height, *run[0, :2].tolist(), way=length)
    back = to_and_fro(run, length / 2.0)
    way = np.vstack([back[::-1], back[1:]])
    down = above - height * along_in_plan(way) / length
    return np.vstack([np.column_stack([way[:, :2], np.maximum(way[:, 2], down)]), run[1:]])


def path_in_turn(runs: list[Floats], cutter: Cutter, rapids: Rapids) -> Toolpath:
    """Runs one after the other, each ramped into where the cutter cannot cut at its centre."""
    if not cutter.plunges:  # whole passes of a flat end, which lie level, begin with ramps of their own
        runs = [run if cutter.is_flat and run[0, 2] > run[-1, 2] else ramped_in(run, rapids.air_z, cutter)
                for run in runs]
    return rapids.between(runs)


def ramps_down(way: Floats, high: float, cutter: Cutter) -> Floats:
    """From `high` over the first point of an (n, 3) way down to it, by ramps there and back, a stepdown each at most.
    Nothing where no more stands there."""
    over = high - float(way[0, 2])
    levels = np.linspace(high, float(way[0, 2]), max(1, math.ceil(over / cutter.stepdown - 1e-9)) + 1)
    if over <= 0.0:
        return np.empty((0, 3))
    return np.concatenate([ramped_in(way + [0.0, 0.0, low - way[0, 2]], above, cutter)[: 1 - len(way)]
                           for above, low in pairwise(levels)])


def pecked_down(point: Floats, high: float, stepdown: float) -> Floats:
    """From `high` over a point down to it by pecks; nothing where no more than a peck stands there."""
    count = math.ceil((high - float(point[2])) / stepdown - 1e-9)
    if high - point[2] <= stepdown / PECKS:
        return np.empty((0, 3))
    levels = np.column_stack([np.tile(point[:2], (count + 1, 1)), np.linspace(high, point[2], count + 1)])
    return np.concatenate([pecks(was, now) for was, now in pairwise(levels)])


def pecks(was: Floats, now: Floats) -> Floats:
    """Straight down by small steps, up again after each to break and clear the chip."""
    share = np.repeat(np.arange(1, PECKS + 1) / PECKS, 2)
    share[1::2] = 0.0
    share[-1] = 1.0
    return np.asarray(was + share[:, None] * (now - was))


def to_and_fro(line: Floats, length: float) -> Floats:
    """A way of `length` mm in plan on an open line that ends at its start, turning round as often as it takes."""
    along = along_in_plan(line)
    strokes = max(1, int(np.ceil(length / along[-1] - 1e-9)))
    far = length / strokes
    k = int(np.searchsorted(along, far * (1.0 - 1e-12)))
    t = (far - along[k - 1]) / (along[k] - along[k - 1])
    out = np.vstack([line[:k], (line[k - 1] + t * (line[k] - line[k - 1]))[None]])
    stroke = [out[::-1], out]
    ways = [stroke[(strokes - 1 - i) % 2] for i in range(strokes)]
    return np.vstack([ways[0], *(way[1:] for way in ways[1:])])


def no_way_down(cutter: Cutter, depth: float, x: float, y: float, *, way: float) -> CutterError:
    """The error for a cutter that fits, and would have to go `depth` mm straight down; a ramp needs a `way`, mm."""
    return CutterError(
        f"cutter {cutter.name!r}", f"{NO_WAY_DOWN} {depth:.2f} mm at {place_words(x, y)}",
        allowed=f"a way of {way:.2f} mm or more for its axis, straight across",
        remedy="take a cutter that plunges, or a smaller one, or draw that place wider",
    )
