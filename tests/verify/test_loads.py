"""Volume per tooth and engaged angle, read from the text, against a brute-force simulation of six small pockets."""

import math
import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from pathgen.app.building import check
from pathgen.base.cutters import LOAD_FACTOR, Cutter
from pathgen.base.tops import flat
from pathgen.programs.write import program
from pathgen.removal.grid import Grid
from pathgen.removal.material import Material, Noting
from pathgen.strategies.pocketing import pocket
from pathgen.verify.loads import load_findings, load_of
from pathgen.verify.over_blank import motion_of
from tests import small_board
from tests.brute import Block, moves_of
from tests.strategies.test_easing import LARGE, POCKETS, SMALL

TOP = 6.5
CELL = 0.02


def over_stretches(values, loads, stretch):
    """(n,) sum of `values` over a stretch of the way round the middle of each move; a lift ends a stretch."""
    lifted = np.concatenate([[False], np.any(loads.start[1:] != loads.end[:-1], axis=1)])
    begins = np.cumsum(loads.length) - loads.length + stretch * np.cumsum(lifted)
    sums = []
    for middle in begins + loads.length / 2:
        low, high = np.maximum(begins, middle - stretch / 2), np.minimum(begins + loads.length, middle + stretch / 2)
        sums.append((values * np.maximum(high - low, 0.0) / loads.length).sum())
    return np.array(sums)


def spread(values, length):
    """The least that half, 95 in 100 and all of the way have no more than."""
    order = np.argsort(values)
    gone = np.cumsum(length[order]) / length.sum()
    return [values[order][np.searchsorted(gone, share)] for share in (0.5, 0.95)] + [values.max()]


@pytest.mark.in_every_run(2)
@pytest.mark.parametrize("region", POCKETS.values(), ids=POCKETS)
def test_what_the_text_says_against_brute_force(region):
    """Within 5 % of a straight-line cut's volume per tooth, and 10 % of angle or as much as one cell is of it."""
    x0, y0, x1, y1 = region.bounds
    bounds = (x0 - 1, y0 - 1, x1 + 1, y1 + 1)
    grid = Grid.over(bounds, CELL)
    wood = Material(grid, np.full(grid.shape, TOP, np.float32))
    # the rim is sampled just within what the last step left standing: a finer grid
    blocks = [Block(bounds, cell, TOP) for cell in (CELL, CELL / 2)]
    for cut in pocket(region, surface=flat(TOP), cutters=[LARGE, SMALL], depth=1.0, safe_z=20.0):
        cutter = cut.cutter
        if not len(cut.toolpath):
            continue
        text = program(cut.toolpath, cutter=cutter)
        motion, _ = motion_of(text, (0.0, 0.0, 0.0))
        bites = wood.cut(motion, cutter, Noting(angle=True)).bites
        # on a ramp the floor of the end is in wood too: the angle is held against the other on level moves
        level = motion.start[:, 2] == motion.end[:, 2]
        load = load_of(replace(bites, edge=np.where(level, bites.edge, 0.0)), motion, cutter, CELL)
        loads = blocks[0].run(moves_of(text), cutter.radius)
        angle = blocks[1].engaged(moves_of(text), cutter.radius)
        sideways = loads.moving_sideways()
        taken, way, minutes = (
            over_stretches(values, sideways, cutter.diameter)
            for values in (sideways.volume, sideways.length, sideways.length / sideways.feed)
        )
        # ways shorter than half a stretch are compared with half a stretch's straight cut
        minutes = np.maximum(minutes, cutter.diameter / 2 / sideways.feed)
        found = spread(taken / minutes / (cutter.straight_cut * cutter.feed), sideways.length)
        assert [load.median, load.high] == pytest.approx(found[:2], abs=0.05)
        assert load.largest == pytest.approx(found[2], rel=0.05)
        level = sideways.start[:, 2] == sideways.end[:, 2]
        edge = np.where(level, angle[~loads.straight_down] * sideways.length, 0.0)
        angle = over_stretches(edge, sideways, cutter.diameter)
        turned = np.degrees(angle / np.maximum(way, cutter.diameter / 2))
        # a cell of 0.02 mm more or less at the edge of a cut: acos(1 - s / r) differs by as much
        cell = math.degrees(math.acos(1 - CELL / cutter.radius)) / 2
        asked = spread(turned, sideways.length)
        assert load.angles == pytest.approx(asked, rel=0.1, abs=cell)


@pytest.mark.parametrize("stepover", [0.1, 0.45])
def test_each_layer_of_a_v_is_a_straight_cut_of_its_own(stepover):
    """A groove in four layers: by geometry the tip's last stepdown takes (2 d - s) s tan 30 at a depth d."""
    vee = Cutter(name="v", shape="v", angle=60.0, diameter=6.0, speed=16000.0, feed=600.0, plunge=200.0, stepdown=0.2,
                 stepover=stepover)
    depths = np.array([0.2, 0.4, 0.6, 0.8])
    assert vee.straight_cuts(depths) == pytest.approx((2 * depths - 0.2) * 0.2 * math.tan(math.radians(30.0)), rel=2e-3)
    grid = Grid.over((-2.0, -2.0, 32.0, 2.0), CELL)
    lines = [line for depth in depths for line in (f"G0 X0 Y0 Z{TOP + 1}", f"G1 Z{TOP - depth:.3f} F200", "X30 F600",
                                                   f"G0 Z{TOP + 1}")]
    motion, _ = motion_of("\n".join(["G21 G90", *lines, "M2"]), (0.0, 0.0, 0.0))
    bites = Material(grid, np.full(grid.shape, TOP, np.float32)).cut(motion, vee, Noting(angle=True)).bites
    load = load_of(bites, motion, vee, CELL)
    assert [load.median, load.high, load.largest] == pytest.approx([1.0, 1.0, 1.0], abs=0.03)


def test_a_long_move_is_judged_where_it_takes_most(tmp_path):
    """Through an open pocket, then on into its wall at full feed: 2.2 times a straight cut at 0.45 (arithmetic)."""
    result = small_board.built(tmp_path, resolution=0.2)
    paths = result.write(tmp_path / "out")
    program = next(path for path in paths if "pocket" in path.name)
    lines = program.read_text().splitlines()
    last = max(i for i, line in enumerate(lines) if line.startswith(("M5", "M05")))
    # the circle's middle is 37 mm along, 0 across; it is 8 mm wide to each side
    lines[last:last] = ["G0 Z20", "G0 X31 Y0", "G1 Z5.3 F300", "G1 X47.5 Y0 F1200", "G0 Z20"]
    program.write_text("\n".join(lines) + "\n")
    found = {f.code: f for f in check(result.job, tmp_path / "out", resolution=0.2).findings}
    assert "load-high" in found, sorted(found)
    advised = int(re.search(r"no more than (\d+) %", found["load-high"].remedy)[1])
    program.write_text(program.read_text().replace("F1200\nG0 Z20", f"F{12 * advised}\nG0 Z20"))
    assert "load-high" not in {f.code for f in check(result.job, tmp_path / "out", resolution=0.2).findings}
    program.write_text(program.read_text().replace(f"F{12 * advised}\n", f"F{14 * advised}\n"))
    assert "load-high" in {f.code for f in check(result.job, tmp_path / "out", resolution=0.2).findings}


@pytest.mark.parametrize("aside", [0.03, 0.1, 0.45])
def test_a_grid_as_coarse_as_a_shaving_is_wide_raises_no_alarm(aside):
    """A lap 0.1 mm wide and 5 mm tall, along a wall that slants through rows 0.1 mm apart, was told a fifth too high
    and warned of, though it went at the eased feed; one of 0.03 mm that took a whole row, three times too high. Twice
    the feed is told of one as wide as a straight cut; of thinner ones a finer grid tells it."""
    one = Cutter(name="flat", shape="flat-end", diameter=1.0, speed=18000.0, feed=600.0, plunge=150.0, stepdown=5.0,
                 stepover=0.45)
    grid = Grid.over((-2.0, -4.0, 42.0, 6.0), 0.1)
    feed = 600.0 * 1.4 * 0.45 / aside  # 1.4 times a straight cut, by arithmetic
    lines = ["G0 Z7", "G0 X0 Y0", "G1 Z0 F150", "X40 Y1 F200", "G0 Z7", f"G0 X0 Y{-aside}", "G1 Z0 F150",
             f"X40 Y{1 - aside} F{feed:.0f}", "G0 Z7"]
    motion, _ = motion_of("\n".join(["G21 G90", *lines, "M2"]), (0.0, 0.0, 0.0))
    motion = motion.in_pieces(motion.pieces(0.4))
    bites = Material(grid, np.full(grid.shape, 5.0, np.float32)).cut(motion, one, Noting(angle=True)).bites
    load = load_of(bites, motion, one, 0.1)
    assert load.sure <= LOAD_FACTOR
    # what the table shows over its limit is told of, and why it may be none; not where the grid is much of it
    step = SimpleNamespace(order=1, file_name="1.nc", operation=None)
    found = list(load_findings((step,), {1: load}))
    assert [told.severity for told in found] == ["note"] * (aside > 0.1)
    assert all(told.got.startswith(f"{load.largest:.2f} times") for told in found)
    assert all("one row of the grid" in told.got for told in found)
    fast = replace(motion, feed=np.where(motion.feed == round(feed), 2 * feed, motion.feed))
    load = load_of(bites, fast, one, 0.1)
    assert (load.sure > LOAD_FACTOR) == (aside > 0.1)
    assert [f.severity for f in load_findings((step,), {1: load})] == ["warn"] * (aside > 0.1)
