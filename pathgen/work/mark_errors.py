"""What errors in measuring the marks do to the board, and which change of its shape the marks can see at all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pathgen.base.arrays import Bounds, Floats, Ints
from pathgen.base.plain import joined
from pathgen.base.units import rounded_down

ACCURACY = 0.05
"""How exactly a mark is measured where the job does not say, mm; common practice, no source."""
_ROUNDED = 0.98  # of the exactness that would do what is told: in inches it may be rounded up
CHECKED = 0.85
"""Leverage of a mark's height up to which the others check it: with more, nearly all of an error at it is taken for a
tilt, and little of it is left over."""
_EXACT = 1e-9  # mm
BY_FAR = 3.0
"""Times the measuring error by which a height must differ from the others to be refused."""
LEFT_OVER = 2.0
"""Times the measuring error, and the root of how many marks are over three, that heights may leave over together before
one is doubted."""
THICKER, THINNER = 0.2, 0.5
"""How far the blank's top at a mark may lie above and below what the job says, mm: thickness is that of its thickest
place, and blanks are uneven; common practice, no source."""
BOARD_LIMIT = 0.1
"""How far such errors may move any place of the board where the job does not say, mm."""


@dataclass(frozen=True, kw_only=True)
class MarkErrors:
    """How far measuring errors of `accuracy` at all marks, each in its worst direction, move the board: mm.

    They are taken together as root-sum-square, as one mark's error knows nothing of another's. Pairs are (in height,
    in place); infinite for marks that leave a turn or tilt open.
    """

    accuracy: float
    nut: tuple[float, float]
    end: tuple[float, float]
    anywhere: tuple[float, float]

    @property
    def worst(self) -> float:
        """The larger of both, anywhere on the board."""
        return max(self.anywhere)

    def more_exactly(self, limit: float) -> str:
        """How exactly the marks must be measured to move the board by `limit` (mm) at most, as a remedy that goes on
        after another; nothing where nobody measures so exactly, and no exactness helps marks on one line."""
        needed = rounded_down(_ROUNDED * self.accuracy * limit / self.worst)
        return f"; or measure to {needed:g} mm or better, and write that as [moved] accuracy" if needed else ""


def mark_errors(
    marks: ArrayLike, *, nut: ArrayLike, end: ArrayLike, outline: ArrayLike, accuracy: float = ACCURACY
) -> MarkErrors:
    """What errors of `accuracy` mm at all `marks` together do at both ends and anywhere on the outline. All are (n, 3)
    arrays, mm. What moves most on the board is on its outline, as a small move is linear in place."""

    def most(points: ArrayLike) -> tuple[float, float]:
        height, place = (float(v.max()) * accuracy for v in influence(marks, points))
        return height, place

    a, b, c = most(nut), most(end), most(outline)
    return MarkErrors(accuracy=accuracy, nut=a, end=b, anywhere=(max(a[0], b[0], c[0]), max(a[1], b[1], c[1])))


def influence(marks: ArrayLike, points: ArrayLike) -> tuple[Floats, Floats]:
    """Move of each of (m, 3) points, in height and in place, for errors of 1 at every one of (n, 3) marks,
    root-sum-square: two (m,) arrays.

    A small rigid move displaces p by t + w x p. The marks' errors e give (t, w) = A+ e, with the rows of A those of [1,
    -p x] at each mark and A+ its pseudo-inverse; the move of a point is then B A+ e. The largest over all directions of
    one mark's error is the largest singular value of its 3 columns; those of all marks are added as squares. Exact to
    first order in w.
    """
    p, q = (np.asarray(v, dtype=float).reshape(-1, 3) for v in (marks, points))
    centre = p.mean(axis=0)
    u, s, vt = np.linalg.svd(_small_move(p - centre), full_matrices=False)
    if len(s) < 6 or s[-1] < 1e-9 * s[0]:
        return np.full(len(q), np.inf), np.full(len(q), np.inf)
    moves = _small_move(q - centre) @ (vt.T / s) @ u.T
    each = moves.reshape(len(q), 3, len(p), 3).transpose(0, 2, 1, 3)
    height: Floats = np.linalg.norm(each[:, :, 2], axis=(-2, -1))
    place: Floats = np.linalg.norm(np.linalg.norm(each[:, :, :2], ord=2, axis=(-2, -1)), axis=1)
    return height, place


def height_influence(groups: Floats, points: Floats) -> Floats:
    """(k,) largest rise at any of (m, 2) `points` for errors of 1 in the heights of (k, n, 2) marks, root-sum-square.

    Their heights fix a plane by least squares: with rows [x, y, 1] in M for the marks and p for a point, the rise is
    the root of p (M^T M)^-1 p^T. Infinite for marks on one line.
    """
    middle = points.mean(axis=0)
    rows = np.concatenate([groups - middle, np.ones((*groups.shape[:2], 1))], axis=2)
    squares = rows.transpose(0, 2, 1) @ rows
    flat = np.linalg.det(squares) < 1e-6
    squares[flat] = np.eye(3)
    at = np.column_stack([points - middle, np.ones(len(points))])
    rise = np.einsum("mi,kij,mj->km", at, np.linalg.inv(squares), at)
    return np.where(flat, np.inf, np.sqrt(rise.max(axis=1)))


def leverage(marks: ArrayLike) -> Floats:
    """How much of an error in the height of each of (.., n, 2 or 3) marks the plane through all takes up: (.., n). The
    diagonal of the hat matrix of [x, y, 1]; what is left over at the mark is 1 less. 1 where no other checks it."""
    p = np.asarray(marks, dtype=float)[..., :2]
    u, s, _ = np.linalg.svd(np.concatenate([p - p.mean(axis=-2, keepdims=True), np.ones((*p.shape[:-1], 1))], axis=-1),
                            full_matrices=False)
    hat: Floats = np.where(s[..., None, :] > 1e-6, u**2, 0.0).sum(axis=-1)
    return np.where((s[..., -1:] > 1e-6) & (s.shape[-1] == 3), hat, 1.0)


def unchecked(marks: ArrayLike) -> list[int]:
    """Numbers, from 1, of (n, 2 or 3) marks whose height no other checks."""
    return [k + 1 for k, taken in enumerate(leverage(marks)) if taken > CHECKED]


def doubtful_heights(marks: ArrayLike, rises: ArrayLike, accuracy: float) -> tuple[list[int], float]:
    """The same as `odd_heights`, also where the heights of n marks together leave over more than errors explain.

    That is, as root of the sum of squares over the plane through all, `LEFT_OVER * accuracy * sqrt(n - 3)`: more than
    four rises that are each within `accuracy` ever do. Which mark it is, is told by `LEFT_OVER` too.
    """
    odd, off = odd_heights(marks, rises, accuracy)
    p, z = np.asarray(marks, dtype=float)[:, :2], np.asarray(rises, dtype=float)
    left = np.linalg.norm(_over_plane(p, z))
    if odd or left <= LEFT_OVER * accuracy * max(len(p) - 3, 0) ** 0.5 + _EXACT:
        return odd, off
    return odd_heights(p, z, accuracy, by_far=LEFT_OVER)


def odd_heights(
    marks: ArrayLike, rises: ArrayLike, accuracy: float = ACCURACY, *, by_far: float = BY_FAR
) -> tuple[list[int], float]:
    """Marks whose height may have been misread, and by how much the worst differs from the others, mm; none if no one.

    `marks` are (n, 2 or 3), `rises` (n,) what each was found higher than before. A mark is held against the plane of
    the others' rises, or where these lie on a line, or nearly, against a plane level across it; and doubted from
    `by_far` times what errors of `accuracy` do to the difference. One without which the others agree is the one, of
    which three must have risen alike; else it is any.
    """
    p, z = np.asarray(marks, dtype=float)[:, :2], np.asarray(rises, dtype=float)

    def doubted(some: Ints) -> tuple[bool, float]:
        off, by = _differences(p[some], z[some], accuracy)
        return bool((np.abs(off) > by_far * accuracy * by).any()), float(np.abs(off).max(initial=0.0))

    every = np.arange(len(p))
    wrong, worst = doubted(every)
    if not wrong:
        return [], 0.0

    def agree(rest: Ints) -> bool:
        return bool(np.ptp(z[rest]) <= by_far * accuracy) if len(rest) <= 3 else not doubted(rest)[0]

    alone = [k for k in range(len(p)) if agree(np.delete(every, k))]
    return (alone or every.tolist()), worst


def zero_again(z_zero: str) -> str:
    """Where Z 0 is set once the top that it was set from is cut or has moved, in words; program 1 has that Z noted."""
    return "on the bed" if z_zero == "bed" else "by the Z noted on the bed"


def named(marks: Sequence[int], names: Sequence[str] = (), last: str = "and") -> str:
    """Marks by their places, from 0, among those measured: ``marks 1 and 3``; by their `names` where they have any."""
    if names:
        return joined([names[k] for k in marks], last)
    return f"mark{'s' * (len(marks) > 1)} {joined([str(k + 1) for k in marks], last)}"


def odd_words(odd: list[int], off: str, names: Sequence[str] = ()) -> tuple[str, str]:
    """What is said of heights that may have been misread by `off`, with its unit, and how to begin the remedy."""
    one, again = named(odd, names, "or"), "it"
    if len(odd) > 1:
        one, again = f"one of {one}", "each"
    return (f"the height of {one} differs by {off} from where the others put it"
            + ("" if len(odd) == 1 else "; of which cannot be told"),
            f"measure {again} again, Z 0 set anew first; if it stays, the work ")


def _differences(p: Floats, z: Floats, accuracy: float) -> tuple[Floats, Floats]:
    """(n,) rise of each mark over where the others put it, and what an error of 1 at all of them does to it.

    Others that lie nearly on a line put it where a plane level across that has it, unless they tell that the mark
    cannot be so far wrong.
    """
    found, by, high = np.zeros(len(p)), np.ones(len(p)), leverage(p)
    for k in range(len(p)) if len(p) > 1 else ():
        others = np.delete(np.arange(len(p)), k)
        middle = p[others].mean(axis=0)
        u, s, vt = np.linalg.svd(p[others] - middle, full_matrices=False)
        ways = int((s > 1e-6).sum())
        for keep in (ways,) if high[k] <= CHECKED else (ways, min(1, ways)):
            slope = ((p[k] - middle) @ vt[:keep].T / s[:keep]) @ u[:, :keep].T + 1.0 / len(others)
            off, size = float(z[k] - slope @ z[others]), float(np.sqrt(1.0 + slope @ slope))
            if keep == ways or abs(off - found[k]) <= BY_FAR * accuracy * by[k]:
                found[k], by[k] = off, size
    return found, by


SHAPES = ("bow", "cup", "twist")
"""How wood may change its shape: its middle rises over its ends, its edges over its middle, a corner over all."""


def seen(marks: ArrayLike, box: Bounds) -> dict[str, float]:
    """How much of each of `SHAPES`, of 1 over a part's (x_min, y_min, x_max, y_max), is left over at the worst mark.
    What a shift, turn and tilt explain is taken for a move of the work: 0 is a change that the marks do not see."""
    p = np.asarray(marks, dtype=float).reshape(-1, 3)
    x, y = (2 * (p[:, k] - (box[k] + box[k + 2]) / 2) / (box[k + 2] - box[k]) for k in (0, 1))
    heights = {"bow": 1.0 - x**2, "cup": y**2, "twist": (x * y + x + y + 1.0) / 4.0}
    return {name: float(np.abs(_over_plane(np.column_stack([x, y]), z)).max()) for name, z in heights.items()}


def _over_plane(p: Floats, z: Floats) -> Floats:
    """(n,) how far heights z at (n, 2) places lie over the plane that fits them best."""
    level = np.column_stack([p, np.ones(len(p))])
    return np.asarray(z - level @ np.linalg.lstsq(level, z, rcond=None)[0])


def _small_move(p: Floats) -> Floats:
    """(3 n, 6): displacement of each point by a shift t and a small turn w, t + w x p."""
    x, y, z = p.T
    o = np.zeros_like(x)
    turn = np.stack([[o, z, -y], [-z, o, x], [y, -x, o]]).transpose(2, 0, 1)
    shift = np.broadcast_to(np.eye(3), turn.shape)
    return np.concatenate([shift, turn], axis=2).reshape(-1, 6)
