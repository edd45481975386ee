"""Bad input is refused by an error that names the argument and says what is allowed."""

import math
import re
from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest
import shapely

import pathgen
from pathgen.base.cutters import LIMITS
from pathgen.base.given import LARGEST, length
from pathgen.job.tables import CutterTable, MachineTable
from pathgen.work.clamping import MACHINE

RUN = {"speed": 18000.0, "feed": 1200.0, "plunge": 300.0, "stepdown": 1.5}
TOP, TIGHT = (pathgen.radiused(thickness=6.0, start=radius) for radius in (254.0, 60.0))
FLAT = pathgen.Cutter(name="flat 3", shape="flat-end", diameter=3.0, **RUN)
BALL = pathgen.Cutter(name="ball 6", shape="ball-end", diameter=6.0, **RUN)
VEE = pathgen.Cutter(name="v", shape="v", diameter=6.0, angle=60.0, **RUN)
SQUARE = shapely.box(10, -10, 40, 10)
ROOT = Path(__file__).parents[2]
JOB, DRAWING = ROOT / "examples" / "fern-and-moth.toml", ROOT / "examples" / "fern-and-moth.svg"
PASSES = pathgen.finish(SQUARE, TOP, BALL, ridge=0.05)
PLACED = pathgen.placed(pathgen.read_artwork(DRAWING), at=(10, 0))
SLOT = ([[[15, -9], [15, 9]]], TOP, FLAT)
BOX = (0, -20, 50, 20)
BLANK = pathgen.Blank(x=(0, 60), y=(-20, 20), thickness=7.0)
LINE = "G21 G90 G17 G94\nG0 Z20\nM3 S9000\nG0 X5 Y0\nG1 Z5.5 F300\nX45 F900\nG0 Z20\nM5\nM30\n"
with np.errstate(invalid="ignore"):  # the engine warns of it
    NOWHERE = shapely.Polygon([(0, 0), (9, 0), (9, math.nan)])
SHAPES = {
    "empty": shapely.Polygon(),
    "3-D": shapely.Polygon([(0, 0, 1), (9, 0, 1), (9, 9, 1)]),
    "invalid": shapely.Polygon([(0, 0), (9, 9), (9, 0), (0, 9)]),
    "m across|mm by": shapely.box(0, -1, 20_000, 1),
    "finite": NOWHERE,
    "LineString": shapely.LineString([(0, 0), (9, 9)]),
    "list": [(0, 0), (9, 0), (9, 9)],
}
DOORS = {
    "pocket region": lambda s: pathgen.pocket(s, top=TOP, cutters=[FLAT], depth=1.0),
    "finish outline": lambda s: pathgen.finish(s, TOP, BALL, ridge=0.01),
    "rough outline": lambda s: pathgen.rough(s, TOP, FLAT, stock=8.0),
    "outline shape": lambda s: pathgen.outline(s, FLAT, stock=6.0),
    "second_cut over": lambda s: pathgen.second_cut(
        pathgen.finish(SQUARE, TOP, BALL, ridge=0.05), over=s, proud=1.0, stepdown=0.5),
    "ridges area": lambda s: pathgen.ridges(LINE, cutter=BALL, top=TOP, area=s),
    "filled area": lambda s: pathgen.simulate(BLANK, [], []).filled(s, top=TOP),
    "compare_heights within": lambda s: pathgen.compare_heights(pathgen.simulate(BLANK, [], []), TOP, within=s),
}


@pytest.mark.parametrize("words", SHAPES)
@pytest.mark.parametrize("where", DOORS)
def test_shapes(where, words):
    with pytest.raises(pathgen.PathgenError, match=words) as caught:
        DOORS[where](SHAPES[words])
    assert caught.value.where == where
    assert caught.value.allowed
    assert caught.value.remedy


def cutter(**changes):
    return pathgen.Cutter(**{"name": "c", "shape": "flat-end", "diameter": 3.0, **RUN, **changes})


@pytest.mark.parametrize(("door", "words"), [
    (lambda: pathgen.flat(0.0), "flat thickness"),
    (lambda: pathgen.flat(math.nan), "flat thickness"),
    (lambda: pathgen.radiused(thickness=6.0, start=-254.0), "radiused start"),
    (lambda: pathgen.radiused(thickness=6.0, start=254.0, end=-1.0, length=400.0), "radiused end"),
    (lambda: pathgen.radiused(thickness=6.0, start=254.0, end=300.0), "end given"),
    (lambda: pathgen.radiused(thickness=6.0, start=254.0, bridge=(300.0, math.inf)), "radiused bridge"),
    (lambda: pathgen.radiused(thickness=6.0, start=254.0, strings=(36.0, -52.0, 640.0)), "radiused strings"),
    (lambda: pathgen.Surface(thickness=6.0, radius_nut=-1.0, radius_end=2.0, length=9.0), "surface radius_nut: -1 mm"),
    (lambda: pathgen.Surface(thickness=math.nan, radius_nut=1.0, radius_end=2.0, length=9.0), "surface thickness: nan"),
    (lambda: cutter(diameter=-3.0), "diameter: -3"),
    (lambda: cutter(feed=math.nan), "feed: nan"),
    (lambda: cutter(speed=None), "speed: None is no number"),
    (lambda: cutter(diameter=6000.0), "diameter: 6000 mm.*other units"),
    (lambda: pathgen.radiused(thickness=6.0, start=254.0, bridge=300.0), "radiused bridge"),
    (lambda: pathgen.radiused(thickness=6.0, start=254.0, strings=(36.0, 52.0)), "radiused strings"),
    (lambda: pathgen.Toolpath([[0, 0, 1]], [9]), "a kind that is no Move"),
    (lambda: pathgen.Toolpath("way", [0]), "no arrays of numbers"),
    (lambda: pathgen.Blank(x=60.0, y=(0, 5), thickness=3.0), "blank x"),
    (lambda: pathgen.pocket(SQUARE, top=TOP, cutters=FLAT, depth=1.0), "pocket cutters: a Cutter"),
    (lambda: pathgen.pocket(SQUARE, top=TOP, cutters=[FLAT], depth=1.0, allowance=math.nan), "pocket allowance"),
    (lambda: pathgen.pocket(SQUARE, top=TOP, cutters=[FLAT], depth=1.0, floor_ridge=0.0), "pocket floor_ridge"),
    (lambda: pathgen.pocket(SQUARE, top=TOP, cutters=[FLAT], depth=1.0, smallest="x"), "pocket smallest"),
    (lambda: pathgen.rough(SQUARE, TIGHT, cutter(diameter=60.0), stock=8.0), "rough cutter: 60 mm.*at most 47.8 mm"),
    (lambda: pathgen.rough(SQUARE, TIGHT, FLAT, stock=8.0, finish=cutter(diameter=60.0)), "rough finish: 60 mm"),
    (lambda: pathgen.rough(SQUARE, TOP, VEE, stock=8.0), "rough cutter: 'v' is a v cutter: it leaves furrows"),
    (lambda: pathgen.rough(SQUARE, TOP, FLAT, stock=8.0, finish=VEE), "rough finish: 'v' is a v cutter"),
    (lambda: pathgen.outline(SQUARE, cutter(diameter=100.0), stock=6.0), "outline blank: not given"),
    (lambda: pathgen.outline(SQUARE, cutter(diameter=100.0), stock=6.0, blank=(-300.0, -300.0, 300.0, 300.0)),
     "4 tabs do not fit: each takes 106.00 mm"),
    (lambda: pathgen.slots([[[5, -9], [5, 9]]], TOP, FLAT, width=3.0, depth=1.0, through="no"), "slots through"),
    (lambda: pathgen.slots([[[5, -9], [5, 9]]], TOP, FLAT, width=3.0, depth=1.0, after="finish"), "slots after"),
    (lambda: pathgen.rough(SQUARE, TOP, FLAT, stock=8.0, allowance=-0.01), "rough allowance"),
    (lambda: pathgen.program(3), "toolpath: an int .allowed: a pathgen.Toolpath, or several in a list.: give one"),
    (lambda: pathgen.program([3]), "program toolpath: an int .allowed: a pathgen.Toolpath"),
    (lambda: pathgen.rough(SQUARE, TOP, FLAT, stock=8.0, ridge=0.05), "rough ridge: given without finish"),
    (lambda: pathgen.rough(SQUARE, TOP, FLAT, stock=8.0, ridge="abc"), "rough ridge: given without finish"),
    (lambda: pathgen.Finding(code=1, where="a", got="b", allowed="c"), "code: an int .allowed: a str.: give a str"),
    (lambda: pathgen.Finding(code="x", where=2, got="b", allowed="c"), "finding where: an int"),
    (lambda: pathgen.Finding(code="x", where="a", got="b", allowed="c", severity="zzz"), "finding severity: 'zzz'"),
    (lambda: pathgen.program(pathgen.rough(SQUARE, TOP, FLAT, stock=8.0), cutter="flat"), "program cutter"),
    (lambda: pathgen.program(pathgen.rough(SQUARE, TOP, FLAT, stock=8.0), units="cm"), "program units"),
    (lambda: pathgen.program(pathgen.rough(SQUARE, TOP, FLAT, stock=8.0), zero=(0, math.nan, 0)), "program zero"),
    (lambda: pathgen.program(pathgen.rough(SQUARE, TOP, FLAT, stock=8.0), machine="arcs"), "program machine: a str"),
    (lambda: pathgen.Machine(spin_up=math.nan), "machine spin_up: nan"),
    (lambda: pathgen.Machine(rapid="fast"), "machine rapid: 'fast' is no number"),
    (lambda: pathgen.Toolpath([[0, 0], [1, 1], [2, 2]], [0, 1]), "no arrays of numbers.*n, 3"),
    (lambda: pathgen.Toolpath.from_runs([[[0, 0], [1, 1], [2, 2]]], safe_z=5.0), "toolpath runs"),
    (lambda: pathgen.Toolpath.from_runs([[0, 0, 1], [1, 1, 1]], safe_z=5.0), "toolpath runs.*a list of runs"),
    (lambda: pathgen.Toolpath.from_runs([[[0, 0, 1]]], safe_z="5"), "safe_z: '5' is no number"),
    (lambda: pathgen.Blank(x=(0, 5), y=(0, 5), thickness="3"), "blank thickness: '3' is no number"),
    (lambda: pathgen.Blank(x=(0, 5), y=(0, 5), thickness=10**400), "blank thickness: 10+.* is no number"),
    (lambda: pathgen.Blank(x=(0, 5), y=(0, 5), thickness=3.0, top=254.0), "blank top: a float"),
    (lambda: pathgen.read_program(b"G21"), "a bytes"),
    (lambda: pathgen.simulate(BLANK, 3, FLAT), "simulate programs"),
    (lambda: pathgen.simulate(BLANK, LINE, "flat"), "simulate cutters"),
    (lambda: pathgen.compare_heights(TOP, TOP), "compare_heights field"),
    (lambda: pathgen.compare_heights(pathgen.simulate(BLANK, [], []), 6.0), "compare_heights other"),
    (lambda: pathgen.simulate(BLANK, [], []).filled(SQUARE, top=6.0), "filled top"),
    (lambda: pathgen.ridges(LINE, cutter=BALL, top=6.0), "ridges top"),
    (lambda: pathgen.ridges(LINE, cutter=BALL, top=TOP, area=SQUARE, along="z"), "ridges along"),
    (lambda: pathgen.ridges(LINE, cutter=BALL, top=TOP, area=SQUARE, section_spacing=0.0), "ridges section_spacing"),
    (lambda: pathgen.ridges(LINE, cutter=BALL, top=TOP, area=SQUARE, limit=-1.0), "ridges limit"),
    (lambda: pathgen.ridges(LINE, cutter=BALL, top=TOP, area=SQUARE, section_step=0.0), "ridges section_step"),
    (lambda: pathgen.check_program(LINE, cutter=None, top=TOP, blank=BLANK), "check_program cutter"),
    (lambda: pathgen.check_program(LINE, cutter=BALL, top=None, blank=BLANK), "check_program top"),
    (lambda: pathgen.check_program(LINE, cutter=BALL, top=TOP, blank=BLANK, limit=0.0), "check_program limit"),
    (lambda: pathgen.fret_distances(math.nan, 20), "scale_length"),
    (lambda: pathgen.fret_distances(640.0, 2.5), "frets: 2.5"),
    (lambda: pathgen.fret_distances("640", 20), "scale_length: '640' is no number.*give one$"),
    (lambda: pathgen.scallop_height("x", 3.0), "stepover: no numbers"),
    (lambda: pathgen.scallop_height(0.5, 3 + 4j), "stepover: no numbers"),
    (lambda: pathgen.scallop_height(np.array([0.5, True], dtype=object), 3.0), "stepover: no numbers"),
    (lambda: pathgen.Toolpath([[0, 0, 1j]], [0]), "no arrays of numbers"),
    (lambda: pathgen.stepover_for(0.01, 1e308), "ball_radius: 1e.308 given .*1e-06 to 1e.09"),
    (lambda: pathgen.stepover_for(0.01, 3.0, 1e-300), "surface_radius: 1e-300 given .*1e-06 to 1e.09"),
    (lambda: pathgen.scallop_height([0.1, 0.2], [3.0, 3.0, 3.0]), "not as many of each"),
    (lambda: pathgen.read_artwork(3), "read_artwork path"),
    (lambda: pathgen.read_artwork(DRAWING, tolerance="fine"), "read_artwork tolerance"),
    (lambda: pathgen.read_artwork(DRAWING, missing="raise"), "read_artwork missing"),
    (lambda: pathgen.read_artwork(DRAWING, background="#ffffff"), "read_artwork background: a str.*give a list"),
    (lambda: pathgen.read_artwork(DRAWING, background=["#ffffff", 3]), "'?3'? is not a colour"),
    (lambda: pathgen.placed(3, at=(0, 0)), "placed artwork"),
    (lambda: pathgen.placed(pathgen.read_artwork(DRAWING), at=(0, 0), centre="drawings"), "placed centre: 'drawings'"),
    (lambda: pathgen.load_job(None), "load_job path"),
    (lambda: pathgen.build("board.toml"), "build job: a str"),
    (lambda: pathgen.check("board.toml", "out"), "check job: a str"),
    (lambda: pathgen.build(pathgen.load_job(JOB), resolution="0.1"), "resolution: '0.1' is no number"),
    (lambda: pathgen.build(pathgen.load_job(JOB), resolution=math.nan), "resolution: nan mm"),
    (lambda: pathgen.check(pathgen.load_job(JOB), ROOT, resolution=math.inf), "resolution: inf mm"),
    (lambda: pathgen.compare(pathgen.load_job(JOB), scallops=0.01), "compare ridge heights: a float.*give a list"),
    (lambda: pathgen.compare(pathgen.load_job(JOB), scallops=["fine"]), "compare ridge heights: 'fine' is no number"),
    (lambda: pathgen.compare(pathgen.load_job(JOB), cutters=BALL), "compare cutters: a Cutter.*give a list"),
    (lambda: pathgen.compare(pathgen.load_job(JOB), cutters=["ball 12"]), "compare cutters: a str"),
    (lambda: pathgen.compare("board.toml"), "compare job: a str"),
    (lambda: cutter(flute_length=0.0), "flute_length: 0"),
    (lambda: pathgen.pocket(SQUARE, top=TOP, cutters=[], depth=1.0), "pocket cutters: no cutter"),
    (lambda: pathgen.pocket(SQUARE, top=TOP, cutters=["flat 3"], depth=1.0), "pocket cutters"),
    (lambda: pathgen.pocket(SQUARE, top=TOP, cutters=[FLAT], depth=math.nan), "pocket depth"),
    (lambda: pathgen.pocket(SQUARE, top=TOP, cutters=[FLAT], depth=6.0), "through wood"),
    (lambda: pathgen.pocket(SQUARE, top=6.0, cutters=[FLAT], depth=1.0), "pocket top: a float"),
    (lambda: pathgen.pocket(SQUARE, top=TOP, cutters=[cutter(diameter=40.0)], depth=1.0), "no cutter goes in"),
    (lambda: pathgen.pocket(shapely.box(0, 300, 9, 310), top=TOP, cutters=[FLAT], depth=1.0), "310.0 mm across"),
    (lambda: pathgen.finish(SQUARE, TOP, BALL, ridge=0.0), "finish ridge"),
    (lambda: pathgen.finish(SQUARE, TOP, FLAT, ridge=0.01), "cannot finish"),
    (lambda: pathgen.finish(SQUARE, TOP, BALL, ridge=0.01, stock=4.0), "finish stock"),
    (lambda: pathgen.rough(SQUARE, TOP, FLAT, stock=math.inf), "rough stock"),
    (lambda: pathgen.second_cut(pathgen.Toolpath.empty(), proud=1.0, stepdown=0.5), "second_cut passes"),
    (lambda: pathgen.slots([[0, 0], [1, 1]], TOP, FLAT, width=3.0, depth=1.0), "slots lines"),
    (lambda: pathgen.slots([[[5, -9], [5, np.nan]]], TOP, FLAT, width=3.0, depth=1.0), "slots lines"),
    (lambda: pathgen.slots([[[5, -9], [5, 9]]], TOP, FLAT, width=2.0, depth=1.0), "wider than the slot"),
    (lambda: pathgen.slots([[[5, -9], [5, 9]]], TOP, FLAT, width=3.0, depth=7.0), "slots depth"),
    (lambda: pathgen.rough(SQUARE, TOP, FLAT, stock=8.0, finish="ball"), "rough finish"),
    (lambda: pathgen.slots([[[5, -9], [5, 9]]], TOP, FLAT, width=3.0, depth=1.0, bottom="level"), "slots bottom"),
    (lambda: pathgen.slots([[[5, -9], [5, 9]]], TOP, FLAT, width=3.0, depth=1.0, entry="drill"), "slots entry"),
    (lambda: pathgen.outline(SQUARE, FLAT, stock=6.0, tabs=-1), "outline tabs"),
    (lambda: pathgen.outline(SQUARE, FLAT, stock=6.0), "outline blank: not given"),
    (lambda: pathgen.outline(SQUARE, FLAT, stock=6.0, blank=(0, -9, 50, 9)), "outline blank.*reaches out"),
    (lambda: pathgen.outline(SQUARE, FLAT, stock=6.0, blank=(0, -20, 50)), "outline blank: an array"),
    (lambda: pathgen.outline(SQUARE, FLAT, stock=6.0, blank=(5, -14.9, 45, 14.9)), "tabs: the blank stands out 4.90"),
    (lambda: pathgen.outline(SQUARE, FLAT, stock=6.0, blank=(5, -20, 44.9, 20), tabs=[(40, 0)]), "0.2 mm longer"),
    (lambda: pathgen.outline(SQUARE, FLAT, stock=6.0, blank=(0, -20, 50, 20), tabs=[(25, 4)]), "6.00 mm off"),
    (lambda: pathgen.outline(SQUARE, FLAT, stock=6.0, blank=(0, -20, 50, 20), tabs="two"), "outline tabs"),
    (lambda: pathgen.program(pathgen.Toolpath.empty(), cutter=FLAT), "without moves"),
    (lambda: pathgen.program([]), "without moves"),
    (lambda: pathgen.program(pathgen.Toolpath.from_runs([[[0, 0, 1]]], safe_z=5.0)), "does not know its cutter"),
    (lambda: pathgen.program(pathgen.rough(SQUARE, TOP, FLAT, stock=8.0), cutter=BALL), "was made for 'flat 3'"),
    (lambda: pathgen.join([pathgen.rough(SQUARE, TOP, FLAT, stock=8.0), pathgen.finish(SQUARE, TOP, BALL, ridge=0.05)]),
     "one cutter"),
    (lambda: pathgen.Blank(x=(0, -5), y=(0, 5), thickness=3.0), r"blank x: from 0 to -5 mm .*give .-5, 0."),
    (lambda: pathgen.simulate(BLANK, "examples/none.nc", FLAT), r"'examples/none.nc', the name of a file.*give Path"),
    (lambda: pathgen.read_program("examples/none.nc"), r"'examples/none.nc', the name of a file.*give Path"),
    (lambda: pathgen.read_program(Path("none.nc")), "none.nc: cannot be read"),
    (lambda: pathgen.placed(PLACED, at=(0, 0)), "placed artwork: fern-and-moth.svg, which is placed already"),
    (lambda: pathgen.simulate(BLANK, [], []).filled(shapely.box(100, 0, 110, 5), top=TOP), "filled area: .*no point"),
    # D: R - sqrt(R^2 - 80^2) is 12.93 mm for 254, 6.93 more than the thickness: no depth is allowed there
    (lambda: pathgen.pocket(shapely.box(0, 70, 10, 80), top=TOP, cutters=[FLAT], depth=1.0),
     "pocket region: comes to 10 mm along, 80 mm across, where the surface lies 6.93 mm below the underside"),
    (lambda: pathgen.slots([[[0, 0], [0, 80]]], TOP, FLAT, width=3.0, depth=1.0), "slots lines: comes to .*6.93 mm"),
    # what a job refuses
    (lambda: pathgen.outline(SQUARE, FLAT, stock=6.0, blank=BOX, tab_height=6.0), "outline tab_height.*less than 6 mm"),
    (lambda: pathgen.outline(SQUARE, FLAT, stock=6.0, blank=BOX, tab_height=7.0, tabs=[(25, 10)]), "tab_height: 7 mm"),
    (lambda: pathgen.outline(SQUARE, FLAT, stock=6.0, blank=BOX, finish=0.31), "outline finish: 0.31 mm .*0 to 0.3 mm"),
    (lambda: pathgen.outline(SQUARE.difference(shapely.box(20, -5, 30, 5)), FLAT, stock=6.0, tabs=0),
     "outline shape: a polygon with 1 hole"),
    (lambda: pathgen.outline(SQUARE.difference(shapely.union(shapely.box(24, 0, 26, 10), shapely.box(20, -5, 30, 5))),
                             FLAT, stock=6.0, tabs=0), "does not go into the outline near 25 mm along, .*3.01 mm wide"),
    (lambda: pathgen.second_cut(PASSES, over=shapely.box(30, -5, 60, 5), proud=1.0, stepdown=0.5),
     "second_cut over: a fill that reaches 20.00 mm off the outline of the first cut, at 60 mm along"),
    # what a machine that is given cannot do
    (lambda: pathgen.Machine(travel={"x": [0, 50]}), "machine travel"),
    (lambda: pathgen.Machine(travel=(50, 50, 0)), "machine travel z: 0 .allowed: 10 or more, at most 10000"),
    (lambda: pathgen.Machine(spindle=(24000, 5000)), r"machine spindle: from 24000 to 5000 rpm.*give .5000, 24000."),
    (lambda: pathgen.program(PASSES, machine=pathgen.Machine(rapid=1199.0)), "feed 1200 .*above the machine's rapids"),
    (lambda: pathgen.program(PASSES, machine=pathgen.Machine(spindle=(5000, 17999))), "speed 18000 rpm .*to 17999 rpm"),
    (lambda: pathgen.program(PASSES, machine=pathgen.Machine(travel=(40, 400, 80))), "spans 40.[0-9]+ mm in X.*40 mm"),
    # what float() takes, or arrays make of it, and is none; and numbers that no float holds
    (lambda: pathgen.flat(True), "flat thickness: True is no number"),
    (lambda: pathgen.flat(np.True_), "flat thickness: .*True.* is no number"),
    (lambda: cutter(diameter=True), "diameter: True is no number"),
    (lambda: cutter(diameter=10**400), "diameter: 10+.* is no number"),
    (lambda: pathgen.Surface(thickness=10**400, radius_nut=9.0, radius_end=9.0, length=9.0), "surface thickness: 10+"),
    (lambda: pathgen.radiused(thickness=6.0, start=254.0, bridge=(10**400, 600.0)), "radiused bridge"),
    (lambda: pathgen.Toolpath([[0, 0, 10**400]], [0]), "no arrays of numbers"),
    (lambda: pathgen.Toolpath.from_runs([[[0, 0, 1]]], safe_z=5.0, air_z=[2.0, 3.0]), "toolpath air_z"),
    (lambda: pathgen.stepover_for(10**400, 3.0), "scallop: no numbers"),
    (lambda: pathgen.join(np.array(3.0)), "join paths: a ndarray.*give a list"),
    (lambda: pathgen.placed(pathgen.read_artwork(DRAWING), at=(0, 0), width=1e-300), "placed width: .*0.01 or more"),
    (lambda: pathgen.radiused(thickness=6.0, start=254.0, end=300.0, length=1e-300), "radiused length: .*1 or more"),
    (lambda: pathgen.Surface(thickness=1e308, radius_nut=9.0, radius_end=9.0, length=9.0), "surface thickness: 1e.308"),
    (lambda: pathgen.Surface(thickness=6.0, radius_nut=1e308, radius_end=9.0, length=9.0), "radius_nut: 1e.308"),
    (lambda: pathgen.Surface(thickness=6.0, radius_nut=9.0, radius_end=1e-300, length=9.0), "radius_end: 1e-30"),
    (lambda: pathgen.placed(pathgen.read_artwork(DRAWING), at=(0, 0), width=1e300), "placed width: 1e.300 mm.*at most"),
    (lambda: pathgen.placed(pathgen.read_artwork(DRAWING), at=(x for x in (0, 0))), "placed at"),
    (lambda: pathgen.placed(pathgen.read_artwork(DRAWING), at=(0, 0), mirror=np.zeros(2)), "placed mirror"),
    (lambda: pathgen.outline(SQUARE, FLAT, stock=6.0, blank=BOX, tabs=True), "outline tabs: True is no number"),
    (lambda: pathgen.program(PASSES, title=3), "program title: an int"),
    (lambda: pathgen.program(PASSES, title=""), r"program title: '' .*1 to 200"),
    (lambda: pathgen.program(PASSES, title="\x00"), "program title"),
    (lambda: pathgen.program(PASSES, title="\u6f22\u5b57"), "program title: .*a program can hold nothing"),
    (lambda: pathgen.read_program(LINE, name=3), "read_program name: an int"),
    (lambda: pathgen.Cut(PASSES.points, PASSES.kinds, "ball 6"), "cut cutter: a str"),
    (lambda: pathgen.scallop_height("0.5", 3.0), "stepover: no numbers"),
    (lambda: pathgen.stepover_for(0.01, True), "scallop: no numbers"),
    (lambda: pathgen.radiused(thickness=6.0, start=254.0, bridge=("300", "600")), "radiused bridge"),
    (lambda: pathgen.slots([[["5", "-9"], ["5", "9"]]], TOP, FLAT, width=3.0, depth=1.0), "slots lines: not an array"),
    (lambda: pathgen.Toolpath([["0", "0", "1"]], [0]), "no arrays of numbers"),
    # what no cutter is, and what would take for ever
    (lambda: cutter(name=3), "cutter name: an int"),
    (lambda: cutter(flutes=2.5), "flutes: 2.5 .*whole number"),
    (lambda: cutter(plunges="no"), "plunges: 'no'"),
    (lambda: cutter(ramp=90.0), "ramp: 90 degrees .*0.5 or more, at most 45"),
    (lambda: cutter(stepover=45.0), "stepover: 45 of the diameter .*at most 1 of the diameter"),
    (lambda: cutter(stepdown=1e-9), "stepdown: 1e-09 mm .*0.01 or more"),
    (lambda: pathgen.second_cut(PASSES, proud=1.0, stepdown=0.02), "second_cut stepdown: 6[23] layers.*0.04 mm or mo"),
    (lambda: pathgen.finish(SQUARE, TOP, cutter(shape="ball-end", stepdown=0.05), ridge=0.05, stock=9.0),
     "finish stock: 8[0-9] layers of 0.05 mm"),
    (lambda: pathgen.finish(SQUARE, TOP, BALL, ridge=1e-5), "finish ridge: 1e-05 mm .*0.0005 or more, at most 1 mm"),
    (lambda: pathgen.finish(SQUARE, TOP, cutter(shape="ball-end", diameter=2.0), ridge=0.95), "at most 0.9 mm"),
    # the limits of a board, D: hypot(1, 1) * 30 mm is 42.43; (400 - 60) / 60 * (60 / sqrt(60^2 - 22^2) - 1) is 1 in 2.4
    (lambda: pathgen.finish(shapely.box(0, -30, 9, 30), pathgen.radiused(thickness=20.0, start=42.4), BALL, ridge=0.1),
     "finish outline: reaches 30.0 mm.*29.98 mm: there it goes down at 45 degrees"),
    (lambda: pathgen.slots([[[5, -22], [5, 22]]], pathgen.radiused(thickness=8.0, start=60.0, end=400.0, length=60.0),
                           FLAT, width=3.0, depth=1.0), "slots lines: the surface's radius.*allowed: 1 in 20"),
    (lambda: pathgen.rough(shapely.box(0, -22, 60, 22), pathgen.radiused(
        thickness=8.0, start=60.0, end=66.0, length=9.0), FLAT, stock=9.0), "rough outline.*edges go 1 in"),
    (lambda: pathgen.pocket(shapely.box(0, 5, 9, 20), top=pathgen.radiused(
        thickness=9.0, start=30.0, end=5.0, length=10.0), cutters=[FLAT], depth=1.0), "pocket region: reaches 20.0 mm"),
    # nothing to cut
    (lambda: pathgen.slots(*SLOT, width=3.0, depth=1e-9), "slots depth: 1e-09 mm"),
    (lambda: pathgen.outline(SQUARE, FLAT, stock=1e-9, tabs=0), "outline stock: 1e-09 mm"),
    (lambda: pathgen.outline(shapely.box(0, 0, 1e-9, 1e-9), FLAT, stock=6.0, tabs=0), "outline shape: 1e-09 mm by"),
    (lambda: pathgen.pocket(shapely.box(1e7, 0, 1e7 + 5, 5), top=TOP, cutters=[FLAT], depth=1.0), "1e.07 mm out"),
    (lambda: pathgen.simulate(BLANK, LINE, [FLAT, BALL]), "simulate cutters"),
    (lambda: pathgen.simulate(TOP, LINE, FLAT), "simulate blank"),
    (lambda: pathgen.simulate(BLANK, LINE, FLAT, resolution=math.nan), "simulate resolution"),
    (lambda: pathgen.simulate(BLANK, LINE, FLAT, zero=(0, 0)), "zero: an array"),
    (lambda: pathgen.simulate(BLANK, [3], FLAT), "program: an int"),
    (lambda: pathgen.simulate(BLANK, Path("no-such-file.nc"), FLAT), "cannot be read"),
    (lambda: pathgen.simulate(BLANK, "G21 G90\nG7 X5\n", FLAT), "line 2"),
    (lambda: pathgen.ridges(LINE, top=TOP), "ridges cutter"),
    (lambda: pathgen.ridges(LINE, cutter=FLAT, top=TOP), "ball-end"),
    (lambda: pathgen.ridges(LINE, cutter=BALL, top=TOP), "side by side"),
    (lambda: pathgen.compare_heights(pathgen.simulate(BLANK, [], []), TOP), "nothing to compare"),
])
def test_the_argument_is_named(door, words):
    with pytest.raises(pathgen.PathgenError, match=words) as caught:
        door()
    assert caught.value.allowed or caught.value.remedy


def test_the_most_and_the_least_are_allowed():
    for most in (LARGEST, 5.0):
        assert length("x", most, most=most) == most
        with pytest.raises(pathgen.PathgenError, match="at most"):
            length("x", most * (1 + 1e-9), most=most)
    assert length("x", 2.0, least=2.0) == 2.0
    with pytest.raises(pathgen.PathgenError, match="2 or more"):
        length("x", 1.999, least=2.0)
    with pytest.raises(pathgen.PathgenError, match="above 2"):
        length("x", 2.0, above=2.0)


def test_roughing_may_leave_nothing():
    left = pathgen.rough(SQUARE, pathgen.flat(6.0), FLAT, stock=8.0, allowance=0.0)
    assert left.points[:, 2].min() == pytest.approx(6.0)


@pytest.mark.parametrize(("door", "allowed"), [
    (lambda v: pathgen.pocket(SQUARE, top=TOP, cutters=[FLAT], depth=v), "0.01 or more, at most 1000 mm"),
    (lambda v: pathgen.pocket(SQUARE, top=TOP, cutters=[FLAT], depth=1, allowance=v), "0 or more, at most 1000 mm"),
    (lambda v: pathgen.pocket(SQUARE, top=TOP, cutters=[FLAT], depth=1, floor_ridge=v), "above 0, at most 1000 mm"),
    (lambda v: pathgen.pocket(SQUARE, top=TOP, cutters=[FLAT], depth=1, smallest=v), "0 or more, at most 1000 mm2"),
    (lambda v: pathgen.pocket(SQUARE, top=TOP, cutters=[FLAT], depth=1, clear=v), "2 or more, at most 200 mm"),
    (lambda v: pathgen.rough(SQUARE, TOP, FLAT, stock=v), "above 0, at most 100 mm"),
    (lambda v: pathgen.rough(SQUARE, TOP, FLAT, stock=8.0, allowance=v), "0 or more, at most 1000 mm"),
    (lambda v: pathgen.rough(SQUARE, TOP, FLAT, stock=8.0, finish=BALL, ridge=v), "0.0005 or more, at most 1 mm"),
    (lambda v: pathgen.finish(SQUARE, TOP, BALL, ridge=v), "0.0005 or more, at most 1 mm"),
    (lambda v: pathgen.finish(SQUARE, TOP, BALL, ridge=0.05, allowance=v), "0 or more, at most 1000 mm"),
    (lambda v: pathgen.second_cut(PASSES, proud=v, stepdown=0.5), "0 or more, at most 50 mm"),
    (lambda v: pathgen.second_cut(PASSES, proud=1, stepdown=v), "0.01 or more, at most 1.5 mm"),
    (lambda v: pathgen.second_cut(PASSES, proud=1, stepdown=0.5, blend=v), "0 or more, at most 1000 mm"),
    (lambda v: pathgen.slots(*SLOT, width=v, depth=1.0), "above 0, at most 1000 mm"),
    # the wood under the ends of the line: 6 - (254 - sqrt(254^2 - 9^2))
    (lambda v: pathgen.slots(*SLOT, width=3.0, depth=v), "0.01 or more, at most 5.8405 mm"),
    (lambda v: pathgen.outline(SQUARE, FLAT, stock=6.0, bottom=v), "-5 or more, at most 1000 mm"),
    (lambda v: pathgen.outline(SQUARE, FLAT, stock=v), "0.01 or more, at most 1000 mm"),
    (lambda v: pathgen.outline(SQUARE, FLAT, stock=v, bottom=2.5), "2.51 or more, at most 1000 mm"),
    (lambda v: pathgen.outline(SQUARE, FLAT, stock=v, bottom=-1.0), "0.01 or more, at most 1000 mm"),
    (lambda v: pathgen.outline(SQUARE, FLAT, stock=6.0, tab_width=v), "above 0, at most 1000 mm"),
    (lambda v: pathgen.outline(SQUARE, FLAT, stock=6.0, tab_height=v), "0 or more, at most 1000 mm"),
    (lambda v: pathgen.outline(SQUARE, FLAT, stock=6.0, blank=BOX, finish=v), "0 or more, at most 1000 mm"),
    (lambda v: pathgen.outline(SQUARE, FLAT, stock=6.0, tabs=int(v)), "0 or more, at most 100"),
    (lambda v: pathgen.ridges(LINE, cutter=BALL, top=TOP, limit=v), "above 0, at most 1000 mm"),
    (lambda v: pathgen.ridges(LINE, cutter=BALL, top=TOP, section_spacing=v), "0.01 or more, at most 1000 mm"),
    (lambda v: pathgen.ridges(LINE, cutter=BALL, top=TOP, section_step=v), "0.0001 or more, at most 1000 mm"),
    (lambda v: pathgen.check_program(LINE, cutter=BALL, top=TOP, blank=BLANK, limit=v), "above 0, at most 1000 mm"),
    (lambda v: pathgen.Blank(x=(0, max(v, 0.0)), y=(0, 5), thickness=3.0), "0.001 or more, at most 3000 mm"),
    (lambda v: pathgen.Blank(x=(0, 5), y=(0, 5), thickness=v), "0.5 or more, at most 100 mm"),
    (lambda v: pathgen.simulate(BLANK, LINE, BALL, resolution=v), "0.01 or more, at most 2 mm"),
    (lambda v: pathgen.check(pathgen.load_job(JOB), ROOT, resolution=v), "0.01 or more, at most 2 mm"),
    (lambda v: pathgen.simulate(BLANK, [], []).filled(SQUARE, top=TOP, proud=v), "-50 or more, at most 50 mm"),
    (lambda v: pathgen.fret_distances(v, 12), "1e-06 or more, at most 1e+09"),
    (lambda v: pathgen.flat(v), "0.5 or more, at most 100 mm"),
    (lambda v: pathgen.radiused(thickness=v, start=254.0), "0.5 or more, at most 100 mm"),
    (lambda v: pathgen.radiused(thickness=6.0, start=100 * v), "1 or more, at most 100000 mm"),
    (lambda v: pathgen.fret_distances(640.0, v), "1 or more, at most 1000"),
])
def test_how_large_and_how_small_each_number_may_be(door, allowed):
    for much in (-9999.0, 9999.0) if "1e+09" not in allowed else (0.99e-6, 1.01e9):
        with pytest.raises(pathgen.PathgenError) as caught:
            door(much)
        assert caught.value.allowed == allowed


@pytest.mark.parametrize(("made", "table", "limits"), [
    (lambda **one: cutter(**({"shape": "v", "angle": 60.0} if "angle" in one else {}) | one), CutterTable, LIMITS),
    (lambda **one: pathgen.Machine(**{name: {"travel": (v, v, v), "spindle": (v, v)}.get(name, v)
                                      for name, v in one.items()}), MachineTable, MACHINE),
])
def test_values_take_what_keys_take(made, table, limits):
    """At both ends, as the list of keys tells them, and not past them: 1e308 came into programs as S1000.. and F0."""
    keys = {field.name: field.metadata["reader"].limits for field in fields(table)}
    assert {name for name, told in keys.items() if told and name != "name"} == set(limits)
    for name, (least, most) in limits.items():
        assert f"{least:g} to {most:g}" in keys[name]
        made(**{name: least}), made(**{name: most})
        for past in (least - 0.01, 1.01 * most, 1e308, 1e-300 if least else -1e-300):
            with pytest.raises(pathgen.PathgenError, match=f"{name}.*allowed: {least:g} or more, at most {most:g}"):
                made(**{name: past})


def test_a_cutter_has_a_name_as_its_key_asks():
    for name in ("", " ", "\x00", 61 * "a"):
        with pytest.raises(pathgen.CutterError, match=r"cutter name.*1 to 60 characters"):
            cutter(name=name)
    assert cutter(name=60 * "a").name == 60 * "a"


@pytest.mark.parametrize("units", ["mm", "in"])
def test_the_slowest_plunge_is_written_as_a_feed(units):
    slow = cutter(feed=1.0, plunge=1.0)
    text = pathgen.program(pathgen.Toolpath.from_runs([[[0, 0, 5], [9, 0, 5]]], safe_z=9.0), cutter=slow, units=units)
    assert [float(f) * (25.4 if units == "in" else 1.0) for f in re.findall(r"F(\S+)", text)] \
        == pytest.approx([1.0], abs=0.02)


def test_where_all_is_left_to_the_finish_nothing_is_roughed():
    assert len(pathgen.rough(SQUARE, pathgen.flat(6.0), FLAT, stock=6.3, allowance=0.4)) == 0
    assert len(pathgen.rough(SQUARE, pathgen.flat(6.0), FLAT, stock=6.5, allowance=0.4)) > 0
