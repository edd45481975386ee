"""The move that explains measured marks, against known rotations and scipy's least squares; and what a shift costs."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from pathgen.base.errors import JobError
from pathgen.base.surface import Surface
from pathgen.work.mark_errors import (
    doubtful_heights,
    height_influence,
    influence,
    leverage,
    mark_errors,
    odd_heights,
    seen,
    unchecked,
)
from pathgen.work.moved import Moved, fit_move, shift_errors

MARKS = np.array([[-9.0, -25.0, 8.0], [-9.0, 27.0, 8.0], [456.0, -20.0, 8.0], [450.0, 30.0, 8.0]])
SMALL = st.floats(-1.0, 1.0)


def _turned(p, angles_deg, shift):
    turn = Rotation.from_euler("xyz", angles_deg, degrees=True).as_matrix()
    return (p - MARKS.mean(axis=0)) @ turn.T + MARKS.mean(axis=0) + shift


@settings(max_examples=50, deadline=None)
@given(st.tuples(SMALL, SMALL, SMALL), st.tuples(SMALL, SMALL, SMALL))
def test_a_rigid_move_is_found_exactly(angles, shift):
    moved = fit_move(MARKS, _turned(MARKS, angles, shift), limit=1e-6)
    other = np.array([[200.0, 3.0, 6.5], [400.0, -28.0, 4.0]])
    assert moved.there(other) == pytest.approx(_turned(other, angles, shift), abs=1e-9)
    assert moved.back(moved.there(other, ball=6.35), ball=6.35) == pytest.approx(other, abs=1e-9)


def test_least_squares_of_noisy_marks_as_scipy_finds_it():
    rng = np.random.default_rng(7)
    found = _turned(MARKS, (0.2, -0.05, 0.1), (0.3, -0.2, 0.1)) + rng.normal(0, 0.03, MARKS.shape)
    moved = fit_move(MARKS, found, limit=1.0)

    def residuals(v):
        return (_turned(MARKS, np.degrees(v[:3]), v[3:]) - found).ravel()

    best = least_squares(residuals, np.zeros(6), xtol=1e-15, ftol=1e-15, gtol=1e-15)
    assert float((moved.residuals**2).sum()) == pytest.approx(2 * best.cost, rel=1e-9)
    assert moved.worst > 0.01


def test_words_of_a_move():
    moved = fit_move(MARKS, _turned(MARKS, (0, 0, 0.5), (0.1, 0.2, 0.3)), limit=1e-6)
    assert moved.turn_deg == pytest.approx(0.5)
    assert moved.shift == pytest.approx([0.1, 0.2, 0.3])
    rising = fit_move(MARKS, _turned(MARKS, (0, -0.25, 0), (0, 0, 0)), limit=1e-6)
    assert rising.tilt_deg == pytest.approx((0.25, 0.0), abs=1e-9)
    assert rising.there([[450, 0, 8]])[0, 2] > rising.there([[0, 0, 8]])[0, 2]


@pytest.mark.parametrize(("places", "found", "words"), [
    (MARKS[:2], MARKS[:2], "2 marks"),
    (MARKS[[0, 2, 2]] * [1, 0, 1], MARKS[[0, 2, 2]] * [1, 0, 1], "one line"),
    (MARKS, MARKS[::-1], "degrees"),
    (MARKS, MARKS + [30, 0, 0], "30.00 mm"),
    (MARKS, MARKS + [[0, 0, 0.5], [0, 0, 0], [0, 0, 0], [0, 0, 0.5]],
     r"0\.25\d mm is left over.*which one cannot be told from 4"),
])
def test_refused(places, found, words):
    with pytest.raises(JobError, match=words):
        fit_move(places, found, limit=0.1)


def test_marks_that_were_swapped_or_mistyped_are_named():
    found = _turned(MARKS, (0, 0, 0.1), (0.3, -0.2, 0.0))
    mistyped = found + [[0, 0, 0], [0, 0, 0], [0, 9.0, 0], [0, 0, 0]]
    for wrong, words in ((found[[0, 1, 3, 2]], "marks 3 and 4 are likely swapped: the other way round all fit to 0.00"),
                         (mistyped, "mark 3 is 9.000 mm from where .* fit to 0.000 mm without it .*: a number of "
                          "mark 3 is likely mistyped: correct it")):
        with pytest.raises(JobError, match=words) as refused:
            fit_move(MARKS, wrong, limit=0.1)
        assert " or " not in refused.value.remedy
        assert "warped" not in str(refused.value)
    twice = mistyped + [[0, 0, 0], [7.0, 0, 0], [0, 0, 0], [0, 0, 0]]
    with pytest.raises(JobError, match=r"may be swapped, or a number mistyped.*warped"):
        fit_move(MARKS, twice, limit=0.1)


ROW = np.array([[-28.0, -53.0, 4.0], [95.0, -53.0, 4.0], [95.0, 53.0, 4.0], [218.0, -53.0, 4.0]])
"""Three in a row and one alone."""
DIAGONAL = ROW * [[1, 1, 1], [1, 1, 1], [1, 1, 1], [1, -1, 1]]


def test_leverage_is_the_diagonal_of_the_hat_matrix():
    """H = X (X^T X)^-1 X^T (Hoaglin and Welsch, The American Statistician 32 (1978)); from memory."""
    rng = np.random.default_rng(2)
    groups = rng.normal(0, 100, (20, 5, 2))
    for marks, found in zip(groups, leverage(groups), strict=True):
        x = np.column_stack([marks, np.ones(5)])
        assert found == pytest.approx(np.diag(x @ np.linalg.inv(x.T @ x) @ x.T), abs=1e-9)
    assert leverage(DIAGONAL) == pytest.approx([0.75] * 4)
    # a row of three 1 apart has 5/6, 1/3, 5/6 of a straight line; the one beside it is alone
    assert leverage(ROW) == pytest.approx([5 / 6, 1 / 3, 1.0, 5 / 6])
    assert (unchecked(ROW), unchecked(DIAGONAL), unchecked(ROW[1:]), unchecked(ROW[:2])) == ([3], [], [1, 2, 3], [1, 2])
    assert leverage(ROW[[0, 1, 3]]) == pytest.approx(1.0)


def test_a_height_that_does_not_move_with_the_others_is_doubted():
    tilt = 0.1 * np.array([0.0, 0.5, 0.5, 1.0])
    noise = np.array([0.03, -0.04, 0.03, 0.04])
    one = np.array([0.0, 0.0, 0.6, 0.0])
    nearly = ROW + 0.02 * np.array([[0, 1, 0], [0, -1, 0], [0, 1, 0], [0, 1, 0]])  # as measured, not quite in a row
    for marks in (ROW, nearly, DIAGONAL):
        assert odd_heights(marks, noise + 0.3) == ([], 0.0)
        assert odd_heights(marks, one + 0.3 + noise)[0] == [2]
        assert odd_heights(marks, one)[1] == pytest.approx(0.6, rel=1e-3)
    assert odd_heights(DIAGONAL, tilt + noise) == ([], 0.0)
    # where they tilt too, three of four can be in the right four ways; a fifth tells
    assert odd_heights(DIAGONAL, 5 * tilt + one)[0] == [0, 1, 2, 3]
    five = np.vstack([DIAGONAL, [[218.0, -53.0, 4.0]]])
    assert odd_heights(five, np.append(5 * tilt + one, 0.5))[0] == [2]


def test_a_tilt_that_all_of_four_marks_show_is_no_misread_height():
    """The second is far out, so that others hardly check it: yet no error there is 0.3 mm, as each was doubted for."""
    marks = np.array([[10.0, 5.0], [81.0, -5.0], [43.0, 12.0], [21.5, -14.0]])
    assert unchecked(marks)[0] == 2
    tilt = marks @ [0.002, 0.015]
    assert odd_heights(marks, tilt, 0.01) == ([], 0.0)
    assert odd_heights(marks, np.array([0.0, 0.3, 0.0, 0.0]), 0.01)[0] == [1]
    assert odd_heights(marks, tilt + [0.0, 0.3, 0.0, 0.0], 0.01)[0] == [0, 1, 2, 3]


@pytest.mark.parametrize("marks", [DIAGONAL, ROW, np.vstack([DIAGONAL, [[218.0, -53.0, 4.0]]]), DIAGONAL[:3]])
def test_rises_that_are_each_right_to_accuracy_are_never_doubted(marks):
    """At their worst too, each off by all of it."""
    for signs in itertools.product((-1.0, 1.0), repeat=len(marks)):
        assert doubtful_heights(marks, 0.05 * np.array(signs), 0.05) == ([], 0.0)


def test_what_heights_leave_over_together_is_doubted_before_one_of_them_is():
    """Of four marks at a parallelogram's corners what is left over has one shape, with the same at each."""
    one = np.array([0.0, 0.0, 0.21, 0.0])
    assert odd_heights(DIAGONAL, one, 0.05) == ([], 0.0)
    assert doubtful_heights(DIAGONAL, one, 0.05) == ([2], pytest.approx(0.21))
    assert doubtful_heights(DIAGONAL, 0.95 * one, 0.05) == ([], 0.0)
    tilted = doubtful_heights(DIAGONAL, one + [0.0, 0.3, 0.3, 0.6], 0.05)
    assert tilted == ([0, 1, 2, 3], pytest.approx(0.21))


@pytest.mark.parametrize(("marks", "off", "words"), [
    # three rose alike
    (4, [[0, 0, 0], [0, 0, 0], [0, 0, 0.6], [0, 0, 0]], "mark 3 is 0.600 mm from where the others put it"),
    (4, [[0, 0, 0], [0, 0.4, 0], [0, 0, 0], [0, 0, 0]], "mark 2 is 0.400 mm from where the others put it"),
    (4, [[0, 0, 0], [0, 0, 0.5], [0, 0, 1.2], [0, 0, 1]], r"0\.17\d mm is left.*if one of the marks was"),
    (3, [[0, 0, 0], [0, 0.4, 0], [0, 0, 0]], r"left.*if one of the marks was misread, which one cannot be told from 3"),
    (5, [[0, 0, 0], [0, 0, 0.5], [0, 0, 1.2], [0, 0, 1], [0, 0, 1]], "mark 3 is 0.700 mm from where the others put it"),
])
def test_which_mark_was_misread_is_said_where_it_can_be_told(marks, off, words):
    places = np.vstack([DIAGONAL, [[218.0, -53.0, 4.0]]])[:marks]
    with pytest.raises(JobError, match=words):
        fit_move(places, places + off, limit=0.1)


def test_a_ball_touches_the_tilted_surface_where_it_touched_before():
    surface = Surface(thickness=6.5, radius_nut=254.0, radius_end=355.6, length=440.0)
    from pathgen.base.cutters import Cutter

    ball = Cutter(name="b", shape="ball-end", diameter=12.7, speed=100, feed=1, plunge=1, stepdown=1)
    x, y = np.array([20.0, 300.0, 430.0]), np.array([-20.0, 5.0, 27.0])
    tips = np.column_stack([x, y, surface.tip_height(ball, x, y)])
    moved = fit_move(MARKS, _turned(MARKS, (1.0, 0.5, 0.3), (0.5, 0.1, 0.2)), limit=1e-6)
    centres = moved.there(tips, ball=ball.radius) + [0, 0, ball.radius]
    # the distance from the moved centre to the moved surface, by brute force over its points, is the ball's radius
    for tip, centre in zip(tips, centres, strict=True):
        gx, gy = np.meshgrid(tip[0] + np.linspace(-1, 1, 201), tip[1] + np.linspace(-2, 2, 401))
        points = np.column_stack([gx.ravel(), gy.ravel(), surface.height(gx, gy).ravel()])
        gap = np.linalg.norm(moved.there(points) - centre, axis=1).min()
        assert gap == pytest.approx(ball.radius, abs=2e-5)


def test_shift_errors_of_a_cylinder_by_hand():
    # dz/dy = -y / sqrt(R^2 - y^2): 28.5 mm out on R 355.6 a shift of 0.1 mm across is 0.0080 mm; along is nothing
    surface = Surface(thickness=6.5, radius_nut=355.6, radius_end=355.6, length=440.0)
    errors = shift_errors(surface, [[200.0, 28.5], [200.0, -28.5]])
    slope = 28.5 / np.sqrt(355.6**2 - 28.5**2)
    assert errors["across"] == pytest.approx((-0.1 * slope, 0.1 * slope), rel=2e-3)
    assert errors["along"] == (0.0, 0.0)
    assert errors["up"] == pytest.approx((-0.1, 0.1))


def test_shift_errors_of_a_cone_by_hand():
    # dz/dx = R' (R / sqrt(R^2 - y^2) - 1)
    surface = Surface(thickness=6.5, radius_nut=254.0, radius_end=355.6, length=440.0)
    errors = shift_errors(surface, [[0.0, 22.0]])
    slope = (355.6 - 254.0) / 440 * (254.0 / np.sqrt(254.0**2 - 22.0**2) - 1)
    assert errors["along"] == pytest.approx((-0.1 * slope, 0.1 * slope), rel=2e-3)
    assert isinstance(fit_move(MARKS, MARKS, limit=1.0), Moved)


BOARD = np.array([[0.0, -22.0, 6.2], [0.0, 22.0, 6.2], [475.0, -28.5, 6.0], [475.0, 28.5, 6.0]])
FAR_WASTE = np.array([[487.5, -30.0, 8.0], [505.5, 30.0, 8.0], [505.5, -30.0, 8.0]])


@pytest.mark.in_every_run(2)
@pytest.mark.parametrize("marks", [MARKS, MARKS[[0, 1, 3]], FAR_WASTE, np.vstack([MARKS, FAR_WASTE])])
def test_an_error_at_a_mark_does_what_fitting_it_anew_does(marks):
    height, place = influence(marks, BOARD)
    rng = np.random.default_rng(3)
    step = 1e-4
    highest, furthest = np.zeros((len(marks), 4)), np.zeros((len(marks), 4))
    axes = np.vstack([np.eye(3), rng.normal(size=(400, 3))])
    for mark in range(len(marks)):
        for way in axes / np.linalg.norm(axes, axis=1, keepdims=True):
            found = marks.copy()
            found[mark] += step * way
            off = (fit_move(marks, found, limit=1.0).there(BOARD) - BOARD) / step
            highest[mark] = np.maximum(highest[mark], np.abs(off[:, 2]))
            furthest[mark] = np.maximum(furthest[mark], np.linalg.norm(off[:, :2], axis=1))
    # 400 directions come within 2 % of the worst one, and never go beyond it; all marks together as root-sum-square
    for each, said in ((highest, height), (furthest, place)):
        found = np.sqrt((each**2).sum(axis=0))
        assert (found <= said * (1 + 1e-3)).all()
        assert (found >= said * 0.98).all()


@pytest.mark.in_every_run(0)
def test_errors_of_many_readings_scatter_the_board_as_said():
    """5000 sets of readings with a normal error of 0.05 mm in height: how far the board's corners scatter."""
    rng = np.random.default_rng(11)
    found = np.array([fit_move(MARKS, MARKS + rng.normal(0, 0.05, (4, 3)) * [0, 0, 1], limit=9.0).there(BOARD)[:, 2]
                      for _ in range(5000)])
    assert found.std(axis=0) == pytest.approx(0.05 * influence(MARKS, BOARD)[0], rel=0.03)


def test_what_marks_see_of_a_bow_a_cup_and_a_twist():
    box = (0.0, -25.0, 400.0, 25.0)
    corners = np.array([[0, -25, 8], [0, 25, 8], [400, -25, 8], [400, 25, 8.0]])
    # marks in the corners see a twist alone: a corner 1 mm up is 0.25 mm of twist at each, by symmetry
    assert seen(corners, box) == pytest.approx({"bow": 0.0, "cup": 0.0, "twist": 0.25}, abs=1e-12)
    # two on the crest at the ends, two at the sides of the middle: half of a bow or a cup at each
    crossed = np.array([[0, 0, 8], [400, 0, 8], [200, -25, 8], [200, 25, 8.0]])
    assert seen(crossed, box) == pytest.approx({"bow": 0.5, "cup": 0.5, "twist": 0.0}, abs=1e-12)
    assert seen(corners[:3], box) == pytest.approx({"bow": 0.0, "cup": 0.0, "twist": 0.0}, abs=1e-12)
    # as fit_move finds it: a bow of 0.1 mm
    risen = crossed + np.column_stack([np.zeros((4, 2)), 0.1 * (1 - ((crossed[:, 0] - 200) / 200) ** 2)])
    left = fit_move(crossed, risen, limit=1.0).residuals[:, 2]
    assert np.abs(left).max() == pytest.approx(0.05, abs=1e-4)


def test_heights_fix_a_plane_as_marks_do():
    triples = np.stack([MARKS[[0, 1, 3], :2], FAR_WASTE[:, :2], MARKS[[0, 0, 3], :2]])
    rise = height_influence(triples, BOARD[:, :2])
    assert height_influence(MARKS[None, :, :2], BOARD[:, :2]) == pytest.approx(influence(MARKS, BOARD)[0].max())
    for k, marks in enumerate((MARKS[[0, 1, 3]], FAR_WASTE)):
        # marks on one level: errors beside it turn nothing up or down
        assert rise[k] == pytest.approx(influence(marks, BOARD)[0].max(), rel=1e-9)
    assert np.isinf(rise[2])


def test_marks_18_mm_apart_tell_nothing_of_a_board_475_mm_long():
    # by hand: the mark alone at its X, 18 mm before the two others, tilts 475 mm away by 505.5 / 18 of its error, and
    # is on the low side; those two bear the rest, 1 less, as the nut's corner at Y -22 or 22 shares it between them
    alone = 505.5 / 18.0
    low = np.array([[30.0, -30.0], [1.0, 1.0]])  # of the marks at Y 30 and Y -30, the other one's Y being -30
    pairs = [np.linalg.solve(low, [y + 30.0 * alone, 1.0 - alone]) for y in (-22.0, 22.0)]
    said = mark_errors(FAR_WASTE, nut=BOARD[:2], end=BOARD[2:], outline=BOARD, accuracy=0.05)
    assert said.nut[0] == pytest.approx(
        0.05 * max(np.hypot(alone, np.hypot(*pair)) for pair in pairs), rel=0.03)
    assert said.worst == said.anywhere[0] >= said.nut[0] > said.end[0]
    near = mark_errors(MARKS, nut=BOARD[:2], end=BOARD[2:], outline=BOARD, accuracy=0.05)
    assert near.worst < 0.07
    on_line = mark_errors(MARKS[[0, 2]], nut=BOARD[:2], end=BOARD[2:], outline=BOARD)
    assert np.isinf(on_line.worst)


@pytest.mark.parametrize(("angles", "shift", "small"), [
    ((0, 0, 1.9), (0, 0, 0), True), ((0, 0, -2.1), (0, 0, 0), False), ((1.9, 0, 0), (0, 0, 0), True),
    ((0, 2.1, 0), (0, 0, 0), False), ((-2.1, 0, 0), (0, 0, 0), False),
    ((0, 0, 0), (19.9, -19.9, 19.9), True), ((0, 0, 0), (0, -20.1, 0), False), ((0, 0, 0), (0, 0, 20.1), False),
])
def test_what_is_a_small_move(angles, shift, small):
    found = _turned(MARKS, angles, shift)
    if small:
        assert fit_move(MARKS, found, limit=1e-6).worst < 1e-9
        return
    with pytest.raises(JobError, match="allowed: 20 mm and 2 degrees"):
        fit_move(MARKS, found, limit=1e-6)


def test_no_mirror_image_is_taken_for_a_move():
    """Marks that stand 0.02 mm off a plane and are found as far on its other side are best explained by a mirror."""
    off = 0.02 * np.array([[0, 0, 1], [0, 0, -1], [0, 0, -1], [0, 0, 1]])
    moved = fit_move(MARKS + off, MARKS - off, limit=0.1)
    assert np.linalg.det(moved.rotation) == pytest.approx(1.0)
    assert moved.worst == pytest.approx(0.04, rel=0.05)


def test_the_worst_of_a_board_is_the_worst_of_its_ends_and_its_outline():
    far = {"nut": BOARD[:2] - [900, 0, 0], "end": BOARD[2:] + [900, 0, 0], "outline": BOARD * [1, 1, 1] + [0, 900, 0]}
    near = {"nut": BOARD[:2], "end": BOARD[2:], "outline": BOARD}
    for name in near:
        found = mark_errors(MARKS, **{**near, name: far[name]})
        assert found.accuracy == 0.05
        height, place = influence(MARKS, far[name])
        assert found.anywhere == pytest.approx((0.05 * height.max(), 0.05 * place.max()))
        assert found.worst == max(found.anywhere)
