"""What the report warns of and notes about fills: just past each limit, and not just within it."""

import itertools
import re
from types import SimpleNamespace

import numpy as np
import pytest
import shapely

from pathgen.base.units import in_units
from pathgen.report.fill_findings import _contrast_warnings, _pour_warnings, _second_cut_notes, _skimmed_away
from pathgen.report.filling import contrast_rows
from pathgen.report.moving import _moved_notes
from pathgen.work.fill import Resin, amount
from pathgen.work.moved import Moved


def codes(findings):
    return [f.code for f in findings]


@pytest.mark.parametrize(("deep", "limit", "found"), [
    (2.0, 3.0, []), (2.004, 3.0, []), (2.1, 3.0, ["too-deep-a-pour"]), (9.0, None, []),
])
def test_pours(deep, limit, found):
    inlay, resin = SimpleNamespace(overfill=1.0, name="inlay 1"), Resin(pour_depth=limit)
    one = amount("#000000", area=10.0, pocket=20.0, overfill=10.0, depth=(deep, deep), deep=deep + 1.0, resin=resin)
    said = list(_pour_warnings(inlay, one, limit))
    assert codes(said) == found
    assert all(f.got.startswith("3.1 mm") and "2 pours" in f.remedy for f in said)


def test_a_pour_is_told_as_deep_in_inches_as_the_page_says():
    """0.05 in of pocket and 0.04 in over it: rounded to hundredths of a mm first it was 0.0902 in."""
    inlay = SimpleNamespace(overfill=1.016, name="inlay 1")
    one = amount("#000000", area=10.0, pocket=20.0, overfill=10.0, depth=(1.2, 1.27), deep=2.286,
                 resin=Resin(pour_depth=2.0))
    (said,) = _pour_warnings(inlay, one, 2.0)
    assert in_units(said.got, "in") == "0.09 in of resin"


# WCAG 2.2, relative luminance (P): #767676 on white is 4.54:1, #949494 3.03:1, #959595 2.996:1, which is less than 3
@pytest.mark.parametrize(("colour", "found"), [("#767676", []), ("#949494", []), ("#959595", ["low-contrast"])])
def test_contrast(colour, found):
    inlay = SimpleNamespace(fill="resin", regions=((colour, shapely.box(0, 0, 1, 1)),))
    asked = SimpleNamespace(wood=("#ffffff", None), unchosen=())
    told = list(_contrast_warnings(SimpleNamespace(clamping=SimpleNamespace(inlays=[inlay]), asked=asked)))
    assert codes(told) == found
    assert {one.severity for one in told} <= {"note"}, "a grey is seen on white at a glance"


# differences of 64.8, 5.7 and 45.8 by CIEDE2000, which tests/base/test_contrast.py holds to its authors' pairs
@pytest.mark.parametrize(("other", "found"), [("#cc2222", [("low-contrast", "note")]),
                                              ("#1c8a44", [("colours-alike", "warn")]), ("#f0f0f0", [])])
def test_what_is_seen_at_a_glance_is_a_note_at_most(other, found):
    """Green and red as light as each other were warned of, in nearly every job of more colours than one."""
    regions = (("#1c7a3a", shapely.box(0, 0, 1, 1)), (other, shapely.box(1, 0, 2, 1)))
    inlays = [SimpleNamespace(fill="resin", regions=regions)]
    asked = SimpleNamespace(wood=(None, None), unchosen=())
    told = list(_contrast_warnings(SimpleNamespace(clamping=SimpleNamespace(inlays=inlays), asked=asked)))
    assert [(one.code, one.severity) for one in told] == found
    assert all(f"#1c7a3a and {other}" in one.got and "WCAG" not in one.allowed for one in told)


@pytest.mark.parametrize(("fill", "wood", "where"), [
    ("resin", None, "fills"), ("piece", None, "pieces"), ("resin", "#a5a5a5", "fills and wood"),
])
def test_a_contrast_is_told_of_what_there_is(fill, wood, where):
    regions = (("#959595", shapely.box(0, 0, 1, 1)), ("#a0a0a0", shapely.box(1, 0, 2, 1)))
    inlays = [SimpleNamespace(fill=fill, regions=regions)]
    asked = SimpleNamespace(wood=(wood, None), unchosen=())
    (told,) = _contrast_warnings(SimpleNamespace(clamping=SimpleNamespace(inlays=inlays), asked=asked))
    assert told.where == where


def test_low_contrasts_of_many_colours_are_one_note_the_lowest_first():
    """Greys between white and #767676 against one another and on white."""
    greys = [f"#{grey:02x}{grey:02x}{grey:02x}" for grey in (0xEE, 0xCC, 0xAA, 0x99, 0x76)]
    inlay = SimpleNamespace(fill="resin", regions=tuple((grey, shapely.box(0, 0, 1, 1)) for grey in greys))
    asked = SimpleNamespace(wood=("#ffffff", None), unchosen=())
    planned = SimpleNamespace(clamping=SimpleNamespace(inlays=[inlay]), asked=asked)
    low = [row for row in contrast_rows(planned) if row["ratio"] < 3.0 and row["difference"] >= 10]
    *alike, finding = _contrast_warnings(planned)
    assert codes(alike) == ["colours-alike"]
    told = [float(ratio) for ratio in re.findall(r"\(([\d.]+):1\)", finding.got)]
    assert told == sorted(round(row["ratio"], 2) for row in low)[:4]
    assert finding.got.endswith(f"(and {len(low) - 4} pairs more)")


def test_colours_are_held_against_those_near_them_alone(monkeypatch):
    """Squares of twenty colours in a row, 3 mm and 1 mm apart in turn: of 190 pairs ten lie within 2 mm."""
    asked, dwithin = [], shapely.dwithin
    monkeypatch.setattr(shapely, "dwithin", lambda a, b, far: (asked.append(len(a)), dwithin(a, b, far))[1])
    regions = tuple((f"#{10 * k:02x}0000", shapely.box(x, 0, x + 1, 1))
                    for k, x in enumerate(itertools.accumulate([0, *[2, 4] * 9, 2])))
    planned = SimpleNamespace(asked=SimpleNamespace(wood=(None, None), unchosen=()), clamping=SimpleNamespace(
        inlays=[SimpleNamespace(fill="resin", regions=regions)]))
    assert [(row["colour"], row["against"]) for row in contrast_rows(planned)] == [
        (one, other) for (one, _), (other, _) in itertools.pairwise(regions)][::2]
    assert asked == [10], "only pairs whose boxes lie so near"


@pytest.mark.parametrize(("apart", "found"), [(0.0, ["low-contrast"]), (0.05, ["low-contrast"]), (1.0, [])])
def test_colours_with_wood_between_them_need_not_tell_each_other_apart(apart, found):
    """#767676 and #949494 on white: each 3:1 or more, and 1.5:1 to each other (WCAG 2.2, by its formula)."""
    regions = (("#767676", shapely.box(0, 0, 1, 1)), ("#949494", shapely.box(1 + apart, 0, 2 + apart, 1)))
    asked = SimpleNamespace(wood=("#ffffff", None), unchosen=())
    planned = SimpleNamespace(
        clamping=SimpleNamespace(inlays=[SimpleNamespace(fill="resin", regions=regions)]), asked=asked)
    assert codes(_contrast_warnings(planned)) == found
    assert len(contrast_rows(planned)) == 3, "the table has all that are seen beside each other"


def second_cut(*, marks=None, area="board", leave=0.0, cut=True, z_zero="bed", cutters="ab", surfaced=True):
    moved = None if marks is None else Moved(
        rotation=np.eye(3), shift=np.zeros(3), centre=np.zeros(3), residuals=np.zeros((marks, 3)),
        places=np.array([[0, 0, 8], [0, 9, 8], [9, 0, 8], [9, 9, 8.0]])[:marks])
    return SimpleNamespace(
        moved=moved, begun=moved is not None, moved_from=3, moved_number=3, units="mm", shared=None,
        inlays=(), surfacing=SimpleNamespace(resurface_area=area, leave=leave, blend=2.0),
        cutter=lambda kind: cut, setup=SimpleNamespace(z_zero=z_zero),
        steps=[SimpleNamespace(order=order, turn=None, cutter=SimpleNamespace(name=name),
                               operation=SimpleNamespace(makes_surface=surfaced, keeps_cutter=True))
               for order, name in enumerate(cutters, 1)])


@pytest.mark.parametrize(("clamping", "found"), [
    ({}, []), ({"marks": 3}, ["work-moved", "three-marks"]), ({"marks": 4}, ["work-moved"]),
    ({"area": "inlay"}, ["second-cut-in-part"]), ({"area": "inlay", "cut": False}, []),
    ({"area": "inlay", "leave": 0.2}, []),  # its last cut goes over the whole: nothing is left to sand
    ({"z_zero": "stock-top"}, ["zero-on-raw-top"]), ({"z_zero": "stock-top", "cutters": "aa"}, []),
    ({"z_zero": "stock-top", "surfaced": False}, []),  # the top stays as it came
])
def test_second_cut(clamping, found):
    work = second_cut(**clamping)
    assert codes([*_moved_notes(work), *_second_cut_notes(work)]) == found


@pytest.mark.parametrize(("skim", "depth", "found"), [
    (0.0, 0.3, []), (0.8, 1.2, []), (0.81, 1.2, ["thin-inlay"]), (0.25, 0.3, ["thin-inlay"]),
])
def test_an_inlay_that_a_skim_leaves_little_of_is_told(skim, depth, found):
    """Of 1.2 mm a skim of 1.19 left 0.01 mm, and the verdict was "Verified" without a word."""
    inlay = SimpleNamespace(name="inlay 1", fill="resin", depth=depth)
    told = list(_skimmed_away(SimpleNamespace(units="mm", skim=skim, inlays=[inlay])))
    assert codes(told) == found
    for one in told:
        depths = [float(number) for number in re.findall(r"([\d.]+) mm or more", one.remedy)]
        assert depths == [pytest.approx(skim + 0.4)]
        assert ("make [resurface] skim 0.8 mm or less" in one.remedy) == (depth > 0.4)
