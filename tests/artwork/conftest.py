"""Drawings written down in the tests, read through the public door."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pathgen.artwork import Artwork, read_artwork

Read = Callable[..., Artwork]
OPEN = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'
PAGE = 'width="200mm" height="200mm" viewBox="0 0 200 200"'


def drawing(inside: str, page: str = PAGE) -> str:
    """A whole file round some elements; by default one user unit is one mm."""
    return f"{OPEN} {page}>{inside}</svg>"


@pytest.fixture
def read(tmp_path: Path) -> Read:
    """Reads a drawing from its elements (or from a whole file)."""

    def reader(inside: str | bytes, page: str = PAGE, **options: Any) -> Artwork:
        path = tmp_path / "drawing.svg"
        if isinstance(inside, str):
            whole = inside.startswith(("<?", "<!D", OPEN)) or not inside.startswith("<")
            inside = (inside if whole else drawing(inside, page)).encode()
        path.write_bytes(inside)
        return read_artwork(path, **options)

    return reader
