"""What the chapters of the setup sheet are put together from."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import Any

from pathgen.base.markup import Child, Element, element
from pathgen.base.units import MM_PER, format_length

e = element
_SIZE = re.compile(r"[-+\u2212]?\d[\d.]* [a-z\u00b5%]+")
_HIGH = 0.55  # height by width from which a picture is shown whole


def chapter(name: str, heading: str, *content: Child, class_: str | None = None) -> Element:
    """A section of the page under a heading; `name` is its id."""
    return e("section", e("h2", heading, id=f"{name}-heading"), content, id=name, class_=class_,
             aria_labelledby=f"{name}-heading")


def figure(picture: Element, caption: str, *, wide: bool = False) -> Element:
    """A picture with its caption; a `wide` one keeps its size on a telephone, and scrolls, if it is wider than high."""
    # so high that all of it can be seen on a telephone, and too much of it on a screen
    across, high = (float((picture.get(side) or "0").removesuffix("mm")) for side in ("width", "height"))
    if not wide or high > _HIGH * across:
        return e("figure", picture, e("figcaption", caption), class_="whole" if wide else None)
    return e("figure", scrolling(picture, caption), e("figcaption", caption), class_="wide")


def true_figure(pictures: Sequence[Element], caption: str) -> Element:
    """Pictures that print at true size, on A4 and on Letter: neither the page nor the screen makes them fit."""
    return e("figure", scrolling(e("div", map(true_size, pictures)), caption), e("figcaption", caption))


def true_size(picture: Element) -> Element:
    """A picture that keeps its own size, whatever it stands in."""
    picture.set("style", f"width: {picture.get('width')}; height: {picture.get('height')}; max-height: none")
    return picture


def scrolling(content: Element, name: str) -> Element:
    """Something that may be wider than a telephone: it scrolls sideways, with the keyboard too, and says so then."""
    hint = e("p", e("span", "Push sideways to see the rest \u2192"), class_="hint", aria_hidden="true")
    return e("div", e("div", hint, content), class_="scroll", tabindex="0", role="region", aria_label=name)


def facts(pairs: Sequence[tuple[str, Child]]) -> Element:
    """Names and what they stand for, in two columns."""
    return e("dl", ((e("dt", name), e("dd", words)) for name, words in pairs))


def table(head: Sequence[str], rows: Sequence[Sequence[Child]]) -> Element:
    """A table with a head; a number with its unit stays in one line."""
    return e("table", e("thead", e("tr", (e("th", word, scope="col") for word in head))),
             e("tbody", (
                 e("tr", (e("td", cell, class_="size" if isinstance(cell, str) and _SIZE.fullmatch(cell) else None)
                          for cell in row)) for row in rows)))


def listed(parts: Sequence[Element]) -> list[Element | str]:
    """Some after one another, commas between them."""
    return [piece for part in parts for piece in (part, ", ")][:-1]


def machine_time(report: dict[str, Any], words: Callable[[float], str]) -> str:
    """How long all programs of a report run, those of the back too, minutes put in `words`; of work that has moved what
    is left of it too."""
    back = report["back"]["minutes"] if "back" in report else 0.0
    every = words(report["minutes"] + back) + (f" ({words(back)} of it for the back)" if back else "")
    left = report.get("minutes_left")
    time = every if left is None else f"{words(left) if left else 'none'} for what is left, of {every}"
    return f"{time}, without trying them in the air, changing cutters and curing"


def feed(speed: float, units: str) -> str:
    """Mm per minute in words, in the job's units."""
    return f"{format_length(speed, units, decimals=1 if units == 'in' else 0)}/min"


def fixed(mm: float, units: str, *, fine: bool = False) -> str:
    """A length as a plain number with all its places, for columns: hundredths of a mm (thousandths), 1/10000 in."""
    places = 4 if units == "in" else 2 + fine
    return f"{round(mm / MM_PER[units], places) + 0.0:.{places}f}"
