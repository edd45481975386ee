"""A cutter of an inlay that finds nothing to do has no program, and the report says what would give it work."""

import re

import pytest

from pathgen import JobError, check, load_job
from pathgen.job.clamping import clamping_of
from pathgen.job.doubts import doubts_of
from tests.small_board import built, cutter, job, svg

MORE = cutter(name="wide", shape="flat-end", diameter=12.0, speed=16000, feed=1500.0, plunge=300.0, stepdown=2.0) \
    + cutter(name="v", shape="v", angle=60.0, diameter=6.0, speed=16000, feed=1200.0, plunge=300.0, stepdown=2.0)
BAR = svg('<path d="M8 15 H32" fill="none" stroke="#225577" stroke-width="3" stroke-linecap="round"/>')


def with_cutters(folder, names):
    return built(folder, art=BAR, extra=MORE, changes={'cutters = ["flat"]': f"cutters = {names}"},
                 resolution=0.4)


@pytest.mark.parametrize(("names", "idle", "words"), [
    ('["wide", "flat"]', "wide", "goes in nowhere"),
    ('["flat", "v"]', "v", "finds nothing left to cut"),
])
def test_an_idle_cutter_has_no_program(tmp_path, names, idle, words):
    result = with_cutters(tmp_path, names)
    assert result.passed, [str(f) for f in result.verification.findings]
    assert [p.file_name for p in result.programs[1:]] == [
        "02-pocket-1-flat.nc", "03-second-cut-1-ball.nc",
    ]
    (note,) = [f for f in result.report["checks"]["findings"] if f["code"] == "cutter-idle"]
    assert f'cutter "{idle}" {words}' in note["got"]
    assert note["severity"] == "note"
    assert note["remedy"].endswith("eave it out of the cutters named there")
    assert "before" not in note["remedy"]


@pytest.mark.parametrize("names", ['["flat", "wide", "v"]', '["flat", "v", "wide"]'])
def test_flat_ends_before_a_v_are_in_order_too(tmp_path, names):
    """The wider one would find nothing left to cut; and a v that stands before others is advised to be the last."""
    with pytest.raises(JobError, match=r'not in order of size .*: write cutters = \["wide", "flat", "v"\]: '):
        with_cutters(tmp_path, names)


def test_what_a_wider_cutter_needs_is_said(tmp_path):
    """The bar is 3 mm wide: what opens 3 mm goes in."""
    result = with_cutters(tmp_path, '["wide", "flat"]')
    (note,) = [f for f in result.report["checks"]["findings"] if f["code"] == "cutter-idle"]
    widest = float(re.search(r"one that is ([\d.]+) mm wide", note["remedy"])[1])
    assert widest == pytest.approx(3.0, abs=0.02)


def test_check_knows_which_cutter_is_idle_and_misses_a_program_that_has_work(tmp_path):
    result = with_cutters(tmp_path, '["wide", "flat"]')
    result.write(tmp_path / "out")
    job = load_job(next(tmp_path.glob("*.toml")))
    found = check(job, tmp_path / "out", resolution=0.4)
    assert found.passed, [str(f) for f in found.findings]
    (tmp_path / "out" / "02-pocket-1-flat.nc").unlink()
    missing = check(job, tmp_path / "out", resolution=0.4)
    assert [f.where for f in missing.findings if f.code == "program-missing"] == ["02-pocket-1-flat.nc"]


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize(("names", "nib", "told"), [
    ('["flat", "v"]', 0.4, True), ('["flat", "v"]', 4.0, False), ('["flat"]', 0.4, False),
])
def test_a_cutter_that_opens_next_to_nothing_is_a_question(tmp_path, names, nib, told):
    """One of 1 mm, fitted and zeroed for 23 mm of its way: 0.05 % of the drawing, in a table of 99.9 and 100.0 %."""
    art = svg(f'<rect x="8" y="8" width="24" height="14" rx="2" fill="#225577"/>'
              f'<path d="M20 21 V{22 + nib}" stroke="#225577" stroke-width="0.4" fill="none"/>')
    result = built(tmp_path, art=art, extra=MORE, changes={'cutters = ["flat"]': f"cutters = {names}"},
                   resolution=0.4)
    found = [f for f in result.report["checks"]["findings"] if f["code"] == "cutter-does-little"]
    assert len(found) == told
    for one in found:
        words = r'cutter "v" opens 0\.\d+ mm2 that those before it do not, 0\.0\d+ % of the drawing'
        assert re.match(words, one["got"])


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize(("names", "stepdown", "side", "told"), [
    ('["three", "flat"]', 1.5, 5, True), ('["three", "flat"]', 0.5, 5, True), ('["three", "flat"]', 0.05, 12, False),
    ('["three", "v"]', 1.5, 5, False),
])
def test_a_first_cutter_that_saves_less_than_its_change_is_a_question(tmp_path, names, stepdown, side, told):
    """A small square: one of 3 mm runs seconds, and one of 2 mm alone takes hardly longer. In a larger one, where the
    second takes thin layers, the first saves minutes; and what a piece is let into has the floor that was chosen."""
    more = MORE + cutter(name="three", shape="flat-end", diameter=3.0, speed=16000, feed=1500.0, plunge=300.0,
                         stepdown=1.5)
    art = svg(f'<rect x="8" y="8" width="{side}" height="{side}" fill="#225577"/>')
    thin = {"stepdown = 1.6": f"stepdown = {stepdown}"}
    result = built(tmp_path, art=art, extra=more, resolution=0.4, changes={
        'cutters = ["flat"]': f"cutters = {names}", **thin,
        **({"overfill = 0.7": 'overfill = 0.7\nfill = "piece"'} if "v" in names else {})})
    found = [f for f in result.report["checks"]["findings"] if f["code"] == "cutter-does-little"]
    assert len(found) == told
    for one in found:
        assert one["remedy"] == "leave it out of the cutters named there"
        words = r'cutter "three" runs \d+ s: without it those after it take (\d+ s|no) longer'
        longer = re.fullmatch(words, one["got"])
        alone = built(tmp_path, art=art, resolution=0.4, changes=thin)
        pockets = [60.0 * sum(p["minutes"] for p in report["programs"] if p["operation"] == "pocket")
                   for report in (alone.report, result.report)]
        seconds = 0.0 if longer[1] == "no" else float(longer[1].split()[0])
        assert max(pockets[0] - pockets[1], 0.0) == pytest.approx(seconds, abs=2.0)


def test_check_says_the_same_of_idle_cutters_as_build(tmp_path):
    from pathgen.app.building import check_data

    result = with_cutters(tmp_path, '["flat", "v"]')
    result.write(tmp_path / "out")
    found = check_data(result.job, tmp_path / "out", resolution=0.4)["findings"]
    assert [f["got"] for f in found if f["code"] == "cutter-idle"] == [
        f["got"] for f in result.report["checks"]["findings"] if f["code"] == "cutter-idle"
    ]


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize(("thick", "left_out"), [("6.7", True), ("6.95", False)])
def test_roughing_that_finds_nothing_has_no_program_either(tmp_path, thick, left_out):
    result = built(tmp_path, resolution=0.4, changes={
        "thickness = 8.0": f"thickness = {thick}", "radius = { nut = 254.0, end = 300.0 }": "radius = 600.0",
        "nut_width = 40.0": "nut_width = 20.0", "end_width = 46.0": "end_width = 24.0",
        "at = [45.0, 0.0]": "at = [45.0, 0.0], width = 14.0", 'finish = "ball"': 'finish = "ball"\nrough = "flat"'})
    assert result.passed, [str(f) for f in result.verification.findings]
    assert (result.programs[0].operation == "surface-finish") == left_out
    told = [f["got"] for f in result.report["checks"]["findings"] if f["where"] == "[surface] rough"]
    assert ["the blank stands 0.2 mm over the surface, and roughing leaves 0.4 mm" in one for one in told] == \
        [True] * left_out
    assert check(result.job, result.write(tmp_path / "out")[0].parent, resolution=0.4).passed


@pytest.mark.in_every_run(3)
@pytest.mark.parametrize(("thick", "finish", "remedy"), [
    ("6.5", "ball", "leave rough out"), ("6.8", "ball", "leave rough out, or make allowance smaller"),
    ("6.5", "flat", "take a thicker blank"), ("7.0", "flat", None),
    ("6.8", "flat", ""),  # the finish takes that in one layer
])
def test_roughing_of_a_level_top_that_finds_nothing_has_no_program(tmp_path, thick, finish, remedy):
    """It was refused, and that of a curved one left out; a flat end that finishes must have a cutter that roughs."""
    result = built(tmp_path, resolution=0.4, changes={
        "thickness = 8.0": f"thickness = {thick}", "radius = { nut = 254.0, end = 300.0 }": 'radius = "flat"',
        'finish = "ball"\nscallop = 0.05': f'finish = "{finish}"\nrough = "flat"'})
    assert result.passed, [str(f) for f in result.verification.findings]
    assert (result.programs[0].operation == "surface-finish") == (remedy is not None)
    told = [f["remedy"] for f in result.report["checks"]["findings"] if f["where"] == "[surface] rough"]
    assert told == [remedy] * bool(remedy)


@pytest.mark.parametrize(("stepdown", "told"), [(0.3, False), (0.29, True)])
def test_roughing_that_leaves_all_to_one_layer_of_the_flat_end_that_finishes_is_no_slip(tmp_path, stepdown, told):
    """It must be named; advice to save minutes by such an allowance was argued with once it was followed."""
    read = load_job(job(tmp_path, changes={
        "thickness = 8.0": "thickness = 6.8", "radius = { nut = 254.0, end = 300.0 }": 'radius = "flat"',
        "stepdown = 1.6": f"stepdown = {stepdown}",
        'finish = "ball"\nscallop = 0.05': 'finish = "flat"\nrough = "flat"'}))
    assert ("[surface] rough" in [one.where for one in doubts_of(read, clamping_of(read))]) == told
