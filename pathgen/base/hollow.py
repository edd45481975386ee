"""The hollow that fits a radiused surface: of a block for pressing or sanding, laid on the board upside down."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from numpy.typing import ArrayLike

from pathgen.base.arrays import Floats
from pathgen.base.cutters import Cutter
from pathgen.base.errors import CutterError
from pathgen.base.lowered import FallAway, Lowered, Relief
from pathgen.base.surface import Surface


@dataclass(frozen=True, kw_only=True)
class Hollow(Surface):
    """A trough: the mirror image of a Surface in the level plane at `thickness`, where the lowest line of it lies.

    Radii are given positive, as those of the board it fits; `radius` gives them negative, as the ridge formulas of
    `pathgen.base.scallop` count a hollow. Where relief or fall-away lower the board, the hollow rises.
    """

    relief: Relief | None = None
    fall_away: FallAway | None = None

    @cached_property
    def board(self) -> Surface:
        """The surface that the hollow fits, with its crest, before it is lowered, in the level plane."""
        plain = {"thickness": self.thickness, "radius_nut": self.radius_nut, "radius_end": self.radius_end,
                 "length": self.length}
        if self.relief or self.fall_away:
            return Lowered(**plain, relief=self.relief, fall_away=self.fall_away)
        return Surface(**plain)

    @property
    def bends(self) -> Floats:
        """As of the board."""
        return self.board.bends

    @property
    def curving(self) -> float:
        """As of the board."""
        return self.board.curving

    def radius(self, x: ArrayLike) -> Floats:
        """Radius of the section across at x, mm, negative (infinite for a flat)."""
        return -self.board.radius(x)

    def height(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """Height above the underside, mm; NaN where `y` lies beyond the section's radius."""
        return 2.0 * self.thickness - self.board.height(x, y)

    def normal(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """Unit normals, pointing up out of the wood: (..., 3) array."""
        return self.board.normal(x, y) * [-1.0, -1.0, 1.0]

    def tip_height(self, cutter: Cutter, x: ArrayLike, y: ArrayLike) -> Floats:
        """Height of a ball-end cutter's tip that just touches the hollow; see `Surface.tip_height`.

        Raises CutterError for a cutter of another shape, or a ball as large as the hollow.
        """
        where = f"cutter {cutter.name!r}"
        if cutter.shape != "ball-end":
            raise CutterError(where, f"a {cutter.shape} cutter cannot finish a hollow", allowed="ball-end")
        smallest = min(self.radius_nut, self.radius_end)
        if cutter.radius >= smallest:
            raise CutterError(where, f"a ball of radius {cutter.radius:g} mm in a hollow of {smallest:g} mm",
                              allowed="a ball smaller than the hollow", remedy="take a smaller ball")
        return 2.0 * self.thickness - self.board.ball_from_below(cutter.radius, x, y)
