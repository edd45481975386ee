"""The test piece: what its programs cut measures what its page says, and nothing is tried that the job lacks."""

import html
import itertools
import math
import re

import numpy as np
import pytest
import shapely

from pathgen import JobError, PathgenError, build, check, load_job
from pathgen.app.cli import main
from pathgen.job.coupon import _near, coupon_clamping
from pathgen.job.describe import key_rows
from pathgen.programs.around import Around
from pathgen.programs.zero_check import zero_checks
from pathgen.programs.zeroing import refits
from pathgen.report.sheet.coupon import coupon_page
from tests.as_made import hold
from tests.small_board import SLOTS, cutter, job, moves, svg

# two discs with a bar between them, 1.3 mm wide: 1 unit is 1 mm
NARROW = svg("""<circle cx="10" cy="15" r="5" fill="#225577"/><circle cx="28" cy="15" r="5" fill="#225577"/>
<rect x="9" y="14.35" width="20" height="1.3" fill="#225577"/>""")
FINE = cutter(name="fine", shape="flat-end", diameter=1.0, speed=18000, feed=700.0, plunge=200.0, stepdown=0.8)
BOTH = {'cutters = ["flat"]': 'cutters = ["flat", "fine"]'}


def plain_text(page):
    return html.unescape(re.sub(r"<[^>]+>", "", page))


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    return load_job(job(tmp_path_factory.mktemp("coupon"), art=NARROW, extra=FINE + SLOTS, changes=BOTH))


@pytest.fixture(scope="module")
def made(small):
    return build(small, clamping=coupon_clamping(small), resolution=0.1)


def trials(made, kind):
    return [t for t in made.plan.clamping.board.trials if t.kind == kind]


def cut_of(made, pick):
    """(n, 3) feed moves of the one program that `pick` takes, below the surface, from its text; and its cutter.

    X counts from the middle of the blank's near end, 14 mm before the piece.
    """
    program = next(p for p in made.programs if pick(p))
    start, end, rapid = moves(program.text)
    top = made.plan.clamping.board.surface.thickness
    keep = ~rapid & (end[:, 2] < top - 0.05)
    return np.concatenate([start[keep & (start[:, 2] < top - 0.05)], end[keep]]) - [14.0, 0.0, 0.0], program.cutter


def test_of_what_lies_beside_the_narrowest_place_no_sliver_is_taken():
    """3.2 by 0.96 mm of the next leaf, cut off by the window, stayed closed: "1 of its 3 shapes wholly"."""
    bar, beside = shapely.box(-9, -0.6, 9, 0.6), shapely.box(-9, 1.0, 9, 9.0)
    taken = _near(bar.union(beside), 1.2, (0.0, 0.0))
    assert taken.geom_type == "Polygon"
    assert taken.difference(bar).is_empty


def test_it_builds_verified_and_states_what_it_is(made):
    assert made.passed
    assert not [f for f in made.report["checks"]["findings"] if f["severity"] == "forbid"]
    assert all("(part: coupon)" in p.text for p in made.programs)
    kinds = [t.kind for t in made.plan.clamping.board.trials]
    assert kinds == ["rim", "square", "square", "detail", "pour", "slot", "slot", "slot"]
    assert list(made.report["coupon"]) == list("ABCDEFGH")
    # the files are told apart by the same letters
    assert [re.sub(r"^\d+-|\.nc$", "", p.file_name) for p in made.programs] == [
        "surface-finish-ball", "pocket-b-flat", "pocket-de-flat", "pocket-c-fine", "pocket-de-fine",
        "second-cut-de-ball", "slots-f-slot", "slots-g-slot", "slots-h-slot"]


def test_it_is_as_made(made):
    hold("coupon", made, pages=True)


@pytest.mark.parametrize(("inlay", "squares", "order"), [
    ('"flat", "fine", "half"', '"six", "flat", "half"', ["six", "flat", "fine", "half"]),
    ('"flat"', '"flat", "half"', ["flat", "half"]),
])
def test_cutters_are_changed_no_more_often_than_they_must_be(tmp_path, inlay, squares, order):
    """One of 0.5 mm cut its square, was taken out, and was fitted again for the drawing."""
    more = "".join(cutter(name=name, shape="flat-end", diameter=size, speed=18000, feed=700.0, plunge=200.0,
                          stepdown=size / 2) for name, size in (("six", 6.0), ("half", 0.5)))
    loaded = load_job(job(tmp_path, art=NARROW, changes={'cutters = ["flat"]': f"cutters = [{inlay}]"},
                          extra=f"{FINE}{more}[coupon]\ncutters = [{squares}]\n"))
    steps = coupon_clamping(loaded).steps
    assert [name for name, _ in itertools.groupby(step.cutter.name for step in steps)] == ["ball", *order, "ball"]


def test_a_square_is_no_wider_than_a_caliper_needs(made):
    """Of 10 mm with 0.5 mm it took 9.2 of the 23 minutes of the whole test piece."""
    assert [trial.size for trial in trials(made, "square")] == [6.0, 6.0]


def test_wood_stands_between_its_places(made):
    spans = sorted([*(inlay.area.bounds[::2] for inlay in made.plan.clamping.inlays),
                    *((t.at[0], t.at[0]) for t in trials(made, "slot"))])
    assert min(low - high for (_, high), (low, _) in itertools.pairwise(spans)) > 5.9
    assert spans[0][0] > 2.9
    assert made.plan.clamping.board.length - spans[-1][1] > 2.9


def test_squares_are_as_wide_and_deep_as_the_page_says(made):
    for trial, inlay in zip(trials(made, "square"), made.plan.clamping.inlays[1:], strict=True):
        points, cutter = cut_of(made, lambda p, inlay=inlay: p.step.operation.opens is inlay)
        assert cutter.name == trial.cutter
        # a cutter 0.04 mm larger than it says opens 0.04 mm more
        for diameter, more in ((cutter.diameter, 0.0), (cutter.diameter + 0.04, 0.04)):
            assert np.ptp(points[:, :2], axis=0) + diameter == pytest.approx(trial.size + more, abs=0.003)
        assert 6.5 - points[:, 2].min() == pytest.approx(trial.depth, abs=1e-3)
        assert (points[:, 0].min() + points[:, 0].max()) / 2 == pytest.approx(trial.at[0], abs=0.001)


def test_each_pocket_is_told_its_own_volume(made):
    """They are not cut in the order in which they are listed."""
    for inlay in made.report["inlays"]:
        assert inlay["pocket_volume"] == pytest.approx(inlay["reachable_area"] * inlay["depth"], rel=0.05)
        assert inlay["deepest"] == pytest.approx(inlay["depth"], abs=0.01)


def test_slots_have_three_widths_and_depths_and_one_is_the_jobs(made):
    found = trials(made, "slot")
    assert [(t.size, t.depth) for t in found] == [(0.6, 1.8), (0.65, 1.6), (0.7, 2.0)]
    assert [t.wanted for t in found] == [True, False, False]
    steps = [p.step for p in made.programs if p.operation == "slots"]
    for trial, step in zip(found, steps, strict=True):
        points, cutter = cut_of(made, lambda p, step=step: p.step is step)
        assert np.ptp(points[:, 0]) + cutter.diameter == pytest.approx(trial.size, abs=0.002)
        assert 6.5 - points[:, 2].min() == pytest.approx(trial.depth, abs=1e-3)
        assert np.ptp(points[:, 1]) > 40.0  # out through both edges


def test_wider_slots_than_their_cutter_are_tried_on_both_sides(tmp_path):
    wider = load_job(job(tmp_path, extra=SLOTS.replace("width = 0.6", "width = 0.66")))
    slots = [t for t in coupon_clamping(wider).board.trials if t.kind == "slot"]
    assert [(t.size, t.depth, t.wanted) for t in slots] == [
        (0.61, 1.6, False), (0.66, 1.8, True), (0.71, 2.0, False)]
    for flute in (1.9, 2.05):  # 2.05 holds the deeper one, and not the waste beside its ends
        table = SLOTS.replace("stepdown = 0.5", f"stepdown = 0.5\nflute_length = {flute}")
        short = load_job(job(tmp_path, extra=table))
        assert [t.depth for t in coupon_clamping(short).board.trials if t.kind == "slot"] == [1.8, 1.6, 1.4]


@pytest.mark.parametrize("diameter", ["3/128 in", "0.0173228 in"])
def test_slots_are_no_narrower_than_a_cutter_of_many_digits(tmp_path, diameter):
    table = SLOTS.replace("diameter = 0.6", f'diameter = "{diameter}"').replace("width = 0.6\n", "")
    one = load_job(job(tmp_path, extra=table))
    cutter = one.cutter(one.slots.cutter, "[slots] cutter")
    assert min(t.size for t in coupon_clamping(one).board.trials if t.kind == "slot") >= cutter.diameter - 1e-9


def test_the_detail_is_the_drawings_narrowest_place(made):
    trial, = trials(made, "detail")
    assert trial.size == pytest.approx(1.3, abs=1e-3)
    pocket = made.plan.clamping.inlays[0]
    # 2.5 times its width round a place of the bar, and the square to pour
    shown, = (p for p in shapely.get_parts(pocket.area) if p.bounds[3] > 0)
    assert np.ptp(np.reshape(shown.bounds, (2, 2)), axis=0).max() == pytest.approx(2 * 2.5 * 1.3, rel=0.01)
    across = [shown.intersection(shapely.LineString([(x, -20), (x, 20)])).length
              for x in np.linspace(shown.bounds[0] + 0.1, shown.bounds[2] - 0.1, 60)]
    assert min(across) == pytest.approx(1.3, abs=1e-3)
    bar = shown.centroid.x if across[0] == across[-1] else \
        shown.bounds[0] + 0.6 if across[0] < across[-1] else shown.bounds[2] - 0.6
    assert shown.covers(shapely.Point(trial.at[0], 10.0))  # the piece is 40 mm wide, the letter stands above it
    points, cutter = cut_of(made, lambda p: p.operation == "pocket" and p.cutter.name == "fine"
                            and p.step.operation.opens is pocket)
    inside = points[(points[:, 1] > 0) & (abs(points[:, 0] - bar) < 0.3)]
    assert np.ptp(inside[:, 1]) + cutter.diameter == pytest.approx(1.3, abs=0.01)


def test_the_step_at_the_rim_and_the_pour(made):
    rim, = trials(made, "rim")
    assert rim.size == 8.0 - 6.5
    finish = next(p for p in made.programs if p.operation == "surface-finish")
    assert moves(finish.text)[1][:, 2].min() == pytest.approx(6.5, abs=1e-3)
    pour, = trials(made, "pour")
    assert pour.size == 12.0
    again = next(p for p in made.programs if p.operation == "resurface")
    before = next(p for p in made.programs if p.order == again.order - 1)
    assert "Stop here for the fill" in before.text
    # round the pour alone, so that a step shows where it ends
    assert np.ptp(moves(again.text)[1][:, 0]) < 0.5 * made.plan.clamping.board.length


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("name", ["fern-and-moth", "moth-three-colours"])
def test_the_examples_test_pieces_are_verified_and_every_new_cutter_has_its_check_of_zero(name):
    example = load_job(f"examples/{name}.toml")
    piece = build(example, clamping=coupon_clamping(example), resolution=0.15)
    assert piece.passed
    assert not [f for f in piece.report["checks"]["findings"] if f["severity"] != "note"]
    names = [p.cutter.name for p in piece.programs]
    assert [p.zero is not None for p in piece.programs] == [
        k == 0 or one != names[k - 1] for k, one in enumerate(names)]
    kinds = [t.kind for t in piece.plan.clamping.board.trials]
    assert {"rim", "square", "detail", "pour", "slot"} == set(kinds)
    assert kinds.count("slot") == 3


def test_scrap_is_wide_enough_to_try_the_zero_of_a_wide_cutter_on_its_raw_top(tmp_path):
    """A cutter of 20 mm needs 21 mm bare past what is cut; it stands too far from the scrap to be tried on the bed."""
    wide = cutter(name="wide", shape="flat-end", diameter=20, speed=6000, feed=1500, plunge=200, stepdown=1.5)
    rough, sizes = {'finish = "ball"': 'finish = "ball"\nrough = "wide"'}, []
    for changes in ({}, rough):
        extra = f'{wide}[setup]\nz_zero = "stock-top"\n'
        clamping = coupon_clamping(load_job(job(tmp_path, art=NARROW, changes=changes, extra=extra)))
        checks = zero_checks(Around(clamping=clamping))
        assert list(checks) == [step.order for step in clamping.steps if refits(clamping, step)]
        sizes.append(clamping.stock.width)
    assert sizes[0] == 68.0
    assert sizes[1] > 40.0 + 2 * 21.0


def test_cutters_that_it_does_not_try_are_named(tmp_path, made):
    """The narrowest place and the pour come from the first inlay: the v of the second cuts nothing here."""
    v = cutter(name="v", shape="v", angle=60, diameter=6, speed=16000, feed=600, plunge=200, stepdown=1)
    more = '[[inlay]]\nartwork = "disc.svg"\ndepth = 1.0\ncutters = ["flat", "v"]\nplace = { at = [45.0, 0.0] }\n' \
           'fill = "none"\n'
    (tmp_path / "disc.svg").write_text(svg('<circle cx="5" cy="5" r="4" fill="#aa2222"/>', 10, 10))
    loaded = load_job(job(tmp_path, art=NARROW, extra=v + more, changes={"at = [45.0, 0.0] }": "at = [45.0, 13.0] }"}))
    piece = build(loaded, clamping=coupon_clamping(loaded), resolution=0.3)
    said = 'Not cut by these programs: a trial of "v" (inlay 2 cutters).'
    page = plain_text(coupon_page(piece.plan, piece.plan.clamping.board, piece.report))
    assert said in page
    assert said in piece.files()["report.txt"]
    assert "not_cut" not in made.report


@pytest.mark.parametrize(("zero", "said"), [
    ("bed", "the scrap is not as thick as [coupon] thickness or [stock] thickness says"), ("stock-top", "its raw top")])
def test_a_step_from_the_raw_top_does_not_depend_on_how_thick_the_scrap_is(tmp_path, zero, said):
    loaded = load_job(job(tmp_path, art=NARROW, extra=f'[setup]\nz_zero = "{zero}"\n'))
    piece = build(loaded, clamping=coupon_clamping(loaded), resolution=0.3)
    page = plain_text(coupon_page(piece.plan, piece.plan.clamping.board, piece.report))
    assert said in page
    assert ("[coupon] thickness" in page) == (zero == "bed")


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize(("operation", "change", "code"), [
    ("slots", ("Z", -0.05), "slot-too-deep"),
    ("pocket", ("X", 0.2), "pocket-outside-drawing"),
])
def test_spoilt_programs_are_found(small, made, tmp_path, operation, change, code):
    made.write(tmp_path / "c", shaded=False)
    program = next(p for p in made.programs if p.operation == operation)
    axis, by = change
    text = re.sub(rf"(?m)^(?!\()(.*?){axis}(-?[\d.]+)", lambda m: f"{m[1]}{axis}{float(m[2]) + by:.4f}", program.text)
    (tmp_path / "c" / program.file_name).write_text(text)
    found = check(small, tmp_path / "c", resolution=0.1).findings
    assert any(f.severity == "forbid" and program.file_name in f.where for f in found), [f.code for f in found]
    assert code in {f.code for f in found}


def test_the_command_writes_a_page_and_check_takes_the_folder(small, tmp_path, capsys):
    out = tmp_path / "c"
    assert main(["coupon", str(small.path), "--out", str(out), "--resolution", "0.2"]) == 0
    page = (out / "coupon.html").read_text()
    words = re.sub(r"<style.*?</style>|<[^>]+>", " ", page, flags=re.S)
    for said in ("1.5 mm", "0.65 mm wide, 1.6 mm deep", "0.6 mm wide, 1.8 mm deep, as the job has it",
                 "6 mm wide both ways, 1.5 mm deep", "1.3 mm wide at its narrowest", "no more than 0.7 mm above",
                 "µm: thousandths of a millimetre"):
        assert said in words, said
    assert "if B reads 6.04 mm, write  diameter = 2.04" in " ".join(words.split(" ")).replace("\n", " ")
    assert main(["check", str(small.path), str(out), "--resolution", "0.2"]) == 0
    capsys.readouterr()


@pytest.mark.parametrize("fill", ["resin", "piece", "none"])
def test_only_where_resin_is_poured_the_page_speaks_of_that(tmp_path, fill):
    asked = load_job(job(tmp_path, changes={"overfill = 0.7": f'fill = "{fill}"'}))
    made = build(asked, clamping=coupon_clamping(asked), resolution=0.4, pictures=False)
    page = coupon_page(made.plan, made.plan.clamping.board, made.report)
    assert "Look with a loupe" in page
    assert ("anything is poured" in page) is (fill == "resin")


def test_every_key_that_the_page_names_is_one(made):
    page = coupon_page(made.plan, made.plan.clamping.board, made.report)
    known = {f"{row.table} {row.key}" for row in key_rows()}
    named = set(re.findall(r"<code>(\[.*?\] \w+)</code>", page))
    assert named >= {"[[cutter]] diameter", "[[cutter]] feed", "[slots] width", "[slots] depth", "[[inlay]] depth"}
    assert named <= known


@pytest.mark.in_every_run(2)
@pytest.mark.parametrize(("inlaid", "table"), [(False, "[dots]"), (True, "[[inlay]]"), (None, None)],
                         ids=["dots", "both", "neither"])
def test_keys_of_what_is_filled_are_those_of_a_table_that_the_job_has(tmp_path, inlaid, table):
    dots = "" if inlaid is None else '[dots]\ndiameter = 5.0\ndepth = 1.2\ncutters = ["flat"]\nfill = "resin"\n'
    path = job(tmp_path, extra=dots + '[coupon]\ncutters = ["flat"]\n')
    if not inlaid:
        path.write_text(re.sub(LESS["inlays"], "", path.read_text(), flags=re.S))
    piece = build(load_job(path), clamping=coupon_clamping(load_job(path)), resolution=0.3)
    page = coupon_page(piece.plan, piece.plan.clamping.board, piece.report)
    keys = re.findall(r"<code>(\S+) (?:depth|cutters|overfill)</code>", page)
    assert set(keys) == ({table} if table else set())


def test_keys_of_rings_are_theirs():
    rosette = load_job("examples/parts/rosette.toml")
    assert coupon_clamping(rosette).board.filled == "[[ring]]"


LESS = {"surface": r"\[surface\]\nfinish = \"ball\"\nscallop = 0.05\n", "inlays": r"\[\[inlay\]\].*?(?=\[resin\])"}


@pytest.mark.parametrize(("without", "kinds"), [
    ("inlays", {"rim", "square", "slot"}), ("surface", {"square", "detail", "slot"}),
])
def test_a_job_that_has_less_tries_less(tmp_path, without, kinds):
    path = job(tmp_path, art=NARROW, extra=SLOTS + '[coupon]\ncutters = ["flat"]\n')
    text = re.sub(LESS[without], "", path.read_text(), flags=re.S)
    if without == "surface":
        text = text.replace("overfill = 0.7", 'fill = "none"').replace("thickness = 8.0", "thickness = 6.5")
    path.write_text(text)
    less = load_job(path)
    piece = build(less, clamping=coupon_clamping(less), resolution=0.2)
    assert piece.passed
    assert {t.kind for t in piece.plan.clamping.board.trials} == kinds
    assert coupon_page(piece.plan, piece.plan.clamping.board, piece.report)


@pytest.mark.parametrize(("extra", "words"), [
    ('[coupon]\ncutters = ["flat 9"]\n', r'\[coupon\] cutters: no \[\[cutter\]\] is called "flat 9".*mean "flat"'),
    ('[coupon]\ncutters = ["ball"]\n', r'\[coupon\] cutters: "ball" is a ball-end cutter.*flat-end cutters'),
    ("[coupon]\nthickness = 3.5\n", r"\[coupon\] thickness: of scrap 3\.5 mm .* leaves 0\.20 mm.*4\.30 mm or more"),
])
def test_cutters_that_the_job_lacks_and_scrap_too_thin_are_refused(tmp_path, extra, words):
    with pytest.raises(JobError, match=words):
        coupon_clamping(load_job(job(tmp_path, extra=SLOTS + extra)))


def test_a_square_is_no_wider_than_the_test_piece(tmp_path):
    """That of a cutter of 20 mm was 50 mm wide on a piece of 40; one of 100 mm was refused by its own check."""
    wide = cutter(name="wide", shape="flat-end", diameter=20.0, speed=9000, feed=900.0,
                  plunge=200.0, stepdown=1.0)
    own = '[coupon]\ncutters = ["wide"]\n'
    piece = coupon_clamping(load_job(job(tmp_path, extra=SLOTS + own + wide)))
    square = next(t for t in piece.board.trials if t.kind == "square")
    assert 24.0 <= square.size <= 34.0
    assert build(load_job(job(tmp_path, extra=SLOTS + own + wide)), clamping=piece, resolution=0.3).passed
    wider = wide.replace("diameter = 20.0", "diameter = 30.0")
    with pytest.raises(JobError, match=r'\[coupon\] cutters: "wide" is 30 mm, too wide .*28\.3\d* mm or less'):
        coupon_clamping(load_job(job(tmp_path, extra=SLOTS + own + wider)))


def test_a_cutter_that_the_job_lacks_is_refused_when_the_job_is_read(tmp_path):
    with pytest.raises(JobError, match=r"\[coupon\] cutters"):
        load_job(job(tmp_path, extra='[coupon]\ncutters = ["flat 9"]\n'))


def test_a_job_with_nothing_to_try_is_refused(tmp_path):
    text = (path := job(tmp_path)).read_text().replace("thickness = 8.0", "thickness = 6.5")
    for cut in LESS.values():
        text = re.sub(cut, "", text, flags=re.S)
    path.write_text(text + '\n[holes]\ncutter = "flat"\ndiameter = 3.0\nat = [[-12.0, 0.0]]\n')
    with pytest.raises(PathgenError, match="nothing to try on a test piece"):
        coupon_clamping(load_job(path))


def test_a_round_spot_narrower_than_the_rest_is_the_narrowest_place(tmp_path):
    """Its edges do not face each other: a leaf's greatest width was taken instead."""
    art = NARROW.replace("</svg>", '<circle cx="20" cy="25" r="0.6" fill="#225577"/></svg>')
    clamping = coupon_clamping(load_job(job(tmp_path, art=art, extra=FINE + SLOTS, changes=BOTH)))
    (trial,) = (t for t in clamping.board.trials if t.kind == "detail")
    assert trial.size == pytest.approx(1.2, abs=0.06)


@pytest.mark.parametrize("speck", ['<rect x="4" y="4" width="0.05" height="3" fill="#225577"/>',
                                   '<circle cx="4" cy="4" r="0.02" fill="#225577"/>'])
def test_a_speck_that_no_cutter_goes_into_is_not_the_place_to_try(tmp_path, speck):
    """The test piece of a job that builds was refused for it."""
    path = job(tmp_path, art=NARROW.replace("</svg>", f"{speck}</svg>"), extra=FINE,
               changes={**BOTH, "overfill = 0.7": 'fill = "none"'})
    (trial,) = (t for t in coupon_clamping(load_job(path)).board.trials if t.kind == "detail")
    assert trial.size == pytest.approx(1.3, abs=1e-3)


V = cutter(name="vee", shape="v", diameter=6.0, angle=60, speed=18000, feed=600.0, plunge=200.0, stepdown=1.0)


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize(("wide", "speck"), [
    (0.9, '<rect x="18" y="22" width="4" height="0.9" fill="#225577"/>'),
    (0.05, '<rect x="4" y="4" width="0.05" height="3" fill="#225577"/>'),
])
def test_a_v_that_comes_last_goes_into_the_narrowest_place(tmp_path, wide, speck):
    """A v of 60 degrees is 1.73 mm wide at the pocket's 1.5 mm: in narrower places it goes tan(60) of half as deep."""
    path = job(tmp_path, art=NARROW.replace("</svg>", f"{speck}</svg>"), extra=V,
               changes={'cutters = ["flat"]': 'cutters = ["flat", "vee"]'})
    loaded = load_job(path)
    piece = build(loaded, clamping=coupon_clamping(loaded), resolution=0.2)
    assert piece.passed
    (trial,) = trials(piece, "detail")
    assert trial.size == pytest.approx(wide, abs=1e-3)
    page = coupon_page(piece.plan, piece.plan.clamping.board, piece.report)
    deep = wide / 2 * math.tan(math.radians(60))
    said = re.search(r'as drawn, ([\d.]+) mm deep there; last cutter (?:"|&quot;)vee', page)
    assert float(said[1]) == pytest.approx(deep, abs=0.01)
    if wide > 0.5:
        points, _ = cut_of(piece, lambda p: p.operation == "pocket" and p.cutter.name == "vee")
        assert 6.5 - points[points[:, 1] > 0, 2].min() == pytest.approx(deep, abs=0.02)


def test_a_pour_is_tried_beside_a_narrower_place_that_stays_open(tmp_path):
    more = ('[[inlay]]\nartwork = "fine.svg"\ndepth = 0.8\ncutters = ["fine"]\nfill = "none"\n'
            "place = { at = [75.0, 0.0] }\n")
    (tmp_path / "fine.svg").write_text(svg('<rect x="4" width="1.1" height="9" fill="#aa2222"/>', 9, 9))
    loaded = load_job(job(tmp_path, art=NARROW, extra=FINE + more, changes=BOTH))
    piece = build(loaded, clamping=coupon_clamping(loaded), resolution=0.2)
    assert piece.passed
    (detail,), (pour,) = trials(piece, "detail"), trials(piece, "pour")
    assert (detail.size, detail.depth, pour.depth) == (pytest.approx(1.1), 0.8, 1.5)
    again = next(p for p in piece.programs if p.operation == "resurface")
    assert "Stop here for the fill" in piece.programs[again.order - 2].text
    assert [inlay.fill for inlay in piece.plan.clamping.inlays].count("resin") == 1


def test_a_drawing_that_is_nowhere_narrow_has_no_detail(tmp_path):
    """No more than 10 mm of it are taken: less than its page would say."""
    disc = svg('<circle cx="20" cy="15" r="{}" fill="#225577"/>')
    kinds = {r: [t.kind for t in coupon_clamping(load_job(job(tmp_path, art=disc.format(r)))).board.trials]
             for r in (4.9, 6)}
    assert kinds[4.9] == ["rim", "square", "detail", "pour"]
    assert kinds[6] == ["rim", "square", "pour"]


def test_a_flat_end_is_told_of_no_ridges_and_a_piece_how_it_is_tried(tmp_path, made):
    page = coupon_page(made.plan, made.plan.clamping.board, made.report)
    assert "Pieces let in" not in page
    assert "[surface] scallop" in page
    level = {"radius = { nut = 254.0, end = 300.0 }": 'radius = "flat"',
             'finish = "ball"\nscallop = 0.05': 'finish = "flat"\nrough = "flat"',
             "overfill = 0.7": 'fill = "piece"\noverfill = 0.7\npiece = { cutter = "flat", thickness = 2.0 }'}
    flat = load_job(job(tmp_path, art=NARROW.replace("1.3", "2.6"), changes=level))
    piece = build(flat, clamping=coupon_clamping(flat), resolution=0.2)
    page = coupon_page(piece.plan, piece.plan.clamping.board, piece.report)
    assert "[surface] scallop" not in page
    assert "0 µm high" not in page
    assert "level from one to the next" in page
    assert "scrap 6.5 mm thick" in page
    assert "[[inlay]] piece gap" in page


def test_the_last_cutter_of_a_detail_is_one_that_cuts_there(tmp_path):
    """The v after it found nothing to do and was left out: its page ended in a KeyError."""
    v = cutter(name="v", shape="v", angle=140, diameter=3.4, speed=18000, feed=700.0, plunge=200.0, stepdown=0.8)
    dots = svg("".join(f'<circle cx="{x}" cy="8" r="0.92" fill="#225577"/>' for x in (8, 11, 14)))
    loaded = load_job(job(tmp_path, art=dots, extra=FINE + v, changes={
        '["flat"]': '["fine", "v"]\nfill = "none"', "overfill = 0.7\n": ""}))
    made = build(loaded, clamping=coupon_clamping(loaded), resolution=0.3)
    assert [t.cutter for t in trials(made, "detail")] == ["fine"]
    assert "last cutter" in coupon_page(made.plan, made.plan.clamping.board, made.report)
