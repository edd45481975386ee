"""Words of RS274/NGC, and of machines' own, that are not followed: what each does, and what to write in its place.

No remedy may change what the rest of a program does: a word can go only where nothing hangs on it.
"""

from __future__ import annotations

import unicodedata

PLAIN_WORDS = ("plain words: moves by G0 to G3, and those for units, plane, zero (G54 to G59), feed, spindle, coolant, "
               "waits and stops")
"""What is followed, as told where something is not."""
_UNKNOWN = (
    "is not followed here", "see in the machine's manual what it does: it can go only if it moves nothing and changes "
    "no zero, feed or speed; else have the program written without it")
_ZERO = ("moves the zero within the program", "have it written from one zero: without the word all that follows would "
         "lie elsewhere")
_TURNS = ("turns, mirrors or scales what follows", "have it written out as it is to be cut")
_SIDE = ("shifts the path aside by a radius from the machine's table", "have it written as the path of the cutter's "
         "centre: without the word it would lie half a cutter off")
_LENGTH = ("shifts Z by a length from the machine's table", "set Z 0 with this cutter in the spindle, then G43 and its "
           "H can go; a Z beside them stays")
_PARKS = ("goes to a place that only the machine knows", "write G90 G0 Z.. from the work's zero in place of the line, "
          "clear of work and clamps, then X and Y")
_PROBES = ("probes", "set the zero by hand, and check the program that cuts by itself")
_OFFSET = ("is a work offset past G59", "write G54 in its place, and set the zero there")
_CYCLE = ("drills by a cycle", "write it out, for each hole G0 over it, G1 down, G0 up: its R, Q, P and L, and the "
          "holes on the lines after it, belong to it")
_CALLS = ("calls moves that stand elsewhere", "write those moves in its place")
_TABLE = ("takes a length or a radius from the machine's table", "set Z 0 with this cutter in the spindle, then it can "
          "go")
_FURTHER = ("moves a further axis", "have it written for X, Y and Z alone")
_SETS = ("sets a zero or a table of the machine", "set the zero by hand before the start, then the line can go")
_NOT_FOLLOWED = {
    "G10": _SETS,
    **dict.fromkeys(("G16", "G51", "G51.1", "G68"), _TURNS),
    **dict.fromkeys(("G28", "G30"), _PARKS),
    **dict.fromkeys(("G28.1", "G30.1"), ("keeps a place in the machine's memory", "it can go: G28 and G30, which go "
                                         "there, are not followed either")),
    **dict.fromkeys(("G31", *(f"G38.{n}" for n in range(2, 6))), _PROBES),
    **dict.fromkeys(("G41", "G41.1", "G42", "G42.1"), _SIDE),
    **dict.fromkeys(("G43", "G43.1", "G43.2"), _LENGTH),
    **dict.fromkeys(("G52", "G92"), _ZERO),
    **dict.fromkeys(("G92.1", "G92.2", "G92.3"), (
        "ends or brings back a shift of the zero that the machine keeps", "end such shifts at the machine before its "
        "zero is set, then it can go")),
    "G53": ("counts the places of this line from the machine's own zero", "write them from the work's zero, a lift "
            "clear of work and clamps first (G0 Z..): the same numbers without G53 are other places"),
    **dict.fromkeys(("G54.1", "G59.1", "G59.2", "G59.3"), _OFFSET),
    **dict.fromkeys(("G65", "G66", "M97", "M98"), _CALLS),
    **dict.fromkeys(("G73", "G74", "G76", *(f"G{n}" for n in range(81, 90))), _CYCLE),
    "G90.1": ("counts I, J and K of arcs from the zero", "have it written with I, J and K from the arc's start "
              "(G91.1): without the word each arc would be another"),
    "G93": ("counts each F by the time of its move", "have it written with feeds per minute (G94): each F means "
            "something else there"),
    "G95": ("counts feeds per turn of the spindle", "write G94, and each F as the feed per minute: F times S"),
    "G96": ("lets S count the speed of the edge", "write S as turns per minute, and G97"),
    "M99": ("goes back to where it was called from, or to the start", "write M30 where the program ends"),
    "M49": ("switches the machine's dials for feed and speed off", "it can go: nothing is cut otherwise"),
    **dict.fromkeys("ABCUVW", _FURTHER), **dict.fromkeys("DH", _TABLE),
    "E": ("is a power of ten", "write the number out, as 0.00001"),
    "N": ("numbers the line, and does not stand first on it", "write it before all other words of its line, once, or "
          "leave it out"),
    "O": ("numbers the program", "it can go"),
    "T": ("names a cutter", "it can go where that cutter is in the spindle"),
}
_NUMBERS_OF = {_LENGTH: "DH", _SIDE: "DH", _SETS: "LQ", _CYCLE: "LQ", _CALLS: "ABCDEHLQUVW"}
"""Letters whose numbers belong to a word beside them, and say nothing by themselves there."""
_CUTTER = {
    False: ("takes a cutter", "put that cutter in by hand before the start, then T and M6 can go"),
    True: ("changes the cutter", "write what follows as a program of its own: one program, one cutter"),
}
_ODD = {
    "/": ("begins a line that the machine runs or skips, by a switch", "take the / out if the line is to run, else "
          "all of the line"),
    "#": ("is a parameter, whose value is not followed", "have it written with plain numbers"),
    "[": ("is a sum, which is not worked out", "write the number that it comes to"),
    "<": ("is a name, which is not followed", "have it written with plain words and numbers"),
}


def not_followed(words: list[str], *, moved: bool) -> tuple[str, str]:
    """What some words of a line do, and what to write in their place; `moved` where moves stand before it."""
    told: dict[tuple[str, str], list[str]] = {}
    codes = [_code(word) for word in words]
    changed = ("T", "M6") if "M6" in codes else ()
    whys = [_CUTTER[moved] if code in changed else _NOT_FOLLOWED.get(code, _UNKNOWN) for code in codes]
    for word, code, why in zip(words, codes, whys, strict=True):
        owner = next((other for other in whys if code in _NUMBERS_OF.get(other, "")), why)
        told.setdefault(owner, []).append(word)
    does = "; ".join(f"{' '.join(some)} {why}" for (why, _), some in told.items())
    alone = len(told) == 1
    return does, "; ".join(instead if alone else f"{some[0]}: {instead}" for (_, instead), some in told.items())


def _code(word: str) -> str:
    """By what a word is known: a G or M with its number, else its letter."""
    return f"{word[0]}{float(word[1:]):g}" if word[0] in "GM" else word[0]


def no_word(code: str) -> tuple[str, str]:
    """Why a line cannot be read from here on, and what to do about it."""
    odd = code[1:2] if code[:1].isalpha() else code[:1]
    if odd in _ODD:
        return f"{code[:12]!r} is not a word: {odd} {_ODD[odd][0]}", _ODD[odd][1]
    return f"{code[:12]!r} is not a word", "write a letter and its number, as X1.5; is a number missing there?"


def odd_character(odd: str) -> str:
    """A character that machines do not read, so that its maker finds it: many do not show."""
    if odd == "\ufeff":
        return "a byte-order mark, which does not show: an editor put it there"
    if odd.isprintable():
        return f"the character {odd}"
    return f"a character that does not show, {unicodedata.name(odd, f'code {ord(odd)}')}"
