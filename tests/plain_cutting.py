"""What a program takes, by cutting a grid of heights one short step at a time: shares nothing with the package.

Each move is cut in steps no longer than a cell, in the order of the text; a bite is the highest material over the
cutter's lowest point among the cells that the step lowers. Slow and plain: for small jobs.
"""

from __future__ import annotations

import math

import numpy as np

from tests.small_board import moves


class Wood:
    """A blank as heights on a grid; `x` and `y` are its ranges in mm, `top` its upper side."""

    def __init__(self, x: tuple[float, float], y: tuple[float, float], top: float, cell: float) -> None:
        self.x0, self.y0, self.cell = x[0], y[0], cell
        self.heights = np.full((math.ceil((x[1] - x[0]) / cell), math.ceil((y[1] - y[0]) / cell)), top)

    def cut(self, text: str, *, shape: str, diameter: float, angle: float = 90.0, least_width: float = 0.15) -> float:
        """Cuts a program; gives its deepest bite in mm.

        A cell counts when it lies `least_width` or more within the step's edge: what is closer is a thin shaving.
        """
        r, c = diameter / 2, self.cell
        n = math.ceil(r / c)
        off = np.arange(-n, n + 1) * c
        deepest = 0.0
        for start, end, rapid in zip(*moves(text), strict=True):
            if rapid or not np.isfinite([*start, *end]).all():
                continue
            steps = max(1, math.ceil(np.linalg.norm((end - start)[:2]) / c))
            for share in np.arange(1, steps + 1) / steps:
                px, py, pz = start + share * (end - start)
                i, j = round((px - self.x0) / c), round((py - self.y0) / c)
                i0, j0, i1, j1 = max(0, i - n), max(0, j - n), i + n + 1, j + n + 1
                under = self.heights[i0:i1, j0:j1]
                if not under.size:
                    continue
                dx = (off + (i * c + self.x0 - px))[i0 - (i - n) :][: under.shape[0]]
                dy = (off + (j * c + self.y0 - py))[j0 - (j - n) :][: under.shape[1]]
                d = np.hypot(dx[:, None], dy[None, :])
                if shape == "flat-end":
                    foot = np.full(d.shape, pz)
                elif shape == "v":
                    foot = pz + d / math.tan(math.radians(angle / 2))
                else:
                    foot = pz + r - np.sqrt(np.maximum(r**2 - d**2, 0.0))
                lowered = (d <= r) & (foot < under)
                bitten = under[lowered & (d <= r - least_width)]
                if bitten.size:
                    deepest = max(deepest, float(bitten.max()) - pz)
                np.minimum(under, foot, out=under, where=lowered)
        return deepest


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
