"""What a drawing paints, in document order: outlines with their maps, colours and clips, nothing flattened yet."""

from __future__ import annotations

from dataclasses import dataclass

from pathgen.artwork.curves import Curves
from pathgen.artwork.transforms import Matrix
from pathgen.base.markup import as_table


@dataclass(frozen=True)
class Stroke:
    """How a line is drawn; lengths in the coordinates of the element.

    `cap` is "butt", "round" or "square", `join` "miter", "round" or "bevel"; `dashes` are lengths of
    ink and gap in turn, empty for a whole line, and `dash_offset` says how far into them the line begins; both count in
    what would make the whole path `path_length` long, where that is not 0.
    """

    width: float
    cap: str = "butt"
    join: str = "miter"
    mitre_limit: float = 4.0
    dashes: tuple[float, ...] = ()
    dash_offset: float = 0.0
    path_length: float = 0.0


@dataclass(frozen=True, eq=False)
class Clip:
    """An area that limits what is painted: the union of `shapes`, within `inner` and within `outer`."""

    shapes: tuple[Paint, ...]
    inner: Clip | None
    outer: Clip | None


@dataclass(frozen=True, eq=False)
class Paint:
    """One area of one colour: the inside of an outline, or the line along it."""

    curves: Curves
    """The outline, in the element's coordinates."""
    matrix: Matrix
    """From there to the page in mm, y up."""
    colour: str
    """``#rrggbb``."""
    rule: str = "nonzero"
    """"nonzero" or "evenodd"; used for the inside."""
    stroke: Stroke | None = None
    """The line along the outline; None for the inside."""
    clip: Clip | None = None
    where: str = ""
    """The element, for messages."""
    layers: tuple[str, ...] = ()
    """Names of the groups that it is in, and its own."""
    opacity: float = 1.0
    """How much of it shows, above 0 to 1: nothing less than 1 can be cut."""


@dataclass(frozen=True)
class LeftOut:
    """Something in the drawing that is not cut.

    Attributes
    ----------
    name : str
        What it is: ``text``, ``image``, ``gradient``...
    id : str
        The element's id, or its line in the file where it has none.
    reason, remedy : str
        Why it cannot be cut, and what to do about it.

    >>> import pathgen
    >>> from pathlib import Path
    >>> page = 'xmlns="http://www.w3.org/2000/svg" width="9mm" height="9mm" viewBox="0 0 9 9"'
    >>> wrote = Path("note.svg").write_text(f'<svg {page}><rect width="5" height="5"/><text id="a">hi</text></svg>')
    >>> [(one.name, one.id) for one in pathgen.read_artwork("note.svg", missing="report").left_out]
    [('text', 'a')]
    """

    name: str
    id: str
    reason: str
    remedy: str

    @property
    def words(self) -> str:
        """What it is, where, and why it cannot be cut."""
        where = f"on {self.id}" if " " in self.id else repr(self.id)  # no id has a blank
        return f"{self.name} {where} ({self.reason})"

    def _repr_html_(self) -> str:
        """A table, for notebooks."""
        return as_table([(self.words, self.remedy)])


@dataclass(frozen=True, eq=False)
class Scene:
    """Everything that a drawing paints."""

    paints: tuple[Paint, ...]
    """The lowest first."""
    page: tuple[float, float]
    """Width and height of the page, mm."""
    physical: bool
    """False when the file gives no size in real units; `page` then counts 96 px to the inch."""
    left_out: tuple[LeftOut, ...]
    no_colours: tuple[tuple[str, str, str], ...]
    """Where fills and strokes are no colour, what stands there, and the colour drawn, as a browser passes them over."""
    pixels: bool = False
    """Whether the size that the file gives is in px alone, 96 to the inch."""
    no_targets: tuple[tuple[str, str], ...] = ()
    """Where copies, clips, masks and markers name nothing that is there, and what is written."""
    not_read: tuple[tuple[str, str], ...] = ()
    """Where values stand that are passed over, as a browser does, so that what is drawn is another; and what they
    say."""
