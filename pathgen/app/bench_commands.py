"""What the commands for blocks, gauges, nut and saddle do: build, show, write."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from pathgen.app.building import Build, build
from pathgen.app.folders import write_folder
from pathgen.app.pieces import pieces
from pathgen.app.terminal import say
from pathgen.base.errors import PathgenError
from pathgen.base.plain import one_line
from pathgen.base.units import format_length
from pathgen.job.bench import block_clamping, gauge_clampings
from pathgen.job.coupon import coupon_clamping
from pathgen.job.form import parts_of
from pathgen.job.job import Job
from pathgen.job.plates import plate_clampings
from pathgen.job.side_dots import side_dot_clamping
from pathgen.parts.coupon.part import Coupon
from pathgen.report.sheet.coupon import coupon_page
from pathgen.report.text import finding_lines, summary_lines


def cut_block(job: Job, folder: str, *, frets: tuple[int, int] | None, resolution: float) -> bool:
    """Build the hollow block and write it; True when verification let it."""
    made = build(job, clamping=block_clamping(job, frets), resolution=resolution)
    return _written([made], made.files(), job, folder)


def cut_gauges(job: Job, folder: str, *, resolution: float) -> bool:
    """Build every gauge and write them into one folder; True when verification let them."""
    made = [build(job, clamping=clamping, resolution=resolution) for clamping in gauge_clampings(job)]
    return _written(made, _together("gauge", made), job, folder)


def cut_nut(job: Job, folder: str, *, resolution: float) -> bool:
    """Build the blanks for nut and saddle and write them into one folder; True when verification let them."""
    made = [build(job, clamping=clamping, resolution=resolution) for clamping in plate_clampings(job)]
    return _written(made, made[0].files() if len(made) == 1 else _together("blank", made), job, folder)


def cut_side_dots(job: Job, folder: str, *, resolution: float) -> bool:
    """Build the program for the side dots and write it; True when verification let it."""
    made = build(job, clamping=side_dot_clamping(job), resolution=resolution)
    return _written([made], made.files(), job, folder)


def cut_coupon(job: Job, folder: str, *, resolution: float) -> bool:
    """Build the test piece and write it with the page that says how to read it; True when verification let it."""
    made = build(job, clamping=coupon_clamping(job), resolution=resolution)
    part = made.plan.clamping.board
    assert isinstance(part, Coupon)
    return _written([made], made.files() | {"coupon.html": coupon_page(made.plan, part, made.report)}, job, folder)


def cut_pieces(job: Job, folder: str, *, resolution: float) -> bool:
    """Make the programs for all let-in pieces and write them into one folder; True when verification let them."""
    cut = pieces(job, resolution=resolution)
    for one in cut:
        length, width, thick = (format_length(v, job.units) for v in (*one.let_in.size, one.let_in.thickness))
        say(one_line(f"{one.program.file_name}, stock {length} by {width}, {thick} thick"))
    made = [one.made for one in cut]
    return _written(made, made[0].files() if len(made) == 1 else _together("piece", made), job, folder)


def cut_halves(job: Job, folder: str, *, resolution: float, shaded: bool = True) -> bool:
    """Build both halves of a form and write them into one folder; True when verification let them."""
    made = [build(one, resolution=resolution) for one in parts_of(job)]
    files: dict[str, str] = {}
    for one in made:
        half = one.plan.clamping.kind.split(" ")[0]
        files |= {name if name.startswith(half) else f"{half}-{name}": text
                  for name, text in one.files(shaded=shaded).items()}
    return _written(made, files, job, folder)


CUTS: Mapping[str, Callable[..., bool]] = {
    "gauges": cut_gauges, "nut": cut_nut, "side-dots": cut_side_dots, "coupon": cut_coupon, "pieces": cut_pieces,
}
"""Each takes a job, a folder and `resolution`; by the name of its command."""


def _together(name: str, made: Sequence[Build]) -> dict[str, str]:
    """The files of several builds for one folder: what is not a program is numbered."""
    files: dict[str, str] = {}
    for number, one in enumerate(made, 1):
        programs = {program.file_name for program in one.programs}
        files |= {file if file in programs else f"{name}-{number}-{file}": text for file, text in one.files().items()}
    return files


def _written(made: Sequence[Build], files: dict[str, str], job: Job, folder: str) -> bool:
    for one in made:
        found = finding_lines(one.report["checks"], job.units)
        lines = [one.plan.clamping.title, *summary_lines(one.report, job.units), *found, ""]
        say("\n".join(one_line(line) for line in lines))
    if not all(one.passed for one in made):
        say("Nothing was written.", sys.stderr)
        return False
    say(f"{len(write_folder(Path(folder), files))} files written to {one_line(str(folder))}")
    return True


def fret_range(words: Sequence[str]) -> tuple[int, int]:
    """Two frets as written on the command line. Raises PathgenError for anything else."""
    try:
        first, last = (int(word) for word in words)
    except ValueError:
        raise PathgenError("--frets", " ".join(words), allowed="two whole numbers, 0 for the nut",
                           remedy="write, say, --frets 1 9") from None
    return first, last
