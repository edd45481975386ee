"""CNC toolpaths, one step at a time or a whole fretted fingerboard at once. All lengths are mm.

One step at a time, each alone (`help(pathgen.pocket)` has an example that runs):

=================  ===============================================================================================
a surface          `flat(6.0)`, `radiused(thickness=6.0, start=254.0, end=406.4, length=470.0)`: a `Surface`
a drawing          `read_artwork("fern.svg")`: an `Artwork` of `Region`, shapely polygons by colour, and what is
                   `LeftOut`; `placed` puts it somewhere
a cutter           `Cutter(name=.., shape="ball-end", diameter=.., speed=.., feed=.., plunge=.., stepdown=..)`
a path             `pocket`, `rough`, `finish`, `second_cut`, `slots`, `outline`: a `Toolpath` of `Move` each, as a
                   `Cut`, `PocketCut`, `FinishCut` or `OutlineCut` that says more of it; `join` them
a program          `program(path)`: the text for the machine, plain RS274/NGC; a `Machine` may take arcs
a blank            `Blank(x=(-5, 475), y=(-35, 35), thickness=8.0)`: what stands on the bed before
any program        `read_program(text)`: a `ReadProgram`, its `ReadMove`, or the line that is not understood
what it leaves     `simulate(blank, programs, cutters)`: a `HeightField`, and what each program `Took`;
                   `compare_heights` with a surface or another: a `Difference`
ridges             `ridges(text, cutter=ball, top=top).highest`, whichever way its passes run: a `ScallopCheck`;
                   `scallop_height` and `stepover_for` by the formula
all of it          `check_program(text, cutter=.., top=.., blank=..).findings`: a `ProgramCheck`; rapids, cuts too
                   deep, spindle, a `Finding` each
=================  ===============================================================================================

A program's text may be a `Path` of its file too. Every value shows itself in a notebook. Those that hold arrays or
shapes, paths, fields and checks among them, equal only themselves: compare what they hold.

A whole board: `build(load_job("board.toml")).write("out")`: of a `Job` a `Build`, with a `Program` for each step and
their `Verification`, as `check` gives it of a folder; `compare` of finishing cutters: `Choices`, a `Choice` each;
`build_blank` for a job of several parts on one blank: a `BlankBuild`; `fret_distances` of a scale.

The frame: x along the work, y across with the radius's centre-line at 0, z up from the underside. Errors are
`PathgenError` (`JobError`, `ArtworkError`, `CutterError`, `ProgramError`): where, what was given, what is allowed, what
to do. Names load when first used.
"""

from __future__ import annotations

from importlib import import_module

TYPE_CHECKING = False  # type checkers take it for true; the module that has it takes most of the time of an import

__version__ = "0.1.0"

_NAMES = {
    "pathgen.app.blank": ("BlankBuild", "build_blank"),
    "pathgen.app.building": ("Build", "build", "check"),
    "pathgen.app.choosing": ("Choice", "Choices", "compare"),
    "pathgen.artwork": ("Artwork", "LeftOut", "Region", "read_artwork"),
    "pathgen.artwork.place": ("placed",),
    "pathgen.base.cutters": ("Cutter",),
    "pathgen.base.errors": ("ArtworkError", "CutterError", "JobError", "PathgenError", "ProgramError"),
    "pathgen.base.scallop": ("scallop_height", "stepover_for"),
    "pathgen.base.surface": ("Surface",),
    "pathgen.base.toolpath": ("Move", "Toolpath"),
    "pathgen.base.tops": ("flat", "radiused"),
    "pathgen.job": ("Job", "load_job"),
    "pathgen.parts.fingerboard.scale": ("fret_distances",),
    "pathgen.programs.write": ("program",),
    "pathgen.report.programs": ("Program",),
    "pathgen.strategies.cuts": ("finish", "outline", "pocket", "rough", "second_cut", "slots"),
    "pathgen.strategies.one_cut": ("Cut", "FinishCut", "OutlineCut", "PocketCut", "join"),
    "pathgen.verify.check": ("Verification",),
    "pathgen.verify.findings": ("Finding",),
    "pathgen.verify.heights": ("Blank", "Difference", "HeightField", "Took", "compare_heights"),
    "pathgen.verify.one_program": ("ProgramCheck", "check_program"),
    "pathgen.verify.over_blank": ("simulate",),
    "pathgen.verify.program": ("ReadMove", "ReadProgram"),
    "pathgen.verify.read": ("read_program",),
    "pathgen.verify.scallops": ("ScallopCheck", "ridges"),
    "pathgen.work.clamping": ("Machine",),
}
_HOMES = {name: home for home, names in _NAMES.items() for name in names}

__all__ = [
    "Artwork", "ArtworkError", "Blank", "BlankBuild", "Build", "Choice", "Choices", "Cut", "Cutter", "CutterError",
    "Difference", "Finding", "FinishCut", "HeightField", "Job", "JobError", "LeftOut", "Machine", "Move",
    "OutlineCut", "PathgenError", "PocketCut", "Program", "ProgramCheck", "ProgramError", "ReadMove", "ReadProgram",
    "Region", "ScallopCheck", "Surface", "Took", "Toolpath", "Verification", "build", "build_blank", "check",
    "check_program", "compare", "compare_heights", "finish", "flat", "fret_distances", "join", "load_job",
    "outline", "placed", "pocket", "program", "radiused", "read_artwork", "read_program", "ridges", "rough",
    "scallop_height", "second_cut", "simulate", "slots", "stepover_for",
]


def __getattr__(name: str) -> object:
    if name not in _HOMES:
        raise AttributeError(f"module 'pathgen' has no attribute {name!r}")
    value = getattr(import_module(_HOMES[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({"__all__", "__doc__", "__file__", "__name__", "__path__", "__version__", *__all__})


if TYPE_CHECKING:
    from pathgen.app.blank import BlankBuild, build_blank
    from pathgen.app.building import Build, build, check
    from pathgen.app.choosing import Choice, Choices, compare
    from pathgen.artwork import Artwork, LeftOut, Region, read_artwork
    from pathgen.artwork.place import placed
    from pathgen.base.cutters import Cutter
    from pathgen.base.errors import ArtworkError, CutterError, JobError, PathgenError, ProgramError
    from pathgen.base.scallop import scallop_height, stepover_for
    from pathgen.base.surface import Surface
    from pathgen.base.toolpath import Move, Toolpath
    from pathgen.base.tops import flat, radiused
    from pathgen.job import Job, load_job
    from pathgen.parts.fingerboard.scale import fret_distances
    from pathgen.programs.write import program
    from pathgen.report.programs import Program
    from pathgen.strategies.cuts import finish, outline, pocket, rough, second_cut, slots
    from pathgen.strategies.one_cut import Cut, FinishCut, OutlineCut, PocketCut, join
    from pathgen.verify.check import Verification
    from pathgen.verify.findings import Finding
    from pathgen.verify.heights import Blank, Difference, HeightField, Took, compare_heights
    from pathgen.verify.one_program import ProgramCheck, check_program
    from pathgen.verify.over_blank import simulate
    from pathgen.verify.program import ReadMove, ReadProgram
    from pathgen.verify.read import read_program
    from pathgen.verify.scallops import ScallopCheck, ridges
    from pathgen.work.clamping import Machine
