"""Which program of a build is which of another: by what they do, as numbers change with every step before them."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from itertools import pairwise

from pathgen.base.plain import in_runs, joined
from pathgen.verify.read import code_lines
from pathgen.work.clamping import slug

_NUMBERED = re.compile(r"^(00-\D+-)?\d+-(?=\D)")
"""What stands before the operation in a program's name: those of a back are numbered by themselves."""


def paired(before: Mapping[str, str], now: Mapping[str, str]) -> dict[str, str]:
    """The program of `before` that each of `now` is, by their files' names; none for those that are new.

    It has the same operation, drawing and cutter; or its code is the same, as where an inlay before it is gone; or but
    for the cutter it is the same.
    """
    old, new = ({file: code_lines(text) for file, text in texts.items()} for texts in (before, now))
    pairs: dict[str, str] = {}
    left = list(before)

    def pair(alike: Callable[[str, str], bool]) -> None:
        for file in now:
            if file not in pairs and (was := next((was for was in left if alike(was, file)), None)) is not None:
                pairs[file] = was
                left.remove(was)

    pair(lambda was, file: _operation(was) == _operation(file) and old[was] == new[file])
    pair(lambda was, file: cuts(new[file]) and old[was] == new[file])
    pair(lambda was, file: _operation(was) == _operation(file))
    pair(lambda was, file: _but_cutter(was, before[was]) == _but_cutter(file, now[file]))
    return pairs


def cuts(code: Iterable[str]) -> bool:
    """Whether the spindle turns in a program, by its `code_lines`."""
    return any(line.startswith("M3") for line in code)


def number_of(file: str) -> str:
    """What a program is known by: its number, and the whole name of one that has none of its own."""
    number = file.split("-")[0]
    return str(int(number)) if number.isdecimal() and int(number) else file


def named(programs: Sequence[str]) -> str:
    """Programs by their numbers, neighbours together: ``programs 1 to 3, 6 and 7``."""
    return f"program{'s' if programs[1:] else ''} {joined(_runs(programs))}"


def renumbered(pairs: Mapping[str, str]) -> str:
    """What programs, by their numbers now, were before: ``programs 8 to 10 of before are now 7 to 9``."""
    then, now = [*pairs.values()], [*pairs]
    rising = all(a.isdecimal() and b.isdecimal() and int(a) < int(b) for a, b in pairwise(then))
    was, are = (_runs(names) if rising else names for names in (then, now))
    many = ("s", "are") if now[1:] else ("", "is")
    return f"program{many[0]} {joined(was)} of before {many[1]} now {joined(are)}"


def _runs(programs: Sequence[str]) -> list[str]:
    return [*in_runs(sorted(int(one) for one in programs if one.isdecimal())),
            *(one for one in programs if not one.isdecimal())]


def _operation(file: str) -> str:
    """The name of a program's file without its number: the part on a blank, the operation, its drawing, its cutter."""
    return _NUMBERED.sub(lambda found: found[1] or "", file)


def _but_cutter(file: str, text: str) -> str:
    """The same without the cutter, whose name its header states."""
    found = re.search(r"^\(cutter ([^:()\n]+):", text, re.MULTILINE)
    return _operation(file).removesuffix(f"-{slug(found[1], 'cutter')}.nc") if found else file
