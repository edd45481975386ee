"""A flat board finished with a flat end: no ridges, a path as long as its stepover asks, no way straight into wood."""

import numpy as np
import pytest
import shapely

import pathgen
from pathgen.base.errors import JobError
from pathgen.strategies.surfacing import finishing_passes
from tests.brute import Block, moves_of
from tests.small_board import built, cutter, job, moves, svg, text_of

WIDE = cutter(name="wide", shape="flat-end", diameter=12.0, speed=14000, feed=2400.0, plunge=500.0, stepdown=2.0)
BAR = svg('<rect x="15" y="2" width="14" height="8" fill="#225577"/>')
RADIUS, FINISH = "radius = { nut = 254.0, end = 300.0 }", 'finish = "ball"\nscallop = 0.05'
LEVEL = {RADIUS: 'radius = "flat"', FINISH: 'finish = "wide"\nrough = "wide"'}
MORE = {
    "repeated": ({}, 6.5),
    "skimmed": ({"[resin]": "[resurface]\nskim = 0.1\n[resin]"}, 6.4),
    "over the inlay": ({"[resin]": '[resurface]\narea = "inlay"\n[resin]'}, 6.5),
    "left proud": ({FINISH: 'finish = "wide"\nrough = "wide"\nleave = 0.2', "[resin]": "[resurface]\n[resin]"}, 6.5),
}


@pytest.mark.in_every_run(2)
@pytest.mark.parametrize(("changes", "top"), MORE.values(), ids=MORE)
def test_a_flat_end_cuts_all_of_a_level_top(tmp_path, changes, top):
    result = built(tmp_path, changes=LEVEL | changes, extra=WIDE)
    assert result.passed, [str(f) for f in result.verification.findings]
    texts = [text_of(result, "surface-finish"), text_of(result, "resurface")]
    assert "flat top" in texts[0]
    assert not any("radius" in text for text in texts)
    surface = result.report["surface"]
    assert surface["scallop_predicted"] == 0
    assert surface["scallop_measured"] < 1e-6
    # stepover x diameter: 0.45 x 12
    assert 0.8 * 5.4 < surface["stepover"] <= 5.4
    swept = []
    for text in texts:
        start, end, rapid = moves(text)
        low = ~rapid & (np.abs(start[:, 2] - top) < 1e-6) & (np.abs(end[:, 2] - top) < 1e-6)
        swept.append(shapely.buffer(shapely.linestrings(np.stack([start[low, :2], end[low, :2]], axis=1)), 6.0))
    assert shapely.union_all(np.concatenate(swept)).covers(result.plan.clamping.board.outline)


@pytest.mark.parametrize(("changes", "top"), MORE.values(), ids=MORE)
def test_it_goes_straight_down_through_air_alone(tmp_path, changes, top):
    """What stands where it goes down: the raw blank of 8 mm, then what roughing left, then the first finish."""
    result = built(tmp_path, changes=LEVEL | changes, extra=WIDE)
    first = 6.7 if "leave" in str(changes) else 6.5
    stands = {"surface-rough": 8.0, "surface-finish": first + 0.4, "resurface": first}
    for operation, height in stands.items():
        start, end, rapid = moves(text_of(result, operation))
        down = ~rapid & (np.hypot(*(end - start)[:, :2].T) < 1e-6) & (end[:, 2] < start[:, 2])
        assert down.any()
        assert end[down, 2].min() >= height - 1e-6


def test_the_stepover_is_how_far_apart_its_passes_lie(tmp_path):
    changes = LEVEL | {FINISH: 'finish = "wide"\nrough = "wide"\nstepover = 3.0'}
    surface = built(tmp_path, changes=changes, extra=WIDE).report["surface"]
    # rims reach 0.22 mm past the edges of 46 mm: 2 (23.22 - 6) over 3 mm is 11.5
    assert surface["passes"] == 13
    assert surface["stepover"] == pytest.approx(34.44 / 12, abs=0.01)


@pytest.mark.parametrize(("changes", "words"), [
    ({FINISH: 'finish = "wide"\nrough = "wide"\nscallop = 0.05'}, "leaves no ridges"),
    ({FINISH: 'finish = "wide"'}, 'add rough = "wide"'),
    ({RADIUS: RADIUS}, "stair on a curve"),
    ({RADIUS: 'radius = "flat"\nfall_away = { fret = 3, drop = 0.1 }'}, "stair on a curve"),
    ({FINISH: 'finish = "wide"\nrough = "wide"\nstepover = 12.0'}, "less than the cutter's diameter"),
], ids=["scallop", "no roughing", "curved", "falls away", "stepover"])
def test_what_a_flat_end_cannot_do_is_refused(tmp_path, changes, words):
    with pytest.raises(JobError, match=words):
        pathgen.load_job(job(tmp_path, changes=LEVEL | changes, extra=WIDE))


def test_there_is_nothing_to_compare(tmp_path):
    with pytest.raises(JobError, match="no ridges to choose between"):
        pathgen.compare(pathgen.load_job(job(tmp_path, changes=LEVEL, extra=WIDE)))


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("limit", [5.0, 2.0])
def test_helixes_and_ramps_of_the_texts_are_no_steeper_than_the_job_says(tmp_path, limit):
    """Over a level top all that sinks while it goes along is a way in: its angle stands in the text."""
    cutter = {"stepdown = 1.6": f"stepdown = 0.8\nramp = {limit}"}
    result = built(tmp_path, changes=LEVEL | cutter, extra=WIDE + '[outline]\ncutter = "flat"\n')
    for operation in ("pocket", "outline"):
        loads = Block((-25, -38, 110, 38), 0.1, 6.5).run(moves_of(text_of(result, operation)), 1.0)
        run, drop = np.hypot(*(loads.end - loads.start)[:, :2].T), (loads.start - loads.end)[:, 2]
        # what is shorter than 0.2 mm has no angle to speak of in rounded numbers; the tabs' ends slope by 1 in 2
        above_tabs = loads.start[:, 2] > 1.5 + 1e-6
        angles = np.degrees(np.arctan2(drop, run))[(drop > 1e-9) & (run > 0.2) & above_tabs]
        assert limit - 0.5 < angles.max() < limit + 0.3, operation
        assert loads.deepest[loads.straight_down & (drop > 0)].max(initial=0.0) < 0.02, operation


@pytest.mark.parametrize("up", [0.0, 15.0, -60.0])
def test_the_passes_of_a_part_beside_the_centre_line_cover_it_and_no_more(up):
    """As of a plate drawn on a page whose corner lies there; one pass does where the cutter is wider."""
    wide = pathgen.Cutter(name="wide", shape="flat-end", diameter=12.0, flutes=2, flute_length=20.0, speed=14000,
                          feed=2400.0, plunge=500.0, stepdown=2.0, stepover=0.45)
    for high, passes in ((26.0, 4), (9.0, 1)):
        outline = shapely.box(0.0, up - high / 2, 60.0, up + high / 2)
        found = finishing_passes(outline, pathgen.flat(5.0), wide, scallop=0.0)
        assert len(found.y) == passes
        assert found.y.mean() == pytest.approx(up)
        assert np.ptp(found.y) < high


@pytest.mark.in_every_run(0)
def test_a_second_cut_over_an_inlay_where_the_first_finish_came_down_its_ramp_repeats_it(tmp_path):
    """A wide v in a corner at the edge: the outermost pass is short, and the ramp into it lies over all of it."""
    result = built(tmp_path, art=BAR, changes={
        RADIUS: 'radius = "flat"', "end_width = 46.0": "end_width = 40.0", "depth = 1.5": "depth = 0.3",
        'shape = "ball-end"\ndiameter = 12.7': 'shape = "flat-end"\ndiameter = 3.0',
        "thickness = 8.0": "thickness = 12.0",
        FINISH: 'finish = "ball"\nrough = "ball"', "at = [45.0, 0.0]": "at = [45.0, -24.95]",
        'name = "flat"\nshape = "flat-end"\ndiameter = 2.0': 'name = "flat"\nshape = "v"\nangle = 140\ndiameter = 10',
        "[resin]": '[resurface]\narea = "inlay"\n[resin]'})
    assert result.passed, [str(f) for f in result.verification.findings if f.severity == "forbid"]


def test_the_outline_begins_above_fill_that_stands_higher_than_the_blank(tmp_path):
    """It ran out over the edge, where a flat end that stays within the long edges scrapes none of it off."""
    result = built(tmp_path, art=BAR, extra=WIDE + '[outline]\ncutter = "flat"\n', changes={
        RADIUS: 'radius = "flat"', FINISH: 'finish = "wide"\nrough = "wide"\nallowance = 0.1',
        "end_width = 46.0": "end_width = 40.0", "at = [45.0, 0.0]": "at = [45.0, 6.0]",
        "thickness = 8.0": "thickness = 6.8", "overfill = 0.7": "overfill = 0.8"})
    assert result.passed, [str(f) for f in result.verification.findings if f.severity == "forbid"]
