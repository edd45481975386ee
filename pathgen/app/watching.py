"""Building again whenever the job file or a drawing changes, with a page that follows; ends with Ctrl-C."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from pathlib import Path

from pathgen.app.building import Build, build
from pathgen.app.earlier import compared, not_of_this_job, pieces_for_others, programs_of, title_in, write_build
from pathgen.app.page_server import PageServer
from pathgen.app.showing import placing
from pathgen.app.terminal import GREEN, RED, by_option, say
from pathgen.base.errors import PathgenError
from pathgen.base.memory import Memory, remembering
from pathgen.base.plain import capital, one_line
from pathgen.base.units import in_units
from pathgen.job.clamping import placing_of
from pathgen.job.load import as_it_stands, drawings_named, units_of
from pathgen.report.text import warning_lines
from pathgen.report.wording import ended

_LOOK = 0.2  # seconds between two looks at the files
_AGAIN = 2.0  # seconds until a folder that could not be written is tried again
Stamp = dict[Path, tuple[int, int, int] | None]


class _ChangedMeanwhileError(Exception):
    """The files are others than those that are being built."""


def watch(job: Path, out: Path, *, port: int | None = None, resolution: float = 0.1) -> None:
    """Build a job, and again after each change, until Ctrl-C; serve its page to this computer alone.

    Errors are shown and waited out: what was built last stays in the folder and on the page. Raises PathgenError where
    there is no such job file at the start, or `port` is taken.
    """
    if not os.path.isfile(job):
        raise PathgenError(str(job), "there is no such file", remedy="check the name, or start one: pathgen new NAME")
    with PageServer(port) as page:
        say(f"The page is at {page.address} (for this computer only). Ctrl-C ends it.")
        try:
            _Watch(job, out, page, resolution).run()
        except KeyboardInterrupt:
            say(f"\nended; what was built last is in {one_line(str(out))}" if page.has_build else "\nended")
            for line in not_of_this_job(out, job):
                say(line)


class _Watch:
    """One job that is watched."""

    def __init__(self, job: Path, out: Path, page: PageServer, resolution: float) -> None:
        self._job, self._out, self._page, self._resolution = job, out, page, resolution
        self._drawings: list[Path] = []
        self._unwritten: Build | None = None
        self._said: list[str] = []
        self._warned: list[str] = []
        self._memory = Memory()

    def run(self) -> None:
        seen: Stamp | None = None
        tried = 0.0
        while True:
            if (now := self._stamp()) != seen:
                seen = self._build(now)
                tried = time.monotonic()
            elif self._unwritten is not None and time.monotonic() - tried > _AGAIN:
                self._guarded(self._write_again)
                tried = time.monotonic()
            else:
                time.sleep(_LOOK)

    def _stamp(self) -> Stamp:
        """What tells one state of the files from another, also where an editor put a new file in an old one's place."""
        self._drawings = drawings_named(self._job) or self._drawings
        found: Stamp = {}
        for path in (self._job, *self._drawings):
            try:
                state = path.stat()
                found[path] = (state.st_mtime_ns, state.st_size, state.st_ino)
            except OSError:
                found[path] = None
        return found

    def _build(self, stamp: Stamp) -> Stamp | None:
        """Build what the files say; gives their stamp, or None where they changed meanwhile."""
        def tell(words: str) -> None:
            if self._stamp() != stamp:
                raise _ChangedMeanwhileError
            self._page.busy(words)

        def build_all() -> None:
            try:
                self._build_all(tell)
            except PathgenError:
                time.sleep(_LOOK)
                if self._stamp() != stamp:  # an editor was half-way through saving
                    raise _ChangedMeanwhileError from None
                raise

        self._said, self._unwritten = [], None
        try:
            self._guarded(build_all)
        except _ChangedMeanwhileError:
            return None
        return stamp

    def _build_all(self, tell: Callable[[str], None]) -> None:
        start = time.monotonic()
        self._page.look_again()
        with as_it_stands(self._job) as (job, mistakes):
            self._page.show_placing(placing(placing_of(job, mistakes)))
        with remembering(self._memory):
            result = build(job, resolution=self._resolution, tell=tell)
            result.refuse_faults()
            self._write(result)
        say(f" in {time.monotonic() - start:.1f} s, into {one_line(str(self._out))}", mark="built", colour=GREEN)

    def _write_again(self) -> None:
        if self._unwritten is not None:
            self._write(self._unwritten)
            say(f" into {one_line(str(self._out))}", mark="written", colour=GREEN)

    def _write(self, result: Build) -> None:
        """Write a build and say what it has otherwise than the one before: its warnings, its programs."""
        found, done = result.earlier(self._out)  # what only another job can mend is not tried again
        self._unwritten = result
        told, before, title = result.saying(found), programs_of(self._out), title_in(self._out)
        files = told.files()
        write_build(self._out, files, result.job, result.report, done=done)
        self._unwritten = None
        self._page.show_build(files["setup.html"],
                              [ended(f"{one.where}: {one.got}. {capital(one.remedy)}") for one in found])
        now = programs_of(self._out)
        warned = [*warning_lines(told.report["checks"], result.job.units),
                  *pieces_for_others(before, now, result.let_in)]
        for line in warned:
            if line not in self._warned:
                say(f" {line}", mark="warning:", colour=RED)
        self._warned = warned
        for line in compared(before, now, done=done, title=title):
            say(line)

    def _guarded(self, act: Callable[[], None]) -> None:
        """Do it; what is wrong with the job, the drawings or the folder is said once, here and on the page."""
        try:
            act()
        except PathgenError as wrong:
            units = units_of(self._job)
            words = [in_units(line, units) for line in by_option(wrong).lines]
            if words != self._said:
                for each in words:
                    say(f" {each}", mark="not built:", colour=RED)
                for line in not_of_this_job(self._out, self._job):
                    say(line)
                self._page.wrong(words)
            self._said = words
