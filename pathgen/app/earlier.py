"""What a folder's earlier build had elsewhere: witness marks that may be in the wood already."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from pathgen.base.errors import PathgenError
from pathgen.base.files import read_text
from pathgen.base.limits import BUILT
from pathgen.base.plain import one_line
from pathgen.base.units import format_length
from pathgen.job.blank import parts_on_blank
from pathgen.job.job import Job
from pathgen.report.filltext import drilled_line

SAME = 0.2
"""Marks nearer than this are where they were, mm: written down as measured they lie a little off."""


def marks_moved(folder: Path, job: Job, report: dict[str, Any]) -> list[str]:
    """That the marks lie elsewhere than in the build before in `folder`, and what pins them; nothing where they do not.

    A line for each part of a blank whose marks do. Marks that the job says are drilled are where it says. `folder` is
    read as it is before this build is written there.
    """
    try:
        before = json.loads(read_text(folder / "report.json", BUILT))
        old = {name: marks for name, marks in _marks(before) if marks}
        lines = {name: drilled_line(marks, job.units) for name, marks in old.items()}
        places = {name: np.array(marks["machine"], dtype=float).reshape(-1, 2) for name, marks in old.items()}
    except (PathgenError, OSError, ValueError, TypeError, KeyError, AttributeError, RecursionError):
        return []
    jobs = dict(parts_on_blank(job)) if job.parts else {"": job}
    build = f"the build before this one in {one_line(str(folder))}"
    found = []
    for name, marks in _marks(report):
        table = jobs[name].marks
        if name not in old or (table is not None and table.drilled is not None):
            continue
        now = np.array(marks["machine"]) if marks else np.empty((0, 2))
        same = now.shape == places[name].shape
        off = float(np.abs(now - places[name]).max(initial=0.0)) if same else np.inf
        if off > SAME:
            how = f"up to {format_length(off, job.units, decimals=2)} from where {build} had them" if same else \
                f"not those of {build}"
            whose = f"{name}, " if name else ""
            found.append(f"{whose}[marks]: they are {how}. If its marks are drilled already, write into [marks], with "
                         f"the Z that you measured, and build again: {lines[name]}")
    return found


def _marks(report: dict[str, Any]) -> Iterator[tuple[str, Any]]:
    """(part, the report's key ``marks``) of each part of a blank; of a job of one part with no name."""
    if "parts" not in report:
        yield "", report["marks"]
    for part in report.get("parts", ()):
        yield part["name"], part["report"]["marks"]
