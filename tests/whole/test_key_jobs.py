"""Jobs drawn from the reader's own tables: no key and no shape is left out, and what is built passes its own check."""

from copy import deepcopy

import pytest

import pathgen
from pathgen.app.building import build
from pathgen.base.errors import PathgenError
from tests.key_jobs import COLOURS, ROWS, SHAPES, VALUES, key_job, rule_of
from tests.random_jobs import COARSE, RandomJob, _svg, _toml, clampings_beside, ending

CUTTERS = [{"name": shape, "shape": shape, "diameter": 1.0, "speed": 10000, "feed": 600.0, "plunge": 200.0,
            "stepdown": 0.5, **({"angle": 60.0} if shape == "v" else {})} for shape in SHAPES["any"]]
BOARD = {
    "board": {"scale_length": 200.0, "frets": 3, "nut_width": 26.0, "end_width": 30.0, "thickness": 6.0, "radius": 150.0,
              "behind_nut": 8.0, "strings": 4, "side_dots": [3]},
    "stock": {"length": 110.0, "width": 60.0, "thickness": 7.0, "margin_nut": 30.0},
    "surface": {"finish": "ball-end", "rough": "flat-end", "scallop": 0.05},
    "inlay": [{"artwork": "a.svg", "depth": 1.0, "cutters": ["flat-end"], "fill": "piece",
               "piece": {"cutter": "flat-end", "thickness": 1.5}, "place": {"at": [20.0, 0.0]}}],
    "holes": {"cutter": "flat-end", "at": [[-20.0, 0.0], [70.0, 0.0]], "diameter": 1.5},
    "channel": {"cutter": "flat-end", "along": [5.0, 30.0], "depth": 1.0},
    "nut": {"cutter": "flat-end", "width": 3.0, "depth": 1.0},
    "slots": {"cutter": "flat-end", "depth": 1.0, "bevel": 0.1, "bevel_cutter": "v"},
    "outline": {"cutter": "flat-end"},
    "block": {"cutter": "ball-end", "outline": "flat-end"}, "gauges": {"cutter": "flat-end", "engraver": "v"},
    "side_dots": {"cutter": "flat-end"}, "coupon": {"cutters": ["flat-end"]},
    "nut_blank": {"cutter": "flat-end", "height": 8.0, "engraver": "v"},
    "saddle_blank": {"cutter": "flat-end", "height": 12.0, "engraver": "v"},
    "marks": {"cutter": "v"},
}
PLATE = {
    "plate": {"artwork": "plate.svg", "place": {"at": [20.0, 0.0]}, "thickness": 3.0, "face": False,
              "openings": {"colours": [COLOURS[0]], "cutter": "flat-end"}},
    "stock": {"length": 60.0, "width": 50.0, "thickness": 3.0},
    "ring": [{"at": [12.0, 0.0], "inner": 3.0, "outer": 5.0, "depth": 1.0, "cutters": ["flat-end"]}],
    "hole": [{"cutter": "flat-end", "at": [20.0, 6.0], "diameter": 3.0}],
    "outline": {"cutter": "flat-end"},
}
DRAWINGS = {
    "a.svg": _svg(10, 10, '<rect x="2" y="2" width="6" height="6"/>'),
    "plate.svg": _svg(40, 30, f'<rect width="40" height="30" fill="{COLOURS[1]}"/>'
                      f'<rect x="26" y="12" width="8" height="6" fill="{COLOURS[0]}"/>'),
}


def test_each_key_has_values_and_each_value_its_key():
    """One that has none raises KeyError: add its values to `VALUES`."""
    known = {f"{head} {field.name}" for head, field in ROWS}
    for head, field in ROWS:
        rule_of(head, field)
    assert [name for name in VALUES if not any(key == name or key.endswith(f" {name}") for key in known)] == []


def refusal(tables, folder):
    job = RandomJob(_toml(tables | {"cutter": CUTTERS}, inches=False), DRAWINGS)
    try:
        read = pathgen.load_job(job.write(folder))
        for clamping in (None, *clampings_beside(read)):
            build(read, clamping=clamping, resolution=0.5)
    except PathgenError as refused:
        return str(refused)
    return ""
