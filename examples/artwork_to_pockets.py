"""From a drawing to pocket programs: one for each colour and cutter, written into the folder pockets/.

Run from the project's folder:  python examples/artwork_to_pockets.py
"""

from pathlib import Path

import pathgen

drawing = pathgen.read_artwork(Path(__file__).parent / "fern-and-moth.svg")
top = pathgen.radiused(thickness=6.5, start=254.0, end=355.6, length=448.4)
run = {"shape": "flat-end", "speed": 18000, "plunge": 150.0}
cutters = [pathgen.Cutter(name="flat 3", diameter=3.0, feed=1200.0, stepdown=1.5, **run),
           pathgen.Cutter(name="flat 1", diameter=1.0, feed=500.0, stepdown=0.6, **run)]
(folder := Path("pockets")).mkdir(exist_ok=True)
for region in pathgen.placed(drawing, at=(232.0, 0.0)).regions:
    for cut in pathgen.pocket(region.polygon, top=top, cutters=cutters, depth=1.6):
        name = f"{region.colour[1:]}-{cut.cutter.name.replace(' ', '-')}.nc"
        (folder / name).write_text(pathgen.program(cut, title=name))
        print(f"{name}: {cut.cut_length / 1000:.2f} m of cutting, {cut.left.area:.2f} mm2 out of reach so far")
