"""Words of pictures from above: over no part and over no other, on boards and plates as they come."""

import xml.etree.ElementTree as Tree
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely

from pathgen.base.errors import PathgenError
from pathgen.base.markup import as_svg
from pathgen.base.picture import View
from pathgen.job.blank import blank_clampings, parts_on_blank
from pathgen.job.clamping import clamping_of
from pathgen.job.load import load_job
from pathgen.job.nut_and_saddle import nut_and_saddle_clampings
from pathgen.report.pictures.above import board_from_above, name_places, view_above
from pathgen.report.pictures.blank import blank_from_above
from pathgen.report.pictures.labels import Labels, around
from pathgen.report.reaching import opened_of
from pathgen.work.clamping import KeepOut
from pathgen.work.features import Named
from pathgen.work.part import wood_in_plan
from tests.random_jobs import random_job
from tests.random_plates import random_plate
from tests.report.labels import cut_off, labels, over_one_another
from tests.report.test_pictures import points
from tests.small_board import dotted_job
from tests.whole.test_one_blank import BLANK
from tests.whole.test_one_blank import blank as write_blank

EXAMPLES = Path(__file__).parents[2] / "examples"


def words_over_the_part(clamping, picture):
    """Words of the picture from above that lie over wood of the part by more than a hundredth of a letter."""
    view = view_above(clamping)
    wood = shapely.transform(wood_in_plan(clamping.board), lambda points: view(points))
    bored = shapely.union_all([shapely.Point(view(one.at)[0]).buffer(one.wide / 2)
                               for step in clamping.steps for one in step.operation.named])
    wood = shapely.difference(wood, bored)
    return [words for words, box in labels(picture) if box.intersection(wood).area > 0.01 * box.area / len(words)]


def clean(clamping):
    picture = Tree.fromstring(as_svg(board_from_above(clamping, opened=opened_of(clamping))))
    assert words_over_the_part(clamping, picture) == []
    assert over_one_another(picture) == []
    assert cut_off(picture) == []
    return [words for words, _ in labels(picture)]


def clamped(clamping, chance):
    """The clamping with clamps in any number and place round the part, over its edge and over one another too."""
    x0, y0, x1, y1 = clamping.stock.bounds
    at = chance.uniform([x0 - 20, y0 - 20], [x1, y1], (chance.integers(0, 7), 2))
    boxes = [KeepOut(x=(x, x + a), y=(y, y + b), height=12.5)
             for (x, y), a, b in zip(at.tolist(), *chance.uniform(5, 40, (2, len(at))).tolist(), strict=True)]
    return replace(clamping, setup=replace(clamping.setup, keep_out=tuple(boxes)))


@pytest.mark.in_every_run(0)
def test_on_random_jobs(tmp_path):
    seen = clamps = 0
    for seed in range(30):
        try:
            clamping = clamping_of(load_job((random_plate if seed % 3 == 0 else random_job)(seed).write(tmp_path)))
        except PathgenError:
            continue  # refused, and said why: other tests look at that
        said, seen = clean(clamped(clamping, np.random.default_rng(seed))), seen + 1
        clamps += sum(words.startswith("clamp") for words in said)
        for step in clamping.steps:
            assert {one.name for one in step.operation.named} <= {*said, *(f"hole {word}" for word in said)}
    assert seen > 15
    assert clamps > 45


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize(("name", "names"), [
    ("moth-three-colours.toml", ["mark 1", "mark 2", "mark 3", "mark 4"]),
    ("boards/truss-rod.toml", ["hole 1", "hole 2"]),
    ("parts/head-plate.toml", ["1", "2", "3", "4", "5", "6"]),
])
def test_marks_and_holes_have_their_names(name, names):
    assert set(names) <= set(clean(clamping_of(load_job(EXAMPLES / name))))


def test_the_ends_of_a_narrow_part_are_named_outside_its_blank(tmp_path):
    """A nut's blank is 33 mm wide, and so high that its words are large: `far end` stood over it."""
    for clamping in nut_and_saddle_clampings(dotted_job(tmp_path)):
        picture = Tree.fromstring(as_svg(board_from_above(clamping, opened=opened_of(clamping))))
        x0, y0, x1, y1 = clamping.stock.bounds
        (left, low), (right, high) = view_above(clamping)(np.array([[x0, y0], [x1, y1]])).tolist()
        blank, said = shapely.box(left, low, right, high), dict(labels(picture))
        assert said.keys() >= {"near end", "far end"}
        assert not [words for words, box in said.items() if box.intersects(blank)]
        assert said["near end"].bounds[3] == said["far end"].bounds[3]  # beside each other
        assert over_one_another(picture) == cut_off(picture) == []


def test_parts_of_a_blank_are_named_beside_them():
    job = load_job(EXAMPLES / "one-blank" / "three-plates.toml")
    clampings = blank_clampings(job)
    picture = Tree.fromstring(as_svg(blank_from_above(job.title, clampings, [name for name, _ in parts_on_blank(job)],
                                                      along=job.setup.along, opened=list(map(opened_of, clampings)))))
    assert [words for words, _ in labels(picture)][-3:] == ["1 head-plate", "2 rod-cover", "3 heel-cap"]
    parts = [path for path in picture.iter() if path.get("class") == "part"]
    assert len(parts) == 3
    for part in parts:
        shape = shapely.Polygon(points(part)[0])
        assert shape.area > 500
        assert not [words for words, box in labels(picture) if box.intersects(shape)]


def test_no_line_of_a_blank_crosses_the_name_of_a_clamp(tmp_path):
    """Clamps on the corner of the blank, on its edge and between two shares."""
    path = write_blank(tmp_path, BLANK.replace("[[part]]", "[setup]\nkeep_out = [" + ", ".join(
        f"{{ along = [{x}, {x + 6}], across = [{y}, {y + 8}], height = 12 }}"
        for x, y in ((-3, -69), (60, -69), (116, -64), (117, 20), (297, 60))) + "]\n[[part]]", 1))
    job = load_job(path)
    clampings = blank_clampings(job)
    picture = Tree.fromstring(as_svg(blank_from_above(job.title, clampings, [name for name, _ in parts_on_blank(job)],
                                                      along="x", opened=list(map(opened_of, clampings)))))
    dashed = [points(path)[0] for path in picture.iter() if path.get("stroke-dasharray")]
    assert len(dashed) == 3
    outline = points(next(path for path in picture.iter() if path.tag.endswith("path")))[0]  # the blank's
    assert np.ptp(outline, axis=0).min() > max(np.ptp(ring, axis=0).max() for ring in dashed) / 2
    shares = shapely.union_all([shapely.LinearRing(ring) for ring in (outline, *dashed)])
    named = [(words, box) for words, box in labels(picture) if words.startswith("clamp")]
    assert len(named) == 5
    assert [words for words, box in named if box.intersects(shares)] == []


def test_a_word_without_room_goes_outside_with_a_line_to_what_it_names():
    part = shapely.box(0, 0, 100, 50)
    places = Labels([shapely.difference(part, shapely.Point(20, 20).buffer(6))])
    name_places(places, [Named("hole 1", (50.0, 20.0), 1.0), Named("hole 2", (20.0, 20.0), 12.0)], part, 4.0)
    view = View.around(places.within((0, 0, 100, 50)), 0.0)
    line, outside, inside = places.drawn(view)
    assert (outside.text, inside.text, line.get("class")) == ("hole 1", "2", "lead")
    assert not part.contains(shapely.Point(view.left + float(outside.get("x")), view.top - float(outside.get("y"))))


def test_words_stand_beside_what_they_name():
    one = shapely.box(10, 10, 20, 14)
    assert np.all([one.distance(shapely.Point(x, y)) < 4 for x, y, _ in around(one, 3.0)])


def test_a_line_to_what_is_named_leads_through_no_other_words():
    """A mark under a row of numbers, with no room beside it nor in the row: a line once ran through the one over it."""
    made = Labels([shapely.box(0, 0, 100, 50)])
    for number, x in enumerate(range(0, 101, 4), 1):
        made.put(str(number), [(x, 50.8, "middle")], size=2.0)
    made.put("mark 3", [(40.0, 40.0, "middle")], size=2.0, named=shapely.Point(40.0, 40.0).buffer(1.0))
    view = View.around((0, 0, 100, 70), 0.0)
    picture = Tree.fromstring(as_svg(view.picture("a", *made.drawn(view))))
    (lead,) = [one for one in picture.iter() if one.get("class") == "lead"]
    line = shapely.LineString(points(lead)[0])
    assert [words for words, box in labels(picture) if box.intersects(line) and words != "mark 3"] == []


def test_marks_over_the_numbers_are_named_near_by():
    """Lines along the whole edge led to two of them, from words left of the blank."""
    clamping = clamping_of(load_job(EXAMPLES / "moth-three-colours.toml"))
    picture = Tree.fromstring(as_svg(board_from_above(clamping, opened=opened_of(clamping))))
    leads = [np.ptp(points(one)[0], axis=0).max() for one in picture.iter() if one.get("class") == "lead"]
    assert len(leads) == 1
    assert max(leads) < 0.04 * clamping.board.length
    assert [words for words, _ in labels(picture) if words.endswith(" side")] == ["bass side", "treble side"]
