"""What each program of the examples takes, by the tests' own simulation, which shares nothing with the package.

    python -m tests.benchmarks.loads [CELL]

prints a table: the most that a tooth takes at full feed and at any feed, beside a straight-line cut of the same program
(stepover times stepdown; a slot is its own straight line: its width times its layer, at its feed), how deep anything
goes straight down into what stands, and the seconds at the plunge feed in which nothing is met, of all at that feed.
CELL is the grid's spacing, 0.05 mm where left out. A minute or two for each example.
"""

import sys
from pathlib import Path

import numpy as np

import pathgen
from pathgen.base.units import MM_PER
from pathgen.work.operations import Slot
from tests.brute import Block, moves_of

EXAMPLES = Path(__file__).parents[2] / "examples"


def main() -> None:
    """Print the table."""
    cell = float(sys.argv[1]) if len(sys.argv) > 1 else 0.05
    print(f"{'program':42}{'full feed':>10}{'any feed':>10}{'straight down':>15}{'plunging in air':>17}{'of':>6}")
    for name in ("fern-and-moth", "moth-three-colours", "boards/inches"):
        loads_of(EXAMPLES / f"{name}.toml", cell)


def loads_of(path: Path, cell: float) -> None:
    """One job, all its programs in order, with its fills."""
    result = pathgen.build(pathgen.load_job(path))
    clamping = result.plan.clamping
    x0, y0, x1, y1 = clamping.stock.bounds
    zero = np.array(clamping.to_machine(np.zeros((1, 3)))[0])
    out = 8.0
    bounds = (x0 + zero[0] - out, y0 + zero[1] - out, x1 + zero[0] + out, y1 + zero[1] + out)
    top, low = clamping.stock.thickness + zero[2], zero[2] - 5.0

    def blank(x, y):
        inside = (x >= bounds[0] + out) & (x <= bounds[2] - out) & (y >= bounds[1] + out) & (y <= bounds[3] - out)
        return np.where(inside, np.float32(top), np.float32(low))

    block, before = Block(bounds, cell, blank), None
    for step, program in zip(clamping.steps, result.programs, strict=True):
        cutter, inlay = step.cutter, step.operation.opens
        if inlay is not None and before is None:
            before = block.top.copy()
        moves = moves_of(program.text, MM_PER[clamping.units])
        loads = block.run(moves, cutter.radius, ball=cutter.shape == "ball-end")
        straight = cutter.straight_cut
        if isinstance(step.operation, Slot):
            depth = step.operation.deepest(clamping.finished_surface)
            straight = cutter.diameter * depth / np.ceil(depth / cutter.stepdown - 1e-9)
        share = loads.per_tooth(over=cutter.diameter) / (straight * cutter.feed)
        side, full = ~loads.straight_down, np.abs(loads.feed - cutter.feed) < 1e-6
        down = loads.straight_down & (loads.end[:, 2] < loads.start[:, 2])
        plunging = np.abs(loads.feed - cutter.plunge) < 1e-6
        seconds = loads.length / loads.feed * 60.0
        # straight down, the way that is left when what stands is taken off; sideways, where nothing is taken
        into = loads.deepest.clip(0, loads.length) / loads.length.clip(1e-9)
        met = np.where(loads.straight_down, into, loads.volume > 0)
        air = np.where(plunging & (loads.end[:, 2] <= loads.start[:, 2]), 1.0 - met, 0.0)
        print(f"{path.stem[:14]:15}{program.file_name[:26]:27}{share[side & full].max(initial=0):10.2f}"
              f"{share[side].max(initial=0):10.2f}{loads.deepest[down].max(initial=0):12.3f} mm"
              f"{(seconds * air).sum():15.1f} s{seconds[plunging].sum():6.0f}", flush=True)
        following = clamping.steps[step.order] if step.order < len(clamping.steps) else None
        if inlay is not None and (following is None or following.operation.opens is not inlay) and before is not None:
            opened = before - block.top > 0.02
            block.top[opened] = before[opened] + (inlay.overfill if inlay.fill != "none" else 0.0)
            before = None


if __name__ == "__main__":
    main()
