"""The file as a tree of elements: read safely, with the line of each element kept for messages.

Nothing outside the file is ever opened, entities are refused, and size, nesting and count have limits, so that a
hostile or broken file costs an error and not an afternoon.
"""

from __future__ import annotations

import gzip
import io
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import Element, ParseError, TreeBuilder

from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import DefusedXMLParser

from pathgen.base.errors import ArtworkError
from pathgen.base.files import read_bytes
from pathgen.base.limits import DRAWING, MOST_DEEP, MOST_ELEMENTS

SVG = "{http://www.w3.org/2000/svg}"
XLINK_HREF = "{http://www.w3.org/1999/xlink}href"


@dataclass(frozen=True, eq=False)
class Document:
    """A parsed drawing."""

    root: Element
    """The outermost ``svg``."""
    name: str
    """The file's name, for messages."""
    lines: dict[Element, int]
    """Line of the file at which each element starts."""
    parents: dict[Element, Element]
    """The element around each element."""
    by_id: dict[str, Element]
    """The first element with each id."""
    outside: tuple[int, ...]
    """Lines of processing instructions that call for a style sheet in another file."""

    def around(self, element: Element) -> Iterator[Element]:
        """The element and all that it lies in, outward."""
        inner: Element | None = element
        while inner is not None:
            yield inner
            inner = self.parents.get(inner)

    def where(self, element: Element) -> str:
        """The place of an element as a reader would look for it: ``fern.svg line 12, path 'leaf'``."""
        name = f" {element.get('id')!r}" if element.get("id") else ""
        return f"{self.name} line {self.lines.get(element, 0)}, {local_name(element)}{name}"


def names_of(element: Element) -> tuple[str, ...]:
    """Its id, and the names that drawing programs give it in attributes and name spaces of their own."""
    return tuple(value for name, value in element.attrib.items()
                 if name in ("id", "data-name") or name.endswith(("}label", "}id")))


def local_name(element: Element) -> str:
    """The name of an element without its name space."""
    return str(element.tag).rpartition("}")[2]


def is_svg(element: Element) -> bool:
    """True for an element of the SVG name space; comments and foreign elements are not."""
    return isinstance(element.tag, str) and element.tag.startswith(SVG)


def svg_children(element: Element) -> list[Element]:
    """Those that are of the SVG name space."""
    return [child for child in element if is_svg(child)]


def href(element: Element) -> str:
    """What the element refers to; ``href`` goes before ``xlink:href`` (SVG 2, chapter Linking)."""
    return (element.get("href") or element.get(XLINK_HREF) or "").strip()


class _Builder(TreeBuilder):
    """Builds the tree, noting lines and watching the limits."""

    def __init__(self, name: str) -> None:
        super().__init__()
        self.name = name
        self.parser: Any = None
        self.lines: dict[Element, int] = {}
        self.outside: list[int] = []
        self.deep = 0

    def start(self, tag: str, attributes: dict[str, str]) -> Element:
        element = super().start(tag, attributes)
        self.lines[element] = self.parser.parser.CurrentLineNumber
        self.deep += 1
        if self.deep > MOST_DEEP:
            raise ArtworkError(self.here(), "elements nested too deep", allowed=f"{MOST_DEEP} levels",
                               remedy="ungroup the drawing")
        if len(self.lines) > MOST_ELEMENTS:
            raise ArtworkError(self.here(), "too many elements", allowed=f"{MOST_ELEMENTS}",
                               remedy="split or simplify the drawing")
        return element

    def end(self, tag: str) -> Element:
        self.deep -= 1
        return super().end(tag)

    def pi(self, target: str, data: str | None = None) -> None:  # type: ignore[override]
        if target == "xml-stylesheet":
            self.outside.append(self.parser.parser.CurrentLineNumber)

    def here(self) -> str:
        """Where the file is read at."""
        return f"{self.name} line {self.parser.parser.CurrentLineNumber}"


_TRACE = "trace it to paths in a drawing program, and save that as SVG"
_OTHERS = (  # how files begin that are given for a drawing, by their formats' standards
    (b"\x89PNG", "a picture (PNG)", _TRACE), (b"\xff\xd8\xff", "a picture (JPEG)", _TRACE),
    (b"GIF8", "a picture (GIF)", _TRACE), ((b"II*\0", b"MM\0*"), "a picture (TIFF)", _TRACE),
    (b"%PDF", "a page (PDF)", "open it in a drawing program, and save it as SVG"),
)


def read_document(path: str | Path) -> Document:
    """The drawing in a file, plain or gzip-compressed.

    Raises ArtworkError when the file cannot be read, is not well-formed XML, declares entities, is larger, deeper or
    has more elements than allowed, or is not SVG.
    """
    path = Path(path)
    data = _bytes_of(path)
    builder = _Builder(path.name)
    builder.parser = parser = DefusedXMLParser(target=builder, forbid_dtd=False)
    try:
        parser.feed(data)
        root = parser.close()
    except ParseError as error:
        line, column = error.position
        for starts, what, remedy in _OTHERS:
            if data.startswith(starts):
                raise ArtworkError(path.name, f"is {what}, no SVG file", remedy=remedy) from None
        raise ArtworkError(f"{path.name} line {line}, column {column + 1}",
                           f"not well-formed XML ({str(error).partition(':')[0]})",
                           remedy="save the drawing again as SVG") from None
    except DefusedXmlException:
        raise ArtworkError(
            builder.here(), "declares XML entities or refers to other files, which are not read",
            remedy="save it again as plain SVG, without a document type that declares entities",
        ) from None
    except ArtworkError:  # one of the limits; it is a ValueError too
        raise
    except (LookupError, ValueError) as error:  # several encodings of many bytes are a ValueError
        raise ArtworkError(path.name, f"unknown text encoding ({error})", remedy="save it again in UTF-8") from None
    if root.tag != f"{SVG}svg":
        raise ArtworkError(f"{path.name} line {builder.lines[root]}", f"the outermost element is {root.tag!r}",
                           allowed='svg with xmlns="http://www.w3.org/2000/svg"', remedy="give an SVG file")
    parents = {child: element for element in builder.lines for child in element}
    by_id = {name: element for element in reversed(builder.lines) if is_svg(element) and (name := element.get("id"))}
    return Document(root, path.name, builder.lines, parents, by_id, tuple(builder.outside))


def _bytes_of(path: Path) -> bytes:
    data = read_bytes(path, DRAWING)
    if data[:2] != b"\x1f\x8b":
        return data
    try:
        data = gzip.GzipFile(fileobj=io.BytesIO(data)).read(DRAWING.most + 1)
    except (OSError, EOFError, ValueError, zlib.error) as error:
        raise ArtworkError(str(path), f"cannot be unpacked ({error})", remedy="save the drawing again") from None
    if len(data) > DRAWING.most:
        raise ArtworkError(path.name, f"larger than {DRAWING.most // 1_000_000} MB",
                           remedy="simplify the drawing, or take embedded pictures out of it")
    return data
