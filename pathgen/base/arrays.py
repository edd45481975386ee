"""Arrays by what they hold, as signatures name them (shapes stand in the docstrings); and counting in many at once."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Ints = NDArray[np.intp]
Bools = NDArray[np.bool_]
Pixels = NDArray[np.uint8]
Bounds = tuple[float, float, float, float]
"""x_min, y_min, x_max, y_max, mm."""


def numbers_from(first: Ints, stop: Ints) -> tuple[Ints, Ints]:
    """Whole numbers from each of (n,) `first` on, before its `stop`: which of the n each is of, and the numbers."""
    count = np.maximum(stop - first, 0)
    of = np.repeat(np.arange(len(count)), count)
    return of, np.arange(len(of)) + np.repeat(first - (np.cumsum(count) - count), count)


def stretches(flags: Bools) -> Ints:
    """(m, 2) where each run of True in (n,) flags begins, and where it has ended."""
    padded = np.concatenate([[False], flags, [False]])
    return np.flatnonzero(padded[1:] != padded[:-1]).reshape(-1, 2)


def stable_order(keys: Ints) -> Ints:
    """(n,) as a stable argsort of whole numbers from 0: mostly in half the time, as numbers that all differ, each key
    with its place after it, need only be sorted."""
    bits = len(keys).bit_length()
    if len(keys) and int(keys.max()) >> (62 - bits):
        return np.argsort(keys, kind="stable")
    return np.asarray(np.sort(keys << bits | np.arange(len(keys))) & (1 << bits) - 1)


def first_of_most(values: Floats, alike: float = 5e-5) -> int:
    """Which of some values is the most; of those that are `alike` within so much the first."""
    return int(np.argmax(values >= np.max(values) - alike))
