"""Pictures of a job as SVG: the board from above, sections across it, the ridges, and each program's path.

All lie in the board's frame, one unit to the mm, through the one mapping of `base.picture.View`; a file of one of
them prints at true size.
"""

from pathgen.report.pictures.above import board_from_above
from pathgen.report.pictures.paths import path_picture
from pathgen.report.pictures.ridges import ridge_picture
from pathgen.report.pictures.sections import Section, section_picture, sections_of

__all__ = [
    "Section",
    "board_from_above",
    "path_picture",
    "ridge_picture",
    "section_picture",
    "sections_of",
]
