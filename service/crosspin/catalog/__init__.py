"""Parts, specs, kits and vehicles on record, and how they come in."""
