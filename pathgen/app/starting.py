"""A job to start from: 26 lines with comments, and a small drawing of our own; it builds as it stands."""

from __future__ import annotations

import os
import re
from pathlib import Path

from pathgen.app.folders import write_new
from pathgen.base.errors import PathgenError
from pathgen.base.plain import one_line

JOB = """\
# A first board: change the numbers to yours. Lengths are in mm; `pathgen keys` explains every key.
title = "{name}"
units = "mm"
cutter = [  # yours: measure the diameters, and take speeds and feeds that you trust
    {{ name = "ball", shape = "ball-end", diameter = 12, speed = 14000, feed = 3000, plunge = 750, stepdown = 3 }},
    {{ name = "flat", shape = "flat-end", diameter = 2, speed = 16000, feed = 1000, plunge = 250, stepdown = 1 }},
    {{ name = "wide", shape = "flat-end", diameter = 6, speed = 14000, feed = 2400, plunge = 600, stepdown = 2.5 }},
    {{ name = "slot", shape = "flat-end", diameter = 0.6, speed = 18000, feed = 500, plunge = 120, stepdown = 0.5 }},
]
stock = {{ length = 500, width = 74, thickness = 8, margin_nut = 25 }}  # the blank; 25 mm of it lie before the nut
setup = {{ keep_out = [{{ along = [-25, -14], across = [-37, 37], height = 20 }}] }}  # clamps; heights from the bed up
surface = {{ finish = "ball", scallop = 0.02 }}  # the radius; ridges so high are left, which you sand away
slots = {{ cutter = "slot", depth = 2.5 }}  # as wide as the cutter
outline = {{ cutter = "wide", tabs = 4 }}  # tabs are bridges of wood that hold the board in the blank
[board]  # as it is when finished; the blank is thicker, the curve is cut from it
scale_length = 640  # nut to bridge
frets = 20
nut_width = 43
end_width = 56
thickness = 6.5
radius = 305  # a compound one: {{ nut = 254, end = 406 }}
[[inlay]]  # one for each drawing, or each stage of a drawing
artwork = "{name}.svg"
depth = 1.2
cutters = ["flat"]
place = {{ between = [4, 5] }}  # these two frets
"""
"""The job; `name` is that of the drawing beside it too."""

DRAWING = """\
<svg xmlns="http://www.w3.org/2000/svg" width="24mm" height="14mm" viewBox="0 0 24 14">
  <!-- a leaf and two berries: one colour is one pocket; change it, or name another file in the job -->
  <path fill="#2f6f4f" d="M2 7 C4 2 10 1.5 12 7 C10 12.5 4 12 2 7 Z"/>
  <circle cx="20.7" cy="4.5" r="1.8" fill="#a33a2a"/>
  <circle cx="22.1" cy="9.5" r="1.8" fill="#a33a2a"/>
</svg>
"""


def start_job(name: str) -> list[Path]:
    """Write ``NAME.toml`` and ``NAME.svg``, where neither is there yet. Returns their paths. Raises PathgenError for a
    name that cannot be a file's, or files that are there."""
    path = Path(name.removesuffix(".toml"))
    if not re.fullmatch(r"[\w][\w .-]{0,60}", path.name):
        raise PathgenError(f"'{one_line(name)}'", "cannot be a job's name", allowed="letters, digits, spaces, - and _",
                           remedy="give another name, like my-board")
    files = {path.with_name(path.name + ".toml"): JOB.format(name=path.name),
             path.with_name(path.name + ".svg"): DRAWING}
    for file in files:
        if os.path.lexists(file):
            raise PathgenError(str(file), "is there already", remedy="give another name, or take it away")
    for file, text in files.items():
        write_new(file, text)
    return list(files)
