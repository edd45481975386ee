#!/usr/bin/env python3
"""Opens setup sheets in headless Chromium, at 1280, 500 and 360 px and on paper: console empty, all fits and is said.

    python3 tests/browser/look.py out/setup.html [more.html ..] [--screenshots FOLDER]

Ends with status 1 for any fault, a browser that does not answer among them; says so and ends with status 0 where none
is installed, with 1 where the environment has CI set. Uses nothing but the standard library.
"""

import argparse
import base64
import os
import sys
from pathlib import Path

from chromium import Chromium, installed

VIEWS = {
    "screen": (1280, False),
    "telephone": (360, False),
    "tablet": (500, False),
    # paper, less the page's own margins of 12 mm on each side, at CSS's 96 px to the inch
    "A4": (round((210 - 24) / 25.4 * 96), True),
    "Letter": (round((215.9 - 24) / 25.4 * 96), True),
}
WIDE = """[document.documentElement.scrollWidth > innerWidth ? `page ${document.documentElement.scrollWidth} px` : "",
  ...[...document.querySelectorAll("body *")].filter(e => e.getBoundingClientRect().right > innerWidth + 0.5
    && !["use", "image"].includes(e.tagName)  // cut to the picture that holds them
    && !(e.closest(".scroll") && !matchMedia("print").matches)).slice(0, 3).map(e => e.tagName + "." + e.className)
].filter(Boolean).join(", ")"""
CUT_OFF = """innerWidth < 1000 && !matchMedia("print").matches ? "" : [...document.querySelectorAll(".scroll, pre")]
  .filter(e => e.scrollWidth > e.clientWidth + 1 && !(e.matches("pre") && !matchMedia("print").matches))
  .map(e => e.closest("section").id).join(", ")"""
"""Chapters with a table or a picture that is not seen whole on a wide screen, or with anything cut off on paper."""
HINTS = """[...document.querySelectorAll(".scroll")].filter(e => !matchMedia("print").matches
  && e.scrollWidth > e.clientWidth + 2 !== e.querySelector(".hint")?.getBoundingClientRect().height > 10)
  .map(e => e.getAttribute("aria-label").slice(0, 40)).join("; ")"""
"""What scrolls without saying so, or says so and does not scroll."""
HIGHER = """!matchMedia("print").matches ? "" : [...document.querySelectorAll("article, figure, table, .pair")]
  .filter(e => e.getBoundingClientRect().height > (innerWidth < 710 ? 269 : 251) / 25.4 * 96)
  .map(e => e.id || e.tagName + "." + e.className).join(", ")"""
"""What does not fit a page, within the page's margins of 14 mm above and below."""
SAYS_WHAT_IT_SHOWS = """[...document.querySelectorAll("img, svg[role]")]
  .filter(e => !(e.getAttribute("alt") || e.getAttribute("aria-label"))).length"""
NOT_LOADED = "[...document.images].filter(e => !e.complete || !e.naturalWidth).length"
BROKEN = r"""(() => {
  const lines = (node, [{0: found, index}]) => {
    const range = document.createRange();
    range.setStart(node, index), range.setEnd(node, index + found.length);
    return new Set([...range.getClientRects()].filter(box => box.width > 0).map(box => Math.round(box.top))).size;
  };
  const texts = [...document.querySelectorAll("th, td")].flatMap(cell => [...cell.childNodes])
    .filter(node => node.nodeType === 3);
  return texts.flatMap(node => [/[\p{L}\p{N}.,]+/gu, ...matchMedia("print").matches ? [/[\d.]+ \p{L}+$/gu] : []]
    .flatMap(what => [...node.data.matchAll(what)]).filter(one => lines(node, [one]) > 1).map(one => one[0])
  ).slice(0, 5).join("; ");
})()"""
"""Words of a table that are broken in the middle, and on paper figures that are broken before their unit."""
LABELS = """[...document.querySelectorAll("figure svg")].flatMap(svg => {
  const boxes = [...svg.querySelectorAll("text")].map(e => [e.textContent, e.getBoundingClientRect()]);
  return boxes.flatMap(([a, p], i) => boxes.slice(i + 1).filter(([b, q]) => Math.min(p.right, q.right)
    - Math.max(p.left, q.left) > 1 && Math.min(p.bottom, q.bottom) - Math.max(p.top, q.top) > 0.3 * p.height)
    .map(([b]) => `${a} / ${b}`));
}).slice(0, 5).join("; ")"""
"""Words of a picture that lie over one another."""


def main() -> int:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("pages", type=Path, nargs="+", metavar="PAGE")
    options.add_argument("--screenshots", type=Path, metavar="FOLDER", help="folder for a PNG file of each view")
    chosen = options.parse_args()
    if installed() is None:
        print("no Chromium is installed here: the page was NOT opened")
        return 1 if os.environ.get("CI") else 0
    faults = [fault for page in chosen.pages for fault in _look(page, chosen.screenshots)]
    print("\n".join(faults) or f"{len(chosen.pages)} pages open with an empty console and fit {', '.join(VIEWS)}")
    return 1 if faults else 0


def _look(page: Path, folder: Path | None) -> list[str]:
    faults = []
    with Chromium() as browser:
        for name, (width, paper) in VIEWS.items():
            browser.open(page.resolve().as_uri(), width=width, paper=paper)
            found = {"wider than its window": browser.value(WIDE), "cut off": browser.value(CUT_OFF),
                     "hints that do not fit": browser.value(HINTS), "higher than a page": browser.value(HIGHER),
                     "pictures not loaded": browser.value(NOT_LOADED),
                     "pictures without words": browser.value(SAYS_WHAT_IT_SHOWS),
                     "broken in the middle": browser.value(BROKEN),
                     "labels over one another": browser.value(LABELS)}
            faults += [f"{page}, {name}: {what}: {value}" for what, value in found.items() if value]
            if folder:
                _screenshot(browser, folder / f"{page.parent.name}-{name}.png")
        faults += [f"{page}, console: {message}" for message in browser.messages]
    return faults


def _screenshot(browser: Chromium, path: Path) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    shot = browser("Page.captureScreenshot", captureBeyondViewport=True, format="png")
    path.write_bytes(base64.b64decode(shot["data"]))


if __name__ == "__main__":
    sys.exit(main())
