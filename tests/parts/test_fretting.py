"""The fretting sheet against arcs of circles, and against widths worked out by hand."""

import math

import numpy as np
import pytest
import shapely

from pathgen.base.errors import JobError
from pathgen.parts.fingerboard.board import slots
from pathgen.parts.fingerboard.fretting import (
    LOOSE,
    SPLIT,
    CrownTable,
    FretWire,
    TangTable,
    WireSizeTable,
    checked_wire,
    finished_ends,
    fretting,
    wire_faults,
)
from pathgen.parts.fingerboard.rows import fretting_data
from pathgen.report.fretting import fretting_findings, fretting_lines, strip_picture, strips
from tests.boards import fingerboard

PLAIN = {"scale_lengths": (640.0, 640.0), "frets": 12, "nut_width": 42.0, "end_width": 42.0, "past_last_fret": 10.0,
         "thickness": 6.5, "radius": (250.0, 250.0)}


def test_lengths_are_arcs_of_the_board():
    """Machinery's Handbook, 31st ed., p. 83 (circle segments): arc = 2 R asin(chord / 2 R)."""
    sheet = fretting(fingerboard(**PLAIN), None, FretWire(overhang=1.5))
    assert sheet.length == pytest.approx(np.full(12, 2 * 250.0 * math.asin(21.0 / 250.0) + 3.0), abs=1e-5)
    assert np.all(sheet.nipped == 0)
    assert sheet.tang == pytest.approx(sheet.length)
    assert sheet.totals == pytest.approx([1.1 * sheet.length.sum()])
    assert sheet.bend == pytest.approx(np.full(12, 250.0 * 0.85))


def test_the_report_has_micrometres_of_lengths_and_hundredths_of_radii():
    """The radius grows evenly from 250 mm at the nut to 400 mm at the board's end, 330 mm on."""
    board = fingerboard(**PLAIN | {"radius": (250.0, 400.0)})
    for row in fretting_data(board, None, FretWire())["frets"]:
        along = 640.0 * (1 - 2 ** (-row["fret"] / 12))
        assert row["radius"] == round(250.0 + 150.0 * along / 330.0, 2)
        assert row["bend"] == round(0.85 * (250.0 + 150.0 * along / 330.0), 2)
        assert row["length"] == round(row["length"], 3)


@pytest.mark.parametrize("bound", [False, True])
def test_a_tang_is_nipped_at_a_binding_glued_on_or_to_come(bound):
    """Square edges: the binding's thickness, the gap and the overhang go at each end."""
    board = fingerboard(**PLAIN, binding=0.0 if bound else 2.0)
    made = slots(board, width=0.6, depth=2.2, within=2.0 if bound else None)
    sheet = fretting(board, made, FretWire(overhang=1.5, tang_gap=0.5))
    edge = 250.0 * (math.asin(21.0 / 250.0) - math.asin(19.0 / 250.0))
    assert sheet.nipped == pytest.approx(np.full((12, 2), edge + 0.5 + 1.5), abs=1e-5)
    assert sheet.tang == pytest.approx(np.full(12, 2 * (250.0 * math.asin(19.0 / 250.0) - 0.5)), abs=1e-4)


def test_frets_of_a_fan_reach_the_edges_of_the_finished_board():
    board = fingerboard(**(PLAIN | {"scale_lengths": (660.0, 630.0), "end_width": 58.0}), straight_fret=7, binding=1.5)
    sheet = fretting(board, slots(board, width=0.6, depth=2.2), FretWire(overhang=0.0, tang_gap=0.0))
    lines = board.layout.lines[1:]
    wide = [board.layout.edges.crossings(lines, side) for side in (-1, 1)]
    chord = np.linalg.norm(wide[1] - wide[0], axis=1)
    assert np.all(sheet.length > chord)
    assert np.all(sheet.length < chord * 1.01)
    # the curve along a slant is flatter than the one square across
    run = wide[1] - wide[0]
    assert sheet.radius == pytest.approx(250.0 * (np.linalg.norm(run, axis=1) / run[:, 1]) ** 2)
    ends = board.frets.ends
    assert sheet.nipped.sum(axis=1) == pytest.approx(
        chord - np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1), rel=0.01)


@pytest.mark.parametrize(("width", "depth", "word"), [
    (0.45, 2.2, "splits"), (0.68, 2.2, "does not hold"), (0.58, 1.6, "does not go down"),
])
def test_slots_that_do_not_suit_the_wire_are_told_of(width, depth, word):
    """M, common practice: tang about 0.5, studs 0.6 to 0.8, slots 0.56 to 0.61 wide and 1.9 to 2.2 deep hold."""
    board, wire = fingerboard(**PLAIN), FretWire(tang=TangTable(width=0.5, depth=1.6, studs=0.7))
    faults = list(wire_faults(wire, slots(board, width=width, depth=depth)))
    assert len(faults) == 1
    assert word in faults[0][1]
    assert not list(wire_faults(wire, slots(board, width=0.56, depth=1.9)))
    assert not list(wire_faults(wire, slots(board, width=0.61, depth=2.2)))


def test_a_slot_just_as_wide_and_deep_as_is_allowed_suits_its_wire():
    board = fingerboard(**PLAIN)
    for tang in (0.5, 0.55, 0.6):
        for deep in (1.5, 1.6, 1.7):
            wire = FretWire(tang=TangTable(width=tang, depth=deep, studs=tang + 0.2))
            low, high = round(tang - SPLIT, 6), round(tang + 0.2 - LOOSE, 6)
            for width, off in ((low, -0.01), (high, 0.01)):
                depth = round(deep + 0.1, 6)
                assert not list(wire_faults(wire, slots(board, width=width, depth=depth)))
                assert len(list(wire_faults(wire, slots(board, width=width + off, depth=depth - 0.01)))) == 2


def test_several_wires_have_their_own_totals_and_faults():
    wire = FretWire(sizes=(WireSizeTable(frets=(9, 12), tang=TangTable(width=0.6, depth=1.9, studs=0.8),
                                    crown=CrownTable(width=2.8, height=1.4)),), waste=0.1, overhang=1.5)
    board = fingerboard(**PLAIN)
    data = fretting_data(board, slots(board, width=0.56, depth=1.9), wire)
    each = 2 * 250.0 * math.asin(21.0 / 250.0) + 3.0  # as above
    assert [one["total"] for one in data["wires"]] == pytest.approx([8 * 1.1 * each, 4 * 1.1 * each], abs=0.1)
    assert data["total"] == pytest.approx(12 * 1.1 * each, abs=0.1)
    assert [f["size"] for f in data["frets"]] == [0] * 8 + [1] * 4
    assert data["wires"][1]["crown_height"] == 1.4
    # 0.56 wide is 0.04 less than the second tang, 1.9 deep as deep as it; both suit the first
    assert [(f["where"], f["got"].split(":")[0]) for f in data["faults"]] == [
        ("[frets] sizes 1 tang", "a slot of 0.56 mm splits the board"),
        ("[frets] sizes 1 tang", "a slot 1.9 mm deep for a tang of 1.9 mm")]
    assert [f.code for f in fretting_findings(data)] == ["fret-wire", "fret-wire"]
    assert not fretting_findings(data | {"faults": []})
    text = "\n".join(fretting_lines(data, "mm"))
    assert "Wire A for 8 frets (1 to 8): crown 2.4 mm wide and 1.2 mm high" in text
    assert "Wire B for 4 frets (9 to 12): crown 2.8 mm wide and 1.4 mm high" in text


@pytest.mark.parametrize(("sizes", "words"), [
    ([(9, 13)], r"sizes 1 frets: 9 to 13 \(allowed: two of 1 to 12, rising\)"), ([(5, 4)], "5 to 4"),
    ([(1, 4), (4, 6)], "sizes 2 frets: fret 4 is in size 1 too"),
])
def test_sizes_that_do_not_go_with_the_frets_are_refused(sizes, words):
    with pytest.raises(JobError, match=words):
        checked_wire(FretWire(sizes=tuple(WireSizeTable(frets=one) for one in sizes)), 1, 12)


def test_the_strip_is_at_true_size():
    board = fingerboard(**PLAIN)
    data = fretting_data(board, None, FretWire())
    picture = strip_picture(data)
    _, _, wide, high = (float(v) for v in picture.get("viewBox").split())
    assert picture.get("width") == f"{wide:g}mm"
    assert picture.get("height") == f"{high:g}mm"
    first = next(p.get("d") for p in picture.iter("path"))
    runs = [float(pair.split(",")[0]) for pair in first.split("l")[1].split()]
    assert max(np.cumsum(runs)) == pytest.approx(data["frets"][0]["length"], abs=0.01)


@pytest.mark.parametrize("frets", [6, 30, 36])
def test_each_strip_fits_a4_and_letter_and_has_a_bar(frets):
    """P: A4 is 210 by 297 mm (ISO 216), Letter 215.9 by 279.4; less margins of 12 mm, on paper with words under it."""
    row = {"length": 60.0, "tang": 52.0, "nipped": [4.0, 4.0]}
    shown = strips({"frets": [row | {"fret": n} for n in range(1, frets + 1)]}, "mm")
    assert [text.text for one in shown for text in one.iter("text") if text.text.isdigit()] == [
        str(n) for n in range(1, frets + 1)]
    for one in shown:
        assert float(one.get("width")[:-2]) <= 186.0
        assert float(one.get("height")[:-2]) <= 255.4 - 24.0
        assert "50 mm: measure it on the print" in [text.text for text in one.iter("text")]
    assert strips({"frets": [row | {"fret": 1, "length": 166.0}]}, "mm") == []


def test_studs_narrower_than_the_tang_are_refused():
    with pytest.raises(JobError, match=r"\[frets\] tang: 0.4 mm over its studs, and 0.5 mm wide"):
        checked_wire(FretWire(tang=TangTable(width=0.5, studs=0.4)), 1, 12)
    with pytest.raises(JobError, match=r"\[frets\] sizes 2 tang"):
        checked_wire(FretWire(sizes=(WireSizeTable(frets=(1, 2)),
                                     WireSizeTable(frets=(3, 4), tang=TangTable(width=0.5, studs=0.4)))), 1, 12)
    checked_wire(FretWire(tang=TangTable(width=0.5, studs=0.5)), 1, 12)


def test_slots_through_a_drawn_outline_need_no_nip():
    """Of a fan, wider than its numbers say: its slots run on past the edges, by half their width along the slant."""
    outline = shapely.Polygon([(-14, -24), (345, -34), (345, 34), (-14, 24)])
    board = fingerboard(**(PLAIN | {"scale_lengths": (660.0, 630.0), "end_width": 58.0}), straight_fret=7,
                        outline=outline)
    assert np.all(fretting(board, slots(board, width=0.6, depth=2.2), FretWire()).nipped == 0)
    blind = fretting(board, slots(board, width=0.6, depth=2.2, short=2.0), FretWire(overhang=1.5, tang_gap=0.5))
    assert np.all(np.abs(blind.nipped - 4.0) < 0.1)
    bound = fingerboard(**(PLAIN | {"scale_lengths": (660.0, 630.0), "end_width": 58.0}), straight_fret=7,
                        outline=outline, binding=2.0)
    ends = shapely.points(finished_ends(bound))
    assert shapely.distance(ends, bound.finished.exterior).max() < 1e-9
    assert np.all(fretting(bound, slots(bound, width=0.6, depth=2.2), FretWire()).nipped > 4.4)
