"""The one way in for files: what each kind may be and hold, looked at before a byte of it is read."""

from __future__ import annotations

import os
import stat
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import TextIO

from pathgen.base.errors import PathgenError
from pathgen.base.plain import one_line


@dataclass(frozen=True, kw_only=True)
class Kind:
    """A kind of file."""

    words: str
    """What it is called in messages."""
    most: int
    """Bytes that it may hold."""
    error: type[PathgenError] = PathgenError
    """The error raised for one that cannot be read."""


def read_bytes(path: str | Path, kind: Kind) -> bytes:
    """What a regular file holds, reached by links or not.

    Opened without waiting, so that a fifo does not hang; what is no regular file, or too large, is refused unread.
    Raises the kind's error.
    """
    try:
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
        with os.fdopen(handle, "rb", closefd=True) as file:
            held = os.fstat(file.fileno())
            if not stat.S_ISREG(held.st_mode):
                raise kind.error(str(path), f"is no file but {_what(held.st_mode)}", remedy=f"name {kind.words}")
            if held.st_size > kind.most:
                raise _too_large(path, kind)
            data = file.read(kind.most + 1)
    except IsADirectoryError:
        raise kind.error(str(path), "is no file but a folder", remedy=f"name {kind.words}") from None
    except (OSError, ValueError) as wrong:
        if isinstance(wrong, PathgenError):
            raise
        reason = getattr(wrong, "strerror", None) or str(wrong)
        near = similar(Path(path)) if isinstance(wrong, FileNotFoundError) else ""
        raise kind.error(str(path), f"cannot be read ({reason})",
                         remedy=f"did you mean {near}?" if near else "check the name") from None
    if len(data) > kind.most:
        raise _too_large(path, kind)
    return data


def similar(path: Path, kind: str = "") -> str:
    """The name of a file beside one that is not there, of the same kind, or of `kind`, such as ``.svg``, and of a name
    much like it; "" where none is."""
    try:
        beside = {name.lower(): name for name in os.listdir(path.parent)}
    except (OSError, ValueError):
        return ""
    kind = kind or path.suffix.lower()
    stems = {name.removesuffix(kind): name for name in beside if name.endswith(kind)}
    found = get_close_matches(path.name.lower().removesuffix(kind), stems, 1)
    return one_line(beside[stems[found[0]]]) if found else ""


def read_text(path: str | Path, kind: Kind) -> str:
    """A file's text, in UTF-8 with or without its mark. Raises the kind's error, at the first byte that is none."""
    try:
        return read_bytes(path, kind).decode("utf-8-sig")
    except UnicodeDecodeError as wrong:
        line = wrong.object[: wrong.start].count(b"\n") + 1
        raise kind.error(
            Path(path).name, f"byte {wrong.start + 1} is not UTF-8 text, in line {line}", remedy="save it as UTF-8"
        ) from None


def lead_nowhere(stream: TextIO) -> None:
    """What is written to a stream from now on, whose reader has gone, is lost without a fault."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def _too_large(path: str | Path, kind: Kind) -> PathgenError:
    return kind.error(Path(path).name, f"larger than {kind.most / 1e6:g} MB", remedy=f"is it {kind.words}?")


def _what(mode: int) -> str:
    return "a folder" if stat.S_ISDIR(mode) else "a pipe" if stat.S_ISFIFO(mode) else "a device or socket"
