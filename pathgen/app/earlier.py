"""What a folder's earlier build had elsewhere: witness marks that may be in the wood already."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np

from pathgen.base.errors import PathgenError
from pathgen.base.files import read_text
from pathgen.base.limits import BUILT
from pathgen.base.plain import one_line
from pathgen.base.units import format_length
from pathgen.report.filltext import drilled_line

SAME = 0.2
"""Marks nearer than this are where they were, mm: written down as measured they lie a little off."""


def marks_moved(folder: Path, report: dict[str, Any], units: str) -> list[str]:
    """That the marks lie elsewhere than in the build before in `folder`, and what pins them; nothing where they do not.

    `folder` is read as it is before this build is written there.
    """
    try:
        before = json.loads(read_text(folder / "report.json", BUILT))["marks"]
        old = np.array(before["machine"], dtype=float).reshape(-1, 2)
        line = drilled_line(before, units)
    except (PathgenError, OSError, ValueError, TypeError, KeyError, RecursionError):
        return []
    now = np.array(report["marks"]["machine"]) if report["marks"] else np.empty((0, 2))
    off = float(np.abs(now - old).max(initial=0.0)) if now.shape == old.shape else np.inf
    if off <= SAME:
        return []
    build = f"the build before this one in {one_line(str(folder))}"
    how = f"up to {format_length(off, units, decimals=2)} from where {build} had them" if np.isfinite(off) else \
        f"not those of {build}"
    return [f"warning: [marks]: they are {how}. If its marks are drilled already, write into [marks], with the Z that "
            f"you measured, and build again: {line}"]
