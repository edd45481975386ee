"""The time model against plain integration of the motion, and against closed forms of uniformly accelerated motion."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pathgen.base.cutters import Cutter
from pathgen.base.toolpath import Move, Toolpath
from pathgen.programs.timing import CORNER, corner_radius, times
from pathgen.work.clamping import Machine

CUTTER = Cutter(name="flat 6", shape="flat-end", diameter=6.0, speed=16000, feed=1800.0, plunge=600.0, stepdown=2.0)
MACHINE = Machine(rapid=6000.0, acceleration=400.0)


def path(points, kinds=None):
    points = np.asarray(points, dtype=float)
    return Toolpath(points, np.full(len(points), Move.CUT) if kinds is None else np.asarray(kinds))


def integrated_seconds(toolpath, machine, cutter, *, corner, dt=1e-4):
    """Drive along the path in small steps of time: as fast as every limit ahead can still be met by braking."""
    steps = np.diff(toolpath.points, axis=0)
    lengths = np.linalg.norm(steps, axis=1)
    keep = lengths > 0
    if not keep.any():
        return 0.0
    steps, lengths = steps[keep], lengths[keep]
    feeds = (toolpath.feeds(cutter, rapid=machine.rapid)[1:] / 60.0)[keep]
    ends = np.cumsum(lengths)
    radius = corner_radius(steps / lengths[:, None], lengths, corner)
    joint = np.append(np.sqrt(np.minimum(machine.acceleration * radius, 1e9)), 0.0)
    joint[:-1] = np.minimum(joint[:-1], np.minimum(feeds[:-1], feeds[1:]))
    a, s, v, t, i = machine.acceleration, 0.0, 0.0, 0.0, 0
    while s < ends[-1] - 1e-6:
        while i < len(ends) - 1 and s >= ends[i]:
            i += 1
        ahead = np.sqrt(joint[i:] ** 2 + 2 * a * np.maximum(ends[i:] - s, 0.0)).min()
        v = max(min(v + a * dt, feeds[i], ahead), 1e-3)
        s, t = s + v * dt, t + dt
    return t


def test_one_straight_move_is_a_trapezoid():
    # Uniformly accelerated motion: v / a to speed up and to slow down, the rest at v (any mechanics textbook)
    speed, a, length = 30.0, 400.0, 100.0
    took = times(path([[0, 0, 0], [length, 0, 0]]), CUTTER, MACHINE).cutting * 60.0
    assert took == pytest.approx(length / speed + speed / a, rel=1e-12)


def test_a_short_move_never_reaches_its_feed():
    # sqrt(2 a (length / 2)) is the peak; twice the time to reach it
    took = times(path([[0, 0, 0], [1, 0, 0]]), CUTTER, MACHINE).cutting * 60.0
    assert took == pytest.approx(2 * math.sqrt(1.0 / 400.0), rel=1e-12)


def test_cutting_a_straight_line_in_pieces_changes_nothing():
    whole = times(path([[0, 0, 0], [40, 30, 0]]), CUTTER, MACHINE)
    share = np.sort(np.random.default_rng(4).uniform(size=200))
    pieces = np.concatenate([[0.0], share, [1.0]])[:, None] * [40.0, 30.0, 0.0]
    assert times(path(pieces), CUTTER, MACHINE).total == pytest.approx(whole.total, rel=1e-9)


def test_a_circle_of_short_moves_runs_at_the_speed_its_radius_allows():
    # centripetal acceleration v^2 / R = a; the radius of 1 mm allows 20 mm/s, the feed is 30. Half a percent is lost
    # because the model speeds up within each of the short moves.
    angle = np.linspace(0, 20 * np.pi, 20 * 180 + 1)
    circle = path(np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=1))
    took = times(circle, CUTTER, MACHINE).cutting * 60.0
    assert took == pytest.approx(20 * np.pi / 20.0 + 20.0 / 400.0, rel=6e-3)


def test_square_corners_cost_time_and_a_way_back_stops():
    straight = times(path([[0, 0, 0], [20, 0, 0], [40, 0, 0]]), CUTTER, MACHINE).total
    corner = times(path([[0, 0, 0], [20, 0, 0], [20, 20, 0]]), CUTTER, MACHINE).total
    back = times(path([[0, 0, 0], [20, 0, 0], [0, 0, 0]]), CUTTER, MACHINE).total
    stops = 2 * times(path([[0, 0, 0], [20, 0, 0]]), CUTTER, MACHINE).total
    assert straight < corner < back
    assert back == pytest.approx(stops, rel=1e-12)


def test_rapids_and_cutting_are_apart():
    kinds = [Move.RAPID, Move.RAPID, Move.PLUNGE, Move.CUT, Move.RAPID]
    both = times(path([[0, 0, 20], [50, 0, 20], [50, 0, 0], [90, 0, 0], [90, 0, 20]], kinds), CUTTER, MACHINE)
    # down, a square corner into the cut and square up: each move between full stops is a little slower than this
    slow = 20 / 10 + 10 / 400 + 40 / 30 + 30 / 400
    assert 0.98 * slow < both.cutting * 60 < slow
    assert 50 / 100 + 20 / 100 < both.rapid * 60 < 50 / 100 + 20 / 100 + 4 * 100 / 400


@settings(max_examples=12, deadline=None)
@given(
    st.lists(
        st.tuples(*[st.floats(-3, 3).map(lambda v: round(v, 3))] * 3, st.sampled_from([0, 1, 2, 3])),
        min_size=2, max_size=12,
    ),
    st.sampled_from([0.0, 0.002, CORNER, 0.1]),
)
def test_against_plain_integration_of_the_motion(moves, corner):
    points = np.cumsum([[0.0, 0.0, 0.0], *(m[:3] for m in moves)], axis=0)
    kinds = [Move.RAPID, *(m[3] for m in moves)]
    random_path = path(points, kinds)
    plain = integrated_seconds(random_path, MACHINE, CUTTER, corner=corner)
    assert times(random_path, CUTTER, MACHINE, corner=corner).total * 60.0 == pytest.approx(plain, rel=0.01, abs=3e-3)


def test_no_moves_take_no_time():
    assert times(Toolpath.empty(), CUTTER, MACHINE).total == 0.0
    assert times(path([[1, 2, 3], [1, 2, 3]]), CUTTER, MACHINE).total == 0.0


@pytest.mark.parametrize("turn", [1.0, 30.0, 90.0, 150.0, 179.0])
def test_the_arc_round_a_corner_passes_that_near_to_it(turn):
    """An arc of radius R that touches both sides of a corner has its centre R / cos(t / 2) from it (plane geometry)."""
    angle = math.radians(turn)
    unit = np.array([[1.0, 0.0, 0.0], [math.cos(angle), math.sin(angle), 0.0]])
    radius = float(corner_radius(unit, np.array([1e6, 1e6]), 0.02)[0])
    assert radius / math.cos(angle / 2) - radius == pytest.approx(0.02, rel=1e-6)
    # the touching points lie R tan(t / 2) from the corner: never past the middle of a short move
    short = float(corner_radius(unit, np.array([1e6, 0.001]), 0.02)[0])
    assert short * math.tan(angle / 2) <= 0.0005 * (1 + 1e-9)
