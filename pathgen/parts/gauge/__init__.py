"""Flat gauges of the radii of a fingerboard."""
