"""What may be meant and is likely a slip: each doubt is told with its numbers, and a sound job has none."""

import math
import re
from dataclasses import replace

import pytest

from pathgen import JobError, load_job
from pathgen.app.cli import main
from pathgen.app.showing import placing_lines
from pathgen.base.errors import ArtworkError
from pathgen.job.clamping import clamping_of
from pathgen.job.doubts import doubts_of
from pathgen.job.doubts.board import radius as doubts_of_radius
from pathgen.job.nut_and_saddle import NUT
from tests import small_board
from tests.as_made import hold_rows, words_row
from tests.whole.test_both_sides import SIDES

CLAMP = "keep_out = [ {{ along = [{}, {}], across = [-33.0, 33.0], height = {} }} ]"


TOLD = []
"""The words of all that one test was told."""


@pytest.fixture(autouse=True)
def all_words_are_as_made(request):
    TOLD.clear()
    yield
    hold_rows(f"doubts: {request.node.name}", [words_row("told", TOLD)])


def told_of(job):
    """Every doubt about a job, all words of which are held."""
    found = list(doubts_of(job, clamping_of(job)))
    TOLD.extend(f"{one.where}: {one.problem} ({one.allowed}): {one.remedy}" for one in found)
    return found


def doubts(folder, old="", new="", extra=""):
    """(where, problem, grave) of each doubt about the small board, one thing changed."""
    path = small_board.job(folder)
    text = path.read_text()
    assert old in text
    text = text.replace(old, new, 1) + extra
    if "keep_out" not in text:
        text = text.replace("[stock]", f"[setup]\n{CLAMP.format(-40.0, -14.0, 20.0)}\n[stock]", 1)
    path.write_text(text)
    job = load_job(path)
    found = told_of(job)
    lines = "\n".join(placing_lines(job, clamping_of(job)))
    assert all(doubt.problem in lines and doubt.remedy[1:] in lines for doubt in found), "show tells every doubt"
    return [(doubt.where, doubt.problem, doubt.grave) for doubt in found]


def test_a_sound_job_has_none(tmp_path):
    assert doubts(tmp_path) == []


def test_slots_no_deeper_than_a_scratch_are_told(tmp_path):
    for depth, told in ((0.1, True), (0.99, True), (1.0, False)):
        extra = small_board.SLOTS.replace("depth = 1.8", f"depth = {depth}")
        assert [one[:2] for one in doubts(tmp_path, extra=extra)] == told * [
            ("[slots] depth", f"{depth:g} mm, shallow for a fret's tang")]


def test_slots_that_few_tangs_go_into_are_told(tmp_path):
    """0.29 mm for 0.58 built; thin wire that the job says is no slip, nor are lines let in."""
    for width, wire, told in ((0.29, "", True), (0.4, "", False), (0.29, "[frets]\ntang = { width = 0.28 }\n", False)):
        extra = wire + small_board.SLOTS.replace("width = 0.6", f"width = {width}").replace("= 0.6", "= 0.25")
        assert [one[:2] for one in doubts(tmp_path, extra=extra)] == told * [
            ("[slots] width", f"{width:g} mm, narrow for a fret's tang: few go in")]
        assert not told or TOLD[-1].endswith("or leave it so for lines of veneer")


DRILLED = '[marks]\ncutter = "{}"\n'
OUTLINE = '[outline]\ncutter = "flat"\n'


@pytest.mark.parametrize(("old", "new", "extra", "where", "meant"), [
    ("depth = 1.5", "depth = 0.15", "", "inlay 1 depth", "is 1.5 mm meant?"),
    ("depth = 1.5", "depth = 0.4", "", None, ""),
    ("", "", f"{OUTLINE}tab_height = 0.15\n", "[outline] tab_height", "is 1.5 mm meant?"),
    ("", "", f"{OUTLINE}tab_height = 0.4\n", None, ""),
    ("", "", f"{OUTLINE}through = 2\n", "[outline] through", "is 0.2 mm meant?"),
    ("", "", f"{OUTLINE}through = 1\n", None, ""),
    ("", "", "[machine]\nclearance = 0.5\n", "[machine] clearance", "is 5 mm meant?"),
    ("", "", "[machine]\nclearance = 1.99\n", "[machine] clearance", "write more$"),
    ("", "", "[machine]\nclearance = 2\n", None, ""),
    ("depth = 1.5", "depth = 0.39", "", "inlay 1 depth", "make it deeper$"),
    ("", "", f"{OUTLINE}tab_height = 0.39\n", "[outline] tab_height", "write more$"),
    ("", "", DRILLED.format("ball"), "[marks] cutter", "name a small flat end"),
    ("", "", DRILLED.format("flat"), None, ""),
    ("frets = 5", "frets = 1", "", "[board] frets", "also for a board without"),
], ids=["inlay", "thin inlay", "tab", "thin tab", "through", "far through", "clearance", "near clearance",
        "low clearance", "inlay nearly", "tab nearly",
        "ball marks", "flat marks", "frets"])
def test_a_tenth_or_ten_times_what_is_usual_is_doubted(tmp_path, old, new, extra, where, meant):
    path = small_board.job(tmp_path, changes={old: new} if old else None, extra=extra)
    if "frets" in old:  # the drawing has no room on it
        text = path.read_text()
        path.write_text(text[: text.index("[[inlay]]")])
    job = load_job(path)
    found = [one for one in told_of(job) if one.grave]
    assert [one.where for one in found] == [where] * bool(where)
    assert all(f"{one.remedy}$".endswith(meant) if "$" in meant else meant in one.remedy for one in found)


@pytest.mark.parametrize(("where", "top", "old", "table"), [
    ("inlay 1 depth", 6.383, "depth = 1.5", ""), ("[slots] depth", 5.628, "[resin]", f"{small_board.SLOTS}[resin]"),
])
def test_wood_that_a_zero_a_little_low_goes_through_is_told(tmp_path, where, top, old, table):
    """Under the drawing's lowest place, 8 mm off the crest, and under the slots' ends, 22 mm off it."""
    for wood, told in ((0.39, [f"{where}: 0.39 mm"]), (0.41, [])):
        deep = f"depth = {top - wood:.3f}"
        path = small_board.job(tmp_path, changes={"thickness = 6.5": "thickness = 6.5\nmin_web = 0.1",
                                                  old: table.replace("depth = 1.8", deep) or deep})
        found = [f"{one.where}: {one.problem[:7]}" for one in told_of(load_job(path)) if "min_web" in one.problem]
        assert found == told


def test_dowels_near_each_other_are_told_with_what_that_costs(tmp_path):
    """85.3 mm of board, dowels 12 mm apart beside its end: 2 x 0.05 mm of play over 12 mm is 0.8 mm, 97 mm away."""
    sides = SIDES.replace("[[-13.0, 0.0], [99.0, 12.0], [99.0, -12.0]]", "[[97.0, 6.0], [97.0, -6.0]]")
    assert sides != SIDES
    long = "[stock]\nlength = 125.0"
    (where, problem, grave), = doubts(tmp_path, long, "[stock]\nlength = 130.0", extra=sides)
    assert (where, grave) == ("[holes] at", True)
    assert "12 mm apart, for a board 85.3 mm long" in problem
    assert f"lie {0.1 * 97 / 12:.2f} mm off" in problem
    assert doubts(tmp_path, long, "[stock]\nlength = 130.0", extra=SIDES) == []


def staged(folder, first, second, *, colours=("#225577", "#cc8833")):
    """The doubts of two stages of one drawing, with their places."""
    stage = small_board.JOB[small_board.JOB.index("[[inlay]]"):small_board.JOB.index("[resin]")]
    place = "place = { at = [45.0, 0.0] }\n"
    one, two = (stage.replace(place, f"{at}\ncolours = [\"{colour}\"]\n")
                for at, colour in zip((first, second), colours, strict=True))
    return [(where, problem) for where, problem, _ in doubts(folder, stage, f"{one}{two}")]


def test_stages_of_one_drawing_that_lie_apart_are_told(tmp_path):
    at, other = "place = { at = [45.0, 0.0] }", "place = { at = [44.5, 1.0] }"
    assert staged(tmp_path, at, at) == []
    twice = dict(staged(tmp_path, at, other, colours=("#225577", "#225577")))
    assert "lie on each other" in twice.pop("inlay 1 and inlay 2")
    assert twice == {"art.svg": "#cc8833 of it is cut by no inlay"}
    (where, problem), = staged(tmp_path, at, other)
    assert where == "inlay 2 place"
    assert problem == "inlays 1 and 2 cut other colours of art.svg, and their places differ in at ([45, 0] and " \
                      "[44.5, 1]): they will not fit each other"
    assert TOLD[-1].endswith("write at = [45, 0] for both; leave it so only if they are meant to lie apart")
    problem = dict(staged(tmp_path, at, "place = { at = [45.0, 0.0], mirror = true }"))["inlay 2 place"]
    assert "their places differ in mirror: they" in problem
    staged(tmp_path, at, "place = { at = [44.5, 0.0], mirror = true }")
    assert "write the place of inlay 1 for both" in TOLD[-1]


def test_a_mix_with_hardly_any_hardener_is_doubted(tmp_path):
    was = "mix = { resin = 100, hardener = 45 }"
    (where, problem, _), = doubts(tmp_path, was, "mix = { resin = 200, hardener = 1 }")
    assert (where, problem) == ("[resin] mix", "200 of resin to 1 of hardener")
    assert doubts(tmp_path, was, "mix = { resin = 100, catalyst = 1 }") == []


DRAWN = """[[cutter]]
name = "cut"
shape = "flat-end"
diameter = 3.0
speed = 18000
feed = 1000.0
plunge = 300.0
stepdown = 1.5
[outline]
cutter = "cut"
artwork = "outline.svg"
place = { at = [40.0, 0.0] }
"""


def test_a_second_cut_over_inlays_alone_and_wood_left_proud_do_not_go_together(tmp_path):
    left, alone = "scallop = 0.05\nleave = 0.2", '\n[resurface]\narea = "inlay"\n'
    for folder in "abc":
        (tmp_path / folder).mkdir()
    (where, problem, grave), = doubts(tmp_path / "a", "scallop = 0.05", left, extra=alone)
    assert (where, grave) == ("[resurface] area", False)
    assert "[surface] leave has the last cut go over the whole board all the same" in problem
    assert doubts(tmp_path / "b", "scallop = 0.05", left) == doubts(tmp_path / "c", extra=alone) == []


def test_a_drawn_board_is_left_round_where_it_turns_inward_and_that_is_told(tmp_path):
    """Two square corners of a notch, each less a quarter of a circle, and a cutter a thousandth larger."""
    (tmp_path / "outline.svg").write_text(
        small_board.svg('<path d="M-45,-24H-10V-16H10V-24H45V24H-45Z"/>', 90, 48, corner="-45 -24"))
    (where, problem, grave), *_, (_, over, _) = doubts(tmp_path, extra=DRAWN)
    assert (where, grave) == ("[outline] artwork", False)
    assert "outer string on the treble side" in over or "outer string on the bass side" in over  # over the notch
    assert "leaves 0.97 mm2 in corners that point inward" in problem
    cut = clamping_of(load_job(tmp_path / "job.toml")).board.outline
    assert cut.area - (90 * 48 - 20 * 8) == pytest.approx(2 * (1 - math.pi / 4) * 1.5**2, rel=0.01)


@pytest.mark.parametrize(("path", "filled"), [
    ("M-45,-24H-11V-10H-9V-24H45V24H-45Z", 14 * 2.0 - 1.5**2 * (math.asin(2 / 3) - 2 / 3 * math.cos(math.asin(2 / 3)))),
    ("M-45,-24H-11V-16H-20V-8H0V-16H-9V-24H45V24H-45Z", None),
])
def test_a_slit_too_narrow_for_the_outlines_cutter_is_closed_and_told(tmp_path, path, filled):
    """But for the segment of the cutter's circle that goes into its mouth; wider inside, there would be a hole."""
    (tmp_path / "outline.svg").write_text(small_board.svg(f'<path d="{path}"/>', 90, 48, corner="-45 -24"))
    if filled is None:
        with pytest.raises(JobError, match=r'"cut" does not go into .*mouths 3\.01 mm wide or more\): .* bay wider'):
            doubts(tmp_path, extra=DRAWN)
        return
    ((where, problem, grave), *_) = doubts(tmp_path, extra=DRAWN)
    assert (where, grave) == ("[outline] artwork", True)
    assert float(problem.split()[4]) == pytest.approx(filled, abs=0.03)
    assert "in a bay narrower than it, 14 mm of it" in problem


LONG = 300.0 * (1 - 2 ** (-5 / 12)) + 10.0
"""Of the small board, mm: its fifth fret by the rule of the twelfth root of two, and 10 mm past it."""


@pytest.mark.parametrize(("before", "past", "more", "words", "remedy"), [
    (5.0, 5.0, "", None, None), (4.9, 5.12, "", "4.9 mm before the nut: ", "margin_nut 5 mm"),
    (20.0, 0.0, "", "0 mm past the end: ", "length 110.3 mm or more, or margin_nut from 5 mm to 15 mm (with"),
    (0.0, 0.0, "", "0 mm before the nut and 0 mm past the end: ", "length 95.3 mm or more with a margin_nut of 5 mm"),
    (0.0, 0.0, "skin = 0.3", "0 mm before the nut and 0 mm past the end: ", "outline's cutter and skin)"),
    (0.0, 0.0, "tabs = 0", None, None), (0.0, 0.0, None, None, None),
])
def test_waste_that_the_outline_parts_is_told(tmp_path, before, past, more, words, remedy):
    """The cutter, 3 mm, and 2 mm must be there at each end, or tabs hold on to strips: told once, with what would do.

    Nothing is said where no tabs hold the board, nor where nothing cuts it free.
    """
    length = f"length = {LONG + before + past}"
    extra = "" if more is None else DRAWN[:DRAWN.index("artwork")] + more
    found = doubts(tmp_path, "length = 125.0\nwidth = 66.0\nthickness = 8.0\nmargin_nut = 20.0",
                   f"{length}\nwidth = 66.0\nthickness = 8.0\nmargin_nut = {before}", extra=extra)
    told = [one for one in found if one[0] == "[stock]"]
    assert [(words in problem, grave) for _, problem, grave in told] == [(True, True)] * (words is not None)
    if told:
        (last,) = [one for one in TOLD if one.startswith("[stock]: ")]
        assert remedy in last
        assert ("its edge there is the blank's" in last) == (min(before, past) < 0.1)


def test_a_job_without_clamps_has_that_noted(tmp_path):
    found = doubts(tmp_path, "[stock]", "# no keep_out\n[setup]\nz_zero = \"bed\"\n[stock]")
    assert found == [("[setup] keep_out", "no clamps are given, so nothing was checked against them", False)]
    assert TOLD[-1].endswith("with tape or vacuum write keep_out = []")
    assert doubts(tmp_path, "[stock]", "[setup]\nkeep_out = []\n[stock]") == []  # as it says


def test_a_radius_rounder_at_the_body(tmp_path):
    found = doubts(tmp_path, "nut = 254.0, end = 300.0", "nut = 300.0, end = 254.0")
    assert found == [("[board] radius", "rounder at the body (254 mm) than at the nut (300 mm)", True)]


def test_a_radius_flatter_than_any_that_is_usual(tmp_path):
    """305 in an inch job, where 305 mm were meant."""
    found = doubts(tmp_path, "{ nut = 254.0, end = 300.0 }", '"305 in"')
    assert found == [("[board] radius", "305 in is nearly flat", True)]
    assert doubts(tmp_path, "{ nut = 254.0, end = 300.0 }", "762.0") == []


@pytest.mark.parametrize(("radius", "told", "remedy"), [
    ('"305 cm"', "305 cm is nearly flat", 'if mm are meant, write "305 mm"'),
    ("3050", "3050 mm is nearly flat", "see that"),
])
def test_a_radius_with_a_unit_of_its_own_is_told_as_it_is_written(tmp_path, radius, told, remedy):
    """It was "120.0787 in" in a job in inches, with the advice to write 120.0787 mm."""
    job = load_job(small_board.job(tmp_path, changes={"{ nut = 254.0, end = 300.0 }": radius}))
    (doubt,) = doubts_of_radius(job, clamping_of(job))
    assert (doubt.problem, doubt.remedy[:len(remedy)]) == (told, remedy)
    if radius[0] == '"':
        (doubt,) = doubts_of_radius(replace(job, units="in"), clamping_of(job))
        assert (doubt.problem, doubt.remedy[:len(remedy)]) == (told, remedy)


def test_widths_and_ridges_that_are_hardly_meant(tmp_path):
    found = doubts(tmp_path, "end_width = 46.0", "end_width = 39.0")
    assert [where for where, *_ in found] == ["[board] end_width"]
    found = doubts(tmp_path, "scallop = 0.05", "scallop = 0.2")
    assert [where for where, *_ in found] == ["[surface] scallop"]
    found = doubts(tmp_path, "scallop = 0.05", "stepover = 4.0")
    assert [where for where, *_ in found] == ["[surface] stepover"]
    slots = '[[cutter]]\nname = "s"\nshape = "flat-end"\ndiameter = {}\nspeed = 9000\nfeed = 400\nplunge = 100\n' \
            'stepdown = 0.5\n[slots]\ncutter = "s"\ndepth = 1.5\n'
    assert doubts(tmp_path, extra=slots.format(1.0)) == []
    assert [where for where, *_ in doubts(tmp_path, extra=slots.format(1.1))] == ["[slots] width"]


@pytest.mark.parametrize(("binding", "more", "told"), [
    (3.0, "", None), (3.1, "", "3.1 mm wide, and the outer strings lie 3 mm inside the edges"),
    (3.1, "bound = true\n", "3.1 mm wide, and the outer strings lie 3 mm inside the edges"),
    (3.1, "edge_to_string = 3.2\n", None), (2.0, "edge_to_string = 1.9\n", "2 mm wide, .* lie 1.9 mm inside the edges"),
])
def test_outer_strings_over_the_binding_are_told(tmp_path, binding, more, told):
    found = doubts(tmp_path, "nut_width = 40.0", f"nut_width = 40.0\nbinding = {binding}\n{more}")
    assert [(where, grave) for where, _, grave in found] == [("[board] binding", True)] * bool(told)
    assert all(re.match(told, problem) for _, problem, _ in found)


@pytest.mark.parametrize(("thick", "told"), [("6.5", True), ("6.54", True), ("6.56", False), ("8.0", False)])
def test_a_blank_as_thick_as_the_board(tmp_path, thick, told):
    """Under 0.05 mm there is nothing to cut."""
    found = doubts(tmp_path, "thickness = 8.0", f"thickness = {thick}")
    assert [where for where, *_ in found] == (["[stock] thickness"] if told else [])


@pytest.mark.parametrize(("along", "height", "words"), [
    ((-40.0, -25.0), 20.0, "stands 5 mm off the blank"),  # the blank begins at -20
    ((-40.0, -20.0), 20.0, None),  # touches it
    ((-40.0, -14.0), 20.0, None),
    ((-40.0, -14.0), 6.0, "ends 6 mm above the bed, lower than the blank"),
])
def test_a_clamp_off_the_blank_or_lower_than_it(tmp_path, along, height, words):
    extra = "[setup]\n" + CLAMP.format(*along, height)
    found = doubts(tmp_path, "[stock]", f"{extra}\n[stock]")
    assert [problem for _, problem, _ in found] == ([words] if words else [])
    assert all(where == "[setup] keep_out 1" for where, *_ in found)


def test_older_names_are_read_with_a_note(tmp_path):
    old = "[setup]\nkeep_out = [ { x = [-40.0, -14.0], y = [-33.0, 33.0], height = 20.0 } ]\n"
    assert doubts(tmp_path, "[stock]", f"{old}[stock]") == [("[setup] keep_out 1", "x and y are older names", False)]


@pytest.mark.parametrize(("old", "new", "remedy"), [
    ("length = 125.0", "length = 80.0", "length"), ("margin_nut = 20.0", "margin_nut = 60.0", "margin_nut"),
    ("width = 66.0", "width = 40.0", "width"),
])
def test_a_blank_that_is_too_small_or_lies_wrong_is_told_with_a_value_that_holds_the_board(tmp_path, old, new, remedy):
    path = small_board.job(tmp_path)
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))
    with pytest.raises(JobError) as refused:
        clamping_of(load_job(path))
    advised = re.findall(r"(length|width|margin_nut)(?: from| of)? (-?[\d.]+) mm", refused.value.remedy)
    assert remedy in [name for name, _ in advised]
    lines = dict(advised)
    stock = text.replace(old, new, 1)
    for name, value in lines.items():
        stock = re.sub(rf"(?m)^{name} = .*$", f"{name} = {value}", stock, count=1)
    path.write_text(stock)
    clamping_of(load_job(path))


def test_what_neck_and_strings_say_otherwise_is_doubted(tmp_path):
    """A job with one action under [neck] and another under [strings] is doubted."""
    agreed = small_board.dotted_job(tmp_path)
    assert not [d for d in told_of(agreed) if d.where.startswith("[neck]")]
    job = small_board.dotted_job(tmp_path, ("fret_height = 1.2\naction_12 = 2.0", "fret_height = 1.0\naction_12 = 2.3"))
    found = [(d.where, d.problem) for d in told_of(job) if d.where.startswith("[neck]")]
    default = ", as it is where it is not written"
    assert found == [("[neck] action_12", f"2.3 mm, and [strings] action_12 is 2 mm{default}"),
                     ("[neck] fret_height", f"1 mm, and [frets] crown height is 1.2 mm{default}")]


def drawn(folder, art, more=""):
    """(where, problem) of each doubt about the small board with another drawing."""
    job = load_job(small_board.job(folder, art=small_board.svg(art), changes={
        'cutters = ["flat"]\noverfill': f'cutters = ["flat"]\n{more}\noverfill'}))
    return [(doubt.where, doubt.problem) for doubt in told_of(job) if "keep_out" not in doubt.where]


LEAF = '<circle cx="12" cy="15" r="8" fill="#2f6f4f"/>'


@pytest.mark.parametrize(("art", "found"), [
    ('<rect width="40" height="30" fill="#ffffff"/>' + LEAF, True),
    ('<rect width="40" height="30" fill="#ffffff"/>' + LEAF + '<path d="M0,10H40V12H0Z" fill="#aa2222"/>', True),
    ('<rect x="22" width="18" height="30" fill="#ffffff"/>' + LEAF, False),
    ('<ellipse cx="20" cy="15" rx="20" ry="15" fill="#ffffff"/>' + LEAF, False),
    ('<rect width="40" height="30" fill="#ffffff"/>', False),
])
def test_paper_behind_the_drawing(tmp_path, art, found):
    told = drawn(tmp_path, art)
    assert told == [("inlay 1, #ffffff", "a rectangle behind all the rest is cut as a pocket")] * found


@pytest.mark.parametrize(("more", "found"), [
    ("", True), ('fill="none"', False), ('fill="#cc8833"', False),
])
def test_an_open_line_that_is_filled_with_black_by_default(tmp_path, more, found):
    told = drawn(tmp_path, f'<path d="M5,5 35,15 30,25" stroke="#2f6f4f" stroke-width="3" {more}/>')
    assert told == [("art.svg line 1, path", "an open line of #2f6f4f whose inside is filled with black")] * found


@pytest.mark.parametrize("line", ["M5,5H35", "M5,5 9,8 21,17M5,25H35"])
def test_straight_lines_have_no_inside(tmp_path, line):
    assert drawn(tmp_path, f'<path d="{line}" stroke="#2f6f4f" stroke-width="3"/>') == []


@pytest.mark.parametrize(("art", "told"), [
    ('<circle cx="12" cy="15" r="8" fill="#2f6f4f" opacity="0.996"/>', []),
    ('<circle cx="12" cy="15" r="8" fill="#2f6f4f" opacity="0.9"/>', ["drawn see-through, 90 %"]),
    ('<g opacity=".5"><circle cx="12" cy="15" r="8" fill="rgba(10,90,30,.8)" fill-opacity="50%"/></g>',
     ["drawn see-through, 20 %"]),
    ('<path d="M5,5H35" stroke="#2f6f4f" stroke-width="3" stroke-opacity=".3" fill="none"/>',
     ["drawn see-through, 30 %"]),
    ('<circle cx="12" cy="15" r="8" opacity=".5"/><circle cx="32" cy="15" r="3" style="opacity:.25"/>',
     ["drawn see-through, 25 %, the palest of 2 shapes that are"]),
])
def test_what_is_drawn_see_through_is_said_to_be_cut_as_full_colour(tmp_path, art, told):
    said = [problem.partition("; so is")[0] for _, problem in drawn(tmp_path, art)]
    assert said == [f"{one}: it is cut as full colour" for one in told]


@pytest.mark.parametrize(("art", "more"), [
    ('<circle cx="12" cy="15" r="3" {}/>', ""), ('<path d="M9 15a3 3 0 1 0 6 0a3 3 0 1 0 -6 0" {}/>', ""),
    ('<ellipse cx="12" cy="15" rx="2" ry="3" {0}/><circle cx="30" cy="15" r="1" {0}/>', ", as are 1 more"),
    ('<circle cx="12" cy="15" r="5" {}/>', None), ('<path d="M9 15h3v3h-3z" {}/>', None),
    ('<path d="M9 15a3 3 0 1 0 6 0" {}/>', None), ('<path d="M9 15h0.001z" stroke-linecap="round" {}/>', None),
    ('<circle cx="12" cy="15" r="3" style="fill:#2f6f4f" {}/>', None),
    ('<path d="M9 15c0 0 0 0 0 0" stroke-linecap="round" {}/>', None),  # a dot, and a line to and fro: nothing is round
    ('<path d="M9 15C11 15 13 15 15 15C13 15 11 15 9 15" {}/>', None),
])
def test_a_line_wider_than_the_circle_it_goes_round_is_told(tmp_path, art, more):
    """Of a circle four renderers show a hole in its middle (Skia, resvg, cairo, pdfium's), of an ellipse resvg none."""
    said = drawn(tmp_path, art.format('stroke="#2f6f4f" stroke-width="9" fill="none"', more))
    assert [what.split(": the middle")[0] for _, what in said] == (
        [] if more is None else [f"its line is wider than the shape that it goes round{more}"])


@pytest.mark.parametrize(("art", "told"), [
    ('<circle cx="12" cy="15" r="8" fill="grene"/>', ["fill = 'grene' is no colour", "#000000"]),
    ('<circle cx="12" cy="15" r="8" fill="#12"/><rect width="9" height="9" fill="red,"/>',
     ["fill = '#12' is no colour, the first of 2 that are none", "#000000"]),
    ('<circle cx="12" cy="15" r="8" style="stroke: none; fill red"/>', ["fill = 'fill red' is no colour", "#000000"]),
    ('<g fill="rgb(10,20)"><circle cx="12" cy="15" r="8"/></g>', ["fill = 'rgb(10,20)' is no colour", "#000000"]),
    ('<g stroke="teal"><path d="M5,5H35" fill="none" stroke="#2e7d4" stroke-width="3"/></g>',
     ["stroke = '#2e7d4' is no colour", "#008080"]),
    # what stands beside it is taken, as by a browser; nothing at all, and none, are no slips
    ('<circle cx="12" cy="15" r="8" fill="#2f6f4f" style="fill:grene"/>', []),
    ('<circle cx="12" cy="15" r="8" fill="grene" style="fill:#2f6f4f"/>', []),
    ('<circle cx="12" cy="15" r="8" fill="" stroke="none"/>', []),
    ('<g fill="grene"><circle cx="12" cy="15" r="8" fill="#2f6f4f"/></g>', []),
    ('<style>circle{fill:teal;fill:grene}</style><circle cx="12" cy="15" r="8"/>', []),
])
def test_what_is_no_colour_is_told(tmp_path, art, told):
    said = [re.fullmatch(r"(.*): passed over, as a browser does, so that (.*) is cut there", what).groups()
            for _, what in drawn(tmp_path, art)]
    assert said == [tuple(told)] * bool(told)


@pytest.mark.parametrize("art", [
    '<path id="a" d="M5,5H35" stroke="#2e7d4" stroke-width="3"/>', '<path id="a" d="M5,5H35" style="stroke:#2e7d4"/>',
    '<g fill="none"><circle id="a" cx="12" cy="15" r="8" fill="#2e7d4"/></g>',
    '<g stroke="#2e7d4"><path id="a" d="M5,5H35"/></g>',
])
def test_what_is_not_drawn_for_want_of_a_colour_is_refused(tmp_path, art):
    """CSS passes over what is no colour (CSS Syntax 3, section 9), and nothing is painted in none: it would vanish."""
    green = '<circle cx="30" cy="20" r="5" fill="#2f6f4f"/>'
    with pytest.raises(ArtworkError, match=r"(fill|stroke) 'a' \(\1 = '#2e7d4'.* is no colour, so that nothing"):
        drawn(tmp_path, green + art)
    told = drawn(tmp_path, green + art, 'artwork_missing = "report"')
    assert not told


@pytest.mark.parametrize(("paint", "told"), [
    ('fill="url(#pearl)"', r"fill 'a' \(its fill is url\(#pearl\), which is not in the drawing, so that nothing"),
    ('fill="none" stroke="url(#pearl)"', r"stroke 'a' \(its stroke is url\(#pearl\), which is not in the drawing"),
    ('fill="url(#green)"', r"fill 'a' \(its fill is url\(#green\), which is a circle, no colour"),
    ('fill="url(#bare)"', r"fill 'a' \(its fill is linearGradient 'bare', which has no colours"),
])
def test_what_is_painted_with_what_is_not_there_is_refused(tmp_path, paint, told):
    """It would vanish (SVG 2, section 13.2); the colour beside it is taken, as by a browser."""
    green = '<linearGradient id="bare"/><circle id="green" cx="30" cy="20" r="5" fill="#2f6f4f"/>'
    art = f'{green}<circle id="a" cx="12" cy="15" r="8" {paint}/>'
    with pytest.raises(ArtworkError, match=told):
        drawn(tmp_path, art)
    assert not drawn(tmp_path, art.replace(paint, 'fill="url(#pearl) #2f6f4f"'))
    assert not drawn(tmp_path, art.replace(paint, 'fill="url(#pearl) none"'))


LINE = '<path id="a" d="M5,5H35" fill="none" stroke="#2f6f4f" stroke-width="3"'
CIRCLE = '<circle id="a" cx="12" cy="15" r="8" fill="#2f6f4f"'
NESTED = f'<svg width="30" height="30" viewBox="0 0 {{}}" preserveAspectRatio="{{}}">{CIRCLE}/></svg>'


@pytest.mark.parametrize(("art", "told"), [
    ('<path d="M5,5H35" fill="none" stroke="#2f6f4f" stroke-width="6,5"/>', "stroke-width = '6,5'"),
    ('<g style="stroke-width:6,5"><path d="M5,5H35" fill="none" stroke="#2f6f4f"/></g>', "stroke-width = '6,5'"),
    (f'{LINE} stroke-dasharray="4;2"/>', "stroke-dasharray = '4;2'"),
    (f'{LINE} stroke-miterlimit="4,5"/>', "stroke-miterlimit = '4,5'"),
    (f'{LINE} stroke-linecap="rond"/>', "stroke-linecap = 'rond'"),
    (f'{CIRCLE} opacity="1."/>', "opacity = '1.'"), (f'{CIRCLE} transform="translate(1. 0)"/>', None),
    (f'{CIRCLE} opacity="0,5"/>', "opacity = '0,5'"), (f'{CIRCLE} fill-rule="even-odd"/>', "fill-rule = 'even-odd'"),
    (f'{CIRCLE} visibility="hiden"/>', "visibility = 'hiden'"), (f'{CIRCLE} style="r:9,5px"/>', None),
    ('<rect y="2" width="9" height="9" fill="#2f6f4f" style="x:9,5px"/>', "x = '9,5px'"),
    # P: CSS Syntax 3, section 5.5.7: what has no colon after the name is dropped up to the next semicolon
    (f'{LINE} style="stroke-dasharray 4,2; stroke-linejoin:round"/>', "stroke-dasharray = 'stroke-dasharray 4,2'"),
    (f'<style>path {{ stroke-linecap = round }}</style>{LINE}/>', "stroke-linecap = 'stroke-linecap = round'"),
    (f'{CIRCLE} style="stroke:none; display none"/>', "display = 'display none'"),
    (f'<g style="transform: none; opacity"><g>{CIRCLE}/></g></g>', "opacity = 'opacity'"),
    (f'{CIRCLE} style="cursor pointer; -x-opacity .5; /* fill red */ ;; fill:#2f6f4f;"/>', None),
    (f'{LINE} stroke-dasharray="4" pathLength="ten"/>', "pathLength = 'ten'"),
    (f'{LINE} stroke-dasharray="4" pathLength="-10"/>', "pathLength = '-10'"),
    (f'{LINE} stroke-dasharray="4" pathLength="0"/>', "pathLength = '0'"),
    (f'{LINE} pathLength="ten"/>', None), (f'{LINE} stroke-dasharray="4" pathLength="10"/>', None),
    (NESTED.format("10 20", "none please"), "preserveAspectRatio = 'none please'"),
    (NESTED.format("10 20", "xMidyMid"), "preserveAspectRatio = 'xMidyMid'"),
    (f'<symbol id="s" viewBox="0 0 10 20" preserveAspectRatio="stretch">{CIRCLE}/></symbol>'
     '<use href="#s" width="30" height="30"/>', "preserveAspectRatio = 'stretch'"),
    (NESTED.format("10 20", "none"), None), (NESTED.format("10 20", "xMaxYMin slice"), None),
    (NESTED.format("20 20", "x200Y200 meet"), None),  # drawn alike, whatever it says
    # what stands beside it is taken, and what shows nowhere is no matter; nor what programs write for nothing
    (f'{CIRCLE} stroke-width="6,5"/>', None), (f'{LINE} style="stroke-linecap:rond;stroke-linecap:round"/>', None),
    (f'<g stroke-linecap="rond">{LINE} stroke-linecap="butt"/></g>', None),
    (f'{LINE} stroke-dasharray="null" stroke-linejoin="undefined"/>', None),
])
def test_values_that_are_passed_over_are_told(tmp_path, art, told):
    said = [(where, what.partition(" is nothing that can be read: passed over")) for where, what in
            drawn(tmp_path, art)]
    assert [what for _, (what, passed, _) in said if passed] == ([told] if told else [])
    assert all("line 1, " in where for where, _ in said)


def test_sloping_walls_for_pieces_that_the_job_does_not_make_are_doubted(tmp_path):
    v = small_board.cutter(name="v", shape="v", diameter=6, angle=60, speed=16000, feed=900, plunge=300, stepdown=1)

    def doubted(cutters, fill):
        path = small_board.job(tmp_path, changes={'cutters = ["flat"]': f"cutters = [{cutters}]\nfill = \"{fill}\""},
                               extra=v)
        return [(doubt.where, doubt.problem) for doubt in told_of(load_job(path)) if "slope" in doubt.problem]

    ((where, problem),) = doubted('"flat", "v"', "piece")
    assert where == "inlay 1 cutters"
    assert problem == 'fill = "piece", and "v" leaves walls that slope: a piece with upright sides does not go in'
    assert doubted('"flat"', "piece") == []
    assert doubted('"flat", "v"', "resin") == []


@pytest.mark.parametrize(("lines", "remedy"), [
    ('[[inlay]]\nartwork = "art.svg"\nplace = { at = [40.0, 0.0] }\n',
     "take flat ends; with a piece table pathgen then makes both to match; or slope each piece's sides to fit"),
    ("[dots]\ndiameter = 4.0\nfrets = [3]\n", "take flat ends; or slope each piece's sides to fit"),
])
def test_a_piece_table_is_advised_only_where_there_is_one(tmp_path, lines, remedy):
    v = small_board.cutter(name="v", shape="v", diameter=6, angle=60, speed=16000, feed=900, plunge=300, stepdown=1)
    path = small_board.job(tmp_path)
    head = small_board.JOB[: small_board.JOB.index("[[inlay]]")]
    path.write_text(f'{head}{lines}fill = "piece"\ndepth = 1.0\ncutters = ["v"]\n{v}')
    assert [one.remedy for one in told_of(load_job(path)) if "walls that slope" in one.problem] == [remedy]


FOUR = "".join(f'<rect x="{x}" width="9" height="9" fill="{colour}"/>' for x, colour in (
    (0, "#2f6f4f"), (10, "#aa2222"), (20, "#335599"), (30, "#ffffff")))


@pytest.mark.in_every_run(3)
@pytest.mark.parametrize(("more", "told"), [
    ("", []), ('colours = ["#2f6f4f", "#aa2222"]', ["#335599 and #ffffff of it are"]),
    ('colours = ["#2f6f4f", "#aa2222"]\nbackground = ["#ffffff"]', ["#335599 of it is"]),
    ('colours = ["#2f6f4f"]\nbackground = ["#335599"]\nwhite_is_background = true', ["#aa2222 of it is"]),
    # another inlay of the same drawing cuts the rest
    ('colours = ["#2f6f4f"]\nplace = { at = [45.0, 0.0] }\n[[inlay]]\nartwork = "art.svg"\ndepth = 1.0\n'
     'cutters = ["flat"]\ncolours = ["#aa2222", "#335599", "#ffffff"]', []),
])
def test_a_colour_that_no_inlay_cuts_is_told(tmp_path, capsys, more, told):
    words = [f"{one} cut by no inlay" for one in told]
    assert [what for where, what in drawn(tmp_path, FOUR, f"{more}") if where == "art.svg"] == words
    job = next(tmp_path.glob("*.toml"))
    assert main(["reach", str(job)]) == 0
    said = capsys.readouterr().out
    assert [one for one in words if f"art.svg: {one}" in said] == words
    assert said.count("cut by no inlay") == len(words)


@pytest.mark.parametrize(("openings", "told"), [
    ("", ["#aa2222 and #335599 of it are cut by no inlay"]),
    ('openings = { colours = ["#aa2222"], cutter = "flat" }', ["#335599 of it is cut by no inlay"]),
    ('openings = { layers = ["hole"], cutter = "flat" }', []),
])
def test_outline_and_openings_of_a_plate_are_no_colours_left_out(tmp_path, openings, told):
    """The outline is drawn in white, and inlay and openings in the same file lie within it."""
    art = ('<rect width="60" height="40" fill="#ffffff"/><circle cx="15" cy="20" r="8" fill="#2f6f4f"/>'
           '<g id="hole"><circle cx="30" cy="20" r="4" fill="#aa2222"/></g>'
           '<circle cx="45" cy="20" r="4" fill="#335599"/>')
    (tmp_path / "head.svg").write_text(small_board.svg(art, 60, 40))
    (tmp_path / "head.toml").write_text(f'''units = "mm"
cutter = [{{ name = "flat", shape = "flat-end", diameter = 1, speed = 16000, feed = 600, plunge = 200, stepdown = 1 }}]
stock = {{ length = 80, width = 60, thickness = 3 }}
[plate]
thickness = 3
face = false
artwork = "head.svg"
{openings}
[[inlay]]
artwork = "head.svg"
colours = ["#2f6f4f"]
depth = 1
cutters = ["flat"]
fill = "none"
''')
    job = load_job(tmp_path / "head.toml")
    assert [one.problem for one in doubts_of(job, clamping_of(job)) if one.where == "head.svg"] == told


@pytest.mark.parametrize(("x", "lap", "shared"), [(52.0, "", 8.0), (53.0, "", None), (53.0, "lap = 0.3", None)])
def test_inlays_that_lie_on_each_other_are_told_of(tmp_path, x, lap, shared):
    """Two squares of 8 mm, side by side or one millimetre over each other; a lap under the later one is meant."""
    art = small_board.svg('<rect width="8" height="8" fill="#2f6f4f"/>', 8, 8)
    other = f'[[inlay]]\nartwork = "art.svg"\ndepth = 1.0\ncutters = ["flat"]\nplace = {{ at = [{x}, 0.0] }}\n'
    job = load_job(small_board.job(tmp_path, art=art, extra=other, changes={"depth = 1.5": f"depth = 1.5\n{lap}"}))
    told = [doubt.problem for doubt in doubts_of(job, clamping_of(job)) if "inlay 1 and inlay 2" in doubt.where]
    assert [re.match(r"([\d.]+) mm2 of both lie on each other", one)[1] for one in told] == (
        [f"{shared:.1f}"] if shared else [])


@pytest.mark.parametrize(("size", "x", "grave"), [(8, 52.0, True), (8, 52.5, False), (4, 45.0, False), (4, 48.0, True),
                                                 (8, 45.0, True), (7.8, 45.0, False)])
def test_an_inlay_that_another_cuts_much_away_from_is_a_warning(tmp_path, size, x, grave):
    """17 mm2 of 39 were lost, noted, to one beside it; 6 % is no warning, nor is a detail that lies within, nor one
    that leaves a line of 0.1 mm round it. All was lost, noted, to the same drawing a second time."""
    art = small_board.svg('<rect width="8" height="8" fill="#2f6f4f"/>', 8, 8)
    other = f'[[inlay]]\nartwork = "art.svg"\ndepth = 1.0\ncutters = ["flat"]\nplace = {{ at = [{x}, 0.0], ' \
            f'width = {size} }}\n'
    job = load_job(small_board.job(tmp_path, art=art, extra=other))
    (told,) = [one for one in doubts_of(job, clamping_of(job)) if "inlay 1 and inlay 2" in one.where]
    assert (told.grave, "of #2f6f4f is cut away" in told.problem) == (grave, grave)


@pytest.mark.parametrize(("x", "more", "told"), [
    (73.0, "", True), (56.0, "", False), (73.0, "overfill = 0.5", False), (73.0, 'fill = "none"', False),
])
def test_drawings_that_one_pour_would_fill_are_told_of(tmp_path, x, more, told):
    """Squares of 8 mm: alike and further apart than two dams of 2 mm, which stand round the taut thread of each."""
    art = small_board.svg('<rect width="8" height="8" fill="#2f6f4f"/>', 8, 8)
    stage = small_board.JOB[small_board.JOB.index("[[inlay]]"):small_board.JOB.index("[resin]")]
    other = stage.replace("[45.0, 0.0]", f"[{x}, 0.0]")
    other = re.sub(r"overfill = .*", more, other) if "overfill" in more else f"{other}{more}\n"
    job = load_job(small_board.job(tmp_path, art=art, extra=other))
    found = [doubt for doubt in doubts_of(job, clamping_of(job)) if "cut level by itself" in doubt.problem]
    assert [doubt.where for doubt in found] == ["inlay 1 with 2"] * told
    over = stage.replace("[45.0, 0.0]", f"[{x + 5}, 0.0]").replace("depth = 1.5", "depth = 1.2")
    job = load_job(small_board.job(tmp_path, art=art, extra=over + other))  # the last is to lie on top of it
    assert not [doubt for doubt in doubts_of(job, clamping_of(job)) if "cut level by itself" in doubt.problem]


@pytest.mark.parametrize(("depths", "where", "words"), [
    ([1.0, 1.0, 1.0, 1.1], "inlay 1 with 2 and 3", "are alike, and each is opened by programs of its own"),
    ([1.0 + n / 50 for n in range(8)], "inlay 1 with 2 to 8",
     "differ in depth alone, and each is opened by programs of its own"),
    ([1.0 + n / 50 for n in range(7)], None, ""),
])
def test_drawings_that_one_program_would_open_are_told_of(tmp_path, depths, where, words):
    """40 petals without a fill came to 40 programs of ten seconds, each to be tried in air, and no word of `also`."""
    art = small_board.svg('<rect width="4" height="4" fill="#2f6f4f"/>', 4, 4)
    stage = small_board.JOB[small_board.JOB.index("[[inlay]]"):small_board.JOB.index("[resin]")]
    stages = "".join(
        stage.replace("[45.0, 0.0]", f"[{20 + 9 * nth}, 0.0]").replace("depth = 1.5", f'depth = {depth}\nfill = "none"')
        for nth, depth in enumerate(depths))
    job = load_job(small_board.job(tmp_path, art=art, changes={stage: stages}))
    found = [doubt for doubt in doubts_of(job, clamping_of(job)) if "programs of its own" in doubt.problem]
    assert [(doubt.where, words in doubt.problem) for doubt in found] == ([(where, True)] if where else [])
    assert not any(doubt.grave for doubt in found)


@pytest.mark.parametrize(("other", "found"), [("#2f6f50", True), ("#2f6f5f", False)])
def test_colours_that_nobody_tells_apart(tmp_path, other, found):
    told = drawn(tmp_path, f'{LEAF}<circle cx="30" cy="15" r="4" fill="{other}"/>')
    assert [where for where, _ in told] == [f"#2f6f4f and {other}"] * found


def test_units_that_are_not_given_are_told(tmp_path):
    assert doubts(tmp_path, 'units = "mm"\n') == [
        ("units", "not given: every length without a unit of its own was taken as mm", False)]


@pytest.mark.parametrize(("half", "said"), [(24.0, None), (20.0, r"0\.\d\d mm inside"), (17.0, r"2\.\d\d mm outside")])
def test_outer_strings_lie_on_the_drawn_board(tmp_path, half, said):
    """At fret 5 the stated board is 22.6 mm wide on either side, and its outer strings run 3 mm inside that."""
    (tmp_path / "outline.svg").write_text(
        small_board.svg(f'<path d="M-45,{-half}H45V{half}H-45Z"/>', 90, 2 * half, corner=f"-45 {-half}"))
    found = [one for one in doubts(tmp_path, extra=DRAWN) if one[0] == "[outline] artwork"]
    if said is None:
        assert found == []
        return
    ((where, problem, grave),) = found
    assert (where, grave) == ("[outline] artwork", True)
    assert re.search(f"side lies {said} the drawn outline at fret 5, near 75\\.\\d", problem)


def test_a_tongue_under_the_treble_strings_alone_is_a_board(tmp_path):
    """It was refused as a drawing beside the strings, with the place to write that it has already."""
    (tmp_path / "outline.svg").write_text(small_board.svg(
        '<path d="M-45,-22H40V-3H25V22H-45Z"/>', 140, 60, corner="-45 -30"))
    room = {"length = 125.0": "length = 200.0", "width = 66.0": "width = 90.0"}
    text = DRAWN.replace("at = [40.0, 0.0]", "at = [70.0, 0.0]")
    assert clamping_of(load_job(small_board.job(tmp_path, changes=room, extra=small_board.SLOTS + text)))


def test_a_drawn_board_that_begins_past_the_zero_fret_is_refused_in_words(tmp_path):
    (tmp_path / "outline.svg").write_text(small_board.svg(
        '<path d="M-44,-20H45V20H-44Z"/>', 140, 60, corner="-45 -30"))
    room = {"length = 125.0": "length = 200.0", "width = 66.0": "width = 90.0",
            "frets = 5": "frets = 5\nzero_fret = true\nbehind_nut = 4"}
    text = DRAWN.replace("at = [40.0, 0.0]", "at = [70.0, 0.0]")
    with pytest.raises(JobError, match=r"of the zero fret runs past the drawn outline .*wood under the whole slot"):
        clamping_of(load_job(small_board.job(tmp_path, changes=room, extra=small_board.SLOTS + text)))


@pytest.mark.parametrize(("place", "hand", "side", "far", "written"), [
    ("", "", "treble", "1 mm to 49 mm", "place = { at = [45, 0] }"),
    ("", "left_handed = true\n", "bass", "1 mm to 49 mm", "place = { at = [45, 0] }"),
    ("place = { at = [40.0, -30.0] }\n", "", "bass", "6 mm to 54 mm", "at = [40, 0]"),
])
def test_a_drawn_board_beside_the_strings_is_refused_by_its_place(tmp_path, place, hand, side, far, written):
    """Told of the wood at its edges and of its blank it was made thicker, and the blank wider. Without a place the
    page's lower left corner lies at X 0, Y 0: the drawing begins 1 mm above it and is 48 mm wide."""
    (tmp_path / "outline.svg").write_text(
        small_board.svg('<path d="M-45,-24H45V24H-45Z"/>', 90, 50, corner="-45 -25"))
    asked = DRAWN.replace("place = { at = [40.0, 0.0] }\n", place)
    with pytest.raises(JobError) as refused:
        doubts(tmp_path, "scale_length", f"{hand}scale_length", extra=asked)
    said = str(refused.value)
    assert said.startswith(f"[outline] artwork: the drawn outline lies on the {side} side alone at the nut, {far} ")
    assert said.endswith(f": put its middle on it: write {written}")
    assert refused.value.others == ()
    mended = asked.replace("at = [40.0, -30.0]", written) if place else f"{asked}{written}\n"
    doubts(tmp_path, "scale_length", f"{hand}scale_length", extra=mended)
    low, high = clamping_of(load_job(tmp_path / "job.toml")).board.outline.bounds[1::2]
    assert (low, high) == pytest.approx((-24.0, 24.0))


STRAIGHT = 3.0 * 10.0 / LONG  # mm: how much half a board of 40 by 46 mm widens from the nut to 10 mm past it


@pytest.mark.in_every_run(3)
@pytest.mark.parametrize(("path", "told"), [
    (f"M0,-20 {LONG},-23V23L0,20Z", None), (f"M0,-20.12 {LONG},-23.12V23.12L0,20.12Z", None),
    (f"M0,-20.2 {LONG},-23V23L0,20.2Z", ({"nut_width": 40.4}, "40 mm, and the outline is drawn 40.4 mm wide there")),
    (f"M0,-20 {LONG},-25V25L0,20Z", ({"end_width": 50.0}, "46 mm, and the outline is drawn 50 mm wide there")),
    (f"M0,-24 {LONG},-24V24L0,24Z", ({"nut_width": 48.0, "end_width": 48.0}, "40 mm, .* 48 mm wide there; 46 mm, .*")),
    # corners rounded at the nut, and an end that is stepped before the last fret, of a board as wide as written
    (f"M0,-15Q0,-20 10,{-20 - STRAIGHT} L{LONG},-23V0H65V{20 + 3 * 65 / LONG}L10,{20 + STRAIGHT}Q0,20 0,15Z", None),
])
def test_a_drawn_board_of_other_widths_than_are_written_is_told(tmp_path, path, told):
    """Strings, dots, nut and saddle count from the widths in the job, frets and slots from the drawing."""
    (tmp_path / "outline.svg").write_text(small_board.svg(f'<path d="{path}"/>', LONG, 60, corner="0 -30"))
    job = DRAWN.replace("place = { at = [40.0, 0.0] }", f"place = {{ at = [{LONG / 2}, 0.0] }}")
    found = [one for one in doubts(tmp_path, extra=job) if one[0].startswith("[board]")]
    where = f"[board] {' and '.join(told[0])}" if told else ""
    assert [(one, grave) for one, _, grave in found] == [(where, True)] * bool(told)
    board = load_job(tmp_path / "job.toml")
    of_nut = list(doubts_of(board, replace(clamping_of(board), kind=NUT)))
    assert [one.where for one in of_nut] == [where] * bool(told), "the nut's blank comes from them too"
    if told:
        assert re.fullmatch(told[1], found[0][1])
        text = (tmp_path / "job.toml").read_text()
        (advised,) = [re.findall(r"(\w+_width) = ([\d.]+)", one) for one in TOLD if one.startswith(found[0][0])]
        assert dict(advised) == {key: f"{v:g}" for key, v in told[0].items()}
        for key, value in advised:
            text = re.sub(rf"(?m)^{key} = .*$", f"{key} = {value}", text)
        (tmp_path / "job.toml").write_text(text)
        assert not [one for one in told_of(load_job(tmp_path / "job.toml")) if one.where.startswith("[board]")]


def test_widths_that_no_board_may_have_are_not_to_be_written(tmp_path):
    """A drawing with pointed ends: "write nut_width = 0 and end_width = -1.55" was refused, as it must be."""
    pointed = f"M0,0L{LONG / 2},-30L{LONG},0L{LONG / 2},30Z"
    (tmp_path / "outline.svg").write_text(small_board.svg(f'<path d="{pointed}"/>', LONG, 60, corner="0 -30"))
    job = DRAWN.replace("place = { at = [40.0, 0.0] }", f"place = {{ at = [{LONG / 2}, 0.0] }}")
    assert any("drawn 0 mm wide there" in problem for where, problem, _ in doubts(tmp_path, extra=job))
    advised = [one for one in TOLD if "_width" in one.split(":")[0]]
    assert advised
    assert not any("= -" in one or "= 0" in one for one in advised)


def test_a_clamp_on_the_place_of_zero_and_one_as_tall_as_no_clamp_are_doubted(tmp_path):
    stands = f"[setup]\n{CLAMP.format(-40.0, -14.0, 20.0)}\nzero = \"blank-nut-bass\"\n[stock]"
    (where, problem, grave), = doubts(tmp_path, "[stock]", stands)
    assert where == "[setup] keep_out 1"
    assert problem.startswith("stands on the place of X 0 Y 0, the blank's corner, nut end, bass side")
    assert not grave  # X and Y are set from edges
    remedy = re.search(r'zero = "([\w-]+)", which no clamp covers', TOLD[-1])
    assert doubts(tmp_path, "[stock]", stands.replace("blank-nut-bass", remedy[1])) == []
    tall = f"[setup]\n{CLAMP.format(-40.0, -14.0, 120.0)}\n[stock]"
    (where, problem, grave), = doubts(tmp_path, "[stock]", tall)
    assert "120 mm high" in problem
    assert "is 12 mm meant?" in TOLD[-1]


def test_a_clamp_on_the_place_of_zero_is_told_on_the_side_where_zero_is_set(tmp_path):
    """With a channel that is the back, whose blank is set up first; the top keeps its X 0 and Y 0."""
    clamp = f"[setup]\n{CLAMP.format(-40.0, -14.0, 20.0)}\nzero = \"blank-nut-bass\"\n"
    job = load_job(small_board.job(tmp_path, changes={"depth = 1.5": "depth = 0.6", "length = 125.0": "length = 130.0"},
                                   extra=SIDES.replace("-13.0", "-8.5") + clamp))
    (found,) = doubts_of(job, clamping_of(job).under)
    assert found.problem.startswith("stands on the place of X 0 Y 0, ")
    assert 'write zero = "' in found.remedy


def test_a_v_that_does_not_come_last_is_doubted(tmp_path):
    """Only what comes last rises into corners, and a v leaves walls sloping."""
    vee = small_board.cutter(name="vee", shape="v", angle=60.0, diameter=6.0, speed=16000, feed=900.0, plunge=300.0,
                             stepdown=1.0)
    (where, problem, grave), = doubts(tmp_path, 'cutters = ["flat"]', 'cutters = ["vee", "flat"]', extra=vee)
    assert (where, grave) == ("inlay 1 cutters", True)
    assert '"vee", a v cutter, stands before "flat"' in problem
    assert TOLD[-1].endswith('write cutters = ["flat", "vee"]')
    for good in ('["flat", "vee"]', '["vee"]'):
        assert doubts(tmp_path, 'cutters = ["flat"]', f"cutters = {good}", extra=vee) == []


def test_flutes_much_longer_than_cutters_so_thin_have_them_are_told(tmp_path):
    long = ("diameter = 2.0", "diameter = 2.0\nflute_length = {}")
    (where, problem, grave), = doubts(tmp_path, long[0], long[1].format(80))
    assert (where, problem, grave) == ('[[cutter]] "flat" flute_length', "80 mm, 40 times its diameter", True)
    assert "is 8 mm meant?" in TOLD[-1]
    assert doubts(tmp_path, long[0], long[1].format(24)) == []


def test_layers_of_the_outlines_drawing_keep_guides_out_of_it(tmp_path):
    board, guides = '<g id="board"><path d="M-45,-24H45V24H-45Z"/></g>', '<g id="guides"><text>9</text></g>'
    (tmp_path / "outline.svg").write_text(small_board.svg(board + guides, 90, 48, corner="-45 -24"))
    with pytest.raises(ArtworkError, match="text"):
        doubts(tmp_path, extra=DRAWN)
    layers = 'artwork_layers = ["board"]\n'
    doubts(tmp_path, extra=DRAWN.replace('artwork = "outline.svg"\n', f'artwork = "outline.svg"\n{layers}'))
    assert clamping_of(load_job(tmp_path / "job.toml")).board.outline.area == pytest.approx(90 * 48)
    with pytest.raises(JobError, match=r"\[outline\] place: without a drawing: give artwork"):
        doubts(tmp_path, extra=DRAWN.replace('artwork = "outline.svg"\n', layers))
