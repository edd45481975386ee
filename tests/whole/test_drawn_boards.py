"""Boards with a drawn outline, built and verified: what stands where the outline turns inward."""

import pytest
import shapely

from pathgen.work.operations import NutSlot
from tests import small_board

OUTLINE = """[outline]
cutter = "flat"
artwork = "outline.svg"
place = { at = [45.0, 0.0] }
tabs = 2
"""
LONGER = {"plunge = 300.0\nstepdown = 1.6": "plunge = 300.0\nstepdown = 1.6\nflute_length = 12.0"}


@pytest.mark.in_every_run(0)
def test_a_fret_across_a_notch_in_the_boards_end_meets_no_raw_stock(tmp_path):
    """Fret 5, 75.25 mm from the nut, lies on both sides of a notch that begins 70 mm from it, 22 mm wide."""
    (tmp_path / "outline.svg").write_text(
        small_board.svg('<path d="M-45,-22H45V-11H25V11H45V22H-45Z"/>', 90, 48, corner="-45 -24"))
    result = small_board.built(tmp_path, changes=LONGER, extra=small_board.SLOTS + OUTLINE, resolution=0.2)
    findings = [f.got for f in result.verification.findings if f.severity == "forbid"]
    assert findings == []
    board = result.plan.clamping.board
    assert not board.outline.contains(shapely.Point(board.frets.distance[-1], 0.0))


@pytest.mark.in_every_run(1)
def test_a_nut_slot_across_a_notch_in_the_nut_end_meets_no_raw_stock(tmp_path):
    """The slot lies 2 mm behind the nut face, and the notch between its halves goes 5 mm past it: 22 mm wide."""
    (tmp_path / "outline.svg").write_text(
        small_board.svg('<path d="M-51,-22H45V22H-51V11H-40V-11H-51Z"/>', 96, 48, corner="-51 -24"))
    nut = '[nut]\ncutter = "flat"\nwidth = 4.0\ndepth = 1.5\n'
    result = small_board.built(tmp_path, changes=LONGER, extra=nut + OUTLINE.replace("45.0", "42.0"), resolution=0.2)
    assert result.passed
    clamping, surfaced = result.plan.clamping, result.plan.around.surfaced
    slot = shapely.LineString(clamping.feature(NutSlot).lines[0]).buffer(2.0, cap_style="flat")
    assert not clamping.board.outline.covers(slot)
    assert surfaced.covers(slot)


@pytest.mark.in_every_run(0)
def test_a_nut_shelf_over_a_hollow_end_meets_no_raw_stock(tmp_path):
    """In the middle the end lies 2 mm further in, and a ball of 4 mm left 1.85 mm standing there."""
    hollow = {"frets = 5": "frets = 5\nbehind_nut = 8.0\nnut_end = { rise = -2.0 }", "margin_nut = 20.0":
              "margin_nut = 26.0", "length = 125.0": "length = 132.0", "diameter = 12.7": "diameter = 4.0",
              "stepdown = 1.6": "stepdown = 0.4"}
    result = small_board.built(tmp_path, changes=hollow, extra='[nut]\ncutter = "flat"\ndepth = 1.5\n', resolution=0.2)
    assert [f.got for f in result.verification.findings if f.severity == "forbid"] == []
