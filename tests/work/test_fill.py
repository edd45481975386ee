"""How much to mix and what the second cut takes: closed forms, and pockets as swept solids."""

import itertools
import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from manifold3d import CrossSection, Manifold, OpType

import pathgen
from pathgen.base.surface import Surface
from pathgen.base.units import parse_length, rounded_down
from pathgen.job.clamping import clamping_of
from pathgen.programs.instructions import before_start
from pathgen.report.fill_findings import edge_to_edge, overfill_warnings
from pathgen.report.filling import amounts, too_near
from pathgen.report.filltext import batch_cells
from pathgen.report.pictures.shaded import shaded_board
from pathgen.report.text import finding_lines
from pathgen.work import fill
from pathgen.work.features import Inlay, PlacedSize
from pathgen.work.fill import Resin, amount, batch_of, dam_round, fall_under, resin_above, second_cut
from tests.small_board import ART, SLOT_CUTTER, built, job, left_by_ball, svg, text_of

RADIUS = "radius = { nut = 254.0, end = 300.0 }"
NEAR_DAM = {"waste = 0.25": "waste = 0.25\ndam = 0.5"}
"""The two colours are 4 mm apart: a dam so near each leaves room for a rim of 3 mm."""


def test_amounts_of_round_numbers():
    one = amount(
        "#000000", area=100.0, pocket=1500.0, overfill=1000.0, depth=(1.4, 1.5), deep=2.5,
        resin=Resin(density=1.2, mix={"resin": 2.0, "hardener": 1.0}, waste=0.2, waste_least=0.0, least=0.1),
    )
    assert (one.waste, one.needed) == (500.0, 3000.0)
    assert one.batch.mass == pytest.approx(3.6)
    assert one.batch.parts == pytest.approx({"resin": 2.0, "hardener": 1.0})
    assert (one.batch.parts_unit, one.batch.pours) == ("ml", 1)


def test_waste_is_a_floor_as_well_as_a_share():
    small, large = (amount("#000000", area=9.0, pocket=v, overfill=0.0, depth=(1.0, 1.0), deep=1.0, resin=Resin())
                    for v in (200.0, 20_000.0))
    assert (small.waste, large.waste) == (1000.0, 4000.0)  # 1 ml at least, a fifth otherwise


def test_each_pour_has_a_cup_that_keeps_its_own():
    """0.05 ml in two pours: each cup is to give half of that, and keeps 1 ml."""
    poured = amount("#000000", area=20.0, pocket=50.0, overfill=0.0, depth=(2.5, 2.5), deep=2.5,
                    resin=Resin(pour_depth=1.5, least=0.5))
    assert (poured.waste, poured.batch.pours) == (2000.0, 2)
    assert poured.batch.total == pytest.approx(2 * 1100.0)  # by tenths of a ml, no less than 1.025 each


def test_parts_by_mass_are_those_of_the_sheet():
    batch = batch_of(4500.0, deep=1.6, resin=Resin(
        density=1.1, mix={"resin": 100.0, "hardener": 30.0, "colour": 4.0}, mix_by="mass", least=0.5))
    # 4.95 g or more; 4 parts in 134 by whole tenths: 0.2 of 6.7 g come first, as 0.1 of 3.35 g would
    assert batch.parts == pytest.approx({"resin": 5.0, "hardener": 1.5, "colour": 0.2})
    assert batch.mass == pytest.approx(6.7)
    assert batch.total == pytest.approx(6.7 / 1.1 * 1000)
    assert batch.parts_unit == "g"


def test_the_smallest_batch_and_equal_pours():
    two_to_one = Resin(mix={"resin": 2.0, "hardener": 1.0})
    # 5 ml by tenths: 3.3 and 1.7 are 1.94 to 1, 3.4 and 1.7 are right
    assert batch_of(10.0, deep=1.0, resin=two_to_one).parts == pytest.approx({"resin": 3.4, "hardener": 1.7})
    poured = batch_of(12_000.0, deep=2.5, resin=replace(two_to_one, pour_depth=1.0))
    assert (poured.pours, poured.total) == (3, pytest.approx(15_300.0))
    assert poured.parts == pytest.approx({"resin": 3.4, "hardener": 1.7})
    by_half = batch_of(7_100.0, deep=1.0, resin=replace(two_to_one, measure=0.5))
    assert by_half.parts == pytest.approx({"resin": 5.0, "hardener": 2.5})
    assert batch_of(7_130.0, deep=1.0, resin=Resin()).total == pytest.approx(7_200.0)  # no ratio: whole measures


@settings(max_examples=150, deadline=None)
@given(st.lists(st.floats(1.0, 50.0), min_size=2, max_size=6), st.floats(0.0, 300.0),
       st.sampled_from([0.05, 0.1, 0.5]))
def test_a_batch_can_be_measured_is_enough_and_keeps_its_ratio(mix, total, measure):
    resin = Resin(mix={chr(97 + i): part for i, part in enumerate(mix)}, measure=measure, least=5.0)
    batch = batch_of(total * 1000, deep=1.0, resin=resin)
    parts = np.array(list(batch.parts.values()))
    assert parts.min() >= measure * (1 - 1e-9)
    assert parts / measure == pytest.approx(np.round(parts / measure), abs=1e-6)
    assert sum(parts) >= max(total, 5.0) - 1e-6
    for (a, pa), (b, pb) in itertools.combinations(zip(mix, parts, strict=True), 2):
        assert pa / pb == pytest.approx(a / b, rel=0.0201)
    # and no batch that is smaller by two measures or more keeps the ratio
    if len(mix) == 2:
        share = mix[0] / sum(mix)
        for wholes in range(int(np.ceil(max(total, 5.0) / measure - 1e-6)), round(sum(parts) / measure) - 1):
            k = np.arange(1, wholes)
            with np.errstate(divide="ignore"):
                off = (k / (wholes - k)) / (share / (1 - share))
            best = k[np.argmin(abs(k - wholes * share))] if len(k) else 0
            assert not len(k) or not 1 / 1.0199 < off[best - 1] < 1.0199


def test_what_a_skim_takes():
    cut = second_cut(wood_area=900.0, area=100.0, pocket=150.0, proud=80.0, skim=0.1, skim_before=False,
                     depth=(1.45, 1.5))
    assert cut.wood == pytest.approx(90.0)
    assert cut.fill == pytest.approx(90.0)
    assert cut.depth_left == pytest.approx((1.35, 1.4))
    later = second_cut(wood_area=900.0, area=100.0, pocket=150.0, proud=80.0, skim=0.1, skim_before=True,
                       depth=(1.45, 1.5))
    assert (later.wood, later.fill) == (0.0, 80.0)


@pytest.mark.in_every_run(0)
def test_resin_also_fills_the_wood_that_the_first_cut_left(tmp_path):
    """It is poured while the wood stands `leave` above the finished surface, and comes off again with it."""
    changes = {RADIUS: 'radius = "flat"', "scallop = 0.05": "scallop = 0.05\nleave = 0.3"}
    result = built(tmp_path, resolution=0.05, changes=changes)
    found = {a.colour: a for a in amounts(result.plan, result.verification, 0)}
    disc = np.pi * 8.0**2
    assert found["#225577"].pocket == pytest.approx(1.8 * disc, rel=4e-3)
    assert found["#225577"].depth == pytest.approx((1.8, 1.8), abs=1e-3)
    inlay = result.report["inlays"][0]
    ridges = 0.03  # of the coarse first cut: they were in the way and are filled
    assert inlay["fill_volume"] == pytest.approx((1.8 + 0.7) * inlay["reachable_area"], rel=ridges)
    assert inlay["second_cut"]["depth_left"] == pytest.approx([1.5, 1.5], abs=1e-3)
    took = sum(one.overfill for one in found.values()) + 0.3 * result.verification.pockets[0].area
    assert inlay["second_cut"]["fill_volume"] == pytest.approx(took, rel=1e-3)


def test_pockets_in_a_flat_board_are_cylinders_and_prisms(tmp_path):
    result = built(tmp_path, resolution=0.05, changes={RADIUS: 'radius = "flat"', **NEAR_DAM})
    found = {a.colour: a for a in amounts(result.plan, result.verification, 0)}
    disc, prism = np.pi * 8.0**2, 12.0 * 9.0 - (4 - np.pi) * 1.0**2  # corners of the cutter's radius
    assert found["#225577"].pocket == pytest.approx(1.5 * disc, rel=4e-3)
    assert found["#cc8833"].pocket == pytest.approx(1.5 * prism, rel=4e-3)
    assert found["#cc8833"].depth == pytest.approx((1.5, 1.5), abs=1e-3)
    # a dam 0.5 mm round the disc, and one round the drawn rectangle: two colours never stand in one dam
    above = 0.7 * np.pi * 8.5**2, 0.7 * (12.0 * 9.0 + 0.5 * 42.0 + np.pi * 0.5**2)
    assert [found[c].overfill for c in ("#225577", "#cc8833")] == pytest.approx(above, rel=1e-3)
    needed = [1.5 * area + over + 1000.0 for area, over in zip((disc, prism), above, strict=True)]  # 1 ml each is lost
    assert [a.needed for a in found.values()] == pytest.approx(needed, rel=4e-3)
    inlay = result.report["inlays"][0]
    assert sum(s["pocket_volume"] for s in inlay["amounts"]) == pytest.approx(
        result.verification.pockets[0].fill_volume - 0.7 * result.verification.pockets[0].area, abs=0.02)
    batch = inlay["batch"]
    assert batch["needed_volume"] == pytest.approx(sum(needed), rel=4e-3)
    assert batch["parts"]["hardener"] / batch["parts"]["resin"] == pytest.approx(0.45, rel=0.02)
    assert 5000.0 <= batch["total_volume"] < 5400.0  # more than needed: the smallest batch
    assert sum(batch["parts"].values()) == pytest.approx(batch["mass"], abs=1e-3)


def test_level_resin_on_a_cylinder_against_the_segment_of_its_circle():
    surface = Surface(thickness=6.5, radius_nut=100.0, radius_end=100.0, length=400.0)
    inlay = Inlay(name="i", regions=(("#000000", shapely.box(20.0, -6.0, 50.0, 10.0)),), depth=1.5, overfill=0.3,
                  placed=(PlacedSize(width=30.0, height=16.0, share=1.0),))
    # level at the crest, which the drawing covers: 0.3 mm over the low edge at 12 mm would lie below it

    def under(y):  # of R - sqrt(R^2 - y^2), from 0
        return 100.0 * y - (y * np.sqrt(100.0**2 - y * y) + 100.0**2 * np.arcsin(y / 100.0)) / 2
    # 2 mm round: a band along each edge, and rounded corners whose mean is nearly that of their middle
    band = 30.0 * (under(12.0) + under(8.0)) + 2 * 2.0 * (under(10.0) + under(6.0))
    quarter, centroid = np.pi, 4 * 2.0 / (3 * np.pi)  # of a quarter disc of radius 2
    corners = 2 * quarter * sum((y + centroid) ** 2 / 200.0 for y in (10.0, 6.0))
    assert resin_above(inlay, surface, 2.0)["#000000"] == pytest.approx(band + corners, rel=2e-3)
    # an overfill that reaches the crest and more: as much again over the whole dam
    high = replace(inlay, overfill=1.5)
    more = 1.5 - (100.0 - np.sqrt(100.0**2 - 12.0**2))
    dam = 30.0 * 16.0 + 2.0 * 92.0 + np.pi * 2.0**2
    assert resin_above(high, surface, 2.0)["#000000"] == pytest.approx(band + corners + more * dam, rel=2e-3)


def test_a_ring_is_dammed_inside_too_where_there_is_room():
    """Derived: areas of rings; on a level face resin stands `overfill` high all over the dam."""
    level = Surface(thickness=5.0, radius_nut=np.inf, radius_end=np.inf, length=200.0)
    for inner, wide in ((40.0, True), (13.0, True), (11.5, False)):
        disc = shapely.Point(100.0, 0.0).buffer(inner, 256)
        ring = shapely.Point(100.0, 0.0).buffer(inner + 6.0, 256).difference(disc)
        inlay = Inlay(name="i", regions=(("#000000", ring),), depth=1.5, overfill=0.4,
                      placed=(PlacedSize(width=2 * inner + 12.0, height=2 * inner + 12.0, share=1.0),))
        area = np.pi * ((inner + 8.0) ** 2 - (inner - 2.0) ** 2 * wide)
        assert dam_round(inlay, 2.0).area == pytest.approx(area, rel=1e-3)
        assert resin_above(inlay, level, 2.0)["#000000"] == pytest.approx(0.4 * area, rel=1e-3)


@pytest.mark.parametrize(("leaves", "far", "dry"), [(12, 40.0, True), (12, 13.0, False), (3, 40.0, None)])
def test_leaves_all_round_are_dammed_inside_like_a_ring(leaves, far, dry):
    """Twelve leaves lie within 20 mm of their neighbours, so one dam goes round all; three lie apart, with one each."""
    turns = np.arange(leaves) * 2 * np.pi / leaves
    parts = shapely.MultiPoint(np.column_stack([100.0 + far * np.cos(turns), far * np.sin(turns)])).buffer(3.0)
    inlay = Inlay(name="i", regions=(("#000000", parts),), depth=1.5, overfill=0.4,
                  placed=(PlacedSize(width=2 * far + 6.0, height=2 * far + 6.0, share=1.0),))
    dam = dam_round(inlay, 2.0)
    assert shapely.covers(dam, parts.buffer(1.98))
    assert shapely.get_num_geometries(dam) == (3 if dry is None else 1)
    middle = shapely.Point(100.0, 0.0)
    assert dam.covers(middle) == (dry is False)
    if dry:
        assert dam.distance(middle) == pytest.approx(far - 3.0 - 2.0, abs=0.05)


@pytest.mark.parametrize(("apart", "dams"), [(10.0, 1), (19.8, 1), (20.2, 2), (66.0, 2)])
def test_copies_have_a_dam_each_and_one_drawing_has_one_for_what_lies_near(apart, dams):
    """Two squares of 4 mm; inside a taut thread round both is what lies between them too."""
    two = shapely.MultiPolygon([shapely.box(10, -2, 14, 2), shapely.box(14 + apart, -2, 18 + apart, 2)])
    once = Inlay(name="i", regions=(("#000000", two),), depth=1.0,
                 placed=(PlacedSize(width=8.0 + apart, height=4, share=1),))
    twice = replace(once, placed=once.placed * 2)
    each = 16.0 + 2.0 * 16.0 + np.pi * 2.0**2
    assert dam_round(twice, 2.0).area == pytest.approx(2 * each, rel=2e-3)
    wide = 8.0 + apart
    one = 4 * wide + 2.0 * (2 * wide + 8.0) + np.pi * 2.0**2
    assert dam_round(once, 2.0).area == pytest.approx(one if dams == 1 else 2 * each, rel=2e-3)


def test_a_sliver_that_the_geometry_library_leaves_is_no_dam(monkeypatch):
    """Of a public drawing with a dry middle 1e-6 mm2 were left beside its dam, and nothing to be covered in them."""
    dot = shapely.Point(30.0, 2.0).buffer(4.0)
    top = Surface(thickness=6.0, radius_nut=254.0, radius_end=254.0, length=100.0)
    inlay = Inlay(name="sliver", regions=(("#225577", dot),), depth=1.0, overfill=0.4, dam=2.0)
    whole = resin_above(replace(inlay, name="whole"), top, 2.0)
    beside = shapely.box(40.0, 2.0, 40.001, 2.001)
    monkeypatch.setattr(fill, "dam_round", lambda *_, **__: shapely.union(dam_round(inlay, 2.0), beside))
    assert resin_above(inlay, top, 2.0) == whole


def test_each_colour_of_a_pour_has_dams_of_its_own():
    """Derived: on a level face resin stands `overfill` high over each colour's own dam, not over the wood between."""
    level = Surface(thickness=5.0, radius_nut=np.inf, radius_end=np.inf, length=200.0)
    one, other = shapely.box(10, -5, 20, 5), shapely.box(110, -5, 150, 5)
    inlay = Inlay(name="i", regions=(("#000000", one), ("#ffffff", other)), depth=1.5, overfill=0.4,
                  placed=(PlacedSize(width=140.0, height=10.0, share=1.0),))
    round_one, round_other = (a + 2.0 * rim + np.pi * 2.0**2 for a, rim in ((100.0, 40.0), (400.0, 100.0)))
    found = resin_above(inlay, level, 2.0)
    assert found == pytest.approx({"#000000": 0.4 * round_one, "#ffffff": 0.4 * round_other}, rel=1e-3)
    # one colour on either side of the other: a dam round both of its parts would hold the other's resin
    apart = replace(inlay, regions=(("#000000", shapely.box(60, -5, 70, 5)),
                                    ("#ffffff", shapely.union(one, other))))
    found = resin_above(apart, level, 2.0)
    assert found == pytest.approx({"#000000": 0.4 * round_one, "#ffffff": 0.4 * (round_one + round_other)}, rel=1e-3)


def test_dams_of_many_colours_are_found_once(monkeypatch):
    """However often resin, dams and colours too near are asked for: round each colour, and again where they would
    meet; and where two are too near only of those that are told."""
    level = Surface(thickness=5.0, radius_nut=np.inf, radius_end=np.inf, length=200.0)
    inlay = Inlay(name="i", depth=1.5, overfill=0.4, dam=2.0, regions=tuple(
        (f"#0000{k:02x}", shapely.box(3 * k, 0, 3 * k + 2, 10)) for k in range(12)))
    asked, found = [], fill.dam_round
    monkeypatch.setattr(fill, "dam_round", lambda one, out, **each: (asked.append(one), found(one, out, **each))[1])
    planned = SimpleNamespace(asked=SimpleNamespace(resins=[Resin(dam=2.0)]))
    lines = []
    line = shapely.shortest_line
    monkeypatch.setattr(shapely, "shortest_line", lambda a, b: (lines.append(a), line(a, b))[1])
    for _ in range(3):
        near = too_near.__wrapped__(planned, inlay, inlay.regions)
        assert len(fill.thickened(inlay, 2.0)) == len(resin_above(inlay, level, 2.0)) == 12
        fill.lies_over(inlay)
    assert resin_above(inlay, level, 2.0) is resin_above(inlay, level, 2.0)
    assert len(asked) == 2 * 12
    # dams of 2 mm: 1 mm apart meet, and 4 mm apart
    assert [one.apart for one in near] == [1.0] * 11 + [4.0] * 10
    assert not lines
    assert near[0].at == pytest.approx((2.5, near[0].at[1]))
    assert len(lines) == 2


@pytest.mark.parametrize("apart", [0.0, 1.0, 6.9, 7.1])
def test_colours_with_no_room_for_the_rims_of_two_dams_are_thickened(apart):
    """Derived: two squares of 10 mm on a level face, with a dam 2 mm outside each and a rim of 3 mm between, or heaped
    as high as overfill, over as much round them, but not over each other."""
    level = Surface(thickness=5.0, radius_nut=np.inf, radius_end=np.inf, length=200.0)
    regions = (("#000000", shapely.box(10, 0, 20, 10)), ("#ffffff", shapely.box(20 + apart, 0, 30 + apart, 10)))
    inlay = Inlay(name=f"{apart}", regions=regions, depth=1.5, overfill=0.4, dam=2.0)
    near = apart < 7.0
    assert fill.thickened(inlay, 2.0) == (("#000000", "#ffffff") if near else ())
    out = 0.4 if near else 2.0
    over = regions[0][1].buffer(out, 64).area - 10.0 * out * (apart == 0.0)
    assert resin_above(inlay, level, 2.0) == pytest.approx(dict.fromkeys(("#000000", "#ffffff"), 0.4 * over), rel=0.003)
    assert fill.lies_over(inlay).area == pytest.approx(
        shapely.union_all([shape.buffer(out, 64) for _, shape in regions]).area, rel=0.003)


@pytest.mark.parametrize(("changes", "words"), [
    ({"waste = 0.25": "least = 0"}, r"\[resin\] least: 0 given.*0\.1 to 10000 ml"),
    ({"waste = 0.25": "measure = 0"}, r"\[resin\] measure: 0 given.*0\.001 to 100"),
    ({"waste = 0.25": "measure = 4"}, r"resin least: a batch of 5\.6 g of 2 parts.*by 4 g.*7\.14286 ml or more"),
    ({"resin = 100": "resin = 0"}, "0 of resin mixes nothing"),
    ({"waste = 0.25": "dam = -1"}, r"\[resin\] dam: -1 given.*0 mm to 100 mm"),
])
def test_a_batch_of_nothing_is_refused(tmp_path, changes, words):
    with pytest.raises(pathgen.JobError, match=words):
        clamping_of(pathgen.load_job(job(tmp_path, changes=changes)))


def test_a_colour_that_no_cutter_opens_needs_nothing(tmp_path):
    thin = ART.replace('width="12" height="9"', 'width="12" height="1.5"')
    result = built(tmp_path, resolution=0.4, art=thin)
    assert [a["colour"] for a in result.report["inlays"][0]["amounts"]] == ["#225577"]
    assert result.report["inlays"][0]["batch"] is None


@pytest.mark.in_every_run(1)
def test_resin_past_the_second_cut_is_said(tmp_path):
    for folder, area, dam, count in (("a", "inlay", 20, 1), ("b", "board", 20, 0), ("c", "inlay", 2, 0)):
        (tmp_path / folder).mkdir()
        made = built(tmp_path / folder, resolution=0.4, art=re.sub("<rect.*/>", "", ART), changes={
            "waste = 0.25": f"waste = 0.25\ndam = {dam}"}, extra=f'\n[resurface]\narea = "{area}"\n')
        found = [f for f in made.report["checks"]["findings"] if f["code"] == "dam-past-the-cut"]
        assert [f["severity"] for f in found] == ["note"] * count
        beside = [f for f in made.report["checks"]["findings"] if f["code"] == "dam-off-blank"]
        (drawing,), stock = made.plan.clamping.inlays, made.plan.clamping.stock.bounds
        box = np.array(drawing.area.bounds) + dam * np.array([-1, -1, 1, 1])
        past = float(((box - stock) * [-1, -1, 1, 1]).max())
        assert [f["got"] for f in beside] == [
            f"the dam, {dam} mm round the drawing, goes up to {past:.2f} mm past the edge of the blank"] * (past > 0)


def test_pockets_in_a_radius_against_swept_solids(tmp_path):
    # small, and to the side, where the floor is steepest: unions of many solids take their time
    art = svg('<circle cx="12" cy="4.5" r="3" fill="#225577"/>')
    result = built(tmp_path, resolution=0.05, changes={RADIUS: "radius = 100.0"}, art=art)
    text = next(p.text for p in result.programs if p.operation == "pocket")
    solid = _board(100.0) ^ _swept(text, radius=1.0)
    volume = sum(a.pocket for a in amounts(result.plan, result.verification, 0))
    assert volume == pytest.approx(solid.volume(), rel=4e-3)
    # and not simply area times depth: a flat cutter leaves a stair in the floor of a radius
    assert volume < 0.995 * 1.5 * np.pi * 3.0**2


def _board(radius):
    """The surfaced board round the pockets: a lens of the given radius on a block, as a solid."""
    y = np.linspace(-22.0, 22.0, 881)
    z = 6.5 + np.sqrt(radius**2 - y**2) - radius
    profile = CrossSection([np.concatenate([[[-22.0, 0.0]], np.column_stack([y, z]), [[22.0, 0.0]]])[::-1]])
    if profile.area() < 0:
        profile = CrossSection([np.concatenate([[[-22.0, 0.0]], np.column_stack([y, z]), [[22.0, 0.0]]])])
    # extruded along z, then turned so that it runs along x: (u, v, w) to (w, u, v)
    return profile.extrude(90.0).transform([[0, 0, 1, 0], [1, 0, 0, 0], [0, 1, 0, 0]])


def _swept(text, *, radius):
    """All that the feed moves of a program sweep with a flat end: hulls of the cutter at both ends of each move."""
    at, words, rapid = [None, None, None], re.compile(r"([GXYZ])(-?[\d.]+)"), True
    moves = []
    for line in text.splitlines():
        if line.startswith("("):
            continue
        before = list(at)
        for letter, number in words.findall(line):
            if letter == "G" and number in ("0", "1"):
                rapid = number == "0"
            elif letter != "G":
                at["XYZ".index(letter)] = float(number)
        if not rapid and None not in before and before != at and min(before[2], at[2]) < 5.5:
            moves.append((tuple(before), tuple(at)))
    # a corner of the 48-sided cutter lies on its circle, its sides 0.2 % of the radius inside
    cutter = Manifold.cylinder(20.0, radius, circular_segments=48)
    hulls = [Manifold.batch_hull([cutter.translate(a), cutter.translate(b)]) for a, b in moves]
    return Manifold.batch_boolean(hulls, OpType.Add)


def test_how_far_the_surface_falls_under_a_drawing():
    # a circle of radius R: the height y off its middle is R - sqrt(R^2 - y^2) lower
    surface = Surface(thickness=6.5, radius_nut=254.0, radius_end=254.0, length=400.0)
    low = 254.0 - np.sqrt(254.0**2 - 20.0**2)
    assert fall_under(shapely.box(10, -8, 60, 20), surface) == pytest.approx(low, rel=1e-9)
    assert fall_under(shapely.box(10, 5, 60, 20), surface) == pytest.approx(
        np.sqrt(254.0**2 - 25.0) - np.sqrt(254.0**2 - 400.0), rel=1e-9)
    assert fall_under(shapely.box(10, -8, 60, 20), replace(surface, radius_nut=np.inf, radius_end=np.inf)) == 0.0


@pytest.fixture(scope="module")
def narrow_radius(tmp_path_factory):
    return built(tmp_path_factory.mktemp("fill"), resolution=0.4, changes={RADIUS: "radius = 100.0", **NEAR_DAM},
                 extra='\n[marks]\ncutter = "flat"\n')


def test_the_maker_is_told_that_resin_runs_and_how_far(narrow_radius):
    after = "\n".join(step_of(narrow_radius, "pocket").operation.afterwards(narrow_radius.plan.clamping))
    for words in ("levels itself and runs off", "tape, wax or clay", "thickened", "at the pocket's highest place",
                  "nowhere more than 0.7 mm above the surface"):
        assert words in after
    # the disc reaches 8 mm off the centre-line, the other colour's upper edge 8 mm: 100 - sqrt(100^2 - 8^2) = 0.32
    assert "falls by 0.3 mm under this drawing" in after
    assert narrow_radius.report["inlays"][0]["surface_fall"] == pytest.approx(0.3205, abs=0.002)
    texts = [p.text for p in narrow_radius.programs if "Stop here for" in p.text]
    stops = [" ".join(re.split(r"\)?\s+\(?(?:\.\. )?", text)) for text in texts]
    assert stops
    assert all("dam round each colour with tape, wax or clay" in text for text in stops)
    assert "wax or clay" in narrow_radius.files()["report.txt"]
    assert narrow_radius.files(shaded=False)["setup.html"].count("wax or clay") == 4


def test_the_cured_fill_is_measured_before_the_second_cut(narrow_radius):
    clamping = narrow_radius.plan.clamping
    measure = "it must be no higher than 0.7 mm, the job's overfill"
    before = {o: " ".join(before_start(clamping, step_of(narrow_radius, o))) for o in ("pocket", "hover", "resurface")}
    assert [measure in words for words in before.values()] == [False, True, False]
    assert "set overfill to what you measured and build again" in before["hover"]


def step_of(result, operation):
    return next(s for s in result.plan.clamping.steps if s.operation.name == operation)


@pytest.mark.parametrize(("apart", "found"), [(6.9, True), (7.1, False), (0.0, False)])
def test_colours_whose_dams_would_meet_are_noted(tmp_path, apart, found):
    """2 mm to each side, by default, and 3 mm for a rim between; those that touch are warned of as such. All that is
    said is of one kind: of a dam round each, or of thickened resin and no dam."""
    art = svg('<rect x="5" y="10" width="10" height="9" fill="#225577"/>'
              f'<rect x="{15 + apart}" y="10" width="10" height="9" fill="#cc8833"/>')
    result = built(tmp_path, art=art, resolution=0.4)
    findings = result.report["checks"]["findings"]
    near = [f for f in findings if f["code"] == "colours-near"]
    assert bool(near) == found
    how, dammed = " ".join(step_of(result, "pocket").operation.afterwards(result.plan.clamping)), apart > 7.0
    assert ("dam round each colour with tape" in how) == dammed
    assert ("No dam is built here" in how) == (not dammed)
    assert ("colours-touch" in {f["code"] for f in findings}) == (apart == 0.0)
    lines = finding_lines(result.report["checks"], "mm")
    assert any("6.9 mm apart" in line for line in lines) == found
    page, text = (result.files()[name] for name in ("setup.html", "report.txt"))
    assert "of it is clear, for the thin first coats" in page
    for words in (page, text):
        assert ("ake the dam off" in words, "level resin inside the dam" in words) == (dammed, dammed)
        assert ("thicken the resin: its colours lie too near each other" in words) == (not dammed)
    assert ("have tape, wax or clay ready" in page, "line round the fill is the dam" in page) == (dammed, dammed)
    assert ("For inlay 1 thicken the resin" in page, "a syringe or spatula; " in page) == (not dammed, not dammed)
    assert page.count("a thickener") == 1  # asked for once, under By hand
    inlay = result.report["inlays"][0]
    assert (inlay["thickened"] == []) == dammed
    # both heaped 0.7 mm high, 0.7 mm round each
    assert (sum(one["overfill_volume"] for one in inlay["amounts"]) < 0.7 * 2 * 11.4 * 10.4) == (not dammed)
    if found:
        assert "#225577 and #cc8833 are 6.9 mm apart" in near[0]["got"]
        assert near[0]["allowed"].startswith("7 mm or more")


def test_of_three_colours_of_a_pour_the_two_that_lie_near_each_other_alone_are_thickened(tmp_path):
    """All three were told to be: a dam round the third is better, as its maker's sheet has the resin."""
    art = svg("".join(f'<rect x="{x}" y="10" width="5" height="8" fill="{colour}"/>'
                      for x, colour in ((2, "#225577"), (17, "#cc8833"), (24, "#338844"))))
    result = built(tmp_path, art=art, resolution=0.4)
    how = " ".join(step_of(result, "pocket").operation.afterwards(result.plan.clamping))
    assert "dam round #225577 with tape, wax or clay." in how
    assert "Thicken the resin of #cc8833 and #338844 as its maker's sheet allows" in how
    assert "No dam is built" not in how
    (near,) = [f["remedy"] for f in result.report["checks"]["findings"] if f["code"] == "colours-near"]
    assert near.startswith("thicken the resin of #cc8833 and #338844 so that it stays where it is put, or write an "
                           "[[inlay]] for each of them: ")


@pytest.mark.parametrize(("gap", "code", "told"), [
    (0.0, "colours-touch", "#225577 and #cc8833 share 8.1 mm of edge in 1 place, #cc8833 and #338844 share 8.1 mm"),
    (0.06, None, "#225577 and #cc8833 are less than 0.1 mm apart, #cc8833 and #338844 are less than 0.1 mm apart, "
     "#225577 and #338844 are 3.1 mm apart"),
])
def test_what_pairs_of_colours_have_in_common_is_told_once(tmp_path, gap, code, told):
    """Three bars side by side: touching, or nearer than any tape that would part them."""
    bars = "".join(f'<rect x="{10 + n * (3 + gap)}" y="10" width="3" height="8" fill="{colour}"/>'
                   for n, colour in enumerate(["#225577", "#cc8833", "#338844"]))
    findings = built(tmp_path, art=svg(bars), resolution=0.4).report["checks"]["findings"]
    (one,) = [f for f in findings if f["code"] == (code or "colours-near")]
    assert told in one["got"]


@pytest.mark.parametrize(("units", "told"), [("mm", "8.1 mm"), ("in", "0.32 in")])
def test_how_much_edge_is_shared_is_told_alike_wherever_it_is_told(tmp_path, units, told):
    """No finer than it is known: edges count that are nearer than 0.1 mm."""
    art = svg('<rect x="10" y="10" width="3" height="8" fill="#225577"/>'
              '<rect x="13" y="10" width="3" height="8" fill="#cc8833"/>')
    result = pathgen.build(replace(pathgen.load_job(job(tmp_path, art=art)), units=units), resolution=0.4)
    (one,) = [f for f in result.report["checks"]["findings"] if f["code"] == "colours-touch"]
    assert f"share {told} of edge" in one["got"]
    assert f"share {told} of edge" in result.files(shaded=False)["report.txt"]


@pytest.mark.parametrize(("wide", "offered"), [(4.0, True), (2.2, False)])
def test_a_wall_is_offered_only_where_each_colour_stays_open_beside_it(tmp_path, wide, offered):
    """The cutter is 2 mm: a bar of 2.2 mm in a disc of another colour has no room for it beside walls of 0.5 mm."""
    art = svg('<circle cx="20" cy="15" r="9" fill="#225577"/>'
              f'<rect x="14" y="13" width="12" height="{wide}" fill="#cc8833"/>')
    findings = built(tmp_path, art=art, resolution=0.4).report["checks"]["findings"]
    (touch,) = [f for f in findings if f["code"] == "colours-touch"]
    assert ("with wall = 0.5" in touch["remedy"]) == offered


@pytest.mark.parametrize(("bars", "found"), [
    ("M5,3H29V6H5Z M5,24H29V27H5Z", True), ("M5,3H29V6H5Z", False),
])
def test_a_colour_inside_the_dam_of_another_is_noted(tmp_path, bars, found):
    """Further from it than both dams are wide, and still within the taut thread."""
    art = svg(f'<path d="{bars}" fill="#225577"/><circle cx="17" cy="15" r="1.5" fill="#cc8833"/>')
    near = [f for f in built(tmp_path, art=art, resolution=0.4).report["checks"]["findings"]
            if f["code"] == "colours-near"]
    assert ["#cc8833 lies inside the dam of #225577" in f["got"] for f in near] == [True] * found


def test_colours_inside_dams_of_others_are_told_in_one_line(tmp_path):
    """Six colours in the bow of a seventh: as many pairs."""
    dots = "".join(f'<circle cx="{9.5 + 3 * n}" cy="15" r="1" fill="#cc88{n}3"/>' for n in range(6))
    bow = '<path d="M5,3H29V6H5Z M5,24H29V27H5Z" fill="#225577"/>'
    near = [f["got"] for f in built(tmp_path, art=svg(bow + dots), resolution=0.4).report["checks"]["findings"]
            if f["code"] == "colours-near" and "inside the dam" in f["got"]]
    assert len(near) == 1
    assert "pairs more), as a taut thread goes round it" in near[0]


@pytest.mark.parametrize(("open_one", "found"), [(0, True), (1, False)])
def test_what_stays_open_inside_the_dam_of_a_later_pour_is_warned_of(tmp_path, open_one, found):
    """A dot in a ring of resin: it must be opened after the pour."""
    shapes = ['<circle cx="20" cy="15" r="3" fill="#225577"/>',
              '<circle cx="20" cy="15" r="8" fill="none" stroke="#225577" stroke-width="4"/>'][:: 1 - 2 * open_one]
    (tmp_path / "other.svg").write_text(svg(shapes[1]))
    fills = ["none", "resin"][:: 1 - 2 * open_one]
    other = f'''[[inlay]]\nartwork = "other.svg"\ndepth = 1.5\ncutters = ["flat"]\nfill = "{fills[1]}"
overfill = 0.7\nplace = {{ at = [45.0, 0.0] }}\n'''
    result = built(tmp_path, art=svg(shapes[0]), extra=other, resolution=0.4,
                   changes={"overfill = 0.7": f'overfill = 0.7\nfill = "{fills[0]}"'})
    told = [f["got"] for f in result.report["checks"]["findings"] if f["code"] == "open-in-dam"]
    assert told == ["inlay 1 is open, and lies inside the dam: level resin runs into it"] * found


@pytest.mark.parametrize("staged", [False, True])
def test_colours_that_meet_only_where_no_cutter_goes_in_are_not_said_to_touch(tmp_path, staged):
    """D: two squares 4 mm apart, joined by a line 0.8 mm wide, half of each colour; a disc of 2 mm bulges 0.083 mm into
    either end of it, and across there is wood."""
    art = svg("".join(f'<path d="M{x},5 v20 h{way * 9} v-9.6 h{way * 2} v-0.8 h{-way * 2} v-9.6 z" fill="{colour}"/>'
                      for x, way, colour in ((5, 1, "#225577"), (27, -1, "#cc8833"))))
    stage = """[[inlay]]\nartwork = "art.svg"\ndepth = 1.5\ncutters = ["flat"]\noverfill = 0.7
place = { at = [45.0, 0.0] }\ncolours = ["#cc8833"]\n"""
    report = built(tmp_path, art=art, extra=stage * staged, resolution=0.4, changes={
        "overfill = 0.7": 'overfill = 0.7\ncolours = ["#225577"]'} if staged else {}).report
    found = {f["code"]: f["got"] for f in report["checks"]["findings"]}
    assert not {"colours-touch", "edge-to-edge"} & set(found)
    assert [inlay["touching"] for inlay in report["inlays"]] == [[]] * (1 + staged)
    assert staged or "#225577 and #cc8833 are 3.8 mm apart" in found["colours-near"]


def test_stages_say_what_they_cost_and_what_stays_near_within_them(tmp_path):
    """Two bars 1 mm apart, both on a third that they touch: a second stage, in which they would run together. Built as
    it was proposed the job was told the opposite. A fourth is near none: it is told nothing."""
    bars = "".join(f'<rect x="{x}" y="{y}" width="{w}" height="5" fill="{colour}"/>' for x, y, w, colour in (
        (4, 4, 17, "#225577"), (4, 9, 8, "#cc8833"), (13, 9, 8, "#338844"), (32, 20, 4, "#aa2222")))
    report = built(tmp_path, art=svg(bars), resolution=0.4).report
    found = {f["code"]: f for f in report["checks"]["findings"]}
    minutes = round(next(p["minutes"] for p in report["programs"] if p["operation"] == "resurface"))
    told = re.search(r"each stage: (.*?) \((.*?)\), (.*?) thickened", found["colours-touch"]["remedy"])
    assert set(told[1].split(" then ")[1].split(" with ")) == {"#cc8833", "#338844"}
    assert told[2] == f"1 more cure and 1 more second cut of about {minutes} min"
    # without lap the stages were told of in one build, and lap in the next
    lap, resin = told[3].split(", and the resin of ")
    assert lap == "with lap = 0.3 in the first, so that no sliver stays between them"
    assert resin in ("#cc8833 and #338844", "#338844 and #cc8833")
    assert found["colours-near"]["got"].startswith("#cc8833 and #338844 are 1 mm apart: no rims stand between")


@pytest.mark.parametrize(("many", "listed"), [(6, True), (7, False)])
def test_stages_of_many_colours_are_listed_in_the_report_alone(tmp_path, many, listed):
    """Eighteen colours of five stages in one sentence were not to be read at the bench."""
    bars = "".join(f'<rect x="{4 + 4 * n}" y="10" width="4" height="8" fill="#2255{70 + n}"/>' for n in range(many))
    result = built(tmp_path, art=svg(bars), resolution=0.5)
    (touch,) = [f for f in result.report["checks"]["findings"] if f["code"] == "colours-touch"]
    (inlay,) = result.report["inlays"]
    first, second = inlay["proposed_stages"]
    told = f"for each stage: {' with '.join(first)} then {' with '.join(second)} (1 more" if listed else \
        "for each of 2 stages, listed in report.txt (stages of inlay 1 in which no colours touch) (1 more cure"
    assert f"write an [[inlay]] {told}" in touch["remedy"]
    lines = [line.strip() for line in result.files(shaded=False)["report.txt"].splitlines()]
    at = lines.index("Stages of inlay 1 in which no colours touch:")
    assert lines[at + 1 : at + 3] == [f"stage 1: {', '.join(first)}", f"stage 2: {', '.join(second)}"]


@pytest.mark.parametrize(("bars", "left_out"), [
    ([("#225577",)], "leaving also 1 out of stage 2 (it has none of their colours), with lap"),
    ([("#cc8833",)], "leaving also 1 out of stage 1 (it has none of their colours), with lap"),
    ([("#225577",), ("#cc8833",)], "leaving also 2 out of stage 1 and also 1 out of stage 2 (it has"),
    ([("#225577",)] * 7, "leaving out of each the drawings that have none of its colours, with lap"),
    ([("#225577", "#cc8833")], "), with lap"), ([], "), with lap"),
])
def test_stages_say_which_drawings_have_nothing_in_them(tmp_path, bars, left_out):
    """A job that names them there is refused, and to cut its colours there too would be advised."""
    def art(*colours):
        return svg("".join(f'<rect x="{10 + 6 * n}" y="10" width="6" height="{8 - 4 * n}" fill="{colour}"/>'
                           for n, colour in enumerate(colours)))

    for n, colours in enumerate(bars):
        (tmp_path / f"{n}.svg").write_text(art(*colours))
    place = 'place = {{ at = [{}, 0.0], width = 3.0, centre = "drawing" }}'
    also = ", ".join(f'{{ artwork = "{n}.svg", {place.format(3 + 4 * n)} }}' for n in range(len(bars)))
    result = built(tmp_path, art=art("#225577", "#cc8833"), resolution=0.5,
                   changes={"overfill = 0.7": f"overfill = 0.7\nalso = [{also}]"})
    (touch,) = [f for f in result.report["checks"]["findings"] if f["code"] == "colours-touch"]
    assert left_out in touch["remedy"]
    assert ("leaving" in touch["remedy"]) == ("leaving" in left_out)


def test_pairs_that_the_proposed_stages_part_are_not_told_to_be_near(tmp_path):
    """Three bars side by side, the third 1 mm from the second: it goes into the first one's stage, 8 mm off."""
    bars = "".join(f'<rect x="{x}" y="4" width="{w}" height="9" fill="{colour}"/>' for x, w, colour in (
        (4, 8, "#225577"), (12, 7, "#cc8833"), (20, 4, "#338844")))
    report = built(tmp_path, art=svg(bars), resolution=0.4).report
    assert report["inlays"][0]["proposed_stages"] == [["#225577", "#338844"], ["#cc8833"]]
    assert "colours-near" not in {f["code"] for f in report["checks"]["findings"]}


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize(("wide", "told"), [(0.6, True), (3.0, False)])
def test_what_is_finer_than_the_cutters_beside_other_colours_is_told_and_not_painted(tmp_path, wide, told):
    """A line across a disc, the cutter 2 mm: all of both is open, the line was 100 % within reach and painted crisp,
    and in the stages that are proposed it stays closed."""
    art = svg('<circle cx="20" cy="15" r="9" fill="#2266cc"/>'
              f'<rect x="15" y="{15 - wide / 2}" width="10" height="{wide}" fill="#cc8833"/>')
    result = built(tmp_path, art=art)
    (touch,) = [f for f in result.report["checks"]["findings"] if f["code"] == "colours-touch"]
    said = "; 100 % of #cc8833 is finer than the cutters: in one pocket nothing keeps it apart"
    assert (said in touch["got"]) == ("finer" in touch["got"]) == told
    assert ("draw what is so fine wider or add a smaller cutter" in touch["remedy"]) == told
    (one,) = result.verification.simulation.closeups
    picture = shaded_board(result.plan.clamping, one.filled, None)[::-1].astype(int)
    (_, shape), = [row for row in result.plan.clamping.inlays[0].regions if row[0] == "#cc8833"]
    line = shapely.contains_xy(shape, *np.meshgrid(one.filled.grid.xs, one.filled.grid.ys))
    red, _, sky = picture[line].mean(axis=0)
    assert (sky > red) == told


def test_what_a_cutter_opens_that_has_nothing_else_to_do_is_not_finer_than_the_cutters(tmp_path):
    """A line 1.2 mm wide on a disc: the cutter of 2 mm opens all, and that of 0.6 mm, left without a program, is for
    the line in a stage of its own. To add a smaller cutter was advised, and again when that was done."""
    art = svg('<circle cx="20" cy="15" r="9" fill="#2266cc"/>'
              '<rect x="15" y="14.4" width="10" height="1.2" fill="#cc8833"/>')
    result = built(tmp_path, art=art, resolution=0.4, extra=SLOT_CUTTER,
                   changes={'cutters = ["flat"]': 'cutters = ["flat", "slot"]'})
    found = {f["code"]: f for f in result.report["checks"]["findings"]}
    assert '"slot"' in found["cutter-idle"]["got"]
    assert "finer" not in found["colours-touch"]["got"]
    assert "smaller cutter" not in found["colours-touch"]["remedy"]


def test_laps_of_many_stages_are_advised_in_one_line(tmp_path):
    """Four stages gave six notes, each with the same words."""
    clamping = clamping_of(pathgen.load_job(job(tmp_path)))
    quarters = [replace(clamping.inlays[0], name=f"inlay {n}", regions=(("#000000", shapely.box(x, y, x + 9, y + 9)),))
                for n, (x, y) in enumerate([(0, 0), (9, 0), (9, 9), (0, 9)], 1)]
    (found,) = edge_to_edge([(one, one.area) for one in quarters], "mm")
    assert found.where == "inlay 1, inlay 2, inlay 4 and inlay 3"
    assert found.got.count("9.1 mm of edge between") == 4
    assert "write lap = 0.3 for inlay 1, inlay 2 and inlay 3: the later cut then" in found.remedy


@pytest.mark.parametrize(("units", "written"), [("mm", "lap = 0.3 "), ("in", "lap = 0.012 ")])
def test_an_advised_lap_is_written_as_the_job_holds_it(tmp_path, units, written):
    clamping = clamping_of(pathgen.load_job(job(tmp_path)))
    halves = [replace(clamping.inlays[0], name=name, regions=(("#000000", shapely.box(x, 0, x + 9, 9)),))
              for name, x in (("inlay 1", 0), ("inlay 2", 9))]
    (found,) = edge_to_edge([(half, half.area) for half in halves], units)
    assert found.code == "edge-to-edge"
    assert f"write {written}for inlay 1:" in found.remedy
    # what stays open runs on under nothing: with that lap the job is refused
    assert not [*edge_to_edge([(replace(half, fill="none"), half.area) for half in halves], units)]


@pytest.mark.in_every_run(2)
@pytest.mark.parametrize(("overfill", "codes"), [
    (0.2, {"resin-levels"}), (0.34, {"resin-levels"}), (0.38, set()), (3.5, {"much-overfill"}),
])
def test_overfill_too_small_for_level_resin_or_larger_than_any_shops(tmp_path, overfill, codes):
    """The dam stands 0.5 mm outside what reaches 8 mm off the crown: 100 - sqrt(100^2 - 8.5^2) = 0.36 mm lower."""
    changes = {"overfill = 0.7": f"overfill = {overfill}", RADIUS: "radius = 100.0", **NEAR_DAM}
    result = built(tmp_path, resolution=0.4, changes=changes)
    found = {f["code"]: f for f in result.report["checks"]["findings"]}
    assert found.keys() & {"resin-levels", "much-overfill"} == codes
    after = " ".join(step_of(result, "pocket").operation.afterwards(result.plan.clamping))
    assert ("Level resin cannot do both here" in after) == ("resin-levels" in codes)
    assert all(found[code]["severity"] == "warn" for code in codes)


@pytest.mark.parametrize("radius", [97.0, 100.0, 103.3, 111.1])
@pytest.mark.parametrize("units", ["mm", "in"])
def test_the_overfill_that_is_named_is_enough(tmp_path, radius, units):
    """Its rounded words were not: told to write 0.043 in makers were told so again."""
    clamping = clamping_of(pathgen.load_job(job(tmp_path, changes={
        "overfill = 0.7": "overfill = 0.2", RADIUS: f"radius = {radius}", **NEAR_DAM})))
    clamping = replace(clamping, units=units)
    inlay, = clamping.inlays
    found, = overfill_warnings(clamping, inlay)
    named = parse_length(re.search(r"make overfill ([\d.]+ \w+)", found.remedy)[1])
    assert not list(overfill_warnings(clamping, replace(inlay, overfill=named)))


@pytest.mark.in_every_run(0)
def test_the_batch_is_in_report_and_sheet(narrow_radius):
    inlay = narrow_radius.report["inlays"][0]
    for one in (*inlay["amounts"], inlay["batch"]):
        assert one["total_volume"] >= max(one["needed_volume"], 5000.0)
        mix, mass, parts = batch_cells(one)
        assert re.fullmatch(r"resin \d+\.\d g, hardener \d+\.\d g", parts)
        for name in ("report.txt", "setup.html"):
            assert all(cell in narrow_radius.files()[name] for cell in (mix, mass, parts))
    assert [narrow_radius.files()[name].count("all in one batch") for name in ("report.txt", "setup.html")] == [2, 2]
    page = narrow_radius.files()["setup.html"].partition("<h3>Fill</h3>")[2]
    assert page.index("share it out by the column of what is needed") < page.index("<table>")  # it comes first
    assert page.index("<td>all in one batch</td>") < page.index('class="swatch"')


def test_the_words_at_the_step_where_they_help(narrow_radius):
    clamping = narrow_radius.plan.clamping
    lines = step_of(narrow_radius, "pocket").operation.afterwards(clamping)
    after = " ".join(lines)
    for words in ("held over its whole face", "maker's sheet comes first", "common practice", "thin coat",
                  "end grain drinks", "vacuum or prick", "The pour is 2.2 mm deep"):  # 1.5 mm and 0.7 mm proud
        assert words in after
    # what differs from part to part stands apart from what is told to all once
    assert any(line.startswith("The pour is") for line in lines)
    before = " ".join(step_of(narrow_radius, "hover").operation.before(clamping))
    for words in ("at the temperature of its sheet", "for machining, not for touching", "the air dry or wet the wood"):
        assert words in before


def test_what_stands_proud_until_the_last_cut_is_counted_in_pocket_and_pour(tmp_path):
    """1.5 mm in the end, 0.2 mm of wood over that for the last cut, and a fill 0.7 mm proud of it."""
    made = built(tmp_path, resolution=0.4, changes={"scallop = 0.05": "scallop = 0.05\nleave = 0.2"})
    (one, *_) = made.report["inlays"][0]["amounts"]
    assert one["depth"][1] == pytest.approx(1.7, abs=0.01)
    page = made.files()["setup.html"]
    assert "The pour is 2.4 mm deep" in page
    assert "1.7 mm deep (1.5 mm in the end), lowest Z" in page


SECOND = """
[[inlay]]
artwork = "art.svg"
colours = ["#cc8833"]
depth = 1.5
cutters = ["flat"]
overfill = 0.7
fill = "piece"
place = { at = [66.0, 0.0] }
"""
FIRST = {"depth = 1.5": 'depth = 1.5\ncolours = ["#225577"]', "at = [45.0, 0.0]": "at = [28.0, 0.0]"}


@pytest.fixture(scope="module")
def skimmed(tmp_path_factory):
    """A fill, 0.3 mm taken off all, then pieces let in."""
    return built(tmp_path_factory.mktemp("skimmed"), resolution=0.4, changes=FIRST,
                 extra=SECOND + "[resurface]\nskim = 0.3\n")


def test_pockets_say_how_deep_they_are_once_a_skim_is_off(skimmed):
    """Those opened before it lose it; those opened after it have it off already."""
    said = re.findall(r"([\d.]+ mm deep[^,]*), lowest Z", skimmed.files()["setup.html"])
    assert said == ["1.5 mm deep (1.2 mm in the end)", "1.2 mm deep"]


def test_pieces_let_in_after_a_skim_are_as_much_thinner(skimmed):
    """1.2 mm is left of the pocket when they go in, and they may stand 0.7 mm above it, on a floor that stands over its
    depth on the slope: of that it was not told."""
    inlay = skimmed.report["inlays"][1]
    assert inlay["piece_thickness"] == pytest.approx(1.9)
    assert inlay["floor_high"] > 0.03
    for name in ("setup.html", "report.txt"):
        assert f"thicker than 1.2 mm, {rounded_down(1.9 - inlay['floor_high']):g} mm at most" in skimmed.files()[name]


def test_a_cut_over_what_was_filled_after_a_skim_begins_on_it_and_not_in_the_air(skimmed):
    """0.3 mm lower than the first, in simulation too: by the layers that it needs no more."""
    first, second = (p for p in skimmed.programs if p.operation == "resurface")
    assert skimmed.passed
    assert second.toolpath.cut_length < 0.9 * first.toolpath.cut_length
    (measure,) = [m for m in skimmed.verification.pockets if m.inlay == 1]
    assert measure.fill_volume == pytest.approx(measure.area * (1.2 + 0.7), rel=0.02)


def test_the_last_cut_takes_what_was_left_of_the_wood_and_the_one_before_it_does_not(tmp_path):
    made = built(tmp_path, resolution=0.4, changes={**FIRST, "scallop = 0.05": "scallop = 0.05\nleave = 0.2"},
                 extra=SECOND)
    first, last = (inlay["second_cut"] for inlay in made.report["inlays"])
    assert (first["wood_volume"], first["depth_left"][1]) == (0.0, pytest.approx(1.7, abs=0.01))
    # what stands between both cuts, ridges too, by balls of our own; no wood in the fill that is level already
    ys = np.arange(-19.0, 19.0, 0.01)
    at_first, in_the_end = (left_by_ball(text_of(made, name, nth), 8.0, ys, radius=6.35)
                            for name, nth in (("surface-finish", 0), ("resurface", 1)))
    between, (other, pocket) = float(np.mean(at_first - in_the_end)), (m.area for m in made.verification.pockets)
    assert between > 0.21
    board = made.plan.clamping.board.outline.area
    assert last["wood_volume"] == pytest.approx(between * (board - pocket - other), rel=0.01)
    assert last["fill_volume"] == pytest.approx(0.9 * pocket + between * other, rel=0.01)
    assert last["depth_left"][1] == pytest.approx(1.5, abs=0.01)


def test_a_chip_of_a_colour_has_one_dam_round_it(tmp_path):
    """0.07 mm wide and 0.4 mm long: none for the chips that the geometry library may leave of its inside."""
    chip = [(99.9524, -2.1178), (99.9497, -2.126), (99.9214, -2.1446), (99.9128, -2.1509), (99.9128, -1.7468),
            (99.9325, -1.7353), (99.936, -1.7331), (99.94, -1.7478), (99.9524, -1.7851), (99.9665, -1.8218),
            (99.9824, -1.8577), (99.9843, -1.8613), (99.9843, -2.0416), (99.9824, -2.0452), (99.9665, -2.0811)]
    inlay = SimpleNamespace(area=shapely.Polygon(chip), placed=(1,))
    assert dam_round(inlay, 1.4, each=True).geom_type == "Polygon"
