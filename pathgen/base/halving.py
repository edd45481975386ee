"""Where something that holds ceases to, by halving."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

N = TypeVar("N", int, float)


def halved(holds: Callable[[N], bool], low: N, high: N, *, within: N) -> tuple[N, N]:
    """The last place that `holds` and the first that does not, `within` so much of each other, between `low`, where it
    is taken to hold, and `high`, where it is taken not to. Between whole numbers only these are tried."""
    while high - low > within:
        middle = (low + high) // 2 if isinstance(high, int) else (low + high) / 2
        low, high = (middle, high) if holds(middle) else (low, middle)
    return low, high
