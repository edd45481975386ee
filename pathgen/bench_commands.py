"""What the commands for tools of the bench do: build, show, write."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

from pathgen.bench import block_clamping, gauge_clampings
from pathgen.building import Build, build
from pathgen.errors import PathgenError
from pathgen.job.load import Job
from pathgen.report.text import finding_lines, summary_lines
from pathgen.writing import write_folder


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


def _written(made: Sequence[Build], files: dict[str, str], job: Job, folder: str) -> bool:
    for one in made:
        found = finding_lines(one.report["checks"], job.units)
        print("\n".join([one.plan.clamping.title, *summary_lines(one.report, job.units), *found, ""]))
    if not all(one.passed for one in made):
        print("Nothing was written.", file=sys.stderr)
        return False
    print(f"{len(write_folder(Path(folder), files))} files written to {folder}")
    return True


def fret_range(words: Sequence[str]) -> tuple[int, int]:
    """Two frets as written on the command line. Raises PathgenError for anything else."""
    try:
        first, last = (int(word) for word in words)
    except ValueError:
        raise PathgenError("--frets", " ".join(words), allowed="two whole numbers, 0 for the nut",
                           remedy="write, say, --frets 1 9") from None
    return first, last
