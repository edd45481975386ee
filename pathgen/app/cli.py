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
        status, unwritten = BAD_INPUT, True
    except KeyboardInterrupt:
        status, unwritten = BAD_INPUT, not hasattr(options, "written")
        say(f"pathgen: stopped; {'nothing was' if unwritten else 'what was made is'} written", sys.stderr)
    except Exception as fault:
        if os.environ.get("PATHGEN_TRACE"):
            raise
        say(f" a fault of the program, not of your job: {type(fault).__name__}: {fault}: please report it with the job "
            "file; PATHGEN_TRACE=1 shows where", sys.stderr, mark="pathgen:", colour=RED)
        status, unwritten = BAD_INPUT, True
    if unwritten and "pathgen.app.earlier" in sys.modules:  # libraries that were half loaded do not load again
        _say_of_an_earlier_set(options)
    return status


def _say_of_an_earlier_set(options: argparse.Namespace) -> None:
    """Where nothing was written, programs that lie there already may not be those of this job as it is."""
    from pathgen.app.folders import RECORD

    out = getattr(options, "out", None)
    if out is not None and os.path.isfile(Path(out, RECORD)):
        from pathgen.app.earlier import not_of_this_job

        for line in not_of_this_job(Path(out), Path(options.job)):
            say(line, sys.stderr)
