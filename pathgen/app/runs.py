"""What each command does, from its options to its exit status if it judges; each loads only what it needs."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pathgen.app.terminal import GREEN, RED, YELLOW, progress, say, say_json
from pathgen.base.errors import JobError, Mistakes, PathgenError
from pathgen.base.plain import joined, one_line, typed
from pathgen.base.units import in_units, parse_length

if TYPE_CHECKING:
    from pathgen.app.blank import BlankBuild
    from pathgen.app.building import Build
    from pathgen.base.cutters import Cutter
    from pathgen.job import Job

GOOD, FORBIDDEN, BAD_INPUT = 0, 1, 2


def build(options: argparse.Namespace) -> int:
    """Plan a job, verify its programs and write them."""
    from pathgen.app import building
    from pathgen.app.bench_commands import cut_halves
    from pathgen.app.earlier import refuse_others
    from pathgen.job import load_job
    from pathgen.job.form import parts_of
    from pathgen.report.text import summary_lines

    job = load_job(options.job)
    refuse_others(Path(options.out), job, "build")
    if job.parts:
        from pathgen.app.blank import build_blank
        from pathgen.report.blank import blank_summary

        with progress(len(job.parts) + 1, sys.stderr) as tell:
            made = build_blank(job, resolution=options.resolution, tell=tell, pictures=not options.no_pictures)
        return _written(options, made, blank_summary(made.report))
    if len(parts_of(job)) > 1:
        return _status(cut_halves(job, options.out, resolution=options.resolution, shaded=not options.no_pictures,
                                  pictures=options.pictures, data=options.json))
    with progress(building.STAGES, sys.stderr) as tell:
        result = building.build(job, resolution=options.resolution, tell=tell, pictures=not options.no_pictures)
    return _written(options, result, summary_lines(result.report, job.units))


def _written(options: argparse.Namespace, made: Build | BlankBuild, summary: list[str]) -> int:
    """What was made is shown, and written where nothing forbids it."""
    from pathgen.app.earlier import write_and_tell
    from pathgen.report.text import finding_lines

    found, done = made.earlier(Path(options.out)) if made.passed else ([], None)
    made = made.saying(found)
    _answer(options, made.report, [*summary, *finding_lines(made.report["checks"], made.job.units)])
    if not made.passed:
        say("Nothing was written.", sys.stderr)
        return FORBIDDEN

    def write() -> list[Path]:
        options.written = made.write(options.out, pictures=options.pictures, shaded=not options.no_pictures)
        return list(options.written)

    write_and_tell(options.out, write, shown=sys.stderr if options.json else sys.stdout, let_in=made.let_in,
                   done=done)
    return GOOD


def new(options: argparse.Namespace) -> None:
    """Write a first job."""
    from pathgen.app.starting import start_job

    job, drawing = start_job(options.name)
    say(f"{one_line(str(job))} and its drawing {one_line(str(drawing))} are written.\n"
        f"See where all lies:  pathgen show {typed(job)}\n"
        f"Build it:            pathgen build {typed(job)} --out {typed(job.with_suffix(''))}")


@contextmanager
def _as_it_stands(options: argparse.Namespace) -> Iterator[tuple[Job, Mistakes]]:
    """The job of a question that asks less than a build, with its mistakes: they are told after the answer."""
    from pathgen.job.load import as_it_stands

    with as_it_stands(Path(options.job)) as (job, mistakes):
        yield job, mistakes
        if mistakes:
            say("That is as far as it goes: the job cannot be built before this is mended.", sys.stderr)


def show(options: argparse.Namespace) -> None:
    """Draw where all lies on the blank."""
    from pathgen.app.showing import blank_lines, blank_placing, placing, placing_lines, save_placing
    from pathgen.job.blank import blank_clampings
    from pathgen.job.clamping import placing_of
    from pathgen.job.cutters import standing_in
    from pathgen.job.form import parts_of

    shown = False
    try:
        with _as_it_stands(options) as (asked, mistakes):
            whole = standing_in(asked) if mistakes else asked
            for job in [whole] if whole.parts else parts_of(whole):
                clampings = blank_clampings(job, mistakes) if whole.parts else (placing_of(job, mistakes),)
                clamping = clampings[0]
                path = Path(options.picture or f"{job.path.stem}-placing.svg")
                if not whole.parts and clamping.kind:
                    path = path.with_stem(f"{path.stem}-{clamping.kind.split(' ')[0]}")
                save_placing(blank_placing(job, clampings) if whole.parts else placing(clamping), path)
                shown = True
                _show([*(blank_lines(job, clampings) if whole.parts else placing_lines(job, clamping)),
                       f"The picture is {path}; nothing is planned or checked yet."])
    except PathgenError:
        if not shown:
            say("No picture was made.", sys.stderr)
        raise


def watch(options: argparse.Namespace) -> None:
    """Build again after each change, until Ctrl-C."""
    from pathgen.app import watching

    watching.watch(Path(options.job), Path(options.out), port=options.port, resolution=options.resolution)


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
            allowed="JOB.toml DIR; or PROGRAM with --cutter, --thickness and --blank", remedy="see check --help")
    found = measured(options)
    if options.json:
        say_json(found.data)
    else:
        verdict = "DO NOT CUT: see above" if not found.passed else (
            "Nothing found that forbids cutting, but judge what is said above" if found.findings else
            "Passed: nothing found that forbids cutting")
        lines = [*(f"{name}: {words}" for name, words in found.rows), *map(str, found.findings), verdict]
        _show([*(in_units(line, units_of(options)) for line in lines), *zero_lines(options, options.job)])
    return _status(found.passed)


def simulate(options: argparse.Namespace) -> None:
    """Run one program over a blank."""
    from pathgen.app.any_program import simulated, simulated_lines, units_of, wait_lines, zero_lines
    from pathgen.app.folders import write_new

    if options.picture and Path(options.picture).suffix.lower() != ".png":
        raise PathgenError("--picture", options.picture, allowed="a name that ends in .png",
                           remedy=f"write --picture {Path(options.picture).stem}.png")
    field = simulated(options)
    _show([*(in_units(line, units_of(options)) for line in simulated_lines(field, surfaced=options.surfaced)),
           *wait_lines(options.program), *zero_lines(options, options.program)])
    if options.picture:
        write_new(Path(options.picture), field._repr_png_())


def _alone(options: argparse.Namespace) -> list[str]:
    """Those options given that are for a program without a job."""
    names = ("cutter", "blank", "corner", "zero", "after", "stepdown", "thickness", "radius", "relief", "fall_away",
             "surfaced", "scallop")
    given = [f"--{name.replace('_', '-')}" for name in names if getattr(options, name)]
    return given + ["--along"] * (options.along != "x")


def check(options: argparse.Namespace) -> int:
    """Verify the programs in a folder, or one program without a job."""
    if options.folder is None or _alone(options):
        return _check_alone(options)
    from pathgen.app.building import check_data
    from pathgen.job import load_job
    from pathgen.report.text import finding_lines

    with progress(1, sys.stderr) as tell:
        job = load_job(options.job)
        tell("reading the programs, cutting in simulation")
        checks = check_data(job, Path(options.folder), resolution=options.resolution)
    _answer(options, checks, finding_lines(checks, job.units))
    return _status(checks["passed"])


def bench(options: argparse.Namespace) -> int:
    """Cut something for the bench."""
    from pathgen.app.bench_commands import cut
    from pathgen.job import load_job

    frets = None
    if words := getattr(options, "frets", None):
        try:
            frets = int(words[0]), int(words[1])
        except ValueError:
            raise PathgenError("--frets", " ".join(words), allowed="two whole numbers, 0 for the nut",
                               remedy="write, say, --frets 1 9") from None
    return _status(cut(options.cut, load_job(options.job), options.out, frets=frets, resolution=options.resolution))


def frets(options: argparse.Namespace) -> None:
    """Print the fret table."""
    from pathgen.job.clamping import placing_of
    from pathgen.job.part import board_of
    from pathgen.report.board_text import dot_lines, frame_lines, fret_lines, string_lines, wood_lines
    from pathgen.report.data import part_data

    with _as_it_stands(options) as (job, mistakes):
        board_of(job)  # refuses the job of a plate
        data = part_data(placing_of(job, mistakes))
        parts = [
            frame_lines(data["board"], job.units),
            fret_lines(data["frets"], data["board"]["nut"], job.units),
            wood_lines(data["frets"], job.units),
            string_lines(data["strings"], job.units),
            dot_lines(data["side_dots"], job.units),
        ]
        _answer(options, data["frets"], [line for lines in parts for line in ("", *lines)][1:])


def reach(options: argparse.Namespace) -> None:
    """Print what the cutters can reach."""
    from pathgen.job.clamping import placing_of
    from pathgen.report.reaching import reach_data, reach_lines, reach_of_all
    from pathgen.report.wording import doubt_line, left_out_lines

    with _as_it_stands(options) as (job, mistakes):
        with progress(1, sys.stderr) as tell:
            clamping = placing_of(job, mistakes)
            tell("trying the cutters")
            found = reach_of_all(clamping, job.complete_cutters)
        lines = [line for inlay, one in zip(clamping.inlays, found, strict=True) for line in (
            *reach_lines(inlay.name, one, job.units, smallest=job.inlays[inlay.index].cutters[-1]), "")]
        if not found and not mistakes:
            lines.append("The job has no drawings to cut: there is nothing to reach.")
        _answer(options, [reach_data(one) for one in found],
                [*lines, *(doubt_line(doubt, job.units) for doubt in clamping.doubts),
                 *left_out_lines(clamping.left_out, job.units)])


def compare(options: argparse.Namespace) -> None:
    """Print what finishing cutters and ridge heights cost."""
    from pathgen.app import choosing

    with _as_it_stands(options) as (job, _):
        cutters = None if options.cutter is None else [_ball_end(job, text) for text in options.cutter]
        scallops = None if options.scallop is None else [_length(job, "--scallop", text) for text in options.scallop]
        choices = choosing.compare(job, cutters=cutters, scallops=scallops)
        if options.json:
            say_json(choosing.choice_rows(choices))
        else:
            _show([*choosing.choice_lines(choices, job.units), *choosing.change_lines(job)])


def paper(options: argparse.Namespace) -> None:
    """Print what is worked out for the bench without cutting."""
    from pathgen.app.folders import write_new
    from pathgen.app.paper import PAPERS
    from pathgen.base.markup import as_svg

    with _as_it_stands(options) as (job, _):
        made = PAPERS[options.paper](job)
        if made.picture is not None and options.picture:
            write_new(Path(options.picture), as_svg(made.picture))
        _answer(options, made.data, made.lines)


def keys(options: argparse.Namespace) -> None:
    """Print the keys of a job file."""
    from pathgen.job.describe import key_lines, key_rows

    _answer(options, [row.__dict__ for row in key_rows()], key_lines())


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


def _answer(options: argparse.Namespace, data: Any, lines: Iterable[str]) -> None:
    """Data as JSON where that is asked for, else lines."""
    if options.json:
        say_json(data)
    else:
        _show(lines)


def _show(lines: Iterable[str]) -> None:
    """Lines of a report; findings and the verdict in colour on a terminal."""
    colours = {"DO NOT CUT": RED, "Not verified": RED, "warning": YELLOW, "Verified": GREEN, "Verified in part": YELLOW}
    for line in lines:
        mark = line.partition(":")[0]
        line, known = one_line(line), mark in colours
        say(line[len(mark):] if known else line, mark=mark if known else "", colour=colours.get(mark, ""))
