"""What the terminal says: an example in every help, data for scripts, colour and progress only on a terminal."""

import argparse
import io
import json
import math
import re
import shlex
import subprocess
import sys
import time
from dataclasses import fields
from pathlib import Path

import pytest

import pathgen
from pathgen.app.arguments import parser
from pathgen.app.cli import main
from pathgen.app.starting import JOB
from pathgen.app.terminal import RED, coloured, progress, say_json, wants_colour
from pathgen.job.describe import key_rows, key_table
from pathgen.job.job import REPEATED, TABLES
from pathgen.job.load import load_job
from pathgen.report.board_text import wood_lines
from pathgen.report.text import report_text
from pathgen.report.wording import left_out_words
from tests import small_board
from tests.random_jobs import COARSE
from tests.report.conftest import written_job

ROOT = Path(__file__).resolve().parents[2]


class Terminal(io.StringIO):
    def isatty(self):
        return True


def commands():
    action = next(a for a in parser()._actions if isinstance(a, argparse._SubParsersAction))
    return action.choices


@pytest.mark.parametrize("name", list(commands()))
def test_every_help_ends_in_an_example_that_the_parser_takes(name):
    help_text = commands()[name].format_help()
    example = re.search(r"example: pathgen (.*)$", help_text, re.M)
    assert example, help_text
    options = parser().parse_args(shlex.split(example[1]))
    assert options.run is not None
    assert all(action.help for action in commands()[name]._actions)
    job = getattr(options, "job", None)
    assert job is None or (ROOT / job).is_file()


@pytest.mark.parametrize("name", ["build", "check", "frets", "compare", "keys"])
def test_json_is_there_for_scripts(name):
    assert "--json" in commands()[name].format_help()


def test_what_json_has_no_word_for_is_not_printed_as_if_it_had():
    """P: RFC 8259, section 6: values such as Infinity and NaN are not permitted."""
    for value in (math.nan, math.inf):
        with pytest.raises(ValueError, match="not JSON compliant"):
            say_json({"a": value})


def test_build_and_check_for_scripts(tmp_path, capsys):
    job = str(written_job(tmp_path, title="Fern"))
    out = str(tmp_path / "out")
    assert main(["build", job, "--out", out, "--resolution", "0.3", "--json", "--pictures"]) == 0
    printed = capsys.readouterr()
    report = json.loads(printed.out)
    assert report["title"] == "Fern"
    assert "files written" in printed.err
    assert json.loads((tmp_path / "out" / "report.json").read_text()) == report
    assert {"setup.html", "board.svg", "section-1.svg", "ridges.svg"} <= {p.name for p in Path(out).iterdir()}
    assert main(["check", job, out, "--resolution", "0.3", "--json"]) == 0
    checks = json.loads(capsys.readouterr().out)
    assert checks["passed"] is True
    assert checks["findings"]
    assert checks["findings"] == report["checks"]["findings"]
    assert main(["frets", job, "--json"]) == 0
    rows = json.loads(capsys.readouterr().out)
    assert [row["fret"] for row in rows] == [1, 2, 3, 4, 5, 6]
    assert rows == report["frets"]
    assert main(["frets", job]) == 0
    assert "under pockets before it" in capsys.readouterr().out
    assert any(row["wood"]["pocket"] for row in rows)
    assert "under pockets" not in wood_lines([row | {"wood": row["wood"] | {"pocket": None}} for row in rows], "mm")[1]


def test_colour_only_for_eyes(monkeypatch):
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setenv("TERM", "xterm")
    assert coloured("x", RED, io.StringIO()) == "x"
    assert coloured("x", RED, Terminal()) == "\x1b[31mx\x1b[0m"  # ECMA-48, select graphic rendition
    monkeypatch.setenv("NO_COLOR", "1")  # no-color.org: present and not empty
    assert not wants_colour(Terminal())
    monkeypatch.setenv("NO_COLOR", "")
    monkeypatch.setenv("TERM", "dumb")
    assert not wants_colour(Terminal())


def test_progress_shows_on_a_terminal_when_it_takes_long_and_goes_away():
    pipe, quick, slow = io.StringIO(), Terminal(), Terminal()
    for stream, delay, lasts in ((pipe, 0.05, 0.3), (quick, 5.0, 0.0), (slow, 0.05, 0.3)):
        with progress(2, stream, delay=delay) as tell:
            tell("planning the cuts")
            tell("cutting in simulation")
            time.sleep(lasts)
    assert pipe.getvalue() == quick.getvalue().strip() == ""
    assert "cutting in simulation" in slow.getvalue()
    assert slow.getvalue().split("\r")[-2].strip() == ""


def test_a_pipe_gets_plain_text(tmp_path):
    job = written_job(tmp_path, title="Fern")
    done = subprocess.run(
        [sys.executable, "-m", "pathgen", "build", str(job), "--out", str(tmp_path / "out"), "--resolution", "0.4"],
        capture_output=True, text=True, check=False, cwd=ROOT,
    )
    assert done.returncode == 0, done.stderr
    assert "\x1b" not in done.stdout + done.stderr
    assert done.stderr == ""


def test_the_readme_shows_the_job_that_new_writes():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    block = re.search(r"<!-- job: made by .*? -->\n```toml\n(.*?)```\n<!-- end of job -->", readme, re.S)
    assert block, "README.md has no whole job"
    assert block[1] == JOB.format(name="my-board"), "run .ci/refresh-readme"


def test_the_readme_lists_every_key_as_the_code_has_it():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    block = re.search(r"<!-- keys: made by .*? -->\n(.*)\n<!-- end of keys -->", readme, re.S)
    assert block, "README.md has no list of keys"
    assert block[1].splitlines() == key_table(), "run .ci/refresh-readme"


def test_keys_of_a_table_that_may_stand_in_several_are_listed_once():
    lines = key_table()
    places = [line for line in lines if line.split(" | ")[0].endswith("place")]
    assert not places
    assert sum(line.startswith("| place, in any table | `at` |") for line in lines) == 1
    for row in key_rows():  # and none is lost
        assert any(line.startswith((f"| {row.table} | `{row.key}` |",
                                    f"| {row.table.split()[-1] if row.table else ''}, in any table | `{row.key}` |"))
                   and line.endswith(f"| {row.meaning} |") for line in lines), row


def test_the_list_of_keys_is_complete_and_says_what_each_holds():
    rows = key_rows()
    assert {(r.table, r.key) for r in rows} >= {
        (f"[[{name}]]" if name in REPEATED else f"[{name}]", key.name)
        for name, table in TABLES.items() for key in fields(table) if "doc" in key.metadata
    }
    for row in rows:
        assert row.holds, row
        assert row.default, row
        assert row.meaning, row
    inner = {r.table for r in rows}
    assert {"[board] radius", "[[inlay]] place", "[setup] keep_out"} <= inner


def test_stated_defaults_are_what_a_job_gets(tmp_path):
    """A default that is a number with mm, or a word, must be what a job in mm without that key gets."""
    text = written_job(tmp_path, title="Fern").read_text()
    (tmp_path / "plain.toml").write_text(re.sub(r"tabs = 4\n", "", text).replace('units = "mm"', ""))
    job = load_job(tmp_path / "plain.toml")
    tables = {"[machine]": job.machine, "[outline]": job.outline, "[surface]": job.surface, "[setup]": job.setup}
    checked = 0
    for row in key_rows():
        if row.table in tables and re.fullmatch(r"[\d.]+ mm(, or [\d.]+ in of a job in inches)?", row.default):
            assert getattr(tables[row.table], row.key) == pytest.approx(float(row.default.split(" mm")[0])), row
            checked += 1
    assert checked >= 8


def test_what_the_readme_shows_is_there():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    pictures = re.findall(r"!\[[^\]]+\]\(([^)]+)\)", readme)
    assert len(pictures) >= 2
    for picture in pictures:
        assert (ROOT / picture).stat().st_size < 60_000
    headings = {re.sub(r"[^a-z0-9 -]", "", heading.lower()).replace(" ", "-")
                for heading in re.findall(r"^## (.+)", readme, re.M)}
    links = re.findall(r"\]\(#([^)]+)\)", readme)
    assert len(links) > 20
    assert [link for link in links if link not in headings] == []
    for name in commands():
        assert f"pathgen {name}" in readme
    python = re.search(r"```python\n(.*?)```", readme, re.S)
    assert python
    for name in re.findall(r"pathgen\.(\w+)\(", python[1]):
        assert callable(getattr(pathgen, name))


def test_of_very_much_left_out_the_first_is_named():
    named = left_out_words([f"text {i}" for i in range(30_000)])
    assert named == [*(f"text {i}" for i in range(50)), "and 29950 more: report.json lists them all"]
    assert left_out_words(["text 1"]) == ["text 1"]


def test_the_nut_is_in_the_fret_table_and_its_slot_under_it(capsys):
    """Half its width on each side of the centre-line, where the frets are counted from."""
    boards = Path(__file__).parents[2] / "examples" / "boards"
    assert main(["frets", str(boards.parent / "fern-and-moth.toml")]) == 0
    rows = capsys.readouterr().out.splitlines()
    width = load_job(boards.parent / "fern-and-moth.toml").board.nut_width
    row = next(line.split() for line in rows if line.split()[:1] == ["nut"])
    assert row[:4] == ["nut", "0.000", "0.0000", "0"]
    assert [float(row[k].strip(",")) for k in (5, 6, 7, 8)] == [0.0, -width / 2, 0.0, width / 2]
    assert main(["frets", str(boards / "zero-fret-arched.toml")]) == 0
    said = capsys.readouterr().out
    deep = "2 mm deep at the ends and up to 2.88 mm under the crown, its bottom level."
    assert f"The nut's slot: -8 mm to -3 mm along, {deep}" in said
    assert not [line for line in said.splitlines() if line.split()[:1] == ["nut"]]  # fret 0 stands there


def test_um_is_explained_where_it_first_stands(built):
    text = built.files(shaded=False)["report.txt"]
    assert "um: thousandths of a millimetre" in text[: text.index(" um ") + 120]
    assert "thousandths" not in report_text(built.report, "in")


def test_a_board_without_side_dots_has_no_empty_list_of_them(tmp_path):
    """Where no fret has one, or none is wanted."""
    report = small_board.built(tmp_path, resolution=COARSE).report
    assert "Side dots" in report_text(report, "mm")
    assert "Side dots" not in report_text({**report, "side_dots": []}, "mm")


def test_um_is_explained_where_it_first_stands_on_a_page(built):
    html = built.files(shaded=False)["setup.html"]
    said = re.sub(r"<svg.*?</svg>|<[^>]+>", "", html, flags=re.DOTALL)
    assert "µm: thousandths of a millimetre" in said[: said.index(" µm") + 60]
