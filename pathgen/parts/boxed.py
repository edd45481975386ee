"""What parts without strings have in common: what an outline tells, and a part that is no more than that and a top."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
import shapely
from shapely import Polygon

from pathgen.base.arrays import Floats
from pathgen.base.surface import Surface
from pathgen.base.tops import level
from pathgen.work.clamping import Clamping, Stock
from pathgen.work.part import NO_LANDMARKS, Landmarks, Names, Place


class Boxed:
    """What a part without strings or landmarks answers from its outline alone, in its own frame, mm."""

    outline: Polygon
    landmarks: ClassVar[Landmarks] = NO_LANDMARKS

    @property
    def finished(self) -> Polygon:
        """Nothing is glued on."""
        return self.outline

    @property
    def start(self) -> float:
        """Its near end, along X."""
        return float(self.outline.bounds[0])

    @property
    def length(self) -> float:
        """How far it runs along X."""
        return float(self.outline.bounds[2]) - self.start

    @property
    def ends(self) -> tuple[Floats, Floats]:
        """(2, 2) corners of the box round it: near end, far end."""
        x0, y0, x1, y1 = self.outline.bounds
        return np.array([[x0, y0], [x0, y1]]), np.array([[x1, y0], [x1, y1]])


@dataclass(frozen=True, eq=False, kw_only=True)
class Tool(Boxed):
    """A part without strings, in its own frame, mm. Its zero is on the blank, at the middle of the near end."""

    names: Names
    surface: Surface
    outline: Polygon
    min_web: float = 0.0
    zero: tuple[str, str] | None = None
    """Where else X 0, Y 0 is the one place that programs count from: its name, and where it lies in words."""

    openings: ClassVar[tuple[Polygon, ...]] = ()

    @classmethod
    def all_of(cls, stock: Stock, names: Names, zero: tuple[str, str]) -> Tool:
        """A piece of stock, whole, as the part."""
        return cls(names=names, surface=level(stock.thickness, stock.length), outline=shapely.box(*stock.bounds),
                   zero=zero)

    def places(self, stock: Stock) -> dict[str, Place]:
        """The middle of the blank's near end, or its own."""
        if self.zero:
            return {self.zero[0]: Place(at=(0.0, 0.0), words=self.zero[1])}
        words = "the middle of the blank's near end, the left one in the picture from above"
        return {"near-centre": Place(at=(stock.bounds[0], 0.0), words=words)}

    def rows(self, clamping: Clamping) -> dict[str, Any]:
        """Nothing beside its size."""
        return {}
