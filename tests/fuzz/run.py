"""Trying inputs: each ends well or in one `PathgenError`, soon and without a warning that reaches the terminal."""

from __future__ import annotations

import shutil
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from random import Random

import pathgen
from pathgen.app.folders import read_folder
from pathgen.base.errors import PathgenError
from pathgen.job.clamping import clamping_of
from pathgen.verify import verify
from tests import small_board
from tests.fuzz import drawings, files, jobs, programs

SLOW = 10.0
"""Seconds that any one input may take."""


@dataclass(frozen=True)
class Trouble:
    """An input that was not answered as it should be."""

    kind: str
    seed: int
    words: str


def tried(kind: str, seeds: range) -> Iterator[Trouble]:
    """What went wrong with the inputs of a kind, one of each seed."""
    for seed in seeds:
        folder = Path(tempfile.mkdtemp(prefix="fuzz-"))
        began = time.monotonic()
        try:
            KINDS[kind](folder, Random(f"{kind} {seed}"))
        except PathgenError as refused:
            words = str(refused).replace("\N{NO-BREAK SPACE}", " ")
            if not words.isprintable() or len(words) > 4000:
                yield Trouble(kind, seed, f"an answer of {len(words)} characters, or not in one line: {words[:99]!r}")
        except Exception as fault:
            yield Trouble(kind, seed, f"{type(fault).__name__}: {fault}")
        finally:
            shutil.rmtree(folder, ignore_errors=True)
        if time.monotonic() - began > SLOW:
            yield Trouble(kind, seed, f"{time.monotonic() - began:.0f} s")


def _drawing(folder: Path, chance: Random) -> None:
    (folder / "art.svg").write_bytes(drawings.drawing(chance))
    pathgen.read_artwork(folder / "art.svg", missing=chance.choice(("refuse", "report")))


def _job(folder: Path, chance: Random) -> None:
    path = small_board.job(folder)
    path.write_bytes(jobs.job(small_board.JOB, chance))
    clamping_of(pathgen.load_job(path))


def _program(folder: Path, chance: Random) -> None:
    clamping, good, fingerprint = _good()
    name = chance.choice(list(good))
    spoilt = programs.program(chance) if chance.random() < 0.4 else programs.edited(good[name], chance)
    verify(clamping, {**good, name: spoilt}, resolution=1.0, section_step=0.2, job_fingerprint=fingerprint)


def _file(folder: Path, chance: Random) -> None:
    path = small_board.job(folder)
    odd = chance.choice(("job.toml", "art.svg", "01-a.nc", "set"))
    if odd != "01-a.nc":
        (folder / odd).unlink(missing_ok=True)
    files.place(folder / odd, chance)
    if odd in ("01-a.nc", "set"):
        read_folder(folder / odd if odd == "set" else folder)
    else:
        clamping_of(pathgen.load_job(path))


@cache
def _good() -> tuple:
    """A clamping, its good programs by name, and the job's fingerprint."""
    with tempfile.TemporaryDirectory() as folder:
        result = small_board.built(Path(folder), resolution=0.5)
    return result.plan.clamping, {p.file_name: p.text for p in result.programs}, result.job.fingerprint


KINDS: dict[str, Callable[[Path, Random], None]] = {
    "drawings": _drawing, "jobs": _job, "programs": _program, "files": _file,
}
