"""Programs as text, against the rules of RS274/NGC (Kramer, Proctor, Messina: NISTIR 6556, 2000)."""

import re
import string

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pygcode import Line

from pathgen import Cutter, ProgramError, Toolpath
from pathgen.base.toolpath import Move
from pathgen.parts.fingerboard.board import slots
from pathgen.programs.arcs import Arc
from pathgen.programs.write import _arc_words, _shown, comment, program, program_text
from pathgen.verify.read import read_program
from pathgen.work.clamping import Clamping, Machine, Setup, Step, Stock
from pathgen.work.operations import Slot
from tests.boards import fingerboard

CUTTER = Cutter(name="flat 3", shape="flat-end", diameter=3.0, speed=18000, feed=1200.0, plunge=300.0, stepdown=1.5)
BOARD = fingerboard(
    scale_lengths=(640.0, 640.0), frets=20, nut_width=44.0, end_width=57.0, past_last_fret=10.0, thickness=6.5,
    radius=(254.0, 355.6),
)


SLOTS = slots(BOARD, width=0.6, depth=2.0)


def clamping(units="mm", machine=None, **setup):
    return Clamping(
        title="Fern", units=units, board=BOARD, stock=Stock(length=480.0, width=72.0, thickness=8.0, margin_nut=12.0),
        setup=Setup(**setup), machine=machine or Machine(), steps=(),
    )


def text_of(points, units="mm", title="Fern", **setup):
    path = Toolpath.from_runs([np.array(points)], safe_z=clamping().safe_z)
    step = Step(order=1, operation=Slot(SLOTS), cutter=CUTTER, file_name="01.nc")
    return program_text(path, clamping=clamping(units, **setup), step=step, header=[title], job="0" * 16)


RUN = [(10.0, -5.0, 5.0), (20.0, -5.0, 5.25), (20.00004, 5.123456, -0.00001)]


def code(text):
    return [line for line in text.splitlines() if not line.startswith("(")]


def test_a_whole_program():
    assert code(text_of(RUN)) == [
        "G21 G90 G94 G17 G54", "G0 Z18", "M3 S18000", "G4 P3", "G0 X10 Y-5", "G1 Z5 F300", "X20 Z5.25 F1200",
        "Y5.1235 Z0 F600", "G0 Z18", "M5", "M30",  # sinks at 5.25 / 11.40 of it
    ]


def test_the_wait_for_the_spindle_can_be_left_out():
    assert not [line for line in code(text_of(RUN, machine=Machine(spin_up=0.0))) if line.startswith("G4")]
    # P counts seconds (NISTIR 6556, 3.5.4)
    assert "G4 P2.5" in code(text_of(RUN, machine=Machine(spin_up=2.5)))


def test_inches_and_turned_and_zeroed_on_the_stock():
    lines = code(text_of(RUN, units="in", along="y", z_zero="stock-top"))
    # (x, y) goes to (-y, x); 8 mm of stock above the bed; 25.4 mm to the inch
    assert lines[0] == "G20 G90 G94 G17 G54"
    assert lines[1] == "G0 Z0.3937"
    assert lines[4] == "G0 X0.19685 Y0.3937"
    assert lines[5] == "G1 Z-0.11811 F11.811"
    assert lines[6] == "Y0.7874 Z-0.10827 F47.244"


def test_every_line_keeps_to_the_standard():
    text = text_of([(i * 0.1, np.sin(i) * 1e-5, 5 + np.cos(i) * 1e-4) for i in range(500)])
    for line in text.splitlines():
        assert len(line) <= 256  # 3.3
        if line.startswith("("):
            assert re.fullmatch(r"\([^()]*\)", line)  # 3.3.4: comments are not nested
            continue
        # E.2, 3.3.2.1: words of a letter and a number with at most one point and no exponent
        words = line.split()
        assert all(re.fullmatch(r"[A-Z]-?\d+(\.\d+)?", word) for word in words)
        letters = [word[0] for word in words if word[0] not in "GM"]
        assert len(letters) == len(set(letters))  # 3.3.5
        assert not set(letters) & set("EOUVW")  # E.3
        assert sum(word[0] == "M" for word in words) <= 4  # 3.3.5
    assert text.isascii()
    assert text.splitlines()[-1] == "M30"  # 3.6.1


def test_an_independent_reader_sees_the_same_positions():
    rng = np.random.default_rng(3)
    points = rng.uniform(-300, 300, (200, 3))
    points[:, 2] = points[:, 2].clip(-300, 17)
    position, seen = {"X": None, "Y": None, "Z": None}, []
    for line in code(text_of(points)):
        words = {word.letter: float(word.value) for word in Line(line).block.words}
        if set(words) & set("XYZ"):
            position.update({a: words[a] for a in "XYZ" if a in words})
            seen.append(tuple(position.values()))
    # retract, above the first point, the points, retract
    assert np.array(seen[2:-1]) == pytest.approx(points, abs=0.5001e-4)


@given(st.text(max_size=120))
def test_no_title_can_become_a_word(title):
    lines = text_of(RUN, title=title).splitlines()
    shown = lines[0]
    assert re.fullmatch(r"\([ -~]*\)", shown)
    assert not set(shown[1:-1]) & set("()%;")
    assert code("\n".join(lines)) == code(text_of(RUN))


def test_no_fingerprint_breaks_a_long_title():
    """It stood after the first line, whatever that was: in the middle of a title."""
    lines = text_of(RUN, title="A board " * 15).splitlines()
    own = next(k for k, line in enumerate(lines) if line.startswith("(program fingerprint: "))
    assert lines[1].startswith("(.. ")
    assert lines[own - 1].startswith("(job fingerprint: ")
    assert not lines[own + 1].startswith("(")


@pytest.mark.parametrize("nasty", [
    "Fern\nG0 Z-50", "Fern) G0 Z-50 (", "%\nM30", "x\rG0Z-9", "\u2028G0 Z-9", "（G0）", "\x00\x1b[2J",
])
def test_known_tricks(nasty):
    assert comment(nasty).count("(") == comment(nasty).count(")") == 1
    assert all(c in string.printable and c not in "\n\r\t\x0b\x0c" for c in comment(nasty))


def test_a_path_that_ends_low_is_not_written():
    low = Toolpath(np.array([[0, 0, 18.0], [0, 0, 5.0]]), np.array([Move.RAPID, Move.PLUNGE]))
    step = Step(order=1, operation=Slot(SLOTS), cutter=CUTTER)
    with pytest.raises(ProgramError, match="begins or ends"):
        program_text(low, clamping=clamping(), step=step, header=[], job="")


@pytest.mark.parametrize("units", ["mm", "in"])
def test_a_path_alone_becomes_a_program_that_is_read_back_as_it_was(units):
    path = Toolpath.from_runs([np.array(RUN), np.array(RUN) + [0, 3, 0]], safe_z=20.0)
    text = program(path, cutter=CUTTER, zero=(5.0, -2.0, 1.0), units=units)
    read = read_program(text, name="alone.nc")
    assert read.ended
    # the program lifts first; then it goes over the path's first point
    assert np.allclose(read.end[1:], path.points - [5.0, -2.0, 1.0], atol=2e-4)
    with pytest.raises(ProgramError, match=r"begins or ends .*Toolpath\.from_runs"):
        program(Toolpath(path.points[:-1], path.kinds[:-1]), cutter=CUTTER)
    with pytest.raises(ProgramError, match=r"first point is reached by Move\.CUT .*make kinds\[0\] Move\.RAPID"):
        program(Toolpath(path.points, [Move.CUT, *path.kinds[1:]]), cutter=CUTTER)


@pytest.mark.parametrize(("end", "words"), [(20.0009, " I10 J0"), (20.00105, ""), (0.0, "")])
def test_an_arc_whose_radii_as_written_differ_by_half_of_what_is_allowed_is_written_as_lines(end, words):
    """P: NISTIR 6556, 3.5.3.2 allows 0.002 mm."""
    arc = Arc(first=1, last=1, centre=(10.0, 0.0), clockwise=True)
    assert _arc_words(np.array([[0.0, 0.0, 0.0], [end, 0.0, 0.0]]), arc, "mm") == words


@pytest.mark.parametrize("units", ["mm", "in"])
def test_numbers_are_written_as_short_as_they_read_back(units):
    """Against the language's own formatting; also below 0, below 0.0001, where it takes an exponent, and at 0."""
    places = {"mm": 4, "in": 5}[units]
    random = np.random.default_rng(2)
    numbers = np.round(np.concatenate([random.uniform(-900, 900, 500), random.uniform(-2, 2, 500), [0.0, -0.0, 7.0]]),
                       places) + 0.0
    numbers = np.concatenate([numbers, np.arange(-20, 21) / 10**places])
    shown = _shown(numbers, units, "X")
    assert shown.tolist() == ["X" + f"{number + 0.0:.{places}f}".rstrip("0").rstrip(".") for number in numbers]
