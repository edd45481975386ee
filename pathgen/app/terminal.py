"""What the terminal shows beside plain words: colour and progress, both only where somebody is looking."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from shutil import get_terminal_size
from textwrap import wrap
from threading import Event, Thread
from typing import Any, TextIO

from pathgen.base.errors import PathgenError
from pathgen.base.files import lead_nowhere
from pathgen.base.plain import in_json, json_in_ascii, plain

RED, YELLOW, GREEN = "31", "33", "32"

_OPTIONS = {
    "check_program limit": "--scallop", "check_program top": "--thickness", "simulate resolution": "--resolution",
    "blank x": "--blank", "blank y": "--blank", "blank thickness": "--blank", "radiused start": "--radius",
    "radiused end": "--radius", "radiused length": "--radius", "radiused thickness": "--thickness",
    "flat thickness": "--thickness", "zero": "--zero", "resolution": "--resolution",
}
"""The options by which arguments of the library are said on the command line."""


def wants_colour(stream: TextIO) -> bool:
    """True for a terminal, unless NO_COLOR is set to anything (no-color.org) or the terminal is dumb."""
    return stream.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


def coloured(text: str, colour: str, stream: TextIO) -> str:
    """Text in a colour (ECMA-48 SGR) where the stream wants colour; else the text as it is."""
    return f"\x1b[{colour}m{text}\x1b[0m" if wants_colour(stream) else text


def by_option(wrong: PathgenError) -> PathgenError:
    """What was refused of an argument, called by the option that said it."""
    option = _OPTIONS.get(wrong.where)
    return wrong if option is None else type(wrong)(option, wrong.problem, allowed=wrong.allowed, remedy=wrong.remedy)


def say(
    text: str, stream: TextIO | None = None, *, mark: str = "", colour: str = "", as_it_is: bool = False
) -> None:
    """Text and an end of line, without anything that a terminal would obey; `mark` goes before it in a colour. On a
    terminal sentences go on in its next line between words, but of what is to stay `as_it_is`.

    Everything that is shown goes out here; a test of the house holds the package to it. Where its reader has gone, as
    `head` does, the rest is not shown, and the work goes on: files are written all the same. So it does where there is
    no such stream. Raises PathgenError where what is asked for cannot be written, as into a file on a full disk.
    """
    stream = stream or sys.stdout
    if stream is None:  # it was closed before the start
        return
    mark = plain(mark)
    said = mark + plain(text)
    if stream.isatty() and not as_it_is:
        said = _wrapped(said, get_terminal_size().columns)
    try:
        print((coloured(mark, colour, stream) if mark else "") + said[len(mark):], file=stream, flush=True)
    except BrokenPipeError:
        lead_nowhere(stream)
    except OSError as wrong:
        lead_nowhere(stream)
        if stream is sys.stdout:
            raise PathgenError("output", f"cannot be written ({wrong.strerror})", remedy="send it elsewhere") from None


def _wrapped(text: str, wide: int) -> str:
    """Text whose sentences fit so many columns; columns of a table and words that are longer stay whole."""
    return "\n".join(line if "  " in line.strip() else "\n".join(
        wrap(line, wide, break_long_words=False, break_on_hyphens=False, drop_whitespace=True)) or line
        for line in text.split("\n"))


def say_json(data: Any) -> None:
    """Plain values as JSON, which stays JSON where the stream has few characters."""
    text = in_json(json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False))
    try:
        text.encode(getattr(sys.stdout, "encoding", None) or "utf-8")
    except UnicodeEncodeError:
        text = json_in_ascii(text)
    say(text, as_it_is=True)


@contextmanager
def progress(stages: int, stream: TextIO | None, *, delay: float = 1.0) -> Iterator[Callable[[str], None]]:
    """Gives a function to be told what is being done now, `stages` times in all. Shown on a terminal once `delay`
    seconds have passed, with the time so far, and taken away at the end; never in a pipe or a file."""
    if stream is None or not stream.isatty():
        yield lambda words: None
        return
    from tqdm import tqdm  # only where somebody is looking: it loads slowly

    bar = tqdm(total=stages, initial=-1, file=stream, delay=delay, leave=False, ncols=72,
               bar_format="{desc} {bar} {elapsed}")
    done = Event()

    def tick() -> None:
        while not done.wait(delay):
            bar.delay = 0  # from now on there is something to take away at the end
            bar.refresh()

    def tell(words: str) -> None:
        bar.set_description_str(words, refresh=False)
        bar.update()

    clock = Thread(target=tick, daemon=True)
    with bar:
        clock.start()
        try:
            yield tell
        finally:
            done.set()
            clock.join()
