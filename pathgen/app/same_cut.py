"""Whether two programs cut the same, by their texts."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from pathgen.base.arrays import Floats
from pathgen.base.errors import PathgenError
from pathgen.verify.program import ReadMove
from pathgen.verify.read import read_program

OFF = 5e-3
"""How far what cuts the same may lie apart, mm: numbers are rounded, and arcs stand for short moves."""

_CHORD = 1e-4  # mm, of arcs
_NEAR = range(-4, 5)  # moves beside the one that lies as far along: lengths are rounded too


def cut_alike(
    old: str, new: str, *, old_in_wood: Callable[[Floats], Floats] | None = None,
    new_in_wood: Callable[[Floats], Floats] | None = None, shifted: bool = False,
) -> bool:
    """Whether two programs cut the same: feeds, how high they lift, and where straight moves are divided apart.

    `old_in_wood` and `new_in_wood` take (n, 3) tips to where they are in the wood; `shifted`: all may lie elsewhere by
    one shift.
    """
    try:
        was, now = _runs(old, old_in_wood), _runs(new, new_in_wood)
    except PathgenError:  # a folder holds what was put there
        return False
    if len(was) != len(now):
        return False
    shift = was[0][-1] - now[0][-1] if shifted and was else np.zeros(3)
    return all(_off(a, b + shift) <= OFF and _off(b + shift, a) <= OFF for a, b in zip(was, now, strict=True))


def _runs(text: str, in_wood: Callable[[Floats], Floats] | None) -> list[Floats]:
    """The (n, 3) places along each run of cutting moves, from where it has come straight down."""
    starts, ends, motion = (read := read_program(text)).straight(_CHORD)
    cutting = read.kind[motion] != ReadMove.RAPID
    first = cutting & ~np.concatenate([[False], cutting[:-1]])
    plunged = first & (np.abs(starts - ends)[:, :2] <= OFF).all(axis=1)
    runs = []
    for rows in np.split(np.arange(len(ends)), np.flatnonzero(first))[1:]:
        rows = rows[cutting[rows]]
        run = ends[rows] if plunged[rows[0]] else np.concatenate([starts[rows[:1]], ends[rows]])
        runs.append(run if in_wood is None else in_wood(run))
    return runs


def _off(places: Floats, along: Floats) -> float:
    """How far the furthest of `places` lies from the moves `along`, each looked for where it comes along its own."""
    a, b = (np.concatenate([along[:1], along[:-1]]), along)
    length, own = (np.cumsum(np.linalg.norm(np.diff(way, axis=0, prepend=way[:1]), axis=1)) for way in (along, places))
    there = np.searchsorted(length, own * (length[-1] / max(own[-1], 1e-9)))
    off = np.full(len(places), np.inf)
    for beside in _NEAR:
        start, end = (way[np.clip(there + beside, 0, len(along) - 1)] for way in (a, b))
        move = end - start
        share = np.einsum("ij,ij->i", places - start, move) / np.maximum(np.einsum("ij,ij->i", move, move), 1e-12)
        off = np.minimum(off, np.linalg.norm(places - start - np.clip(share, 0, 1)[:, None] * move, axis=1))
    return float(off.max())
