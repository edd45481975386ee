"""Ridge height measured in a program read from a file, whoever wrote it.

Run from the project's folder:  python examples/scallop_height.py [PROGRAM.nc]
Without a file it writes finish.nc first, and measures that.
"""

import sys
from pathlib import Path

import shapely

import pathgen

top = pathgen.radiused(thickness=6.0, start=254.0, end=406.4, length=470.0)
ball = pathgen.Cutter(name="ball 6", shape="ball-end", diameter=6.0, speed=16000, feed=2000.0, plunge=500.0, stepdown=2)
file = Path(sys.argv[1] if len(sys.argv) > 1 else "finish.nc")
if len(sys.argv) == 1:
    file.write_text(pathgen.program(pathgen.finish(shapely.box(0, -22, 120, 22), top, ball, ridge=0.01)))
found = pathgen.ridges(file, cutter=ball, top=top)
print(f"{file.name}: {found.passes} passes side by side, ridges up to {1000 * found.highest:.2f} um at X "
      f"{found.highest_at[0]:.1f}, Y {found.highest_at[1]:.1f}")
print(f"the exact formula: {1000 * found.predicted:.2f} um; stepover for 0.01 mm on a 254 mm radius: "
      f"{float(pathgen.stepover_for(0.01, ball.radius, 254.0)):.3f} mm")
