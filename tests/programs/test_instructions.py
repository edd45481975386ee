"""What the maker is told before the first program: where the work lies, and what to trust when Z looks wrong."""

import re
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely

import pathgen
from pathgen.app.building import build
from pathgen.app.cli import main
from pathgen.base.errors import JobError
from pathgen.job.bench import side_dot_clamping
from pathgen.job.clamping import clamping_of, planned_of
from pathgen.job.flat import boring_of, flat_part_of
from pathgen.job.form import parts_of
from pathgen.job.kinds import KINDS
from pathgen.job.pieces import piece_sheets
from pathgen.programs.afterwards import afterwards
from pathgen.programs.around import Around
from pathgen.programs.instructions import MISREAD, before_start, cautions
from pathgen.programs.plan import Plan
from pathgen.programs.waste import nearest_inside
from pathgen.programs.zero_words import zero_words
from pathgen.programs.zeroing import refits
from pathgen.report.zero import reference_rows, zero_findings
from tests.job.test_plates import DRAWN
from tests.small_board import SLOT_CUTTER, built, cutter, dotted_job, job, moves, svg
from tests.whole.test_let_in_jobs import EXAMPLE

OUTLINE = '[outline]\ncutter = "flat"\nthrough = 0.3\n'


def told(folder, order, **changed):
    clamping = clamping_of(pathgen.load_job(job(folder, **changed)))
    return told_of(clamping, order)


def told_of(clamping, order):
    return before_start(clamping, clamping.steps[order - 1], plan_of(clamping).starts[order - 1])


def plan_of(clamping):
    """One without paths: nothing is past the travel."""
    return Plan(around=Around(clamping=clamping))


@pytest.mark.parametrize(("setup", "spans"), [
    ("", "X -20 mm to 105 mm and from Y -33 mm to 33 mm"),
    ('zero = "blank-nut-bass"\n', "X 0 mm to 125 mm and from Y 0 mm to 66 mm"),
    ('along = "y"\n', "X -33 mm to 33 mm and from Y -20 mm to 105 mm"),
])
def test_the_blank_is_found_by_its_edges(tmp_path, setup, spans):
    """125 by 66 mm, 20 mm before the nut; the ball has a radius of 6.35 mm."""
    (line,) = [line for line in told(tmp_path, 1, extra=f"[setup]\n{setup}") if line.startswith("Set X 0 and Y 0")]
    assert f"The blank then reaches from {spans}: " in line
    assert line.endswith("just touches one of its edges, its tip 6.35 mm or more below the blank's top (higher up it "
                         "is narrower), the display shows half the cutter, 6.35 mm, beyond that.")


CLAMPED = "keep_out = [{ along = [-40, -14], across = [-33, 33], height = 20 }]\n"


@pytest.mark.parametrize(("setup", "changes", "extra", "taped"), [
    ("", {}, "", True), ('z_zero = "stock-top"\n', {}, "", False),
    (CLAMPED, {}, "", True),  # resin cures in it: it is held over its whole face
    (CLAMPED, {"overfill = 0.7": 'overfill = 0.7\nfill = "piece"'}, "", False),
    (CLAMPED, {"overfill = 0.7": 'overfill = 0.7\nfill = "piece"'}, f"{OUTLINE}tabs = 0\n", True),
    (CLAMPED, {"overfill = 0.7": 'overfill = 0.7\nfill = "piece"'}, f"{OUTLINE}skin = 0.1\n", True),  # thin: stuck down
])
def test_the_thickness_of_tape_under_the_work_is_counted(tmp_path, setup, changes, extra, taped):
    """Tape lifts the work off the bed that Z 0 is set on: each program that a cutter is fitted for says where to."""
    clamping = clamping_of(pathgen.load_job(job(tmp_path, changes=changes, extra=f"[setup]\n{setup}{extra}")))
    fitted = [line for step in clamping.steps for line in before_start(clamping, step) if line.startswith("Fit ")]
    assert fitted
    strip = "where tape holds the work, on a strip of the same tape stuck to the bed, or all is cut lower by its"
    assert [strip in line for line in fitted] == [taped] + [False] * (len(fitted) - 1)  # said once
    as_then = "on the bed, a setter or the strip of tape beside the work" if taped else \
        "on the bed or a setter beside the work"
    assert all(f"{as_then}, as before program 1." in line for line in fitted[1:]) or "stock-top" in setup
    assert ("spoilboard or tape it lies on" in zero_words(clamping)) == taped


@pytest.mark.parametrize(("more", "taped"), [("", True), (CLAMPED, False)])
def test_a_cutter_that_goes_below_the_work_may_end_in_the_tape_under_it(tmp_path, more, taped):
    """0.3 mm "into the spoilboard" was told where up to 0.25 mm of that is tape."""
    clamping = clamping_of(pathgen.load_job(job(tmp_path, changes={"overfill = 0.7": 'overfill = 0.7\nfill = "piece"'},
                                                extra=f"{OUTLINE}[setup]\n{more}")))
    last = before_start(clamping, clamping.steps[-1])
    (line,) = [line for line in last if line.startswith("This program cuts 0.3 mm into the spoilboard")]
    assert ("under the work, or into the tape that holds it: see" in line) == taped


@pytest.mark.parametrize(("cutter", "said"), [
    ('name = "flat"', "where the side of the cutter just touches one of its edges, the display shows half the cutter, "
                      "1 mm, beyond that."),
    # 3 mm from its axis the flank of a v of 90 degrees is 3 mm over its tip, that of one of 20 degrees 17 mm
    ('name = "v"\nangle = 90', "one of its edges, its tip 3 mm or more below the blank's top (higher up it is "
                               "narrower), the display shows half the cutter, 3 mm, beyond that."),
    ('name = "v"\nangle = 20', "where a straight pin in the spindle, not the cutter, just touches one of its "
                               "edges, the display shows half the pin beyond that."),
])
def test_the_edge_is_found_with_what_is_as_wide_there(tmp_path, cutter, said):
    v = f'[[cutter]]\n{cutter}\nshape = "v"\ndiameter = 6\nspeed = 16000\nfeed = 600\nplunge = 200\nstepdown = 1\n'
    marks = f'{OUTLINE}[marks]\ncutter = "{cutter.split(chr(34))[1]}"\n{v if "angle" in cutter else ""}'
    (line,) = [line for line in told(tmp_path, 1, extra=marks) if line.startswith("Set X 0 and Y 0")]
    assert line.endswith(said)


CLAMPS = {"near": "{ along = [-20, -12], across = [-33, 33], height = 20 }",
          "far": "{ along = [98, 105], across = [-33, 33], height = 20 }",
          "corner": "{ along = [-20, -12], across = [-33, 0], height = 20 }",
          "inside": "{ along = [-12, -8], across = [-33, 33], height = 20 }",
          "side": "{ along = [-20, 105], across = [31, 33], height = 20 }"}


@pytest.mark.parametrize(("clamps", "said", "again"), [
    ([], "", "the sides and the nut end of the blank"),
    (["corner", "inside"], "", "the sides and the nut end of the blank"),  # the other half of that end is bare
    (["near"], " Find X from the edge at X 105 mm: the other lies under a clamp.",
     "the sides and the far end of the blank"),
    (["near", "far"], " Find X from the edge at X -20 mm, then put its clamp on without moving the work: the other "
     "lies under a clamp too.", "Y alone from the sides of the blank, as its other edges are under clamps"),
    (["side"], " Find Y from the edge at Y -33 mm: the other lies under a clamp.",
     "the sides and the nut end of the blank"),
])
def test_edges_under_clamps_are_not_touched(tmp_path, clamps, said, again):
    """A clamp as wide as the blank leaves no place for a cutter beside its end."""
    setup = f"[setup]\nkeep_out = [{', '.join(CLAMPS[one] for one in clamps)}]\n"
    clamping = clamping_of(pathgen.load_job(job(tmp_path, extra=setup)))
    (line,) = [line for line in before_start(clamping, clamping.steps[0]) if line.startswith("Set X 0 and Y 0")]
    assert line.partition("beyond that.")[2] == said
    assert reference_rows(plan_of(clamping))[0]["xy"] == [again]


def test_the_axis_of_a_clamped_end_is_the_machines(tmp_path):
    setup = f'[setup]\nalong = "y"\nkeep_out = [{CLAMPS["near"]}]\n'
    (line,) = [line for line in told(tmp_path, 1, extra=setup) if line.startswith("Set X 0 and Y 0")]
    assert line.endswith("Find Y from the edge at Y 105 mm: the other lies under a clamp.")


@pytest.mark.in_every_run(0)
def test_where_clamps_cover_both_ends_one_is_left_off_until_zero_is_set(tmp_path):
    """In order, as it is read: held but for that clamp, the cutter fitted, X found, the clamp put on."""
    setup = f"[setup]\nkeep_out = [{CLAMPS['near']}, {CLAMPS['far']}]\n"
    lines = told(tmp_path, 1, extra=setup)
    order = ["Hold the blank", "Leave the clamp at the edge at X -20 mm off until X 0 is set.", "Fit ball",
             "Set X 0 and Y 0", "Check Z 0"]
    assert [one for line in lines for one in order if line.startswith(one)] == order
    lost = "No edge gives X again: home the machine before X 0 is set, and note what its own coordinates show there."
    assert lost in built(tmp_path, extra=setup, resolution=0.5).files(shaded=False)["report.txt"]
    marked = built(tmp_path, extra=setup + '[marks]\ncutter = "flat"\n', resolution=0.5)
    assert "No edge gives" not in marked.files(shaded=False)["report.txt"]


@pytest.mark.parametrize(("clamp", "travel", "said"), [
    # what is cut reaches from X -0.22 to 85.47, the ball beside the ends of the blank from -26.35 to 111.35
    ("far", 111.7, "Find X from the edge at X 105 mm, then put its clamp on without moving the work: the other lies "
                   "past the machine's travel."),
    ("near", 111.7, "Find X from the edge at X 105 mm: the other lies past the machine's travel."),
    ("far", 113.0, "Find X from the edge at X -20 mm: the other lies past the machine's travel."),  # not both of them
    ("near", 113.0, "Find X from the edge at X 105 mm: the other lies past the machine's travel."),
    ("far", 140.0, "Find X from the edge at X -20 mm: the other lies under a clamp."),
    ("far", 111.0, "Neither edge in X lies within the machine's travel: draw a line on the blank for X 0, through the "
                   "nut face on the centre-line, and set it with the tip over that."),
])
def test_one_edge_under_a_clamp_and_the_other_past_the_travel(tmp_path, clamp, travel, said):
    """Each of two sentences sent the maker to the other one's edge. Where none can be touched the finding says what the
    card says, and all that is cut, touched and tried fits the travel."""
    extra = f"[setup]\nkeep_out = [{CLAMPS[clamp]}]\n[machine]\ntravel = [{travel}, 200.0, 90.0]\n"
    planned = planned_of(pathgen.load_job(job(tmp_path, extra=extra)))
    lines = before_start(planned.clamping, planned.clamping.steps[0], planned.starts[0])
    (line,) = [line for line in lines if line.startswith("Set X 0 and Y 0")]
    assert line.partition("beyond that. ")[2] == said
    at = re.search(r"from the edge at X (-?\d+) mm", said)
    assert [f"Leave the clamp at the edge at X {at and at[1]} mm off" in line for line in lines].count(True) == (
        "put its clamp on" in said)
    told_of_it = [f.remedy for f in zero_findings(planned)]
    assert told_of_it == ([] if at else [said.partition(": ")[2].rstrip(".")])
    touched = [float(at[1]) + (6.35 if at[1] == "105" else -6.35)] if at else []
    asked = [*np.concatenate([path.points[:, 0] for path in planned.paths]), 0.0, *touched,
             *(check.display[0] for check in planned.zero_checks.values())]
    assert np.ptp(asked) <= travel + 1e-9


@pytest.mark.parametrize("zero", ["bed", "stock-top"])
def test_the_blank_is_laid_down_and_measured_then_held_then_zero_is_set(tmp_path, zero):
    """From its top too all depends on how thick it is: what is left of it, and how deep the bed is cut."""
    clamp = f'[setup]\nz_zero = "{zero}"\n' "keep_out = [{ along = [-20, -12], across = [-33, 33], height = 20 }]\n"
    lines = told(tmp_path, 1, extra=clamp)
    order = ("Lay the blank down", "Measure the blank", "Hold the blank flat and firmly, over its whole face",
             "By the job the highest clamp", "Fit ball", "Set X 0 and Y 0", "Check Z 0")
    assert [next(i for i, line in enumerate(lines) if line.startswith(one)) for one in order] == \
        sorted(i for i, line in enumerate(lines) if line.startswith(order))


def test_a_blank_of_another_thickness_is_not_mended_at_z_0(tmp_path):
    lines = told(tmp_path, 1)
    assert any(line.startswith("Measure the blank: the job says 8 mm thick.") for line in lines)
    assert any("over the bare raw top" in line for line in lines)
    assert "note it, and leave Z 0. If thicker, write [stock] thickness as measured, build again." in lines[-1]
    assert not any("leave Z 0" in line or "Measure the blank" in line for line in told(tmp_path, 2))


def test_a_raw_top_that_is_not_level_is_not_mended_at_z_0(tmp_path):
    """Z 0 is the raw top where it was set: elsewhere it may lie higher or lower, which no zero mends."""
    lines = told(tmp_path, 1, extra='[setup]\nz_zero = "stock-top"\n')
    assert lines[-2] == (
        "If it stays off with Z 0 set again where it was, the top is so much higher or lower here: note it, and leave "
        "Z 0. If higher, set Z 0 here, write [stock] thickness as measured here, build again.")
    assert not any("leave Z 0" in line for line in told(tmp_path, 2, extra='[setup]\nz_zero = "stock-top"\n'))


@pytest.mark.parametrize(("changes", "low", "makes_up"), [
    ({}, "lower than the surface: ", "No program makes up for it."),
    ({"[resin]": "[resurface]\nskim = 0.1\n[resin]"}, "more than 0.1 mm lower than the surface: ",
     "The surface comes down by 0.1 mm, no further."),
    ({"scallop = 0.05": "scallop = 0.05\nleave = 0.3"}, "more than 0.3 mm lower than the surface: ",
     "The surface comes down by 0.3 mm, no further."),
])
def test_fill_may_have_sunk_as_far_as_the_surface_comes_down(tmp_path, changes, low, makes_up):
    """With a skim of 0.1 mm "no program makes up for it" was untrue."""
    (line,) = [line for line in told(tmp_path, 3, changes=changes) if line.startswith("Nowhere may it be")]
    assert line.startswith(f"Nowhere may it be {low}")
    assert line.endswith(f" {makes_up}")


def test_of_a_later_fill_it_is_told_how_low_its_second_cut_comes(tmp_path):
    """It was cut, had sunk, and skim was written then, as README says: "no program makes up for it" was untrue."""
    two = '[resurface]\nskim = 0.1\n[[inlay]]\nartwork = "art.svg"\ndepth = 1.0\ncutters = ["flat"]\n' \
          'place = { at = [14.0, 0.0], width = 16.0 }\n[resin]'
    lines = [told(tmp_path, number, changes={"[resin]": two}) for number in (3, 5)]
    (first,), (later,) = ([line for line in own if line.startswith("Nowhere may it be")] for own in lines)
    assert "more than 0.1 mm lower than the surface: " in first
    assert later.startswith("Nowhere may it be lower than the surface as it is cut now, 0.1 mm below where it would be "
                            "with no [resurface] skim: where it has sunk further, roughen it")
    assert later.endswith("No program cuts lower.")


def test_a_spoilboard_is_asked_for_before_the_first_cut(tmp_path):
    (line,) = [line for line in told(tmp_path, 1, extra=OUTLINE) if "spoilboard" in line]
    assert "a cutter comes 0.3 mm into it, or into the tape that holds it. Its top is the bed" in line
    assert not any("spoilboard" in line for line in told(tmp_path, 1))


def test_where_nothing_else_holds_the_board_the_blank_is_to_be_stuck_down_before_the_first_cut(tmp_path):
    (line,) = [line for line in told(tmp_path, 1, extra=OUTLINE + "tabs = 0\n") if line.startswith("Hold the")]
    assert line.endswith("while the fill cures; and nothing else holds the board once its outline is cut, and the "
                         "cutter would throw it; clamps hold the waste alone; keep clamps out of the cutter's way.")
    assert not any("throw it" in line for line in told(tmp_path, 1, extra=OUTLINE))


def test_how_the_blank_lies_and_is_held_is_told_first(tmp_path):
    clamps = "[setup]\nkeep_out = [{ along = [-40.0, -14.0], across = [-33.0, 33.0], height = %s }]\n"
    lines = told(tmp_path, 1, extra=clamps % 20.0)
    assert any(line.startswith("Hold the blank flat and firmly, over its whole face, by double-sided tape or vacuum: ")
               and line.endswith("while the fill cures; keep clamps out of the cutter's way.") for line in lines)
    none = told(tmp_path, 1, extra="[setup]\nkeep_out = []\n")
    assert not any("clamps" in line for line in none if not line.startswith("Lay the blank down without clamps"))
    assert any("over a hollow the wood comes out thinner" in line for line in lines)
    assert any("clamp ends 20 mm above the bed, 12 mm above the top of the blank" in line for line in lines)
    low = told(tmp_path, 1, extra=clamps % 2.0)  # as if from the blank
    assert any("clamp ends 2 mm above the bed, 6 mm below the top of the blank" in line for line in low)
    dry = told(tmp_path, 1, changes={"overfill = 0.7": 'fill = "none"'})
    assert not any("whole face" in line or "clamp ends" in line for line in dry)


@pytest.mark.parametrize(("extra", "said"), [
    ("", "look up in its sheet how much it allows at once. What is poured deeper than that boils and shrinks."),
    ("pour_depth = 2.2\n", "its sheet allows 2.2 mm at once."),  # 1.5 mm and 0.7 mm proud
    ("pour_depth = 1.2\n", "part it into pours of 1.2 mm at most: more at once boils and shrinks."),
])
def test_a_pour_deeper_than_its_sheet_allows_is_parted(tmp_path, extra, said):
    """Said where it is poured, in the words of the warning that the report has."""
    clamping = clamping_of(pathgen.load_job(job(tmp_path, changes={"[resin]\n": f"[resin]\n{extra}"})))
    fill = next(step for step in clamping.steps if step.operation.opens)
    assert any(line.startswith(f"The pour is 2.2 mm deep: {said}") for line in afterwards(clamping, fill))


def test_it_is_looked_where_the_binding_of_a_bound_blank_lies(tmp_path):
    """D: half of 40 mm at the nut, and of 46 at the end, less a binding of 1.5 mm."""
    bound = {"thickness = 6.5": "thickness = 6.5\nbinding = 1.5\nbound = true"}
    (line,) = [line for line in told(tmp_path, 1, changes=bound) if "joints of wood and binding" in line]
    places = re.findall(r"(\w+) at the (\w+) at X (-?[\d.]+) mm, Y (-?[\d.]+) mm", line)
    assert [(side, end) for side, end, *_ in places] == [
        ("bass", "nut"), ("treble", "nut"), ("bass", "end"), ("treble", "end")]
    assert [float(y) for *_, y in places] == pytest.approx([-18.5, 18.5, -21.5, 21.5], abs=0.01)
    assert not any("joints" in line for line in told(tmp_path, 1))
    assert not any("joints" in line for line in told(tmp_path, 2, changes=bound))


def test_a_wait_for_the_fill_says_to_leave_the_machine_on(tmp_path):
    clamping = clamping_of(pathgen.load_job(job(tmp_path)))
    fill = next(step for step in clamping.steps if step.operation.opens)
    assert any("Leave the machine switched on" in line for line in afterwards(clamping, fill))


def test_what_is_the_same_before_each_pour_and_of_a_v_is_told_in_full_once(tmp_path):
    v = cutter(name="v", shape="v", angle=60.0, diameter=6.0, speed=16000, feed=600.0, plunge=200.0, stepdown=1.0)
    two = '[[inlay]]\nartwork = "art.svg"\ndepth = 1.0\ncutters = ["flat", "v"]\n' \
          'place = { at = [14.0, 0.0], width = 16.0 }\n[resin]'
    planned = plan_of(clamping_of(pathgen.load_job(job(tmp_path, extra=v, changes={
        'cutters = ["flat"]': 'cutters = ["flat", "v"]', "[resin]": two}))))
    clamping = planned.clamping
    first, second = (step for step in clamping.steps if step.cutter.name == "v")
    said, later = (before_start(clamping, step, planned.starts[step.order - 1]) for step in (first, second))
    trial, check = (next(k for k, line in enumerate(said) if words in line) for words in ("sharp point", "Check Z 0"))
    assert trial < check  # what is set after Z 0 is checked nobody checks
    assert f"If its trial before program {first.number} asked for it, set Z as much lower again: where Z is " \
           "checked, it then shows as much less than is said." in later  # else the check asks to undo it
    assert not any("sharp point" in line for line in later)
    whole, short = (afterwards(clamping, step) for step in (first, second))
    assert any("Brush a thin coat" in line for line in whole)
    assert short[0].startswith("Stop here for the fill, and do all as it is told after program 3: ")
    assert short[1].startswith("The pour is 2 mm deep: ")  # 1 mm and 1 mm proud
    assert len(short) == 4  # and how it lies, and how high
    first, second = (step for step in clamping.steps if step.operation.levels)
    whole, short = (step.operation.before(clamping) for step in (first, second))
    assert sum(words in line for words in ("can take days", "cover it, no damp cloth") for line in whole) == 2
    assert short[0] == "Wait again until the fill has cured fully by its maker's sheet, and do as it is told before " \
                       f"program {first.number}."
    assert short[1] == whole[2]
    assert short[2].startswith("Measure the highest point of the cured fill")  # of each its own overfill


def test_the_machine_stays_on_while_glue_sets_too():
    """The second cut needs the same X 0, Y 0; only of resin it was said."""
    clamping = clamping_of(pathgen.load_job(EXAMPLE))
    said = [line for step in clamping.steps for line in afterwards(clamping, step) if "switched on" in line]
    assert said == ["Leave the machine switched on while the glue sets: many forget X 0 and Y 0 when they are switched "
                    "off. If it must be off, home it and note what its own coordinates show at X 0, Y 0."]


@pytest.mark.parametrize(("width", "said"), [("", "0.6 mm"), ("width = 0.7\n", "0.7 mm")])
def test_how_wide_slots_come_out_is_told(tmp_path, width, said):
    clamping = clamping_of(pathgen.load_job(job(
        tmp_path, extra=SLOT_CUTTER + '[slots]\ncutter = "slot"\ndepth = 2.0\n' + width)))
    slots = next(step for step in clamping.steps if step.operation.name == "slots")
    assert any(f"The fret slots come out {said} wide" in line for line in before_start(clamping, slots))


def test_a_shelf_for_the_nut_is_as_wide_as_what_is_left_on_the_board(tmp_path, capsys):
    """12 mm behind the zero fret, the nut's front 3 mm: 9 mm of shelf, cut 1 mm past the end."""
    path = tmp_path / "board.toml"
    path.write_text((Path(__file__).parents[2] / "examples/boards/zero-fret-arched.toml").read_text().replace(
        "width = 5.0\n", ""))
    clamping = clamping_of(pathgen.load_job(path))
    nut = next(step for step in clamping.steps if step.operation.name == "nut-slot")
    said = " ".join(before_start(clamping, nut))
    assert "The shelf for the nut is 9 mm wide on the finished board" in said
    assert "the cutter runs 1 mm past that end" in said
    named = nut.operation.purpose, nut.file_name, nut.operation.off_in_z(nut.cutter)[0]
    assert named == ("cut the shelf for the nut", f"{nut.order:02d}-nut-shelf-flat-3.nc",
                     "the shelf is deeper, and the wood under it thinner")
    assert "slot" not in said
    assert main(["frets", str(path)]) == 0
    assert "The nut's shelf: 9 mm wide on the finished board, cut from -13 mm to -3 mm along" in capsys.readouterr().out


@pytest.mark.parametrize(("zero", "end"), [("nut-centre", "nut"), ("blank-end-treble", "far")])
def test_the_end_that_x_0_is_set_from_is_the_one_to_find_it_by_again(tmp_path, zero, end):
    clamping = clamping_of(pathgen.load_job(job(tmp_path, extra=f'[setup]\nzero = "{zero}"\n')))
    assert {*(words for row in reference_rows(plan_of(clamping)) for words in row["xy"])} == {
        f"the sides and the {end} end of the blank"}


def test_how_deep_the_spoilboard_is_cut_is_told_of_the_work_as_it_lies(tmp_path):
    """Work that tilts across, by 0.3 mm in 56 mm, goes lower along one side."""
    marks = ("[marks]\ncutter = \"flat\"\ndrilled = [[-15.0, -28.0, 8.0], [-15.0, 28.0, 8.0], [98.0, -28.0, 8.0], "
             "[98.0, 28.0, 8.0]]\n")
    found = "".join(f"[[measured]]\nfound = {p}\n" for p in (
        [-15.0, -28.0, 7.85], [-15.0, 28.0, 8.15], [98.0, -28.0, 7.85], [98.0, 28.0, 8.15]))
    result = built(tmp_path, extra=OUTLINE + marks + found, resolution=0.5)
    outline = result.programs[-1]
    deep = -moves(outline.text)[1][:, 2].min()
    assert deep > 0.35
    text = " ".join(re.findall(r"\((?:\.\. )?(.*)\)", outline.text))
    assert f"This program cuts {deep:.2f}".rstrip("0") in text
    page = result.files(shaded=False)["setup.html"]
    assert float(re.search(r"a cutter comes ([\d.]+) mm into it", page)[1]) == pytest.approx(deep, abs=0.006)


def test_of_work_that_rose_nothing_is_said_of_a_spoilboard_that_no_cutter_reaches(tmp_path):
    """Work 1 mm higher than it was drilled: its outline, 0.3 mm through, ends 0.7 mm over the bed."""
    corners = [[-15.0, -28.0], [-15.0, 28.0], [98.0, -28.0], [98.0, 28.0]]
    extra = f"{OUTLINE}[marks]\ncutter = \"flat\"\ndrilled = {[[*p, 8.0] for p in corners]}\n" + "".join(
        f"[[measured]]\nfound = {[*p, 9.0]}\n" for p in corners)
    result = built(tmp_path, extra=extra, resolution=0.5)
    assert moves(result.programs[-1].text)[1][:, 2].min() == pytest.approx(0.7)
    files = result.files(shaded=False)
    late = " ".join(files[p.file_name] for p in result.programs if not result.plan.clamping.done(p.step))
    for text in (files["setup.html"], " ".join(re.findall(r"\((?:\.\. )?(.*)\)", late))):
        assert "in the end a cutter" not in text
        assert "into the spoilboard" not in text
        assert "Z 0 is the bed or spoilboard, as before" in text
        assert "Z 0 is the underside" not in text


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize(("z_zero", "top", "words"), [
    ("bed", 8.0, "stays off with the bed felt for again"),
    ("stock-top", 0.0, "stays off with Z 0 set again by the Z noted on the bed"),
])
def test_a_zero_that_does_not_come_right_once_the_work_moved_is_looked_for_at_the_marks(tmp_path, z_zero, top, words):
    corners = [[-15.0, -28.0], [-15.0, 28.0], [98.0, -28.0], [98.0, 28.0]]
    drilled = f"{OUTLINE}[marks]\ncutter = \"flat\"\ndrilled = {[[*p, top] for p in corners]}\n"
    rows = "".join(f"[[measured]]\nfound = {[*p, top + 0.05]}\n" for p in corners)
    changes = {"[stock]": f'[setup]\nz_zero = "{z_zero}"\n[stock]'}
    result = built(tmp_path, changes=changes, extra=drilled + rows, resolution=0.5)
    files, clamping = result.files(shaded=False), result.plan.clamping
    misread = f"{words}, {MISREAD}."
    texts = [" ".join(re.findall(r"\((?:\.\. )?-? ?(.*)\)", p.text)) for p in result.programs]
    assert [k for k, text in enumerate(texts, 1) if misread in text] == [5]  # 4 hovers, 1 mm above
    assert misread in files["setup.html"]
    page = files["setup.html"]
    hover, cut = (page[page.index(f'id="program-{k}"'):page.index(f'id="program-{k + 1}"')] for k in (4, 5))
    assert "300 mm/min down to each mark" in hover
    assert all(words in hover for words in (", and as long as you look", "nothing is cut"))
    assert not any(words in hover for words in ("Check Z 0", "1200 mm/min", " cutting, ", 'href="#by-hand"'))
    assert all(words in cut for words in ("Check Z 0, spindle off", 'Run it in the air, as under <a href="#by-hand">'))
    assert f"Still further off with Z 0 set again: {MISREAD}." in files["report.txt"]
    assert "the blank is so much thicker or thinner" not in files["setup.html"]
    assert not any(line.startswith("Program 1: ") for line in files["report.txt"].splitlines())
    # the top that Z 0 was set from lies where the work has gone
    late = [texts[step.order - 1] for step in clamping.steps if not clamping.done(step) and refits(clamping, step)]
    assert all(("not on the top, which has moved" in text) == (z_zero == "stock-top") for text in late)
    assert ("the bed, by the Z noted there" in files["report.txt"]) == (z_zero == "stock-top")
    # a height that the whole blank rises by shows from the bed alone
    how = "For Z set Z 0 for that cutter on the bed," if z_zero == "bed" else \
        "For Z set Z 0 for that cutter by the Z noted on the bed,"
    assert how in files["setup.html"]
    fresh = clamping_of(pathgen.load_job(job(tmp_path, changes=changes, extra=drilled)))
    noted = "on the bed beside the work too, or on a setter (a block of known height) there, and note the Z shown"
    assert [noted in line for line in told_of(fresh, 1)][-1] == (z_zero == "stock-top")
    assert not any(noted in line for line in told_of(fresh, 2))


MOVED = """[marks]
cutter = "flat"
drilled = [[-15.0, -28.0, 8.0], [-15.0, 28.0, 8.0], [98.0, -28.0, 8.0], [98.0, 28.0, 8.0]]
""" + "".join(f"[[measured]]\nfound = {at}\n" for at in (
    [-14.8, -28.0, 7.99], [-14.8, 28.0, 8.0], [98.2, -28.0, 7.99], [98.2, 28.0, 8.0]))


@pytest.mark.in_every_run(2)
@pytest.mark.parametrize(("before", "kept"), [
    ("", True), ("[moved]\nbefore = 5\n", True), ("[moved]\nbefore = 6\n", False)])
def test_how_to_fill_stays_where_the_work_moved_before_the_second_cut(tmp_path, before, kept):
    """Whether the resin was poured before that, only the maker knows; a mark is found where it lies now."""
    shallow = {"[resin]": "[resin]\npour_depth = 1.0"}
    result = built(tmp_path, changes=shallow, extra=OUTLINE + MOVED + before, resolution=0.5)
    assert ("too-deep-a-pour" in {row["code"] for row in result.report["checks"]["findings"]}) == kept
    last = max((p for p in result.programs if p.step.operation.opens), key=lambda p: p.order)
    assert result.plan.clamping.done(last.step)
    page = result.files(shaded=False)["setup.html"]
    card = page[page.index(f'id="program-{last.order}"'):page.index(f'id="program-{last.order + 1}"')]
    flat = " ".join(re.findall(r"\((?:\.\. )?(.*)\)", last.text))
    for text in (card, flat):
        first = result.plan.clamping.moved_from
        for words in (f"filled before the work moved, go on with program {first}", "Stop here for the fill",
                      "Brush a thin coat", "thicken the resin", "mark 1 at X -14.8 mm, Y -28 mm"):
            assert (words in text) == kept, words
    assert "afterwards" not in result.programs[0].text  # its marks are drilled and measured


TOUCHING = svg("""<rect x="4" y="7" width="12" height="9" fill="#225577"/>
<rect x="16" y="7" width="12" height="9" fill="#cc8833"/><rect x="28.3" y="7" width="5" height="9" fill="#225577"/>""")


@pytest.mark.in_every_run(0)
def test_of_work_that_is_begun_nothing_is_advised_that_comes_too_late(tmp_path):
    """Its pockets are cut and filled; nothing that is left goes into the bed."""
    (tmp_path / "begun").mkdir()
    begun = built(tmp_path / "begun", extra=MOVED, art=TOUCHING, resolution=0.5)
    first = begun.plan.clamping.moved_from
    before = [before_start(begun.plan.clamping, p.step, p.start) for p in begun.programs]
    said = " ".join(line for lines in before[first - 1:] for line in lines)
    assert "spoilboard" not in said
    assert "build again" not in said.replace("what you measured and build again", "").replace(MISREAD, "")
    late = {"colours-touch", "colours-near", "thin-wood"}
    assert late & {row["code"] for row in begun.report["checks"]["findings"]} == set()
    fresh = built(tmp_path, extra=MOVED.split("[[measured]]")[0], art=TOUCHING, resolution=0.5)
    assert {"colours-touch", "thin-wood"} <= {row["code"] for row in fresh.report["checks"]["findings"]}


def test_what_is_done_before_a_look_at_the_marks_is_not_told_again(tmp_path):
    marks = MOVED.split("[[measured]]")[0]
    near = {"waste = 0.25": "waste = 0.25\ndam = 0.5"}  # the two colours are 4 mm apart
    clamping = clamping_of(pathgen.load_job(job(tmp_path, extra=marks, changes=near)))
    look = next(step for step in clamping.steps if step.operation.name == "hover")
    before, after = (before_start(clamping, step) for step in clamping.steps[look.order - 1:look.order + 1])
    assert any("Cure at the temperature" in line for line in before)
    assert not set(before) & set(after)
    assert f"What is said before program {look.order} must be done: see there if you left it out." in after
    # what may end in days more of curing comes before the look, which would be out of date
    assert [any("Measure the highest point" in line for line in lines) for lines in (before, after)] == [True, False]
    assert [any("take the dam off" in line for line in lines) for lines in (before, after)] == [False, True]


def test_a_cutter_that_stays_is_not_zeroed_again(tmp_path):
    assert any(line.startswith("Fit flat ") for line in told(tmp_path, 4, extra=OUTLINE))  # after the ball
    more = '[[inlay]]\nartwork = "art.svg"\ndepth = 1.0\ncutters = ["flat"]\nfill = "none"\n' \
           "place = { at = [45.0, 0.0] }\n"
    stays = told(tmp_path, 3, extra=OUTLINE, changes={"overfill = 0.7": 'fill = "none"', "[resin]": more + "[resin]"})
    as_it_is = "flat (flat-end, 2 mm) stays in the spindle, and its Z 0 as it is. If the machine was off since, set " \
               "it again: on the bed, a setter or the strip of tape beside the work, as before program 1."
    assert as_it_is in stays
    marked = clamping_of(pathgen.load_job(job(tmp_path, extra=OUTLINE + '[marks]\ncutter = "flat"\n')))
    look = next(step for step in marked.steps if step.operation.name == "hover")  # fill has cured, for days
    assert as_it_is in before_start(marked, look)


def test_the_work_is_fixed_before_its_zero_is_set(tmp_path):
    pieces = piece_sheets(pathgen.load_job(EXAMPLE))[0].clamping
    edge = side_dot_clamping(dotted_job(tmp_path))
    for clamping, fixed in ((pieces, "Stick the stock down"), (edge, "Put the board")):
        lines = before_start(clamping, clamping.steps[0])
        at = [next(i for i, line in enumerate(lines) if line.startswith(words)) for words in (fixed, "Set X 0 and Y 0")]
        assert at == sorted(at)


def test_pieces_may_be_of_shell_and_come_from_a_sheet_that_begins_where_they_do():
    sheet = piece_sheets(pathgen.load_job(EXAMPLE))[0]
    assert any("dust of shell" in line for line in cautions(sheet.clamping.steps[0]))
    page = build(pathgen.load_job(EXAMPLE), clamping=sheet.clamping, resolution=0.3).files(shaded=False)["setup.html"]
    assert "45.4 mm by 22.2 mm by 2 mm<" in page  # and no "from the sheet on"


def test_the_dam_is_taken_off_before_the_second_cut(tmp_path):
    near = {"waste = 0.25": "waste = 0.25\ndam = 0.5"}  # the two colours are 4 mm apart
    before = told(tmp_path, 3, changes=near)
    order = [next(n for n, line in enumerate(before) if words in line) for words in (
        "cured fully", "Measure the highest point", "pour more of the same", "take the dam off",
        "lies more than 5 mm from the drawing")]
    assert order == sorted(order), "what is poured on needs the dam"
    dry = told(tmp_path, 3, changes={"overfill = 0.7": 'overfill = 0.7\nfill = "piece"'})
    assert not any("dam" in line for line in dry)


def test_the_surface_is_gone_under_fill_from_the_pour_until_it_is_cut_again(tmp_path):
    slots = SLOT_CUTTER + '[slots]\ncutter = "slot"\ndepth = 2.0\n'
    clamping = clamping_of(pathgen.load_job(job(tmp_path, extra=slots)))
    covered = ["the cut surface, under fill" in row["gone"] for row in reference_rows(plan_of(clamping))]
    fill = next(k for k, s in enumerate(clamping.steps) if s.operation.opens is not None)
    again = next(k for k, s in enumerate(clamping.steps) if s.operation.levels is not None)
    assert covered == [fill < k <= again for k in range(len(clamping.steps))]


@pytest.mark.parametrize(("at", "put"), [
    # half a millimetre inside, then on half millimetres; where no place is that far inside, as it is
    ((5.3, 4.2), (5.5, 4.0)), ((0.3, 4.2), (0.5, 4.0)), ((-7.0, 4.2), (0.5, 4.0)), ((20.1, 0.1), (20.1, 0.2))])
def test_places_to_measure_at_are_round_numbers_inside_what_is_free(at, put):
    free = shapely.union(shapely.box(0.2, 0.2, 10.0, 10.0), shapely.box(19.8, 0.2, 20.4, 9.0))
    assert nearest_inside(np.array(at), free) == pytest.approx(put)


PROUD = {"changes": {"scallop = 0.05": "scallop = 0.05\nleave = 0.2"}}
SKIMMED = {"extra": "[resurface]\nskim = 0.2\n"}


@pytest.mark.parametrize(("order", "left", "more", "less"), [
    (1, PROUD, "less is left for the last cut", "more is left for the last cut"),
    (3, PROUD, "the whole board is thinner", "the whole board is thicker"),  # it takes wood and fill together
    (1, {}, "the board is thinner everywhere", "the board is thicker everywhere"),
    (3, {}, "the whole board is thinner", "the fill stands proud of the wood"),
    (1, SKIMMED, "less is left for the second cut", "more is left for the second cut"),
    (3, SKIMMED, "the whole board is thinner", "the whole board is thicker"),
])
def test_what_a_wrong_zero_does_is_told_of_the_cut_that_is_made(tmp_path, order, left, more, less):
    (line,) = [line for line in told(tmp_path, order, **left) if line.startswith("Each 0.01 mm more")]
    assert f"means: {more}" in line
    assert f"less: {less}" in line


def test_an_earlier_second_cut_leaves_all_but_the_fill_to_the_last(tmp_path):
    clamping = clamping_of(pathgen.load_job(job(tmp_path, **PROUD)))
    (last,) = [step.operation for step in clamping.steps if step.operation.levels is not None]
    assert replace(last, final=False).off_in_z(clamping.steps[2].cutter)[0] == "less is left there for the last cut"


def test_of_more_second_cuts_the_first_skims_and_the_last_takes_what_was_left(tmp_path):
    clamping = clamping_of(pathgen.load_job(job(tmp_path, **SKIMMED)))
    (skims,) = [step.operation for step in clamping.steps if step.operation.levels is not None]
    later = replace(skims, first=False)
    assert (skims.lowers, later.lowers) == (0.2, 0.0)
    assert later.off_in_z(clamping.steps[2].cutter)[1] == "the fill stands proud of the wood"
    (last,) = [step.operation for step in clamping_of(pathgen.load_job(job(tmp_path, **PROUD))).steps
               if step.operation.levels is not None]
    earlier = replace(last, final=False)
    assert (last.lowers, earlier.lowers) == (0.2, 0.0)


def test_what_the_last_second_cut_takes_off_again_is_so_only_until_then(tmp_path):
    """Program 7 of the moth in three colours left fill proud, it said, and program 10 goes over all of it."""
    cuts = {}
    for name, table in (("over all", ""), ("skims", SKIMMED["extra"]), ("alone", '[resurface]\narea = "inlay"\n')):
        steps = clamping_of(pathgen.load_job(job(tmp_path, extra=table))).steps
        (cuts[name],) = [one for one in steps if one.operation.levels is not None]
    words = {name: [replace(one.operation, final=final).off_in_z(one.cutter)[1] for final in (False, True)]
             for name, one in cuts.items()}
    assert words == {
        "over all": ["until the last second cut the fill stands proud of the wood",
                     "the fill stands proud of the wood"],
        "skims": ["until the last second cut the whole board is thicker, and what is cut before it deeper",
                  "the whole board is thicker, and what is cut later deeper"],
        "alone": ["the fill stands proud of the wood"] * 2,
    }


def test_marks_are_spoken_of_only_where_there_are_any(tmp_path):
    def after(**given):
        clamping = clamping_of(pathgen.load_job(job(tmp_path, **given)))
        return " ".join(line for step in clamping.steps for line in afterwards(clamping, step))
    assert "home it and note what its own coordinates show at X 0, Y 0" in after()
    assert "mark" not in after()
    assert "mark 1" in after(extra='[marks]\ncutter = "flat"\n')


READY = {"thickness = 8.0": "thickness = 6.5", '[surface]\nfinish = "ball"\nscallop = 0.05\n': "",
         "overfill = 0.7": 'fill = "none"'}
FLAT = {"radius = { nut = 254.0, end = 300.0 }": 'radius = "flat"'}


@pytest.mark.parametrize(("changes", "top", "comes", "where"), [
    ({}, "radius", "No program cuts the radius: the blank must have it already, 254 mm at X 0 and 300 mm at the end",
     "Measure along the centre-line, where it is thickest"),
    (FLAT, "flat top", "No program faces the blank: its top must be flat already.",
     "Measure both edges and the middle"),
])
def test_a_blank_that_comes_with_its_radius_is_asked_for(tmp_path, changes, top, comes, where):
    """Edges of a radiused blank are thinner than its middle, from which all depths are reckoned."""
    changes = changes | READY
    lines = told(tmp_path, 1, changes=changes)
    assert any(line.startswith(comes) for line in lines)
    (line,) = [line for line in lines if line.startswith("Measure the blank: the job says 6.5 mm thick.")]
    assert where in line
    assert "write the thickest as [stock] thickness and [board] thickness" in line
    assert "write [stock] thickness and [board] thickness as measured, build again" in lines[-1]
    result = built(tmp_path, resolution=0.5, changes=changes)
    (note,) = [f for f in result.report["checks"]["findings"] if f["where"] == "[surface]"]
    assert (note["severity"], note["got"]) == ("note", f"not given: no program cuts the {top}, the blank must have it "
                                                       "already")
    high = told(tmp_path, 1, changes=changes, extra='[setup]\nz_zero = "stock-top"\n')
    assert any("touch off on the top of the blank on its centre-line" in line for line in high) == (top == "radius")
    with pytest.raises(JobError, match=rf"\[surface\]: is missing: no program cuts the {top}, and the blank of 8 mm "
                                       rf"is thicker .*has its {top} already, and is as thick as the board, 6\.5 mm"):
        told(tmp_path, 1, changes={k: v for k, v in changes.items() if not k.startswith("thickness")})


def test_the_sheet_of_a_form_is_measured_and_a_board_on_its_edge_is_not():
    """Counterbores of a form are as deep below its top as the job says only where it is as thick."""
    form = clamping_of(parts_of(pathgen.load_job(EXAMPLE.parents[1] / "parts" / "bending-form.toml"))[0])
    edge = side_dot_clamping(pathgen.load_job(EXAMPLE.parents[1] / "boards" / "dots-and-fall-away.toml"))
    measured = [[line for line in before_start(one, one.steps[0]) if "Measure the blank" in line]
                for one in (form, edge)]
    assert [len(lines) for lines in measured] == [1, 0]
    assert measured[0][0].startswith("Measure the blank: the job says 18 mm thick.")
    assert measured[0][0].endswith("write the thickest as [stock] thickness, and build again.")


@pytest.mark.in_every_run(0)
def test_what_a_command_of_its_own_makes_is_made_again_by_that():
    """Pages of blocks, gauges, nuts, side dots and test pieces said "build again", which does not make them."""
    said = {}
    for name in ("dots-and-fall-away", "let-in-leaf", "fanned", "zero-fret-arched"):
        one = pathgen.load_job(EXAMPLE.parents[1] / "boards" / f"{name}.toml")
        for kind in KINDS[:-1]:
            with suppress(JobError):  # of a kind that the job has nothing of
                for clamping in kind.clampings(one, (1, 9)):
                    lines = before_start(clamping, clamping.steps[0], plan_of(clamping).starts[0])
                    said[kind.command] = f"{clamping.board.names.again}, {' '.join(lines)}"
    assert len(said) == len(KINDS) - 1
    for command, words in said.items():
        assert "build again" not in words, command
        assert f"run pathgen {command} again, " in words
    assert len([words for words in said.values() if re.search(r"run pathgen \S+ again\.", words)]) >= 4


def test_a_face_that_is_left_as_it_is_is_measured_too():
    """Pockets are cut from Z 0 on the bed up: over a thicker blank they come out deeper than asked."""
    clamping = clamping_of(pathgen.load_job(EXAMPLE.parents[1] / "parts" / "rosette.toml"))
    lines = told_of(clamping, 1)
    (line,) = [line for line in lines if line.startswith("Measure the blank: the job says 3 mm thick.")]
    assert "both edges and the middle" in line
    assert "write the thickest as [stock] thickness and [plate] thickness, and build again" in line
    assert "No program faces the blank: its top must be flat already." in lines
    assert lines[-1].startswith("If it stays off with the bed felt for again")


def test_holes_that_go_part_of_the_way_are_told_from_those_that_go_through():
    steps = clamping_of(pathgen.load_job(EXAMPLE.parents[1] / "one-blank" / "rod-cover.toml")).steps
    holes = [step.operation.purpose for step in steps if step.operation.name == "round-holes"]
    assert holes == ["sink 2 counterbores", "cut 2 round holes"]


def test_no_two_programs_of_holes_in_a_part_are_called_alike(tmp_path):
    """Wide or narrow, through or not, with a counterbore or none, one or many: all with one cutter of 3 mm."""
    plate = (EXAMPLE.parents[1] / "one-blank" / "rod-cover.toml").read_text().split("[[hole]]")[0]
    plate = plate.replace("= 72.0", "= 330.0").replace("= 112.0", "= 370.0")
    kinds = ("diameter = 4.0", "diameter = 8.0", "diameter = 4.0\nlength = 9.0")
    depths = ("", "depth = 1.5", "depth = 1.5\ncounterbore = { diameter = 10.0, depth = 0.5 }")
    asked = [f"{one}\n{deep}" for one in kinds for deep in depths for _ in range(2)]
    (tmp_path / "job.toml").write_text(plate + "".join(
        f'[[hole]]\nat = [{17.0 * nth + 17.0}, 8.0]\ncutter = "flat 3"\n{one}\n{"count = 2" if nth % 2 else ""}'
        f"\n{'pitch = 16.0' if nth % 2 else ''}\nangle = -90.0\n" for nth, one in enumerate(asked)))
    job = pathgen.load_job(tmp_path / "job.toml")
    holes = [one.purpose for one, _ in boring_of(job, flat_part_of(job))]
    assert len(holes) == len(set(holes)) == 24
    assert holes[:4] == ["cut a round hole, number 1", "cut 2 round holes, numbers 2 and 3",
                         "sink a round hole, number 4, not through",
                         "sink 2 round holes, numbers 5 and 6, not through"]
    assert holes[16:18] == ["clear a slot with round ends, number 19",
                            "clear 2 slots with round ends, numbers 20 and 21"]


def test_the_bed_is_noted_where_a_cutter_that_stays_may_have_to_be_set_by_it(tmp_path):
    """One flat cutter for all: after the machine was off its Z 0 is set by what the first card has noted."""
    changes = FLAT | {'finish = "ball"': 'finish = "flat"\nrough = "flat"', "overfill = 0.7": 'fill = "none"',
                      "scallop = 0.05": "stepover = 0.5"}
    lines = [told(tmp_path, order, changes=changes, extra='[setup]\nz_zero = "stock-top"\n') for order in (1, 2)]
    assert ["and note the Z shown" in " ".join(own) for own in lines] == [True, False]
    (stays,) = [line for line in lines[1] if "stays in the spindle" in line]
    assert stays.endswith("set it again: the raw top is gone where it was surfaced: by the Z noted on the bed, or on "
                          "stock left standing outside the cut.")


BAY = "M0,0H48V10H35V30H65V10H52V0H100V60H0Z"


@pytest.mark.parametrize(("outline", "more", "why"), [
    ("M0,0H100V60H0Z", "", None), ("M0,0H100V60H0Z", "tabs = 1\n", "one tab alone holds the plate"),
    ("M0,0H100V60H0Z", "skin = 0.1\n", "a very thin skin alone holds the plate"),
    ("M0,0H100V60H0Z", "tab_width = 0.5\ntab_height = 0.3\n", "so little wood in its tabs alone holds the plate"),
    (BAY, "", "wood comes loose where it is cut round"),
])
def test_what_a_warning_wants_stuck_down_the_list_before_the_first_program_asks_for(tmp_path, outline, more, why):
    (tmp_path / "plate.svg").write_text(svg(f'<path d="{outline}" fill="#553311"/>', 100, 60))
    (tmp_path / "job.toml").write_text(DRAWN + more)
    (line,) = [one for one in told_of(clamping_of(pathgen.load_job(tmp_path / "job.toml")), 1) if "Hold the" in one]
    assert line.startswith(f"Hold the blank flat and firmly, over its whole face, by double-sided tape or vacuum: {why}"
                           if why else "Hold the blank flat and firmly; keep")
