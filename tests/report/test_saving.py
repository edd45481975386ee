"""What the report promises of a change is what the change brings: each is written into the job, and built again."""

import re

import pytest

import pathgen
from pathgen.app.choosing import change_lines
from pathgen.report.text import load_lines, saving_lines
from tests import small_board

SLOTS = small_board.SLOT_CUTTER + """[slots]
cutter = "slot"
depth = 2.0
entry = "ramp"
"""


@pytest.fixture(scope="module")
def slotted(tmp_path_factory):
    return small_board.built(tmp_path_factory.mktemp("saving"), extra=SLOTS)


def test_each_saving_is_what_the_change_saves(slotted, tmp_path):
    rows = slotted.report["fewer_minutes"]
    assert 3 <= len(rows) <= 5
    assert [row["minutes_saved"] for row in rows] == sorted((row["minutes_saved"] for row in rows), reverse=True)
    text = small_board.JOB + SLOTS
    for row in rows:
        table, assignment = re.fullmatch(r"(\[+\w+\]+(?: \".*?\")?) (.*)", row["change"]).groups()
        key = assignment.split(" = ")[0]
        if table.startswith("[[cutter]]"):
            changed = text.replace("diameter = 0.6", "diameter = 0.6\n#").replace("stepdown = 0.5", assignment)
        elif f"{key} = " in text and table != "[resurface]":
            changed = re.sub(rf"^{key} = .*$", assignment, text, flags=re.M)
        elif table == "[resurface]":
            changed = f"{text}\n[resurface]\n{assignment}\n"
        else:
            changed = text.replace(table, f"{table}\n{assignment}")
        (tmp_path / "art.svg").write_text(small_board.ART)
        (tmp_path / "job.toml").write_text(changed)
        minutes = pathgen.build(pathgen.load_job(tmp_path / "job.toml")).report["minutes"]
        # what pockets take longer with leave is worked out from their layers alone, as if thinner ones were eased as
        # much; over higher ridges a ramp into a slot begins higher, which is not reckoned
        about = 0.4 if re.search("leave|scallop", row["change"]) else 0.06
        assert slotted.report["minutes"] - minutes == pytest.approx(row["minutes_saved"], abs=about), row["change"]


def test_compare_tells_the_minutes_of_the_other_entry_both_ways(slotted, tmp_path):
    pecked = small_board.job(tmp_path, extra=SLOTS.replace('"ramp"', '"peck"'))
    saved = next(row["minutes_saved"] for row in slotted.report["fewer_minutes"] if "entry" in row["change"])
    line = next(line for line in change_lines(pathgen.load_job(pecked)) if '[slots] entry = "ramp"' in line)
    assert float(re.search(r"takes ([\d.]+) min longer", line)[1]) == pytest.approx(saved, abs=0.11)


def test_the_report_says_so_in_words(slotted):
    lines = saving_lines(slotted.report)
    assert "The same board in fewer minutes" in lines
    assert any('[slots] entry = "peck"' in line for line in lines)
    (pocket,) = [p for p in slotted.report["programs"] if p["operation"] == "pocket"]
    assert 0 < pocket["load"]["median"] < pocket["load"]["high"] <= pocket["load"]["largest"] < 1.65
    assert any(pocket["file"] in line for line in load_lines(slotted.report["programs"]))


def test_what_is_not_measured_is_said(tmp_path):
    """Eight points of the grid across a cutter are needed: 0.2 mm is too coarse for 1 mm."""
    result = small_board.built(tmp_path, resolution=0.2, changes={"diameter = 2.0": "diameter = 1.0"})
    (pocket,) = [p for p in result.report["programs"] if p["operation"] == "pocket"]
    assert pocket["load"] is None
    (line,) = [line for line in load_lines(result.report["programs"]) if "Not measured" in line]
    assert pocket["file"] in line


def test_leave_says_what_it_saves(tmp_path):
    left = {"scallop = 0.05": "scallop = 0.02\nleave = 0.3"}
    whole = small_board.built(tmp_path, changes={"scallop = 0.05": "scallop = 0.02"}).report["minutes"]
    report = small_board.built(tmp_path, changes=left).report
    assert whole - report["minutes"] == pytest.approx(report["saved_by_leave"], abs=0.2)
