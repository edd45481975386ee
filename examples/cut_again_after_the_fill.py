"""A second cut over a cured fill, from the surface alone: first.nc, again.nc, and what is left standing.

Run from the project's folder:  python examples/cut_again_after_the_fill.py
"""

from pathlib import Path

import shapely

import pathgen

top = pathgen.radiused(thickness=6.0, start=254.0, end=406.4, length=470.0)
ball = pathgen.Cutter(name="ball 6", shape="ball-end", diameter=6.0, speed=16000, feed=2000.0, plunge=500.0, stepdown=2)
board, inlay = shapely.box(0, -22, 120, 22), shapely.Point(60, 5).buffer(9)
first = pathgen.finish(board, top, ball, ridge=0.01, stock=8.0)
again = pathgen.second_cut(first, over=inlay, proud=1.0, stepdown=0.5)
for name, path in {"first.nc": first, "again.nc": again}.items():
    Path(name).write_text(pathgen.program(path, title=name))
blank = pathgen.Blank(x=(-5, 125), y=(-27, 27), thickness=8.0)
filled = pathgen.simulate(blank, Path("first.nc"), ball).filled(inlay, top=top, proud=1.0)
level = pathgen.compare_heights(pathgen.simulate(filled, Path("again.nc"), ball), top, within=inlay)
print(f"over the fill: {1000 * level.low:+.1f} to {1000 * level.high:+.1f} um from the surface")
print(f"{len(set(first.passes.y) & set(again.points[:, 1]))} passes go along lines of the first cut again")
