"""Ridge heights, against exact geometry and the formulas of handbooks."""

import mpmath
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pathgen import CutterError, scallop_height, stepover_for


def test_flat_exact_geometry():
    assert scallop_height(0.5, 3.175) == pytest.approx(0.009857823, abs=5e-10)
    assert stepover_for(0.01, 3.175) == pytest.approx(0.503587, abs=5e-7)
    # the shop formula s^2 / 8 r is 0.155 % low (derived)
    assert 0.5**2 / (8 * 3.175) / scallop_height(0.5, 3.175) == pytest.approx(1 - 0.00155, abs=1e-5)


def test_turning_handbook_roughness():
    # El-Hofy, "Fundamentals of Machining Processes", ch. 5: Rt = f^2 / 8 r, f 0.2, r 0.8: 6.25 um; exact 6.274607 um
    assert scallop_height(0.2, 0.8) * 1000 == pytest.approx(6.274607, abs=5e-7)
    assert scallop_height(0.2, 0.8) * 1000 == pytest.approx(6.25, rel=0.005)


def test_effective_diameter_of_a_cutter_chart():
    # dapra.com, Table 1: D .5, ap .010: .140; D 1, ap .1: .600. Two passes that far apart leave a ridge of ap.
    assert stepover_for(0.010, 0.25) == pytest.approx(0.140, abs=5e-4)
    assert stepover_for(0.1, 0.5) == pytest.approx(0.600, abs=5e-4)


def test_segment_tables_of_machinery_handbook():
    # Machinery's Handbook, 31st ed., p. 79: r 60, h 8: chord 59.86; chord 16, h 6: radius 8.333333
    assert stepover_for(8.0, 60.0) == pytest.approx(59.86, abs=0.01)
    assert scallop_height(16.0, 8.3333333333) == pytest.approx(6.0, abs=1e-8)
    # p. 83, r 1: height and chord of 10, 30 and 60 degrees (rows derived), to half of their last digit
    for height, chord in ((0.00381, 0.17431), (0.03407, 0.51764), (0.13397, 1.0)):
        assert scallop_height(chord, 1.0) == pytest.approx(height, abs=7e-6)
        assert stepover_for(height, 1.0) == pytest.approx(chord, rel=7e-4)


@pytest.mark.parametrize(("radius", "stepover"), [(184.15, 0.499288), (241.3, 0.500296), (304.8, 0.500976)])
def test_convex_stepover(radius, stepover):
    # derived, law of cosines in 50 digits
    assert stepover_for(0.01, 3.175, radius) == pytest.approx(stepover, abs=5e-7)


def test_convex_heights_and_hollow_stepover():
    assert scallop_height(0.5, 3.175, [241.3, 184.15]) == pytest.approx([0.009988149, 0.0100286], abs=6e-8)
    assert stepover_for(0.01, 3.175, -241.3) == pytest.approx(0.506944, abs=5e-7)


@pytest.mark.parametrize(("radius", "approximate"), [(241.3, 0.500701), (-241.3, 0.507333)])
def test_published_approximation(radius, approximate):
    # sqrt(8 h r R / (R +- r)): Suresh & Yang 1994, Lin & Koren 1996 (from memory), within 0.1 % of exact
    formula = np.sqrt(8 * 0.01 * 3.175 * abs(radius) / (abs(radius) + np.sign(radius) * 3.175))
    assert formula == pytest.approx(approximate, abs=5e-7)
    assert stepover_for(0.01, 3.175, radius) == pytest.approx(formula, rel=1e-3)


def _height_in_50_digits(s, r, big_r):
    with mpmath.workdps(50):
        s, r, big_r = mpmath.mpf(s), mpmath.mpf(r), mpmath.mpf(big_r)
        phi = s / (2 * big_r)
        return (big_r + r) * mpmath.cos(phi) - mpmath.sign(big_r + r) * mpmath.sqrt(
            r**2 - ((big_r + r) * mpmath.sin(phi)) ** 2
        ) * (1 if big_r > 0 else -1) - big_r


@given(
    r=st.floats(0.5, 20), share=st.floats(0.01, 1.2), big_r=st.one_of(st.floats(60, 1e7), st.floats(-1e7, -60))
)
def test_exact_against_50_digits(r, share, big_r):
    height = float(scallop_height(share * r, r, big_r))
    assert height == pytest.approx(abs(float(_height_in_50_digits(share * r, r, big_r))), rel=1e-9, abs=1e-15)


@given(
    r=st.floats(0.5, 20), share=st.floats(1e-5, 0.5),
    big_r=st.one_of(st.floats(60, 1e9), st.floats(-1e9, -60), st.just(np.inf)),
)
def test_one_is_the_inverse_of_the_other(r, share, big_r):
    there = stepover_for(share * r, r, big_r)
    assert float(scallop_height(there, r, big_r)) == pytest.approx(share * r, rel=1e-12)


@pytest.mark.parametrize("call", [
    lambda: scallop_height(6.4, 3.175),
    lambda: scallop_height(-1, 3),
    lambda: scallop_height(np.nan, 3),
    lambda: scallop_height(0.5, 3, 0.0),
    lambda: scallop_height(0.5, 3, -2.0),
    lambda: stepover_for(3.2, 3.175),
    lambda: stepover_for(0.0, 3.175),
])
def test_what_cannot_be_is_refused(call):
    with pytest.raises(CutterError):
        call()


@pytest.mark.parametrize("big_r", [np.inf, 254.0, 25.0, -40.0])
def test_the_widest_stepover_that_is_told_is_the_widest(big_r):
    """D: at the ridge's highest the triangle's side from the surface's centre touches the ball, sin(phi) = r / (R + r).
    5.95 mm with a ball of 6 on 254 was refused as not less than 6."""
    with pytest.raises(CutterError) as caught:
        scallop_height(9.0, 3.0, big_r)
    widest = float(caught.value.allowed.split()[2].strip(","))
    assert widest == pytest.approx(6.0 if np.isinf(big_r) else 2 * abs(big_r) * np.arcsin(3 / abs(big_r + 3)), rel=1e-4)
    assert scallop_height(widest - 1e-9, 3.0, big_r) > 2.0
    with pytest.raises(CutterError):
        scallop_height(1.001 * widest, 3.0, big_r)


def test_of_numbers_both_give_a_number_and_of_arrays_an_array():
    for formula in (scallop_height, stepover_for):
        assert isinstance(formula(0.01, 3.0), float)
        assert isinstance(formula(0.01, 3.0, 254.0), float)
        assert formula([0.01], 3.0).shape == (1,)
        assert formula([[0.01], [0.02]], [3.0, 4.0]).shape == (2, 2)
