"""The table for choosing a finishing cutter: against the exact ridge formula, the build itself, and plain geometry."""

import json
import math
import re
from dataclasses import replace

import pytest

from pathgen import JobError, compare, load_job
from pathgen.app import choosing
from pathgen.app.choosing import choice_lines, sized
from pathgen.app.cli import main
from pathgen.base.errors import CutterError
from tests import small_board
from tests.report.conftest import written_job


@pytest.fixture
def job(tmp_path):
    return load_job(written_job(tmp_path, title="board"))


@pytest.mark.in_every_run(0)
def test_the_chosen_row_is_what_the_build_does(built):
    chosen = [c for c in compare(built.job) if c.chosen]
    assert len(chosen) == 1
    surface = built.report["surface"]
    assert chosen[0].passes == surface["passes"]
    assert chosen[0].stepover == pytest.approx(surface["stepover"], abs=1e-6)
    assert chosen[0].ridge == pytest.approx(surface["scallop_predicted"], abs=1e-6)
    finishes = [p for p in built.programs if p.operation in ("surface-finish", "resurface")]
    assert chosen[0].minutes_all == pytest.approx(sum(p.minutes for p in finishes), rel=1e-9)
    assert chosen[0].minutes_all > 1.05 * chosen[0].minutes * len(finishes)  # stock and fill are stepped down through
    assert chosen[0].finishings == sum(p.operation in ("surface-finish", "resurface") for p in built.programs) == 2


def test_ridges_and_stepovers_are_those_of_the_flat_formula_nearly(job):
    """Exact geometry of a flat, h = r - sqrt(r^2 - s^2 / 4); a convex board differs by (R + r) / R, some per cent."""
    for choice in compare(job, scallops=[0.005, 0.01, 0.02]):
        r = choice.cutter.radius
        flat = r - math.sqrt(r**2 - choice.stepover**2 / 4)
        assert choice.ridge == pytest.approx(flat, rel=0.04)
        assert 0.97 * choice.limit < choice.ridge <= choice.limit


def test_larger_balls_and_higher_ridges_take_less_time(job):
    rows = compare(job, cutters=[sized(job, d) for d in (6.0, 12.0)], scallops=[0.01, 0.02])
    large_fine, large_coarse, small_fine, small_coarse = rows
    assert large_fine.cutter.diameter == 12.0
    assert large_coarse.minutes < large_fine.minutes < small_fine.minutes
    assert small_coarse.minutes < small_fine.minutes
    # stepover grows with the root of height times radius, for small ridges (s^2 = 8 r h: El-Hofy, ch. 5)
    assert large_fine.stepover / small_fine.stepover == pytest.approx(math.sqrt(2), rel=0.02)


def test_minutes_are_at_least_the_way_at_full_feed(job):
    for choice in compare(job):
        assert choice.minutes > choice.cut_length / choice.cutter.feed


def test_what_cannot_be_compared_is_refused(job):
    with pytest.raises(JobError, match=r"6 ridge heights given.*1 to 5"):
        compare(job, scallops=[0.01] * 6)
    with pytest.raises(JobError, match="0 cutters"):
        compare(job, cutters=[])
    with pytest.raises(CutterError, match="flat-end cutter cannot finish"):
        compare(job, cutters=[job.cutter("flat 3", "x")])
    with pytest.raises(JobError, match=r"\[surface\]"):
        compare(replace(job, surface=None))
    for height, diameter, most in ((2.0, 6.0, 1.0), (0.0001, 6.0, 1.0), (0.5, 1.0, 0.45)):
        with pytest.raises(JobError, match=f"ridges of {height:g} mm .* ball end .allowed: 0.0005 to {most:g} mm"):
            compare(job, cutters=[sized(job, diameter)], scallops=[height])


@pytest.mark.parametrize("limit", [0.0005, 1.0])
def test_heights_left_out_are_such_as_a_job_may_ask_for(job, limit):
    job = replace(job, surface=replace(job.surface, scallop=limit, stepover=None))
    rows = compare(job, cutters=[sized(job, 8.0)])
    assert [row.limit for row in rows] == ([0.0005, 0.001] if limit < 0.1 else [0.5, 1.0])


def test_words_are_in_the_units_of_the_job(job):
    lines = choice_lines(compare(job), "in")
    assert "0.315 in" in "\n".join(lines)
    assert sum(line.startswith("*") for line in lines) == 2


def test_the_command_tells_other_changes(tmp_path, capsys):
    assert main(["compare", str(small_board.job(tmp_path)), "--scallop", "0.05"]) == 0
    said = capsys.readouterr().out
    assert re.search(r"\[surface\] leave = 0\.2 takes [\d.]+ min longer: ", said)
    assert re.search(r'\[resurface\] area = "inlay" +-?[\d.]+ min', said)


def test_the_head_tells_that_the_last_passes_are_meant(job):
    lines = choice_lines(compare(job), "mm")
    assert re.search(r"passes +ridges +last passes +their time +all", lines[0])
    assert "lowest layer of one finishing alone" in "\n".join(lines)


def test_a_change_that_costs_minutes_does_not_stand_among_those_that_save(job, monkeypatch):
    rows = [{"change": name, "minutes_saved": saved, "cost": "x"} for name, saved in (
        ("quick", 2.0), ("slow", -0.4), ("[surface] scallop = 0.1", -0.5))]
    monkeypatch.setattr(choosing, "changes", lambda *_: rows)
    monkeypatch.setattr(choosing, "saved_by_leave", lambda *_: -3.0)
    said = "\n".join(choosing.change_lines(job))
    assert "quick" in said
    assert "slow takes 0.4 min longer: x." in said
    assert ("scallop = 0.1 takes 0.5 min longer in all, as what is cut into the surface begins on top of the ridges, "
            "in more layers: x.") in said  # the table above has its passes take less
    assert not re.search(r"-\d", said)
    assert "[surface] leave saves" not in said


def test_the_command_prints_json(tmp_path, capsys):
    job = written_job(tmp_path, title="board")
    assert main(["compare", str(job), "--cutter", "6 mm", "1/4 in", "--scallop", "0.01", "--json"]) == 0
    rows = json.loads(capsys.readouterr().out)
    assert [row["diameter"] for row in rows] == [6.35, 6.0]
    for size in ("ball 6", "ball 6 mm", "ball 0.6 cm", "6"):  # also as the table itself names it
        assert main(["compare", str(job), "--cutter", size, "ball 1/4 in", "--scallop", "0.01", "--json"]) == 0
        assert [row["diameter"] for row in json.loads(capsys.readouterr().out)] == [6.35, 6.0]
    assert main(["compare", str(job), "--cutter", "none such"]) == 2
    assert '"ball & <b>8</b>", or a diameter' in capsys.readouterr().err
