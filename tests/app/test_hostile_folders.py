"""Folders of programs as no build leaves them, through `check`: an answer in words, soon, in little memory."""

import os
import shutil
import time
from pathlib import Path

import pytest

from pathgen.app import folders
from pathgen.app.cli import main
from pathgen.verify import given_programs
from tests import small_board

NAME = "02-pocket-1-flat.nc"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A job and a set of its programs, never changed."""
    folder = tmp_path_factory.mktemp("made")
    small_board.built(folder, resolution=1.0).write(folder / "out")
    return folder


@pytest.fixture
def checked(made, tmp_path, capsys):
    """What `check` says of the set after a change to it, by its exit status and its words."""
    def check(change):
        shutil.copytree(made / "out", tmp_path / "out")
        change(tmp_path / "out")
        began = time.process_time()
        status = main(["check", str(made / "job.toml"), str(tmp_path / "out"), "--resolution", "1"])
        assert time.process_time() - began < 5.0
        said = "".join(capsys.readouterr())
        assert "fault of the program" not in said
        assert ", ," not in said
        assert all(c.isprintable() or c in "\n" for c in said)
        return status, said
    return check


def lines(*more, again=1):
    """Adds lines before the last lift of the program."""
    def change(folder):
        head, lift, tail = (folder / NAME).read_text().rpartition("\nG0 Z")
        (folder / NAME).write_text(head + "\nG1 X50 Y5 F600" + ("\n" + "\n".join(more)) * again + lift + tail)
    return change


def instead(make):
    """Another thing in the program's place."""
    def change(folder):
        (folder / NAME).unlink()
        make(folder / NAME)
    return change


def large(path):
    path.touch()
    os.truncate(path, 900_000_000)


CHANGES = {
    "an endless radius": (lines("G2 X50 Y5 R" + "1" + "0" * 23), "an arc with R a number of 23 digits mm (allowed"),
    "a centre far out": (lines("G2 X50 Y5 I1" + "0" * 25 + " J0"), "centre lies a number of 26 digits mm away"),
    "a place far out": (lines("G1 X1000000000"), "X at 1000000000 mm (allowed: within 10000 mm)"),
    "cuts all across": (lines("G1 X-9000 Y-9000 F600", "X9000 Y9000", again=40), "a move past the edge of the blank"),
    "a rapid through the wood": (lines("G0 X58 Y-14"), f"inlay 1, {NAME}, line "),
    "a great many arcs": (lines("G2 X50 Y5 I5000", "G3 X50 Y5 I5000", again=300), "too many or too large arcs"),
    "a folder": (instead(Path.mkdir), "is no file but a folder"),
    "a link to nothing": (instead(lambda path: path.symlink_to("nowhere")), "cannot be read (No such file"),
    "a link to itself": (instead(lambda path: path.symlink_to(path)), "symbolic links"),
    "a pipe": (instead(os.mkfifo), "is no file but a pipe"),
    "an endless device": (instead(lambda path: path.symlink_to("/dev/zero")), "is no file but a device"),
    "hundreds of MB": (instead(large), "larger than 32 MB"),
    "no text": (instead(lambda path: path.write_bytes(b"\xff\x00" * 90)), "line 1: the character"),
    "a name that a terminal obeys": (instead(lambda path: path.with_name("a\x1b[31m\u2028.nc").touch()), "no such"),
    "hundreds of programs": (lambda folder: [(folder / f"{k}.nc").touch() for k in range(300)], "303 programs"),
}


@pytest.mark.in_every_run(6)
@pytest.mark.parametrize("name", CHANGES)
def test_is_answered_soon_in_words(checked, name):
    change, words = CHANGES[name]
    status, said = checked(change)
    assert status in (1, 2)
    assert words in said


def test_the_programs_of_a_folder_have_a_limit_together(checked, monkeypatch):
    monkeypatch.setattr(folders, "MOST_TOGETHER", 20_000)
    status, said = checked(lambda folder: None)
    assert status == 2
    assert "programs of more than 0.02 MB together" in said


@pytest.mark.parametrize(("limit", "more", "words"), [
    ("MOST_CHORDS", ("G2 X50 Y5 I5", "G3 X50 Y5 I5"), "03-second-cut-1-ball.nc, line"),
    ("MOST_LINES", ("G1 X50 Y5",), "lines (allowed: 800000 or fewer in all programs)"),
])
def test_arcs_and_lines_are_counted_over_all_programs(checked, monkeypatch, limit, more, words):
    """One program alone would have room."""
    monkeypatch.setattr(given_programs, limit, 5000)  # a circle of radius 5 takes 497

    def change(folder):
        for path in folder.glob("*.nc"):
            head, lift, tail = path.read_text().rpartition("\nG0 Z")
            path.write_text(head + "\nG1 X50 Y5 F600" + ("\n" + "\n".join(more)) * 2 + lift + tail)
        if limit == "MOST_LINES":
            monkeypatch.setattr(given_programs, limit, sum(p.read_text().count("\n") for p in folder.glob("*.nc")) - 1)
    status, said = checked(change)
    assert status == 1
    assert words in said
    assert said.count("or fewer in all" if limit == "MOST_LINES" else "too large arcs") == 1
