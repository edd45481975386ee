"""What may be written on the command line: one command for each question, with its options and an example."""

from __future__ import annotations

import argparse
import math
from typing import Any, NoReturn

from pathgen import __version__
from pathgen.app import runs
from pathgen.base.limits import COARSEST_GRID, FINEST_GRID
from pathgen.base.plain import brief, capital, one_line

EXAMPLE = "examples/fern-and-moth.toml"


class _Parser(argparse.ArgumentParser):
    """One whose errors repeat arguments as all text is shown: in one line, without what a terminal would obey."""

    def error(self, message: str) -> NoReturn:
        words = brief(one_line(message))
        super().error(words if len(words) <= 2000 else f"{words[:1500]} .. {words[-400:]}")


def parser() -> argparse.ArgumentParser:
    """All commands and their options."""
    whole = _Parser(prog="pathgen", description="CNC toolpaths for fretted fingerboards with inlay.",
                    epilog=f"example: pathgen build {EXAMPLE} --out out/\n"
                           "exit status: 0 good, 1 findings that forbid cutting, 2 bad input",
                    formatter_class=argparse.RawDescriptionHelpFormatter)
    whole.add_argument("--version", action="version", version=f"pathgen {__version__}")
    commands = whole.add_subparsers(required=True, metavar="COMMAND")
    new = _command(commands, "new", runs.new, "write a small job to start from, with comments and a drawing",
                   "new my-board", job=False)
    new.add_argument("name", metavar="NAME", help="of the board: NAME.toml and NAME.svg are written")
    show = _command(commands, "show", runs.show, "draw where all lies on the blank, before anything is planned",
                    f"show {EXAMPLE} --picture placing.svg")
    show.add_argument("--picture", metavar="FILE.svg",
                      help="the picture to write (default: the job's name with -placing.svg, where you are)")
    _build_command(commands)
    _watch_command(commands)
    _check_command(commands)
    _json(_command(commands, "frets", runs.frets, "print the fret table", f"frets {EXAMPLE}"), "the rows")
    _json(_command(commands, "reach", runs.reach, "print what each cutter can reach of each drawing, and a table for "
                   "choosing cutters", f"reach {EXAMPLE}"), "the table")
    _compare_command(commands)
    _bench_commands(commands)
    _paper_commands(commands)
    _json(_command(commands, "keys", runs.keys, "list every key that a job file may hold", "keys", job=False),
          "the rows")
    return whole


def _build_command(commands: Any) -> None:
    build = _command(commands, "build", runs.build,
                     "plan a job, verify its programs, and write them with their report and setup sheet",
                     f"build {EXAMPLE} --out out/")
    _out(build)
    build.add_argument("--pictures", action="store_true",
                       help="write the setup sheet's pictures as SVG and PNG files too")
    build.add_argument("--no-pictures", action="store_true", help="leave the pictures of the wood out of the page")
    _resolution_option(build, _AGAIN)
    _json(build, "report.json")


def _watch_command(commands: Any) -> None:
    watch = _command(
        commands, "watch", runs.watch, "build again whenever the job or a drawing changes, with a page that follows",
        f"watch {EXAMPLE} --out out/")
    _out(watch)
    watch.add_argument("--port", type=int, metavar="N",
                       help="where the page is on this computer (default: 8642, or a free one)")
    _resolution_option(watch, _AGAIN)


def _check_command(commands: Any) -> None:
    check = _command(
        commands, "check", runs.check,
        "read the programs in a folder back, edited ones too, and verify them; or measure one program, whoever wrote "
        "it, against a surface",
        f'check {EXAMPLE} out/\n         pathgen check finish.nc --cutter ball-end "6 mm" --thickness 6 --radius 254 '
        "--blank 480 70 8", job=False)
    check.add_argument("job", metavar="JOB.toml", help="the job file; or a program, with what is listed below")
    check.add_argument("folder", metavar="DIR", nargs="?", help="folder with the programs of the job")
    _alone_options(check, surface=True)
    _resolution_option(check, _AGAIN)
    _json(check, "the findings")
    alone = _command(
        commands, "simulate", runs.simulate,
        "run one program, whoever wrote it, over a blank: what it takes, a picture; nothing is judged (check PROGRAM "
        "does that)",
        'simulate pocket.nc --cutter flat-end "3 mm" --blank 480 70 8 --picture left.png', job=False)
    alone.add_argument("program", metavar="PROGRAM", help="the program")
    _alone_options(alone, surface=False)
    alone.add_argument("--picture", metavar="FILE.png", help="write what is left, lit, at true size")
    _resolution_option(alone)


def _alone_options(command: argparse.ArgumentParser, *, surface: bool) -> None:
    """Options that say what stands there and what cuts it; with `surface`, how fine that should become."""
    group = command.add_argument_group("without a job", (
        'lengths in mm, or with their unit: "1/4 in". The deepest bite is the most that\n'
        "the program lowers any place at once. The tallest shaving is how high a wall is\n"
        "that it only cleans, a quarter of the cutter wide or less."))
    group.add_argument("--cutter", nargs="+", required=not surface, metavar="CUTTER",
                       help="ball-end DIAMETER, flat-end DIAMETER, or v DIAMETER ANGLE")
    group.add_argument("--blank", nargs="+", required=not surface, metavar="MM", help="its LENGTH WIDTH THICKNESS")
    group.add_argument("--corner", nargs="+", metavar="MM", help="X Y of its lowest corner, with --along y along "
                       "and across (default: X 0, Y centred)")
    group.add_argument("--along", choices=("x", "y"), default="x", help="axis of the program that the blank's length "
                       "lies along; with y the program is turned back first, by a quarter clockwise (default: x)")
    group.add_argument("--after", nargs="+", action="append", metavar=("PROGRAM", "CUTTER"), help="a program "
                       "that ran before, and its cutter as above (left out: the same), with the same zero and "
                       "stepdown; again for each, in order")
    group.add_argument("--zero", nargs="+", metavar="MM", help="where X 0, Y 0, Z 0 of the program is; Z from the "
                       "underside (default: 0 0 0)")
    deepest = "deepest cut allowed" if surface else "nothing is held to it here: what a round or pointed end lowers " \
        "a place by, bit by bit, is told as one bite once it is more than this"
    group.add_argument("--stepdown", metavar="MM", help=f"{deepest} (default: the cutter's diameter)")
    group.add_argument("--thickness", metavar="MM", help="the surface's height above the underside on its "
                       "centre-line")
    group.add_argument("--radius", nargs="+", metavar="MM",
                       help="RADIUS, or RADIUS END LENGTH of a compound one, or flat (default: flat)")
    group.add_argument("--relief", nargs="+", metavar="MM", help="DEPTH DEEPEST END of a dip of the surface: how "
                       "deep, where along it that is, where it ends; it begins at X 0")
    group.add_argument("--fall-away", nargs="+", metavar="MM", help="DROP START END of a surface that falls "
                       "straight from START on, by DROP at END")
    group.add_argument("--surfaced", action="store_true",
                       help="that surface is cut already, by an earlier program, all over the blank")
    if surface:
        group.add_argument("--scallop", metavar="MM", help="ridge height allowed")


_BENCH = (
    ("block", "cut a hollow block that fits the board, for pressing frets; of one radius, for sanding too",
     "examples/boards/fanned.toml --frets 12 24"),
    ("gauges", "cut flat gauges of the board's radius from sheet", "examples/boards/zero-fret-arched.toml"),
    ("nut", "cut blanks for nut and saddle with the board's curve on top, strings marked",
     "examples/boards/dots-and-fall-away.toml"),
    ("side-dots", "drill the side dots into the bass edge of the finished board, on its edge",
     "examples/boards/dots-and-fall-away.toml"),
    ("pieces", "cut the pieces that are let into inlays from flat stock", "examples/boards/let-in-leaf.toml"),
    ("coupon", "cut a test piece from scrap with the job's cutters, and say how to read it", EXAMPLE),
)
"""(name, what it does, a job to try it on) of each command that cuts something for the bench."""


def _bench_commands(commands: Any) -> None:
    for name, words, example in _BENCH:
        command = _command(commands, name, runs.bench, words, f"{name} {example} --out {name.partition('-')[0]}/")
        command.set_defaults(cut=name)
        if name == "block":
            command.add_argument("--frets", nargs=2, metavar=("FROM", "TO"),
                                 help="the frets it reaches over, 0 for the nut (default: as the job's [block] says)")
        _out(command)
        _resolution_option(command, _AGAIN)


def _paper_commands(commands: Any) -> None:
    fretting = _command(commands, "fretting", runs.paper,
                        "print the fretting sheet: what to cut, nip and bend each fret to",
                        "fretting examples/boards/dots-and-fall-away.toml --picture strip.svg")
    strings = _command(commands, "strings", runs.paper, "print places and depths at nut and saddle, cents off",
                       "strings examples/boards/dots-and-fall-away.toml")
    neck = _command(commands, "neck", runs.paper, "print the neck against the body: saddle, angle, neck blank",
                    "neck examples/boards/dots-and-fall-away.toml --picture neck.svg")
    for command, what in ((fretting, "the sheet"), (strings, "the rows"), (neck, "the table")):
        command.set_defaults(paper=command.prog.split()[-1])
        _json(command, what)
    for command, what in ((fretting, "a strip at true size to cut out"), (neck, "the side view at true size")):
        command.add_argument("--picture", metavar="FILE.svg", help=f"write {what}")


def _compare_command(commands: Any) -> None:
    compare = _command(commands, "compare", runs.compare,
                       "compare finishing cutters and ridge heights: passes, minutes, ridges",
                       f'compare {EXAMPLE} --cutter "ball 12" "10 mm" --scallop 0.005 0.01 0.02')
    compare.add_argument("--cutter", nargs="+", metavar="CUTTER", help="one to five: names of the job's ball-end "
                         "cutters, or diameters, cut at the finishing cutter's feed (default: the job's own, or common "
                         "sizes)")
    compare.add_argument("--scallop", nargs="+", metavar="HEIGHT", help="one to five ridge heights in the job's units "
                         "(default: half, once and twice what the job allows)")
    _json(compare, "the rows")


def _command(
    commands: Any, name: str, run: Any, words: str, example: str, *, job: bool = True
) -> argparse.ArgumentParser:
    parser: argparse.ArgumentParser = commands.add_parser(
        name, help=words, description=capital(words) + ".", epilog=f"example: pathgen {example}",
        formatter_class=argparse.RawDescriptionHelpFormatter)
    if job:
        parser.add_argument("job", metavar="JOB.toml", help="the job file")
    parser.set_defaults(run=run)
    return parser


def _json(parser: argparse.ArgumentParser, what: str) -> None:
    parser.add_argument("--json", action="store_true", help=f"print {what} as JSON, for scripts")


def _out(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--out", required=True, metavar="DIR", help="folder to write; made, or replaced if ours")


def _resolution_option(parser: argparse.ArgumentParser, more: str = "") -> None:
    parser.add_argument("--resolution", type=_resolution, default=0.1, metavar="MM",
                        help=f"grid of the simulation, {FINEST_GRID:g} to {COARSEST_GRID:g} mm (default 0.1){more}")


_AGAIN = "; what only a coarse one would forbid of a job is looked at again on a finer one"


def _resolution(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not FINEST_GRID <= value <= COARSEST_GRID:
        raise argparse.ArgumentTypeError(f"{text} given; allowed: {FINEST_GRID:g} to {COARSEST_GRID:g} mm")
    return value
