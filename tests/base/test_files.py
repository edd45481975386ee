"""The one way in for files: odd ones are refused at once, unread."""

import os
import time
from pathlib import Path

import pytest

from pathgen.base.errors import PathgenError
from pathgen.base.files import Kind, read_bytes, read_text

KIND = Kind(words="a job file", most=1000)


def _linked_to_itself(path: Path) -> None:
    path.symlink_to(path)


ODD = {
    "a folder": (Path.mkdir, "no file but a folder"),
    "a pipe": (os.mkfifo, "no file but a pipe"),
    "an endless device": (lambda path: path.symlink_to("/dev/zero"), "no file but a device"),
    "a link to nothing": (lambda path: path.symlink_to("nowhere"), "No such file"),
    "a link to itself": (_linked_to_itself, "symbolic links"),
    "not there": (lambda path: None, "No such file"),
    "too large": (lambda path: os.truncate(path, 50_000_000_000) if path.touch() is None else None, "larger than"),
}


@pytest.mark.parametrize("name", list(ODD))
def test_odd_files_are_refused_at_once(name, tmp_path):
    make, words = ODD[name]
    path = tmp_path / "file"
    make(path)
    began = time.monotonic()
    with pytest.raises(PathgenError, match=words) as refused:
        read_bytes(path, KIND)
    assert refused.value.remedy
    assert Path(refused.value.where).name == "file"
    assert time.monotonic() - began < 1.0


@pytest.mark.parametrize("path", ["a\0b", "x" * 5000, "a/" * 3000])
def test_names_that_no_file_has(path):
    with pytest.raises(PathgenError, match="cannot be read"):
        read_bytes(path, KIND)


def test_what_is_read(tmp_path):
    path, link = tmp_path / "file", tmp_path / "link"
    path.write_bytes(b"\xef\xbb\xbf" + "é".encode() * 400)
    link.symlink_to(path)
    assert read_text(link, KIND) == "é" * 400
    path.write_bytes(b"ab\n\xff")
    with pytest.raises(PathgenError, match="byte 4 is not UTF-8 text, in line 2"):
        read_text(path, KIND)
    path.write_bytes(b"x" * 1001)
    with pytest.raises(PathgenError, match=r"larger than 0\.001 MB"):
        read_bytes(path, KIND)
