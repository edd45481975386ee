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
    "build": "pathgen.app.building",
    "Build": "pathgen.app.building",
    "check": "pathgen.app.building",
    "check_scallop": "pathgen.verify",
    "compare": "pathgen.app.choosing",
    "program": "pathgen.programs.write",
    "read_artwork": "pathgen.artwork",
    "Artwork": "pathgen.artwork",
    "fret_distances": "pathgen.parts.fingerboard.scale",
    "scallop_height": "pathgen.base.scallop",
    "stepover_for": "pathgen.base.scallop",
    "Surface": "pathgen.base.surface",
    "Cutter": "pathgen.base.cutters",
    "Toolpath": "pathgen.base.toolpath",
    "PathgenError": "pathgen.base.errors",
    "JobError": "pathgen.base.errors",
    "ArtworkError": "pathgen.base.errors",
    "CutterError": "pathgen.base.errors",
    "ProgramError": "pathgen.base.errors",
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
    "program",
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
    from pathgen.app.building import Build, build, check
    from pathgen.app.choosing import compare
    from pathgen.artwork import Artwork, read_artwork
    from pathgen.base.cutters import Cutter
    from pathgen.base.errors import ArtworkError, CutterError, JobError, PathgenError, ProgramError
    from pathgen.base.scallop import scallop_height, stepover_for
    from pathgen.base.surface import Surface
    from pathgen.base.toolpath import Toolpath
    from pathgen.job import Job, load_job
    from pathgen.parts.fingerboard.scale import fret_distances
    from pathgen.programs.write import program
    from pathgen.verify import check_scallop
