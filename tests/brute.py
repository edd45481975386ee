"""What each move of a program takes, by brute force: every cell in the cutter's reach, move by move, in order.

It shares nothing with the planner or with the verifier: its own grid, flat ends and ball ends.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from functools import cached_property

import numpy as np

from pathgen.base.toolpath import Move
from tests.small_board import moves_and_feeds


@dataclass
class Loads:
    """(n,) arrays for the feed moves of a program: volume in mm3, length in mm, feed, start, end."""

    volume: np.ndarray
    length: np.ndarray
    feed: np.ndarray
    start: np.ndarray
    end: np.ndarray
    deepest: np.ndarray
    """Highest of what stood under the cutter's end at the end of each move before it, above its tip there, mm."""

    def per_tooth(self, *, over: float) -> np.ndarray:
        """Volume for each mm of the way times the feed, over stretches of `over` mm round each move.

        Divide by a straight-line cut's cross-section and feed for the share of it.
        """
        lifted = np.concatenate([[0.0], np.any(self.start[1:] != self.end[:-1], axis=1)])
        apart = (lifted + self.straight_down) * over
        at = np.concatenate([[0.0], np.cumsum(self.length + apart)])
        taken = np.concatenate([[0.0], np.cumsum(np.where(self.straight_down, 0.0, self.volume))])
        middle = (at[1:] + at[:-1]) / 2
        low, high = np.maximum(middle - over / 2, 0.0), np.minimum(middle + over / 2, at[-1])
        rate = (np.interp(high, at, taken) - np.interp(low, at, taken)) / np.maximum(high - low, over / 2)
        return rate * self.feed

    def each_minute(self, *, over: float) -> np.ndarray:
        """Volume for each minute over stretches of `over` mm round each move, lifts and ways straight down left out.

        What is taken at one feed beside what is taken at another counts with its own time.
        """
        sideways = ~self.straight_down
        lifted = np.concatenate([[0.0], np.any(self.start[1:] != self.end[:-1], axis=1)]) + self.straight_down
        apart = (np.cumsum(lifted) * over)[sideways]
        length, feed = self.length[sideways], self.feed[sideways]
        ends = np.cumsum(length) + apart
        at = np.ravel([ends - length, ends], order="F")
        taken, spent = (np.ravel([np.cumsum(one) - one, np.cumsum(one)], order="F")
                        for one in (self.volume[sideways], length / feed))
        low, high = (ends - length / 2 + way * over / 2 for way in (-1, 1))
        minutes = np.interp(high, at, spent) - np.interp(low, at, spent)
        return (np.interp(high, at, taken) - np.interp(low, at, taken)) / np.maximum(minutes, over / 2 / feed)

    def moving_sideways(self) -> Loads:
        """The moves that do not go straight down."""
        return Loads(*(getattr(self, field.name)[~self.straight_down] for field in fields(self)))

    @cached_property
    def straight_down(self) -> np.ndarray:
        """Moves without any way to the side."""
        return np.hypot(*(self.end - self.start)[:, :2].T) < 1e-6


class Block:
    """Heights of what stands over (x_min, y_min, x_max, y_max), `cell` mm apart: one, or a function of x, y."""

    def __init__(self, bounds, cell, height):
        self.xs = np.arange(bounds[0], bounds[2], cell)
        self.ys = np.arange(bounds[1], bounds[3], cell)
        self.cell = cell
        self.by_rapids = 0.0
        """What rapids took, mm3."""
        top = height(self.xs, self.ys[:, None]) if callable(height) else height
        self.top = np.broadcast_to(top, (len(self.ys), len(self.xs))).copy()

    def run(self, moves, radius: float, *, ball: bool = False) -> Loads:
        """Take away what moves take, (start, end, rapid, feed) each, and say what each feed move took."""
        rows = []
        for start, end, rapid, feed in moves:
            volume, deepest = self._take(start, end, radius, ball)
            if rapid:
                self.by_rapids += volume
            else:
                rows.append((volume, math.dist(start, end), feed, start, end, deepest))
        return Loads(*(np.array(column) for column in zip(*rows, strict=True)))

    def engaged(self, moves, radius: float, *, every: float = 0.1, least: float = 0.02) -> np.ndarray:
        """Engaged angle of each feed move, radians: how much of the rim stands in wood, every `every` mm of the way.

        Places on the rim, just within it, count where `least` mm and a tenth of the highest there stand over the tip.
        """
        turn = np.radians(np.arange(1.0, 360.0, 2.0))
        rim = (radius - 0.7 * self.cell) * np.array([np.cos(turn), np.sin(turn)])
        wide, angles = math.ceil(radius / self.cell) + 1, []
        for start, end, rapid, _ in moves:
            a, b = np.array(start), np.array(end)
            count = max(1, math.ceil(np.hypot(*(b - a)[:2]) / every))
            found = 0
            for x, y, z in a + (b - a) * (np.arange(1, count + 1) / count)[:, None]:
                i, j = (np.array([x - self.xs[0], y - self.ys[0]])[:, None] + rim) / self.cell + 0.5
                over = self.top[j.astype(int), i.astype(int)] - z
                found += (over > max(least, 0.1 * over.max())).sum()
                i, j = round((x - self.xs[0]) / self.cell), round((y - self.ys[0]) / self.cell)
                near = np.s_[j - wide : j + wide + 1, i - wide : i + wide + 1]
                under = np.hypot(self.xs[near[1]] - x, self.ys[near[0], None] - y) <= radius
                np.minimum(self.top[near], z, out=self.top[near], where=under)
            if not rapid:
                angles.append(found / count * math.radians(2.0))
        return np.array(angles)

    def _take(self, start, end, radius, ball):
        (x0, y0, z0), (x1, y1, z1) = start, end
        i0, i1 = np.searchsorted(self.xs, [min(x0, x1) - radius, max(x0, x1) + radius])
        j0, j1 = np.searchsorted(self.ys, [min(y0, y1) - radius, max(y0, y1) + radius])
        there = self.top[j0:j1, i0:i1]
        if not there.size or there.max() <= min(z0, z1):
            return 0.0, 0.0
        dx, dy = self.xs[i0:i1] - x0, self.ys[j0:j1, None] - y0
        length = math.hypot(x1 - x0, y1 - y0)
        ux, uy = ((x1 - x0) / length, (y1 - y0) / length) if length else (1.0, 0.0)
        along, aside = dx * ux + dy * uy, dy * ux - dx * uy
        half = np.sqrt(np.maximum(radius**2 - aside**2, 0.0))
        met = (np.abs(aside) <= radius) & (along + half >= 0) & (along - half <= length)
        # a disc is lowest over a place where it comes to it, or leaves it
        first, last = np.clip(along - half, 0.0, length), np.clip(along + half, 0.0, length)
        slope = (z1 - z0) / length if length else 0.0
        low = np.minimum(z0 + slope * first, z0 + slope * last) if length else min(z0, z1)
        if ball:  # lowest over a place where the way's tangent touches it, a tilted cylinder
            nearest = np.clip(along - slope * half / math.hypot(1.0, slope), 0.0, length)
            away = np.sqrt(np.maximum(radius**2 - aside**2 - (along - nearest) ** 2, 0.0))
            low = (z0 + slope * nearest if length else min(z0, z1)) + radius - away
        left = np.where(met & (there > low), low, there)
        off = np.hypot(self.xs[i0:i1] - x1, self.ys[j0:j1, None] - y1)
        foot = z1 + (radius - np.sqrt(np.maximum(radius**2 - off**2, 0.0)) if ball else 0.0)
        deepest = float((there - foot)[off <= radius].max(initial=0.0))
        volume = float((there - left).sum()) * self.cell**2
        there[:] = left
        return volume, deepest


def moves_of(text: str, unit: float = 1.0):
    """(start, end, rapid, feed) of each move of a program in the plain subset."""
    start, end, rapid, feed = moves_and_feeds(text)
    known = ~np.isnan(start).any(axis=1)
    return zip(start[known] * unit, end[known] * unit, rapid[known], feed[known] * unit, strict=True)


def moves_along(path, cutter):
    """The same of a path."""
    points, kinds, feeds = path.points.tolist(), path.kinds.tolist(), path.feeds(cutter, rapid=0.0).tolist()
    for start, end, kind, feed in zip(points, points[1:], kinds[1:], feeds[1:], strict=False):
        yield start, end, kind == Move.RAPID, feed
