"""The whole verification: good programs pass, spoilt ones are refused, and what is measured is true."""

import functools
import itertools
from dataclasses import fields
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import pathgen
from pathgen.base.surface import Surface
from pathgen.removal import material as removal
from pathgen.removal.grid import Grid
from pathgen.removal.motion import Motion
from pathgen.report.data import checks_data
from pathgen.report.text import finding_lines, shown_findings
from pathgen.verify import Tolerances
from pathgen.verify import check as checking
from pathgen.verify import verify_once as verify
from pathgen.verify.culprit import Culprit
from pathgen.verify.findings import Finding
from pathgen.verify.given_programs import blamed
from pathgen.verify.handling import _first
from pathgen.verify.over_board import motion_over_board
from pathgen.verify.read import read_program
from pathgen.verify.simulate import _heights_of_surface, _smear
from pathgen.verify.slots import _floor
from tests import small_board
from tests.as_made import found_row, hold_rows
from tests.leaf import write_leaf
from tests.spoiling import SPOILINGS, Case, Moves

SURFACE_ROUGH, SURFACE_FINISH, RESURFACE = "surface-rough", "surface-finish", "resurface"
POCKET, SLOTS, OUTLINE = "pocket", "slots", "outline"

WAYS = {"a leaf": {},
        "icons, turned, in inches, zero on top": {"icons": True, "along": "y", "units": "in", "z_zero": "stock-top"}}
COARSE = 0.2
ALARMS = {
    "a binary file": "unreadable",
    "a clamp in the way": "hits-a-keep-out",
    "a comment not closed": "unreadable",
    "a cutter change in the middle": "unreadable",
    "a pocket a hundredth larger": "pocket-wall-overcut",
    "a pocket cut as if the cutter were thinner": "pocket-outside-drawing pocket-wall-overcut",
    "a pocket mirrored": "pocket-outside-drawing pocket-too-shallow pocket-uncut pocket-wall-overcut",
    "a point lost from a number": "unreadable",
    "a program missing": "program-missing",
    "a program too many": "program-unexpected",
    "a rapid past the travel": "shank-rubs beyond-travel off-the-stock rapid-through-material",
    "a retract left out": "rapid-through-material",
    "a run of a pocket left out": "pocket-too-shallow pocket-uncut",
    "a sign lost": "slot-too-deep",
    "a thousandth longer":
        "outline-outside pocket-outside-drawing pocket-wall-overcut slot-off-line slot-too-shallow",
    "an arc without a centre": "unreadable",
    "an empty file": "unreadable",
    "an exponent": "unreadable",
    "an outline corner cut": "outline-inside surface-too-low",
    "an unknown word": "unreadable",
    "another work offset": "other-work-offset",
    "approach into the fill": "rapid-through-material surface-too-low",
    "comments only": "cuts-nothing slot-missing",
    "end too early": "unreadable",
    "every second finishing pass left out": "ridges-too-high surface-too-high surface-too-low",
    "everything aside":
        "outline-inside outline-outside pocket-outside-drawing pocket-uncut pocket-wall-overcut surface-too-"
        "high surface-too-low",
    "everything lower": "below-the-bed cut-too-deep pocket-too-deep slot-too-deep surface-too-low tab-too-thin",
    "feeds three times too fast": "feed-too-fast plunge-too-fast",
    "file cut short":
        "cut-too-deep ends-in-the-work no-end resurface-differs ridges-too-high spindle-left-on surface-too-"
        "high",
    "file cut short but ended": "resurface-differs",
    "finish 0.005 too high": "resurface-differs resurface-takes-wood",
    "finish 0.005 too low": "resurface-differs ridges-too-high surface-too-low",
    "finish 0.1 aside across the board": "resurface-differs resurface-takes-wood ridges-too-high surface-too-low",
    "finish 2 aside along the board": "resurface-differs ridges-too-high surface-too-low",
    "inches for millimetres": "other-units pocket-too-shallow pocket-uncut",
    "incremental for absolute": "unreadable",
    "last resurfacing left out": "cut-too-deep resurface-differs ridges-too-high surface-too-high",
    "lifted resurfacing left out": "cut-too-deep",
    "no end": "no-end",
    "no feed at all": "no-feed",
    "no retract at the end": "ends-in-the-work",
    "no retract at the start": "no-retract-first",
    "no units": "other-units",
    "no work offset": "other-work-offset",
    "one cut made a rapid": "rapid-through-material",
    "one finishing pass aside": "resurface-differs resurface-takes-wood",
    "one finishing pass higher": "resurface-differs resurface-takes-wood",
    "one finishing pass left out": "resurface-differs resurface-takes-wood ridges-too-high surface-too-low",
    "one finishing pass lower": "resurface-differs ridges-too-high surface-too-low",
    "one plunge made a rapid": "rapid-through-material",
    "one resurfacing point moved": "resurface-differs",
    "one slot aside": "slot-off-line",
    "one slot crooked": "slot-off-line",
    "one slot deeper": "slot-too-deep",
    "one slot left out": "slot-missing",
    "one stray move in a pocket": "pocket-outside-drawing pocket-wall-overcut",
    "one tab thinner": "tab-too-thin",
    "outline 0.03 aside across the board": "outline-inside outline-outside",
    "outline 0.03 aside along the board": "outline-inside outline-outside",
    "outline 0.5 into the bed": "below-the-bed tab-too-thin",
    "outline not through": "outline-uncut",
    "plunges at the cutting feed": "plunge-too-fast",
    "pocket 0.03 too deep": "pocket-too-deep",
    "pocket 0.05 too shallow": "pocket-too-shallow",
    "pocket 0.1 aside across the board": "pocket-outside-drawing pocket-uncut pocket-wall-overcut",
    "pocket 0.1 aside along the board": "pocket-outside-drawing pocket-wall-overcut",
    "resurface 0.004 too low": "resurface-differs resurface-takes-wood surface-too-low",
    "resurface 0.02 too high": "resurface-differs ridges-too-high surface-too-high",
    "resurface 0.1 aside across the board": "resurface-differs resurface-takes-wood ridges-too-high surface-too-low",
    "retracts too low": "ends-in-the-work rapid-through-material",
    "rough 0.5 too low": "ridges-too-high surface-too-low",
    "slot layers left out": "cut-too-deep",
    "slots 0.02 aside along the board": "slot-off-line",
    "slots 0.02 too deep": "slot-too-deep",
    "slots 0.02 too shallow": "slot-too-shallow",
    "slots 1 aside across the board": "cut-too-deep slot-too-deep slot-too-short",
    "slots before the pockets":
        "cut-too-deep feed-too-fast plunge-too-fast pocket-outside-drawing pocket-too-deep pocket-uncut "
        "pocket-wall-overcut slot-missing slot-stray",
    "slots level instead of curved": "cut-too-deep slot-too-deep",
    "slots that stop short": "cut-too-deep slot-too-deep",
    "small cutter too shallow": "pocket-too-shallow",
    "spindle at half speed": "spindle-speed",
    "spindle backwards": "spindle-backwards",
    "spindle left running": "spindle-left-on",
    "spindle never started": "spindle-off",
    "spindle stopped half way": "spindle-off",
    "tabs left out": "tabs-missing",
    "tabs narrower": "tab-too-thin",
    "the board mirrored":
        "hits-a-keep-out off-the-stock outline-inside outline-outside outline-uncut pocket-too-shallow "
        "pocket-uncut pocket-wall-overcut slot-missing slot-stray surface-too-high surface-too-low",
    "the header of another job": "other-job",
    "the last lap of the outline left out": "outline-outside outline-uncut",
    "the small cutter left out of a pocket": "pocket-uncut",
    "the upper layers of a slot a third of a millimetre short": "cut-too-deep",
    "two digits exchanged": "resurface-differs",
    "two pocket programs exchanged":
        "feed-too-fast plunge-too-fast pocket-outside-drawing pocket-too-deep pocket-uncut pocket-wall-"
        "overcut",
    "upper layers of a pocket left out": "cut-too-deep",
    "wood left standing in a slot for its last layer": "cut-too-deep",
    "zero on the wrong side of the stock": "tabs-missing",
    "zero place cut away": "zero-place-cut",
}
"""What is found, by its codes, of each way to spoil programs: an alarm that is silent may hide behind another one."""


@pytest.fixture(scope="module")
def board(tmp_path_factory):
    @functools.cache
    def made(way):
        job = pathgen.load_job(write_leaf(tmp_path_factory.mktemp("leaf"), **WAYS[way]))
        return pathgen.build(job, resolution=0.1)
    return made


@pytest.fixture(params=sorted(WAYS))
def built(request, board):
    return board(request.param)


@pytest.fixture
def texts(built):
    return {p.file_name: p.text for p in built.programs}


def test_good_programs_pass_and_measure_what_was_asked(built):
    checked = built.verification
    assert checked.passed, [str(f) for f in checked.findings]
    limit = built.plan.clamping.surfacing.scallop
    assert 0.9 * limit < checked.scallop_measured <= limit + 7e-4
    assert -0.002 < checked.surface_low <= 0
    assert 0 < checked.seconds < 3600
    assert 0.9 * limit < checked.surface_high < 1.05 * limit
    inlay = built.plan.clamping.inlays[0]
    assert checked.pockets[0].volume == pytest.approx(inlay.area.area * inlay.depth, rel=0.02)
    filled = inlay.area.area * (inlay.depth + inlay.overfill)
    assert checked.pockets[0].fill_volume == pytest.approx(filled, rel=0.02)


# each on one of the boards in turn: of what is spoilt a little too low and a little too high, both see one
@pytest.mark.in_every_run(9)
@pytest.mark.parametrize(("way", "spoiling"), [*zip(itertools.cycle(sorted(WAYS)), sorted(SPOILINGS), strict=False)])
def test_every_spoiling_is_refused(board, way, spoiling):
    built = board(way)
    case = Case({p.file_name: p.text for p in built.programs}, built.plan.clamping, np.random.default_rng(5))
    SPOILINGS[spoiling](case)
    assert case.spoilt != case.texts, "this spoils nothing"
    checked = verify(built.plan.clamping, case.spoilt, resolution=COARSE, job_fingerprint=built.job.fingerprint)
    assert not checked.passed
    assert set(ALARMS[spoiling].split()) <= {f.code for f in checked.findings if f.severity == "forbid"}
    assert (spoiling == "pocket 0.05 too shallow") <= any("at its deepest" in f.got for f in checked.findings)
    deep = [f.remedy for f in checked.findings if f.code == "cut-too-deep"]
    assert all("taken out" in remedy and "smaller steps" in remedy for remedy in deep)
    assert "do not cut" not in {f.remedy for f in checked.findings}, "that is no advice"
    first = checked.findings[0]
    assert all((first.code, first.where, first.got, first.allowed, first.remedy))
    hold_rows(f"spoilt: {spoiling}", [found_row(checked.findings)])


@pytest.mark.in_every_run(0)
def test_what_is_kept_of_findings_is_not_in_which_lines_they_are(board):
    built = board("a leaf")
    case = Case({p.file_name: p.text for p in built.programs}, built.plan.clamping, np.random.default_rng(5))
    SPOILINGS["pocket 0.03 too deep"](case)
    texts = [{name: text.replace(before, f"(a word)\n{before}", 1) for name, text in case.spoilt.items()}
             for before in ("M30", "G0")]
    found, moved = (verify(built.plan.clamping, each, resolution=COARSE, job_fingerprint=built.job.fingerprint).findings
                    for each in texts)
    assert [str(one) for one in found] != [str(one) for one in moved]
    assert found_row(found) == found_row(moved) != "nothing: "


def test_good_programs_pass_on_a_coarse_grid_too(built, texts):
    checked = verify(built.plan.clamping, texts, resolution=COARSE, job_fingerprint=built.job.fingerprint)
    assert checked.passed, [str(f) for f in checked.findings]


def test_rewriting_the_same_moves_is_only_an_edit(built, texts):
    """The tool that spoils programs does not spoil them by taking them apart; the header then says edited."""
    again = {name: Moves.of(text).text() for name, text in texts.items()}
    checked = verify(built.plan.clamping, again, resolution=COARSE, job_fingerprint=built.job.fingerprint)
    assert {f.code for f in checked.findings} - {f.code for f in built.verification.findings} == {"edited"}
    assert checked.passed


@pytest.mark.in_every_run(1)
def test_a_changed_program_is_told_before_those_that_only_differ_from_it(built, texts):
    """A move is gone from the first finish: the cut again, unchanged, then differs from it and says why."""
    finish, again = (next(s.file_name for s in built.plan.clamping.steps if s.operation.name == name)
                     for name in (SURFACE_FINISH, RESURFACE))
    lines = texts[finish].split("\n")
    moves = [i for i, line in enumerate(lines) if line.startswith(("G1", "X", "Y"))]
    short = {**texts, finish: "\n".join(line for i, line in enumerate(lines) if i != moves[len(moves) // 2])}
    checked = verify(built.plan.clamping, short, resolution=COARSE, job_fingerprint=built.job.fingerprint)
    shown = shown_findings(checks_data(checked), "mm")
    assert [(checked.findings[0].code, shown[0]["code"], shown[0]["where"])] == [("edited", "edited", finish)]
    differs = next(f for f in checked.findings if f.code == "resurface-differs")
    assert differs.where.startswith(again)
    assert f"{finish} was changed and this program was not" in differs.remedy


@pytest.mark.in_every_run(1)
def test_programs_in_each_others_files_are_called_exchanged_and_told_first(built, texts):
    one, other, third = (step.file_name for step in built.plan.clamping.steps[2:5])
    checked = verify(built.plan.clamping, {**texts, one: texts[other], other: texts[one]}, resolution=COARSE,
                     job_fingerprint=built.job.fingerprint)
    first = checked.findings[0]
    assert (first.code, first.severity, first.where) == ("exchanged", "forbid", f"{one} and {other}")
    assert first.remedy.startswith("give each the name of the other")
    lines = finding_lines(checks_data(checked), "mm")
    assert lines[0].startswith(f"DO NOT CUT: {one} and {other}: exchanged")
    assert lines[1] == "What follows likely comes of that:"
    twice = verify(built.plan.clamping, {**texts, one: texts[third]}, resolution=COARSE,
                   job_fingerprint=built.job.fingerprint).findings[0]
    assert (twice.code, twice.where) == ("exchanged", one)
    assert f"holds the program of {third}" in twice.got


def test_an_edit_is_not_blamed_for_what_was_warned_of_before():
    told = [Finding(code="x", severity=severity, where="02-b.nc, line 3", got="g", allowed="a", remedy="r")
            for severity in ("forbid", "warn", "note")]
    told = list(blamed(told, dict.fromkeys(["01-a.nc", "02-b.nc"]), ["01-a.nc"]))
    assert ["look there first" in f.remedy for f in told] == [True, False, False]


def test_a_program_whose_comments_were_taken_out_is_no_other_jobs(built, texts):
    """Some machines take no comments. What it does is compared as ever; which job it was made from nothing says."""
    name = next(s.file_name for s in built.plan.clamping.steps if s.operation.name == SLOTS)
    bare = "".join(line for line in texts[name].splitlines(keepends=True) if not line.startswith("("))
    checked = verify(built.plan.clamping, {**texts, name: bare}, resolution=COARSE,
                     job_fingerprint=built.job.fingerprint)
    assert checked.passed
    assert [(f.severity, f.where) for f in checked.findings if f.code == "no-job-fingerprint"] == [("warn", name)]


@pytest.mark.in_every_run(1)
def test_programs_of_another_version_of_the_job_are_told_once(built, texts):
    name = next(s.file_name for s in built.plan.clamping.steps if s.operation.name == SLOTS)
    checked = verify(built.plan.clamping, texts, resolution=COARSE, job_fingerprint="0" * 16)
    assert [(f.code, f.where) for f in checked.findings if f.code == "other-job"] == [
        ("other-job", f"all {len(texts)} programs")]
    checks = checks_data(checked, [Finding(code="x", severity="note", where="", got="a", allowed="", remedy="b")] * 70)
    lines = finding_lines(checks, "mm")
    assert len(lines) == 1 + 1 + 5 + 1 + 1
    assert lines[0].startswith(f"DO NOT CUT: all {len(texts)} programs: built from another version of this job")
    assert lines[1] == "What follows likely comes of that:"
    (one,) = [f for f in verify(built.plan.clamping, {**texts, name: texts[name].replace(
        built.job.fingerprint, "1" * 16)}, resolution=COARSE, job_fingerprint=built.job.fingerprint).findings
        if f.code == "other-job"]
    assert one.where == name


def _codes(built, operation, change, index=0):
    case = Case({p.file_name: p.text for p in built.programs}, built.plan.clamping, np.random.default_rng(1))
    moves = case.moves(operation, index)
    change(moves, case)
    case.put(operation, moves, index)
    checked = verify(built.plan.clamping, case.spoilt, resolution=COARSE)
    return {f.code: f for f in checked.findings if f.severity == "forbid"}


def test_coolant_is_warned_of_by_its_line(built, texts):
    name = next(s.file_name for s in built.plan.clamping.steps if s.operation.name == SLOTS)
    lines = texts[name].split("\n")
    at = next(i for i, line in enumerate(lines) if line.startswith("M3"))
    wet = {**texts, name: "\n".join([*lines[: at + 1], "M8", *lines[at + 1 :]])}
    checked = verify(built.plan.clamping, wet, resolution=COARSE, job_fingerprint=built.job.fingerprint)
    assert {(f.code, f.where) for f in checked.findings if f.code == "coolant-on"} == {
        ("coolant-on", f"{name}, line {at + 2}")
    }
    assert "coolant-on" not in {f.code for f in built.verification.findings}


def test_findings_name_the_program_the_line_and_the_size(built):
    def deeper(moves, case):
        run = case.slots(moves)[3]
        moves.points[run, 2] -= 0.05

    found = _codes(built, SLOTS, deeper)["slot-too-deep"]
    assert "slot 4" in found.where
    assert "line" in found.where
    assert float(found.got.split()[0]) == pytest.approx(2.05, abs=2e-3)


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize(
    ("operation", "by", "code"),
    [(SURFACE_FINISH, -0.003, "surface-too-low"), (RESURFACE, -0.001, "resurface-takes-wood"),
     (POCKET, -0.006, "pocket-too-deep"), (SLOTS, -0.006, "slot-too-deep"), (SLOTS, 0.006, "slot-too-shallow"),
     (OUTLINE, -0.1, "tab-too-thin")],
)
def test_small_errors_in_height(built, operation, by, code):
    def shift(moves, case):
        moves.points[moves.cuts, 2] += by

    assert code in _codes(built, operation, shift)


@pytest.mark.in_every_run(1)
def test_two_micrometres_of_wood_in_the_way_of_nothing(built):
    """What is allowed is allowed: a finish a micrometre low, and the re-surface with it."""
    case = Case({p.file_name: p.text for p in built.programs}, built.plan.clamping, np.random.default_rng(1))
    for operation in (SURFACE_FINISH, RESURFACE):
        moves = case.moves(operation)
        moves.points[moves.cuts, 2] -= 0.001
        case.put(operation, moves)
    assert verify(built.plan.clamping, case.spoilt, resolution=COARSE).passed
    strict = Tolerances(surface_low=0.0005)
    checked = verify(built.plan.clamping, case.spoilt, resolution=COARSE, tolerances=strict)
    assert "surface-too-low" in {f.code for f in checked.findings}


@pytest.mark.in_every_run(0)
def test_finer_grids_agree(built, texts):
    coarse, fine = (verify(built.plan.clamping, texts, resolution=r) for r in (0.2, 0.1))
    assert coarse.scallop_measured == pytest.approx(fine.scallop_measured, abs=1e-7)  # measured on sections
    inlay = built.plan.clamping.inlays[0]
    rim = inlay.area.length * inlay.depth  # a grid counts whole cells along it
    assert coarse.pockets[0].volume == pytest.approx(fine.pockets[0].volume, abs=0.012 * rim)


@pytest.mark.in_every_run(1)
@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 10**6), kind=st.sampled_from(["bytes", "lines", "numbers", "cut"]))
def test_nothing_in_a_text_makes_verification_fail(built, texts, seed, kind):
    """Whatever stands in a file, the answer is findings, never an exception and never a pass with unread text."""
    rng = np.random.default_rng(seed)
    name = list(texts)[int(rng.integers(len(texts)))]
    text = texts[name]
    if kind == "bytes":
        at = int(rng.integers(len(text)))
        text = text[:at] + chr(int(rng.integers(1, 300))) + text[at + 1 :]
    elif kind == "lines":
        lines = text.splitlines()
        rng.shuffle(lines)
        text = "\n".join(lines)
    elif kind == "numbers":
        lines = text.splitlines()
        at = int(rng.integers(20, len(lines)))
        lines[at] = f"G1 X{rng.normal() * 1e3:.3f} Z{rng.normal() * 10:.3f}"
        text = "\n".join(lines) + "\n"
    else:
        text = text[: int(rng.integers(len(text) - 10))]
    checked = verify(built.plan.clamping, {**texts, name: text}, resolution=0.5)
    if kind in ("lines", "cut"):
        assert not checked.passed
    assert np.isfinite(checked.seconds)


def test_a_move_before_any_feed_is_a_finding_and_no_fault(built, texts):
    name = next(s.file_name for s in built.plan.clamping.steps if s.operation.name == POCKET)
    first = next(line for line in texts[name].splitlines() if line.startswith("G1"))
    edited = {**texts, name: texts[name].replace(first, f"G1 X3\n{first}", 1)}
    assert "no-feed" in {f.code for f in verify(built.plan.clamping, edited, resolution=COARSE).findings}


def test_missing_and_unexpected_programs(built, texts):
    name = next(s.file_name for s in built.plan.clamping.steps if s.operation.name == SURFACE_ROUGH)
    changed = {n: t for n, t in texts.items() if n != name} | {"more.nc": texts[name]}
    codes = {f.code for f in verify(built.plan.clamping, changed, resolution=0.5).findings}
    assert {"program-missing", "program-unexpected"} <= codes
    others = verify(built.plan.clamping, {f"x{n}": t for n, t in texts.items()}, resolution=0.5).findings
    (only,) = [f for f in others if f.severity == "forbid"]  # a folder of another job
    assert (only.code, only.where) == ("program-missing", f"all {len(texts)} programs")


@pytest.mark.parametrize("operation", [SURFACE_FINISH, POCKET, OUTLINE])
def test_an_unread_program_brings_no_findings_of_what_it_would_have_cut(built, texts, operation):
    name = next(s.file_name for s in built.plan.clamping.steps if s.operation.name == operation)
    last = texts[name].rindex("M5")
    for changed in (texts | {name: texts[name][:last] + "M5 Q3\nM30\n"}, {n: t for n, t in texts.items() if n != name}):
        checked = verify(built.plan.clamping, changed, resolution=0.5)
        assert not checked.passed
        codes = [f.code for f in checked.findings if f.severity == "forbid"]
        assert codes == ["unreadable" if name in changed else "program-missing"]
        assert [f.where for f in checked.findings if f.code == "not-compared"] == [name]


def test_faults_beside_an_unread_program_are_still_found(built, texts):
    slots, outline = (next(s.file_name for s in built.plan.clamping.steps if s.operation.name == op)
                      for op in (SLOTS, OUTLINE))
    rough = next(s.file_name for s in built.plan.clamping.steps if s.operation.name == SURFACE_ROUGH)
    deep = texts[rough].replace("G0 Z", "G0 Z-", 2)
    changed = texts | {outline: "G7\n", rough: deep, slots: texts[slots].replace("G54", "G55")}
    found = verify(built.plan.clamping, changed, resolution=0.5).findings
    wrong = {f.where.split(",")[0] for f in found if f.severity == "forbid"}
    assert {rough, slots, outline} <= wrong


@pytest.mark.in_every_run(1)
def test_a_program_that_goes_over_the_board_for_ever_is_given_up_by_name(built, texts, monkeypatch):
    pocket = next(s.file_name for s in built.plan.clamping.steps if s.operation.name == POCKET)
    head, tail = texts[pocket].rsplit("\nG0 Z", 1)
    corners = built.plan.clamping.to_machine(np.array([[20.0, -9.0, 0.0], [90.0, 9.0, 0.0]]))
    to_and_fro = "".join(f"\nX{x:.4f} Y{y:.4f}" for x, y, _ in corners / (25.4 if "G20" in head else 1.0))
    endless = {**texts, pocket: head + to_and_fro * 2000 + "\nG0 Z" + tail}
    monkeypatch.setattr(removal, "MOST_WORK", 20_000_000)
    monkeypatch.setattr(removal, "_OF_A_LINE", 0)
    checked = verify(built.plan.clamping, endless, resolution=COARSE)
    given_up = [f for f in checked.findings if f.code == "too-long"]
    assert len(given_up) == 1
    assert given_up[0].where.startswith(f"{pocket}, line ")
    assert given_up[0].allowed.startswith("20 million heights")
    assert not checked.passed
    assert "not-compared" in {f.code for f in checked.findings}
    without = {name: text for name, text in texts.items() if name != pocket}
    without_it = verify(built.plan.clamping, without, resolution=COARSE).simulation
    assert np.array_equal(checked.simulation.top, without_it.top), "nothing of it is cut"
    monkeypatch.undo()
    assert verify(built.plan.clamping, texts, resolution=COARSE).passed


@pytest.mark.in_every_run(0)
def test_of_programs_that_take_too_much_together_the_one_that_takes_most_is_named(built, texts, monkeypatch):
    """The first takes nearly all; what is left is too little for one of those after it."""
    first, *_, last = built.plan.clamping.steps
    head, tail = texts[first.file_name].rsplit("\nG0 Z", 1)
    x0, y0, x1, y1 = built.plan.clamping.board.outline.bounds
    corners = built.plan.clamping.to_machine(np.array([[x0, y0, 0.0], [x1, y1, 0.0]]))
    to_and_fro = "".join(f"\nG1 X{x:.4f} Y{y:.4f}" for x, y, _ in corners / (25.4 if "G20" in head else 1.0))
    busy = {**texts, first.file_name: head + to_and_fro * 200 + "\nG0 Z" + tail}
    worked = verify(built.plan.clamping, busy, resolution=COARSE).simulation.worked
    assert worked[first.order] > 1.5 * max(work for order, work in worked.items() if order != first.order)
    monkeypatch.setattr(removal, "MOST_WORK", sum(worked.values()) - worked[last.order] / 2)
    monkeypatch.setattr(removal, "_OF_A_LINE", 0)
    checked = verify(built.plan.clamping, busy, resolution=COARSE)
    assert checked.simulation.given_up[0] is last
    assert [f.where for f in checked.findings if f.code == "too-long"] == [first.file_name]


@pytest.mark.parametrize(("area", "leave", "reach"), [("board", 0.0, 3.0), ("inlay", 0.0, 1.0), ("board", 0.2, 1.0)])
def test_fill_is_taken_to_lie_no_further_round_than_a_second_cut_is_told_to_go(area, leave, reach):
    surfacing = SimpleNamespace(resurface_area=area, leave=leave, blend=1.0)
    assert _smear(SimpleNamespace(surfacing=surfacing), Tolerances()) == reach
    assert _smear(SimpleNamespace(surfacing=None), Tolerances()) == 3.0


@pytest.mark.parametrize(("wrong", "words"), [([False, True, True], " (2 moves)"), ([False, False, True], "")])
def test_of_moves_that_are_wrong_the_first_is_named_and_all_are_counted(wrong, words):
    program = pathgen.read_program("G21 G90 G17 G94\nG0 Z5\nX1\nX2\nM30\n", name="a.nc")
    (finding,) = _first(program, np.array(wrong), "code", "wrong", "right", "mend it")
    assert finding.got == "wrong" + words
    assert finding.where == f"a.nc, line {2 + wrong.index(True)}"


@pytest.mark.in_every_run(1)
def test_the_culprit_is_the_move_that_the_simulation_says_took_what_stood_there_lowest(built):
    """Each program's own, by its line, at places that it cut."""
    clamping, motions = built.plan.clamping, {}
    for step, program in zip(clamping.steps, built.programs, strict=True):
        motions[step.order] = motion_over_board(read_program(program.text), clamping, chord_tolerance=1e-4, step=step)
    for step in clamping.steps:
        if not step.operation.opens:
            continue
        motion, grid = motions[step.order], Grid.over(clamping.board.outline.bounds, 0.5)
        whole = removal.Material(grid, np.full(grid.shape, 1e3, np.float32))
        whole.cut(motion, step.cutter)
        cut = np.argwhere(whole.top < 1e3)
        assert len(cut) > 30
        for j, i in cut[:: len(cut) // 12]:
            x, y = float(grid.xs[i]), float(grid.ys[j])
            name, line = Culprit(clamping, motions)(x, y, lambda operation, own=step.operation: operation is own)
            assert name == step.file_name
            of = replace_rows(motion, motion.line == line)
            alone = removal.Material(Grid(np.array([x]), np.array([y])), np.full((1, 1), 1e3, np.float32))
            alone.cut(of, step.cutter)
            assert alone.top[0, 0] == pytest.approx(whole.top[j, i], abs=2e-5)


def replace_rows(motion, some):
    return Motion(**{f.name: getattr(motion, f.name)[some] for f in fields(Motion)})


def test_a_program_alone_that_goes_over_the_blank_for_ever_is_given_up_by_its_line(monkeypatch):
    monkeypatch.setattr(removal, "MOST_WORK", 1_000_000)
    monkeypatch.setattr(removal, "_OF_A_LINE", 0)
    cutter = pathgen.Cutter(name="flat 3", shape="flat-end", diameter=3.0, speed=18000, feed=1200.0, plunge=300.0,
                            stepdown=1.5)
    moves = "".join(f"X{x} Y{y}\n" for x, y in [(0, 0), (60, 30)] * 300)
    text = f"G21 G90 G17 G94\nG0 Z20\nM3 S18000\nG1 Z7 F300\n{moves}G0 Z20\nM5\nM30\n"
    with pytest.raises(pathgen.ProgramError, match=r"line \d+: simulating it was given up here \(allowed: 1 million"):
        pathgen.simulate(pathgen.Blank(x=(0, 60), y=(0, 30), thickness=8.0), text, cutter, resolution=0.5)


def test_a_blank_with_more_points_than_memory_is_refused_with_the_resolution_that_it_takes(built, texts, monkeypatch):
    monkeypatch.setattr(checking, "MOST_POINTS", 10_000)
    x0, y0, x1, y1 = built.plan.clamping.stock.bounds
    least = ((x1 - x0) * (y1 - y0) / 10_000) ** 0.5
    with pytest.raises(pathgen.PathgenError, match=r"resolution: 0\.1 mm on a blank of .* mm or more") as refused:
        checking.verify(built.plan.clamping, texts, resolution=0.1)
    assert float(refused.value.allowed.split()[0]) == pytest.approx(least, abs=0.011)
    assert checking.verify(built.plan.clamping, texts, resolution=least + 0.01)


def test_past_a_cone_s_apex_there_is_no_surface():
    """A random board's radius grew from 131 to 470 mm within 21 mm: its blank stood out past where it is 0."""
    cone, grid = Surface(thickness=4.0, radius_nut=131.0, radius_end=470.0, length=21.0), Grid(
        np.array([-10.0, -8.1, 0.0, 21.0]), np.array([-9.0, 0.0, 3.0]))
    heights = _heights_of_surface(cone, grid)
    assert heights == pytest.approx(cone.height(grid.xs, grid.ys[:, None]), abs=1e-5, nan_ok=True)
    assert np.isnan(heights[:, 0]).all()


@pytest.mark.in_every_run(2)
@pytest.mark.parametrize("wide", [2.9, 3.5, 3.98])
def test_two_passes_along_the_walls_of_a_nut_slot_leave_its_middle_a_little_higher_on_a_slope(tmp_path, wide):
    """What neither reaches on the line between them was taken for a slot too shallow, at the edges of a tight radius.
    """
    nut = f'[nut]\ncutter = "flat"\ndepth = 2.5\nwidth = {wide}\nbottom = "curve"\n'
    board = {"nut_width = 40.0": "nut_width = 40.0\nbehind_nut = 8.0", "nut = 254.0": "nut = 150.0"}
    result = small_board.built(tmp_path, resolution=0.3, changes=board, extra=nut)
    assert [str(f) for f in result.verification.findings if f.severity == "forbid"] == []


INLAY = small_board.JOB[small_board.JOB.index("[[inlay]]") : small_board.JOB.index("[resin]")]
RESIN = small_board.JOB[small_board.JOB.index("[resin]") :]
ONE_FRET = {"frets = 5": "frets = 1", INLAY: "", RESIN: ""}


def test_slots_begin_on_high_ridges_and_are_refused_where_they_do_not(tmp_path, monkeypatch):
    """Of ridges a third of a millimetre high, by which a stepdown of half a millimetre came to 0.83 mm."""
    plain = {"changes": ONE_FRET | {"scallop = 0.05": "scallop = 0.33"}, "extra": small_board.SLOTS}
    assert small_board.built(tmp_path, **plain).passed
    monkeypatch.setattr("pathgen.programs.paths.ridges_at_last", lambda clamping: 0.0)
    found = small_board.built(tmp_path, **plain).report["checks"]["findings"]
    (deep,) = (one for one in found if one["code"] == "cut-too-deep")
    assert "slots" in deep["where"]
    assert deep["allowed"] == "a stepdown of 0.5 mm, and 0.05 mm for ridges and stairs that stand there"


def test_the_end_of_a_slot_of_two_lines_is_cut_by_the_way_across_from_one_to_the_other(tmp_path):
    """On its line the round ends of both reach 0.054 mm less far: a fresh build was refused as too shallow there."""
    two = small_board.SLOTS.replace("diameter = 0.6", "diameter = 1.0").replace("width = 0.6", "width = 1.45")
    assert small_board.built(tmp_path, changes=ONE_FRET, extra=two + "ends = 2.0\n").passed


def test_a_move_across_a_slots_line_is_measured_where_it_crosses():
    """Of 0.8 mm, by a cutter of 1 mm: by hand, its ends reach 0.3 mm along the line, and where it crosses 0.5 mm."""
    cutter = pathgen.Cutter(name="c", shape="flat-end", diameter=1.0, speed=18000, feed=500.0, plunge=500.0,
                            stepdown=1.0)
    start, end = np.array([[0.0, 0.0, 4.0]]), np.array([[0.0, 0.0, 4.2]])
    floor, _ = _floor(np.array([[5.0, 5.0]]), np.array([[-0.4, 0.4]]), start, end, np.array([5.0, 5.2, 5.4, 5.6]),
                      cutter)
    assert floor.tolist() == pytest.approx([4.0, 4.0, 4.1, np.inf])
