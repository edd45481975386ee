"""Points that a flat end comes over in level moves, row by row, without those that the move before has cut.

A disc of radius R along a straight move covers one stretch of each row of a grid: from the least of x(t) - w(t) to the
most of x(t) + w(t), where x(t) is its centre and w(t)^2 = R^2 - (y - y(t))^2. Both are taken where the rim runs along
the move, held between the ends of the move (plane geometry). Where the cutter stood at the start before, the chord of
the disc there is left out. The work grows with the rows and with the points that are new: a window around each of many
short moves has many times as many.
"""

from __future__ import annotations

import numpy as np

from pathgen.base.arrays import Floats, Ints, numbers_from
from pathgen.removal.grid import Grid
from pathgen.removal.moves import Moves
from pathgen.removal.sweep import RIM

_LEVEL = 1e-9  # mm: a move that goes no further stands, and one that goes no further across runs along the rows
_ROUNDING = 1e-7  # mm: what lies this near to the rim is under the disc


def newly_under(moves: Moves, rows: Ints, radius: float, grid: Grid) -> tuple[Ints, Ints]:
    """Points under a disc in n level moves, as indices into the flat grid, and the move of each, in their order.

    Straight up or down counts as standing; `rows` (n, 2) has the first and the past-the-last row that each can reach.
    """
    of, row = numbers_from(*rows.T)
    run = moves.end[:, :2] - moves.start[:, :2]
    length = np.hypot(run[:, 0], run[:, 1])
    length[length < _LEVEL] = 0.0
    c, s = np.divide(run.T, length, where=length > 0, out=np.array([[1.0], [0.0]]).repeat(len(moves), axis=1))
    slant = np.abs(s) * length > _LEVEL
    per_row = np.divide(1.0, s, where=slant, out=np.zeros(len(moves)))
    rim = np.divide(radius * c, np.abs(s), where=slant, out=np.copysign(np.inf, c))

    onward = (moves.onward & (length > 0.0))[of]
    x, aside = moves.start[of, 0], grid.ys[row] - moves.start[of, 1]
    c, s, length, shift, at = c[of], s[of], length[of], rim[of], aside * per_row[of]
    left = x + _reached(np.clip(at - shift, 0.0, length), aside, c, s, radius, -1.0) - _ROUNDING
    right = x + _reached(np.clip(at + shift, 0.0, length), aside, c, s, radius, 1.0) + _ROUNDING
    chord = np.sqrt(np.maximum(np.where(onward, (radius - RIM) ** 2 - aside**2, 0.0), 0.0))
    # before the chord and past it; all is before the chord where there is none
    before, past = (np.where(chord > 0.0, x + way * chord, right) for way in (-1.0, 1.0))
    first, stop = (grid.columns_before(np.stack(x, axis=1).reshape(-1)) for x in ((left, past), (before, right)))
    before_row = np.repeat(row, 2) * len(grid.xs)
    stretch, cell = numbers_from(before_row + first, before_row + stop)
    return cell, of[stretch // 2]


def _reached(t: Floats, aside: Floats, c: Floats, s: Floats, radius: float, way: float) -> Floats:
    """How far along its row the rim is that way, from the start of the move, when the centre has gone t."""
    return c * t + way * np.sqrt(np.maximum(radius**2 - (aside - s * t) ** 2, 0.0))
