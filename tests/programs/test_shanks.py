"""Flutes as long as a cut is deep: ridges, and wood past the board's edge, stand higher beside it."""

import re

import pytest

import pathgen
from pathgen.app.building import plans_of
from pathgen.report.fitting import cutter_lengths, lengths_words
from tests import small_board
from tests.small_board import ART, JOB, SLOT_CUTTER, cutter

PLAIN = JOB.partition("[[inlay]]")[0]
SLOTS = '[slots]\ncutter = "thin"\ndepth = 1.5\n'
NUT = '[nut]\ncutter = "thin"\ndepth = 1.5\nwidth = 4.0\nbottom = "curve"\n'

V = cutter(name="v", shape="v", angle=60.0, diameter=6.0, speed=16000, feed=600.0, plunge=200.0, stepdown=1.0)
WIDE = cutter(name="wide", shape="flat-end", diameter=6.0, speed=16000, feed=1600.0, plunge=300.0, stepdown=2.0)
THIN = {"flat-end": 0.6, "ball-end": 3.0}


def built_with(tmp_path, text, flutes, *, scallop=0.02, thin="flat-end"):
    text = text.replace("scallop = 0.05", f"scallop = {scallop}").replace(
        "thickness = 6.5", "thickness = 6.5\nbehind_nut = 8.0").replace("length = 125.0", "length = 133.0").replace(
        "margin_nut = 20.0", "margin_nut = 28.0")
    job = tmp_path / "job.toml"
    (tmp_path / "art.svg").write_text(ART)
    job.write_text(f'{text}[[cutter]]\nname = "thin"\nshape = "{thin}"\ndiameter = {THIN[thin]}\nspeed = 18000\n'
                   f"feed = 400.0\nplunge = 100.0\nstepdown = 0.5\nflute_length = {flutes}\n")
    return pathgen.build(pathgen.load_job(job))


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize(("scallop", "more"), [(0.02, SLOTS), (0.2, SLOTS), (0.02, NUT)])
def test_a_shank_that_would_rub_is_told_before_it_is_cut(tmp_path, scallop, more):
    def built(flutes):
        return built_with(tmp_path, PLAIN + more, flutes, scallop=scallop)

    with pytest.raises(pathgen.JobError, match="its shank would rub there") as refused:
        built(1.5)
    least = float(re.match(r"([\d.]+) mm or more", refused.value.allowed)[1])
    assert 1.55 < least < 1.75
    assert built(least).passed


@pytest.mark.in_every_run(3)
@pytest.mark.parametrize(("scallop", "bottom"), [(0.02, "curve"), (0.2, "curve"), (0.02, "flat")])
@pytest.mark.parametrize("web", [1.0, 4.6])
def test_the_depth_of_slots_that_is_named_is_borne_by_the_flutes_at_once(tmp_path, scallop, bottom, web):
    """As deep as the flutes are long was named, and that was refused for what stands past the board's edge. With a
    `min_web` of 4.6 mm the wood allows 1 mm at the edge, which is more than the flutes do."""
    def built(depth):
        slots = SLOTS.replace("depth = 1.5", f'depth = {depth}\nbottom = "{bottom}"')
        return built_with(tmp_path, PLAIN.replace("radius = {", f"min_web = {web}\nradius = {{") + slots,
                          1.8 if bottom == "flat" else 0.9, scallop=scallop)

    with pytest.raises(pathgen.JobError, match=r"\[slots\] depth") as refused:
        built(1.9)
    said = f"{refused.value.remedy}\n{refused.value.allowed}"
    named = re.search(r"(?:make depth |^)([\d.]+) mm or less", said, re.M)
    assert built(float(named[1])).passed


def ball_pocket(tmp_path, depth, flutes):
    steep = JOB.replace("{ nut = 254.0, end = 300.0 }", "80.0").replace(
        'cutters = ["flat"]', 'cutters = ["thin"]').replace("at = [45.0, 0.0]", "at = [45.0, -5.0]")
    return built_with(tmp_path, steep.replace("depth = 1.5", f"depth = {depth}"), flutes, thin="ball-end")


@pytest.mark.in_every_run(0)
def test_the_depth_of_a_pocket_that_is_named_is_borne_by_the_flutes_of_a_round_end_at_once(tmp_path):
    """On its slope the wood uphill of a ball stands higher over its tip."""
    with pytest.raises(pathgen.JobError, match=r"inlay 1 depth: 1.5 mm is deeper than the flute") as refused:
        ball_pocket(tmp_path, 1.5, 1.4)
    assert ball_pocket(tmp_path, float(re.match(r"depth ([\d.]+) mm or less", refused.value.allowed)[1]), 1.4).passed


@pytest.mark.in_every_run(0)
def test_wood_uphill_that_a_round_end_has_not_come_to_yet_rubs_its_shank(tmp_path):
    """It is gone in the end: only our own check found that it stood there, 0.06 mm over the flutes."""
    with pytest.raises(pathgen.JobError, match=r"in program 2, pocket what .* stands 1\.4\d mm") as refused:
        ball_pocket(tmp_path, 1.4, 1.4)
    assert ball_pocket(tmp_path, 1.4, float(re.match(r"([\d.]+) mm or more", refused.value.allowed)[1])).passed


@pytest.mark.in_every_run(0)
def test_the_shank_of_what_follows_roughing_is_told_before_it_is_cut(tmp_path):
    """Past its flat end's reach the blank stands to its full height beside the ball: our own check alone found it.
    Nor is leaving roughing out advised where the ball's flutes do not bear it."""
    rough = JOB.replace('finish = "ball"', 'rough = "rough"\nfinish = "ball"').replace(
        "thickness = 8.0", "thickness = 14.0") + cutter(
        name="rough", shape="flat-end", diameter=2.5, speed=16000, feed=900.0, plunge=300.0, stepdown=1.0)
    (tmp_path / "art.svg").write_text(ART)

    def built(flutes, more="[resurface]\nskim = 0.8\n"):
        job = tmp_path / "job.toml"
        job.write_text(rough.replace("diameter = 12.7", f"diameter = 12.7\nflute_length = {flutes}") + more)
        return pathgen.build(pathgen.load_job(job), resolution=0.3, pictures=False)

    with pytest.raises(pathgen.JobError, match=r"in program 4, second-cut.* its shank would rub there") as refused:
        built(8.0)
    done = built(float(re.match(r"([\d.]+) mm or more", refused.value.allowed)[1]))
    assert done.passed
    assert not [row for row in built(7.0, more="").report["fewer_minutes"] if "rough" in row["change"]]


def test_the_flutes_that_are_asked_for_are_enough_and_no_more(tmp_path):
    """The least of each cutter is written as its flute_length: the job passes; with a little less of any it does not.
    Nothing told how long they must be until one was refused."""
    extra = SLOT_CUTTER + V + WIDE + '[slots]\ncutter = "slot"\ndepth = 1.8\n[outline]\ncutter = "wide"\ntabs = 2\n'

    def job(flutes):
        names = {f'name = "{name}"\n': f'name = "{name}"\nflute_length = {least:.3f}\n'
                 for name, least in flutes.items()}
        path = small_board.job(tmp_path, changes={'cutters = ["flat"]': 'cutters = ["flat", "v"]'}, extra=extra)
        path.write_text(re.sub("|".join(names) or "$^", lambda found: names[found[0]], path.read_text()))
        return pathgen.load_job(path)

    rows = cutter_lengths(plans_of(job({}), None)[0])
    least = {row["name"]: row["flutes_needed"] for row in rows}
    # by hand: the pocket, and for a v what stands beside it uphill; the slots; the blank and 0.2 mm
    assert {name: round(least[name], 2) for name in ("flat", "slot", "wide")} == {
        "flat": 1.5, "slot": 1.8, "wide": 8.2}
    assert 1.5 < least["v"] < 1.7
    assert {row["name"]: row["stand_out"] for row in rows}["wide"] == pytest.approx(8.0 + 0.2 + 2.0)
    result = pathgen.build(job({name: v + 1e-3 for name, v in least.items()}), resolution=0.5, pictures=False)
    assert result.passed
    page = re.sub("<[^>]+>|\\s+", " ", result.sheet(shaded=False))
    assert re.search(r"wide: flat-end, 6 mm, 2 flutes, 16000 rpm\s+\d\s+10.5 mm\s+8.2 mm", page)
    assert "flute_length is not given" not in page
    for name, v in least.items():
        with pytest.raises(pathgen.PathgenError, match="flute"):
            plans_of(job({name: v - 0.1}), None)
    planned = plans_of(job({"wide": 9.0}), None)[0]
    cutters = list({step.cutter.name: step.cutter for step in planned.clamping.steps}.values())
    words = lengths_words(cutters, cutter_lengths(planned), planned.clamping)
    assert "flute_length is not given for ball, flat, v and slot, so that it was not checked" in words


def test_flutes_of_the_shallowest_pocket_are_told_though_no_cutter_is_made_with_such(tmp_path):
    """A pocket of 0.05 mm, which its key allows, was refused by a limit of flutes that nobody had given."""
    made = small_board.built(tmp_path, resolution=0.5, changes={
        "depth = 1.5": "depth = 0.05", "{ nut = 254.0, end = 300.0 }": '"flat"', "overfill = 0.7": 'fill = "none"'})
    row = next(row for row in cutter_lengths(made.plan) if row["name"] == "flat")
    assert 0.05 <= row["flutes_needed"] < 0.1
