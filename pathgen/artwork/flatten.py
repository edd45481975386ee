"""Curves to straight pieces within a tolerance, all of them at once."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pathgen.artwork.curves import Curves
from pathgen.artwork.transforms import Matrix
from pathgen.base.arrays import Bools, Floats, Ints

Complex = NDArray[np.complex128]

MAX_STEPS = 2000
"""Straight pieces for one curve piece: enough for a curve a metre long at 0.1 um."""

_NOTHING = 1e-100
"""A coordinate as small is 0: the square of a length of it is none, and the geometry library would divide by that."""

_FINEST = 1e-6
"""The tolerance is never finer than this share of a curve piece: 5 um for a piece five metres long."""

MAX_TURN = math.radians(7.5)
"""The furthest that a chord turns from the one before it, however small the curve: a dot of half a millimetre keeps
its area to 0.3 %, which the tolerance alone would not see to."""


@dataclass(frozen=True, eq=False)
class Polylines:
    """Flattened subpaths."""

    points: Floats
    """(n, 2): subpath after subpath; the first point of a closed one is not repeated at its end unless a curve ends
    there."""
    start: Ints
    """(k + 1,): where each subpath begins in `points`, with n at the end."""
    corner: Bools
    """(n,): true where two pieces of the outline meet, False for points within a curve."""
    closed: Bools
    """(k,)."""
    owner: Ints
    """(k,): which of the given outlines each subpath belongs to."""

    @classmethod
    def none(cls) -> Polylines:
        """No subpath at all."""
        none = np.zeros(0, dtype=np.int64)
        return cls(np.zeros((0, 2)), np.zeros(1, np.int64), none.astype(bool), none.astype(bool), none)


_TIP, _CORNER = 0.1, 0.1
"""The share of a chord that a tip takes, and the turn in radians that makes a corner of a joint. A shorter tip would
leave no room for the inner side of a wide line, where the chords after it would then stand out past its end."""


def transformed(points: Floats, matrices: Floats) -> Floats:
    """(n, k, 2) points after n maps, given as (n, 6)."""
    a, b, c, d, e, f = (matrices[:, k, None] for k in range(6))
    x, y = points[..., 0], points[..., 1]
    return np.stack([a * x + c * y + e, b * x + d * y + f], axis=-1)


def steps_needed(points: Floats, straight: Bools, tolerance: Floats) -> Ints:
    """How many straight pieces, even in the parameter, keep each cubic within `tolerance`.

    Over a span h of the parameter, the distance of curve and chord is at most h**2 / 8 * max|B'' . n|, with n the
    chord's normal: the error of linear interpolation. B'' is linear, so its largest value is at one end of the span.
    A first guess from the bend at a few places is checked on every chord, and where it fails, all of B'' is used,
    which is at most 6 times the larger second difference (G. Farin, *Curves and Surfaces for CAGD*, derivatives of a
    Bezier curve). `points` are (n, 4, 2); one of `straight` and `tolerance` goes with each.
    """
    steps = np.ones(len(points), dtype=np.int64)
    curved = np.flatnonzero(~straight)
    if len(curved):
        steps[curved] = _curved_steps(_complex(points[curved]), tolerance[curved])
    return steps


def _complex(points: Floats) -> Complex:
    """(n, 4, 2) control points as (4, n) complex numbers, which numpy works through several times as fast."""
    flat: Complex = np.ascontiguousarray(np.ascontiguousarray(points).view(complex)[..., 0].T)
    return flat


def _curved_steps(points: Complex, tolerance: Floats) -> Ints:
    legs = np.diff(points, axis=0)
    first, second = np.diff(legs, axis=0)
    least = np.ceil(_turning(legs) / MAX_TURN).astype(np.int64)
    safe = np.maximum(_steps(np.maximum(np.abs(first), np.abs(second)), tolerance), least)
    steps = np.clip(_steps(_bend(legs, first, second), tolerance), least, safe)
    return np.where(_chords_fit(points, legs, steps, tolerance), steps, safe)


def _steps(bend: Floats, tolerance: Floats) -> Ints:
    return np.clip(np.ceil(np.sqrt(0.75 * bend / tolerance)), 1, MAX_STEPS).astype(np.int64)


def _turning(legs: Complex) -> Floats:
    """How far the legs of each control polygon turn in all, radians: the curve turns no further."""
    turning: Floats = np.abs(np.angle(legs[1:] * legs[:-1].conj())).sum(axis=0)
    return turning


def _bend(legs: Complex, first: Complex, second: Complex) -> Floats:
    """Largest part of B'' / 6 square to the curve, at five places; infinite where the curve stands still."""
    found = np.zeros(len(first))
    for t in (0.0, 0.25, 0.5, 0.75, 1.0):
        s = 1.0 - t
        tangent = s * s * legs[0] + 2 * s * t * legs[1] + t * t * legs[2]
        square, length = np.abs((tangent.conj() * (s * first + t * second)).imag), np.abs(tangent)
        found = np.maximum(found, np.divide(square, length, out=np.full(len(first), np.inf), where=length > 0))
    return found


def _chords_fit(points: Complex, legs: Complex, steps: Ints, tolerance: Floats) -> Bools:
    """Whether every chord of each curve, cut into `steps`, lies within `tolerance` of it."""
    begin = np.cumsum(steps) - steps
    t = (np.arange(steps.sum()) - np.repeat(begin, steps)) / np.repeat(steps, steps)
    # coefficients of powers of t, for the curve, its direction B' / 3 and B'' / 6
    first, second = np.diff(legs, axis=0)
    third = np.repeat(second - first, steps)
    first, leg, start = np.repeat(first, steps), np.repeat(legs[0], steps), np.repeat(points[0], steps)
    there = start + t * (3 * leg + t * (3 * first + t * third))
    along, pull = leg + t * (2 * first + t * third), first + t * third
    ends = np.append(begin[1:], len(t)) - 1
    following = [np.append(some[1:], 0) for some in (there, along, pull)]
    for some, last in zip(following, (points[3], legs[2], second), strict=True):
        some[ends] = last  # a chord ends where the next begins, the last one at the end of its curve
    chord = following[0] - there
    bend = np.maximum(_square_bend(along, pull, chord), _square_bend(following[1], following[2], chord))
    fits: Bools = 0.75 * np.maximum.reduceat(bend, begin) / steps**2 <= tolerance
    return fits


def _square_bend(along: Complex, pull: Complex, chord: Complex) -> Floats:
    """B'' / 6 square to a chord; all of it where the curve runs back along the chord, or that has no direction."""
    length = np.abs(chord)
    forward = ((along.conj() * chord).real > 0) & (length > 0)
    bend: Floats = np.divide(np.abs((chord.conj() * pull).imag), length, out=np.abs(pull), where=forward)
    return bend


def flatten(
    outlines: Sequence[Curves], matrices: Sequence[Matrix], tolerance: Floats | float, *, tangents: bool = False
) -> Polylines:
    """The outlines after their maps, as straight pieces no further than `tolerance`, one or (m,), from the curves.

    With `tangents` each curve that ends at a corner or at an open end has a short straight piece there, along its
    tangent: joins and caps take their direction from it, which a whole chord would put out by several degrees.
    """
    sizes = np.array([len(curves) for curves in outlines], dtype=np.int64)
    counts = np.array([len(curves.first) for curves in outlines], dtype=np.int64)
    if not sizes.sum():
        return Polylines.none()
    points = np.concatenate([curves.points for curves in outlines])
    straight = np.concatenate([curves.straight for curves in outlines])
    before = np.concatenate([[0], np.cumsum(sizes)[:-1]])
    first = np.concatenate([curves.first for curves in outlines]) + np.repeat(before, counts)
    closed = np.concatenate([curves.closed for curves in outlines])
    owner = np.repeat(np.arange(len(outlines)), counts)
    points = transformed(points, np.repeat(np.array(matrices, dtype=float).reshape(-1, 6), sizes, axis=0))
    limit = np.repeat(np.broadcast_to(np.asarray(tolerance, dtype=float), sizes.shape), sizes)
    limit = np.maximum(limit, _FINEST * np.ptp(points, axis=1).max(axis=1))
    tips = _tips(points, straight, first, closed) if tangents else np.zeros((2, len(points)), dtype=np.int64)
    return _sampled(points, steps_needed(points, straight, limit), tips, first, closed, owner)


def _tips(points: Floats, straight: Bools, first: Ints, closed: Bools) -> Ints:
    """Which curves start, and which end, at a corner or an open end: (2, n) of 0 and 1."""
    legs = np.diff(_complex(points), axis=0)
    start = np.where(legs[0] != 0, legs[0], np.where(legs[1] != 0, legs[1], legs[2]))
    stop = np.where(legs[2] != 0, legs[2], np.where(legs[1] != 0, legs[1], legs[0]))
    last = np.append(first[1:], len(points)) - 1
    before = np.arange(-1, len(points) - 1)
    before[first] = last
    turn = start * stop[before].conj()
    bends = (np.abs(np.angle(turn)) > _CORNER) | (turn == 0)  # beside a piece of no length, whatever follows that
    bends[first[~closed]] = True
    ends = np.zeros(len(points), dtype=bool)
    ends[before] = bends
    tips: Ints = (np.stack([bends, ends]) & ~straight).astype(np.int64)
    return tips


def _sampled(points: Floats, steps: Ints, tips: Ints, first: Ints, closed: Bools, owner: Ints) -> Polylines:
    """Start of each subpath, then the points after it: piece i gives steps[i] points, its end the last of them.

    A tip is one more point close to the start or the end of a piece.
    """
    begins, ends = tips
    is_first = np.zeros(len(points), dtype=np.int64)
    is_first[first] = 1
    count = steps + begins + ends
    rows = count + is_first  # the first piece of a subpath gives its start as well
    offset = np.concatenate([[0], np.cumsum(rows)])
    k = np.arange(offset[-1]) - np.repeat(offset[:-1] - 1 + is_first, rows)
    at_end, at_start = k == np.repeat(count, rows), k == 0
    t = k / np.repeat(steps, rows)
    if tips.any():
        begins, ends, steps = (np.repeat(some, rows) for some in (begins, ends, steps))
        t = (k - begins * ~at_start - ends * at_end) / steps
        tip, end_tip = (t == 0) & ~at_start, (t == 1) & ~at_end
        t[tip], t[end_tip] = _TIP / steps[tip], 1.0 - _TIP / steps[end_tip]
    flat = _along(_complex(points), rows, t)
    flat[at_end] = points[:, 3]
    flat[at_start] = points[first, 0]
    flat[np.abs(flat) < _NOTHING] = 0.0
    start = np.append(offset[first], offset[-1])
    return Polylines(flat, start, at_end | at_start, closed, owner)


def _along(points: Complex, rows: Ints, t: Floats) -> Floats:
    """Points of curves at parameters t, `rows` of them for each curve: (n, 2)."""
    s = 1.0 - t
    a, b, c, d = (np.repeat(some, rows) for some in points)
    flat: Floats = (s * s * (s * a + 3 * t * b) + t * t * (3 * s * c + t * d)).view(float).reshape(-1, 2)
    return flat


def bounds(curves: Curves, matrix: Matrix) -> tuple[Floats, Floats]:
    """Lowest and highest x and y of an outline after a map, as two (2,) arrays: exact, from where B' is 0."""
    p = transformed(curves.points, np.tile(np.array(matrix, dtype=float), (len(curves), 1)))
    found = [p[:, 0], p[:, 3]]
    if not curves.straight.all():
        a = p[:, 3] - p[:, 0] + 3 * (p[:, 1] - p[:, 2])
        b, c = p[:, 0] - 2 * p[:, 1] + p[:, 2], p[:, 1] - p[:, 0]
        with np.errstate(all="ignore"):
            q = -(b + np.copysign(np.sqrt(b * b - a * c), b))
            roots = [np.nan_to_num(np.clip(root, 0.0, 1.0)) for root in (q / a, c / q)]
        for t in roots:
            s = 1.0 - t
            found.append(s**3 * p[:, 0] + 3 * s * s * t * p[:, 1] + 3 * s * t * t * p[:, 2] + t**3 * p[:, 3])
    every = np.concatenate(found)
    return every.min(axis=0), every.max(axis=0)
