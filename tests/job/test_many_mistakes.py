"""One run says every mistake that it can see, and none that only follows from another."""

import re
from pathlib import Path

import pytest

import pathgen
from pathgen.app.cli import main
from pathgen.base.errors import MOST_SAID, JobError, Mistakes, PathgenError
from pathgen.job.clamping import clamping_of
from tests.job.test_plates import PLATE, RING
from tests.small_board import JOB, cutter


def _said(folder: Path, text: str) -> list[str]:
    path = folder / "board.toml"
    path.write_text(text)
    with pytest.raises(PathgenError) as wrong:
        pathgen.load_job(path)
    return wrong.value.lines


def test_every_slip_of_writing_is_said_at_once(tmp_path: Path) -> None:
    said = _said(tmp_path, """
        titel = "x"
        [board]
        scale_lenght = 648
        frets = 20.5
        nut_width = 43
        end_width = "56,5"
        thickness = 6
        radius = 300
        [stok]
        length = 500
        [[cutter]]
        name = "a"
        shape = "ball"
        [[cutter]]
        name = "b"
        flutes = 0
    """)
    assert [line.split(": ")[0] for line in said] == [
        "board.toml", "board.toml", "[board]", "[board] frets", "[board] end_width", '[[cutter]] "a" shape',
        '[[cutter]] "b" flutes']
    assert "did you mean scale_length?" in said[2]  # and not that scale_length is missing
    assert "write a decimal point, not a comma" in said[4]
    assert "missing" not in " ".join(said)  # [stock] is there, misspelt


def test_every_value_of_a_list_is_said_at_once(tmp_path: Path) -> None:
    given = 'colours = ["rde", "#2f6f4f", "#12345"]\nplace = { at = ["a", 5000] }'
    said = _said(tmp_path, JOB.replace("place = { at = [45.0, 0.0] }", given, 1))
    assert [line.split(": ")[0] for line in said] == [
        "[[inlay]] 1 colours 1", "[[inlay]] 1 colours 3", "[[inlay]] 1 place at along", "[[inlay]] 1 place at across"]


@pytest.mark.parametrize(("given", "wrong"), [
    ('colours = ["lime", "#2f6f4f", "red"]', ["#00ff00 is not in", "#ff0000 is not in"]),
    ('layers = ["no", "nor"]', ['no layer "no"', 'no layer "nor"']),
])
def test_all_that_a_drawing_does_not_have_is_said_at_once(tmp_path: Path, given: str, wrong: list[str]) -> None:
    (tmp_path / "art.svg").write_text('<svg xmlns="http://www.w3.org/2000/svg" width="9mm" height="9mm"><rect '
                                      'width="20" height="20" fill="#2f6f4f"/></svg>')
    path = tmp_path / "board.toml"
    path.write_text(JOB.replace("depth = 1.5", f"{given}\ndepth = 1.5", 1))
    with pytest.raises(PathgenError) as said:
        clamping_of(pathgen.load_job(path))
    assert [one for one, line in zip(wrong, said.value.lines, strict=True) if one in line] == wrong


def test_numbers_that_do_not_go_together_are_said_at_once(tmp_path: Path) -> None:
    said = _said(tmp_path, JOB.replace("scallop", "stepover = 0.5\nscallop", 1) + "[outline]\ncutter = \"flat\"\n"
                 + "tab_height = 6.4\n")
    assert [line.split(": ")[0] for line in said] == ["[surface]", "inlay 1 artwork", "[outline] tab_height"]


def test_what_follows_from_another_mistake_is_not_said(tmp_path: Path) -> None:
    """A cutter that is not there is said for each place that names it, and nothing is reckoned with it."""
    said = _said(tmp_path, JOB.replace('["flat"]', '["flat 2"]') + "[outline]\ncutter = \"falt\"\n")
    assert [line.split(": ")[0] for line in said] == ["inlay 1 cutters", "[outline] cutter"]


def test_the_command_says_a_line_for_each(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "board.toml"
    path.write_text("a = 1\nb = 2\n[stock]\nlength = 0\n")
    assert main(["build", str(path), "--out", str(tmp_path / "out")]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 6
    assert all(line.startswith("pathgen: ") for line in lines)
    assert not (tmp_path / "out").exists()


def test_very_many_are_counted(tmp_path: Path) -> None:
    said = _said(tmp_path, "".join(f"key{k} = 1\n" for k in range(300)))  # and no [board]
    assert len(said) == MOST_SAID + 1
    assert said[-1] == f"and {301 - MOST_SAID} more mistakes"


def test_the_same_is_kept_once() -> None:
    found = Mistakes()
    assert not found
    for where in ("a", "b", "a"):
        with found.caught():
            raise JobError(where, "is wrong")
    assert found
    with pytest.raises(JobError, match="a: is wrong") as wrong:
        found.refuse()
    assert [one.where for one in wrong.value.others] == ["b"]


def test_the_wrong_unit_of_a_file_is_one_mistake(tmp_path: Path) -> None:
    text = JOB.replace('units = "mm"', 'units = "in"').replace("scallop", "scalop")
    said = _said(tmp_path, text)
    assert said[0].startswith('board.toml units: "in": ')
    assert re.search(r'"in": \d+ lengths are too large for inches, the first that of \[board\] ', said[0])
    assert 'if all lengths are in millimetres, write units = "mm"' in said[0]
    assert [line.split(": ")[0] for line in said[1:]] == ["[surface]"]
    few = _said(tmp_path, JOB.replace("thickness = 6.5", "thickness = 0.25").replace("length = 125.0", "length = 5.0"))
    assert [line.split(": ")[0] for line in few] == ["[board] thickness", "[stock] length"]


def test_a_feed_in_the_other_unit_is_told_so(tmp_path: Path) -> None:
    inches = (Path(__file__).parents[2] / "examples" / "boards" / "inches.toml").read_text()
    said = _said(tmp_path, re.sub(r"feed = \S+", "feed = 2200", inches, count=1))
    assert any('if mm are meant, write "2200 mm/min"' in line for line in said)


def test_a_missing_header_is_said_first(tmp_path: Path) -> None:
    """The board's keys stand without it, and without that word each is only one that is not known."""
    said = _said(tmp_path, "scale_length = 640\nradius = { nut = 254, end = 406 }\nthickness = 6.5\n")
    assert "[board] is missing" in said[0]
    assert "scale_length belongs in [board]" in said[1]


def test_every_hole_that_is_in_the_way_is_said(tmp_path: Path) -> None:
    at = "at = [[0.0, 0.0], [-15.0, 0.0], [-19.5, 0.0], [30.0, 9.0]]"
    said = _said(tmp_path, f'{JOB}[holes]\ncutter = "flat"\n{at}\n')
    assert [line.split(": ")[0] for line in said if "[holes]" in line] == [
        "[holes] at 1", "[holes] at 3", "[holes] at 4"]
    assert "less than -" in "".join(said)


def test_holes_and_rings_of_a_plate_are_said_at_once(tmp_path: Path) -> None:
    """Of a hole that reaches off the plate nothing is said that only follows from where it is."""
    holes = "".join(f'[[hole]]\ncutter = "flat 3"\nat = {at}\ndiameter = {wide}\n{more}' for at, wide, more in (
        ([80.0, 20.0], 8.0, "depth = 2.9\n"), ([97.0, 0.0], 8.0, ""), ([20.0, 0.0], 10.0, "count = 3\npitch = 9.0\n"),
        ([96.0, 6.0], 4.0, "")))
    said = _said(tmp_path, PLATE + holes + RING.replace("at = [50.0, 0.0]", "at = [88.0, 0.0]"))
    assert [line.split(": ")[0] for line in said] == [
        "[[hole]] 1 depth", "[[hole]] 2 at", "[[hole]] 3 pitch", "[[ring]] 1 outer"]


def test_cutters_of_wrong_shapes_are_said_at_once(tmp_path: Path) -> None:
    vee = cutter(name="v", shape="v", diameter=6.0, angle=60.0, speed=12000, feed=900.0, plunge=200.0, stepdown=0.5)
    said = _said(tmp_path, JOB.replace('finish = "ball"', 'finish = "v"') + vee + '[outline]\ncutter = "ball"\n')
    assert [line.split(": ")[0] for line in said] == ["[surface] finish", "[outline] cutter"]
    assert said[0].endswith('"flat", without relief or fall_away): it leaves furrows: name a ball-end cutter')


def test_shares_that_overlap_and_parts_that_do_not_fit_are_said_at_once(tmp_path: Path) -> None:
    (tmp_path / "plate.toml").write_text(PLATE)
    (tmp_path / "thick.toml").write_text(PLATE.replace("thickness = 3.0", "thickness = 3.5"))
    parts = "".join(f'[[part]]\njob = "{name}.toml"\nat = [{x}, 0.0]\n' for name, x in (
        ("plate", 65.0), ("plate", 100.0), ("thick", 250.0), ("plate", 400.0)))
    said = _said(tmp_path, f"[stock]\nlength = 320.0\nwidth = 130.0\nthickness = 3.0\nmargin_nut = 0.0\n{parts}")
    assert [line.split(": ")[0] for line in said] == ["[[part]] 3 job", "[[part]] 4 at", "[[part]] 2 at"]
