"""Values that others hold: they stay as they are, can be copied and sent elsewhere, and are shown in a few lines."""

import copy
import os
import pickle
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely

import pathgen
from pathgen.app.starting import start_job


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    job, _ = start_job(str(tmp_path_factory.mktemp("values") / "board"))
    return pathgen.build(pathgen.load_job(job), resolution=0.3)


@pytest.mark.parametrize("door", [
    lambda: pathgen.flat(-1.0), lambda: pathgen.load_job("none.toml"), lambda: pathgen.read_program("G81"),
    lambda: pathgen.read_artwork("none.svg"), lambda: pathgen.stepover_for(0.01, -3.0),
])
@pytest.mark.parametrize("way", [copy.copy, copy.deepcopy, lambda error: pickle.loads(pickle.dumps(error))])
def test_an_error_comes_back_from_another_process_as_it_was(door, way):
    with pytest.raises(pathgen.PathgenError) as caught:
        door()
    was = caught.value
    was.others = (pathgen.PathgenError("here", "this", remedy="that"),)
    back = way(was)
    assert type(back) is type(was)
    assert (str(back), back.where, back.problem, back.allowed, back.remedy) == (
        str(was), was.where, was.problem, was.allowed, was.remedy)
    assert list(map(str, back.others)) == ["here: this: that"]


@pytest.mark.in_every_run(0)
def test_a_build_comes_back_from_another_process(made):
    back = pickle.loads(pickle.dumps(made))
    assert back.files(shaded=False) == made.files(shaded=False)


@pytest.mark.in_every_run(0)
def test_what_python_shows_of_a_value_is_a_few_lines(made):
    path, text = made.programs[0].toolpath, made.programs[0].text
    cutter = made.programs[0].step.cutter
    blank, top = pathgen.Blank(x=(-12, 490), y=(-37, 37), thickness=8.0), pathgen.flat(6.5)
    field = pathgen.simulate(blank, text, cutter, resolution=0.5)
    for value in (made, made.verification, made.programs, path, pathgen.read_program(text), field, field.took[0],
                  pathgen.compare_heights(field, top), pathgen.ridges(text, cutter=cutter, top=top),
                  pathgen.check_program(text, cutter=cutter, top=top, blank=blank, resolution=0.5)):
        assert type(value).__name__ in repr(value) or isinstance(value, tuple)
        assert len(repr(value)) < 1500


@pytest.mark.parametrize("way", [copy.copy, copy.deepcopy, lambda value: pickle.loads(pickle.dumps(value))])
def test_a_copy_is_equal_to_what_it_was_made_of(made, way):
    """That of a blank and of a job was not."""
    top = pathgen.radiused(thickness=6.0, start=254.0)
    blank = pathgen.Blank(x=(0, 40), y=(-10, 10), thickness=8, top=top)
    for value in (top, blank, pathgen.Machine(travel=(10, 20, 30)), made.programs[0].step.cutter, made.job):
        assert way(value) == value
        assert hash(way(value)) == hash(value)
    assert blank != replace(blank, thickness=9)
    assert made.job != replace(made.job, title="another")


def test_what_was_measured_stays_as_it_is(made):
    """As where somebody takes what is not finite out of an array, to draw it."""
    text, cutter, top = made.programs[0].text, made.programs[0].step.cutter, pathgen.flat(6.5)
    blank = pathgen.Blank(x=(-12, 490), y=(-37, 37), thickness=8.0)
    field = pathgen.simulate(blank, text, cutter, resolution=0.5)
    took, ridges = field.took[0], pathgen.ridges(text, cutter=cutter, top=top)
    passes = pathgen.finish(shapely.box(0, -2, 9, 2), top, cutter, ridge=0.02).passes
    for array in (field.top, field.before, field.x, took.start, took.bites.depth, took.pieces[0].feed,
                  took.pieces[1].at, pathgen.compare_heights(field, top).map, ridges.map, ridges.ridges.height,
                  passes.y, made.programs[0].toolpath.points):
        with pytest.raises(ValueError, match="read-only"):
            array[~np.isfinite(array)] = 0.0
    again = pathgen.simulate(field, text, cutter)
    assert again.volume == pytest.approx(field.volume)


def test_so_does_what_is_in_it():
    """As a second cut must find the lines of the first, whatever was done with them meanwhile."""
    top, run = pathgen.flat(6.0), {"speed": 9000, "feed": 900, "plunge": 200, "stepdown": 2.0}
    ball = pathgen.Cutter(name="ball 6", shape="ball-end", diameter=6.0, **run)
    passes = pathgen.finish(shapely.box(0, -5, 20, 5), top, ball, ridge=0.05)
    flat = pathgen.Cutter(name="flat 3", shape="flat-end", diameter=3.0, **run)
    (pocket,) = pathgen.pocket(shapely.box(0, -5, 20, 5), top=top, cutters=[flat], depth=1.0)
    blank = pathgen.Blank(x=np.array([-5.0, 25.0]), y=[-9.0, 9.0], thickness=6.5)
    found = pathgen.check_program(pathgen.program(passes), cutter=ball, top=top, blank=blank)
    took = found.field.took[0]
    for array in (passes.passes.run, passes.passes.y, pocket.pocket.toolpath.points, took.start, took.bites.volume,
                  took.pieces[0].end, found.ridges.ridges.height):
        with pytest.raises(ValueError, match="read-only"):
            array += 1.0
    assert (blank.x, blank.y) == ((-5.0, 25.0), (-9.0, 9.0))


def test_a_path_is_its_own():
    points = np.array([[0.0, 0.0, 5.0], [0.0, 0.0, 1.0]])
    path = pathgen.Toolpath(points, [0, 2])
    points[1, 2] = -9.0
    assert path.points[1, 2] == 1.0


def test_whole_numbers_of_any_kind_are_counts():
    assert pathgen.fret_distances(640, np.int8(127), np.int8(12)).tolist() == pathgen.fret_distances(640, 127).tolist()


def test_what_a_folder_lists_is_a_path(made):
    with os.scandir(made.job.path.parent) as found:
        entry = next(one for one in found if one.name.endswith(".toml"))
    assert pathgen.load_job(entry).fingerprint == made.job.fingerprint
    for folder in (None, b"out"):
        with pytest.raises(pathgen.PathgenError, match="write folder"):
            made.write(folder)
    assert not Path("out").exists()
