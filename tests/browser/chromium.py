"""Chromium without a window, told what to do through its own debugging protocol over two pipes: standard library."""

from __future__ import annotations

import itertools
import json
import os
import selectors
import shutil
import subprocess
import tempfile
import time

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
FLAGS = ("--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
         "--disable-component-update", "--disable-sync", "--hide-scrollbars", "--remote-debugging-pipe")


def installed() -> str | None:
    """The browser's path, or None where there is none."""
    return next(filter(None, map(shutil.which, NAMES)), None)


class Chromium:
    """One browser with one page, in a `with` block. Raises RuntimeError for anything that it does not do."""

    def __init__(self, *, patience: float = 60.0) -> None:
        self._patience, self._numbers, self._rest, self.messages = patience, itertools.count(1), b"", []

    def __enter__(self) -> Chromium:
        self._profile = tempfile.TemporaryDirectory(ignore_cleanup_errors=True)
        its_in, self._to = os.pipe()
        self._from, its_out = os.pipe()

        def pipes() -> None:
            a, b = os.dup(its_in), os.dup(its_out)
            os.dup2(a, 3)
            os.dup2(b, 4)

        self._process = subprocess.Popen(
            [installed() or "", *FLAGS, f"--user-data-dir={self._profile.name}", "about:blank"],
            preexec_fn=pipes, close_fds=False, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )
        os.close(its_in)
        os.close(its_out)
        self._session = None
        target = self("Target.createTarget", url="about:blank")["targetId"]
        self._session = self("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Log"):
            self(f"{domain}.enable")
        return self

    def __exit__(self, *wrong: object) -> None:
        self._process.kill()
        self._process.wait()
        os.close(self._to)
        os.close(self._from)
        self._profile.cleanup()

    def __call__(self, method: str, **parameters: object) -> dict:
        """What a command of the protocol answers."""
        number = next(self._numbers)
        asked = {"id": number, "method": method, "params": parameters}
        os.write(self._to, json.dumps({**asked, **({"sessionId": self._session} if self._session else {})}).encode()
                 + b"\0")
        while True:
            said = self._next()
            if said.get("method") in ("Runtime.consoleAPICalled", "Runtime.exceptionThrown", "Log.entryAdded"):
                self.messages.append(json.dumps(said["params"])[:300])
            if said.get("id") == number:
                if "error" in said:
                    raise RuntimeError(f"{method}: {said['error']}")
                return said["result"]

    def open(self, address: str, *, width: int, height: int = 900, paper: bool = False) -> None:
        """Open a page in a window of that width (CSS px), or as it is laid out on paper, and wait for it."""
        self("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=width < 600)
        self("Emulation.setEmulatedMedia", media="print" if paper else "screen")
        wrong = self("Page.navigate", url=address).get("errorText")
        if wrong:
            raise RuntimeError(f"{address}: {wrong}")
        self.wait("document.readyState === 'complete' && location.href !== 'about:blank'")

    def value(self, script: str) -> object:
        """What a script in the page comes to."""
        said = self("Runtime.evaluate", expression=script, returnByValue=True, awaitPromise=True)
        if "exceptionDetails" in said:
            raise RuntimeError(f"{script}: {said['exceptionDetails']}")
        return said["result"].get("value")

    def wait(self, script: str) -> float:
        """Wait until a script in the page is true; gives the seconds that took."""
        start = time.monotonic()
        while not self.value(script):
            if time.monotonic() - start > self._patience:
                raise RuntimeError(f"not within {self._patience} s: {script}")
            time.sleep(0.05)
        return time.monotonic() - start

    def _next(self) -> dict:
        with selectors.DefaultSelector() as ready:
            ready.register(self._from, selectors.EVENT_READ)
            while b"\0" not in self._rest:
                if not ready.select(self._patience):
                    raise RuntimeError("the browser says nothing")
                data = os.read(self._from, 1 << 20)
                if not data:
                    raise RuntimeError("the browser has ended")
                self._rest += data
        line, _, self._rest = self._rest.partition(b"\0")
        return json.loads(line)
