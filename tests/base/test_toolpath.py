"""Fewer points for the same way: each point left out lies within the tolerance of the straight moves that are kept."""

import itertools

import numpy as np
import pytest

from pathgen.base.cutters import Cutter
from pathgen.base.toolpath import Move, Toolpath, simplified


def off_the_way(points: np.ndarray, kept: np.ndarray) -> np.ndarray:
    """(n,) how far each point is from the straight move that takes its place."""
    away = np.zeros(len(points))
    for a, b in itertools.pairwise(kept):
        start, run = points[a], points[b] - points[a]
        share = np.clip((points[a:b] - start) @ run / max(run @ run, 1e-300), 0.0, 1.0)
        away[a:b] = np.linalg.norm(points[a:b] - start - share[:, None] * run, axis=1)
    return away


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("tolerance", [0.01, 0.3, 3.0])
def test_what_is_left_out_is_within_the_tolerance(seed: int, tolerance: float) -> None:
    points = np.cumsum(np.random.default_rng(seed).normal(size=(60, 3)), axis=0)
    kept = simplified(points, tolerance)
    assert [kept[0], kept[-1]] == [0, 59]
    assert (np.diff(kept) > 0).all()
    assert off_the_way(points, kept).max() <= tolerance * (1 + 1e-9)


def test_corners_stay_and_points_on_the_way_go() -> None:
    """Also where the corner is the first or the last but one."""
    corners = np.array([[0, 0, 0], [1, 0, 0], [1, 5, 0], [1, 5, -2], [8, 5, -2], [8, 6, -2]], dtype=float)
    assert simplified(corners, 0.01).tolist() == [0, 1, 2, 3, 4, 5]
    between = np.vstack([corners[0], *[corners[k] + np.linspace(0, 1, 5)[1:, None] * (corners[k + 1] - corners[k])
                                       for k in range(5)]])
    assert simplified(between, 0.01).tolist() == [0, 4, 8, 12, 16, 20]


def test_several_lines_are_thinned_out_each_by_itself() -> None:
    random = np.random.default_rng(4)
    lines = [np.cumsum(random.normal(size=(count, 3)), axis=0) for count in (40, 2, 1, 3, 90)]
    first = np.cumsum([0, *map(len, lines)])[:-1]
    each = np.concatenate([begin + simplified(line, 0.5) for begin, line in zip(first, lines, strict=True)])
    assert simplified(np.concatenate(lines), 0.5, first).tolist() == each.tolist()


@pytest.mark.parametrize(("kind", "run", "feed"), [
    (Move.CUT, [10.0, 0.0], 600.0),
    (Move.CUT, [10.0, 5.0], 600.0),  # up
    (Move.CUT, [9.95, -0.999], 600.0),  # a tenth of it is the plunge feed
    (Move.CUT, [8.0, -6.0], 90.0),  # 60 / 0.6 = 100, in steps of 600 / 20
    (Move.CUT, [1.0, -9.0], 60.0),
    (Move.CUT, [0.0, -9.0], 60.0),
    (Move.EASED, [9.0, -1.0], 364.5),  # less than 60 * 9.06 = 543
    (Move.EASED, [4.0, -3.0], 90.0),
    (Move.PLUNGE, [9.0, -1.0], 60.0),
    (Move.RAPID, [0.0, -9.0], 5000.0),
])
def test_no_feed_sinks_a_cutter_faster_than_its_plunge_feed(kind, run, feed) -> None:
    """By hand: a move of length s that falls by h sinks at feed * h / s. The eased feed is 0.6075 of the other."""
    cutter = Cutter(name="c", shape="flat-end", diameter=1.0, speed=18000, feed=600.0, plunge=60.0, stepdown=0.5)
    path = Toolpath([[0.0, 0.0, 20.0], [0.0, 0.0, 9.0], [run[0], 0.0, 9.0 + run[1]]], [Move.RAPID, Move.RAPID, kind])
    assert path.feeds(cutter, rapid=5000.0)[-1] == pytest.approx(feed)


def test_runs_go_straight_down_by_plunges_and_else_by_cuts() -> None:
    run = [[0.0, 0.0, 5.0], [0.0, 0.0, 4.0], [0.0, 0.0, 5.0], [9.0, 0.0, 4.0]]
    kinds = Toolpath.from_runs([run], safe_z=15.0).kinds.tolist()
    assert kinds == [Move.RAPID, Move.PLUNGE, Move.PLUNGE, Move.CUT, Move.CUT, Move.RAPID]
