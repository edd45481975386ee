"""A radiused surface lowered along the board: relief under the strings, and fall-away toward its end.

    z(x, y) = S(x, y) - p(x)

with S the flat, cylinder or cone of `pathgen.base.surface` and p made of parabolas and straight lines. Nothing of p is
hollow but the relief, and that with a radius of many metres, so that what a ball leaves over the surface has one
highest place: where it stands, the ball touches. It is found by Newton's method on each piece of p, and at its bends.
So is, for the hollow that fits such a board, the one lowest place over a ball that touches from below.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from pathgen.base.arrays import Floats
from pathgen.base.cutters import Cutter
from pathgen.base.errors import PathgenError
from pathgen.base.surface import Surface
from pathgen.base.units import rounded_up

Piece = tuple[float, float, float, float, float]
"""(from, to, a, b, c): p = a + b t + c t^2 with t counted from `from`, or from `to` where `from` is infinite."""

_STEPS, _ANGLES, _CLOSER = 40, 48, 12
MOST_LOWERED = 3.0
"""mm; more than any board has, and what the cutters' paths are made for."""

_AT_ONCE = 1 << 12
"""Discs looked at together: few enough to stay in the cache."""


@dataclass(frozen=True, kw_only=True)
class Relief:
    """A dip: 0 at `start` and at `end`, `depth` (mm) at `deepest`, a parabola to either side of it."""

    depth: float
    deepest: float
    end: float
    start: float = 0.0

    def seen_from(self, x: float) -> Relief:
        """The same with `x` as the zero along."""
        return replace(self, deepest=self.deepest - x, end=self.end - x, start=self.start - x)

    @property
    def steepest(self) -> float:
        """The slope along the board at its steepest, which is at one of its ends."""
        return 2 * self.depth / min(self.deepest - self.start, self.end - self.deepest)

    @property
    def pieces(self) -> tuple[Piece, ...]:
        """The two parabolas."""
        up, down = self.deepest - self.start, self.end - self.deepest
        return (
            (self.start, self.deepest, 0.0, 2 * self.depth / up, -self.depth / up**2),
            (self.deepest, self.end, self.depth, 0.0, -self.depth / down**2),
        )


@dataclass(frozen=True, kw_only=True)
class FallAway:
    """From `start` on it falls, by `drop` (mm) at `end`, straight or as a parabola, and straight on past that."""

    start: float
    end: float
    drop: float
    curved: bool = False

    def seen_from(self, x: float) -> FallAway:
        """The same with `x` as the zero along."""
        return replace(self, start=self.start - x, end=self.end - x)

    @property
    def steepest(self) -> float:
        """The slope along the board at its steepest, at `end` and past it."""
        return (2.0 if self.curved else 1.0) * self.drop / (self.end - self.start)

    @property
    def pieces(self) -> tuple[Piece, ...]:
        """The parabola and what goes on from it, or the one straight piece."""
        if not self.curved:
            return ((self.start, math.inf, 0.0, self.steepest, 0.0),)
        return ((self.start, self.end, 0.0, 0.0, self.drop / (self.end - self.start)**2),
                (self.end, math.inf, self.drop, self.steepest, 0.0))


@dataclass(frozen=True, kw_only=True)
class Lowered(Surface):
    """A flat or radiused top with relief, fall-away or both. Raises PathgenError where the two overlap."""

    relief: Relief | None = None
    fall_away: FallAway | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.relief and self.fall_away and self.fall_away.start < self.relief.end - 1e-9:
            raise PathgenError("[board] fall_away", f"starts {self.fall_away.start:.2f} mm from the nut, within the "
                               "relief", allowed=f"{rounded_up(self.relief.end):.2f} mm or more",
                               remedy="start it later")

    @cached_property
    def above(self) -> Surface:
        """The surface before it is lowered."""
        return Surface(thickness=self.thickness, radius_nut=self.radius_nut, radius_end=self.radius_end,
                       length=self.length)

    @property
    def pieces(self) -> tuple[Piece, ...]:
        """All of p, in order, level where nothing lowers it."""
        parts = [*(self.relief.pieces if self.relief else ()), *(self.fall_away.pieces if self.fall_away else ())]
        whole: list[Piece] = []
        at = -math.inf
        for part in parts:
            if part[0] > at + 1e-9:
                whole.append((at, part[0], 0.0, 0.0, 0.0))
            whole.append(part)
            at = part[1]
        return (*whole, *(((at, math.inf, 0.0, 0.0, 0.0),) if at < math.inf else ()))

    @cached_property
    def bends(self) -> Floats:
        """X of the places where one piece of p meets the next, mm."""
        return np.array([piece[1] for piece in self.pieces[:-1]])

    @cached_property
    def _table(self) -> Floats:
        """(4, n) where t is counted from in each piece of p, and its a, b and c; what goes on for ever is level."""
        return np.array([piece[:1] + piece[2:] if math.isfinite(piece[0]) else (0.0, piece[2], 0.0, 0.0)
                         for piece in self.pieces]).T

    def _at(self, x: ArrayLike) -> tuple[Floats, Floats, Floats, Floats]:
        """How far along its piece of p each place is, and a, b and c of that; at a bend of the piece after it."""
        x = np.asarray(x, dtype=float)
        start, a, b, c = self._table[:, np.searchsorted(self.bends, x, side="right")]
        return x - start, a, b, c

    def lowering(self, x: ArrayLike) -> Floats:
        """p: how far the surface lies below its cone, mm."""
        t, a, b, c = self._at(x)
        return np.asarray(a + (b + c * t) * t)

    def falling(self, x: ArrayLike) -> Floats:
        """Slope of p."""
        t, _, b, c = self._at(x)
        return np.asarray(b + 2 * c * t)

    def bending(self, x: ArrayLike) -> Floats:
        """How much the slope of p changes, per mm."""
        return 2 * self._at(x)[3]

    @property
    def curving(self) -> float:
        """The most that p curves, per mm."""
        return max(abs(2 * piece[4]) for piece in self.pieces)

    def height(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """As of the surface above, less p."""
        return np.asarray(self.above.height(x, y) - self.lowering(x))

    def normal(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """Unit normals, pointing up out of the wood: (..., 3) array."""
        n = self.above.normal(x, y)
        along, across = n[..., 0] / n[..., 2] + self.falling(x), n[..., 1] / n[..., 2]
        lean = np.stack([along, across, np.ones(along.shape)], axis=-1)
        return np.asarray(lean / np.linalg.norm(lean, axis=-1, keepdims=True))

    def tip_height(self, cutter: Cutter, x: ArrayLike, y: ArrayLike) -> Floats:
        """As `Surface.tip_height`."""
        x, y = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
        if cutter.shape == "v":
            return self._v_tip_height(cutter, x, y)
        self.above.check_meets(cutter.radius, x, y)
        under = {"ball-end": self._end_of_ball, "flat-end": self._under_disc}[cutter.shape]
        return np.asarray(under(cutter.radius, x.ravel(), y.ravel()).reshape(x.shape))

    def ball_from_below(self, ball_radius: float, x: ArrayLike, y: ArrayLike) -> Floats:
        """As `Surface.ball_from_below`."""
        x, y = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
        self.above.check_meets(-ball_radius, x, y)
        return self._end_of_ball(-ball_radius, x.ravel(), y.ravel()).reshape(x.shape)

    def _end_of_ball(self, r: float, x: Floats, y: Floats) -> Floats:
        """Height of the end of a ball as `_touch` has it, where it touches any of the pieces that it is near to."""
        reach = 1.1 * abs(r) * (0.02 + max(abs(b) + abs(2 * c) * self.length for *_, b, c in self.pieces)
                                + abs(self.taper))
        furthest, best = (np.maximum if r > 0.0 else np.minimum), np.full(x.shape, math.copysign(math.inf, -r))
        for piece in self.pieces:
            near = np.flatnonzero((x >= piece[0] - reach) & (x <= piece[1] + reach))
            if len(near):
                best[near] = furthest(best[near], self._touch(piece, r, x[near], y[near]))
        return best

    def _touch(self, piece: Piece, r: float, x: Floats, y: Floats) -> Floats:
        """Height of the end of a ball where it touches one piece only, from bend to bend.

        Of a ball of radius r over the surface its tip; with r negative, of one under the surface its top.
        """
        low, high = piece[:2]
        v = y * (1.0 - r / (self.radius(x) + r))
        u = np.clip(x, low, high)
        for _ in range(_STEPS):
            a, b = u - x, v - y
            c = np.sign(r) * np.sqrt(np.maximum(r**2 - a**2 - b**2, 1e-12))
            _, slope, bend = _value(piece, u)
            su, sv, suu, suv, svv = self._derivatives(u, v)
            gu, gv = su - slope - a / c, sv - b / c
            huu, huv, hvv = suu - bend - 1 / c - a**2 / c**3, suv - a * b / c**3, svv - 1 / c - b**2 / c**3
            det = huu * hvv - huv**2
            du, dv = -(hvv * gu - huv * gv) / det, -(huu * gv - huv * gu) / det
            # at a bend the place along is fixed, and only the place across is sought
            held = ((u <= low) & (du < 0)) | ((u >= high) & (du > 0))
            du, dv = np.where(held, 0.0, du), np.where(held, -gv / hvv, dv)
            u, v = np.clip(u + du, low, high), v + dv
            if max(np.abs(du).max(), np.abs(dv).max()) < 1e-12:
                break
        off = (u - x) ** 2 + (v - y) ** 2
        cap = np.sign(r) * off / (abs(r) + np.sqrt(np.maximum(r**2 - off, 0)))
        return np.asarray(self.above.height(u, v) - _value(piece, u)[0] - cap)

    def _derivatives(self, u: Floats, v: Floats) -> tuple[Floats, Floats, Floats, Floats, Floats]:
        """Of the surface before it is lowered: along, across, and the three second ones."""
        if self.is_flat:
            level = np.zeros(u.shape)
            return level, level, level, level, level
        k, radius = self.taper, self.radius(u)
        w = np.sqrt(radius**2 - v**2)
        return (k * v**2 / (w * (radius + w)), -v / w, -(k**2) * v**2 / w**3, k * radius * v / w**3,
                -(radius**2) / w**3)

    def _under_disc(self, r: float, x: Floats, y: Floats) -> Floats:
        """The highest place under a disc: on its rim, or on the crest at an end of it or at a bend.

        A flat is crest all over.
        """
        parts = range(0, len(x), _AT_ONCE)
        best = np.concatenate([np.empty(0), *(self._on_rim(r, x[i:i + _AT_ONCE], y[i:i + _AT_ONCE]) for i in parts)])
        half = np.full(y.shape, r) if self.is_flat else np.sqrt(np.maximum(r**2 - y**2, 0.0))
        on_crest = (np.abs(y) < r) | self.is_flat
        crest = [-half, half, *np.clip(self.bends[:, None] - x, -half, half)]
        return np.where(on_crest, np.maximum(best, self.thickness - self.lowering(x + crest).min(axis=0)), best)

    def _on_rim(self, r: float, x: Floats, y: Floats) -> Floats:
        """The highest place on the rim of a disc: at a bend, or by Newton's method from the highest of _ANGLES."""

        def rim(t: Floats) -> Floats:
            return np.nan_to_num(self.height(x + r * np.cos(t), y + r * np.sin(t)), nan=-np.inf)

        apart = 2 * math.pi / _ANGLES
        around = np.repeat(np.linspace(0.0, 2 * math.pi, _ANGLES, endpoint=False)[:, None], len(x), axis=1)
        to_bend = np.arccos(np.clip((self.bends[:, None] - x) / r, -1.0, 1.0))
        heights = rim(np.concatenate([around, to_bend, -to_bend]))
        best, t = heights.max(axis=0), heights[:_ANGLES].argmax(axis=0) * apart
        low, high = t - apart, t + apart
        for _ in range(_CLOSER):
            rise, bend = self._along_rim(r, x, y, t)
            low, high = np.where(rise > 0, t, low), np.where(rise > 0, high, t)
            nearer = t - rise / np.where(bend < 0, bend, np.nan)
            before, t = t, np.where((nearer >= low) & (nearer <= high), nearer, (low + high) / 2)
            if np.abs(t - before).max() < 1e-9:
                break
        return np.maximum(best, rim(t))

    def _along_rim(self, r: float, x: Floats, y: Floats, t: Floats) -> tuple[Floats, Floats]:
        """How the height on the rim of a disc changes with the angle, and how that does: per radian, per radian^2."""
        c, s = r * np.cos(t), r * np.sin(t)
        su, sv, suu, suv, svv = self._derivatives(x + c, y + s)
        su, suu = su - self.falling(x + c), suu - self.bending(x + c)
        return c * sv - s * su, s**2 * suu - 2 * s * c * suv + c**2 * svv - c * su - s * sv


def _value(piece: Piece, x: Floats) -> tuple[Floats, Floats, float]:
    """p, its slope and how much that changes, of one piece run on in both ways."""
    start, _, a, b, c = piece
    if not math.isfinite(start):
        return np.full(np.shape(x), a), np.zeros(np.shape(x)), 0.0
    t = x - start
    return a + (b + c * t) * t, b + 2 * c * t, 2 * c
