"""Lengths as makers write them."""

import math

import pytest

from pathgen.base.units import INCH, format_length, in_mm, parse_length, volume_words, written_alike


@pytest.mark.parametrize(("text", "mm"), [
    ("648 mm", 648.0), ("1/4 in", 6.35), ("25 1/2 in", 647.7), ("25-1/2 in", 647.7),
    ("25.5 in", 647.7), ('3/16"', 4.7625), ("2 cm", 20.0),
    (" .5 in ", 12.7), ("-1/8 in", -3.175), ("23/1000 inch", 0.5842),
])
def test_written_lengths(text, mm):
    # 25.4 mm to the inch is exact: international yard and pound agreement, 1959
    assert parse_length(text) == pytest.approx(mm, abs=1e-12)


def test_a_length_is_one_number_whichever_unit_it_is_written_in():
    """Else a cutter plunging 6 in per minute is not the one plunging 152.4 mm per minute of another part."""
    assert 6 * 25.4 != 152.4 == parse_length("6 in") == in_mm(6, "in")
    assert in_mm(8 / 25.4, "in") == parse_length("8 mm") == 8.0
    assert written_alike(parse_length("0.315 in"), 8.0)
    assert not written_alike(8.0, 8.002)


@pytest.mark.parametrize("text", ["6.35", "", "mm", "1/0 in", "1e3 mm", "nan mm", "6,35 mm", "1 2 mm", "6 yd", "−5 mm"])
def test_what_is_not_a_length_is_refused(text):
    with pytest.raises(ValueError):
        parse_length(text)


def test_in_words():
    assert format_length(0.6) == "0.6 mm"
    assert format_length(25.4, "in") == "1 in"
    assert format_length(INCH / 8, "in") == "0.125 in"
    assert [format_length(INCH / n, "in") for n in (32, 64)] == ["0.03125 in", "0.015625 in"], "a cutter's name"
    assert format_length(3.0, "in") == "0.1181 in"
    assert format_length(math.inf, "in") == "inf in"
    assert format_length(-0.00001) == "0 mm"
    assert format_length(100.0) == "100 mm"


def test_a_speck_of_colour_is_told_to_hold_something():
    assert [volume_words(mm3) for mm3 in (0.0, 0.2, 4.99, 5.01, 1552.0)] == [
        "0.00 ml", "under 0.01 ml", "under 0.01 ml", "0.01 ml", "1.55 ml"]
