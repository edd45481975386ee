"""Fret lines and edges against independent derivations: other unknowns, other solvers, other arithmetic."""

import math
import re
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import fsolve

from pathgen import load_job
from pathgen.base.errors import JobError, PathgenError
from pathgen.job.part import board_of, nut_of, slots_of
from pathgen.parts.fingerboard.board import nut_slot, slots
from pathgen.parts.fingerboard.dots import is_octave
from pathgen.parts.fingerboard.fretting import past_binding
from pathgen.parts.fingerboard.numbers import EndTable, PartialFretTable
from pathgen.parts.fingerboard.scale import cents_off, ratio_shares
from pathgen.work.clamping import Stock
from tests.boards import fingerboard

PLAIN = {
    "scale_lengths": (648.0, 648.0), "frets": 22, "nut_width": 43.0, "end_width": 57.0, "past_last_fret": 9.0,
    "thickness": 6.5, "radius": (254.0, 406.4),
}
FANNED = {**PLAIN, "scale_lengths": (686.0, 648.0), "straight_fret": 8, "frets": 24, "radius": (304.8, 508.0)}

EXAMPLE = Path(__file__).parents[2] / "examples" / "boards" / "zero-fret-arched.toml"


def board(**changes):
    return fingerboard(**{**PLAIN, **changes})


def fanned(**changes):
    return fingerboard(**{**FANNED, **changes})


def fanned_by_hand(numbers):
    """Edge crossings of every fret, (n + 1, 2, 2) and the length: three equations in three unknowns, solved by scipy.

    Unknown: x of the bass and treble string's nut ends, and the length. The strings are lines through their own nut
    ends at an angle to the centre-line; the three equations are the straight fret, the nut line at X 0 and the last
    fret at the board's end.
    """
    scales, straight, frets = numbers["scale_lengths"], numbers["straight_fret"], numbers["frets"]
    inset = numbers.get("edge_to_string", 3.0)

    def lines(bass_x, treble_x, length):
        angle = math.atan2((numbers["end_width"] - numbers["nut_width"]) / 2, length)
        half = numbers["nut_width"] / 2
        points = []
        for n in [*range(frets + 1), straight]:
            row = []
            for side, x0, scale in ((-1, bass_x, scales[0]), (1, treble_x, scales[1])):
                run = scale * (1 - 2 ** (-n / 12))
                x = x0 + run * math.cos(angle)
                row.append((x, side * (half + x * math.tan(angle) - inset / math.cos(angle))))
            points.append(row)
        return np.array(points), angle

    def at_centre(line):
        (x0, y0), (x1, y1) = line
        return x0 + (x1 - x0) * y0 / (y0 - y1)

    def equations(unknown):
        p, _ = lines(*unknown)
        end = at_centre(p[frets]) + numbers["past_last_fret"]
        return [p[-1, 0, 0] - p[-1, 1, 0], at_centre(p[0]), end - unknown[2]]

    solved = fsolve(equations, [0.0, 0.0, 480.0], xtol=1e-14)
    p, angle = lines(*solved)
    edges = []
    for (x0, y0), (x1, y1) in p[:-1]:
        row = []
        for side in (-1, 1):
            # y0 + t (y1 - y0) = side (half + tan (x0 + t (x1 - x0)))
            tangent, half = side * math.tan(angle), side * numbers["nut_width"] / 2
            t = (half + tangent * x0 - y0) / (y1 - y0 - tangent * (x1 - x0))
            row.append((x0 + t * (x1 - x0), y0 + t * (y1 - y0)))
        edges.append(row)
    return np.array(edges), solved[2]


@pytest.mark.parametrize("straight", [0, 8, 12, 24])
def test_fanned_frets_against_a_second_derivation(straight):
    numbers = {**FANNED, "straight_fret": straight}
    part = fingerboard(**numbers)
    edges, length = fanned_by_hand(numbers)
    assert part.length == pytest.approx(length, abs=1e-8)
    assert np.abs(part.frets.bass - edges[1:, 0]).max() < 1e-8
    assert np.abs(part.frets.treble - edges[1:, 1]).max() < 1e-8
    assert np.abs(part.nut_line - edges[0]).max() < 1e-8


def test_each_outer_string_is_stopped_at_its_own_notes():
    part = fanned()
    layout = part.layout
    for side, scale in ((0, 686.0), (1, 648.0)):
        speaking = np.linalg.norm(layout.lines[:, side] - layout.bridge[side], axis=1)
        assert speaking[0] == pytest.approx(scale, abs=1e-9)
        # equal temperament: each fret a factor of the twelfth root of two
        assert speaking[:-1] / speaking[1:] == pytest.approx(2 ** (1 / 12), abs=1e-12)


def test_left_handed_is_the_mirror_image():
    right, left = fanned(), fanned(left_handed=True)
    assert left.frets.bass == pytest.approx(right.frets.bass * [1, -1], abs=1e-9)
    assert left.frets.treble == pytest.approx(right.frets.treble * [1, -1], abs=1e-9)
    assert left.outline.area == pytest.approx(right.outline.area)
    assert left.frets.bass[0, 1] > 0


@pytest.mark.parametrize("asked", [
    {"end": EndTable(steps=((10.0, 6.0),))}, {"nut_end": EndTable(steps=((-4.0, 3.0), (8.0, 5.0)))},
    {"partial_frets": [PartialFretTable(fret=24, across=(-40.0, 0.0))]},
], ids=["end", "nut_end", "partial_frets"])
def test_what_a_job_counts_to_the_treble_side_is_mirrored_too(asked):
    """So does the limit that a refusal names: it told the bass side's for the treble side's."""
    right, left = fanned(**asked), fanned(**asked, left_handed=True)
    mirrored = shapely.transform(left.outline, lambda xy: xy * [1.0, -1.0])
    assert right.outline.symmetric_difference(mirrored).area == pytest.approx(0.0, abs=1e-6)
    assert left.frets.ends == pytest.approx(right.frets.ends * [1, -1], abs=1e-9)
    says = []
    for hand in (False, True):
        with pytest.raises(JobError) as told:
            fanned(end=EndTable(steps=((60.0, 30.0),)), left_handed=hand)
        says.append(str(told.value))
    assert says[0] == says[1]


def test_ratios_stop_the_string_at_their_inverse_and_go_on_in_the_next_octave():
    just = [9 / 8, 5 / 4, 4 / 3, 3 / 2, 5 / 3, 15 / 8, 2]
    part = board(ratios=just, frets=10, scale_lengths=(560.0, 560.0))
    wanted = [560 * (1 - 1 / r) for r in [*just, 9 / 4, 5 / 2, 8 / 3]]
    assert part.frets.distance == pytest.approx(wanted, abs=1e-10)
    with pytest.raises(PathgenError, match="7 ratios for 8 frets"):
        ratio_shares([*just[:-1], 1.9], 8)
    with pytest.raises(PathgenError, match=r"1\.2 comes after 1\.25"):
        ratio_shares([1.25, 1.2], 2)


def test_rounded_corners_leave_the_nut_line_from_edge_to_edge():
    """Zero at the nut's corner, and what is turned along an edge, count from the edges, not from the rounding."""
    rounded = board(nut_end=EndTable(corner_radius=4.0))
    assert rounded.nut_line == pytest.approx(board().nut_line)
    assert shapely.distance(rounded.outline, shapely.Point(rounded.nut_line[0])) > 1.0


@pytest.mark.parametrize("where", ["nut_end", "end"])
def test_the_largest_corner_radius_that_is_named_fits(where):
    """Half the width of that end was allowed, and refused again."""
    with pytest.raises(JobError, match=rf"{where} corner_radius: 40 mm does not fit") as refused:
        board(**{where: EndTable(corner_radius=40.0)})
    most = float(refused.value.allowed.split()[0])
    assert 21.0 < most < 57.0 / 2
    assert board(**{where: EndTable(corner_radius=most)}).outline.area < board().outline.area
    with pytest.raises(JobError):
        board(**{where: EndTable(corner_radius=most + 0.02)})


def test_zero_at_the_end_is_where_the_end_is():
    """D: two octaves of 600 mm and 10 mm past them end at 460; each edge runs on at 1.5 mm per 100."""
    numbers = {"scale_lengths": (600.0, 600.0), "frets": 24, "nut_width": 40.0, "end_width": 53.8,
               "past_last_fret": 10.0}
    stock = Stock(length=500.0, width=80.0, thickness=8.0, margin_nut=20.0)

    def ends(**changes):
        places = board(**{**numbers, **changes}).places(stock)
        return [places.get(f"end-{side}") for side in ("bass", "centre", "treble")]

    stepped = [place.at for place in ends(end=EndTable(steps=((-5.0, 6.0), (5.0, 10.0))))]
    assert np.array(stepped) == pytest.approx(np.array([[460, -26.9], [466, 0], [470, 27.05]]), abs=1e-6)
    assert ends(end=EndTable(rise=-3.0, corner_radius=2.0))[1].at == pytest.approx((457.0, 0.0), abs=1e-6)
    cut = shapely.Polygon([(0, -22), (480, -24), (484, 0), (480, 24), (0, 22)])
    drawn = ends(outline=cut)
    half = 22 + 2 * 460 / 480
    assert np.array([place.at for place in drawn]) == pytest.approx(np.array([[460, -half], [484, 0], [460, half]]))
    assert drawn[0].words == "where a line past_last_fret beyond the last fret meets the bass edge of the cut board"
    short = ends(outline=shapely.box(0, -22, 455, 22))
    assert short[1].at == (455, 0)
    assert short[0] is short[2] is None
    assert ends(outline=shapely.box(0, 2, 480, 22))[1] is None  # its centre-line meets no end


def test_a_zero_fret_is_fret_0_at_the_nut_line():
    part = board(zero_fret=True, behind_nut=10.0)
    assert part.frets.number[0] == 0
    assert part.frets.distance[0] == 0
    assert len(part.frets) == 23
    assert part.outline.bounds[0] == pytest.approx(-10.0)
    cut = slots(part, width=0.6, depth=2.0)
    assert cut.lines[0, :, 0] == pytest.approx([0.0, 0.0])
    with pytest.raises(JobError, match="behind_nut 2 mm or more"):
        board(zero_fret=True)


def test_a_partial_fret_ends_where_it_is_told_and_its_line_still_meets_the_edges():
    part = board(partial_frets=[PartialFretTable(fret=3, across=(-8.0, 60.0))])
    assert part.frets.ends[2, 0] == pytest.approx([part.frets.distance[2], -8.0])
    assert part.frets.ends[2, 1] == pytest.approx(part.frets.treble[2])
    assert part.frets.full[2].tolist() == [False, True]
    assert part.frets.bass[2, 1] == pytest.approx(-part.edges.half_width(part.frets.distance[2]))
    assert slots(part, width=0.6, depth=2.0).through[2].tolist() == [False, True]


@pytest.mark.parametrize("radius", [0.3, 0.2])
def test_binding_already_on_is_where_the_slots_stop(radius):
    """The discs of the cutter at a slot's ends only touch it: of one that runs twice beside the line the nearer one."""
    part = fanned()
    cut = slots(part, width=0.6, depth=2.0, within=1.5, cutter_radius=radius)
    slope, run = part.edges.slope, cut.lines[:, 1] - cut.lines[:, 0]
    unit = run / np.linalg.norm(run, axis=1)[:, None]
    square = np.stack([-unit[:, 1], unit[:, 0]], axis=1)
    for side, inward in ((0, unit), (1, -unit)):
        x, y = np.moveaxis([cut.lines[:, side] + radius * inward + by * square for by in (radius - 0.3, 0.3 - radius)],
                           -1, 0)
        away = (part.edges.at_nut + slope * x - np.abs(y)) / math.hypot(1, slope)
        assert away.min(axis=0) == pytest.approx(1.5 + radius, abs=1e-9)
    assert not cut.through.any()


def test_on_a_drawn_outline_slots_end_at_its_edges():
    """Half as wide at x as 20 mm + (x + 12 mm) 14 / 512, wider than the board's numbers say."""
    part = board(outline=shapely.Polygon([(-12, -20), (500, -34), (500, 34), (-12, 20)]))

    def half(x):
        return 20.0 + (x + 12.0) * 14.0 / 512.0

    ends = nut_slot(part, width=4.0, depth=2.0).lines[0]
    assert ends == pytest.approx(np.array([[-2.0, -half(0.0)], [-2.0, half(0.0)]]))  # at its wider edge
    with pytest.raises(JobError, match=r"ends 12.00 mm behind the nut's front \(allowed: 12.00 mm or less\): .*draw"):
        nut_slot(part, width=13.0, depth=2.0)
    for side in slots(part, width=0.6, depth=2.0, within=1.5).lines.transpose(1, 0, 2):
        x, y = side.T
        assert (half(x) - np.abs(y)) / math.hypot(1, 14 / 512) == pytest.approx(1.5, abs=2e-4)  # its round end touches
    short = board(outline=shapely.box(-12, -20, part.frets.distance[-1] + 1.0, 20))
    with pytest.raises(JobError, match=r"fret 22 lies in the 1\.5 mm of binding at the drawn board's end"):
        slots(short, width=0.6, depth=2.0, within=1.5)


def test_a_nut_slot_has_its_front_on_the_nut_line():
    part = fanned(behind_nut=12.0)
    cut = nut_slot(part, width=5.0, depth=2.0)
    nut = part.nut_line
    unit = (nut[1] - nut[0]) / np.linalg.norm(nut[1] - nut[0])
    off = (cut.lines[0] - nut[0]) @ [unit[1], -unit[0]]
    assert off == pytest.approx([-2.5, -2.5], abs=1e-9)
    with pytest.raises(JobError, match=r"11\.21 mm or less, or \[board\] behind_nut 21\.40 mm or more"):
        nut_slot(part, width=20.0, depth=2.0)
    full = board(behind_nut=6.6)  # 6.6 - 3 is 3.5999999999999996
    assert nut_slot(full, width=3.6, depth=2.0, behind=3.0).width == 3.6
    behind = nut_slot(part, width=5.0, depth=2.0, behind=3.0)
    assert (behind.lines[0] - nut[0]) @ [unit[1], -unit[0]] == pytest.approx([-5.5, -5.5], abs=1e-9)


def test_level_bottoms_lie_below_the_lowest_place():
    part = board()
    cut = slots(part, width=0.6, depth=1.9, bottom="flat")
    edge = part.surface.height(part.frets.bass[:, 0], part.frets.bass[:, 1])
    assert cut.floors(part.surface) == pytest.approx(edge - 1.9, abs=1e-12)
    drop = 254.0 - math.sqrt(254.0**2 - 21.5**2)
    assert cut.deepest(part.surface).max() > 1.9 + drop - 0.1


def test_arched_and_stepped_ends():
    part = board(end=EndTable(rise=6.0))
    x, y = np.array(part.outline.exterior.coords).T
    end = x > part.length - 1e-6
    half = float(part.edges.half_width(part.length))
    radius = (half**2 + 36.0) / 12.0  # sagitta: R = (c^2 / 4 + h^2) / 2 h (Machinery's Handbook, segments of circles)
    assert np.hypot(x[end] - (part.length + 6.0 - radius), y[end]) == pytest.approx(radius, abs=1e-9)
    assert part.outline.bounds[2] == pytest.approx(part.length + 6.0)
    stepped = board(end=EndTable(steps=((5.0, 12.0),)))
    assert stepped.outline.bounds[2] == pytest.approx(stepped.length + 12.0)
    extra = stepped.outline.area - board().outline.area
    assert extra == pytest.approx(12.0 * (half - 5.0) + 0.5 * 12.0**2 * stepped.edges.slope, abs=1e-6)


def test_rounded_corners_lose_what_a_quarter_circle_leaves():
    sharp, round_ = board(end_width=43.0), board(end_width=43.0, end=EndTable(corner_radius=3.0))
    assert sharp.outline.area - round_.outline.area == pytest.approx(2 * 9.0 * (1 - math.pi / 4), abs=0.01)


def test_cents():
    # a hundredth of a semitone by definition; at fret 12 of 648 mm 0.1 mm is 0.1 / 324 of the string
    assert float(cents_off(648.0, 324.0, 324.1)) == pytest.approx(1200 * math.log2(324 / 323.9), abs=1e-12)
    assert float(cents_off(648.0, 0.0, 324.0)) == pytest.approx(1200.0)


@pytest.mark.parametrize(("changes", "words"), [
    ({"scale_lengths": (686.0, 648.0), "straight_fret": 10, "edge_to_string": 20.5}, "fret 1 lies 51.78 mm before"),
    ({"scale_lengths": (900.0, 500.0), "straight_fret": 12}, "degrees from square"),
    ({"outline": shapely.box(0.0, -21.0, 400.0, 21.0)}, "fret 17, .* is past the board's end"),
    ({"binding": 30.0}, "leaves no wood"),
    ({"end": EndTable(rise=40.0)}, "28.5"),
    ({"end": EndTable(steps=((40.0, 5.0),))}, "rising, between"),
    ({"partial_frets": [PartialFretTable(fret=30, across=(0.0, 5.0))]}, "1 to 22"),
    ({"partial_frets": [PartialFretTable(fret=3, across=(40.0, 50.0))]}, "meets the board"),
])
def test_refused_with_numbers(changes, words):
    with pytest.raises(JobError, match=words):
        board(**changes)


@pytest.mark.parametrize("across", [(-30.0, 0.0), (-30.0, -10.0), (-5.0, 5.0), (-30.0, 30.0)])
def test_how_far_short_slots_may_stop_is_what_may_be_written(across):
    """A fret that ends within the board has one end to stop short of, or none: half of its length was named."""
    part = board(partial_frets=[PartialFretTable(fret=3, across=across)])
    with pytest.raises(JobError, match="leaves no slot") as told:
        slots(part, width=0.6, depth=2.0, short=40.0)
    most = float(re.search(r"allowed: (\S+) mm or less", str(told.value))[1])
    slots(part, width=0.6, depth=2.0, short=most)
    with pytest.raises(JobError, match="leaves no slot"):
        slots(part, width=0.6, depth=2.0, short=most + 0.011)
    with pytest.raises(JobError, match=r"partial_frets: fret 3 is 0\.30 mm long, and its slot 0\.6 mm wide"):
        slots(board(partial_frets=[PartialFretTable(fret=3, across=(0.0, 0.3))]), width=0.6, depth=2.0)


def test_slots_that_meet_are_refused():
    with pytest.raises(JobError, match="frets 43 and 44 meet"):
        slots(board(divisions=24, frets=44), width=5.6, depth=2.0)


@settings(max_examples=60, deadline=None)
@given(
    bass=st.floats(500, 900), shorter=st.floats(0, 45), straight=st.integers(0, 20), frets=st.integers(5, 24),
    nut=st.floats(35, 60), wider=st.floats(-5, 20), left=st.booleans(), binding=st.floats(0, 3),
)
def test_random_boards_hold_together(bass, shorter, straight, frets, nut, wider, left, binding):
    try:
        part = fingerboard(
            scale_lengths=(bass, bass - shorter), straight_fret=straight, frets=frets, nut_width=nut,
            end_width=nut + wider, past_last_fret=10.0, thickness=7.0, radius=(300.0, 400.0), left_handed=left,
            binding=binding,
        )
    except JobError as error:  # a fan too slanted is no board
        assume("degrees from square" not in str(error))
        raise
    # distances rise by ever smaller steps, the ends lie on the cut edges, the outline has the length asked for
    steps = np.diff(np.concatenate([[0.0], part.frets.distance]))
    assert (steps > 0).all()
    assert (np.diff(steps) < 1e-9).all()
    for ends in (part.frets.bass, part.frets.treble):
        assert np.abs(ends[:, 1]) == pytest.approx(np.asarray(part.edges.half_width(ends[:, 0])), abs=1e-8)
    assert part.length - part.frets.distance[-1] == pytest.approx(10.0, abs=1e-8)
    assert part.finished.covers(part.outline.buffer(-1e-9))


def test_a_nut_offset_moves_frets_and_bridge_nearer_along_the_strings():
    moved = board(nut_offset=0.6)
    wanted = np.array([648.0 * (1 - 2 ** (-n / 12)) - 0.6 for n in range(1, 23)])
    assert moved.frets.distance == pytest.approx(wanted, abs=1e-9)
    assert moved.layout.bridge[:, 0] == pytest.approx([647.4, 647.4])
    assert moved.length == pytest.approx(wanted[-1] + 9.0)
    assert slots(moved, width=0.6, depth=2.0).lines[:, :, 0].mean(axis=1) == pytest.approx(wanted, abs=1e-9)
    assert is_octave(moved.layout, 12)
    assert not is_octave(moved.layout, 11)


def test_a_nut_offset_on_a_fan_is_measured_along_each_outer_string():
    moved = fanned(nut_offset=0.6)
    every = np.concatenate([moved.layout.lines, moved.layout.bridge[None]])
    for side, scale in ((-1, 686.0), (1, 648.0)):
        at = moved.layout.strings.crossings(every, side)
        away = np.linalg.norm(at - at[0], axis=1)
        shares = [*(1 - 2 ** (-n / 12) for n in range(1, 25)), 1.0]
        assert away[1:] == pytest.approx(scale * np.array(shares) - 0.6, abs=1e-8)
    straight = moved.layout.lines[8]
    assert straight[0, 0] == pytest.approx(straight[1, 0], abs=1e-8)
    assert moved.layout.lines[0].mean(axis=0)[0] == pytest.approx(0.0, abs=0.5)


def test_a_nut_offset_past_the_first_fret_is_refused():
    with pytest.raises(JobError, match=r"nut_offset: 20 mm, and the first fret lies 36\.37 mm .*18\.18 mm"):
        board(nut_offset=20.0)


def test_a_shelf_for_the_nut_runs_past_the_boards_end():
    part = board(behind_nut=6.0)
    cut = nut_slot(part, width=None, depth=2.0)
    assert cut.width > 6.5
    assert cut.lines[0, :, 0] == pytest.approx(-cut.width / 2)
    assert nut_slot(part, width=None, depth=2.0, shelf_least=12.0).width == 12.0
    assert (nut_slot(part, width=None, depth=2.0, behind=2.0).on_part, nut_slot(part, width=3.0, depth=2.0).on_part
            ) == (pytest.approx(4.0), None)
    with pytest.raises(JobError, match=r"ends at the nut face, and the nut's front is there too .allowed: .*: make"):
        nut_slot(board(), width=None, depth=2.0)
    for width in (None, 4.0):
        with pytest.raises(JobError, match=r"ends 6\.00 mm behind the nut face, and the nut's front is 8 mm behind it"):
            nut_slot(part, width=width, depth=2.0, behind=8.0)


def test_a_zero_fret_keeps_wood_between_its_slot_and_the_nuts(tmp_path):
    """The fret stands on the nut line: a nut slot with its front there would take half of what holds the tang."""
    job = load_job(EXAMPLE)
    behind, fret = nut_of(job, board_of(job)), slots_of(job, board_of(job))
    assert fret.lines[0, :, 0] == pytest.approx(0.0)
    assert behind.lines[0, :, 0].max() + behind.width / 2 == pytest.approx(-3.0)
    (tmp_path / "job.toml").write_text(EXAMPLE.read_text().replace("[nut]\n", "[nut]\nbehind = 1.0\n"))
    with pytest.raises(JobError, match=r"behind.*too near.*1\.\d+ mm or more.*for 3 mm"):
        load_job(tmp_path / "job.toml")


@pytest.mark.parametrize(("ends", "said"), [
    ((40, 500), r"misses fret 1, \d+\.\d\d mm from the nut .*it lies 40\.00 to 500\.00 mm from the nut"),
    ((-12, 300), r"fret \d+, \d+\.\d\d mm from the nut, is past the board's end \(allowed: 300\.00 mm or less\)"),
])
def test_a_fret_off_a_drawn_outline_is_told_of_by_the_end_that_it_is_off(ends, said):
    with pytest.raises(JobError, match=said):
        board(outline=shapely.box(ends[0], -30, ends[1], 30))


def test_the_finished_width_of_a_drawn_board_reaches_to_its_bindings_outer_faces():
    """By hand: against an edge of 3 in 4 the 2 mm of binding are 2.5 mm across."""
    end = board().outline.bounds[2]
    drawn = board(binding=2.0, outline=shapely.Polygon(
        [(0.0, -20.0), (end, -20.0 - 0.75 * end), (end, 20.0 + 0.75 * end), (0.0, 20.0)]))
    cut = np.linalg.norm(drawn.frets.treble - drawn.frets.bass, axis=1)
    finished = np.linalg.norm(np.diff(past_binding(drawn, drawn.crossings[1:]), axis=1)[:, 0], axis=1)
    assert finished == pytest.approx(cut + 5.0, abs=1e-6)
