"""A tool of the bench, or a sheet that pieces are cut from: an outline under a surface, and nothing else."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from pathgen.base.surface import Surface


@dataclass(frozen=True, eq=False, kw_only=True)
class Tool:
    """A part without strings, in its own frame, mm."""

    surface: Surface
    outline: Polygon
    min_web: float = 0.0
    noun: ClassVar[str] = "part"
    bass_side: ClassVar[int] = -1

    @property
    def finished(self) -> Polygon:
        """Nothing is glued on."""
        return self.outline

    @property
    def length(self) -> float:
        """Its far end, along X."""
        return float(self.outline.bounds[2])

    @property
    def nut_line(self) -> NDArray[np.float64]:
        """(2, 2) corners of the box round it, near end."""
        x0, y0, _, y1 = self.outline.bounds
        return np.array([[x0, y0], [x0, y1]])

    @property
    def end_line(self) -> NDArray[np.float64]:
        """(2, 2) corners of the box round it, far end."""
        _, y0, x1, y1 = self.outline.bounds
        return np.array([[x1, y0], [x1, y1]])
