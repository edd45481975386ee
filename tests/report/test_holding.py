"""What the programs and the report say of tabs, of a skin, and of nothing that holds the board."""

import re
from dataclasses import replace

import numpy as np
import pytest

import pathgen
from pathgen.job.clamping import clamping_of
from pathgen.job.doubts import doubts_of
from pathgen.job.nut_and_saddle import nut_and_saddle_clampings
from pathgen.programs.afterwards import off_the_machine
from pathgen.programs.instructions import cautions
from pathgen.report.holding import holding_findings, last_lap_findings, standing_out_findings
from pathgen.report.sheet.by_hand import by_hand
from pathgen.report.sheet.page import legend_above
from pathgen.report.sheet.programs import common_cautions
from pathgen.work.clamping import Step
from pathgen.work.features import Marks
from pathgen.work.operations import Outline, WitnessMarks
from tests import small_board
from tests.small_board import changed, dotted_job


@pytest.fixture
def outline_of(built):
    """The clamping with another outline cut, and its outline step."""
    def with_changes(**changes):
        clamping = changed(built.plan.clamping, Outline, **changes)
        return clamping, next(s for s in clamping.steps if s.operation.name == "outline")

    return with_changes


def test_words_for_tabs_for_a_skin_and_for_neither(outline_of):
    clamping, step = outline_of(tabs=4)
    assert "leaving tabs" in step.operation.purpose
    assert "Cut the tabs" in step.operation.afterwards(clamping)[0]
    assert [cautions(outline_of(tabs=count)[1])[2].split(": ")[1].split(" must")[0] for count in (2, 1)] == [
        "tabs, and what holds the blank,", "one tab and what sticks the blank down over its whole face"]
    assert outline_of(tabs=1)[1].operation.purpose == "cut the outline, leaving one tab"
    clamping, step = outline_of(tabs=0, skin=0.3)
    assert "leaving a skin" in step.operation.purpose
    assert not any("tabs" in line for line in cautions(step))
    clamping, step = outline_of(tabs=0)
    assert "without tabs" in step.operation.purpose
    assert not any("tabs" in line for line in step.operation.afterwards(clamping) + cautions(step))
    assert any("stick" in line for line in cautions(step))


def test_what_comes_free_in_this_program_is_not_said_before_any_is_named(outline_of):
    clamping, step = outline_of(tabs=2)
    assert common_cautions(replace(clamping, steps=(step,))) == common_cautions(clamping)
    assert any("comes free in this program" in line for line in cautions(step))


@pytest.mark.parametrize(("changes", "words"), [
    ({"tabs": 0}, "nothing of the wood holds"), ({"tabs": 1}, "one tab holds"),
    ({"tabs": 0, "skin": 0.15}, "a skin of 0.15 mm"),
    ({"tabs": 2}, None), ({"tabs": 0, "skin": 0.2}, None), ({"tabs": 2, "tab_width": 1.0, "tab_height": 1.5}, None),
    ({"tabs": 2, "tab_width": 0.5, "tab_height": 0.1}, "2 tabs 0.5 mm wide and 0.1 mm high, 0.1 mm2 of wood"),
])
def test_a_warning_where_too_little_holds_the_board(outline_of, changes, words):
    found = holding_findings(outline_of(**changes)[0])
    how = "note" if changes == {"tabs": 0} else "warn"  # asked for: no warning stays when the blank is stuck down
    assert [(f.code, f.severity) for f in found] == ([("nothing-holds", how)] if words else [])
    assert all(words in f.got and "whole face" in f.remedy for f in found)


@pytest.mark.parametrize(("tabs", "wide", "remedy"), [
    (4, 6.0, None), (7, 6.0, None), (8, 6.0, "write tabs = 7"), (2, 36.0, None),
    (4, 36.0, "make tab_width smaller, or write tabs = 2"), (2, 40.0, "make tab_width smaller"),
])
def test_tabs_that_leave_most_of_the_work_to_the_saw_are_doubted(tmp_path, tabs, wide, remedy):
    """By arithmetic: 256.6 mm round the board, tabs 3 mm longer at each end for its slope of 1 in 2, 1.5 mm high; four
    of 36 mm have room for less."""
    text = f'[outline]\ncutter = "flat"\ntabs = {tabs}\ntab_width = {wide}\n'
    job = pathgen.load_job(small_board.job(tmp_path, extra=text))
    found = [one for one in doubts_of(job, clamping_of(job)) if one.where == "[outline] tabs"]
    assert [one.remedy for one in found] == [remedy] * bool(remedy)
    whole = (tabs, wide) != (4, 36.0)
    assert all((f"{tabs * (wide + 6.0):.0f} mm of 256.6 mm round the board" in one.problem) == whole for one in found)


@pytest.mark.parametrize(("wide", "remedy"), [(3.0, "; or write tabs = 2"), (8.0, "throws the nut")])
def test_tabs_that_do_not_fit_a_nut_are_not_advised(tmp_path, wide, remedy):
    """Its end is some 8.1 mm long: no room for a tab beside a cutter of 8 mm."""
    flat = 'name = "flat 3"\nshape = "flat-end"\ndiameter = '
    job = dotted_job(
        tmp_path, ("[nut_blank]", "[nut_blank]\ntabs = 0"), (f"{flat}3.0", f"{flat}{wide}"),
        ("[dots]", "[dots]\nfrets = [3]"), ("diameter = 6.0", "diameter = 8.0"))
    nut = nut_and_saddle_clampings(job)[0]
    (found,) = holding_findings(nut)
    assert found.where == "[nut_blank] tabs"
    assert "skin" not in found.allowed
    assert found.remedy.endswith(remedy)
    outline = next(s for s in nut.steps if s.operation.name == "outline")
    assert not any("tabs" in words for words in outline.operation.off_in_z(outline.cutter))


def test_a_thin_cutter_that_must_stand_far_out_is_doubted(built):
    clamping, programs = built.plan.clamping, built.verification.programs
    assert standing_out_findings(clamping, programs) == []
    tall = replace(clamping, setup=replace(clamping.setup, keep_out=tuple(
        replace(box, height=55.0) for box in clamping.setup.keep_out)))
    found = standing_out_findings(tall, programs)
    assert {(f.code, f.severity) for f in found} == {("stands-far-out", "warn")}
    (slot,) = found  # one for all that must, of the thinnest
    assert "slot" in slot.where
    # 55 mm, 2 mm for the collet's nut, less the height of the slots' bottoms
    assert "it must stand 5" in slot.got
    assert "clamps and blank" in slot.got
    assert slot.allowed.startswith("25 mm or less")
    assert slot.remedy.startswith("take lower clamps, or hold the blank from below; or")
    higher = replace(clamping, setup=replace(clamping.setup, keep_out=tuple(
        replace(box, height=180.0) for box in clamping.setup.keep_out)))
    (slot,) = standing_out_findings(higher, programs)
    assert "slot" in slot.where
    assert re.search(r'\(and "ball.+" 1[\d.]+ mm and "flat 3" 1[\d.]+ mm\)$', slot.got)
    thick = replace(clamping, setup=replace(clamping.setup, keep_out=()), stock=replace(clamping.stock, thickness=55.0))
    (slot,) = [f for f in standing_out_findings(thick, programs) if "slot" in f.where]
    assert "to clear the blank" in slot.got
    assert slot.remedy.startswith("take a thicker cutter, or a thinner blank; or")  # there are no clamps


def test_the_page_says_what_comes_after_the_last_program(built):
    lines = off_the_machine(built.plan.clamping)
    assert [line.split()[0] for line in lines] == ["Sand", "Look", "Clear", "Try"]
    assert off_the_machine(replace(built.plan.clamping, kind="back")) == []


@pytest.mark.parametrize(("surfaced", "first"), [(True, ["Glue", "Sand"]), (False, ["Glue"])])
def test_dots_that_no_program_levels_are_glued_in_and_levelled_by_hand(tmp_path, surfaced, first):
    """The key says of fill = "none": let in, and made level by hand."""
    bare = {} if surfaced else {"thickness = 8.0": "thickness = 6.5",
                                '[surface]\nfinish = "ball"\nscallop = 0.05\n': "", "overfill = 0.7": 'fill = "none"'}
    dots = '[dots]\ndiameter = 4.0\nfrets = [1]\ndepth = 1.0\ncutters = ["flat"]\nfill = "{}"\n'

    def clamping(fill):
        return clamping_of(pathgen.load_job(small_board.job(tmp_path, changes=bare, extra=dots.format(fill))))

    lines = off_the_machine(clamping("none"))
    assert [line.split()[0] for line in lines][:2] == first
    assert "Glue the dots into their pockets, let the glue set fully, and level them" in lines[0]
    assert "a hard narrow straight bar" in by_hand(clamping("none"), [])
    assert "glue" in by_hand(clamping("none"), []).split("; ")
    if surfaced:
        assert not any("dots" in line for line in off_the_machine(clamping("piece")))


@pytest.mark.parametrize(("radius", "lowered", "words"), [
    ("305.0", "", "along the board with a hard block of its radius, finer and finer; wear"),
    ('"flat"', "", "along the board with a hard flat block, finer and finer; wear"),
    ("{ nut = 254.0, end = 300.0 }", "", "along the lines of the strings with a hard narrow straight bar, finer"),
    ("305.0", "relief = { depth = 0.15, fret = 2, to = 4 }\n",
     "in short strokes along the board with a hard block of its radius {} mm long at most, finer and finer: a longer "
     "one takes out the relief; wear"),
    ("{ nut = 254.0, end = 300.0 }", 'fall_away = { fret = 2, drop = 0.2, shape = "curved" }\n',
     "in short strokes along the lines of the strings with a hard narrow straight bar {} mm long at most, finer and "
     "finer: a longer one takes out the fall-away; wear"),
])
def test_a_board_is_sanded_with_what_fits_it(tmp_path, radius, lowered, words):
    """A cone has no one radius that a block could have and be drawn along it, and a long block takes relief out: under
    one of the length told, on its two ends or on its middle, the board curves by 0.02 mm at most."""
    job = small_board.job(tmp_path, changes={"{ nut = 254.0, end = 300.0 }": f"{radius}\n{lowered}"})
    clamping = clamping_of(pathgen.load_job(job))
    line = off_the_machine(clamping)[0]
    long = re.search(r"([\d.]+) mm long at most", line)
    assert f"Sand the ridges away, 0.05 mm high at most, {words.format(long and long[1])}" in line
    block = re.search("with a (hard .+?), finer", line)[1]
    assert f"{block}; abrasive paper" in by_hand(clamping, [])
    if long:
        x = np.linspace(0.0, 85.0 - float(long[1]), 200)[:, None] + float(long[1]) * np.array([0.0, 0.5, 1.0])
        near, middle, far = clamping.board.surface.height(x, 0.0).T
        assert 20.0 <= float(long[1]) < 40.0
        hollow = (near + far) / 2 - middle
        assert 0.01 < (hollow if "relief" in lowered else -hollow).max() <= 0.02


@pytest.mark.parametrize(("units", "scallop"), [
    ("mm", "0.015"), ("mm", "0.0005"), ("in", "0.0006"), ("in", "0.00002"),
])
def test_ridges_to_sand_are_no_lower_in_words(tmp_path, units, scallop):
    finish = {"scallop = 0.05": f'scallop = "{scallop} {units}"'}
    clamping = replace(clamping_of(pathgen.load_job(small_board.job(tmp_path, changes=finish))), units=units)
    assert f"ridges away, {scallop} {units} high at most" in " ".join(off_the_machine(clamping))


def test_the_legend_names_what_the_picture_shows_and_clamps_that_are_not_known(built):
    clamping = built.plan.clamping
    drawn = [inlay.area for inlay in clamping.inlays]
    assert "Hatched: clamps" in legend_above(clamping, drawn)
    assert "marks" not in legend_above(clamping, drawn)
    marks = WitnessMarks(Marks(places=np.array([[-10.0, 0.0]]), depth=1.0, hover=5.0))
    marked = replace(
        changed(clamping, Outline, tabs=0), setup=replace(clamping.setup, keep_out=()),
        steps=(*changed(clamping, Outline, tabs=0).steps, Step(operation=marks, cutter=clamping.steps[0].cutter)),
    )
    words = legend_above(marked, drawn)
    # the blank, 7 mm, or fill standing proud; 10 mm of clearance above
    assert f"No clamps given: rapids across the work pass {marked.safe_z:g} mm above the bed" in words
    assert marked.safe_z < clamping.safe_z
    assert "witness marks" in words
    assert "Hatched" not in words
    assert "Triangles" not in words


def test_a_last_lap_that_takes_less_than_asked_is_told(outline_of):
    clamping, _ = outline_of(finish=0.02)
    assert last_lap_findings(clamping) == []
    clamping, step = outline_of(finish=0.3)
    thin = replace(step.cutter, diameter=1.5, stepdown=1.5)  # a tenth of it is 0.15 mm, by the docstring of outlining
    steps = tuple(replace(one, cutter=thin) if one.operation.name == "outline" else one for one in clamping.steps)
    found, = last_lap_findings(replace(clamping, steps=steps))
    assert (found.code, found.severity, found.where) == ("last-lap-less", "note", "[outline] finish")
    assert found.got.startswith("0.3 mm, and the last lap takes 0.15 mm:")
    assert "write finish = 0.15," in found.remedy
    odd = replace(thin, diameter=1.234)
    found, = last_lap_findings(replace(clamping, steps=tuple(
        replace(one, cutter=odd) if one.operation.name == "outline" else one for one in clamping.steps)))
    assert "the last lap takes 0.1234 mm:" in found.got, "as what is to be written"
    assert "write finish = 0.1234," in found.remedy
    asked_nothing, _ = outline_of(finish=0.2)  # as where the key is left out, and in tables that have none
    steps = tuple(replace(one, cutter=thin) if one.operation.name == "outline" else one for one in asked_nothing.steps)
    assert last_lap_findings(replace(asked_nothing, steps=steps)) == []
