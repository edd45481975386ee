"""Property tests look at the same cases every time in CI, and at new ones at every run by hand.

Tests run at once are handed out in runs of one file, so that what a file builds for its tests is seldom built twice.

Of a test marked `in_every_run(n)` only n of its cases are run, evenly apart; `pytest --every-case` runs them all,
and so does a run of files that are named.
"""

import gc
import os
from collections import defaultdict
from typing import Any

import pytest
from hypothesis import settings

from pathgen.base.memory import Memory, remembering

settings.register_profile("ci", derandomize=True)
if os.environ.get("CI"):
    settings.load_profile("ci")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--every-case", action="store_true", help="also the cases of long tests that are not in every run")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out most cases of long tests, unless all were asked for, or few by name or file."""
    if config.getoption("--every-case") or any(".py" in one for one in config.args):
        return
    cases: dict[tuple[str, int], list[pytest.Item]] = defaultdict(list)
    for item in items:
        if mark := item.get_closest_marker("in_every_run"):
            cases[item.nodeid.split("[")[0], *mark.args].append(item)
    left: set[pytest.Item] = set()
    for (_, most), same in cases.items():
        few = min(most, len(same))
        left |= set(same) - {same[k * len(same) // few] for k in range(few)}
    config.hook.pytest_deselected(items=list(left))
    items[:] = [item for item in items if item not in left]


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """`worksteal` where `-n` is given alone: a fifth less of the processor, measured on three files that build much."""
    from xdist.scheduler import WorkStealingScheduling

    return WorkStealingScheduling(config, log) if config.getvalue("dist") == "load" else None


def pytest_collection_finish() -> None:
    """What was imported and collected stays: nobody need look through it for garbage again and again."""
    gc.freeze()


@pytest.fixture(scope="session", autouse=True)
def kept():
    """What is planned and cut again of a job that an earlier test has built is taken from it, as `pathgen watch` does.

    `tests/app/test_remembering.py` compares that with fresh builds.
    """
    with remembering(Memory(200_000_000)):
        yield


@pytest.fixture(scope="module")
def afresh():
    """Everything is worked out anew."""
    with remembering(None):
        yield
