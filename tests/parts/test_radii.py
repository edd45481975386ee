"""Compound radii as makers state them."""


import numpy as np
import pytest
from mpmath import mp, mpf

from pathgen.base.errors import JobError
from pathgen.job.bench import _radii
from pathgen.parts.fingerboard.numbers import TwoRadii
from pathgen.parts.fingerboard.rows import string_rows
from pathgen.parts.fingerboard.top import bow_under, string_lines
from tests.boards import fingerboard

NUMBERS = {
    "scale_lengths": (648.0, 648.0), "frets": 22, "nut_width": 43.0, "end_width": 57.0, "past_last_fret": 9.0,
    "thickness": 6.5,
}


def board(radius, **changes):
    return fingerboard(**{**NUMBERS, **changes, "radius": radius})


def test_following_the_strings_is_the_published_cone():
    part = board(TwoRadii(nut=254.0, follow="strings"))
    strings = part.layout.strings
    # R(x) = Rn (1 + x (Sf - Sn) / (Df Sn)): P, "The Conical Fretboard", American Lutherie 30
    spread_nut, spread_far, far = 2 * strings.at_nut, 2 * (strings.at_nut + 400.0 * strings.slope), 400.0
    for x in (0.0, 150.0, part.length):
        wanted = 254.0 * (1 + x * (spread_far - spread_nut) / (far * spread_nut))
        assert float(part.surface.radius(x)) == pytest.approx(wanted, rel=1e-12)
    assert -254.0 / part.surface.taper == pytest.approx(-far * spread_nut / (spread_far - spread_nut), rel=1e-12)


def test_lines_through_the_apex_are_straight_in_50_digits():
    part = board(TwoRadii(nut=254.0, follow="strings"))
    apex = -254.0 / part.surface.taper
    mp.dps = 50
    for share in (0.2, 0.6, 0.9):
        x = np.array([20.0, 200.0, 480.0])
        y = share * 20.0 * (x - apex) / (20.0 - apex)
        z = part.surface.height(x, y)
        straight = z[0] + (z[2] - z[0]) * (x[1] - x[0]) / (x[2] - x[0])
        assert z[1] == pytest.approx(straight, abs=1e-11)
        # and each is the height of the circle of that section
        radius = [mpf(float(part.surface.radius(v))) for v in x]
        exact = [mpf("6.5") + mp.sqrt(r * r - mpf(float(v)) ** 2) - r for r, v in zip(radius, y, strict=True)]
        assert z == pytest.approx([float(e) for e in exact], abs=1e-11)


def test_no_bow_under_any_string_only_when_the_strings_are_followed():
    followed = board(TwoRadii(nut=254.0, follow="strings"))
    lines = string_lines(followed.layout.strings, 6, (0.0, 480.0))
    assert np.abs(bow_under(lines, followed.surface)).max() < 1e-11
    cylinder = board(TwoRadii(nut=254.0))
    bow = bow_under(lines, cylinder.surface)
    # under the outer string of a cylinder: y(t)^2 / 2R against its chord, in the middle, to second order
    spread = float(followed.layout.strings.half_width(480.0)) - followed.layout.strings.at_nut
    assert bow[0] == pytest.approx(spread**2 / (8 * 254.0), rel=0.02)


def test_the_trap_of_level_centre_and_level_edges():
    # Making centre-line and edges both level asks for a radius that grows with the square of the width; that surface
    # is not straight under the strings between, and the cone that is has sloping edges.
    followed = board(TwoRadii(nut=254.0, follow="strings"))
    ratio = followed.edges.half_width(followed.length) / followed.edges.at_nut
    trap = board((254.0, 254.0 * float(ratio) ** 2))
    corners = np.array([0.0, trap.length]), np.array([21.5, 28.5])
    edge = trap.surface.height(*corners)
    assert edge[0] == pytest.approx(edge[1], abs=0.005)
    lines = string_lines(followed.layout.strings, 6, (0.0, 480.0))
    assert np.abs(bow_under(lines, trap.surface)).max() > 0.01
    assert float(np.diff(followed.surface.height(*corners))[0]) < -0.2


def test_a_radius_at_the_bridge_lies_on_the_same_line():
    part = board(TwoRadii(nut=254.0, bridge=406.4))
    assert float(part.surface.radius(648.0)) == pytest.approx(406.4, rel=1e-12)
    fanned = board(TwoRadii(nut=254.0, bridge=406.4), scale_lengths=(686.0, 648.0), straight_fret=8)
    (x0, y0), (x1, y1) = fanned.layout.bridge
    assert float(fanned.surface.radius(x0 + (x1 - x0) * y0 / (y0 - y1))) == pytest.approx(406.4, rel=1e-12)


def test_refused():
    with pytest.raises(JobError, match="shrinks to"):
        board(TwoRadii(nut=254.0, follow="strings"), end_width=5.0)


@pytest.mark.parametrize(("inches", "drop"), [
    # drop at half-width 21.5 mm, derived: R - sqrt(R^2 - y^2)
    (7.25, 1.259397), (9.5, 0.959741), (10, 0.911577), (12, 0.759230), (14, 0.650553), (16, 0.569112), (20, 0.455174),
])
def test_drop_at_the_edge(inches, drop):
    part = board((25.4 * inches, 25.4 * inches))
    assert 6.5 - float(part.surface.height(0.0, 21.5)) == pytest.approx(drop, abs=6e-7)
    assert part.surface.taper == 0.0


def test_gauges_are_for_the_nut_the_twelfth_and_the_last_fret_unless_asked():
    numbers = {"scale_lengths": (640.0, 640.0), "nut_width": 42.0, "end_width": 52.0, "past_last_fret": 10.0,
               "thickness": 6.5, "radius": (250.0, 400.0)}
    for frets, own, at in ((20, None, (0, 12, 20)), (10, None, (0, 10)), (20, (3, 0), (3, 0))):
        board = fingerboard(**numbers, frets=frets)
        distance = [640.0 * (1 - 2 ** (-n / 12)) for n in at]
        assert _radii(board, own) == pytest.approx([board.surface.radius(x) for x in distance], abs=1e-5)


@pytest.mark.parametrize("scale_lengths", [(640.0, 640.0), (864.0, 812.0)])
def test_strings_are_told_where_they_cross_the_lines_of_nut_and_last_fret(scale_lengths):
    """On a fanned bass what was told stood beside the slanted nut, 0.15 mm off for who files its slots by it."""
    fan = {"straight_fret": 8} if scale_lengths[0] != scale_lengths[1] else {}
    made = board(TwoRadii(nut=305.0, bridge=406.0), scale_lengths=scale_lengths, **fan)
    rows = string_rows(made, 5)
    outer = made.layout.strings
    for key, line in (("at_nut", made.layout.lines[0]), ("at_last_fret", made.layout.lines[-1])):
        (x0, y0), (x1, y1) = line
        for row, side in ((rows[0], 1.0), (rows[-1], -1.0)):
            y = row[key]
            x = x0 + (x1 - x0) * (y - y0) / (y1 - y0)
            assert abs(y) == pytest.approx(float(outer.half_width(x)), abs=1e-4), side
