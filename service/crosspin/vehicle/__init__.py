"""A vehicle as it stands: what is at each position, and the figures worked out over all of it."""
