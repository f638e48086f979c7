"""Formulas, one file per subject."""
