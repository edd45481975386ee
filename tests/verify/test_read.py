"""Reading programs, against the published rules of RS274/NGC and an independent reader."""

import itertools
import math
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pathgen.base.errors import ProgramError
from pathgen.base.toolpath import Move
from pathgen.verify.program import ReadMove
from pathgen.verify.read import fingerprint, read_program

START = "G21 G90 G94 G17 G54\nG0 Z10\nM3 S10000\nG0 X0 Y0\nF600\n"


def read(*lines: str, start: str = START):
    return read_program(start + "\n".join([*lines, "M5", "M30", ""]))


# P: Kramer, Proctor, Messina, NISTIR 6556 (2000); section numbers are theirs.
@pytest.mark.parametrize(
    ("line", "why"),
    [
        ("G1 X" + "1" * 256, "3.3: a line is at most 256 characters"),
        ("G1 X1e-05", "3.3.2.1, E.2: a number has no exponent"),
        ("G1 X1.2.3", "3.3.2.1: one decimal point"),
        ("G1 X", "3.3.2: a word is a letter and a number"),
        ("G1 X1 ; fast", "3.3.4: no semicolon in the grammar"),
        ("G1 X1 (a (b))", "3.3.4: comments are not nested"),
        ("G1 X1 (open", "3.3.4: comments end on their line"),
        ("G1 X1 closed)", "3.3.4"),
        ("G0 G1 X1", "3.3.5: two words of one modal group"),
        ("M3 M5", "3.3.5: two words of one modal group"),
        ("M3 M8 M0 M30 M8", "3.3.5: at most 4 M words, one of a group"),
        ("G1 X1 X2", "3.3.5: a letter once"),
        ("G1 U1", "E.3: not a word"),
        ("O100", "E.3: not a word"),
        ("G1", "3.5.2: G1 needs an axis word"),
        ("G0 F100", "3.5.1: G0 needs an axis word"),
        ("G2 X1 Y1", "3.5.3: an arc needs R or a centre"),
        ("G2 X1 Y1 I1 R1", "3.5.3: one of R and a centre"),
        ("G2 X5 Y0 R5", "3.5.3.1: an arc with R ends elsewhere"),
        ("G2 X1 Y1 K1", "3.5.3.2: K is no offset in the XY plane"),
        ("G2 X10 Y0 I2.5011 J0", "3.5.3.2: radii agree within 0.002 mm"),
        ("G18 G2 X1 Z1 J1", "3.5.3.2: J is no offset in the XZ plane"),
        ("G1 X1 I1", "3.5.2: I in straight motion"),
        ("I1", "3.5.3: a centre without an end"),
        ("G2 I5 J0", "3.5.3.2: X or Y of the end may not both be left out"),
        ("G2 X20 Y0 R5", "3.5.3.1: no circle of that radius goes through both ends"),
        ("G80 X1", "3.5.10: axis words while no motion is in force"),
        ("G20 F100", "of which unit that feed is cannot be told"),
        ("G41 D1 X1", "cutter compensation is outside the plain subset"),
        ("G92 X0", "offsets set in a program are outside the plain subset"),
        ("M6 T2", "one program, one cutter"),
        ("#1=3", "parameters are outside the plain subset"),
        ("G1 X[1+2]", "expressions are outside the plain subset"),
        ("/G1 X1", "what a switch on the machine decides is outside the plain subset"),
        ("G4", "3.5.4: a dwell needs P"),
        ("F0", "3.5.2: no feed"),
        ("F-3", "a feed is not negative"),
        ("S-3", "3.7: a speed is not negative"),
        ("G1 X1\x07", "3.3: anything not allowed is an error"),
        ("G1 X１", "3.3: anything not allowed is an error"),
        ("G1 XNAN", "3.3.2.1"),
        ("G1 X1000000", "far beyond any machine"),
    ],
)
def test_lines_that_the_standard_refuses(line, why):
    with pytest.raises(ProgramError) as error:
        read("G1 X5", line)
    assert f"line {len(START.splitlines()) + 2}" in error.value.where, why
    assert error.value.problem


@pytest.mark.parametrize(
    ("line", "end"),
    [
        ("g0x +0. 12 34y 7", (0.1234, 7.0)),  # P: 3.3.1's own example: white space and case do not matter
        ("N10 G1 X1 Y2 (there)", (1.0, 2.0)),
        ("\tG01 X-.5 Y+3.", (-0.5, 3.0)),
        ("M8 G1 X1 Y1", (1.0, 1.0)),
        ("Y2 X1 G1", (1.0, 2.0)),
        ("(a)G1(b)X1(c)Y2", (1.0, 2.0)),
    ],
)
def test_lines_that_the_standard_allows(line, end):
    assert tuple(read(line).end[-1, :2]) == pytest.approx(end, abs=1e-12)


@pytest.mark.parametrize(("arc", "told"), [
    ("G2 X10 Y16 I4 J3", "are I and J exchanged? the arc meets its end with I3 J4"),
    ("G18 G2 X10 Z16 I4 K3", "are K and I exchanged? the arc meets its end with K4 I3"),
    ("G2 X10 Y16 J3", "does the line before end where this arc begins?"),
    ("G2 X10 Y16 I4.1 J3", "does the line before end where this arc begins?")])
def test_an_arc_whose_centre_is_exchanged_is_told_so(arc, told):
    """P: that of NISTIR 6556, 3.5.3.2, from (7, 7) to (10, 16) about (10, 11)."""
    with pytest.raises(ProgramError) as error:
        read_program(f"G21 G90 G17 G94\nG0 Z5\nX7 Y7 Z7\nG1 X7 Y7 F100\n{arc}\nM30\n")
    assert told in str(error.value)


def test_worked_arc_with_a_centre():
    # P: NISTIR 6556, 3.5.3.2: from (7, 7) to (10, 16) about (10, 11), radius 5
    program = read("G0 X7 Y7 Z0", "G2 X10 Y16 I3 J4")
    assert program.kind[-1] == ReadMove.CLOCKWISE
    assert program.centre[-1, :2] == pytest.approx([10, 11])
    points = program.straight(1e-5)[1][program.straight(1e-5)[2] == len(program) - 1]
    assert np.hypot(points[:, 0] - 10, points[:, 1] - 11) == pytest.approx(5.0, abs=1e-9)
    # clockwise from the lower left to the top goes by the left
    assert points[:, 0].min() == pytest.approx(5.0, abs=1e-3)
    assert points[:, 0].max() <= 10 + 1e-9


def test_worked_helix_with_a_radius():
    # P: NISTIR 6556, Table 10: from (3, 1, 0) to (0, 1, .5), R 7.01, centre (1.5, 7.8476)
    program = read("G0 X3 Y1 Z0", "G2 X0 Y1 Z.5 R7.01")
    assert program.centre[-1, :2] == pytest.approx([1.5, 7.8476], abs=1e-4)
    _, ends, motion = program.straight(1e-4)
    mine = ends[motion == len(program) - 1]
    assert np.all(np.diff(mine[:, 2]) > 0)
    assert mine[-1] == pytest.approx([0, 1, 0.5])


@pytest.mark.parametrize(
    ("line", "middle"),
    [
        # P: 4.3.6.1: counter-clockwise seen from the + normal: G17 X to Y, G18 Z to X, G19 Y to Z
        ("G17 G3 X-5 Y0 I-5 J0", (0, 5, 0)),
        ("G18 G3 X-5 Z0 I-5 K0", (0, 0, -5)),
        ("G18 G2 X-5 Z0 I-5 K0", (0, 0, 5)),
    ],
)
def test_arcs_turn_as_seen_from_the_planes_normal(line, middle):
    program = read("G0 X5 Y0 Z0", line)
    _, ends, motion = program.straight(1e-6)
    mine = ends[motion == len(program) - 1]
    assert np.linalg.norm(mine - middle, axis=1).min() < 0.05


def test_arc_in_the_third_plane():
    program = read("G0 X0 Y5 Z0", "G19 G3 Y-5 Z0 J-5 K0")
    _, ends, motion = program.straight(1e-6)
    mine = ends[motion == len(program) - 1]
    assert np.linalg.norm(mine - [0, 0, 5], axis=1).min() < 0.05


def test_a_full_circle():
    program = read("G1 X5 Y0", "G3 X5 Y0 I-5 J0")
    assert program.turns[-1] == pytest.approx(2 * math.pi)
    starts, ends, motion = program.straight(1e-3)
    arc = motion == len(program) - 1
    assert np.linalg.norm(ends[arc] - starts[arc], axis=1).sum() == pytest.approx(10 * math.pi, rel=1e-3)


@settings(max_examples=200, deadline=None)
@given(
    radius=st.floats(0.5, 300), a=st.floats(0, 2 * math.pi), turn=st.floats(0.01, 2 * math.pi - 0.01),
    tolerance=st.sampled_from([1e-2, 1e-3, 1e-4]), left=st.booleans(), short=st.booleans(),
)
def test_chords_stay_within_their_tolerance_and_both_forms_agree(radius, a, turn, tolerance, left, short):
    """Written with four decimals, arcs of 0.5 to 300 mm agree with 3.5.3.2, in both ways of writing them."""
    b = a + turn * (1 if left else -1)
    p, q = ((radius * math.cos(t), radius * math.sin(t)) for t in (a, b))
    word = "G3" if left else "G2"
    go = f"G0 X{p[0]:.4f} Y{p[1]:.4f}"
    program = read(go, f"{word} X{q[0]:.4f} Y{q[1]:.4f} I{-p[0]:.4f} J{-p[1]:.4f}")
    assert program.kind[-1] == (ReadMove.COUNTER_CLOCKWISE if left else ReadMove.CLOCKWISE)
    starts, ends, motion = program.straight(tolerance)
    mine = motion == len(program) - 1
    middle = (starts[mine] + ends[mine]) / 2
    assert np.all(np.abs(np.hypot(middle[:, 0], middle[:, 1]) - radius) <= tolerance + 2e-4)
    if 0.5 < turn < 5.5 and abs(turn - math.pi) > 0.1:  # R is ill-conditioned near half and full circles
        sign = 1 if turn < math.pi else -1
        other = read(go, f"{word} X{q[0]:.4f} Y{q[1]:.4f} R{sign * radius:.4f}")
        assert other.centre[-1, :2] == pytest.approx(program.centre[-1, :2], abs=5e-2)
        assert other.turns[-1] == pytest.approx(program.turns[-1], abs=1e-2)


def test_incremental_inches_and_units():
    program = read("G20", "G91", "G1 X1 Z-.1 F10", "X1", start=START.replace("F600\n", ""))
    assert program.end[-1] == pytest.approx([50.8, 0, 10 - 2.54])
    assert program.feed[-1] == pytest.approx(254)
    assert program.units == {"mm", "in"}


def test_what_is_not_known_is_not_a_number():
    program = read_program("G21 G90 G54\nG0 Z5\nG1 X1 Y1\nM30\n")
    assert np.isnan(program.start[0]).all()
    assert np.isnan(program.end[0, :2]).all()
    assert program.feed[1] == 0
    with pytest.raises(ProgramError):
        read_program("G91\nG0 X1\nM30\n")


@pytest.mark.parametrize(
    ("text", "ended"),
    [("G0 Z1\nM30\n", True), ("G0 Z1\nM2", True), ("%\nG0 Z1\n%\n", True), ("G0 Z1\n", False), ("%\nG0 Z1\n", False),
     ("%\nG0 Z1\nM30\n%\n", True), ("%\nG0 Z1\nM30\n", True)],
)
def test_ends(text, ended):
    assert read_program(text).ended is ended  # P: 3.1, 3.6.1; a closing % adds nothing to M30


@pytest.mark.parametrize("text", ["", "\n\n", "(only this)\n", "G0 Z1\nM30\nG0 Z2\n", "G0 Z1\n%\n",
                                  "G0 Z1\nM30\n%\n", "%\nG0 Z1\n%\n%\n", "\x00\x01\xff"])
def test_texts_that_are_no_programs(text):
    with pytest.raises(ProgramError):
        read_program(text)


def test_spindle_feed_and_offset_are_kept_with_each_motion():
    program = read("G1 X1", "M5", "G55 X2", "M4 S500", "F50 X3")
    assert program.spindle[-3:].tolist() == [1, 0, -1]
    assert program.speed[-3:].tolist() == [10000, 10000, 500]
    assert program.offset[-3:].tolist() == [54, 55, 55]
    assert program.feed[-3:].tolist() == [600, 600, 50]
    assert program.kind.tolist() == [ReadMove.RAPID] * 2 + [ReadMove.FEED] * 3


def test_kinds_of_motion_that_were_read_are_no_moves_of_a_path():
    """Compared with each other they were true by accident: an arc, 2, was a PLUNGE."""
    program = read("G1 X1", "G2 X3 I1", "G3 X1 I-1")
    assert [ReadMove(kind).name for kind in program.kind[-3:]] == ["FEED", "CLOCKWISE", "COUNTER_CLOCKWISE"]
    assert [(program.kind == move).sum() for move in Move] == [(program.kind == ReadMove.RAPID).sum(), 0, 0, 0]


def test_fingerprints():
    text = "(Board)\n(job fingerprint: 0123456789abcdef)\nG0 Z1  \nM30\n"
    own = fingerprint(text)
    signed = text.replace("(Board)\n", f"(Board)\n(program fingerprint: {own})\n")
    program = read_program(signed)
    assert (program.program_fingerprint, program.own_fingerprint) == (own, own)
    assert program.job_fingerprint == "0123456789abcdef"
    assert read_program(signed.replace("Z1", "Z2")).own_fingerprint != own


numbers = st.floats(-400, 400).map(lambda v: round(v, 4))


@st.composite
def plain_programs(draw):
    lines = []
    for _ in range(draw(st.integers(30, 60))):
        axes = draw(st.lists(st.sampled_from("XYZ"), min_size=1, max_size=3, unique=True))
        word = draw(st.sampled_from(["", "G0 ", "G1 ", "G01 "]))
        line = word + " ".join(f"{a}{draw(numbers):g}" if draw(st.booleans()) else f"{a}{draw(numbers):.4f}"
                               for a in sorted(axes))
        lines.append(line)
    return lines


@settings(max_examples=30, deadline=None)
@given(plain_programs())
def test_many_lines_at_once_are_read_as_one_by_one(lines):
    assert all("e" not in line for line in lines)
    together = read(*lines)
    one_by_one = read(*[f"N1 {line}" for line in lines])
    for name in ("start", "end", "kind", "feed", "spindle", "line"):
        np.testing.assert_array_equal(getattr(together, name), getattr(one_by_one, name))


@settings(max_examples=25, deadline=None)
@given(plain_programs())
def test_an_independent_reader_finds_the_same_positions(lines):
    """pygcode, a general-purpose reader of G-code."""
    from pygcode import Line, Machine

    machine = Machine()
    theirs = []
    for line in [*START.splitlines(), *lines]:
        machine.process_block(Line(line).block)
        theirs.append([machine.abs_pos.vector[i] for i in range(3)])
    mine = read(*lines)
    rows = mine.line[1:] - 1  # the first motion leaves X and Y unknown to us, and 0 to them
    np.testing.assert_allclose(mine.end[1:], np.array(theirs, dtype=float)[rows], atol=1e-9)


def test_hundreds_of_thousands_of_lines():
    """All read; and a fault in the last of them is named by its line."""
    rng = np.random.default_rng(1)
    block = "\n".join(f"X{x:.1f} Y{y:.1f}" for x, y in rng.uniform(-200, 200, (20_000, 2)))
    text = START + "G1 X0\n" + "\n".join([block] * 19) + "\n"
    program = read_program(text + "M5\nM30\n")
    assert len(program) == 380_003
    np.testing.assert_array_equal(program.end[-20_000:, :2], program.end[3:20_003, :2])
    with pytest.raises(ProgramError, match="line 380007"):
        read_program(text + "X1 X2\n")


@pytest.mark.parametrize(
    ("line", "said"), [
        ("G1 F500", "G1 without X, Y or Z"), ("X" + "1" * 256, "257 characters"), ("G1 X1 X2", "X"),
        ("F0", "a feed of 0"), ("X100001", "within 10000 mm"), ("X-1 Y2000000 F5", "within 10000 mm"),
    ]
)
def test_a_fault_within_a_run_of_plain_lines_is_said_as_of_a_single_line(line, said):
    errors = []
    for before in ("G1 X1\n" * 40, "N1 G1 X1\n" * 40):
        with pytest.raises(ProgramError) as error:
            read_program(START + before + line + "\n" + "G1 X1\n" * 40 + "M5\nM30\n")
        errors.append(str(error.value))
    assert errors[0] == errors[1]
    assert said in errors[0]


def test_a_bad_line_far_down_is_named():
    text = START + "G1 X1\n" * 5000 + "X2 Y\n" + "G1 X1\n" * 50 + "M30\n"
    with pytest.raises(ProgramError) as error:
        read_program(text)
    assert "line 5006" in error.value.where


def test_chords_are_counted_at_the_finest():
    """A chord of length c lies c**2 / (8 r) off its arc (circle segments): here a ten-thousandth."""
    assert read("G1 X5 Y5").chords == 0
    whole = read("G1 Z1", "G2 X0 Y0 I5 J0", "G1 X5 Y0", "G3 X5 Y10 I0 J5").chords
    assert whole == pytest.approx(1.5 * 2 * math.pi * 5 / math.sqrt(8 * 5 * 1e-4), rel=1e-6)


def test_percent_after_lines_that_are_read_at_once():
    """Many plain lines and nothing before them: the program has begun (NISTIR 6556, 3.1 and 3.3)."""
    plain = "".join(f"G1 X{k} F100\n" for k in range(200))
    assert len(read_program(plain)) == 200
    with pytest.raises(ProgramError, match="line 201: % after the program began without one"):
        read_program(plain + "%\n")


def test_every_length_of_a_program_is_in_its_units():
    """Positions, centres, radii and feeds in inches are those in mm by 25.4, exactly (NIST SP 811, B.8, P)."""
    words = "G0 X{3} Y{0} Z{9}", "G1 X{4} Z{-1} F{300}", "G2 X{6} Y{2} R{2}", "G3 X{4} Y{4} I{0} J{2}"
    made = []
    for unit, each in (("G21", 1.0), ("G20", 25.4)):
        lines = [re.sub(r"{(.*?)}", lambda m, each=each: f"{float(m[1]) / each:.9f}", line) for line in words]
        made.append(read_program("\n".join([unit, "G90 G17 G94", *lines, "M30", ""]), name="a.nc"))
    for name in ("start", "end", "feed"):
        assert getattr(made[1], name)[1:] == pytest.approx(getattr(made[0], name)[1:], abs=1e-6)
    metric, inches = (one.straight(1e-3) for one in made)
    assert inches[1] == pytest.approx(metric[1], abs=1e-5)


def test_waits_count_between_the_spindle_and_the_first_cut():
    """P: RS274/NGC, 3.5.4: G4 P waits so many seconds. Nothing is waited for before M3, before M5 and once it cuts."""
    start = "G21 G90 G94 G17 G54\nG0 Z10\nG4 P4\nM3 S10000\nG4 P1.5\nG0 X0 Y0\nG4 P0.5\nF600\n"
    assert read("G1 X1", "G4 P9", start=start).waited == 2.0
    assert read("G1 X1", "G4 P9", "X2", start=start.replace("M3 S10000\n", "")).waited == 0.0
    assert read("M5", "G4 P9", "M3", "G4 P0.25", "G1 X1", start=start).waited == 0.25


@pytest.mark.parametrize(("plane", "first", "second", "own"),
                         [(17, "X", "Y", "IJ"), (18, "Z", "X", "IK"), (19, "Y", "Z", "JK")])
@pytest.mark.parametrize("motion", [2, 3])
def test_an_arc_takes_its_radius_or_a_centre_in_its_plane(plane, first, second, own, motion):
    """P: NISTIR 6556, 3.5.3: R alone, or one or both of the offsets of the plane, of which one left out is 0."""
    for letters in ("".join(some) for n in range(5) for some in itertools.combinations("IJKR", n)):
        size = 0.5 if letters == own else 1.0  # both: half a circle round the middle of the way
        words = " ".join(f"{letter}{size}" for letter in letters)
        text = f"G21 G90 G94 G{plane} F100\nG0 X0 Y0 Z0\nM3 S9000\nG{motion} {first}1 {second}1 {words}\nM5\nM30\n"
        if not (letters == "R" or (letters and set(letters) <= set(own))):
            with pytest.raises(ProgramError, match="arc" if letters else "without R or a centre"):
                read_program(text)
            continue
        program = read_program(text)
        centre = program.centre[-1]["XYZ".index(first)], program.centre[-1]["XYZ".index(second)]
        assert np.hypot(*centre) == pytest.approx(math.sqrt(0.5) if letters == own else 1.0)
        # one round the end of an axis turns by a quarter one way and by three the other; a positive R by the less
        left = motion == 3
        turned = {own: 0.5, "R": 0.25}.get(letters, 0.25 if (centre[0] < 0.5) == left else 0.75)
        assert program.turns[-1] / (2 * math.pi) == pytest.approx(turned if left else -turned)


@pytest.mark.parametrize(("odd", "called"), [
    ("\ufeff", "a byte-order mark, which does not show"), ("\x1a", "a character that does not show, code 26"),
    ("\u200b", "a character that does not show, ZERO WIDTH SPACE"), ("(für)", "the character ü "),
])
def test_what_an_editor_leaves_is_said_to_be_taken_out(odd, called):
    """A mark of bytes, the end of a file as old systems write it, a comment in other letters: machines choke on it."""
    with pytest.raises(ProgramError, match=f"{called}.*take it out, of comments too, and save it as plain text"):
        read_program(f"{odd}\nG21 G90\nM30\n")


@pytest.mark.parametrize(("line", "said"), [
    ("; note", r"a semicolon: 'note' .* write it as \(note\)$"),
    ("G1 X1 ; fast (5 mm) here", r"a semicolon: 'fast \(5 mm\) here' .* write it as \(fast 5 mm here\)$"),
    ("G1 X1 ;", "take it out$"),
])
def test_a_comment_by_a_semicolon_is_quoted_as_it_stands_and_written_in_parentheses(line, said):
    """It was quoted without its blanks, as ';NOTE0X9G1Z-'."""
    with pytest.raises(ProgramError, match=said):
        read(line)
    assert read("G1 X1 (a; b)").comments[-1][1] == "a; b"


def test_what_stands_after_the_end_and_a_circle_without_an_end_are_told_by_what_is_allowed_there():
    with pytest.raises(ProgramError, match="after M2, M30 or the second %"):
        read_program("G21 G90\nG0 Z5\nM30\nG0 X1\n")
    for line in ("G3 I-10 F600", "I-10"):
        with pytest.raises(ProgramError, match=r"I without the place where the arc ends .*whole circles too") as error:
            read("G2 X0 Y0 I5", line)
        assert "NISTIR" not in str(error.value)


@pytest.mark.parametrize(("line", "said"), [
    ("O1000", "O1000 numbers the program: it can go"),
    ("T1", "T1 names a cutter: it can go where that cutter is in the spindle"),
    ("G53 G0 Z0", "own zero.* from the work's zero, a lift clear .* the same numbers without G53 are other places"),
    ("G90.1", "I, J and K from the arc's start"), ("G92 X0", "all that follows would lie elsewhere"),
    ("G28 Z0", "write G90 G0 Z.. from the work's zero in place of the line"),
    ("G43 H1 Z20", "G43 H1 shifts Z .* set Z 0 with this cutter"), ("G41 D1 X1", "G41 D1 .* half a cutter off"),
    ("G93", "each F means something else"), ("G95", "F times S"), ("G81 X1 Z-2 R1", "G0 over it, G1 down, G0 up"),
    ("G38.2 Z-5", "set the zero by hand"), ("M62 P1", "see in the machine's manual"), ("G1 X1 A20", "X, Y and Z alone"),
    ("G1 X1E-5", "write the number out"), ("/X10", "take the / out if the line is to run, else all of the line"),
    ("#1=10", "plain numbers"), ("G1 X[1+2]", "the number that it comes to"), ("G1 X#1", "plain numbers"),
    *((line, "write X and Y of the arc's end on this line: of a whole circle the same as those of its start")
      for line in ("G2 I5 J0 F1200", "G3 I5", "I5 J0", "G2 R3")),
    ("G91 G2 I5", "of a whole circle X0 Y0"), ("G18 G2 I5 K0", "write Z and X of the arc's end"),
    ("G10 L2 P1 X0", r"G10 L2 sets a zero .*: set the zero by hand before the start, then the line can go$"),
    ("G83 X1 Y2 Z-3 R1 Q1", r"G83 Q1 drills by a cycle: write it out, .* belong to it$"),
    ("M98 P100 L3", r"M98 L3 calls moves that stand elsewhere: write those moves in its place$"),
    ("G65 P100 A1", "G65 A1 calls moves"), ("G1 N10 X5", "N10 numbers the line, and does not .* write it before all"),
    ("G1 X1 Q1", "Q1 is not followed here: see in the machine's manual"),
    ("G2 F100", "write G2 on the line of the next X, Y or Z"),
    ("G4 X2", "write the wait as P"), ("G4 P1 G64", "on two lines"), ("P3", "G4 before it if a wait is meant"),
])
def test_what_is_not_followed_is_told_with_what_to_write_in_its_place(line, said):
    """No remedy takes a word out on which the rest of the program hangs."""
    with pytest.raises(ProgramError, match=said) as error:
        read(line)
    assert error.value.remedy
    assert error.value.remedy != "take it out"


def test_all_words_of_a_line_that_are_not_followed_are_told_at_once():
    with pytest.raises(ProgramError, match=r"T1 M6 takes a cutter: put that cutter in by hand before the start"):
        read_program("G21 G90\nT1 M6\nG0 Z5\nM30\n")
    with pytest.raises(ProgramError, match=r"T2 M6 changes the cutter: write what follows as a program of its own"):
        read("G1 X1", "T2 M6")
    with pytest.raises(ProgramError, match=r"G43 H1 .*; G93 .*; A20 .*: G43: set Z 0 .*; G93: .*; A20: have it"):
        read("G43 H1 G93 A20 X1")


def test_words_for_what_is_in_force_anyway_are_read_past_and_the_rounding_of_corners_is_kept():
    plain, more = read("G1 X1 Y2"), read("G91.1 G97 G98 G69 G15 M48", "G61.1", "G64 P0.02", "G64", "G1 X1 Y2")
    np.testing.assert_array_equal(plain.end, more.end)
    first = len(START.splitlines()) + 1
    assert more.blends == ((first + 2, 0.02), (first + 3, math.inf))
    assert (plain.speed_line, plain.blends) == (3, ())


def test_every_refusal_of_a_line_says_what_to_do():
    for mark in test_lines_that_the_standard_refuses.pytestmark:
        for line, _ in mark.args[1]:
            with pytest.raises(ProgramError) as error:
                read("G1 X5", line)
            assert error.value.remedy, line
