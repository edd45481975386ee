"""A hollow block of the radius of a fingerboard, for pressing frets or sanding."""
