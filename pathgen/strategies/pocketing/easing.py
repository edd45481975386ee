"""Where a path turns into the wood: the corners at which the feed is halved so that the load stays even."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pathgen.base.toolpath import Move

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


def eased_in_corners(rows: Floats, *, width: float, sharp_deg: float) -> Floats:
    """Rows (x, y, depth, kind) with the cuts within `width` (mm) of sharp left turns made EASED.

    In a climb cut the wood is on the right and the loops turn left in the corners of a pocket, where the cutter
    is in wood over a wider angle. A turn is sharp when the path turns left by `sharp_deg` or more within `width`,
    all at once or little by little.
    """
    step = np.diff(rows[:, :2], axis=0)
    length = np.hypot(step[:, 0], step[:, 1])
    cut = (rows[1:, 3] == Move.CUT) & (length > 0.0)
    far = 10.0 * width
    along = np.concatenate([[0.0], np.cumsum(np.where(cut, length, far))])
    sharp = _sharp_turns(step, cut, along, width, np.radians(sharp_deg))
    if not sharp.any():
        return rows
    low, high = _zones(along[sharp], width)
    ends = np.concatenate([low, high])
    k = np.searchsorted(along, ends, side="left")
    inner = (k > 0) & (k < len(along))
    inner[inner] &= cut[k[inner] - 1] & (along[k[inner]] > ends[inner])
    out, at = _with_points(rows, along, ends[inner], k[inner])
    middle = (at[:-1] + at[1:]) / 2.0
    in_zone = np.searchsorted(low, middle, side="right") > np.searchsorted(high, middle, side="right")
    kind = out[1:, 3]
    out[1:, 3] = np.where(in_zone & (kind == Move.CUT), Move.EASED, kind)
    return out


def _sharp_turns(step: Floats, cut: Bools, along: Floats, width: float, limit: float) -> Bools:
    """Rows at which the path turns left, in a stretch of `width` where it does so by `limit` in all."""
    heading = np.arctan2(step[:, 1], step[:, 0])
    turn = (np.diff(heading) + np.pi) % (2.0 * np.pi) - np.pi
    left = np.zeros(len(along))
    left[1:-1] = np.where(cut[1:] & cut[:-1], np.maximum(turn, 0.0), 0.0)
    total = np.concatenate([[0.0], np.cumsum(left)])
    first = np.searchsorted(along, along - width / 2.0, side="left")
    last = np.searchsorted(along, along + width / 2.0, side="right")
    return (left > 0.0) & (total[last] - total[first] >= limit)


def _zones(centres: Floats, width: float) -> tuple[Floats, Floats]:
    """Stretches within `width` of the centres (in rising order), merged where they meet: starts and ends."""
    apart = np.diff(centres) > 2.0 * width
    return (
        centres[np.concatenate([[True], apart])] - width,
        centres[np.concatenate([apart, [True]])] + width,
    )


def _with_points(rows: Floats, along: Floats, ends: Floats, k: NDArray[np.intp]) -> tuple[Floats, Floats]:
    """Rows with one more at each of `ends`, which lie on the moves that reach rows `k`."""
    t = ((ends - along[k - 1]) / (along[k] - along[k - 1]))[:, None]
    new = rows[k - 1] + t * (rows[k] - rows[k - 1])
    new[:, 3] = rows[k, 3]
    place = np.concatenate([along, ends])
    order = np.argsort(place, kind="stable")
    return np.concatenate([rows, new])[order], place[order]
