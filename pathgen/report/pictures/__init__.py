"""Pictures of a job as SVG: the board from above, sections across it, the ridges, and each program's path.

All lie in the board's frame, one unit to the mm, through the one mapping of `base.picture.View`; a file of one of
them prints at true size.
"""
