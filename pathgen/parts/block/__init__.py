"""A hollow block of the radius of a top, for pressing or sanding."""
