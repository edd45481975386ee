"""Writing a folder: all of a set or nothing of it, whatever happens meanwhile."""

import errno
import hashlib
import json
import multiprocessing
import os
import signal
import subprocess
import sys
import time
from itertools import count
from pathlib import Path
from random import Random

import pytest

from pathgen.app import folders
from pathgen.app.folders import RECORD, read_folder, write_folder, write_new, write_over
from pathgen.base.errors import PathgenError

WRITER = """
import sys
from pathlib import Path
from pathgen.app.folders import write_folder
folder, word, times = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])
print("ready", flush=True)
for n in range(times):
    write_folder(folder, {f"{k}.nc": f"{word} {n} {k}\\n" * 20_000 for k in range(6)})
"""


def writer(folder: Path, word: str, times: int) -> subprocess.Popen:
    """A process that writes sets into a folder, waiting to begin for nobody."""
    process = subprocess.Popen(
        [sys.executable, "-c", WRITER, str(folder), word, str(times)], stdout=subprocess.PIPE, text=True,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
    )
    assert process.stdout.readline() == "ready\n"
    return process


def one_set(folder: Path) -> set[str]:
    """The words of the sets that the files of a folder are from; every file of its record is there and as recorded."""
    if not folder.exists():
        return set()
    record = json.loads((folder / RECORD).read_text())
    assert set(record) == {path.name for path in folder.iterdir()} - {RECORD}
    assert all(hashlib.sha256((folder / name).read_bytes()).hexdigest() == known for name, known in record.items())
    return {" ".join((folder / name).read_text().split()[:2]) for name in record}


SYSTEM = (
    "open", "write", "close", "mkdir", "rmdir", "unlink", "chmod", "rename", "replace", "scandir", "stat", "fsencode",
)
"""Functions that ask the system for something, or come just before that."""


def killed_at(nth: int, call, *arguments) -> bool:
    """Whether a process was killed at its nth call to the system while it called `call`; False: it had so few."""
    def counted() -> None:
        left = [nth]

        def before(_frame: object, event: str, called: object) -> None:
            if event == "c_call" and called.__name__ in SYSTEM:
                left[0] -= 1
                if not left[0]:
                    os.kill(os.getpid(), signal.SIGKILL)

        sys.setprofile(before)
        call(*arguments)

    process = multiprocessing.get_context("fork").Process(target=counted)
    process.start()
    process.join(60)
    assert process.exitcode in (0, -signal.SIGKILL)
    return process.exitcode != 0


def a_set(word: str) -> dict[str, str]:
    return {f"{k}.nc": f"{word} 0 {k}\n" for k in range(3)}


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("steps", [1, 2])
def test_killed_at_each_of_its_calls_a_folder_holds_one_set_or_check_says_where_it_is(tmp_path, monkeypatch, steps):
    """In one step, where the system can, and in the two that others need."""
    if steps == 2:
        monkeypatch.setattr(folders, "_exchanged", lambda *_: False)
    held = []
    for nth in count(1):
        folder = tmp_path / str(nth) / "out"
        write_folder(folder, a_set("old"))
        if not killed_at(nth, write_folder, folder, a_set("new")):
            break
        held += [one_set(folder)]
        if not held[-1]:
            with pytest.raises(PathgenError, match=r"what it held before is in \.out-before"):
                read_folder(folder)
            assert one_set(folder.with_name(".out-before")) == {"old 0"}
        write_folder(folder, a_set("next"))
        assert one_set(folder) == {"next 0"}
    assert one_set(folder) == {"new 0"}
    assert len(held) > 25
    assert held == sorted(held, key=[{"old 0"}, set(), {"new 0"}].index)  # the old one, at most none, then the new one
    assert (set() in held) == (steps == 2)
    assert {"old 0"} in held
    assert {"new 0"} in held


def test_killed_while_it_writes_one_file_that_is_whole_or_not_there(tmp_path):
    for nth in count(1):
        path = tmp_path / str(nth)
        if not killed_at(nth, write_new, path, "word " * 20_000):
            break
        assert not path.exists() or path.read_text() == "word " * 20_000
    assert nth > 2
    assert path.read_text() == "word " * 20_000


@pytest.mark.in_every_run(0)
def test_killed_at_any_moment_no_folder_holds_half_a_set(tmp_path):
    chance, seen = Random(16), 0
    for _ in range(20):
        process = writer(tmp_path / "out", "a", 10_000)
        time.sleep(chance.uniform(0, 0.12))
        process.kill()
        process.wait()
        process.stdout.close()
        found = one_set(tmp_path / "out")
        assert len(found) == 1 if seen else len(found) <= 1
        seen += len(found)
    assert seen > 4


@pytest.mark.in_every_run(0)
def test_two_at_once_end_as_one_of_them(tmp_path):
    both = [writer(tmp_path / "out", word, 40) for word in "ab"]
    for process in both:
        assert process.wait(60) == 0
        process.stdout.close()
    assert len(one_set(tmp_path / "out")) == 1


def test_a_link_to_a_folder_stays_and_what_it_leads_to_is_written(tmp_path):
    """As a maker's folder may be a link to the stick that goes to the machine."""
    (tmp_path / "stick").mkdir()
    (tmp_path / "out").symlink_to("stick")
    for word in ("first", "second"):
        assert write_folder(tmp_path / "out", {"1.nc": word}) == [tmp_path / "out" / "1.nc"]
        assert (tmp_path / "out").readlink() == Path("stick")
        assert (tmp_path / "stick" / "1.nc").read_text() == word
        assert sorted(path.name for path in tmp_path.iterdir()) == ["out", "stick"]


def test_a_link_to_a_picture_of_ours_stays_too(tmp_path):
    (tmp_path / "stick.svg").write_text("<svg>ours</svg>")
    (tmp_path / "picture.svg").symlink_to("stick.svg")
    write_over(tmp_path / "picture.svg", "<svg>ours, again</svg>", ours="ours")
    assert (tmp_path / "picture.svg").readlink() == Path("stick.svg")
    assert (tmp_path / "stick.svg").read_text() == "<svg>ours, again</svg>"


@pytest.mark.parametrize("target", ["nothing", "link"])
@pytest.mark.parametrize("write", [
    lambda path: write_folder(path, {"1.nc": "text"}), lambda path: write_new(path, "text"),
    lambda path: write_over(path, "text", ours="text"),
], ids=["folder", "new", "over"])
def test_a_link_that_leads_nowhere_is_refused_by_that_word(tmp_path, write, target):
    (tmp_path / "link").symlink_to(target)
    with pytest.raises(PathgenError, match="a link that leads nowhere"):
        write(tmp_path / "link")
    assert [path.name for path in tmp_path.iterdir()] == ["link"]


def test_what_systems_leave_in_a_folder_is_in_nobodys_way(tmp_path):
    """A file manager's view of a folder, and what a Mac puts beside each file on a stick."""
    folder = tmp_path / "out"
    write_folder(folder, a_set("old"))
    for name in (".DS_Store", "Thumbs.db", "desktop.ini"):
        (folder / name).write_bytes(b"\0\1")
    write_folder(folder, a_set("new"))
    assert one_set(folder) == {"new 0"}
    (folder / "._0.nc").write_bytes(b"\0\5\26\7")
    assert sorted(read_folder(folder)) == ["0.nc", "1.nc", "2.nc"]
    write_folder(folder, a_set("next"))
    assert one_set(folder) == {"next 0"}


@pytest.mark.parametrize("linked", [True, False])
def test_notes_and_pictures_of_the_makers_stay_and_programs_of_theirs_are_in_the_way(tmp_path, monkeypatch, linked):
    def refused(*_, **__):
        raise OSError(errno.EPERM, "a stick's disk has no file in two folders")

    if not linked:
        monkeypatch.setattr(os, "link", refused)
    folder, before = tmp_path / "out", {"1.nc": "old", "report.txt": "old"}
    folder.mkdir()
    (folder / "notes.txt").write_text("mine")
    with pytest.raises(PathgenError, match=r"holds notes\.txt, which no build wrote there: move that file away"):
        write_folder(folder, before)  # a folder of the maker's own
    (folder / "notes.txt").unlink()
    write_folder(folder, before)
    (folder / "notes.txt").write_text("mine")
    (folder / "seen").mkdir()
    (folder / "seen" / "board.jpg").write_bytes(b"\xff\xd8")
    for text in ("new", "newer"):
        write_folder(folder, {"1.nc": text})
        assert sorted(str(path.relative_to(folder)) for path in folder.rglob("*")) == [
            RECORD, "1.nc", "notes.txt", "seen", "seen/board.jpg"]
        assert ((folder / "notes.txt").read_text(), (folder / "1.nc").read_text()) == ("mine", text)
    assert [path.name for path in tmp_path.iterdir()] == ["out"]
    with pytest.raises(PathgenError, match=r"holds notes\.txt, which no build wrote there"):
        write_folder(folder, {"1.nc": "newest", "notes.txt": "ours"})
    for name in ("2.nc", "2.TAP"):
        (folder / name).write_text("G21")
        with pytest.raises(PathgenError, match=f"holds {name}, which no build wrote there"):
            write_folder(folder, {"1.nc": "newest"})
        (folder / name).unlink()
    assert (folder / "notes.txt").read_text() == "mine"


@pytest.mark.parametrize("named", [".", "", "../out"])
def test_the_folder_that_one_stands_in_is_not_replaced(tmp_path, monkeypatch, named):
    """Whoever stands in it would go on in what was there before, and see nothing of the new."""
    (tmp_path / "out").mkdir()
    monkeypatch.chdir(tmp_path / "out")
    with pytest.raises(PathgenError, match=r"the folder that you are in.*the one above it"):
        write_folder(Path(named), a_set("new"))
    assert not os.listdir(".")


@pytest.mark.parametrize(("number", "remedy"), [
    (errno.ENOSPC, "make room there, or name another folder on another disk"), (errno.EFBIG, "name another folder")])
def test_what_helps_where_a_folder_cannot_be_written(tmp_path, monkeypatch, number, remedy):
    """On a full disk another folder is no help; and none but the one cut from knows what was run."""
    def refused(*_):
        raise OSError(number, os.strerror(number))

    folder, told = tmp_path / "out", []
    for _ in range(2):
        with monkeypatch.context() as here:
            here.setattr(folders, "_swap", refused)
            with pytest.raises(PathgenError) as wrong:
                write_folder(folder, {"a.txt": "b"})
        told.append(wrong.value.remedy)
        write_folder(folder, {"a.txt": "a"}, keep={"done": None})
    assert told == [remedy, f"{remedy}, which does not know where marks were and what was run"]
