"""How steep a surface is along each row of a pocket, which says how high flat ends may leave a floor."""

import numpy as np
import pytest

from pathgen import build, check, load_job
from pathgen.base.lowered import FallAway, Lowered, Relief
from pathgen.removal.grid import Grid
from pathgen.verify.pockets import _steepest
from tests.small_board import ART, job
from tests.spoiling import Moves


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
def test_as_steep_as_the_steepest_of_all_cells_near(radii, lowered):
    """A pocket that began before a relief (random board 22014) was judged by the slope at its ends alone."""
    surface = Lowered(thickness=6.0, radius_nut=radii[0], radius_end=radii[1], length=60.0, **lowered)
    grid = Grid(np.arange(13.0, 41.0, 0.1), np.arange(-8.0, 8.0, 0.1))
    every = surface.slope(grid.xs, grid.ys[:, None])
    slopes, stretch = _steepest(Clamped(surface), grid, 3.0)
    told = slopes[:, stretch]
    for column, x in enumerate(grid.xs):
        near, further = (every[:, np.abs(grid.xs - x) <= reach].max(axis=1) for reach in (3.0, 6.1))
        assert (told[:, column] >= near - 1e-8).all()
        assert (told[:, column] <= further + 4e-4).all()


@pytest.mark.in_every_run(0)
def test_a_floor_is_not_judged_by_a_slope_far_along_the_board(tmp_path):
    """A patch of a pocket 0.09 mm too shallow, where the board is level: it falls away further on by 0.05 in 1."""
    board = "radius = { nut = 254.0, end = 300.0 }"
    art = ART.replace('<circle cx="12" cy="15" r="8" fill="#225577"/>',
                      '<rect x="0" y="8" width="14" height="14" fill="#cc8833"/>')
    small = load_job(job(tmp_path, art=art, changes={board: f"{board}\nfall_away = {{ drop = 1.5, fret = 3 }}"}))
    made = build(small, pictures=False)
    made.refuse_faults()
    x0, y0, _ = made.plan.clamping.to_machine(np.zeros((1, 3)))[0]
    for lift, found in ((0.0, False), (0.09, True)):
        for program in made.programs:
            moves = Moves.of(program.text)
            x, y, _ = moves.points.T
            if program.operation == "pocket":
                moves.points[moves.cuts & (np.abs(x - x0 - 32.5) < 1.5) & (np.abs(y - y0) < 6), 2] += lift
            (tmp_path / program.file_name).write_text(moves.text())
        assert ("pocket-too-shallow" in {f.code for f in check(small, tmp_path).findings}) == found
