"""What a program takes, by cutting a grid of heights one short step at a time: shares nothing with the package.

Each move is cut in steps no longer than a cell, in the order of the text; a bite is the highest material over the
cutter's lowest point among the cells that the step lowers. Slow and plain: for small jobs.

``deepest_falls`` runs all programs of a set over a blank without edges, with fill poured where the pockets were: it
needs nothing but their texts, their cutters and how high the blank stands over Z 0.
"""

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from tests.small_board import moves


class Wood:
    """A blank as heights on a grid; `x` and `y` are its ranges in mm, `top` its upper side."""

    def __init__(self, x: tuple[float, float], y: tuple[float, float], top: float, cell: float) -> None:
        self.x0, self.y0, self.cell = x[0], y[0], cell
        self.heights = np.full((math.ceil((x[1] - x[0]) / cell), math.ceil((y[1] - y[0]) / cell)), top)
        self.xs, self.ys = (low + np.arange(count) * cell
                            for low, count in zip((x[0], y[0]), self.heights.shape, strict=True))

    def cut(self, text: str, *, shape: str, diameter: float, angle: float = 90.0, least_width: float = 0.15) -> float:
        """Cuts a program; gives its deepest bite in mm.

        A cell counts when it lies `least_width` or more within the step's edge: what is closer is a thin shaving.
        """
        deepest, inside = 0.0, (diameter / 2 - least_width) ** 2
        for start, end, rapid in zip(*moves(text), strict=True):
            if rapid or not np.isfinite([*start, *end]).all():
                continue
            for window, square, foot, tip in self.steps(start, end, shape=shape, diameter=diameter, angle=angle):
                under = self.heights[window]
                bitten = under[(foot < under) & (square <= inside)]
                if bitten.size and least_width < diameter / 2:
                    deepest = max(deepest, float(bitten.max()) - tip[2])
                np.minimum(under, foot, out=under)
        return deepest

    def steps(
        self, start: np.ndarray, end: np.ndarray, *, shape: str, diameter: float, angle: float
    ) -> Iterator[tuple[tuple[slice, slice], np.ndarray, np.ndarray, np.ndarray]]:
        """A move in steps of a cell or less: the part of the grid under the cutter, how far its points lie from the
        axis, squared, how low the cutter reaches over them (infinite where it does not), and where its tip is."""
        r, c = diameter / 2, self.cell
        n = math.ceil(r / c)
        count = max(1, math.ceil(np.linalg.norm((end - start)[:2]) / c))
        tips = start + (np.arange(1, count + 1) / count)[:, None] * (end - start)
        nearest = np.rint((tips[:, :2] - (self.x0, self.y0)) / c).astype(int)
        first, last = (np.clip(at, 0, self.heights.shape).tolist() for at in (nearest - n, nearest + n + 1))
        for tip, pz, (i, j), (k, m) in zip(tips, tips[:, 2].tolist(), first, last, strict=True):
            if i == k or j == m:
                continue
            square = (self.xs[i:k, None] - tip[0]) ** 2 + (self.ys[j:m] - tip[1]) ** 2
            if shape == "flat-end":
                foot = pz
            elif shape == "v":
                foot = pz + np.sqrt(square) / math.tan(math.radians(angle / 2))
            else:
                foot = pz + r - np.sqrt(np.maximum(r * r - square, 0.0))
            yield (slice(i, k), slice(j, m)), square, np.where(square <= r * r, foot, np.inf), tip


def left_by(path, cutter, x, y):
    """Height that a ball-end program leaves at points: the lowest ball over each, on moves sampled every 0.05 mm."""
    start, end = path.points[:-1], path.points[1:]
    moving = path.kinds[1:] != 0
    out = np.empty(len(x))
    for k, place in enumerate(zip(x, y, strict=True)):
        near = moving & (np.minimum(start[:, 1], end[:, 1]) < place[1] + 2) & (
            np.maximum(start[:, 1], end[:, 1]) > place[1] - 2)
        near &= np.minimum(start[:, 0], end[:, 0]) < place[0] + 1
        near &= np.maximum(start[:, 0], end[:, 0]) > place[0] - 1
        a, b = start[near], end[near]
        run = (b - a)[:, :2]
        t = np.clip(((place - a[:, :2]) * run).sum(1) / np.maximum((run**2).sum(1), 1e-12), 0, 1)
        around = np.linspace(-0.2, 0.2, 41) / np.maximum(np.linalg.norm(run, axis=1), 1e-9)[:, None]
        t = np.clip(t[:, None] + around, 0, 1)
        tips = a[:, None] + t[..., None] * (b - a)[:, None]
        away2 = ((tips[..., :2] - place) ** 2).sum(-1)
        under = away2 < cutter.radius**2
        out[k] = (tips[..., 2][under] + cutter.radius - np.sqrt(cutter.radius**2 - away2[under])).min()
    return out


@dataclass(frozen=True)
class Cut:
    """A program for `deepest_falls`: what it does ("pocket", "resurface", ..), its text and its cutter."""

    does: str
    text: str
    shape: str
    diameter: float
    angle: float
    limit: float
    """How far it may lower a point at once, mm."""
    overfill: float | None = None
    """How high fill is poured over the first surface when it has ended, mm; None for none."""
    last: bool = False
    """Whether it is the last that opens a pocket, which stays open where nothing is poured."""
    back: np.ndarray | None = None
    """Of work that has moved, (4, 3): times x, y, z and 1 it gives where a place of the text lay before, in mm."""


@dataclass(frozen=True)
class Fall:
    """Of one program: the widest cut that lowers a point by more than the limit at once, and by how much, mm."""

    does: str
    width: float
    over: float
    at: tuple[float, float]


def deepest_falls(cuts: Sequence[Cut], *, top: float, cell: float) -> Iterator[Fall]:
    """For each program the widest cut that is deeper than its limit; width 0 for none.

    How deep is how far a point is lowered at once: by a flat end in one step, by a round or pointed one while it passes
    over it once, until it has gone on by its diameter, was lifted, or has sunk. The width is the area lowered too far
    by the travel, over a diameter of travel or 0.75 mm.
    """
    read = [_in_mm(cut.text, cut.back) for cut in cuts]
    low, high = (f([f(np.vstack([a, b])[:, :2], axis=0) for a, b, _ in read if len(a)], axis=0)
                 for f in (np.nanmin, np.nanmax))
    out = max(cut.diameter for cut in cuts)
    wood = Wood((low[0] - out, high[0] + out), (low[1] - out, high[1] + out), top, cell)
    before: np.ndarray | None = None
    for cut, program in zip(cuts, read, strict=True):
        if cut.does == "pocket" and before is None:
            before = wood.heights.copy()
        yield _falls(wood, cut, *program)
        if cut.overfill is not None and before is not None:
            opened = before - wood.heights > 0.02
            wood.heights[opened] = before[opened] + cut.overfill
        if cut.does != "pocket" or cut.last:
            before = None


def _in_mm(text: str, back: np.ndarray | None) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    scale = 25.4 if re.search(r"^G20\b", re.sub(r"\(.*\)", "", text), re.M) else 1.0
    start, end, rapid = moves(text)
    start, end = (at * scale if back is None else at * scale @ back[:3] + back[3] for at in (start, end))
    return start, end, rapid


def _falls(wood: Wood, cut: Cut, starts: np.ndarray, ends: np.ndarray, rapids: np.ndarray) -> Fall:
    how = {"shape": cut.shape, "diameter": cut.diameter, "angle": cut.angle}
    stood, last = np.empty_like(wood.heights), np.full(wood.heights.shape, -np.inf)
    level = np.full(wood.heights.shape, np.inf)
    gone, travel, wide, deep, places = 0.0, [], [], [], []
    for start, end, rapid in zip(starts, ends, rapids, strict=True):
        run, began = float(np.hypot(*(end - start)[:2])), start[:2]
        if rapid or run < 1e-9 or not np.isfinite([*start, *end]).all():
            gone += 2 * cut.diameter  # lifted or set down: another passage begins
        if rapid or not np.isfinite([*start, *end]).all():
            continue
        for window, _, foot, tip in wood.steps(start, end, **how):
            gone, began = gone + float(np.hypot(*(tip[:2] - began))), tip[:2]
            under = wood.heights[window]
            lowered = foot < under
            if not lowered.any():
                continue
            fresh = lowered
            if cut.shape != "flat-end":
                fresh = lowered & ((gone - last[window] > cut.diameter) | (level[window] - tip[2] > cut.limit / 4))
            np.copyto(stood[window], under, where=fresh)
            np.copyto(level[window], tip[2], where=fresh)
            np.copyto(last[window], gone, where=lowered)
            fall = stood[window][lowered] - foot[lowered] - cut.limit
            if run >= 1e-9 and fall.max() > 0:
                # each point once in a passage
                newly = (fall > 0) & (stood[window][lowered] - under[lowered] <= cut.limit)
                if newly.any():
                    travel.append(gone)
                    wide.append(float(newly.sum()) * wood.cell**2)
                    deep.append(float(fall.max()))
                    places.append((float(tip[0]), float(tip[1])))
            np.minimum(under, foot, out=under)
    return _widest(cut, np.array(travel), np.array(wide), np.array(deep), places)


def _widest(cut: Cut, travel: np.ndarray, wide: np.ndarray, deep: np.ndarray, places: list) -> Fall:
    if not len(travel):
        return Fall(cut.does, 0.0, 0.0, (math.nan, math.nan))
    window, total = max(cut.diameter, 0.75), np.concatenate([[0.0], np.cumsum(wide)])
    first = np.searchsorted(travel, travel - window, side="right")
    width = (total[1:] - total[first]) / window
    worst = int(np.argmax(width))
    return Fall(cut.does, float(width[worst]), float(deep[first[worst] : worst + 1].max()), places[worst])
