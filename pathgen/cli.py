"""The command line: one command for each question."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence

from pathgen.errors import PathgenError

GOOD, FORBIDDEN, BAD_INPUT = 0, 1, 2


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command; returns the exit status: 0 good, 1 findings that forbid cutting, 2 bad input."""
    options = _parser().parse_args(argv)
    try:
        return int(options.run(options))
    except PathgenError as wrong:
        print(f"pathgen: {wrong}", file=sys.stderr)
        return BAD_INPUT
    except BrokenPipeError:
        sys.stderr.close()
        return GOOD


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="pathgen", description="CNC toolpaths for fretted fingerboards with inlay.",
        epilog="example: pathgen build examples/fern-and-moth.toml --out out/",
    )
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    build = _command(commands, "build", _build, "plan a job and write its verified programs and report")
    build.add_argument("--out", required=True, metavar="DIR", help="folder to write; made, or replaced if ours")
    build.add_argument("--resolution", type=_resolution, default=0.1, metavar="MM",
                       help="grid of the simulation in mm (default 0.1)")
    check = _command(commands, "check", _check, "read the programs in a folder back and verify them")
    check.add_argument("folder", metavar="DIR", help="folder with the programs")
    check.add_argument("--resolution", type=_resolution, default=0.1, metavar="MM",
                       help="grid of the simulation in mm (default 0.1)")
    _command(commands, "frets", _frets, "print the fret table")
    return parser


def _command(commands, name: str, run, words: str) -> argparse.ArgumentParser:  # type: ignore[no-untyped-def]
    parser: argparse.ArgumentParser = commands.add_parser(name, help=words, description=words)
    parser.add_argument("job", metavar="JOB.toml", help="the job file")
    parser.set_defaults(run=run)
    return parser


def _resolution(text: str) -> float:
    value = float(text)
    if not 0.02 <= value <= 1.0:
        raise argparse.ArgumentTypeError(f"{text} given; allowed: 0.02 to 1.0 mm")
    return value


def _build(options: argparse.Namespace) -> int:
    from pathgen.building import build
    from pathgen.job import load_job
    from pathgen.report.text import finding_lines, summary_lines

    job = load_job(options.job)
    result = build(job, resolution=options.resolution)
    print("\n".join([*summary_lines(result.report, job.units), *finding_lines(result.report["checks"])]))
    if not result.passed:
        print("Nothing was written.", file=sys.stderr)
        return FORBIDDEN
    written = result.write(options.out)
    print(f"{len(written)} files written to {options.out}")
    return GOOD


def _check(options: argparse.Namespace) -> int:
    from pathgen.building import check
    from pathgen.job import load_job
    from pathgen.report.data import checks_data
    from pathgen.report.text import finding_lines

    checked = check(load_job(options.job), options.folder, resolution=options.resolution)
    print("\n".join(finding_lines(checks_data(checked))))
    return GOOD if checked.passed else FORBIDDEN


def _frets(options: argparse.Namespace) -> int:
    from pathgen.job import load_job
    from pathgen.job.sense import part_of, slots_of
    from pathgen.report.data import fret_rows
    from pathgen.report.text import fret_lines

    job = load_job(options.job)
    board = part_of(job)
    print("\n".join(fret_lines(fret_rows(board, slots_of(job, board)), job.units)))
    return GOOD
