"""What the words of a report are put together from: columns of text; a finding or doubt in a line."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from pathgen.base.errors import Doubt
from pathgen.base.plain import capital, in_runs, joined
from pathgen.base.units import in_units

GRAVE = {"forbid": "DO NOT CUT", "warn": "warning", "note": "note"}
"""How a severity is said."""
_MOST_LEFT_OUT = 50  # named on paper and on the terminal


def finding_line(severity: str, where: str, got: str, allowed: str, remedy: str, *, units: str = "mm") -> str:
    """The line, its lengths in the job's units; `where` may be empty."""
    place = f"{where}: " if where else ""
    standard = f" ({standard_words(severity, allowed)})" if allowed else ""
    return in_units(ended(f"{GRAVE[severity]}: {place}{got}{standard}. {capital(remedy)}"), units)


def doubt_line(doubt: Doubt, units: str) -> str:
    """The line of a doubt, its lengths in the job's units."""
    return finding_line("warn" if doubt.grave else "note", doubt.where, doubt.problem, doubt.allowed, doubt.remedy,
                        units=units)


def ended(words: str) -> str:
    """With a full stop, where no other sign ends them."""
    return words if words.endswith((".", "?", "!")) else f"{words}."


def standard_words(severity: str, allowed: str) -> str:
    """What would be in order: of a note nothing is forbidden, and what is usual says so itself."""
    if "usual" in allowed:
        return allowed
    return f"{'good' if severity == 'note' else 'allowed'}: {allowed}"


def left_out_lines(every: Sequence[str], units: str) -> list[str]:
    """What of the drawings is not cut, a line for each."""
    return [f"Left out: {in_units(words, units)}" for words in left_out_words(every)]


def left_out_words(every: Sequence[str]) -> list[str]:
    """What of the drawings is not cut; of very much of it the first, report.json has all."""
    more = len(every) - _MOST_LEFT_OUT
    return [*every[:_MOST_LEFT_OUT], *([f"and {more} more: report.json lists them all"] if more > 0 else [])]


def each_said(said: Iterable[tuple[str, str]]) -> list[str]:
    """Names, and what is said of each after it, a line each; what is said of several alike once for them all.

    >>> each_said([("inlay 1", ": cut."), ("inlay 2", ": cut."), ("inlay 3", ": not."), ("inlay 4", ": cut.")])
    ['Each of inlays 1, 2 and 4: cut.', 'Inlay 3: not.']
    """
    alike: dict[str, list[str]] = {}
    for name, words in said:
        alike.setdefault(words, []).append(name)
    return [f"{capital(names[0]) if len(names) == 1 else f'Each of {_together(names)}'}{words}"
            for words, names in alike.items()]


def _together(names: Sequence[str]) -> str:
    numbers = [name.removeprefix("inlay ") for name in names]
    if all(number.isdecimal() for number in numbers):
        return f"inlays {joined(in_runs(list(map(int, numbers))))}"
    return joined(names)


def headed(parts: Iterable[tuple[str, Sequence[str]]]) -> list[str]:
    """Lines under their heads; nothing of a part without lines."""
    return [line for head, lines in parts if lines for line in ("", head, "", *lines)]


def table(head: Sequence[str], rows: Iterable[Sequence[str]], *, right: Iterable[int] = ()) -> list[str]:
    """Columns of text under a head; the columns in `right` are set right."""
    body, to_the_right = [list(row) for row in rows], set(right)
    widths = [max(len(row[i]) for row in [list(head), *body]) for i in range(len(head))]
    lines = []
    for row in [list(head), *body]:
        cells = [
            c.rjust(w) if i in to_the_right else c.ljust(w) for i, (c, w) in enumerate(zip(row, widths, strict=True))
        ]
        lines.append("  ".join(cells).rstrip())
    return lines
