"""A kind of part of our own, a flat disc with a hole in it, gets programs, report and sheet by the protocol alone."""

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import shapely

from pathgen import JobError, build, load_job
from pathgen.base.surface import Surface
from pathgen.job.clamping import clamping_of
from pathgen.work.clamping import Clamping, Setup, Step, Stock, numbered
from pathgen.work.features import OutlineCut
from pathgen.work.operations import Outline
from pathgen.work.part import NO_LANDMARKS, Names, Place, wood_in_plan
from tests import small_board

EXAMPLE = Path(__file__).parents[2] / "examples" / "boards" / "drawn-outline.toml"


@dataclass(frozen=True, eq=False)
class Disc:
    radius: float
    names = Names(part="disc", holds="1 hole", start="the rim")
    min_web = 0.0
    landmarks = NO_LANDMARKS

    @property
    def surface(self):
        return Surface(thickness=6.0, radius_nut=np.inf, radius_end=np.inf, length=2 * self.radius)

    @property
    def outline(self):
        return shapely.Point(self.radius, 0.0).buffer(self.radius)

    finished = outline

    @property
    def openings(self):
        return (shapely.Point(self.radius, 0.0).buffer(self.radius / 2),)

    start = 0.0

    @property
    def length(self):
        return 2 * self.radius

    @property
    def ends(self):
        return np.array([[0.0, -1.0], [0.0, 1.0]]), np.array([[self.length, -1.0], [self.length, 1.0]])

    def places(self, stock):
        return {"middle": Place(at=(self.radius, 0.0), words="the middle of the disc")}

    def rows(self, clamping):
        return {"disc": {"radius": self.radius}}


def on_the_machine(job, **setup):
    step = Step(operation=Outline(OutlineCut()), cutter=job.cutter("flat 3", "disc"))
    return Clamping(
        title="Disc", units="mm", board=Disc(30.0),
        stock=Stock(length=80.0, width=80.0, thickness=6.0, margin_nut=10.0),
        setup=Setup(**setup), machine=job.machine, steps=numbered([step]),
    )


@pytest.fixture(scope="module")
def made():
    job = load_job(EXAMPLE)
    return build(job, clamping=on_the_machine(job), resolution=0.4)


def test_a_disc_is_cut_from_its_own_zero(made):
    assert made.verification.findings == ()
    assert made.report["disc"] == {"radius": 30.0}
    points = made.plan.clamping.to_machine(made.programs[0].toolpath.points)
    cut = points[1:-1][np.diff(points[:, 2])[1:] == 0]
    away = np.hypot(*cut[:, :2].T)  # the cutter's middle runs round it, in layers 0.2 mm off the wall and last along it
    assert away.max() == pytest.approx(31.7, abs=0.01)
    assert away.min() == pytest.approx(31.5, abs=0.05)  # chords of the disc
    assert "X 0 Y 0 is the middle of the disc - the length of the blank runs along X" in made.programs[0].text.replace(
        ")\n(.. ", " ")


def test_report_and_sheet_call_it_what_it_is(made):
    files = made.files()
    words = re.sub(r"<style.*?</style>|<[^>]+>", " ", files["setup.html"], flags=re.S)
    for said in ("The disc on the machine", "60 mm long, 1 hole", "standing out 10 mm before the rim", "near end"):
        assert said in words
    for word in ("nut face", "nut end", "fret", "bass", "strings"):
        assert word not in words.replace(made.job.title, "").lower(), word
    assert made.report["board"]["length"] == 60.0
    assert "bass_side" not in made.report["board"]
    assert made.report["frets"] == []


def test_what_is_open_is_no_wood(made):
    disc = made.plan.clamping.board
    assert wood_in_plan(disc).area == pytest.approx(disc.outline.area * 0.75)
    assert wood_in_plan(disc).covers(shapely.Point(50.0, 0.0))
    assert not wood_in_plan(disc).intersects(shapely.Point(30.0, 0.0))


def test_a_place_of_zero_that_a_part_does_not_have():
    with pytest.raises(JobError, match=r"nut-centre.*middle"):
        on_the_machine(load_job(EXAMPLE), zero="nut-centre").to_machine(np.zeros((1, 3)))


CLAMP = "[setup]\nkeep_out = [{ along = [-15.0, -4.0], across = [-33.0, 33.0], height = 20.0 }]\n"


@pytest.mark.parametrize(("changes", "extra", "highest"), [
    ({}, "", 8.0), ({"overfill = 0.7": "overfill = 5.0"}, "", 11.5),
    ({"overfill = 0.7": "overfill = 5.0"}, CLAMP, 20.0)])
def test_rapids_across_the_work_clear_the_highest_that_stands(tmp_path, changes, extra, highest):
    clamping = clamping_of(load_job(small_board.job(tmp_path, changes=changes, extra=extra)))
    assert clamping.safe_z == pytest.approx(highest + clamping.machine.clearance)
