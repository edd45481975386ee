"""Flat parts: a head plate, the plate that a rosette is let into."""
