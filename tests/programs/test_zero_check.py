"""Checks of zero: contact against 50-digit arithmetic, places against the simulation of the written programs."""

import math
from dataclasses import replace
from types import SimpleNamespace

import mpmath
import numpy as np
import pytest
import shapely

import pathgen
from pathgen.base.cutters import Cutter
from pathgen.base.errors import JobError
from pathgen.base.surface import Surface
from pathgen.job.clamping import clamping_of, planned_of
from pathgen.programs.around import Around
from pathgen.programs.instructions import MISREAD, before_start
from pathgen.programs.plan import Plan
from pathgen.programs.zero_check import _bed, _foot, _middle, check_words, feeler_tip, has_place, zero_checks
from pathgen.programs.zeroing import refits
from pathgen.report.zero import zero_findings, zero_lines, zero_rows
from pathgen.work.operations import SurfaceRough
from tests.job.test_plates import HOLE, PLATE, RING, read
from tests.small_board import built, job
from tests.small_board import cutter as cutter_table

FEEDS = {"speed": 10000, "feed": 1000.0, "plunge": 300.0, "stepdown": 1.0}
EXAMPLES = ("fern-and-moth", "moth-three-colours")


def cutter(shape, diameter, angle=None):
    return Cutter(name="c", shape=shape, diameter=diameter, angle=angle, **FEEDS)


def of_cone(surface, u, v):
    """Height of z = t + sqrt(R(x)^2 - y^2) - R(x), and its unit normal, in 50 digits."""
    mp = mpmath.mp
    k = (mp.mpf(surface.radius_end) - surface.radius_nut) / surface.length
    radius = surface.radius_nut + k * u
    root = mp.sqrt(radius**2 - v**2)
    normal = [-(k * radius / root - k), v / root, mp.mpf(1)]
    length = mp.sqrt(sum(n * n for n in normal))
    return surface.thickness + root - radius, [n / length for n in normal]


def exact_ball(surface, r, t, x, y):
    """The centre stands r + t along the normal over the place it touches."""
    def off(u, v):
        _, n = of_cone(surface, u, v)
        return [u + (r + t) * n[0] - x, v + (r + t) * n[1] - y]
    u, v = mpmath.findroot(off, (mpmath.mpf(x), mpmath.mpf(y) * 0.97))
    z, n = of_cone(surface, u, v)
    return z + (r + t) * n[2] - r


def exact_disc(surface, r, t, x, y):
    """A place of the rim stands t along the normal, and the normal has no part along the rim."""
    def off(u, v, angle):
        _, n = of_cone(surface, u, v)
        return [u + t * n[0] - x - r * mpmath.cos(angle), v + t * n[1] - y - r * mpmath.sin(angle),
                n[1] * mpmath.cos(angle) - n[0] * mpmath.sin(angle)]
    side = -1 if y > 0 else 1
    u, v, _ = mpmath.findroot(off, (mpmath.mpf(x), mpmath.mpf(y) + side * r, side * mpmath.pi / 2))
    z, n = of_cone(surface, u, v)
    return z + t * n[2]


@pytest.mark.parametrize(("x", "y"), [(30.0, 24.0), (210.5, -19.0), (400.0, 7.0)])
@pytest.mark.parametrize("feeler", [0.1, 0.5])
def test_contact_with_a_feeler_on_a_slope_in_50_digits(x, y, feeler):
    surface = Surface(thickness=6.5, radius_nut=184.0, radius_end=330.0, length=450.0)
    with mpmath.workdps(50):
        t = mpmath.mpf(feeler)
        ball = exact_ball(surface, mpmath.mpf("6.35"), t, x, y)
        disc = exact_disc(surface, mpmath.mpf(3), t, x, y)
        z, n = of_cone(surface, mpmath.mpf(x), mpmath.mpf(y))
    assert feeler_tip(surface, cutter("ball-end", 12.7), x, y, feeler) == pytest.approx(float(ball), abs=1e-9)
    assert feeler_tip(surface, cutter("flat-end", 6.0), x, y, feeler) == pytest.approx(float(disc), abs=1e-9)
    # the tip of a v touches where the feeler's top is: t / cos(slope) over the wood, but for its bend
    assert feeler_tip(surface, cutter("v", 6.0, 60.0), x, y, feeler) == pytest.approx(
        float(z + t / n[2]), abs=feeler**2 / 184)


def test_a_flat_end_over_the_crest_stands_on_the_crest():
    surface = Surface(thickness=6.5, radius_nut=184.0, radius_end=330.0, length=450.0)
    assert feeler_tip(surface, cutter("flat-end", 6.0), 100.0, 2.0, 0.1) == pytest.approx(6.6, abs=1e-12)


def stands_on(stage, before, check, of):
    """How low a cutter gets over heights that a stage kept, the feeler under it: by trying every place under it."""
    xs, ys, heights = stage.grid.xs, stage.grid.ys, stage.heights
    far = np.hypot(xs - check.x, ys[:, None] - check.y)
    with np.errstate(invalid="ignore"):
        lift = heights - of.profile(far)
    return float(np.nanmax(lift)) + check.feeler


@pytest.mark.in_every_run(0)
@pytest.mark.parametrize("name", EXAMPLES)
def test_the_examples_checks_are_what_the_simulation_finds(name):
    made = pathgen.build(pathgen.load_job(f"examples/{name}.toml"), resolution=0.3)
    assert made.passed
    checks = {p.order: p.zero for p in made.programs if p.zero}
    cutters = [p.cutter.name for p in made.programs]
    assert list(checks) == [i + 1 for i, c in enumerate(cutters) if i == 0 or c != cutters[i - 1]]
    stages = {s.order: s for s in made.verification.simulation.stages}
    clamping = made.plan.clamping
    for order, check in checks.items():
        of = made.programs[order - 1].cutter
        if order == 1:
            assert check.height == pytest.approx(clamping.stock.thickness + 0.1)
            continue
        # the nearest point of the stage's grid may lie beside the place, where a round end stands higher
        beside = float(of.profile(np.diff(stages[order - 1].grid.xs[:2])[0] / 2**0.5))
        assert -0.002 - beside < stands_on(stages[order - 1], order, check, of) - check.height < 0.002, order
        place = shapely.Point(check.x, check.y).buffer(of.radius)
        assert not any(shapely.box(k.x[0], k.y[0], k.x[1], k.y[1]).intersects(place) for k in clamping.setup.keep_out)
        text = made.programs[order - 1].text
        flat = " ".join(line.strip("() ") for line in text.splitlines() if line.startswith("(")).replace(" .. ", " ")
        assert f"Z {check.display[2]:g} mm" in flat
        assert "Each 0.01 mm more" in flat
    report = made.report["zero_checks"]
    assert [r["order"] for r in report] == list(checks)
    page = made.files(shaded=False)["setup.html"]
    assert all(f"Z {r['display'][2]:g}" in page for r in report)


BARE = {"length = 125.0": "length = 92.0", "width = 66.0": "width = 46.0", "margin_nut = 20.0": "margin_nut = 1.0"}


def test_without_raw_top_the_finished_surface_is_used_and_then_the_bed(tmp_path):
    made = built(tmp_path, resolution=0.15, changes=BARE)
    on = {p.operation: p.zero.on for p in made.programs if p.zero}
    assert on == {"surface-finish": "bed", "pocket": "finished surface", "resurface": "bed"}
    check = next(p.zero for p in made.programs if p.operation == "pocket")
    stage = made.verification.simulation.stages[0]
    low = stands_on(stage, 1, check, made.programs[1].cutter)
    assert check.height - 0.001 <= low <= check.height + check.ridge + 0.001
    assert check.ridge == 0.05
    bed = next(p.zero for p in made.programs if p.operation == "resurface")
    assert bed.height == bed.feeler
    blank = shapely.box(*made.plan.clamping.stock.bounds)
    assert blank.distance(shapely.Point(bed.x, bed.y)) > 6.35


@pytest.mark.in_every_run(0)
def test_over_a_surface_that_still_stands_proud(tmp_path):
    """With `leave` the first cut stands 0.2 mm high, with its own ridges, until the last cut over a fill."""
    changes = BARE | {"scallop = 0.05": "scallop = 0.02\nleave = 0.2\nleave_scallop = 0.05"}
    made = built(tmp_path, resolution=0.15, changes=changes)
    check = next(p.zero for p in made.programs if p.operation == "pocket")
    assert check.on == "finished surface"
    low = stands_on(made.verification.simulation.stages[0], 1, check, made.programs[1].cutter)
    assert check.height - 0.001 <= low <= check.height + check.ridge + 0.001
    assert check.ridge == 0.05


def plan_of(clamping):
    return Plan(around=Around(clamping=clamping))


CLAMP = '[setup]\nkeep_out = [{ along = [-20.0, -12.0], across = [-9.0, 9.0], height = 20.0 }]\n[stock]'
MARKS = '[outline]\ncutter = "flat"\n[marks]\ncutter = "flat"\n'
CORNERS = [(-15.0, -28.0), (-15.0, 28.0), (98.0, -28.0), (98.0, 28.0)]


def words_of(tmp_path, **given):
    clamping = clamping_of(pathgen.load_job(job(tmp_path, **given)))
    checks = plan_of(clamping).zero_checks
    return {n: (check, " ".join(check_words(check, clamping.steps[n - 1], "mm"))) for n, check in checks.items()}


def test_over_the_raw_top_every_later_program_must_show_what_the_first_did(tmp_path):
    """8 mm of blank and a feeler of 0.1 mm: it may be thinner there, which is no fault of a later zero."""
    said = words_of(tmp_path, changes={"[stock]": CLAMP})
    assert {check.on for check, _ in said.values()} == {"raw top"}
    assert len({(check.x, check.y) for check, _ in said.values()}) == 1  # whatever each cutter's width beside a clamp
    (_, first), *later = said.values()
    assert "off: raise the cutter clear, go to X" in first  # it stands on the bed
    assert "must show Z 8.1 mm where the blank is as thick as the job says. Then" in first
    assert len(later) == 2
    for _, words in later:
        assert words.startswith("Check Z 0 as before program 1: at X ")
        assert "must show what it did then, within 0.02 mm (Z 8.1 mm where the blank is as thick as the job says). " \
               "What it was off by then comes from the blank, not from Z 0." in words
        assert words.endswith("Set Z 0 again until it shows what it did before program 1.")
    top = words_of(tmp_path, changes={"[stock]": CLAMP.replace("[setup]", '[setup]\nz_zero = "stock-top"')})
    assert "Z 0.1 mm where the top is as high as where Z 0 was set. Then" in top[1][1]
    files = built(tmp_path, resolution=0.5).files(shaded=False)
    page, text = (" ".join(files[name].split()) for name in ("setup.html", "report.txt"))
    assert text.count("Set Z 0 again until it shows what it did before program 1.") == 2  # with no line before it there
    assert page.count("What it was off by then comes from the blank, not from Z 0") == 2


def test_what_a_cutter_cuts_later_without_a_new_zero_is_told_of_at_its_only_zero(tmp_path):
    (_, words), (_, once) = words_of(tmp_path, extra='[outline]\ncutter = "flat"\n',
                                     changes={"overfill = 0.7": 'fill = "none"'}).values()
    assert "is off by as much" not in words
    assert "What program 3 cuts, with the cutter still in, is off by as much. Set Z 0 again" in once


@pytest.mark.parametrize(("extra", "changes", "said"), [
    ("", {}, ["raw top", "the blank is that much thicker or thinner there than the job says"]),
    ('[setup]\nz_zero = "stock-top"\n', {}, ["raw top", "the blank's top is that much higher or lower there than"]),
    ("", {"thickness = 8.0": "thickness = 6.5", '[surface]\nfinish = "ball"\nscallop = 0.05\n': "",
          "overfill = 0.7": 'fill = "none"'}, ["bare face", "the blank is that much thicker or thinner"]),
    # no raw top: from the finished surface alone the blank's thickness cannot be told
    ("", {"length = 125.0": "length = 86.0", "margin_nut = 20.0": "margin_nut = 0.0", "width = 66.0": "width = 46.0"},
     None),
    # over the bed, from a zero on the top: by the blank's thickness as the job says
    ('[setup]\nz_zero = "stock-top"\n', {"length = 125.0": "length = 86.0", "margin_nut = 20.0": "margin_nut = 0.0",
                                          "width = 66.0": "width = 46.0"},
     ["over the bed", "the blank is that much thicker or thinner, and"]),
])
def test_what_is_off_by_the_same_each_time_is_told_of_the_face_and_the_zero_that_the_job_has(
        tmp_path, extra, changes, said):
    planned = plan_of(clamping_of(pathgen.load_job(job(tmp_path, extra=extra, changes=changes))))
    programs = [SimpleNamespace(order=s.order, cutter=s.cutter, step=s, zero=planned.zero_checks.get(s.order))
                for s in planned.clamping.steps]
    rows = zero_rows(programs, "mm")
    assert rows
    lines = [line for line in zero_lines(rows, "mm") if "the same amount wrong" in line]
    assert len(lines) == (said is not None)
    assert all(words in line for line in lines for words in said)


@pytest.mark.parametrize(("tops", "off"), [
    # 0.3 mm thicker on the treble side, 0.1 mm more at the far end: a plane
    ((7.8, 8.1, 7.9, 8.2), lambda x, y: -0.2 + 0.1 * (x + 15) / 113 + 0.3 * (y + 28) / 56),
    ((8.0, 8.0, 7.7, 8.0), None),  # a hollow corner
    ((8.5, 8.6, 8.7, 8.5), lambda x, y: 0.5),  # no plane, and thicker everywhere
    ((7.1, 7.1, 7.1, 7.1), None),  # a zero on something else
])
def test_marks_measured_say_what_the_raw_top_must_show(tmp_path, tops, off):
    drilled = [[*p, z] for p, z in zip(CORNERS, tops, strict=True)]
    check, words = words_of(tmp_path, extra=f"{MARKS}drilled = {drilled}\n")[1]
    assert check.display[2] == pytest.approx(8.1 + (off(check.x, check.y) if off else 0.0), abs=1e-9)
    assert ("mm by the heights of the marks as drilled" in words) == (off is not None)
    planned = plan_of(clamping_of(pathgen.load_job(tmp_path / "job.toml")))
    later = next(check for check in planned.zero_checks.values() if check.like == 1)
    wrong = "the marks' heights" if off else "the blank"
    assert f"comes from {wrong}, not from Z 0" in check_words(later, planned.clamping.steps[later.order - 1], "mm")[0]
    card = before_start(planned.clamping, planned.clamping.steps[0], planned.starts[0])
    assert (f"If it stays off with the bed felt for again, {MISREAD}." in card) == (off is not None)
    assert any("the blank is so much thicker or thinner" in line for line in card) == (off is None)
    assert ("where the blank is as thick as the job says" in words) == (off is None)


def test_once_the_work_has_moved_the_first_program_after_it_is_the_measure(tmp_path):
    rows = "".join(f"[[measured]]\nfound = {[x, y, 8.05]}\n" for x, y in CORNERS)
    drilled = [[*p, 8.0] for p in CORNERS]
    extra = f"{MARKS}drilled = {drilled}\n{rows}[moved]\nbefore = 3\n"
    said = words_of(tmp_path, extra=extra)
    places = {n: check.display[2] for n, (check, _) in said.items() if check.on == "raw top"}
    assert all(z == pytest.approx(8.1 + 0.05 * (n >= 3)) for n, z in places.items())
    moved = [n for n in places if n >= 3]
    assert said[moved[0]][0].like is None
    assert {said[n][0].like for n in moved[1:]} == {moved[0]}


def found(heights):
    return "".join(f"[[measured]]\nfound = {[x + 0.3, y, z]}\n" for (x, y), z in zip(CORNERS, heights, strict=True))


def test_over_work_that_moved_zero_is_tried_beside_a_mark_by_what_was_measured_there(tmp_path):
    """A level top 8 mm high, each height read wrong by 0.05 mm at most: whoever sets Z 0 right is never sent back."""
    chance, extra = np.random.default_rng(3), f"{MARKS}drilled = {[[*p, 8.0] for p in CORNERS]}\n"
    for _ in range(6):
        read = np.round(8.0 + chance.uniform(-0.05, 0.05, 4), 3).tolist()
        said = words_of(tmp_path, extra=extra + found(read))
        check, words = next(iter(said.values()))
        assert math.dist((check.x, check.y), CORNERS[check.mark - 1]) <= 15.0
        assert check.display[2] == pytest.approx(read[check.mark - 1] + 0.1, abs=0.02)  # the slope of 15 mm
        assert abs(check.display[2] - 8.1) <= check.within == pytest.approx(0.05 + 0.02)
        assert f"as measured at mark {check.mark}, within 0.07 mm. Then" in words
        assert "Set Z 0 again only where it is more than 0.07 mm off." in words
        later = next(words for other, words in said.values() if other.like)
        assert later.startswith(f"Check Z 0 as before program {check.order}: ")
        assert "What it was off by then comes from the mark's measure, not from Z 0" in later


def test_over_the_old_surface_of_work_that_moved_all_marks_have_their_part_in_what_it_may_show(tmp_path):
    """Four places on it measured; a height half-way between them errs by a half of one reading's error."""
    places = [[10.0, -12.0, 6.5], [10.0, 12.0, 6.5], [80.0, -12.0, 6.5], [80.0, 12.0, 6.5]]
    rows = "".join(f"[[measured]]\nat = {p}\nfound = {p}\n" for p in places)
    clamping = clamping_of(pathgen.load_job(job(tmp_path, changes=BARE, extra=f"{rows}[moved]\nbefore = 2\n")))
    (order, check), *_ = plan_of(clamping).zero_checks.items()
    assert (order, check.on, check.mark) == (2, "finished surface", None)
    assert zero_findings(plan_of(clamping)) == []  # nor is any asked for of what is done
    u, v = (check.x - 45.0) / 35.0, check.y / 12.0
    assert check.within == pytest.approx(0.02 + 0.05 * math.sqrt((1 + u * u + v * v) / 4), rel=0.01)
    lines = before_start(clamping, clamping.steps[1], plan_of(clamping).starts[1])
    assert "stays off with the bed felt for again, and was not off by as much before the work moved" in lines[-1]
    held = "See that the blank is still held over its whole face, by double-sided tape or vacuum: held by its ends"
    assert sum(line.startswith(held) for line in lines) == 1  # it was taken up, and laid down again


def test_no_bare_place_at_all_is_said(tmp_path):
    """Clamps all round: the bed is under them, the raw top is gone, the surface under fill."""
    walls = [("[-60.0, -1.0]", "[-80.0, 80.0]"), ("[91.0, 150.0]", "[-80.0, 80.0]"),
             ("[-60.0, 150.0]", "[31.0, 80.0]"), ("[-60.0, 150.0]", "[-80.0, -31.0]")]
    boxes = ", ".join(f"{{ x = {x}, y = {y}, height = 7.0 }}" for x, y in walls)
    changes = BARE | {"[stock]": f"[setup]\nkeep_out = [{boxes}]\n[stock]"}
    planned = plan_of(clamping_of(pathgen.load_job(job(tmp_path, changes=changes))))
    said = {f.where: f for f in zero_findings(planned)}
    step_of = {s.operation.name: s for s in planned.clamping.steps}
    assert step_of["pocket"].title not in said
    finding = said[step_of["resurface"].title]
    assert (finding.code, finding.severity) == ("no-zero-check", "warn")
    assert "no bare place" in finding.got
    assert finding.remedy == ("move clamp 1 of keep_out away, and correct its box there, or take a longer blank: write "
                              "[stock] length 182 mm and margin_nut 46 mm")
    longer = {**changes, "length = 125.0": "length = 182.0", "margin_nut = 20.0": "margin_nut = 46.0"}
    away = {**changes, "[stock]": changes["[stock]"].replace(boxes, boxes.split(", {", 1)[1].join(["{", ""]))}
    for mended in (longer, away):  # each works at once
        assert not zero_findings(plan_of(clamping_of(pathgen.load_job(job(tmp_path, changes=mended)))))
    assert not zero_findings(plan_of(clamping_of(pathgen.load_job(job(tmp_path)))))


def test_a_place_out_of_the_machines_travel_is_not_taken(tmp_path):
    free = clamping_of(pathgen.load_job(job(tmp_path)))
    x = plan_of(free).zero_checks[1].x
    span = free.board.outline.bounds[2]
    assert x < -5.0
    near = replace(free, machine=replace(free.machine, travel=(span + 4.0, 200.0, 80.0)))
    assert all(-4.0 <= c.x <= span + 4.0 for c in plan_of(near).zero_checks.values())
    turned = replace(free, setup=replace(free.setup, along="y"),
                     machine=replace(free.machine, travel=(200.0, span + 4.0, 80.0)))
    assert all(-4.0 <= c.x <= span + 4.0 for c in plan_of(turned).zero_checks.values())


@pytest.mark.parametrize(("short", "turned"), [(0.0, "x"), (0.1, "x"), (0.1, "y")])
def test_edges_that_the_cutter_cannot_come_beside_are_told(tmp_path, short, turned):
    """All that is cut fitted the travel; set from the edges as the sheet says, zero did not, and nothing said so."""
    def planned(travel):
        machine = f'[setup]\nalong = "{turned}"\n[machine]\ntravel = {travel}\n'
        return planned_of(pathgen.load_job(job(tmp_path, extra=machine)))

    free = planned([900.0, 900.0, 90.0])
    cut = np.concatenate([path.points for path in free.paths])
    # the blank reaches from X -20 to 105, nearer to what is cut at its far end; the ball has a radius of 6.35 mm
    needed = 105.0 + 6.35 - cut[:, 0].min()
    assert needed < cut[:, 0].max() - (-20.0 - 6.35)
    travel = [float(np.ceil(needed * 100) / 100 - short), 900.0, 90.0]
    found = zero_findings(planned(travel if turned == "x" else [travel[1], travel[0], travel[2]]))
    axis = {"x": "X", "y": "Y"}[turned]
    assert [(f.code, f.severity) for f in found] == [("edges-past-travel", "warn")] * (short > 0)
    assert all(f"{axis} 0 cannot be set from the blank's edges" in f.got for f in found)
    assert all("through the nut face on the centre-line" in f.remedy for f in found)


def test_a_feeler_thicker_than_the_gap_is_refused(tmp_path):
    changes = {"[stock]": "[setup]\nfeeler = 12.0\n[stock]"}
    with pytest.raises(JobError, match=r"feeler: 12 mm does not go under.*passes 10 mm.*less than .*10 mm"):
        built(tmp_path, changes=changes)


def test_a_job_in_inches_is_tried_with_a_feeler_and_steps_of_its_own():
    clamping = clamping_of(pathgen.load_job("examples/boards/inches.toml"))
    checks = plan_of(clamping).zero_checks
    assert {check.feeler for check in checks.values()} == {0.1016}
    for order, check in checks.items():
        words = " ".join(check_words(check, clamping.steps[order - 1], "in"))
        assert "paper 0.004 in thick" in words
        assert "Each 0.001 in more" in words
        assert (check.x / 0.254, check.y / 0.254) == pytest.approx((round(check.x / 0.254), round(check.y / 0.254)))


def test_the_check_follows_the_zero_of_the_job(tmp_path):
    changes = {"[stock]": '[setup]\nz_zero = "stock-top"\nzero = "blank-nut-centre"\nfeeler = 0.2\n[stock]'}
    for check in plan_of(clamping_of(pathgen.load_job(job(tmp_path, changes=changes)))).zero_checks.values():
        assert check.display == pytest.approx((check.x + 20.0, check.y, 0.2))


def test_z_is_set_again_where_the_cutter_is_another_than_in_the_step_before():
    steps = [SimpleNamespace(order=n, turn=turn, cutter=SimpleNamespace(name=name), operation=SurfaceRough)
             for n, (name, turn) in enumerate([
                 ("ball", None), ("ball", None), ("flat", None), ("ball", None), ("ball", SimpleNamespace(stays=False)),
                 ("flat", SimpleNamespace(stays=True))], 1)]
    found = [refits(SimpleNamespace(steps=steps, moved_from=0), step) for step in steps]
    assert found == [True, False, True, True, True, False]


@pytest.mark.parametrize(("rows", "order"), [("", 2), ("[[measured]]", 4)])
def test_who_has_just_measured_marks_with_a_pointed_cutter_fits_the_programs_own(tmp_path, rows, order):
    """Drilled by a cutter that the next program has too; and once work has moved, whatever was in the spindle."""
    changes = {'finish = "ball"': 'finish = "ball"\nrough = "flat"'} if not rows else {}
    drilled = f"drilled = {[[*p, 8.0] for p in CORNERS]}\n" if rows else ""
    moved = "".join(f"{rows}\nfound = {[*p, 8.0]}\n" for p in CORNERS) if rows else ""
    clamping = clamping_of(pathgen.load_job(job(tmp_path, changes=changes, extra=MARKS + drilled + moved)))
    before, step = clamping.steps[order - 2:order]
    assert before.cutter.name == step.cutter.name == "flat"
    assert any(line.startswith("Fit flat ") for line in before_start(clamping, step))
    # what hovers 1 mm over the marks and is taken out again need not be exact to hundredths
    assert (order in plan_of(clamping).zero_checks) == step.operation.spins == (not rows)
    assert plan_of(clamping).starts[order - 1].refit


def test_places_next_to_each_other_count_as_one():
    """Beside the example's clamps no place has room for all cutters: the ball's is 5 mm from the first one's, where
    the top may be a little higher or lower. The others, which go where the ball does, have its place, not their own."""
    clamping = clamping_of(pathgen.load_job("examples/fern-and-moth.toml"))
    first, *later = checks = list(zero_checks(Around(clamping=clamping)).values())
    assert first.like is None
    assert [check.like for check in later] == [1] * 9
    places = {(check.x, check.y) for check in checks}
    assert len(places) == 2
    assert math.dist(*places) == pytest.approx(max(check.apart for check in later)) == pytest.approx(5.0, abs=0.1)
    for check in later:
        own = (check.x, check.y) == (first.x, first.y)
        words = " ".join(check_words(check, clamping.steps[check.order - 1], "mm"))
        assert ("within 0.02 mm (" in words, "within 0.05 mm (" in words) == (own, not own)
        assert (" mm from the place then, over" in words) == (check.apart > 0.0) == (not own)


def test_over_the_face_that_a_blank_comes_with_all_cutters_have_one_place(tmp_path):
    """Each had its own, up to 11 mm apart, and was to show within 0.02 mm what the first did at another."""
    text = PLATE + RING.replace("flat 3", "flat 1").replace("outer", 'fill = "none"\nouter') + HOLE + cutter_table(
        name="flat 1", shape="flat-end", diameter=1.0, speed=12000, feed=600.0, plunge=100.0, stepdown=0.5)
    clamping = clamping_of(read(tmp_path, text))
    first, *later = zero_checks(Around(clamping=clamping)).values()
    assert later
    assert first.on == "bare face"
    assert {(check.x, check.y, check.apart, check.like) for check in later} == {(first.x, first.y, 0.0, 1)}


@pytest.mark.parametrize("digits", [-1e-9, 0.0, 1e-9])
def test_of_places_with_as_much_room_the_same_is_taken_whatever_the_last_digits(digits):
    """Corners of a blank that is the same on both sides and at both ends; frames of wood, and a wedge with one best."""
    corners = shapely.multipolygons([shapely.box(x, y - digits * np.sign(y), x + 4.0 + digits, y + 4.0)
                                     for x in (0.0, 52.0) for y in (-14.0, 10.0)])
    frame = shapely.difference(shapely.box(0.0, -14.0 - digits, 56.0, 14.0), shapely.box(4.0, -10.0, 52.0, 10.0))
    wedge = shapely.Polygon([(0, -1), (40, -6 + digits), (40, 1)])
    assert _middle(corners, 0.1) == (2.0, 12.0)
    x, y = _middle(frame, 0.1)
    assert (x, y) == (pytest.approx(2.35, abs=0.1), pytest.approx(11.65, abs=0.1))  # a circle in the corner of a frame
    assert _middle(wedge, 0.1)[0] > 30.0 > 0.0 > _middle(wedge, 0.1)[1]


def test_on_the_bed_there_is_room_beside_the_blank_for_a_wide_cutter():
    """A flat end of 14 mm stands 22 mm or more off the blank: its half and 1 mm, and twice half of it and a spare."""
    clamping = clamping_of(pathgen.load_job("examples/fern-and-moth.toml"))
    step = replace(clamping.steps[0], cutter=replace(clamping.steps[0].cutter, diameter=14.0))
    place, near = _bed(Around(clamping=clamping), step, _foot(step.cutter))
    assert not place.is_empty
    blank = shapely.box(*clamping.stock.bounds)
    assert place.distance(blank) == pytest.approx(7.0 + 1.0 + 2 * 7.5, abs=1e-6)
    assert near.distance(blank) == pytest.approx(7.0 + 1.0, abs=1e-6)


@pytest.mark.parametrize("wide", [16.0, 25.4, 60.0])
def test_over_a_bare_bed_every_flat_end_finds_a_place(tmp_path, wide):
    """From 16 mm none was found, whatever lay there; it clears the blank by 1 mm or more."""
    clamping = clamping_of(pathgen.load_job(job(tmp_path, changes=BARE)))
    last = next(step for step in clamping.steps if step.operation.levels)
    step = replace(last, cutter=replace(last.cutter, shape="flat-end", diameter=wide))
    assert clamping.setup.keep_out == ()
    assert has_place(Around(clamping=clamping), step)
    places = [place for place in _bed(Around(clamping=clamping), step, _foot(step.cutter)) if not place.is_empty]
    assert min(place.distance(shapely.box(*clamping.stock.bounds)) for place in places) >= wide / 2 + 1.0 - 1e-6
