"""Witness marks and work that moved in the report: shift, turn and tilt, and what errors at the marks would do."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from pathgen.base.arrays import Floats
from pathgen.base.plain import capital, rounded
from pathgen.base.units import format_length, place_words, told_apart
from pathgen.verify.findings import Finding
from pathgen.work.clamping import Clamping, turned
from pathgen.work.mark_errors import (
    MarkErrors,
    doubtful_heights,
    influence,
    named,
    odd_heights,
    odd_words,
    seen,
    unchecked,
    zero_again,
)
from pathgen.work.moved import Moved, corners_of
from pathgen.work.operations import WitnessMarks

SLIPS = 3.0
"""How far work slips that is held still, mm: further is likelier a slip of the pen; common practice, no source."""
_SAME = 1e-6  # mm
FINE = {"mm": 3, "in": 4}


def marks_data(clamping: Clamping) -> dict[str, Any] | None:
    """The report's key ``marks``: where they are, what the display shows there, what errors at them do."""
    marks = clamping.feature(WitnessMarks)
    if marks is None:
        return None
    tops = np.full(len(marks.places), clamping.stock.thickness) if marks.tops is None else marks.tops
    wood = np.column_stack([marks.places, tops])
    machine, now = clamping.to_machine(wood), clamping.wood_now(wood)
    return {
        "places": [[rounded(x, 3), rounded(y, 3)] for x, y in marks.places],
        # where to move the machine to: from the zero of the set-up, along its own axes
        "machine": [[rounded(x, 4), rounded(y, 4)] for x, y, _ in machine],
        "machine_top": rounded(clamping.stock.thickness - clamping.z_zero, 4),
        "blank": [clamping.stock.length, clamping.stock.width, clamping.stock.thickness],
        # what the display shows at each on the blank's top: as measured, where the job says
        "z": [rounded(z, 4) for _, _, z in machine],
        # the same of work that has moved since
        "now": [[rounded(v, 4) for v in at] for at in now] if clamping.moved else None,
        # where each was found, as the job says
        "found": [[rounded(v, 4) for v in at] for at in _found(clamping, marks.places)] if clamping.moved else None,
        "unchecked": unchecked(marks.places),
        # of a part of a common blank: whose job says where they are
        **({"part": clamping.shared.number} if clamping.shared else {}),
        "depth": marks.depth,
        "hover": marks.hover,
        "errors": _errors(marks.errors, clamping) if marks.errors else None,
        "seen": {shape: rounded(share, 3) for shape, share in seen(
            np.insert(marks.places, 2, 0.0, axis=1), clamping.board.outline.bounds).items()},
    }


def _found(clamping: Clamping, marks: Floats) -> Floats:
    """(n, 3) where the display showed the witness marks of moved work; as the others put it, of one not measured."""
    moved, found = clamping.moved, []
    assert moved is not None
    here = moved.there(moved.places) + moved.residuals
    for x, y in marks:
        own = np.flatnonzero(np.hypot(*(moved.places[:, :2] - [x, y]).T) < _SAME)
        found.append(here[own[0]] if len(own) else moved.there([x, y, clamping.stock.thickness])[0])
    return clamping.to_machine(np.array(found))


def moved_data(clamping: Clamping) -> dict[str, Any] | None:
    """The report's key ``moved``: how the work lies now, and what is left over at the marks."""
    moved = clamping.moved
    if moved is None:
        return None
    along, across = moved.tilt_deg
    return {
        "first_program": clamping.moved_number,
        "shift": [rounded(v, 4) for v in moved.shift],
        "about": [rounded(v, 3) for v in moved.centre],
        "rotation": [[rounded(v, 9) for v in row] for row in moved.rotation],
        "turn": rounded(moved.turn_deg),
        "tilt_along": rounded(along),
        "tilt_across": rounded(across),
        **(_on_machine(moved, clamping) if clamping.shared else {}),
        "residuals": [[rounded(v, 4) for v in row] for row in moved.residuals],
        "worst_residual": rounded(moved.worst, 4),
        "errors": _errors(moved.errors, clamping) if moved.errors else None,
    }


def _on_machine(moved: Moved, clamping: Clamping) -> dict[str, Any]:
    """The same shift and tilt in the machine's axes: the parts of a common blank lie each its own way on it."""
    axes = np.transpose([[*turned(x, y, clamping.setup.along), z] for x, y, z in np.eye(3).tolist()])
    there = moved.seen_in(axes, np.zeros(3))
    return {"machine_shift": [rounded(v, 4) for v in there.shift],
            "machine_tilt": [rounded(v) for v in there.tilt_deg]}


def _errors(errors: MarkErrors, clamping: Clamping) -> dict[str, Any]:
    """Pairs of (height, place) in mm; None for each where marks leave a turn or tilt open."""
    pairs = {"nut": errors.nut, "end": errors.end, "anywhere": errors.anywhere}
    return {
        "accuracy": errors.accuracy,
        "near": clamping.board.names.near,
        **{name: [rounded(v, 4) for v in pair] for name, pair in pairs.items()},
    }


def moved_lines(moved: dict[str, Any] | None, units: str) -> list[str]:
    """How the work is taken to lie, by the key ``moved``; nothing where it has not moved, or no program is left."""
    if moved is None or moved["first_program"] is None:
        return []
    left = ", ".join(format_length(sum(v * v for v in row) ** 0.5, units) for row in moved["residuals"])
    return [f"From program {moved['first_program']} on the work is taken to lie {_lies(moved, units)}. Left over at "
            f"the marks: {left}.", *([f"{capital(error_words(moved['errors'], units))}."] if moved["errors"] else [])]


def _lies(moved: dict[str, Any], units: str) -> str:
    """The move by the report's key ``moved``, in words that follow ``lies``."""
    ways, shifts, tilts = ("along", "across", "up"), moved["shift"], (moved["tilt_along"], moved["tilt_across"])
    about = ways
    if "machine_shift" in moved:
        ways, shifts, tilts = ("in X", "in Y", "up"), moved["machine_shift"], moved["machine_tilt"]
        about = ("along X", "along Y", "")
    shift = ", ".join(f"{_length(v, units)} {way}" for v, way in zip(shifts, ways, strict=True))
    return (f"{shift} from where it was, at the middle of the marks, turned by {moved['turn']:z.3f} degrees and tilted "
            f"by {tilts[0]:z.3f} degrees {about[0]} and {tilts[1]:z.3f} {about[1]}")


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


_SHOWS = 0.15  # a change of shape of which less than this share is left over at the marks is one that they do not see

_SHAPES = {
    "bow": ("a rise of its middle over its ends", "a straight edge along it"),
    "cup": ("a rise of its edges over its middle", "a straight edge across it"),
    "twist": ("a twist, one corner rising", "winding sticks across both ends"),
}


def alone_words(numbers: Sequence[int], names: Sequence[str] = ()) -> str:
    """That no other mark checks the height of some, by their numbers, or their `names` where they have any."""
    which = named([n - 1 for n in numbers], names)
    if len(numbers) == 1:
        return f"the height of {which} is checked by no other: measure it twice, from Z 0 on"
    return f"the heights of {which} are checked by no other: measure each twice, from Z 0 on"


def seen_lines(marks: dict[str, Any], units: str) -> list[str]:
    """By the key ``marks``: what errors there would do, heights that no other mark checks, changes of shape seen."""
    seen, words = marks["seen"], []
    for shape, share in seen.items():
        what, how = _SHAPES[shape]
        said = (f"leaves {100 * share:.0f} % of itself over at the worst mark" if share >= _SHOWS else
                f"the marks cannot see, or take for a tilt: lay {how}")
        words.append(f"{capital(what)} {said}.")
    if min(seen["bow"], seen["cup"]) >= _SHOWS:
        words.append("The marks cannot tell a rise along from one across: lay a straight edge both ways.")
    alone = [f"{capital(alone_words(marks['unchecked']))}."] if marks["unchecked"] else []
    return [f"Should you measure them later: {error_words(marks['errors'], units)}.", *alone,
            "What the marks see where the wood within the outline has not only moved but changed its shape:", *words]


def moving_findings(clamping: Clamping) -> list[Finding]:
    """Warnings and notes about marks, and about work that moved."""
    return [*_marks_warnings(clamping), *moved_warnings(clamping), *_moved_notes(clamping)]


def _marks_warnings(clamping: Clamping) -> Iterator[Finding]:
    """Marks in the wood already from which the work could not be found again: places to come are refused."""
    marks, shared = clamping.feature(WitnessMarks), clamping.shared
    errors, limit = (marks.errors, marks.errors_limit) if marks else (None, 0.0)
    where, see = "[marks] drilled", "see that their numbers are what was measured"
    if shared:
        errors, limit = shared.errors, shared.limit
        where, see = "[marks] of all parts", "before the blank is cut write [marks] for this part too, or for parts " \
                                             "further apart"
    if errors is None or errors.worst <= limit:
        return
    yield Finding(
        code="marks-too-near", severity="warn", where=where,
        got=error_words(_errors(errors, clamping), clamping.units), allowed=format_length(limit, clamping.units),
        remedy=f"they show whether the work has moved, but not how: {see}{errors.more_exactly(limit)}")


def moved_warnings(clamping: Clamping) -> Iterator[Finding]:
    """A move that work held on a bed hardly makes: far, downward, as high as the feeler, or of heights only guessed."""
    moved, units = clamping.moved, clamping.units
    if moved is None:
        return
    corners = moved.of_corners(clamping.stock.bounds)
    farthest, rises = float(np.linalg.norm(corners, axis=1).max()), corners[:, 2]
    exact = moved.accuracy
    if farthest > SLIPS:
        far, usual = told_apart(farthest, SLIPS, unit=units)
        yield Finding(
            code="moved-far", severity="warn", where="[[measured]]",
            got=f"a corner of the blank moved by {far}",
            allowed=f"{usual} or less is usual for work that slipped",
            remedy="check the order and the numbers of the marks, X 0, Y 0 and Z 0, and that the clamps still stand "
                   "where the job says")
    heights = odd_heights if moved.guessed else doubtful_heights
    odd, off = heights(moved.places, moved.rises, exact)
    if odd:
        got, again = odd_words(odd, format_length(off, units), moved.names)
        yield Finding(
            code="height-doubtful", severity="warn", where="[[measured]]", got=got,
            allowed=f"about {format_length(exact, units)} where marks are read so exactly ([moved] accuracy)",
            remedy=again + "tilts or has warped there")
    feeler = clamping.setup.feeler
    as_feeler = bool(feeler) and bool(np.abs(rises - feeler).max() <= min(exact, feeler / 2))
    if moved.guessed and np.abs(rises).max() > exact:
        yield Finding(
            code="heights-guessed", severity="warn", where="[[measured]]",
            got=f"heights are compared with [stock] thickness, {format_length(clamping.stock.thickness, units)} all "
            "over: a blank that is uneven is taken for one that tilts, thicker for one that rose", allowed="",
            remedy=f"write {clamping.drilled_key}, X, Y and Z of each mark as measured once they were drilled (or a "
                   "caliper's thickness beside each for Z)")
    else:
        yield from _off_the_bed(moved, clamping, exact, risen=not odd and not as_feeler)
    if as_feeler:
        yield Finding(
            code="lift-of-a-feeler", severity="warn", where="[[measured]]", got=f"the whole blank rose by "
            f"{format_length(float(rises.mean()), units)}, about the thickness of the feeler, "
            f"{format_length(feeler, units)}", allowed="", remedy="see that its thickness was taken off the Z that the "
            "display showed, when the marks were drilled and now; else something lies under the work")


def _off_the_bed(moved: Moved, clamping: Clamping, exact: float, *, risen: bool) -> Iterator[Finding]:
    """A blank of which a corner sank or, if `risen`, rose by more than twice what errors at the marks do there."""
    units, box = clamping.units, clamping.stock.bounds
    corners, rises = corners_of(box), moved.of_corners(box)[:, 2]
    beyond = rises / (2 * exact * np.maximum(influence(moved.places, corners)[0], 1.0))
    each = ", ".join(f"{named([k], moved.names)} {_length(abs(v), units)} {'lower' if v < 0 else 'higher'}"
                     for k, v in enumerate(moved.rises.tolist()))

    def lies(corner: int, how: str) -> dict[str, str]:
        return {"where": f"[[measured]], {place_words(*corners[corner, :2])}",
                "got": f"the blank lies {format_length(abs(float(rises[corner])), units)} {how} there than when the "
                       f"marks were drilled; found were {each}"}

    zero = f"Z 0 of the pointed cutter was set {zero_again(clamping.setup.z_zero)}"
    if beyond.min() < -1:
        alike = float(np.ptp(moved.rises)) <= 2 * exact
        again = "as by a wrong Z 0, all are lower by about as much" if alike else \
            "measure again the mark that differs most from its neighbours"
        yield Finding(
            code="sinks", severity="warn", **lies(int(np.argmin(beyond)), "lower"),
            allowed="work that lies on the bed cannot sink into it",
            remedy=f"{again}: see that {zero}, and the feeler's thickness taken off; and that no chips or tape have "
            f"gone from under the work{'; measure again' * alike}")
    elif risen and beyond.max() > 1:
        yield Finding(
            code="rises", severity="warn", **lies(int(np.argmax(beyond)), "higher"),
            allowed="work that lies on the bed as it did then has not risen",
            remedy=f"see that {zero}, a setter's height and the feeler's thickness taken off, and measure again; if it "
            "stays, something lies under the work: take it out and measure once more, for it must lie supported on its "
            "whole underside")


def _moved_notes(clamping: Clamping) -> Iterator[Finding]:
    """What the move is taken to be, and how far the marks bear it out; nothing for a part with no program left."""
    moved, units = clamping.moved, clamping.units
    if moved is None or clamping.moved_number is None:
        return
    first, data = clamping.moved_number, moved_data(clamping)
    assert data is not None
    errors = f"; {error_words(data['errors'], units)}" if data["errors"] else ""
    yield Finding(
        code="work-moved", severity="note", where=f"program {first} and later", allowed="",
        got=f"written for work that lies {_lies(data, units)}; {_length(data['worst_residual'], units)} is left over "
        f"at the worst mark{errors}",
        remedy="what is cut from now on meets what was cut before only as nearly as the marks were measured")
    if len(moved.residuals) == 3:
        yield Finding(
            code="three-marks", severity="note", where="[[measured]]", got="three marks", allowed="",
            remedy="three always fit a tilt: measure a fourth to see whether the work has twisted, and each twice, "
                   "from Z 0 on: no other checks its height")
    elif alone := unchecked(moved.places):
        yield Finding(code="height-unchecked", severity="note", where="[[measured]]", allowed="",
                      got=alone_words(alone, moved.names), remedy="an error there tilts all that is cut from now on")
