"""Clamps in the way of a cutter: the true place, and a value that then works."""

import contextlib
import re

import numpy as np
import pytest

import pathgen
from pathgen.base.toolpath import Move
from pathgen.job.clamping import clamping_of
from pathgen.programs import limits
from pathgen.programs.limits import _deepest
from pathgen.work.clamping import KeepOut
from pathgen.work.operations import WitnessMarks
from tests import small_board


def clamped(folder, along, across="[-33.0, 33.0]", *, more="", **changed):
    extra = f"{more}[setup]\nkeep_out = [{{ along = {along}, across = {across}, height = 20.0 }}]\n"
    return pathgen.build(pathgen.load_job(small_board.job(folder, extra=extra, **changed)), resolution=0.3)


@pytest.mark.in_every_run(2)
@pytest.mark.parametrize(("along", "across"), [
    ([80.0, 90.0], "[-33.0, 33.0]"), ([-15.0, -4.0], "[-33.0, 33.0]"), ([30.0, 40.0], "[18.0, 33.0]"),
])
def test_place_and_value(tmp_path, along, across):
    with pytest.raises(pathgen.JobError) as refused:
        clamped(tmp_path, along, across)
    said = refused.value
    x, y, z = map(float, re.search(r"near (-?[\d.]+) mm along, (-?[\d.]+) mm across, (-?[\d.]+) mm above",
                                   said.problem).groups())
    box = [*along, *map(float, across[1:-1].split(","))]
    reach = 12.7 / 2  # the ball is the widest cutter of the board
    assert box[0] - reach <= x <= box[1] + reach
    assert box[2] - reach <= y <= box[3] + reach
    assert z < 20.0
    way, value, axis = re.search(r"(?:let it|move it until it) (end|begin)s? at (-?[\d.]+) mm (along|across)",
                                 said.remedy).groups()
    old = along if axis == "along" else [box[2], box[3]]
    wide, value = old[1] - old[0], float(value)
    new = [value - wide, value] if way == "end" else [value, value + wide]
    moved = (new, across) if axis == "along" else (along, str(new))
    built = clamped(tmp_path, *moved)
    assert built.passed
    assert "near-a-keep-out" not in {f.code for f in built.verification.findings}


@pytest.mark.in_every_run(0)
def test_a_clamp_that_the_cutter_all_but_touches_is_told(tmp_path):
    """From 2 mm on it is not, and the places between are told as far away as they are; what the machine may touch, as
    it comes back no better than to 0.05 mm, is refused: 0.001 mm was a warning, and "Verified"."""
    with pytest.raises(pathgen.JobError) as refused:
        clamped(tmp_path, [30.0, 40.0], "[18.0, 33.0]")
    edge = float(re.search(r"begins? at ([\d.]+) mm across", refused.value.remedy)[1]) - 2.0

    def told(more):
        found = clamped(tmp_path, [30.0, 40.0], f"[{edge + more}, {edge + 20.0}]").verification.findings
        near = [f for f in found if f.code == "near-a-keep-out"]
        assert all(f.severity == "warn" for f in near)
        return [float(re.search(r"the cutter passes keep_out 1 at ([\d.]+) mm", f.got)[1]) for f in near]

    (room,) = told(0.5)
    room -= 0.5
    for more, refuses in ((0.001, True), (0.04, True), (0.06, False)):
        with (pytest.raises(pathgen.JobError, match=r"all but touches it .*0\.05 mm or more between") if refuses
              else contextlib.nullcontext()):
            assert told(more - room) == [pytest.approx(more, abs=0.011)]
    assert told(1.9 - room) == [pytest.approx(1.9, abs=0.011)]
    assert told(2.02 - room) == []


def test_each_clamp_in_the_way_is_told_and_whether_it_stands_over_the_board(tmp_path):
    boxes = [f"{{ along = {along}, across = {across}, height = 20.0 }}" for along, across in (
        ("[30.0, 40.0]", "[-33.0, 33.0]"), ("[60.0, 70.0]", "[24.0, 33.0]"), ("[-60.0, -40.0]", "[-33.0, 33.0]"))]
    with pytest.raises(pathgen.JobError) as refused:
        pathgen.build(pathgen.load_job(small_board.job(tmp_path, extra=f"[setup]\nkeep_out = [{', '.join(boxes)}]\n")))
    over, beside = refused.value.lines
    assert "keep_out 1: it stands over the board, and the cutter comes" in over
    assert re.search(r"keep_out 2: the cutter comes \d\.\d\d mm into it", beside)
    assert "comes right into it" in over  # its middle does
    assert "a smaller cutter" not in over
    assert beside.endswith("or take a smaller cutter")


def test_a_move_straight_down_is_told_where_it_ends():
    """In the frame of work that lay tilted it is not quite upright: 30.1 mm above a clamp of 20 was told."""
    points = np.array([[0.0, 0.0, 30.1], [0.003, -0.004, 9.0]])
    deep, (_, _, z) = _deepest(points, KeepOut(x=(-5.0, 5.0), y=(-5.0, 5.0), height=20.0), 1.0)
    assert (deep, z) == (1.0, 9.0)


def test_a_clamp_is_sent_no_further_than_what_is_cut_beside_it(tmp_path):
    """A hole at another place along reaches 31.5 mm across, the ball beside the clamp less than 30: 2 mm are kept."""
    holes = '[holes]\ncutter = "flat"\nat = [[-10.0, 30.0], [92.0, -30.0]]\ndiameter = 3.0\n'
    with pytest.raises(pathgen.JobError, match="keep_out 1") as refused:
        clamped(tmp_path, [30.0, 40.0], "[18.0, 33.0]", more=holes)
    assert float(re.search(r"begins? at ([\d.]+) mm across", refused.value.remedy)[1]) < 32.0


@pytest.mark.parametrize(("travel", "remedy"), [
    ("[20.0, 20.0, 80.0]", "measure travel (is 200 mm in X and 200 mm in Y meant?), or take a larger machine"),
    ("[80.0, 200.0, 80.0]", "turn the board with [setup] along, or take a larger machine"),
    ("[200.0, 200.0, 10.0]", "make clearance 2 mm or less, or take a larger machine"),
    ("[200.0, 200.0, 10.0]\n[setup]\nfeeler = 2.0", "take a larger machine"),
])
def test_what_is_too_long_for_the_machine_says_what_would_help(tmp_path, travel, remedy):
    job = pathgen.load_job(small_board.job(tmp_path, extra=f"[machine]\ntravel = {travel}\n"))
    with pytest.raises(pathgen.JobError) as refused:
        pathgen.build(job, resolution=0.3)
    assert refused.value.remedy == remedy


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("clamp", ["", "[setup]\nkeep_out = [{ along = [97, 104], across = [-9, 9], height = 70 }]\n"])
def test_fill_may_stand_higher_than_rapids_clear_it(tmp_path, clamp):
    """They pass so far above the fill too, whatever is highest: 3 mm of it was refused where 0.5 mm are kept."""
    path = small_board.job(tmp_path, changes={"overfill = 0.7": "overfill = 3.0"},
                           extra="[machine]\nclearance = 0.5\n" + clamp)
    made = pathgen.build(pathgen.load_job(path), resolution=0.4)
    assert made.passed
    highest = 70.0 if clamp else 6.5 + 3.0
    assert made.plan.clamping.safe_z == pytest.approx(highest + 0.5)
    (again,) = (p for p in made.programs if p.operation == "resurface")
    rapids = again.toolpath.points[again.toolpath.kinds == Move.RAPID, 2]
    assert rapids.min() >= 6.5 + 3.0 + 0.5 - 1e-9


@pytest.mark.parametrize(("less", "fits"), [(0.0, True), (0.01, False)])
def test_the_clearance_that_a_refusal_names_fits_the_travel_and_no_more_does(tmp_path, less, fits):
    def built(clearance):
        machine = f"[machine]\ntravel = [200.0, 200.0, {14.567 - less:.3f}]\nclearance = {clearance}\n"
        return pathgen.build(pathgen.load_job(small_board.job(tmp_path, extra=machine)), resolution=0.5)

    with pytest.raises(pathgen.JobError, match=f"make clearance {'6.56' if fits else '6.55'} mm or less"):
        built(80.0)
    if fits:
        assert built(6.56).passed
    else:
        with pytest.raises(pathgen.JobError, match="travel"):
            built(6.56)


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize(("axis", "zero", "help"), [
    (0, 'zero = "blank-nut-bass"', "name a [setup] zero that lies nearer to the middle of what is cut, or "),
    (2, 'z_zero = "bed"', 'write [setup] z_zero = "stock-top", or '),
])
def test_the_machine_must_span_the_zero_and_its_checks_as_well(tmp_path, axis, zero, help):
    """Programs that begin with G0 Z30 over Z 0 on the bed need 30 mm of Z, which a travel of 25 mm was let through."""
    def built(*travel: float) -> pathgen.Build:
        machine = f"[setup]\n{zero}\n[machine]\ntravel = {list(travel)}\n"
        return pathgen.build(pathgen.load_job(small_board.job(tmp_path, extra=machine)), resolution=0.3)

    free = built(900.0, 900.0, 900.0)
    clamping = clamping_of(pathgen.load_job(tmp_path / "job.toml"))
    cut = np.concatenate([clamping.to_machine(p.toolpath.points, p.step) for p in free.programs])
    tried = [p.zero.display for p in free.programs if p.zero is not None]
    both = np.concatenate([cut, np.zeros((1, 3)), tried])
    assert (np.ptp(both, axis=0) > np.ptp(cut, axis=0) + 1.0)[axis]
    travel = [900.0, 900.0, 900.0]
    travel[axis] = round(float(np.ptp(cut, axis=0)[axis]) + 0.5, 2)
    with pytest.raises(pathgen.JobError, match=rf"spans .* in {'XYZ'[axis]}, .*as they are set") as refused:
        built(*travel)
    assert help in refused.value.remedy
    travel[axis] = round(float(np.ptp(np.concatenate([cut, np.zeros((1, 3))]), axis=0)[axis]) + 4.0, 2)
    assert built(*travel).passed


def test_no_other_zero_makes_the_work_lower_once_marks_are_drilled(tmp_path):
    """They count from it: with another the job is refused."""
    corners, remedies = [[x, y] for x in (-15.0, 98.0) for y in (-28.0, 28.0)], []
    for marks in (f"at = {corners}", f"drilled = {[[*corner, 8.0] for corner in corners]}"):
        extra = f'[machine]\ntravel = [900.0, 900.0, 16.0]\n[marks]\ncutter = "flat"\n{marks}\n'
        with pytest.raises(pathgen.JobError, match="spans 18 mm in Z") as refused:
            pathgen.build(pathgen.load_job(small_board.job(tmp_path, extra=extra)), resolution=0.5)
        remedies.append(refused.value.remedy)
    assert remedies == [more + "make clearance 8 mm or less, or take a larger machine"
                        for more in ('write [setup] z_zero = "stock-top", or ', "")]


def test_every_axis_that_is_short_is_named_at_once(tmp_path):
    job = pathgen.load_job(small_board.job(tmp_path, extra="[machine]\ntravel = [50.0, 35.0, 12.0]\n"))
    with pytest.raises(pathgen.JobError) as refused:
        pathgen.build(job, resolution=0.3)
    assert refused.value.allowed == "travel 50 mm in X and 35 mm in Y and 12 mm in Z"


def test_marks_further_apart_than_the_machine_goes_may_be_written_nearer(tmp_path):
    marks = '[marks]\ncutter = "flat"\n'
    places = clamping_of(pathgen.load_job(small_board.job(tmp_path, extra=marks))).feature(WitnessMarks).places
    short = f"[machine]\ntravel = [{np.ptp(places[:, 0]) - 0.5:.2f}, 200.0, 80.0]\n"
    given = f"{marks}at = {places.tolist()}\n{short}"
    with pytest.raises(pathgen.JobError, match=r"spans 118 mm in X, .*witness-marks") as refused:
        pathgen.build(pathgen.load_job(small_board.job(tmp_path, extra=given)), resolution=0.3)
    assert "write [marks] at, with marks nearer to each other, or take a larger machine" in refused.value.remedy
    nearer = (places - 0.5 * np.sign(places - places.mean(axis=0)) * [1.0, 0.0]).round(2).tolist()
    assert pathgen.build(pathgen.load_job(small_board.job(tmp_path, extra=f"{marks}at = {nearer}\n{short}")),
                         resolution=0.3).passed


@pytest.mark.parametrize("drilled", [False, True])
def test_no_mark_is_moved_where_others_than_marks_are_too_far_apart(tmp_path, drilled):
    """Passes of a surface set both ends, or the marks are in the wood: marks nearer to each other help nothing."""
    places = [[-18.0, -30.0], [-18.0, 30.0], [103.0, -30.0], [103.0, 30.0]]
    at = f"drilled = {[[*one, 8.0] for one in places]}" if drilled else f"at = {places}"
    marks = f'[marks]\ncutter = "flat"\n{at}\n[machine]\ntravel = [{116.0 if drilled else 80.0}, 66.0, 80.0]\n'
    with pytest.raises(pathgen.JobError, match=r"\[machine\] travel: .* in X") as refused:
        pathgen.build(pathgen.load_job(small_board.job(tmp_path, extra=marks)), resolution=0.5)
    assert "marks" not in refused.value.remedy


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("turned", ["x", "y"])
def test_marks_that_nobody_placed_are_no_further_apart_than_the_machine_goes(tmp_path, turned):
    """They were 118 mm apart along the board, whatever the machine; where none is near enough, the machine is named."""
    marks = f'[setup]\nalong = "{turned}"\n[marks]\ncutter = "flat"\n[machine]\ntravel = '

    def built(*travel: float) -> bool:
        reach = travel[:: 1 if turned == "x" else -1]
        return pathgen.build(pathgen.load_job(small_board.job(tmp_path, extra=f"{marks}{[*reach, 80.0]}\n")),
                             resolution=0.3).passed

    assert built(90.0, 62.0)
    with pytest.raises(pathgen.JobError, match=r"\[machine\] travel: all .* in X, .*witness-marks.* in Y"):
        built(90.0, 48.0)


@pytest.mark.in_every_run(0)
def test_a_clamp_that_lifts_the_cutter_past_the_travel_is_named_as_the_cause(tmp_path):
    """Of 120 mm 12 are meant, perhaps; 10 mm less clearance would change nothing that helps."""
    clamp = "[setup]\nkeep_out = [{{ along = [-40.0, -15.0], across = [-33.0, 33.0], height = {} }}]\n"
    with pytest.raises(pathgen.JobError, match="lifted over keep_out 1, 120 mm high") as wrong:
        pathgen.build(pathgen.load_job(small_board.job(tmp_path, extra="[machine]\ntravel = [600.0, 400.0, 80.0]\n"
                                                       + clamp.format(120.0))))
    assert "is 12 mm meant?" in wrong.value.remedy
    assert "clearance" not in wrong.value.remedy
    pathgen.build(pathgen.load_job(small_board.job(tmp_path, extra="[machine]\ntravel = [600.0, 400.0, 80.0]\n"
                                                   + clamp.format(12.0))), resolution=0.5)


@pytest.mark.in_every_run(0)
def test_lines_that_thin_layers_make_are_refused_with_a_larger_stepdown(tmp_path, monkeypatch):
    monkeypatch.setattr(limits, "MOST_LINES", 200)
    path = small_board.job(tmp_path, changes={"stepdown = 1.6": "stepdown = 0.02"})
    with pytest.raises(pathgen.JobError, match=r"program 2, pocket: .*it is cut in 75 layers of 0.02 mm.*"
                                               r'write stepdown = [\d.]+ to [\d.]+ for "flat"$'):
        pathgen.build(pathgen.load_job(path), resolution=0.3)


@pytest.mark.parametrize(("inlaid", "words"), [
    (True, r"program 2, pocket: its program would have 1,\d+ lines, .*: name a wider cutter before it"),
    (False, r"program 1, .*: its program would have \d+ lines, .*allowed: 200 in all programs\): let it cut less"),
])
def test_more_lines_than_are_read_back_are_refused_with_what_makes_them_fewer(tmp_path, monkeypatch, inlaid, words):
    """Three thousand dots with a cutter of 1 mm: the build's own reader asked whether they were a program."""
    path = small_board.job(tmp_path)
    if not inlaid:
        path.write_text(path.read_text().partition("[[inlay]]")[0])
    monkeypatch.setattr(limits, "MOST_LINES", 200)
    with pytest.raises(pathgen.JobError, match=words):
        pathgen.build(pathgen.load_job(path), resolution=0.3)
