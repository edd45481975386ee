"""`pathgen watch` keeps what did not change: whatever is edited, it gives to the letter what a fresh build gives."""

from pathlib import Path

import pytest

import pathgen
from pathgen.app import watching
from pathgen.base.memory import Memory, memory_in_use, remembering
from pathgen.removal.material import Material
from tests import small_board

RESOLUTION = 0.5
pytestmark = pytest.mark.usefixtures("afresh")
SHORT = {"scale_length = 300.0": "scale_length = 190.0", "length = 125.0": "length = 90.0",
         "at = [45.0, 0.0]": "at = [26.0, 0.0]"}
ONE_COLOUR = {"depth = 1.5": 'colours = ["#225577"]\ndepth = 1.5'} | SHORT
MORE = small_board.SLOT_CUTTER + """
[slots]
cutter = "slot"
width = 0.6
depth = 2.0
[outline]
cutter = "flat"
tabs = 4
tab_height = 1.5
tab_width = 6.0
[[inlay]]
artwork = "art.svg"
colours = ["#cc8833"]
depth = 1.2
cutters = ["flat"]
place = { at = [26.0, 0.0] }
"""
EDITS = {
    "title": ('units = "mm"', 'title = "Another"\nunits = "mm"'),
    "tabs": ("tabs = 4", "tabs = 6"),
    "depth of the slots": ("depth = 2.0", "depth = 2.1"),
    "depth of the first inlay": ("depth = 1.5", "depth = 1.45"),
    "depth of the second inlay": ("depth = 1.2", "depth = 1.25"),
    "place": ("at = [26.0, 0.0]", "at = [25.9, 0.0]"),
    "overfill": ("overfill = 0.7", "overfill = 0.8"),
    "radius": ("nut = 254.0", "nut = 260.0"),
    "thickness": ("thickness = 6.5", "thickness = 6.6"),
    "stock": ("length = 90.0", "length = 91.0"),
    "frets": ("frets = 5", "frets = 4"),
    "cutter": ("diameter = 2.0", "diameter = 1.9"),
    "second cut": ("[slots]", "[resurface]\nskim = 0.05\n[slots]"),
    "left proud": ("scallop = 0.05", "scallop = 0.05\nleave = 0.2"),
    "wood": ("[stock]", 'wood_colour = "#553311"\n[stock]'),
    "clearance": ("[slots]", "[machine]\nclearance = 9.0\n[slots]"),
    "zero": ("[slots]", '[setup]\nz_zero = "stock-top"\n[slots]'),
}


class Page:
    """In the place of the one that is served."""

    def look_again(self):
        self.placing = None

    def show_placing(self, picture):
        self.placing = picture

    def show_build(self, page, warnings):
        self.built, self.warnings = page, warnings

    def busy(self, words):
        self.words = words

    def wrong(self, words):
        raise AssertionError(words)


@pytest.fixture(scope="module")
def watched(tmp_path_factory):
    """A job that was built by watch once, and again whenever it is asked."""
    folder = tmp_path_factory.mktemp("watched")
    job = small_board.job(folder, changes=ONE_COLOUR, extra=MORE)
    watch = watching._Watch(job, folder / "out", page=Page(), resolution=RESOLUTION)
    watch._build(watch._stamp())
    return job, watch


def _same_as_fresh(job: Path, watch: watching._Watch) -> None:
    watch._build(watch._stamp())
    fresh = pathgen.build(pathgen.load_job(job), resolution=RESOLUTION).files()
    assert memory_in_use() is None
    written = {name: (job.parent / "out" / name).read_text() for name in fresh}
    assert [name for name in fresh if written[name] != fresh[name]] == []
    assert {"report.json", "setup.html"} <= fresh.keys()


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("edit", EDITS)
def test_an_edit_gives_what_a_fresh_build_gives(watched, edit):
    job, watch = watched
    text = job.read_text()
    old, new = EDITS[edit]
    assert old in text
    try:
        job.write_text(text.replace(old, new, 1))
        _same_as_fresh(job, watch)
    finally:
        job.write_text(text)


@pytest.mark.in_every_run(0)
def test_so_does_a_drawing_that_is_drawn_anew(watched):
    job, watch = watched
    drawing = job.with_name("art.svg")
    text = drawing.read_text()
    drawing.write_text(text.replace('r="8"', 'r="7.9"'))
    _same_as_fresh(job, watch)
    drawing.write_text(text)
    _same_as_fresh(job, watch)


def _cuts_of(monkeypatch):
    """A list that grows with each program that is cut in simulation from now on."""
    cuts, cut = [], Material.cut

    def counted(self, motion, cutter, noting):
        cuts.extend([noting] if noting is not None else [])
        return cut(self, motion, cutter, noting)

    monkeypatch.setattr(Material, "cut", counted)
    return cuts


@pytest.mark.in_every_run(0)
@pytest.mark.parametrize(("edit", "programs"), [
    ("tabs", 1), ("depth of the slots", 2), ("depth of the first inlay", 1),
])
def test_only_what_meets_other_heights_is_cut_in_simulation_again(watched, monkeypatch, edit, programs):
    """A deeper pocket, filled, stands as high as a shallow one: nothing after it is cut again."""
    job, watch = watched
    text = job.read_text()
    watch._build(watch._stamp())
    cuts = _cuts_of(monkeypatch)
    watch._build(watch._stamp())
    assert cuts == []
    try:
        old, new = EDITS[edit]
        job.write_text(text.replace(old, new.replace("6", "5").replace("2.1", "2.2").replace("1.45", "1.4")))
        watch._build(watch._stamp())
        assert len(cuts) == programs
    finally:
        job.write_text(text)


@pytest.mark.in_every_run(0)
def test_what_was_built_last_is_known_after_many_other_builds(watched, monkeypatch):
    """The outline is the same program over slots of as many depths: the answer of the last is the one that is kept."""
    job, watch = watched
    text = job.read_text()
    old, _ = EDITS["depth of the slots"]
    try:
        for depth in (1.5, 1.6, 1.7, 1.8, 1.9, 2.1):
            job.write_text(text.replace(old, f"{old.split(' = ')[0]} = {depth}"))
            watch._build(watch._stamp())
        cuts = _cuts_of(monkeypatch)
        watch._build(watch._stamp())
        assert cuts == []
    finally:
        job.write_text(text)


@pytest.mark.in_every_run(0)
def test_a_memory_that_is_too_small_changes_nothing(tmp_path):
    job, small = pathgen.load_job(small_board.job(tmp_path)), Memory(200_000)
    fresh = pathgen.build(job, resolution=RESOLUTION).files()
    with remembering(small):
        assert [pathgen.build(job, resolution=RESOLUTION).files() == fresh for _ in range(2)] == [True, True]
    assert 0 < small.size <= small.most
