"""The bending estimate against the cantilever of the handbooks, and what is usual of layers and feeds."""

import math
import re
import shutil
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from pathgen.base.bending import CORE, PRESSURE, STRENGTH, bending_stress, usual_layer
from pathgen.base.cutters import Cutter
from pathgen.base.errors import JobError
from pathgen.base.feeds import chip_load, usual_chip_load, usual_speed
from pathgen.job import load_job
from pathgen.job.clamping import clamping_of, planned_of
from pathgen.report.feeding import feed_findings, flute_findings, layer_findings
from pathgen.verify.check import _too_long
from pathgen.work.operations import Pocket
from tests import small_board

CUTTER = Cutter(name="flat", shape="flat-end", diameter=2.0, speed=18000, feed=1200.0, plunge=300.0, stepdown=1.6,
                flute_length=10.0)
EXAMPLES = Path(__file__).parents[2] / "examples"


def test_the_stress_is_that_of_a_cantilever():
    # sigma = F L / W, W = pi d^3 / 32 (any handbook); F on the middle of a layer of 1 mm: 9.5 mm from the clamp
    force = PRESSURE * 1.0 * 1200.0 / (18000 * 2)
    assert bending_stress(CUTTER, 1.0) == pytest.approx(force * 9.5 / (math.pi * (CORE * 2.0) ** 3 / 32))
    # half the diameter bears an eighth
    assert bending_stress(replace(CUTTER, diameter=1.0), 1.0) == pytest.approx(8 * bending_stress(CUTTER, 1.0))


def test_ordinary_cutters_bear_ordinary_layers():
    for job in (load_job(path) for path in sorted(EXAMPLES.rglob("*.toml"))):
        for table in job.cutters:
            cutter = job.cutter(table.name, "")
            if cutter.shape == "flat-end":
                assert bending_stress(cutter, min(cutter.stepdown, usual_layer(cutter))) < STRENGTH


def test_shipped_jobs_have_no_unusual_feed_or_layer():
    # of several parts on one blank each has its own file, which is among these
    for path in (path for path in sorted(EXAMPLES.rglob("*.toml")) if "[[part]]" not in path.read_text()):
        job = load_job(path)
        if job.form and job.form.cut == "halves":  # the same cutters for both
            job = replace(job, form=replace(job.form, cut="outside"))
        clamping = clamping_of(job)
        found = feed_findings(clamping) + layer_findings(clamping) + flute_findings(clamping)
        assert [str(f) for f in found] == [], path.name


@pytest.mark.parametrize(("changes", "told"), [
    ({"diameter = 2.0": "diameter = 1.1"}, ""),  # 8.2 mm deep, through a blank of 8 mm
    ({"diameter = 2.0": "diameter = 1.0"}, "8.2 mm deep, 8 times its diameter"),
    ({"diameter = 2.0": "diameter = 1.0\nflute_length = 9.0"}, ""),
])
def test_flutes_that_nobody_measured_are_asked_for_where_a_cut_is_deep(tmp_path, changes, told):
    """A cutter of 0.6 mm went 7.2 mm deep through a blank without a word; with its flutes given it was refused."""
    job = small_board.job(tmp_path, changes=changes, extra='[outline]\ncutter = "flat"\n')
    found = flute_findings(clamping_of(load_job(job)))
    assert [(f.code, f.severity) for f in found] == [("flutes-not-given", "warn")] * bool(told)
    assert all(told in f.got for f in found)


def test_deep_layers_are_doubted_by_diameter_and_flutes(tmp_path):
    thin = {"diameter = 2.0": "diameter = 0.8"}
    (found,) = layer_findings(clamping_of(load_job(small_board.job(tmp_path, changes=thin))))
    assert (found.code, found.severity) == ("layer-unusual", "warn")
    assert "1.5 mm" in found.got
    assert "0.8 mm" in found.allowed
    four = {"stepdown = 1.6": "stepdown = 1.6\nflutes = 4"}
    (found,) = layer_findings(clamping_of(load_job(small_board.job(tmp_path, changes=four))))
    assert "1 mm" in found.allowed


@pytest.mark.parametrize(("stepdown", "deep", "told"), [
    (0.0249, 1.5, "61 layers of 0.025 mm"), (0.0251, 1.5, ""),  # thinner than a twentieth of 0.5 mm
    (0.01, 0.41, "41 layers of 0.01 mm"), (0.01, 0.4, ""),
])
def test_many_layers_much_thinner_than_usual_are_noted(tmp_path, stepdown, deep, told):
    changes = {"diameter = 2.0": "diameter = 0.5", "stepdown = 1.6": f"stepdown = {stepdown}",
               "depth = 1.5": f"depth = {deep}"}
    clamping = clamping_of(load_job(small_board.job(tmp_path, changes=changes)))
    found = [(one.code, one.severity, one.got.partition(":")[0]) for one in layer_findings(clamping)]
    assert found == [("layers-thin", "note", told)] * bool(told)
    if not told:
        return
    (note,) = layer_findings(clamping)
    assert note.allowed == "0.25 mm to 0.5 mm is usual in hardwood"
    low, high = map(float, re.search(r"write stepdown = ([\d.]+) to ([\d.]+) for \"flat\"", note.remedy).groups())
    step = clamping.step(Pocket)
    assert 2 * low == pytest.approx(high, abs=1e-3)
    assert bending_stress(step.cutter, high) <= STRENGTH
    sim = SimpleNamespace(worked={step.order: 9}, given_up=(step, 7))
    given_up = _too_long(sim, clamping, 9e6, 0.1)
    assert told in given_up.got
    assert given_up.remedy == f"{note.remedy}; or look at them on a coarser grid, --resolution 0.2"


@pytest.mark.parametrize(("name", "changes", "usual"), [
    ("slot 0.6", {"diameter = 0.58": "diameter = 0.5", "stepdown = 0.5": "stepdown = 2.0"}, "0.5 mm"),
    ("flat 1", {"diameter = 1.0": "diameter = 0.4", "stepdown = 0.9": "stepdown = 1.5"}, "0.4 mm"),
    ("flat 6", {"diameter = 6.0": "diameter = 6.35", "stepdown = 3.0": "stepdown = 15.0"}, "6.35 mm"),
])
def test_deep_layers_of_slots_pockets_and_outlines_are_doubted(tmp_path, name, changes, usual):
    """Up to a diameter is usual with two flutes (common practice)."""
    tables = (EXAMPLES / "fern-and-moth.toml").read_text().split("[[cutter]]")
    (nth,) = [k for k, table in enumerate(tables) if f'name = "{name}"' in table]
    cutter, rest = tables[nth].split("[surface]") if "[surface]" in tables[nth] else (tables[nth], None)
    for old, new in changes.items():
        assert cutter.count(f"{old}\n") == 1
        cutter = cutter.replace(f"{old}\n", f"{new}\n")
    tables[nth] = cutter if rest is None else f"{cutter}[surface]{rest}"
    (tmp_path / "job.toml").write_text("[[cutter]]".join(tables))
    shutil.copy(EXAMPLES / "fern-and-moth.svg", tmp_path)
    found = [f for f in layer_findings(clamping_of(load_job(tmp_path / "job.toml"))) if f'"{name}"' in f.where]
    assert [f.allowed for f in found] == [f"up to {usual} is usual in hardwood"]
    far = float(found[0].got.split()[2]) > 2.0 * float(usual.removesuffix(" mm"))
    assert far == (name == "slot 0.6")
    assert [("break" in f.got, "unless" in f.remedy) for f in found] == [(far, not far)]
    assert f" to {usual.removesuffix(' mm')}" in found[0].remedy
    assert found[0].remedy.startswith("write stepdown = ")


def test_what_would_break_the_cutter_is_refused(tmp_path):
    thin = {"diameter = 2.0": "diameter = 0.3\nflute_length = 3"}
    with pytest.raises(JobError, match="would break"):
        planned_of(load_job(small_board.job(tmp_path, changes=thin)))


@pytest.mark.parametrize(("speed", "feed", "rapid", "meant"), [
    (1200, 18000.0, 20000, "if speed and feed are changed over, write speed = 18000 and feed = 1200; make its feed "),
    (1200, 18000.0, 5000, "write speed = 18000 and feed = 1200; no move is faster"),
    (300, 1200.0, 5000, "if turns per second (Hz) are meant, write speed = 18000; make its feed"),
    (2000, 4000.0, 5000, "make its feed 43 to 256, as is usual"),
])
def test_a_tooth_with_more_to_take_than_its_flute_is_deep_is_refused(tmp_path, speed, feed, rapid, meant):
    """Flutes of 0.35 mm in a cutter of 2 mm by CORE: swapped speed and feed were built, 7.5 mm a tooth."""
    changes = {"speed = 18000\nfeed = 1200.0": f"speed = {speed}\nfeed = {feed}",
               "[surface]": f"[machine]\nrapid = {rapid}.0\n[surface]"}
    with pytest.raises(JobError) as refused:
        planned_of(load_job(small_board.job(tmp_path, changes=changes)))
    assert meant in refused.value.remedy
    assert "e+" not in str(refused.value)


def test_speed_and_feed_that_are_changed_over_are_told_once(tmp_path):
    """A second line said: write speed = 6000."""
    changes = {"speed = 18000\nfeed = 1200.0": "speed = 1200\nfeed = 18000.0",
               "[surface]": "[machine]\nrapid = 5000.0\nspindle = [6000, 24000]\n[surface]"}
    with pytest.raises(JobError) as refused:
        load_job(small_board.job(tmp_path, changes=changes))
    assert "write speed = 18000 and feed = 1200" in refused.value.remedy
    assert not refused.value.others


def test_a_diameter_one_place_off_is_asked_after_and_its_figures_differ(tmp_path):
    """0.06 mm for 0.6: 0.01 mm a tooth was told, allowed 0.01 mm, and a feed slower than plunge."""
    slots = small_board.SLOTS.replace("diameter = 0.6", "diameter = 0.06\nflute_length = 3")
    assert slots != small_board.SLOTS
    with pytest.raises(JobError, match="more than its flutes are deep") as refused:
        planned_of(load_job(small_board.job(tmp_path, extra=slots)))
    assert re.search(r"is ([\d.]+) mm a tooth", refused.value.problem)[1] != refused.value.allowed.split()[0]
    assert refused.value.remedy.startswith("if 0.6 mm is meant, correct its diameter; make its feed ")
    assert "and plunge no faster" in refused.value.remedy


def test_feeds_are_told_in_whole_numbers(tmp_path):
    changes = {"diameter = 12.7\nspeed = 16000\nfeed = 2400.0": "diameter = 12.7\nspeed = 16000\nfeed = 12000.0",
               "[surface]": "[machine]\nrapid = 12000.0\n[surface]"}
    (told,) = [one for one in feed_findings(clamping_of(load_job(small_board.job(tmp_path, changes=changes))))
               if '"ball"' in one.where]
    assert told.got.startswith("feed 12000 mm per minute at 16000 rpm is 0.38 mm a tooth")


@pytest.mark.parametrize(("flutes", "stepdown", "meant"), [(40, 0.5, True), (9, 3.0, False)])
def test_the_stepdown_advised_to_one_that_would_break_works(tmp_path, flutes, stepdown, meant):
    slots = small_board.SLOTS.replace("stepdown = 0.5", f"stepdown = {stepdown}\nflute_length = {flutes}")
    feed = "400.0" if meant else "2400.0"
    slots = slots.replace("depth = 1.8", "depth = 2.0").replace("feed = 400.0", f"feed = {feed}")
    with pytest.raises(JobError, match="would break") as refused:
        planned_of(load_job(small_board.job(tmp_path, extra=slots)))
    assert ("is 4 mm meant?" in refused.value.remedy) == meant
    advised = re.search("make stepdown ([\\d.]+) mm or less", refused.value.remedy)[1]
    assert float(advised) < stepdown
    slots = slots.replace(f"stepdown = {stepdown}", f"stepdown = {advised}")
    assert planned_of(load_job(small_board.job(tmp_path, extra=slots)))


def test_advice_that_the_machine_cannot_follow_names_a_speed(tmp_path):
    slow = { "[surface]": "[machine]\nrapid = 2400.0\n[surface]",
            "speed = 18000\nfeed = 1200.0": "speed = 24000\nfeed = 2300.0"}
    slow["diameter = 2.0"] = "diameter = 4.0\nflutes = 6"
    clamping = clamping_of(load_job(small_board.job(tmp_path, changes=slow)))
    note = next(f for f in feed_findings(clamping) if "flat" in f.where)
    cutter = next(s.cutter for s in clamping.steps if s.cutter.name == "flat")
    assert "rpm" in note.allowed
    assert "mm per minute" not in note.allowed
    slowest, fastest = usual_speed(cutter)
    low, high = usual_chip_load(4.0)
    assert chip_load(cutter.feed, [slowest, fastest], 6) == pytest.approx([high, low])


def test_a_feed_above_the_rapids_is_refused_as_a_job(tmp_path):
    with pytest.raises(JobError, match="above the rapids"):
        load_job(small_board.job(tmp_path, changes={"[surface]": "[machine]\nrapid = 2000.0\n[surface]"}))


def test_a_speed_that_the_spindle_does_not_reach_is_refused_with_one_that_works(tmp_path):
    bounds = {"[surface]": "[machine]\nspindle = [8000, 17000]\n[surface]"}
    with pytest.raises(JobError, match=r'"flat": speed 18000 rpm is not one .* 8000 to 17000 rpm') as refused:
        load_job(small_board.job(tmp_path, changes=bounds))
    advised = re.search(r"write (speed = \d+)", refused.value.remedy)[1]
    slow = bounds | {"speed = 18000": advised, "feed = 1200.0": "feed = 2400.0"}
    job = load_job(small_board.job(tmp_path, changes=slow))
    assert job.cutter("flat", "").speed == 17000
    note = next(f for f in feed_findings(clamping_of(job)) if "flat" in f.where)
    assert "speed" not in note.remedy, "no speed is proposed that the spindle has not: 18700 rpm or more is usual"
    with pytest.raises(JobError, match="from less than to"):
        load_job(small_board.job(tmp_path, changes={"[surface]": "[machine]\nspindle = [17000, 8000]\n[surface]"}))
