#!/usr/bin/env python3
"""Watches a job with a page open in headless Chromium: an edit, a mistake, its mending; the page follows by itself.

    python3 tests/browser/follow.py JOB.toml

The job is copied, with the drawings beside it. Needs pathgen in the Python that runs it; for the rest as look.py.
"""

import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from chromium import Chromium, installed


def main() -> int:
    if installed() is None:
        print("no Chromium is installed here: NOT tried")
        return 1 if os.environ.get("CI") else 0
    source = Path(sys.argv[1])
    with tempfile.TemporaryDirectory() as folder:
        for path in [source, *source.parent.glob("*.svg")]:
            shutil.copy(path, folder)
        _follow(Path(folder) / source.name)
    return 0


def _follow(job: Path) -> None:
    text, out = job.read_text(), job.with_name("out")
    process = subprocess.Popen([sys.executable, "-m", "pathgen", "watch", str(job), "--out", str(out)],
                               stdout=subprocess.PIPE, text=True, env={**os.environ, "PYTHONUNBUFFERED": "1"},
                               preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL))  # ignored in background
    address = re.search(r"http://\S+/", process.stdout.readline())[0]
    try:
        with Chromium() as page:
            page.open(address, width=1280)
            built = 'document.querySelector("h1")?.textContent === {!r}'.format
            page.wait("!!document.querySelector('.placing svg, h1')")
            page.wait("!!document.querySelector('h1')")
            job.write_text(re.sub(r'title = ".*"', 'title = "Edited in place"', text))
            start = time.monotonic()
            page.wait("!!document.querySelector('.placing svg')")
            placed = time.monotonic() - start
            assert page.value("document.querySelector('.placing').getBoundingClientRect().top") < 200, "out of sight"
            page.wait(built("Edited in place"))
            seen = time.monotonic() - start
            print(f"the placing is seen {placed:.1f} s after an edit, the built page after {seen:.1f} s")
            at = "(Math.round(document.getElementById('program-3')?.getBoundingClientRect().top ?? -1) + 0)"  # no -0
            page.wait("document.readyState === 'complete' && !document.querySelector('.placing')")
            page.value("document.getElementById('program-3').scrollIntoView()")
            before = page.value(at)
            job.write_text(re.sub(r'title = ".*"', 'title = "Once more"', text))
            page.wait("document.readyState === 'complete' && !!document.querySelector('.placing svg')")
            assert page.value(f"Math.abs({at} - {before})") < 5, "who reads program 3 has lost it to the placing"
            page.wait(built("Once more"))
            job.write_text(text.replace('title = ', 'title = broken ', 1))
            page.wait("document.getElementById('following')?.textContent.startsWith('Not built')")
            assert page.value(built("Once more")), "what was built last is not kept"
            page.wait("document.readyState === 'complete'")
            page.wait(f"Math.abs({at} - {before}) < 5")  # who reads program 3 reads on there
            fresh = job.with_suffix(".new")  # as many editors save: a new file in the old one's place
            fresh.write_text(re.sub(r'title = ".*"', 'title = "Mended"', text))
            fresh.replace(job)
            page.wait(built("Mended"))
            print("a mistake is shown over what was built last, and its mending is followed")
            faults = [m for m in page.messages if "net::ERR" not in m]
            assert not faults, faults
            process.send_signal(signal.SIGINT)
            assert process.wait(10) == 0
            page.wait("document.getElementById('following')?.textContent.includes('has ended')")
            print("Ctrl-C ends it with status 0, and the page says so")
    finally:
        process.kill()
        process.wait()
    assert "/state" not in (out / "setup.html").read_text(), "the written page is no plain file"


if __name__ == "__main__":
    sys.exit(main())
