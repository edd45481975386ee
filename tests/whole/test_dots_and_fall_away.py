"""The example with dots let in, fall-away, a bound fretting sheet and a neck: built, verified, printed."""

import math
import re
from pathlib import Path

import numpy as np
import pytest

import pathgen
from pathgen.base.units import rounded_down
from tests.parts.test_neck import drawn
from tests.plain_cutting import left_by

EXAMPLE = Path(__file__).parents[2] / "examples" / "boards" / "dots-and-fall-away.toml"


@pytest.fixture(scope="module")
def made():
    return pathgen.build(pathgen.load_job(EXAMPLE), resolution=0.25)


def test_it_is_verified_and_falls_away(made):
    assert made.passed
    assert [f for f in made.verification.findings if f.severity != "note"] == []
    again = next(p for p in made.programs if p.operation == "resurface")
    start = 640.0 * (1 - 2 ** (-14 / 12))
    length = 640.0 * (1 - 2 ** (-20 / 12)) + 10.0
    x = np.array([100.0, start, (start + length) / 2, length - 1.0])
    # cut plainly, on the centre-line where a pass lies: 0.5 mm at the end, on a straight line from the 14th fret
    wanted = 6.5 - 0.5 * np.clip((x - start) / (length - start), 0, None)
    assert left_by(again.toolpath, again.cutter, x, np.zeros(4)) == pytest.approx(wanted, abs=3e-3)


def test_the_dots_are_pockets_between_their_frets(made):
    dots = made.plan.clamping.inlays[0]
    assert dots.fill == "piece"
    at = sorted(part.centroid.x for part in dots.area.geoms)
    frets = [3, 5, 7, 9, 12, 12, 15, 17, 19]
    assert at == pytest.approx([640.0 * (1 - (2 ** (-f / 12) + 2 ** (-(f - 1) / 12)) / 2) for f in frets], abs=1e-6)
    text = re.sub(r"<[^>]+>", " ", made.files()["setup.html"])
    # 1.3 mm deep, 0.5 mm proud at most, on a floor that is less deep down the slope
    most = rounded_down(1.8 - made.report["inlays"][0]["floor_high"])
    assert 1.6 < most < 1.8
    assert f"9 of 6 mm diameter, thicker than 1.3 mm, {most:g} mm at most." in text
    assert f"inlay 1 (dots): pieces thicker than 1.3 mm, {most:g} mm at most, glued in." in made.files()["report.txt"]
    assert made.report["inlays"][0]["reachable_area"] == pytest.approx(dots.area.area, rel=2e-3)


def test_the_fretting_sheet_is_bound_and_printed(made):
    """A tang is nipped by the binding, 1.5 mm square to the edge, the gap of 0.5 and the overhang of 2."""
    rows = made.report["fretting"]["frets"]
    assert len(rows) == 20
    for row in rows:
        assert row["nipped"] == pytest.approx([4.0, 4.0], abs=0.01)
        assert row["tang"] == pytest.approx(row["length"] - 8.0, abs=0.02)
    page = made.files()["setup.html"]
    assert ", falling away 0.5 mm" in page
    assert "Fretting strip, 20 frets at true size" in page
    assert "Drilling template for 9 side dots at true size" in page
    true = re.findall(r'<svg [^>]*aria-label="[^"]* at true size"[^>]*>', page)  # as printed: tests/browser/paper.py
    assert len(true) == 2
    for picture in true:
        wide, high = (re.search(rf' {side}="([\d.]+mm)"', picture)[1] for side in ("width", "height"))
        assert f'style="width: {wide}; height: {high}; max-height: none"' in picture
    assert page.index('id="fretting"') < page.index('id="stringing"') < page.index('id="neck"')


def test_the_neck_on_the_page_is_that_of_the_drawing(made):
    job = made.job
    joint = 640.0 * (1 - 2 ** (-14 / 12))
    _, height = drawn(job.neck, scale_length=640.0, joint=joint, thickness=6.5)
    assert made.report["neck"]["saddle"] == pytest.approx(height, abs=1e-4)
    text = re.sub(r"<[^>]+>", " ", made.files()["setup.html"])
    assert f"{round(height, 2):g} mm (range 10 mm to 14 mm)" in text
    assert made.report["neck"]["joint"] == pytest.approx(joint, abs=1e-4)
    assert math.isclose(made.report["neck"]["angle"], 0.1)


@pytest.mark.parametrize(("old", "new", "words"), [
    ("drop = 0.5", "drop = 7.0", r"fall_away drop: 7.0 given \(allowed: 0\.01 mm to 3 mm\)"),
    ("diameter = 6.0\ndepth = 1.3", "diameter = 12.0\ndepth = 1.3", r"dot of fret 19 reaches under a fret: 12\.10 mm"),
    ("action_12 = 2.0\ntenon", "action_12 = -0.5\ntenon", r"-0\.5 mm: the string would lie under the frets' tops"),
    ("gauges = [1.17, ", "gauges = [", r"6 given, and the board has 5 strings"),
    ("drop = 0.5", "drop = 3.0", r"leaves 0\.\d\d mm"),
])
def test_bad_numbers_are_refused(tmp_path, old, new, words):
    text = EXAMPLE.read_text()
    assert old in text
    (tmp_path / "board.toml").write_text(text.replace(old, new))
    with pytest.raises(pathgen.JobError, match=words):
        pathgen.build(pathgen.load_job(tmp_path / "board.toml"))
