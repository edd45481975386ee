"""The example with three colours in two stages: flush, no wood lost, every visible edge where it is drawn.

What each program opens is worked out here from its text: a flat end of radius r opens all within r of its path.
"""

from pathlib import Path

import numpy as np
import pytest
import shapely

import pathgen
from tests.small_board import left_by_ball, moves, text_of

EXAMPLE = Path(__file__).parents[2] / "examples" / "moth-three-colours.toml"
TAN, LEAF, PALE = "#b5762b", "#7fb48a", "#efe6d2"
RADII = {"flat 3": 1.5, "flat 1": 0.5}
EDGE = 0.03


@pytest.fixture(scope="module")
def result():
    return pathgen.build(pathgen.load_job(EXAMPLE), resolution=0.15)


@pytest.fixture(scope="module")
def drawn():
    """Colours as drawn, on the board: page centre to X 200, Y 0."""
    art = pathgen.read_artwork(EXAMPLE.with_suffix(".svg"))
    return {
        r.colour: shapely.affinity.translate(r.polygon, 200.0 - art.page[0] / 2, -art.page[1] / 2) for r in art.regions
    }


def surface(x, y):
    length = 640.0 * (1 - 2 ** (-20 / 12)) + 10.0
    radius = 254.0 + (355.6 - 254.0) * x / length
    return 6.5 + np.sqrt(radius**2 - y**2) - radius


def opened(result, inlay, depth):
    """Region opened to about its full depth by the pocket programs of an inlay."""
    parts = []
    for p in result.programs:
        if p.operation == "pocket" and p.step.inlay == inlay:
            start, end, rapid = moves(p.text)
            low = ~rapid & (end[:, 2] < surface(end[:, 0], end[:, 1]) - depth + 0.2)
            lines = shapely.linestrings(np.stack([start[low, :2], end[low, :2]], axis=1))
            # arcs as chords: 0.5 um inside the circle of the larger cutter
            parts.append(shapely.union_all(shapely.buffer(lines, RADII[p.cutter.name], quad_segs=32)))
    assert parts
    return shapely.union_all(parts)


def reached(shape, radius=0.5):
    return shape.buffer(-radius, quad_segs=64).buffer(radius, quad_segs=64)


def test_it_passes_and_is_flush(result):
    assert result.passed
    checks, limit = result.report["checks"], result.report["surface"]["scallop_limit"]
    assert checks["surface_high"] <= limit + 0.0007
    assert checks["surface_low"] >= -0.002
    assert [s["operation"] for s in result.report["programs"]].count("resurface") == 2


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("nth", [0, 1])
def test_no_wood_is_lost(result, nth):
    for x in (160.3, 198.8, 241.1):
        ys = np.arange(-18.0, 18.0, 0.01)
        first = left_by_ball(text_of(result, "surface-finish"), x, ys, radius=6.35)
        again = left_by_ball(text_of(result, "resurface", nth), x, ys, radius=6.35)
        cut = np.isfinite(again)  # the first keeps to its fill: the last goes over the whole board
        assert cut.all() or nth == 0
        assert np.all(again >= first - (1e-6 if nth else 1e-4))  # its passes end where they are rounded to 0.1 um
        assert nth == 0 or np.all(again <= surface(x, ys) + 0.0107)


def test_every_visible_edge_is_where_it_is_drawn(result, drawn):
    first, second = opened(result, 0, 1.6), opened(result, 1, 1.4)
    visible = {
        TAN: (first - second) & drawn[TAN].buffer(1.0), LEAF: (first - second) & drawn[LEAF].buffer(0.2),
        PALE: second,
    }
    # the tan is cut as drawn, with what runs on under the pale body and spots; what its cutters cannot reach of
    # that stays wood, and so does what they cannot reach of the others
    under = shapely.union_all([drawn[TAN], drawn[TAN].buffer(0.3) & drawn[PALE]])
    reach = {TAN: reached(under) & drawn[TAN], LEAF: reached(drawn[LEAF]), PALE: reached(drawn[PALE])}
    for colour, shape in visible.items():
        outside = shape - drawn[colour].buffer(EDGE)
        missing = reach[colour] - shape.buffer(EDGE)
        assert outside.area < 1e-3, colour
        assert missing.area < 1e-3, colour
        assert reach[colour].area > 0.97 * drawn[colour].area


def test_colours_of_one_stage_do_not_touch_and_the_report_says_so(result):
    first, second = result.report["inlays"]
    assert [i["stage"] for i in (first, second)] == [1, 2]
    assert first["touching"] == second["touching"] == []
    assert [a["colour"] for a in first["amounts"]] == first["colours"]
    ratios = {(r["colour"], r["against"]) for r in result.report["contrast"]}
    assert {(TAN, "bare wood"), (PALE, "finished wood"), (TAN, PALE)} <= ratios


def test_fill_lies_over_the_surface_from_the_last_pocket_to_the_second_cut(result):
    covered = [r["order"] for r in result.report["references"] if any("fill" in words for words in r["gone"])]
    assert covered == [p.order for p in result.programs if p.operation in ("hover", "resurface")]


@pytest.mark.in_every_run(0)
def test_poured_together_they_are_reported_with_stages(tmp_path, drawn):
    text = EXAMPLE.read_text().replace(f'colours = ["{TAN}", "{LEAF}"]', f'colours = ["{TAN}", "{LEAF}", "{PALE}"]')
    text = text.replace("lap = 0.3 ", "lap = 0.0 ")
    start, end = text.index("[[inlay]]                      # second"), text.index("[resin]")
    (tmp_path / "job.toml").write_text(text[:start] + text[end:])
    (tmp_path / EXAMPLE.with_suffix(".svg").name).write_bytes(EXAMPLE.with_suffix(".svg").read_bytes())
    together = pathgen.build(pathgen.load_job(tmp_path / "job.toml"), resolution=0.3)
    (inlay,) = together.report["inlays"]
    (touch,) = inlay["touching"]
    assert set(touch["colours"]) == {TAN, PALE}
    shared = (drawn[TAN].boundary & drawn[PALE].buffer(0.001)).length
    # each end of a stretch may count 0.05 mm too far
    assert touch["length"] == pytest.approx(shared, abs=0.11 * touch["stretches"])
    assert sorted(map(sorted, inlay["proposed_stages"])) == sorted([sorted([TAN, LEAF]), [PALE]])
    assert "colours-touch" in {f["code"] for f in together.report["checks"]["findings"]}
    assert together.passed
