"""Flat stock with a corner at x 0, y 0, that pieces are cut from whole."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from pathgen.base.arrays import Bounds
from pathgen.parts.tool import Tool
from pathgen.work.clamping import Stock
from pathgen.work.part import Names, Place


@dataclass(frozen=True, kw_only=True)
class FlatStock(Stock):
    """Flat stock with a corner at x 0, y 0."""

    margin_nut: float = 0.0

    @property
    def bounds(self) -> Bounds:
        """(x_min, y_min, x_max, y_max)."""
        return (0.0, 0.0, self.length, self.width)


class Sheet(Tool):
    """The stock is the part."""

    names: ClassVar[Names] = Names(part="sheet", start="the sheet", wooden=False,
                                  thickness="[[inlay]] piece thickness", measured=False,
                                  again="build the job again, and run pathgen pieces again")

    def places(self, stock: Stock) -> dict[str, Place]:
        """Its corner."""
        return {"corner": Place(at=(0.0, 0.0), words="the stock's corner, the lowest X and Y of it")}
