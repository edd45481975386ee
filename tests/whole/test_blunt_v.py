"""Blunt v cutters, and such as are sunk to their full width: built whole, and what they open to a sampled cone."""

import numpy as np
import pytest
import shapely

import pathgen
from pathgen.base.cutters import Cutter
from pathgen.base.surface import Surface
from pathgen.verify import verify
from pathgen.verify.opening import opens_outside
from tests import small_board

BLUE = 'fill="#225577"'
BAR = small_board.svg('<rect x="15" y="2" width="14" height="8"/>', more=BLUE)
ROUND = small_board.svg('<circle cx="12" cy="15" r="8"/>', more=BLUE)
LINE = small_board.svg('<path d="M24 5v20" stroke="#225577" stroke-width="0.8"/><circle cx="12" cy="15" r="5"/>',
                       more=BLUE)
STAR = small_board.svg('<polygon points="18,2 21,11 30,11 23,17 26,27 18,21 10,27 13,17 6,11 15,11"/>', more=BLUE)


def blunt(folder, art, *, angle, diameter, depth, radius="radius = { nut = 254.0, end = 300.0 }"):
    cutter = f'name = "flat"\nshape = "v"\nangle = {angle}\ndiameter = {diameter}\n'
    changes = {'name = "flat"\nshape = "flat-end"\ndiameter = 2.0\n': cutter, "depth = 1.5": f"depth = {depth}",
               "radius = { nut = 254.0, end = 300.0 }": radius}
    return small_board.built(folder, art=art, changes=changes)


@pytest.mark.in_every_run(0)
@pytest.mark.parametrize(("art", "angle", "diameter", "depth"), [
    (ROUND, 90, 6.0, 3.0), (ROUND, 90, 6.0, 3.01),  # the cone is 3 mm high: on a slope it is sunk on one side alone
    (LINE, 150, 3.0, 1.5), (STAR, 120, 6.0, 2.9),  # in its corners it opens ridges wider, though elsewhere it is sunk
    (ROUND, 150, 6.0, 0.6), (STAR, 120, 3.0, 0.6),  # 0.07 mm and 0.03 mm beside a wall it is not yet 0.02 mm deep
])
def test_a_blunt_v_is_planned_and_found_right(tmp_path, art, angle, diameter, depth):
    made = blunt(tmp_path, art, angle=angle, diameter=diameter, depth=depth)
    assert [str(f) for f in made.verification.findings if f.severity == "forbid"] == []


@pytest.mark.in_every_run(0)
def test_a_sunk_v_that_goes_past_the_drawing_is_found(tmp_path):
    made = blunt(tmp_path, ROUND, angle=90, diameter=6.0, depth=3.0)
    texts = {p.file_name: p.text for p in made.programs}
    name = next(p.file_name for p in made.programs if p.operation == "pocket")
    lines = texts[name].splitlines()
    texts[name] = "\n".join(
        " ".join(f"Y{float(word[1:]) + 0.06:.4f}" if word[0] == "Y" else word for word in line.split())
        if line[:1] in "GXYZ" else line for line in lines) + "\n"
    assert texts[name] != "\n".join(lines) + "\n"
    codes = {f.code for f in verify(made.plan.clamping, texts, resolution=0.1).findings if f.severity == "forbid"}
    assert "pocket-wall-overcut" in codes


@pytest.mark.parametrize(("shape", "angle", "radius", "y", "depth"), [
    *(("v", 90.0, 4000.0, 200.0, depth) for depth in (2.0, 2.9, 3.0, 3.1, 3.3)),  # sunk to its rim uphill, or all round
    # the surface falls away under a wide opening: half a tenth, or all of that
    ("v", 140.0, 220.0, -15.5, 0.7), ("v", 140.0, 100.0, 8.0, 0.9), ("ball-end", None, 60.0, 5.0, 0.8),
])
@pytest.mark.parametrize("spare", [0.006, -0.006])
def test_a_cutter_on_a_curve_opens_what_it_meets_within_its_rim(shape, angle, radius, y, depth, spare):
    """Against the place where its underside meets the surface, found in 720 directions by halvings."""
    cutter = Cutter(name="c", shape=shape, diameter=6.0, angle=angle, speed=100, feed=1, plunge=1, stepdown=1)
    top = Surface(thickness=50.0, radius_nut=radius, radius_end=radius, length=100.0)
    x, tip = 10.0, float(top.height(10.0, y)) - depth
    turn = np.linspace(0.0, 2 * np.pi, 720, endpoint=False)
    low, high = np.zeros(720), np.full(720, 3.0)
    for _ in range(40):
        middle = (low + high) / 2
        under = middle / np.tan(np.radians(angle / 2)) if angle else 3.0 - np.sqrt(9.0 - middle**2)
        met = top.height(x + middle * np.cos(turn), y + middle * np.sin(turn)) > tip + under
        low, high = np.where(met, middle, low), np.where(met, high, middle)
    opened = shapely.Polygon(np.column_stack([x + low * np.cos(turn), y + low * np.sin(turn)]))
    at = np.array([[x, y, tip]])
    found = opens_outside(at, at + [0.0001, 0.0, 0.0], cutter, top, opened.buffer(spare))
    assert found.tolist() == [spare < 0]


@pytest.mark.parametrize(("radius", "y", "deep"), [(110.0, 35.6, 0.05), (254.0, -88.4, 0.05), (150.0, 42.6, 0.1)])
@pytest.mark.parametrize("spare", [0.03, -0.03])
def test_a_ball_end_whose_tip_is_over_a_slope_opens_what_it_meets_uphill(radius, y, deep, spare):
    """Against all places of a fine grid where its underside lies below the surface: beside its axis, all of them."""
    cutter = Cutter(name="c", shape="ball-end", diameter=6.0, speed=100, feed=1, plunge=1, stepdown=1)
    top = Surface(thickness=50.0, radius_nut=radius, radius_end=radius, length=100.0)
    at = np.array([[10.0, y, float(top.tip_height(cutter, np.array([10.0]), np.array([y]))[0]) - deep]])
    assert at[0, 2] > top.height(10.0, y)
    x, across = (part.ravel() for part in np.meshgrid(*[np.linspace(-3.0, 3.0, 601)] * 2))
    under = 3.0 - np.sqrt(np.maximum(9.0 - x**2 - across**2, 0.0))
    met = (x**2 + across**2 <= 9.0) & (top.height(10.0 + x, y + across) > at[0, 2] + under)
    opened = shapely.convex_hull(shapely.multipoints(np.column_stack([10.0 + x, y + across])[met]))
    assert opens_outside(at, at + [1e-5, 0.0, 0.0], cutter, top, opened.buffer(spare)).tolist() == [spare < 0]


@pytest.mark.in_every_run(0)
def test_a_v_too_blunt_for_the_slope_where_its_drawing_lies_is_refused_with_one_that_is_not(tmp_path):
    """Far out on a tight radius: of 150 degrees none is planned exactly, and what the refusal allows is built."""
    far, tight = ROUND.replace('cx="12" cy="15" r="8"', 'cx="12" cy="1" r="1.5"'), "radius = 110"
    with pytest.raises(pathgen.JobError, match=r"inlay 1 cutters: .* too blunt near .* slopes") as refused:
        blunt(tmp_path, far, angle=150, diameter=6.0, depth=0.6, radius=tight)
    angle = int(str(refused.value).split("allowed: ")[1].split(" degrees")[0])
    made = blunt(tmp_path, far, angle=angle, diameter=6.0, depth=0.6, radius=tight)
    assert [str(f) for f in made.verification.findings if f.severity == "forbid"] == []


@pytest.mark.in_every_run(0)
@pytest.mark.parametrize(("diameter", "changes"), [
    # in a corner 0.1 mm from the edge of a board in a thick blank: there its flank reaches past what passes of a small
    # ball end over the board alone clear
    (10, {"diameter = 12.7": "diameter = 4.0", "thickness = 8.0": "thickness = 12.0",
          "at = [45.0, 0.0]": "at = [45.0, 7.65]"}),
    # a level top that a flat end finishes within its long edges: what roughing leaves stands 0.2 mm from the edge
    (6, {"radius = { nut = 254.0, end = 300.0 }": 'radius = "flat"', "depth = 1.5": "depth = 0.3",
         'shape = "ball-end"\ndiameter = 12.7': 'shape = "flat-end"\ndiameter = 6.0',
         'finish = "ball"\nscallop = 0.05': 'finish = "ball"\nrough = "ball"',
         "at = [45.0, 0.0]": "at = [45.0, 6.95]", "end_width = 46.0": "end_width = 40.0"}),
])
def test_the_flank_of_a_wide_v_meets_no_raw_waste_beside_a_drawing_at_the_edge(tmp_path, diameter, changes):
    made = small_board.built(tmp_path, art=BAR, changes=changes | {
        'name = "flat"\nshape = "flat-end"\ndiameter = 2.0\n':
        f'name = "flat"\nshape = "v"\nangle = 120\ndiameter = {diameter}\n'})
    assert [str(f) for f in made.verification.findings if f.severity == "forbid"] == []


@pytest.mark.in_every_run(0)
def test_a_v_that_goes_four_times_its_stepdown_into_fresh_wood_is_found(tmp_path):
    """Its groove is no shaving, though it is narrower than a quarter of the cutter."""
    cutter = 'name = "flat"\nshape = "v"\nangle = 60\ndiameter = 6.0\n'
    made = small_board.built(tmp_path, art=BAR, changes={
        'name = "flat"\nshape = "flat-end"\ndiameter = 2.0\n': cutter, "depth = 1.5": "depth = 2.0",
        "stepdown = 1.6": "stepdown = 0.5", "scallop = 0.05": "scallop = 0.2"})
    assert [str(f) for f in made.verification.findings if f.severity == "forbid"] == []
    texts = {p.file_name: p.text for p in made.programs}
    name = next(p.file_name for p in made.programs if p.operation == "pocket")
    groove = "G4 P3\nG0 X42 Y0\nG1 Z4.6 F300\nX47 F300\nG0 Z18\n"
    texts[name] = texts[name].replace("G4 P3\n", groove, 1)
    found = [f for f in verify(made.plan.clamping, texts, resolution=0.1).findings if f.code == "cut-too-deep"]
    line = texts[name].splitlines().index("X47 F300") + 1
    assert [(f.where, "a stepdown of 0.5 mm" in f.allowed) for f in found] == [(f"{name}, line {line}", True)]
