"""The strings at nut and saddle: where each lies, how deep its nut slot is, and how far off it sounds when fretted."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from pathgen.base.arrays import Floats
from pathgen.base.errors import JobError
from pathgen.base.plain import counted, rounded
from pathgen.base.units import rounded_up
from pathgen.parts.fingerboard.layout import Layout
from pathgen.parts.fingerboard.numbers import MOST_STRINGS
from pathgen.parts.keys import choice, key, list_of, number, size, table_of

_SHOWN_FRETS = (1, 3, 5, 7, 12)  # frets whose cents are shown

LISTS = ("pitches", "mass", "core", "modulus", "nut_compensation", "saddle_compensation")

BEHIND_ZERO_FRET = -0.2
"""Where a zero fret carries the strings: `clear` of the nut's slots behind it, so that each string is pressed on the
fret, mm (common practice, no source)."""
USUAL_CLEAR = 0.2
"""And where none does, mm."""

_EACH = "bass first; "


@dataclass(frozen=True, kw_only=True)
class CourseTable:
    """Strings that stand together."""

    strings: int = key(number(2, 6, whole=True), "of each course")
    gap: float = key(size(0.2, 10.0), "clear, between neighbours of one course")


@dataclass(frozen=True, kw_only=True)
class Strings:
    """``[strings]``: the set of strings, for nut, saddle and compensation."""

    gauges: tuple[float, ...] = key(list_of(size(0.1, 5.0), least=1, most=MOST_STRINGS), _EACH + "outer diameters")
    spacing: str = key(choice("gaps", "centres"), "what is equal between neighbours or courses: clear gaps, or centres",
                       "gaps")
    course: CourseTable | None = key(
        table_of(CourseTable), "strings that stand together, as a mandolin's: { strings, gap }", None, shown="none")
    clear: float = key(  # None until loading fills it in
        size(-2.0, 3.0), "at the nut, from a string's underside down to the plane of the frets' tops; less than 0: the "
        "nut's slots end under it, as behind a zero fret", None,
        shown=f"{USUAL_CLEAR:g} mm; with a zero fret {BEHIND_ZERO_FRET:g} mm")
    action_12: float = key(size(0.0, 10.0), "from the top of the 12th fret to the string", 2.0)
    nut_height: float | None = key(size(0.5, 20.0), "of the nut's top over the board", None,
                                   shown="half of each string stands out")
    pitches: tuple[float, ...] = key(list_of(number(10.0, 5000.0, unit="Hz")), _EACH + "open strings, Hz", (),
                                     shown="no cents")
    mass: tuple[float, ...] = key(list_of(number(0.01, 100.0, unit="g/m")), _EACH + "g per m", (), shown="no cents")
    core: tuple[float, ...] = key(list_of(size(0.05, 5.0)), _EACH + "diameters of the cores", (), shown="no cents")
    modulus: tuple[float, ...] = key(list_of(number(0.5, 400.0, unit="GPa")),
                                     _EACH + "of elasticity of the cores, GPa", (), shown="no cents")
    nut_compensation: tuple[float, ...] = key(
        list_of(size(-10.0, 10.0)), _EACH + "how far the nut's edge lies nearer to the first fret", (), shown="none")
    saddle_compensation: tuple[float, ...] = key(
        list_of(size(-20.0, 20.0)), _EACH + "how far the saddle lies behind the scale length", (), shown="none")


def checked_strings(strings: Strings, count: int) -> None:
    """Raise JobError for lists that do not go with `count` strings."""
    for name in ("gauges", *LISTS):
        values = getattr(strings, name)
        if values and len(values) != count:
            raise JobError(f"[strings] {name}", f"{len(values)} given, and the board has {count} strings",
                           allowed=f"{count} values, bass first",
                           remedy=f"correct the list, {'' if name == 'gauges' else 'gauges '}or [board] strings")
    if strings.course and (count % strings.course.strings or count == strings.course.strings):
        raise JobError("[strings] course", f"{counted(count, 'string')}, and {strings.course.strings} to each course",
                       allowed="two courses or more, each with as many strings",
                       remedy="correct it, or the number of strings")
    physics = [name for name in LISTS[:4] if getattr(strings, name)]
    if physics and len(physics) < 4:
        missing = [name for name in LISTS[:4] if name not in physics]
        raise JobError("[strings]", f"{', '.join(physics)} without {', '.join(missing)}",
                       remedy="give all of pitches, mass, core and modulus, or none")
    for i, (core, gauge) in enumerate(zip(strings.core, strings.gauges, strict=False), 1):
        if core > gauge + 1e-9:
            raise JobError("[strings] core", f"string {i}: {core:g} mm in a string of {gauge:g} mm",
                           allowed=f"{gauge:g} mm or less", remedy="correct it")


def string_places(
    gauges: ArrayLike, spread: float, spacing: str, course: CourseTable | None = None, *, inset: float = 0.0
) -> Floats:
    """Centres of the strings across, (n,) mm, from the outer bass string at 0 to the outer treble one at `spread`.

    Equal distances between centres, or equal clear gaps between neighbours; with a `course` between the middles of
    courses, or between courses. Raises JobError where strings would touch, with what to make of the distance between
    the edges and the outer strings, now `inset`, by trying.
    """
    steps, half = _steps(gauges, spread, spacing, course)
    if np.any(steps <= half):
        d, worst = np.asarray(gauges, float), int(np.argmin(steps - half))

        def room(edge: float, gap: float | None = None) -> bool:
            new = course if course is None or gap is None else replace(course, gap=gap)
            there, least = _steps(gauges, spread + 2 * (inset - edge), spacing, new)
            return bool(np.all(there > least))

        edge, gap = _most(room, inset), _most(partial(room, inset), course.gap) if course else 0.0
        ways = [f"make {key} {most:.2f} mm or less" for key, most in (("edge_to_string", edge), ("gap", gap)) if most]
        raise JobError("[strings] gauges", f"strings {worst + 1} and {worst + 2} would touch: {steps[worst]:.2f} mm "
                       f"between centres of {d[worst]:g} and {d[worst + 1]:g} mm",
                       allowed=f"more than {half[worst]:.2f} mm between centres",
                       remedy=", or ".join([*ways, "make the board wider there"]))
    return np.concatenate([[0.0], np.cumsum(steps)])


def _most(does: Callable[[float], bool], most: float) -> float:
    """The largest in whole hundredths, from 0 up to `most`, that does; 0 where none does."""
    tried = np.arange(1, math.ceil(100 * most)) / 100
    return max((one for one in tried.tolist() if does(one)), default=0.0)


def _steps(gauges: ArrayLike, spread: float, spacing: str, course: CourseTable | None) -> tuple[Floats, Floats]:
    """(n - 1,) from the middle of each string to that of the next, and where they would touch."""
    d = np.asarray(gauges, dtype=float)
    if len(d) == 1:
        return np.zeros(0), np.zeros(0)
    each, gap = (course.strings, course.gap) if course else (1, 0.0)
    half, apart = (d[1:] + d[:-1]) / 2, np.arange(1, len(d)) % each == 0
    steps = half + gap
    if spacing == "gaps":
        steps[apart] = half[apart] + (spread - half.sum() - gap * np.sum(~apart)) / apart.sum()
    else:
        wide = np.add.reduceat(np.append(np.where(apart, 0.0, steps), 0.0), np.arange(0, len(d), each))
        steps[apart] = (spread - (wide[0] + wide[-1]) / 2) / (len(wide) - 1) - (wide[1:] + wide[:-1]) / 2
    return steps, half


def tension(mass: ArrayLike, length: float, pitch: ArrayLike) -> Floats:
    """Tension in N of a string of `mass` g per m that sounds `pitch` Hz over `length` mm.

    Mersenne's law, f = sqrt(T / m) / (2 L): Fletcher and Rossing, The Physics of Musical Instruments, chapter 2
    (chapter from memory).
    """
    return np.asarray(mass, float) * 1e-3 * (2.0 * length * 1e-3 * np.asarray(pitch, float)) ** 2


def stretch(at_fret: Floats, scale_length: float, at_nut: float, at_saddle: float) -> Floats:
    """How much longer, mm, a string becomes when pressed down to frets at `at_fret` from the nut.

    It lies `at_nut` and `at_saddle` above the plane of the frets' tops at its ends, and touches that plane at the
    fret: two straight pieces instead of one.
    """
    open_length = np.hypot(scale_length, at_saddle - at_nut)
    return np.asarray(np.hypot(at_fret, at_nut) + np.hypot(scale_length - at_fret, at_saddle) - open_length)


def cents_sharp(
    at_fret: ArrayLike, *, scale_length: float, nut: float, saddle: float, tension_n: float, stiffness_n: float,
    stretched: ArrayLike,
) -> Floats:
    """How many cents a fretted note sounds above what its ideal place gives, against the open string.

    `at_fret` is the ideal distance from the nut; the nut's edge lies `nut` nearer to the frets and the saddle
    `saddle` further out, mm. A string stretched by d gains E A d / L in tension (Hooke), `stiffness_n` being E A of
    its core, and its pitch follows the root of the tension (Mersenne). Bending stiffness is left out.
    """
    x, d = np.asarray(at_fret, float), np.asarray(stretched, float)
    open_length = scale_length + saddle - nut
    gained = 1.0 + stiffness_n * d / (open_length * tension_n)
    heard = open_length / (scale_length + saddle - x) * np.sqrt(gained)
    return np.asarray(1200.0 * np.log2(heard * (scale_length - x) / scale_length))


def saddle_for(at_fret: float, *, scale_length: float, nut: float, **string: float) -> float:
    """How far the saddle must lie behind the scale length, mm, for a true note at `at_fret`: Newton's method."""
    setback = 0.0
    for _ in range(30):
        off = [float(cents_sharp(at_fret, scale_length=scale_length, nut=nut, saddle=s, **string))
               for s in (setback, setback + 1e-3)]
        step = off[0] * 1e-3 / (off[1] - off[0])
        setback -= step
        if abs(step) < 1e-9:
            break
    return setback


def stringing_data(layout: Layout, strings: Strings, *, crown: float | None) -> dict[str, Any]:
    """A row for each string, bass first, mm, N and cents; `crown` is the frets' height, None where not known."""
    count = len(strings.gauges)
    checked_strings(strings, count)
    gauges = np.array(strings.gauges)
    edges = layout.edges.across(layout.lines[:1], layout.bass_side)
    # from the bass and the treble edge to the outer strings, along the nut: not alike where it slants
    bass, treble = np.linalg.norm(edges[0] - on_outer_strings(layout)[0], axis=1).tolist()
    spreads, (at_nut, at_saddle) = _spaced(layout, strings)
    bottom = None if crown is None else crown + strings.clear
    pitch = _compensation(layout, strings, at_nut / (spreads[0] or 1.0))
    course = {"course": asdict(strings.course)} if strings.course else {}
    return {
        "spacing": strings.spacing, **course, "nut_offset": layout.nut_offset,
        "spread_at_nut": rounded(spreads[0]), "spread_at_saddle": rounded(spreads[1]),
        "strings": [
            {
                "string": i + 1, "gauge": gauges[i], "from_edge": rounded(at_nut[i] + bass),
                "gap": rounded(at_nut[i + 1] - at_nut[i] - (gauges[i] + gauges[i + 1]) / 2) if i + 1 < count else None,
                "clear_of_edge": rounded(min(at_nut[i] + bass, spreads[0] - at_nut[i] + treble) - gauges[i] / 2),
                "at_saddle": rounded(at_saddle[i]), **_depth(bottom, strings, i), **pitch[i],
            }
            for i in range(count)
        ],
    }


def _spaced(layout: Layout, strings: Strings) -> tuple[list[float], list[Floats]]:
    """From the outer bass string to the outer treble one at nut and saddle, and (n,) to each string, mm."""
    spreads = np.linalg.norm(np.diff(on_outer_strings(layout)[[0, -1]], axis=1)[:, 0], axis=1).tolist()
    inset = edge_to_string(layout)
    return spreads, [string_places(strings.gauges, spread, strings.spacing, strings.course, inset=inset)
                     for spread in spreads]


def strings_at(layout: Layout, strings: Strings, which: Sequence[int]) -> Floats:
    """(n, k, 2) where each string crosses some of the lines of nut, frets and bridge."""
    checked_strings(strings, len(strings.gauges))
    outer, (spreads, places) = on_outer_strings(layout), _spaced(layout, strings)
    ends = np.stack([bass + (at / (spread or 1.0))[:, None] * (treble - bass)
                     for (bass, treble), spread, at in zip(outer[[0, -1]], spreads, places, strict=True)], axis=1)
    return np.stack([crossed(ends, outer[k]) for k in which], axis=1)


def crossed(strings: Floats, line: Floats) -> Floats:
    """(n, 2) where strings, (n, 2, 2), cross a line, (2, 2)."""
    start, run = strings[:, 0], strings[:, 1] - strings[:, 0]
    normal = np.array([line[1, 1] - line[0, 1], line[0, 0] - line[1, 0]])
    return np.asarray(start + (((line[0] - start) @ normal) / (run @ normal))[:, None] * run)


def on_outer_strings(layout: Layout) -> Floats:
    """(n + 2, 2, 2) where nut, frets and bridge meet the outer strings, bass and treble."""
    every = np.concatenate([layout.lines, layout.bridge[None]])
    return layout.strings.across(every, layout.bass_side)


def edge_to_string(layout: Layout) -> float:
    """From each edge in to its outer string, square to the edge, mm."""
    edges, strings = layout.edges, layout.strings
    return float(edges.half_width(0.0) - strings.half_width(0.0)) / math.hypot(1.0, edges.slope)


def _depth(bottom: float | None, strings: Strings, i: int) -> dict[str, Any]:
    """How high over the board the slot's bottom lies, and how deep the slot is."""
    if bottom is None:
        return {"slot_bottom": None, "slot_depth": None}
    top = bottom + strings.gauges[i] / 2 if strings.nut_height is None else strings.nut_height
    if top < bottom:
        raise JobError("[strings] nut_height", f"{top:g} mm, and the slot of string {i + 1} ends {bottom:.2f} mm over "
                       "the board", allowed=f"{rounded_up(bottom):.2f} mm or more",
                       remedy="make the nut higher, or the frets lower")
    return {"slot_bottom": rounded(bottom), "slot_depth": rounded(top - bottom)}


def _compensation(layout: Layout, strings: Strings, shares: Floats) -> list[dict[str, Any]]:
    """How nut and saddle are set, and the cents at some frets: with the stretch where the strings are known.

    Then tension and the saddle that makes the 12th fret true too. Nothing where neither strings nor setting are known.
    `shares` of the way from the outer bass string to the outer treble one are where each lies.
    """
    outer, count = on_outer_strings(layout), len(strings.gauges)
    if not (strings.pitches or strings.nut_compensation or strings.saddle_compensation or layout.nut_offset):
        return [{}] * count
    rows = []
    for i, share in enumerate(shares.tolist()):
        along = outer[:, 0] + share * (outer[:, 1] - outer[:, 0])
        at = np.linalg.norm(along - along[0], axis=1)
        ideal, length = at[:-1] + layout.nut_offset, float(at[-1]) + layout.nut_offset
        nut = layout.nut_offset + (strings.nut_compensation[i] if strings.nut_compensation else 0.0)
        saddle = strings.saddle_compensation[i] if strings.saddle_compensation else 0.0
        longer, known = np.zeros(len(ideal)), {"tension_n": 1.0, "stiffness_n": 0.0}
        if strings.pitches:
            known = {
                "tension_n": float(tension(strings.mass[i], length, strings.pitches[i])),
                "stiffness_n": strings.modulus[i] * 1e3 * math.pi / 4 * strings.core[i] ** 2,
            }
            over = max(strings.clear, 0.0)  # where the string leaves nut or zero fret
            longer = stretch(at[:-1], float(at[-1]), over, 2 * strings.action_12 - over)
        frets = [f for f in _SHOWN_FRETS if f < len(ideal)]
        cents = cents_sharp(ideal[frets], scale_length=length, nut=nut, saddle=saddle, stretched=longer[frets], **known)
        last = 12 if len(ideal) > 12 else len(ideal) - 1
        wanted = saddle_for(float(ideal[last]), scale_length=length, nut=nut, stretched=float(longer[last]), **known)
        by_stretch = {"tension": rounded(known["tension_n"], 2), "true_at": last, "saddle_wanted": rounded(wanted, 3)}
        rows.append({
            "nut": nut, "saddle": saddle, **(by_stretch if strings.pitches else {}),
            "cents": {str(f): rounded(c, 2) for f, c in zip(frets, cents, strict=True)},
        })
    return rows
