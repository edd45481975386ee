"""A refusal that names a value names one that works: it is written in, and nothing is refused."""

import math
import re
import shutil
from contextlib import nullcontext
from dataclasses import replace
from pathlib import Path

import pytest
import shapely

import pathgen
from pathgen.base.cutters import Cutter
from pathgen.base.errors import JobError, PathgenError
from pathgen.job.clamping import clamping_of, planned_of
from pathgen.job.doubts.board import widths
from pathgen.job.drawings import _walled
from pathgen.job.kinds import KINDS
from pathgen.programs.instructions import before_start, point_words
from pathgen.report.reaching import opened_of
from pathgen.work.thin_wood import thin_wood
from pathgen.work.touching import walled
from tests import small_board
from tests.job.test_plates import HOLE, PLATE, read

EXAMPLES = Path(__file__).parents[2] / "examples"
SPOILT = [
    ("fern-and-moth", "[board]", "thickness", "2.6", r"make thickness ([\d.]+) mm or more"),
    ("boards/inches", "[board]", "radius", "2", r"or the radius ([\d.]+) mm or more"),
    ("boards/inches", "[board]", "radius", "1", r"make the radius ([\d.]+) mm or more"),
    ("fern-and-moth", "[stock]", "thickness", "4.0", r"([\d.]+) mm or more"),
    ("fern-and-moth", "[stock]", "thickness", "80", r"([\d.]+) mm or less"),
    ("fern-and-moth", "[stock]", "length", "400", r"make \[stock\] length ([\d.]+) mm or more"),
    ("fern-and-moth", "[slots]", "depth", "5.5", r"([\d.]+) mm or less"),
    ("fern-and-moth", "[[inlay]]", "depth", "6.0", r"make depth ([\d.]+) mm or less"),
    ("fern-and-moth", "[surface]", "leave", "3.0", r"([\d.]+) mm or less"),
    ("fern-and-moth", "[machine]", "spin_up", "61", r"0 to ([\d.]+) seconds"),
    ("boards/dots-and-fall-away", "[dots]", "diameter", "18", r"([\d.]+) mm or less"),
    ("boards/truss-rod", "[channel]", "depth", "30", r"([\d.]+) mm or less"),
    ("boards/truss-rod", "[channel]", "depth", "8", r"make depth ([\d.]+) mm or less"),
    ("boards/inches", "[slots]", "depth", "0.2", r"([\d.]+) mm or less"),
    ("fern-and-moth", "[stock]", "length", "465", r"make .*length ([\d.]+) mm or more, or margin_nut"),
    ("fern-and-moth", "[[inlay]]", "depth", "4.2", r"depth ([\d.]+) mm or less"),
    ("boards/zero-fret-arched", "[slots]", "depth", "8", r"([\d.]+) mm or less"),
    ("boards/zero-fret-arched", "[slots]", "depth", "2.5", r"([\d.]+) mm or less"),
    ("boards/dots-and-fall-away", "[dots]", "depth", "8", r"make depth ([\d.]+) mm or less"),
    ("fern-and-moth", "[outline]", "tab_height", "0", r"([\d.]+) mm or more"),
    ("parts/rosette", "[[ring]]", "depth", "8", r"make depth ([\d.]+) mm or less"),
]
FOLLOWED = {("fern-and-moth", "[stock]", "80")}
"""Where another mistake is another table's: a blank of 46 mm asks for a longer outline cutter."""


@pytest.mark.in_every_run(3)
@pytest.mark.parametrize(("name", "table", "key", "value", "remedy"), SPOILT,
                         ids=[" ".join(row[:3]) for row in SPOILT])
def test_the_value_that_a_refusal_names_works(tmp_path, name, table, key, value, remedy):
    first = refusal(tmp_path, name, table, key, value)
    assert first, "the spoilt job is refused"
    allowed = first[first.index("(allowed"):] if "make " not in remedy else first
    named = re.search(remedy, allowed)
    assert named, first
    unit = "mm" if "mm" in named[0] else ""
    again = refusal(tmp_path, name, table, key, f'"{named[1]} mm"' if unit else named[1])
    assert not again or (name, table, value) in FOLLOWED, (first, again)
    assert without_numbers(again) != without_numbers(first), (first, again)


def refusal(folder: Path, name: str, table: str, key: str, value: str) -> str:
    """What is said of an example's job with one value of one table changed; nothing where it is in order."""
    path = EXAMPLES / f"{name}.toml"
    for drawing in path.parent.glob("*.svg"):
        shutil.copy(drawing, folder)
    before, found, after = re.split(rf"(?m)^({re.escape(table)}[^\n]*\n)", path.read_text(), maxsplit=1)
    tables = re.split(r"(?m)^(?=\[)", after, maxsplit=1)
    own, count = re.subn(rf"(?m)^{key} = [^#\n]*", f"{key} = {value}", tables[0])
    if not count:
        own = f"{key} = {value}\n{own}"
    (folder / "job.toml").write_text(before + found + "".join([own, *tables[1:]]))
    try:
        planned_of(pathgen.load_job(folder / "job.toml"))
    except PathgenError as wrong:
        return str(wrong)
    return ""


def test_a_radius_that_a_refusal_names_is_no_larger_than_its_board_needs(tmp_path):
    """Of a board that widens, the last slot's ends lie nearer to the centre-line than the board's end; and the second
    cut takes its skim off over the slots."""
    def told(radius):
        changes = {"{ nut = 254.0, end = 300.0 }": str(radius), "nut_width = 40.0": "nut_width = 20.0",
                   "thickness = 6.5": "thickness = 5.0", "depth = 1.5": "depth = 0.5"}
        path = small_board.job(tmp_path, changes=changes, extra=f"{small_board.SLOTS}[resurface]\nskim = 0.3\n")
        try:
            pathgen.load_job(path)
        except PathgenError as wrong:
            return str(wrong)
        return ""

    named = float(re.search(r"or the radius ([\d.]+) mm or more", told(40.0))[1])
    assert told(named) == ""
    assert "leaves 0.99 mm under fret 5" in told(named - 0.5)


def without_numbers(words: str) -> str:
    return re.sub(r"[\d.]+", "#", words)


@pytest.mark.parametrize("asked", [
    'line = "bass"\ninset = 8.0\napart = 20.0', 'line = "treble"\ninset = 2.0',
    'line = "bass"\ninset = 2.0\nfrets = [3, 5]',
    "apart = 60.0", 'octave = "along"\ndiameter = 7.5', "apart = 5.0",
])
def test_dots_as_a_refusal_says_lie_on_the_board_with_wood_beside_them(tmp_path, asked):
    text = (EXAMPLES / "boards" / "dots-and-fall-away.toml").read_text()
    text, own = re.split(r"(?m)^\[dots\].*\n", text)
    for key in re.findall(r"(?m)^(\w+) =", asked):
        own = re.sub(rf"(?m)^{key} = .*\n", "", own, count=1)
    text += f"[dots]\n{asked}\n{own}"
    (tmp_path / "job.toml").write_text(text)
    with pytest.raises(JobError) as refused:
        clamping_of(pathgen.load_job(tmp_path / "job.toml"))
    named = re.findall(r"(apart|inset|diameter) ([\d.]+) mm", str(refused.value))
    assert named, refused.value
    own = text.split("[dots]\n")[1]
    for key, value in named[-1:] if "or make" in str(refused.value) else named:
        own = f"{key} = {value}\n" + re.sub(rf"(?m)^{key} = .*\n", "", own, count=1)
    (tmp_path / "job.toml").write_text(text.split("[dots]\n")[0] + "[dots]\n" + own)
    clamping = clamping_of(pathgen.load_job(tmp_path / "job.toml"))
    assert not [thin for thin in thin_wood(clamping, opened_of(clamping)) if "slot" not in thin.between]


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("at", ["[400.0, 0.0]", "[520.0, 10.0]", "[150.0, 25.0]", "[-40.0, -30.0]"])
def test_a_drawing_moved_as_its_refusal_says_lies_on_the_board(tmp_path, at):
    first = refusal(tmp_path, "fern-and-moth", "[[inlay]]", "place", f"{{ at = {at}, width = 150.0 }}")
    x, y = re.search(r"make at = (\[[-\d.]+, [-\d.]+\])", first)[1].strip("[]").split(", ")
    again = refusal(tmp_path, "fern-and-moth", "[[inlay]]", "place", f"{{ at = [{x}, {y}], width = 150.0 }}")
    assert "lies off the board" in first
    assert "inlay 1 place" not in again


def test_a_drawing_beside_the_board_is_moved_across_alone_and_one_changed_over_is_seen(tmp_path):
    """At 130 mm across for 13 it was to go along too; at [0, 60] for [60, 0] into a corner by the nut."""
    def told(at):
        with pytest.raises(JobError, match="lies off the board") as wrong:
            clamping_of(pathgen.load_job(small_board.job(tmp_path, changes={"at = [45.0, 0.0]": f"at = {at}"})))
        return wrong.value.remedy

    assert re.match(r"make at = \[45, 1\d", told("[45.0, 130.0]"))
    assert told("[0.0, 60.0]").startswith("if along and across are changed over, write at = [60, 0]; else make at = [")
    assert "changed over" not in told("[0.0, 160.0]")  # 160 mm along is off the board too


def test_a_drawing_that_would_come_out_tiny_is_rather_moved(tmp_path):
    """A moth 112 mm wide was told that 3 mm would fit there."""
    with pytest.raises(JobError, match="lies off the board") as wrong:
        clamping_of(pathgen.load_job(small_board.job(tmp_path, changes={
            "{ at = [45.0, 0.0] }": '{ at = [1.5, 0.0], width = 40.0, centre = "drawing" }'})))
    assert "fits there" not in wrong.value.remedy
    assert "at = " in wrong.value.remedy


SQUARE, BARS = (f'<path d="{d}" fill="#225577"/>' for d in ("M0 0h8v8h-8z", "M0 0h2v8h-2zM6 0h2v8h-2z"))


def off_the_board(tmp_path, at, drawn, *, more=""):
    """The job of a drawing of 8 mm placed there, and what it is told."""
    path = small_board.job(tmp_path, art=small_board.svg(drawn, 8, 8), extra=small_board.SLOTS)
    path.write_text(re.sub(r"(?m)^place = .*", f"place = {{ at = {at}{more} }}", path.read_text()))
    with pytest.raises(JobError, match="lies off the board") as wrong:
        clamping_of(pathgen.load_job(path))
    return path, wrong.value.remedy


@pytest.mark.parametrize(("drawn", "told"), [(SQUARE, True), (BARS, False)])
def test_no_size_is_named_at_which_the_cutters_open_little_of_the_drawing(tmp_path, drawn, told):
    """"width = 9.5 fits there", and then: no cutter goes in anywhere. Of 7 mm bars a quarter as wide are 1.75."""
    _, remedy = off_the_board(tmp_path, "[42.0, 17.5]", drawn, more=", width = 9.0")
    assert ("fits there" in remedy) is told


def test_a_drawing_is_moved_clear_of_slots_where_that_is_near(tmp_path):
    """Moved across alone, to [42.9, ..], it left 0.53 mm beside the slot at 47.73 mm."""
    path, remedy = off_the_board(tmp_path, "[42.9, 30.0]", SQUARE)
    named = re.search(r"make at = (\[[-\d.]+, [-\d.]+\])", remedy)[1]
    path.write_text(path.read_text().replace("[42.9, 30.0]", named))
    clamping = clamping_of(pathgen.load_job(path))
    assert not list(thin_wood(clamping, opened_of(clamping)))


def test_a_place_clear_of_slots_that_lies_far_off_is_told_beside_the_nearest(tmp_path):
    """One 1.8 mm over the end was to go 135 mm away, with no word of the place where it crosses a slot."""
    _, remedy = off_the_board(tmp_path, "[82.0, 0.0]", SQUARE, more=", width = 12.0")
    near, clear = re.match(r"make at = \[([\d.]+), 0\] \(it meets slots there; at = \[([\d.]+), 0\] is clear of them\)",
                           remedy).groups()
    assert 76 < float(near) < 80  # D: the board ends 10 mm past fret 5 at 75.24
    assert float(clear) + 6 < 300 - 300 / 2 ** (3 / 12) < 82 - 6


@pytest.mark.parametrize("key", ["tip", "tip_width"])
def test_a_flat_tip_of_a_v_cutter_is_refused_with_what_to_do_instead(tmp_path, key):
    """Only that the key is unknown was said; nothing told that a v cutter is taken to come to a point."""
    path = small_board.job(tmp_path, extra=small_board.cutter(name="v", shape="v", angle=60, **{key: 0.2}))
    with pytest.raises(JobError, match=f'unknown key "?{key}') as wrong:
        pathgen.load_job(path)
    assert "comes to" not in wrong.value.remedy
    assert "taken to come to a sharp point" in wrong.value.remedy
    assert "-0.173 mm" in wrong.value.remedy


@pytest.mark.parametrize(("angle", "units", "told"), [
    (60.0, "mm", ("0.5 mm deep", "0.577 mm wide", "-0.173 mm for a flat of 0.2 mm")),
    (90.0, "mm", ("0.5 mm deep", "1 mm wide", "-0.1 mm for a flat of 0.2 mm")),
    (90.0, "in", ("0.02 in deep", "0.04 in wide", "-0.004 in for a flat of 0.008 in")),
])
def test_a_v_cutters_programs_tell_what_a_flat_tip_does(angle, units, told):
    """By plane geometry (D): a flat w wide cuts as wide as a point that is w / (2 tan(angle / 2)) below it."""
    v = Cutter(name="v", shape="v", angle=angle, diameter=6.0, speed=100, feed=1, plunge=1, stepdown=1)
    (line,) = point_words(v, units)
    assert "(" not in line, "a program's comment holds no brackets"
    assert all(words in line for words in told), line
    low, flat = 0.2 / 2 * v.wall_slope, 0.2
    assert flat / 2 + (1.0 - low) * math.tan(math.radians(angle / 2)) == pytest.approx(float(v.half_width(1.0)))
    assert not point_words(replace(v, shape="flat-end", angle=None), units)


def test_a_flat_tip_is_spoken_of_where_it_makes_a_cut_wider(tmp_path):
    """Of marks and hovers that a v drills it moved the Z that all other cutters are set by."""
    v = small_board.cutter(name="v", shape="v", angle=60.0, diameter=6.0, speed=16000, feed=600.0, plunge=200.0,
                           stepdown=1.0)
    clamping = clamping_of(pathgen.load_job(small_board.job(
        tmp_path, changes={'cutters = ["flat"]': 'cutters = ["flat", "v"]'},
        extra=v + '[marks]\ncutter = "v"\ndepth = 0.5\nhover = 1.0\n')))
    told = {step.operation.name for step in clamping.steps
            if any("sharp point" in line for line in before_start(clamping, step))}
    assert told == {"pocket"}


STAR = '<path d="M2 2h36v4h-30v70h-6z" fill="#225577"/>'
STAGE = """
[[inlay]]
artwork = "art.svg"
colours = ["#775522"]
depth = 1.0
cutters = ["flat"]
place = {}
"""


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize(("size", "stages"), [
    ("width = 60.0", 1), ("height = 200.0", 1), ("width = 60.0, height = 120.0", 1), ("width = 70.0, rotate = 30", 1),
    ("", 1), ('width = 60.0, centre = "drawing"', 1), ('centre = "drawing"', 1), ("width = 60.0, mirror = true", 2),
])
def test_a_drawing_too_large_for_its_place_is_told_the_size_that_fits_there(tmp_path, size, stages):
    """"Make the drawing smaller" was all that was said of one of 104 mm on a board of 57 mm."""
    art = small_board.svg(STAR + '<path d="M14 20h20v56h-20z" fill="#775522"/>' * (stages > 1), 40, 80)
    path = small_board.job(tmp_path, art=art)
    text = path.read_text().replace("[resin]", STAGE * (stages > 1) + "[resin]")
    text = text.replace('artwork = "art.svg"', 'artwork = "art.svg"\ncolours = ["#225577"]', 1)

    def refused(keys):
        path.write_text(re.sub(r"(?m)^place = .*", f"place = {{ at = [50.0, 1.0]{', ' * bool(keys)}{keys} }}", text))
        try:
            clamping_of(pathgen.load_job(path))
        except JobError as wrong:
            return str(wrong)
        return ""

    first = refused(size)
    key, fits, more = re.search(r"make the drawing smaller \((\w+) = ([\d.]+) fits there(.*?)\)", first).groups()
    assert ("inlays 1 and 2" in more) is (stages > 1)
    assert ("without height" in more) is ("width" in size and "height" in size)
    others = ", ".join(one for one in size.split(", ") if not re.match("width|height", one) and one)
    written = f"{key} = {{}}{', ' * bool(others)}{others}"
    assert not refused(written.format(fits))
    assert "off the board" in refused(written.format(float(fits) + 1.5)), "it is about the largest"


@pytest.mark.parametrize(("width", "told"), [("", True), (", width = 30.0", False)])
def test_to_centre_what_is_drawn_is_said_where_that_puts_it_on_the_board(tmp_path, width, told):
    """A square of 6 mm in a corner of its page; with width it would be as large as that, and still lie off."""
    art = small_board.svg('<path d="M1 1h6v6h-6z" fill="#225577"/>', 40, 30)
    path = small_board.job(tmp_path, art=art)
    for centre in ("", ', centre = "drawing"'):
        path.write_text(re.sub(r"(?m)^place = .*", f"place = {{ at = [3.5, 0.0]{width}{centre} }}", path.read_text()))
        lies = nullcontext() if centre and told else pytest.raises(PathgenError, match="lies off the board")
        with lies as wrong:
            clamping_of(pathgen.load_job(path))
        if wrong:
            assert ("centre what is drawn" in str(wrong.value)) is told


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("ats", [("[400.0, 0.0]", "[400.0, 0.0]"), ("[700.0, 0.0]", "[702.0, 3.0]")])
def test_the_stages_of_a_drawing_off_the_board_are_told_one_place_that_works_for_both(tmp_path, ats):
    shutil.copy(EXAMPLES / "fern-and-moth.svg", tmp_path)
    text = (EXAMPLES / "fern-and-moth.toml").read_text()

    def refused(ats):
        parts = text.split("at = [232.0, 0.0]")
        (tmp_path / "job.toml").write_text(f"{parts[0]}at = {ats[0]}{parts[1]}at = {ats[1]}{parts[2]}")
        try:
            clamping_of(pathgen.load_job(tmp_path / "job.toml"))
        except PathgenError as wrong:
            return " ".join(map(str, (wrong, *wrong.others)))
        return ""

    named = re.findall(r"make at = (\[[-\d.]+, [-\d.]+\]) for inlays 1 and 2", refused(ats))
    assert len(named) == 2
    assert len(set(named)) == 1
    assert not refused((named[0], named[0]))


def test_a_wall_that_a_refusal_names_leaves_more_than_a_trace():
    """Of a disc 6 mm wide a wall of 5.99 mm would leave a ten-thousandth of a square millimetre."""
    disc = shapely.Point(0, 0).buffer(3.0)
    regions = (("#111111", disc), ("#222222", shapely.box(-9, -9, 9, 9) - disc))
    with pytest.raises(JobError) as wrong:
        _walled(regions, 20.0, "inlay 1 wall", "mm")
    named = float(re.search(r"([\d.]+) mm or less", str(wrong.value))[1])
    assert min(shape.area for _, shape in walled(regions, named)) > 0.01


@pytest.mark.parametrize(("asked", "remedy"), [
    ("jobb.toml", "did you mean job.toml?"), ("JOB.toml", "did you mean job.toml?"), ("job.tml", "check the name"),
    ("board.toml", "check the name"), ("art.toml", "check the name"),
])
def test_a_job_file_with_nearly_that_name_is_named(tmp_path, asked, remedy):
    small_board.job(tmp_path)  # writes job.toml and art.svg
    with pytest.raises(JobError, match=r"cannot be read") as wrong:
        pathgen.load_job(tmp_path / asked)
    assert wrong.value.remedy == remedy


def test_a_drawing_with_nearly_that_name_is_named_with_its_folder(tmp_path):
    (tmp_path / "icons").mkdir()
    path = small_board.job(tmp_path)
    shutil.copy(next(tmp_path.glob("*.svg")), tmp_path / "icons" / "bug.svg")
    path.write_text(re.sub(r'artwork = ".*"', 'artwork = "icons/bugs.svg"', path.read_text()))
    with pytest.raises(JobError, match=r"did you mean icons/bug\.svg\?") as wrong:
        clamping_of(pathgen.load_job(path))
    named = re.search(r"did you mean (.*)\?", str(wrong.value))[1]
    path.write_text(path.read_text().replace("icons/bugs.svg", named))
    clamping_of(pathgen.load_job(path))


@pytest.mark.parametrize(("width", "height"), [(3.0, 12.0), (0.3, 18.0), (0.06, 18.0)])
def test_the_cutter_that_a_drawing_too_fine_asks_for_opens_most_of_it(tmp_path, width, height):
    art = small_board.svg(f'<path d="M9 1h{width}v{height}h-{width}z" fill="#225577"/>', 20, 20)
    wide = small_board.job(tmp_path, art=art, changes={"diameter = 2.0": "diameter = 5.0"})
    with pytest.raises(PathgenError, match="no cutter goes in anywhere") as wrong:
        planned_of(job := pathgen.load_job(wide), clamping_of(job))
    said = re.search(r"one of ([\d.]+) mm, which opens nine tenths of the drawing", str(wrong.value))
    if width < 0.1:
        assert "draw them wider" in str(wrong.value)
    else:
        assert width - 0.06 * width < float(said[1]) <= width


def test_a_drawing_of_hairs_with_one_wider_place_is_not_said_to_be_too_thin_for_all(tmp_path):
    art = small_board.svg('<path d="M9 1h0.06v18h-0.06z M15 9h0.3v0.3h-0.3z" fill="#225577"/>', 20, 20)
    path = small_board.job(tmp_path, art=art, changes={"diameter = 2.0": "diameter = 5.0"})
    with pytest.raises(PathgenError, match=r"cutter 0\.30 mm wide .*: add a smaller or a v cutter, as more than a te"):
        planned_of(job := pathgen.load_job(path), clamping_of(job))
    path.write_text(path.read_text().replace("diameter = 5.0", "diameter = 0.25").replace("= 1.5", "= 0.1"))
    planned_of(job := pathgen.load_job(path), clamping_of(job))


CHANNEL = small_board.cutter(name="drill", shape="flat-end", diameter=3.0, speed=11000, feed=1100.0, plunge=300.0,
                             stepdown=1.2) + """[holes]
cutter = "drill"
at = [[-14.0, 0.0], [100.0, 0.0]]
[channel]
cutter = "drill"
along = [10.0, 30.0]
across = 12.0
depth = 5.7
"""


@pytest.mark.parametrize(("deep", "extra"), [
    ("5.7", ""), ("1.5", small_board.SLOTS.replace("depth = 1.8", "depth = 5.7")), ("0.5", CHANNEL)])
def test_the_depth_that_leaves_just_the_least_web_is_no_refusal(tmp_path, deep, extra):
    """6.5 - 5.7 is a hair less than 0.8 in binary: "make depth 5.70 mm or less" was said to who had written that."""
    changes = {"{ nut = 254.0, end = 300.0 }": '"flat"\nmin_web = 0.8', "depth = 1.5": f"depth = {deep}"}
    assert clamping_of(pathgen.load_job(small_board.job(tmp_path, changes=changes, extra=extra)))


INLAY = "[[inlay]]" + small_board.JOB.partition("[[inlay]]")[2]
SHELF = '[nut]\ncutter = "flat"\ndepth = 1.8\nwidth = 4.0\n'


@pytest.mark.parametrize(("extra", "where", "least"), [
    (INLAY, "inlay 1 depth", 0.05), (small_board.SLOTS, r"\[slots\] depth", 0.1), (SHELF, r"\[nut\] depth", 0.1),
    (CHANNEL, r"\[channel\]", 0.1)], ids=["inlay", "slots", "nut", "channel"])
@pytest.mark.parametrize("web", [6.39, 6.42, 6.47, 6.5])
def test_no_depth_is_named_that_is_less_than_its_key_allows(tmp_path, extra, where, least, web):
    """"make depth 0.08 mm or less" was said of slots, which are 0.1 mm deep at the least, and 0.00 mm of all."""
    text = small_board.JOB.partition("[[inlay]]")[0].replace("thickness = 6.5", "thickness = 6.5\nbehind_nut = 8.0")
    text = text.replace("{ nut = 254.0, end = 300.0 }", f'"flat"\nmin_web = {web}')
    (tmp_path / "art.svg").write_text(small_board.ART)
    (tmp_path / "job.toml").write_text(text + extra)
    with pytest.raises(JobError, match=where) as refused:
        clamping_of(pathgen.load_job(tmp_path / "job.toml"))
    said = str(refused.value)
    named = re.findall(r"make depth ([-\d.]+) mm", said)
    assert [float(one) for one in named] == ([pytest.approx(6.5 - web)] if 6.5 - web >= least else []), said


@pytest.mark.parametrize(("thick", "web", "said"), [
    (1.75, 1.7, "or min_web smaller and depth less: no"), (1.85, 1.8, "or min_web smaller: no")])
def test_a_smaller_min_web_alone_is_not_the_answer_to_slots_that_go_through(tmp_path, thick, web, said):
    changes = {"{ nut = 254.0, end = 300.0 }": f'"flat"\nmin_web = {web}', "thickness = 6.5": f"thickness = {thick}",
               "depth = 1.5": "depth = 0.1"}
    with pytest.raises(JobError) as refused:
        pathgen.load_job(small_board.job(tmp_path, changes=changes, extra=small_board.SLOTS))
    assert said in str(refused.value)


def test_scrap_as_thick_as_is_allowed_is_no_refusal(tmp_path):
    extra = '[coupon]\nthickness = {}\ncutters = ["flat"]\n'.format
    changes = {"{ nut = 254.0, end = 300.0 }": '"flat"\nmin_web = 0.8', "depth = 1.5": "depth = 5.0"}
    (kind,) = (kind for kind in KINDS if kind.command == "coupon")

    def made(thick):
        job = pathgen.load_job(small_board.job(tmp_path, changes=changes, extra=extra(thick)))
        return list(kind.clampings(job, None))

    with pytest.raises(JobError, match=r"allowed: ([\d.]+) mm or more") as refused:
        made(6.0)
    assert made(re.search(r"allowed: ([\d.]+) mm", str(refused.value))[1])


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("table", ['[outline]\ncutter = "out"\ntabs = 2\n',
                                   '[holes]\ncutter = "out"\nat = [[-10.0, 0.0]]\nthrough = 0.2\n'])
def test_a_flute_as_long_as_is_allowed_is_no_refusal(tmp_path, table):
    """7.4 + 0.2 is a hair more than 7.6 in binary: "7.6 mm long (allowed: 7.60 mm or more)" was said."""
    extra = small_board.cutter(name="out", shape="flat-end", diameter=3.0, flute_length=7.6, speed=11000,
                               feed=1100.0, plunge=300.0, stepdown=1.2) + table
    path = small_board.job(tmp_path, changes={"thickness = 8.0": "thickness = 7.4"}, extra=extra)
    assert pathgen.build(pathgen.load_job(path), resolution=0.2).passed


def test_a_plate_as_long_as_its_blank_lies_within_it(tmp_path):
    """70.1 - 10.1 is a hair less than 60: "0.00 mm out past the far end: make [stock] " was said, and no more."""
    cutter = small_board.cutter(name="f", shape="flat-end", diameter=2, speed=16000, feed=600, plunge=200, stepdown=1)
    (tmp_path / "job.toml").write_text(
        "[plate]\nlength = 60.0\nwidth = 30.0\nthickness = 3.0\nface = false\n[stock]\nlength = 70.1\nwidth = 30.0\n"
        'thickness = 3.0\nmargin_nut = 10.1\n[[hole]]\ncutter = "f"\nat = [20.0, 0.0]\ndiameter = 4.0\n' + cutter)
    assert pathgen.build(pathgen.load_job(tmp_path / "job.toml"), resolution=0.2).passed


def test_side_dots_as_wide_as_is_allowed_are_no_refusal(tmp_path):
    """4.6 - 3.6 is a hair less than the 1 mm of wood that two walls come to."""
    drill = small_board.cutter(name="drill", shape="flat-end", diameter=3.0, speed=11000, feed=1100.0, plunge=300.0,
                               stepdown=1.2) + '[side_dots]\ncutter = "drill"\ndiameter = {}\n'
    changes = {"{ nut = 254.0, end = 300.0 }": '"flat"', "thickness = 6.5": "thickness = 4.6",
               "depth = 1.5": "depth = 1.0"}
    (kind,) = (kind for kind in KINDS if kind.command == "side-dots")

    def made(wide):
        path = small_board.job(tmp_path, changes=changes, extra=drill.format(wide))
        return list(kind.clampings(pathgen.load_job(path), None))

    with pytest.raises(JobError, match="mm or less") as refused:
        made(4.0)
    assert made(re.search(r"allowed: ([\d.]+) mm", str(refused.value))[1])


def test_level_slots_deeper_than_their_flutes_at_any_depth_may_follow_the_curve(tmp_path):
    """Under a crown that rises 4.6 mm, with flutes of 3 mm: "-0.66 mm or less" was allowed."""
    changes = {"radius = { nut = 254.0, end = 300.0 }": "radius = 60.0", "thickness = 6.5": "thickness = 8.0",
               "thickness = 8.0\nmargin": "thickness = 9.0\nmargin"}
    slots = small_board.SLOTS.replace("speed", "flute_length = 3.0\nspeed") + 'bottom = "flat"\n'

    def said(slots: str) -> str:
        try:
            planned_of(pathgen.load_job(small_board.job(tmp_path, changes=changes, extra=slots)))
        except JobError as refused:
            return str(refused)
        return ""

    def holds(slots: str) -> None:
        told = re.search(r'^\[slots\] depth: 1.8 mm with bottom = "flat", [\d.]+ mm under the crown, .*flutes of '
                         r'([\d.]+) mm or more\): name a longer cutter, or write (bottom = "curve")', said(slots))
        assert told
        assert not said(slots.replace('bottom = "flat"', told[2]))
        assert not said(slots.replace("flute_length = 3.0", f"flute_length = {told[1]}"))

    holds(slots)
    changes["radius = { nut = 254.0, end = 300.0 }"] = "radius = 120.0"
    assert "make depth as allowed" in said(slots)
    # as deep as its flutes allow is shallower than what bevels it: 1.3 mm, by a v of 60 degrees 0.75 mm aside
    holds(slots + 'bevel = 0.45\nbevel_cutter = "vee"\n' + small_board.cutter(
        name="vee", shape="v", angle=60.0, diameter=6.0, speed=16000, feed=900.0, plunge=300.0, stepdown=1.0))


def test_a_blank_as_thick_as_the_board_has_nothing_to_leave(tmp_path):
    """It was "allowed: 0 mm or less"."""
    text = (EXAMPLES / "fern-and-moth.toml").read_text()
    thick = re.search(r"\[stock\].*?\nthickness = ([\d.]+)", text, re.DOTALL)
    assert thick
    said = refusal(tmp_path, "fern-and-moth", "[board]", "thickness", thick[1])
    assert "[surface] leave" in said
    assert "(allowed: a blank that is thicker by what is left): take leave out, or take a thicker blank" in said


def test_a_drawing_off_the_board_is_told_how_large_it_is_and_how_large_it_may_be(tmp_path):
    """Only how far the board goes along was told, of a drawing that lay off across."""
    art = '<rect width="40" height="80" fill="#2f6f4f"/>'
    job = small_board.job(tmp_path, art=f'<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="80mm" '
                          f'viewBox="0 0 40 80">{art}</svg>')
    with pytest.raises(JobError, match=r"off the board, .* 40\.00 mm along by 80\.00 mm across") as refused:
        planned_of(pathgen.load_job(job))
    across = re.search(r"mm along, and there -([\d.]+) mm to ([\d.]+) mm across", refused.value.allowed)
    assert across
    assert 20.0 < float(across[1]) == float(across[2]) < 40.0


ROW = HOLE.replace("diameter = 10.0", "diameter = 8.0\ncount = 3\npitch = {}\n")
WIDER = "counterbore = {{ diameter = 14.0, depth = 1.0 }}\n"


@pytest.mark.parametrize(("row", "pitch", "more", "named"), [
    # of the last hole, 50 mm along, to the end at 100 mm: 43 mm less what stands, 0.4 mm or a tenth of the sheet
    (ROW + WIDER, 24.0, 3.0, 21.3), (ROW + WIDER, 12.0, 3.0, 14.4), (ROW, 24.0, 18.0, 22.1), (ROW, 24.0, 3.0, 22.8),
    (ROW + WIDER + "angle = 20.0\n", 40.0, 3.0, None), (ROW + "length = 12.0\nturn = 45.0\n", 6.0, 3.0, None),
    (ROW.replace("[50.0, 0.0]", "[20.0, 20.0]") + "angle = -25.0\nmirror = true\n", 50.0, 3.0, None),
    # the image of one lies near another of the row: found by chance
    (ROW.replace("[50.0, 0.0]", "[14.4, -8.5]").replace("8.0\ncount = 3", "5.3\ncount = 2")
     + "angle = 76.0\nmirror = true\n", 4.78, 18.0, None),
    (ROW + HOLE.replace("[50.0, 0.0]", "[76.0, 5.0]").replace("10.0", "6.0"), 24.0, 3.0, None),  # another hole
])
def test_the_pitch_that_a_refusal_names_leaves_wood_beside_the_whole_row(tmp_path, row, pitch, more, named):
    """It was that of the holes alone, whose counterbores were refused next, and left 0.4 mm in a sheet of 18 mm."""
    text = PLATE.replace("thickness = 3.0", f"thickness = {more}").replace("flute_length = 12.0", "flute_length = 25.0")
    with pytest.raises(JobError, match=r"pitch: .* make pitch [\d.]+ mm or (more|less)") as refused:
        read(tmp_path, text + row.format(pitch))
    found = float(re.search(r"make pitch ([\d.]+)", str(refused.value))[1])
    assert named is None or found == pytest.approx(named, abs=0.011)
    clamping = clamping_of(read(tmp_path, text + row.format(found)))
    assert thin_wood(clamping, opened_of(clamping)) == ()


@pytest.mark.parametrize(("scale", "nut", "told"), [(647.7, 21.5, True), (647.7, 28.0, False), (330.0, 21.5, False)])
def test_half_widths_are_asked_after(tmp_path, scale, nut, told):
    """Six strings 3.1 mm apart were built without a word; a mandolin's nut is 28 mm wide."""
    small = pathgen.load_job(small_board.job(tmp_path))
    board = replace(small.board, nut_width=nut, end_width=28.0,
                    scale_length=replace(small.board.scale_length, bass=scale, treble=scale))
    found = [one for one in widths(replace(small, board=board), clamping_of(small)) if "nut_width" in one.where]
    assert [one.remedy for one in found] == ['if half widths are written, write nut_width = "43 mm" and end_width = '
                                             '"56 mm"'] * told
