"""Verifying scallop height: by the formula, and measured in the finished program's own moves.

Run from the project's folder:  python examples/scallop_height.py
"""

from pathlib import Path

import pathgen

print("stepover along the surface for ridges of 0.01 mm, by ball and by radius of the board (mm)")
radii = [184.15, 254.0, 304.8, 406.4, float("inf")]
print("   ball   " + "".join(f"{'flat' if r == float('inf') else f'R {r:g}':>10}" for r in radii))
for diameter in (6.0, 6.35, 10.0, 12.7):
    stepovers = pathgen.stepover_for(0.01, diameter / 2, radii)
    print(f"{diameter:7.2f}   " + "".join(f"{s:10.4f}" for s in stepovers))

result = pathgen.build(pathgen.load_job(Path(__file__).parent / "fern-and-moth.toml"))
surface = result.report["surface"]
print(
    f"\n{surface['program']}: {surface['passes']} passes, at most {surface['stepover']:.3f} mm apart\n"
    f"  allowed   {surface['scallop_limit'] * 1000:.2f} um\n"
    f"  formula   {surface['scallop_predicted'] * 1000:.2f} um\n"
    f"  measured  {surface['scallop_measured'] * 1000:.2f} um, by removing material along the written text"
)
