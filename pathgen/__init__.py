"""CNC toolpaths for fretted fingerboards with inlay.

Names load when first used, so that ``import pathgen`` is quick.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

_HOMES = {
    "load_job": "pathgen.job",
    "Job": "pathgen.job",
    "build": "pathgen.building",
    "Build": "pathgen.building",
    "check": "pathgen.building",
    "check_scallop": "pathgen.verify",
    "compare": "pathgen.report.choosing",
    "read_artwork": "pathgen.artwork",
    "Artwork": "pathgen.artwork",
    "fret_distances": "pathgen.scale",
    "scallop_height": "pathgen.scallop",
    "stepover_for": "pathgen.scallop",
    "Surface": "pathgen.surface",
    "Cutter": "pathgen.cutters",
    "Toolpath": "pathgen.toolpath",
    "PathgenError": "pathgen.errors",
    "JobError": "pathgen.errors",
    "ArtworkError": "pathgen.errors",
    "CutterError": "pathgen.errors",
    "ProgramError": "pathgen.errors",
}

__all__ = [
    "Artwork",
    "ArtworkError",
    "Build",
    "Cutter",
    "CutterError",
    "Job",
    "JobError",
    "PathgenError",
    "ProgramError",
    "Surface",
    "Toolpath",
    "build",
    "check",
    "check_scallop",
    "compare",
    "fret_distances",
    "load_job",
    "read_artwork",
    "scallop_height",
    "stepover_for",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'pathgen' has no attribute {name!r}")
    value = getattr(import_module(_HOMES[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return [*globals(), *__all__]


if TYPE_CHECKING:
    from pathgen.artwork import Artwork, read_artwork
    from pathgen.building import Build, build, check
    from pathgen.cutters import Cutter
    from pathgen.errors import ArtworkError, CutterError, JobError, PathgenError, ProgramError
    from pathgen.job import Job, load_job
    from pathgen.report.choosing import compare
    from pathgen.scale import fret_distances
    from pathgen.scallop import scallop_height, stepover_for
    from pathgen.surface import Surface
    from pathgen.toolpath import Toolpath
    from pathgen.verify import check_scallop
