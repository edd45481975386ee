"""The command line: one command for each question."""

from __future__ import annotations

import argparse
import gc
import json
import math
import os
import sys
import warnings
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from pathgen import __version__
from pathgen.app.terminal import GREEN, RED, YELLOW, by_option, progress, say, say_json
from pathgen.base.errors import JobError, Mistakes, PathgenError
from pathgen.base.plain import brief, capital, in_json, joined, one_line, typed
from pathgen.base.units import in_units, parse_length

if TYPE_CHECKING:
    from pathgen.app.blank import BlankBuild
    from pathgen.app.building import Build
    from pathgen.base.cutters import Cutter
    from pathgen.job import Job

GOOD, FORBIDDEN, BAD_INPUT = 0, 1, 2

EXAMPLE = "examples/fern-and-moth.toml"

_COLLECT_EVERY = 50_000
"""Values made between two searches for circles of dead ones: every 700 they take a sixteenth of a large build."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command; returns the exit status: 0 good, 1 findings that forbid cutting, 2 bad input."""
    options = _parser().parse_args(argv)
    gc.set_threshold(_COLLECT_EVERY)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")  # a terminal of few characters shows the others by number
    if not os.environ.get("PATHGEN_TRACE"):
        warnings.simplefilter("ignore")  # of the libraries: what a maker must know is said in our own words
    try:
        status = int(options.run(options))
        if status != GOOD:
            _say_of_an_earlier_set(options)
        return status
    except PathgenError as wrong:
        from pathgen.job.load import units_of

        units = units_of(options.job) if hasattr(options, "job") else "mm"
        for line in by_option(wrong).lines:
            say(f" {in_units(line, units)}", sys.stderr, mark="pathgen:", colour=RED)
        if not _holds_this_job(options):
            _say_of_an_earlier_set(options)
        return BAD_INPUT
    except KeyboardInterrupt:
        if hasattr(options, "written"):
            say("pathgen: stopped; what was made is written", sys.stderr)
            return BAD_INPUT
        say("pathgen: stopped; nothing was written", sys.stderr)
        _say_of_an_earlier_set(options)
        return BAD_INPUT
    except Exception as fault:
        if os.environ.get("PATHGEN_TRACE"):
            raise
        say(f" a fault of the program, not of your job: {type(fault).__name__}: {fault}: please report it with the job "
            "file; PATHGEN_TRACE=1 shows where", sys.stderr, mark="pathgen:", colour=RED)
        _say_of_an_earlier_set(options)
        return BAD_INPUT


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


class _Parser(argparse.ArgumentParser):
    """One whose errors repeat arguments as all text is shown: in one line, without what a terminal would obey."""

    def error(self, message: str) -> NoReturn:
        words = brief(one_line(message))
        super().error(words if len(words) <= 2000 else f"{words[:1500]} .. {words[-400:]}")


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="pathgen", description="CNC toolpaths for fretted fingerboards with inlay.",
        epilog=f"example: pathgen build {EXAMPLE} --out out/\n"
               "exit status: 0 good, 1 findings that forbid cutting, 2 bad input",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"pathgen {__version__}")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    new = _command(commands, "new", _new, "write a small job to start from, with comments and a drawing",
                   "new my-board", job=False)
    new.add_argument("name", metavar="NAME", help="of the board: NAME.toml and NAME.svg are written")
    show = _command(commands, "show", _show_placing, "draw where all lies on the blank, before anything is planned",
                    f"show {EXAMPLE} --picture placing.svg")
    show.add_argument("--picture", metavar="FILE.svg",
                      help="the picture to write (default: the job's name with -placing.svg, where you are)")
    _build_command(commands)
    _watch_command(commands)
    _check_command(commands)
    frets = _command(commands, "frets", _frets, "print the fret table", f"frets {EXAMPLE}")
    _json(frets, "the rows")
    reach = _command(
        commands, "reach", _reach, "print what each cutter can reach of each drawing, and a table for choosing cutters",
        f"reach {EXAMPLE}",
    )
    _json(reach, "the table")
    _compare_command(commands)
    _bench_commands(commands)
    _paper_commands(commands)
    keys = _command(commands, "keys", _keys, "list every key that a job file may hold", "keys", job=False)
    _json(keys, "the rows")
    return parser


def _build_command(commands: Any) -> None:
    build = _command(
        commands, "build", _build, "plan a job, verify its programs, and write them with their report and setup sheet",
        f"build {EXAMPLE} --out out/",
    )
    _out(build)
    build.add_argument("--pictures", action="store_true",
                       help="write the setup sheet's pictures as SVG and PNG files too")
    build.add_argument("--no-pictures", action="store_true", help="leave the pictures of the wood out of the page")
    _resolution_option(build)
    _json(build, "report.json")


def _watch_command(commands: Any) -> None:
    watch = _command(
        commands, "watch", _watch, "build again whenever the job or a drawing changes, with a page that follows",
        f"watch {EXAMPLE} --out out/",
    )
    _out(watch)
    watch.add_argument("--port", type=int, metavar="N",
                       help="where the page is on this computer (default: 8642, or a free one)")
    _resolution_option(watch)


def _check_command(commands: Any) -> None:
    check = _command(
        commands, "check", _check, "read the programs in a folder back, edited ones too, and verify them; or measure "
        "one program, whoever wrote it, against a surface",
        f'check {EXAMPLE} out/\n         pathgen check finish.nc --cutter ball-end "6 mm" --thickness 6 --radius 254 '
        "--blank 480 70 8", job=False,
    )
    check.add_argument("job", metavar="JOB.toml", help="the job file; or a program, with what is listed below")
    check.add_argument("folder", metavar="DIR", nargs="?", help="folder with the programs of the job")
    _alone_options(check, surface=True)
    _resolution_option(check)
    _json(check, "the findings")
    alone = _command(
        commands, "simulate", _simulate, "run one program, whoever wrote it, over a blank: what it takes, a picture; "
        "nothing is judged (check PROGRAM does that)",
        'simulate pocket.nc --cutter flat-end "3 mm" --blank 480 70 8 --picture left.png', job=False,
    )
    alone.add_argument("program", metavar="PROGRAM", help="the program")
    _alone_options(alone, surface=False)
    alone.add_argument("--picture", metavar="FILE.png", help="write what is left, lit, at true size")
    _resolution_option(alone)


def _alone_options(command: argparse.ArgumentParser, *, surface: bool) -> None:
    """Options that say what stands there and what cuts it; with `surface`, how fine that should become."""
    group = command.add_argument_group("without a job", 'lengths in mm, or with their unit: "1/4 in"')
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
    group.add_argument("--stepdown", metavar="MM", help="deepest cut allowed (default: the cutter's diameter)")
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
    ("block", "cut a hollow block of the board's radius, for pressing frets or sanding",
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
        command = _command(commands, name, _bench, words, f"{name} {example} --out {name.partition('-')[0]}/")
        command.set_defaults(cut=name)
        if name == "block":
            command.add_argument("--frets", nargs=2, metavar=("FROM", "TO"),
                                 help="the frets it reaches over, 0 for the nut (default: as the job's [block] says)")
        _out(command)
        _resolution_option(command)


def _paper_commands(commands: Any) -> None:
    fretting = _command(commands, "fretting", _paper,
                        "print the fretting sheet: what to cut, nip and bend each fret to",
                        "fretting examples/boards/dots-and-fall-away.toml --picture strip.svg")
    strings = _command(commands, "strings", _paper, "print places and depths at nut and saddle, cents off",
                       "strings examples/boards/dots-and-fall-away.toml")
    neck = _command(commands, "neck", _paper, "print the neck against the body: saddle, angle, neck blank",
                    "neck examples/boards/dots-and-fall-away.toml --picture neck.svg")
    for command, what in ((fretting, "the sheet"), (strings, "the rows"), (neck, "the table")):
        command.set_defaults(paper=command.prog.split()[-1])
        _json(command, what)
    for command, what in ((fretting, "a strip at true size to cut out"), (neck, "the side view at true size")):
        command.add_argument("--picture", metavar="FILE.svg", help=f"write {what}")


def _paper(options: argparse.Namespace) -> int:
    from pathgen.app.paper import PAPERS

    with _as_it_stands(options) as (job, _):
        made = PAPERS[options.paper](job)
        if getattr(options, "picture", None):
            made.save_picture(Path(options.picture))
        if options.json:
            _print_json(made.data)
        else:
            _show(made.lines)
    return GOOD


def _compare_command(commands: Any) -> None:
    compare = _command(
        commands, "compare", _compare,
        "compare finishing cutters and ridge heights: passes, minutes, ridges",
        f'compare {EXAMPLE} --cutter "ball 12" "10 mm" --scallop 0.005 0.01 0.02',
    )
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
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    if job:
        parser.add_argument("job", metavar="JOB.toml", help="the job file")
    parser.set_defaults(run=run)
    return parser


def _json(parser: argparse.ArgumentParser, what: str) -> None:
    parser.add_argument("--json", action="store_true", help=f"print {what} as JSON, for scripts")


def _out(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--out", required=True, metavar="DIR", help="folder to write; made, or replaced if ours")


def _resolution_option(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--resolution", type=_resolution, default=0.1, metavar="MM",
                        help="grid of the simulation in mm (default 0.1); what only a coarse one would forbid is "
                             "looked at again on a finer one")


def _resolution(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not 0.02 <= value <= 1.0:
        raise argparse.ArgumentTypeError(f"{text} given; allowed: 0.02 to 1.0 mm")
    return value


def _build(options: argparse.Namespace) -> int:
    from pathgen.app.bench_commands import cut_halves
    from pathgen.app.building import STAGES, build
    from pathgen.app.earlier import refuse_others
    from pathgen.job import load_job
    from pathgen.job.form import parts_of
    from pathgen.report.text import summary_lines

    job = load_job(options.job)
    refuse_others(Path(options.out), job, "build")
    if job.parts:
        return _build_blank(options, job)
    if len(parts_of(job)) > 1:
        return _status(cut_halves(job, options.out, resolution=options.resolution, shaded=not options.no_pictures,
                                  pictures=options.pictures, data=options.json))
    with progress(STAGES, sys.stderr) as tell:
        result = build(job, resolution=options.resolution, tell=tell, pictures=not options.no_pictures)
    return _written(options, result, summary_lines(result.report, job.units))


def _build_blank(options: argparse.Namespace, job: Job) -> int:
    """Every part of a blank into one folder."""
    from pathgen.app.blank import build_blank
    from pathgen.report.blank import blank_summary

    with progress(len(job.parts) + 1, sys.stderr) as tell:
        made = build_blank(job, resolution=options.resolution, tell=tell, pictures=not options.no_pictures)
    return _written(options, made, blank_summary(made.report))


def _written(options: argparse.Namespace, made: Build | BlankBuild, summary: list[str]) -> int:
    """What was made is shown, and written where nothing forbids it."""
    from pathgen.app.earlier import compared, pieces_for_others, programs_of, replaced
    from pathgen.report.data import as_json
    from pathgen.report.text import finding_lines

    made = made.told(Path(options.out)) if made.passed else made
    if options.json:
        say_json(as_json(made.report).rstrip())
    else:
        _show([*summary, *finding_lines(made.report["checks"], made.job.units)])
    if not made.passed:
        say("Nothing was written.", sys.stderr)
        return FORBIDDEN
    before = programs_of(Path(options.out))
    written = options.written = made.write(options.out, pictures=options.pictures, shaded=not options.no_pictures)
    shown = sys.stderr if options.json else sys.stdout
    say(f"{len(written)} files written to {one_line(options.out)}", shown)
    now = programs_of(Path(options.out))
    for line in compared(before, now):
        say(line, shown)
    for line in [*replaced(before, now, Path(options.out)), *pieces_for_others(before, now, made.let_in)]:
        say(f"warning: {line}", sys.stderr)
    return GOOD


def _new(options: argparse.Namespace) -> int:
    from pathgen.app.starting import start_job

    job, drawing = start_job(options.name)
    say(f"{one_line(str(job))} and its drawing {one_line(str(drawing))} are written.\n"
        f"See where all lies:  pathgen show {typed(job)}\n"
        f"Build it:            pathgen build {typed(job)} --out {typed(job.with_suffix(''))}")
    return GOOD


@contextmanager
def _as_it_stands(options: argparse.Namespace) -> Iterator[tuple[Job, Mistakes]]:
    """The job of a question that asks less than a build, with its mistakes: they are told after the answer."""
    from pathgen.job.load import as_it_stands

    with as_it_stands(Path(options.job)) as (job, mistakes):
        yield job, mistakes
        if mistakes:
            say("That is as far as it goes: the job cannot be built before this is mended.", sys.stderr)


def _show_placing(options: argparse.Namespace) -> int:
    options.shown = False
    try:
        return _placing_shown(options)
    except PathgenError:
        if not options.shown:
            say("No picture was made.", sys.stderr)
        raise


def _placing_shown(options: argparse.Namespace) -> int:
    from pathgen.app.showing import placing_lines, save_placing
    from pathgen.job.clamping import placing_of
    from pathgen.job.cutters import standing_in
    from pathgen.job.form import parts_of

    with _as_it_stands(options) as (asked, mistakes):
        whole = standing_in(asked) if mistakes else asked
        if whole.parts:
            return _show_blank(options, whole, mistakes)
        for job in parts_of(whole):
            clamping = placing_of(job, mistakes)
            path = Path(options.picture or f"{job.path.stem}-placing.svg")
            if clamping.kind:
                path = path.with_stem(f"{path.stem}-{clamping.kind.split(' ')[0]}")
            save_placing(clamping, path)
            options.shown = True
            _show([*placing_lines(job, clamping), f"The picture is {path}; nothing is planned or checked yet."])
    return GOOD


def _show_blank(options: argparse.Namespace, job: Job, mistakes: Mistakes) -> int:
    from pathgen.app.showing import save_blank

    path = Path(options.picture or f"{job.path.stem}-placing.svg")
    save_blank(job, path, mistakes)
    options.shown = True
    say(f"The picture is {path}; nothing is planned or checked yet.")
    return GOOD


def _watch(options: argparse.Namespace) -> int:
    from pathgen.app.watching import watch

    watch(Path(options.job), Path(options.out), port=options.port, resolution=options.resolution)
    return GOOD


def _check_alone(options: argparse.Namespace) -> int:
    from pathgen.app.any_program import measured, units_of, zero_lines

    lacking = [f"--{name}" for name in ("cutter", "thickness", "blank") if not getattr(options, name)]
    if lacking or options.folder:
        job = not options.cutter and Path(options.job).suffix.lower() == ".toml"
        if options.folder and Path(options.job).suffix.lower() == ".toml":
            raise PathgenError("check", f"a job and a folder, with {joined(_alone(options))}", allowed="JOB.toml DIR; "
                               "such options are for a PROGRAM without a job", remedy="leave them out")
        raise PathgenError(
            "check", "a job without a folder" if job else f"a program without {joined(lacking)}" if lacking else
            "a program and a folder",
            allowed="JOB.toml DIR; or PROGRAM with --cutter, --thickness and --blank", remedy="see check --help",
        )
    found = measured(options)
    if options.json:
        _print_json(found.data)
    else:
        verdict = "DO NOT CUT: see above" if not found.passed else (
            "Nothing found that forbids cutting, but judge what is said above" if found.findings else
            "Passed: nothing found that forbids cutting")
        lines = [*(f"{name}: {words}" for name, words in found.rows), *map(str, found.findings), verdict]
        _show([*(in_units(line, units_of(options)) for line in lines),
               *zero_lines(options, options.job)])
    return _status(found.passed)


def _simulate(options: argparse.Namespace) -> int:
    from pathgen.app.any_program import simulated, simulated_lines, units_of, zero_lines
    from pathgen.app.folders import write_new

    if options.picture and Path(options.picture).suffix.lower() != ".png":
        raise PathgenError("--picture", options.picture, allowed="a name that ends in .png",
                           remedy=f"write --picture {Path(options.picture).stem}.png")
    field = simulated(options)
    _show([*(in_units(line, units_of(options)) for line in simulated_lines(field, surfaced=options.surfaced)),
           *zero_lines(options, options.program)])
    if options.picture:
        write_new(Path(options.picture), field._repr_png_())
    return GOOD


def _alone(options: argparse.Namespace) -> list[str]:
    """Those options given that are for a program without a job."""
    names = ("cutter", "blank", "corner", "zero", "after", "stepdown", "thickness", "radius", "relief", "fall_away",
             "surfaced", "scallop")
    given = [f"--{name.replace('_', '-')}" for name in names if getattr(options, name)]
    return given + ["--along"] * (options.along != "x")


def _check(options: argparse.Namespace) -> int:
    if options.folder is None or _alone(options):
        return _check_alone(options)
    from pathgen.app.building import check_data
    from pathgen.job import load_job
    from pathgen.report.text import finding_lines

    with progress(1, sys.stderr) as tell:
        job = load_job(options.job)
        tell("reading the programs, cutting in simulation")
        checks = check_data(job, Path(options.folder), resolution=options.resolution)
    if options.json:
        _print_json(checks)
    else:
        _show(finding_lines(checks, job.units))
    return _status(checks["passed"])


def _bench(options: argparse.Namespace) -> int:
    from pathgen.app.bench_commands import cut, fret_range
    from pathgen.job import load_job

    frets = fret_range(options.frets) if getattr(options, "frets", None) else None
    return _status(cut(options.cut, load_job(options.job), options.out, frets=frets, resolution=options.resolution))


def _frets(options: argparse.Namespace) -> int:
    from pathgen.job.clamping import placing_of
    from pathgen.job.part import board_of
    from pathgen.report.board_text import dot_lines, frame_lines, fret_lines, string_lines, wood_lines
    from pathgen.report.data import part_data

    with _as_it_stands(options) as (job, mistakes):
        board_of(job)  # refuses the job of a plate
        data = part_data(placing_of(job, mistakes))
        if options.json:
            _print_json(data["frets"])
            return GOOD
        parts = [
            frame_lines(data["board"], job.units),
            fret_lines(data["frets"], data["board"]["nut"], job.units),
            wood_lines(data["frets"], job.units),
            string_lines(data["strings"], job.units),
            dot_lines(data["side_dots"], job.units),
        ]
        say("\n\n".join("\n".join(one_line(line) for line in lines) for lines in parts))
    return GOOD


def _reach(options: argparse.Namespace) -> int:
    from pathgen.job.clamping import placing_of
    from pathgen.report.finding_words import doubt_line
    from pathgen.report.reaching import reach_data, reach_lines, reach_of_all

    with _as_it_stands(options) as (job, mistakes):
        with progress(1, sys.stderr) as tell:
            clamping = placing_of(job, mistakes)
            tell("trying the cutters")
            found = reach_of_all(clamping, job.complete_cutters)
        if options.json:
            _print_json([reach_data(one) for one in found])
            return GOOD
        for inlay, one in zip(clamping.inlays, found, strict=True):
            _show([*reach_lines(inlay.name, one, job.units, smallest=job.inlays[inlay.index].cutters[-1]), ""])
        if not found and not mistakes:
            _show(["The job has no drawings to cut: there is nothing to reach."])
        _show([doubt_line(doubt, job.units) for doubt in clamping.doubts])
    return GOOD


def _compare(options: argparse.Namespace) -> int:
    from pathgen.app.choosing import change_lines, choice_lines, choice_rows, compare

    with _as_it_stands(options) as (job, _):
        cutters = None if options.cutter is None else [_ball_end(job, text) for text in options.cutter]
        scallops = None if options.scallop is None else [_length(job, "--scallop", text) for text in options.scallop]
        choices = compare(job, cutters=cutters, scallops=scallops)
        if options.json:
            _print_json(choice_rows(choices))
        else:
            _show([*choice_lines(choices, job.units), *change_lines(job)])
    return GOOD


def _keys(options: argparse.Namespace) -> int:
    from pathgen.job.describe import key_lines, key_rows

    if options.json:
        _print_json([row.__dict__ for row in key_rows()])
    else:
        _show(key_lines())
    return GOOD


def _ball_end(job: Job, text: str) -> Cutter:
    """A cutter of the job by its name, or the finishing cutter in another size, also named as the table names it."""
    from pathgen.app.choosing import BALL, sized

    if text in [cutter.name for cutter in job.cutters]:
        return job.cutter(text, "--cutter")
    try:
        return sized(job, _length(job, "--cutter", text.removeprefix(BALL)))
    except JobError as wrong:
        names = ", ".join(f'"{c.name}"' for c in job.cutters if c.shape == "ball-end")
        raise JobError(wrong.where, wrong.problem, allowed=f"{names}, or a diameter", remedy=wrong.remedy) from None


def _length(job: Job, where: str, text: str) -> float:
    """A length above 0 in the job's units, or with its own; gives mm."""
    try:
        mm = parse_length(text, job.units)
    except ValueError as wrong:
        raise JobError(where, str(wrong)) from None
    if not 0 < mm <= 100:
        raise JobError(where, f"{text} given", allowed="above 0, to 100 mm")
    return mm


def _status(passed: bool) -> int:
    return GOOD if passed else FORBIDDEN


def _print_json(data: Any) -> None:
    say_json(in_json(json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False)))


def _show(lines: Iterable[str]) -> None:
    """Lines of a report; findings and the verdict in colour on a terminal."""
    colours = {"DO NOT CUT": RED, "Not verified": RED, "warning": YELLOW, "Verified": GREEN, "Verified in part": YELLOW}
    for line in lines:
        mark = line.partition(":")[0]
        line, known = one_line(line), mark in colours
        say(line[len(mark):] if known else line, mark=mark if known else "", colour=colours.get(mark, ""))
