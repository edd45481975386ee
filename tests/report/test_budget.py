"""The error budget against the simulation run again with one thing off at a time."""

import math
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely

import pathgen
from pathgen.job.clamping import clamping_of
from pathgen.removal.grid import Grid
from pathgen.report.budget import budget_data, budget_lines, sources
from pathgen.verify.findings import Tolerances
from pathgen.verify.over_board import motion_over_board
from pathgen.verify.read import read_program
from pathgen.verify.simulate import simulate
from tests.small_board import SLOTS, built, job

SHORT = {"frets = 5": "frets = 4", "length = 125.0": "length = 99.0"}
EXAMPLES = Path(__file__).parents[2] / "examples"
FINE = {"scallop = 0.05": "scallop = 0.002"} | SHORT
OFF, BESIDE, WIDER, GRID = 0.04, 0.5, 1.0, 0.1
"""mm: of height; in plan, and of a cutter, by whole steps of the grid; that grid."""

# the disc's middle lies at X 45 - 20 + 12, Y 0, and is 16 mm wide; fret 2 at 300 - 300 / 2^(2/12)
FRET, RIM, DISC = 300 - 300 / 2 ** (2 / 12), 20.5, 37.0

WAYS = {
    "again over the board": (FINE, ""),
    "again round the inlay": (FINE, '[resurface]\narea = "inlay"\n'),
    "proud, then fresh": ({"scallop = 0.05": "scallop = 0.002\nleave = 0.2\nleave_scallop = 0.002"} | SHORT, ""),
    "fresh by a skim": (FINE, "[resurface]\nskim = 0.15\n"),
}


def way(folder, name):
    changes, extra = WAYS[name]
    return built(folder, resolution=GRID, extra=SLOTS + extra, changes=changes)


@pytest.fixture(scope="module", params=list(WAYS))
def board(request, tmp_path_factory):
    return way(tmp_path_factory.mktemp("budget"), request.param)


@pytest.fixture(scope="module")
def repeated(tmp_path_factory):
    return way(tmp_path_factory.mktemp("budget"), "again over the board")


def run(board, operations=(), *, axis="Z", by=0.0, wider=0.0):
    """The simulation with some programs off by `by` along an axis, or their cutters wider than they say."""
    texts = {p.file_name: p.text for p in board.programs}
    clamping = board.plan.clamping
    for p in board.programs if by else ():
        if p.operation in operations:
            texts[p.file_name] = "\n".join(
                line if line.startswith("(") else
                re.sub(rf"{axis}(-?[\d.]+)", lambda m: f"{axis}{float(m[1]) + by:.4f}", line)
                for line in p.text.splitlines())
    if wider:
        clamping = replace(clamping, steps=tuple(
            replace(s, cutter=replace(s.cutter, diameter=s.cutter.diameter + wider))
            if s.operation.name in operations else s for s in clamping.steps))
    return simulated(clamping, texts)


def simulated(clamping, texts):
    """What the programs leave: the verification's simulation without what it notes and compares."""
    tolerances = Tolerances()
    motions = {
        step.order: motion_over_board(read_program(texts[step.file_name], name=step.file_name), clamping,
                                      chord_tolerance=tolerances.chord, step=step) for step in clamping.steps}
    return simulate(clamping, motions, Grid.over(clamping.stock.bounds, GRID), tolerances, note=False)


def measured(sim):
    """Every result of the budget as it can be measured on the board, in mm; of the fill over the wood at three places.
    """
    grid = sim.grid

    def row(y):
        return int(np.argmin(abs(grid.ys - y)))

    def at(x, y):
        return float(sim.top[row(y), np.argmin(abs(grid.xs - x))])

    def across(heights, xs, below):
        cut = xs[heights < below]
        return float(cut.min()), float(cut.max())

    near = (abs(grid.xs - FRET) < 2.5)
    heights = sim.top[row(15.0), near]
    slot = across(heights, grid.xs[near], np.median(heights) - 0.5)
    poured, = sim.poured
    part = grid.part(poured.window)
    opened = part.xs[poured.removed[np.argmin(abs(part.ys))] > 1.0]
    return {
        "slot depth": at(FRET + 3.0, RIM) - at(FRET, RIM), "slot place": sum(slot) / 2, "slot width": slot[1] - slot[0],
        "pocket edge": float(opened.min()),
        # over wood of the first cut, 9 mm from the disc; on the crest and to both sides of it
        "flushness": np.array([at(DISC, y) - at(10.0, y) for y in (0.0, 7.5, -7.5)]),
        "wood left": np.array([at(FRET, RIM), float(poured.floor[np.argmin(abs(part.ys)),
                                                                 np.argmin(abs(part.xs - DISC))])]),
    }


OFFS = {
    "Z, finishing the radius": (["surface-finish"], "Z"),
    "Z, pocketing": (["pocket"], "Z"),
    "Z, second cut": (["resurface"], "Z"),
    "Z, slotting": (["slots"], "Z"),
    # what was cut before the fill sinks or rises with the wood
    "wood moving in thickness while the fill cures": (["surface-finish", "pocket"], "Z"),
}


def moved(board, right, operations, axis):
    """What each mm of an error does to each result, the larger of both its signs."""
    found = {}
    for by in (OFF, -OFF) if axis == "Z" else (BESIDE, -BESIDE):
        for result, value in measured(run(board, operations, axis=axis, by=by)).items():
            change = np.max(np.abs(value - right[result])) / abs(by)
            found[result] = max(found.get(result, 0.0), float(change))
    return found


@pytest.mark.in_every_run(0)
def test_every_entry_against_the_simulation_run_again(board):
    every = {s.name: s for s in sources(board.plan.clamping)}
    right = measured(run(board))
    for name, (operations, axis) in OFFS.items():
        for result, change in moved(board, right, operations, axis).items():
            told = every[name].moves.get(result, 0.0)
            if name == "wood moving in thickness while the fill cures" and result == "wood left":
                continue  # a pocket's floor moves with the wood under it: as thick as before
            assert change == pytest.approx(told, rel=0.1, abs=0.08), (name, result)


@pytest.mark.in_every_run(0)
def test_wider_cutters_against_the_simulation(repeated):
    right, wider = (measured(run(repeated, ["pocket", "slots"], wider=by)) for by in (0.0, WIDER))
    for name in ("diameter of the cutter", "run-out of the cutter"):  # its edge swings out by half of it to each side
        told = next(s for s in sources(repeated.plan.clamping) if s.name == name)
        for result, value in wider.items():
            change = np.max(np.abs(value - right[result])) / WIDER
            assert change == pytest.approx(told.moves.get(result, 0.0), abs=0.051), (name, result)


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize(("operation", "axis", "results"), [
    ("slots", "X", ["slot place"]), ("slots", "Y", ["slot depth", "wood left"]),
    ("resurface", "Y", ["flushness"]), ("pocket", "X", ["pocket edge"]),
])
def test_coming_back_beside_the_place_against_the_simulation(repeated, operation, axis, results):
    told = next(s for s in sources(repeated.plan.clamping) if s.name == "X and Y, coming back").moves
    found = moved(repeated, measured(run(repeated)), [operation], axis)
    for result in results:
        assert found[result] == pytest.approx(told[result], rel=0.1), result


@pytest.mark.in_every_run(0)
def test_one_thing_off_in_two_programs_at_once_is_not_counted_twice(board):
    """Both cuts of the surface and the slots off at their worst: the slot is off by what is told as worst."""
    every = list(sources(board.plan.clamping))
    right = measured(run(board))["slot depth"]
    texts = {p.operation: p.text for p in board.programs}
    assert {"surface-finish", "resurface", "slots"} <= set(texts)
    shifted = replace_texts(board, {"surface-finish": -OFF, "resurface": -OFF, "slots": OFF})
    change = abs(measured(shifted)["slot depth"] - right)
    z = [s for s in every if s.name.startswith("Z, ")]
    first, second = (sum(s.moves.get("slot depth", 0.0) for s in z if s.surface == cut) for cut in (1, 2))
    assert change == pytest.approx(OFF * (1.0 + max(first, second)), rel=0.1)
    told = budget_data(board.plan.clamping, [])["worst"]["slot depth"]
    thick = next(s for s in every if "thickness" in s.name)
    beside = next(s for s in every if s.name.startswith("X and Y"))
    surface = max(0.02 * first + thick.effect("slot depth"), 0.02 * second)
    assert told == pytest.approx(0.02 + surface + beside.effect("slot depth"), abs=1e-5)


def replace_texts(board, by):
    texts = {p.file_name: "\n".join(
        line if line.startswith("(") else
        re.sub(r"Z(-?[\d.]+)", lambda m, p=p: f"Z{float(m[1]) + by.get(p.operation, 0.0):.4f}", line)
        for line in p.text.splitlines()) for p in board.programs}
    return simulated(board.plan.clamping, texts)


@pytest.mark.in_every_run(0)
def test_wood_that_moves_across_between_two_inlays(tmp_path):
    """What was cut before the first fill lies 0.5 mm aside when the second inlay is cut beside it."""
    second = """[[inlay]]
artwork = "art.svg"
colours = ["#cc8833"]
depth = 1.5
cutters = ["flat"]
overfill = 0.7
place = { at = [45.0, 0.0] }
"""
    changes = {'depth = 1.5\ncutters = ["flat"]': 'colours = ["#225577"]\ndepth = 1.5\ncutters = ["flat"]'}
    made = built(tmp_path, resolution=0.1, extra=second, changes=changes)
    told = next(s for s in sources(made.plan.clamping) if "across" in s.name)
    assert told.moves == {"pocket edge": 1.0}
    # a percent of moisture, 0.25 % of half the width: Wood Handbook, chapter 13, from memory
    low, high = made.plan.clamping.board.outline.bounds[1::2]
    assert told.size == pytest.approx(0.0025 * (high - low) / 2)

    def apart(by):
        texts = {p.file_name: p.text for p in made.programs}
        first = next(p for p in made.programs if p.operation == "pocket")
        texts[first.file_name] = re.sub(r"(?m)^(?!\()(.*?)Y(-?[\d.]+)",
                                        lambda m: f"{m[1]}Y{float(m[2]) + by:.4f}", first.text)
        one, two = simulated(made.plan.clamping, texts).poured
        grid = made.verification.simulation.grid
        lowest = [grid.part(p.window).ys[(p.removed > 1.0).any(axis=1)].min() for p in (one, two)]
        return lowest[1] - lowest[0]

    assert abs(apart(0.5) - apart(0.0)) == pytest.approx(told.moves["pocket edge"] * 0.5, rel=0.1)


@pytest.mark.parametrize(("shape", "out"), [("", None), ("v", 3**-0.5)])
def test_a_v_that_runs_lower_opens_further_out(tmp_path, shape, out):
    """Walls of 60 degrees between them: 1 mm lower is 0.58 mm further out."""
    changes = {'shape = "flat-end"\ndiameter = 2.0': 'shape = "v"\nangle = 60\ndiameter = 2.0'} if shape else {}
    (z,) = [s for s in sources(clamping_of(pathgen.load_job(job(tmp_path, changes=changes)))) if "pocketing" in s.name]
    assert z.moves.get("pocket edge") == (out and pytest.approx(out))


@pytest.mark.parametrize(("slots", "finishing"), [(True, None), (False, 1.0)])
def test_wood_over_a_channel_alone_is_off_by_the_surface(tmp_path, slots, finishing):
    """Slots are cut from the same zero as all others, whatever lies over them; a channel's wood ends at the surface."""
    text = (EXAMPLES / "boards" / "truss-rod.toml").read_text()
    path = tmp_path / "job.toml"
    path.write_text(text if slots else text.replace(text[text.index("[slots]"):text.index("[outline]")], ""))
    off = {source.name: source.moves.get("wood left") for source in sources(clamping_of(pathgen.load_job(path)))}
    assert off["Z, cutting the channel"] == 1.0
    assert off["Z, finishing the radius"] == finishing


@pytest.mark.parametrize("fills", [True, False])
def test_what_the_sizes_rest_on_is_told(tmp_path, fills):
    """0.071 mm of "wood moving across" could not be traced to anything that a maker reads."""
    clamping = clamping_of(pathgen.load_job(job(
        tmp_path, changes={} if fills else {"overfill = 0.7": 'fill = "none"'}, extra=SLOTS)))
    words = " ".join(budget_lines(budget_data(clamping, []), "mm"))
    assert "X and Y as [machine] repeatability in the job says; Z 0, diameter and run-out as is common" in words
    stated = re.search(r"1 point more or less of moisture in it meanwhile, .* moves ([\d.]+) % across the grain", words)
    assert bool(stated) == fills
    if fills:
        share, half = float(stated[1]) / 100, clamping.board.outline.bounds[3]
        size = {source.name: source.size for source in sources(clamping)}
        assert size["wood moving across while the fill cures"] == pytest.approx(share * half)
        assert size["wood moving in thickness while the fill cures"] == pytest.approx(share * 6.5)


def test_worst_and_root_sum_square(tmp_path):
    board = built(tmp_path, resolution=0.4, extra=SLOTS)
    budget = board.report["budget"]
    assert all(any(row["effects"].values()) for row in budget["rows"])  # wood moving across does nothing to one inlay
    flush = [row["effects"]["flushness"] for row in budget["rows"]]
    assert budget["worst"]["flushness"] == pytest.approx(sum(flush), abs=2e-5)
    assert budget["root_sum_square"]["flushness"] == pytest.approx(math.sqrt(sum(v * v for v in flush)), abs=1e-5)
    deep = [row["effects"]["slot depth"] for row in budget["rows"]]
    assert sum(deep) - budget["worst"]["slot depth"] == pytest.approx(0.02, abs=1e-5), "the second cut of the surface"
    assert any("only the worse of both cuts" in line for line in budget_lines(budget, "mm"))
    # two settings of Z, 0.05 mm on the slope at the drawing's edge, 8 mm off the crest, where the radius is
    # 254 + 46 * 37 / 85 = 274 mm, and 6.5 mm of wood by 0.25 %
    assert [v for v in flush if v] == pytest.approx([0.02, 0.02, 0.05 * 8 / 274, 6.5 * 0.0025], rel=0.01)


def test_a_flat_board_without_anything_to_fill(tmp_path):
    changes = {"radius = { nut = 254.0, end = 300.0 }": 'radius = "flat"', "overfill = 0.7": 'fill = "none"'}
    clamping = clamping_of(pathgen.load_job(job(tmp_path, extra=SLOTS, changes=changes)))
    every = {s.name: s.moves for s in sources(clamping)}
    assert every["Z, finishing the flat top"] == {"slot depth": 1.0}
    assert every["X and Y, coming back"] == {"slot place": 1.0, "slot depth": 0.0, "pocket edge": 1.0, "wood left": 0.0}
    assert not any("fill" in name for name in every)
    assert shapely.get_num_geometries(clamping.inlays[0].area) == 2


def test_cents_are_of_the_repeatability(tmp_path):
    report = built(tmp_path, resolution=0.4, extra=SLOTS).report
    fret = report["frets"][1]
    length = 300.0 - fret["distance"]
    assert fret["cents"] == pytest.approx(1200 * math.log2(length / (length - 0.05)), rel=0.06)
    (tmp_path / "true").mkdir()
    true = built(tmp_path / "true", resolution=0.4, extra=SLOTS + "[machine]\nrepeatability = 0.2\n").report
    assert true["frets"][1]["cents"] == pytest.approx(1200 * math.log2(length / (length - 0.2)), rel=0.02)
    assert true["budget"]["root_sum_square"]["slot place"] == 0.2
