"""Relief and fall-away: heights and contacts within 0.1 um, against 50 digits."""

import mpmath
import numpy as np
import pytest

from pathgen.base.cutters import Cutter
from pathgen.base.errors import PathgenError
from pathgen.base.hollow import Hollow
from pathgen.base.lowered import FallAway, Lowered, Relief

CONE = {"thickness": 6.5, "radius_nut": 254.0, "radius_end": 355.6, "length": 480.0}
BOARD = Lowered(**CONE, relief=Relief(depth=0.15, deepest=180.0, end=320.0),
                fall_away=FallAway(start=340.0, end=480.0, drop=0.8))
FLAT = Lowered(thickness=6.5, radius_nut=np.inf, radius_end=np.inf, length=480.0, relief=BOARD.relief,
               fall_away=BOARD.fall_away)
CURVED = Lowered(**CONE, fall_away=FallAway(start=300.0, end=480.0, drop=1.2, curved=True))


def cutter(shape, diameter):
    return Cutter(name=shape, shape=shape, diameter=diameter, speed=100, feed=1, plunge=1, stepdown=1, flutes=2,
                  flute_length=50.0, stepover=0.5)


def lowered(board, x):
    """p by its definition: 0 at both ends of the relief and the depth between, then the fall."""
    out = mpmath.mpf(0)
    dip, fall = board.relief, board.fall_away
    if dip and dip.start <= x <= dip.end:
        span = dip.deepest - dip.start if x < dip.deepest else dip.end - dip.deepest
        out = dip.depth * (1 - ((x - dip.deepest) / mpmath.mpf(span)) ** 2)
    if fall and x > fall.start:
        out = fall.drop * ((x - fall.start) / mpmath.mpf(fall.end - fall.start)) ** (2 if fall.curved else 1)
    return out


def height(board, x, y):
    if board.is_flat:
        return board.thickness - lowered(board, x)
    radius = mpmath.mpf(board.radius_nut) + (mpmath.mpf(board.radius_end) - board.radius_nut) / board.length * x
    return board.thickness + mpmath.sqrt(radius**2 - y**2) - radius - lowered(board, x)


def highest(f, low, high):
    """Golden sections for a function with one highest place."""
    g = (mpmath.sqrt(5) - 1) / 2
    a, b = mpmath.mpf(low), mpmath.mpf(high)
    c, d = b - g * (b - a), a + g * (b - a)
    at_c, at_d = f(c), f(d)
    for _ in range(18):  # as far as 0.0004 mm to the highest place, where it is lower by some nanometres
        if at_c < at_d:
            a, c, at_c = c, d, at_d
            d = a + g * (b - a)
            at_d = f(d)
        else:
            b, d, at_d = d, c, at_c
            c = b - g * (b - a)
            at_c = f(c)
    return max(at_c, at_d)


PLACES = [(x, y) for x in (-0.05, 0.02, 90.0, 180.03, 319.98, 320.05, 339.97, 340.05, 400.0, 470.0)
          for y in (0.0, -9.3, 24.0)]


@pytest.mark.parametrize("board", [BOARD, CURVED, FLAT])
def test_heights_are_exact(board):
    with mpmath.workdps(50):
        for x, y in PLACES:
            assert abs(height(board, mpmath.mpf(x), mpmath.mpf(y)) - float(board.height(x, y))) < 1e-9


def check_ball(surface, under):
    """Its ball must stand on the highest of what `under` gives the heights of, by search."""
    r = mpmath.mpf("6.35")
    with mpmath.workdps(20):
        for x, y in PLACES[::2]:
            def over(u, v, x=x, y=y):
                return under(u, v) + mpmath.sqrt(r**2 - (u - x) ** 2 - (v - y) ** 2) - r

            wanted = highest(lambda u, x=x, y=y: highest(lambda v, u=u: over(u, v), y - 1.2, y + 1.2), x - 0.4, x + 0.4)
            got = float(surface.tip_height(cutter("ball-end", 12.7), x, y))
            assert abs(wanted - got) < 1e-4, (x, y, float(wanted) - got)


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("board", [BOARD, CURVED, FLAT])
def test_a_ball_touches_and_goes_no_deeper(board):
    check_ball(board, lambda u, v: height(board, u, v))


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("board", [BOARD, CURVED, FLAT])
def test_a_ball_in_the_hollow_that_fits_touches_and_goes_no_deeper(board):
    """Turned over, the hollow is the board's mirror image: a ball over it is one that touches the board from below."""
    hollow = Hollow(thickness=9.0, radius_nut=board.radius_nut, radius_end=board.radius_end, length=board.length,
                    relief=board.relief, fall_away=board.fall_away)
    check_ball(hollow, lambda u, v: 9.0 + board.thickness - height(board, u, v))


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("board", [BOARD, CURVED, FLAT])
def test_a_flat_end_stands_on_the_highest_place_under_it(board):
    grid = np.linspace(-1.5, 1.5, 601)
    dx, dy = (a[np.hypot(*np.meshgrid(grid, grid)) <= 1.5 + 1e-12] for a in np.meshgrid(grid, grid))
    turn = np.linspace(0, 2 * np.pi, 20001)
    dx, dy = np.concatenate([dx, 1.5 * np.cos(turn)]), np.concatenate([dy, 1.5 * np.sin(turn)])
    for x, y in PLACES:
        wanted = board.height(x + dx, y + dy).max()
        got = float(board.tip_height(cutter("flat-end", 3.0), x, y))
        assert wanted - 1e-9 <= got <= wanted + 1e-4, (x, y)


def test_normals_are_square_to_the_surface():
    for x, y in [p for p in PLACES if not np.isclose(p[0], [0, 180, 320, 340], atol=0.1).any()]:
        h = 1e-4
        slope = [(BOARD.height(x + h, y) - BOARD.height(x - h, y)) / 2 / h,
                 (BOARD.height(x, y + h) - BOARD.height(x, y - h)) / 2 / h]
        wanted = np.array([-slope[0], -slope[1], 1.0])
        assert BOARD.normal(x, y) == pytest.approx(wanted / np.linalg.norm(wanted), abs=1e-7)


def test_what_cannot_be_is_refused():
    with pytest.raises(PathgenError, match=r"300\.00 mm from the nut, within the relief"):
        Lowered(**CONE, relief=Relief(depth=0.1, deepest=100.0, end=320.0),
                fall_away=FallAway(start=300.0, end=480.0, drop=0.5))
