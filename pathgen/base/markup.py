"""Pages and pictures as trees of elements, so that no text can ever become markup."""

from __future__ import annotations

import xml.etree.ElementTree as Tree
from collections.abc import Iterable
from typing import TypeAlias

from pathgen.base.plain import plain
from pathgen.base.units import trimmed

Element: TypeAlias = Tree.Element
Child: TypeAlias = "Element | str | Iterable[Child] | None"

SVG_NAMESPACE = "http://www.w3.org/2000/svg"


def element(tag: str, /, *children: Child, **attributes: str | float | None) -> Element:
    """An element with its children and attributes; text is escaped when the tree is written.

    Children may be elements, text, None (nothing) or iterables of these. In attribute names ``_`` stands for ``-``,
    and one at the end is dropped (``class_``); numbers are written with up to three decimals; None is left out.

    >>> as_html(element("p", "a < b ", element("b", "bold"), class_="note"))
    '<p class="note">a &lt; b <b>bold</b></p>'
    """
    node = Tree.Element(tag)
    for key, value in attributes.items():
        if value is not None:
            node.set(key.rstrip("_").replace("_", "-"), number(value) if not isinstance(value, str) else plain(value))
    add(node, children)
    return node


def add(node: Element, children: Child) -> None:
    """Put children into an element, after those it has."""
    if children is None:
        return
    if isinstance(children, str):
        _add_text(node, plain(children))
    elif isinstance(children, Tree.Element):
        node.append(children)
    else:
        for child in children:
            add(node, child)


def number(value: float) -> str:
    """Up to three decimals, no trailing zeros, no exponent."""
    return trimmed(f"{value:.3f}")


def as_html(node: Element) -> str:
    """An element as HTML."""
    return Tree.tostring(node, encoding="unicode", method="html")


def as_page(title: str, *body: Child, style: str = "") -> str:
    """A whole page as HTML, with its character set and a width that a telephone can show."""
    head = element("head", element("meta", charset="utf-8"),
                   element("meta", name="viewport", content="width=device-width, initial-scale=1"),
                   element("title", title), element("style", style) if style else None)
    return "<!DOCTYPE html>\n" + as_html(element("html", head, element("body", *body), lang="en")) + "\n"


def as_table(rows: Iterable[Iterable[str]]) -> str:
    """Rows of words as an HTML table, for notebooks.

    >>> as_table([("ridges", "< 0.01 mm")])
    '<table><tr><td>ridges</td><td>&lt; 0.01 mm</td></tr></table>'
    """
    return as_html(element("table", [element("tr", [element("td", words) for words in row]) for row in rows]))


def as_svg(picture: Element) -> str:
    """An svg element as a file of its own."""
    copy = Tree.Element("svg", {"xmlns": SVG_NAMESPACE, **picture.attrib})
    copy.extend(picture)
    return Tree.tostring(copy, encoding="unicode", method="xml") + "\n"


def _add_text(node: Element, text: str) -> None:
    if len(node):
        node[-1].tail = (node[-1].tail or "") + text
    else:
        node.text = (node.text or "") + text
