"""The counter page: answers, records and sheets as HTML.  Knows neither HTTP nor RDF."""
