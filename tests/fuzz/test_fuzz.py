"""Some hundreds of inputs of each kind; tens of thousands by ``python -m tests.fuzz``."""

from contextlib import suppress

import pytest

from tests.fuzz.run import KINDS, tried

COUNTS = {"drawings": 300, "jobs": 60, "programs": 8, "files": 150, "commands": 30}


@pytest.mark.in_every_run(3)
@pytest.mark.parametrize("kind", list(KINDS))
@pytest.mark.filterwarnings("error")
def test_no_input_is_a_fault(kind):
    assert list(tried(kind, range(COUNTS[kind]))) == []


def _never_ending(folder, chance):
    while True:
        with suppress(Exception):
            folder.exists()


def test_an_input_that_hangs_is_ended_and_told(monkeypatch):
    monkeypatch.setitem(KINDS, "drawings", _never_ending)
    assert [t.words for t in tried("drawings", range(2), slow=0.1)] == ["more than 0.1 s of the processor"] * 2
