"""What the commands for blocks and gauges do: build, show, write."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

from pathgen.app.building import Build, build
from pathgen.app.folders import write_folder
from pathgen.app.pieces import pieces
from pathgen.app.terminal import say
from pathgen.base.errors import PathgenError
from pathgen.base.plain import one_line
from pathgen.base.units import format_length, in_units
from pathgen.job.bench import block_clamping, gauge_clampings
from pathgen.job.job import Job
from pathgen.report.text import finding_lines, summary_lines


def cut_block(job: Job, folder: str, *, frets: tuple[int, int] | None, resolution: float) -> bool:
    """Build the hollow block and write it; True when verification let it."""
    made = build(job, clamping=block_clamping(job, frets), resolution=resolution)
    return _written([made], made.files(), job, folder)


def cut_gauges(job: Job, folder: str, *, resolution: float) -> bool:
    """Build every gauge and write them into one folder; True when verification let them."""
    made = [build(job, clamping=clamping, resolution=resolution) for clamping in gauge_clampings(job)]
    files: dict[str, str] = {}
    for number, gauge in enumerate(made, 1):
        programs = {program.file_name for program in gauge.programs}
        files |= {name if name in programs else f"gauge-{number}-{name}": text for name, text in gauge.files().items()}
    return _written(made, files, job, folder)


def cut_pieces(job: Job, folder: str, *, resolution: float) -> bool:
    """Make the programs for all let-in pieces and write them into one folder; True when verification let them."""
    made = pieces(job, resolution=resolution)
    for one in made:
        length, width, thick = (format_length(v, job.units) for v in (*one.let_in.size, one.let_in.thickness))
        say(f"{one_line(one.clamping.title)}: {one.program.file_name}, stock {length} by {width}, {thick} thick, "
              f"{max(1, round(one.program.minutes))} min")
        for finding in one.findings:
            grave = "DO NOT CUT" if finding.severity == "forbid" else finding.severity
            say(f"  {grave}: {in_units(str(finding), job.units)}")
    if not all(one.passed for one in made):
        say("Nothing was written.", sys.stderr)
        return False
    files = {one.program.file_name: one.program.text for one in made}
    say(f"{len(write_folder(Path(folder), files))} files written to {one_line(str(folder))}")
    return True


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
