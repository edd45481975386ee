"""What a program's head has the maker set, beside what the job gives: by it the cutter is fitted and zero is set."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from difflib import SequenceMatcher

from pathgen.verify.findings import Finding, at
from pathgen.verify.read import ReadProgram

_SETS = ("cutter ", "zero: ", "before pressing start")
"""What a maker acts on before the start; the rest of a head is for knowing, and for afterwards."""

_MOST = 1000
"""Comments among which those of a head are looked for."""


def head_findings(program: ReadProgram, given: Sequence[str]) -> Iterator[Finding]:
    """Comments that have the maker set something, and that are not as `given`: changed, or left out.

    Comments that were added are the maker's own.
    """
    lines, sets = [text.strip() for _, text in program.comments[:_MOST]], list(_setting(given))
    for kind, i, i_end, j, j_end in SequenceMatcher(a=list(given), b=lines, autojunk=False).get_opcodes():
        first = next((k for k in range(i, i_end) if sets[k]), None) if kind in ("replace", "delete") else None
        if first is not None:
            at_line = j + first - i
            there = at_line < j_end
            yield Finding(
                code="other-head", got=f"its head says: {_words(lines[at_line])}" if there else
                "its head leaves out a line that was here",
                where=at(program.name, program.comments[min(at_line, len(lines) - 1)][0] if lines else None),
                allowed=f"{_words(given[first])}, as the job gives it: by its head the machine is set",
            )


def _setting(comments: Sequence[str]) -> Iterator[bool]:
    """Of each comment of a head whether it has the maker set something; what goes on or is listed belongs to its key.
    """
    sets = False
    for text in comments:
        if not text.startswith((".. ", "- ")):
            sets = text.startswith(_SETS)
        yield sets


def _words(text: str) -> str:
    return text.removeprefix(".. ").removeprefix("- ")
