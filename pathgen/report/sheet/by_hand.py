"""What to have ready beside cutters and fill, as what the page says later asks for it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from pathgen.programs.afterwards import afterwards, off_the_machine
from pathgen.programs.instructions import before_start, cautions
from pathgen.report.programs import Program
from pathgen.work.clamping import Clamping

ASKED = (
    (r"eye and ear protection", "eye and ear protection"),
    (r"wear a mask", "a mask that fits"),
    (r"spoilboard, a spare flat board", "a spoilboard, a spare flat board"),
    (r"wooden dowels (.+?) thick and at most (.+?) long", "wooden dowels, {0} by {1} at most"),
    (r"double-sided tape or vacuum", "double-sided tape for the whole face, or vacuum"),
    (r"Stick the \w+ down (?:flat )?over its whole face with (double-sided tape)", "{0} for the whole face"),
    (r"\bin a vice\b", "a vice"),
    (r"between (two straight pieces of wood)", "{0}"),
    (r"Check with a square", "a square"),
    (r"(a block or wedge .+? high) under", "{0}"),
    (r"Measure the (?:blank|cutter)|stock of .* thick: measure it|as measured", "a caliper"),
    (r"a straight pin in the spindle", "a straight pin for the spindle, to find edges"),
    (r"on a setter", "a setter, a block of known height, if the tip is not to touch the bed itself"),
    (r"feeler or paper (.+?) thick", "a feeler or paper {0} thick"),
    (r"Try it on scrap", "flat scrap for the trial of the v cutter"),
    (r"pointed cutter", "a pointed cutter for the marks"),
    (r"through a loupe", "a loupe"),
    (r"pack hollows under it with paper", "paper to pack hollows with"),
    (r"Brush and vacuum the pockets", "a brush, a vacuum"),
    (r"resin maker's sheet comes first", "gloves, as the resin's sheet says"),
    (r"stir slowly", "cups and sticks to mix in"),
    (r"Brush a thin coat", "a small brush for the first coat"),
    (r"Warm the parts", "warm water for the resin's parts, if its sheet allows"),
    (r"prick them with a pin", "a pin to prick bubbles with"),
    (r"[Tt]hicken", "a thickener that the resin's maker allows"),
    (r"with a syringe or spatula", "a syringe or spatula"),
    (r"no damp cloth", "a dry cover for the work while it cures"),
    (r"[Tt]hen glue the pieces in|Glue the (?:dots|binding)", "glue"),
    (r"Wipe off the glue", "a cloth for the glue"),
    (r"[Ss]crape (?:off what|that resin off)", "a scraper"),
    (r"Measure the highest point of the ((?:cured )?\w+)", "a depth gauge for the height of {0}"),
    (r"with a (?:knife or a )?fine saw|a knife or a fine saw", "a fine saw"),
    (r"file that off|file it to fit", "a file"),
    (r"soak it with its solvent", "the tape's solvent"),
    (r"with a hard ((?:flat block|block of its radius|narrow straight bar)(?: [\d.]+ \w+ long at most)?)",
     "a hard {0}"),
    (r"roughen it|with a hard (?:flat block|block of its radius|narrow straight bar)", "abrasive paper"),
)
"""Words that ask for a thing, as a pattern; the thing, with what the pattern's brackets hold."""


def by_hand(clamping: Clamping, programs: Sequence[Program], more: Iterable[str] = ()) -> str:
    """All that the lists of the programs still to be run, what may be left to do after one that is done or comes after
    the last, and `more` lines ask for."""
    return "; ".join(things_in(said(clamping, programs, more)))


def said(clamping: Clamping, programs: Sequence[Program], more: Iterable[str] = ()) -> str:
    """Those lists and lines as one text."""
    left = [p for p in programs if not clamping.done(p.step)]
    lines = [line for p in left for line in (*cautions(p.step), *before_start(clamping, p.step, p.start))]
    after = [line for p in programs for line in afterwards(clamping, p.step)]
    return "\n".join((*lines, *after, *off_the_machine(clamping), *more))


def things_in(*texts: str) -> list[str]:
    """The things that any of the texts asks for, each once."""
    found = (thing.format(*asked.groups()) for words, thing in ASKED for text in texts
             if (asked := re.search(words, text)))
    return list(dict.fromkeys(found))
