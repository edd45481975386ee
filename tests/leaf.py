"""A small board with one drawing, quick to build: the same job lying both ways, in both units."""

from pathlib import Path

DRAWING = """<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="30mm" viewBox="0 0 60 30">
<path fill="#2f6f4f" fill-rule="evenodd"
 d="M5,15 C10,2 30,2 38,15 C30,28 10,28 5,15 Z M14,15 a4,4 0 1,0 8,0 a4,4 0 1,0 -8,0 Z"/>
<path fill="#2f6f4f" d="M44,8 L56,15 L44,22 Z"/></svg>
"""

_ICONS = (  # line art, of our own: in 24 by 24, lines 2 wide with round ends
    '<ellipse cx="10.5" cy="13" rx="3" ry="4.2"/>'  # a seed head: a ring with short and slanting lines round it
    '<path d="M10.5 5.8v-4M6.4 8 4 5.2M14.7 8.2l3.6-4.4M5 13.2H1.6M16 12.6l6-.8M7 18.2l-2.6 3.6M13.4 18.6l1.2 3.8"/>',
    '<path d="M4 22C7 15 9 12 20 3M8.6 14.2c-4-.6-6-3-5.4-6.6 3.4.6 5.4 3 5.4 6.6zM13 9.6c4.4 2 7 1.6 8.6-1.2"/>',
    '<path d="M3 4C9 5 9 10 4 11s-3 8 5 8M11 3c6 2 6 7 1 9s-2 8 5 9M20 3c-3 5-1 9 1 11"/>',  # three tendrils
    '<path fill="#2f6f4f" d="M3 9C9 2 19 4 21.5 19 18 12 10 9 3 9z"/>',  # a moth's wing, its tips sharp
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
