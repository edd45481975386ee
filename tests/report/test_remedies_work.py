"""A note or warning that names a value names one that works: it is written in, and nothing is said of it again."""

import re

import pytest

import pathgen
from tests.small_board import ART, JOB, svg

OUTLINE = '[outline]\ncutter = "flat"\ntabs = 2\n'
STEPPED = JOB.replace("radius = {", "end = { steps = [[0, 5], [6, 10]] }\nradius = {") + OUTLINE
THICK = JOB.replace("stepdown = 1.6", "stepdown = 0.4") + OUTLINE
SLOW = JOB.replace("feed = 1200.0\nplunge", "feed = 150.0\nplunge").replace("plunge = 300.0", "plunge = 100.0")
SLOWER = JOB.replace("feed = 1200.0\nplunge", "feed = 200.0\nplunge").replace("plunge = 300.0", "plunge = 100.0")
QUICK = JOB.replace("speed = 18000", "speed = 6000")
TWO = JOB.replace('artwork = "art.svg"', 'artwork = "two.svg"\ncolours = ["#225577"]').replace("[resin]", """[[inlay]]
artwork = "two.svg"
colours = ["#cc8833"]
depth = 1.5
cutters = ["flat"]
place = { at = [45.0, 0.0] }
[resin]""")
TOUCHING = svg("""<rect x="4" y="7" width="14" height="9" fill="#225577"/>
<rect x="18" y="7" width="12" height="9" fill="#cc8833"/>""")
FEED = r"feed = [\d.]+(?=\nplunge = \d+.0\nstepdown = 1.6)"
NECK = JOB.replace("[resin]", """[neck]
kind = "steel"
angle = 3.0
joint_fret = 4
fret_height = 1.2
action_12 = 2.0
[resin]""")
SPEED = r"(?<=diameter = 2.0\n)speed = \d+"


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize(("job", "code", "number", "where", "written"), [
    (STEPPED + "finish = 0.3\n", "last-lap-less", r"write finish = ([\d.]+)", r"finish = 0\.3", "finish = {}"),
    (THICK + "finish = 0.25\n", "last-lap-less", r"write finish = ([\d.]+)", r"finish = 0\.25", "finish = {}"),
    (TWO, "edge-to-edge", r"write lap = ([\d.]+)", r'colours = \["#225577"\]', 'colours = ["#225577"]\nlap = {}'),
    (NECK, "saddle-height", r"make angle ([\d.]+) degrees", r"angle = 3\.0", "angle = {}"),
    (SLOW, "feed-unusual", r"([\d.]+) to [\d.]+ mm per minute", FEED, "feed = {}"),
    (SLOW, "feed-unusual", r"to ([\d.]+) mm per minute", FEED, "feed = {}"),
    (SLOWER, "feed-unusual", r"speed to (\d+) to", SPEED, "speed = {}"),
    (SLOWER, "feed-unusual", r"speed to \d+ to (\d+) rpm", SPEED, "speed = {}"),
    (QUICK, "feed-unusual", r"([\d.]+) to [\d.]+ mm per minute", FEED, "feed = {}"),
    (QUICK, "feed-unusual", r"to ([\d.]+) mm per minute", FEED, "feed = {}"),
    (QUICK, "feed-unusual", r"speed to (\d+) to", SPEED, "speed = {}"),
    (QUICK, "feed-unusual", r"speed to \d+ to (\d+) rpm", SPEED, "speed = {}"),
])
def test_the_value_that_is_named_is_the_last_word(tmp_path, job, code, number, where, written):
    (tmp_path / "art.svg").write_text(ART)
    (tmp_path / "two.svg").write_text(TOUCHING)
    first = said(tmp_path, job, code)
    assert first
    named = re.search(number, first)
    assert named, first
    changed, count = re.subn(where, written.format(named[1]), job, count=1)
    assert count
    assert not said(tmp_path, changed, code), first


def said(folder, job: str, code: str) -> str:
    """What a job's build says under a code, of its 2 mm flat end where it is a cutter's."""
    (folder / "job.toml").write_text(job)
    found = pathgen.build(pathgen.load_job(folder / "job.toml")).report["checks"]["findings"]
    return "; ".join(f"{f['got']} {f['allowed']} {f['remedy']}" for f in found
                     if f["code"] == code and f["where"] != 'cutter "ball"')
