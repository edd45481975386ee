"""Cutting the radius again over the cured fill, without moving the work: the last moves are the first ones.

Run from the project's folder:  python examples/cut_again_after_the_fill.py
"""

from pathlib import Path

import numpy as np

import pathgen

job = pathgen.load_job(Path(__file__).parent / "fern-and-moth.toml")
result = pathgen.build(job)




first = next(p for p in result.programs if p.operation == "surface-finish")
for again in (p for p in result.programs if p.operation == "resurface"):
    count = len(first.toolpath) - 3        # without the rapids down to it and away from it
    same = np.array_equal(again.toolpath.points[-count - 1 : -1], first.toolpath.points[-count - 1 : -1])
    print(f"{again.file_name}: about {again.minutes:.0f} minutes; its last {count} moves are those of "
          f"{first.file_name}: {'yes, coordinate for coordinate' if same else 'NO'}")

high = result.report["checks"]["surface_high"]
print(f"after the last cut nothing stands more than {high * 1000:.1f} um above the surface, resin or wood")
