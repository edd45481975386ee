"""The board's tables in words: frets, wood left, strings, side dots; nut and saddle with compensation in cents."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Any

from pathgen.base.units import INCH, even_length, fine_length, format_length, tiny_length
from pathgen.report.wording import table

Table = tuple[list[str], list[list[str]]]


def frame_lines(board: dict[str, Any], units: str) -> list[str]:
    """What along and across mean, and how far the nut is set forward where it is, in a length and in cents."""
    side = "treble" if board["bass_side"] < 0 else "bass"
    mirrored = " (but partial_frets and steps of the job to the treble side)" if side == "bass" else ""
    lines = ["Places on the board: along from the nut face toward the bridge, across from the centre-line, + to the "
             f"{side} side{mirrored}. X and Y are the machine's own axes, from the zero of the set-up."]
    if board["nut_offset"]:
        lines.append(f"All frets and the bridge lie {format_length(board['nut_offset'], units)} nearer to the nut face "
                     f"than the scale length says (nut_offset): every fretted note is {board['nut_offset_cents']:.2f} "
                     "cents lower against its open string.")
    return lines


def begins_at_fret_0(frets: Sequence[dict[str, Any]]) -> bool:
    """Whether a fret stands where the nut's face is counted from; the nut lies behind it then."""
    return bool(frets) and frets[0]["fret"] == 0


def nut_words(nut: dict[str, Any], units: str) -> list[str]:
    """The nut's slot or shelf, where the job has one."""
    if (slot := nut["slot"]) is None:
        return []
    low, high = (fine_length(v, units) for v in slot["along"])
    bottom = ", its bottom level" if slot["bottom"] == "flat" else ", its bottom curved as the board"
    what = "The nut's slot:" if slot["shelf"] is None else \
        f"The nut's shelf: {fine_length(slot['shelf'], units)} wide on the finished board, cut from"
    deep = f"{fine_length(slot['depth'], units)} deep{crown_words(slot['depth'], slot['deepest'], units)}"
    return [f"{what} {low} to {high} along, {deep}{bottom}."]


def crown_words(depth: float, deepest: float, units: str) -> str:
    """How deep a level bottom lies where it is deepest, if that is more than its depth."""
    told = fine_length(deepest, units)
    return "" if told == fine_length(depth, units) else f" at the ends and up to {told} under the crown"


def fret_lines(frets: Sequence[dict[str, Any]], nut: dict[str, Any], units: str) -> list[str]:
    """The nut's face, then the frets: distances from it in mm, decimal inches and to the nearest 1/64 in, the job's own
    unit first, and where they meet the edges; the nut's slot."""
    def away(mm: float) -> list[str]:
        inches = [f"{mm / INCH:.4f}", nearest_64th(mm)]
        return [*inches, f"{mm:.3f}"] if units == "in" else [f"{mm:.3f}", *inches]

    first = ["nut", *away(0.0), "-", _pair(nut["bass"], units), _pair(nut["treble"], units)]
    rows = [] if begins_at_fret_0(frets) else [first]
    rows += [
        [str(f["fret"]), *away(f["distance"]), f"{f['cents']:.3f}", _pair(f["bass"], units), _pair(f["treble"], units)]
        for f in frets
    ]
    distance = ["from nut, in", "in, about", "mm"] if units == "in" else ["from nut, mm", "in", "in, about"]
    head = ["fret", *distance, "cents off, up to",
            *(f"{side} edge along, across ({units})" for side in ("bass", "treble"))]
    return [*table(head, rows, right=range(len(head))), *partial_words(frets, units), *nut_words(nut, units)]


def partial_words(frets: Sequence[dict[str, Any]], units: str) -> list[str]:
    """The frets that end within the board, and where: the table has their line out to both edges."""
    return [f"Fret {f['fret']} is partial: it goes from {_pair(f['ends'][0], units)} to {_pair(f['ends'][1], units)} "
            f"({units}; along, across); the table has where its line meets the edges."
            for f in frets if f["ends"] != [f["bass"], f["treble"]]]


def wood_lines(frets: Sequence[dict[str, Any]], units: str) -> list[str]:
    """Widths of the board, cut and finished, and the least wood left, at each fret; nothing that no fret has."""
    names = {"edge": "wood at edge", "slot": "under slot", "pocket": "under pockets before it"}
    kept = [k for k in names if any(f["wood"][k] is not None for f in frets)]
    rows = [[str(f["fret"]), *(length_number(f[k], units) for k in ("width", "cut_width")),
             *(length_number(f["wood"][k], units) for k in kept)]
            for f in frets]
    head = ["fret", "finished width", "cut width", *(names[k] for k in kept)]
    return [f"({units}; widths along the fret)", *table(head, rows, right=range(len(head)))]


def string_lines(strings: Sequence[dict[str, Any]], units: str) -> list[str]:
    """How straight the surface is under each string."""
    rows = [[str(s["string"]), length_number(s["at_nut"], units), length_number(s["at_last_fret"], units),
             tiny_length(s["bow"], units, signed=True)]
            for s in strings]
    head = ["string", f"across at nut ({units})", f"across at last fret ({units})", "bow from nut to last fret"]
    return table(head, rows, right=range(4))


def dot_lines(dots: Sequence[dict[str, Any]], units: str) -> list[str]:
    """Places for side dots, a line for each dot."""
    rows = [[str(d["fret"]), f"{number} of {d['dots']}", even_length(one["along_edge"], units), _pair(one["at"], units)]
            for d in dots for number, one in enumerate(d["each"], 1)]
    return table(["fret", "dot", "along the bass edge from the nut", f"along, across ({units})"], rows, right=range(4))


def nearest_64th(mm: float) -> str:
    """A length in inches as a rule shows it: the nearest 1/64.

    >>> nearest_64th(36.37)
    '1 7/16'
    """
    sixty_fourths = round(mm / INCH * 64)
    whole, part = divmod(sixty_fourths, 64)
    fraction = str(Fraction(part, 64)) if part else ""
    return " ".join(p for p in (str(whole) if whole or not part else "", fraction) if p)


def _pair(point: Sequence[float], units: str) -> str:
    return ", ".join(length_number(v, units) for v in point)


def length_number(mm: float | None, units: str) -> str:
    """A length as a plain number with all its places, for columns; "-" for none."""
    if mm is None:
        return "-"
    return f"{mm:.3f}" if units == "mm" else f"{mm / INCH:.4f}"


def stringing_lines(data: dict[str, Any], units: str) -> list[str]:
    """The strings as text."""
    words, tables, how = stringing_parts(data, units)
    shown = [line for head, rows in tables for line in ("", *table(head, rows, right=range(len(head))))]
    return [*words, *shown, *(("", how) if how else ())]


def stringing_parts(data: dict[str, Any], units: str) -> tuple[list[str], list[Table], str]:
    """What is said of the strings, their tables (head, rows), and how the cents were worked out where they were."""
    rows = data["strings"]

    def n(value: float | None) -> str:
        return length_number(value, units)

    deep = {} if rows[0]["slot_bottom"] is None else {
        "slot's bottom over board": "slot_bottom", "slot depth": "slot_depth"}
    columns = {f"gauge ({units})": "gauge", "centre from bass edge": "from_edge", "gap to next": "gap",
               "clear of edge": "clear_of_edge", **deep, "at saddle, from string 1": "at_saddle"}
    head = ["string", *columns]
    places = [[str(r["string"]), *(n(r[key]) for key in columns.values())] for r in rows]
    radii = [data.get(f"radius_at_{place}") for place in ("nut", "saddle")]
    curve = [] if None in radii else [
        f"The board's radius is {n(radii[0])} under the nut and, carried on past the board's end in the same straight "
        f"line, {n(radii[1])} under the saddle ({units})."
        + (" Both are along their slanted lines: larger than square across." if data.get("aslant") else "")
    ]
    under = ["The strings lie on the zero fret, the nut behind it only guides them: its slots end "
             + (f"{n(data['under_zero_fret'])} {units} under the fret's top." if data["under_zero_fret"] else
                "as high as the fret's top.")] if "under_zero_fret" in data else []
    under += [] if deep else ["How deep the slots of the nut go hangs on the frets: add a [frets] table, with the "
                              "height of the wire's crown, and the table has it too."]
    course, equal = data.get("course"), "centres" if data["spacing"] == "centres" else "clear gaps"
    lines = [f"Equal {equal} at nut and saddle." if course is None else
             f"Courses of {course['strings']} strings, {format_length(course['gap'], units)} clear within them; equal "
             f"{equal} from course to course, at nut and saddle.", *curve, *under]
    tables = [(head, places)]
    if "cents" not in rows[0]:
        return lines, tables, ""
    frets = list(rows[0]["cents"])
    stretched = "tension" in rows[0]
    head = ["string", "nut forward", "saddle back",
            *(["tension, N", f"saddle back for a true fret {rows[0]['true_at']}"] if stretched else []),
            *(f"cents at {f}" for f in frets)]
    tuned = [[str(r["string"]), n(r["nut"]), n(r["saddle"]),
              *([f"{r['tension']:.1f}", n(r["saddle_wanted"])] if stretched else []),
              *(f"{round(r['cents'][f], 1) + 0.0:+.1f}" for f in frets)] for r in rows]
    how = "By the stretch of the string when pressed down (Hooke, Mersenne); stiffness in bending is left out." \
        if stretched else "By how nut and saddle are set alone: what the string's stretch adds is not known without " \
        "pitches, mass, core and modulus."
    return lines, [*tables, (head, tuned)], how
