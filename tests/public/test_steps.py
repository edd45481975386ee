"""Steps taken one by one: the programs that they make, read back and measured; values that show themselves."""

import json
import math
import re
from dataclasses import is_dataclass, replace
from pathlib import Path

import numpy as np
import pytest
import shapely

import pathgen
from pathgen.app.cli import main
from tests.public import sample

RUN = {"speed": 18000.0, "feed": 1200.0, "plunge": 300.0, "stepdown": 2.0}
BALL = pathgen.Cutter(name="ball 6", shape="ball-end", diameter=6.0, **RUN)
FLAT = pathgen.Cutter(name="flat 4", shape="flat-end", diameter=4.0, **RUN)
TOP = pathgen.radiused(thickness=6.0, start=254.0, end=406.4, length=470.0)
BOARD = shapely.box(0, -15, 40, 15)
BLANK = pathgen.Blank(x=(-5.0, 45.0), y=(-20.0, 20.0), thickness=8.0)
DRAWING = Path(__file__).parents[2] / "examples" / "fern-and-moth.svg"


@pytest.fixture(scope="module")
def finished():
    return pathgen.finish(BOARD, TOP, BALL, ridge=0.01, stock=8.0)


def test_the_sample_of_every_name_runs():
    texts = sample.one_step_at_a_time(DRAWING)
    assert len(texts) == 7
    for text in texts.values():
        assert pathgen.read_program(text).ended
    assert len(sample.refused()) == 4
    passes = "".join(f"Y{0.5 * k}\nX{60 * (k % 2)}\n" for k in range(1, 9))
    text = f"G21 G90 G17 G94\nG0 Z20\nM3 S9000\nG0 X60 Y0\nG1 Z6 F500\nX0 F900\n{passes}G0 Z20\nM5\nM30\n"
    ridge, low = sample.any_program(text, BALL)
    assert ridge == pytest.approx(3 - math.sqrt(9 - 0.0625), abs=2e-6)  # r - sqrt(r^2 - (s / 2)^2), plane geometry
    assert 0.0 <= low <= ridge + 1e-6  # at points half a millimetre apart, which lie on the ridges


def test_a_finish_leaves_the_ridges_asked_for_and_nothing_low(finished):
    text = pathgen.program(finished)
    found = pathgen.check_program(text, cutter=BALL, top=TOP, blank=BLANK, limit=0.01)
    assert found.passed
    assert found.findings == ()
    assert 0.009 < found.ridges.highest <= 0.0102
    assert found.against.low > -0.001
    (over,) = pathgen.check_program(text, cutter=BALL, top=TOP, blank=BLANK, limit=0.008).findings
    assert over.code == "ridge-too-high"
    rows = dict(found.rows)
    assert "um" not in rows["highest ridge"]
    assert found.data["ridges"]["passes"] == len(finished.passes.y)  # the wide ones above them do not count


def test_a_round_top_is_finished_from_the_raw_blank():
    """Over its crest the layers through the stock at its edges would be higher up than the cutter goes across."""
    top, stock = pathgen.radiused(thickness=18.0, start=30.0), 20.0
    cut = pathgen.finish(shapely.box(0, -19, 20, 19), top, BALL, ridge=0.05, stock=stock)
    assert cut.points[:, 2].max() == cut.points[0, 2] == stock + 10.0
    assert cut.points[cut.kinds != pathgen.Move.RAPID, 2].max() <= stock + 1.0
    blank = pathgen.Blank(x=(-3.0, 23.0), y=(-25.0, 25.0), thickness=stock)
    found = pathgen.check_program(pathgen.program(cut), cutter=BALL, top=top, blank=blank, limit=0.05)
    assert (found.findings, found.ridges.highest) == ((), pytest.approx(0.05, abs=2e-4))


def test_what_is_told_to_scripts_is_what_was_measured(finished):
    found = pathgen.check_program(pathgen.program(finished), cutter=BALL, top=TOP, blank=BLANK, limit=0.008)
    told, took = json.loads(json.dumps(found.data)), found.field.took[-1]
    assert (told["units"], told["passed"], told["volume"], told["moves"]) == (
        "mm", False, round(took.volume, 6), len(took.line))
    assert [told["deepest_bite"]] == [round(mm, 6) for name, mm, _ in took.deepest if name == "deepest bite"]
    assert 1.5 < told["deepest_bite"] <= BALL.stepdown
    for key, of in (("ridges", found.ridges), ("surface", found.against)):
        assert {name: pytest.approx(getattr(of, name), abs=6e-6) for name in told[key]} == told[key]
    assert told["surface"]["low"] != found.against.low  # which has more places than anybody measures
    assert set(told["surface"]) == {"low", "low_at", "high", "high_at"}
    assert [one["code"] for one in told["findings"]] == [one.code for one in found.findings] == ["ridge-too-high"]
    air = pathgen.check_program("G21 G90 G17 G94\nG0 Z20\nM3 S9000\nG0 X5 Y0\nG1 Z19 F300\nX30\nM5\nM30\n", cutter=BALL,
                                top=TOP, blank=BLANK)
    assert (air.data["ridges"], air.data["surface"], air.ridges, air.against) == (None, None, None, None)
    assert (air.data["volume"], air.data["deepest_bite"]) == (0.0, 0.0)


def test_a_shaving_along_a_wall_is_no_bite_and_a_wall_missed_by_rounding_is_none_left():
    """Two layers of 2 mm, then a lap at full depth 0.2 mm further out: a shaving 4 mm high. On a slanting groove's wall
    points of the grid lie at the rim: what layers leave of them is told neither as a bite nor as left."""
    cut = "".join(f"G0 Z12\nG0 X5 Y5\nG1 Z{z} F300\nX45 F900\nY{y}\nX5\nY5\n" for z, y in ((6, 7), (4, 7), (4, 7.2)))
    text = f"G21 G90 G17 G94\nG0 Z12\nM3 S9000\n{cut}G0 Z12\nM5\nM30\n"
    tool = pathgen.Cutter(name="flat 3", shape="flat-end", diameter=3.0, speed=9000, feed=900.0, plunge=300.0,
                          stepdown=2.0)
    found = pathgen.check_program(text, cutter=tool, top=pathgen.flat(8.0),
                                  blank=pathgen.Blank(x=(0, 50), y=(0, 14), thickness=8.0))
    assert [(name, round(mm, 3)) for name, mm, _ in found.field.took[0].deepest] == [
        ("deepest bite", 2.0), ("tallest shaving", 4.0)]
    assert found.passed
    slanting = "".join(f"G0 Z12\nG0 X5.05 Y5.05\nG1 Z{z} F300\nX45.05 Y35.05 Z{z - dip} F900\n"
                       for z, dip in ((6, 0), (4, 0), (2, 0.0001)))  # 3-4-5: points of the grid at the rim exactly
    found = pathgen.check_program(f"G21 G90 G17 G94\nG0 Z12\nM3 S9000\n{slanting}G0 Z12\nM5\nM30\n", cutter=tool,
                                  top=pathgen.flat(8.0), blank=pathgen.Blank(x=(0, 50), y=(0, 40), thickness=8.0))
    assert found.against.low == pytest.approx(-6.0, abs=1e-3)
    assert found.against.high == pytest.approx(-6.0, abs=1e-3)


def test_highest_left_of_passes_side_by_side_is_not_the_flank_of_the_last(finished):
    found = pathgen.check_program(pathgen.program(finished), cutter=BALL, top=TOP, blank=BLANK)
    assert found.against.map[np.isfinite(found.against.map)].max() > 0.1
    assert found.against.high == pytest.approx(found.ridges.highest, abs=1e-3)


def test_tabs_hold_where_the_blank_is_wide_enough():
    blank = pathgen.Blank(x=(-10.0, 50.0), y=(-21.0, 21.0), thickness=6.0)  # 6 mm beside each edge: 4 and 2
    cut = pathgen.outline(BOARD, FLAT, stock=6.0, blank=blank.bounds, tabs=[(20.0, 15.0), (0.0, 0.0)], bottom=-0.2)
    field = pathgen.simulate(blank, pathgen.program(cut), FLAT, resolution=0.2)
    left = field.top[np.ix_(np.abs(field.y - 17.0) < 0.15, np.abs(field.x - 20.0) < 2.9)]
    assert left.min() == pytest.approx(1.5, abs=1e-5)
    assert field.top[np.ix_(np.abs(field.y + 17.0) < 0.15, np.abs(field.x - 20.0) < 2.9)].max() < 0
    assert pathgen.outline(BOARD, FLAT, stock=6.0, tabs=0).points[:, 2].min() == 0.0


@pytest.mark.parametrize("off", [2.0, 0.5, 3.5])
def test_a_tab_is_as_wide_as_asked_at_its_narrowest(off):
    """D: a cutter of radius r that stops on both sides leaves w + 2 (r - sqrt(r^2 - (r - off)^2)) `off` the edge."""
    blank = pathgen.Blank(x=(-10.0, 50.0), y=(-23.0, 23.0), thickness=6.0)
    cut = pathgen.outline(BOARD, FLAT, stock=6.0, blank=blank.bounds, tabs=[(20.0, 15.0), (0.0, 0.0)], bottom=-0.2,
                          finish=0.0)
    field = pathgen.simulate(blank, pathgen.program(cut), FLAT, resolution=0.1)
    row = field.top[np.argmin(np.abs(field.y - 15.0 - off)), np.abs(field.x - 20.0) < 9.0]
    full = 0.1 * (row > 1.5 - 1e-3).sum()
    assert full == pytest.approx(6.0 + 2 * (2.0 - math.sqrt(4.0 - (2.0 - off) ** 2)), abs=0.25)


def test_an_outline_tells_what_its_cutter_leaves():
    """A notch 2 mm wide was not cut with 4 mm, and nothing said so. In the corner stays (1 - pi / 4) r^2 (geometry)."""
    notched = BOARD.difference(shapely.box(10, 0, 12, 20))
    cut = pathgen.outline(notched, FLAT, stock=6.0, tabs=0)
    field = pathgen.simulate(BLANK, pathgen.program(cut), FLAT, resolution=0.1)
    stands = (field.top > 0) & field.grid.covered(shapely.box(10, 0, 12, 15))
    assert stands.sum() * 0.01 == pytest.approx(cut.left.area, abs=0.1)
    assert cut.left.area == pytest.approx(2.0 * 15.0, abs=0.1)
    assert "most at 11 mm along" in cut.warnings[0]
    corner = pathgen.outline(shapely.union(BOARD, shapely.box(10, 0, 20, 25)), FLAT, stock=6.0, tabs=0)
    assert corner.left.area == pytest.approx(2 * (1 - math.pi / 4) * FLAT.radius**2, rel=0.01)
    round_end = shapely.Point(0, 0).buffer(10, quad_segs=64)
    for convex in (BOARD, round_end):
        plain = pathgen.outline(convex, FLAT, stock=6.0, tabs=0)
        assert (plain.left.is_empty, plain.warnings) == (True, ())


def test_a_fill_is_cut_level_all_over_or_refused():
    """From the rim of the first cut on it was left standing, without a word; up to that all of it is cut."""
    over = pathgen.second_cut(pathgen.finish(BOARD, pathgen.flat(6.0), BALL, ridge=0.02), proud=1.0, stepdown=0.5,
                              over=shapely.box(30, -5, 40.05, 5))
    assert over.points[:, 0].max() > 40.05


BLIND = replace(FLAT, plunges=False)
SHORT = replace(FLAT, flute_length=1.0)
DOWN = "G21 G90 G17 G94\nG0 Z20\nM3 S{speed}\nG0 X10 Y0\nG1 Z{high} F{plunge}\nX30 Z{low} F{feed}\nG0 Z20\nM5\nM30\n"


@pytest.mark.parametrize(("cutter", "changes", "found"), [
    (BLIND, {}, [("plunge-into-wood", "forbid", "1.20 mm straight down")]),
    (BLIND, {"high": 8.0}, []),  # a ramp of 3.4 degrees
    (BLIND, {"high": 7.7}, [("plunge-into-wood", "warn", "0.30 mm straight down")]),
    (BLIND, {"high": 7.85}, []),
    (FLAT, {}, []),
    (FLAT, {"plunge": 303}, [("plunge-too-fast", "warn", "down at 303")]),
    (FLAT, {"feed": 1210}, [("feed-too-fast", "warn", "a feed of 1210")]),
    (FLAT, {"speed": 18200}, [("spindle-speed", "warn", "S18200")]),
    (FLAT, {"speed": 12000, "feed": 900, "plunge": 200}, []),
    (FLAT, {"plunge": 900, "high": 8.0}, []),  # down through air
    (FLAT, {"feed": 9000, "high": 9.0, "low": 8.5}, []),  # nothing is cut
    (SHORT, {}, [("shank-rubs", "forbid", "reaches 0.20 mm above its flutes")]),
    (replace(FLAT, flute_length=1.2), {}, []),
])
def test_what_the_cutter_cannot_do_is_told(cutter, changes, found):
    """Nothing of it was, whatever the cutter that was given."""
    text = DOWN.format(**{"high": 6.8, "low": 6.8, "speed": 18000, "feed": 1200, "plunge": 300} | changes)
    checked = pathgen.check_program(text, cutter=cutter, top=pathgen.flat(6.0), blank=BLANK)
    told = [f for f in checked.findings if f.code in {
        "plunge-into-wood", "plunge-too-fast", "feed-too-fast", "spindle-speed", "shank-rubs"}]
    assert [(f.code, f.severity) for f in told] == [one[:2] for one in found]
    assert all(words in f.got for f, (*_, words) in zip(told, found, strict=True))


def test_feeds_that_the_command_line_does_not_know_are_not_judged(tmp_path, capsys):
    (tmp_path / "a.nc").write_text(DOWN.format(high=7.0, low=7.0, speed=60000, feed=20000, plunge=9000))
    assert main(["check", str(tmp_path / "a.nc"), "--cutter", "flat-end", "4", "--blank", "50", "40", "8", "--corner",
                 "-5", "-20", "--thickness", "7"]) == 0
    said = capsys.readouterr().out
    assert "Passed" in said
    assert "mm per minute" not in said


def test_a_machine_that_is_given_is_kept_to(finished):
    machine = pathgen.Machine(rapid=1200.0, spindle=(5000, 18000), travel=(60, 60, 80))
    assert machine.spindle == (5000.0, 18000.0)
    assert pathgen.program(finished, machine=machine) == pathgen.program(finished)
    # the zero must be within reach too
    with pytest.raises(pathgen.ProgramError, match=r"in X, from 0\.00 to"):
        pathgen.program(finished, machine=machine, zero=(-30.0, 0.0, 0.0))


def test_a_program_is_read_from_its_file(tmp_path, finished):
    path = tmp_path / "first.nc"
    path.write_text(pathgen.program(finished))
    there, said = pathgen.read_program(path), pathgen.read_program(path.read_text())
    assert (there.name, len(there)) == ("first.nc", len(said))


def test_slots_that_end_are_as_deep_as_help_says():
    """Before an end toward which the surface falls a flat end rests on its uphill side: what it falls over the cutter's
    width is missing there (plane geometry, 22 mm across a radius of 254)."""
    top, thin = pathgen.radiused(thickness=6.0, start=254.0), replace(FLAT, diameter=0.5, stepdown=0.5)
    cut = pathgen.slots([[[5, -22], [5, 22]]], top, thin, width=0.5, depth=2.0, through=False)
    blank = pathgen.Blank(x=(0, 10), y=(-24, 24), thickness=6.0, top=top)
    field = pathgen.simulate(blank, pathgen.program(cut), thin, resolution=0.02)
    deep = (field.before - field.top)[:, np.argmin(np.abs(field.x - 5.0))]
    ends, middle = np.abs(np.abs(field.y) - 21.9) < 0.011, np.abs(field.y) < 21.4
    missing = top.height(5.0, 21.5) - top.height(5.0, 22.0)
    assert 2.0 - deep[ends].min() == pytest.approx(missing, abs=0.01)
    assert 0.035 < missing < 0.045  # 0.04
    assert deep[middle].min() > 1.995
    assert deep.max() < 2.001


def test_a_flat_end_finishes_a_level_top_as_help_says():
    cut = pathgen.finish(BOARD, pathgen.flat(6.0), FLAT, ridge=0.01)
    assert cut.passes.stepover <= FLAT.stepover * FLAT.diameter
    again = pathgen.second_cut(cut, proud=0.5, stepdown=0.5)
    blank = pathgen.Blank(x=(0.0, 40.0), y=(-15.0, 15.0), thickness=6.5)
    field = pathgen.simulate(blank, pathgen.program(again), FLAT, resolution=0.2)
    assert (field.top.min(), field.top.max()) == (6.0, 6.0)
    with pytest.raises(pathgen.CutterError, match="cannot finish"):
        pathgen.finish(BOARD, TOP, FLAT, ridge=0.01)


@pytest.mark.in_every_run(0)
def test_a_job_and_one_step_alone_cut_the_same(tmp_path):
    """Each step of a job is what its function makes of the same values.

    Slots by pecks: a job knows of the wood that stands beside the board, and lets ramps down through it.
    """
    text = (DRAWING.with_name("boards") / "fanned.toml").read_text()
    (tmp_path / "fanned.toml").write_text(text.replace('entry = "ramp"', 'entry = "peck"'))
    result = pathgen.build(pathgen.load_job(tmp_path / "fanned.toml"), resolution=0.4)
    paths = {made.operation: made.toolpath for made in result.programs}
    clamping = result.plan.clamping
    board, stock, clear = clamping.board, clamping.stock.thickness, clamping.machine.clearance
    tools = {step.operation.name: step.cutter for step in clamping.steps}
    feature = {step.operation.name: step.operation.feature for step in clamping.steps}
    ball, surfacing, slots = tools["surface-finish"], feature["surface-finish"], feature["slots"]
    finish = pathgen.finish(board.outline, board.surface, ball, ridge=surfacing.scallop, allowance=surfacing.allowance,
                            clear=clear)
    alone = {
        "surface-rough": pathgen.rough(board.outline, board.surface, tools["surface-rough"], stock=stock, finish=ball,
                                       ridge=surfacing.scallop, allowance=surfacing.allowance, clear=clear),
        "surface-finish": finish,
        "slots": pathgen.slots(slots.lines, board.surface, tools["slots"], width=slots.width, depth=slots.depth,
                               entry=slots.entry, clear=clear, after=finish),
    }
    for name, path in alone.items():
        cuts = path.kinds != pathgen.Move.RAPID
        there = paths[name].kinds != pathgen.Move.RAPID
        np.testing.assert_array_equal(path.points[cuts], paths[name].points[there], err_msg=name)
        np.testing.assert_array_equal(path.kinds[cuts], paths[name].kinds[there], err_msg=name)


def test_inches_and_another_zero_measure_the_same(finished):
    plain = pathgen.ridges(pathgen.program(finished), cutter=BALL, top=TOP)
    moved = pathgen.program(finished, units="in", zero=(-5.0, 20.0, 8.0))
    there = pathgen.ridges(moved, cutter=BALL, top=TOP, zero=(-5.0, 20.0, 8.0))
    assert there.highest == pytest.approx(plain.highest, abs=2e-4)  # five places of an inch
    assert pathgen.ridges(moved, cutter=BALL, top=TOP, area=shapely.box(5, -10, 35, 10)).low < -1.0


@pytest.mark.parametrize(("change", "code"), [
    (lambda lines: [line.replace("Z18.5", "Z8.5") for line in lines], None),
    (lambda lines: ["G0 Z4", "X30 Y0"] + lines[-3:], "rapid-through-material"),
    (lambda lines: ["G1 Z2.5 F300", "X30 F900", "G0 Z20"] + lines[-2:], "cut-too-deep"),
    (lambda lines: ["G1 Z5.9 F300", "X30 F900", "G0 Z20"] + lines[-2:], "surface-low"),
    (lambda lines: ["M5", *lines], "spindle-off"),
    (lambda lines: ["G1 Z6.5", "X30", *lines], "no-feed"),
    (lambda lines: ["M5", "M4 S9000", *lines], "spindle-backwards"),
    (lambda lines: lines[:-2], "spindle-left-on"),  # M30 would stop it (NISTIR 6556, 3.6.1)
    (lambda lines: [*lines[:3], "M5", "G1 Z9 F300", "X10", *lines[2:]], None),  # in the air it need not turn
])
def test_faults_by_hand_are_found(change, code):
    lines = ["G1 Z6.5 F300", "X30 F900", "G0 Z20", "M5", "M30"]
    text = "\n".join(["G21 G90 G17 G94", "G0 Z20", "M3 S9000", "X5 Y0", *change(lines), ""])
    found = pathgen.check_program(text, cutter=BALL, top=pathgen.flat(6.0), blank=BLANK,
                                  limit=0.01 if code == "surface-low" else None)
    assert (code in [f.code for f in found.findings]) if code else found.findings == ()
    assert found.passed == (code is None)


def test_of_a_cut_that_became_a_rapid_its_first_line_in_the_work_is_named():
    """G0 holds for all lines after it; the deepest of them is far from the fault."""
    text = "G21 G90 G17 G94\nG0 Z20\nM3 S9000\nX5 Y0\nG0 Z6.5\nX20\nX25 Z5.5\nX30\nZ20\nM5\nM30\n"
    (found,) = [one for one in pathgen.check_program(text, cutter=BALL, top=pathgen.flat(5.0), blank=BLANK).findings
                if one.code == "rapid-through-material"]
    assert ", line 5," in found.where
    assert "a rapid 1.499 mm into the work, the first of 4 in this program" in found.got
    assert "the deepest, in line 7, 2.499 mm" in found.got


@pytest.mark.parametrize(("z", "high"), [(6.5, 0.94), (6.0, 0.9)])
def test_one_pass_finishes_no_surface(z, high):
    """It was "Passed", with no ridges measured and most of the wood left standing over the surface."""
    text = f"G21 G90 G17 G94\nG0 Z20\nM3 S9000\nG0 X20 Y0\nG1 Z{z} F300\nX40 F1200\nG0 Z20\nM5\nM30\n"
    blank = pathgen.Blank(x=(0.0, 60.0), y=(-15.0, 15.0), thickness=7.0)
    (one,) = pathgen.check_program(text, cutter=BALL, top=pathgen.flat(6.0), blank=blank, limit=0.01).findings
    assert (one.code, one.severity) == ("surface-high", "forbid")
    assert f"no passes side by side, and what was cut stands up to {high}" in one.got
    assert pathgen.check_program(text, cutter=BALL, top=pathgen.flat(6.0), blank=blank).passed  # not said to finish
    # a flat end's floor is what it should be: no wood stands within it
    level = pathgen.check_program(text, cutter=FLAT, top=pathgen.flat(z), blank=blank, limit=0.01)
    assert not level.findings


@pytest.mark.parametrize(("apart", "ridge"), [(3.0, 3.0 - math.sqrt(9.0 - 2.25)), (5.9, 1.0), (8.0, 1.0)])
def test_no_ridge_is_higher_than_what_stood_there(apart, ridge):
    """Plane geometry, r - sqrt(r^2 - (s / 2)^2), but of 1 mm of wood no more: 2.45 and 4.00 mm were told."""
    passes = "".join(f"Y{apart * k}\nX{60 * (k % 2)}\n" for k in range(1, 4))
    text = f"G21 G90 G17 G94\nG0 Z20\nM3 S18000\nG0 X60 Y0\nG1 Z6 F500\nX0 F1200\n{passes}G0 Z20\nM5\nM30\n"
    found = pathgen.check_program(text, cutter=BALL, top=pathgen.flat(6.0), limit=0.01,
                                  blank=pathgen.Blank(x=(-5, 65), y=(-5, 30), thickness=7.0))
    assert found.ridges.highest == pytest.approx(ridge, abs=2e-4)
    assert found.ridges.high <= 1.0


def test_ridges_over_what_was_roughed_are_no_higher_than_that():
    """A flat end leaves 0.4 mm over the surface: so much stands between balls' passes 8 mm apart, on any diagonal."""
    rough = "G21 G90 G17 G94\nG0 Z20\nM3 S9000\nG0 X-5 Y0\nG1 Z6.4 F300\n" + "".join(
        f"Y{3 * k} F1200\nX{-5 if k % 2 else 65}\n" for k in range(12)) + "G0 Z20\nM5\nM30\n"
    text = "G21 G90 G17 G94\nG0 Z20\nM3 S9000\nG0 X5 Y5\nG1 Z6 F300\nX25 Y25 F1200\nX33\nX13 Y5\nG0 Z20\nM5\nM30\n"
    blank = pathgen.Blank(x=(0, 60), y=(0, 33), thickness=7.0)
    stood = pathgen.simulate(blank, rough, FLAT)
    found = pathgen.check_program(text, cutter=BALL, top=pathgen.flat(6.0), limit=0.01, blank=stood)
    assert found.ridges.highest == pytest.approx(0.4, abs=2e-4)


def test_numbers_without_a_unit_are_told():
    text = "G90 G17 G94\nG0 Z20\nM3 S9000\nX5 Y0\nG1 Z6.5 F300\nX30 F900\nG0 Z20\nM5\nM30\n"
    for first, codes in (("", ["units-unsaid"]), ("G21\n", [])):
        found = pathgen.check_program(first + text, cutter=BALL, top=pathgen.flat(6.0), blank=BLANK)
        assert [f.code for f in found.findings] == codes
        assert found.passed


@pytest.mark.filterwarnings("error")
def test_passes_out_past_the_radius_of_the_surface_have_no_ridges(finished):
    """A program in mm whose units are said to be inches: out there the surface has no height to be held against."""
    inches = pathgen.program(finished).replace("G21", "G20")
    top = pathgen.radiused(thickness=6.0, start=100.0, end=100.0, length=50.0)
    with pytest.raises(pathgen.PathgenError, match="passes further across than the surface's radius: are its units"):
        pathgen.ridges(inches, cutter=BALL, top=top)
    found = pathgen.check_program(inches, cutter=BALL, top=top, blank=BLANK)
    assert found.ridges is None
    assert [f.code for f in found.findings] == ["beside-blank"]


def test_a_move_before_its_height_is_said_is_found():
    text = "G21 G90 G17 G94\nM3 S9000\nG0 X5 Y0\nZ20\nG1 Z6.5 F300\nX30 F900\nG0 Z20\nM5\nM30\n"
    found = pathgen.check_program(text, cutter=BALL, top=pathgen.flat(6.0), blank=BLANK)
    assert [(f.code, f.where.rpartition(" ")[2]) for f in found.findings] == [("height-unknown", "3")]


def test_removal_of_a_slot_is_its_closed_form():
    """A flat end of diameter d over a length l, h deep: h (d l + pi d^2 / 4), a stadium (plane geometry)."""
    text = "G21 G90 G17 G94\nG0 Z20\nM3 S9000\nG0 X5 Y0\nG1 Z6.5 F300\nX35 F900\nG0 Z20\nM5\nM30\n"
    field = pathgen.simulate(BLANK, text, FLAT, resolution=0.05)
    assert field.volume == pytest.approx(1.5 * (4 * 30 + math.pi * 4), rel=2e-3)
    took = field.took[0]
    assert took.line[np.argmax(took.bites.volume)] == 6
    again = pathgen.simulate(field, text, FLAT)
    assert again.took[1].volume == 0.0
    assert pathgen.compare_heights(again, field).high == 0.0


def test_fields_tell_ridges_where_their_points_are_near(finished):
    blank = pathgen.Blank(x=(18.0, 20.0), y=(-3.0, 3.0), thickness=8.0)
    field = pathgen.simulate(blank, pathgen.program(finished), BALL, resolution=0.01)
    found = pathgen.ridges(field, top=TOP, area=shapely.box(18.2, -2.5, 19.8, 2.5))
    assert found.highest == pytest.approx(finished.passes.scallop, abs=5e-4)


def test_slots_after_a_ball_too_small_to_reach_their_ends_are_let_down_from_where_rapids_end():
    """It ended in numpy's own error. The ball of 1 mm opens 0.5 mm beside the board, a slot ends further out."""
    small = replace(BALL, diameter=1.0, stepdown=0.5)
    after = pathgen.finish(BOARD, TOP, small, ridge=0.02)
    thin = replace(FLAT, diameter=0.5, stepdown=0.3)
    cut = pathgen.slots([[[20, -15], [20, 15]]], TOP, thin, width=0.5, depth=2.0, after=after)
    begins = cut.points[np.flatnonzero((cut.kinds[:-1] == pathgen.Move.RAPID) & (cut.kinds[1:] != pathgen.Move.RAPID))]
    assert begins[:, 2].max() == pytest.approx(7.0)
    assert cut.points[:, 2].min() == pytest.approx(TOP.height(20.0, 15.0) - 2.0, abs=0.1)


@pytest.mark.parametrize(("wide", "stepdown", "entry", "slant"), [
    (0.6, 0.2, "peck", 0.0), (0.6, 0.2, "ramp", 6.0), (0.3, 0.1, "peck", 0.0),
])
def test_slots_take_no_more_than_their_stepdown_of_what_the_outermost_pass_left(wide, stepdown, entry, slant):
    """Beside the board stands what its ball leaves: 0.25 mm at once of 0.2, and 0.17 of 0.1. Ridges of 0.02 mm,
    which are no wood to the larger cutter, may add to it, and chords of a coarse layer, nine times 0.001 mm."""
    board, top = shapely.Polygon([(0, -18), (60, -20), (60, 20), (0, 18)]), pathgen.radiused(thickness=6.0, start=305.0)
    ball = replace(BALL, diameter=8.0, stepdown=3.0)
    after = pathgen.finish(board, top, ball, ridge=0.02)
    thin = replace(FLAT, diameter=wide, stepdown=stepdown)
    cut = pathgen.slots([[[40 - slant, -19.3], [40 + slant, 19.3]]], top, thin, width=wide, depth=1.0, entry=entry,
                        after=after)
    blank = pathgen.Blank(x=(30, 50), y=(-24, 24), thickness=7.5)
    found = pathgen.check_program(pathgen.program(cut), cutter=thin, top=top,
                                  blank=pathgen.simulate(blank, pathgen.program(after), ball))
    assert "cut-too-deep" not in [one.code for one in found.findings]
    assert found.data["deepest_bite"] <= stepdown + (0.029 if stepdown == 0.2 else 0.009)


@pytest.mark.parametrize(("cutter", "width"), [(3.0, 3.0), (2.5, 3.0), (1.5, 2.2)])
def test_slanted_slots_are_as_deep_as_asked_on_their_lines_and_deeper_beside_them_by_what_the_surface_falls(
    cutter, width
):
    """A radius of 60, 25 mm aside. At a beside the line the flat end's rim reaches sqrt(r^2 - a^2) uphill along it, so
    that the slot is deeper by up to r (|slope| - slope along), more with two lines (derived, plane); 0.049 was seen."""
    line, top = np.array([[115.0, -25.0], [135.0, 25.0]]), pathgen.radiused(thickness=12.0, start=60.0)
    mill = replace(FLAT, diameter=cutter, stepdown=0.6)
    cut = pathgen.slots([line], top, mill, width=width, depth=2.0)
    blank = pathgen.Blank(x=(112, 137), y=(-27, 27), thickness=12.5, top=top)
    field = pathgen.simulate(blank, pathgen.program(cut), mill, resolution=0.1)
    x, y = np.meshgrid(field.x, field.y)
    deep = top.height(x, y) - field.top
    unit = (line[1] - line[0]) / np.linalg.norm(line[1] - line[0])
    aside = (y - line[0, 1]) * unit[0] - (x - line[0, 0]) * unit[1]
    on_board, steepest = np.abs(y) < 24.5, 25.0 / math.sqrt(60.0**2 - 25.0**2)
    on_line = deep[on_board & (np.abs(aside) < 0.05)]
    across = steepest * abs(unit[0])  # how steeply the surface falls square to the line, at most
    assert (on_line.min(), on_line.max()) == pytest.approx((2.0, 2.0), abs=0.004 + 0.05 * across)
    assert 2.04 < deep[on_board].max() <= 2.0 + width / 2 * across


def test_one_allowance_for_deeper_cuts_with_a_job_and_without():
    """Of a thin layer a quarter more at most, of others 0.05 mm."""
    deep = "G21 G90 G17 G94\nG0 Z20\nM3 S9000\nG0 X5 Y0\nG1 Z{} F300\nX30\nG0 Z20\nM5\nM30\n"
    for stepdown, passed, refused in ((0.1, 7.876, 7.874), (2.0, 5.952, 5.948)):
        cutter = replace(FLAT, stepdown=stepdown)
        well, ill = (pathgen.check_program(deep.format(z), cutter=cutter, top=pathgen.flat(z), blank=BLANK)
                     for z in (passed, refused))
        assert not well.findings
        more = min(0.05, stepdown / 4)
        assert f"a stepdown of {stepdown:g} mm, and {more:g} mm for" in ill.findings[0].allowed


@pytest.mark.parametrize(("shape", "angle", "stepdown", "deep"), [
    ("v", 60.0, 1.0, 2.0), ("v", 30.0, 0.5, 2.0), ("v", 60.0, 0.5, 1.5), ("ball-end", None, 0.1, 0.2)])
def test_a_groove_in_fresh_wood_is_no_shaving_though_it_is_narrower_than_a_quarter_of_the_cutter(
    shape, angle, stepdown, deep
):
    """A v opens 2 d tan(a / 2) at a depth d, a ball 2 sqrt(d (2 r - d)): plane geometry."""
    tool = pathgen.Cutter(name="c", shape=shape, angle=angle, diameter=6.0, speed=9000, feed=900.0, plunge=300.0,
                          stepdown=stepdown)
    text = "G21 G90 G17 G94\nG0 Z20\nM3 S9000\nG0 X5 Y0\nG1 Z{} F300\nX30\nG0 Z20\nM5\nM30\n"
    for z, found in ((8.0 - deep, True), (8.0 - stepdown, False)):
        checked = pathgen.check_program(text.format(z), cutter=tool, top=pathgen.flat(8.0), blank=BLANK)
        assert ("cut-too-deep" in [one.code for one in checked.findings]) == found
        assert [name for name, *_ in checked.field.took[-1].deepest] == ["deepest bite"]


def test_a_finish_that_runs_beside_its_blank_has_no_ridges_at_a_place_that_is_no_number(finished):
    """With a zero 200 mm off it was "0 mm at nan mm along", and the advice was to see to its radius."""
    found = pathgen.check_program(pathgen.program(finished), cutter=BALL, top=TOP, blank=BLANK, limit=0.01,
                                  zero=(0.0, 200.0, 0.0))
    assert not any("nan" in words for words in [*map(str, found.findings), *(words for _, words in found.rows)])
    assert dict(found.rows)["ridges"] == "not measured: nothing was cut"
    (said,) = [one for one in found.findings if one.code == "surface-high"]
    assert said.remedy.startswith("are zero and blank right?")


@pytest.mark.parametrize(("shape", "wide"), [("flat-end", 3.0), ("ball-end", 3.0)])
def test_what_lies_under_the_blank_is_not_counted_as_taken(shape, wide):
    """A slot right through, 30 mm long: all of 8 mm of its wood, and none of what it goes on into below (D)."""
    tool = replace(FLAT, shape=shape, diameter=wide, stepdown=12.0)
    text = "G21 G90 G17 G94\nG0 Z20\nM3 S9000\nG0 X5 Y0\nG1 Z-4 F300\nX35\nG0 Z20\nM5\nM30\n"
    checked = pathgen.check_program(text, cutter=tool, top=pathgen.flat(8.0), blank=BLANK)
    took = checked.field.took[-1]
    assert took.volume == pytest.approx(8.0 * (wide * 30.0 + math.pi * wide**2 / 4), rel=0.01)
    assert took.fall.max() == took.bites.depth.max() == pytest.approx(8.0)
    assert checked.field.top.min() == pytest.approx(-4.0, abs=0.01)
    assert dict(checked.rows)["highest where it cut"].startswith("-1")  # not of the untouched top, which is higher


def test_tops_by_each_way_of_stating_them():
    """R(x) is linear; following the strings it grows as their spread (derived)."""
    by_end = pathgen.radiused(thickness=6.0, start=254.0, end=406.4, length=470.0)
    by_bridge = pathgen.radiused(thickness=6.0, start=254.0, bridge=(254.0 + 152.4 * 640 / 470, 640.0))
    assert by_bridge.radius(470.0) == pytest.approx(by_end.radius(470.0))
    strings = pathgen.radiused(thickness=6.0, start=254.0, strings=(36.0, 52.0, 640.0))
    x = np.linspace(0.0, 640.0, 9)
    under = strings.height(x, 18.0 + 8.0 * x / 640.0)
    assert np.abs(np.diff(under, 2)).max() < 1e-12  # straight under the string


@pytest.mark.filterwarnings("error")
def test_every_value_shows_itself(finished):
    ways = ("_repr_svg_", "_repr_html_", "_repr_png_")
    assert [name for name in pathgen.__all__ if not any(hasattr(getattr(pathgen, name), way) for way in ways)
            and is_dataclass(getattr(pathgen, name))] == []
    cut = pathgen.pocket(shapely.box(10, -5, 30, 5), top=TOP, cutters=[FLAT], depth=1.0)[0]
    text = pathgen.program(finished)
    field = pathgen.simulate(BLANK, text, BALL, resolution=0.2)
    for value in (TOP, pathgen.flat(6.0), BALL, finished, cut, pathgen.Toolpath.empty(), pathgen.read_program(text),
                  pathgen.read_artwork(DRAWING), pathgen.read_artwork(DRAWING).regions[0]):
        assert value._repr_svg_().startswith(("<svg", "<?xml"))
    assert field._repr_png_().startswith(b"\x89PNG")
    assert "40 mm, 8 mm thick" in BLANK._repr_svg_()
    checked = pathgen.check_program(text, cutter=BALL, top=TOP, blank=BLANK)
    lacks = pathgen.LeftOut("text", "a", "no curves", "convert it")
    for value in (checked, checked.ridges, checked.against, field.took[0], pathgen.Machine(), lacks,
                  pathgen.Finding(code="a", where="b", got="c", allowed="d")):
        assert value._repr_html_().startswith("<table><tr><td>")


@pytest.mark.in_every_run(0)
@pytest.mark.filterwarnings("error")
def test_a_whole_board_shows_itself(tmp_path):
    job = pathgen.load_job(DRAWING.with_name("boards") / "fanned.toml")
    result = pathgen.build(job, resolution=0.4)
    result.write(tmp_path / "out")
    assert result._repr_png_().startswith(b"\x89PNG")
    assert result.plan.clamping.board._repr_svg_().startswith("<svg")
    words = result.report._repr_html_()
    assert all(program.file_name in words for program in result.programs)
    assert "<td>checks</td><td>passed</td>" in words
    assert result.report == json.loads(json.dumps(result.report))  # and is the plain dict that it was
    found = pathgen.check(job, tmp_path / "out", resolution=0.4)
    assert f"<td>{found.scallop_measured:.4f} mm</td>" in found._repr_html_()
    (tmp_path / "out" / result.programs[0].file_name).unlink()
    assert "program-missing" not in found._repr_html_()
    assert "no such program" in pathgen.check(job, tmp_path / "out", resolution=0.4)._repr_html_()
    choices = pathgen.compare(job, scallops=[0.01])
    assert choices._repr_html_().count("<tr>") == len(choices) + 1
    assert choices[0]._repr_html_().count("<tr>") == 2
    assert result.programs[0]._repr_svg_().startswith("<svg")
    words = job._repr_html_()
    assert "thickness = 6" in words
    assert words.count("<td>cutters</td>") == len(job.cutters)


def test_a_bite_within_a_long_move_is_found_and_told_of_the_whole_move():
    """Two slots with 4 mm between them, 2 mm deep; then one a millimetre deeper along both: there 3 mm at once."""
    flat = pathgen.Cutter(name="flat", shape="flat-end", diameter=4.0, speed=18000, feed=1200.0, plunge=300.0,
                          stepdown=2.0)
    text = ("G21 G90 G17 G94\nG0 Z20\nM3 S18000\nG0 X0 Y0\nG1 Z6 F300\nX18 F1200\nG0 Z20\nX{next}\nG1 Z6 F300\n"
            "X40 F1200\nG0 Z20\nX0\nG0 Z6.2\nG1 Z5 F300\nX40 F1200\nG0 Z20\nM5\nM30\n")
    blank = pathgen.Blank(x=(-5, 45), y=(-10, 10), thickness=8.0)
    apart, together = (pathgen.check_program(text.format(next=x), cutter=flat, top=pathgen.flat(5.0), blank=blank)
                       for x in (26, 18))
    found, = apart.findings
    assert (found.code, found.got) == ("cut-too-deep", "3.000 mm at once")
    assert not together.findings
    took = apart.field.took[0]
    assert took.line.tolist() == [2, *range(4, 17)]
    # the last slot: 44 by 4 mm with round ends of radius 2, 1 mm deep, and what stood between the others over it
    between = 4.0 * 8.0 - np.pi * 4.0
    assert took.bites.volume[-2] == pytest.approx(4.0 * 40.0 + 2.0 * between, rel=0.02)
    assert (took.bites.drop[-2], took.bites.depth[-2]) == pytest.approx((3.0, 3.0), abs=1e-6)


def test_what_lies_below_the_surface_is_told_where_no_ridge_height_says_that_it_finishes(finished):
    low = pathgen.check_program(pathgen.program(finished), cutter=BALL, top=TOP, blank=BLANK, zero=(0.0, 0.0, -0.3))
    (off,) = low.findings
    assert (off.code, off.severity, low.passed) == ("off-surface", "warn", True)
    assert "0.300" in off.got
    aside = pathgen.check_program(pathgen.program(finished), cutter=BALL, top=TOP, blank=BLANK, zero=(0.0, 25.0, 0.0))
    assert "beside-blank" in [one.code for one in aside.findings]
    flat = "G21 G90 G17 G94\nG0 Z20\nM3 S9000\nG0 X5 Y0\nG1 Z5 F300\nX30\nG0 Z20\nM5\nM30\n"
    pocket = pathgen.check_program(flat, cutter=FLAT, top=pathgen.flat(6.5), blank=BLANK)
    assert [(one.code, one.severity) for one in pocket.findings] == [
        ("cut-too-deep", "forbid"), ("below-surface", "note")]
    assert pocket.findings[1].got == "cuts 1.5 mm below the surface"
    assert pocket.findings[1].remedy.endswith("; see that it is as deep as you mean it to be")


def test_of_a_pocket_that_is_as_deep_as_asked_no_ridge_height_is_asked():
    """Its flat end leaves no ridges to judge; 1.2005 mm was told of one 1.2 mm deep, by what straight moves sag."""
    (cut,) = pathgen.pocket(shapely.box(5, -5, 20, 5), top=TOP, cutters=[FLAT], depth=1.2)
    (note,) = pathgen.check_program(pathgen.program(cut), cutter=FLAT, top=TOP, blank=replace(BLANK, top=TOP)).findings
    assert (note.code, note.severity, note.got) == ("below-surface", "note", "cuts 1.2 mm below the surface")
    assert "limit=" not in note.remedy


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("limit", [None, 0.02])
@pytest.mark.parametrize("radius", [150.0, 200.0])
def test_a_finish_of_another_radius_is_told_where_wood_stands_over_the_surface(finished, radius, limit):
    """The two circles touch at the crest and lie the difference of their sagittas apart further out (geometry)."""
    found = pathgen.check_program(pathgen.program(finished), cutter=BALL, blank=BLANK, limit=limit,
                                  top=pathgen.radiused(thickness=6.0, start=radius))
    (off,) = found.findings
    assert (off.code, off.severity) == (("off-surface", "warn") if limit is None else ("surface-high", "forbid"))
    least, most = (radius - math.sqrt(radius**2 - y**2) - (r - math.sqrt(r**2 - y**2))
                   for y, r in ((15.0, TOP.radius(0.0)), (18.0, TOP.radius(45.0))))
    assert least <= float(re.search(r"to ([\d.]+) mm above", off.got)[1]) <= most + 0.012
    assert "is that its radius?" in off.remedy


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("limit", [None, 0.02])
@pytest.mark.parametrize("off", [0.1, 0.7])
def test_a_finish_that_follows_the_surface_above_it_is_told_whether_ridges_are_judged_or_not(finished, limit, off):
    low = replace(TOP, thickness=TOP.thickness - off)
    (found,) = pathgen.check_program(pathgen.program(finished), cutter=BALL, blank=BLANK, limit=limit, top=low).findings
    assert (found.code, found.severity) == (("off-surface", "warn") if limit is None else ("surface-high", "forbid"))
    assert float(re.search(r"follow the surface ([\d.]+) mm above it", found.got)[1]) == pytest.approx(off, abs=0.002)


def test_a_radius_less_than_the_blank_is_wide_is_refused(tmp_path, capsys, finished):
    (tmp_path / "top.nc").write_text(pathgen.program(finished))
    said = ["check", str(tmp_path / "top.nc"), "--cutter", "ball-end", "6", "--thickness", "6", "--blank", "50", "40",
            "8", "--corner", "-5", "-20", "--radius"]
    assert main([*said, "10"]) == 2
    assert "20 mm or more" in capsys.readouterr().err
    assert main([*said, "10 in", "16 in", "470"]) == 0


def run(*lines, start=("G21 G90 G17 G94", "G0 Z20", "M3 S9000", "G0 X5 Y0"), end=("G0 Z20", "M5", "M30"), **asked):
    """What is found of a few lines over a flat blank, beside what lies below the surface: (code, severity)."""
    found = pathgen.check_program("\n".join([*start, *lines, *end, ""]), **{
        "cutter": FLAT, "top": pathgen.flat(8.0), "blank": BLANK, "resolution": 0.2, **asked})
    return {one.code: one for one in found.findings if one.code != "below-surface"}


CUT = ("G1 Z7 F300", "X30 F600")


@pytest.mark.parametrize(("asked", "found"), [
    ({}, {}),
    ({"start": ("G21 G90", "G0 Z20", "M3 S0", "G0 X5 Y0")}, {"spindle-off": "forbid"}),
    ({"start": ("G21 G90", "G0 Z20", "M3", "G0 X5 Y0")}, {"speed-unsaid": "warn"}),
    ({"start": ("G21 G90", "G0 Z20", "M3", "G0 X5 Y0", *CUT, "G0 Z20", "S0", "G0 X5 Y5")},
     {"spindle-off": "forbid", "speed-unsaid": "warn"}),
    ({"start": ("G21", "G0 Z20", "M3 S9000", "G0 X5 Y0")}, {"mode-not-stated": "warn"}),
    ({"start": ("G21 G90", "M3 S9000", "G0 X5 Y0 Z8.5")}, {"height-unknown": "warn"}),
    ({"start": ("G21 G90", "M3 S9000", "G0 X5 Y0")}, {"height-unknown": "forbid"}),
    ({"start": ("G21 G90 G64", "G0 Z20", "M3 S9000", "G0 X5 Y0")}, {"corners-rounded": "warn"}),
    ({"end": ("G0 Z20", "M5", "G4 P3000", "M30")}, {"long-wait": "note"}),
    ({"end": ("M5", "M30")}, {"ends-in-the-work": "forbid"}),
    ({"end": ("G0 Z8", "M5", "M30")}, {"ends-in-the-work": "forbid"}),  # on the wood beside the groove
    ({"end": ("X47.5", "M5", "M30")}, {}),  # out over the edge, where nothing stands
    ({"end": ("M5", "G0 Z20", "M30")}, {"stops-in-the-cut": "warn"}),
    ({"end": ("M0", "X35", "G0 Z20", "M5", "M30")}, {"waits-in-the-cut": "warn"}),
    ({"end": ("G0 Z20", "M0", "G4 P2", "M5", "M30")}, {}),
    ({"end": ("G1 Z-0.3 F300", "G0 Z20", "M5", "M30"), "cutter": replace(FLAT, stepdown=9.0)},
     {"below-the-bed": "warn"}),
    ({"end": ("G0 Z20", "X-20", "Z-10", "Z20", "M5", "M30")}, {"below-the-bed": "forbid"}),
])
def test_how_a_program_is_run_is_told(asked, found):
    assert {code: one.severity for code, one in run(*CUT, **asked).items()} == found


def test_a_cut_into_the_bed_says_how_far():
    steps = [line for k, z in enumerate((6, 4, 2, 0, -2, -4))
             for line in (f"G1 Z{z} F300", f"X{30 if k % 2 else 5} F600")]
    found = run("X30", *steps)
    assert list(found) == ["below-the-bed"]
    assert "it cuts to 4.000 mm below the underside of the work" in found["below-the-bed"].got
    assert "are its zero (zero=..) and the blank's thickness right?" in found["below-the-bed"].remedy


def test_the_rounding_of_corners_that_is_as_good_as_written_is_told_in_the_programs_own_unit():
    """"G64 P0.005 (in mm)" was told of programs in inches, where it is 0.127 mm and warned of as before (D)."""
    inches = {"end": ("G0 Z0.8", "M3 S9000", "G0 X0.2 Y0", "G1 Z0.27 F12", "X1", "G0 Z0.8", "M5", "M30")}
    assert run(start=("G20 G90 G64 P0.0003",), **inches)["corners-rounded"].remedy == "take G61, or G64 P0.0002"
    assert "corners-rounded" not in run(start=("G20 G90 G64 P0.0002",), **inches)
    assert run(start=("G21 G90 G64 P0.02", "G0 Z20", "M3 S9000", "G0 X5 Y0"))[
        "corners-rounded"].remedy == "take G61, or G64 P0.005"


def test_a_program_that_cuts_nothing_is_told_of():
    found = run("G1 Z15 F300", "X30 F600")
    assert {code: one.severity for code, one in found.items()} == {"cuts-nothing": "warn"}
    assert "15.000 mm above the underside, the wood stands 8.000 mm high" in found["cuts-nothing"].got
    assert list(run("M9", limit=0.01)) == ["cuts-nothing", "surface-high"]  # this finishes no surface


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize(("lines", "got"), [
    (("M3 S18000", "G1 X10 Y0 F100"), "of no move at a feed is it known from where to where it goes"),
    (("G0 Z20", "M3 S18000", "G1 X10 Y0 F100"), "of no move at a feed is it known from where to where it goes"),
    (("G0 Z20", "M3 S18000", "G0 X10 Y0"), "no move at a feed"),
    (("G0 Z20", "M3 S18000", "G0 X10 Y0", "G1 Z15 F100", *("X40", "X10") * 5, "G0 Z20", "Y-24", "Z0", "G1 Z-1"),
     "is 1.000 mm below the underside"),
])
def test_why_a_program_cuts_nothing_is_told(lines, got):
    found = run(start=("G21 G90", *lines))
    assert got in found["cuts-nothing"].got


@pytest.mark.parametrize(("area", "said"), [
    (shapely.box(500, 0, 510, 10), "check_program area: one that covers no point .*allowed: on the blank"),
    ("all", "check_program area: a str"),
])
def test_an_area_off_the_blank_is_named(area, said):
    with pytest.raises(pathgen.PathgenError, match=said):
        run(*CUT, area=area)


def test_another_work_offset_in_the_middle_cannot_be_followed():
    """Only the machine knows how far apart two zeros lie; before any word it is in G54 (NISTIR 6556, 3.6.1)."""
    text = "G21 G90{}\nG0 Z20\n{}M3 S9000\nG0 X5 Y0\nG1 Z7 F300\n{}X30\nG0 Z20\nM5\nM30\n"
    for first, then, later in ((" G54", "", "G57 "), ("", "", "G55 "), (" G54", "G55\n", "")):
        for ask in (pathgen.simulate, lambda blank, text, tool: pathgen.check_program(
                text, cutter=tool, top=pathgen.flat(8.0), blank=blank)):
            with pytest.raises(pathgen.ProgramError, match=r"G5[57] after moves in G54.* one work offset"):
                ask(BLANK, text.format(first, then, later), FLAT)
    for first, then in ((" G55", ""), ("", "G54\n")):
        assert pathgen.simulate(BLANK, text.format(first, then, ""), FLAT).volume > 0


def test_the_ridge_height_allowed_is_held_to_what_is_measured(finished):
    text = pathgen.program(finished)
    found = pathgen.check_program(text, cutter=BALL, top=TOP, blank=BLANK, resolution=0.2)
    for limit in (found.ridges.highest + 1e-6, found.ridges.highest - 0.0003):
        asked = {"cutter": BALL, "top": TOP, "limit": limit}
        judged = pathgen.check_program(text, blank=BLANK, resolution=0.2, **asked)
        within = pathgen.ridges(text, **asked).within_limit
        assert within == (limit > found.ridges.highest)
        assert [one.code for one in judged.findings] == ([] if within else ["ridge-too-high"])


def test_a_finish_that_leaves_twice_the_ridges_allowed_over_the_surface_is_found(finished):
    """Radii of 254 and 245 mm: at 15 mm out 0.0166 mm apart (the difference of the sagittas), ridges or not."""
    other = pathgen.radiused(thickness=6.0, start=245.0, end=390.0, length=470.0)
    (found,) = pathgen.check_program(pathgen.program(finished), cutter=BALL, top=other, blank=BLANK, limit=0.0112,
                                     resolution=0.2).findings
    assert found.code == "surface-high"
    assert re.search(r"lies up to 0\.02\d+ mm above the surface", found.got)  # and no -0.0000


def test_a_surface_higher_than_its_blank_is_refused():
    with pytest.raises(pathgen.PathgenError, match="check_program top: a surface 9 mm high over a blank 8 mm thick"):
        run(*CUT, top=pathgen.flat(9.0))


def test_one_depth_is_told_of_a_move_that_sinks_along_an_arc():
    """Half a circle of 15 mm from the top of 30 mm of wood, down to 15: 15 mm at once, at its middle."""
    wood = pathgen.Blank(x=(0, 60), y=(-10, 10), thickness=30.0)
    text = "G21 G90 G54\nG0 Z40\nM3 S9000\nG0 X10 Y0\nG1 Z30 F300\nG18 G2 X40 Z30 I15 K0\nG17\nG0 Z40\nM5\nM30\n"
    for tool in (BALL, FLAT):
        found = pathgen.check_program(text, cutter=tool, top=pathgen.flat(30.0), blank=wood)
        (deep,) = [one for one in found.findings if one.code == "cut-too-deep"]
        bite = {name: mm for name, mm, _ in found.field.took[0].deepest}["deepest bite"]
        assert bite == pytest.approx(float(deep.got.split()[0]), abs=2.1e-3)  # the first of those as deep is told
        assert bite == pytest.approx(15.0, abs=0.01)
        assert found.field.took[0].fall.max() == pytest.approx(bite, abs=1e-6)


def test_what_earlier_programs_left_is_a_blank():
    first = "G21 G90\nG0 Z20\nM3 S9000\nG0 X5 Y0\nG1 Z6 F300\nX30 F600\nG0 Z20\nM5\nM30\n"
    left = pathgen.simulate(BLANK, first, FLAT, resolution=0.2)
    assert list(run("G0 Z6", "G1 Z5 F300", "X30 F600", blank=left)) == []
    found = run("G0 Z6", "G1 Z5 F300", "X30 F600")
    assert set(found) == {"rapid-through-material", "cut-too-deep"}
    assert all("(blank=simulate(..))" in one.remedy for one in found.values())
    assert found["rapid-through-material"].remedy.startswith("if it is to cut there write G1")


def test_a_program_turned_back_has_its_zero_in_the_blanks_frame(finished):
    """`along`: (x, y) of the machine is (y, -x) of the blank; a zero moves what was turned back."""
    text = "G21 G90\nG0 Z20\nM3 S9000\nG0 X5 Y10\nG1 Z6 F300\nX-5 F600\nG0 Z20\nM5\nM30\n"
    blank = pathgen.Blank(x=(0, 40), y=(-20, 20), thickness=8.0)
    field = pathgen.simulate(blank, text, FLAT, resolution=0.2, along="y", zero=(7.0, 3.0, 0.0))
    columns, rows = np.flatnonzero(field.cut.any(axis=0)), np.flatnonzero(field.cut.any(axis=1))
    assert (field.x[columns[0]], field.x[columns[-1]]) == pytest.approx((15.0, 19.0), abs=0.15)
    assert (field.y[rows[0]], field.y[rows[-1]]) == pytest.approx((-4.0, 10.0), abs=0.15)
    with pytest.raises(pathgen.PathgenError, match="simulate along"):
        pathgen.simulate(blank, text, FLAT, along="z")


@pytest.mark.parametrize(("ask", "said"), [
    (lambda: pathgen.simulate(BLANK, b"G0", FLAT), "simulate programs: a bytes .*: give the program's text"),
    (lambda: pathgen.simulate(BLANK, None, FLAT), "simulate programs: a NoneType .*: give the program's text"),
    (lambda: pathgen.simulate(BLANK, "G0 Z1\n", "f3"), "simulate cutters: a str .*: make one: pathgen.Cutter"),
    (lambda: pathgen.ridges(pathgen.simulate(BLANK, [], []), top=TOP), "ridges area: none for a field.*: give area="),
])
def test_remedies_can_be_followed(ask, said):
    with pytest.raises(pathgen.PathgenError, match=said):
        ask()


def test_a_program_given_up_within_its_blank_is_not_asked_for_its_units(monkeypatch):
    monkeypatch.setattr("pathgen.verify.over_blank.most_work", lambda *of: 1000)
    text = "G21 G90\nG0 Z20\nM3 S9000\nG0 X5 Y0\nG1 Z6 F300\nX{} F600\nG0 Z20\nM5\nM30\n"
    with pytest.raises(pathgen.ProgramError, match=r"\): take a larger resolution, say 0.2 mm"):
        pathgen.simulate(BLANK, text.format(30), FLAT)
    with pytest.raises(pathgen.ProgramError, match="is it in other units"):
        pathgen.simulate(BLANK, text.format(300), FLAT)
