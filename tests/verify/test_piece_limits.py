"""A square piece of 10 mm in a sheet of 20, cut by a path of a few lines: a little inside and outside each limit."""

import re
from types import SimpleNamespace

import pytest
import shapely

import pathgen
from pathgen.verify.findings import Tolerances
from pathgen.verify.over_board import motion_over_board
from pathgen.verify.pieces import piece_findings
from pathgen.verify.read import read_program

CUTTER = pathgen.Cutter(name="flat 2", shape="flat-end", diameter=2.0, speed=100, feed=1, plunge=1, stepdown=1.0)
RING = [(4, 4), (16, 4), (16, 16), (4, 16), (4, 4)]


def found(*, aside=0.0, z=-0.2, ring=RING, extra=""):
    """Findings of a path round the piece, a cutter's radius and so much more outside it."""
    places = [(x + (aside if x > 10 else -aside), y + (aside if y > 10 else -aside)) for x, y in ring]
    moves = "".join(f"G1 X{x:.4f} Y{y:.4f}\n" for x, y in places[1:])
    x, y = places[0]
    text = f"G21 G90 G17 G94\nG0 Z9\nX{x:.4f} Y{y:.4f}\nG1 Z{z:.4f} F9\n{moves}{extra}G0 Z9\nM30\n"
    clamping = SimpleNamespace(to_board=lambda points, step: points,
                               stock=SimpleNamespace(bounds=(0.0, 0.0, 20.0, 20.0), thickness=2.0))
    step = SimpleNamespace(cutter=CUTTER, file_name="a.nc", operation=SimpleNamespace(
        bottom=-0.2, feature=SimpleNamespace(shapes=shapely.box(5, 5, 15, 15))))
    motion = motion_over_board(read_program(text, name="a.nc"), clamping, chord_tolerance=1e-4)
    return {f.code: f for f in piece_findings(motion, step, clamping, Tolerances())}


@pytest.mark.parametrize(("inside", "outside", "code", "got"), [
    ({"aside": -0.0035}, {"aside": -0.0045}, "piece-cut-into", "the cutter goes 0.005 mm into a piece"),
    ({"aside": 0.0095}, {"aside": 0.0105}, "piece-not-cut-free", "40.000 mm of outline not cut through"),
    ({"z": -0.181}, {"z": -0.179}, "piece-not-cut-free", "40.000 mm of outline not cut through"),
    ({"z": -0.2035}, {"z": -0.2045}, "too-deep-below-the-stock", "0.204 mm below the stock"),
    ({"extra": "X1.0001 Y16\n"}, {"extra": "X0.99 Y16\n"}, "past-the-stock", "the cutter passes the edge"),
    ({"extra": "X4 Y16\nX18.9999\n"}, {"extra": "X4 Y16\nX19.01\n"}, "past-the-stock", "the cutter passes the edge"),
    ({"extra": "Y1.0001\n"}, {"extra": "Y0.99\n"}, "past-the-stock", "the cutter passes the edge"),
    ({"extra": "X4 Y18.9999\n"}, {"extra": "X4 Y19.01\n"}, "past-the-stock", "the cutter passes the edge"),
    # over the sheet it may go anywhere, and a move that comes down into it counts from where it does
    ({"extra": "Z2.1\nX10 Y10\n"}, {"extra": "Z1.9\nX10 Y10\n"}, "piece-cut-into", "the cutter goes"),
    ({"extra": "Z4.2\nX1.5 Y4 Z-0.2\n"}, {"extra": "Z4.2\nX-2.5 Y4 Z-0.2\n"}, "past-the-stock", "the cutter passes"),
])
def test_inside_and_outside(inside, outside, code, got):
    assert code not in found(**inside)
    assert found(**outside)[code].got.startswith(got)


def test_a_piece_is_cut_into_where_the_move_is_nearest_to_it():
    """From one corner of the sheet past the other, over a corner of the piece: told 10 mm off, at its end."""
    told = found(extra="Z2.1\nX1 Y13\nZ-0.2\nX19 Y19\n")["piece-cut-into"]
    x, y = map(float, re.findall(r"([\d.]+) mm", told.where))
    assert 5.0 <= x <= 15.0
    assert y == pytest.approx(13.0 + (x - 1.0) / 3.0, abs=0.011)


@pytest.mark.parametrize("gap", [0.0, 3.0, 6.0])
def test_a_gap_in_the_ring_is_told_of_at_its_middle(gap):
    """The ends of the path are round: as much is open as the gap less a radius of 1.01 mm over a line 1 mm off."""
    ring = [(16, 10 + gap / 2), (16, 16), (4, 16), (4, 4), (16, 4), (16, 10 - gap / 2)]
    code = found(ring=ring).get("piece-not-cut-free")
    if not gap:
        assert code is None
        return
    assert code.where == "a.nc, 15 mm along, 10 mm across"
    assert float(code.got.split()[0]) == pytest.approx(gap - 2 * (1.01**2 - 1.0) ** 0.5, abs=0.0015)
