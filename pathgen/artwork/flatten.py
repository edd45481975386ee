"""Curves to straight pieces within a tolerance, all of them at once."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pathgen.artwork.curves import Curves
from pathgen.artwork.transforms import Matrix

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

MAX_STEPS = 2000
"""Straight pieces for one curve piece: enough for a curve a metre long at 0.1 um."""

_FINEST = 1e-6
"""The tolerance is never finer than this share of a curve piece: 5 um for a piece five metres long."""

MAX_TURN = math.radians(7.5)
"""The furthest that a chord turns from the one before it, however small the curve: a dot of half a millimetre keeps
its area to 0.3 %, which the tolerance alone would not see to."""


@dataclass(frozen=True, eq=False)
class Polylines:
    """Flattened subpaths.

    Attributes
    ----------
    points : (n, 2) float array
        Subpath after subpath; the first point of a closed one is not repeated at its end unless a curve ends there.
    start : (k + 1,) int array
        Where each subpath begins in `points`, with n at the end.
    corner : (n,) bool array
        True where two pieces of the outline meet, False for points within a curve.
    closed : (k,) bool array
    owner : (k,) int array
        Which of the given outlines each subpath belongs to.
    """

    points: Floats
    start: Ints
    corner: NDArray[np.bool_]
    closed: NDArray[np.bool_]
    owner: Ints


def transformed(points: Floats, matrices: Floats) -> Floats:
    """(n, 4, 2) control points after n maps, given as (n, 6)."""
    a, b, c, d, e, f = (matrices[:, k, None] for k in range(6))
    x, y = points[..., 0], points[..., 1]
    return np.stack([a * x + c * y + e, b * x + d * y + f], axis=-1)


def steps_needed(points: Floats, straight: NDArray[np.bool_], tolerance: Floats) -> Ints:
    """How many straight pieces, even in the parameter, keep each cubic within `tolerance`.

    Over a span h of the parameter, the distance of curve and chord is at most h**2 / 8 * max|B'' . n|, with n the
    chord's normal: the error of linear interpolation. B'' is linear, so its largest value is at one end of the span.
    A first guess from the bend at a few places is checked on every chord, and where it fails, all of B'' is used,
    which is at most 6 times the larger second difference.

    Parameters
    ----------
    points : (n, 4, 2) float array
    straight : (n,) bool array
    tolerance : (n,) float array

    References
    ----------
    G. Farin, *Curves and Surfaces for CAGD*, derivatives of a Bezier curve.
    """
    first = points[:, 0] - 2 * points[:, 1] + points[:, 2]
    second = points[:, 1] - 2 * points[:, 2] + points[:, 3]
    largest = np.sqrt(np.maximum(np.sum(first**2, axis=-1), np.sum(second**2, axis=-1)))
    least = np.where(straight, 1, np.ceil(_turning(points) / MAX_TURN)).astype(np.int64)
    safe = np.maximum(_steps(largest, tolerance, straight), least)
    steps = np.clip(_steps(_bend(points, first, second), tolerance, straight), least, safe)
    return np.where(_chords_fit(points, first, second, steps, tolerance), steps, safe)


def _steps(bend: Floats, tolerance: Floats, straight: NDArray[np.bool_]) -> Ints:
    steps = np.ceil(np.sqrt(0.75 * bend / tolerance))
    return np.where(straight, 1, np.clip(steps, 1, MAX_STEPS)).astype(np.int64)


def _turning(points: Floats) -> Floats:
    """How far the legs of each control polygon turn in all, radians: the curve turns no further."""
    legs = np.diff(points, axis=1)
    u, v = legs[:, :-1], legs[:, 1:]
    cross, dot = u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0], np.sum(u * v, axis=-1)
    turning: Floats = np.abs(np.arctan2(cross, dot)).sum(axis=1)
    return turning


def _bend(points: Floats, first: Floats, second: Floats) -> Floats:
    """Largest part of B'' / 6 square to the curve, at five places; infinite where the curve stands still."""
    found = np.zeros(len(points))
    for t in (0.0, 0.25, 0.5, 0.75, 1.0):
        s = 1.0 - t
        tangent = (
            s * s * (points[:, 1] - points[:, 0]) + 2 * s * t * (points[:, 2] - points[:, 1])
            + t * t * (points[:, 3] - points[:, 2])
        )
        pull = s * first + t * second
        length = np.hypot(tangent[:, 0], tangent[:, 1])
        square = np.abs(tangent[:, 0] * pull[:, 1] - tangent[:, 1] * pull[:, 0])
        found = np.maximum(found, np.divide(square, length, out=np.full(len(points), np.inf), where=length > 0))
    return found


def _chords_fit(
    points: Floats, first: Floats, second: Floats, steps: Ints, tolerance: Floats
) -> NDArray[np.bool_]:
    """Whether every chord of each curve, cut into `steps`, lies within `tolerance` of it."""
    piece = np.repeat(np.arange(len(points)), steps)
    begin = np.cumsum(steps) - steps
    t = (np.arange(len(piece)) - begin[piece]) / steps[piece]
    u = t + 1.0 / steps[piece]
    chord = _at(points, piece, u) - _at(points, piece, t)
    bend = np.maximum(*(_square_bend(points, first, second, piece, v, chord) for v in (t, u)))
    worst = np.maximum.reduceat(bend, begin) if len(begin) else bend
    fits: NDArray[np.bool_] = 0.75 * worst / steps**2 <= tolerance
    return fits


def _square_bend(points: Floats, first: Floats, second: Floats, piece: Ints, t: Floats, chord: Floats) -> Floats:
    """B'' / 6 square to a chord; all of it where the curve runs back along the chord, or that has no direction."""
    s, t = (1.0 - t)[:, None], t[:, None]
    pull = first[piece] * s + second[piece] * t
    legs = np.diff(points, axis=1)[piece]
    along = s * s * legs[:, 0] + 2 * s * t * legs[:, 1] + t * t * legs[:, 2]
    length = np.hypot(chord[:, 0], chord[:, 1])
    forward = np.sum(along * chord, axis=1) > 0
    square = np.abs(chord[:, 0] * pull[:, 1] - chord[:, 1] * pull[:, 0])
    bend: Floats = np.divide(square, length, out=np.hypot(pull[:, 0], pull[:, 1]), where=forward & (length > 0))
    return bend


def _at(points: Floats, piece: Ints, t: Floats) -> Floats:
    """Points of curves `piece` at parameters t."""
    s, t = (1.0 - t)[:, None], t[:, None]
    p = points[piece]
    flat: Floats = s**3 * p[:, 0] + 3 * s**2 * t * p[:, 1] + 3 * s * t**2 * p[:, 2] + t**3 * p[:, 3]
    return flat


def flatten(outlines: Sequence[Curves], matrices: Sequence[Matrix], tolerance: Floats | float) -> Polylines:
    """The outlines after their maps, as straight pieces no further than `tolerance` from the curves.

    Parameters
    ----------
    outlines, matrices : sequences of the same length m
    tolerance : float or (m,) array
        mm (or whatever the maps lead to).
    """
    sizes = np.array([len(curves) for curves in outlines], dtype=np.int64)
    counts = np.array([len(curves.first) for curves in outlines], dtype=np.int64)
    if not sizes.sum():
        none = np.zeros(0, dtype=np.int64)
        return Polylines(np.zeros((0, 2)), np.zeros(1, np.int64), none.astype(bool), none.astype(bool), none)
    points = np.concatenate([curves.points for curves in outlines])
    straight = np.concatenate([curves.straight for curves in outlines])
    before = np.concatenate([[0], np.cumsum(sizes)[:-1]])
    first = np.concatenate([curves.first for curves in outlines]) + np.repeat(before, counts)
    closed = np.concatenate([curves.closed for curves in outlines])
    owner = np.repeat(np.arange(len(outlines)), counts)
    points = transformed(points, np.repeat(np.array(matrices, dtype=float).reshape(-1, 6), sizes, axis=0))
    limit = np.repeat(np.broadcast_to(np.asarray(tolerance, dtype=float), sizes.shape), sizes)
    limit = np.maximum(limit, _FINEST * np.ptp(points, axis=1).max(axis=1))
    return _sampled(points, steps_needed(points, straight, limit), first, closed, owner)


def _sampled(points: Floats, steps: Ints, first: Ints, closed: NDArray[np.bool_], owner: Ints) -> Polylines:
    """Start of each subpath, then the points after it: piece i gives steps[i] points, its end the last of them."""
    is_first = np.zeros(len(points), dtype=np.int64)
    is_first[first] = 1
    rows = steps + is_first  # the first piece of a subpath gives its start as well
    offset = np.concatenate([[0], np.cumsum(rows)])
    piece = np.repeat(np.arange(len(points)), rows)
    k = np.arange(offset[-1]) - offset[piece] + 1 - is_first[piece]
    flat = _at(points, piece, k / steps[piece])
    at_end, at_start = k == steps[piece], k == 0
    flat[at_end] = points[piece[at_end], 3]
    flat[at_start] = points[piece[at_start], 0]
    start = np.append(offset[first], offset[-1])
    return Polylines(flat, start, at_end | at_start, closed, owner)


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
