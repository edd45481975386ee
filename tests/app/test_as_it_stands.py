"""Questions that ask less than a build are answered as far as they go, and what is wrong is told after the answer."""

import re
from pathlib import Path
from xml.etree import ElementTree

import pytest

from pathgen.app.cli import main
from tests import small_board
from tests.job.test_plates import PLATE

OFF, DEEP = {"at = [45.0, 0.0]": "at = [5.0, 18.0]"}, {"depth = 1.5": "depth = 6.0"}
SHORT = {"length = 125.0": "length = 90.0"}
WORDS = {"off": "of the drawing lies off the board", "deep": "inlay 1 depth", "short": "does not lie within the blank"}


def asked(folder, monkeypatch, capsys, command, *, changes=None, extra=""):
    monkeypatch.chdir(folder)
    status = main([command, str(small_board.job(folder, changes=changes or {}, extra=extra))])
    said = capsys.readouterr()
    return status, said.out, said.err


@pytest.mark.in_every_run(3)
@pytest.mark.parametrize(("wrong", "changes"), [("off", OFF), ("deep", DEEP), ("short", SHORT)])
@pytest.mark.parametrize("command", ["show", "frets", "reach"])
def test_the_answer_comes_first_and_what_is_wrong_after_it(command, wrong, changes, tmp_path, monkeypatch, capsys):
    good, answer, nothing = asked(tmp_path, monkeypatch, capsys, command)
    assert good == 0
    assert "pathgen: " not in nothing
    status, out, err = asked(tmp_path, monkeypatch, capsys, command, changes=changes)
    assert status == 2
    assert "cannot be built before this is mended.\npathgen: " in err
    assert WORDS[wrong] in err
    assert len(out) > 0.9 * len(answer)


@pytest.mark.parametrize(("changes", "extra", "refused", "doubt"), [
    ({"thickness = 8.0": "thickness = 6.0"}, "", "6 mm is less than the finished board", "as thick as the finished"),
    (DEEP, "", "inlay 1 depth", "min_web lets it"),
    ({}, small_board.SLOTS.replace("depth = 1.8", "depth = 6.4"), "[slots] depth", "min_web lets it"),
])
def test_what_is_refused_is_no_doubt_too(changes, extra, refused, doubt, tmp_path, monkeypatch, capsys):
    """It was told as well that the blank is as thick as the board, and that min_web lets -1.2 mm of wood stay."""
    _, out, err = asked(tmp_path, monkeypatch, capsys, "show", changes=changes, extra=extra)
    assert refused in err
    assert doubt not in out
    swapped = "or more, and some to cut): take a thicker blank; or, if this and [board] thickness are swapped"
    assert (swapped in err) == ("thickness = 8.0" in changes)


def test_a_drawing_that_lies_off_the_board_is_drawn_where_it_lies(tmp_path, monkeypatch, capsys):
    asked(tmp_path, monkeypatch, capsys, "show", changes=OFF)
    picture = ElementTree.parse(tmp_path / "job-placing.svg").getroot()
    assert {"#225577", "#cc8833"} <= {node.get("fill") for node in picture.iter()}


def test_a_drawing_that_is_missing_leaves_the_others_and_is_told_once(tmp_path, monkeypatch, capsys):
    more = '[[inlay]]\nartwork = "none.svg"\ndepth = 1.0\ncutters = ["flat"]\nplace = { at = [45.0, 0.0] }\n'
    status, out, err = asked(tmp_path, monkeypatch, capsys, "show", changes={"[[inlay]]": more + "[[inlay]]"})
    assert status == 2
    assert [line[:7] for line in out.splitlines() if line.startswith("Inlay")] == ["Inlay 2"]
    assert err.count("none.svg") == 1


EXAMPLES = Path(__file__).parents[2] / "examples"


@pytest.mark.in_every_run(3)
@pytest.mark.parametrize(("name", "cutter", "where"), [
    ("fern-and-moth.toml", "ball 12", "[surface] finish"), ("fern-and-moth.toml", "flat 6", "[outline] cutter"),
    ("fern-and-moth.toml", "slot 0.6", "[slots] cutter"), ("boards/drawn-outline.toml", "flat 3", "[outline] cutter"),
    ("boards/zero-fret-arched.toml", "flat 3", "[nut] cutter"),
    ("boards/bound-left-handed.toml", "flat 3", "[holes] cutter"),
    ("parts/head-plate.toml", "flat 6", "[[hole]] 1 cutter"), ("parts/rosette.toml", "flat 1", "cutters"),
])
@pytest.mark.parametrize("incomplete", [False, True])
def test_where_all_lies_is_drawn_though_a_cutter_is_missing(name, cutter, where, incomplete, tmp_path, monkeypatch,
                                                            capsys):
    monkeypatch.chdir(tmp_path)
    for drawing in (EXAMPLES / name).parent.glob("*.svg"):
        (tmp_path / drawing.name).write_bytes(drawing.read_bytes())
    text, named = (EXAMPLES / name).read_text(), f'[[cutter]]\nname = "{cutter}"\n'
    (tmp_path / "good.toml").write_text(text)
    diameter = re.escape(named) + r"(?s:(.*?))diameter = .*\n"
    (tmp_path / "job.toml").write_text(re.sub(diameter, named + r"\1", text) if incomplete else
                                       text.replace(named, '[[cutter]]\nname = "another"\n'))
    drawn = []
    for job, status in (("good", 0), ("job", 2)):
        assert main(["show", f"{job}.toml"]) == status
        drawn.append({(node.get("class"), node.get("fill")) for node in
                      ElementTree.parse(tmp_path / f"{job}-placing.svg").getroot().iter()})
    assert drawn[0] == drawn[1]
    err = capsys.readouterr().err
    assert f'[[cutter]] "{cutter}": diameter is missing' in err if incomplete else where in err
    assert f'no [[cutter]] is called "{cutter}"' in err or incomplete


def test_the_blank_of_several_parts_is_drawn_though_one_has_no_cutter(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    for folder in ("one-blank", "parts"):
        (tmp_path / folder).mkdir()
        for one in (EXAMPLES / folder).iterdir():
            (tmp_path / folder / one.name).write_bytes(one.read_bytes())
    cover = tmp_path / "one-blank" / "rod-cover.toml"
    cover.write_text(cover.read_text().replace('name = "flat 3"', 'name = "another"'))
    assert main(["show", "one-blank/three-plates.toml"]) == 2
    assert 'no [[cutter]] is called "flat 3"' in capsys.readouterr().err
    picture = ElementTree.parse(tmp_path / "three-plates-placing.svg").getroot()
    assert len([node for node in picture.iter() if node.get("class") == "part"]) == 3


HANGS = ('<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="30mm" viewBox="0 0 40 30">'
         '<rect x="16" y="12" width="30" height="4" clip-path="url(#no)"/></svg>')


@pytest.mark.parametrize("command", ["show", "reach"])
def test_what_is_cut_off_at_the_edge_of_the_page_is_told_before_a_build(command, tmp_path, monkeypatch, capsys):
    path = small_board.job(tmp_path)
    (tmp_path / "art.svg").write_text(HANGS)
    monkeypatch.chdir(tmp_path)
    assert main([command, str(path)]) == 0
    assert "Left out: art.svg: part of line 1, rect (it hangs 6.0 mm over the page's edge)" in capsys.readouterr().out


def test_what_drawings_of_parts_on_a_blank_hold_is_told(tmp_path, monkeypatch, capsys):
    (tmp_path / "art.svg").write_text(HANGS)
    inlay = '[[inlay]]\nartwork = "art.svg"\ndepth = 1.0\ncutters = ["flat 3"]\nplace = { at = [20.0, 0.0] }\n'
    (tmp_path / "one.toml").write_text(PLATE + inlay)
    (tmp_path / "blank.toml").write_text("[stock]\nlength = 160.0\nwidth = 90.0\nthickness = 3.0\n"
                                         '[[part]]\njob = "one.toml"\nat = [65.0, 0.0]\n')
    monkeypatch.chdir(tmp_path)
    main(["show", "blank.toml"])
    out = capsys.readouterr().out
    assert "One: warning: art.svg line 1, rect: clip-path = 'url(#no)', and nothing is called so: passed over" in out
    assert "One: Left out: art.svg: part of line 1, rect (it hangs 6.0 mm" in out


def test_papers_are_printed_though_another_table_is_wrong(tmp_path, monkeypatch, capsys):
    nut = '[strings]\ngauges = [1.0, 0.5]\n[nut]\ncutter = "flat"\nwidth = 5.08\ndepth = 2.0\n'
    status, out, err = asked(tmp_path, monkeypatch, capsys, "strings", extra=nut)
    assert status == 2
    assert "nut" in out
    assert "[nut]: the board ends at the nut face, and the nut's front is there too (allowed: [board] behind_nut " \
           "5.08 mm or more): make behind_nut in [board] longer" in err


def test_what_no_answer_is_possible_for_is_refused_alone(tmp_path, monkeypatch, capsys):
    status, out, err = asked(tmp_path, monkeypatch, capsys, "frets", changes={"frets = 5": "frets = 500"})
    assert (status, out) == (2, "")
    assert err.startswith("pathgen: [board] frets")


def test_a_clamp_over_the_board_is_shown_and_said(tmp_path, monkeypatch, capsys):
    clamps = "[setup]\nkeep_out = [{ along = [50, 60], across = [-33, 10], height = 20 }, " \
             "{ along = [-20, -12], across = [-33, 33], height = 20 }]\n"
    status, out, _ = asked(tmp_path, monkeypatch, capsys, "show", extra=clamps)
    assert status == 0
    (line,) = [line for line in out.splitlines() if "lies over what is cut" in line]
    assert line.startswith("warning: [setup] keep_out 1: lies over what is cut, 50 mm to 60 mm along, -")


def test_thin_wood_that_the_picture_rings_is_said(tmp_path, monkeypatch, capsys):
    near = small_board.ART.replace('x="24"', 'x="20.2"')  # 0.2 mm beside the disc, which ends at 20
    monkeypatch.chdir(tmp_path)
    assert main(["show", str(small_board.job(tmp_path, art=near))]) == 0
    (line,) = [line for line in capsys.readouterr().out.splitlines() if "(red ring" in line]
    assert line.startswith("warning: ")
    assert "0.2 mm of wood (red ring in the picture) between pockets" in line
    assert line.endswith(" Draw them further apart, let them meet, or expect it to break out and to let resin through.")


def test_reach_of_drawings_that_are_refused_says_nothing_of_none(tmp_path, monkeypatch, capsys):
    status, out, err = asked(tmp_path, monkeypatch, capsys, "reach", changes={"art.svg": "none.svg"})
    assert (status, out) == (2, "")
    assert "none.svg" in err


def test_a_drawing_in_px_off_the_board_is_told_how_large_that_counts(tmp_path, monkeypatch, capsys):
    """CSS: 96 px to the inch."""
    for size, told in (('width="1200" height="720px"', True), ('width="317.5mm" height="190.5mm"', False)):
        (tmp_path / "px.svg").write_text(f'<svg xmlns="http://www.w3.org/2000/svg" {size} viewBox="0 0 1200 720">'
                                         '<circle cx="600" cy="360" r="300" fill="#225577"/></svg>')
        status, _, err = asked(tmp_path, monkeypatch, capsys, "show", changes={"art.svg": "px.svg"})
        assert status == 2
        assert "of the drawing lies off the board" in err
        assert ("its 1200 by 720 px count 96 to the inch, 317.5 mm by 190.5 mm: give place a width" in err) == told
