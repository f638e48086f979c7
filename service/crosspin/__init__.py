"""Crosspin: which parts of a 4x4 driveline go together, and what else must change."""

__version__ = "0.1.0"
