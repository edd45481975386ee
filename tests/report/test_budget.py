"""The error budget against the simulation run again with one thing off at a time."""

import math
import re
from dataclasses import replace

import numpy as np
import pytest

from pathgen.report.budget import sources
from pathgen.verify import verify
from tests.small_board import SLOT_CUTTER, built

SLOTS = SLOT_CUTTER + """[slots]
cutter = "slot"
width = 0.6
depth = 1.8
"""
OFF = 0.04


@pytest.fixture(scope="module")
def board(tmp_path_factory):
    return built(tmp_path_factory.mktemp("budget"), resolution=0.05, extra=SLOTS,
                 changes={"scallop = 0.05": "scallop = 0.002"})


def heights(board, *, axis=None, operation=None, wider=0.0):
    """What stands in the end when one program runs off by OFF along an axis, or its cutter is wider."""
    texts = {p.file_name: p.text for p in board.programs}
    clamping = board.plan.clamping
    if axis:
        name = next(p.file_name for p in board.programs if p.operation == operation)
        texts[name] = "\n".join(
            line if line.startswith("(") else
            re.sub(rf"{axis}(-?[\d.]+)", lambda m: f"{axis}{float(m[1]) + OFF:.4f}", line)
            for line in texts[name].splitlines())
    if wider:
        clamping = replace(clamping, steps=tuple(
            replace(s, cutter=replace(s.cutter, diameter=s.cutter.diameter + wider))
            if s.operation.name == operation else s for s in clamping.steps))
    sim = verify(clamping, texts, resolution=0.05).simulation
    return sim.grid, sim.top


def at(grid_top, x, y):
    grid, top = grid_top
    return float(top[np.argmin(abs(grid.ys - y)), np.argmin(abs(grid.xs - x))])


def told(board, name):
    return next(s for s in sources(board.plan.clamping) if s.name == name).moves


# the disc's middle lies at X 45 - 20 + 12, Y 0; fret 2 at 300 - 300 / 2^(2/12)
FRET, DISC, BARE = (300 - 300 / 2 ** (2 / 12), 15.0), (37.0, 0.0), (10.0, 10.0)


def test_z_against_the_simulation(board):
    right = heights(board)
    again = heights(board, axis="Z", operation="resurface")
    moves = told(board, "Z, cutting the radius again")
    deeper = (at(again, *BARE) - at(again, *FRET)) - (at(right, *BARE) - at(right, *FRET))
    # run high: nothing is cut off the wood, and the fill stands proud of it
    proud = (at(again, *DISC) - at(again, *BARE)) - (at(right, *DISC) - at(right, *BARE))
    assert proud == pytest.approx(moves["flushness"] * OFF, rel=0.1)
    assert abs(deeper) < 0.1 * OFF
    slots = heights(board, axis="Z", operation="slots")
    moved = at(slots, *FRET) - at(right, *FRET)
    assert moved == pytest.approx(told(board, "Z, slotting")["slot depth"] * OFF, rel=0.1)
    assert moved == pytest.approx(told(board, "Z, slotting")["wood left"] * OFF, rel=0.1)


def width(grid_top, y, low, high, below):
    """How wide the work is cut deeper than `below` along a line."""
    grid, top = grid_top
    row = top[np.argmin(abs(grid.ys - y))]
    return float((row[(grid.xs > low) & (grid.xs < high)] < below).sum() * 0.05)


def test_diameter_and_place_of_slots_against_the_simulation(board):
    right, x = heights(board), FRET[0]
    wider = heights(board, operation="slots", wider=0.5)
    grown = width(wider, 15.0, x - 2, x + 2, 5.5) - width(right, 15.0, x - 2, x + 2, 5.5)
    # a large error, as the grid tells 0.05 mm apart
    assert grown == pytest.approx(told(board, "diameter of the cutter")["slot width"] * 0.5, abs=0.051)


def test_worst_and_root_sum_square(board):
    budget = board.report["budget"]
    flush = [row["effects"]["flushness"] for row in budget["rows"]]
    assert budget["worst"]["flushness"] == pytest.approx(sum(flush))
    assert budget["root_sum_square"]["flushness"] == pytest.approx(math.sqrt(sum(v * v for v in flush)), abs=1e-5)
    assert [v for v in flush if v] == [0.02, 0.02]


def test_cents_are_of_the_repeatability(board, tmp_path):
    fret = board.report["frets"][1]
    length = 300.0 - fret["distance"]
    assert fret["cents"] == pytest.approx(1200 * math.log2(length / (length - 0.05)), rel=0.06)
    true = built(tmp_path, resolution=0.4, extra=SLOTS + "[machine]\nrepeatability = 0.2\n").report
    assert true["frets"][1]["cents"] == pytest.approx(1200 * math.log2(length / (length - 0.2)), rel=0.02)
    assert true["budget"]["root_sum_square"]["slot place"] == 0.2
