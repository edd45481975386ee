"""Trying inputs: each ends well or in one `PathgenError`, soon, in little memory, in words that a terminal can show."""

import resource
import shutil
import signal
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from random import Random

import pathgen
from pathgen.app.folders import read_folder
from pathgen.base.errors import PathgenError
from pathgen.job.bench import block_clamping, gauge_clampings, side_dot_clamping
from pathgen.job.clamping import clamping_of
from pathgen.job.coupon import coupon_clamping
from pathgen.job.nut_and_saddle import nut_and_saddle_clampings
from pathgen.job.pieces import piece_sheets
from pathgen.verify import verify
from tests import small_board
from tests.fuzz import commands, drawings, files, jobs, programs

SLOW = 10.0
"""Seconds of the processor that any one input may take."""
MEMORY = 1_000_000_000
"""Bytes that inputs may take over what the process has before the first: asking for more is an error."""
BUILT = 0.03
"""Share of the jobs that are planned, written and verified too."""


@dataclass(frozen=True)
class Trouble:
    """An input that was not answered as it should be."""

    kind: str
    seed: int
    words: str


class TooSlow(BaseException):
    """Raised in an input that has had its time; no `except Exception` on the way takes it for its own."""


def tried(kind: str, seeds: range, *, slow: float = SLOW) -> Iterator[Trouble]:
    """What went wrong with the inputs of a kind, one of each seed. One that takes too long is ended."""
    for seed in seeds:
        folder = Path(tempfile.mkdtemp(prefix="fuzz-"))
        try:
            with _ended_after(slow):
                KINDS[kind](folder, Random(f"{kind} {seed}"))
        except PathgenError as refused:
            words = str(refused).replace("\N{NO-BREAK SPACE}", " ")
            if not words.isprintable() or len(words) > 4000:
                yield Trouble(kind, seed, f"an answer of {len(words)} characters, or not in one line: {words[:99]!r}")
        except TooSlow:
            yield Trouble(kind, seed, f"more than {slow:g} s of the processor")
        except Exception as fault:
            yield Trouble(kind, seed, f"{type(fault).__name__}: {fault}")
        finally:
            shutil.rmtree(folder, ignore_errors=True)


@contextmanager
def _ended_after(seconds: float) -> Iterator[None]:
    """`TooSlow` once the process has used so much of the processor, or when the block ends if a library held it."""
    def end(*_: object) -> None:
        raise TooSlow

    before = signal.signal(signal.SIGPROF, end)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)


@contextmanager
def limited(more: int = MEMORY) -> Iterator[None]:
    """The process may not ask for more memory than it has and `more` bytes: that is a MemoryError."""
    soft, hard = resource.getrlimit(resource.RLIMIT_AS)
    has = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
    resource.setrlimit(resource.RLIMIT_AS, (has + more, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_AS, (soft, hard))


def _drawing(folder: Path, chance: Random) -> None:
    (folder / "art.svg").write_bytes(drawings.drawing(chance))
    pathgen.read_artwork(folder / "art.svg", missing=chance.choice(("refuse", "report")))


def _job(folder: Path, chance: Random) -> None:
    path = small_board.job(folder)
    text = chance.choice((small_board.JOB + small_board.SLOT_CUTTER, _every_table()))
    path.write_bytes(jobs.job(text, chance))
    job = pathgen.load_job(path)
    chance.choice((clamping_of, clamping_of, coupon_clamping, nut_and_saddle_clampings, side_dot_clamping,
                   gauge_clampings, lambda one: block_clamping(one, None), piece_sheets))(job)
    if chance.random() < BUILT:
        pathgen.build(job, resolution=1.0).files(shaded=False)


def _program(folder: Path, chance: Random) -> None:
    clamping, good, fingerprint = good_programs()
    name = chance.choice(list(good))
    spoilt = programs.program(chance) if chance.random() < 0.4 else programs.edited(good[name], chance)
    verify(clamping, {**good, name: spoilt}, resolution=1.0, job_fingerprint=fingerprint)


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
def _every_table() -> str:
    """The example with most tables, and two more."""
    example = Path(__file__).parents[2] / "examples" / "boards" / "dots-and-fall-away.toml"
    return example.read_text() + '[block]\ncutter = "flat 3"\n[gauges]\ncutter = "flat 3"\n'


@cache
def good_programs() -> tuple:
    """A clamping, its good programs by name, and the job's fingerprint."""
    with tempfile.TemporaryDirectory() as folder:
        result = small_board.built(Path(folder), resolution=0.5)
    return result.plan.clamping, {p.file_name: p.text for p in result.programs}, result.job.fingerprint


KINDS: dict[str, Callable[[Path, Random], None]] = {
    "drawings": _drawing, "jobs": _job, "programs": _program, "files": _file, "commands": commands.run,
}
