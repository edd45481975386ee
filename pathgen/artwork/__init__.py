"""A drawing as coloured regions: SVG in, valid polygons in mm out, and what could not be read said by name.

    art = read_artwork("fern.svg")
    art.regions[0].polygon, art.regions[0].colour

Data flows one way through the package: the file (`document`), its styles (`properties`, `style`), a walk that lists
what is painted (`elements`, `painting`, `spaces`, `clips`, `walk`, giving a `scene`), curves made straight (`flatten`),
areas and strokes (`areas`, `unions`, `strokes`), what hides what (`paint`, `stack`), and the result (`reader`), which
`place` puts onto a board.
"""

from __future__ import annotations

from pathgen.artwork.place import Placement, placed
from pathgen.artwork.reader import Artwork, Region, read_artwork
from pathgen.artwork.scene import LeftOut

__all__ = ["Artwork", "LeftOut", "Placement", "Region", "placed", "read_artwork"]
