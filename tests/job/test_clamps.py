"""A clamp that is hit is refused with the place where it is, and with a value that then works: on boards by chance."""

import math
import random
import re

import pytest
import shapely

import pathgen
from pathgen.base.errors import JobError
from pathgen.job.clamping import planned_of
from tests import small_board

REST = small_board.SLOT_CUTTER + """
[slots]
cutter = "slot"
width = 0.6
depth = 2.0
[outline]
cutter = "flat"
tabs = 4
"""
NEAR = re.compile(r"near (-?[\d.]+) mm along, (-?[\d.]+) mm across")
WAY = re.compile(r"(let it|move it until it) (end|begin)s? at (-?[\d.]+) mm (along|across) or (?:before|after)")
CUTTERS = {"surface": 12.7, "second-cut": 12.7, "pocket": 2.0, "outline": 2.0, "slots": 0.6}
"""Diameter of the cutter, mm, by a word of the step."""


def board(seed):
    """Numbers of a small board, and two clamps that lie on its blank: {along, across, height}, mm."""
    chance = random.Random(seed)
    numbers = {
        "scale_length = 300.0": f"scale_length = {chance.uniform(270, 330):.1f}",
        "end = 300.0": f"end = {chance.choice([254.0, 300.0, 406.4])}",
        "end_width = 46.0": f"end_width = {chance.uniform(42, 50):.1f}",
        "length = 125.0": f"length = {chance.uniform(130, 150):.1f}",
        "margin_nut = 20.0": f"margin_nut = {chance.uniform(15, 25):.1f}",
        "thickness = 8.0": f"thickness = {chance.uniform(7.5, 9.0):.1f}",
    }
    if chance.random() < 0.5:
        numbers['finish = "ball"'] = 'finish = "ball"\nleave = 0.2'
    clamps = []
    for _ in range(2):
        along, across = chance.uniform(-14, 95), chance.uniform(-33, 33)
        clamps.append({"along": [round(along, 1), round(along + chance.uniform(6, 40), 1)],
                       "across": [round(across, 1), round(across + chance.uniform(6, 40), 1)],
                       "height": round(chance.uniform(9.5, 25), 1)})
    return numbers, clamps


def written(folder, numbers, clamps):
    rows = ",\n".join("{{ along = {along}, across = {across}, height = {height} }}".format(**one) for one in clamps)
    return small_board.job(folder, changes=numbers, extra=f"{REST}[setup]\nkeep_out = [\n{rows} ]\n")


def put_as_told(clamp, words):
    """The clamp as the remedy says: one of its ends there, or all of it moved."""
    move, end, value, key = WAY.search(words).groups()
    low, high = clamp[key]
    to = float(value)
    if end == "end":
        return clamp | {key: [round(to - (high - low), 1), to] if move.startswith("move") else [low, to]}
    return clamp | {key: [to, round(to + high - low, 1)] if move.startswith("move") else [to, high]}


@pytest.mark.in_every_run(2)
@pytest.mark.parametrize("seed", [*range(8), 23, 113])
def test_what_is_told_of_a_clamp_is_where_it_is_and_works(tmp_path, seed):
    numbers, clamps = board(seed)
    mended = set()
    while True:
        job = pathgen.load_job(written(tmp_path, numbers, clamps))
        try:
            planned_of(job)
            break
        except JobError as refused:
            wrong = refused
        number = int(re.search(r"keep_out (\d)$", wrong.where)[1])
        assert number not in mended, wrong
        mended.add(number)
        clamp = clamps[number - 1]
        box = shapely.box(clamp["along"][0], clamp["across"][0], clamp["along"][1], clamp["across"][1])
        place = shapely.Point(*map(float, NEAR.search(wrong.problem).groups()))
        assert box.distance(place) <= next(size for words, size in CUTTERS.items() if words in wrong.where), wrong
        clamps[number - 1] = put_as_told(clamp, wrong.remedy)
        assert math.isclose(clamps[number - 1]["height"], clamp["height"])
    if seed in (0, 23):
        assert pathgen.build(job, resolution=0.4).passed


def test_enough_of_these_boards_are_refused(tmp_path):
    refused = 0
    for seed in range(6):
        job = pathgen.load_job(written(tmp_path, *board(seed)))
        try:
            planned_of(job)
        except JobError:
            refused += 1
    assert refused > 3
