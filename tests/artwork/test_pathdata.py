"""Path data: what is wrong is said with its place, and never repaired."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from svgpathtools import parse_path

from pathgen.artwork.pathdata import read_path
from pathgen.base.errors import ArtworkError


@pytest.mark.parametrize(("d", "place", "words"), [
    ("M0 0 L\u22125 5", 7, "U+2212"),
    ("M0 0 L1e400 5", 7, "too large"),
    ("M0 0 L50% 5", 9, "%"),
    ("M0 0 L2mm 5", 8, "mm"),
    ("M0 0 L5", 8, "2 numbers"),
    ("M0 0 L5 5 6", 11, "left over"),
    ("M0 0 L5 5 x", 11, "x"),
    ("L5 5", 1, "begins with m"),
    ("M0 0 A5 5 0 2 1 9 9", 13, "7 numbers"),
    ("M0 0,,5 5", 5, ",,5"),
    ("M0 0 C1 1 2 2 3", 16, "6 numbers"),
    ("M0 0 L5 5,", 10, ","),
    ("M", 2, "2 numbers"),
    ("M0 0 L nan 5", 8, "nan"),
])
def test_faults_give_their_place(d: str, place: int, words: str) -> None:
    with pytest.raises(ArtworkError, match=rf"character {place}\b.*({words.replace('+', '[+]')})"):
        read_path(d, where="path 'leaf'")


@pytest.mark.parametrize("d", ["", "  ", "none", "M5 5", "M5 5 M6 6"])
def test_nothing_to_draw(d: str) -> None:
    assert len(read_path(d, where="")) == 0


NUMBER = st.floats(-99, 99, allow_nan=False).map(lambda v: f"{v:.3f}")
SHAPES = {letter: count for pair, count in (("Ll", 2), ("Hh", 1), ("Vv", 1), ("Cc", 6), ("Ss", 4), ("Qq", 4), ("Tt", 2))
          for letter in pair}


@st.composite
def path_data(draw: st.DrawFn) -> str:
    """Valid data of moves, lines and Bezier pieces."""
    parts = [f"M{draw(NUMBER)},{draw(NUMBER)}"]
    for letter in draw(st.lists(st.sampled_from([*SHAPES, "m", "z"]), max_size=12)):
        count = {"m": 2, "z": 0}.get(letter) or SHAPES.get(letter, 0)
        parts.append(letter + " ".join(draw(NUMBER) for _ in range(count)))
    return " ".join(parts)


@given(path_data())
@settings(max_examples=150, deadline=None)
def test_pieces_agree_with_svgpathtools(d: str) -> None:
    # outside reference: svgpathtools on valid data without arcs, which it reads rightly
    expected = [piece for piece in parse_path(d) if piece.start != piece.end or len(piece.bpoints()) > 2]
    found = read_path(d, where="")
    points = found.points[(found.points[:, 0] != found.points[:, 3]).any(axis=1) | ~found.straight]
    assert len(points) == len(expected)
    for row, piece in zip(points, expected, strict=True):
        assert complex(*row[0]) == pytest.approx(piece.start, abs=1e-9)
        assert complex(*row[3]) == pytest.approx(piece.end, abs=1e-9)
        middle = np.array([0.125, 0.375, 0.375, 0.125]) @ row
        assert complex(*middle) == pytest.approx(piece.point(0.5), abs=1e-9)


@given(
    st.floats(1, 90), st.floats(1, 90), st.floats(-180, 180), st.booleans(), st.booleans(),
    st.floats(-50, 50), st.floats(0.5, 50),
)
@settings(max_examples=200, deadline=None)
def test_arc_points_lie_on_the_ellipse_of_the_standard(  # type: ignore[no-untyped-def]
    rx, ry, turn, large, sweep, x, y,
) -> None:
    # P, SVG 1.1, F.6.5: the centre formulas, written out here anew
    points = read_path(f"M0 0A{rx} {ry} {turn} {large:d} {sweep:d} {x} {y}", where="").points
    cos, sin = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    x1, y1 = (cos * -x / 2 + sin * -y / 2), (-sin * -x / 2 + cos * -y / 2)
    size = (x1 / rx) ** 2 + (y1 / ry) ** 2
    if size > 1:
        rx, ry = rx * np.sqrt(size), ry * np.sqrt(size)
    rest = max(0.0, (rx * ry) ** 2 - (rx * y1) ** 2 - (ry * x1) ** 2) / ((rx * y1) ** 2 + (ry * x1) ** 2)
    sign = 1 if large != sweep else -1
    cx, cy = sign * np.sqrt(rest) * rx * y1 / ry, -sign * np.sqrt(rest) * ry * x1 / rx
    centre = np.array([cos * cx - sin * cy + x / 2, sin * cx + cos * cy + y / 2])
    local = (points[:, [0, 3]] - centre) @ np.array([[cos, -sin], [sin, cos]])
    assert np.hypot(local[..., 0] / rx, local[..., 1] / ry) == pytest.approx(1.0, abs=1e-5)
    assert complex(*points[-1, 3]) == complex(x, y)


@pytest.mark.parametrize("d", [
    "M1 2C3 4 5 6 7 8C-1 .5 .25 10 -3 4L5 6z", "M1,2C3,4,5,6,7,8-1,.5,.25,10-3,4L5,6z",
    "M1 2C3 4 5 6 7 8-1 5e-1.25 1E1-3 4L5 6z",
    "m1 2c2 2 4 4 6 6-8-7.5-6.75 2-10-4l8 2z", "M1+2c+2 2 4 4 6 6c-8-7.5-6.75 2e+0 -10-4l8 2z",
])
def test_numbers_however_they_are_set_apart(d: str) -> None:
    # P, SVG 1.1, section 8.3.9: separators may be left out where a sign or a second point begins a number
    expected = [[(1, 2), (3, 4), (5, 6), (7, 8)], [(7, 8), (-1, .5), (.25, 10), (-3, 4)]]
    curves = read_path(d, where="")
    assert curves.points[:2] == pytest.approx(np.array(expected))
    assert curves.points[2:, -1] == pytest.approx(np.array([(5, 6), (1, 2)]))


@pytest.mark.parametrize("d", ["M1 2 4 2 4 6z", "m1 2 3 0 0 4z", "M1 2l3 0 0 4z", "M0 0m1 2 3 0L4 6z", "M1,2,4,2V6z"])
def test_pairs_after_a_move_are_lines_of_its_kind(d):
    """P: SVG 1.1, section 8.3.2: relative after m, absolute after M."""
    curves = read_path(d, where="p")
    last = curves.points[-3:, :, :] if curves.points.ndim == 3 else curves.points
    assert last[:, 0].tolist() == [[1, 2], [4, 2], [4, 6]]
    assert last[:, 3].tolist() == [[4, 2], [4, 6], [1, 2]]
