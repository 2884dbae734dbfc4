"""Whom a failing part may meet: occupancy of the targets, what lies within reach, how likely."""
