"""Whether the programs given are those of the job: all there and read, each in its own file, unchanged; and their heads
as the job gives them, by which the cutter is fitted, zero is set, and the maker goes on."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from difflib import SequenceMatcher

from pathgen.base.errors import ProgramError
from pathgen.base.limits import MOST_CHORDS, MOST_LINES
from pathgen.verify.findings import AGAIN, EDITED, EXCHANGED, MISSING, OTHER_JOB, Finding, at
from pathgen.verify.not_followed import PLAIN_WORDS
from pathgen.verify.program import ReadProgram
from pathgen.verify.read import code_lines, read_within
from pathgen.work.clamping import Clamping

_TITLE = re.compile(r"^program (\d+) of (\d+)\b")
_ACTS = {"cutter ": "the cutter", "zero: ": "the zero", "before pressing start": "what to do before pressing start",
         "afterwards: ": "what to do afterwards"}
"""What a maker acts on, before the start and when a program has ended, by how it begins; the rest of a head is for
knowing."""
_MARK = re.compile(r"(job|program) fingerprint: ")
_MOST = 1000
"""Comments among which those of a head are looked for."""


def read_programs(clamping: Clamping, texts: Mapping[str, str], found: list[Finding]) -> dict[str, ReadProgram]:
    """The program of each step by its file name; what is missing, unreadable or too many is added to `found`."""
    programs: dict[str, ReadProgram] = {}
    names = [step.file_name for step in clamping.steps]
    if texts and len(names) > 1 and not set(names) & set(texts):
        found.append(Finding(
            code=MISSING, where=f"all {len(names)} programs", allowed=f"{names[0]} to {names[-1]}",
            got=f"none of them is there; the folder holds {len(texts)} of another job, the first {min(texts)}",
            remedy="name the folder that this job was built into, or build it again"))
        return programs
    for step in clamping.steps:
        lines = MOST_LINES - sum(one.lines for one in programs.values())
        chords = MOST_CHORDS - sum(one.chords for one in programs.values())
        text = texts.get(step.file_name)
        if text is None:
            found.append(Finding(code=MISSING, where=step.file_name, got="no such program",
                                 allowed=f'{step.title}, with cutter "{step.cutter.name}"'))
            continue
        try:
            programs[step.file_name] = read_within(text, name=step.file_name, most_lines=lines, most_chords=chords)
        except ProgramError as error:
            found.append(Finding(code="unreadable", where=error.where, got=error.problem,
                                 allowed=error.allowed or PLAIN_WORDS, remedy=error.remedy or AGAIN))
    for name in sorted(set(texts) - set(names)):
        found.append(Finding(code="program-unexpected", where=name, got="a program that is no step of the job",
                             allowed=", ".join(names), remedy="take it out of the folder"))
    found += _exchanged(_misnamed(clamping, programs))
    return programs


def _misnamed(clamping: Clamping, programs: Mapping[str, ReadProgram]) -> dict[str, str]:
    """The name of the file that a program was written for, by its header, where it stands in another's."""
    names = {str(step.order): step.file_name for step in clamping.steps}
    count, held = str(len(names)), {}
    for name, program in programs.items():
        titles = (_TITLE.match(text.removeprefix(".. ")) for _, text in program.comments)
        title = next((found for found in titles if found), None)
        if title and title[2] == count and names.get(title[1], name) != name:
            held[name] = names[title[1]]
    return held


def _exchanged(held: Mapping[str, str]) -> Iterator[Finding]:
    """Programs in files of other names: two that took each other's place in one finding."""
    for name, other in held.items():
        both = held.get(other) == name
        if both and other < name:
            continue
        yield Finding(
            code=EXCHANGED, where=f"{name} and {other}" if both else name,
            got="exchanged: by their headers each holds the other's program" if both else
            f"by its header it holds the program of {other}",
            allowed="each program in the file of its own name",
            remedy=f"{'give each the name of the other' if both else 'put its own program there'}, or {AGAIN}",
        )


def header_findings(
    programs: Mapping[str, ReadProgram], job_fingerprint: str | None, edited: Sequence[str]
) -> Iterator[Finding]:
    """Programs of another job, in one finding where all are of the same one; or `edited` since they were written."""
    every = programs.values() if job_fingerprint else ()
    unmarked = [one for one in every if one.job_fingerprint is None]
    others = [one for one in every if one.job_fingerprint not in (None, job_fingerprint)]
    of_one = 1 < len(others) == len(programs) and len({one.job_fingerprint for one in others}) == 1
    for program in others[:1] if of_one else others:
        yield Finding(
            code=OTHER_JOB, where=f"all {len(others)} programs" if of_one else program.name,
            got=f"built from another version of this job, or from another job: job fingerprint "
                f"{program.job_fingerprint}",
            allowed=str(job_fingerprint), remedy="make the programs again from this job",
        )
    for program in unmarked:
        yield Finding(
            code="no-job-fingerprint", severity="warn", where=program.name,
            got="no comment says which job it is of: it was held against this one all the same",
            allowed=f"job fingerprint {job_fingerprint}", remedy="see that it is of this job, and go by setup.html "
            f"where its head is gone; or {AGAIN}",
        )
    for name in edited:
        bare = programs[name].program_fingerprint is None
        yield Finding(
            code=EDITED, severity="warn", where=name, allowed="lines as they were written, or a change of your own",
            got="its lines were changed since it was verified" + bare * ", or that alone which states its fingerprint",
            remedy="if you made it, go by what is found here of what it does now; if not, make the programs again from "
                   "the job",
        )


def edited_programs(
    programs: Mapping[str, ReadProgram], texts: Mapping[str, str], written: Mapping[str, str]
) -> list[str]:
    """Those of which more was changed than comments, or may have been, where what was `written` is not known."""
    changed = [name for name, one in programs.items() if one.program_fingerprint != one.own_fingerprint
               and (one.program_fingerprint, one.job_fingerprint) != (None, None)]
    return [name for name in changed if name not in written or code_lines(texts[name]) != code_lines(written[name])]


def blamed(
    found: Sequence[Finding], programs: Mapping[str, ReadProgram], edited: Sequence[str]
) -> Iterator[Finding]:
    """The same, those of programs that were not changed with the ones that were: what is wrong may come of them.

    Nothing forbids cutting what a build wrote, while it may have been warned of before.
    """
    for one in found:
        name = one.where.partition(",")[0]
        if edited and one.severity == "forbid" and one.code != OTHER_JOB and name in programs and name not in edited:
            one = replace(one, remedy=f"{one.remedy}; {', '.join(edited)} {'were' if len(edited) > 1 else 'was'} "
                                      "changed and this program was not: look there first")
        yield one


def head_findings(program: ReadProgram, given: Sequence[str]) -> Iterator[Finding]:
    """Comments that are not as `given`, changed or left out: all that a maker acts on, and the first of the others.

    Comments that were added are the maker's own. Nothing is told of a program without any that are given, or that
    say what a maker acts on: its whole head is gone, as some machines take none.
    """
    if program.job_fingerprint is None:  # which is told by itself
        given = [text for text in given if not _MARK.match(text)]
    lines, acts, told = [text.strip() for _, text in program.comments[:_MOST]], list(_acting(given)), False
    if not set(given) & set(lines) and not any(text.startswith(tuple(_ACTS)) for text in lines):
        return
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
