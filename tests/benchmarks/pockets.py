"""How long pocketing takes, and how it grows: run ``python -m tests.benchmarks.pockets``.

Prints a table for drawings of 300 wavy regions with holes, from 15,000 to 120,000 corners, cleared by a 3 mm and a
1 mm cutter; then one of 10,000 dots. On a busy machine go by the processor's seconds: one thread does it all.
"""

import math
import time

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from pathgen.base.surface import Surface
from pathgen.strategies.pocketing import pocket
from tests.drawings import flat_end

SURFACE = Surface(thickness=6.5, radius_nut=254.0, radius_end=355.6, length=480.0)


def wavy_regions(count: int, corners: int, seed: int = 5) -> MultiPolygon:
    """`count` closed wavy shapes of 4 mm radius, each with a hole, `corners` in all, on a grid over a board."""
    rng = np.random.default_rng(seed)
    outer = corners // count * 3 // 4
    inner = corners // count - outer
    shapes = []
    for i in range(count):
        centre = np.array([9.6 * (i // 6) + 5.0, 9.6 * (i % 6) - 24.0])
        lobes, swing = int(rng.integers(3, 8)), rng.uniform(0.05, 0.2)
        shapes.append(Polygon(
            _wave(centre, 4.0, lobes, swing, outer), [_wave(centre + rng.uniform(-0.5, 0.5, 2), 0.5, 3, 0.1, inner)]
        ))
    return MultiPolygon(shapes)


def _wave(centre: np.ndarray, radius: float, lobes: int, swing: float, corners: int) -> np.ndarray:
    angle = np.linspace(0.0, 2.0 * math.pi, corners, endpoint=False)
    r = radius * (1.0 + swing * np.sin(lobes * angle))
    return centre + np.stack([r * np.cos(angle), r * np.sin(angle)], axis=1)


def dots(count: int) -> MultiPolygon:
    """`count` round dots of 1.2 mm on a grid."""
    across = 40
    centres = np.stack([np.arange(count) // across * 1.8, (np.arange(count) % across - across / 2) * 1.2], axis=1)
    return MultiPolygon(list(shapely.buffer(shapely.points(centres), 0.55, quad_segs=8)))


def main() -> None:
    """Print the table."""
    print(f"{'drawing':>34} {'seconds':>8} {'processor':>10} {'points':>10} {'grows as':>9}")
    before = None
    for corners in (15_000, 30_000, 60_000, 120_000):
        seconds, busy, points = _timed(wavy_regions(300, corners), (3.0, 1.0))
        power = "" if before is None else f"{math.log(busy / before) / math.log(2.0):.2f}"
        print(f"{f'300 regions, {corners:,} corners':>34} {seconds:8.2f} {busy:10.2f} {points:10,d} {power:>9}")
        before = busy
    seconds, busy, points = _timed(dots(10_000), (1.0,))
    print(f"{'10,000 dots':>34} {seconds:8.2f} {busy:10.2f} {points:10,d}")


def _timed(region: MultiPolygon, diameters: tuple[float, ...]) -> tuple[float, float, int]:
    start, busy = time.perf_counter(), time.process_time()
    cuts = pocket(region, surface=SURFACE, cutters=[flat_end(d) for d in diameters], depth=1.4, safe_z=18.0)
    points = sum(len(cut.toolpath) for cut in cuts)
    return time.perf_counter() - start, time.process_time() - busy, points


if __name__ == "__main__":
    main()
