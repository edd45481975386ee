"""What a part is to those who plan, cut and check it; each kind of part is one folder or module of `pathgen.parts`."""

from __future__ import annotations

from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from pathgen.base.surface import Surface

Floats = NDArray[np.float64]


class Part(Protocol):
    """A part in its own frame: X along it, Y across, 0 on its centre-line, Z above its underside. Lengths in mm."""

    @property
    def noun(self) -> str:
        """What it is called: "board", or "part" for any other."""

    @property
    def surface(self) -> Surface:
        """Its top as first cut."""

    @property
    def outline(self) -> Polygon:
        """What is cut free on the machine, in plan."""

    @property
    def finished(self) -> Polygon:
        """Its outline when all is glued on."""

    @property
    def length(self) -> float:
        """How far it runs along X from 0."""

    @property
    def min_web(self) -> float:
        """Least wood to be left under any pocket or slot."""

    @property
    def bass_side(self) -> int:
        """The sign of y on the side that places of zero call bass."""

    @property
    def nut_line(self) -> Floats:
        """(2, 2) corners of its near end: bass, treble."""

    @property
    def end_line(self) -> Floats:
        """(2, 2) corners of its far end: bass, treble."""
