"""Command lines by chance: good ones with words changed, doubled, dropped or odd, where much is not as it is named.

No command may touch a file that was there, unless it is an earlier build or picture of ours, nor make one that no word
of its names.
"""

import io
import os
import stat
from contextlib import chdir, redirect_stderr, redirect_stdout
from pathlib import Path
from random import Random
from types import SimpleNamespace
from unittest.mock import patch

from pathgen.app import watching
from pathgen.app.cli import main
from pathgen.app.folders import write_folder
from tests import small_board

ALONE = ["--cutter", "ball-end", "12.7 mm", "--blank", "125", "66", "8", "--corner", "-20", "-33"]
QUICK = ["--resolution", "1"]
COMMANDS = (
    ["build", "job.toml", "--out", "out", *QUICK], ["build", "job.toml", "--out", "set", "--no-pictures", *QUICK],
    ["build", "job.toml", "--out", "new/er", "--pictures", "--json", *QUICK],
    ["watch", "job.toml", "--out", "out", "--port", "0", *QUICK],
    ["check", "job.toml", "set", *QUICK], ["check", "job.toml", "set", "--json", *QUICK],
    ["check", "set/01.nc", *ALONE, "--thickness", "6.5", "--radius", "254", "--scallop", "0.05", *QUICK],
    ["simulate", "set/01.nc", *ALONE, "--zero", "0", "0", "0", "--picture", "left.png", *QUICK],
    ["show", "job.toml"], ["show", "job.toml", "--picture", "earlier.svg"], ["new", "board"], ["keys"],
    ["frets", "job.toml", "--json"], ["reach", "job.toml"], ["compare", "job.toml", "--scallop", "0.1"],
    ["compare", "job.toml", "--cutter", "ball", "10 mm"], ["block", "job.toml", "--frets", "1", "5", "--out", "out"],
    *([name, "job.toml", "--out", "out", *QUICK] for name in ("gauges", "nut", "side-dots", "pieces", "coupon")),
    ["fretting", "job.toml", "--picture", "strip.svg"], ["strings", "job.toml"], ["neck", "job.toml", "--json"],
)
NAMES = ("job.toml", "set", "set/01.nc", "out", "new/er", "earlier.svg", "left.png", "strip.svg", "board")
MORE = """
[slots]
cutter = "slot"
depth = 2.0
[frets]
tang = { width = 0.5, depth = 1.6, studs = 0.7 }
[strings]
gauges = [1.1, 0.9, 0.7, 0.4, 0.3, 0.2]
[neck]
kind = "steel"
angle = 0.1
joint_fret = 5
fret_height = 1.2
action_12 = 2.0
[block]
cutter = "ball"
[gauges]
cutter = "flat"
[nut_blank]
cutter = "flat"
height = 8.0
[side_dots]
cutter = "flat"
"""
PLACES = (
    "job.toml", "set", "set/01.nc", "set/.pathgen.json", "earlier.svg", "folder", "folder/in", "link", "link/x",
    "to-folder", "to-picture", "to-set", "nowhere", "nowhere/x", "loop", "loop/x", "pipe", "pipe/x", "locked",
    "locked/x", "/dev/null", "/dev/full", "/dev/zero", "/dev/stdout", "/dev/null/x", "/proc/self/x", "/", ".", "..",
    "../beside", "../beside/x", "job.toml/x", "a/b/c/d", "folder/../set", "./", "~", "~/x", "-", "x" * 300, "x/" * 3000,
    "y/" * 300, "x" * 130_000, "", " ", "a\nb", "a\x1b[31mb", "\u2028", "\u202ex", "\udcff", "-x", "--", "e\u0301",
    "CON", "a b", "*.toml", "%s%n{0}", "\x7f", ".hidden", "job", "job.toml.toml", "set/report.json", "out", "new",
    "file:///x", "C:\\x",
)
NUMBERS = (
    "0", "-0", "-1", "1e400", "-1e400", "nan", "inf", "-inf", "1e-320", "1_000", "\u0663", "0x10", "1/0 in", "1/4 in",
    "9" * 5000, "1" + "0" * 400, "1e5", "0.0199999", "0.02", "1", "1.0000001", "99999", "1,5", "1e5 mm", "+1", " 1 ",
    "\u22121", "1/" + "9" * 400 + " in", "5 mm mm", "mm", "3 ft", "1e308", "0.001", "65536", "1e999 in", "0/0", "12 mm",
)
OPTIONS = (
    "--out", "--json", "--picture", "--pictures", "--no-pictures", "--resolution", "--port", "--cutter", "--blank",
    "--corner", "--zero", "--stepdown", "--thickness", "--radius", "--scallop", "--frets", "--help", "-h", "--o",
    "--pic", "--out=", "--resolution=", "--json=1", "--bad", "-z", "--\x1b[31m", "--" + "x" * 9999, "@job.toml",
    "---", "--version",
)


def run(folder: Path, chance: Random) -> None:
    """Runs one and looks at what it said and left. Raises AssertionError for an answer or a file that may not be."""
    here = folder / "here"
    _furnish(here)
    words = _words(chance)
    before = _held(folder)
    with chdir(here):
        status, said = _ran(words, chance.choice(("utf-8", "ascii")))
        named = {os.path.realpath(path) for word in words for path in _named(word)} - {"/"}
    what = " ".join(words)[:300]
    assert status in (0, 1, 2), f"{what!r} ended with {status}"
    assert all(c.isprintable() or c in "\n\t\N{NO-BREAK SPACE}" for c in said), f"{what!r} said {said[:300]!r}"
    assert len(said) < 100_000 or status == 0, f"{what!r} said {len(said)} characters"
    _compared(before, _held(folder), named, what)


def _named(word: str) -> list[str]:
    """The files that a word may name: as it is, after `=`, and as commands make names of it."""
    stem = word.removesuffix(".toml")
    path = word.partition("=")[2] or word or "."
    return [path, word or ".", stem + ".toml", stem + ".svg", Path(stem).stem + "-placing.svg"]


def _words(chance: Random) -> list[str]:
    """A command line with one to three things changed; no longer than a system takes one (2 MB, a word of 128 KB)."""
    words = list(chance.choice(COMMANDS))
    for _ in range(chance.choice((1, 1, 1, 2, 3))):
        at, draw = chance.randrange(min(1, len(words) - 1), len(words)), chance.random()
        if draw < 0.45:
            words[chance.choice([k for k, word in enumerate(words) if word in NAMES] or [at])] = chance.choice(PLACES)
        elif draw < 0.65:
            numbers = [k for k, word in enumerate(words) if word.lstrip("-")[:1].isdigit()]
            words[chance.choice(numbers or [at])] = chance.choice(NUMBERS)
        elif draw < 0.7:
            words[at] = chance.choice(PLACES + NUMBERS + OPTIONS)
        elif draw < 0.8:
            words[at:at] = [chance.choice(OPTIONS), *chance.sample(PLACES + NUMBERS, chance.choice((0, 1, 1, 2)))]
        elif draw < 0.88:
            words += words[at : at + 2]
        elif draw < 0.91:
            del words[at]
        elif draw < 0.95:
            words[at : at + 2] = ["=".join(words[at : at + 2])]
        elif draw < 0.97:
            chance.shuffle(words)
        else:
            words[at : at + 1] = words[at : at + 1] * chance.choice((2, 9, 3000 if len(words[at]) < 600 else 9))
        words = words or [""]
    return words


def _ran(words: list[str], encoding: str) -> tuple[int, str]:
    """The status that a command ends with and all that it says. `watch` ends where it would wait."""
    def ended(_: float) -> None:
        raise KeyboardInterrupt

    outs = [io.TextIOWrapper(io.BytesIO(), encoding=encoding, errors=errors)
            for errors in ("strict", "backslashreplace")]  # as those of the interpreter are
    waits = SimpleNamespace(sleep=ended, monotonic=watching.time.monotonic)
    with (redirect_stdout(outs[0]), redirect_stderr(outs[1]), patch.object(watching, "time", waits),
          patch.dict(os.environ, {"PATHGEN_TRACE": "1", "COLUMNS": "100"})):
        try:
            status = main(words)
        except SystemExit as end:
            status = end.code
        for out in outs:
            out.flush()
    return status, "".join(out.buffer.getvalue().decode(encoding) for out in outs)


def _furnish(here: Path) -> None:
    """A job, a set of programs, an earlier picture, and things that are not what their names say."""
    from tests.fuzz.run import good_programs

    here.mkdir()
    small_board.job(here, extra=small_board.SLOT_CUTTER + MORE)
    good = good_programs()[1]
    write_folder(here / "set", {**good, "01.nc": list(good.values())[-1]})
    (here / "earlier.svg").write_text('<svg data-made-by="pathgen show"/>')
    for name in ("folder", "locked"):
        (here / name).mkdir()
    (here / "folder" / "mine").write_text("kept")
    for name, target in (("link", "job.toml"), ("to-folder", "folder"), ("to-set", "set"), ("nowhere", "gone"),
                         ("to-picture", "earlier.svg"), ("loop", "loop")):
        (here / name).symlink_to(target)
    os.mkfifo(here / "pipe")
    (here / "locked").chmod(0)


def _held(folder: Path) -> dict[str, bytes]:
    """What stands in a folder, by path: what a file holds, where a link leads, what kind another thing is."""
    held = {}
    for at, folders, files in os.walk(folder):
        for name in [*folders, *files]:
            path = os.path.join(at, name)
            mode = os.lstat(path).st_mode
            held[path] = (os.fsencode(os.readlink(path)) if stat.S_ISLNK(mode) else
                          Path(path).read_bytes() if stat.S_ISREG(mode) else b"%o" % stat.S_IFMT(mode))
    return held


def _compared(before: dict[str, bytes], after: dict[str, bytes], named: set[str], what: str) -> None:
    """What a command changed, made or took away is what it was told to, and ours."""
    for path in sorted({path for path, _ in {*before.items()} ^ {*after.items()}}):
        ours = path not in before or "/here/set" in path or path.endswith("/here/earlier.svg")
        real = os.path.realpath(path)
        under = any(f"{real}/".startswith(f"{name}/") or f"{name}/".startswith(f"{real}/") for name in named)
        assert ours, f"{what!r} changed {path}"
        assert under, f"{what!r} made {path}"
