"""Common slips of the file's syntax are answered with the line and a plain remedy."""

import re
from contextlib import nullcontext

import pytest

from pathgen import JobError, load_job
from pathgen.app.starting import JOB
from pathgen.job.clamping import clamping_of
from pathgen.job.doubts import doubts_of
from pathgen.parts.keys import Place, size
from tests import small_board

SLIPS = {
    "nut_width = 5,5": "decimal point",
    "nut_width = 5,5  # as measured": "decimal point",
    'slots = { cutter = "saw", depth = 2,5 }': "decimal point",
    'slots = { depth = 2,5, cutter = "saw" }': "decimal point",
    "nut_width = 1/4": "quotes round a fraction",
    "nut_width = 1 11/16": "quotes round a fraction",
    "nut_width = 43 mm": "quotes round a length",
    'nut_width = 1.7"': "quotes round a length",
    "at = [5 mm, 3]": "quotes round a length",
    "title = “Fern”": "straight quotes",
    'title = "Fern': "end the text",
    "nut_width = .5": "before the decimal point",
    "nut_width = 5.": "after the decimal point",
    "nut_width = 06": "without 0 before",
    "left_handed = True": "true or false",
    "left_handed = yes": "true or false",
    "wood_colour = #3b2a20": "quotes round a colour",
    'artwork = "C:\\art\\fern.svg"': "write /",
    "// the board": "comment with #",
    "nut_width = 43 // edge to edge": "comment with #",
    "nut_width: 43": "write = between",
    "nut_width 43": "write = between",
    "nut_width == 43": "one =",
    "nut_width = 43;": "take away",
    "nut_width = 43,": "take away",
    "nut_width = 43.0.5": "one decimal point",
    "nut_width = \u221243": "the sign on every keyboard",
    "nut_width = 1 500": "without spaces",
    "nut_width = 5OO": "digits alone",
    'slots = { cutter = "saw", depth = 2.4x }': "digits alone",
    'cutter = [{ name = "saw", speed = 18 000, feed = 400 }]': "without spaces",
    "nut_width = 43 wide": "comment with #",
    "nut_width = none": "leave the key out",
    "nut_width = 43 end_width = 56": "a line of its own",
    "[stock]]": "as many brackets",
    "[stock] length = 500": "a line of its own",
    "stock]": "in brackets",
    "stock:": "in brackets",
    "(stock)": "in brackets",
    'title = "the "best" board"': "a quote within",
    "radius = (254, 406)": "write [ ] round a list",
    "radius = { nut = 254 end = 406 }": "a comma between the keys",
    "radius = { nut = 254, end = 406": "close what is opened",
    "radius = { nut 254, end = 406 }": "write = between",
    "radius = { nut: 254, end = 406 }": "write = between",
    "place = { at = 310, 0 }": "write a list in",
    "place = { at = [310 0] }": "a comma between the values",
    "place = { at = [310; 0] }": "a comma between the values",
    "place = { at = [310, 0 }": "close what is opened",
    "place = { at = { 310, 0] }": "write [ ] round a list",
    "fill = resin": "quotes round words",
    "tabs = four": "a number in digits",
    "place = { at = [310, 0], }": "the comma before }",
    "nut_width\u00a0= 43": "plain spaces",
    "nut_width =\u00a043": "plain spaces",
    "nut_width =": "a value after =",
    "nut_width": "key = value",
    "nut width = 43": "as one word",
    "[stock": "as many brackets",
    "[[cutter]": "as many brackets",
    "colours = [\"#112233\",": "close what is opened",
}


@pytest.mark.parametrize("line", SLIPS)
def test_the_line_and_what_to_do(tmp_path, line):
    path = tmp_path / "job.toml"
    path.write_text(f"# one\n[board]\nfrets = 20\n{line}\n")
    with pytest.raises(JobError) as refused:
        load_job(path)
    assert SLIPS[line] in refused.value.remedy
    assert refused.value.where == "job.toml, line 4"
    assert line[:20] in refused.value.problem


@pytest.mark.parametrize(("text", "what"), [
    ('<svg width="24mm"/>', r"is a drawing \(SVG\).*artwork = \"fern\.svg\" goes into"),
    ('\ufeff<?xml version="1.0"?>\n<!-- a -->\n<svg width="24mm"/>', r"is a drawing \(SVG\)"),
    ("<!doctype html><html><body><svg/></body></html>", "is a web page or other XML"),
])
def test_a_drawing_where_a_job_is_expected(tmp_path, text, what):
    (tmp_path / "fern.svg").write_text(text, encoding="utf-8")
    with pytest.raises(JobError, match=what) as wrong:
        load_job(tmp_path / "fern.svg")
    assert "not a job file (allowed: a file of numbers (TOML)" in str(wrong.value)


def test_written_twice(tmp_path):
    path = tmp_path / "job.toml"
    path.write_text("[board]\nfrets = 20\nfrets = 22\n")
    with pytest.raises(JobError, match=r"job\.toml, line 3: .*frets = 22: line 2 has it already: write it once"):
        load_job(path)


def test_a_list_left_open_and_a_comma_left_out_are_told_at_their_line(tmp_path):
    path = tmp_path / "job.toml"
    for text, line, words in (("cutter = [\n {name = 'a'},\nsurface = {finish = 'a'}\n", 1, "close what is opened"),
                              ("cutter = [\n {name = 'a'}\n {name = 'b'},\n]\n", 2, "put a comma")):
        path.write_text(text)
        with pytest.raises(JobError) as refused:
            load_job(path)
        assert refused.value.where == f"job.toml, line {line}"
        assert words in refused.value.remedy


def test_of_a_long_line_the_place_is_shown(tmp_path):
    path = tmp_path / "job.toml"
    path.write_text("inlay = [{ artwork = 'art.svg', colours = ['#112233', '#44556'], depth = 1.2, cutters = ['flat'], "
                    "place = { at = [310; 0] } }]\n")
    with pytest.raises(JobError, match=r"\.\.\..*at = \[310; 0\]"):
        load_job(path)


INLINE = """title = "a"
units = "mm"
slots = { cutter = "slot", depth = 2.5 }
setup = { keep_out = [] }
inlay = [{ artwork = "a.svg" }]
[board]
frets = 20
[stock]
length = 500
"""


@pytest.mark.parametrize(("more", "words"), [
    ("[[inlay]]", r"line 5 has it as inlay = \[ .. \]: write one more { .. } in that list, or all as \[\[inl"),
    ("[slots]", r"line 3 has it as slots = { .. }: write these keys there, or take that line away"),
    ("[ setup ]", "line 4 has it as setup = { .. }"), ("[board]", "line 6 has it already: put these keys under it"),
    ("[measured]\nat = 1\n[measured]\nat = 2", r"line 10 has it already: write \[\[measured\]\], one for each, there"),
    ("[[board]]", r"line 6 has it as \[board\]: write both the same way"),
    ("length = 400", "line 9 has it already: write it once"), ("[coupon]\nspare = 1\nspare = 1", "line 11 has it"),
])
def test_what_is_there_already_is_told_by_its_line(tmp_path, more, words):
    path = tmp_path / "a.toml"
    path.write_text(INLINE + more + "\n")
    with pytest.raises(JobError, match=words):
        load_job(path)


@pytest.mark.parametrize(("old", "new", "words"), [
    ("tabs = 4", 'tabs = "4"', "take the quotes away"), ('"ball-end"', '"ball end"', 'did you mean "ball-end"'),
    ("setup = {", 'setup = { zero = "nut-left",', 'did you mean "nut-centre" or "nut-bass" or "nut-treble"?'),
    ("setup = {", 'setup = { zero = "nut-trebel",', 'did you mean "nut-treble"?'),
    ("setup = {", 'setup = { zero = "nut",', 'did you mean "nut-centre" or "nut-bass" or "nut-treble"?'),
    ('cutters = ["flat"]', 'cutters = "flat"', "put [ ] round it"),
    ("keep_out = [{ along = [-25, -14], across = [-37, 37], height = 20 }]",
     "keep_out = { along = [-25, -14], across = [-37, 37], height = 20 }", "put [ ] round it"),
    ("keep_out = [{ along = [-25, -14], across = [-37, 37], height = 20 }]", 'keep_out = "none"', "write []"),
    ('cutters = ["flat"]', 'cutters = "none"', "put [ ] round it"),  # nothing at all is not allowed there
    ('[board]', '[board]\nwood_colour = "#00008080"', 'write "#000080"'),
    ('[board]', '[board]\nwood_colour = "b03030"', 'write "#b03030"'),
    ("[board]", "[[board]]", "single brackets"), ("at = [310.0, 0.0]", "at = [310,5, 0]", "decimal point"),
])
def test_a_value_that_is_nearly_right(tmp_path, old, new, words):
    text = JOB.format(name="a").replace("between = [4, 5]", "at = [310.0, 0.0]")
    assert old in text
    path = tmp_path / "a.toml"
    path.write_text(text.replace(old, new, 1))
    with pytest.raises(JobError) as refused:
        load_job(path)
    assert words in refused.value.remedy


@pytest.mark.parametrize("zero", ["nut-left", "middle"])
def test_only_places_of_such_a_part_are_listed_for_zero(tmp_path, zero):
    """A name out of the list was "nowhere on the board"."""
    path = tmp_path / "a.toml"
    path.write_text(JOB.format(name="a").replace("setup = {", f'setup = {{ zero = "{zero}",'))
    with pytest.raises(JobError, match="given") as refused:
        load_job(path)
    assert "nut-bass" in refused.value.allowed
    assert "lower" not in refused.value.allowed


@pytest.mark.parametrize(("given", "remedy"), [
    ("25.5", 'if cm are meant, write "25.5 cm", 255 mm; if in are meant, write "25.5 in", 647.7 mm'),
    ("64.0", 'if cm are meant, write "64 cm", 640 mm; if in are meant, write "64 in", 1625.6 mm'),
    ("0.64", "if m are meant, write 640"), ("9000.0", ""), ('"9000 mm"', ""), ('"1 mm"', ""),
])
def test_a_length_that_would_do_in_the_other_unit(tmp_path, given, remedy):
    text, path = JOB.format(name="a"), tmp_path / "a.toml"
    path.write_text(re.sub(r"scale_length = [\d.]+", f"scale_length = {given}", text))
    with pytest.raises(JobError, match="given") as refused:
        load_job(path)
    assert refused.value.remedy == remedy


@pytest.mark.parametrize(("old", "new"), [("thickness = 6", "thickness = 60"), ("stepdown = 1", "stepdown = 0")])
def test_what_is_usual_is_told_beside_limits_that_are_much_wider(tmp_path, old, new):
    """20 mm was named as allowed for slots, and refused; so was a stepdown of 0.01 mm, 120 layers."""
    text, path = JOB.format(name="a"), tmp_path / "a.toml"
    assert old in text
    path.write_text(text.replace(old, new, 1))
    with pytest.raises(JobError, match="given") as refused:
        load_job(path)
    assert refused.value.remedy.endswith("mm is usual")


@pytest.mark.parametrize(("key", "per"), [
    ("travel = [0.6, 600, 80]", ""), ("acceleration = 0.6", " per second squared"),
])
def test_what_a_machine_has_in_metres_is_no_inches(tmp_path, key, per):
    path = tmp_path / "a.toml"
    path.write_text(f"{JOB.format(name='a')}\n[machine]\n{key}\n")
    with pytest.raises(JobError, match=r"0\.6 given") as refused:
        load_job(path)
    assert refused.value.remedy.startswith(f"if m{per} are meant, write 600; 50 mm to ")
    assert refused.value.remedy.endswith(f"mm{per} is usual")
    assert refused.value.allowed.endswith(f"mm{per}")


@pytest.mark.parametrize(("units", "given", "remedy"), [
    ("mm", 20, "if thousandths of a mm are meant, write 0.02"), ("mm", 2000, ""), ("mm", "20 mm", ""),
    ("in", 0.8, 'if mm are meant, write "0.8 mm"; if thousandths of an inch are meant, write 0.0008'),
])
def test_a_small_size_that_would_do_in_thousandths(units, given, remedy):
    with pytest.raises(JobError) as refused:
        size(0.0005, 1.0)(given, Place("[surface] scallop", units))
    assert refused.value.remedy == remedy


@pytest.mark.parametrize(("units", "given", "same"), [("mm", 46, "1.168 mm"), ("in", 46, "0.046 in"), ("mm", 260, "")])
def test_gauges_are_often_told_in_thousandths_of_an_inch(units, given, same):
    with pytest.raises(JobError) as refused:
        size(0.1, 5.0)(given, Place("[strings] gauges 1", units))
    assert refused.value.remedy == (f'if thousandths of an inch are meant, write "0.046 in", {same}' if same else "")


@pytest.mark.parametrize(("given", "most"), [(0.5, 0.3), (6, 5.0)])
def test_a_size_a_little_over_its_limit_is_not_taken_for_thousandths(given, most):
    with pytest.raises(JobError) as refused:
        size(0.0, most)(given, Place("[outline] finish", "mm"))
    assert (refused.value.allowed, refused.value.remedy) == (f"0 mm to {most:g} mm", "")


@pytest.mark.parametrize("place", ["along = [0, 3001], across = [0, 9]", "along = [-3001, 0], across = [0, 9]",
                                   "along = [0, 9], across = [0, 1001]", "along = [0, 9], across = [-1001, 0]"])
def test_a_clamp_further_out_than_any_machine_reaches(tmp_path, place):
    path = small_board.job(tmp_path, extra=f"[setup]\nkeep_out = [{{ {place}, height = 20 }}]\n")
    with pytest.raises(JobError, match=r"keep_out 1 (along|across) (from|to): -?\d+ given \(allowed: -\d+ mm to"):
        load_job(path)


@pytest.mark.parametrize(("found", "words"), [
    ("[1.0, 2.0]", r"found: \[1.0, 2.0\] given \(allowed: \[X, Y, Z\]\)"),
    ('[1.0, 2.0, "low"]', "found Z: 'low' is not"),
])
def test_what_is_one_value_for_each_axis_is_told_by_its_axes(tmp_path, found, words):
    with pytest.raises(JobError, match=words):
        load_job(small_board.job(tmp_path, extra=f"[[measured]]\nfound = {found}\n"))


@pytest.mark.parametrize(("x", "words"), [
    (-1.2, "meets the board"), (-1.3, None), (-18.7, None), (-18.8, "leaves the blank"),
])
def test_a_dowels_hole_may_lie_close_to_the_board_but_not_in_it(tmp_path, x, words):
    """2.5 mm wide; the board begins at 0, the blank at -20."""
    holes = f'[holes]\ncutter = "flat"\nat = [[{x}, 0.0], [-10.0, 0.0]]\ndiameter = 2.5\nthrough = 0.5\n'
    with pytest.raises(JobError, match=words) if words else nullcontext():
        clamping_of(load_job(small_board.job(tmp_path, extra=holes)))


@pytest.mark.parametrize(("written", "meant"), [("Arts.svg", "art.svg"), ("art.png", "art.svg"), ("art.sgv", "art.svg"),
                                               ("heron.svg", ""), ("drawings/art.svg", "")])
def test_a_drawing_that_is_not_there_is_named_as_it_is_there(tmp_path, written, meant):
    path = small_board.job(tmp_path, changes={"art.svg": written})
    with pytest.raises(JobError) as wrong:
        clamping_of(load_job(path))
    assert wrong.value.remedy == (f"did you mean {meant}?" if meant else
                                  "check the name: paths are relative to the job file")


@pytest.mark.parametrize(("old", "new", "where", "words"), [
    ("{ nut = 254.0, end = 300.0 }", "{ nut = 254.0, bridge = 200.0 }", "radius", "change nut and bridge over"),
    ("scale_length = 300.0", "scale_length = { bass = 300.0, treble = 310.0 }", "scale_length",
     "change bass and treble over"),
    ("[stock]", "relief = { depth = 0.6, fret = 2, to = 4 }\n[stock]", "relief depth", "make depth smaller"),
])
def test_what_is_likely_turned_round_or_too_much_is_a_doubt(tmp_path, old, new, where, words):
    def found(changes):
        job = load_job(small_board.job(tmp_path, changes=changes))
        return [one for one in doubts_of(job, clamping_of(job)) if one.where == f"[board] {where}"]

    (one,) = found({old: new})
    assert one.grave
    assert words in one.remedy
    right = {"200.0": "320.0", "300.0, treble = 310.0": "310.0, treble = 300.0", "0.6": "0.3"}
    sound = new
    for wrong, put in right.items():
        sound = sound.replace(wrong, put)
    assert found({old: sound}) == []
