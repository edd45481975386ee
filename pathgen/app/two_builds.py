"""Programs of two builds: which is which, as numbers change with every step before, and whether they cut the same."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from itertools import pairwise

import numpy as np

from pathgen.base.arrays import Floats
from pathgen.base.errors import PathgenError
from pathgen.base.plain import in_runs, joined
from pathgen.verify.program import ReadMove
from pathgen.verify.read import code_lines, read_program
from pathgen.work.clamping import slug

_NUMBERED = re.compile(r"^(00-\D+-)?\d+-(?=\D)")
"""What stands before the operation in a program's name: those of a back are numbered by themselves."""
_OFF = 5e-3  # how far what cuts the same may lie apart, mm: numbers are rounded, and arcs stand for short moves
_CHORD = 1e-4  # mm, of arcs
_NEAR = range(-4, 5)  # moves beside the one that lies as far along: lengths are rounded too


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
    return any(re.match(r"M3(?!\d)", line) for line in code)


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


def cut_alike(
    old: str, new: str, *, old_in_wood: Callable[[Floats], Floats] | None = None,
    new_in_wood: Callable[[Floats], Floats] | None = None, shifted: bool = False,
) -> bool:
    """Whether two programs cut the same: feeds, how high they lift, and where straight moves are divided apart.

    `old_in_wood` and `new_in_wood` take (n, 3) tips to where they are in the wood; `shifted`: all may lie elsewhere by
    one shift.
    """
    try:
        was, now = _cuts_of(old, old_in_wood), _cuts_of(new, new_in_wood)
    except PathgenError:  # a folder holds what was put there
        return False
    if len(was) != len(now):
        return False
    shift = was[0][-1] - now[0][-1] if shifted and was else np.zeros(3)
    return all(_off(a, b + shift) <= _OFF and _off(b + shift, a) <= _OFF for a, b in zip(was, now, strict=True))


def _cuts_of(text: str, in_wood: Callable[[Floats], Floats] | None) -> list[Floats]:
    """The (n, 3) places along each run of cutting moves, from where it has come straight down."""
    starts, ends, motion = (read := read_program(text)).straight(_CHORD)
    cutting = read.kind[motion] != ReadMove.RAPID
    first = cutting & ~np.concatenate([[False], cutting[:-1]])
    plunged = first & (np.abs(starts - ends)[:, :2] <= _OFF).all(axis=1)
    runs = []
    for rows in np.split(np.arange(len(ends)), np.flatnonzero(first))[1:]:
        rows = rows[cutting[rows]]
        run = ends[rows] if plunged[rows[0]] else np.concatenate([starts[rows[:1]], ends[rows]])
        runs.append(run if in_wood is None else in_wood(run))
    return runs


def _off(places: Floats, along: Floats) -> float:
    """How far the furthest of `places` lies from the moves `along`, each looked for where it comes along its own."""
    a, b = (np.concatenate([along[:1], along[:-1]]), along)
    length, own = (np.cumsum(np.linalg.norm(np.diff(way, axis=0, prepend=way[:1]), axis=1)) for way in (along, places))
    there = np.searchsorted(length, own * (length[-1] / max(own[-1], 1e-9)))
    off = np.full(len(places), np.inf)
    for beside in _NEAR:
        start, end = (way[np.clip(there + beside, 0, len(along) - 1)] for way in (a, b))
        move = end - start
        share = np.einsum("ij,ij->i", places - start, move) / np.maximum(np.einsum("ij,ij->i", move, move), 1e-12)
        off = np.minimum(off, np.linalg.norm(places - start - np.clip(share, 0, 1)[:, None] * move, axis=1))
    return float(off.max())
