"""`plunges = false` through a whole build: by the text, nothing goes straight down into wood."""

import re
from contextlib import nullcontext
from types import SimpleNamespace

import numpy as np
import pytest

import pathgen
from pathgen.app.building import check
from pathgen.base.cutters import Cutter
from pathgen.base.errors import CutterError
from pathgen.verify.abilities import plunged
from tests import small_board
from tests.brute import Block, moves_of
from tests.job.test_plates import DRAWN, OPENING, PLATE, read

BLIND = {'name = "flat"\nshape = "flat-end"': 'name = "flat"\nplunges = false\nshape = "flat-end"'}
OUTLINE = '[outline]\ncutter = "flat"\ntabs = 4\n'


def test_no_program_of_that_cutter_sinks_into_wood_straight_down(tmp_path):
    result = small_board.built(tmp_path, resolution=0.2, changes=BLIND, extra=OUTLINE)
    assert result.passed
    block = Block((-30.0, -45.0, 120.0, 45.0), 0.1, 8.0)
    sunk, sideways = [], 0.0
    for program in result.programs:  # the tests' own simulation, of the text
        loads = block.run(moves_of(program.text), program.cutter.radius, ball=program.cutter.shape == "ball-end")
        if program.cutter.name == "flat":
            down = loads.straight_down & (loads.end[:, 2] < loads.start[:, 2])
            sunk.append(loads.volume[down].max(initial=0.0))
            sideways += loads.volume[~loads.straight_down].sum()
    assert len(sunk) == 2
    assert max(sunk) < 0.02 * np.pi  # mm3: a fiftieth of a millimetre under all of the cutter
    assert sideways > 500.0


BALL = {'name = "ball"\n': 'name = "ball"\nplunges = false\n'}
ROUGHED = BALL | {'finish = "ball"': 'finish = "ball"\nrough = "ball"', "thickness = 8.0": "thickness = 12.0"}
V = small_board.cutter(name="v", shape="v", angle=60.0, diameter=6.0, speed=18000, feed=900.0, plunge=150.0,
                       stepdown=1.0, plunges=False)
BEVEL = V + small_board.SLOTS + 'bevel = 0.2\nbevel_cutter = "v"\n'


def sinks_steeply(text: str, *, over: float, ramp: float) -> float:
    """How far a program of one that ramps goes down below a height at a feed, more steeply than its ramp, mm."""
    start, end, rapid = small_board.moves(text)
    run, below = np.hypot(*(end - start)[:, :2].T), np.minimum(start[:, 2], over) - end[:, 2]
    steep = ~rapid & (below > ramp * 1.05 * run + 1e-3)
    return float(below[steep].max(initial=0.0))


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("changes", [BALL, ROUGHED])
def test_a_ball_comes_down_ramps_to_the_surface(tmp_path, changes):
    """It went 1.23 mm straight down into whole wood, with the key as without it."""
    result = small_board.built(tmp_path, resolution=0.4, changes=changes)
    assert result.passed
    texts = [p.text for p in result.programs if p.cutter.name == "ball"]
    assert len(texts) == (2 if changes is BALL else 3)
    steepest = 0.2  # more than the ramp, and than the surface across the board
    high = 12.0 if changes is ROUGHED else 8.0
    assert [sinks_steeply(text, over=high, ramp=steepest) for text in texts] == [0.0] * len(texts)
    plain = small_board.built(tmp_path, resolution=0.4, changes={k: v.replace("\nplunges = false", "")
                                                                for k, v in changes.items()})
    assert sinks_steeply(next(p.text for p in plain.programs), over=high, ramp=steepest) > 1.0


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize(("changes", "extra", "cutter"), [(BALL, "", "ball"), (
    {'cutters = ["flat"]': 'cutters = ["v"]'}, V, "v")])
def test_a_round_or_pointed_end_edited_to_go_straight_down_is_refused(tmp_path, changes, extra, cutter):
    """Only flat ends were asked: a ball's 1.23 mm and a v's 0.5 mm passed in silence."""
    result = small_board.built(tmp_path, resolution=0.3, changes=changes, extra=extra)
    name = next(p.file_name for p in result.programs if p.cutter.name == cutter)
    program = next(path for path in result.write(tmp_path / "out") if path.name == name)
    lines = program.read_text().splitlines()
    first = next(i for i, line in enumerate(lines) if line.startswith("G1"))
    top = 8.0 if cutter == "ball" else 6.5
    lines[first:first] = [f"G1 Z{top - 0.5} F150", "G0 Z20"]
    program.write_text("\n".join(lines) + "\n")
    found = [f for f in check(result.job, tmp_path / "out", resolution=0.3).findings if f.code == "plunge-into-wood"]
    assert [f.severity for f in found] == ["forbid"]
    assert name in found[0].where


def test_a_bevel_is_begun_down_a_ramp(tmp_path):
    """Its v went 0.85 mm straight down into the waste beside the board."""
    result = small_board.built(tmp_path, resolution=0.4, extra=BEVEL)
    assert result.passed
    text = next(p.text for p in result.programs if p.cutter.name == "v")
    start, end, rapid = small_board.moves(text)
    down = ~rapid & (start[:, :2] == end[:, :2]).all(axis=1) & (end[:, 2] < start[:, 2])
    assert down.any()
    way = (start + np.linspace(0.0, 1.0, 60)[:, None, None] * (end - start)).reshape(-1, 3)
    for first in end[down]:  # to the top of what stands there: by ramps it comes to that place again, and lower
        again = np.hypot(*(way[:, :2] - first[:2]).T) < 0.05
        assert way[again, 2].min() < first[2] - 0.15


@pytest.mark.in_every_run(0)
@pytest.mark.parametrize(("leans", "low"), [(0.0, 5.4), (0.1, 5.4), (0.0, 6.15)])
def test_a_program_edited_to_do_so_is_refused(tmp_path, leans, low):
    """Less than a quarter of its 2 mm was only warned of."""
    result = small_board.built(tmp_path, resolution=0.2, changes=BLIND)
    name = next(p.file_name for p in result.programs if p.operation == "pocket")
    paths = result.write(tmp_path / "out")
    program = next(path for path in paths if path.name == name)
    lines = program.read_text().splitlines()
    first = next(i for i, line in enumerate(lines) if line.startswith("G1"))
    x = float(re.findall(r"X(-?[\d.]+)", "\n".join(lines[:first]))[-1])
    # where the first ramp begins, straight down to its first layer and up again
    lines[first:first] = [f"G1 X{x + leans:.4f} Z{low} F300", f"G1 X{x:.4f} Z9", "G0 Z20", "G0 Z9"]
    program.write_text("\n".join(lines) + "\n")
    found = [f for f in check(result.job, tmp_path / "out", resolution=0.2).findings if f.code == "plunge-into-wood"]
    assert [f.severity for f in found] == ["forbid"]
    assert name in found[0].where
    assert "plunges = false" in found[0].got


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize(("between", "deep"), [
    ([], 0.9), (["G0 Z9"], 0.9), (["G0 Z20", "G0 X{far}", "G0 X{x}", "G0 Z9"], 0.9), (["G1 Z9", "X{far}", "X{x}"], 0.9),
    (["G1 X{near}"], 0.65), (["G1 X{beside}", "X{x}"], None)],
    ids=["on and on", "lifted", "lifted and away", "away in air", "leaning", "sideways through wood"])
def test_small_pecks_at_one_place_count_together(tmp_path, between, deep):
    """Six of 0.15 mm each: none of them alone sinks a tenth of the cutter's 2 mm."""
    result = small_board.built(tmp_path, resolution=0.1, changes=BLIND)
    name = next(p.file_name for p in result.programs if p.operation == "pocket")
    program = next(path for path in result.write(tmp_path / "out") if path.name == name)
    lines = program.read_text().splitlines()
    first = next(i for i, line in enumerate(lines) if line.startswith("G1"))
    x = float(re.findall(r"X(-?[\d.]+)", "\n".join(lines[:first]))[-1])
    y = float(re.findall(r"Y(-?[\d.]+)", "\n".join(lines[:first]))[-1])
    top, pecks = 6.5 - y**2 / (2 * 265.0), []
    for nth in range(1, 7):
        there = [one.format(x=x, far=x + 9, near=round(x + 0.05 * (nth % 2), 3), beside=x + 0.2) for one in between]
        pecks += [f"G1 Z{top - 0.15 * nth:.4f} F300", *there]
    lines[first:first] = [f"G1 Z{top:.4f} F300", *pecks, "G0 Z20", f"G0 X{x}", "G0 Z9"]
    program.write_text("\n".join(lines) + "\n")
    found = [f for f in check(result.job, tmp_path / "out", resolution=0.1).findings if f.code == "plunge-into-wood"]
    assert [f.severity for f in found] == (["forbid"] if deep else [])
    assert not deep or float(found[0].got.split()[0]) == pytest.approx(deep, abs=0.06)


def test_a_level_top_is_finished_from_above_the_ridges_of_a_round_roughing_cutter(tmp_path):
    """The ramp began at the allowance, 0.4 mm over the top, in ridges that stood 0.2 mm higher."""
    text = PLATE.replace("face = false", "").replace("thickness = 3.0\nmargin", "thickness = 4.5\nmargin").replace(
        'name = "flat 3"', 'name = "flat 3"\nplunges = false')
    result = pathgen.build(read(tmp_path, f'{text}\n[surface]\nrough = "ball"\nfinish = "flat 3"\n'), resolution=0.2)
    assert [str(f) for f in result.verification.findings if f.code == "plunge-into-wood"] == []


DOT = small_board.ART.replace('r="8"', 'r="1.03"')


def test_a_place_with_no_room_for_a_ramp_stays_closed_and_is_told(tmp_path):
    result = small_board.built(tmp_path, resolution=0.1, changes=BLIND, art=DOT)
    assert result.passed
    found = next(f for f in result.report["checks"]["findings"] if f["code"] == "much-left-closed")
    assert "100.0 % of that colour, stays closed" in found["got"]
    assert found["got"].endswith("2.06 mm wide there, with no room for a ramp or a helix down")
    assert found["allowed"].endswith("mm that plunges")
    assert found["remedy"].startswith("take a cutter that plunges, add a cutter of 1.78 mm or a v cutter")
    row = next(r for r in result.report["reach"][0]["cutters"] if r["colour"] == "#225577")
    assert row["reachable_area"] == 0.0
    # by the text: nothing is cut within the dot, which a cutter that plunges opens
    plain = small_board.built(tmp_path, resolution=0.1, art=DOT)
    for made, count in ((result, False), (plain, True)):
        text = next(p.text for p in made.programs if p.operation == "pocket")
        _, tips, _ = small_board.moves(text)
        low = tips[tips[:, 2] < 6.0]
        assert (np.hypot(low[:, 0] - 37.0, low[:, 1]) < 1.0).any() == count
    assert not [f for f in plain.report["checks"]["findings"] if f["code"] == "much-left-closed"]


def test_a_drawing_with_no_room_for_a_ramp_anywhere_is_refused_with_its_place(tmp_path):
    alone = DOT.replace('width="12" height="9"', 'width="2.04" height="2.04"')
    job = pathgen.load_job(small_board.job(tmp_path, changes=BLIND, art=alone))
    with pytest.raises(CutterError, match=r"no room for a ramp or a helix down 1\.\d+ mm at "):
        pathgen.build(job, resolution=0.3)


@pytest.mark.parametrize("table", ["slots", "nut"])
def test_pecks_are_refused_by_the_key_that_asks_for_them(tmp_path, table):
    """Before anything is planned: the strategy, which knows no job, could only name the cutter."""
    asks = f'[{table}]\ncutter = "flat"\nwidth = 2.0\ndepth = 1.5\nentry = "peck"\n'
    with pytest.raises(pathgen.JobError, match=rf'^\[{table}\] entry: "peck" goes straight down, and "flat" cannot'):
        pathgen.load_job(small_board.job(tmp_path, changes=BLIND, extra=asks))


def test_openings_of_a_plate_must_not_stay_closed(tmp_path):
    """Two are drawn: one of 10 mm, and one as wide as the cutter, which has no room in it."""
    head, art = DRAWN.replace("face = false", OPENING + "face = false"), "<circle cx='{}' cy='20' r='{}' fill='#fff'/>"
    text = head.replace('name = "flat 3"', 'name = "flat 3"\nplunges = false', 1)
    for radius, refused in ((1.52, True), (3.0, False)):
        holes = art.format(20, 5) + art.format(50, radius)
        (tmp_path / "plate.svg").write_text(
            "<svg xmlns='http://www.w3.org/2000/svg' width='80mm' height='40mm' viewBox='0 0 80 40'>"
            f"<path d='M0,0H80V40H0Z' fill='#222'/>{holes}</svg>")
        (tmp_path / "job.toml").write_text(text)
        job = pathgen.load_job(tmp_path / "job.toml")
        with pytest.raises(CutterError, match="no room for a ramp or a helix down") if refused else nullcontext():
            assert pathgen.build(job, resolution=0.3).passed


STAR = small_board.svg("""<path d="M12,2 L15,11 24,12 15,15 12,26 9,15 1,12 9,11Z" fill="#225577"/>
<circle cx="30" cy="8" r="0.7" fill="#cc8833"/><rect x="26" y="18" width="8" height="1.4" fill="#cc8833"/>""")


@pytest.mark.in_every_run(0)
@pytest.mark.parametrize("cutters", ['["v"]', '["flat", "v"]'])
def test_a_v_sinks_along_lines_and_leaves_closed_what_is_round_and_small(tmp_path, cutters):
    """It went straight down 0.5 mm at a time; a dot of 1.4 mm has no line in its middle to sink along."""
    result = small_board.built(tmp_path, resolution=0.2, changes={'cutters = ["flat"]': f"cutters = {cutters}"},
                               extra=V, art=STAR)
    assert result.passed
    block = Block((20.0, -20.0, 70.0, 20.0), 0.05, lambda x, y: 6.5 - y**2 / (2 * 265.0) + 0.0 * x)
    for program in (p for p in result.programs if p.operation == "pocket"):  # the tests' own simulation, of the tip
        loads = block.run(moves_of(program.text), 0.06 if program.cutter.name == "v" else program.cutter.radius)
        down = loads.straight_down & (loads.end[:, 2] < loads.start[:, 2])
        assert down.any()
        assert loads.deepest[down].max() < 0.15
    assert block.top.min() < 5.1
    end = small_board.moves([p.text for p in result.programs if p.operation == "pocket"][-1])[1]
    found = next(f for f in result.report["checks"]["findings"] if f["code"] == "much-left-closed")
    assert "12.1 % of that colour, stays closed" in found["got"]
    assert "1.40 mm wide there, with no room for a ramp" in found["got"]
    assert (np.hypot(end[:, 0] - 55.0, end[:, 1] - 7.0) > 0.7).all()
    with_it = small_board.built(tmp_path, resolution=0.2, changes={'cutters = ["flat"]': f"cutters = {cutters}"},
                                extra=V.replace("plunges = false\n", ""), art=STAR)
    end = small_board.moves([p.text for p in with_it.programs if p.operation == "pocket"][-1])[1]
    assert (np.hypot(end[:, 0] - 55.0, end[:, 1] - 7.0) < 0.7).any()


@pytest.mark.parametrize(("ramp", "found"), [(45.0, None), (5.0, 0)])
def test_the_steepest_ramp_that_may_be_asked_for_is_no_plunge(ramp, found):
    """Of 45 degrees, and down the board's own slope: random job `--keys` 6 was refused by its own check."""
    v = Cutter(name="v", shape="v", angle=90.0, diameter=6.0, speed=16000, feed=1700.0, plunge=1000.0, stepdown=4.0,
               ramp=ramp, plunges=False)
    move = SimpleNamespace(start=np.zeros((1, 3)), end=np.array([[0.48, 0.0, -0.49]]), cutting=np.array([True]))
    down = plunged(SimpleNamespace(drop=np.array([0.49]), volume=np.array([0.3])), move, v)
    assert (down and down[0]) == found


RIDGES = """
units = "mm"
cutter = [
 { name = "ball", shape = "ball-end", diameter = 8, speed = 14000, feed = 2400, plunge = 600, stepdown = 3 },
 { name = "flat", shape = "flat-end", diameter = 1, speed = 16000, feed = 600, plunge = 60, stepdown = 6 },
 { name = "out", shape = "flat-end", diameter = 2, speed = 16000, feed = 1000, plunge = 250, stepdown = 1 },
]
stock = { length = 170, width = 74, thickness = 12, margin_nut = 25 }
surface = { finish = "ball", scallop = 0.03, leave = 1.0, leave_scallop = 0.58 }
outline = { cutter = "out", tabs = 4 }
[board]
scale_length = 640
frets = 3
nut_width = 43
end_width = 56
thickness = 11
radius = 60
[[inlay]]
artwork = "art.svg"
depth = 2.5
overfill = 1
cutters = ["flat"]
place = { at = [50, -3], rotate = 33 }
"""


@pytest.mark.in_every_run(0)
def test_it_sinks_from_above_the_ridges_that_were_left_for_the_last_cut(tmp_path):
    """Lower than a tenth of the stepdown they were taken for none: a rapid went into them, refused by our own check."""
    (tmp_path / "art.svg").write_text(small_board.svg(
        '<circle cx="7" cy="7" r="5"/><path d="M14 3 L26 8 L14 13 Z"/><path d="M2 18 L24 16 L24 22 L10 30 Z"/>',
        36, 32))
    job = tmp_path / "job.toml"
    job.write_text(RIDGES.replace("stepdown = 6", "stepdown = 6, plunges = false"))
    found = pathgen.build(pathgen.load_job(job), resolution=0.2).verification.findings
    assert [one for one in found if one.severity == "forbid" or one.code == "straight-down"] == []
