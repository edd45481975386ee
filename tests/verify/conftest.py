"""Spoilt programs differ from good ones in one: what the cuts before it left is kept from test to test of a file."""

import pytest

from pathgen.base.memory import Memory, remembering


@pytest.fixture(scope="module", autouse=True)
def kept():
    """As `pathgen watch` keeps it; `tests/app/test_remembering.py` compares that with fresh runs."""
    with remembering(Memory(100_000_000)):
        yield
