"""Strings at nut and saddle: gaps, tension, and cents by a string drawn and stretched in 50 digits."""

import itertools
from dataclasses import replace

import mpmath
import numpy as np
import pytest

from pathgen.app.cli import main
from pathgen.base.errors import JobError
from pathgen.job import load_job
from pathgen.job.doubts import doubts_of
from pathgen.job.doubts.board import of_strings
from pathgen.job.nut_and_saddle import nut_and_saddle_clampings
from pathgen.job.part import board_of
from pathgen.parts.fingerboard.nut import nut_curve
from pathgen.parts.fingerboard.rows import strung_data
from pathgen.parts.fingerboard.stringing import (
    CourseTable,
    Strings,
    cents_sharp,
    checked_strings,
    saddle_for,
    stretch,
    string_places,
    stringing_data,
    tension,
)
from pathgen.report.board_text import stringing_lines
from tests.boards import fingerboard
from tests.small_board import dotted_job, job

GAUGES = (1.17, 0.91, 0.66, 0.43, 0.33, 0.25)
SET = Strings(gauges=GAUGES, clear=0.2, pitches=(82.4069, 110.0, 146.832, 195.998, 246.942, 329.628),
              mass=(6.8, 3.9, 2.1, 1.14, 0.67, 0.385), core=(0.4, 0.4, 0.36, 0.43, 0.33, 0.25), modulus=(200.0,) * 6)


def test_equal_gaps_and_equal_centres():
    d, at = np.array(GAUGES), string_places(GAUGES, 37.0, "gaps")
    assert np.diff(at) - (d[1:] + d[:-1]) / 2 == pytest.approx(np.full(5, (37.0 - d.sum() + (d[0] + d[-1]) / 2) / 5))
    assert at[-1] == pytest.approx(37.0)
    assert np.diff(string_places(GAUGES, 37.0, "centres")) == pytest.approx(np.full(5, 7.4))


PAIRS = (1.0, 1.0, 0.7, 0.7, 0.4, 0.4, 0.28, 0.28)


@pytest.mark.parametrize("spacing", ["gaps", "centres"])
def test_courses_are_as_near_together_as_asked_and_apart_alike(spacing):
    d, at = np.array(PAIRS), string_places(PAIRS, 30.0, spacing, CourseTable(strings=2, gap=1.8))
    gaps, middles = np.diff(at) - (d[1:] + d[:-1]) / 2, (at[::2] + at[1::2]) / 2
    assert [at[0], at[-1]] == pytest.approx([0.0, 30.0])
    assert gaps[::2] == pytest.approx(np.full(4, 1.8))
    apart = gaps[1::2] if spacing == "gaps" else np.diff(middles)
    assert apart == pytest.approx(np.full(3, apart[0]))


def test_courses_in_a_job_are_told_and_refused_where_they_cannot_be(tmp_path, capsys):
    plain = "gauges = [1.17, 0.91, 0.66, 0.43, 0.33, 0.25]"
    pairs = "gauges = [1.17, 1.17, 0.66, 0.66, 0.43, 0.43]\ncourse = {{ strings = {}, gap = {} }}"
    job = dotted_job(tmp_path, (plain, pairs.format(2, 1.8)))
    assert main(["strings", str(tmp_path / "board.toml")]) == 0
    assert "Courses of 2 strings, 1.8 mm clear within them; equal clear gaps from course" in capsys.readouterr().out
    rows = strung_data(board_of(job), job.strings, job.frets)["strings"]
    assert [row["gap"] for row in rows[::2]] == pytest.approx([1.8] * 3, abs=1e-3)
    nut = nut_curve(board_of(job), job.strings, past=0.0).strings[:, 0]
    assert np.diff(nut)[::2] == pytest.approx(1.8 + np.array([1.17, 0.66, 0.43]))
    for each, words in ((4, "6 strings, and 4 to each course"), (6, "two courses or more")):
        with pytest.raises(JobError, match=words):
            dotted_job(tmp_path, (plain, pairs.format(each, 1.8)))
    with pytest.raises(JobError, match=r"would touch.*make gap 6.47 mm or less"):
        string_places(PAIRS, 30.0, "gaps", CourseTable(strings=2, gap=7.0))


def test_twelve_double_courses_are_a_set_and_one_string_more_is_told_without_a_word_of_commas(tmp_path):
    def made(count):
        gauges = "\n[strings]\ncourse = { strings = 2, gap = 1.5 }\ngauges = " + str([1.0, 0.5] * (count // 2))
        return load_job(job(tmp_path, changes={"nut_width = 40.0": "nut_width = 80.0", "width = 66": "width = 99",
                                               "end_width = 46.0": "end_width = 84.0"}, extra=gauges))

    assert made(24).board.strings == 24
    with pytest.raises(JobError, match=r"a list of 1 to 24 values") as refused:
        made(26)
    assert "comma" not in str(refused.value)


def test_tension_as_in_the_formula_in_pounds_and_inches():
    """T = w (2 L f)^2 / g with w in lb/in, L in in, g = 386.0886 in/s2: Mersenne's law in other units (derived)."""
    pounds_an_inch = 0.385 / 453.59237 * 0.0254  # 1 lb = 453.59237 g exactly
    wanted = pounds_an_inch * (2 * 25.5 * 329.628) ** 2 / 386.0886
    assert tension(0.385, 25.5 * 25.4, 329.628) / 4.4482216 == pytest.approx(wanted, rel=1e-6)


def test_cents_of_a_string_drawn_and_stretched():
    """Hooke and Mersenne (Fletcher and Rossing, chapter 2, from memory), from points of the string, in 50 digits."""
    mpmath.mp.dps = 50
    length, at, nut, saddle, mass, pitch, stiff = 648.0, 324.0, 0.3, 2.1, 0.385, 329.628, 9817.0
    points = [mpmath.matrix(p) for p in ((0, 0.2), (at, 0), (length, 3.8))]
    pressed = sum(mpmath.norm(b - a) for a, b in itertools.pairwise(points))
    longer = pressed - mpmath.norm(points[2] - points[0])
    open_length = mpmath.mpf(length) + saddle - nut
    pull = tension(mass, length, pitch)

    def heard(sounding, force):
        return mpmath.sqrt(force / (mass * 1e-3)) / (2 * sounding * 1e-3)

    ratio = heard(length + saddle - at, pull + stiff * longer / open_length) / heard(open_length, pull)
    wanted = 1200 * mpmath.log(ratio / 2, 2)
    got = cents_sharp(at, scale_length=length, nut=nut, saddle=saddle, tension_n=float(pull), stiffness_n=stiff,
                      stretched=stretch(np.array(at), length, 0.2, 3.8))
    assert float(got) == pytest.approx(float(wanted), abs=1e-6)


def test_the_saddle_that_is_asked_for_makes_the_note_true():
    known = {"tension_n": 68.0, "stiffness_n": 9800.0, "stretched": 0.02}
    setback = saddle_for(324.0, scale_length=648.0, nut=0.0, **known)
    assert 0.5 < setback < 5
    off = cents_sharp(324.0, scale_length=648.0, nut=0.0, saddle=setback, **known)
    assert abs(float(off)) < 1e-6


def test_rows_of_a_board():
    board = fingerboard(scale_lengths=(640.0, 640.0), frets=14, nut_width=43.0, end_width=55.0, past_last_fret=10.0,
                        thickness=6.0, radius=(300.0, 300.0), edge_to_string=3.0)
    data = stringing_data(board.layout, SET, crown=1.1)
    rows = data["strings"]
    slant = 3.0 * np.hypot(1.0, board.layout.edges.slope)  # square to the edge, so a little more along the nut
    assert data["spread_at_nut"] == pytest.approx(43.0 - 2 * slant, abs=1e-4)
    assert rows[0]["clear_of_edge"] == pytest.approx(slant - GAUGES[0] / 2, abs=1e-4)
    assert rows[0]["slot_bottom"] == pytest.approx(1.3)
    assert rows[0]["slot_depth"] == pytest.approx(GAUGES[0] / 2)
    assert all(row["cents"]["12"] > row["cents"]["1"] > 0 for row in rows)
    set_right = replace(SET, saddle_compensation=tuple(row["saddle_wanted"] for row in rows))
    after = stringing_data(board.layout, set_right, crown=1.1)["strings"]
    assert all(abs(row["cents"]["12"]) <= 0.01 for row in after)
    with pytest.raises(JobError, match="nut_height"):
        stringing_data(board.layout, replace(SET, nut_height=1.2), crown=1.1)


def test_a_nut_offset_is_a_nut_compensation_of_every_string():
    numbers = {"scale_lengths": (640.0, 640.0), "frets": 14, "nut_width": 43.0, "end_width": 43.0,
               "past_last_fret": 10.0, "thickness": 6.0, "radius": (300.0, 300.0)}
    filed = stringing_data(fingerboard(**numbers).layout, replace(SET, nut_compensation=(0.5,) * 6), crown=1.1)
    moved = stringing_data(fingerboard(**numbers, nut_offset=0.5).layout, SET, crown=1.1)
    for a, b in zip(filed["strings"], moved["strings"], strict=True):
        assert b["nut"] == 0.5
        assert list(a["cents"].values()) == pytest.approx(list(b["cents"].values()), abs=0.03)
    plain = stringing_data(fingerboard(**numbers).layout, SET, crown=1.1)["strings"][0]["cents"]["1"]
    assert moved["strings"][0]["cents"]["1"] < plain - 1


def test_cents_of_the_setting_alone_where_the_strings_are_not_known():
    """Open over 640 - 0.5 + 2, fretted at the 12th over 320 + 2: the ratio of two lengths, and nothing else."""
    layout = fingerboard(scale_lengths=(640.0, 640.0), frets=14, nut_width=43.0, end_width=43.0, past_last_fret=10.0,
                         thickness=6.0, radius=(300.0, 300.0), nut_offset=0.5).layout
    data = stringing_data(layout, Strings(gauges=GAUGES, clear=0.2, saddle_compensation=(2.0,) * 6), crown=None)
    assert data["strings"][3]["cents"]["12"] == pytest.approx(1200 * np.log2(641.5 / 322 / 2), abs=0.006)
    words = "\n".join(stringing_lines(data, "mm"))
    assert "cents at 12" in words
    assert "what the string's stretch adds is not known" in words
    assert "tension" not in words
    assert "slot depth" not in words  # a column of dashes said nothing
    assert "add a [frets] table, with the height of the wire's crown" in words
    known = "\n".join(stringing_lines(stringing_data(layout, Strings(gauges=GAUGES, clear=0.2), crown=1.2), "mm"))
    assert "slot's bottom over board" in known
    assert "[frets]" not in known


@pytest.mark.parametrize(("change", "words"), [
    ({"gauges": GAUGES[:5]}, "5 given.*6 strings"), ({"mass": ()}, "without mass"), ({"core": (2.0,) * 6}, "core"),
    ({"nut_compensation": (1.0,)}, "1 given"),
])
def test_lists_that_do_not_go_together_are_refused(change, words):
    with pytest.raises(JobError, match=words):
        checked_strings(replace(SET, **change), 6)


def test_strings_that_would_touch_are_refused():
    with pytest.raises(JobError, match="would touch"):
        string_places((3.0, 3.0, 3.0), 5.0, "centres")


@pytest.mark.parametrize(("clear", "bottom", "told"), [("", 1.0, False), ("clear = 0", 1.2, False),
                                                       ("clear = 0.1", 1.3, True)])
def test_a_zero_fret_carries_the_strings_and_the_nut_behind_it_only_guides(tmp_path, capsys, clear, bottom, told):
    """Fret height 1.2 mm; the slots end no higher, so that the strings touch it (F)."""
    job = dotted_job(tmp_path, ("scale_length = 640.0", "scale_length = 640.0\nzero_fret = true\nbehind_nut = 12.0"),
                     ("[strings]", f"[strings]\n{clear}"), ("margin_nut = 15.0", "margin_nut = 25.0"))
    assert main(["strings", str(tmp_path / "board.toml")]) == 0
    out = capsys.readouterr().out
    data = strung_data(board_of(job), job.strings, job.frets)
    assert [row["slot_bottom"] for row in data["strings"]] == [pytest.approx(bottom)] * len(GAUGES)
    assert ("never touch it" in out, "only guides them" in out) == (told, not told)
    assert [one.where for one in of_strings(job)] == ["[strings] clear"] * told
    nut = next(c for c in nut_and_saddle_clampings(job) if c.kind == "nut blank")
    assert [one.where for one in doubts_of(job, nut)] == ["[strings] clear"] * told


@pytest.mark.parametrize(("gauges", "told"), [((0.25, 0.33, 0.43, 0.66, 0.91, 1.17), True), (GAUGES, False),
                                              ((0.25, 1.17, 0.91, 0.66, 0.43, 0.33), False), ((0.5, 0.6), False),
                                              ((0.28, 0.28, 0.4, 0.4, 0.7, 0.7), True), ((0.5,) * 3, False)])
def test_a_list_of_strings_that_begins_at_the_treble_side_is_told_of(tmp_path, gauges, told):
    """A set with a high string on the bass side, a drone, is none."""
    job = dotted_job(tmp_path)
    object.__setattr__(job.strings, "gauges", gauges)
    assert ["none thinner than the one before" in one.problem for one in of_strings(job)] == [True] * told
