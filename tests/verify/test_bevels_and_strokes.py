"""What a v cutter does along a slot and a stroke, on a few moves made by hand, against where the limits lie."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import shapely

from pathgen import flat, radiused
from pathgen.base.cutters import Cutter
from pathgen.verify.engraved import engraving_findings
from pathgen.verify.findings import Tolerances
from pathgen.verify.slots import bevel_findings
from pathgen.work.features import Slots
from tests.verify.test_repeats import motion

TOP = 6.0
LEVEL = flat(TOP)
CUTTER = Cutter(name="v", shape="v", angle=90.0, diameter=6.0, speed=100.0, feed=1.0, plunge=1.0, stepdown=1.0)
LOW = TOP - (0.3 + 0.2)  # half the slot and the bevel, as deep as wide for 90 degrees
SLOT = [(-1, 0, LOW), (21, 0, LOW)]


def bevels(*runs, through, along=(1.0, 0.0), top=LEVEL, cutter=CUTTER):
    line = np.outer([0.0, 20.0], along)[None] - (0.0, 10.0 * along[1])
    slot = Slots(number=np.array([4]), lines=line, width=0.6, depth=1.0, bevel=0.2, short=None if through else 2.0)
    step = SimpleNamespace(file_name="a.nc", cutter=cutter, operation=SimpleNamespace(feature=slot))
    clamping = SimpleNamespace(finished_surface=top)
    return [(f.code, f.got) for f in bevel_findings(motion(*runs), step, clamping, Tolerances())]


@pytest.mark.parametrize("side", [0, 1])
@pytest.mark.parametrize(("through", "least"), [(True, 0.0), (False, -0.3)])
def test_a_bevel_reaches_as_far_as_its_slot(through, least, side):
    """Past the end where the slot runs out there, else to half its width before that; to two hundredths."""
    for more, good in ((-0.019, True), (-0.021, False)):
        end = -(least + more) if side == 0 else 20 + least + more
        cut = [(end, 0, LOW), SLOT[1]] if side == 0 else [SLOT[0], (end, 0, LOW)]
        found = bevels(cut, through=through)
        assert found == [] if good else found[0][1].startswith(f"slot 4: stops {-(least + more):.3f} mm before")


@pytest.mark.parametrize(("gap", "found"), [(0.019, []), (0.021, ["bevel-wrong"]), (-1.0, [])])
def test_a_bevel_is_cut_all_along_its_slot(gap, found):
    assert [code for code, _ in bevels([(11 + gap, 0, LOW), SLOT[1]], [SLOT[0], (11, 0, LOW)], through=True)] == found


@pytest.mark.parametrize(("deeper", "found"), [(0.009, []), (0.011, ["bevel-wrong"]), (-0.3, [])])
def test_a_plunge_opens_no_more_than_the_bevel(deeper, found):
    """And one that is less deep is no narrow bevel: the way along the slot passes there."""
    dip = [SLOT[0], *((10, 0, z) for z in (LOW, LOW - max(deeper, 0.0), LOW + 1.0)), (10, 0, LOW), SLOT[1]]
    runs = [dip] if deeper > 0 else [SLOT, [(10, 0, TOP + 1), (10, 0, LOW - deeper)]]
    assert [code for code, _ in bevels(*runs, through=True)] == found


@pytest.mark.parametrize(("points", "found"), [(41, []), (2, ["bevel-wrong"])])
def test_a_bevel_is_measured_between_the_ends_of_a_move(points, found):
    """Across a radius: a swept cone of slope 1 opens as wide as depth / sqrt(1 - m^2) where the top rises by m."""
    y, radius = np.linspace(-10.0, 10.0, points), 30.0
    m = y / np.sqrt(radius**2 - y**2)
    z = TOP - radius + np.sqrt(radius**2 - y**2) - 0.5 * np.sqrt(1 - m**2)
    run = [(0.0, *both) for both in zip(y, z, strict=True)]
    assert [code for code, _ in bevels(run, through=True, along=(0.0, 1.0), top=radiused(thickness=TOP, start=radius))
            ] == found


@pytest.mark.parametrize(("aside", "found"), [(0.0, ["bevel-wrong"]), (0.5 * 0.02 / np.tan(np.radians(7.5)), [])])
def test_both_edges_of_a_bevel_are_measured_where_the_top_falls_across_it(aside, found):
    """Of a plane that falls by 0.02 a v of 165 degrees over the slot's middle opens 0.5 * 0.13 / (0.13 - 0.02) on the
    lower side; 0.08 mm toward it both edges are alike."""
    falling = SimpleNamespace(height=lambda x, y: TOP - 0.02 * x,
                              normal=lambda x, y: np.stack([0.02 + 0 * x, 0 * x, 1 + 0 * x], axis=-1))
    run = [(aside, y, TOP - 0.5 * np.tan(np.radians(7.5))) for y in (-11.0, 11.0)]
    got = bevels(run, through=True, along=(0.0, 1.0), top=falling, cutter=replace(CUTTER, angle=165.0))
    assert [code for code, _ in got] == found


def test_a_cut_that_only_ends_in_the_wood_is_a_stray():
    assert bevels(SLOT, through=True) == []
    assert ("bevel-stray", "a cut that is on no slot") in bevels(SLOT, [(5, 9, TOP + 1), (8, 9, LOW)], through=True)


STROKES = [np.array([[0.0, 0.0], [10.0, 0.0]]), np.array([[20.0, 0.0], [25.0, 5.0], [30.0, 0.0]])]
CUTS = [[(*xy, TOP - 0.2) for xy in stroke] for stroke in STROKES]


def engraved(*runs, part=(-5.0, -5.0, 40.0, 10.0), cutter=CUTTER):
    step = SimpleNamespace(file_name="a.nc", cutter=cutter, operation=SimpleNamespace(feature=SimpleNamespace(
        strokes=STROKES, depth=0.2)))
    clamping = SimpleNamespace(board=SimpleNamespace(
        surface=SimpleNamespace(thickness=TOP), outline=shapely.box(*part)))
    return {f.code for f in engraving_findings(motion(*runs), step, clamping, Tolerances())}


@pytest.mark.parametrize(("short", "found"), [(0.019, set()), (0.021, {"engraving-missing"})])
def test_a_stroke_is_cut_to_its_end(short, found):
    """What is not cut is a hundredth of a millimetre at most, of what lies no nearer to a cut than that."""
    assert engraved([CUTS[0][0], (10 - short, 0, TOP - 0.2)], CUTS[1]) == found


def test_between_its_ends_a_move_is_on_the_stroke_too():
    assert engraved(*CUTS) == set()
    assert engraved(CUTS[0], [CUTS[1][0], CUTS[1][2]]) == {"engraving-stray", "engraving-missing"}


@pytest.mark.parametrize(("more", "found"), [
    ([(5, 0.5, TOP - 0.2)], "engraving-stray"), ([(5, 0, TOP - 0.3)], "engraving-depth"),
    ([(5, 0, TOP - 0.1)], "engraving-depth"),
])
def test_a_point_is_held_to_place_and_depth_as_a_stroke_is(more, found):
    assert engraved(*CUTS, more) == {found}


@pytest.mark.parametrize(("up", "found"), [
    (0.009, set()), (0.011, {"engraving-missing"}), (1.0, {"engraving-missing"}),
])
def test_a_stroke_is_cut_to_its_depth_between_its_ends(up, found):
    """Both moves at its corner come down to the depth at their other end."""
    a, corner, b = CUTS[1]
    assert engraved(CUTS[0], [a, (*corner[:2], corner[2] + up), b]) == found


@pytest.mark.parametrize(("plunges", "low", "found"), [
    (True, 0.2, {"engraving-depth"}), (False, 0.2, set()), (False, 0.211, {"engraving-depth"}),
    (False, 0.1, {"engraving-missing"}),
])
def test_a_stroke_may_be_begun_down_a_ramp_by_what_needs_one(plunges, low, found):
    """Its moves to and fro end higher; no lower than its depth, and all of the stroke is cut to that in the end."""
    ramp = [(4.0, 0.0, TOP), (2.0, 0.0, TOP - 0.1), (4.0, 0.0, TOP - 0.15), (0.0, 0.0, TOP - low)]
    assert engraved([*ramp, (10.0, 0.0, TOP - low)], CUTS[1], cutter=replace(CUTTER, plunges=plunges)) == found


@pytest.mark.parametrize(("end", "found"), [(29.991, set()), (29.989, {"engraving-off"})])
def test_a_stroke_past_the_part_is_found_though_the_job_asks_for_it(end, found):
    assert engraved(*CUTS, part=(0.0, -1.0, end, 6.0)) == found


def test_a_move_on_the_top_is_no_stroke():
    assert engraved(*CUTS, [(3, 3, TOP), (5, 3, TOP)]) == set()
