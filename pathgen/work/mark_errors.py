"""What a measuring error at one mark does to the board: carried through the least squares that finds the move."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

ACCURACY = 0.05
"""How exactly a mark is measured where the job does not say, mm; common practice, no source."""

BOARD_LIMIT = 0.1
"""How far such an error may move any place of the board where the job does not say, mm."""


@dataclass(frozen=True, kw_only=True)
class MarkErrors:
    """How far a measuring error of `accuracy`, in any direction at any one mark, moves the board at most: mm.

    Pairs are (in height, in place); infinite for marks that leave a turn or tilt open.
    """

    accuracy: float
    nut: tuple[float, float]
    end: tuple[float, float]
    anywhere: tuple[float, float]

    @property
    def worst(self) -> float:
        """The larger of both, anywhere on the board."""
        return max(self.anywhere)


def mark_errors(
    marks: ArrayLike, *, nut: ArrayLike, end: ArrayLike, outline: ArrayLike, accuracy: float = ACCURACY
) -> MarkErrors:
    """What an error of `accuracy` mm at one of `marks` does at both ends and anywhere on the outline.

    All are (n, 3) arrays, mm. What moves most on the board is on its outline, as a small move is linear in place.
    """

    def most(points: ArrayLike) -> tuple[float, float]:
        height, place = (float(v.max()) * accuracy for v in influence(marks, points))
        return height, place

    a, b, c = most(nut), most(end), most(outline)
    return MarkErrors(accuracy=accuracy, nut=a, end=b, anywhere=(max(a[0], b[0], c[0]), max(a[1], b[1], c[1])))


def influence(marks: ArrayLike, points: ArrayLike) -> tuple[Floats, Floats]:
    """Largest move of each point, in height and in place, for an error of 1 at any one mark: two (m,) arrays.

    Parameters
    ----------
    marks : (n, 3) array
    points : (m, 3) array

    Notes
    -----
    A small rigid move displaces p by t + w x p. The marks' errors e give (t, w) = A+ e, with the rows of A those of
    [1, -p x] at each mark and A+ its pseudo-inverse; the move of a point is then B A+ e. The largest over all
    directions of one mark's error is the largest singular value of its 3 columns. Exact to first order in w.
    """
    p, q = (np.asarray(v, dtype=float).reshape(-1, 3) for v in (marks, points))
    centre = p.mean(axis=0)
    u, s, vt = np.linalg.svd(_small_move(p - centre), full_matrices=False)
    if len(s) < 6 or s[-1] < 1e-9 * s[0]:
        return np.full(len(q), np.inf), np.full(len(q), np.inf)
    moves = _small_move(q - centre) @ (vt.T / s) @ u.T
    each = moves.reshape(len(q), 3, len(p), 3).transpose(0, 2, 1, 3)
    height: Floats = np.linalg.norm(each[:, :, 2], axis=-1).max(axis=1)
    place: Floats = np.linalg.norm(each[:, :, :2], ord=2, axis=(-2, -1)).max(axis=1)
    return height, place


def height_influence(triples: Floats, points: Floats) -> Floats:
    """(k,) largest rise at any of (m, 2) `points` for an error of 1 in the height of one of three marks, (k, 3, 2).

    Three heights fix a plane: the rise is a point's barycentric coordinate in the triangle. Infinite on one line.
    """
    corners = np.concatenate([triples, np.ones((len(triples), 3, 1))], axis=2).transpose(0, 2, 1)
    flat = np.abs(np.linalg.det(corners)) < 1e-6
    corners[flat] = np.eye(3)
    weights = np.linalg.solve(corners, np.vstack([points.T, np.ones(len(points))])[None])
    return np.where(flat, np.inf, np.abs(weights).max(axis=(1, 2)))


def _small_move(p: Floats) -> Floats:
    """(3 n, 6): displacement of each point by a shift t and a small turn w, t + w x p."""
    x, y, z = p.T
    o = np.zeros_like(x)
    turn = np.stack([[o, z, -y], [-z, o, x], [y, -x, o]]).transpose(2, 0, 1)
    shift = np.broadcast_to(np.eye(3), turn.shape)
    return np.concatenate([shift, turn], axis=2).reshape(-1, 6)
