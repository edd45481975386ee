"""Straight moves written as arcs, for controllers that take them: RS274/NGC, NISTIR 6556, 3.5.3."""

import math
import re

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from pathgen import Toolpath
from pathgen.base.toolpath import Move, Rapids
from pathgen.programs.arcs import fitted_arcs
from pathgen.programs.write import ARC_BETWEEN, program_text
from pathgen.strategies.drilling import drilling
from pathgen.strategies.pocketing import pocket
from pathgen.verify.read import read_program
from pathgen.work.clamping import Clamping, Machine, Setup, Step, Stock
from pathgen.work.features import Holes, OutlineCut
from pathgen.work.operations import Outline
from tests.drawings import LEVEL
from tests.programs.test_write import BOARD, CUTTER


def on_circle(centre, radius, start, end, moves, z=(5.0, 5.0)):
    angle = np.linspace(start, end, moves + 1)
    rise = np.linspace(*z, moves + 1)
    return np.column_stack([centre[0] + radius * np.cos(angle), centre[1] + radius * np.sin(angle), rise])


def fit(points, kind=Move.CUT):
    return fitted_arcs(points, np.full(len(points), kind, np.int8), tolerance=5e-4, between=1e-3)


def text_of(points, units="mm", arcs=True):
    stock = Stock(length=480.0, width=72.0, thickness=8.0, margin_nut=12.0)
    clamping = Clamping(title="Arcs", units=units, board=BOARD, stock=stock, setup=Setup(), machine=Machine(arcs=arcs),
                        steps=())
    path = Toolpath.from_runs([points], safe_z=clamping.safe_z)
    step = Step(order=1, operation=Outline(OutlineCut()), cutter=CUTTER)
    return program_text(path, clamping=clamping, step=step, header=["Arcs"], job="0" * 16)


def test_the_worked_example_of_the_standard():
    # 3.5.3.2: from (7, 7) to (10, 16) about (10, 11), radius 5, clockwise
    start, end = math.atan2(-4, -3), math.atan2(5, 0) - 2 * math.pi
    points = on_circle((10, 11), 5.0, start, end, 200)
    assert points[0, :2] == pytest.approx([7, 7])
    assert points[-1, :2] == pytest.approx([10, 16])
    assert "G2 X10 Y16 I3 J4 F1200" in text_of(points).splitlines()


def test_a_full_circle_is_several_arcs_and_straight_lines_stay():
    square = np.array([[0, 0, 5], [30, 0, 5], [30, 30, 5], [0, 30, 5], [0, 0, 5]], float)
    assert fit(square) == {}
    arcs = fit(on_circle((3, 4), 10.0, 0.0, 2 * math.pi, 300))
    assert len(arcs) >= 3
    assert all(arc.centre == pytest.approx((3, 4), abs=1e-6) and not arc.clockwise for arc in arcs.values())
    lines = text_of(square).splitlines()
    assert not any(re.match(r"G[23]\b", line) for line in lines)


def test_nothing_but_cutting_moves_becomes_an_arc():
    points = on_circle((0, 0), 8.0, 0.0, 1.0, 60)
    assert fit(points, Move.RAPID) == fit(points, Move.PLUNGE) == {}
    bent = points.copy()
    bent[:, 2] += np.linspace(-1, 1, len(points)) ** 2
    assert fit(bent) == {} or max(a.last - a.first for a in fit(bent).values()) < 30


@settings(max_examples=20, deadline=None)
@given(
    x=st.floats(-200, 200), y=st.floats(-30, 30), radius=st.floats(0.4, 300), start=st.floats(-3, 3),
    sweep=st.floats(0.05, 2.9), clockwise=st.booleans(), rise=st.floats(-2, 2), units=st.sampled_from(["mm", "in"]),
)
def test_arcs_read_back_lie_where_the_straight_moves_lay(x, y, radius, start, sweep, clockwise, rise, units):
    moves = max(8, math.ceil(sweep * math.sqrt(radius / (8 * 2e-4))))
    points = on_circle((x, y), radius, start, start - sweep if clockwise else start + sweep, moves, (3.0, 3.0 + rise))
    text = text_of(points, units)
    # the reader refuses arcs whose start and end radii differ by more than 0.002 mm or 0.0002 in (3.5.3.2)
    read = read_program(text)
    starts, ends, _ = read.straight(1e-4)
    way = shapely.LineString(np.vstack([starts[-1:], ends])[2:, :2])
    assert shapely.distance(way, shapely.points(points[:, :2])).max() < 1e-3
    assert len(read.line) < len(points)
    assert read.end[-2, 2] == pytest.approx(points[-1, 2], abs=2e-4)


def test_moves_round_holes_and_pockets_are_as_coarse_as_arcs_may_stand_for():
    """D: a chord of length c of a circle of radius r lies up to r - sqrt(r^2 - c^2 / 4) off it."""
    holes = Holes(at=np.array([[0.0, 0.0]]), diameter=5.0, bottom=0.0)
    hole = drilling(holes, cutter=CUTTER, top=6.0, rapids=Rapids(safe_z=20.0, air_z=7.0))
    round_pocket, = pocket(shapely.Point(0.0, 0.0).buffer(9.0, quad_segs=400), surface=LEVEL, cutters=[CUTTER],
                           depth=1.0, safe_z=20.0)
    off = []
    for path, radius in ((hole, 1.0), (round_pocket.toolpath, 7.5)):
        at, cut = path.points[:, :2], path.kinds[1:] == Move.CUT
        on = np.abs(np.hypot(*at.T) - radius) < 0.003
        chord = np.hypot(*np.diff(at, axis=0).T)[cut & on[1:] & on[:-1]]
        off.append(radius - np.sqrt(radius**2 - chord.max() ** 2 / 4))
    assert 0.5 * ARC_BETWEEN < max(off) < ARC_BETWEEN


def test_programs_without_leave_have_no_arcs():
    points = on_circle((0, 0), 8.0, 0.0, 2.0, 100)
    assert re.search(r"^G[23]\b", text_of(points), re.M)
    assert not re.search(r"^G[23]\b", text_of(points, arcs=False), re.M)


@pytest.mark.parametrize(("radius", "arcs"), [(990.0, 1), (1010.0, 0)])
def test_flatter_arcs_than_a_metre_stay_straight_moves(radius, arcs):
    assert len(fit(on_circle((0.0, 0.0), radius, 0.0, 0.1, 100))) == arcs


@pytest.mark.parametrize("axis", ["out", "up"])
@pytest.mark.parametrize(("off", "arcs"), [(4.8e-4, 1), (-4.8e-4, 1), (5.2e-4, 0), (-5.2e-4, 0)])
def test_a_point_lies_off_its_arc_by_the_tolerance_at_most(axis, off, arcs):
    points = on_circle((0.0, 0.0), 10.0, 0.0, 0.04, 4, (3.0, 3.4))
    points[1] += (0, 0, off) if axis == "up" else (off, 0, 0)
    assert len(fit(points)) == arcs


@pytest.mark.parametrize(("off", "arcs"), [(9.8e-4, 1), (10.2e-4, 0)])
def test_a_move_lies_off_its_arc_by_twice_the_tolerance_at_most(off, arcs):
    step = 2 * math.acos(1 - off / 10.0)  # the height of a chord over its circle of 10 mm
    assert len(fit(on_circle((0.0, 0.0), 10.0, 0.0, 4 * step, 4))) == arcs


@pytest.mark.parametrize(("moves", "arcs"), [(4, 1), (3, 0)])
def test_an_arc_stands_for_four_moves_or_more(moves, arcs):
    assert len(fit(on_circle((0.0, 0.0), 10.0, 0.0, 0.01 * moves, moves))) == arcs


@pytest.mark.parametrize("way", [1, -1])
def test_an_arc_turns_by_less_than_half_a_circle(way):
    """So far that both ways round are told apart however its ends are rounded."""
    for share, whole in ((0.945, True), (0.955, False)):
        arcs = fit(on_circle((0.0, 0.0), 10.0, 0.0, way * share * math.pi, 300))
        assert (arcs[1].last == 300) == whole
        assert arcs[1].last >= 296
        assert arcs[1].clockwise == (way < 0)
