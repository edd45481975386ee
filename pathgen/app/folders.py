"""Files in a folder: all of them or none, and nothing of anybody else's touched."""

from __future__ import annotations

import ctypes
import errno
import hashlib
import json
import os
import shutil
import tempfile
from collections.abc import Container, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from pathgen.base.errors import PathgenError
from pathgen.base.files import read_bytes, read_text
from pathgen.base.limits import BUILT, MOST_PROGRAMS, MOST_TOGETHER, PROGRAM
from pathgen.base.plain import joined

RECORD = ".pathgen.json"
"""Names and hashes of the files of a build, so that a later one knows what it may replace."""
_JOB = "/job"  # under which a record holds the job file: no file is called so
_KEPT = "/kept"  # under which it holds what a build keeps for later ones
_LITTER = {".DS_Store", "Thumbs.db", "desktop.ini"}
"""What systems put into a folder that is looked at: nobody's work, and made again."""
_OF_A_COPY = "._"  # how names begin of what a Mac adds to copies
_ENDINGS = {".nc", ".tap", ".ngc", ".gcode", ".gc", ".cnc"}
"""Endings that programs are given on their way to a machine (common practice)."""
_KNOWS_NOT = ", which does not know where marks were and what was run"
_ELSEWHERE = f"or name another folder{_KNOWS_NOT}"
_MOST_NAMED = 4
_TRIES = 20  # times that a folder is looked at while other builds write into it


def write_folder(
    folder: Path, files: Mapping[str, str | bytes], *, job: Path | None = None, keep: Any = None
) -> list[Path]:
    """Write texts and pictures into a folder beside `folder`, which then takes its place. Returns their paths.

    `job` is the job file that they are of, which `was_of` then knows; `keep`, which `kept_in` gives back, is of what
    JSON can hold.

    What else lies in a folder that an earlier build wrote, notes and photographs, say, stays there. Raises PathgenError
    when `folder` holds programs of anybody else's, changed files of that build, or cannot be written.
    """
    given, folder = folder, _led(folder)
    if not os.path.lexists(folder) and os.path.isdir(_aside(folder)):
        _aside(folder).rename(folder)  # a build was stopped between its two steps
    refuse_foreign(folder, files)
    record: dict[str, Any] = {name: _hash(_bytes(content)) for name, content in files.items()}
    if job is not None:
        record[_JOB] = _way(job, folder)
    if keep is not None:
        record[_KEPT] = keep
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        fresh = Path(tempfile.mkdtemp(prefix=f".{folder.name}-unfinished-", dir=folder.parent))
    except OSError as wrong:
        raise _not_written(folder, wrong) from None
    try:
        os.chmod(fresh, 0o755)
        for name, content in {**files, RECORD: json.dumps(record, indent=1)}.items():
            (fresh / name).write_bytes(_bytes(content))
        _carry_over(folder, fresh)
        _swap(fresh, folder)
    except OSError as wrong:
        raise _not_written(folder, wrong) from None
    finally:
        shutil.rmtree(fresh, ignore_errors=True)
    return [given / name for name in files]


def was_of(folder: Path, job: Path) -> bool:
    """Whether a folder holds what was built from a job file."""
    return _record(folder).get(_JOB) == _way(job, _led(folder))


def written_in(folder: Path) -> set[str]:
    """The names of the files that the build that filled a folder wrote."""
    return {name for name in _record(folder) if name not in (_JOB, _KEPT)}


def kept_in(folder: Path) -> Any:
    """What the build that filled a folder kept for later ones; None where it kept nothing."""
    return _record(folder).get(_KEPT)


def was_of_another(folder: Path, job: Path) -> bool:
    """Whether a folder says that it holds what was built from another job file."""
    return _JOB in _record(folder) and not was_of(folder, job)


def _way(job: Path, folder: Path) -> str:
    """How a folder's record names a job file: by the way to it, which stays where both are moved."""
    try:
        return os.path.relpath(os.path.realpath(job), os.path.realpath(folder))
    except ValueError:  # on another drive
        return os.path.realpath(job)


def write_new(path: Path, content: str | bytes) -> None:
    """Write one file that is not there yet. Raises PathgenError for one that is, or that cannot be written."""
    if os.path.lexists(_led(path)):
        raise PathgenError(str(path), "is there already", remedy="name another file, or take it away")
    _put(path, _bytes(content))


def write_over(path: Path, text: str, *, ours: str) -> None:
    """Write one file, over one that holds the words `ours`. Raises PathgenError for any other file that is there."""
    leads = _led(path)
    if os.path.lexists(leads) and ours.encode() not in read_bytes(path, BUILT):
        raise PathgenError(str(path), "is there already and not ours", remedy="name another file")
    _put(leads, text.encode())


def read_folder(folder: Path) -> dict[str, str]:
    """The texts of the programs (``.nc``) in a folder, by file name. Bytes that are not text come back as characters
    that no program may hold, for the reader to refuse."""
    if not os.path.isdir(folder):
        if os.path.isdir(_aside(folder)):
            raise PathgenError(str(folder), "was being replaced when a build was stopped",
                               remedy=f"build again; what it held before is in {_aside(folder).name} beside it")
        there = os.path.lexists(folder)
        raise PathgenError(str(folder), "is no folder, but a file" if there else "there is no such folder",
                           remedy=f"name the folder that {'it lies in' if there else 'a build wrote'}")
    paths = sorted(path for path in folder.glob("*.nc") if not path.name.startswith(_OF_A_COPY))
    if not paths:
        others = otherwise_named(folder)
        raise PathgenError(str(folder), "holds no program" + (f", but {others[0].name}" if others else ""),
                           allowed="programs, whose names end in .nc",
                           remedy="give them their names again" if others else "name the folder that a build wrote")
    if len(paths) > MOST_PROGRAMS:
        raise PathgenError(str(folder), f"{len(paths)} programs", allowed=f"{MOST_PROGRAMS} or fewer")
    texts: dict[str, str] = {}
    for path in paths:
        texts[path.name] = read_bytes(path, PROGRAM).decode("utf-8", errors="replace")
        if sum(len(text) for text in texts.values()) > MOST_TOGETHER:
            raise PathgenError(str(folder), f"programs of more than {MOST_TOGETHER / 1e6:g} MB together",
                               remedy="name the folder that a build wrote")
    return texts


def otherwise_named(folder: Path) -> list[Path]:
    """Files of a folder that by their endings are programs too, and that `read_folder` passes over."""
    return sorted(path for path in folder.iterdir() if path.suffix != ".nc" and _is_program(path))


def _is_program(path: Path) -> bool:
    """Whether a file is a program by its ending."""
    return path.suffix.lower() in _ENDINGS and not path.name.startswith(_OF_A_COPY)


def _carry_over(folder: Path, fresh: Path) -> None:
    """Put what is no build's into the folder that takes the place of another: as it is, or copied where a disk cannot
    have one file in two folders."""
    if not os.path.isdir(folder):
        return
    for path in _no_builds(folder, _record(folder)):
        if os.path.lexists(fresh / path.name):
            continue
        if os.path.isdir(path) and not os.path.islink(path):
            shutil.copytree(path, fresh / path.name, symlinks=True, copy_function=_linked)
        else:
            _linked(path, fresh / path.name)


def _linked(path: str | Path, to: str | Path) -> None:
    try:
        os.link(path, to, follow_symlinks=False)
    except OSError:
        shutil.copy2(path, to, follow_symlinks=False)


def refuse_foreign(folder: Path, files: Container[str] = ()) -> None:
    """Raise PathgenError for a folder that `files` may not replace: see `write_folder`."""
    if not os.path.lexists(_led(folder)):
        return
    if not os.path.isdir(folder):
        raise PathgenError(str(folder), "is a file", remedy="name another folder")
    if os.path.samefile(folder, os.curdir):
        raise PathgenError(str(folder), "is the folder that you are in: it cannot be replaced under you",
                           remedy="name one in it, or go to the one above it")
    for _ in range(_TRIES):
        record = _record(folder)
        try:
            _refuse_other_than(record, folder, files)
            return
        except (PathgenError, OSError) as wrong:
            refused = wrong
        if _record(folder) == record:  # else another build has put its set here meanwhile
            break
    raise refused if isinstance(refused, PathgenError) else _not_written(folder, refused)


def _refuse_other_than(record: Mapping[str, Any], folder: Path, files: Container[str]) -> None:
    """Refuse a folder with files that are not as its record says: programs, and what would be in the way of `files`."""
    foreign = [path.name for path in _no_builds(folder, record)
               if not record or path.name in files or _is_program(path)]
    changed = [name for name in sorted(set(os.listdir(folder)) & set(record)) if not _is(record[name], folder / name)]
    if not foreign and not changed:
        return
    if not record and any(name.endswith(".nc") for name in foreign):
        lacking, copy = (f"but no {RECORD}", "if this is a copy of what a build wrote, copy that hidden file too")
        if os.path.lexists(folder / RECORD):
            lacking, copy = f"and {RECORD} cannot be read", "if you have that hidden file elsewhere, copy it again"
        raise PathgenError(str(folder), f"holds {_some(foreign)}, {lacking}: by that a build knows what it wrote",
                           remedy=f"{copy}; {_ELSEWHERE}")
    found = [f"holds {_some(foreign)}, which no build wrote there"] if foreign else []
    found += [f"{_some(changed)} {'were' if changed[1:] else 'was'} changed since "
              f"{'they were' if changed[1:] else 'it was'} written"] if changed else []
    what, them = ("those files", "them") if (foreign + changed)[1:] else ("that file", "it")
    raise PathgenError(str(folder), "; ".join(found),
                       remedy=f"move {what} away, if you want to keep {them}, else delete {them}; {_ELSEWHERE}")


def _no_builds(folder: Path, record: Mapping[str, Any]) -> list[Path]:
    """What lies in a folder that by its record no build wrote."""
    return [path for path in sorted(folder.iterdir())
            if path.name not in {RECORD, *_LITTER, *record} and not path.name.startswith(_OF_A_COPY)]


def _is(known: Any, path: Path) -> bool:
    """Whether a file is as a record knows it; other ends of lines, as mail programs make, are no change."""
    data = read_bytes(path, BUILT)
    return known in (_hash(data), _hash(data.replace(b"\r\n", b"\n")))


def _some(names: Sequence[str]) -> str:
    """Files by their names, of many the first."""
    return joined([*names[:_MOST_NAMED], *([f"{len(names) - _MOST_NAMED} more"] if names[_MOST_NAMED:] else [])])


def _record(folder: Path) -> dict[str, Any]:
    """Names and hashes, and what else the build that filled a folder noted; nothing where no build did."""
    try:
        return dict(json.loads(read_text(folder / RECORD, BUILT)))
    except (ValueError, TypeError, RecursionError):
        return {}


def _led(path: Path) -> Path:
    """Where a path leads, through a link, which stays. Raises PathgenError for a link that leads nowhere."""
    if not os.path.islink(path):
        return path
    leads = Path(os.path.realpath(path))
    if os.path.islink(leads) or not os.path.lexists(leads):
        raise PathgenError(str(path), "is a link that leads nowhere", remedy="make what it leads to, or name another")
    return leads


def _put(path: Path, data: bytes) -> None:
    """One file, whole or not at all, by way of one beside it."""
    fresh = path.with_name(f".{path.name}-unfinished-{os.getpid()}")
    try:
        fresh.write_bytes(data)
        fresh.replace(path)
    except OSError as wrong:
        raise _not_written(path, wrong, "file") from None
    finally:
        with suppress(OSError):
            fresh.unlink()


def _swap(fresh: Path, folder: Path) -> None:
    """Put the fresh folder in the place of the old one, in one step where the system can."""
    if not os.path.lexists(folder):
        fresh.rename(folder)
        return
    if _exchanged(fresh, folder):
        return
    aside = _aside(folder)
    _carry_over(aside, fresh)  # of a build that was stopped between its two steps
    shutil.rmtree(aside, ignore_errors=True)
    folder.rename(aside)
    try:
        fresh.rename(folder)
    except OSError:
        aside.rename(folder)
        raise
    shutil.rmtree(aside, ignore_errors=True)


def _exchanged(one: Path, other: Path) -> bool:
    """Whether two folders have taken each other's place in one step: Linux can on most disks (renameat2(2))."""
    try:
        call = ctypes.CDLL(None).renameat2
    except (AttributeError, OSError, TypeError):
        return False
    here, exchange = -100, 2  # AT_FDCWD, RENAME_EXCHANGE
    return int(call(here, os.fsencode(one), here, os.fsencode(other), exchange)) == 0


def _aside(folder: Path) -> Path:
    """Where a folder waits while another takes its place in two steps."""
    return folder.parent / f".{folder.name}-before"


def _not_written(path: Path, wrong: OSError, what: str = "folder") -> PathgenError:
    where = " on another disk" if (full := wrong.errno in (errno.ENOSPC, getattr(errno, "EDQUOT", None))) else ""
    knows = _KNOWS_NOT if kept_in(path) is not None else ""
    return PathgenError(str(path), f"cannot be written ({wrong.strerror})",
                        remedy=f"{'make room there, or ' * full}name another {what}{where}{knows}")


def _bytes(content: str | bytes) -> bytes:
    return content if isinstance(content, bytes) else content.encode()


def _hash(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()
