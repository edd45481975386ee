"""How long verification takes, beside one grey-dilation map of the same board: a table of seconds and ratios.

    python -m tests.benchmarks.verify_speed [JOB.toml]

The reference is what a general-purpose library offers for the same question: scipy.ndimage.grey_dilation of the
board's map of heights with the finishing ball as structure. It takes minutes on the whole board, so that it is timed
on a strip of rows, and its time taken in proportion to them.
"""

import resource
import sys
import time
from collections.abc import Callable

import numpy as np
from scipy import ndimage

import pathgen
from pathgen.verify import verify
from pathgen.verify.read import read_program
from pathgen.work.clamping import Clamping

SURFACE_FINISH = "surface-finish"

Texts = dict[str, str]
STRIP = 8


def seconds(call: Callable[[], object]) -> float:
    began = time.perf_counter()
    call()
    return time.perf_counter() - began


def _timed(clamping: Clamping, texts: Texts, resolution: float) -> tuple[float, int]:
    checked = verify(clamping, texts, resolution=resolution)
    return checked.seconds, checked.cells


def dilation_seconds(clamping: Clamping, resolution: float) -> float:
    """One map of the whole board, from a strip of it."""
    ball = next(s.cutter for s in clamping.steps if s.operation.name == SURFACE_FINISH)
    x0, y0, x1, y1 = clamping.stock.bounds
    xs, ys = np.arange(x0, x1, resolution), np.arange(y0, y1, resolution)
    reach = int(ball.radius / resolution)
    offsets = resolution * np.arange(-reach, reach + 1)
    profile = ball.profile(np.hypot(offsets[:, None], offsets))
    footprint = np.isfinite(profile)
    heights = clamping.board.surface.height(xs, ys[:STRIP, None])
    took = seconds(lambda: ndimage.grey_dilation(
        heights, footprint=footprint, structure=np.where(footprint, -profile, 0.0), mode="nearest"
    ))
    return took * len(ys) / STRIP


def main(arguments: list[str]) -> int:
    job = pathgen.load_job(arguments[0] if arguments else "examples/fern-and-moth.toml")
    built = pathgen.build(job)
    texts, clamping = {p.file_name: p.text for p in built.programs}, built.plan.clamping
    lines = sum(text.count("\n") for text in texts.values())
    print(f"{'':28}{'seconds':>10}{'million cells':>15}{'dilation map':>15}{'ratio':>8}")
    for resolution in (0.2, 0.1, 0.05):
        best, cells = min(_timed(clamping, texts, resolution) for _ in range(3))
        memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        reference = dilation_seconds(clamping, resolution)
        print(f"{f'whole clamping at {resolution:g} mm':28}{best:10.2f}{cells / 1e6:15.2f}"
              f"{reference:15.1f}{reference / best:8.0f}   {memory:.0f} MB so far")
    print(f"{f'reading {lines} lines':28}{seconds(lambda: [read_program(t) for t in texts.values()]):10.2f}")
    long = "G21 G90 G94 G17 G54\nG0 Z9\nM3 S9000\nG0 X0 Y0\nG1 F900 X1\n"
    long += "".join(f"X{k % 97}.{k % 10000:04d} Y{k % 53}.5\n" for k in range(100_000)) + "M5\nM30\n"
    print(f"{'reading 100000 plain lines':28}{min(seconds(lambda: read_program(long)) for _ in range(3)):10.2f}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
