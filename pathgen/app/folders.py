"""Files in a folder: all of them or none, and nothing of anybody else's touched."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import tempfile
from collections.abc import Mapping
from pathlib import Path

from pathgen.base.errors import PathgenError
from pathgen.base.files import MOST_PROGRAMS, PROGRAM, Kind, read_bytes, read_text

RECORD = ".pathgen.json"
"""Names and hashes of the files of a build, so that a later one knows what it may replace."""

ANY = Kind(words="a file of a build", most=64_000_000)


def write_folder(folder: Path, files: Mapping[str, str | bytes]) -> list[Path]:
    """Write texts and pictures into `folder` by way of a folder beside it and a rename. Returns their paths.

    Raises PathgenError when `folder` holds anything but unchanged files of an earlier build, or cannot be written.
    """
    refuse_foreign(folder)
    record = {name: _hash(_bytes(content)) for name, content in files.items()}
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        fresh = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
    except OSError as wrong:
        raise _not_written(folder, wrong) from None
    try:
        os.chmod(fresh, 0o755)
        for name, content in {**files, RECORD: json.dumps(record, indent=1)}.items():
            (fresh / name).write_bytes(_bytes(content))
        _swap(fresh, folder)
    except OSError as wrong:
        raise _not_written(folder, wrong) from None
    finally:
        shutil.rmtree(fresh, ignore_errors=True)
    return [folder / name for name in files]


def write_new(path: Path, content: str | bytes) -> None:
    """Write one file that is not there yet. Raises PathgenError for one that is, or that cannot be written."""
    if path.exists() or path.is_symlink():
        raise PathgenError(str(path), "is there already", remedy="name another file, or take it away")
    try:
        path.write_bytes(_bytes(content))
    except OSError as wrong:
        raise _not_written(path, wrong) from None


def write_over(path: Path, text: str, *, ours: str) -> None:
    """Write one file, over one that holds the words `ours`. Raises PathgenError for any other file that is there."""
    if (path.exists() or path.is_symlink()) and ours.encode() not in read_bytes(path, ANY):
        raise PathgenError(str(path), "is there already and not ours", remedy="name another file")
    try:
        path.write_bytes(text.encode())
    except OSError as wrong:
        raise _not_written(path, wrong) from None


def read_folder(folder: Path) -> dict[str, str]:
    """The texts of the programs (``.nc``) in a folder, by file name.

    Bytes that are not text come back as characters that no program may hold, for the reader to refuse.
    """
    if not folder.is_dir():
        raise PathgenError(str(folder), "there is no such folder", remedy="name the folder that a build wrote")
    paths = sorted(folder.glob("*.nc"))
    if len(paths) > MOST_PROGRAMS:
        raise PathgenError(str(folder), f"{len(paths)} programs", allowed=f"{MOST_PROGRAMS} or fewer")
    return {path.name: read_bytes(path, PROGRAM).decode("utf-8", errors="replace") for path in paths}


def refuse_foreign(folder: Path) -> None:
    """Raise PathgenError for a folder that holds anything but unchanged files of an earlier build."""
    if not folder.exists():
        return
    if not folder.is_dir():
        raise PathgenError(str(folder), "is a file", remedy="name another folder")
    try:
        record = json.loads(read_text(folder / RECORD, ANY))
        known = dict(record)
    except (ValueError, TypeError, RecursionError):
        known = {}
    try:
        there = sorted(folder.iterdir())
    except FileNotFoundError:  # another build is just putting its own in this place
        return
    for path in there:
        if path.name == RECORD:
            continue
        if path.name not in known:
            raise PathgenError(str(folder), f"holds {path.name}, which no build wrote there",
                               remedy="name another folder, or move that away")
        if _hash(read_bytes(path, ANY)) != known[path.name]:
            raise PathgenError(str(folder), f"{path.name} was changed since it was written",
                               remedy="name another folder, or move that file away if you want to keep it")


def _swap(fresh: Path, folder: Path) -> None:
    """Put the fresh folder in the place of the old one."""
    if not folder.exists():
        fresh.rename(folder)
        return
    old = Path(tempfile.mkdtemp(prefix=f".{folder.name}-old-", dir=folder.parent))
    old.rmdir()
    folder.rename(old)
    try:
        fresh.rename(folder)
    except OSError:
        old.rename(folder)
        raise
    shutil.rmtree(old, ignore_errors=True)


def _not_written(folder: Path, wrong: OSError) -> PathgenError:
    return PathgenError(str(folder), f"cannot be written ({wrong.strerror})", remedy="name another folder")


def _bytes(content: str | bytes) -> bytes:
    return content if isinstance(content, bytes) else content.encode()


def _hash(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()
