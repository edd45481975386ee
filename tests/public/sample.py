"""A user's code that touches every public name: `mypy --strict` must pass it (test_names), and it runs (test_steps)."""

from pathlib import Path

import numpy as np
import shapely

import pathgen


def one_step_at_a_time(drawing: Path) -> dict[str, str]:
    """Programs by name."""
    top: pathgen.Surface = pathgen.radiused(thickness=6.0, start=254.0, end=406.4, length=470.0)
    ball = pathgen.Cutter(name="ball 6", shape="ball-end", diameter=6.0, speed=18000, feed=2000, plunge=500, stepdown=2)
    flat = pathgen.Cutter(name="flat 2", shape="flat-end", diameter=2.0, speed=18000, feed=900, plunge=200, stepdown=1)
    saw = pathgen.Cutter(name="0.5", shape="flat-end", diameter=0.5, speed=24000, feed=300, plunge=90, stepdown=0.3)
    art: pathgen.Artwork = pathgen.placed(pathgen.read_artwork(drawing), at=(60.0, 0.0), width=100.0)
    region: pathgen.Region = art.regions[0]
    left_out: tuple[pathgen.LeftOut, ...] = art.left_out
    assert region.colour.startswith("#")
    assert not left_out
    board = shapely.box(0, -20, 120, 20)
    rough: pathgen.Cut = pathgen.rough(board, top, flat, stock=8.0, finish=ball)
    first: pathgen.FinishCut = pathgen.finish(board, top, ball, ridge=0.02)
    pockets: tuple[pathgen.PocketCut, ...] = pathgen.pocket(
        art.regions[0].polygon, top=top, cutters=[saw], depth=1.0)
    again = pathgen.second_cut(first, over=art.regions[0].polygon, proud=1.0, stepdown=0.5)
    x = pathgen.fret_distances(640.0, 1)
    lines = np.stack([np.column_stack([x, x * 0 - 20.0]), np.column_stack([x, x * 0 + 20.0])], axis=1)
    slots = pathgen.slots(lines, top, saw, width=0.5, depth=2.0)
    free: pathgen.OutlineCut = pathgen.outline(board, flat, stock=6.0, blank=(-10.0, -30.0, 130.0, 30.0))
    own = pathgen.Toolpath.from_runs([[[0.0, 0.0, 5.0], [9.0, 0.0, 5.0]]], safe_z=18.0)
    assert own.kinds[0] == pathgen.Move.RAPID
    paths: dict[str, pathgen.Toolpath] = {
        "rough": rough, "first": first, "pocket": pathgen.join(pockets), "again": again, "slots": slots, "free": free,
    }
    texts = {name: pathgen.program(path, title=name) for name, path in paths.items()}
    texts["own"] = pathgen.program(own, cutter=saw, machine=pathgen.Machine(arcs=True))
    return texts


def any_program(text: str, cutter: pathgen.Cutter) -> tuple[float, float]:
    """The highest ridge and the lowest cut, mm."""
    program: pathgen.ReadProgram = pathgen.read_program(text)
    assert (program.kind == pathgen.ReadMove.FEED).any()
    blank = pathgen.Blank(x=(-5.0, 65.0), y=(-25.0, 25.0), thickness=8.0)
    field: pathgen.HeightField = pathgen.simulate(blank, program, cutter, resolution=0.5)
    took: pathgen.Took = field.took[0]
    assert took.volume > 0
    found: pathgen.ScallopCheck = pathgen.ridges(program, cutter=cutter, top=pathgen.flat(6.0))
    off: pathgen.Difference = pathgen.compare_heights(field, pathgen.flat(6.0))
    found_wrong: tuple[pathgen.Finding, ...]
    checked: pathgen.ProgramCheck = pathgen.check_program(text, cutter=cutter, top=pathgen.flat(6.0), blank=blank)
    found_wrong = checked.findings
    assert checked.passed, found_wrong
    return found.highest, off.low


def a_whole_board(job_file: Path, folder: Path) -> bool:
    """Whether it may be cut."""
    job: pathgen.Job = pathgen.load_job(job_file)
    result: pathgen.Build = pathgen.build(job)
    result.write(folder)
    last: pathgen.Program = result.programs[-1]
    found: pathgen.Verification = result.verification
    assert last.minutes > 0
    assert found.passed
    choices: pathgen.Choices = pathgen.compare(job, scallops=[0.01])
    first: pathgen.Choice = choices[0]
    assert first.minutes > 0
    ridge = pathgen.scallop_height(pathgen.stepover_for(0.01, 3.0), 3.0)
    return result.passed and pathgen.check(job, folder).passed and len(choices) > 0 and bool(ridge > 0)


def several_parts(job_file: Path, folder: Path) -> bool:
    """Whether they may be cut."""
    made: pathgen.BlankBuild = pathgen.build_blank(pathgen.load_job(job_file))
    made.write(folder)
    return made.passed


def refused() -> list[type[pathgen.PathgenError]]:
    """The kinds of errors."""
    return [pathgen.JobError, pathgen.ArtworkError, pathgen.CutterError, pathgen.ProgramError]
