"""Programs of every kind of work, spoilt a little and a lot: all that is found of them is held, word by word.

The boards of `test_verify` are spoilt in many more ways, each of which must be seen.
"""

import functools
import itertools
import re
from collections.abc import Callable

import pytest

from pathgen.verify import verify
from tests.as_made import found_row, hold_rows
from tests.random_jobs import COARSE, ending, random_job
from tests.random_plates import random_plate
from tests.random_workpieces import random_workpieces, workpieces_ending

CELL = 0.4  # mm
MADE: dict[str, Callable] = {
    "workpieces": lambda: (random_workpieces(116), workpieces_ending),
    "plate": lambda: (random_plate(9), ending),
    "board": lambda: (random_job(11, small=True), ending),
    "two inlays": lambda: (random_job(10, small=True), ending),
}


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    @functools.cache
    def builds_of(name):
        job, end = MADE[name]()
        builds: list = []
        end(job.write(tmp_path_factory.mktemp("work")).parent, resolution=COARSE, made=builds)
        return builds
    return builds_of


def changed(axis: str, by: Callable[[float, int], float], *, cuts: bool = False) -> Callable[[str], str]:
    """All words of some axes, as a function of their value and of how many there were before; of cuts alone."""
    def change(text: str) -> str:
        lines, count, cutting = [], itertools.count(), False
        for line in text.splitlines():
            cutting = "G0" not in line and (cutting or "G1" in line)
            if not line.startswith("(") and (cutting or not cuts):
                line = re.sub(rf"([{axis}])(-?[\d.]+)", lambda m: f"{m[1]}{by(float(m[2]), next(count)):.4f}", line)
            lines.append(line)
        return "\n".join(lines) + "\n"
    return change


def without_a_tenth(text: str) -> str:
    lines = text.splitlines()
    return "\n".join([*lines[: len(lines) * 5 // 10], *lines[len(lines) * 6 // 10 :]]) + "\n"


def with_rapids(text: str) -> str:
    """Every third time that it begins to cut."""
    count = itertools.count()
    return re.sub(r"^G1", lambda m: "G0" if next(count) % 3 == 2 else "G1", text, flags=re.M)


WAYS = {f"{axis} {by:+g}": changed(axis, lambda value, _, by=by: value + by, cuts=axis == "Z")
        for axis in "XYZ" for by in (-0.3, -0.012, 0.012, 0.3)}
WAYS |= {
    "feeds": changed("F", lambda value, _: value * 1.003),
    "slow": changed("F", lambda value, _: value / 9),
    "kinks down": changed("Z", lambda value, nth: value - 0.04 * (nth % 31 == 3), cuts=True),
    "kinks aside": changed("Y", lambda value, nth: value + 0.05 * (nth % 37 == 9), cuts=True),
    "larger": changed("XY", lambda value, _: value * 1.003), "a tenth left out": without_a_tenth,
    "rapids for cuts": with_rapids,
}


# each on two kinds of work in turn
@pytest.mark.in_every_run(2)
@pytest.mark.parametrize(("name", "way"), sorted(
    zip(itertools.cycle(sorted(MADE)), (way for way in WAYS for _ in range(2)), strict=False)))
def test_all_that_is_found_of_programs_that_were_spoilt(made, name, way):
    rows = []
    for number, build in enumerate(made(name)):
        texts = {program.file_name: WAYS[way](program.text) for program in build.programs}
        checked = verify(build.plan.clamping, texts, resolution=CELL, job_fingerprint=build.job.fingerprint)
        if way[0] in "YZ" and "0.3" in way:
            assert not checked.passed
        rows.append(f"{number} {found_row(checked.findings)}")
    hold_rows(f"spoilt {name}: {way}", rows)
