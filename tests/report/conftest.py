"""Small boards, built once, for what is made of a build."""

import pytest

from pathgen import build, load_job

HOSTILE = "Moth <script>alert('x')</script> & \"fern\" --> </style> \u202e\u0007"
"""A title that tries to be markup, to end the style sheet, and to turn the direction of the text."""

DRAWING = """<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="20mm" viewBox="0 0 60 20">
  <rect x="2" y="3" width="20" height="12" fill="#2f6f4f"/>
  <circle cx="45" cy="10" r="7" fill="#c8962e"/>
</svg>"""

JOB = """
title = {title}
units = "mm"
[board]
scale_length = 300.0
frets = 6
nut_width = 36.0
end_width = 40.0
past_last_fret = 12.0
thickness = 6.0
radius = {{ nut = 200.0, end = 260.0 }}
left_handed = {left}
[stock]
length = 150.0
width = 62.0
thickness = 7.0
margin_nut = 18.0
[setup]
along = "{along}"
zero = "{zero}"
z_zero = "{z_zero}"
keep_out = [ {{ along = [-18.0, -12.0], across = [-31.0, 31.0], height = 15.0 }} ]
[[cutter]]
name = "ball & <b>8</b>"
shape = "ball-end"
diameter = 8.0
speed = 16000
feed = 2000.0
plunge = 500.0
stepdown = 2.0
[[cutter]]
name = "flat 3"
shape = "flat-end"
diameter = 3.0
speed = 18000
feed = 1200.0
plunge = 300.0
stepdown = 1.0
[[cutter]]
name = "slot"
shape = "flat-end"
diameter = 0.6
speed = 18000
feed = 400.0
plunge = 100.0
stepdown = 0.5
[surface]
finish = "ball & <b>8</b>"
scallop = 0.02
[[inlay]]
artwork = "drawing.svg"
depth = 1.2
cutters = ["flat 3"]
place = {{ at = [60.0, 2.0] }}
[slots]
cutter = "slot"
depth = 1.8
[outline]
cutter = "flat 3"
tabs = 4
"""


def written_job(folder, *, title=HOSTILE, along="x", zero="nut-centre", z_zero="bed", left=False):
    """A job file and its drawing in a folder."""
    quoted = '"' + "".join(f"\\u{ord(c):04x}" if c in '"\\' or not c.isprintable() else c for c in title) + '"'
    (folder / "drawing.svg").write_text(DRAWING)
    path = folder / "job.toml"
    path.write_text(JOB.format(title=quoted, along=along, zero=zero, z_zero=z_zero, left=str(left).lower()))
    return path


@pytest.fixture(scope="session")
def built(tmp_path_factory):
    """A board with a hostile title and cutter name."""
    return build(load_job(written_job(tmp_path_factory.mktemp("board"))), resolution=0.25)


@pytest.fixture(scope="session")
def turned(tmp_path_factory):
    """The same, left-handed, turned on the machine, zeroed at a corner of the blank and on top of it."""
    folder = tmp_path_factory.mktemp("turned")
    path = written_job(folder, title="turned", along="y", zero="blank-nut-bass", z_zero="stock-top", left=True)
    return build(load_job(path), resolution=0.25)
