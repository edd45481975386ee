"""A shape of cutter that some place does not know is refused there: nothing takes it for a ball."""

import numpy as np
import pytest
import shapely

import pathgen
from pathgen.base import cutters
from pathgen.base.lowered import Lowered, Relief
from pathgen.programs.zero_check import feeler_tip
from pathgen.removal.grid import Grid
from pathgen.removal.lengthwise import Pass
from pathgen.removal.material import Material
from pathgen.removal.motion import Motion
from pathgen.removal.sweep import _lowest, _profile
from pathgen.verify.opening import opened_discs

ROUND = pathgen.radiused(thickness=6.0, start=254.0)
LOW = Lowered(thickness=6.0, radius_nut=254.0, radius_end=254.0, length=400.0,
              relief=Relief(depth=0.2, deepest=200.0, end=400.0))
ONE = np.ones(3)
PASS = {"y": 0.0, "x": np.arange(3.0), "z": np.array([0, 0.1, 0]), "row": 0, "back": False}
SQUARE = shapely.box(0.0, -5.0, 20.0, 5.0)


def cut(cutter):
    grid = Grid(np.linspace(-5, 5, 21), np.linspace(-5, 5, 21))
    start, end = np.array([[-3.0, 0, 1]]), np.array([[3.0, 1, 1]])
    motion = Motion(start=start, end=end, rapid=np.zeros(1, bool), feed=ONE[:1], line=np.ones(1, int),
                    motion=np.zeros(1, int))
    Material(grid, np.full(grid.shape, 2, np.float32)).cut(motion, cutter)


ASKED = {
    "underside": lambda c: c.profile(0.5),
    "width": lambda c: c.half_width(0.5),
    "height of its shape": lambda c: c.shape_height,
    "level underside": lambda c: c.is_flat,
    "ball at its tip": lambda c: c.tip_radius,
    "eased feed": lambda c: c.eased_feed,
    "tip on a radius": lambda c: ROUND.tip_height(c, 0.0, 5.0),
    "tip on a relief": lambda c: LOW.tip_height(c, 200.0, 5.0),
    "feeler under it": lambda c: feeler_tip(ROUND, c, 0.0, 5.0, 0.1),
    "pocket": lambda c: pathgen.pocket(SQUARE, top=ROUND, cutters=[c], depth=1.0),
    "what it takes": cut,
    "lowest along a slope": lambda c: _lowest(c, ONE, ONE, ONE, 0.1 * ONE, 0 * ONE, ONE),
    "underside beside a slope": lambda c: _profile(c, ONE),
    "level pass": lambda c: Pass(cutter=c, **PASS).is_level,
    "ends of a pass": lambda c: Pass(cutter=c, **PASS).inset,
    "gentle pass": lambda c: Pass(cutter=c, **PASS).is_gentle,
    "what it opens": lambda c: opened_discs(np.array([[0.0, 0.0, 5.0]]), c, pathgen.flat(6.0)),
}


@pytest.mark.parametrize("asked", ASKED)
def test_a_shape_that_is_not_known_is_taken_for_no_other(asked, monkeypatch):
    monkeypatch.setattr(cutters, "SHAPES", (*cutters.SHAPES, "made-up"))
    cutter = pathgen.Cutter(name="new", shape="made-up", diameter=6.0, speed=18000, feed=1800.0, plunge=400.0,
                            stepdown=2.0)
    with pytest.raises((AssertionError, KeyError, ValueError), match="made-up"):
        ASKED[asked](cutter)
