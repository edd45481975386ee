"""A job to start from, and the picture of where everything lies."""

import os
import re
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest

import pathgen
from pathgen.app import starting
from pathgen.app.cli import main
from pathgen.app.folders import RECORD
from pathgen.app.showing import placing_lines
from pathgen.job.clamping import clamping_of
from pathgen.removal import material
from pathgen.report.placed import placed_sizes, placed_words
from pathgen.verify import verify, verify_once
from tests.small_board import ART, JOB

HOUSE = Path(__file__).parents[2]


def test_a_new_job_builds_as_it_stands(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["new", "my board"]) == 0
    lines = Path("my board.toml").read_text().splitlines()
    assert len(lines) <= 26
    assert max(map(len, lines)) <= 120
    assert {line.split()[0] for line in lines} >= {
        "cutter", "stock", "setup", "surface", "slots", "outline", "[board]", "[[inlay]]"}
    assert sum("#" in line for line in lines) >= 10
    result = pathgen.build(pathgen.load_job("my board.toml"), resolution=0.25)
    assert result.passed
    assert not result.report["checks"]["findings"], "no blemish for who begins"
    assert not result.report["inlays"][0]["thickened"], "room for a dam round each colour"
    assert [p.operation for p in result.programs] == ["surface-finish", "pocket", "resurface", "slots", "outline"]
    assert result.job.title == "my board"
    assert 'pathgen build "my board.toml" --out "my board"\n' in capsys.readouterr().out
    assert main(["new", "my board"]) == 2
    assert "is there already" in capsys.readouterr().err


@pytest.mark.in_every_run(0)
def test_what_only_a_coarse_grid_would_forbid_is_looked_at_on_a_finer_one(tmp_path, monkeypatch):
    """At 1 mm single points between tabs pass for tabs, and what one point sees for a cut down to the bed."""
    monkeypatch.chdir(tmp_path)
    assert main(["new", "coarse"]) == 0
    job = Path("coarse.toml")
    job.write_text(job.read_text().replace('outline = { cutter = "wide"', 'outline = { cutter = "flat"'))
    made = pathgen.build(pathgen.load_job("coarse.toml"), resolution=1.0)
    texts = {program.file_name: program.text for program in made.programs}
    assert made.passed
    assert not verify_once(made.plan.clamping, texts, resolution=1.0).passed
    outline = made.programs[-1].file_name
    skipped = {**texts, outline: texts[outline].replace("Z5.2325", "Z3.4217")}
    assert skipped != texts
    found = verify(made.plan.clamping, skipped, resolution=1.0).findings
    assert {f.code for f in found if f.severity == "forbid"} == {"cut-too-deep", "plunge-too-fast"}
    # where the finer look would take more work than both are allowed, what the coarse one saw stands
    coarse = verify_once(made.plan.clamping, texts, resolution=1.0)
    monkeypatch.setattr(material, "MOST_WORK", 1.2 * sum(coarse.simulation.worked.values()))
    monkeypatch.setattr(material, "_OF_A_LINE", 0)
    found = verify(made.plan.clamping, texts, resolution=1.0)
    assert [str(f) for f in found.findings] == [str(f) for f in coarse.findings]


@pytest.mark.in_every_run(0)
def test_a_refused_build_says_that_what_lies_there_is_of_an_earlier_one(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["new", "one"]) == 0
    assert main(["build", "one.toml", "--out", "out", "--resolution", "0.4", "--no-pictures"]) == 0
    job = Path("one.toml")
    path = sorted(Path("out").glob("*.nc"))[0]
    made = path.read_text()
    path.write_text(made.replace("M30", "M30\n"))
    capsys.readouterr()
    assert main(["build", "one.toml", "--out", "out"]) != 0
    said = capsys.readouterr().err
    assert "was changed since it was written" in said
    assert "earlier build" not in said  # the job is the same, and its programs good
    path.write_text(made)
    Path("out", "mine.nc").write_text("G0 X1")
    assert main(["build", "one.toml", "--out", "out"]) != 0
    said = capsys.readouterr().err
    assert ("holds mine.nc, which" in said, "earlier build of" in said) == (True, False)
    Path("out", "mine.nc").unlink()
    with monkeypatch.context() as here:
        here.setattr("pathgen.app.building.build", _stopped)
        assert main(["build", "one.toml", "--out", "out"]) == 2
    assert capsys.readouterr().err == "pathgen: stopped; nothing was written\n"
    for thick, out, told in (("thickness = 99", "out", True), ("thickness = 99", "elsewhere", False)):
        job.write_text(re.sub(r"(?m)^thickness = [\d.]+", thick, job.read_text(), count=1))
        capsys.readouterr()
        assert main(["build", "one.toml", "--out", out]) != 0
        assert ("The programs in out are of an earlier build of this job: do not cut them for the job as it is now."
                in capsys.readouterr().err) == told
    assert main(["new", "two"]) == 0
    assert main(["build", "two.toml", "--out", "out", "--resolution", "0.4", "--no-pictures"]) != 0
    assert "The programs in out are of another job: do not cut them for this one." in capsys.readouterr().err
    Path("copy.toml").write_text(job.read_text())  # the same job in another file
    assert main(["build", "copy.toml", "--out", "out"]) != 0
    assert "The programs in out are of an earlier build of this job: do not cut" in capsys.readouterr().err


@pytest.mark.in_every_run(0)
def test_what_is_built_is_written_though_nobody_reads_on(tmp_path, monkeypatch):
    """As where the terminal's output goes to `head`; what was forbidden ends so too."""
    monkeypatch.chdir(tmp_path)
    assert main(["new", "one"]) == 0
    Path("bad.toml").write_text(Path("one.toml").read_text().replace("thickness = 8", "thickness = 5"))
    for job, status in (("one", 0), ("bad", 2)):
        read, write = os.pipe()
        os.close(read)
        call = [sys.executable, "-u", "-m", "pathgen", "build", f"{job}.toml", "--out", job, "--resolution", "0.4",
                "--no-pictures"]
        ended = subprocess.run(call, stdout=write, stderr=write if status else subprocess.PIPE, check=False, text=True,
                               env={**os.environ, "PYTHONPATH": str(HOUSE)})
        os.close(write)
        assert ended.returncode == status
        assert not ended.stderr
        assert Path(job, "setup.html").is_file() == (status == 0)


def test_the_blank_that_a_refusal_asks_for_also_holds_the_tabs(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(["new", "narrow"]) == 0
    job = Path("narrow.toml")
    stock = re.search(r"(?m)^stock = .*?width = ([\d.]+)", job.read_text())
    job.write_text(job.read_text()[: stock.start(1)] + "40" + job.read_text()[stock.end(1) :])
    with pytest.raises(pathgen.PathgenError, match="the board does not lie within the blank") as refused:
        pathgen.build(pathgen.load_job("narrow.toml"), resolution=0.4)
    asked = re.search(r"width ([\d.]+) mm or more", str(refused.value))[1]
    job.write_text(job.read_text().replace("width = 40", f"width = {asked}"))
    assert pathgen.build(pathgen.load_job("narrow.toml"), resolution=0.4).passed


@pytest.mark.parametrize("name", ["", "..", "a/b\nc", '"; x', "-x"])
def test_names_that_no_file_can_have(tmp_path, monkeypatch, name):
    monkeypatch.chdir(tmp_path)
    assert main(["new", "--", name]) == 2
    assert not list(tmp_path.iterdir())


@pytest.mark.in_every_run(0)
def test_dots_are_told_as_dots_when_shown_and_when_built(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    example = HOUSE / "examples" / "boards" / "dots-and-fall-away.toml"
    for command, *more in (["show"], ["build", "--out", "out", "--no-pictures", "--resolution", "0.6"]):
        assert main([command, str(example), *more]) == 0
        assert "Inlay 1 (dots), #" in capsys.readouterr().out


def test_the_placing_is_a_picture_of_the_whole_set_up(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["show", str(HOUSE / "examples" / "fern-and-moth.toml")]) == 0
    said = capsys.readouterr().out
    assert "Inlay 2, #c8962e: " in said
    assert "nothing is planned" in said
    picture = ElementTree.parse("fern-and-moth-placing.svg").getroot()
    classes = [node.get("class") for node in picture.iter() if node.get("class")]
    assert sum(c.startswith("landmark ") for c in classes) == 20
    assert classes.count("clamp") == 2
    fills = {node.get("fill") for node in picture.iter()}
    assert {"#2f6f4f", "#c8962e"} <= fills
    assert main(["show", str(HOUSE / "examples" / "fern-and-moth.toml")]) == 0  # over its own
    Path("other.svg").write_text("<svg/>")
    assert main(["show", str(HOUSE / "examples" / "fern-and-moth.toml"), "--picture", "other.svg"]) == 2
    assert Path("other.svg").read_text() == "<svg/>"


def test_a_zero_that_the_part_does_not_have_is_told_with_the_rest_and_the_picture_made(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["new", "one"]) == 0
    job, drawing = Path("one.toml"), Path("one.svg")
    job.write_text(job.read_text().replace("setup = { ", 'setup = { zero = "blank-near-lower", '))
    drawing.write_text(drawing.read_text().replace("</svg>", '<text id="name">fern</text></svg>'))
    assert main(["show", "one.toml"]) == 2
    said = capsys.readouterr()
    assert '"blank-near-lower" is nowhere on the board' in said.err
    assert "name" in said.err
    assert "The picture is one-placing.svg" in said.out
    assert "No picture" not in said.err
    assert Path("one-placing.svg").exists()
    job.write_text(job.read_text().replace("frets = 20", "frets = 0"))
    assert main(["show", "one.toml", "--picture", "two.svg"]) == 2
    assert "No picture was made." in capsys.readouterr().err
    assert not Path("two.svg").exists()


def test_showing_plans_nothing():
    """No strategy for pockets, no verification and no image library is even loaded."""
    code = ("import sys; from pathgen.app.cli import main; main(['show', sys.argv[1], '--picture', sys.argv[2]]); "
            "print(*[m for m in ('pathgen.verify.check', 'pathgen.removal.material', 'PIL') if m in sys.modules])")
    said = subprocess.run(
        [sys.executable, "-c", code, str(HOUSE / "examples" / "fern-and-moth.toml"), "/dev/null/no.svg"],
        capture_output=True, text=True, cwd=HOUSE, check=True,
    )
    assert "cannot be written" in said.stderr
    assert said.stdout.strip() == ""


@pytest.mark.parametrize("argument", [
    "--what=\x1b[2J\u2028x", "--resolution=\x1b]0;x\x07", "--resolution=" + "9" * 5000, "--resolution=nan",
    "--resolution=twelve", "--what=\udcff",
])
def test_arguments_that_are_not_known_are_repeated_as_text_in_one_short_line(capsys, argument):
    with pytest.raises(SystemExit) as ended:
        main(["check", "board.toml", "out", argument])
    assert ended.value.code == 2
    *_, words = capsys.readouterr().err.removesuffix("\n").split("\n")
    assert words.isprintable()
    assert len(words) < 400
    assert argument.startswith("--what") or words.endswith("given; allowed: 0.01 to 2 mm")


def test_drawings_of_other_sizes_are_told_as_the_report_tells_them(tmp_path):
    (tmp_path / "art.svg").write_text(ART)
    also = 'also = [{ artwork = "art.svg", place = { at = [80.0, 0.0], width = 12.0 } }]\n[resin]'
    (tmp_path / "job.toml").write_text(JOB.replace("[resin]", also, 1))
    job = pathgen.load_job(tmp_path / "job.toml")
    told = next(iter(placing_lines(job, clamping_of(job))))
    sizes = placed_words(placed_sizes(clamping_of(job).inlays[0]), "mm")
    assert "2 drawings placed 9.6 mm by 4.8 mm to 32 mm by 16 mm" in sizes
    assert told.endswith(f"{sizes}.")


def test_a_rapid_through_the_blank_is_marked_and_volumes_are_in_its_unit(tmp_path, capsys):
    (tmp_path / "some.nc").write_text("G21 G90 G17\nM3 S10000\nG0 X0 Y0 Z5\nG1 Z-1 F200\nG1 X50 F800\nG0 X80\nG0 Z5\n")
    assert main(["simulate", str(tmp_path / "some.nc"), "--cutter", "flat-end", "1/8 in", "--blank", "6 in", "3 in",
                 "1/2 in", "--zero", "0", "0", "1/2 in", "--resolution", "0.5"]) == 0
    lines = capsys.readouterr().out.splitlines()
    marked = [line.split(":")[0] for line in lines if "a rapid through the work" in line]
    assert marked == ["line 6"]
    assert not [line for line in lines if "mm3" in line]
    assert "cu in in" in lines[0]


def test_a_program_after_the_surface_is_simulated_over_the_surface(tmp_path, capsys):
    """A rapid 6.2 mm up, over a surface at 6 mm, goes through a raw blank of 8 mm."""
    (tmp_path / "some.nc").write_text("G21 G90 G17\nM3 S10000\nG0 Z20\nG0 X10 Y0\nG1 Z5 F200\nG1 X50 F800\nG0 Z6.2\n"
                                      "G0 X80\nG0 Z20\nM30\n")
    asked = ["simulate", str(tmp_path / "some.nc"), "--cutter", "flat-end", "3", "--blank", "100", "40", "8",
             "--resolution", "0.5"]
    assert main(asked) == 0
    said = capsys.readouterr().out
    assert "a rapid through the work" in said
    assert "say so with --surfaced, --thickness and --radius" in said
    assert main([*asked, "--surfaced", "--thickness", "6", "--radius", "300"]) == 0
    said = capsys.readouterr().out
    assert "rapid" not in said
    assert "--surfaced" not in said
    assert main([*asked, "--surfaced"]) == 2
    assert "--surfaced: without --thickness" in capsys.readouterr().err


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("stream", ["stdout", "stderr"])
def test_it_works_without_a_terminal_or_a_file_to_write_to(tmp_path, monkeypatch, stream):
    """As where a script closes them, or a system starts it without any."""
    monkeypatch.chdir(tmp_path)
    assert main(["new", "one"]) == 0
    monkeypatch.setattr(sys, stream, None)
    assert main(["build", "one.toml", "--out", "out", "--resolution", "0.4", "--no-pictures"]) == 0
    assert Path("out", "setup.html").is_file()


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="the system has no full disk to write to")
def test_where_an_answer_cannot_be_written_that_is_no_success(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(["new", "one"]) == 0
    with open("/dev/full", "w") as full:
        ended = subprocess.run([sys.executable, "-m", "pathgen", "frets", "one.toml"], stdout=full, check=False,
                               stderr=subprocess.PIPE, text=True, env={**os.environ, "PYTHONPATH": str(HOUSE)})
    assert (ended.returncode, ended.stderr) == (
        2, "pathgen: output: cannot be written (No space left on device): send it elsewhere\n")


def _stopped(*_, **__):
    raise KeyboardInterrupt


@pytest.mark.in_every_run(0)
def test_who_stops_it_after_all_is_written_is_not_told_that_nothing_was(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["new", "one"]) == 0

    for place, told in (("write_build", "nothing was written"), ("compared", "what was made is written")):
        with monkeypatch.context() as here:
            here.setattr(f"pathgen.app.{'building' if place == 'write_build' else 'earlier'}.{place}", _stopped)
            assert main(["build", "one.toml", "--out", "out", "--resolution", "0.4", "--no-pictures"]) == 2
        assert capsys.readouterr().err == f"pathgen: stopped; {told}\n"
        assert Path("out").exists() == (place == "compared")


@pytest.mark.parametrize(("module", "told"), [("argparse", "pathgen: stopped\n"),
                                              ("numpy", "pathgen: stopped; nothing was written\n")])
def test_who_stops_it_while_it_is_loading_sees_no_traceback(tmp_path, module, told):
    (tmp_path / f"{module}.py").write_text("raise KeyboardInterrupt")
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / RECORD).write_text("{}")  # of what lies there nothing is said: that would load it again
    said = subprocess.run([sys.executable, "-m", "pathgen", "build", "one.toml", "--out", "out"], capture_output=True,
                          text=True, cwd=tmp_path, check=False, env={**os.environ, "PYTHONPATH": str(HOUSE)})
    assert (said.returncode, said.stderr) == (2, told)


def test_ends_of_lines_are_no_other_job(tmp_path):
    """As where a folder went through a system that ends lines in two characters: XML 1.0, 2.11 takes them for one."""
    job, drawing = starting.start_job(str(tmp_path / "one"))
    was = pathgen.load_job(job).fingerprint
    for path in (job, drawing):
        path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    assert pathgen.load_job(job).fingerprint == was
    drawing.write_bytes(drawing.read_bytes() + b"<!-- -->")
    assert pathgen.load_job(job).fingerprint != was


def test_it_says_which_version_it_is(capsys):
    with pytest.raises(SystemExit) as ended:
        main(["--version"])
    assert (ended.value.code, capsys.readouterr().out) == (0, f"pathgen {pathgen.__version__}\n")


def test_the_command_line_begins_without_the_libraries_for_numbers():
    """What only tells a version, a help or a slip of the command line needs none of them."""
    loaded = "import pathgen.app.cli, sys; print({'numpy', 'shapely'} & set(sys.modules))"
    told = subprocess.run([sys.executable, "-c", loaded], capture_output=True, text=True, check=True)
    assert told.stdout == "set()\n"
