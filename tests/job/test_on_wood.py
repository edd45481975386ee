"""Slots, crowns and the nut face where the board has no wood: hollow ends that are stated are refused, gaps of a drawn
outline are told. And holes where the outline's cutter goes."""

import math
import re

import pytest

import pathgen
from pathgen.job.clamping import planned_of
from pathgen.job.doubts import doubts_of
from pathgen.parts.fingerboard.scale import fret_distances
from tests import small_board
from tests.job.test_remedies_that_work import told

FRETS = "frets = 5"
NUT = '[nut]\ncutter = "flat"\nwidth = 3.0\ndepth = 1.5\n'
ROOM = {"length = 125.0": "length = 150.0", "margin_nut = 20.0": "margin_nut = 30.0", "width = 66.0": "width = 70.0"}
WAY_OUT = {"plunge = 300.0\nstepdown = 1.6": "plunge = 300.0\nstepdown = 1.6\nflute_length = 12.0"}
DRAWN = '[outline]\ncutter = "flat"\nartwork = "outline.svg"\nplace = { at = [45.0, 0.0] }\ntabs = 2\n'


def said(folder, more="", extra=small_board.SLOTS):
    return told(folder, changes={FRETS: f"{FRETS}\n{more}", **ROOM, **WAY_OUT}, extra=extra)


def chord(rise, width, off):
    """D: how wide a hollow of a circle's arc is `off` mm from the straight end that it is sunk into."""
    radius = (width**2 / 4 + rise**2) / (2 * rise)
    return 2 * math.sqrt(radius**2 - (radius - rise + off) ** 2)


def test_a_fret_across_the_hollow_of_the_end_is_refused(tmp_path):
    """Its slot, 10 mm before the end, is 0.6 mm wide: to 9.7 mm."""
    words = said(tmp_path, "end = { rise = -12.0 }")
    bare = re.search(r"\[board\] end rise: the slot of fret 5 crosses a gap: ([\d.]+) mm of its ([\d.]+) mm", words)
    assert float(bare[1]) == pytest.approx(chord(12.0, 46.0, 9.7), abs=0.06)
    x = fret_distances(300.0, 5)[-1]
    assert float(bare[2]) == pytest.approx(40.0 + 6.0 * x / (x + 10.0), abs=0.06)


@pytest.mark.parametrize(("shape", "extra", "what"), [
    ("behind_nut = 4.0\nzero_fret = true\nnut_end = { rise = -6.0 }", "", "nut_end rise: the slot of the zero fret"),
    ("behind_nut = 4.0\nnut_end = { rise = -2.0 }", NUT, "nut_end rise: the nut's slot"),
    ("behind_nut = 4.0\nnut_end = { rise = -5.0 }", NUT.replace("width = 3.0\n", ""), "the nut's shelf"),
    ("end = { rise = -9.8 }", "", "end rise: the slot of fret 5"),
    ("end = { steps = [[-10.0, -14.0], [10.0, 0.0]] }", "", "end steps: the slot of fret 5"),
    ("end = { rise = -21.0 }\npast_last_fret = 4.0", "", "end rise: the slot of fret 5 crosses"),
    ("end = { rise = -12.0 }\npartial_frets = [{ fret = 5, across = [-5.0, 5.0] }]", "", "the slot of fret 5"),
], ids=["zero fret", "nut", "shelf", "one wall", "steps", "several", "partial in the gap"])
def test_what_is_told_to_write_puts_all_slots_on_wood(tmp_path, shape, extra, what):
    extra = extra or small_board.SLOTS
    words = said(tmp_path, shape, extra)
    assert what in words
    key, value = re.search(r"make (\w+) ([\d.]+) mm or more", words).groups()
    assert said(tmp_path, re.sub(rf"{key} = [\d.]+\n?", "", shape) + f"\n{key} = {value}", extra) == ""
    if rise := re.search(r"rise from (-[\d.]+) mm up", words):
        assert said(tmp_path, re.sub(r"rise = -[\d.]+", f"rise = {rise[1]}", shape), extra) == ""


@pytest.mark.parametrize("shape", [
    "end = { rise = -8.5 }", "end = { corner_radius = 12.0 }", "end = { rise = 8.0 }",
    "end = { rise = -12.0 }\npartial_frets = [{ fret = 5, across = [16.0, 40.0] }]",
    "end = { steps = [[0.0, -14.0]] }", "behind_nut = 4.0\nnut_end = { rise = -3.0 }",
])
def test_slots_that_lie_on_wood_are_not_refused(tmp_path, shape):
    assert said(tmp_path, shape) == ""


def test_a_hollow_takes_nothing_from_a_board_without_slots(tmp_path):
    assert said(tmp_path, "end = { rise = -12.0 }", "") == ""


def test_a_notch_of_a_drawn_end_is_told(tmp_path):
    """From 70 mm on there is no wood in 22 mm of the width, and fret 5 lies at 75.25 mm."""
    (tmp_path / "outline.svg").write_text(
        small_board.svg('<path d="M-45,-22H45V-11H25V11H45V22H-45Z"/>', 90, 48, corner="-45 -24"))
    words = said(tmp_path, "", small_board.SLOTS + DRAWN)
    assert "the slot of fret 5 crosses a gap: 22 mm of its 44 mm has no wood" in words
    assert "partial_frets" in words
    stops = "partial_frets = [{ fret = 5, across = [12.0, 60.0] }]"
    assert "crosses a gap" not in said(tmp_path, stops, small_board.SLOTS + DRAWN)


@pytest.mark.parametrize(("shape", "where"), [
    ("nut_end = { rise = -3.0 }", "[board] nut_end rise"),
    ("behind_nut = 2.0\nnut_end = { rise = -3.0 }", "nut_end rise"),
    ("nut_end = { steps = [[0.0, -2.0]] }", "[board] nut_end steps"),
])
def test_a_nut_face_without_wood_is_told(tmp_path, shape, where):
    words = said(tmp_path, shape)
    assert where in words
    assert "of the nut face, 40 mm wide, has no wood" in words


@pytest.mark.parametrize("shape", ["behind_nut = 3.0\nnut_end = { rise = -3.0 }", "nut_end = { corner_radius = 3.0 }",
                                   "nut_end = { rise = 3.0 }", "left_handed = true"])
def test_a_nut_face_on_wood_is_not_told(tmp_path, shape):
    assert said(tmp_path, shape) == ""


def test_a_drawn_board_that_begins_past_its_nut_face_is_told(tmp_path):
    """Its drawing begins 1 mm from the page's edge, and the page's middle, 45 mm from that, is put at 45 or at 44."""
    (tmp_path / "outline.svg").write_text(small_board.svg('<path d="M-44,-22H45V22H-44Z"/>', 90, 48, corner="-45 -24"))
    assert "40 mm of the nut face" in said(tmp_path, "", small_board.SLOTS + DRAWN)
    assert "nut face" not in said(tmp_path, "", small_board.SLOTS + DRAWN.replace("45.0, 0.0", "44.0, 0.0"))


@pytest.mark.parametrize("more", ["", '[channel]\ncutter = "flat"\nalong = [10.0, 62.0]\ndepth = 1.5\n'])
def test_a_hole_in_the_way_of_the_outlines_cutter_is_told(tmp_path, more):
    """A hole of 4 mm, 3.5 mm before the nut face: the cutter of 2 mm comes to 1.5 mm of its middle."""
    holes = '[holes]\ncutter = "flat"\ndiameter = 3.9\nthrough = 3.0\nat = [[-3.5, 0.0], [98.0, 0.0]]\n'
    cut = more + '[outline]\ncutter = "flat"\n'
    words = said(tmp_path, "", holes + cut)
    assert words.startswith("[holes] at 1: the outline's cutter would cut into the dowel at -3.5 mm" if more else
                            "Doubt(where='[holes] at 1', problem=\"the outline's cutter would cut into the hole, and")
    least = re.search(r"allowed\W+([\d.]+) mm or more", words)[1]
    assert float(least) == 2.0 + 1.95
    assert "[holes] at" not in said(tmp_path, "", holes.replace("-3.5", f"-{least}") + cut)
    assert "[holes] at" not in said(tmp_path, "", holes + more)


@pytest.mark.parametrize(("shape", "along"), [
    ("past_last_fret = 1.0", "45.9 mm"),  # D: 40 + 6 (75.25 / 76.25)
    # D: the crown's far wall, 1.2 mm past the fret, lies 8.8 mm before the straight end of 46 mm
    ("end = { rise = -9.5 }", f"{chord(9.5, 46.0, 8.8):.1f} mm"),
])
def test_a_crown_longer_than_the_wood_is_told(tmp_path, shape, along):
    """Of the usual width a note, of the wire that is stated a warning."""
    wire = small_board.SLOTS + "[frets]\ncrown = { width = 2.4, height = 1.2 }\n"
    assert f"its crown, 2.4 mm wide, stands out over it along {along}" in said(tmp_path, shape, wire)
    assert "crown" not in said(tmp_path, shape)
    narrow = wire.replace("2.4", "0.6" if "rise" in shape else "1.9")
    assert "crown" not in said(tmp_path, shape, narrow)
    job = pathgen.load_job(small_board.job(tmp_path, changes={FRETS: f"{FRETS}\n{shape}", **ROOM},
                                           extra=small_board.SLOTS))
    note = next(one for one in doubts_of(job, planned_of(job).clamping) if "crown" in one.problem)
    assert not note.grave
    assert f"2.4 mm wide as is usual, stands out over it along {along}" in note.problem


@pytest.mark.parametrize("hand", ["", "left_handed = true\n"])
def test_a_partial_fret_past_both_edges_is_told(tmp_path, hand):
    words = said(tmp_path, hand + "partial_frets = [{ fret = 3, across = [-60.0, 60.0] }]")
    assert re.search(r"partial_frets 1 across.*fret 3 reaches past both edges, -2\d.\d mm and 2\d.\d mm", words)
    assert said(tmp_path, hand + "partial_frets = [{ fret = 3, across = [-60.0, 6.0] }]") == ""
