"""What a program's head says, beside what the job gives: by it the cutter is fitted, zero is set, the maker goes on."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from difflib import SequenceMatcher

from pathgen.verify.findings import Finding, at
from pathgen.verify.program import ReadProgram

_ACTS = {"cutter ": "the cutter", "zero: ": "the zero", "before pressing start": "what to do before pressing start",
         "afterwards: ": "what to do afterwards"}
"""What a maker acts on, before the start and when a program has ended, by how it begins; the rest of a head is for
knowing."""
_MOST = 1000
"""Comments among which those of a head are looked for."""


def head_findings(program: ReadProgram, given: Sequence[str]) -> Iterator[Finding]:
    """Comments that are not as `given`, changed or left out: all that a maker acts on, and the first of the others.

    Comments that were added are the maker's own.
    """
    lines, acts, told = [text.strip() for _, text in program.comments[:_MOST]], list(_acting(given)), False
    for kind, i, i_end, j, j_end in SequenceMatcher(a=list(given), b=lines, autojunk=False).get_opcodes():
        if kind not in ("replace", "delete"):
            continue
        first = next((k for k in range(i, i_end) if acts[k]), None)
        if first is None and told:
            continue
        changed = i if first is None else first
        at_line = j + changed - i
        got = f"its head says: {_words(lines[at_line])}" if at_line < j_end else \
            "its head leaves out a line that was here"
        where = at(program.name, program.comments[min(at_line, len(lines) - 1)][0] if lines else None)
        allowed = f"{_words(given[changed])}, as the job gives it"
        if first is None:
            told = True
            yield Finding(code="other-comment", severity="note", where=where, got=got, allowed=allowed,
                          remedy="nothing that the machine does hangs on it: see that it is yours")
        else:
            yield Finding(code="other-head", where=where, got=got,
                          allowed=f"{allowed}: by its head the machine is set, and the work goes on")


def acted_on(comments: Sequence[str]) -> dict[str, str]:
    """What the comments of a head have a maker do, by what it is of."""
    said, of = dict.fromkeys(_ACTS.values(), ""), ""
    for text, acts in zip(comments, _acting(comments), strict=True):
        of = next((words for begins, words in _ACTS.items() if text.startswith(begins)), of)
        if acts:
            said[of] += f" {_words(text)}"
    return said


def _acting(comments: Sequence[str]) -> Iterator[bool]:
    """Of each comment of a head whether a maker acts on it; what goes on or is listed belongs to its key."""
    acts = False
    for text in comments:
        if not text.startswith((".. ", "- ")):
            acts = text.startswith(tuple(_ACTS))
        yield acts


def _words(text: str) -> str:
    return text.removeprefix(".. ").removeprefix("- ")
