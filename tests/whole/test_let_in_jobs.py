"""Let-in pieces from a job: pocket and piece as the written texts cut them, and what keeps a bad program back.

What a program opens is worked out here from its text: an upright cutter of radius r takes away all within r of its
path.
"""

import re
from collections.abc import Callable
from contextlib import nullcontext
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import shapely
import svgpathtools

import pathgen
import pathgen.app.building
from pathgen.app.cli import main
from pathgen.base.errors import JobError
from pathgen.job import load_job
from pathgen.job.clamping import asked_of, clamping_of, planned_of
from pathgen.job.filling import check_fit
from pathgen.job.pieces import piece_sheets
from pathgen.programs.afterwards import afterwards
from pathgen.report.feeding import feed_findings
from pathgen.report.out_of_reach import reach_findings
from pathgen.report.pictures.poured import as_poured, pours_of
from pathgen.report.reaching import reach_of_cutters
from pathgen.report.sheet.seen import _stands_words
from pathgen.report.text import verdict
from pathgen.verify import verify
from pathgen.work.operations import SurfaceFinish
from tests.as_made import hold
from tests.small_board import cutter, moves, svg

EXAMPLE = Path(__file__).parents[2] / "examples" / "boards" / "let-in-leaf.toml"
PIECE = 'piece = { cutter = "flat 1", gap = 0.05, thickness = 2.0 }'
RADIUS, GAP, THICK, THROUGH = 0.5, 0.05, 2.0, 0.1


def job_with(folder: Path, changes: dict[str, str], *, art: str | None = None) -> pathgen.job.Job:
    """The example's job with some of its text changed."""
    text = EXAMPLE.read_text()
    for old, new in changes.items():
        assert old in text, old
        text = text.replace(old, new)
    (folder / "let-in-leaf.svg").write_text(art or EXAMPLE.with_suffix(".svg").read_text())
    (folder / "job.toml").write_text(text)
    return pathgen.load_job(folder / "job.toml")


@pytest.fixture(scope="module")
def job():
    return pathgen.load_job(EXAMPLE)


@pytest.fixture(scope="module")
def result(job):
    return pathgen.build(job, resolution=0.4)


def pieces(job, *, resolution: float = 0.1) -> list[SimpleNamespace]:
    """Each sheet that pieces are cut from, and what is built of it."""
    made = [(sheet, pathgen.build(job, clamping=sheet.clamping, resolution=resolution)) for sheet in piece_sheets(job)]
    return [SimpleNamespace(let_in=sheet.let_in, clamping=sheet.clamping, made=one, program=one.programs[0],
                            findings=one.verification.findings) for sheet, one in made]


@pytest.fixture(scope="module")
def made(job):
    return pieces(job)


def opened_by(text: str, radius: float, below: float) -> shapely.Geometry:
    start, end, rapid = moves(text)
    low = ~rapid & (np.maximum(start[:, 2], end[:, 2]) < below)
    lines = shapely.linestrings(np.stack([start[low, :2], end[low, :2]], axis=1))
    return shapely.union_all(shapely.buffer(lines, radius, quad_segs=64))


def left_in_stock(text: str, size: tuple[float, float]) -> np.ndarray:
    """What is left of the stock, apart from the frame round it, largest first."""
    parts = shapely.get_parts(shapely.box(0, 0, *size) - opened_by(text, RADIUS, 0.0))
    inner = [p for p in parts if p.bounds[0] > 0.5]
    return np.array(sorted(inner, key=lambda p: -p.area), dtype=object)


def moved_onto(shape: shapely.Geometry, other: shapely.Geometry) -> shapely.Geometry:
    to = np.subtract(other.bounds[:2], shape.bounds[:2])
    return shapely.affinity.translate(shape, *to)


def test_board_and_pieces_are_as_made(result, made) -> None:
    hold("let in", result, *(one.made for one in made), pages=True)


def test_the_piece_that_is_cut_goes_into_the_pocket_that_is_cut(result, made) -> None:
    texts = [p.text for p in result.programs if p.operation == "pocket"]
    radii = [p.cutter.radius for p in result.programs if p.operation == "pocket"]
    pocket = shapely.union_all([opened_by(t, r, 5.3) for t, r in zip(texts, radii, strict=True)])
    (leaf,) = left_in_stock(made[0].program.text, made[0].let_in.size)
    assert len(leaf.interiors) == 1  # round the midrib
    seat = moved_onto(leaf, made[0].let_in.piece)
    assert seat.symmetric_difference(made[0].let_in.piece).area < 0.004 * seat.length
    # in the pocket with its gap, less what rounding and chords come to, and not with 0.02 mm more than that
    assert (seat.buffer(GAP - 0.006) - pocket).area < 1e-6
    assert (seat.buffer(GAP + 0.02) - pocket).area > 0.01 * seat.length


def test_the_page_of_the_pieces_draws_them_where_they_lie(made) -> None:
    drawn = re.search(r'<path[^>]*class="piece"[^>]*>', made[0].made.files()["setup.html"])[0]
    path = svgpathtools.parse_path(re.search(r' d="([^"]*)"', drawn)[1])
    (leaf,) = left_in_stock(made[0].program.text, made[0].let_in.size)
    assert len(path.continuous_subpaths()) == 1 + len(leaf.interiors)
    left, right, up, down = path.bbox()
    x0, y0, x1, y1 = leaf.bounds
    assert (right - left, down - up) == pytest.approx((x1 - x0, y1 - y0), abs=0.03)


@pytest.mark.in_every_run(0)
def test_pieces_are_pictured_as_they_are_in_their_pockets(result) -> None:
    (one,), stages = result.verification.simulation.closeups, result.verification.simulation.stages
    (pour,), inlay = pours_of(result.plan), result.plan.clamping.inlays[0]
    last = max(p.order for p in result.programs if p.operation == "pocket")
    shown = as_poured(result.plan, stages, [pour])
    for stage, simulated in ((pour.over(one.opened, one.filled), one.filled), (shown[last - 1], stages[last - 1])):
        xs, ys = np.meshgrid(stage.grid.xs, stage.grid.ys)
        away = shapely.distance(inlay.area, shapely.points(xs, ys))
        proud = stage.heights - result.plan.clamping.surface.height(xs, ys)
        assert away[simulated.fill > 0].max() > 2.0, "the verification takes fill to lie round the pocket"
        assert away[stage.fill > 0].max() < 1e-6
        assert (stage.fill > 0)[away == 0].all()
        assert proud[stage.fill > 0] == pytest.approx(THICK - inlay.depth, abs=1e-3)
        assert proud[(away > 0.3) & (away < 3.0)].max() < 0.1
    page = result.files()["setup.html"]
    assert "with the pieces let in and standing proud" in page
    assert "is the dam" not in page


def test_report_and_header_say_what_is_let_in(result, made) -> None:
    (inlay,), (one,) = result.report["inlays"], made
    piece, drawn = inlay["piece"], result.plan.clamping.inlays[0].drawn[0][1]
    pocket = result.plan.clamping.inlays[0].area
    assert (piece["gap"], piece["pieces"], piece["fits"], inlay["piece_thickness"]) == (GAP, 1, True, THICK)
    grown = 0.002 * pocket.length  # a pocket is larger by so much all round
    assert piece["gained_area"] - piece["lost_area"] == pytest.approx(pocket.area - drawn.area - grown, abs=0.05)
    assert piece["opened_area"] == pytest.approx(pocket.area, rel=1e-3)
    assert piece["stock"] == pytest.approx([*one.let_in.size, THICK], abs=0.01)
    # sagitta of a circle of radius R over a chord w (any geometry handbook): R - sqrt(R^2 - (w/2)^2)
    width = np.ptp(one.let_in.piece.bounds[1::2])
    assert piece["under_edges"] == pytest.approx(305.0 - np.sqrt(305.0**2 - (width / 2) ** 2), abs=1e-4)
    # what is cut off over its flat underside follows the curve: so much less is left of it at its edges
    least, most = inlay["second_cut"]["depth_left"]
    assert most == pytest.approx(1.4, abs=1e-3)
    assert 1.4 - piece["under_edges"] - inlay["floor_high"] - 1e-3 < least < 1.4 - piece["under_edges"] + 1e-3
    assert "of the pieces remain." in result.files()["report.txt"]
    assert one.program.file_name == "piece-1-e3c98f-flat-1.nc"
    said = re.sub(r"\)\n\(", " ", one.program.text)
    assert "double-sided tape" in said
    length, width = (np.ceil(size * 10 - 1e-6) / 10 for size in one.let_in.size)
    assert f"Take stock of {length:g} mm along X by {width:g} mm along Y" in said
    assert f"1 piece of #e3c98f from stock of {length:g} mm by {width:g} mm, 2 mm thick" in result.files()["report.txt"]
    assert "X 0 Y 0 is the stock's corner" in said
    assert f"job fingerprint: {result.job.fingerprint}" in said


@pytest.mark.parametrize(("leave", "said", "seen"), [
    (0.0, "they then stand 0.6 mm above the surface, more at edges that the floor falls away under, and nowhere more "
          "than 0.8 mm", "standing 0.6 mm proud"),
    (0.2, "they then stand 0.4 mm above the surface, more", "standing 0.4 mm proud"),
    (0.6, "they then lie level with the surface", "level with the wood"),
    (0.9, "they then lie 0.3 mm below the surface, which is cut down to them later", "0.3 mm below the wood"),
])
def test_how_high_pieces_stand_in_the_wood_round_them_is_told(tmp_path, leave, said, seen) -> None:
    """Pieces of 2 mm in pockets 1.4 mm deep, and deeper by what the first cut leaves on the wood."""
    clamping = clamping_of(job_with(tmp_path, {"scallop = 0.02": f"scallop = 0.02\nleave = {leave}"}))
    (last,) = [step for step in clamping.steps if "let the pieces in" in " ".join(afterwards(clamping, step))]
    assert f"pressed down to the floor: {said}" in " ".join(afterwards(clamping, last))
    (inlay,) = clamping.inlays
    assert _stands_words(clamping, inlay) == seen
    first = clamping.step(SurfaceFinish).operation.purpose
    assert first == ("cut the radius a little proud" if leave else "finish the radius")


def test_pieces_whose_thickness_nobody_gave_must_stand_proud(tmp_path) -> None:
    clamping = clamping_of(job_with(tmp_path, {PIECE: ""}))
    told = " ".join(line for step in clamping.steps for line in afterwards(clamping, step))
    assert "they must stand above the surface, by 0.8 mm at most" in told


def test_pieces_are_pictured_as_high_as_they_stand(result) -> None:
    pours = pours_of(result.plan)
    stages = result.verification.simulation.stages
    stage = next(stage for stage in stages if pours[0].code_in(stage))
    shown = as_poured(result.plan, stages, pours)[stages.index(stage)]
    fill = (shown.fill == pours[0].code_in(stage)) & np.isfinite(shown.heights)
    assert np.median((stage.heights - shown.heights)[fill]) == pytest.approx(0.8 - 0.6, abs=1e-3)  # mm: overfill, proud


def test_the_page_of_the_pieces_names_the_key_of_their_thickness(made) -> None:
    page = made[0].made.files(shaded=False)["setup.html"]
    assert "write [[inlay]] piece thickness as measured, build the job again, and run pathgen pieces again." in page
    assert "touch off on its top instead, and set the display there to the thickness that you measured." in page
    assert "[stock] thickness" not in page


def test_of_pieces_nothing_is_said_that_is_true_of_resin_alone(result) -> None:
    report, page = result.files(shaded=False)["report.txt"], result.files(shaded=False)["setup.html"]
    assert "ml of the pieces" not in report
    assert "It takes what stands of the pieces and" in report
    assert "; pocket" not in report
    assert "dust of the fill" not in page
    assert "the dust of shell and bone is harmful too" in page
    assert "with the same fill" not in page
    assert "Slot place in cents" not in page  # no slots are cut
    assert "Clean fill" not in page


def test_without_a_piece_table_the_pocket_is_the_drawing(tmp_path) -> None:
    job = job_with(tmp_path, {PIECE: ""})
    made = planned_of(job)
    art = pathgen.read_artwork(EXAMPLE.with_suffix(".svg"), tolerance=0.002)
    assert made.clamping.inlays[0].area.area == pytest.approx(art.regions[0].polygon.area, rel=1e-6)
    assert made.asked.let_ins == ((),)
    with pytest.raises(JobError, match="has a piece"):
        pieces(job)


@pytest.mark.parametrize(("changes", "words"), [
    ({'fill = "piece"': 'fill = "resin"'}, "piece: given with fill"),
    ({'{ cutter = "flat 1"': '{ cutter = "flat 9"'}, 'piece cutter: no .* "flat 9"'),
    ({'{ cutter = "flat 1", ': "{ "}, "cutter is missing"),
    ({", thickness = 2.0 }": " }"}, "thickness is missing"),
    ({"thickness = 2.0": "thickness = 1.4"}, "allowed: above 1.4"),
    ({"thickness = 2.0": "thickness = 2.3"}, "to 2.2 mm"),
    ({"gap = 0.05": "gap = -0.1"}, "gap: -0.1 given"),
    ({"gap = 0.05": "slack = 0.05"}, "unknown key"),
])
def test_what_a_piece_may_not_say(tmp_path, changes: dict[str, str], words: str) -> None:
    with pytest.raises(JobError, match=words):
        job_with(tmp_path, changes)


def test_a_piece_that_stands_higher_at_its_edges_than_the_second_cut_reckons_with(tmp_path) -> None:
    """What is allowed is rounded up: 0.7072 mm was told as 0.707."""
    thicker = {"thickness = 2.0": "thickness = 2.0004"}
    with pytest.raises(JobError, match=r"overfill: 0.7 mm.*stands 0.707 mm proud at") as refused:
        planned_of(job_with(tmp_path, thicker | {"overfill = 0.8": "overfill = 0.7"}))
    allowed = re.search(r"allowed: ([\d.]+) mm or more", str(refused.value))
    assert planned_of(job_with(tmp_path, thicker | {"overfill = 0.8": f"overfill = {allowed[1]}"}))


def test_a_pocket_through_the_underside_is_told_before_its_piece(tmp_path) -> None:
    """A piece thicker than a depth of 0.6 in was asked for, where 0.06 was meant."""
    with pytest.raises(JobError, match=r"depth: the pocket goes .* through the underside"):
        planned_of(job_with(tmp_path, {"depth = 1.4": "depth = 14.0"}))


def test_the_overfill_that_all_pieces_of_an_inlay_need_is_told_at_once(tmp_path) -> None:
    """D: under a piece w wide a floor of radius R falls by R - sqrt(R^2 - (w/2)^2). It was that of the first colour."""
    art = svg('<rect fill="#112233" x="2" y="6" width="8" height="8"/>'
              '<rect fill="#ddaa44" x="14" y="1" width="8" height="18"/>', 44, 20)
    small = {"overfill = 0.8": "overfill = 0.6"}
    with pytest.raises(JobError, match=r"overfill: 0.6 mm.*that of #ddaa44 the most.*make overfill") as refused:
        planned_of(job_with(tmp_path, small, art=art))
    needed = re.search(r"make overfill ([\d.]+) mm", str(refused.value))
    assert planned_of(job_with(tmp_path, {"overfill = 0.8": f"overfill = {needed[1]}"}, art=art))


def test_cutters_that_leave_no_upright_wall(tmp_path) -> None:
    with pytest.raises(JobError, match='inlay 1 piece cutter: "ball 12" is a ball-end cutter'):
        planned_of(job_with(tmp_path, {'{ cutter = "flat 1"': '{ cutter = "ball 12"'}))


def test_colours_that_would_lie_in_each_others_place(tmp_path) -> None:
    # a wedge of one colour in a notch of the other: the thick piece cutter fills the notch out further than the thin
    # pocket cutter rounds the wedge
    art = svg('<path fill="#112233" d="M 4 2 H 34 L 12 10 L 34 18 H 4 Z"/>'
              '<path fill="#ddaa44" d="M 34 2 L 12 10 L 34 18 Z"/>', 44, 20)
    with pytest.raises(JobError, match=r"would both lie near 18\d.* mm along.*an \[\[inlay\]\] of its own"):
        planned_of(job_with(tmp_path, {'{ cutter = "flat 1"': '{ cutter = "flat 3"'}, art=art))
    assert len(pieces(job_with(tmp_path, {}, art=art))) == 2


def test_small_corners_in_the_pieces_way_are_cut(tmp_path) -> None:
    # in a corner of angle a, a radius R leaves (R - r) (1 / sin(a / 2) - 1) more in a piece's way than r does, and
    # (R^2 - r^2) (1 / tan(a / 2) - (pi - a) / 2) of area: 0.008 mm and 0.0024 mm2 here, too small to see
    angle = np.radians(135.0)
    assert 0.1 * (1 / np.sin(angle / 2) - 1) > 0.006
    assert (0.6**2 - 0.5**2) * (1 / np.tan(angle / 2) - (np.pi - angle) / 2) < pathgen.programs.plan.SMALLEST_PIECE / 2
    turns = np.arange(8) * np.pi / 4
    corners = " ".join(f"{22 + 8 * np.cos(t):.5f},{10 + 8 * np.sin(t):.5f}" for t in turns)
    art = svg(f'<polygon fill="#e3c98f" points="{corners}"/>', 44, 20)
    new = EXAMPLE.read_text().split("[[cutter]]")[3].replace("flat 1", "flat 1.2").replace("= 1.0", "= 1.2")
    made = planned_of(job_with(tmp_path, {
        'cutters = ["flat 3", "flat 1"]': 'cutters = ["flat 3", "flat 1.2", "flat 1"]',
        "[[inlay]]": f"[[cutter]]{new.split('[surface]')[0]}\n[[inlay]]",
    }, art=art))
    assert len(made.pockets[0][-1].toolpath) > 0


def test_a_misfit_is_refused_with_its_place(job) -> None:
    made = planned_of(job)
    ((colour, one),), cuts = made.asked.let_ins[0], made.pockets[0]
    check_fit(job, made.clamping, 0, ((colour, one),), cuts)
    bump = shapely.Point(one.piece.bounds[2], 0.0).buffer(0.3)
    wide = replace(one, piece=one.piece | bump)
    place = r"in 1 place, the largest.*2[01]\d\.\d+ mm along, -?\d+\.?\d* mm across: 0\.\d+ by 0\.\d+ mm"
    with pytest.raises(JobError, match=place):
        check_fit(job, made.clamping, 0, ((colour, wide),), cuts)


def test_a_piece_that_lacks_a_little_of_its_gap_goes_in(job) -> None:
    made = planned_of(job)
    ((colour, one),), cuts = made.asked.let_ins[0], made.pockets[0]
    for share, fits in ((0.2, True), (0.3, False)):
        tighter = replace(one, piece=one.piece.buffer(share * one.gap))
        with nullcontext() if fits else pytest.raises(JobError, match="does not go into its pocket"):
            check_fit(job, made.clamping, 0, ((colour, tighter),), cuts)


@pytest.mark.in_every_run(2)
@pytest.mark.parametrize("changes", [
    {"thickness = 2.0 }": "thickness = 2.0, from_back = true }"},
    {"margin_nut = 20.0": "margin_nut = 20.0\n[machine]\narcs = true"},
    {"margin_nut = 20.0": "margin_nut = 20.0\n[setup]\nalong = \"y\"\nz_zero = \"stock-top\""},
])
def test_pieces_of_other_set_ups_verify(tmp_path, changes: dict[str, str]) -> None:
    (one,) = pieces(job_with(tmp_path, changes), resolution=0.2)
    assert one.findings == ()
    assert ("mirrored" in one.program.text) == ("from_back" in str(changes))
    assert ("\nG2 " in one.program.text or "\nG3 " in one.program.text) == ("arcs" in str(changes))
    if "from_back" in str(changes):
        leaf = left_in_stock(one.program.text, one.let_in.size)[0]
        turned = shapely.affinity.scale(leaf, xfact=-1.0)
        assert moved_onto(turned, one.let_in.piece).symmetric_difference(one.let_in.piece).area < 0.3
        assert moved_onto(leaf, one.let_in.piece).symmetric_difference(one.let_in.piece).area > 3.0


Spoil = Callable[[str], str]


def changed(pattern: str, new: str, count: int = 1) -> Spoil:
    def spoil(text: str) -> str:
        out, done = re.subn(pattern, new, text, count=count, flags=re.M)
        assert done, pattern
        return out
    return spoil


def low_lines(text: str) -> list[int]:
    """Numbers of the lines that move at full depth."""
    lines, at, low = text.splitlines(), 9.0, []
    for k, line in enumerate(lines):
        z = None if line.startswith("(") else re.search(r"Z(-?[\d.]+)", line)
        at = float(z[1]) if z else at
        low += [k] if at <= -THROUGH + 1e-9 and not z and line.startswith("X") else []
    return low


def shifted(axis: str, by: float) -> Spoil:
    """One X or Y moved in all the moves at full depth."""
    def spoil(text: str) -> str:
        lines = text.splitlines()
        for k in low_lines(text):
            lines[k] = re.sub(rf"{axis}([\d.]+)", lambda m: f"{axis}{float(m[1]) + by:.4f}", lines[k])
        return "\n".join(lines) + "\n"
    return spoil


def without_some(first: int, count: int) -> Spoil:
    def spoil(text: str) -> str:
        gone = set(low_lines(text)[first : first + count])
        rows = text.splitlines()
        lift = min(gone)
        rows[lift] = "Z0.3\n" + rows[lift]
        rows[max(gone) + 1] += "\nZ-0.1"
        return "\n".join(rows) + "\n"
    return spoil


@pytest.mark.parametrize(("spoil", "code"), [
    (shifted("X", 0.02), "piece-cut-into"),
    (shifted("Y", -0.02), "piece-cut-into"),
    (without_some(80, 6), "piece-not-cut-free"),
    (changed(r"Z-0\.1\b", "Z-0.108", 1), "too-deep-below-the-stock"),
    (changed(r"Z-0\.1\b", "Z0.01", 0), "piece-not-cut-free"),
    (changed(r"^M5$", "G0 X0.2 Y0.2\nG1 Z1 F100\nG0 Z12\nM5"), "past-the-stock"),
    (changed(r"^M5$", "G0 Z1\nX8\nZ12\nM5"), "rapid-through-material"),
    (changed(r"^G1 Z2 F150", "G1 Z1 F150"), "cut-too-deep"),
    (changed(r"F150", "F400"), "plunge-too-fast"),
    (changed(r"F600", "F900", 0), "feed-too-fast"),
    (changed(r"^M3 S18000", "M3 S9000"), "spindle-speed"),
    (changed(r"^M3 S18000\n", ""), "spindle-off"),
    (changed(r"^G21 ", "G20 "), "other-units"),
    (changed(r"^M30\n", ""), "no-end"),
    (changed(r"^M5$", "M5\nG28"), "unreadable"),
    (changed(r"job fingerprint: \w{16}", "job fingerprint: 0123456789abcdef"), "other-job"),
])
def test_spoilt_programs_are_seen(job, made, spoil: Spoil, code: str) -> None:
    (one,) = made
    assert one.findings == ()
    text = spoil(one.program.text)
    assert text != one.program.text
    found = verify(one.clamping, {one.program.file_name: text}, job_fingerprint=job.fingerprint).findings
    assert code in {f.code for f in found if f.severity == "forbid"}


def test_a_sheet_is_seen_in_the_colour_of_its_pieces() -> None:
    job = load_job(EXAMPLE)
    dark = replace(job, board=replace(job.board, wood_colour="#3b2a20"))
    for sheet in piece_sheets(dark):
        assert asked_of(dark, sheet.clamping).wood == (sheet.colour, None)
    assert asked_of(dark, clamping_of(dark)).wood[0] == "#3b2a20"


def test_the_sheets_of_several_pieces_are_named_as_their_programs(tmp_path, capsys) -> None:
    """Of three inlays the second and the third are let in; the folder holds sheets 2 and 3, in the colours' order."""
    colours = ("#112233", "#445566", "#778899")
    (tmp_path / "art.svg").write_text(svg("".join(
        f'<circle cx="{x}" cy="10" r="6" fill="{colour}"/>' for x, colour in zip((10, 30, 50), colours, strict=True)),
        60, 20))
    inlays = "".join(f'''[[inlay]]
artwork = "art.svg"
colours = ["{colour}"]
depth = 1
cutters = ["flat"]
{'fill = "piece"' if colour != "#112233" else 'fill = "none"'}
{'piece = { cutter = "flat", thickness = 1.2 }' if colour != "#112233" else ""}
place = {{ at = [50, 0] }}
''' for colour in colours)
    (tmp_path / "job.toml").write_text(f'''units = "mm"
cutter = [{{ name = "flat", shape = "flat-end", diameter = 2, speed = 16000, feed = 900, plunge = 200, stepdown = 1 }}]
stock = {{ length = 120, width = 60, thickness = 4 }}
surface = {{ finish = "flat", rough = "flat" }}
[plate]
length = 100
width = 40
thickness = 3.5
{inlays}''')
    assert main(["pieces", str(tmp_path / "job.toml"), "--out", str(tmp_path / "out")]) == 0, capsys.readouterr()
    programs = {path.stem for path in (tmp_path / "out").glob("*.nc")}
    assert programs == {"piece-2-445566-flat", "piece-3-778899-flat"}
    for name in ("setup.html", "report.json", "report.txt"):
        assert {path.name for path in (tmp_path / "out").glob(f"*-{name}")} == {f"{one}-{name}" for one in programs}
    assert "#445566" in (tmp_path / "out" / "piece-2-445566-flat-setup.html").read_text()
    assert main(["check", str(tmp_path / "job.toml"), str(tmp_path / "out")]) == 0


def test_the_command_writes_all_or_nothing(tmp_path, monkeypatch, capsys) -> None:
    out = tmp_path / "out"
    assert main(["pieces", str(EXAMPLE), "--out", str(out)]) == 0
    assert "from a blank 45.4 mm" in capsys.readouterr().out
    assert {p.name for p in out.iterdir()} >= {"piece-1-e3c98f-flat-1.nc", "report.json", "report.txt", "setup.html"}
    assert "The sheet on the machine" in (out / "setup.html").read_text()
    assert main(["check", str(EXAMPLE), str(out)]) == 0
    write = pathgen.app.building.program_text
    shallow = lambda *a, **k: write(*a, **k).replace("Z-0.1\n", "Z0.05\n")  # noqa: E731
    monkeypatch.setattr(pathgen.app.building, "program_text", shallow)
    assert main(["pieces", str(EXAMPLE), "--out", str(tmp_path / "none")]) == 1
    said = capsys.readouterr()
    assert "DO NOT CUT" in said.out
    assert "Nothing was written" in said.err
    assert not (tmp_path / "none").exists()
    assert main(["pieces", str(EXAMPLE.parent / "fanned.toml"), "--out", str(tmp_path / "none")]) == 2


@pytest.mark.in_every_run(0)
def test_three_pieces_in_inches_from_the_back(tmp_path) -> None:
    more = cutter(name="flat 1/32", shape="flat-end", diameter="1/32 in", flute_length=0.15, speed=18000, feed=20.0,
                  plunge=6.0, stepdown=0.02) + """
[[inlay]]
artwork = "leaf.svg"
depth = 0.05
cutters = ["flat 1/32"]
fill = "piece"
overfill = 0.04
piece = { cutter = "flat 1/32", gap = 0.002, thickness = 0.08, from_back = true }
place = { at_frets = [3, 5, 7], width = 0.9 }
"""
    (tmp_path / "leaf.svg").write_text(EXAMPLE.with_suffix(".svg").read_text())
    (tmp_path / "job.toml").write_text((EXAMPLE.parent / "inches.toml").read_text() + more)
    (one,) = pieces(pathgen.load_job(tmp_path / "job.toml"), resolution=0.2)
    assert one.findings == ()
    assert "G20 G90" in one.program.text
    start, end, _ = moves(one.program.text)
    assert end[:, 2].min() == pytest.approx(-THROUGH / 25.4, abs=1e-5)
    # three kerfs of their own: as many leaves, each cut round, as frets were named
    low = np.maximum(start[:, 2], end[:, 2]) < 0.0
    lines = shapely.linestrings(np.stack([start[low, :2], end[low, :2]], axis=1))
    kerf = shapely.union_all(shapely.buffer(lines, 1 / 64, quad_segs=32))
    around = shapely.get_parts(kerf.envelope.buffer(0.05) - kerf)
    cut_off = [p for p in around if p.bounds[0] > kerf.bounds[0] and p.area > 0.01]
    assert len(cut_off) == 3
    assert sum(p.area for p in cut_off) * 25.4**2 == pytest.approx(one.let_in.piece.area, rel=0.002)


def test_the_feed_of_pieces_is_not_judged_as_if_they_were_of_wood(tmp_path) -> None:
    text = EXAMPLE.read_text()
    assert text.count("feed = 600.0") == 1
    job = job_with(tmp_path, {"feed = 600.0": "feed = 150.0"})
    (note,) = feed_findings(piece_sheets(job)[0].clamping)
    assert "your material and your ears decide: shell, bone and metal are mostly cut slower" in note.remedy
    assert all("your wood" in found.remedy for found in feed_findings(clamping_of(job)))


def test_shapes_too_narrow_for_the_pocket_are_told_as_those_of_a_fill_are(tmp_path) -> None:
    """Of a square of 12 mm, a disc of 0.8 mm and a bar of 8 by 0.9 mm a cutter of 1 mm opens the square alone."""
    art = svg('<rect x="5" y="5" width="12" height="12" fill="#e3c98f"/><circle cx="22" cy="10" r="0.4" '
              'fill="#e3c98f"/><rect x="24" y="9" width="8" height="0.9" fill="#e3c98f"/>')
    read = job_with(tmp_path, {}, art=art)
    clamping = clamping_of(read)
    (reached,) = reach_of_cutters(clamping)
    (found,) = reach_findings(clamping, [reached], read.complete_cutters)
    assert (found.severity, found.code) == ("warn", "much-left-closed")
    assert "stays closed (2 of its 3 shapes wholly) with" in found.got
    assert reached.together[0].area == pytest.approx(144 + 0.16 * np.pi + 7.2, rel=1e-3)
    (sheet,) = piece_sheets(read)
    (doubt,) = sheet.clamping.doubts
    assert doubt.problem.startswith("no piece for 2 of the 3 shapes drawn")


@pytest.mark.parametrize(("wide", "told"), [(0.9, True), (1.1, False)])
def test_a_line_that_no_piece_has_is_told_with_the_pieces(tmp_path, wide: float, told: bool) -> None:
    """D: 8 mm of line at a square of 12 mm, 4.8 % of both; the square's piece was said to be verified."""
    art = svg(f'<path d="M5 5H17V17H5Z M17 10H25V{10 + wide}H17Z" fill="#e3c98f"/>')
    doubts = piece_sheets(job_with(tmp_path, {}, art=art))[0].clamping.doubts
    assert [(one.closed, one.grave) for one in doubts] == [(True, True)] * told
    said = r"7\.\d mm2 of what is drawn, 4\.\d % of it, are no part of the pieces"
    assert not told or re.match(said, doubts[0].problem)


@pytest.mark.parametrize(("across", "piece", "severity"), [
    (0.8, True, "warn"), (0.8, False, "note"),
    (0.2, True, None),  # 0.03 mm2: nobody would see it
])
def test_a_shape_missed_wholly_is_told_however_small_its_share(tmp_path, across, piece, severity) -> None:
    """Beside a square of 16 mm a dot of 0.8 mm is 0.2 % of the colour, of which a build said nothing."""
    art = svg(f'<path d="M5 5H21V21H5Z" fill="#e3c98f"/><circle cx="28" cy="10" r="{across / 2}" fill="#e3c98f"/>')
    let_in = 'piece = { cutter = "flat 1", gap = 0.05, thickness = 2.0 }'
    read = job_with(tmp_path, {} if piece else {'fill = "piece"': 'fill = "resin"', let_in: ""}, art=art)
    clamping = clamping_of(read)
    found = reach_findings(clamping, reach_of_cutters(clamping), read.complete_cutters)
    assert [one.severity for one in found] == [severity] * (severity is not None)
    assert all("stays closed (1 of its 2 shapes wholly) with" in one.got for one in found)
    if piece:
        (doubt,) = piece_sheets(read)[0].clamping.doubts
        assert (doubt.grave, doubt.closed) == (severity == "warn",) * 2


def bars(*apart: float) -> str:
    """A drawing of bars of 12 by 3 mm, so far apart."""
    y = np.cumsum([4.0, *(3.0 + gap for gap in apart)])
    return svg("".join(f'<rect x="6" y="{low}" width="12" height="3" fill="#e3c98f"/>' for low in y))


@pytest.mark.parametrize(("art", "told"), [
    (bars(2.0, 2.0, 2.0, 2.0), None),
    (bars(0.8, 2.0, 2.0, 2.0), "warn"),  # D: 12 (0.8) mm2 beside 180, 5.3 % less round corners; 0.9 mm would stay
    (bars(0.88, 0.88, 0.88, 0.88), "refused"),  # 23 %
    (bars(0.92, 0.92, 0.92, 0.92), None),
])
def test_wood_that_goes_beside_a_drawing_is_told(tmp_path, art: str, told: str | None) -> None:
    """It was cut away up to a third of the drawing, with a build verified. What is advised is followed."""
    read = job_with(tmp_path, {}, art=art)
    if told == "refused":
        with pytest.raises(JobError, match=r"2\d\.\d % of it, are cut away with .flat 1. .*not be recogn") as wrong:
            clamping_of(read)
        remedy = wrong.value.remedy
    else:
        doubts = [one for one in asked_of(read, clamping_of(read)).doubts if one.beside]
        assert [one.grave for one in doubts] == [True] * (told == "warn")
        assert [one.problem for one in piece_sheets(read)[0].clamping.doubts] == [one.problem for one in doubts]
        if told is None:
            return
        assert re.match(r"[89]\.\d+ mm2 of wood beside .* as much as 4\.\d % of it, are cut away", doubts[0].problem)
        remedy = doubts[0].remedy
    wide = re.search(r"a finer cutter in \[\[inlay\]\] piece, one of ([\d.]+) mm leaves", remedy)[1]
    finer = cutter(name="finer", shape="flat-end", diameter=float(wide), flute_length=6.0, speed=18000, feed=400.0,
                   plunge=150.0, stepdown=0.4)
    changes = {'{ cutter = "flat 1"': '{ cutter = "finer"', "[surface]": f"{finer}\n[surface]"}
    read = job_with(tmp_path, changes, art=art)
    assert not [one for one in asked_of(read, clamping_of(read)).doubts if one.beside]


def test_a_build_that_cuts_wood_away_beside_a_drawing_is_verified_in_part() -> None:
    rows = [{"code": code, "severity": "warn", "where": "inlay 1", "got": f"{got} with more words", "allowed": "",
             "remedy": ""}
            for code, got in (("wood-cut-away", "9 mm2 are cut away"), ("much-left-closed", "8 mm2 stay"))]
    seen = {count: verdict({"passed": True, "findings": rows[:count]}, "mm") for count in (0, 1, 2)}
    assert [kind for kind, _ in seen.values()] == ["good", "doubt", "doubt"]
    assert "planned, but wood beside what is drawn is cut away. inlay 1: 9 mm2 are cut away." in seen[1][1]
    assert "not all that is drawn is cut, and wood beside what is drawn is cut away. inlay 1: 9 mm2" in seen[2][1]


def test_a_colour_with_no_room_for_a_piece_is_told_with_those_that_have(tmp_path) -> None:
    """It hid the others, and what was advised did nothing; each advice is followed here."""
    art = svg('<rect x="6" y="5" width="12" height="8" fill="#102030"/><rect x="6" y="16" width="12" height="0.7" '
              'fill="#405060"/><rect x="6" y="18" width="12" height="0.8" fill="#708090"/>')
    with pytest.raises(JobError) as wrong:
        clamping_of(job_with(tmp_path, {}, art=art))
    assert len(wrong.value.lines) == 2
    assert "#405060: nothing of the drawing is wide enough" in wrong.value.lines[0]
    assert "#708090: nothing of the drawing is wide enough" in wrong.value.lines[1]
    named = re.search(r"add a cutter of ([\d.]+) mm to .*leave #405060 and #708090 out, by (colours = .*\]) in .*: the "
                      "others have room", wrong.value.remedy)
    (left,) = clamping_of(job_with(tmp_path, {PIECE: f"{PIECE}\n{named[2]}"}, art=art)).inlays
    assert left.colours == ["#102030"]
    finer = cutter(name="finer", shape="flat-end", diameter=float(named[1]), flute_length=6.0, speed=18000, feed=400.0,
                   plunge=150.0, stepdown=0.4)
    changes = {'"flat 1"]': '"flat 1", "finer"]', "[surface]": f"{finer}\n[surface]"}
    assert len(clamping_of(job_with(tmp_path, changes, art=art)).inlays[0].colours) == 3
