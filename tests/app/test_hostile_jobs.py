"""Job files as no maker writes them, through the commands: an answer in words of one line each, soon, never a fault."""

import os
import time
from contextlib import suppress

import pytest

from pathgen.app.cli import main
from tests import small_board

LENGTH = "scale_length = 300.0"
INLAY = """[[inlay]]
artwork = "art.svg"
depth = 1.5
cutters = ["flat"]
place = { at = [45.0, 0.0] }
"""
JOBS = {
    "ratios of 5,000 digits": ({"frets = 5": f'ratios = ["9/8", "{"9" * 5000}/2"]'}, "ratios"),
    "ratios of 5,000 digits below": ({"frets = 5": f'ratios = ["9/8", "5/{"9" * 5000}"]'}, "ratios"),
    "a number of 5,000 digits": ({LENGTH: f"scale_length = {'9' * 5000}"},
                               "whole number of more than 64 bits: write a smaller number"),
    "a decimal of 5,000 digits": ({LENGTH: f"scale_length = {'9' * 5000}.0"}, "scale_length"),
    "a text of 5,000 digits": ({LENGTH: f'scale_length = "{"9" * 5000} mm"'}, "scale_length"),
    "a number past all": ({LENGTH: "scale_length = 1e400"}, "scale_length"),
    "no number": ({LENGTH: "scale_length = nan"}, "scale_length"),
    "a title that grows": ({"[board]": 'title = "' + "\ufdfa" * 300 + '"\n[board]'}, "title"),
    "lines within a name": ({"[[inlay]]": '[[inlay]]\nname = "a\\u2028b\\u0085c\\u001b[31m"'}, "name"),
    "lists within lists": ({LENGTH: f"scale_length = {'[' * 900}{']' * 900}"}, "nested too deep"),
    "a name too long": ({'artwork = "art.svg"': f'artwork = "{"9" * 300}"'}, "artwork"),
    "an outline's name too long": ({"[[inlay]]": f'[outline]\nartwork = "{"9" * 300}"\n[[inlay]]'}, "outline"),
    "a key of a great many parts": ({LENGTH: f"{LENGTH}\n{'a.' * 400_000}a = 1"}, "nested too deep"),
    "a table of a great many parts": ({LENGTH: f"{LENGTH}\n[\"b\" .{'a.' * 400_000}a]"}, "nested too deep"),
    "a folder for a drawing": ({'artwork = "art.svg"': 'artwork = "."'}, "is no file but a folder: name an SVG file"),
    "a device for a drawing": ({'artwork = "art.svg"': 'artwork = "/dev/zero"'}, "is no file but a device"),
    "ridges of nothing": ({"scallop = 0.05": "scallop = 1e-12"}, "[surface] scallop: 1e-12 given (allowed: 0.0005 mm"),
    "more programs than are read": ({"[resin]": INLAY * 100 + "[resin]"}, "203 programs in all (allowed: 200"),
    "a zero in a path": ({'artwork = "art.svg"': 'artwork = "a\\u0000.svg"'}, "artwork"),
}


def answered(path, capsys, *command):
    began = time.process_time()
    status = main([*command, str(path)])
    assert time.process_time() - began < 10.0  # 1 s on an idle machine
    said = "".join(capsys.readouterr())
    assert "fault of the program" not in said
    assert all(c.isprintable() or c in "\n" for c in said)
    assert len(said) < 4000
    return status, said


@pytest.mark.in_every_run(8)
@pytest.mark.parametrize("name", JOBS)
def test_is_refused_in_words(name, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    changes, words = JOBS[name]
    status, said = answered(small_board.job(tmp_path, changes=changes), capsys, "show")
    assert status == 2
    (line,) = [line for line in said.splitlines() if line.startswith("pathgen: ")]
    assert words in line


@pytest.mark.in_every_run(2)
@pytest.mark.parametrize("long", ["x" * 300, "a/" * 3000], ids=["a name", "a path"])
@pytest.mark.parametrize("command", [
    ["build", "JOB", "--out", "LONG"], ["check", "JOB", "LONG"], ["coupon", "JOB", "--out", "LONG"], ["show", "LONG"],
    ["watch", "LONG", "--out", "out"], ["new", "LONG"],
], ids=lambda command: command[0])
def test_a_name_too_long_is_refused_in_words(command, long, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    small_board.job(tmp_path)
    with suppress(SystemExit):  # of the parser
        assert main([{"JOB": "job.toml", "LONG": long}.get(word, word) for word in command]) == 2
    said = "".join(capsys.readouterr())
    assert "fault of the program" not in said
    assert long[:40] in said


def sparse(path):
    path.touch()
    os.truncate(path, 3_000_000_000)


@pytest.mark.parametrize(("make", "words"), [
    (sparse, "larger than 1 MB"), (os.mkfifo, "no file but a pipe"),
    (lambda path: path.mkdir(), "no file but a folder"),
    (lambda path: path.symlink_to(path), "symbolic links"), (lambda path: path.symlink_to("/dev/zero"), "a device"),
    (lambda path: path.write_bytes(b"\xff\xfea\x00"), "not UTF-8"),
])
def test_what_is_no_job_file_is_refused_unread(make, words, tmp_path, capsys):
    make(tmp_path / "job.toml")
    status, said = answered(tmp_path / "job.toml", capsys, "show")
    assert status == 2
    assert words in said
