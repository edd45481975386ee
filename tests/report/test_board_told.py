"""What is told of a board's frets and strings, against its programs and against lines that are moved by hand."""

import json
import math

import numpy as np
import pytest
import shapely

import pathgen
from pathgen.app.cli import main
from pathgen.job.part import board_of
from tests.small_board import JOB, SLOTS, built, job, moves_and_feeds, text_of

WITHOUT = {JOB[JOB.index("[[inlay]]"):]: ""}
FAN = {**WITHOUT, "scale_length = 300.0": "scale_length = { bass = 330.0, treble = 290.0, straight_fret = 3 }"}
NUT = """
[nut]
cutter = "flat"
width = 3.0
depth = 1.5
"""


def frets_of(path, capsys):
    assert main(["frets", str(path), "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_how_deep_a_level_slot_is_under_the_crown_is_told(tmp_path):
    """Only its depth at the ends was: 2 mm, and 3 mm of wood were gone under the crown."""
    made = built(tmp_path, changes={**WITHOUT, "thickness = 6.5": "thickness = 6.5\nbehind_nut = 5.0"},
                 extra=SLOTS + 'bottom = "flat"\n' + NUT, resolution=0.3)
    _, end, rapid, _ = moves_and_feeds(text_of(made, "slots"))
    for row in made.report["frets"]:
        x, half = row["distance"], row["treble"][1]
        cut = end[~rapid & (np.abs(end[:, 0] - x) < 0.1)]
        radius = 254.0 + (300.0 - 254.0) * x / made.plan.clamping.board.length
        drop = radius - math.sqrt(radius**2 - half**2)  # the sagitta (Machinery's Handbook, segments of circles)
        assert (row["depth"], row["deepest"]) == (1.8, pytest.approx(6.5 - cut[:, 2].min(), abs=2e-3))
        assert row["deepest"] == pytest.approx(1.8 + drop, abs=2e-3)
    deepest = max(row["deepest"] for row in made.report["frets"])
    page, text = made.files()["setup.html"], made.files()["report.txt"]
    assert f"1.8 mm deep at the ends and up to {deepest:.2f} mm under the crown, lowest Z" in page
    nut = 1.5 + 254.0 - math.sqrt(254.0**2 - 20.0**2)
    assert made.report["board"]["nut"]["slot"]["deepest"] == pytest.approx(nut, abs=0.02)
    assert "1.5 mm deep at the ends and up to 2.29 mm under the crown, its bottom level" in text


@pytest.mark.parametrize("changes", [WITHOUT, FAN])
def test_cents_are_the_most_that_either_outer_string_sounds_off(tmp_path, capsys, changes):
    """They were of the centre-line: less than those of the shorter string, and a slant counted for nothing."""
    path = job(tmp_path, changes=changes, extra=SLOTS + "[machine]\nresolution = 0.0001\nrepeatability = 0.05\n")
    layout = board_of(pathgen.load_job(path)).layout
    strings = [shapely.LineString(layout.strings.across(np.stack([layout.lines[0], layout.bridge]), -1)[:, side])
               for side in (0, 1)]
    for row in frets_of(path, capsys):
        worst = 0.0
        for string in strings:
            x, y = string.coords[1]
            a, b = np.array([row["bass"], row["treble"]])
            far = [a - (b - a), b + (b - a)]
            true = string.intersection(shapely.LineString(far)).distance(shapely.Point(x, y))
            for off in ((0.05, 0.05), (0.05, -0.05), (-0.05, 0.05), (-0.05, -0.05)):
                now = string.intersection(shapely.LineString(far + np.array(off))).distance(shapely.Point(x, y))
                worst = max(worst, 1200 * math.log2(true / now))
        assert row["cents"] == pytest.approx(worst, rel=5e-3)


@pytest.mark.parametrize("spacing", ["gaps", "centres"])
@pytest.mark.parametrize("changes", [WITHOUT, FAN])
def test_strings_lie_where_nut_and_saddle_have_them(tmp_path, changes, spacing):
    """The table of the surface under them spaced other strings than `[strings]` says, 1 mm off."""
    strings = f'[strings]\ngauges = [1.2, 1.2, 0.6, 0.6, 0.3, 0.3]\ncourse = {{ strings = 2, gap = 1.0 }}\n' \
              f'spacing = "{spacing}"\n'
    report = built(tmp_path, changes=changes, extra=SLOTS + strings, resolution=0.5).report
    bass, treble = (np.array(report["board"]["nut"][side]) for side in ("bass", "treble"))
    unit = (treble - bass) / np.linalg.norm(treble - bass)
    at = [(bass + row["from_edge"] * unit)[1] for row in report["stringing"]["strings"]]
    assert [row["at_nut"] for row in report["strings"]] == pytest.approx(at, abs=1e-4)
    apart = np.diff([row["at_last_fret"] for row in report["strings"]])
    assert apart[::2] == pytest.approx([2.2, 1.6, 1.3], rel=0.06)  # as near together as its gap, but for the slant


def test_a_partial_fret_is_told_as_one(tmp_path, capsys):
    """The table has where its line meets the edges: it read as if the fret went there."""
    partial = "thickness = 6.5\npartial_frets = [{ fret = 4, across = [3.0, 50.0] }]"
    path = job(tmp_path, changes={**WITHOUT, "thickness = 6.5": partial}, extra=SLOTS)
    assert main(["frets", str(path)]) == 0
    told = [line for line in capsys.readouterr().out.splitlines() if "partial" in line]
    x = 300.0 - 300.0 / 2 ** (4 / 12)
    half = frets_of(path, capsys)[3]["treble"][1]
    where = f"it goes from {x:.3f}, 3.000 to {x:.3f}, {half:.3f} (mm; along, across); the table has where its line"
    assert told == [f"Fret 4 is partial: {where} meets the edges."]
