"""The radiused surface, against handbook tables, the published rule for conical boards, and 50-digit solutions."""

import math

import mpmath
import numpy as np
import pytest

from pathgen import Cutter, CutterError, PathgenError, Surface

INCH = 25.4


def cutter(shape, diameter, angle=None):
    return Cutter(name="c", shape=shape, diameter=diameter, speed=100, feed=1, plunge=1, stepdown=1, angle=angle)


def surface(nut, end, length):
    return Surface(thickness=6.5, radius_nut=nut, radius_end=end, length=length)


BOARDS = [surface(254.0, 406.4, 480.0), surface(120.0, 600.0, 400.0), surface(300.0, 130.0, 400.0)]


def test_drop_at_the_edge_for_usual_radii():
    # derived: radius in inches, drop in mm at 21.5 mm from the centre-line
    drops = {7.25: 1.259397, 9.5: 0.959741, 10: 0.911577, 12: 0.759230, 14: 0.650553, 16: 0.569112, 20: 0.455174}
    for radius, drop in drops.items():
        board = surface(radius * INCH, radius * INCH, 450.0)
        assert 6.5 - board.height(100.0, 21.5) == pytest.approx(drop, abs=6e-7)


def test_circle_segments_of_machinery_handbook():
    # Machinery's Handbook, 31st ed., p. 83, r 1: 60 degrees: h .13397, chord 1; p. 79: r 60, h 8: chord 59.86
    unit = Surface(thickness=2.0, radius_nut=60.0, radius_end=60.0, length=10.0)
    assert 2.0 - unit.height(0.0, 30.0) == pytest.approx(60 * 0.13397, abs=60 * 6e-6)
    assert 2.0 - unit.height(0.0, 59.86 / 2) == pytest.approx(8.0, abs=0.003)


@pytest.mark.parametrize("board", BOARDS)
def test_straight_along_lines_through_the_apex(board):
    # P: "The Conical Fretboard", American Lutherie 30: R grows in proportion to the distance from the apex, and along
    # lines through it the board is straight.
    x = np.linspace(0.0, 400.0, 41)
    for angle in (-0.25, 0.1, 0.3):
        y = board.radius(x) * math.sin(angle)
        z = board.height(x, y)
        assert np.abs(z - np.interp(x, x[[0, -1]], z[[0, -1]])).max() < 1e-12
        normals = board.normal(x, y)
        assert np.abs(normals - normals[0]).max() < 1e-12


@pytest.mark.parametrize("board", BOARDS)
def test_level_crest_but_edges_that_are_not(board):
    # the trap: a board level along its centre is not level along its edges when the radius changes
    assert np.ptp(board.height(np.array([0.0, 400.0]), 0.0)) == 0.0
    assert np.ptp(board.height(np.array([0.0, 400.0]), 25.0)) > 0.05


@pytest.mark.parametrize("board", BOARDS)
def test_normal_is_square_to_the_surface(board):
    x, y, h = np.array([20.0, 200.0, 390.0]), np.array([-22.0, 5.0, 26.0]), 1e-5
    along = (board.height(x + h, y) - board.height(x - h, y)) / (2 * h)
    across = (board.height(x, y + h) - board.height(x, y - h)) / (2 * h)
    normal = board.normal(x, y)
    assert normal[:, 0] / normal[:, 2] == pytest.approx(-along, abs=1e-8)
    assert normal[:, 1] / normal[:, 2] == pytest.approx(-across, abs=1e-8)
    assert np.linalg.norm(normal, axis=1) == pytest.approx(1.0, abs=1e-15)


def _tip_in_50_digits(board, shape, r, x, y):
    """Highest position forced on the tip by any point under the cutter, found where the gradient is zero."""
    with mpmath.workdps(50):
        taper = mpmath.mpf(board.radius_end - board.radius_nut) / mpmath.mpf(board.length)
        r, x, y = mpmath.mpf(r), mpmath.mpf(x), mpmath.mpf(y)

        def height(u, v):
            radius = mpmath.mpf(board.radius_nut) + taper * u
            return mpmath.mpf(board.thickness) + mpmath.sqrt(radius**2 - v**2) - radius

        if shape == "flat-end":
            rim = lambda t: height(x + r * mpmath.cos(t), y + r * mpmath.sin(t))  # noqa: E731
            return rim(mpmath.findroot(lambda t: mpmath.diff(rim, t), -mpmath.sign(y) * mpmath.pi / 2))
        tip = lambda u, v: height(u, v) + mpmath.sqrt(r**2 - (u - x) ** 2 - (v - y) ** 2) - r  # noqa: E731
        radius = mpmath.mpf(board.radius_nut) + taper * x
        top = mpmath.findroot(
            lambda u, v: [mpmath.diff(lambda a: tip(a, v), u), mpmath.diff(lambda a: tip(u, a), v)],
            (x, y * radius / (radius + r)),
        )
        return tip(*top)


@pytest.mark.parametrize("board", BOARDS)
@pytest.mark.parametrize("shape", ["ball-end", "flat-end"])
@pytest.mark.parametrize(("x", "y"), [(3.0, -21.0), (200.0, 9.5), (395.0, 28.0), (120.0, -27.5)])
def test_tip_height_against_50_digits(board, shape, x, y):
    exact = _tip_in_50_digits(board, shape, 6.35, x, y)
    assert abs(float(board.tip_height(cutter(shape, 12.7), x, y) - exact)) < 1e-10


def test_cylinder_in_closed_form():
    # tip height on a cylinder: sqrt((R + r)^2 - y^2) - R - r above the crest
    board, y = surface(254.0, 254.0, 450.0), np.linspace(-25, 25, 11)
    exact = 6.5 + np.sqrt((254 + 6.35) ** 2 - y**2) - 254 - 6.35
    assert board.tip_height(cutter("ball-end", 12.7), 100.0, y) == pytest.approx(exact, abs=1e-12)


def test_a_local_radius_is_not_enough_on_a_strong_cone():
    board = surface(120.0, 600.0, 400.0)
    local = 6.5 + np.sqrt((board.radius(10.0) + 6.35) ** 2 - 25.0**2) - board.radius(10.0) - 6.35
    assert board.tip_height(cutter("ball-end", 12.7), 10.0, 25.0) - local > 0.001


@pytest.mark.parametrize("shape", ["ball-end", "flat-end", "v"])
def test_no_cutter_reaches_below_the_surface(shape):
    board, tool = BOARDS[1], cutter(shape, 6.0, 60.0 if shape == "v" else None)
    rng = np.random.default_rng(7)
    x, y = rng.uniform(0, 400, 300), rng.uniform(-26, 26, 300)
    tip = board.tip_height(tool, x, y)
    # the tip itself is the first of the points tried
    turn, reach = rng.uniform(0, 2 * np.pi, (400, 1)), np.sqrt(np.linspace(0, 1, 400)[:, None]) * 2.9999
    clearance = tip + tool.profile(reach) - board.height(x + reach * np.cos(turn), y + reach * np.sin(turn))
    assert clearance.min() > -1e-12
    assert clearance.min(axis=0).max() < 0.05


def test_flat_board_and_flat_cutters():
    flat = surface(math.inf, math.inf, 450.0)
    for shape, angle in (("ball-end", None), ("flat-end", None), ("v", 60.0)):
        assert flat.tip_height(cutter(shape, 3.0, angle), [0.0, 100.0], 20.0) == pytest.approx([6.5, 6.5])
    assert flat.normal(1.0, 2.0).tolist() == [0.0, 0.0, 1.0]


def test_errors():
    with pytest.raises(PathgenError, match="does not meet"):
        BOARDS[0].tip_height(cutter("ball-end", 12.7), 0.0, 300.0)
    with pytest.raises(CutterError, match="too blunt"):
        surface(60.0, 60.0, 400.0).tip_height(cutter("v", 6.0, 160.0), 0.0, 30.0)
    with pytest.raises(PathgenError, match="flat at one end"):
        surface(math.inf, 300.0, 400.0)
    assert np.isnan(BOARDS[0].height(0.0, 300.0))


def test_half_width_of_an_opening():
    assert cutter("ball-end", 6.0).half_width(1.0) == pytest.approx(math.sqrt(9 - 4))
    assert cutter("ball-end", 6.0).half_width([0.0, 3.0, 5.0]).tolist() == [0.0, 3.0, 3.0]
    assert cutter("v", 6.0, 60.0).half_width(1.6) == pytest.approx(1.6 * math.tan(math.radians(30)))
    # dapra.com, Table 1: effective diameter of a 1 in ball at 0.1 in depth is 0.600 in
    assert 2 * cutter("ball-end", 25.4).half_width(2.54) / 25.4 == pytest.approx(0.600, abs=5e-4)
