"""Witness marks, the look at them, what zero can be set from, and programs for work that moved."""

import itertools
import json
import re
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from scipy.spatial.transform import Rotation

import pathgen
from pathgen.app.cli import main
from pathgen.app.earlier_marks import marks_moved
from pathgen.app.watching import _Watch
from pathgen.base.errors import JobError
from pathgen.job import load_job
from pathgen.job.clamping import clamping_of, planned_of
from pathgen.job.doubts import doubts_of
from pathgen.programs.around import Around
from pathgen.programs.instructions import before_start
from pathgen.programs.paths import path_of
from pathgen.programs.waste import board_errors, left_standing, spread_places
from pathgen.report.moving import _moved_notes, moved_warnings
from pathgen.report.pictures.above import _clamps, _zero_of
from pathgen.report.sheet.page import verdict_words
from pathgen.report.sheet.results import warnings
from pathgen.report.text import report_text
from pathgen.verify import Tolerances, verify
from pathgen.verify.holes import hover_findings, mark_findings
from pathgen.verify.over_board import motion_over_board
from pathgen.verify.read import read_program
from pathgen.work.moved import fit_move
from pathgen.work.operations import WitnessMarks
from tests.report.test_sheet import Page
from tests.small_board import SLOT_CUTTER, built, cutter, job, moves, moves_and_feeds, svg, text_of

EXAMPLES = Path(__file__).parents[2] / "examples"
MARKS = """
[outline]
cutter = "flat"
[marks]
cutter = "flat"
depth = 0.8
hover = 1.5
"""
OF_THIN = cutter(name="thin", shape="flat-end", diameter=1.5, speed=18000, feed=700.0, plunge=200.0, stepdown=0.8)
OF_THIN += MARKS
HOLES = '[holes]\ncutter = "flat"\ndiameter = 3.0\nat = [[-12.0, 10.0], [96.0, 10.0]]\n'
TURN, SHIFT, ABOUT = (0.10, -0.08, 0.20), np.array([0.21, -0.13, 0.07]), np.array([40.0, 0.0, 8.0])
PLACES = np.array([[-15.0, -28.0, 8.0], [-15.0, 28.0, 8.0], [98.0, -28.0, 8.0], [98.0, 28.0, 8.0]])


def there(points):
    turn = Rotation.from_euler("xyz", TURN, degrees=True).as_matrix()
    return (points - ABOUT) @ turn.T + ABOUT + SHIFT


def test_marks_are_drilled_before_all_else(tmp_path):
    """A blank that moves while its holes are cut is seen by them."""
    clamping = clamping_of(load_job(job(tmp_path, extra=MARKS + HOLES)))
    assert [step.operation.name for step in clamping.steps[:2]] == ["witness-marks", "holes"]


def measured(error=0.0):
    rows = [
        f"[[measured]]\nat = {p.tolist()}\nfound = {np.round(q, 5).tolist()}\n"
        for p, q in zip(PLACES, there(PLACES) + [[0, 0, error], [0, 0, 0], [0, 0, 0], [0, 0, error]], strict=True)
    ]
    return "\n" + "\n".join(rows)


@pytest.fixture(scope="module")
def marked(tmp_path_factory):
    return built(tmp_path_factory.mktemp("marks"), extra=MARKS)


def test_no_picture_of_the_work_where_nothing_new_would_be_seen_in_it(marked, monkeypatch):
    """After the look over the marks; and after these, small holes, where they are a smaller share of the blank."""
    for least, without in ((1e-4, {"hover"}), (0.01, {"hover", "witness-marks"})):
        monkeypatch.setattr("pathgen.report.sheet.seen._SEEN", least)
        cards = marked.files()["setup.html"].split("<article")[1:]
        assert {p.operation for p, card in zip(marked.programs, cards, strict=True)
                if "What should lie on the machine then" not in card} == without


def test_marks_are_drilled_first_where_nothing_else_cuts(marked):
    assert marked.passed
    assert marked.programs[0].operation == "witness-marks"
    _, end, rapid = moves(marked.programs[0].text)
    low = end[:, 2] < 8.0
    assert end[low, 2] == pytest.approx([7.2] * 4)
    assert not rapid[low].any()
    marks = shapely.multipoints(end[low, :2]).buffer(1.0)
    assert shapely.box(-20, -33, 105, 33).contains(marks)
    assert shapely.distance(marks, shapely.union_all(list(opened_at_the_top(marked)))) > 0.4


def opened_at_the_top(result, radii=None):
    """Where each program but the first opens the top of the blank, 8 mm: moves widened by what the cutter opens there.

    A little too wide: each move is taken as deep as its deeper end all along.
    """
    for p in result.programs[1:]:
        start, end, _ = moves(p.text)
        depth = 8.0 - np.minimum(start[:, 2], end[:, 2])
        low = depth > 0
        if low.any():
            lines = shapely.linestrings(np.stack([start[low, :2], end[low, :2]], axis=1))
            radius, deep = (radii or {"ball": 6.35, "flat": 1.0})[p.cutter.name], depth[low]
            ball = np.sqrt(np.maximum(radius**2 - np.maximum(radius - deep, 0.0) ** 2, 0.0))
            yield shapely.union_all(shapely.buffer(lines, ball if p.cutter.name == "ball" else radius, quad_segs=4))


def test_what_is_said_to_be_left_standing_no_program_cuts(marked):
    free = left_standing(marked.plan.around, reach=0.1)
    assert free.area > 500
    assert not any(free.intersects(cut) for cut in opened_at_the_top(marked))


def test_what_is_printed_of_the_marks_stands_under_a_head_that_is_true_of_it(marked):
    """What a shift costs a second cut is for the screen alone."""
    page = Page(marked.files(shaded=False)["setup.html"])
    assert "If the work moves" in [text for tag, _, text, _ in page.elements if tag == "h2"]
    assert any(text.startswith("If the work lies ") for *_, text, _ in page.elements)


def test_a_head_says_the_time_that_the_sheet_says(marked):
    """It said about 1 min of a program of 7 s."""
    page = Page(marked.files(shaded=False)["setup.html"])
    for program in marked.programs:
        (about,) = re.findall(r"^\(about (.*)\)$", program.text, re.M)
        assert re.search(f"Time{about}[:,] ", page.by_id(f"program-{program.order}")[2])
    assert about == "2.3 min"
    assert re.search(r"\(about \d s\)", marked.programs[3].text)


def test_hovering_has_the_spindle_off_and_touches_nothing(marked):
    text = text_of(marked, "hover")
    assert not re.search(r"^[^(]*M[34]\b", text, flags=re.M)
    assert len(re.findall(r"^M0$", text, flags=re.M)) == 4
    _, end, rapid = moves(text)
    assert end[:, 2].min() == pytest.approx(9.5)
    drilled = moves(marked.programs[0].text)[1]
    assert np.array_equal(np.unique(end[~rapid, :2], axis=0), np.unique(drilled[drilled[:, 2] < 8, :2], axis=0))
    hover = next(p for p in marked.report["programs"] if p["operation"] == "hover")
    assert hover["cut_length"] == 0
    assert marked.sheet(shaded=False).count("nothing is cut") == 1
    order = [p.operation for p in marked.programs]
    assert order.index("hover") == order.index("resurface") - 1


@pytest.mark.parametrize(("old", "new", "code"), [
    ("Z9.5", "Z7.5", "hovers-too-low"), ("M0\n", "", "hover-without-stop"),
    ("G0 Z18", "G0 Z18\nM3 S18000", "spindle-on"),
])
def test_a_spoilt_look_is_found(marked, old, new, code):
    name = next(p.file_name for p in marked.programs if p.operation == "hover")
    texts = {p.file_name: p.text for p in marked.programs}
    assert old in texts[name]
    texts[name] = texts[name].replace(old, new, 1)
    found = verify(marked.plan.clamping, texts, resolution=0.3).findings
    assert code in {f.code for f in found if f.severity == "forbid"}


@pytest.mark.parametrize(("old", "new", "code", "got"), [
    ("Z7.2", "Z7.15", "mark-wrong", "0.050 mm too deep"),
    ("Z7.2", "Z7.25", "mark-wrong", "0.050 mm short of its bottom"),
    ("Z7.2", "Z8.5", "mark-wrong", "no mark"), ("X42.5", "X42.6", "mark-stray", "a cut where no mark is"),
])
def test_a_mark_in_the_wrong_place_or_depth_is_found(marked, old, new, code, got):
    clamping, made = marked.plan.clamping, marked.programs[0]
    assert old in made.text
    motion = motion_over_board(read_program(made.text.replace(old, new, 1)), clamping, chord_tolerance=1e-4)
    found = list(mark_findings(motion, made.step, clamping, Tolerances()))
    assert code in [f.code for f in found]
    assert found[-1].got.startswith(got)
    good = motion_over_board(read_program(made.text), clamping, chord_tolerance=1e-4)
    assert list(mark_findings(good, made.step, clamping, Tolerances())) == []


def test_a_stop_before_the_first_move_is_over_no_mark(marked):
    """That over the last mark, where the program ends, put before everything."""
    name = next(p.file_name for p in marked.programs if p.operation == "hover")
    texts = {p.file_name: p.text for p in marked.programs}
    before, _, after = texts[name].rpartition("M0\n")
    first = re.search(r"^G0 .*\n", before, flags=re.M).start()
    texts[name] = before[:first] + "M0\n" + before[first:] + after
    found = verify(marked.plan.clamping, texts, resolution=0.3).findings
    assert [f.code for f in found if f.severity == "forbid"].count("hover-without-stop") == 1


@pytest.mark.parametrize(("stepdown", "depth"), [("1.6", 0.8), ("0.6", 0.6)])
def test_marks_are_no_deeper_than_one_plunge_where_the_job_does_not_say(tmp_path, stepdown, depth):
    path = job(tmp_path, extra=MARKS.replace("depth = 0.8\n", ""), changes={"stepdown = 1.6": f"stepdown = {stepdown}"})
    first = clamping_of(load_job(path)).steps[0].operation
    assert isinstance(first, WitnessMarks)
    assert first.feature.depth == depth


def test_a_mark_in_the_way_is_refused(tmp_path):
    path = job(tmp_path, extra=MARKS + "at = [[40.0, 10.0], [-15.0, 20.0], [100.0, 200.0]]\n")
    with pytest.raises(JobError, match=r"mark 1 at 40 mm along, 10 mm across lies \d+\.\d\d mm off the") as wrong:
        clamping_of(load_job(path))
    assert [one.problem[:16] for one in wrong.value.others] == ["mark 3 at 100 mm"]  # in one look


def apart(points):
    """Without those that lie a few last places of a program from the one before, which turning may part or join."""
    return points[np.append(True, np.abs(np.diff(points, axis=0)).max(axis=1) > 4e-4)]


@pytest.mark.in_every_run(0)
def test_every_later_program_is_written_where_the_work_lies(tmp_path, marked):
    (tmp_path / "moved").mkdir()
    moved = built(tmp_path / "moved", extra=MARKS + measured())
    assert moved.passed
    raw = np.insert(shapely.get_coordinates(shapely.box(*moved.plan.clamping.stock.bounds)), 2, 0.0, axis=1)
    upright = there(np.array([0.0, 0.0, 1.0])) - there(np.zeros(3))
    said = moved.report["moved"]
    assert said["worst_residual"] < 1e-4
    assert said["turn"] == pytest.approx(0.2, abs=1e-3)
    hover = next(p.order for p in marked.programs if p.operation == "hover")
    assert said["first_program"] == hover
    for before, after in zip(marked.programs, moved.programs, strict=True):
        a, b = moves(before.text)[1], moves(after.text)[1]
        if before.order < hover:
            assert np.array_equal(a, b)
            continue
        # the centre of a ball moves with the work; other tips do
        lift = np.array([0, 0, 6.35]) if before.cutter.name == "ball" else np.zeros(3)
        expected = there(a + lift) - lift
        high = a[:, 2] >= marked.plan.clamping.safe_z - 1e-6
        up = a[high, 2] + max(0.0, *(there(raw)[:, 2] - raw[:, 2])) - expected[high, 2]
        expected[high] += up[:, None] * upright / upright[2]
        if before.operation == "outline":  # moved, it leaves nothing out in the air, and may end elsewhere
            assert shapely.distance(shapely.LineString(expected[:, :2]), shapely.points(b[:, :2])).max() < 0.05
            assert b[:, 2].min() == pytest.approx(expected[:, 2].min(), abs=0.02)
        else:
            assert apart(b) == pytest.approx(apart(expected), abs=2e-4), before.file_name
    assert "work-moved" in {f["code"] for f in moved.report["checks"]["findings"]}
    assert "moved" in text_of(moved, "resurface")
    assert not moved.report["inlays"][0]["second_cut"]["repeats_first_pass"]
    check_what_is_done(moved, hover)
    check_zero_stays(moved)
    check_marks_as_they_lie(moved, marked)


def check_marks_as_they_lie(moved, marked):
    """Heads, report and page say where the marks went, from which the work is found again."""
    marks = moved.report["marks"]
    lie = there(np.insert(marks["places"], 2, moved.plan.clamping.stock.thickness, axis=1))
    assert np.array(marks["now"]) == pytest.approx(lie, abs=1e-3)
    assert marks["machine"] == marked.report["marks"]["machine"]
    assert marked.report["marks"]["now"] is None
    for text in (report_text(moved.report, "mm"), moved.files()["setup.html"]):
        said = re.search(r"they now are at: (.*?)\. If", text)[1]
        shown = np.array(re.findall(r"X (-?[\d.]+) mm, Y (-?[\d.]+) mm", said), float)
        assert shown == pytest.approx(lie[:, :2], abs=6e-3)
        blocks = [[float(v) for v in one.split(",")] for one in re.findall(r"found = \[(.*?)\]", text)]
        assert np.array(blocks) == pytest.approx(lie, abs=1e-3)
    assert "as they lie now" in report_text(moved.report, "mm")
    head = re.sub(r"\)\s*\((\.\. )?", " ", text_of(moved, "hover"))
    stops = re.findall(r"X (-?[\d.]+) mm, Y (-?[\d.]+) mm", head[head.index("It stops, in this order") :])
    assert np.array(stops, dtype=float) == pytest.approx(lie[:, :2], abs=6e-3)


def test_marks_lie_where_the_wood_does_and_not_where_the_tip_of_a_ball_goes(tmp_path):
    """The last program is cut with a ball end: tilted work carries its centre, 6.35 mm over the tip, aside."""
    moved = built(tmp_path, extra=MARKS.replace('[outline]\ncutter = "flat"\n', "") + measured())
    assert moved.programs[-1].cutter.shape == "ball-end"
    marks = moved.report["marks"]
    lie = there(np.insert(marks["places"], 2, moved.plan.clamping.stock.thickness, axis=1))
    assert np.array(marks["now"]) == pytest.approx(lie, abs=1e-3)


@pytest.mark.in_every_run(0)
def test_how_marks_are_measured_is_told_where_nothing_is_filled_too(tmp_path):
    empty = {"overfill = 0.7": 'fill = "none"'}
    fresh = built(tmp_path, extra=MARKS, changes=empty, resolution=0.5).files(shaded=False)
    moved = built(tmp_path, extra=MARKS + measured() + "[moved]\nbefore = 3\n", changes=empty, resolution=0.5)
    files = moved.files(shaded=False)
    for name in ("report.txt", "setup.html"):
        for text in (fresh[name], files[name]):
            assert "drilled = [[" in text
            assert "For Z set Z 0 for that cutter on the bed" in text
            assert ("they now are at: mark 1 at" in text) == (text is files[name])
    assert "How to measure the marks" in fresh["setup.html"]
    assert "If the work lies" not in fresh["setup.html"]  # there is no second cut
    assert "From program 3 on the work is taken to lie" in files["setup.html"]
    (note,) = (f for f in moved.report["checks"]["findings"] if f["code"] == "work-moved")
    assert "second cut" not in note["remedy"]


def test_clamps_are_drawn_where_they_stand_beside_work_that_moved(tmp_path):
    box = "[setup]\nkeep_out = [{ along = [-18.0, -10.0], across = [-10.0, 10.0], height = 12.0 }]\n"
    clamping = clamping_of(load_job(job(tmp_path, extra=box + MARKS + measured())))
    (shape, height), = _clamps(clamping)
    corners = there(np.array([[*at, clamping.stock.thickness] for at in shape.exterior.coords]))[:, :2]
    assert height == 12.0
    assert np.sort(corners[:4, 0]) == pytest.approx([-18.0, -18.0, -10.0, -10.0], abs=1e-3)
    assert np.abs(corners[:, 1]) == pytest.approx(10.0, abs=1e-3)
    assert there(np.array([[*_zero_of(clamping), 0.0]]))[0, :2] == pytest.approx([0.0, 0.0], abs=0.02)


@pytest.mark.in_every_run(0)
def test_programs_run_before_the_work_moved_are_not_held_against_clamps_as_they_stand_now(tmp_path):
    """The first cuts over where this one stands; what is left to run stays clear of it."""
    box = "[setup]\nkeep_out = [{ along = [-4.0, -2.0], across = [-26.0, -24.0], height = 12.0 }]\n"
    with pytest.raises(JobError, match="keep_out 1"):
        planned_of(load_job(job(tmp_path, extra=box + MARKS)))
    left = measured() + f"[moved]\nbefore = {len(clamping_of(load_job(job(tmp_path, extra=MARKS))).steps)}\n"
    assert built(tmp_path, extra=box + MARKS + left).passed


def check_zero_stays(moved):
    """Where zero was set from the work lies elsewhere now: page and programs say where, for the hand to try it by."""
    x, y, _ = there(np.array([0.0, 0.0, 8.0]))  # the nut face on the centre-line, on top of the raw blank
    shown = f"X {x:.2f} mm, Y {y:.2f} mm"
    page = Page(moved.files()["setup.html"])
    stays = "X 0 Y 0 stays as it was set before the work moved, do not set it again: the nut face on the " \
            f"centre-line now lies at {shown}"
    assert stays in page.all("header")[0][2]
    told = re.findall(r"easuring errors of [^.]+\.[^.]+\.[^.]+", page.by_id("moved")[2])
    assert len(told) == len(set(told))  # the same numbers stood there twice
    by_hand = page.by_id("by-hand")[2]
    assert f"Raise the cutter clear, and move by hand to {shown}: the tip must stand over the nut face on the " \
           "centre-line" in by_hand
    assert "X 0, Y 0" not in by_hand
    for p in moved.programs:  # where it lay when those were run that are done, nobody knows: it may have moved twice
        head, left = re.sub(r"\)\s*\((\.\. )?", " ", p.text), p.order >= moved.plan.clamping.moved_from
        assert (stays in head, " zero: " in head, "before the work last moved: do not run" in head) == (
            left, left, not left)


def check_what_is_done(moved, first):
    """Programs that were run before the work moved are told from those that are left, at the top and in their places.
    """
    left = sum(p.minutes for p in moved.programs if p.order >= first)
    assert moved.report["minutes_left"] == pytest.approx(left, abs=0.01)
    page = Page(moved.files()["setup.html"])
    head = page.all("header")[0][2]
    assert f"Go on with program {first}" in head
    assert f"programs 1 to {first - 1} count as done" in head
    assert "or more were, write the number of the first that was not as [moved] before, and build again" in head
    graver = {**moved.report, "checks": {**moved.report["checks"], "findings": [
        {**one, "severity": "warn"} for one in moved.report["checks"]["findings"]]}}
    assert f" to read before program {first}." in "".join(next(iter(verdict_words(graver))).itertext())
    assert next(warnings(graver).itertext()) == f"Read before program {first}"
    assert page.by_id("programs")[2].partition("In the pictures")[0].count(": done") == first - 1
    assert len(re.findall(r"\ddone", page.by_id("by-hand")[2])) == first - 1
    cards = {p.order: page.by_id(f"program-{p.order}")[2] for p in moved.programs}
    for p in moved.programs:
        assert ("do not run it again" in cards[p.order]) == (p.order < first)
        assert ("Z 0" in cards[p.order]) == (p.order >= first)


def test_rapids_clear_the_highest_that_is_known(tmp_path):
    """Marks stand higher than [stock] thickness, and work that came to lie higher does by as much more."""
    flat = clamping_of(load_job(job(tmp_path, extra=MARKS + DRILLED)))
    drilled = DRILLED.replace("28.0, 7.7", "28.0, 8.6", 1)
    higher = clamping_of(load_job(job(tmp_path, extra=MARKS + drilled)))
    assert higher.safe_z == pytest.approx(flat.safe_z + 0.6)
    found = "".join(f"[[measured]]\nfound = {[x, y, z + 0.4]}\n" for x, y, z in (
        (-15.0, -28.0, 8.0), (-15.0, 28.0, 7.7), (98.0, -28.0, 8.0), (98.0, 28.0, 7.7)))
    moved = clamping_of(load_job(job(tmp_path, extra=MARKS + DRILLED + found + "[moved]\nbefore = 3\n")))
    tip = np.array([[40.0, 0.0, moved.safe_z]])
    assert moved.to_machine(tip, moved.steps[1])[0, 2] == pytest.approx(flat.safe_z)
    raised = moved.to_machine(tip, moved.steps[2])
    assert raised[0, 2] == pytest.approx(flat.safe_z + 0.4)
    assert moved.to_board(raised, moved.steps[2])[0, 2] == pytest.approx(moved.safe_z)


def tilted_clamping(folder):
    return clamping_of(load_job(job(folder, extra=MARKS + measured())))


def test_a_lift_out_of_work_that_tilted_goes_along_its_own_upright_all_the_way(tmp_path):
    """Leaning by thousandths of a millimetre it was refused, as a rapid through a wall."""
    clamping = tilted_clamping(tmp_path)
    step, ways = clamping.steps[-1], np.array([[40.0, 0.0, 2.0], [40.0, 0.0, clamping.safe_z]])
    turned = clamping.moved.rotation
    up = np.diff(clamping.to_machine(ways, step), axis=0)[0]
    assert up / np.linalg.norm(up) == pytest.approx(turned[:, 2], abs=1e-12)
    assert clamping.to_board(clamping.to_machine(ways, step), step) == pytest.approx(ways, abs=1e-9)


def test_up_and_down_in_work_that_tilted_is_read_as_that(tmp_path):
    """Its X and Y are written, and rounded: a bevel's plunges were taken for cuts along the slot, and refused."""
    clamping = tilted_clamping(tmp_path)
    step = clamping.steps[-1]
    for x, y in np.random.default_rng(1).uniform(0.0, 30.0, (20, 2)):
        way = [(x, y, 9.0), (x, y, 5.0), (x, y, 4.0), (x, y, 9.0), (x + 0.001, y, 4.0)]
        text = "G21 G90 G17 G94 F100\n" + "".join(
            "G1 X{:.4f} Y{:.4f} Z{:.4f}\n".format(*place) for place in clamping.to_machine(np.array(way), step))
        motion = motion_over_board(read_program(text), clamping, chord_tolerance=1e-4, step=step)
        assert (motion.end[:4, :2] == motion.end[0, :2]).all()
        lowest = np.round(clamping.to_machine(np.array(way), step), 4)[2:3]
        assert motion.end[2] == pytest.approx(clamping.to_board(lowest, step)[0], abs=1e-12)
        assert (motion.start[1:] == motion.end[:-1]).all()
        assert motion.end == pytest.approx(np.array(way), abs=2e-4)


@pytest.mark.in_every_run(0)
def test_rapids_may_pass_work_that_tilted_as_near_as_any(tmp_path):
    """It rises by no round number: rapids that pass 0.5 mm above it were told to be lower, by what rounding takes off.
    """
    rows = found((-15.09, -28.13, 8.19), (-15.29, 27.87, 7.77), (97.91, -27.72, 8.49), (97.71, 28.28, 8.07))
    near = f"{MARKS.replace('1.5', '0.2')}{DRILLED}{rows}[moved]\nbefore = 4\n[machine]\nclearance = 0.5\n"
    result = pathgen.build(load_job(job(tmp_path, changes={"overfill = 0.7": "overfill = 0.3"}, extra=near)))
    assert result.report["checks"]["passed"], result.report["checks"]["findings"]


def test_programs_for_unmoved_work_are_refused_once_it_has_moved(tmp_path, marked):
    clamping = clamping_of(load_job(job(tmp_path, extra=MARKS + measured())))
    found = verify(clamping, {p.file_name: p.text for p in marked.programs}, resolution=0.2).findings
    codes = {f.code for f in found if f.severity == "forbid"}
    assert {"resurface-differs", "resurface-takes-wood"} <= codes


def test_a_warped_board_is_refused_with_the_residual(tmp_path):
    path = job(tmp_path, extra=MARKS + measured(error=0.4) + "[moved]\nlimit = 0.15\n")
    with pytest.raises(JobError, match=r"0\.2\d\d mm is left over.*limit 0\.15 mm.*warped"):
        clamping_of(load_job(path))


@pytest.mark.parametrize(("extra", "words"), [
    ("[moved]\nlimit = 0.1\n", "no marks were measured"),
    ("[[measured]]\nfound = [1.0, 2.0, 3.0]\n", "there are no witness marks"),
    (MARKS + "[[measured]]\nfound = [-15.0, -28.0, 8.0]\n", "1 marks"),
    (MARKS + measured() + "[moved]\nbefore = 40\n", "program 40"),
    (MARKS + "drilled = [[-15.0, -28.0, 8.0], [-15.0, 28.0, 8.0], [98.0, -28.0, 8.0]]\n" + measured()
     + "[moved]\nbefore = 1\n", r"program 1 drills the marks, which were measured.*allowed: 2 to \d+\): write 2"),
    (MARKS + "drilled = [[-15.0, -28.0, 8.0], [-15.0, 28.0, 8.0], [98.0, -28.0, 8.0]]\n" + HOLES + measured()
     + "[moved]\nbefore = 1\n", r"program 1 drills the marks, which were measured.*allowed: 2 to \d+\): write 2"),
])
def test_measured_marks_that_do_not_go_together(tmp_path, extra, words):
    with pytest.raises(JobError, match=words):
        clamping_of(load_job(job(tmp_path, extra=extra)))


def test_work_that_moved_before_program_1_was_run_to_its_end_is_not_laid_down_anew(tmp_path):
    """Places of its own number were measured, none of them a mark: there are none."""
    clamping = clamping_of(load_job(job(tmp_path, extra='[outline]\ncutter = "flat"\n' + measured()
                                        + "[moved]\nbefore = 1\n")))
    lines = before_start(clamping, clamping.steps[0])
    assert lines[0].startswith("This program is written for the work as it lies now")
    assert lines[1].startswith("See that the work still lies on its spoilboard")
    assert [before_start(clamping, step)[0] for step in clamping.steps[1:]] == [
        "Keep the old zero, as before program 1: this one is for the work as it lies now too."
    ] * (len(clamping.steps) - 1)
    assert not any(line.startswith(("Lay the blank", "Let the work", "Measure the blank", "Hold")) for line in lines)


def test_programs_that_there_will_not_be_are_not_counted(tmp_path):
    """The slot cutter finds nothing to do in a disc of 16 mm that the flat end opens whole."""
    extra = SLOT_CUTTER + MARKS + measured() + "[moved]\nbefore = 40\n"
    both = {'cutters = ["flat"]': 'cutters = ["flat", "slot"]\ncolours = ["#225577"]'}
    with pytest.raises(JobError) as refused:
        clamping_of(load_job(job(tmp_path, extra=extra, changes=both)))
    there_are = planned_of(load_job(job(tmp_path, extra=extra.replace("before = 40", "before = 2"), changes=both)))
    assert refused.value.allowed == f"1 to {len(there_are.clamping.steps)}"
    # nor is the program offered that drills the marks, which were measured
    with pytest.raises(JobError) as refused:
        clamping_of(load_job(job(tmp_path, extra=f"{MARKS}{DRILLED}{found(*PLACES.tolist())}[moved]\nbefore = 40\n")))
    assert refused.value.allowed == "2 to 6"
    # where nothing is filled the maker must say, and is not offered what is refused then
    text = f"{MARKS}{DRILLED}{found(*PLACES.tolist())}"
    unfilled = {"overfill = 0.7": 'fill = "none"'}
    with pytest.raises(JobError, match=r"\[moved\]: before is missing.*allowed: 2 to 4\)"):
        clamping_of(load_job(job(tmp_path, extra=text, changes=unfilled)))
    for before in (2, 4):
        clamping = clamping_of(load_job(job(tmp_path, extra=f"{text}[moved]\nbefore = {before}\n", changes=unfilled)))
        assert clamping.moved_number == before


def test_marks_measured_in_another_unit_than_the_jobs_are_named_with_their_numbers_in_its_own(tmp_path):
    inches = measured().replace("found = [", "found = [ ")
    for words in re.findall(r"found = \[ (.*?)\]", inches):
        inches = inches.replace(words, ", ".join(f"{float(v) / 25.4:.6f}" for v in words.split(",")))
    x = there(PLACES)[3, 0]
    with pytest.raises(JobError, match=rf"marks 1, 2, 3 and 4 would lie.*if in are meant.*mark 4: found = \[{x:.1f}"):
        clamping_of(load_job(job(tmp_path, extra=MARKS + inches)))


DRILLED = "drilled = [[-15.0, -28.0, 8.0], [-15.0, 28.0, 7.7], [98.0, -28.0, 8.0], [98.0, 28.0, 7.7]]\n"


def found(*rows):
    return "".join(f"[[measured]]\nfound = {list(row)}\n" for row in rows)


def test_marks_measured_once_drilled_stay_there_and_are_compared_with_that(tmp_path):
    """A blank 0.3 mm thinner along one side, that slipped by 0.2 mm: it has not tilted."""
    rows = found((-14.8, -28.0, 8.0), (-14.8, 28.0, 7.7), (98.2, -28.0, 8.0), (98.2, 28.0, 7.7))
    clamping = clamping_of(load_job(job(tmp_path, extra=MARKS + DRILLED + rows)))
    assert clamping.feature(WitnessMarks).places == pytest.approx(PLACES[:, :2])
    assert clamping.moved.shift == pytest.approx([0.2, 0.0, 0.0], abs=1e-9)
    assert clamping.moved.tilt_deg == pytest.approx((0.0, 0.0), abs=1e-9)
    assert list(moved_warnings(clamping)) == []
    assert "do not run it again" in " ".join(before_start(clamping, clamping.steps[0]))
    with pytest.raises(JobError, match="drilled: at is given too"):
        load_job(job(tmp_path, extra=MARKS + DRILLED + FAR_END))


def test_an_uneven_blank_is_not_taken_for_one_that_sank(tmp_path):
    places = ", ".join(str([x, y]) for x, y, _ in PLACES.tolist())
    thinner = found((-15.0, -28.0, 8.0), (-15.0, 28.0, 7.7), (98.0, -28.0, 8.0), (98.0, 28.0, 7.7))
    with pytest.raises(JobError, match=r"0\.3\d mm into the bed.*cannot sink.*\[marks\] drilled"):
        clamping_of(load_job(job(tmp_path, extra=MARKS + f"at = [{places}]\n" + thinner)))


AT = "at = [" + ", ".join(str([x, y]) for x, y, _ in PLACES.tolist()) + "]\n"
DRILLED_FROM_TOP = DRILLED.replace("8.0]", "0.0]").replace("7.7]", "-0.3]")


@pytest.mark.parametrize(("z_zero", "marks", "lower", "words"), [
    ("bed", DRILLED, [0.52] * 4, r"0\.5\d mm into the bed it lay on.*allowed: 0\.5 mm, .*pointed cutter on the bed"),
    ("bed", DRILLED, [3.0] * 4, r"3 mm into the bed it lay on"),
    ("bed", DRILLED, [0.0, 0.0, 1.2, 1.2], r"1\.2\d mm into the bed it lay on .* 105 mm along"),
    ("stock-top", DRILLED_FROM_TOP, [3.0] * 4, r"3 mm into the bed it lay on.*pointed cutter by the Z noted"),
    ("stock-top", AT, [3.0] * 4, r"3 mm into the bed it lies on.*allowed: 0\.5 mm\).*\[marks\] drilled.*less the same"),
])
def test_a_blank_that_would_have_sunk_into_the_bed_is_refused(tmp_path, z_zero, marks, lower, words):
    """Heights measured once drilled are believed, and so is the bed: a few tenths are tape, or a bed that is uneven."""
    heights = np.array([8.0, 7.7, 8.0, 7.7] if marks != AT else [8.0] * 4) - (8.0 if z_zero == "stock-top" else 0.0)
    rows = found(*np.round(np.column_stack([PLACES[:, :2], heights - lower]), 4).tolist())
    changes = {"[stock]": f'[setup]\nz_zero = "{z_zero}"\n[stock]'}
    with pytest.raises(JobError, match=words):
        clamping_of(load_job(job(tmp_path, changes=changes, extra=MARKS + marks + rows)))


@pytest.mark.parametrize(("drilled", "shift", "codes"), [
    (DRILLED, (0.2, 0.0, 0.0), set()),
    (DRILLED, (4.0, 0.0, 0.0), {"moved-far"}),
    (DRILLED, (0.2, 0.0, 4.0), {"moved-far", "rises"}),
    (DRILLED, (0.2, 0.0, -0.2), {"sinks"}),
    (DRILLED, (0.2, 0.0, -0.49), {"sinks"}),
    (DRILLED, (0.2, 0.0, 0.11), {"lift-of-a-feeler"}),
    (DRILLED, (0.2, 0.0, 0.3), {"rises"}),
    (DRILLED, (0.2, 0.0, 0.04), set()),
    ("", (0.2, 0.0, 0.3), {"heights-guessed"}),
    ("", (0.2, 0.0, 0.02), set()),
])
def test_moves_that_held_work_hardly_makes_are_asked_about(tmp_path, drilled, shift, codes):
    heights = (8.0, 7.7, 8.0, 7.7) if drilled else (8.0,) * 4
    rows = found(*(np.round([x, y, z] + np.array(shift), 4).tolist()
                   for (x, y, _), z in zip(PLACES.tolist(), heights, strict=True)))
    clamping = clamping_of(load_job(job(tmp_path, extra=MARKS + (drilled or AT) + rows)))
    assert {f.code for f in moved_warnings(clamping)} == codes
    for off in (f for f in moved_warnings(clamping) if f.code in ("sinks", "rises")):  # each mark as it was found
        how = "lower" if shift[2] < 0 else "higher"
        assert all(f"mark {k} {abs(shift[2]):g} mm {how}" in off.got for k in (1, 2, 3, 4)), off.got


@pytest.mark.parametrize(("z_zero", "drilled", "words"), [
    ("bed", DRILLED, "cutter was set on the bed"),
    ("stock-top", DRILLED_FROM_TOP, "cutter was set by the Z noted on the bed"),
])
def test_zero_is_looked_for_where_it_lies(tmp_path, z_zero, drilled, words):
    tops = np.array([8.0, 7.7, 8.0, 7.7]) - (8.0 if z_zero == "stock-top" else 0.0)
    rows = found(*np.round(np.column_stack([PLACES[:, :2], tops - 0.3]), 4).tolist())
    changes = {"[stock]": f'[setup]\nz_zero = "{z_zero}"\n[stock]'}
    (sinks,) = moved_warnings(clamping_of(load_job(job(tmp_path, changes=changes, extra=MARKS + drilled + rows))))
    assert (sinks.code, words in sinks.remedy) == ("sinks", True)


ALONE = "[[-15.0, -28.0], [-15.0, 0.0], [98.0, 28.0], [-15.0, 28.0]]"


def test_of_placed_marks_each_is_checked_by_the_others(marked):
    marks = marked.plan.clamping.feature(WitnessMarks)
    p = np.column_stack([marks.places, np.full(4, 8.0)])
    for k in range(4):
        # an error at one, in height and in place, leaves at least a seventh of itself over
        for way in np.eye(3):
            left = fit_move(p, p + 0.01 * way * (np.arange(4) == k)[:, None], limit=9.0).residuals[k]
            assert left @ way >= 0.0015
    assert marked.report["marks"]["unchecked"] == []
    assert "checked by no other" not in marked.files(shaded=False)["report.txt"]


def test_a_mark_that_no_other_checks_is_told(tmp_path):
    result = built(tmp_path, resolution=0.5, extra=MARKS + f"at = {ALONE}\n")
    files = result.files(shaded=False)
    for name in ("report.txt", "setup.html"):
        assert "The height of mark 3 is checked by no other: measure it twice" in files[name]


@pytest.mark.parametrize(("heights", "codes"), [
    ((8.01, 7.99, 8.02, 8.0), {"height-unchecked"}), ((8.01, 7.99, 8.6, 8.0), {"height-unchecked", "height-doubtful"}),
])
def test_of_a_lone_mark_a_height_unlike_the_others_is_doubted(tmp_path, heights, codes):
    places = json.loads(ALONE)
    drilled = f"drilled = {[[*p, 8.0] for p in places]}\n"
    rows = found(*([*p, z] for p, z in zip(places, heights, strict=True)))
    clamping = clamping_of(load_job(job(tmp_path, extra=MARKS + drilled + rows)))
    said = [*moved_warnings(clamping), *_moved_notes(clamping)]
    assert {f.code for f in said} - {"work-moved"} == codes
    assert all("mark 3" in f.got for f in said if f.code.startswith("height"))


def test_a_height_unlike_those_that_check_it_is_refused(tmp_path):
    """Four marks at corners: 0.4 mm at one is 0.1 mm left over at each (a quarter), 0.3 mm of the board's corner."""
    places = [[-16.0, -29.0], [-16.0, 29.0], [98.0, 29.0], [98.0, -29.0]]
    drilled = f"drilled = {[[*p, 8.0] for p in places]}\n"

    def moved(*heights, more=""):
        rows = found(*([*p, z] for p, z in zip(places, heights, strict=True)))
        return clamping_of(load_job(job(tmp_path, extra=MARKS + drilled + rows + more))).moved

    assert moved(8.0, 8.0, 8.28, 8.0).worst < 0.1  # a warning, below
    with pytest.raises(JobError, match=r"the height of mark 3 differs by 0.39 mm from where the others put it "
                                       r"\(allowed: about 0.05 mm where .*: measure it again, Z 0 set anew first"):
        moved(8.0, 8.0, 8.39, 8.0)
    assert moved(8.0, 8.0, 8.39, 8.0, more="[moved]\naccuracy = 0.07\n").worst < 0.1


@pytest.mark.parametrize(("rises", "codes", "words"), [
    ((0.0, 0.0, 0.28, 0.0), {"height-doubtful"}, "the height of mark 3 differs by 0.28 mm"),
    ((0.0, 0.05, 0.28, 0.0), {"height-doubtful"}, "the height of mark 3 differs by 0.23 mm"),
    ((0.0, 0.12, 0.47, 0.12), {"height-doubtful"}, "the height of one of marks 1, 2, 3 or 4 differs by 0.23 mm"),
    ((0.05, -0.05, 0.05, -0.05), set(), ""),  # each right to accuracy
])
def test_what_heights_leave_over_is_told_before_it_is_refused(tmp_path, rises, codes, words):
    """Four marks at corners leave a half of one wrong height over, in all; errors of 0.05 mm at each at most 0.1 mm."""
    places = [[-16.0, -29.0], [-16.0, 29.0], [98.0, 29.0], [98.0, -29.0]]
    drilled = f"drilled = {[[*p, 8.0] for p in places]}\n"
    rows = found(*([*p, 8.0 + rise] for p, rise in zip(places, rises, strict=True)))
    told = list(moved_warnings(clamping_of(load_job(job(tmp_path, extra=MARKS + drilled + rows)))))
    assert {f.code for f in told} == codes
    assert all(words in f.got for f in told)


@pytest.mark.parametrize(("rise", "codes"), [(0.12, set()), (0.3, {"rises"}), (-0.12, set()), (-0.3, {"sinks"})])
def test_a_corner_that_rises_or_sinks_is_held_against_what_errors_do_there(tmp_path, rise, codes):
    """Two marks lie near one diagonal of the blank: at the ends of the other, errors at them do 1.8 times as much."""
    places = np.array([[-15.0, -30.0], [40.0, 30.0], [40.0, -30.0], [98.0, 30.0]])
    heights = 8.0 + rise * ((places @ [1.0, -2.0] + 70) / 224)  # 0 and 1 at the corners that are far from the marks
    drilled = f"drilled = {[[*p, 8.0] for p in places.tolist()]}\n"
    rows = found(*([*p, round(z, 4)] for p, z in zip(places.tolist(), heights.tolist(), strict=True)))
    limit = "\n[moved]\nboard_limit = 0.2\n"
    told = list(moved_warnings(clamping_of(load_job(job(tmp_path, extra=MARKS + drilled + rows + limit)))))
    assert {f.code for f in told} == codes


@pytest.mark.parametrize(("tops", "told", "remedy"), [
    ((7.71, 7.69, 7.7, 7.7), "found were mark 1 0.29 mm lower, mark 2 0.31 mm lower",
     "as by a wrong Z 0, all are lower by about as much: see that Z 0"),
    ((7.7, 8.05, 7.7, 8.05), "found were mark 1 0.3 mm lower, mark 2 0.05 mm higher",
     "measure again the mark that differs most from its neighbours: see that Z 0"),
])
def test_of_marks_that_are_all_as_much_lower_none_is_suspected(tmp_path, tops, told, remedy):
    """It said "by how much higher each was found: mark 1 -0.29 mm", and to measure the one that differs most."""
    found = "".join(f"[[measured]]\nfound = {[*p[:2], z]}\n" for p, z in zip(PLACES.tolist(), tops, strict=True))
    extra = f"{MARKS}drilled = {PLACES.tolist()}\n{found}[moved]\nboard_limit = 0.2\n"
    (sinks,) = [f for f in moved_warnings(clamping_of(load_job(job(tmp_path, extra=extra)))) if f.code == "sinks"]
    assert told in sinks.got
    assert sinks.remedy.startswith(remedy)


def test_heights_measured_once_drilled_are_held_against_the_thickness(tmp_path):
    def doubts(*heights, z_zero="bed", thickness="8.0"):
        row = [[*p[:2], z] for p, z in zip(PLACES.tolist(), heights, strict=True)]
        changes = {"[stock]": f'[setup]\nz_zero = "{z_zero}"\n[stock]', "thickness = 8.0": f"thickness = {thickness}"}
        path = job(tmp_path, changes=changes, extra=MARKS + f"drilled = {row}\n")
        clamping = clamping_of(load_job(path))
        told = (d for d in doubts_of(load_job(path), clamping) if d.where == "[marks] drilled")
        return [f"{d.problem}: {d.remedy}" for d in told], clamping

    assert doubts(8.1, 8.0, 7.6, 7.9)[0] == []
    high, clamping = doubts(8.0, 8.0, 8.7, 8.3)
    assert high == ["mark 3 is 0.7 mm above [stock] thickness, 8 mm, and mark 4 is above it too: write [stock] "
                    "thickness = 8.7, or measure again"]
    assert "8 mm, and marks 1 and 4 are above it too: " in doubts(8.3, 8.0, 8.7, 8.3)[0][0]
    with pytest.raises(JobError, match=r"drilled 3: it is 0.75 mm above \[stock\] thickness, 8 mm: rapids would go "
                                       r"into the wood \(allowed: up to 0.7 mm above it\): write \[stock\] thick"
                                       r"ness = 8.75"):
        doubts(8.0, 8.0, 8.75, 8.3)
    low, _ = doubts(8.0, 7.0, 8.0, 8.0)
    assert low[0].startswith("mark 2 is 1 mm below [stock] thickness, 8 mm: measure again, Z 0 set anew first")
    # the cutter that hovers over the marks does so over the highest of them, and is held to it
    hover = next(s for s in clamping.steps if s.operation.name == "hover")
    path = path_of(hover, Around(clamping=clamping))
    assert path.points[:, 2].min() == pytest.approx(8.7 + 1.5)
    over = "".join(f"G0 X{x} Y{y}\nG1 Z{{z}} F300\nM0\nG0 Z30\n" for x, y, _ in PLACES)
    for z, codes in ((10.2, []), (8.8, ["hovers-too-low"])):
        read = read_program("G21 G90 G94 G17 G54\nG0 Z30\n" + over.format(z=z) + "M30\n")
        motion = motion_over_board(read, clamping, chord_tolerance=1e-4)
        assert [f.code for f in hover_findings(motion, read.pauses, hover, clamping, Tolerances())] == codes
    with pytest.raises(JobError, match=r"drilled 1: its Z is 8 mm below the top.*about 8 mm.*Z counts from the bed.*, "
                                       'or write .setup. z_zero = "stock-top" again if Z 0 was the raw top when'):
        doubts(0.0, 0.0, 0.0, 0.0)
    with pytest.raises(JobError, match=r"drilled 1: its Z is 8 mm above the top.*about 0 mm.*from the raw top.*, or "
                                       'write .setup. z_zero = "bed" again if Z 0 was the bed when the marks'):
        doubts(8.0, 8.0, 8.0, 8.0, z_zero="stock-top")
    with pytest.raises(JobError, match=r"and measure again$"):  # one is no other zero
        doubts(8.0, 8.0, 0.0, 8.0)


def test_marks_drilled_in_one_place_are_refused(tmp_path):
    with pytest.raises(JobError, match=r"drilled 2: lies where mark 1 does.*signs"):
        clamping_of(load_job(job(tmp_path, extra=MARKS + DRILLED.replace("28.0, 7.7", "-28.0, 7.7", 1))))


def test_the_line_to_copy_holds_what_the_job_has_measured(tmp_path):
    result = built(tmp_path, resolution=0.5, extra=MARKS + DRILLED)
    files = result.files(shaded=False)
    line = "drilled = [[-15.0000, -28.0000, 8.0000], [-15.0000, 28.0000, 7.7000], [98.0000, -28.0000, 8.0000], " \
           "[98.0000, 28.0000, 7.7000]]"
    assert line in files["report.txt"]
    assert line in files["setup.html"]


def warned_of(folder, own, report):
    """What is said of marks that lie elsewhere, a line each."""
    return [f"{one.where}: {one.got}: {one.remedy}" for one in marks_moved(folder, own, report)]


@pytest.mark.in_every_run(0)
def test_a_build_says_that_marks_were_elsewhere_in_earlier_ones(tmp_path, capsys):
    """As long as they are, and in report and page too: what is said once is overlooked."""
    out = tmp_path / "out"

    def said(extra, path):
        job(tmp_path, extra=MARKS + extra)
        assert main(["build", str(path), "--out", str(out), "--no-pictures", "--resolution", "0.5"]) == 0
        return "\n".join(line for line in capsys.readouterr().out.splitlines() if "[marks]" in line)

    path = job(tmp_path, extra=MARKS)
    assert said("", path) == ""
    before = json.loads((out / "report.json").read_text())["marks"]
    assert said("", path) == ""
    elsewhere = "at = [" + ", ".join(str([x, y]) for x, y, _ in PLACES.tolist()) + "]\n"
    for which in ("the build before this one", "the first build"):
        warned = said(elsewhere, path)
        assert f"warning: [marks]: they are up to 58 mm from where {which} in {out} had them" in warned
        x, y = before["machine"][0]
        assert f"drilled = [[{x:.4f}, {y:.4f}, 8.0000], [" in warned
        for name in ("report.txt", "setup.html"):
            assert f"from where {which} in {out} had them" in (out / name).read_text()
        codes = [row["code"] for row in json.loads((out / "report.json").read_text())["checks"]["findings"]]
        assert codes.count("marks-elsewhere") == 1
    assert f"if none of them is, remove {out}, and this is not said again" in warned
    assert said("", path) == ""  # back where they were
    third = said("at = [[-16.0, -28.0], [-16.0, 28.0], [98.0, 28.0]]\n", path)
    assert "the first build" not in third  # the same as the one before
    both = said(elsewhere, path)
    assert ("the build before this one" in both, "the first build" in both) == (True, True)
    which = "Of both lines the right one is that whose X and Y the display shows over the marks in the wood."
    assert (both.count(which), which in warned, which in third) == (1, False, False)
    # what it names is in the words of the sheet too, and reads
    pinned = said(re.search(r"drilled = \[\[.*\]\]", warned)[0] + "\n", path)
    assert pinned == ""  # the maker says where they are
    assert json.loads((out / "report.json").read_text())["marks"]["machine"] == before["machine"]
    job(tmp_path, extra=MARKS.replace("[marks]", "[marks]\nat = [[-16.0, -28.0], [-16.0, 28.0], [98.0, 28.0]]"))
    shown = []
    page = SimpleNamespace(look_again=list, busy=list, show_placing=list,
                           show_build=lambda page, warnings: shown.append(warnings))
    watch = _Watch(path, out, page, 0.5)
    for which in ("the build before this one", "the first build"):
        watch._build(watch._stamp())
        (line,) = shown.pop()
        assert line in capsys.readouterr().out
        assert line.startswith(f"[marks]: they are not those of {which} in ")


def test_of_each_part_of_a_blank_it_is_said_that_its_marks_were_elsewhere(tmp_path):
    blank = load_job(Path(__file__).parents[2] / "examples" / "one-blank" / "three-plates.toml")

    def report(*marks):
        parts = [{"name": name, "report": {"marks": machine and {"machine": machine, "machine_top": 3.0}}}
                 for name, machine in zip(("head-plate", "rod-cover", "heel-cap"), marks, strict=True)]
        return {"title": blank.title, "parts": parts}

    (tmp_path / "report.json").write_text(json.dumps(report([[0, 0], [9, 0]], [[0, 5], [9, 5]], None)))
    assert warned_of(tmp_path, blank, report([[0, 0], [9, 0.1]], [[0, 5], [9, 5]], [[1, 2]])) == []
    moved, gone = warned_of(tmp_path, blank, report([[0, 0], [9, 0.5]], None, None))
    assert moved.startswith("head-plate, [marks]: they are up to 0.5 mm from where the build before")
    assert "write drilled = [[0.0000, 0.0000, 3.0000], [9.0000, 0.0000, 3.0000]] into [marks]" in moved
    assert gone.startswith("rod-cover, [marks]: they are not those of the build before")


def test_another_zero_moves_no_mark_in_the_wood(tmp_path):
    own = load_job(job(tmp_path, extra=MARKS))
    was = {"machine": [[0.0, 0.0], [9.0, 0.0]], "places": [[-12.0, -20.0], [-3.0, -20.0]], "machine_top": 8.0}
    (tmp_path / "report.json").write_text(json.dumps({"title": own.title, "marks": was}))
    machine = [[50.0, 10.0], [59.0, 10.0]]
    assert warned_of(tmp_path, own, {"marks": was | {"machine": machine}}) == []
    places = [[-12.0, -20.0], [-3.0, -17.0]]
    (said,) = warned_of(tmp_path, own, {"marks": was | {"machine": machine, "places": places}})
    assert said.startswith("[marks]: they are up to 3 mm from where")


def test_a_slip_of_the_pen_in_what_was_drilled_is_told(tmp_path):
    own = load_job(job(tmp_path, extra=MARKS + DRILLED))
    (tmp_path / "report.json").write_text(json.dumps({"title": own.title, "marks": {
        "machine": PLACES[:, :2].tolist(), "machine_top": 8.0}}))
    for y, words in ((28.0, []), (28.9, []), (-28.3, ["Y of mark 2 has not the sign that it has"]),
                     (-20.0, ["mark 2 lies 48 mm from where the build before this one"]),
                     (46.0, ["mark 2 lies 18 mm from where the build before this one"])):
        now = PLACES[:, :2] + np.where(np.arange(4) == 1, y - 28.0, 0.1)[:, None] * [0, 1]
        said = warned_of(tmp_path, own, {"marks": {"machine": now.tolist(), "machine_top": 8.0}})
        assert [line.split(" in ")[0] for line in said] == [f"[marks] drilled: {line}" for line in words]
        assert all(line.endswith(": see that it is what was measured") for line in said)
    for off, words in (([[5.0, 0.0]] * 4, ["all marks lie 5 mm the same way from where the build before"]),
                       ([[5.0, 0.0], [9.0, 0.0], [0.0, 7.0], [0.0, 0.0]], [])):  # those of another build
        said = warned_of(tmp_path, own, {"marks": {"machine": (PLACES[:, :2] + off).tolist(), "machine_top": 8.0}})
        assert [line.split(" this one")[0] for line in said] == [f"[marks] drilled: {line}" for line in words]
    (said,) = warned_of(tmp_path, own, {"marks": {"machine": PLACES[:3, :2].tolist(), "machine_top": 8.0}})
    assert said.startswith("[marks] drilled: 3 marks, and 4 in the build before")


def test_a_drilled_mark_off_the_waste_is_asked_for_its_numbers_first(tmp_path):
    off = DRILLED.replace("[98.0, -28.0, 8.0]", "[980.0, -28.0, 8.0]")
    with pytest.raises(JobError, match=r"drilled: mark 3 .* off the free .*: compare its numbers and their signs with "
                                       r"what was measured; where they are right, move what is cut or clamped there"):
        clamping_of(load_job(job(tmp_path, extra=MARKS + off)))


def test_drilled_marks_that_count_from_another_zero_name_it(tmp_path):
    """The maker was told to measure again, or to move what is cut there."""
    with pytest.raises(JobError, match=r"drilled: mark 1 .* off the free .*: the numbers fit \[setup\] zero = "
                                       '"nut-centre": if X 0 and Y 0 were set there when the marks were drilled, write '
                                       "that again; else compare its numbers"):
        clamping_of(load_job(job(tmp_path, changes={"[stock]": '[setup]\nzero = "blank-centre"\n[stock]'},
                                 extra=MARKS + DRILLED)))


@pytest.mark.in_every_run(0)
def test_no_other_zero_is_advised_once_marks_count_from_it(tmp_path):
    """Obeyed, it was refused: the marks then lay 288 mm off."""
    clamp = "keep_out = [{ along = [-20.0, -16.0], across = [-33.0, -29.0], height = 12.0 }]"
    changes = {"[stock]": f'[setup]\nz_zero = "stock-top"\nzero = "blank-nut-bass"\n{clamp}\n[stock]'}
    rows = [[5.0, 5.0, 0.0], [5.0, 61.0, 0.0], [118.0, 5.0, 0.0], [118.0, 61.0, 0.0]]
    drilled = f"drilled = {rows}\n"
    for extra, advised in (("", True), (drilled, False), (drilled + found(*rows), False)):
        said = built(tmp_path, resolution=0.5, changes=changes, extra=MARKS + extra).report["checks"]["findings"]
        (raw_top,) = [f["remedy"] for f in said if f["code"] == "zero-on-raw-top"]
        assert raw_top == "set Z by what was noted on the bed before program 1" + ', or write z_zero = "bed"' * advised
        assert any("stands on the place of X 0 Y 0" in f["got"] for f in said) is advised


def test_the_block_to_copy_holds_what_was_found_and_not_what_all_marks_say_together(tmp_path):
    """Each is read 0.03 mm off the others: fitted numbers in its place would hide that."""
    rows = [[x + 0.2, y + off, z] for (x, y, z), off in zip(PLACES.tolist(), (0.03, -0.03, -0.03, 0.03), strict=True)]
    made = built(tmp_path, resolution=0.5, extra=MARKS + AT + found(*rows[:3]) + "[moved]\nboard_limit = 0.3\n")
    now, text = made.report["marks"]["now"], made.files(shaded=False)["report.txt"]
    assert np.abs(np.array(now[:3]) - rows[:3]).max() > 0.005
    for k, place in enumerate([*rows[:3], now[3]], 1):  # of one not measured where the others put it
        assert f"found = [{', '.join(f'{v:.4f}' for v in place)}]  # mark {k}" in text
    assert f"they now are at: mark 1 at X {round(now[0][0], 2):g} mm, " in text


def test_of_marks_of_another_job_nothing_is_said(tmp_path):
    path = job(tmp_path, extra=MARKS)
    own = load_job(path)
    marks = {"machine": [[0, 0], [9, 0]], "machine_top": 8.0}
    for title, count in ((own.title, 1), ("another board", 0)):
        (tmp_path / "report.json").write_text(json.dumps({"title": title, "marks": marks}))
        assert len(warned_of(tmp_path, own, {"marks": None})) == count


@pytest.mark.parametrize(("length", "blank", "told"), [
    (80.0, [125.0, 66.0, 8.0], True), (85.0, [120.0, 66.0, 8.0], True), (80.0, [120.0, 66.0, 8.0], False),
])
def test_marks_of_a_build_with_another_title_are_told_with_it(tmp_path, length, blank, told):
    """A board that got another title and grew lies in the same blank; another board as long may lie in another."""
    own = load_job(job(tmp_path, extra=MARKS))
    marks = {"machine": [[0, 0], [9, 0]], "machine_top": 8.0}
    was = {"title": "fern, first try", "board": {"length": length}, "marks": marks | {"blank": blank}}
    (tmp_path / "report.json").write_text(json.dumps(was))
    now = {"board": {"length": 85.0}, "marks": marks | {"machine": [[0, 1], [9, 1]], "blank": [125.0, 66.0, 8.0]}}
    said = warned_of(tmp_path, own, now)
    assert len(said) == told
    for line in said:
        assert f'in {tmp_path} (of "fern, first try") had them: if that was this very blank and its marks are ' in line


def test_measured_marks_of_their_own_number(tmp_path, marked):
    places = [[*p, 8.0] for p in marked.report["marks"]["places"]]
    rows = "".join(f"[[measured]]\nfound = {[p[0] + 0.2, p[1], p[2] + 0.05]}\n" for p in places)
    clamping = clamping_of(load_job(job(tmp_path, extra=MARKS + rows)))
    assert clamping.moved.shift == pytest.approx([0.2, 0.0, 0.05])


def test_where_no_raw_top_is_left_z_0_is_set_by_what_was_noted_on_the_bed(tmp_path):
    """Such a job was refused, though the Z of the bed that the first card has noted does."""
    changes = {
        "length = 125.0": "length = 92.0", "width = 66.0": "width = 48.0", "margin_nut = 20.0": "margin_nut = 1.0",
        "[stock]": '[setup]\nz_zero = "stock-top"\n[stock]',
    }
    made = built(tmp_path, changes=changes, resolution=0.5)
    assert made.passed
    first, *later = [row["z"] for row in made.report["references"]]
    assert first == ["the raw top of the blank"]
    assert later == [["the bed, by the Z noted there"]] * len(later)
    cards = made.files(shaded=False)["setup.html"].split('<article')[1:]
    assert ["and note the Z shown" in card for card in cards] == [True] + [False] * len(later)
    assert ["the raw top is gone where it was surfaced: by the Z noted on the bed." in card
            for card in cards] == [False] + [True] * len(later)


def test_what_zero_can_be_set_from(marked):
    rows = {r["order"]: r for r in marked.report["references"]}
    order = {p.operation: p.order for p in marked.programs}
    assert all(any("bed" in words for words in r["z"]) for r in rows.values())
    assert not any("marks" in words for words in rows[1]["xy"])
    assert any("marks" in words for words in rows[order["resurface"]]["xy"])
    covered = [n for n, r in rows.items() if any("fill" in words for words in r["gone"])]
    assert covered == [order["hover"], order["resurface"]]
    assert isinstance(marked, pathgen.Build)


NUT_CLAMP = '[setup]\nkeep_out = [{ along = [-20.0, -9.0], across = [-40.0, 40.0], height = 20.0 }]\n[stock]'


def rough_blank(width):
    """A blank so wide, clamped across its nut end, and roughed with a 6 mm cutter."""
    rough = cutter(name="six", shape="flat-end", diameter=6.0, speed=16000, feed=2000.0, plunge=500.0, stepdown=3.0)
    return {"width = 66.0": f"width = {width}", "[stock]": NUT_CLAMP,
            'finish = "ball"': 'finish = "ball"\nrough = "six"', "[surface]": f"{rough}[surface]"}


@pytest.mark.in_every_run(0)
def test_marks_spread_along_and_across_beside_a_clamp(tmp_path):
    result = built(tmp_path, resolution=0.3, changes=rough_blank(62.0), extra=MARKS)
    assert result.passed
    marks = result.plan.clamping.feature(WitnessMarks)
    # beside the nut end's taper, clear of the clamp, and at the far end
    assert np.ptp(marks.places, axis=0) == pytest.approx([103.5, 58.0], abs=1.0)
    assert marks.errors.worst < 0.075
    clamp = shapely.box(-20.0, -40.0, -9.0, 40.0)
    assert shapely.distance(clamp, shapely.points(marks.places)).min() >= 8.0
    free = left_standing(result.plan.around, reach=0.1)
    radius = {"ball": 6.35, "flat": 1.0, "six": 3.0}
    assert shapely.distance(shapely.multipoints(marks.places).buffer(1.0),
                            shapely.union_all(list(opened_at_the_top(result, radius)))) > 0.4
    assert not any(free.intersects(cut) for cut in opened_at_the_top(result, radius))


def test_marks_with_room_at_one_end_only_are_refused(tmp_path):
    said = r"10\.3 mm .*85\.3 mm long.*errors of 0\.05 mm.*0\.1 mm.*take a (larger )?blank"
    with pytest.raises(JobError, match=said):
        clamping_of(load_job(job(tmp_path, changes=rough_blank(54.0), extra=MARKS)))
    # measured more exactly, as the maker says, they will do
    exact = "[moved]\naccuracy = 0.002\n"
    exactly = clamping_of(load_job(job(tmp_path, changes=rough_blank(54.0), extra=MARKS + exact)))
    assert exactly.feature(WitnessMarks).errors.worst < 0.1


def test_only_exactness_that_helps_is_offered(tmp_path):
    """Marks on one line leave a turn open however exactly they are measured."""
    def refused(at, more=""):
        with pytest.raises(JobError) as wrong:
            clamping_of(load_job(job(tmp_path, extra=f"{MARKS}at = {at}\n{more}")))
        return str(wrong.value)

    line = refused("[[-8.0, -30.0], [40.0, -30.0], [103.5, -30.0]]")
    assert "the marks lie on one line: they leave a turn or tilt open" in line
    assert "one of yours well off that line" in line
    assert "accuracy" not in line
    near = refused("[[60.0, -31.0], [103.5, 30.0], [103.5, -30.0]]")
    assert "too near each other" in near
    exact = float(re.search(r"measure to ([\d.]+) mm or better, and write that as \[moved\] accuracy", near)[1])
    places = f"{MARKS}at = [[60.0, -31.0], [103.5, 30.0], [103.5, -30.0]]\n[moved]\naccuracy = {exact}\n"
    assert clamping_of(load_job(job(tmp_path, extra=places))).feature(WitnessMarks).errors.worst <= 0.1


FAR_END = "at = [[93.3, -26.0], [103.5, 26.0], [103.5, -26.0]]\n"
DRILLED_AT_END = "drilled = [[93.3, -26.0, 8.0], [103.5, 26.0, 8.0], [103.5, -26.0, 8.0]]\n"


def test_measured_marks_too_near_each_other_are_refused(tmp_path):
    places = [[93.3, -26.0, 8.05], [103.5, 26.0, 8.0], [103.5, -26.0, 8.0]]
    rows = "".join(f"[[measured]]\nfound = {p}\n" for p in places)
    with pytest.raises(JobError, match=r"\[\[measured\]\].*too near.*errors of 0\.05 mm.*board_limit 0\.1 mm.*apart"):
        clamping_of(load_job(job(tmp_path, extra=MARKS + DRILLED_AT_END + rows)))
    allowed = "[moved]\nboard_limit = 1.0\n"
    moved = clamping_of(load_job(job(tmp_path, extra=MARKS + DRILLED_AT_END + rows + allowed))).moved
    # by hand: the mark alone on its line 10.2 mm before the others' bears 103.5 / 10.2 of a height at the nut, these
    # 1 less together, shared as the nut's corner at Y 20 lies between Y 26 and the Y -26 of the one that bears more
    alone = 103.5 / 10.2
    upper = (20.0 + 26.0) / 52.0
    lower = 1.0 - alone - upper
    assert moved.errors.nut[0] == pytest.approx(0.05 * np.sqrt(alone**2 + upper**2 + lower**2), rel=0.02)


def test_who_did_not_measure_all_marks_is_told_which_are_left(tmp_path):
    drilled = DRILLED_AT_END.replace("8.0]]", "8.0], [-15.0, -28.0, 8.0]]")
    rows = "".join(f"[[measured]]\nfound = [{p}, 8.0]\n" for p in ("93.3, -26.0", "103.5, 26.0", "103.5, -26.0"))
    with pytest.raises(JobError, match=r"too near.*: measure mark 4 too$"):
        clamping_of(load_job(job(tmp_path, extra=MARKS + drilled + rows)))
    assert clamping_of(load_job(job(
        tmp_path, extra=MARKS + drilled + rows + "[[measured]]\nfound = [-15.0, -28.0, 8.0]\n"))).moved


def test_marks_from_which_the_work_could_not_be_found_again_are_refused_before_they_are_drilled(tmp_path):
    def made(marks, more="", **given):
        return clamping_of(load_job(job(tmp_path, extra=MARKS + marks + more, **given)))

    with pytest.raises(JobError, match=r"\[marks\] at: the marks are too near .*errors of 0\.05 mm.*board_limit 0\.1 "
                                       r"mm.*leave at out for \[\[") as refused:
        made(FAR_END)
    # what it names does, and so does measuring so much better
    made("at = " + re.search(r"leave at out for (\[\[.*\]\]), or put", refused.value.remedy)[1] + "\n")
    made(FAR_END, "[moved]\naccuracy = 0.005\n")
    with pytest.raises(JobError, match=r"\[marks\] at: .* leave a turn or tilt open .*leave at out for \[\["):
        made("at = [[-15.0, 20.0], [-15.0, 20.0], [100.0, 20.0]]\n")
    with pytest.raises(JobError, match=r"\[marks\] at: .*3 to 12"):
        made("at = [[-15.0, 20.0], [100.0, 20.0]]\n")
    clamps = '[setup]\nkeep_out = [{ along = [-20.0, 60.0], across = [-40.0, 40.0], height = 5.0 }]\n[stock]'
    with pytest.raises(JobError, match=r"\[marks\] at: .*there is no better place, .*or leave \[marks\] out"):
        made(FAR_END, changes={"[stock]": clamps})


@pytest.mark.in_every_run(0)
def test_marks_too_near_each_other_that_are_drilled_already_get_a_warning(tmp_path):
    result = built(tmp_path, resolution=0.4, extra=MARKS + DRILLED_AT_END)
    found = next(f for f in result.report["checks"]["findings"] if f["code"] == "marks-too-near")
    assert (found["severity"], found["where"]) == ("warn", "[marks] drilled")
    assert "errors of 0.05 mm at the marks, all together (root-sum-square), move the nut by up to 0.7" in found["got"]
    two = built(tmp_path, resolution=0.4, extra=MARKS + "drilled = [[-15.0, 20.0, 8.0], [100.0, 20.0, 8.0]]\n")
    assert two.report["marks"]["errors"]["anywhere"] == [None, None]
    assert any("tilt of the work open" in f["got"] for f in two.report["checks"]["findings"])


def test_the_tilt_and_what_an_error_does_are_told_wherever_the_shift_is(tmp_path):
    result = built(tmp_path, resolution=0.4, extra=MARKS + measured())
    errors = result.report["moved"]["errors"]
    assert errors["accuracy"] == 0.05
    nut = f"at the marks, all together (root-sum-square), move the nut by up to {errors['nut'][0]:.3f}".rstrip("0")
    note = next(f["got"] for f in result.report["checks"]["findings"] if f["code"] == "work-moved")
    result.write(tmp_path / "out")
    pages = [note, *((tmp_path / "out" / name).read_text() for name in ("report.txt", "setup.html"))]
    for page in pages:
        assert "tilted by 0.080 degrees along and 0.100 across" in page
        assert nut.lower() in page.lower()
    assert sum("turned by 0.200 degrees" in text for text in pages) == 3
    # the sheet has its own sentence, not only the finding's
    assert pages[2].count("tilted by 0.080 degrees") == 2


def test_two_marks_lie_near_mid_length_one_on_each_side(marked):
    board = marked.plan.clamping.board
    places = marked.plan.clamping.feature(WitnessMarks).places
    middle = board.start + board.length / 2
    near = places[abs(places[:, 0] - middle) <= board.length / 8]
    assert len(places) == 4
    assert sorted(np.sign(near[:, 1])) == [-1.0, 1.0]
    share = marked.report["marks"]["seen"]
    assert share["bow"] > 0.5 > share["twist"] > 0.15 > share["cup"]
    # by hand: a parabola 1 high over the board, the blank being longer, less the plane that fits it best at the marks
    bow = 1.0 - ((places[:, 0] - middle) / (board.length / 2)) ** 2
    plane = np.column_stack([places[:, :2], np.ones(4)])
    over = bow - plane @ np.linalg.lstsq(plane, bow, rcond=None)[0]
    assert share["bow"] == pytest.approx(np.abs(over).max(), abs=1e-3)
    files = marked.files(shaded=False)
    for name in ("report.txt", "setup.html"):
        # of the blank, which is longer, that rise would be another, and a smaller share
        assert "where the wood within the outline has not only moved but changed its shape:" in files[name]
        assert f"A rise of its middle over its ends leaves {100 * share['bow']:.0f} % of itself over" in files[name]
        assert "A rise of its edges over its middle the marks cannot see, or take for a tilt" in files[name]


def test_without_waste_beside_the_middle_four_corners_are_taken(tmp_path):
    # clamps along both sides leave the ends alone
    sides = ", ".join(f"{{ along = [8.0, 77.0], across = {y}, height = 20.0 }}"
                      for y in ("[-60.0, -34.0]", "[34.0, 60.0]"))
    changes = {"[stock]": f"[setup]\nkeep_out = [{sides}]\n[stock]"}
    clamping = clamping_of(load_job(job(tmp_path, changes=changes, extra=MARKS)))
    places = clamping.feature(WitnessMarks).places
    assert len(places) == 4
    assert (abs(places[:, 0] - 42.5) > 30.0).all()


@pytest.mark.parametrize(("clamped", "remedy"), [
    (True, "take a larger blank, move clamps off the corners, or leave [marks] out"),
    (False, "take a larger blank or leave [marks] out"),
])
def test_without_waste_for_marks_clamps_are_named_where_there_are_any(marked, clamped, remedy):
    with pytest.raises(JobError, match="no waste is left round the board for three marks") as raised:
        spread_places(shapely.Polygon(), marked.plan.clamping.board, where="[marks]", top=8.0, clamped=clamped)
    assert raised.value.remedy == remedy


def test_no_places_of_the_waste_would_do_better(marked):
    board = marked.plan.clamping.board
    spots = np.array([[-15.0, -10.0], [-12.0, 28.0], [30.0, 34.0], [99.0, 20.0], [100.0, -25.0], [40.0, -33.0]])
    free = shapely.union_all(shapely.buffer(shapely.points(spots), 1.0))
    places = spread_places(free, board, where="[marks]", top=8.0)
    assert shapely.covers(free, shapely.points(places)).all()

    def height(p):
        return board_errors(board, np.column_stack([p, np.full(len(p), 8.0)]), accuracy=1.0).anywhere[0]

    # two of the spots lie near the middle of 85 mm; the other two are free
    others = [height(spots[[2, 5, *c]]) for c in itertools.combinations((0, 1, 3, 4), 2)]
    # each disc reaches 1 mm round its middle
    assert height(places) <= min(others) < sorted(others)[1] - 0.01
    assert max(others) > 1.5


def test_a_move_is_told_in_the_same_figures_everywhere(tmp_path):
    """0.7925 mm is a tie: the report keeps four digits, which people are shown three of."""
    rows = found(*([x + 0.79247, y + 0.0625, z] for x, y, z in PLACES.tolist()))
    result = built(tmp_path, resolution=0.4, extra=MARKS + AT + rows)
    (note,) = (f for f in result.report["checks"]["findings"] if f["code"] == "work-moved")
    shift = re.search(r"[\d.]+ mm along, [\d.]+ mm across, [\d.]+ mm up", note["got"])[0]
    files = result.files(shaded=False)
    for name in ("report.txt", "setup.html"):
        assert re.findall(r"[\d.]+ mm along, [\d.]+ mm across, [\d.]+ mm up", files[name]) == [shift] * 2


@pytest.mark.in_every_run(0)
def test_what_is_done_needs_nothing_to_be_ready(tmp_path):
    """Its pockets were cut with the thin cutter, filled and cut level before the work moved."""
    extra = OF_THIN + AT + found(*PLACES.tolist())
    was, now = (built(tmp_path, resolution=0.5, extra=extra + f"[moved]\nbefore = {before}\n",
                      changes={'cutters = ["flat"]': 'cutters = ["thin"]'}) for before in (2, 6))
    for result, ready in ((was, True), (now, False)):
        page = result.files(shaded=False)["setup.html"]
        chapter = page[page.index("To have ready"):page.index("Each program in the air first")]
        assert ("thin: flat-end" in chapter, "Needed is " in chapter) == (ready, ready)
        assert "flat: flat-end" in chapter
        numbers = [int(n) for n in re.findall(r'href="#program-(\d+)"', chapter)]
        assert sorted(numbers) == list(range(result.report["go_on_with"], len(result.programs) + 1))
        # of a second cut that is done it is not known whether the work had moved before that already
        assert not any("coordinate for coordinate" in text for text in result.files(shaded=False).values())


def test_no_minus_nothing_in_words_of_a_move(tmp_path, marked):
    places = [[*p, 8.0] for p in marked.report["marks"]["places"]]
    rows = "".join(f"[[measured]]\nfound = {[x - 1e-5, y - 1e-5 * x, z - 1e-5]}\n" for x, y, z in places)
    result = built(tmp_path, resolution=0.4, extra=MARKS + rows)
    assert any(f["code"] == "work-moved" for f in result.report["checks"]["findings"])
    assert result.plan.clamping.moved.turn_deg < 0
    assert not re.search(r"-0\.000\b", "".join(f["got"] for f in result.report["checks"]["findings"]))


def test_marks_stand_off_the_blank_s_edge_where_there_is_room(tmp_path):
    """On a blank 8 mm wider on each side, and on the usual one, where the finishing cutter leaves no room for it."""
    wide = {"width = 66.0": "width = 82.0"}
    for changes, least in ((wide, 3.0), ({}, 1.0)):
        clamping = clamping_of(load_job(job(tmp_path, extra=MARKS, changes=changes)))
        x0, y0, x1, y1 = clamping.stock.bounds
        places = clamping.feature(WitnessMarks).places
        off = np.minimum(np.minimum(places - [x0, y0], [x1, y1] - places).min(axis=1), 99.0)
        assert off.min() >= least


@pytest.mark.in_every_run(0)
def test_each_mark_stands_off_the_blank_s_edge_as_there_is_room_where_it_lies():
    """One corner without room let all four stand 1 to 1.5 mm off the edges: 0.5 mm of wood outside a hole."""
    around = planned_of(load_job(EXAMPLES / "moth-three-colours.toml")).around
    clamping, free = around.clamping, left_standing(around, reach=1.0)
    blank = shapely.box(*clamping.stock.bounds)
    off = []
    for place in shapely.points(clamping.feature(WitnessMarks).places):
        room = [d for d in np.arange(0.5, 3.1, 0.5) if shapely.buffer(blank, -d).intersection(free).distance(place) < 3]
        off.append(shapely.distance(shapely.boundary(blank), place))
        assert off[-1] >= max(room) - 0.01
    assert [round(float(d), 1) for d in off] == [3.5, 3.0, 1.5, 1.0]


def test_a_pair_near_mid_length_has_a_mark_toward_each_end(marked):
    """Waste that ends 12 mm past the middle of 85: two at the nut and two at mid-length would see no bow."""
    board = marked.plan.clamping.board
    strips = [shapely.box(-19.0, y, 55.0, y + 3.0) for y in (-32.0, 29.0)]
    places = spread_places(shapely.union_all(strips), board, where="[marks]", top=8.0, limit=1.0)
    assert np.abs(np.sort(places[:, 0]) - [-19.0, -19.0, 55.0, 55.0]).max() < 1.5
    longer = shapely.union_all([*strips, shapely.box(-19.0, 29.0, 99.0, 32.0)])
    places = spread_places(longer, board, where="[marks]", top=8.0, limit=1.0)
    assert np.abs(np.sort(places[:, 0]) - [-19.0, 42.5, 42.5, 99.0]).max() < 1.5


def test_the_second_cut_of_work_that_turned_is_the_first_pass_again_where_arcs_may_be_written(tmp_path):
    """Turned by a degree, short ways over a relief lay within a thousandth of arcs half a metre wide: they were written
    so, and our own check found other moves than the first cut has."""
    turn = Rotation.from_euler("xyz", (1.0, 0.0, 1.5), degrees=True).as_matrix()
    found = np.round((PLACES - ABOUT) @ turn.T + ABOUT + [0, 0, 1], 5)
    rows = [f"[[measured]]\nat = {p.tolist()}\nfound = {q.tolist()}\n" for p, q in zip(PLACES, found, strict=True)]
    relief = {"thickness = 6.5\n": "thickness = 6.5\nrelief = { depth = 0.12, fret = 1, to = 5 }\n"}
    moved = built(tmp_path, resolution=0.3, changes=relief, extra=MARKS + "[machine]\narcs = true\n" + "".join(rows))
    assert moved.passed
    assert re.search("^G[23] ", text_of(moved, "pocket"), re.M)


@pytest.mark.in_every_run(0)
def test_down_is_along_the_spindle_however_the_work_lies_by_then(tmp_path):
    """A v's way down beside small islands was as steep as its feed allows, and by the work's own slope steeper."""
    turn = Rotation.from_euler("xyz", (0.5, 1.4, 0.0), degrees=True).as_matrix()
    found = np.round((PLACES - ABOUT) @ turn.T + ABOUT + [0, 0, 2.2], 5)
    rows = [f"[[measured]]\nat = {p.tolist()}\nfound = {q.tolist()}\n" for p, q in zip(PLACES, found, strict=True)]
    quick = cutter(name="v", shape="v", diameter=6, angle=60, speed=16000, feed=2280, plunge=600, stepdown=1.2)
    dots = "".join(f'<circle cx="{x}" cy="{y}" r="0.72" fill="#a42"/>' for x in (13, 15, 17) for y in (12, 14.2, 16.4))
    moved = built(
        tmp_path, resolution=0.3, art=svg(f'<circle cx="15" cy="14" r="6.5"/>{dots}'),
        changes={'cutters = ["flat"]': 'background = ["#a42"]\ncutters = ["v"]'},
        extra="".join([quick, MARKS, "[moved]\nbefore = 3\n", *rows]),
    )
    assert moved.passed
    _, _, _, feeds = moves_and_feeds(text_of(moved, "pocket"))
    assert len(np.unique(feeds)) > 3
