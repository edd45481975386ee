"""Flattening: no point of a curve further from its chords than the tolerance, after any map."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from pathgen.artwork.curves import Pen
from pathgen.artwork.flatten import _TIP, _bend, _sampled, _tips, bounds, flatten

COORDINATE = st.floats(-50, 50, allow_subnormal=False).map(lambda v: round(v, 2))
POINT = st.builds(complex, COORDINATE, COORDINATE)
MATRIX = st.tuples(*[st.floats(-3, 3).map(lambda v: round(v, 3))] * 6)


def curve(points: tuple[complex, ...]):  # type: ignore[no-untyped-def]
    pen = Pen()
    pen.begin()
    pen.cubic(*points)
    return pen.curves()


def dense(points: tuple[complex, ...], matrix: tuple[float, ...]) -> np.ndarray:
    """Points of the mapped curve by the Bernstein form, the map written out anew: (2001, 2)."""
    t = np.linspace(0, 1, 2001)[:, None]
    p = np.array([[z.real, z.imag] for z in points])
    b = (1 - t) ** 3 * p[0] + 3 * (1 - t) ** 2 * t * p[1] + 3 * (1 - t) * t**2 * p[2] + t**3 * p[3]
    a, bb, c, d, e, f = matrix
    return b @ np.array([[a, bb], [c, d]]) + [e, f]


@given(st.tuples(POINT, POINT, POINT, POINT), MATRIX, st.sampled_from([0.5, 0.05, 0.005]))
@settings(max_examples=150, deadline=None)
def test_within_tolerance_after_the_map(points, matrix, tolerance) -> None:  # type: ignore[no-untyped-def]
    flat = flatten([curve(points)], [matrix], tolerance).points
    away = shapely.distance(shapely.LineString(flat), shapely.points(dense(points, matrix)))
    assert away.max() <= tolerance * (1 + 1e-9) + 1e-9


@given(st.tuples(POINT, POINT, POINT, POINT), MATRIX)
@settings(max_examples=100, deadline=None)
def test_bounds_are_those_of_the_curve(points, matrix) -> None:  # type: ignore[no-untyped-def]
    low, high = bounds(curve(points), matrix)
    sampled = dense(points, matrix)
    step = np.abs(np.diff(sampled, axis=0)).max()
    assert (low <= sampled.min(axis=0) + 1e-9).all()
    assert (high >= sampled.max(axis=0) - 1e-9).all()
    assert sampled.min(axis=0) - low == pytest.approx(0, abs=step + 1e-9)
    assert high - sampled.max(axis=0) == pytest.approx(0, abs=step + 1e-9)


def test_few_points_where_few_will_do() -> None:
    # D: a circle of radius r needs pi / acos(1 - t / r) chords; half as many again is allowed for evenness
    pen = Pen()
    pen.begin()
    pen.arc(10j, -10j, rx=10, ry=10, turn=0, large=False, sweep=True)
    count = len(flatten([pen.curves()], [(1, 0, 0, 1, 0, 0)], 0.005).points) - 1
    assert count <= 1.5 * np.pi / np.arccos(1 - 0.005 / 10) / 2


@pytest.mark.parametrize(("second", "corner"), [
    ([(0, 10), (0, 13), (0, 17), (5, 20)], 0), ([(0, 10), (0, 10), (0, 15), (5, 20)], 0),
    ([(0, 10), (0, 10), (0, 10), (0, 20)], 0), ([(0, 10), (0, 10), (5, 10), (9, 12)], 1),
    ([(0, 10), (0, 10), (0, 10), (-9, 10)], 1), ([(0, 10), (3, 10), (3, 12), (0, 20)], 1),
])
@pytest.mark.parametrize("turned", [False, True])
def test_a_curve_leaves_its_start_toward_the_first_point_that_is_another(
    second: list[tuple[float, float]], corner: int, turned: bool
) -> None:
    """Where it goes on as the curve before it came there is no corner; backwards the same holds for its end."""
    curves = np.array([[(0, 0), (0, 3), (0, 7), (0, 10)], second], dtype=float)
    curves = curves[::-1, ::-1] if turned else curves
    tips = _tips(curves, np.zeros(2, bool), np.array([0]), np.array([False]))
    assert tips.tolist() == [[1, corner], [corner, 1]]


def test_the_bend_of_a_cubic_is_its_second_derivative_square_to_it():
    """Derived: B' / 3 and B'' / 6 of the Bernstein form, by differences of B itself."""
    p = np.array([0.0, 3.0 + 4.0j, 5.0 - 3.0j, 9.0 + 1.0j])

    def curve(t):
        return sum(math.comb(3, k) * t**k * (1 - t) ** (3 - k) * p[k] for k in range(4))

    found, h = 0.0, 1e-4
    for t in (0.0, 0.25, 0.5, 0.75, 1.0):
        along, twice = (curve(t + h) - curve(t - h)) / (2 * h), (curve(t + h) - 2 * curve(t) + curve(t - h)) / h**2
        found = max(found, abs((along.conjugate() * twice).imag) / abs(along) / 6)
    legs = np.diff(p)[:, None]
    assert _bend(legs, legs[1] - legs[0], legs[2] - legs[1]) == pytest.approx([found], rel=1e-5)


@pytest.mark.parametrize("begins", [0, 1])
@pytest.mark.parametrize("ends", [0, 1])
def test_a_curve_is_sampled_evenly_and_once_more_close_to_each_tip(begins, ends):
    """Derived: with its points at thirds a cubic is a line, and x is its parameter; two pieces, four and two steps."""
    thirds = np.linspace(0.0, 1.0, 4)[:, None] * [1.0, 0.0]
    points = np.stack([thirds, thirds + [1.0, 0.0]])
    lines = _sampled(points, np.array([4, 2]), np.array([[begins, 0], [0, ends]]), np.array([0]), np.array([False]),
                     np.array([0]))
    x = np.sort(np.concatenate([np.linspace(0.0, 1.0, 5), [1.5, 2.0], [_TIP / 4] * begins, [2.0 - _TIP / 2] * ends]))
    assert lines.points[:, 0] == pytest.approx(x, abs=1e-12)
    assert lines.start.tolist() == [0, len(x)]


def test_what_is_as_good_as_nothing_is_0():
    """Two corners 1e-160 mm apart: the geometry library would divide by the square of that."""
    pen = Pen()
    pen.begin()
    pen.lines(0.0, 1e-170, [1e-160, 0.0, 10.0, 1e-200, 10.0, 10.0])
    points = flatten([pen.curves()], [(1.0, 0.0, 0.0, 1.0, 0.0, 0.0)], 0.01).points
    assert set(points.ravel()) <= {0.0, 10.0}
