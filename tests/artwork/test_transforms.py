"""Maps of points by hand, after SVG 1.1, 7.6: a point (x, y) goes to (a x + c y + e, b x + d y + f)."""

import math

import pytest

from pathgen.artwork.transforms import is_singular, largest_scale, parse_transform

S3 = math.sqrt(3.0)


@pytest.mark.parametrize(("text", "point", "goes_to"), [
    ("none", (3, 4), (3, 4)),
    ("matrix(1 2 3 4 5 6)", (10, 100), (315, 426)),
    ("translate(3)", (1, 1), (4, 1)),
    ("translate(3, 4)", (1, 1), (4, 5)),
    ("scale(2)", (3, 4), (6, 8)),
    ("scale(2 -3)", (3, 4), (6, -12)),
    ("rotate(90)", (3, 4), (-4, 3)),
    ("rotate(-90)", (3, 4), (4, -3)),
    ("rotate(540)", (3, 4), (-3, -4)),
    ("rotate(30)", (2, 0), (S3, 1)),
    ("rotate(90 10 20)", (11, 20), (10, 21)),
    ("rotate(30, 10, 20)", (12, 20), (10 + S3, 21)),
    ("skewX(45)", (3, 4), (7, 4)),
    ("skewY(45)", (3, 4), (3, 7)),
    ("translateX(3)translateY(4)", (1, 1), (4, 5)),
    ("scaleX(3), scaleY(4)", (1, 1), (3, 4)),
    ("translate(10 0) scale(2)", (1, 1), (12, 2)),  # the last one first
])
def test_where_a_point_goes(text, point, goes_to):
    a, b, c, d, e, f = parse_transform(text, units=False)
    x, y = point
    assert (a * x + c * y + e, b * x + d * y + f) == pytest.approx(goes_to, abs=1e-12)


@pytest.mark.parametrize("text", ["rotate(90deg)", "rotate(100grad)", "rotate(.25turn)", "rotate(1.570796326795rad)"])
def test_units_are_for_style_sheets(text):
    assert parse_transform(text, units=True) == pytest.approx((0, 1, -1, 0, 0, 0), abs=1e-12)
    with pytest.raises(ValueError):
        parse_transform(text, units=False)


@pytest.mark.parametrize(("text", "words"), [
    ("rotate(1 2)", "rotate with 2 numbers, allowed 1 or 3"), ("matrix(1 2 3)", "matrix with 3 numbers"),
    ("scale(1 2 3)", "scale with 3"), ("translate()", "with 0 numbers"), ("skewX(1 2)", "skewX with 2"),
    ("scale(2) turn(3)", r"'turn\(3\)' at character 10"),
])
def test_what_is_no_transform(text, words):
    with pytest.raises(ValueError, match=words):
        parse_transform(text, units=False)


def test_scale_and_flatness():
    assert largest_scale((3.0, 0.0, 0.0, 2.0, 9.0, 9.0)) == pytest.approx(3.0)
    assert largest_scale(parse_transform("rotate(30) scale(2 5)", units=False)) == pytest.approx(5.0)
    assert largest_scale(parse_transform("skewX(45)", units=False)) == pytest.approx((1 + math.sqrt(5)) / 2)
    assert is_singular((1.0, 2.0, 2.0, 4.0, 0.0, 0.0))
    assert is_singular((0.0, 0.0, 0.0, 0.0, 3.0, 4.0))
    assert not is_singular((1e200, 0.0, 0.0, 1e200, 0.0, 0.0))
    assert not is_singular((1e-9, 0.0, 0.0, 1e-9, 0.0, 0.0))
