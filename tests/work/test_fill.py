"""How much to mix and what the second cut takes: closed forms, and pockets as swept solids."""

from __future__ import annotations

import itertools
import re
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from manifold3d import CrossSection, Manifold, OpType

from pathgen.base.surface import Surface
from pathgen.programs.instructions import before_start
from pathgen.report.filling import amounts
from pathgen.report.filltext import parts_words
from pathgen.work.fill import Resin, amount, fall_under, second_cut
from tests.small_board import ART, built

RADIUS = "radius = { nut = 254.0, end = 300.0 }"


def test_amounts_of_round_numbers():
    one = amount(
        "#000000", area=100.0, pocket=150.0, overfill=1.0, depth=(1.4, 1.5),
        resin=Resin(density=1.2, mix={"resin": 2.0, "hardener": 1.0}, pour_depth=1.0, waste=0.2),
    )
    assert (one.overfill, one.waste, one.total) == (100.0, 50.0, 300.0)
    assert one.mass == pytest.approx(0.36)
    assert one.parts == pytest.approx({"resin": 0.2, "hardener": 0.1})
    assert one.parts_unit == "ml"
    assert one.pours == 3  # 2.5 mm by at most 1 mm


def test_parts_by_mass_add_up_to_the_mass():
    one = amount(
        "#000000", area=50.0, pocket=80.0, overfill=0.5, depth=(1.6, 1.6),
        resin=Resin(density=1.1, mix={"resin": 100.0, "hardener": 30.0, "colour": 4.0}, mix_by="mass", waste=0.0),
    )
    assert sum(one.parts.values()) == pytest.approx(one.mass) == pytest.approx(0.1155)
    assert one.parts["hardener"] / one.parts["resin"] == pytest.approx(0.3)
    assert one.parts_unit == "g"


def test_what_a_skim_takes():
    cut = second_cut(board_area=1000.0, area=100.0, pocket=150.0, overfill=0.8, skim=0.1, skim_before=False,
                     depth=(1.45, 1.5))
    assert cut.wood == pytest.approx(90.0)
    assert cut.fill == pytest.approx(90.0)
    assert cut.depth_left == pytest.approx((1.35, 1.4))
    later = second_cut(board_area=1000.0, area=100.0, pocket=150.0, overfill=0.8, skim=0.1, skim_before=True,
                       depth=(1.45, 1.5))
    assert later.wood == 0.0


def test_pockets_in_a_flat_board_are_cylinders_and_prisms(tmp_path):
    result = built(tmp_path, resolution=0.05, changes={RADIUS: 'radius = "flat"'})
    found = {a.colour: a for a in amounts(result.plan, result.verification, 0)}
    disc, prism = np.pi * 8.0**2, 12.0 * 9.0 - (4 - np.pi) * 1.0**2  # corners of the cutter's radius
    assert found["#225577"].pocket == pytest.approx(1.5 * disc, rel=4e-3)
    assert found["#cc8833"].pocket == pytest.approx(1.5 * prism, rel=4e-3)
    assert found["#225577"].overfill == pytest.approx(0.7 * disc, rel=4e-3)
    assert found["#cc8833"].depth == pytest.approx((1.5, 1.5), abs=1e-3)
    total = 1.25 * 2.2 * (disc + prism) / 1000
    assert sum(a.total for a in found.values()) / 1000 == pytest.approx(total, rel=4e-3)
    parts = [a.parts for a in found.values()]
    assert sum(p["hardener"] for p in parts) == pytest.approx(1.12 * total * 45 / 145, rel=4e-3)
    shares = result.report["inlays"][0]["amounts"]
    assert sum(s["pocket_volume"] + s["overfill_volume"] for s in shares) == pytest.approx(
        result.verification.pockets[0].fill_volume, abs=0.02)


def test_pockets_in_a_radius_against_swept_solids(tmp_path):
    # small, and to the side, where the floor is steepest: unions of many solids take their time
    art = re.sub(r"<circle.*/>", '<circle cx="12" cy="5" r="4" fill="#225577"/>', ART)
    result = built(tmp_path, resolution=0.05, changes={RADIUS: "radius = 100.0"}, art=art)
    text = next(p.text for p in result.programs if p.operation == "pocket")
    solid = _board(100.0) ^ _swept(text, radius=1.0)
    volume = sum(a.pocket for a in amounts(result.plan, result.verification, 0))
    assert volume == pytest.approx(solid.volume(), rel=4e-3)
    # and not simply area times depth: a flat cutter leaves a stair in the floor of a radius
    assert volume < 0.995 * 1.5 * np.pi * 4.0**2


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
    return built(tmp_path_factory.mktemp("fill"), resolution=0.4, changes={RADIUS: "radius = 100.0"},
                 extra='\n[marks]\ncutter = "flat"\n')


def test_the_maker_is_told_that_resin_runs_and_how_far(narrow_radius):
    after = "\n".join(step_of(narrow_radius, "pocket").operation.afterwards(narrow_radius.plan.clamping))
    for words in ("levels itself and runs off", "tape, wax or clay", "thickened", "at the pocket's highest place",
                  "nowhere more than 0.7 mm above the surface"):
        assert words in after
    # the disc reaches 8 mm off the centre-line, the other colour's upper edge 8 mm: 100 - sqrt(100^2 - 8^2) = 0.32
    assert "falls by 0.3 mm under this drawing" in after
    assert narrow_radius.report["inlays"][0]["surface_fall"] == pytest.approx(0.3205, abs=0.002)
    stops = [" ".join(re.split(r"\)?\s+\(?(?:\.\. )?", p.text)) for p in narrow_radius.programs
             if "Stop here for" in p.text]
    assert stops
    assert all("dam round the drawing with tape, wax or clay" in text for text in stops)
    assert "wax or clay" in narrow_radius.files()["report.txt"]
    assert narrow_radius.files()["setup.html"].count("wax or clay") == 2


def test_the_cured_fill_is_measured_before_the_second_cut(narrow_radius):
    clamping = narrow_radius.plan.clamping
    measure = "it must be no higher than 0.7 mm, the job's overfill"
    before = {o: " ".join(before_start(clamping, step_of(narrow_radius, o))) for o in ("pocket", "hover", "resurface")}
    assert [measure in words for words in before.values()] == [False, False, True]
    assert "set overfill to what you measured and build again" in before["resurface"]


def step_of(result, operation):
    return next(s for s in result.plan.clamping.steps if s.operation.name == operation)


@pytest.mark.parametrize(("overfill", "codes"), [(0.2, {"resin-levels"}), (0.7, set()), (3.5, {"much-overfill"})])
def test_overfill_too_small_for_level_resin_or_larger_than_any_shops(tmp_path, overfill, codes):
    changes = {"overfill = 0.7": f"overfill = {overfill}", RADIUS: "radius = 100.0"}
    result = built(tmp_path, resolution=0.4, changes=changes)
    found = {f["code"]: f for f in result.report["checks"]["findings"]}
    assert found.keys() & {"resin-levels", "much-overfill"} == codes
    assert all(found[code]["severity"] == "warn" for code in codes)


@settings(max_examples=300, deadline=None)
@given(st.lists(st.floats(0.5, 300.0), min_size=2, max_size=6), st.floats(0.02, 500.0))
def test_printed_parts_keep_their_ratio(mix, total):
    parts = {f"part {chr(97 + i)}": total * part / sum(mix) for i, part in enumerate(mix)}
    words = parts_words({"parts": parts, "parts_unit": "ml"})
    printed = [float(v) for v in re.findall(r"([\d.]+) ml", words)]
    assert len(printed) == len(mix)
    for (a, pa), (b, pb) in itertools.combinations(zip(mix, printed, strict=True), 2):
        assert pa / pb == pytest.approx(a / b, rel=0.0101)


def test_two_to_one_is_printed_two_to_one(narrow_radius):
    # 2 ml of 2:1 are 1.333 and 0.667 ml; to one digit they would be 1.3 and 0.7, 1.86 to 1
    assert parts_words({"parts": {"resin": 4 / 3, "hardener": 2 / 3}, "parts_unit": "ml"}) == \
        "resin 1.33 ml, hardener 0.67 ml"
    assert parts_words({"parts": {"resin": 40.0, "hardener": 20.0}, "parts_unit": "g"}) == \
        "resin 40.0 g, hardener 20.0 g"
    for one in narrow_radius.report["inlays"][0]["amounts"]:
        assert one["parts"]["hardener"] / one["parts"]["resin"] == pytest.approx(0.45, rel=1e-3)
        for name in ("report.txt", "setup.html"):
            assert parts_words(one) in narrow_radius.files()[name]


def test_the_words_at_the_step_where_they_help(narrow_radius):
    clamping = narrow_radius.plan.clamping
    after = " ".join(step_of(narrow_radius, "pocket").operation.afterwards(clamping))
    for words in ("held over its whole face", "maker's sheet comes first", "common practice", "thin coat",
                  "end grain drinks", "vacuum or prick", "The pour is 2.2 mm deep"):  # 1.5 mm and 0.7 mm proud
        assert words in after
    before = " ".join(step_of(narrow_radius, "hover").operation.before(clamping))
    for words in ("at the temperature of its sheet", "for machining, not for touching", "the air dry or wet the wood"):
        assert words in before
