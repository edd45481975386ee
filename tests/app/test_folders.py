"""Writing a folder: all of a set or nothing of it, whatever happens meanwhile."""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
import time
from pathlib import Path
from random import Random

from pathgen.app.folders import RECORD

WRITER = """
import sys
from pathlib import Path
from pathgen.app.folders import write_folder
from pathgen.base.errors import PathgenError
folder, word, times = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])
print("ready", flush=True)
for n in range(times):
    try:
        write_folder(folder, {f"{k}.nc": f"{word} {n} {k}\\n" * 20_000 for k in range(6)})
    except PathgenError:
        pass
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


def test_killed_at_any_moment_no_folder_holds_half_a_set(tmp_path):
    chance, seen = Random(16), 0
    for _ in range(50):
        process = writer(tmp_path / "out", "a", 10_000)
        time.sleep(chance.uniform(0, 0.12))
        process.kill()
        process.wait()
        process.stdout.close()
        found = one_set(tmp_path / "out")
        assert len(found) <= 1
        seen += len(found)
    assert seen > 10


def test_two_at_once_end_as_one_of_them(tmp_path):
    both = [writer(tmp_path / "out", word, 40) for word in "ab"]
    for process in both:
        assert process.wait(60) == 0
        process.stdout.close()
    assert len(one_set(tmp_path / "out")) == 1
