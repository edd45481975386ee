"""The one way in for files: what each kind may be and hold, looked at before a byte of it is read."""

from __future__ import annotations

import os
import stat
from dataclasses import dataclass
from pathlib import Path
from typing import TextIO

from pathgen.base.errors import PathgenError


@dataclass(frozen=True, kw_only=True)
class Kind:
    """A kind of file.

    Attributes
    ----------
    words : str
        What it is called in messages.
    most : int
        Bytes that it may hold.
    error : type
        The error raised for one that cannot be read.
    """

    words: str
    most: int
    error: type[PathgenError] = PathgenError


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
        raise kind.error(str(path), f"cannot be read ({reason})", remedy="check the name") from None
    if len(data) > kind.most:
        raise _too_large(path, kind)
    return data


def read_text(path: str | Path, kind: Kind) -> str:
    """A file's text, in UTF-8 with or without its mark. Raises the kind's error, at the first byte that is none."""
    try:
        return read_bytes(path, kind).decode("utf-8-sig")
    except UnicodeDecodeError as wrong:
        raise kind.error(
            Path(path).name, f"byte {wrong.start + 1} is not UTF-8 text", remedy="save it as UTF-8"
        ) from None


def lead_nowhere(stream: TextIO) -> None:
    """What is written to a stream from now on, whose reader has gone, is lost without a fault."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def _too_large(path: str | Path, kind: Kind) -> PathgenError:
    return kind.error(Path(path).name, f"larger than {kind.most / 1e6:g} MB", remedy=f"is it {kind.words}?")


def _what(mode: int) -> str:
    return "a folder" if stat.S_ISDIR(mode) else "a pipe" if stat.S_ISFIFO(mode) else "a device or socket"
