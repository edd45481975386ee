"""A finding in a line: what is forbidden, what is usual and what would be good are told apart."""

import re
from types import SimpleNamespace

import pytest

from pathgen.base.plain import counted
from pathgen.report.blank import blank_data, findings_of_parts
from pathgen.report.data import Report
from pathgen.report.filltext import _how_cut, _where_cut
from pathgen.report.sheet.blank import _stop
from pathgen.report.text import verdict
from pathgen.report.wording import finding_line


@pytest.mark.parametrize(("severity", "allowed", "line"), [
    ("forbid", "25.4 mm", "DO NOT CUT: there: it is so (allowed: 1 in). Go on."),
    ("warn", "", "warning: there: it is so. Go on."),
    ("warn", "1 mm is usual", "warning: there: it is so (0.0394 in is usual). Go on."),
    ("note", "another", "note: there: it is so (good: another). Go on."),
])
def test_lines(severity: str, allowed: str, line: str) -> None:
    assert finding_line(severity, "there", "it is so", allowed, "go on", units="in") == line


@pytest.mark.parametrize(("codes", "words"), [
    (["too-long"], "were not simulated to the end, and nobody knows whether they are good"),
    (["too-long", "rapid-into-material"], "must not be cut"), (["rapid-into-material"], "must not be cut"),
])
def test_what_was_not_simulated_is_not_called_bad(codes, words):
    """Of good programs that were not looked at to the end, "must not be cut" was all that was said."""
    findings = [{"code": "short-tabs", "severity": "warn"}, *({"code": one, "severity": "forbid"} for one in codes)]
    kind, said = verdict({"passed": False, "findings": findings}, "mm")
    assert (kind, words in said, said.startswith("Not verified: ")) == ("bad", True, True)


def test_no_place() -> None:
    assert finding_line("note", "", "it is so", "", "go on") == "note: it is so. Go on."


def test_findings_of_several_parts_on_one_blank_name_the_part_by_its_place_in_the_list():
    parts = [{"name": name, "report": {"checks": {
        "surface_low": None, "surface_high": None, "findings": [{"where": "02.nc line 7", "severity": severity}]}}}
        for name, severity in (("lid", "warn"), ("plate", "forbid"))]
    data = blank_data("two", "mm", "0", parts, [(), ()], (), fills=(), origin=(0.0, 0.0))
    assert [f["where"] for f in data["checks"]["findings"]] == [
        "part 1, lid: 02.nc line 7", "part 2, plate: 02.nc line 7"]
    assert data["checks"]["passed"] is False
    one = blank_data("one", "mm", "0", parts[:1], [()], (), fills=(), origin=(0.0, 0.0))
    assert one["checks"]["passed"] is True


def test_what_is_said_of_several_parts_in_the_same_words_is_said_once():
    feed, web, zero = ({"where": where, "severity": "warn", "got": "so"} for where in ("cutter", "web", "[setup] zero"))
    other = feed | {"got": "otherwise"}
    found = findings_of_parts(["lid-1", "lid-2", "plate"], [[zero, feed, web], [zero, feed], [zero, other, web]])
    assert [f["where"] for f in found] == [
        "[setup] zero", "parts 1 and 2, lid-1 and lid-2: cutter", "parts 1 and 3, lid-1 and plate: web",
        "part 3, plate: cutter"]
    alike = findings_of_parts(["a", "b", "c"], [[feed]] * 3)
    assert [f["where"] for f in alike] == ["parts 1 to 3, a, b and c: cutter"]


def test_one_of_something_is_not_many():
    assert [counted(count, "place") for count in (0, 1, 2)] == ["0 places", "1 place", "2 places"]


def test_what_to_pour_now_is_said_part_by_part_and_what_all_are_told_once():
    def part(*stops, fill="resin"):
        return SimpleNamespace(steps=[SimpleNamespace(
            turn=None if number is None else SimpleNamespace(fill_after=number),
            operation=SimpleNamespace(afterwards=lambda one, said=said: said, opens=SimpleNamespace(fill=fill)))
            for number, said in stops])

    parts = [part((None, ["no"]), (4, ["Mix.", "Fill A."]), (9, ["later"])), part((4, ["Mix.", "Fill B."])),
             part((9, ["later"]))]
    report = {"parts": [{"name": name} for name in ("lid", "plate", "tail")], "fills": [], "programs": []}
    row = {"stop": "fill", "done": False}
    said = _stop(report, row | {"number": 4, "stop_for": [1, 2], "stop_each": {"fill": [1, 2]}}, parts)
    assert ["".join(line.itertext()) for line in said] == [
        "Stop after program 4: fill 1 lid, 2 plate", "Mix.", "1 lid: Fill A.", "2 plate: Fill B."]
    alone = _stop(report, row | {"number": 9, "stop_for": [1, 3], "stop_each": {"fill": [1, 3]}}, parts)
    assert ["".join(line.itertext()) for line in alone][:2] == ["Stop after program 9: fill 1 lid, 3 tail", "later"]
    assert len(alone) == 2  # what all are told is told once, a paragraph for each line
    both = {"fill": [1], "glue in the pieces": [2]}
    parts[1] = part((4, ["Glue.", "Mix."]), fill="piece")
    said = _stop(report, row | {"number": 4, "stop_for": [1, 2], "stop_each": both}, parts)
    assert ["".join(line.itertext()) for line in said] == [  # each kind by itself, the fill first
        "Stop after program 4: fill 1 lid, and glue in the pieces of 2 plate", "Fill 1 lid:", "Mix.", "Fill A.",
        "Glue in the pieces of 2 plate:", "Glue.", "Mix.",
        "Wait until the glue has set fully, and do what the sheets of these parts say before their next programs."]
    alone = _stop(report | {"parts": report["parts"][:1]},
                  row | {"number": 4, "stop_for": [1], "stop_each": {"fill": [1]}}, parts[:1])
    assert ["".join(line.itertext()) for line in alone] == ["Stop after program 4: fill 1 lid", "Mix.", "Fill A."]


def test_a_report_shows_its_main_figures_in_a_notebook():
    finding = {"severity": "warn", "where": "fret 3", "got": "0.2 mm", "remedy": "look"}
    inlay = {"depth": 1.5, "reachable_area": 86.21, "fill_volume": 250.0}
    shown = Report(
        programs=[{"file": "01-a.nc", "cutter": {"name": "ball"}, "cut_length": 21728.66, "minutes": 12.34}],
        minutes=43.31, surface={"scallop_measured": 0.0199, "scallop_limit": 0.02, "passes": 53},
        inlays=[inlay, {**inlay, "depth": 0.8}], checks={"passed": False, "findings": [finding]})._repr_html_()
    rows = [re.findall(r"<td>(.*?)</td>", row) for row in re.findall(r"<tr>(.*?)</tr>", shown)]
    assert rows[1:] == [
        ["01-a.nc", "ball", "21.73 m", "12.3 min"], ["in all", "", "", "43 min"],
        ["ridges", "0.0199 mm", "allowed 0.02 mm", "53 passes"],
        ["inlay 1", "1.5 mm deep", "86.2 mm2 opened", "0.25 ml of fill"],
        ["inlay 2", "0.8 mm deep", "86.2 mm2 opened", "0.25 ml of fill"], ["checks", "do not cut", "", ""],
        ["warn", "fret 3", "0.2 mm", "look"],
    ]


@pytest.mark.parametrize(("cut", "words"), [
    ({"repeats_first_pass": True, "first_program": 2}, "is that of program 2 again, coordinate for coordinate"),
    ({"leave": 0.3}, "from 0.3 mm proud"),
    ({"skim": 0.12}, "0.12 mm below the first surface"), ({}, "follows the first finishing pass"),
])
def test_how_a_second_cut_goes(cut, words):
    assert words in _how_cut({"repeats_first_pass": False, "leave": 0.0, "skim": 0.0, **cut}, "mm")


def test_where_a_second_cut_goes():
    assert _where_cut({"area": "board", "blend": 5.0}, "plate", "mm") == "over the whole plate"
    assert _where_cut({"area": "inlay", "blend": 5.0}, "plate", "mm") == \
        "over the inlay, 5 mm round it and all inside its dam"
    assert _where_cut({"area": "inlay", "blend": 5.0}, "plate", "mm", dams=False) == "over the inlay, 5 mm round it"


def test_a_remedy_that_asks_ends_in_its_own_sign():
    assert finding_line("note", "a", "b", "", "did you mean depth?") == "note: a: b. Did you mean depth?"
    assert finding_line("note", "a", "b", "", "make it less") == "note: a: b. Make it less."
