"""What the words of an operation need to know of the clamping that it is part of, and what several of them say."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np

from pathgen.base.arrays import Floats
from pathgen.base.surface import Surface
from pathgen.base.units import axes_words
from pathgen.work.features import Inlay, Named
from pathgen.work.part import Part

STAY = "Do not move the work."
"""Said before a program that must find the work where an earlier one left it; nothing before the first."""


class Work(Protocol):
    """What the words of an operation need to know of the clamping it is part of."""

    @property
    def units(self) -> str: ...

    @property
    def surface(self) -> Surface: ...

    @property
    def board(self) -> Part: ...

    @property
    def marks(self) -> tuple[Named, ...]:
        """The witness marks; none where none are drilled."""

    @property
    def drilled_key(self) -> str:
        """The key of a job that says where they are drilled."""

    @property
    def whose_job(self) -> str:
        """The job that what was measured is written into."""

    @property
    def skim(self) -> float:
        """How far the finished surface lies below the first one, mm."""

    def opened(self, inlay: Inlay) -> float:
        """How deep an inlay is from the wood round it once it is opened, mm."""

    def stands(self, inlay: Inlay) -> float:
        """How far what fills an inlay stands above the wood round it, mm."""

    def comes_down(self, inlay: Inlay) -> float:
        """How far the wood round what fills an inlay is cut down after that, mm."""

    def display(self, places: Floats) -> Floats:
        """(n, 2) what the machine's display shows over (n, 2) places on the blank's top, as the work lies now."""


def named_places(named: Sequence[Named], work: Work) -> str:
    """Names and where they are on the machine's display now: ``mark 1 at X 5 mm, Y 3 mm; mark 2 at ..``."""
    there = work.display(np.array([one.at for one in named]))
    return "; ".join(f"{one.name} at {axes_words(x, y, work.units)}"
                     for one, (x, y) in zip(named, there.tolist(), strict=True))
