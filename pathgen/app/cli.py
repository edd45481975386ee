"""The command line: a command is run, and what goes wrong is said in plain words."""

from __future__ import annotations

import argparse
import gc
import os
import sys
import warnings
from collections.abc import Sequence
from pathlib import Path

from pathgen.app.arguments import parser
from pathgen.app.runs import BAD_INPUT, GOOD
from pathgen.app.terminal import RED, by_option, say
from pathgen.base.errors import PathgenError
from pathgen.base.plain import one_line
from pathgen.base.units import in_units

_COLLECT_EVERY = 50_000
"""Values made between two searches for circles of dead ones: every 700 they take a sixteenth of a large build."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command; returns the exit status: 0 good, 1 findings that forbid cutting, 2 bad input."""
    options = parser().parse_args(argv)
    gc.set_threshold(_COLLECT_EVERY)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")  # a terminal of few characters shows the others by number
    if not os.environ.get("PATHGEN_TRACE"):
        warnings.simplefilter("ignore")  # of the libraries: what a maker must know is said in our own words
    try:
        status = options.run(options) or GOOD
        unwritten = status != GOOD
    except PathgenError as wrong:
        from pathgen.job.load import units_of

        units = units_of(options.job) if hasattr(options, "job") else "mm"
        for line in by_option(wrong).lines:
            say(f" {in_units(line, units)}", sys.stderr, mark="pathgen:", colour=RED)
        status, unwritten = BAD_INPUT, not _holds_this_job(options)
    except KeyboardInterrupt:
        status, unwritten = BAD_INPUT, not hasattr(options, "written")
        say(f"pathgen: stopped; {'nothing was' if unwritten else 'what was made is'} written", sys.stderr)
    except Exception as fault:
        if os.environ.get("PATHGEN_TRACE"):
            raise
        say(f" a fault of the program, not of your job: {type(fault).__name__}: {fault}: please report it with the job "
            "file; PATHGEN_TRACE=1 shows where", sys.stderr, mark="pathgen:", colour=RED)
        status, unwritten = BAD_INPUT, True
    if unwritten:
        _say_of_an_earlier_set(options)
    return status


def _say_of_an_earlier_set(options: argparse.Namespace) -> None:
    """Where nothing was written, programs that lie there already are not those of this job as it is."""
    from pathgen.app.folders import RECORD

    out = getattr(options, "out", None)
    if out is not None and os.path.isfile(Path(out, RECORD)):
        from pathgen.app.earlier import is_titled
        from pathgen.app.folders import was_of_another
        from pathgen.job.load import title_of

        folder, job = Path(out), Path(options.job)
        another = was_of_another(folder, job) and not is_titled(folder, title_of(job))
        whose = "another job: do not cut them for this one" if another else \
            "an earlier build of this job: do not cut them for the job as it is now"
        say(f"The programs in {one_line(out)} are of {whose}.", sys.stderr)


def _holds_this_job(options: argparse.Namespace) -> bool:
    """Whether the programs where nothing was written state this very job, as where one of them was changed by hand."""
    from pathgen.app.folders import read_folder
    from pathgen.job import load_job

    try:
        mark = f"(job fingerprint: {load_job(options.job).fingerprint})"
        texts = read_folder(Path(options.out))
    except (PathgenError, OSError, AttributeError):
        return False
    return bool(texts) and all(mark in text for text in texts.values())
