"""Tight radii and drawings out to the edges, for `tests.random_jobs`: ``... --steep [--drawings FOLDER]``.

One drawing, large or far from the centre-line, on a short board whose surface is steep there, opened by round and
pointed cutters of every kind, alone or after a flat end: where what a cutter opens is least like a disc.
"""

from pathlib import Path

from tests.random_jobs import Chance, RandomJob, _icon, _svg, _toml

EXAMPLES = Path(__file__).parents[1] / "examples"

SETS = (["v"], ["v sunk"], ["v thin"], ["v blunt"], ["ball"], ["ball", "ball small"], ["flat", "v"], ["flat", "v sunk"],
        ["flat", "v blunt"], ["flat", "ball"], ["ball", "v"], ["flat", "flat small", "v"], ["flat", "flat small"])
SHAPES = {
    "v": ("v", 6.0, 60.0), "v sunk": ("v", 3.175, 90.0), "v thin": ("v", 3.175, 30.0), "ball": ("ball-end", 3.0, None),
    "ball small": ("ball-end", 1.0, None), "flat": ("flat-end", 3.0, None), "flat small": ("flat-end", 1.0, None),
}


def steep_job(seed: int, drawings: list[Path] | None = None) -> RandomJob:
    """The job of a seed, with one of the drawings, those of the examples where none are given."""
    chance = Chance(seed + 30_000_000)
    names = chance.one(*SETS)
    shapes = {**SHAPES, "v blunt": ("v", chance.one(3.0, 6.0, 8.0), float(chance.one(100, 120, 130, 140, 150)))}
    cutters = [{"name": name, "shape": shape, "diameter": diameter, "speed": 16000, "feed": 900.0, "plunge": 250.0,
                "stepdown": chance.one(0.5, 1.0, 1.5), "stepover": chance.one(0.1, 0.25, 0.45, 0.6),
                **({"angle": angle} if angle else {}),
                **({"plunges": False} if shape == "flat-end" and chance.now_and_then(0.2) else {})}
               for name, (shape, diameter, angle) in shapes.items() if name in names]
    finish = {"name": "finish", "shape": "ball-end", "diameter": chance.one(6.0, 8.0, 12.7), "speed": 14000,
              "feed": 2400.0, "plunge": 600.0, "stepdown": 3.0}
    wide = chance.one(18.0, 26.0, 34.0, 46.0)
    tables = {
        "cutter": [finish, *cutters],
        "stock": {"length": 130.0, "width": 76.0, "thickness": 9.5, "margin_nut": 15.0},
        "surface": {"finish": "finish", "scallop": chance.one(0.005, 0.01, 0.02, 0.05)},
        "board": {"scale_length": 300.0, "frets": 5, "nut_width": 54.0, "end_width": 60.0, "thickness": 7.5,
                  "radius": chance.one(110.0, 150.0, 184.0, {"nut": 150.0, "end": 254.0},
                                       {"nut": 184.0, "end": 400.0})},
        "inlay": [{"artwork": "a0.svg", "artwork_missing": "report", "depth": chance.length(0.4, 2.2), "cutters": names,
                   "fill": chance.one("resin", "resin", "none"),
                   "place": {"at": [45.0, chance.one(0.0, 0.0, 12.0, -16.0)], "width": wide,
                             "rotate": chance.one(0, 30, 90)}}],
    }
    drawing = chance.one(*(drawings or sorted(EXAMPLES.rglob("*moth*.svg"))))
    return RandomJob(_toml(tables, inches=False), {"a0.svg": _svg(40.0, 40.0, _icon(drawing.read_text(), 0, 0, 40.0))})
