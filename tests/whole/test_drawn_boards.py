"""Boards with a drawn outline, built and verified: what stands where the outline turns inward."""

import shapely

from tests import small_board

OUTLINE = """[outline]
cutter = "flat"
artwork = "outline.svg"
place = { at = [45.0, 0.0] }
tabs = 2
"""
LONGER = {"plunge = 300.0\nstepdown = 1.6": "plunge = 300.0\nstepdown = 1.6\nflute_length = 12.0"}


def test_a_fret_across_a_notch_in_the_boards_end_meets_no_raw_stock(tmp_path):
    """Fret 5, 75.25 mm from the nut, lies on both sides of a notch that begins 70 mm from it, 22 mm wide."""
    (tmp_path / "outline.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="90mm" height="48mm" viewBox="-45 -24 90 48">'
        '<path d="M-45,-22H45V-11H25V11H45V22H-45Z"/></svg>')
    result = small_board.built(tmp_path, changes=LONGER, extra=small_board.SLOTS + OUTLINE, resolution=0.2)
    findings = [f.got for f in result.verification.findings if f.severity == "forbid"]
    assert findings == []
    board = result.plan.clamping.board
    assert not board.outline.contains(shapely.Point(board.frets.distance[-1], 0.0))
