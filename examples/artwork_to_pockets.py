"""From an artwork file to pocket paths: what opens, what stays closed, and the first moves.

Run from the project's folder:  python examples/artwork_to_pockets.py
"""

from pathlib import Path

from pathgen import Cutter, Surface, read_artwork
from pathgen.artwork.place import placed
from pathgen.strategies.pocketing import pocket

here = Path(__file__).parent

drawing = read_artwork(here / "fern-and-moth.svg")
on_board = placed(drawing, at=(232.0, 0.0))
surface = Surface(thickness=6.5, radius_nut=254.0, radius_end=355.6, length=448.4)
cutters = [
    Cutter(name="flat 3", shape="flat-end", diameter=3.0, speed=18000, feed=1200.0, plunge=300.0, stepdown=1.5),
    Cutter(name="flat 1", shape="flat-end", diameter=1.0, speed=18000, feed=500.0, plunge=150.0, stepdown=0.6),
]

for region in on_board.regions:
    print(f"{region.colour}: {region.polygon.area:.1f} mm2")
    for cut in pocket(region.polygon, surface=surface, cutters=cutters, depth=1.6, safe_z=18.0):
        share = 100.0 * cut.opened.area / region.polygon.area
        print(
            f"  {cut.cutter.name}: {cut.toolpath.cut_length / 1000:.2f} m of cutting in {len(cut.toolpath)} moves; "
            f"{share:.1f} % open, {cut.left.area:.2f} mm2 out of reach so far"
        )
    x, y, z = cut.toolpath.points[2]
    print(f"  {cut.cutter.name} begins at X {x:.3f}, Y {y:.3f}, {z:.3f} mm above the underside")
