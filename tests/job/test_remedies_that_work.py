"""What a refusal or a warning tells a maker to write is written in: it works at once, without a warning of its own."""

import re

import numpy as np
import pytest
import shapely

import pathgen
from pathgen.base.errors import JobError, PathgenError
from pathgen.job.clamping import clamping_of, planned_of
from pathgen.job.doubts import doubts_of
from pathgen.parts.fingerboard.fretting import FretWire, TangTable, wire_faults
from pathgen.parts.fingerboard.stringing import CourseTable, string_places
from pathgen.work.features import Slots
from tests import small_board
from tests.job.test_forms import FORM
from tests.job.test_forms import read as read_form
from tests.job.test_plates import PLATE, read

MARKS = '[outline]\ncutter = "flat"\n[marks]\ncutter = "flat"\ndepth = 0.8\n'
V_CUTTER = small_board.cutter(name="vee", shape="v", diameter=6.0, angle=60.0, speed=16000, feed=600.0, plunge=200.0,
                              stepdown=1.0)


def told(folder, **changed):
    """What is said of a job that is refused; nothing where it is in order, and its doubts where it has some."""
    try:
        job = pathgen.load_job(small_board.job(folder, **changed))
        clamping = planned_of(job).clamping
    except PathgenError as wrong:
        return " | ".join(wrong.lines)
    return " | ".join(str(doubt) for doubt in doubts_of(job, clamping) if doubt.grave)


def place(text):
    return {"place = { at = [45.0, 0.0] }": f"place = {text}"}


@pytest.mark.parametrize(("changes", "extra", "key", "value"), [
    ({"end_width = 46.0": "end_width = 46.0\nend = { rise = -30.0 }"}, "", "rise = -30.0", r"rise from (-[\d.]+) mm"),
    ({"end_width = 46.0": "end_width = 46.0\nend = { rise = -23.0 }"}, "", "rise = -23.0", r"rise from (-[\d.]+) mm"),
    ({}, "", "bevel = 2.0", r"make bevel ([\d.]+) mm or less"),
    ({}, small_board.SLOTS + "ends = 30.0\n", "ends = 30.0", r"([\d.]+) mm or less"),
    (place("{ between = [4, 5], margin = 12.0 }"), "", "margin = 12.0", r"make margin ([\d.]+) mm"),
    (place("{ at = [400.0, 0.0], width = 9.0 }"), small_board.SLOTS, "at = [400.0, 0.0]", r"make at = (\[[^]]+\])"),
    ({}, MARKS + "at = [[-2.0, -5.0], [42.5, 30.0], [42.5, -30.0], [101.5, 29.5]]\n", "[-2.0, -5.0]",
     r"move it to (\[[^]]+\])"),
], ids=lambda one: one if isinstance(one, str) and "=" in one and "\n" not in one else "")
def test_the_value_that_is_named_builds_without_a_warning(tmp_path, changes, extra, key, value):
    if "bevel" in key:
        extra = small_board.SLOTS.replace("[slots]", V_CUTTER + "[slots]") + 'bevel = 2.0\nbevel_cutter = "vee"\n'
    first = told(tmp_path, changes=changes, extra=extra)
    named = re.search(value, first)
    assert named, first
    right = re.sub(r"(.* = )?.*", rf"\g<1>{named[1]}", key, count=1) if "=" in key else named[1]
    assert told(tmp_path, changes={a: b.replace(key, right) for a, b in changes.items()},
                extra=extra.replace(key, right)) == ""


@pytest.mark.parametrize(("asked", "named"), [
    ("at = [10.0, 0.0]\ndiameter = 8.0\ncount = 20\npitch = 30.0\n", "make count 3 or less"),
    ("at = [-300.0, 0.0]\ndiameter = 8.0\ncount = 20\npitch = 30.0\n", "make count 4 or less, and move the row"),
])
def test_a_row_too_long_is_told_how_many_holes_fit(tmp_path, asked, named):
    hole = '\n[[hole]]\ncutter = "flat 3"\n' + asked
    with pytest.raises(JobError) as refused:
        read(tmp_path, PLATE + hole)
    assert named in refused.value.remedy
    assert refused.value.where == "[[hole]] 1 pitch"
    right = re.sub("count = 20", "count = " + re.search(r"count (\d)", named)[1], hole).replace("-300.0", "5.0")
    assert read(tmp_path, PLATE + right)


def test_a_form_with_an_inlay_is_told_so_at_once(tmp_path):
    more = '[[inlay]]\nartwork = "line.svg"\ndepth = 1.0\ncutters = ["flat 3"]\n'
    with pytest.raises(JobError, match=r"^\[\[inlay\]\]: the job is of a \[form\]") as refused:
        read_form(tmp_path, FORM + more)
    assert refused.value.remedy == "leave it out"


def test_a_fill_is_not_offered_to_be_left_where_the_top_must_be_cut(tmp_path):
    bare = {'[surface]\nfinish = "ball"\nscallop = 0.05\n': ""}
    assert 'fill = "none"' not in told(tmp_path, changes=bare)
    assert 'fill = "none"' in told(tmp_path, changes=bare | {"thickness = 8.0": "thickness = 6.5"})


def test_a_tang_as_wide_as_its_studs_is_told_of_its_studs():
    slots = Slots(number=np.array([1]), lines=np.zeros((1, 2, 2)), width=0.7, depth=2.5)
    faults = list(wire_faults(FretWire(tang=TangTable(width=0.7, depth=1.9, studs=0.7)), slots))
    assert [(where, allowed) for where, _, allowed, _ in faults] == [("[frets] tang studs", "0.73 mm or more")]
    assert "usually about 0.9 mm" in faults[0][3]
    assert not list(wire_faults(FretWire(tang=TangTable(width=0.7, depth=1.9, studs=0.9)), slots))


@pytest.mark.parametrize(("spread", "inset", "course", "key"), [
    (4.0, 20.0, CourseTable(strings=2, gap=1.8), "edge_to_string"), (34.0, 3.0, CourseTable(strings=2, gap=9.0), "gap"),
    (4.0, 20.0, None, "edge_to_string"),
])
@pytest.mark.parametrize("spacing", ["gaps", "centres"])
def test_strings_that_touch_are_told_how_far_they_may_lie_from_the_edge(spread, inset, course, key, spacing):
    gauges = [1.17, 1.17, 0.66, 0.66, 0.43, 0.43, 0.3, 0.3]
    with pytest.raises(JobError, match="would touch") as refused:
        string_places(gauges, spread, spacing, course, inset=inset)
    most = float(re.search(rf"make {key} ([\d.]+) mm or less", refused.value.remedy)[1])
    if key == "gap":
        pairs = CourseTable(strings=2, gap=most)
        assert np.diff(string_places(gauges, spread, spacing, pairs, inset=inset)).min() > 0.0
        return
    string_places(gauges, spread + 2 * (inset - most), spacing, course, inset=most)
    with pytest.raises(JobError):
        string_places(gauges, spread + 2 * (inset - most - 0.02), spacing, course, inset=most)


def test_dots_as_wide_as_is_named_leave_wood_beside_the_slots(tmp_path):
    dots = '[dots]\ncutters = ["flat"]\ndiameter = {}\ndepth = 1.0\nfrets = [5]\n'
    wide = told(tmp_path, extra=small_board.SLOTS + dots.format(18.0),
                changes=place("{ at = [12.0, 0.0], width = 9.0 }"))
    most = re.search(r"\(allowed: ([\d.]+) mm or less", wide)[1]
    job = small_board.job(tmp_path, extra=small_board.SLOTS + dots.format(most))
    clamping = clamping_of(pathgen.load_job(job))
    slots = shapely.linestrings(clamping.board.frets.ends)
    assert 0.8 <= min(shapely.distance(slots, clamping.inlays[-1].area)) - 0.3 < 0.83


def test_clearance_is_named_where_the_travel_is_short_below_a_clamp(tmp_path):
    clamp = '[setup]\nkeep_out = [{ along = [-20.0, -12.0], across = [-30.0, 30.0], height = 20.0 }]\n'
    machine = clamp + "[machine]\ntravel = [400.0, 400.0, 29.0]\n"
    words = told(tmp_path, extra=machine) or refusal_of_build(tmp_path, machine)
    assert "meant" not in words
    most = re.search(r"make clearance ([\d.]+) mm or less", words)[1]
    lower = re.search(r"use one ([\d.]+) mm high or lower", words)[1]
    for right in (machine + f"clearance = {most}\n", machine.replace("height = 20.0", f"height = {lower}")):
        assert not refusal_of_build(tmp_path, right)
    assert "is 120 mm in Z meant?" in refusal_of_build(tmp_path, machine.replace("29.0", "12.0"))


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("key", ["tab_height", "skin"])
def test_the_height_below_a_steep_edge_that_is_named_is_what_stands_beside_it(tmp_path, key):
    """Beside a tight radius the surface goes on down, under the edge: less than the edge's height was still refused."""
    steep = {"radius = { nut = 254.0, end = 300.0 }": "radius = 60.0", 'place = { at': 'fill = "none"\nplace = { at'}

    def refused(high):
        extra = f'[outline]\ncutter = "flat"\n{key} = {high}\n'
        try:
            planned_of(job := pathgen.load_job(small_board.job(tmp_path, changes=steep, extra=extra)), clamping_of(job))
        except PathgenError as wrong:
            return str(wrong)
        return ""

    words = refused(3.0)
    assert "reaches the top of the edge" in words
    most = float(re.search(r"allowed: ([\d.]+) mm or less", words)[1])
    assert refused(most) == ""
    assert f"{key}: {most + 0.02:g} mm, and what is cut before leaves" in refused(round(most + 0.02, 2))


def refusal_of_build(folder, extra):
    try:
        pathgen.build(pathgen.load_job(small_board.job(folder, extra=extra)), resolution=0.5)
    except PathgenError as wrong:
        return str(wrong)
    return ""


def test_what_else_is_wrong_with_a_nut_or_holes_is_told_with_the_first(tmp_path):
    thick = small_board.cutter(name="thick", shape="flat-end", diameter=3.0, speed=16000, feed=900.0, plunge=300.0,
                               stepdown=1.0)
    nut = told(tmp_path, extra=thick + '[nut]\ncutter = "thick"\nwidth = 2.5\ndepth = 6.0\n')
    for words in ("the board ends at the nut face", "3 mm, wider than the nut's slot", "[nut] depth: 6 mm"):
        assert words in nut
    holes = told(tmp_path, extra='[holes]\ncutter = "flat"\ndiameter = 4.0\nat = [[40.0, 0.0], [100.0, 28.0]]\n')
    for words in ("2 mm for holes of 4 mm", "meets the board"):
        assert words in holes


def test_heights_of_marks_measured_at_their_bottoms_are_told_so(tmp_path):
    at = "drilled = [[-10.0, 29.0, {0}], [100.0, -29.0, {0}], [98.0, 29.0, {0}]]\n"
    assert "take Z on the top beside it" in told(tmp_path, extra=MARKS + at.format(7.2))
    assert "beside it" not in told(tmp_path, extra=MARKS + at.format(6.9))


def test_a_blank_too_narrow_for_marks_is_told_how_wide_it_must_be(tmp_path):
    loose = MARKS.replace("[marks]", "tabs = 0\n[marks]")
    short = {"length = 125.0": "length = 95.0", "margin_nut = 20.0": "margin_nut = 4.0"}
    words = told(tmp_path, changes=short | {"width = 66.0": "width = 47.0"}, extra=loose)
    wide = re.search(r"take a blank ([\d.]+) mm wide", words)
    assert wide, words
    assert 47.0 < float(wide[1]) <= 66.0
    assert "[marks]" not in told(tmp_path, changes=short | {"width = 66.0": f"width = {wide[1]}"}, extra=loose)


@pytest.mark.parametrize(("gap", "loose"), [(0.05, False), (0.3, False), (0.9, True)])
def test_a_piece_much_smaller_than_its_pocket_is_warned_of(tmp_path, gap, loose):
    piece = {"overfill = 0.7\n": f'overfill = 0.7\nfill = "piece"\npiece = {{ cutter = "flat", gap = {gap}, '
                                 "thickness = 1.8 }\n"}
    assert ("piece gap" in told(tmp_path, changes=piece)) is loose


def test_a_piece_too_thick_is_told_one_that_does(tmp_path):
    piece = 'overfill = 0.7\nfill = "piece"\npiece = {{ cutter = "flat", thickness = {} }}\n'
    words = told(tmp_path, changes={"overfill = 0.7\n": piece.format(5.0)})
    right = re.search(r"make thickness ([\d.]+) mm", words)[1]
    assert told(tmp_path, changes={"overfill = 0.7\n": piece.format(right)}) == ""


@pytest.mark.parametrize(("scallop", "words"), [
    ("0.0001", "0.005 mm to 0.02 mm is usual"), ("0.0004", 'write "0.0004 in"'),
])
def test_ridges_far_too_low_are_told_what_is_usual(tmp_path, scallop, words):
    refused = told(tmp_path, changes={"scallop = 0.05": f"scallop = {scallop}"})
    assert words in refused
    assert "cm" not in refused


def test_a_stepdown_over_a_fill_is_counted_with_the_ridges_between(tmp_path):
    """Four fifths of 0.02 mm through 0.7 mm: 0.7 / 0.016 is 43.75."""
    assert "0.02 mm: 44 layers of 0.016 mm" in told(tmp_path, extra="[resurface]\nstepdown = 0.02\n")
