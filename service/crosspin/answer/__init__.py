"""From a proved proposal to what people and programs read."""
