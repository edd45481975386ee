"""Lengths with units: millimetres inside, inches and fractions at the edges only."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from fractions import Fraction

INCH = 25.4
"""Millimetres in an inch, exact (international yard and pound agreement, 1959)."""

MM_PER = {"mm": 1.0, "cm": 10.0, "in": INCH}

_LONGEST = 60
"""Characters of a written length."""

_LENGTH = re.compile(
    r"""^\s*(?P<sign>[+-]?)\s*
    (?: (?P<whole>\d+)(?:\s+|-)(?P<n1>\d+)\s*/\s*(?P<d1>\d+)  # 25 1/2, 25-1/2
      | (?P<n2>\d+)\s*/\s*(?P<d2>\d+)                      # 1/4
      | (?P<decimal>\d+(?:\.\d*)?|\.\d+) )                 # 25.5
    \s*(?P<unit>mm|cm|in|inch|inches|"|)\s*$""",
    re.VERBOSE,
)


def in_mm(value: float, unit: str) -> float:
    """A length in mm, the same number whichever unit it is written in: 6 in is 152.4 mm, not 152.39999999999998."""
    return round(value * MM_PER[unit], 9)


def written_alike(one: float, other: float) -> bool:
    """Whether two lengths, mm, are one as people write it: no further apart than the digits of inches tell."""
    return abs(one - other) <= 0.5 * INCH * 10.0 ** -LENGTH_PLACES["in"] + 1e-9


def parse_length(text: str, default_unit: str | None = None) -> float:
    """Millimetres in a written length such as ``"648 mm"``, ``"25 1/2 in"`` or ``"1/4 in"``; a whole and a fraction may
    be joined by a hyphen, ``"25-1/2 in"``.

    Raises ValueError when the text is not a length, or has no unit and there is no `default_unit`.
    """
    match = _LENGTH.match(text) if len(text) <= _LONGEST else None
    if not match:
        raise ValueError(f"{text[:_LONGEST]!r} is not a length like 6.35, '6.35 mm', '1/4 in' or '25 1/2 in'")
    part = match.groupdict()
    unit = part["unit"] or default_unit
    if unit is None:
        raise ValueError(f"{text!r} has no unit: is it {text.strip() + ' in'!r} or {text.strip() + ' mm'!r}?")
    if part["decimal"]:
        value = float(part["decimal"])
    else:
        denominator = int(part["d1"] or part["d2"])
        if denominator == 0:
            raise ValueError(f"{text!r} divides by zero")
        value = float(int(part["whole"] or 0) + Fraction(int(part["n1"] or part["n2"]), denominator))
    value = in_mm(value, "in" if unit in ("inch", "inches", '"') else unit)
    if not math.isfinite(value):
        raise ValueError(f"{text!r} is too large a number")
    return -value if part["sign"] == "-" else value


_SAME = 1e-9
"""Lengths no further apart (mm) are one: they are worked out, and rounded, in binary."""

SUMS = 1e-7
"""What sums in binary may lose, mm: 70.1 - 10.1 is a hair less than 60."""

LENGTH_PLACES = {"mm": 3, "cm": 4, "in": 4}
"""Digits after the point of a length in words for people."""


def trimmed(number: str) -> str:
    """A written number without zeros at the end of its decimals, and without a sign before 0."""
    text = number.rstrip("0").rstrip(".") if "." in number else number
    return "0" if text == "-0" else text


def format_length(mm: float, unit: str = "mm", *, decimals: int | None = None) -> str:
    """A length in words for people: ``"0.6 mm"`` or ``"0.0236 in"``; trailing zeros are dropped. Where
    `decimals` does not say how many, a whole number of 64ths of an inch keeps all its digits: ``"0.03125 in"``.
    """
    in_64ths = mm / MM_PER[unit] * 64
    exact = unit == "in" and math.isfinite(mm) and abs(in_64ths - round(in_64ths)) < SUMS
    places = decimals if decimals is not None else 6 if exact else LENGTH_PLACES[unit]
    return f"{trimmed(f'{mm / MM_PER[unit]:.{places}f}')} {unit}"


def told_apart(*mm: float, unit: str = "mm") -> tuple[str, ...]:
    """Lengths that are compared, in words: with more digits where two that differ would read the same.

    >>> told_apart(5.999, 6.0, unit="in")
    ('0.23618 in', '0.23622 in')
    """
    return tuple(format_length(one, unit, decimals=_places(one, mm, unit, LENGTH_PLACES[unit])) for one in mm)


def beside_limit(mm: float, limit: float, *, decimals: int = 2) -> str:
    """A length that is compared with a limit, with so many decimals, or more where it would read as the limit.

    >>> beside_limit(0.3962, 0.4), beside_limit(0.351, 0.4)
    ('0.396 mm', '0.35 mm')
    """
    return f"{mm:.{_places(mm, (limit,), 'mm', decimals)}f} mm"


def _places(mm: float, others: Iterable[float], unit: str, least: int) -> int:
    """Digits after the point, `least` or more, with which a length reads as none of the others that differ from it."""
    apart = [abs(mm - other) for other in others if abs(mm - other) > _SAME]
    alike = [by for by in apart if by < 10.0**-least * MM_PER[unit]]
    most = max((1 - math.floor(math.log10(by / MM_PER[unit])) for by in alike), default=least)
    return next((places for places in range(least, most + 1) if all(
        round(mm / MM_PER[unit], places) != round(other / MM_PER[unit], places)
        for other in others if abs(mm - other) > _SAME)), most)


def as_written(mm: float, units: str = "mm", *, down: bool = False) -> str:
    """A length as a job file in these units holds it, a number alone; with `down` no larger."""
    if down:
        mm = math.floor(mm / MM_PER[units] * 1e4 + 1e-6) / 1e4 * MM_PER[units]
    return format_length(mm, units, decimals=4).split(" ")[0]


def place_as_written(place: Iterable[float], units: str) -> str:
    """A place, as `as_written` its numbers: ``[12.5, -3]``."""
    return f"[{', '.join(as_written(v, units) for v in place)}]"


_STEPS = {"mm": 100, "in": 10_000}


def rounded_down(mm: float, units: str = "mm") -> float:
    """To hundredths of a mm, or ten-thousandths of an inch, no larger: the most that a refusal allows must itself be
    allowed."""
    return math.floor(mm / MM_PER[units] * _STEPS[units] + 1e-6) / _STEPS[units] * MM_PER[units]


def rounded_up(mm: float, units: str = "mm") -> float:
    """The same, no smaller."""
    return math.ceil(mm / MM_PER[units] * _STEPS[units] - 1e-6) / _STEPS[units] * MM_PER[units]


def falls_short(mm: float, least: float) -> bool:
    """Whether it is less, and not only by what sums lose: what a refusal allows would be refused again."""
    return mm < least - SUMS


def sawn(mm: float, units: str) -> float:
    """The next whole millimetre, or sixteenth of an inch, that is no smaller: a size that a blank is sawn to; mm."""
    step = {"mm": 1.0, "in": INCH / 16}[units]
    return math.ceil(mm / step - 1e-6) * step


def ruled(mm: float, units: str) -> float:
    """The next tenth of a millimetre, or hundredth of an inch, that is no smaller: a size to look for by the rule; mm.
    """
    step = {"mm": 0.1, "in": INCH / 100}[units]
    return math.ceil(mm / step - 1e-6) * step


def left_words(mm: float) -> str:
    """What a cut does to the wood under it: ``"leaves 0.60 mm"``, or ``"goes 0.79 mm through"`` where none is left."""
    return f"leaves {max(mm, 0.0):.2f} mm" if mm > -0.005 else f"goes {-mm:.2f} mm through"


def fine_length(mm: float, units: str = "mm") -> str:
    """A length to a hundredth of a millimetre, or to four places of an inch."""
    return format_length(mm, units, decimals={"mm": 2, "in": 4}[units])


def even_length(mm: float, units: str = "mm") -> str:
    """A length for a column: to a thousandth of a millimetre or four places of an inch, zeros kept."""
    places = {"mm": 3, "in": 4}[units]
    return f"{round(mm / MM_PER[units], places) + 0.0:.{places}f} {units}"


def coarse_length(mm: float, units: str = "mm") -> str:
    """A length as a rule measures it: to a tenth of a millimetre, or a hundredth of an inch."""
    return format_length(mm, units, decimals={"mm": 1, "in": 2}[units])


def tiny_length(mm: float, units: str = "mm", *, signed: bool = False, figures: int = 0, sign: str = "um") -> str:
    """A ridge or an error: in thousandths of a millimetre (``"9.9 um"``), or inches (``"0.00039 in"``).

    `figures` keeps so many instead of a decimal place; `sign` is how the thousandths are written.
    """
    value, places, unit = (mm * 1000, 1, sign) if units == "mm" else (mm / INCH, 5, "in")
    value = value if round(value, places) or figures else 0.0
    words = f"{value:{'+' if signed and value else ''}.{f'{figures}g' if figures and units == 'mm' else f'{places}f'}}"
    return f"{words} {unit}"


def tiny_unit_words(units: str, sign: str = "um") -> str:
    """What the unit of `tiny_length` is, for where it first stands; nothing for inches."""
    return f" ({sign}: thousandths of a millimetre)" if units == "mm" else ""


def area_words(mm2: float, units: str = "mm", *, decimals: int = 2) -> str:
    """An area: ``"6.00 mm2"`` or, to three figures and no more than two places finer, ``"0.0093 sq in"``."""
    if units == "mm":
        return f"{mm2:.{decimals}f} mm2"
    inches = mm2 / INCH**2
    places = min(decimals + 3, 2 - math.floor(math.log10(inches))) if inches else 0
    return f"{trimmed(f'{inches:.{max(places, 0)}f}')} sq in"


_SHORT_WAY = 100.0  # mm: shorter is not told in metres or feet


def volume_words(mm3: float) -> str:
    """What is poured or taken, in ml as measuring cups have it; what is next to nothing as that."""
    return "under 0.01 ml" if 0.0 < mm3 < 5.0 else f"{mm3 / 1000.0:.2f} ml"


def way_length(mm: float, units: str = "mm") -> str:
    """A long way in metres, or feet in a job in inches; a short one in mm or inches: a hole is no ``"0.0 m"``."""
    if mm < _SHORT_WAY:
        return format_length(mm, units, decimals={"mm": 0, "in": 1}[units])
    return f"{mm / 1000:.1f} m" if units == "mm" else f"{mm / (12 * INCH):.1f} ft"


def place_words(x: float, y: float, units: str = "mm", *, decimals: int = 2) -> str:
    """A place on the board (mm): along from the nut face, across from the centre-line, + where its frame has it.

    X and Y are kept for the machine's own axes, which may be turned. `decimals` holds in mm; inches get two more.
    """
    places = decimals + (2 if units == "in" else 0)
    return ", ".join(f"{format_length(v, units, decimals=places)} {way}" for v, way in ((x, "along"), (y, "across")))


def axes_words(x: float, y: float, units: str) -> str:
    """A place as the machine's display shows it (mm): ``X 12.5 mm, Y -3 mm``."""
    return f"X {fine_length(x, units)}, Y {fine_length(y, units)}"


_QUOTED = re.compile(r"""("[^"]*"|(?<!\w)'[^']*'(?!\w))""")
_MM2 = re.compile(r"(?<![\w.])(?P<area>\d+(?:\.\d+)?) mm2(?![\w])")
_MM3 = re.compile(r"(?<![\w.])(?P<volume>\d+(?:\.\d+)?) mm3(?![\w])")
_IN_MM = re.compile(
    r"(?<![\w.])(?P<first>-?\d+(?:\.\d+)?(?:e-?\d+)?)(?P<by> to | by )(?P<second>-?\d+(?:\.\d+)?) mm(?![\w])"
    r"|(?<![\w.])(?P<one>-?\d+(?:\.\d+)?(?:e-?\d+)?) mm(?![\w])(?P<limit> or (?:less|more))?"
)


def in_units(words: str, units: str, *, beside: str = "") -> str:
    """A message with its lengths in mm, areas in mm2 and volumes in mm3 (feeds too; not names in quotes) in `units`.

    Four decimals, more only where a length so small would lose its figures or would read as another of the message, or
    of words `beside` it. What is said to be allowed, "or less" or "or more", is rounded that way.

    >>> in_units("18.27 mm out past the end of 'ball 6 mm'", "in")
    "0.7193 in out past the end of 'ball 6 mm'"
    """
    if units == "mm":
        return words
    every = {float(value) for match in _IN_MM.finditer(f"{words}; {beside}")
             for name, value in match.groupdict().items() if value and name not in ("by", "limit")}

    def converted(match: re.Match[str]) -> str:
        part = match.groupdict()
        if part["one"]:
            limit = part["limit"] or ""
            way = {" or less": -1, " or more": 1}.get(limit, 0)
            return _with_figures(float(part["one"]), every, units, way=way) + limit
        first, second = (_with_figures(float(part[name]), every, units) for name in ("first", "second"))
        return f"{first.split()[0]}{part['by']}{second}"

    def area(match: re.Match[str]) -> str:
        return area_words(float(match["area"]), units)

    def volume(match: re.Match[str]) -> str:
        return f"{float(match['volume']) / INCH**3:.5f} cu in"

    return "".join(  # every second part is a name in quotes
        part if number % 2 else _IN_MM.sub(converted, _MM2.sub(area, _MM3.sub(volume, part)))
        for number, part in enumerate(_QUOTED.split(words))
    )


def _with_figures(mm: float, others: Iterable[float], units: str, *, way: int = 0) -> str:
    size = abs(mm) / MM_PER[units]
    least = max(4, 1 - math.floor(math.log10(size))) if size else 0
    places = _places(mm, others, units, least)
    if way:
        mm = way * math.ceil(way * mm / MM_PER[units] * 10**places - 1e-6) / 10**places * MM_PER[units]
    return format_length(mm, units, decimals=places)
