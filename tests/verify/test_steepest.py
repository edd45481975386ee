"""How steep a surface is along each row of a pocket, which says how high flat ends may leave a floor."""

import numpy as np
import pytest

from pathgen.base.lowered import FallAway, Lowered, Relief
from pathgen.removal.grid import Grid
from pathgen.verify.pockets import _steepest


class Clamped:
    """What is asked of a clamping."""

    def __init__(self, surface):
        self.board = self
        self.surface = surface


@pytest.mark.parametrize("radii", [(254.0, 254.0), (254.0, 400.0), (400.0, 254.0), (np.inf, np.inf)])
@pytest.mark.parametrize("lowered", [
    {}, {"relief": Relief(depth=0.2, start=13.9, deepest=25.0, end=39.3)},
    {"fall_away": FallAway(start=30.0, end=60.0, drop=0.4, curved=True)},
    {"fall_away": FallAway(start=30.0, end=60.0, drop=0.4)},
])
def test_as_steep_as_the_steepest_of_all_cells(radii, lowered):
    """A pocket that began before a relief (random board 22014) was judged by the slope at its ends alone."""
    surface = Lowered(thickness=6.0, radius_nut=radii[0], radius_end=radii[1], length=60.0, **lowered)
    grid = Grid(np.arange(13.0, 41.0, 0.1), np.arange(-8.0, 8.0, 0.1))
    every = surface.slope(grid.xs, grid.ys[:, None]).max(axis=1)
    told = _steepest(Clamped(surface), grid)
    assert (told >= every - 1e-9).all()
    assert told == pytest.approx(every, abs=4e-4)
