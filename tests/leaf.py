"""A small board with one drawing, quick to build: the same job lying both ways, in both units."""

from __future__ import annotations

from pathlib import Path

DRAWING = """<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="30mm" viewBox="0 0 60 30">
<path fill="#2f6f4f" fill-rule="evenodd"
 d="M5,15 C10,2 30,2 38,15 C30,28 10,28 5,15 Z M14,15 a4,4 0 1,0 8,0 a4,4 0 1,0 -8,0 Z"/>
<path fill="#2f6f4f" d="M44,8 L56,15 L44,22 Z"/></svg>
"""

_ICONS = (  # line art as icons are drawn, of our own: in 24 by 24, lines 2 wide with round ends
    '<circle cx="12" cy="12" r="4"/><path d="M12 2v3M12 19v3M2 12h3M19 12h3M5 5l2 2M17 17l2 2M5 19l2-2M17 7l2-2"/>',
    '<path d="M12 22V8M12 8c-5 0-7-2-7-6 5 0 7 2 7 6zM12 13c4 0 6-2 6-5-4 0-6 2-6 5z"/>',  # a shoot
    '<path d="M2 8c3-4 5-4 8 0s5 4 8 0M2 14c3-4 5-4 8 0s5 4 8 0M2 20c3-4 5-4 8 0s5 4 8 0"/>',  # waves
    '<path fill="#2f6f4f" d="M20 14A9 9 0 1 1 10 3a7 7 0 0 0 10 11z"/>',  # a moon
)
ICONS = ('<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="30mm" viewBox="0 0 60 30"><g fill="none" '
         'stroke="#2f6f4f" stroke-width="2" stroke-linecap="round" stroke-linejoin="round">' + "".join(
             f'<svg x="{x}" y="8" width="13" height="13" viewBox="0 0 24 24">{icon}</svg>'
             for x, icon in zip((1, 16, 31, 46), _ICONS, strict=True)) + "</g></svg>")

JOB = """title = "Leaf"
units = "{units}"
[board]
scale_length = "300 mm"
frets = 6
nut_width = "40 mm"
end_width = "44 mm"
past_last_fret = "8 mm"
thickness = "6.5 mm"
radius = {{ nut = "200 mm", end = "300 mm" }}
[stock]
length = "140 mm"
width = "60 mm"
thickness = "8 mm"
margin_nut = "20 mm"
[setup]
along = "{along}"
z_zero = "{z_zero}"
keep_out = [ {{ along = ["-20 mm", "-12 mm"], across = ["-30 mm", "30 mm"], height = "20 mm" }} ]
[machine]
travel = ["600 mm", "400 mm", "80 mm"]
{cutters}
[surface]
rough = "flat 6"
finish = "ball 12"
scallop = "0.02 mm"
[[inlay]]
artwork = "leaf.svg"
depth = "1.6 mm"
cutters = ["flat 3", "flat 1"]
fill = "resin"
place = {{ at = ["45 mm", "0 mm"] }}
[resurface]
skim = 0.0
[slots]
cutter = "slot 0.6"
width = "0.58 mm"
depth = "2 mm"
[outline]
cutter = "flat 3"
tabs = 4
"""

CUTTER = """[[cutter]]
name = "{name}"
shape = "{shape}"
diameter = "{diameter} mm"
flute_length = "{flute} mm"
speed = {speed}
feed = {feed:.4f}
plunge = {plunge:.4f}
stepdown = "{stepdown} mm"
"""

CUTTERS = (
    ("flat 6", "flat-end", 6.0, 20, 16000, 2000.0, 500.0, 3.0),
    ("ball 12", "ball-end", 12.7, 25, 16000, 2400.0, 600.0, 3.0),
    ("flat 3", "flat-end", 3.0, 12, 18000, 1200.0, 300.0, 1.5),
    ("flat 1", "flat-end", 1.0, 4, 18000, 500.0, 150.0, 0.6),
    ("slot 0.6", "flat-end", 0.58, 3, 18000, 400.0, 100.0, 0.4),
)


def write_leaf(folder: Path, *, units: str = "mm", along: str = "x", z_zero: str = "bed", icons: bool = False) -> Path:
    """Write the job and its drawing, a leaf or four icons, into a folder; gives the job's path."""
    per = 25.4 if units == "in" else 1.0
    cutters = "".join(
        CUTTER.format(name=n, shape=s, diameter=d, flute=fl, speed=sp, feed=f / per, plunge=p / per, stepdown=st)
        for n, s, d, fl, sp, f, p, st in CUTTERS
    )
    (folder / "leaf.svg").write_text(ICONS if icons else DRAWING)
    path = folder / "leaf.toml"
    path.write_text(JOB.format(units=units, along=along, z_zero=z_zero, cutters=cutters))
    return path
