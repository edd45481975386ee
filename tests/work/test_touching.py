"""Colours that touch, stages in which none do, and walls between them: against shapes with known edges."""

import itertools

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import box

from pathgen.work.touching import lapped, pairs_within, proposed_stages, touches, walled

RED, GREEN, BLUE, GOLD = "#aa0000", "#00aa00", "#0000aa", "#c8962e"


@settings(max_examples=30)
@given(st.lists(st.tuples(*[st.integers(0, 12)] * 2), min_size=0, max_size=9), st.sampled_from([0.05, 1.0, 2.5]))
def test_pairs_within_are_those_of_all_pairs_that_lie_so_near(corners, far):
    shapes = [box(x, y, x + 1, y + 2) for x, y in corners]
    assert pairs_within(shapes, far) == [(i, j) for i, j in itertools.combinations(range(len(shapes)), 2)
                                         if shapely.distance(shapes[i], shapes[j]) <= far]


def test_of_shapes_near_each_other_the_one_with_more_corners_is_made_ready_and_each_pair_asked_once(monkeypatch):
    """A ring of 1024 corners, small squares in it and beside it, and one far away: time goes with the small ones."""
    disc = shapely.Point(0, 0).buffer(20, quad_segs=128)
    ring = disc.difference(disc.buffer(-1, quad_segs=128))
    at = [*itertools.product((-6, 0, 6), repeat=2), (19.5, 0), (90, 0)]
    squares = [box(x, y, x + 1, y + 1) for x, y in at]
    asked, dwithin = [], shapely.dwithin

    def noted(a, b, far):
        asked.extend(zip(shapely.is_prepared(a), shapely.get_num_coordinates(a), shapely.get_num_coordinates(b),
                         strict=True))
        return dwithin(a, b, far)

    monkeypatch.setattr(shapely, "dwithin", noted)
    shapes = [*squares[:5], ring, *squares[5:]]
    assert pairs_within(shapes, 0.5) == [(5, 10)]
    assert len(asked) == 10
    assert all(ready and large > 1000 and small == 5 for ready, large, small in asked)
    assert not shapely.is_prepared(shapes).any(), "or what is asked of them later would be found in another way"


def test_shared_edge_of_squares():
    found = touches([(RED, box(0, 0, 10, 10)), (GREEN, box(10, 4, 20, 30)), (BLUE, box(40, 0, 50, 10))])
    assert [t.colours for t in found] == [(RED, GREEN)]
    # from y 4 to 10; each end may be off by how near counts as touching, 0.05
    assert found[0].length == pytest.approx(6.0, abs=0.101)
    assert found[0].places == pytest.approx(np.array([[10.0, 7.0]]), abs=0.06)


def test_ring_round_a_disc_shares_its_circumference():
    disc = shapely.Point(3, -2).buffer(5, quad_segs=64)
    ring = shapely.Point(3, -2).buffer(9, quad_segs=64).difference(disc)
    (touch,) = touches([(GOLD, ring), (GREEN, disc)])
    assert touch.length == pytest.approx(2 * np.pi * 5, rel=1e-3)


def test_two_places():
    comb = box(0, 0, 30, 2).union(box(0, 2, 5, 6)).union(box(20, 2, 28, 6))
    (touch,) = touches([(RED, comb), (BLUE, box(-5, 6, 40, 9))])
    assert touch.lengths == pytest.approx([8.0, 5.0], abs=0.12)
    assert touch.places[:, 0] == pytest.approx([24.0, 2.5], abs=0.1)


def test_apart_is_not_touching():
    assert touches([(RED, box(0, 0, 10, 10)), (GREEN, box(10.2, 0, 20, 10))]) == ()


def test_three_in_a_row_need_two_stages():
    regions = [(RED, box(0, 0, 10, 10)), (GREEN, box(10, 0, 20, 10)), (BLUE, box(20, 0, 24, 10))]
    stages = proposed_stages([RED, GREEN, BLUE], touches(regions), {c: s.area for c, s in regions})
    assert sorted(map(sorted, stages)) == sorted([sorted([RED, BLUE]), [GREEN]])


def test_fewest_stages_where_placing_in_turn_takes_more():
    # a crown graph: placing a0 b0 a1 b1 a2 b2 in turn takes three stages, two are enough
    names = ["a0", "b0", "a1", "b1", "a2", "b2"]
    pairs = [(f"a{i}", f"b{j}") for i, j in itertools.permutations(range(3), 2)]
    found = [type("T", (), {"colours": p})() for p in pairs]
    stages = proposed_stages(names, found, {n: 100.0 - k for k, n in enumerate(names)})
    assert len(stages) == 2
    assert not any(set(p) <= set(s) for p in pairs for s in stages)


def test_of_as_few_stages_those_are_proposed_that_part_what_is_too_near():
    """D: a square between two that it touches and a fourth that it lies near to: two stages, in one of two ways."""
    regions = [(RED, box(0, 0, 10, 10)), (GREEN, box(10, 0, 14, 10)), (BLUE, box(10.5, 12, 12, 14))]
    areas = {c: s.area for c, s in regions}
    assert proposed_stages([RED, GREEN, BLUE], touches(regions), areas) == [[RED, BLUE], [GREEN]]
    near = [(RED, BLUE)]
    assert proposed_stages([RED, GREEN, BLUE], touches(regions), areas, near) == [[RED], [GREEN, BLUE]]
    for k in range(10):  # those of more than are all tried too
        areas[f"#{k}"] = 1.0 / (k + 1)
    assert proposed_stages([*areas], touches(regions), areas, near)[1] == [GREEN, BLUE]


def test_wall_along_a_shared_edge_takes_half_of_each():
    (_, left), (_, right) = walled([(RED, box(0, 0, 10, 10)), (GREEN, box(10, 0, 20, 10))], 0.6)
    assert left.bounds == pytest.approx((0, 0, 9.7, 10), abs=1e-3)
    assert right.bounds == pytest.approx((10.3, 0, 20, 10), abs=1e-3)


@settings(max_examples=40, deadline=None)
@given(st.data())
def test_wall_always_stands(data):
    number = st.floats(0, 20).map(lambda x: round(x, 9))  # as of a drawing: none whose square is no number
    discs = [
        shapely.Point(data.draw(number), data.draw(number)).buffer(data.draw(st.floats(1, 6))) for _ in range(3)
    ]
    parts = [discs[0], discs[1].difference(discs[0]), discs[2].difference(shapely.union_all(discs[:2]))]
    regions = [(c, p) for c, p in zip((RED, GREEN, BLUE), parts, strict=True) if p.area > 1e-3]
    wall = data.draw(st.floats(0.1, 2.0))
    shrunk = walled(regions, wall)
    for (_, before), (_, after) in zip(regions, shrunk, strict=True):
        assert after.difference(before.buffer(1e-9)).area < 1e-9
    for (_, a), (_, b) in itertools.combinations(shrunk, 2):
        if not a.is_empty and not b.is_empty:
            assert shapely.distance(a, b) >= wall - 1e-6


def test_wall_stands_where_the_engine_leaves_corners_out():
    """Offsets keep to their distance within 0.03 % here (found by drawing at random)."""
    top, side, middle = (shapely.Point(x, y).buffer(r) for x, y, r in ((0, 2.6450272496569043, 2.125), (2.125, 0, 1),
                                                                      (0, 0, 2)))
    side = side.difference(top)
    shrunk = walled([(RED, top), (GREEN, side), (BLUE, middle.difference(top.union(side)))], 1.8125)
    for (_, a), (_, b) in itertools.combinations(shrunk, 2):
        assert a.is_empty or b.is_empty or shapely.distance(a, b) >= 1.8125


@pytest.mark.parametrize(("apart", "wall"), [(0.3, 0.0), (0.5, 0.2), (1.1, 0.4)])
def test_laps_from_both_sides_of_a_narrow_colour_leave_the_wall_between_them(apart, wall):
    """Two halves beside a stem: each runs on under it by 0.4 mm, or as far as the wall lets it."""
    stem = box(-apart / 2, 0, apart / 2, 20)
    halves = [(RED, box(-9, 0, -apart / 2, 20)), (GREEN, box(apart / 2, 0, 9, 20))]
    (_, left), (_, right) = lapped(halves, [stem], 0.4, wall=wall)
    assert shapely.distance(left, right) == pytest.approx(max(wall, apart - 0.8), abs=0.001)
    for (_, drawn), now in zip(halves, (left, right), strict=True):
        assert drawn.difference(now).area < 1e-6, "nothing that is seen gives way"
        assert now.difference(drawn.union(stem)).area < 1e-6


def test_lap_runs_under_the_later_colour_only():
    disc = shapely.Point(0, 0).buffer(5, quad_segs=64)
    ring = shapely.Point(0, 0).buffer(9, quad_segs=64).difference(disc)
    ((_, grown),) = lapped([(GOLD, ring)], [disc], 0.4)
    assert grown.difference(ring.union(disc)).area < 1e-6
    assert disc.difference(grown).area == pytest.approx(np.pi * 4.6**2, rel=2e-3)
