"""A surface, and what lies over it, in a frame that is turned so that passes run along its x."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import ArrayLike

from pathgen.base.arrays import Floats
from pathgen.base.cutters import Cutter
from pathgen.base.surface import Surface
from pathgen.removal.motion import Motion


@dataclass(frozen=True, eq=False)
class Turned:
    """A surface in a frame turned by an angle, in radians from its own x towards y."""

    surface: Surface
    angle: float

    def there(self, x: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats]:
        """Places of the surface's frame in the turned one."""
        return _turned(x, y, -self.angle)

    def back(self, x: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats]:
        """The inverse of `there`."""
        return _turned(x, y, self.angle)

    def height(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """As `Surface.height`."""
        return self.surface.height(*self.back(x, y))

    def normal(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """As `Surface.normal`; its last axis is the one that stays."""
        return self.surface.normal(*self.back(x, y))

    def motion(self, motion: Motion) -> Motion:
        """A program's moves in the turned frame."""
        start, end = (np.column_stack([*self.there(p[:, 0], p[:, 1]), p[:, 2]]) for p in (motion.start, motion.end))
        return replace(motion, start=start, end=end)

    def shape(self, shape: shapely.Geometry, *, back: bool = False) -> shapely.Geometry:
        """An area in the turned frame, or `back` in the surface's."""
        way = self.back if back else self.there
        return shapely.transform(shape, lambda p: np.column_stack(way(p[:, 0], p[:, 1])))

    def contact(self, axis: Floats, cutter: Cutter) -> Floats:
        """(n, 2) where a ball whose axis stands at (n, 2) touches; the surface is taken as a cylinder there."""
        x, y = self.back(axis[:, 0], axis[:, 1])
        return np.column_stack(self.there(x, y / (1.0 + cutter.radius / self.surface.radius(x))))


def _turned(x: ArrayLike, y: ArrayLike, angle: float) -> tuple[Floats, Floats]:
    x, y = np.asarray(x, float), np.asarray(y, float)
    if angle == 0.0:
        return x, y
    if abs(angle) == math.pi / 2:  # exactly
        return (-y, x) if angle > 0 else (y, -x)
    return math.cos(angle) * x - math.sin(angle) * y, math.sin(angle) * x + math.cos(angle) * y
