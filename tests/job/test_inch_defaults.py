"""Defaults of a job in inches are sizes that are set there; in millimetres they are what they were."""

import dataclasses
import importlib
import pkgutil
from contextlib import suppress
from pathlib import Path

import pytest

import pathgen
import pathgen.job
from pathgen.base.errors import JobError
from pathgen.base.units import in_mm
from pathgen.job.clamping import clamping_of
from pathgen.job.describe import key_rows
from pathgen.job.doubts import doubts_of
from pathgen.job.inlay_tables import ResurfaceTable
from pathgen.job.kinds import KINDS
from pathgen.job.part import outline_of, part_of
from pathgen.parts.fingerboard.dots import Dots
from pathgen.report.feeding import layer_findings
from pathgen.strategies.resurfacing import heights_above
from tests import small_board

INCHES = Path(__file__).parents[2] / "examples" / "boards" / "inches.toml"


def test_each_unit_has_its_own(tmp_path: Path) -> None:
    inches, mm = pathgen.load_job(INCHES), pathgen.load_job(small_board.job(tmp_path))
    assert (inches.setup.feeler / 25.4, inches.machine.clearance / 25.4) == pytest.approx((0.004, 0.4))
    unsaid = dataclasses.replace(inches, outline=dataclasses.replace(inches.outline, tab_height=None))
    assert outline_of(unsaid, part_of(unsaid)).tab_height / 25.4 == pytest.approx(0.06)
    assert (mm.setup.feeler, mm.machine.clearance, mm.stock.thickness) == (0.1, 10.0, 8.0)
    assert mm.resurface is not None  # brought in by the fill, with its defaults
    assert mm.resurface.blend == 5.0


@pytest.mark.parametrize("name", ["dots-and-fall-away", "let-in-leaf"])
def test_what_is_made_beside_the_board_is_checked_with_the_same_feeler(tmp_path: Path, name: str) -> None:
    for path in INCHES.parent.glob("*.svg"):
        (tmp_path / path.name).write_bytes(path.read_bytes())
    text = (INCHES.parent / f"{name}.toml").read_text()
    (tmp_path / "job.toml").write_text(text.replace("[setup]", "[setup]\nfeeler = 0.25") if "[setup]" in text
                                       else f"{text}\n[setup]\nfeeler = 0.25\n")
    job = pathgen.load_job(tmp_path / "job.toml")
    made = set()
    for kind in KINDS[:-1]:
        with suppress(pathgen.PathgenError):  # of a kind that the job has nothing of
            made.add(kind.command)
            assert {one.setup.feeler for one in kind.clampings(job, None)} == {0.25}, kind.command
    assert len(made) == 6


def test_what_a_fill_brings_in_has_them_too(tmp_path: Path) -> None:
    text = small_board.JOB.replace('units = "mm"', 'units = "in"')
    for name in ("scale_length", "nut_width", "end_width", "thickness", "length", "width", "margin_nut", "depth",
                 "overfill", "diameter", "feed", "plunge", "stepdown", "scallop"):
        text = _quoted(text, name)
    text = text.replace("nut = 254.0, end = 300.0", 'nut = "254 mm", end = "300 mm"')
    (tmp_path / "art.svg").write_text(small_board.ART)
    (tmp_path / "job.toml").write_text(text.replace("at = [45.0, 0.0]", "at = [1.8, 0.0]"))
    job = pathgen.load_job(tmp_path / "job.toml")
    assert job.resurface is not None
    assert job.resurface.blend / 25.4 == pytest.approx(0.2)
    assert job.resurface.stepdown / 25.4 == pytest.approx(0.02)
    assert job.inlays[0].overfill == pytest.approx(0.7)


@pytest.mark.parametrize("units", ["mm", "in"])
def test_what_dots_stand_proud_by_is_one_layer(units: str) -> None:
    """In inches they stand 0.508 mm proud: layers of 0.5 mm would go twice over the whole board."""
    overfill, stepdown = (
        in_mm(next(one.metadata["inch"] if units == "in" else one.default
                   for one in dataclasses.fields(table) if one.name == name), units)
        for table, name in ((Dots, "overfill"), (ResurfaceTable, "stepdown")))
    assert heights_above(overfill, stepdown, ridge=0.01) == []


def _quoted(text: str, name: str) -> str:
    return "\n".join(f'{name} = "{line.split("=")[1].strip()} mm"' if line.startswith(f"{name} =") else line
                     for line in text.split("\n"))


def test_the_list_of_keys_has_both() -> None:
    rows = {(row.table, row.key): row.default for row in key_rows()}
    assert rows["[setup]", "feeler"] == "0.1 mm, or 0.004 in of a job in inches"
    assert rows["[outline]", "tab_width"] == "6 mm, or 0.25 in of a job in inches"


def test_a_small_limit_is_not_shown_as_none(tmp_path: Path) -> None:
    (tmp_path / "board.toml").write_text(INCHES.read_text().replace("scallop = ", "scallop = 0.0000001 # ", 1))
    with pytest.raises(pathgen.JobError, match=r"scallop: 1e-07 given \(allowed: 0\.00002 in to 0\.0394 in\)"):
        pathgen.load_job(tmp_path / "board.toml")


OWN_DEFAULTS = {("NutBlankTable", "thickness"), ("NutBlankTable", "overhang")}
"""A saddle's are not a nut's."""


def test_a_table_and_the_values_that_it_is_read_into_have_the_same_defaults():
    other, alike = set(), 0
    for module in pkgutil.iter_modules(pathgen.job.__path__, "pathgen.job."):
        for table in vars(importlib.import_module(module.name)).values():
            for values in getattr(table, "__bases__", ()) if dataclasses.is_dataclass(table) else ():
                own = {f.name: f.default for f in dataclasses.fields(table)}
                given = [f for f in dataclasses.fields(values) if f.default is not dataclasses.MISSING] \
                    if dataclasses.is_dataclass(values) else []
                other |= {(table.__name__, f.name) for f in given if own[f.name] != f.default}
                alike += len(given)
    assert other == OWN_DEFAULTS
    assert alike > 40


def test_ridges_in_millimetres_are_asked_after(tmp_path: Path) -> None:
    path = tmp_path / "board.toml"
    path.write_text(INCHES.read_text().replace("scallop = ", "scallop = 0.02 # ", 1))
    job = pathgen.load_job(path)
    one, = (doubt for doubt in doubts_of(job, clamping_of(job)) if doubt.where == "[surface] scallop")
    assert one.remedy.startswith('if mm are meant, write "0.02 mm"; else')


def test_other_millimetres_in_a_job_in_inches_are_asked_after(tmp_path: Path) -> None:
    """They were told a tenth of the clamp's height, thin layers alone, and another place alone."""
    (tmp_path / "art.svg").write_text(small_board.ART)
    inlay = '[[inlay]]\nartwork = "art.svg"\ndepth = 0.05\ncutters = ["flat 1/4"]\nfill = "none"\n'
    place = "place = { at = [60, 1] }\n[nut]"
    clamp = "keep_out = [{along = [-0.9, -0.6], across = [-1.5, 1.5], height = 18}]\n[machine]"

    def job(old: str, new: str) -> pathgen.Job:
        path = tmp_path / "board.toml"
        assert old in INCHES.read_text()
        path.write_text(INCHES.read_text().replace(old, new, 1))
        return pathgen.load_job(path)

    high = job("[machine]", clamp)
    one, = (doubt for doubt in doubts_of(high, clamping_of(high)) if "high" in doubt.problem)
    assert 'is "18 mm" meant?' in one.remedy
    one, = layer_findings(clamping_of(job("stepdown = 0.08", "stepdown = 1.5")))
    assert one.remedy.startswith('if mm are meant, write stepdown = "1.5 mm"; else write stepdown = 0.1')
    with pytest.raises(JobError, match="lies off the board") as wrong:
        clamping_of(job("[nut]", inlay + place))
    assert wrong.value.remedy.startswith('if mm are meant, write at = ["60 mm", "1 mm"]; else make at = [')


@pytest.mark.parametrize(("extra", "wrong", "right", "limit"), [
    ('[outline]\ncutter = "flat"\ntab_height = "{}"\n', "0.01 in", "0.02 in", "0.02 in or more"),
    ('[outline]\ncutter = "flat"\nthrough = "{}"\n', "0.08 in", "0.04 in", "up to 0.04 in"),
    ('[machine]\nclearance = "{}"\n', "0.05 in", "0.08 in", "0.08 in or more"),
    ('[marks]\ncutter = "ball"\ndepth = "{}"\n', "0.06 in", "0.183 mm", "up to 0.12 in wide"),
], ids=["tab", "through", "clearance", "mark"])
def test_limits_are_told_as_a_rule_measures_them_and_hold(tmp_path, extra, wrong, right, limit):
    """D: 0.04 in is a hair over 1 mm; 0.183 mm deep a ball of 12.7 leaves 3.03 mm. They had four digits: 0.0394 in."""
    for written, told in ((wrong, [f"{limit} (common practice)"]), (right, [])):
        job = pathgen.load_job(small_board.job(tmp_path, extra=extra.format(written)))
        doubts = doubts_of(dataclasses.replace(job, units="in"), clamping_of(job))
        assert [one.allowed for one in doubts if one.grave] == told
