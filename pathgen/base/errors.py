"""The one error type, with a kind for each door that bad input can come through."""

from __future__ import annotations

from dataclasses import dataclass

from pathgen.base.plain import one_line


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
    """

    def __init__(self, where: str, problem: str, *, allowed: str = "", remedy: str = "") -> None:
        where, problem, allowed, remedy = (one_line(words) for words in (where, problem, allowed, remedy))
        self.where, self.problem, self.allowed, self.remedy = where, problem, allowed, remedy
        text = f"{where}: {problem}"
        text += f" (allowed: {allowed})" if allowed else ""
        text += f": {remedy}" if remedy else ""
        super().__init__(text)


@dataclass(frozen=True, kw_only=True)
class Doubt:
    """What may be meant, and is likely not: said and not refused. `grave` ones are warnings, the others notes."""

    where: str
    problem: str
    allowed: str
    remedy: str
    grave: bool = True


class JobError(PathgenError):
    """The job file, or numbers in it that do not go together."""


class ArtworkError(PathgenError):
    """A drawing that cannot be read, or that holds what cannot be cut."""


class CutterError(PathgenError):
    """A cutter that cannot do what is asked of it."""


class ProgramError(PathgenError):
    """A program text that is not in the plain subset of RS274/NGC."""
