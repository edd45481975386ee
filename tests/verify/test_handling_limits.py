"""How a program is run, a little inside and a little outside each limit, in a program of a few lines."""

import re
from types import SimpleNamespace

import numpy as np
import pytest
import shapely

import pathgen
from pathgen.verify.findings import Tolerances
from pathgen.verify.given_programs import read_programs
from pathgen.verify.handling import _header, program_findings
from pathgen.verify.in_plan import nearest_at
from pathgen.verify.keep_outs import keep_out_findings, near_findings
from pathgen.verify.over_board import motion_over_board
from pathgen.verify.read import read_program
from pathgen.work.clamping import KeepOut

TOL = Tolerances()
FIRST = "G21 G90 G17 G94 G54"
LINES = [FIRST, "G0 Z20", "M3 S18000", "G4 P3", "G0 X10 Y0", "G1 Z6 F300", "X20 Y0 F1000", "G0 Z20",
         "M5", "M30"]


def found(change=None, *, shape="flat-end", spins=True, travel=None):
    """Codes and severities of what is found after lines were changed for others."""
    text = "\n".join((change or {}).get(line, line) for line in LINES) + "\n"
    step, clamping = one_step(shape=shape, spins=spins, travel=travel)
    program = read_program(text, name="a.nc")
    motion = motion_over_board(program, clamping, chord_tolerance=1e-4)
    return {f.code: f.severity for f in program_findings(program, motion, step, clamping, TOL)}


def one_step(*, shape="flat-end", spins=True, clearance=10.0, travel=None):
    """A step and its clamping, with one clamp: 10 to 15 mm across, 40 to 50 along and 12 mm high."""
    cutter = pathgen.Cutter(name="c", shape=shape, diameter=3.0, speed=18000, feed=1000.0, plunge=300.0, stepdown=1.0,
                            angle=60.0 if shape == "v" else None)
    clamp = KeepOut(x=(50.0, 40.0), y=(10.0, 15.0), height=12.0)
    clamping = SimpleNamespace(
        stock=SimpleNamespace(bounds=(0.0, -20.0, 100.0, 20.0), thickness=7.0), units="mm", safe_z=20.0, z_zero=0.0,
        feature=lambda kind: None, done=lambda step: False,
        setup=SimpleNamespace(keep_out=(clamp,)), inlays=(),
        machine=SimpleNamespace(spin_up=3.0, clearance=clearance, travel=travel, touch=0.05, touch_above=0.05),
        to_board=lambda points, step: points, on_bed=lambda points, step: points,
        to_machine=lambda points, step: points)
    step = SimpleNamespace(cutter=cutter, operation=SimpleNamespace(bottom=-0.3, spins=spins), file_name="a.nc",
                           order=1)
    clamping.steps = (step,)
    return step, clamping


OVER = 100.0 + 3.0 + TOL.overrun


def line_beside_clamp(y, z=6):
    return {"X20 Y0 F1000": f"X30 Y{y} F1000\nX60", "G1 Z6 F300": f"G1 Z{z} F300"}


@pytest.mark.parametrize(("inside", "outside", "code", "severity"), [
    ({"M3 S18000": "M3 S18179"}, {"M3 S18000": "M3 S18181"}, "spindle-speed", "forbid"),
    ({"M3 S18000": "M3 S17821"}, {"M3 S18000": "M3 S17819"}, "spindle-speed", "forbid"),
    ({}, {"M3 S18000": "S18000"}, "spindle-off", "forbid"),
    ({}, {"M3 S18000": "M3"}, "spindle-off", "forbid"),
    ({}, {"M3 S18000": "M4 S18000"}, "spindle-backwards", "forbid"),
    ({"G4 P3": "G4 P2.9995"}, {"G4 P3": "G4 P2.998"}, "no-spin-up", "warn"),
    ({"G4 P3": "G4 P60"}, {"G4 P3": "G4 P60.01"}, "long-wait", "note"),
    # and so each time that it starts again
    *(({"X20 Y0 F1000": f"{stop}M3\nG4 P3\nX20"}, {"X20 Y0 F1000": f"{stop}M3\nX20"}, "no-spin-up", "warn")
      for stop in ("Z8\nM5\nM0\n", "Z8\nM5\nG4 P9\n")),
    ({"M5": "(on)"}, {"M5": "(on)", "M30": "(more)"}, "spindle-left-on", "forbid"),
    *(({FIRST: f"{word} G54"}, {FIRST: f"{word} G54", **more}, "mode-not-stated", "forbid") for word, more in (
        ("G21 G90 G94", {"X20 Y0 F1000": "G2 X20 Y0 R9"}), ("G21 G90 G94", {"X20 Y0 F1000": "G3 X20 Y0 R9\nG17"}))),
    *(({}, {FIRST: FIRST.replace(word, "")}, "mode-not-stated", "forbid") for word in ("G90 ", "G94 ")),
    ({}, {"M30": "(more)"}, "no-end", "forbid"),
    *(({"M5": f"{stop}\nM5"}, {"X20 Y0 F1000": f"X20 F1000\n{stop}\nX30"}, "waits-in-the-cut", "warn")
      for stop in ("M0", "G4 P0.5")),
    ({"X20 Y0 F1000": "X20 F1000\nG4 P0\nX30"}, {"G1 Z6 F300": "G1 Z6.99 F300\nG4 P1"}, "waits-in-the-cut", "warn"),
    ({"G1 Z6 F300": "G1 Z7 F300\nM0\nZ6"}, {"G1 Z6 F300": "G1 Z6 F300\nM0"}, "waits-in-the-cut", "warn"),
    ({"M3 S18000": "M9 M3 S18000"}, {"M3 S18000": "M8 M3 S18000"}, "coolant-on", "warn"),
    ({}, {"G21 G90 G17 G94 G54": "G90 G17 G94 G54 G20", "G0 Z20": "G0 Z0.79", "G0 X10 Y0": "G0 X0.4 Y0"},
     "other-units", "forbid"),
    ({"M5": "(cutter c: flat-end,)\n(.. 3 mm, 2 flutes)\nM5"}, {"M5": "(cutter c: flat-end, 2 mm, 2 flutes)\nM5"},
     "other-cutter", "forbid"),
    ({}, {"M5": "(cutter c: ball-end,)\n(.. 3 mm, 2 flutes)\nM5"}, "other-cutter", "forbid"),
    ({}, {"G21 G90 G17 G94 G54": "G21 G90 G17 G94 G55"}, "other-work-offset", "forbid"),
    ({"X20 Y0 F1000": "X20 F1002.01"}, {"X20 Y0 F1000": "X20 F1002.03"}, "feed-too-fast", "forbid"),
    ({"X20 Y0 F1000": "X20 F60"}, {"X20 Y0 F1000": "X20 F59.9"}, "feed-too-slow", "warn"),
    ({"G1 Z6 F300": "G1 Z6 F300.62"}, {"G1 Z6 F300": "G1 Z6 F300.7"}, "plunge-too-fast", "forbid"),
    # in air over all that stands there, of which the clamp is the highest, as fast as the cutter goes
    ({"G1 Z6 F300": "G1 Z12.1 F999\nZ6 F300"}, {"G1 Z6 F300": "G1 Z11.9 F999\nZ6 F300"}, "plunge-too-fast", "forbid"),
    # down by 1 in 10: sqrt(101) times as fast along the slope (D)
    ({"X20 Y0 F1000": "X40 Z3 F1002"}, {"X20 Y0 F1000": "X20 Z2 F820"}, "plunge-too-fast", "forbid"),
    ({"G1 Z6 F300": "G1 Z6 F300"}, {"G1 Z6 F300": "G1 Z6", "X20 Y0 F1000": "X20"}, "no-feed", "forbid"),
    ({"G0 X10 Y0": f"G0 X{OVER - 0.01:.2f} Y0"}, {"G0 X10 Y0": f"G0 X{OVER + 0.01:.2f} Y0"}, "off-the-stock", "forbid"),
    *(({"G0 X10 Y0": f"G0 X{x[0]:.2f} Y{y[0]:.2f}"}, {"G0 X10 Y0": f"G0 X{x[1]:.2f} Y{y[1]:.2f}"}, "off-the-stock",
       "forbid") for x, y in (((100.01 - OVER, 99.99 - OVER), (0, 0)), ((9, 9), (OVER - 80.01, OVER - 79.99)),
                              ((9, 9), (80.01 - OVER, 79.99 - OVER)))),
    ({"G1 Z6 F300": "G1 Z-0.319 F300"}, {"G1 Z6 F300": "G1 Z-0.321 F300"}, "below-the-bed", "forbid"),
    # a clamp 10 to 15 mm across, 40 to 50 along and 12 mm high; the cutter's radius is 1.5, and 0.05 mm is a touch
    (line_beside_clamp(8.45), line_beside_clamp(8.46), "hits-a-keep-out", "forbid"),
    (line_beside_clamp(16.55), line_beside_clamp(16.54), "hits-a-keep-out", "forbid"),
    (line_beside_clamp(12.0, 12.05), line_beside_clamp(12.0, 12.04), "hits-a-keep-out", "forbid"),
    ({"G0 X10 Y0": "G0 X38.45 Y12"}, {"G0 X10 Y0": "G0 X38.46 Y12"}, "hits-a-keep-out", "forbid"),
    ({"G0 X10 Y0": "G0 X51.55 Y12", "X20 Y0 F1000": "X60 F1000"},
     {"G0 X10 Y0": "G0 X51.54 Y12", "X20 Y0 F1000": "X60 F1000"}, "hits-a-keep-out", "forbid"),
])
def test_inside_and_outside(inside, outside, code, severity):
    if code == "hits-a-keep-out" and "G0 X10 Y0" in inside and "X20 Y0 F1000" not in inside:
        inside, outside = ({**one, "X20 Y0 F1000": "X20 F1000"} for one in (inside, outside))
    elif "G0 X10 Y0" in inside:
        inside, outside = ({"X20 Y0 F1000": "Z5 F300", **one} for one in (inside, outside))
    assert code not in found(inside)
    assert found(outside)[code] == severity


@pytest.mark.parametrize(("park", "travel", "severity"), [
    ("G0 X0 Y180", (600.0, 400.0, 80.0), "warn"), ("G0 X0 Y180", None, "forbid"),
    ("G0 X0 Y180\nZ12\nX9", (600.0, 400.0, 80.0), "forbid"), ("G1 X0 Y180 F900", (600.0, 400.0, 80.0), "forbid"),
    ("G0 Z12.5\nX0 Y180", (600.0, 400.0, 80.0), "warn"), ("G0 Z12.4\nX0 Y180", (600.0, 400.0, 80.0), "forbid"),
    ("G0 X0 Y20", None, None),
])
def test_a_rapid_to_a_place_to_park_is_no_fault_where_the_travel_is_known(park, travel, severity):
    """Half a millimetre over the clamp, 12 mm high, or higher; it was refused, as a wrong zero is."""
    assert found({"M5": f"M5\n{park}"}, travel=travel).get("off-the-stock") == severity


def passing(z, *, x=45, shape="flat-end", clearance=10.0):
    """What is said of the clamp where the cutter passes it, from one side to the other, at a height."""
    text = "\n".join(LINES).replace("G0 X10 Y0", f"G0 X{x} Y5\nZ{z}\nY18\nZ20\nX10 Y0")
    _, clamping = one_step(shape=shape, clearance=clearance)
    motion = motion_over_board(read_program(text, name="a.nc"), clamping, chord_tolerance=1e-4)
    return [(f.where, f.code, f.severity, f.got, f.allowed, f.remedy) for f in near_findings({1: motion}, clamping)]


def test_the_place_is_where_the_cutter_is_nearest_not_where_its_move_ends():
    """30 to 60 mm along in one move, past a clamp that stands at 40 to 50; and over it, at 10 to 15 across."""
    _, clamping = one_step()
    for y, code in ((8.46, "hits-a-keep-out"), (12.0, "hits-a-keep-out"), (8.0, "near-a-keep-out")):
        text = "\n".join(line_beside_clamp(y).get(line, line) for line in LINES).replace("X10 Y0", f"X10 Y{y}")
        motion = motion_over_board(read_program(text, name="a.nc"), clamping, chord_tolerance=1e-4)
        (told,) = [f for f in (*keep_out_findings(motion, clamping.steps[0], clamping), *near_findings(
            {1: motion}, clamping)) if f.code == code]
        assert 40.0 <= float(re.search(r"([\d.]+) mm along", told.where)[1]) <= 50.0
        assert told.where.endswith(f", {y:g} mm across")
    (told,) = passing(13.9)
    assert 10.0 <= float(re.search(r"([\d.]+) mm across", told[0])[1]) <= 15.0


def test_where_a_move_is_nearest():
    """By hand: it enters a square at 4, 0 and leaves it at 6; past a corner; in place; from nowhere known."""
    square, at = shapely.box(4.0, -1.0, 6.0, 1.0), np.array
    assert nearest_at(at([0.0, 0.0, 5.0]), at([10.0, 0.0, 5.0]), square)[0] == pytest.approx(5.0, abs=1.0)
    assert nearest_at(at([10.0, 4.0, 5.0]), at([0.0, 4.0, 5.0]), shapely.Point(3.0, 0.0)) == pytest.approx((3.0, 4.0))
    assert nearest_at(at([1.0, 2.0, 5.0]), at([1.0, 2.0, 3.0]), square) == (1.0, 2.0)
    assert nearest_at(at([np.nan, 2.0, 5.0]), at([9.0, 2.0, 3.0]), square) == (9.0, 2.0)
    # seen in a frame that is turned a quarter and moved
    seen = at([[100.0, 0.0], [100.0, 10.0]])
    there = nearest_at(at([0.0, 0.0, 5.0]), at([10.0, 0.0, 5.0]), shapely.Point(99.0, 7.0), seen)
    assert there == pytest.approx((7.0, 0.0))


def test_a_rapid_a_hair_above_a_clamp_is_told():
    """It was silent, as near beside the clamp was not; a job that states less clearance keeps what it states."""
    assert passing(14.0) == passing(12.6, clearance=0.6) == []
    (told,) = passing(13.9)
    assert told[-1].startswith("take a clamp lower by 0.10 mm, or ")
    assert told[1:-1] == ("near-a-keep-out", "warn", "the cutter passes 1.90 mm above keep_out 1",
                    "2 mm or more: a clamp is measured, and stands, no better")
    assert passing(12.3, clearance=0.5)[0][3:5] == (
        "the cutter passes 0.30 mm above keep_out 1", "0.5 mm or more: a clamp is measured, and stands, no better")


def test_a_ball_whose_flank_passes_over_a_clamp_is_told_how_near_it_is():
    """1.2 mm beside it and 0.5 below its top: 1.5 - sqrt(1.5^2 - 1.2^2) = 0.6 mm above the tip it is 1.2 mm wide."""
    assert passing(11.5, x=51.2, shape="ball-end")[-1][3] == "the cutter passes 0.10 mm above keep_out 1"
    (told,) = passing(11.5, x=52.5, shape="ball-end")
    assert told[3] == "the cutter passes keep_out 1 at 1.00 mm"
    assert told[-1].startswith("let the clamp end 1.00 mm further away, or ")


def test_as_it_is_nothing_is_found_and_of_one_that_cuts_nothing_that_alone():
    assert found() == {}
    assert found({"G1 Z6 F300": "", "X20 Y0 F1000": ""}) == {"cuts-nothing": "forbid"}


def test_a_round_end_passes_over_a_clamp_where_a_flat_one_does_not():
    """1.2 mm beside it and 0.55 below its top: the ball's flank stands 1.5 - sqrt(1.5^2 - 1.2^2) = 0.6 over its tip."""
    low, high = line_beside_clamp(8.8, 11.44), line_beside_clamp(8.8, 11.45)
    assert "hits-a-keep-out" in found(low, shape="ball-end")
    assert "hits-a-keep-out" not in found(high, shape="ball-end")
    assert "hits-a-keep-out" in found(high)


def test_units_that_change_within_a_program_are_told_with_their_line():
    clamping = SimpleNamespace(units="mm")
    program = read_program("G21 G90 G17 G94 G54\nG0 Z20\nG20\nG0 Z1\nG21\nG0 Z20\nM30\n", name="a.nc")
    step = SimpleNamespace(cutter=SimpleNamespace(shape="v", diameter=3.0, angle=60.0))
    told = next(f for f in _header(program, step, clamping) if f.code == "other-units")
    assert told.where == "a.nc, line 3"


def test_a_head_that_has_a_v_of_another_angle_fitted_is_refused():
    """Of as wide a one it was silent."""
    said = {"M5": "(cutter c: v, 3 mm, 90 degrees, 2 flutes)\nM5"}
    assert found(said, shape="v")["other-cutter"] == "forbid"
    assert "other-cutter" not in found({"M5": said["M5"].replace("90", "60")}, shape="v")


def test_a_spindle_that_is_started_without_a_speed_is_told_so():
    """Its maker was told to start it first, which M3 did."""
    step, clamping = one_step()
    program = read_program("\n".join(LINES).replace("M3 S18000", "M3") + "\n", name="a.nc")
    motion = motion_over_board(program, clamping, chord_tolerance=1e-4)
    (told,) = [f for f in program_findings(program, motion, step, clamping, TOL) if f.code == "spindle-off"]
    assert "S is 0 or missing" in told.got
    assert told.remedy == "write S18000 beside M3"


def test_over_the_marks_the_spindle_stands_still():
    still = {"M3 S18000": "", "G4 P3": ""}
    assert found(spins=False)["spindle-on"] == "forbid"
    assert found(still, spins=False) == {}
    assert found(still)["spindle-off"] == "forbid"


def test_what_is_not_followed_is_told_with_what_is():
    """It called G4 P read alike by all controllers; and text after the end was told with a list of words."""
    words = []
    clamping = SimpleNamespace(steps=[SimpleNamespace(file_name="a.nc", order=1)])
    read_programs(clamping, {"a.nc": "G21 G90\nG28\nM30\n"}, words)
    (told,) = words
    assert "only the machine knows" in told.got
    assert "G0 to G3" in told.allowed
    assert "alike" not in told.allowed
    assert "RS274" not in str(told)
