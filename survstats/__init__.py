"""Ditching survivability statistics: from occupant-level mishap records to a paper a board can decide from."""

__version__ = "0.1.0"
