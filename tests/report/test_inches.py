"""A job in inches is told in inches: no metric length, area or height of a ridge on its page or in its texts."""

import re
from pathlib import Path

import pytest

import pathgen
from pathgen.app.choosing import choice_lines, compare
from pathgen.base.units import area_words, tiny_length, way_length

INCHES = Path(__file__).parents[2] / "examples" / "boards" / "inches.toml"


@pytest.fixture(scope="module")
def built():
    return pathgen.build(pathgen.load_job(INCHES), resolution=0.25)


def test_no_metric_words(built):
    files = built.files(shaded=False)
    page = re.sub(r"<style>.*?</style>|<[^>]*>", " ", files["setup.html"], flags=re.S)
    choices = "\n".join(choice_lines(compare(built.job), "in"))
    for words in (files["report.txt"], page, choices):
        assert " in" in words
        assert not re.findall(r"[^\n]{0,40}\d (?:mm|mm2|um|µm|m|cm)\b[^\n]{0,20}", words)


def test_the_same_lengths():
    # an inch is 25.4 mm, exact (international yard and pound agreement, 1959)
    assert (tiny_length(0.0254, "in"), tiny_length(0.0254)) == ("0.00100 in", "25.4 um")
    assert (area_words(645.16, "in"), area_words(6.0)) == ("1.00000 sq in", "6.00 mm2")
    assert (way_length(304.8, "in"), way_length(1200.0)) == ("1.0 ft", "1.2 m")
