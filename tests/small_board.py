"""A short board with a small drawing, quick to build, for tests that change one thing at a time."""

import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np

import pathgen


def svg(inside: str, wide: float = 40, high: float = 30, *, corner: str = "0 0", more: str = "") -> str:
    """A drawing of so many mm, in mm from its `corner`; `more` are attributes of the whole."""
    page = f'width="{wide}mm" height="{high}mm" viewBox="{corner} {wide} {high}"'
    return f'<svg xmlns="http://www.w3.org/2000/svg" {page} {more}>{inside}</svg>'


def cutter(**keys: str | float) -> str:
    """A cutter's table in a job file."""
    return "[[cutter]]\n" + "".join(f"{key} = {json.dumps(value)}\n" for key, value in keys.items())


JOB = """
units = "mm"
[board]
scale_length = 300.0
frets = 5
nut_width = 40.0
end_width = 46.0
thickness = 6.5
radius = { nut = 254.0, end = 300.0 }
[stock]
length = 125.0
width = 66.0
thickness = 8.0
margin_nut = 20.0
[[cutter]]
name = "ball"
shape = "ball-end"
diameter = 12.7
speed = 16000
feed = 2400.0
plunge = 600.0
stepdown = 3.0
[[cutter]]
name = "flat"
shape = "flat-end"
diameter = 2.0
speed = 18000
feed = 1200.0
plunge = 300.0
stepdown = 1.6
[surface]
finish = "ball"
scallop = 0.05
[[inlay]]
artwork = "art.svg"
depth = 1.5
cutters = ["flat"]
overfill = 0.7
place = { at = [45.0, 0.0] }
[resin]
density = 1.12
mix = { resin = 100, hardener = 45 }
mix_by = "mass"
waste = 0.25
"""
ART = svg("""<circle cx="12" cy="15" r="8" fill="#225577"/>
<rect x="24" y="7" width="12" height="9" fill="#cc8833"/>""")

DOTTED = Path(__file__).parents[1] / "examples" / "boards" / "dots-and-fall-away.toml"

SLOT_CUTTER = cutter(name="slot", shape="flat-end", diameter=0.6, speed=18000, feed=400.0, plunge=100.0, stepdown=0.5)
SLOTS = SLOT_CUTTER + """[slots]
cutter = "slot"
width = 0.6
depth = 1.8
"""


def job(folder: Path, *, changes: dict[str, str] | None = None, extra: str = "", art: str = ART) -> Path:
    """Writes the drawing and a job, with some of its text changed and more at its end; gives the job's path."""
    text = JOB
    for old, new in (changes or {}).items():
        assert old in text, old
        text = text.replace(old, new)
    (folder / "art.svg").write_text(art)
    (folder / "job.toml").write_text(text + extra)
    return folder / "job.toml"


def built(folder: Path, *, resolution: float = 0.1, **changed) -> pathgen.Build:
    """The build of such a job."""
    return pathgen.build(pathgen.load_job(job(folder, **changed)), resolution=resolution)


def text_of(result: pathgen.Build, operation: str, nth: int = 0) -> str:
    """The text of a program."""
    return [p.text for p in result.programs if p.operation == operation][nth]


def moves_and_feeds(text: str) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """(n, 3) starts, (n, 3) ends, (n,) rapid or not, (n,) feeds, of a plain program: the tests' own reader."""
    at, rapid, feed, points, kinds = [np.nan] * 3, True, 0.0, [], []
    for line in text.splitlines():
        words = re.findall(r"([A-Z])(-?[\d.]+)", re.sub(r"\(.*\)", "", line))
        for letter, number in words:
            if letter == "G" and number in ("0", "1"):
                rapid = number == "0"
            elif letter == "F":
                feed = float(number)
            elif letter in "XYZ":
                at["XYZ".index(letter)] = float(number)
        if any(letter in "XYZ" for letter, _ in words):
            points.append(tuple(at))
            kinds.append((rapid, feed))
    all_points, (rapids, feeds) = np.array(points), np.array(kinds[1:]).T
    return all_points[:-1], all_points[1:], rapids.astype(bool), feeds


def moves(text: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(n, 3) starts, (n, 3) ends, (n,) rapid or not."""
    return moves_and_feeds(text)[:3]


def left_by_ball(text: str, x: float, ys: np.ndarray, *, radius: float, shift=(0.0, 0.0, 0.0)) -> np.ndarray:
    """Heights that the feed moves of a program leave at the points (x, ys), by sampling them densely."""
    start, end, rapid = moves(text)
    start, end = start[~rapid] + shift, end[~rapid] + shift
    near = (np.minimum(start[:, 0], end[:, 0]) < x + 0.6) & (np.maximum(start[:, 0], end[:, 0]) > x - 0.6)
    left = np.full(len(ys), np.inf)
    for a, b in zip(start[near], end[near], strict=True):
        # only the part of the move within reach of the section
        count = max(2, int(np.ceil(np.linalg.norm(b - a) / 0.02)))
        points = a + np.linspace(0, 1, count)[:, None] * (b - a)
        for px, py, pz in points[np.abs(points[:, 0] - x) < 0.3]:
            rows = slice(*np.searchsorted(ys, [py - 3.0, py + 3.0]))
            d2 = (ys[rows] - py) ** 2 + (px - x) ** 2
            left[rows] = np.minimum(left[rows], pz + radius - np.sqrt(radius**2 - d2))
    return left


def changed(clamping, kind, **changes):
    """The clamping with other values in the feature of each operation of a kind."""
    return replace(clamping, steps=tuple(
        replace(step, operation=replace(step.operation, feature=replace(step.operation.feature, **changes)))
        if type(step.operation) is kind else step for step in clamping.steps
    ))


def dotted_job(folder: Path, *changes: tuple[str, str]) -> pathgen.Job:
    """The job of the example with dots and a fall-away, some of its text changed, in a folder of its own."""
    text = DOTTED.read_text()
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    (folder / "board.toml").write_text(text)
    return pathgen.load_job(folder / "board.toml")
