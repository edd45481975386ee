"""The limits of what is read: README names each."""

import re
from pathlib import Path

from pathgen.base import limits
from pathgen.base.files import Kind

README = (Path(__file__).parents[2] / "README.md").read_text()


def said(name: str) -> str:
    """A limit as README writes it."""
    value = getattr(limits, name)
    if isinstance(value, Kind) or name == "MOST_TOGETHER":
        return f"{getattr(value, 'most', value) / 1e6:g} MB"
    return f"{value / 1000:g} m" if name == "FURTHEST" else f"{value:,.0f}"


def test_readme_names_every_limit():
    section = README.partition("## What it refuses to read\n")[2].partition("\n## ")[0]
    names = [name for name in vars(limits) if name.isupper()]
    assert len(names) > 15
    words = " ".join(section.split())
    assert [name for name in names if not re.search(rf"(?<![\d,]){said(name)}(?!\w|,\d)", words)] == []
