"""A re-surface against the first finish, move by move, on a few moves made by hand."""

import itertools
from types import SimpleNamespace

import numpy as np
import pytest

from pathgen.removal.motion import Motion
from pathgen.verify.repeats import part_repeat_findings, repeat_findings

STEP = SimpleNamespace(file_name="again.nc")
PASSES = [(0, 0, 5.0), (40, 0, 6.0), (80, 0, 5.0), (80, 1, 5.0), (40, 1, 6.0), (0, 1, 5.0)]


def motion(*runs):
    """Feed moves down to and through each run's points, with a rapid between runs; lines count from 1."""
    start, end, rapid = [], [], []
    for run in ([(*points[0][:2], 20.0), *points] for points in runs):
        if end:
            start.append(end[-1])
            end.append(run[0])
            rapid.append(True)
        for a, b in itertools.pairwise(run):
            start.append(a)
            end.append(b)
            rapid.append(False)
    count = len(end)
    return Motion(start=np.array(start, float), end=np.array(end, float), rapid=np.array(rapid),
                  feed=np.full(count, 900.0), line=np.arange(1, count + 1), motion=np.arange(count))


def moved(points, index, by):
    return [tuple(np.add(p, by)) if k == index else p for k, p in enumerate(points)]


def test_the_same_passes_after_others_through_the_fill_are_a_repeat():
    above = [(x, y, z + 1) for x, y, z in PASSES]
    assert not list(repeat_findings(motion(PASSES), motion(PASSES), STEP))
    assert not list(repeat_findings(motion(PASSES), motion(above, PASSES), STEP))
    # a rough run before the finish is none of it
    rough = [(0, 0, 9), (80, 0, 9)]
    assert not list(repeat_findings(motion(rough, rough, PASSES), motion(PASSES), STEP))


def test_a_line_written_twice_is_no_difference():
    twice = [*PASSES[:3], *PASSES[2:]]
    assert not list(repeat_findings(motion(PASSES), motion(twice), STEP))
    assert not list(repeat_findings(motion(twice), motion(PASSES), STEP))


@pytest.mark.parametrize(("index", "by"), [(1, (0, 0, 2e-9)), (3, (-2e-9, 0, 0)), (5, (0, 2e-9, 0))])
def test_the_first_move_that_differs_is_named(index, by):
    again = motion([(x, y, z + 1) for x, y, z in PASSES], moved(moved(PASSES, index, by), 5, by))
    found, = repeat_findings(motion(PASSES), again, STEP)
    assert found.where.startswith(f"again.nc, line {8 + index}, {PASSES[index][0]} mm along")
    assert ("2 moves are others" in found.got) == (index != 5)
    assert f"a move to {PASSES[index][2]:.4f} mm" in found.got


def test_fewer_moves_are_no_repeat():
    found, = repeat_findings(motion(PASSES), motion([(9, 9, 9.0), *PASSES[1:-1]]), STEP)
    assert (found.got, "the 6 of" in found.allowed) == ("5 feed moves", True)


@pytest.mark.parametrize(("gone", "more", "row", "got"), [
    (slice(2, 4), [], 2, "a move to 6.0000 mm above the bed (2 moves are missing)"),
    (slice(1, 2), [], 1, "a move to 5.0000 mm above the bed (1 move is missing)"),
    (slice(4, 6), [], 3, "no move (2 moves are missing)"),
    (slice(3, 3), [(80, 0.5, 5.0)], 3, "a move to 5.0000 mm above the bed (1 move is too many)"),
    (slice(6, 6), [(0, 2, 5.0)], 6, "a move to 5.0000 mm above the bed (1 move is too many)"),
])
def test_where_lines_were_taken_out_the_first_after_the_gap_is_named(gone, more, row, got):
    """The runs were held against each other from their ends: the first line named, long before the gap, was as made."""
    above = [(x, y, z + 1) for x, y, z in PASSES]
    for before in ([above], []):
        edited = PASSES[: gone.start] + more + PASSES[gone.stop :]
        found, = repeat_findings(motion(PASSES), motion(*before, edited), STEP)
        assert found.got == got
        first = 1 + len(above) + 1 if before else 1
        assert f"line {first + row}," in found.where
        asked = f"{PASSES[gone.start][2]:.4f} mm above the bed" if gone.start < len(PASSES) else "and no more"
        assert found.allowed.endswith(asked)


@pytest.mark.parametrize(("deeper", "words"), [
    (0.0, []), (1e-3, ["0.0010 mm below the first finishing pass", "no move along a first finishing pass"]),
])
def test_in_a_moved_frame_a_pass_lies_rounded_to_and_fro(deeper, words):
    """As it is read back from places in whole tenths of a micrometre: half of one off, across and in height."""
    turned, rounded = np.array([[0.998, 0.06, 0.0], [-0.06, 0.998, 0.0], [0.0, 0.0, 1.0]]), np.linalg.inv

    def read(points):
        return [tuple(row) for row in (np.array(points, float) @ turned).round(4) @ rounded(turned)]

    first, again = read(PASSES), read([(x, y, z - deeper) for x, y, z in PART])
    assert len({row[1] for row in first}) > 2
    assert [f.got for f in part_repeat_findings(motion(first), motion(again), STEP, within=4e-4)] == words


PART = [(30, 0, 5.75), (40, 0, 6.0), (50, 0, 5.75), (50, 1, 5.75), (40, 1, 6.0), (30, 1, 5.75)]


@pytest.mark.parametrize(("part", "words"), [
    (PART, []),
    ([(x, y, z + 0.5) for x, y, z in PART] + PART, []),
    ([(x, y, z - 2.5e-4) for x, y, z in PART], []),  # as far as rounding goes
    (moved(PART, 2, (0, 0, -3.6e-4)), ["0.0004 mm below the first finishing pass"]),
    ([(x, y, z + 3.6e-4) for x, y, z in PART], ["no move along a first finishing pass"]),
    ([(x, y, z - 0.5) for x, y, z in PART],
     ["0.5000 mm below the first finishing pass", "no move along a first finishing pass"]),
    ([(x, y + 0.5, z) for x, y, z in PART[:3]], ["no move along a first finishing pass"]),
    ([(40, 0, 6.0), (40, 1, 4.0), (50, 1, 5.75), (50, 0, 5.75)], ["2.0000 mm below the first finishing pass"]),
    ([*PART, (30, 0.5, 2.0), (30, 0, 5.75)], []),  # a link across the passes
])
def test_a_repeat_over_a_part_lies_on_the_first_passes(part, words):
    found = list(part_repeat_findings(motion(PASSES), motion(part), STEP))
    assert [f.got for f in found] == words
    assert all(f.severity == "forbid" and f.where.startswith("again.nc") for f in found)
    if len(words) == 1 and "below" in words[0]:
        assert found[0].where.startswith("again.nc, line 3, " if len(part) > 3 else "again.nc, line 2, ")
        low = min(part, key=lambda p: p[2] - np.interp(p[0], [0, 40, 80], [5, 6, 5]))
        assert f", {low[0]:g} mm along, {low[1]:g} mm across" in found[0].where
