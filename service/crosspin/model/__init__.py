"""The ontology and the records as plain objects."""
