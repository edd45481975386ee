"""The one error type, with a kind for each door that bad input can come through."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial

from pathgen.base.plain import brief, one_line

MOST_SAID = 20
"""Mistakes that are listed at once."""


class PathgenError(ValueError):
    """Bad input: says where, what was given, what is allowed and what to do.

    Parameters
    ----------
    where : str
        The place, as the maker would look for it: ``"[board] nut_width"``, ``"inlay 2"``, ``"line 14"``.
    problem : str
        What was given or found there.
    allowed : str
        What would have been accepted; left out when the remedy says it.
    remedy : str
        The one thing to do next.

    Attributes
    ----------
    others : tuple of PathgenError
        What else was found wrong in the same run; a job file may hold several mistakes.

    Examples
    --------
    >>> import pathgen
    >>> try:
    ...     pathgen.flat(-6.0)
    ... except pathgen.PathgenError as wrong:
    ...     print(wrong.where, "|", wrong.problem, "|", wrong.allowed, "|", wrong.remedy)
    flat thickness | -6 mm | 0.5 or more, at most 100 mm | give a number in mm
    """

    def __init__(self, where: str, problem: str, *, allowed: str = "", remedy: str = "") -> None:
        where, problem, allowed, remedy = (brief(one_line(words)) for words in (where, problem, allowed, remedy))
        self.where, self.problem, self.allowed, self.remedy = where, problem, allowed, remedy
        self.others: tuple[PathgenError, ...] = ()
        text = f"{where}: {problem}"
        text += f" (allowed: {allowed})" if allowed else ""
        text += f": {remedy}" if remedy else ""
        super().__init__(text)

    def __reduce__(self) -> tuple[Callable[[], PathgenError], tuple[()], dict[str, object]]:
        """By what it was made of, so that it can be copied and comes out of another process."""
        made = partial(type(self), self.where, self.problem, allowed=self.allowed, remedy=self.remedy)
        return made, (), vars(self)

    def advising(self, words: str, instead: str) -> PathgenError:
        """The same with other words in its remedy, for who asked in another way."""
        same = type(self)(self.where, self.problem, allowed=self.allowed, remedy=self.remedy.replace(words, instead))
        same.others = tuple(other.advising(words, instead) for other in self.others)
        return same

    @property
    def lines(self) -> list[str]:
        """This and the others, a line for each; of very many the first, and how many more there are."""
        every = [str(one) for one in (self, *self.others)]
        more = [f"and {len(every) - MOST_SAID} more mistakes"] if len(every) > MOST_SAID else []
        return every[:MOST_SAID] + more


class Mistakes:
    """Bad input gathered place by place, so that one run says all of it.

    >>> found = Mistakes()
    >>> for where in ("a", "b"):
    ...     with found.caught():
    ...         raise PathgenError(where, "is wrong")
    >>> try:
    ...     found.refuse()
    ... except PathgenError as wrong:
    ...     print(wrong, "|", *wrong.others)
    a: is wrong | b: is wrong
    """

    def __init__(self) -> None:
        self._found: dict[str, PathgenError] = {}

    def __bool__(self) -> bool:
        return bool(self._found)

    def __iter__(self) -> Iterator[PathgenError]:
        return iter(self._found.values())

    @contextmanager
    def caught(self) -> Iterator[None]:
        """Keeps what is refused within the block, once."""
        try:
            yield
        except PathgenError as wrong:
            for one in (wrong, *wrong.others):
                self._found.setdefault(str(one), one)

    def refuse(self) -> None:
        """Raise the first that was kept, with the others; nothing where there is none."""
        if self._found:
            first, *others = self._found.values()
            first.others = tuple(others)
            raise first


def all_of(*checks: Callable[[], object]) -> None:
    """Run every check; raise what they refuse, all at once."""
    mistakes = Mistakes()
    for check in checks:
        with mistakes.caught():
            check()
    mistakes.refuse()


@contextmanager
def asked_by(what: str) -> Iterator[None]:
    """Names what of the job asks for a cutter where an error names the cutter alone."""
    try:
        yield
    except CutterError as wrong:
        if not what or not wrong.where.startswith("cutter "):
            raise
        raise CutterError(f"{what} {wrong.where}", wrong.problem, allowed=wrong.allowed, remedy=wrong.remedy) from None


@dataclass(frozen=True, kw_only=True)
class Doubt:
    """What may be meant, and is likely not: said and not refused. `grave` ones are warnings, the others notes; `closed`
    ones say how much of what is drawn is not cut, those `beside` how much more is: both are said beside the verdict.
    """

    where: str
    problem: str
    allowed: str
    remedy: str
    grave: bool = True
    closed: bool = False
    beside: bool = False


class JobError(PathgenError):
    """The job file, or numbers in it that do not go together.

    >>> import pathgen
    >>> try:
    ...     pathgen.load_job("none.toml")
    ... except pathgen.JobError as wrong:
    ...     print(wrong.where)
    none.toml
    """


class ArtworkError(PathgenError):
    """A drawing that cannot be read, or that holds what cannot be cut.

    >>> import pathgen
    >>> try:
    ...     pathgen.read_artwork("none.svg")
    ... except pathgen.ArtworkError as wrong:
    ...     print(wrong.where)
    none.svg
    """


class CutterError(PathgenError):
    """A cutter that cannot do what is asked of it.

    >>> import pathgen
    >>> try:
    ...     pathgen.stepover_for(0.01, -3.0)
    ... except pathgen.CutterError as wrong:
    ...     print(wrong)
    ball_radius: -3 given (allowed: 1e-06 to 1e+09)
    """


class ProgramError(PathgenError):
    """A program text that is not in the plain subset of RS274/NGC.

    >>> import pathgen
    >>> try:
    ...     pathgen.read_program("G21 G90\\nG81 X1 Z-2 R1\\n")
    ... except pathgen.ProgramError as wrong:
    ...     print(wrong.where)
    program, line 2
    """
