"""What is read and followed: whatever is larger is refused, so that no input takes hours or all the memory.

Each is some ten times and more of what a maker's files hold. README.md names them all.
"""

from __future__ import annotations

from pathgen.base.errors import ArtworkError, JobError, ProgramError
from pathgen.base.files import Kind

JOB_FILE = Kind(words="a job file", most=1_000_000, error=JobError)
DRAWING = Kind(words="an SVG file", most=32_000_000, error=ArtworkError)
PROGRAM = Kind(words="a program", most=32_000_000, error=ProgramError)
BUILT = Kind(words="a file of a build", most=64_000_000)

MOST_NESTED = 40
"""Lists and tables within one another in a job file, and blocks and brackets in a style sheet."""

MOST_PARTS = 20
"""Parts that one blank may hold."""

# drawings
MOST_DEEP = 250
"""Elements within one another."""
MOST_ELEMENTS = 40_000
"""Elements, counting each again through each use of it, so that uses of uses cannot explode."""
MOST_CHAINED = 64
"""Uses within uses, and clip paths within clip paths."""
MOST_PIECES = 250_000
"""Lines and curve pieces."""
MOST_CROSSINGS = 100_000
"""Crossings of outlines or strokes with themselves, in one of them or in all together."""
MOST_DASHES = 10_000
"""Dashes along one line."""
MOST_SELECTORS = 10_000
"""Selectors of style sheets."""
MOST_IN_SELECTOR = 100
"""Parts of one selector."""
MOST_RULES_TRIED = 2_000_000
"""Selectors times the elements that each may mean."""
MOST_MARKS = 1_000_000
"""Characters of style other than letters and digits, in sheets and in all the attributes that differ."""
LARGEST_NUMBER = 1e9
"""Larger coordinates have no place on a board; they would only lose all their digits."""

# programs
MOST_PROGRAMS = 200
"""Programs in one folder."""
MOST_TOGETHER = 64_000_000
"""Bytes of the programs in one folder."""
MOST_LINES = 800_000
"""Lines of one program, and of all those of a job: thirty times what the largest example has, five times what
the finest inlay of icons that was tried took (a 0.5 mm cutter for two hours and a half); 12 s, a gigabyte at most."""
MOST_CHORDS = 1_000_000
"""Straight pieces that the arcs of one program, and of all those of a job, take at the finest."""
MOST_POINTS = 25_000_000
"""Points of the simulation's grid, for whose heights a gigabyte is enough: 500 by 500 mm at a tenth."""
MOST_WORK = 320_000_000
"""Heights that simulating a job of up to twenty programs works out, or work that takes as long: ten seconds or so.
Examples take up to a third of it; see `removal.material.most_work` for larger grids, more programs and many lines."""
FINEST_GRID, COARSEST_GRID = 0.01, 2.0
"""Distances of the simulation's points that may be asked for, mm."""
FURTHEST = 1e4
"""Coordinates and radii of any machine that this is for are smaller, mm."""
