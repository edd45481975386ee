"""Moves that cut, or pieces of them, as arrays: of a program, put together, and in pieces."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pathgen.base.arrays import Bools, Floats, Ints
from pathgen.removal.motion import Motion, in_pieces


@dataclass(frozen=True, eq=False)
class Moves:
    """Straight moves or pieces of them, in order."""

    start: Floats
    end: Floats
    """(n, 3) each."""
    row: Ints
    """(n,): the move of the program that each is a piece of."""
    onward: Bools
    """(n,): whether the one before it has cut at its start."""

    def __len__(self) -> int:
        return len(self.row)

    def of(self, which: slice | Ints | Bools) -> Moves:
        """Some of them."""
        return Moves(self.start[which], self.end[which], self.row[which], self.onward[which])


def moves_of(motion: Motion, first: int, stop: int) -> Moves:
    """Moves [first, stop) of a program, of which all cut."""
    row = np.arange(first, stop)
    return Moves(motion.start[first:stop], motion.end[first:stop], row, row > first)


def joined(parts: Sequence[Moves]) -> Moves:
    """One after another."""
    columns = zip(*((p.start, p.end, p.row, p.onward) for p in parts), strict=True)
    return Moves(*(np.concatenate(column) for column in columns))


def split(moves: Moves, pieces: Ints) -> Moves:
    """Moves in as many pieces, none where that is 0."""
    if pieces.max(initial=1) == 1:
        return moves.of(pieces == 1)
    start, end, of, nth = in_pieces(moves.start, moves.end, pieces)
    return Moves(start, end, moves.row[of], moves.onward[of] | (nth > 0))
