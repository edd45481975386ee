"""How long drawings take from file to regions: plain ones, large ones, and those made to stall a reader.

    python -m tests.benchmarks.artwork_speed [plain | growth | hard]

Seconds are processor time of this process, the best of three for the plain drawings. The reference beside them is the
least that any reader of the same file must do: taking the XML apart and turning its numbers into floats.
"""

import math
import re
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from xml.etree import ElementTree

import numpy as np

from pathgen.artwork import read_artwork
from pathgen.base.errors import ArtworkError

PAGE = '<svg xmlns="http://www.w3.org/2000/svg" width="400mm" height="400mm" viewBox="0 0 400 400">'
SIX = ("#1b3", "#b31", "#31b", "#bb3", "#3bb", "#b3b")
NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:e[-+]?\d+)?", re.I)


def seconds(call: Callable[[], object]) -> float:
    began = time.process_time()
    call()
    return time.process_time() - began


def blob(rng: np.random.Generator, x: float, y: float, size: float, pieces: int = 20) -> str:
    """A closed outline of smooth cubics round a point: a leaf or a wing, more or less."""
    angle = np.arange(pieces) / pieces * math.tau
    reach = size * rng.uniform(0.75, 1.0, pieces)
    along = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    ends = along * reach[:, None] + [x, y]
    tangent = np.stack([-along[:, 1], along[:, 0]], axis=1) * reach[:, None] * math.tau / pieces / 3
    first, second = ends + tangent, np.roll(ends - tangent, -1, axis=0)
    rows = np.concatenate([first, second, np.roll(ends, -1, axis=0)], axis=1)
    return f"M{ends[0, 0]:.3f} {ends[0, 1]:.3f}" + "".join(
        "C" + " ".join(f"{value:.3f}" for value in row) for row in rows
    ) + "z"


def sheet(count: int, *, size: float, colours: tuple[str, ...] = ("#1b3",), paint: str = 'fill="{}"') -> str:
    """Blobs in rows over a page; `size` is their reach as a share of the distance between them."""
    rng = np.random.default_rng(3)
    across = math.ceil(math.sqrt(count))
    pitch = 400 / across
    paint = paint.replace("PEN", f"{0.045 * pitch:.3f}")  # a pen that shrinks with the shapes
    return PAGE + "".join(
        f'<path {paint.format(colours[k % len(colours)])} '
        f'd="{blob(rng, pitch * (k % across + 0.5), pitch * (k // across + 0.5), size * pitch)}"/>'
        for k in range(count)
    ) + "</svg>"


PLAIN = {
    "apart": {"size": 0.45},
    "overlapping": {"size": 0.8},
    "overlapping, six colours": {"size": 0.8, "colours": SIX},
    "strokes": {"size": 0.45, "paint": 'fill="none" stroke-width="PEN" stroke="{}"'},
    "fill and stroke": {"size": 0.45, "paint": 'fill="{}" stroke-width="PEN" stroke="#111"'},
}


def stack(count: int) -> str:
    """Two colours alternately, every shape on nearly all the others, none quite hidden."""
    rng = np.random.default_rng(4)
    return PAGE + "".join(
        f'<path fill="{SIX[k % 2]}" d="{blob(rng, *rng.uniform(150, 250, 2), 140 - 130 * k / count)}"/>'
        for k in range(count)
    ) + "</svg>"


def scribbles(count: int) -> str:
    """Random cubics that cross themselves and one another."""
    rng = np.random.default_rng(5)
    paths = (
        "M{:.1f} {:.1f}".format(*rng.uniform(0, 400, 2))
        + "".join("C" + " ".join(f"{v:.1f}" for v in rng.uniform(0, 400, 6)) for _ in range(20))
        for _ in range(count)
    )
    return PAGE + "".join(f'<path fill="{SIX[k % 6]}" d="{d}"/>' for k, d in enumerate(paths)) + "</svg>"


def crossing_lines(count: int) -> str:
    rng = np.random.default_rng(6)
    ends = rng.uniform(0, 400, (count, 4))
    return PAGE + '<g stroke="#000" stroke-width=".3">' + "".join(
        '<path d="M{:.1f} {:.1f}L{:.1f} {:.1f}"/>'.format(*end) for end in ends
    ) + "</g></svg>"


def selectors(count: int) -> str:
    rules = "".join(f".a{k}>.b{k} .c{k},#i{k}{{fill:#0{k % 10}0}}" for k in range(count // 2))
    return PAGE + f"<style>{rules}</style>" + "".join(
        f'<rect class="c{k}" x="{k % 50}" width="1" height="1"/>' for k in range(1000)
    ) + "</svg>"


def long_path(megabytes: float) -> str:
    rng = np.random.default_rng(7)
    d = "".join("L" + " ".join(f"{v:.3f}" for v in pair) for pair in rng.uniform(0, 400, (2000, 2)))
    return PAGE + f'<path d="M0 0{d * int(megabytes * 1e6 / len(d))}z"/></svg>'


HARD: dict[str, Callable[[], str]] = {
    "two colours stacked 500 deep": lambda: stack(500),
    "two colours stacked 2,000 deep": lambda: stack(2000),
    "200 scribbles": lambda: scribbles(200),
    "2,000 scribbles": lambda: scribbles(2000),
    "200 crossing lines": lambda: crossing_lines(200),
    "1,000 crossing lines": lambda: crossing_lines(1000),
    "20,000 crossing lines": lambda: crossing_lines(20_000),
    "20,000 selectors": lambda: selectors(20_000),
    "a path of 31 MB": lambda: long_path(31),
    "a path of 4 MB": lambda: long_path(4),
}


def least(path: Path) -> None:
    """The XML taken apart, and its numbers as floats."""
    for element in ElementTree.parse(path).iter():
        [float(number) for number in NUMBER.findall(element.get("d", ""))]


def outcome(path: Path) -> str:
    try:
        art = read_artwork(path)
    except ArtworkError as error:
        return f"refused: {error}"[:110]
    return f"{len(art.regions)} regions, {sum(region.polygon.area for region in art.regions):.0f} mm2"


def plain(path: Path) -> Iterator[str]:
    yield f"{'2,000 paths of 20 cubics':32}{'seconds':>9}{'least':>9}{'ratio':>8}"
    for name, form in PLAIN.items():
        path.write_text(sheet(2000, **form))  # type: ignore[arg-type]
        took, base = (min(seconds(lambda f=f: f(path)) for _ in range(3)) for f in (read_artwork, least))
        yield f"{name:32}{took:9.2f}{base:9.2f}{took / base:8.1f}"


def growth(path: Path) -> Iterator[str]:
    yield f"{'paths of 20 cubics':32}{'seconds':>9}{'exponent':>9}"
    for name, form in PLAIN.items():
        before = 0.0
        for count in (625, 2500, 10_000):
            path.write_text(sheet(count, **form))  # type: ignore[arg-type]
            took = seconds(lambda: read_artwork(path))
            exponent = f"{math.log(took / before, 4):9.2f}" if before else ""
            yield f"{f'{name}, {count}':32}{took:9.2f}{exponent}"
            before = took


def hard(path: Path) -> Iterator[str]:
    yield f"{'hard drawings':32}{'seconds':>9}"
    for name, make in HARD.items():
        path.write_text(make())
        began = time.process_time()
        text = outcome(path)
        yield f"{name:32}{time.process_time() - began:9.2f}  {text}"


def main(arguments: list[str]) -> int:
    parts = {"plain": plain, "growth": growth, "hard": hard}
    with tempfile.TemporaryDirectory() as folder:
        for name in arguments or parts:
            for line in parts[name](Path(folder) / "drawing.svg"):
                print(line, flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
