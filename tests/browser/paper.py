#!/usr/bin/env python3
"""Prints setup sheets by headless Chromium on A4 and Letter, at 100 %, and measures in the PDF what says its true size.

    python3 tests/browser/paper.py out/setup.html [more.html ..]

Every bar to measure must be as long as the words over it say, and each picture that is to print at its own size so
wide. For the rest as look.py.
"""

import base64
import os
import re
import sys
import zlib
from pathlib import Path

from chromium import Chromium, installed

PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
POINT = 25.4 / 72
NEAR = 0.1
"""mm: a hair; a sheet shrunk by 0.5 % is seen."""
ASKED = """[...document.querySelectorAll("svg text")].map(e => e.textContent)
  .filter(words => words.includes("measure it on"))"""
"""The words over each bar."""
WITHOUT = """[...document.querySelectorAll("svg[aria-label*='true size']")]
  .filter(svg => !svg.textContent.includes("measure it on")).map(svg => svg.getAttribute("aria-label")).join("; ")"""
"""What says that its size is true, and has no bar."""
SHRUNK = r"""[...document.querySelectorAll("svg[style*='width'], img[style*='width']")]
  .map(e => [e.getAttribute("aria-label") ?? e.alt, parseFloat(e.style.width),
             e.getBoundingClientRect().width / 96 * 25.4])
  .filter(([, asked, seen]) => seen && Math.abs(asked - seen) > 0.1).map(one => one.join(" ")).join("; ")"""
"""What the page as it is laid out on paper shows at another width than its own."""


def main() -> int:
    if installed() is None:
        print("no Chromium is installed here: nothing was printed")
        return 1 if os.environ.get("CI") else 0
    faults, count = [], 0
    with Chromium() as browser:
        for page in map(Path, sys.argv[1:]):
            for name, (wide, high) in PAPERS.items():
                browser.open(page.resolve().as_uri(), width=round((wide - 24) / 25.4 * 96), paper=True)
                asked = sorted(_length(words) for words in browser.value(ASKED))
                printed = browser("Page.printToPDF", paperWidth=wide / 25.4, paperHeight=high / 25.4)
                found = bars(base64.b64decode(printed["data"]))
                count += len(asked)
                if len(found) != len(asked) or any(abs(a - b) > NEAR for a, b in zip(found, asked, strict=True)):
                    faults.append(f"{page}, {name}: bars of {asked} mm print {[round(v, 2) for v in found]} mm long")
                told = {"not at its own width": browser.value(SHRUNK), "without a bar": browser.value(WITHOUT)}
                faults += [f"{page}, {name}: {what}: {value}" for what, value in told.items() if value]
    print("\n".join(faults) or f"{count} bars print as long as they say on {' and '.join(PAPERS)}")
    return 1 if faults or not count else 0


def _length(words: str) -> float:
    number, unit = words.split(":")[0].split(" ")
    return float(number) * {"mm": 1.0, "in": 25.4}[unit]


def bars(pdf: bytes) -> list[float]:
    """How long, mm, each bar is that a PDF draws: a line, and across each of its ends one of a 25th of it or so."""
    streams = re.findall(rb"stream\r?\n(.*?)\r?\nendstream", pdf, re.DOTALL)
    return sorted(found for stream in streams for found in _bars(_plain(stream)))


def _plain(stream: bytes) -> str:
    try:
        plain = zlib.decompress(stream).decode("ascii")
    except (zlib.error, UnicodeDecodeError):  # a picture, a font
        return ""
    return plain if " cm\n" in plain else ""


def _bars(content: str) -> list[float]:
    """Of one page: its operators as ISO 32000-1 has them (from memory), those of paths and of their scale alone."""
    found, scale, kept, numbers, runs = [], 1.0, [], [], []
    for word in content.split():
        if re.fullmatch(r"[-+]?[\d.]+", word):
            numbers.append(float(word))
            continue
        if word == "q":
            kept.append(scale)
        elif word == "Q":
            scale = kept.pop()
        elif word == "cm":
            scale *= abs(numbers[-6])
        elif word == "m":
            runs.append([numbers[-2:]])
        elif word == "l":
            runs[-1].append(numbers[-2:])
        elif word in ("S", "f", "n", "f*", "B", "s"):
            if word == "S" and [len(run) for run in runs] == [2, 2, 2]:
                (ax, ay), (bx, by) = runs[0]
                high = [abs(run[1][1] - run[0][1]) for run in runs[1:]]
                if ay == by and [run[0][0] for run in runs[1:]] == [ax, bx] and high[0] > 0:
                    found.append(abs(bx - ax) * scale * POINT)
            runs = []
        numbers = []
    return found


if __name__ == "__main__":
    sys.exit(main())
