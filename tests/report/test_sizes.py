"""What the page and the report say of how large and how thick things become."""

from dataclasses import replace

from pathgen.report.sheet.page import board_words, size_lines


def test_the_page_says_how_large_the_drawing_became(built):
    # 2 to 52 mm along, 3 to 17 mm across, placed as drawn
    assert built.report["inlays"][0]["placed"] == [{"width": 50.0, "height": 14.0, "share_of_drawn": 1.0}]
    assert size_lines(built.report, "mm") == ["Inlay 1, placed 50 mm by 14 mm, as drawn."]
    assert "placed 50 mm by 14 mm, as drawn" in built.files()["setup.html"]


def test_the_page_says_both_thicknesses_where_the_second_cut_goes_deeper(built):
    clamping = built.plan.clamping
    assert "6 mm thick," in board_words(clamping)
    deeper = replace(clamping, surfacing=replace(clamping.surfacing, skim=0.3))
    assert "6 mm thick as first cut, 5.7 mm when finished," in board_words(deeper)
