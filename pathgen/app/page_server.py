"""A page that follows what is being built, served to this computer alone: 127.0.0.1, nothing from outside."""

from __future__ import annotations

import base64
import hashlib
import json
import os
import time
from collections.abc import Sequence
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Lock, Thread
from types import TracebackType

from pathgen.base.errors import PathgenError
from pathgen.base.markup import Element, as_html, as_page, element
from pathgen.report.wording import ended

PORT = 8642
HOST = "127.0.0.1"
SCRIPT = """
const seen = Number(document.currentScript.dataset.number), bar = document.getElementById("following");
async function follow() {
  try {
    const state = await (await fetch("/state", {cache: "no-store"})).json();
    if (state.number !== seen) return location.reload();
    bar.textContent = state.words;
  } catch { bar.textContent = "pathgen watch has ended: start it again, and this page follows."; }
  setTimeout(follow, 400);
}
follow();
"""
"""Asks for the number of what is to be seen, and loads the page again when that is another."""
_HASH = base64.b64encode(hashlib.sha256(SCRIPT.encode()).digest()).decode()
POLICY = f"default-src 'none'; style-src 'unsafe-inline'; img-src data:; connect-src 'self'; " \
         f"script-src 'sha256-{_HASH}'"
FONT = "font: 1rem/1.4 system-ui, sans-serif"
STYLE = (f"position: sticky; top: 0; z-index: 1; margin: 0; padding: .5rem 1rem; {FONT}; "
         "white-space: pre-line; color: #ffffff; background: ")
OLDER = "main { opacity: .4; }"
"""How a page looks that is older than what the job file says."""
_QUIET, _BAD = "#1b2624", "#8a2110"
e = element


class PageServer:
    """Serves one page; in a `with` block. Raises PathgenError where `port` is taken (none given: any free one)."""

    def __init__(self, port: int | None) -> None:
        self._lock, self._words, self._bad = Lock(), "starting", False
        self._stale = False  # a build since has failed
        # an open page that an earlier server sent has a lower number, and loads again
        self._number = time.time_ns() // 1_000_000
        self._page, self._placing = "", None  # type: tuple[str, Element | None]
        self._server = _server(port, self)
        self._thread = Thread(target=self._server.serve_forever, kwargs={"poll_interval": 0.1}, daemon=True)

    def __enter__(self) -> PageServer:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, wrong: BaseException | None, where: TracebackType | None
    ) -> None:
        self._server.shutdown()
        self._server.server_close()

    @property
    def address(self) -> str:
        """Where the page is."""
        return f"http://{HOST}:{self._server.server_address[1]}/"

    @property
    def hosts(self) -> tuple[str, str]:
        """Names by which this computer's own browser asks; another means that a page from elsewhere does."""
        return f"{HOST}:{self._server.server_address[1]}", f"localhost:{self._server.server_address[1]}"

    @property
    def has_build(self) -> bool:
        """True once something was built."""
        return bool(self._page)

    def busy(self, words: str) -> None:
        """Say what is being done now."""
        with self._lock:
            self._words = f"Building: {words} .." + (" Below is what was built last." if self._page else "")

    def show_placing(self, picture: Element) -> None:
        """Show where everything lies, over what was built before."""
        with self._lock:
            self._placing, self._bad, self._words, self._number = picture, False, "Building ..", self._number + 1

    def look_again(self) -> None:
        """Forget where everything lay: the job has changed, and it is not known yet what it says now."""
        with self._lock:
            self._placing = None

    def show_build(self, page: str, warnings: Sequence[str] = ()) -> None:
        """Show a page that was built, and over it what differs from the build before it."""
        with self._lock:
            self._page, self._placing, self._bad, self._stale = page, None, bool(warnings), False
            self._words = "\n".join(["Built. This page follows the job file.", *(f"Warning: {w}" for w in warnings)])
            self._number += 1

    def wrong(self, words: Sequence[str]) -> None:
        """Show what is wrong, a line for each, over what was built before."""
        with self._lock:
            below = ". What is below, pale, is what was built last, and not what the job file says now:" \
                if self._page else ":"
            self._words, self._bad = "\n".join([f"Not built{below}",
                                                *map(ended, words)]), True
            self._stale = bool(self._page)
            self._number += 1

    def state(self) -> str:
        """Number and words of what is to be seen now, as JSON."""
        with self._lock:
            return json.dumps({"number": self._number, "words": self._words})

    def page(self) -> str:
        """The page as it is to be seen now."""
        with self._lock:
            bar = e("p", self._words, id="following", role="status", style=STYLE + (_BAD if self._bad else _QUIET))
            script = e("script", data_number=str(self._number))
            placed = e("div", e("p", "Where all lies, before it is planned:"), self._placing, class_="placing",
                       style=f"overflow-x: auto; padding: 1rem; {FONT}") if self._placing is not None else None
            # as_html escapes text, and a script's text must stand as it is
            shown = [as_html(bar), as_html(script).replace("></", f">{SCRIPT}</"),
                     as_html(placed) if placed is not None else "",
                     as_html(e("style", OLDER)) if self._stale else ""]
            page = self._page or as_page("pathgen watch")
            return page.replace("<body>", "<body>" + "".join(shown), 1)


def _server(port: int | None, page: PageServer) -> ThreadingHTTPServer:
    handler = type("Handler", (_Handler,), {"page": page})
    for wanted in (PORT, 0) if port is None else (port,):
        try:
            return _Server((HOST, wanted), handler)
        except (OSError, OverflowError):
            continue
    raise PathgenError("--port", f"{port} cannot be had", allowed="a free one from 1024 to 65535",
                       remedy="leave --port out: a free one is found")


class _Server(ThreadingHTTPServer):
    # a closed connection lingers for a minute; where not POSIX this would let two programs have one address
    allow_reuse_address = os.name == "posix"


class _Handler(BaseHTTPRequestHandler):
    page: PageServer

    def do_GET(self) -> None:
        """The page at /, its state at /state, and nothing else."""
        if self.headers.get("Host") not in self.page.hosts:
            self.send_error(403, "for this computer only")
        elif self.path == "/":
            self._send(self.page.page(), "text/html; charset=utf-8")
        elif self.path == "/state":
            self._send(self.page.state(), "application/json")
        else:
            self.send_error(404)

    def _send(self, text: str, kind: str) -> None:
        body = text.encode()
        self.send_response(200)
        for name, value in (("Content-Type", kind), ("Content-Length", str(len(body))), ("Cache-Control", "no-store"),
                            ("Content-Security-Policy", POLICY), ("X-Content-Type-Options", "nosniff")):
            self.send_header(name, value)
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, format: str, *args: object) -> None:
        """Nothing: the terminal is for what is built."""
