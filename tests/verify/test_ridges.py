"""Measured ridges against the exact formula, on sections of swept passes."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import box

from pathgen import Blank, ridges, simulate
from pathgen.base.cutters import Cutter
from pathgen.base.errors import CutterError, ProgramError
from pathgen.base.scallop import scallop_height
from pathgen.base.surface import Surface
from pathgen.removal.grid import Grid
from pathgen.verify.ridges import measure_ridges

RUN = {"speed": 10000.0, "feed": 1000.0, "plunge": 300.0, "stepdown": 1.0}


def ball(diameter=6.35):
    return Cutter(name="ball", shape="ball-end", diameter=diameter, **RUN)


def program(surface, cutter, y, *, x=(0.0, 60.0), knots=12, decimals=4, raised=None):
    """Passes along the board at axis positions y, back and forth."""
    lines = ["G21 G90 G94 G17 G54", "G0 Z20", "M3 S10000", f"G0 X{x[0]} Y{y[0]:.{decimals}f}", "G1 F1000"[:0]]
    lines = [line for line in lines if line]
    feed = " F1000"
    for k, y_k in enumerate(y):
        xs = np.linspace(*x, knots)[:: -1 if k % 2 else 1]
        z = surface.tip_height(cutter, xs, np.full_like(xs, y_k)) + (0.0 if raised is None else raised[k])
        for x_i, z_i in zip(xs, z, strict=True):
            lines.append(f"G1 X{x_i:.{decimals}f} Y{y_k:.{decimals}f} Z{z_i:.{decimals}f}{feed}")
            feed = ""
    return "\n".join([*lines, "G0 Z20", "M5", "M30", ""])


# D: exact geometry. Ball radius 3.175, contact 0.5 apart along the surface.
@pytest.mark.parametrize(
    ("radius", "height"), [(np.inf, 0.009857823), (241.3, 0.009988149), (184.15, 0.0100286)],
)
def test_known_ridge_heights(radius, height):
    surface = Surface(thickness=6.0, radius_nut=radius, radius_end=radius, length=60.0)
    cutter = ball()
    contact = 0.5 * np.arange(-6, 7)
    y = contact if np.isinf(radius) else (radius + cutter.radius) * np.sin(contact / radius)
    found = ridges(program(surface, cutter, y, decimals=6), cutter=cutter, top=surface, section_spacing=15.0)
    assert found.highest == pytest.approx(height, abs=2e-5 if radius == 184.15 else 2e-6)
    assert found.predicted == pytest.approx(height, abs=2e-6 if radius != 184.15 else 2e-5)
    assert found.low == pytest.approx(0.0, abs=3e-6)
    assert found.passes == 13


def test_roughness_across_the_ridges():
    """P: El-Hofy, "Fundamentals of Machining Processes", ch. 5: Ra = 0.0321 f^2 / r; f 0.2, r 0.8: 1.6038 um."""
    cutter, surface = ball(1.6), Surface(thickness=1.0, radius_nut=np.inf, radius_end=np.inf, length=2.0)
    text = program(surface, cutter, 0.2 * np.arange(-4, 5), x=(-1.0, 3.0), knots=2)
    left = simulate(Blank(x=(0.5, 1.0), y=(-0.5, 0.5), thickness=1.2), text, cutter, resolution=0.01)
    heights = left.top[np.abs(left.y) < 0.4, 25].astype(float)  # over four whole distances
    assert np.abs(heights - heights.mean()).mean() * 1000 == pytest.approx(1.6038, rel=0.01)


@settings(max_examples=40, deadline=None)
@given(
    nut=st.floats(150, 400), end=st.floats(150, 600), diameter=st.floats(3, 14), share=st.floats(0.04, 0.15),
    seed=st.integers(0, 1000),
)
def test_measured_is_predicted(nut, end, diameter, share, seed):
    """Random cones, balls and uneven spacing: within 0.2 um (rounding included) or 1 % of the exact formula."""
    surface = Surface(thickness=6.0, radius_nut=nut, radius_end=end, length=60.0)
    cutter = ball(diameter)
    rng = np.random.default_rng(seed)
    y = np.cumsum(rng.uniform(0.7, 1.0, 12) * share * diameter)
    y -= y.mean()
    found = ridges(program(surface, cutter, y), cutter=cutter, top=surface, section_spacing=20.0, section_step=0.01)
    assert found.highest == pytest.approx(found.predicted, abs=2e-4, rel=0.01)


def test_one_wide_gap_is_found_where_it_is():
    surface = Surface(thickness=6.0, radius_nut=254.0, radius_end=300.0, length=60.0)
    cutter = ball(10.0)
    y = np.array([-3.0, -2.5, -2.0, -1.5, -0.5, 0.0, 0.5])
    found = ridges(program(surface, cutter, y), cutter=cutter, top=surface, limit=0.01)
    assert found.highest == pytest.approx(float(scallop_height(1.0 * 254 / 259, 5.0, 254.0)), rel=0.02)
    assert -1.5 < found.highest_at[1] < -0.5
    assert not found.within_limit
    rows = np.argwhere(found.map > 0.01)
    assert len(rows) > 0
    assert np.nanmin(found.map) < 0.01


def test_a_notch_in_the_end_of_a_board_is_no_step_between_two_passes():
    """Of a stepped end the formula gave 0.78 mm, over a notch narrower than the ball in which no pass goes."""
    surface, cutter = Surface(thickness=6.0, radius_nut=np.inf, radius_end=np.inf, length=60.0), ball()
    y = 0.5 * np.arange(-14, 15)
    runs = [program(surface, cutter, [one], x=(0.0, 50.0 if abs(one) < 1.2 else 60.0)) for one in y]
    text = "".join(run.removesuffix("G0 Z20\nM5\nM30\n") + "G0 Z20\n" for run in runs) + "M5\nM30\n"
    found = ridges(text, cutter=cutter, top=surface, section_spacing=2.0)
    assert found.predicted == pytest.approx(found.highest, abs=2e-5)


def test_passes_that_begin_one_after_another_along_a_widening_edge():
    """Without an area only what has passes on both sides is measured: the edge's own strip holds no such ridge."""
    surface = Surface(thickness=6.0, radius_nut=254.0, radius_end=254.0, length=60.0)
    cutter, y = ball(8.0), np.linspace(-6.0, 6.0, 21)
    lines = ["G21 G90 G94 G17 G54", "G0 Z20", "M3 S10000"]
    for y_k in [*y, 6.9]:  # the last follows the edge, which the others reach one after another
        x = np.linspace(0.0 if abs(y_k) < 4.0 or y_k > 6.5 else 20.0 * (abs(y_k) - 4.0), 60.0, 12)
        across = np.full_like(x, y_k) if y_k <= 6.5 else 4.6 + x / 26.0
        z = surface.tip_height(cutter, x, across)
        lines += [f"G0 X{x[0]:.4f} Y{across[0]:.4f}"]
        lines += [f"G1 X{a:.4f} Y{b:.4f} Z{c:.4f} F1000" for a, b, c in zip(x, across, z, strict=True)]
        lines += ["G0 Z20"]
    found = ridges("\n".join([*lines, "M5", "M30", ""]), cutter=cutter, top=surface)
    expected = float(scallop_height(0.6 * 254 / 258, 4.0, 254.0))
    assert found.highest == pytest.approx(expected, rel=0.02)
    assert found.predicted == pytest.approx(expected, rel=0.02)
    assert found.high < 1.1 * expected


def test_one_pass_standing_high_is_found():
    surface = Surface(thickness=6.0, radius_nut=254.0, radius_end=300.0, length=60.0)
    cutter = ball(10.0)
    y = np.linspace(-3, 3, 13)
    raised = np.zeros(13)
    raised[6] = 0.02
    good = ridges(program(surface, cutter, y), cutter=cutter, top=surface, limit=0.0065)
    bad = ridges(program(surface, cutter, y, raised=raised), cutter=cutter, top=surface, limit=0.0065)
    assert good.within_limit
    assert bad.highest > 2 * good.highest
    assert abs(bad.highest_at[1]) < 0.6


def test_turned_and_zeroed_programs_measure_the_same():
    surface = Surface(thickness=6.0, radius_nut=254.0, radius_end=300.0, length=60.0)
    cutter = ball(10.0)
    text = program(surface, cutter, np.linspace(-3, 3, 13))
    straight = ridges(text, cutter=cutter, top=surface)
    lines = []
    for line in text.splitlines():
        words = {word[0]: word[1:] for word in line.split()} if line.startswith("G1") else {}
        if words:
            z, y = float(words["Z"]) - 8.0, float(words["Y"])
            line = f"G1 X{-y:.4f} Y{words['X']} Z{z:.4f}" + (" F1000" if "F" in words else "")
        lines.append(line)
    turned = ridges("\n".join(lines), cutter=cutter, top=surface, along="y", zero=(0.0, 0.0, 8.0))
    assert turned.highest == pytest.approx(straight.highest, abs=1e-6)


def test_it_says_what_it_cannot_do():
    surface = Surface(thickness=6.0, radius_nut=254.0, radius_end=300.0, length=60.0)
    flat = Cutter(name="flat", shape="flat-end", diameter=3.0, **RUN)
    with pytest.raises(CutterError):
        ridges("G0 Z1\nM30\n", cutter=flat, top=surface)
    with pytest.raises(ProgramError):
        ridges("G21 G90\nG0 Z5\nG0 X0 Y0\nG1 X40 F100\nM30\n", cutter=ball(), top=surface)


@pytest.mark.parametrize("side", [-1.0, 1.0])
@pytest.mark.parametrize("past", [0.002, 0.012, 0.022])
def test_a_step_beside_the_top_of_a_ridge_makes_it_no_higher(side, past):
    """Fill ends there, and the wood beside it was roughed lower than the ridges: no flank goes on up past the top."""
    surface, r, apart = Surface(thickness=6.0, radius_nut=np.inf, radius_end=np.inf, length=60.0), 3.175, 1.0
    ys = 0.004 + 0.01 * np.arange(-200, 200)
    top = 6.0 + r - np.sqrt(r**2 - ((ys + apart / 2) % apart - apart / 2) ** 2)
    top[side * ys > apart / 2 + past] = 6.005
    found = measure_ridges(top[:, None], Grid(np.array([30.0]), ys), surface, box(0, -1.5, 60, 1.5))
    assert found.highest == pytest.approx(r - np.sqrt(r**2 - apart**2 / 4), abs=5e-5)
