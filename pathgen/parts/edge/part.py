"""A finished board standing upright, one long edge up and level, so that holes can be drilled into it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from pathgen.base.arrays import Bounds
from pathgen.parts.tool import Tool
from pathgen.work.clamping import Stock
from pathgen.work.part import Names, Place


@dataclass(frozen=True, kw_only=True)
class StandingBoard(Stock):
    """The board as stock: X along the upper edge from the nut line, Y 0 at the board's underside.

    `width` is how high the edge is there, at most; `thickness` is how high the board stands.
    """

    top_side: int
    """+1 where the board's top looks toward + Y, -1 where it looks toward - Y."""

    @property
    def bounds(self) -> Bounds:
        """(x_min, y_min, x_max, y_max)."""
        low, high = sorted((0.0, self.top_side * self.width))
        return (-self.margin_nut, low, self.length - self.margin_nut, high)


class Edge(Tool):
    """The upper edge of a standing board."""

    names: ClassVar[Names] = Names(part="edge", start="the nut face", along="edge runs", thick="high",
                                  blank="the finished board on its edge,", top="the edge that lies uppermost",
                                  measured=False, again="run pathgen side-dots again")

    def places(self, stock: Stock) -> dict[str, Place]:
        """Where the nut line meets the underside."""
        return {"nut-underside": Place(at=(0.0, 0.0), words="where the nut face meets the board's underside, on the "
                                       "edge that lies uppermost")}
