"""Outlines as arrays of cubic pieces, and the elliptical arc as such pieces.

Every outline becomes cubic Bezier pieces: lines and quadratics exactly, arcs in pieces of at most 22.5 degrees, whose
error is below 1e-7 of the radius. Cubics stay cubics under any affine map, so nothing is lost before flattening.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pathgen.base.arrays import Bools, Floats

_ARC_PIECE = math.pi / 8
_FLAT = 1e100
"""Half the chord over a radius: beyond this the radius is 0 but for rounding."""


@dataclass(frozen=True, eq=False)
class Curves:
    """Subpaths of one element, in its own coordinates."""

    points: Floats
    """(n, 4, 2): control points of the pieces."""
    straight: Bools
    """(n,): true for pieces that are lines."""
    first: NDArray[np.int64]
    """(k,): index of the first piece of each subpath."""
    closed: Bools
    """(k,): true for subpaths that were closed with z."""

    def __len__(self) -> int:
        return len(self.points)


class Pen:
    """Collects pieces, subpath by subpath, into Curves."""

    def __init__(self) -> None:
        self._flat: list[float] = []  # eight numbers a piece
        self._straight: list[bool] = []
        self._first: list[int] = []
        self._closed: list[bool] = []

    def __len__(self) -> int:
        return len(self._straight)

    def begin(self) -> None:
        """Start a new subpath; the one before it stays open."""
        if not self._first or self._first[-1] < len(self._straight):
            self._first.append(len(self._straight))
            self._closed.append(False)

    def line(self, p: complex, q: complex) -> None:
        """A straight piece from p to q."""
        self._flat += (p.real, p.imag, p.real, p.imag, q.real, q.imag, q.real, q.imag)
        self._straight.append(True)

    def quadratic(self, p: complex, c: complex, q: complex) -> None:
        """A quadratic piece, raised to a cubic (exact)."""
        self.cubic(p, p + (c - p) * (2.0 / 3.0), q + (c - q) * (2.0 / 3.0), q)

    def cubic(self, p: complex, c: complex, d: complex, q: complex) -> None:
        """A cubic piece."""
        self._flat += (p.real, p.imag, c.real, c.imag, d.real, d.imag, q.real, q.imag)
        self._straight.append(False)

    def lines(self, x: float, y: float, ends: list[float]) -> tuple[float, float]:
        """Straight pieces from (x, y) through absolute points x1, y1, x2, y2...; returns the last."""
        flat = self._flat
        for k in range(0, len(ends), 2):
            p, q = ends[k], ends[k + 1]
            flat += (x, y, x, y, p, q, p, q)
            x, y = p, q
        self._straight += [True] * (len(ends) // 2)
        return x, y

    def cubics(self, x: float, y: float, numbers: list[float], *, relative: bool) -> tuple[float, float]:
        """Cubic pieces from (x, y), six numbers each as ``C`` or ``c`` has them; returns where they end."""
        flat = self._flat
        for k in range(0, len(numbers), 6):
            a, b, c, d, e, f = numbers[k:k + 6]
            if relative:
                a, b, c, d, e, f = a + x, b + y, c + x, d + y, e + x, f + y
            flat += (x, y, a, b, c, d, e, f)
            x, y = e, f
        self._straight += [False] * (len(numbers) // 6)
        return x, y

    def pairs(self, here: complex, numbers: Floats, *, cubic: bool, relative: bool) -> complex:
        """Cubic or straight pieces from `here`, given by nothing but coordinates; returns where they end."""
        each = 3 if cubic else 1
        points = numbers.view(complex).reshape(-1, each)
        starts = np.empty(len(points) + 1, dtype=complex)
        starts[0], starts[1:] = here, points[:, -1]
        if relative:
            with np.errstate(all="ignore"):  # numbers too large are found and named later
                starts = np.cumsum(starts)
                points = points + starts[:-1, None]
        inner = points[:, :2] if cubic else np.stack([starts[:-1], points[:, 0]], axis=1)
        block = np.concatenate([starts[:-1, None], inner, points[:, -1:]], axis=1)
        self._flat += block.view(float).ravel().tolist()
        self._straight += [not cubic] * len(points)
        return complex(starts[-1])

    def close(self, here: complex, start: complex) -> None:
        """Close the subpath, with a line where it does not end at its start (or is a mere point)."""
        if here != start or self._first[-1] == len(self._straight):
            self.line(here, start)
        self._closed[-1] = True

    def polyline(self, points: ArrayLike, *, closed: bool) -> None:
        """A subpath of straight pieces through (n, 2) points."""
        corners = [complex(x, y) for x, y in np.asarray(points, dtype=float)]
        self.begin()
        for p, q in pairwise(corners):
            self.line(p, q)
        if closed and corners:
            self.close(corners[-1], corners[0])

    def arc(self, start: complex, end: complex, *, rx: float, ry: float, turn: float, large: bool, sweep: bool) -> None:
        """An elliptical arc as ``A`` draws it (SVG 1.1, F.6): `turn` degrees is the x axis of the ellipse."""
        rx, ry = abs(rx), abs(ry)
        if start == end:
            return
        if rx == 0 or ry == 0:
            self.line(start, end)
            return
        axis = complex(math.cos(math.radians(turn)), math.sin(math.radians(turn)))
        half = (start - end) / 2.0 / axis
        if max(abs(half.real) / rx, abs(half.imag) / ry) > _FLAT:
            self.line(start, end)
            return
        u = complex(half.real / rx, half.imag / ry)  # half the chord on the unit circle
        size = abs(u)
        if size > 1.0:
            rx, ry, u, size = rx * size, ry * size, u / size, 1.0
        offset = complex(u.imag, -u.real) / size * math.sqrt(max((1.0 - size) * (1.0 + size), 0.0))
        centre = offset if large != sweep else -offset
        angle = math.atan2((u - centre).imag, (u - centre).real)
        stop = math.atan2((-u - centre).imag, (-u - centre).real)
        span = (stop - angle) % math.tau if sweep else -((angle - stop) % math.tau)
        middle = (start + end) / 2.0

        def place(z: complex) -> complex:
            z += centre
            return complex(z.real * rx, z.imag * ry) * axis + middle

        count = max(1, math.ceil(abs(span) / _ARC_PIECE - 1e-9))
        step, here = span / count, start
        reach = 4.0 / 3.0 * math.tan(step / 4.0)
        for k in range(count):
            a, b = angle + k * step, angle + (k + 1) * step
            p, q = complex(math.cos(a), math.sin(a)), complex(math.cos(b), math.sin(b))
            there = end if k == count - 1 else place(q)
            self.cubic(here, place(p + 1j * p * reach), place(q - 1j * q * reach), there)
            here = there

    def curves(self) -> Curves:
        """What was collected; subpaths of no piece are dropped."""
        count = len(self._straight)
        keep = [i for i, first in enumerate(self._first) if first < count]
        arrays = (
            np.array(self._flat, dtype=float).reshape(count, 4, 2),
            np.array(self._straight, dtype=bool),
            np.array([self._first[i] for i in keep], dtype=np.int64),
            np.array([self._closed[i] for i in keep], dtype=bool),
        )
        for array in arrays:
            array.flags.writeable = False
        return Curves(*arrays)
