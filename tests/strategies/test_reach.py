"""What cutters reach of a drawing, against drawings whose widths are known."""

import math
import re
from dataclasses import replace
from functools import partial
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from shapely import MultiPolygon, Point, Polygon, affinity, box

from pathgen import build, load_job
from pathgen.base import overlay
from pathgen.base.tops import level
from pathgen.job.clamping import asked_of, clamping_of
from pathgen.report.out_of_reach import _closed, reach_findings
from pathgen.report.reaching import (
    _candidates,
    quickest,
    reach_data,
    reach_lines,
    reach_of_all,
    reach_of_cutters,
    worth,
)
from pathgen.report.reckoning import CHANGE
from pathgen.report.text import verdict
from pathgen.strategies.pocketing import pocket
from pathgen.strategies.reach import (
    CutterReach,
    Detail,
    Others,
    Reach,
    SetReach,
    _inside,
    _opened,
    lengths,
    usual_sets,
)
from pathgen.strategies.reach import reach as reach_with
from pathgen.verify.findings import Finding
from pathgen.work.walls import narrowest_wall
from tests.drawings import BOARD, LEVEL, comb, flat_end, v_cutter
from tests.small_board import built, cutter, job, moves_and_feeds, svg, text_of


def reach(regions, cutters, *, depth, surface=None, sets=None, **more) -> Reach:
    """On level ground where nothing is said, the usual sets, and as minutes lengths over feeds."""
    surface, region = surface or level(depth), overlay.union_all([shape for _, shape in regions])
    return reach_with(regions, cutters, depth=depth, surface=surface, cuts=partial(cuts_of, region, surface, depth),
                      sets=usual_sets(cutters) if sets is None else sets, **more)


def cuts_of(region, surface, depth, group):
    made = pocket(region, surface=surface, cutters=group, depth=depth, safe_z=surface.thickness + 10.0)
    return [(cut, (cut.toolpath.lengths / cut.toolpath.feeds(cut.cutter, rapid=5000.0)).sum()) for cut in made]


def test_share_and_details_of_a_comb() -> None:
    region = comb(10, 0)  # a back of 24 x 6 mm and 8 teeth of 1.6 x 10 mm
    table = reach([("#204060", region)], [flat_end(2.0), flat_end(1.0)], depth=1.0, surface=BOARD)
    wide, narrow = table.cutters
    # derived: no tooth can be opened with 2 mm, but a disc of r 1 bulges into the mouth of each of the six that
    # stand clear of the ends by the segment over a chord of 1.6; the two corners lack (1 - pi / 4) r^2 each
    segment = math.acos(0.6) - 0.6 * 0.8
    assert wide.reachable_area == pytest.approx(24 * 6 + 6 * segment - 2 * (1 - math.pi / 4), rel=0.002)
    assert len(wide.details) == 8 + 2
    assert [d.width for d in wide.details[:8]] == pytest.approx([1.6] * 8, abs=0.02)
    assert [d.largest for d in wide.details[:8]] == pytest.approx([1.6] * 8, abs=0.05)
    assert all(-1 <= d.at[1] <= 10 for d in wide.details[:8])
    assert narrow.share > 0.98
    assert all(d.area < 0.2 for d in narrow.details)


VEE = cutter(name="vee", shape="v", angle=60, diameter=6, speed=16000, feed=300, plunge=100, stepdown=0.5)
RUN = {"speed": 16000, "feed": 900.0, "plunge": 300.0, "stepdown": 1.6}
V = cutter(name="v", shape="v", diameter=6.0, angle=60.0, **RUN)
STAR = svg('<path fill="#225577" d="M20,3 L23,12 L32,15 L23,18 L20,27 L17,18 L8,15 L17,12 Z"/>')


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize(("depth", "told"), [(0.4, False), (0.8, False), (1.2, True)])
def test_a_depth_that_a_v_reaches_nowhere_is_said(tmp_path, depth, told):
    """A line of 1 mm: by geometry the walls of a v of 60 degrees meet 0.5 / tan 30 = 0.87 mm deep."""
    art = svg('<rect x="1" y="4" width="18" height="1" fill="#225577"/>', 20, 9)
    made = built(tmp_path, resolution=0.05, art=art, extra=VEE, changes={
        "depth = 1.5": f"depth = {depth}", 'cutters = ["flat"]': 'cutters = ["vee"]'})
    found = [f for f in made.report["checks"]["findings"] if f["code"] == "depth-not-reached"]
    assert [re.sub("0.[89] mm", "0.9 mm", f["got"]) for f in found] == [
        f"{depth} mm is reached nowhere: its sloping walls meet about 0.9 mm deep"] * told
    assert made.report["inlays"][0]["deepest"] == pytest.approx(min(depth, 0.5 / math.tan(math.radians(30))), abs=0.06)


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize(("depth", "told"), [(0.4, 0), (0.8, 1), (1.2, 2)])
def test_shapes_too_narrow_for_a_depth_that_is_reached_elsewhere_are_said(tmp_path, depth, told):
    """A square of 8 mm, and lines of 0.6 and 1 mm: the walls of a v of 60 degrees meet 0.52 and 0.87 mm deep there."""
    rects = "".join(f'<rect x="{x}" y="1" width="{wide}" height="8" fill="#225577"/>'
                    for x, wide in ((1, 8), (12, 0.6), (16, 1)))
    made = built(tmp_path, resolution=0.1, art=svg(rects, 20, 10), extra=VEE, changes={
        "depth = 1.5": f"depth = {depth}", 'cutters = ["flat"]': 'cutters = ["vee"]'})
    found = [f for f in made.report["checks"]["findings"] if f["code"] == "depth-not-reached"]
    assert len(found) == bool(told)
    if told:
        walls = {1: "0.5", 2: "0.5 to 0.9"}[told]
        assert found[0]["got"] == f"{depth} mm is not reached in {told} of the 3 places of the drawing: their " \
                                  f"sloping walls meet about {walls} mm deep; this is the largest"
        assert found[0]["where"].startswith(f"inlay 1, {45 - 10 + {1: 12.3, 2: 16.5}[told]:g} mm along")


def test_colours_that_touch_are_opened_together() -> None:
    """A thin line in a disc of another colour, and one that runs on out of it: what the programs open is told."""
    line = box(-4, -0.2, 4, 0.2).union(box(0, -0.3, 9, 0.3))
    disc = Point(0, 0).buffer(6, 64).difference(line)
    cutters = [flat_end(2.0), flat_end(1.0)]
    table = reach([("#204060", disc), ("#f0e6d0", line)], cutters, depth=1.0, surface=BOARD)
    opened = pocket(disc.union(line), surface=BOARD, cutters=cutters, depth=1.0, safe_z=20.0)[-1].opened
    for colour, found in zip((disc, line), table.together, strict=True):
        assert found.reachable_area == pytest.approx(colour.intersection(opened).area, rel=0.005)
        assert found.area == pytest.approx(colour.area)
    # of the line only what runs out of the disc stays closed, 3 mm but for the mouth, and there it is its own width
    (closed,) = table.together[1].details
    assert closed.length == pytest.approx(3.0, abs=0.2)
    assert closed.width == pytest.approx(0.6, abs=0.02)


def test_what_the_finest_flat_end_leaves_closed_of_a_colour_is_found_once(monkeypatch) -> None:
    """It is what all of them leave: two colours, two cutters, and four times it is asked what is closed of a colour."""
    colours = [("#204060", box(0, 0, 10, 6)), ("#f0e6d0", box(10, 0, 13, 6))]
    asked: list[object] = []
    monkeypatch.setattr("pathgen.strategies.reach._inside", lambda left, shape: (asked.append(shape), _inside(
        left, shape))[1])
    table = reach(colours, [flat_end(2.0), flat_end(1.0)], depth=1.0, surface=BOARD)
    assert len(asked) == 4
    assert [one.reachable_area for one in table.together] == [one.reachable_area for one in table.cutters[1::2]]


def test_a_small_colour_that_the_v_opens_is_told_so_beside_a_large_one() -> None:
    """What cutters gain together is judged colour by colour: 0.2 mm2 are next to nothing of a drawing of 2500 mm2."""
    large = affinity.scale(Point(0, 0).buffer(1.0, 64), 45.0, 18.0)
    dot = Point(0, 0).buffer(0.25, 32).intersection(large)
    leaf = large.difference(dot)
    alone = affinity.translate(dot, 60.0)
    regions = [("#2f6f4f", leaf), ("#c8962e", alone)]
    cutters = [flat_end(3.0), v_cutter(60.0)]
    opened = pocket(overlay.union_all([leaf, alone]), surface=BOARD, cutters=cutters, depth=1.0, safe_z=20.0)[-1].opened
    found = reach(regions, cutters, depth=1.0, surface=BOARD, sets=(), opened=opened)
    assert {one.colour: one.share > 0.9 for one in found.together} == {"#2f6f4f": True, "#c8962e": True}


def test_what_one_cutter_leaves_closed_another_may_open() -> None:
    # sunk 0.5 mm, a v cutter of 120 degrees opens 1.73 mm, too wide for the tail that the flat end goes into
    region = box(0, 0, 20, 20).union(box(20, 9.4, 40, 10.6))
    table = reach([("#204060", region)], [flat_end(1.0), v_cutter(120.0)], depth=0.5, surface=BOARD, sets=())
    flat, v = table.cutters
    (both,) = table.together
    assert v.details[0].area == pytest.approx(20 * 1.2, rel=0.05)
    assert both.reachable_area >= flat.reachable_area - 1e-6 > v.reachable_area + 20
    assert both.cutter == "flat 1 and v 120"
    assert all(d.area < 0.2 for d in both.details)
    alone = reach([("#204060", region)], [flat_end(1.0)], depth=0.5, surface=BOARD)
    assert alone.together[0].details == alone.cutters[0].details


def test_sets_open_more_the_more_cutters_they_hold_and_say_how_long() -> None:
    region = MultiPolygon([box(0, 0, 30, 20), box(40, 0, 42, 20)])
    cutters = [flat_end(6.0), flat_end(1.5), v_cutter(40.0)]
    table = {row.cutters: row for row in reach([("#a", region)], cutters, depth=1.0).sets}
    assert set(table) == {
        ("flat 6",), ("flat 1.5",), ("v 40",), ("flat 6", "flat 1.5"), ("flat 6", "v 40"),
        ("flat 1.5", "v 40"), ("flat 6", "flat 1.5", "v 40"),
    }
    assert table[("flat 6",)].share == pytest.approx((600 - 4 * (1 - math.pi / 4) * 9) / 640, rel=1e-3)
    assert table[("flat 6",)].share < table[("flat 6", "flat 1.5")].share < table[("flat 6", "flat 1.5", "v 40")].share
    assert table[("flat 6", "flat 1.5")].minutes < table[("flat 1.5",)].minutes


@pytest.mark.in_every_run(0)
def test_one_thing_is_said_of_each_cutter() -> None:
    # a v cutter opens the corners and the narrow tail by rising in them
    region = box(0, 0, 20, 20).union(box(20, 9.4, 40, 10.6))
    table = reach([("#204060", region)], [flat_end(6.0), flat_end(1.0), v_cutter(60.0)], depth=1.0, surface=BOARD)
    alone = {row.cutters[0]: row.share for row in table.sets if len(row.cutters) == 1}
    assert [row.share for row in table.cutters] == pytest.approx([alone[row.cutter] for row in table.cutters], abs=2e-4)
    assert alone["v 60"] > alone["flat 1"] > alone["flat 6"]
    assert next(row for row in table.cutters if row.cutter == "v 60").share > 0.999


def test_the_sets_begin_with_the_jobs_own(tmp_path: Path) -> None:
    result = built(tmp_path, resolution=0.4)
    (inlay,) = result.job.inlays
    (found,) = reach_of_all(result.plan.clamping, result.job.complete_cutters)
    assert found.sets[0].cutters == tuple(inlay.cutters)
    assert len({one.cutters for one in found.sets}) == len(found.sets)
    lines = "\n".join(reach_lines("inlay 1", found, "mm", smallest=inlay.cutters[-1]))
    assert f"\n* {' then '.join(inlay.cutters)} " in lines


@pytest.mark.in_every_run(0)
def test_the_quickest_set_is_sought_among_all_wider_ones_before_the_finest(tmp_path: Path) -> None:
    """Of twelve cutters each was tried with its neighbour in size alone, and all one after the other: "flat 1.5 then
    flat 1", 8.2 min, was called the quickest where "flat 3 then flat 1" takes 3.9."""
    more = "".join(cutter(name=f"flat {size}", shape="flat-end", diameter=size, speed=18000, feed=150.0 * size,
                          plunge=50.0, stepdown=size / 2) for size in (6.0, 4.0, 1.5, 1.0, 0.8, 0.5))
    read = load_job(job(tmp_path, extra=more + V, changes={'cutters = ["flat"]': 'cutters = ["flat 1.0"]'}))
    (found,) = reach_of_all(clamping_of(read), read.complete_cutters)
    times = {one.cutters: one.minutes for one in found.sets}
    assert max(map(len, times)) == 3
    best = quickest(found)
    assert best.cutters[0] in {"flat 6.0", "flat 4.0"}
    assert best.minutes + CHANGE * len(best.cutters) < times[("flat 1.0",)] + CHANGE
    # what takes many times as long alone is not planned to say so, but for the job's own
    assert {("flat 0.8",), ("flat 0.5",)}.isdisjoint(times)
    assert {one.cutter for one in found.cutters if one.share > 0.999} >= {"v"}


def test_the_time_of_the_jobs_own_set_is_that_of_its_programs_also_through_what_is_left(tmp_path: Path) -> None:
    changes = {"scallop = 0.05": "scallop = 0.05\nleave = 0.8\nleave_scallop = 0.05",
               "stepdown = 1.6": "stepdown = 0.8"}
    result = built(tmp_path, resolution=0.4, changes=changes)
    (found,) = reach_of_all(result.plan.clamping, result.job.complete_cutters)
    assert found.sets[0].minutes == sum(p.minutes for p in result.programs if p.operation == "pocket")
    said, reported = reach_data(found), result.report["reach"][0]
    assert said["sets"][0] == reported["sets"][-1]
    assert {one["share"] for one in said["sets"] if one["cutters"] == reported["sets"][0]["cutters"]} == {
        reported["sets"][0]["share"]}
    off = replace(found, narrowest_wall=replace(found.narrowest_wall, width=1.0152))  # both say what report.json holds
    assert "open: 1.01 mm" in "\n".join(reach_lines("inlay 1", off, "mm", smallest="x"))


def test_beside_pieces_flat_ends_alone_are_tried(tmp_path: Path) -> None:
    """Where nothing was left "could not locate vertex" ended the command; a v was listed, whose walls slope."""
    piece = 'cutters = ["flat"]\nfill = "piece"\npiece = { cutter = "flat", thickness = 2 }'
    v = cutter(name="v", shape="v", angle=60, diameter=6, speed=16000, feed=600, plunge=200, stepdown=1)
    leaf = svg('<path d="M5 15C10 7 24 7 29 15C24 23 10 23 5 15Z" fill="#e8d8b0"/>')
    loaded = load_job(job(tmp_path, art=leaf, changes={'cutters = ["flat"]': piece}, extra=v))
    (found,) = reach_of_all(clamping_of(loaded), loaded.complete_cutters)
    assert {row.cutter for row in found.cutters} == {one.name for one in loaded.complete_cutters if one.is_flat}
    assert found.sets[0].share > 0.99


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("diameters", [(2.0, 0.8), (0.8,), (2.0, 0.53), (0.6, 0.5)])
def test_what_is_reached_for_pieces_is_one_figure_everywhere(tmp_path: Path, diameters) -> None:
    """53 % within reach and 66 % closed were told of one pocket: of what is cut, and of what the drawing alone opens.
    A cutter that goes in nowhere counted for a change in the set."""
    art = svg('<path d="M5,8H15M5,9.5H15M5,11.5H12M5,14H15V18H5V14M10,8V18M7,11H13" fill="none" stroke="#e8d8b0" '
              'stroke-width="0.55"/>')
    names = ", ".join(f'"{wide}"' for wide in diameters)
    own = "".join(cutter(name=str(wide), shape="flat-end", diameter=wide, **RUN) for wide in (2.0, 0.8, 0.6, 0.53, 0.5))
    piece = f'cutters = [{names}]\nfill = "piece"\npiece = {{ cutter = "0.5", gap = 0.08, thickness = 2 }}'
    read = load_job(job(tmp_path, art=art, changes={'cutters = ["flat"]': piece}, extra=own))
    clamping = clamping_of(read)
    (inlay,) = clamping.inlays
    inside = shapely.intersection(inlay.area, inlay.shown_area).area / inlay.shown_area.area
    (built,), (found,) = reach_of_cutters(clamping), reach_of_all(clamping, read.complete_cutters)
    assert built.together[0].share == pytest.approx(inside, abs=2e-3)
    assert found.sets[0].share == pytest.approx(inside, abs=5e-3)
    alone = {one.cutter: one.share for one in found.cutters}
    assert alone[str(diameters[-1])] == pytest.approx(inside, abs=2e-3)
    assert found.sets[0].idle == (("2.0",) if diameters[0] == 2.0 else ())
    assert not any("2.0" in one.cutters for one in found.sets[1:] if one.share)
    lines = list(reach_lines("inlay 1", found, "mm", smallest=str(diameters[-1])))
    row = next(line for line in lines if line.startswith("* "))
    minutes, changed = (float(words) for words in re.search(r"([\d.]+) min +([\d.]+) min$", row).groups())
    assert changed - minutes == pytest.approx(CHANGE * sum(wide < 2.0 for wide in diameters), abs=0.11)
    assert any(line.startswith("2.0: nothing to do in the job's set") for line in lines) == (diameters[0] == 2.0)
    for one in found.cutters:  # no cutter wider than the place is named
        assert all(detail.largest <= detail.width or detail.is_corner for detail in one.details)


@pytest.mark.parametrize(("wide", "piece"), [(0.525, True), (0.525, False), (0.467, False)])
def test_the_cutter_that_is_advised_opens_what_stayed_closed(tmp_path: Path, wide: float, piece: bool) -> None:
    """Lines 0.525 mm wide: "a cutter of 0.53 mm" was advised, and with it two thirds stayed closed."""
    art = svg(f'<path d="M5,8C8,5 12,11 15,8M5,9.5H15M5,11.5H12M5,14H15V18H5V14" fill="none" stroke="#e8d8b0" '
              f'stroke-width="{wide}"/><circle cx="24" cy="12" r="3" fill="#e8d8b0"/>')
    fill = 'fill = "piece"\npiece = { cutter = "round", gap = 0.08, thickness = 2 }' if piece else 'fill = "resin"'

    def told(name: str, more: str = "") -> list[Finding]:
        own = "".join(cutter(name=one, shape="flat-end", diameter=size, **RUN)
                      for one, size in (("wide", 0.8), ("small", 0.6), ("round", 0.45)))
        read = load_job(job(tmp_path, art=art, extra=own + more,
                            changes={'cutters = ["flat"]': f'cutters = ["wide"{name}]\n{fill}'}))
        return reach_findings(clamping_of(read), reach_of_cutters(clamping_of(read)),
                              [one for one in read.complete_cutters if one.name != "round"])

    (first,) = told("")
    assert first.code == "much-left-closed"
    named = float(re.search(r"^add a cutter of ([\d.]+) mm", first.remedy)[1])
    assert wide - 0.02 < named <= wide
    assert [one for one in told(', "new"', cutter(name="new", shape="flat-end", diameter=named, **RUN))
            if one.severity == "warn"] == []


def test_a_cutter_that_reaches_nothing_is_a_row_not_an_error() -> None:
    table = reach([("#a", box(0, 0, 30, 2))], [flat_end(6.0), flat_end(1.0, flute_length=0.5)], depth=1.0)
    assert [row.reachable_area for row in table.cutters] == [0.0, 0.0]
    assert all(row.share == 0.0 and row.minutes == 0.0 for row in table.sets)


@pytest.mark.parametrize("turn", [0.0, 30.0, 60.0, 75.0])
def test_the_narrowest_wall_before_a_sharp_tip(turn: float) -> None:
    tip = Polygon([(0, 0), (-6, 1), (-6, -1)])
    wall = affinity.rotate(box(0.2, -3, 4, 3), turn, origin=(0, 0))
    found = narrowest_wall(shapely.union_all([tip, wall]))
    assert found is not None
    assert found.width == pytest.approx(shapely.distance(tip, wall), abs=1e-9)


def test_narrowest_wall() -> None:
    wall = narrowest_wall(MultiPolygon([box(0, 0, 10, 10), box(10.7, 2, 20, 8), Point(40, 5).buffer(3)]))
    assert wall is not None
    assert wall.width == pytest.approx(0.7)
    assert wall.at[0] == pytest.approx(10.35)
    assert narrowest_wall(box(0, 0, 1, 1)) is None


@pytest.mark.parametrize(("region", "width", "at"), [
    (comb(0, 0), 1.6, None),
    (box(0, 0, 10, 10).difference(box(3, 4, 10, 4.6)), 0.6, (None, 4.3)),
    (box(0, 0, 20, 20).difference(Point(10, 10).buffer(6, quad_segs=90)).union(Point(11, 10).buffer(4, quad_segs=90)),
     1.0, (15.5, 10.0)),
], ids=["comb", "slot in a plate", "a dot in a hole"])
def test_the_narrowest_wall_within_one_pocket_and_its_place(region, width, at) -> None:
    wall = narrowest_wall(region)
    assert wall is not None
    assert wall.width == pytest.approx(width, abs=0.002)
    for found, asked in zip(wall.at, at or (), strict=False):
        assert asked is None or found == pytest.approx(asked, abs=0.2)


def test_wood_that_ends_in_a_point_is_no_wall() -> None:
    assert narrowest_wall(box(0, 0, 20, 10).difference(Polygon([(8, 10), (12, 10), (10, 2)]))) is None
    assert narrowest_wall(Point(0, 0).buffer(5)) is None


@pytest.mark.in_every_run(0)
def test_a_build_warns_of_what_its_cutters_leave_closed(tmp_path):
    """A wide drawing with a thin tail, and a cutter too wide for the tail: said, with the place and the cutter."""
    example = Path(__file__).parents[2] / "examples" / "fern-and-moth.toml"
    (tmp_path / "tail.svg").write_text(
        svg('<path fill="#2f6f4f" d="M0,0 h20 v20 h-20 z M20,9.4 h40 v1.2 h-40 z"/>', 60, 20))
    text = example.read_text()
    start, end = text.index("[[inlay]]"), text.index("[resurface]")
    table = '[[inlay]]\nartwork = "tail.svg"\ndepth = 1.2\ncutters = ["{}"]\nplace = {{ at = [150.0, 0.0] }}\n\n'
    for name, warned in (("flat 3", True), ("flat 1", False)):
        (tmp_path / "job.toml").write_text(text[:start] + table.format(name) + text[end:])
        made = build(load_job(tmp_path / "job.toml"), resolution=0.4)
        report, page = made.report, made.files(shaded=False)["setup.html"]
        found = [f for f in report["checks"]["findings"] if f["code"] == "much-left-closed"]
        assert bool(found) == warned
        kind, words = verdict(report["checks"], "mm")
        assert (kind, f'class="verdict {kind}"' in page) == ("doubt" if warned else "good", True)
        assert ("not all that is drawn is cut. inlay 1: " in words) == warned
        if warned:
            # 48 mm2 of tail, less the segment that the cutter bulges into its mouth, and four corners
            segment = 1.5**2 * math.asin(0.4) - 0.6 * math.sqrt(1.5**2 - 0.6**2)
            closed = 48.0 - segment + 4 * (1 - math.pi / 4) * 1.5**2
            assert found[0]["severity"] == "warn"
            assert re.search(r"mm2 of #2f6f4f, 1\d\.\d % of that colour, stays closed", words)
            assert float(found[0]["got"].split(" mm2")[0]) == pytest.approx(closed, abs=0.1)
            assert "1.20 mm wide" in found[0]["got"]
            # cut before the work moved it is no less closed
            rows = "".join(f"[[measured]]\nat = [{x}.0, {y}.0, 8.0]\nfound = [{x + 0.2}, {y}.0, 8.0]\n"
                           for x in (-10, 460) for y in (-33, 33))
            (tmp_path / "job.toml").write_text(text[:start] + table.format(name) + text[end:] + rows)
            report = build(load_job(tmp_path / "job.toml"), resolution=0.4).report
            assert verdict(report["checks"], "mm") == (kind, words)
            (note,) = (f for f in report["checks"]["findings"] if f["code"] == "much-left-closed")
            assert (note["severity"], note["remedy"]) == ("note", "its pockets were cut so before the work moved")


LINES = "".join(f'<path d="M{x},19V28" stroke="{colour}" stroke-width="{wide}"/>' for x, colour, wide in (
    (5, "#aa2222", 0.3), (10, "#22aa22", 0.2), (15, "#2222aa", 0.4), (20, "#aa22aa", 0.5)))


@pytest.mark.in_every_run(2)
@pytest.mark.parametrize(("wide", "more", "told"), [
    (0.3, "", ["#225577"]),  # D: a tail 8 mm long, 2.3 mm2 of 200, beside 0.9 in corners
    (0.22, "", []),  # 1.7 mm2
    (0.3, LINES, ["#aa22aa", "#2222aa", "#225577"]),  # 4.5, 3.6, 3.2 mm2; the others 2.7 and 1.8
])
def test_a_verdict_names_what_it_warns_of_the_most_first(tmp_path, wide, more, told):
    tail = f'<path d="M30,9V17" stroke="#225577" stroke-width="{wide}"/>'
    art = svg(f'<path fill="#225577" d="M4,3H36V9.2H4Z"/>{tail}{more}')
    report = built(tmp_path, art=art, resolution=0.4).report
    warned = [f for f in report["checks"]["findings"] if f["severity"] == "warn" and f["code"] == "much-left-closed"]
    kind, words = verdict(report["checks"], "mm")
    assert bool(warned) == (kind == "doubt") == bool(told)
    assert re.findall("mm2 of (#[0-9a-f]{6})", words) == told
    assert (", and of 2 colours more, stay closed (4 of their 5 shapes wholly)." in words) == bool(more)
    assert len(warned) == len(told[:1]), "one cutter opens them all"


@pytest.mark.in_every_run(0)
def test_corners_that_a_v_cutter_rises_into_are_not_said_to_stay_closed(tmp_path):
    """What is warned of agrees with the share that the same report gives; by the flat end alone it is warned of."""
    for name, warned in (('"flat"', True), ('"flat", "v"', False)):
        report = built(tmp_path, changes={'cutters = ["flat"]': f"cutters = [{name}]"}, extra=V, art=STAR,
                       resolution=0.3).report
        share = report["inlays"][0]["reachable_area"] / report["inlays"][0]["area"]
        assert (share < 0.98) == warned
        codes = {f["code"] for f in report["checks"]["findings"]}
        assert bool({"detail-out-of-reach", "much-left-closed"} & codes) == warned
    clamping = clamping_of(load_job(tmp_path / "job.toml"))
    assert reach_findings(clamping, reach_of_cutters(clamping), []) == []


@pytest.mark.in_every_run(0)
def test_what_runs_on_under_a_later_colour_is_not_said_to_stay_closed(tmp_path):
    """A square, 0.1 mm of wood, a square of the next stage: a lap of 0.4 mm makes a strip of 0.3 mm that a 2 mm cutter
    does not go into, and that the next stage cuts."""
    art = svg('<rect x="5" y="5" width="10" height="20" fill="#225577"/>'
              '<rect x="15.1" y="5" width="10" height="20" fill="#aa2222"/>')
    cutters, other = 'cutters = ["flat"]', "place = { at = [45.0, 0.0] }"
    stage = f'[[inlay]]\nartwork = "art.svg"\ndepth = 1.2\n{cutters}\n{other}\ncolours = ["#aa2222"]\n'
    path = job(tmp_path, art=art, extra=stage, changes={cutters: f'{cutters}\nlap = 0.4\ncolours = ["#225577"]'})
    read = load_job(path)
    clamping = clamping_of(read)
    assert clamping.inlays[0].area.area == pytest.approx(10 * 20 + 0.3 * 20, abs=0.3)
    said = [one.where for one in reach_findings(clamping, reach_of_cutters(clamping), read.complete_cutters)]
    assert said == []
    rows = [row for row in reach_of_all(clamping, read.complete_cutters)[0].cutters if row.cutter == "flat"]
    assert [detail.area for detail in rows[0].details] == pytest.approx([1 - math.pi / 4] * 4, abs=0.01)  # its corners
    report = build(read, resolution=0.4).report
    assert not [one for one in report["checks"]["findings"] if one["code"] == "detail-out-of-reach"]
    corners = 4 - math.pi
    shares = [row.share for row in rows] + [each["share"] for each in report["reach"][0]["sets"]]
    assert shares == pytest.approx([1 - corners / 200] * 2, abs=1e-4), "of what is seen, not of the strip too"
    inlay = report["inlays"][0]
    assert (inlay["area"], inlay["reachable_area"]) == pytest.approx((200, 200 - corners), abs=0.02)


def test_a_closed_place_at_a_lap_is_one_to_a_build_and_to_reach(tmp_path):
    """A leaf 1.2 mm wide beside the next stage, under which it runs on by 0.3 mm: the strip is no part of the place."""
    art = svg('<rect x="5" y="5" width="10" height="20" fill="#225577"/><rect x="15" y="9" width="8" height="1.2" '
              'fill="#225577"/><rect x="15" y="10.2" width="8" height="9.8" fill="#aa2222"/>')
    cutters, other = 'cutters = ["flat"]', "place = { at = [45.0, 0.0] }"
    stage = f'[[inlay]]\nartwork = "art.svg"\ndepth = 1.2\n{cutters}\n{other}\ncolours = ["#aa2222"]\n'
    read = load_job(job(tmp_path, art=art, extra=stage, changes={
        cutters: f'{cutters}\nlap = 0.3\ncolours = ["#225577"]'}))
    clamping = clamping_of(read)
    in_build = reach_of_cutters(clamping)[0].together[0].details[0]
    in_reach = next(row for row in reach_of_all(clamping, read.complete_cutters)[0].cutters if row.cutter == "flat")
    assert in_build.area == pytest.approx(8 * 1.2, abs=0.6)  # D, less what the disc bulges in beside it
    assert in_reach.details[0] == in_build


def test_of_a_place_that_no_flat_end_opens_none_is_named():
    details = tuple(Detail(at=(1.0, 2.0), area=0.4, width=0.42, largest=largest, length=2.0) for largest in (0.0, 0.3))
    row = CutterReach(colour="#225577", cutter="flat", area=10.0, reachable_area=9.2, details=details)
    lines = list(reach_lines("inlay 1", Reach(cutters=(row,), sets=(), narrowest_wall=None), "mm", smallest="flat"))
    assert [line.split("  ")[-1].strip() for line in lines if "0.42 mm" in line] == ["a v cutter", "0.3 mm"]


ARROW = svg('<path fill="#225577" d="M24,7 L36,8 L24,11 L30,16 L23,16 Z"/>')
V_FIRST = {'cutters = ["flat"]': 'cutters = ["v", "flat"]'}


@pytest.mark.in_every_run(0)
def test_a_v_after_which_none_finds_anything_to_do_rises_as_the_last_does(tmp_path):
    """D: the v is 1.73 mm wide at the floor, the flat end 2 mm. Corners that nothing rose into were told as a fault."""
    made = built(tmp_path, changes=V_FIRST, extra=V, art=ARROW, resolution=0.3)
    assert made.passed
    assert [one.cutter.name for one in made.plan.clamping.idle] == ["flat"]
    read = load_job(tmp_path / "job.toml")
    (found,) = reach_of_all(clamping_of(read), read.complete_cutters)
    assert {one.cutters: round(one.share, 3) for one in found.sets if one.cutters[0] == "v"} == \
        {("v", "flat"): 1.0, ("v",): 1.0}


def test_that_a_v_before_others_opens_less_than_alone_is_said(tmp_path):
    read = load_job(job(tmp_path, changes=V_FIRST | {"diameter = 2.0": "diameter = 1.0"}, extra=V, art=ARROW))
    (found,) = reach_of_all(clamping_of(read), read.complete_cutters)
    own, alone = found.sets[0].share, next(one.share for one in found.sets if one.cutters == ("v",))
    assert own < 0.99 < alone
    lines = list(reach_lines("inlay 1", found, "mm", smallest="flat"))
    assert any(line.startswith("v rises into corners only where it comes last: with others after it less is open")
               for line in lines)
    assert f"Without flat the others of the set open {100 * (alone - own):.1f} % more." in lines
    assert not any("flat" in line and "opens nothing more" in line for line in lines)


@pytest.mark.in_every_run(0)
def test_what_is_said_of_cutters_that_slope_that_go_in_nowhere_and_that_the_job_has(tmp_path):
    small, wide, tiny = (cutter(name=name, shape="flat-end", diameter=size, **RUN)
                         for name, size in (("small", 0.6), ("wide", 12.0), ("tiny", 0.3)))
    slots = '[slots]\ncutter = "small"\ndepth = 2.0\n'
    read = load_job(job(tmp_path, extra=V + small + wide, art=STAR))
    (found,) = reach_of_all(clamping_of(read), read.complete_cutters)
    lines = list(reach_lines("inlay 1", found, "mm", smallest="flat"))
    assert "ball and v: so much is open at the surface; the walls slope, and the floor is smaller." in lines
    # 12 mm go in nowhere: they stand in the table and in no set
    assert any("wide" in line and line.endswith("  0.0 %") for line in lines)
    assert not any("wide" in one.cutters for one in found.sets)
    for extra, words in ((small + slots, 'add "small" to [[inlay]] cutters, or'),
                         (V, 'add "v" to [[inlay]] cutters, last, or'), ("", " mm or a v cutter")):
        clamping = clamping_of(read := load_job(job(tmp_path, extra=extra, art=STAR)))
        (finding,) = reach_findings(clamping, reach_of_cutters(clamping), read.complete_cutters)
        assert words in finding.remedy
        words = r"nine tenths of that place open, as with a cutter of \d\.\d\d mm"
        assert re.fullmatch(words, finding.allowed), "others: narrower"
    # the widest that does is named, whether a step has it or not
    more = tiny + slots.replace("small", "tiny") + small
    clamping = clamping_of(read := load_job(job(tmp_path, extra=more, art=STAR)))
    (finding,) = reach_findings(clamping, reach_of_cutters(clamping), asked_of(read, clamping).cutters)
    assert 'add "small" to [[inlay]] cutters' in finding.remedy


def test_of_one_drawing_in_several_sizes_a_cutter_is_told_that_opens_the_smallest_too(tmp_path):
    """It said "add small", which opened two of three; then that a thinner one is needed."""
    lines = "".join(f'<rect x="{x}" y="10" width="{wide}" height="8" fill="#225577"/>'
                    for x, wide in ((10, 0.9), (16, 0.7), (22, 0.5)))
    small = cutter(name="small", shape="flat-end", diameter=0.6, **RUN) + '[slots]\ncutter = "small"\ndepth = 2.0\n'
    art = svg(lines)
    clamping = clamping_of(read := load_job(job(tmp_path, extra=small, art=art)))
    (finding,) = reach_findings(clamping, reach_of_cutters(clamping), read.complete_cutters)
    assert "is 0.90 mm wide there" in finding.got
    needed = float(re.search(r"add a cutter of ([\d.]+) mm or a v cutter", finding.remedy)[1])
    assert 0.45 <= needed <= 0.5
    assert '("small" of the job does not open all such places)' in finding.remedy


def test_a_corner_has_no_width_and_two_are_two_places() -> None:
    """D: in a right angle a circle of r (sqrt 2 - 1) / (sqrt 2 + 1) lies beside a cutter of r. It was told as wide as
    the cutter that opens it; and corners a cutter's width apart were one place where films joined them."""
    for turned in (0.0, 10.0, 33.0):
        region = affinity.rotate(box(0, 0, 10, 2.02), turned, origin=(0, 0))
        (row,) = reach([("#204060", region)], [flat_end(2.0)], depth=1.0).cutters
        assert len(row.details) == 4
        for one in row.details:
            assert one.width == pytest.approx(2 * (math.sqrt(2) - 1) / (math.sqrt(2) + 1), abs=0.02)
            assert one.area == pytest.approx(1 - math.pi / 4, abs=0.01)
            assert one.is_corner
            assert one.largest > 0.5
    (row,) = reach([("#204060", box(0, 0, 10, 1.5))], [flat_end(2.0)], depth=1.0).cutters
    assert [(one.is_corner, round(one.width, 2)) for one in row.details] == [(False, 1.5)]


def _highest_floor(result, nth, radius, depth):
    """How far over its depth a flat end's program leaves the floor along the pocket's walls, by its moves alone."""
    start, end, rapid, _ = moves_and_feeds(text_of(result, "pocket", nth))
    share = np.linspace(0.0, 1.0, 9)[:, None, None]
    at = (start + share * (end - start))[:, ~rapid].reshape(-1, 3)
    surface, area = result.plan.clamping.surface, result.plan.clamping.inlays[0].area
    walls = shapely.get_coordinates(shapely.segmentize(shapely.boundary(area.buffer(-0.02)), 0.5))
    over = np.linalg.norm(walls[:, None] - at[None, :, :2], axis=2) <= radius
    floor = np.where(over, at[:, 2], np.inf).min(axis=1)
    reached = np.isfinite(floor)
    return float((floor - surface.height(*walls.T) + depth)[reached].max())


def test_a_build_reports_what_each_cutter_adds_and_takes(tmp_path):
    """The table for choosing among the job's own cutters: shares rise, times add up to those of the programs."""
    wide = cutter(name="wide", shape="flat-end", diameter=6.0, speed=12000, feed=1500.0, plunge=400.0, stepdown=2.0)
    result = built(tmp_path, changes={'cutters = ["flat"]': 'cutters = ["wide", "flat"]'}, extra=wide, resolution=0.3)
    minutes = [p["minutes"] for p in result.report["programs"] if p["operation"] == "pocket"]
    first, both = result.report["reach"][0]["sets"]
    assert [first["cutters"], both["cutters"]] == [["wide"], ["wide", "flat"]]
    inlay = result.report["inlays"][0]
    # derived: from a disc and a box the first leaves (1 - pi / 4) r^2 in each of four corners
    assert first["share"] == pytest.approx(1 - 4 * (1 - math.pi / 4) * 9 / inlay["area"], abs=1e-3)
    assert both["share"] == pytest.approx(inlay["reachable_area"] / inlay["area"], abs=1e-4)
    assert [first["minutes"], both["minutes"]] == pytest.approx([minutes[0], sum(minutes)], abs=0.02)
    # the disc and the box reach 8 mm across, so the axis of the wide one 5 mm: the radius is 254 to 300 mm
    assert 6.0 * 5.0 / 300.0 < inlay["floor_high"] < 6.0 * 5.0 / 254.0 + 1e-3
    assert inlay["floor_high"] == pytest.approx(_highest_floor(result, 0, 3.0, 1.5), abs=3e-3)
    text = result.files()["report.txt"]
    assert "wide then flat" in text
    assert f"floor up to {inlay['floor_high']:.2f} mm above its depth" in text
    assert f"; {1.5 - inlay['floor_high']:.2f} to 1.5 mm of inlay remain." in text
    assert "Narrowest wood between the edges of inlay 1: 4 mm" in text


@pytest.mark.parametrize(("alone", "share", "large", "words", "best"), [
    (13.5, 0.9, 0.4, "large saves 3.5 min and opens nothing more; changing to it takes about 2 min.", "the job's own"),
    (11.5, 0.9, 0.4, "large saves 1.5 min and opens nothing more; changing to it takes about 2 min.", "small"),
    (9.75, 0.9, 0.4, "large costs 0.2 min and opens nothing more; changing to it takes about 2 min.", "small"),
    (13.5, 0.7, 0.4, "large opens 20.0 % that the others of the set cannot.", "the job's own"),
    (11.5, 0.9, 0.9, "large saves 1.5 min and opens nothing more; changing to it takes about 2 min.", "large"),
])
def test_what_each_cutter_saves_beside_a_change(alone, share, large, words, best) -> None:
    sets = [(("large", "small"), 0.9, 10.0), (("small",), share, alone), (("large",), large, 11.0)]
    found = Reach(cutters=(), narrowest_wall=None,
                  sets=tuple(SetReach(cutters=c, share=s, minutes=m) for c, s, m in sets))
    lines = list(reach_lines("inlay 1", found, "mm", smallest="small"))[-3:]
    assert lines[0] == words
    assert lines[1].startswith("small opens 50.0 % that" if large < share else "small saves 1.0 min and opens nothing")
    assert f"open as much as the job's, {best} is the quickest" in lines[2]


def test_each_set_without_one_cutter_is_tried(tmp_path: Path) -> None:
    more = "".join(cutter(name=name, shape="flat-end", diameter=diameter, speed=18000, feed=900.0, plunge=300.0,
                          stepdown=0.8) for name, diameter in (("wide", 4.0), ("small", 1.0)))
    three = {"[surface]": f"{more}[surface]", 'cutters = ["flat"]': 'cutters = ["wide", "flat", "small"]'}
    clamping = clamping_of(load_job(job(tmp_path, changes=three)))
    cutters = [step.cutter for step in clamping.steps if step.operation.opens is clamping.inlays[0]]
    rows = worth(reach_of_all(clamping, cutters)[0])
    assert [row["cutter"] for row in rows] == ["wide", "flat", "small"]
    assert all(row["minutes_to_change"] == CHANGE for row in rows)


@pytest.mark.parametrize(("width", "found"), [(0.02, True), (0.1, True), (2.1, False)])
def test_a_thin_line_that_stays_closed_is_told_beside_much_that_is_cut(tmp_path, width, found):
    art = svg('<circle cx="12" cy="15" r="8" fill="#225577"/>'
              f'<path d="M24,7V14" stroke="#225577" stroke-width="{width}"/>')
    clamping = clamping_of(load_job(job(tmp_path, art=art)))
    told = [f.got for f in reach_findings(clamping, reach_of_cutters(clamping), [])]
    assert ["7.0 mm long" in got for got in told] == [True] * found


def test_a_colour_that_a_later_inlay_cuts_wholly_leaves_nothing_closed(tmp_path):
    """Its area is none, which the share of it that stays closed was divided by."""
    (tmp_path / "spot.svg").write_text(svg('<rect x="23" y="6" width="14" height="11" fill="#225577"/>'))
    later = '[[inlay]]\nartwork = "spot.svg"\ndepth = 1.5\ncutters = ["flat"]\nplace = { at = [45.0, 0.0] }\n'
    clamping = clamping_of(load_job(job(tmp_path, extra=later)))
    found = reach_findings(clamping, reach_of_cutters(clamping), [])
    assert not [one for one in found if "#cc8833" in one.got]


def crumbs(area, closed):
    """So much of a colour, in places each too small to be listed."""
    return _closed(CutterReach(colour="#896024", cutter="ball", area=area, reachable_area=area - closed, details=()),
                   piece=False)


@pytest.mark.parametrize(("area", "warned"), [(300.0, False), (150.0, True)])
def test_crumbs_of_more_than_the_share_that_is_warned_of_are_warned_of(area, warned):
    assert crumbs(area, 4.0).warned == warned  # 1.3 % and 2.7 %


def test_crumbs_that_nobody_could_see_are_no_word_worth_however_little_there_is_of_a_colour():
    """0.01 mm2 of a colour of 0.36 mm2 were said beside the verdict."""
    assert crumbs(0.36, 0.01) is None
    assert crumbs(0.36, 0.06).warned


@pytest.mark.parametrize(("teeth", "told"), [(13, True), (3, False)])
def test_many_places_each_too_small_to_be_told_are_told_together(tmp_path, teeth, told):
    """Derived: a disc of 1 mm in a corner of 130 degrees leaves tan(25) - 25 pi / 180 = 0.030 mm2 of it."""
    high, corner = 1 / math.tan(math.radians(65)), math.tan(math.radians(25)) - math.radians(25)
    low = " ".join(f"{8 + 2 * k},{8 - high} {9 + 2 * k},8" for k in range(teeth))
    far = " ".join(f"{32 - 2 * k},{12 + high} {31 - 2 * k},12" for k in range(teeth))
    art = svg(f'<path fill="#225577" d="M6,8 H7 L{low} H34 A2 2 0 0 1 34,12 H33 L{far} H6 A2 2 0 0 1 6,8 Z"/>')
    clamping = clamping_of(load_job(job(tmp_path, art=art)))
    found = [f.got for f in reach_findings(clamping, reach_of_cutters(clamping), [])]
    assert len(found) == told
    if told:
        assert "in many places, each under 0.05 mm2" in found[0]
        assert float(found[0].split(" mm2")[0]) == pytest.approx(2 * teeth * corner, abs=0.06)


@pytest.mark.parametrize(("proud", "names"), [(0.0, ["own", "long", "just", "v"]), (0.2, ["own", "long"])])
def test_other_cutters_are_tried_where_their_flutes_are_long_enough_for_the_wood_that_stands(proud, names):
    def one(name, flute=9.0, shape="flat-end"):
        return SimpleNamespace(name=name, flute_length=flute, shape=shape)

    inlay = SimpleNamespace(depth=1.6, drawn=())
    clamping = SimpleNamespace(inlays=[inlay], cutters_of=lambda _: [one("own")], proud=lambda _: proud)
    every = [one("own"), one("long"), one("just", 1.6), one("short", 1.59), one("v", shape="v")]
    assert [c.name for c in _candidates(clamping, 0, every)] == names


def test_the_widest_that_a_cutter_opens_is_the_width_of_its_opening_at_the_depth():
    parts = np.array([box(0, 0, 20, 10)], dtype=object)
    for one, widest in ((flat_end(3.0), 3.0), (v_cutter(60.0), 3.0 * math.tan(math.radians(30.0)))):
        opened, wide = _opened(parts, one, LEVEL, 1.5)
        assert wide == pytest.approx(widest)
        assert opened[0].area == pytest.approx(200.0 - (4 - math.pi) * (widest / 2) ** 2, abs=0.05)
    opened, wide = _opened(parts, flat_end(3.0, flute_length=1.49), LEVEL, 1.5)
    assert (opened[0].is_empty, wide) == (True, 0.0)


def test_wood_that_another_inlay_takes_or_has_filled_is_no_wall() -> None:
    halves = MultiPolygon([box(0, 0, 10, 10), box(10.3, 0, 20, 10)])
    apart = MultiPolygon([box(0, 20, 10, 30), box(11.5, 20, 20, 30)])
    region = overlay.union(halves, apart)
    assert reach([("#204060", region)], [flat_end(2.0)], depth=1.0).narrowest_wall.width == pytest.approx(0.3)
    between = reach([("#204060", region)], [flat_end(2.0)], depth=1.0, others=Others(pocketed=box(10, 0, 10.3, 10)))
    assert between.narrowest_wall.width == pytest.approx(1.5)
    own_gap = MultiPolygon([box(10, 0, 10.3, 10), box(40, 0, 50, 10), box(50.2, 0, 60, 10)])
    both = reach([("#204060", region)], [flat_end(2.0)], depth=1.0, others=Others(pocketed=own_gap))
    assert both.narrowest_wall.width == pytest.approx(1.5)
    alone = reach([("#204060", apart)], [flat_end(2.0)], depth=1.0, others=Others(pocketed=box(9, 20, 12, 30)))
    assert alone.narrowest_wall is None


def test_a_closed_place_is_as_long_as_what_is_wide_of_it() -> None:
    film = Polygon([(0, 0), (0.3, 0.3), (0.3, 0.001), (20, 0.001), (20, 0)])
    assert lengths(np.array([film, box(0, 0, 19, 0.02)])) == pytest.approx([0.42, 19.0], abs=0.03)


def test_what_a_small_colour_keeps_closed_is_not_told_as_nothing():
    told = [crumbs(40.0 * closed, closed).said("") for closed in (0.06, 0.4)]
    assert [words.split(" of")[0] for words in told] == ["0.06 mm2", "0.4 mm2"]


@pytest.mark.parametrize(("changes", "extra", "named"), [
    ({}, "", '"v" to [[inlay]] cutters, last'), ({}, "narrow", '"narrow" to [[inlay]] cutters, last'),
    ({}, "tiny", '"tiny" to [[inlay]] cutters'),
    # walls that slope are in the way of a piece
    ({"overfill = 0.7": 'fill = "piece"'}, "", "a cutter of 0.48 mm"),
])
def test_the_cutter_of_the_job_that_opens_what_stays_closed_in_all_colours_is_named(tmp_path, changes, extra, named):
    """Two colours, one with a line of 1.2 mm, one of 0.5 mm: one warning; the job's v cutter was not named."""
    more = {"narrow": cutter(name="narrow", shape="v", angle=20.0, diameter=4.0, speed=16000, feed=500.0, plunge=100.0,
                             stepdown=1.0),
            "tiny": cutter(name="tiny", shape="flat-end", diameter=0.4, speed=16000, feed=300.0, plunge=100.0,
                           stepdown=0.3) +
                    cutter(name="line", shape="flat-end", diameter=1.1, speed=16000, feed=300.0, plunge=100.0,
                           stepdown=0.5)}.get(extra, "")
    art = svg('<path d="M4,8H10V14H4Z M10,10.4H20V11.6H10Z" fill="#225577"/>'
              '<path d="M24,8H30V14H24Z M30,10.7H36V11.2H30Z" fill="#cc8833"/>')
    clamping = clamping_of(read := load_job(job(tmp_path, extra=V + more, art=art, changes=changes)))
    (finding,) = reach_findings(clamping, reach_of_cutters(clamping), read.complete_cutters)
    said = r"12\.7 mm2 of #225577, 26\.5 % of that colour; 3\.9 mm2 of #cc8833, 9\.9 %, stay closed with .flat.;"
    assert re.match(said, finding.got)
    assert finding.remedy.startswith(f"add {named}, or draw such details wider")
