"""The fretting sheet in words; at true size, to cut out, its strip and the template for side dots."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

from pathgen.base.markup import Element
from pathgen.base.picture import INK, PALE, View, lines, ruler, words
from pathgen.base.units import INCH, MM_PER, fine_length, format_length, way_length
from pathgen.parts.fingerboard.dots import template_rows
from pathgen.report.board_text import length_number
from pathgen.report.wording import finding_line, table
from pathgen.verify.findings import Finding


def fretting_findings(data: dict[str, Any] | None) -> list[Finding]:
    """Warnings for slots that the wire does not suit."""
    return [Finding(code="fret-wire", severity="warn", **fault) for fault in (data or {"faults": []})["faults"]]


_BY_HAND = {"mm": 1, "in": 2}  # digits of a radius to which wire is bent


def fretting_rows(data: dict[str, Any], units: str) -> tuple[list[str], list[list[str]]]:
    """Head and rows of the sheet; with the size of the wire where there are several."""
    several = len(data["wires"]) > 1
    head = ["fret", *(["wire"] if several else []), f"cut to ({units})", "length of the tang", "nip at bass",
            "nip at treble", "board's radius", "bend to"]
    keys = ("length", "tang", None, None, "radius", "bend")
    rows = [
        [str(f["fret"]), *([_letter(f["size"])] if several else []), *(length_number(f[k], units) for k in keys[:2]),
         *(length_number(v, units) if v else "-" for v in f["nipped"]),
         *(f"{f[k] / MM_PER[units]:.{_BY_HAND[units]}f}" if f[k] is not None else "flat" for k in keys[4:])]
        for f in data["frets"]
    ]
    return head, rows


def _letter(size: int) -> str:
    """The wires are called A, B .."""
    return chr(ord("A") + size)


def _wire_words(wire: dict[str, Any], units: str, name: str) -> str:
    mm = {k: format_length(wire[k], units) for k in ("crown_width", "crown_height", "tang", "studs", "tang_depth")}
    frets = wire["frets"]
    runs = "" if not name else f" for {len(frets)} fret{'s' if len(frets) > 1 else ''} ({_runs(frets)})"
    return (f"Wire{name}{runs}: crown {mm['crown_width']} wide and {mm['crown_height']} high, tang {mm['tang']} thick, "
            f"{mm['studs']} over its studs, {mm['tang_depth']} deep; {_metres(wire['total'], units)} of it.")


def _runs(frets: Sequence[int]) -> str:
    """``1 to 12, 15``."""
    starts = [f for f in frets if f - 1 not in frets]
    ends = [f for f in frets if f + 1 not in frets]
    return ", ".join(str(a) if a == b else f"{a} to {b}" for a, b in zip(starts, ends, strict=True))


def _metres(mm: float, units: str) -> str:
    return f"{mm / 1000:.2f} m" if units == "mm" else way_length(mm, units)


def fretting_words(data: dict[str, Any], units: str) -> str:
    """The wires and how much of each."""
    several = len(data["wires"]) > 1
    each = [_wire_words(wire, units, f" {_letter(wire['size'])}" if several else "") for wire in data["wires"]]
    total = f" In all {_metres(data['total'], units)}." if several else ""
    return (
        f"{' '.join(each)}{total} {100 * data['waste']:.0f} % for waste is in it. Each length has "
        f"{format_length(data['overhang'], units)} to file off at each end; wear eye protection when "
        "cutting and nipping."
        + (" The board's radius is along each slanted fret: larger than square across." if data.get("aslant") else "")
    )


def fretting_lines(data: dict[str, Any], units: str) -> list[str]:
    """The sheet as text."""
    head, rows = fretting_rows(data, units)
    faults = [finding_line("warn", f["where"], f["got"], f["allowed"], f["remedy"], units=units)
              for f in data["faults"]]
    return [*table(head, rows, right=range(len(head))), "", fretting_words(data, units), *faults]


_ROW = 7.0  # height of a fret's row on the strip, mm
_ACROSS, _DOWN = 165.0, 30  # mm of the longest, and rows, of a strip on A4 and on Letter


def strip_picture(data: dict[str, Any], units: str = "mm") -> Element:
    """Every fret at true size, a row each: the whole length, under it the tang that is left; print it at 100 %."""
    rows = data["frets"]
    longest = max((f["length"] for f in rows), default=50.0)
    depth = _ROW * (len(rows) + 2)
    view = View(left=-12.0, right=max(longest, 55.0) + 4.0, bottom=-depth, top=4.0)
    drawn: list[Element] = []
    for i, fret in enumerate(rows):
        y, start = -_ROW * (i + 1), fret["nipped"][0]
        drawn += [
            words(view, (-2.0, y - 1.0), str(fret["fret"]), size=4.0, text_anchor="end"),
            lines(view, [[[0.0, y + 1.0], [0.0, y], [fret["length"], y], [fret["length"], y + 1.0]]],  # type: ignore[list-item]
                  stroke=INK, stroke_width=0.3),
            lines(view, [[[start, y - 1.2], [start + fret["tang"], y - 1.2]]],  # type: ignore[list-item]
                  stroke=PALE, stroke_width=1.2, stroke_linecap="butt"),
        ]
    return view.picture(f"Fretting strip, {len(rows)} frets at true size", *drawn,
                        *ruler(view, (0.0, -depth + 4.0), units))


def strips(data: dict[str, Any], units: str) -> list[Element]:
    """The strip in as many pictures as it takes for each to fit a sheet of paper; none where it is wider than that."""
    rows = data["frets"]
    if max((fret["length"] for fret in rows), default=0.0) > _ACROSS:
        return []
    return [strip_picture(data | {"frets": rows[at: at + _DOWN]}, units) for at in range(0, len(rows), _DOWN)]


_SIZE = 3.0  # of the words, mm
_DIGIT = 0.64  # width of a digit as a share of its size (from memory)
ROW = {"mm": 170.0, "in": 6.5 * INCH}
"""Length of a row, mm, by the job's unit: a sheet of paper is wider."""
LAP = {"mm": 10.0, "in": 0.5 * INCH}
"""How far rows lap over each other, mm: no cross lies where one is cut off."""


def side_template(report: dict[str, Any]) -> Element | None:
    """Crosses at half the board's edge height, counted along the bass edge from the nut face; None without dots."""
    dots = [(d["fret"], one["along_edge"]) for d in report["side_dots"] for one in d["each"]]
    if not dots:
        return None
    long = ROW[report["job_units"]]
    high = max(3.0, report["frets"][0]["wood"]["edge"] or report["board"]["thickness"])
    rows = template_rows([at for _, at in dots], long, LAP[report["job_units"]])
    step = high + 12.0
    view = View(left=-6.0, right=long + 6.0, bottom=-step * len(rows) - 14.0, top=2.0)
    drawn: list[Element] = []
    for i, (start, places) in enumerate(rows):
        low = -step * (i + 1)
        drawn += [lines(view, [[[0, low], [long, low], [long, low + high], [0, low + high], [0, low]]],  # type: ignore[list-item]
                        stroke=INK, stroke_width=0.2),
                  words(view, (0.0, low - 4.0), f"{fine_length(start, report['job_units'])} from the nut face",
                        size=_SIZE, text_anchor="start")]
        middle, frets = low + high / 2, {}  # type: float, dict[int, list[float]]
        for at in places:
            fret = next(f for f, along in dots if abs(along - start - at) < 1e-9)
            frets.setdefault(fret, []).append(at)
            cross = [[[at - 1.5, middle], [at + 1.5, middle]], [[at, middle - 1.5], [at, middle + 1.5]]]
            drawn.append(lines(view, cross, stroke=INK, stroke_width=0.15))  # type: ignore[arg-type]
        drawn += _numbers(view, {fret: sum(of) / len(of) for fret, of in frets.items()}, low + high + 1.0)
    return view.picture(f"Drilling template for {len(dots)} side dots at true size", *drawn,
                        *ruler(view, (0.0, -step * len(rows) - 11.0), report["job_units"]))


def _numbers(view: View, places: dict[int, float], level: float) -> Iterator[Element]:
    """Each number over its dot, above the one before where they would meet."""
    right, up = -math.inf, 0
    for number, x in sorted(places.items(), key=lambda one: one[1]):
        half = _DIGIT * _SIZE * len(str(number)) / 2
        up = 1 - up if x - half < right else 0
        right = x + half + 0.1 * _SIZE
        yield words(view, (x, level + up * 1.05 * _SIZE), str(number), size=_SIZE)
