"""Every operation is planned and checked, and says of itself what others ask."""

import ast
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely

import pathgen
from pathgen.programs.paths import PATHS
from pathgen.verify.comparing import CHECKS
from pathgen.work.clamping import slug
from pathgen.work.features import Cutouts, Engraving, Holes, Slots, Surfacing
from pathgen.work.operations import (
    Channel,
    CutAgain,
    CutOut,
    DowelHoles,
    Engrave,
    RoundHoles,
    SideDots,
    Slot,
    SurfaceFinish,
    every_operation,
)


def test_every_operation_is_in_both_tables():
    assert len(every_operation()) > 10
    assert set(PATHS) == every_operation() == set(CHECKS)


def test_every_operation_is_checked_by_something():
    assert all(checks.moves or checks.step or checks.work for checks in CHECKS.values())


def test_names_are_unlike_and_nobody_else_asks_for_them():
    names = [kind.name for kind in every_operation()]
    assert len(set(names)) == len(names)
    asked = []
    for path in Path(pathgen.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())) if path.name != "operations.py" else ():
            sides = [node.left, *node.comparators] if isinstance(node, ast.Compare) else []
            if any(isinstance(s, ast.Attribute) and ast.unparse(s).endswith(("operation", "operation.name"))
                   for s in sides):
                asked.append(f"{path.name}: {ast.unparse(node)}")
    assert not asked


PART = shapely.box(0, 0, 100, 40)
FLAT = pathgen.Cutter(name="flat 3", shape="flat-end", diameter=3.0, speed=100, feed=1, plunge=1, stepdown=1.0)
BALL = pathgen.Cutter(name="ball 6", shape="ball-end", diameter=6.0, speed=100, feed=1, plunge=1, stepdown=1.0)
HOLES = Holes(at=np.array([[10.0, 10.0], [50.0, -60.0]]), diameter=4.0, bottom=1.0)
CUTOUT = Cutouts(shapes=shapely.box(20, 10, 30, 20), bottom=0.5, depth=3.0, what="a hole", named=())
SLOTS = Slots(number=np.array([1, 2]), lines=np.array([[[30.0, 5.0], [30.0, 35.0]], [[60.0, 5.0], [60.0, 35.0]]]),
              width=0.6, depth=2.0, bevel=0.2, through=np.array([[True, True], [False, True]]))
PLAIN = Slots(number=SLOTS.number, lines=SLOTS.lines, width=0.6, depth=2.0)
STROKES = Engraving(strokes=(np.array([[0.0, 0.0], [8.0, 0.0]]), np.array([[20.0, 0.0], [20.0, 6.0]])), depth=0.3)


def round_ended(length, half):
    return 2 * length * half + math.pi * half**2


@pytest.mark.parametrize(("operation", "area"), [
    *((kind(HOLES), 2 * math.pi * (2.0 + 0.7) ** 2) for kind in (DowelHoles, RoundHoles, SideDots)),
    (CutOut(CUTOUT), 10 * 10 + 4 * 10 * 0.7 + math.pi * 0.7**2),
    (Channel(CUTOUT), 10 * 10 + 4 * 10 * 0.7 + math.pi * 0.7**2),
    (Engrave(STROKES), round_ended(8.0, 0.7) + round_ended(6.0, 0.7)),
    # half as wide as slot and bevel; past an edge that it is cut through by that and the run-out; square ends
    (Slot(SLOTS), (30 + 2 * 1.0 + 2 * 1.2) * 2 * 1.2 + (30 + 1.0 + 2 * 1.2) * 2 * 1.2),
    (Slot(PLAIN), 2 * (30 + 2 * 0.8 + 2 * 1.0) * 2 * 1.0),
])
def test_what_is_open_after_it_and_so_far_round(operation, area):
    """The area by its formula: discs, and strips with round or square ends."""
    assert operation.leaves_open(0.7).area == pytest.approx(area, rel=0.01)


@pytest.mark.parametrize(("operation", "cutter", "by"), [
    # half the chord of a ball of radius 3, 1.2 mm over its tip, and 1.5 mm: circle segments (D)
    (SurfaceFinish(Surfacing(scallop=0.05, what="top", part="board")), BALL, math.sqrt(9 - 1.8**2) + 1.5),
    (SurfaceFinish(Surfacing(scallop=0.0, what="top", part="board")), FLAT, 1.5 + 1.5),
])
def test_what_it_clears_round_the_part(operation, cutter, by):
    cleared = operation.clears(PART, cutter, 1.2)
    assert cleared.bounds == pytest.approx((-by, -by, 100 + by, 40 + by))
    assert cleared.area == pytest.approx((100 + 2 * by) * (40 + 2 * by))


def test_what_it_clears_elsewhere():
    assert DowelHoles(HOLES).clears(PART, FLAT, 1.0).area == pytest.approx(2 * math.pi * 4, rel=0.01)
    assert Slot(SLOTS).clears(PART, FLAT, 1.0).area == pytest.approx(2 * round_ended(30.0, 3 + 0.6 + 0.5), rel=0.01)
    for one in (RoundHoles(HOLES), SideDots(HOLES), CutOut(CUTOUT), Engrave(STROKES)):
        assert one.clears(PART, FLAT, 1.0).is_empty


def test_how_deep_each_goes():
    assert (CutOut(CUTOUT).bottom, CutOut(CUTOUT).clears_deep(6.0, 0.0)) == (0.5, 3.0)
    assert (Slot(SLOTS).depth, Slot(SLOTS).clears_deep(6.0, 0.0), Slot(SLOTS).deeper_outside(FLAT)) == (2.0, 2.0, 0.0)
    assert (DowelHoles(HOLES).bottom, RoundHoles(HOLES).bottom, Slot(SLOTS).bottom) == (1.0, 1.0, 0.0)
    surfacing = Surfacing(scallop=0.05, what="top", part="board", resurface_stepdown=0.4)
    assert SurfaceFinish(surfacing).bite(BALL) == 0.4
    assert SurfaceFinish(replace(surfacing, allowance=0.0)).bite(BALL) is None
    again = CutAgain(None, surfacing, True)
    assert (again.bite(BALL), again.at_once(BALL)) == (0.4, 0.4)
    assert again.deeper_outside(BALL) == pytest.approx(1.0 - 0.4)
    deep = replace(again, surfacing=replace(surfacing, resurface_stepdown=1.3))
    assert (deep.bite(BALL), deep.at_once(BALL), deep.deeper_outside(BALL)) == (1.0, 1.0, 0.0)


def test_layers_of_the_second_cut_count_ridges_in():
    """The key's promise: ridges of the layer above are counted in. Only above ridges that stay there is no layer."""
    fine = Surfacing(scallop=0.05, what="top", part="board", resurface_stepdown=0.4)
    high, left = replace(fine, scallop=0.5), replace(fine, leave=1.2, leave_scallop=0.6)
    assert (Slot(SLOTS).over_ridges(FLAT, 0.6), SurfaceFinish(left).over_ridges(BALL, 0.6)) == (0.0, 0.6)
    for surfacing, first, over in ((fine, True, 0.0), (left, True, 0.0), (replace(high, skim=0.3), True, 0.0),
                                   (high, True, 0.5 - 0.8 * 0.4), (replace(high, skim=0.3), False, 0.5 - 0.8 * 0.4)):
        assert CutAgain(None, surfacing, True, first).over_ridges(BALL, 0.6) == pytest.approx(over)


@pytest.mark.parametrize(("area", "blend", "leave", "final", "near"), [
    ("board", 5.0, 0.0, True, 5.0), ("board", 1.0, 0.0, True, 3.0), ("inlay", 1.0, 0.0, True, 1.0),
    ("board", 1.0, 0.3, False, 1.0), ("board", 1.0, 0.3, True, 3.0),
])
def test_how_far_round_a_drawing_its_fill_is_looked_for(area, blend, leave, final, near):
    surfacing = Surfacing(scallop=0.05, what="top", part="board", leave=leave, resurface_area=area, blend=blend)
    assert CutAgain(None, surfacing, final).near == near


@pytest.mark.parametrize(("leave", "area", "final", "all_of_it", "round_it"), [
    (0.0, "board", True, False, False), (0.0, "inlay", True, False, True), (0.0, "inlay", False, False, True),
    (0.3, "board", True, True, False), (0.3, "board", False, False, True), (0.3, "inlay", True, True, False),
])
def test_where_a_second_cut_goes(leave, area, final, all_of_it, round_it):
    surfacing = Surfacing(scallop=0.05, what="top", part="board", leave=leave, resurface_area=area)
    cut = CutAgain(None, surfacing, final)
    assert (cut.takes_all, cut.goes_round) == (all_of_it, round_it)


@pytest.mark.parametrize(("name", "told"), [
    ("flat .5", "flat-0-5"), ("flat 0.5", "flat-0-5"), (",5", "0-5"), ("flat 5", "flat-5"), ("1/8 in.", "1-8-in"),
    ("R.5 ball", "r0-5-ball"), ("...", "cutter"),
])
def test_a_files_name_tells_half_a_millimetre_from_five(name, told):
    """04-pocket-1-flat-5.nc was cut with "flat .5"."""
    assert slug(name, "cutter") == told
