"""Pictures of a job as SVG: all lie in the board's frame, one unit to the mm; a file of one prints at true size."""
