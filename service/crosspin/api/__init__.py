"""The HTTP service: one module for each group of addresses, none of which decides anything about parts."""
