"""The job file: what it may say, and how it is refused."""

import re
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import shapely

from pathgen import CutterError, JobError, build, load_job
from pathgen.app.cli import main
from pathgen.base.limits import MOST_NESTED
from pathgen.job.clamping import clamping_of, planned_of
from pathgen.job.cutters import _SHAPES
from pathgen.job.describe import key_rows
from pathgen.job.doubts import doubts_of
from pathgen.job.inlay_tables import colour
from pathgen.job.load import _refuse_odd
from pathgen.job.part import board_of
from pathgen.job.sense import _overhang, larger_blank
from pathgen.job.surface import check_radius
from pathgen.parts.keys import Place, size
from pathgen.work.part import Names
from tests import small_board

EXAMPLE = Path(__file__).parents[2] / "examples" / "fern-and-moth.toml"

SMALL = """
[board]
scale_length = 640.0
frets = 20
nut_width = 44.0
end_width = 57.0
thickness = 6.5
radius = 304.8

[stock]
length = 480.0
width = 72.0
thickness = 6.5

[[cutter]]
name = "slot"
shape = "flat-end"
diameter = 0.58
speed = 18000
feed = 400.0
plunge = 100.0
stepdown = 0.4

[slots]
cutter = "slot"
depth = 2.6
"""


@pytest.fixture
def job_file(tmp_path):
    def write(text):
        path = tmp_path / "job.toml"
        path.write_text(text)
        return path

    return write


def test_the_example_loads_whole():
    job = load_job(EXAMPLE)
    assert job.board.radius.nut == 254.0
    assert [inlay.colours for inlay in job.inlays] == [("#2f6f4f",), ("#c8962e",)]
    assert job.setup.keep_out[0].x == (-22.0, -12.0)
    assert job.cutter("ball 12", "").radius == 6.35


@pytest.mark.parametrize("name", ["fern.toml", "fern.TOML", ".toml"])
def test_a_job_without_a_title_is_called_as_its_file(job_file, name):
    path = job_file(SMALL)
    assert load_job(path.rename(path.with_name(name))).title == Path(name).stem


def test_defaults_are_the_stated_ones(job_file):
    job = load_job(job_file(SMALL))
    assert (job.title, job.units, job.setup.z_zero, job.setup.along) == ("job", "mm", "bed", "x")
    assert (job.machine.clearance, job.machine.rapid, job.machine.arcs) == (10.0, 5000.0, False)
    assert job.board.divisions == 12
    assert job.surface is None
    assert job.resurface is None
    assert job.slots.ends is None


def test_inches_fractions_and_texts_with_units(job_file):
    text = (
        'units = "in"\n' + SMALL.replace("640.0", '"25 1/2 in"').replace("44.0", "1.75").replace("57.0", '"57 mm"')
        .replace("6.5", "0.25", 1).replace("304.8", "12.0").replace("480.0", "20.0").replace("72.0", "3.0")
        .replace("6.5", '"6.35 mm"').replace("0.58", "0.023").replace("400.0", "16.0").replace("100.0", "4.0")
        .replace("0.4\n", "0.015\n").replace("2.6", "0.1")
    )
    job = load_job(job_file(text))
    assert job.board.scale_length.bass == pytest.approx(647.7)
    assert job.board.nut_width == pytest.approx(44.45)
    assert job.board.end_width == 57.0
    assert job.board.radius.end == pytest.approx(304.8)
    # feeds of a job in inches are inches per minute
    assert job.cutter("slot", "").feed == pytest.approx(406.4)


@pytest.mark.parametrize("feed", ['"406.4 mm/min"', '"16 in/min"', '"16 in per minute"', '"406.4 mm"', "406.4"])
def test_a_feed_may_have_its_own_unit(job_file, feed):
    job = load_job(job_file(SMALL.replace("feed = 400.0", f"feed = {feed}")))
    assert job.cutter("slot", "").feed == pytest.approx(406.4)


def test_a_feed_that_is_no_feed_is_answered_with_what_may_stand_there(job_file):
    with pytest.raises(JobError, match="write a number, or a text with its unit"):
        load_job(job_file(SMALL.replace("feed = 400.0", 'feed = "fast"')))
    for feed, said in (("90 m/min", "90000 mm/min"), ("1.5 in/s", "90 in/min"), ("60 ipm", "60 in/min")):
        with pytest.raises(JobError, match=f'is no feed .*or a text like "1500 mm/min".*: write "{said}"'):
            load_job(job_file(SMALL.replace("feed = 400.0", f'feed = "{feed}"')))


def test_fanned_flat_and_short_slots(job_file):
    text = SMALL.replace("scale_length = 640.0", "scale_length = { bass = 660, treble = 635, straight_fret = 7 }")
    text = text.replace("radius = 304.8", 'radius = "flat"').replace("depth = 2.6", "depth = 2.6\nends = 3.0")
    job = load_job(job_file(text))
    assert job.board.scale_length.straight_fret == 7
    assert job.slots.ends == 3.0


def test_one_string_may_lie_in_the_middle_of_the_nut(job_file):
    """It was refused as one of two that lie on each other."""
    job = load_job(job_file(SMALL.replace("nut_width = 44.0", "nut_width = 40.0\nedge_to_string = 20.0\nstrings = 1")))
    assert (job.board.strings, job.board.edge_to_string) == (1, 20.0)


def test_an_inlay_with_a_fill_brings_the_second_cut(tmp_path):
    text = EXAMPLE.read_text().replace("[resurface]\nskim = 0.0\nstepdown = 0.5\n", "")
    (tmp_path / "job.toml").write_text(text)
    (tmp_path / "fern-and-moth.svg").write_bytes(EXAMPLE.with_suffix(".svg").read_bytes())
    assert load_job(tmp_path / "job.toml").resurface.stepdown == 0.5


def test_the_fingerprint_follows_job_and_drawing(tmp_path):
    drawing = tmp_path / "fern-and-moth.svg"
    drawing.write_bytes(EXAMPLE.with_suffix(".svg").read_bytes())
    path = tmp_path / "job.toml"
    path.write_text(EXAMPLE.read_text())
    first = load_job(path).fingerprint
    path.write_text(EXAMPLE.read_text() + "\n# a remark\n")
    assert load_job(path).fingerprint == first == load_job(EXAMPLE).fingerprint
    path.write_text(EXAMPLE.read_text().replace("depth = 2.6", "depth = 2.5"))
    assert load_job(path).fingerprint != first
    path.write_text(EXAMPLE.read_text())
    drawing.write_text(drawing.read_text().replace("2.35", "2.36") + " ")
    assert load_job(path).fingerprint != first


BAD = {
    "a negative wait": ("[slots]", "[machine]\nspin_up = -1\n[slots]", "0 to 60 seconds"),
    "a wait of minutes": ("[slots]", "[machine]\nspin_up = 61\n[slots]", "0 to 60 seconds"),
    "unknown key": ("nut_width = 44.0", "nut_widht = 44.0", "did you mean nut_width"),
    "unknown table": ("[slots]", "[slotz]", "did you mean slots"),
    "missing key": ("frets = 20\n", "", "frets is missing"),
    "not a number": ("640.0", "nan", "allowed"),
    "infinite": ("640.0", "inf", "allowed"),
    "negative": ("thickness = 6.5", "thickness = -6.5", "allowed"),
    "text without a unit": ("640.0", '"640"', "has no unit"),
    "unknown unit": ("640.0", '"640 furlongs"', "not a length"),
    "yes for a number": ("640.0", "true", "a length in mm"),
    "half a fret": ("frets = 20", "frets = 20.5", "a whole number"),
    "unknown units": ("[board]", 'units = "cm"\n[board]', '"mm" or "in"'),
    "broken TOML": ("[stock]", "[stock", "not TOML"),
    "a table written as a list": ("[stock]", "[[stock]]", "a table of keys"),
    "a cutter written once": ("[[cutter]]", "[cutter]", "write [[cutter]]"),
    "no stock": ("[stock]\nlength = 480.0\nwidth = 72.0\nthickness = 6.5\n", "", "[stock] is missing"),
    "a cutter that is not there": ('cutter = "slot"', 'cutter = "slit"', 'did you mean "slot"'),
    "a cutter without a feed": ("feed = 400.0\n", "", "feed is missing"),
    "an angle on a flat cutter": ("diameter = 0.58", "diameter = 0.58\nangle = 60", "angle given for a flat-end"),
    "a feed in metres per minute": ("feed = 400.0", "feed = 0.9", 'write "900 mm/min"'),
    "a feed in metres": ("feed = 400.0", "feed = 1.1", 'feed: 1.1 mm per minute, slower than plunge'),
    "a key of another table": ("[board]", "[board]\nmargin_nut = 20", "margin_nut belongs in [stock]"),
    "a key of a table within": ("[board]", "[board]\nfeeler = 0.1", "feeler belongs in [setup]"),
    "a key of two tables": ("[board]", "[board]\nwidth = 60", "width belongs in [stock], or in [slots]"),
    "a key of the top": ("[slots]", '[slots]\nunits = "mm"', "units belongs at the top of the file"),
    "plunge faster than feed": ("plunge = 100.0", "plunge = 500.0", "plunge no faster than feed"),
    "a cutter wider than the slot": ("depth = 2.6", "depth = 2.6\nwidth = 0.5", "0.5 mm or less"),
    "a flute too short": ("diameter = 0.58", "diameter = 0.58\nflute_length = 2.0", "2 mm or less"),
    "too little wood under the slots": ("depth = 2.6", "depth = 5.0", "min_web 1 mm or more"),
    "much more wood than is usual": (
        "thickness = 6.5\nradius", "thickness = 6.5\nmin_web = 3.0\nradius", "or make min_web smaller: 1 mm is usual"),
    "more wood than slots leave": ("depth = 2.6", "depth = 5.0", "make depth 4.17 mm or less\n"),
    "slots through the underside": ("depth = 2.6", "depth = 7.0", "7 mm goes 1.82 mm through under fret 20"),
    "a blank thinner than the board": ("72.0\nthickness = 6.5", "72.0\nthickness = 6.0", "6.5 mm or more"),
    "a blank thicker than the board, and no surface": (
        "72.0\nthickness = 6.5", "72.0\nthickness = 8.0", "cuts the radius, and the blank of 8 mm is thicker"),
    "a blank too short": ("length = 480.0", "length = 430.0", "past the end"),
    "a blank too narrow": ("width = 72.0", "width = 56.0", "out on the bass side"),
    "a radius below half the width": ("radius = 304.8", "radius = 27.0", "less than half the width"),
    "a binding wider than the board": ("nut_width = 44.0", "nut_width = 16.0\nbinding = 9.0", "leaves no wood"),
    "slots that leave no slot": ("depth = 2.6", "depth = 2.6\nends = 22.5", "leaves no slot"),
    "nothing to cut": ('[slots]\ncutter = "slot"\ndepth = 2.6', "", "nothing to cut"),
    "resurface without surface": ("[slots]", "[resurface]\n[slots]", "is missing, and fills are cut level"),
    "words for a flat radius": ("radius = 304.8", 'radius = "Flat"', 'one length, { nut, end }, or "flat"'),
    "words for the slots' ends": ("depth = 2.6", 'depth = 2.6\nends = "blind"', '"through", "binding", or a distance'),
    "two cutters of one name": ("[slots]", '[[cutter]]\nname = "slot"\n[slots]', 'two cutters are called "slot"'),
    "slots to a binding that is not there": ("depth = 2.6", 'depth = 2.6\nends = "binding"', "but the board has none"),
    "marks without a surface": ("[slots]", '[marks]\ncutter = "slot"\n[slots]', "no surface to cut a second time"),
    "a second cut over nothing": (
        "[slots]", '[surface]\nfinish = "slot"\n[resurface]\n[slots]', "nothing has a fill to cut over"),
    "a clamp without its width": (
        "[slots]", "[setup]\nkeep_out = [{ along = [0, 1], height = 3.0 }]\n[slots]", "across is missing"),
    "an end with an arch and steps": (
        "[stock]", "[board.end]\nrise = 1.0\nsteps = [[0.0, 1.0]]\n[stock]", "rise and steps are both given"),
    "a number of 71 bits": ("frets = 20\n", "frets = 2361183241434822606848\n", "more than 64 bits"),
    "no frets": ("frets = 20", "frets = 0", "write as many as one of its length has, and leave [slots] out"),
    "a key for no frets": ("[board]", "[board]\nfretless = true", "write as many as one of its length has, and leave"),
    "strings that cross": (
        "nut_width = 44.0", "nut_width = 40.0\nedge_to_string = 20.0", "strings would lie on each other or cross"),
    "one string past the middle": (
        "nut_width = 44.0", "nut_width = 30.0\nedge_to_string = 15.1\nstrings = 1", "that is past the middle"),
    "true in quotes": ("[board]", '[board]\nleft_handed = "true"', "allowed: true or false): write true, without"),
    "no for false": ("[board]", '[board]\nbound = "no"', "(allowed: true or false): write false, without quotes"),
    "a number with its unit": ("speed = 18000", 'speed = "18000 rpm"', "take the quotes away: 18000"),
    "a cutter like none that is there": (
        'cutter = "slot"', 'cutter = "drill"', 'add a [[cutter]] table with that name, or name one of "'),
    "an empty title": ("[board]", 'title = ""\n[board]', "text of 1 to 200"),
}


@pytest.mark.parametrize("name", list(BAD))
def test_bad_jobs_are_refused_with_one_message(name, job_file, tmp_path, capsys):
    old, new, words = BAD[name]
    assert old in SMALL
    out = tmp_path / "out"
    status = main(["build", str(job_file(SMALL.replace(old, new, 1))), "--out", str(out)])
    message = capsys.readouterr().err
    assert status == 2
    assert words in message
    assert message.count("\n") == 1
    assert "Traceback" not in message
    assert not out.exists()


def test_slots_deeper_than_wood_and_flute_bear_are_told_both_limits(job_file):
    """"make depth 3.20 mm or less" was said of a limit by which 4.28 mm would do: it was the flute's, not named."""
    text = SMALL.replace("diameter = 0.58", "diameter = 0.58\nflute_length = 2.0").replace("depth = 2.6", "depth = 7.0")
    both = (r"goes 1\.82 mm through under fret 20 at the edge \(allowed: min_web 1 mm or more, as depth 4\.17 mm "
            r"leaves; its cutter goes no deeper than 2\.00 mm\): make depth 2\.00 mm or less")
    with pytest.raises(JobError, match=both):
        load_job(job_file(text))
    with pytest.raises(JobError, match=r"\(allowed: min_web 1 mm or more\): make depth 4\.17 mm or less"):
        load_job(job_file(text.replace("flute_length = 2.0", "flute_length = 9.0")))


def test_what_a_board_without_a_surface_is_told_to_leave_out_is_what_it_has(job_file):
    no_curve = SMALL.replace("radius = 304.8", 'radius = "flat"').replace("thickness = 8.0", "thickness = 6.5")
    dots = '[dots]\ndiameter = 6.0\ndepth = 1.0\ncutters = ["slot"]\n[slots]'

    def told(text: str) -> str:
        with pytest.raises(JobError) as refused:
            clamping_of(load_job(job_file(text)))
        return str(refused.value)

    dotted = no_curve.replace("[slots]", dots, 1)
    assert told(dotted).endswith('add [surface] and under it finish = "..", the ball end that finishes, '
                                 "and make [board] thickness less; or write fill = \"none\" in [dots], and level what "
                                 "you fill by hand")
    by_hand = clamping_of(load_job(job_file(dotted.replace("depth = 1.0", 'depth = 1.0\nfill = "none"'))))
    assert [inlay.fill for inlay in by_hand.inlays] == ["none"], "what was advised is taken"


@pytest.mark.parametrize("depth", ["4.7", "5.5", "6.4", "20.0"])
@pytest.mark.parametrize("old", ["depth = 1.6", "depth = 2.6"])
def test_a_refused_depth_names_one_that_works_at_the_first_try(old, depth, tmp_path):
    (tmp_path / "fern-and-moth.svg").write_bytes(EXAMPLE.with_suffix(".svg").read_bytes())
    path, text = tmp_path / "job.toml", re.sub(r"flute_length = .*", "", EXAMPLE.read_text())
    path.write_text(text.replace(old, f"depth = {depth}", 1))
    with pytest.raises(JobError, match=r"make depth ([0-9.]+) mm or less") as refused:
        clamping_of(load_job(path))
    named = re.search(r"make depth ([0-9.]+) mm or less", str(refused.value))[1]
    path.write_text(text.replace(old, f"depth = {named}", 1))
    assert clamping_of(load_job(path)).steps
    path.write_text(text.replace(old, f"depth = {float(named) + 0.02:.2f}", 1))
    with pytest.raises(JobError, match="make depth"):
        clamping_of(load_job(path))


@pytest.mark.parametrize(("order", "words"), [
    (["surface", "slots", "inlays", "outline"], "slots before the last fill"),
    (["inlays", "surface", "slots", "outline"], "surface first"),
    (["surface", "inlays", "outline", "slots"], "outline last"),
    (["surface", "inlays", "slots"], "each of"),
])
def test_orders_that_would_spoil_the_board(order, words, tmp_path):
    (tmp_path / "fern-and-moth.svg").write_bytes(EXAMPLE.with_suffix(".svg").read_bytes())
    path = tmp_path / "job.toml"
    path.write_text(f"order = {order}\n" + EXAMPLE.read_text())
    with pytest.raises(JobError, match=words):
        load_job(path)


def test_a_curve_that_leaves_too_little_hides_no_cutter_too_short_for_the_blank(tmp_path):
    """The flute was told once the board was thicker; and nobody said that the slots ask for most of the thickness."""
    (tmp_path / "fern-and-moth.svg").write_bytes(EXAMPLE.with_suffix(".svg").read_bytes())
    path, text = tmp_path / "job.toml", EXAMPLE.read_text()
    thick, long = re.search(r"^thickness = 6.5.*$", text, re.M)[0], re.findall(r"flute_length = [\d.]+", text)
    for flute in set(long):
        text = text.replace(flute, "flute_length = 3.0")
    path.write_text(text.replace(thick, "thickness = 2.6", 1))
    with pytest.raises(JobError) as refused:
        load_job(path)
    board, cutter = refused.value.lines
    assert re.search(r"make thickness [\d.]+ mm or more, to leave as much under the slots, [\d.]+ mm deep", board)
    assert cutter.startswith("[outline] cutter: the flute of")


def test_each_wrong_place_in_the_order_is_told_at_once(tmp_path):
    (tmp_path / "fern-and-moth.svg").write_bytes(EXAMPLE.with_suffix(".svg").read_bytes())
    path = tmp_path / "job.toml"
    path.write_text('order = ["outline", "slots", "surface", "inlays"]\n' + EXAMPLE.read_text())
    with pytest.raises(JobError) as refused:
        load_job(path)
    assert [re.search(r"allowed: (.*?)\)", line)[1] for line in refused.value.lines] == [
        "slots after the inlays", "surface first", "outline last"]


@pytest.mark.parametrize(("content", "words"), [
    (None, "cannot be read"), (b"\xff\xfe\x00", "not UTF-8"), (b"", "is missing"),
    (b"a = " + b"[" * 3000, "nested too deep"), (b"a = [[", "not TOML"), (b"x" * 1_000_001, "is it a job file"),
])
def test_files_that_are_no_job(content, words, tmp_path):
    path = tmp_path / "job.toml"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(JobError, match=words):
        load_job(path)
    with pytest.raises(JobError, match="folder"):
        load_job(tmp_path)


def test_every_key_has_words_and_a_default():
    rows = [(row.table, row.key, row.default, row.meaning) for row in key_rows()]
    assert len(rows) > 50
    assert all(words and default for _, _, default, words in rows)
    assert ("[slots]", "ends", "\"through\"") in [row[:3] for row in rows]
    assert any(row[:3] == ("[slots]", "depth", "required") and "straight down" in row[3] for row in rows)


def test_entries_of_a_list_are_counted_from_1(tmp_path):
    text = EXAMPLE.read_text().replace("height = 20.0", "height = -20.0", 1)
    (tmp_path / "job.toml").write_text(text)
    with pytest.raises(JobError, match=r"keep_out 1 height"):
        load_job(tmp_path / "job.toml")


@pytest.mark.parametrize(("given", "mm"), [(0.3 / 25.4, 0.3), (0.0118, 0.0118 * 25.4), (0.01183, 0.3), (0.0, 0.0)])
def test_a_limit_may_be_given_as_it_is_shown_in_the_jobs_units(given, mm):
    assert size(0.0, 0.3)(given, Place("[outline] finish", "in")) == pytest.approx(mm, abs=1e-12)


@pytest.mark.parametrize("given", [
    5, True, ["#2f6f4f"], "2f6f4f", "#2f6f4", "#2f6f4x", "#2f6f4f00", "rde", "currentColor", "transparent", "var(--a)",
])
def test_what_is_no_colour_is_refused(given):
    with pytest.raises(JobError, match="a colour like"):
        colour(given, Place("[[inlay]] colours", "mm"))


@pytest.mark.parametrize(("given", "taken"), [
    ("#2F6", "#22ff66"), ("red", "#ff0000"), ("GREEN", "#008000"), ("rgb(255, 0, 0)", "#ff0000"),
    ("hsl(0 100% 50%)", "#ff0000"), (" #2f6f4f ", "#2f6f4f"),
])
def test_colours_are_taken_as_drawings_write_them(given, taken):
    """P, CSS Color 4: green is #008000."""
    assert colour(given, Place("[[inlay]] colours", "mm")) == taken


@pytest.mark.parametrize("given", [0.0119, -0.00001])
def test_beyond_the_shown_digits_a_limit_holds(given):
    with pytest.raises(JobError, match=r"allowed: 0 in to 0\.0118 in"):
        size(0.0, 0.3)(given, Place("[outline] finish", "in"))


def test_nothing_is_no_length_where_the_least_is_small():
    with pytest.raises(JobError):
        size(0.0001, 0.5)(0, Place("[machine] resolution", "in"))


@pytest.mark.parametrize(("written", "shown"), [
    ("title = 2026-11-27", "2026-11-27 given"), ("title = [true, 3]", "[true, 3] given"),
    ('title = { a = "b" }', '{ a = "b" } given'),
])
def test_a_value_is_shown_as_the_file_has_it(tmp_path, written, shown):
    path = tmp_path / "job.toml"
    path.write_text(f"{written}\n{SMALL}")
    with pytest.raises(JobError, match=re.escape(shown)):
        load_job(path)


@pytest.mark.parametrize("extra", ["bevel = 0.2\n", 'bevel_cutter = "v"\n' + small_board.cutter(
    name="v", shape="v", angle=60, diameter=6, speed=16000, feed=400, plunge=100, stepdown=1)])
def test_a_bevel_and_its_cutter_go_together(tmp_path, extra):
    with pytest.raises(JobError, match=r"\[slots\].*: bevel and bevel_cutter go together"):
        clamping_of(load_job(small_board.job(tmp_path, extra=small_board.SLOTS + extra)))


@pytest.mark.parametrize(("length", "width", "margin", "words"), [
    (204.0, 70.0, 3.0, "length 205 mm or more with a margin_nut of 5 mm"),
    (204.0, 70.0, 8.0, "length 208 mm or more with a margin_nut of 8 mm"),
    (210.08, 70.0, 3.0, "margin_nut from 5 mm to 10 mm"),
    (210.08, 70.0, 10.5, "length 210.5 mm or more, or margin_nut from 5 mm to 10 mm"),
    (230.0, 63.9, 8.0, "width 64 mm or more"), (230.0, 64.0, 8.0, ""),
    (204.0, 60.0, 3.0, "width 64 mm or more, and length 205 mm or more with a margin_nut of 5 mm"),
])
def test_how_much_larger_a_blank_must_be(length, width, margin, words):
    """For a part from 5 mm before X 0 to 200, and 30 to one side, 32 to the other."""
    job = SimpleNamespace(stock=SimpleNamespace(length=length, width=width, margin_nut=margin),
                          units="mm", outline=None)
    part = SimpleNamespace(outline=shapely.box(-5.0, -30.0, 200.0, 32.0))
    assert larger_blank(job, part) == f"make [stock] {words}"


@pytest.mark.parametrize(("length", "width", "margin", "words"), [
    (230.0, 60.0, 10.0, "width 74 mm or more (with 5 mm on each side"),
    (204.0, 80.0, 8.0, "length 215 mm or more with a margin_nut of 10 mm (with 5 mm at each end"),
    (212.0, 80.0, 3.0, "length 215 mm or more with a margin_nut of 10 mm (with 5 mm at each end"),
    (230.08, 80.0, 31.0, "length 236 mm or more, or margin_nut from 10 mm to 25 mm (with 5 mm at each end"),
    (217.0, 60.0, 10.0, "width 74 mm or more (with 5 mm on each side"),
    (215.08, 80.0, 3.0, "margin_nut 10 mm (with 5 mm at each end"),
])
def test_what_the_outline_needs_beside_the_part_is_said_of_a_larger_blank(length, width, margin, words):
    """64 mm by 205, and beyond each edge the cutter of 3 mm and 2 mm that hold its tabs."""
    job = SimpleNamespace(stock=SimpleNamespace(length=length, width=width, margin_nut=margin), units="mm",
                          outline=SimpleNamespace(tabs=4, skin=0.0, cutter="flat"),
                          cutter=lambda name, where: SimpleNamespace(diameter=3.0))
    part = SimpleNamespace(outline=shapely.box(-5.0, -30.0, 200.0, 32.0))
    assert larger_blank(job, part) == \
        f"make [stock] {words} for the outline's cutter and tabs)"


@pytest.mark.parametrize(("by", "side"), [((-1.5, 0, 0, 0), "before the nut"), ((0, -1.5, 0, 0), "on the {} side"),
                                          ((0, 0, 1.5, 0), "past the end"), ((0, 0, 0, 1.5), "on the {1} side")])
@pytest.mark.parametrize("sides", [("bass", "treble"), ("treble", "bass")], ids=["right-handed", "left-handed"])
def test_where_a_part_hangs_over_its_blank(by, side, sides):
    blank = (0.0, -30.0, 200.0, 30.0)
    part = SimpleNamespace(outline=shapely.box(*np.add(blank, by)),
                           names=Names(part="board", start="the nut", far="end", sides=sides))
    assert _overhang(part, shapely.box(*blank)) == f"1.50 mm out {side.format(*sides)}"


@pytest.mark.parametrize(("radius", "edge", "words"), [
    (45.5, 1.01, ""), (45.3, 1.0, ""), (31.9, 5.0, r"31\.9 mm is less than half the width, 32 mm, "),
    (45.2, 5.0, r"45\.2 mm goes down at 45\.1 degrees .*: 45 degrees across .*make the radius there 45\.26 mm or more"),
    (90.0, 0.99, r"leaves 0\.99 mm at the edges .*min_web 1 mm or more\): make thickness 6\.51 mm"),
    (90.0, -0.5, r"falls 0\.50 mm below the underside .*: make thickness 8\.00 mm"),
])
def test_a_radius_is_no_less_than_half_the_width_and_leaves_wood_at_the_edges(monkeypatch, radius, edge, words):
    """A board 6.5 mm thick, 32 mm wide on one side; at least 1 mm is to be left."""
    surface = SimpleNamespace(radius=lambda x: np.full_like(x, radius), height=lambda x, y: np.full_like(x, edge),
                              thickness=6.5, taper=0.0)
    board = SimpleNamespace(finished=shapely.box(0.0, -30.0, 200.0, 32.0), surface=surface, min_web=1.0)
    monkeypatch.setattr("pathgen.job.surface._least_radius", lambda *_: "")
    if not words:
        check_radius(SimpleNamespace(units="mm", slots=None, surface=None), board)
        return
    with pytest.raises(JobError, match=words):
        check_radius(SimpleNamespace(units="mm", slots=None, surface=None), board)


@pytest.mark.parametrize(("radius", "words"), [
    ("{ nut = 299.0, end = 99.0 }", "299 mm at the nut and 99 mm at the end: the edges go 1 in 4 along the board, at"),
    ("{ nut = 99.0, end = 160.0 }", "the edges go 1 in 10 along the board 12.7 mm past its ends, where cutters run on"),
    ("{ nut = 90.0, bridge = 100000.0 }", "the edges go 1 in 0."),
    ('{ nut = 30.0, follow = "strings" }', "the edges go 1 in "),
    ("26.0", r"goes down at 74.1 degrees to an edge 25 mm from the centre-line"),
])
def test_a_radius_steeper_than_any_is_told_with_one_that_is_allowed(tmp_path, radius, words):
    """Edges that went up or down along the board by 1 in 5 came out 0.04 mm too high at its ends, and slots across
    edges of 53 degrees too deep: refused by their own check."""
    def read(radius: str) -> None:
        load_job(small_board.job(tmp_path, changes={
            "radius = { nut = 254.0, end = 300.0 }": f"radius = {radius}", "frets = 5": "frets = 1",
            "thickness = 6.5": "thickness = 16.5", "thickness = 8.0": "thickness = 18.0",
            "end_width = 46.0": "end_width = 50.0"}))

    with pytest.raises(JobError, match=words) as refused:
        read(radius)
    key, value = re.search(r"make (?:the )?(\w+) ([\d.]+) mm or (?:less|more)", str(refused.value)).groups()
    read(value if key == "radius" else re.sub(rf"{key} = [\d.]+", f"{key} = {value}", radius))


@pytest.mark.parametrize("stepover", [0.01, 12.5, 18.0])
def test_passes_so_near_or_far_that_their_ridges_could_not_be_asked_for_are_told_what_is_allowed(tmp_path, stepover):
    """12.5 mm with a ball of 12.7 was told "less than the ball's diameter"; 0.01 mm of a scallop that nobody wrote."""
    def read(stepover: float) -> None:
        planned_of(job := load_job(small_board.job(tmp_path, changes={"scallop = 0.05": f"stepover = {stepover}"})),
                   clamping_of(job))

    with pytest.raises(JobError, match=r"\[surface\] stepover: .* leaves ridges of (less|more) than") as refused:
        read(stepover)
    low, high = re.search(r"allowed: ([\d.]+) to ([\d.]+) mm", str(refused.value)).groups()
    read(float(low) if stepover < 1 else float(high))


@pytest.mark.parametrize(("changes", "words"), [
    ({"scallop = 0.05": "scallop = 0.05\nleave = 0.0001"},
     r"\[surface\] leave_scallop: ridges of 5e-05 mm .*left out it is half of leave"),
    ({"scallop = 0.05": "scallop = 0.6", "diameter = 12.7": "diameter = 1.2"},
     r"\[surface\] scallop: ridges of 0.6 mm with a 1.2 mm ball end .allowed: 0.0005 to 0.54"),
])
def test_ridges_that_could_not_be_asked_for_are_told_by_the_key_that_asks_for_them(tmp_path, changes, words):
    """Half of a tiny leave was told of as a scallop that nobody wrote."""
    with pytest.raises(JobError, match=words):
        planned_of(job := load_job(small_board.job(tmp_path, changes=changes)), clamping_of(job))


@pytest.mark.parametrize(("changes", "words"), [
    ({"overfill = 0.7": "overfill = 2.0", "[resin]": "[resurface]\nstepdown = 0.02\n[resin]"},
     r"\[resurface\] stepdown: 0.02 mm: 125 layers of 0.016 mm, as ridges count in it, through a fill"),
    ({"stepdown = 3.0": "stepdown = 0.02"}, r'\[\[cutter\]\] "ball" stepdown: 0.02 mm: .* layers .*what stands over'),
])
def test_layers_of_the_whole_surface_are_no_more_than_can_be_simulated(tmp_path, changes, words):
    """A second cut of 125 layers was refused by our own check, which gave it up."""
    with pytest.raises(JobError, match=words) as refused:
        load_job(small_board.job(tmp_path, changes=changes))
    least = re.search(r"make it ([\d.]+) mm or more", str(refused.value))[1]
    load_job(small_board.job(tmp_path, changes={
        old: new.replace("stepdown = 0.02", f"stepdown = {least}") for old, new in changes.items()}))


@pytest.mark.parametrize(("levels", "fits"), [(MOST_NESTED - 1, True), (MOST_NESTED, False)])
def test_how_deep_lists_may_be_nested(levels, fits):
    data = {"a": 1}
    for _ in range(levels):
        data = {"a": [data["a"]]}
    if fits:
        _refuse_odd(data, Path("job.toml"))
        return
    with pytest.raises(JobError, match="nested too deep"):
        _refuse_odd(data, Path("job.toml"))


def test_a_compound_radius_written_as_a_list_is_told_how_it_is_written(tmp_path):
    path = small_board.job(tmp_path, changes={"radius = { nut = 254.0, end = 300.0 }": "radius = [254.0, 300.0]"})
    with pytest.raises(JobError, match=r"write \{ nut = 254\.0, end = 300\.0 \}"):
        load_job(path)


def test_a_v_does_not_rough(tmp_path):
    """Its furrows stand as high as a layer is deep: programs that rough with one are refused by their own check."""
    vee = small_board.cutter(name="vee", shape="v", angle=60.0, diameter=6.0, speed=16000, feed=900.0, plunge=300.0,
                             stepdown=1.0)
    with pytest.raises(JobError, match=r"\[surface\] rough: .*a v cutter"):
        load_job(small_board.job(tmp_path, changes={'finish = "ball"': 'finish = "ball"\nrough = "vee"'}, extra=vee))


def test_a_cutter_too_thin_or_thick_for_holes_is_told_with_their_table(tmp_path):
    holes = '[holes]\ncutter = "flat"\nat = [[-10.0, 20.0]]\ndiameter = 5.0\n'
    with pytest.raises(CutterError, match=r"^\[holes\] cutter 'flat': 2 mm for holes of 5 mm"):
        build(load_job(small_board.job(tmp_path, extra=holes)), resolution=0.5)


def test_a_cutter_wider_than_the_nuts_slot_is_told_with_its_table(tmp_path):
    """Told of slots alone, a maker changed [slots] width; before a drawing is read, so that `show` tells it too."""
    nut = '[nut]\ncutter = "flat"\nwidth = 1.0\ndepth = 1.0\n'
    path = small_board.job(tmp_path, changes={"frets = 5": "frets = 5\nbehind_nut = 5.0"}, extra=nut)
    with pytest.raises(JobError, match=r'^\[nut\] cutter: "flat" is 2 mm, wider than the nut\'s slot \(allowed: 1 mm'):
        load_job(path)


NUT = '[nut]\ndepth = 1\n{}cutter = "{}"\n'


@pytest.mark.parametrize(("slots", "extra", "said"), [
    ('cutter = "ball"', NUT.format("", "slot"),
     r'^\[slots\] cutter: "ball" is a ball-end cutter \(allowed: a flat-end cutter\): name "slot", if it fits$'),
    ('cutter = "flat"', NUT.format("", "slot"), r'^\[slots\] cutter: "flat" is 8 mm, and without width the slots'),
    ('cutter = "slot"\nbevel = 0.2\nbevel_cutter = "flat"', "", r"^\[slots\] bevel_cutter: .* a \[\[cutter\]\] of"),
    ('cutter = "slot"', NUT.format("", "ball"), r'^\[nut\] cutter: "ball" is a ball-end cutter'),
    ('cutter = "slot"', '[outline]\ncutter = "ball"\n', r'^\[outline\] cutter: .*: name "slot" or "flat", if it'),
    ('cutter = "slot"', '[block]\ncutter = "flat"\n', r'^\[block\] cutter: .* a ball-end cutter\): name "ball"'),
    ('cutter = "slot"', '[block]\ncutter = "ball"\noutline = "ball"\n', r'^\[block\] outline: .* a flat-end cutter\)'),
    ('cutter = "slot"', NUT.format("behind = 0.5\n", "slot"), r"1\.29 mm or more.*: make it more, or leave it out"),
    ('cutter = "slot"\nwidth = 6', NUT.format("", "slot"), r"\[nut\] behind.*4\.00 mm or more.*: make it more$"),
])
def test_a_cutter_of_another_shape_or_size_is_told_before_what_follows_from_it(job_file, slots, extra, said):
    """On a board with a zero fret, whose nut stands clear of the slot, as it cannot of one as wide as the cutter."""
    more = "".join(small_board.cutter(name=name, shape=f"{name}-end", diameter=8, speed=18000, feed=400, plunge=100,
                                      stepdown=0.4) for name in ("ball", "flat"))
    text = SMALL.replace("frets = 20", "frets = 20\nzero_fret = true\nbehind_nut = 9").replace('cutter = "slot"', slots)
    with pytest.raises(JobError, match=said):
        load_job(job_file(text + extra + more))


def test_a_wall_or_lap_with_nothing_beside_it_is_doubted(tmp_path):
    """In stages of one colour each nothing said that wall leaves no wood between them."""
    one = 'colours = ["#225577"]\n'
    for key, told in ((one + "wall = 0.5", ["inlay 1 wall"]), ("wall = 0.5", []), ("lap = 0.3", ["inlay 1 lap"])):
        job = load_job(small_board.job(tmp_path, changes={"depth = 1.5": f"depth = 1.5\n{key}"}))
        found = [one.where for one in doubts_of(job, clamping_of(job)) if one.where.startswith("inlay")]
        assert found == told


@pytest.mark.parametrize(("count", "told"), [(3, 3), (4, 1)])
def test_many_colours_that_look_alike_are_told_in_one(tmp_path, count, told):
    """Of an icon in shades of green 1,589 pairs were told, a line each. Of 4 shades here 5 pairs look alike."""
    art = small_board.svg("".join(f'<path d="M{9 * k} 1h6v6h-6z" fill="#2255{0x70 + k:x}"/>' for k in range(count)))
    job = load_job(small_board.job(tmp_path, art=art))
    found = [one.problem for one in doubts_of(job, clamping_of(job)) if "look alike" in one.problem]
    assert len(found) == told
    assert ("so do 4 more pairs of colours" in found[0]) is (told == 1)


def test_every_cutter_that_a_table_names_is_held_to_the_machine(job_file):
    """That which cuts a block free and a gauge's engraver were not."""
    more = "".join(small_board.cutter(name=name, shape=f"{name}-end", diameter=8, speed=18000, feed=400, plunge=100,
                                      stepdown=0.4) for name in ("ball", "flat"))
    vee = small_board.cutter(name="vee", shape="v", angle=60.0, diameter=6.0, speed=16000, feed=400, plunge=100,
                             stepdown=1)
    tables = '[block]\ncutter = "ball"\noutline = "flat"\n[gauges]\ncutter = "slot"\nengraver = "vee"\n'
    with pytest.raises(JobError, match="above the rapids") as caught:
        load_job(job_file(SMALL + tables + "[machine]\nrapid = 395\n" + more + vee))
    assert (caught.value.where, caught.value.others) == ("[machine] rapid", ())  # one slip, one answer
    assert all(f'"{name}" 400' in caught.value.problem for name in ("slot", "ball", "flat", "vee"))
    assert caught.value.remedy.startswith("if mm per second are meant, write rapid = 23700; else correct rapid, or")
    with pytest.raises(JobError) as caught:
        load_job(job_file(SMALL + tables + "[machine]\nspindle = [100, 400]\n" + more + vee))
    assert (caught.value.where, caught.value.others) == ("[machine] spindle", ())
    assert caught.value.remedy.startswith("if turns per second (Hz) are meant, write spindle = [6000, 24000]; else")


@pytest.mark.parametrize(("old", "new", "said"), [
    ("[slots]", '[dots]\ndiameter = 6\ndepth = 2\ncutter = "slot"\n[slots]',
     r'\[dots\]: unknown key "cutter": did you mean cutters\?$'),
    ("[slots]", '[dots]\ndiameter = 6\ndepth = 2\ncutters = ["slit"]\n[slots]',
     r'^\[dots\] cutters: no \[\[cutter\]\] is called "slit"'),
    ("[slots]", "[[inlay]]\nwidth = 10\n[slots]", r"width belongs in \[\[inlay\]\] place$"),
    ("[slots]", "[slots.main]", r'\[slots\]: unknown table "main" in it: write its keys, cutter, depth, in \[slo'),
    ("\n[board]", "frets = 19\n[board]", r"frets = 19 stands outside that table: frets belongs in \[board\]: "),
    ("radius =", "relief = 0.15\nradius =", r"\[board\] relief: 0\.15 given \(.*\): write \{ depth = 0\.15 \}$"),
    ("[slots]", '[fingerboard]\nwood = "ebony"\n[slots]', r"^\[fingerboard\]: unknown table: \[board\] is there"),
    ("[slots]", "[dots]\ndiameter = 5\n[slot]", "did you mean slots"),
    ("depth = 2.6", "depth = -2.6", r"0\.1 mm to 20 mm\): sizes and depths are written without a sign: 2\.6$"),
    ("length = 480.0\nwidth = 72.0", "length = 72.0\nwidth = 480.0", r"^\[stock\]: length 72 mm and .*: swapped\?"),
])
def test_simple_mistakes_are_answered_with_what_to_write(job_file, old, new, said):
    assert old in SMALL
    with pytest.raises(JobError, match=said) as wrong:
        load_job(job_file(SMALL.replace(old, new, 1)))
    assert "[slots.main]" not in new or not wrong.value.others  # nor that its keys are missing


@pytest.mark.parametrize(("board", "strings", "count"), [
    ("", "", 6), ("", "[strings]\ngauges = [0.9, 0.8, 0.7, 0.6]\n", 4), ("strings = 5\n", "", 5)])
def test_a_board_has_as_many_strings_as_gauges_where_it_does_not_say(job_file, board, strings, count):
    job = load_job(job_file(SMALL.replace("radius = ", f"{board}radius = ", 1) + strings))
    assert (job.board.strings, board_of(job).fittings.strings) == (count, count)


def test_a_name_that_no_job_may_have_is_said_as_it_was_typed(capsys):
    assert main(["new", "Jo's \"1\""]) == 2
    assert capsys.readouterr().err.startswith("pathgen: 'Jo's \"1\"': cannot be a job's name")


def test_a_skin_as_thick_as_the_edge_is_refused(tmp_path):
    """Nothing is left to cut: a random board of 4.5 mm with a skin of 5 mm ended in a fault of the geometry."""
    path = small_board.job(tmp_path, changes={"thickness = 6.5": "thickness = 4.9"},
                           extra='[outline]\ncutter = "flat"\nskin = 5.0\n')
    with pytest.raises(JobError, match=r"skin: 5 mm reaches the top of the edge \(allowed: 3\.97 mm or less"):
        clamping_of(load_job(path))


@pytest.mark.parametrize(("flute", "words"), [(7.6, r"7\.70 mm or more: the blank without the skin of 0\.3 mm"),
                                              (7.7, "")])
def test_under_a_skin_the_outlines_cutter_need_not_reach(tmp_path, flute, words):
    """A blank of 8 mm, of which 0.3 are left."""
    outline = f'[outline]\ncutter = "flat"\nskin = 0.3\n[slots]\n{small_board.SLOTS.split("[slots]")[1]}'
    path = small_board.job(tmp_path, changes={"diameter = 2.0": f"diameter = 2.0\nflute_length = {flute}"},
                           extra=small_board.SLOT_CUTTER + outline)
    if words:
        with pytest.raises(JobError, match=words):
            clamping_of(load_job(path))
    else:
        assert planned_of(load_job(path))


def test_every_key_that_asks_for_one_shape_of_cutter_is_held_to_it():
    """A ball end for [plate] openings was let through, and its floor then refused by our own check."""
    asked = {f"{row.table} {row.key}".replace("[[inlay]]", "inlay"): said[1] for row in key_rows()
             if (said := re.match("a (flat-end|ball-end|v) cutter", row.meaning))}
    assert len(asked) > 15
    assert asked == _SHAPES
