"""Every command's own example: all that it prints and writes is as it was made, word by word."""

import re
import shlex
import shutil
from pathlib import Path

import pytest

from pathgen.app.cli import main
from tests.as_made import hold_rows, words_row
from tests.report.test_words import commands

ROOT = Path(__file__).resolve().parents[2]
SMALL = "examples/boards/zero-fret-arched.toml"
OTHERS = {"watch": "it goes on until it is stopped", "check": "needs a build before it: `build` is followed by one"}
POCKET = "G21 G90 G17 G94\nG0 Z20\nM3 S9000\nG0 X9 Y9\nG1 Z6.5 F300\nX35 F900\nG0 Z20\nM5\nM30\n"
QUICKER = {"examples/fern-and-moth.toml": SMALL}


def quick(name, example):
    """The words of an example, of a board that is planned soon, on a coarse grid where one may be chosen."""
    words = shlex.split(example)[1:]
    if name in ("build", "compare", "reach"):
        words = [QUICKER.get(word, word) for word in words]
    return [*words, "--resolution", "0.5"] if "--resolution" in commands()[name].format_help() else words


@pytest.mark.in_every_run(3)
@pytest.mark.parametrize("name", sorted(commands().keys() - OTHERS))
def test_all_that_it_prints_and_writes(name, tmp_path, monkeypatch, capsys):
    shutil.copytree(ROOT / "examples", tmp_path / "examples")
    (tmp_path / "pocket.nc").write_text(POCKET)
    monkeypatch.chdir(tmp_path)
    before = {path for path in tmp_path.rglob("*") if path.is_file()}
    words = quick(name, re.search(r"example: pathgen (.*)$", commands()[name].format_help(), re.M)[1])
    runs = [[name, *words], *([["check", words[0], "out/", "--resolution", "0.5"]] if name == "build" else [])]
    rows = []
    for run in runs:
        assert main(run) == 0
        said = capsys.readouterr()
        rows += [words_row(f"{run[0]} {which}", [re.sub(r"[\d.]+ s\b|(?<=pathgen )[\d.]+", "", text)])
                 for which, text in zip(("out", "err"), said, strict=True)]
    for path in sorted({path for path in tmp_path.rglob("*") if path.is_file()} - before):
        if path.suffix in (".html", ".svg", ".txt", ".toml", ".nc"):
            rows.append(words_row(str(path.relative_to(tmp_path)), [path.read_text()]))
    hold_rows(f"command {name}", rows)
