"""Coordinate systems and array helpers on shapes."""
