"""Some hundreds of inputs of each kind; tens of thousands by ``python -m tests.fuzz``."""

from __future__ import annotations

import pytest

from tests.fuzz.run import KINDS, tried

COUNTS = {"drawings": 400, "jobs": 300, "programs": 40, "files": 200}


@pytest.mark.parametrize("kind", list(KINDS))
@pytest.mark.filterwarnings("ignore")
def test_no_input_is_a_fault(kind):
    assert list(tried(kind, range(COUNTS[kind]))) == []
