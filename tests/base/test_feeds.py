"""Chip load, effective diameter and usual feeds, against published tables."""

import re
from dataclasses import replace
from pathlib import Path

import pytest

from pathgen import load_job
from pathgen.base.errors import CutterError, JobError
from pathgen.base.feeds import chip_load, effective_diameter, feed_for, unusual_feed, usual_chip_load, usual_feed
from pathgen.job.clamping import clamping_of
from pathgen.report.feeding import feed_findings
from tests import small_board
from tests.drawings import ball_end, flat_end, v_cutter


@pytest.mark.parametrize(("diameter", "depth", "published"), [(0.5, 0.010, 0.140), (1.0, 0.1, 0.600)])
def test_effective_diameter_of_a_ball(diameter: float, depth: float, published: float) -> None:
    # cutter chart, dapra.com, Table 1 (inches there; the formula has no units)
    assert float(effective_diameter(ball_end(diameter), depth)) == pytest.approx(published, abs=0.0005)


def test_effective_diameters_of_the_other_shapes() -> None:
    # derived: 2 * depth * tan(angle / 2), never more than the diameter
    assert float(effective_diameter(v_cutter(90.0), 1.5)) == pytest.approx(3.0)
    assert float(effective_diameter(v_cutter(90.0), 15.0)) == pytest.approx(6.0)
    assert float(effective_diameter(flat_end(3.0), 0.1)) == 3.0
    assert float(effective_diameter(ball_end(3.0), 2.0)) == 3.0
    with pytest.raises(CutterError, match="above 0"):
        effective_diameter(ball_end(3.0), 0.0)


def test_feed_is_flutes_times_chip_load_times_speed() -> None:
    # derived: 2 flutes * 0.1 mm * 18000 = 3600 mm/min
    assert float(feed_for(0.1, 18000, 2)) == pytest.approx(3600.0)
    assert float(chip_load(3600.0, 18000, 2)) == pytest.approx(0.1)


@pytest.mark.parametrize(("inches", "least", "most"), [(0.125, 0.002, 0.004), (0.25, 0.005, 0.007)])
def test_usual_chip_loads_in_hardwood(inches: float, least: float, most: float) -> None:
    # table of chip loads per tooth for hardwood, asttooling.com, in inches; small routers take a third (F)
    low, high = usual_chip_load(inches * 25.4)
    assert (low / 25.4, high / 25.4) == pytest.approx((least / 3, most))
    assert usual_chip_load(12.7) == usual_chip_load(6.35)


@pytest.mark.parametrize(("diameter", "speed", "feed"), [
    (0.6, 18000, 400), (0.8, 20000, 420), (2.0, 16000, 1000), (3.175, 16000, 1400), (6.35, 16000, 2000),
])
def test_ordinary_feeds_of_small_routers_are_usual(diameter: float, speed: float, feed: float) -> None:
    # F: what makers with routers of less than a kilowatt run in maple and ebony, from memory
    assert unusual_feed(flat_end(diameter, speed=speed, feed=feed)) is None


@pytest.mark.parametrize(("speed", "feed"), [(5200, 2540), (14000, 200), (14000, 6000)])
def test_a_ball_that_roughs_and_finishes_has_one_range_and_what_its_note_says_ends_it(tmp_path, speed, feed):
    """Its finishing cut is shallow, and there alone it would be usual to go far slower."""
    def notes(speed, feed):
        path = small_board.job(tmp_path, changes={
            "speed = 16000\nfeed = 2400.0": f"speed = {speed}\nfeed = {feed}",
            "plunge = 600.0": "plunge = 100.0", 'finish = "ball"': 'finish = "ball"\nrough = "ball"',
            "[surface]": "[machine]\nrapid = 9000.0\n[surface]"})
        return [one for one in feed_findings(clamping_of(load_job(path))) if "ball" in one.where]

    (note,) = notes(speed, feed)
    assert "small" not in note.got
    low, high = map(int, re.match(r"(\d+) to (\d+)", note.allowed).groups())
    turns = re.search(r"(\d+) to (\d+) rpm", note.remedy)
    assert not notes(speed, low)
    assert not notes(speed, high)
    for rpm in turns.groups() if turns else ():
        assert not notes(int(rpm), feed)


def test_feeds_outside_the_usual_are_told() -> None:
    low, high = usual_feed(flat_end(3.175, speed=18000.0))
    assert (low, high) == pytest.approx((2 * 0.0508 / 3 * 18000, 2 * 0.1016 * 18000))
    assert unusual_feed(flat_end(3.175, feed=(low + high) / 2)) is None
    slow, fast = unusual_feed(flat_end(3.175, feed=low / 3)), unusual_feed(flat_end(1.0, feed=3000.0))
    assert slow.load == pytest.approx(slow.low / 3 / 2 / 18000)
    assert fast.load > fast.high / 2 / 18000


def test_a_job_notes_feeds_outside_the_usual_range(tmp_path):
    example = Path(__file__).parents[2] / "examples" / "fern-and-moth.toml"
    assert feed_findings(clamping_of(load_job(example))) == []
    (tmp_path / "fern-and-moth.svg").write_bytes(example.with_suffix(".svg").read_bytes())
    (tmp_path / "job.toml").write_text(example.read_text().replace("feed = 600.0", "feed = 3000.0"))
    (note,) = feed_findings(clamping_of(load_job(tmp_path / "job.toml")))
    assert (note.code, note.severity) == ("feed-unusual", "note")
    assert note.where == 'cutter "flat 1"'
    assert "high" in note.got


def test_a_low_feed_is_told_with_the_eased_feed_that_is_really_run(tmp_path):
    result = small_board.built(tmp_path, changes={"speed = 18000\nfeed = 1200.0": "speed = 18000\nfeed = 300.0"})
    note = next(f for f in result.report["checks"]["findings"] if f["code"] == "feed-unusual" and "flat" in f["where"])
    (eased,) = re.findall(r"eased to ([\d.]+)", note["got"])
    run = {float(f) for p in result.programs if p.cutter.name == "flat" for f in re.findall(r"F([\d.]+)", p.text)}
    assert any(f == pytest.approx(float(eased), rel=5e-3) for f in run)
    assert float(eased) < 300


def test_a_tooth_that_takes_many_times_the_usual_is_a_warning(tmp_path):
    """266 turns per second are 15960 a minute: the chips of 2400 mm/min are then 0.075 mm, as is usual for 12.7 mm."""
    for speed, severity, words in ((266, "warn", "if 266 is turns per second (Hz), write speed = 15960"),
                                   (4000, "note", "change its feed in the job")):
        path = small_board.job(tmp_path, changes={"speed = 18000\nfeed = 1200.0": f"speed = {speed}\nfeed = 1200.0"})
        note = next(f for f in feed_findings(clamping_of(load_job(path))) if "flat" in f.where)
        assert note.severity == severity
        assert words in note.remedy
        assert ("times the most that is usual" in note.got) == (severity == "warn")


def test_a_feed_far_too_slow_is_a_warning_that_names_no_speed_which_no_router_turns(tmp_path):
    """25 mm per second are 1500 a minute; at 25 a minute 100 to 300 rpm would be usual, a drill press's."""
    changes = {"speed = 18000\nfeed = 1200.0\nplunge = 300.0": "speed = 18000\nfeed = 25.0\nplunge = 5.0",
               "feed = 2400.0": "feed = 1300.0"}
    path = small_board.job(tmp_path, changes=changes)
    note = next(f for f in feed_findings(clamping_of(load_job(path))) if "flat" in f.where)
    assert note.severity == "warn"
    assert "times slower than the least that is usual" in note.got
    assert note.remedy.startswith("if mm per second are meant, write feed = 1500; else change its feed in the job;")
    assert "rpm" not in note.remedy
    slow = small_board.job(tmp_path, changes=changes, extra="[machine]\nrapid = 1400")
    note = next(f for f in feed_findings(clamping_of(load_job(slow))) if "flat" in f.where)
    assert "per second" not in note.remedy  # it would be above the rapids, and refused


def test_other_units_of_feed_speed_and_density_are_asked_after(tmp_path):
    for line, changed, words in (
        ("feed = 1200.0", "feed = 25.0", "if mm per second are meant, write feed = 1500"),
        ("speed = 18000", "speed = 14", "if thousands of turns per minute are meant, write 14000"),
        ("density = 1.12", "density = 1100", "if kg/m3 are meant, write 1.1"),
    ):
        path = small_board.job(tmp_path, changes={line: changed})
        with pytest.raises(JobError) as wrong:
            clamping_of(load_job(path))
        assert words in str(wrong.value)


def test_a_feed_slower_than_plunge_is_answered_in_the_jobs_unit_and_within_reach(tmp_path):
    small = load_job(small_board.job(tmp_path))
    table = next(one for one in small.cutters if one.name == "flat")
    for feed, unit, words in (
        (25.4, "in", "if in per second are meant, write feed = 60"),
        (1.0, "mm", "if metres per minute are meant, write feed = 1000"),
        (120.0, "mm", "make feed larger, or plunge smaller"),  # 7200 is above the rapids
    ):
        job = replace(small, units=unit, cutters=(replace(table, feed=feed),))
        with pytest.raises(JobError, match="slower than plunge") as wrong:
            job.cutter("flat", "")
        assert wrong.value.remedy == words


def test_feed_and_plunge_that_are_changed_over_are_asked_after(tmp_path):
    changes = {"feed = 1200.0\nplunge = 300.0": "feed = 300.0\nplunge = 1200.0"}
    with pytest.raises(JobError, match="slower than plunge") as wrong:
        load_job(small_board.job(tmp_path, changes=changes)).cutter("flat", "")
    assert wrong.value.remedy == "if feed and plunge are changed over, write feed = 1200 and plunge = 300; else make " \
        "feed larger, or plunge smaller"


def test_a_v_cutter_is_judged_by_the_diameter_that_it_cuts_at(tmp_path):
    """At 1 mm of depth a 60 degree v is 1.15 mm wide, whatever its shank: what is usual for 6 mm would break it."""
    vee = small_board.cutter(name="vee", shape="v", angle=60.0, diameter=6.0, speed=16000, feed=4500.0, plunge=300.0,
                             stepdown=1.0)
    path = small_board.job(tmp_path, changes={'cutters = ["flat"]': 'cutters = ["vee"]'}, extra=vee)
    notes = {note.where: note for note in feed_findings(clamping_of(load_job(path)))}
    assert "high: its tip may break" in notes['cutter "vee"'].got
    # 16000 rpm * 4500 / 1155 to / 577 mm per minute, which no small router turns
    assert "rpm" not in notes['cutter "vee"'].remedy
    assert float(notes['cutter "vee"'].allowed.split()[2]) < 1200
