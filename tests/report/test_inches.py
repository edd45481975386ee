"""A job in inches is told in inches: no metric length, area or height of a ridge on its pages, papers, in its programs,
on the terminal or in what is refused."""

import re
from pathlib import Path

import pytest

from pathgen.app.cli import main
from pathgen.base.units import area_words, tiny_length, way_length
from pathgen.report.filltext import measuring_lines

INCHES = Path(__file__).parents[2] / "examples" / "boards" / "inches.toml"
LEAF = """<svg xmlns="http://www.w3.org/2000/svg" width="1.2in" height="0.8in" viewBox="0 0 120 80">
  <path fill="#2f6f4f" d="M5 40 C30 5 90 5 115 40 C90 75 30 75 5 40Z"/>
</svg>"""
MORE = """
[[cutter]]
name = "flat 1/8"
shape = "flat-end"
diameter = "1/8 in"
speed = 10000
feed = 40.0
plunge = 10.0
stepdown = 0.03
[[inlay]]
artwork = "leaf.svg"
depth = 0.06
cutters = ["flat 1/8"]
place = { at = [9.0, 0.0] }
[resurface]
area = "inlay"
[marks]
cutter = "flat 1/8"
depth = 0.02
[resin]
pour_depth = 0.02
mix = { resin = 2, hardener = 1 }
[block]
cutter = "ball 1/2"
frets = [12, 15]
[gauges]
cutter = "flat 1/8"
[side_dots]
cutter = "flat 1/8"
[frets]
overhang = 0.08
[strings]
gauges = [0.046, 0.036, 0.026, 0.017, 0.013, 0.010]
[neck]
kind = "steel"
angle = 1.5
joint_fret = 14
fret_height = 0.045
action_12 = 0.08
"""
"""What the example leaves out: a fill, tools of the bench, papers."""


@pytest.fixture
def job(tmp_path, monkeypatch):
    """A copy of the board in inches with more in it, in the folder where the test runs."""
    monkeypatch.chdir(tmp_path)
    Path("leaf.svg").write_text(LEAF)
    path = Path("job.toml")
    path.write_text(INCHES.read_text() + MORE)
    return path


def metric(words):
    """What is told in metric units: a number and its unit."""
    read = re.sub(r"<style>.*?</style>|<[^>]*>", " ", words, flags=re.S)
    assert re.search(r"\d (?:in|ft|sq)\b|\(in\)", read)
    return re.findall(r"[^\n]{0,40}\d (?:mm|mm2|mm3|um|µm|m|cm|cm2)\b[^\n]{0,20}", read)


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("command", ["build", "coupon", "block", "gauges", "side-dots"])
def test_no_metric_words_in_what_is_written_to_cut(job, command, capsys):
    assert main([command, str(job), "--out", "out", "--resolution", "0.6"]) == 0
    said = capsys.readouterr().out
    files = {p.name: p.read_text() for p in Path("out").iterdir() if p.suffix in (".txt", ".html", ".nc")}
    assert any(name.endswith(".nc") for name in files)
    for name, words in {"the terminal": said, **files}.items():
        assert not metric(words), name


@pytest.mark.in_every_run(3)
@pytest.mark.parametrize("command", ["frets", "compare", "strings", "fretting", "neck", "show"])
def test_no_metric_words_in_what_is_printed(job, command, capsys):
    assert main([command, str(job)]) == 0
    assert not metric(capsys.readouterr().out)


@pytest.mark.in_every_run(3)
@pytest.mark.parametrize(("old", "new"), [
    ("scallop = 0.0008", "scallop = 0.3"), ("depth = 0.06", "depth = 0.4"), ("at = [9.0, 0.0]", "at = [9.0, 1.2]"),
    ("length = 20.0", "length = 17.0"), ("flute_length = 0.13", "flute_length = 0.05"),
    ("tab_height = 0.06", "tab_height = 9"),
    ('zero = "blank-nut-bass"', "keep_out = [{ along = [-0.9, -0.1], across = [-1.5, 1.5], height = 0.8 }]"),
    ("clearance = 0.4", "clearance = 0.4\ntravel = [12, 12, 3]"), ("thickness = \"5/16 in\"", "thickness = 0.2"),
    ("depth = 0.02", "depth = 0.04"), ("through = 0.01", "through = 0.01\nfinish = 0.5"),
    ("feed = 16.0", "feed = 260.0"),
])
def test_no_metric_words_in_what_is_refused(job, old, new, capsys):
    text = job.read_text()
    assert old in text
    job.write_text(text.replace(old, new, 1))
    assert main(["build", str(job), "--out", "out", "--resolution", "0.6"]) == 2
    said = capsys.readouterr().err
    assert not metric(re.sub(r'if mm are meant, write "[^"]*"', "", said))


def test_the_same_lengths():
    # an inch is 25.4 mm, exact (international yard and pound agreement, 1959)
    assert (tiny_length(0.0254, "in"), tiny_length(0.0254)) == ("0.00100 in", "25.4 um")
    assert [tiny_length(one, "in", signed=True) for one in (0.0254, -0.0254, -1e-9, 1e-9)] == [
        "+0.00100 in", "-0.00100 in", "0.00000 in", "0.00000 in"]
    assert (area_words(645.16, "in"), area_words(6.0)) == ("1 sq in", "6.00 mm2")
    assert (way_length(304.8, "in"), way_length(1200.0)) == ("1.0 ft", "1.2 m")
    assert (way_length(25.4, "in"), way_length(8.0)) == ("1 in", "8 mm"), "drilling is no way of 0.0 m"


@pytest.mark.in_every_run(0)
def test_what_is_made_in_rows_and_steps_is_in_round_inches(job, capsys):
    for command in ("build", "coupon", "frets"):
        written = ["--out", command, "--resolution", "0.6"] if command != "frets" else []
        assert main([command, str(job), *written]) == 0
    said = capsys.readouterr().out
    assert re.search(r"fret +from nut, in +in, about +mm ", said)
    page = Path("build/setup.html").read_text()
    assert page.index("From nut, in<") < page.index("From nut, mm<")
    assert re.findall(r"([\d.]+ in) from the nut face", page) == ["0 in", "6 in", "12 in"]
    assert "The shelf for the nut is 0.1875 in wide" in page
    trials = Path("coupon/coupon.html").read_text()
    assert re.findall(r"([\d.]+ in wide, [\d.]+ in deep)", trials)[-3:] == [
        "0.023 in wide, 0.08 in deep", "0.025 in wide, 0.072 in deep", "0.027 in wide, 0.088 in deep"]


def test_how_well_to_measure_is_said_in_the_jobs_units():
    marks = {"machine": [(25.4, 50.8)], "machine_top": 12.7, "now": None}
    words, *block = measuring_lines(marks, "in")
    assert "To 0.002 in: measure" in words
    assert "millimetre" not in words
    assert block == ["# [marks]", "drilled = [[1.0000, 2.0000, 0.5000]]", "",
                     "[[measured]]", "found = [1.0000, 2.0000, 0.5000]  # mark 1"]
    assert "To a few hundredths of a millimetre: measure" in measuring_lines(marks, "mm")[0]


def test_marks_are_measured_from_where_z_0_is():
    for top, where in ((12.7, "on the bed, as"), (0.0, "by the Z noted on the bed, as")):
        words, *_ = measuring_lines({"machine": [(25.4, 50.8)], "machine_top": top, "now": None}, "mm")
        assert f"set Z 0 for that cutter {where} for any other" in words
