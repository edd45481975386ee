"""A fretted fingerboard: its scale, layout, ends, radii, and the wood left in it."""
