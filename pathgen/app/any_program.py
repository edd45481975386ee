"""Programs that anybody wrote, without a job: the surface, the cutter and the blank come from the command line."""

from __future__ import annotations

import argparse
import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from pathgen.base.cutters import LIMITS, LONGEST_NAME, SHAPES, Cutter, reshaped, within
from pathgen.base.errors import PathgenError
from pathgen.base.lowered import MOST_LOWERED, FallAway, Lowered, Relief
from pathgen.base.plain import typed
from pathgen.base.surface import Surface
from pathgen.base.tops import flat, radiused
from pathgen.base.units import INCH, parse_length
from pathgen.verify.handling import long_waits
from pathgen.verify.heights import MUCH_BESIDE, Blank, HeightField, beside_words
from pathgen.verify.one_program import ProgramCheck, check_program, refuse_higher
from pathgen.verify.over_blank import read, simulate
from pathgen.verify.program import ReadMove, ReadProgram

_ANY = 1e9  # a feed or a speed that nobody stated: none is above it
_OPTIONS = (
    ("Blank(top=..)", "--surfaced"), ("blank=simulate(..)", "--after PROGRAM CUTTER"), ("limit=..", "--scallop"),
    ("zero=..", "--zero"), ("top=..", "--relief, --fall-away"), ('along="y"', "--along y"), ('along="x"', "--along x"),
)
"""What findings call what is to be said, and the options that say it."""


def measured(options: argparse.Namespace) -> ProgramCheck:
    """What `pathgen check PROGRAM --cutter ..` finds."""
    limit = None if options.scallop is None else _one("--scallop", options.scallop)
    found = check_program(
        Path(options.job), cutter=_cutter(options), top=_top(options), blank=_stands(options), limit=limit,
        zero=_zero(options), resolution=options.resolution, along=options.along)
    return replace(found, findings=tuple(replace(one, remedy=_as_options(one.remedy)) for one in found.findings))


def _as_options(words: str) -> str:
    for name, option in _OPTIONS:
        words = words.replace(name, option)
    return words


def wait_lines(program: str) -> list[str]:
    """That it waits longer than is likely meant: nothing that is simulated depends on it."""
    return [str(one) for one in long_waits(read(Path(program)))]


def zero_lines(options: argparse.Namespace, program: str) -> list[str]:
    """Where a program's own header says that its zero is, for who gives no ``--zero``; nothing where it does not."""
    text = read(Path(program))
    header = " ".join(words.removeprefix(".. ") if words.startswith(".. ") else f"\n{words}"
                      for _, words in text.comments)
    said = re.search(r"^zero: (.*?)[ ]*$", header, re.MULTILINE)
    if not said or options.zero:
        return []
    taken = "0 0 0 was taken, the last from the underside of the work"
    remedy = _zero_remedy(options, said[1], text)
    return [f"The program's header says of its zero: {said[1].rstrip('.')}. {taken}: {remedy}."]


def _zero_remedy(options: argparse.Namespace, said: str, program: ReadProgram) -> str:
    """What to write for the zero that a header tells of."""
    thickness = options.blank[-1]
    high = thickness if "Z 0 is the top of the raw stock" in said else "0"
    place = re.search(r"corner|centre of the blank|the middle of the blank's (nut|near|far) end", said)
    if not place:
        return f"say so with --zero 0 0 {typed(high)}" if high != "0" else "for another place give --zero"
    lies = re.search(r"along ([XY])( |\.|$)", said)
    if "along" in said and not lies:
        return "this command takes work that lies along X or Y: hold the folder against its job instead"
    if lies and lies[1].lower() != options.along:
        return f"say so with --along {lies[1].lower()}"
    blank, ends = _blank(options), program.end[program.kind != ReadMove.RAPID, :2]
    if options.along == "y":
        ends = np.column_stack([ends[:, 1], -ends[:, 0]])
    ahead = np.median(ends[np.isfinite(ends).all(axis=1)], axis=0) >= 0 if len(ends) else np.array([True, True])
    middles = {"corner": (), "centre of the blank": (0, 1)}.get(place[0], (1,))
    at = [sum(side) / 2 if axis in middles else side[0 if ahead[axis] else 1]
          for axis, side in enumerate((blank.x, blank.y))]
    inch = units_of(options) == "in"

    def words(mm: float) -> str:
        return typed(f"{round(mm / INCH, 4):g} in" if inch and mm else f"{mm:g}")

    zero = f"{words(at[1])} {typed(high)}"
    nut = ""
    if len(getattr(options, "radius", None) or ()) > 1 and not options.corner:
        nut = (f"; where the blank begins 20 mm before X 0 of the surface, the nut, with --corner {words(-20.0)} "
               f"{words(blank.y[0])} --zero {words(at[0] - 20.0)} {zero}")
    return f"say so with --zero {words(at[0])} {zero}{nut}"


def units_of(options: argparse.Namespace) -> str:
    """The unit that answers are given in: inches where the blank's lengths all are."""
    return "in" if all(re.search(r"(in|inch|inches|\")\s*$", words) for words in options.blank) else "mm"


def simulated(options: argparse.Namespace) -> HeightField:
    """What `pathgen simulate` leaves of the blank."""
    without = [name for name in ("thickness", "radius", "relief", "fall_away") if getattr(options, name)]
    if without and not options.surfaced:
        raise PathgenError(f"--{without[0].replace('_', '-')}", "without --surfaced it changes nothing here",
                           remedy="add --surfaced if an earlier program has cut that surface, else leave it out")
    return _run(options, _stands(options), options.program, _cutter(options))


def simulated_lines(field: HeightField, *, surfaced: bool) -> list[str]:
    """What a program took, line by line of the moves that took most."""
    took = field.took[-1]
    line, of = np.unique(took.line, return_inverse=True)  # the pieces of an arc are one move
    volume, drop, through = np.bincount(of, took.bites.volume), np.zeros(len(line)), np.zeros(len(line), bool)
    np.maximum.at(drop, of, took.fall)
    np.logical_or.at(through, of, took.through)
    low = min(float(np.min(field.top, where=field.cut, initial=np.inf)),
              float(np.min(field.tips[:, 2], initial=np.inf)))
    most = np.lexsort((-volume, ~through))[:5].tolist()
    return [
        *([f"{beside_words(field.beside)}: are its zero and --corner right?"] if field.beside > MUCH_BESIDE else []),
        f"taken: {took.volume:.1f} mm3 in {took.moves} moves" + (
            f", lowest place cut {abs(low):.3f} mm {'above' if low >= 0 else 'below'} the underside"
            if np.isfinite(low) else ""),
        *(f"line {line[k]}: {volume[k]:.2f} mm3, {drop[k]:.3f} mm deep"
          f"{': a rapid through the work' if through[k] else ''}" for k in most if volume[k] > 0),
        *(["The blank was taken as it comes, whole: if an earlier program has cut its surface, say so with --surfaced, "
           "--thickness and --radius; one that opened that place, with --after"] if through.any() and not surfaced else
          []),
        *(["Nothing is judged here: pathgen check PROGRAM does that"] if through.any() else []),
    ]


def _stands(options: argparse.Namespace) -> Blank | HeightField:
    """The blank as the program finds it."""
    blank = _blank(options)
    if options.surfaced and not options.thickness:
        raise PathgenError("--surfaced", "without --thickness", remedy="say how high that surface is at Y 0")
    if options.surfaced:
        top = _top(options)
        refuse_higher(blank, top, "--thickness")
        blank = replace(blank, top=top)
    before: Blank | HeightField = blank
    for program, *cutter in options.after or ():
        tool = _tool(options, "--after", cutter) if cutter else _cutter(options)
        before = _run(options, before, program, tool)
    return before


def _run(options: argparse.Namespace, before: Blank | HeightField, program: str, cutter: Cutter) -> HeightField:
    return simulate(before, Path(program), cutter, resolution=options.resolution, zero=_zero(options),
                    along=options.along)


def _cutter(options: argparse.Namespace) -> Cutter:
    return _tool(options, "--cutter", options.cutter)


def _tool(options: argparse.Namespace, where: str, words: Sequence[str]) -> Cutter:
    shape, *sizes = words
    if shape not in SHAPES or len(sizes) != 1 + (shape == "v"):
        raise PathgenError(where, " ".join(words), allowed='ball-end DIAMETER, flat-end DIAMETER, or v DIAMETER ANGLE',
                           remedy=f'write for example {where} ' + "PROGRAM " * (where == "--after")
                           + 'ball-end "6 mm"')
    diameter, *angle = sizes
    size = _one(where, diameter)
    stepdown = _one("--stepdown", options.stepdown) if options.stepdown else None
    cutter = Cutter(name=f"{shape} {diameter}"[:LONGEST_NAME], shape=shape, diameter=size,
                    stepdown=within("stepdown", size) if stepdown is None else stepdown,
                    speed=LIMITS["speed"][1], feed=LIMITS["feed"][1], plunge=LIMITS["plunge"][1],
                    angle=_number(where, angle[0]) if angle else None)
    return reshaped(cutter, speed=_ANY, feed=_ANY, plunge=_ANY,  # text has its own
                    stepdown=size if stepdown is None else stepdown)


def _top(options: argparse.Namespace) -> Surface:
    top = _radiused(options)
    if not (options.relief or options.fall_away):
        return top
    dip = _rising("--relief", options.relief) if options.relief else None
    fall = _rising("--fall-away", options.fall_away) if options.fall_away else None
    return Lowered(
        thickness=top.thickness, radius_nut=top.radius_nut, radius_end=top.radius_end, length=top.length,
        relief=Relief(depth=dip[0], deepest=dip[1], end=dip[2]) if dip else None,
        fall_away=FallAway(drop=fall[0], start=fall[1], end=fall[2]) if fall else None)


def _rising(where: str, texts: Sequence[str]) -> list[float]:
    """A depth, and two places along the surface, one after the other."""
    depth, first, second = lengths = _lengths(where, texts, (3,))
    if not (0.0 < depth <= MOST_LOWERED and 0.0 < first < second):
        raise PathgenError(where, " ".join(texts), allowed=f"up to {MOST_LOWERED:g} mm, and two places past X 0, the "
                           "nearer one first", remedy="correct it")
    return lengths


def _radiused(options: argparse.Namespace) -> Surface:
    thickness = _one("--thickness", options.thickness)
    if not options.radius or options.radius == ["flat"]:
        return flat(thickness)
    start, *second = radii = _lengths("--radius", options.radius, (1, 3))
    half = max(map(abs, _blank(options).y))
    if 0 < min(radii[:2]) < half:
        raise PathgenError("--radius", " ".join(options.radius), allowed=f"{half:g} mm or more, as far as the blank "
                           "comes from its centre-line", remedy='where inches are meant, write them so: "12 in"')
    if not second:
        return radiused(thickness=thickness, start=start)
    return radiused(thickness=thickness, start=start, end=second[0], length=second[1])


def _blank(options: argparse.Namespace) -> Blank:
    length, width, thickness = _lengths("--blank", options.blank, (3,))
    x, y = _lengths("--corner", options.corner, (2,)) if options.corner else (0.0, -width / 2)
    return Blank(x=(x, x + length), y=(y, y + width), thickness=thickness)


def _zero(options: argparse.Namespace) -> tuple[float, float, float]:
    x, y, z = _lengths("--zero", options.zero, (3,)) if options.zero else (0.0, 0.0, 0.0)
    return x, y, z


def _lengths(where: str, texts: Sequence[str], counts: tuple[int, ...]) -> list[float]:
    if len(texts) not in counts:
        raise PathgenError(where, f"{len(texts)} lengths", allowed=" or ".join(map(str, counts)))
    return [_one(where, text) for text in texts]


def _one(where: str, text: str) -> float:
    """A length in mm, or with its own unit."""
    sign, plain = (-1.0, text[1:]) if text.startswith("-") else (1.0, text)
    try:
        return sign * parse_length(plain, "mm")
    except ValueError as wrong:
        raise PathgenError(where, str(wrong), remedy='write a number in mm, or with its unit: "1/4 in"') from None


def _number(where: str, text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise PathgenError(where, f"{text!r} is no angle", allowed="degrees") from None
