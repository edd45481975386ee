"""Surfaces, tabs and skins at their limits: what is found just over each, and that nothing is just under it."""

import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import shapely

from pathgen.removal.grid import Grid
from pathgen.verify.findings import Tolerances
from pathgen.verify.outlines import _groove, _middle, _not_cut, outline_findings
from pathgen.verify.ridges import Ridges
from pathgen.verify.surfaces import Deviation, surface_findings
from pathgen.work.features import OutlineCut
from tests.verify.test_repeats import motion

LIMIT, SLACK = 0.01, Tolerances()
GOOD = Deviation(low=-0.0019, high=0.0106, low_at=(1.0, 0.0), high_at=(2.0, 0.0), high_in_fill=True)
FLAT = Ridges(x=np.array([3.0, 4.0]), y=np.array([0.0, 1.0]), height=np.array([0.0106, 0.001]), above=0.0106,
              below=-0.0019, above_at=(5.0, 0.0), below_at=(6.0, 0.0))


@pytest.mark.parametrize(("deviation", "ridges", "found"), [
    ({}, {}, []),
    ({"low": -0.0021}, {}, [("surface-too-low", "1 mm along", "last")]),
    ({"low": np.nan}, {}, [("surface-too-low", "1 mm along", "last")]),
    ({}, {"below": -0.0021}, [("surface-too-low", "6 mm along", "last")]),
    ({"high": 0.0108}, {}, [("fill-proud", "2 mm along", "finish")]),
    ({"high": 0.0108, "high_in_fill": False}, {}, [("surface-too-high", "2 mm along", "finish")]),
    ({"high": 0.0108}, {"above": 0.0109}, [("surface-too-high", "5 mm along", "finish")]),
    ({}, {"height": np.array([0.0, 0.0108])}, [("ridges-too-high", "4 mm along", "finish")]),
])
def test_surface(deviation, ridges, found):
    def culprit(x, y, of):
        return "finish" if of is not None and of(SimpleNamespace(finishes=True)) else "last", 7

    culprit.first = lambda x, y, of, wanted: (*culprit(x, y, of), x, y)
    surface = SimpleNamespace(slope=lambda x, y: np.zeros(1), height=None)
    clamping = SimpleNamespace(surfacing=SimpleNamespace(scallop=LIMIT), board=SimpleNamespace(surface=surface),
                               finished_surface=surface, steps=())
    said = list(surface_findings(replace(GOOD, **deviation), replace(FLAT, **ridges), clamping, SLACK, culprit))
    assert [f.code for f in said] == [code for code, _, _ in found]
    assert all(f.where.startswith(f"{program}, line 7, {place}")
               for f, (_, place, program) in zip(said, found, strict=True))
    assert not list(surface_findings(GOOD, FLAT, SimpleNamespace(surfacing=None), SLACK, culprit))


@pytest.mark.parametrize(("levels", "got"), [
    (True, "3.2000 mm too low"), (False, "it cuts into what is to stay: the surface is 3.2000 mm lower there")])
def test_a_cutter_that_strays_is_not_called_too_low(levels, got):
    """An outline 0.1 mm aside was "3.2000 mm too low": it was at its right height."""
    def culprit(*_):
        return "last", 7, 1.0, 2.0

    culprit.first = culprit
    step = SimpleNamespace(file_name="last", operation=SimpleNamespace(makes_surface=levels))
    surface = SimpleNamespace(slope=lambda x, y: np.zeros(1), height=None)
    clamping = SimpleNamespace(surfacing=SimpleNamespace(scallop=LIMIT), board=SimpleNamespace(surface=surface),
                               finished_surface=surface, steps=[step])
    (found,) = surface_findings(replace(GOOD, low=-3.2), FLAT, clamping, SLACK, culprit)
    assert found.got == got


def codes_of_groove(tabs, **how):
    return [found.code for found in found_in_groove(tabs, **how)]


def found_in_groove(tabs, *, skin=0.0, left=0.0, step=0.1, cut_off=None):
    """Of an outline 100 by 40 mm cut with 3 mm, asked for two tabs of 6 by 1.5 mm: tabs (middle, width, height, mm)."""
    grid = Grid.over((-5.0, -25.0, 105.0, 25.0), step)
    top = np.full(grid.shape, left)
    for middle, width, height in tabs:
        top[:250, np.abs(grid.xs - middle) < width / 2] = height
    if cut_off is not None:
        away, x0, x1 = cut_off
        top[np.ix_(np.abs(grid.ys + 20.0 + away) < 0.2, (grid.xs > x0) & (grid.xs < x1))] = 0.0
    board = SimpleNamespace(outline=shapely.box(0.0, -20.0, 100.0, 20.0))
    cut = OutlineCut(tabs=2, tab_height=1.5, tab_width=6.0, skin=skin)
    cutter = SimpleNamespace(radius=1.5, diameter=3.0)
    outline = SimpleNamespace(file_name="a.nc", cutter=cutter, operation=SimpleNamespace(feature=cut))
    sim = SimpleNamespace(grid=grid, top=top)
    middle, height = _middle(outline, SimpleNamespace(board=board), sim)
    return list(_groove(middle, height, board.outline, outline, sim, SLACK))


@pytest.mark.parametrize(("tab", "found"), [
    ((70.0, 6.0, 1.5), []), ((70.0, 6.0, 1.49), []), ((70.0, 6.0, 1.47), ["tab-too-thin"]),
    ((70.0, 5.6, 1.5), []), ((70.0, 5.3, 1.5), ["tab-too-narrow"]),
    ((70.0, 6.0, 1.99), []), ((70.0, 6.0, 2.01), ["outline-uncut"]),
    # as wide as two tabs, two cutters and slopes of 1 in 5, as they end
    ((70.0, 25.3, 1.5), []), ((70.0, 25.7, 1.5), ["outline-uncut"]),
    ((0.0, 0.0, 0.0), ["tabs-missing"]),
])
def test_tabs(tab, found):
    assert codes_of_groove([(30.0, 6.0, 1.5), tab]) == found


@pytest.mark.parametrize(("away", "x0", "x1", "found"), [
    (2.7, 66.0, 74.0, ["tab-too-thin"]), (0.4, 66.0, 74.0, ["tab-too-thin"]), (3.5, 66.0, 74.0, ["tab-too-thin"]),
    (4.0, 66.0, 74.0, []), (2.7, 66.0, 71.2, []), (2.7, 66.0, 71.7, ["tab-too-thin"]),
])
def test_a_tab_holds_on_to_the_waste(away, x0, x1, found):
    """Cut off beside the middle of the groove, `away` from the wall, by a lap further out."""
    tabs = [(30.0, 6.0, 1.5), (70.0, 6.0, 1.5)]
    assert codes_of_groove(tabs, cut_off=(away, x0, x1)) == found


def test_a_place_too_many_is_not_cut_and_one_all_round_is_one():
    assert codes_of_groove([(x, 6.0, 1.5) for x in (30.0, 50.0, 70.0)]) == ["outline-uncut"]
    assert codes_of_groove([]) == ["tabs-missing"]
    assert codes_of_groove([], left=1.5) == ["outline-uncut"]


@pytest.mark.parametrize(("left", "said"), [(0.1, "0.10 to 1.50 mm left over 289"), (1.5, "1.50 mm left over 289")])
def test_a_groove_that_is_not_cut_through_is_told_as_thick_as_it_is(left, said):
    """0.1 mm all round with tabs on it was told as 1.50 mm left, and as one place where the board is held."""
    (found,) = found_in_groove([(30.0, 6.0, 1.5), (70.0, 6.0, 1.5)], left=left)
    assert (found.code, found.got[:len(said)]) == ("outline-uncut", said)


@pytest.mark.parametrize(("left", "found"), [
    (0.3, []), (0.281, []), (0.319, []), (0.279, ["skin-wrong"]), (0.321, ["skin-wrong"])])
def test_a_skin_is_of_one_thickness_all_round(left, found):
    assert codes_of_groove([(30.0, 1.0, left)], skin=0.3, left=0.3) == found


def test_a_skin_that_is_cut_through_is_no_negative_amount_of_wood():
    """0.8 mm too deep was "-0.292 mm left under the groove"."""
    (found,) = found_in_groove([(30.0, 1.0, -0.2)], skin=0.3, left=0.3)
    assert found.got == "cut through, 0.200 mm below the underside of the work"


@pytest.mark.parametrize(("away", "found"), [(0.5, ["skin-wrong"]), (2.7, ["skin-wrong"]), (3.3, [])])
def test_a_skin_is_whole_from_wall_to_wall(away, found):
    """Cut through beside the middle of the groove, or in the waste."""
    assert codes_of_groove([(30.0, 1.0, 0.3)], skin=0.3, left=0.3, cut_off=(away, 60.0, 70.0)) == found


ROUND = [(-1.5, -21.5), (-1.5, 21.5), (101.5, 21.5), (101.5, -21.5), (-1.5, -21.5)]
"""The way of a 3 mm cutter round an outline 100 by 40 mm."""


def codes_of_last_lap(heights, *, skin=0.0):
    return {f.code for f in found_in_last_lap(heights, skin=skin)}


def found_in_last_lap(heights, *, skin=0.0):
    """Of a groove cut through by a lap further out, but for two tabs on the treble side; `heights` of the last lap."""
    grid = Grid.over((-5.0, -25.0, 105.0, 25.0), 0.1)
    top = np.full(grid.shape, skin - 0.2)
    for middle in (30.0, 70.0):
        top[250:, np.abs(grid.xs - middle) < 3.0] = 1.5
    cut = OutlineCut(tabs=2, tab_height=1.5, tab_width=6.0, skin=skin)
    cutter = SimpleNamespace(radius=1.5, diameter=3.0)
    step = SimpleNamespace(file_name="a.nc", cutter=cutter, operation=SimpleNamespace(feature=cut))
    board = SimpleNamespace(outline=shapely.box(0.0, -20.0, 100.0, 20.0))
    clamping = SimpleNamespace(board=board, stock=SimpleNamespace(thickness=6.0))
    laps = [(*xy, 3.0) for xy in ROUND], [(*xy, z) for xy, z in heights]
    return list(outline_findings(motion(*laps), step, clamping, SimpleNamespace(grid=grid, top=top), SLACK))


TABS = [((x, 21.5), z) for middle in (30.0, 70.0) for x, z in (
    (middle - 4.6, -0.2), (middle - 4.5, 1.5), (middle + 4.5, 1.5), (middle + 4.6, -0.2))]
LAST = [(ROUND[0], -0.2), (ROUND[1], -0.2), *TABS, *((xy, -0.2) for xy in ROUND[2:])]


@pytest.mark.parametrize(("up", "found"), [(0.0, set()), (0.21, set()), (0.23, {"outline-uncut"})])
@pytest.mark.parametrize("at", [1, 11, 12])
def test_the_last_lap_takes_the_wall_to_its_foot(at, up, found):
    """Raised at one of its points it leaves a ledge there, in a groove that another lap has cut through."""
    lap = [(xy, z + up * (k == at)) for k, (xy, z) in enumerate(LAST)]
    assert codes_of_last_lap(lap) == found


def test_a_move_into_the_part_is_told_where_it_goes_in_not_where_it_ends():
    """Across the part, from one side to 30 mm beyond the other."""
    lap = [*LAST[:1], ((50.0, -21.5), -0.2), ((50.0, 51.5), -0.2), ((-1.5, 51.5), -0.2), *LAST[1:]]
    told = {f.code: f for f in found_in_last_lap(lap)}["outline-inside"]
    x, y = map(float, re.findall(r"(-?[\d.]+) mm", told.where))
    assert (x, abs(y) <= 20.0) == (50.0, True)


@pytest.mark.parametrize("way", [
    [(27.0, 21.5), (27.0, 21.8), (33.0, 21.8), (33.0, 21.5)],  # over a tab
    [(38.0, 21.5), (38.0, 21.8), (41.0, 21.8), (41.0, 21.5)],  # beside it
])
@pytest.mark.parametrize("out", [False, True])
def test_the_last_lap_takes_the_wall_to_its_foot_near_tabs_too(way, out):
    """The layers above went round at the wall; only lower down does the cutter keep off it."""
    at = 4 if way[0][0] < 30.0 else 6
    z = LAST[at - 1][1]
    lap = [*LAST[:at], *(((x, y if out else 21.5), z) for x, y in way), *LAST[at:]]
    assert codes_of_last_lap(lap) == ({"outline-uncut"} if out else set())


@pytest.mark.parametrize("radius", [0.3, 0.9, 1.2, 20.0])
@pytest.mark.parametrize(("off", "found"), [(0.003, False), (0.006, True)])
def test_a_curve_is_looked_at_however_fine_its_chords_are(radius, off, found):
    """Chords of 2 um and more: all of a small curve lies near the ends of some."""
    disc = shapely.Point(0.0, 0.0).buffer(radius, quad_segs=256)
    way = shapely.get_coordinates(shapely.Point(0.0, 0.0).buffer(radius + 3.0 + off, quad_segs=256).exterior)
    lines = shapely.linestrings(np.stack([way[:-1], way[1:]], axis=1))
    step = SimpleNamespace(cutter=SimpleNamespace(radius=3.0), file_name="1.nc")
    assert [f.code for f in _not_cut(lines, disc, step, SLACK)] == (["outline-outside"] if found else [])


@pytest.mark.parametrize(("gap", "found"), [(0.1, False), (0.5, True)])
def test_a_short_way_left_out_beside_the_wall_is_found_wherever_it_is(gap, found):
    """Of a 1 mm cutter half a millimetre leaves 0.067 mm of wood at its middle, a tenth of one 0.003 mm."""
    step = SimpleNamespace(cutter=SimpleNamespace(radius=0.5), file_name="1.nc")
    board = shapely.box(0.0, 0.0, 40.0, 20.0)
    round_it = shapely.box(-0.5, -0.5, 40.5, 20.5).exterior
    for x in np.linspace(10.0, 10.5, 6):
        way = shapely.difference(round_it, shapely.box(x, -1.0, x + gap, 0.0))
        assert bool([*_not_cut(shapely.get_parts(way), board, step, SLACK)]) == found


def test_a_part_of_corners_alone_is_no_fault():
    speck = shapely.box(0.0, 0.0, 0.08, 0.08)
    lines = shapely.linestrings([[(-3.0, -3.0), (3.0, -3.0)]])
    step = SimpleNamespace(cutter=SimpleNamespace(radius=3.0), file_name="1.nc")
    assert not list(_not_cut(lines, speck, step, SLACK))
