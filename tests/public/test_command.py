"""Programs that anybody wrote, measured from the command line without a job."""

import json
import math
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
import shapely

import pathgen
from pathgen.app.cli import main
from pathgen.base.lowered import FallAway, Lowered, Relief

HOUSE = Path(__file__).parents[2]
PASSES = "".join(f"Y{0.5 * k}\nX{60 * (k % 2)}\n" for k in range(1, 9))
TEXT = f"G21 G90 G17 G94\nG0 Z20\nM3 S9000\nG0 X60 Y0\nG1 Z6 F500\nX0 F900\n{PASSES}G0 Z20\nM5\nM30\n"
WHERE = ["--cutter", "ball-end", "6 mm", "--blank", "70", "40", "8", "--corner", "-5", "-20"]


@pytest.fixture
def program(tmp_path):
    path = tmp_path / "any.nc"
    path.write_text(TEXT)
    return str(path)


def test_ridges_of_any_program(program, capsys):
    assert main(["check", program, *WHERE, "--thickness", "6", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["ridges"]["highest"] == pytest.approx(3 - (9 - 0.0625) ** 0.5, abs=2e-6)  # r - sqrt(r^2 - (s / 2)^2)
    assert main(["check", program, *WHERE, "--thickness", "6", "--radius", "flat", "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == found
    assert main(["check", program, *WHERE, "--thickness", "6", "--scallop", "0.005"]) == 1
    assert "a ridge of 0.0104 mm" in capsys.readouterr().out
    assert main(["check", program, *WHERE, "--thickness", "6", "--stepdown", "1/32 in"]) == 1
    assert "DO NOT CUT" in capsys.readouterr().out


def test_a_pocket_on_a_surface_cut_before_is_told_how_to_say_so(tmp_path, capsys):
    """A rapid 1.5 mm over a surface of 6 mm goes through what a raw blank of 8 mm has there; the cut is 1 mm deep."""
    path = tmp_path / "pocket.nc"
    start = "G21 G90 G17 G94\nG0 Z20\nM3 S9000\nG0 X5 Y0\nG1 Z5 F300\nX15 F600\n"
    end = "X35 F600\nG0 Z20\nM5\nM30\n"
    asked = ["check", str(path), "--cutter", "flat-end", "3", "--blank", "70", "40", "8", "--thickness", "6",
             "--radius", "254", "--resolution", "0.2", "--stepdown", "1.1"]
    hint = "if an earlier program has cut the surface, say so (--surfaced"
    path.write_text(f"{start}G0 Z7.5\nG0 X25\nG1 Z5 F300\n{end}")
    assert main(asked) == 1
    said = capsys.readouterr().out
    assert "a rapid 0.500 mm into the work" in said
    assert said.count(hint) == 2  # of the cut, 3 mm into the raw blank, too
    assert main([*asked, "--surfaced"]) == 0
    assert hint not in capsys.readouterr().out
    path.write_text(f"{start}G0 Z5.5\nG0 X25\nG1 Z5 F300\n{end}")  # this one goes into the surface as well
    assert main(asked) == 1
    said = capsys.readouterr().out
    assert said.count(hint) == 1
    assert main([*asked, "--surfaced"]) == 1
    assert "a rapid 0.500 mm into the work" in capsys.readouterr().out


def test_what_it_takes(program, tmp_path, capsys):
    picture = tmp_path / "left.png"
    assert main(["simulate", program, *WHERE, "--picture", str(picture)]) == 0
    assert "lowest place cut 6.0" in capsys.readouterr().out
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_the_lowest_place_is_of_what_was_cut_not_of_a_surface_taken_to_be_there(tmp_path, capsys):
    """At 20 mm from the crest a surface of 100 mm radius lies 2 mm lower; the groove is 1 mm deep, or goes through."""
    path = tmp_path / "groove.nc"
    asked = ["simulate", str(path), "--cutter", "flat-end", "3", "--blank", "70", "40", "8", "--thickness", "6",
             "--radius", "100", "--surfaced", "--resolution", "0.2"]
    for z, said in ((5, "lowest place cut 5.000 mm above the underside"), (-0.25, "cut 0.250 mm below the underside"),
                    (7, "in 4 moves\n")):
        path.write_text(f"G21 G90 G17 G94\nG0 Z20\nM3 S9000\nG0 X5 Y0\nG1 Z{z} F300\nX15 F600\nM5\nM30\n")
        assert main(asked) == 0
        assert said in capsys.readouterr().out


def test_a_cutter_wider_than_any_stepdown_is_no_mistake(tmp_path, capsys):
    path = tmp_path / "face.nc"
    path.write_text("G21 G90 G17 G94\nG0 Z20\nM3 S9000\nG0 X-40 Y0\nG1 Z7.5 F300\nX110 F600\nM5\nM30\n")
    assert main(["simulate", str(path), "--cutter", "flat-end", "63", "--blank", "70", "40", "8"]) == 0
    assert "lowest place cut 7.500 mm above the underside" in capsys.readouterr().out


def test_an_arc_is_one_move_and_a_file_without_its_end_is_told(tmp_path, capsys):
    """Half a ring 4 mm wide, 10 mm from its middle, 3 mm deep, and half a disc more at one end than the plunge took."""
    path = tmp_path / "arc.nc"
    path.write_text("G21 G90 G17 G94\nG0 Z15\nM3 S9000\nG0 X10 Y0\nG1 Z5 F200\nG2 X30 Y0 I10 J0 F600\nG0 Z15\nM5\n")
    asked = [str(path), "--cutter", "flat-end", "4", "--blank", "40", "26", "8", "--resolution", "0.05"]
    assert main(["simulate", *asked]) == 0
    said = capsys.readouterr().out
    (volume,) = re.findall(r"^line 6: ([\d.]+) mm3, 3.000 mm deep$", said, re.MULTILINE)
    assert float(volume) == pytest.approx(3 * math.pi * (144 - 64) / 2, rel=3e-3)
    assert " mm3 in 5 moves" in said
    assert main(["check", *asked, "--thickness", "8"]) == 0
    assert "arc.nc: no M30, M2 or closing %: the file may be cut short" in capsys.readouterr().out
    path.write_text("; a comment\n")
    assert main(["simulate", *asked]) == 2
    assert "a comment that begins with a semicolon: 'a comment' (allowed: comments in (parentheses), which all " in (
        capsys.readouterr().err)


@pytest.mark.parametrize(("arguments", "said"), [
    (["a.nc"], "a program without --cutter, --thickness and --blank"), (["a.toml"], "a job without a folder"),
    (["a.nc", "--cutter", "flat-end", "3"], "a program without --thickness and --blank"),
    (["a.nc", "out", "--cutter", "flat-end", "3", "--thickness", "6", "--blank", "9", "9", "9"],
     "a program and a folder"),
])
def test_what_a_check_lacks_is_named(arguments, said, capsys):
    assert main(["check", *arguments]) == 2
    assert f"check: {said} (allowed" in capsys.readouterr().err


@pytest.mark.parametrize(("change", "words"), [
    (["--cutter", "ball", "6"], "--cutter: ball 6"),
    (["--cutter", "ball-end"], "--cutter: ball-end"),
    (["--cutter", "v", "6"], "v DIAMETER ANGLE"),
    (["--blank", "70", "40"], "--blank: 2 lengths"),
    (["--radius", "-254"], "--radius: -254 mm"),
    (["--thickness", "six"], "--thickness"),
    (["folder"], "PROGRAM with --cutter"),
])
def test_wrong_words(program, change, words, capsys):
    arguments = [program, *(change if not change[0].startswith("-") else []), *WHERE, "--thickness", "6"]
    assert main(["check", *arguments, *(change if change[0].startswith("-") else [])]) == 2
    assert words in capsys.readouterr().err


def test_what_libraries_warn_of_does_not_reach_the_terminal():
    code = ("from pathgen.app import cli, runs; import numpy as np; "
            "runs.keys = lambda options: int(np.float64(1) / 0 < 0); raise SystemExit(cli.main(['keys']))")
    quiet = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=HOUSE, check=True)
    assert (quiet.stdout, quiet.stderr) == ("", "")
    traced = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=HOUSE, check=True,
                            env={**os.environ, "PATHGEN_TRACE": "1"})
    assert "RuntimeWarning" in traced.stderr


def test_jobs_that_leave_nothing_to_compare_or_reach_say_so(capsys):
    assert main(["compare", str(HOUSE / "examples" / "parts" / "rosette.toml")]) == 2
    assert "[plate] face: false: nothing is surfaced" in capsys.readouterr().err
    assert main(["reach", str(HOUSE / "examples" / "boards" / "truss-rod.toml")]) == 0
    assert "no drawings to cut" in capsys.readouterr().out


def test_build_asks_where_to_write(capsys):
    with pytest.raises(SystemExit) as ended:
        main(["build", "job.toml"])
    assert ended.value.code == 2
    assert "required: --out" in capsys.readouterr().err


def test_a_blank_of_one_row_has_a_picture(program, tmp_path):
    thin = ["--cutter", "ball-end", "6 mm", "--blank", "70", "0.02", "8", "--picture", str(tmp_path / "left.png")]
    assert main(["simulate", program, *thin, "--resolution", "1"]) == 0
    assert (tmp_path / "left.png").read_bytes().startswith(b"\x89PNG")


def test_of_thousands_of_words_the_ends_are_said(capsys):
    with pytest.raises(SystemExit):
        main(["keys", *["x" * 250] * 3000])
    assert len(capsys.readouterr().err) < 3000


def test_a_program_that_says_where_its_zero_is_is_taken_at_its_word(tmp_path, capsys):
    """Its Z 0 on top of the stock, taken for the underside, would be read as a cut through all of it."""
    path = tmp_path / "a.nc"
    path.write_text("(job: x)\n(zero: X 0 Y 0 is the corner. Z)\n(.. 0 is the top of the raw stock.)\nG21 G90 G17 G94\n"
                    "G0 Z5\nM3 S9000\nG0 X5 Y0\nG1 Z-1 F100\nX20\nG0 Z5\nM5\nM30\n")
    asked = ["simulate", str(path), "--cutter", "flat-end", "3", "--blank", "2 in", "1 in", "1/2 in",
             "--resolution", "0.5"]
    assert main(asked) == 0
    said = capsys.readouterr().out
    assert "header says of its zero: X 0 Y 0 is the corner. Z 0 is the top of the raw stock." in said
    assert 'say so with --zero 0 "-0.5 in" "1/2 in"' in said  # the program goes on from that corner, not back
    assert main([*asked, "--zero", "0", "-0.5 in", "1/2 in"]) == 0
    said = capsys.readouterr().out
    assert "header" not in said
    assert "lowest place cut 0.4606 in above the underside" in said  # 12.7 mm - 1 mm


ON_THE_CORNER = ("(zero: X 0 Y 0 is the blank's corner, nut end, bass side, the strings run along X. Z 0 is the top of "
                 "the raw stock.)\nG21 G90 G17 G94\nG0 Z5\nM3 S9000\nG0 X5 Y2\nG1 Z-1 F100\nX95 F900\n"
                 + "".join(f"Y{2 + 0.5 * k}\nX{95 if k % 2 == 0 else 5}\n" for k in range(1, 73))
                 + "G0 Z5\nM5\nM30\n")


@pytest.mark.in_every_run(0)
def test_what_is_advised_for_a_zero_on_the_blanks_corner_is_right_as_written(tmp_path, capsys):
    path = tmp_path / "a.nc"
    path.write_text(ON_THE_CORNER)
    asked = [str(path), "--cutter", "ball-end", "6", "--blank", "100", "40", "8", "--resolution", "0.5"]
    checked = ["check", *asked, "--thickness", "7"]
    for command in (["simulate", *asked], checked):
        main(command)
        assert "say so with --zero 0 -20 8." in capsys.readouterr().out
    main(["simulate", *asked, "--zero", "0", "0", "8"])
    assert "% of its cutting runs beside the blank" in capsys.readouterr().out
    assert main([*checked, "--zero", "0", "0", "8"]) == 0
    said = capsys.readouterr().out
    assert "of its cutting runs beside the blank" in said
    assert "Passed" not in said
    assert main([*checked, "--zero", "0", "-20", "8"]) == 0
    said = capsys.readouterr().out
    assert "Passed" in said
    assert "beside" not in said
    main([*checked, "--radius", "254", "356", "80"])
    assert "with --corner -20 -20 --zero -20 -20 8" in capsys.readouterr().out


@pytest.mark.in_every_run(0)
def test_a_finish_below_the_surface_named_is_no_bare_pass(tmp_path, capsys):
    """The Z is 1 mm too low, as where a cutter was set on something 1 mm high."""
    path = tmp_path / "a.nc"
    path.write_text(ON_THE_CORNER)
    asked = ["check", str(path), "--cutter", "ball-end", "6", "--blank", "100", "40", "8", "--resolution", "0.5",
             "--thickness", "7", "--zero", "0", "-20"]
    for z, off in (("7", "1.0000 mm below"), ("7.9", "0.1000 mm below"), ("8.5", "0.5000 mm above")):
        assert main([*asked, z]) == 0
        said = capsys.readouterr().out
        assert f"its passes follow the surface {off} it" in said
        assert "Passed" not in said
    assert main([*asked, "7.9", "--scallop", "0.02"]) == 1


def test_a_surface_with_relief_and_fall_away_is_said_with_options_that_its_finding_names(tmp_path, capsys):
    """Cut by our own finish for it: 0.3 mm below the radius alone, at the far end; on it with its numbers."""
    top = Lowered(thickness=6.0, radius_nut=254.0, radius_end=254.0, length=100.0,
                  relief=Relief(depth=0.1, deepest=20.0, end=40.0), fall_away=FallAway(start=60.0, end=100.0, drop=0.3))
    ball = pathgen.Cutter(name="ball 6", shape="ball-end", diameter=6.0, speed=16000, feed=2000.0, plunge=500.0,
                          stepdown=2.5)
    path = tmp_path / "finish.nc"
    path.write_text(pathgen.program(pathgen.finish(shapely.box(0, -10, 100, 10), top, ball, ridge=0.02)))
    asked = ["check", str(path), "--cutter", "ball-end", "6", "--blank", "100", "20", "8", "--thickness", "6",
             "--radius", "254", "--scallop", "0.02", "--resolution", "0.2"]
    assert main(asked) == 1
    said = capsys.readouterr().out
    assert re.search(r"cut 0\.299\d mm below the surface .*f the surface has relief or fall-away, say so \(--rel", said)
    assert main([*asked, "--relief", "0.1", "20", "40", "--fall-away", "0.3", "60", "100"]) == 0
    assert "Passed" in capsys.readouterr().out
    assert main([*asked, "--fall-away", "0.3", "100", "60"]) == 2
    assert "the nearer one first" in capsys.readouterr().err


GROOVE = "G21 G90 G17 G94\nG0 Z20\nM3 S9000\nG0 X5 Y0\nG1 Z{z} F300\nX25 F600\nG0 Z20\nM5\nM30\n"
PLAIN = ["--blank", "70", "40", "8", "--resolution", "0.2"]


def test_a_program_that_runs_after_others_is_told_of_them(tmp_path, capsys):
    """A rapid down into a groove that a wider cutter opened, and a cut in two steps of which that took the first."""
    (tmp_path / "first.nc").write_text(GROOVE.format(z=6))
    path = tmp_path / "second.nc"
    path.write_text(GROOVE.format(z=5).replace("G1 Z5", "G0 Z6.1\nG1 Z5"))
    asked = [str(path), "--cutter", "flat-end", "2", *PLAIN]
    checked = ["check", *asked, "--thickness", "8", "--stepdown", "1.5"]
    assert main(checked) == 1
    said = capsys.readouterr().out
    assert said.count("if an earlier program has opened that place, give what it left (--after PROGRAM CUTTER)") == 2
    assert main([*checked, "--after", str(tmp_path / "first.nc"), "flat-end", "3"]) == 0
    said = capsys.readouterr().out
    assert "rapid" not in said
    assert "deepest bite: 1 mm" in said
    assert main(["simulate", *asked]) == 0
    assert "one that opened that place, with --after" in capsys.readouterr().out
    assert main(["simulate", *asked, "--after", str(tmp_path / "first.nc"), "flat-end", "3"]) == 0
    said = capsys.readouterr().out
    assert "through the work" not in said
    assert "lowest place cut 5.000 mm above" in said
    assert main(["simulate", *asked, "--after", str(tmp_path / "first.nc"), "flat-end"]) == 2
    assert "--after: flat-end (allowed: ball-end DIAMETER" in capsys.readouterr().err


def test_a_board_along_y_is_checked_once_that_is_said(tmp_path, capsys):
    """Our own finish, turned a quarter counter-clockwise on the machine: the same ridges, at the same places."""
    top = pathgen.radiused(thickness=6.0, start=254.0)
    ball = pathgen.Cutter(name="ball 6", shape="ball-end", diameter=6.0, speed=16000, feed=2000.0, plunge=500.0,
                          stepdown=2.5)
    text = pathgen.program(pathgen.finish(shapely.box(0, -12, 30, 12), top, ball, ridge=0.02))
    turned = re.sub(r"([XY])(-?[\d.]+)", lambda m: f"Y{m[2]}" if m[1] == "X" else f"X{-float(m[2]):g}",
                    re.sub(r"\(.*\)", "", text))
    for name, words in (("x.nc", text), ("y.nc", turned)):
        (tmp_path / name).write_text(words)
    asked = ["--cutter", "ball-end", "6", "--thickness", "6", "--radius", "254", "--scallop", "0.02", "--resolution",
             "0.2"]
    lies = ["--blank", "40", "34", "8", "--corner", "-5", "-17"]
    assert main(["check", str(tmp_path / "x.nc"), *asked, *lies]) == 0
    plain = capsys.readouterr().out.split("Passed")[0]
    assert main(["check", str(tmp_path / "y.nc"), *asked, *lies, "--along", "y"]) == 0
    assert capsys.readouterr().out.split("Passed")[0] == plain
    assert main(["check", str(tmp_path / "y.nc"), *asked, "--blank", "34", "40", "8", "--corner", "-17", "-5"]) == 1
    assert "or, if its centre-line lies along Y, say so (--along y), with the blank" in capsys.readouterr().out
    assert main(["check", str(tmp_path / "x.nc"), *asked, *lies, "--zero", "0", "0", "-0.3"]) == 1
    assert "--along" not in capsys.readouterr().out


def test_a_head_that_says_that_the_board_lies_along_y_is_followed(tmp_path, capsys):
    """The corner is told with the board as it lies along X: its bass side, -20, is where X of the machine ends."""
    turned = re.sub(r"([XY])(-?[\d.]+)", lambda m: f"Y{m[2]}" if m[1] == "X" else f"X{-float(m[2]):g}",
                    ON_THE_CORNER.partition("\n")[2])
    path = tmp_path / "a.nc"
    path.write_text(ON_THE_CORNER.partition("\n")[0].replace("along X", "along Y") + "\n" + turned)
    asked = ["check", str(path), "--cutter", "ball-end", "6", "--blank", "100", "40", "8", "--resolution", "0.5",
             "--thickness", "7"]
    main(asked)
    assert "say so with --along y." in capsys.readouterr().out
    main([*asked, "--along", "y"])
    assert "say so with --zero 0 -20 8." in capsys.readouterr().out
    assert main([*asked, "--along", "y", "--zero", "0", "-20", "8"]) == 0
    assert "Passed" in capsys.readouterr().out


@pytest.mark.parametrize(("options", "said"), [
    (["--thickness", "7"], "--thickness: without --surfaced it changes nothing here: add --surfaced"),
    (["--radius", "254"], "--radius: without --surfaced it changes nothing"),
    (["--surfaced", "--thickness", "20"], "--thickness: a surface 20 mm high over a blank 8 mm thick"),
    (["--picture", "left.txt"], "--picture: left.txt (allowed: a name that ends in .png): write --picture left.png"),
])
def test_what_simulate_would_pass_over_is_refused(program, options, said, capsys):
    assert main(["simulate", program, *WHERE, *options]) == 2
    assert said in capsys.readouterr().err


def test_a_wait_that_counts_thousandths_is_told(tmp_path, capsys):
    path, said = tmp_path / "a.nc", "a.nc, line 4: G4 P3000 is read as seconds, a wait of 50 min"
    path.write_text(GROOVE.format(z=7).replace("G0 X", "G4 P3000\nG0 X", 1))
    assert main(["simulate", str(path), "--cutter", "flat-end", "3", *PLAIN]) == 0
    assert f"{said} (allowed: up to 60 s): does your machine count thousandths? then it waits 3 s there, else have " \
        "that written: P3\n" in capsys.readouterr().out
    assert main(["check", str(path), "--cutter", "flat-end", "3", "--thickness", "8", *PLAIN]) == 0
    assert said in capsys.readouterr().out


def test_simulate_tells_that_it_judges_nothing(tmp_path, capsys):
    path = tmp_path / "a.nc"
    path.write_text(GROOVE.format(z=7).replace("G1 Z7", "G0 Z7\nG1 Z7"))
    assert main(["simulate", str(path), "--cutter", "flat-end", "3", *PLAIN]) == 0
    assert "Nothing is judged here: pathgen check PROGRAM does that" in capsys.readouterr().out
    with pytest.raises(SystemExit):
        main(["simulate", "--help"])
    help_words = " ".join(capsys.readouterr().out.split())
    assert "nothing is judged" in help_words
    for row in ("deepest bite is", "tallest shaving is"):  # what its rows mean
        assert row in help_words


def test_options_for_a_program_alone_are_no_part_of_a_job(capsys):
    assert main(["check", "board.toml", "out", "--cutter", "flat-end", "3", "--thickness", "3"]) == 2
    assert "a job and a folder, with --cutter and --thickness" in capsys.readouterr().err
    assert main(["check", "board.toml", "out", "--scallop", "0.01"]) == 2
    assert "a job and a folder, with --scallop" in capsys.readouterr().err


def test_a_command_names_its_options_not_what_python_calls_them(program, capsys):
    assert main(["check", program, *WHERE, "--thickness", "9"]) == 2
    assert capsys.readouterr().err.startswith("pathgen: --thickness: a surface 9 mm high over a blank 8 mm thick")
    assert main(["check", program, *WHERE, "--thickness", "7", "--resolution", "0.5"]) == 0
    said = capsys.readouterr().out
    assert "the ridge height allowed is given: --scallop" in said
    assert "=.." not in said


def test_a_tip_between_the_points_of_the_grid_is_where_it_went(tmp_path, capsys):
    """A pointed cutter, 60 degrees, whose tip goes 13 mm deep half-way between points 0.2 mm apart."""
    path = tmp_path / "a.nc"
    path.write_text(GROOVE.replace("Y0", "Y0.1").format(z=-6))
    asked = [str(path), "--cutter", "v", "6", "60", *PLAIN]
    main(["check", *asked, "--thickness", "7"])
    said = capsys.readouterr().out
    assert "lowest cut: -13 mm from the surface" in said
    assert "6.000 mm below the underside of the work" in said
    main(["simulate", *asked])
    assert "lowest place cut 6.000 mm below the underside" in capsys.readouterr().out


@pytest.mark.parametrize(("command", "judged"), [("simulate", False), ("check", True), ("build", True)])
def test_help_says_what_is_done_with_a_grid_and_a_stepdown(command, judged, capsys):
    with pytest.raises(SystemExit):
        main([command, "--help"])
    words = " ".join(capsys.readouterr().out.split())
    assert "grid of the simulation, 0.01 to 2 mm (default 0.1)" in words
    assert ("would forbid" in words) is judged
    assert ("deepest cut allowed" in words) is (command == "check")


@pytest.mark.parametrize("grid", ["0.0099", "2.01", "x"])
def test_a_command_takes_the_same_grids_as_python(program, grid, capsys):
    with pytest.raises(SystemExit):
        main(["simulate", program, "--cutter", "flat-end", "3", "--blank", "40", "20", "8", "--resolution", grid])
    assert f"{grid} given; allowed: 0.01 to 2 mm" in capsys.readouterr().err
