"""Forms from sheet build and verify; how far the halves are apart is measured in what their programs cut."""

import json
import math
import re
from pathlib import Path

import numpy as np
import pytest
import shapely

from pathgen import build, load_job
from pathgen.app.cli import main
from pathgen.job.form import parts_of
from pathgen.removal import material
from pathgen.verify import verify
from tests.as_made import hold
from tests.job.test_forms import DISC, FORM, read
from tests.small_board import moves

EXAMPLE = Path(__file__).parents[2] / "examples" / "parts" / "bending-form.toml"


def as_cut(result, below):
    """The part that a form's outline program leaves, in the drawing's frame, from its text alone."""
    (program,) = (p for p in result.programs if p.operation == "outline")
    start, end, rapid = moves(program.text)
    with np.errstate(invalid="ignore"):
        low = ~rapid & (np.maximum(start[:, 2], end[:, 2]) < below)
    # each once: GEOS takes seconds to widen lines that lie on one another
    lines = shapely.linestrings(np.unique(np.stack([start[low, :2], end[low, :2]], axis=1), axis=0))
    # arcs of 3 mm radius in pieces of 1.4 degrees: within 0.3 um
    groove = shapely.buffer(shapely.line_merge(shapely.multilinestrings(lines)), program.cutter.radius, quad_segs=64)
    (inside,) = groove.interiors
    moved = np.array(result.report["form"]["moved"]) - result.plan.clamping.zero
    return shapely.affinity.translate(shapely.Polygon(inside), *-moved)


@pytest.mark.in_every_run(0)
def test_the_halves_of_the_example_are_as_far_apart_as_the_wood_is_thick():
    results = [build(one, resolution=1.0) for one in parts_of(load_job(EXAMPLE))]
    assert [result.verification.findings for result in results] == [(), ()]
    inside, outside = (as_cut(result, below=2.5) for result in results)
    assert shapely.distance(inside, outside) == pytest.approx(2.4, abs=0.005)
    # all along the line, but where it runs out through the form's ends, whose corners the machine cuts sharp
    edge = shapely.line_interpolate_point(inside.exterior, np.arange(0.0, inside.exterior.length, 0.7))
    along = edge[(shapely.get_x(edge) > 3.0) & (shapely.get_x(edge) < 357.0)]
    line = along[shapely.distance(along, outside) < 20.0]
    assert len(line) > 500
    assert np.abs(shapely.distance(line, outside) - 2.4).max() < 0.005
    for result in results:
        form = result.report["form"]
        assert (form["gap"], form["layers"], form["height"]) == (2.4, 3, 54.0)
        assert "3 layers, 54 mm high when stacked" in result.files(shaded=False)["report.txt"]
        for page, head in (("report.txt", "Holes (mm"), ("setup.html", ">Holes<")):  # where holes lie is said by them
            _, under = result.files(shaded=False)[page].split(head, 1)
            assert "It lies in the middle of its own sheet" in under
    hold("forms", *results, pages=True)


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize(("line", "radii"), [("inside", (250.0, 252.4)), ("outside", (247.6, 250.0))])
def test_halves_of_an_arc_have_the_radii_of_their_formulas(tmp_path, line, radii):
    job = read(tmp_path, FORM.replace("gap = 2.4", f'gap = 2.4\nline = "{line}"'))
    for one, radius in zip(parts_of(job), radii, strict=True):
        part = as_cut(build(one, resolution=0.5), below=1.6)
        at = shapely.get_coordinates(part.exterior.segmentize(1.0)) - [150.0, -240.0]
        away = np.hypot(*at.T)
        arc = away[(np.abs(away - radius) < 1.0) & (np.abs(at[:, 0]) < 149.99)]
        assert len(arc) > 250
        # curves are followed to 5 um, and tabs are no part of the line, which is taken to run on straight from the ends
        assert arc == pytest.approx(radius, abs=0.0055 if radius >= 250.0 else 0.011)


@pytest.mark.in_every_run(0)
def test_a_template_round_a_disc(tmp_path):
    text = FORM.replace('cut = "halves"\ngap = 2.4\nlength = 300.0\nwidth = 240.0', 'cut = "inside"')
    job = read(tmp_path, text.replace("thickness = 9.0", "thickness = 4.0"), DISC)
    result = build(job, resolution=0.5)
    assert result.verification.findings == ()
    assert "A template: what lies outside the line is kept." in result.files(shaded=False)["report.txt"]
    # the opening's volume by formula, down to the bed
    sim = result.verification.simulation
    x, y = result.plan.clamping.board.openings[0].centroid.coords[0]
    window = sim.grid.window((x - 62, y - 62, x + 62, y + 62))
    gone = float(np.maximum(4.0 - np.maximum(sim.top[window], 0.0), 0.0).sum()) * sim.grid.cell_area
    assert gone == pytest.approx(4.0 * math.pi * 60.0**2, rel=0.005)


@pytest.mark.in_every_run(0)
def test_both_halves_in_one_folder(tmp_path, capsys):
    job, out = read(tmp_path), tmp_path / "out"
    assert main(["build", str(job.path), "--out", str(out), "--resolution", "1.0", "--no-pictures"]) == 0
    assert {path.name for path in out.glob("*.nc")} == {"inside-01-outline-flat-3.nc", "outside-01-outline-flat-3.nc"}
    assert {path.name for path in out.glob("*.html")} == {"inside-setup.html", "outside-setup.html"}
    assert main(["check", str(job.path), str(out), "--resolution", "1.0"]) == 0
    path = out / "outside-01-outline-flat-3.nc"
    path.write_text(path.read_text().replace("Z-0.2", "Z-0.6"))
    capsys.readouterr()
    assert main(["check", str(job.path), str(out), "--resolution", "1.0"]) == 1
    assert "outside-01-outline" in capsys.readouterr().out


@pytest.mark.in_every_run(0)
def test_reports_of_both_halves_are_shown_as_they_are_written(tmp_path, capsys):
    """As `--json` of any other build; and which programs differ from those that were there."""
    job, out = read(tmp_path), tmp_path / "out"
    build = ["build", str(job.path), "--out", str(out), "--resolution", "1.0", "--no-pictures"]
    assert main([*build, "--json"]) == 0
    shown = json.loads(capsys.readouterr().out)
    assert shown == {half: json.loads((out / f"{half}-report.json").read_text()) for half in ("inside", "outside")}
    job.path.write_text(job.path.read_text().replace("gap = 2.4", "gap = 2.0"))
    assert main(build) == 0
    told = capsys.readouterr().out
    assert "Program outside-01-outline-flat-3.nc differs from the build before; program inside-01-outline" in told


@pytest.mark.in_every_run(0)
def test_pictures_of_both_halves_are_written_by_their_names(tmp_path):
    job = read(tmp_path, FORM.replace("gap = 2.4", "gap = 2.4\nlayers = 2"))
    assert main(["build", str(job.path), "--out", str(tmp_path / "out"), "--resolution", "1", "--pictures"]) == 0
    names = {path.name for path in (tmp_path / "out").iterdir()}
    for half in ("inside", "outside"):
        assert {f"{half}-board.svg", f"{half}-finished.png"} <= names
        cut = {name for name in names if name.startswith(half) and name.endswith(".nc")}
        assert {name.replace(".nc", ".svg") for name in cut} <= names
    # places are told in the half's own frame, and where that lies
    form = json.loads((tmp_path / "out" / "inside-report.json").read_text())["form"]
    text = (tmp_path / "out" / "inside-report.txt").read_text()
    across = float(re.search(r"its places here are .* mm along and ([-+\d.]+) mm across", text)[1])
    assert across == pytest.approx(form["moved"][1], abs=6e-4)


@pytest.mark.in_every_run(0)
def test_clearing_a_deep_opening_is_work_that_simulating_it_may_take(tmp_path, monkeypatch):
    """As much a point as the largest sheets are allowed at a tenth; going over it all a dozen times is too long."""
    text = FORM.replace('cut = "halves"\ngap = 2.4\nlength = 300.0\nwidth = 240.0', 'cut = "inside"')
    text = text.replace("diameter = 3.0", "diameter = 10.0", 1).replace("stepdown = 1.0", "stepdown = 0.5", 1)
    (job,) = parts_of(read(tmp_path, text, DISC))
    for other in ("_OF_A_LINE", "_OF_A_PIECE", "_OF_A_TURN"):  # what at a tenth is little beside the points
        monkeypatch.setattr(material, other, 0)
    made = build(job, resolution=0.2, pictures=False)
    cells, work = made.verification.cells, sum(made.verification.simulation.worked.values())
    allowed = material.MOST_WORK / material._LARGE * cells
    monkeypatch.setattr(material, "MOST_WORK", allowed)
    assert work > allowed
    assert build(job, resolution=0.2, pictures=False).passed
    texts = {program.file_name: program.text for program in made.programs}
    name = next(program.file_name for program in made.programs if program.operation == "openings")
    head, tail = texts[name].rsplit("\nG0 Z", 1)
    _, body = head.split("\nG0 X", 1)
    again = "\nG0 Z60\nG0 X" + body
    found = verify(made.plan.clamping, {**texts, name: f"{head}{again * 12}\nG0 Z{tail}"}, resolution=0.2).findings
    assert "too-long" in {finding.code for finding in found}
