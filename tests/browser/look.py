#!/usr/bin/env python3
"""Opens a setup sheet in headless Chromium: no message on the console, nothing wider than a telephone or a page.

    python3 tests/browser/look.py out/setup.html [--screenshot page.png]

Says so and ends with status 0 where no Chromium is installed: the page has then not been opened. Uses nothing but
the standard library.
"""

import argparse
import html
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
WIDTHS = {
    "telephone": (360, False),
    "screen": (1000, False),
    # paper, less the page's own margins of 12 mm on each side, at CSS's 96 px to the inch
    "A4": (round((210 - 24) / 25.4 * 96), True),
    "Letter": (round((215.9 - 24) / 25.4 * 96), True),
}
MEASURE = """
<script>addEventListener("load", () => {
  const out = document.getElementById("out");
  for (const frame of document.querySelectorAll("iframe")) {
    const page = frame.contentDocument, width = page.documentElement.clientWidth;
    const wide = [...page.querySelectorAll("body *")].filter(e => e.getBoundingClientRect().right > width + 0.5
      && !e.closest(".scroll")).map(e => e.tagName + "." + e.className);
    out.textContent += `[${frame.title}|${width}|${page.documentElement.scrollWidth}|${wide.slice(0, 3)}]`;
  }
})</script>"""


def main() -> int:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("page", type=Path)
    options.add_argument("--screenshot", type=Path, help="PNG file to write, of the page at screen width")
    chosen = options.parse_args()
    browser = next(filter(None, map(shutil.which, NAMES)), None)
    if browser is None:
        print("no Chromium is installed here: the page was NOT opened")
        return 0
    page = chosen.page.read_text(encoding="utf-8")
    faults = _messages(browser, chosen.page) + _overflow(browser, page)
    if chosen.screenshot:
        _run(browser, chosen.page, f"--screenshot={chosen.screenshot.resolve()}", "--window-size=1000,9000")
    print("\n".join(faults) or "the page opens with an empty console and fits telephone, screen, A4 and Letter")
    return 1 if faults else 0


def _messages(browser: str, page: Path) -> list[str]:
    """What the page says on the console."""
    said = _run(browser, page, "--dump-dom", "--enable-logging=stderr").stderr
    return [f"console: {line}" for line in said.splitlines() if "CONSOLE" in line]


def _overflow(browser: str, page: str) -> list[str]:
    """Where the page is wider than its window; on paper with the rules for print."""
    frames = "".join(
        f'<iframe title="{name}" style="width:{width}px;height:600px;border:0" '
        f'srcdoc="{html.escape(page.replace("@media print", "@media all") if paper else page)}"></iframe>'
        for name, (width, paper) in WIDTHS.items()
    )
    with tempfile.TemporaryDirectory() as folder:
        holder = Path(folder) / "frames.html"
        holder.write_text(f'<!DOCTYPE html><meta charset="utf-8"><p id="out"></p>{frames}{MEASURE}', encoding="utf-8")
        dom = _run(browser, holder, "--dump-dom", "--window-size=1200,900").stdout
    measured = re.findall(r"\[(\w+)\|(\d+)\|(\d+)\|([^\]]*)\]", html.unescape(dom))
    if [m[0] for m in measured] != list(WIDTHS):
        return ["the page could not be measured"]
    return [f"{name}: {shown} px wide in a window of {window}: {parts}" for name, window, shown, parts in measured
            if int(shown) > int(window) or parts]


def _run(browser: str, page: Path, *flags: str) -> subprocess.CompletedProcess[str]:
    with tempfile.TemporaryDirectory() as profile:
        return subprocess.run(
            [browser, "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run",
             "--disable-background-networking", f"--user-data-dir={profile}", *flags, page.resolve().as_uri()],
            capture_output=True, text=True, timeout=120, check=False,
        )


if __name__ == "__main__":
    sys.exit(main())
