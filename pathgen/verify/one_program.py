"""One program against one surface, without a job and whoever wrote it: ridges, heights, rapids, cuts too deep."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import shapely

from pathgen.base import given
from pathgen.base.brief import Brief
from pathgen.base.cutters import Cutter
from pathgen.base.errors import PathgenError, ProgramError
from pathgen.base.lowered import MOST_LOWERED, Lowered
from pathgen.base.markup import as_table
from pathgen.base.plain import rounded, rounded_point
from pathgen.base.surface import Surface
from pathgen.base.units import format_length, place_words
from pathgen.verify.abilities import PLUNGED, faster_findings, plunge_findings, shank_findings
from pathgen.verify.cutting import deep_findings, rapid_findings, widest_shaving
from pathgen.verify.findings import Finding, Tolerances, at, forbids
from pathgen.verify.heights import Blank, Difference, HeightField, Took, compare_heights
from pathgen.verify.in_plan import place_of
from pathgen.verify.over_blank import Text, motion_of, read, simulate
from pathgen.verify.program import ReadProgram
from pathgen.verify.run_alone import as_run
from pathgen.verify.scallops import EXACT, ScallopCheck, ridges_of_moves, standing

_FOLLOWS = 0.02
"""How much more than their ridges passes that follow a surface may stray from it, mm."""
_SURFACED = "or, if an earlier program has cut the surface, say so (Blank(top=..)): then this is not so"
_OPENED = "or, if an earlier program has opened that place, give what it left (blank=simulate(..))"
_AS_DEEP = "see that it is as deep as you mean it to be"
_JUDGED = "a finish is judged once the ridge height allowed is given: limit=.."


@dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class ProgramCheck(Brief):
    """What one program does to a blank. Lengths in mm.

    Attributes
    ----------
    field : HeightField
        What is left, with what each move took.
    against : Difference or None
        Of what was cut against the surface, straight up, at the field's points and where the cutter's tip went; None
        where nothing was cut. The highest is of where the cutter went over: not of the rim of what was cut, nor, where
        passes lie side by side, outside of what they span.
    ridges : ScallopCheck or None
        For a ball end whose passes lie side by side, or over the area given; None for others.
    findings : tuple of Finding
        Each with code, severity, where, got, allowed and remedy: rapids through material or below the underside, cuts
        deeper than the stepdown, ridges over the limit, cuts below the surface and wood left above it (where a limit is
        given; without one, passes that follow the surface at another height or stray from it, a warning), cuts with the
        spindle off, turning backwards or without a feed, a spindle left on at the end, an end in the wood, what the
        cutter cannot do. Warnings: cuts below the underside, beside the blank or of nothing, waits and stops of the
        spindle in the wood, a first move from an unknown height, speed, units or G90 unsaid, corners that may be
        rounded (G64), feeds and speed above the cutter's own, a file without an end.

    Examples
    --------
    >>> import pathgen
    >>> ball = pathgen.Cutter(name="ball 6", shape="ball-end", diameter=6.0, speed=18000, feed=2000.0, plunge=500.0,
    ...                       stepdown=2.0)
    >>> moves = "".join(f"Y{0.5 * k}\\nX{60 * (k % 2)}\\n" for k in range(1, 9))
    >>> text = f"G21 G90 G17 G94\\nG0 Z20\\nM3 S18000\\nG0 X60 Y0\\nG1 Z6 F500\\nX0 F2000\\n{moves}G0 Z20\\nM5\\nM30\\n"
    >>> found = pathgen.check_program(text, cutter=ball, top=pathgen.flat(6.0), limit=0.005,
    ...                               blank=pathgen.Blank(x=(-5, 65), y=(-5, 9), thickness=7.0))
    >>> found.passed, [finding.code for finding in found.findings], round(found.ridges.highest, 4)
    (False, ['ridge-too-high'], 0.0104)
    """

    field: HeightField
    against: Difference | None
    ridges: ScallopCheck | None
    findings: tuple[Finding, ...]

    @property
    def passed(self) -> bool:
        """True when nothing was found that forbids cutting."""
        return not forbids(self.findings)

    @property
    def rows(self) -> list[tuple[str, str]]:
        """What was measured, in words."""
        took = self.field.took[-1]
        rows = []
        if self.ridges is not None:
            rows += [("highest ridge", f"{_fine(self.ridges.highest)} at {place_words(*self.ridges.highest_at)}"
                      if np.isfinite(self.ridges.highest_at).all() else "none stands there"),
                     ("by the exact formula", "not known: no passes side by side along the surface"
                      if np.isnan(self.ridges.predicted) else _fine(self.ridges.predicted)),
                     ("on sections", f"{_fine(self.ridges.low)} to {_fine(self.ridges.high)} from the surface")]
        elif took.cutter.shape == "ball-end":
            rows.append(("ridges", "not measured: no passes side by side along the surface" if took.volume else
                         "not measured: nothing was cut"))
        if self.against is not None:
            for name, off, place in (("lowest cut", self.against.low, self.against.low_at),
                                     ("highest where it cut", self.against.high, self.against.high_at)):
                rows.append((name, f"{_fine(off)} from the surface at {place_words(*place)}"))
        rows += [(name, f"{format_length(mm)} in line {line}") for name, mm, line in took.deepest]
        return [*rows, ("taken", f"{took.volume:.1f} mm3 in {took.moves} moves")]

    @property
    def data(self) -> dict[str, object]:
        """The same for scripts: mm, mm3, rounded."""
        took = self.field.took[-1]
        deepest = {name: mm for name, mm, _ in took.deepest}
        return {
            "units": "mm", "passed": self.passed, "volume": rounded(took.volume, 6), "moves": took.moves,
            "deepest_bite": rounded(deepest.get("deepest bite", 0.0), 6),
            "tallest_shaving": rounded(deepest["tallest shaving"], 6) if "tallest shaving" in deepest else None,
            "ridges": None if self.ridges is None else {
                **_told(self.ridges, "highest", "highest_at", "predicted", "low", "high"), "passes": self.ridges.passes,
            },
            "surface": None if self.against is None else _told(self.against, "low", "low_at", "high", "high_at"),
            "findings": [vars(finding) for finding in self.findings],
        }

    def _repr_html_(self) -> str:
        """A table, for notebooks."""
        return as_table([*self.rows, *((finding.severity, str(finding)) for finding in self.findings)])


def check_program(
    program: Text, *, cutter: Cutter, top: Surface, blank: Blank | HeightField, limit: float | None = None,
    area: shapely.Polygon | shapely.MultiPolygon | None = None, zero: tuple[float, float, float] = (0.0, 0.0, 0.0),
    resolution: float = 0.1, along: Literal["x", "y"] = "x",
) -> ProgramCheck:
    """Measure a program that anybody wrote: what it leaves of a blank, against a surface.

    Parameters
    ----------
    program : text, Path or ReadProgram
        Within the plain subset of RS274/NGC, mm or inches.
    cutter : Cutter
        What it is run with; its stepdown is the deepest cut allowed. What it cannot do is told too: straight down into
        wood with ``plunges`` false, wood beside it above its flutes, more than its feeds and speed (a warning).
    top : Surface
        What the surface should be.
    blank : Blank or HeightField
        What stands there before: a field that `simulate` gave is what earlier programs left.
    limit : float, optional
        Ridge height allowed, mm. Given, the program is taken for a finishing one: a cut more than 0.002 mm below the
        surface, a ridge more than 0.0001 mm higher than this (so exactly they are measured), or what stands twice as
        high over the surface, forbids cutting; so does a program of no passes side by side that leaves wood so high
        within what it cut, or cuts nothing. Left out, all this is told and not judged.
    area : shapely polygon, optional
        Where ridges and heights are measured, mm. Left out: what the passes span, and all that was cut.
    zero : (x, y, z)
        Where X 0, Y 0, Z 0 of the program is, mm; z from the underside of the work.
    resolution : float
        Distance of the simulation's points, 0.01 to 2 mm; a field keeps its own.
    along : "x" or "y"
        The axis of the program that the surface's centre-line lies along; with "y" the program is turned back first,
        and all places, those of blank, area and zero too, are of the surface's own frame.

    Raises
    ------
    PathgenError
        Naming the argument, and for a surface higher than its blank; ProgramError, with the line, for text outside the
        subset.

    Examples
    --------
    >>> import pathgen
    >>> ball = pathgen.Cutter(name="ball 6", shape="ball-end", diameter=6.0, speed=18000, feed=2000.0, plunge=500.0,
    ...                       stepdown=2.0)
    >>> text = "G21 G90\\nG0 Z20\\nM3 S18000\\nG0 X5 Y0\\nG1 Z7 F500\\nX35 F2000\\nG0 Z6\\nX5\\nG0 Z20\\nM5\\nM30\\n"
    >>> found = pathgen.check_program(text, cutter=ball, top=pathgen.flat(6.0),
    ...                               blank=pathgen.Blank(x=(0, 40), y=(-10, 10), thickness=8.0))
    >>> [(finding.code, finding.got) for finding in found.findings]
    [('rapid-through-material', 'a rapid 1.000 mm into the work')]
    """
    top = given.value("check_program top", top, Surface)
    cutter = given.value("check_program cutter", cutter, Cutter)
    if limit is not None:
        limit = given.length("check_program limit", limit, above=0.0)
    program = read(program)

    def run(before: Blank | HeightField) -> HeightField:
        return simulate(before, program, cutter, resolution=resolution, zero=zero, along=along)

    if isinstance(blank, Blank):
        refuse_higher(blank, top, "check_program top")
    field = run(blank)
    if area is not None:
        field.standing("check_program area", area)
    against = _lower_of_tips(compare_heights(field, top, within=area), field, top, area) \
        if area is not None or field.cut.any() else None
    measured = None
    if cutter.shape == "ball-end" and against is not None:
        try:
            measured = ridges_of_moves(*motion_of(program, zero, along=along), cutter=cutter, top=top, area=area,
                                       limit=limit, stood=field)
        except ProgramError:  # it has no passes side by side; what cannot be read was refused above
            measured = None
    took = field.took[-1]
    spot = None if measured is None else _within(field, top, measured.area)
    if against is not None and area is None:
        against = _highest_inside(field, against) if spot is None else replace(
            against, high=spot.high, high_at=spot.high_at)
    hint = "" if against is None else _other_surface(field, against, top, along)
    findings = [*_of_raw_wood([*_moves(took)], blank, top, run), *as_run(program, field), *_abilities(took, program), *(
        _unjudged(took.name, against, measured, hint) if limit is None else
        _surface(took.name, against, measured, spot, limit, hint))]
    return ProgramCheck(field=field, against=against, ridges=measured, findings=tuple(findings))


def refuse_higher(blank: Blank, top: Surface, where: str) -> None:
    """Raises PathgenError for a surface that lies higher than the blank that it is to be cut from, or was."""
    x, y = np.array(blank.x), np.array([*blank.y, np.clip(0.0, *blank.y)])
    with np.errstate(all="ignore"):
        high = float(np.nanmax(np.append(top.height(x, y[:, None]), -np.inf)))
    if high > blank.thickness + 1e-6:
        raise PathgenError(where, f"a surface {high:g} mm high over a blank {blank.thickness:g} mm thick",
                           allowed="no higher than the blank", remedy="correct the one that is wrong")


def _lower_of_tips(
    against: Difference, field: HeightField, top: Surface, area: shapely.Geometry | None
) -> Difference:
    """The same, its lowest where the cutter's tip went if that is lower: points of the grid miss a pointed one."""
    tips = field.tips
    if area is not None:
        tips = tips[shapely.intersects_xy(area, tips[:, 0], tips[:, 1])]
    off = tips[:, 2] - top.height(tips[:, 0], tips[:, 1])
    if not (off < against.low).any():
        return against
    low = int(np.nanargmin(off))
    return replace(against, low=float(off[low]), low_at=(float(tips[low, 0]), float(tips[low, 1])))


def _other_surface(field: HeightField, against: Difference, top: Surface, along: str) -> str:
    """Why what was cut may lie below the surface though the program is right: the surface lies the other way, or is
    lowered."""
    if against.low >= -Tolerances().surface_low:
        return ""
    x, y = field.x, field.y[:, None]
    with np.errstate(all="ignore"):
        off = (field.top - (top.height(y, -x) if along == "x" else top.height(-y, x)))[field.cut]
    if len(off) and np.min(off) >= -Tolerances().surface_low and np.median(off) < _FOLLOWS:
        other = "y" if along == "x" else "x"
        return f'or, if its centre-line lies along {other.upper()}, say so (along="{other}"), with the blank as it ' \
            "lies along X: then it is cut right; "
    return "" if isinstance(top, Lowered) or -against.low > MOST_LOWERED else \
        "if the surface has relief or fall-away, say so (top=..); "


def _within(field: HeightField, top: Surface, area: shapely.Geometry) -> Difference | None:
    """How far the field lies off the surface where ridges were measured; None where it has no points there."""
    try:
        return compare_heights(field, top, within=area)
    except PathgenError:
        return None


def _highest_inside(field: HeightField, against: Difference) -> Difference:
    """The same, its highest not on the rim of what was cut, where rounding decides how deep a point is; where there is
    more than a rim."""
    cut = field.cut
    inside = cut.copy()
    for axis in (0, 1):
        for step in (1, -1):
            inside &= np.roll(cut, step, axis)
    if not (inside := inside & np.isfinite(against.map)).any():
        return against
    high = int(np.argmax(np.where(inside, against.map, -np.inf)))
    return replace(against, high=float(against.map.flat[high]), high_at=place_of(field.grid, high))


def _moves(took: Took) -> Iterator[Finding]:
    """Rapids through material, and cuts deeper than the stepdown."""
    (motion, bites), cutter = took.pieces, took.cutter
    yield from rapid_findings(took.name, took.motion, took.bites, took.through)
    yield from deep_findings(took.name, motion, bites, cutter, Tolerances(), stepdown=cutter.stepdown,
                             limit=cutter.stepdown, shaving=float(widest_shaving(cutter, cutter.stepdown)))
    still = ~motion.rapid & (motion.feed <= 0)
    if still.any():
        yield Finding(code="no-feed", where=at(took.name, int(motion.line[np.argmax(still)])),
                      got="a cut without a feed", allowed="a feed above 0", remedy="write F before the first cut")


def _of_raw_wood(
    wrong: list[Finding], blank: Blank | HeightField, top: Surface, run: Callable[[Blank], HeightField]
) -> list[Finding]:
    """What was found of the moves; of what is not so where the surface is cut already that is said, and how to say it,
    else what to say if an earlier program opened that place."""
    codes = {one.code for one in wrong} & {"rapid-through-material", "cut-too-deep"}
    if not codes or not isinstance(blank, Blank):
        return wrong
    there = {one.code for one in _moves(run(replace(blank, top=top)).took[-1])} if blank.top is None else codes
    return [one if one.code not in codes else replace(
        one, remedy=f"{one.remedy}; {_OPENED if one.code in there else _SURFACED}") for one in wrong]


def _abilities(took: Took, program: ReadProgram) -> Iterator[Finding]:
    """What the cutter that was given cannot do, or is not said to."""
    motion, bites = took.pieces
    yield from plunge_findings(bites, motion, took.cutter, took.name, remedy="go in by a ramp or a helix",
                               borne=PLUNGED)
    yield from shank_findings(took.shank, took.cutter, took.name)
    yield from faster_findings(motion, bites, program.speed[motion.motion], took.cutter, took.name)


def _unjudged(
    name: str, against: Difference | None, measured: ScallopCheck | None, hint: str
) -> Iterator[Finding]:
    """Of a program not said to finish: passes that follow the surface at another height, or whatever lies below it."""
    slack = Tolerances()
    follows = measured is not None and _stray(measured) <= 0
    if measured is not None and follows and not -slack.surface_low <= measured.low <= _FOLLOWS:
        below = measured.low < 0
        yield Finding(
            code="off-surface", severity="warn", where=name, allowed="on it, where this is its finish",
            got=_follows(measured),
            remedy=f"{_AT_ANOTHER.format('the floor of a pocket' if below else 'roughing')}; "
                   f"{hint}{_JUDGED}",
        )
    elif against is not None and against.low < -slack.surface_low:
        yield Finding(
            code="below-surface", severity="note", where=at(name, None, *against.low_at),
            got=f"cuts {-against.low:.3g} mm below the surface",
            allowed="for pockets, slots, holes and outlines only",
            remedy=f"not judged; {hint}{_AS_DEEP if measured is None else _JUDGED}",
        )
    elif measured is not None and not follows:
        yield Finding(
            code="off-surface", severity="warn", where=name, got=_strays(measured),
            allowed="on it all over, where this is its finish", remedy=f"{_ANOTHER}; {_JUDGED}",
        )


def _stray(measured: ScallopCheck) -> float:
    """How much further than by their ridges, and a little, passes lie off the surface in one place than in another."""
    return measured.high - measured.low - measured.highest - _FOLLOWS


def _follows(measured: ScallopCheck) -> str:
    return f"its passes follow the surface {abs(measured.low):.4f} mm {'below' if measured.low < 0 else 'above'} it"


def _strays(measured: ScallopCheck) -> str:
    low, high = (f"{abs(mm):.4f} mm {'below' if mm < 0 else 'above'}" for mm in (measured.low, measured.high))
    return f"what its passes leave lies {low if abs(measured.low) >= 5e-5 else 'up'} to {high} the surface"


_NO_FINISH = "or, if it is not to finish it, leave the ridge height out (limit=..)"
_ANOTHER = "is that its radius? Or it roughs, in steps"
_AT_ANOTHER = "are zero and thickness right? only {} lies there"


def _surface(
    name: str, against: Difference | None, measured: ScallopCheck | None, spot: Difference | None, limit: float,
    hint: str,
) -> Iterator[Finding]:
    """Of a finishing program: cuts below the surface, and ridges over the limit, on sections or between them."""
    slack = Tolerances()
    if against is not None and against.low < -slack.surface_low:
        yield Finding(code="surface-low", where=at(name, None, *against.low_at),
                      got=f"cut {-against.low:.4f} mm below the surface", allowed=f"{slack.surface_low:g} mm",
                      remedy=f"raise the path there; {hint}is the zero right?")
    if measured is None:
        if against is None:
            yield Finding(code="surface-high", where=name, got="nothing was cut", allowed=f"ridges of {limit:g} mm",
                          remedy=f"are zero and blank right? {_NO_FINISH}")
        elif against.high > standing(limit):
            yield Finding(code="surface-high", where=at(name, None, *against.high_at),
                          got="no passes side by side, and what was cut stands up to "
                          f"{against.high:.4f} mm over the surface",
                          allowed=f"ridges of {limit:g} mm", remedy=f"have it cut all of the surface; {_NO_FINISH}")
        return
    strays = _stray(measured) > 0
    if measured.high > limit + slack.surface_low and (strays or measured.low > _FOLLOWS):
        yield Finding(code="surface-high", where=name, allowed=f"ridges of {limit:g} mm",
                      got=_strays(measured) if strays else _follows(measured),
                      remedy=_ANOTHER if strays else _AT_ANOTHER.format("roughing"))
    elif measured.highest > limit + EXACT:
        yield Finding(code="ridge-too-high", where=at(name, None, *measured.highest_at),
                      got=f"a ridge of {measured.highest:.4f} mm", allowed=f"{limit:g} mm",
                      remedy="set the passes closer")
    elif measured.high > standing(limit):
        yield Finding(code="surface-high", where=name, allowed=f"ridges of {limit:g} mm", got=_strays(measured),
                      remedy=_ANOTHER)
    elif spot is not None and spot.high > max(limit, measured.high) + slack.ridge:
        yield Finding(code="ridge-too-high", where=at(name, None, *spot.high_at),
                      got=f"what its passes leave stands {spot.high:.4f} mm over the surface", allowed=f"{limit:g} mm",
                      remedy="is a pass left out there, or lifted?")


def _told(of: object, *names: str) -> dict[str, object]:
    """Measures and places of a value, rounded."""
    values = ((name, getattr(of, name)) for name in names)
    return {name: rounded_point(value) if isinstance(value, tuple) else rounded(value, 6) for name, value in values}


def _fine(mm: float) -> str:
    return format_length(round(mm, 4) + 0.0, decimals=4)  # no minus before a zero
