"""`pathgen watch` as a process: what it serves, to whom, and what it does about mistakes."""

import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from types import SimpleNamespace

import pytest

from pathgen.app import watching
from pathgen.app.page_server import PORT, PageServer
from pathgen.base.errors import PathgenError
from pathgen.base.markup import element
from tests import small_board

HOUSE = Path(__file__).parents[2]


class Watched:
    """The process, and the page as a browser would ask for it."""

    def __init__(self, process: subprocess.Popen, address: str) -> None:
        self.process, self.address = process, address

    def get(self, path: str = "", **headers: str) -> str:
        asked = urllib.request.Request(self.address + path, headers=headers)
        with urllib.request.urlopen(asked, timeout=10) as answer:
            return answer.read().decode()

    def wait(self, words: str, *, but_not: str = "", patience: float = 60.0) -> str:
        """The page once it holds the words."""
        start = time.monotonic()
        while words not in (page := self.get()) or (but_not and but_not in page):
            assert time.monotonic() - start < patience, page[:2000]
            assert self.process.poll() is None
            time.sleep(0.1)
        return page


@contextmanager
def watched(job: Path):
    process = subprocess.Popen(
        [sys.executable, "-m", "pathgen", "watch", str(job), "--out", str(job.with_name("out")), "--resolution", "0.3"],
        stdout=subprocess.PIPE, text=True, env={**os.environ, "PYTHONPATH": str(HOUSE), "PYTHONUNBUFFERED": "1"},
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL))  # a shell's background jobs ignore it
    try:
        yield Watched(process, re.search(r"http://\S+/", process.stdout.readline())[0])
    finally:
        process.kill()
        process.wait()
        process.stdout.close()


@pytest.mark.in_every_run(0)
def test_follows_edits_and_mistakes_and_ends(tmp_path):
    job = small_board.job(tmp_path)
    text, drawing = job.read_text(), tmp_path / "art.svg"
    with watched(job) as page:
        page.wait('title>job: setup')
        job.write_text(text + "\n[resin2]\n")  # a mistake
        shown = page.wait("Not built. What is below")
        assert "resin2" in shown
        assert "<h1>job</h1>" in shown, "what was built last is kept"
        job.write_text(text.replace("at = [45.0, 0.0]", "at = [5.0, 18.0]"))  # it can be shown, and not built
        assert "Where all lies" in page.wait("of the drawing lies off the board")
        job.write_text(text + "\n[resin3]\n")
        assert "Where all lies" not in page.wait("resin3"), "that was of another job"
        fresh = tmp_path / "fresh"
        fresh.write_text('title = "Second"\n' + text)
        fresh.replace(job)  # as editors save
        page.wait("<h1>Second</h1>", but_not="Not built")
        kept = drawing.read_text()
        drawing.unlink()
        page.wait("art.svg is not there")
        drawing.write_text(kept.replace("#225577", "#112233"))
        page.wait("#112233", but_not="Not built")
        foreign = tmp_path / "out" / "mine.nc"
        foreign.write_text("mine")
        job.write_text('title = "Third"\n' + text)
        page.wait("mine.nc")
        foreign.unlink()
        page.wait("<h1>Third</h1>", but_not="Not built")
        job.write_text('title = "Fourth"\n' + text)
        page.wait("<h1>Fourth</h1>", but_not="Not built")
        page.process.send_signal(signal.SIGINT)
        assert page.process.wait(10) == 0
        said = page.process.stdout.read()
        assert "ended; what was built last is in" in said
        assert said.count("not built:") == 5
        assert said.count("are of an earlier build of this job: do not cut them for the job as it is now") == 5
    written = (tmp_path / "out" / "setup.html").read_text()
    assert "<h1>Fourth</h1>" in written
    assert "script" not in written


def test_a_file_that_is_being_saved_is_no_mistake(tmp_path, monkeypatch, capsys):
    job = small_board.job(tmp_path)
    text = job.read_text()
    job.write_text("")
    watch = watching._Watch(job, tmp_path / "out", page=SimpleNamespace(look_again=list), resolution=0.2)
    monkeypatch.setattr(watching.time, "sleep", lambda seconds: job.write_text(text))
    assert watch._build(watch._stamp()) is None
    assert "not built" not in capsys.readouterr().out


@pytest.mark.in_every_run(0)
def test_it_says_what_build_says_of_the_build_before(tmp_path, capsys):
    """Which programs differ, in build's own words; warnings once, until they are others."""
    job = small_board.job(tmp_path)
    text, shown = job.read_text(), []
    page = SimpleNamespace(look_again=list, busy=list, show_placing=list, show_build=lambda *page: shown.append(page))
    watch = watching._Watch(job, tmp_path / "out", page=page, resolution=0.5)

    def said(written: str) -> list[str]:
        job.write_text(written)
        watch._build(watch._stamp())
        return [line for line in capsys.readouterr().out.splitlines() if not line.startswith("built in ")]

    high = text.replace("overfill = 0.7", "overfill = 5.0")
    first, same, other, again, back = map(said, (text, text, high, high + " ", text))
    assert first == []
    assert same == ["Programs 1 to 3 are the same as in the build before."]
    assert other[0].startswith("warning: inlay 1 overfill: 5 mm above the surface (usually 3 mm or less). See that it")
    assert other[1:] == ["Programs 1 to 3 differ from the build before, programs 1 and 2 only in feeds, lifts or how "
                         "moves are divided. Read the heads of programs 1 and 2 again: what to do before pressing "
                         "start and what to do afterwards have changed."]
    assert (again, len(back)) == (same, 1)
    assert len(shown) == 5


@pytest.mark.in_every_run(0)
def test_a_folder_that_cannot_be_written_is_tried_again(tmp_path):
    job = small_board.job(tmp_path)
    (tmp_path / "out").write_text("a file")
    with watched(job) as page:
        page.wait("is a file")
        (tmp_path / "out").unlink()
        page.wait("<h1>job</h1>", but_not="Not built")
        time.sleep(1.0)  # the page has it just before the words are said
        page.process.send_signal(signal.SIGINT)
        assert page.process.wait(10) == 0
        assert "written into" in page.process.stdout.read()


def test_served_to_this_computer_alone(tmp_path):
    job = small_board.job(tmp_path)
    with watched(job) as page:
        port = int(page.address.rsplit(":", 1)[1].strip("/"))
        for asked, headers, status in (("", {"Host": f"board.example:{port}"}, 403), ("../job.toml", {}, 404),
                                       ("setup.html", {}, 404)):
            with pytest.raises(urllib.error.HTTPError) as refused:
                page.get(asked, **headers)
            assert refused.value.code == status
            refused.value.close()
        assert set(json.loads(page.get("state"))) == {"number", "words"}
        with urllib.request.urlopen(page.address, timeout=10) as answer:  # headers of RFC 9111 and CSP 3
            assert answer.headers["Cache-Control"] == "no-store"
            assert answer.headers["Content-Type"] == "text/html; charset=utf-8"
            assert "default-src 'none'" in answer.headers["Content-Security-Policy"]
        # RFC 1122, 3.2.1.3: 127/8 never leaves the host; on every other address of this one nobody answers
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            probe.connect(("192.0.2.1", 9))  # TEST-NET-1 (RFC 5737): nothing is sent, a route is looked up
            own = probe.getsockname()[0]
        if own != "127.0.0.1":
            with pytest.raises(OSError):
                socket.create_connection((own, port), timeout=2)


def test_a_port_that_is_taken_is_said():
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        with pytest.raises(PathgenError, match=f"{port} cannot be had"):
            PageServer(port)


def test_where_none_is_asked_for_and_the_usual_one_is_taken_another_is_found():
    with ExitStack() as stack:
        with suppress(OSError):  # another has it already
            stack.enter_context(socket.create_server(("127.0.0.1", PORT)))
        server = stack.enter_context(PageServer(None))
        assert int(server.address.rsplit(":", 1)[1].strip("/")) not in (0, PORT)


@pytest.mark.skipif(os.name != "posix", reason="elsewhere two programs could have one address")
def test_started_again_it_has_its_address_again_and_an_open_page_loads_anew():
    """The side that closes a connection first waits (RFC 9293, 3.6), and its port with it."""
    with PageServer(None) as server:
        server.show_build("<html></html>")
        port, before = int(server.address.rsplit(":", 1)[1].strip("/")), json.loads(server.state())["number"]
        with socket.create_connection(("127.0.0.1", port), timeout=10) as asking:
            asking.sendall(f"GET /state HTTP/1.0\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode())
            while asking.recv(4096):
                pass
            time.sleep(0.2)
    time.sleep(0.01)
    with PageServer(port) as again:
        again.show_build("<html></html>")
        assert json.loads(again.state())["number"] > before


def test_while_building_it_is_said_that_what_is_seen_is_older():
    with PageServer(None) as server:
        server.busy("planning the cuts")
        assert "built last" not in server.page()
        server.show_build("<html><body><main>one</main></body></html>")
        server.busy("planning the cuts")
        assert "Building: planning the cuts .. Below is what was built last." in server.page()


def test_what_was_built_before_a_mistake_is_pale_until_it_is_built_again():
    """Its green `Verified` stood under the mistake at full strength."""
    page = "<html><body><main>one</main></body></html>"
    with PageServer(None) as server:
        server.wrong(["no"])
        assert "opacity" not in server.page()
        assert json.loads(server.state())["words"] == "Not built:\nno."
        server.show_build(page)
        assert "opacity" not in server.page()
        server.wrong(["no"])
        server.show_placing(element("svg"))  # the mistake is mended: not built yet
        assert "<style>main { opacity: .4; }</style>" in server.page()
        server.wrong(["no"])
        assert json.loads(server.state())["words"].startswith("Not built. What is below, pale, is what was built last")
        server.show_build(page)
        assert "opacity" not in server.page()


def test_each_thing_to_be_seen_has_a_number_of_its_own():
    """A page that asks seldom must not take what was built since for what it shows."""
    with PageServer(None) as server:
        seen = [json.loads(server.state())["number"]]
        for show in (lambda: server.show_placing(element("svg")), lambda: server.show_build("<html></html>"),
                     lambda: server.wrong(["no"]), lambda: server.show_build("<html></html>")):
            show()
            seen.append(json.loads(server.state())["number"])
    assert len(set(seen)) == len(seen)
