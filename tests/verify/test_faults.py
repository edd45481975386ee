"""Each fault put into a good program by hand is found, and a good program has none."""

import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import shapely

from pathgen import build, flat, load_job, radiused
from pathgen.base.cutters import Cutter
from pathgen.base.errors import CutterError, JobError
from pathgen.base.surface import Surface
from pathgen.base.toolpath import Rapids
from pathgen.job.bench import gauge_clampings
from pathgen.parts.fingerboard.board import slots
from pathgen.parts.fingerboard.rows import wood_left
from pathgen.removal.motion import Motion
from pathgen.strategies.slotting import bevelling, slotting
from pathgen.strategies.tabs import tab_points
from pathgen.verify import verify
from pathgen.verify.culprit import Culprit, _deepest_at
from pathgen.verify.cutting import _is_arc
from pathgen.verify.engraved import engraving_findings
from pathgen.verify.findings import Tolerances, at
from pathgen.verify.handling import _start_and_end, program_findings, travel_findings
from pathgen.verify.holes import hole_findings
from pathgen.verify.neighbours import neighbour_findings
from pathgen.verify.outlines import _first_of_two
from pathgen.verify.over_board import motion_over_board
from pathgen.verify.read import read_program
from pathgen.verify.shares import overlap_findings
from pathgen.verify.slots import _OneSlot, bevel_findings, slot_findings
from pathgen.work.clamping import Step, numbered
from pathgen.work.features import Inlay, Slots
from pathgen.work.operations import Pocket, Slot
from tests.boards import fingerboard

EXAMPLES = Path(__file__).parents[2] / "examples" / "boards"


@pytest.fixture(scope="module")
def arched():
    return build(load_job(EXAMPLES / "zero-fret-arched.toml"), resolution=0.8)


@pytest.fixture(scope="module")
def bound():
    return build(load_job(EXAMPLES / "bound-left-handed.toml"), resolution=0.8)


def codes(check, result, operation, change=lambda text: text):
    """Codes that a check finds in one program after a change to its text."""
    program = next(p for p in result.programs if p.operation == operation)
    clamping = result.plan.clamping
    motion = motion_over_board(read_program(change(program.text), name="a.nc"), clamping, chord_tolerance=1e-4)
    return {f.code for f in check(motion, program.step, clamping, Tolerances())}


def moved(axis, by, *, below=99.0, above=-99.0):
    """All words of an axis between two values, moved."""
    def change(text):
        def one(match):
            value = float(match[1])
            return f"{axis}{value + by:.4f}" if above < value < below else match[0]
        return re.sub(rf"\b{axis}(-?\d[\d.]*)", one, text)
    return change


def test_good_programs_have_no_findings(arched, bound):
    assert codes(slot_findings, arched, "slots") == set()
    assert codes(slot_findings, arched, "nut-slot") == set()
    assert codes(bevel_findings, arched, "bevel") == set()
    assert codes(hole_findings, bound, "holes") == set()
    assert codes(slot_findings, bound, "slots") == set()


@pytest.mark.parametrize(("wait", "found"), [("G4 P3", set()), ("G4 P2.9", {"no-spin-up"}), ("", {"no-spin-up"})])
def test_the_spindle_is_given_time_to_come_up_to_speed(arched, wait, found):
    def check(motion, step, clamping, tolerances):
        program = read_program(text.replace("G4 P3\n", f"{wait}\n"), name=step.file_name)
        return program_findings(program, motion, step, clamping, tolerances)

    text = next(p.text for p in arched.programs if p.operation == "slots")
    assert codes(check, arched, "slots") == found


@pytest.mark.parametrize(("change", "code", "got"), [
    (lambda text: f"{text[: text.index('G1')]}M5\nM30\n", "cuts-nothing", "no feed moves"),
    (lambda text: re.sub(r"Z[\d.]+\nM5", "Z5\nM5", text), "ends-in-the-work", "the last position is Z 5.00 mm"),
    (lambda text: re.sub(r"\nG0 (Z[\d.]+)\n", r"\nG0 X0 \1\n", text, count=1), "no-retract-first", "a move in X or"),
    (lambda text: re.sub(r"\nG0 Z[\d.]+", "\nG0 Z5", text, count=1), "no-retract-first", "a move down at a place"),
    (lambda text: text.replace("M5\n", "G0 X2000\nM5\n"), "off-the-stock", "a move past the edge"),
    (moved("Z", -9.0, below=4.6), "below-the-bed", "4.973 mm"),
    (lambda text: re.sub(r"F[\d.]+", "F9", text), "feed-too-slow", "9.0 mm per minute"),
])
def test_what_is_wrong_without_cutting_anything_is_found(arched, change, code, got):
    clamping = arched.plan.clamping
    made = next(p for p in arched.programs if p.operation == "slots")
    program = read_program(change(made.text), name=made.file_name)
    motion = motion_over_board(program, clamping, chord_tolerance=1e-4)
    found = {f.code: f.got for f in program_findings(program, motion, made.step, clamping, Tolerances())}
    assert found[code].startswith(got)


def test_where_the_first_x_and_y_are_lost_they_are_asked_for_and_no_lift_that_stands_there(arched):
    """"Lift before the first X or Y" was told twice, of a program that did."""
    clamping = arched.plan.clamping
    made = next(p for p in arched.programs if p.operation == "slots")
    text = re.sub(r"\nG0 X[-\d.]+ Y[-\d.]+\nZ", "\nG0 Z", made.text, count=1)
    assert text != made.text
    program = read_program(text, name=made.file_name)
    motion = motion_over_board(program, clamping, chord_tolerance=1e-4)
    (found,) = [f for f in program_findings(program, motion, made.step, clamping, Tolerances())
                if f.code == "no-retract-first"]
    down = next(k for k, line in enumerate(text.splitlines(), start=1) if line.startswith("G1 Z")) - 1
    assert found.where.endswith(f"line {down}")
    assert found.remedy.startswith("write the X and Y that it is to go down at before it")


@pytest.mark.parametrize(("apart", "found"), [(30.0, []), (29.9, [("shares-overlap", "parts 1 and 2")])])
def test_parts_whose_shares_of_the_blank_meet_are_found(apart, found):
    def part(aside):
        return SimpleNamespace(shared=True, stock=SimpleNamespace(bounds=(0.0, 0.0, 50.0, 30.0)),
                               to_machine=lambda points: points + [0.0, aside, 0.0])

    assert [(f.code, f.where) for f in overlap_findings([part(0.0), part(apart), part(70.0)])] == found


@pytest.mark.parametrize(("gap", "told"), [
    (0.7983, []), (0.78, ["leaves 0.78 mm of wood beside the slot of fret 1"])])
def test_a_hair_less_than_the_least_wood_beside_a_slot_is_not_told(gap, told):
    """A margin of 0.0315 in, as allowed, left 0.7983 mm: "leaves 0.0315 in (allowed: 0.0315 in, or none)"."""
    slots = SimpleNamespace(width=0.6, bevel=0.0, lines=np.array([[[10.0, -20.0], [10.0, 20.0]]]),
                            called=lambda which: "the slot of fret 1")
    inlay = SimpleNamespace(index=0, fill="none", dots=None, area=shapely.box(10.3 + gap, -5.0, 20.0, 5.0))
    clamping = SimpleNamespace(feature=lambda kind: slots, inlays=[inlay])
    found = list(neighbour_findings(clamping, Tolerances()))
    assert [one.got for one in found] == told
    assert all(one.remedy.startswith("move the drawing, make it smaller, or let it cross") for one in found)


def test_all_programs_together_fit_in_the_machines_travel(arched):
    text = "G21 G90 G17 G94\nG0 Z20\nX-5 Y30\nG1 Z-2 F300\nX{} F900\nM30\n"
    programs = {name: read_program(text.format(x)) for name, x in (("a.nc", 40), ("b.nc", 95.2))}
    spans = ["a span of 100.20 mm", "a span of 22.00 mm"]
    still = object()  # of work that moved X 0 and Y 0 are not gone to
    rounded = (100.1997, 30.0, 21.9997)  # both ends of a span are, as they are written
    for travel, work, found in (((100.2, 30.0, 22.0), None, []), (rounded, None, []),
                                ((100.1, 30.0, 21.9), None, spans), ((100.2, 29.9, 22.0), still, []),
                                ((100.2, 29.9, 22.0), None, ["a span of 30.00 mm"])):
        clamping = SimpleNamespace(machine=replace(arched.plan.clamping.machine, travel=travel), moved=work)
        assert [f.got for f in travel_findings(programs, clamping) if f.code == "beyond-travel"] == found


# P: RS274/NGC (NISTIR 6556), 3.3.4: a comment that begins with MSG, is a message. The others are derived: one word and
# a comma, or one that opens or closes a record.
@pytest.mark.parametrize(("comment", "found"), [
    *((f"({word} x)", {"active-comment"}) for word in (
        "MSG,", "SHOUT,", "PRINT,", "log ,", "LOGSTART", "PROBESTOP")),
    ("( m s g , stop)", {"active-comment"}), ("G4 P1 (msg,stop)", {"active-comment"}), ("(see MSG, there)", set()),
    ("(message)", set()), ("(MSG)", set()), ("(log x)", set()),
    ("(probe the top, then cut)", set()), ("(logs, and more)", {"active-comment"}), ("(D3, flat)", set()),
])
def test_a_comment_that_a_controller_may_obey_is_warned_of(arched, comment, found):
    def check(motion, step, clamping, tolerances):
        return program_findings(read_program(text, name=step.file_name), motion, step, clamping, tolerances)

    text = next(p.text for p in arched.programs if p.operation == "slots").replace("M5\n", f"{comment}\nM5\n")
    assert codes(check, arched, "slots") == found


@pytest.mark.parametrize(("operation", "check", "change", "code"), [
    ("slots", slot_findings, moved("Z", -0.01, below=4.6), "slot-too-deep"),
    ("slots", slot_findings, moved("Z", +0.01, below=4.6), "slot-too-shallow"),
    ("slots", slot_findings, moved("X", 0.01), "slot-off-line"),
    ("nut-slot", slot_findings, moved("Z", -0.02, below=5.0), "slot-too-deep"),
    ("nut-slot", slot_findings, moved("X", -0.01), "slot-off-line"),
    ("bevel", bevel_findings, moved("Z", -0.05, below=7.0), "bevel-wrong"),
    ("bevel", bevel_findings, moved("Z", +0.05, below=7.0), "bevel-wrong"),
    ("bevel", bevel_findings, moved("X", 0.05), "bevel-wrong"),
    ("bevel", bevel_findings, moved("X", 9.0, above=100.0, below=130.0), "bevel-stray"),
    ("bevel", bevel_findings, lambda text: text.replace("M5", "G0 Z20\nM5").split("G0 X")[0] + "M5\nM30\n",
     "bevel-missing"),
])
def test_faults_in_slots_and_bevels(arched, operation, check, change, code):
    assert code in codes(check, arched, operation, change)


def test_slots_that_are_not_cut_are_one_fault(arched):
    step = next(s for s in arched.plan.clamping.steps if s.operation.name == "slots")
    program = next(p.text for p in arched.programs if p.file_name == step.file_name)
    still = "\n".join(line for line in program.splitlines() if not re.match(r"G1|X|Y|Z", line))
    motion = motion_over_board(read_program(still, name=step.file_name), arched.plan.clamping, chord_tolerance=0.001)
    (found,) = slot_findings(motion, step, arched.plan.clamping, Tolerances())
    zero, *numbers = step.operation.feature.number.tolist()
    assert (found.code, found.got, zero) == ("slot-missing", "no cut", 0)
    assert found.where == f"the slots of the zero fret and frets {', '.join(map(str, numbers))}, {step.file_name}"


def test_a_slot_that_was_moved_aside_is_told_in_finite_numbers(arched):
    step = next(s for s in arched.plan.clamping.steps if s.operation.name == "slots")
    text = moved("X", 0.35)(next(p.text for p in arched.programs if p.file_name == step.file_name))
    motion = motion_over_board(read_program(text, name=step.file_name), arched.plan.clamping, chord_tolerance=0.001,
                               step=step)
    found = list(slot_findings(motion, step, arched.plan.clamping, Tolerances()))
    assert {"slot-off-line", "slot-too-shallow"} <= {f.code for f in found}
    assert "not cut on a part of its line" in {f.got for f in found}
    assert not any("inf" in str(f) or "nan " in str(f) for f in found)
    assert at("a.nc", 3, np.nan, 2.0) == "a.nc, line 3"


@pytest.mark.parametrize(("change", "code"), [
    (moved("X", 0.1), "hole-wrong"),
    (moved("Z", -0.5, below=-2.0), "hole-wrong"),
    (moved("Z", 0.5, below=-2.0), "hole-wrong"),
])
def test_faults_in_holes(bound, change, code):
    assert code in codes(hole_findings, bound, "holes", change)


@pytest.fixture(scope="module")
def engraved():
    job = load_job(EXAMPLES / "zero-fret-arched.toml")
    return build(job, clamping=gauge_clampings(job)[0], resolution=0.8)


def test_faults_in_engraving(engraved):
    assert codes(engraving_findings, engraved, "engrave") == set()
    assert "engraving-stray" in codes(engraving_findings, engraved, "engrave", moved("Y", 0.1))
    assert "engraving-depth" in codes(engraving_findings, engraved, "engrave", moved("Z", -0.05, below=2.9))


@pytest.mark.parametrize(("made", "operation", "check", "axis", "where", "limit", "code"), [
    ("arched", "slots", slot_findings, "X", {}, 0.002, "slot-off-line"),
    ("arched", "slots", slot_findings, "Z", {"below": 4.6}, -0.004, "slot-too-deep"),
    ("arched", "slots", slot_findings, "Z", {"below": 4.6}, 0.004, "slot-too-shallow"),
    ("arched", "bevel", bevel_findings, "X", {}, 0.01, "bevel-wrong"),
    ("bound", "holes", hole_findings, "X", {}, 0.02, "hole-wrong"),
    ("bound", "holes", hole_findings, "Z", {"below": -2.0}, -0.02, "hole-wrong"),
    ("bound", "holes", hole_findings, "Z", {"below": -2.0}, 0.02, "hole-wrong"),
    ("engraved", "engrave", engraving_findings, "Y", {}, 0.01, "engraving-stray"),
    ("engraved", "engrave", engraving_findings, "Z", {"below": 2.9}, -0.01, "engraving-depth"),
    ("engraved", "engrave", engraving_findings, "Z", {"below": 2.9}, 0.01, "engraving-depth"),
])
def test_what_is_off_by_three_quarters_of_its_limit_passes_and_by_five_quarters_does_not(
    request, made, operation, check, axis, where, limit, code
):
    result = request.getfixturevalue(made)
    assert codes(check, result, operation, moved(axis, 0.75 * limit, **where)) == set()
    assert code in codes(check, result, operation, moved(axis, 1.25 * limit, **where))


def test_strokes_left_out_and_bevels_that_stop_short(arched, engraved):
    def without_a_run(text):
        head, *runs = text.split("\nG0 Z")
        return "\nG0 Z".join([head, *runs[:3], *runs[4:]])

    assert "engraving-missing" in codes(engraving_findings, engraved, "engrave", without_a_run)
    assert "bevel-missing" in codes(bevel_findings, arched, "bevel", without_a_run)

    def shorter(text):
        return re.sub(r"\nY[^\n]*(?=\nG0 Z)", "", text)

    assert codes(bevel_findings, arched, "bevel", shorter) == {"bevel-wrong"}


@pytest.mark.parametrize("side", [-1, 1])
def test_of_a_bevel_that_stops_short_a_line_at_that_end_is_named(arched, side):
    """Every move of the bevels is cut off half-way to the treble side, or to the bass side."""
    def ends(motion, step, clamping, tolerances):
        cut = replace(motion, start=np.copy(motion.start), end=np.copy(motion.end))
        for points in (cut.start, cut.end):
            points[:, 1] = np.minimum(side * points[:, 1], 10.0) * side
        for finding in bevel_findings(cut, step, clamping, tolerances):
            if "stops" in finding.got:
                at_line = cut.line == int(re.search(r"line (\d+)", finding.where)[1])
                y = np.concatenate([cut.start[at_line, 1], cut.end[at_line, 1]])
                yield replace(finding, code=f"{np.max(side * y):g}")

    assert codes(ends, arched, "bevel") == {"10"}


def found_in_wide_slot(width, asides, *, dent=0.0, cutter=0.6):
    """Of a slot 20 mm long, level, cut at so many places beside its line; the middle of the last is bent inward."""
    slot = Slots(number=np.array([1]), lines=np.array([[[0.0, 0.0], [20.0, 0.0]]]), width=width, depth=1.0)
    tool = Cutter(name="a", shape="flat-end", diameter=cutter, speed=100.0, feed=1.0, plunge=1.0, stepdown=1.0)
    step = SimpleNamespace(cutter=tool, file_name="1.nc")
    ways = [[(-1.0, y, 3.0), (10.0, y - dent * (y == asides[-1]), 3.0), (21.0, y, 3.0)] for y in asides]
    start, end = (np.array([way[k:][j] for way in ways for j in (0, 1)]) for k in (0, 1))
    one = _OneSlot(slot, 0, step, start, end, np.arange(1, len(start) + 1))
    top = flat(4.0)
    return [f.code for f in (*one.walls(Tolerances()), *one.depth(top, Tolerances()))]


@pytest.mark.parametrize(("width", "asides"), [(0.62, (-0.01, 0.01)), (3.0, (-1.2, -0.7, -0.2, 0.3, 0.8, 1.2))])
def test_a_slot_wider_than_its_cutter_is_open_from_wall_to_wall(width, asides):
    assert found_in_wide_slot(width, asides) == []
    assert found_in_wide_slot(width, asides, dent=0.02) == ["slot-too-shallow"]


@pytest.mark.parametrize("wide", [0.4, 0.6])
def test_a_dip_anywhere_in_a_slot_is_found(wide):
    """Of a thin cutter some lay between two places that were looked at."""
    tool = Cutter(name="a", shape="flat-end", diameter=wide, speed=100.0, feed=1.0, plunge=1.0, stepdown=1.0)
    slot = Slots(number=np.array([1]), lines=np.array([[[0.0, 0.0], [20.0, 0.0]]]), width=wide, depth=1.0)
    for x in np.linspace(9.0, 10.0, 11):
        way = np.array([(-1.0, 0.0, 3.0), (x, 0.0, 3.0), (x, 0.0, 2.9), (x, 0.0, 3.0), (21.0, 0.0, 3.0)])
        one = _OneSlot(slot, 0, SimpleNamespace(cutter=tool, file_name="1.nc"), way[:-1], way[1:], np.arange(1, 5))
        assert [f.code for f in one.depth(flat(4.0), Tolerances())] == ["slot-too-deep"]


@pytest.mark.parametrize(("short", "far", "up", "found"), [
    (None, 15.0, 0.003, []), (None, 15.0, 0.006, ["slot-too-shallow"]),
    (None, 14.1, 0.003, []), (None, 14.1, 0.06, ["slot-too-shallow"]),
    (2.0, 13.7, 0.006, []), (2.0, 13.7, 0.3, ["slot-too-shallow"])])
def test_up_to_an_edge_a_slot_is_as_deep_as_elsewhere(short, far, up, found):
    """Only where its way ends before a flat end has gone its radius on down the slope it rests on its uphill rim."""
    top = radiused(thickness=4.0, start=60.0)
    tool = Cutter(name="a", shape="flat-end", diameter=0.6, speed=100.0, feed=1.0, plunge=1.0, stepdown=1.0)
    slot = Slots(number=np.array([1]), lines=np.array([[[0.0, -14.0], [0.0, 14.0]]]), width=0.6, depth=1.0, short=short)
    y = np.linspace(-far, far, 301)
    # so high that no place under its whole width is too deep
    z = top.height(0 * y, np.maximum(np.abs(y) - 0.3, 0.0)) - 1.0 + up * (y > 13.2)
    way = np.column_stack([0 * y, y, z])
    one = _OneSlot(slot, 0, SimpleNamespace(cutter=tool, file_name="1.nc"), way[:-1], way[1:], np.arange(1, len(way)))
    assert [f.code for f in one.depth(top, Tolerances())] == found


def test_passes_side_by_side_down_a_slope_may_lie_as_far_apart_in_depth_as_their_stepover_makes_them():
    """Two of a 3 mm flat end, 1.35 mm apart: half-way its rim reaches 0.16 mm less far, on a slope of 0.1 it is 16 um
    higher there. A slot in which half of that is a fault cannot be cut."""
    top, half, y = radiused(thickness=4.0, start=140.0), 1.5, np.linspace(-18.0, 18.0, 721)
    reach = (half + np.sqrt(half**2 - 0.675**2)) / 2
    z = top.height(0 * y, np.maximum(np.abs(y) - reach, 0.0)) - 1.0
    ways = [np.column_stack([0 * y + x, y, z]) for x in (-3.375, -2.025, -0.675, 0.675, 2.025, 3.375)]
    start, end = np.concatenate([way[:-1] for way in ways]), np.concatenate([way[1:] for way in ways])
    slot = Slots(number=np.array([1]), lines=np.array([[[0.0, -14.0], [0.0, 14.0]]]), width=9.75, depth=1.0)
    tool = Cutter(name="a", shape="flat-end", diameter=3.0, speed=100.0, feed=1.0, plunge=1.0, stepdown=1.0)
    step = SimpleNamespace(cutter=tool, file_name="1.nc")
    for up, found in ((0.0, []), (0.013, ["slot-too-shallow"]), (-0.013, ["slot-too-deep"])):
        one = _OneSlot(slot, 0, step, start + [0, 0, up], end + [0, 0, up], np.arange(1, len(start) + 1))
        assert [f.code for f in one.depth(top, Tolerances())] == found


def test_between_its_walls_a_wide_slot_is_cut_too():
    """What is left of a pass is 0.4 mm wide, between two others whose width is 0.6 mm."""
    assert found_in_wide_slot(3.0, (-1.2, -0.7, 0.3, 0.8, 1.2)) == ["slot-too-shallow"]


@pytest.mark.parametrize(("short", "found"), [(0.019, []), (0.021, ["slot-end"]), (-0.019, []), (-0.021, ["slot-end"])])
@pytest.mark.parametrize("side", [0, 1])
def test_a_slots_end_is_held_to_two_hundredths(side, short, found):
    along = np.array([[0.3, 0.0, 3.0], [19.7, 0.0, 3.0]])
    along[side, 0] += short if side == 0 else -short
    line = np.array([[[0.0, 0.0], [20.0, 0.0]]])
    slot = Slots(number=np.array([1]), lines=line, width=0.6, depth=1.0, short=2.0)
    cutter = Cutter(name="a", shape="flat-end", diameter=0.6, speed=100.0, feed=1.0, plunge=1.0, stepdown=1.0)
    step = SimpleNamespace(file_name="a.nc", cutter=cutter)
    one = _OneSlot(slot, 0, step, along[:1], along[1:], np.array([7]))
    assert [finding.code for finding in one.ends(Tolerances())] == found


@pytest.mark.parametrize(("short", "found"), [(0.02, []), (0.1, ["slot-too-shallow"]), (0.2, ["slot-too-shallow"])])
@pytest.mark.parametrize("side", [0, 1])
def test_a_slot_is_as_deep_as_elsewhere_up_to_its_end(side, short, found):
    """Its upper layer goes all the way, its lowest stops short: where a round end leaves the corners open anyway."""
    low = np.array([[0.3 + short * (side == 0), 0.0, 3.0], [19.7 - short * (side == 1), 0.0, 3.0]])
    ways = np.array([[[0.3, 0.0, 3.5], [19.7, 0.0, 3.5]], low])
    slot = Slots(number=np.array([1]), lines=np.array([[[0.0, 0.0], [20.0, 0.0]]]), width=0.6, depth=1.0, short=0.5)
    step = SimpleNamespace(cutter=cutter("flat-end", 0.6), file_name="1.nc")
    one = _OneSlot(slot, 0, step, ways[:, 0], ways[:, 1], np.arange(1, 3))
    assert [f.code for f in one.ends(Tolerances())] == []
    assert [f.code for f in one.depth(flat(4.0), Tolerances())] == found


def test_a_place_is_said_along_and_across():
    assert at("a.nc", 3, 120.5, -8.25) == "a.nc, line 3, 120.5 mm along, -8.25 mm across"
    assert at("a.nc", 3) == "a.nc, line 3"


def test_the_move_that_cut_deepest_is_found_from_every_side():
    """Moves beside the place, which lies under the cutter's rim in turn on each side."""
    step = SimpleNamespace(cutter=Cutter(name="a", shape="flat-end", diameter=4.0, speed=100.0, feed=1.0, plunge=1.0,
                                         stepdown=1.0))
    for shift in ((1.5, 0.0), (-1.5, 0.0), (0.0, 1.5), (0.0, -1.5)):
        start = np.array([[*shift, 3.0], [9.0, 9.0, 1.0]])
        motion = Motion(start=start, end=start + (0.1, 0.1, 0.0), rapid=np.zeros(2, bool), feed=np.ones(2),
                        line=np.array([7, 8]), motion=np.arange(2))
        assert _deepest_at(motion, step, 0.05, 0.05) == (3.0, 0)


def test_of_lines_that_are_as_much_too_deep_the_one_that_went_down_is_named():
    """A depth that is written once holds for what follows; a move that strays at the right depth is its own fault."""
    ball = Cutter(name="a", shape="ball-end", diameter=6.0, speed=100.0, feed=1.0, plunge=1.0, stepdown=1.0)
    board = SimpleNamespace(outline=shapely.box(-1, -20, 60, 20))
    z = np.array([5.0, 5.0, 5.0, 4.6, 4.6, 4.6])
    points = np.column_stack([np.arange(6.0) * 8.0, np.zeros(6), z])

    def named(points, x, y, wanted):
        moves = len(points) - 1
        motion = Motion(start=points[:-1], end=points[1:], rapid=np.zeros(moves, bool), feed=np.ones(moves),
                        line=np.arange(moves) + 10, motion=np.arange(moves))
        step = SimpleNamespace(order=1, cutter=ball, operation=None, file_name="a.nc")
        clamping = SimpleNamespace(steps=[step], board=board)
        return Culprit(clamping, {1: motion}).first(x, y, None, lambda *_: wanted)

    assert named(points, 37.0, 0.05, 5.0) == ("a.nc", 12, 24.0, pytest.approx(0.05))
    points[:, 2] = 5.0  # all at the same depth, right but for where the last goes
    points[-1, 1] = 15.0
    assert named(points, 36.0, 7.5, 5.6)[1] == 10  # all too deep
    points[:4, 2] = 5.6
    assert named(points, 36.0, 7.5, 5.6)[1] == 13


def test_of_the_way_to_a_wrong_place_and_the_way_back_the_first_is_named():
    """A sign was lost at a plate's round corner: every finding named the next line, which was right."""
    flat_end = Cutter(name="a", shape="flat-end", diameter=3.0, speed=100.0, feed=1.0, plunge=1.0, stepdown=1.0)
    outline = shapely.box(5, -10, 45, 10).buffer(5.0, quad_segs=64)
    points = np.array([[51.5, -10.0218, -0.2], [51.1086, -12.2233, -0.2], [50.969, -12.5748, -0.2],
                       [50.8092, 12.9175, -0.2], [50.6297, -13.2503, -0.2], [50.4312, -13.5722, -0.2]])
    motion = Motion(start=points[:-1], end=points[1:], rapid=np.zeros(5, bool), feed=np.ones(5), line=np.arange(5) + 10,
                    motion=np.arange(5))
    motion = motion.in_pieces(motion.pieces(0.5))
    step = SimpleNamespace(order=1, cutter=flat_end, operation=None, file_name="a.nc")
    clamping = SimpleNamespace(steps=[step], board=SimpleNamespace(outline=outline))
    culprit = Culprit(clamping, {1: motion})
    assert culprit(49.309, 12.43, None)[1] == 13
    assert culprit.first(49.309, 12.43, None, lambda *_: 3.0)[1] == 12
    gap = shapely.distance(shapely.linestrings(np.stack([motion.start[:, :2], motion.end[:, :2]], axis=1)), outline)
    assert motion.line[int(np.argmin(gap))] == 13
    assert motion.line[_first_of_two(motion.motion, gap, gap < 1.496)] == 12
    assert motion.line[_first_of_two(motion.motion, gap, gap < 9.0)] == 13  # all are: that is no single word's fault


@pytest.mark.parametrize(("line", "curved"), [("G2 X10 Y0 I5 J0", True), ("G1 X10 Y0", False), ("G1 X10 Z1", False)])
def test_an_arc_is_told_from_a_straight_move_by_its_pieces(line, curved):
    """An arc that was turned the other way had its maker go down in smaller steps."""
    start, end, of = read_program(f"G21 G90 G17 G94\nG0 Z5\nX0 Y0\nG1 Z2 F100\n{line}\nM30\n").straight(0.01)
    motion = Motion(start=start, end=end, rapid=np.zeros(len(of), bool), feed=np.ones(len(of)), line=of, motion=of)
    motion = motion.in_pieces(motion.pieces(0.5))
    assert _is_arc(motion, len(motion) - 1) == curved


def plain_board(**changes):
    return fingerboard(**{
        "scale_lengths": (640.0, 640.0), "frets": 20, "nut_width": 44.0, "end_width": 57.0, "past_last_fret": 10.0,
        "thickness": 6.5, "radius": (254.0, 355.6), **changes,
    })


def cutter(shape, diameter, **changes):
    return Cutter(**{"name": "c", "shape": shape, "diameter": diameter, "speed": 18000, "feed": 400.0, "plunge": 100.0,
                     "stepdown": 0.3, **changes})


@pytest.mark.parametrize("by", [0.05, -0.05])
def test_a_slot_that_lies_aside_is_one_fault(arched, by):
    """It was told by "+0.0500" and "-0.0500" of its walls."""
    step = next(s for s in arched.plan.clamping.steps if s.operation.name == "slots")
    text = moved("X", by)(next(p.text for p in arched.programs if p.file_name == step.file_name))
    motion = motion_over_board(read_program(text, name=step.file_name), arched.plan.clamping, chord_tolerance=0.001,
                               step=step)
    found = [f for f in slot_findings(motion, step, arched.plan.clamping, Tolerances()) if f.code == "slot-off-line"]
    assert {f.got for f in found} == {"the slot lies 0.0500 mm aside of its place"}
    assert len({f.where.partition(",")[0] for f in found}) == len(found)


def test_inlays_over_and_beside_slots_are_told(arched):
    part = plain_board()
    x = part.frets.distance
    over = Inlay(name="1", regions=(("#000000", shapely.box(x[4] - 5, -5, x[4] + 5, 5)),), depth=1.5)
    away = shapely.box(x[6] + 0.3 + 0.25, -5, x[6] + 8, 5)
    beside = Inlay(name="2", index=1, regions=(("#000000", away),), depth=1.5)
    clear = Inlay(name="3", index=2, regions=(("#000000", shapely.box(x[8] + 4, -5, x[8] + 8, 5)),), depth=1.5)
    operations = [*map(Pocket, (over, beside, clear)), Slot(slots(part, width=0.6, depth=2.0))]
    cutter = arched.programs[0].cutter
    steps = numbered(Step(operation=operation, cutter=cutter) for operation in operations)
    clamping = replace(arched.plan.clamping, board=part, steps=steps)
    found = list(neighbour_findings(clamping, Tolerances()))
    assert [f.code for f in found] == ["inlay-crosses-slot", "sliver"]
    assert [f.severity for f in found] == ["note", "warn"]  # a vine along the board must cross, and nobody can mend it
    assert "fret 5" in found[0].got
    assert "glue what is pressed in there" in found[0].remedy
    assert "0.25 mm of wood" in found[1].got
    assert found[1].where.startswith("inlay 2")
    steps = numbered(Step(operation=Pocket(replace(step.operation.opens, fill="none")) if step.operation.opens else
                          step.operation, cutter=cutter) for step in steps)
    open_there = next(neighbour_findings(replace(clamping, steps=steps), Tolerances()))
    assert "fill" not in open_there.remedy  # there is none
    assert "no wood to grip there" in open_there.remedy
    assert open_there.severity == "warn"


def test_slots_that_several_inlays_cross_are_told_once(arched):
    part = plain_board()
    inlays = [Inlay(name=f"{k + 1}", index=k, depth=1.5, regions=(
        ("#000000", shapely.box(part.frets.distance[fret] - 5, -5, part.frets.distance[fret] + 5, 5)),))
        for k, fret in enumerate((4, 6, 8))]
    operations = [*map(Pocket, inlays), Slot(slots(part, width=0.6, depth=2.0))]
    steps = numbered(Step(operation=one, cutter=arched.programs[0].cutter) for one in operations)
    (found,) = neighbour_findings(replace(arched.plan.clamping, board=part, steps=steps), Tolerances())
    assert found.where.startswith("inlay 1, ")
    assert found.got == "crosses the slots of frets 5, 7, 9 (with inlay 2 and inlay 3)"


def test_wood_left_is_least_at_the_edges_and_under_what_is_cut():
    part = plain_board()
    cut = slots(part, width=0.6, depth=2.6)
    square = Inlay(name="1", regions=(("#000000", shapely.box(200.0, -12.0, 215.0, 15.0)),), depth=1.6)
    edge, slot, pocket = wood_left(part, slots=cut, inlays=[square], finished=None, sunk=())
    half = part.edges.half_width(part.frets.distance)
    radius = 254.0 + (355.6 - 254.0) * part.frets.distance / part.length
    assert edge == pytest.approx(6.5 - radius + np.sqrt(radius**2 - half**2), abs=1e-9)
    assert slot == pytest.approx(edge - 2.6, abs=1e-9)
    space = int(np.searchsorted(part.frets.distance, 205.0))
    there = 254.0 + (355.6 - 254.0) * 200.0 / part.length
    assert pocket[space] == pytest.approx(6.5 - there + np.sqrt(there**2 - 225.0) - 1.6, abs=1e-6)
    assert np.isnan(pocket[space - 3])


def test_bevel_opens_both_edges_by_its_width():
    part = plain_board()
    cut = slots(part, width=0.6, depth=2.0, bevel=0.2)
    path = bevelling(cut, surface=part.surface, cutter=cutter("v", 6.0, angle=60.0), rapids=Rapids(18.0, 8.0))
    low = path.points[(path.kinds == 1)]
    depth = part.surface.height(low[:, 0], low[:, 1]) - low[:, 2]
    # half the slot and the bevel, over the tangent of half the angle; a little less along a slope
    assert depth.max() == pytest.approx(0.5 / np.tan(np.radians(30.0)), abs=1e-4)
    assert depth.min() > 0.995 * depth.max()
    with pytest.raises(CutterError, match="below the slot's bottom"):
        bevelling(cut, surface=part.surface, cutter=cutter("v", 6.0, angle=20.0), rapids=Rapids(18.0, 8.0))


@pytest.mark.parametrize("entry", ["ramp", "peck"])
@pytest.mark.parametrize("width", [0.5, 0.584, 0.9, 1.4])
@pytest.mark.parametrize("bottom", ["curve", "flat"])
def test_no_stroke_takes_more_than_the_stepdown(entry, width, bottom):
    # On the line of one slot, as a strip of 0.02 mm columns each as wide as the cutter: what stands there, stroke by
    # stroke, against the lowest that the cutter passes over it.
    part = plain_board()
    cut = slots(part, width=width, depth=2.0, bottom=bottom, entry=entry)
    one = replace(cut, number=cut.number[:1], lines=cut.lines[:1], through=cut.through[:1])
    tool = cutter("flat-end", 0.5)
    path = slotting(one, surface=part.surface, cutter=tool, rapids=Rapids(18.0, 8.0))
    y = np.arange(-21.5, 21.5, 0.02)
    aside = np.unique(np.round(path.points[path.kinds != 0, 0], 6))
    standing = {a: part.surface.height(a, y) for a in aside.tolist()}
    worst = 0.0
    for a, b, kind in zip(path.points[:-1], path.points[1:], path.kinds[1:], strict=True):
        if kind == 0 or abs(b[0] - a[0]) > 1e-6:
            continue
        column = standing[round(float(a[0]), 6)]
        low, high = sorted((a[1], b[1]))
        over = (y >= low - 1e-9) & (y <= high + 1e-9)
        line = np.interp(y[over], *((a[1], b[1]), (a[2], b[2])) if a[1] < b[1] else ((b[1], a[1]), (b[2], a[2])))
        if over.any():
            worst = max(worst, float((column[over] - line).max()))
            column[over] = np.minimum(column[over], line)
    assert 0.2 < worst <= 0.3 + 0.005
    wanted = one.floors(part.surface)[0] if bottom == "flat" else part.surface.height(one.lines[0, 0, 0], y) - 2.0
    for column in standing.values():
        assert np.abs(column - wanted).max() < 0.03  # the cutter's own radius over the slope


def test_tabs_keep_clear_of_slots_inlays_corners_and_each_other():
    part = plain_board()
    inlay = shapely.box(100.0, 15.0, 180.0, 23.0)
    ends = np.concatenate([part.frets.bass, part.frets.treble])
    points = tab_points(part.outline, 6, avoid=ends, width=6.0, cutter=cutter("flat-end", 3.0), where="tabs",
                        inlays=inlay)
    assert len(points) == 6
    assert np.linalg.norm(points[:, None] - ends, axis=2).min() >= 4.5 - 1e-9
    assert shapely.distance(shapely.points(points), inlay).min() >= 4.5 - 1e-9
    assert np.abs(shapely.distance(shapely.points(points), part.outline.exterior)).max() < 1e-9
    assert (points[:, 0] > 4.0).all()
    assert (points[:, 0] < part.length - 4.0).all()
    apart = np.linalg.norm(points[:, None] - points, axis=2) + 99 * np.eye(6)
    assert apart.min() > 9.0 - 1e-6


def test_the_job_file_refuses_what_does_not_go_together(tmp_path):
    text = (EXAMPLES / "bound-left-handed.toml").read_text()
    for old, new, words in (
        ("bound = true", "bound = false\nfoo = 1", "foo"),
        ("binding = 1.5", "binding = 0.0", "binding is 0"),
        ("at = [[-20.0, 30.0]", "at = [[20.0, 10.0]", "meets the board"),
        ("at = [[-20.0, 30.0]", "at = [[-20.0, 37.5]", "leaves the blank"),
        ('zero = "blank-nut-treble"', 'zero = "corner"', "blank-nut-treble"),
        ("radius = { nut = 254.0, bridge = 406.4 }", "radius = { nut = 254.0 }", "end, bridge or follow"),
        ("radius = { nut = 254.0, bridge = 406.4 }", "radius = 25.4", "less than half the width"),
        ("tabs = 6", "tabs = 6\nskin = 0.3", "tabs and skin"),
        ("thickness = 6.5", "thickness = 3.4", "leaves 0.4. mm under fret 20 at the edge .allowed: min_web 1 mm"),
        ("frets = 20", "", "frets is missing"),
    ):
        assert old in text
        path = tmp_path / "job.toml"
        path.write_text(text.replace(old, new, 1))
        with pytest.raises(JobError, match=words):
            load_job(path)


@pytest.mark.in_every_run(0)
def test_a_skin_cut_too_thin_is_found():
    job = load_job(EXAMPLES / "ratios-stepped.toml")
    result = build(job, resolution=0.4)
    texts = {p.file_name: p.text for p in result.programs}
    name = next(p.file_name for p in result.programs if p.operation == "outline")
    texts[name] = moved("Z", -0.1, below=0.31)(texts[name])
    found = verify(result.plan.clamping, texts, resolution=0.4)
    assert "skin-wrong" in {f.code for f in found.findings}


@pytest.mark.parametrize(("hump", "found"), [(0.0, set()), (0.003, set()), (0.01, {"slot-too-shallow"}),
                                             (-0.01, {"slot-too-deep"})])
def test_a_slot_is_measured_all_along(hump, found):
    """Its depth is off over 2 mm at a quarter of its length alone."""
    slots = Slots(number=np.array([1]), lines=np.array([[[50.0, -20.0], [50.0, 20.0]]]), width=1.0, depth=2.0)
    level = Surface(thickness=6.0, radius_nut=np.inf, radius_end=np.inf, length=100.0)
    cutter = Cutter(name="slot", shape="flat-end", diameter=1.0, speed=100.0, feed=1.0, plunge=1.0, stepdown=1.0)
    way = np.array([[-22.0, 4], [-11, 4], [-11, 4 + hump], [-9, 4 + hump], [-9, 4], [22, 4]])
    text = "G21 G90 G17 G94\nG0 Z20\nX50 Y-22\nM3 S1\n" + "".join(f"G1 Y{y} Z{z:.4f} F9\n" for y, z in way) + "M30\n"
    clamping = SimpleNamespace(finished_surface=level, to_board=lambda points, step: points)
    motion = motion_over_board(read_program(text, name="a.nc"), clamping, chord_tolerance=1e-4)
    step = SimpleNamespace(operation=Slot(slots), file_name="a.nc", cutter=cutter)
    assert {f.code for f in slot_findings(motion, step, clamping, Tolerances())} == found


@pytest.mark.parametrize(("z", "found"), [(15.51, 0), (15.49, 2)])
def test_clear_is_half_a_millimetre_above_all_that_stands(z, found):
    """Of blank, clamps and fill the highest."""
    for blank, clamp, fill in ((15.0, 9.0, 2.0), (7.0, 15.0, 2.0), (7.0, 9.0, 8.0)):
        clamping = SimpleNamespace(
            stock=SimpleNamespace(thickness=blank), setup=SimpleNamespace(keep_out=(SimpleNamespace(height=clamp),)),
            first_surface=SimpleNamespace(thickness=7.0), safe_z=30.0, z_zero=0.0, feature=lambda kind: None,
            to_board=lambda points, step: points,
            inlays=(SimpleNamespace(fill="resin", overfill=fill), SimpleNamespace(fill="none", overfill=20.0)))
        program = read_program(f"G21 G90 G17 G94\nG0 Z{z}\nX5 Y3\nG1 Z2 F300\nG0 Z{z}\nM30\n", name="a.nc")
        motion = motion_over_board(program, clamping, chord_tolerance=1e-4)
        assert len(list(_start_and_end(program, motion, clamping, Tolerances()))) == found
