"""What later programs count on is not cut away: witness marks, and where Z 0 is tried over a raw top."""

from types import SimpleNamespace

import numpy as np
import pytest

import pathgen
from pathgen.removal.motion import Motion
from pathgen.verify.findings import Tolerances
from pathgen.verify.kept import _tried, mark_kept_findings, zero_kept_findings
from pathgen.verify.over_board import motion_over_board
from pathgen.verify.read import read_program
from tests import small_board
from tests.leaf import write_leaf

KINDS = {"bed": ("", {}), "inches, turned, zero on top": (None, {"along": "y", "units": "in", "z_zero": "stock-top"})}


@pytest.fixture(scope="module", params=sorted(KINDS))
def marked(request, tmp_path_factory):
    own, way = KINDS[request.param]
    folder = tmp_path_factory.mktemp("marked")
    if own is None:
        path = write_leaf(folder, **way)
        path.write_text(path.read_text().replace('width = "60 mm"', 'width = "70 mm"') + '[marks]\ncutter = "flat 1"\n')
    else:
        path = small_board.job(folder, extra=small_board.SLOTS + '[marks]\ncutter = "flat"\n')
    return pathgen.build(pathgen.load_job(path), resolution=0.8)


def found(result, operation, to=None, low=0.0, aside=0.0):
    """What is told once a program cuts a groove 2 mm long at a place of the blank too, `low` mm below the raw top."""
    clamping = result.plan.clamping
    texts = {p.file_name: p.text for p in result.programs}
    name = next(p.file_name for p in result.programs if p.operation == operation)
    if to is not None:
        step = next(s for s in clamping.steps if s.file_name == name)
        top = clamping.stock.thickness
        way = [[to[0] - 1.0, to[1] + aside, top + 9.0], [to[0] - 1.0, to[1] + aside, top - low],
               [to[0] + 1.0, to[1] + aside, top - low], [to[0] + 1.0, to[1] + aside, top + 9.0]]
        unit = 25.4 if clamping.units == "in" else 1.0
        lines = ["G{} X{:.5f} Y{:.5f} Z{:.5f}".format(int(0 < k < 3), *at)
                 for k, at in enumerate(clamping.to_machine(np.array(way), step) / unit)]
        texts[name] = texts[name].replace("\nM5\n", "\n" + "\n".join(lines) + "\nM5\n")
    programs = {one: read_program(text, name=one) for one, text in texts.items()}
    moves = {s.order: motion_over_board(programs[s.file_name], clamping, chord_tolerance=1e-4, step=s)
             for s in clamping.steps}
    told = [*mark_kept_findings(clamping, moves, Tolerances()),
            *zero_kept_findings([(clamping, programs, moves)], Tolerances())]
    assert all(f.where.startswith(f"{name}, line ") for f in told)
    return [(f.code, f.got) for f in told]


@pytest.mark.in_every_run(1)
def test_good_programs_cut_into_none(marked):
    assert found(marked, "pocket") == []


@pytest.mark.in_every_run(1)
def test_a_mark_that_is_cut_over_is_told_and_a_cut_beside_it_is_not(marked):
    """A groove 0.1 mm less deep than the mark was found good: hover programs had 0.1 mm judged by what was left."""
    clamping = marked.plan.clamping
    marks = next(s for s in clamping.steps if s.operation.name == "witness-marks")
    depth, mark = marks.operation.feature.depth, marks.operation.feature.places[1]
    assert found(marked, "pocket", mark, depth - 0.1) == [
        ("mark-cut", f"it cuts {depth - 0.1:.3f} mm into mark 2 or its rim, by which the work is found again")]
    cutter = next(p.step.cutter for p in marked.programs if p.operation == "pocket")
    wide = cutter.radius + marks.cutter.radius
    assert [code for code, _ in found(marked, "pocket", mark, 0.3, aside=wide - 0.1)] == ["mark-cut"]
    assert found(marked, "pocket", mark, 0.3, aside=wide + 0.4) == []
    assert found(marked, "pocket", mark, 0.01) == []


@pytest.mark.in_every_run(1)
def test_the_place_that_zero_is_tried_on_is_left_until_it_was(marked):
    """A maker who obeys sets Z 0 too low by as much as was milled away there: slots came out 1 mm too deep."""
    checks = {order: one for order, one in marked.plan.zero_checks.items() if one.on == "raw top"}
    first, last = min(checks), max(checks)
    at = checks[last].x, checks[last].y
    names = {s.order: s.operation.name for s in marked.plan.clamping.steps}
    cutting = next(name for order, name in names.items() if first <= order < last and name != "witness-marks")
    ((code, got),) = found(marked, cutting, at, 1.0)
    assert code == "zero-place-cut"
    assert got.startswith("it cuts 1.000 mm into the place where Z 0 is tried before program ")
    assert found(marked, names[last], at, 1.0) == []  # nobody tries it there again
    assert found(marked, cutting, at, 0.01) == []


def test_every_such_place_is_read_from_the_head(marked):
    """What is not read there is not looked at; the first is told in other words than those after it."""
    clamping, checks = marked.plan.clamping, marked.plan.zero_checks
    over = {order: one for order, one in checks.items() if one.on == "raw top"}
    assert {one.like is None for one in over.values()} == {True, False}
    for program in marked.programs:
        order = program.step.order
        tried = _tried(read_program(program.text, name="a.nc"), clamping, program.step)
        assert (tried is not None) == (order in over)
        assert tried is None or np.allclose(tried[1], (over[order].x, over[order].y), atol=0.01)


def test_on_a_common_blank_another_parts_program_may_cut_the_place_away():
    """X 50 on the display is 10 mm along in the frame of the other part, which lies 40 mm further on."""
    cutter = pathgen.Cutter(name="a", shape="flat-end", diameter=3.0, speed=100.0, feed=1.0, plunge=1.0, stepdown=1.0)

    def part(number, file_name, aside):
        step = SimpleNamespace(number=number, order=1, file_name=file_name, cutter=cutter)
        return SimpleNamespace(steps=[step], units="mm", to_board=lambda points, step=None: points - [aside, 0.0, 0.0],
                               stock=SimpleNamespace(thickness=8.0), surfacing=True)

    def told(x, first=1):
        motion = Motion(start=np.array([[x, 3.0, 9.0]]), end=np.array([[x, 3.0, 7.5]]), rapid=np.zeros(1, bool),
                        feed=np.ones(1), line=np.array([7]), motion=np.arange(1))
        cut = [(part(2, "b.nc", 0.0), programs, {}), (part(first, "a.nc", 40.0), programs, {1: motion})]
        return [(f.code, f.where, f.got) for f in zero_kept_findings(cut, Tolerances())]

    programs = {"b.nc": SimpleNamespace(comments=[
        (1, "- Check Z 0 as before program 1: at X 50 mm, Y 3 mm, over the bare"), (2, ".. raw top, on a feeler")])}
    assert told(10.0) == [("zero-place-cut", "a.nc, line 7, 10 mm along, 3 mm across",
                           "it cuts 0.500 mm into the place where Z 0 is tried before program 2")]
    assert told(50.0) == told(10.0, first=3) == []
