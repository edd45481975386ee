"""Each example does one first use with public names, in under 20 lines, and writes what it makes."""

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

import pathgen

ROOT = Path(__file__).parents[2]
EXAMPLES = sorted((ROOT / "examples").glob("*.py"))


def run(name, folder, *words):
    return subprocess.run(
        [sys.executable, str(ROOT / "examples" / name), *words], cwd=folder, capture_output=True, text=True, check=True,
        env={"PYTHONPATH": str(ROOT), "PATH": ""},
    ).stdout


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_short_and_public(path):
    tree = ast.parse(path.read_text())
    code = [node for node in tree.body[1:] if not isinstance(node, ast.Import | ast.ImportFrom)]
    lines = {n for node in code for n in range(node.lineno, node.end_lineno + 1)}
    assert len(lines) < 20
    imported = [node for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)]
    assert not [node for node in imported if (node.module or "").startswith("pathgen")]


def test_drawing_to_pocket_programs(tmp_path):
    said = run("artwork_to_pockets.py", tmp_path)
    written = sorted((tmp_path / "pockets").glob("*.nc"))
    assert len(written) == len(said.splitlines()) == 4
    for path in written:
        program = pathgen.read_program(path.read_text())
        assert program.ended
        x, y, z = program.end[program.kind != 0].T
        under = pathgen.radiused(thickness=6.5, start=254.0, end=355.6, length=448.4).height(x, y) - z
        # straight down at most 1.6 mm, and for a flat end over a slope a little less
        assert 1.5 < under.max() < 1.6 + 1e-3


def test_second_cut_over_a_fill(tmp_path):
    said = run("cut_again_after_the_fill.py", tmp_path)
    assert {path.name for path in tmp_path.iterdir()} == {"first.nc", "again.nc"}
    low, high = map(float, re.search(r"([+-][\d.]+) to ([+-][\d.]+) um", said).groups())
    assert -0.5 <= low <= high <= 10.0  # nothing below, ridges of 0.01 mm above


def test_ridges_of_a_program_from_a_file(tmp_path):
    first = run("scallop_height.py", tmp_path)
    assert 9.5 < float(re.search(r"up to ([\d.]+) um", first)[1]) < 10.1
    again = run("scallop_height.py", tmp_path, str(tmp_path / "finish.nc"))
    assert again == first
