"""What people read: along and across on the board, X and Y on the machine, every length with the job's unit."""

import math
import re

import numpy as np
import pytest

import pathgen
from pathgen.app.cli import main
from pathgen.base.units import INCH, fine_length, in_units, place_words, told_apart
from pathgen.job.clamping import clamping_of
from pathgen.programs.by_hand import check_by_hand
from pathgen.report.reaching import reach_lines, reach_of_all
from pathgen.report.sheet.programs import display_range
from pathgen.report.text import finding_lines, report_text
from tests import small_board
from tests.report.conftest import written_job


@pytest.mark.parametrize(("words", "inches"), [
    ("18.27 mm out past the end", "0.7193 in out past the end"),
    ("line 66, 36.35 mm along, -21.69 mm across", "line 66, 1.4311 in along, -0.8539 in across"),
    ("moves 609.6 mm in X", "moves 24 in in X"),
    ("101.6 mm per minute for cutter \"ball 6 mm\"", "4 in per minute for cutter \"ball 6 mm\""),
    ("0.002 mm", "0.000079 in"),
    ("tabs of 1.5 by 6 mm, 12.7 to 25.4 mm long", "tabs of 0.0591 by 0.2362 in, 0.5 to 1 in long"),
    ("371.68 mm2 is left, 5 mm3, 3 mmm, v2.5 mm", "0.576 sq in is left, 0.00031 cu in, 3 mmm, v2.5 mm"),
    ("the board's edge is 25.4 mm past the blank's", "the board's edge is 1 in past the blank's"),
    ("'6.35 mm' given", "'6.35 mm' given"),
    ("5.999 mm is less than 6 mm", "0.23618 in is less than 0.23622 in"),
    ("6 mm is 6 mm, not 5.9 mm", "0.2362 in is 0.2362 in, not 0.2323 in"),
    # what is allowed is rounded to what is allowed too: 9.86 mm are 0.38819 in, 9.703 mm are 0.38201 in
    ("make it 9.86 mm or less", "make it 0.3881 in or less"),
    ("9.703 mm or more, -1 mm or more", "0.3821 in or more, -0.0393 in or more"),
    ("6.35 mm or less, 6.35 mm or more", "0.25 in or less, 0.25 in or more"),
])
def test_messages_in_inches(words, inches):
    # 25.4 mm to the inch is exact: international yard and pound agreement, 1959
    assert in_units(words, "in") == inches
    assert in_units(words, "mm") == words


def test_lengths_that_are_compared_read_apart():
    assert told_apart(5.999, 6.0, unit="in") == ("0.23618 in", "0.23622 in")
    assert told_apart(5.9997, 6.0, 6.0) == ("5.9997 mm", "6 mm", "6 mm")
    assert told_apart(6.0 - 1e-8, 6.0) == ("5.99999999 mm", "6 mm")
    assert told_apart(5.0, 6.0, unit="in") == ("0.1969 in", "0.2362 in")
    assert in_units("5.999 mm", "in", beside="6 mm or more") == "0.23618 in"


def test_a_blank_that_is_thinner_by_a_hair_reads_thinner(tmp_path):
    text = """units = "in"
[plate]
thickness = 0.23622
length = 3.0
width = 2.0
[stock]
length = 4.0
width = 3.0
thickness = 0.2362
[[cutter]]
name = "flat 1/8"
shape = "flat-end"
diameter = "1/8 in"
speed = 10000
feed = 40.0
plunge = 10.0
stepdown = 0.03
[surface]
rough = "flat 1/8"
finish = "flat 1/8"
"""
    (tmp_path / "job.toml").write_text(text)
    with pytest.raises(pathgen.PathgenError) as wrong:
        pathgen.build(pathgen.load_job(tmp_path / "job.toml"))
    assert "0.2362 in is less than the finished" in str(wrong.value)
    assert "0.23622 in or more" in str(wrong.value)


def test_places_are_along_and_across():
    assert place_words(159.3, -3.0) == "159.3 mm along, -3 mm across"
    assert place_words(INCH, INCH / 8, "in", decimals=1) == "1 in along, 0.125 in across"
    assert fine_length(INCH * 5 / 16, "in") == "0.3125 in"


def inch_job(folder):
    """The small board with the strings along Y, in inches."""
    path = written_job(folder, title="inches", along="y", zero="blank-nut-bass")
    text = path.read_text()
    text = re.sub(r"(?<![\w\"])(-?\d+\.\d+)(?!\w)", r'"\1 mm"', text).replace('units = "mm"', 'units = "in"')
    text = re.sub(r'(feed|plunge) = "([\d.]+) mm"', lambda m: f"{m[1]} = {float(m[2]) / INCH}", text)
    path.write_text(text + '[marks]\ncutter = "flat 3"\n')
    return path


@pytest.fixture(scope="module")
def inches(tmp_path_factory):
    return pathgen.build(pathgen.load_job(inch_job(tmp_path_factory.mktemp("inches"))), resolution=0.3)


def words_of(html):
    return re.sub(r"<(style|desc).*?</\1>|<[^>]+>", " ", html, flags=re.S)


def test_x_and_y_are_the_machines_alone(inches):
    """All that names X or Y on paper is a place or a range that the programs' own texts have."""
    text = report_text(inches.report, "in")
    for line in text.splitlines():
        if re.search(r"\b[XY]\b", line):
            known = r"machine|do not set X and Y|X and Y, coming back|X and Y can be found|Zero|zero|Z shown"
            assert re.search(known, line), line
    assert "bass edge along, across (in)" in text
    assert "across at nut (in)" in text
    page = words_of(inches.files()["setup.html"])
    assert "edge: along, across (in)" in page
    # the marks, as the program drills them
    named = [tuple(map(float, p)) for p in re.findall(r"X (-?[\d.]+) in, Y (-?[\d.]+) in", text)]
    drilled = next(p for p in inches.programs if p.operation == "witness-marks")
    points = inches.plan.clamping.to_machine(drilled.toolpath.points)[:, :2] / INCH
    assert len(named) == 4
    for place in named:
        assert np.hypot(*(points - place).T).min() < 2e-4
        assert f"X {place[0]:g} in, Y {place[1]:g} in" in page


def test_an_inch_job_has_no_millimetres_in_what_was_found(inches, tmp_path, capsys):
    folder = tmp_path / "out"
    inches.write(folder)
    slots = next(folder.glob("*-slots-*.nc"))
    slots.write_text(slots.read_text().replace("F15.748", "F150", 1).replace("Z0.", "Z-0.", 3))
    checked = pathgen.check(inches.job, folder, resolution=0.3)
    assert any(" mm along, " in f.where for f in checked.findings)  # data stays in mm
    assert main(["check", str(inches.job.path), str(folder), "--resolution", "0.3"]) == 1
    shown = capsys.readouterr().out
    assert "DO NOT CUT" in shown
    assert re.search(r"line \d+, -?[\d.]+ in along, -?[\d.]+ in across", shown)
    assert not re.search(r"\d mm\b", shown)
    for program in inches.programs:
        assert re.fullmatch(r"-?\d+\.\d{4}", display_range(inches.plan.clamping, program)[-1])


def test_an_inch_error_is_in_inches(tmp_path, capsys):
    path = inch_job(tmp_path)
    path.write_text(path.read_text().replace('length = "150.0 mm"', 'length = "100 mm"'))
    assert main(["frets", str(path)]) == 2
    said = capsys.readouterr().err
    assert " in out past the end" in said
    assert " mm" not in said


def test_every_number_of_a_finding_that_is_a_length_has_its_unit(inches):
    texts = {p.file_name: p.text for p in inches.programs}
    name = next(n for n in texts if "slots" in n)
    fast = re.sub(r"F[\d.]+", "F900", texts[name])
    found = pathgen.verify.verify(inches.plan.clamping, {**texts, name: fast}, resolution=0.4)
    feeds = [f for f in found.findings if f.code in ("feed-too-fast", "plunge-too-fast")]
    assert feeds
    for f in feeds:
        assert re.match(r"[\d.]+ mm per minute", f.allowed)
        assert math.isclose(float(f.allowed.split()[0]), 400 if f.code == "feed-too-fast" else 100, rel_tol=1e-9)
    checks = {"findings": [f.__dict__ for f in feeds], "passed": False}
    assert "15.748 in per minute" in "\n".join(finding_lines(checks, "in"))


def test_inches_are_fine_enough_everywhere(inches):
    """No printed inch of a setup sheet or of what cutters reach is coarser than a thousandth where it needs it."""
    page = words_of(inches.files()["setup.html"])
    assert "by 0.2756 in" in page  # 7 mm thick
    assert f"lowest Z {fine_length(inches.report['programs'][0]['z_min'], 'in')}" in page
    reach = reach_of_all(inches.plan.clamping, inches.job.complete_cutters)[0]
    lines = "\n".join(reach_lines("x", reach, "in", smallest="flat 3"))
    wall = reach.narrowest_wall
    assert f"Narrowest wood between what the job's cutters open: {fine_length(round(wall.width, 3), 'in')}" in lines


def test_the_air_cut_clears_the_blank_and_says_what_the_display_shows(inches):
    """With the work zero raised the display still shows the program's own numbers; the tip is higher by the lift."""
    clamping = inches.plan.clamping
    lowest = min(float(p.toolpath.points[:, 2].min()) for p in inches.programs)
    words = " ".join(check_by_hand(clamping, lowest))
    lift = float(re.search(r"Raise the zero of Z by ([\d.]+) in", words)[1]) * INCH
    assert 5.0 - 1e-9 <= lowest + lift - clamping.stock.thickness < 5.0 + INCH / 10
    assert f"shows the same Z as in the cut, while the cutter is {lift / INCH:g} in higher" in words
    # where Z 0 was set by the Z noted on the bed, no place could be felt for at Z 0: each program has its check
    assert "check it: with the feeler, as under Check Z 0" in words_of(inches.files(shaded=False)["setup.html"])


@pytest.mark.parametrize("short", [0.0, 0.1])
def test_z_is_raised_for_an_air_cut_only_as_far_as_the_machine_goes(tmp_path, short):
    """With 36 mm of travel a sheet asked for 14 mm over rapids at 28 mm: in the safe trial the axis ran into its stop.
    """
    free = clamping_of(pathgen.load_job(small_board.job(tmp_path)))
    travel = free.safe_z + 14.0 - short  # 14 mm: 5 over 8 mm of blank, from 0.2 mm into the spoilboard, in whole ones
    job = pathgen.load_job(small_board.job(tmp_path, extra=f"[machine]\ntravel = [600.0, 400.0, {travel + 0.2}]\n"))
    words = " ".join(check_by_hand(clamping_of(job), -0.2))
    assert ("Raise the zero of Z by 14 mm" in words) is (short == 0.0)
    lacks = f"the machine would need {free.safe_z + 14.2:g} mm of travel in Z, and [machine] travel says "
    assert (f"{lacks}{travel + 0.2:g} mm. Take the cutter out" in words) is (short > 0.0)


@pytest.mark.parametrize(("z_zero", "said"), [("bed", True), ("stock-top", False)])
def test_the_zero_is_tried_beside_the_blank_only_where_it_was_set_there(tmp_path, z_zero, said):
    job = pathgen.load_job(small_board.job(tmp_path, extra=f'[setup]\nz_zero = "{z_zero}"\n'))
    words = " ".join(check_by_hand(clamping_of(job), 0.0))
    assert ("not over the blank" in words) is said
    assert ("later by the Z noted on the bed" in words) is not said


@pytest.mark.parametrize(("zero", "said"), [("blank-nut-bass", True), ("blank-end-centre", False)])
def test_a_clamp_on_the_place_of_zero_is_told_where_the_tip_is_to_be_over_it(tmp_path, zero, said):
    clamp = f'[setup]\nkeep_out = [{{ along = [-20, -14], across = [-33, 33], height = 16 }}]\nzero = "{zero}"\n'
    words = " ".join(check_by_hand(clamping_of(pathgen.load_job(small_board.job(tmp_path, extra=clamp))), 0.0))
    assert ("where a clamp stands 16 mm above the bed: keep the tip above that" in words) is said


@pytest.mark.parametrize(("setup", "said"), [
    ("", "centre-line, on the raw blank 20 mm from its edge toward - X and 33 mm from its edge toward - Y."),
    ('along = "y"', "centre-line, on the raw blank 33 mm from its edge toward - X and 20 mm from its edge toward - Y."),
    ('zero = "blank-end-centre"', "far end, on the raw blank 33 mm from its edge toward - Y."),
    ('zero = "blank-nut-bass"', None),
])
def test_where_zero_is_on_a_raw_blank_can_be_measured(tmp_path, setup, said):
    """The tip was to stand over the nut face, before there was one. The blank: 20 mm before the nut, 66 mm wide."""
    clamping = clamping_of(pathgen.load_job(small_board.job(tmp_path, extra=f"[setup]\n{setup}\n")))
    words = " ".join(check_by_hand(clamping, 0.0))
    assert said in words if said else "on the raw blank" not in words
