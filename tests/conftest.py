"""Property tests look at the same cases every time in CI, and at new ones at every run by hand.

Tests run at once are handed out in runs of one file, so that what a file builds for its tests is seldom built twice.
"""

import gc
import os
from typing import Any

import pytest
from hypothesis import settings

from pathgen.base.memory import Memory, remembering

settings.register_profile("ci", derandomize=True)
if os.environ.get("CI"):
    settings.load_profile("ci")


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
