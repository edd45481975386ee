"""Work that moved, in words: shift, turn and tilt, and what errors in measuring the marks would do."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from pathgen.base.plain import capital, joined
from pathgen.base.units import format_length, place_words, told_apart
from pathgen.verify.findings import Finding
from pathgen.work.clamping import Clamping
from pathgen.work.mark_errors import ACCURACY, odd_heights

SLIPS = 3.0
"""How far work slips that is held still, mm: further is likelier a slip of the pen; common practice, no source."""

FINE = {"mm": 3, "in": 4}


def moved_lines(moved: dict[str, Any] | None, units: str) -> list[str]:
    """How the work is taken to lie, by the report's key ``moved``; nothing where it has not moved."""
    if moved is None:
        return []
    shift = ", ".join(
        f"{_length(v, units)} {way}" for v, way in zip(moved["shift"], ("along", "across", "up"), strict=True)
    )
    left = ", ".join(
        format_length(sum(v * v for v in row) ** 0.5, units) for row in moved["residuals"]
    )
    words = [
        f"From program {moved['first_program']} on the work is taken to lie {shift} from where it was, at the middle "
        f"of the marks, turned by {moved['turn']:z.3f} degrees and tilted by {moved['tilt_along']:z.3f} degrees along "
        f"and {moved['tilt_across']:z.3f} across. Left over at the marks: {left}.",
    ]
    said = error_words(moved["errors"], units) if moved["errors"] else ""
    return words + [f"{capital(line)}." for line in [said] if line]


def error_words(errors: dict[str, Any], units: str) -> str:
    """What errors at the marks do to the part, by a key ``errors`` of the report, in one line."""
    if None in errors["anywhere"]:
        return "the marks leave a turn or tilt of the work open"

    def pair(place: str) -> str:
        height, beside = (_length(v, units) for v in errors[place])
        return f"{height} in height and {beside} in place"

    return (f"measuring errors of {_length(errors['accuracy'], units)} at the marks, all together (root-sum-square), "
            f"move the {errors['near']} by up to {pair('nut')}, the far end by up to {pair('end')}")


def _length(mm: float, units: str) -> str:
    return format_length(mm, units, decimals=FINE[units])


SHOWS = 0.15
"""A change of shape of which less than this share is left over at the marks is one that they do not see."""

_SHAPES = {
    "bow": ("a rise of its middle over its ends", "a straight edge along it"),
    "cup": ("a rise of its edges over its middle", "a straight edge across it"),
    "twist": ("a twist, one corner rising", "winding sticks across both ends"),
}


def alone_words(numbers: Sequence[int]) -> str:
    """That no other mark checks the height of some, by their numbers."""
    which = joined([str(n) for n in numbers])
    if len(numbers) == 1:
        return f"the height of mark {which} is checked by no other: measure it twice, from Z 0 on"
    return f"the heights of marks {which} are checked by no other: measure each twice, from Z 0 on"


def seen_lines(marks: dict[str, Any]) -> list[str]:
    """Which heights no other mark checks, and what changes of the blank's shape are seen, by the report's ``marks``."""
    seen, words = marks["seen"], []
    for shape, share in seen.items():
        what, how = _SHAPES[shape]
        said = (f"leaves {100 * share:.0f} % of itself over at the worst mark" if share >= SHOWS else
                f"the marks cannot see, or take for a tilt: lay {how}")
        words.append(f"{capital(what)} {said}.")
    if min(seen["bow"], seen["cup"]) >= SHOWS:
        words.append("The marks cannot tell a rise along from one across: lay a straight edge both ways.")
    alone = [f"{capital(alone_words(marks['unchecked']))}."] if marks["unchecked"] else []
    return [*alone, "What the marks see where the blank has not only moved but changed its shape:", *words]


def moved_warnings(clamping: Clamping) -> Iterator[Finding]:
    """A move that work held on a bed hardly makes: far, downward, as high as the feeler, or of heights only guessed."""
    moved, units = clamping.moved, clamping.units
    if moved is None:
        return
    corners = moved.of_corners(clamping.stock.bounds)
    farthest, rises = float(np.linalg.norm(corners, axis=1).max()), corners[:, 2]
    exact = moved.errors.accuracy if moved.errors else ACCURACY
    if farthest > SLIPS:
        far, usual = told_apart(farthest, SLIPS, unit=units)
        yield Finding(
            code="moved-far", severity="warn", where="[[measured]]",
            got=f"a corner of the blank moved by {far}",
            allowed=f"{usual} or less is usual for work that slipped",
            remedy="check the order and the numbers of the marks, X 0, Y 0 and Z 0, and that the clamps still stand "
                   "where the job says",
        )
    odd, off = odd_heights(moved.places, moved.rises, exact)
    if odd:
        one = f"mark {odd[0] + 1}" if len(odd) == 1 else f"one of marks {joined([str(k + 1) for k in odd], 'or')}"
        yield Finding(
            code="height-doubtful", severity="warn", where="[[measured]]",
            got=f"the height of {one} differs by {format_length(off, units)} from where the others put it"
                + ("" if len(odd) == 1 else "; of which cannot be told"),
            allowed=f"about {format_length(exact, units)} where marks are read so exactly ([moved] accuracy)",
            remedy=f"measure {'it' if len(odd) == 1 else 'each'} again, Z 0 set anew on the bed; if it stays, the work "
                   "tilts or has warped there",
        )
    rows = list(enumerate(moved.rises.tolist(), 1))
    low, at = moved.lowest(clamping.stock.bounds)
    if moved.guessed and np.abs(rises).max() > exact:
        yield Finding(
            code="heights-guessed", severity="warn", where="[[measured]]",
            got=f"heights are compared with [stock] thickness, {format_length(clamping.stock.thickness, units)} all "
            "over: a blank that is uneven is taken for one that tilts, thicker for one that rose", allowed="",
            remedy="write [marks] drilled, X, Y and Z of each mark as measured once they were drilled (or a caliper's "
                   "thickness beside each for Z)",
        )
    elif low < -2 * exact:
        yield Finding(
            code="sinks", severity="warn", where=f"[[measured]], {place_words(*at)}",
            got=f"the blank lies {format_length(-low, units)} lower there than when the marks were drilled, by how "
            f"much higher each was found: {', '.join(f'mark {k} {_length(v, units)}' for k, v in rows)}",
            allowed="work that lies on the bed cannot sink into it",
            remedy="measure again the mark that differs most from its neighbours; see that Z 0 of the pointed cutter "
            "was set on the bed, and the feeler's thickness taken off; and that no chips or tape have gone from under "
            "the work",
        )
    feeler = clamping.setup.feeler
    if feeler and np.abs(rises - feeler).max() <= min(exact, feeler / 2):
        yield Finding(
            code="lift-of-a-feeler", severity="warn", where="[[measured]]", got=f"the whole blank rose by "
            f"{format_length(float(rises.mean()), units)}, about the thickness of the feeler, "
            f"{format_length(feeler, units)}", allowed="", remedy="see that its thickness was taken off the Z that the "
            "display showed, when the marks were drilled and now; else something lies under the work",
        )
